"""Contacts of a line as completed: what lies around a switch beside it, what the lead counts, what an edge meets."""

from __future__ import annotations

from typing import Literal

import pytest

from ignition.analyses.no_fire.corners import Hold, in_line_at_edge
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.template import State, box_back, box_out, build_network, high_side_closed
from ignition.toleranced import Toleranced
from tests.analyses.faults.boards import held
from tests.analyses.sense_circuits import bench

SWITCH = 'high_side = { resistance = "1 ohm .. 2 ohm .. 4 ohm", around = "10 ohm .. 20 ohm .. 40 ohm" }'
RETURN = 'return_contact = "0.1 ohm .. 0.2 ohm .. 0.4 ohm"'
ALONE = 'high_side = { resistance = "1 ohm .. 2 ohm .. 4 ohm", around = "none" }'
LEAD = (0.39970799955868247 + 0.02, 0.39970799955868247 + 0.04, 0.39970799955868247 + 0.1)


def line(more: str) -> ChannelModel:
    """The bench channel with contacts."""
    return held(second=more).channels[0]


def ends(value: Toleranced) -> tuple[float, float, float]:
    """Low, nominal and high."""
    return value.low, value.nominal, value.high


BESIDE = (1.0 * 10.0 / 11.0, 2.0 * 20.0 / 22.0, 4.0 * 40.0 / 44.0)
"""Closed contact and what lies around it, side by side [ohm]."""


def test_a_closed_switch_with_what_lies_around_it() -> None:
    """Side by side, end by end; opened, the line has the most of the difference or the least."""
    one = line(SWITCH)
    assert one.high_side is not None and ends(one.high_side.resistance) == pytest.approx(BESIDE)
    assert ends(one.around) == pytest.approx((10.0 - BESIDE[2], 20.0 - BESIDE[1], 40.0 - BESIDE[0]))
    assert ends(one.into_tap) == pytest.approx(
        (99e3 + 10.0 - BESIDE[2], 100e3 + 20.0 - BESIDE[1], 101e3 + 40.0 - BESIDE[0])
    )


def test_a_switch_of_more_than_what_lies_around_it() -> None:
    """100 to 400 ohm beside 0.1 to 0.4 ohm: opening it may add nothing, and never takes anything away."""
    one = line('high_side = { resistance = "100 ohm .. 200 ohm .. 400 ohm", around = "0.1 ohm .. 0.2 ohm .. 0.4 ohm" }')
    assert ends(one.around) == pytest.approx((0.0, 0.2 - 40.0 / 200.2, 0.4 - 10.0 / 100.1))


def test_a_switch_with_nothing_around_it() -> None:
    """Its contact as it is; opened it is a gap of 1 Gohm."""
    one = line(ALONE)
    assert one.high_side is not None and one.high_side.around is None
    assert ends(one.high_side.resistance) == (1.0, 2.0, 4.0)
    assert ends(one.around) == (1e9 - 4.0, 1e9 - 2.0, 1e9 - 1.0)
    plain = line("")
    assert (
        plain.high_side is None and ends(plain.around) == (0.0, 0.0, 0.0) and ends(plain.into_tap) == ends(plain.upper)
    )


@pytest.mark.parametrize(
    ("more", "added"),
    [
        ("", (0.0, 0.0, 0.0)), (RETURN, (0.1, 0.2, 0.4)), (ALONE, (1.0, 2.0, 4.0)), (SWITCH, BESIDE),
        (f"{SWITCH}\n{RETURN}", tuple(a + b for a, b in zip(BESIDE, (0.1, 0.2, 0.4), strict=True))),
        ('shunt = "0.5 ohm"', (0.0, 0.0, 0.0)),
    ],
)  # fmt: skip
def test_the_lead_counts_closed_contacts(more: str, added: tuple[float, float, float]) -> None:
    """Of 0.42 to 0.5 ohm: both the line and its contacts have them, once."""
    lead = line(more).lead
    assert ends(lead.resistance) == pytest.approx([a + b for a, b in zip(LEAD, added, strict=True)])
    assert ends(lead.contacts) == pytest.approx(added)


@pytest.mark.parametrize(
    ("circuit", "hold", "open_switch"),
    [
        (held(second=SWITCH), "driven low", True), (held(second=SWITCH), "dead", True),
        (held(second=SWITCH), "in reset", True), (bench(second=SWITCH), "in reset", False),
        (bench(second=SWITCH), "dead", True), (bench(second=SWITCH), "driven low", True),
    ],
)  # fmt: skip
def test_what_the_arming_edge_meets(circuit: Circuit, hold: Hold, open_switch: bool) -> None:
    """The resistor around, unless a pull-up of the pins in reset may have closed the switch."""
    channel = circuit.channels[0]
    found = in_line_at_edge(circuit, channel, hold)
    assert ends(found) == (ends(channel.around) if open_switch else (0.0, 0.0, 0.0))


Phase = Literal["disarmed", "reset", "armed", "firing"]


@pytest.mark.parametrize(
    ("phase", "commanded", "pulled_up", "closed"),
    [
        ("disarmed", False, True, (False, False, True)), ("reset", False, False, (False, True, False)),
        ("reset", False, True, (True, True, False)), ("armed", False, True, (False, True, False)),
        ("armed", True, True, (False, True, False)), ("firing", False, True, (False, True, False)),
        ("firing", True, False, (True, True, False)),
    ],
)  # fmt: skip
def test_contacts_of_every_phase(phase: Phase, commanded: bool, pulled_up: bool, closed: tuple[bool, ...]) -> None:
    """High side, return and shunt; a test pulse while armed leaves the high side open."""
    circuit = (bench if pulled_up else held)(second=f'{SWITCH}\n{RETURN}\nshunt = "0.5 ohm"')
    channel = circuit.channels[0]
    state = State(phase=phase, commanded=frozenset({"line"} if commanded else ()))
    network = build_network(circuit, state)
    names = ("high side", "return contact", "shunt")
    assert tuple(network.element(f"line.{name}").closed for name in names) == closed
    assert high_side_closed(circuit, "reset", commanded=False) is pulled_up
    assert high_side_closed(circuit, "armed", commanded=True) and not high_side_closed(
        circuit, "armed", commanded=False
    )
    shown = [
        ("high side", "bus", "line.box out", ()), ("around", "bus", "line.box out", (("line.around", 1.0),)),
        ("return gap", "line.box back", "line.drain", (("line.return gap", 1.0),)),
        ("return contact", "line.box back", "line.drain", ()),
        ("shunt", "line.box out", "line.box back", (("line.shunt", 1.0),)),
    ]  # fmt: skip
    for name, plus, minus, resistance in shown:
        element = network.element(f"line.{name}")
        assert (element.plus, element.minus, element.resistance) == (plus, minus, resistance)
        assert element.kind == "resistor" and (element.closed or name in names)
    assert (box_out(channel), box_back(channel)) == ("line.box out", "line.box back")
    assert (network.element("line.lead out").plus, network.element("line.lead back").minus) == (
        "line.box out",
        "line.box back",
    )


def test_a_line_without_contacts() -> None:
    """From the bus to the drain, without any of their elements."""
    circuit = held()
    channel, network = circuit.channels[0], build_network(circuit, State(phase="armed"))
    assert (box_out(channel), box_back(channel)) == ("bus", "line.drain")
    assert not [
        e.name for e in network.elements if e.name.endswith((".high side", ".around", "gap", "contact", "shunt"))
    ]
