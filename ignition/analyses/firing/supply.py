"""Battery and controller supply while firing: sag, brown-out, hold-up, fuse and protection circuit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.firing.on_state import Settled, firing_network, lowest_supply, recharging, with_spent
from ignition.analyses.firing.protective import BATTERY_PROTECTION, Cut, ProtectivePart, protective_parts
from ignition.analyses.firing.schedule import overlapping
from ignition.analyses.no_fire.gate import controller_rail, phase_box
from ignition.circuit.model import Circuit
from ignition.findings.finding import Reason
from ignition.network.template import State, build_network
from ignition.network.worst_case import Probe, extremes
from ignition.parts.controller import hold_up_time
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
    recovers : Whether the supply is back as soon as no firing current flows any more
    highest_current : Highest battery current, other loads and spent bridges included
    feed_square_time : Highest feed current squared times time, of all pulses together [A^2 s]
    parts : Fuses in the order of the feed, then the battery's protection circuit
    """

    battery_voltage: Annotated[Spread, HIDDEN]
    controller_supply: Annotated[Spread, HIDDEN]
    brown_out: Annotated[Volts | None, Missing(otherwise="not given")]
    hold_up: Annotated[Seconds, Key("time_to_brown_out"), Missing(infinite=_HOLDS)]
    recovers: Annotated[bool, HIDDEN]
    highest_current: Annotated[Amps, Key("highest_battery_current")]
    feed_square_time: Annotated[float, HIDDEN]
    parts: tuple[ProtectivePart, ...]

    @property
    def fuse_time(self) -> Annotated[Seconds, Key("fuse_opens"), Missing(infinite=_NO_FUSE)]:
        """Earliest time at which a fuse may open; infinite where none does, or when is not known."""
        return min(
            (p.opens_after for p in self.parts if p.kind != BATTERY_PROTECTION and p.opens_after), default=math.inf
        )

    @property
    def protection_time(self) -> Annotated[Seconds, Key("protection_trips"), Missing(infinite=_NO_TRIP)]:
        """Earliest time at which the battery's protection circuit may trip; infinite where it does not."""
        times = [p.opens_after for p in self.parts if p.kind == BATTERY_PROTECTION]
        return min((time for time in times if time is not None), default=math.inf)

    def cut_before(self, time: float, elapsed: float) -> Cut | None:
        """Tell what may interrupt the current before firing current has flowed for a time.

        Parameters
        ----------
        time : Time for which firing current has flowed, that of earlier channels included [s]
        elapsed : Time since the first of them began to draw [s]; what counts where the supply does not recover

        Returns
        -------
        The reason, or None where nothing interrupts; the keys to give where a part may open at a time not known
        """
        if (time if self.recovers else elapsed) > self.hold_up:
            return Cut(says="the controller may reset in the pulse and release the gate", cause=Reason.EXCEEDED)
        return next((cut for part in self.parts if (cut := part.cut_before(time)) is not None), None)

    def cuts_controller(self, time: float, *, behind_feed: bool) -> ProtectivePart | None:
        """Return the first part that may disconnect the controller too while firing current flows, if any.

        Parameters
        ----------
        time : Longest time for which firing current flows [s]
        behind_feed : Whether the controller takes its supply behind the feed
        """
        ahead = (part for part in self.parts if behind_feed or part.kind == BATTERY_PROTECTION)
        return next((part for part in ahead if part.cut_before(time) is not None), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Group:
    """Lowest terminal voltage and rail of channels that may conduct together [V], their highest currents [A]."""

    terminal: Toleranced
    rail: Toleranced
    feed_current: float
    battery_current: float


def supply_under_fire(circuit: Circuit, settled: Settled) -> SupplyUnderFire:
    """Analyse battery and controller supply over the firing sequence.

    The low bounds and the highest currents take every channel whose pulse overlaps, and spent bridges at their lowest
    resistance; the high bounds one channel alone, as at the start of its pulse. The feed is heated by each pulse at the
    highest current of its group.

    Returns
    -------
    Lowest voltages, and what may interrupt the sequence
    """
    members = {c.name: overlapping(circuit, c) for c in circuit.channels}
    groups = {group: _group(circuit, settled, group) for group in dict.fromkeys(members.values())}
    found = groups.values()
    feed_current = max(g.feed_current for g in found)
    battery_current = max(g.battery_current for g in found)
    rail = _lowest_of([g.rail for g in found])
    brown_out, battery = circuit.controller.brown_out, circuit.battery
    armed = build_network(circuit, State(phase="armed"))
    probes = [Probe(element=f"feed.{circuit.feed[0].name}"), Probe(element="battery")]
    feed_standing, standing = extremes(armed, phase_box(circuit, "armed"), probes)
    return SupplyUnderFire(
        battery_voltage=_lowest_of([g.terminal for g in found]),
        controller_supply=rail,
        brown_out=None if brown_out is None else brown_out.high,
        hold_up=_hold_up(circuit, rail),
        recovers=battery.slow_resistance == 0.0 and battery.bank_capacitance is None,
        highest_current=battery_current,
        feed_square_time=sum(groups[members[c.name]].feed_current ** 2 * c.pulse.high for c in circuit.channels),
        parts=protective_parts(
            circuit, feed_current, battery_current, feed_standing=feed_standing.high, battery_standing=-standing.low
        ),
    )


def _group(circuit: Circuit, settled: Settled, group: frozenset[str]) -> _Group:
    network = firing_network(circuit, group)
    _, box = settled.of(group)
    node = "battery terminal" if circuit.controller.powered_before_arm_switch else "bus"
    probes = [
        Probe(node="battery terminal"),
        Probe(node=node),
        Probe(element=f"feed.{circuit.feed[0].name}"),
        Probe(element="battery"),
    ]
    usual = extremes(network, box, probes)
    spent = with_spent(circuit, box)
    after = usual if spent is None else extremes(network, spent, probes)
    # tolerances may keep the pulses of a group apart
    alone = [usual]
    if len(group) > 1:
        alone = [extremes(firing_network(circuit, frozenset({name})), box, probes[:2]) for name in group]
    lowest = lowest_supply(circuit, network, box, node, min(usual[1].low, after[1].low))
    least, most = recharging(circuit, box)
    supply = _voltage(lowest, usual[1].nominal, max(found[1].high for found in alone))
    return _Group(
        terminal=_voltage(
            min(usual[0].low, after[0].low, least), usual[0].nominal, max(found[0].high for found in alone)
        ),
        rail=controller_rail(circuit, "firing", supply),
        feed_current=max(usual[2].high, after[2].high),
        battery_current=max(-usual[3].low, -after[3].low, most),
    )


def _voltage(low: float, nominal: float, high: float) -> Toleranced:
    nominal = max(nominal, 0.0)
    return Toleranced(low=max(min(low, nominal), 0.0), nominal=nominal, high=max(high, nominal), unit="V")


def _lowest_of(members: list[Toleranced]) -> Spread:
    """Lowest voltage over several groups, bounds over all."""
    return Spread(
        low=min(m.low for m in members),
        nominal=min(m.nominal for m in members),
        high=max(m.high for m in members),
        unit="V",
    )


def _hold_up(circuit: Circuit, rail: Spread) -> float:
    """Time to brown-out on the hold-up capacitor alone, from the rail before the pulse; infinite where none comes."""
    controller = circuit.controller
    if controller.brown_out is None or rail.low is None or rail.low >= controller.brown_out.high:
        return math.inf
    capacitance, before = controller.hold_up_capacitance, controller_rail(circuit, "armed").low
    if capacitance is None or controller.current.high <= 0 or before <= controller.brown_out.high:
        return 0.0
    return float(hold_up_time(capacitance.low, controller.current.high, before, controller.brown_out.high))
