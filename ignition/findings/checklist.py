"""Findings on procedure: yes or no answers and waits that no circuit value can give."""

from __future__ import annotations

from collections.abc import Iterator

from ignition.circuit.model import Circuit
from ignition.findings.compare import Doubt, answered, compare
from ignition.findings.finding import Finding, Question, Reason
from ignition.findings.presets import rules_in_use

__all__ = ["checklist_findings"]


def checklist_findings(circuit: Circuit) -> Iterator[Finding]:
    """Judge the answers in [checklist]; an interlock among the feed parts answers for itself."""
    for rule in rules_in_use(circuit):
        if rule.quantity == "wait":
            wait = circuit.checklist.misfire_wait
            missing = Doubt(reason=Reason.MISSING_KEY, says="not answered", keys=("checklist.misfire_wait",))
            yield compare(
                Question.PROCEDURE,
                rule.id,
                None if wait is None else wait.low,
                "at least",
                rule.time,
                "s",
                says=rule.says,
                statement=rule.statement,
                doubt=missing if wait is None else None,
            )
        elif rule.answer is not None:
            answer = getattr(circuit.checklist, rule.answer)
            fitted = rule.answer == "interlock_in_series" and any(part.kind == "interlock" for part in circuit.feed)
            yield answered(
                Question.PROCEDURE,
                rule.id,
                True if answer is None and fitted else answer,
                says=rule.says,
                statement=rule.statement,
                key=f"checklist.{rule.answer}",
            )
