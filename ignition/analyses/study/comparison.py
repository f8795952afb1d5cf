"""Two circuits beside each other: which keys differ, and what that does to verdicts, margins and thresholds."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal

from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.verdict import Check, check
from ignition.circuit.given import given_keys
from ignition.circuit.model import Circuit
from ignition.circuit.values import key_word
from ignition.findings.finding import Finding, Verdict, worst_verdict
from ignition.typing import BARE, Missing, Ratio

__all__ = ["CodeChange", "Comparison", "FindingChange", "KeyChange", "Renamed", "compare_circuits"]

Change = Literal["new", "gone", "worse", "better", "margin less", "margin more", "value"]
"""What became of a finding; one that is as it was is not told."""

_ORDER = ("worse", "gone", "new", "better", "margin less", "value", "margin more")
_SAME = 1e-9
"""Relative difference up to which two numbers are one [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyChange:
    """One key that the two files give differently; None where one of them does not give it."""

    key: str
    old: str | None
    new: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Renamed:
    """A channel that has another name and is otherwise equal."""

    old: str
    new: str

    def after(self, name: str | None) -> str | None:
        """What an igniter or a part of the channel is called now."""
        return None if name is None else self.new + name.removeprefix(self.old)


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingChange:
    """One finding that is not what it was; None for what one of the two checks does not have.

    Attributes
    ----------
    change : What became of it, the worst that applies
    old_value, new_value, old_limit, new_limit : What is compared [unit]
    old_margin, new_margin : Above 1 is good
    """

    change: Change
    rule: str
    channel: str | None
    phase: str | None
    igniter: str | None
    part: str | None
    old_verdict: Verdict | None
    new_verdict: Verdict | None
    old_value: float | None
    new_value: float | None
    old_limit: float | None
    new_limit: float | None
    unit: str
    old_margin: Annotated[Ratio | None, BARE]
    new_margin: Annotated[Ratio | None, BARE]
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeChange:
    """A firmware threshold that is not what it was; None where the two states cannot be told apart."""

    channel: str
    below: str
    above: str
    old: Annotated[int | None, BARE, Missing(otherwise="the two states cannot be told apart")]
    new: Annotated[int | None, BARE, Missing(otherwise="the two states cannot be told apart")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """What changed from one circuit to another.

    Attributes
    ----------
    renamed : The one channel of the old circuit that the new one does not have, where it has another that is equal to
        it; compared under its new name, its keys under the old one
    keys : By key, as ``--set`` takes it; a member of a list is named by its name
    findings : Those that are not what they were, the worst first
    thresholds : Codes of the armed reading that are not what they were
    same : Number of findings that are as they were [1]
    """

    old: str
    new: str
    old_verdict: Verdict
    new_verdict: Verdict
    renamed: Renamed | None
    keys: tuple[KeyChange, ...]
    findings: tuple[FindingChange, ...]
    thresholds: tuple[CodeChange, ...]
    same: Annotated[int, BARE]


def compare_circuits(old: Circuit, new: Circuit) -> Comparison:
    """Check two circuits and tell what is different.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("kelp-line-cutter")
    >>> found = compare_circuits(circuit, circuit.with_values({"channel.line.gate.capacitor": None}))
    >>> [(one.key, one.new) for one in found.keys], found.findings[0].change
    ([('channel.line.gate.capacitor', None)], 'worse')
    """
    before, after, renamed = check(old), check(new), _renamed(old, new)
    changed = sorted(_findings(before, after, renamed), key=lambda one: (_ORDER.index(one.change), _lost(one)))
    return Comparison(
        old=old.name,
        new=new.name,
        old_verdict=before.verdict,
        new_verdict=after.verdict,
        renamed=renamed,
        keys=tuple(_keys(old, new, renamed)),
        findings=tuple(changed),
        thresholds=tuple(_codes(old, new, renamed)),
        same=len(after.findings) - sum(one.new_verdict is not None for one in changed),
    )


def _lost(one: FindingChange) -> float:
    """New margin over the old one: the less of it is left the sooner it is told."""
    if one.old_margin is None or one.new_margin is None:
        return 0.0
    return one.new_margin / one.old_margin if one.old_margin else 1.0


def _renamed(old: Circuit, new: Circuit) -> Renamed | None:
    """The channel that only the old circuit has, where only one of the new one is new and nothing but its name is."""
    before, after = ({channel.name: channel for channel in each.given.channel} for each in (old, new))
    gone, added = [name for name in before if name not in after], [name for name in after if name not in before]
    if len(gone) != 1 or len(added) != 1:
        return None
    same = before[gone[0]].model_copy(update={"name": added[0]}) == after[added[0]]
    return Renamed(old=gone[0], new=added[0]) if same else None


def _keys(old: Circuit, new: Circuit, renamed: Renamed | None) -> Iterator[KeyChange]:
    before, after = _named(old, None), _named(new, renamed)
    for key in dict.fromkeys((*before, *after)):
        one, other = before.get(key), after.get(key)
        if one != other:
            yield KeyChange(key=key, old=_written(one), new=_written(other))


def _written(value: Any) -> str | None:
    return None if value is None else str(value)


def _named(circuit: Circuit, renamed: Renamed | None) -> dict[str, Any]:
    """Each key that a file gives, members of lists by their names: one more of them leaves the others' keys alone.

    As ``--set`` reads it; a renamed channel keeps its old name here.
    """
    words: dict[str, str] = {}
    for table in ("feed", "load", "channel"):
        for place, member in enumerate(getattr(circuit.given, table)):
            name = member.name
            if renamed is not None and table == "channel" and name == renamed.new:
                name = renamed.old
            words[f"{table}[{place}]."] = f"{table}.{key_word(name)}."
    for table in ("igniter", "mosfet"):
        words |= {f"{table}.{name}.": f"{table}.{key_word(name)}." for name in getattr(circuit.given, table)}
    found = {}
    for key, value in given_keys(circuit).items():
        head = max((head for head in words if key.startswith(head)), key=len, default="")
        found[words.get(head, "") + key.removeprefix(head)] = value
    return found


def _findings(before: Check, after: Check, renamed: Renamed | None) -> Iterator[FindingChange]:
    olds = {_now(one, renamed).identity: one for one in before.findings}
    news = {one.identity: one for one in after.findings}
    for identity in dict.fromkeys((*news, *olds)):
        old, new = olds.get(identity), news.get(identity)
        change = _change(old, new)
        either = new or old
        if change is None or either is None:
            continue
        yield FindingChange(
            change=change,
            rule=either.rule,
            channel=either.channel,
            phase=either.phase,
            igniter=either.igniter,
            part=either.part,
            old_verdict=None if old is None else old.verdict,
            new_verdict=None if new is None else new.verdict,
            old_value=None if old is None else old.value,
            new_value=None if new is None else new.value,
            old_limit=None if old is None else old.limit,
            new_limit=None if new is None else new.limit,
            unit=either.unit,
            old_margin=None if old is None else old.margin,
            new_margin=None if new is None else new.margin,
            says=either.says,
        )


def _now(one: Finding, renamed: Renamed | None) -> Finding:
    """A finding of the old circuit as one of the new."""
    if renamed is None or one.channel != renamed.old:
        return one
    return replace(one, channel=renamed.new, igniter=renamed.after(one.igniter), part=renamed.after(one.part))


def _change(old: Finding | None, new: Finding | None) -> Change | None:
    if old is None or new is None:
        return "new" if old is None else "gone"
    if old.verdict != new.verdict:
        return "worse" if worst_verdict((old, new)) == new.verdict else "better"
    if not _same(old.margin, new.margin):
        if old.margin is None or new.margin is None:
            return "value"
        return "margin less" if new.margin < old.margin else "margin more"
    return None if _same(old.value, new.value) and _same(old.limit, new.limit) else "value"


def _same(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return math.isclose(one, other, rel_tol=_SAME)


def _codes(old: Circuit, new: Circuit, renamed: Renamed | None) -> Iterator[CodeChange]:
    before, after = (
        {
            (called.get(c.channel, c.channel), t.below, t.above): t.code
            for c in continuity(circuit).channels
            for t in c.thresholds
        }
        for circuit, called in ((old, {} if renamed is None else {renamed.old: renamed.new}), (new, {}))
    )
    for channel, below, above in dict.fromkeys((*after, *before)):
        codes = before.get((channel, below, above)), after.get((channel, below, above))
        if codes[0] != codes[1]:
            yield CodeChange(channel=channel, below=below, above=above, old=codes[0], new=codes[1])
