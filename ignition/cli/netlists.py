"""Verbs on a netlist that a schematic editor wrote, with its role file; each returns its exit status."""

from __future__ import annotations

from pathlib import Path

from ignition.cli.output import judged, print_json, status

__all__ = ["check", "continuity", "faults"]


def check(netlist: Path, roles: Path, as_json: bool) -> int:
    """Print all findings of a netlist."""
    from ignition.foreign.check import check_netlist
    from ignition.foreign.reader import load_netlist
    from ignition.foreign.roles import load_roles

    result = check_netlist(load_netlist(netlist), load_roles(roles))
    if as_json:
        print_json(result)
    else:
        from ignition.report.foreign_text import foreign_check_text
        from ignition.report.text import make_console

        foreign_check_text(result, make_console())
    return status(result.findings)


def continuity(netlist: Path, roles: Path, as_json: bool) -> int:
    """Print continuity and no-fire margins of a netlist."""
    from ignition.foreign.analysis import analyse_foreign
    from ignition.foreign.reader import load_netlist
    from ignition.foreign.roles import load_roles

    result = analyse_foreign(load_netlist(netlist), load_roles(roles))
    if as_json:
        print_json(result)
    else:
        from ignition.report.foreign_text import foreign_text
        from ignition.report.text import make_console

        foreign_text(result, make_console())
    return status(result.findings)


def faults(netlist: Path, roles: Path, order: int, as_json: bool) -> int:
    """Print what faults of a netlist do."""
    from ignition.analyses.faults.faults import board_faults
    from ignition.analyses.faults.single import board_fault_currents
    from ignition.foreign.binding import bind
    from ignition.foreign.board import netlist_board
    from ignition.foreign.check import judge_netlist_faults
    from ignition.foreign.reader import load_netlist
    from ignition.foreign.results import NOT_COVERED
    from ignition.foreign.roles import load_roles

    bound = bind(load_netlist(netlist), load_roles(roles))
    board = netlist_board(bound)
    result = board_faults(board, order)
    findings = judge_netlist_faults(bound, board_fault_currents(board))
    if as_json:
        print_json(result, not_covered=NOT_COVERED, notes=bound.notes, **judged(findings))
    else:
        from ignition.report.faults_text import faults_text
        from ignition.report.findings_text import brief_text
        from ignition.report.foreign_text import scope_text
        from ignition.report.text import make_console

        console = make_console()
        faults_text(result, console)
        brief_text(findings, console)
        scope_text(NOT_COVERED, bound.assumptions, bound.notes, console)
    return status(findings)
