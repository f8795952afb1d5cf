"""Verdict: the findings of every analysis of a circuit, what none of them answers, and the worst of it all."""

from __future__ import annotations

from dataclasses import dataclass

from ignition.analyses.continuity.findings import continuity_findings
from ignition.analyses.firing.findings import firing_findings
from ignition.analyses.firing.firing import Firing, firing
from ignition.analyses.no_fire.findings import no_fire_findings
from ignition.analyses.no_fire.steady import NoFire, no_fire
from ignition.circuit.model import Circuit
from ignition.findings.blame import blamed
from ignition.findings.checklist import checklist_findings
from ignition.findings.coverage import unanswered
from ignition.findings.finding import Finding, Verdict, worst_verdict

__all__ = ["Check", "check"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """All findings of a circuit, with the analyses that they rest on."""

    circuit: Circuit
    findings: tuple[Finding, ...]
    no_fire: NoFire
    firing: Firing

    @property
    def verdict(self) -> Verdict:
        """The worst of all findings."""
        return worst_verdict(self.findings)


def check(circuit: Circuit) -> Check:
    """Check a circuit against the written limits it chooses, or all that are shipped, and against its own data."""
    quiet, fired = no_fire(circuit), firing(circuit)

    found = (
        *blamed(circuit, lambda one: no_fire_findings(one, quiet if one is circuit else no_fire(one))),
        *blamed(circuit, continuity_findings),
        *blamed(circuit, lambda one: firing_findings(one, fired if one is circuit else firing(one))),
        *checklist_findings(circuit),
    )
    return Check(circuit=circuit, findings=(*found, *unanswered(circuit, found)), no_fire=quiet, firing=fired)
