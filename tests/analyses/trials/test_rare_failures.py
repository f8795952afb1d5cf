"""Subset simulation against closed forms down to 1e-7 and against plain trials near 1e-3."""

from __future__ import annotations

import math
from statistics import NormalDist

import pytest

from ignition.analyses.trials.rare_failures import RareFailure, rare_failure
from ignition.analyses.trials.trials import firing_trials
from ignition.binomial import clopper_pearson
from ignition.circuit.examples import load_example
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from tests.analyses.firing.firing_cases import firing_circuit

TAU = 20e-3


def circuit_of(probability: float, igniters: int) -> Circuit:
    """Igniters in parallel on an ideal source, each failing its 50 ms pulse with a chosen probability."""
    base = firing_circuit().igniters["match"]
    assert base.threshold_nominal is not None and base.threshold_spread is not None
    deviate = -NormalDist().inv_cdf(probability)
    current = base.threshold_nominal * math.exp(deviate * base.threshold_spread) / math.sqrt(-math.expm1(-50e-3 / TAU))
    bridge = f"{3.5 / current - 1e-6!r} ohm"
    return firing_circuit(
        [["match"]] * igniters, voltage="3.5 V", resistance="0 ohm", bridge=bridge, mosfet="1 uohm", pulse="50 ms"
    )


@pytest.mark.parametrize(("probability", "igniters"), [(1e-3, 1), (1e-6, 1), (1e-6, 4), (1e-7, 2)])
def test_closed_form_of_independent_igniters(probability: float, igniters: int) -> None:
    """Not all of n independent igniters function with probability 1 - (1 - p)^n."""
    result = rare_failure(circuit_of(probability, igniters), seed=2)
    expected = -math.expm1(igniters * math.log1p(-probability))
    both = result.interval(0.999)
    assert both is not None and both.low <= expected <= both.high, f"{result.probability} against {expected}"
    assert result.variation is not None and result.variation < 0.2
    assert result.firings < 500_000


def test_brute_force_near_one_in_a_thousand() -> None:
    """With battery, leads and bridges spread as well, the interval meets that of a million plain trials."""
    circuit = firing_circuit(
        [["match"]] * 3,
        voltage="4.7 V .. 6 V",
        resistance="0.05 ohm .. 0.2 ohm",
        bridge="4 ohm .. 5 ohm",
        lead="0.1 ohm .. 0.3 ohm",
        heating='time_constant = "10 ms .. 20 ms .. 30 ms"',
        pulse="100 ms",
    )
    plain = firing_trials(circuit, 300_000, seed=1)
    assert 1e-4 < plain.failures / plain.trials < 1e-2
    counted = clopper_pearson(plain.failures, plain.trials, 0.999)
    both = rare_failure(circuit, seed=3).interval(0.999)
    assert both is not None and both.low <= counted.high and counted.low <= both.high


def test_same_seed_same_runs() -> None:
    """One seed gives one answer; another seed another."""
    circuit = circuit_of(1e-4, 1)
    first = rare_failure(circuit, samples=1000, runs=3, seed=5)
    assert first == rare_failure(circuit, samples=1000, runs=3, seed=5)
    assert first.runs != rare_failure(circuit, samples=1000, runs=3, seed=6).runs


def test_common_failure_is_simple_counting() -> None:
    """A failure of one in three needs no level: the runs are plain trials."""
    result = rare_failure(circuit_of(1 / 3, 1), samples=2000, runs=5)
    assert result.firings == 10_000
    assert result.probability == pytest.approx(1 / 3, abs=0.03)


def test_no_failure_is_a_bound() -> None:
    """Where nothing fails the interval still reaches up to the floor."""
    result = RareFailure(
        circuit="x", probability=0.0, runs=(0.0, 0.0, 0.0), floor=1e-12, samples=200, firings=1, seed=0, reason=None
    )
    both = result.interval()
    assert both is not None and (both.low, both.high) == (0.0, 1e-12)
    assert result.variation is None


@pytest.mark.parametrize(
    ("circuit", "reason"),
    [
        (lambda: firing_circuit([["match", "match"]]), "igniters in series"),
        (lambda: firing_circuit([["match"], ["match"]], spent="10 ohm", lead="1 ohm"), "may stay conductive"),
        (lambda: load_example("unknown-igniter"), "no no-fire statement"),
    ],
)
def test_refused_where_it_would_mislead(circuit: object, reason: str) -> None:
    """Where order decides, or a statement is missing, there is a reason in place of a number."""
    result = rare_failure(circuit())  # type: ignore[operator]
    assert result.probability is None and result.interval() is None
    assert result.reason is not None and reason in result.reason


@pytest.mark.parametrize(("name", "bad"), [("samples", 10), ("runs", 2), ("seed", -1)])
def test_impossible_numbers_are_refused(name: str, bad: int) -> None:
    """Samples, runs and seed have a range."""
    with pytest.raises(InputError, match=f"{name}: a whole number"):
        rare_failure(firing_circuit(), **{name: bad})  # type: ignore[arg-type]
