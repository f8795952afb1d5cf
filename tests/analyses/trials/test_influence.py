"""Shares of variance against hand algebra."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ignition.analyses.trials.influence import influence
from ignition.circuit.examples import load_example
from ignition.errors import InputError
from tests.analyses.firing.firing_cases import firing_circuit


def test_two_inputs_share_by_their_variances() -> None:
    """Far above the threshold t = tau (I0/I)^2: ln t is a sum, so each share is a ratio of variances."""
    circuit = firing_circuit(
        voltage="6 V", resistance="0 ohm", mosfet="1 uohm", bridge="0.1 ohm", arm_switch="0.1 ohm .. 0.3 ohm"
    )
    spread = circuit.igniters["match"].threshold_spread
    assert spread is not None
    resistance = 0.1 + 0.1 + 0.2 * (np.arange(200_000) + 0.5) / 200_000
    variance = np.array([(2 * spread) ** 2, np.var(2 * np.log(resistance))])
    expected = variance / variance.sum()
    result = influence(circuit, samples=8192, seed=1)
    found = {i.group: i for i in result.inputs}
    for group, share in zip(("threshold of match", "arm switch"), expected, strict=True):
        assert found[group].first_order == pytest.approx(share, abs=0.02)
        assert found[group].total == pytest.approx(share, abs=0.02)
    assert len(found) == 2
    assert [i.total for i in result.inputs] == sorted((i.total for i in result.inputs), reverse=True)


def test_one_input_has_it_all() -> None:
    """Where the threshold alone varies, all of the variance is its own."""
    (only,) = influence(firing_circuit(), samples=64).inputs
    assert (only.group, only.first_order, only.total) == ("threshold of match", 1.0, 1.0)


def test_igniters_of_one_type_are_one_group() -> None:
    """The last of four equal igniters: their thresholds count together, as one group."""
    result = influence(firing_circuit([["match"]] * 4, bridge="3 ohm .. 4 ohm"), samples=256)
    assert [i.group for i in result.inputs].count("threshold of match") == 1


def test_margin_where_some_do_not_function() -> None:
    """Without a latest function time in every sample there is a reason; the margin still has an answer."""
    circuit = firing_circuit(voltage="3.2 V .. 5 V", bridge="5 ohm", pulse="50 ms")
    refused = influence(circuit, samples=1024)
    assert refused.inputs == () and refused.reason is not None and "ask for 'margin'" in refused.reason
    answered = influence(circuit, quantity="margin", samples=1024)
    assert answered.reason is None
    assert math.isclose(sum(i.first_order for i in answered.inputs), 1.0, abs_tol=0.3)


def test_same_seed_same_shares() -> None:
    """One seed gives one answer."""
    circuit = load_example("tether-cutter")
    assert influence(circuit, samples=256, seed=3) == influence(circuit, samples=256, seed=3)


def test_reason_without_statements() -> None:
    """An igniter without a no-fire statement has no spread to share out."""
    result = influence(load_example("unknown-igniter"), samples=64)
    assert result.reason is not None and "no no-fire statement" in result.reason


@pytest.mark.parametrize("bad", [63, 100, 2**17])
def test_samples_are_a_power_of_two(bad: int) -> None:
    """A Sobol sequence keeps its balance at powers of two only."""
    with pytest.raises(InputError, match="samples: a power of two"):
        influence(firing_circuit(), samples=bad)


def test_quantity_is_one_of_two() -> None:
    """Another quantity is named with the two that there are."""
    with pytest.raises(InputError, match="quantity: one of 'latest function time', 'margin'"):
        influence(firing_circuit(), quantity="speed")
