"""A value that moves: what is asked for, where it goes, and how its tolerance goes with it."""

from __future__ import annotations

import itertools

import pytest

from ignition.analyses.study.vary import varied
from ignition.circuit.file import parse_circuit
from ignition.circuit.values import with_values
from ignition.errors import InputError
from ignition.toleranced import Toleranced
from tests.circuit.sound import SOUND

CIRCUIT = parse_circuit(SOUND, "pad.toml")


def ends(value: Toleranced) -> tuple[float, float, float]:
    """All three."""
    return value.low, value.nominal, value.high


def test_tolerance_moves_by_the_same_factor() -> None:
    """40 .. 60 .. 100 mohm, twice as large; where the file has it, it is the file's circuit itself."""
    found = varied(CIRCUIT, "battery.resistance")
    assert (found.unit, found.start, found.low, found.high) == ("ohm", 0.06, pytest.approx(6e-4), pytest.approx(6.0))
    assert ends(found.at(0.12).battery.resistance) == pytest.approx((0.08, 0.12, 0.2))
    assert found.at(0.06) is CIRCUIT
    same = with_values(CIRCUIT, {"battery.resistance": "80 mohm .. 120 mohm .. 200 mohm"})
    assert found.at(0.12).battery == same.battery


def test_temperatures_and_what_is_around_zero_are_shifted() -> None:
    """15 to 25 degC about 20 degC becomes -15 to -5 degC; a coefficient about nothing keeps its width."""
    warm = with_values(CIRCUIT, {"ambient.temperature": "15 degC .. 20 degC .. 25 degC"})
    found = varied(warm, "ambient.temperature")
    assert (found.low, found.high, found.logarithmic) == (-60.0, 125.0, False)
    assert ends(found.at(-10.0).ambient) == (-15.0, -10.0, -5.0)
    coefficient = with_values(CIRCUIT, {"igniter.match.temperature_coefficient": "-0.0001 / K .. 0 / K .. 0.0001 / K"})
    moved = varied(coefficient, "igniter.match.temperature_coefficient=0 / K..0.001 / K").at(5e-4)
    assert ends(moved.igniters["match"].temperatures.coefficient) == pytest.approx((4e-4, 5e-4, 6e-4))


def test_whole_numbers_stay_whole() -> None:
    """Bits of the converter: every whole number of the range, each once."""
    found = varied(CIRCUIT, "controller.adc.bits=8..12")
    assert found.whole and found.points(15) == [8.0, 9.0, 10.0, 11.0, 12.0]
    assert found.at(10.0).controller.adc.bits == 10
    between = varied(CIRCUIT, "controller.adc.bits=7.5..12.5")
    assert (between.low, between.high) == (8.0, 12.0)
    assert found.middle(8.0, 12.0) == 10.0 and found.middle(8.0, 9.0) is None


def test_points() -> None:
    """By factors, with both ends and the file's own value; evenly where a range touches zero."""
    found = varied(CIRCUIT, "channel.line.lead.distance=1 m..100 m")
    points = found.points(5)
    assert points == pytest.approx([1.0, 3.0, 10.0**0.5, 10.0, 10.0**1.5, 100.0]) and points[1] == 3.0
    assert (points[0], points[-1]) == (1.0, 100.0)
    cold = varied(CIRCUIT, "ambient.temperature=-30 degC..-10 degC")  # 20 degC lies outside
    assert cold.points(3) == pytest.approx([-30.0, -20.0, -10.0])
    zero = varied(CIRCUIT, "battery.resistance=0 ohm..1 ohm")
    assert not zero.logarithmic and zero.points(3) == pytest.approx([0.0, 0.06, 0.5, 1.0])
    assert not varied(CIRCUIT, "ambient.temperature=10 degC..30 degC").logarithmic
    assert found.middle(4.0, 9.0) == pytest.approx(6.0) and cold.middle(-30.0, -10.0) == pytest.approx(-20.0)
    assert found.middle(10.0, 10.009) is None and found.middle(10.0, 10.011) is not None
    assert cold.middle(-20.0, -19.981) is None and cold.middle(-20.0, -19.979) is not None
    for low, high in itertools.pairwise(points):
        middle = found.middle(low, high)
        assert middle is None or low < middle < high


def test_a_member_by_place_or_name() -> None:
    """The same value however it is named; one of a list of parts."""
    assert varied(CIRCUIT, "channel[0].pulse").start == varied(CIRCUIT, "channel.line.pulse").start == 0.5
    upper = varied(CIRCUIT, "channel.line.sense.upper[1]").at(60e3).channels[0].uppers
    assert [one.nominal for one in upper] == pytest.approx([49.9e3, 60e3])


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (
            "battery.resistence",
            r"--vary battery.resistence: the file does not give battery.resistence; give it, or --set",
        ),
        ("channel.boost.pulse", "the file does not give channel.boost"),
        ("channel[3].pulse", r"the file does not give channel\[3\]"),
        ("battery.polarisation", "'none' is no number; name a value"),
        ("battery", "dict is no number"),
        ("checklist.interlock_in_series", "bool is no number"),
        ("battery.resistance=1 ohm", "a range is FROM..TO, for example .* received '1 ohm'"),
        ("battery.resistance=1 ohm..", "a range is FROM..TO"),
        ("battery.resistance=2 ohm..1 ohm", "does not ascend"),
        ("battery.resistance=1 ohm..1 ohm", "the range must ascend"),
        ("battery.resistance=1 V..2 V", "--vary battery.resistance: .*V"),
        ("igniter.match.temperature_coefficient", "from which no range follows; write one"),
        ("a..b", "'a..b' is no key"),
        ("", "'' is no key"),
    ],
)
def test_mistakes(asked: str, says: str) -> None:
    """What was received, and what to write instead."""
    with pytest.raises(InputError, match=says):
        varied(CIRCUIT, asked)
