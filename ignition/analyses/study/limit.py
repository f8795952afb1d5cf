"""How far one value of a circuit may go before a verdict changes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Annotated, Literal

from ignition.analyses.study.vary import Varied
from ignition.analyses.verdict import check
from ignition.errors import CircuitFileError, InputError, did_you_mean
from ignition.findings.finding import Finding, worst_verdict
from ignition.typing import BARE

__all__ = ["Amount", "Flip", "Limit", "LimitOf", "State", "limit"]

State = Literal["PASS", "UNKNOWN", "FAIL", "refused"]
"""A verdict, or that the file is refused with the value there."""

_POINTS = 15
"""Values that are looked at before changes are bracketed [1]."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A number with a unit of its own.

    Attributes
    ----------
    value : Of the value that is varied, or of what a finding compares [`unit`]
    """

    value: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Flip:
    """A change of verdict between two neighbouring values, both of them checked.

    Attributes
    ----------
    below, above : The last value before it and the first one after it
    was, becomes : Verdict at either
    by : Rule, channel and phase of what decides on the worse side, or why the file is refused there
    value, limit : What is compared there; None where nothing is
    """

    below: Amount
    above: Amount
    was: State
    becomes: State
    by: str
    value: Amount | None
    limit: Amount | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitOf:
    """All changes of one verdict over the range, upwards; none where it is the same everywhere.

    Attributes
    ----------
    rule : Of the findings whose worst it is; None for the whole circuit
    now : Verdict with the file's own value
    first : Verdict at the lowest value
    """

    rule: str | None
    now: State
    first: State
    flips: tuple[Flip, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """How far a value may go.

    Attributes
    ----------
    start, low, high : The file's value, and the range that was looked at
    checked : Number of values at which the circuit was checked [1]
    """

    circuit: str
    key: str
    start: Amount
    low: Amount
    high: Amount
    checked: Annotated[int, BARE]
    limits: tuple[LimitOf, ...]


@dataclass(slots=True)
class _Checks:
    """Findings at each value, each checked once."""

    value: Varied
    found: dict[float, tuple[Finding, ...] | str] = field(default_factory=dict)

    def at(self, point: float) -> tuple[Finding, ...] | str:
        """Findings, or why the file is refused."""
        if point not in self.found:
            try:
                self.found[point] = check(self.value.at(point)).findings
            except CircuitFileError as refused:
                one = refused.mistakes[0]
                self.found[point] = f"{one.key}: {one.message}"
            except InputError as refused:
                self.found[point] = str(refused)
        return self.found[point]

    def state(self, point: float, rule: str | None) -> State:
        """Verdict there, of one rule or of all."""
        found = self.at(point)
        return "refused" if isinstance(found, str) else worst_verdict(f for f in found if rule in (None, f.rule))


def limit(value: Varied, rules: Sequence[str] = ()) -> Limit:
    """Find between which values a verdict changes.

    Some values over the range are checked; where two neighbours differ, the change between them is halved until its
    sides are a part in a thousand apart. A verdict that changes and changes back between two neighbours is not seen.

    Raises InputError for a rule that no finding of the circuit has.

    Parameters
    ----------
    rules : Rules whose verdicts are told beside that of the whole circuit

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> from ignition.analyses.study.vary import varied
    >>> value = varied(load_example("kelp-line-cutter"), "checklist.misfire_wait=50 s..70 s")
    >>> [(flip.was, flip.becomes, round(flip.above.value)) for flip in limit(value).limits[0].flips]
    [('FAIL', 'PASS', 60)]
    """
    checks = _Checks(value)
    known = {f.rule for f in check(value.circuit).findings}
    for rule in rules:
        if rule not in known:
            offered = did_you_mean(rule, known) or f"there are: {', '.join(sorted(known))}"
            raise InputError(f"--finding {rule}: no finding of this circuit has that name; {offered}")
    points = value.points(_POINTS)
    limits = tuple(_limit_of(checks, points, rule) for rule in (None, *dict.fromkeys(rules)))
    return Limit(
        circuit=value.circuit.name,
        key=value.key,
        start=Amount(value.start, value.unit),
        low=Amount(value.low, value.unit),
        high=Amount(value.high, value.unit),
        checked=len(checks.found),
        limits=limits,
    )


def _limit_of(checks: _Checks, points: Sequence[float], rule: str | None) -> LimitOf:
    flips = [flip for low, high in pairwise(points) for flip in _flips(checks, low, high, rule)]
    now: State = worst_verdict(f for f in check(checks.value.circuit).findings if rule in (None, f.rule))
    return LimitOf(rule=rule, now=now, first=checks.state(points[0], rule), flips=tuple(flips))


def _flips(checks: _Checks, low: float, high: float, rule: str | None) -> Iterator[Flip]:
    """Changes between two values that differ, by halving."""
    was, becomes = checks.state(low, rule), checks.state(high, rule)
    if was == becomes:
        return
    middle = checks.value.middle(low, high)
    if middle is None or not low < middle < high:
        yield _flip(checks, low, high, was, becomes, rule)
    else:
        yield from _flips(checks, low, middle, rule)
        yield from _flips(checks, middle, high, rule)


_WORSE: tuple[State, ...] = ("PASS", "UNKNOWN", "FAIL", "refused")


def _flip(checks: _Checks, low: float, high: float, was: State, becomes: State, rule: str | None) -> Flip:
    worse, better = (high, low) if _WORSE.index(becomes) > _WORSE.index(was) else (low, high)
    found, before = checks.at(worse), checks.at(better)
    value = limit = None
    if isinstance(found, str):
        by = found
    else:
        one = _turned(found, () if isinstance(before, str) else before, rule)
        where = " ".join(part for part in (one.channel, one.phase) if part)
        by = f"{one.rule} ({where})" if where else one.rule
        value, limit = (None if number is None else Amount(number, one.unit) for number in (one.value, one.limit))
    unit = checks.value.unit
    return Flip(
        below=Amount(low, unit), above=Amount(high, unit), was=was, becomes=becomes, by=by, value=value, limit=limit
    )


def _turned(found: Sequence[Finding], before: Sequence[Finding], rule: str | None) -> Finding:
    """The finding that decides on the worse side: one that is better on the other, of those the least margin."""
    asked = [f for f in found if rule in (None, f.rule)]
    same = {f.identity: f.verdict for f in before}
    worst = [f for f in asked if f.verdict == worst_verdict(asked)]
    return min(worst, key=lambda f: (same.get(f.identity) == f.verdict, f.margin is None, f.margin or 0.0))
