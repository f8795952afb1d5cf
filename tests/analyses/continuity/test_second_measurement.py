"""Second measurements: each by hand on the bench circuit, what it separates, what it does to the igniter."""

from __future__ import annotations

import math

import pytest

from ignition.analyses.continuity.continuity import ChannelContinuity, continuity
from ignition.analyses.continuity.second_parts import SecondMeasurement, SecondReading
from ignition.circuit.file import parse_circuit
from ignition.errors import CircuitFileError
from tests.analyses.sense_circuits import bench, text

BUS = 'second = { bus_divider = { upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %" } }'
PULL_UP = 'second = { drain_pull_up = "100 kohm ± 1 %" }'
BLED_PULL_UP = (
    'second = { drain_pull_up = "100 kohm ± 1 %", bus_divider = { upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %" } }'
)


def pulse(length: str = "20 us") -> str:
    """A second table with a test pulse."""
    return f'second = {{ test_pulse = "{length}" }}'


def measured(channel: ChannelContinuity, name: str) -> SecondMeasurement:
    """The measurement of that name."""
    return next(m for m in channel.second if m.name == name)


def reading(measurement: SecondMeasurement, state: str) -> SecondReading:
    """The reading of that state."""
    return next(r for r in measurement.readings if r.state == state)


def test_a_ratio_and_a_code_are_told_apart() -> None:
    """A ratio is named so, and compared as a real number; a code is compared as an integer."""
    channel = continuity(bench(second=BUS)).channels[0]
    ratio, bus = measured(channel, "drain reading over bus reading"), measured(channel, "bus voltage")
    assert {r.quantity for r in ratio.readings} == {"ratio"} and {r.quantity for r in bus.readings} == {"code"}
    assert {r.value.unit for r in (*ratio.readings, *bus.readings)} == {"1"}
    assert ("intact", "open") in ratio.separates


def test_without_table_there_is_none() -> None:
    """Nothing is evaluated that the file does not describe."""
    assert continuity(bench()).channels[0].second == ()


def test_bus_tells_not_armed_from_open() -> None:
    """The bus reads battery voltage while armed and nothing otherwise; it cannot tell open from a shorted MOSFET."""
    channel = continuity(bench(second=BUS)).channels[0]
    bus = measured(channel, "bus voltage")
    assert ("open", "not armed") in bus.separates
    assert ("open", "mosfet shorted") not in bus.separates
    nominal = 4096 / 3.3 * 7.6 * 33e3 / (133e3 + 0.08)
    assert reading(bus, "open").value.nominal == pytest.approx(nominal, rel=1e-9)
    assert reading(bus, "not armed").value.high == pytest.approx(0.5, abs=1e-6)
    assert [m.name for m in channel.separated_by(("open", "not armed"))] == ["bus voltage"]


def test_ratio_is_free_of_battery_and_reference() -> None:
    """The ratio of drain to bus reading spreads by the two dividers only: (1.01 / 0.99)^(2 x 100/133) and rounding."""
    channel = continuity(bench(second=BUS)).channels[0]
    ratio = reading(measured(channel, "drain reading over bus reading"), "intact").value
    worst = (33.33 / (33.33 + 99.0)) / (32.67 / (32.67 + 101.0))
    assert ratio.high is not None and ratio.low is not None
    assert ratio.high == pytest.approx(worst, rel=1e-3)
    assert ratio.low == pytest.approx(1.0 / worst, rel=1e-3)
    assert ratio.high > worst
    wide = continuity(bench(second=BUS, voltage="5 V .. 7.6 V .. 9 V")).channels[0]
    again = reading(measured(wide, "drain reading over bus reading"), "intact").value
    assert again.high == pytest.approx(ratio.high, rel=1e-3)


def test_bus_beyond_full_scale_has_no_ratio() -> None:
    """A bus divider that overdrives the converter gives no ratio, and says so."""
    second = 'second = { bus_divider = { upper = "10 kohm", lower = "33 kohm" } }'
    channel = continuity(bench(second=second)).channels[0]
    value = reading(measured(channel, "drain reading over bus reading"), "intact").value
    assert value.high is None and "full scale" in (value.reason or "")


def test_pull_up_finds_a_shorted_mosfet_before_arming() -> None:
    """With nothing at the bus a pull-up reads the same through an intact line and an open one, but shows the MOSFET."""
    channel = continuity(bench(second=PULL_UP)).channels[0]
    found = measured(channel, "drain with weak pull-up")
    assert ("open", "mosfet shorted") in found.separates
    assert ("intact", "open") not in found.separates
    nominal = 4096 / 3.3 * 3.3 * 33.0 / 233.0
    assert reading(found, "open").value.nominal == pytest.approx(nominal, rel=1e-6)
    assert reading(found, "mosfet shorted").value.high == pytest.approx(0.5, abs=1e-6)


def test_pull_up_sees_the_igniter_through_a_loaded_bus() -> None:
    """A divider at the bus gives the pull-up's current a way through the igniter: intact and open are told apart."""
    channel = continuity(bench(second=BLED_PULL_UP)).channels[0]
    found = measured(channel, "drain with weak pull-up")
    assert ("intact", "open") in found.separates
    drain = 3.3 * (133.0 / 2) / (100.0 + 133.0 / 2)
    assert reading(found, "intact").value.nominal == pytest.approx(4096 / 3.3 * drain * 33 / 133, rel=1e-4)
    assert found.heating is not None
    # arm switch closed: the battery drives the line's divider and, through the pull-up, the controller's supply
    highest = (8.4 - 3.3) / 99e3 + 8.4 / 131.67e3
    assert found.heating.current == pytest.approx(highest, rel=0.01)


def test_stuck_arm_switch_is_seen_before_arming() -> None:
    """The drain reads battery voltage where the arm switch is closed, and nothing otherwise."""
    channel = continuity(bench(second="second = { before_arming = true }")).channels[0]
    found = measured(channel, "drain before arming")
    assert ("intact", "arm switch closed, line intact") in found.separates
    assert reading(found, "intact").value.high == pytest.approx(0.5, abs=1e-6)


@pytest.mark.parametrize("second", [PULL_UP, "second = { before_arming = true }"])
def test_dead_controller_measures_nothing_before_arming(second: str) -> None:
    """A controller behind the arm switch cannot make a measurement with the switch open."""
    channel = continuity(bench(powered_by="after arm switch", second=second)).channels[0]
    assert channel.second[0].readings == ()
    assert "no supply" in (channel.second[0].reason or "")


def test_test_pulse_by_hand() -> None:
    """Drain voltage, energy and thermal fraction of a pulse; 20 us at 6.6 A can fire a 0.2 A igniter."""
    circuit = bench(second=pulse())
    channel = continuity(circuit).channels[0]
    found = measured(channel, "drain in a test pulse")
    lead = circuit.channels[0].lead.resistance
    current = 7.6 / (0.06 + 0.02 + lead.nominal + 1.0 + 0.014)
    code = 4096 / 3.3 * current * 0.014 * 33 / 133
    assert reading(found, "intact").value.nominal == pytest.approx(code, rel=1e-5)
    assert reading(found, "open").value.nominal == pytest.approx(0.0, abs=1e-6)
    highest = 8.4 / (0.04 + 0.01 + lead.low + 0.8 + 0.01)
    assert found.heating is not None
    assert found.heating.current == pytest.approx(highest, rel=1e-6)
    assert found.heating.energy == pytest.approx(highest**2 * 1.3 * 20e-6, rel=1e-6)
    assert found.heating.thermal_fraction == pytest.approx((highest / 0.2) ** 2 * (1 - math.exp(-2e-3)), rel=1e-5)
    assert found.longest_pulse is not None and found.longest_pulse < 1e-6
    assert "fires the igniter" in (found.caution or "")


def test_pulse_through_a_filter_hardly_moves_the_reading() -> None:
    """A filter of 2.5 ms lets less than a hundredth of a 20 us pulse through: it separates nothing any more."""
    sense = 'upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %", filter = "100 nF"'
    channel = continuity(bench(second=pulse(), sense=sense)).channels[0]
    found = measured(channel, "drain in a test pulse")
    before = channel.reading("intact").band.code.nominal
    assert before is not None
    left = math.exp(-20e-6 / (100e-9 * 100e3 * 33e3 / 133e3))
    held = before * left + 21.365 * (1 - left)
    assert reading(found, "intact").value.nominal == pytest.approx(held, rel=1e-4)
    assert ("open", "mosfet shorted") not in found.separates


def test_pulse_shorter_than_the_acquisition_is_refused() -> None:
    """A converter that needs longer than the pulse reads nothing of it."""
    circuit = bench(second=pulse("1 us"), adc='sample_capacitance = "8 pF"\nacquisition_time = "2 us"')
    found = continuity(circuit).channels[0].second[0]
    assert found.readings == () and "longer than the pulse" in (found.reason or "")


@pytest.mark.parametrize(
    ("second", "message"),
    [
        ("second = {}", "names no measurement"),
        ('second = { test_pulse = "0 s" }', "above 0 s"),
        ("second = { before_arming = false }", "names no measurement"),
        ('second = { pull_up = "1 kohm" }', "drain_pull_up|unknown"),
        ('second = { drain_pull_up = "0 ohm" }', "above 0"),
        ('second = { bus_divider = { upper = "1 kohm" } }', "lower"),
    ],
)
def test_wrong_tables_are_refused(second: str, message: str) -> None:
    """A second table that names nothing, a zero, a wrong key or half a divider is a mistake of the file."""
    with pytest.raises(CircuitFileError, match=message):
        parse_circuit(text(second=second), "bench.toml")
