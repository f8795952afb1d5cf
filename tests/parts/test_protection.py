"""Fuse, resettable fuse, battery protection: limits, directions, refusals."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts import protection as p

Published = Callable[[str], dict[str, Any]]


def test_melting_time_by_hand() -> None:
    """55 A^2 s at 20 A is 0.1375 s; at or below the rating, at either sign and at zero, it never melts."""
    got = p.melting_time([20.0, -20.0, 10.0, -10.0, 0.0], 55.0, 10.0)
    np.testing.assert_array_equal(got, [0.1375, 0.1375, math.inf, math.inf, math.inf])


def test_melting_time_broadcasts_and_falls() -> None:
    """A batch equals the loop of scalars; more current melts sooner, a larger integral later."""
    current, i2t = np.array([11.0, 20.0, 100.0]), np.array([[10.0], [55.0]])
    batch = p.melting_time(current, i2t, 10.0)
    loop = [[float(p.melting_time(a, b, 10.0)) for a in current] for b in i2t.ravel()]
    np.testing.assert_array_equal(batch, loop)
    assert np.all(np.diff(batch, axis=1) < 0.0) and np.all(np.diff(batch, axis=0) > 0.0)
    assert p.melting_time([], 55.0, 10.0).shape == (0,)


@pytest.mark.parametrize(
    ("arguments", "name"),
    [((math.nan, 55.0, 10.0), "current"), ((20.0, 0.0, 10.0), "melting_i2t"), ((20.0, 55.0, -1.0), "rating")],
)
def test_melting_time_refused(arguments: tuple[float, float, float], name: str) -> None:
    """Values without a physical meaning are refused by name."""
    with pytest.raises(InputError, match=rf"{name} must be a finite number"):
        p.melting_time(*arguments)


def test_text_is_refused() -> None:
    """Text that is no number is refused with the unit to write."""
    with pytest.raises(InputError, match=r"rating must be a number in A, received 'ten'"):
        p.melting_time(20.0, 55.0, "ten")


def test_derating_of_resettable_fuses_is_the_worst_family(published: Published) -> None:
    """At each printed temperature the ratio is the least of the three parts, rounded down; between them none is below."""
    entry = published("fuse.hold")
    families = [np.array(entry[name]) / entry[name][4] for name in ("small", "large", "other")]
    worst = np.min(families, axis=0)
    got = p.resettable_hold_ratio(entry["temperature"])
    assert np.all(got <= worst + 1e-15) and np.all(got > worst - 1e-4), entry["source"]
    dense = np.linspace(-40.0, 85.0, 126)
    for family in families:
        assert np.all(p.resettable_hold_ratio(dense) <= np.interp(dense, entry["temperature"], family) + 1e-12)


def test_derating_of_blade_fuses_is_the_worst_family(published: Published) -> None:
    """No printed continuous current is less than the ratio says; cold does not raise it; the worst fuse is met."""
    entry = published("fuse.continuous")
    for temperature, rating, amperes in zip(entry["temperature"], entry["rating"], entry["value"], strict=True):
        dense = np.linspace(temperature[0], temperature[-1], 100)
        carried = np.interp(dense, temperature, amperes) / rating
        assert np.all(p.rating_ratio(dense) <= carried), entry["source"]
    assert float(p.rating_ratio(100.0)) == pytest.approx(9.0 / 15.0) and float(p.rating_ratio(-40.0)) < 13.0 / 15.0


@pytest.mark.parametrize(("law", "most"), [(p.rating_ratio, 100.0), (p.resettable_hold_ratio, 85.0)])
def test_no_derating_is_held_outside_its_table(law: Any, most: float) -> None:
    """Beyond the last printed temperature nothing is guessed."""
    assert float(law(most)) > 0.0
    for outside in (most + 0.1, -41.0):
        with pytest.raises(InputError, match=r"temperature in the derating table must be"):
            law(outside)


def test_least_melting_share_covers_opening_windows_and_fatigue(published: Published) -> None:
    """At the shortest opening of every published window, and after many pulses, the typical integral is not reached."""
    windows, pulses = published("fuse.windows"), published("fuse.pulses")
    shares = [(times * rating) ** 2 * shortest / typical for rating, times, shortest, typical in windows["value"]]
    assert p.least_melting_share() <= min(shares) < 0.25, windows["source"]
    assert p.least_melting_share() <= pulses["value"], pulses["source"]
    for rating, times, shortest, typical in windows["value"]:
        earliest = float(p.melting_time(times * rating, p.least_melting_share() * typical, rating))
        assert earliest <= shortest, windows["source"]
