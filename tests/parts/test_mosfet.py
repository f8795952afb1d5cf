"""The MOSFET's channel and leakage: hand algebra, limits, continuity, direction of each bound."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts import mosfet

Published = Callable[[str], dict[str, Any]]


def test_row_at_or_below_the_gate_voltage() -> None:
    """The row never lies above the gate voltage present; below the lowest row there is none."""
    rows = [2.5, 4.5, 10.0]
    volts = [-1.0, 0.0, np.nextafter(2.5, 0.0), 2.5, 4.49, 4.5, 9.0, 10.0, 20.0]
    assert mosfet.on_resistance_row(volts, rows).tolist() == [-1, -1, -1, 0, 0, 1, 1, 2, 2]
    assert int(mosfet.on_resistance_row(3.3, [2.5])) == 0
    assert mosfet.on_resistance_row([], rows).shape == (0,)
    assert mosfet.on_resistance_row(np.full((2, 3), 5.0), rows).shape == (2, 3)


def test_hot_resistance(published: Published) -> None:
    """+0.5 %/K from 25 degC gives the printed resistances."""
    entry = published("mosfet.hot_resistance")
    hot_factor = 1 + entry["slope"] * (150 - 25)
    resistance = entry["cold"] * mosfet.temperature_factor(entry["temperatures"], hot_factor, 150.0)
    assert resistance == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry["source"]


def test_temperature_factor_is_straight_with_a_floor() -> None:
    """1 at 25 degC, the hot factor at the end, the same slope on both sides, never below one half."""
    factor = mosfet.temperature_factor([-37.5, 25.0, 87.5, 150.0, 175.0], 1.6, 150.0)
    assert factor == pytest.approx([0.7, 1.0, 1.3, 1.6, 1.72], rel=1e-14)
    assert float(mosfet.temperature_factor(-100.0, 1.4, 150.0)) == pytest.approx(0.6, rel=1e-14)
    assert float(mosfet.temperature_factor(-200.0, 1.6, 150.0)) == 0.5
    assert mosfet.temperature_factor([-40.0, 150.0], 1.0, 150.0).tolist() == [1.0, 1.0]


def test_leakage_is_straight_in_the_logarithm() -> None:
    """Ends as stated, geometric mean half way, never less than cool in the cold, on upwards beyond the end."""
    got = mosfet.leakage([-40.0, 25.0, 87.5, 150.0, 212.5], 1e-6, 100e-6, 150.0)
    assert got == pytest.approx([1e-6, 1e-6, 1e-5, 1e-4, 1e-3], rel=1e-12)
    assert (np.diff(mosfet.leakage(np.linspace(25, 150, 50), 1e-6, 100e-6, 150.0)) > 0).all()


def test_leakage_from_zero() -> None:
    """No leakage at all stays zero; from zero cool it is straight, above any exponential through the same end."""
    warm = np.linspace(-20.0, 150.0, 30)
    assert (mosfet.leakage(warm, 0.0, 0.0, 150.0) == 0.0).all()
    straight = mosfet.leakage(warm, 0.0, 100e-6, 150.0)
    assert straight == pytest.approx(100e-6 * np.maximum(warm - 25, 0) / 125, rel=1e-14)
    hot = warm[warm > 26]
    assert (mosfet.leakage(hot, 0.0, 100e-6, 150.0) >= mosfet.leakage(hot, 1e-7, 100e-6, 150.0) - 1e-7).all()


def test_threshold_falls_as_the_junction_warms() -> None:
    """-4 mV/K from 1.1 V at 25 degC; it may pass zero and says so with its sign."""
    assert mosfet.threshold_at([-5.0, 25.0, 150.0, 325.0], 1.1, -4e-3) == pytest.approx([1.22, 1.1, 0.6, -0.1])


def test_gain_reproduces_the_row() -> None:
    """Deep in the triode region the channel has the row's resistance."""
    k = mosfet.gain(14e-3, 2.5, 1.5)
    small = 1e-9
    assert small / float(mosfet.channel_current(2.5, small, 1.5, k)) == pytest.approx(14e-3, rel=1e-8)


def test_channel_is_continuous_and_rises() -> None:
    """Value and slope join at the edge of saturation; current never falls with either voltage; both ends by hand."""
    k, edge, step = 70.0, 0.8, 1e-6
    left, at, right = mosfet.channel_current(2.3, [edge - step, edge, edge + step], 1.5, k)
    assert at == pytest.approx(k / 2 * edge**2, rel=1e-12)
    assert abs(right - at) <= 1e-12 and 0 <= at - left < k * step**2
    drain = np.linspace(0.0, 9.0, 200)
    gate = np.linspace(0.0, 5.0, 60)[:, np.newaxis]
    batch = mosfet.channel_current(gate, drain, 1.5, k)
    assert (np.diff(batch, axis=0) >= 0).all() and (np.diff(batch, axis=1) >= 0).all()
    assert (batch[gate[:, 0] <= 1.5] == 0.0).all() and (batch[:, 0] == 0.0).all()
    assert batch[:, -1] == pytest.approx(mosfet.saturation_current(gate[:, 0], 1.5, k), rel=1e-14)
    assert float(mosfet.channel_current(2.5, 0.4, 1.5, k)) == pytest.approx(k * (1.0 * 0.4 - 0.08), rel=1e-14)


def test_subthreshold_slope() -> None:
    """One decade for n (kT/q) ln 10; held from the threshold up; more when hot; none far below."""
    decade = 1.5 * 8.617333e-5 * 298.15 * math.log(10.0)
    assert float(mosfet.subthreshold_current(1.5 - decade, 1.5, 25.0)) == pytest.approx(25e-6, rel=1e-6)
    assert mosfet.subthreshold_current([1.5, 3.0], 1.5, 25.0).tolist() == [250e-6, 250e-6]
    cold, hot = mosfet.subthreshold_current(1.0, 1.5, [0.0, 100.0])
    assert hot > cold > 0
    assert float(mosfet.subthreshold_current(-5000.0, 1.5, 25.0)) == 0.0


def test_published_current_below_the_threshold(published: Published) -> None:
    """A measured power MOSFET: n k T / q is 58 mV at 300 K, 134 mV for a decade; its currents from 0.5 V to 1.3168 V."""
    table = published("hold_off.subthreshold")
    factor = mosfet.slope_factor(table["slope_voltage"] * math.log(10.0) * 298.15 / 300.0)
    assert float(factor) == pytest.approx(2.24, abs=0.005)
    assert float(mosfet.slope_voltage(factor, 26.85)) == pytest.approx(table["slope_voltage"], rel=1e-5)
    found = mosfet.subthreshold_current(table["voltage"], 1.3168, 26.85, factor, 250e-6)
    assert found == pytest.approx(table["value"], rel=table["rel_tol"])


def test_batch_equals_a_loop() -> None:
    """Arrays give what their members give one by one."""
    rng = np.random.default_rng(3)
    gate, drain = rng.uniform(0, 5, 20), rng.uniform(0, 9, 20)
    warm = rng.uniform(-40, 150, 20)
    channel = [float(mosfet.channel_current(g, d, 1.5, 70.0)) for g, d in zip(gate, drain, strict=True)]
    assert mosfet.channel_current(gate, drain, 1.5, 70.0).tolist() == channel
    leaks = [float(mosfet.leakage(t, 1e-6, 1e-4, 150.0)) for t in warm]
    assert mosfet.leakage(warm, 1e-6, 1e-4, 150.0) == pytest.approx(leaks, rel=1e-14)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: mosfet.on_resistance_row(math.nan, [2.5]), "gate voltage must be a finite number"),
        (lambda: mosfet.on_resistance_row(3.3, []), "must ascend, at least one"),
        (lambda: mosfet.on_resistance_row(3.3, [4.5, 2.5]), "must ascend"),
        (lambda: mosfet.on_resistance_row(3.3, [2.5, 2.5]), "must ascend"),
        (lambda: mosfet.temperature_factor(25.0, 0.0, 150.0), "hot factor must be above 0"),
        (lambda: mosfet.temperature_factor(25.0, 1.6, 25.0), "max junction must be above 25 degC"),
        (lambda: mosfet.leakage(25.0, 2e-6, 1e-6, 150.0), "hot leakage must not be below"),
        (lambda: mosfet.leakage(25.0, -1e-6, 1e-6, 150.0), "leakage at 25 degC must be 0 or more"),
        (lambda: mosfet.threshold_at(25.0, 1.1, 4e-3), "threshold drift must be 0 or negative"),
        (lambda: mosfet.gain(14e-3, 1.5, 1.5), "must exceed the gate threshold"),
        (lambda: mosfet.gain(0.0, 2.5, 1.5), "on-resistance must be above 0"),
        (lambda: mosfet.channel_current(2.5, -0.1, 1.5, 70.0), "drain voltage must be 0 or more"),
        (lambda: mosfet.saturation_current(2.5, 1.5, 0.0), "gain must be above 0"),
        (lambda: mosfet.subthreshold_current(1.0, 1.5, -300.0), "absolute temperature must be above 0"),
        (lambda: mosfet.subthreshold_current(1.0, 1.5, 25.0, 0.9), "slope factor must be 1 or more"),
    ],
)
def test_refusals(call: Callable[[], object], message: str) -> None:
    """Each unusable argument is refused by name."""
    with pytest.raises(InputError, match=message):
        call()
