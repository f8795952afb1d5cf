"""The command line as a person or a program uses it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from ignition.circuit.examples import example_names, example_text
from tests.cli.in_process import told

SPREAD = {"low", "nominal", "high", "unit"}


def run(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run the command line in a folder."""
    return subprocess.run(
        [sys.executable, "-m", "ignition", *words], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with all example files."""
    for name in example_names():
        (tmp_path / f"{name}.toml").write_text(example_text(name), encoding="utf-8")
    return tmp_path


def answer(done: subprocess.CompletedProcess[str]) -> Any:
    """The one JSON object on standard output; NaN and Infinity are refused."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in JSON")

    return json.loads(done.stdout, parse_constant=refuse)


@pytest.mark.parametrize(
    ("name", "verdict"),
    [
        ("demo", "PASS"),
        ("long-lead-pad", "PASS"),
        ("ejection-single-cell", "PASS"),
        ("kelp-line-cutter", "PASS"),
        ("weak-pull-down", "FAIL"),
        ("reset-pull-up", "FAIL"),
        ("unknown-igniter", "UNKNOWN"),
    ],
)
def test_check_status_and_keys(name: str, verdict: str, folder: Path) -> None:
    """Exit status 1 for what fails or is unknown; the JSON has the keys that programs rely on."""
    done = told("check", f"{name}.toml", "--json", folder=folder)
    result = answer(done)
    assert done.returncode == (0 if verdict == "PASS" else 1) and done.stderr == ""
    assert result["circuit"] == f"{name}.toml" and result["verdict"] == verdict
    assert ({f["verdict"] for f in result["findings"]} == {"PASS"}) == (verdict == "PASS")
    keys = {"rule", "channel", "phase", "verdict", "value", "limit", "unit", "margin", "says", "source", "source_date"}
    assert all(keys <= set(f) for f in result["findings"])
    assert all({"key", "value", "direction", "basis"} <= set(a) for a in result["assumptions"])
    text = told("check", f"{name}.toml", folder=folder)
    assert text.returncode == done.returncode and f"Verdict: {verdict}" in text.stdout and "Cautions" in text.stdout


@pytest.mark.parametrize("name", ["demo", "reset-pull-up", "unknown-igniter"])
def test_firing_and_continuity_keys(name: str, folder: Path) -> None:
    """The JSON of firing and continuity has the keys that programs rely on."""
    fired = answer(told("firing", f"{name}.toml", "--json", folder=folder))
    assert set(fired["battery_voltage"]) >= SPREAD and set(fired["controller_supply"]) >= SPREAD
    for channel in fired["channels"]:
        assert set(channel["mosfet_junction"]) >= SPREAD
        for igniter in channel["igniters"]:
            assert {"igniter", "string", "position", "all_fire_margin", "functions"} <= set(igniter)
            assert set(igniter["current"]) >= SPREAD and set(igniter["function_time"]) >= SPREAD
            assert igniter["functions"] in ("always", "sometimes", "never")
    read = answer(told("continuity", f"{name}.toml", "--json", folder=folder))
    for channel in read["channels"]:
        states = [s["state"] for s in channel["line_states"]]
        assert states[:5] == ["intact", "open", "shorted", "mosfet shorted", "not armed"]
        assert all(set(s["igniter_current"]) >= SPREAD and set(s["adc_code"]) >= SPREAD for s in channel["line_states"])
        assert {"below", "above", "code"} <= set(channel["thresholds"][0]) and isinstance(
            channel["thresholds"][0]["code"], int
        )
        assert {"value", "unit"} <= set(channel["largest_unseen_resistance"]) and {"value", "unit"} <= set(
            channel["no_fire_margin"]
        )


def test_faults_and_diagnose_keys(folder: Path) -> None:
    """The JSON of faults has the keys that programs rely on; that of a diagnosis has candidates, the worst first."""
    done = told("faults", "kelp-line-cutter.toml", "--order", "2", "--json", folder=folder)
    found = answer(done)
    assert done.returncode == 0 and found["order"] == 2 and found["verdict"] == "PASS"
    assert found["fewest_faults_to_fire"] == {"disarmed": 2, "reset": 1, "armed": 1, "firing": None}
    assert [phase["phase"] for phase in found["phases"]] == ["disarmed", "reset", "armed", "firing"]
    for phase in found["phases"]:
        for row in phase["faults"]:
            assert isinstance(row["faults"], list) and isinstance(row["channel"], str) and isinstance(row["class"], str)
            assert set(row["igniter_current"]) == {"value", "unit"} and row["igniter_current"]["unit"] == "A"
    assert {len(row["faults"]) for row in found["phases"][0]["faults"]} == {1, 2}
    assert {"remedies", "sneak_paths", "inhibits"} <= set(found)
    done = told("diagnose", "kelp-line-cutter.toml", "--reading", "line=5", "--json", folder=folder)
    found = answer(done)
    assert done.returncode == 1 and found["candidates"][0]["class"] == "hazardous"
    assert told("diagnose", "kelp-line-cutter.toml", "--reading", "line=3584", folder=folder).returncode == 0
    assert told("faults", "tether-cutter.toml", folder=folder).returncode == 1


def test_text_is_plain_in_a_pipe(folder: Path) -> None:
    """Piped text has no colour codes and no line beyond 80 columns."""
    for words in (
        ("demo",),
        ("check", "reset-pull-up.toml"),
        ("firing", "demo.toml"),
        ("continuity", "demo.toml"),
        ("faults", "kelp-line-cutter.toml", "--order", "2"),
        ("diagnose", "kelp-line-cutter.toml", "--reading", "line=0"),
        ("example", "--list"),
    ):
        done = (run if words == ("demo",) else told)(*words, folder=folder)
        assert "\x1b" not in done.stdout, words
        assert max(len(line) for line in done.stdout.splitlines()) <= 80, words


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("check", "none.toml"), "does not exist"),
        (("check",), "FILE"),
        (("chek", "demo.toml"), "chek"),
        (("firing", "demo.toml", "--jason"), "--jason"),
        (("example", "nonsense", "x.toml"), "no example is called"),
        (("example",), "give a file to write"),
        (("example", "demo"), "give a file to write"),
        (("example", "demo", "demo.toml"), "exists; give another path"),
        (("example", "demo", "no/such/folder/x.toml"), "cannot be written"),
        (("faults", "demo.toml", "--order", "4"), "order"),
        (("diagnose", "demo.toml"), "--reading"),
        (("diagnose", "demo.toml", "--reading", "boosters=x"), "CHANNEL=CODE"),
        (("diagnose", "demo.toml", "--reading", "booster=1"), "there are: boosters, marker"),
        (("diagnose", "demo.toml", "--reading", "boosters=1", "--battery", "12"), "no unit"),
        (("netlist", "demo.toml"), "-o"),
        (("continuity", "demo.toml", "--roles", "none.toml"), "demo.toml is TOML, not a netlist"),
    ],
)
def test_wrong_use_ends_with_2(words: tuple[str, ...], says: str, folder: Path) -> None:
    """Wrong input or usage: status 2, a message on standard error, nothing on standard output, no traceback."""
    before = sorted(p.name for p in folder.rglob("*"))
    done = told(*words, folder=folder)
    assert done.returncode == 2 and says in done.stderr and "Traceback" not in done.stderr and done.stdout == ""
    assert sorted(p.name for p in folder.rglob("*")) == before


def test_example_writes_what_check_reads(folder: Path) -> None:
    """An example is written whole, is not overwritten, and demo writes nothing."""
    assert run("example", "long-lead-pad", "mine.toml", folder=folder).returncode == 0
    assert (folder / "mine.toml").read_text(encoding="utf-8") == example_text("long-lead-pad")
    assert run("example", "other.toml", folder=folder).returncode == 0
    assert (folder / "other.toml").read_text(encoding="utf-8") == example_text("demo")
    before = sorted(p.name for p in folder.rglob("*"))
    assert run("demo", folder=folder).returncode == 0
    assert sorted(p.name for p in folder.rglob("*")) == before


def test_schema_is_one_object(folder: Path) -> None:
    """The schema names every table of the file."""
    schema = answer(run("schema", folder=folder))
    assert {"battery", "feed", "controller", "igniter", "mosfet", "channel"} <= set(schema["properties"])


def test_reader_that_goes_away(folder: Path) -> None:
    """A closed pipe ends quietly, as with `ignition check FILE | head -1`."""
    done = subprocess.run(
        f"{sys.executable} -m ignition check demo.toml | head -1",
        cwd=folder,
        shell=True,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.stderr == "" and done.stdout.startswith("Vesterby")


@pytest.mark.parametrize(
    "words", [("continuity", "--need", "shorted"), ("divider", "--series", "E24"), ("divider", "--json")]
)
def test_a_battery_that_cannot_hold_the_reference_is_named(words: tuple[str, ...], folder: Path) -> None:
    """A ratiometric converter on a battery of 0.2 V reads nothing: refused with what to write, nothing printed."""
    text = (folder / "kelp-line-cutter.toml").read_text(encoding="utf-8")
    text, voltages = re.subn('open_circuit_voltage = "[^"]*"', 'open_circuit_voltage = "0.2 V"', text)
    text, references = re.subn('reference = "3.0 V"', "ratiometric = true", text)
    assert (voltages, references) == (1, 1)
    (folder / "flat.toml").write_text(text, encoding="utf-8")
    done = told(words[0], "flat.toml", *words[1:], folder=folder)
    assert done.returncode == 2 and done.stdout == ""
    assert "reference may be 0 V while armed" in done.stderr and "write a battery" in done.stderr
