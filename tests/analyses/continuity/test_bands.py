"""Converter bands by hand: which end of each value a bound takes, what holds at zero and at full scale."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from ignition.analyses.continuity.bands import (
    AdcBand,
    _band_hull,
    adc_band,
    armed_states,
    code_bounds,
    held_reference,
    line_reading,
    reference_voltage,
    remaining_charge,
    spread_of,
    string_readings,
)
from ignition.analyses.continuity.error_terms import ErrorTerm
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.examples import load_example
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.network.worst_case import Extreme
from ignition.parts.sense import settling_error
from ignition.toleranced import Spread, Toleranced
from tests.analyses.sense_circuits import bench

# 12 bits; codes are widened by a total error of 3 LSB and half an LSB
WIDE = bench(reference='reference = "2 V .. 4 V .. 5 V"', total_error="3")


def three(spread: Spread) -> tuple[float | None, float | None, float | None]:
    """Low, nominal and high."""
    return spread.low, spread.nominal, spread.high


def at(low: float, nominal: float, high: float) -> Extreme:
    """Bounds of a pin voltage."""
    return Extreme(low=low, nominal=nominal, high=high, low_at={}, high_at={}, method="by hand")


@pytest.mark.parametrize(
    ("volts", "left", "codes"),
    [
        # low over the highest reference, high over the lowest: 4096/5 0.5 - 3.5, 4096/4 1, 4096/2 1.5 + 3.5
        ((0.5, 1.0, 1.5), 0.0, (406.1, 1024.0, 3075.5)),
        # a tenth of the step is missing: down from ground, up from the highest reference: 1.5 + 0.1 (5 - 1.5) = 1.85
        ((0.5, 1.0, 1.5), 0.1, (365.14, 1024.0, 3792.3)),
        ((0.0, 0.0, 0.0), 0.0, (0.0, 0.0, 3.5)),
        # below ground: held at zero; a high of -0.5 mV stands nearest zero at the highest reference
        ((-1.0, -0.5, -0.0005), 0.0, (0.0, 0.0, 3.5 - 4096.0 * 0.0005 / 5.0)),
        # at and beyond full scale: held to 4095
        ((4.5, 5.0, 9.0), 0.1, (4096.0 / 5.0 * 4.5 * 0.9 - 3.5, 4095.0, 4095.0)),
        ((6.0, 7.0, 8.0), 0.0, (4095.0, 4095.0, 4095.0)),
        ((1.0, 3.9995, 3.9995), 0.0, (815.7, 4095.0, 4095.0)),
    ],
)
def test_code_takes_the_reference_against_it(
    volts: tuple[float, float, float], left: float, codes: tuple[float, float, float]
) -> None:
    """Codes of a pin voltage by hand; a band is the same through its extreme."""
    assert three(code_bounds(WIDE, *volts, left)) == pytest.approx(codes, rel=1e-12, abs=1e-9)
    if not left:
        (channel,) = WIDE.channels
        band = adc_band(WIDE, channel, at(*volts), "intact", phase_box(WIDE, "armed"))
        assert three(band.code) == pytest.approx(codes, rel=1e-12, abs=1e-9) and band.terms == ()
        assert three(band.voltage) == volts


def referred(low: float, nominal: float, high: float) -> Circuit:
    """The circuit with a reference of its own."""
    reference = Toleranced(low=low, nominal=nominal, high=high, unit="V")
    controller = WIDE.controller
    return replace(WIDE, controller=replace(controller, adc=replace(controller.adc, reference=reference)))


def test_a_reference_that_may_be_zero_gives_no_code() -> None:
    """Its lowest value decides, and zero is too low; 0.8 V is enough."""
    (channel,) = WIDE.channels
    for low, there in ((0.0, False), (0.8, True)):
        circuit = referred(low, 1.0, 2.0)
        codes = code_bounds(circuit, 0.1, 0.2, 0.3, 0.0)
        band = adc_band(circuit, channel, at(0.1, 0.2, 0.3), "intact", phase_box(circuit, "armed"))
        for code in (codes, band.code):
            assert (code.low is not None) is there and (code.high is not None) is there
            assert there or "cannot hold the converter's reference above zero" in (code.reason or "")
        assert three(band.voltage) == (0.1, 0.2, 0.3)


def test_reference_is_the_file_s_or_the_rail() -> None:
    """As given; a ratiometric converter measures against the rail, which a battery below the dropout takes to zero."""
    assert three_of(reference_voltage(WIDE)) == (2.0, 4.0, 5.0)
    weak = bench(reference="ratiometric = true", voltage="0.2 V .. 5 V .. 6 V")
    assert three_of(reference_voltage(weak)) == (0.0, 3.3, 3.3)


def test_without_a_reference_there_are_no_error_terms() -> None:
    """A line seen against a rail that may be at zero has its voltage, no code, and the reason."""
    circuit = bench(reference="ratiometric = true", voltage="0.2 V .. 5 V .. 6 V")
    found = line_reading(circuit, circuit.channels[0], "intact", phase_box(circuit, "armed")).band
    assert (found.terms, found.code.low) == ((), None) and "above zero" in (found.code.reason or "")
    assert found.voltage.high == pytest.approx(6.0 * 33.33 / 132.33, rel=1e-4)


def three_of(value: Toleranced) -> tuple[float, float, float]:
    """Low, nominal and high."""
    return value.low, value.nominal, value.high


def test_a_controller_without_supply_reads_nothing() -> None:
    """Only where it hangs behind the arm switch, and only while that is open."""
    for powered_by, line, there in (
        ("after arm switch", "not armed", False),
        ("after arm switch", "open", True),
        ("before arm switch", "not armed", True),
    ):
        circuit = bench(powered_by=powered_by)
        (channel,) = circuit.channels
        band = adc_band(circuit, channel, at(0.0, 0.0, 0.0), line, phase_box(circuit, "armed"))
        assert (band.code.low is not None) is there


def test_what_is_lost_in_rounding_is_zero() -> None:
    """Below 1e-12 either way; from there on a number stands as it is, below zero too."""
    assert three(spread_of(at(-9e-13, 5e-13, 9e-13), "A")) == (0.0, 0.0, 0.0)
    assert three(spread_of(at(-5e-3, 1e-12, 2e-12), "A")) == (-5e-3, 1e-12, 2e-12)
    assert spread_of(at(0.0, 0.0, 0.0), "V").unit == "V"


def test_other_channels_are_intact_or_all_open() -> None:
    """A line alone has one state of the circuit; beside two others it is seen with both intact and with both open."""
    alone, beside = bench(), bench(channels=3)
    (state,) = armed_states(alone, alone.channels[0], "shorted")
    assert (state.phase, dict(state.lines)) == ("armed", {"line": "shorted"})
    states = armed_states(beside, beside.channels[1], "shorted")
    assert [dict(s.lines) for s in states] == [
        {"line 2": "shorted"},
        {"line": "open", "line 2": "shorted", "line 3": "open"},
    ]
    two = bench(channels=2)
    assert len(armed_states(two, two.channels[0], "intact")) == 2


def test_each_string_opens_in_turn() -> None:
    """Every string of the channel, or the one asked for: only the others' igniters have a current."""
    circuit = bench(igniters='[["match", "match"], ["match"], ["match"]]')
    (channel,), box = circuit.channels, phase_box(circuit, "armed")
    assert len(armed_states(circuit, channel, "one string open")) == 3
    names = ("line.igniter 1.1", "line.igniter 1.2", "line.igniter 2.1", "line.igniter 3.1")
    reading = line_reading(circuit, channel, "one string open", box, 1)
    assert (reading.state, tuple(reading.igniters)) == ("string 2 open", (*names[:2], names[3]))
    assert set(line_reading(circuit, channel, "one string open", box).igniters) == set(names)
    assert tuple(line_reading(circuit, channel, "intact", box).igniters) == names
    assert [r.state for r in string_readings(circuit, channel, box)] == [f"string {n} open" for n in (1, 2, 3)]
    single = bench()
    assert string_readings(single, single.channels[0], phase_box(single, "armed")) == ()


OTHER = """
[igniter.other]
bridge_resistance = "{other}"
"""


@pytest.mark.parametrize("strings", ['[["match"], ["other"]]', '[["other"], ["match"]]'])
def test_nominal_current_is_the_largest_nominal(strings: str) -> None:
    """Of two igniters in parallel the one of 1 ohm, though the other, 0.5 .. 1.2 .. 1.25 ohm, may get more of it.

    Its largest share is 1.3 / (1.3 + 0.5), that of 1 ohm 1.25 / (0.8 + 1.25); the smallest shares are the rest to 1.
    """
    circuit = bench(igniters=strings, second=OTHER.format(other="0.5 ohm .. 1.2 ohm .. 1.25 ohm"))
    (channel,) = circuit.channels
    reading = line_reading(circuit, channel, "intact", phase_box(circuit, "armed"))
    one, other = sorted(reading.igniters.values(), key=lambda s: s.nominal or 0.0, reverse=True)
    assert one.nominal == pytest.approx((other.nominal or 0.0) * 1.2, rel=1e-9)
    assert (other.high or 0.0) / (one.high or 0.0) == pytest.approx(1.3 / 1.8 / (1.25 / 2.05), rel=1e-3)
    assert three(reading.igniter_current) == (one.low, one.nominal, other.high)


def test_direction_of_a_current_does_not_count() -> None:
    """With the arm switch open the neighbour's leakage is fed backwards through this line: 2/3 of it by one string."""
    circuit = bench(channels=2, igniters='[["match", "match"], ["match"]]')
    (channel, neighbour), box = circuit.channels, dict(phase_box(circuit, "armed"))
    box[f"{neighbour.name}.adc leakage"] = Toleranced.exact(1e-6, "A")
    reading = line_reading(circuit, channel, "not armed", box)
    nominal = {name: s.nominal for name, s in reading.igniters.items()}
    assert nominal["line.igniter 2.1"] is not None and nominal["line.igniter 2.1"] < 0.0
    assert nominal["line.igniter 1.1"] == pytest.approx(nominal["line.igniter 2.1"] / 2.0)
    assert reading.igniter_current.nominal == nominal["line.igniter 2.1"]


def band(low: float, nominal: float, high: float, *terms: tuple[str, float]) -> AdcBand:
    """A band of codes with its error terms."""
    spread = Spread(low=low, nominal=nominal, high=high, unit="1")
    return AdcBand(
        code=spread, voltage=replace(spread, unit="V"), terms=tuple(ErrorTerm(term=t, half_width=w) for t, w in terms)
    )


def shown(found: AdcBand) -> tuple[tuple[str, float], ...]:
    """Error terms of a band."""
    return tuple((t.term, t.half_width) for t in found.terms)


def test_what_other_channels_add_is_a_term_of_its_own() -> None:
    """Hull of the bands; half of what it is wider than the first joins the term of the others, and the order holds."""
    others = "other loads and channels on the battery"
    first = band(90.0, 100.0, 120.0, ("battery range", 5.0), (others, 2.0), ("quantisation", 0.5))
    hull = _band_hull([first, band(80.0, 99.0, 130.0)])
    assert three(hull.code) == three(hull.voltage) == (80.0, 100.0, 130.0)
    # (50 - 30) / 2 beside the 2 of its own
    assert shown(hull) == ((others, 12.0), ("battery range", 5.0), ("quantisation", 0.5))
    alone = band(0.0, 0.0, 3.0, ("quantisation", 0.5))
    assert _band_hull([alone]) == alone
    assert shown(_band_hull([alone, band(0.0, 0.0, 3.0)])) == (("quantisation", 0.5), (others, 0.0))
    assert shown(_band_hull([alone, band(0.0, 0.0, 7.0)])) == ((others, 2.0), ("quantisation", 0.5))
    zero = band(0.0, 0.0, 0.0, ("quantisation", 0.5))
    assert shown(_band_hull([zero, zero])) == (("quantisation", 0.5), (others, 0.0))
    assert shown(_band_hull([zero, band(0.0, 0.0, 1.0)])) == (("quantisation", 0.5), (others, 0.5))
    missing = AdcBand(code=Spread.missing("1", "dead"), voltage=zero.voltage, terms=())
    assert shown(_band_hull([missing, missing])) == () and _band_hull([missing, missing]).code == missing.code


# two resistors of 90 .. 120 and 20 .. 60 kohm; the sample capacitor of 5 .. 15 pF has 1 .. 3 us
SENSE = 'upper = "90 kohm .. 100 kohm .. 120 kohm", lower = "20 kohm .. 30 kohm .. 60 kohm"'
PIN = ', pin_resistor = "1 kohm .. 2 kohm .. 5 kohm"'
SAMPLED = 'sample_capacitance = "5 pF .. 10 pF .. 15 pF"\nacquisition_time = "1 us .. 2 us .. 3 us"'


def left_by(circuit: Circuit, line: str = "intact") -> float:
    """Largest share that is missing."""
    return remaining_charge(circuit, circuit.channels[0], line, phase_box(circuit, "armed"))


def test_settling_takes_the_shortest_time_and_the_largest_source() -> None:
    """exp(-t / RC) by hand: 1 us, 15 pF, and 120 || 60 + 5 kohm; 60 + 5 kohm where the upper resistor hangs free."""
    circuit = bench(sense=SENSE + PIN, adc=SAMPLED)
    assert left_by(circuit) == pytest.approx(math.exp(-1e-6 / (45e3 * 15e-12)), rel=1e-12)
    for line in ("open", "not armed"):
        assert left_by(circuit, line) == pytest.approx(math.exp(-1e-6 / (65e3 * 15e-12)), rel=1e-12)
    for line in ("shorted", "mosfet shorted", "one string open"):
        assert left_by(circuit, line) == left_by(circuit)


def test_filter_takes_the_charge_at_its_low_and_returns_it_at_its_high_end() -> None:
    """By hand: 15 / (15 + 10) of the charge, and 40 kohm times 60 / 10 to restore it through."""
    circuit = bench(sense=f'{SENSE}, filter = "10 pF .. 20 pF .. 60 pF"', adc=SAMPLED)
    expected = 15.0 / 25.0 * math.exp(-1e-6 / (40e3 * 6.0 * 25e-12))
    assert left_by(circuit) == pytest.approx(expected, rel=1e-12)


def test_settling_without_sample_capacitance_or_time_is_complete() -> None:
    """Both are needed to tell what is missing."""
    for given in SAMPLED.splitlines():
        adc = bench(sense=SENSE + PIN, adc=SAMPLED).controller.adc
        without = replace(adc, **{given.partition(" ")[0]: None})  # type: ignore[arg-type]
        circuit = bench(sense=SENSE + PIN)
        assert left_by(replace(circuit, controller=replace(circuit.controller, adc=without))) == 0.0


@pytest.mark.parametrize("pin", ["", PIN])
@pytest.mark.parametrize("size", ["10 pF .. 20 pF .. 60 pF", "90 nF .. 100 nF .. 110 nF", "20 pF .. 100 pF .. 500 pF"])
def test_no_values_within_tolerance_leave_more_than_the_bound(size: str, pin: str) -> None:
    """Each value at its low, middle and high end: the share is at most the bound, and near it where the filter is large."""
    times = 'acquisition_time = "4 us .. 6 us .. 9 us"'  # by hand the worst filter, pin resistor apart: 4 us / 40 kohm
    circuit = bench(sense=f'{SENSE}{pin}, filter = "{size}"', adc=f"{SAMPLED.splitlines()[0]}\n{times}")
    (channel,), adc = circuit.channels, circuit.controller.adc
    assert channel.filter is not None and adc.sample_capacitance is not None and adc.acquisition_time is not None
    members = (adc.acquisition_time, channel.upper, channel.lower, channel.pin_resistor, adc.sample_capacitance)
    ends = [(m.low, m.nominal, m.high) for m in (*members, channel.filter)]
    time, upper, lower, inner, sample, filtered = np.array(list(itertools.product(*ends))).T
    shares = settling_error(time, upper * lower / (upper + lower), inner, sample, filtered)
    bound = left_by(circuit)
    assert shares.max() <= bound * (1 + 1e-12)
    if "nF" in size:
        assert bound == pytest.approx(float(shares.max()), rel=2e-3)


@pytest.mark.parametrize(("low", "held"), [(0.2, True), (1e-9, True), (0.0, False), (-0.1, False)])
def test_a_reference_that_may_be_zero_holds_nothing(low: float, held: bool) -> None:
    """The weakest battery decides: at 0 V no reading means anything."""
    circuit = load_example("tether-cutter")
    reference = Toleranced(low=low, nominal=1.0, high=3.0, unit="V")
    adc = replace(circuit.controller.adc, reference=reference)
    circuit = replace(circuit, controller=replace(circuit.controller, adc=adc))
    if held:
        assert held_reference(circuit) == reference
    else:
        with pytest.raises(InputError, match=r"may be 0 V while armed"):
            held_reference(circuit)
