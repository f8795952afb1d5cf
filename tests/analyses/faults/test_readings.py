"""Readings under faults: the healthy band as the continuity analysis has it, hand algebra, and what gives a fault away."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.faults import faults
from ignition.analyses.faults.readings import Readings, inputs, measurements, node_voltages, read
from ignition.analyses.faults.situations import Situation, situations
from ignition.circuit.examples import example_names, load_example
from ignition.circuit.model import Circuit
from tests.analyses.faults.boards import held
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


def pulled_up() -> Circuit:
    """The bench circuit with 100 kohm from a controller pin to the drain for a test before arming."""
    return held(second='second = { drain_pull_up = "100 kohm" }')


def test_reading_of_a_drain_that_a_pin_pulls_up() -> None:
    """3.3 V over 100 kohm and the divider of 133 kohm, 33 kohm of it at the pin; a shorted MOSFET pulls it to ground."""
    table = Bench.of(pulled_up(), situations(pulled_up()), single_faults(pulled_up()))
    number = next(k for k, s in enumerate(table.situations) if s.tested)
    names = [fault.name for fault in table.faults]
    asked = ["line.mosfet drain-source-short", "line.drain pull-up open", "line.drain pull-up short"]
    found = read(table, number, np.array([[-1], *([names.index(name)] for name in asked)]))
    assert [one.name for one in found.measurements] == ["line drain pulled up"]
    assert found.nominal[0, 0] == pytest.approx(4096 * 33 / 233, rel=1e-3)
    assert found.nominal[1, 0] == pytest.approx(0.0, abs=0.01)
    assert found.nominal[2, 0] == pytest.approx(0.0, abs=0.01)
    assert found.nominal[3, 0] == pytest.approx(4096 * 33 / 133, rel=1e-3)
    others = [s for s in table.situations if not s.tested]
    assert all(one.what != "drain pulled up" for s in others for one in inputs(table, s))


def test_a_controller_after_the_arm_switch_makes_no_test_before_arming() -> None:
    """It has no supply then."""
    circuit = held(second='second = { drain_pull_up = "100 kohm" }', powered_by="after arm switch")
    assert not [s for s in situations(circuit) if s.tested]


def test_a_pull_up_that_is_shorted_drives_the_line_in_its_test() -> None:
    """With the wire out on the frame its pin's 3.3 V flow through lead, joints and bridge: an own pair, found disarmed.

    The bench circuit's pin has next to no resistance of its own: 3.3 V over half the lead, half the joints, and the
    bridge.
    """
    found = faults(pulled_up(), 2)
    names = {"line.drain pull-up short", "line.lead out to-ground"}
    row = next(r for r in found.phase("disarmed").faults if set(r.faults) == names)
    half = 0.5 * (0.39970799955868247 + 0.02)
    assert row.current == pytest.approx(3.3 / (half + 0.8), rel=1e-3)


def test_a_pin_that_stays_high() -> None:
    """In any phase it drives the drain through the pull-up: 3.3 V over 100 and 133 kohm while disarmed."""
    table = Bench.of(pulled_up(), situations(pulled_up()), single_faults(pulled_up()))
    stuck = [fault.name for fault in table.faults].index("line.pull-up pin stuck-high")
    assert table.faults[stuck].side == "test path"
    number = next(k for k, s in enumerate(table.situations) if s.phase == "disarmed" and not s.tested)
    members = Members.each([number], np.array([[stuck]]))
    _, middle, _ = node_voltages(table, members, "line.drain", 0)
    assert middle[0] == pytest.approx(3.3 * 133 / 233, rel=1e-3)
