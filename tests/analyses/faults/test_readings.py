"""Readings under faults: the healthy band as the continuity analysis has it, hand algebra, and what gives a fault away."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.faults.bench import Bench
from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.readings import Readings, measurements, read
from ignition.analyses.faults.situations import Situation, situations
from ignition.circuit.examples import example_names, load_example
from ignition.circuit.model import Circuit
from tests.analyses.sense_circuits import bench

ARMED = Situation(phase="armed", controller="alive")


def readings(circuit: Circuit, *faults: str) -> Readings:
    """Readings while armed of nothing broken, and then of each fault."""
    table = Bench.of(circuit, (ARMED,), single_faults(circuit))
    names = [fault.name for fault in table.faults]
    return read(table, 0, np.array([[-1], *([names.index(fault)] for fault in faults)]))


@pytest.mark.parametrize("name", example_names())
def test_healthy_band_is_that_of_the_continuity_analysis(name: str) -> None:
    """With nothing broken the reading is that of an intact line, its bounds within a code."""
    circuit = load_example(name)
    found = readings(circuit)
    for number, channel in enumerate(continuity(circuit).channels):
        intact = next(s for s in channel.readings if s.state == "intact").band.code
        assert intact.low is not None
        assert intact.high is not None
        column = [m.name for m in found.measurements].index(f"{circuit.channels[number].name} drain")
        assert found.low[0, column] == pytest.approx(intact.low, abs=0.6)
        assert found.high[0, column] == pytest.approx(intact.high, abs=0.6)


def test_by_hand() -> None:
    """12 bits of 3.3 V: a divider of 100 and 33 kohm, broken in turn."""
    found = readings(bench(), "line.upper open", "line.lower open", "line.lower drifted", "line.igniter 1.1 open")
    low, nominal, high = (array[:, 0] for array in (found.low, found.nominal, found.high))
    assert nominal[0] == pytest.approx(4096 * 7.6 * 33 / 133 / 3.3, rel=1e-4)
    assert (low[1], high[1]) == (0.0, pytest.approx(0.5, abs=1e-3))
    assert nominal[2] == 4095.0  # the clamp holds the pin at the rail and 0.5 V: beyond the range
    # half of 33 kohm at the weakest battery to twice of it at the strongest
    least = 4096 * 7.0 * 0.99 * 16.5 / (0.99 * 16.5 + 1.01 * 100) / (3.3 * 1.01) - 0.5
    assert low[3] == pytest.approx(least, abs=0.5)
    assert high[3] == 4095.0
    assert (low[4], high[4]) == (0.0, pytest.approx(0.5, abs=1e-3))


def test_what_gives_a_fault_away() -> None:
    """Bands that share no code do; a part that drifts inside its neighbours' tolerance does not."""
    circuit = bench(voltage="7.4 V .. 7.6 V .. 7.8 V")
    names = (
        "line.upper open",
        "line.upper short",
        "line.lower drifted",
        "line.mosfet drain-source-short",
        "line.line short",
    )
    found = readings(circuit, *names)
    apart = found.apart(found.take(np.array([0])))[:, 0]
    assert apart.tolist() == [False, True, True, False, True, False]


def test_silent_controller() -> None:
    """A dead regulator reads nothing, which is no reading that differs."""
    found = readings(bench(), "regulator dead")
    assert found.silent.tolist() == [False, True]
    assert not found.apart(found.take(np.array([0])))[1].any()


def test_ratiometric_reference_follows_the_regulator() -> None:
    """A regulator that passes the battery lifts a ratiometric converter's reference with it: the reading falls."""
    fixed = readings(bench(), "regulator passes-battery")
    assert fixed.nominal[1, 0] == pytest.approx(fixed.nominal[0, 0], rel=1e-6)
    ratio = readings(bench(reference="ratiometric = true"), "regulator passes-battery")
    assert ratio.nominal[1, 0] == pytest.approx(ratio.nominal[0, 0] * 3.3 / 7.6, rel=1e-3)
    assert ratio.apart(ratio.take(np.array([0])))[1, 0]


def test_when_it_is_measured() -> None:
    """Armed and alive; before arming only where the file says so; never with a dead controller."""
    plain = bench()
    early = bench(second="second = { before_arming = true }")
    for circuit, phases in ((plain, {"armed"}), (early, {"armed", "disarmed"})):
        found = {s.phase for s in situations(circuit) if measurements(Bench.of(circuit, (), ()), s)}
        assert found == phases
        assert not measurements(Bench.of(circuit, (), ()), Situation(phase="armed", controller="dead"))
    both = bench(second='second = { bus_divider = { upper = "100 kohm", lower = "33 kohm" } }')
    assert [m.name for m in measurements(Bench.of(both, (ARMED,), ()), ARMED)] == ["line drain", "line bus"]
