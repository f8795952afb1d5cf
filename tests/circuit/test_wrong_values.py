"""Wrong files that once went through, or ended in a traceback; and the command line's answer to wrong files."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from ignition.circuit.file import MAX_BYTES, parse_circuit
from ignition.cli import main as cli
from ignition.errors import CircuitFileError
from tests.circuit.edits import CUTTER, DEMO, edited

LEAK = 'leakage = { cool = "0 A", hot = "0 A" }'
JOINTS = 'joints = "20 mohm .. 40 mohm .. 100 mohm"'

# what stands in the good file, what is written instead, key, what the message says
CASES: list[tuple[str, str, str, str]] = [
    ("total_error = 0", "total_error = inf", "controller.adc.total_error", "plain number of LSB"),
    ("total_error = 0", "total_error = 1" + "0" * 400, "controller.adc.total_error", "plain number of LSB"),
    ("total_error = 0", "total_error = true", "controller.adc.total_error", "plain number of LSB"),
    ("total_error = 0", "total_error = 0\nnoise = inf", "controller.adc.noise", "plain number of LSB"),
    ("total_error = 0", "total_error = 0\nsamples = 0", "controller.adc.samples", "greater than or equal to 1"),
    ("bits = 12", "bits = true", "controller.adc.bits", "valid integer"),
    ("hot_factor = 1.0", "hot_factor = nan", "mosfet.low_side.on_resistance_hot_factor", "plain number"),
    ("hot_factor = 1.0", "hot_factor = inf", "mosfet.low_side.on_resistance_hot_factor", "plain number"),
    ("reliability = 0.999", "reliability = nan", "igniter.cutter.no_fire.reliability", "above 0.5 and below 1"),
    ("reliability = 0.999", 'reliability = "0.999"', "igniter.cutter.no_fire.reliability", "above 0.5 and below 1"),
    ("time_constant =", "time_constnt =", "igniter.cutter.time_constnt", "did you mean 'time_constant'"),
    ("duration =", "duraton =", "igniter.cutter.no_fire.duraton", "did you mean 'duration'"),
    (
        "on_resistance_hot_factor",
        "on_resistance_hot",
        "mosfet.low_side.on_resistance_hot",
        "did you mean 'on_resistance",
    ),
    ("threshold =", "treshold =", "mosfet.low_side.treshold", "did you mean 'threshold'"),
    (JOINTS, 'joints = "0...3 ohm"', "channel[0].lead.joints", "three dots"),
    (JOINTS, 'joints = "20 mohm ... 40 mohm"', "channel[0].lead.joints", "three dots"),
    (JOINTS, 'joints = "0,1 ohm"', "channel[0].lead.joints", "decimal mark is a point"),
    (JOINTS, "joints = []", "channel[0].lead.joints", "resistance is text such as"),
    (JOINTS, 'joints = "20 mohm .. 40 mohm .. 60 mohm .. 80 mohm"', "channel[0].lead.joints", "is no range"),
    (JOINTS, 'joints = "1e13 ohm"', "channel[0].lead.joints", "must not exceed"),
    (
        LEAK,
        'leakage = { cool = "1 uA", hot = "0 A" }',
        "mosfet.low_side.leakage",
        "must not be below the leakage at 25 degC",
    ),
    ('max_junction = "150 degC"', 'max_junction = "20 degC"', "mosfet.low_side.max_junction", "must be above 25 degC"),
    ('max_junction = "150 degC"', 'max_junction = "150 K ± 5 degC"', "mosfet.low_side.max_junction", "kelvin"),
    ('gate = "2.5 V"', 'gate = "2.3 V .. 2.7 V"', "mosfet.low_side.on_resistance[0].gate", "without tolerance"),
    ('name = "cutter"', 'name = "load"', "channel[0].name", "names another part of the circuit"),
    ('name = "cutter"', 'name = "bus"', "channel[0].name", "names another part of the circuit"),
    ('name = "cutter"', 'name = "feed"', "channel[0].name", "names another part of the circuit"),
    *(
        (
            "[[feed]]",
            f'[[feed]]\nname = "F"\nkind = "{kind}"\nresistance = "5 mohm"\n{name} = "{value}"\n\n[[feed]]',
            "feed[0]",
            f"{name}: only for kind",
        )
        for kind, name, value in (
            ("switch", "rating", "5 A"),
            ("resettable fuse", "rating", "5 A"),
            ("resistor", "hold_current", "5 A"),
            ("fuse", "hold_current", "5 A"),
            ("fuse", "trip_i2t", "5 A^2 s"),
            ("resettable fuse", "melting_i2t", "5 A^2 s"),
        )
    ),
    ('name = "cutter"', 'name = ""', "channel[0].name", "at least 1 character"),
    ('temperature = "20 degC"', 'temperature = "20"', "ambient.temperature", "has no unit"),
    ('temperature = "20 degC"', 'temperature = "-300 degC"', "ambient.temperature", "must be above -273"),
    ('temperature = "20 degC"', 'temperature = "20 degC ± 10 %"', "ambient.temperature", "is a difference"),
    ('supply = "3.0 V"', 'supply = "0 V"', "controller.supply", "must be above 0 V"),
    ('supply = "3.0 V"', 'supply = "3.0 V"\ncurrent = "-1 mA"', "controller.current", "must not be below 0 A"),
    ('supply = "3.0 V"', "supply = { }", "controller.supply", "its value is missing"),
    ('supply = "3.0 V"', "supply = { value = 3.0 }", "controller.supply", "a bare number has no unit"),
    ('mosfet = "low_side"', 'mosfet = "lowside"', "channel[0].mosfet", "did you mean 'low_side'"),
    ('igniters = [["cutter"]]', 'igniters = [["cutter", ""]]', "channel[0].igniters", "unknown igniter ''"),
    ('igniters = [["cutter"]]', f"igniters = [{['cutter'] * 65}]", "channel[0].igniters", "at most 64"),
    ('resistance = "10 mohm', 'rating = "0 A"\nresistance = "10 mohm', "feed[0].rating", "must be above 0 A"),
    ('resistance = "10 mohm', 'wire = "AWG 20"\nresistance = "10 mohm', "feed[0]", "belong to kind = 'wire'"),
]


@pytest.mark.parametrize(("old", "new", "key", "says"), CASES, ids=[f"{i:02} {c[2]}" for i, c in enumerate(CASES)])
def test_each_mistake_has_its_key_and_line(old: str, new: str, key: str, says: str) -> None:
    """The mistake names its key, a line on which the edit stands, and what to write."""
    text = edited(CUTTER, (old, new))
    with pytest.raises(CircuitFileError) as caught:
        parse_circuit(text, name="pad.toml")
    found = [m for m in caught.value.mistakes if m.key == key]
    assert found and says in found[0].message, str(caught.value)
    line = found[0].line
    assert line is not None and text.splitlines()[line - 1].split("=")[0].strip(' "[]') in f"{key} {new} {old}"


def test_mistakes_between_values_have_their_table() -> None:
    """A mistake that several values make stands at their table, also where its name holds brackets and dots."""
    for name in ("cutter", "cutter[1]", "a.b", "x y"):
        text = CUTTER.replace("[igniter.cutter]", f'[igniter."{name}"]').replace('[["cutter"]]', f'[["{name}"]]')
        text = edited(text, ('current = "0.25 A"', 'current = "1.5 A"'))
        with pytest.raises(CircuitFileError) as caught:
            parse_circuit(text)
        mistake = caught.value.mistakes[0]
        assert mistake.key == f"igniter.{name}" and mistake.line == text.splitlines().index(f'[igniter."{name}"]') + 1
        assert "check that they are not swapped" in mistake.message


def test_a_divider_that_drifts_away_is_a_mistake_with_a_line() -> None:
    """A temperature coefficient that would turn a resistor's sign is refused at its channel."""
    text = edited(
        CUTTER,
        ('%", temperature_coefficient = "0 / K"', '%", temperature_coefficient = "0.02 / K"'),
        ('temperature = "20 degC"', 'temperature = "-40 degC .. 90 degC"'),
    )
    with pytest.raises(CircuitFileError, match=r"channel\[0\]: sense.temperature_coefficient"):
        parse_circuit(text, name="pad.toml")


def test_a_number_of_thousands_of_digits_is_refused() -> None:
    """TOML allows it, Python refuses to read it: still a mistake of the file."""
    with pytest.raises(CircuitFileError, match="is not TOML"):
        parse_circuit(edited(CUTTER, ("bits = 12", "bits = 1" + "0" * 5000)))


LIMIT = '\n[[rules.limit]]\nname = "{}"\nkind = "monitor current at most"\ncurrent = "1 mA"\nsource = "pad book"\ndate = "2026"\n'


@pytest.mark.parametrize(
    ("names", "says"),
    [
        (("own", "own"), "name 'own' stands twice"),
        (("own", "monitor-current-tenth"), "'monitor-current-tenth' names a rule that is shipped"),
        (("own", "below-no-fire"), "'below-no-fire' names a rule that is shipped"),
    ],
)
def test_own_limits_have_names_of_their_own(names: tuple[str, str], says: str) -> None:
    """Two limits of one name, or one with the name of a shipped rule, could not be told apart in the findings."""
    text = CUTTER + "".join(LIMIT.format(name) for name in names)
    with pytest.raises(CircuitFileError) as caught:
        parse_circuit(text)
    (mistake,) = caught.value.mistakes
    assert mistake.key == "rules.limit[1].name" and says in mistake.message
    assert mistake.line is not None and names[1] in text.splitlines()[mistake.line - 1]


def test_readings_stand_alone() -> None:
    """They give voltage and resistance: a cell's resistance beside them is refused."""
    readings = 'readings = { open = "6.4 V", loaded = "6.0 V", load = "2 ohm" }\n'
    text = CUTTER.replace('open_circuit_voltage = "6.0 V .. 6.4 V .. 6.8 V"', readings).replace(
        'resistance = "50 mohm .. 80 mohm .. 150 mohm"        # at the end of a pulse\nresistance_temperature = "20 degC"',
        'cells_in_series = 2\ncell_resistance = "30 mohm"',
    )
    with pytest.raises(CircuitFileError, match=r"readings already give .* leave out cell_resistance"):
        parse_circuit(text)


def test_empty_thermal_time_is_refused() -> None:
    """A thermal stage of no time has no impedance law."""
    with pytest.raises(CircuitFileError, match=r"mosfet\.logic_level\.thermal\[0\]\.time_constant: must be above 0 s"):
        parse_circuit(edited(DEMO, ('time_constant = "0.5 ms"', 'time_constant = "0 s"')))


def test_twenty_mistakes_at_once() -> None:
    """A file with many mistakes lists them all, in the order of its lines, and counts them."""
    text = CUTTER.replace(" ohm", " oh").replace(" mohm", " moh").replace(" V", " Vo")
    with pytest.raises(CircuitFileError) as caught:
        parse_circuit(text, name="pad.toml")
    mistakes = caught.value.mistakes
    lines = [m.line or 0 for m in mistakes]
    assert len(mistakes) >= 9 and lines == sorted(lines) and all(lines)
    assert str(caught.value).splitlines()[-1] == f"pad.toml: {len(mistakes)} mistakes; nothing was computed"


VERBS = [("check",), ("check", "--json"), ("firing",), ("firing", "--json"), ("continuity",), ("continuity", "--json")]

FILES: dict[str, tuple[bytes, str]] = {
    "binary": (b"\x00\x01", "is a binary file"),
    "utf16": ("title = 'x'".encode("utf-16"), "is a binary file"),
    "latin": (b"title = '\xe9'", "pad.toml:1: is not UTF-8"),
    "empty": (b"", "battery: is missing"),
    "huge": (b"#" * (MAX_BYTES + 1), "at most 1000000"),
    "toml": (b"a = ", "pad.toml:1: is not TOML"),
    "unit": (
        edited(CUTTER, ("6.0 V .. 6.4 V .. 6.8 V", "6.0 .. 6.8 A")).encode(),
        "pad.toml:10: battery.open_circuit_voltage",
    ),
    "swapped": (edited(CUTTER, ('current = "0.25 A"', 'current = "2 A"')).encode(), "must lie below all_fire.current"),
}


@pytest.mark.parametrize("verb", VERBS, ids=[" ".join(v) for v in VERBS])
@pytest.mark.parametrize("kind", sorted(FILES))
def test_the_command_line_refuses_wrong_files(
    kind: str,
    verb: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Exit status 2, the message on standard error, nothing on standard output, whatever the verb."""
    content, says = FILES[kind]
    (tmp_path / "pad.toml").write_bytes(content)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["ignition", verb[0], "pad.toml", *verb[1:]])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    out, err = capsys.readouterr()
    assert ended.value.code == 2 and out == "" and says in err and "Traceback" not in err


@pytest.mark.parametrize("path", ["none.toml", ".", "no/such/pad.toml"])
def test_a_fresh_process_refuses_missing_files(path: str, tmp_path: Path) -> None:
    """The whole program, in a process of its own: status 2, one message, no traceback."""
    done = subprocess.run(
        [sys.executable, "-c", "from ignition.cli.main import main; main()", "check", path, "--json"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2 and done.stdout == "" and done.stderr.startswith("ignition: ")
    assert "Traceback" not in done.stderr and path in done.stderr


def test_the_edited_files_are_otherwise_good() -> None:
    """The files that the cases are made from load."""
    assert parse_circuit(CUTTER).channels[0].name == "cutter" and len(parse_circuit(DEMO).channels) == 2
