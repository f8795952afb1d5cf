"""Continuity of a channel: bands and currents by hand, what a reading cannot exclude, clusters, limits."""

from __future__ import annotations

import math

import pytest

from ignition.analyses.continuity.bands import code_bounds
from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.continuity.thresholds import integer_codes
from ignition.analyses.continuity.unseen import _voltage_that_reads
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.parts.conductor import conductor_area, copper_resistance
from ignition.toleranced import Toleranced
from tests.analyses.sense_circuits import bench, cluster, text

ROUND_TRIP = float(copper_resistance(12.0, conductor_area("AWG 20"), 20.0))


def by_hand(voltage: float, rest: float, upper: float, lower: float, reference: float) -> tuple[float, float]:
    """Igniter current [A] and code of one loop of series resistors."""
    current = voltage / (rest + ROUND_TRIP + upper + lower)
    return current, 4096.0 * current * lower / reference


def test_bench_by_hand() -> None:
    """Lowest, nominal and highest current and code are those of the series loop at its corners."""
    intact = continuity(bench()).channels[0].reading("intact")
    low_i = by_hand(7.0, 0.1 + 0.05 + 0.1 + 1.3, 101e3, 33.33e3, 1.0)[0]
    nominal_i, nominal = by_hand(7.6, 0.06 + 0.02 + 0.04 + 1.0, 100e3, 33e3, 3.3)
    high_i = by_hand(8.4, 0.04 + 0.01 + 0.02 + 0.8, 99e3, 32.67e3, 1.0)[0]
    low = by_hand(7.0, 0.1 + 0.05 + 0.1 + 1.3, 101e3, 32.67e3, 3.333)[1]
    high = by_hand(8.4, 0.04 + 0.01 + 0.02 + 0.8, 99e3, 33.33e3, 3.267)[1]
    current, code = intact.igniter_current, intact.band.code
    # off, the switch passes 1 mA 10^(-1.01 V / 147.5 mV) = 0.14 nA: 1.0 V + 2 mV/K x 5 K, and 150 mV x 293 / 298
    off = 1e-3 * 10 ** (-1.01 / (0.150 * 293.15 / 298.15))
    assert [current.low, current.nominal, current.high] == pytest.approx([low_i, nominal_i, high_i + off], rel=1e-8)
    assert [code.low, code.nominal, code.high] == pytest.approx([low - 0.5, nominal, high + 0.5], rel=1e-8)


def test_bench_known_numbers() -> None:
    """The bench circuit's numbers as they were worked out once, to ten digits and the no-fire margin."""
    channel = continuity(bench()).channels[0]
    intact = channel.reading("intact")
    current, code = intact.igniter_current, intact.band.code
    expected = [5.210971786843011e-05, 5.714220421454995e-05, 6.379523808518168e-05]
    assert [current.low, current.nominal] == pytest.approx(expected[:2], rel=1e-9)
    assert current.high == pytest.approx(expected[2], rel=1e-5)  # and what the switch passes below its threshold
    assert [code.low, code.nominal, code.high] == pytest.approx([2101.9783199, 2340.5446846, 2653.0460585], rel=1e-9)
    assert channel.no_fire_margin == pytest.approx(0.2 / 6.379523808518168e-05, rel=1e-5)


def test_error_terms_by_hand() -> None:
    """Each term alone: battery range, divider tolerance, reference, leakage, total error, quantisation."""
    circuit = bench(total_error="4", leakage="50 nA")
    terms = {t.term: t.half_width for t in continuity(circuit).channels[0].reading("intact").band.terms}
    scale = 4096.0 / 3.3
    assert terms["battery range"] == pytest.approx(scale * 0.5 * 1.4 * 33.0 / 133.0, rel=1e-4)
    share = (33.33 / (33.33 + 99.0) - 32.67 / (32.67 + 101.0)) / 2.0
    assert terms["divider tolerance"] == pytest.approx(scale * 7.6 * share, rel=1e-4)
    nominal = 4096.0 * 7.6 * 33.0 / 133.0 / 3.3
    assert terms["reference"] == pytest.approx(0.5 * nominal * (1 / 0.99 - 1 / 1.01), rel=1e-4)
    leakage = terms["converter leakage times source resistance"]
    assert leakage == pytest.approx(scale * 50e-9 * 100e3 * 33e3 / 133e3, rel=1e-4)
    assert terms["total error of the converter"] == 4.0
    assert terms["quantisation"] == 0.5


def test_error_terms_are_ordered() -> None:
    """Terms stand by size, the largest first."""
    sizes = [t.half_width for t in continuity(bench(total_error="4")).channels[0].reading("intact").band.terms]
    assert sizes == sorted(sizes, reverse=True)


def test_temperature_coefficient_is_a_term_of_its_own() -> None:
    """A divider's drift over ambient is listed apart from its tolerance, and each is as if the other were absent."""
    sense = 'upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %", temperature_coefficient = "0.0001 / K"'
    circuit = bench(ambient="-15 degC .. 20 degC .. 65 degC", sense=sense)
    terms = {t.term: t.half_width for t in continuity(circuit).channels[0].reading("intact").band.terms}
    alone = {t.term: t.half_width for t in continuity(bench()).channels[0].reading("intact").band.terms}
    assert terms["divider tolerance"] == pytest.approx(alone["divider tolerance"], rel=1e-4)
    drift = 40 * 1e-4
    share = (33 * (1 + drift) / (33 * (1 + drift) + 100 * (1 - drift))) - (
        33 * (1 - drift) / (33 * (1 - drift) + 100 * (1 + drift))
    )
    assert terms["divider temperature coefficient"] == pytest.approx(4096 / 3.3 * 7.6 * share / 2, rel=1e-3)


def test_band_holds_the_settling_error() -> None:
    """Without a filter the sample capacitor lacks exp(-t/RC) of its step; the band is widened by exactly that."""
    circuit = bench(adc='sample_capacitance = "10 pF"\nacquisition_time = "2 us"')
    plain = continuity(bench()).channels[0].reading("intact").band.code
    band = continuity(circuit).channels[0].reading("intact").band.code
    left = math.exp(-2e-6 / (10e-12 * 101e3 * 33.33e3 / 134.33e3))
    assert plain.low is not None and band.low is not None
    assert band.low + 0.5 == pytest.approx((plain.low + 0.5) * (1.0 - left), rel=1e-9)


def test_ratiometric_reference_is_the_rail() -> None:
    """A ratiometric converter on an exact rail has no reference term."""
    reading = continuity(bench(reference="ratiometric = true")).channels[0].reading("intact")
    assert {t.term: t.half_width for t in reading.band.terms}["reference"] == pytest.approx(0.0, abs=1e-9)
    assert reading.band.code.nominal == pytest.approx(2340.5447, rel=1e-7)


def test_bench_ambiguities() -> None:
    """One bench line: intact reads like shorted, and all states without voltage at the drain read alike."""
    channel = continuity(bench()).channels[0]
    assert set(channel.cannot_tell_apart) == {
        ("intact", "shorted"),
        ("open", "mosfet shorted"),
        ("open", "not armed"),
        ("mosfet shorted", "not armed"),
    }
    threshold = next(t for t in channel.thresholds if (t.below, t.above) == ("open", "intact"))
    assert (threshold.below_highest, threshold.code, threshold.above_lowest) == (0, 1051, 2102)


def test_dead_controller_has_no_reading() -> None:
    """A controller behind the arm switch reads nothing while not armed, and the reason says so."""
    reading = continuity(bench(powered_by="after arm switch")).channels[0].reading("not armed")
    assert reading.band.code.low is None
    assert "no supply" in (reading.band.code.reason or "")


def unseen_by_hand(limit: float) -> float:
    """Series resistance at which the bench's highest code falls to a limit."""
    volts = (limit - 0.5) * 3.267 / 4096.0
    rest = 0.04 + 0.01 + ROUND_TRIP + 0.02 + 0.8
    return 33.33e3 * (8.4 - volts) / volts - 99e3 - rest


def test_largest_unseen_resistance_by_hand() -> None:
    """The largest series resistance solves the loop for the lowest intact code; across open terminals likewise."""
    channel = continuity(bench()).channels[0]
    limit = channel.reading("intact").band.code.low
    assert limit is not None and channel.largest_unseen_resistance is not None
    expected = unseen_by_hand(limit)
    assert channel.largest_unseen_resistance == pytest.approx(expected, rel=1e-7)
    assert channel.largest_leak_read_as_intact == pytest.approx(expected + 0.8, rel=1e-7)
    assert channel.current_when_fired == pytest.approx(8.4 / (expected + 0.05 + ROUND_TRIP + 0.02), rel=1e-6)


def test_unseen_behind_the_threshold_by_hand() -> None:
    """Firmware that takes the threshold as border lets much more pass: solved for its code."""
    held = continuity(bench()).channels[0].above_threshold
    assert held.code == 1051
    assert held.series_resistance == pytest.approx(unseen_by_hand(1051.0), rel=1e-7)
    assert held.leak == pytest.approx(unseen_by_hand(1051.0) + 0.8, rel=1e-7)


def test_open_that_reads_intact_has_no_resistance() -> None:
    """With leakage that lifts an open line into the intact band nothing is proved, and no number is given."""
    circuit = bench(leakage="100 uA")
    channel = continuity(circuit).channels[0]
    assert ("intact", "open") in channel.cannot_tell_apart
    assert channel.largest_unseen_resistance is None
    assert channel.current_when_fired is None
    assert channel.above_threshold.code is None


def test_cluster_with_a_high_divider_does_not_show_one_open_string() -> None:
    """One of three strings open changes the loop by a fraction of an ohm in 133 kohm."""
    channel = continuity(cluster()).channels[0]
    assert channel.one_string_open_seen is False
    assert [r.state for r in channel.strings_open] == ["string 1 open", "string 2 open", "string 3 open"]
    assert ("intact", "one string open") in channel.cannot_tell_apart


def exact_cluster() -> Circuit:
    """A made-up cluster without any tolerance and with a divider as low as the igniters."""
    return bench(
        voltage="7.6 V",
        reference='reference = "3.3 V"',
        bridge="1.0 ohm",
        igniters='[["match"], ["match"]]',
        lead='{ resistance = "0.1 ohm", joints = "0 ohm" }',
        sense='upper = "10 ohm", lower = "4 ohm"',
    )


def test_cluster_with_exact_low_resistors_shows_one_open_string() -> None:
    """The opposite: with exact low values one open string is seen, and its code is that of the loop."""
    channel = continuity(exact_cluster()).channels[0]
    assert channel.one_string_open_seen is True
    nominal = channel.strings_open[0].band.code.nominal
    assert nominal == pytest.approx(4096 / 3.3 * 7.6 * 4.0 / (0.08 + 0.1 + 1.0 + 14.0), rel=1e-9)


def test_bands_of_single_strings_lie_in_the_band_of_any() -> None:
    """The state 'one string open' is the hull over the strings, each with its own igniters."""
    circuit = bench(igniters='[["match"], ["match", "match"]]', sense='upper = "50 ohm", lower = "20 ohm"')
    channel = continuity(circuit).channels[0]
    hull = channel.reading("one string open").band.code
    codes = [r.band.code for r in channel.strings_open]
    assert codes[0].nominal != pytest.approx(codes[1].nominal, rel=1e-3)
    assert hull.low == pytest.approx(min(c.low for c in codes if c.low is not None))
    assert hull.high == pytest.approx(max(c.high for c in codes if c.high is not None))


def test_other_channels_are_intact_and_open() -> None:
    """A second channel on the same battery widens the band, by a term of its own."""
    circuit = bench(channels=2, sense='upper = "1 kohm ± 1 %", lower = "330 ohm ± 1 %"')
    reading = continuity(circuit).channels[0].reading("intact")
    alone = continuity(bench(sense='upper = "1 kohm ± 1 %", lower = "330 ohm ± 1 %"')).channels[0].reading("intact")
    assert reading.band.code.low is not None and alone.band.code.low is not None
    assert reading.band.code.low < alone.band.code.low
    assert {t.term: t.half_width for t in reading.band.terms}["other loads and channels on the battery"] > 0.0


def test_wider_tolerance_widens_every_band() -> None:
    """Bands are monotone in a tolerance: a 5 % divider's hold those of a 1 % one."""
    narrow = continuity(bench()).channels[0]
    wide = continuity(bench(sense='upper = "100 kohm ± 5 %", lower = "33 kohm ± 5 %"')).channels[0]
    for one, two in zip(narrow.readings, wide.readings, strict=True):
        first, second = integer_codes(one.band.code), integer_codes(two.band.code)
        assert first is not None and second is not None
        assert second[0] <= first[0] and second[1] >= first[1]


def test_missing_no_fire_is_unknown() -> None:
    """Without a no-fire current there is no margin, and the reason names the igniter."""
    lines = [line for line in text().splitlines() if not line.startswith("no_fire")]
    channel = continuity(parse_circuit("\n".join(lines), "bench.toml")).channels[0]
    assert channel.no_fire_margin is None
    assert "'match' has no no-fire current" in (channel.no_fire_reason or "")


def test_exact_divider_without_drift_has_no_such_term() -> None:
    """A circuit without temperature coefficient lists no drift."""
    circuit = bench()
    assert circuit.channels[0].divider_drift == 0.0
    assert "divider temperature coefficient" not in {
        t.term: t.half_width for t in continuity(circuit).channels[0].readings[0].band.terms
    }
    assert isinstance(circuit.channels[0].upper, Toleranced)


@pytest.mark.parametrize("left", [0.0, 0.02])
@pytest.mark.parametrize("limit", [1.0, 4.0, 5.0, 700.0, 4000.0, 4095.0])
def test_voltage_that_reads_inverts_the_band(limit: float, left: float) -> None:
    """The voltage found reads the code, and a microvolt less does not."""
    circuit = bench(total_error="4")
    volts = _voltage_that_reads(circuit, limit, left)
    at = code_bounds(circuit, volts, volts, volts, left).high
    less = code_bounds(circuit, volts - 1e-6, volts - 1e-6, volts - 1e-6, left).high
    assert at == pytest.approx(limit, abs=1e-6)
    assert less is not None and less < limit


def test_an_ambient_that_may_function_the_igniter_has_no_margin() -> None:
    """At 120 degC, the lowest function temperature assumed, the margin is missing with its reason."""
    stated = 'resistance_temperature = "ambient"\nresistance = "40'
    hot = text(ambient="20 degC .. 120 degC").replace('resistance = "40', stated, 1)
    channel = continuity(parse_circuit(hot)).channels[0]
    assert channel.no_fire_margin is None
    assert channel.no_fire_reason == "igniter 'match' may function at the hottest ambient without any current"
