"""Elements and networks: names, switching, and nodes that nothing ties to ground."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.errors import NetworkError
from ignition.network.elements import GROUND, KNEE_VOLTAGE, Element, Kind, Network


def element(name: str, plus: str, minus: str = GROUND, *, kind: Kind = "resistor", closed: bool = True) -> Element:
    """An element whose parameter, if any, has its own name."""
    return Element(name=name, kind=kind, plus=plus, minus=minus, resistance=((name, 1.0),), closed=closed)


def test_knee_is_a_millivolt() -> None:
    """The off-state leakage is whole from 1 mV on (common practice: a source that vanishes with its voltage)."""
    assert KNEE_VOLTAGE == 1e-3


def test_a_sum_weights_each_parameter() -> None:
    """0.5 a + 2 b for scalars and arrays; no terms are zero."""
    one = Element(name="x", kind="resistor", plus="t", minus=GROUND, resistance=(("a", 0.5), ("b", 2.0)))
    assert float(one.total(one.resistance, {"a": 4.0, "b": 3.0})) == 8.0
    np.testing.assert_array_equal(one.total(one.resistance, {"a": [4.0, 6.0], "b": 3.0}), [8.0, 9.0])
    assert float(one.total(one.voltage, {})) == 0.0


def test_nodes_and_parameters_stand_in_order_of_appearance_once() -> None:
    """Ground is no node; a parameter that two elements share is one parameter."""
    network = Network(elements=(element("a", "t", "x"), element("b", GROUND, "x"), element("a2", "y", "t")))
    assert network.nodes == ("t", "x", "y") and network.parameters == ("a", "b", "a2")
    shared = Element(name="back", kind="resistor", plus="x", minus=GROUND, resistance=(("a", 0.5),))
    assert Network(elements=(element("a", "t", "x"), shared)).parameters == ("a",)


def test_names_are_unique_and_igniters_are_elements() -> None:
    """A name that stands twice, and an igniter that is no element, are named; those that are right are not."""
    with pytest.raises(NetworkError, match=r"must be unique; twice: b$"):
        Network(elements=(element("a", "t"), element("b", "t"), element("b", "x")))
    with pytest.raises(NetworkError, match=r"unknown: c$"):
        Network(elements=(element("a", "t"), element("b", "t")), igniters=("a", "c"))
    with pytest.raises(NetworkError, match="no element 'c' in the network; there are a, b"):
        Network(elements=(element("a", "t"), element("b", "t"))).element("c")


def test_switching_opens_and_closes_what_is_named_and_nothing_else() -> None:
    """One element opened, one closed, one of each kind left; the network itself stays as it was."""
    parts = [element(n, "t", closed=closed) for n, closed in (("a", True), ("b", False), ("c", True), ("d", False))]
    network = Network(elements=tuple(parts), igniters=("a",))
    switched = network.switched(opened=["a"], closed=["b"])
    assert [e.closed for e in switched.elements] == [False, True, True, False] and switched.igniters == ("a",)
    assert [e.closed for e in network.elements] == [True, False, True, False]
    with pytest.raises(NetworkError, match="no element 'e'"):
        network.switched(closed=["e"])


@pytest.mark.parametrize(
    ("kind", "closed", "floats"),
    [
        ("resistor", True, False),
        ("source", True, False),
        ("resistor", False, True),
        ("source", False, True),
        ("sink", True, True),
        ("leakage", True, True),
        ("clamp", True, True),
    ],
)
def test_what_ties_a_node_to_ground(kind: Kind, closed: bool, floats: bool) -> None:
    """A closed resistor or source does; an open one, and what only draws a current, does not."""
    tie = element("tie", "x", kind=kind, closed=closed)
    network = Network(elements=(element("a", "t"), tie, element("beyond", "y", "x")))
    assert network.floating_nodes() == (("x", "y") if floats else ())
