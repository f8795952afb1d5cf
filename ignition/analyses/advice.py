"""What would hold a gate off: pull-down, gate capacitor, slower edge, higher threshold, each with its cost."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from ignition.analyses.firing.sequence import turn_on
from ignition.analyses.hold_off import ChannelHoldOff, HoldOff
from ignition.analyses.no_fire.corners import EdgeCorners, holds
from ignition.analyses.no_fire.edge import Edge, edge_response
from ignition.analyses.no_fire.edge_bounds import after_closures
from ignition.analyses.no_fire.gate import (
    controller_rail,
    driven_gate_voltage,
    floating,
    gate_in_reset,
)
from ignition.analyses.no_fire.off_state import lowest_threshold
from ignition.analyses.no_fire.switch_on import IgniterSwitchOn, edge_times, horizon, switch_ons
from ignition.circuit.model import ChannelModel, Circuit
from ignition.parts.mosfet_transient import thermal_impedance
from ignition.parts.preferred import series_values
from ignition.toleranced import Toleranced
from ignition.typing import FloatArray, Missing, Ohms, Seconds, Unit, Volts

__all__ = ["Advice", "CapacitorAdvice", "PullDownAdvice", "advice"]

_PULL_DOWNS = (100.0, 1e6)
_CAPACITORS = (100e-12, 1e-6)
_SLOWEST = 0.1
_TOLERANCE = 1e-3
_STEP = 0.1
"""Between two thresholds that are tried [V]."""

_TRIED = 4
"""Values of a part that are analysed over all corners, from the one that should hold on."""

_NONE = "none that was tried holds"
_NO_FIT = "none that was tried holds, or the arming edge is not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class PullDownAdvice:
    """Largest pull-down for one reason, of the E24 series between 100 ohm and 1 Mohm, its tolerance included."""

    reason: str
    largest: Annotated[Ohms | None, Missing(otherwise=_NONE)]


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacitorAdvice:
    """Smallest capacitor from gate to ground, of the E6 series, that holds a gate at the edge which is not held yet.

    The edge is analysed again over all corners with it.

    Attributes
    ----------
    capacitor : To fit [F]
    with_pull_down : Pull-down that it is fitted with, which stays
    turn_on, turn_on_without : Longest time from the pin's edge to conduction, with it and with what is fitted now
    heating : Highest junction rise while the gate charges [K]; None where the thermal network is not given
    """

    capacitor: Annotated[float | None, Unit("F"), Missing(otherwise=_NONE)]
    with_pull_down: Ohms
    turn_on: Annotated[Seconds | None, Missing(otherwise=_NONE, infinite="the pin never drives the gate that far")]
    turn_on_without: Annotated[Seconds, Missing(infinite="the pin never drives the gate that far")]
    heating: Annotated[
        float | None, Unit("K"), Missing(otherwise="the thermal network is not given", infinite="it never turns on")
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What would hold the gates of one channel off.

    Attributes
    ----------
    pull_downs : The largest for each reason
    fit : Pull-down to fit: the next E12 value at or below half of the least of those with which the arming edge,
        analysed again over all corners, holds; above half where the pin would no longer drive the gate to `needed`
    gate_drive : Lowest gate voltage that the pin gives with it, of which the lowest row of on-resistance needs `needed`
    held_steadily : Whether the gate stays below its threshold in every steady phase
    slowest_edge : Rise time of the supply, by an edge limiter, from which on the gate holds as it is; zero where it
        holds at the fastest edge, None too where it is not held in every steady phase
    capacitor : None where the gate holds at the edge, has no pull-down, or is not held in every steady phase
    threshold : Lowest threshold at 25 degC of a switch that would hold with the parts as they are, at the edge and in
        every steady phase
    simplest : The first of these that costs nothing else, in words
    """

    channel: str
    pull_downs: tuple[PullDownAdvice, ...]
    fit: Annotated[Ohms | None, Missing(otherwise=_NO_FIT)]
    gate_drive: Annotated[Volts | None, Missing(otherwise=_NO_FIT)]
    needed: Volts
    held_steadily: bool
    capacitor: CapacitorAdvice | None
    slowest_edge: Annotated[Seconds | None, Missing(otherwise=_NONE)]
    threshold: Annotated[Volts | None, Missing(otherwise=_NONE)]
    simplest: str


def advice(circuit: Circuit, found: HoldOff) -> tuple[Advice, ...]:
    """Find what would hold the gates of each channel off.

    The arming edge is integrated at the worst corner of what is fitted now, with other values in place of one part's,
    for each thing that may hold the gate. A pull-down and a capacitor to fit are analysed again over all corners; the
    other limits are those of that corner, and another one may be a little worse.

    Parameters
    ----------
    found : The hold-off analysis of this circuit
    """
    return tuple(_channel(circuit, channel, one) for channel, one in zip(circuit.channels, found.channels, strict=True))


def _channel(circuit: Circuit, channel: ChannelModel, found: ChannelHoldOff) -> Advice:
    worst = found.switch_on.worst
    mosfet = circuit.mosfets[channel.mosfet]
    grid = series_values("E24", *_PULL_DOWNS)
    spread = 1.0 if channel.pull_down is None else channel.pull_down.high / channel.pull_down.nominal
    fitted = [replace(channel, pull_downs=(_about(value, spread),)) for value in grid]
    limit, rail = lowest_threshold(mosfet, circuit.ambient), controller_rail(circuit, "reset")
    nothing = Toleranced.exact(0.0, "V")
    in_reset = np.array([gate_in_reset(circuit, c, rail).high for c in fitted])
    dead = np.array([floating(circuit, c, nothing, reset=False, dead=True).high for c in fitted])
    pull_downs = [
        PullDownAdvice(reason="pin in reset", largest=_largest(grid, in_reset < limit)),
        PullDownAdvice(reason="leakage, controller dead", largest=_largest(grid, dead < limit)),
    ]
    if worst is not None:
        held = _fractions(circuit, channel, worst, pull_down=grid * spread) < 1.0
        pull_downs.append(PullDownAdvice(reason="arming edge", largest=_largest(grid, held)))
    least = [one.largest for one in pull_downs]
    fit, drive = None, None
    if worst is not None and None not in least:
        fit, drive = _fit(circuit, channel, min(value for value in least if value), spread)
    steady, capacitor, edge, threshold = _steady(found), None, None, None
    if worst is not None:
        threshold = _threshold(circuit, channel, found, worst)
        if steady and worst.judged.bounced_fraction >= 1.0 and channel.pull_down is not None:
            capacitor = _capacitor(circuit, channel, worst, channel.pull_down)
        if steady:  # neither is of use where a gate rests above its threshold
            edge = _slowest_edge(circuit, channel, worst)
    row = mosfet.rows[0].gate
    return Advice(
        channel=channel.name,
        pull_downs=tuple(pull_downs),
        fit=fit,
        gate_drive=drive,
        needed=row,
        held_steadily=steady,
        capacitor=capacitor,
        slowest_edge=edge,
        threshold=threshold,
        simplest=_simplest(found, fit, drive, row, capacitor, threshold),
    )


def _fit(circuit: Circuit, channel: ChannelModel, most: float, spread: float) -> tuple[float | None, float | None]:
    """Pull-down to fit [ohm] and the lowest gate voltage that the pin drives with it [V]."""
    rail, row = controller_rail(circuit, "armed"), circuit.mosfets[channel.mosfet].rows[0].gate
    values = [value for value in series_values("E12", 1.0, _PULL_DOWNS[1])[::-1].tolist() if value <= most]
    fitted = {value: replace(channel, pull_downs=(_about(value, spread),)) for value in values}
    drives = {value: driven_gate_voltage(circuit, other, rail).low for value, other in fitted.items()}
    driven = [value for value in values if drives[value] >= row]
    for tried in (
        [value for value in driven if value <= 0.5 * most],
        [value for value in reversed(driven) if value > 0.5 * most],
        [value for value in values if value <= 0.5 * most and value not in driven],
    ):
        fit = _first(circuit, channel, [fitted[value] for value in tried[:_TRIED]], tried[:_TRIED])
        if fit is not None:
            return fit, drives[fit]
    return None, None


def _slowest_edge(circuit: Circuit, channel: ChannelModel, worst: IgniterSwitchOn) -> float | None:
    """Rise time from which on the gate holds with the parts as they are [s]; zero where every edge is."""
    times = np.geomspace(edge_times(circuit)[0], _SLOWEST, 57)
    held = _fractions(circuit, channel, worst, rise_time=times) < 1.0
    slowest = _largest(1.0 / times[::-1], held[::-1])
    if slowest is None:
        return None
    return 0.0 if 1.0 / slowest <= times[0] * (1.0 + 1e-9) else 1.0 / slowest


def _threshold(circuit: Circuit, channel: ChannelModel, found: ChannelHoldOff, worst: IgniterSwitchOn) -> float | None:
    """Lowest threshold at 25 degC with which the gate holds at the edge and, with a step to spare, steadily [V]."""
    thresholds = np.arange(0.2, 8.01, _STEP)
    needed = _largest(-thresholds[::-1], (_fractions(circuit, channel, worst, threshold=thresholds) < 1.0)[::-1])
    if needed is None:
        return None
    drift = circuit.mosfets[channel.mosfet].threshold_drift.low
    steady = [(phase.gate_voltage.high or 0.0) + _STEP for phase in found.phases]
    return round(max(-needed, *steady) - drift * max(circuit.ambient.high - 25.0, 0.0), 3)


def _first(circuit: Circuit, channel: ChannelModel, changed: list[ChannelModel], values: list[float]) -> float | None:
    """The first of some values of a part with which no corner of the arming edge makes an igniter function."""
    circuits = [_with(circuit, channel, other) for other in changed]
    place = circuit.channels.index(channel)
    held = [
        all(one.solved and one.judged.bounced_fraction < 1.0 for one in found.channels[place].igniters)
        for found in switch_ons(circuits)
    ]
    return next((value for value, holds_it in zip(values, held, strict=True) if holds_it), None)


def _with(circuit: Circuit, channel: ChannelModel, changed: ChannelModel) -> Circuit:
    """The circuit with one channel changed."""
    return replace(circuit, channels=tuple(changed if one is channel else one for one in circuit.channels))


def _about(value: float, spread: float) -> Toleranced:
    return Toleranced(low=value * (2.0 - spread), nominal=value, high=value * spread, unit="ohm")


def _largest(values: FloatArray, held: np.ndarray) -> float | None:
    """The last of ascending values up to which all hold."""
    count = len(held) if held.all() else int(np.argmin(held))
    return float(values[count - 1]) if count else None


def _fractions(
    circuit: Circuit,
    channel: ChannelModel,
    worst: IgniterSwitchOn,
    *,
    rise_time: FloatArray | None = None,
    **other: FloatArray,
) -> FloatArray:
    """Highest thermal fraction after all closures [1] for each of some values of a part."""
    count = len(rise_time) if rise_time is not None else len(next(iter(other.values())))
    ends = {name: np.full(count, end) for name, end in worst.ends.items()}
    times = np.full(count, edge_times(circuit)[0]) if rise_time is None else rise_time
    made = []
    for hold in holds(circuit):
        maker = EdgeCorners(circuit=circuit, channel=channel, igniter=circuit.igniters[worst.kind], hold=hold)
        path = np.full(count, 0 if hold == "in reset" else 1)
        for shape in (0, 1):
            corner = ends | {"shape": np.full(count, shape), "path": path, "threshold": np.zeros(count, dtype=int)}
            made.append(maker.edges(corner, times, **dict(other)))
    edge = Edge.joined(made)
    response = edge_response(edge, horizon(edge), _TOLERANCE)
    fractions = after_closures(edge, response.thermal_fraction, response.peak_current, worst.closures)
    return np.asarray(np.where(response.solved, fractions, np.inf).reshape(-1, count).max(axis=0))


def _capacitor(
    circuit: Circuit, channel: ChannelModel, worst: IgniterSwitchOn, pull_down: Toleranced
) -> CapacitorAdvice:
    mosfet, grid = circuit.mosfets[channel.mosfet], series_values("E6", *_CAPACITORS)
    held = _fractions(circuit, channel, worst, capacitor=grid, pull_down=np.full(len(grid), pull_down.high)) < 1.0
    found = None
    if held.any() and held[int(np.argmax(held)) :].all():
        first = int(np.argmax(held))
        values = [float(value) for value in grid[first : first + _TRIED]]
        changed = [replace(channel, gate_capacitor=Toleranced.exact(value, "F")) for value in values]
        found = _first(circuit, channel, changed, values)
    drive = driven_gate_voltage(circuit, channel, controller_rail(circuit, "armed")).low
    place = circuit.channels.index(channel)
    fitted = replace(channel, gate_capacitor=None if found is None else Toleranced.exact(found, "F"))
    delay = turn_on(_with(circuit, channel, fitted), place, drive, "high")
    heating = None
    if found is not None and mosfet.thermal:
        supply = circuit.battery.voltage.high
        line = float(worst.worst.line_resistance[0] + worst.worst.bridge_resistance[0])
        stages = [stage.high for stage, _ in mosfet.thermal], [constant.low for _, constant in mosfet.thermal]
        heating = 0.25 * supply**2 / line * float(thermal_impedance(delay, *stages))
    return CapacitorAdvice(
        capacitor=found,
        with_pull_down=pull_down.nominal,
        turn_on=None if found is None else delay,
        turn_on_without=turn_on(circuit, place, drive, "high"),
        heating=heating,
    )


def _steady(found: ChannelHoldOff) -> bool:
    """Whether the gate stays below its threshold in every steady phase."""
    highest = [(phase.gate_voltage.high, phase.lowest_threshold) for phase in found.phases]
    return all(gate is not None and gate < threshold for gate, threshold in highest)


def _simplest(
    found: ChannelHoldOff,
    fit: float | None,
    drive: float | None,
    row: float,
    capacitor: CapacitorAdvice | None,
    threshold: float | None,
) -> str:
    worst, steady = found.switch_on.worst, _steady(found)
    if worst is None:
        return f"not known, for the arming edge is not: {found.switch_on.reason}"
    if steady and worst.judged.bounced_fraction < 1.0:
        return "what is fitted holds"
    if fit is not None and drive is not None and drive >= row:
        return "a smaller pull-down: the pin still drives the gate to the lowest row of on-resistance"
    if capacitor is not None and capacitor.capacitor is not None:
        return "a gate capacitor: a pull-down that holds alone would take too much of the gate drive, or there is none"
    if threshold is not None:
        return "a switch of higher threshold: neither pull-down nor capacitor holds this one"
    return "nothing tried holds this gate: change the circuit"
