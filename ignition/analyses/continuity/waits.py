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

    Parameters
    ----------
    highest_code : Largest reading that is waited for [LSB]

    Returns
    -------
    Times [s]
    """
    adc = circuit.controller.adc
    sample = 0.0 if adc.sample_capacitance is None else adc.sample_capacitance.high
    filtered = 0.0 if channel.filter is None else channel.filter.high + sample
    stored = circuit.mosfets[channel.mosfet].output_capacitance.high + channel.lead.capacitance.high
    source = circuit.battery.resistance if circuit.battery.bank_resistance is None else circuit.battery.bank_resistance
    path = source.high + sum(part.resistance.high for part in circuit.feed)
    path += line_resistance(circuit, channel, "intact")[1]
    upper, lower = channel.upper.high, channel.lower.high
    slow = float(
        filter_time_constant(path + upper, lower, filtered) + filter_time_constant(path, upper + lower, stored)
    )
    opened = lower * filtered + (upper + lower) * stored
    part = min(0.5 / max(highest_code, 0.5), _MOST_LEFT)
    shared = 0.0 if channel.filter is None else float(charge_sharing_error(2.0**adc.bits, sample, channel.filter.low))
    return Waits(
        time_constant=slow,
        five=5.0 * slow,
        left_after_five=highest_code * math.exp(-5.0),
        exact=float(settling_time(part, slow)),
        after_opening=float(settling_time(part, opened)),
        between_samples=float(settling_time(min(0.5 / shared, 1.0), opened)) if shared > 0.0 else 0.0,
    )
