"""The opposite question: needed resistance, gain and current by hand, and the number that forbids."""

from __future__ import annotations

import pytest

from ignition.analyses.continuity.requirement import line_resistance, requirements
from ignition.circuit.file import parse_circuit
from ignition.errors import InputError
from tests.analyses.sense_circuits import bench, cluster, text

EXACT = '{ resistance = "0.1 ohm", joints = "0 ohm" }'


def test_line_resistance_by_hand() -> None:
    """Lead plus strings in parallel, with one of three open, and shorted."""
    circuit = cluster(lead=EXACT)
    channel = circuit.channels[0]
    assert line_resistance(circuit, channel, "intact") == pytest.approx((0.1 + 0.8 / 3, 0.1 + 1.3 / 3))
    assert line_resistance(circuit, channel, "one string open", opened=1) == pytest.approx((0.1 + 0.4, 0.1 + 0.65))
    assert line_resistance(circuit, channel, "shorted") == pytest.approx((0.1, 0.1))


def test_overlapping_resistances_forbid_any_current() -> None:
    """0.7 to 1.3 ohm bridges: three may be 0.533 ohm, two 0.45 ohm; no current separates them; both are named."""
    circuit = cluster(lead=EXACT, bridge="0.7 ohm .. 1.0 ohm .. 1.3 ohm")
    found = requirements(circuit, circuit.channels[0], "one string open")
    assert not any(r.possible for r in found)
    for r in found:
        assert r.lower_highest == pytest.approx(0.1 + 1.3 / 3)
        assert r.upper_lowest == pytest.approx(0.1 + 0.35)
        assert "not possible" in r.says and "0.5333" in r.says and "0.45" in r.says
        assert r.total_resistance is None


def test_amplifier_by_hand() -> None:
    """Close bridges: 20 mA (a tenth of no-fire) needs a gain of 2 x error / (I / 1.02 x gap)."""
    circuit = cluster(lead=EXACT, bridge="0.95 ohm .. 1.0 ohm .. 1.05 ohm", total_error="4")
    amplifier = requirements(circuit, circuit.channels[0], "one string open")[-1]
    error = 2 * 4.5 * 3.333 / 4096
    gap = 0.98 * (0.1 + 0.95 / 2) - 1.02 * (0.1 + 1.05 / 3)
    assert amplifier.unit_gain_current == pytest.approx(error / gap, rel=1e-9)
    assert amplifier.gain == pytest.approx(error / (0.02 / 1.02 * gap), rel=1e-9)
    assert amplifier.possible
    assert amplifier.total_resistance == pytest.approx(8.4 / 0.02)
    assert amplifier.current_limit == pytest.approx(0.02)


def test_divider_for_a_short_by_hand() -> None:
    """The ratio form solves (S + R_upper) / (S + R_lower) = Q, and the current that follows exceeds the limit."""
    circuit = bench(lead=EXACT)
    ratio = requirements(circuit, circuit.channels[0], "shorted")[1]
    assert ratio.total_resistance is not None
    share = (32.67 / (32.67 + 101.0), 33.33 / (33.33 + 99.0))
    code = 7.0 * share[0] / 3.333 * 4096
    quotient = (share[1] / share[0] * (code + 0.5) / (code - 0.5)) ** 2
    total = ratio.total_resistance
    assert (total + 0.9) / (total + 0.1) == pytest.approx(quotient, rel=1e-9)
    assert ratio.current == pytest.approx(8.4 / total)
    assert not ratio.possible
    assert "0.02 A at most" in ratio.says


def test_battery_range_forbids_absolute_codes() -> None:
    """A battery that spans a factor of two hides an ohm whatever the divider."""
    circuit = bench(voltage="5 V .. 7 V .. 10 V")
    absolute = requirements(circuit, circuit.channels[0], "joint", joint=0.5)[0]
    assert not absolute.possible
    assert "not possible" in absolute.says


def test_wide_joint_is_possible_with_a_divider() -> None:
    """A joint of 1 kohm can be seen by a divider below the monitor limit."""
    circuit = bench()
    absolute = requirements(circuit, circuit.channels[0], "joint", joint=1000.0)[0]
    assert absolute.possible and absolute.total_resistance is not None and absolute.current is not None
    assert absolute.current <= 0.02


def test_unknown_no_fire_leaves_it_open() -> None:
    """Without a no-fire current nothing is called possible; the answer says what is unknown."""
    lines = [line for line in text().splitlines() if not line.startswith("no_fire")]
    circuit = parse_circuit("\n".join(lines), "bench.toml")
    for r in requirements(circuit, circuit.channels[0], "shorted"):
        assert not r.possible
        assert "unknown" in r.says


@pytest.mark.parametrize(
    ("target", "options", "message"),
    [
        ("one string open", {}, "has no target 'one string open'; there are shorted, joint"),
        ("open", {}, "has no target 'open'"),
        ("joint", {"joint": 0.0}, "must be above 0"),
        ("joint", {"joint": float("nan")}, "must be above 0"),
        ("shorted", {"current_tolerance": 1.0}, "below 1"),
    ],
)
def test_wrong_questions_are_refused(target: str, options: dict[str, float], message: str) -> None:
    """A target that the channel cannot have, and numbers out of range."""
    circuit = bench()
    with pytest.raises(InputError, match=message):
        requirements(circuit, circuit.channels[0], target, **options)
