"""The one comparison behind every verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ignition.findings.corner import Corner
from ignition.findings.finding import Finding, Question, Reason, Relation, Verdict

__all__ = ["Doubt", "Statement", "answered", "compare", "undecided"]

_ROUNDING = 1e-12
"""Relative difference that is rounding: 1.5 x 1.0 A is met by 1.5 A, and what must stay below is not that near."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """Whose statement a limit is: document with section, and its date or edition."""

    source: str
    date: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Why a value within its limit is no PASS, or why there is no value; and the keys to give."""

    reason: Reason
    says: str
    keys: tuple[str, ...] = ()


def _holds(value: float, relation: Relation, limit: float) -> bool:
    slack = _ROUNDING * abs(limit)
    if relation == "below":
        return value < limit - slack
    return value <= limit + slack if relation == "at most" else value >= limit - slack


def _margin(value: float, relation: Relation, limit: float, base: float) -> float | None:
    """How far on the good side: limit over value, or value over limit where the limit is a least one."""
    room, used = (value, limit) if relation == "at least" else (limit, value)
    room, used = room - base, used - base
    if room <= 0.0 or math.isinf(used):
        return 0.0
    return room / used if used > 0.0 else None


def compare(
    question: Question,
    rule: str,
    value: float | None,
    relation: Relation,
    limit: float | None,
    unit: str,
    *,
    says: str,
    statement: Statement,
    doubt: Doubt | None = None,
    base: float = 0.0,
    channel: str | None = None,
    phase: str | None = None,
    line_state: str | None = None,
    controller: str | None = None,
    igniter: str | None = None,
    part: str | None = None,
    corner: Corner | None = None,
    rests_on: tuple[str, ...] = (),
) -> Finding:
    """Compare a worst value with a limit.

    A value beyond the limit FAILs whatever is in doubt; one within it PASSes only without doubt. Without value or limit
    the verdict is UNKNOWN, for the reason that `doubt` gives.

    Parameters
    ----------
    value : Worst value over all tolerances [`unit`]; infinite where it has no bound
    limit : What it is held against [`unit`]; infinite where nothing could meet it
    base : Value from which the margin counts, as the ambient temperature for a temperature [`unit`]
    """
    verdict: Verdict = "UNKNOWN"
    reason = Reason.MISSING_KEY if doubt is None else doubt.reason
    margin = None
    if value is not None and limit is not None:
        margin = _margin(value, relation, limit, base)
        if not _holds(value, relation, limit):
            verdict, reason, doubt = "FAIL", Reason.EXCEEDED, None
        elif doubt is None:
            verdict, reason = "PASS", Reason.WITHIN
    return Finding(
        question=question,
        rule=rule,
        channel=channel,
        phase=phase,
        line_state=line_state,
        controller=controller,
        igniter=igniter,
        part=part,
        verdict=verdict,
        reason=reason,
        relation=relation,
        value=value if value is not None and math.isfinite(value) else None,
        limit=limit if limit is not None and math.isfinite(limit) else None,
        unit=unit,
        margin=margin,
        corner=corner,
        keys=() if doubt is None else doubt.keys,
        rests_on=rests_on,
        says=says if doubt is None else f"{says}: {doubt.says}",
        source=statement.source,
        source_date=statement.date,
    )


def answered(
    question: Question,
    rule: str,
    answer: bool | None,
    *,
    says: str,
    statement: Statement,
    key: str,
    phase: str | None = None,
) -> Finding:
    """Judge a yes or no that no circuit value can give."""
    found = compare(
        question,
        rule,
        None if answer is None else float(answer),
        "at least",
        1.0,
        "1",
        says=says,
        statement=statement,
        doubt=Doubt(reason=Reason.MISSING_KEY, says="not answered", keys=(key,)) if answer is None else None,
        phase=phase,
    )
    return replace(found, value=None, limit=None, margin=None)


def undecided(
    question: Question,
    rule: str,
    doubt: Doubt,
    *,
    statement: Statement,
    channel: str | None = None,
    phase: str | None = None,
) -> Finding:
    """Make the finding of a question that has no answer."""
    return compare(
        question,
        rule,
        None,
        "at most",
        None,
        "1",
        says=str(question),
        statement=statement,
        doubt=doubt,
        channel=channel,
        phase=phase,
    )
