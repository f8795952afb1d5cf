"""Search for the divider: every pair of preferred values against all corners, the trade-offs and a recommendation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import numpy.typing as npt

from ignition.analyses.divider.candidate import BEYOND, Candidate, candidate, objectives_of, rejections
from ignition.analyses.divider.demands import DividerDuty, divider_duty
from ignition.analyses.divider.metrics import DividerMetrics, divider_metrics, full_scale_use, hold_divider_to_network
from ignition.analyses.divider.trade_off import Objectives, non_dominated, reasons, weakest_margin
from ignition.circuit.model import ChannelModel, Circuit
from ignition.errors import InputError
from ignition.parts.preferred import series_tolerance, series_values
from ignition.typing import Amps, FloatArray, Missing, Ohms, Ratio

__all__ = ["DividerSearch", "Rejection", "divider_search"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejection:
    """How many candidates fail a requirement."""

    requirement: str
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DividerSearch:
    """Result of a search.

    Attributes
    ----------
    low, high : Limits of the resistors
    tolerance : Relative tolerance
    wet_leak : Leakage across open terminals that should read open
    monitor_limit : Largest healthy and single-fault current through an igniter, and what sets it
    clamp_limit : Largest current into the pin's clamp
    evaluated, accepted : Candidates looked at and those that meet every requirement
    rejected : How many fail each requirement; those within the converter's range are counted for the others
    pareto : Accepted candidates that no other one beats, by sense current
    recommended : The one with the largest weakest margin; None where no candidate is accepted
    comparison : Why the recommended one differs from the present one, or agrees
    """

    circuit: str
    channel: str
    series: str
    low: Ohms
    high: Ohms
    tolerance: Ratio
    wet_leak: Ohms
    monitor_limit: Annotated[Amps | None, Missing(field="monitor_limit_basis")]
    monitor_limit_basis: str
    clamp_limit: Annotated[Amps, Missing(infinite="the clamp has no limit")]
    evaluated: int
    accepted: int
    rejected: tuple[Rejection, ...]
    pareto: tuple[Candidate, ...]
    recommended: Candidate | None
    present: Candidate
    comparison: str


def divider_search(
    circuit: Circuit,
    channel: ChannelModel | None = None,
    *,
    series: str = "E96",
    low: float = 1e3,
    high: float = 1e6,
    pin_resistors: Sequence[float] | None = None,
    split: Sequence[bool] = (False, True),
    wet_leak: float = 10e3,
    share: float = 0.1,
    tolerance: float | None = None,
) -> DividerSearch:
    """Search all pairs of preferred resistors for the sense divider of a channel.

    Raises InputError for an unknown series, limits without a value between them, or no option at all. Raises
    NetworkError where the closed form is not the circuit's network.

    Parameters
    ----------
    channel : The channel; by default the first
    low, high : Limits of each resistor [ohm]
    pin_resistors : Resistors between tap and pin to try [ohm]; by default the file's own, 1 kohm and 10 kohm
    split : Whether the upper resistor may be one, two equal ones in series, or both are tried
    wet_leak : Leakage across open terminals that should still read open [ohm]; default common practice for wet
        terminals
    share : Largest share of the lowest no-fire current that healthy and single-fault currents may be [1]
    tolerance : Relative tolerance of the resistors [1]; by default the series' own

    Returns
    -------
    List of trade-offs with reasons, and a recommendation
    """
    chosen = circuit.channels[0] if channel is None else channel
    values = series_values(series, low, high)
    pins = sorted({chosen.pin_resistor.nominal, 1e3, 1e4} if pin_resistors is None else set(pin_resistors))
    if not len(values) or not pins or not split or min(pins) < 0.0 or not wet_leak > 0.0:
        raise InputError(
            f"nothing to search: {len(values)} values of {series} from {low:g} to {high:g} ohm, {len(pins)} pin "
            f"resistors, {len(split)} kinds of upper resistor; write for example low=1e3, high=1e6"
        )
    spread = series_tolerance(series) if tolerance is None else tolerance
    if not 0.0 <= spread < 1.0:
        raise InputError(f"tolerance must be 0 or more, below 1; received {spread:g}; write for example tolerance=0.01")
    duty = divider_duty(circuit, chosen, spread, share)
    hold_divider_to_network(circuit, chosen, duty)
    found: list[_Found] = []
    counts: dict[str, int] = {}
    evaluated = 0
    for halved in dict.fromkeys(split):
        uppers = 2.0 * values[2.0 * values <= high] if halved else values
        grid_u, grid_l = (g.ravel() for g in np.meshgrid(uppers, values, indexing="ij"))
        for pin in pins:
            # most pairs exceed the range: the others alone are worth the rest of the work
            inside = full_scale_use(duty, grid_u, grid_l, pin) <= 1.0
            upper, lower = grid_u[inside], grid_l[inside]
            metrics = divider_metrics(duty, upper, lower, pin, split=halved)
            failed = rejections(duty, metrics)
            failed_any = np.zeros(len(upper), dtype=bool)
            for name, mask in failed.items():
                counts[name] = counts.get(name, 0) + int(mask.sum())
                failed_any |= mask
            counts[BEYOND] += len(grid_u) - len(upper)
            evaluated += len(grid_u)
            found.append(_Found(metrics, upper, lower, pin, halved, np.flatnonzero(~failed_any), duty, wet_leak))
    pareto, recommended = _choose(duty, found, wet_leak)
    present = _present(circuit, chosen, share, wet_leak)
    return DividerSearch(
        circuit=circuit.name,
        channel=chosen.name,
        series=series,
        low=low,
        high=high,
        tolerance=duty.tolerance,
        wet_leak=wet_leak,
        monitor_limit=duty.limit,
        monitor_limit_basis=duty.limit_basis,
        clamp_limit=duty.clamp_limit,
        evaluated=evaluated,
        accepted=sum(len(f.kept) for f in found),
        rejected=tuple(Rejection(requirement=r, count=n) for r, n in sorted(counts.items(), key=lambda item: -item[1])),
        pareto=pareto,
        recommended=recommended,
        present=present,
        comparison=_comparison(recommended, present, counts, evaluated),
    )


class _Found:
    """Accepted candidates of one kind: pin resistor and upper resistor whole or split."""

    def __init__(
        self,
        metrics: DividerMetrics,
        upper: FloatArray,
        lower: FloatArray,
        pin: float,
        split: bool,
        kept: npt.NDArray[np.intp],
        duty: DividerDuty,
        wet_leak: float,
    ) -> None:
        self.metrics, self.upper, self.lower, self.pin, self.split, self.kept = metrics, upper, lower, pin, split, kept
        self.objectives = objectives_of(metrics, kept, 2 + int(split) + int(pin > 0.0))
        self.margin = weakest_margin(duty, self.objectives, metrics.back_feed[kept], wet_leak)


def _choose(duty: DividerDuty, found: list[_Found], wet_leak: float) -> tuple[tuple[Candidate, ...], Candidate | None]:
    joined = Objectives.joined([f.objectives for f in found])
    if not len(joined.parts):
        return (), None
    owner = np.concatenate([np.full(len(f.kept), i) for i, f in enumerate(found)])
    place = np.concatenate([f.kept for f in found])
    use = np.concatenate([f.metrics.full_scale_use[f.kept] for f in found])
    upper = np.concatenate([f.upper[f.kept] for f in found])
    front = non_dominated(joined, use, upper)
    why = reasons(joined, front)
    margins = np.concatenate([f.margin[1] for f in found])

    def made(index: int, reason: str) -> Candidate:
        source = found[int(owner[index])]
        return candidate(
            duty,
            source.metrics,
            int(place[index]),
            float(upper[index]),
            float(source.lower[place[index]]),
            source.pin,
            source.split,
            wet_leak,
            reason,
        )

    order = sorted(range(len(front)), key=lambda i: joined.sense_current[front[i]])
    pareto = tuple(made(int(front[i]), why[i]) for i in order)
    # margins that agree within a fiftieth of a decade are one; then fewer parts, less current, smaller upper resistor
    rank = np.lexsort((upper, joined.sense_current, joined.parts, -np.round(50.0 * np.log10(margins))))
    best = int(rank[0])
    weakest = made(best, "").weakest_margin
    return pareto, made(
        best,
        f"its weakest margin ({weakest.margin}, factor {weakest.factor:.3g}) is the largest of all accepted candidates",
    )


def _present(circuit: Circuit, channel: ChannelModel, share: float, wet_leak: float) -> Candidate:
    """The file's own divider, with the file's own tolerances."""
    spread = max(max(r.high / r.nominal - 1.0, 1.0 - r.low / r.nominal) for r in (channel.upper, channel.lower))
    tolerance = max((1.0 + spread) / (1.0 + channel.divider_drift) - 1.0, 0.0)
    duty = divider_duty(circuit, channel, tolerance, share)
    pin = channel.pin_resistor.nominal
    metrics = divider_metrics(duty, np.array([channel.upper.nominal]), np.array([channel.lower.nominal]), pin)
    return candidate(
        duty, metrics, 0, channel.upper.nominal, channel.lower.nominal, pin, False, wet_leak, "the file's own divider"
    )


def _comparison(recommended: Candidate | None, present: Candidate, counts: dict[str, int], evaluated: int) -> str:
    if recommended is None:
        inside = evaluated - counts[BEYOND]
        others = {name: number for name, number in counts.items() if name != BEYOND}
        worst = max(others, key=lambda name: others[name])
        return (
            f"no pair meets every requirement: {counts[BEYOND]} of {evaluated} candidates read beyond full scale; of "
            f"the {inside} others {others[worst]} are rejected for: {worst}. Another pin resistor, a split upper "
            "resistor or other parts are needed"
        )
    same = (recommended.upper, recommended.lower, recommended.pin_resistor, recommended.split) == (
        present.upper,
        present.lower,
        present.pin_resistor,
        present.split,
    )
    if same:
        return "the file's own divider is the recommended one"
    fails = f"fails: {'; '.join(present.rejected_by)}" if present.rejected_by else "meets every requirement"
    own, better = present.weakest_margin, recommended.weakest_margin
    return (
        f"the file's own divider {fails}; its weakest margin is {own.margin} (factor {own.factor:.3g}); the "
        f"recommended one's is {better.margin} (factor {better.factor:.3g})"
    )
