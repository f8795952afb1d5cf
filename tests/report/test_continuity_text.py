"""Continuity as JSON and text: the keys that others rely on, no impossible number, readable in 80 columns."""

from __future__ import annotations

import io
import json
import re

import pytest
from rich.console import Console

from ignition.analyses.continuity.continuity import Continuity, continuity
from ignition.analyses.continuity.misreads import misclassification
from ignition.analyses.continuity.requirement import requirements
from ignition.circuit.file import parse_circuit
from ignition.report.continuity_text import continuity_text, misclassification_text, requirement_text
from ignition.report.json_walk import as_json, to_json
from tests.analyses.sense_circuits import bench, cluster, text

ALL = (
    'second = { bus_divider = { upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %" }, drain_pull_up = "100 kohm", '
    'test_pulse = "20 us", before_arming = true }'
)


def shown(result: Continuity, width: int = 80) -> str:
    """The text as a pipe receives it."""
    stream = io.StringIO()
    continuity_text(result, Console(file=stream, width=width))
    return stream.getvalue()


def flat(text: str) -> str:
    """Text with line breaks and indents taken out."""
    return re.sub(r"\s+", " ", text)


def test_contract_keys() -> None:
    """The keys that other programs rely on, with their shapes."""
    value = json.loads(to_json(continuity(bench())))
    assert value["circuit"] == "bench.toml"
    (channel,) = value["channels"]
    assert channel["channel"] == "line"
    first = channel["line_states"][0]
    assert first["state"] == "intact"
    assert set(first["igniter_current"]) == {"low", "nominal", "high", "unit"}
    assert first["igniter_current"]["unit"] == "A" and first["adc_code"]["unit"] == "1"
    assert ["intact", "shorted"] in channel["cannot_tell_apart"]
    assert {"below", "above", "code"} <= set(channel["thresholds"][0])
    assert channel["largest_unseen_resistance"]["unit"] == "ohm"
    assert channel["no_fire_margin"]["value"] == pytest.approx(3135.03, rel=1e-5)


def test_reasons_say_what_is_missing() -> None:
    """An open line that reads intact, a code that does not exist, a steady current's energy: each has its own reason."""
    (leaking,) = as_json(continuity(bench(leakage="100 uA")))["channels"]
    assert leaking["largest_unseen_resistance"]["reason"] == "even an open line gives such a reading"
    assert leaking["above_threshold"]["leak"]["reason"] == "there is no such code"
    assert leaking["above_threshold"]["code_reason"] == "there is no such code"
    lines = [line for line in text(second=ALL).splitlines() if not line.startswith("no_fire")]
    (unknown,) = as_json(continuity(parse_circuit("\n".join(lines), "bench.toml")))["channels"]
    igniter = unknown["second_measurements"][0]["igniter"]
    assert igniter["energy"]["reason"] == "the current stays on"
    assert igniter["no_fire_margin"]["reason"] == "igniter 'match' has no no-fire current"


def test_text_says_why_there_is_no_margin() -> None:
    """Without a no-fire current a test's effect is not passed over in silence."""
    lines = [line for line in text(second=ALL).splitlines() if not line.startswith("no_fire")]
    said = flat(shown(continuity(parse_circuit("\n".join(lines), "bench.toml"))))
    assert "no margin: igniter 'match' has no no-fire current" in said


def test_text_fits_and_ends_with_what_is_proved() -> None:
    """No line is wider than 80 columns, no control characters, and the end says what is proved and what not.

    34.7 kohm in series without the resistor of the pull-up test, 6.66 V at the drain: its pin's clamp at 3.8 V takes 28 uA
    through 101 kohm beside the divider's 50 uA, so that 1.74 V / 78 uA is left. The igniter's 63 uA are 110 uA: 0.2 A is 65.2 dB above, not 69.9 dB.
    """
    text = shown(continuity(bench(second=ALL)))
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "\x1b" not in text
    proof = flat(text[text.index("What a reading in the intact band proves") :])
    assert "22.2 kohm in series" in proof
    assert "Intact does not mean it fires" in proof
    assert "does not show a short across the igniter" in proof
    assert "65.2 dB" in proof


def test_text_names_what_separates() -> None:
    """Each ambiguous pair is followed by the measurement that separates it, or by none."""
    text = flat(shown(continuity(bench(second=ALL))))
    assert "open / not armed; separated by: bus voltage" in text
    assert "intact / shorted; no measurement in the file separates them" in text


def test_text_warns_of_a_pulse_that_fires() -> None:
    """A test pulse that can fire is a FAIL with the longest length allowed."""
    text = flat(shown(continuity(bench(second=ALL))))
    assert "FAIL: this test can FIRE the igniter; at most 92.8 ns" in text


def test_text_of_an_open_line_that_reads_intact() -> None:
    """Where an open line reads intact the text says that nothing is proved."""
    assert "Nothing: even an open line gives such a reading" in flat(shown(continuity(bench(leakage="100 uA"))))


def test_text_of_a_cluster() -> None:
    """A cluster lists each string and says that one open string is not seen."""
    text = flat(shown(continuity(cluster())))
    assert "string 3 open" in text
    assert "does not show one open string" in text


def test_names_are_not_markup() -> None:
    """Brackets in a channel's name are printed, not read as style."""
    assert "Channel [bold]x[/bold]" in shown(continuity(bench(name="[bold]x[/bold]")))


def test_misclassification_output() -> None:
    """Shares and bounds appear in both forms."""
    circuit = bench()
    found = misclassification(circuit, continuity(circuit), rng=1, size=200)
    entry = as_json(found)[0]
    assert entry["below_read_as_above"]["probability_at_most"]["value"] == pytest.approx(1 - 0.05 ** (1 / 200))
    stream = io.StringIO()
    misclassification_text(found, Console(file=stream, width=80))
    assert "line: open / intact" in stream.getvalue()
    assert all(len(line) <= 80 for line in stream.getvalue().splitlines())


def test_requirement_output() -> None:
    """Each way of measuring has its answer in both forms; what does not exist has a reason."""
    circuit = cluster(bridge="0.7 ohm .. 1.0 ohm .. 1.3 ohm")
    found = requirements(circuit, circuit.channels[0], "one string open")
    value = as_json(found)
    assert [entry["possible"] for entry in value] == [False, False, False]
    assert value[0]["total_resistance"]["reason"] == found[0].says
    stream = io.StringIO()
    requirement_text(found, Console(file=stream, width=80))
    assert flat(stream.getvalue()).count("not possible") == 3
