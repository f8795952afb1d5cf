"""How far a value may go, as text: each verdict over the range, from its lowest value up."""

from __future__ import annotations

from rich.console import Console

from ignition.analyses.study.limit import Amount, Flip, Limit, LimitOf
from ignition.report.findings_text import verdict_text
from ignition.report.text import item
from ignition.units import engineering

__all__ = ["limit_text"]


def limit_text(found: Limit, console: Console) -> None:
    """Print between which values verdicts change."""
    low, start, high = map(_shown, (found.low, found.start, found.high))
    console.print(f"How far {found.key} may go  ({found.circuit})")
    console.print(f"The file has {start}; looked at {low} to {high}, {found.checked} values of it.")
    for one in found.limits:
        now = one.now if one.now == "refused" else verdict_text(one.now)
        console.print(f"\n{'Whole circuit' if one.rule is None else one.rule}: now ", now, sep="")
        _limit_of(one, console)
    console.print("\nA verdict that changes and changes back between two of the values is not seen.")


def _limit_of(one: LimitOf, console: Console) -> None:
    if not one.flips:
        item(console, f"{one.first} everywhere in the range")
        return
    item(console, f"{one.first} up to {_shown(one.flips[0].below)}")
    for flip, after in zip(one.flips, (*one.flips[1:], None), strict=True):
        ends = f"from {_shown(flip.above)}" + (" on" if after is None else f" to {_shown(after.below)}")
        item(console, f"{flip.becomes} {ends}{_because(flip)}")


def _because(flip: Flip) -> str:
    """What decides: of a change for the better what has ceased to."""
    if "refused" in (flip.was, flip.becomes):
        return f"; what is refused: {flip.by}"
    said = f"; by {flip.by}"
    if flip.value is not None and flip.limit is not None:
        said += f", {_shown(flip.value)} against {_shown(flip.limit)} on the worse side"
    return said


def _shown(amount: Amount) -> str:
    """Enough digits to tell both sides of a change apart."""
    return engineering(amount.value, amount.unit, 4)
