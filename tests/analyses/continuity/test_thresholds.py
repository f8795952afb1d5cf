"""Integer codes of bands, groups that hang together, thresholds midway."""

from __future__ import annotations

import pytest

from ignition.analyses.continuity.bands import AdcBand, LineReading
from ignition.analyses.continuity.thresholds import groups_of, integer_codes, overlapping_pairs, pair_thresholds
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
