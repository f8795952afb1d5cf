"""One divider of a search: its numbers, which requirements it fails, its weakest margin."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Annotated

import numpy as np
import numpy.typing as npt

from ignition.analyses.divider.demands import DividerDuty
from ignition.analyses.divider.metrics import FAULTS, DividerMetrics
from ignition.analyses.divider.trade_off import Objectives, weakest_margin
from ignition.typing import Amps, BoolArray, Coulombs, Key, Missing, Ohms, Ratio

__all__ = ["BEYOND", "Candidate", "FaultCurrent", "WeakestMargin", "candidate", "objectives_of", "rejections"]

BEYOND = "reading beyond full scale"
"""Requirement that most pairs fail."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultCurrent:
    """Highest igniter current under a single fault."""

    fault: str
    igniter_current: Amps


@dataclass(frozen=True, slots=True, kw_only=True)
class WeakestMargin:
    """The smallest of a divider's margins: which, and the factor."""

    margin: str
    factor: Ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One divider with its numbers.

    Attributes
    ----------
    upper, lower, pin_resistor : Nominal resistors; `upper` is the sum where it is split in two equal ones
    split : Whether the upper resistor is two in series
    full_scale_use : Highest reading over the converter's range
    intact_low, open_high : Lowest reading intact and highest open [LSB]
    source_resistance : Resistance that the converter sees
    adc_error : Error by leakage and sampling [LSB]
    sense_current : Highest igniter current of the healthy line
    drain_a_month : Charge taken in a month of being armed
    false_leak : Largest leakage across open terminals that reads intact; None where an open line already does
    back_feed : Current into the pin of an unpowered controller
    reason : Why it is in the list
    """

    upper: Ohms
    lower: Ohms
    pin_resistor: Ohms
    split: Annotated[bool, Key("upper_split_in_two")]
    full_scale_use: Ratio
    intact_low: Annotated[Ratio, Key("intact_lowest_code")]
    open_high: Annotated[Ratio, Key("open_highest_code")]
    source_resistance: Ohms
    adc_error: Ratio
    sense_current: Amps
    drain_a_month: Coulombs
    false_leak: Annotated[Ohms | None, Missing(field="", otherwise="an open line already reads intact")]
    back_feed: Amps
    fault_currents: tuple[FaultCurrent, ...]
    rejected_by: tuple[str, ...]
    weakest_margin: WeakestMargin
    reason: str

    @property
    def worst_fault(self) -> FaultCurrent:
        """The single fault with the highest igniter current."""
        return max(self.fault_currents, key=lambda found: found.igniter_current)

    @property
    def parts(self) -> int:
        """Number of resistors."""
        return 2 + int(self.split) + int(self.pin_resistor > 0.0)


def rejections(duty: DividerDuty, metrics: DividerMetrics) -> dict[str, BoolArray]:
    """Which pairs fail which requirement.

    Returns
    -------
    True where the requirement is not met; limits that are unknown reject nothing
    """
    failed: dict[str, BoolArray] = {
        BEYOND: metrics.full_scale_use > 1.0,
        # less than a code apart leaves nothing for a threshold
        "intact and open overlap": metrics.intact_low - metrics.open_high < 1.0,
        "back-feed above the clamp's limit": metrics.back_feed > duty.clamp_limit,
    }
    if duty.limit is not None:
        failed["monitor current above its limit"] = metrics.sense_current > duty.limit
        failed["single-fault current above the monitor limit"] = np.max(metrics.fault_currents, axis=0) > duty.limit
    return failed


def objectives_of(metrics: DividerMetrics, kept: npt.NDArray[np.intp], parts: int) -> Objectives:
    """Return what is traded, for some places of a grid."""
    band = metrics.intact_low[kept] - metrics.open_high[kept]
    return Objectives(
        sense_current=metrics.sense_current[kept],
        false_leak=metrics.false_leak[kept],
        error_share=metrics.adc_error[kept] / band,
        fault_current=np.max(metrics.fault_currents[:, kept], axis=0),
        parts=np.full(len(kept), float(parts)),
    )


def candidate(
    duty: DividerDuty,
    metrics: DividerMetrics,
    index: int,
    upper: float,
    lower: float,
    pin_resistor: float,
    split: bool,
    wet_leak: float,
    reason: str,
) -> Candidate:
    """Make one candidate from the arrays of a grid.

    Parameters
    ----------
    upper, lower, pin_resistor : Nominal resistors [ohm]
    split : Whether the upper resistor is two in series
    wet_leak : Leakage that should read open [ohm]
    """
    at = np.array([0])
    metrics = _picked(metrics, index)
    parts = 2 + int(split) + int(pin_resistor > 0.0)
    names, margin = weakest_margin(duty, objectives_of(metrics, at, parts), metrics.back_feed[at], wet_leak)
    leak = float(metrics.false_leak[0])
    return Candidate(
        upper=upper,
        lower=lower,
        pin_resistor=pin_resistor,
        split=split,
        full_scale_use=float(metrics.full_scale_use[0]),
        intact_low=float(metrics.intact_low[0]),
        open_high=float(metrics.open_high[0]),
        source_resistance=float(metrics.source_resistance[0]),
        adc_error=float(metrics.adc_error[0]),
        sense_current=float(metrics.sense_current[0]),
        drain_a_month=float(metrics.drain_a_month[0]),
        false_leak=leak if np.isfinite(leak) else None,
        back_feed=float(metrics.back_feed[0]),
        fault_currents=tuple(
            FaultCurrent(
                fault=name.replace("upper resistor shorted", "one of two upper resistors shorted") if split else name,
                igniter_current=float(value),
            )
            for name, value in zip(FAULTS, metrics.fault_currents[:, 0], strict=True)
        ),
        rejected_by=tuple(name for name, mask in rejections(duty, metrics).items() if mask[0]),
        weakest_margin=WeakestMargin(margin=names[0], factor=float(margin[0])),
        reason=reason,
    )


def _picked(metrics: DividerMetrics, index: int) -> DividerMetrics:
    """The numbers of one place of a grid, still as arrays."""
    return DividerMetrics(**{f.name: getattr(metrics, f.name)[..., index : index + 1] for f in fields(metrics)})
