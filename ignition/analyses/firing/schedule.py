"""When channels conduct: from starts and pulses with their tolerances to what can happen together, before or after.

One convention: a pulse holds both of its ends, so that one which ends at the instant at which another starts can
conduct together with it.
"""

from __future__ import annotations

import math

from ignition.circuit.model import ChannelModel, Circuit

__all__ = [
    "conducting_at_start",
    "conducting_before",
    "latest_end",
    "may_have_started",
    "nominal_groups",
    "overlapping",
    "overlapping_groups",
]


def latest_end(channel: ChannelModel) -> float:
    """Latest end of a channel's pulse [s]."""
    return channel.start.high + channel.pulse.high


def _not_after(one: float, other: float) -> bool:
    """Whether one instant is not after another; sums of decimal times that are equal on paper count as equal."""
    return one <= other or math.isclose(one, other, rel_tol=1e-9)


def may_have_started(other: ChannelModel, channel: ChannelModel) -> bool:
    """Whether another channel may have started when a channel starts, or start with it."""
    return _not_after(other.start.low, channel.start.high)


def overlapping(circuit: Circuit, channel: ChannelModel) -> frozenset[str]:
    """List the channels that may conduct at any time during a channel's pulse, itself included."""
    return frozenset(
        other.name
        for other in circuit.channels
        if _not_after(other.start.low, latest_end(channel)) and _not_after(channel.start.low, latest_end(other))
    )


def conducting_at_start(circuit: Circuit, channel: ChannelModel) -> frozenset[str]:
    """List the channels that may conduct when a channel starts: with it, or still from before; itself included."""
    return frozenset(
        other.name
        for other in circuit.channels
        if may_have_started(other, channel) and _not_after(channel.start.low, latest_end(other))
    )


def overlapping_groups(circuit: Circuit) -> tuple[frozenset[str], ...]:
    """List the different sets of channels that may conduct together, one for each channel's pulse, in file order."""
    return tuple(dict.fromkeys(overlapping(circuit, channel) for channel in circuit.channels))


def conducting_before(other: ChannelModel, channel: ChannelModel, flowing: float = math.inf) -> float:
    """Longest time for which another channel can have conducted when a channel starts [s].

    Parameters
    ----------
    flowing : Longest time for which the other's current flows where it ends before the pulse does [s]
    """
    return min(max(channel.start.high - other.start.low, 0.0), other.pulse.high, flowing)


def nominal_groups(circuit: Circuit) -> tuple[tuple[ChannelModel, ...], ...]:
    """Sort the channels into groups whose nominal pulses follow each other without a gap, in the order of starts."""
    groups: list[list[ChannelModel]] = []
    end = -math.inf
    for channel in sorted(circuit.channels, key=lambda c: c.start.nominal):
        if _not_after(channel.start.nominal, end):
            groups[-1].append(channel)
        else:
            groups.append([channel])
        end = max(end, channel.start.nominal + channel.pulse.nominal)
    return tuple(tuple(group) for group in groups)
