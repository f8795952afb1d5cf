"""Igniter tables made complete: ends of resistance, growth, thresholds and time constants by hand, and what is assumed.

The formulas are the bridge law of `ignition.parts.igniter` (C dT/dt = I^2 R(T) - gamma (T - ambient), from memory,
checked by algebra) and R(T) = R0 (1 + alpha (T - T0)), the definition of a temperature coefficient.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from ignition.circuit.assumptions import Ledger
from ignition.circuit.description import Igniter
from ignition.circuit.file import parse_circuit
from ignition.circuit.igniters import complete_igniter
from ignition.circuit.model import Assumption, IgniterModel
from ignition.errors import CircuitFileError, InputError
from ignition.parts.igniter import function_time, sustained
from ignition.toleranced import Toleranced, parse_toleranced
from tests.circuit.edits import CUTTER, edited

NO_FIRE = {"current": "0.2 A", "duration": "300 s", "reliability": 0.999, "confidence": 0.95}
ALL_FIRE = {"current": "0.8 A", "duration": "1 s", "reliability": 0.999, "confidence": 0.95}
GOOD: dict[str, Any] = {
    "bridge_resistance": "0.8 ohm .. 1.0 ohm .. 1.3 ohm",
    "temperature_coefficient": "0 / K",
    "no_fire": NO_FIRE,
    "all_fire": ALL_FIRE,
    "time_constant": "10 ms",
}
GROWING = {
    "temperature_coefficient": "0.001 / K",
    "function_temperature": "220 degC .. 270 degC .. 420 degC",
    "reference_temperature": "20 degC",
}


def completed(ambient: str = "20 degC", **changes: Any) -> tuple[IgniterModel, dict[tuple[str, str], Assumption]]:
    """An igniter with keys changed, those of None left out, and its assumptions by key and direction."""
    table = {key: value for key, value in (GOOD | changes).items() if value is not None}
    ledger = Ledger(judged=True)
    model = complete_igniter("match", Igniter.model_validate(table), parse_toleranced(ambient, "degC"), ledger)
    return model, {(a.key.removeprefix("igniter.match."), a.direction): a for a in ledger.assumptions}


def made(ambient: str = "20 degC", **changes: Any) -> IgniterModel:
    """That igniter alone."""
    return completed(ambient, **changes)[0]


def ends(value: Toleranced) -> tuple[float, float, float]:
    """Low, nominal and high."""
    return value.low, value.nominal, value.high


def test_resistance_follows_the_ambient_range() -> None:
    """R(T) = R0 (1 + alpha (T - 20)): 0.8 x 0.97 at -10 degC, 1.0 x 1.0 nominal, 1.3 x 1.05 at 70 degC."""
    found = made("-10 degC .. 20 degC .. 70 degC", **GROWING)
    assert ends(found.resistance) == pytest.approx((0.8 * 0.97, 1.0, 1.3 * 1.05), rel=1e-12)
    falling = made("-10 degC .. 40 degC .. 70 degC", **(GROWING | {"temperature_coefficient": "-0.001 / K"}))
    assert ends(falling.resistance) == pytest.approx((0.8 * 0.95, 0.98, 1.3 * 1.03), rel=1e-12)


def test_coefficient_and_reference_have_tolerances_too() -> None:
    """The corners: least coefficient with the latest reference for the least resistance on a hot day, and so on."""
    changes = GROWING | {
        "temperature_coefficient": "0.001 / K .. 0.002 / K .. 0.003 / K",
        "reference_temperature": "15 degC .. 25 degC",
    }
    found = made("60 degC", **changes)
    assert ends(found.resistance) == pytest.approx((0.8 * 1.035, 1.08, 1.3 * 1.135), rel=1e-12)
    assert ends(found.temperatures.function_resistance) == pytest.approx(
        (0.8 * (1 + 1e-3 * 195), 1 + 2e-3 * 250, 1.3 * (1 + 3e-3 * 405)), rel=1e-12
    )

    assert ends(found.temperatures.reference_growth) == pytest.approx((0.195, 0.5, 1.215), rel=1e-12)


def test_growth_is_a_range_over_ambient_and_function_temperature() -> None:
    """a = R(T_f) / R(T) - 1: least from the hottest ambient to the lowest T_f, most the other way; signs turn it."""
    found = made("-10 degC .. 20 degC .. 70 degC", **GROWING)
    assert ends(found.growth) == pytest.approx((1.2 / 1.05 - 1, 0.25, 1.4 / 0.97 - 1), rel=1e-12)
    assert ends(found.temperatures.reference_growth) == pytest.approx((0.2, 0.25, 0.4), rel=1e-12)
    falling = made("-10 degC .. 20 degC .. 70 degC", **(GROWING | {"temperature_coefficient": "-0.001 / K"}))
    assert ends(falling.growth) == pytest.approx((0.6 / 1.03 - 1, -0.25, 0.8 / 0.95 - 1), rel=1e-12)


def test_heated_holds_cold_and_function() -> None:
    """From the coldest ambient to function, either sign of the coefficient."""
    found = made("-10 degC .. 20 degC .. 70 degC", **GROWING)
    assert ends(found.heated) == pytest.approx((0.8 * 0.97, 1.0, 1.3 * 1.4), rel=1e-12)
    falling = made("-10 degC .. 20 degC .. 70 degC", **(GROWING | {"temperature_coefficient": "-0.001 / K"}))
    assert ends(falling.heated) == pytest.approx((0.8 * 0.6, 1.0, 1.3 * 1.03), rel=1e-12)


def test_statements_take_the_growth_at_the_reference_temperature() -> None:
    """The lowest threshold has the most growth and the slowest constant, the highest the least and the fastest."""
    short = {"no_fire": NO_FIRE | {"duration": "20 ms .. 30 ms"}, "all_fire": ALL_FIRE | {"duration": "20 ms .. 25 ms"}}
    found = made(time_constant="8 ms .. 10 ms .. 15 ms", **GROWING, **short)
    shift = ends(found.temperatures.shift)
    assert shift == (1.0, 1.0, 1.0)
    assert found.threshold_low == pytest.approx(float(sustained(0.2, 20e-3, 15e-3, 0.4)), rel=1e-12)
    assert found.threshold_high == pytest.approx(float(sustained(0.8, 25e-3, 8e-3, 0.2)), rel=1e-12)
    middle = math.sqrt(float(sustained(0.2, 25e-3, 10e-3, 0.25)) * float(sustained(0.8, 22.5e-3, 10e-3, 0.25)))
    assert found.threshold_nominal == pytest.approx(middle, rel=1e-12)


@pytest.mark.parametrize("coefficient", ["0 / K", "0.001 / K"])
def test_thresholds_shift_by_the_root_of_what_is_left(coefficient: str) -> None:
    """I0(T) = I0(T0) sqrt((T_f - T) / (T_f - T0)), whatever the coefficient: R(T_f) does not depend on the ambient."""
    found = made("-60 degC .. 70 degC .. 170 degC", **(GROWING | {"temperature_coefficient": coefficient}))
    low, high = math.sqrt(50 / 200), math.sqrt(280 / 200)
    assert ends(found.temperatures.shift) == pytest.approx((low, math.sqrt(200 / 250), high), rel=1e-12)
    assert found.no_fire_current == pytest.approx(0.2 * low) and found.all_fire_current == pytest.approx(0.8 * high)
    assert found.threshold_low == pytest.approx(0.2 * low) and found.threshold_high == pytest.approx(0.8 * high)
    assert found.threshold_nominal == pytest.approx(0.4 * math.sqrt(0.8), rel=1e-9)


def test_currents_of_statements_keep_their_duration() -> None:
    """Taken to infinite duration is the threshold alone; the statement's current is shifted only."""
    found = made(
        time_constant="1 s",
        no_fire=NO_FIRE | {"current": "0.2 A .. 0.25 A"},
        all_fire=ALL_FIRE | {"current": "0.75 A .. 0.8 A"},
    )
    assert (found.no_fire_current, found.all_fire_current) == (0.2, 0.8)
    assert found.threshold_high == pytest.approx(0.8 * math.sqrt(1 - math.exp(-1.0)), rel=1e-12)


def test_missing_function_temperature_is_the_plausible_worst() -> None:
    """Assumed from 120 degC: a hot day lowers the no-fire side by it, a cold day raises the all-fire side by it."""
    found, assumed = completed("-10 degC .. 20 degC .. 50 degC")
    assert found.threshold_low == pytest.approx(0.2 * math.sqrt(70 / 100), rel=1e-12)
    assert found.all_fire_current == pytest.approx(0.8 * math.sqrt(130 / 100), rel=1e-12)
    assert found.threshold_nominal == pytest.approx(0.4, rel=1e-9)
    assert assumed["function_temperature", "safe"].value == "120 degC: a hot day lowers the no-fire current"
    assert assumed["function_temperature", "fire"].value == "120 degC: a cold day raises the all-fire current"
    for direction in ("safe", "fire"):
        assert assumed["reference_temperature", direction].value == "20 degC"
    given, told = completed("-10 degC .. 20 degC .. 50 degC", function_temperature="300 degC")
    assert given.threshold_low == pytest.approx(0.2 * math.sqrt(250 / 280), rel=1e-12)
    assert ("function_temperature", "safe") not in told and ("reference_temperature", "safe") in told


def test_a_missing_function_temperature_is_never_better_than_one_of_120_degc() -> None:
    """Neither end improves where the key is left out, on a day that is only hot, only cold, or both."""
    for ambient in ("50 degC", "-10 degC", "-10 degC .. 50 degC"):
        left_out, given = made(ambient), made(ambient, function_temperature="120 degC .. 300 degC .. 600 degC")
        assert left_out.threshold_low is not None and given.threshold_low is not None
        assert left_out.threshold_high is not None and given.threshold_high is not None
        assert left_out.threshold_low <= given.threshold_low and left_out.threshold_high >= given.threshold_high
        assert left_out.threshold_nominal == pytest.approx(0.4, rel=1e-9)


def test_a_day_of_one_kind_does_not_help_on_an_assumption() -> None:
    """Only hot: the all-fire side stays; only cold: the no-fire side stays."""
    hot, cold = made("50 degC"), made("-10 degC")
    assert hot.all_fire_current == 0.8 and hot.no_fire_current == pytest.approx(0.2 * math.sqrt(0.7))
    assert cold.no_fire_current == 0.2 and cold.all_fire_current == pytest.approx(0.8 * math.sqrt(1.3))


def test_room_temperature_changes_nothing() -> None:
    """At exactly 20 degC no assumption of a temperature moves a number: the bench channel's thresholds to the last bit."""
    found = made()
    assert (found.threshold_low, found.threshold_high) == (0.2, 0.8)
    assert (found.no_fire_current, found.all_fire_current) == (0.2, 0.8)
    assert found.resistance == found.heated == Toleranced(low=0.8, nominal=1.0, high=1.3, unit="ohm")
    assert found.growth == Toleranced.exact(0.0) and found.temperatures.shift == Toleranced.exact(1.0)


@pytest.mark.parametrize("hottest", [120, 130])
def test_an_ambient_that_may_function_it(hottest: int) -> None:
    """At and above the lowest function temperature assumed, no current at all is safe; the all-fire side stands."""
    found = made(f"20 degC .. {hottest} degC")
    assert found.threshold_low == found.no_fire_current == 0.0
    assert found.threshold_high == 0.8
    with pytest.raises(InputError, match=r"function_temperature \(120 degC\) must lie above the ambient"):
        made(f"20 degC .. {hottest} degC", function_temperature="120 degC")


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (GROWING | {"reference_temperature": "220 degC"}, "and the reference temperature"),
        (
            {"reference_temperature": "110 degC .. 120 degC"},
            r"lowest function temperature that is assumed \(120 degC\); give",
        ),
        ({"temperature_coefficient": "-0.002 / K"}, "brings the bridge to zero ohm"),
        (GROWING | {"temperature_coefficient": "-0.0025 / K"}, "zero ohm: received -0.0025 / K at 420 degC"),
    ],
)
def test_temperatures_that_cannot_be(changes: dict[str, Any], message: str) -> None:
    """The message names the key and what to write."""
    with pytest.raises(InputError, match=message):
        made(**changes)


def test_an_assumed_function_temperature_of_a_growing_bridge() -> None:
    """Both ends of the range count for the growth, and the assumption says so."""
    found, assumed = completed(temperature_coefficient="0.001 / K")
    assert ends(found.growth) == pytest.approx((0.1, 0.28, 0.58), rel=1e-12)
    for direction in ("safe", "fire"):
        assert assumed["function_temperature", direction].value == "120 to 600 degC, the worse end"


def test_a_missing_coefficient_may_be_up_to_a_thousandth() -> None:
    """At 280 degC above the reference the bridge may have 1.28 times its resistance, or not grow; both are said."""
    found, assumed = completed(temperature_coefficient=None, function_temperature="300 degC")
    assert ends(found.growth) == pytest.approx((0.0, 0.0, 0.28), abs=1e-12)
    assert found.heated.high == pytest.approx(1.3 * 1.28)
    assert {("temperature_coefficient", "safe"), ("temperature_coefficient", "fire")} <= set(assumed)


def test_energy_holds_at_the_reference_temperature_with_the_resistance_at_function() -> None:
    """E0 = C (T_f - T0) = I0^2 R(T_f) tau: least energy, most resistance, lowest threshold are the fast case."""
    found = made(
        "-60 degC .. 70 degC .. 170 degC",
        **GROWING,
        time_constant=None,
        adiabatic_energy="1.5 mJ .. 2 mJ .. 3 mJ",
    )
    tau = found.time_constant
    assert found.threshold_low is not None and found.threshold_high is not None
    low, high = found.threshold_low / math.sqrt(50 / 200), found.threshold_high / math.sqrt(280 / 200)
    assert (low, high) == pytest.approx((0.2, 0.8), rel=1e-9)
    assert tau.fast == pytest.approx(1.5e-3 / (low**2 * 1.3 * 1.4), rel=1e-12)
    assert tau.slow == pytest.approx(3e-3 / (high**2 * 0.8 * 1.2), rel=1e-12)
    assert tau.nominal == pytest.approx(2e-3 / (0.4**2 * 1.25), rel=1e-6)
    assert found.energy is not None and found.energy.nominal == 2e-3


def test_lowest_threshold_with_an_energy_is_a_root_and_below_it() -> None:
    """The unit of that threshold, at its slowest, just functions at the end of the statement's shortest duration."""
    found = made(
        time_constant=None, adiabatic_energy="4 mJ", no_fire=NO_FIRE | {"duration": "0.25 s .. 1 s"}, **GROWING
    )
    low = found.threshold_low
    assert low is not None and 0.02 < low < 0.2
    slow = 4e-3 / (low**2 * 0.8 * 1.2)
    assert float(function_time(0.2, low, slow, 0.0, 0.4)) == pytest.approx(0.25, rel=1e-9)
    assert float(function_time(0.2, low, slow, 0.0, 0.4)) <= 0.25


def test_a_more_direct_statement_stands_before_the_energy() -> None:
    """A time constant, or a response, gives the ends; the energy then only has to agree."""
    direct = made(adiabatic_energy="1.6 mJ")
    assert (direct.time_constant.fast, direct.time_constant.slow, direct.energy) == (10e-3, 10e-3, None)
    time = 1e3 * float(function_time(2.0, 0.4, 10e-3))
    pairs = [["2 A", f"{0.9 * time} ms .. {time} ms .. {1.1 * time} ms"]]
    by_response = made(time_constant=None, response=pairs, adiabatic_energy="1.6 mJ")
    assert by_response.energy is None
    assert ends_of(by_response) == pytest.approx((9e-3, 10e-3, 11e-3), rel=1e-6)


def ends_of(found: IgniterModel) -> tuple[float | None, float | None, float | None]:
    """Fast, nominal and slow time constant."""
    tau = found.time_constant
    return tau.fast, tau.nominal, tau.slow


def test_response_ends_take_the_statements_tolerance() -> None:
    """A tested bridge of nominal threshold has the highest one in the fast case: sqrt(0.22 x 0.88) A, not 0.4 A."""
    pairs = [["1.8 A .. 2 A .. 2.2 A", "0.4 ms .. 0.5 ms .. 0.6 ms"]]
    found = made(
        time_constant=None,
        response=pairs,
        no_fire=NO_FIRE | {"current": "0.18 A .. 0.2 A .. 0.22 A"},
        all_fire=ALL_FIRE | {"current": "0.72 A .. 0.8 A .. 0.88 A"},
    )
    fast = 0.4e-3 / -math.log(1 - 0.22 * 0.88 / 1.8**2)
    slow = 0.6e-3 / -math.log(1 - 0.18 * 0.72 / 2.2**2)
    assert ends_of(found) == pytest.approx((fast, 0.5e-3 / -math.log(1 - 0.16 / 4), slow), rel=1e-6)


def test_response_ends_take_each_growth_at_its_worse_end() -> None:
    """Fast: statements with the least growth, the tested unit with the most; slow: the opposite."""
    pairs = [["2 A", "0.5 ms"]]
    found = made(time_constant=None, response=pairs, all_fire=ALL_FIRE | {"duration": "10 ms"}, **GROWING)

    def fixed_point(statement: float, tested: float) -> float:
        tau = 10e-3
        for _ in range(100):
            nominal = math.sqrt(0.2 * float(sustained(0.8, 10e-3, tau, statement)))
            tau = 0.5e-3 / float(function_time(2.0, nominal, 1.0, 0.0, tested))
        return tau

    fast, slow = fixed_point(0.2, 0.4), fixed_point(0.4, 0.2)
    assert slow > 1.01 * fast
    assert (found.time_constant.fast, found.time_constant.slow) == pytest.approx((fast, slow), rel=1e-6)


def test_an_assumed_duration_places_no_tested_bridge() -> None:
    """300 s and 50 ms, as in the nominal population: exact pairs then leave one time constant."""
    bare = {"no_fire": {"current": "0.2 A"}, "all_fire": {"current": "0.8 A"}}
    fast, nominal, slow = ends_of(made(time_constant=None, response=[["2 A", "0.5 ms"]], **bare))
    assert nominal is not None and (fast, slow) == pytest.approx((nominal, nominal), rel=1e-12)


def test_response_needs_both_statements() -> None:
    """They place the bridge that was tested."""
    for left_out in ("no_fire", "all_fire"):
        with pytest.raises(InputError, match="response needs both no_fire and all_fire"):
            made(time_constant=None, response=[["2 A", "0.5 ms"]], **{left_out: None})


def test_one_statement_gives_its_own_side() -> None:
    """The other side is unknown, with a time constant, with an energy and without either."""
    for heating in ({}, {"time_constant": None}, {"time_constant": None, "adiabatic_energy": "1.6 mJ"}):
        only_no_fire, only_all_fire = made(**heating, all_fire=None), made(**heating, no_fire=None)
        assert only_no_fire.threshold_low == pytest.approx(0.2) and only_no_fire.threshold_high is None
        assert only_all_fire.threshold_high == pytest.approx(0.8) and only_all_fire.threshold_low is None
        assert only_no_fire.all_fire_current is None and only_all_fire.no_fire_current is None
        assert only_no_fire.threshold_nominal is only_all_fire.threshold_nominal is None
        assert only_no_fire.time_constant.fast is not None and only_all_fire.time_constant.slow is not None


def test_default_time_constant_has_a_nominal_of_its_own() -> None:
    """3, 12 and 50 ms, also where one statement is missing; a given one keeps its nominal there too."""
    assert ends_of(made(time_constant="8 ms .. 10 ms .. 15 ms", no_fire=None)) == (8e-3, 10e-3, 15e-3)
    assert ends_of(made(time_constant=None)) == (3e-3, 12e-3, 50e-3)
    assert ends_of(made(time_constant=None, all_fire=None)) == (3e-3, 12e-3, 50e-3)


def test_missing_durations_take_their_worse_end() -> None:
    """No-fire: 1 ms counts. All-fire: 300 s, the current itself is the threshold; the nominal pulse stays 50 ms."""
    bare = {"reliability": 0.999, "confidence": 0.95}
    found, assumed = completed(no_fire={"current": "0.2 A"} | bare, all_fire={"current": "0.8 A"} | bare)
    assert found.threshold_low == pytest.approx(0.2 * math.sqrt(1 - math.exp(-0.1)), rel=1e-12)
    assert found.threshold_high == 0.8
    assert found.threshold_nominal == pytest.approx(math.sqrt(0.2 * 0.8 * math.sqrt(1 - math.exp(-5.0))), rel=1e-9)
    assert assumed["no_fire.duration", "safe"].value == "1 ms"
    assert assumed["all_fire.duration", "fire"].value == "300 s: held for ever, the all-fire current is just enough"


def test_a_missing_no_fire_duration_with_an_energy_says_nothing() -> None:
    """One millisecond cannot bring 1.6 mJ at 0.2 A: any threshold is possible, so none is safe; a given one is refused."""
    changes = {"time_constant": None, "adiabatic_energy": "1.6 mJ"}
    found = made(**changes, no_fire={"current": "0.2 A"})
    assert found.threshold_low == 0.0 and found.time_constant.fast is not None
    assert found.threshold_nominal == pytest.approx(0.4, rel=1e-6)
    with pytest.raises(InputError, match=r"no_fire.duration \(1 ms\) is too short"):
        made(**changes, no_fire={"current": "0.2 A", "duration": "1 ms"})


def test_what_a_statement_does_not_say_stays_unsaid() -> None:
    """No reliability, confidence, source or date is invented; the nominal igniter is placed at 0.999 and says so."""
    found, assumed = completed(no_fire={"current": "0.2 A", "duration": "300 s"})
    statement = found.no_fire
    assert statement is not None
    assert (statement.reliability, statement.confidence, statement.source, statement.date) == (None, None, "", "")
    assert found.threshold_nominal == pytest.approx(0.4, rel=1e-9)
    assert assumed["no_fire.reliability", "safe"].value == "0.999, for the nominal igniter alone"
    assert ("all_fire.reliability", "fire") not in assumed
    full = made(no_fire=NO_FIRE | {"source": "lot sheet 7", "date": "2026-03-01"}).no_fire
    assert full is not None and (full.source, full.date) == ("lot sheet 7", "2026-03-01")


@pytest.mark.parametrize(
    ("stated", "meets"),
    [
        ({"reliability": 0.999, "confidence": 0.95}, True),
        ({"reliability": 0.9999, "confidence": 0.99}, True),
        ({"reliability": 0.998, "confidence": 0.95}, False),
        ({"reliability": 0.999, "confidence": 0.94}, False),
        ({"reliability": 0.999}, False),
        ({"confidence": 0.95}, False),
    ],
)
def test_a_statement_meets_what_it_reaches(stated: dict[str, float], meets: bool) -> None:
    """Equality is enough; what is not stated is not met."""
    statement = made(all_fire={"current": "0.8 A", "duration": "1 s"} | stated).all_fire
    assert statement is not None and statement.meets(0.999, 0.95) is meets


def test_what_the_limits_ask_is_a_key() -> None:
    """Given, it stands; left out, 0.999 at 0.95 is assumed in both directions; wrong, it is refused at its line."""
    usual = parse_circuit(CUTTER)
    assert (usual.required_reliability, usual.required_confidence) == (0.999, 0.95)
    assert {(a.key, a.direction) for a in usual.assumptions if a.key.startswith("rules")} == {
        (f"rules.{key}", direction) for key in ("reliability", "confidence") for direction in ("safe", "fire")
    }
    own = parse_circuit(CUTTER + "\n[rules]\nreliability = 0.9\nconfidence = 0.8\n")
    assert (own.required_reliability, own.required_confidence) == (0.9, 0.8)
    assert not any(a.key.startswith("rules") for a in own.assumptions)
    with pytest.raises(CircuitFileError, match=r"rules.confidence: must be a number above 0.5 and below 1"):
        parse_circuit(CUTTER + "\n[rules]\nconfidence = 95\n")


def test_a_date_is_text() -> None:
    """TOML's own dates have no quotes: refused with the key."""
    with pytest.raises(CircuitFileError, match=r"no_fire\.date: .*valid string"):
        parse_circuit(edited(CUTTER, ('current = "0.25 A"', 'current = "0.25 A", date = 2026-01-01')))
