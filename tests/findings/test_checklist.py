"""Findings on procedure: answers, silence, the interlock that is fitted, the wait."""

from __future__ import annotations

import pytest

from ignition.circuit.file import parse_circuit
from ignition.findings.checklist import checklist_findings
from ignition.findings.finding import Finding
from tests.circuit.sound import SOUND

UNFITTED = SOUND.replace('kind = "interlock"', 'kind = "switch"')
"""Without an interlock among the feed parts."""


def by_rule(text: str) -> dict[str, Finding]:
    """Findings by rule."""
    return {f.rule: f for f in checklist_findings(parse_circuit(text))}


def without(text: str, key: str) -> str:
    """The text without the line of a key."""
    lines = text.splitlines()
    kept = [line for line in lines if not line.startswith(f"{key} =")]
    assert len(kept) == len(lines) - 1
    return "\n".join(kept)


def said(text: str, key: str, value: str) -> str:
    """The text with another value of a key."""
    return without(text, key).replace("[checklist]", f"[checklist]\n{key} = {value}")


@pytest.mark.parametrize("key", ["interlock_in_series", "switch_returns_to_off"])
def test_answers_are_taken_as_given(key: str) -> None:
    """Yes passes, no fails, silence is unknown and names the key."""
    rule = key.replace("_", "-")
    assert by_rule(said(UNFITTED, key, "true"))[rule].verdict == "PASS"
    assert by_rule(said(UNFITTED, key, "false"))[rule].verdict == "FAIL"
    silent = by_rule(without(UNFITTED, key))[rule]
    assert (silent.verdict, silent.keys) == ("UNKNOWN", (f"checklist.{key}",))


def test_a_fitted_interlock_answers_for_itself() -> None:
    """An interlock in the feed is the answer where none is given; one that is denied stays denied; no other answers."""
    assert by_rule(without(SOUND, "interlock_in_series"))["interlock-in-series"].verdict == "PASS"
    assert by_rule(said(SOUND, "interlock_in_series", "false"))["interlock-in-series"].verdict == "FAIL"
    assert by_rule(without(SOUND, "switch_returns_to_off"))["switch-returns-to-off"].verdict == "UNKNOWN"


@pytest.mark.parametrize(
    ("wait", "verdict"),
    [('"60 s"', "PASS"), ('"61 s"', "PASS"), ('"59.9 s"', "FAIL"), ('"59 s .. 70 s .. 80 s"', "FAIL"),
     ('"60 s .. 70 s .. 80 s"', "PASS")],
)  # fmt: skip
def test_the_shortest_wait_counts(wait: str, verdict: str) -> None:
    """60 s is enough, less is not; of a range the low end counts."""
    finding = by_rule(said(SOUND, "misfire_wait", wait))["misfire-wait"]
    assert finding.verdict == verdict and finding.limit == 60.0


def test_a_wait_that_is_not_given_is_unknown() -> None:
    """Silence names the key."""
    finding = by_rule(without(SOUND, "misfire_wait"))["misfire-wait"]
    assert (finding.verdict, finding.keys) == ("UNKNOWN", ("checklist.misfire_wait",))
