"""No-fire: can anything reach the no-fire current while nobody commands, in each phase, and by what margin."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ignition.analyses.no_fire.gate import GateState, gate_in_phase, phase_box
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.template import State, build_network, igniter_names, line_states
from ignition.network.worst_case import NEGLIGIBLE, Extreme, Probe, extremes
from ignition.parts.igniter import steady_thermal_fraction

__all__ = ["ChannelNoFire", "NoFire", "PhaseNoFire", "no_fire"]

STEADY_PHASES = ("disarmed", "reset", "armed")


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseNoFire:
    """One channel in one phase.

    Attributes
    ----------
    current : Highest igniter current, either direction [A]
    limit : Lowest no-fire threshold of that igniter [A]; None where it is not given
    ratio, decibel, thermal_fraction : Margin as limit over current [1], in dB, and as share of the function
        temperature's rise [1]
    igniters : Every igniter with its highest current [A] and its lowest no-fire threshold [A], None where it is not
        given
    """

    phase: str
    igniter: str
    line_state: str
    current: float
    limit: float | None
    ratio: float | None
    decibel: float | None
    thermal_fraction: float | None
    gate: GateState
    igniters: tuple[tuple[str, float, float | None], ...]
    reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelNoFire:
    """All phases of one channel.

    Attributes
    ----------
    current_into_short : Highest current that the armed line drives into a short in place of the igniters [A]
    """

    channel: str
    phases: tuple[PhaseNoFire, ...]
    current_into_short: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NoFire:
    """No-fire margins of a circuit."""

    circuit: str
    channels: tuple[ChannelNoFire, ...]


def no_fire(circuit: Circuit) -> NoFire:
    """Analyse the highest uncommanded igniter current in the phases disarmed, reset and armed.

    The current is the exact worst corner over all tolerances, leakage, sub-threshold and channel conduction of the
    MOSFET included, of the intact line and, in a cluster, of the line with one string open, which leaves the others
    more.
    """
    boxes = {phase: phase_box(circuit, phase) for phase in STEADY_PHASES}
    channels = []
    for channel in circuit.channels:
        phases = []
        for phase in STEADY_PHASES:
            worst: dict[tuple[str, str], Extreme] = {}
            for line, state in _states(channel, phase):
                names = [n for string in igniter_names(channel) for n in string]
                found = extremes(build_network(circuit, state), boxes[phase], [Probe(element=n) for n in names])
                for name, extreme in zip(names, found, strict=True):
                    worst[name, line] = extreme
            phases.append(_phase(circuit, channel, phase, worst))
        channels.append(
            ChannelNoFire(channel=channel.name, phases=tuple(phases), current_into_short=_into_short(circuit, channel))
        )
    return NoFire(circuit=circuit.name, channels=tuple(channels))


def _states(channel: ChannelModel, phase: str) -> list[tuple[str, State]]:
    states = [("intact", State(phase=phase))]
    if "one string open" in line_states(channel):
        states += [
            ("one string open", State(phase=phase, lines={channel.name: "one string open"}, open_string=index))
            for index in range(len(channel.strings))
        ]
    return states


def _size(extreme: Extreme) -> float:
    size = max(abs(extreme.low), abs(extreme.high))
    return 0.0 if size < NEGLIGIBLE else size


def _phase(circuit: Circuit, channel: ChannelModel, phase: str, worst: dict[tuple[str, str], Extreme]) -> PhaseNoFire:
    kinds = {
        name: circuit.igniters[kind]
        for names, string in zip(igniter_names(channel), channel.strings, strict=True)
        for name, kind in zip(names, string, strict=True)
    }

    def closeness(key: tuple[str, str]) -> float:
        limit = kinds[key[0]].threshold_low
        return _size(worst[key]) / limit if limit else math.inf  # unknown, or already at its function temperature

    key = max(worst, key=lambda k: (closeness(k), _size(worst[k])))
    current, model = _size(worst[key]), kinds[key[0]]
    limit = model.threshold_low
    gate = gate_in_phase(circuit, channel, phase)
    if limit is None:
        reason = f"igniter {model.name!r} has no no-fire current"
        ratio = decibel = fraction = None
    elif limit == 0.0:
        reason = f"igniter {model.name!r} may function at the hottest ambient without any current"
        ratio, decibel, fraction = 0.0, None, None
    elif current == 0.0:
        reason, ratio, decibel, fraction = "no current flows", None, None, 0.0
    else:
        reason = None
        ratio = limit / current
        decibel = 20.0 * math.log10(ratio)
        fraction = float(steady_thermal_fraction(current, limit, model.growth.low))
        if not math.isfinite(fraction):
            fraction = None
    return PhaseNoFire(
        phase=phase,
        igniter=key[0],
        line_state=key[1],
        current=current,
        limit=limit,
        ratio=ratio,
        decibel=decibel,
        thermal_fraction=fraction,
        gate=gate,
        igniters=tuple(
            (name, max(_size(extreme) for (other, _), extreme in worst.items() if other == name), kind.threshold_low)
            for name, kind in kinds.items()
        ),
        reason=reason,
    )


def _into_short(circuit: Circuit, channel: ChannelModel) -> float:
    """Highest current that the armed line drives into a short in place of the igniters."""
    network = build_network(circuit, State(phase="armed", lines={channel.name: "shorted"}))
    found = extremes(network, phase_box(circuit, "armed"), [Probe(element=f"{channel.name}.bridging")])
    return _size(found[0])
