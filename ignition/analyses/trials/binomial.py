"""Clopper-Pearson bounds of a probability from counted events."""

from __future__ import annotations

from dataclasses import dataclass

from ignition.errors import InputError

__all__ = ["Interval", "clopper_pearson", "lower_bound", "upper_bound"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """Bounds of an estimate.

    Attributes
    ----------
    low, high : Bounds [unit of the estimate]
    """

    low: float
    high: float


def _checked(events: int, trials: int, confidence_level: float) -> None:
    if not 0 <= events <= trials or trials < 1:
        raise InputError(
            f"events must lie between 0 and the number of trials, of which there is at least 1; received {events} "
            f"events of {trials} trials"
        )
    if not 0.0 < confidence_level < 1.0:
        raise InputError(
            f"confidence_level must lie between 0 and 1, received {confidence_level!r}; write for example 0.95"
        )


def lower_bound(events: int, trials: int, confidence_level: float = 0.95) -> float:
    """Return the one-sided lower bound of the probability of an event.

    The probability p at which so many or more events have a chance of 1 - confidence_level; for events = trials it is
    (1 - confidence_level)**(1/trials).

    Raises InputError if the counts or the level are impossible.

    Source: C. Clopper and E. Pearson, Biometrika 26 (1934) 404-413 (from memory).

    Parameters
    ----------
    events : Events counted [1]
    trials : Independent trials [1]
    confidence_level : Share of such bounds that are true, at least [1]

    Returns
    -------
    Bound [1]; 0 where nothing was counted

    Examples
    --------
    >>> round(lower_bound(59, 59), 5)
    0.95049
    """
    _checked(events, trials, confidence_level)
    if events == 0:
        return 0.0
    from scipy.special import betaincinv

    return float(betaincinv(events, trials - events + 1, 1.0 - confidence_level))


def upper_bound(events: int, trials: int, confidence_level: float = 0.95) -> float:
    """Return the one-sided upper bound of the probability of an event.

    Raises InputError if the counts or the level are impossible.

    Parameters
    ----------
    events : Events counted [1]
    trials : Independent trials [1]
    confidence_level : Share of such bounds that are true, at least [1]

    Returns
    -------
    Bound [1]; 1 where every trial had the event, above 0 where none had

    Examples
    --------
    >>> 2994 * upper_bound(0, 2994) < 3.0 < 3.1
    True
    """
    _checked(events, trials, confidence_level)
    if events == trials:
        return 1.0
    from scipy.special import betaincinv

    return float(betaincinv(events + 1, trials - events, confidence_level))


def clopper_pearson(events: int, trials: int, confidence_level: float = 0.95) -> Interval:
    """Return the two-sided interval of the probability of an event [1].

    Raises InputError if the counts or the level are impossible.

    Parameters
    ----------
    events : Events counted [1]
    trials : Independent trials [1]
    confidence_level : Share of such intervals that hold the true value, at least [1]

    Examples
    --------
    >>> interval = clopper_pearson(5, 10)
    >>> round(interval.low, 6), round(interval.high, 6)
    (0.187086, 0.812914)
    """
    _checked(events, trials, confidence_level)
    side = 0.5 * (1.0 + confidence_level)
    return Interval(low=lower_bound(events, trials, side), high=upper_bound(events, trials, side))
