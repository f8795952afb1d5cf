"""Worst corners of many members at once: published worst-case circuits, samples, single searches, and no solution."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ignition.network.elements import GROUND, Element, Network
from ignition.network.solution import solve
from ignition.network.worst_case import Probe, extremes
from ignition.network.worst_members import Boxes, at_nominal, bounds, worst_members
from ignition.toleranced import Toleranced
from ignition.typing import BoolArray, FloatArray

Published = Callable[[str], dict[str, Any]]


def resistor(name: str, plus: str, minus: str, *, closed: bool = True) -> Element:
    """A resistor of its own parameter."""
    return Element(name=name, kind="resistor", plus=plus, minus=minus, resistance=((name, 1.0),), closed=closed)


def ladder(*names: str) -> Network:
    """A source of E above resistors in series; the node below each is called after it."""
    source = Element(name="source", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),))
    nodes = ["top", *(f"below {name}" for name in names[:-1]), GROUND]
    rows = [resistor(name, nodes[k], nodes[k + 1]) for k, name in enumerate(names)]
    return Network(elements=(source, *rows))


def boxes_of(
    network: Network, members: Sequence[Mapping[str, Toleranced]], closed: Mapping[str, BoolArray] | None = None
) -> Boxes:
    """Members of one network."""
    rows = [[member[name] for name in network.parameters] for member in members]
    ends = np.array([[(v.low, v.nominal, v.high) for v in row] for row in rows])
    return Boxes(network=network, low=ends[..., 0], nominal=ends[..., 1], high=ends[..., 2], closed=closed or {})


def one_percent(value: float) -> Toleranced:
    """A 1 % resistor."""
    return Toleranced(low=0.99 * value, nominal=value, high=1.01 * value, unit="ohm")


def ends(boxes: Boxes, node: str) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest voltage of a node in each member."""
    weights = np.tile(Probe(node=node).weights(boxes.network), (len(boxes.low), 1))
    found = [worst_members(boxes, weights, np.full(len(boxes.low), way)) for way in (-1.0, 1.0)]
    assert all(one.settled.all() for one in found)
    return found[0].value, found[1].value


def test_divider_trip(published: Published) -> None:
    """Voltage at which a divider of 1 % resistors trips a detector: its threshold over the ratio's other end."""
    entry, network = published("faults.divider_trip"), ladder("R3", "R4")
    exact = Toleranced.exact(1.0, "V")
    boxes = boxes_of(network, [{"E": exact, "R3": one_percent(1.33e3), "R4": one_percent(2.21e3)}])
    low, high = ends(boxes, "below R3")
    nominal = at_nominal(boxes, Probe(node="below R3").weights(network)[None, :])[0]
    found = [2.20 / high[0], 2.25 / nominal[0], 2.30 / low[0]]
    assert found == pytest.approx(entry["value"], abs=5.1e-6)
    assert found == pytest.approx(entry["printed"], abs=0.006)  # the print rounds 3.712 up to 3.71 and 3.498 to 3.50


def test_ladders(published: Published) -> None:
    """Supervisors' ladders of three resistors, all in one batch."""
    rows, network = published("faults.ladders")["rows"], ladder("top R", "middle R", "bottom R")
    members = [
        {"E": Toleranced.exact(1.0, "V")}
        | {
            name: Toleranced.exact(value, "ohm")
            for name, value in zip(("top R", "middle R", "bottom R"), row[1:4], strict=True)
        }
        for row in rows
    ]
    boxes = boxes_of(network, members)
    under, over = (ends(boxes, f"below {name}")[0] for name in ("top R", "middle R"))
    assert [row[0] / u for row, u in zip(rows, under, strict=True)] == pytest.approx([r[4] for r in rows], abs=1e-3)
    assert [row[0] / u for row, u in zip(rows, over, strict=True)] == pytest.approx([r[5] for r in rows], abs=1e-3)


def test_ratio(published: Published) -> None:
    """Bounds of R1/(R1 + R2)."""
    network = ladder("R2", "R1")
    boxes = boxes_of(network, [{"E": Toleranced.exact(1.0, "V"), "R1": one_percent(1e3), "R2": one_percent(2e3)}])
    found = [end[0] for end in ends(boxes, "below R2")]
    assert found == pytest.approx(published("faults.common_tolerance")["value"], abs=5.1e-7)


def bridge() -> Network:
    """A bridge with a clamp, a leakage and a link that some members close: its current may turn round."""
    return Network(
        elements=(
            Element(
                name="source", kind="source", plus="top", minus=GROUND,
                voltage=(("E", 1.0),), resistance=(("Ri", 1.0),),
            ),
            resistor("R1", "top", "left"),
            resistor("R2", "left", GROUND),
            resistor("R3", "top", "right"),
            resistor("R4", "right", GROUND),
            resistor("R5", "left", "right"),
            resistor("link", "left", GROUND, closed=False),
            Element(
                name="clamp", kind="clamp", plus="left", minus=GROUND, voltage=(("drop", 1.0),), resistance=(("R6", 1.0),)
            ),
            Element(name="leakage", kind="leakage", plus="right", minus=GROUND, current=(("leak", 1.0),)),
        )
    )  # fmt: skip


def random_members(count: int, seed: int) -> tuple[Boxes, list[dict[str, Toleranced]], BoolArray]:
    """Bridges of random values with random tolerances, of which some close the link."""
    rng = np.random.default_rng(seed)
    units = {"E": (3.0, 14.0), "Ri": (0.05, 1.0), "drop": (0.5, 4.0), "R6": (1.0, 50.0), "leak": (1e-6, 1e-3)}
    members = []
    for _ in range(count):
        member = {}
        for name in bridge().parameters:
            low, high = units.get(name, (1.0, 1e3))
            nominal, share = float(np.exp(rng.uniform(np.log(low), np.log(high)))), rng.uniform(0.0, 0.3)
            member[name] = Toleranced(low=nominal * (1.0 - share), nominal=nominal, high=nominal * (1.0 + share))
        members.append(member)
    closed = np.asarray(rng.random(count) < 0.3)
    return boxes_of(bridge(), members, {"link": closed}), members, closed


def test_samples_lie_inside() -> None:
    """No sample of any member is beyond its bounds, in either direction."""
    boxes, _, closed = random_members(200, 1)
    weights = np.tile(Probe(element="R5").weights(boxes.network), (200, 1))
    low, high = (worst_members(boxes, weights, np.full(200, way)) for way in (-1.0, 1.0))
    rng = np.random.default_rng(2)
    for _ in range(60):
        share = np.where(
            rng.random(boxes.low.shape) < 0.5, rng.integers(0, 2, boxes.low.shape), rng.random(boxes.low.shape)
        )
        values = boxes.low + share * (boxes.high - boxes.low)
        found = solve(
            boxes.network, {n: values[:, k] for k, n in enumerate(boxes.network.parameters)}, closed={"link": closed}
        ).current("R5")
        slack = 1e-9 * np.abs(found) + 1e-12
        assert (found <= high.value + slack).all()
        assert (found >= low.value - slack).all()


@pytest.mark.parametrize(("knee", "share"), [(100.0, 1e-6), (1.0, 0.01)])
def test_as_one_by_one(knee: float, share: float) -> None:
    """The batch gives what the exact search gives for each member by itself, and the value stands at its corner.

    To a millionth where no clamp conducts; where one does, the search of the batch may end on a lesser summit.
    """
    boxes, members, closed = random_members(60, 7)
    column = boxes.network.parameters.index("drop")
    for end in (boxes.low, boxes.nominal, boxes.high):
        end[:, column] *= knee
    weights = np.tile(Probe(element="R5").weights(boxes.network), (60, 1))
    low, high = (worst_members(boxes, weights, np.full(60, way)) for way in (-1.0, 1.0))
    for index, member in enumerate(members):
        network = bridge().switched(closed=["link"]) if closed[index] else bridge()
        exact = extremes(network, {**member, "drop": member["drop"].times(knee)}, [Probe(element="R5")])[0]
        slack = share * max(abs(exact.low), abs(exact.high)) + 1e-12
        for found, value in ((low, exact.low), (high, exact.high)):
            if found.settled[index]:
                assert found.value[index] == pytest.approx(value, abs=slack)
        assert low.value[index] <= exact.low + slack
        assert high.value[index] >= exact.high - slack
        assert low.settled[index] or share > 1e-3
        assert high.settled[index] or share > 1e-3
    for found in (low, high):
        values = np.where(found.high, boxes.high, boxes.low)
        there = boxes.solved(values).current("R5")[found.settled]
        assert there == pytest.approx(found.value[found.settled], rel=1e-9, abs=1e-15)


def test_begin_and_order() -> None:
    """From the corners of a search a search ends at once; members do not depend on each other's company."""
    boxes, _, _ = random_members(30, 11)
    weights = np.tile(Probe(element="R5").weights(boxes.network), (30, 1))
    first = worst_members(boxes, weights, np.ones(30))
    again = worst_members(boxes, weights, np.ones(30), starts=1, begin=first.high)
    assert again.value == pytest.approx(first.value, rel=1e-12)
    assert (again.high == first.high)[:, (boxes.high > boxes.low).all(axis=0)].all()
    order = np.random.default_rng(5).permutation(30)
    shuffled = worst_members(boxes.take(order), weights, np.ones(30))
    assert shuffled.value == pytest.approx(first.value[order], rel=1e-9)


def test_without_solution() -> None:
    """A member without a solution is not known and not settled; its neighbours are what they are without it."""
    source = Element(name="source", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),))
    second = Element(
        name="second", kind="source", plus="top", minus=GROUND, voltage=(("F", 1.0),), resistance=(("R", 1.0),)
    )
    network = Network(elements=(source, second))
    values = [
        {"E": Toleranced.exact(5.0), "F": Toleranced.exact(3.0), "R": Toleranced.exact(r)} for r in (2.0, 0.0, 4.0)
    ]
    boxes = boxes_of(network, values)
    weights = np.tile(Probe(element="second").weights(network), (3, 1))
    found = worst_members(boxes, weights, np.ones(3))
    assert found.value[[0, 2]] == pytest.approx([1.0, 0.5])
    assert np.isnan(found.value[1])
    assert found.settled.tolist() == [True, False, True]
    assert np.isnan(at_nominal(boxes, weights)[0]).tolist() == [False, True, False]


def test_negligible_effects() -> None:
    """What is negligible is not followed, and moves the answer by no more than its sum."""
    boxes, _, _ = random_members(30, 13)
    weights = np.tile(Probe(element="R5").weights(boxes.network), (30, 1))
    exact = worst_members(boxes, weights, np.ones(30)).value
    small = np.full(30, 1e-4)
    found = worst_members(boxes, weights, np.ones(30), negligible=small).value
    assert (found <= exact + 1e-12).all()
    assert (found >= exact - 3.0 * len(boxes.network.parameters) * 1e-4).all()
    assert (found < exact - 1e-9).any()


def test_what_corners_ask_for_at_nominal_values() -> None:
    """Of 1 V over 2 kohm and 3 kohm, 0.6 V: more from the source and the lower one, less from the upper one."""
    spread = {"E": (0.9, 1.0, 1.1), "R3": (1e3, 2e3, 3e3), "R4": (2e3, 3e3, 4e3)}
    network = ladder("R3", "R4")
    member = {name: Toleranced(low=v[0], nominal=v[1], high=v[2]) for name, v in spread.items()}
    exact = member | {"E": Toleranced.exact(1.0)}
    boxes = boxes_of(network, [member, exact])
    value, up, down = at_nominal(boxes, np.tile(Probe(node="below R3").weights(network), (2, 1)))
    assert value == pytest.approx([0.6, 0.6])
    columns = [network.parameters.index(name) for name in spread]
    assert up[:, columns].tolist() == [[True, False, True], [False, False, True]]
    assert down[:, columns].tolist() == [[False, True, False], [False, True, False]]


def test_bounds_by_hand() -> None:
    """The same divider: 0.9 V over 3 kohm and 2 kohm, and 1.1 V over 1 kohm and 4 kohm; without a solution no number."""
    network = ladder("R3", "R4")
    spread = {"E": (0.9, 1.0, 1.1), "R3": (1e3, 2e3, 3e3), "R4": (2e3, 3e3, 4e3)}
    member = {name: Toleranced(low=v[0], nominal=v[1], high=v[2]) for name, v in spread.items()}
    weights = np.tile(Probe(node="below R3").weights(network), (1, 1))
    found = [float(each[0]) for each in bounds(boxes_of(network, [member]), weights, starts=1)]
    assert found == pytest.approx([0.9 * 0.4, 0.6, 1.1 * 0.8])
    twice = Network(elements=(*network.elements, replace(network.elements[0], name="second", voltage=(("F", 1.0),))))
    lost = boxes_of(twice, [member | {"F": Toleranced.exact(2.0)}])
    weights = np.tile(Probe(node="below R3").weights(twice), (1, 1))
    assert np.isnan(bounds(lost, weights, starts=1)).all()
    value, up, down = at_nominal(lost, weights)
    assert np.isnan(value).all() and up.shape == down.shape == lost.low.shape and not (up | down).any()


def test_what_a_search_that_did_not_settle_still_asks_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped at its first corner: 0.36 V of the lowest, and twice what each of three slopes promises on top.

    The slopes there: 0.4 of 0.2 V; 0.9 V R4 / (R3 + R4)^2 = 72 uV/ohm of 2 kohm; 0.9 V R3 / (R3 + R4)^2 = 108 uV/ohm.
    """
    monkeypatch.setattr("ignition.network.worst_members._MAX_ROUNDS", 1)
    network = ladder("R3", "R4")
    spread = {"E": (0.9, 1.0, 1.1), "R3": (1e3, 2e3, 3e3), "R4": (2e3, 3e3, 4e3)}
    member = {name: Toleranced(low=v[0], nominal=v[1], high=v[2]) for name, v in spread.items()}
    boxes = boxes_of(network, [member])
    weights = np.tile(Probe(node="below R3").weights(network), (1, 1))
    begin = np.array([[name == "R3" for name in network.parameters]])
    found = worst_members(boxes, weights, np.ones(1), starts=1, begin=begin)
    owed = 0.4 * 0.2 + 72e-6 * 2e3 + 108e-6 * 2e3
    assert found.value == pytest.approx([0.36 + 2.0 * owed]) and found.settled.tolist() == [False]
    assert found.high.tolist() == begin.tolist()
    settled = worst_members(boxes, weights, np.ones(1), starts=1, begin=~begin)
    assert settled.value == pytest.approx([0.88]) and settled.settled.tolist() == [True]
