"""Junction temperature at the end of the current, by hand: high, low and nominal, cuts, tolerances of the network."""

from __future__ import annotations

import math

import pytest

from ignition.analyses.firing.firing import Firing, firing
from ignition.circuit.file import parse_circuit
from ignition.toleranced import Spread
from tests.circuit.edits import OPENS, edited

STAGE = 'thermal = [{ resistance = "20 K/W .. 30 K/W .. 40 K/W", time_constant = "0.5 s .. 1 s .. 2 s" }]'
AT_ONCE = 'input_capacitance = "1 pF"\ngate_drain_charge = "1 fC"'
"""A gate that charges in 0.3 ns."""
BASE = edited(
    OPENS,
    ('max_junction = "150 degC"', f'max_junction = "150 degC"\n{STAGE}\n{AT_ONCE}'),
    ('temperature = "20 degC"', 'temperature = "10 degC .. 20 degC .. 35 degC"'),
    ('resistance_temperature = "20 degC"', 'resistance_temperature = "ambient"'),
    ('wire = "AWG 22", distance = "1.5 m"', 'resistance = "0.2 ohm"'),
)
"""The cutter: on-resistance 15, 20, 30 mohm at any temperature, a loop of 1.495, 1.86 and 2.32 ohm."""
SHORT = ('spent = "open"', 'spent = "short"')


def fired(*swaps: tuple[str, str]) -> Firing:
    """Firing analysis of the edited circuit."""
    return firing(parse_circuit(edited(BASE, *swaps)))


def junction(*swaps: tuple[str, str]) -> Spread:
    """Junction temperature of its channel."""
    return fired(*swaps).channels[0].mosfet_junction


def rise(current: float, on: float, thermal: float, time: float, constant: float) -> float:
    """P R (1 - exp(-t/tau))."""
    return current**2 * on * thermal * -math.expm1(-time / constant)


def test_bridges_that_open_end_the_current() -> None:
    """Low to the earliest function at the lowest current; nominal to the nominal one; high the whole pulse at the highest."""
    found = junction()
    low, nominal, high = 6.0 / 2.320, 6.4 / 1.860, 6.8 / 1.495
    earliest, usual = (-0.020 * math.log1p(-((i0 / i) ** 2)) for i0, i in ((0.25, high), (0.5, nominal)))
    assert found.low == pytest.approx(10.0 + rise(low, 0.015, 20.0, earliest, 2.0), rel=1e-6)
    assert found.low is not None and found.low > 10.0
    assert found.nominal == pytest.approx(20.0 + rise(nominal, 0.020, 30.0, usual, 1.0), rel=1e-6)
    assert found.high == pytest.approx(35.0 + rise(high, 0.030, 40.0, 2.0, 0.5), rel=1e-4)


def test_bridges_that_stay_conduct_to_the_end() -> None:
    """A short lets current flow for the whole pulse: low at the unfired current, high at the short's."""
    found = junction(SHORT, ('"2 s"', '"1 s .. 2 s .. 3 s"'))
    low, high = 6.0 / 2.320, 6.8 / (1.495 - 1.2)
    assert found.low == pytest.approx(10.0 + rise(low, 0.015, 20.0, 1.0, 2.0), rel=1e-4)
    assert found.high == pytest.approx(35.0 + rise(high, 0.030, 40.0, 3.0, 0.5), rel=1e-4)


def test_pulses_have_three_lengths() -> None:
    """Each bound takes its own pulse where bridges stay: shortest, nominal, longest; so does a bridge that opens late."""
    found = junction(SHORT, ('"2 s"', '"1 s .. 2 s .. 3 s"'))
    assert found.nominal == pytest.approx(20.0 + rise(6.4 / 1.860, 0.020, 30.0, 2.0, 1.0), rel=1e-4)
    early = junction(('"2 s"', '"100 us .. 200 us .. 2 s"'))  # before the earliest function, and the nominal one
    assert early.low == pytest.approx(10.0 + rise(6.0 / 2.320, 0.015, 20.0, 1e-4, 2.0), rel=1e-4)
    assert early.nominal == pytest.approx(20.0 + rise(6.4 / 1.860, 0.020, 30.0, 2e-4, 1.0), rel=1e-4)


def test_one_bridge_that_stays_keeps_the_current() -> None:
    """Beside a string that opens, one that becomes a short conducts to the end of the pulse: nominal takes all of it."""
    other = BASE[BASE.index("[igniter.cutter]") : BASE.index("[mosfet")].replace("cutter", "stays")
    mixed = edited(BASE, ("[mosfet", f"{edited(other, SHORT)}\n[mosfet"), ('[["cutter"]]', '[["cutter"], ["stays"]]'))
    found = firing(parse_circuit(mixed)).channels[0].mosfet_junction
    current = 6.4 / (0.360 + 0.75)
    assert found.nominal == pytest.approx(20.0 + rise(current, 0.020, 30.0, 2.0, 1.0), rel=1e-4)
    # the short starves the other string, whose own current is the bound
    assert found.low is not None and 10.0 <= found.low < 10.001


def test_the_last_bridge_ends_the_nominal_current() -> None:
    """Of two bridges of different thresholds the later one counts."""
    other = (
        BASE[BASE.index("[igniter.cutter]") : BASE.index("[mosfet")]
        .replace("cutter", "late")
        .replace('"20 ms"', '"40 ms"')
    )
    mixed = edited(BASE, ("[mosfet", f"{other}\n\n[mosfet"), ('[["cutter"]]', '[["cutter"], ["late"]]'))
    result = firing(parse_circuit(mixed)).channels[0]
    first, last = (i.function_time.nominal for i in result.igniters)
    assert first is not None and last is not None and first < last
    current = 6.4 / (0.360 + 0.75)
    assert result.mosfet_junction.nominal == pytest.approx(20.0 + rise(current, 0.020, 30.0, last, 1.0), rel=1e-4)


def test_an_unknown_threshold_may_open_at_once() -> None:
    """Without a no-fire statement the earliest function is not known: low is the coldest ambient."""
    start = BASE.index("no_fire = {")
    text = BASE[:start] + BASE[BASE.index("\n", start) + 1 :]
    assert firing(parse_circuit(text)).channels[0].mosfet_junction.low == 10.0


def test_a_switch_that_is_on_late_is_not_heated() -> None:
    """Where the gate may reach its row only after the pulse, no current may flow at all."""
    slow = ('input_capacitance = "1 pF"', 'input_capacitance = "20 mF"')
    assert junction(SHORT, slow, ('"2 s"', '"10 ms"')).low == 10.0


def test_the_lowest_current_is_that_of_one_string() -> None:
    """Side by side with two that may be short already, one string has least: a lower bound of the channel's current."""
    found = junction(SHORT, ('[["cutter"]]', '[["cutter"], ["cutter"], ["cutter"]]'))
    assert found.low is not None and 10.0 <= found.low < junction(SHORT).low  # type: ignore[operator]
    opens = junction(('[["cutter"]]', '[["cutter"], ["cutter"], ["cutter"]]'))
    # the string of the highest resistance beside two of the lowest: 6 V over 520 mohm and 1/(2/1.2 + 1/1.8) ohm
    parallel = 1 / (2 / 1.2 + 1 / 1.8)
    low = 6.0 / (0.520 + parallel) * parallel / 1.8
    # the earliest function: one of 1.2 ohm beside two of 1.8, 6.8 V over 295 mohm
    pair = 1 / (1 / 1.2 + 2 / 1.8)
    high = 6.8 / (0.295 + pair) * pair / 1.2
    earliest = -0.020 * math.log1p(-((0.25 / high) ** 2))
    assert opens.low == pytest.approx(10.0 + rise(low, 0.015, 20.0, earliest, 2.0), rel=1e-4)


@pytest.mark.parametrize(
    "swaps",
    [
        (("[controller]", '[[feed]]\nname = "F"\nkind = "fuse"\nresistance = "0 ohm"\n\n[controller]'),),
        (
            (
                "[controller]",
                '[[feed]]\nname = "F"\nkind = "fuse"\nresistance = "0 ohm"\nrating = "1 A"\nmelting_i2t = "1e6 A^2 s"\n\n[controller]',
            ),
        ),
        (('resistance = "50 mohm', 'protection = { trip_current = "1 A", delay = "1 s" }\nresistance = "50 mohm'),),
        (('supply = "3.0 V"', 'supply = "3.0 V"\nbrown_out = "3.001 V"'),),
        (
            (
                'resistance = "50 mohm',
                'capacitor_bank = { capacitance = "1 F", series_resistance = "20 mohm" }\nresistance = "50 mohm',
            ),
        ),
    ],
    ids=["fuse unknown", "fuse", "protection", "brown-out", "bank"],
)
def test_what_may_be_cut_may_be_cold(swaps: tuple[tuple[str, str], ...]) -> None:
    """Where something may end the current at once, low is the coldest ambient."""
    assert junction(*swaps).low == 10.0


def test_a_delay_shortens_the_flow() -> None:
    """The gate reaches its row late: the shortest flow is the pulse less the delay."""
    slow = ('input_capacitance = "1 pF"', 'input_capacitance = "2 mF"')
    low = 6.0 / 2.320
    found = junction(SHORT, slow, ('supply = "3.0 V"', 'supply = "2.8 V .. 3.0 V .. 3.3 V"'))
    # the weakest gate: 2.8 V over 100 ohm and 10 kohm, less 100 nA of gate leakage
    delay = 100.0 * 2e-3 * -math.log1p(-2.5 / (2.8 * 10e3 / 10.1e3 - 100.0 * 10e3 / 10.1e3 * 100e-9))
    assert found.low == pytest.approx(10.0 + rise(low, 0.015, 20.0, 2.0 - delay, 2.0), rel=1e-4)


def test_channels_that_overlap_lower_the_low_end_alone() -> None:
    """A second channel in the same pulse takes current: the low end falls, the high one stays."""
    second = BASE[BASE.index("[[channel]]") :].replace('name = "cutter"', 'name = "second"', 1)
    stiff = ("50 mohm .. 80 mohm .. 150 mohm", "10 mohm .. 20 mohm .. 30 mohm")
    two = firing(parse_circuit(edited(BASE, SHORT, stiff) + "\n" + second)).channels[0].mosfet_junction
    one = junction(SHORT, stiff)
    assert two.low is not None and one.low is not None and two.low < one.low
    assert two.high == pytest.approx(one.high, rel=1e-6)


def test_without_data_there_is_no_number() -> None:
    """No thermal network, or a gate below the lowest row: a reason, no number."""
    none = junction((f"\n{STAGE}", ""))
    assert none.high is None and none.reason == "the MOSFET has no thermal network"
    low = junction(('gate = "2.5 V"', 'gate = "4.5 V"'))
    assert low.low is None and low.high is None and "lowest on-resistance row" in (low.reason or "")
