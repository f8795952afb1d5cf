"""What stands between battery and igniter, and what defeats it alone, read from made-up sets of faults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ignition.analyses.faults.circuit_board import every_board
from ignition.analyses.faults.cut_sets import CutSets
from ignition.analyses.faults.inhibits import inhibits
from ignition.circuit.model import Circuit
from tests.analyses.faults.boards import held

ARM, SHORT, STUCK, OTHER = (
    "arm switch stuck-closed", "line.mosfet drain-source-short", "line.gate pin stuck-high", "line 2.mosfet drain-source-short",
)  # fmt: skip
RETURN = "line.return contact stuck-closed"


def found(
    circuit: Circuit, phase: str, *sets: Sequence[str], order: int = 2, arms: tuple[str, ...] = ("arm switch",)
) -> dict[tuple[str, str], set[str] | None]:
    """What defeats each inhibit of each channel alone, where these are the smallest sets that fire."""
    board = replace(every_board(circuit), arms=arms)
    numbers = {fault.name: number for number, fault in enumerate(board.faults)}
    events = tuple(tuple(sorted(numbers[name] for name in some)) for some in sets)
    every = inhibits(board, {phase: CutSets(sets=events, order=order)})
    return {
        (one.channel, one.inhibit): None if one.defeated_by is None else set(one.defeated_by)
        for one in every
        if one.phase == phase
    }


def test_armed_the_mosfet_stands_alone() -> None:
    """Every single fault that fires defeats it; a pair does not."""
    assert found(held(), "armed", (SHORT,), (STUCK,), ("line.upper short", "line.lower short")) == {
        ("line", "MOSFET off"): {SHORT, STUCK}
    }


def test_disarmed_two_inhibits() -> None:
    """Beside a shorted MOSFET the stuck switch defeats the switch, and beside that a shorted or stuck one the MOSFET."""
    told = found(held(), "disarmed", (ARM, SHORT), (ARM, STUCK), ("line.upper short", STUCK))
    assert told == {("line", "arm switch open"): {ARM}, ("line", "MOSFET off"): {SHORT, STUCK}}


def test_a_channel_has_its_own_faults() -> None:
    """What shorts one MOSFET defeats no other one; the arm switch is everybody's."""
    told = found(held(channels="2"), "disarmed", (ARM, OTHER))
    assert told["line", "MOSFET off"] == set() and told["line 2", "MOSFET off"] == {OTHER}
    assert told["line", "arm switch open"] == set() and told["line 2", "arm switch open"] == {ARM}


def test_contacts_stand_in_their_phases_alone() -> None:
    """A pole in the return while disarmed: three inhibits are more than pairs tell of, and three at a time are not."""
    circuit = held(second='return_contact = "20 mohm"')
    assert found(circuit, "armed", (SHORT,)) == {("line", "MOSFET off"): {SHORT}}
    contact = "contact in the return open"
    assert found(circuit, "disarmed", order=2) == dict.fromkeys(
        [("line", "arm switch open"), ("line", "MOSFET off"), ("line", contact)]
    )
    told = found(circuit, "disarmed", (ARM, SHORT, RETURN), order=3)
    assert told == {("line", "arm switch open"): {ARM}, ("line", "MOSFET off"): {SHORT}, ("line", contact): {RETURN}}


def test_either_part_of_an_arm_switch() -> None:
    """Where it is two parts, a MOSFET that fires beside either of them being stuck is told."""
    circuit, arms = held(second='return_contact = "20 mohm"'), ("arm switch", "line.return contact")
    told = found(circuit, "disarmed", (ARM, SHORT), order=3, arms=arms)
    assert told["line", "MOSFET off"] == {SHORT}


def test_while_another_channel_fires() -> None:
    """A lone channel is commanded itself and has no inhibit then; of two each has its MOSFET."""
    assert found(held(), "firing") == {}
    assert found(held(channels="2"), "firing", (SHORT,)) == {
        ("line", "MOSFET off"): {SHORT},
        ("line 2", "MOSFET off"): set(),
    }
