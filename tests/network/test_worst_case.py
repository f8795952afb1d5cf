"""Worst case: equal to all corners where they can be listed, and never left by a sample."""

from __future__ import annotations

import itertools
from collections.abc import Mapping

import numpy as np
import pytest

from ignition.analyses.firing.on_state import firing_network, on_states
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.examples import load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.errors import NetworkError
from ignition.network.elements import GROUND, Element, Network
from ignition.network.solution import solve
from ignition.network.template import PHASES, State, adc_pin, build_network, igniter_names, line_states
from ignition.network.worst_case import (
    NEGLIGIBLE,
    Extreme,
    Probe,
    _alike,
    _contradicted,
    _enumerated,
    _free,
    _sign_points,
    _Task,
    draw,
    extremes,
)
from ignition.toleranced import Toleranced, vertices
from tests.spice.generate import circuit_text

CIRCUITS = 520
STEADY = [p for p in PHASES if p not in ("switch-on", "firing")]


def situation(circuit: Circuit, seed: int) -> tuple[Network, Mapping[str, Toleranced]]:
    """One state of a circuit, cycling through phases and line states with the seed."""
    channel = circuit.channels[seed % len(circuit.channels)]
    if seed % 4 == 3:
        commanded = frozenset({channel.name})
        return firing_network(circuit, commanded), on_states(circuit, commanded)[1]
    states = line_states(channel)
    line = states[seed // 4 % len(states)]
    phase = STEADY[seed % 3]
    return build_network(circuit, State(phase=phase, lines={channel.name: line})), phase_box(circuit, phase)


def probes_of(circuit: Circuit) -> list[Probe]:
    """All igniter currents and converter pins."""
    names = [n for c in circuit.channels for string in igniter_names(c) for n in string]
    return [*(Probe(element=n) for n in names), *(Probe(node=adc_pin(c)) for c in circuit.channels)]


def test_no_sample_leaves_the_bounds(record_testsuite_property: pytest.FixtureRequest) -> None:
    """On over 500 generated circuits no igniter current and no pin voltage of 200 samples lies outside its bounds."""
    seen = 0
    for seed in range(CIRCUITS):
        circuit = parse_circuit(circuit_text(seed), name=f"{seed}.toml")
        network, box = situation(circuit, seed)
        probes = probes_of(circuit)
        try:
            found = extremes(network, box, probes)
        except NetworkError as error:
            assert "floating" in str(error), f"seed {seed}: {error}"
            continue
        samples = draw({n: box[n] for n in network.parameters}, np.random.default_rng(seed), 200)
        values = solve(network, samples).unknowns @ np.stack([p.weights(network) for p in probes]).T
        for index, extreme in enumerate(found):
            slack = 1e-9 * max(abs(extreme.low), abs(extreme.high)) + 1e-11
            assert values[:, index].min() >= extreme.low - slack, f"seed {seed}, {probes[index]}, below {extreme.low}"
            assert values[:, index].max() <= extreme.high + slack, f"seed {seed}, {probes[index]}, above {extreme.high}"
        seen += 1
    record_testsuite_property("circuits whose samples were held to the bounds", seen)  # type: ignore[operator]
    assert seen >= 500


@pytest.mark.parametrize("line", ["intact", "open", "shorted", "mosfet shorted", "not armed"])
def test_signs_find_what_all_corners_find(line: str) -> None:
    """For one channel the corner by signs equals the extreme of all 2^n corners."""
    circuit = load_example("tether-cutter")
    box = phase_box(circuit, "armed")
    network = build_network(circuit, State(phase="armed", lines={"cutter": line}))
    names = network.parameters
    corners = vertices([box[n] for n in names])
    assert len(corners) >= 64
    solution = solve(network, {n: corners[:, i] for i, n in enumerate(names)})
    for probe, extreme in zip(probes_of(circuit), extremes(network, box, probes_of(circuit)), strict=True):
        every = solution.unknowns @ probe.weights(network)
        assert (extreme.low, extreme.high) == (
            pytest.approx(every.min(), abs=20 * NEGLIGIBLE),
            pytest.approx(every.max(), abs=20 * NEGLIGIBLE),
        )


def test_firing_corners_are_all_corners() -> None:
    """In the firing network of the smallest circuit the bounds are those of all corners."""
    circuit = load_example("tether-cutter")
    commanded = frozenset({"cutter"})
    network, box = firing_network(circuit, commanded), on_states(circuit, commanded)[1]
    corners = vertices([box[n] for n in network.parameters])
    every = solve(network, {n: corners[:, i] for i, n in enumerate(network.parameters)}).current("cutter.igniter 1.1")
    found = extremes(network, box, [Probe(element="cutter.igniter 1.1")])[0]
    assert found.low == pytest.approx(every.min(), rel=1e-12) and found.high == pytest.approx(every.max(), rel=1e-12)


def resistor(name: str, plus: str, minus: str) -> Element:
    """A resistor whose parameter has its own name."""
    return Element(name=name, kind="resistor", plus=plus, minus=minus, resistance=((name, 1.0),))


def battery(plus: str = "top") -> Element:
    """An ideal battery of voltage E."""
    return Element(name="battery", kind="source", plus=plus, minus=GROUND, voltage=(("E", 1.0),))


def undecided(extreme: Extreme) -> int:
    """How many values were enumerated or covered by the margin."""
    return int(extreme.method.split(", ")[1].removesuffix(" undecided"))


def value_at(network: Network, corner: Mapping[str, float], probe: Probe) -> float:
    """The output at one corner."""
    return float(solve(network, corner).unknowns[0] @ probe.weights(network))


def test_output_is_plus_node_less_reference_node() -> None:
    """Weights by hand: one on the node, minus one on the reference, none on ground; one on an element's current."""
    network = Network(elements=(battery(), resistor("a", "top", "tap"), resistor("b", "tap", GROUND)))
    assert Probe(node="top", reference="tap").weights(network).tolist() == [1.0, -1.0, 0.0, 0.0, 0.0]
    assert Probe(node="tap").weights(network).tolist() == [0.0, 1.0, 0.0, 0.0, 0.0]
    assert Probe(node=GROUND, reference="tap").weights(network).tolist() == [0.0, -1.0, 0.0, 0.0, 0.0]
    assert Probe(node="tap", reference="tap").weights(network).tolist() == [0.0] * 5
    assert Probe(element="b").weights(network).tolist() == [0.0, 0.0, 0.0, 0.0, 1.0]
    with pytest.raises(NetworkError, match="no node 'pin'; there are top, tap"):
        Probe(node="pin").weights(network)


def test_a_network_without_tolerances_has_one_corner() -> None:
    """6 V over 1 + 2 ohm, all exact: 2 A and 4 V, low as high, however many outputs are asked for."""
    battery = Element(name="battery", kind="source", plus="a", minus=GROUND, voltage=(("E", 1.0),))
    upper = Element(name="upper", kind="resistor", plus="a", minus="b", resistance=(("R", 1.0),))
    lower = Element(name="lower", kind="resistor", plus="b", minus=GROUND, resistance=(("S", 1.0),))
    box = {n: Toleranced.exact(v) for n, v in (("E", 6.0), ("R", 1.0), ("S", 2.0))}
    current, drop = extremes(Network(elements=(battery, upper, lower)), box, [Probe(element="upper"), Probe(node="b")])
    assert (current.low, current.nominal, current.high) == (pytest.approx(2.0),) * 3
    assert (drop.low, drop.nominal, drop.high) == (pytest.approx(4.0),) * 3


def test_sizes_are_the_largest_effects_of_the_tolerances() -> None:
    """Of 5 to 7 V over 1 to 2 ohm: 1 ohm is worth up to 7 V/1 ohm^2, 2 V up to 2 V/1 ohm; an exact value nothing."""
    battery = Element(name="battery", kind="source", plus="a", minus=GROUND, voltage=(("E", 1.0),))
    load = Element(name="load", kind="resistor", plus="a", minus="b", resistance=(("R", 1.0),))
    rest = Element(name="rest", kind="resistor", plus="b", minus=GROUND, resistance=(("S", 1.0),))
    box = {
        "E": Toleranced(low=5.0, nominal=6.0, high=7.0),
        "R": Toleranced(low=1.0, nominal=1.5, high=2.0),
        "S": Toleranced.exact(0.0),
    }
    probes = [Probe(element="load"), Probe(node="b")]
    current, nothing = extremes(Network(elements=(battery, load, rest)), box, probes)
    assert dict(current.sizes) == {"E": pytest.approx(2.0), "R": pytest.approx(7.0)}
    assert dict(nothing.sizes) == {}


def test_divider_by_hand_at_both_ends() -> None:
    """E b / (a + b): highest with E and b high and a low, lowest the other way; what it does not depend on stays out."""
    network = Network(
        elements=(battery(), resistor("a", "top", "tap"), resistor("b", "tap", GROUND), resistor("c", "top", GROUND))
    )
    box = {
        "E": Toleranced(low=5.0, nominal=6.0, high=10.0),
        "a": Toleranced(low=1.0, nominal=2.0, high=4.0),
        "b": Toleranced(low=1.0, nominal=4.0, high=9.0),
        "c": Toleranced(low=1.0, nominal=2.0, high=3.0),
    }
    tap, drop = extremes(network, box, [Probe(node="tap"), Probe(node="tap", reference="top")])
    assert (tap.low, tap.nominal, tap.high) == pytest.approx((1.0, 4.0, 9.0), rel=1e-12)
    assert (drop.low, drop.nominal, drop.high) == pytest.approx((-8.0, -2.0, -0.5), rel=1e-12)
    for extreme, low, high in ((tap, (5.0, 4.0, 1.0), (10.0, 1.0, 9.0)), (drop, (10.0, 4.0, 1.0), (5.0, 1.0, 9.0))):
        assert tuple(extreme.low_at[n] for n in "Eab") == low and tuple(extreme.high_at[n] for n in "Eab") == high
        assert undecided(extreme) == 0


def test_a_clamp_that_may_conduct_leaves_nothing_undecided() -> None:
    """At some corners its values have no effect, at the others all in one direction: the clamp's corner is decided."""
    clamp = Element(
        name="clamp", kind="clamp", plus="pin", minus=GROUND, voltage=(("V", 1.0),), resistance=(("R", 1.0),)
    )
    network = Network(elements=(battery(), resistor("a", "top", "pin"), clamp))
    box = {
        "E": Toleranced(low=1.0, nominal=5.0, high=9.0),
        "a": Toleranced(low=2.0, nominal=3.0, high=4.0),
        "V": Toleranced(low=2.0, nominal=3.0, high=4.0),
        "R": Toleranced(low=1.0, nominal=2.0, high=3.0),
    }
    current, pin = extremes(network, box, [Probe(element="a"), Probe(node="pin")])
    # (E - V) / (a + R), and V + R times that; nothing flows while E is below V
    assert (current.low, current.high) == pytest.approx((0.0, 7.0 / 3.0), abs=1e-12)
    assert (pin.low, pin.high) == pytest.approx((1.0, 4.0 + 3.0 * 5.0 / 5.0), rel=1e-12)
    assert undecided(current) == 0 and undecided(pin) == 0


def test_a_clamp_that_one_corner_alone_makes_conduct() -> None:
    """Of 2^11 corners one lies above 5.2 V: 10 V behind 8 ohm over 9 ohm, 90/17 V behind 72/17 ohm and the clamp's 1 ohm."""
    clamp = Element(
        name="clamp", kind="clamp", plus="pin", minus=GROUND, voltage=(("V", 1.0),), resistance=(("R", 1.0),)
    )
    nodes = ["top", *(f"n{k}" for k in range(7)), "pin"]
    chain = [resistor(f"a{k}", *ends) for k, ends in enumerate(itertools.pairwise(nodes))]
    network = Network(elements=(battery(), *chain, resistor("b", "pin", GROUND), clamp))
    box = {e.name: Toleranced(low=1.0, nominal=1.5, high=2.0) for e in chain} | {
        "E": Toleranced(low=9.0, nominal=9.5, high=10.0),
        "b": Toleranced(low=8.0, nominal=8.5, high=9.0),
        "V": Toleranced(low=5.2, nominal=5.5, high=6.0),
        "R": Toleranced.exact(1.0),
    }
    (found,) = extremes(network, box, [Probe(element="clamp")])
    assert found.low == 0.0 and found.high == pytest.approx((90.0 / 17.0 - 5.2) / (72.0 / 17.0 + 1.0), rel=1e-9)


FEEDS = {f"p{k}": 1.0 if k % 2 else -1.0 for k in range(12)}
"""Twelve currents at a pin: those of even number feed it, the others draw from it."""


def fed_clamp(bias: float) -> Network:
    """A pin with twelve currents and a steady draw, a resistor and a clamp to ground, and beside it a loop of its own."""
    draws = [Element(name=n, kind="sink", plus="pin", minus=GROUND, current=((n, sign),)) for n, sign in FEEDS.items()]
    clamp = Element(
        name="clamp", kind="clamp", plus="pin", minus=GROUND, voltage=(("V", 1.0),), resistance=(("r", 1.0),)
    )
    steady = Element(name="bias", kind="sink", plus="pin", minus=GROUND, current=(("bias", bias),))
    return Network(
        elements=(*draws, steady, clamp, resistor("R", "pin", GROUND), battery(), resistor("a", "top", GROUND))
    )


def fed_box(**more: Toleranced) -> dict[str, Toleranced]:
    """0 to 1 mA of each; the loop of 1 to 3 V and 1 to 2 ohm."""
    free = {name: Toleranced(low=0.0, nominal=0.5e-3, high=1e-3) for name in FEEDS}
    loop = {"E": Toleranced(low=1.0, nominal=2.0, high=3.0), "a": Toleranced(low=1.0, nominal=1.5, high=2.0)}
    return {**free, **loop, "bias": Toleranced.exact(1e-3), "r": Toleranced.exact(100.0), **more}


def test_a_clamp_that_one_of_thousands_of_corners_makes_conduct() -> None:
    """6 mA into 1 kohm is 6 V, above 5.5 V in that corner alone: 0.5 V / 1.1 kohm. What stands beside it is not disturbed."""
    network = fed_clamp(bias=0.0)
    box = fed_box(R=Toleranced.exact(1e3), V=Toleranced(low=5.5, nominal=5.7, high=5.8))
    clamp, loop, pin = extremes(network, box, [Probe(element="clamp"), Probe(element="a"), Probe(node="pin")])
    assert (clamp.low, clamp.high) == pytest.approx((0.0, 0.5 / 1100.0), rel=1e-9, abs=1e-15)
    assert {name: clamp.high_at[name] for name in FEEDS} == {n: 0.0 if s > 0.0 else 1e-3 for n, s in FEEDS.items()}
    assert clamp.high_at["V"] == 5.5 and set(clamp.sizes) == {*FEEDS, "V"}
    assert (loop.low, loop.high, set(loop.sizes)) == (0.5, 3.0, {"E", "a"})
    assert pin.high == pytest.approx(5.8 + 100.0 * 0.2 / 1100.0, rel=1e-9)


def test_a_clamp_whose_corner_asks_for_another() -> None:
    """Wherever signs are read 5 mA draw more than the rest feeds, and less of R is nearer to 1 V; with 1 mA left, more is.

    2 kohm is 2 V, 1 V / 2.1 kohm; 500 ohm is 0.5 V and nothing flows.
    """
    network = fed_clamp(bias=5.0)
    box = fed_box(R=Toleranced(low=500.0, nominal=1e3, high=2e3), V=Toleranced.exact(1.0))
    clamp, loop = extremes(network, box, [Probe(element="clamp"), Probe(element="a")])
    assert clamp.high == pytest.approx(1.0 / 2100.0, rel=1e-9) and clamp.high_at["R"] == 2e3
    assert (loop.low, loop.high, undecided(loop)) == (0.5, 3.0, 0)


def test_effects_of_rounding_are_not_followed() -> None:
    """A width of 0.9 pV over 1 ohm is not told from rounding: bounds stand at the nominal value; 1.5 pV is followed."""
    network = Network(elements=(battery(), resistor("a", "top", GROUND)))
    for width, low, high in ((0.9e-12, 0.1e-12, 0.4e-12), (1.5e-12, 0.1e-12, 1.6e-12)):
        box = {"E": Toleranced(low=0.1e-12, nominal=0.4e-12, high=0.1e-12 + width), "a": Toleranced.exact(1.0)}
        along, against = extremes(network, box, [Probe(element="a"), Probe(element="battery")])
        assert (along.low, along.high) == pytest.approx((low, high), rel=1e-9, abs=0.0)
        assert (against.low, against.high) == pytest.approx((-high, -low), rel=1e-9, abs=0.0)


def meshed(seed: int, nodes: int) -> tuple[Network, dict[str, Toleranced]]:
    """Every pair of nodes joined by a resistor of 1 to 10 ohm, each known to a factor of up to three either way."""
    rng = np.random.default_rng(seed)
    pairs = itertools.combinations([*(f"n{i}" for i in range(nodes)), GROUND], 2)
    parts = [resistor(f"{a}-{b}", a, b) for a, b in pairs if (a, b) != ("n0", GROUND)]
    network = Network(elements=(battery("n0"), *parts))
    middle = {n: 10.0 ** rng.uniform(0.0, 1.0) for n in network.parameters}
    box = {
        n: Toleranced(low=v / rng.uniform(1.0, 3.0), nominal=v, high=v * rng.uniform(1.0, 3.0))
        for n, v in middle.items()
    }
    return network, box


@pytest.mark.parametrize("seed", [10, 13, 37, 56, 67, 72])
def test_a_mesh_whose_currents_turn_round(seed: int) -> None:
    """Five nodes all joined: the currents across it change direction within the box, and with them the signs.

    In the last one a corner that no sign contradicts is not the worst: where signs differ all corners are listed.
    """
    network, box = meshed(seed, 4)
    probes = [*(Probe(element=e.name) for e in network.elements), Probe(node="n1", reference="n2")]
    corners = vertices([box[n] for n in network.parameters])
    solution = solve(network, {n: corners[:, i] for i, n in enumerate(network.parameters)})
    counts = []
    for probe, extreme in zip(probes, extremes(network, box, probes), strict=True):
        every = solution.unknowns @ probe.weights(network)
        assert (extreme.low, extreme.high) == pytest.approx((every.min(), every.max()), rel=1e-9, abs=1e-11)
        assert value_at(network, extreme.low_at, probe) == pytest.approx(extreme.low, rel=1e-9, abs=1e-11)
        assert value_at(network, extreme.high_at, probe) == pytest.approx(extreme.high, rel=1e-9, abs=1e-11)
        counts.append(undecided(extreme))
    assert counts[0] == 0 and max(counts) >= 4


def test_a_mesh_with_many_undecided_values_is_widened() -> None:
    """Beyond seven undecided values the bounds stand outside the corner that was found, and hold all corners."""
    network, box = meshed(0, 5)
    probes = [Probe(element=e.name) for e in network.elements]
    corners = vertices([box[n] for n in network.parameters])
    solution = solve(network, {n: corners[:, i] for i, n in enumerate(network.parameters)})
    widened = 0
    for probe, extreme in zip(probes, extremes(network, box, probes), strict=True):
        every = solution.unknowns @ probe.weights(network)
        assert extreme.low <= every.min() + 1e-9 and extreme.high >= every.max() - 1e-9
        margins = (
            value_at(network, extreme.low_at, probe) - extreme.low,
            extreme.high - value_at(network, extreme.high_at, probe),
        )
        if undecided(extreme) > 7:
            assert 1e-3 < max(margins) < every.max() - every.min()
            widened += 1
        else:
            assert margins == pytest.approx((0.0, 0.0), abs=1e-9)
    assert widened


def test_seven_of_the_undecided_are_enumerated_and_the_rest_widen() -> None:
    """The seven of largest effect, the largest first; a margin of twice the others' effects: 2 (2 + 1)."""
    size = np.array([9.0, 1.0, 8.0, 7.0, 2.0, 6.0, 5.0, 4.0, 3.0, 9.5])
    undecided = np.array([False, *[True] * 9])
    free, margin = _enumerated(undecided, size, np.arange(10))
    assert free.tolist() == [9, 2, 3, 5, 6, 7, 8] and margin == 6.0
    none, nothing = _enumerated(np.zeros(10, dtype=bool), size, np.arange(10))
    assert none.tolist() == [] and nothing == 0.0


def test_undecided_values_of_one_number_are_one() -> None:
    """Three that only add up count as one of size 1 + 2 + 3, so that of eight numbers the least alone widens."""
    size = np.array([1.0, 2.0, 3.0, 5.0, 4.0, 9.0, 8.0, 7.0, 0.5, 12.0])
    free, margin = _enumerated(np.ones(10, dtype=bool), size, np.array([0, 0, 0, *range(1, 8)]))
    assert free.tolist() == [7, 3, 4, 5, 0, 1, 2] and margin == 1.0
    task = _Task(0, 1, np.array([[1.0, 1.0, 1.0], [-1.0, -1.0, 1.0]]))
    corners = task.corners(np.zeros(3), np.ones(3), np.array([0, 0, 1]))
    assert sorted(map(tuple, corners.tolist())) == [(0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (1.0, 1.0, 0.0), (1.0, 1.0, 1.0)]


def test_resistances_in_series_are_alike() -> None:
    """Of battery S, a, b in a row from E to the top, c down from there: S, a and b add up; c, E and what is shared do not."""
    lead = Element(name="b", kind="resistor", plus="y", minus="top", resistance=(("b", 1.0), ("joints", 1.0)))
    shared = Element(name="d", kind="resistor", plus="top", minus=GROUND, resistance=(("d", 1.0), ("E", 1.0)))
    row = (
        Element(name="battery", kind="source", plus="x", minus=GROUND, voltage=(("E", 1.0),), resistance=(("S", 1.0),)),
        resistor("a", "x", "y"),
        lead,
        resistor("c", "top", GROUND),
        shared,
    )
    network, names = Network(elements=row), ("S", "E", "a", "b", "joints", "c", "d")
    current = Probe(element="a").weights(network)[None]
    assert _alike(network, current, names).tolist() == [0, 1, 0, 0, 0, 2, 3]
    inside = Probe(node="y").weights(network)[None]  # looks into the row: a stands before it, b behind
    assert _alike(network, inside, names).tolist() == [0, 1, 0, 2, 2, 3, 4]
    fed = Network(elements=(*row, Element(name="load", kind="sink", plus="x", minus=GROUND, current=(("J", 1.0),))))
    assert _alike(fed, Probe(element="a").weights(fed)[None], names).tolist() == [0, 1, 2, 2, 2, 3, 4]


def test_a_value_is_undecided_where_its_sign_differs() -> None:
    """Two points, three values: the first two change sign, the third falls; size is the largest effect either way."""
    effects = np.array([[2.0, -5.0, -4.0], [-3.0, 1.0, 0.0]])
    for direction, up in ((1, [True, True, False]), (-1, [True, True, True])):
        task = _Task(0, direction, effects)
        assert task.undecided.tolist() == [True, True, False] and task.up.tolist() == up
        assert task.size.tolist() == [3.0, 5.0, 4.0]


def test_a_corner_that_a_sign_contradicts_is_searched_again() -> None:
    """E / R upward from both low: E asks for its high end, 2 V over 1 ohm, R rightly for its low one, -5 V / 1 ohm^2."""
    network = Network(elements=(battery(), resistor("R", "top", GROUND)))
    box = {"E": Toleranced(low=5.0, nominal=6.0, high=7.0), "R": Toleranced(low=1.0, nominal=1.5, high=2.0)}
    task = _Task(0, 1, np.zeros((1, 2)))
    task.row = np.array([5.0, 1.0])
    corner, weights = solve(network, {"E": 5.0, "R": 1.0}), Probe(element="R").weights(network)[None]
    assert _contradicted(corner, _free(network, box), weights, [task], {}) == [task]
    assert task.undecided.tolist() == [True, False] and task.size == pytest.approx([2.0, 5.0])
    task.undecided = np.zeros(2, dtype=bool)
    task.row = np.array([7.0, 2.0])  # R asks for its low end, -7 V / 4 ohm^2: less than it was worth above
    assert _contradicted(solve(network, {"E": 7.0, "R": 2.0}), _free(network, box), weights, [task], {}) == [task]
    assert task.undecided.tolist() == [False, True] and task.size == pytest.approx([2.0, 5.0])
    task.row = np.array([7.0, 1.0])
    best = solve(network, {"E": 7.0, "R": 1.0})
    assert _contradicted(best, _free(network, box), weights, [task], {}) == []


def test_signs_are_read_all_over_the_box() -> None:
    """The nominal point, all low, all high, and corners of which about half of the values are high; none twice."""
    network = Network(elements=(battery(), *(resistor(f"r{k}", "top", GROUND) for k in range(40))))
    box = {n: Toleranced(low=1.0, nominal=2.0, high=4.0) for n in network.parameters}
    points = _sign_points(_free(network, box), {n: v.nominal for n, v in box.items()})
    rows = np.stack([np.asarray(points[n]) for n in network.parameters], axis=1)
    assert set(rows[0]) == {2.0} and set(rows[1]) == {1.0} and set(rows[2]) == {4.0}
    assert set(rows[3:].flat) == {1.0, 4.0} and 0.4 < np.mean(rows[3:] == 4.0) < 0.6
    assert len({tuple(row) for row in rows}) == len(rows) >= 24
