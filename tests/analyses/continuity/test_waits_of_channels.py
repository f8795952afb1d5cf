"""Waits of channels that share a bus and of feeds with wires: against the exact solution, and in ngspice."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.linalg import expm

from ignition.analyses.continuity.waits import waits
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.spice.ngspice import run_deck
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

START, END = SOUND.index("[[channel]]"), SOUND.index("[checklist]")
LINE = SOUND[START:END]
(SENSE,) = (line for line in LINE.splitlines() if line.startswith("sense"))
(LEAD,) = (line for line in LINE.splitlines() if line.startswith("lead"))
PLAIN = 'lead = { resistance = "0.5 ohm", joints = "0 ohm", capacitance = "10 nF" }'
AROUND = 'high_side = { resistance = "20 mohm", around = "100 kohm" }\n'
STORED = ('output_capacitance = "300 pF"', 'output_capacitance = "3 nF"')
STRAP = 'kind = "interlock"\nresistance = "10 mohm"'
SAMPLE = ('sample_capacitance = "8 pF"', 'sample_capacitance = "7 pF .. 8 pF .. 9 pF"')
CODE = 3000.0

FAST = 'upper = "100 kohm", lower = "33 kohm", filter = "1 nF"'
SLOW = 'upper = "1 Mohm", lower = "330 kohm", filter = "1 uF"'
ALIKE = 'upper = "100 kohm", lower = "33 kohm", filter = "100 nF"'
LARGE = ALIKE.replace("100 nF", "10 uF")
STEEP = 'upper = "300 kohm", lower = "10 kohm", filter = "10 nF"'
BARE = 'upper = "470 kohm", lower = "220 kohm"'
LOOSE = 'upper = "100 kohm ± 20 %", lower = "33 kohm ± 20 %", filter = "10 nF"'


def lines(*senses: str, contact: str = "", feed: str = STRAP) -> Circuit:
    """The cutter with a line for each divider, 3 nF at each drain and 10 nF along each lead."""
    each = (
        edited(LINE, ('"line"', f'"line {k}"'), (SENSE, f"sense = {{ {sense} }}"), (LEAD, contact + PLAIN))
        for k, sense in enumerate(senses, 1)
    )
    return parse_circuit(
        edited(SOUND[:START], STORED, SAMPLE, (STRAP, feed)) + "".join(each) + SOUND[END:], "lines.toml"
    )


def left(circuit: Circuit, channel: int, time: float, ends: str = "high") -> float:
    """Share of a channel's reading some time after the arm switch opens, everything at one end, exactly solved.

    Nodes are the bus and of each channel drain and tap; the feed's wires and each lead's hang on bus and drain.
    """
    size = 1 + 2 * len(circuit.channels)
    conductance = np.zeros((size, size))
    capacitance = np.full(size, 1e-15)
    capacitance[0] += sum(part.capacitance.high for part in circuit.feed)

    def join(one: int, other: int | None, resistance: float) -> None:
        both = [one] if other is None else [one, other]
        conductance[both, both] += 1.0 / resistance
        if other is not None:
            conductance[one, other] -= 1.0 / resistance
            conductance[other, one] -= 1.0 / resistance

    for k, each in enumerate(circuit.channels):
        drain, tap = 1 + 2 * k, 2 + 2 * k
        own = ends if k == channel else "high"
        join(0, drain, each.contacts_tested.high + 2.0)
        join(drain, tap, each.upper.high)
        join(tap, None, each.lower.low if own == "low" else each.lower.high)
        capacitance[drain] += circuit.mosfets[each.mosfet].output_capacitance.high + each.lead.capacitance.high
        capacitance[tap] += 0.0 if each.filter is None else each.filter.high + 9e-12
    driven, source = conductance.copy(), np.zeros(size)
    driven[0, 0] += 1e3
    source[0] = 1e3
    start = np.linalg.solve(driven, source)
    after = expm(-conductance / capacitance[:, None] * time) @ start
    place = 2 + 2 * channel
    return float(after[place] / start[place])


CASES = [
    (FAST, SLOW),
    (SLOW, FAST),
    (ALIKE, ALIKE),
    (ALIKE, ALIKE, ALIKE, ALIKE),
    (STEEP, FAST),
    (STEEP, SLOW),
    (BARE, FAST),
    (LOOSE, SLOW, STEEP),
]


@pytest.mark.parametrize("contact", ["", AROUND], ids=["bare", "around"])
@pytest.mark.parametrize("senses", CASES)
def test_channels_feed_each_other_through_the_bus(senses: tuple[str, ...], contact: str) -> None:
    """With the arm switch open a channel is read down to half a code in the time told, whatever the others hold."""
    circuit = lines(*senses, contact=contact)
    for number, channel in enumerate(circuit.channels):
        told = waits(circuit, channel, CODE).after_opening
        for ends in ("low", "high"):
            assert left(circuit, number, told, ends) * CODE <= 0.5


def test_no_more_than_they_need() -> None:
    """Of channels that are alike each needs most of the time told; one alone needs no more than before."""
    circuit = lines(LARGE, LARGE)
    told = waits(circuit, circuit.channels[0], CODE).after_opening
    assert left(circuit, 0, 0.8 * told) * CODE > 0.5
    alone = lines(ALIKE)
    opened = 33e3 * (100e-9 + 9e-12) + 133e3 * 13e-9
    assert waits(alone, alone.channels[0], CODE).after_opening == pytest.approx(opened * math.log(CODE / 0.5), rel=1e-9)


def test_the_slowest_channel_by_hand() -> None:
    """The slow one's constant, down to half a code of what the fast one's tap would read at the whole bus voltage."""
    circuit = lines(LOOSE, SLOW)
    slowest = 330e3 * (1e-6 + 9e-12) + 1.33e6 * 13e-9
    expected = slowest * math.log(CODE / 0.5 * (120.0 + 0.8 * 33.0) / (0.8 * 33.0))
    assert waits(circuit, circuit.channels[0], CODE).after_opening == pytest.approx(expected, rel=1e-9)


def test_a_fast_channel_beside_a_slow_one_in_ngspice() -> None:
    """Some 15 ms would do for the fast one alone; beside the other some 1.3 s pass until half a code is left."""
    circuit = lines(FAST, SLOW)
    told = waits(circuit, circuit.channels[0], CODE).after_opening
    deck = (
        "the arm switch opens\n.ic v(b)=8 v(d1)=8 v(d2)=8 v(t1)=1.984962 v(t2)=1.984962\n"
        "R1 b d1 2\nC1 d1 0 13n\nR2 d1 t1 100k\nR3 t1 0 33k\nC2 t1 0 1n\n"
        "R4 b d2 2\nC3 d2 0 13n\nR5 d2 t2 1meg\nR6 t2 0 330k\nC4 t2 0 1u\n"
        f".options reltol=1e-5 abstol=1e-13 vntol=1e-9 chgtol=1e-18\n.tran {told / 4000!r} {told!r} 0 {told / 4000!r} uic\n.end\n"
    )  # fmt: skip
    plot = run_deck(deck).plot("transient")
    share = plot.signal("v(t1)") / 1.984962
    needed = float(plot.signal("time")[int(np.argmax(share * CODE <= 0.5))])
    assert 1.0 < needed < told
    assert share[-1] == pytest.approx(left(circuit, 0, told), rel=0.02)


def test_wires_of_the_feed() -> None:
    """Their capacitance charges through battery and feed, and discharges through the line and both resistors."""
    length = 'kind = "wire"\nwire = "AWG 20"\ndistance = "4 m"\ninductance = "1 uH"\ncapacitance = "{0} nF .. {0} nF .. {1} nF"'
    bare, wired = (lines(ALIKE, feed=length.format("0.001", nano)) for nano in ("0.001", "50"))
    without, found = (waits(one, one.channels[0], CODE) for one in (bare, wired))
    assert wired.feed[0].capacitance.high == 50e-9
    feed = 0.1 + wired.feed[0].resistance.high + 0.05
    assert found.time_constant - without.time_constant == pytest.approx(feed * 49.999e-9, rel=1e-6)
    line = wired.channels[0].lead.resistance.high + wired.igniters["match"].resistance.high
    more = (line + 133e3) * 49.999e-9 * math.log(CODE / 0.5)
    assert found.after_opening - without.after_opening == pytest.approx(more, rel=1e-9)
    assert left(wired, 0, found.after_opening) * CODE <= 0.5 < left(wired, 0, without.after_opening) * CODE


@pytest.mark.parametrize(("filtered", "codes"), [("60 nF", 0.614), ("1 uF", 0.037)])
def test_a_sample_that_takes_next_to_nothing(filtered: str, codes: float) -> None:
    """Half a code taken, or less, need not be restored; a little more takes a part of a time constant."""
    circuit = lines(ALIKE.replace("100 nF", filtered))
    size = circuit.channels[0].filter
    assert size is not None and 4096.0 * 9e-12 / (9e-12 + size.low) == pytest.approx(codes, rel=5e-3)
    constant = 33e3 * (size.high + 9e-12) + 133e3 * 13e-9
    told = waits(circuit, circuit.channels[0], CODE).between_samples
    assert told == pytest.approx(constant * max(math.log(codes / 0.5), 0.0), rel=0.02)
