"""Firmware constants: groups and dead bands, readings to average, longest test pulse."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from ignition.analyses.continuity.bands import remaining_charge
from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.continuity.firmware import MISREAD, Firmware, firmware
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.model import Circuit
from ignition.parts.sense import settling_error
from ignition.spice.ngspice import run_deck
from tests.analyses.sense_circuits import FILTERED, bench, cluster

SAMPLED = 'sample_capacitance = "8 pF"\nacquisition_time = "2 us"'
BUS = 'second = { bus_divider = { upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %" } }'
OPTIONS = ".options reltol=1e-7 abstol=1e-15 vntol=1e-12 chgtol=1e-20 method=gear\n"


def constants(circuit: Circuit) -> Firmware:
    """The constants of a circuit."""
    return firmware(circuit, continuity(circuit))


def test_groups_and_boundary_of_the_bench() -> None:
    """Two groups, one boundary with a dead band from code 1 to 2101."""
    channel = constants(bench()).channels[0]
    assert [set(g.states) for g in channel.groups] == [{"open", "mosfet shorted", "not armed"}, {"intact", "shorted"}]
    (boundary,) = channel.boundaries
    assert (boundary.below_highest, boundary.code, boundary.above_lowest) == (0, 1051, 2102)
    assert boundary.ratio is None and "bus_divider" in (boundary.ratio_reason or "")


def test_pairs_without_threshold_say_why() -> None:
    """Every ambiguous pair is listed with both bands; none of them has a threshold."""
    circuit = bench(second=BUS)
    channel = constants(circuit).channels[0]
    missing = {m.states: m.reason for m in channel.missing}
    assert set(missing) == set(continuity(circuit).channels[0].cannot_tell_apart)
    assert "bands overlap: intact reads 2102.0 to 2653.0" in missing["intact", "shorted"]
    assert "separated by: bus voltage" in missing["open", "not armed"]
    assert not {frozenset(p) for p in missing} & {frozenset((t.below, t.above)) for t in channel.pairs}


def test_dead_controller_has_its_reason() -> None:
    """The state without a reading is named."""
    channel = constants(bench(powered_by="after arm switch")).channels[0]
    assert ("not armed", "every other state") in [m.states for m in channel.missing]


def test_ratio_boundary_lies_between_the_ratios() -> None:
    """With a bus divider the same boundary exists as a ratio, with its dead band."""
    ratio = constants(bench(second=BUS)).channels[0].boundaries[0].ratio
    assert ratio is not None
    assert ratio.below_highest < 0.01
    assert ratio.above_lowest == pytest.approx(0.97, abs=0.005)
    assert ratio.threshold == pytest.approx(0.5 * (ratio.below_highest + ratio.above_lowest))


@pytest.mark.parametrize(("noise", "samples"), [(10.0, 1), (220.0, 1), (222.0, 2), (2000.0, 82)])
def test_readings_to_average(noise: float, samples: int) -> None:
    """The nearer band edge is 1050.5 LSB away; noise over sqrt(n) may be 1/4.7534 of it."""
    boundary = constants(bench(adc=f"noise = {noise}")).channels[0].boundaries[0]
    assert samples == max(1, math.ceil((4.753424 * noise / 1050.5) ** 2))
    assert boundary.samples == samples


def test_misread_factor_is_one_in_a_million() -> None:
    """4.7534 standard deviations leave a millionth on one side."""
    assert math.erfc(MISREAD / math.sqrt(2.0)) / 2.0 == pytest.approx(1e-6, rel=1e-5)


def test_unknown_noise_gives_no_number() -> None:
    """Without a converter noise the number of readings is unknown."""
    boundary = constants(bench()).channels[0].boundaries[0]
    assert boundary.samples is None and "noise" in (boundary.samples_reason or "")


@pytest.mark.parametrize("pin", ["0.5 kohm", "50 kohm", "200 kohm"])
def test_charge_sharing_against_ngspice(pin: str) -> None:
    """What the sample capacitor lacks after the acquisition, beside a filter at its lowest, is that of a simulation."""
    circuit = bench(sense=FILTERED + f', pin_resistor = "{pin}"', adc=SAMPLED)
    left = remaining_charge(circuit, circuit.channels[0], "intact", phase_box(circuit, "armed"))
    source = 101e3 * 33.33e3 / 134.33e3
    resistor = circuit.channels[0].pin_resistor.high
    deck = (
        f"charge sharing\nV1 s 0 1.0\nR1 s tap {source!r}\nC1 tap 0 80n ic=1.0\n"
        f"R2 tap pin {resistor!r}\nC2 pin 0 8p ic=0\n"
        f"{OPTIONS}.tran 1n 2u 0 0.5n uic\n.end\n"
    )
    plot = run_deck(deck).plot("transient")
    missing = 1.0 - float(plot.signal("v(pin)")[-1])
    assert left == pytest.approx(missing, rel=2e-3)


def test_settling_without_filter_against_ngspice() -> None:
    """Without a filter the whole source resistance charges the sample capacitor: exp(-t/RC)."""
    circuit = bench(adc=SAMPLED)
    left = remaining_charge(circuit, circuit.channels[0], "intact", phase_box(circuit, "armed"))
    parts = "V1 s 0 1.0\nR1 s tap 101k\nR2 tap 0 33.33k\nC2 tap 0 8p ic=0\n"
    deck = f"settling\n{parts}{OPTIONS}.tran 1n 2u 0 0.5n uic\n.end\n"
    plot = run_deck(deck).plot("transient")
    final = 33.33 / 134.33
    assert left == pytest.approx(1.0 - float(plot.signal("v(tap)")[-1]) / final, rel=2e-3)


def test_settling_at_the_published_acquisition_time(published: Callable[[str], dict[str, Any]]) -> None:
    """After the published time for an eighth of a code the law of the bands leaves an eighth of a code."""
    entry = published("adc.settle_eighth")
    left = float(settling_error(entry["full"], entry["resistance"], 0.0, entry["capacitance"]))
    assert left * 2.0 ** entry["bits"] == pytest.approx(entry["error"], rel=1e-4), entry["source"]


def test_longest_test_pulse_takes_the_worst_string() -> None:
    """In a cluster the pulse is limited by one open string, whose neighbours carry more."""
    alone = constants(bench()).channels[0].longest_test_pulse
    shared = constants(cluster()).channels[0].longest_test_pulse
    assert alone is not None and shared is not None
    lead = bench().channels[0].lead.resistance.low
    current = 8.4 / (0.05 + lead + 0.8 + 0.01)
    assert alone == pytest.approx(-10e-3 * math.log1p(-0.01 * (0.2 / current) ** 2), rel=1e-6)
    assert shared > alone
