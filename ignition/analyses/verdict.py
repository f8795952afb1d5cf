"""Verdict: the findings of every analysis of a circuit, what none of them answers, and the worst of it all."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ignition.analyses.continuity.findings import continuity_findings
from ignition.analyses.faults.findings import single_fault_findings
from ignition.analyses.faults.single import SingleFaults, single_fault_currents, single_fault_inputs
from ignition.analyses.firing.findings import firing_findings
from ignition.analyses.firing.firing import Firing, firing
from ignition.analyses.no_fire.findings import no_fire_findings, switch_on_findings
from ignition.analyses.no_fire.steady import NoFire, no_fire
from ignition.analyses.no_fire.switch_on import SwitchOn, edge_inputs, switch_on, switch_ons
from ignition.analyses.unused import unused
from ignition.circuit.model import Circuit
from ignition.findings.blame import blamed
from ignition.findings.checklist import checklist_findings
from ignition.findings.coverage import unanswered
from ignition.findings.finding import Finding, Verdict, worst_verdict

__all__ = ["Check", "check", "judge_firing", "judge_no_fire", "judge_sense", "judge_single_faults", "judge_switch_on"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """All findings of a circuit, with the analyses that they rest on."""

    circuit: Circuit
    findings: tuple[Finding, ...]
    no_fire: NoFire
    switch_on: SwitchOn
    firing: Firing
    single_faults: SingleFaults

    @property
    def unused(self) -> dict[str, str]:
        """Keys that the file gives and no finding uses, each with the reason."""
        return unused(self.circuit, self.firing)

    @property
    def verdict(self) -> Verdict:
        """The worst of all findings."""
        return worst_verdict(self.findings)


def judge_no_fire(circuit: Circuit, quiet: NoFire) -> tuple[Finding, ...]:
    """Judge what flows while nobody commands; `quiet` is the analysis of this circuit."""
    return blamed(circuit, lambda one: no_fire_findings(one, quiet if one is circuit else no_fire(one)))


def judge_switch_on(circuit: Circuit, edge: SwitchOn) -> tuple[Finding, ...]:
    """Judge the arming edge; `edge` is the analysis of this circuit. What-ifs are not searched to the last corner."""
    own = edge_inputs(circuit)

    def prepare(circuits: Sequence[Circuit]) -> None:
        switch_ons([one for one in circuits if edge_inputs(one) != own], climb=False)

    def judge(one: Circuit) -> Iterable[Finding]:
        return switch_on_findings(one, edge if edge_inputs(one) == own else switch_ons([one], climb=False)[0])

    return blamed(circuit, judge, prepare)


def judge_single_faults(circuit: Circuit, found: SingleFaults) -> tuple[Finding, ...]:
    """Judge single faults; `found` is the analysis of this circuit."""
    own = single_fault_inputs(circuit)

    def judge(one: Circuit) -> Iterable[Finding]:
        return single_fault_findings(one, found if single_fault_inputs(one) == own else single_fault_currents(one))

    return blamed(circuit, judge)


def judge_firing(circuit: Circuit, fired: Firing) -> tuple[Finding, ...]:
    """Judge the firing sequence; `fired` is the analysis of this circuit."""
    return blamed(circuit, lambda one: firing_findings(one, fired if one is circuit else firing(one)))


def judge_sense(circuit: Circuit, channel: str | None = None) -> tuple[Finding, ...]:
    """Judge sense currents, readings and tests of one channel, or of all, in every phase."""
    found = (*judge_no_fire(circuit, no_fire(circuit)), *blamed(circuit, continuity_findings))
    return tuple(f for f in found if channel in (None, f.channel))


def check(circuit: Circuit) -> Check:
    """Check a circuit against the written limits it chooses, or all that are shipped, and against its own data."""
    quiet, edge, fired = no_fire(circuit), switch_on(circuit), firing(circuit)
    broken = single_fault_currents(circuit)
    found = (
        *judge_no_fire(circuit, quiet),
        *judge_switch_on(circuit, edge),
        *blamed(circuit, continuity_findings),
        *judge_single_faults(circuit, broken),
        *judge_firing(circuit, fired),
        *checklist_findings(circuit),
    )
    findings = (*found, *unanswered(circuit, found))
    return Check(circuit=circuit, findings=findings, no_fire=quiet, switch_on=edge, firing=fired, single_faults=broken)
