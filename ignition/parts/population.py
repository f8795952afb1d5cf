"""What a maker's no-fire and all-fire statements say about the bridges of a population of igniters."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from ignition.errors import InputError
from ignition.parts._require import positive, real, within
from ignition.parts.igniter import adiabatic_energy, function_time, sustained, time_constant_from_energy
from ignition.typing import ArrayLike, FloatArray

__all__ = ["BridgeModel", "ThresholdPopulation", "population_from_statements"]

AGREEMENT = 0.10
"""Largest relative difference of two statements about one time constant."""

_SEARCH = np.exp(np.linspace(np.log(1e-9), np.log(1e6), 701))
"""Time constants [s] between which a fixed point is looked for: 1 ns to 11 days."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ThresholdPopulation:
    """Log-normal steady thresholds of igniters of one type, placed by their no-fire and all-fire currents.

    ln(no_fire) = location - z(no_fire_reliability) spread, ln(all_fire) = location + z(all_fire_reliability) spread,
    z = quantile of the standard normal distribution.

    Raises InputError if the no-fire current is not below the all-fire current, or a value is outside its range.

    Attributes
    ----------
    no_fire : No-fire current taken to infinite duration [A]
    all_fire : All-fire current taken to infinite duration [A], above `no_fire`
    no_fire_reliability : Share of igniters that do not function at `no_fire` [1], above 0.5 and below 1
    all_fire_reliability : Share of igniters that function at `all_fire` [1], above 0.5 and below 1

    Examples
    --------
    >>> igniters = ThresholdPopulation(
    ...     no_fire=0.2, all_fire=0.8, no_fire_reliability=0.999, all_fire_reliability=0.999)
    >>> round(igniters.nominal, 9)
    0.4
    """

    no_fire: float
    all_fire: float
    no_fire_reliability: float
    all_fire_reliability: float

    def __post_init__(self) -> None:
        """Refuse values that place no population."""
        no_fire = float(positive("no-fire current", self.no_fire, "A"))
        all_fire = float(positive("all-fire current", self.all_fire, "A"))
        within("no-fire reliability", self.no_fire_reliability, "1", 0.5, 1.0)
        within("all-fire reliability", self.all_fire_reliability, "1", 0.5, 1.0)
        if no_fire >= all_fire:
            raise InputError(
                f"no-fire current must be below the all-fire current, both taken to infinite duration: received "
                f"{no_fire:g} A and {all_fire:g} A; check that the two were not exchanged"
            )

    @property
    def spread(self) -> float:
        """Standard deviation of ln(threshold / 1 A) [1]."""
        return float(np.log(self.all_fire / self.no_fire)) / (
            _z(self.no_fire_reliability) + _z(self.all_fire_reliability)
        )

    @property
    def location(self) -> float:
        """Mean of ln(threshold / 1 A) [1]."""
        return float(np.log(_nominal(self.no_fire, self.all_fire, self.no_fire_reliability, self.all_fire_reliability)))

    @property
    def nominal(self) -> float:
        """Median threshold [A]; the geometric mean of the two currents when the reliabilities are equal."""
        return float(_nominal(self.no_fire, self.all_fire, self.no_fire_reliability, self.all_fire_reliability))

    def quantile(self, probability: ArrayLike) -> FloatArray:
        """Return the threshold that the stated share of igniters does not exceed [A].

        Raises InputError if a probability is not between 0 and 1.

        Parameters
        ----------
        probability : Share of the population [1], above 0 and below 1, any shape
        """
        share = within("probability", probability, "1", 0.0, 1.0)
        deviate = np.vectorize(_z, otypes=[np.float64])(share)
        return np.asarray(np.exp(self.location + self.spread * deviate))

    def sample(self, rng: np.random.Generator, size: int | tuple[int, ...]) -> FloatArray:
        """Draw steady thresholds of single igniters [A]."""
        return np.asarray(np.exp(self.location + self.spread * rng.standard_normal(size)))


@dataclass(frozen=True, slots=True, kw_only=True)
class BridgeModel:
    """Population of steady thresholds with the thermal time constant that goes with it.

    Attributes
    ----------
    population : Steady thresholds, all-fire and no-fire currents taken to infinite duration
    time_constant : Thermal time constant [s]
    energy : Adiabatic energy of a bridge of nominal threshold [J]
    determined_by : Statement that gave the time constant: ``time constant``, ``response`` or ``adiabatic energy``
    """

    population: ThresholdPopulation
    time_constant: float
    energy: float
    determined_by: str = "time constant"


def population_from_statements(
    no_fire_current: float,
    no_fire_duration: float,
    no_fire_reliability: float,
    all_fire_current: float,
    all_fire_duration: float,
    all_fire_reliability: float,
    *,
    time_constant: float | None = None,
    energy: float | None = None,
    response: Sequence[tuple[float, float]] | None = None,
    resistance: float,
    growth: float = 0.0,
    response_growth: float | None = None,
) -> BridgeModel:
    """Return the bridge model that a maker's no-fire and all-fire statements describe.

    The currents taken to infinite duration depend on tau and tau on the nominal threshold. The fixed point is found by
    scanning tau from 1 ns to 11 days for changes of sign and bisecting the only one.

    Raises InputError if no statement gives the time constant, two of them differ by more than 10 %, no or more than one
    time constant satisfies one, or the no-fire current taken to infinite duration is not below the all-fire current.

    Parameters
    ----------
    no_fire_current, all_fire_current : Stated currents [A], above 0
    no_fire_duration, all_fire_duration : Durations for which they are stated [s], above 0, may be infinite
    no_fire_reliability, all_fire_reliability : Stated reliabilities [1], above 0.5 and below 1
    time_constant : Thermal time constant [s], above 0
    energy : Adiabatic energy of a bridge of nominal threshold [J], above 0
    response : Pairs of constant current [A] and function time [s] of a bridge of nominal threshold
    resistance : Nominal cold bridge resistance [ohm], above 0
    growth : Relative growth of the bridge resistance up to the function temperature [1], above -1
    response_growth : That of the units behind the response, where a bound needs another one for them [1], above -1

    Returns
    -------
    Population, time constant and adiabatic energy. Of several statements about the time constant the most direct is
        used: the time constant, then the response, then the energy

    Examples
    --------
    >>> model = population_from_statements(
    ...     0.2, 300.0, 0.999, 0.8, 1.0, 0.999, energy=1.6e-3, resistance=1.0)
    >>> round(model.time_constant, 9), round(model.population.nominal, 9)
    (0.01, 0.4)
    """
    positive("resistance", resistance, "ohm")
    positive("no-fire current", no_fire_current, "A")
    positive("all-fire current", all_fire_current, "A")
    within("no-fire reliability", no_fire_reliability, "1", 0.5, 1.0)
    within("all-fire reliability", all_fire_reliability, "1", 0.5, 1.0)

    def nominal(tau: ArrayLike) -> FloatArray:
        low = sustained(no_fire_current, no_fire_duration, tau, growth)
        high = sustained(all_fire_current, all_fire_duration, tau, growth)
        return _nominal(low, high, no_fire_reliability, all_fire_reliability)

    found: dict[str, float] = {}
    if time_constant is not None:
        found["time constant"] = float(positive("time constant", time_constant, "s"))
    if response is not None:
        tested = growth if response_growth is None else response_growth
        found["response"] = _from_response(response, nominal, tested)
    if energy is not None:
        joules = float(positive("adiabatic energy", energy, "J"))
        found["adiabatic energy"] = _fixed_point(
            f"adiabatic energy {joules:g} J",
            lambda tau: time_constant_from_energy(joules, nominal(tau), resistance, growth),
        )
    if not found:
        raise InputError(
            "igniter must state how fast its bridge heats: received no time constant, adiabatic energy or response; "
            "write one of the three"
        )
    _check_agreement(found)
    method, tau = next(iter(found.items()))
    population = _population(
        (no_fire_current, no_fire_duration, no_fire_reliability),
        (all_fire_current, all_fire_duration, all_fire_reliability),
        tau,
        growth,
    )
    joules = float(adiabatic_energy(population.nominal, resistance, tau, growth))
    return BridgeModel(population=population, time_constant=tau, energy=joules, determined_by=method)


def _z(probability: float) -> float:
    return NormalDist().inv_cdf(float(probability))


def _nominal(
    no_fire: ArrayLike, all_fire: ArrayLike, no_fire_reliability: float, all_fire_reliability: float
) -> FloatArray:
    """Median of the log-normal population through two points."""
    low, high = _z(no_fire_reliability), _z(all_fire_reliability)
    return np.asarray(np.exp((high * np.log(no_fire) + low * np.log(all_fire)) / (low + high)))


def _population(
    no_fire: tuple[float, float, float], all_fire: tuple[float, float, float], tau: float, growth: float
) -> ThresholdPopulation:
    low = float(sustained(no_fire[0], no_fire[1], tau, growth))
    high = float(sustained(all_fire[0], all_fire[1], tau, growth))
    if low >= high:
        raise InputError(
            f"no-fire current must be below the all-fire current, both taken to infinite duration: no-fire "
            f"{no_fire[0]:g} A for {no_fire[1]:g} s gives {low:g} A and all-fire {all_fire[0]:g} A for "
            f"{all_fire[1]:g} s gives {high:g} A with a time constant of {tau:g} s; either the time constant is too "
            f"long for so short an all-fire pulse or the two currents contradict each other; correct one of them"
        )
    return ThresholdPopulation(
        no_fire=low, all_fire=high, no_fire_reliability=no_fire[2], all_fire_reliability=all_fire[2]
    )


def _from_response(
    response: Sequence[tuple[float, float]], nominal: Callable[[ArrayLike], FloatArray], growth: float
) -> float:
    """Time constant at which the pairs, taken by units of nominal threshold, fit with no mean error."""
    pairs = real("response", response, "A and s")
    if pairs.ndim != 2 or pairs.shape[1] != 2 or pairs.shape[0] == 0:
        raise InputError(
            f"response must be pairs of current and function time: received shape {pairs.shape}; "
            f"write for example [(0.9, 30e-3)]"
        )
    currents = positive("response current", pairs[:, 0], "A")
    logs = np.log(positive("response time", pairs[:, 1], "s"))

    def update(tau: ArrayLike) -> FloatArray:
        ratios = function_time(currents, np.asarray(nominal(tau))[..., np.newaxis], 1.0, growth=growth)
        return np.asarray(np.exp(np.mean(logs - np.log(ratios), axis=-1)))

    lowest = float(currents.min())
    return _fixed_point(f"response down to {lowest:g} A", update)


def _fixed_point(statement: str, update: Callable[[ArrayLike], FloatArray]) -> float:
    """The only time constant that `update` returns unchanged."""
    above = update(_SEARCH) >= _SEARCH
    changes = np.flatnonzero(above[1:] != above[:-1])
    if changes.size == 0:
        raise InputError(
            f"{statement} fits no time constant with these no-fire and all-fire statements: the currents taken to "
            f"infinite duration leave no consistent threshold; correct it, or the stated currents and durations"
        )
    roots = [_bisect(update, float(_SEARCH[i]), float(_SEARCH[i + 1])) for i in changes]
    if len(roots) > 1:
        raise InputError(
            f"{statement} fits more than one time constant with these no-fire and all-fire statements: "
            f"{', '.join(f'{root:.4g} s' for root in roots)}; write the time constant itself"
        )
    return roots[0]


def _bisect(update: Callable[[ArrayLike], FloatArray], low: float, high: float) -> float:
    rising = bool(update(high) >= high)
    for _ in range(12):  # by 32 at a time: the sixtieth power of two in all
        tried = np.linspace(low, high, 33)
        beyond = (update(tried) >= tried) == rising
        beyond[-1] = True
        place = 1 + int(np.argmax(beyond[1:]))
        low, high = float(tried[place - 1]), float(tried[place])
    return 0.5 * (low + high)


def _check_agreement(found: dict[str, float]) -> None:
    """Refuse statements about one time constant that differ by more than a tenth."""
    first, last = min(found, key=found.__getitem__), max(found, key=found.__getitem__)
    if found[last] > found[first] * (1.0 + AGREEMENT):
        raise InputError(
            f"igniter statements about its heating contradict each other: {first} gives tau = {found[first]:.4g} s and "
            f"{last} gives tau = {found[last]:.4g} s, by E0 = I0^2 R tau more than {AGREEMENT:.0%} apart; keep the one "
            f"that was measured"
        )
