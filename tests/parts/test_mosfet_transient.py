"""The MOSFET in time: published thermal networks, the drain edge against its own equation, limits and energy."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts import mosfet_transient as transient

Published = Callable[[str], dict[str, Any]]

NETWORKS = ("si4862dy", "si4890dy", "sihf12n60e", "si2323ds")


def stages(entry: dict[str, Any]) -> tuple[Any, Any]:
    """Resistances and time constants of a published Foster network."""
    resistances = np.array(entry["resistances"])
    return resistances, resistances * np.array(entry["capacitances"])


@pytest.mark.parametrize("part", NETWORKS)
def test_thermal_impedance_of_published_networks(published: Published, part: str) -> None:
    """Impedance from 1 ms to 100 s and the sum of the resistances."""
    entry = published(f"foster.{part}")
    resistances, constants = stages(entry)
    got = transient.thermal_impedance(entry["times"], resistances, constants)
    assert got == pytest.approx(entry["value"], rel=entry["rel_tol"]), entry["source"]
    total = transient.thermal_impedance(math.inf, resistances, constants)
    assert float(total) == pytest.approx(entry["total"], abs=1e-4), entry["source"]


@pytest.mark.parametrize("part", NETWORKS[:2])
def test_foster_and_cauer_networks_agree_loosely(published: Published, part: str) -> None:
    """The maker's separate Cauer fit is within 2 % from 1 s on and 15 % at 1 ms."""
    entry = published(f"foster.{part}")
    ratio = transient.thermal_impedance(entry["times"], *stages(entry)) / np.array(entry["cauer"])
    assert (np.abs(ratio - 1) < 0.15).all(), entry["source"]
    assert (np.abs(ratio[3:] - 1) < 0.02).all(), entry["source"]


def test_single_pulse_limit(published: Published) -> None:
    """The power that takes the junction from the case to its limit in 10 ms."""
    entry = published("mosfet.pulse_limit")
    network = stages(published(f"foster.{entry['network']}"))
    end = transient.junction_temperature(entry["case"], entry["value"], entry["time"], *network)
    slope = float(transient.thermal_impedance(entry["time"], *network))
    assert float(end) == pytest.approx(entry["max_junction"], abs=entry["abs_tol"] * slope), entry["source"]


def test_thermal_impedance_properties() -> None:
    """Zero at once, rising, short pulses rise by t times sum R / tau; batches of networks broadcast."""
    resistances, constants = [0.6, 4.0, 55.0], [0.4e-3, 12e-3, 20.0]
    times = np.geomspace(1e-9, 1e3, 60)
    rising = transient.thermal_impedance(times, resistances, constants)
    assert float(transient.thermal_impedance(0.0, resistances, constants)) == 0.0
    assert (np.diff(rising) > 0).all()
    slope = sum(r / c for r, c in zip(resistances, constants, strict=True))
    assert rising[0] == pytest.approx(1e-9 * slope, rel=1e-5)
    batch = transient.thermal_impedance(times, np.array([resistances, resistances])[:, np.newaxis, :], constants)
    assert batch.shape == (2, 60)
    loop = [float(transient.thermal_impedance(t, resistances, constants)) for t in times]
    assert batch[1] == pytest.approx(loop, rel=1e-14)
    assert float(transient.junction_temperature(40.0, 0.0, 1.0, resistances, constants)) == 40.0


def test_drain_edge_value(published: Published) -> None:
    """10 kohm, 100 and 900 pF, 12 V in 12 us."""
    entry = published("mosfet.dvdt")  # memory: the closed form; test_drain_edge_solves_its_equation is the proof
    got = transient.dvdt_gate_voltage(
        entry["gate_resistance"],
        entry["gate_drain_capacitance"],
        entry["gate_source_capacitance"],
        entry["supply"],
        entry["rise_time"],
    )
    assert float(got) == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry["source"]
    fast = transient.dvdt_gate_voltage(1e4, 100e-12, 900e-12, entry["supply"], 0.0)
    assert float(fast) == pytest.approx(entry["divider"], rel=1e-12), entry["source"]


@pytest.mark.parametrize("rise_time", [0.3e-6, 12e-6, 200e-6])
def test_drain_edge_solves_its_equation(rise_time: float) -> None:
    """The closed form equals small steps through (Cgd + Cgs) dV/dt = Cgd s - V / R."""
    resistance, coupling, rest, supply = 10e3, 100e-12, 900e-12, 12.6
    steps = 20000
    step, volts, slope = rise_time / steps, 0.0, supply / rise_time
    for _ in range(steps):
        middle = volts + 0.5 * step * (coupling * slope - volts / resistance) / (coupling + rest)
        volts += step * (coupling * slope - middle / resistance) / (coupling + rest)
    got = transient.dvdt_gate_voltage(resistance, coupling, rest, supply, rise_time)
    assert float(got) == pytest.approx(volts, rel=1e-6)


def test_drain_edge_limits() -> None:
    """The result stays below both limits and meets each of them; open, shorted and instant cases are the limits."""
    edge = np.geomspace(1e-12, 1.0, 80)
    got = transient.dvdt_gate_voltage(1e4, 100e-12, 900e-12, 12.6, edge)
    slow = 1e4 * 100e-12 * 12.6 / edge
    assert (got <= np.minimum(1.26, slow) * (1 + 1e-12)).all() and (np.diff(got) <= 0).all()
    assert got[0] == pytest.approx(1.26, rel=1e-6) and got[-1] == pytest.approx(slow[-1], rel=1e-9)
    assert float(transient.dvdt_gate_voltage(math.inf, 100e-12, 900e-12, 12.6, 1.0)) == pytest.approx(1.26)
    assert float(transient.dvdt_gate_voltage(0.0, 100e-12, 900e-12, 12.6, 1e-6)) == 0.0
    assert float(transient.dvdt_gate_voltage(0.0, 100e-12, 900e-12, 12.6, 0.0)) == pytest.approx(1.26)
    rising = transient.dvdt_gate_voltage(np.geomspace(1.0, 1e9, 50), 100e-12, 900e-12, 12.6, 1e-6)
    assert (np.diff(rising) >= 0).all()


def test_turn_on_delay() -> None:
    """After the delay the charging curve stands at the target; unreachable targets take for ever, zero takes none."""
    constant = float(transient.gate_time_constant(1e3, 2e-9))
    assert constant == pytest.approx(2e-6)
    delay = float(transient.turn_on_delay(3.3, 2.5, 1e3, 2e-9))
    assert 3.3 * (1 - math.exp(-delay / constant)) == pytest.approx(2.5, rel=1e-12)
    assert transient.turn_on_delay([3.3, 2.0, 3.3, -1.0, 0.0], [3.3, 2.5, 0.0, 0.5, -0.2], 1e3, 2e-9).tolist() == [
        math.inf,
        math.inf,
        0.0,
        math.inf,
        0.0,
    ]


def test_avalanche_energy() -> None:
    """It equals the integral of breakdown voltage times the falling current, and the stored energy without battery."""
    inductance, current, breakdown, supply = 10e-6, 5.0, 30.0, 8.4
    fall = inductance * current / (breakdown - supply)
    energy = transient.avalanche_energy(inductance, current, breakdown, supply)
    assert float(energy) == pytest.approx(breakdown * current * fall / 2, rel=1e-13)
    assert float(transient.avalanche_energy(inductance, current, breakdown, 0.0)) == pytest.approx(125e-6, rel=1e-13)
    assert float(transient.avalanche_energy(0.0, current, breakdown, supply)) == 0.0


def test_published_avalanche_energies(published: Published) -> None:
    """Both conventions of data sheets: the line's energy alone, and with the supply's share; the larger is ours."""
    table = published("hold_off.avalanche")
    inductance, current = np.array(table["inductance"]), np.array(table["current"])
    assert 0.5 * inductance * current**2 == pytest.approx(table["stored"], rel=table["rel_tol"])
    found = transient.avalanche_energy(inductance, current, table["breakdown"], table["supply"])
    assert found == pytest.approx(table["value"], rel=table["rel_tol"])
    assert (found >= np.array(table["printed"]) * 0.999).all()


def test_published_time_at_the_plateau(published: Published) -> None:
    """36 nC at (15 V - 9.9 V) / R: 100 ns and 112 ns; the charging of the input capacitance is left out by none."""
    table = published("hold_off.miller")
    found = transient.turn_on_delay(table["drive"], table["plateau"], table["resistance"], 0.0, table["charge"])
    assert found == pytest.approx(table["value"], rel=table["rel_tol"])


def test_gate_as_a_time_constant() -> None:
    """From 0 to 90 % in ln 10 time constants (published: electronics.stackexchange.com/q/20510)."""
    assert float(transient.turn_on_delay(10.0, 9.0, 1e3, 1e-9)) == pytest.approx(2.302585e-6, rel=1e-6)


def test_published_parts_as_dividers(published: Published) -> None:
    """12 V through Crss and Ciss of five parts: without a resistor, and at 1 V/us with 10 kohm and 100 kohm."""
    table = published("hold_off.capacitive_divider")
    crss, ciss = np.array(table["reverse_transfer_capacitance"]), np.array(table["input_capacitance"])
    for resistance, rise_time, key in (
        (math.inf, 1e-9, "divider"),
        (10e3, 12e-6, "with_10k"),
        (100e3, 12e-6, "with_100k"),
    ):
        found = transient.dvdt_gate_voltage(resistance, crss, ciss - crss, 12.0, rise_time)
        assert found == pytest.approx(table[key], abs=table["abs_tol"]), key


def test_avalanche_rating_falls_with_temperature() -> None:
    """Whole up to 25 degC, none from the highest junction temperature on, straight between."""
    found = transient.avalanche_rating(40e-3, [-40.0, 25.0, 50.0, 150.0, 175.0], 150.0)
    assert found.tolist() == pytest.approx([40e-3, 40e-3, 32e-3, 0.0, 0.0], abs=1e-15)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: transient.gate_time_constant(-1.0, 1e-9), "gate resistance must be 0 or more"),
        (lambda: transient.turn_on_delay(math.nan, 2.5, 1e3, 1e-9), "drive must be a finite number"),
        (lambda: transient.dvdt_gate_voltage(1e4, 1e-10, 0.0, 12.0, 1e-6), "gate-source capacitance must be above 0"),
        (lambda: transient.dvdt_gate_voltage(1e4, 1e-10, 1e-9, 12.0, -1.0), "rise time must be 0 or more"),
        (lambda: transient.thermal_impedance(1.0, [1.0, 2.0], [1.0]), "one time constant for each resistance"),
        (lambda: transient.thermal_impedance(1.0, 1.0, 1.0), "one time constant for each resistance"),
        (lambda: transient.thermal_impedance(1.0, [1.0], [0.0]), "thermal time constants must be above 0"),
        (lambda: transient.junction_temperature(25.0, -1.0, 1.0, [1.0], [1.0]), "power must be 0 or more"),
        (lambda: transient.avalanche_energy(1e-6, 1.0, 8.4, 8.4), "breakdown voltage must exceed the supply"),
        (lambda: transient.avalanche_rating(1e-3, 20.0, 25.0), "max junction must be above 25 degC"),
        (lambda: transient.avalanche_rating(-1e-3, 20.0, 150.0), "avalanche energy must be 0 or more"),
    ],
)
def test_refusals(call: Callable[[], object], message: str) -> None:
    """Each unusable argument is refused by name."""
    with pytest.raises(InputError, match=message):
        call()
