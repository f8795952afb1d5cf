"""Findings on a foreign netlist: the same comparisons as for a circuit file, of its igniters and gates."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ignition.analyses.no_fire.off_state import lowest_threshold
from ignition.findings.compare import Doubt, compare
from ignition.findings.finding import Finding, Question, Reason
from ignition.findings.igniter import no_fire_doubt, no_fire_statement
from ignition.findings.presets import rule_limit, rules_in_use
from ignition.findings.values import data_sheet, resting
from ignition.foreign.binding import Bound
from ignition.foreign.results import NoFireMargin

__all__ = ["foreign_findings"]


def foreign_findings(bound: Bound, margins: Sequence[NoFireMargin]) -> Iterator[Finding]:
    """Judge every igniter and gate in every steady phase without a fault."""
    circuit = bound.roles.circuit
    kinds = {(c.name, name): kind for c in bound.channels for name, kind in c.igniters.items()}
    for margin in margins:
        kind = kinds[margin.channel, margin.igniter]
        doubt = no_fire_doubt(circuit, kind)
        if margin.current.largest is None:
            doubt = Doubt(reason=Reason.NOT_SOLVED, says=str(margin.current.reason))
        yield compare(
            Question.IGNITER_CURRENT,
            "below-no-fire",
            margin.current.largest,
            "below",
            margin.no_fire,
            "A",
            says=f"highest uncommanded current in {margin.igniter} against its no-fire current",
            statement=no_fire_statement(circuit, kind),
            doubt=doubt,
            channel=margin.channel,
            phase=margin.phase,
            igniter=margin.igniter,
            rests_on=resting(circuit, "safe"),
        )
        for rule in rules_in_use(circuit):
            if rule.quantity in ("uncommanded current", "monitor current"):
                yield compare(
                    Question.IGNITER_CURRENT,
                    rule.id,
                    margin.current.largest,
                    "at most",
                    rule_limit(rule, margin.no_fire),
                    "A",
                    says=rule.says,
                    statement=rule.statement,
                    doubt=doubt,
                    channel=margin.channel,
                    phase=margin.phase,
                    igniter=margin.igniter,
                    rests_on=resting(circuit, "safe"),
                )
    for channel, phase, gate in dict.fromkeys((m.channel, m.phase, m.gate_voltage) for m in margins):
        mosfet = next(c.mosfet for c in bound.channels if c.name == channel)
        yield compare(
            Question.GATE,
            "gate-held-off",
            gate.high,
            "below",
            lowest_threshold(circuit.mosfets[mosfet], circuit.ambient),
            "V",
            says="highest gate voltage against the lowest threshold, hot",
            statement=data_sheet("MOSFET", mosfet),
            doubt=None if gate.high is not None else Doubt(reason=Reason.NOT_SOLVED, says=str(gate.reason)),
            channel=channel,
            phase=phase,
            rests_on=resting(circuit, "safe"),
        )
