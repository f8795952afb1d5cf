"""From an igniter's statements to thresholds and time constants, worst cases included."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Literal

from ignition.circuit import description as d
from ignition.circuit.assumptions import Ledger, default_entry
from ignition.circuit.bridges import ambient_growth, ambient_resistance, bridge_temperatures
from ignition.circuit.model import BridgeTemperatures, IgniterModel, StatementModel, TimeConstants
from ignition.errors import InputError
from ignition.parts.igniter import sustained, thermal_fraction, time_constant_from_energy
from ignition.parts.population import BridgeModel, population_from_statements
from ignition.toleranced import Toleranced, parse_toleranced

__all__ = ["complete_igniter"]

_OPEN = 1e9
"""Resistance of a bridge of which nothing is known after function, where it opens [ohm]."""

_SHORT = 1e-6
"""Resistance of a bridge that is a short after function [ohm]: as good as none, yet parallel ones form no loop."""

# most igniters of a what-if or a sweep are those of the circuit before
_population = functools.lru_cache(maxsize=256)(population_from_statements)


@functools.lru_cache(maxsize=256)
def _sustained(current: float, duration: float, time_constant: float, growth: float) -> float:
    return float(sustained(current, duration, time_constant, growth))


def complete_igniter(name: str, given: d.Igniter, ambient: Toleranced, ledger: Ledger) -> IgniterModel:
    """Turn an igniter table into thresholds at this ambient temperature.

    The lowest threshold is the lowest no-fire current taken to infinite duration with the slowest heating: the longest
    time constant and the most growth of resistance. The highest is the highest all-fire current taken to infinite
    duration with the fastest. The statements hold at the reference temperature; the ambient then shifts them.

    An adiabatic energy E0 = I0^2 R tau holds at the reference temperature too, with R at the function temperature.
    With it instead of a time constant, each case has its own: the fast case the least energy in the highest
    resistance at the lowest threshold, the slow case the opposite. A unit between them has a time constant of its own,
    outside the two perhaps, but function time and thermal fraction within theirs.

    Raises InputError when statements contradict each other, or a value that another one needs is missing.

    Parameters
    ----------
    ambient : Temperature [degC]

    Returns
    -------
    Thresholds [A], time constants [s], resistance [ohm]

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> bridge = load_example("tether-cutter").igniters["cutter"]
    >>> round(bridge.threshold_low, 6), round(bridge.threshold_nominal, 6), round(bridge.threshold_high, 6)
    (0.25, 0.5, 1.0)
    """
    key = f"igniter.{name}"
    bridge = bridge_temperatures(given, key, ambient, ledger)
    statements = _Statements(
        given=given,
        no_fire=_statement(given.no_fire, f"{key}.no_fire", "no_fire", ledger),
        all_fire=_statement(given.all_fire, f"{key}.all_fire", "all_fire", ledger),
        bridge=bridge,
    )
    no_fire, all_fire, shift = statements.no_fire, statements.all_fire, bridge.shift
    nominal = _nominal(statements)
    times = _time_constants(statements, key, nominal, ledger)
    low, high = _lowest(statements, times), _highest(statements, times)
    spent, spent_resistance = _spent(given, key, ledger)
    return IgniterModel(
        name=name,
        resistance=ambient_resistance(bridge, ambient),
        growth=ambient_growth(bridge, ambient),
        temperatures=bridge,
        no_fire=no_fire,
        all_fire=all_fire,
        no_fire_current=None if no_fire is None else no_fire.current.low * shift.low,
        all_fire_current=None if all_fire is None else all_fire.current.high * shift.high,
        threshold_low=None if low is None else low * shift.low,
        threshold_nominal=None if nominal is None else nominal.population.nominal * shift.nominal,
        threshold_high=None if high is None else high * shift.high,
        threshold_spread=None if nominal is None else nominal.population.spread,
        time_constant=_of_thresholds(statements, times, low, high),
        energy=statements.energy,
        spent=spent,
        spent_resistance=spent_resistance,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Statements:
    """What an igniter's table states, defaults taken."""

    given: d.Igniter
    no_fire: StatementModel | None
    all_fire: StatementModel | None
    bridge: BridgeTemperatures

    @property
    def energy(self) -> Toleranced | None:
        """Adiabatic energy where it gives the time constants; a more direct statement stands before it [J]."""
        direct = self.given.time_constant is not None or self.given.response is not None
        return None if direct else self.given.adiabatic_energy


def _statement(given: d.Statement | None, key: str, kind: str, ledger: Ledger) -> StatementModel | None:
    if given is None:
        ledger.note(key, f"{kind}_missing")
        return None
    duration = ledger.take(given.duration, f"{key}.duration", f"{kind}_duration", "s")
    if duration.low <= 0:
        raise InputError(f"{kind}.duration must be above 0 s; received {duration}")
    if given.reliability is None:
        ledger.note(f"{key}.reliability", f"{kind}_reliability")
    return StatementModel(
        current=given.current,
        duration=duration,
        reliability=given.reliability,
        confidence=given.confidence,
        source=given.source or "",
        date=given.date or "",
    )


def _placed(statement: StatementModel, kind: str) -> float:
    """Share of igniters at which a statement stands in the nominal population [1]."""
    return statement.reliability or float(default_entry(f"{kind}_reliability")["value"])


def _nominal(s: _Statements) -> BridgeModel | None:
    """Nominal population; checks that all statements about the time constant agree."""
    given, no_fire, all_fire = s.given, s.no_fire, s.all_fire
    if no_fire is None or all_fire is None:
        return None
    if no_fire.current.high >= all_fire.current.low:
        raise InputError(
            f"no_fire.current ({no_fire.current}) must lie below all_fire.current ({all_fire.current}); "
            "they are two different statements, check that they are not swapped"
        )
    given_time = given.time_constant
    if given_time is None and given.adiabatic_energy is None and given.response is None:
        given_time = parse_toleranced(default_entry("time_constant")["value"], "s")
    return _population(
        no_fire.current.nominal,
        no_fire.duration.nominal,
        _placed(no_fire, "no_fire"),
        all_fire.current.nominal,
        all_fire.duration.nominal,
        _placed(all_fire, "all_fire"),
        time_constant=None if given_time is None else _positive_time(given_time).nominal,
        energy=None if given.adiabatic_energy is None else given.adiabatic_energy.nominal,
        response=None if given.response is None else tuple((c.nominal, t.nominal) for c, t in given.response),
        resistance=s.bridge.reference_resistance.nominal,
        growth=s.bridge.reference_growth.nominal,
    )


def _positive_time(value: Toleranced) -> Toleranced:
    if value.low <= 0:
        raise InputError(f"time_constant must be above 0 s; received {value}")
    return value


def _time_constants(s: _Statements, key: str, nominal: BridgeModel | None, ledger: Ledger) -> TimeConstants:
    """Fastest and slowest time constant; for an energy first bounds, good enough for the highest threshold."""
    given = s.given
    middle = None if nominal is None else nominal.time_constant
    if given.time_constant is not None:
        value = _positive_time(given.time_constant)
        return TimeConstants(fast=value.low, nominal=middle or value.nominal, slow=value.high)
    if given.response is not None:
        if s.no_fire is None or s.all_fire is None:
            raise InputError(
                "response needs both no_fire and all_fire, which place the nominal threshold; give them, or "
                "time_constant"
            )
        quick, tardy = (_response_time(s, given.response, fast=fast) for fast in (True, False))
        return TimeConstants(fast=quick, nominal=middle, slow=tardy)
    if s.energy is not None:
        quickest = None if s.all_fire is None else _fast(s, s.energy, s.all_fire.current.high)
        return TimeConstants(fast=quickest, nominal=middle, slow=None)
    value = ledger.take(None, f"{key}.time_constant", "time_constant", "s")
    return TimeConstants(fast=value.low, nominal=middle or value.nominal, slow=value.high)


def _response_time(s: _Statements, response: list[tuple[Toleranced, Toleranced]], *, fast: bool) -> float:
    """Fastest or slowest time constant of response pairs that belong to a bridge of nominal threshold.

    The fast end has the shortest times at the lowest currents, the highest nominal threshold (high currents and
    durations, least growth) and, for the units tested, the most growth; the slow end the opposite.
    """
    assert s.no_fire is not None and s.all_fire is not None
    statement_end, response_end = ("high", "low") if fast else ("low", "high")
    growth = s.bridge.reference_growth

    def end(statement: StatementModel, given: d.Statement | None) -> tuple[float, float]:
        assumed = given is None or given.duration is None  # an assumed duration places no nominal threshold
        duration = statement.duration.nominal if assumed else getattr(statement.duration, statement_end)
        return getattr(statement.current, statement_end), duration

    return _population(
        *end(s.no_fire, s.given.no_fire),
        _placed(s.no_fire, "no_fire"),
        *end(s.all_fire, s.given.all_fire),
        _placed(s.all_fire, "all_fire"),
        response=tuple((getattr(c, response_end), getattr(t, response_end)) for c, t in response),
        resistance=s.bridge.reference_resistance.nominal,
        growth=getattr(growth, response_end),
        response_growth=getattr(growth, statement_end),
    ).time_constant


def _fast(s: _Statements, energy: Toleranced, threshold: float) -> float:
    return float(time_constant_from_energy(energy.low, threshold, s.bridge.function_resistance.high))


def _slow(s: _Statements, energy: Toleranced, threshold: float) -> float:
    return float(time_constant_from_energy(energy.high, threshold, s.bridge.function_resistance.low))


def _lowest(s: _Statements, times: TimeConstants) -> float | None:
    if s.no_fire is None:
        return None
    if s.energy is not None:
        return _lowest_with_energy(s, s.no_fire, s.energy)
    assert times.slow is not None
    growth = s.bridge.reference_growth.high
    return _sustained(s.no_fire.current.low, s.no_fire.duration.low, times.slow, growth)


def _highest(s: _Statements, times: TimeConstants) -> float | None:
    if s.all_fire is None or times.fast is None:
        return None
    growth = s.bridge.reference_growth.low
    return _sustained(s.all_fire.current.high, s.all_fire.duration.high, times.fast, growth)


def _lowest_with_energy(s: _Statements, no_fire: StatementModel, energy: Toleranced) -> float:
    """Lowest threshold where an energy sets the time constant: a lower threshold has a longer one, which lowers it.

    A pulse that carries no more than the energy leaves every threshold possible: zero where its duration is assumed.
    """
    bridge = s.bridge
    lowest = _least_threshold(
        no_fire.current.low,
        no_fire.duration.low,
        energy.high,
        bridge.function_resistance.low,
        bridge.reference_growth.high,
    )
    if lowest > 0.0 or s.given.no_fire is None or s.given.no_fire.duration is None:
        return lowest
    raise InputError(
        f"no_fire.duration ({no_fire.duration}) is too short against adiabatic_energy: the no-fire pulse heats the "
        "bridge no further than the energy does, so no steady no-fire current follows; give time_constant or a "
        "longer statement"
    )


@functools.lru_cache(maxsize=256)
def _least_threshold(current: float, duration: float, energy: float, resistance: float, growth: float) -> float:
    """Lowest steady threshold at which a current just does not function, by bisection; zero where every one does.

    Parameters
    ----------
    resistance : Of the bridge at the function temperature
    """

    def functions(threshold: float) -> bool:
        slow = float(time_constant_from_energy(energy, threshold, resistance))
        return bool(thermal_fraction(current, threshold, slow, duration, 0.0, growth) >= 1.0)

    low, high = 0.1 * current, current
    if not functions(low):
        return 0.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if functions(middle) else (low, middle)
    return low


def _of_thresholds(s: _Statements, times: TimeConstants, low: float | None, high: float | None) -> TimeConstants:
    """Time constants that go with the thresholds; a bridge of threshold zero functions at once with any."""
    if s.energy is None:
        return times
    return TimeConstants(
        fast=None if low is None or s.no_fire is None else _fast(s, s.energy, low or s.no_fire.current.low),
        nominal=times.nominal,
        slow=None if high is None else _slow(s, s.energy, high),
    )


def _spent(
    given: d.Igniter, key: str, ledger: Ledger
) -> tuple[Literal["open", "short", "resistance"], Toleranced | None]:
    if given.spent is None:
        anything = Toleranced(low=_SHORT, nominal=_OPEN, high=_OPEN, unit="ohm")
        return ledger.choose(f"{key}.spent", "spent", worst=("resistance", anything), best=("open", None))
    if given.spent == "open":
        return "open", None
    if given.spent == "short":
        return "short", Toleranced.exact(_SHORT, "ohm")
    return "resistance", given.spent
