"""Capacitor discharge: published numbers, numerical integration, limits, refusals."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from ignition.errors import InputError
from ignition.parts import capacitor as k

Published = Callable[[str], dict[str, Any]]


def discharge_current(capacitance: float, voltage: float, load: float, series: float, time: float) -> float:
    """Current of a capacitor into a load behind a series resistance [A]."""
    return voltage / (load + series) * math.exp(-time / ((load + series) * capacitance))


def test_energy(published: Published) -> None:
    """Held and delivered energy (formula from memory, so the integral of I^2 R is taken beside it)."""
    entry = published("capacitor.energy")
    part = [entry[key] for key in ("capacitance", "voltage", "resistance", "series_resistance")]
    assert float(k.stored_energy(*part[:2])) == pytest.approx(entry["held"], abs=1e-12), entry["source"]
    got = k.discharge_energy(*part, entry["time"])
    np.testing.assert_allclose(got, entry["value"], rtol=0.0, atol=entry["abs_tol"], err_msg=entry["source"])
    assert float(k.discharge_energy(*part)) == float(got[-1])
    for time, energy in zip(entry["time"][:-1], got[:-1], strict=True):
        number, _ = quad(lambda t: discharge_current(*part, t) ** 2 * part[2], 0.0, time, epsabs=1e-13)
        assert float(energy) == pytest.approx(number, rel=1e-9)


def test_energy_balance_and_limits() -> None:
    """Load and series resistance share all that was held; nothing at time zero; all of it without series resistance."""
    load, series = k.discharge_energy(1e-3, 9.0, 1.5, 0.5), k.discharge_energy(1e-3, 9.0, 0.5, 1.5)
    assert float(load + series) == pytest.approx(float(k.stored_energy(1e-3, 9.0)), rel=1e-14)
    assert float(k.discharge_energy(1e-3, 9.0, 1.5, 0.5, 0.0)) == 0.0
    assert float(k.discharge_energy(1e-3, 9.0, 1.5, 0.0)) == float(k.stored_energy(1e-3, 9.0))


def test_bridge_rise(published: Published) -> None:
    """Peak rise and its time (law from memory: integrated numerically beside it)."""
    entry = published("capacitor.bridge")
    loop = entry["resistance"] + entry["series_resistance"]
    part = [entry[key] for key in ("capacitance", "voltage", "resistance", "series_resistance")]
    power = discharge_current(*part, 0.0) ** 2 * part[2]
    assert power == pytest.approx(entry["power"], rel=entry["rel_tol"]), entry["source"]
    peak = float(k.bridge_peak_time(part[0], part[2], part[3], entry["time_constant"]))
    assert peak == pytest.approx(entry["peak_time"], rel=entry["rel_tol"]), entry["source"]
    rise = float(k.bridge_thermal_rise(*part, entry["heat_capacity"], entry["time_constant"], peak))
    assert rise == pytest.approx(entry["value"], rel=entry["rel_tol"]), entry["source"]
    solved = solve_ivp(
        lambda t, x: power / entry["heat_capacity"] * np.exp(-2 * t / loop / part[0]) - x / entry["time_constant"],
        (0.0, peak),
        [0.0],
        rtol=1e-10,
        atol=1e-9,
    )
    assert rise == pytest.approx(solved.y[0, -1], rel=1e-7)


@pytest.mark.parametrize("time_constant", [1e-5, 4.9e-4, 5e-4 * (1 + 1e-9), 5e-4, 5e-4 * (1 - 1e-12), 6e-4, 0.5])
def test_bridge_rise_everywhere(time_constant: float) -> None:
    """Slow, fast and equal rates (2/(RC) = 2000/s) agree with the convolution integral, and the peak is a peak."""
    part = (1e-3, 5.0, 0.8, 0.2, 4e-6, time_constant)
    peak = float(k.bridge_peak_time(1e-3, 0.8, 0.2, time_constant))
    for time in (0.3 * peak, peak, 2.0 * peak):
        number, _ = quad(
            lambda s, end=time: 5.0**2 * 0.8 / 4e-6 * math.exp(-2000.0 * s - (end - s) / time_constant),
            0.0,
            time,
            epsabs=0.0,
            epsrel=1e-12,
        )
        assert float(k.bridge_thermal_rise(*part, time)) == pytest.approx(number, rel=1e-9)
    around = k.bridge_thermal_rise(*part, peak * np.array([0.99, 1.0, 1.01]))
    assert around[1] > around[0] and around[1] > around[2]


def test_bridge_rise_limits() -> None:
    """Nothing at time zero, all lost at infinity, no overflow, and no more than all energy without loss."""
    part = (1e-3, 5.0, 0.8, 0.2, 4e-6)
    np.testing.assert_array_equal(k.bridge_thermal_rise(*part, 5e-3, [0.0, math.inf]), [0.0, 0.0])
    assert float(k.bridge_thermal_rise(*part, 1e-9, 10.0)) == 0.0
    slow = float(k.bridge_thermal_rise(*part, 1e9, 0.1))
    assert slow == pytest.approx(float(k.discharge_energy(*part[:4])) / part[4], rel=1e-6)


def test_batch_equals_scalars() -> None:
    """A broadcast batch equals the loop of scalars."""
    volts, tau = np.array([3.0, 5.0]), np.array([[1e-4], [5e-4], [5e-3]])
    batch = k.bridge_thermal_rise(1e-3, volts, 0.8, 0.2, 4e-6, tau, 4e-4)
    loop = [[float(k.bridge_thermal_rise(1e-3, v, 0.8, 0.2, 4e-6, t, 4e-4)) for v in volts] for t in tau.ravel()]
    np.testing.assert_allclose(batch, loop, rtol=1e-15)


def test_recharge_time() -> None:
    """RC ln 4 to three quarters; zero when reached; never when the supply does not exceed the target."""
    got = k.recharge_time(1e-3, 100.0, [0.0, 9.0, 10.0, 0.0, 0.0, 12.0], [9.0, 9.0, 9.0, 12.0, 13.0, 12.0], 12.0)
    np.testing.assert_allclose(got, [0.1 * math.log(4.0), 0.0, 0.0, math.inf, math.inf, 0.0], rtol=1e-15)


def test_recharge_time_undoes_the_charging_curve() -> None:
    """The voltage reached after the time is the target."""
    time = float(k.recharge_time(470e-6, 33.0, 2.0, 7.0, 9.0))
    assert 9.0 - 7.0 * math.exp(-time / 33.0 / 470e-6) == pytest.approx(7.0, rel=1e-14)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        ((0.0, 5.0, 1.0, 0.1), "capacitance"),
        ((1e-3, math.nan, 1.0, 0.1), "voltage"),
        ((1e-3, 5.0, 0.0, 0.1), "resistance"),
        ((1e-3, 5.0, 1.0, -0.1), "series_resistance"),
        ((1e-3, 5.0, 1.0, 0.1, -1.0), "time"),
    ],
)
def test_refused(arguments: tuple[float, ...], name: str) -> None:
    """Values without a physical meaning are refused by name."""
    with pytest.raises(InputError, match=rf"^{name} must be"):
        k.discharge_energy(*arguments)
    with pytest.raises(InputError, match=r"heat_capacity must be"):
        k.bridge_thermal_rise(1e-3, 5.0, 1.0, 0.1, 0.0, 5e-3, 1e-3)
