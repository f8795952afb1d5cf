"""Arming edge in closed form: each bound by hand on parts that do not change with voltage, and never below the model."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from ignition.analyses.no_fire.edge import Edge, edge_response
from ignition.analyses.no_fire.edge_bounds import EdgeBounds, after_closures, edge_bounds
from tests.analyses.no_fire.edge_sets import REFERENCE, random_edges

FAST = {"rise_time": 1e-9, "threshold": 40.0}
"""12.6 V in 1 ns on 400 pF behind 1 nH and 1.15 ohm, which ring for 4 ns; a gate that never conducts."""

WORK = 12.6**2 * 400e-12
"""What the source spends on charging drain and gate [J]."""


def bounds(**values: Any) -> dict[str, float]:
    """Closed forms of the reference with other values."""
    found = edge_bounds(Edge.of(**REFERENCE | values))
    return {name: float(getattr(found, name)[0]) for name in EdgeBounds.__dataclass_fields__}


def test_a_drain_rings_to_twice_the_supply_and_a_diode() -> None:
    """2 V + 1 V; one edge of ten periods leaves 1 / (10 pi) of what it would ring; damped: the supply; breakdown ends it."""
    assert bounds(**FAST)["drain_voltage"] == pytest.approx(2 * 12.6 + 1.0, rel=1e-9)
    period = 2.0 * math.pi * math.sqrt(1e-9 * 400e-12)
    for periods in (0.3, 10.0):
        found = bounds(**FAST | {"rise_time": periods * period})["drain_voltage"]
        assert found == pytest.approx(12.6 + 13.6 * min(1.0, 1.0 / (math.pi * periods)), rel=1e-9)
    # damped from 2 sqrt(L / C) on: 3.162 ohm, of which 1 ohm is the bridge
    for resistance, drain in ((2.16, 26.2), (2.17, 12.6)):
        assert bounds(**FAST | {"line_resistance": resistance})["drain_voltage"] == pytest.approx(drain, rel=1e-9)
    # a bridge that falls with heat damps less, strings beside it too
    falls = {"line_resistance": 2.17, "growth": -0.2}
    assert bounds(**FAST | falls)["drain_voltage"] == pytest.approx(26.2, rel=1e-9)
    assert bounds(**FAST | {"line_resistance": 2.6, "share": 0.5})["drain_voltage"] == pytest.approx(26.2, rel=1e-9)
    # early: 1 nF at no voltage, 100 pF at high: the least of them damps least, and the energy is that of its charge
    early = {"near_capacitance": 1e-9, "far_capacitance": 100e-12, "knee_voltage": 2.0, "line_resistance": 1.5}
    drain = bounds(**FAST | early)["drain_voltage"]
    charge = 400e-12 * drain + 900e-12 * 2.0 * math.atan(drain / 2.0)
    stored = 0.5 * 400e-12 * drain**2 + 0.5 * 900e-12 * 4.0 * math.log(1.0 + drain**2 / 4.0)
    assert stored == pytest.approx(12.6 * charge + 1.3e-9 * 1.0 * (12.6 + 0.5), rel=1e-9)
    assert bounds(**FAST | {"breakdown": 20.0})["drain_voltage"] == pytest.approx(20.0, rel=1e-9)
    assert bounds(**FAST | {"breakdown": 10.0})["drain_voltage"] == pytest.approx(12.6, rel=1e-9)


def test_a_gate_is_lifted_by_the_divider_or_by_the_ramp() -> None:
    """100 pF of 1 nF: a tenth of the drain; in more than ten periods R Cgd 2 V / t, and the divider where that is less."""
    assert bounds(**FAST)["gate_voltage"] == pytest.approx(2.62, rel=1e-9)
    assert bounds(**FAST | {"gate_rest": 0.5})["gate_voltage"] == pytest.approx(2.62 + 0.5, rel=1e-9)
    slow = FAST | {"rise_time": 1e-6, "gate_resistance": 100.0}
    assert bounds(**slow)["gate_voltage"] == pytest.approx(100.0 * 100e-12 * 25.2 / 1e-6, rel=1e-9)
    # a damped loop has no swing that the ramp would miss, however short
    short = FAST | {"rise_time": 30e-9, "gate_resistance": 10.0}
    ramp = 10.0 * 100e-12 * 25.2 / 30e-9
    assert bounds(**short | {"line_resistance": 5.0})["gate_voltage"] == pytest.approx(ramp, rel=1e-9)
    assert bounds(**short)["gate_voltage"] > 1.26 > ramp
    near = 11.0 * 2.0 * math.pi * math.sqrt(1e-9 * 400e-12)
    stiff = bounds(**slow | {"rise_time": near, "gate_resistance": 1e6})["gate_voltage"]
    assert stiff == pytest.approx(0.1 * (12.6 + 13.6 / (11.0 * math.pi)), rel=1e-9)
    early = {"near_capacitance": 1e-9, "far_capacitance": 100e-12, "knee_voltage": 1.0, "line_resistance": 10.0}
    # C_gs u = 100 pF (12.6 - u) + 900 pF atan(12.6 - u)
    lifted = bounds(**FAST | early)["gate_voltage"]
    assert 900e-12 * lifted == pytest.approx(100e-12 * (12.6 - lifted) + 900e-12 * math.atan(12.6 - lifted), rel=1e-9)


def test_charging_alone_heats_by_twice_its_work() -> None:
    """V Q for each of two charges, the bridge's share of the loop; the current sqrt(2 V Q / L) or (V + 1) / R."""
    found = bounds(**FAST)
    squares = 2.0 * WORK / 1.15
    assert found["energy"] == pytest.approx(squares, rel=1e-9)
    assert found["thermal_fraction"] == pytest.approx(squares / (0.3**2 * 10e-3), rel=1e-9)
    assert found["current"] == pytest.approx(math.sqrt(2.0 * WORK / 1e-9), rel=1e-9)
    assert found["time_above_threshold"] == 0.0
    assert bounds(**FAST | {"inductance": 1e-12})["current"] == pytest.approx(13.6 / 1.15, rel=1e-9)
    # half of the loop's current through the bridge: a quarter of the squares, of a loop of 0.65 ohm
    halved = bounds(**FAST | {"share": 0.5})
    assert halved["energy"] == pytest.approx(0.25 * 2.0 * WORK / 0.65, rel=1e-9)
    assert halved["thermal_fraction"] == pytest.approx(0.25 * 2.0 * WORK / 0.65 / (0.3**2 * 10e-3), rel=1e-9)
    assert halved["current"] == pytest.approx(0.5 * math.sqrt(2.0 * WORK / 1e-9), rel=1e-9)
    # a bridge that grows takes more of the energy; to function it is heated the same
    grown = bounds(**FAST | {"growth": 0.5})
    assert grown["energy"] == pytest.approx(1.5 * squares, rel=1e-9)
    assert grown["thermal_fraction"] == pytest.approx(found["thermal_fraction"], rel=1e-9)
    fallen = bounds(**FAST | {"growth": -0.5, "line_resistance": 0.65})
    assert fallen["energy"] == pytest.approx(squares, rel=1e-9)
    assert fallen["thermal_fraction"] == pytest.approx(2.0 * squares / (0.3**2 * 10e-3), rel=1e-9)


def test_a_current_for_ever_is_the_most_that_heats() -> None:
    """A bridge so quick that (i / I0)^2 of the charging's peak is less than what its work would heat."""
    quick = FAST | {"time_constant": 1e-12, "no_fire_current": 100.0}
    peak = math.sqrt(2.0 * WORK / 1e-9)
    assert bounds(**quick)["thermal_fraction"] == pytest.approx((peak / 100.0) ** 2, rel=1e-9)
    # x = (i / I0)^2 (1 + a x) / (1 + a) below function; above it no less than (i / I0)^2
    square = (peak / 100.0) ** 2
    grown = bounds(**quick | {"growth": 0.5})["thermal_fraction"]
    assert grown == pytest.approx(square / (1.5 - 0.5 * square), rel=1e-9)
    over = bounds(**quick | {"growth": -0.5, "no_fire_current": 10.0, "line_resistance": 0.65})["thermal_fraction"]
    assert over >= (peak / 10.0) ** 2


def test_a_gate_that_conducts_adds_its_current_and_its_kick() -> None:
    """Over 0.6 V: what the drain pushed in leaves through 10 kohm; the channel saturates at K / 2 (vg - vth)^2."""
    still = FAST | {"threshold": 0.6, "line_resistance": 5.0}  # damped: no ringing, which would push again
    found = bounds(**still)
    ohmic = 13.6 / 6.0
    kicked = 12.6 + math.sqrt(13.6**2 + 1e-9 * ohmic**2 / 400e-12)
    assert found["drain_voltage"] == pytest.approx(kicked, rel=1e-9)
    gate = 0.1 * kicked
    assert found["gate_voltage"] == pytest.approx(gate, rel=1e-9)
    above = (100e-12 * (kicked + 1.0) - 900e-12 * 0.6) * 10e3 / 0.6
    assert found["time_above_threshold"] == pytest.approx(above, rel=1e-9)
    passed = min(20.0 * (gate - 0.6) ** 2, ohmic)
    squares = (math.sqrt(2.0 * WORK / 6.0) + passed * math.sqrt(above)) ** 2
    assert found["energy"] == pytest.approx(squares, rel=1e-9)
    assert found["current"] == pytest.approx(ohmic, rel=1e-9)
    rested = bounds(**still | {"gate_rest": 0.2})
    kicked = (900e-12 * (rested["gate_voltage"] - 0.2) + 100e-12 * rested["gate_voltage"]) / 100e-12 - 0.2
    leaves = (100e-12 * (rested["drain_voltage"] + 1.0) + 100e-12 * 0.2 - 900e-12 * 0.4) * 10e3 / 0.4
    assert rested["time_above_threshold"] == pytest.approx(leaves, rel=1e-9)
    assert rested["drain_voltage"] == pytest.approx(kicked, rel=1e-6)
    weak = bounds(**still | {"gain": 0.01})
    passed = 0.005 * (gate - 0.6) ** 2
    squares = (math.sqrt(2.0 * WORK / 6.0) + passed * math.sqrt(above)) ** 2
    assert weak["energy"] == pytest.approx(squares, rel=1e-9)
    slow = bounds(**still | {"gain": 0.01, "inductance": 1e-6, "line_resistance": 200.0})
    assert slow["current"] == pytest.approx(13.6 / 201.0, rel=1e-9)


def test_a_loop_that_rings_may_push_the_gate_again() -> None:
    """Twice the decay 2 L / R of the swing above the supply, down to what no longer lifts the gate to its threshold."""
    found = bounds(**FAST | {"threshold": 0.6})
    drain = 12.6 + math.sqrt(13.6**2 + 1e-9 * (13.6 / 1.15) ** 2 / 400e-12)
    swing = 900e-12 * 0.6 / (2.0 * 100e-12)
    ringing = 2.0 * (2.0 * 1e-9 / 1.15) * math.log((drain - 12.6) / swing)
    leaves = (100e-12 * (drain + 1.0) - 900e-12 * 0.6) * 10e3 / 0.6
    assert found["time_above_threshold"] == pytest.approx(ringing + leaves, rel=1e-9)


def test_a_gate_that_rests_above_never_comes_down() -> None:
    """No end of time and energy; as hot as the highest current for ever makes it."""
    found = bounds(**FAST | {"threshold": 0.6, "gate_rest": 0.6})
    assert found["time_above_threshold"] == math.inf and found["energy"] == math.inf
    assert found["thermal_fraction"] == pytest.approx((found["current"] / 0.3) ** 2, rel=1e-9)


def test_current_below_the_threshold_flows_for_ever() -> None:
    """1 mA at the threshold, 1 V below it by 0.1 V a power of e: e^-10 of it; 2.62 V of gate against 3.62 V."""
    below = {"threshold": 3.62, "threshold_current": 1e-3}
    more = bounds(**FAST | below)
    steady = (1e-3 * math.exp(-10.0) / 0.3) ** 2
    assert more["thermal_fraction"] == pytest.approx(2.0 * WORK / 1.15 / (0.3**2 * 10e-3) + steady, rel=1e-9)
    assert more["current"] == pytest.approx(math.sqrt(2.0 * WORK / 1e-9) + 1e-3 * math.exp(-10.0), rel=1e-9)
    # once it has been above, all of the threshold's current may flow; a slow bridge has no other heat
    over = bounds(**FAST | {"threshold": 2.61, "threshold_current": 1e-3, "gain": 1e-12, "time_constant": 1e3})
    assert over["thermal_fraction"] == pytest.approx((1e-3 / 0.3) ** 2, rel=1e-3)


def test_avalanche_adds_the_charge_that_it_takes() -> None:
    """V Q / (20 V - 12.6 V) at the charging's peak; none where the drain stays below; no end where breakdown is lower."""
    peak = math.sqrt(2.0 * WORK / 1e-9)
    squares = (math.sqrt(2.0 * WORK / 1.15) + math.sqrt(peak * WORK / 7.4)) ** 2
    assert bounds(**FAST | {"breakdown": 20.0})["energy"] == pytest.approx(squares, rel=1e-9)
    assert bounds(**FAST | {"breakdown": 26.3})["energy"] == pytest.approx(2.0 * WORK / 1.15, rel=1e-9)
    assert bounds(**FAST | {"breakdown": 12.6})["energy"] == math.inf
    # no more than (V + 1) / R: 2 ohm pass 6.8 A
    damped = bounds(**FAST | {"breakdown": 20.0, "line_resistance": 1.0})["energy"]
    assert damped == pytest.approx((math.sqrt(2.0 * WORK / 2.0) + math.sqrt(6.8 * WORK / 7.4)) ** 2, rel=1e-9)
    conducts = FAST | {"threshold": 0.6, "gain": 1e-12}
    apart = bounds(**conducts | {"breakdown": 20.0})["energy"]
    ohmic = 13.6 / 1.15
    charge = (WORK + 0.5e-9 * ohmic**2) / 7.4
    assert apart == pytest.approx((math.sqrt(2.0 * WORK / 1.15) + math.sqrt(ohmic * charge)) ** 2, rel=1e-6)


@pytest.mark.parametrize("seed", range(2))
def test_closed_forms_never_lie_below_the_model(seed: int) -> None:
    """Drain, gate, current, energy, fraction and time of 200 circuits each; 0.1 % is the integrator's."""
    edge = random_edges(200, seed)
    resistance = edge.line_resistance + edge.share * edge.bridge_resistance
    until = edge.rise_time + 20.0 * edge.gate_resistance * (edge.gate_source_capacitance + edge.near_capacitance)
    until = np.minimum(until + 20.0 * edge.inductance / resistance, 50e-6)
    found, bound = edge_response(edge, until, follow=np.inf), edge_bounds(edge)
    assert found.solved.all()
    slack = 1.001
    assert (found.peak_drain_voltage <= slack * bound.drain_voltage + 1e-9).all()
    assert (found.peak_gate_voltage <= slack * bound.gate_voltage + 1e-9).all()
    assert (found.peak_current <= slack * bound.current + 1e-12).all()
    assert (found.energy <= slack * bound.energy + 1e-18).all()
    assert (found.thermal_fraction <= slack * bound.thermal_fraction + 1e-15).all()
    assert (found.time_above_threshold <= slack * bound.time_above_threshold + 1e-12).all()
    assert (found.time_above_threshold > 0.0).sum() > 40  # many of them conduct


def test_closures_add_their_heat() -> None:
    """N pulses of a bridge that grows: ((1 + a x)^N - 1) / a; no more than the highest current for ever; one is one."""
    edge = Edge.of(**REFERENCE | {"growth": [0.0, 0.5, 0.0, 0.5], "no_fire_current": 1.0})
    fraction, current = np.array([0.05, 0.09, 0.2, 2.0]), np.array([9.0, 9.0, 0.8, 9.0])
    many = after_closures(edge, fraction, current, 10)
    assert many[:2] == pytest.approx([0.5, (1.045**10 - 1.0) / 0.5], rel=1e-12)
    assert many[2] == pytest.approx(0.64, rel=1e-12)  # (0.8 A / 1 A)^2
    assert many[3] >= 2.0
    assert after_closures(edge, fraction, current, 1).tolist() == fraction.tolist()


def test_a_gate_where_the_data_sheet_has_it_on() -> None:
    """Below the row's overdrive v K v^2 / 2 beside what charges the drain; from it on 13.6 V over 4 ohm."""
    same = REFERENCE | {"inductance": 1e-6, "line_resistance": 3.0, "threshold": 1.0, "gain": 2e-3}
    over = bounds(**same)["gate_voltage"] - 1.0
    below = math.sqrt(2.0 * WORK / 1e-6) + 1e-3 * over**2
    assert over > 10.0 and below < 1.0
    for row, current in ((over * (1.0 + 1e-9), below), (over, 3.4), (0.5 * over, 3.4)):
        assert bounds(**same | {"row_overdrive": row})["current"] == pytest.approx(current, rel=1e-6)
