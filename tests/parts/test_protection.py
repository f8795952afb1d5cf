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


def test_melting_law_agrees_with_onderdonk(published: Published) -> None:
    """A wire that melts in 5 s at the published current has that melting integral at any other current."""
    from ignition.parts.conductor import onderdonk_time

    entry = published("onderdonk.current")
    area = entry["circular_mils"] * math.pi / 4 * 25.4e-6**2
    i2t = entry["value"] ** 2 * entry["time"]
    got = float(p.melting_time(400.0, i2t, 20.0))
    assert got == pytest.approx(float(onderdonk_time(400.0, area, entry["ambient"])), rel=1e-4), entry["source"]


def test_fuse_melts() -> None:
    """Melts from the melting time on; carries its rating for ever."""
    limit = float(p.melting_time(20.0, 55.0, 10.0))
    got = p.fuse_melts(20.0, [0.0, limit * 0.999, limit, math.inf], 55.0, 10.0)
    np.testing.assert_array_equal(got, [False, False, True, True])
    assert not bool(p.fuse_melts(10.0, math.inf, 55.0, 10.0))


@pytest.mark.parametrize(
    ("arguments", "name"),
    [((math.nan, 55.0, 10.0), "current"), ((20.0, 0.0, 10.0), "melting_i2t"), ((20.0, 55.0, -1.0), "rating")],
)
def test_melting_time_refused(arguments: tuple[float, float, float], name: str) -> None:
    """Values without a physical meaning are refused by name."""
    with pytest.raises(InputError, match=rf"{name} must be a finite number"):
        p.melting_time(*arguments)
    with pytest.raises(InputError, match=r"time must be a number of at least 0 s, received -1 s; write for example"):
        p.fuse_melts(20.0, -1.0, 55.0, 10.0)


def test_text_is_refused() -> None:
    """Text that is no number is refused with the unit to write."""
    with pytest.raises(InputError, match=r"rating must be a number in A, received 'ten'"):
        p.melting_time(20.0, 55.0, "ten")


def test_hold_current_linear() -> None:
    """Unchanged at 23 degC, half way at half the distance, zero from the zero temperature on, more in the cold."""
    got = p.resettable_hold_current(2.0, [-28.0, 23.0, 74.0, 125.0, 150.0], zero_temperature=125.0)
    np.testing.assert_allclose(got, [3.0, 2.0, 1.0, 0.0, 0.0], rtol=1e-15)


def test_hold_current_table() -> None:
    """The rows are met and joined by straight lines; outside the table nothing is guessed."""
    table = [(0.0, 1.2), (23.0, 1.0), (60.0, 0.65)]
    got = p.resettable_hold_current(2.0, [0.0, 11.5, 23.0, 60.0], table=table)
    np.testing.assert_allclose(got, [2.4, 2.2, 2.0, 1.3], rtol=1e-15)
    with pytest.raises(InputError, match=r"of at most 60 degC, received 61"):
        p.resettable_hold_current(2.0, 61.0, table=table)


def test_hold_current_needs_one_derating() -> None:
    """Neither and both deratings are refused; so is a table out of order."""
    with pytest.raises(InputError, match=r"received neither form"):
        p.resettable_hold_current(2.0, 23.0)
    with pytest.raises(InputError, match=r"received both forms"):
        p.resettable_hold_current(2.0, 23.0, zero_temperature=125.0, table=[(0.0, 1.2), (23.0, 1.0)])
    with pytest.raises(InputError, match=r"zero_temperature must be .* above 23"):
        p.resettable_hold_current(2.0, 23.0, zero_temperature=23.0)


@pytest.mark.parametrize(
    "table",
    [
        [],
        [(23.0, 1.0)],
        [(23.0, 1.0), (0.0, 1.2)],
        [(0.0, 1.0), (23.0, 1.2)],
        [(0.0, 1.0), (23.0, -0.1)],
        [(0.0, math.nan)] * 2,
    ],
)
def test_hold_table_refused(table: list[tuple[float, float]]) -> None:
    """A derating table that is short, out of order, rising, negative or not a number is refused."""
    with pytest.raises(InputError, match=r"derating table must hold at least two rows"):
        p.resettable_hold_current(2.0, 10.0, table=table)


def test_trip_times_enclose() -> None:
    """The earliest never exceeds the latest where the data agree; no latest below the test current."""
    current = np.array([1.0, 2.0, 5.0, 8.0, 16.0])
    early = p.resettable_trip_time(current, 6.4, 2.0)
    late = p.resettable_latest_trip_time(current, 8.0, 2.0)
    np.testing.assert_allclose(early, [math.inf, math.inf, 0.256, 0.1, 0.025], rtol=1e-15)
    np.testing.assert_allclose(late, [math.inf, math.inf, math.inf, 2.0, 0.5], rtol=1e-15)
    assert np.all(early <= late)
    with pytest.raises(InputError, match=r"test_time must be"):
        p.resettable_latest_trip_time(8.0, 8.0, 0.0)
    with pytest.raises(InputError, match=r"hold_current must be"):
        p.resettable_trip_time(8.0, 6.4, 0.0)


def test_trips() -> None:
    """Both the current and the time must be reached; equality counts; no delay known means at once."""
    np.testing.assert_array_equal(
        p.trips([5.0, -5.0, 4.999, 6.0, 6.0], [0.01, 0.01, math.inf, 0.009, 0.01], 5.0, 0.01),
        [True, True, False, False, True],
    )
    assert bool(p.trips(5.0, 0.0, 5.0, 0.0))
    with pytest.raises(InputError, match=r"trip_current must be"):
        p.trips(5.0, 0.1, 0.0, 0.0)


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
