"""What would help: each change against the same change written into the file, and what no change helps."""

from __future__ import annotations

import pytest

from ignition.analyses.faults.faults import faults
from ignition.analyses.faults.remedies import Remedy, remedies
from ignition.circuit.examples import load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from tests.analyses.faults.boards import SPLIT, board, held


def tried(circuit: Circuit) -> list[Remedy]:
    """What helps a circuit."""
    return list(remedies(circuit, faults(circuit)))


def of(found: list[Remedy], fault: str, word: str) -> Remedy:
    """The entry of one fault and change."""
    return next(one for one in found if one.fault == fault and word in one.change)


def test_split_as_the_file_has_it() -> None:
    """A split resistor stops its short; the current is that of the file with two resistors."""
    found = tried(held())
    split = of(found, "line.upper short", "split")
    written = faults(held(sense='upper = ["50 kohm ± 1 %", "50 kohm ± 1 %"], lower = "33 kohm ± 1 %"'))
    row = max(
        (one for p in ("reset", "armed") for one in written.phase(p).faults if one.faults == ("line.upper 1 short",)),
        key=lambda one: one.current,
    )
    assert split.current == pytest.approx(row.current, rel=1e-6)
    assert split.firing_after == split.firing_before
    pin = of(found, "line.upper short", "10 kohm")
    # 8.4 V less the clamp's 0.5 V behind 10 kohm, and the lower resistor beside
    assert pin.current == pytest.approx((8.4 - 0.5) / 10e3 + 8.4 / (0.99 * 33e3), rel=2e-2)


def test_pair_of_pull_downs() -> None:
    """Two pull-downs stop one that opens, and nothing else of the switch."""
    found = tried(held(sense=SPLIT))
    pairs = [one.fault for one in found if "pull-down" in one.change]
    assert pairs == ["line.pull-down open"]
    assert not [one for one in found if "split" in one.change]


def test_second_switch() -> None:
    """A switch on the high side stops what breaks the low side, but not what drives both; it costs its resistance."""
    found = tried(held(sense=SPLIT))
    stopped = {one.fault for one in found if "high side" in one.change}
    assert {"line.mosfet drain-source-short", "line.gate pin stuck-high", "line.lead back to-ground"} <= stopped
    assert not {"controller all-pins-high"} & stopped
    one = of(found, "line.mosfet drain-source-short", "high side")
    # while armed only what lies around it, as large as the upper resistor, is in the loop
    assert one.current == pytest.approx(8.4 / (0.99 * 100e3), rel=1e-3)
    assert one.firing_before is not None
    assert one.firing_after is not None
    loop = 0.1 + 0.05 + 0.39970799955868247 + 0.1 + 1.3 + 0.02
    assert one.firing_after / one.firing_before == pytest.approx(loop / (loop + 0.1), rel=1e-3)


def test_nothing_to_help() -> None:
    """No fault fires where nothing is known of the igniter, and none is needed where the circuit fires by itself."""
    assert tried(load_example("unknown-igniter")) == []
    found = tried(load_example("reset-pull-up"))
    assert "reset" not in {phase for one in found for phase in one.phases}


def test_shunt_while_disarmed() -> None:
    """A shunt across the line takes most of what one fault drives through an igniter while disarmed."""
    weak = parse_circuit(board().replace('no_fire = { current = "0.2 A"', 'no_fire = { current = "20 uA"'), "weak.toml")
    one = of(tried(weak), "arm switch stuck-closed", "shunts")
    # 0.1 ohm of contact beside lead, joints and bridge; the controller dead, its clamp holds the tap at 0.5 V
    line = 0.39970799955868247 + 0.02 + 0.8
    assert one.current == pytest.approx((8.4 - 0.5) / (0.99 * 100e3) * 0.1 / (0.1 + line), rel=1e-2)


def test_pole_in_the_return() -> None:
    """A pole of the arm switch in each return keeps the divider's current off while the other pole is stuck."""
    weak = parse_circuit(board().replace('no_fire = { current = "0.2 A"', 'no_fire = { current = "20 uA"'), "weak.toml")
    one = of(tried(weak), "arm switch stuck-closed", "return")
    assert one.current == pytest.approx(8.4 / 1e9, rel=1e-3)  # through the gap of the open contact
    assert one.parts == 1


def test_what_the_file_leaves_out_of_parts_that_a_change_replaces() -> None:
    """A fault that is left out need not exist in the changed circuit: the short of a pull-down that becomes two."""
    own = '\n[faults]\noff = [{ fault = "line.pull-down short", because = "guarded" }]\n'
    circuit = parse_circuit(board(sense=SPLIT) + own, "own.toml")
    assert [one.fault for one in tried(circuit) if "pull-down" in one.change] == ["line.pull-down open"]
