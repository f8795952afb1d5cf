"""A diagnosis as text: what gives the readings, the worst first, and what to measure next."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from ignition.analyses.faults.diagnosis import Candidate, Diagnosis, Group
from ignition.report.text import at_most, item, number_text, say, table
from ignition.units import engineering

__all__ = ["diagnosis_text"]

_LISTED = 40
"""Candidates that are listed one by one [1]."""

_PHASES = 4

_NAMED = 8
"""Faults of a group that are named [1]."""


def diagnosis_text(result: Diagnosis, console: Console) -> None:
    """Print a diagnosis."""
    given = ", ".join(f"{name} reads {code}" for name, code in result.readings.items())
    console.print(Text(f"Diagnosis  ({result.circuit}), while {result.phase}: {given}", style="bold"))
    for channel, states in result.states.items():
        item(console, f"{channel}: line states that read so: {', '.join(states) or 'none'}")
    if not result.candidates:
        say(console, "No single fault, and no healthy circuit, gives these readings together.")
        return
    words = "A healthy circuit gives them too." if result.healthy else "A healthy circuit does not give them."
    say(console, f"{words} Of single faults, these do:")
    console.print()
    shown = result.candidates[:_LISTED]
    table(console, ("fault", "class", "in", ">of limit", "codes"), [_row(candidate) for candidate in shown])
    if len(result.candidates) > len(shown):
        item(console, f"and {len(result.candidates) - len(shown)} more")
    if result.left_out:
        item(console, f"the file leaves out, which a reading does not: {', '.join(result.left_out)}")
    if any(candidate.kind == "hazardous" for candidate in result.candidates):
        console.print()
        say(console, "A fault that may fire an igniter fits: keep the arm switch open and the igniters disconnected.")
    _next(result, console)


def _row(candidate: Candidate) -> tuple[str, str, str, str, str]:
    """A fault; how far it is beyond a limit, where it is, and the range of each code that it can give."""
    telling = candidate.kind in ("hazardous", "dud") and candidate.share is not None
    share = f"{at_most(candidate.share, '1')}-fold" if telling else "-"
    codes = ", ".join(f"{low}-{high}" for low, high in candidate.codes.values())
    phases = "every phase" if len(candidate.phases) == _PHASES else ", ".join(candidate.phases)
    return candidate.fault, candidate.kind or "-", phases or "-", share, codes


def _next(result: Diagnosis, console: Console) -> None:
    if not result.next:
        return
    console.print("\nWhat to measure next, dummy igniters of the same resistance in place of live ones")
    for one in result.next:
        share = number_text(100.0 * one.separates, 0, "down")
        item(
            console, f"{one.what}, {one.phase}: tells {share} % of them apart, a pair of which one is hazardous double"
        )
        for group in one.groups:
            item(console, f"{_range(group)}: {_names(group)}", mark="  ")


def _range(group: Group) -> str:
    if group.unit == "1":
        return f"{group.low:.0f} .. {group.high:.0f}"
    return (
        f"{engineering(group.low, group.unit, towards='down')} .. {engineering(group.high, group.unit, towards='up')}"
    )


def _names(group: Group) -> str:
    rest = len(group.faults) - _NAMED
    return ", ".join(group.faults[:_NAMED]) + (f" and {rest} more" if rest > 0 else "")
