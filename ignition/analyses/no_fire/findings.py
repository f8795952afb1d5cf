"""Findings on what flows, and what holds the gate, while nobody commands."""

from __future__ import annotations

from collections.abc import Iterator

from ignition.analyses.no_fire.steady import ChannelNoFire, IgniterNoFire, NoFire, PhaseNoFire, Uncommanded
from ignition.circuit.model import ChannelModel, Circuit
from ignition.findings.compare import Doubt, compare
from ignition.findings.corner import Corner
from ignition.findings.finding import Finding, Question, Reason
from ignition.findings.igniter import no_fire_doubt, no_fire_statement
from ignition.findings.presets import Rule, rule_limit, rules_in_use
from ignition.findings.values import data_sheet, resting
from ignition.parts.mosfet import breakdown_at

__all__ = ["no_fire_findings"]


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
