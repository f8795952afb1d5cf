"""A MOSFET that a fault, or a pull-up in reset, holds on: it passes what it passes when commanded, by hand and in ngspice.

The cutter with a MOSFET of 2 ohm, whose square law would end at 1.4 A where the loop drives 4 A through its resistance.
"""

from __future__ import annotations

import pytest

from ignition.analyses.faults.diagnosis import diagnose
from ignition.analyses.faults.faults import faults
from ignition.analyses.firing.firing import firing
from ignition.analyses.no_fire.gate import phase_box
from ignition.analyses.no_fire.steady import no_fire
from ignition.analyses.no_fire.switch_on import switch_on
from ignition.analyses.verdict import check
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.network.template import State, build_network
from ignition.spice.deck import operating_point_deck, read_operating_point
from ignition.spice.ngspice import run_deck
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

WEAK = (
    ("8.0 V .. 8.2 V .. 8.4 V", "11.8 V .. 12 V .. 12.2 V"),
    ('reference = "3.0 V"', 'reference = "3.3 V"'),
    ('lower = "47 kohm"', 'lower = "30 kohm"'),
    ("10 mohm .. 14 mohm .. 20 mohm", "1.8 ohm .. 2 ohm .. 2.2 ohm"),
    ("hot_factor = 1.6", "hot_factor = 1.0"),
    ('no_fire = { current = "0.2 A"', 'no_fire = { current = "1.7 A"'),
    ('all_fire = { current = "0.8 A"', 'all_fire = { current = "1.85 A"'),
    ('pull_down = "10 kohm"', 'pull_down = ["20 kohm", "20 kohm"]'),
)
CONTACT = ("lead = { wire", 'high_side = { resistance = "20 mohm", around = "10 kohm" }\nlead = { wire')
UNKNOWN_RESET = ('reset_pull_up = "none"\n', "")

TWO = """
[[rules.limit]]
name = "two inhibits"
kind = "faults to fire at least"
faults = 2
source = "house rule"
date = "2026"
"""

LEAST_GATE = 3.3 * 10e3 / (10e3 + 130.0)
"""Highest voltage of a gate that a pin of 3.3 V behind 30 ohm drives through 100 ohm against 10 kohm [V], leakages aside."""


def circuit(*swaps: tuple[str, str], more: str = "") -> Circuit:
    """The cutter with its weak MOSFET, and further edits."""
    return parse_circuit(edited(SOUND, *WEAK, *swaps) + more, "weak.toml")


def loop() -> float:
    """Battery, key, switch, lead and bridge at their lowest [ohm]."""
    return 0.04 + 0.01 + 0.01 + circuit().channels[0].lead.resistance.low + 1.0


def test_every_pin_high_passes_what_the_command_passes() -> None:
    """12.2 V over the loop and 1.8 ohm, or at the gate's 3.26 V and a threshold of 2 V 0.5 / 1.26 of that: not 1.4 A."""
    one = circuit()
    commanded = firing(one).channels[0].igniters[0].current.high
    assert commanded == pytest.approx(12.2 / (loop() + 1.8), rel=2e-2)
    # leakage may lift the gate by 1.1 uA over 130 ohm
    least = 1.8 * 0.5 / (LEAST_GATE + 1.2e-4 - 2.0)
    found = faults(one)
    for phase in ("reset", "armed"):
        rows = {row.faults[0]: row for row in found.phase(phase).faults}
        for name in ("line.gate pin stuck-high", "controller all-pins-high"):
            assert rows[name].kind == "hazardous"
            assert rows[name].current == pytest.approx(12.2 / (loop() + least), rel=1e-3)
            assert (rows[name].current or 0.0) >= commanded


def test_a_limit_on_inhibits_counts_it() -> None:
    """With a second switch that all pins high closes as well, one fault fires: two inhibits are not there."""
    result = check(circuit(CONTACT, more=TWO))
    (armed,) = [f for f in result.findings if f.rule == "two inhibits" and f.phase == "armed"]
    assert (armed.verdict, armed.value) == ("FAIL", 1.0)
    assert "controller all-pins-high" in {point.fault for point in result.single_faults.points}


@pytest.mark.parametrize("swaps", [(), (CONTACT,)], ids=["plain", "high side"])
def test_a_pin_that_may_be_high_in_reset(swaps: tuple[tuple[str, str], ...]) -> None:
    """Nothing is known of the pin in reset: it may fire the igniter, and neither PASSes nor has a margin."""
    one = circuit(UNKNOWN_RESET, *swaps)
    reset = next(p for p in no_fire(one).channels[0].phases if p.phase == "reset")
    series = (0.0 if not swaps else 0.02) + loop()
    assert reset.least.current == pytest.approx(12.2 / (series + 1.8 * 0.5 / (LEAST_GATE + 1.2e-4 - 2.0)), rel=2e-3)
    assert reset.gate.off_current.high is None and reset.gate.off_current.low is not None
    verdicts = {f.verdict for f in check(one).findings if f.phase == "reset" and f.rule == "below-no-fire"}
    assert verdicts == {"UNKNOWN"}
    # given as a pull-up that holds the gate at 3.3 V it is known: FAIL
    known = circuit(('reset_pull_up = "none"', 'reset_pull_up = "1 ohm"'), *swaps)
    assert {f.verdict for f in check(known).findings if f.phase == "reset" and f.rule == "below-no-fire"} == {"FAIL"}


def test_the_edge_of_a_switch_that_is_held_on() -> None:
    """In reset at 3.26 V the igniter has at the arming edge what the loop drives, for ever: far beyond its function."""
    one = circuit(('reset_pull_up = "none"', 'reset_pull_up = "1 ohm"'))
    edge = switch_on(one, integrate=True).channels[0].igniters[0]
    least = 12.2 / (loop() + 1.8)
    assert edge.hold == "in reset" and least <= edge.judged.current <= 13.2 / loop()
    assert edge.judged.thermal_fraction >= (least / 1.7) ** 2


def test_held_on_in_ngspice() -> None:
    """In reset with a pull-up of 1 ohm, every value as usual: 12 V over loop and 2 ohm, and the readings beside it."""
    one = circuit(('reset_pull_up = "none"', 'reset_pull_up = "1 ohm"'))
    box = phase_box(one, "reset")
    network = build_network(one, State(phase="reset"))
    deck = operating_point_deck(network, {name: value.nominal for name, value in box.items()}, "held on")
    told = read_operating_point(run_deck(deck).plot("operating point"), network)
    usual = 0.06 + 0.01 + 0.02 + one.channels[0].lead.resistance.nominal + 1.2
    assert told.currents["line.igniter 1.1"] == pytest.approx((12.0 - 0.06 * 0.02) / (usual + 2.0), rel=1e-3)
    assert told.voltages["line.drain"] == pytest.approx(2.0 * told.currents["line.igniter 1.1"], rel=1e-3)


def test_what_reads_as_a_mosfet_held_on() -> None:
    """Some amperes through 10 to 32 mohm leave the drain above 0 V: 33 codes are 75 mV there, of a pin that is stuck."""
    plain = parse_circuit(SOUND)
    found = {candidate.fault for candidate in diagnose(plain, {"line": 33}).candidates}
    assert {"line.gate pin stuck-high", "controller all-pins-high"} <= found
    assert "line.gate pin stuck-high" not in {c.fault for c in diagnose(plain, {"line": 130}).candidates}
