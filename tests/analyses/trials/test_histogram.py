"""Tallies against sorting the numbers."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.analyses.trials.histogram import Tally
from ignition.errors import InputError


@pytest.mark.parametrize("scale", [1e-7, 1e-3, 1.0, 1e4])
def test_quantiles_within_a_fifth_of_a_percent(scale: float) -> None:
    """A quantile from the counts is the sorted one within the width of a bin."""
    numbers = scale * np.random.default_rng(1).lognormal(0.0, 0.7, 50_000)
    tally = Tally.of(numbers)
    for share in (0.001, 0.1, 0.5, 0.9, 0.999):
        exact = float(np.quantile(numbers, share, method="inverted_cdf"))
        assert tally.quantile(share) == pytest.approx(exact, rel=2.1e-3)
    assert tally.quantile(0.0) == numbers.min() and tally.quantile(1.0) == numbers.max()


def test_merging_is_exact_and_in_any_order() -> None:
    """Parts merged in any order are the tally of the whole, bit for bit."""
    numbers = np.random.default_rng(2).random(3000)
    parts = [Tally.of(p) for p in np.split(numbers, [100, 101, 2000])]
    forward, backward = Tally.empty(), Tally.empty()
    for part in parts:
        forward = forward.merged(part)
    for part in reversed(parts):
        backward = backward.merged(part)
    whole = Tally.of(numbers)
    for other in (forward, backward):
        assert np.array_equal(other.counts, whole.counts) and (other.least, other.most) == (whole.least, whole.most)


def test_zeros_and_nothing() -> None:
    """Zeros are counted as zeros; an empty tally has no quantile and an empty histogram."""
    assert Tally.of(np.zeros(4)).quantile(0.5) == 0.0
    assert Tally.empty().quantile(0.5) is None
    assert Tally.empty().histogram(3)[1].sum() == 0


def test_histogram_holds_every_number() -> None:
    """Equal bins from least to greatest hold all numbers, in the bins where they lie."""
    numbers = np.repeat([1.0, 2.0, 3.0], [5, 7, 9])
    edges, counts = Tally.of(numbers).histogram(4)
    assert edges[0] == 1.0 and edges[-1] == 3.0
    assert counts.tolist() == [5, 0, 7, 9]


def test_impossible_arguments_are_refused() -> None:
    """A share above 1 and a histogram without bins are named."""
    with pytest.raises(InputError, match="share: a number from 0 to 1"):
        Tally.empty().quantile(1.1)
    with pytest.raises(InputError, match="bins: a whole number of 1 or more"):
        Tally.empty().histogram(0)
