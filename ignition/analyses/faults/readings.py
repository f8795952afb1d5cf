"""What the converter reads under each set of faults, and whether that gives it away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ignition.analyses.continuity.bands import code_range, reference_voltage, remaining_charge
from ignition.analyses.continuity.thresholds import code_span
from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.changes import RAILS
from ignition.analyses.faults.loosened import loosened_lines
from ignition.analyses.faults.situations import Situation
from ignition.circuit.model import Circuit
from ignition.network.linear import Indices
from ignition.network.worst_case import Probe
from ignition.network.worst_members import bounds
from ignition.toleranced import Toleranced
from ignition.typing import BoolArray, FloatArray

__all__ = ["Measurement", "Readings", "inputs", "measurements", "node_voltages", "read"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One converter input that the firmware reads in a situation.

    Attributes
    ----------
    number : Place of its channel in the circuit
    """

    what: str
    channel: str
    phase: str
    node: str
    number: int

    @property
    def name(self) -> str:
        """Its name in reports."""
        return f"{self.channel} {self.what}"


def inputs(bench: Bench, situation: Situation) -> tuple[Measurement, ...]:
    """List every converter input that the firmware can read in a situation; none with a dead controller.

    A test by a pull-up reads the drain that it pulls up.
    """
    if situation.controller == "dead" or situation.woken or reference_voltage(bench.circuit).low <= 0.0:
        return ()
    every = tuple(
        Measurement(what=what, channel=line.name, phase=situation.phase, node=node, number=number)
        for number, line in enumerate(bench.board.lines)
        for what, node in line.inputs.items()
    )
    if not situation.tested:
        return every
    drains = (one for one in every if one.what == "drain" and one.channel == situation.tested)
    return tuple(replace(one, what="drain pulled up") for one in drains)


def measurements(bench: Bench, situation: Situation) -> tuple[Measurement, ...]:
    """List what the firmware reads in a situation: armed, or before arming where the file says so; alive."""
    early = {c.name for c in bench.circuit.channels if c.second is not None and c.second.before_arming}
    return tuple(
        one
        for one in inputs(bench, situation)
        if situation.phase == "armed"
        or situation.tested
        or (situation.phase == "disarmed" and one.what == "drain" and one.channel in early)
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """Readings of members of one situation.

    Attributes
    ----------
    measurements : What is read
    low, nominal, high : Reading before rounding [LSB], every error included, shape (m, measurements)
    silent : Whether the controller has no supply, so that nothing is read, shape (m,)
    """

    measurements: tuple[Measurement, ...]
    low: FloatArray
    nominal: FloatArray
    high: FloatArray
    silent: BoolArray

    def take(self, members: Indices) -> Readings:
        """Return the readings of some members.

        Parameters
        ----------
        members : Their places, shape (n,)
        """
        arrays = {name: getattr(self, name)[members] for name in ("low", "nominal", "high", "silent")}
        return Readings(measurements=self.measurements, **arrays)

    def apart(self, other: Readings) -> BoolArray:
        """Return which readings share no integer code with those of another member, shape (m, measurements).

        Parameters
        ----------
        other : One member in the same situation
        """
        (low, high), (least, most) = self.codes, other.codes
        return np.asarray(((high < least) | (low > most)) & ~self.silent[:, None])

    @property
    def codes(self) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest integer code of each reading [1], shape (m, measurements)."""
        return code_span(self.low, self.high)


def read(
    bench: Bench, situation: int, picks: Indices, asked: Sequence[Measurement] | None = None, starts: int = 2
) -> Readings:
    """Return the readings of sets of faults in one situation; the other channels' lines are intact or open.

    Parameters
    ----------
    situation : Its number
    picks : Numbers of the faults of each member, -1 for none, shape (m, k)
    asked : What is read; by default what the firmware reads there
    starts : Points from which the search for a corner starts [1]
    """
    circuit = bench.circuit
    asked = measurements(bench, bench.situations[situation]) if asked is None else asked
    members = Members.each([situation], picks)
    rail = bench.lines.rails[picks].max(axis=1, initial=0)
    shape = len(picks), len(asked)
    found = Readings(
        measurements=tuple(asked),
        low=np.zeros(shape),
        nominal=np.zeros(shape),
        high=np.zeros(shape),
        silent=rail == RAILS.index("none"),
    )
    passing = rail == RAILS.index("battery")
    for column, one in enumerate(asked):
        low, middle, high = node_voltages(bench, members, one.node, one.number, starts)
        for passes in (False, True):
            some = np.flatnonzero(passing == passes)
            codes = code_range(
                circuit.controller.adc,
                _reference(circuit, passes),
                low[some],
                middle[some],
                high[some],
                _left(circuit, one.number),
            )
            for target, values in zip((found.low, found.nominal, found.high), codes, strict=True):
                target[some, column] = values
    return found


def node_voltages(
    bench: Bench, members: Members, node: str, number: int | None, starts: int = 2
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return lowest, nominal and highest voltage of a node in each member [V], nan where it is not solved.

    Parameters
    ----------
    number : Channel whose line is as it is, while the others' are intact or open; None for all as they are
    starts : Points from which the search for a corner starts [1]
    """
    size = len(members.situations)
    found = np.full(size, np.nan), np.full(size, np.nan), np.full(size, np.nan)
    for batch in bench.batches(members):
        count = len(batch.first)
        boxes = batch.boxes
        if number is not None:
            boxes = loosened_lines(bench, boxes, np.full(count, number))
        weights = np.tile(Probe(node=node).weights(boxes.network), (count, 1))
        for target, values in zip(found, bounds(boxes, weights, starts), strict=True):
            target[batch.members] = np.where(batch.unsettled, np.nan, values)[batch.place]
    return found


def _reference(circuit: Circuit, passes: bool) -> Toleranced:
    """Reference of the converter [V]; that of a ratiometric one follows a regulator that passes the battery."""
    if passes and circuit.controller.adc.reference is None:
        return circuit.battery.voltage
    return reference_voltage(circuit)


def _left(circuit: Circuit, number: int) -> float:
    """Largest share of the sample capacitor's step that is missing, the drain held or free [1]."""
    channel = circuit.channels[number]
    box = {f"{channel.name}.upper": channel.upper, f"{channel.name}.lower": channel.lower}
    return max(remaining_charge(circuit, channel, line, box) for line in ("intact", "open"))
