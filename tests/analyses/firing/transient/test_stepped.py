"""Tests of the sub-stepped firing march: scipy, closed forms, growth, polarisation, capacitor bank."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from ignition.analyses.firing.transient.inputs import CapacitorBank, Polarisation
from ignition.analyses.firing.transient.ladder import ClusterTree
from ignition.analyses.firing.transient.march import MarchResult, march

Published = Callable[[str], dict[str, Any]]
ONE = ClusterTree.parallel(1)


class Reference:
    """The same circuit for one trial, written apart: a nodal matrix, and solve_ivp from event to event."""

    def __init__(self, tree: ClusterTree, case: dict[str, Any]) -> None:
        self.tree, self.case, k = tree, case, tree.igniters
        self.spent = np.zeros(k, dtype=bool)
        self.on = np.zeros(tree.channels, dtype=bool)
        self.function_time = np.full(k, np.inf)
        self.initial_current = np.zeros(k)
        self.final = np.zeros(k)
        self.peak = np.zeros(k)
        self.currents_seen: list[float] = []

    def open_voltage(self, v: float) -> float:
        """Open voltage of the source at its state v."""
        return v if "bank" in self.case else self.case["voltage"] - v

    def solve(self, x: np.ndarray, v: float) -> tuple[float, np.ndarray, np.ndarray]:
        """Source current, channel currents and igniter currents from a nodal matrix of conductances."""
        c, tree, m = self.case, self.tree, self.tree.channels
        live = c["igniter_resistance"] * (1.0 + c["growth"] * x)
        whole = np.array(c["string_resistance"], dtype=float)
        np.add.at(whole, list(tree.string_of_igniter), np.where(self.spent, c["spent_resistance"], live))
        matrix, right = np.zeros((m + 1, m + 1)), np.zeros(m + 1)
        matrix[0, 0] = 1.0 / c["source_resistance"]
        right[0] = self.open_voltage(v) / c["source_resistance"]
        for channel in range(m):
            g = 1.0 / c["channel_resistance"][channel] if self.on[channel] else 0.0
            matrix[0, 0] += g
            matrix[channel + 1, channel + 1] += g + 1e-12
            matrix[0, channel + 1] -= g
            matrix[channel + 1, 0] -= g
        for string, channel in enumerate(tree.channel_of_string):
            matrix[channel + 1, channel + 1] += 1.0 / whole[string]
        nodes = np.linalg.solve(matrix, right)
        string_current = nodes[1:][list(tree.channel_of_string)] / whole
        channel_current = np.zeros(m)
        np.add.at(channel_current, list(tree.channel_of_string), string_current)
        return float(channel_current.sum()), channel_current, string_current[list(tree.string_of_igniter)]

    def slope(self, _: float, y: np.ndarray) -> np.ndarray:
        """Rates of x, v, charge and channel I²t."""
        c, k = self.case, self.tree.igniters
        x, v = y[:k], y[k]
        source, channel, igniter = self.solve(x, v)
        a = c["growth"]
        heating = ((igniter / c["threshold_current"]) ** 2 * (1.0 + a * x) / (1.0 + a) - x) / c["time_constant"]
        if "bank" in c:
            part = c["bank"]
            dv = ((c["voltage"] - v) / part.recharge_resistance - source) / part.capacitance
        elif "polarisation" in c:
            part = c["polarisation"]
            dv = (source * part.resistance - v) / part.time_constant
        else:
            dv = 0.0
        return np.concatenate([np.where(self.spent, 0.0, heating), [dv, source], channel**2])

    def run(self) -> np.ndarray:
        """March to the end of the sequence; the end state."""
        c, k = self.case, self.tree.igniters
        start = c["start"] + c["turn_on_delay"]
        end = c["start"] + c["pulse"]
        y = np.zeros(k + 2 + self.tree.channels)
        y[k] = c["bank"].initial_voltage if "bank" in c else 0.0
        edges = np.unique(np.concatenate([[0.0], start, end]))
        for begin, stop in pairwise(edges):
            self.on = (start <= begin) & (begin < end)
            fresh = (start == begin)[list(self.tree.channel_of_igniter)]
            self.initial_current[fresh] = self.solve(y[:k], y[k])[2][fresh]
            y = self.segment(y, begin, stop)
            for i, channel in enumerate(self.tree.channel_of_igniter):
                if end[channel] == stop:
                    self.final[i] = y[i]
        return y

    def segment(self, y: np.ndarray, begin: float, stop: float) -> np.ndarray:
        """From one edge to the next, through every function."""
        k, now = self.tree.igniters, begin
        while now < stop:

            def event(_: float, y: np.ndarray) -> float:
                return float(np.max(np.where(self.spent, 0.0, y[:k]))) - 1.0

            event.terminal, event.direction = True, 1.0  # type: ignore[attr-defined]
            answer = solve_ivp(
                self.slope, (now, stop), y, method="DOP853", rtol=1e-11, atol=1e-13, events=event, dense_output=True
            )
            fine = answer.sol(np.linspace(now, answer.t[-1], 400))
            self.peak = np.maximum(self.peak, fine[:k].max(axis=1))
            self.currents_seen += [self.solve(fine[:k, i], fine[k, i])[0] for i in (0, -1)]
            y, now = answer.y[:, -1].copy(), float(answer.t[-1])
            if answer.status == 1:
                hit = ~self.spent & (y[:k] >= 1.0 - 1e-9)
                self.function_time[hit] = now
                self.spent |= hit
                y[:k][hit] = 1.0
        return y


def random_cluster(seed: int) -> tuple[ClusterTree, dict[str, Any]]:
    """A random mixed cluster: two channels, series and parallel, spent bridges open, short or between."""
    rng = np.random.default_rng(seed)
    tree = ClusterTree(channel_of_string=(0, 0, 1), string_of_igniter=tuple(rng.permutation([0, 0, 1, 2, 2]).tolist()))
    k = tree.igniters
    case: dict[str, Any] = {
        "voltage": rng.uniform(7.0, 12.0),
        "source_resistance": rng.uniform(0.1, 0.5),
        "channel_resistance": rng.uniform(0.02, 0.2, 2),
        "string_resistance": rng.uniform(0.01, 0.2, 3),
        "igniter_resistance": rng.uniform(0.8, 2.0, k),
        "threshold_current": rng.uniform(0.4, 1.6, k),
        "time_constant": rng.uniform(0.003, 0.02, k),
        "spent_resistance": rng.choice([0.0, 0.5, 5.0, 1e9], k),
        "growth": np.zeros(k),
        "start": np.array([0.0, rng.uniform(0.0, 0.004)]),
        "pulse": rng.uniform(0.004, 0.012, 2),
        "turn_on_delay": np.array([1e-5, 3e-5]),
    }
    if seed % 4 in (1, 2):
        case["growth"] = rng.uniform(-0.1, 0.4, k)
    if seed % 4 == 2:
        case["polarisation"] = Polarisation(resistance=0.3, time_constant=0.002)
    if seed % 4 == 3:
        case["bank"] = CapacitorBank(capacitance=2e-3, initial_voltage=9.0, recharge_resistance=20.0)
    return tree, case


@pytest.mark.parametrize("seed", range(16))
def test_random_mixed_clusters_against_solve_ivp(seed: int) -> None:
    """Times, fractions, peaks, charge and I²t of random clusters are those of solve_ivp on a nodal matrix."""
    tree, case = random_cluster(seed)
    reference = Reference(tree, case)
    end = reference.run()
    answer = march(tree, **case, tolerance=1e-10)
    assert answer.method == ("exact" if seed % 4 == 0 else "sub-stepped")
    k = tree.igniters
    np.testing.assert_allclose(answer.function_time[:, 0], reference.function_time, rtol=2e-8)
    functioned = np.isfinite(reference.function_time)
    np.testing.assert_allclose(answer.initial_current[:, 0], reference.initial_current, rtol=1e-9)
    np.testing.assert_allclose(answer.charge[0], end[k + 1], rtol=1e-7)
    np.testing.assert_allclose(answer.channel_i2t[:, 0], end[k + 2 :], rtol=1e-7)
    assert answer.highest_current[0] == pytest.approx(max(reference.currents_seen), rel=1e-8)
    np.testing.assert_allclose(answer.thermal_fraction[~functioned, 0], reference.final[~functioned], rtol=1e-7)
    np.testing.assert_allclose(answer.peak_thermal_fraction[~functioned, 0], reference.peak[~functioned], rtol=2e-5)


def capacitor_march(function_at: float, tolerance: float = 1e-9) -> MarchResult:
    """The capacitor discharge of the check value, with a bridge that functions at a rise of `function_at` [K]."""
    heat_capacity, time_constant, resistance = 4e-6, 5e-3, 1.05
    threshold = np.sqrt(heat_capacity / time_constant * function_at / resistance)
    return march(
        ONE,
        voltage=0.0,
        source_resistance=0.25,
        igniter_resistance=resistance,
        threshold_current=threshold,
        time_constant=time_constant,
        pulse=0.03,
        bank=CapacitorBank(capacitance=1e-3, initial_voltage=5.0),
        tolerance=tolerance,
    )


def test_capacitor_peak(published: Published) -> None:
    """A capacitor into a bridge that does not function: the peak rise is the closed form's."""
    entry = published("march_capacitor_peak")
    answer = capacitor_march(4000.0)
    assert np.isinf(answer.function_time[0, 0])
    # closed form from memory, algebra checked; the next test holds it to the integral of the same law
    assert answer.peak_thermal_fraction[0, 0] * 4000.0 == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry[
        "source"
    ]


def test_capacitor_function_time_around_the_peak(published: Published) -> None:
    """A bridge that functions just below the peak does so just before the peak's time; just above, never."""
    peak, time = published("march_capacitor_peak"), published("march_capacitor_peak_time")
    below = capacitor_march(peak["value"] * (1.0 - 1e-6)).function_time[0, 0]
    assert 0.99 * time["value"] < below < time["value"], time["source"]
    assert np.isinf(capacitor_march(peak["value"] * (1.0 + 1e-6)).function_time[0, 0]), peak["source"]


def test_capacitor_closed_form_on_the_way_and_charge() -> None:
    """Function on the rising side where the closed form says; the charge is C V (1 - exp(-t/RC)) until then."""
    p0_over_c = 25.0 * 1.05 / 1.3**2 / 4e-6
    a, b, t = 2.0 / (1.3 * 1e-3), 200.0, 0.5e-3
    theta = p0_over_c / (a - b) * (np.exp(-b * t) - np.exp(-a * t))
    answer = capacitor_march(theta)
    assert answer.function_time[0, 0] == pytest.approx(t, rel=1e-8)
    assert answer.charge[0] == pytest.approx(5e-3 * -np.expm1(-t / 1.3e-3), rel=1e-8)
    assert answer.channel_i2t[0, 0] == pytest.approx((5.0 / 1.3) ** 2 / a * -np.expm1(-a * t), rel=1e-8)
    assert answer.highest_current[0] == pytest.approx(5.0 / 1.3)


@pytest.mark.parametrize("growth", [-0.3, 0.04, 0.5])
def test_growing_resistance_at_constant_current(growth: float) -> None:
    """At constant current the law is linear: τ_eff = τ / (1 - a p), p = (I/I0)²/(1 + a)."""
    answer = march(
        ONE,
        voltage=1.2e8,
        source_resistance=1e8,
        igniter_resistance=1.0,
        threshold_current=1.0,
        time_constant=0.005,
        growth=growth,
        pulse=1.0,
    )
    power = 1.44 / (1.0 + growth)
    settled = power / (1.0 - growth * power)
    expected = 0.005 / (1.0 - growth * power) * np.log(settled / (settled - 1.0))
    assert answer.function_time[0, 0] == pytest.approx(expected, rel=1e-7)


def test_highest_current_just_before_function() -> None:
    """A bridge whose resistance falls draws its highest current at the instant at which it functions."""
    answer = march(
        ONE,
        voltage=6.0,
        source_resistance=0.5,
        terminal_resistance=0.2,
        igniter_resistance=1.0,
        threshold_current=1.0,
        time_constant=0.01,
        growth=-0.3,
        pulse=0.02,
    )
    assert np.isfinite(answer.function_time[0, 0])
    assert answer.highest_current[0] == pytest.approx(6.0 / 1.2, rel=1e-9)
    assert answer.lowest_bus_voltage[0] == pytest.approx(3.5, rel=1e-9)
    assert answer.lowest_terminal_voltage[0] == pytest.approx(5.0, rel=1e-9)


def test_runaway_functions_and_threshold_is_kept() -> None:
    """A strongly growing bridge runs away at constant current, and just below I0 does not reach x = 1."""
    case: dict[str, Any] = {
        "source_resistance": 1e8,
        "igniter_resistance": 1.0,
        "threshold_current": 1.0,
        "time_constant": 0.005,
        "growth": 3.0,
        "pulse": 0.05,
    }
    power = 4.0 / 4.0
    rate = (3.0 * power - 1.0) / 0.005
    expected = np.log1p(rate * 0.005 / power) / rate
    assert march(ONE, voltage=2e8, **case).function_time[0, 0] == pytest.approx(expected, rel=1e-6)
    held = march(ONE, voltage=0.999e8, **case)
    assert np.isinf(held.function_time[0, 0]) and held.peak_thermal_fraction[0, 0] < 1.0


def test_polarisation_limits() -> None:
    """A very slow polarisation is none; a very fast one is a resistance in series with the source."""
    case: dict[str, Any] = {
        "voltage": 6.0,
        "source_resistance": 0.3,
        "igniter_resistance": [1.0, 1.2],
        "threshold_current": 1.0,
        "time_constant": 0.01,
        "pulse": 0.02,
    }
    pair = ClusterTree.parallel(2)
    slow = march(pair, **case, polarisation=Polarisation(resistance=0.2, time_constant=1e6))
    np.testing.assert_allclose(slow.function_time, march(pair, **case).function_time, rtol=1e-6)
    fast = march(pair, **case, polarisation=Polarisation(resistance=0.2, time_constant=2e-6))
    stiff = march(pair, **(case | {"source_resistance": 0.5}))
    np.testing.assert_allclose(fast.function_time, stiff.function_time, rtol=1e-3)


def test_polarisation_of_one_constant_load() -> None:
    """A cold load: the current falls from E/(R_s+R) towards E/(R_s+R1+R) as the loop says."""
    r1, c1, rest, t = 0.5, 0.02, 2.0, 0.004
    answer = march(
        ONE,
        voltage=6.0,
        source_resistance=1.0,
        terminal_resistance=0.5,
        igniter_resistance=1.0,
        threshold_current=np.inf,
        time_constant=0.01,
        pulse=t,
        polarisation=Polarisation(resistance=r1, time_constant=r1 * c1),
    )
    tau = c1 * r1 * rest / (r1 + rest)
    first, settled = 6.0 / rest, 6.0 / (rest + r1)
    last = settled + (first - settled) * np.exp(-t / tau)
    assert answer.charge[0] == pytest.approx(settled * t + (first - settled) * tau * -np.expm1(-t / tau), rel=1e-8)
    assert answer.highest_current[0] == pytest.approx(first)
    assert answer.lowest_bus_voltage[0] == pytest.approx(last, rel=1e-7)
    assert answer.lowest_terminal_voltage[0] == pytest.approx(1.5 * last, rel=1e-7)


def test_bank_recharges_between_channels() -> None:
    """Between two pulses the bank recovers towards the supply through the recharge resistance."""
    tree = ClusterTree(channel_of_string=(0, 1), string_of_igniter=(0, 1))
    common: dict[str, Any] = {
        "voltage": 9.0,
        "source_resistance": 0.0,
        "igniter_resistance": 1.0,
        "threshold_current": np.inf,
        "time_constant": 0.01,
        "start": [0.0, 0.05],
        "pulse": 0.001,
    }
    bank = CapacitorBank(capacitance=1e-3, initial_voltage=9.0, recharge_resistance=100.0)
    answer = march(tree, **common, bank=bank)
    # the pulse: 1 ohm and 100 ohm in parallel on 1000 uF, towards 9 V / 101
    rate, floor = 1.01e3, 9.0 / 101.0
    after = floor + (9.0 - floor) * np.exp(-rate * 1e-3)
    later = 9.0 - (9.0 - after) * np.exp(-0.049 / 0.1)
    np.testing.assert_allclose(answer.initial_current[:, 0], [9.0, later], rtol=1e-7)


def test_release_is_found_inside_a_step() -> None:
    """A polarising battery crosses the release voltage between events: the time is the logarithm's."""
    r1, c1, rest = 0.5, 0.02, 2.0
    tau = c1 * r1 * rest / (r1 + rest)
    first, settled = 6.0 / rest, 6.0 / (rest + r1)
    level = 1.5 * (settled + (first - settled) * np.exp(-0.3))
    answer = march(
        ONE,
        voltage=6.0,
        source_resistance=1.0,
        terminal_resistance=0.5,
        igniter_resistance=1.0,
        threshold_current=np.inf,
        time_constant=0.01,
        pulse=0.1,
        release_voltage=level,
        polarisation=Polarisation(resistance=r1, time_constant=r1 * c1),
    )
    assert answer.release_time[0] == pytest.approx(0.3 * tau, rel=1e-7)


def test_tolerance_controls_the_error() -> None:
    """A tighter tolerance comes closer to a very tight one; the error stays within the tolerance."""
    resistance = np.array([1.0, 1.1, 0.9])
    case: dict[str, Any] = {
        "voltage": 7.4,
        "source_resistance": 0.16,
        "igniter_resistance": resistance,
        "threshold_current": 0.5,
        "time_constant": 0.01,
        "growth": 0.3,
        "pulse": 0.01,
    }
    tree = ClusterTree.parallel(3)
    best = march(tree, **case, tolerance=1e-12).function_time
    errors = [np.abs(march(tree, **case, tolerance=t).function_time / best - 1.0).max() for t in (1e-3, 1e-6, 1e-9)]
    assert errors[0] < 1e-3 and errors[1] < 1e-6 and errors[2] < 1e-9
