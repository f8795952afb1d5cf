"""The builder's answer: limits that just do, the budget, the cold day, the charge, and the texts."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace
from typing import Any

import pytest
from rich.console import Console

from ignition.analyses.cluster.answer import ClusterAnswer, best_layout, charge_use, cluster
from ignition.analyses.cluster.arrangement import cluster_current
from ignition.analyses.cluster.cold_day import at_ambient, cold_day
from ignition.analyses.cluster.ohm_budget import battery_sizes, ohm_budget, remedies
from ignition.circuit.description import Description
from ignition.circuit.few_inputs import FewInputs, circuit_from, describe
from ignition.errors import InputError
from ignition.parts.conductor import conductor_area, copper_resistance
from ignition.report.cluster_text import cluster_text
from ignition.report.json_walk import to_json
from ignition.toleranced import Toleranced
from tests.analyses.firing.firing_cases import firing_circuit

FEW = FewInputs(
    battery="lithium-polymer 2S, 1300 mAh, polarisation none",
    readings="open 8.02 V ± 10 mV, loaded 7.61 V ± 10 mV, load 3.3 ohm ± 5 %, temperature 15 degC",
    igniter="1.0 ohm .. 1.1 ohm .. 1.3 ohm, all-fire 0.9 A 50 ms, no-fire 0.25 A, temperature coefficient 0 / K",
    lead="AWG 20, 8 m, joints 50 mohm .. 100 mohm",
    arm_switch="20 mohm .. 50 mohm",
    ambient="-5 degC .. 15 degC .. 30 degC",
)
"""What many can say: igniter, battery protection, fuse and brown-out are left open."""

ALL = replace(
    FEW,
    igniter="1.0 ohm .. 1.1 ohm .. 1.3 ohm, all-fire 0.9 A 50 ms 0.999 at 0.95, no-fire 0.25 A 300 s, "
    "time constant 12 ms, function temperature 280 degC, reference temperature 20 degC, spent open, "
    "temperature coefficient 0 / K",
    mosfet="10 mohm .. 20 mohm .. 40 mohm",
    pulse="500 ms",
    brown_out="none",
    trip="none",
    fuse="none",
)
"""Every text given, so that nothing is UNKNOWN."""

ALL_FIRE = 0.9 * math.sqrt((120 + 5) / (120 - 20))
"""At -5 degC, with the lowest function temperature that is assumed [A]."""


@pytest.fixture(scope="module")
def answered() -> ClusterAnswer:
    """The answer for four in parallel."""
    return cluster(FEW, 4, trials=4000)


@pytest.fixture(scope="module")
def complete() -> ClusterAnswer:
    """The same with every text given."""
    return cluster(ALL, 4, trials=0)


def printed(answer: ClusterAnswer) -> str:
    """The text in 80 columns."""
    file = io.StringIO()
    cluster_text(answer, Console(file=file, width=80, color_system=None))
    return file.getvalue()


def test_verdict_is_the_margin(complete: ClusterAnswer) -> None:
    """PASS just where the lowest current reaches 1.5 times all-fire at the coldest, as the number at once says too."""
    assert complete.margin is not None and complete.current.lowest is not None
    all_fire = 0.9 * math.sqrt((280 + 5) / (280 - 20))
    assert complete.all_fire == pytest.approx(all_fire, rel=1e-12)
    assert complete.margin == pytest.approx(complete.current.lowest / all_fire, rel=1e-12)
    assert complete.most[0].count == 2 and complete.verdict == "FAIL"
    for count, verdict in ((2, "PASS"), (3, "FAIL")):
        assert cluster(ALL, count, trials=0).verdict == verdict


def test_what_is_not_said_is_no_pass(answered: ClusterAnswer) -> None:
    """The same two in parallel without the optional texts: enough current, and every text that is missing is named."""
    found = cluster(FEW, 2, trials=0)
    assert found.margin is not None and found.margin >= 1.5 and found.verdict == "UNKNOWN"
    assert {f.verdict for f in found.findings} == {"PASS", "UNKNOWN"}
    assert {key for f in found.findings if f.verdict == "UNKNOWN" for key in f.keys} == {
        "--igniter (all fire reliability)", "--igniter (all fire confidence)", "--igniter (spent)",
        "--brown-out", "--trip", "--fuse",
    }  # fmt: skip


def test_unknown_without_all_fire() -> None:
    """Without an all-fire current the verdict is UNKNOWN and the text says why."""
    answer = cluster(replace(FEW, igniter="1 ohm, no-fire 0.2 A"), 2, trials=100)
    assert answer.verdict == "UNKNOWN" and answer.most[0].count is None
    text = printed(answer)
    assert text.startswith("UNKNOWN: 2 igniters in parallel: the all-fire current is not given.")
    assert "no all-fire statement" in text


def test_limits_just_do(complete: ClusterAnswer) -> None:
    """With the battery or the lead at its limit the margin is 1.5, beyond it less."""
    circuit = complete.circuit
    channel = circuit.channels[0]
    fixes = remedies(circuit, channel)
    assert fixes.battery_resistance is not None and fixes.lead_resistance is not None
    for name, ohms in (("battery.resistance", fixes.battery_resistance), ("cluster.lead", fixes.lead_resistance)):
        found = cluster_current(circuit, channel, {name: Toleranced.exact(ohms, "ohm")})
        assert found.lowest == pytest.approx(1.5 * (complete.all_fire or 0.0), rel=1e-6)


def test_wire_and_length_follow_from_the_lead_limit(answered: ClusterAnswer) -> None:
    """The thinnest wire fits, the next thinner does not; the longest lead of the present wire meets the limit."""
    fixes = answered.remedies
    assert fixes.lead_resistance is not None and fixes.thinnest_wire is not None and fixes.longest_lead is not None

    def lead(wire: str, distance: float) -> float:
        return 1.246 * float(copper_resistance(2 * distance, conductor_area(wire), 30.0)) + 0.1

    gauge = int(fixes.thinnest_wire.removeprefix("AWG "))
    assert lead(f"AWG {gauge}", 8.0) <= fixes.lead_resistance < lead(f"AWG {gauge + 2}", 8.0)
    assert lead("AWG 20", fixes.longest_lead) == pytest.approx(fixes.lead_resistance, rel=1e-9)


def test_nothing_would_do() -> None:
    """Where even a perfect battery or lead is not enough, it is said."""
    answer = cluster(replace(FEW, lead="20 ohm"), 4, trials=0)
    assert answer.remedies.battery_resistance is None
    assert "no battery resistance, however small" in printed(answer)
    assert answer.most[0].count == 0 and "none parallel" in printed(answer)


def test_budget_adds_up(answered: ClusterAnswer) -> None:
    """The parts are the whole loop: shares make 1, and V/sum is the battery's nominal current."""
    budget = ohm_budget(answered.circuit, answered.circuit.channels[0])
    assert sum(s.share for s in budget) == pytest.approx(1.0, rel=1e-12)
    assert [s.share for s in budget] == sorted((s.share for s in budget), reverse=True)
    total = sum(s.resistance.nominal for s in budget)
    assert answered.current.nominal == pytest.approx(8.02 / total / 4, rel=1e-9)


def test_battery_sizes_scale_with_cells_and_cold(answered: ClusterAnswer) -> None:
    """Highest default cell resistance, times cells in series over parallel, times the factor of the coldest ambient."""
    sizes = battery_sizes(answered.circuit, "lithium-polymer", 2, 3, 0.1)
    factor = math.exp(31000.0 / 8.31446261815324 * (1 / 268.15 - 1 / 298.15))  # greatest activation energy
    assert sizes[-1].resistance == pytest.approx(0.005 * 2 / 3 * factor, rel=1e-12)
    assert [s.enough for s in sizes] == sorted(s.enough for s in sizes)


def test_cold_day_by_hand() -> None:
    """At each temperature: the readings' resistance scaled from 15 degC, the poorest lead at that temperature."""
    description = describe(FEW, (1,) * 4)
    for temperature in (-10.0, 15.0, 30.0):
        circuit = at_ambient(description, temperature)
        span = 1 / (temperature + 273.15) - 1 / 288.15
        factor = max(math.exp(energy / 8.31446261815324 * span) for energy in (-9000.0, 31000.0))
        measured = 3.3 * 1.05 * (8.03 / 7.60 - 1.0)
        assert circuit.battery.resistance.high == pytest.approx(measured * factor, rel=1e-9)
        wire = 1.246 * float(copper_resistance(16.0, conductor_area("AWG 20"), temperature))
        assert circuit.channels[0].lead.round_trip.high == pytest.approx(wire, rel=1e-9)
    days = cold_day(description)
    margins = [d.margin for d in days]
    to_the_reading = margins[:4]  # -20 to 10 degC; beyond the 15 degC of the reading its resistance may rise again
    assert to_the_reading == sorted(to_the_reading, key=lambda m: m or 0.0)
    alike = cold_day(description, temperatures=(-5.0,))[0]
    assert alike.margin is not None
    assert alike.margin >= (cluster(FEW, 4, trials=0).margin or 0.0)
    assert alike.lowest_current is not None
    assert alike.margin == pytest.approx(alike.lowest_current / ALL_FIRE, rel=1e-12)
    warm = cold_day(description, temperatures=(30.0,))[0]
    assert warm.lowest_current is not None and warm.margin == pytest.approx(warm.lowest_current / 0.9, rel=1e-12)


def test_cold_day_outside_the_chemistry() -> None:
    """A temperature for which the chemistry has no law has a reason in place of numbers."""
    day = cold_day(describe(FEW, (1,)), temperatures=(-60.0,))[0]
    assert day.margin is None and day.reason is not None and "-60" in day.reason


def test_cold_day_of_a_file() -> None:
    """A description read from a file has its curve too, channel by channel."""
    import tomllib

    from ignition.circuit.examples import example_text

    days = cold_day(Description.model_validate(tomllib.loads(example_text("demo"))), channel="boosters")
    assert len(days) == 6 and all(d.margin is not None and d.most is not None for d in days)


def test_charge_by_hand(complete: ClusterAnswer) -> None:
    """Four bridges of 1 ohm that open draw most while unfired; a fifth of 1.3 Ah over that charge, rounded down."""
    charge, circuit = complete.charge, complete.circuit
    loop = circuit.battery.resistance.low + 0.02 + circuit.channels[0].lead.resistance.low + 0.01 + 1.0 / 4
    assert charge.most == pytest.approx(0.5 * 8.03 / loop, rel=1e-9)
    assert charge.most is not None and charge.launches == int(0.2 * 4680.0 / charge.most)


def test_spent_bridges_of_more_resistance_do_not_lower_the_charge() -> None:
    """The bound keeps the current of the unfired cluster where spent bridges pass less."""
    fired = cluster(replace(FEW, igniter=FEW.igniter + ", spent 500 ohm"), 4, trials=0)
    assert fired.charge.most == pytest.approx((fired.current.total or 0.0) * 0.5, rel=1e-12)


@pytest.mark.parametrize("spent", ["", ", spent short"])
def test_spent_shorts_raise_the_charge(spent: str) -> None:
    """Bridges that become a short, or may do so, draw more for the rest of the pulse."""
    circuit = circuit_from(replace(FEW, igniter=f"1 ohm, all-fire 0.9 A 50 ms{spent}"), (1, 1))
    channel = circuit.channels[0]
    use = charge_use(circuit, channel, cluster_current(circuit, channel))
    loop = 8.03 / (circuit.battery.resistance.low + 0.02 + channel.lead.resistance.low + 1e-6)
    assert use.most == pytest.approx(0.5 * loop, rel=1e-6)


def test_falling_bridges_raise_the_charge() -> None:
    """1 ohm that falls to 1 - 0.001 x 280 = 0.72 ohm on its way: two in parallel behind 0.1 ohm at 6 V for 0.5 s."""
    lines = 'temperature_coefficient = "-0.001 / K"\nfunction_temperature = "300 degC"'
    circuit = firing_circuit([["match"], ["match"]], igniter=lines)
    channel = circuit.channels[0]
    use = charge_use(circuit, channel, cluster_current(circuit, channel))
    assert use.most == pytest.approx(0.5 * 6.0 / (0.101 + 0.36), rel=1e-9)


def test_mixed_takes_the_best_layout() -> None:
    """Of 12 igniters in equal strings the layout with the highest worst-case current is chosen."""
    chosen = best_layout(FEW, 12, "mixed")
    worst = {}
    for strings in ((6, 6), (4, 4, 4), (3,) * 4, (2,) * 6):
        circuit = circuit_from(FEW, strings)
        worst[strings] = cluster_current(circuit, circuit.channels[0]).lowest or 0.0
    assert chosen == max(worst, key=lambda s: worst[s])
    with pytest.raises(InputError, match="--count: 7 igniters do not make two or more equal strings"):
        best_layout(FEW, 7, "mixed")


@pytest.mark.parametrize(
    ("spent", "opens", "conducts"),
    [("", True, True), (", spent open", True, False), (", spent short", False, True), (", spent 5 ohm .. 30 ohm", False, True)],
)  # fmt: skip
def test_cautions_fit_the_spent_state(spent: str, opens: bool, conducts: bool) -> None:
    """Bridges that may open end a series; those that may conduct starve their neighbours: without a word, both."""
    given = replace(FEW, igniter=FEW.igniter + spent)
    series, parallel = (cluster(given, 2, arrangement, trials=0).cautions for arrangement in ("series", "parallel"))
    assert any("first bridge to open" in c for c in series) == opens
    assert any("stays conductive" in c for c in parallel) == conducts


def test_cautions_on_pulse_and_protection(complete: ClusterAnswer) -> None:
    """A pulse shorter than the all-fire statement's, and a protection circuit that nobody speaks of."""
    short = cluster(replace(ALL, pulse="10 ms"), 1, trials=0).cautions
    assert any("shorter than the all-fire duration" in c for c in short)
    assert any("protection circuit" in c for c in cluster(replace(ALL, trip=None), 1, trials=0).cautions)
    assert complete.cautions == ()


def test_text_answers_first_and_fits(answered: ClusterAnswer) -> None:
    """First line the answer, 80 columns, plain characters but for ±, every assumption, the cautions at the end."""
    text = printed(answered)
    first = text.splitlines()[0]
    assert first.startswith(f"{answered.verdict}: 4 igniters in parallel: at worst ")
    assert max(len(line) for line in text.splitlines()) <= 80
    for heading in (
        "EACH IGNITER GETS",
        "HOW MANY AT ONCE",
        "WHERE THE OHMS ARE",
        "ON A COLD DAY",
        "IF IT DOES NOT LIGHT",
    ):
        assert heading in text
    for assumption in answered.assumptions:
        assert assumption.key in text
    assert "Cautions" in text and "certain" not in text.lower()


def test_json_holds_the_same(answered: ClusterAnswer) -> None:
    """The JSON object has the verdict, the numbers and the contract's probability, and no NaN."""
    found: dict[str, Any] = json.loads(to_json(answered))
    assert found["verdict"] == answered.verdict and found["current"]["low"] == answered.current.lowest
    assert found["most"][0]["count"] == answered.most[0].count
    assert {"value", "lower_95", "trials", "seed"} <= set(found["probability_all_fire"])
    assert found["would_do"]["thinnest_wire"] == answered.remedies.thinnest_wire
    assert len(found["cold_day"]) == 6 and len(found["assumptions"]) == len(answered.assumptions)


def test_json_without_numbers() -> None:
    """Unknown numbers are null with a reason."""
    found = json.loads(to_json(cluster(replace(FEW, igniter="1 ohm"), 1, trials=0)))
    assert found["all_fire_margin"]["value"] is None and found["all_fire_margin"]["reason"]
    assert found["most"][0]["count"] is None and found["most"][0]["reason"]


def test_a_day_gets_what_the_answer_says() -> None:
    """At one exact ambient the day of that temperature has the currents of the answer, whatever is left out."""
    few = FewInputs(
        igniter="1.1 ohm, all-fire 0.9 A 50 ms 0.999 at 0.95, time constant 12 ms, no-fire 0.25 A",
        lead="AWG 20, 8 m",
        battery="12.0 V .. 12.6 V, 80 mohm",
        ambient="20 degC",
    )
    circuit = circuit_from(few, (1, 1))
    (day,) = cold_day(describe(few, (1, 1)), temperatures=[20.0])
    assert day.lowest_current == pytest.approx(cluster_current(circuit, circuit.channels[0]).lowest, rel=1e-12)
