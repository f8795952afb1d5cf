"""Coverage: what a complete check answers; whatever of it no finding answers is UNKNOWN."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ignition.circuit.model import Circuit
from ignition.findings.compare import Doubt, Statement, undecided
from ignition.findings.finding import Finding, Question, Reason
from ignition.findings.presets import rules_in_use
from ignition.findings.values import UNDATED

__all__ = ["asked", "rule_name", "unanswered"]

_STEADY = ("disarmed", "reset", "armed")

_CHANNEL: dict[Question, tuple[str | None, ...]] = {
    Question.IGNITER_CURRENT: _STEADY,
    Question.GATE: _STEADY,
    Question.SWITCH_ON: ("switch-on",),
    Question.TURN_OFF: ("turn-off",),
    Question.SINGLE_FAULTS: (None,),
    Question.BLOCKING: (None,),
    Question.PIN: _STEADY,
    Question.CONVERTER: ("armed",),
    Question.FIRING_CURRENT: ("firing",),
    Question.FUNCTION: ("firing",),
    Question.GATE_DRIVE: ("firing",),
    Question.JUNCTION: ("firing",),
    Question.CONDUCTOR: ("firing",),
}
"""Phases in which each question is asked of every channel."""

_CIRCUIT = (Question.SUPPLY, Question.BATTERY)

_OWN = Statement(source="what a complete check answers", date=UNDATED)


def asked(circuit: Circuit) -> Iterator[tuple[Question, str | None, str | None]]:
    """List what a complete check of this circuit answers: question, channel, phase."""
    for channel in circuit.channels:
        for question, phases in _CHANNEL.items():
            for phase in phases:
                yield question, channel.name, phase
        if channel.second is not None:
            yield Question.TEST, channel.name, None
    for question in _CIRCUIT:
        yield question, None, "firing"
    if any(part.kind in ("fuse", "resettable fuse") for part in circuit.feed):
        yield Question.FUSE, None, "firing"


def unanswered(circuit: Circuit, findings: Iterable[Finding]) -> Iterator[Finding]:
    """Make a finding of every question that no finding answers, and of a circuit that is held to no limit at all."""
    found = {(f.question, f.channel, f.phase) for f in findings}
    whole = {(question, channel) for question, channel, _ in found}
    for question, channel, phase in asked(circuit):
        if (question, channel, phase) in found or (phase is None and (question, channel) in whole):
            continue
        doubt = Doubt(reason=Reason.NOT_ANALYSED, says="not analysed")
        yield undecided(question, rule_name(question), doubt, statement=_OWN, channel=channel, phase=phase)
    if not rules_in_use(circuit):
        doubt = Doubt(
            reason=Reason.NO_LIMIT,
            says="no preset and no limit of one's own is in use, so nothing was judged by a rule",
            keys=("rules.presets", "rules.limit"),
        )
        yield undecided(Question.LIMITS, rule_name(Question.LIMITS), doubt, statement=_OWN)


def rule_name(question: Question) -> str:
    """Name under which a question that has no answer stands among the rules."""
    return str(question).replace(" ", "-")
