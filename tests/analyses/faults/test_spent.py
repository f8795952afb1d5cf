"""Bridges that stay conductive after function, beside a fault: by hand, and the key that says what becomes of them."""

from __future__ import annotations

import pytest

from ignition.analyses.faults.faults import faults
from ignition.analyses.faults.single import single_fault_inputs
from ignition.analyses.verdict import check
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.findings.finding import Question
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

START, END = SOUND.index("[[channel]]"), SOUND.index("[checklist]")
LINE = SOUND[START:END]
TWO = SOUND[:START] + LINE.replace('"line"', '"a"') + LINE.replace('"line"', '"b"') + SOUND[END:]
"""The cutter with two lines."""

SWITCH = ('resistance = "10 mohm .. 20 mohm .. 50 mohm"', 'resistance = "50 mohm"')


def two(spent: str) -> Circuit:
    """Two lines behind a key of 10 mohm and an arm switch of 50 mohm."""
    return parse_circuit(edited(TWO, SWITCH, ('spent = "open"', spent)), "two.toml")


def current(circuit: Circuit, fault: str) -> tuple[float | None, str, float | None]:
    """Worst uncommanded current under a fault while a line is fired, its class, and the battery's."""
    row = next(row for row in faults(circuit).phase("firing").faults if row.faults == (fault,))
    return row.current, row.kind, row.battery_current


def test_a_spent_bridge_draws_a_current_through_a_line_that_touches_the_battery() -> None:
    """The fired line's current drops over key and switch, and b's wire back on the battery takes its share of it."""
    circuit = two('spent = "0 ohm .. 0.05 ohm .. 0.1 ohm"')
    lead = circuit.channels[0].lead.resistance.low
    beside = 0.5 * lead + 1.0  # b's wire out and bridge
    feed = 0.06 * beside / (0.06 + beside)
    fired = lead + 10e-3 * (1.0 - 0.6 * 5.0 / 125.0)  # at 20 degC
    expected = 8.4 / (0.04 + feed + fired) * 0.06 / (0.06 + beside)
    found, kind, _ = current(circuit, "b.lead back to-battery")
    assert kind == "hazardous" and found == pytest.approx(expected, rel=1e-3) and expected > 1.4
    # a bridge that opens is never less than when hot
    opened, _, _ = current(two('spent = "open"'), "b.lead back to-battery")
    expected = 8.4 / (0.04 + feed + fired + 1.0) * 0.06 / (0.06 + beside)
    assert opened == pytest.approx(expected, rel=1e-3)


def test_a_spent_bridge_loads_the_battery() -> None:
    """8.4 V over battery, key, switch, lead and MOSFET alone; with the cold bridge where it opens."""
    for spent, bridge in (("0 ohm .. 0.05 ohm .. 0.1 ohm", 0.0), ("open", 1.0)):
        circuit = two(f'spent = "{spent}"')
        loop = 0.04 + 0.06 + circuit.channels[0].lead.resistance.low + 10e-3 * (1.0 - 0.6 * 5.0 / 125.0) + bridge
        _, _, battery = current(circuit, "b.upper 1 open")
        assert battery == pytest.approx(8.4 / loop + 0.02, rel=1e-3)  # and the controller's 20 mA


def test_left_out_it_may_be_anything() -> None:
    """Not given, a spent bridge may be a short: the verdicts of faults rest on that key, and what is kept knows it."""
    given, left_out = two('spent = "open"'), two("")
    assert single_fault_inputs(given) != single_fault_inputs(left_out)
    rests = {key for f in check(left_out).findings if f.question is Question.SINGLE_FAULTS for key in f.rests_on}
    assert any("igniter.match.spent" in str(key) for key in rests)
    assert current(left_out, "b.lead back to-battery")[1] == "hazardous"
