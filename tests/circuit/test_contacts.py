"""Contacts of a line as completed: what lies around a switch beside it, what the lead counts, what an edge meets."""

from __future__ import annotations

from typing import Literal

import pytest

from ignition.analyses.no_fire.corners import Hold, contacts_at_edge
from ignition.circuit.model import ChannelModel, Circuit
from ignition.errors import CircuitFileError
from ignition.network.template import State, box_back, box_out, build_network, high_side_closed, parameter_box
from ignition.toleranced import Toleranced
from tests.analyses.faults.boards import held
from tests.analyses.sense_circuits import bench

SWITCH = 'high_side = { resistance = "1 ohm .. 2 ohm .. 4 ohm", around = "10 ohm .. 20 ohm .. 40 ohm" }'
NONE = (0.0, 0.0, 0.0)
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


def test_a_switch_with_what_lies_around_it() -> None:
    """Closed, both side by side, end by end; opened, what lies around it alone."""
    one = line(SWITCH)
    assert one.high_side is not None and ends(one.high_side.resistance) == (1.0, 2.0, 4.0)
    assert ends(one.high_side.closed) == pytest.approx(BESIDE)
    assert ends(one.high_side.opened) == (10.0, 20.0, 40.0)
    assert ends(one.into_tap) == pytest.approx((99e3 + 10.0, 100e3 + 20.0, 101e3 + 40.0))


def test_a_switch_with_nothing_around_it() -> None:
    """Its contact as it is; opened it is a gap of 1 Gohm."""
    one = line(ALONE)
    assert one.high_side is not None and one.high_side.around is None
    assert ends(one.high_side.resistance) == (1.0, 2.0, 4.0)
    assert ends(one.high_side.closed) == pytest.approx((1.0, 2.0, 4.0), rel=1e-8)
    assert ends(one.high_side.opened) == (1e9, 1e9, 1e9)
    plain = line("")
    assert plain.high_side is None and ends(plain.into_tap) == ends(plain.upper)


@pytest.mark.parametrize(
    ("more", "fired", "tested"),
    [
        ("", NONE, NONE), (RETURN, (0.1, 0.2, 0.4), (0.1, 0.2, 0.4)), (ALONE, (1.0, 2.0, 4.0), (1e9, 1e9, 1e9)),
        (SWITCH, BESIDE, (10.0, 20.0, 40.0)),
        (
            f"{SWITCH}\n{RETURN}",
            tuple(a + b for a, b in zip(BESIDE, (0.1, 0.2, 0.4), strict=True)), (10.1, 20.2, 40.4),
        ),
        ('shunt = "0.5 ohm"', NONE, NONE),
    ],
)  # fmt: skip
def test_contacts_fired_and_tested(
    more: str, fired: tuple[float, float, float], tested: tuple[float, float, float]
) -> None:
    """In series with the lead, which has none of it."""
    one = line(more)
    assert ends(one.lead.resistance) == pytest.approx(LEAD)
    assert ends(one.contacts_fired) == pytest.approx(fired) and ends(one.contacts_tested) == pytest.approx(tested)


OPENED, CLOSED = (10.0, 20.0, 40.0), BESIDE


@pytest.mark.parametrize(
    ("circuit", "hold", "met"),
    [
        (held(second=SWITCH), "driven low", OPENED), (held(second=SWITCH), "dead", OPENED),
        (held(second=SWITCH), "in reset", OPENED), (bench(second=SWITCH), "in reset", CLOSED),
        (bench(second=SWITCH), "dead", OPENED), (bench(second=SWITCH), "driven low", OPENED),
        (bench(second=RETURN), "dead", (0.1, 0.2, 0.4)), (held(), "dead", NONE),
        (held(second=f"{SWITCH}\n{RETURN}"), "dead", (0.1, 0.2 + BESIDE[1], 0.4 + BESIDE[2])),
        (bench(second=f"{SWITCH}\n{RETURN}"), "in reset", (0.1, 0.2 + BESIDE[1], 0.4 + BESIDE[2])),
    ],
)  # fmt: skip
def test_what_the_arming_edge_meets(circuit: Circuit, hold: Hold, met: tuple[float, float, float]) -> None:
    """The resistor around, unless a pull-up of the pins in reset may have closed the switch; the contact in the return.

    Where that closes last the wire out is charged already: then what is at the high side may count for nothing.
    """
    assert ends(contacts_at_edge(circuit, circuit.channels[0], hold)) == pytest.approx(met)


def test_each_contact_has_its_own_parameter() -> None:
    """Contact and resistor around by themselves, as the file has them; wires of half the lead."""
    one = held(second=f"{SWITCH}\n{RETURN}")
    box = parameter_box(one, off_currents={}, on_resistances={}, rail=Toleranced.exact(3.0, "V"), loads_certain=True)
    assert ends(box["line.high side"]) == (1.0, 2.0, 4.0) and ends(box["line.around"]) == (10.0, 20.0, 40.0)
    assert ends(box["line.return contact"]) == (0.1, 0.2, 0.4) and ends(box["line.lead"]) == pytest.approx(LEAD)
    assert ends(parameter_box(held(second=ALONE), off_currents={}, on_resistances={}, rail=Toleranced.exact(3.0, "V"), loads_certain=True)["line.around"]) == (1e9, 1e9, 1e9)  # fmt: skip


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
        ("high side", "bus", "line.box out", (("line.high side", 1.0),)), ("around", "bus", "line.box out", (("line.around", 1.0),)),
        ("return gap", "line.box back", "line.drain", (("line.return gap", 1.0),)),
        ("return contact", "line.box back", "line.drain", (("line.return contact", 1.0),)),
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


def test_what_lies_around_is_left_out() -> None:
    """Which to write is told: a resistance, or that there is none."""
    said = (
        r"channel\[0\]\.high_side\.around: is missing; write around = '100 kohm', or around = 'none' where no resistor"
    )
    with pytest.raises(CircuitFileError, match=said):
        held(second='high_side = { resistance = "20 mohm" }')
