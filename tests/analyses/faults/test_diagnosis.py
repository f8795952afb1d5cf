"""What readings can mean: every fault explains its own reading, candidates are those that give it, and mistakes are told."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from ignition.analyses.faults.bench import Bench
from ignition.analyses.faults.diagnosis import Diagnosis, diagnose
from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.readings import read
from ignition.analyses.faults.situations import Situation
from ignition.circuit.file import parse_circuit
from ignition.errors import InputError
from ignition.toleranced import Toleranced
from tests.analyses.faults.boards import SPLIT, board, held

BOARD = held(sense=SPLIT)


def names(found: Diagnosis) -> list[str]:
    """Candidates in their order."""
    return [candidate.fault for candidate in found.candidates]


def test_every_fault_explains_its_own_reading() -> None:
    """At each fault's nominal reading that fault is a candidate, and whoever is one can give the reading."""
    table = Bench.of(BOARD, (Situation(phase="armed", controller="alive"),), single_faults(BOARD))
    picks = np.array([-1, *range(len(table.faults))])[:, None]
    found = read(table, 0, picks)
    low, high = found.codes
    labels = ["nothing broken", *(fault.name for fault in table.faults)]
    for row in range(0, len(labels), 5):
        if found.silent[row]:
            continue
        code = int(np.clip(round(found.nominal[row, 0]), low[row, 0], high[row, 0]))
        result = diagnose(BOARD, {"line": code})
        assert labels[row] in names(result)
        expected = {label for k, label in enumerate(labels) if low[k, 0] <= code <= high[k, 0] and not found.silent[k]}
        assert set(names(result)) == expected


def test_open_line() -> None:
    """A reading of nothing: the dangerous meanings first, then wires, then parts; a healthy line is none of them."""
    found = diagnose(BOARD, {"line": 0})
    order = [candidate.kind for candidate in found.candidates]
    assert order == sorted(order, key=["hazardous", "dud", "latent", "detected", "harmless"].index)
    assert found.candidates[0].kind == "hazardous"
    assert {"line.lead out open", "line.igniter 1.1 open", "line.upper 1 open"} <= set(names(found))
    assert not found.healthy
    assert set(found.states["line"]) == {"open", "mosfet shorted", "not armed"}
    shares = [c.share for c in found.candidates if c.kind == "hazardous" and c.share is not None]
    assert shares == sorted(shares, reverse=True)


def test_intact_line() -> None:
    """A good reading: nothing broken is among its meanings, and so is what no reading shows."""
    found = diagnose(BOARD, {"line": 2300})
    assert found.healthy
    assert names(found)[-1] == "nothing broken"
    assert {"line.mosfet open", "line.pull-down open", "line.line short"} <= set(names(found))


def test_battery_narrows() -> None:
    """With the battery measured a reading that a healthy line gives at another voltage is none any more."""
    code = 2560  # 8.3 V or so
    assert diagnose(BOARD, {"line": code}).healthy
    weak = Toleranced(low=7.05, nominal=7.1, high=7.15, unit="V")
    assert not diagnose(BOARD, {"line": code}, battery=weak).healthy
    with pytest.raises(InputError, match="cannot both hold"):
        diagnose(BOARD, {"line": code}, battery=Toleranced.exact(3.0, "V"))


def test_next_measurement_separates() -> None:
    """What is to be measured next has groups that do not touch, and shares are of the best measurement first."""
    found = diagnose(BOARD, {"line": 0})
    assert found.next
    assert [one.separates for one in found.next] == sorted((one.separates for one in found.next), reverse=True)
    for one in found.next:
        assert 0.0 < one.separates <= 1.0
        assert sorted(name for group in one.groups for name in group.faults) == sorted(names(found))
        ends = [(group.low, group.high) for group in one.groups]
        assert all(first[1] < second[0] for first, second in pairwise(ends))
    wires = next(one for one in found.next if "wire out" in one.what or "wire back" in one.what)
    apart = next(group for group in wires.groups if "line.lead out open" in group.faults)
    assert "line.lower short" not in apart.faults


def test_two_channels() -> None:
    """Readings of two channels together leave fewer meanings than either."""
    two = held(channels="2", sense=SPLIT)
    both = set(names(diagnose(two, {"line": 0, "line 2": 2300})))
    assert both <= set(names(diagnose(two, {"line": 0})))
    assert "arm switch stuck-open" not in both
    assert "line.lead out open" in both


@pytest.mark.parametrize(
    ("readings", "phase", "says"),
    [
        ({}, "armed", "give a reading"),
        ({"lien": 1}, "armed", "there are: line"),
        ({"line": 4096}, "armed", "0 to 4095"),
        ({"line": 1}, "firing", "disarmed, reset or armed"),
        ({"line.bus": 1}, "armed", "there are: line"),
    ],
)
def test_mistakes(readings: dict[str, int], phase: str, says: str) -> None:
    """Each names the rule and what is there."""
    with pytest.raises(InputError, match=says):
        diagnose(BOARD, readings, phase=phase)


def test_no_supply_no_reading() -> None:
    """A controller behind the arm switch reads nothing while disarmed."""
    behind = held(sense=SPLIT, powered_by="after arm switch")
    with pytest.raises(InputError, match="no supply while disarmed"):
        diagnose(behind, {"line": 1}, phase="disarmed")


def test_before_arming() -> None:
    """While disarmed a healthy line reads nothing, and a welded switch reads the battery."""
    found = diagnose(BOARD, {"line": 2300}, phase="disarmed")
    assert "arm switch stuck-closed" in names(found)
    assert not found.healthy
    assert found.states == {}
    assert diagnose(BOARD, {"line": 0}, phase="disarmed").healthy


def test_what_the_file_leaves_out_is_a_candidate_all_the_same() -> None:
    """A reading is of the box as it is: a shorted MOSFET reads as one, whatever the file says, and that is told."""
    circuit = held(sense=SPLIT)
    off = '\n[faults]\noff = [{ fault = "line.mosfet *", because = "derated" }]\n'
    sure = parse_circuit(board(sense=SPLIT) + off, "sure.toml")
    plain, other = diagnose(circuit, {"line": 0}), diagnose(sure, {"line": 0})
    assert names(other) == names(plain) and "line.mosfet drain-source-short" in names(other)
    assert "line.mosfet drain-source-short" in other.left_out and plain.left_out == ()


def test_readings_of_two_measurements() -> None:
    """A drain that reads 0 while disarmed says little; pulled up it still reads 0: a short to ground or an open pull-up."""
    circuit = held(second='second = { drain_pull_up = "100 kohm", before_arming = true }')
    plain = diagnose(circuit, {"line": 0}, phase="disarmed")
    assert plain.healthy
    both = diagnose(circuit, {"line": 0, "line.pull-up": 0}, phase="disarmed")
    assert not both.healthy
    names = {candidate.fault for candidate in both.candidates}
    assert {"line.mosfet drain-source-short", "line.drain pull-up open", "line.lead back to-ground"} <= names
    assert "line.igniter 1.1 open" not in names
    with pytest.raises(InputError, match="there are: line"):
        diagnose(circuit, {"line.pull-up": 0})
