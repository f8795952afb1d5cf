"""Findings on what flows, and what holds the gate, while nobody commands."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ignition.analyses.no_fire.steady import ChannelNoFire, IgniterNoFire, NoFire, PhaseNoFire, Uncommanded
from ignition.analyses.no_fire.switch_on import ChannelSwitchOn, IgniterSwitchOn, SwitchOn
from ignition.circuit.model import ChannelModel, Circuit
from ignition.findings.compare import Doubt, compare
from ignition.findings.corner import Corner
from ignition.findings.finding import Finding, Question, Reason
from ignition.findings.igniter import no_fire_doubt, no_fire_statement
from ignition.findings.presets import Rule, rule_limit, rules_in_use
from ignition.findings.values import data_sheet, left_out, resting
from ignition.network.template import igniter_kinds
from ignition.parts.mosfet import breakdown_at
from ignition.parts.mosfet_transient import avalanche_rating

__all__ = ["no_fire_findings", "switch_on_findings"]

_NOT_SOLVED = Doubt(reason=Reason.NOT_SOLVED, says="the integration of the edge did not come to its end")
_NOT_FOLLOWED = Doubt(
    reason=Reason.NOT_ANALYSED,
    says="the contact in the return may close last, on a charged line: that is only bounded, and the bound is beyond",
)


def no_fire_findings(circuit: Circuit, found: NoFire) -> Iterator[Finding]:
    """Judge every igniter, gate, converter pin and MOSFET in every steady phase."""
    for channel, quiet in zip(circuit.channels, found.channels, strict=True):
        yield from _own(circuit, channel, quiet)
        yield _blocking(circuit, channel)
        for rule in rules_in_use(circuit):
            for phase in quiet.phases:
                yield from _by_rule(circuit, channel, rule, phase)


def _own(circuit: Circuit, channel: ChannelModel, quiet: ChannelNoFire) -> Iterator[Finding]:
    sheet = data_sheet("MOSFET", channel.mosfet)
    for phase in quiet.phases:
        for one in phase.igniters:
            yield compare(
                Question.IGNITER_CURRENT,
                "below-no-fire",
                one.worst.current,
                "below",
                one.limit,
                "A",
                says=f"highest uncommanded current in {one.igniter} against its no-fire current",
                statement=no_fire_statement(circuit, one.kind),
                doubt=no_fire_doubt(circuit, one.kind),
                channel=channel.name,
                phase=phase.phase,
                line_state=one.worst.line_state,
                controller=one.worst.controller,
                igniter=one.igniter,
                corner=one.worst.corner,
                rests_on=resting(circuit, "safe"),
            )
        gate = phase.gate
        yield compare(
            Question.GATE,
            "gate-held-off",
            gate.gate_voltage.high,
            "below",
            gate.lowest_threshold,
            "V",
            says="highest gate voltage against the lowest threshold, hot",
            statement=sheet,
            channel=channel.name,
            phase=phase.phase,
            controller=gate.controller,
            corner=Corner(
                battery_voltage=circuit.battery.voltage.high,
                temperature=circuit.ambient.high,
                ends=(("threshold", "low"), ("pull-down", "high"), ("leakage", "high"), ("supply", "high")),
            ),
            rests_on=resting(circuit, "safe", "controller", "battery", "ambient", "mosfet", "channel"),
        )
        for worst, rule, where in (
            (phase.clamp, "pin-clamp-current", "the converter pin's clamp"),
            (phase.bus_clamp, "bus-pin-clamp-current", "the clamp of the pin at the bus divider"),
            (phase.pull_up_clamp, "pull-up-pin-current", "the pin of the pull-up at the drain"),
        ):
            if worst is not None:
                yield _pin(circuit, channel, phase, worst, rule, where)


def _pin(
    circuit: Circuit, channel: ChannelModel, phase: PhaseNoFire, worst: Uncommanded, rule: str, where: str
) -> Finding:
    return compare(
        Question.PIN,
        rule,
        worst.current,
        "at most",
        circuit.controller.pin.clamp_current_limit.low,
        "A",
        says=f"highest current into {where} against what the pin bears",
        statement=data_sheet("controller"),
        channel=channel.name,
        phase=phase.phase,
        line_state=worst.line_state,
        controller=worst.controller,
        corner=worst.corner,
        rests_on=resting(circuit, "safe"),
    )


def _blocking(circuit: Circuit, channel: ChannelModel) -> Finding:
    """A switch that breaks down below the battery's voltage conducts without being commanded."""
    breakdown = circuit.mosfets[channel.mosfet].breakdown
    key = f"mosfet.{channel.mosfet}.breakdown"
    missing = Doubt(reason=Reason.MISSING_KEY, says="no breakdown voltage is given", keys=(key,))
    return compare(
        Question.BLOCKING,
        "blocking-voltage",
        circuit.battery.voltage.high,
        "at most",
        None if breakdown is None else float(breakdown_at(circuit.ambient.low, breakdown.low)),
        "V",
        says="highest battery voltage against the MOSFET's breakdown, cold",
        statement=data_sheet("MOSFET", channel.mosfet),
        doubt=missing if breakdown is None else None,
        channel=channel.name,
        corner=Corner(battery_voltage=circuit.battery.voltage.high, temperature=circuit.ambient.low),
        rests_on=resting(circuit, "safe", "battery", "ambient"),
    )


def _by_rule(circuit: Circuit, channel: ChannelModel, rule: Rule, phase: PhaseNoFire) -> Iterator[Finding]:
    if rule.quantity == "uncommanded current":
        for one in phase.igniters:
            yield _ruled(circuit, channel, rule, phase, one, one.worst)
    elif rule.quantity in ("monitor current", "current into a short"):
        # one igniter of each type: the weakest one may be the only one left to carry the line's current
        for one in {i.kind: i for i in reversed(phase.igniters)}.values():
            where = phase.line if rule.quantity == "monitor current" else phase.into_short
            yield _ruled(circuit, channel, rule, phase, one, where)


def _ruled(
    circuit: Circuit, channel: ChannelModel, rule: Rule, phase: PhaseNoFire, one: IgniterNoFire, worst: Uncommanded
) -> Finding:
    return compare(
        Question.IGNITER_CURRENT,
        rule.id,
        worst.current,
        "at most",
        rule_limit(rule, one.limit),
        "A",
        says=rule.says,
        statement=rule.statement,
        doubt=no_fire_doubt(circuit, one.kind) if rule.rests_on_no_fire else None,
        channel=channel.name,
        phase=phase.phase,
        line_state=worst.line_state,
        controller=worst.controller,
        igniter=one.igniter,
        corner=worst.corner,
        rests_on=resting(circuit, "safe"),
    )


def switch_on_findings(circuit: Circuit, found: SwitchOn) -> Iterator[Finding]:
    """Judge what the arming edge does to every igniter, and to the switch."""
    for channel, edge in zip(circuit.channels, found.channels, strict=True):
        judged = {one.igniter: one for one in edge.igniters}
        for name, kind in igniter_kinds(channel).items():
            yield _edge(circuit, channel, name, kind, edge, judged.get(name))
        yield _gate_peak(circuit, channel, edge)
        yield _overvoltage(circuit, channel, edge)


def _edge(
    circuit: Circuit, channel: ChannelModel, name: str, kind: str, edge: ChannelSwitchOn, one: IgniterSwitchOn | None
) -> Finding:
    value, doubt = None if one is None else one.judged.bounced_fraction, no_fire_doubt(circuit, kind)
    if circuit.igniters[kind].threshold_low == 0.0:
        value = math.inf
    elif edge.missing:
        says = "how much the drain's rise lifts the gate is not known"
        doubt = Doubt(reason=Reason.MISSING_KEY, says=says, keys=edge.missing)
    elif one is not None and not one.known:
        value, doubt = None, _NOT_FOLLOWED if one.solved else _NOT_SOLVED
    return compare(
        Question.SWITCH_ON,
        "switch-on-below-function",
        value,
        "below",
        1.0,
        "1",
        says=f"share of its function temperature that {name} reaches by the arming edge"
        + ("" if one is None or one.closures == 1 else f", {one.closures} closures of a bouncing switch")
        + ("" if one is None else _bounded(value, one.bound.bounced_fraction)),
        statement=no_fire_statement(circuit, kind),
        doubt=doubt,
        channel=channel.name,
        phase="switch-on",
        controller=None if one is None else one.hold,
        igniter=name,
        corner=None if one is None else one.corner,
        rests_on=resting(circuit, "safe"),
    )


def _gate_peak(circuit: Circuit, channel: ChannelModel, edge: ChannelSwitchOn) -> Finding:
    """The drain's rise pushes the gate up: what the pin drives it to is not the highest that it has to bear."""
    missing, doubt, value = _unknown(circuit, channel, edge), None, None
    if missing:
        says = "how high the drain's rise lifts the gate is not known"
        doubt = Doubt(reason=Reason.MISSING_KEY, says=says, keys=missing)
    elif all(one.solved for one in edge.igniters):
        value = max(one.judged.gate_voltage for one in edge.igniters)
        bears = circuit.mosfets[channel.mosfet].gate_rating.low
        if value > bears and not all(one.followed for one in edge.igniters):
            value, doubt = None, _NOT_FOLLOWED
    else:
        doubt = _NOT_SOLVED
    return compare(
        Question.SWITCH_ON,
        "gate-rating",
        value,
        "at most",
        circuit.mosfets[channel.mosfet].gate_rating.low,
        "V",
        says="highest voltage that the drain's rise lifts the gate to against what the gate bears"
        + _bounded(value, max((one.bound.gate_voltage for one in edge.igniters), default=None)),
        statement=data_sheet("MOSFET", channel.mosfet),
        doubt=doubt,
        channel=channel.name,
        phase="switch-on",
        rests_on=resting(circuit, "safe"),
    )


def _bounded(value: float | None, bound: float | None) -> str:
    """What explains that a command which integrates the edge tells less: the closed form settled this one."""
    return ", by its closed form: this or less" if value is not None and value == bound else ""


def _unknown(circuit: Circuit, channel: ChannelModel, edge: ChannelSwitchOn) -> tuple[str, ...]:
    """Keys without which nothing is known of the arming edge."""
    if edge.missing or edge.igniters:
        return edge.missing
    return tuple(f"igniter.{kind}.no_fire" for kind in sorted(set(igniter_kinds(channel).values())))


def _overvoltage(circuit: Circuit, channel: ChannelModel, edge: ChannelSwitchOn) -> Finding:
    """A drain that rings beyond breakdown is no harm where the switch bears the energy of that, at most the line's."""
    mosfet, table = circuit.mosfets[channel.mosfet], f"mosfet.{channel.mosfet}"
    missing = edge.missing or left_out(table, circuit.given.mosfet[channel.mosfet], "breakdown")
    missing = missing or _unknown(circuit, channel, edge)
    highest = max((one.drain_voltage for one in edge.igniters), default=0.0)
    breakdown = None if mosfet.breakdown is None else float(breakdown_at(circuit.ambient.low, mosfet.breakdown.low))
    avalanches = not missing and breakdown is not None and highest >= breakdown
    doubt, value = None, None if missing else 0.0
    limit: float | None = 0.0
    if missing:
        doubt = Doubt(reason=Reason.MISSING_KEY, says="how high the drain rises is not known", keys=missing)
    elif avalanches:
        value = max(one.kick for one in edge.igniters)
    if mosfet.avalanche_energy is not None:
        limit = float(avalanche_rating(mosfet.avalanche_energy.low, circuit.ambient.high, mosfet.max_junction))
    elif avalanches:
        limit, says = None, "its drain may ring beyond breakdown, and what energy it bears then is not given"
        doubt = Doubt(reason=Reason.MISSING_KEY, says=says, keys=(f"{table}.avalanche_energy",))
    return compare(
        Question.SWITCH_ON,
        "switch-on-overvoltage",
        value,
        "at most",
        limit,
        "J",
        says="highest energy that the ringing line drives into the MOSFET beyond breakdown against its avalanche energy"
        + ("" if missing or avalanches else ": none, the drain stays below breakdown"),
        statement=data_sheet("MOSFET", channel.mosfet),
        doubt=doubt,
        channel=channel.name,
        phase="switch-on",
        rests_on=resting(circuit, "safe"),
    )
