"""Hold-off: whether each gate is held off in each phase, at the arming edge and at the end of a pulse."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Annotated

from ignition.analyses.firing.firing import ChannelFiring, firing
from ignition.analyses.firing.turn_off import TurnOff
from ignition.analyses.no_fire.gate import ControllerState, phase_box
from ignition.analyses.no_fire.steady import PhaseNoFire, no_fire
from ignition.analyses.no_fire.switch_on import ChannelSwitchOn, EdgeResult, IgniterSwitchOn, switch_on
from ignition.analyses.verdict import judge_firing, judge_no_fire, judge_switch_on
from ignition.circuit.model import ChannelModel, Circuit
from ignition.findings.finding import Finding, Question, Verdict, worst_verdict
from ignition.network.template import State, build_network
from ignition.network.worst_case import Probe, extremes
from ignition.toleranced import Spread
from ignition.typing import BARE, HIDDEN, INLINE, Amps, Joules, Missing, Ratio, Seconds, Volts

__all__ = ["ChannelHoldOff", "HoldOff", "PhaseHoldOff", "PinState", "SwitchOnHoldOff", "TurnOffHoldOff", "hold_off"]

_STAYS = "the gate stays above its threshold"
_HELD = (Question.GATE, Question.IGNITER_CURRENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class PinState:
    """Gate with a controller that is alive or dead."""

    controller: ControllerState
    gate_voltage: Spread
    off_current: Spread


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseHoldOff:
    """One channel in one steady phase.

    Attributes
    ----------
    gate_voltage : Of the state in which the gate comes nearest to its threshold
    lowest_threshold : Lowest threshold, hot
    igniter : The igniter of least margin, whose current it is; the high end holds in every line state
    margin : Its no-fire current over its highest current
    """

    phase: str
    gate_voltage: Spread
    lowest_threshold: Volts
    igniter: str
    igniter_current: Spread
    margin: Annotated[Ratio | None, BARE, Missing(otherwise="no no-fire current is given, or no current flows")]
    thermal_fraction: Annotated[Ratio | None, Missing(otherwise="no no-fire current is given, or it may function")]
    verdict: Verdict
    states: tuple[PinState, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchOnHoldOff:
    """The arming edge of one channel.

    Attributes
    ----------
    igniter, held_by, edge : The igniter that comes nearest to function; what holds its gate then, and the rise time
    peak_gate_voltage, peak_igniter_current, igniter_energy, thermal_fraction, time_above_threshold : Highest of each
        over all igniters, corners, edges and what may hold the gate, by one closure of the switch
    bounced_thermal_fraction : After all closures of one throw
    bound : The same in closed form
    """

    igniter: str | None = None
    held_by: str | None = None
    edge: Seconds | None = None
    peak_gate_voltage: Volts | None = None
    peak_igniter_current: Amps | None = None
    igniter_energy: Annotated[Joules | None, Missing(infinite=_STAYS)] = None
    thermal_fraction: Ratio | None = None
    time_above_threshold: Annotated[Seconds | None, Missing(infinite=_STAYS)] = None
    closures: Annotated[int, BARE]
    bounced_thermal_fraction: Ratio | None = None
    peak_drain_voltage: Volts | None = None
    bound: EdgeResult | None = None
    verdict: Verdict
    reason: str | None = None
    worst: Annotated[IgniterSwitchOn | None, HIDDEN] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnOffHoldOff:
    """The end of a channel's pulse."""

    turn_off: Annotated[TurnOff, INLINE]
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelHoldOff:
    """One channel."""

    channel: str
    phases: tuple[PhaseHoldOff, ...]
    switch_on: SwitchOnHoldOff
    turn_off: TurnOffHoldOff


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldOff:
    """All channels of a circuit, and what is found of them."""

    circuit: str
    channels: tuple[ChannelHoldOff, ...]
    findings: Annotated[tuple[Finding, ...], HIDDEN]


def hold_off(circuit: Circuit) -> HoldOff:
    """Analyse what holds the gates off, and what flows where they are not held.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> reset = hold_off(load_example("kelp-line-cutter")).channels[0].phases[1]
    >>> reset.phase, reset.verdict, round(reset.gate_voltage.high, 3)
    ('reset', 'PASS', 0.011)
    """
    quiet, edge, fired = no_fire(circuit), switch_on(circuit, integrate=True), firing(circuit)
    found = (
        *judge_no_fire(circuit, quiet),
        *judge_switch_on(circuit, edge),
        *(f for f in judge_firing(circuit, fired) if f.question is Question.TURN_OFF),
    )
    return HoldOff(
        circuit=circuit.name,
        channels=tuple(
            ChannelHoldOff(
                channel=channel.name,
                phases=tuple(_phase(circuit, channel, phase, found) for phase in still.phases),
                switch_on=_switch_on(circuit, channel, rising, found),
                turn_off=_turn_off(channel, active, found),
            )
            for channel, still, rising, active in zip(
                circuit.channels, quiet.channels, edge.channels, fired.channels, strict=True
            )
        ),
        findings=found,
    )


def _verdict(found: Iterable[Finding], channel: ChannelModel, phase: str, *questions: Question) -> Verdict:
    return worst_verdict(f for f in found if (f.channel, f.phase) == (channel.name, phase) and f.question in questions)


def _phase(circuit: Circuit, channel: ChannelModel, phase: PhaseNoFire, found: tuple[Finding, ...]) -> PhaseHoldOff:
    least = phase.least
    box = phase_box(circuit, phase.phase, controller=least.worst.controller)
    intact = extremes(build_network(circuit, State(phase=phase.phase)), box, [Probe(element=least.igniter)])[0]
    # a current of either direction may be none at all
    low = 0.0 if intact.low <= 0.0 <= intact.high else min(abs(intact.low), abs(intact.high))
    nominal = abs(intact.nominal)
    return PhaseHoldOff(
        phase=phase.phase,
        gate_voltage=Spread.of(phase.gate.gate_voltage),
        lowest_threshold=phase.gate.lowest_threshold,
        igniter=least.igniter,
        igniter_current=Spread(low=min(low, nominal), nominal=nominal, high=max(least.current, nominal), unit="A"),
        margin=least.ratio,
        thermal_fraction=least.thermal_fraction,
        verdict=_verdict(found, channel, phase.phase, *_HELD),
        states=tuple(
            PinState(
                controller=gate.controller,
                gate_voltage=Spread.of(gate.gate_voltage),
                off_current=gate.off_current,
            )
            for gate in phase.gates
        ),
    )


def _switch_on(
    circuit: Circuit, channel: ChannelModel, edge: ChannelSwitchOn, found: tuple[Finding, ...]
) -> SwitchOnHoldOff:
    worst, closures = edge.worst, circuit.arm_switch.closures
    if not all(one.solved for one in edge.igniters):
        worst = None
    verdict = _verdict(found, channel, "switch-on", Question.SWITCH_ON)
    if worst is None:
        reason = "no igniter has a no-fire current above zero"
        if edge.missing:
            reason = f"not given: {', '.join(edge.missing)}"
        elif edge.igniters:
            reason = "the integration of the edge did not come to its end"
        return SwitchOnHoldOff(closures=closures, verdict=verdict, reason=reason)
    judged, bounds = [one.judged for one in edge.igniters], [one.bound for one in edge.igniters]
    return SwitchOnHoldOff(
        igniter=worst.igniter,
        held_by=worst.hold,
        edge=worst.edge,
        peak_gate_voltage=max(one.gate_voltage for one in judged),
        peak_igniter_current=max(one.current for one in judged),
        igniter_energy=max(one.energy for one in judged),
        thermal_fraction=max(one.thermal_fraction for one in judged),
        time_above_threshold=max(one.time_above_threshold for one in judged),
        closures=closures,
        bounced_thermal_fraction=worst.judged.bounced_fraction,
        peak_drain_voltage=max(one.drain_voltage for one in edge.igniters),
        bound=EdgeResult(**{f.name: max(getattr(one, f.name) for one in bounds) for f in fields(EdgeResult)}),
        verdict=verdict,
        worst=worst,
    )


def _turn_off(channel: ChannelModel, active: ChannelFiring, found: tuple[Finding, ...]) -> TurnOffHoldOff:
    return TurnOffHoldOff(turn_off=active.turn_off, verdict=_verdict(found, channel, "turn-off", Question.TURN_OFF))
