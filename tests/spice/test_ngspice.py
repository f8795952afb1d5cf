"""Batch runs of ngspice: right answers are accepted, every known way of going wrong is refused."""

from __future__ import annotations

import math
import os
import stat
import time
from pathlib import Path

import numpy as np
import pytest

from ignition.errors import InputError, NgspiceError
from ignition.spice import ngspice
from ignition.spice.acceptance import check_deck, check_log, check_plots
from ignition.spice.ngspice import RunResult, find_ngspice, run_deck, run_operating_points, version
from ignition.spice.rawfile import Plot

SUPPLY = "V1 a 0 9.0\nR1 a 0 1000.0\n"
SWITCH = "switch\nV1 a 0 9.0\nR1 a d 10.0\nV2 g 0 5.0\nM1 d g 0 SW\n.model SW VDMOS ({model})\n.op\n.end\n"

BAD_DECKS = {
    "missing model": (
        "missing model\nV1 a 0 9.0\nR1 a d 1.0\nM1 d g 0 NOSUCH\nR2 g 0 1000.0\n.op\n.end\n",
        r"can't find model 'nosuch'.*write the \.model line",
    ),
    "undefined parameter": (
        "undefined\nV1 a 0 9.0\nR1 a 0 {rx}\n.op\n.end\n",
        r"Undefined parameter \[rx\].*plain numbers",
    ),
    "timestep too small": (
        "jump\nV1 a 0 DC 0 PULSE(0 5 1u 1n 1n 1 2)\nR1 a b 1000.0\nR2 b c 1.0\nB1 c 0 V=V(b)>1 ? 0-10 : 10*V(a)\n"
        ".tran 1u 1m\n.end\n",
        r'Timestep too small.*trouble with node "b".*abrupt behavioural source',
    ),
    "two shorted sources": (
        "shorted\nV1 a 0 9.0\nV2 a 0 5.0\nR1 a 0 1000.0\n.op\n.end\n",
        r"singular matrix.*v\d#branch",
    ),
    "resistor with one node": ("one node\nV1 a 0 9.0\nR1 a 1000.0\n.op\n.end\n", r"r1: resistance to low.*two nodes"),
    "floating node": ("floating\n" + SUPPLY + "C1 a x 1u\nC2 x 0 1u\n.op\n.end\n", r"singular matrix:  check node x"),
    "floating island": ("island\n" + SUPPLY + "R2 x y 1000.0\n.op\n.end\n", r"singular matrix:  check node [xy]"),
    "no ground": ("no ground\nV1 a b 9.0\nR1 a b 1000.0\n.op\n.end\n", r"singular matrix.*DC path to node 0"),
    "misspelt model parameter": (
        SWITCH.format(model="Vt0x=2 Kp=10"),
        r"Model issue.*unrecognized parameter \(vt0x\).*spelling",
    ),
    "source without value": ("no value\nV1 a 0\n" + "R1 a 0 1000.0\n.op\n.end\n", r"v1: has no value"),
    "element named twice": ("twice\n" + SUPPLY + "R1 a 0 2000.0\n.op\n.end\n", r"r1 a 0 2000\.0.*already exists"),
    "behavioural division by zero": (
        "division\n" + SUPPLY + "B1 x 0 V=1/(V(a)-V(a))\nR2 x 0 1000.0\n.op\n.end\n",
        r"v\(x\).*1e\+32 V, beyond the bound 90 V",
    ),
}
OPERATING_POINTS = {name: row for name, row in BAD_DECKS.items() if ".op" in row[0]}
HANGING = "hanging\n" + SUPPLY + "M1 a g 0 SW\nR2 g 0 1000.0\n.model SW VDMOS nchan (\n.op\n.end\n"


def divider(upper: float, lower: float, title: str = "divider", cards: str = "") -> str:
    """Deck of a divider of 9 V."""
    return f"{title}\nV1 a 0 9.0\nR1 a b {upper!r}\nR2 b 0 {lower!r}\n{cards}.op\n.end\n"


def fake_ngspice(folder: Path, monkeypatch: pytest.MonkeyPatch, body: str) -> None:
    """Put a shell script named ngspice first on PATH; it tells version 39 and else runs the body."""
    script = folder / "ngspice"
    script.write_text(f'#!/bin/sh\nif [ "$1" = --version ]; then echo "** ngspice-39"; exit 0; fi\n{body}\n')
    script.chmod(script.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{folder}{os.pathsep}{os.environ['PATH']}")


def test_operating_point_of_a_divider() -> None:
    """9 V over 1 kohm and 2 kohm gives 6 V and 3 mA, and the result names the version."""
    result = run_deck(divider(1000.0, 2000.0))
    plot = result.plot("operating")
    assert plot.signal("v(b)")[0] == pytest.approx(6.0, rel=1e-12)
    assert plot.signal("i(v1)")[0] == pytest.approx(-3e-3, rel=1e-9)
    assert result.version == version()
    assert result.version.startswith("ngspice-")
    assert "Circuit: divider" in result.log


def test_charging_curve_against_the_closed_form() -> None:
    """A capacitor charged through a resistor follows V (1 - exp(-t / RC)) within 20 uV of 5 V."""
    deck = (
        "rc\n.options reltol=1e-6 abstol=1e-12 vntol=1e-9\n"
        "V1 a 0 DC 0 PULSE(0 5 0 1n 1n 1 2)\nR1 a b 1000.0\nC1 b 0 1e-6\n"
        ".tran 1e-5 5e-3 0 5e-6\n.end\n"
    )
    plot = run_deck(deck, limit_voltage=50.0).plot("transient")
    instant = plot.signal("time")
    assert instant[-1] == pytest.approx(5e-3)
    expected = 5.0 * -np.expm1(-np.maximum(instant - 0.5e-9, 0.0) / 1e-3)
    np.testing.assert_allclose(plot.signal("v(b)"), expected, atol=2e-5)


@pytest.mark.parametrize("name", BAD_DECKS)
def test_bad_decks_are_refused_with_the_reason(name: str) -> None:
    """Each row of the acceptance table: the error quotes the title, the line of the log and what to try."""
    deck, message = BAD_DECKS[name]
    with pytest.raises(NgspiceError, match=rf'run of deck "{deck.splitlines()[0]}" is not accepted: .*{message}'):
        run_deck(deck, limit_voltage=90.0)


def test_no_analysis_line_is_refused() -> None:
    """A deck without analysis ends with return code 0 and no raw file."""
    with pytest.raises(
        NgspiceError, match=r"no raw file was written, the deck has 0 analysis lines.*add an analysis line"
    ):
        run_deck("nothing to do\n" + SUPPLY + ".end\n")


def test_hanging_deck_is_killed_at_the_time_limit() -> None:
    """A malformed model line hangs ngspice; the run ends at the limit."""
    start = time.monotonic()
    with pytest.raises(NgspiceError, match=r'"hanging".*time limit of 1 s.*unclosed parenthesis'):
        run_deck(HANGING, timeout=1.0)
    assert time.monotonic() - start < 10.0


def test_the_whole_process_group_is_killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the program has started ends with it."""
    fake_ngspice(tmp_path, monkeypatch, f"sleep 60 & echo $! > {tmp_path}/child; wait")
    with pytest.raises(NgspiceError, match="time limit"):
        run_deck(divider(1.0, 1.0), timeout=1.0)
    status = Path(f"/proc/{(tmp_path / 'child').read_text().strip()}/stat")
    deadline = time.monotonic() + 5.0
    while (alive := status.exists() and status.read_text().split()[2] != "Z") and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not alive


def test_bounds_are_the_callers() -> None:
    """6 V passes a bound of 9 V and fails one of 5 V; 3 mA fails a bound of 1 mA; the default bound catches 1e32 V."""
    deck = divider(1000.0, 2000.0)
    assert run_deck(deck, limit_voltage=9.0, limit_current=3.1e-3).plots[0].points == 1
    with pytest.raises(NgspiceError, match=r"v\(a\).*reaches 9 V, beyond the bound 5 V"):
        run_deck(deck, limit_voltage=5.0)
    with pytest.raises(NgspiceError, match=r"i\(v1\).*reaches 0\.003 A, beyond the bound 0\.001 A"):
        run_deck(deck, limit_current=1e-3)
    with pytest.raises(NgspiceError, match=r"beyond the bound 1e\+06 V"):
        run_deck(BAD_DECKS["behavioural division by zero"][0])


@pytest.mark.parametrize("limit", [0.0, -1.0, math.nan])
def test_limits_must_be_positive(limit: float) -> None:
    """A bound that is zero, negative or no number is an input error."""
    with pytest.raises(InputError, match="limit_voltage must be above zero"):
        run_deck(divider(1.0, 1.0), limit_voltage=limit)


@pytest.mark.parametrize("timeout", [0.0, -1.0, math.inf, math.nan])
def test_timeout_must_be_positive_and_finite(timeout: float) -> None:
    """There is always a time limit."""
    with pytest.raises(InputError, match="timeout must be a positive number"):
        run_deck(divider(1.0, 1.0), timeout=timeout)


def test_absent_ngspice_says_how_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With an empty PATH every entry point says what to install."""
    monkeypatch.setenv("PATH", str(tmp_path))
    for call in (find_ngspice, version, lambda: run_deck(divider(1.0, 1.0))):
        with pytest.raises(NgspiceError, match="apt-get install ngspice"):
            call()


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("echo all well > out.log; exit 3", r"return code 3, last line of the log 'all well'"),
        ("kill -SEGV $$", "return code -11"),
        ("echo fine > out.log", "no raw file was written"),
        (": > out.raw", "raw file is empty"),
        ("printf 'Title: t\\nPlotname: x\\n' > out.raw", "truncated"),
        ("echo 'Error: out of paper' >&2", "out of paper"),
        ("echo 'Warning: out of ink'", "out of ink"),
    ],
)
def test_program_that_misbehaves(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str, message: str) -> None:
    """Return code, crash, missing, empty or cut raw file, and messages outside the log file are all seen."""
    fake_ngspice(tmp_path, monkeypatch, body)
    with pytest.raises(NgspiceError, match=message):
        run_deck(divider(1.0, 1.0))


def test_program_without_version(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A program called ngspice that names no version is refused."""
    script = tmp_path / "ngspice"
    script.write_text("#!/bin/sh\necho hello\n")
    script.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    with pytest.raises(NgspiceError, match="names no version"):
        version()


def test_environment_is_small(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Settings of the user for ngspice, the home folder and anything else do not reach the program."""
    monkeypatch.setenv("SPICE_ASCIIRAWFILE", "1")
    monkeypatch.setenv("SOME_PRIVATE_THING", "1")
    monkeypatch.setenv("HOME", "/home/somebody")
    fake_ngspice(tmp_path, monkeypatch, f"env > {tmp_path}/environment; exit 1")
    with pytest.raises(NgspiceError, match="return code 1"):
        run_deck(divider(1.0, 1.0))
    seen = (tmp_path / "environment").read_text()
    assert "LC_ALL=C" in seen
    for name in ("SPICE_ASCIIRAWFILE", "SOME_PRIVATE_THING", "somebody"):
        assert name not in seen


def test_nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The temporary folder is gone after a good, a bad and a hanging run."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    run_deck(divider(1.0, 1.0))
    for deck in (BAD_DECKS["no ground"][0], HANGING):
        with pytest.raises(NgspiceError, match="not accepted"):
            run_deck(deck, timeout=0.5)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (".control", r"'\.control' is refused"),
        (" .CONTROL", r"'\.CONTROL' is refused"),
        (".include other.cir", r"'\.include' is refused"),
        (".inc other.cir", r"'\.inc' is refused"),
        (".lib models.lib", r"'\.lib' is refused"),
        ("shell ls", "'shell' is refused"),
        ("* shell in a comment", "'shell' is refused"),
        ("*# echo hello", r"'\*#' is refused"),
        ("*ng_script", r"'\*ng_script' is refused"),
        ("V2 b 0 PWL file=data.txt", "'file=' is refused"),
        ("V2 b 0 /etc/passwd", "'/etc/' is refused"),
        ("V2 b 0 ../data", r"'\.\./d' is refused"),
        ('V2 b 0 "data"', "'\"' is refused"),
        ("V2 b 0 `ls`", "'`' is refused"),
        (".meas tran x when v(a)=1", r"card \.meas is not among"),
        (".trann 1u 1m", r"card \.trann is not among"),
        ("A1 a b model", 'no element starts with "a"'),
        ("echo hello there\x07", "a control character is refused"),
        ("R2 a 0 47\u00b5", "micro sign changes a value"),
        ("R2 a b 0", "0 ohm one of 1 mohm"),
        ("R2 a b 0.0e3", "0 ohm one of 1 mohm"),
        (".options reltoll=1e-6", 'option "reltoll" is not known'),
        (".options reltol = 1e-6\n+ vntoll=1e-9", 'option "vntoll" is not known'),
        (".end\nR2 a 0 1.0", r"nothing may follow \.end"),
    ],
)
def test_dangerous_decks_are_not_run(monkeypatch: pytest.MonkeyPatch, line: str, message: str) -> None:
    """A deck that could run a command, read a file or be misread is refused before any process starts."""
    monkeypatch.setattr(ngspice, "run_process", lambda *_, **__: pytest.fail("a process was started"))
    with pytest.raises(NgspiceError, match=message):
        run_deck(f"danger\n{SUPPLY}{line}\n.op\n.end\n")


@pytest.mark.parametrize("title", ["", ".control", "+ more", "*ng_script", ".include x", "bell\x07"])
def test_first_line_must_be_a_title(title: str) -> None:
    """The first line cannot be a card in disguise."""
    with pytest.raises(NgspiceError, match="was not run: line 1"):
        run_deck(f"{title}\n{SUPPLY}.op\n.end\n")


def test_cut_deck_is_not_run() -> None:
    """A deck without .end looks cut off."""
    with pytest.raises(NgspiceError, match=r"last line must be \.end"):
        run_deck(f"cut\n{SUPPLY}.op\n")


def test_harmless_decks_pass_the_check() -> None:
    """Divisions, comments, continuations and Windows line ends are no danger."""
    text = "fine \u2126\r\n* caf\u00e9\r\nV1 a 0 9.0\r\nB1 b 0 V=V(a)/2 + V(a) /V(a)/3\r\n"
    text += "R1 b 0\r\n+ 1000.0\r\n.OP\r\n.END\r\n"
    deck = check_deck(text)
    assert deck.analyses == 1
    assert deck.statements[2] == "R1 b 0 1000.0"
    half = run_deck(text).plots[0].signal("v(b)")[0]
    assert half == pytest.approx(4.5 + 1.0 / 3.0)


def test_words_of_trouble_as_names_do_not_trip() -> None:
    """A title and nodes that are called error, warning and failed are no failure."""
    deck = "Error: warning failed\nV1 error 0 9.0\nR1 error failed 1000.0\nC1 failed 0 1u\n.tran 1u 10u\n.end\n"
    assert run_deck(deck).plot("transient").signal("v(error)")[0] == pytest.approx(9.0)


def test_gmin_and_source_stepping_that_completed_is_accepted() -> None:
    """A steep source needs gmin and source stepping; the log is full of warnings, the answer is right."""
    deck = (
        "stepping\nV1 a 0 9.0\nR1 a b 1.0\nB1 b 0 I=1e-14*(exp(V(b)/0.02585)-1)\n"
        ".options reltol=1e-6 abstol=1e-12 vntol=1e-9\n.op\n.end\n"
    )
    result = run_deck(deck)
    assert "gmin stepping failed" in result.log
    assert "Source stepping completed" in result.log
    forward = float(result.plots[0].signal("v(b)")[0])
    assert 9.0 - forward == pytest.approx(1e-14 * math.expm1(forward / 0.02585), rel=1e-4)


@pytest.mark.parametrize(
    "log",
    [
        "Note: can't find init file.",
        "Using SPARSE 1.3 as Direct Linear Solver",
        "Trying gmin =   1.0000E-03 Note: One successful gmin step\nNote: Dynamic gmin stepping completed",
        "Warning: Dynamic gmin stepping failed\nNote: Starting true gmin stepping\nNote: True gmin stepping completed",
        "Circuit: error",
        "Node                    Voltage\n----                    -------\nfailed       -1.5e-09\n",
    ],
)
def test_harmless_log_lines(log: str) -> None:
    """Notes, progress and echoes do not trip."""
    check_log(log, "t")


@pytest.mark.parametrize(
    ("log", "message"),
    [
        ("can't find model 'x'", r"write the \.model line"),
        ("Warning: Dynamic gmin stepping failed", "gmin stepping failed"),
        ("Note: True gmin stepping completed\nWarning: source stepping failed", "source stepping failed"),
        (
            "Warning: source stepping failed\nNote: Transient op finished successfully",
            "Transient op.*only a start-up transient",
        ),
        ("Trying gmin =   1.0000E-03 Warning: singular matrix:  check node x", "check node x"),
        ("Node         Voltage\n----         -------\na        9\n\nError: late", "Error: late"),
        ("No .measure possible in batch mode (-b) with -r rawfile set!", "from the signals"),
    ],
)
def test_bad_log_lines(log: str, message: str) -> None:
    """A failed stepping that never completed, and an operating point from a start-up transient only, are refused."""
    with pytest.raises(NgspiceError, match=message):
        check_log(log, "t")


def plot_of(value: float, unit: str = "voltage") -> Plot:
    """Plot of one signal."""
    return Plot(title="t", name="Operating Point", variables=("v(a)",), units=(unit,), data={"v(a)": np.array([value])})


def test_results_that_are_not_whole_are_refused() -> None:
    """Missing plots, plots without points and values that are not finite are refused; a time has no bound."""
    deck = check_deck(divider(1.0, 1.0))
    with pytest.raises(NgspiceError, match="1 analyses were asked for, 0 are there"):
        check_plots((), deck)
    for value in (math.nan, math.inf, -math.inf):
        with pytest.raises(NgspiceError, match=r"v\(a\).*not finite"):
            check_plots((plot_of(value),), deck)
    empty = Plot(title="t", name="x", variables=("v(a)",), units=("voltage",), data={"v(a)": np.zeros(0)})
    with pytest.raises(NgspiceError, match="has no points"):
        check_plots((empty,), deck)
    with pytest.raises(NgspiceError, match="no analysis line"):
        check_plots((plot_of(1.0),), check_deck("t\n.end\n"))
    check_plots((plot_of(1e9, unit="time"),), deck)


def test_plot_is_found_by_the_start_of_its_name() -> None:
    """Exactly one plot must match."""
    result = RunResult(plots=(plot_of(1.0),), log="", version="x")
    assert result.plot("OPERATING") is result.plots[0]
    with pytest.raises(InputError, match='0 plots start with "transient"'):
        result.plot("transient")
    with pytest.raises(InputError, match="2 plots start"):
        RunResult(plots=(plot_of(1.0), plot_of(2.0)), log="", version="x").plot("op")


def switch_deck(rng: np.random.Generator, k: int) -> str:
    """Random firing channel: battery, lead, igniter, divider, switch with its own model, behavioural source."""
    return (
        f"channel {k}\nV1 bat 0 {rng.uniform(3, 15)!r}\nRb bat a {rng.uniform(0.01, 1)!r}\n"
        f"Ri a d {rng.uniform(0.5, 5)!r}\n"
        f"Ru d m {rng.uniform(1e4, 1e6)!r}\nRl m 0 {rng.uniform(1e4, 1e6)!r}\n"
        f"M1 d g 0 SW\nV2 gg 0 {rng.uniform(0, 5)!r}\n"
        f"Rg gg g 100.0\nRp g 0 1e4\nB1 q 0 V=V(bat)*i(V1)\nRq q 0 1e3\n"
        f".model SW VDMOS (Vto={rng.uniform(1, 3)!r} Kp=10 Rd=0.1 Rb=0.05)\n.op\n.end\n"
    )


def test_combined_operating_points_equal_single_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sixty different channels in one process: the names and numbers of each are those of its own run."""
    rng = np.random.default_rng(3)
    decks = [
        switch_deck(rng, k).replace(".op\n", ".options reltol=1e-6 abstol=1e-12 vntol=1e-9\n.op\n") for k in range(60)
    ]
    singles = [run_deck(deck).plots[0] for deck in decks]
    calls: list[str] = []
    monkeypatch.setattr(ngspice, "run_deck", lambda text, **limits: calls.append(text) or run_deck(text, **limits))
    combined = run_operating_points(decks, limit_voltage=1000.0)
    assert len(calls) == 1
    for k, (one, other) in enumerate(zip(singles, combined, strict=True)):
        assert other.title == f"channel {k}"
        assert sorted(one.variables) == sorted(other.variables)
        assert "v(m1#body diode)" in other.variables
        units = dict(zip(one.variables, one.units, strict=True))
        assert units == dict(zip(other.variables, other.units, strict=True))
        for name in one.variables:
            np.testing.assert_allclose(
                other.signal(name), one.signal(name), rtol=2e-6, atol=1e-8, err_msg=f"{k} {name}"
            )


@pytest.mark.parametrize("name", OPERATING_POINTS)
def test_one_bad_member_is_named(name: str) -> None:
    """One bad deck among good ones is refused for the reason it has alone, with its number."""
    deck, message = OPERATING_POINTS[name]
    decks = [divider(1000.0, 2000.0), divider(1000.0, 500.0), deck, divider(1.0, 1.0)]
    with pytest.raises(NgspiceError, match=rf"deck number 2: .*{message}"):
        run_operating_points(decks, limit_voltage=90.0)


def test_hanging_member_is_named() -> None:
    """A member that hangs the combined run is found by running each alone."""
    with pytest.raises(NgspiceError, match=r'deck number 1: run of deck "hanging".*time limit'):
        run_operating_points([divider(1.0, 1.0), HANGING], timeout=0.7)


def test_members_do_not_lend_each_other_anything(monkeypatch: pytest.MonkeyPatch) -> None:
    """A model or a parameter of one deck is not seen by another; equal names stay apart."""
    good = SWITCH.format(model="Vto=2 Kp=10 Rd=0.1")
    borrower = good.replace(".model SW VDMOS (Vto=2 Kp=10 Rd=0.1)\n", "")
    with pytest.raises(NgspiceError, match=r"deck number 1: .*can't find model 'sw'"):
        run_operating_points([good, borrower])
    with pytest.raises(NgspiceError, match=r"deck number 1: .*Undefined parameter"):
        run_operating_points([divider(1.0, 1.0, cards=".param rx=5\n"), divider(1.0, 1.0, cards="R3 b 0 {rx}\n")])
    weak = SWITCH.format(model="Vto=8 Kp=10 Rd=0.1")
    on, off = run_operating_points([good, weak])
    assert on.signal("v(d)")[0] < 1.0
    assert off.signal("v(d)")[0] == pytest.approx(9.0, rel=1e-3)


def test_options_are_grouped_and_odd_decks_run_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Decks with other options go to another process, decks with a parameter or a subcircuit to their own."""
    calls: list[str] = []
    monkeypatch.setattr(ngspice, "run_deck", lambda text, **limits: calls.append(text) or run_deck(text, **limits))
    with_subcircuit = "sub\nV1 a 0 9.0\nX1 a b half\n.subckt half p q\nR1 p q 1.0\nR2 q 0 1.0\n.ends\n.op\n.end\n"
    decks = [
        divider(1.0, 2.0, cards=".options reltol=1e-6\n"),
        divider(1.0, 1.0, cards=".param rx=5\nR3 b 0 {rx}\n"),
        divider(2.0, 1.0),
        with_subcircuit,
        divider(1.0, 8.0, cards=".options reltol=1e-6\n"),
        divider(8.0, 1.0),
    ]
    volts = [float(plot.signal("v(b)")[0]) for plot in run_operating_points(decks)]
    assert volts == pytest.approx([6.0, 9.0 * (5 / 6) / (1 + 5 / 6), 3.0, 4.5, 8.0, 1.0])
    assert len(calls) == 4
    assert run_operating_points([]) == ()


def test_more_members_than_one_process_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    """230 decks take three processes and keep their order."""
    calls: list[str] = []
    monkeypatch.setattr(ngspice, "run_deck", lambda text, **limits: calls.append(text) or run_deck(text, **limits))
    plots = run_operating_points([divider(1000.0, 10.0 + k, title=f"member {k}") for k in range(230)])
    got = [float(plot.signal("v(b)")[0]) for plot in plots]
    assert got == pytest.approx([9.0 * (10.0 + k) / (1010.0 + k) for k in range(230)], rel=1e-12)
    assert len(calls) == 3


@pytest.mark.parametrize("card", [".tran 1u 1m\n", ".op\n", ".dc V1 0 9 1\n"])
def test_only_one_operating_point_a_deck(card: str) -> None:
    """Another analysis, or a second .op, is an input error."""
    with pytest.raises(InputError, match=r"must have one \.op and no other analysis"):
        run_operating_points([divider(1.0, 1.0, cards=card)])
