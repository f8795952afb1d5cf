"""End of a pulse: the line's inductance drives the MOSFET into avalanche, and the gate takes its time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.no_fire.corners import feed_inductance
from ignition.analyses.no_fire.gate import controller_rail, driven_gate_voltage, turn_off_time
from ignition.circuit.model import ChannelModel, Circuit
from ignition.parts.mosfet import breakdown_at
from ignition.parts.mosfet_transient import avalanche_energy, avalanche_rating, junction_temperature
from ignition.typing import Amps, Celsius, Joules, Missing, Seconds, Volts

__all__ = ["TurnOff", "turn_off"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnOff:
    """Worst end of one channel's pulse.

    Attributes
    ----------
    gate_voltage : Highest voltage that the pin drives the gate to
    current : Highest current that is switched off
    stored_energy : Highest energy in the line's inductance, L I^2 / 2: of lead and branch at that current, of battery
        and feed at the highest current of all channels that may conduct together
    energy : The same with what the battery adds while the current falls, V_breakdown / (V_breakdown - V_battery) times;
        infinite where the battery's voltage reaches breakdown
    rating : Avalanche energy that the MOSFET bears from the temperature at which the pulse leaves it
    time : Longest time from the pin's edge until the gate is below the lowest threshold
    junction : Highest junction temperature after it: of the pulse, of the linear region and of the avalanche
    """

    gate_voltage: Volts
    current: Amps
    stored_energy: Joules
    energy: Annotated[
        Joules | None,
        Missing(otherwise="the breakdown voltage is not given", infinite="the battery's voltage reaches breakdown"),
    ]
    rating: Annotated[Joules | None, Missing(otherwise="the avalanche energy is not given")]
    time: Annotated[
        Seconds | None,
        Missing(otherwise="the gate's capacitances are not given", infinite="the gate held low may conduct"),
    ]
    junction: Annotated[
        Celsius | None,
        Missing(otherwise="the gate's capacitances are not given", infinite="the gate held low may conduct"),
    ]
    reason: str | None


def turn_off(
    circuit: Circuit, channel: ChannelModel, current: float, battery_current: float, junction: float | None
) -> TurnOff:
    """Bound the end of a channel's pulse.

    All of the inductance's energy goes into the MOSFET: the loop's resistance, and a bridge that opens and takes it
    instead, are left out, and so are the switches of other channels that end with it. Linear region: a quarter of
    battery voltage times current for the whole turn-off time; avalanche: breakdown voltage times current for L I /
    (V_breakdown - V_battery).

    Parameters
    ----------
    current, battery_current : Highest current of the channel, and of the battery [A]
    junction : Highest junction temperature at the end of the pulse [degC]; None where it is not known
    """
    mosfet, battery = circuit.mosfets[channel.mosfet], circuit.battery.voltage.high
    carried = ((channel.loop_inductance.high, current), (feed_inductance(circuit).high, max(battery_current, current)))
    breakdown = None if mosfet.breakdown is None else float(breakdown_at(circuit.ambient.low, mosfet.breakdown.low))
    time = (
        None
        if mosfet.input_capacitance is None or mosfet.gate_drain_charge is None
        else turn_off_time(circuit, channel)
    )
    energy = falls = None
    if breakdown is not None:
        above = breakdown - battery
        energy = falls = math.inf
        if above > 0.0:
            energy = sum(float(avalanche_energy(each, flowing, breakdown, battery)) for each, flowing in carried)
            falls = sum(each * flowing for each, flowing in carried) / above
    rating = after = reason = None
    if junction is None:
        reason = "how hot the pulse leaves the MOSFET is not known"
    elif mosfet.avalanche_energy is not None:
        rating = float(avalanche_rating(mosfet.avalanche_energy.low, junction, mosfet.max_junction))
    if junction is not None and breakdown is not None and time is not None and falls is not None:
        stages = [(r.high, c.low) for r, c in mosfet.thermal]
        resistances, constants = [r for r, _ in stages], [c for _, c in stages]
        after = junction
        for power, lasts in ((0.25 * battery * current, time), (breakdown * current, falls)):
            after = float(junction_temperature(after, power, lasts, resistances, constants))
    return TurnOff(
        gate_voltage=driven_gate_voltage(circuit, channel, controller_rail(circuit, "armed")).high,
        current=current,
        stored_energy=sum(0.5 * each * flowing**2 for each, flowing in carried),
        energy=energy,
        rating=rating,
        time=time,
        junction=after,
        reason=reason,
    )
