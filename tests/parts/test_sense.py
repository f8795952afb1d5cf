"""The sense chain: Ohm's law, conservation of charge, and settling against the network's own equations."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts import sense

Published = Callable[[str], dict[str, Any]]


def two_capacitors(time: float, source: float, inner: float, sample: float, pin: float) -> float:
    """Missing share on the sample capacitor, by the eigenvalues of the two-capacitor network."""
    rates = np.array(
        [
            [-1 / (source * pin) - 1 / (inner * pin), 1 / (inner * pin)],
            [1 / (inner * sample), -1 / (inner * sample)],
        ]
    )
    values, vectors = np.linalg.eig(rates)
    return float((vectors @ (np.exp(values * time) * np.linalg.solve(vectors, np.array([0.0, 1.0]))))[1])


def test_source_resistance_and_its_limits() -> None:
    """Both resistors in parallel; open and shorted ones are the limits of large and small ones."""
    assert float(sense.thevenin_resistance(100e3, 47e3)) == pytest.approx(1 / (1 / 100e3 + 1 / 47e3), rel=1e-14)
    assert float(sense.filter_time_constant(100e3, 47e3, 1e-7)) == pytest.approx(1e-7 / (1 / 100e3 + 1 / 47e3))
    limits = sense.thevenin_resistance([0.0, math.inf, 1e5, 1e5], [33e3, 33e3, math.inf, 0.0])
    assert limits.tolist() == [0.0, 33e3, 1e5, 0.0]


def test_half_lsb_settling(published: Published) -> None:
    """Time constants to half an LSB."""
    entry = published("adc.half_lsb")
    got = sense.settling_time(0.5 / 2.0 ** np.array(entry["bits"]), 1.0)
    assert got == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry["source"]


@pytest.mark.parametrize("key", ["adc.settle_eighth", "adc.settle_quarter"])
def test_published_settling_times(published: Published, key: str) -> None:
    """Twelve bits to a fraction of an LSB, as printed and in full digits."""
    entry = published(key)
    got = float(sense.settling_time(entry["error"] / 2 ** entry["bits"], entry["resistance"] * entry["capacitance"]))
    assert got == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry["source"]
    assert got == pytest.approx(entry["full"], abs=entry["full_abs_tol"]), entry["source"]


@pytest.mark.parametrize("key", ["adc.acq", "adc.acq_small", "adc.acq_ten_bit", "adc.acq_eight_bit"])
def test_published_charging_times(published: Published, key: str) -> None:
    """Data-sheet charging times, to one part in 2047 and in 511."""
    entry = published(key)
    got = float(sense.settling_time(1 / entry["ratio"], entry["resistance"] * entry["capacitance"]))
    assert got == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry["source"]
    assert got == pytest.approx(entry["full"], abs=entry["full_abs_tol"]), entry["source"]


def test_charge_sharing_conserves_charge() -> None:
    """Charge before equals charge after, for either sign of step; the limits are the whole step and none."""
    for tap, held in ((3.0, 0.0), (0.5, 3.3)):
        after = tap - float(sense.charge_sharing_error(tap - held, 8e-12, 100e-9))
        assert 8e-12 * held + 100e-9 * tap == pytest.approx((8e-12 + 100e-9) * after, rel=1e-14)
    assert sense.charge_sharing_error(2.0, [8e-12, 0.0, 0.0], [0.0, 0.0, 1e-9]).tolist() == [2.0, 0.0, 0.0]


def test_settling_without_pin_capacitor() -> None:
    """One time constant leaves 1/e; settling time is its inverse."""
    assert float(sense.settling_error(1e-6, 90e3, 10e3, 10e-12)) == pytest.approx(math.exp(-1), rel=1e-14)
    time = sense.settling_time(1 / 8192, 1e-6)
    assert float(time) == pytest.approx(13e-6 * math.log(2.0), rel=1e-14)
    assert float(sense.settling_error(time, 1e5, 0.0, 10e-12)) == pytest.approx(1 / 8192, rel=1e-12)
    assert sense.settling_time([1.0, 2.0], 1e-6).tolist() == [0.0, 0.0]


@pytest.mark.parametrize("pin", [1e-12, 10e-12, 1e-9, 100e-9])
@pytest.mark.parametrize(("source", "inner"), [(25e3, 1e3), (1e3, 25e3), (100.0, 1e4), (1e4, 1e4)])
def test_settling_with_pin_capacitor_solves_the_network(pin: float, source: float, inner: float) -> None:
    """The closed form equals the eigenvalue solution at short and long times."""
    for time in (0.0, 1e-8, 1e-6, 20e-6):
        got = float(sense.settling_error(time, source, inner, 8e-12, pin))
        assert got == pytest.approx(two_capacitors(time, source, inner, 8e-12, pin), rel=1e-8, abs=1e-12)


def test_settling_limits() -> None:
    """A vanishing pin capacitor, converter resistance or source resistance meet the simpler laws."""
    alone = sense.settling_error(1e-6, 25e3, 1e3, 8e-12)
    assert float(sense.settling_error(1e-6, 25e3, 1e3, 8e-12, 1e-20)) == pytest.approx(float(alone), rel=1e-6)
    shared = float(sense.settling_error(1e-6, 25e3, 0.0, 8e-12, 1e-9))
    assert shared == pytest.approx(8 / 1008 * math.exp(-1e-6 / (25e3 * 1.008e-9)), rel=1e-13)
    assert float(sense.settling_error(1e-6, 25e3, 1e-6, 8e-12, 1e-9)) == pytest.approx(shared, rel=1e-6)
    assert float(sense.settling_error(1e-8, 0.0, 1e3, 8e-12, 1e-9)) == pytest.approx(math.exp(-1.25), rel=1e-13)
    assert sense.settling_error([0.0, 1e-9], 0.0, 0.0, 8e-12).tolist() == [1.0, 0.0]


def test_settling_falls_with_time() -> None:
    """The missing share starts at 1, never rises and never leaves 0 to 1."""
    left = sense.settling_error(np.linspace(0.0, 50e-6, 400), 25e3, 2e3, 8e-12, 200e-12)
    assert left[0] == pytest.approx(1.0, rel=1e-14)
    assert (np.diff(left) < 0).all() and (left >= 0).all()


def test_no_filter_between_the_limits_leaves_more_than_the_bound() -> None:
    """Over filters from a tenth of the sample capacitor to a thousand times it; the limits themselves do leave less.

    By hand without a pin resistor: C_s / (C_s + C) exp(-t / R (C_s + C)) is largest where C_s + C = t / R, here 100 pF:
    between 20 and 500 pF that is neither limit.
    """
    middle = 0.1 * math.exp(-1.0)
    bound = float(sense.largest_settling_error(4e-6, 40e3, 0.0, 10e-12, 20e-12, 500e-12))
    ends = sense.settling_error(4e-6, 40e3, 0.0, 10e-12, [20e-12, 500e-12])
    assert float(sense.settling_error(4e-6, 40e3, 0.0, 10e-12, 90e-12)) == pytest.approx(middle, rel=1e-12)
    assert max(ends) < middle < bound
    assert bound == pytest.approx(10 / 30 * math.exp(-4e-6 / (40e3 * 25.0 * 30e-12)), rel=1e-12)
    rng = np.random.default_rng(4)
    time, source, inner, small = (10.0 ** rng.uniform(*ends, 20_000) for ends in ((-7, -4), (3, 6), (1, 5), (-12, -8)))
    large = small * 10.0 ** rng.uniform(0.0, 1.0, 20_000)
    between = small * (large / small) ** rng.random(20_000)
    for pin_resistor in (0.0, inner):
        bounds = sense.largest_settling_error(time, source, pin_resistor, 10e-12, small, large)
        assert (sense.settling_error(time, source, pin_resistor, 10e-12, between) <= bounds * (1 + 1e-12)).all()
        assert (bounds <= 1.0).all()


def test_bound_without_tolerance_is_the_share() -> None:
    """One filter, or none, has no range to be bounded over."""
    one = sense.largest_settling_error(4e-6, 40e3, 1e3, 10e-12, 1e-9, 1e-9)
    assert float(one) == pytest.approx(float(sense.settling_error(4e-6, 40e3, 1e3, 10e-12, 1e-9)), rel=1e-14)
    none = sense.largest_settling_error(4e-6, 40e3, 1e3, 10e-12)
    assert float(none) == pytest.approx(math.exp(-4e-6 / (41e3 * 10e-12)), rel=1e-14)
    for small, large in ((2e-9, 1e-9), (0.0, 1e-9)):
        with pytest.raises(InputError, match="limits of a filter must ascend and be both 0 or both above 0"):
            sense.largest_settling_error(4e-6, 40e3, 1e3, 10e-12, small, large)


def test_settling_with_pin_capacitance_meets_the_published_approximation(published: Published) -> None:
    """After the published number of time constants the published error is left, to the approximation's own accuracy."""
    entry = published("adc.pin_capacitance")
    source, inner = entry["source_resistance"], entry["converter_resistance"]
    sample, pin = entry["sample_capacitance"], entry["filter_capacitance"]
    tau = (source + inner) * sample + source * pin
    for error in entry["value"]:
        time = tau * (math.log(2 ** entry["bits"] / error) - math.log(pin / sample))
        left = float(sense.settling_error(time, source, inner, sample, pin)) * 2 ** entry["bits"]
        assert left == pytest.approx(error, rel=entry["rel_tol"]), entry["source"]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sense.thevenin_resistance(0.0, 0.0), "no defined tap voltage"),
        (lambda: sense.thevenin_resistance([1.0, math.inf], [1.0, math.inf]), "no defined tap voltage"),
        (lambda: sense.thevenin_resistance(-1.0, 1.0), "upper resistor must be 0 or more"),
        (lambda: sense.thevenin_resistance(1.0, math.nan), "lower resistor must be a number"),
        (lambda: sense.settling_time(0.0, 1.0), "error fraction must be above 0"),
        (lambda: sense.settling_error(1.0, 1.0, 1.0, 0.0), "sample capacitance must be above 0"),
        (lambda: sense.charge_sharing_error(1.0, 1e-12, -1e-9), "filter capacitance must be 0 or more"),
    ],
)
def test_refusals(call: Callable[[], object], message: str) -> None:
    """Each unusable argument is refused by name."""
    with pytest.raises(InputError, match=message):
        call()
