"""A closed form held to its network: how near is near enough, and what is said where it is not."""

from __future__ import annotations

import re

import pytest

from ignition.errors import NetworkError
from ignition.network.agreement import hold_to_network
from ignition.network.elements import GROUND, Element, Network
from ignition.network.worst_case import Probe

HALVES = Network(
    elements=(
        Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),)),
        Element(name="upper", kind="resistor", plus="top", minus="tap", resistance=(("R", 1.0),)),
        Element(name="lower", kind="resistor", plus="tap", minus=GROUND, resistance=(("R", 1.0),)),
    )
)
"""A divider by two: half the voltage at its tap."""


def held(probe: Probe, found: float, volts: float) -> None:
    """Hold a number to the divider of 1 ohm and 1 ohm."""
    hold_to_network("a guess", {probe: found}, HALVES, {"E": volts, "R": 1.0})


@pytest.mark.parametrize("probe", [Probe(node="tap"), Probe(element="lower")])
@pytest.mark.parametrize(("volts", "off"), [(4.0, 2.0 * 1e-9), (0.0, 1e-15)])
def test_as_near_as_rounding(probe: Probe, volts: float, off: float) -> None:
    """To 1e-9 of the number, or to 1e-15 beside nothing; a tenth more is another circuit."""
    for way in (-1.0, 1.0):
        held(probe, volts / 2.0 + 0.9 * way * off, volts)
        with pytest.raises(NetworkError):
            held(probe, volts / 2.0 + 1.1 * way * off, volts)


@pytest.mark.parametrize(
    ("probe", "said"),
    [
        (Probe(node="tap"), "a guess gives 2.5 V at tap, the network 2.0 V: they are not the same circuit"),
        (Probe(element="upper"), "a guess gives 2.5 A through upper, the network 2.0 A: they are not the same circuit"),
    ],
)
def test_both_numbers_are_said(probe: Probe, said: str) -> None:
    """With their unit, and where."""
    with pytest.raises(NetworkError, match=f"^{re.escape(said)}$"):
        held(probe, 2.5, 4.0)


def test_the_ones_before_do_not_answer_for_the_last() -> None:
    """Every number is compared."""
    with pytest.raises(NetworkError, match="at tap"):
        hold_to_network("a guess", {Probe(node="top"): 4.0, Probe(node="tap"): 1.9}, HALVES, {"E": 4.0, "R": 1.0})
