"""How hot the pulse makes the junction of a channel's MOSFET."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from ignition.analyses.firing.on_state import OnState, firing_network, heating, turn_on_heating, with_spent
from ignition.analyses.firing.sequence import turn_on
from ignition.analyses.firing.supply import SupplyUnderFire
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.template import igniter_names
from ignition.network.worst_case import Probe, extremes
from ignition.toleranced import Spread, Toleranced

__all__ = ["junction_temperature"]


def junction_temperature(
    circuit: Circuit,
    channel: ChannelModel,
    state: OnState,
    box: Mapping[str, Toleranced],
    overlapping: frozenset[str],
    supply: SupplyUnderFire,
    *,
    nominal_current: float,
    highest_current: float,
    nominal_times: Sequence[float | None],
    earliest_times: Sequence[float | None],
) -> Spread:
    """Bound the junction temperature when the channel's current ends [degC].

    High: the highest current at any time, spent bridges included, for the longest pulse, upon the heat of the gate's
    slowest charging; missing where the data for that are. Low: the lowest current of any
    of its strings, all overlapping channels drawing, for the shortest time that current can flow, which ends with the
    earliest function where bridges open; where something else may cut it, at the coldest ambient. Nominal: to the last
    function where bridges open.

    Parameters
    ----------
    box : Firing parameters [SI]
    overlapping : Channels that may conduct at some time of this pulse, itself included
    nominal_current, highest_current : At the start of the pulse, and highest at any time [A]
    nominal_times, earliest_times : Function time of each igniter [s]
    """
    mosfet, ambient, on = circuit.mosfets[channel.mosfet], circuit.ambient, state.on_resistance
    opens = [circuit.igniters[kind].spent == "open" for string in channel.strings for kind in string]
    longest = channel.pulse.nominal
    if all(opens) and None not in nominal_times:
        longest = min(longest, max(time for time in nominal_times if time is not None))
    low = ambient.low
    if not _may_be_cut(circuit, supply):
        delay = turn_on(circuit, circuit.channels.index(channel), state.gate_voltage.low, "high")
        ends = [time or 0.0 for time, opening in zip(earliest_times, opens, strict=True) if opening]
        shortest = max(min([channel.pulse.low - delay, *ends]), 0.0)
        probes = [Probe(element=string[0]) for string in igniter_names(channel)]
        found = extremes(firing_network(circuit, overlapping), with_spent(circuit, box) or box, probes)
        low += heating(mosfet, max(min(f.low for f in found), 0.0), on.low, shortest, "low")
    nominal = ambient.nominal + heating(mosfet, nominal_current, on.nominal, longest, "nominal")
    charging = turn_on_heating(circuit, channel, state, highest_current)
    if charging is None:
        reason = "how long the gate takes to charge is not known"
        return Spread(low=min(low, nominal), nominal=nominal, high=None, unit="degC", reason=reason)
    high = ambient.high + charging + heating(mosfet, highest_current, on.high, channel.pulse.high, "high")
    return Spread(low=min(low, nominal), nominal=nominal, high=max(high, nominal), unit="degC")


def _may_be_cut(circuit: Circuit, supply: SupplyUnderFire) -> bool:
    """Whether anything but the bridges may end the current before the pulse does."""
    stays = all(part.opens_after == math.inf for part in supply.parts)
    return circuit.battery.bank_capacitance is not None or supply.hold_up < math.inf or not stays
