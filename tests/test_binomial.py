"""Clopper-Pearson bounds against the binomial sum itself, a general library and published sample sizes."""

from __future__ import annotations

import math
from typing import Literal

import pytest
from scipy.stats import binomtest

from ignition.binomial import clopper_pearson
from ignition.errors import InputError


def tail(events: int, trials: int, p: float) -> float:
    """Probability of so many or more events, by adding up."""
    return sum(math.comb(trials, k) * p**k * (1 - p) ** (trials - k) for k in range(events, trials + 1))


def lower_bound(events: int, trials: int, confidence_level: float = 0.95) -> float:
    """One-sided lower bound."""
    return clopper_pearson(events, trials, confidence_level, "greater").low


def upper_bound(events: int, trials: int, confidence_level: float = 0.95) -> float:
    """One-sided upper bound."""
    return clopper_pearson(events, trials, confidence_level, "less").high


@pytest.mark.parametrize("alternative", ["two-sided", "greater", "less"])
@pytest.mark.parametrize(("events", "trials"), [(0, 7), (1, 7), (7, 7), (3, 40), (99, 100), (999_990, 1_000_000)])
def test_a_general_library_says_the_same(
    events: int, trials: int, alternative: Literal["two-sided", "greater", "less"]
) -> None:
    """The exact interval of scipy.stats.binomtest, which finds it by root finding to about 1e-12."""
    theirs = binomtest(events, trials, alternative=alternative).proportion_ci(0.9, method="exact")
    ours = clopper_pearson(events, trials, 0.9, alternative)
    assert ours.low == pytest.approx(theirs.low, abs=1e-11) and ours.high == pytest.approx(theirs.high, abs=1e-11)


def test_bounds_keep_their_digits_near_zero() -> None:
    """Nothing among 10^9 at 95 %: 1 - 0.05^(1/n), to all digits."""
    assert upper_bound(0, 10**9) == pytest.approx(-math.expm1(math.log(0.05) / 1e9), rel=1e-9)


@pytest.mark.parametrize(("events", "trials"), [(1, 10), (5, 10), (9, 10), (10, 10), (37, 40)])
def test_lower_bound_is_where_the_tail_is_the_risk(events: int, trials: int) -> None:
    """At the lower bound, so many events or more have a chance of just 1 - confidence."""
    assert tail(events, trials, lower_bound(events, trials, 0.9)) == pytest.approx(0.1, rel=1e-9)


@pytest.mark.parametrize(("events", "trials"), [(0, 10), (5, 10), (9, 10), (3, 40)])
def test_upper_bound_is_where_the_other_tail_is_the_risk(events: int, trials: int) -> None:
    """At the upper bound, so few events or fewer have a chance of just 1 - confidence."""
    assert 1 - tail(events + 1, trials, upper_bound(events, trials, 0.9)) == pytest.approx(0.1, rel=1e-9)


@pytest.mark.parametrize(("trials", "reliability"), [(2995, 0.999), (299, 0.99), (59, 0.95)])
def test_clean_runs_of_the_sample_size_formula(trials: int, reliability: float) -> None:
    """n = ceil(ln(1 - C)/ln R) clean results show R at 95 %, one fewer does not."""
    assert math.ceil(math.log(0.05) / math.log(reliability)) == trials
    assert lower_bound(trials, trials) >= reliability > lower_bound(trials - 1, trials - 1)


def test_certainty_is_never_claimed() -> None:
    """Neither all nor no events give a bound of 1 or 0 on the open side."""
    both = clopper_pearson(1000, 1000)
    assert both.low < 1.0 and both.high == 1.0
    assert upper_bound(0, 1000) > 0.0 and lower_bound(0, 1000) == 0.0


@pytest.mark.parametrize(("events", "trials"), [(-1, 3), (4, 3), (0, 0)])
def test_impossible_counts_are_refused(events: int, trials: int) -> None:
    """Counts that cannot be are named."""
    with pytest.raises(InputError, match="events must lie between"):
        lower_bound(events, trials)


def test_impossible_level_is_refused() -> None:
    """A confidence of 1 is no confidence level."""
    with pytest.raises(InputError, match="confidence_level must lie between 0 and 1"):
        upper_bound(1, 3, 1.0)
