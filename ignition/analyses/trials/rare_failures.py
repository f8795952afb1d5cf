"""Rare failures: the probability that a cluster does not fire, down to one in 10^9, by subset simulation."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from ignition.analyses.trials.inputs import TrialPlan, trial_plan
from ignition.analyses.trials.run import Guards, guards, run_trials
from ignition.analyses.trials.trials import generator
from ignition.binomial import Interval
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.typing import BARE, HIDDEN, FloatArray, Key, Missing, Ratio

__all__ = ["RareFailure", "rare_failure"]

_SHARE = 0.1
_MOST_LEVELS = 12
_BATCH_OF_SCALES = 3

Limit = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class RareFailure:
    """Probability that not all igniters function.

    Attributes
    ----------
    probability : Mean over the runs; None where the method does not apply. Never to be shown without its interval
    runs : Estimates of the independent runs; 0 where a run met no failure down to `floor`
    floor : Probability below which a run gives up
    samples : Samples of each level of a run [1]
    firings : Trial firings in all [1]
    """

    circuit: str
    probability: Annotated[Ratio | None, HIDDEN]
    runs: Annotated[tuple[Ratio, ...], BARE]
    floor: Annotated[Ratio, BARE]
    samples: int
    firings: int
    seed: int
    reason: Annotated[str | None, HIDDEN]
    method: str = "subset simulation"

    @property
    def stated(self) -> Annotated[Ratio | None, BARE, Key("probability_failure"), Missing(field="why")]:
        """The probability [1], None also where no failure was met."""
        return self.probability or None

    @property
    def why(self) -> Annotated[str | None, Key("reason")]:
        """Why no probability is stated."""
        met = None if self.probability else f"no failure was met down to a probability of {self.floor:.0e}"
        return self.reason or met

    @property
    def interval_95(self) -> Annotated[tuple[Ratio, Ratio] | None, BARE, Key("interval_95"), Missing(field="why")]:
        """Interval at 95 % confidence [1]."""
        both = self.interval()
        return None if both is None else (both.low, both.high)

    @property
    def variation(self) -> Annotated[Ratio | None, BARE, Key("coefficient_of_variation"), Missing(field="why")]:
        """Standard error of the probability over the probability itself [1], from the scatter of the runs."""
        if not self.probability:
            return None
        spread = float(np.std(self.runs, ddof=1))
        return spread / math.sqrt(len(self.runs)) / self.probability

    def interval(self, confidence_level: float = 0.95) -> Interval | None:
        """Two-sided interval of the probability of failure.

        Raises InputError if the level is not between 0 and 1.

        Parameters
        ----------
        confidence_level : Confidence [1]

        Returns
        -------
        Approximate interval [1]: log-normal about the mean of the runs with Student's factor. Where no run met a
            failure it reaches from 0 to `floor`
        """
        if not 0.0 < confidence_level < 1.0:
            raise InputError(f"confidence_level must lie between 0 and 1, received {confidence_level!r}")
        if self.probability is None:
            return None
        if self.probability == 0.0 or self.variation is None:
            return Interval(low=0.0, high=self.floor)
        from scipy.special import stdtrit

        factor = float(stdtrit(len(self.runs) - 1, 0.5 * (1.0 + confidence_level)))
        width = math.exp(factor * math.sqrt(math.log1p(self.variation**2)))
        high = min(self.probability * width, 1.0)
        if 0.0 in self.runs:
            return Interval(low=0.0, high=max(high, self.floor))
        return Interval(low=self.probability / width, high=high)


def rare_failure(circuit: Circuit, *, samples: int = 4000, runs: int = 10, seed: int = 0) -> RareFailure:
    """Estimate a small probability that a circuit's igniters do not all function.

    All inputs become standard normal deviates. Each level keeps the tenth of its samples nearest to failure, by the
    margin ln(time available / function time) of the worst igniter, and grows chains from them by conditional
    sampling: candidate = sqrt(1 - s^2) z + s w, kept where it is at least as near to failure; s follows the
    acceptance. The probability is 0.1^levels times the share of failures in the last. The runs share nothing, so
    their scatter is an honest measure of the error, to which plain trials of about 1e-3 and closed forms are the
    check. A failure that no nearer sample announces could be missed: hence the refusal where igniters in one string,
    or spent igniters that stay conductive, make the order decide.

    Raises InputError if samples, runs or seed are out of range.

    Source: S. K. Au and J. L. Beck, Probabilistic Engineering Mechanics 16 (2001) 263-277; I. Papaioannou et al., the
    same 41 (2015) 89-103 (both from memory).

    Parameters
    ----------
    samples : Samples of each level of a run [1]
    runs : Independent runs, from whose scatter the interval is found [1]
    seed : Seed of the random numbers [1]

    Returns
    -------
    Probability with the runs behind it; where no probability can be stated, or where the order in which igniters
        function decides, none but a reason
    """
    for name, value, least, most in (
        ("samples", samples, 200, 10**6),
        ("runs", runs, 3, 1000),
        ("seed", seed, 0, 2**63),
    ):
        if isinstance(value, bool) or not isinstance(value, int | np.integer) or not least <= value <= most:
            raise InputError(f"{name}: a whole number from {least} to {most} expected, received {value!r}")
    plan = trial_plan(circuit)
    reason = plan if isinstance(plan, str) else _order_decides(circuit)
    size = int(samples) // 10 * 10
    floor = _SHARE**_MOST_LEVELS
    if isinstance(plan, str) or reason is not None:
        return RareFailure(
            circuit=circuit.name,
            probability=None,
            runs=(),
            floor=floor,
            samples=size,
            firings=0,
            seed=seed,
            reason=reason,
        )
    limit = _Limit(plan, guards(circuit))
    found = tuple(_subset_run(limit, len(plan.inputs), size, generator(int(seed), block)) for block in range(int(runs)))
    return RareFailure(
        circuit=circuit.name,
        probability=float(np.mean(found)),
        runs=found,
        floor=floor,
        samples=size,
        firings=limit.firings,
        seed=seed,
        reason=None,
    )


def _order_decides(circuit: Circuit) -> str | None:
    """Why subset simulation does not apply; None where it does."""
    for channel in circuit.channels:
        if any(len(string) > 1 for string in channel.strings):
            return (
                f"channel {channel.name!r} has igniters in series: the first to function may open the string, so the "
                "order decides; use plain trials"
            )
    kinds = [kind for channel in circuit.channels for string in channel.strings for kind in string]
    if len(kinds) > 1 and any(circuit.igniters[kind].spent_resistance is not None for kind in kinds):
        return "a spent igniter may stay conductive and starve the others, so the order decides; use plain trials"
    return None


class _Limit:
    """Margin of the worst igniter as a function of standard normal deviates; counts its firings."""

    def __init__(self, plan: TrialPlan, guarded: Guards) -> None:
        self.plan, self.guarded, self.firings = plan, guarded, 0

    def __call__(self, deviates: FloatArray) -> FloatArray:
        size = deviates.shape[1]
        self.firings += size
        return run_trials(self.plan, self.guarded, self.plan.from_normal(deviates), size).margin()


def _subset_run(limit: Limit, inputs: int, size: int, rng: np.random.Generator) -> float:
    """One run of subset simulation; 0 where it met no failure."""
    z = rng.standard_normal((inputs, size))
    margin = limit(z)
    seeds = size // 10
    scale = 0.6
    for level in range(_MOST_LEVELS):
        failed = int(np.count_nonzero(margin <= 0.0))
        if failed >= seeds or level == _MOST_LEVELS - 1:
            return float(_SHARE**level * failed / size)
        nearest = np.argsort(margin, kind="stable")[:seeds]
        edge = float(margin[nearest[-1]])
        z, margin, scale = _grow(limit, z[:, nearest], margin[nearest], edge, scale, rng)
    raise AssertionError("unreachable")


def _grow(
    limit: Limit, z: FloatArray, margin: FloatArray, edge: float, scale: float, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, float]:
    """Chains of ten states from every seed, all inside margin <= edge; and the step that suits."""
    states, margins = [z], [margin]
    steps = round(1.0 / _SHARE) - 1
    accepted = 0.0
    for step in range(1, steps + 1):
        candidate = math.sqrt(1.0 - scale * scale) * z + scale * rng.standard_normal(z.shape)
        found = limit(candidate)
        kept = found <= edge
        z = np.where(kept, candidate, z)
        margin = np.where(kept, found, margin)
        states.append(z)
        margins.append(margin)
        accepted += float(kept.mean())
        if step % _BATCH_OF_SCALES == 0:
            batch = step // _BATCH_OF_SCALES
            scale = min(0.99, scale * math.exp((accepted / _BATCH_OF_SCALES - 0.44) / math.sqrt(batch)))
            accepted = 0.0
    return np.concatenate(states, axis=1), np.concatenate(margins), scale
