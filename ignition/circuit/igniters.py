"""From an igniter's statements to thresholds and time constants, worst cases included."""

from __future__ import annotations

import math
from typing import Literal

from ignition.circuit import description as d
from ignition.circuit.assumptions import Ledger, default_entry
from ignition.circuit.model import IgniterModel, StatementModel, TimeConstants
from ignition.errors import InputError
from ignition.parts.igniter import (
    shifted_threshold,
    sustained,
    time_constant_from_energy,
    time_constant_from_response,
)
from ignition.parts.population import BridgeModel, population_from_statements
from ignition.toleranced import Toleranced

__all__ = ["complete_igniter"]

_SHORT = 1e-6
"""Resistance of a bridge that is a short after function [ohm]: as good as none, yet parallel ones form no loop."""


def complete_igniter(name: str, given: d.Igniter, ambient: Toleranced, ledger: Ledger) -> IgniterModel:
    """Turn an igniter table into thresholds at this ambient temperature.

    The lowest threshold is the lowest no-fire current taken to infinite duration with the slowest time constant; the
    highest is the highest all-fire current taken to infinite duration with the fastest one. With an adiabatic energy
    E0 = I0^2 R tau instead of a time constant, each case has its own: the fast case the least energy in the highest
    resistance at the lowest threshold, the slow case the opposite, so that a function time found with it is a bound.

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
    resistance = ledger.take(given.bridge_resistance, f"{key}.bridge_resistance", "bridge_resistance", "ohm")
    growth = _growth(given, ambient)
    no_fire = _statement(given.no_fire, f"{key}.no_fire", "no_fire", ledger)
    all_fire = _statement(given.all_fire, f"{key}.all_fire", "all_fire", ledger)
    nominal = _nominal(given, no_fire, all_fire, resistance, growth)
    fast, slow = _time_constants(given, key, no_fire, all_fire, nominal, resistance, growth, ledger)
    low = _lowest(no_fire, slow, growth)
    if low is not None and no_fire is not None and given.adiabatic_energy is not None and given.time_constant is None:
        low = _lowest_with_energy(no_fire, given.adiabatic_energy.high, low, resistance.low, growth)
    high = _highest(all_fire, fast, growth)
    if given.adiabatic_energy is not None and given.time_constant is None:
        energy = given.adiabatic_energy
        fast = None if low is None else float(time_constant_from_energy(energy.low, low, resistance.high, growth))
        slow = None if high is None else float(time_constant_from_energy(energy.high, high, resistance.low, growth))
    shift = _shifts(given, key, ambient, ledger)
    middle = None if nominal is None else nominal.population.nominal
    spent, spent_resistance = _spent(given, key, ledger)
    return IgniterModel(
        name=name,
        resistance=resistance,
        growth=growth,
        no_fire=no_fire,
        all_fire=all_fire,
        threshold_low=None if low is None else low * shift[0],
        threshold_nominal=None if middle is None else middle * shift[1],
        threshold_high=None if high is None else high * shift[2],
        threshold_spread=None if nominal is None else nominal.population.spread,
        time_constant=TimeConstants(fast=fast, nominal=_nominal_time(given, nominal, fast, slow), slow=slow),
        energy=given.adiabatic_energy,
        spent=spent,
        spent_resistance=spent_resistance,
    )


def _growth(given: d.Igniter, ambient: Toleranced) -> float:
    """Relative resistance rise at function, a = alpha (T_f - T)."""
    coefficient = given.temperature_coefficient
    if coefficient is None or (coefficient.low == coefficient.high == 0.0):
        return 0.0
    if given.function_temperature is None:
        raise InputError(
            "temperature_coefficient needs function_temperature, or the resistance at function is unknown; "
            "write for example function_temperature = '300 degC', or temperature_coefficient = '0 / K'"
        )
    if not coefficient.is_exact:
        raise InputError("temperature_coefficient is one value; put its spread into bridge_resistance")
    growth = coefficient.nominal * (given.function_temperature.nominal - ambient.nominal)
    if growth <= -1.0:
        raise InputError(
            f"temperature_coefficient {coefficient.nominal:g} / K brings the bridge to zero ohm before it functions"
        )
    return growth


def _statement(given: d.Statement | None, key: str, kind: str, ledger: Ledger) -> StatementModel | None:
    if given is None:
        ledger.note(key, f"{kind}_missing")
        return None

    def number(value: float | None, what: str) -> float:
        if value is not None:
            return value
        ledger.note(f"{key}.{what}", f"{kind}_{what}")
        return float(default_entry(f"{kind}_{what}")["value"])

    duration = ledger.take(given.duration, f"{key}.duration", f"{kind}_duration", "s")
    if duration.low <= 0:
        raise InputError(f"{kind}.duration must be above 0 s; received {duration}")
    return StatementModel(
        current=given.current,
        duration=duration,
        reliability=number(given.reliability, "reliability"),
        confidence=number(given.confidence, "confidence"),
        source=given.source or "",
    )


def _nominal(
    given: d.Igniter,
    no_fire: StatementModel | None,
    all_fire: StatementModel | None,
    resistance: Toleranced,
    growth: float,
) -> BridgeModel | None:
    """Nominal population; checks that all statements about the time constant agree."""
    if no_fire is None or all_fire is None:
        return None
    if no_fire.current.high >= all_fire.current.low:
        raise InputError(
            f"no_fire.current ({no_fire.current}) must lie below all_fire.current ({all_fire.current}); "
            "they are two different statements, check that they are not swapped"
        )
    given_time = given.time_constant
    if given_time is None and given.adiabatic_energy is None and given.response is None:
        given_time = _default_time()
    return population_from_statements(
        no_fire.current.nominal,
        no_fire.duration.nominal,
        no_fire.reliability,
        all_fire.current.nominal,
        all_fire.duration.nominal,
        all_fire.reliability,
        time_constant=None if given_time is None else _positive_time(given_time).nominal,
        energy=None if given.adiabatic_energy is None else given.adiabatic_energy.nominal,
        response=None if given.response is None else [(c.nominal, t.nominal) for c, t in given.response],
        resistance=resistance.nominal,
        growth=growth,
    )


def _positive_time(value: Toleranced) -> Toleranced:
    if value.low <= 0:
        raise InputError(f"time_constant must be above 0 s; received {value}")
    return value


def _default_time() -> Toleranced:
    from ignition.toleranced import parse_toleranced

    return parse_toleranced(default_entry("time_constant")["value"], "s")


def _time_constants(
    given: d.Igniter,
    key: str,
    no_fire: StatementModel | None,
    all_fire: StatementModel | None,
    nominal: BridgeModel | None,
    resistance: Toleranced,
    growth: float,
    ledger: Ledger,
) -> tuple[float | None, float | None]:
    """Fastest and slowest time constant; for an energy these are first bounds, good enough for the durations."""
    if given.time_constant is not None:
        value = _positive_time(given.time_constant)
        return value.low, value.high
    if given.response is not None and nominal is not None:
        threshold = nominal.population.nominal
        quick = time_constant_from_response(
            [c.low for c, _ in given.response], [t.low for _, t in given.response], threshold, growth
        )
        tardy = time_constant_from_response(
            [c.high for c, _ in given.response], [t.high for _, t in given.response], threshold, growth
        )
        return quick.time_constant, tardy.time_constant
    if given.adiabatic_energy is not None:
        energy = given.adiabatic_energy
        fast = None if all_fire is None else _energy_time(energy.low, all_fire.current.high, resistance.high, growth)
        slow = None if no_fire is None else _energy_time(energy.high, no_fire.current.low, resistance.low, growth)
        return fast, slow
    if given.response is not None:
        raise InputError(
            "response needs both no_fire and all_fire, which place the nominal threshold; give them, or time_constant"
        )
    value = ledger.take(None, f"{key}.time_constant", "time_constant", "s")
    return value.low, value.high


def _energy_time(energy: float, threshold: float, resistance: float, growth: float) -> float:
    return float(time_constant_from_energy(energy, threshold, resistance, growth))


def _lowest(no_fire: StatementModel | None, slow: float | None, growth: float) -> float | None:
    if no_fire is None or slow is None:
        return None
    return float(sustained(no_fire.current.low, no_fire.duration.low, slow, growth))


def _lowest_with_energy(
    no_fire: StatementModel, energy: float, start: float, resistance: float, growth: float
) -> float:
    """Lowest threshold where an energy sets the time constant: a lower threshold has a longer one, which lowers it."""
    threshold = start
    for _ in range(200):
        slow = _energy_time(energy, threshold, resistance, growth)
        lower = float(sustained(no_fire.current.low, no_fire.duration.low, slow, growth))
        if abs(lower - threshold) <= 1e-9 * threshold:
            return lower
        threshold = min(lower, threshold)
        if threshold < 0.1 * no_fire.current.low:
            break
    raise InputError(
        f"no_fire.duration ({no_fire.duration}) is too short against adiabatic_energy: the no-fire pulse heats the "
        "bridge no further than the energy does, so no steady no-fire current follows; give time_constant or a longer "
        "statement"
    )


def _highest(all_fire: StatementModel | None, fast: float | None, growth: float) -> float | None:
    if all_fire is None or fast is None:
        return None
    return float(sustained(all_fire.current.high, all_fire.duration.high, fast, growth))


def _shifts(given: d.Igniter, key: str, ambient: Toleranced, ledger: Ledger) -> tuple[float, float, float]:
    """Factors on the lowest, nominal and highest threshold from the ambient temperature."""
    function = given.function_temperature
    if function is None:
        ledger.note(f"{key}.function_temperature", "threshold_not_shifted")
        return 1.0, 1.0, 1.0
    reference = ledger.take(
        given.reference_temperature, f"{key}.reference_temperature", "reference_temperature", "degC"
    )
    if function.low <= max(ambient.high, reference.high):
        raise InputError(
            f"function_temperature ({function}) must lie above the ambient ({ambient}) "
            f"and the reference temperature ({reference})"
        )

    def factors(ambient_temperature: float) -> list[float]:
        return [
            float(shifted_threshold(1.0, ambient_temperature, start, end))
            for start in (reference.low, reference.high)
            for end in (function.low, function.high)
        ]

    middle = float(shifted_threshold(1.0, ambient.nominal, reference.nominal, function.nominal))
    return min(factors(ambient.high)), middle, max(factors(ambient.low))


def _nominal_time(
    given: d.Igniter, nominal: BridgeModel | None, fast: float | None, slow: float | None
) -> float | None:
    if nominal is not None:
        return nominal.time_constant
    if given.time_constant is not None:
        return given.time_constant.nominal
    return None if fast is None or slow is None else math.sqrt(fast * slow)


def _spent(
    given: d.Igniter, key: str, ledger: Ledger
) -> tuple[Literal["open", "short", "resistance"], Toleranced | None]:
    if given.spent is None:
        ledger.note(f"{key}.spent", "spent")
        return "open", None
    if given.spent == "open":
        return "open", None
    if given.spent == "short":
        return "short", Toleranced.exact(_SHORT, "ohm")
    return "resistance", given.spent
