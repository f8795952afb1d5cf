"""What a file gives: every key with its value, which count as exact, which nothing of this circuit uses and why."""

from __future__ import annotations

import pytest

from ignition.analyses.verdict import check
from ignition.circuit.file import parse_circuit
from ignition.circuit.given import exact_keys, given_keys, unused_keys
from ignition.report.contract import check_dict
from tests.circuit.edits import CUTTER, DEMO, edited
from tests.circuit.sound import SOUND


def test_given_keys_are_those_of_the_file() -> None:
    """Tables, lists and names are written as a mistake writes them; what the file leaves out is not there."""
    keys = given_keys(parse_circuit(DEMO))
    for key in ("battery.capacity", "feed[0].rating", "igniter.booster.no_fire.current", "channel[1].sense.upper[1]",
                "mosfet.logic_level.on_resistance[1].gate", "checklist.misfire_wait"):  # fmt: skip
        assert key in keys
    assert "battery.resistance" not in keys and str(keys["feed[0].rating"]) == "20 A"


def test_exact_is_what_has_no_tolerance() -> None:
    """A range and a tolerance are none; the gate voltage of a data sheet row is exact by its meaning."""
    exact = exact_keys(parse_circuit(CUTTER))
    assert {"controller.supply", "channel[0].pulse", "igniter.cutter.no_fire.duration"} <= set(exact)
    assert not {"battery.resistance", "channel[0].sense.upper", "mosfet.low_side.on_resistance[0].gate"} & set(exact)
    ranged = edited(CUTTER, ('supply = "3.0 V"', 'supply = "3.0 V ± 1 %"'))
    assert "controller.supply" not in exact_keys(parse_circuit(ranged))


@pytest.mark.parametrize(
    ("swap", "key", "says"),
    [
        ((), "battery.capacity", "resistance is given"),
        (('pulse = "500 ms"', 'pulse = "500 ms"\nstart = "1 s"'), "channel[0].start", "single channel"),
        (("total_error = 4", "total_error = 4\nnoise = 1"), "controller.adc.noise", "--trials"),
        (
            ('time_constant = "10 ms"', 'time_constant = "10 ms"\nadiabatic_energy = "1.92 mJ"'),
            "igniter.match.adiabatic_energy",
            "time_constant is given",
        ),
    ],
)
def test_each_reason(swap: tuple[str, str], key: str, says: str) -> None:
    """Every key that nothing uses is named with its reason."""
    assert says in unused_keys(parse_circuit(edited(SOUND, *([swap] if swap else []))))[key]


def test_a_row_that_the_gate_never_reaches_is_named() -> None:
    """The gate gets 3.3 V: a row of 10 V is beyond the next one; of 4.5 V it is the one above and counts."""
    rows = 'on_resistance = [{ gate = "2.5 V", resistance = "10 mohm .. 14 mohm .. 20 mohm" }'
    above = (rows, f'{rows}, {{ gate = "4.5 V", resistance = "8 mohm" }}, {{ gate = "10 V", resistance = "5 mohm" }}')
    below = (rows, rows.replace("[", '[{ gate = "2.1 V", resistance = "30 mohm" }, '))
    lowest_row = {"mosfet.low_side.on_resistance[0].resistance"}  # its voltage says when the switch counts as on
    beyond = {f"mosfet.low_side.on_resistance[2].{name}" for name in ("gate", "resistance")}
    for swap, expected in ((above, beyond), (below, lowest_row)):
        result = check(parse_circuit(edited(SOUND, swap)))
        assert {key for key in result.unused if "on_resistance" in key} == expected


def test_the_check_tells_both() -> None:
    """Its JSON names them."""
    tree = check_dict(check(parse_circuit(SOUND)))
    assert "battery.capacity" in tree["unused"] and "controller.supply" in tree["exact"]
