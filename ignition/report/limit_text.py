"""How far a value may go, as text: each verdict over the range, from its lowest value up."""

from __future__ import annotations

from rich.console import Console

from ignition.analyses.study.limit import Flip, Limit, LimitOf
from ignition.report.findings_text import verdict_text
from ignition.report.text import item
from ignition.units import engineering

__all__ = ["limit_text"]


def limit_text(found: Limit, console: Console) -> None:
    """Print between which values verdicts change."""
    low, start, high = (_shown(value, found.unit) for value in (found.low, found.start, found.high))
    console.print(f"How far {found.key} may go  ({found.circuit})")
    console.print(f"The file has {start}; looked at {low} to {high}, {found.checked} values of it.")
    for one in found.limits:
        now = one.now if one.now == "refused" else verdict_text(one.now)
        console.print(f"\n{'Whole circuit' if one.rule is None else one.rule}: now ", now, sep="")
        _limit_of(one, found, console)
    console.print("\nA verdict that changes and changes back between two of the values is not seen.")


def _limit_of(one: LimitOf, found: Limit, console: Console) -> None:
    if not one.flips:
        item(console, f"{one.first} everywhere in the range")
        return
    unit = found.unit
    last = one.flips[0]
    item(console, f"{one.first} up to {_shown(last.below, unit)}")
    for flip, after in zip(one.flips, (*one.flips[1:], None), strict=True):
        ends = f"from {_shown(flip.above, unit)}" + (" on" if after is None else f" to {_shown(after.below, unit)}")
        item(console, f"{flip.becomes} {ends}{_because(flip)}")


def _because(flip: Flip) -> str:
    """What decides: of a change for the better what has ceased to."""
    if "refused" in (flip.was, flip.becomes):
        return f"; what is refused: {flip.by}"
    said = f"; by {flip.by}"
    if flip.value is not None and flip.limit is not None and flip.quantity is not None:
        value, limit = (engineering(number, flip.quantity, 4) for number in (flip.value, flip.limit))
        said += f", {value} against {limit} on the worse side"
    return said


def _shown(value: float, unit: str) -> str:
    """Enough digits to tell both sides of a change apart."""
    return engineering(value, unit, 4)
