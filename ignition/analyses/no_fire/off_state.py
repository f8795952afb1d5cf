"""What a MOSFET passes that nobody commands: its leakage, what a gate near threshold lets through, or all it can."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ignition.circuit.model import MosfetModel
from ignition.network.elements import UNLIMITED
from ignition.parts.mosfet import (
    REFERENCE_TEMPERATURE,
    gain,
    leakage,
    saturation_current,
    slope_factor,
    subthreshold_current,
    temperature_factor,
    threshold_at,
)
from ignition.toleranced import Spread, Toleranced
from ignition.typing import ArrayLike, FloatArray

__all__ = ["OffState", "highest_threshold", "lowest_threshold", "off_state", "off_states", "on_resistance"]

_MAY_BE_ON = "the gate may turn the MOSFET on: only its on-resistance and what is in series with it limit the current"


@dataclass(frozen=True, slots=True, kw_only=True)
class OffState:
    """A MOSFET that nobody commands, whose gate may be anywhere all the same.

    Attributes
    ----------
    current : Most that it passes at any drain voltage [A]: leakage, sub-threshold and, above threshold, saturation
        current; `UNLIMITED` where the gate turns it on
    resistance : Drain to source below that current [ohm]; zero where it is off
    """

    current: Toleranced
    resistance: Toleranced

    @property
    def told(self) -> Spread:
        """The current for a report: an end that nothing limits is no number."""
        ends = (self.current.low, self.current.nominal, self.current.high)
        low, nominal, high = (None if end >= UNLIMITED else end for end in ends)
        reason = _MAY_BE_ON if high is None else None
        return Spread(low=low, nominal=nominal, high=high, unit="A", reason=reason)


def lowest_threshold(mosfet: MosfetModel, ambient: Toleranced) -> float:
    """Return the lowest threshold over the ambient range [V]; it falls with temperature and may lie below zero."""
    return _threshold(mosfet, ambient.high, lowest=True)


def highest_threshold(mosfet: MosfetModel, ambient: Toleranced) -> float:
    """Return the highest threshold over the ambient range [V]."""
    return _threshold(mosfet, ambient.low, lowest=False)


def _threshold(mosfet: MosfetModel, temperature: float, *, lowest: bool) -> float:
    """Lowest or highest threshold at a temperature; which drift is the worse one depends on the side of 25 degC."""
    start = mosfet.threshold.low if lowest else mosfet.threshold.high
    both = [
        float(threshold_at(temperature, start, drift))
        for drift in (mosfet.threshold_drift.low, mosfet.threshold_drift.high)
    ]
    return min(both) if lowest else max(both)


def on_resistance(mosfet: MosfetModel, ambient: Toleranced) -> Toleranced:
    """Return the resistance of a MOSFET that is on, from the best row in the cold to the worst, hot [ohm].

    Parameters
    ----------
    ambient : Temperature [degC]
    """
    return Toleranced(
        low=min(row.resistance.low for row in mosfet.rows) * _cold_factor(mosfet, ambient),
        nominal=mosfet.rows[0].resistance.nominal,
        high=mosfet.rows[0].resistance.high * mosfet.hot_factor,
        unit="ohm",
    )


def off_state(mosfet: MosfetModel, voltage: Toleranced, ambient: Toleranced) -> OffState:
    """Return what a MOSFET passes that is not commanded, at a gate voltage.

    Parameters
    ----------
    voltage : Gate to source [V]
    ambient : Temperature [degC]
    """
    current, resistance = off_states(mosfet, voltage.low, voltage.nominal, voltage.high, ambient)
    return OffState(current=_toleranced(current, "A"), resistance=_toleranced(resistance, "ohm"))


def _toleranced(ends: FloatArray, unit: str) -> Toleranced:
    return Toleranced(low=float(ends[0]), nominal=float(ends[1]), high=float(ends[2]), unit=unit)


def off_states(
    mosfet: MosfetModel, low: ArrayLike, nominal: ArrayLike, high: ArrayLike, ambient: Toleranced
) -> tuple[FloatArray, FloatArray]:
    """Return the same for many gates at once.

    Above threshold it is the square law, with its gain K from the first row of on-resistance. At overdrive v it passes
    at most K v^2 / 2, through no less than 1 / (K v). From the overdrive of that row on nothing is left of the first:
    the row says a resistance and no current that ends it, and the firing current relies on that.

    * Most current: lowest threshold, hottest, lowest on-resistance; beyond a row's gate voltage its resistance may fall
      as 1 / v, as if all of it were the channel's, most steeply at the highest threshold.
    * Least current: highest threshold, coldest, highest on-resistance, no leakage; below saturation the chord of the
      square law, which lies below it. On only from the gate voltage of the row, as a pin that commands it.

    Parameters
    ----------
    low, nominal, high : Gate to source [V], broadcast
    ambient : Temperature [degC]

    Returns
    -------
    Current [A] and resistance [ohm] of `OffState`, each lowest, nominal and highest, shape (..., 3)
    """
    row, on = mosfet.rows[0], on_resistance(mosfet, ambient)
    gates = np.stack(np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in (low, nominal, high))), axis=-1)
    drift = mosfet.threshold_drift.nominal
    thresholds = np.array(
        [
            highest_threshold(mosfet, ambient),
            float(threshold_at(ambient.nominal, mosfet.threshold.nominal, drift)),
            lowest_threshold(mosfet, ambient),
        ]
    )
    temperatures = np.array([ambient.low, ambient.nominal, ambient.high])
    rows = np.array([row.resistance.high, row.resistance.nominal, row.resistance.low])
    slopes, at_threshold = (
        np.array([value.low, value.nominal, value.high])
        for value in (mosfet.subthreshold_slope, mosfet.threshold_current)
    )
    cool, hot = mosfet.leakage_cool, mosfet.leakage_hot
    leaked = np.array(
        [
            0.0,
            float(leakage(ambient.nominal, cool.nominal, hot.nominal, mosfet.max_junction)),
            float(leakage(ambient.high, cool.high, hot.high, mosfet.max_junction)),
        ]
    )
    strength = gain(rows, row.gate, mosfet.threshold.nominal)
    below = subthreshold_current(gates, thresholds, temperatures, slope_factor(slopes), at_threshold)
    current = leaked + saturation_current(gates, thresholds, strength) + below
    over = gates - thresholds
    driven = gates >= row.gate
    driven[..., 1:] |= over[..., 1:] >= row.gate - mosfet.threshold.nominal
    current = np.where(driven, UNLIMITED, current)

    partly = (over > 0.0) & ~driven
    with np.errstate(divide="ignore"):
        steep = 1.0 / (strength * np.where(partly, over, np.inf))
    usual = np.where(partly[..., 1], steep[..., 1], on.nominal)
    weak = np.where(partly[..., 0], np.maximum(2.0 * steep[..., 0], on.high), on.high)
    strong = _least_resistance(mosfet, gates[..., 2], ambient)
    conducts = driven[..., 2] | (over[..., 2] > 0.0)
    resistance = np.stack([np.minimum(strong, usual), usual, np.maximum(weak, usual)], axis=-1)
    return current, np.where(conducts[..., None], resistance, 0.0)


def _least_resistance(mosfet: MosfetModel, gate: FloatArray, ambient: Toleranced) -> FloatArray:
    """Least resistance at a gate voltage [ohm]: no row's is less at its own, or falls faster beyond than as 1 / v."""
    least, highest = np.zeros(gate.shape), mosfet.threshold.high
    for row in mosfet.rows:
        own = row.gate - highest
        share = own / np.maximum(gate - highest, own) if own > 0.0 else gate <= row.gate
        least = np.maximum(least, row.resistance.low * share)
    return least * _cold_factor(mosfet, ambient)


def _cold_factor(mosfet: MosfetModel, ambient: Toleranced) -> float:
    """On-resistance at the coldest over that at 25 degC, no more than one."""
    coldest = min(ambient.low, REFERENCE_TEMPERATURE)
    return float(temperature_factor(coldest, mosfet.hot_factor, mosfet.max_junction))
