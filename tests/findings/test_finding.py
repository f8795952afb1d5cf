"""Of many findings: the worst verdict, the least margin of a concern; and what each question is about."""

from __future__ import annotations

import itertools

import pytest

from ignition.findings.compare import Statement, compare
from ignition.findings.finding import Concern, Finding, Question, Verdict, least_margin, worst_verdict


def finding(verdict: Verdict, margin: float | None = None, question: Question = Question.GATE) -> Finding:
    """A finding of a verdict, or of a margin."""
    value = {"PASS": 1.0, "FAIL": 3.0, "UNKNOWN": None}[verdict] if margin is None else 2.0 / margin
    return compare(
        question, "rule", value, "at most", 2.0, "A", says="x", statement=Statement(source="us", date="2026")
    )


@pytest.mark.parametrize(
    ("verdicts", "worst"),
    [
        (("PASS",), "PASS"),
        (("PASS", "UNKNOWN"), "UNKNOWN"),
        (("PASS", "UNKNOWN", "FAIL"), "FAIL"),
        (("UNKNOWN", "FAIL"), "FAIL"),
        ((), "UNKNOWN"),
    ],
)
def test_worst_verdict(verdicts: tuple[Verdict, ...], worst: str) -> None:
    """FAIL before UNKNOWN before PASS in any order; nothing found is not a PASS."""
    for order in itertools.permutations(verdicts):
        assert worst_verdict(finding(v) for v in order) == worst


def test_least_margin_is_of_its_concern() -> None:
    """The smallest of the accident margins, whatever the firing margins are; none where there is none."""
    found = [
        finding("PASS", 3.0),
        finding("PASS", 2.0, Question.BLOCKING),
        finding("PASS", 1.5, Question.FIRING_CURRENT),
        finding("UNKNOWN", None, Question.PIN),
    ]
    least, firing = least_margin(found, Concern.ACCIDENT), least_margin(found, Concern.FIRING)
    assert least is found[1] and firing is found[2]
    assert least_margin(found, Concern.PROCEDURE) is None
    assert least_margin([found[3]], Concern.ACCIDENT) is None


def test_questions_of_firing_rest_on_the_assumptions_of_firing() -> None:
    """Defaults are the worst for firing where the question is one of firing, and for safety everywhere else."""
    firing = {
        Question.FIRING_CURRENT, Question.FUNCTION, Question.GATE_DRIVE, Question.SUPPLY, Question.BATTERY,
        Question.FUSE, Question.CONDUCTOR, Question.JUNCTION,
    }  # fmt: skip
    assert {q for q in Question if q.direction == "fire"} == firing
    assert {q for q in Question if q.concern is Concern.FIRING} == firing
    accident = {
        Question.IGNITER_CURRENT, Question.GATE, Question.SWITCH_ON, Question.TURN_OFF, Question.TEST,
        Question.SINGLE_FAULTS, Question.BLOCKING, Question.PIN,
    }  # fmt: skip
    assert {q for q in Question if q.concern is Concern.ACCIDENT} == accident
    assert finding("PASS", question=Question.PIN).concern == "accident"
