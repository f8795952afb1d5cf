"""Firing, trial firings, rare failures, influences and bank discharges as text."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from ignition.analyses.firing.capacitor_bank import Discharge
from ignition.analyses.firing.firing import Firing
from ignition.analyses.trials.histogram import Tally
from ignition.analyses.trials.influence import Influence
from ignition.analyses.trials.rare_failures import RareFailure
from ignition.analyses.trials.trials import FiringTrials
from ignition.report.text import at_least, at_most, item, spread_text, table
from ignition.units import engineering

__all__ = [
    "discharge_text",
    "firing_text",
    "influence_text",
    "rare_text",
    "spread_of_times_text",
    "trials_text",
]

_BAR = 30


def firing_text(result: Firing, console: Console, trials: FiringTrials | None = None) -> None:
    """Print a firing analysis."""
    console.print(Text(f"Firing  ({result.circuit})", style="bold"))
    for channel in result.channels:
        kinds = ", ".join(dict.fromkeys(i.kind for i in channel.igniters))
        console.print(f"\nChannel {channel.channel} ({kinds}): low .. nominal .. high, margin to all-fire")
        table(
            console,
            ("", "current", "function time", "functions", "margin"),
            [
                (
                    f"{i.string}.{i.position}",
                    spread_text(i.current),
                    spread_text(i.function_time),
                    i.functions,
                    at_least(i.all_fire_margin, "1"),
                )
                for i in channel.igniters
            ],
        )
        for reason in dict.fromkeys(i.reason for i in channel.igniters if i.reason):
            item(console, reason)
        item(console, f"gate voltage {spread_text(channel.gate_voltage)}")
        item(console, f"on-resistance {spread_text(channel.on_resistance)}")
        item(console, f"MOSFET junction {spread_text(channel.mosfet_junction, why=True)}")
        if channel.lead_temperature is not None:
            most = at_most(channel.lead_temperature, "degC")
            hot = "melts" if channel.lead_temperature == float("inf") else f"{most} at most"
            item(console, f"lead after the pulse, no heat lost: {hot}")
    supply = result.supply
    console.print("\nSupply while firing")
    item(console, f"battery terminals {spread_text(result.battery_voltage)}")
    item(console, f"controller supply {spread_text(result.controller_supply)}")
    item(console, f"highest battery current {at_most(supply.highest_current, 'A')}")
    if supply.brown_out is None:
        item(console, "brown-out level not given: whether the controller resets is unknown")
    elif supply.hold_up == float("inf"):
        item(console, f"stays above the brown-out level of {engineering(supply.brown_out, 'V')}")
    else:
        item(
            console,
            f"may fall below brown-out after {at_least(supply.hold_up, 's')}: the gate is then released",
        )
    if supply.fuse_time != float("inf"):
        item(
            console,
            f"a fuse may open after {at_least(supply.fuse_time, 's')} at the highest current",
        )
    if supply.protection_time != float("inf"):
        item(console, f"the protection circuit may trip after {at_least(supply.protection_time, 's')}")
    if trials is not None:
        console.print("\nTrial firings")
        trials_text(trials, console)


def trials_text(trials: FiringTrials, console: Console) -> None:
    """Print what trial firings showed: never a certainty, always a bound."""
    if trials.probability is None:
        reason = trials.reason or "interrupted before the first block"
        item(console, f"probability that all function: UNKNOWN: {reason}")
        return
    done = f"{trials.trials} trials" + (f" of {trials.requested}, interrupted" if trials.partial else "")
    item(console, f"all igniters functioned in {trials.trials - trials.failures} of {done} (seed {trials.seed})")
    item(
        console,
        f"probability that all function: at least {at_least(trials.lower(0.95), '1', 6)} at 95 % confidence",
    )


def spread_of_times_text(trials: FiringTrials, console: Console) -> None:
    """Print how function times spread in trial firings."""
    if trials.trials == 0:
        return
    console.print("\nFunction time in the trials")

    def times(tally: Tally) -> tuple[str, ...]:
        return tuple(engineering(tally.quantile(q), "s") for q in (0.01, 0.5, 0.99))

    table(
        console,
        ("igniter", ">functioned", ">1 % before", ">half before", ">99 % before"),
        [(i.igniter, f"{i.functioned} of {trials.trials}", *times(i.function_time)) for i in trials.igniters],
    )
    for channel in trials.channels:
        members = [i for i in trials.igniters if i.channel == channel.channel]
        if len(members) > 1 and channel.skew.number:
            console.print(f"\nFrom first to last igniter of {channel.channel}: {_skew(channel.skew)}")
            _histogram(channel.skew, console)


def _skew(tally: Tally) -> str:
    half, most = engineering(tally.quantile(0.5), "s"), engineering(tally.quantile(0.99), "s")
    return f"half within {half}, 99 % within {most}. Electrical only: the time to burn is not in it."


def _histogram(tally: Tally, console: Console) -> None:
    edges, counts = tally.histogram(10)
    highest = max(int(counts.max()), 1)
    for low, high, count in zip(edges[:-1], edges[1:], counts, strict=True):
        span = f"{engineering(float(low), 's')} .. {engineering(float(high), 's')}"
        console.print(f"  {span:>22}  {'#' * round(_BAR * int(count) / highest)} {int(count)}")


def rare_text(result: RareFailure, console: Console) -> None:
    """Print a rare failure's probability."""
    console.print("\nRare failures (subset simulation)")
    both = result.interval(0.95)
    if result.reason is not None or both is None:
        item(console, f"no probability: {result.reason}")
        return
    if not result.probability:
        item(
            console,
            f"no failure was met in {len(result.runs)} runs: below about {at_most(both.high, '1', 1)}, not zero",
        )
        return
    low, high = at_least(both.low, "1", 2), at_most(both.high, "1", 2)
    item(
        console,
        f"probability that not all function: {result.probability:.2g}, between {low} and {high} "
        f"(95 %, {len(result.runs)} runs, {result.firings} firings, seed {result.seed})",
    )
    item(console, "it holds for the laws and tolerances given, no better than those are known")


def influence_text(result: Influence, console: Console, most: int = 8) -> None:
    """Print which inputs matter most.

    Parameters
    ----------
    most : Inputs to print [1]
    """
    console.print(f"\nWhich input matters most, for the {result.quantity}")
    if result.reason is not None:
        item(console, f"no answer: {result.reason}")
        return
    table(
        console,
        ("input", ">alone", ">with others"),
        [(i.group, f"{max(i.first_order, 0):.0%}", f"{max(i.total, 0):.0%}") for i in result.inputs[:most]],
    )


def discharge_text(result: Discharge, console: Console) -> None:
    """Print a bank's discharge."""
    console.print("\nCapacitor bank: low .. nominal .. high")
    item(console, f"holds {spread_text(result.stored)}")
    item(console, f"empty to 95 %: {spread_text(result.recharge, why=True)}")
    for channel in result.channels:
        item(console, f"{channel.channel} starts at {spread_text(channel.voltage)}")
        for igniter in channel.igniters:
            item(console, f"{igniter.igniter}: energy {spread_text(igniter.energy)}")
            item(console, f"{igniter.igniter}: highest thermal fraction {spread_text(igniter.peak_fraction)}")
        for reason in dict.fromkeys(i.energy.reason for i in channel.igniters if i.energy.reason):
            item(console, reason)
