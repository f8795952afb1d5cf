"""What a MOSFET passes that nobody commands, by hand: off, near its threshold, and held on."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from ignition.analyses.no_fire.off_state import (
    OffState,
    highest_threshold,
    lowest_threshold,
    off_state,
    off_states,
    on_resistance,
)
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit, MosfetModel
from ignition.network.elements import KNEE_VOLTAGE, UNLIMITED
from ignition.parts.mosfet import channel_current, gain
from ignition.toleranced import Toleranced
from tests.circuit.edits import edited
from tests.findings.ends import WIDE

ROWS = (
    '[{ gate = "2.5 V", resistance = "10 mohm .. 14 mohm .. 20 mohm" }]',
    '[{ gate = "2.5 V", resistance = "10 mohm .. 14 mohm .. 20 mohm" },'
    ' { gate = "4.5 V", resistance = "6 mohm .. 8 mohm .. 12 mohm" }]',
)
WARM = ("-10 degC .. 20 degC .. 40 degC", "-10 degC .. 30 degC .. 40 degC")
COLD, USUAL, HOT = 2.0 + 5e-3 * 35.0, 1.5 - 4e-3 * 5.0, 1.0 - 5e-3 * 15.0
"""Thresholds: the highest at -10 degC, the usual one at 30 degC, the lowest at 40 degC [V]."""


def circuit(*swaps: tuple[str, str]) -> Circuit:
    """The wide circuit with edits."""
    return parse_circuit(edited(WIDE, *swaps))


def at(*volts: float, swaps: tuple[tuple[str, str], ...] = ()) -> OffState:
    """What its MOSFET passes at a gate voltage's three ends."""
    one = circuit(WARM, *swaps)
    low, nominal, high = volts
    return off_state(one.mosfets["low_side"], Toleranced(low=low, nominal=nominal, high=high, unit="V"), one.ambient)


def ends(value: Toleranced) -> tuple[float, float, float]:
    """All three."""
    return value.low, value.nominal, value.high


def test_thresholds_at_both_ends_of_the_weather() -> None:
    """1 V less 5 mV/K x 15 K when hot; 1 V + 3 mV/K x 35 K were it cold all along; 2 V + 5 mV/K x 35 K in the cold."""
    one = circuit()
    mosfet = one.mosfets["low_side"]
    assert lowest_threshold(mosfet, one.ambient) == pytest.approx(1.0 - 0.075)
    assert lowest_threshold(mosfet, Toleranced.exact(-10.0, "degC")) == pytest.approx(1.0 + 0.105)
    assert highest_threshold(mosfet, one.ambient) == pytest.approx(2.0 + 0.175)


def test_resistance_of_a_mosfet_that_is_on() -> None:
    """From the best row at -10 degC, 6 mohm less 0.6 x 35 / 125 of it, to the worst at its hottest, 20 mohm x 1.6."""
    one = circuit(ROWS)
    value = on_resistance(one.mosfets["low_side"], one.ambient)
    assert ends(value) == pytest.approx((6e-3 * (1.0 - 0.6 * 35.0 / 125.0), 14e-3, 32e-3), rel=1e-12)
    # warm all along it counts as at 25 degC
    warm = on_resistance(one.mosfets["low_side"], Toleranced.exact(40.0, "degC"))
    assert warm.low == pytest.approx(6e-3, rel=1e-12)


def subthreshold(gate: float, threshold: float, temperature: float, carried: float, slope: float) -> float:
    """So much at the threshold, and a tenth for each slope (given at 25 degC) below it [A]."""
    decade = slope * (temperature + 273.15) / 298.15
    return carried * 10.0 ** (min(gate - threshold, 0.0) / decade)


def saturation(gate: float, threshold: float, resistance: float) -> float:
    """Square law with the gain of the lowest row, 2.5 V, and the nominal threshold [A]."""
    return 0.5 / (resistance * (2.5 - 1.5)) * max(gate - threshold, 0.0) ** 2


@pytest.mark.parametrize(
    "volts",
    [(0.1, 0.3, 0.5), (0.9, 1.2, 1.4), (1.7, 1.8, 1.92), (2.3, 2.47, 2.4)],
    ids=["far below", "about", "above", "all above"],
)
def test_the_current_at_its_three_ends(volts: tuple[float, float, float]) -> None:
    """Leakage, below-threshold and saturation current: coldest with none, as usual, and hottest."""
    leaks = ('cool = "0 A .. 0.5 uA .. 1 uA", hot = "0 A .. 50 uA .. 100 uA"', 'cool = "0.4 uA .. 0.5 uA .. 1 uA", hot = "40 uA .. 50 uA .. 100 uA"')  # fmt: skip
    low, nominal, high = volts
    found = at(*sorted(volts), swaps=(leaks,))
    low, nominal, high = sorted(volts)
    least = saturation(low, COLD, 20e-3) + subthreshold(low, COLD, -10.0, 200e-6, 0.110)
    # the leakage grows by the same factor for each kelvin, from 25 to 150 degC, and is no less below
    middle = 0.5e-6 * 100.0 ** (5.0 / 125.0)
    middle += saturation(nominal, USUAL, 14e-3) + subthreshold(nominal, USUAL, 30.0, 250e-6, 0.120)
    most = 1e-6 * 100.0 ** (15.0 / 125.0)
    most += saturation(high, HOT, 10e-3) + subthreshold(high, HOT, 40.0, 300e-6, 0.130)
    if high >= HOT + 1.0:  # 1.925 V: the overdrive of the row, 2.5 V at 1.5 V
        most = UNLIMITED
    assert ends(found.current) == pytest.approx((least, middle, most), rel=1e-6, abs=0.0)


def test_off_it_has_no_resistance_of_its_own() -> None:
    """Below the lowest threshold its leakage stands wherever there is voltage to drive it."""
    assert ends(at(0.1, 0.3, HOT - 1e-9).resistance) == (0.0, 0.0, 0.0)
    assert at(0.1, 0.3, HOT + 1e-9).resistance.low > 0.0
    exact = (("-10 degC .. 30 degC .. 40 degC", "25 degC"),)
    assert ends(at(0.1, 0.3, 1.0, swaps=exact).resistance) == (0.0, 0.0, 0.0)


COLD_FACTOR = 1.0 - 0.6 * 35.0 / 125.0


def test_partly_on_it_has_the_resistance_of_its_overdrive() -> None:
    """No less than the row's; usually 14 mohm / 0.12 of its overdrive of 1 V; at most a chord of twice what it has cold."""
    usual, weak = 14e-3 / (1.6 - USUAL), 2.0 * 20e-3 / (2.2 - COLD)
    assert ends(at(1.5, 1.6, 1.7).resistance) == pytest.approx((10e-3 * COLD_FACTOR, usual, usual), rel=1e-9)
    assert ends(at(1.2, 1.3, 1.7).resistance) == pytest.approx((10e-3 * COLD_FACTOR, 14e-3, 32e-3), rel=1e-9)
    found = at(2.2, 2.3, 2.4).resistance
    assert (found.nominal, found.high) == pytest.approx((14e-3 / (2.3 - USUAL), weak), rel=1e-9)
    assert at(2.3, 2.6, 2.7).resistance.high == pytest.approx(2.0 * 20e-3 / (2.3 - COLD), rel=1e-9)
    # of one whose threshold is low the chord would be less than the hottest on-resistance
    low = ("1.0 V .. 1.5 V .. 2.0 V", "1.0 V .. 1.5 V .. 1.5 V")
    assert at(2.45, 2.46, 2.47, swaps=(low,)).resistance.high == pytest.approx(2.0 * 20e-3 / (2.45 - 1.675), rel=1e-9)
    hot = ("hot_factor = 1.6", "hot_factor = 4.0")
    assert at(2.45, 2.46, 2.47, swaps=(low, hot)).resistance.high == pytest.approx(80e-3, rel=1e-9)


def test_held_on_only_its_resistance_is_left() -> None:
    """From its row's gate voltage on for sure, from the row's overdrive on usually, and at the lowest threshold maybe."""
    for volts, on in (
        ((2.5, 2.5, 2.5), (True, True, True)),
        ((2.49, 2.5, 2.6), (False, True, True)),
        ((2.3, USUAL + 1.0 + 1e-9, 2.6), (False, True, True)),
        ((2.3, USUAL + 1.0 - 1e-9, 2.6), (False, False, True)),
        ((1.0, 1.5, HOT + 1.0 + 1e-9), (False, False, True)),
        ((1.0, 1.5, HOT + 1.0 - 1e-9), (False, False, False)),
    ):
        found = at(*volts)
        assert tuple(end == UNLIMITED for end in ends(found.current)) == on, volts
    assert ends(at(2.5, 2.5, 2.5).resistance) == pytest.approx((10e-3 * COLD_FACTOR, 14e-3, 32e-3), rel=1e-12)
    exact = (("-10 degC .. 30 degC .. 40 degC", "25 degC"),)
    assert at(1.0, 1.5, 2.0, swaps=exact).current.high == UNLIMITED
    # a cold day's threshold may be higher than usual: the row's gate voltage counts all the same
    cold = (("-10 degC .. 30 degC .. 40 degC", "-10 degC"),)
    assert ends(at(2.5, 2.5, 2.5, swaps=cold).current) == (UNLIMITED,) * 3


def test_beyond_its_row_the_resistance_falls_as_the_square_law_has_it() -> None:
    """At the highest threshold, 2 V: 0.5 V of overdrive at 2.5 V are 1.3 V at 3.3 V; a higher row stands in the way."""
    assert at(3.3, 3.3, 3.3).resistance.low == pytest.approx(10e-3 * COLD_FACTOR * 0.5 / 1.3, rel=1e-12)
    found = at(3.3, 3.3, 3.3, swaps=(ROWS,)).resistance.low
    assert found == pytest.approx(6e-3 * COLD_FACTOR, rel=1e-12)
    above = at(5.0, 5.0, 5.0, swaps=(ROWS,)).resistance.low
    assert above == pytest.approx(6e-3 * COLD_FACTOR * 2.5 / 3.0, rel=1e-12)
    # at the lower row's gate voltage that row stands, though the higher one has less
    assert at(2.5, 2.5, 2.5, swaps=(ROWS,)).resistance.low == pytest.approx(10e-3 * COLD_FACTOR, rel=1e-12)
    # a higher row that has more leaves the usual resistance where it is
    odd = ((ROWS[0], ROWS[1].replace("6 mohm .. 8 mohm .. 12 mohm", "18 mohm .. 19 mohm .. 20 mohm")),)
    assert ends(at(4.5, 4.5, 4.5, swaps=odd).resistance) == pytest.approx((14e-3, 14e-3, 32e-3), rel=1e-12)
    # a row that stands above a threshold that may be higher says nothing beyond itself
    late = (("1.0 V .. 1.5 V .. 2.0 V", "1.0 V .. 1.5 V .. 2.6 V"),)
    assert at(2.5, 2.5, 2.5, swaps=late).resistance.low == pytest.approx(10e-3 * COLD_FACTOR)
    assert at(2.7, 2.7, 2.7, swaps=late).resistance.low == 0.0
    level = (("1.0 V .. 1.5 V .. 2.0 V", "1.0 V .. 1.5 V .. 2.5 V"),)
    assert at(2.5, 2.5, 2.5, swaps=level).resistance.low == pytest.approx(10e-3 * COLD_FACTOR)


def test_what_is_told_of_a_current_without_a_limit() -> None:
    """An end that nothing in the MOSFET limits is no number, and says why."""
    told = at(1.2, 1.3, 3.0).told
    assert told.low is not None and told.nominal is not None and told.high is None and told.unit == "A"
    assert told.reason is not None and told.reason.startswith("the gate may turn the MOSFET on")
    assert at(3.0, 3.0, 3.0).told.low is None
    plain = at(0.1, 0.2, 0.3)
    assert (plain.told.low, plain.told.nominal, plain.told.high) == ends(plain.current) and plain.told.reason is None


def test_a_higher_gate_passes_no_less() -> None:
    """Each end of the current rises with the gate's voltage, and the least resistance falls; many gates as one by one."""
    one = circuit(WARM, ROWS)
    mosfet, gates = one.mosfets["low_side"], np.linspace(-0.5, 6.0, 651)
    current, resistance = off_states(mosfet, gates, gates, gates, one.ambient)
    assert current.shape == resistance.shape == (651, 3)
    assert (np.diff(current, axis=0) >= 0.0).all() and (np.diff(resistance[gates > 1.0, 0]) <= 0.0).all()
    for place in (10, 170, 230, 300, 600):
        volts = Toleranced.exact(float(gates[place]), "V")
        alone = off_state(mosfet, volts, one.ambient)
        assert ends(alone.current) == tuple(current[place]) and ends(alone.resistance) == tuple(resistance[place])


def through(current: float, resistance: float, drain: float) -> float:
    """What the network's element passes at a drain voltage [A]."""
    return min(current, drain / (resistance + KNEE_VOLTAGE / current))


def laws(mosfet: MosfetModel) -> list[tuple[float, float]]:
    """Threshold and gain at every end: of a MOSFET that has its row's resistance at the row's gate voltage."""
    row = mosfet.rows[0]
    return [
        (threshold, float(gain(resistance, row.gate, threshold)))
        for threshold, resistance in itertools.product((1.0, 1.5, 2.0), (row.resistance.low, row.resistance.high))
    ]


@pytest.mark.parametrize("gate", [1.05, 1.3, 1.7, 1.99, 2.05, 2.3, 2.49])
def test_the_square_law_lies_between_the_ends(gate: float) -> None:
    """At any drain voltage, for every threshold and on-resistance, but for the knee of 1 mV and 1 mA."""
    one = circuit(("-10 degC .. 20 degC .. 40 degC", "25 degC"))
    mosfet = one.mosfets["low_side"]
    found = off_state(mosfet, Toleranced.exact(gate, "V"), one.ambient)
    for threshold, strength in laws(mosfet):
        for drain in np.geomspace(0.02, 12.0, 40):
            passed = float(channel_current(gate, drain, threshold, strength))
            assert through(found.current.low, found.resistance.high, drain) <= passed + 1e-3
            assert passed <= through(found.current.high, found.resistance.low, drain + KNEE_VOLTAGE) + 1e-9
