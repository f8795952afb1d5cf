"""Integer codes of bands, groups that hang together, thresholds midway."""

from __future__ import annotations

from dataclasses import astuple

import pytest

from ignition.analyses.continuity.bands import AdcBand, LineReading
from ignition.analyses.continuity.thresholds import (
    groups_of,
    integer_codes,
    overlapping,
    overlapping_pairs,
    pair_thresholds,
)
from ignition.toleranced import Spread


def reading(state: str, low: float | None, high: float | None) -> LineReading:
    """A reading with a band and nothing else."""
    nothing = Spread(low=0.0, nominal=0.0, high=0.0, unit="A")
    code = Spread(low=low, nominal=low, high=high, unit="1")
    return LineReading(
        state=state, igniter_current=nothing, igniters={}, band=AdcBand(code=code, voltage=nothing, terms=())
    )


@pytest.mark.parametrize(
    ("low", "high", "codes"), [(0.0, 0.5, (0, 0)), (9.2, 10.8, (10, 10)), (9.5, 12.5, (10, 12)), (3.2, 3.6, (4, 4))]
)
def test_integer_codes(low: float, high: float, codes: tuple[int, int]) -> None:
    """Whole codes inside the band; a band between two codes reads the upper one."""
    assert integer_codes(Spread(low=low, nominal=low, high=high, unit="1")) == codes


@pytest.mark.parametrize(("low", "high"), [(None, None), (None, 5.0), (5.0, None)])
def test_a_band_that_lacks_a_bound_has_no_codes(low: float | None, high: float | None) -> None:
    """Each bound is needed, whatever the nominal reading."""
    assert integer_codes(Spread(low=low, nominal=5.0, high=high, unit="1")) is None


def test_a_nominal_between_two_codes_does_not_count() -> None:
    """3.2 .. 4.6 holds code 4 alone, though its nominal 4.5 would round up to 5."""
    assert integer_codes(Spread(low=3.2, nominal=4.5, high=4.6, unit="1")) == (4, 4)


@pytest.mark.parametrize(
    ("one", "two", "share"),
    [
        ((0.0, 10.0), (11.0, 20.0), False),
        ((0.0, 10.0), (10.0, 20.0), True),
        ((0.0, 10.0), (9.0, 20.0), True),
        ((0.0, 20.0), (5.0, 10.0), True),  # one holds the other
        ((0.0, 10.9), (10.1, 20.0), False),  # the bands overlap, the codes 0 .. 10 and 11 .. 20 do not
    ],
)
def test_overlap_either_way_round(one: tuple[float, float], two: tuple[float, float], share: bool) -> None:
    """Bands that are apart, share their border code, cross, and hold each other: the same in either order."""
    bands = [Spread(low=low, nominal=low, high=high, unit="1") for low, high in (one, two)]
    assert overlapping(*bands) is share and overlapping(*reversed(bands)) is share
    readings = [reading(name, *band) for name, band in (("one", one), ("two", two))]
    assert bool(pair_thresholds(readings)) is not share and bool(pair_thresholds(readings[::-1])) is not share


def test_missing_band_has_no_codes_and_no_thresholds() -> None:
    """A state without a reading overlaps nothing and gets no threshold."""
    readings = [reading("a", None, None), reading("b", 5.0, 9.0)]
    assert integer_codes(readings[0].band.code) is None
    assert overlapping_pairs([(r.state, r.band.code) for r in readings]) == ()
    assert pair_thresholds(readings) == ()
    assert [g.states for g in groups_of(readings)] == [("b",)]


def test_neighbouring_codes_have_a_threshold_without_dead_band() -> None:
    """Bands that end and begin at neighbouring codes are told apart by the upper one's first code."""
    (threshold,) = pair_thresholds([reading("low", 0.0, 10.4), reading("high", 10.6, 20.0)])
    assert (threshold.below, threshold.code, threshold.below_highest, threshold.above_lowest) == ("low", 11, 10, 11)


def test_bands_that_share_one_code_overlap() -> None:
    """One common code is enough to confuse two states."""
    bands = [
        ("low", Spread(low=0.0, nominal=5.0, high=11.0, unit="1")),
        ("high", Spread(low=11.0, nominal=15.0, high=20.0, unit="1")),
    ]
    assert overlapping_pairs(bands) == (("low", "high"),)


def test_groups_chain_through_a_common_neighbour() -> None:
    """States that overlap only through a third belong to one group, though the pair has a threshold."""
    readings = [reading("a", 0.0, 10.0), reading("b", 9.0, 20.0), reading("c", 19.0, 30.0), reading("d", 40.0, 50.0)]
    assert [g.states for g in groups_of(readings)] == [("a", "b", "c"), ("d",)]
    assert ("a", "c") in {(t.below, t.above) for t in pair_thresholds(readings)}


def test_threshold_lies_between_the_bands() -> None:
    """Every threshold is above all codes of the lower and at or below all of the upper state, midway."""
    (threshold,) = pair_thresholds([reading("low", 0.0, 100.0), reading("high", 201.0, 300.0)])
    assert threshold.code == 151
    assert threshold.below_highest < threshold.code <= threshold.above_lowest


@pytest.mark.parametrize(("first_of_upper", "code"), [(11, 11), (12, 11), (13, 12), (14, 12), (15, 13)])
def test_threshold_of_an_odd_gap_is_the_lower_middle(first_of_upper: int, code: int) -> None:
    """Codes 0 .. 10 against those from 11, 12 ...: of the free codes between them half, rounded down, count below."""
    (threshold,) = pair_thresholds([reading("low", 0.0, 10.0), reading("high", float(first_of_upper), 99.0)])
    assert threshold.code == code and isinstance(threshold.code, int)


def test_groups_stand_in_order_of_code() -> None:
    """Groups rise by code, not by name or as given; each spans all its members, also one that lies inside another."""
    readings = [
        reading("a", 60.0, 70.0),
        reading("b", 0.0, 20.0),
        reading("c", 5.0, 10.0),
        reading("d", 15.0, 30.0),
        reading("e", 30.0, 40.0),  # shares one code with d
        reading("f", 41.0, 50.0),  # borders on e
        reading("g", 65.0, 80.0),
    ]
    assert [astuple(group) for group in groups_of(readings)] == [
        (("b", "c", "d", "e"), 0, 40),
        (("f",), 41, 50),
        (("a", "g"), 60, 80),
    ]
