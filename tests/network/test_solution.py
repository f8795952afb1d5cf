"""Batched nodal solver: hand algebra, a general library, Kirchhoff, sensitivities, and named faults."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Literal

import networkx
import numpy as np
import pytest

from ignition.errors import NetworkError
from ignition.network import solution
from ignition.network.elements import GROUND, KNEE_VOLTAGE, Element, Kind, Network, Terms
from ignition.network.solution import Solution, solve


def resistor(name: str, plus: str, minus: str, *, closed: bool = True) -> Element:
    """A resistor whose parameter has its own name."""
    return Element(name=name, kind="resistor", plus=plus, minus=minus, resistance=((name, 1.0),), closed=closed)


def source(plus: str) -> Element:
    """A battery of voltage E behind resistance S."""
    return Element(
        name="battery", kind="source", plus=plus, minus=GROUND, voltage=(("E", 1.0),), resistance=(("S", 1.0),)
    )


def random_network(rng: np.random.Generator, nodes: int, extra: int) -> tuple[Network, dict[str, float]]:
    """A connected random network of resistors over seven decades, fed by one battery."""
    names = [f"n{i}" for i in range(nodes)]
    pairs = [(names[i], names[int(rng.integers(i))] if i else GROUND) for i in range(nodes)]
    pairs += [(names[i], names[(i + 1) % nodes]) for i in range(nodes)]  # a ring: no dead ends
    for _ in range(extra):
        a, b = rng.choice(nodes, 2, replace=False)
        pairs.append((names[a], names[b]))
    elements = [source(names[-1]), *(resistor(f"r{k}", a, b) for k, (a, b) in enumerate(pairs))]
    values = {f"r{k}": float(10.0 ** rng.uniform(-2, 5)) for k in range(len(pairs))} | {"E": 9.0, "S": 0.3}
    return Network(elements=tuple(elements)), values


def imbalance(found: Solution) -> float:
    """Largest sum of a node's currents over the largest current into it, or over 1e-9 of the network's largest."""
    currents = {e.name: found.current(e.name) for e in found.network.elements}
    floor = 1e-9 * np.max(np.abs(list(currents.values())), axis=0)
    worst = 0.0
    for node in found.network.nodes:
        ends = [((e.plus == node) - (e.minus == node)) * currents[e.name] for e in found.network.elements if e.closed]
        worst = max(worst, float((np.abs(sum(ends)) / np.maximum(np.max(np.abs(ends), axis=0), floor)).max()))
    return worst


def test_divider_by_hand() -> None:
    """E 12 V behind 2 ohm into 4 + 6 ohm: 1 A, taps at 10 and 6 V."""
    network = Network(elements=(source("top"), resistor("a", "top", "tap"), resistor("b", "tap", GROUND)))
    solution = solve(network, {"E": 12.0, "S": 2.0, "a": 4.0, "b": 6.0})
    assert solution.current("a")[0] == pytest.approx(1.0) and solution.current("battery")[0] == pytest.approx(-1.0)
    assert solution.voltage("top")[0] == pytest.approx(10.0) and solution.voltage("top", "tap")[0] == pytest.approx(4.0)


def test_balanced_bridge_carries_nothing() -> None:
    """A balanced bridge has no current in its diagonal."""
    network = Network(
        elements=(
            source("top"),
            *(
                resistor(n, a, b)
                for n, a, b in (
                    ("a", "top", "l"),
                    ("b", "top", "r"),
                    ("c", "l", GROUND),
                    ("d", "r", GROUND),
                    ("e", "l", "r"),
                )
            ),
        )
    )
    values = {"E": 10.0, "S": 0.0, "a": 1e3, "b": 2e3, "c": 3e3, "d": 6e3, "e": 5.0}
    assert abs(solve(network, values).current("e")[0]) < 1e-12


def test_zero_ohm_link_and_open_element() -> None:
    """A link of 0 ohm carries the current of its neighbour; an open element none."""
    network = Network(
        elements=(
            source("top"),
            resistor("link", "top", "x"),
            resistor("load", "x", GROUND),
            resistor("gone", "x", GROUND, closed=False),
        )
    )
    solution = solve(network, {"E": 6.0, "S": 0.0, "link": 0.0, "load": 3.0, "gone": 1.0})
    assert solution.current("link")[0] == pytest.approx(2.0) and solution.current("gone")[0] == 0.0


@pytest.mark.parametrize("seed", range(20))
def test_input_resistance_is_the_general_library_s(seed: int) -> None:
    """The resistance seen by the battery equals networkx's resistance distance on the same graph."""
    network, values = random_network(np.random.default_rng(seed), 8, 8)
    graph = networkx.MultiGraph()
    for element in network.elements[1:]:
        graph.add_edge(element.plus, element.minus, weight=values[element.name])
    expected = networkx.resistance_distance(graph, "n7", GROUND, weight="weight", invert_weight=True)
    current = -float(solve(network, values).current("battery")[0])
    assert values["E"] / current - values["S"] == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("seed", range(20))
def test_kirchhoff_and_batch(seed: int) -> None:
    """Node currents balance, and a batch equals a loop of single solutions."""
    rng = np.random.default_rng(100 + seed)
    network, values = random_network(rng, 10, 10)
    batch = {n: v * rng.uniform(0.5, 2.0, 7) for n, v in values.items()}
    solution = solve(network, batch)
    assert imbalance(solution) < 1e-6
    for member in range(7):
        single = solve(network, {n: v[member] for n, v in batch.items()})
        np.testing.assert_allclose(solution.unknowns[member], single.unknowns[0], rtol=1e-9, atol=1e-13)


@pytest.mark.parametrize("seed", range(5))
def test_large_networks_are_solved_as_small_ones_are(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sparse tableau and loop currents give one answer: voltages, currents and slopes, of clamps and leakages too."""
    rng = np.random.default_rng(250 + seed)
    network, values = random_network(rng, 30, 20)
    ends = {"c": ("clamp", 2.0, "V"), "j": ("leakage", 1e-5, "J"), "k": ("leakage", 1.0, "K")}
    special = [
        Element(
            name=name,
            kind=kind,  # type: ignore[arg-type]
            plus=f"n{place}",
            minus=GROUND,
            voltage=((parameter, 1.0),) if kind == "clamp" else (),
            resistance=(("S", 2.0),) if kind == "clamp" else (),
            current=((parameter, 1.0),) if kind == "leakage" else (),
        )
        for place, (name, (kind, _, parameter)) in enumerate(ends.items())
    ]
    network = Network(elements=(*network.elements, *special))
    batch = {n: v * rng.uniform(0.5, 2.0, 600) for n, v in values.items()} | {p: v for _, v, p in ends.values()}
    weights = rng.normal(size=(3, len(network.nodes) + len(network.elements)))
    monkeypatch.setattr(solution, "_MOST_LOOPS", -1)
    sparse = solve(network, batch)
    assert imbalance(sparse) < 1e-6
    slopes = sparse.sensitivities(weights)
    monkeypatch.setattr(solution, "_MOST_LOOPS", 1000)
    dense = solve(network, batch)
    np.testing.assert_allclose(sparse.unknowns, dense.unknowns, rtol=1e-8, atol=1e-12)
    np.testing.assert_allclose(slopes, dense.sensitivities(weights), rtol=1e-6, atol=1e-9 * np.abs(slopes).max())


def test_thousands_in_one_call() -> None:
    """5000 members in one call give the closed form each."""
    network = Network(elements=(source("top"), resistor("a", "top", GROUND)))
    load = np.geomspace(1e-3, 1e6, 5000)
    np.testing.assert_allclose(
        solve(network, {"E": 7.0, "S": 0.1, "a": load}).current("a"), 7.0 / (0.1 + load), rtol=1e-9
    )


@pytest.mark.parametrize("seed", range(5))
def test_sensitivities_are_finite_differences(seed: int) -> None:
    """Adjoint derivatives equal central differences."""
    network, values = random_network(np.random.default_rng(200 + seed), 6, 5)
    solution = solve(network, values)
    weights = np.zeros((1, solution.unknowns.shape[1]))
    weights[0, 2] = 1.0
    slopes = solution.sensitivities(weights)[0, :, 0]
    for index, name in enumerate(network.parameters):
        step = 1e-4 * values[name]
        high, low = (float(solve(network, values | {name: values[name] + s}).unknowns[0, 2]) for s in (step, -step))
        assert slopes[index] == pytest.approx((high - low) / (2 * step), rel=1e-4, abs=1e-9)


def test_clamp_and_leakage_by_hand() -> None:
    """A clamp at 3 V behind 10 ohm takes (12 - 3) / (1000 + 10); a leakage stops where its voltage does."""
    clamp = Element(name="c", kind="clamp", plus="x", minus=GROUND, voltage=(("V", 1.0),), resistance=(("Rc", 1.0),))
    network = Network(elements=(source("t"), resistor("a", "t", "x"), resistor("b", "x", GROUND), clamp))
    values = {"E": np.array([12.0, 2.0]), "S": 0.0, "a": 1000.0, "b": 1e12, "V": 3.0, "Rc": 10.0}
    assert solve(network, values).current("c") == pytest.approx([9.0 / 1010.0, 0.0], abs=1e-9)
    leak = Element(name="j", kind="leakage", plus="x", minus=GROUND, current=(("J", 1.0),))
    network = Network(elements=(source("t"), resistor("a", "t", "x"), resistor("b", "x", GROUND), leak))
    found = solve(network, {"E": np.array([12.0, 1e-6]), "S": 0.0, "a": 1e3, "b": 1e6, "J": 1e-5}).current("j")
    assert found[0] == pytest.approx(1e-5) and 0 < found[1] < 1e-6 / 1e3 and found[1] < 1e-5 * KNEE_VOLTAGE


def one_branch(kind: Kind, **terms: Terms) -> Network:
    """Battery E behind S with one element from its terminal to ground."""
    return Network(elements=(source("t"), Element(name="x", kind=kind, plus="t", minus=GROUND, **terms)))


J, V, R = ((name, 1.0) for name in ("J", "V", "R"))


@pytest.mark.parametrize(
    ("network", "values", "voltage", "slopes"),
    [
        # V = E - S J: a sink, and a leakage above its knee of 1 mV
        (one_branch("sink", current=(J,)), {"J": 0.2}, 7.6, {"E": 1.0, "S": -0.2, "J": -2.0}),
        (one_branch("leakage", current=(J,)), {"J": 0.2}, 7.6, {"E": 1.0, "S": -0.2, "J": -2.0}),
        # below it the leakage is a conductance J / K: with q = S J / K = 2 9 / 0.001, V = E / (1 + q)
        (
            one_branch("leakage", current=(J,)),
            {"J": 9.0},
            8.0 / 18001.0,
            {"E": 1.0 / 18001.0, "S": -8.0 * 9000.0 / 18001.0**2, "J": -8.0 * 2000.0 / 18001.0**2},
        ),
        # behind 1 ohm it is whole from R J = 0.2 V on
        (
            one_branch("leakage", current=(J,), resistance=(R,)),
            {"J": 0.2, "R": 1.0},
            7.6,
            {"E": 1.0, "S": -0.2, "J": -2.0, "R": 0.0},
        ),
        # below that a resistance of R + K / J, however it is written: with S = 2 ohm, V = 8 r / (2 + r)
        *(
            (
                one_branch("leakage", current=(J,), resistance=(R,)),
                {"J": j, "R": r},
                8.0 * (r + 1e-3 / j) / (2.0 + r + 1e-3 / j),
                {
                    "E": (r + 1e-3 / j) / (2.0 + r + 1e-3 / j),
                    "S": -8.0 * (r + 1e-3 / j) / (2.0 + r + 1e-3 / j) ** 2,
                    "R": 16.0 / (2.0 + r + 1e-3 / j) ** 2,
                    "J": -16.0 * 1e-3 / j**2 / (2.0 + r + 1e-3 / j) ** 2,
                },
            )
            for j, r in ((9.0, 2.0), (9.0, 1.0e-4), (1e9, 0.014), (1e9, 0.0))
        ),
        # a clamp that conducts takes (E - V) / (S + R) = 0.5 A
        (
            one_branch("clamp", voltage=(V,), resistance=(R,)),
            {"V": 5.0, "R": 4.0},
            7.0,
            {"E": 4.0 / 6.0, "S": -0.5 * 4.0 / 6.0, "V": 2.0 / 6.0, "R": 0.5 * 2.0 / 6.0},
        ),
        # one that does not leaves the battery alone
        (
            one_branch("clamp", voltage=(V,), resistance=(R,)),
            {"V": 8.5, "R": 4.0},
            8.0,
            {"E": 1.0, "S": 0.0, "V": 0.0, "R": 0.0},
        ),
    ],
)
def test_sensitivities_of_each_kind_by_hand(
    network: Network, values: dict[str, float], voltage: float, slopes: dict[str, float]
) -> None:
    """8 V behind 2 ohm: terminal voltage and its derivatives with a sink, a leakage and a clamp in either state."""
    solution = solve(network, values | {"E": 8.0, "S": 2.0})
    assert solution.voltage("t")[0] == pytest.approx(voltage, rel=1e-9)
    weights = np.zeros((1, solution.unknowns.shape[1]))
    weights[0, network.nodes.index("t")] = 1.0
    found = dict(zip(network.parameters, solution.sensitivities(weights)[0, :, 0], strict=True))
    assert found == pytest.approx(slopes, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("plus", "minus"), [("t", GROUND), (GROUND, "t")])
def test_a_singular_member_names_the_loop_alone(plus: str, minus: str) -> None:
    """The source and the link that shorts it are named, whichever way round; a resistor beside them is not."""
    beside = resistor("b", "t", "x"), resistor("c", "x", GROUND)
    network = Network(elements=(source("t"), *beside, resistor("link", plus, minus)))
    with pytest.raises(NetworkError, match=r"member 0 .* zero-ohm links through battery, link$"):
        solve(network, {"E": 1.0, "S": 0.0, "link": 0.0, "b": 3.3, "c": 7.7})


def test_a_member_that_overflows_is_refused() -> None:
    """One member whose current is beyond all numbers spoils the batch: no infinite current is handed on."""
    network = Network(elements=(source("t"), resistor("a", "t", GROUND)))
    with pytest.raises(NetworkError, match="no unique solution"):
        solve(network, {"E": [1.0, 1e300], "S": 0.0, "a": [1.0, 1e-300]})


def test_shared_parameters_count_with_their_factors() -> None:
    """Two wires of 0.25 and 0.75 of one lead, E twice: i = 2 E / (W + R), di/dW = -i / (W + R), di/dE = 2 / (W + R)."""

    def part(name: str, kind: Literal["resistor", "source"], plus: str, minus: str, **terms: Terms) -> Element:
        return Element(name=name, kind=kind, plus=plus, minus=minus, **terms)

    network = Network(
        elements=(
            part("battery", "source", "a", GROUND, voltage=(("E", 2.0),), resistance=(("W", 0.25),)),
            part("load", "resistor", "a", "b", resistance=(("R", 1.0),)),
            part("back", "resistor", "b", GROUND, resistance=(("W", 0.75),)),
        )
    )
    solution = solve(network, {"E": 3.0, "W": [0.5, 1.0], "R": 1.0})
    assert solution.current("load") == pytest.approx([4.0, 3.0])
    weights = np.zeros((1, 5))
    weights[0, 3] = 1.0
    slopes = dict(zip(network.parameters, solution.sensitivities(weights)[:, :, 0].T, strict=True))
    assert slopes["W"] == pytest.approx([-4.0 / 1.5, -1.5]) and slopes["E"] == pytest.approx([2.0 / 1.5, 1.0])


@pytest.mark.parametrize("kind", ["leakage", "clamp"])
@pytest.mark.parametrize("volts", [5e-4, 5.0])
def test_sensitivities_of_clamps_and_leakages(kind: Literal["leakage", "clamp"], volts: float) -> None:
    """In either state the derivatives of the node voltage are the central differences."""
    special = Element(
        name="x",
        kind=kind,
        plus="m",
        minus=GROUND,
        voltage=(("V", 1.0),) if kind == "clamp" else (),
        resistance=(("Rx", 1.0),) if kind == "clamp" else (),
        current=(("J", 1.0),) if kind == "leakage" else (),
    )
    network = Network(elements=(source("t"), resistor("a", "t", "m"), resistor("b", "m", GROUND), special))
    values = {"E": volts, "S": 1.0, "a": 100.0, "b": 400.0, "V": 1.0, "Rx": 50.0, "J": 1e-4}
    weights = np.zeros((1, 6))
    weights[0, network.nodes.index("m")] = 1.0
    slopes = solve(network, values).sensitivities(weights)[0, :, 0]
    for name, slope in zip(network.parameters, slopes, strict=True):
        step = 1e-5 * values[name]
        high, low = (float(solve(network, values | {name: values[name] + s}).voltage("m")[0]) for s in (step, -step))
        assert slope == pytest.approx((high - low) / (2 * step), rel=1e-6, abs=1e-15), name


def test_an_element_on_one_node_carries_nothing() -> None:
    """Both ends on one node: no voltage, no current, and the rest is as without it."""
    network = Network(elements=(source("t"), resistor("a", "t", GROUND), resistor("loop", "t", "t")))
    solution = solve(network, {"E": 6.0, "S": 1.0, "a": 2.0, "loop": 5.0})
    assert solution.current("loop")[0] == 0.0 and solution.current("a")[0] == pytest.approx(2.0)


def test_faults_of_a_network_are_named() -> None:
    """Floating node, loop of sources, missing and infinite parameters are named; nothing is guessed."""
    floating = Network(elements=(source("t"), resistor("a", "t", GROUND), resistor("b", "x", "y")))
    with pytest.raises(NetworkError, match="node 'x' is floating"):
        solve(floating, {"E": 1.0, "S": 0.0, "a": 1.0, "b": 1.0})
    loop = Network(elements=(source("t"), resistor("link", "t", GROUND)))
    with pytest.raises(NetworkError, match=r"batch member 1 .*loop of ideal sources.*link"):
        solve(loop, {"E": 1.0, "S": 0.0, "link": [1.0, 0.0]})
    chain = tuple(resistor(f"c{k}", f"x{k}", f"x{k + 1}" if k < 39 else GROUND) for k in range(40))
    long = Network(elements=(source("x0"), resistor("link", "x0", GROUND), *chain))
    with pytest.raises(NetworkError, match=r"batch member 1 .*loop of ideal sources.*link"):
        solve(long, {"E": 1.0, "S": 0.0, "link": [1.0, 0.0]} | {e.name: 1.0 for e in chain})
    with pytest.raises(NetworkError, match="no value for parameter 'link'"):
        solve(loop, {"E": 1.0, "S": 0.0})
    with pytest.raises(NetworkError, match="'link' is not finite in batch member 1"):
        solve(loop, {"E": 1.0, "S": 0.0, "link": [1.0, np.inf]})


@pytest.mark.parametrize(("drop", "current"), [(1.0, 7.0 / 6.0), (9.0, 0.0)])
def test_a_clamp_between_two_nodes_and_first_of_all(drop: float, current: float) -> None:
    """8 V behind 2 ohm, a clamp with 1 ohm, 3 ohm to ground: (8 - drop)/6 A, or nothing below the drop."""
    clamp = Element(name="clamp", kind="clamp", plus="t", minus="m", voltage=(("drop", 1.0),), resistance=(("R", 1.0),))
    solution = solve(
        Network(elements=(clamp, resistor("load", "m", GROUND), source("t"))),
        {"drop": drop, "R": 1.0, "load": 3.0, "E": 8.0, "S": 2.0},
    )
    assert solution.current("clamp")[0] == pytest.approx(current, rel=1e-12, abs=1e-12)
    assert solution.voltage("m")[0] == pytest.approx(3.0 * current, rel=1e-12, abs=1e-12)
    assert solution.voltage("t")[0] == pytest.approx(8.0 - 2.0 * current, rel=1e-12)


def test_a_clamp_between_two_nodes_that_both_have_a_voltage() -> None:
    """8 V on one side and 5 V on the other are 3 V across: off below 3.5 V, and 0.5 V over 2 + 1 ohm below that."""
    clamp = Element(name="clamp", kind="clamp", plus="t", minus="m", voltage=(("drop", 1.0),), resistance=(("R", 1.0),))
    held = Element(name="held", kind="source", plus="m", minus=GROUND, voltage=(("M", 1.0),))
    network = Network(elements=(source("t"), clamp, held))
    solution = solve(network, {"E": 8.0, "S": 2.0, "R": 1.0, "M": 5.0, "drop": np.array([3.5, 2.5])})
    assert solution.current("clamp") == pytest.approx([0.0, 0.5 / 3.0], rel=1e-12, abs=1e-12)


def test_microamperes_through_milliohms() -> None:
    """A sense current of 9 V over 150 kohm, shared by bridges of milliohms, against exact fractions: 13 digits."""
    names = {"S": "3/250", "lead": "1/2000", "b1": "7/5000", "b2": "9/7000", "back": "1/3000", "upper": "150000"}
    exact = {name: Fraction(text) for name, text in names.items()} | {"lower": Fraction(33000)}
    elements = (
        source("bus"),
        resistor("lead", "bus", "top"),
        resistor("b1", "top", "bottom"),
        resistor("b2", "top", "bottom"),
        resistor("back", "bottom", "drain"),
        resistor("upper", "drain", "tap"),
        resistor("lower", "tap", GROUND),
    )
    found = solve(Network(elements=elements), {name: float(value) for name, value in exact.items()} | {"E": 9.0})
    parallel = exact["b1"] * exact["b2"] / (exact["b1"] + exact["b2"])
    total = parallel + sum(exact[n] for n in ("S", "lead", "back", "upper", "lower"))
    for name, other in (("b1", "b2"), ("b2", "b1")):
        expected = 9 / total * exact[other] / (exact["b1"] + exact["b2"])
        assert float(found.current(name)[0]) == pytest.approx(float(expected), rel=1e-13)


@pytest.mark.parametrize("most", [-1, 1000])
@pytest.mark.parametrize("seed", range(6))
def test_what_differs_from_member_to_member(seed: int, most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Elements closed or opened in some members: each is as a network of its own with 1 Tohm for what is open.

    Voltages, currents and slopes, by loop currents and by the tableau, for up to three changes in a member.
    """
    monkeypatch.setattr(solution, "_MOST_LOOPS", most)
    rng = np.random.default_rng(900 + seed)
    network, values = random_network(rng, 7, 5)
    extra = [resistor(f"x{k}", *rng.choice(network.nodes, 2, replace=False), closed=False) for k in range(4)]
    extra[0] = replace(extra[0], resistance=())
    clamp = Element(name="c", kind="clamp", plus="n3", minus=GROUND, voltage=(("V", 1.0),), resistance=(("S", 2.0),))
    leak = Element(name="j", kind="leakage", plus="n2", minus=GROUND, current=(("J", 1.0),))
    network = Network(elements=(*network.elements, *extra, clamp, leak))
    values |= {"x1": 3.0, "x2": 0.02, "x3": 1e4, "V": 1.5, "J": 1e-4}
    changeable = [e.name for e in network.elements if e.name not in ("battery", "c", "j")]
    members = 80
    states = {name: np.full(members, network.element(name).closed) for name in changeable}
    for member in range(members):
        for name in rng.choice(changeable, int(rng.integers(4)), replace=False):
            states[name][member] ^= True
    batch = {n: v * rng.uniform(0.5, 2.0, members) for n, v in values.items()}
    weights = rng.normal(size=(2, len(network.nodes) + len(network.elements)))
    found = solve(network, batch, closed=states)
    assert imbalance(found) < 1e-6
    slopes = found.sensitivities(weights)
    for member in range(members):
        opened = [n for n in changeable if network.element(n).closed and not states[n][member]]
        made = network.switched(closed=[n for n in changeable if states[n][member] or n in opened])
        apart = tuple(replace(e, resistance=(("open", 1.0),)) if e.name in opened else e for e in made.elements)
        single = {n: v[member] for n, v in batch.items()} | {"open": 1e12}
        alone = solve(replace(made, elements=apart), single)
        np.testing.assert_allclose(found.unknowns[member], alone.unknowns[0], rtol=1e-6, atol=1e-11)
        own = dict(zip(alone.network.parameters, alone.sensitivities(weights)[0], strict=True))
        for name, slope in zip(found.network.parameters, slopes[member], strict=True):
            expected = own.get(name, np.zeros(2))
            np.testing.assert_allclose(slope, expected, rtol=1e-5, atol=1e-9 * max(1.0, np.abs(slopes[member]).max()))


def test_open_and_closed_by_hand() -> None:
    """12 V over 2 + 4 + 6 ohm: 1 A; the link over 4 ohm: 1.5 A; 6 ohm open: nothing, its node at 12 V."""
    chain = source("t"), resistor("a", "t", "m"), resistor("b", "m", GROUND)
    link = Element(name="link", kind="resistor", plus="t", minus="m", closed=False)
    values = {"E": 12.0, "S": 2.0, "a": 4.0, "b": 6.0}
    found = solve(
        Network(elements=(*chain, link)),
        values,
        closed={"link": [False, True, False, True], "b": [True, True, False, False]},
    )
    np.testing.assert_allclose(found.current("b"), [1.0, 1.5, 12e-12, 12e-12], rtol=1e-9)
    np.testing.assert_allclose(found.voltage("m"), [6.0, 9.0, 12.0, 12.0], rtol=1e-9)
    np.testing.assert_allclose(found.current("link"), [0.0, 1.5, 0.0, 12e-12], rtol=1e-9, atol=1e-20)
    with pytest.raises(NetworkError, match="no element 'nothing'"):
        solve(Network(elements=chain), values, closed={"nothing": True})


def test_an_island_between_two_open_elements_floats_half_way() -> None:
    """Both ends of a bridge open: 1 Tohm on either side, no current, no error."""
    chain = source("t"), resistor("a", "t", "m"), resistor("bridge", "m", "n"), resistor("b", "n", GROUND)
    states = {"a": [True, False], "b": [True, False]}
    found = solve(Network(elements=chain), {"E": 12.0, "S": 0.0, "a": 1.0, "bridge": 2.0, "b": 1.0}, closed=states)
    np.testing.assert_allclose(found.current("bridge"), [3.0, 6e-12], rtol=1e-9)
    np.testing.assert_allclose(found.voltage("m"), [9.0, 6.0], rtol=1e-9)


def test_clamps_leakages_and_sinks_may_be_absent_too() -> None:
    """An absent clamp does not hold, an absent leakage or sink draws nothing."""
    special = (
        Element(name="c", kind="clamp", plus="m", minus=GROUND, voltage=(("V", 1.0),)),
        Element(name="j", kind="leakage", plus="m", minus=GROUND, current=(("J", 1.0),)),
        Element(name="k", kind="sink", plus="m", minus=GROUND, current=(("K", 1.0),)),
    )
    network = Network(elements=(source("t"), resistor("a", "t", "m"), resistor("b", "m", GROUND), *special))
    values = {"E": 10.0, "S": 0.0, "a": 10.0, "b": 10.0, "V": 2.0, "J": 0.1, "K": 0.2}
    found = solve(network, values, closed={n: np.arange(4) == k for k, n in enumerate(("c", "j", "k"))})
    np.testing.assert_allclose(found.voltage("m"), [2.0, 4.5, 4.0, 5.0], rtol=1e-12)
    np.testing.assert_allclose(found.current("c"), [0.6, 0.0, 0.0, 0.0], rtol=1e-12, atol=1e-15)
