"""Trial firings against closed forms, the worst case, themselves on other workers, and interruptions."""

from __future__ import annotations

import math
import tracemalloc
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import AbstractContextManager
from statistics import NormalDist

import numpy as np
import pytest

from ignition.analyses.firing.firing import firing
from ignition.analyses.trials.inputs import TrialPlan, trial_plan
from ignition.analyses.trials.run import guards, run_trials
from ignition.analyses.trials.trials import BLOCK, FiringTrials, firing_trials, generator, probability_all_fire
from ignition.circuit.examples import load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.parts.capacitor import bridge_peak_time, bridge_thermal_rise
from ignition.parts.igniter import function_time
from tests.analyses.firing.firing_cases import firing_circuit
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

TAU = 20e-3


def failing(circuit: Circuit, current: float, time: float) -> float:
    """Closed form: a threshold too high for a constant current within a time, thresholds log-normal."""
    model = circuit.igniters["match"]
    assert model.threshold_nominal is not None and model.threshold_spread is not None
    reach = current * math.sqrt(-math.expm1(-time / TAU))
    return NormalDist().cdf(-math.log(reach / model.threshold_nominal) / model.threshold_spread)


def near(result: FiringTrials, probability: float) -> bool:
    """Whether the counted failures agree with a probability, to four standard deviations."""
    deviation = math.sqrt(result.trials * probability * (1.0 - probability))
    return abs(result.failures - result.trials * probability) <= 4.0 * deviation


def same(one: FiringTrials, other: FiringTrials) -> bool:
    """Whether two results agree bit for bit."""
    tallies = [(a.function_time, b.function_time) for a, b in zip(one.igniters, other.igniters, strict=True)] + [
        (a.skew, b.skew) for a, b in zip(one.channels, other.channels, strict=True)
    ]
    tallies.append((one.lowest_voltage, other.lowest_voltage))
    return (one.trials, one.failures) == (other.trials, other.failures) and all(
        np.array_equal(a.counts, b.counts) and (a.least, a.most) == (b.least, b.most) for a, b in tallies
    )


@pytest.mark.parametrize("current", [0.55, 0.7, 0.9])
def test_one_igniter_at_a_fixed_current_is_the_closed_form(current: float) -> None:
    """P(functions within the pulse) = Phi(ln(I sqrt(1 - exp(-t/tau)) / I0) / spread)."""
    circuit = firing_circuit(arm_switch=f"{6.0 / current - 1.101} ohm", pulse="50 ms")
    expected = failing(circuit, current, 50e-3)
    result = firing_trials(circuit, 40_000, seed=3)
    assert near(result, expected), f"{result.failures / result.trials} against {expected}"


@pytest.mark.parametrize("igniters", [2, 5])
def test_parallel_on_an_ideal_source_are_independent(igniters: int) -> None:
    """Igniters in parallel that do not feel each other: P(all) = (1 - p)^n."""
    circuit = firing_circuit(
        [["match"]] * igniters, voltage="3.5 V", resistance="0 ohm", bridge="5 ohm", mosfet="1 uohm", pulse="50 ms"
    )
    one = failing(circuit, 0.7, 50e-3)
    result = firing_trials(circuit, 40_000, seed=4)
    assert near(result, 1.0 - (1.0 - one) ** igniters)


@pytest.mark.parametrize(
    ("changed", "held"),
    [
        ({"controller": 'brown_out = "2.9 V"\nhold_up_capacitance = "100 uF"', "controller_current": "10 mA"}, 1e-3),
        (
            {
                "feed": '[[feed]]\nname = "fuse"\nkind = "fuse"\nresistance = "0 ohm"\nrating = "1 A"\nmelting_i2t = "{i2t} A^2 s"'
            },
            1e-3,
        ),
        ({"battery": 'protection = {{ trip_current = "2 A", delay = "1 ms" }}'}, 1e-3),
    ],
    ids=["reset after hold-up", "fuse", "protection circuit"],
)
def test_what_ends_the_current_after_a_millisecond(changed: dict[str, str], held: float) -> None:
    """Reset behind a hold-up capacitor, fuse and protection circuit all leave a known time, hence a closed form."""
    resistance = 1.2235
    drawn = 0.01 if "controller" in changed else 0.0
    current = (6.0 - resistance * drawn) / (resistance + 1.001)
    made = {k: v.format(i2t=current**2 * held) for k, v in changed.items()}
    circuit = firing_circuit(resistance=f"{resistance} ohm", **made)
    result = firing_trials(circuit, 40_000, seed=5)
    expected = failing(circuit, current, held)
    assert 0.05 < expected < 0.95
    assert near(result, expected), f"{result.failures / result.trials} against {expected}"


def test_reset_without_hold_up_fires_nothing() -> None:
    """A supply that falls below brown-out at once releases the gate at once."""
    circuit = firing_circuit(resistance="1.2235 ohm", controller='brown_out = "2.9 V"')
    result = firing_trials(circuit, 2000)
    assert result.failures == 2000 and result.igniters[0].functioned == 0
    assert result.functions(result.igniters[0]) == "never"


def test_reset_where_the_controller_hangs_behind_the_arm_switch() -> None:
    """The bus, not the battery, feeds the controller there: a drop in the arm switch resets it."""
    parts = {"arm_switch": "1.2235 ohm", "resistance": "1 uohm", "controller": 'brown_out = "2.9 V"'}
    assert firing_trials(firing_circuit(**parts), 1000).failures == 0
    assert firing_trials(firing_circuit(**parts, powered_by="after arm switch"), 1000).failures == 1000


def test_series_bridge_that_opens_starves_its_neighbour() -> None:
    """Of two in series just one functions, whichever is first; of two in parallel both do."""
    series = firing_trials(firing_circuit([["match", "match"]]), 4000)
    assert series.failures == 4000
    assert sum(i.functioned for i in series.igniters) == 4000
    assert firing_trials(firing_circuit([["match"], ["match"]]), 4000).failures == 0


def test_spent_short_starves_the_rest() -> None:
    """With a dead short across the line after the first function, the second is not reached."""
    result = firing_trials(firing_circuit([["match"], ["match"]], spent="short", lead="1 ohm"), 4000)
    assert sum(i.functioned for i in result.igniters) == 4000


CIRCUITS: dict[str, Callable[[], Circuit]] = {
    **{name: (lambda name=name: load_example(name)) for name in ("demo", "ejection-single-cell", "long-lead-pad")},
    "wide parallel": lambda: firing_circuit(
        [["match"]] * 3, voltage="7 V .. 8 V .. 9 V", resistance="0 ohm .. 0.2 ohm .. 0.6 ohm",
        arm_switch="0 ohm .. 0.1 ohm .. 0.5 ohm", bridge="0.8 ohm .. 1 ohm .. 1.5 ohm", lead="0.1 ohm .. 0.4 ohm",
        heating='time_constant = "5 ms .. 20 ms .. 50 ms"', mosfet="5 mohm .. 50 mohm", pulse="20 ms .. 30 ms",
    ),
    "by energy": lambda: firing_circuit(
        [["match"], ["match"]], voltage="5 V .. 7 V", bridge="0.8 ohm .. 1.5 ohm", pulse="5 ms .. 10 ms",
        heating='adiabatic_energy = "4 mJ .. 6 mJ .. 9 mJ"', spent="3 ohm .. 30 ohm", lead="0.1 ohm .. 0.9 ohm",
    ),
    "normal, ambient": lambda: firing_circuit(
        ambient="-20 degC .. 10 degC .. 50 degC", voltage="4 V .. 8 V", bridge="3 ohm .. 4 ohm .. 6 ohm",
        igniter='function_temperature = "250 degC .. 300 degC"\nreference_temperature = "15 degC .. 25 degC"',
    ),
    "growing bridge": lambda: firing_circuit(
        voltage="5 V .. 7 V", bridge="0.8 ohm .. 1.2 ohm", pulse="1 ms .. 2 ms", ambient="-30 degC .. 10 degC .. 60 degC",
        igniter='temperature_coefficient = "0.003 / K"\nfunction_temperature = "200 degC .. 400 degC"',
    ),
    "falling bridges by energy": lambda: firing_circuit(
        [["match"], ["match"]], voltage="5 V .. 7 V", bridge="0.8 ohm .. 1.2 ohm", lead="0.1 ohm .. 0.9 ohm",
        ambient="-30 degC .. 10 degC .. 60 degC", heating='adiabatic_energy = "4 mJ .. 6 mJ .. 9 mJ"',
        igniter='temperature_coefficient = "-0.001 / K"\nreference_temperature = "15 degC .. 25 degC"',
    ),
    "cold battery": lambda: firing_circuit(
        [["match"], ["match"]], ambient="-10 degC .. 15 degC .. 40 degC", voltage="6 V .. 7 V", bridge="3 ohm .. 4 ohm",
        resistance="50 mohm .. 60 mohm", resistance_at="25 degC", lead="0.1 ohm .. 0.4 ohm",
    ),
    "nothing said of spent bridges": lambda: firing_circuit(
        [["match"], ["match"]], voltage="8 V .. 9 V", bridge="0.8 ohm .. 1.2 ohm", spent=None, lead="2 ohm .. 2.5 ohm",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CIRCUITS)
def test_every_trial_lies_inside_the_worst_case(name: str) -> None:
    """Where a trial's thresholds lie between no-fire and all-fire, its times and voltages keep to the bounds."""
    circuit = CIRCUITS[name]()
    plan = trial_plan(circuit)
    assert isinstance(plan, TrialPlan)
    size = 4000
    values = plan.draw(generator(11, 0), size)
    threshold, _ = plan.bridges(values, size)
    outcome = run_trials(plan, guards(circuit), values, size)
    kinds = [kind for channel in circuit.channels for string in channel.strings for kind in string]
    models = [circuit.igniters[kind] for kind in kinds]
    low, high = (np.array([getattr(m, f"threshold_{side}") for m in models])[:, None] for side in ("low", "high"))
    inside = ((threshold >= low) & (threshold <= high)).all(axis=0)
    assert inside.mean() > 0.9
    worst = firing(circuit)
    members = [i for channel in worst.channels for i in channel.igniters]
    for row, igniter in enumerate(members):
        time = outcome.function_time[row][inside]
        earliest = igniter.function_time.low if igniter.function_time.low is not None else 0.0
        latest = igniter.function_time.high if igniter.function_time.high is not None else math.inf
        assert time.min() >= earliest * (1 - 1e-9), igniter.igniter
        assert time.max() <= latest * (1 + 1e-9) or math.isinf(latest), igniter.igniter
        if igniter.functions == "always":
            assert np.isfinite(time).all()
        if igniter.functions == "never":
            assert not np.isfinite(time).any()
    if circuit.controller.powered_before_arm_switch:
        assert worst.battery_voltage.low is not None
        assert outcome.lowest_voltage.min() >= worst.battery_voltage.low * (1 - 1e-9)


def test_threshold_follows_the_ambient_of_the_trial() -> None:
    """I0(T)^2 is proportional to T_f - T, nominal at the nominal ambient: hand algebra for the demo's booster."""
    plan = trial_plan(load_example("demo"))
    assert isinstance(plan, TrialPlan)
    ambient = np.array([-10.0, 15.0, 35.0])
    assert plan.igniters[0].shift(ambient) ** 2 == pytest.approx((320 - ambient) / (320 - 15), rel=1e-12)
    values = {**plan.draw(generator(5, 0), 3), "ambient": ambient}
    still, _ = plan.bridges({**values, "ambient": 15.0}, 3)
    assert plan.bridges(values, 3)[0][0] == pytest.approx(still[0] * plan.igniters[0].shift(ambient), rel=1e-12)


@pytest.mark.parametrize("alpha", [1e-3, -1e-3])
def test_resistance_and_growth_follow_the_ambient_of_the_trial(alpha: float) -> None:
    """R(T) = R0 (1 + alpha (T - 20)) and a = R(T_f) / R(T) - 1 with the one ambient of the trial, for every igniter."""
    circuit = firing_circuit(
        [["match"], ["match"]], ambient="-30 degC .. 10 degC .. 60 degC", bridge="0.8 ohm .. 1.2 ohm",
        igniter=f'temperature_coefficient = "{alpha} / K"\nfunction_temperature = "270 degC"',
    )  # fmt: skip
    plan = trial_plan(circuit)
    assert isinstance(plan, TrialPlan)
    assert {(i.value.low, i.value.high) for i in plan.inputs if "bridge resistance" in i.group} == {(0.8, 1.2)}
    drawn = plan.draw(generator(2, 0), 50)
    found, ambient = plan.at_ambient(drawn), np.asarray(drawn["ambient"])
    assert np.ptp(ambient) > 50.0
    for igniter in plan.igniters:
        factor = 1.0 + alpha * (ambient - 20.0)
        assert found[igniter.name] == pytest.approx(np.asarray(drawn[igniter.name]) * factor, rel=1e-12)
        assert found[f"{igniter.name} growth"] == pytest.approx((1.0 + 250.0 * alpha) / factor - 1.0, rel=1e-12)
    constant = trial_plan(firing_circuit(ambient="-30 degC .. 60 degC"))
    assert isinstance(constant, TrialPlan)
    drawn = constant.draw(generator(2, 0), 50)
    assert constant.at_ambient(drawn) == drawn


def test_growing_bridges_alone_are_the_closed_form() -> None:
    """On a source of constant current a trial's function time is the bridge law with its growth, threshold and ambient."""
    circuit = firing_circuit(
        ambient="-30 degC .. 60 degC", voltage="600 V", lead="299 ohm", bridge="0.8 ohm .. 1.2 ohm",
        igniter='temperature_coefficient = "0.003 / K"\nfunction_temperature = "220 degC"', controller_current="0 A",
    )  # fmt: skip
    plan = trial_plan(circuit)
    assert isinstance(plan, TrialPlan)
    values = plan.draw(generator(4, 0), 200)
    threshold, tau = plan.bridges(values, 200)
    ambient = np.asarray(values["ambient"])
    growth = 1.6 / (1.0 + 3e-3 * (ambient - 20.0)) - 1.0
    found = run_trials(plan, guards(circuit), values, 200).function_time[0]
    assert found == pytest.approx(function_time(2.0, threshold[0], tau[0], 0.0, growth), rel=1e-2)


def test_a_missing_function_temperature_moves_the_trials_as_120_degc_does() -> None:
    """The lowest one assumed shifts most; the median at the nominal ambient stays where the statements put it."""
    plan = trial_plan(firing_circuit(ambient="-10 degC .. 40 degC .. 130 degC"))
    assert isinstance(plan, TrialPlan)
    shift = plan.igniters[0].shift([-10.0, 40.0, 100.0, 130.0])
    assert shift[:3] == pytest.approx([math.sqrt(130 / 80), 1.0, 0.5], rel=1e-12) and 0.0 < shift[3] < 1e-5
    assert math.exp(plan.igniters[0].location) == pytest.approx(math.sqrt(0.3 * 0.9), rel=1e-6)


def test_time_constant_by_energy_belongs_to_each_igniter() -> None:
    """tau = E/(I0^2 R) with the igniter's own threshold and resistance, whatever it is."""
    circuit = CIRCUITS["by energy"]()
    plan = trial_plan(circuit)
    assert isinstance(plan, TrialPlan)
    values = plan.draw(generator(1, 0), 100)
    threshold, tau = plan.bridges(values, 100)
    name = plan.igniters[1].name
    energy = threshold[1] ** 2 * np.asarray(values[name]) * tau[1]
    assert energy == pytest.approx(np.asarray(values[f"{name} energy"]), rel=1e-12)


def test_time_constant_by_energy_holds_at_the_reference_temperature() -> None:
    """tau = E / (I0(20 degC)^2 R(300 degC)), whatever the nominal ambient and that of the trial."""
    circuit = firing_circuit(
        ambient="-30 degC .. 10 degC .. 60 degC", bridge="0.8 ohm .. 1.2 ohm",
        heating='adiabatic_energy = "4 mJ .. 6 mJ .. 9 mJ"',
        igniter='temperature_coefficient = "-0.001 / K"\nfunction_temperature = "300 degC"',
    )  # fmt: skip
    plan = trial_plan(circuit)
    assert isinstance(plan, TrialPlan)
    values = plan.draw(generator(1, 0), 100)
    threshold, tau = plan.bridges(values, 100)
    name, ambient = plan.igniters[0].name, np.asarray(values["ambient"])
    square = threshold[0] ** 2 * 280.0 / (300.0 - ambient)
    energy = square * np.asarray(values[name]) * (1.0 - 0.28) * tau[0]
    assert energy == pytest.approx(np.asarray(values[f"{name} energy"]), rel=1e-12)


def test_both_ways_of_drawing_follow_one_law() -> None:
    """Normal deviates and the generator give every input the same distribution: quantiles agree."""
    circuit = firing_circuit(voltage="5 V .. 6 V .. 8 V", bridge="0.8 ohm .. 1 ohm .. 1.5 ohm")
    plan = trial_plan(circuit)
    assert isinstance(plan, TrialPlan)
    rng = np.random.default_rng(7)
    for one in plan.inputs:
        drawn, mapped = one.draw(rng, 40_000), one.from_normal(rng.standard_normal(40_000))
        shares = [0.02, 0.25, 0.5, 0.75, 0.98]
        width = np.ptp(drawn)
        assert np.abs(np.quantile(drawn, shares) - np.quantile(mapped, shares)).max() < 0.012 * width, one.name


def test_counts_are_those_of_the_trials() -> None:
    """Times, skew and voltages in the tallies are those that the batch itself shows."""
    circuit = firing_circuit([["match"]] * 3, voltage="3.5 V .. 5 V", bridge="4 ohm .. 6 ohm", pulse="50 ms")
    result = firing_trials(circuit, 5000, seed=9)
    plan = trial_plan(circuit)
    assert isinstance(plan, TrialPlan)
    outcome = run_trials(plan, guards(circuit), plan.draw(generator(9, 0), 5000), 5000)
    good = outcome.all_function
    assert 0 < result.failures == int((~good).sum())
    skew = np.ptp(outcome.function_time[:, good], axis=0)
    assert result.channels[0].functioned == good.sum()
    assert result.channels[0].skew.most == skew.max()
    assert result.channels[0].skew.quantile(0.5) == pytest.approx(np.quantile(skew, 0.5), rel=5e-3)
    assert result.lowest_voltage.least == outcome.lowest_voltage.min()
    times = outcome.function_time[1][np.isfinite(outcome.function_time[1])]
    assert result.igniters[1].functioned == times.size
    assert result.igniters[1].function_time.most == times.max()


def processes() -> Executor:
    """Two processes that are not ours to configure."""
    import multiprocessing

    return ProcessPoolExecutor(2, multiprocessing.get_context("spawn"))


@pytest.mark.parametrize("workers", [lambda: ThreadPoolExecutor(3), processes], ids=["threads", "processes"])
def test_results_do_not_depend_on_the_executor(workers: Callable[[], AbstractContextManager[Executor]]) -> None:
    """One seed gives one result, in this process, in threads and in processes, to the last bit."""
    circuit = load_example("demo")
    trials = 3 * BLOCK + 17
    alone = firing_trials(circuit, trials, seed=6)
    with workers() as executor:
        assert same(alone, firing_trials(circuit, trials, seed=6, executor=executor))


def test_results_do_not_depend_on_jobs_but_on_the_seed() -> None:
    """Two processes of our own give the same; another seed gives others."""
    circuit = firing_circuit([["match"]] * 2, voltage="3.5 V .. 5 V", bridge="4 ohm .. 6 ohm", pulse="50 ms")
    alone = firing_trials(circuit, BLOCK + 100, seed=1)
    assert same(alone, firing_trials(circuit, BLOCK + 100, seed=1, jobs=2))
    assert not same(alone, firing_trials(circuit, BLOCK + 100, seed=2))


def test_dask_cluster_gives_the_same() -> None:
    """The executor of a dask.distributed cluster, for those who outgrow one machine."""
    import distributed

    circuit = firing_circuit([["match"]] * 2)
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None, scheduler_port=0
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        executor = client.get_executor(pure=False)
        assert same(firing_trials(circuit, 2 * BLOCK), firing_trials(circuit, 2 * BLOCK, executor=executor))


def test_interruption_leaves_a_partial_result() -> None:
    """Ctrl-C after two blocks: their trials are there, marked as partial, with bounds of their own number."""
    circuit = firing_circuit()

    def stop(done: int, asked: int) -> None:
        assert asked == 10 * BLOCK
        if done == 2 * BLOCK:
            raise KeyboardInterrupt

    result = firing_trials(circuit, 10 * BLOCK, progress=stop)
    assert result.partial and result.trials == 2 * BLOCK and result.requested == 10 * BLOCK
    assert result.lower() == pytest.approx(0.05 ** (1 / (2 * BLOCK)), rel=1e-12)


def test_zero_failures_are_a_bound() -> None:
    """No failure in n trials: the probability is stated as at least 0.05^(1/n), never as certain."""
    result = firing_trials(firing_circuit(), 2995)
    assert result.failures == 0 and result.probability == 1.0
    assert 0.999 <= result.lower(0.95) < 0.99901  # type: ignore[operator]
    assert result.interval() is not None


def test_probability_is_stated_with_its_bounds() -> None:
    """Bounds, counts and igniters are those of the trials; without trials there is a reason and no number."""
    circuit = firing_circuit([["match"]] * 3, voltage="3.5 V .. 5 V", bridge="4 ohm .. 6 ohm", pulse="50 ms")
    trials = firing_trials(circuit, 2000, seed=9)
    found = probability_all_fire(trials)
    both = trials.interval(0.95)
    assert both is not None and (found.value, found.lower_95) == (trials.probability, trials.lower(0.95))
    assert found.interval_95 == (both.low, both.high) and found.lower_95 != both.low
    assert (found.trials, found.failures, found.seed, found.partial) == (2000, trials.failures, 9, False)
    assert [i.functions_in_trials for i in found.igniters] == [trials.functions(i) for i in trials.igniters]
    assert [i.functioned for i in found.igniters] == [i.functioned for i in trials.igniters]
    nothing = probability_all_fire(None)
    assert nothing.value is None and nothing.seed is None and nothing.reason == "no trials were asked for: --trials N"
    unknown = probability_all_fire(firing_trials(load_example("unknown-igniter"), 10))
    assert unknown.value is None and "has no no-fire statement" in (unknown.reason or "")


@pytest.mark.parametrize(
    ("circuit", "reason"),
    [
        (lambda: load_example("unknown-igniter"), "has no no-fire statement"),
        (lambda: firing_circuit(resistance="3 ohm"), "below the lowest on-resistance row"),
        (lambda: firing_circuit(ambient="120 degC"), "may function at the nominal ambient without any current"),
    ],
)
def test_no_probability_without_its_grounds(circuit: Callable[[], Circuit], reason: str) -> None:
    """Without both statements, or with a gate below the data sheet, there is a reason and no number."""
    result = firing_trials(circuit(), 1000)
    assert result.trials == 0 and result.probability is None and result.lower() is None
    assert result.reason is not None and reason in result.reason
    assert not result.partial


@pytest.mark.parametrize(("name", "bad"), [("trials", 0), ("trials", 2.5), ("seed", -1), ("jobs", 0), ("jobs", True)])
def test_impossible_numbers_are_refused(name: str, bad: object) -> None:
    """Trials, seed and jobs are whole numbers in their range."""
    with pytest.raises(InputError, match=f"{name}: a whole number"):
        firing_trials(firing_circuit(), **({"trials": 10} | {name: bad}))  # type: ignore[arg-type]


def test_memory_does_not_grow_with_the_trials() -> None:
    """Four times the blocks need no more memory at once."""
    circuit = firing_circuit([["match"]] * 4)
    firing_trials(circuit, 100)
    peaks = []
    for blocks in (2, 8):
        tracemalloc.start()
        firing_trials(circuit, blocks * BLOCK)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 1.2 * peaks[0]


def test_bank_trials_agree_with_the_closed_response() -> None:
    """On a capacitor bank an igniter functions just where the closed form's highest thermal fraction reaches 1."""
    table = 'capacitor_bank = { capacitance = "60 uF .. 120 uF", series_resistance = "0.1 ohm .. 0.4 ohm" }'
    circuit = firing_circuit(battery=table, voltage="11 V .. 12 V", bridge="0.8 ohm .. 1.2 ohm")
    plan = trial_plan(circuit)
    assert isinstance(plan, TrialPlan)
    values = plan.draw(generator(3, 0), 500)
    threshold, tau = plan.bridges(values, 500)
    outcome = run_trials(plan, guards(circuit), values, 500)
    capacitance, resistance = np.asarray(values["bank.capacitance"]), np.asarray(values["channel 1.igniter 1.1"])
    series = np.asarray(values["bank.resistance"]) + 1e-3
    peak = bridge_thermal_rise(
        capacitance, values["bank.voltage"], resistance, series, threshold[0] ** 2 * resistance * tau[0], tau[0],
        bridge_peak_time(capacitance, resistance, series, tau[0]),
    )  # fmt: skip
    functions = np.isfinite(outcome.function_time[0])
    clear = np.abs(peak - 1.0) > 1e-5
    assert 50 < functions.sum() < 450
    assert np.array_equal(functions[clear], peak[clear] > 1.0)


def test_polarisation_delays() -> None:
    """A slow part of the battery's resistance makes every trial later; a vanishing one changes nothing."""
    plain = firing_circuit(resistance="0.1 ohm .. 0.2 ohm", pulse="5 ms")
    slow, none = (
        firing_circuit(
            resistance="0.1 ohm .. 0.2 ohm",
            pulse="5 ms",
            battery=f'polarisation = {{ resistance = "{ohms} ohm", time_constant = "1 ms" }}',
        )
        for ohms in ("0.5", "0.000001")
    )
    times = []
    for circuit in (plain, slow, none):
        plan = trial_plan(circuit)
        assert isinstance(plan, TrialPlan)
        times.append(run_trials(plan, guards(circuit), plan.draw(generator(2, 0), 400), 400).function_time[0])
    assert (times[1] > times[0]).all()
    assert times[2] == pytest.approx(times[0], rel=1e-5)


@pytest.mark.parametrize(
    ("recharge", "trip", "brown_out", "reason"),
    [
        ("1 kohm", '{ trip_current = "1 A", delay = "1 ms" }', "2.7 V", None),
        ("1 ohm", '{ trip_current = "1 A", delay = "1 ms" }', "2.7 V", "recharges the bank"),
        ("1 ohm", '"none"', "2.7 V", None),
        ("1 ohm", '"none"', "3.25 V", "recharges the bank"),
    ],
)
def test_a_battery_that_suffers_from_recharging_has_no_trials(
    recharge: str, trip: str, brown_out: str, reason: str | None
) -> None:
    """A bank of 10 mF takes up to 8.4 V / 1 ohm from the battery once it has run down: over 1 A it trips.

    Behind 1.5 ohm the terminals fall to 8.0 V x 1 / 2.5, and the controller to 2.9 V, under 3.25 V.
    """
    bank = f'capacitor_bank = {{ capacitance = "10 mF", series_resistance = "0.1 ohm", recharge_resistance = "{recharge}" }}'
    swaps = (
        ('protection = "none"', f"protection = {trip}\n{bank}"),
        ('brown_out = "2.7 V"', f'brown_out = "{brown_out}"'),
        ("40 mohm .. 60 mohm .. 100 mohm", "1.5 ohm" if brown_out == "3.25 V" else "0.1 ohm"),
        ('spent = "open"', 'spent = "short"'),
    )
    found = firing_trials(parse_circuit(edited(SOUND, *swaps)), 10)
    assert (found.reason is None) if reason is None else reason in (found.reason or "")
