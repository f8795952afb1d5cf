"""How long the firmware waits before a reading holds: the filter and all that hangs on the drain have to charge."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.continuity.requirement import line_resistance
from ignition.circuit.model import ChannelModel, Circuit
from ignition.parts.sense import charge_sharing_error, filter_time_constant, settling_time
from ignition.typing import Key, Ratio, Seconds

__all__ = ["Waits", "waits"]

_MOST_LEFT = 0.25
"""Share of a step down to which the sum of both time constants is no bound of a wait [1]: (1 + x) exp(-x), of two equal
ones, lies below exp(-x / 2) from 0.28 on, and of unequal ones sooner (hand calculation)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waits:
    """Waits before a reading holds.

    Attributes
    ----------
    time_constant : No less than the slowest one while the line holds the drain
    left_after_five : What is still missing after five of them [LSB]
    exact : Wait after arming until half an LSB is missing, worst case
    after_opening : Wait after the line opens or the arm switch opens until half an LSB is left, worst case
    between_samples : Least time between two samples so that the charge taken by the first is restored to half an LSB
    """

    time_constant: Seconds
    five: Annotated[Seconds, Key("settle_five_time_constants")]
    left_after_five: Annotated[Ratio, Key("missing_after_five_time_constants")]
    exact: Annotated[Seconds, Key("settle_after_arming")]
    after_opening: Annotated[Seconds, Key("settle_after_opening")]
    between_samples: Seconds


def waits(circuit: Circuit, channel: ChannelModel, highest_code: float) -> Waits:
    """Return how long a reading takes to settle.

    Two capacitances charge, one behind the other: the MOSFET's and the lead's at the drain, through the line and what
    lies around an open high-side switch, and the filter's through the divider. Neither time constant of the two is more
    than the sum of each capacitance times what it sees (open-circuit time constants; hand calculation), which is taken.
    With the line open the drain discharges through both resistors, the filter through the lower one.

    With the arm switch open the bus floats, and channels feed each other through it. Joined, they discharge no slower
    than the slowest by itself (a node that is shared adds conductances and capacitances), but a tap that follows the
    bus falls from the whole bus voltage, of which its reading is lower / (upper + lower): a multiple of the slowest
    one's decay stays above all of them (comparison of solutions; hand calculation).

    Parameters
    ----------
    highest_code : Largest reading that is waited for [LSB]

    Returns
    -------
    Times [s]
    """
    adc = circuit.controller.adc
    sample = _sample(circuit)
    filtered, stored = _filtered(circuit, channel), _stored(circuit, channel)
    source = circuit.battery.resistance if circuit.battery.bank_resistance is None else circuit.battery.bank_resistance
    feed = source.high + sum(part.resistance.high for part in circuit.feed)
    path = feed + line_resistance(circuit, channel, "intact")[1]
    upper, lower = channel.upper.high, channel.lower.high
    slow = float(
        filter_time_constant(path + upper, lower, filtered) + filter_time_constant(path, upper + lower, stored)
    )
    slow += feed * _of_feed(circuit)
    opened = _discharge(circuit, channel)
    part = 0.5 / max(highest_code, 0.5 / _MOST_LEFT)
    shared = 0.0 if channel.filter is None else float(charge_sharing_error(2.0**adc.bits, sample, channel.filter.low))
    return Waits(
        time_constant=slow,
        five=5.0 * slow,
        left_after_five=highest_code * math.exp(-5.0),
        exact=float(settling_time(part, slow)),
        after_opening=_after_opening(circuit, channel, part),
        between_samples=float(settling_time(0.5 / shared, opened)) if shared > 0.0 else 0.0,
    )


def _sample(circuit: Circuit) -> float:
    sample = circuit.controller.adc.sample_capacitance
    return 0.0 if sample is None else sample.high


def _filtered(circuit: Circuit, channel: ChannelModel) -> float:
    """What hangs on the tap at most [F]."""
    return 0.0 if channel.filter is None else channel.filter.high + _sample(circuit)


def _stored(circuit: Circuit, channel: ChannelModel) -> float:
    """What hangs on the drain at most [F]."""
    return circuit.mosfets[channel.mosfet].output_capacitance.high + channel.lead.capacitance.high


def _of_feed(circuit: Circuit) -> float:
    """What hangs on the bus at most [F]."""
    return sum(part.capacitance.high for part in circuit.feed)


def _discharge(circuit: Circuit, channel: ChannelModel) -> float:
    """No less than the slowest time constant of a channel that nothing feeds [s]."""
    lower, both = channel.lower.high, channel.upper.high + channel.lower.high
    behind = line_resistance(circuit, channel, "intact")[1] + both
    return lower * _filtered(circuit, channel) + both * _stored(circuit, channel) + behind * _of_feed(circuit)


def _after_opening(circuit: Circuit, channel: ChannelModel, part: float) -> float:
    """Time after which no more than a part of a reading is left, whether the line opened or the arm switch [s]."""
    if len(circuit.channels) == 1:
        return float(settling_time(part, _discharge(circuit, channel)))
    slowest = max(_discharge(circuit, one) for one in circuit.channels)
    share = channel.lower.low / (channel.upper.high + channel.lower.low)
    return float(settling_time(part * share, slowest))
