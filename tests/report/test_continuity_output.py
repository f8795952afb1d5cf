"""Continuity as JSON and text: the keys that others rely on, no impossible number, readable in 80 columns."""

from __future__ import annotations

import io
import json
import re
from typing import Any

import pytest
from rich.console import Console

from ignition.analyses.continuity.continuity import Continuity, continuity
from ignition.analyses.continuity.misreads import misclassification
from ignition.analyses.continuity.requirement import requirements
from ignition.report.continuity_output import (
    continuity_dict,
    continuity_text,
    misclassification_dict,
    misclassification_text,
    requirement_dict,
    requirement_text,
)
from tests.analyses.sense_circuits import bench, cluster

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
    value = json.loads(json.dumps(continuity_dict(continuity(bench())), allow_nan=False))
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


def missing_numbers(node: Any) -> list[dict[str, Any]]:
    """Every number object of a JSON value that holds no number."""
    if isinstance(node, list):
        return [found for member in node for found in missing_numbers(member)]
    if not isinstance(node, dict):
        return []
    own = [node] if "unit" in node and any(node.get(k, 0) is None for k in ("value", "low", "high")) else []
    return own + [found for member in node.values() for found in missing_numbers(member)]


@pytest.mark.parametrize(
    "circuit",
    [
        bench(powered_by="after arm switch", second=ALL),
        bench(leakage="100 uA"),
        bench(second=ALL),
        cluster(),
        bench(reference="ratiometric = true", voltage="0.1 V .. 0.2 V .. 0.3 V"),
    ],
)
def test_what_cannot_exist_is_null_with_a_reason(circuit: Any) -> None:
    """No NaN or infinity anywhere, and beside each null a reason."""
    value = json.loads(json.dumps(continuity_dict(continuity(circuit)), allow_nan=False))
    for number in missing_numbers(value):
        assert number.get("reason"), number


def test_text_fits_and_ends_with_what_is_proved() -> None:
    """No line is wider than 80 columns, no control characters, and the end says what is proved and what not."""
    text = shown(continuity(bench(second=ALL)))
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "\x1b" not in text
    proof = flat(text[text.index("What a reading in the intact band proves") :])
    assert "34.7 kohm in series" in proof
    assert "Intact does not mean it fires" in proof
    assert "does not show a short across the igniter" in proof
    assert "69.9 dB" in proof


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
    entry = json.loads(json.dumps(misclassification_dict(found), allow_nan=False))[0]
    assert entry["below_read_as_above"]["probability_at_most"]["value"] == pytest.approx(1 - 0.05 ** (1 / 200))
    stream = io.StringIO()
    misclassification_text(found, Console(file=stream, width=80))
    assert "line: open / intact" in stream.getvalue()
    assert all(len(line) <= 80 for line in stream.getvalue().splitlines())


def test_requirement_output() -> None:
    """Each way of measuring has its answer in both forms; what does not exist has a reason."""
    circuit = cluster(bridge="0.7 ohm .. 1.0 ohm .. 1.3 ohm")
    found = requirements(circuit, circuit.channels[0], "one string open")
    value = json.loads(json.dumps(requirement_dict(found), allow_nan=False))
    assert [entry["possible"] for entry in value] == [False, False, False]
    assert all(number["reason"] for number in missing_numbers(value))
    stream = io.StringIO()
    requirement_text(found, Console(file=stream, width=80))
    assert flat(stream.getvalue()).count("not possible") == 3
