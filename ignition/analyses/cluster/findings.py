"""Findings on a circuit that was built from a few inputs: those of a circuit file, as far as they were asked for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from ignition.analyses.firing.findings import firing_findings
from ignition.analyses.firing.firing import firing
from ignition.circuit.few_inputs import FewInputs, option_of
from ignition.circuit.model import Circuit
from ignition.findings.blame import blamed
from ignition.findings.compare import Doubt, undecided
from ignition.findings.finding import Finding, Question, Reason
from ignition.findings.values import data_sheet

__all__ = ["cluster_findings"]

_NOT_ASKED = (Question.GATE_DRIVE, Question.JUNCTION, Question.TURN_OFF)
"""What the few inputs say nothing of; the assumptions state it plainly."""


def cluster_findings(given: FewInputs, circuit: Circuit) -> tuple[Finding, ...]:
    """Judge current, function, supply, battery, fuse and wires; the keys named are options of the command line."""
    return tuple(
        replace(f, keys=tuple(option_of(key) for key in f.keys), rests_on=tuple(option_of(key) for key in f.rests_on))
        for f in blamed(circuit, lambda one: _judged(given, one))
    )


def _judged(given: FewInputs, circuit: Circuit) -> Iterator[Finding]:
    skipped = (*_NOT_ASKED, Question.SUPPLY) if given.brown_out == "none" else _NOT_ASKED
    yield from (f for f in firing_findings(circuit, firing(circuit)) if f.question not in skipped)
    if given.fuse is None:
        doubt = Doubt(reason=Reason.MISSING_KEY, says="whether a fuse may open is not known", keys=("--fuse",))
        yield undecided(Question.FUSE, "fuse-holds", doubt, statement=data_sheet("fuse"), phase="firing")
