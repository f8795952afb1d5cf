"""Highest uncommanded current against the no-fire current: by hand, and where a wrong answer would be a wrong PASS."""

from __future__ import annotations

import math

import pytest

from ignition.analyses.no_fire.steady import IgniterNoFire, PhaseNoFire, no_fire
from ignition.circuit.file import parse_circuit
from tests.circuit.edits import CUTTER, DEMO, edited


def whole(text: str, name: str, channel: int = 0) -> PhaseNoFire:
    """One phase of one channel."""
    return next(p for p in no_fire(parse_circuit(text)).channels[channel].phases if p.phase == name)


def phase(text: str, name: str, channel: int = 0) -> IgniterNoFire:
    """The igniter of least margin in one phase of one channel."""
    return whole(text, name, channel).least


def test_armed_current_is_the_divider_s() -> None:
    """6.8 V less the 0.2 V of a dead controller's clamp over 99 kohm; alive, over 99 kohm + 46.53 kohm, it is less."""
    found = phase(CUTTER, "armed")
    assert found.current == pytest.approx((6.8 - 0.2) / 99e3, rel=5e-5) and found.controller == "dead"
    assert found.current > 6.8 / (99e3 + 46.53e3)
    assert found.limit == pytest.approx(0.25, rel=1e-9) and found.ratio == pytest.approx(0.25 / found.current)
    assert found.decibel == pytest.approx(20 * math.log10(found.ratio))
    assert found.thermal_fraction == pytest.approx((found.current / 0.25) ** 2)


def test_disarmed_carries_nothing() -> None:
    """Behind an open arm switch no current flows, and the missing ratio has its reason."""
    found = phase(CUTTER, "disarmed")
    assert found.current == 0.0 and found.ratio is None and found.reason == "no current flows"


def test_controller_behind_the_arm_switch_pushes_nothing_through() -> None:
    """A controller after the arm switch is dead while disarmed and adds nothing to an igniter."""
    text = edited(CUTTER, ("before arm switch", "after arm switch"))
    assert phase(text, "disarmed").current == 0.0
    assert phase(text, "armed").current == pytest.approx(phase(CUTTER, "armed").current, rel=1e-6)


def test_the_no_fire_current_is_taken_to_infinite_duration() -> None:
    """A statement over one time constant is worth sqrt(1 - 1/e) of itself for good; the slowest constant counts."""
    text = edited(
        CUTTER,
        ('duration = "300 s"', 'duration = "1 s"'),
        ('time_constant = "20 ms"', 'time_constant = "0.5 s .. 0.8 s .. 1 s"'),
    )
    assert phase(text, "armed").limit == pytest.approx(0.25 * math.sqrt(1 - math.exp(-1.0)), rel=1e-9)


def test_a_short_statement_with_an_energy_is_solved_for_both() -> None:
    """With an energy the constant follows from the threshold itself: x = 1 - exp(-a x), a = I^2 R t / E, x = (I0 / I)^2."""
    # E at its highest, R at its lowest: a = 0.25^2 x 1.2 x 0.2 / 10 mJ = 1.5
    text = edited(
        CUTTER, ('duration = "300 s"', 'duration = "200 ms"'), ('time_constant = "20 ms"', 'adiabatic_energy = "10 mJ"')
    )
    limit = phase(text, "armed").limit
    assert limit is not None
    share = (limit / 0.25) ** 2
    assert share == pytest.approx(1 - math.exp(-1.5 * share), rel=1e-6) and share == pytest.approx(0.5828, abs=1e-3)


def test_a_statement_that_says_nothing_is_refused() -> None:
    """A no-fire pulse that carries less than the energy to fire promises no steady current: refused, not guessed."""
    text = edited(
        CUTTER, ('duration = "300 s"', 'duration = "1 ms"'), ('time_constant = "20 ms"', 'adiabatic_energy = "10 mJ"')
    )
    with pytest.raises(ValueError, match=r"igniter\.cutter"):
        parse_circuit(text)


def test_heat_lowers_the_limit() -> None:
    """Where the function temperature is given, a hot ambient lowers the limit by sqrt((Tf - T) / (Tf - T0))."""
    text = edited(
        CUTTER,
        ('temperature = "20 degC"', 'temperature = "20 degC .. 60 degC"'),
        (
            'time_constant = "20 ms"',
            'time_constant = "20 ms"\nfunction_temperature = "220 degC"\nreference_temperature = "20 degC"',
        ),
    )
    assert phase(text, "armed").limit == pytest.approx(0.25 * math.sqrt(160.0 / 200.0), rel=1e-9)


def test_least_growth_is_the_hottest() -> None:
    """x = u / (1 + a (1 - u)), u = (I / I0)^2, with a = R(200 degC) / R(60 degC) - 1: nearest to function."""
    growing = (
        ('time_constant = "20 ms"', 'time_constant = "20 ms"\nfunction_temperature = "200 degC .. 300 degC"'),
        ('temperature_coefficient = "0 / K"', 'temperature_coefficient = "0.004 / K"'),
    )
    divider = ('upper = "100 kohm ± 1 %", lower = "47 kohm ± 1 %"', 'upper = "30 ohm", lower = "20 ohm"')
    found = phase(edited(CUTTER, ('"20 degC"', '"20 degC .. 60 degC"'), *growing, divider), "armed")
    assert found.limit == pytest.approx(0.25 * math.sqrt(140 / 180), rel=1e-12)
    u = (found.current / found.limit) ** 2
    assert 0.2 < u < 0.95
    assert found.thermal_fraction == pytest.approx(u / (1 + (1.72 / 1.16 - 1) * (1 - u)), rel=1e-9)


@pytest.mark.parametrize("name", ["disarmed", "armed"])
def test_an_ambient_that_may_function_it_has_no_margin(name: str) -> None:
    """At 120 degC, the lowest function temperature assumed: ratio 0 with its reason, with and without a current."""
    hot = (('"20 degC"', '"20 degC .. 120 degC"'), ('_temperature = "20 degC"', '_temperature = "ambient"'))
    found = phase(edited(CUTTER, *hot), name)
    assert found.limit == 0.0 and not found.ratio and (found.decibel, found.thermal_fraction) == (None, None)
    assert found.reason == "igniter 'cutter' may function at the hottest ambient without any current"


def test_all_strings_but_one_may_be_open() -> None:
    """Three strings in parallel share the divider's current; the last one left carries it all, as a lone igniter does."""
    found = phase(DEMO, "armed")
    alone = phase(edited(DEMO, ('[["booster"], ["booster"], ["booster"]]', '[["booster"]]')), "armed")
    assert found.line_state.startswith("only string")
    assert found.current == pytest.approx(alone.current, rel=1e-9)


def test_every_igniter_is_listed_with_its_own_limit() -> None:
    """In a cluster of two types both appear, each with its current and limit."""
    circuit = edited(DEMO, ('[["booster"], ["booster"], ["booster"]]', '[["booster"], ["marker"]]'))
    found = whole(circuit, "armed").igniters
    assert [one.igniter for one in found] == ["boosters.igniter 1.1", "boosters.igniter 2.1"]
    assert found[0].limit != found[1].limit and found[1].current > 0.0


@pytest.mark.parametrize("name", ["disarmed", "reset", "armed"])
def test_without_a_statement_there_is_no_margin(name: str) -> None:
    """No no-fire current: no limit, no ratio, and the reason names the igniter."""
    text = edited(
        CUTTER, ('no_fire = { current = "0.25 A", duration = "300 s", reliability = 0.999, confidence = 0.95 }', "")
    )
    found = phase(text, name)
    assert found.limit is None and found.ratio is None and found.thermal_fraction is None
    assert found.reason == "igniter 'cutter' has no no-fire current"


def test_current_into_a_short_is_the_divider_s_too() -> None:
    """With the igniter shorted the armed current is still set by the divider and a dead controller's clamp."""
    assert whole(CUTTER, "armed").into_short.current == pytest.approx((6.8 - 0.2) / 99e3, rel=1e-4)
