"""Trial firings over the scatter of every igniter and over what all of them share: probability with its bounds."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from ignition.analyses.firing.sequence import igniter_list
from ignition.analyses.trials.histogram import Histogram, Quantiles, Tally
from ignition.analyses.trials.inputs import TrialPlan, trial_plan
from ignition.analyses.trials.run import Guards, guards, run_trials
from ignition.binomial import Interval, clopper_pearson
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.typing import BARE, HIDDEN, Key, Ratio

__all__ = [
    "BLOCK",
    "ChannelTrials",
    "FiringTrials",
    "IgniterShare",
    "IgniterTrials",
    "MOST_TRIALS",
    "ProbabilityAllFire",
    "block_of_trials",
    "firing_trials",
    "generator",
    "probability_all_fire",
]

BLOCK = 32768
"""Trials that share one stream of random numbers; results do not depend on who works on which block."""

MOST_TRIALS = 10**10
"""Largest number of trials accepted."""

_IN_FLIGHT = 32


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IgniterTrials:
    """One igniter over all trials.

    Attributes
    ----------
    functioned : Trials in which it functioned [1]
    function_time : Its function times, from the driven pin, of those trials [s]
    """

    channel: str
    igniter: str
    kind: Annotated[str, Key("type")]
    functioned: int
    function_time: Annotated[Tally, HIDDEN]

    @property
    def times(self) -> Annotated[Quantiles, Key("function_time")]:
        """Quantiles of its function times."""
        return self.function_time.quantiles("s", "it functioned in no trial")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChannelTrials:
    """One channel over all trials.

    Attributes
    ----------
    functioned : Trials in which all its igniters functioned [1]
    skew : Time from its first to its last function, of those trials [s]
    """

    channel: str
    functioned: int
    skew: Annotated[Tally, HIDDEN]

    @property
    def skews(self) -> Annotated[Quantiles, Key("skew")]:
        """Quantiles of its skew."""
        return self.skew.quantiles("s", "in no trial did all of its igniters function")

    @property
    def skew_histogram(self) -> Annotated[Histogram, Key("skew_histogram")]:
        """Its skew in twenty equal bins."""
        edges, counts = self.skew.histogram(20) if self.skew.number else ((), ())
        return Histogram(edges=tuple(map(float, edges)), counts=tuple(map(int, counts)), unit="s")


@dataclass(frozen=True, slots=True, kw_only=True)
class IgniterShare:
    """In how many trials one igniter functioned, as a number and in a word."""

    igniter: str
    functioned: int
    functions_in_trials: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbabilityAllFire:
    """Probability that all igniters function, never without its bounds.

    Attributes
    ----------
    lower_95, interval_95 : One-sided lower bound, and both bounds, at 95 % confidence
    reason : Why there is none
    """

    value: Annotated[Ratio | None, BARE] = None
    lower_95: Annotated[Ratio | None, BARE] = None
    interval_95: Annotated[tuple[Ratio, Ratio] | None, BARE] = None
    trials: int = 0
    failures: int = 0
    seed: int | None = None
    partial: bool = False
    igniters: tuple[IgniterShare, ...] = ()
    reason: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FiringTrials:
    """Trial firings of a circuit.

    Attributes
    ----------
    trials, requested : Trials done, and asked for [1]
    failures : Trials in which not all igniters functioned [1]
    igniters : In file order
    channels : In file order
    lowest_voltage : Lowest voltage at the battery's terminals, or where the controller takes its supply after the arm
        switch, at the bus [V]
    reason : Why there is no probability; None where there is one
    """

    circuit: str
    trials: int
    requested: int
    seed: int
    failures: int
    igniters: tuple[IgniterTrials, ...]
    channels: tuple[ChannelTrials, ...]
    lowest_voltage: Annotated[Tally, HIDDEN]
    reason: str | None

    @property
    def lowest_voltages(self) -> Annotated[Quantiles, Key("lowest_battery_voltage")]:
        """Quantiles of the lowest voltage."""
        return self.lowest_voltage.quantiles("V", self.reason or "no trials")

    @property
    def partial(self) -> bool:
        """Whether the run was interrupted."""
        return self.trials < self.requested and self.reason is None

    @property
    def probability(self) -> float | None:
        """Share of trials in which all igniters functioned [1]; never to be shown without its bounds."""
        return None if self.trials == 0 else (self.trials - self.failures) / self.trials

    def lower(self, confidence_level: float = 0.95) -> float | None:
        """One-sided lower bound of the probability that all igniters function [1].

        Parameters
        ----------
        confidence_level : Confidence [1]
        """
        functioned = self.trials - self.failures
        return None if self.trials == 0 else clopper_pearson(functioned, self.trials, confidence_level, "greater").low

    def interval(self, confidence_level: float = 0.95) -> Interval | None:
        """Two-sided interval of the probability that all igniters function [1].

        Parameters
        ----------
        confidence_level : Confidence [1]
        """
        return None if self.trials == 0 else clopper_pearson(self.trials - self.failures, self.trials, confidence_level)

    def functions(self, igniter: IgniterTrials) -> str:
        """In how many of the trials an igniter functions, in a word.

        Parameters
        ----------
        igniter : One of `igniters`

        Returns
        -------
        ``always`` (in every trial done), ``sometimes`` or ``never``
        """
        if igniter.functioned == 0:
            return "never"
        return "always" if igniter.functioned == self.trials else "sometimes"

    def merged(self, other: FiringTrials) -> FiringTrials:
        """Both runs together; the order of merging does not matter.

        Parameters
        ----------
        other : Trials of the same circuit with other random numbers

        Returns
        -------
        The sum; what was asked for stays this one's
        """
        return replace(
            self,
            trials=self.trials + other.trials,
            failures=self.failures + other.failures,
            igniters=tuple(
                replace(
                    a, functioned=a.functioned + b.functioned, function_time=a.function_time.merged(b.function_time)
                )
                for a, b in zip(self.igniters, other.igniters, strict=True)
            ),
            channels=tuple(
                replace(a, functioned=a.functioned + b.functioned, skew=a.skew.merged(b.skew))
                for a, b in zip(self.channels, other.channels, strict=True)
            ),
            lowest_voltage=self.lowest_voltage.merged(other.lowest_voltage),
        )


def probability_all_fire(trials: FiringTrials | None) -> ProbabilityAllFire:
    """State the probability that all igniters function, with its bounds at 95 % confidence.

    Parameters
    ----------
    trials : Trial firings; None where none were asked for

    Returns
    -------
    Probability [1] with its bounds, or none and the reason
    """
    both = None if trials is None else trials.interval()
    if trials is None or both is None:
        reason = "no trials were asked for: --trials N" if trials is None else trials.reason or "interrupted"
        return ProbabilityAllFire(reason=reason)
    return ProbabilityAllFire(
        value=trials.probability,
        lower_95=trials.lower(),
        interval_95=(both.low, both.high),
        trials=trials.trials,
        failures=trials.failures,
        seed=trials.seed,
        partial=trials.partial,
        igniters=tuple(
            IgniterShare(igniter=i.igniter, functioned=i.functioned, functions_in_trials=trials.functions(i))
            for i in trials.igniters
        ),
    )


def generator(seed: int, block: int) -> np.random.Generator:
    """Make the random numbers of one block of trials: the block's child of the seed's sequence.

    Parameters
    ----------
    block : Number of the block, from 0 [1]
    """
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(seed, spawn_key=(block,))))


def firing_trials(
    circuit: Circuit,
    trials: int,
    seed: int = 0,
    *,
    jobs: int = 1,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> FiringTrials:
    """Fire a circuit many times with values drawn from its tolerances.

    Thresholds are log-normal with the nominal no-fire and all-fire currents at their stated reliabilities, and are
    not limited to the range between: a share of igniters lies beyond either statement. Everything else is drawn
    within its bounds. The confidence of the statements does not enter. An interruption by the keyboard ends the run;
    the trials done so far are returned, and `partial` is true.

    Raises InputError if the number of trials, the seed or the jobs are impossible.

    Parameters
    ----------
    trials : Number of trial firings [1]
    seed : Seed; equal seeds and numbers of trials give equal results, whatever `jobs` and `executor` [1]
    jobs : Processes to use [1]; without effect where an executor is given
    progress : Called with the trials done and asked for, after each block

    Returns
    -------
    Counts, and bounds on demand. Where an igniter has no no-fire or all-fire statement, or a gate may stay below the
        lowest row of its data sheet, there are no trials but a reason
    """
    for name, value, least, most in (
        ("trials", trials, 1, MOST_TRIALS),
        ("seed", seed, 0, 2**63),
        ("jobs", jobs, 1, 4096),
    ):
        if isinstance(value, bool) or not isinstance(value, int | np.integer) or not least <= value <= most:
            raise InputError(f"{name}: a whole number from {least} to {most} expected, received {value!r}")
    plan = trial_plan(circuit)
    total = _nothing(circuit, int(trials), int(seed), plan if isinstance(plan, str) else None)
    if isinstance(plan, str):
        return total
    guarded = guards(circuit)
    sizes = _sizes(int(trials))
    try:
        with _pool(jobs, executor) as workers:
            for part in _parts(plan, guarded, int(seed), sizes, workers):
                total = total.merged(part)
                if progress is not None:
                    progress(total.trials, total.requested)
    except KeyboardInterrupt:
        if total.trials == 0:
            total = replace(total, reason="interrupted before the first block of trials was done")
    return total


def _sizes(trials: int) -> Iterator[tuple[int, int]]:
    """Number and size of every block."""
    for block in range(-(-trials // BLOCK)):
        yield block, min(BLOCK, trials - block * BLOCK)


def _parts(
    plan: TrialPlan, guarded: Guards, seed: int, sizes: Iterator[tuple[int, int]], workers: Executor | None
) -> Iterator[FiringTrials]:
    """Results of the blocks, in the order in which they come; no more than a few at a time are held."""
    if workers is None:
        for block, size in sizes:
            yield block_of_trials(plan, guarded, seed, block, size)
        return
    pending: set[Future[FiringTrials]] = set()
    try:
        more = True
        while more or pending:
            while more and len(pending) < _IN_FLIGHT:
                following = next(sizes, None)
                more = following is not None
                if following is not None:
                    pending.add(workers.submit(block_of_trials, plan, guarded, seed, *following))
            done, pending = wait(pending, return_when=FIRST_COMPLETED)
            for future in done:
                yield future.result()
    finally:
        for future in pending:
            future.cancel()


@contextmanager
def _pool(jobs: int, executor: Executor | None) -> Iterator[Executor | None]:
    """Where to work: the caller's executor, processes of our own, or None for this one."""
    if executor is not None or jobs == 1:
        yield executor
        return
    import multiprocessing

    pool = ProcessPoolExecutor(
        min(jobs, max(os.cpu_count() or 1, jobs)), multiprocessing.get_context("spawn"), initializer=_leave_interrupts
    )
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _leave_interrupts() -> None:
    """In a worker: an interruption by the keyboard is the parent's to handle."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _nothing(circuit: Circuit, requested: int, seed: int, reason: str | None) -> FiringTrials:
    return FiringTrials(
        circuit=circuit.name,
        trials=0,
        requested=requested,
        seed=seed,
        failures=0,
        igniters=tuple(
            IgniterTrials(channel=c, igniter=n, kind=m.name, functioned=0, function_time=Tally.empty())
            for c, n, m in igniter_list(circuit)
        ),
        channels=tuple(ChannelTrials(channel=c.name, functioned=0, skew=Tally.empty()) for c in circuit.channels),
        lowest_voltage=Tally.empty(),
        reason=reason,
    )


def block_of_trials(plan: TrialPlan, guarded: Guards, seed: int, block: int, size: int) -> FiringTrials:
    """Fire one block of trials; what a worker does.

    Parameters
    ----------
    seed : Seed of the run [1]
    block : Number of the block [1]
    size : Its trials [1]
    """
    outcome = run_trials(plan, guarded, plan.draw(generator(seed, block), size), size)
    functioned = np.isfinite(outcome.function_time)
    igniters, channels = [], []
    members = igniter_list(plan.circuit)
    for row, (channel, name, model) in enumerate(members):
        times = outcome.function_time[row]
        count = int(np.count_nonzero(functioned[row]))
        tally = Tally.of(times if count == size else times[functioned[row]])
        igniters.append(
            IgniterTrials(channel=channel, igniter=name, kind=model.name, functioned=count, function_time=tally)
        )
    for circuit_channel in plan.circuit.channels:
        rows = [r for r, (channel, _, _) in enumerate(members) if channel == circuit_channel.name]
        times = outcome.function_time[rows[0] : rows[-1] + 1]
        latest = times.max(axis=0)
        ok = np.isfinite(latest)
        count = int(np.count_nonzero(ok))
        first = times.min(axis=0)
        skew = latest - first if count == size else latest[ok] - first[ok]
        channels.append(ChannelTrials(channel=circuit_channel.name, functioned=count, skew=Tally.of(skew)))
    return FiringTrials(
        circuit=plan.circuit.name,
        trials=size,
        requested=size,
        seed=seed,
        failures=size - int(np.count_nonzero(functioned.all(axis=0))),
        igniters=tuple(igniters),
        channels=tuple(channels),
        lowest_voltage=Tally.of(np.maximum(outcome.lowest_voltage, 0.0)),
        reason=None,
    )
