"""No-fire: can anything reach the no-fire current while nobody commands, in each phase, and by what margin."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Annotated

from ignition.analyses.no_fire.gate import ControllerState, GateState, controller_states, gate_in_phase, phase_box
from ignition.circuit.model import ChannelModel, Circuit, IgniterModel
from ignition.findings.corner import Corner, corner_of
from ignition.network.elements import KNEE_VOLTAGE
from ignition.network.template import (
    SOME_OPEN,
    State,
    build_network,
    connected_igniters,
    igniter_kinds,
    igniter_names,
)
from ignition.network.worst_case import NEGLIGIBLE, Extreme, Probe, extremes
from ignition.parts.igniter import steady_thermal_fraction
from ignition.toleranced import Toleranced
from ignition.typing import HIDDEN, INLINE, Amps, Decibels, Key, Missing, Ratio

__all__ = [
    "ChannelNoFire",
    "IgniterNoFire",
    "NoFire",
    "PhaseNoFire",
    "STEADY_PHASES",
    "Uncommanded",
    "no_fire",
    "uncommanded_states",
]

STEADY_PHASES = ("disarmed", "reset", "armed")

_FUNCTIONS = "the igniter may function at the hottest ambient without any current"

_INSULATION = 1e12
"""Resistance of another channel's line that is open [ohm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncommanded:
    """Highest current, in either direction, that flows somewhere while nobody commands, and where it does so."""

    current: Amps
    line_state: str
    controller: ControllerState
    corner: Annotated[Corner, HIDDEN]


@dataclass(frozen=True, slots=True, kw_only=True)
class IgniterNoFire:
    """One igniter in one phase.

    Attributes
    ----------
    limit : Lowest no-fire threshold; None where it is not given
    growth : Least relative growth of the bridge resistance up to function
    """

    igniter: str
    kind: Annotated[str, HIDDEN]
    worst: Annotated[Uncommanded, HIDDEN]
    limit: Annotated[Amps | None, Key("no_fire")]
    growth: Annotated[Ratio, HIDDEN]

    @property
    def line_state(self) -> Annotated[str, Key("line_state")]:
        """Line state in which the current is highest."""
        return self.worst.line_state

    @property
    def controller(self) -> Annotated[str, Key("controller")]:
        """Whether the controller is alive or dead then."""
        return self.worst.controller

    @property
    def current(self) -> Annotated[Amps, Key("igniter_current")]:
        """Highest current, in either direction."""
        return self.worst.current

    @property
    def ratio(self) -> Annotated[Ratio | None, Key("margin")]:
        """Limit over current; None where one is missing or no current flows."""
        return None if self.limit is None or self.current == 0.0 else self.limit / self.current

    @property
    def decibel(self) -> Annotated[Decibels | None, Key("margin_db"), Missing(otherwise=_FUNCTIONS)]:
        """The same as a level."""
        return None if not self.ratio else 20.0 * math.log10(self.ratio)

    @property
    def thermal_fraction(self) -> Annotated[Ratio | None, Key("thermal_fraction"), Missing(otherwise=_FUNCTIONS)]:
        """Share of the function temperature's rise that the current holds for ever."""
        if self.limit is None:
            return None
        share = float(steady_thermal_fraction(self.current, self.limit, self.growth))
        return share if math.isfinite(share) else None

    @property
    def reason(self) -> str | None:
        """Why the margin is missing."""
        if self.limit is None:
            return f"igniter {self.kind!r} has no no-fire current"
        if self.limit <= 0.0:
            return f"igniter {self.kind!r} may function at the hottest ambient without any current"
        return "no current flows" if self.current == 0.0 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseNoFire:
    """One channel in one phase: each igniter, the line, a short in place of the igniters, the converter's clamps.

    Attributes
    ----------
    bus_clamp, pull_up_clamp : At the input of the divider at the bus, and at the pin of the pull-up at the drain, where
        there is one
    """

    phase: str
    igniters: tuple[IgniterNoFire, ...]
    line: Uncommanded
    into_short: Uncommanded
    clamp: Uncommanded
    bus_clamp: Annotated[Uncommanded | None, HIDDEN]
    pull_up_clamp: Annotated[Uncommanded | None, HIDDEN]
    gates: Annotated[tuple[GateState, ...], HIDDEN]

    @property
    def least(self) -> Annotated[IgniterNoFire, Key("least"), INLINE]:
        """The igniter of least margin; one whose limit is not known comes first."""

        def closeness(one: IgniterNoFire) -> tuple[float, float]:
            return one.current / one.limit if one.limit else math.inf, one.current

        return max(self.igniters, key=closeness)

    @property
    def gate(self) -> Annotated[GateState, Key("gate"), INLINE]:
        """The gate nearest to conduction, controller alive or dead."""
        return max(self.gates, key=lambda gate: gate.gate_voltage.high)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelNoFire:
    """All steady phases of one channel."""

    channel: str
    phases: tuple[PhaseNoFire, ...]

    @property
    def current_into_short(self) -> Annotated[Amps, Key("current_into_short")]:
        """Highest current that the line drives into a short in place of the igniters."""
        return max(phase.into_short.current for phase in self.phases)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoFire:
    """No-fire margins of a circuit."""

    circuit: str
    channels: tuple[ChannelNoFire, ...]


def no_fire(circuit: Circuit) -> NoFire:
    """Analyse the highest uncommanded igniter current in the phases disarmed, reset and armed.

    The current is the exact worst corner over all tolerances, with leakage, sub-threshold and channel conduction of
    the MOSFET, of the intact line, and of a cluster in which all strings but one are open: spent, or not connected yet;
    the one left takes the whole current, more than in any other choice of open strings, and most where all its igniters
    but one are shorted. The controller is alive or dead; a dead one's clamp leads to ground. Other channels' lines are
    intact or open.
    """
    return NoFire(
        circuit=circuit.name,
        channels=tuple(
            ChannelNoFire(
                channel=channel.name, phases=tuple(_phase(circuit, channel, phase) for phase in STEADY_PHASES)
            )
            for channel in circuit.channels
        ),
    )


def _phase(circuit: Circuit, channel: ChannelModel, phase: str) -> PhaseNoFire:
    found: dict[str, Uncommanded] = {}
    lead, clamp = f"{channel.name}.lead out", f"{channel.name}.clamp"
    at_bus, pull_up = f"{channel.name}.bus clamp", f"{channel.name}.pull-up clamp"
    fitted = {at_bus: channel.bus_divider, pull_up: channel.pull_up}
    shared = [lead, clamp, *(name for name, part in fitted.items() if part is not None)]
    for controller in controller_states(circuit, phase):
        bounds = phase_box(circuit, phase, controller=controller)
        for label, state, box, own in uncommanded_states(circuit, channel, phase, bounds):
            names, network = [*own, *shared], build_network(circuit, state)
            for settled in _leaking(circuit, channel, box) if phase == "disarmed" else (box,):
                worst = extremes(network, settled, [Probe(element=n) for n in names])
                for name, extreme in zip(names, worst, strict=True):
                    key = "short" if (name, label) == (lead, "shorted") else name
                    one = _uncommanded(circuit, extreme, settled, label, controller)
                    if key not in found or one.current > found[key].current:
                        found[key] = one
    return PhaseNoFire(
        phase=phase,
        igniters=tuple(
            _igniter(name, circuit.igniters[kind], found[name]) for name, kind in igniter_kinds(channel).items()
        ),
        line=found[lead],
        into_short=found["short"],
        clamp=found[clamp],
        bus_clamp=found.get(at_bus),
        pull_up_clamp=found.get(pull_up),
        gates=tuple(
            gate_in_phase(circuit, channel, phase, controller) for controller in controller_states(circuit, phase)
        ),
    )


def _igniter(name: str, model: IgniterModel, worst: Uncommanded) -> IgniterNoFire:
    return IgniterNoFire(igniter=name, kind=model.name, worst=worst, limit=model.threshold_low, growth=model.growth.low)


def uncommanded_states(
    circuit: Circuit, channel: ChannelModel, phase: str, box: Mapping[str, Toleranced]
) -> Iterator[tuple[str, State, dict[str, Toleranced], list[str]]]:
    """List what a line can be in while nobody commands: its name, the state, parameter bounds, igniters with current.

    Intact, shorted, all strings but one open, and all igniters of that one shorted but one. The other channels' leads
    are widened until they are open: then they load and sag the battery no more. A bridge of this channel has any
    resistance down to that at function: one whose resistance falls draws more on its way.

    Parameters
    ----------
    box : Parameter bounds [SI]
    """
    wide = dict(box)
    for other in circuit.channels:
        if other is not channel:
            wide[f"{other.name}.lead"] = replace(box[f"{other.name}.lead"], high=_INSULATION)
    for name, kind in igniter_kinds(channel).items():
        wide[name] = replace(box[name], low=circuit.igniters[kind].heated.low)
    if channel.pull_up is not None:  # its pin may also be low
        held, path = f"{channel.name}.pull-up clamp voltage", channel.pull_up.low
        wide[held] = replace(box[held], low=KNEE_VOLTAGE)
        behind = wide[f"{channel.name}.pull-up clamp resistance"]
        low = min(behind.low, path + circuit.controller.pin.output_resistance.low)
        wide[f"{channel.name}.pull-up clamp resistance"] = replace(behind, low=low)
    intact = State(phase=phase)
    yield "intact", intact, wide, connected_igniters(channel, intact)
    yield "shorted", State(phase=phase, lines={channel.name: "shorted"}), wide, []
    strings = igniter_names(channel)
    for index, names in enumerate(strings):
        others = frozenset(range(len(strings))) - {index}
        left = State(phase=phase, lines={channel.name: SOME_OPEN}, open_strings=others)
        if others:
            yield f"only string {index + 1} connected", left, wide, list(names)
        for position, name in enumerate(names if len(names) > 1 else (), start=1):
            alone = wide | {n: Toleranced.exact(0.0, "ohm") for n in names if n != name}
            yield f"only igniter {index + 1}.{position} not shorted", left, alone, [name]


def _leaking(circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced]) -> Iterator[dict[str, Toleranced]]:
    """Leakages behind an open arm switch: all into a channel and out at the others, the other way, or into every pin.

    Nothing else drives a current there, and each leakage drives the channel's current one way; a MOSFET that is off
    draws from the side that the current flows to. With these settled no branch's current turns round, as it would in
    the mesh of all lines for leakages of either sign, where a search may miss the worst corner.
    """
    for into_own, into_others in ((True, False), (False, True), (True, True)):
        settled = dict(box)
        for each in circuit.channels:
            into = into_own if each is channel else into_others
            ends = {f"{each.name}.adc leakage": into, f"{each.name}.off current": into}
            if each.bus_divider is not None:
                ends[f"{each.name}.bus adc leakage"] = into_others
            for key, low in ends.items():  # both count as currents to ground
                settled[key] = Toleranced.exact(box[key].low if low else box[key].high, "A")
        yield settled


def _uncommanded(
    circuit: Circuit, extreme: Extreme, box: Mapping[str, Toleranced], label: str, controller: ControllerState
) -> Uncommanded:
    high = extreme.high >= -extreme.low
    size = max(-extreme.low, extreme.high)
    return Uncommanded(
        current=0.0 if size < NEGLIGIBLE else size,
        line_state=label,
        controller=controller,
        corner=corner_of(extreme, box, circuit.ambient.high, high=high),
    )
