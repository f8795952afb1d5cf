"""Values with tolerances."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ignition.errors import InputError, UnitError
from ignition.toleranced import Distribution, Spread, Toleranced, parse_toleranced, vertices


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("4.7 kohm", "ohm", (4700.0, 4700.0, 4700.0)),
        ("4.7 kohm ± 1 %", "ohm", (4653.0, 4700.0, 4747.0)),
        ("4.7 kohm +/- 200 ohm", "ohm", (4500.0, 4700.0, 4900.0)),
        ("4.7kohm +- 1%", "ohm", (4653.0, 4700.0, 4747.0)),
        ("18 mohm .. 35 mohm", "ohm", (0.018, 0.0265, 0.035)),
        ("18 mohm .. 24 mohm .. 35 mohm", "ohm", (0.018, 0.024, 0.035)),
        ("18 .. 24 .. 35 mohm", "ohm", (0.018, 0.024, 0.035)),
        ("-5 degC .. 35 degC", "degC", (-5.0, 15.0, 35.0)),
        ("20 degC ± 5 K", "degC", (15.0, 20.0, 25.0)),
        ("3.3 +/- 0.1 V", "V", (3.2, 3.3, 3.4)),
        ("-4 mV/K ± 10 %", "V/K", (-0.0044, -0.004, -0.0036)),
        ("40 % .. 70 % .. 100 %", "1", (0.4, 0.7, 1.0)),
        ("5 V ± 1 percent", "V", (4.95, 5.0, 5.05)),
        ("5 V ± 0 %", "V", (5.0, 5.0, 5.0)),
        (f"{'5 V':200}", "V", (5.0, 5.0, 5.0)),
    ],
)
def test_text_forms(text: str, unit: str, expected: tuple[float, float, float]) -> None:
    """Every text form gives its bounds."""
    value = parse_toleranced(text, unit)
    assert (value.low, value.nominal, value.high) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("1M", "ohm", "write '1 Mohm'"),
        ("4k7", "ohm", "write '4.7 kohm'"),
        ("3R3", "ohm", "write '3.3 ohm'"),
        ("4.7k", "ohm", "write '4.7 kohm'"),
        ("1MEG", "ohm", "write '1 Mohm'"),
        ("5 m", "ohm", "write '5 mohm'"),
        ("5", "V", "has no unit"),
        ("3,3 V", "V", "decimal mark is a point"),
        ("nan V", "V", "is no voltage"),
        ("inf V", "V", "is no voltage"),
        ("1e999 V", "V", "not a finite number"),
        ("5 V .. 3 V", "V", "does not ascend"),
        ("5 V ± 1 % ± 2 %", "V", "more than one tolerance"),
        ("5 V ±", "V", "tolerance after ± is missing"),
        ("5 V ± -1 %", "V", "must not be negative"),
        ("5 V .. 6 V ± 1 %", "V", "mixes a range and a tolerance"),
        ("1..", "V", "is no range"),
        ("20 degC ± 5 degC", "degC", "kelvin"),
        ("20 degC ± 5 %", "degC", "is a difference"),
        ("", "V", "is no voltage"),
        ("9" * 300, "V", "300 characters"),
        (f"{'5 V':201}", "V", "201 characters"),
        ("5 ± 1 %", "V", "5 has no unit"),
        ("5 ± 1 percent", "V", "5 has no unit"),
    ],
)
def test_refused_text(text: str, unit: str, says: str) -> None:
    """What a person or SPICE would misread is refused, with the right spelling."""
    with pytest.raises(UnitError, match=says):
        parse_toleranced(text, unit)


@pytest.mark.parametrize("distribution", ["uniform", "normal"])
def test_samples_stay_inside(distribution: Distribution) -> None:
    """No sample leaves the bounds, and the samples fill them."""
    value = Toleranced(low=1.0, nominal=1.2, high=3.0, distribution=distribution)
    samples = value.sample(np.random.default_rng(1), 100_000)
    assert samples.min() >= 1.0 and samples.max() <= 3.0
    assert samples.min() < 1.02 and samples.max() > 2.9


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        ((2.0, 1.0, 3.0), "must ascend"),
        ((1.0, 4.0, 3.0), "must ascend"),
        ((-math.inf, 1.0, 2.0), "must be finite"),
        ((1.0, math.nan, 2.0), "must be finite"),
        ((1.0, 2.0, math.inf), "must be finite"),
    ],
)
def test_disordered_bounds_are_refused(bad: tuple[float, float, float], says: str) -> None:
    """Bounds ascend, and each of the three is finite."""
    with pytest.raises(InputError, match=says):
        Toleranced(low=bad[0], nominal=bad[1], high=bad[2])


def three(value: Toleranced | Spread) -> tuple[float | None, float | None, float | None]:
    """Low, nominal and high."""
    return value.low, value.nominal, value.high


@pytest.mark.parametrize(
    ("low", "nominal", "high", "exact"),
    [(1.0, 1.0, 1.0, True), (1.0, 1.0, 2.0, False), (1.0, 2.0, 2.0, False), (1.0, 2.0, 3.0, False)],
)
def test_exact_means_that_the_bounds_coincide(low: float, nominal: float, high: float, exact: bool) -> None:
    """A nominal value at one of its bounds is not exact."""
    assert Toleranced(low=low, nominal=nominal, high=high).is_exact is exact


def test_hull_takes_the_outermost_bounds_and_the_first_nominal() -> None:
    """The lowest low is the second's, the highest high the first's; nominal and unit are the first's."""
    first = Toleranced(low=1.0, nominal=2.0, high=6.0, unit="V")
    second = Toleranced(low=0.0, nominal=3.0, high=4.0, unit="V")
    assert three(Toleranced.hull(first, second)) == (0.0, 2.0, 6.0)
    assert three(Toleranced.hull(second, first)) == (0.0, 3.0, 6.0)
    assert Toleranced.hull(first, second).unit == "V"


def test_sum_adds_like_bounds() -> None:
    """Low to low, nominal to nominal, high to high."""
    one, other = Toleranced(low=1.0, nominal=2.0, high=4.0), Toleranced(low=10.0, nominal=20.0, high=40.0)
    assert three(one + other) == (11.0, 22.0, 44.0)


def spread_as(distribution: Distribution) -> Toleranced:
    """A value that is not exact."""
    return Toleranced(low=1.0, nominal=2.0, high=3.0, distribution=distribution)


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        (spread_as("normal"), Toleranced.exact(1.0), "normal"),
        (Toleranced.exact(1.0), spread_as("normal"), "normal"),
        (spread_as("normal"), spread_as("normal"), "uniform"),
        (spread_as("uniform"), spread_as("normal"), "uniform"),
        (spread_as("normal"), spread_as("uniform"), "uniform"),
    ],
)
def test_distribution_survives_an_exact_partner_only(
    one: Toleranced, other: Toleranced, expected: Distribution
) -> None:
    """A sum is spread as its only spread member; two spread members give no claim beyond the bounds."""
    assert (one + other).distribution == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        # the corners are 1 8, 1.5 12; -8 -1, 1.5 12; -20 -2.5, -8 -1
        ((2.0, 2.5, 3.0), (1.0, 5.0, 12.0)),
        ((-2.0, 1.0, 3.0), (-8.0, 2.0, 12.0)),
        ((-5.0, -3.0, -2.0), (-20.0, -6.0, -1.0)),
    ],
)
def test_product_stands_at_its_outermost_corners(
    value: tuple[float, float, float], expected: tuple[float, float, float]
) -> None:
    """By hand for values above, across and below zero times 0.5 .. 2 .. 4; the factor's distribution is not kept."""
    low, nominal, high = value
    given = Toleranced(low=low, nominal=nominal, high=high, unit="V", distribution="normal")
    product = given.times(Toleranced(low=0.5, nominal=2.0, high=4.0))
    assert three(product) == expected
    assert (product.unit, product.distribution) == ("V", "uniform")


def test_exact_factors_scale() -> None:
    """A plain number or an exact factor scales and keeps the distribution; zero is allowed, below it is not."""
    value = spread_as("normal")
    assert three(value.times(3.0)) == (3.0, 6.0, 9.0) and value.times(3.0).distribution == "normal"
    assert three(value.times(Toleranced.exact(3.0))) == (3.0, 6.0, 9.0)
    assert three(value.times(0.0)) == (0.0, 0.0, 0.0)
    with pytest.raises(InputError, match=r"must not be negative; received -0\.1"):
        value.times(Toleranced(low=-0.1, nominal=0.5, high=1.0))


class Draws:
    """Stands in for a random generator: hands out given numbers, and keeps what was asked for."""

    def __init__(self, *normal: list[float]) -> None:
        self.normal = [np.array(draw) for draw in normal]
        self.asked: list[tuple[float, float, int] | int] = []

    def uniform(self, low: float, high: float, size: int) -> np.ndarray:
        """Keep the bounds."""
        self.asked.append((low, high, size))
        return np.full(size, low)

    def standard_normal(self, size: int) -> np.ndarray:
        """Hand out the next numbers."""
        self.asked.append(size)
        return self.normal.pop(0)


def test_uniform_samples_are_drawn_from_low_to_high() -> None:
    """Between the two bounds, whatever the nominal value."""
    draws = Draws()
    Toleranced(low=1.0, nominal=1.2, high=3.0).sample(draws, 5)  # type: ignore[arg-type]
    assert draws.asked == [(1.0, 3.0, 5)]


def test_normal_samples_by_hand() -> None:
    """A third of each side is one standard deviation; beyond three the sample is drawn again until it is inside."""
    draws = Draws([3.0, -3.0, 1.0, -1.0, 0.5, 0.0, 3.5, -3.5], [3.2, -3.2], [3.0, 2.0])
    value = Toleranced(low=1.0, nominal=2.0, high=5.0, distribution="normal")
    samples = value.sample(draws, 8)  # type: ignore[arg-type]
    assert samples.tolist() == pytest.approx([5.0, 1.0, 3.0, 5.0 / 3.0, 2.5, 2.0, 5.0, 4.0], rel=1e-15)
    assert draws.asked == [8, 2, 2]


def test_exact_values_are_not_drawn() -> None:
    """Every sample of an exact value is the value."""
    draws = Draws()
    assert Toleranced.exact(7.0).sample(draws, 3).tolist() == [7.0, 7.0, 7.0]  # type: ignore[arg-type]
    assert draws.asked == []


def test_text_shows_each_bound_to_four_digits() -> None:
    """An exact value once, another as low .. nominal .. high."""
    assert str(Toleranced.exact(1234.56, "ohm")) == "1.235 kohm"
    value = Toleranced(low=0.00123456, nominal=1.23456, high=1234.56, unit="V")
    assert str(value) == "1.235 mV .. 1.235 V .. 1.235 kV"


def test_spread_takes_over_each_bound() -> None:
    """A spread of a toleranced value has its bounds, nominal and unit, and no reason."""
    spread = Spread.of(Toleranced(low=1.0, nominal=2.0, high=3.0, unit="V"))
    assert (*three(spread), spread.unit, spread.reason) == (1.0, 2.0, 3.0, "V", None)


def test_hull_of_spreads() -> None:
    """Outermost bounds, the first nominal; a missing bound spoils its own side only, and its reason is kept."""
    first = Spread(low=1.0, nominal=2.0, high=6.0, unit="s")
    second = Spread(low=0.0, nominal=3.0, high=4.0, unit="A")
    hull = Spread.hull([first, second])
    assert (*three(hull), hull.unit, hull.reason) == (0.0, 2.0, 6.0, "s", None)
    assert three(Spread.hull([second, first])) == (0.0, 3.0, 6.0)
    late = Spread(low=0.5, nominal=None, high=None, unit="s", reason="does not function")
    assert three(Spread.hull([first, late])) == (0.5, 2.0, None) and Spread.hull([first, late]).reason == late.reason
    early = Spread(low=None, nominal=None, high=7.0, unit="s", reason="at once")
    assert three(Spread.hull([first, early])) == (None, 2.0, 7.0)
    assert Spread.hull([first, early, late]).reason == "at once"


@pytest.mark.parametrize(
    ("low", "high", "largest"),
    [(-3.0, 1.0, 3.0), (1.0, 2.0, 2.0), (0.0, 0.0, 0.0), (None, 1.0, None), (1.0, None, None)],
)
def test_largest_of_a_spread(low: float | None, high: float | None, largest: float | None) -> None:
    """The bound farther from zero, either way; unknown where a bound is."""
    assert Spread(low=low, nominal=0.5, high=high, unit="A").largest == largest


def test_vertices_are_all_corners() -> None:
    """n free values have 2^n different corners; exact ones keep theirs."""
    box = [Toleranced(low=0.0, nominal=0.5, high=1.0)] * 4 + [Toleranced.exact(7.0)]
    corners = vertices(box)
    assert corners.shape == (16, 5) and len({tuple(c) for c in corners}) == 16 and set(corners[:, 4]) == {7.0}


def test_twenty_free_values_are_the_most() -> None:
    """Twenty give a million corners, twenty-one are refused."""
    free = Toleranced(low=0.0, nominal=0.5, high=1.0)
    assert vertices([free] * 20).shape == (2**20, 20)
    with pytest.raises(InputError, match="21 free values have 2097152 corners; at most 20"):
        vertices([free] * 21)
