"""Worst ratio of two node voltages against all corners and against samples."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.analyses.continuity.ratio import ratio_extremes
from ignition.errors import NetworkError
from ignition.network.elements import GROUND, Element, Network
from ignition.network.solution import solve
from ignition.network.worst_case import draw
from ignition.toleranced import Toleranced, vertices


def ladder() -> tuple[Network, dict[str, Toleranced]]:
    """A source with two dividers behind one series resistor."""
    parts = [
        ("series", "top", "bus"),
        ("a", "bus", "one"),
        ("b", "one", GROUND),
        ("c", "bus", "two"),
        ("d", "two", GROUND),
    ]
    elements = [Element(name="source", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),))]
    elements += [Element(name=n, kind="resistor", plus=p, minus=m, resistance=((n, 1.0),)) for n, p, m in parts]
    elements.append(Element(name="leak", kind="sink", plus="one", minus=GROUND, current=(("J", 1.0),)))
    box = {
        "E": Toleranced(low=5.0, nominal=6.0, high=9.0),
        "series": Toleranced(low=1.0, nominal=2.0, high=30.0),
        "a": Toleranced(low=90.0, nominal=100.0, high=110.0),
        "b": Toleranced(low=30.0, nominal=33.0, high=36.0),
        "c": Toleranced(low=150.0, nominal=180.0, high=210.0),
        "d": Toleranced(low=50.0, nominal=56.0, high=60.0),
        "J": Toleranced(low=-1e-3, nominal=0.0, high=1e-3),
    }
    return Network(elements=tuple(elements)), box


def test_ratio_is_the_worst_of_all_corners() -> None:
    """Bounds equal the extremes over every one of the 128 corners."""
    network, box = ladder()
    names = list(box)
    corners = vertices([box[n] for n in names])
    solution = solve(network, {n: corners[:, i] for i, n in enumerate(names)})
    ratios = solution.voltage("one") / solution.voltage("two")
    found = ratio_extremes(network, box, "one", "two")
    assert found.low == pytest.approx(ratios.min(), rel=1e-10)
    assert found.high == pytest.approx(ratios.max(), rel=1e-10)


def test_samples_lie_inside() -> None:
    """No sample's ratio leaves the bounds."""
    network, box = ladder()
    solution = solve(network, draw(box, np.random.default_rng(5), 2000))
    ratios = solution.voltage("one") / solution.voltage("two")
    found = ratio_extremes(network, box, "one", "two")
    assert found.low <= ratios.min() and ratios.max() <= found.high


def test_ratio_to_nothing_is_refused() -> None:
    """Where the second voltage can be zero no ratio exists."""
    network, box = ladder()
    with pytest.raises(NetworkError, match="'two' can be zero"):
        ratio_extremes(network, box | {"E": Toleranced(low=0.0, nominal=6.0, high=9.0)}, "one", "two")
