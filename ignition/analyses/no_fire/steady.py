"""No-fire: can anything reach the no-fire current while nobody commands, in each phase, and by what margin."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.no_fire.gate import ControllerState, GateState, controller_states, gate_in_phase, phase_box
from ignition.circuit.model import ChannelModel, Circuit, IgniterModel
from ignition.findings.corner import Corner, corner_of
from ignition.network.template import State, build_network, connected_igniters, igniter_kinds
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
    "others_open",
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
        share = float(steady_thermal_fraction(self.current, max(self.limit, 0.0), self.growth))
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
    """One channel in one phase: each igniter, the line, a short in place of the igniters, the converter's clamp."""

    phase: str
    igniters: tuple[IgniterNoFire, ...]
    line: Uncommanded
    into_short: Uncommanded
    clamp: Uncommanded
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
    the one left takes the whole current, more than in any other choice of open strings. The controller is alive or
    dead; a dead one's clamp leads to ground. Other channels' lines are intact or open.
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
    for controller in controller_states(circuit, phase):
        box = others_open(circuit, channel, phase_box(circuit, phase, controller=controller))
        for label, state in uncommanded_states(channel, phase):
            own = [] if label == "shorted" else connected_igniters(channel, state)
            names = [*own, lead, clamp]
            worst = extremes(build_network(circuit, state), box, [Probe(element=n) for n in names])
            for name, extreme in zip(names, worst, strict=True):
                key = "short" if (name, label) == (lead, "shorted") else name
                one = _uncommanded(circuit, extreme, box, label, controller)
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
        gates=tuple(
            gate_in_phase(circuit, channel, phase, controller) for controller in controller_states(circuit, phase)
        ),
    )


def _igniter(name: str, model: IgniterModel, worst: Uncommanded) -> IgniterNoFire:
    return IgniterNoFire(igniter=name, kind=model.name, worst=worst, limit=model.threshold_low, growth=model.growth.low)


def uncommanded_states(channel: ChannelModel, phase: str) -> Iterator[tuple[str, State]]:
    """List what a line can be in while nobody commands: intact, shorted, or with all strings but one open."""
    yield "intact", State(phase=phase)
    yield "shorted", State(phase=phase, lines={channel.name: "shorted"})
    strings = frozenset(range(len(channel.strings)))
    for left in strings if len(strings) > 1 else ():
        lines = {channel.name: "some strings open"}
        yield f"only string {left + 1} connected", State(phase=phase, lines=lines, open_strings=strings - {left})


def others_open(circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced]) -> dict[str, Toleranced]:
    """Widen the leads of the other channels until they are open: then they load and sag the battery no more."""
    wide = dict(box)
    for other in circuit.channels:
        if other is not channel:
            lead = box[f"{other.name}.lead"]
            wide[f"{other.name}.lead"] = Toleranced(low=lead.low, nominal=lead.nominal, high=_INSULATION, unit="ohm")
    return wide


def _uncommanded(
    circuit: Circuit, extreme: Extreme, box: Mapping[str, Toleranced], label: str, controller: ControllerState
) -> Uncommanded:
    high = abs(extreme.high) >= abs(extreme.low)
    size = max(abs(extreme.low), abs(extreme.high))
    return Uncommanded(
        current=0.0 if size < NEGLIGIBLE else size,
        line_state=label,
        controller=controller,
        corner=corner_of(extreme, box, circuit.ambient.high, high=high),
    )
