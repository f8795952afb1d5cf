"""What a test current does to an igniter: margin, thermal fraction, longest pulse far below no-fire."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from ignition.circuit.model import ChannelModel, Circuit, IgniterModel
from ignition.findings.presets import own_rules, rule_limit
from ignition.network.template import igniter_names
from ignition.parts.igniter import steady_thermal_fraction, thermal_fraction
from ignition.typing import HIDDEN, Amps, Joules, Missing, Ratio

__all__ = ["FAR_BELOW", "Heating", "current_limit", "heating", "highest_fraction", "longest_pulse"]

FAR_BELOW = 0.01
"""Thermal fraction that a test may reach [1]: what one tenth of the no-fire current does at any length."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heating:
    """Effect of a test on the igniter that it heats most.

    Attributes
    ----------
    current : Highest igniter current
    energy : Highest energy into one bridge; None for a steady current
    thermal_fraction : Highest share of the temperature rise to function
    no_fire_margin : Lowest no-fire current over highest igniter current
    """

    current: Amps
    energy: Annotated[
        Joules | None, Missing(field="", otherwise="the current stays on", infinite="the MOSFET may stay on for ever")
    ]
    thermal_fraction: Ratio | None
    no_fire_margin: Ratio | None
    reason: Annotated[str | None, HIDDEN]


def _igniters(circuit: Circuit, channel: ChannelModel) -> dict[str, IgniterModel]:
    """Igniter type of each igniter element."""
    return {
        name: circuit.igniters[kind]
        for names, kinds in zip(igniter_names(channel), channel.strings, strict=True)
        for name, kind in zip(names, kinds, strict=True)
    }


def heating(circuit: Circuit, channel: ChannelModel, currents: dict[str, float], duration: float | None) -> Heating:
    """Return what currents do to the igniters of a channel.

    The bridge equation with the lowest no-fire threshold, the least growth of resistance and, in a pulse, the fastest
    time constant; an upper bound of the energy is I^2 R t with the highest resistance up to function.

    Parameters
    ----------
    currents : Highest current of each igniter element, whatever its bridge has warmed to [A]
    duration : Pulse length [s]; None for a current that stays on
    """
    igniters = _igniters(circuit, channel)
    energy = None
    if duration is not None:
        energy = max(i * i * igniters[name].heated.high * duration for name, i in currents.items())
    bare = next((igniters[name] for name in currents if not igniters[name].threshold_low), None)
    used = fraction = None
    if bare is None:
        used = max(i / limit for name, i in currents.items() if (limit := igniters[name].threshold_low))
        fraction = max(highest_fraction(igniters[name], i, duration) or 0.0 for name, i in currents.items())
    return Heating(
        current=max(currents.values()),
        energy=energy,
        thermal_fraction=fraction,
        no_fire_margin=1.0 / used if used else None,
        reason=_no_threshold(bare) if bare is not None else None if used else "no current flows",
    )


def highest_fraction(igniter: IgniterModel, current: float, duration: float | None) -> float | None:
    """Return the highest thermal fraction that a current brings an igniter to [1].

    Parameters
    ----------
    current : Highest current, not negative [A]
    duration : Pulse length [s]; None for a current that stays on

    Returns
    -------
    Above 1 where it functions; None where the lowest threshold is unknown or zero
    """
    threshold, growth = igniter.threshold_low, igniter.growth.low
    if not threshold:
        return None
    if duration is None:
        fraction = float(steady_thermal_fraction(current, threshold, growth))
    else:
        fraction = float(thermal_fraction(current, threshold, _fastest(igniter), duration, 0.0, growth))
    # past function a growing resistance runs away: any number above 1 says as much
    return min(fraction, max((current / threshold) ** 2, 1.0))


def _fastest(igniter: IgniterModel) -> float:
    """Fastest time constant of an igniter with a no-fire statement, from which one follows in every case [s]."""
    assert igniter.time_constant.fast is not None
    return igniter.time_constant.fast


def _no_threshold(igniter: IgniterModel) -> str:
    if igniter.threshold_low is None:
        return f"igniter {igniter.name!r} has no no-fire current"
    return f"igniter {igniter.name!r} may function at the hottest ambient without any current"


def longest_pulse(
    circuit: Circuit, channel: ChannelModel, currents: dict[str, float], fraction: float = FAR_BELOW
) -> tuple[float | None, str | None]:
    """Return the longest pulse that keeps every igniter at or below a thermal fraction.

    The bridge law x(t) = k (1 - exp(-z)) / g solved for z, with k and g as in `parts.igniter.thermal_fraction`, at the
    lowest threshold, the least growth and the fastest time constant.

    Parameters
    ----------
    currents : Highest current of each igniter element, whatever its bridge has warmed to [A]
    fraction : Thermal fraction [1], above 0 and below 1

    Returns
    -------
    Pulse [s], or None with the reason
    """
    igniters = _igniters(circuit, channel)
    longest = math.inf
    for name, current in currents.items():
        igniter = igniters[name]
        threshold = igniter.threshold_low
        if not threshold:
            return None, _no_threshold(igniter)
        constant, growth = _fastest(igniter), igniter.growth.low
        gain = (current / threshold) ** 2 / (1.0 + growth)
        rate = 1.0 - gain * growth
        if fraction * rate < gain:
            share = fraction / gain
            longest = min(longest, constant * (share if rate == 0.0 else -math.log1p(-share * rate) / rate))
    return (longest, None) if math.isfinite(longest) else (None, "no length reaches that thermal fraction")


def current_limit(circuit: Circuit, channel: ChannelModel, share: float = 0.1) -> tuple[float | None, str]:
    """Return the largest monitor current through one igniter of a channel, and what sets it.

    Parameters
    ----------
    share : Share of the lowest no-fire current [1]

    Returns
    -------
    Current [A] and its basis; None where an igniter has no no-fire current
    """
    thresholds = {kind: circuit.igniters[kind].threshold_low for string in channel.strings for kind in string}
    limits: list[tuple[float, str]] = []
    for kind, threshold in sorted(thresholds.items()):
        if threshold is None:
            return None, f"igniter {kind!r} has no no-fire current"
        limits.append((share * threshold, f"{share:g} of the lowest no-fire current of {kind!r}, {threshold:.4g} A"))
        limits += [
            (limit, f"limit {rule.id!r} of the circuit file")
            for rule in own_rules(circuit)
            if rule.quantity == "monitor current" and (limit := rule_limit(rule, threshold)) is not None
        ]
    return min(limits)
