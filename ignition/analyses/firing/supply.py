"""Battery and controller supply while firing: sag, brown-out, hold-up, fuse and protection circuit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.firing.on_state import Settled, firing_network, lowest_supply, with_spent
from ignition.analyses.no_fire.gate import controller_rail
from ignition.circuit.model import Circuit
from ignition.network.worst_case import Extreme, Probe, extremes
from ignition.parts.controller import hold_up_time
from ignition.parts.protection import melting_time, resettable_trip_time
from ignition.toleranced import Spread, Toleranced
from ignition.typing import HIDDEN, Amps, Key, Missing, Seconds, Volts

__all__ = ["SupplyUnderFire", "supply_under_fire"]

_HOLDS = "the supply stays above brown-out, or the level is not given"
_NO_FUSE = "no fuse opens at this current, or its data are not given"
_NO_TRIP = "no protection circuit trips, or none is given"


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyUnderFire:
    """The supply's worst moments of a firing sequence.

    Attributes
    ----------
    battery_voltage, controller_supply : Lowest voltage of each group of channels that fire together; bounds over all
        groups [V]
    brown_out : Highest brown-out level; None where it is not given
    hold_up : Time that the hold-up capacitor keeps the controller above brown-out; infinite where the supply holds
    fuse_time, protection_time : Earliest time at which a fuse or the battery's protection circuit interrupts; infinite
        where neither does
    highest_current : Highest battery current, other loads and spent bridges included
    """

    battery_voltage: Annotated[Spread, HIDDEN]
    controller_supply: Annotated[Spread, HIDDEN]
    brown_out: Annotated[Volts | None, Missing(otherwise="not given")]
    hold_up: Annotated[Seconds, Key("time_to_brown_out"), Missing(infinite=_HOLDS)]
    fuse_time: Annotated[Seconds, Key("fuse_opens"), Missing(infinite=_NO_FUSE)]
    protection_time: Annotated[Seconds, Key("protection_trips"), Missing(infinite=_NO_TRIP)]
    highest_current: Annotated[Amps, Key("highest_battery_current")]

    def cut_before(self, time: float) -> str | None:
        """Tell what may interrupt the current before firing current has flowed for a time.

        Parameters
        ----------
        time : Time for which firing current has flowed, that of earlier channels included [s]

        Returns
        -------
        The reason, or None where nothing interrupts
        """
        for limit, reason in (
            (self.hold_up, "the controller may reset in the pulse and release the gate"),
            (self.fuse_time, "a fuse may open before it functions"),
            (self.protection_time, "the battery's protection circuit may trip before it functions"),
        ):
            if time >= limit:
                return reason
        return None


def _groups(circuit: Circuit) -> list[frozenset[str]]:
    """Sets of channels that may conduct together: one set for each channel's pulse."""
    groups: list[frozenset[str]] = []
    for channel in circuit.channels:
        end = channel.start.high + channel.pulse.high
        group = frozenset(
            other.name
            for other in circuit.channels
            if other.start.low < end and channel.start.low < other.start.high + other.pulse.high
        )
        if group not in groups:
            groups.append(group)
    return groups


def supply_under_fire(circuit: Circuit, settled: Settled) -> SupplyUnderFire:
    """Analyse battery and controller supply over the firing sequence.

    The low bounds take every channel whose pulse overlaps, and spent bridges at their lowest resistance.

    Returns
    -------
    Lowest voltages, and what may interrupt the sequence
    """
    terminals: list[Extreme] = []
    rails: list[Toleranced] = []
    highest = from_battery = 0.0
    for group in _groups(circuit):
        network = firing_network(circuit, group)
        _, box = settled.of(group)
        boxes = [box]
        spent = with_spent(circuit, box)
        if spent is not None:
            boxes.append(spent)
        node = "battery terminal" if circuit.controller.powered_before_arm_switch else "bus"
        probes = [
            Probe(node="battery terminal"),
            Probe(node=node),
            Probe(element=f"feed.{circuit.feed[0].name}"),
            Probe(element="battery"),
        ]
        found = [extremes(network, b, probes) for b in boxes]
        terminals.append(_join([f[0] for f in found]))
        supply = _join([f[1] for f in found])
        rails.append(
            controller_rail(
                circuit,
                "firing",
                Toleranced(
                    low=max(min(lowest_supply(circuit, network, box, node, supply.low), supply.nominal), 0.0),
                    nominal=max(supply.nominal, 0.0),
                    high=max(supply.high, 0.0),
                    unit="V",
                ),
            )
        )
        highest = max(highest, *(f[2].high for f in found))
        from_battery = max(from_battery, *(-f[3].low for f in found))
    battery = Spread(
        low=max(min(t.low for t in terminals), 0.0),
        nominal=max(min(t.nominal for t in terminals), 0.0),
        high=max(t.high for t in terminals),
        unit="V",
    )
    rail = Spread(
        low=min(r.low for r in rails), nominal=min(r.nominal for r in rails), high=max(r.high for r in rails), unit="V"
    )
    brown_out = circuit.controller.brown_out
    return SupplyUnderFire(
        battery_voltage=battery,
        controller_supply=rail,
        brown_out=None if brown_out is None else brown_out.high,
        hold_up=_hold_up(circuit, rail),
        fuse_time=_fuse_time(circuit, highest),
        protection_time=_protection_time(circuit, from_battery),
        highest_current=from_battery,
    )


def _join(members: list[Extreme]) -> Extreme:
    first = members[0]
    return Extreme(
        low=min(m.low for m in members),
        nominal=first.nominal,
        high=max(m.high for m in members),
        low_at=first.low_at,
        high_at=first.high_at,
        method=first.method,
    )


def _hold_up(circuit: Circuit, rail: Spread) -> float:
    """Time to brown-out on the hold-up capacitor alone; infinite where the rail stays above it."""
    controller = circuit.controller
    if controller.brown_out is None or rail.low is None or rail.low > controller.brown_out.high:
        return math.inf
    capacitance = controller.hold_up_capacitance
    if capacitance is None or controller.current.high <= 0 or controller.supply.low <= controller.brown_out.high:
        return 0.0
    return float(
        hold_up_time(capacitance.low, controller.current.high, controller.supply.low, controller.brown_out.high)
    )


def _fuse_time(circuit: Circuit, current: float) -> float:
    """Earliest opening of a fuse in the feed at the highest current all the time."""
    times = [math.inf]
    for part in circuit.feed:
        if part.kind == "fuse" and part.melting_i2t is not None:
            rating = part.rating.low if part.rating is not None else 0.0
            times.append(float(melting_time(current, part.melting_i2t.low, rating)))
        if part.kind == "resettable fuse" and part.trip_i2t is not None and part.hold_current is not None:
            times.append(float(resettable_trip_time(current, part.trip_i2t.low, part.hold_current.low)))
    return min(times)


def _protection_time(circuit: Circuit, current: float) -> float:
    battery = circuit.battery
    if battery.trip_current is None or battery.trip_delay is None or current < battery.trip_current.low:
        return math.inf
    return battery.trip_delay.low
