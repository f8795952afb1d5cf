"""Values with tolerances."""

from __future__ import annotations

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


@pytest.mark.parametrize("bad", [(2.0, 1.0, 3.0), (1.0, 4.0, 3.0), (float("nan"), 1.0, 2.0), (1.0, 2.0, float("inf"))])
def test_disordered_bounds_are_refused(bad: tuple[float, float, float]) -> None:
    """Bounds ascend and are finite."""
    with pytest.raises(InputError, match="must"):
        Toleranced(low=bad[0], nominal=bad[1], high=bad[2])


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
    with pytest.raises(InputError, match="at most 20"):
        vertices([Toleranced(low=0.0, nominal=0.5, high=1.0)] * 21)
