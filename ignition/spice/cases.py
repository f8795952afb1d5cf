"""Which states of a circuit are written as decks and compared, with their networks, bounds and nominal values."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from ignition.analyses.firing.on_state import firing_network, on_states
from ignition.analyses.firing.schedule import nominal_groups
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.elements import Network
from ignition.network.solution import solve
from ignition.network.template import State, build_network, igniter_names, line_states
from ignition.parts.igniter import function_time
from ignition.spice.firing_deck import Bridge, Pulse, firing_deck
from ignition.toleranced import Toleranced

__all__ = [
    "FiringCase",
    "STEADY_PHASES",
    "SteadyCase",
    "firing_cases",
    "nominal_values",
    "steady_cases",
]

STEADY_PHASES = ("disarmed", "reset", "armed")
"""Phases whose operating points are written, in order of use."""

_STEPS = 1000  # time steps up to the first function
_MOST_STEPS = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadyCase:
    """One phase and line state of one channel, all other lines intact.

    Attributes
    ----------
    channel : The channel whose line is in that state
    box : Bounds of every parameter [SI]
    """

    phase: str
    line: str
    channel: ChannelModel
    network: Network
    box: Mapping[str, Toleranced]

    @property
    def label(self) -> str:
        """Phase, channel and line state in words."""
        return f"{self.phase}, {self.channel.name} {self.line}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FiringCase:
    """Channels whose pulses overlap, all lines intact, with the thermal values at nominal.

    Attributes
    ----------
    box : Bounds of every parameter [SI]
    pulses : MOSFET elements and their pulses from the first start of the group
    """

    channels: tuple[ChannelModel, ...]
    network: Network
    box: Mapping[str, Toleranced]
    bridges: Mapping[str, Bridge]
    pulses: Mapping[str, Pulse]

    @property
    def label(self) -> str:
        """The channels in words."""
        return f"firing {' and '.join(c.name for c in self.channels)}"

    def deck(self, title: str, notes: tuple[str, ...] = (), least_stop: float = 0.0) -> str | None:
        """Write the transient at nominal, to `least_stop` [s] at least; None where no bridge's threshold is known."""
        if not self.bridges:
            return None
        values = nominal_values(self.network, self.box)
        stop, step = _firing_times(self, values, least_stop)
        return firing_deck(
            self.network, values, title, bridges=self.bridges, pulses=self.pulses, stop=stop, step=step, notes=notes
        )


def nominal_values(network: Network, box: Mapping[str, Toleranced]) -> dict[str, float]:
    """Take every parameter of a network at nominal [SI].

    Parameters
    ----------
    box : Bounds [SI] by parameter name
    """
    return {name: box[name].nominal for name in network.parameters}


def steady_cases(circuit: Circuit) -> Iterator[SteadyCase]:
    """List every phase and line state that has an operating point.

    Yields
    ------
    Phase by phase, channel by channel. A line state that leaves a node without any tie (an open line while disarmed)
        has none and is left out, as is ``not armed`` in phase ``disarmed``, which is the intact line there
    """
    for phase in STEADY_PHASES:
        box = phase_box(circuit, phase)
        for channel in circuit.channels:
            for line in line_states(channel):
                lines = {} if line == "intact" else {channel.name: line}
                network = build_network(circuit, State(phase=phase, lines=lines))
                if not network.floating_nodes() and not (phase == "disarmed" and line == "not armed"):
                    yield SteadyCase(phase=phase, line=line, channel=channel, network=network, box=box)


def firing_cases(circuit: Circuit) -> tuple[FiringCase, ...]:
    """List the firing transients of a circuit.

    Returns
    -------
    One for each group of channels whose nominal pulses overlap
    """
    cases = []
    for channels in nominal_groups(circuit):
        commanded = frozenset(c.name for c in channels)
        _, box = on_states(circuit, commanded)
        first = channels[0].start.nominal
        pulses = {
            f"{c.name}.mosfet": Pulse(start=c.start.nominal - first, stop=c.start.nominal - first + c.pulse.nominal)
            for c in channels
        }
        cases.append(
            FiringCase(
                channels=channels,
                network=firing_network(circuit, commanded),
                box=box,
                bridges=_bridges(circuit, channels),
                pulses=pulses,
            )
        )
    return tuple(cases)


def _bridges(circuit: Circuit, channels: tuple[ChannelModel, ...]) -> dict[str, Bridge]:
    found: dict[str, Bridge] = {}
    for channel in channels:
        for names, kinds in zip(igniter_names(channel), channel.strings, strict=True):
            for name, kind in zip(names, kinds, strict=True):
                model = circuit.igniters[kind]
                if model.threshold_nominal is None or model.time_constant.nominal is None:
                    continue
                spent = model.spent_resistance
                found[name] = Bridge(
                    threshold=model.threshold_nominal,
                    time_constant=model.time_constant.nominal,
                    growth=model.growth.nominal,
                    spent_resistance=math.inf if spent is None else spent.nominal,
                )
    return found


def _firing_times(case: FiringCase, values: Mapping[str, float], least_stop: float) -> tuple[float, float]:
    """End and longest step of a transient: from the function times that the first currents would give."""
    solution = solve(case.network, values)
    currents = {name: abs(float(solution.current(name)[0])) for name in case.bridges}
    times = [
        float(function_time(currents[name], bridge.threshold, bridge.time_constant, growth=bridge.growth))
        for name, bridge in case.bridges.items()
    ]
    finite = [t for t in times if 0.0 < t < math.inf]
    end = max(pulse.stop for pulse in case.pulses.values())
    last = max(pulse.start for pulse in case.pulses.values())
    stop = min(end, max(last + 6.0 * max(finite), least_stop)) if len(finite) == len(times) else end
    step = min(finite, default=stop) / _STEPS
    return _rounded(stop), _rounded(max(step, stop / _MOST_STEPS))


def _rounded(time: float) -> float:
    """Three digits: a time of the simulation, not of the circuit, should not carry the rounding of a solver."""
    return float(f"{time:.2e}")
