"""Trial firings, rare failures, influences and bank discharges, as JSON objects and as text."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from ignition.analyses.firing.capacitor_bank import Discharge
from ignition.analyses.trials.histogram import Tally
from ignition.analyses.trials.influence import Influence
from ignition.analyses.trials.rare_failures import RareFailure
from ignition.analyses.trials.trials import FiringTrials
from ignition.report.text import item, spread_text, table
from ignition.toleranced import number
from ignition.units import engineering

__all__ = [
    "discharge_dict",
    "discharge_text",
    "influence_dict",
    "influence_text",
    "rare_dict",
    "rare_text",
    "spread_of_times_dict",
    "spread_of_times_text",
]

_SHARES = (0.01, 0.05, 0.5, 0.95, 0.99)
_BAR = 30


def _tally_dict(tally: Tally, unit: str, missing: str) -> dict[str, Any]:
    """Number, extremes and quantiles of a tally; each null where nothing was counted."""
    reason = missing if tally.number == 0 else None
    result: dict[str, Any] = {"number": tally.number, "unit": unit}
    for name, share in (("least", 0.0), *((f"q{share:g}", share) for share in _SHARES), ("most", 1.0)):
        result[name] = tally.quantile(share)
    return result | ({"reason": reason} if reason else {})


def spread_of_times_dict(trials: FiringTrials) -> dict[str, Any]:
    """Return the JSON object of how function times spread in trial firings.

    Returns
    -------
    Quantiles of each igniter's function time, of each channel's skew with its histogram, and of the lowest voltage
    """
    channels = []
    for channel in trials.channels:
        edges, counts = channel.skew.histogram(20)
        found = channel.skew.number > 0
        channels.append(
            {
                "channel": channel.channel,
                "functioned": channel.functioned,
                "skew": _tally_dict(channel.skew, "s", "in no trial did all of its igniters function"),
                "skew_histogram": {
                    "edges": [float(e) for e in edges] if found else [],
                    "counts": [int(c) for c in counts] if found else [],
                    "unit": "s",
                },
            }
        )
    return {
        "igniters": [
            {
                "igniter": i.igniter,
                "functioned": i.functioned,
                "function_time": _tally_dict(i.function_time, "s", "it functioned in no trial"),
            }
            for i in trials.igniters
        ],
        "channels": channels,
        "lowest_battery_voltage": _tally_dict(trials.lowest_voltage, "V", trials.reason or "no trials"),
    }


def spread_of_times_text(trials: FiringTrials, console: Console) -> None:
    """Print how function times spread in trial firings."""
    if trials.trials == 0:
        return
    console.print("\nFunction time in the trials")

    def times(tally: Tally) -> tuple[str, ...]:
        return tuple(engineering(tally.quantile(q), "s") for q in (0.01, 0.5, 0.99))

    table(
        console,
        ("igniter", "functioned", "1 % before", "half before", "99 % before"),
        [(i.igniter, f"{i.functioned} of {trials.trials}", *times(i.function_time)) for i in trials.igniters],
        right=(1, 2, 3, 4),
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


def rare_dict(result: RareFailure) -> dict[str, Any]:
    """Return the JSON object of a rare failure's probability.

    Returns
    -------
    Probability of failure with its interval, or null with the reason
    """
    both = result.interval(0.95)
    return {
        "probability_failure": result.probability if result.probability else None,
        "interval_95": None if both is None else [both.low, both.high],
        "coefficient_of_variation": result.variation,
        "runs": list(result.runs),
        "samples": result.samples,
        "firings": result.firings,
        "seed": result.seed,
        "method": "subset simulation",
        "reason": result.reason
        or (None if result.probability else f"no failure was met down to a probability of {result.floor:.0e}"),
    }


def rare_text(result: RareFailure, console: Console) -> None:
    """Print a rare failure's probability."""
    console.print("\nRare failures (subset simulation)")
    both = result.interval(0.95)
    if result.reason is not None or both is None:
        item(console, f"no probability: {result.reason}")
        return
    if not result.probability:
        item(console, f"no failure was met in {len(result.runs)} runs: below about {both.high:.0e}, not zero")
        return
    item(
        console,
        f"probability that not all function: {result.probability:.2g}, between {both.low:.2g} and {both.high:.2g} "
        f"(95 %, {len(result.runs)} runs, {result.firings} firings, seed {result.seed})",
    )
    item(console, "it holds for the laws and tolerances given, no better than those are known")


def influence_dict(result: Influence) -> dict[str, Any]:
    """Return the JSON object of an influence analysis.

    Returns
    -------
    Shares of each group of inputs, the largest first
    """
    return {
        "quantity": result.quantity,
        "inputs": [{"input": i.group, "first_order": i.first_order, "total": i.total} for i in result.inputs],
        "samples": result.samples,
        "seed": result.seed,
        "method": "Sobol indices",
        "reason": result.reason,
    }


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
        ("input", "alone", "with others"),
        [(i.group, f"{max(i.first_order, 0):.0%}", f"{max(i.total, 0):.0%}") for i in result.inputs[:most]],
        right=(1, 2),
    )


def discharge_dict(result: Discharge) -> dict[str, Any]:
    """Return the JSON object of a bank's discharge."""
    return {
        "circuit": result.circuit,
        "stored_energy": result.stored.as_dict(),
        "recharge_time": result.recharge.as_dict(),
        "channels": [
            {
                "channel": c.channel,
                "bank_voltage": c.voltage.as_dict(),
                "droop": c.droop.as_dict(),
                "igniters": [
                    {
                        "igniter": i.igniter,
                        "energy": i.energy.as_dict(),
                        "peak_thermal_fraction": i.peak_fraction.as_dict(),
                        "function_time": number(
                            i.function_time, "s", None if i.function_time is not None else "does not function"
                        ),
                    }
                    for i in c.igniters
                ],
            }
            for c in result.channels
        ],
    }


def discharge_text(result: Discharge, console: Console) -> None:
    """Print a bank's discharge."""
    console.print("\nCapacitor bank: low .. nominal .. high")
    item(console, f"holds {spread_text(result.stored)}")
    item(console, f"empty to 95 %: {result.recharge.reason or spread_text(result.recharge)}")
    for channel in result.channels:
        item(console, f"{channel.channel} starts at {spread_text(channel.voltage)}")
        for igniter in channel.igniters:
            item(console, f"{igniter.igniter}: energy {spread_text(igniter.energy)}")
            item(console, f"{igniter.igniter}: highest thermal fraction {spread_text(igniter.peak_fraction)}")
        for reason in dict.fromkeys(i.energy.reason for i in channel.igniters if i.energy.reason):
            item(console, reason)
