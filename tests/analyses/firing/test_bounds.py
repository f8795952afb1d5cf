"""Bounds of current, function time and thermal fraction against marched trials of random circuits, and their cut-offs."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

import numpy as np
import pytest

from ignition.analyses.firing.firing import IgniterFiring, firing
from ignition.analyses.firing.on_state import on_states
from ignition.analyses.firing.schedule import overlapping
from ignition.analyses.firing.sequence import igniter_list, march_circuit
from ignition.analyses.firing.transient.march import MarchResult
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.network.worst_case import draw
from tests.circuit.edits import CUTTER, DEMO, OPENS, edited
from tests.spice.generate import circuit_text

TRIALS = 150
SEEDS = range(60)

SPENT = ['"open"', '"short"', '"0.05 ohm .. 1 ohm .. 4 ohm"', '"3 ohm .. 5 ohm .. 40 ohm"']
SLOW = 'polarisation = { resistance = "20 mohm .. 50 mohm .. 100 mohm", time_constant = "2 ms" }'
BANK = (
    'capacitor_bank = { capacitance = "10 mF .. 22 mF .. 30 mF", series_resistance = "20 mohm .. 40 mohm .. 60 mohm", '
    'recharge_resistance = "300 ohm .. 1 kohm" }'
)


def random_circuit(seed: int) -> Circuit:
    """A random cluster circuit: spent state, starts (equal, 2 ms or 0.8 s apart), now and then a slow battery or a bank."""
    rng = np.random.default_rng(seed)
    text = circuit_text(seed).replace("[battery]", '[battery]\nresistance_temperature = "ambient"')
    # a fuse without a rating may open at any time: then nothing functions for certain
    text = text.replace('kind = "fuse"', 'kind = "connector"').replace(
        "time_constant = '12 ms'", f"time_constant = '8 ms .. 12 ms .. 17 ms'\nspent = {SPENT[int(rng.integers(4))]}"
    )
    apart = int(rng.choice([0, 2, 800]))
    pieces = re.split(r'(?<=pulse = "500 ms")', text)
    text = "".join(
        f'{piece}\nstart = "{apart * i} ms"' if i < len(pieces) - 1 else piece for i, piece in enumerate(pieces)
    )
    source = float(rng.random())
    if source < 0.3:
        text = text.replace("[battery]", f"[battery]\n{SLOW if source < 0.15 else BANK}")
    return parse_circuit(text, name=f"{seed}.toml")


def marched(circuit: Circuit, rng: np.random.Generator) -> MarchResult:
    """Trials over all tolerances, with thresholds and time constants anywhere between their bounds, ends included."""
    values: dict[str, Any] = draw(on_states(circuit, frozenset(c.name for c in circuit.channels))[1], rng, TRIALS)
    for channel in circuit.channels:
        on = on_states(circuit, overlapping(circuit, channel))[0][channel.name].on_resistance
        values[f"{channel.name}.mosfet"] = on.sample(rng, TRIALS)
    battery = circuit.battery
    values["battery.resistance"] = battery.resistance.sample(rng, TRIALS)
    if battery.polarisation_resistance is not None:
        values["battery.polarisation"] = battery.polarisation_resistance.sample(rng, TRIALS)
    if battery.bank_capacitance is not None:
        values["bank.capacitance"] = battery.bank_capacitance.sample(rng, TRIALS)
    threshold, constant = [], []
    for _, name, model in igniter_list(circuit):
        assert model.threshold_low and model.threshold_high and model.time_constant.fast and model.time_constant.slow
        share = rng.random(TRIALS)
        share = np.where(rng.random(TRIALS) < 0.3, np.round(share), share)
        threshold.append(model.threshold_low + (model.threshold_high - model.threshold_low) * share)
        constant.append(rng.uniform(model.time_constant.fast, model.time_constant.slow, TRIALS))
        if model.spent_resistance is not None:
            values[f"{name} spent"] = model.spent_resistance.sample(rng, TRIALS)
    return march_circuit(circuit, values, threshold=np.array(threshold), time_constant=np.array(constant))


def assert_inside(where: str, found: IgniterFiring, times: Any, current: Any, fraction: Any) -> None:
    """One igniter's trials lie inside its bounds."""
    done = times[np.isfinite(times)]
    spread = found.function_time
    if found.functions == "always":
        assert done.size == times.size and spread.high is not None and times.max() <= spread.high * (1 + 1e-9), where
    if found.functions == "never":
        assert done.size == 0, where
    if done.size and spread.low is not None:
        assert done.min() >= spread.low * (1 - 1e-9), where
    # the march leaves out the sense divider, some 1e-5 of the current
    if found.current.low is not None:
        assert current.min() >= found.current.low * (1 - 1e-4), where
    assert found.current.high is not None and current.max() <= found.current.high * (1 + 1e-4), where
    heat = found.thermal_fraction
    if heat.low is not None:
        assert fraction.min() >= heat.low - 1e-9, where
    assert heat.high is not None and fraction.max() <= heat.high + 1e-9, where


def test_no_trial_of_a_random_circuit_leaves_the_bounds(record_testsuite_property: Any) -> None:
    """Series, parallel and mixed clusters on one to three channels, all spent states, equal and different starts."""
    seen: Counter[str] = Counter()
    for seed in SEEDS:
        circuit = random_circuit(seed)
        found = [i for c in firing(circuit).channels for i in c.igniters]
        result = marched(circuit, np.random.default_rng(1000 + seed))
        for row, (owner, name, _) in enumerate(igniter_list(circuit)):
            times = result.function_time[row] - circuit.channel(owner).start.nominal
            assert found[row].igniter == name
            assert_inside(
                f"seed {seed}, {name}", found[row], times, result.initial_current[row], result.thermal_fraction[row]
            )
            seen[found[row].functions] += 1
    record_testsuite_property("igniters whose marched trials were held to the bounds", sum(seen.values()))
    assert seen["always"] >= 50 and seen["sometimes"] >= 50


@pytest.mark.parametrize(
    ("text", "why"), [(OPENS, "a neighbour in its string may open"), (CUTTER, "does not exceed the highest threshold")]
)
def test_a_neighbour_that_may_open_first_takes_the_promise_away(text: str, why: str) -> None:
    """Two igniters in series: either may open before the other functions, so neither is promised, nor any heating.

    Of a spent bridge of which nothing is said, an open one is just the highest of its resistances.
    """
    circuit = parse_circuit(edited(text, ('[["cutter"]]', '[["cutter", "cutter"]]')))
    for igniter in firing(circuit).channels[0].igniters:
        assert igniter.functions == "sometimes" and why in (igniter.reason or "")
        assert igniter.thermal_fraction.low == pytest.approx(0.0, abs=1e-12) and igniter.function_time.high is None


def test_a_pulse_that_may_end_too_early() -> None:
    """The slowest case takes 3.1 ms; a pulse of 3 ms at least does not promise it, one of 4 ms does."""
    short = parse_circuit(edited(OPENS, ('pulse = "2 s"', 'pulse = "3 ms .. 5 ms"')))
    igniter = firing(short).channels[0].igniters[0]
    assert igniter.functions == "sometimes" and "pulse" in (igniter.reason or "") and igniter.function_time.high is None
    long = parse_circuit(edited(OPENS, ('pulse = "2 s"', 'pulse = "4 ms .. 5 ms"')))
    assert firing(long).channels[0].igniters[0].functions == "always"


def test_never_is_never() -> None:
    """A current below the no-fire current cannot function it at any tolerance."""
    circuit = parse_circuit(edited(OPENS, ("1.2 ohm .. 1.5 ohm .. 1.8 ohm", "40 ohm .. 41 ohm .. 42 ohm")))
    igniter = firing(circuit).channels[0].igniters[0]
    assert igniter.functions == "never" and igniter.function_time.low is None
    assert igniter.thermal_fraction.high is not None and igniter.thermal_fraction.high < 1.0


@pytest.mark.parametrize("series", ["1 kohm", "10 kohm"])
def test_turn_on_delay_is_in_the_latest_time(series: str) -> None:
    """A slow gate delays: -(Rs) C ln(1 - Vrow / Vdrive) at the lowest drive comes on top of the latest function time."""
    given = ('max_junction = "150 degC"', 'max_junction = "150 degC"\ninput_capacitance = "1 nF"')
    quick, slow = (
        firing(
            parse_circuit(
                edited(
                    OPENS,
                    given,
                    ('series = "100 ohm"', f'series = "{s}"'),
                    ('pull_down = "10 kohm"', 'pull_down = "1 Mohm"'),
                )
            )
        ).channels[0]
        for s in ("0 ohm", series)
    )
    late, early = slow.igniters[0].function_time, quick.igniters[0].function_time
    assert late.high is not None and early.high is not None and late.low == pytest.approx(early.low)
    drive = slow.gate_voltage.low
    assert drive is not None
    expected = -float(series.split()[0]) * 1e3 * 1e-9 * np.log1p(-2.5 / drive)
    assert late.high - early.high == pytest.approx(expected, rel=1e-6)


def test_a_channel_of_the_same_start_may_be_late() -> None:
    """Two channels of one start: the first to conduct has the battery to itself, so the high bound is that of one alone."""
    both = parse_circuit(edited(DEMO, ('start = "2 s"', 'start = "0 s"')))
    apart = parse_circuit(DEMO)
    for near, far in zip(firing(both).channels, firing(apart).channels, strict=True):
        for one, other in zip(near.igniters, far.igniters, strict=True):
            assert one.current.high == pytest.approx(other.current.high, rel=1e-9)
            assert one.current.low is not None and other.current.low is not None and one.current.low < other.current.low


NO_FIRE = 'no_fire = { current = "0.25 A", duration = "300 s", reliability = 0.999, confidence = 0.95 }'
ALL_FIRE = 'all_fire = { current = "1.0 A", duration = "1 s", reliability = 0.999, confidence = 0.95 }'


@pytest.mark.parametrize(
    "swaps",
    [
        [(NO_FIRE, "")],
        [(ALL_FIRE, "")],
        [(NO_FIRE, ""), (ALL_FIRE, "")],
        [('gate = "2.5 V"', 'gate = "4.5 V"')],
        [("1.2 ohm .. 1.5 ohm .. 1.8 ohm", "4 ohm .. 11 ohm .. 12 ohm")],
        [("1.2 ohm .. 1.5 ohm .. 1.8 ohm", "40 ohm .. 41 ohm .. 42 ohm")],
    ],
)
def test_a_missing_number_carries_its_reason(swaps: list[tuple[str, str]]) -> None:
    """No spread has a hole without a reason, nor a reason without a hole."""
    igniter = firing(parse_circuit(edited(OPENS, *swaps))).channels[0].igniters[0]
    for spread in (igniter.current, igniter.function_time, igniter.thermal_fraction):
        assert (None in (spread.low, spread.nominal, spread.high)) == (spread.reason is not None), spread
