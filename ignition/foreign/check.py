"""Check of a foreign netlist: the findings of its igniters, gates and single faults; what it leaves open is UNKNOWN."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from ignition.analyses.faults.faults import board_faults
from ignition.analyses.faults.findings import single_fault_findings
from ignition.analyses.faults.results import Faults
from ignition.analyses.faults.single import SingleFaults, board_fault_currents, single_fault_inputs
from ignition.circuit.model import Circuit
from ignition.findings.blame import blamed
from ignition.findings.checklist import checklist_findings
from ignition.findings.compare import Doubt
from ignition.findings.coverage import unanswered
from ignition.findings.finding import Finding, Reason, worst_verdict
from ignition.foreign.analysis import judge_margins
from ignition.foreign.binding import Bound, bind
from ignition.foreign.board import netlist_board
from ignition.foreign.flatten import FlatNetlist
from ignition.foreign.results import ForeignCheck
from ignition.foreign.roles import Roles
from ignition.spice.netlist import Netlist

__all__ = ["check_netlist", "judge_netlist_faults", "netlist_fault_sets"]


def check_netlist(netlist: Netlist | FlatNetlist, roles: Roles) -> ForeignCheck:
    """Check a foreign netlist against written limits and its own data.

    What a complete check answers and no analysis of a netlist does is UNKNOWN, so that the whole is never PASS.

    Raises NetlistError when the subcircuits cannot be written out. Raises CircuitFileError with all mistakes of the
    role file against the netlist.
    """
    bound = bind(netlist, roles)
    margins, judged = judge_margins(bound)
    broken = board_fault_currents(netlist_board(bound))
    found = (*judged, *judge_netlist_faults(bound, broken), *checklist_findings(roles.circuit))
    findings = (*found, *unanswered(roles.circuit, found))
    return ForeignCheck(
        circuit=bound.netlist.name,
        title=roles.file.title,
        verdict=worst_verdict(findings),
        findings=findings,
        assumptions=bound.assumptions,
        margins=margins,
        single_faults=broken,
        notes=bound.notes,
    )


def netlist_fault_sets(bound: Bound, order: int = 1) -> Faults:
    """Analyse faults of a netlist one at a time, and more at a time up to an order.

    Raises InputError for an order that is not 1, 2 or 3.

    Parameters
    ----------
    order : Most faults at a time that are listed [1], 1 to 3; pairs are always evaluated, for what is latent
    """
    return board_faults(netlist_board(bound), order)


def judge_netlist_faults(bound: Bound, found: SingleFaults) -> tuple[Finding, ...]:
    """Judge single faults; `found` is the analysis of this netlist."""
    singles, sets = {single_fault_inputs(bound.roles.circuit): found}, dict[tuple[object, ...], Faults]()

    def judged(circuit: Circuit) -> Iterable[Finding]:
        inputs = single_fault_inputs(circuit)
        here = circuit is bound.roles.circuit
        one = bound if here else bind(bound.netlist, replace(bound.roles, circuit=circuit))
        if inputs not in singles:
            singles[inputs] = board_fault_currents(netlist_board(one))

        def count() -> Faults:
            if inputs not in sets:
                sets[inputs] = netlist_fault_sets(one)
            return sets[inputs]

        return single_fault_findings(circuit, singles[inputs], count, draws=_draws(bound))

    return blamed(bound.roles.circuit, judged)


def _draws(bound: Bound) -> Doubt | None:
    """What a controller after the arm switch draws has to be a current source of the netlist."""
    before = bound.roles.circuit.controller.powered_before_arm_switch
    if before or any(part.kind == "i" for part in bound.netlist.parts):
        return None
    says = "a fault may feed the controller through an igniter; give what it draws as a current source of the netlist"
    return Doubt(reason=Reason.NOT_ANALYSED, says=says)
