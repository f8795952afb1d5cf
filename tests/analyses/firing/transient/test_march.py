"""Tests of the exact firing march: closed forms, the reference point, events, bookkeeping, corner cases."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.analyses.firing.transient.inputs import CapacitorBank, Polarisation
from ignition.analyses.firing.transient.ladder import ClusterTree
from ignition.analyses.firing.transient.march import MarchResult, march
from ignition.errors import InputError

Published = Callable[[str], dict[str, Any]]
ONE = ClusterTree.parallel(1)
PAIR = ClusterTree.parallel(2)
PLAIN: dict[str, Any] = {
    "voltage": 4.0,
    "source_resistance": 1.0,
    "igniter_resistance": 1.0,
    "threshold_current": 1.0,
    "time_constant": 0.01,
    "pulse": 0.1,
}
ARRAYS = [n for n in MarchResult.__dataclass_fields__ if n not in ("method", "tolerance")]


def assert_same(first: MarchResult, second: MarchResult, rtol: float = 0.0) -> None:
    """Every array of two results agrees."""
    for name in ARRAYS:
        np.testing.assert_allclose(getattr(first, name), getattr(second, name), rtol=rtol, atol=rtol, err_msg=name)


def reference_point(growth: float) -> MarchResult:
    """The three igniters of the reference point: I0² R0 (1 + a) = γ θ_f, τ = C / γ."""
    resistance = np.array([1.0, 1.1, 0.9])
    return march(
        ClusterTree.parallel(3),
        voltage=7.4,
        source_resistance=0.15,
        channel_resistance=0.01,
        igniter_resistance=resistance,
        threshold_current=np.sqrt(1e-3 * 250.0 / (resistance * (1.0 + growth))),
        time_constant=0.1,
        growth=growth,
        pulse=0.01,
    )


@pytest.mark.parametrize(
    ("key", "growth"), [("march_three_parallel", 0.0), ("march_three_parallel_growing", 4e-4 * 250.0)]
)
def test_reference_point(published: Published, key: str, growth: float) -> None:
    """Three igniters in parallel that open one after the other function when the independent transient says."""
    entry = published(key)
    found = reference_point(growth).function_time[:, 0]
    np.testing.assert_allclose(found, entry["value"], rtol=entry["rel_tol"], err_msg=entry["source"])


@pytest.mark.parametrize("ratio", [1.0 + 1e-12, 1.001, 1.1, 2.0, 1e4, 1e8])
def test_single_igniter_is_the_closed_form(ratio: float) -> None:
    """One igniter functions at -τ ln(1 - (I0/I)²), just above threshold and far above."""
    answer = march(ONE, **(PLAIN | {"voltage": 2.0 * ratio, "pulse": 10.0}))
    excess = (ratio - 1.0) * (ratio + 1.0)
    expected = 0.01 * np.log1p(1.0 / excess)
    assert answer.function_time[0, 0] == pytest.approx(expected, rel=1e-12 if ratio > 1.0001 else 1e-4)
    assert answer.initial_current[0, 0] == pytest.approx(ratio, rel=1e-15)
    assert answer.thermal_fraction[0, 0] == 1.0
    assert answer.method == "exact"


@pytest.mark.parametrize("ratio", [1e-6, 0.5, 1.0, 0.999999])
def test_at_or_below_threshold_it_never_functions(ratio: float) -> None:
    """At the threshold or below, an igniter does not function, and its thermal fraction is r²(1 - exp(-t/τ))."""
    answer = march(ONE, **(PLAIN | {"voltage": 2.0 * ratio, "pulse": 0.003}))
    assert np.isinf(answer.function_time[0, 0])
    expected = ratio**2 * -np.expm1(-0.3)
    assert answer.thermal_fraction[0, 0] == pytest.approx(expected, rel=1e-14)
    assert answer.peak_thermal_fraction[0, 0] == pytest.approx(expected, rel=1e-14)


def test_at_or_below_threshold_in_a_very_long_pulse() -> None:
    """'Never' holds in a pulse of very many time constants, also beside an igniter a million times slower."""
    answer = march(
        PAIR,
        **(PLAIN | {"voltage": 1.5, "time_constant": [1e-6, 1.0], "pulse": 100.0, "threshold_current": [1.0, 0.1]}),
    )
    assert np.isinf(answer.function_time[0, 0])
    assert np.isfinite(answer.function_time[1, 0])
    fast = answer.initial_current[0, 0] ** 2
    opened = (1.5 / 2.0) ** 2
    assert answer.thermal_fraction[0, 0] == pytest.approx(opened, rel=1e-12) and fast < opened


def test_pulse_that_ends_before_function() -> None:
    """A pulse a little shorter than the function time leaves the igniter a little below 1; a little longer fires it."""
    time = 0.01 * np.log(4.0 / 3.0)
    short = march(ONE, **(PLAIN | {"pulse": time * (1 - 1e-9)}))
    long = march(ONE, **(PLAIN | {"pulse": time * (1 + 1e-9)}))
    assert np.isinf(short.function_time[0, 0]) and 1.0 - 1e-8 < short.thermal_fraction[0, 0] < 1.0
    assert long.function_time[0, 0] == pytest.approx(time, rel=1e-13)
    stopped = march(ONE, **PLAIN, stop=time * (1 - 1e-9))
    assert_same(short, stopped, 1e-12)


def test_parallel_open_raises_the_others_current() -> None:
    """Two in parallel, the first opens: the second goes on from its fraction at the current it then has alone."""
    answer = march(PAIR, **(PLAIN | {"threshold_current": [1.0, 1.3]}))
    both, alone = 4.0 / 3.0, 2.0
    first = -0.01 * np.log1p(-((1.0 / both) ** 2))
    x = (both / 1.3) ** 2 * -np.expm1(-first / 0.01)
    second = first + 0.01 * np.log(((alone / 1.3) ** 2 - x) / ((alone / 1.3) ** 2 - 1.0))
    np.testing.assert_allclose(answer.function_time[:, 0], [first, second], rtol=1e-13)


def test_series_string_first_bridge_opens() -> None:
    """In a string the more sensitive bridge opens and its mate never functions; it cools to the pulse's end."""
    answer = march(ClusterTree.series(2), **(PLAIN | {"voltage": 6.0, "threshold_current": [1.0, 1.1]}))
    time = -0.01 * np.log1p(-0.25)
    assert answer.function_time[0, 0] == pytest.approx(time, rel=1e-13)
    assert np.isinf(answer.function_time[1, 0])
    reached = (2.0 / 1.1) ** 2 * 0.25
    assert answer.peak_thermal_fraction[1, 0] == pytest.approx(reached, rel=1e-13)
    assert answer.thermal_fraction[1, 0] == pytest.approx(reached * np.exp(-(0.1 - time) / 0.01), rel=1e-12)


def test_series_string_spent_short_lets_the_mate_function() -> None:
    """A spent bridge that stays a short leaves the string closed, and the mate functions at the higher current."""
    answer = march(
        ClusterTree.series(2), **(PLAIN | {"voltage": 6.0, "threshold_current": [1.0, 1.1], "spent_resistance": 0.0})
    )
    first = -0.01 * np.log1p(-0.25)
    x, x_inf = (2.0 / 1.1) ** 2 * 0.25, (3.0 / 1.1) ** 2
    assert answer.function_time[1, 0] == pytest.approx(first + 0.01 * np.log((x_inf - x) / (x_inf - 1.0)), rel=1e-13)


@pytest.mark.parametrize("spent", [0.0, 1e-3, 0.2])
def test_spent_short_starves_its_neighbour(spent: float) -> None:
    """A spent bridge of low resistance takes the current: the parallel mate cools and never functions."""
    answer = march(PAIR, **(PLAIN | {"threshold_current": [1.0, 1.1], "spent_resistance": spent}))
    time = -0.01 * np.log1p(-((3.0 / 4.0) ** 2))
    reached = (4.0 / 3.0 / 1.1) ** 2 * -np.expm1(-time / 0.01)
    starved = 4.0 / (1.0 + spent / (1.0 + spent)) * spent / (1.0 + spent)
    end = (starved / 1.1) ** 2
    assert np.isinf(answer.function_time[1, 0])
    assert answer.peak_thermal_fraction[1, 0] == pytest.approx(reached, rel=1e-12)
    expected = end + (reached - end) * np.exp(-(0.1 - time) / 0.01)
    assert answer.thermal_fraction[1, 0] == pytest.approx(expected, rel=1e-10)
    assert answer.highest_current[0] == pytest.approx(4.0 / (1.0 + spent / (1.0 + spent)), rel=1e-11)


@pytest.mark.parametrize("method", ["exact", "sub-stepped"])
@pytest.mark.parametrize("tree", [ClusterTree.parallel(5), ClusterTree.series(5)])
def test_identical_igniters_function_together(tree: ClusterTree, method: str) -> None:
    """Identical igniters function at the same instant, in parallel and in series."""
    answer = march(tree, **(PLAIN | {"voltage": 30.0}), method=method)
    assert np.ptp(answer.function_time) == 0.0
    assert np.isfinite(answer.function_time).all()


def test_threshold_inf_open_bridge_and_zero_voltage() -> None:
    """An igniter that cannot function, an open bridge and a dead source all read 'did not function', without NaN."""
    answer = march(PAIR, **(PLAIN | {"threshold_current": [1.0, np.inf]}))
    assert np.isfinite(answer.function_time[0, 0]) and np.isinf(answer.function_time[1, 0])
    assert answer.thermal_fraction[1, 0] == 0.0
    opened = march(PAIR, **(PLAIN | {"igniter_resistance": [1.0, np.inf]}))
    alone = march(ONE, **PLAIN)
    assert opened.function_time[0, 0] == alone.function_time[0, 0]
    assert np.isinf(opened.function_time[1, 0]) and opened.initial_current[1, 0] == 0.0
    for method in ("exact", "sub-stepped"):
        dead = march(PAIR, **(PLAIN | {"voltage": 0.0}), method=method)
        assert np.isinf(dead.function_time).all() and np.all(dead.thermal_fraction == 0.0)
        assert dead.charge[0] == 0.0 and dead.highest_current[0] == 0.0


@pytest.mark.parametrize("method", ["exact", "sub-stepped"])
def test_empty_batch_and_batch_of_one(method: str) -> None:
    """An empty batch gives empty arrays of the right shapes; a batch of one is the scalar case."""
    empty = march(PAIR, **(PLAIN | {"voltage": np.empty(0)}), method=method)
    assert empty.function_time.shape == (2, 0) and empty.channel_i2t.shape == (1, 0) and empty.charge.shape == (0,)
    assert_same(
        march(PAIR, **PLAIN, method=method), march(PAIR, **(PLAIN | {"voltage": np.array([4.0])}), method=method)
    )


def random_case(rng: np.random.Generator, trials: int) -> tuple[ClusterTree, dict[str, Any]]:
    """Two channels in sequence, strings of one to three, spent bridges open, short or between; some trials guarded."""
    tree = ClusterTree(channel_of_string=(0, 1, 0, 1), string_of_igniter=(0, 1, 1, 2, 3, 3, 3))
    k = tree.igniters
    return tree, {
        "voltage": rng.uniform(5.0, 14.0, trials),
        "source_resistance": rng.uniform(0.05, 0.6, trials),
        "terminal_resistance": 0.04,
        "channel_resistance": rng.uniform(0.01, 0.3, (2, trials)),
        "string_resistance": rng.uniform(0.0, 0.2, (4, trials)),
        "igniter_resistance": rng.uniform(0.8, 2.5, (k, trials)),
        "threshold_current": rng.uniform(0.2, 1.5, (k, trials)),
        "time_constant": rng.uniform(0.002, 0.02, (k, trials)),
        "spent_resistance": rng.choice([0.0, 0.3, 3.0, np.inf], (k, trials)),
        "start": np.array([[0.0], [0.001]]) * np.ones(trials),
        "pulse": rng.uniform(0.002, 0.02, (2, trials)),
        "turn_on_delay": [1e-5, 2e-5],
        "release_voltage": rng.choice([-np.inf, 6.0], trials),
        "fuse_i2t": rng.choice([np.inf, 0.2], trials),
    }


def column(case: dict[str, Any], trial: int) -> dict[str, Any]:
    """One trial of a case."""
    out = {}
    for name, value in case.items():
        array = np.asarray(value)
        per_trial = array.ndim == 2 or name in ("voltage", "source_resistance", "release_voltage", "fuse_i2t")
        out[name] = array[..., trial : trial + 1] if per_trial else value
    return out


@pytest.mark.parametrize("method", ["exact", "sub-stepped"])
def test_batch_equals_loop_of_trials(method: str) -> None:
    """A batch is its trials one by one, with every kind of event among them; chunks and threads change nothing."""
    tree, case = random_case(np.random.default_rng(5), 60)
    whole = march(tree, **case, method=method)
    assert np.isfinite(whole.release_time).any() and np.isfinite(whole.fuse_time).any()
    assert 0.1 < np.isfinite(whole.function_time).mean() < 0.9
    parts = [march(tree, **column(case, i), method=method) for i in range(60)]
    for name in ARRAYS:
        joined = np.concatenate([getattr(p, name) for p in parts], axis=-1)
        np.testing.assert_allclose(getattr(whole, name), joined, rtol=1e-13, atol=1e-15, err_msg=name)
    assert_same(whole, march(tree, **case, method=method, chunk=7, workers=2), 1e-13)


def test_sub_stepped_path_agrees_with_the_exact_one() -> None:
    """With constant resistances both paths give the same times, fractions, integrals and guards."""
    tree, case = random_case(np.random.default_rng(6), 150)
    exact, stepped = march(tree, **case), march(tree, **case, method="sub-stepped", tolerance=1e-9)
    assert (exact.method, stepped.method) == ("exact", "sub-stepped")
    assert_same(exact, stepped, 2e-8)


def test_thermal_fractions_and_times_do_not_depend_on_the_order_of_members() -> None:
    """Igniters of a parallel cluster renumbered give the same results renumbered."""
    rng = np.random.default_rng(8)
    resistance, threshold = rng.uniform(1.0, 2.0, 6), rng.uniform(0.5, 1.5, 6)
    order = rng.permutation(6)
    case = PLAIN | {"voltage": 6.0, "source_resistance": 0.3}
    first = march(
        ClusterTree.parallel(6), **(case | {"igniter_resistance": resistance, "threshold_current": threshold})
    )
    other = march(
        ClusterTree.parallel(6),
        **(case | {"igniter_resistance": resistance[order], "threshold_current": threshold[order]}),
    )
    np.testing.assert_allclose(first.function_time[order], other.function_time, rtol=1e-12)


def test_more_voltage_functions_sooner() -> None:
    """In a cluster that opens, every function time falls as the voltage rises."""
    rng = np.random.default_rng(9)
    case = {"igniter_resistance": rng.uniform(1.0, 2.0, 4), "threshold_current": rng.uniform(0.5, 1.0, 4)}
    times = march(ClusterTree.parallel(4), **(PLAIN | case | {"voltage": np.linspace(8.0, 20.0, 40)})).function_time
    assert np.all(np.diff(times, axis=1) < 0.0)


def test_charge_i2t_and_extremes_by_hand() -> None:
    """One igniter that stays 3 ohm after function: charge, I²t, lowest voltages from two constant currents."""
    answer = march(ONE, **(PLAIN | {"spent_resistance": 3.0, "terminal_resistance": 0.25, "channel_resistance": 0.0}))
    time = 0.01 * np.log(4.0 / 3.0)
    assert answer.charge[0] == pytest.approx(2.0 * time + 1.0 * (0.1 - time), rel=1e-13)
    assert answer.channel_i2t[0, 0] == pytest.approx(4.0 * time + 1.0 * (0.1 - time), rel=1e-13)
    assert answer.highest_current[0] == pytest.approx(2.0)
    assert answer.lowest_bus_voltage[0] == pytest.approx(2.0)
    assert answer.lowest_terminal_voltage[0] == pytest.approx(3.5)


@pytest.mark.parametrize("method", ["exact", "sub-stepped"])
def test_fuse_opens_at_its_i2t(method: str) -> None:
    """The fuse opens when its I²t is reached, nothing functions after it, and the channel's I²t is its limit."""
    answer = march(ONE, **(PLAIN | {"fuse_i2t": [0.004, 0.04, np.inf]}), method=method)
    assert answer.fuse_time[0] == pytest.approx(0.001, rel=1e-10)
    assert np.isinf(answer.fuse_time[1:]).all()
    assert np.isinf(answer.function_time[0, 0]) and np.isfinite(answer.function_time[0, 1:]).all()
    assert answer.channel_i2t[0, 0] == pytest.approx(0.004, rel=1e-10)
    assert answer.thermal_fraction[0, 0] == pytest.approx(4.0 * -np.expm1(-0.1) * np.exp(-9.9), rel=1e-12, abs=1e-10)


@pytest.mark.parametrize("method", ["exact", "sub-stepped"])
def test_release_ends_the_pulse_of_all_channels(method: str) -> None:
    """When the second channel pulls the terminals below the release voltage, both channels release for good."""
    tree = ClusterTree(channel_of_string=(0, 1), string_of_igniter=(0, 1))
    case = PLAIN | {
        "source_resistance": 0.5,
        "terminal_resistance": 0.5,
        "threshold_current": 3.0,
        "start": [0.0, 0.002],
    }
    answer = march(tree, **case, release_voltage=[2.5, 1.9], method=method)
    np.testing.assert_allclose(answer.release_time, [0.002, np.inf])
    assert answer.charge[0] == pytest.approx(4.0 / 1.5 * 0.002, rel=1e-9)
    assert answer.lowest_terminal_voltage[0] == pytest.approx(2.0)
    assert answer.initial_current[1, 0] == pytest.approx(2.0)


def test_channels_in_sequence_and_delay() -> None:
    """A channel that starts after the other has ended sees the source alone; the delay moves its times one to one."""
    tree = ClusterTree(channel_of_string=(0, 1), string_of_igniter=(0, 1))
    answer = march(tree, **(PLAIN | {"pulse": [0.01, 0.02], "start": [0.0, 0.05]}), turn_on_delay=[0.0, 0.001])
    alone = 0.01 * np.log(4.0 / 3.0)
    np.testing.assert_allclose(answer.function_time[:, 0], [alone, 0.051 + alone], rtol=1e-12)
    missed = march(tree, **PLAIN, turn_on_delay=[0.0, 0.2])
    assert np.isinf(missed.function_time[1, 0]) and missed.initial_current[1, 0] == 0.0
    assert missed.thermal_fraction[1, 0] == 0.0


def test_start_and_pulse_of_each_trial() -> None:
    """Trials with their own start and pulse are the shifted single case."""
    start, pulse = np.array([[0.0, 0.01, 0.03]]), np.array([[0.1, 0.1, 0.001]])
    answer = march(ONE, **(PLAIN | {"start": start, "pulse": pulse}))
    alone = 0.01 * np.log(4.0 / 3.0)
    np.testing.assert_allclose(answer.function_time[0], [alone, 0.01 + alone, np.inf], rtol=1e-12)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"threshold_current": 0.0}, r"threshold_current: every value must lie in \[1e-12, inf\], received 0.0"),
        ({"igniter_resistance": -1.0}, "igniter_resistance: every value"),
        ({"voltage": np.nan}, "voltage: every value must lie in .* received nan"),
        ({"time_constant": [[0.01, np.nan]]}, "time_constant: .* received nan"),
        ({"time_constant": 0.0}, "time_constant: every value"),
        ({"pulse": np.inf}, "pulse: every value"),
        ({"growth": -1.0}, "growth: every value"),
        ({"fuse_i2t": 0.0}, "fuse_i2t: every value"),
        ({"terminal_resistance": 2.0}, "terminal_resistance: it is the part of source_resistance"),
        ({"voltage": np.ones((2, 2))}, "voltage: one value, or one value a trial"),
        ({"voltage": np.ones(2), "source_resistance": np.ones(3)}, "numbers of trials must agree"),
        ({"method": "euler"}, 'method: "auto", "exact" or "sub-stepped" expected'),
        ({"method": "exact", "growth": 0.1}, 'method: "exact" needs growth = 0'),
        ({"tolerance": 0.5}, "tolerance: a number from 1e-12"),
        ({"workers": 0}, "chunk, workers: whole numbers"),
        ({"stop": -1.0}, "stop: a time of 0 s or more"),
        (
            {
                "bank": CapacitorBank(capacitance=1e-3, initial_voltage=5.0),
                "polarisation": Polarisation(resistance=0.1, time_constant=1.0),
            },
            "one kind of source",
        ),
        ({"bank": CapacitorBank(capacitance=0.0, initial_voltage=5.0)}, r"bank\.capacitance: every value"),
        ({"polarisation": Polarisation(resistance=0.0, time_constant=1.0)}, r"polarisation\.resistance: every value"),
    ],
)
def test_refused_inputs(change: dict[str, Any], match: str) -> None:
    """Every bad input is refused with the name of the argument and what to write."""
    with pytest.raises(InputError, match=match):
        march(ONE, **(PLAIN | change))
