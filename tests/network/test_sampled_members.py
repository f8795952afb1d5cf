"""Sampled points of members' bounds: inside what is found at corners, infinite where nothing is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ignition.network.elements import GROUND, Element, Network
from ignition.network.sampled_members import sampled
from ignition.network.worst_case import Probe
from ignition.network.worst_members import Boxes, worst_members

LOOP = Network(
    elements=(
        Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),)),
        Element(name="upper", kind="resistor", plus="top", minus="mid", resistance=(("R1", 1.0),)),
        Element(name="lower", kind="resistor", plus="mid", minus=GROUND, resistance=(("R2", 1.0),)),
    )
)


def boxes(network: Network, low: list[float], high: list[float], members: int = 3) -> Boxes:
    """The same bounds for some members."""
    ends = [np.tile(np.array(end), (members, 1)) for end in (low, high)]
    return Boxes(network=network, low=ends[0], nominal=0.5 * (ends[0] + ends[1]), high=ends[1], closed={})


def test_samples_stay_inside_the_corners_and_reach_towards_them() -> None:
    """6 to 8 V over 1 to 2 ohm and 3 to 4 ohm: 1 A to 2 A, and many points come near to both."""
    some = boxes(LOOP, [6.0, 1.0, 3.0], [8.0, 2.0, 4.0])
    weights = np.tile(Probe(element="upper").weights(LOOP), (3, 1))
    least, most = sampled(some, weights, 400)
    assert np.all(least >= 1.0) and np.all(most <= 2.0)
    assert least == pytest.approx(1.0, rel=1e-9) and most == pytest.approx(2.0, rel=1e-9)  # all eight corners are met
    worst = worst_members(some, weights, np.ones(3))
    assert np.all(most <= worst.value * (1.0 + 1e-12))


def test_a_member_has_the_same_points_in_any_batch() -> None:
    """What is sampled does not depend on the other members."""
    some = boxes(LOOP, [6.0, 1.0, 3.0], [8.0, 2.0, 4.0])
    weights = np.tile(Probe(node="mid").weights(LOOP), (3, 1))
    together, alone = sampled(some, weights, 5), sampled(some.take(np.array([1])), weights[:1], 5)
    for all_of_them, one in zip(together, alone, strict=True):
        assert all_of_them == pytest.approx(one[0], rel=1e-12)


def test_an_odd_count_has_one_more_corner() -> None:
    """The only point of one is a corner."""
    weights = np.tile(Probe(element="battery").weights(LOOP), (1, 1))
    least, most = sampled(boxes(LOOP, [6.0, 1.0, 3.0], [8.0, 2.0, 4.0], 1), weights, 1)
    assert least == most
    assert any(abs(-least[0] - e / (a + b)) < 1e-9 for e in (6.0, 8.0) for a in (1.0, 2.0) for b in (3.0, 4.0))


def test_no_solution_and_no_path_are_infinite() -> None:
    """Two sources in parallel in some members only; a current source into a part tied by 1 Tohm alone."""
    second = Element(name="second", kind="source", plus="top", minus=GROUND, voltage=(("F", 1.0),), closed=False)
    twice = Network(elements=(*LOOP.elements, second))
    some = boxes(twice, [6.0, 1.0, 3.0, 1.0], [8.0, 2.0, 4.0, 2.0])
    mixed = Boxes(
        network=twice, low=some.low, nominal=some.nominal, high=some.high,
        closed={"second": np.array([False, True, False])},
    )  # fmt: skip
    least, most = sampled(mixed, np.tile(Probe(element="upper").weights(twice), (3, 1)), 4)
    assert np.isfinite(most).tolist() == [True, False, True] == np.isfinite(least).tolist()
    alone = (
        Element(name="load", kind="sink", plus=GROUND, minus="island", current=(("J", 1.0),)),
        Element(name="tie", kind="resistor", plus="island", minus=GROUND, resistance=(("T", 1.0),)),
    )
    island = Network(elements=(*LOOP.elements, *alone))
    weights = np.tile(Probe(element="upper").weights(island), (1, 1))
    for current, known in ((1e-3, False), (1e-11, True)):  # 1 GV, and 10 V, of 8 V in all
        low, high = sampled(
            boxes(island, [6.0, 1.0, 3.0, current, 1e12], [8.0, 2.0, 4.0, current, 1e12], 1), weights, 4
        )
        assert np.isfinite(low).all() == known == np.isfinite(high).all()


def test_how_far_a_voltage_without_a_path_may_be() -> None:
    """Ten times all voltages and 10 V: 8 V and -3 V at their upper ends are 120 V, in either direction."""
    more = (
        Element(name="held", kind="source", plus="low", minus=GROUND, voltage=(("F", 1.0),)),
        Element(name="load", kind="sink", plus="from", minus="to", current=(("J", 1.0),)),
        *(
            Element(name=node, kind="resistor", plus=node, minus=GROUND, resistance=(("T", 1.0),))
            for node in ("from", "to")
        ),
    )
    for way in (more, (more[0], replace(more[1], plus="to", minus="from"), *more[2:])):
        network = Network(elements=(*LOOP.elements, *way))
        weights = np.tile(Probe(element="upper").weights(network), (1, 1))
        for volts, known in ((119.0, True), (121.0, False)):
            ends = dict(zip(network.parameters, [8.0, 1.0, 3.0, -3.0, volts * 1e-12, 1e12], strict=True))
            assert list(ends) == ["E", "R1", "R2", "F", "J", "T"]
            found = sampled(boxes(network, list(ends.values()), list(ends.values()), 1), weights, 2)
            assert [np.isfinite(each).all() for each in found] == [known, known]
    lower = list(ends.values())
    lower[0] = 4.0  # its upper end counts, of which there is most
    lower[4] = ends["J"] = 119e-12
    assert np.isfinite(sampled(boxes(network, lower, list(ends.values()), 1), weights, 2)).all()
    one_sided = Network(elements=(*LOOP.elements, more[0], replace(more[1], minus=GROUND), more[2]))
    weights = np.tile(Probe(element="upper").weights(one_sided), (1, 1))
    values = [8.0, 1.0, 3.0, -3.0, 121e-12, 1e12]  # drawn out of its only node: -121 V
    assert [float(each[0]) for each in sampled(boxes(one_sided, values, values, 1), weights, 2)] == [-np.inf, np.inf]


def test_half_of_the_points_are_corners() -> None:
    """Of a current of 6 to 8 V over exact 4 ohm, whole steps are 1.5 A or 2 A; the other points lie between."""
    weights = np.tile(Probe(element="upper").weights(LOOP), (1, 1))
    one = boxes(LOOP, [6.0, 1.0, 3.0], [8.0, 1.0, 3.0], 1)
    corners = [{round(float(v), 9) for v in (f[0] for f in sampled(one, weights, count))} for count in (1, 2)]
    assert all(found <= {1.5, 2.0} or len(found) == 2 for found in corners) and corners[0] <= {1.5, 2.0}
    least, most = sampled(one, weights, 3)  # two corners and a point between
    assert {round(float(least[0]), 9), round(float(most[0]), 9)} & {1.5, 2.0}
