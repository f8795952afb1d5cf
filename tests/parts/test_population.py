"""Populations of thresholds: placed by hand algebra, and statements that determine or contradict each other."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts.igniter import adiabatic_energy, function_time, sustained
from ignition.parts.population import ThresholdPopulation, population_from_statements

STAND: dict[str, Any] = {
    "no_fire_current": 0.25,
    "no_fire_duration": 300.0,
    "no_fire_reliability": 0.999,
    "all_fire_current": 0.9,
    "all_fire_duration": 50e-3,
    "all_fire_reliability": 0.999,
    "resistance": 1.1,
}


def population(**changes: float) -> ThresholdPopulation:
    """A population with some of its values changed."""
    values = {"no_fire": 0.2, "all_fire": 0.8, "no_fire_reliability": 0.999, "all_fire_reliability": 0.999}
    return ThresholdPopulation(**{**values, **changes})


def below(share: ThresholdPopulation, current: float) -> float:
    """Share of the population with a threshold below a current, by the error function."""
    return 0.5 * (1 + math.erf((math.log(current) - share.location) / share.spread / math.sqrt(2.0)))


def test_equal_reliabilities_give_the_geometric_mean() -> None:
    """The nominal threshold of 0.2 and 0.8 A is 0.4 A; the two currents are its quantiles."""
    igniters = population()
    assert igniters.nominal == pytest.approx(0.4, rel=1e-14)
    assert igniters.location == pytest.approx(math.log(0.4), rel=1e-14)
    assert igniters.quantile([0.001, 0.5, 0.999]) == pytest.approx([0.2, 0.4, 0.8], rel=1e-12)


def test_unequal_reliabilities_place_both_points() -> None:
    """At the no-fire current 1 in 10 000 functions, at the all-fire current 95 of 100."""
    igniters = population(no_fire_reliability=0.9999, all_fire_reliability=0.95)
    assert below(igniters, 0.2) == pytest.approx(1e-4, rel=1e-9)
    assert below(igniters, 0.8) == pytest.approx(0.95, rel=1e-12)
    assert igniters.nominal > 0.4


def test_sample_follows_the_population() -> None:
    """Drawn thresholds have its location and spread, the asked shape, and repeat with the seed."""
    igniters = population()
    drawn = igniters.sample(np.random.default_rng(11), (200, 500))
    assert drawn.shape == (200, 500)
    assert np.log(drawn).mean() == pytest.approx(igniters.location, abs=5 * igniters.spread / math.sqrt(1e5))
    assert np.log(drawn).std() == pytest.approx(igniters.spread, rel=0.02)
    assert (drawn == igniters.sample(np.random.default_rng(11), (200, 500))).all()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"no_fire": 0.8}, "no-fire current must be below the all-fire current"),
        ({"no_fire": 0.9}, "were not exchanged"),
        ({"no_fire": 0.0}, "no-fire current must be above 0"),
        ({"all_fire": math.inf}, "all-fire current must be a finite number"),
        ({"no_fire_reliability": 0.5}, "no-fire reliability must be above 0.5 and below 1"),
        ({"all_fire_reliability": 1.0}, "all-fire reliability must be above 0.5 and below 1"),
    ],
)
def test_population_refusals(changes: dict[str, float], message: str) -> None:
    """Values that place no population are refused."""
    with pytest.raises(InputError, match=message):
        population(**changes)


def test_quantile_refuses_certainty() -> None:
    """No current is below or above every igniter."""
    with pytest.raises(InputError, match="probability must be above 0 and below 1"):
        population().quantile([0.5, 1.0])


def test_time_constant_statement() -> None:
    """A stated time constant is taken as it is and both currents go to infinite duration."""
    model = population_from_statements(**STAND, time_constant=12e-3)
    assert model.determined_by == "time constant"
    assert model.time_constant == 12e-3
    assert model.population.no_fire == 0.25
    assert model.population.all_fire == pytest.approx(0.9 * math.sqrt(1 - math.exp(-50 / 12)), rel=1e-14)
    assert model.energy == pytest.approx(model.population.nominal**2 * 1.1 * 12e-3, rel=1e-14)


@pytest.mark.parametrize("growth", [0.0, 0.2])
@pytest.mark.parametrize("tau", [1e-3, 12e-3, 60e-3])
def test_energy_and_response_find_the_time_constant_again(tau: float, growth: float) -> None:
    """What a model of known time constant predicts leads back to that time constant, though the threshold moves."""
    low = float(sustained(0.25, 300.0, tau, growth))
    high = float(sustained(0.9, 50e-3, tau, growth))
    nominal = math.sqrt(low * high)
    energy = float(adiabatic_energy(nominal, 1.1, tau, growth))
    pairs = [(i, float(function_time(i, nominal, tau, growth=growth))) for i in (0.8, 1.5)]
    by_energy = population_from_statements(**STAND, energy=energy, growth=growth)
    assert by_energy.time_constant == pytest.approx(tau, rel=1e-9)
    assert by_energy.population.nominal == pytest.approx(nominal, rel=1e-9)
    assert by_energy.energy == pytest.approx(energy, rel=1e-9)
    assert by_energy.determined_by == "adiabatic energy"
    by_response = population_from_statements(**STAND, response=pairs, growth=growth)
    assert by_response.time_constant == pytest.approx(tau, rel=1e-9)
    assert by_response.determined_by == "response"


def test_tested_units_may_have_another_growth() -> None:
    """The response is read with the growth of the units tested, the statements with that of the population."""
    nominal = math.sqrt(float(sustained(0.25, 300.0, 12e-3, 0.1)) * float(sustained(0.9, 50e-3, 12e-3, 0.1)))
    pairs = [(1.5, float(function_time(1.5, nominal, 12e-3, growth=0.4)))]
    model = population_from_statements(**STAND, response=pairs, growth=0.1, response_growth=0.4)
    assert model.time_constant == pytest.approx(12e-3, rel=1e-9)
    assert model.population.nominal == pytest.approx(nominal, rel=1e-9)


def test_statements_that_agree_are_accepted() -> None:
    """Within a tenth the most direct statement is used."""
    energy = population_from_statements(**STAND, time_constant=12e-3).energy
    model = population_from_statements(**STAND, time_constant=12e-3, energy=1.05 * energy)
    assert (model.determined_by, model.time_constant) == ("time constant", 12e-3)


def test_statements_that_contradict_each_other() -> None:
    """Time constant and energy more than a tenth apart by E0 = I0^2 R tau are refused with both values."""
    energy = population_from_statements(**STAND, time_constant=24e-3).energy
    message = r"time constant gives tau = 0.012 s and adiabatic energy gives tau = 0.024 s"
    with pytest.raises(InputError, match=message):
        population_from_statements(**STAND, time_constant=12e-3, energy=energy)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({}, "received no time constant, adiabatic energy or response"),
        ({"energy": 100.0}, "adiabatic energy 100 J fits no time constant"),
        ({"response": [(0.2, 1e-3)]}, "response down to 0.2 A fits no time constant"),
        ({"response": [0.9, 1e-3]}, "pairs of current and function time"),
        ({"time_constant": 12.0}, "too long for so short an all-fire pulse"),
        ({"time_constant": 1.0, "no_fire_current": 1.0}, "1 A for 300 s gives 1 A and all-fire 0.9 A for 0.05 s"),
        ({"time_constant": 1.0, "no_fire_current": 0.0}, "no-fire current must be above 0"),
        ({"time_constant": 1.0, "resistance": 0.0}, "resistance must be above 0"),
        ({"time_constant": 1e-3, "no_fire_reliability": 0.4}, "no-fire reliability must be above 0.5"),
    ],
)
def test_statement_refusals(changes: dict[str, Any], message: str) -> None:
    """Statements that describe no bridge are refused with the reason."""
    with pytest.raises(InputError, match=message):
        population_from_statements(**{**STAND, **changes})


def test_ambiguous_response_is_refused() -> None:
    """A current near the threshold can fit a fast and a slow bridge; neither is guessed."""
    with pytest.raises(InputError, match="fits more than one time constant"):
        population_from_statements(**STAND, response=[(0.46, 95e-3)])
