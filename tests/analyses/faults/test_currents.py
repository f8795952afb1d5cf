"""Igniter currents under faults: hand algebra, the healthy circuit, samples, order, names, and what nothing solves."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.corners import Corners
from ignition.analyses.faults.currents import hazards, highest_uncommanded, lowest_commanded
from ignition.analyses.faults.fault import Fault, single_faults
from ignition.analyses.faults.situations import Situation, situations
from ignition.analyses.no_fire.gate import gate_in_phase, phase_box
from ignition.analyses.no_fire.steady import no_fire
from ignition.circuit.examples import example_names, load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.network.solution import solve
from ignition.network.worst_members import Boxes
from tests.analyses.sense_circuits import bench, text

VOLTS, LEAD = 8.4, 0.39970799955868247 + 0.02


def currents(circuit: Circuit, *sets: tuple[str, ...], phase: str, controller: str = "alive") -> list[float]:
    """Highest current of an igniter that nobody commands under each set of faults."""
    asked = [s for s in situations(circuit) if s.phase == phase and s.controller == controller][:1]
    table = Bench.of(circuit, asked, single_faults(circuit))
    names = [fault.name for fault in table.faults]
    width = max((len(one) for one in sets), default=1)
    picks = [[names.index(f) for f in one] + [-1] * (width - len(one)) for one in sets]
    members = Members(situations=np.zeros(len(sets), dtype=np.intp), picks=np.array(picks, dtype=np.intp))
    found = highest_uncommanded(table, members, starts=4)
    assert found.settled.all()
    return [float(v) for v in found.current.max(axis=1)]


def current(circuit: Circuit, *faults: str, phase: str, controller: str = "alive") -> float:
    """The same of one set."""
    return currents(circuit, faults, phase=phase, controller=controller)[0]


LOOP = 0.04 + 0.01 + LEAD + 0.8
"""Battery, arm switch, lead and bridge at their lowest."""


def test_low_side_shorted() -> None:
    """While armed, the battery over its loop: hand algebra; so for a short at the MOSFET and a wire to ground."""
    circuit = bench()
    shorted, stuck, grounded = currents(
        circuit,
        ("line.mosfet drain-source-short",),
        ("line.gate pin stuck-high",),
        ("line.lead back to-ground",),
        phase="armed",
    )
    assert shorted == pytest.approx(VOLTS / LOOP, rel=1e-4)
    # the square law's current in saturation is an upper bound of a MOSFET that is on: 3.3 V - 1.0 V of drive
    assert 0.9 * VOLTS / LOOP < stuck < VOLTS / LOOP * (1.0 + 1e-6)
    assert grounded == pytest.approx(VOLTS / (LOOP - 0.5 * LEAD), rel=1e-4)


def test_divider_shorted() -> None:
    """Upper resistor shorted: the lower one and the pin's clamp behind 10 ohm are all that limits; a pin resistor helps."""
    circuit = bench()
    loop = LOOP + 10.0
    alive = (VOLTS - (3.3 + 0.5)) / loop  # the clamp takes all but what the lower resistor draws
    assert current(circuit, "line.upper short", phase="armed") == pytest.approx(alive, rel=2e-3)
    dead = (VOLTS - 0.5) / loop
    assert current(circuit, "line.upper short", phase="armed", controller="dead") == pytest.approx(dead, rel=1e-3)
    with_pin = bench(sense='upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %", pin_resistor = "10 kohm"')
    behind = (VOLTS - 0.5) / 10e3 + VOLTS / (0.99 * 33e3)
    assert current(with_pin, "line.upper short", phase="armed", controller="dead") == pytest.approx(behind, rel=1e-2)
    lower = VOLTS / (0.99 * 100e3)
    assert current(circuit, "line.lower short", phase="armed") == pytest.approx(lower, rel=1e-4)


def test_split_upper_resistor() -> None:
    """One of two shorted leaves the other; both shorted leave nothing."""
    split = bench(sense='upper = ["60 kohm ± 1 %", "40 kohm ± 1 %"], lower = "33 kohm ± 1 %"')
    one, other, both, drifted = currents(
        split,
        ("line.upper 1 short",),
        ("line.upper 2 short",),
        ("line.upper 1 short", "line.lower short"),
        ("line.upper 1 drifted", "line.lower short"),
        phase="armed",
        controller="dead",
    )
    # with the clamp at 0.5 V the tap stays at 0.5 V or a little more
    assert one == pytest.approx((VOLTS - 0.5) / (0.99 * 40e3), rel=1e-3)
    assert other == pytest.approx((VOLTS - 0.5) / (0.99 * 60e3), rel=1e-3)
    assert both == pytest.approx(VOLTS / (0.99 * 40e3), rel=1e-4)
    assert drifted == pytest.approx(VOLTS / (0.99 * (30e3 + 40e3)), rel=1e-4)


def test_pull_up_shorted() -> None:
    """A pull-up that is shorted puts the drain on its pin: 10 ohm of clamp, or a pin held low; a second one limits it."""
    pin = 'second = { drain_pull_up = "100 kohm" }'
    one = current(bench(second=pin), "line.drain pull-up short", phase="armed", controller="dead")
    # the bench's pin has no resistance of its own when it is low
    assert one == pytest.approx(VOLTS / LOOP, rel=1e-2)
    two = bench(second='second = { drain_pull_up = ["60 kohm", "40 kohm"] }')
    left, other = currents(
        two, ("line.drain pull-up 1 short",), ("line.drain pull-up 2 short",), phase="armed", controller="dead"
    )
    beside = VOLTS / (0.99 * 133e3)
    assert left == pytest.approx(VOLTS / 40e3 + beside, rel=0.3)
    assert other == pytest.approx(VOLTS / 60e3 + beside, rel=0.3)
    assert left > other
    both = current(two, "line.drain pull-up 1 short", "line.drain pull-up 2 short", phase="armed", controller="dead")
    assert both == pytest.approx(one, rel=1e-3)


def test_both_upper_resistors_shorted() -> None:
    """Two faults of one chain add up: what is left is the single resistor shorted."""
    split = bench(sense='upper = ["60 kohm", "40 kohm"], lower = "33 kohm"')
    plain = bench(sense='upper = "100 kohm", lower = "33 kohm"')
    both = current(split, "line.upper 1 short", "line.upper 2 short", phase="armed", controller="dead")
    assert both == pytest.approx(current(plain, "line.upper short", phase="armed", controller="dead"), rel=1e-6)
    assert both > 1000.0 * current(split, "line.upper 1 short", phase="armed", controller="dead")


def test_pair_of_pull_downs() -> None:
    """With one of two pull-downs open a dead controller's gate is still held; without any it floats."""
    single = bench()
    pair = parse_circuit(text().replace('pull_down = "10 kohm"', 'pull_down = ["20 kohm", "20 kohm"]'), "pair.toml")
    assert current(single, "line.pull-down open", phase="armed", controller="dead") > 5.0
    assert current(pair, "line.pull-down 1 open", phase="armed", controller="dead") < 1e-3
    both = current(pair, "line.pull-down 1 open", "line.pull-down 2 open", phase="armed", controller="dead")
    assert both == pytest.approx(current(single, "line.pull-down open", phase="armed", controller="dead"), rel=1e-9)
    assert current(pair, "line.pull-down 2 short", phase="armed", controller="dead") < 1e-3


def test_disarmed() -> None:
    """One fault leaves an inhibit; the switch stuck closed with the low side shorted leaves none."""
    circuit = bench()
    loop = VOLTS / LOOP
    stuck, pair, wire, bypass = currents(
        circuit,
        ("arm switch stuck-closed",),
        ("arm switch stuck-closed", "line.mosfet drain-source-short"),
        ("line.lead out to-battery",),
        ("line.lead out to-battery", "line.mosfet drain-source-short"),
        phase="disarmed",
    )
    assert stuck == pytest.approx(wire, rel=1e-5)
    assert stuck == pytest.approx(VOLTS / (0.99 * 133e3), rel=1e-3)
    assert pair == pytest.approx(loop, rel=1e-4)
    assert bypass == pytest.approx(VOLTS / (LOOP - 0.01 - 0.5 * LEAD), rel=1e-4)


def test_other_channel() -> None:
    """A fault of one channel reaches another's igniter: pairs swapped, and a wet connector, by hand."""
    two = bench(channels=2)
    wet = current(
        two, "connector wet, line.line back to line 2.line back", "line.mosfet drain-source-short", phase="armed"
    )
    assert wet == pytest.approx(VOLTS / LOOP, rel=1e-4)  # the shorted channel's own igniter
    only = current(two, "connector wet, line.line back to line 2.line back", phase="armed")
    assert only < 1e-3
    fired = [s for s in situations(two) if s.phase == "firing" and s.commanded == {"line"}]
    table = Bench.of(two, fired, single_faults(two))
    swapped = [fault.name for fault in table.faults].index("pairs of line and line 2 swapped")
    members = Members(situations=np.zeros(1, dtype=np.intp), picks=np.array([[swapped]]))
    found = highest_uncommanded(table, members)
    assert found.names[found.igniter[0, 1]] == "line 2.igniter 1.1"
    # the MOSFET's 10 mohm at 2.5 V, cold, is in the loop
    assert found.current[0, 1] == pytest.approx(VOLTS / (LOOP + 0.01), rel=1e-3)
    assert lowest_commanded(table, members).current[0, 0] < 1e-3


@pytest.mark.parametrize("name", [*example_names(), "bench"])
def test_empty_set_is_the_healthy_circuit(name: str) -> None:
    """Without a fault the whole network gives what the analysis of the healthy circuit gives, or a little more.

    It knows less of the other lines, and more of the gate: a leakage of the pin goes past the series resistor.
    """
    circuit = bench(channels=2) if name == "bench" else load_example(name)
    asked = [s for s in situations(circuit) if s.phase != "firing"]
    table = Bench.of(circuit, asked, single_faults(circuit))
    members = Members(situations=np.arange(len(asked)), picks=np.full((len(asked), 1), -1))
    found = highest_uncommanded(table, members, starts=4)
    for number, channel in enumerate(no_fire(circuit).channels):
        for phase in channel.phases:
            rows = [k for k, s in enumerate(asked) if s.phase == phase.phase]
            ours = found.current[rows, number].max()
            theirs = max(one.worst.current for one in phase.igniters)
            assert ours >= theirs * (1.0 - 1e-3) - 1e-9, (phase.phase, ours, theirs)
            assert ours <= theirs * 1.05 + 1e-7, (phase.phase, ours, theirs)


def members_of(table: Bench, sets: list[tuple[int, ...]], situation: int, size: int) -> Members:
    """Sets of faults in one situation."""
    picks = np.array([[*one, *[-1] * (size - len(one))] for one in sets], dtype=np.intp)
    return Members(situations=np.full(len(sets), situation), picks=picks)


def apart(faults: tuple[Fault, ...], size: int) -> list[tuple[int, ...]]:
    """Sets of faults of different parts."""
    every = combinations(range(len(faults)), size)
    return [one for one in every if len({faults[k].part for k in one}) == size]


def test_order_of_faults_and_company() -> None:
    """Neither the order in which faults are named nor what else is in the batch changes a member."""
    circuit = bench(channels=2)
    table = Bench.of(circuit, situations(circuit), single_faults(circuit))
    rng = np.random.default_rng(4)
    pairs = apart(table.faults, 2)
    chosen = [pairs[k] for k in rng.choice(len(pairs), 150, replace=False)]
    for situation in (0, 3, 4, 6):
        one = highest_uncommanded(table, members_of(table, chosen, situation, 2))
        turned = [tuple(reversed(pair)) for pair in chosen]
        other = highest_uncommanded(table, members_of(table, turned, situation, 2))
        assert other.current == pytest.approx(one.current, rel=1e-9)
        few = highest_uncommanded(table, members_of(table, chosen[:7], situation, 2))
        assert few.current == pytest.approx(one.current[:7], rel=1e-6, abs=1e-12)


def test_names_do_not_matter() -> None:
    """A circuit with its channels renamed has the same currents under the same faults."""
    first = bench(channels=2)
    second = parse_circuit(text(channels=2).replace("line 2", "b").replace('name = "line"', 'name = "zz"'), "b.toml")
    found = []
    for circuit in (first, second):
        table = Bench.of(circuit, situations(circuit), single_faults(circuit))
        count = len(table.faults)
        members = Members(
            situations=np.repeat(np.arange(len(table.situations)), count),
            picks=np.tile(np.arange(count)[:, None], (len(table.situations), 1)),
        )
        found.append(highest_uncommanded(table, members).current)
    assert found[0] == pytest.approx(found[1], rel=1e-6, abs=1e-12)


def rows_of(table: Bench, members: Members) -> list[tuple[Boxes, np.ndarray]]:
    """Boxes of all members, and to which members their rows belong."""
    return [
        (batch.boxes, batch.members[np.unique(batch.place, return_index=True)[1]]) for batch in table.batches(members)
    ]


def test_samples_lie_inside() -> None:
    """No sample of the tolerances gives an igniter more than the bound, and none a commanded one less."""
    circuit = load_example("demo")
    table = Bench.of(circuit, situations(circuit), single_faults(circuit))
    rng, count = np.random.default_rng(8), len(table.faults)
    pairs = apart(table.faults, 2)
    sets: list[tuple[int, ...]] = [(k,) for k in range(count)] + [
        pairs[k] for k in rng.choice(len(pairs), 200, replace=False)
    ]
    for situation, _ in enumerate(table.situations):
        members = members_of(table, sets, situation, 2)
        high, low = highest_uncommanded(table, members), lowest_commanded(table, members)
        for boxes, owners in rows_of(table, members):
            for _ in range(6):
                share = rng.random(boxes.low.shape)
                values = boxes.low + share * (boxes.high - boxes.low)
                found = boxes.solved(values)
                for number, name in enumerate(high.names):
                    channel = high.owner[number]
                    here, commanded = (
                        found.current(name),
                        circuit.channels[channel].name in table.situations[situation].commanded,
                    )
                    if commanded:
                        assert (np.maximum(here, 0.0) >= low.current[owners, channel] * (1 - 1e-9) - 1e-11).all()
                    else:
                        assert (np.abs(here) <= high.current[owners, channel] * (1 + 1e-9) + 1e-10).all()


def test_kirchhoff() -> None:
    """At every node of every single fault the currents sum to nothing, and every branch keeps its law."""
    circuit = load_example("demo")
    table = Bench.of(circuit, situations(circuit), single_faults(circuit))
    count = len(table.faults)
    for situation in range(len(table.situations)):
        members = members_of(table, [(k,) for k in range(count)], situation, 1)
        for boxes, _ in rows_of(table, members):
            found, network = boxes.solved(boxes.nominal), boxes.network
            total = {node: np.zeros(found.batch) for node in network.nodes}
            largest = np.zeros(found.batch)
            for element in network.elements:
                flow = found.current(element.name)
                largest = np.maximum(largest, np.abs(flow))
                for node, sign in ((element.plus, -1.0), (element.minus, 1.0)):
                    if node in total:
                        total[node] = total[node] + sign * flow
            for node, rest in total.items():
                assert (np.abs(rest) <= 1e-9 * largest + 1e-12).all(), node


def test_quick_search_misses_nothing() -> None:
    """Pairs sought quickly, from the corners of single faults, are those that the full search finds."""
    circuit = bench(channels=2, sense='upper = ["60 kohm ± 1 %", "40 kohm ± 1 %"], lower = "33 kohm ± 1 %"')
    table = Bench.of(circuit, situations(circuit), single_faults(circuit))
    count, pairs = len(table.faults), apart(table.faults, 2)
    singles = Members(
        situations=np.repeat(np.arange(len(table.situations)), count + 1),
        picks=np.tile(np.array([*range(count), -1])[:, None], (len(table.situations), 1)),
    )
    corners = Corners.none(table)
    highest_uncommanded(table, singles, record=corners)
    rng = np.random.default_rng(12)
    for situation in range(len(table.situations)):
        some = [pairs[k] for k in rng.choice(len(pairs), 1000, replace=False)]
        members = members_of(table, some, situation, 2)
        slow = highest_uncommanded(table, members).beyond.any(axis=1)
        found, unsolved = hazards(table, members, corners)
        assert (found == slow).all() and not unsolved.any()


def test_gate_as_the_hold_off_analysis_has_it() -> None:
    """The gate stage's off current of a healthy channel is that of the hold-off analysis, in each phase."""
    for name in example_names():
        circuit = load_example(name)
        asked = [s for s in situations(circuit) if s.phase != "firing"]
        table = Bench.of(circuit, asked, ())
        members = Members(situations=np.arange(len(asked)), picks=np.full((len(asked), 1), -1))
        batch = next(iter(table.batches(members)))
        columns = {parameter: k for k, parameter in enumerate(batch.boxes.network.parameters)}
        for channel in circuit.channels:
            for place, row in zip(batch.members, batch.place, strict=True):
                situation = asked[place]
                theirs = gate_in_phase(circuit, channel, situation.pins, situation.controller).off.current.high
                ours = batch.boxes.high[row, columns[f"{channel.name}.off current"]]
                assert ours >= theirs * (1.0 - 1e-3), (name, situation)
                assert ours <= theirs * 1.3 + 1e-9, (name, situation)


def test_solved_as_the_plain_network() -> None:
    """With nothing broken the whole network's nominal solution is that of the phase's own network."""
    from ignition.network.template import State, build_network

    circuit = load_example("demo")
    table = Bench.of(circuit, (Situation(phase="armed", controller="alive"),), ())
    members = Members(situations=np.zeros(1, dtype=np.intp), picks=np.full((1, 1), -1))
    batch = next(iter(table.batches(members)))
    ours = batch.boxes.solved(batch.boxes.nominal)
    network = build_network(circuit, State(phase="armed"))
    box = phase_box(circuit, "armed")
    theirs = solve(network, {n: box[n].nominal for n in network.parameters})
    for node in network.nodes:
        assert ours.voltage(node)[0] == pytest.approx(theirs.voltage(node)[0], rel=1e-6, abs=1e-9), node
