"""The heating of a bridge against algebra, the printed overload curve, its limits and the equation itself."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts import igniter

Published = Callable[[str], dict[str, Any]]

GROWTHS = (-0.3, 0.0, 1e-12, 0.1, 0.8)


def integrated(current: float, threshold: float, tau: float, time: float, start: float, growth: float) -> float:
    """Thermal fraction by fourth-order steps through the bridge equation, which knows nothing of its solution."""
    steps = 2000
    step = time / steps

    def slope(x: float) -> float:
        return ((current / threshold) ** 2 * (1 + growth * x) / (1 + growth) - x) / tau

    x = start
    for _ in range(steps):
        k1 = slope(x)
        k2 = slope(x + 0.5 * step * k1)
        k3 = slope(x + 0.5 * step * k2)
        x += step / 6 * (k1 + 2 * k2 + 2 * k3 + slope(x + step * k3))
    return x


def test_function_time_follows_the_printed_curve(published: Published) -> None:
    """Cold function times equal the thermal overload curve."""
    entry = published("bridge.time")
    times = igniter.function_time(entry["current_ratio"], 1.0, 1.0)
    assert times == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry["source"]


def test_function_time_follows_the_printed_hot_curve(published: Published) -> None:
    """A bridge warmed by a prior current follows the hot overload curve, its start being the prior thermal fraction."""
    entry = published("bridge.hot_curve")
    start = igniter.steady_thermal_fraction(entry["prior_ratio"], 1.0)
    times = igniter.function_time(entry["current_ratio"], 1.0, 1.0, start=start)
    assert times == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry["source"]


def test_physical_bridge_case(published: Published) -> None:
    """Threshold, function time, energies and small rise agree with heat capacity, loss and resistance."""
    entry = published("bridge.case")  # memory: the bridge equation behind these outputs was recalled
    tau = entry["heat_capacity"] / entry["loss"]
    threshold = math.sqrt(entry["loss"] * entry["rise"] / entry["resistance"])
    close = {"rel": entry["rel_tol"]}
    assert tau == pytest.approx(entry["time_constant"], **close), entry["source"]
    assert threshold == pytest.approx(entry["threshold"], **close), entry["source"]
    time = float(igniter.function_time(entry["current"], threshold, tau))
    assert time == pytest.approx(entry["value"], **close), entry["source"]
    assert entry["current"] ** 2 * entry["resistance"] * time == pytest.approx(entry["energy"], **close), entry[
        "source"
    ]
    floor = igniter.adiabatic_energy(threshold, entry["resistance"], tau)
    assert float(floor) == pytest.approx(entry["energy_floor"], **close), entry["source"]
    fraction = igniter.steady_thermal_fraction(entry["small_current"], threshold)
    assert float(fraction) * entry["rise"] == pytest.approx(entry["small_rise"], **close), entry["source"]


def test_growth_case(published: Published) -> None:
    """With a resistance that grows, the fraction approaches its end with the effective time constant."""
    entry = published("bridge.growth")  # memory: the bridge equation behind these outputs was recalled
    case = published("bridge.case")
    growth = entry["temperature_coefficient"] * case["rise"]
    tau = case["heat_capacity"] / case["loss"]
    threshold = math.sqrt(case["loss"] * case["rise"] / (case["resistance"] * (1 + growth)))
    for current, expected in zip(entry["current"], entry["value"], strict=True):
        end = igniter.steady_thermal_fraction(current, threshold, growth)
        left = 1 - igniter.thermal_fraction(current, threshold, tau, 2e-3, growth=growth) / end
        assert -2e-3 / math.log(float(left)) == pytest.approx(expected, rel=entry["rel_tol"]), entry["source"]
        floor = igniter.adiabatic_energy(threshold, case["resistance"], tau, growth)
        assert float(floor) == pytest.approx(case["energy_floor"], rel=1e-9), "C theta_f does not depend on growth"


def test_bench_example_by_hand() -> None:
    """Thresholds 0.2, 0.4, 0.8 A and 10 ms give the function times that a calculator gives."""
    current = np.array([6.563997418068807, 4.955310925866872, 3.5538262585879425])
    threshold = np.array([0.2, 0.4, 0.8])
    by_hand = [-10e-3 * math.log(1 - (t / i) ** 2) for t, i in zip(threshold, current, strict=True)]
    times = igniter.function_time(current, threshold, 10e-3)
    assert times == pytest.approx(by_hand, rel=1e-9)
    assert times == pytest.approx([9.288057e-6, 6.537278e-5, 5.200332e-4], rel=1e-6)


@pytest.mark.parametrize("growth", GROWTHS)
@pytest.mark.parametrize(("current", "start"), [(0.0, 0.7), (0.5, 0.0), (1.3, 0.2), (4.0, 0.0)])
def test_thermal_fraction_solves_the_bridge_equation(current: float, start: float, growth: float) -> None:
    """The closed form equals the integrated equation, runaway included."""
    for time in (1e-3, 20e-3):
        expected = integrated(current, 1.0, 10e-3, time, start, growth)
        got = float(igniter.thermal_fraction(current, 1.0, 10e-3, time, start, growth))
        assert got == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("growth", GROWTHS)
@pytest.mark.parametrize("ratio", [1.0 + 1e-12, 1.001, 1.5, 3.0, 1e3])
def test_fraction_is_one_at_the_function_time(ratio: float, growth: float) -> None:
    """Function time and thermal fraction are inverse, from cold and from warm."""
    for start in (0.0, 0.6):
        time = igniter.function_time(ratio, 1.0, 5e-3, start, growth)
        assert float(igniter.thermal_fraction(ratio, 1.0, 5e-3, time, start, growth)) == pytest.approx(1.0, abs=1e-11)


@pytest.mark.parametrize("growth", GROWTHS)
def test_threshold_is_the_true_steady_threshold(growth: float) -> None:
    """Exactly the threshold current settles at 1 whatever the growth, and never functions the bridge."""
    assert float(igniter.steady_thermal_fraction(0.4, 0.4, growth)) == pytest.approx(1.0, rel=1e-14)
    assert np.isinf(igniter.function_time([0.4, -0.4, 0.39, 0.0], 0.4, 10e-3, growth=growth)).all()
    assert np.isfinite(igniter.function_time(np.nextafter(0.4, 1.0), 0.4, 10e-3, growth=growth))


def test_steady_fraction_is_the_end_of_the_transient() -> None:
    """The steady fraction equals the transient at infinite time; above the runaway current both are infinite."""
    growth = 0.5
    runaway = math.sqrt((1 + growth) / growth)
    current = np.array([0.0, 0.5, 1.0, 1.5, 1.001 * runaway, 5.0])
    steady = igniter.steady_thermal_fraction(current, 1.0, growth)
    u = current[:4] ** 2
    assert steady[:4] == pytest.approx(u / (1 + growth - growth * u), rel=1e-14)
    assert np.isinf(steady[4:]).all()
    assert igniter.thermal_fraction(current, 1.0, 1e-3, math.inf, growth=growth) == pytest.approx(steady)


def test_runaway_current_itself_heats_in_a_straight_line() -> None:
    """Where the loss rate is exactly zero, a = 1/3 and u = 4, the fraction is 3 t / tau, without end."""
    growth = 1.0 / 3.0
    assert float(igniter.thermal_fraction(2.0, 1.0, 1.0, 0.25, growth=growth)) == pytest.approx(0.75, rel=1e-12)
    assert float(igniter.function_time(2.0, 1.0, 1.0, growth=growth)) == pytest.approx(1 / 3, rel=1e-12)
    assert np.isinf(igniter.steady_thermal_fraction(2.0, 1.0, growth))
    assert np.isinf(igniter.thermal_fraction(2.0, 1.0, 1.0, math.inf, growth=growth))


def test_function_time_limits() -> None:
    """Far above the threshold it is tau (I0 / I)^2; just above it grows as a logarithm; both without lost digits."""
    assert float(igniter.function_time(1e9, 1.0, 1.0)) == pytest.approx(1e-18, rel=1e-14)
    nearly = 1.0 + 2.0**-40
    assert float(igniter.function_time(nearly, 1.0, 1.0)) == pytest.approx(39 * math.log(2.0), rel=1e-11)


def test_function_time_falls_with_current_start_and_rises_with_threshold() -> None:
    """The worst case stands at the ends: more current or a warmer start is faster, a higher threshold slower."""
    for growth in GROWTHS:
        assert (np.diff(igniter.function_time(np.linspace(1.01, 9.0, 200), 1.0, 1.0, growth=growth)) < 0).all()
        assert (np.diff(igniter.function_time(2.0, 1.0, 1.0, np.linspace(0.0, 1.0, 50), growth)) < 0).all()
        assert (np.diff(igniter.function_time(2.0, np.linspace(0.1, 1.99, 200), 1.0, growth=growth)) > 0).all()


def test_bridge_that_already_functions() -> None:
    """A start at 1, or surroundings at the function temperature, take no time whatever the current."""
    assert igniter.function_time([0.0, 0.1, 9.0], 1.0, 1.0, start=1.0).tolist() == [0.0, 0.0, 0.0]
    assert igniter.function_time([0.0, 0.1, 9.0], 0.0, 1.0).tolist() == [0.0, 0.0, 0.0]
    assert np.isinf(igniter.steady_thermal_fraction([0.0, 0.1], 0.0)).all()
    assert np.isinf(igniter.thermal_fraction(0.0, 0.0, 1.0, 0.0))


def test_batch_equals_a_loop() -> None:
    """Arrays give what their members give one by one; an empty batch stays empty."""
    rng = np.random.default_rng(7)
    current, threshold = rng.uniform(0, 3, 40), rng.uniform(0, 2, (3, 1))
    batch = igniter.function_time(current, threshold, 1e-3, 0.1, 0.2)
    assert batch.shape == (3, 40)
    loop = [[float(igniter.function_time(i, t, 1e-3, 0.1, 0.2)) for i in current] for t in threshold[:, 0]]
    assert batch.tolist() == loop
    assert igniter.function_time([], 1.0, 1.0).shape == (0,)


@pytest.mark.parametrize("growth", GROWTHS)
@pytest.mark.parametrize("duration", [1e-6, 3e-3, 1.0, math.inf])
def test_sustained_inverts_the_function_time(duration: float, growth: float) -> None:
    """A bridge of the sustained threshold functions exactly at the end of the stated duration."""
    threshold = float(igniter.sustained(0.9, duration, 12e-3, growth))
    assert float(igniter.thermal_fraction(0.9, threshold, 12e-3, duration, growth=growth)) == pytest.approx(
        1, rel=1e-12
    )
    assert threshold <= 0.9


def test_sustained_limits() -> None:
    """For ever leaves the current as it is; a short pulse gives I sqrt(t / tau) without lost digits."""
    assert float(igniter.sustained(0.25, math.inf, 12e-3)) == 0.25
    assert float(igniter.sustained(0.25, 1e-12, 1.0)) == pytest.approx(0.25e-6, rel=1e-12)


def test_energy_and_time_constant_are_inverse() -> None:
    """E0 = I0^2 R tau both ways; fast pulses need I^2 R t = E0 when the resistance does not grow."""
    energy = igniter.adiabatic_energy(0.4, 1.1, 12e-3, 0.2)
    assert float(energy) == pytest.approx(0.16 * 1.1 * 1.2 * 12e-3, rel=1e-14)
    assert float(igniter.time_constant_from_energy(energy, 0.4, 1.1, 0.2)) == pytest.approx(12e-3, rel=1e-14)
    fast = 100.0**2 * 1.1 * igniter.function_time(100.0, 0.4, 12e-3)
    assert float(fast) == pytest.approx(float(igniter.adiabatic_energy(0.4, 1.1, 12e-3)), rel=1e-4)


def test_ambient_shift() -> None:
    """The threshold is unmoved at the reference, halved where a quarter of the rise is left, zero from T_f on."""
    shifted = igniter.shifted_threshold(0.4, [20.0, 215.0, 280.0, 300.0, -240.0], 20.0, 280.0)
    assert shifted == pytest.approx([0.4, 0.2, 0.0, 0.0, 0.4 * math.sqrt(2.0)], rel=1e-14)


def test_resistance_ratio_and_growth_by_hand() -> None:
    """R(T) / R0 = 1 + alpha (T - T0), the definition of alpha; a = R(T_f) / R(T) - 1 = alpha (T_f - T) / (R(T) / R0)."""
    assert igniter.resistance_ratio([-30.0, 20.0, 120.0], 2e-3, 20.0) == pytest.approx([0.9, 1.0, 1.2], rel=1e-14)
    growth = igniter.resistance_growth(270.0, [-30.0, 20.0, 120.0], 2e-3, 20.0)
    assert growth == pytest.approx([0.6 / 0.9, 0.5, 0.3 / 1.2], rel=1e-14)
    assert igniter.resistance_growth([20.0, 270.0], 20.0, [5e-3, 0.0], 20.0).tolist() == [0.0, 0.0]


def test_growth_is_monotone_in_each_argument() -> None:
    """The extremes of a box stand at its corners: no difference changes sign along any axis, for either sign of alpha."""
    axes = [np.linspace(150, 600, 7), np.linspace(-40, 90, 7), np.linspace(-1.5e-3, 4e-3, 12), np.linspace(0, 30, 5)]
    for alphas in (axes[2][axes[2] < 0], axes[2][axes[2] > 0]):
        grid = np.meshgrid(axes[0], axes[1], alphas, axes[3], indexing="ij")
        growth = igniter.resistance_growth(*grid)
        for axis in range(4):
            steps = np.diff(growth, axis=axis)
            assert (steps >= -1e-15).all() or (steps <= 1e-15).all()


def test_more_growth_is_slower() -> None:
    """At a given threshold: later function, a lower fraction below 1, a lower sustained current, a longer fitted tau."""
    growth = np.linspace(-0.6, 2.0, 30)
    assert (np.diff(igniter.function_time(2.0, 1.0, 1.0, 0.0, growth)) > 0).all()
    assert (np.diff(igniter.thermal_fraction(0.9, 1.0, 1.0, 0.7, 0.0, growth)) < 0).all()
    assert (np.diff(igniter.steady_thermal_fraction(0.9, 1.0, growth)) < 0).all()
    assert (np.diff(igniter.sustained(0.9, 0.5, 1.0, growth)) < 0).all()


def test_energy_holds_with_the_resistance_at_function() -> None:
    """E0 = I0^2 R(T_f) tau: cold resistance with growth, or the resistance at function without, are the same."""
    cold, hot = 1.1 * 0.95, 1.1 * 1.28
    energy = igniter.adiabatic_energy(0.4, cold, 10e-3, hot / cold - 1)
    assert float(energy) == pytest.approx(float(igniter.adiabatic_energy(0.4, hot, 10e-3)), rel=1e-14)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: igniter.function_time(math.nan, 1.0, 1.0), "current must be a finite number"),
        (lambda: igniter.function_time("much", 1.0, 1.0), "current must be a number in A: received 'much'"),
        (lambda: igniter.function_time(1.0, -0.1, 1.0), r"threshold must be 0 or more \[A\]: received -0.1"),
        (lambda: igniter.function_time(1.0, 0.4, 0.0), r"time constant must be above 0 \[s\]"),
        (lambda: igniter.function_time(1.0, 0.4, 1.0, -0.1), "start must be 0 or more"),
        (lambda: igniter.function_time(1.0, 0.4, 1.0, growth=-1.0), "growth must be above -1"),
        (lambda: igniter.thermal_fraction(1.0, 0.4, 1.0, -1.0), "time must be 0 or more"),
        (lambda: igniter.sustained(1.0, 0.0, 1.0), "duration must be above 0"),
        (lambda: igniter.time_constant_from_energy(0.0, 1.0, 1.0), "energy must be above 0"),
        (lambda: igniter.shifted_threshold(0.4, 20.0, 25.0, 25.0), "must exceed the reference temperature"),
        (lambda: igniter.resistance_ratio(520.0, -2e-3, 20.0), "zero ohm: received -0.002 / K at 520 degC"),
        (lambda: igniter.resistance_growth(300.0, math.nan, 1e-3, 20.0), "temperature must be a finite number"),
        (lambda: igniter.resistance_growth(600.0, 20.0, -2e-3, 20.0), "correct the coefficient, or the temperatures"),
    ],
)
def test_refusals(call: Callable[[], object], message: str) -> None:
    """Each unusable argument is refused by name, with what was received."""
    with pytest.raises(InputError, match=message):
        call()
