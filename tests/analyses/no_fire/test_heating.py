"""Heating by a test current: steady square law, pulse by the bridge law, its inverse, and the limit's basis."""

from __future__ import annotations

import math

import pytest

from ignition.analyses.no_fire.heating import current_limit, heating, longest_pulse
from ignition.circuit.file import parse_circuit
from ignition.parts.igniter import thermal_fraction
from tests.analyses.sense_circuits import bench, text

NAME = "line.igniter 1.1"


def test_steady_current_by_hand() -> None:
    """A tenth of the no-fire current is a hundredth of the way to function."""
    circuit = bench()
    threshold = circuit.igniters["match"].threshold_low
    assert threshold == pytest.approx(0.2, rel=1e-9)
    found = heating(circuit, circuit.channels[0], {NAME: 0.02}, None)
    assert found.thermal_fraction == pytest.approx(0.01, rel=1e-9)
    assert found.no_fire_margin == pytest.approx(10.0, rel=1e-9)
    assert found.energy is None


def test_pulse_by_hand() -> None:
    """A pulse of 1 ms at 2 A in 10 ms: (2 / 0.2)^2 (1 - exp(-0.1)); energy in the highest bridge resistance."""
    circuit = bench()
    found = heating(circuit, circuit.channels[0], {NAME: 2.0}, 1e-3)
    assert found.thermal_fraction == pytest.approx(100.0 * (1.0 - math.exp(-0.1)), rel=1e-9)
    assert found.energy == pytest.approx(4.0 * 1.3 * 1e-3, rel=1e-9)


@pytest.mark.parametrize("current", [0.05, 0.5, 3.0, 7.0])
@pytest.mark.parametrize("fraction", [0.001, 0.01, 0.05])
def test_longest_pulse_is_the_inverse(current: float, fraction: float) -> None:
    """The longest pulse put back into the bridge law gives the thermal fraction asked for."""
    circuit = bench()
    length, reason = longest_pulse(circuit, circuit.channels[0], {NAME: current}, fraction)
    assert reason is None and length is not None
    again = float(thermal_fraction(current, circuit.igniters["match"].threshold_low or 0.0, 10e-3, length))
    assert again == pytest.approx(fraction, rel=1e-9)


def test_weak_current_has_no_longest_pulse() -> None:
    """A current below a tenth of no-fire never reaches a hundredth."""
    circuit = bench()
    length, reason = longest_pulse(circuit, circuit.channels[0], {NAME: 0.01})
    assert length is None
    assert "no length" in (reason or "")


def test_limit_is_a_tenth_of_no_fire() -> None:
    """The limit names its basis."""
    circuit = bench()
    limit, basis = current_limit(circuit, circuit.channels[0])
    assert limit == pytest.approx(0.02, rel=1e-9)
    assert "0.1 of the lowest no-fire current of 'match'" in basis


def test_own_limit_of_the_file_counts() -> None:
    """A stricter limit of the circuit file wins, and is named."""
    own = (
        '[[rules.limit]]\nname = "club"\nkind = "monitor current at most"\ncurrent = "5 mA"\n'
        'source = "club rules"\ndate = "2026-01-01"\n'
    )
    circuit = parse_circuit(text() + own, "bench.toml")
    limit, basis = current_limit(circuit, circuit.channels[0])
    assert limit == pytest.approx(5e-3)
    assert "'club'" in basis


def test_unknown_no_fire_has_no_limit() -> None:
    """Without a no-fire current there is no limit and no fraction, and the reason names the igniter."""
    lines = [line for line in text().splitlines() if not line.startswith("no_fire")]
    circuit = parse_circuit("\n".join(lines), "bench.toml")
    limit, basis = current_limit(circuit, circuit.channels[0])
    assert limit is None and "'match'" in basis
    found = heating(circuit, circuit.channels[0], {NAME: 1.0}, 1e-3)
    assert found.thermal_fraction is None and found.no_fire_margin is None and found.reason == basis
    assert longest_pulse(circuit, circuit.channels[0], {NAME: 1.0}) == (None, basis)
