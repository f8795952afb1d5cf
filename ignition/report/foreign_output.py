"""Text of a foreign netlist's results, for people; one function a question."""

from __future__ import annotations

from collections.abc import Sequence

from ignition.foreign.results import COVERED, NOT_COVERED, ForeignResult
from ignition.toleranced import Spread
from ignition.units import engineering

__all__ = ["continuity_text", "faults_text", "foreign_text", "no_fire_text", "scope_text"]


def foreign_text(result: ForeignResult) -> str:
    """Return the whole text: continuity, no-fire margins, faults, scope.

    Parameters
    ----------
    result : From `ignition.foreign.analysis.analyse_foreign`
    """
    parts = [
        continuity_text(result),
        no_fire_text(result),
        *([faults_text(result)] if result.faults else []),
        scope_text(result),
    ]
    return "\n\n".join(parts)


def continuity_text(result: ForeignResult) -> str:
    """Return igniter current and converter reading of each line state."""
    lines = [f"{result.circuit} (netlist: {result.netlist})"]
    for channel in result.channels:
        rows = [("line state", "igniter current", "ADC code")]
        rows += [(r.state, _spread(r.igniter_current), _spread(r.band.code, 1)) for r in channel.readings]
        lines += ["", f"continuity of {channel.channel!r}, armed and not commanded", *_table(rows)]
        if channel.cannot_tell_apart:
            pairs = "; ".join(" and ".join(pair) for pair in channel.cannot_tell_apart)
            lines.append(f"  the reading cannot tell apart: {pairs}")
        lines += [f"  {t.below} below code {t.code}, {t.above} from it on" for t in channel.thresholds]
    return "\n".join(lines)


def no_fire_text(result: ForeignResult) -> str:
    """Return the margin to the no-fire current of each igniter in each phase."""
    rows = [("phase", "igniter", "largest current", "no-fire", "ratio", "dB", "thermal fraction")]
    for m in result.margins:
        largest = (
            None if m.current.low is None or m.current.high is None else max(abs(m.current.low), abs(m.current.high))
        )
        limit = "UNKNOWN" if m.no_fire is None else engineering(m.no_fire, "A")
        share = "UNKNOWN" if m.thermal_fraction is None else f"{m.thermal_fraction:.3g}"
        missing = "no current" if m.thermal_fraction == 0.0 else "UNKNOWN"
        ratio = missing if m.ratio is None else f"{m.ratio:.4g}"
        decibels = missing if m.decibels is None else f"{m.decibels:.1f}"
        current = "UNKNOWN" if largest is None else engineering(largest, "A")
        rows.append((m.phase, m.igniter, current, limit, ratio, decibels, share))
    lines = ["no-fire margin, line intact, nothing commanded", *_table(rows)]
    unknown = [m for m in result.margins if m.thermal_fraction is None]
    lines += [f"  {m.phase}, {m.igniter}: UNKNOWN: {m.reason}" for m in unknown]
    loose = [m for m in result.margins if m.gate_voltage.reason and m.thermal_fraction is not None]
    lines += [f"  {m.phase}, {m.channel}: {m.gate_voltage.reason}" for m in loose]
    return "\n".join(lines)


def faults_text(result: ForeignResult) -> str:
    """Return the single faults that may reach the no-fire current or are unknown, and the count of the others."""
    named = [f for f in result.faults if f.verdict != "below no-fire"]
    rows = [("phase", "fault", "igniter", "largest current", "class")]
    for f in named:
        current = "UNKNOWN" if f.current is None else engineering(f.current, "A")
        rows.append((f.phase, f.fault, f.igniter, current, f.verdict + (f": {f.reason}" if f.reason else "")))
    others = len(result.faults) - len(named)
    lines = ["single faults, nothing commanded", *(_table(rows) if named else ["  none reaches the no-fire current"])]
    return "\n".join([*lines, f"  {others} of {len(result.faults)} stay below the no-fire current"])


def scope_text(result: ForeignResult) -> str:
    """Return what is covered, what is not, the assumptions and the reader's notes."""
    lines = ["covered faults:", *(f"  {row}" for row in COVERED), "not covered:", *(f"  {row}" for row in NOT_COVERED)]
    lines += ["assumptions:", *(f"  {a.key}: {a.value} ({a.basis})" for a in result.assumptions)]
    if result.notes:
        lines += ["notes on the netlist:", *(f"  {note}" for note in result.notes)]
    return "\n".join(lines)


def _spread(spread: Spread, decimals: int | None = None) -> str:
    if spread.low is None or spread.nominal is None or spread.high is None:
        return f"UNKNOWN: {spread.reason}"
    numbers = (spread.low, spread.nominal, spread.high)
    if decimals is not None:
        return " .. ".join(f"{v:.{decimals}f}" for v in numbers)
    return " .. ".join(engineering(v, spread.unit) for v in numbers)


def _table(rows: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    return [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ]
