"""One batch of trial firings: from drawn values to who functions when, resets, fuses and trips included."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ignition.analyses.firing.on_state import Settled
from ignition.analyses.firing.protective import BATTERY_PROTECTION
from ignition.analyses.firing.sequence import cluster_tree, march_arguments
from ignition.analyses.firing.supply import supply_under_fire
from ignition.analyses.firing.transient.march import march
from ignition.analyses.trials.inputs import TrialPlan
from ignition.circuit.model import Circuit
from ignition.parts.controller import hold_up_time
from ignition.typing import ArrayLike, BoolArray, FloatArray

__all__ = ["Guards", "TrialOutcome", "guards", "run_trials"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Guards:
    """What can end the current in some trial; what cannot at any tolerance is left out."""

    reset: bool
    fuses: tuple[str, ...]
    trip: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialOutcome:
    """What happens in a batch of B trials of k igniters.

    Attributes
    ----------
    function_time : From the driven pin of its channel [s], inf where it does not function, shape (k, B)
    available : From the driven pin to the end of the current: pulse, reset, fuse or trip [s], shape (k, B)
    peak_fraction : Highest thermal fraction [1], 1 where it functions, shape (k, B)
    lowest_voltage : Lowest voltage at the battery's terminals [V]; where a bank fires, at the bank's; where the
        controller takes its supply after the arm switch, at the bus; shape (B,)
    """

    function_time: FloatArray
    available: FloatArray
    peak_fraction: FloatArray
    lowest_voltage: FloatArray

    @property
    def all_function(self) -> BoolArray:
        """Whether every igniter of every channel functions, shape (B,)."""
        return np.asarray(np.isfinite(self.function_time).all(axis=0))

    def margin(self) -> FloatArray:
        """Limit state of the worst igniter, above 0 exactly where all function.

        Returns
        -------
        ln(time available / function time) where it functions, else ln of the highest thermal fraction [1], shape (B,)
        """
        time = np.maximum(self.function_time, 1e-12)
        with np.errstate(divide="ignore"):
            spare = np.maximum(np.log(np.maximum(self.available, 1e-12) / time), 1e-12)
            short = np.minimum(np.log(np.maximum(self.peak_fraction, 1e-12)), -1e-12)
        return np.asarray(np.where(np.isfinite(self.function_time), spare, short).min(axis=0))


def guards(circuit: Circuit) -> Guards:
    """Find what can end the current of a circuit's firing sequence."""
    supply = supply_under_fire(circuit, Settled(circuit))
    controller, battery = circuit.controller, circuit.battery
    rail = supply.controller_supply.low
    sags_later = battery.polarisation_resistance is not None or (
        battery.bank_capacitance is not None and not controller.powered_before_arm_switch
    )
    behind_bank = battery.bank_capacitance is not None and controller.powered_before_arm_switch
    reset = controller.brown_out is not None and (rail is None or sags_later or rail < controller.brown_out.high)
    # one whose opening time is not known has no plan of trials
    opening = [part for part in supply.parts if part.opens_after is not None and np.isfinite(part.opens_after)]
    fuses = tuple(part.name for part in opening if part.kind != BATTERY_PROTECTION)
    trip = any(part.kind == BATTERY_PROTECTION for part in opening)
    # a bank keeps its current from the battery: neither controller nor protection circuit sees the firing current
    return Guards(reset=reset and not behind_bank, fuses=fuses, trip=trip and battery.bank_capacitance is None)


def run_trials(plan: TrialPlan, guarded: Guards, values: Mapping[str, ArrayLike], size: int) -> TrialOutcome:
    """March a batch of trials.

    A reset without hold-up capacitor releases all gates at once and for good. With one, the gates are released when
    the capacitor, feeding the controller alone from the first moment of too low a voltage, is at brown-out; a voltage
    that recovers on the way does not help. A fuse adds up all its current, also what is below its rating. The
    protection circuit trips its delay after the first moment above its current. All three err on the side of
    'does not function'.

    Parameters
    ----------
    guarded : From `guards`
    values : From the plan's `draw` or `from_normal` [SI]
    size : Number of trials [1]
    """
    circuit = plan.circuit
    threshold, constant = plan.bridges(values, size)
    arguments = march_arguments(circuit, plan.at_ambient(values), turn_on_delay=plan.delays)
    if not circuit.controller.powered_before_arm_switch:
        arguments["terminal_resistance"] = arguments["source_resistance"]
    arguments |= {"threshold_current": threshold, "time_constant": constant}
    if guarded.fuses:
        melting = [np.asarray(values[f"feed.{n} i2t"], dtype=float) for n in guarded.fuses]
        arguments["fuse_i2t"] = np.min(np.stack(np.broadcast_arrays(*melting)), axis=0)
    if guarded.reset:
        _guard_reset(circuit, values, arguments)
    if guarded.trip:
        _guard_trip(circuit, values, arguments, size)
    result = march(cluster_tree(circuit), **arguments)
    channel = np.array(cluster_tree(circuit).channel_of_igniter)
    start, pulse = _rows(arguments["start"])[channel], _rows(arguments["pulse"])[channel]
    ended = np.minimum(result.release_time, result.fuse_time)
    return TrialOutcome(
        function_time=_full(result.function_time - start, size),
        available=_full(np.minimum(pulse, ended - start), size),
        peak_fraction=_full(result.peak_thermal_fraction, size),
        lowest_voltage=np.broadcast_to(result.lowest_terminal_voltage, (size,)),
    )


def _rows(member: FloatArray) -> FloatArray:
    """Quantity of the channels as (channels, 1 or size)."""
    return member if member.ndim == 2 else member[:, None]


def _full(rows: FloatArray, size: int) -> FloatArray:
    return np.broadcast_to(rows, (rows.shape[0], size))


def _guard_reset(circuit: Circuit, values: Mapping[str, ArrayLike], arguments: dict[str, Any]) -> None:
    """Give the march its release voltage, or where a capacitor holds the controller up, cut the pulses."""
    brown_out = np.asarray(values["controller.brown_out"], dtype=float)
    release = brown_out + np.asarray(values["controller.dropout"], dtype=float)
    if circuit.controller.hold_up_capacitance is None:
        arguments["release_voltage"] = release
        return
    supply, current, capacitance = (
        np.asarray(values[f"controller.{n}"], dtype=float) for n in ("supply", "current", "hold_up")
    )
    lasting = hold_up_time(capacitance, current, supply, brown_out)
    fell = march(cluster_tree(circuit), **(arguments | {"release_voltage": release})).release_time
    _cut(arguments, fell + lasting)


def _guard_trip(circuit: Circuit, values: Mapping[str, ArrayLike], arguments: dict[str, Any], size: int) -> None:
    """Cut the pulses where the battery's protection circuit disconnects."""
    trip = np.asarray(values["battery.trip_current"], dtype=float)
    delay = np.asarray(values["battery.trip_delay"], dtype=float)
    if arguments["polarisation"] is not None or not np.all(np.asarray(arguments["source_resistance"]) > 0.0):
        # the current cannot be read from a voltage: taken as tripping from the first start, where it ever would
        highest = march(cluster_tree(circuit), **arguments).highest_current
        first = _rows(arguments["start"]).min(axis=0)
        _cut(arguments, np.where(np.broadcast_to(highest, (size,)) >= trip, first + delay, np.inf))
        return
    source = arguments["source_resistance"]
    standing = sum((np.asarray(values[f"load.{n}"], dtype=float) for n, _ in circuit.loads), start=np.zeros(()))
    standing = standing + np.asarray(values["controller.current"], dtype=float)
    level = arguments["voltage"] - source * np.maximum(trip - standing, 0.0)
    probe = arguments | {"terminal_resistance": source, "release_voltage": np.nextafter(level, np.inf)}
    _cut(arguments, march(cluster_tree(circuit), **probe).release_time + delay)


def _cut(arguments: dict[str, Any], instant: FloatArray) -> None:
    """End all pulses at an instant at the latest, shape (trials,) [s]."""
    if np.all(np.isinf(instant)):
        return
    start, pulse = _rows(arguments["start"]), _rows(arguments["pulse"])
    arguments["start"] = np.broadcast_to(start, (start.shape[0], instant.shape[0]))
    arguments["pulse"] = np.clip(instant - start, 0.0, pulse)
