"""How many igniters a battery lights at once: in the worst case, and at a stated probability."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.cluster.arrangement import MOST_IGNITERS, arranged, cluster_current, layouts, only_channel
from ignition.analyses.firing.firing import firing
from ignition.analyses.trials.trials import firing_trials
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.findings.finding import Reason
from ignition.typing import BARE, Key, Ratio

__all__ = ["HowMany", "LikelyMany", "MARGIN", "how_many", "how_many_likely"]

MARGIN = 1.5
"""Lowest current over the all-fire current that is asked of a firing circuit [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HowMany:
    """Largest number of igniters in the worst case.

    Attributes
    ----------
    arrangement : ``parallel``, ``series`` or ``mixed``
    count : Largest number [1], 0 where not even the least arrangement will do; None where it is unknown
    strings : Igniters in each string, at that number [1]
    margin : Lowest current over the all-fire current, at that number
    at_limit : Whether the search ended at the largest number that is tried, not at the circuit's limit
    """

    arrangement: str
    count: int | None
    strings: tuple[int, ...]
    margin: Annotated[Ratio | None, BARE, Key("all_fire_margin")]
    at_limit: Annotated[bool, Key("or_more")]
    reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelyMany:
    """Largest number of igniters at a stated probability.

    Attributes
    ----------
    arrangement : ``parallel``, ``series`` or ``mixed``
    probability, confidence : What is asked: the lower bound at this confidence reaches this probability
    count : Largest number [1]; None where it is unknown
    strings : Igniters in each string, at that number [1]
    lower : Lower bound of the probability that all function, at that number
    trials : Trials of each number tried [1]
    at_limit : Whether the search ended at the largest number that is tried
    """

    arrangement: str
    probability: Annotated[Ratio, BARE]
    confidence: Annotated[Ratio, BARE]
    count: int | None
    strings: tuple[int, ...]
    lower: Annotated[Ratio | None, BARE]
    trials: int
    at_limit: Annotated[bool, Key("or_more")]
    reason: str | None


def how_many(
    circuit: Circuit, arrangement: str = "parallel", *, channel: str | None = None, margin: float = MARGIN
) -> HowMany:
    """Find the largest number of igniters that all get enough current in the worst case, and of which none may fail.

    With more igniters every one gets less: the number is found by bisection, for mixed over the strings' number at each
    length. The current is that of the unfired cluster; that one may fail to function (the pulse ends, or in a string
    the first bridge to open ends the current of the rest) rules a number out, that it cannot be told does not.

    Raises InputError if the arrangement or the margin is impossible, or the channel is not clear.

    Parameters
    ----------
    circuit : The complete circuit; the channel fires alone
    arrangement : ``parallel``, ``series`` or ``mixed`` (equal strings of two or more)
    margin : Lowest current asked for over the all-fire current [1]
    """
    if not 0.0 < margin < math.inf:
        raise InputError(f"margin: a ratio above 0 expected, received {margin!r}; write for example 1.5")
    place = only_channel(circuit, channel)
    layouts(1, arrangement)
    all_fire = circuit.igniters[place.strings[0][0]].all_fire_current
    if all_fire is None:
        return _unknown(arrangement, "the igniter has no all-fire statement")
    reached: dict[tuple[int, ...], float] = {}
    refused: list[str] = []

    def enough(strings: tuple[int, ...]) -> bool:
        changed = arranged(circuit, place, strings)
        current = cluster_current(changed, changed.channels[0])
        if current.lowest is None:
            refused.append(current.reason or "the current is unknown")
            return False
        reached[strings] = current.lowest / all_fire
        return reached[strings] >= margin and not _may_fail(changed)

    strings = _largest(arrangement, enough)
    if not strings:
        if refused and not reached:
            return _unknown(arrangement, refused[0])
        return HowMany(
            arrangement=arrangement,
            count=0,
            strings=(),
            margin=None,
            at_limit=False,
            reason=f"not even the smallest such cluster functions and gets {margin:g} times the all-fire current",
        )
    return HowMany(
        arrangement=arrangement,
        count=sum(strings),
        strings=strings,
        margin=reached[strings],
        at_limit=_is_last(arrangement, strings),
        reason=refused[0] if refused else None,
    )


def _may_fail(circuit: Circuit) -> bool:
    """Whether an igniter may fail to function though everything about it is known."""
    igniters = firing(circuit).channels[0].igniters
    return any(one.functions != "always" and one.cause is Reason.EXCEEDED for one in igniters)


def _unknown(arrangement: str, reason: str) -> HowMany:
    return HowMany(arrangement=arrangement, count=None, strings=(), margin=None, at_limit=False, reason=reason)


def _is_last(arrangement: str, strings: tuple[int, ...]) -> bool:
    """Whether no larger cluster is tried."""
    return sum(strings) + (strings[0] if arrangement == "mixed" else 1) > MOST_IGNITERS


def _largest(arrangement: str, enough: Callable[[tuple[int, ...]], bool]) -> tuple[int, ...]:
    """Largest arrangement that is enough; empty where none is."""
    if arrangement == "parallel":
        number = _last_true(lambda n: enough((1,) * n), 1, MOST_IGNITERS)
        return (1,) * number
    if arrangement == "series":
        number = _last_true(lambda n: enough((n,)), 1, MOST_IGNITERS)
        return (number,) if number else ()
    best: tuple[int, ...] = ()
    for length in range(2, MOST_IGNITERS // 2 + 1):
        number = _last_true(lambda n, length=length: enough((length,) * n), 2, MOST_IGNITERS // length)  # type: ignore[misc]
        if not number:
            break  # a longer string gets even less
        if number * length > sum(best):
            best = (length,) * number
    return best


def _last_true(holds: Callable[[int], bool], first: int, last: int) -> int:
    """Largest number from first to last for which a falling condition holds; 0 where it holds for none."""
    if last < first or not holds(first):
        return 0
    good, bad = first, last + 1
    step = 1
    while good + step < bad:  # near the start in most circuits: double the step before bisecting
        if not holds(good + step):
            bad = good + step
            break
        good += step
        step *= 2
    while bad - good > 1:
        middle = (good + bad) // 2
        good, bad = (middle, bad) if holds(middle) else (good, middle)
    return good


def how_many_likely(
    circuit: Circuit,
    arrangement: str = "parallel",
    *,
    channel: str | None = None,
    probability: float = 0.999,
    confidence: float = 0.95,
    seed: int = 0,
    jobs: int = 1,
) -> LikelyMany:
    """Find the largest number of igniters that all function with a stated probability.

    Each number is fired ten times as often as a run without failures would need, so that some failures are allowed.

    Raises InputError if an argument is out of range, or the channel is not clear.

    Parameters
    ----------
    circuit : The complete circuit; the channel fires alone
    arrangement : ``parallel``, ``series`` or ``mixed``
    probability : Probability asked for [1], at most 0.9999
    confidence : Confidence of the lower bound that has to reach it [1]
    seed : Seed of the random numbers [1]
    jobs : Processes to use [1]
    """
    if not 0.0 < probability <= 0.9999 or not 0.0 < confidence < 1.0:
        raise InputError(
            f"probability, confidence: at most 0.9999, and between 0 and 1, expected; received {probability!r}, "
            f"{confidence!r}; for rarer failures estimate one arrangement by itself"
        )
    place = only_channel(circuit, channel)
    layouts(1, arrangement)
    trials = 10 * math.ceil(math.log1p(-confidence) / math.log(probability))
    bounds: dict[tuple[int, ...], float] = {}
    reasons: list[str] = []

    def enough(strings: tuple[int, ...]) -> bool:
        result = firing_trials(arranged(circuit, place, strings), trials, seed, jobs=jobs)
        if result.partial:
            raise KeyboardInterrupt
        bound = result.lower(confidence)
        if bound is None:
            reasons.append(result.reason or "no probability")
            return False
        bounds[strings] = bound
        return bound >= probability

    strings = _largest(arrangement, enough)
    count: int | None = sum(strings)
    reason = reasons[0] if reasons else None
    if not strings and not bounds:
        count = None
    elif not strings:
        reason = f"not even the smallest such cluster functions with probability {probability:g}"
    return LikelyMany(
        arrangement=arrangement,
        probability=probability,
        confidence=confidence,
        count=count,
        strings=strings,
        lower=bounds.get(strings),
        trials=trials,
        at_limit=bool(strings) and _is_last(arrangement, strings),
        reason=reason,
    )
