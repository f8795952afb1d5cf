"""Firing: current, margin and function time of every igniter, and what the pulse does to battery, supply and switch."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from ignition.analyses.firing.bounds import IgniterBounds, igniter_bounds
from ignition.analyses.firing.conductors import ConductorHeating, channel_conductors, feed_conductors
from ignition.analyses.firing.junction import junction_temperature
from ignition.analyses.firing.on_state import OnState, Settled, firing_network, with_spent
from ignition.analyses.firing.protective import Cut
from ignition.analyses.firing.schedule import conducting_at_start, conducting_before, overlapping
from ignition.analyses.firing.sequence import hold_tree_to_network, igniter_list, march_circuit, turn_on
from ignition.analyses.firing.supply import SupplyUnderFire, supply_under_fire
from ignition.analyses.firing.transient.march import MarchResult
from ignition.analyses.firing.turn_off import TurnOff, turn_off
from ignition.circuit.model import ChannelModel, Circuit, StatementModel
from ignition.errors import NetworkError
from ignition.findings.corner import Corner
from ignition.findings.finding import Reason
from ignition.network.template import igniter_names
from ignition.network.worst_case import Probe, extremes
from ignition.toleranced import Spread, Toleranced
from ignition.typing import HIDDEN, Amps, Celsius, Key, Missing, Ratio, Seconds

__all__ = ["ChannelFiring", "Firing", "IgniterFiring", "firing"]

_NO_LEAD = "the lead's cross-section or current is not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class IgniterFiring:
    """One igniter in its channel's pulse.

    Attributes
    ----------
    igniter : Name, for example ``boost.igniter 1.1``
    current : Current when its channel starts to conduct, all its neighbours unfired [A]
    lowest_current : Lowest current until it functions, overlapping channels and spent neighbours included; None where
        it has no bound
    all_fire_margin : That over the all-fire current at the coldest ambient
    function_time : From the driven pin to function [s]
    functions : ``always``, ``sometimes`` or ``never``, over all tolerances and the igniters' scatter between no-fire
        and all-fire; ``always`` only with an all-fire statement of the reliability and confidence that are required
    thermal_fraction : Share of the function temperature's rise reached by the end of the pulse, 1 at function [1]
    reason : Why it may not function, or why a number is missing
    cause, keys : The same as a reason of a verdict, and the keys of the file that would settle it
    corner : Where `lowest_current` stands
    """

    igniter: str
    kind: Annotated[str, Key("type")]
    string: int
    position: int
    current: Spread
    lowest_current: Annotated[Amps | None, HIDDEN]
    all_fire_margin: Annotated[Ratio | None, Missing(otherwise="no all-fire current is given")]
    function_time: Spread
    functions: str
    thermal_fraction: Spread
    reason: str | None
    cause: Annotated[Reason, HIDDEN]
    keys: Annotated[tuple[str, ...], HIDDEN]
    corner: Corner


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelFiring:
    """One channel's pulse.

    Attributes
    ----------
    gate_voltage : Gate drive from the sagged supply [V]
    on_resistance : MOSFET's on-resistance [ohm]; the high bound is missing where the gate is below the lowest data
        sheet row
    current : Channel current at the start of the pulse [A]
    mosfet_junction : Junction temperature at the end of the current [degC]
    conducted_before : Longest time for which earlier channels may have drawn firing current when this one starts
    conductors : The lead, then the branches, at the end of the pulse
    turn_off : The end of the pulse
    """

    channel: str
    igniters: tuple[IgniterFiring, ...]
    gate_voltage: Spread
    on_resistance: Spread
    current: Spread
    mosfet_junction: Spread
    conducted_before: Annotated[Seconds, HIDDEN]
    conductors: tuple[ConductorHeating, ...]
    turn_off: TurnOff

    @property
    def lead_temperature(
        self,
    ) -> Annotated[
        Celsius | None,
        Key("lead_temperature"),
        Missing(otherwise=_NO_LEAD, infinite="the lead melts in the pulse"),
    ]:
        """Highest temperature of the lead; infinite where it melts, None where its size is not given."""
        lead = self.conductors[0]
        return math.inf if lead.melts else lead.temperature


@dataclass(frozen=True, slots=True, kw_only=True)
class Firing:
    """The whole firing sequence.

    Attributes
    ----------
    battery_voltage, controller_supply : Lowest of each during the sequence [V]
    conductors : Wires of the feed at the end of the sequence; each channel has its own
    """

    circuit: str
    channels: tuple[ChannelFiring, ...]
    conductors: tuple[ConductorHeating, ...]
    battery_voltage: Spread
    controller_supply: Spread
    supply: SupplyUnderFire

    @property
    def all_function(self) -> bool:
        """Whether every igniter functions in every case."""
        return all(i.functions == "always" for c in self.channels for i in c.igniters)


def firing(circuit: Circuit) -> Firing:
    """Analyse the firing sequence of a circuit.

    Currents are exact corners of the firing network at the start of each pulse: with the channels that start together
    or are already firing drawing in the low bound, and silent in the high one. Function times are bounds over
    everything that can happen on the way (neighbours that open, stay a short, or open a common string); the nominal
    one is marched from event to event.

    Raises NetworkError where the tree that is marched is not the circuit's network.
    """
    hold_tree_to_network(circuit)
    settled = Settled(circuit)
    nominal = _nominal(circuit, settled)
    results: list[ChannelFiring] = []
    supply = supply_under_fire(circuit, settled)
    settings = {c.name: settled.of(overlapping(circuit, c)) for c in circuit.channels}
    bounds = {
        c.name: igniter_bounds(circuit, c, settings[c.name][0][c.name], settings[c.name][1], overlapping(circuit, c))
        for c in circuit.channels
    }
    for channel in circuit.channels:
        states, box = settings[channel.name]
        earlier, longest = (_conducted_before(circuit, channel, bounds, trusting=trust) for trust in (True, False))
        results.append(
            _channel(
                circuit, channel, states[channel.name], box, nominal, supply, bounds[channel.name], earlier, longest
            )
        )
    return Firing(
        circuit=circuit.name,
        channels=tuple(results),
        conductors=feed_conductors(circuit, supply.feed_square_time),
        battery_voltage=supply.battery_voltage,
        controller_supply=supply.controller_supply,
        supply=supply,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Nominal:
    """Nominal march: function time from the driven pin and thermal fraction by igniter."""

    function_time: Mapping[str, float]
    thermal_fraction: Mapping[str, float]


def _conducted_before(
    circuit: Circuit, channel: ChannelModel, bounds: Mapping[str, list[IgniterBounds]], *, trusting: bool
) -> float:
    """Longest time for which earlier channels can have drawn firing current when this one starts [s].

    Trusting takes every all-fire statement for certain, that its reliability is not enough does not count.
    """
    total = 0.0
    for other in circuit.channels:
        if other is channel:
            continue
        flowing = math.inf
        models = [circuit.igniters[kind] for string in other.strings for kind in string]
        if all(m.spent == "open" and (trusting or _shortfall(circuit, m.all_fire) is None) for m in models):
            latest = [math.inf if b.latest is None else b.latest for b in bounds[other.name]]
            flowing = max(latest)
        total += conducting_before(other, channel, flowing)
    return total


def _since_first(circuit: Circuit, channel: ChannelModel) -> float:
    """Longest time from when another channel may have begun to draw to a channel's start [s]."""
    starts = [other.start.low for other in circuit.channels if other is not channel]
    return max([0.0, *(channel.start.high - start for start in starts)])


def _nominal(circuit: Circuit, settled: Settled) -> _Nominal | None:
    """Nominal sequence by the event march; None where a nominal threshold is missing."""
    igniters = igniter_list(circuit)
    if any(m.threshold_nominal is None or m.time_constant.nominal is None for _, _, m in igniters):
        return None
    states: dict[str, OnState] = {}
    box: dict[str, Toleranced] = {}
    for channel in circuit.channels:
        found, its_box = settled.of(conducting_at_start(circuit, channel))
        states[channel.name] = found[channel.name]
        box = its_box | box | {f"{channel.name}.mosfet": found[channel.name].on_resistance}
    if any(state.rows[1] < 0 for state in states.values()):
        return None
    try:
        result = _nominal_march(circuit, states, box)
    except NetworkError:  # a bank or battery far faster than the pulse: the bounds stand without it
        return None
    starts = {c.name: c.start.nominal for c in circuit.channels}
    return _Nominal(
        function_time={
            name: float(result.function_time[i, 0]) - starts[owner] for i, (owner, name, _) in enumerate(igniters)
        },
        thermal_fraction={name: float(result.thermal_fraction[i, 0]) for i, (_, name, _) in enumerate(igniters)},
    )


def _nominal_march(circuit: Circuit, states: Mapping[str, OnState], box: Mapping[str, Toleranced]) -> MarchResult:
    igniters = igniter_list(circuit)
    return march_circuit(
        circuit,
        {name: value.nominal for name, value in box.items()},
        threshold=np.array([m.threshold_nominal for _, _, m in igniters]),
        time_constant=np.array([m.time_constant.nominal for _, _, m in igniters]),
        turn_on_delay=[
            turn_on(circuit, i, states[c.name].gate_voltage.nominal, "nominal") for i, c in enumerate(circuit.channels)
        ],
    )


def _channel(
    circuit: Circuit,
    channel: ChannelModel,
    state: OnState,
    box: Mapping[str, Toleranced],
    nominal: _Nominal | None,
    supply: SupplyUnderFire,
    bounds: list[IgniterBounds],
    earlier: float,
    longest: float,
) -> ChannelFiring:
    names = [n for string in igniter_names(channel) for n in string]
    probes = [*(Probe(element=n) for n in names), Probe(element=f"{channel.name}.mosfet")]
    together, alone = conducting_at_start(circuit, channel), frozenset({channel.name})
    low_box = box
    if together != alone:  # bridges that have fired may draw more than cold ones
        low_box = {**(with_spent(circuit, box) or box), **{name: box[name] for name in names}}
    low_side = extremes(firing_network(circuit, together), low_box, probes)
    # a channel of the same start may conduct a moment later, or have fired already
    high_side = low_side if together == alone else extremes(firing_network(circuit, alone), box, probes)
    currents = [
        Spread(low=a.low, nominal=a.nominal, high=b.high, unit="A") for a, b in zip(low_side, high_side, strict=True)
    ]
    if circuit.battery.bank_capacitance is not None and earlier > 0:
        run_down = "the capacitor bank may have run down in an earlier pulse"
        currents = [replace(c, low=None, reason=run_down) for c in currents]
    kinds = [k for string in channel.strings for k in string]
    places = [(s, p) for s, string in enumerate(channel.strings, 1) for p in range(1, len(string) + 1)]
    igniters = tuple(
        _igniter(
            circuit,
            channel,
            name,
            kind,
            place,
            _refused(current, state),
            bound,
            nominal,
            supply,
            earlier,
            longest,
            state.rows[0] < 0,
        )
        for name, kind, place, current, bound in zip(names, kinds, places, currents[:-1], bounds, strict=True)
    )
    highest = max(high_side[-1].high, *(b.highest_channel_current for b in bounds))
    if not circuit.mosfets[channel.mosfet].thermal:
        junction = Spread.missing("degC", "the MOSFET has no thermal network")
    elif state.rows[0] < 0:
        junction = Spread.missing("degC", _refusal(state))
    else:
        junction = junction_temperature(
            circuit,
            channel,
            state,
            box,
            overlapping(circuit, channel),
            supply,
            nominal_current=low_side[-1].nominal,
            highest_current=highest,
            nominal_times=[i.function_time.nominal for i in igniters],
            earliest_times=[b.earliest for b in bounds],
        )
    return ChannelFiring(
        channel=channel.name,
        igniters=igniters,
        gate_voltage=Spread.of(state.gate_voltage),
        on_resistance=_on_resistance(state),
        current=_refused(currents[-1], state),
        mosfet_junction=junction,
        conducted_before=earlier,
        conductors=channel_conductors(circuit, channel, box, highest),
        turn_off=turn_off(circuit, channel, highest, supply.highest_current, junction.high),
    )


def _refusal(state: OnState) -> str:
    return (
        f"the gate may get only {state.gate_voltage.low:.3g} V, below the lowest on-resistance row: "
        "the data sheet does not say that the MOSFET is on"
    )


def _refused(current: Spread, state: OnState) -> Spread:
    """Withhold every bound that would need an on-resistance below the lowest data sheet row."""
    low, nominal, high = state.rows
    if low >= 0:
        return current
    return Spread(
        low=None,
        nominal=current.nominal if nominal >= 0 else None,
        high=current.high if high >= 0 else None,
        unit="A",
        reason=_refusal(state),
    )


def _on_resistance(state: OnState) -> Spread:
    value = Spread.of(state.on_resistance)
    if state.rows[0] >= 0:
        return value
    return replace(
        value,
        low=value.low if state.rows[2] >= 0 else None,
        nominal=value.nominal if state.rows[1] >= 0 else None,
        high=None,
        reason=_refusal(state),
    )


def _igniter(
    circuit: Circuit,
    channel: ChannelModel,
    name: str,
    kind: str,
    place: tuple[int, int],
    current: Spread,
    bound: IgniterBounds,
    nominal: _Nominal | None,
    supply: SupplyUnderFire,
    earlier: float,
    longest: float,
    outside: bool,
) -> IgniterFiring:
    model = circuit.igniters[kind]
    lowest = None if current.low is None else bound.lowest_current
    margin = None if model.all_fire_current is None or lowest is None else lowest / model.all_fire_current
    earliest, latest, reason = bound.earliest, bound.latest, bound.reason
    cause = Reason.MISSING_KEY if latest is None else Reason.WITHIN
    keys = bound.keys
    if latest is not None and math.isinf(latest):
        cause = Reason.EXCEEDED
    if current.low is None:
        latest, reason = math.inf, current.reason
        cause = Reason.OUTSIDE_DATA_SHEET if outside else Reason.EXCEEDED
    if current.high is None:
        earliest = None
    if latest is not None and math.isfinite(latest):
        since = latest + _since_first(circuit, channel)
        cut = supply.cut_before(earlier + latest, since) or _unproven(supply.cut_before(longest + latest, since))
        if cut is not None:
            latest, reason, cause, keys = math.inf, cut.says, cut.cause, cut.keys
    if latest is not None and channel.pulse.low < latest < math.inf:
        reason, cause = "the pulse may end before it functions", Reason.EXCEEDED
        latest = math.inf
    middle = None if nominal is None else nominal.function_time[name]
    if middle is not None and not math.isfinite(middle):
        middle = None
    if earliest is not None and earliest > channel.pulse.high:
        earliest = math.inf
    missing = reason
    if earliest is not None and math.isinf(earliest):
        missing = "does not function at any tolerance"
    time = _explained(
        earliest if earliest is not None and math.isfinite(earliest) else None,
        _between(middle, earliest, latest),
        latest if latest is not None and math.isfinite(latest) else None,
        "s",
        missing,
    )
    functions = _functions(earliest, latest)
    shortfall = _shortfall(circuit, model.all_fire) if functions == "always" else None
    return IgniterFiring(
        igniter=name,
        kind=kind,
        string=place[0],
        position=place[1],
        current=current,
        lowest_current=lowest,
        all_fire_margin=margin,
        function_time=time,
        functions="sometimes" if shortfall else functions,
        thermal_fraction=_explained(
            bound.least_fraction if current.low is not None else None,
            None if nominal is None else nominal.thermal_fraction[name],
            bound.greatest_fraction,
            "1",
            reason,
        ),
        reason=missing or shortfall,
        cause=Reason.BELOW_REQUIRED_RELIABILITY if shortfall else cause,
        keys=keys,
        corner=bound.corner,
    )


def _unproven(cut: Cut | None) -> Cut | None:
    """What interrupts only where an earlier igniter has not functioned in the time that its statement gives it."""
    if cut is None:
        return None
    says = f"{cut.says}: the all-fire statement of an earlier igniter is not reliable enough to end its current"
    return replace(cut, says=says, cause=Reason.BELOW_REQUIRED_RELIABILITY)


def _explained(low: float | None, nominal: float | None, high: float | None, unit: str, reason: str | None) -> Spread:
    """A spread that carries a reason exactly where a number is missing."""
    if None not in (low, nominal, high):
        reason = None
    else:
        reason = reason or "the nominal case does not function, or a statement that it needs is not given"
    return Spread(low=low, nominal=nominal, high=high, unit=unit, reason=reason)


def _between(middle: float | None, earliest: float | None, latest: float | None) -> float | None:
    """Nominal time; a nominal case that does not function has none."""
    if middle is None:
        return None
    low = -math.inf if earliest is None else earliest
    high = math.inf if latest is None else latest
    return middle if low * (1 - 1e-9) <= middle <= high * (1 + 1e-9) else None


def _functions(earliest: float | None, latest: float | None) -> str:
    if latest is not None and math.isfinite(latest):
        return "always"
    if earliest is not None and math.isinf(earliest):
        return "never"
    return "sometimes"


def _shortfall(circuit: Circuit, statement: StatementModel | None) -> str | None:
    """Why an all-fire statement is not enough for "always"; None where it is."""
    asked = circuit.required_reliability, circuit.required_confidence
    if statement is None or statement.meets(*asked):
        return None
    if statement.reliability is None or statement.confidence is None:
        lacking = [name for name in ("reliability", "confidence") if getattr(statement, name) is None]
        return f"the all-fire statement gives no {' and no '.join(lacking)}"
    return (
        f"the all-fire statement holds for {statement.reliability:g} of igniters at {100 * statement.confidence:.6g} % "
        f"confidence, {asked[0]:g} at {100 * asked[1]:.6g} % asked"
    )
