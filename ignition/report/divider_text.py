"""Divider search as text."""

from __future__ import annotations

from rich.console import Console

from ignition.analyses.divider.candidate import Candidate
from ignition.analyses.divider.search import DividerSearch
from ignition.report.text import at_least, at_most, item, number_text, say, table
from ignition.units import engineering

__all__ = ["divider_text"]

_MOST_LINES = 12


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
    limit = search.monitor_limit
    say(
        console,
        f"Channel {search.channel}: sense divider from {search.series}, {engineering(search.low, 'ohm')} to "
        f"{engineering(search.high, 'ohm')}, {100 * search.tolerance:g} %",
        style="bold",
    )
    say(
        console,
        f"Monitor and single-fault current at most {engineering(limit, 'A')} ({search.monitor_limit_basis})"
        if limit is not None
        else f"Monitor limit UNKNOWN: {search.monitor_limit_basis}; currents are listed, not judged",
    )
    say(console, f"{search.accepted} of {search.evaluated} candidates meet every requirement.")
    for rejection in search.rejected:
        if rejection.count:
            item(console, f"rejected, {rejection.requirement}: {rejection.count}", mark="")
    _details("Present divider", search.present, console)
    if search.recommended is not None:
        _details("Recommended", search.recommended, console)
        item(console, f"why: {search.recommended.reason}", mark="")
    say(console, search.comparison[0].upper() + search.comparison[1:] + ".")
    if search.pareto:
        shown = _thinned(search.pareto)
        say(
            console,
            f"Not beaten by any other ({len(shown)} of {len(search.pareto)} shown, by sense current; all in JSON):",
        )
        rows = [
            (
                str(index),
                _resistors(c),
                at_most(c.sense_current, "A"),
                at_most(c.worst_fault.igniter_current, "A"),
                at_most(c.false_leak, "ohm"),
                number_text(c.adc_error, 2, "up"),
            )
            for index, c in enumerate(shown, start=1)
        ]
        table(console, ("", "upper / lower", ">sense", ">fault", ">leak", ">error"), rows)
        for index, c in enumerate(shown, start=1):
            item(console, f"{index}: {c.reason}", mark="")


def _thinned(pareto: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
    """Evenly spread members, first and last included."""
    if len(pareto) <= _MOST_LINES:
        return pareto
    return tuple(pareto[round(i * (len(pareto) - 1) / (_MOST_LINES - 1))] for i in range(_MOST_LINES))


def _details(title: str, c: Candidate, console: Console) -> None:
    fault, weakest = c.worst_fault, c.weakest_margin
    leak = "an open line already reads intact" if c.false_leak is None else at_most(c.false_leak, "ohm")
    say(console, f"{title}: {_resistors(c)}", style="bold")
    for text in (
        f"reads intact from {number_text(c.intact_low, 1, 'down')}, open up to {number_text(c.open_high, 1, 'up')}; "
        f"full scale used {100 * c.full_scale_use:.1f} %",
        f"sense current at most {at_most(c.sense_current, 'A')}; "
        f"{c.drain_a_month / 3.6:.4g} mAh in a month of being armed",
        f"source {engineering(c.source_resistance, 'ohm')}, "
        f"leakage and sampling error {number_text(c.adc_error, 2, 'up')} LSB",
        f"leakage across open terminals that reads intact: {leak}",
        f"worst single fault, {fault.fault}: {at_most(fault.igniter_current, 'A')} through the igniter",
        f"back-feed into an unpowered pin {at_most(c.back_feed, 'A')}",
        f"weakest margin: {weakest.margin}, factor {at_least(weakest.factor, '1')}",
        *(f"does not meet: {reason}" for reason in c.rejected_by),
    ):
        item(console, text, mark="")
