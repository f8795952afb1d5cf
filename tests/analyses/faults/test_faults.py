"""Classes of faults, what is latent, the fewest that fire, inhibits and findings."""

from __future__ import annotations

import json
from collections import Counter

import pytest

from ignition.analyses.faults.circuit_board import every_board
from ignition.analyses.faults.faults import faults
from ignition.analyses.faults.results import FaultRow, Faults
from ignition.analyses.faults.single import board_fault_currents, single_fault_currents, single_fault_inputs
from ignition.analyses.verdict import check, judge_single_faults
from ignition.circuit.complete import complete
from ignition.circuit.description import Description
from ignition.circuit.examples import example_names, example_text, load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.findings.finding import Finding, Question, Reason
from ignition.report.json_walk import to_json
from tests.analyses.faults.boards import SPLIT, board, held
from tests.findings.ends import WEAK, moved


def row(found: Faults, phase: str, *names: str) -> FaultRow:
    """One row."""
    return next(one for one in found.phase(phase).faults if set(one.faults) == set(names))


def test_classes_of_one_channel() -> None:
    """One of each class, by reasoning."""
    found = faults(held(sense=SPLIT), 2)
    assert found.fewest == {"disarmed": 2, "reset": 1, "armed": 1, "firing": None}
    for phase, name, kind in (
        ("armed", "line.mosfet drain-source-short", "hazardous"),
        ("armed", "line.gate pin stuck-high", "hazardous"),
        ("armed", "line.pull-down open", "hazardous"),
        ("armed", "line.upper 1 open", "detected"),
        ("armed", "line.upper 1 short", "detected"),
        ("armed", "line.gate series short", "harmless"),
        ("disarmed", "line.pull-down open", "latent"),
        ("disarmed", "line.mosfet drain-source-short", "detected"),
        ("disarmed", "arm switch stuck-closed", "latent"),
        ("firing", "line.mosfet open", "dud"),
        ("firing", "line.line short", "dud"),
        ("firing", "arm switch stuck-open", "dud"),
        ("firing", "line.gate series short", "harmless"),
    ):
        assert row(found, phase, name).kind == kind, (phase, name)
    assert row(found, "firing", "line.line short").detected_by == ()
    assert row(found, "firing", "arm switch stuck-open").detected_by == ("line drain (armed)",)
    assert row(found, "disarmed", "line.mosfet drain-source-short").detected_by == ("line drain (armed)",)


def test_dud_and_its_current() -> None:
    """A dud's row has the lowest current of the commanded igniter against its all-fire current."""
    found = row(faults(held(sense=SPLIT)), "firing", "line.mosfet open")
    assert found.commanded
    assert found.limit == pytest.approx(0.8)
    assert found.current < 1e-3
    healthy = row(faults(held(sense=SPLIT)), "firing", "line.gate series short")
    # 7 V over battery, switch, lead with joints, bridge and MOSFET at their highest
    assert healthy.current == pytest.approx(7.0 / (0.1 + 0.05 + 0.39970799955868247 + 0.1 + 1.3 + 0.02), rel=2e-3)


def test_minimal_pairs() -> None:
    """Every listed pair is hazardous, holds no fault that fires alone, and holds one undetected fault or two shown ones."""
    found = faults(held(channels="2", sense=SPLIT), 2)
    for phase in found.phases:
        alone = {one.faults[0] for one in phase.of("hazardous") if len(one.faults) == 1}
        pairs = [one for one in phase.faults if len(one.faults) == 2]
        assert len(pairs) == phase.pairs
        assert not [one for one in pairs if alone & set(one.faults)]
        assert all((one.share or 0.0) >= 1.0 and one.kind == "hazardous" for one in pairs)
        latent = {one.faults[0] for one in phase.of("latent")}
        in_pairs = {name for one in pairs for name in one.faults}
        assert latent <= in_pairs
        counts = Counter(part for one in pairs for part in {fault.part for fault in one.members})
        assert all(phase.recurring[part] >= count for part, count in counts.items())
    pair = row(found, "disarmed", "arm switch stuck-closed", "line.mosfet drain-source-short")
    assert pair.current == pytest.approx(8.4 / (0.04 + 0.01 + 0.39970799955868247 + 0.02 + 0.8), rel=1e-3)


def test_inhibits() -> None:
    """While disarmed two inhibits, each with what defeats it alone; while armed one."""
    found = faults(held(sense=SPLIT))
    disarmed = {one.inhibit: set(one.defeated_by) for one in found.inhibits if one.phase == "disarmed"}
    assert disarmed["arm switch open"] == {"arm switch stuck-closed", "line.lead out to-battery"}
    assert "line.mosfet drain-source-short" in disarmed["MOSFET off"]
    armed = [one for one in found.inhibits if one.phase == "armed"]
    assert [one.inhibit for one in armed] == ["MOSFET off"]
    assert set(armed[0].defeated_by) == disarmed["MOSFET off"]


def test_upper_resistor_of_the_demo() -> None:
    """One upper resistor, shorted, passes several times the no-fire current; split in two it stays a hundred times below."""
    whole = example_text("demo").replace('["75 kohm ± 1 %", "75 kohm ± 1 %"]', '"150 kohm ± 1 %"')
    single, split = faults(parse_circuit(whole, "whole.toml")), faults(load_example("demo"))
    shorted = row(single, "armed", "boosters.upper short")
    # 12.75 V over some 0.24 ohm and bridge, less a diode's 0.2 V, behind 10 ohm of clamp
    assert shorted.kind == "hazardous"
    assert shorted.current == pytest.approx((12.75 - 0.2) / (10.0 + 1.4 + 0.25), rel=5e-3)
    assert (shorted.share or 0.0) > 3.0
    halved = row(split, "armed", "boosters.upper 1 short")
    assert halved.kind == "detected"
    assert (halved.share or 1.0) < 0.01


@pytest.mark.parametrize("name", example_names())
def test_examples_are_solved(name: str) -> None:
    """No member of any example is left unsolved, and the JSON object has the keys that programs rely on."""
    circuit = load_example(name)
    found = faults(circuit)
    assert not [one for phase in found.phases for one in phase.of("not solved")]
    tree = json.loads(to_json(found))
    assert set(tree["fewest_faults_to_fire"]) == {"disarmed", "reset", "armed", "firing"}
    first = tree["phases"][0]["faults"][0]
    assert {"faults", "channel", "igniter_current", "class"} <= set(first)
    assert first["igniter_current"]["unit"] == "A"
    single = single_fault_currents(circuit)
    assert not [one for one in (*single.disarmed, *single.test_path) if one.unsolved]


def test_nothing_to_judge_by() -> None:
    """Without a no-fire current nothing is called harmless, and the finding is unknown."""
    circuit = load_example("unknown-igniter")
    found = faults(circuit)
    assert {one.kind for one in found.phase("armed").faults} == {"not judged"}
    judged = judge_single_faults(circuit, single_fault_currents(circuit))
    assert {f.verdict for f in judged} == {"UNKNOWN"}
    assert {f.reason for f in judged} == {Reason.MISSING_KEY}


def test_order_is_held() -> None:
    """Only one, two or three at a time."""
    with pytest.raises(InputError, match="1, 2 or 3"):
        faults(held(), 4)


def of_rule(findings: tuple[Finding, ...], rule: str) -> list[Finding]:
    """Findings of a rule."""
    return [f for f in findings if f.rule == rule]


def judged(circuit: Circuit) -> tuple[Finding, ...]:
    """Findings on single faults."""
    return judge_single_faults(circuit, single_fault_currents(circuit))


def test_test_path_fails_in_every_phase() -> None:
    """A single upper resistor fails in every phase in which the bus is fed, and says which fault; a split one passes."""
    findings = judged(held())
    failing = {f.phase for f in of_rule(findings, "single-fault-test-path") if f.verdict == "FAIL"}
    assert failing == {"reset", "armed"}
    assert all("line.upper short" in f.says for f in findings if f.verdict == "FAIL")
    assert {f.verdict for f in judged(held(sense=SPLIT))} == {"PASS"}
    two = {f.phase for f in judged(held(channels="2")) if f.verdict == "FAIL"}
    assert two == {"reset", "armed", "firing"}


def test_disarmed_fails_where_one_fault_fires() -> None:
    """With the arm switch stuck closed the sense current flows: too much for an igniter of 20 uA."""
    weak = board().replace('no_fire = { current = "0.2 A"', 'no_fire = { current = "20 uA"')
    found = of_rule(judged(parse_circuit(weak, "weak.toml")), "single-fault-disarmed")
    assert [f.verdict for f in found] == ["FAIL"]
    assert found[0].limit == pytest.approx(20e-6)
    assert found[0].value is not None
    assert found[0].value > 20e-6


OWN = """
[[rules.limit]]
name = "two inhibits"
kind = "faults to fire at least"
faults = {faults}
{phases}
source = "house rule"
date = "2026"
"""


@pytest.mark.parametrize(
    ("faults_asked", "phases", "verdicts"),
    [
        (2, "", {"disarmed": "PASS", "reset": "FAIL", "armed": "FAIL"}),
        (2, 'phases = ["disarmed"]', {"disarmed": "PASS"}),
        (3, 'phases = ["disarmed", "armed"]', {"disarmed": "FAIL", "armed": "FAIL"}),
    ],
)
def test_limit_on_inhibits(faults_asked: int, phases: str, verdicts: dict[str, str]) -> None:
    """A limit of one's own on how many faults it takes to fire is judged in each phase that it names."""
    own = OWN.format(faults=faults_asked, phases=phases)
    circuit = parse_circuit(board(sense=SPLIT) + own, "own.toml")
    found = {f.phase: f.verdict for f in of_rule(judged(circuit), "two inhibits")}
    assert found == verdicts


def test_check_answers_for_single_faults() -> None:
    """A complete check has no question about single faults left open, and lists the single failure points."""
    result = check(load_example("demo"))
    assert result.verdict == "PASS"
    assert {f.channel for f in result.findings if f.question is Question.SINGLE_FAULTS} == {"boosters", "marker"}
    assert result.single_faults.fewest == {"disarmed": 2, "reset": 1, "armed": 1}
    points = {point.fault for point in result.single_faults.points}
    assert {"boosters.mosfet drain-source-short", "marker.gate pin stuck-high"} <= points


def test_inputs_are_all_that_single_faults_depend_on() -> None:
    """Whichever range of a file is moved: where single faults change, so do what they are said to depend on."""
    before = board_fault_currents(every_board(parse_circuit(WEAK)))  # `single_fault_currents` keeps what it has found
    inputs = single_fault_inputs(parse_circuit(WEAK))
    changed, same = [], []
    for key, _, table in moved(WEAK):
        circuit, _ = complete(Description.model_validate(table))
        assert circuit is not None
        if single_fault_inputs(circuit) == inputs:
            same.append(key)
            after = board_fault_currents(every_board(circuit))
            assert (after.disarmed, after.test_path, after.fewest) == (before.disarmed, before.test_path, before.fewest)
        else:
            changed.append(key)
    assert len(set(changed)) > 15
    assert same


def test_a_list_without_faults_answers_nothing() -> None:
    """With every fault left out nothing was looked at: UNKNOWN, while disarmed and of the test path."""
    text = board(sense=SPLIT) + '\n[faults]\noff = [{ fault = "*", because = "so they say" }]\n'
    circuit = parse_circuit(text, "nothing.toml")
    found = judge_single_faults(circuit, single_fault_currents(circuit))
    asked = {(f.rule, f.phase): (f.verdict, f.reason) for f in found}
    unknown = ("UNKNOWN", Reason.NOT_ANALYSED)
    assert asked["single-fault-disarmed", "disarmed"] == unknown
    assert {asked["single-fault-test-path", phase] for phase in ("disarmed", "reset", "armed")} == {unknown}
