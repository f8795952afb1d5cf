"""Firing currents and function times by hand, and bounds that no marched trial leaves."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.analyses.firing.firing import IgniterFiring, firing
from ignition.analyses.firing.on_state import on_states
from ignition.analyses.firing.sequence import igniter_list, march_circuit
from ignition.analyses.no_fire.steady import no_fire
from ignition.analyses.verdict import check
from ignition.circuit.examples import load_example
from ignition.circuit.file import parse_circuit
from ignition.findings.presets import rule_limit, rules
from ignition.network.worst_case import draw
from ignition.parts.igniter import function_time, thermal_fraction
from tests.analyses.firing.firing_cases import firing_circuit
from tests.circuit.edits import DEMO, FED, OPENS, edited


def test_cutter_by_hand() -> None:
    """Ohm's law around the loop, and t = -tau ln(1 - (I0 / I)^2), at the three corners."""
    # AWG 22: 0.127 mm x 92^(14/39); copper 1/58 ohm mm2/m; 3 m of it out and back
    area = math.pi / 4 * (0.127 * 92 ** (14 / 39)) ** 2
    wire = 3.0 / 58.0 / area
    igniter = firing(parse_circuit(OPENS)).channels[0].igniters[0]
    low = 6.0 / (0.150 + 0.040 + 1.246 * wire + 0.100 + 1.8 + 0.030)  # wire of any make-up
    nominal = 6.4 / (0.080 + 0.020 + wire + 0.040 + 1.5 + 0.020)
    high = 6.8 / (0.050 + 0.010 + 0.82 * wire + 0.020 + 1.2 + 0.015)
    # the sense divider draws some 1e-5 of this
    assert (igniter.current.low, igniter.current.nominal, igniter.current.high) == pytest.approx(
        (low, nominal, high), rel=1e-6
    )
    times = [-0.020 * math.log1p(-((i0 / i) ** 2)) for i0, i in ((0.25, high), (0.5, nominal), (1.0, low))]
    spread = igniter.function_time
    assert (spread.low, spread.nominal, spread.high) == pytest.approx(times, rel=1e-5)
    assert igniter.all_fire_margin == pytest.approx(low / 1.0, rel=1e-6) and igniter.functions == "always"


def test_bench_values(published: Callable[[str], dict[str, Any]]) -> None:
    """A bench channel whose answers were worked out apart from this package."""
    text = edited(
        OPENS,
        ("6.0 V .. 6.4 V .. 6.8 V", "7.0 V .. 7.6 V .. 8.4 V"),
        ("50 mohm .. 80 mohm .. 150 mohm", "40 mohm .. 60 mohm .. 100 mohm"),
        ("10 mohm .. 20 mohm .. 40 mohm", "10 mohm .. 20 mohm .. 50 mohm"),
        ("1.2 ohm .. 1.5 ohm .. 1.8 ohm", "0.8 ohm .. 1.0 ohm .. 1.3 ohm"),
        ('current = "0.25 A"', 'current = "0.2 A"'),
        ('current = "1.0 A"', 'current = "0.8 A"'),
        ('time_constant = "20 ms"', 'time_constant = "10 ms"'),
        ("15 mohm .. 20 mohm .. 30 mohm", "10 mohm .. 14 mohm .. 20 mohm"),
        ('wire = "AWG 22", distance = "1.5 m"', 'resistance = "0.39970799955868247 ohm"'),
        ('lower = "47 kohm', 'lower = "33 kohm'),
        ('supply = "3.0 V"', 'supply = "3.3 V"'),
    )
    igniter = firing(parse_circuit(text)).channels[0].igniters[0]
    for name, spread in (("current", igniter.current), ("function_time", igniter.function_time)):
        entry = published(f"bench.{name}")
        found = (spread.low, spread.nominal, spread.high)
        assert found == pytest.approx(entry["value"], rel=entry["rel_tol"]), entry["source"]


CLUSTERS = {
    "parallel": '[["booster"], ["booster"], ["booster"]]',
    "series": '[["booster", "booster", "booster"]]',
    "mixed": '[["booster", "booster"], ["booster"]]',
}


@pytest.mark.parametrize("spent", ['"open"', '"short"', '"3 ohm .. 10 ohm .. 40 ohm"'])
@pytest.mark.parametrize("shape", sorted(CLUSTERS))
@pytest.mark.parametrize("start", ["0 s", "1 ms", "2 s"])
def test_no_trial_leaves_the_function_time_bounds(shape: str, spent: str, start: str) -> None:
    """Marched trials over all tolerances and thresholds: never earlier than low, never later than high, 'always' always."""
    text = edited(
        DEMO,
        (CLUSTERS["parallel"], CLUSTERS[shape]),
        ('spent = "open"', f"spent = {spent}"),
        ('start = "2 s"', f'start = "{start}"'),
        # weak enough that some cases fail
        ("2 mohm .. 4 mohm .. 8 mohm", "20 mohm .. 60 mohm .. 300 mohm"),
    )
    circuit = parse_circuit(text)
    trials = 400
    rng = np.random.default_rng(7)
    _, box = on_states(circuit, frozenset(c.name for c in circuit.channels))
    values: dict[str, Any] = draw(box, rng, trials)
    igniters = igniter_list(circuit)
    threshold, constant = (np.empty((len(igniters), trials)) for _ in range(2))
    for row, (_, name, model) in enumerate(igniters):
        assert model.threshold_low and model.threshold_high and model.time_constant.fast and model.time_constant.slow
        threshold[row] = np.exp(rng.uniform(np.log(model.threshold_low), np.log(model.threshold_high), trials))
        constant[row] = rng.uniform(model.time_constant.fast, model.time_constant.slow, trials)
        if model.spent_resistance is not None:
            values[f"{name} spent"] = model.spent_resistance.sample(rng, trials)
    result = march_circuit(circuit, values, threshold=threshold, time_constant=constant)
    found = {i.igniter: i for c in firing(circuit).channels for i in c.igniters}
    for row, (owner, name, _) in enumerate(igniters):
        times = result.function_time[row] - circuit.channel(owner).start.nominal
        spread = found[name].function_time
        functioned = np.isfinite(times)
        if spread.low is not None and functioned.any():
            assert times[functioned].min() >= spread.low * (1 - 1e-9), name
        if found[name].functions == "always":
            assert functioned.all() and spread.high is not None and times.max() <= spread.high * (1 + 1e-9), name
        if found[name].functions == "never":
            assert not functioned.any(), name


def test_gate_below_the_lowest_row_is_refused() -> None:
    """A gate drive below the data sheet's lowest row gives no lowest current, and no PASS."""
    circuit = parse_circuit(edited(OPENS, ('gate = "2.5 V"', 'gate = "4.5 V"')))
    channel = firing(circuit).channels[0]
    igniter = channel.igniters[0]
    assert igniter.current.low is None and "lowest on-resistance row" in (igniter.current.reason or "")
    assert igniter.all_fire_margin is None and igniter.functions != "always" and channel.on_resistance.high is None
    verdicts = {f.rule: f.verdict for f in check(circuit).findings}
    assert verdicts["gate-drive"] == "FAIL" and verdicts["firing-current-150-percent"] == "UNKNOWN"


def test_brown_out_ends_the_pulse() -> None:
    """A battery that sags below the controller's brown-out cannot promise that the igniter functions."""
    circuit = parse_circuit(
        edited(
            OPENS,
            ('supply = "3.0 V"', 'supply = "3.0 V"\nbrown_out = "2.8 V"\ndropout = "0.3 V"'),
            ("50 mohm .. 80 mohm .. 150 mohm", "500 mohm .. 800 mohm .. 1.35 ohm"),
        )
    )
    result = firing(circuit)
    igniter = result.channels[0].igniters[0]
    assert result.controller_supply.low is not None and result.controller_supply.low < 2.8
    assert igniter.functions == "sometimes" and "reset" in (igniter.reason or "")
    assert {f.rule: f.verdict for f in check(circuit).findings}["controller-supply"] == "FAIL"


def test_reset_pull_up_against_a_weak_pull_down_fires() -> None:
    """45 kohm to 3.3 V against 100 kohm holds the gate at 2.3 V: the margin in reset is far below 1."""
    channel = no_fire(load_example("reset-pull-up")).channels[0]
    reset = next(p for p in channel.phases if p.phase == "reset")
    assert reset.gate.gate_voltage.nominal == pytest.approx(3.3 * 100e3 / (100e3 + 45e3 + 100.0), rel=1e-6)
    assert reset.least.ratio is not None and reset.least.ratio < 0.1
    others = [p.least.ratio for p in channel.phases if p.phase != "reset"]
    assert all(ratio is None or ratio > 1000 for ratio in others)


def test_floating_gate_never_passes() -> None:
    """Without a pull-down the gate may float to the rail in reset: no PASS."""
    circuit = parse_circuit(edited(OPENS, (', pull_down = "10 kohm"', "")))
    verdicts = {(f.rule, f.phase): f.verdict for f in check(circuit).findings}
    assert verdicts["gate-held-off", "reset"] == "FAIL" and verdicts["below-no-fire", "reset"] == "FAIL"


def test_one_open_string_concentrates_the_current() -> None:
    """The worst no-fire margin of a cluster is that with another string open."""
    phase = no_fire(load_example("demo")).channels[0].phases[-1]
    assert phase.least.line_state == f"only string {phase.least.igniter.split()[-1][0]} connected"


def test_missing_no_fire_is_never_a_pass() -> None:
    """Every limit that needs the no-fire current is UNKNOWN without it."""
    result = check(load_example("unknown-igniter"))
    needs = (
        "below-no-fire",
        "monitor-current-tenth",
        "output-leakage-20-db",
        "current-into-short",
        "test-current-energy-tenth",
    )
    assert {f.verdict for f in result.findings if f.rule in needs} == {"UNKNOWN"} and result.verdict == "UNKNOWN"


@pytest.mark.parametrize(
    ("name", "verdict"),
    [
        ("demo", "PASS"),
        ("long-lead-pad", "PASS"),
        ("ejection-single-cell", "PASS"),
        ("reset-pull-up", "FAIL"),
        ("unknown-igniter", "UNKNOWN"),
        ("cold-cluster", "FAIL"),
        ("tether-cutter", "FAIL"),
    ],
)
def test_examples_have_their_verdicts(name: str, verdict: str) -> None:
    """Each example shows what it is there to show."""
    assert check(load_example(name)).verdict == verdict


@pytest.mark.parametrize("key", ["tenth_1A", "short_200mA", "short_1A", "energy_100mA", "energy_1A"])
def test_written_limits(key: str, published: Callable[[str], dict[str, Any]]) -> None:
    """What each written limit allows for a no-fire current."""
    entry = published(f"limits.{key}")
    rule = next(r for r in rules() if r.id == entry["rule"])
    assert rule_limit(rule, entry["no_fire"]) == pytest.approx(entry["value"], abs=entry["abs_tol"]), entry["source"]


@pytest.mark.parametrize(("voltage", "verdict"), [(1.5, "PASS"), (1.49, "FAIL")])
def test_150_percent_is_reached_at_150_percent(
    voltage: float, verdict: str, published: Callable[[str], dict[str, Any]]
) -> None:
    """1.50 A against an all-fire current of 1.0 A passes, 1.49 A fails."""
    entry = published("limits.firing")
    loop = 20.0  # so large that the sagged battery still drives the gate
    text = edited(
        FED,
        ("6.0 V .. 6.4 V .. 6.8 V", f"{voltage * loop:.9g} V"),
        ("50 mohm .. 80 mohm .. 150 mohm", "0 ohm"),
        ("10 mohm .. 20 mohm .. 40 mohm", "0 ohm"),
        ("1.2 ohm .. 1.5 ohm .. 1.8 ohm", f"{loop - 0.015:.9g} ohm"),
        ("15 mohm .. 20 mohm .. 30 mohm", "15 mohm"),
        (
            'wire = "AWG 22", distance = "1.5 m", joints = "20 mohm .. 40 mohm .. 100 mohm"',
            'resistance = "0 ohm", joints = "0 ohm"',
        ),
    )
    found = next(f for f in check(parse_circuit(text)).findings if f.rule == "firing-current-150-percent")
    assert found.verdict == verdict and found.limit == pytest.approx(entry["value"]), entry["source"]


RELIABLE = 'all_fire = { current = "1.0 A", duration = "1 s", reliability = 0.999, confidence = 0.95 }'


@pytest.mark.parametrize(
    ("stated", "asked", "reason"),
    [
        ("reliability = 0.999, confidence = 0.95", "", None),
        ("reliability = 0.9, confidence = 0.9", "reliability = 0.9\nconfidence = 0.9", None),
        (
            "reliability = 0.9, confidence = 0.9",
            "",
            "the all-fire statement holds for 0.9 of igniters at 90 % confidence, 0.999 at 95 % asked",
        ),
        (
            "reliability = 0.999, confidence = 0.95",
            "reliability = 0.9999",
            "the all-fire statement holds for 0.999 of igniters at 95 % confidence, 0.9999 at 95 % asked",
        ),
        ("confidence = 0.95", "", "the all-fire statement gives no reliability"),
        ("reliability = 0.999", "", "the all-fire statement gives no confidence"),
        ('source = "the seller"', "", "the all-fire statement gives no reliability and no confidence"),
    ],
)
def test_always_needs_a_statement_that_holds_for_enough_igniters(stated: str, asked: str, reason: str | None) -> None:
    """The latest time stays, for the share that it holds for; the promise needs the reliability that is asked."""
    text = edited(OPENS, (RELIABLE, f'all_fire = {{ current = "1.0 A", duration = "1 s", {stated} }}'))
    igniter = firing(parse_circuit(f"{text}\n[rules]\n{asked}\n")).channels[0].igniters[0]
    assert igniter.functions == ("always" if reason is None else "sometimes") and igniter.reason == reason
    assert igniter.function_time.high is not None and igniter.function_time.reason is None


def test_a_promise_that_fails_otherwise_keeps_its_reason() -> None:
    """Where the current may not reach the threshold, that is what is said, whatever the statement's reliability."""
    text = edited(
        OPENS,
        (RELIABLE, 'all_fire = { current = "1.0 A", duration = "1 s" }'),
        ("1.2 ohm .. 1.5 ohm .. 1.8 ohm", "4 ohm .. 11 ohm .. 12 ohm"),
    )
    igniter = firing(parse_circuit(text)).channels[0].igniters[0]
    assert (
        igniter.functions == "sometimes"
        and igniter.reason == "the lowest current does not exceed the highest threshold"
    )


def test_margin_is_to_the_all_fire_current_in_the_cold() -> None:
    """1.0 A at 20 degC is sqrt((220 + 30) / 200) A at -30 degC; the latest time has that threshold too."""
    warm, cold = (
        firing(
            parse_circuit(
                edited(
                    OPENS,
                    ('temperature = "20 degC"', f'temperature = "{ambient}"'),
                    ('resistance_temperature = "20 degC"', 'resistance_temperature = "ambient"'),
                    ('time_constant = "20 ms"', 'time_constant = "20 ms"\nfunction_temperature = "220 degC"'),
                    ('wire = "AWG 22", distance = "1.5 m"', 'resistance = "160 mohm"'),
                )
            )
        )
        .channels[0]
        .igniters[0]
        for ambient in ("20 degC", "-30 degC .. 20 degC")
    )
    shift = math.sqrt(250 / 200)
    assert warm.all_fire_margin is not None and cold.current.low == pytest.approx(warm.current.low, rel=1e-12)
    assert cold.all_fire_margin == pytest.approx(warm.all_fire_margin / shift, rel=1e-12)
    assert cold.current.low is not None
    assert cold.function_time.high == pytest.approx(-0.02 * math.log1p(-((shift / cold.current.low) ** 2)), rel=1e-6)


@pytest.mark.parametrize(
    ("coefficient", "least", "most"), [("0.002 / K", 0.4, 0.6), ("-0.002 / K", -0.6, -0.4)], ids=["grows", "falls"]
)
def test_currents_on_the_way_follow_the_growing_resistance(coefficient: str, least: float, most: float) -> None:
    """1 ohm behind 1 ohm and 6 V: 3 A cold, and on the way what the largest and smallest resistance at function leave.

    Earliest time and greatest fraction have the least growth, latest and least the most: the bridge law by hand.
    """

    def found(pulse: str) -> IgniterFiring:
        text = edited(
            OPENS,
            ("1.2 ohm .. 1.5 ohm .. 1.8 ohm", "1 ohm"),
            ("6.0 V .. 6.4 V .. 6.8 V", "6.0 V"),
            ("50 mohm .. 80 mohm .. 150 mohm", "0 ohm"),
            ("10 mohm .. 20 mohm .. 40 mohm", "0 ohm"),
            ("15 mohm .. 20 mohm .. 30 mohm", "1 mohm"),
            ('pulse = "2 s"', f'pulse = "{pulse}"'),
            (
                'wire = "AWG 22", distance = "1.5 m", joints = "20 mohm .. 40 mohm .. 100 mohm"',
                'resistance = "0.999 ohm", joints = "0 ohm"',
            ),
            ('temperature_coefficient = "0 / K"', f'temperature_coefficient = "{coefficient}"'),
            ('time_constant = "20 ms"', 'time_constant = "20 ms"\nfunction_temperature = "220 degC .. 320 degC"'),
        )
        return firing(parse_circuit(text)).channels[0].igniters[0]

    slow, fast = 6.0 / (2.0 + max(most, 0.0)), 6.0 / (2.0 + min(least, 0.0))
    whole, short = found("2 s"), found("30 us")
    assert whole.current.nominal == pytest.approx(3.0, rel=1e-4)
    times = [float(function_time(i, i0, 20e-3, 0.0, a)) for i, i0, a in ((fast, 0.25, least), (slow, 1.0, most))]
    assert [whole.function_time.low, whole.function_time.high] == pytest.approx(times, rel=2e-4)
    heat = [
        float(thermal_fraction(i, i0, 20e-3, 30e-6, 0.0, a)) for i, i0, a in ((slow, 1.0, most), (fast, 0.25, least))
    ]
    assert heat[1] < 1.0
    assert [short.thermal_fraction.low, short.thermal_fraction.high] == pytest.approx(heat, rel=2e-4)


FALLING = 'temperature_coefficient = "-0.001 / K"\nfunction_temperature = "220 degC .. 420 degC"'


def test_a_neighbour_that_falls_takes_current_away() -> None:
    """Two in parallel behind 1 ohm and 6 V, both 1 ohm cold: the other at 0.6 ohm leaves the slow one least."""
    circuit = firing_circuit(
        [["match"], ["match"]], lead="0.899 ohm", no_fire="0.2 A", all_fire="0.5 A", igniter=FALLING
    )
    for igniter in firing(circuit).channels[0].igniters:
        assert igniter.current.low == pytest.approx(6.0 / 1.5 / 2, rel=1e-4)
        shared = 6.0 / (1.0 + 1.0 / (1.0 + 1.0 / 0.6)) / (1.0 + 1.0 / 0.6)
        assert igniter.function_time.high == pytest.approx(
            float(function_time(shared, 0.5, 20e-3, 0.0, -0.2)), rel=1e-4
        )


def test_bridges_that_fall_sag_the_battery_more() -> None:
    """6 V behind 0.1 ohm into 0.6 ohm at function and 1 mohm of switch."""
    found = firing(firing_circuit(igniter=FALLING))
    assert found.battery_voltage.low == pytest.approx(6.0 * 0.601 / 0.701, rel=1e-4)
    assert found.battery_voltage.nominal == pytest.approx(6.0 * 1.001 / 1.101, rel=1e-4)


def test_two_channels_at_once_take_the_least_growth() -> None:
    """Where another channel may change the battery at any time, the highest current counts from the start."""
    growing = 'temperature_coefficient = "0.001 / K"\nfunction_temperature = "220 degC .. 420 degC"'
    for channel in firing(firing_circuit([["match"]], [["match"]], igniter=growing)).channels:
        alone = 6.0 / 1.101
        assert channel.igniters[0].function_time.low == pytest.approx(
            float(function_time(alone, 0.3, 20e-3, 0.0, 0.2)), rel=1e-4
        )
