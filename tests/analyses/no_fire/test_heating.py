"""Heating by a test current: steady square law, pulse by the bridge law, its inverse, and the limit's basis."""

from __future__ import annotations

import math
import tomllib

import numpy as np
import pytest

from ignition.analyses.no_fire.heating import current_limit, heating, longest_pulse
from ignition.circuit.description import Description
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.parts.igniter import steady_thermal_fraction, thermal_fraction
from tests.analyses.igniter_units import igniter_lines, sampled, units_of
from tests.analyses.sense_circuits import bench, text

NAME = "line.igniter 1.1"


def test_steady_current_by_hand() -> None:
    """A tenth of the no-fire current is a hundredth of the way to function."""
    circuit = bench()
    threshold = circuit.igniters["match"].threshold_low
    assert threshold == pytest.approx(0.2, rel=1e-9)
    found = heating(circuit, circuit.channels[0], {NAME: 0.02}, None)
    assert found.thermal_fraction == pytest.approx(0.01, rel=1e-9)
    assert found.no_fire_margin == pytest.approx(10.0, rel=1e-9)
    assert found.energy is None


def test_pulse_by_hand() -> None:
    """A pulse of 1 ms at 2 A in 10 ms: (2 / 0.2)^2 (1 - exp(-0.1)); energy in the highest bridge resistance."""
    circuit = bench()
    found = heating(circuit, circuit.channels[0], {NAME: 2.0}, 1e-3)
    assert found.thermal_fraction == pytest.approx(100.0 * (1.0 - math.exp(-0.1)), rel=1e-9)
    assert found.energy == pytest.approx(4.0 * 1.3 * 1e-3, rel=1e-9)


@pytest.mark.parametrize("current", [0.05, 0.5, 3.0, 7.0])
@pytest.mark.parametrize("fraction", [0.001, 0.01, 0.05])
def test_longest_pulse_is_the_inverse(current: float, fraction: float) -> None:
    """The longest pulse put back into the bridge law gives the thermal fraction asked for."""
    circuit = bench()
    length, reason = longest_pulse(circuit, circuit.channels[0], {NAME: current}, fraction)
    assert reason is None and length is not None
    again = float(thermal_fraction(current, circuit.igniters["match"].threshold_low or 0.0, 10e-3, length))
    assert again == pytest.approx(fraction, rel=1e-9)


def test_energy_is_that_of_all_igniters_where_one_has_no_no_fire_current() -> None:
    """The first igniter's statement is missing: no fraction, and still the larger energy of the second."""
    mute = """[igniter.mute]
bridge_resistance = "1 ohm"
[igniter.match]"""
    circuit = parse_circuit(text(igniters='[["mute"], ["match"]]').replace("[igniter.match]", mute, 1), "bench.toml")
    currents = {NAME: 1.0, "line.igniter 2.1": 2.0}
    found = heating(circuit, circuit.channels[0], currents, 1e-3)
    assert found.thermal_fraction is None and found.reason == "igniter 'mute' has no no-fire current"
    assert found.energy == pytest.approx(4.0 * 1.3 * 1e-3, rel=1e-12)


TWO = """[igniter.weak]
bridge_resistance = "2 ohm"
no_fire = { current = "0.1 A", duration = "300 s", reliability = 0.999, confidence = 0.95 }
time_constant = "20 ms"
[igniter.match]"""
SECOND = "line.igniter 2.1"


@pytest.mark.parametrize("weak", [NAME, SECOND])
def test_of_two_igniters_the_worse_counts(weak: str) -> None:
    """0.3 A in a bridge of 0.1 A and 20 ms, 0.4 A in one of 0.2 A and 10 ms, in either order.

    Steady, and for 1 ms: (0.3 / 0.1)^2 (1 - exp(-1 / 20)) = 0.44, (0.4 / 0.2)^2 (1 - exp(-1 / 10)) = 0.38.
    """
    strings = '[["weak"], ["match"]]' if weak == NAME else '[["match"], ["weak"]]'
    circuit = parse_circuit(text(igniters=strings).replace("[igniter.match]", TWO, 1), "bench.toml")
    strong = SECOND if weak == NAME else NAME
    currents = {name: 0.3 if name == weak else 0.4 for name in (NAME, SECOND)}
    channel = circuit.channels[0]
    steady = heating(circuit, channel, currents, None)
    assert steady.current == 0.4 and steady.energy is None and steady.reason is None
    assert steady.thermal_fraction == pytest.approx(9.0) and steady.no_fire_margin == pytest.approx(1.0 / 3.0)
    pulse = heating(circuit, channel, currents, 1e-3)
    assert pulse.thermal_fraction == pytest.approx(9.0 * -math.expm1(-0.05), rel=1e-9)
    assert pulse.energy == pytest.approx(max(0.3**2 * 2.0, 0.4**2 * 1.3) * 1e-3, rel=1e-12)
    length, _ = longest_pulse(circuit, channel, currents)
    assert length == pytest.approx(-20e-3 * math.log1p(-0.01 / 9.0), rel=1e-9)
    # the other one's would be longer
    assert length < -10e-3 * math.log1p(-0.01 / 4.0)
    limit, basis = current_limit(circuit, channel)
    assert limit == pytest.approx(0.01) and "'weak'" in basis
    none = heating(circuit, channel, {weak: 0.0, strong: 0.0}, None)
    assert (none.current, none.no_fire_margin, none.reason) == (0.0, None, "no current flows")
    one = heating(circuit, channel, {weak: 0.0, strong: 0.1}, None)
    assert one.no_fire_margin == pytest.approx(2.0) and one.thermal_fraction == pytest.approx(0.25)


@pytest.mark.parametrize(("current", "reached"), [(0.02, False), (0.0201, True)])
def test_a_hundredth_is_reached_just_above_a_tenth(current: float, reached: bool) -> None:
    """A tenth of the no-fire current reaches a hundredth of the rise after all time, and never before."""
    circuit = bench()
    length, reason = longest_pulse(circuit, circuit.channels[0], {NAME: current})
    assert (length is not None) is reached and (reason is None) is reached
    assert longest_pulse(circuit, circuit.channels[0], {NAME: 0.0})[0] is None
    threshold = circuit.igniters["match"].threshold_low
    assert threshold is not None
    assert longest_pulse(circuit, circuit.channels[0], {NAME: current}, (current / threshold) ** 2)[0] is None


def test_a_bridge_whose_growth_just_makes_up_for_its_losses() -> None:
    """Growth g and drive (I / I0)^2 = (1 + g) / g: no rate is left, and the temperature rises in a straight line.

    From 20 to 220 degC with 0.001 / K: g = 0.2, so the drive is 6, the gain 5, and a hundredth takes 10 ms / 500.
    """
    lines = (GROWING[0].replace(" .. 320 degC", ""), GROWING[1])
    circuit = igniter('time_constant = "10 ms"', 'reference_temperature = "20 degC"', *lines)
    assert circuit.igniters["match"].growth.low == pytest.approx(0.2, rel=1e-12)
    for current in (0.2 * math.sqrt(6.0), 0.2 * math.sqrt(6.0 * (1 + 1e-9)), 0.2 * math.sqrt(6.0 * (1 - 1e-9))):
        length, _ = longest_pulse(circuit, circuit.channels[0], {NAME: current})
        assert length == pytest.approx(10e-3 * 0.01 / 5.0, rel=1e-5)


def test_weak_current_has_no_longest_pulse() -> None:
    """A current below a tenth of no-fire never reaches a hundredth."""
    circuit = bench()
    length, reason = longest_pulse(circuit, circuit.channels[0], {NAME: 0.01})
    assert length is None
    assert "no length" in (reason or "")


def test_limit_is_a_tenth_of_no_fire() -> None:
    """The limit names its basis."""
    circuit = bench()
    limit, basis = current_limit(circuit, circuit.channels[0])
    assert limit == pytest.approx(0.02, rel=1e-9)
    assert "0.1 of the lowest no-fire current of 'match'" in basis


def test_own_limit_of_the_file_counts() -> None:
    """A stricter limit of the circuit file wins, and is named."""
    own = (
        '[[rules.limit]]\nname = "club"\nkind = "monitor current at most"\ncurrent = "5 mA"\n'
        'source = "club rules"\ndate = "2026-01-01"\n'
    )
    circuit = parse_circuit(text() + own, "bench.toml")
    limit, basis = current_limit(circuit, circuit.channels[0])
    assert limit == pytest.approx(5e-3)
    assert "'club'" in basis


@pytest.mark.parametrize(
    ("kind", "figure", "limit"),
    [
        ("monitor current at most", "share_of_no_fire = 0.05", 0.01),
        ("monitor current at most", "share_of_no_fire = 0.2", 0.02),
        ("monitor current at most", 'current = "8 mA .. 9 mA .. 10 mA"', 8e-3),
        ("firing current at least", 'current = "8 mA"', 0.02),
        ("firing current at least", "share_of_all_fire = 0.001", 0.02),
    ],
)
def test_the_limit_of_an_own_rule(kind: str, figure: str, limit: float) -> None:
    """The stricter one of a tenth of 0.2 A and an own limit on the monitor current; one on firing says nothing of it."""
    own = f'[[rules.limit]]\nname = "club"\nkind = "{kind}"\n{figure}\nsource = "club rules"\ndate = "2026-01-01"\n'
    circuit = parse_circuit(text() + own, "bench.toml")
    found, basis = current_limit(circuit, circuit.channels[0])
    assert found == pytest.approx(limit, rel=1e-9) and ("'club'" in basis) is (limit < 0.02)


def test_unknown_no_fire_has_no_limit() -> None:
    """Without a no-fire current there is no limit and no fraction, and the reason names the igniter."""
    lines = [line for line in text().splitlines() if not line.startswith("no_fire")]
    circuit = parse_circuit("\n".join(lines), "bench.toml")
    limit, basis = current_limit(circuit, circuit.channels[0])
    assert limit is None and "'match'" in basis
    found = heating(circuit, circuit.channels[0], {NAME: 1.0}, 1e-3)
    assert found.thermal_fraction is None and found.no_fire_margin is None and found.reason == basis
    assert longest_pulse(circuit, circuit.channels[0], {NAME: 1.0}) == (None, basis)


def igniter(*lines: str, ambient: str = "20 degC", given: str = 'time_constant = "10 ms"') -> Circuit:
    """The bench with other igniter lines in place of its time constant."""
    stated = 'resistance_temperature = "ambient"\nresistance = "40'
    whole = text(ambient=ambient).replace('resistance = "40', stated, 1)
    return parse_circuit(whole.replace(given, "\n".join(lines)), "bench.toml")


GROWING = ('function_temperature = "220 degC .. 320 degC"', 'temperature_coefficient = "0.001 / K"')


def test_least_growth_is_the_hottest() -> None:
    """Threshold at 70 degC, least growth from 70 to 220 degC, steady and in a pulse with the fastest constant."""
    circuit = igniter('time_constant = "8 ms .. 10 ms .. 15 ms"', *GROWING, ambient="-10 degC .. 20 degC .. 70 degC")
    threshold, growth = 0.2 * math.sqrt(150 / 200), 1.2 / 1.05 - 1
    steady = heating(circuit, circuit.channels[0], {NAME: 0.1}, None)
    assert steady.thermal_fraction == pytest.approx(float(steady_thermal_fraction(0.1, threshold, growth)), rel=1e-12)
    assert steady.no_fire_margin == pytest.approx(threshold / 0.1, rel=1e-12)
    pulse = heating(circuit, circuit.channels[0], {NAME: 1.0}, 0.2e-3)
    expected = float(thermal_fraction(1.0, threshold, 8e-3, 0.2e-3, 0.0, growth))
    assert pulse.thermal_fraction == pytest.approx(expected, rel=1e-12) and expected < 1.0
    assert pulse.energy == pytest.approx(1.3 * 1.3 * 0.2e-3, rel=1e-12)
    length, _ = longest_pulse(circuit, circuit.channels[0], {NAME: 1.0}, 0.05)
    assert length is not None
    assert float(thermal_fraction(1.0, threshold, 8e-3, length, 0.0, growth)) == pytest.approx(0.05, rel=1e-9)


@pytest.mark.parametrize("duration", [None, 10.0])
def test_a_runaway_is_cut_at_the_square(duration: float | None) -> None:
    """Beyond function any number above 1 says that it functions: (I / I0)^2, never infinite."""
    circuit = igniter('time_constant = "10 ms"', *GROWING)
    found = heating(circuit, circuit.channels[0], {NAME: 1.0}, duration)
    assert found.thermal_fraction == pytest.approx(25.0, rel=1e-12)
    at_limit = heating(circuit, circuit.channels[0], {NAME: 0.2}, None)
    assert at_limit.thermal_fraction == pytest.approx(1.0, rel=1e-12)


def test_surroundings_that_may_function_it_have_no_margin() -> None:
    """At 120 degC, the lowest function temperature assumed, no current is small enough: a reason, and no number."""
    circuit = igniter('time_constant = "10 ms"', ambient="20 degC .. 120 degC")
    for duration in (None, 1e-3):
        found = heating(circuit, circuit.channels[0], {NAME: 1e-6}, duration)
        assert found.thermal_fraction is None and found.no_fire_margin is None
        assert "may function at the hottest ambient without any current" in (found.reason or "")
    length, why = longest_pulse(circuit, circuit.channels[0], {NAME: 1e-6})
    assert length is None and why == found.reason


def test_an_igniter_without_a_time_constant_is_taken_at_its_fastest() -> None:
    """Left out: 3 ms counts. Where an energy has no no-fire current to go with, the reason names the current."""
    circuit = igniter()
    assert heating(circuit, circuit.channels[0], {NAME: 1.0}, 1e-4).thermal_fraction == pytest.approx(
        25.0 * (1.0 - math.exp(-1e-4 / 3e-3)), rel=1e-12
    )
    lines = [line for line in text().splitlines() if not line.startswith("no_fire")]
    energy = "\n".join(lines).replace('time_constant = "10 ms"', 'adiabatic_energy = "1.6 mJ"')
    bare = parse_circuit(energy, "bench.toml")
    assert heating(bare, bare.channels[0], {NAME: 1.0}, 1e-4).reason == "igniter 'match' has no no-fire current"


@pytest.mark.parametrize("seed", range(30))
def test_no_unit_is_heated_more(seed: int) -> None:
    """Units as heat capacity, loss and resistance at one common ambient, under constant currents: all stay below."""
    rng = np.random.default_rng(500 + seed)
    ambient = ["-40 degC .. 20 degC .. 60 degC", "20 degC"][seed % 2]
    changed = text(ambient=ambient)
    lines = "\n".join(igniter_lines(rng, 1.0))
    keep = [line for line in changed.splitlines() if not line.startswith(("no_fire", "all_fire", "time_constant"))]
    changed = "\n".join(line + ("\n" + lines if line.startswith("bridge_resistance") else "") for line in keep)
    circuit = parse_circuit(changed, "bench.toml")
    model, given = circuit.igniters["match"], Description.model_validate(tomllib.loads(changed)).igniter["match"]
    units = units_of(model, given, rng, 400)
    air = sampled(circuit.ambient, rng, 400)
    cold = units.resistance * (1.0 + units.coefficient * (air - units.reference))
    slope = units.resistance * units.coefficient
    assert model.threshold_low is not None
    for current in model.threshold_low * np.array([0.2, 0.9, 3.0]):
        net = units.loss - current**2 * slope
        for duration in (None, 0.1e-3, 2e-3, 50e-3):
            share = 1.0 if duration is None else -np.expm1(-net * duration / units.capacity)
            rise = current**2 * cold / net * share
            found = heating(circuit, circuit.channels[0], {NAME: float(current)}, duration)
            fraction = (rise / (units.function - air))[units.possible & ((net > 0.0) | (duration is not None))]
            if model.threshold_low == 0.0:  # an assumed duration and an energy leave every threshold possible
                assert found.thermal_fraction is None and found.reason
                continue
            assert found.thermal_fraction is not None
            assert (np.minimum(fraction, 1.0) <= found.thermal_fraction * (1 + 1e-9)).all()
            if duration is not None:
                warmest = np.where(units.possible, cold + slope * np.clip(rise, 0.0, units.function - air), 0.0)
                assert found.energy is not None
                assert (current**2 * np.maximum(cold, warmest) * duration <= found.energy * (1 + 1e-9)).all()
        length, _ = longest_pulse(circuit, circuit.channels[0], {NAME: float(current)}, 0.05)
        if length is not None:
            rise = current**2 * cold / net * -np.expm1(-net * length / units.capacity)
            assert (rise / (units.function - air))[units.possible].max() <= 0.05 * (1 + 1e-9)
