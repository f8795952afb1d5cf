"""Our solver and ngspice side by side, on the same networks and the same values."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np

from ignition.analyses.firing.sequence import igniter_list, march_circuit
from ignition.analyses.no_fire.corners import missing_keys
from ignition.analyses.no_fire.edge import Edge, edge_response
from ignition.circuit.model import Circuit
from ignition.network.elements import Network
from ignition.network.solution import solve
from ignition.network.template import adc_pin, igniter_names
from ignition.network.worst_case import Extreme, Probe, extremes
from ignition.spice.arming_case import arming_cases, edge_of
from ignition.spice.arming_deck import read_arming
from ignition.spice.cases import FiringCase, firing_cases, nominal_values, steady_cases
from ignition.spice.deck import operating_point_deck, read_operating_point
from ignition.spice.firing_deck import read_function_times
from ignition.spice.ngspice import run_deck, run_operating_points, version
from ignition.toleranced import Toleranced
from ignition.typing import BARE, HIDDEN, Key, Missing, Ratio

__all__ = [
    "AGREEMENT",
    "Comparison",
    "CrosscheckResult",
    "FLOORS",
    "OperatingPointRequest",
    "compare_operating_points",
    "crosscheck",
    "relative_difference",
    "requests_at_extremes",
]

FLOORS: Mapping[str, float] = {"A": 1e-12, "V": 1e-9, "s": 0.0, "J": 1e-9, "1": 1e-6}
"""Size below which two values count as equal, by unit [A], [V], [s], [J], [1]: both are then rounding error or the
simulator's own tolerance; a nanojoule is far below what any bridge needs."""

Kind = Literal["steady", "function time", "arming edge"]

AGREEMENT: Mapping[Kind, float] = {"steady": 1e-6, "function time": 1e-2, "arming edge": 1e-2}
"""Relative difference that counts as agreement, by what is compared [1]."""

_TOLERANCE = 3e-6
"""Of the steps of our own integration, finer than in an analysis [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One quantity computed both ways.

    Attributes
    ----------
    kind : What it is part of: an operating point or one of the transients
    ours, ngspice : The two values [unit]
    relative_difference : ``|a - b| / max(|a|, |b|)`` [1]; 0 where both lie below the floor of `FLOORS`, or only
        rounding is between them
    """

    kind: Annotated[Kind, HIDDEN]
    quantity: str
    ours: float
    ngspice: float
    unit: str
    relative_difference: float

    @property
    def reason(self) -> Annotated[str | None, Key("reason")]:
        """Why a value is infinite."""
        both = math.isfinite(self.ours) and math.isfinite(self.ngspice)
        return None if both else "does not function in one of the two, or in both"


@dataclass(frozen=True, slots=True, kw_only=True)
class CrosscheckResult:
    """All comparisons of one circuit."""

    circuit: str
    ngspice: str
    comparisons: tuple[Comparison, ...]
    left_out: tuple[str, ...]

    @property
    def worst(self) -> Annotated[Ratio, BARE, Key("worst"), Missing(infinite="an igniter functions in one only")]:
        """Largest relative difference [1]."""
        return max((c.relative_difference for c in self.comparisons), default=0.0)

    @property
    def agrees(self) -> Annotated[bool, Key("agrees")]:
        """Whether every comparison is within `AGREEMENT`."""
        return all(c.relative_difference <= AGREEMENT[c.kind] for c in self.comparisons)


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingPointRequest:
    """Some outputs of one network at one set of values.

    Attributes
    ----------
    values : Value of each parameter [SI]
    probes : The outputs; a voltage is one against ground
    """

    label: str
    network: Network
    values: Mapping[str, float]
    probes: tuple[Probe, ...]


def relative_difference(first: float, second: float, unit: str) -> float:
    """Difference of two values relative to the larger one.

    Parameters
    ----------
    first, second : Values [unit]; two infinite ones are equal
    unit : ``A``, ``V``, ``s``, ``J`` or ``1``

    Returns
    -------
    Relative difference [1]; 0 where both lie below the floor of `FLOORS`, or differ by less than a hundredth of it as
    rounding does; infinite where only one is finite

    Examples
    --------
    >>> relative_difference(1.0, 0.999, "A"), relative_difference(1e-14, -1e-14, "A")
    (0.0010000000000000009, 0.0)
    """
    if first == second:
        return 0.0
    if not (math.isfinite(first) and math.isfinite(second)):
        return math.inf
    largest, apart = max(abs(first), abs(second)), abs(first - second)
    return 0.0 if largest <= FLOORS[unit] or apart <= 0.01 * FLOORS[unit] else apart / largest


def requests_at_extremes(
    label: str, network: Network, box: Mapping[str, Toleranced], probes: Sequence[Probe]
) -> Iterator[OperatingPointRequest]:
    """Ask for all outputs at nominal, and for each output at its two worst corners.

    Parameters
    ----------
    box : Bounds [SI] by parameter name

    Yields
    ------
    One at nominal with all outputs, two for each output
    """
    nominal = nominal_values(network, box)
    yield OperatingPointRequest(label=f"{label}, nominal", network=network, values=nominal, probes=tuple(probes))
    found: list[Extreme] = extremes(network, box, probes)
    for probe, extreme in zip(probes, found, strict=True):
        for side, corner in (("low", extreme.low_at), ("high", extreme.high_at)):
            yield OperatingPointRequest(label=f"{label}, {side}", network=network, values=corner, probes=(probe,))


def compare_operating_points(requests: Sequence[OperatingPointRequest]) -> tuple[Comparison, ...]:
    """Solve operating points with our solver and with ngspice.

    Raises NgspiceError if ngspice is absent or a run is not acceptable.

    Returns
    -------
    One for each output, in order
    """
    decks = [operating_point_deck(r.network, r.values, r.label) for r in requests]
    comparisons: list[Comparison] = []
    for request, plot in zip(requests, run_operating_points(decks, timeout=120.0), strict=True):
        theirs = read_operating_point(plot, request.network)
        solution = solve(request.network, request.values)
        for probe in request.probes:
            if probe.element is not None:
                what, unit = f"current of {probe.element}", "A"
                pair = float(solution.current(probe.element)[0]), theirs.currents[probe.element]
            else:
                assert probe.node is not None
                what, unit = f"voltage of {probe.node}", "V"
                pair = float(solution.voltage(probe.node)[0]), theirs.voltages[probe.node]
            comparisons.append(_comparison("steady", f"{what}: {request.label}", *pair, unit))
    return tuple(comparisons)


def _comparison(kind: Kind, quantity: str, ours: float, ngspice: float, unit: str) -> Comparison:
    return Comparison(
        kind=kind,
        quantity=quantity,
        ours=ours,
        ngspice=ngspice,
        unit=unit,
        relative_difference=relative_difference(ours, ngspice, unit),
    )


def crosscheck(circuit: Circuit) -> CrosscheckResult:
    """Compare a circuit's numbers with ngspice.

    Both programs get the same values; that the corners are the worst ones is not proven here. A switch conducts from
    the start of its command: the delay of the gate is left out on both sides. At the arming edge one string is
    connected, and no protection diode helps.

    Raises NgspiceError if ngspice is absent or a run is not acceptable.

    Returns
    -------
    Igniter currents and converter voltage of each channel in each phase and line state, and firing currents: at nominal
        and at both worst corners of each; function times at nominal; peak gate voltage, peak current and energy of the
        arming edge at nominal, with each thing that may hold the gate, for the fastest and the slowest edge
    """
    requests: list[OperatingPointRequest] = []
    for case in steady_cases(circuit):
        probes = [Probe(element=name) for string in igniter_names(case.channel) for name in string]
        probes.append(Probe(node=adc_pin(case.channel)))
        requests += requests_at_extremes(case.label, case.network, case.box, probes)
    firing = firing_cases(circuit)
    for group in firing:
        probes = [Probe(element=name) for c in group.channels for string in igniter_names(c) for name in string]
        requests += requests_at_extremes(group.label, group.network, group.box, probes)
    comparisons = list(compare_operating_points(requests))
    left_out: list[str] = []
    for group in firing:
        reason = _no_transient(circuit, group)
        if reason:
            left_out.append(f"function times, {group.label}: {reason}")
        else:
            comparisons += _function_times(circuit, group)
    for channel in circuit.channels:
        missing = missing_keys(circuit, channel)
        if missing:
            left_out.append(f"switch-on, {channel.name}: not given: {', '.join(missing)}")
    comparisons += _arming_edges(circuit)
    return CrosscheckResult(
        circuit=circuit.name, ngspice=version(), comparisons=tuple(comparisons), left_out=tuple(left_out)
    )


def _no_transient(circuit: Circuit, group: FiringCase) -> str:
    """Why a group's function times are not compared; empty where they are."""
    battery = circuit.battery
    if battery.bank_capacitance is not None or battery.polarisation_resistance is not None:
        return "the deck holds the source voltage constant, the circuit has a capacitor bank or polarisation"
    names = [name for c in group.channels for string in igniter_names(c) for name in string]
    if any(name not in group.bridges for name in names):
        return "the threshold of an igniter is unknown"
    return ""


def _function_times(circuit: Circuit, group: FiringCase) -> list[Comparison]:
    members = igniter_list(circuit)
    models = [model for _, _, model in members]
    answer = march_circuit(
        circuit,
        {name: value.nominal for name, value in group.box.items()},
        threshold=np.array([m.threshold_nominal if m.threshold_nominal is not None else np.inf for m in models]),
        time_constant=np.array([m.time_constant.nominal or 1.0 for m in models]),
        only=[c.name for c in group.channels],
    )
    start = group.channels[0].start.nominal
    ours = {name: float(answer.function_time[i, 0]) - start for i, (_, name, _) in enumerate(members)}
    # a neighbour's change can delay a function far beyond what the first currents promise
    latest = max((ours[name] for name in group.bridges if np.isfinite(ours[name])), default=0.0)
    deck = group.deck(f"{circuit.title}: {group.label}", least_stop=1.5 * latest)
    assert deck is not None  # all bridges are known
    theirs = read_function_times(run_deck(deck, timeout=120.0).plot("transient"), group.network, group.bridges)
    ordered = sorted(group.bridges, key=lambda name: (ours[name], name))
    return [
        _comparison("function time", f"function time of {name}: {group.label}, nominal", ours[name], theirs[name], "s")
        for name in ordered
    ]


def _arming_edges(circuit: Circuit) -> list[Comparison]:
    cases = arming_cases(circuit)
    if not cases:
        return []
    edge, stops = Edge.joined([edge_of(case.parts) for case in cases]), np.array([case.stop for case in cases])
    ours = edge_response(edge, stops, _TOLERANCE, follow=stops)
    found = []
    for place, case in enumerate(cases):
        deck = case.deck(f"{circuit.title}: {case.label}")
        theirs = read_arming(run_deck(deck, timeout=120.0).plot("transient"))
        threshold, steady = case.parts.threshold, case.parts.no_fire_current
        gate = ours.peak_gate_voltage[place] / threshold, theirs.peak_gate_voltage / threshold
        current = ours.peak_current[place] / steady, theirs.peak_current / steady
        for what, (mine, other), unit in (
            ("peak gate voltage over the threshold", gate, "1"),
            ("peak igniter current over the steady threshold", current, "1"),
            ("igniter energy", (ours.energy[place], theirs.energy), "J"),
        ):
            found.append(_comparison("arming edge", f"{what}: {case.label}, nominal", float(mine), float(other), unit))
    return found
