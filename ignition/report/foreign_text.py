"""A foreign netlist's results as text: continuity, no-fire margins, findings, what is not covered."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console

from ignition.circuit.model import Assumption
from ignition.foreign.results import ForeignChannel, ForeignCheck, ForeignResult
from ignition.report.faults_text import failure_points_text
from ignition.report.findings_text import brief_text, findings_text
from ignition.report.text import (
    assumption_text,
    at_least,
    at_most,
    caution_text,
    item,
    number_text,
    say,
    spread_text,
    table,
)
from ignition.units import engineering

__all__ = ["foreign_check_text", "foreign_text", "scope_text"]

_UNKNOWN = "UNKNOWN"


def foreign_text(result: ForeignResult, console: Console) -> None:
    """Print everything that is computed for a foreign netlist."""
    say(console, f"{result.circuit} (netlist: {result.netlist})", style="bold")
    for channel in result.channels:
        _continuity(channel, console)
    _no_fire(result, console)
    brief_text(result.findings, console)
    scope_text(result.not_covered, result.assumptions, result.notes, console)


def foreign_check_text(result: ForeignCheck, console: Console) -> None:
    """Print a check: its findings, and what they rest on."""
    say(console, f"{result.title} ({result.circuit})", style="bold")
    findings_text(result.findings, console)
    failure_points_text(result.single_faults, console)
    scope_text(result.not_covered, result.assumptions, result.notes, console)


def scope_text(
    not_covered: Sequence[str], assumptions: Sequence[Assumption], notes: Sequence[str], console: Console
) -> None:
    """Print what an analysis of a foreign netlist leaves out, what it assumes, and what the reader noted."""
    assumption_text(assumptions, console)
    for heading, items in (("Not covered for a netlist", not_covered), ("Noted in the netlist", notes)):
        if items:
            console.print(f"\n{heading}")
        for text in items:
            item(console, text)
    caution_text(console)


def _amps(current: float | None) -> str:
    return _UNKNOWN if current is None else engineering(current, "A")


def _continuity(channel: ForeignChannel, console: Console) -> None:
    """Igniter current and converter reading of each line state."""
    rows = [
        (r.state, spread_text(r.igniter_current, why=True), spread_text(r.band.code, 1, why=True))
        for r in channel.readings
    ]
    console.print()
    say(console, f"continuity of {channel.channel!r}, armed and not commanded")
    table(console, ("line state", "igniter current", "ADC code"), rows)
    if channel.cannot_tell_apart:
        pairs = "; ".join(" and ".join(pair) for pair in channel.cannot_tell_apart)
        item(console, f"the reading cannot tell apart: {pairs}", mark="")
    for t in channel.thresholds:
        item(console, f"{t.below} below code {t.code}, {t.above} from it on", mark="")


def _no_fire(result: ForeignResult, console: Console) -> None:
    """Margin to the no-fire current of each igniter in each phase."""
    rows = []
    for m in result.margins:
        missing = "no current" if m.thermal_fraction == 0.0 else _UNKNOWN
        ratio = missing if m.ratio is None else at_least(m.ratio, "1", 4)
        margins = ratio, number_text(m.decibels, 1, "down", missing)
        share = _UNKNOWN if m.thermal_fraction is None else at_most(m.thermal_fraction, "1")
        rows.append((m.phase, m.igniter, _amps(m.current.largest), _amps(m.no_fire), *margins, share))
    console.print("\nno-fire margin, line intact, nothing commanded")
    headers = ("phase", "igniter", ">largest current", ">no-fire", ">ratio", ">dB", ">thermal fraction")
    table(console, headers, rows)
    for m in result.margins:
        if m.thermal_fraction is None:
            item(console, f"{m.phase}, {m.igniter}: UNKNOWN: {m.reason}", mark="")
        elif m.gate_voltage.reason:
            item(console, f"{m.phase}, {m.channel}: {m.gate_voltage.reason}", mark="")
