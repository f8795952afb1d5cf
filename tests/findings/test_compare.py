"""The one comparison: which side each relation takes, what doubt does, and the margin's way up."""

from __future__ import annotations

import math
from typing import Any

import pytest

from ignition.findings.compare import Doubt, Statement, answered, compare, undecided
from ignition.findings.finding import Finding, Question, Reason, Relation

OURS = Statement(source="range rules, 3", date="2026-03-01")
DOUBT = Doubt(reason=Reason.MISSING_KEY, says="nobody measured it", keys=("battery.resistance",))
JUST = 1e-11
"""Ten times what counts as rounding [1]."""


def found(value: float | None, relation: Relation, limit: float | None, **more: Any) -> Finding:
    """A comparison in amperes."""
    return compare(Question.IGNITER_CURRENT, "rule", value, relation, limit, "A", says="one", statement=OURS, **more)


@pytest.mark.parametrize(
    ("value", "relation", "verdict"),
    [
        (2.0 * (1 - JUST), "below", "PASS"),
        (2.0, "below", "FAIL"),
        (2.0 * (1 - 1e-13), "below", "FAIL"),  # rounding: no nearer than reached
        (2.0 * (1 + JUST), "below", "FAIL"),
        (2.0 * (1 - JUST), "at most", "PASS"),
        (2.0, "at most", "PASS"),
        (2.0 * (1 + 1e-13), "at most", "PASS"),  # rounding: met
        (2.0 * (1 + JUST), "at most", "FAIL"),
        (2.0 * (1 + JUST), "at least", "PASS"),
        (2.0, "at least", "PASS"),
        (2.0 * (1 - 1e-13), "at least", "PASS"),
        (2.0 * (1 - JUST), "at least", "FAIL"),
        (-1.0, "below", "PASS"),
        (math.inf, "below", "FAIL"),
        (math.inf, "at most", "FAIL"),
        (math.inf, "at least", "PASS"),
        (math.nan, "below", "FAIL"),
        (math.nan, "at most", "FAIL"),
        (math.nan, "at least", "FAIL"),
    ],
)
def test_side_of_each_relation(value: float, relation: Relation, verdict: str) -> None:
    """Inside, reached, outside; a number that is none passes nothing."""
    finding = found(value, relation, 2.0)
    assert finding.verdict == verdict
    assert finding.reason == (Reason.WITHIN if verdict == "PASS" else Reason.EXCEEDED)


@pytest.mark.parametrize(("limit", "relation"), [(-0.5, "below"), (-0.5, "at most"), (0.5, "at least")])
def test_negative_values_are_compared_as_they_are(limit: float, relation: Relation) -> None:
    """-1 V stays below -0.5 V; 0.4 is not at least 0.5: the allowance for rounding is of the limit's size."""
    assert found(-1.0, relation, limit).verdict == ("FAIL" if relation == "at least" else "PASS")
    assert found(-0.4 if limit < 0 else 0.4, relation, limit).verdict == "FAIL"


@pytest.mark.parametrize(
    ("value", "relation", "limit", "base", "margin"),
    [
        (0.5, "below", 2.0, 0.0, 4.0),
        (4.0, "at most", 2.0, 0.0, 0.5),
        (3.0, "at least", 2.0, 0.0, 1.5),
        (85.0, "below", 145.0, 25.0, 2.0),  # (145 - 25) over (85 - 25) kelvin
        (0.0, "below", 2.0, 0.0, None),  # nothing flows: no ratio
        (-1.0, "below", 2.0, 0.0, None),
        (1.0, "below", 0.0, 0.0, 0.0),
        (1.0, "below", -2.0, 0.0, 0.0),
        (math.inf, "below", 2.0, 0.0, 0.0),
        (math.inf, "at least", 2.0, 0.0, math.inf),
        (0.0, "at least", 2.0, 0.0, 0.0),
        (-1.0, "at least", 2.0, 0.0, 0.0),
        (1.0, "at least", math.inf, 0.0, 0.0),
    ],
)
def test_margin_is_good_above_one(
    value: float, relation: Relation, limit: float, base: float, margin: float | None
) -> None:
    """Limit over value, or value over limit where the limit is a least one; counted from the base."""
    finding = found(value, relation, limit, base=base)
    assert finding.margin == (None if margin is None else pytest.approx(margin))
    assert finding.value == (value if math.isfinite(value) else None)
    assert finding.limit == (limit if math.isfinite(limit) else None)


@pytest.mark.parametrize("limit", [2.0, -2.0])
@pytest.mark.parametrize(
    ("relation", "side", "at"), [("below", -1.0, "FAIL"), ("at most", 1.0, "PASS"), ("at least", -1.0, "PASS")]
)
def test_rounding_is_a_share_of_the_limit(relation: Relation, side: float, at: str, limit: float) -> None:
    """1e-12 of the limit's size to the side that the relation asks for; the next number beyond is on the other side."""
    edge = limit + side * 1e-12 * 2.0
    beyond = math.nextafter(edge, side * math.inf)
    assert found(edge, relation, limit).verdict == at
    assert found(beyond, relation, limit).verdict == {"PASS": "FAIL", "FAIL": "PASS"}[at]


@pytest.mark.parametrize(("value", "limit", "margin"), [(1.0, 3.0, 3.0), (0.1, 0.4, 4.0), (0.0, 0.0, 0.0)])
def test_the_margin_counts_from_zero(value: float, limit: float, margin: float) -> None:
    """Unless a base is given; where there is neither room nor use there is no margin."""
    assert found(value, "at most", limit).margin == pytest.approx(margin)


@pytest.mark.parametrize(
    ("value", "limit", "verdict", "reason"),
    [
        (1.0, 2.0, "UNKNOWN", Reason.MISSING_KEY),
        (3.0, 2.0, "FAIL", Reason.EXCEEDED),
        (None, 2.0, "UNKNOWN", Reason.MISSING_KEY),
        (1.0, None, "UNKNOWN", Reason.MISSING_KEY),
    ],
)
def test_doubt_takes_a_pass_and_no_failure(
    value: float | None, limit: float | None, verdict: str, reason: Reason
) -> None:
    """A value within its limit is UNKNOWN in doubt; one beyond it FAILs whatever is in doubt, and names no key."""
    finding = found(value, "at most", limit, doubt=DOUBT)
    assert (finding.verdict, finding.reason) == (verdict, reason)
    failed = verdict == "FAIL"
    assert finding.keys == (() if failed else DOUBT.keys)
    assert finding.says == ("one" if failed else "one: nobody measured it")


@pytest.mark.parametrize(("value", "limit"), [(None, 2.0), (1.0, None), (None, None)])
def test_nothing_to_compare_is_unknown(value: float | None, limit: float | None) -> None:
    """Without value or limit there is no verdict, even where nobody said why."""
    finding = found(value, "at most", limit)
    assert (finding.verdict, finding.reason, finding.margin) == ("UNKNOWN", Reason.MISSING_KEY, None)


def test_the_reason_is_that_of_the_doubt() -> None:
    """Why it is unknown is what the doubt says, not always a missing key."""
    doubt = Doubt(reason=Reason.BELOW_REQUIRED_RELIABILITY, says="0.9 at 0.5")
    assert found(1.0, "at most", 2.0, doubt=doubt).reason is Reason.BELOW_REQUIRED_RELIABILITY


def test_whose_statement_stands_beside_it() -> None:
    """Source, date, place and what it rests on are kept as given."""
    finding = found(1.0, "below", 2.0, channel="a", phase="armed", line_state="intact", controller="dead", igniter="x",
                    rests_on=("battery.polarisation",))  # fmt: skip
    assert (finding.source, finding.source_date, finding.unit) == ("range rules, 3", "2026-03-01", "A")
    assert (finding.channel, finding.phase, finding.line_state) == ("a", "armed", "intact")
    assert (finding.controller, finding.igniter, finding.rests_on) == ("dead", "x", ("battery.polarisation",))


@pytest.mark.parametrize(
    ("answer", "verdict", "reason", "keys"),
    [
        (True, "PASS", Reason.WITHIN, ()),
        (False, "FAIL", Reason.EXCEEDED, ()),
        (None, "UNKNOWN", Reason.MISSING_KEY, ("checklist.x",)),
    ],
)
def test_answers(answer: bool | None, verdict: str, reason: Reason, keys: tuple[str, ...]) -> None:
    """Yes passes, no fails, silence is unknown and names the key; an answer has no number."""
    finding = answered(
        Question.PROCEDURE, "rule", answer, says="one", statement=OURS, key="checklist.x", phase="firing"
    )
    assert (finding.verdict, finding.reason, finding.keys) == (verdict, reason, keys)
    assert finding.value is finding.limit is finding.margin is None and finding.phase == "firing"


def test_undecided_is_unknown() -> None:
    """A question without an answer has the doubt's reason, channel and phase, and says the question."""
    doubt = Doubt(reason=Reason.NOT_ANALYSED, says="not analysed")
    finding = undecided(Question.TURN_OFF, "turn-off", doubt, statement=OURS, channel="a", phase="turn-off")
    assert (finding.verdict, finding.reason, finding.says) == ("UNKNOWN", Reason.NOT_ANALYSED, "turn-off: not analysed")
    assert (finding.channel, finding.phase, finding.value, finding.margin) == ("a", "turn-off", None, None)
