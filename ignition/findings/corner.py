"""Corner: where in the box of all tolerances a worst value stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ignition.network.worst_case import Extreme
from ignition.toleranced import Toleranced
from ignition.typing import Celsius, Volts

__all__ = ["Corner", "corner_of"]

_MOST = 6
_LEAST_SHARE = 1e-3
"""Share of the largest effect below which a tolerance is not worth naming [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """Battery, temperature and the ends at which the tolerances that matter stand, the most influential first.

    Attributes
    ----------
    battery_voltage : Open-circuit voltage
    temperature : Ambient temperature whose effect is the worst one
    """

    battery_voltage: Volts
    temperature: Celsius
    ends: tuple[tuple[str, str], ...] = ()


def corner_of(extreme: Extreme, box: Mapping[str, Toleranced], temperature: float, *, high: bool) -> Corner:
    """Name the corner of a bound.

    Parameters
    ----------
    temperature : Ambient temperature that is the worst one for the question [degC]
    """
    at = extreme.high_at if high else extreme.low_at
    sizes = sorted(extreme.sizes.items(), key=lambda item: -item[1])
    least = _LEAST_SHARE * max(extreme.sizes.values(), default=0.0)
    named = [name for name, size in sizes if size >= least and name != "battery.voltage"][:_MOST]
    return Corner(
        battery_voltage=at.get("battery.voltage", box["battery.voltage"].high if high else box["battery.voltage"].low),
        temperature=temperature,
        ends=tuple((name, "high" if at[name] == box[name].high else "low") for name in named),
    )
