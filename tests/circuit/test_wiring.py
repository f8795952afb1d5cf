"""Leads, branches and feed wires made complete: class, temperature, thin end, what is not widened, wrong inputs."""

from __future__ import annotations

import math
from typing import Any

import pytest

from ignition.circuit.assumptions import Ledger
from ignition.circuit.feed import complete_feed
from ignition.circuit.feed_description import FeedPart, Wiring
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import WiringModel
from ignition.circuit.wiring import complete_wiring
from ignition.errors import CircuitFileError
from ignition.toleranced import parse_toleranced
from tests.circuit.edits import CUTTER, edited

THEORY = 2 * 8.0 / 58.0 / 1.5  # 8 m one way of 1.5 mm2 [ohm]
WIRE = {"wire": "1.5 mm2", "distance": "8 m", "joints": "0 ohm"}


def completed(table: dict[str, Any], ambient: str = "20 degC") -> tuple[WiringModel, Ledger]:
    """The wiring and its assumptions."""
    ledger = Ledger()
    return complete_wiring(Wiring.model_validate(table), "lead", parse_toleranced(ambient, "degC"), ledger), ledger


@pytest.mark.parametrize(
    ("name", "high"),
    [("solid", 1.012 * 12.2 * 1.5 * 0.058), ("flexible", 1.012 * 13.7 * 1.5 * 0.058), (None, 1.2154)],
)
def test_a_wire_is_a_range(name: str | None, high: float) -> None:
    """Nominal is the theoretical resistance, the ends are those of the class; the thin end is its ideal copper."""
    made, ledger = completed(WIRE | ({} if name is None else {"wire_class": name}))
    assert made.round_trip.nominal == pytest.approx(THEORY, rel=1e-12)
    assert (made.round_trip.low, made.round_trip.high) == pytest.approx((0.82 * THEORY, high * THEORY), rel=1e-12)
    assert made.area is not None and made.area.nominal == 1.5e-6
    assert (made.area.low, made.area.high) == pytest.approx((1.5e-6 / high, 1.5e-6 / 0.82), rel=1e-12)
    assert ("lead.wire_class" in {a.key for a in ledger.assumptions}) is (name is None)


def test_the_class_left_out_is_said_both_ways() -> None:
    """An assumption in each direction, with the range, and what copper-clad aluminium would be."""
    said = [a for a in completed(WIRE)[1].assumptions if a.key == "lead.wire_class"]
    assert [(a.key, a.direction) for a in said] == [("lead.wire_class", "safe"), ("lead.wire_class", "fire")]
    for a in said:
        assert "0.82 to 1.22 times the theoretical resistance" in a.value
        assert "copper-clad aluminium is up to 1.59 times as much and not covered" in a.value


def test_length_and_temperature_widen_too() -> None:
    """Shortest, thickest and coldest; longest, thinnest and hottest."""
    made, _ = completed(
        WIRE | {"distance": "7 m .. 8 m .. 9 m", "wire_class": "stranded"}, "-10 degC .. 20 degC .. 50 degC"
    )
    high = 1.012 * 12.2 * 1.5 * 0.058
    assert made.round_trip.low == pytest.approx(0.82 * THEORY * 7 / 8 * (1 - 0.00393 * 30), rel=1e-12)
    assert made.round_trip.high == pytest.approx(high * THEORY * 9 / 8 * (1 + 0.00393 * 30), rel=1e-12)
    assert made.round_trip.nominal == pytest.approx(THEORY, rel=1e-12)


def test_a_given_resistance_is_what_it_says() -> None:
    """No class, no temperature, no cross-section."""
    made, ledger = completed({"resistance": "0.4 ohm", "joints": "0 ohm"}, "-10 degC .. 20 degC .. 50 degC")
    assert (made.round_trip.low, made.round_trip.high, made.area) == (0.4, 0.4, None)
    assert {a.key for a in ledger.assumptions} == {"lead.inductance", "lead.capacitance"}
    assert (made.inductance.low, made.inductance.high, made.capacitance.high) == (0.0, 40e-6, 3e-9)


def test_a_trace_has_a_thin_end() -> None:
    """Width and thickness of the track make both the resistance and the cross-section."""
    made, ledger = completed(
        {"trace": {"width": "2 mm ± 10 %", "thickness": "35 um ± 20 %"}, "distance": "5 cm", "joints": "0 ohm"}
    )
    assert made.area is not None
    assert [made.area.low, made.area.nominal, made.area.high] == pytest.approx(
        [1.8e-3 * 28e-6, 2e-3 * 35e-6, 2.2e-3 * 42e-6], rel=1e-12
    )
    assert made.round_trip.high == pytest.approx(0.1 / 58e6 / (1.8e-3 * 28e-6), rel=1e-12)
    assert {a.key for a in ledger.assumptions} == {"lead.inductance", "lead.capacitance"}


def test_a_wire_in_the_feed() -> None:
    """The same range for a wire of the feed, with a resistance of its own in series."""
    ledger, table = Ledger(), {"name": "w", "kind": "wire", "wire": "AWG 14", "distance": "1 m", "resistance": "5 mohm"}
    made = complete_feed(FeedPart.model_validate(table), "feed[1]", parse_toleranced("20 degC", "degC"), ledger)
    theory = 2.0 / 58.0 / (math.pi / 4 * (0.127 * 92 ** (22 / 39)) ** 2)
    found = [made.resistance.low, made.resistance.nominal, made.resistance.high]
    assert found == pytest.approx([0.005 + 0.82 * theory, 0.005 + theory, 0.005 + 1.246 * theory], rel=1e-12)
    assert made.area is not None and made.area.low == pytest.approx(2e-6 / 58.0 / (1.246 * theory), rel=1e-12)
    assert {a.key for a in ledger.assumptions} == {f"feed[1].{k}" for k in ("wire_class", "inductance", "capacitance")}
    # 2 m of two wires up to 0.3 m apart: 0.4 uH/m (ln(0.6 m / d) + 1/4), d of the thinnest allowed; 10 to 100 pF/m
    thin = 2.0 * math.sqrt(made.area.low / math.pi)
    assert made.inductance.high == pytest.approx(0.4e-6 * (math.acosh(0.3 / thin) + 0.25), rel=1e-6)
    assert (made.capacitance.low, made.capacitance.high) == pytest.approx((10e-12, 100e-12))
    other = {"name": "s", "kind": "connector", "resistance": "5 mohm"}
    plain = complete_feed(FeedPart.model_validate(other), "feed[2]", parse_toleranced("20 degC", "degC"), ledger)
    assert (plain.inductance.high, plain.capacitance.high) == (0.0, 0.0)
    short = FeedPart.model_validate({k: v for k, v in table.items() if k != "distance"})
    given = complete_feed(short, "feed[1]", parse_toleranced("20 degC", "degC"), Ledger())
    assert given.resistance.high == 0.005 and given.area == made.area, "a given resistance, of a wire of known size"
    narrow = FeedPart.model_validate(table | {"wire_class": "stranded"})
    made = complete_feed(narrow, "feed[1]", parse_toleranced("20 degC", "degC"), Ledger())
    assert made.resistance.high == pytest.approx(0.005 + 1.126 * theory, rel=1e-12)


def test_an_eased_class_is_solid_wire() -> None:
    """For a what-if a missing class is the narrowest."""
    ledger = Ledger(lambda key: "fire")
    made = complete_wiring(Wiring.model_validate(WIRE), "lead", parse_toleranced("20 degC", "degC"), ledger)
    solid, _ = completed(WIRE | {"wire_class": "solid"})
    assert made.round_trip == solid.round_trip


@pytest.mark.parametrize(
    ("old", "new", "key", "says"),
    [
        ('wire = "AWG 22"', 'wire = "AWG 22", wire_class = "bare"', "channel[0].lead.wire_class", "must be 'solid', 'stranded'"),
        (
            'wire = "AWG 22", distance = "1.5 m"',
            'resistance = "0.2 ohm", wire_class = "solid"',
            "channel[0].lead",
            "wire_class is the make-up of a wire",
        ),
        ('resistance = "10 mohm', 'wire_class = "solid"\nresistance = "10 mohm', "feed[0]", "wire_class is the make-up of a wire"),
        ('resistance = "10 mohm', 'derating = 0.5\nresistance = "10 mohm', "feed[0]", "derating: only for kind = 'fuse' or kind = 'resettable fuse', received kind = 'arm switch'"),
        ('resistance = "10 mohm', 'derating = "0.5"\nresistance = "10 mohm', "feed[0].derating", "is a plain number above 0"),
        ('resistance = "10 mohm', 'derating = 1.2\nresistance = "10 mohm', "feed[0].derating", "less than or equal to 1"),
        ('resistance = "10 mohm', 'derating = 0\nresistance = "10 mohm', "feed[0].derating", "greater than 0"),
    ],
)  # fmt: skip
def test_wrong_values(old: str, new: str, key: str, says: str) -> None:
    """A wrong class, or a key where it does not belong, is a mistake with its key."""
    with pytest.raises(CircuitFileError) as caught:
        parse_circuit(edited(CUTTER, (old, new)))
    assert any(m.key == key and says in m.message for m in caught.value.mistakes), str(caught.value)
