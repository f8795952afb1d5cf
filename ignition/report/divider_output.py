"""Divider search as JSON object, text and plot."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.table import Table

from ignition.analyses.divider.candidate import Candidate
from ignition.analyses.divider.search import DividerSearch
from ignition.errors import InputError
from ignition.report._plain import plain_row, plain_table, say
from ignition.toleranced import number
from ignition.units import engineering

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["divider_dict", "divider_plot", "divider_text", "save_divider_plot"]

_MOST_LINES = 12


def divider_dict(search: DividerSearch) -> dict[str, Any]:
    """Return the JSON form of a divider search.

    Returns
    -------
    Requirements, counts, the list with reasons, the recommended and the present divider
    """
    return {
        "circuit": search.circuit,
        "channel": search.channel,
        "series": search.series,
        "low": number(search.low, "ohm"),
        "high": number(search.high, "ohm"),
        "tolerance": number(search.tolerance, "1"),
        "wet_leak": number(search.wet_leak, "ohm"),
        "monitor_limit": number(search.duty.limit, "A", search.duty.limit_basis if search.duty.limit is None else None),
        "monitor_limit_basis": search.duty.limit_basis,
        "clamp_limit": number(search.duty.clamp_limit, "A"),
        "evaluated": search.evaluated,
        "accepted": search.accepted,
        "rejected": [{"requirement": name, "count": count} for name, count in search.rejected],
        "pareto": [_candidate_dict(c) for c in search.pareto],
        "recommended": None if search.recommended is None else _candidate_dict(search.recommended),
        "present": _candidate_dict(search.present),
        "comparison": search.comparison,
    }


def _candidate_dict(c: Candidate) -> dict[str, Any]:
    return {
        "upper": number(c.upper, "ohm"),
        "lower": number(c.lower, "ohm"),
        "pin_resistor": number(c.pin_resistor, "ohm"),
        "upper_split_in_two": c.split,
        "full_scale_use": number(c.full_scale_use, "1"),
        "intact_lowest_code": number(c.intact_low, "1"),
        "open_highest_code": number(c.open_high, "1"),
        "source_resistance": number(c.source_resistance, "ohm"),
        "adc_error": number(c.adc_error, "1"),
        "sense_current": number(c.sense_current, "A"),
        "drain_a_month": number(c.drain_a_month, "C"),
        "false_leak": number(
            c.false_leak, "ohm", "an open line already reads intact" if c.false_leak is None else None
        ),
        "back_feed": number(c.back_feed, "A"),
        "fault_currents": [
            {"fault": _fault(name, c), "igniter_current": number(v, "A")} for name, v in c.fault_currents
        ],
        "rejected_by": list(c.rejected_by),
        "weakest_margin": {"margin": c.weakest_margin[0], "factor": number(c.weakest_margin[1], "1")},
        "reason": c.reason,
    }


def _fault(name: str, c: Candidate) -> str:
    return "one of two upper resistors shorted" if c.split and name == "upper resistor shorted" else name


def _resistors(c: Candidate) -> str:
    upper = f"2 x {engineering(c.upper / 2.0, 'ohm')}" if c.split else engineering(c.upper, "ohm")
    pin = f", pin {engineering(c.pin_resistor, 'ohm')}" if c.pin_resistor > 0.0 else ""
    return f"{upper} / {engineering(c.lower, 'ohm')}{pin}"


def divider_text(search: DividerSearch, console: Console) -> None:
    """Print a divider search for a reader.

    Parameters
    ----------
    console : Where to; everything reads without colour
    """
    limit = search.duty.limit
    say(
        console,
        f"Channel {search.channel}: sense divider from {search.series}, {engineering(search.low, 'ohm')} to "
        f"{engineering(search.high, 'ohm')}, {100 * search.tolerance:g} %",
        style="bold",
    )
    say(
        console,
        f"Monitor and single-fault current at most {engineering(limit, 'A')} ({search.duty.limit_basis})"
        if limit is not None
        else f"Monitor limit UNKNOWN: {search.duty.limit_basis}; currents are listed, not judged",
    )
    say(console, f"{search.accepted} of {search.evaluated} candidates meet every requirement.")
    for name, count in search.rejected:
        if count:
            say(console, f"rejected, {name}: {count}", indent=2)
    _details("Present divider", search.present, console)
    if search.recommended is not None:
        _details("Recommended", search.recommended, console)
        say(console, f"why: {search.recommended.reason}", indent=2)
    say(console, search.comparison[0].upper() + search.comparison[1:] + ".")
    if search.pareto:
        shown = _thinned(search.pareto)
        say(
            console,
            f"Not beaten by any other ({len(shown)} of {len(search.pareto)} shown, by sense current; all in JSON):",
        )
        console.print(_pareto_table(shown))
        for index, c in enumerate(shown, start=1):
            say(console, f"{index}: {c.reason}", indent=2)
    say(
        console,
        "Rules in use may ask for less than the monitor limit taken here; firing current is not looked at.",
    )


def _thinned(pareto: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
    """Evenly spread members, first and last included."""
    if len(pareto) <= _MOST_LINES:
        return pareto
    return tuple(pareto[round(i * (len(pareto) - 1) / (_MOST_LINES - 1))] for i in range(_MOST_LINES))


def _details(title: str, c: Candidate, console: Console) -> None:
    fault, current = c.worst_fault
    name, factor = c.weakest_margin
    leak = "an open line already reads intact" if c.false_leak is None else engineering(c.false_leak, "ohm")
    say(console, f"{title}: {_resistors(c)}", style="bold")
    for text in (
        f"reads intact from {c.intact_low:.1f}, open up to {c.open_high:.1f}; "
        f"full scale used {100 * c.full_scale_use:.1f} %",
        f"sense current at most {engineering(c.sense_current, 'A')}; "
        f"{c.drain_a_month / 3.6:.4g} mAh in a month of being armed",
        f"source {engineering(c.source_resistance, 'ohm')}, leakage and sampling error {c.adc_error:.2f} LSB",
        f"leakage across open terminals that reads intact: {leak}",
        f"worst single fault, {_fault(fault, c)}: {engineering(current, 'A')} through the igniter",
        f"back-feed into an unpowered pin {engineering(c.back_feed, 'A')}",
        f"weakest margin: {name}, factor {factor:.3g}",
        *(f"FAIL: {reason}" for reason in c.rejected_by),
    ):
        say(console, text, indent=2)


def _pareto_table(pareto: tuple[Candidate, ...]) -> Table:
    table = plain_table("", "upper / lower", "sense", "fault", "leak", "error", left=2, gap=1)
    for index, c in enumerate(pareto, start=1):
        plain_row(
            table,
            str(index),
            _resistors(c),
            engineering(c.sense_current, "A"),
            engineering(c.worst_fault[1], "A"),
            engineering(c.false_leak, "ohm"),
            f"{c.adc_error:.2f}",
        )
    return table


def save_divider_plot(search: DividerSearch, path: Path) -> None:
    """Draw the trade-offs of a search into a picture file.

    Raises InputError when matplotlib is not installed, or the file cannot be written.

    Parameters
    ----------
    path : Picture to write; the ending chooses the format
    """
    try:
        from matplotlib.figure import Figure

        figure = Figure(figsize=(8, 5), layout="constrained")
        divider_plot(search, figure.add_subplot())
    except ImportError:
        raise InputError("a plot needs matplotlib: pip install 'ignition-analysis[report]'") from None
    try:
        figure.savefig(path, dpi=120)
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be written: {error}") from None


def divider_plot(search: DividerSearch, ax: Axes | None = None) -> Axes:
    """Draw the trade-off: leakage that fools the reading, and single-fault current, against sense current.

    Parameters
    ----------
    ax : Where to draw; by default a new figure
    """
    if ax is None:
        from matplotlib.figure import Figure

        ax = Figure(figsize=(7.0, 4.5), layout="constrained").add_subplot()
    shown = [c for c in search.pareto if c.false_leak is not None]
    groups = sorted({(c.split, c.pin_resistor) for c in shown})
    for marker, (split, pin) in zip("osD^v<>PX*" * 10, groups, strict=False):
        members = [c for c in shown if (c.split, c.pin_resistor) == (split, pin)]
        label = f"{'two upper resistors' if split else 'one upper resistor'}, pin {engineering(pin, 'ohm')}"
        ax.plot(
            [c.sense_current for c in members],
            [c.false_leak or 0.0 for c in members],
            marker,
            label=label,
            markersize=5,
        )
    for c, name in ((search.present, "present"), (search.recommended, "recommended")):
        if c is not None and c.false_leak is not None:
            ax.plot([c.sense_current], [c.false_leak], "k+" if name == "present" else "kx", markersize=12, label=name)
    ax.axhline(search.wet_leak, color="0.5", linestyle="--", linewidth=1.0)
    ax.set_xscale("log")
    ax.set_yscale("log")
    ax.set_xlabel("highest sense current [A]")
    ax.set_ylabel("leakage that reads intact [ohm]")
    ax.set_title(f"Channel {search.channel}: dividers that no other one beats")
    ax.legend(fontsize="small")
    return ax
