"""Capacitor bank: published energies, the march as a second way, sampled bounds, droop by hand, recharge."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.analyses.firing.capacitor_bank import discharge
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.parts.capacitor import bridge_peak_time, bridge_thermal_rise, discharge_energy
from tests.analyses.firing.firing_cases import firing_circuit

Published = Callable[[str], dict[str, Any]]


def bank(
    *clusters: list[list[str]], capacitance: str = "1000 uF", series: str = "0.199 ohm", recharge: str = "", **more: Any
) -> Circuit:
    """A circuit that fires from a bank."""
    extra = f', recharge_resistance = "{recharge}"' if recharge else ""
    table = f'capacitor_bank = {{ capacitance = "{capacitance}", series_resistance = "{series}"{extra} }}'
    return firing_circuit(*clusters, battery=table, **({"voltage": "12 V"} | more))


def test_published_energy(published: Published) -> None:
    """Energy into 1.5 ohm behind 0.2 ohm, held and delivered by 5 ms."""
    entry = published("capacitor.energy")
    result = discharge(bank(bridge="1.5 ohm", pulse="5 ms"))
    at = list(entry["time"]).index(5e-3)
    energy = result.channels[0].igniters[0].energy
    assert result.stored.nominal == pytest.approx(entry["held"], abs=1e-12), entry["source"]
    for value in (energy.low, energy.nominal, energy.high):
        assert value == pytest.approx(entry["value"][at], abs=entry["abs_tol"]), entry["source"]


def test_published_rise(published: Published) -> None:
    """Highest temperature of the published bridge: the thermal fraction times E0/C."""
    entry = published("capacitor.bridge")
    circuit = bank(
        voltage=f"{entry['voltage']} V",
        bridge=f"{entry['resistance']} ohm",
        series=f"{entry['series_resistance'] - 1e-3} ohm",
        heating=f'time_constant = "{entry["time_constant"] * 1e3} ms"',
    )
    fraction = discharge(circuit).channels[0].igniters[0].peak_fraction.nominal
    threshold = circuit.igniters["match"].threshold_nominal
    assert fraction is not None and threshold is not None
    heat = threshold**2 * entry["resistance"] * entry["time_constant"]
    place = bridge_peak_time(
        entry["capacitance"], entry["resistance"], entry["series_resistance"], entry["time_constant"]
    )
    rise = bridge_thermal_rise(
        entry["capacitance"], entry["voltage"], entry["resistance"], entry["series_resistance"],
        entry["heat_capacity"], entry["time_constant"], place,
    )  # fmt: skip
    assert fraction * heat / entry["heat_capacity"] == pytest.approx(float(rise), rel=1e-9), entry["source"]
    assert float(rise) == pytest.approx(1860.787, abs=0.01), entry["source"]


def test_march_functions_where_the_closed_form_reaches_one() -> None:
    """The event march's function time is the instant at which the closed thermal fraction is 1."""
    circuit = bank(capacitance="330 uF")
    igniter = discharge(circuit).channels[0].igniters[0]
    model = circuit.igniters["match"]
    assert igniter.function_time is not None and model.threshold_nominal is not None
    heat = model.threshold_nominal**2 * 1.0 * 20e-3
    reached = bridge_thermal_rise(330e-6, 12.0, 1.0, 0.2, heat, 20e-3, igniter.function_time)
    assert float(reached) == pytest.approx(1.0, rel=1e-6)


def test_march_and_closed_form_agree_on_who_does_not_function() -> None:
    """A bank too small: the highest fraction is below 1 and the march sees no function; a little more and it does."""
    for capacitance, functions in (("90 uF", False), ("140 uF", True)):
        igniter = discharge(bank(capacitance=capacitance, bridge="1 ohm")).channels[0].igniters[0]
        assert igniter.peak_fraction.nominal is not None
        assert (igniter.peak_fraction.nominal >= 1.0) is functions
        assert (igniter.function_time is not None) is functions


def test_a_growing_bridge_has_no_closed_bound() -> None:
    """Energy and fraction have a reason in place of bounds, also where only the ambient makes it grow."""
    for coefficient in ("0.001 / K", "-0.001 / K", "0 / K .. 0 / K .. 0.001 / K"):
        lines = f'temperature_coefficient = "{coefficient}"\nfunction_temperature = "300 degC"'
        igniter = discharge(bank(igniter=lines)).channels[0].igniters[0]
        for spread in (igniter.energy, igniter.peak_fraction):
            assert spread.low is None and spread.high is None and "resistance grows" in (spread.reason or "")
        assert igniter.energy.nominal is not None and igniter.function_time is not None
        assert (igniter.peak_fraction.nominal is None) == (" .. " not in coefficient)


def test_a_falling_bridge_leaves_less_for_the_next_channel() -> None:
    """The bank runs down through the resistance at function, 1 - 0.001 x 280 = 0.72 ohm: exp(-1 ms/((0.2 + 0.72) C))."""
    lines = 'temperature_coefficient = "-0.001 / K"\nfunction_temperature = "300 degC"'
    two = discharge(bank([["match"]], [["match"]], pulse="1 ms", starts=("0 s", "1 s"), igniter=lines)).channels
    assert two[1].voltage.low == pytest.approx(12.0 * math.exp(-1.0 / 0.92), rel=1e-9)


def test_sampled_parts_keep_to_the_bounds() -> None:
    """Energy and highest fraction of 20000 sampled parts lie inside the bounds and come near them."""
    circuit = bank(
        capacitance="800 uF .. 1200 uF", series="0.1 ohm .. 0.6 ohm", bridge="0.2 ohm .. 2 ohm", voltage="10 V .. 12 V",
        heating='time_constant = "5 ms .. 20 ms"', pulse="1 ms .. 30 ms",
    )  # fmt: skip
    igniter = discharge(circuit).channels[0].igniters[0]
    model = circuit.igniters["match"]
    rng = np.random.default_rng(1)

    def sample(low: float, high: float) -> np.ndarray:
        return np.concatenate([rng.uniform(low, high, 18000), rng.choice([low, high], 2000)])

    rng_parts = [(800e-6, 1200e-6), (10.0, 12.0), (0.2, 2.0), (0.101, 0.601), (1e-3, 30e-3)]
    c, v, r, s, t = (rng.permutation(sample(*p)) for p in rng_parts)
    energy = discharge_energy(c, v, r, s, t)
    assert igniter.energy.low is not None and igniter.energy.high is not None
    assert igniter.energy.low * (1 - 1e-9) <= energy.min() < 1.5 * igniter.energy.low
    assert 0.9 * igniter.energy.high < energy.max() <= igniter.energy.high * (1 + 1e-9)
    assert model.threshold_low is not None and model.threshold_high is not None
    threshold, tau = rng.uniform(model.threshold_low, model.threshold_high, 20000), sample(5e-3, 20e-3)
    time = np.minimum(bridge_peak_time(c, r, s, tau), t)
    fraction = bridge_thermal_rise(c, v, r, s, threshold**2 * r * tau, tau, time)
    assert igniter.peak_fraction.high is not None and fraction.max() <= igniter.peak_fraction.high * (1 + 1e-9)
    if igniter.peak_fraction.low is not None:
        assert fraction.min() >= igniter.peak_fraction.low * (1 - 1e-9)


@pytest.mark.parametrize("pulse", ["50 ms", "0.2 ms"])
def test_least_fraction_is_a_bound(pulse: str) -> None:
    """A pulse past the peak, or short against the discharge: the least fraction exists and no corner is below it."""
    circuit = bank(capacitance="800 uF .. 1200 uF", bridge="0.8 ohm .. 1.2 ohm", voltage="10 V .. 12 V", pulse=pulse)
    found = discharge(circuit).channels[0].igniters[0].peak_fraction
    model = circuit.igniters["match"]
    assert found.low is not None and model.threshold_high is not None
    c, v, r = np.meshgrid([800e-6, 1e-3, 1200e-6], [10.0, 11.0, 12.0], np.linspace(0.8, 1.2, 9))
    time = np.minimum(bridge_peak_time(c, r, 0.2, 20e-3), circuit.channels[0].pulse.low)
    fraction = bridge_thermal_rise(c, v, r, 0.2, model.threshold_high**2 * r * 20e-3, 20e-3, time)
    assert found.low == pytest.approx(fraction.min(), rel=1e-9)


def test_energy_has_its_maximum_inside() -> None:
    """For a short pulse the bridge that takes most energy is neither the least nor the greatest: the bound finds it."""
    circuit = bank(bridge="0.01 ohm .. 20 ohm", pulse="2 ms")
    r = np.geomspace(0.01, 20.0, 20001)
    energy = discharge_energy(1000e-6, 12.0, r, 0.2, 2e-3)
    assert 0 < int(np.argmax(energy)) < 20000
    assert discharge(circuit).channels[0].igniters[0].energy.high == pytest.approx(energy.max(), rel=1e-7)


def test_droop_by_hand() -> None:
    """A bridge that opens after t leaves V exp(-t/(R C)) for the next channel."""
    result = discharge(bank([["match"]], [["match"]], starts=("0 s", "1 s")))
    first, second = result.channels
    time = first.igniters[0].function_time
    assert time is not None and first.droop.nominal == pytest.approx(0.0, abs=1e-12)
    assert second.voltage.nominal == pytest.approx(12.0 * math.exp(-time / (1.2 * 1e-3)), rel=1e-6)
    worst = 12.0 * math.exp(-0.5 / (1.2 * 1e-3))
    assert second.voltage.low == pytest.approx(worst, rel=1e-9)


def test_recharging_lifts_the_later_channel() -> None:
    """Between two channels the bank recharges: V (1 - exp(-gap/(R C))) from empty, a bound without the bridge's help.

    Two dividers, each at most 12 V over its upper resistor, take their current through 400.1 ohm.
    """
    circuit = bank([["match"]], [["match"]], starts=("0 s", "1 s"), recharge="400 ohm")
    result = discharge(circuit)
    full = 12.0 * (1.0 - 400.1 * 2.0 / circuit.channels[0].upper.low)
    expected = full * -math.expm1(-0.5 / (400.1 * 1e-3))
    assert result.channels[1].voltage.low == pytest.approx(expected, rel=1e-6)
    assert result.recharge.nominal == pytest.approx(400.1 * 1e-3 * math.log(20.0), rel=1e-9)


def test_recharge_time_is_missing_without_its_resistor() -> None:
    """No recharge resistance: the reason stands in place of the time."""
    result = discharge(bank())
    assert result.recharge.nominal is None and result.recharge.reason is not None


def test_shared_bank_gives_nominal_numbers_and_a_reason() -> None:
    """Two bridges on one bank: equal nominal shares of the energy of half their resistance, no closed bounds."""
    pair = discharge(bank([["match"], ["match"]])).channels[0].igniters
    alone = float(discharge_energy(1000e-6, 12.0, 0.5, 0.2, 0.5))
    assert [i.energy.nominal for i in pair] == pytest.approx([alone / 2, alone / 2], rel=1e-9)
    assert pair[0].energy.low is None and "several igniters share" in (pair[0].energy.reason or "")


def test_refused_without_a_bank() -> None:
    """A battery alone is another question."""
    with pytest.raises(InputError, match="no capacitor bank"):
        discharge(firing_circuit())
