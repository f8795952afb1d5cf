"""Which input matters most: shares of the variance of a firing's outcome, by groups of inputs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from ignition.analyses.trials.inputs import TrialPlan, trial_plan
from ignition.analyses.trials.run import Guards, TrialOutcome, guards, run_trials
from ignition.analyses.trials.trials import generator
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.typing import BARE, FloatArray, Key, Ratio

__all__ = ["Influence", "InputInfluence", "QUANTITIES", "influence"]

QUANTITIES = ("latest function time", "margin")
"""Outcomes whose variance is shared out: both as logarithms, so that no single slow trial rules."""

_MOST_VALUES = 4_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class InputInfluence:
    """Share of one group of inputs in the variance of the outcome.

    Attributes
    ----------
    group : What varies, for example ``battery voltage``; igniters of one type count as one group
    first_order : Share that this group explains by itself
    total : Share that would vanish with it, its interplay with others included
    """

    group: Annotated[str, Key("input")]
    first_order: Annotated[Ratio, BARE]
    total: Annotated[Ratio, BARE]


@dataclass(frozen=True, slots=True, kw_only=True)
class Influence:
    """Inputs of a firing in the order of their influence.

    Attributes
    ----------
    quantity : One of `QUANTITIES`
    inputs : By total share, the largest first; empty where there is a reason
    samples : Base samples [1]
    seed : Seed of the random numbers [1]
    """

    circuit: str
    quantity: str
    inputs: tuple[InputInfluence, ...]
    samples: int
    seed: int
    reason: str | None
    method: str = "Sobol indices"


def influence(
    circuit: Circuit, *, quantity: str = "latest function time", samples: int = 4096, seed: int = 0
) -> Influence:
    """Share out the variance of a firing's outcome among its inputs.

    Saltelli's scheme with groups: all inputs of a group change together, so that a group's index is what its inputs
    explain jointly. Samples are a Sobol sequence shifted at random. The indices carry an error of some 0.01 to 0.03
    with 4096 samples; small negative ones are zeros.

    Raises InputError if the quantity is unknown or the samples are no power of two from 64 to 65536.

    Source: scipy.stats.sobol_indices, method ``saltelli_2010``: A. Saltelli et al., Computer Physics Communications 181
    (2010) 259-270 (as scipy cites it).

    Parameters
    ----------
    quantity : ``latest function time``: logarithm of the last igniter's time from its driven pin; only where all
        igniters function in every sample. ``margin``: ln(time available / function time) of the worst igniter, or ln of
        its highest thermal fraction where it does not function
    samples : Base samples, a power of two [1]; with g groups the circuit is fired samples x (g + 2) times
    seed : Seed of the random numbers [1]

    Returns
    -------
    Sobol indices by group, or the reason why there are none
    """
    if quantity not in QUANTITIES:
        raise InputError(f"quantity: one of {', '.join(map(repr, QUANTITIES))} expected, received {quantity!r}")
    if samples & (samples - 1) or not 64 <= samples <= 65536:
        raise InputError(
            f"samples: a power of two from 64 to 65536 expected, received {samples!r}; write for example 4096"
        )
    plan = trial_plan(circuit)
    if isinstance(plan, str):
        return _without(circuit, quantity, samples, seed, plan)
    groups = list(dict.fromkeys(i.group for i in plan.inputs))
    firings = _Firings(plan, guards(circuit), quantity)
    base, other = _matrices(len(plan.inputs), samples, seed)
    columns = [[i for i, one in enumerate(plan.inputs) if one.group == group] for group in groups]
    outcomes = [firings(base), firings(other), *(firings(_swapped(base, other, rows)) for rows in columns)]
    if not all(np.isfinite(o).all() for o in outcomes):
        return _without(
            circuit,
            quantity,
            samples,
            seed,
            "not all igniters function in every sample, so there is no latest function time: ask for 'margin'",
        )
    if float(np.ptp(np.concatenate(outcomes[:2]))) < 1e-12:
        return _without(circuit, quantity, samples, seed, "the outcome does not vary")
    return Influence(
        circuit=circuit.name,
        quantity=quantity,
        inputs=_shares(groups, outcomes),
        samples=samples,
        seed=seed,
        reason=None,
    )


def _without(circuit: Circuit, quantity: str, samples: int, seed: int, reason: str) -> Influence:
    return Influence(circuit=circuit.name, quantity=quantity, inputs=(), samples=samples, seed=seed, reason=reason)


class _Firings:
    """Outcome as a function of standard normal deviates, in pieces of bounded size."""

    def __init__(self, plan: TrialPlan, guarded: Guards, quantity: str) -> None:
        self.plan, self.guarded, self.quantity = plan, guarded, quantity

    def __call__(self, deviates: FloatArray) -> FloatArray:
        trials = deviates.shape[1]
        piece = max(256, _MOST_VALUES // max(len(deviates), 1))
        parts = [self._outcome(deviates[:, first : first + piece]) for first in range(0, trials, piece)]
        return np.concatenate(parts)

    def _outcome(self, deviates: FloatArray) -> FloatArray:
        size = deviates.shape[1]
        outcome: TrialOutcome = run_trials(self.plan, self.guarded, self.plan.from_normal(deviates), size)
        if self.quantity == "margin":
            return outcome.margin()
        return np.asarray(np.log(np.maximum(outcome.function_time, 1e-12)).max(axis=0))


def _matrices(inputs: int, samples: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Two independent samples of standard normal deviates, (inputs, samples) each."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    points = qmc.Sobol(2 * inputs, scramble=False).random(samples)
    shifted = (points + generator(seed, 0).random(2 * inputs)) % 1.0
    normal = ndtri(np.clip(shifted, 1e-12, 1.0 - 1e-12)).T
    return np.ascontiguousarray(normal[:inputs]), np.ascontiguousarray(normal[inputs:])


def _swapped(base: FloatArray, other: FloatArray, rows: Sequence[int]) -> FloatArray:
    """`base` with the inputs of one group from `other`."""
    mixed = base.copy()
    mixed[list(rows)] = other[list(rows)]
    return mixed


def _shares(groups: Sequence[str], outcomes: Sequence[FloatArray]) -> tuple[InputInfluence, ...]:
    from scipy.stats import sobol_indices

    if len(groups) == 1:  # scipy's own cannot share out among one
        return (InputInfluence(group=groups[0], first_order=1.0, total=1.0),)
    found = sobol_indices(
        func={
            "f_A": outcomes[0][None, :],
            "f_B": outcomes[1][None, :],
            "f_AB": np.stack([o[None, :] for o in outcomes[2:]]),
        },
        n=len(outcomes[0]),
    )
    shares = [
        InputInfluence(group=group, first_order=float(first), total=float(total))
        for group, first, total in zip(groups, np.ravel(found.first_order), np.ravel(found.total_order), strict=True)
    ]
    return tuple(sorted(shares, key=lambda s: (-s.total, s.group)))
