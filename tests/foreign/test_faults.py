"""Faults of foreign netlists: against circuit files, hand algebra, samples, and what they are judged."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.currents import highest_uncommanded
from ignition.analyses.faults.faults import board_faults, faults
from ignition.analyses.faults.loosened import loosened_beside
from ignition.analyses.faults.results import FaultRow, Faults
from ignition.analyses.faults.single import SingleFaults, board_fault_currents
from ignition.circuit.examples import load_example, netlist_example
from ignition.errors import InputError
from ignition.findings.finding import Finding, Reason
from ignition.foreign.analysis import analyse_foreign
from ignition.foreign.binding import Bound, bind
from ignition.foreign.board import netlist_board
from ignition.foreign.check import check_netlist, judge_netlist_faults, netlist_fault_sets
from ignition.foreign.fault_list import netlist_faults, sense_parts
from ignition.foreign.reader import parse_netlist
from ignition.foreign.roles import parse_roles
from ignition.foreign.whole import gate_sides, whole_netlist
from ignition.network.worst_case import Probe
from ignition.network.worst_members import Boxes
from ignition.report.json_walk import to_json
from tests.foreign.exported import exported, renamed
from tests.foreign.foreign_cases import BENCH_NETLIST, BENCH_ROLES

LINE = 0.04 + 0.01 + 0.3 + 0.8
"""Least battery, arm switch, lead and igniter resistance of the bench netlist [ohm]."""


def bench(*changes: tuple[str, str], netlist: str = BENCH_NETLIST, roles: str = BENCH_ROLES) -> Bound:
    """The bench channel as a netlist; each change is made where its text stands, in either file."""
    for old, new in changes:
        assert (old in netlist) != (old in roles), old
        netlist, roles = netlist.replace(old, new), roles.replace(old, new)
    return bind(parse_netlist(netlist, "bench.cir"), parse_roles(roles, "roles.toml"))


def split(*changes: tuple[str, str]) -> Bound:
    """The same with its upper resistor split into two."""
    return bench(
        ("R5 drain adc 100k", "R5 drain mid 50k\nR9 mid adc 50k"), ('R5 = "1 %"', 'R5 = "1 %"\nR9 = "1 %"'), *changes
    )


def rows_of(found: Faults, phase: str) -> dict[str, FaultRow]:
    """Single faults of a phase by name."""
    return {row.faults[0]: row for row in found.phase(phase).faults if len(row.faults) == 1}


def singles(bound: Bound) -> SingleFaults:
    """Single faults as a check asks of them."""
    return board_fault_currents(netlist_board(bound))


def judged(bound: Bound, rule: str, phase: str | None = None) -> list[Finding]:
    """Findings of one rule."""
    found = judge_netlist_faults(bound, singles(bound))
    return [f for f in found if f.rule == rule and phase in (None, f.phase)]


@pytest.fixture(scope="module")
def example() -> Bound:
    """The example that travels with the package."""
    shown = netlist_example()
    return bind(parse_netlist(shown.netlist, "foreign.cir"), parse_roles(shown.roles, "roles.toml"))


@pytest.fixture(scope="module")
def result(example: Bound) -> Faults:
    """Its faults and pairs."""
    return netlist_fault_sets(example)


@pytest.mark.parametrize(("name", "compared"), [("tether-cutter", 108), ("kelp-line-cutter", 105)])
def test_an_exported_circuit_file_has_its_own_single_faults(name: str, compared: int) -> None:
    """An example's deck, read back, has the circuit file's currents and classes under every fault that both know.

    Both solve the same elements, so that 1e-6 is rounding; 1 nA is what the converter pin's lower clamp and the ties of
    1 Tohm, which the circuit file lacks, could pass.
    """
    circuit, parts = load_example(name), renamed(load_example(name))
    theirs, ours = faults(circuit), netlist_fault_sets(exported(name))
    count = 0
    for phase in ours.phases:
        mine = rows_of(ours, phase.phase)
        assert phase.fewest == theirs.phase(phase.phase).fewest
        for row in theirs.phase(phase.phase).faults:
            part = row.members[0].part
            own = mine.get(f"{parts.get(part)}{row.faults[0][len(part) :]}")
            if own is not None:
                count += 1
                assert own.current == pytest.approx(row.current, rel=1e-6, abs=1e-9), (phase.phase, row.faults)
                assert own.detected_by == row.detected_by and own.limit == row.limit, (phase.phase, row.faults)
                # a split resistor is one in the deck, so that other pairs, and what is latent, differ
                assert {own.kind, row.kind} in ({own.kind}, {"latent", "harmless"}), (phase.phase, row.faults)
    assert count == compared


def test_pairs_of_an_exported_circuit_file_are_its_own() -> None:
    """The smallest circuit's pairs that fire, in each phase, are as many as its netlist's."""
    theirs, ours = faults(load_example("tether-cutter")), netlist_fault_sets(exported("tether-cutter"))
    for phase in ours.phases:
        assert (phase.pairs, phase.fewest) == (theirs.phase(phase.phase).pairs, theirs.phase(phase.phase).fewest)


def test_single_faults_by_hand() -> None:
    """Upper resistor shorted: the battery through the bridge into a dead converter's clamp; MOSFET shorted: all of it."""
    armed = rows_of(netlist_fault_sets(bench()), "armed")
    shorted = armed["M1 drain-source-short"]
    assert shorted.kind == "hazardous" and shorted.current == pytest.approx(8.4 / (LINE + 1e-6), rel=1e-9)
    upper = armed["R5 short"]  # no supply behind the clamp, its least drop, no resistance in it
    assert upper.controller == "dead" and upper.kind == "hazardous"
    assert upper.current == pytest.approx((8.4 - 0.2) / (LINE + 1e-6), rel=1e-3)
    assert armed["wire drain to-ground"].current == pytest.approx(8.4 / (LINE + 1e-6), rel=1e-9)
    lower = armed["R6 short"]  # the drain's own leakage beside: 40 uA, hot
    assert lower.current == pytest.approx(8.4 / (LINE + 99e3), abs=45e-6)
    assert armed["RIGN open"].current == pytest.approx(0.0, abs=1e-9)
    leaky = armed["M1 leaky"]
    assert leaky.current == pytest.approx(8.4 / 10e3 + 8.4 / 131.67e3, abs=45e-6)
    assert leaky.kind == "harmless" and not leaky.detected_by  # the drain stays at the battery's voltage
    drifted = armed["R5 drifted"]
    assert drifted.current == pytest.approx((8.4 - 0.2) / (0.5 * 99e3), abs=3e-6)  # into the clamp too


def test_a_shorted_upper_resistor_against_a_chain_by_hand() -> None:
    """Without a clamp in the way the battery stands over the igniter and the rest of the divider alone."""
    low = bench(("R5 drain adc 100k", "R5 drain adc 100\nR8 adc tap 47"), ("R6 adc 0 33kohm", "R6 tap 0 3"),
                ('R5 = "1 %"', 'R5 = "1 %"\nR8 = "0 %"'), ('R6 = "1 %"', 'R6 = "0 %"'))  # fmt: skip
    found = rows_of(netlist_fault_sets(low), "armed")["R5 short"]
    into_clamp = (8.4 - 0.2) / (LINE + 1e-6)
    assert found.current == pytest.approx(into_clamp + 0.2 / 50.0, rel=1e-3)
    driven = rows_of(netlist_fault_sets(low), "armed")["converter pin adc clamp-open"]
    assert driven.current == pytest.approx(8.4 / (LINE + 99.0 + 50.0), abs=45e-6)


def test_a_single_fault_that_fires_while_disarmed_fails() -> None:
    """A resistor around the arm switch: with the MOSFET shorted it fires; without that resistor no single fault does."""
    around = bench(
        ("R_ARM batt bus 20m", "R_ARM batt bus 20m\nR_AROUND batt bus 10"),
        ("[tolerance]\n", '[tolerance]\nR_AROUND = "1 %"\n'),
    )
    (finding,) = judged(around, "single-fault-disarmed")
    assert finding.verdict == "FAIL" and finding.reason is Reason.EXCEEDED
    assert finding.value == pytest.approx(8.4 / (0.04 + 9.9 + 0.3 + 0.8), rel=1e-5)
    assert check_netlist(around.netlist, around.roles).verdict == "FAIL"
    (plain,) = judged(bench(), "single-fault-disarmed")
    assert plain.verdict == "PASS" and plain.limit == 0.2


def test_one_upper_resistor_fails_the_test_path_and_two_do_not() -> None:
    """A short of the only upper resistor fires; of one of two the other still holds the current to a tenth."""
    one = judged(bench(), "single-fault-test-path", "armed")
    assert [f.verdict for f in one] == ["FAIL"] and "R5 short" in one[0].says
    two = judged(split(), "single-fault-test-path", "armed")
    assert [f.verdict for f in two] == ["PASS"] and two[0].value == pytest.approx(8.4 / (0.99 * 50e3), rel=0.3)


def test_parts_of_the_test_path(example: Bound) -> None:
    """All that is tied to a line, not past igniter, switch, source, ground, gate or pin."""
    names = {f"{x}.{part}" for x in ("XSA", "XSB") for part in ("R1", "R2", "R3", "R4", "C1", "D1")}
    names |= {"C1", "RA1", "RB1", "RF1", "RX1"}
    assert sense_parts(example) == names
    sides = {fault.part for fault in netlist_faults(example) if fault.side == "test path"}
    assert sides == names | {"converter pin a_adc", "converter pin b_adc"}
    assert sense_parts(bench(('sense_node = "adc"', 'sense_node = "drain"'))) == {"R5", "R6", "C1", "RLEAD"}
    assert sense_parts(bench()) == {"R5", "R6", "C1", "RLEAD"}


def test_an_ammeter_in_the_test_path_is_a_wire() -> None:
    """A source of 0 V between the divider's resistors leads on; one of 3 V ends the path."""
    meter = ("R5 drain adc 100k", "R5 drain mid 100k\nVM mid adc 0")
    assert sense_parts(bench(meter)) == {"R5", "R6", "C1", "RLEAD"}
    source = ("R5 drain adc 100k", "R5 drain mid 100k\nVM mid adc 3")
    assert sense_parts(bench(source, ("[tolerance]\n", '[tolerance]\nVM = "1 %"\n'))) == {"R5", "RLEAD"}


def test_a_lamp_at_the_line_is_a_part_of_the_test_path() -> None:
    """Its resistor shorted lets amperes through an igniter that nobody commands: 8.4 V over an ohm or two, less a drop."""
    lamp = "RLED drain led 2.2k\nDLED led 0 DLAMP\n.model DLAMP D(Is=1e-18 Rs=0.1)"
    board = bench(("R5 drain adc", f"{lamp}\nR5 drain adc"), ('R5 = "1 %"', 'R5 = "1 %"\nRLED = "1 %"'))
    assert {"RLED", "DLED"} <= sense_parts(board)
    (found,) = judged(board, "single-fault-test-path", "armed")
    assert found.verdict == "FAIL" and found.value is not None and found.value > 1.0


def test_every_part_has_the_faults_of_its_kind(example: Bound) -> None:
    """Counted part by part; names are unique; what a mode does is in the network."""
    found = netlist_faults(example)
    assert len({fault.name for fault in found}) == len(found)
    modes: dict[str, int] = {}
    for fault in found:
        modes[fault.mode.kind] = modes.get(fault.mode.kind, 0) + 1
    resistors = sum(part.kind == "r" for part in example.netlist.parts) - 3  # arm switch and two igniters
    assert modes == {
        "resistor": 3 * resistors, "switch": 2, "igniter": 4, "capacitor": 6, "diode": 6, "mosfet": 12, "pin": 8,
        "converter": 6, "lead": 8, "connector": 6, "regulator": 2, "controller": 1,
    }  # fmt: skip
    whole = whole_netlist(example)
    present = {element.name for element in whole.elements}
    for fault in found:
        missing = {name for name in fault.opened | fault.closed if name not in present}
        assert missing <= {f"{fault.part} breakdown"}, fault.name  # of a diode without one
        assert set(fault.values) | set(fault.scaled) | fault.from_rail <= set(whole.parameters), fault.name


def test_an_inductor_opens_and_its_short_changes_nothing() -> None:
    """In series with the lead: open stops the current, shorted it is the link that it was."""
    found = rows_of(
        netlist_fault_sets(bench(("RLEAD bus out 400mohm", "RLEAD bus coil 400mohm\nL1 coil out 1u"))), "armed"
    )
    assert found["L1 open"].current == pytest.approx(0.0, abs=1e-9)
    assert found["L1 short"].current == pytest.approx(found["C1 open"].current, rel=1e-9)


def test_the_example_finds_what_it_was_made_for(result: Faults) -> None:
    """The pull-down is all that holds a gate that is not driven; nothing fires alone while disarmed."""
    reset = rows_of(result, "reset")
    for name in ("XA.R2 open", "RPU1 short", "MB1 drain-source-short", "gate pin a_pin stuck-high"):
        assert reset[name].kind == "hazardous", name
    assert reset["XSA.R1 short"].kind == "latent"  # with the other upper resistor shorted too
    assert result.fewest == {"disarmed": 2, "reset": 1, "armed": 1}
    assert not result.phase("disarmed").of("hazardous", "not solved", "not judged")
    stands = {(i.phase, i.channel, i.inhibit): i.defeated_by for i in result.inhibits}
    assert "RLY1 stuck-closed" in stands["disarmed", "line A", "RLY1 open"]
    assert "XA.R2 open" in stands["disarmed", "line A", "MOSFET off"]
    assert "XA.R2 open" not in stands["disarmed", "line B", "MOSFET off"]


def test_the_tables_of_a_netlist_have_the_keys_of_a_circuit_file(result: Faults) -> None:
    """The JSON of faults has the same keys, and the circuit is the netlist's file."""
    ours, theirs = (json.loads(to_json(one)) for one in (result, faults(load_example("tether-cutter"))))
    assert set(ours) == set(theirs) and ours["circuit"] == "foreign.cir"
    assert set(ours["phases"][0]) == set(theirs["phases"][0])
    assert set(ours["phases"][0]["faults"][0]) == set(theirs["phases"][0]["faults"][0])


def test_samples_lie_inside_the_bounds(example: Bound) -> None:
    """Random values of every part, other igniters whole, open or shorted: no current above the one told."""
    board = netlist_board(example)
    table = Bench.on(board)
    members = Members.each(range(len(table.situations)), np.array([*range(len(table.faults)), -1])[:, None])
    worst = highest_uncommanded(table, members)
    rng, count = np.random.default_rng(5), 0
    for batch in table.batches(members):
        for number, name in enumerate(table.igniters):
            boxes = loosened_beside(table, batch.boxes, np.full(len(batch.first), number))
            weights = Probe(element=name).weights(boxes.network)
            for _ in range(12):
                share = rng.random(boxes.low.shape)
                values = boxes.low + np.where(rng.random() < 0.5, np.round(share), share) * (boxes.high - boxes.low)
                current = np.abs(boxes.solved(values).unknowns @ weights)[batch.place]
                told = worst.current[batch.members, table.owner[number]]
                assert np.all(current <= told * (1 + 1e-9) + 1e-9)
                count += len(told)
    assert count == 12 * 2 * len(members.situations)


def test_with_nothing_broken_the_margins_come_out() -> None:
    """The bound without a fault holds the current that continuity tells, and is that current where it is alive."""
    for change in ((), (('reset_pull_up = "none"', 'reset_pull_up = "40 kohm ± 20 %"'),)):
        bound = bench(*change)
        board, margins = netlist_board(bound), analyse_foreign(bound.netlist, bound.roles)
        table = Bench.on(board)
        alive = [k for k, s in enumerate(table.situations) if s.controller == "alive"]
        worst = highest_uncommanded(table, Members.each(alive, np.array([[-1]])))
        for row, number in enumerate(alive):
            margin = margins.margin(table.situations[number].phase, "RIGN").current.largest
            assert worst.current[row, 0] == pytest.approx(margin, rel=1e-6, abs=1e-8)


def test_gates_by_themselves_and_on_the_lines(example: Bound) -> None:
    """The example's gates settle by themselves; one with a resistor from its drain does not."""
    assert all(side.apart for side in gate_sides(example, whole_netlist(example)).values())
    hung = hanging("1meg")
    assert not any(side.apart for side in gate_sides(hung, whole_netlist(hung)).values())
    assert netlist_board(hung).hung.all()


def hanging(resistance: str) -> Bound:
    """The bench netlist with a resistor from drain to gate."""
    return bench(
        ("R4 gate 0 10k", f"R4 gate 0 10k\nR7 drain gate {resistance}"), ("[tolerance]\n", '[tolerance]\nR7 = "1 %"\n')
    )


def test_a_gate_on_its_own_drain_by_hand() -> None:
    """1 Mohm lifts it to 84 mV in reset, which holds; 20 kohm to 2.8 V, above the lowest threshold, which does not."""
    held = netlist_fault_sets(hanging("1meg"))
    assert held.fewest["reset"] == 1 and not held.phase("reset").of("not solved")
    open_down = rows_of(held, "reset")["R4 open"]  # the drain's voltage is then the gate's
    assert open_down.kind == "hazardous" and open_down.current is not None
    assert 8.4 / (LINE + 0.01) < open_down.current < 8.4 / LINE  # 10 mohm at 2.5 V, less above
    assert rows_of(held, "reset")["R7 open"].kind == "harmless"
    lifted = netlist_fault_sets(hanging("20k"))
    assert lifted.fewest["reset"] == 0 and lifted.fewest["disarmed"] != 0


def test_gates_on_the_lines_settle_under_every_fault() -> None:
    """Every fault of a netlist whose gate hangs on its drain has an off current, and with nothing broken it is small."""
    table = Bench.on(netlist_board(hanging("100k")))
    count = len(table.faults) + 1
    members = Members.each(table.numbers("reset"), np.array([*range(count - 1), -1])[:, None])
    highest = np.full(len(members.picks), np.nan)
    for batch in table.batches(members):
        boxes, off = batch.boxes, batch.boxes.network.parameters.index("M1 off current")
        assert not batch.unsettled.any()
        assert (boxes.low[:, off] <= boxes.nominal[:, off]).all() and (boxes.nominal <= boxes.high)[:, off].all()
        highest[batch.members] = boxes.high[batch.place, off]
    # 8.4 V through 99 kohm over 10 kohm: 0.77 V plus leakage, below the lowest threshold of 1.0 V
    assert 0.0 < highest[count - 1] < 1e-3 and not np.isnan(highest).any()
    shorted = [fault.name for fault in table.faults].index("R7 short")
    assert highest[shorted] > 100.0  # it could pass more than any battery gives


def test_a_drain_gate_short_lifts_the_gates_that_share_the_node() -> None:
    """Two lines on one gate node: the short of one MOSFET turns the other on."""
    second = "RLEAD2 bus out2 400mohm\nRIGN2 out2 drain2 1\nM2 drain2 gate 0 SW\nR15 drain2 adc2 1meg\nR16 adc2 0 33k\n"
    start = BENCH_ROLES.index("[[channel]]")
    lines = '[tolerance]\nRLEAD2 = "0.3 ohm .. 0.6 ohm"\nR15 = "1 %"\nR16 = "1 %"\n'
    other = BENCH_ROLES[start : BENCH_ROLES.index("[tolerance]")]
    for old, new in (('"line"', '"other"'), ("RIGN", "RIGN2"), ("M1", "M2"), ('"adc"', '"adc2"')):
        other = other.replace(old, new)
    roles = BENCH_ROLES.replace("[tolerance]\n", other + lines)
    both = bench(netlist=BENCH_NETLIST.replace("M1 drain", second + "M1 drain"), roles=roles)
    board = netlist_board(both)
    table = Bench.on(board)
    names = [fault.name for fault in board.faults]
    pick = names.index("M1 drain-gate-short")
    assert board.hung[pick].all() and not board.hung[-1].any()
    found = highest_uncommanded(table, Members.each(table.numbers("reset"), np.array([[pick]])))
    assert found.beyond[:, 1].all()  # the other line's igniter
    plain = highest_uncommanded(
        table, Members.each(table.numbers("reset"), np.array([[names.index("M1 drain-source-short")]]))
    )
    assert not plain.beyond[:, 1].any()


def test_a_gate_that_nothing_holds_may_be_on() -> None:
    """Without a pull-down the gate's leakage may lift it up to the battery: in reset it fires with nothing broken."""
    loose = bench(("R4 gate 0 10k\n", ""), ('R4 = "0 %"\n', ""))
    found = netlist_fault_sets(loose)
    assert found.fewest["reset"] == 0
    told = rows_of(found, "reset")["C1 open"].current
    assert told is not None and 8.4 / (LINE + 0.01) < told < 8.4 / LINE  # 10 mohm at 2.5 V, less above


def test_a_netlist_without_a_solution_is_not_solved() -> None:
    """Two sources in parallel: every fault is not solved, no count is told, and every finding is UNKNOWN."""
    twice = bench(
        (".model", "V8 bus 0 5\nV9 bus 0 6\n.model"), ("[tolerance]\n", '[tolerance]\nV8 = "1 %"\nV9 = "1 %"\n')
    )
    found = netlist_fault_sets(twice)
    for phase in found.phases:
        assert {row.kind for row in phase.faults} == {"not solved"} and phase.fewest is None
    assert found.fewest["armed"] is None and found.phase("armed").unsolved == 0
    every = judge_netlist_faults(twice, singles(twice))
    assert {f.verdict for f in every} == {"UNKNOWN"} and {f.reason for f in every} == {Reason.NOT_SOLVED}
    json.loads(to_json(found), parse_constant=pytest.fail)


def test_a_current_source_without_a_path_is_not_solved() -> None:
    """A load that may draw from a part of the netlist that nothing else feeds drives it beyond any voltage."""
    load = bench(("R4 gate 0 10k", "R4 gate 0 10k\nI1 0 alone 1m"), ("[tolerance]\n", '[tolerance]\nI1 = "1 %"\n'))
    assert {row.kind for row in netlist_fault_sets(load).phase("armed").faults} == {"not solved"}


def test_a_missing_no_fire_current_is_not_judged() -> None:
    """Currents without a limit have a class of their own, and no count of faults is known."""
    start = BENCH_ROLES.index("no_fire =")
    roles = BENCH_ROLES[:start] + BENCH_ROLES[BENCH_ROLES.index("all_fire =") :]
    found = netlist_fault_sets(bench(roles=roles))
    assert {row.kind for row in found.phase("armed").faults} == {"not judged"} and found.fewest["armed"] is None
    assert {f.verdict for f in judged(bench(roles=roles), "single-fault-disarmed")} == {"UNKNOWN"}


@pytest.mark.parametrize(("asked", "verdicts"), [(2, ["PASS", "FAIL"]), (3, ["FAIL", "FAIL"])])
def test_faults_to_fire_at_least(example: Bound, asked: int, verdicts: list[str]) -> None:
    """A limit of one's own in the role file: disarmed it takes two faults, armed one."""
    limit = f'\n[[rules.limit]]\nname = "mine"\nkind = "faults to fire at least"\nfaults = {asked}\n'
    limit += 'phases = ["disarmed", "armed"]\nsource = "house rule"\ndate = "2026"\n'
    shown = netlist_example()
    bound = bind(parse_netlist(shown.netlist), parse_roles(shown.roles + limit))
    found = {f.phase: f.verdict for f in judge_netlist_faults(bound, singles(bound)) if f.rule == "mine"}
    assert [found[phase] for phase in ("disarmed", "armed")] == verdicts


def test_a_check_answers_openly_what_it_does_not(example: Bound) -> None:
    """Firing, edges and ratings are UNKNOWN as not analysed, so that the whole is not PASS; what is judged stays."""
    found = check_netlist(example.netlist, example.roles)
    open_ones = {str(f.question) for f in found.findings if f.reason is Reason.NOT_ANALYSED}
    assert {"firing current", "switch-on edge", "MOSFET blocks the battery", "converter reads the line"} <= open_ones
    assert not {"single faults", "gate held off", "igniter current while nobody commands"} & open_ones
    assert found.verdict == "UNKNOWN" and all(f.verdict != "FAIL" for f in found.findings)
    rules = {f.rule for f in found.findings if f.verdict == "PASS"}
    assert {"single-fault-disarmed", "single-fault-test-path", "below-no-fire", "gate-held-off"} <= rules


def test_a_controller_that_the_stuck_switch_feeds() -> None:
    """Powered after the arm switch, disarmed: a stuck switch brings the supply back, and what hangs on it."""
    roles = BENCH_ROLES.replace(
        'powered_by = "before arm switch"', 'powered_by = "after arm switch"\nsupply_element = "VDD"'
    )
    netlist = BENCH_NETLIST.replace("R4 gate 0 10k", "R4 gate 0 10k\nVDD vdd 0 3.3\nR8 vdd gate 5k")
    found = netlist_fault_sets(
        bench(netlist=netlist, roles=roles.replace("[tolerance]\n", '[tolerance]\nR8 = "1 %"\n'))
    )
    disarmed = rows_of(found, "disarmed")
    assert disarmed["R_ARM stuck-closed"].kind == "hazardous"  # 3.3 V through 5 kohm over 10 kohm: 2.2 V at the gate
    assert disarmed["C1 open"].kind == "harmless" and found.fewest["disarmed"] == 1


def test_the_order_is_one_to_three(example: Bound) -> None:
    """Other orders are refused; pairs are listed from two on."""
    with pytest.raises(InputError, match="the order is 1, 2 or 3 faults at a time; received 4"):
        netlist_fault_sets(example, 4)
    pairs = board_faults(netlist_board(exported("tether-cutter")), 2).phase("disarmed").faults
    assert sum(len(row.faults) == 2 for row in pairs) == 19


def test_faults_of_parts_belong_to_their_channel(example: Bound) -> None:
    """What hangs on one line or gate alone is its; what the cross-link, the bus or the supply joins is nobody's."""
    owner: dict[str, Any] = {fault.part: fault.channel for fault in netlist_faults(example)}
    assert owner["XA.R2"] == "line A" and owner["XB.R1"] == "line B" and owner["MA1"] == "line A"
    assert owner["RX1"] is None and owner["RF1"] is None and owner["regulator"] is None
    assert owner["RPU1"] == "line B" and owner["wire a_out"] == "line A"


def test_a_sampled_current_beyond_the_worst_case_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """One within the limit makes the fault not solved, and UNKNOWN; one at the limit makes it hazardous."""
    seen = 0.0

    def beyond(boxes: Boxes, weights: np.ndarray[Any, Any], count: int) -> tuple[np.ndarray[Any, Any], ...]:
        return np.full(len(weights), -seen), np.zeros(len(weights))

    monkeypatch.setattr("ignition.analyses.faults.currents.sampled", beyond)
    board = netlist_board(split())
    table = Bench.on(board)
    members = Members.each(table.numbers("disarmed"), np.array([[-1]]))
    assert highest_uncommanded(table, members).settled.all()
    seen = 0.15
    found = highest_uncommanded(table, members)
    assert not found.settled.any() and not found.beyond.any() and (found.igniter == -1).all()
    assert {f.verdict for f in judge_netlist_faults(split(), singles(split()))} == {"UNKNOWN", "FAIL"}
    seen = 0.2
    found = highest_uncommanded(table, members)
    assert found.beyond.all() and found.current == pytest.approx(0.2)
    seen = np.inf
    assert not highest_uncommanded(table, members).settled.any()


def test_two_inductors_side_by_side_are_solved() -> None:
    """A link of next to no resistance each, so that two of them are no loop without an answer."""
    both = bench(("RLEAD bus out 400mohm", "RLEAD bus coil 400mohm\nL1 coil out 1u\nL2 coil out 1u"))
    assert not any(singles(both).unsolved.values())


@pytest.mark.parametrize(
    "changes",
    [
        (("M1 drain gate 0 SW", "M1 drain gate src SW\nR20 src 0 0.1"), ("[tolerance]\n", '[tolerance]\nR20 = "1 %"\n')),
        (("R3 pin gate 100\n", ""), ('R3 = "0 %"\n', ""), ('{ node = "pin" }', '{ node = "gate" }')),
        (("R3 pin gate 100", "R3 pin gate 100\nVP pin 0 0"), ('{ node = "pin" }', '{ element = "VP" }')),
        (("R_ARM batt bus 20m", "R_ARM batt in 20m\nRA2 in bus 20m"), ('["R_ARM"]', '["R_ARM", "RA2"]')),
    ],
    ids=["source resistor", "no series resistor", "pin as a source", "switch of two contacts"],
)  # fmt: skip
def test_other_shapes_have_the_same_points(changes: tuple[tuple[str, str], ...]) -> None:
    """What fires alone while armed does not hang on how the same circuit is drawn."""
    plain, other = singles(bench()), singles(bench(*changes))
    pins = {point.fault.replace("pin gate", "pin pin") for point in other.points}
    assert pins == {point.fault for point in plain.points} and "R5 short" in pins
    assert other.fewest == plain.fewest == {"disarmed": 2, "reset": 1, "armed": 1}
    assert not any(other.unsolved.values())


def test_likelihood_of_faults_of_a_netlist() -> None:
    """A fault of a part that a source gives shares of has that share, as in a circuit file: a resistor short 5 %."""
    shown = netlist_example()
    faults = {
        f.name: f.likelihood for f in netlist_faults(bind(parse_netlist(shown.netlist), parse_roles(shown.roles)))
    }
    assert {likely for name, likely in faults.items() if name.endswith("R2 short")} == {0.05}
