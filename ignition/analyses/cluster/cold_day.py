"""The cold-day curve: what a cluster gets over the ambient temperature."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.cluster.arrangement import arranged, cluster_current, only_channel
from ignition.analyses.cluster.how_many import MARGIN, how_many
from ignition.circuit.complete import completed, judged
from ignition.circuit.description import Ambient, Description
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.toleranced import Toleranced
from ignition.typing import BARE, Amps, Celsius, Key, Ohms, Ratio

__all__ = ["COLD_DAYS", "ColdDay", "at_ambient", "cold_day"]

COLD_DAYS = (-20.0, -10.0, 0.0, 10.0, 20.0, 30.0)
"""Ambient temperatures of the curve [degC]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdDay:
    """A cluster at one ambient temperature.

    Attributes
    ----------
    temperature : Ambient
    battery_resistance : Highest, at this temperature
    lowest_current, nominal_current : Of each igniter
    margin : Lowest current over the all-fire current at that temperature
    most : Largest number in the same arrangement at 1.5 times the all-fire current [1]
    """

    temperature: Annotated[Celsius, BARE]
    battery_resistance: Annotated[Ohms | None, BARE]
    lowest_current: Annotated[Amps | None, BARE]
    nominal_current: Annotated[Amps | None, BARE]
    margin: Annotated[Ratio | None, BARE, Key("all_fire_margin")]
    most: int | None
    reason: str | None


def at_ambient(description: Description, temperature: float) -> Circuit:
    """Complete a description at one exact ambient temperature.

    Raises InputError if the circuit cannot be completed at this temperature.

    Parameters
    ----------
    temperature : Ambient [degC]

    Returns
    -------
    The circuit. What the battery's resistance is stated for, where that is not given, is the nominal ambient of the
        description
    """
    usual = completed(description)
    battery, reference = description.battery, Toleranced.exact(usual.ambient.nominal, "degC")
    if battery.readings is not None and battery.readings.temperature is None:
        readings = battery.readings.model_copy(update={"temperature": reference})
        battery = battery.model_copy(update={"readings": readings})
    elif battery.resistance_temperature is None and (battery.resistance is not None or battery.chemistry is None):
        battery = battery.model_copy(update={"resistance_temperature": reference})
    exact = Ambient.model_construct(temperature=Toleranced.exact(temperature, "degC"))
    return completed(description.model_copy(update={"ambient": exact, "battery": battery}))


def cold_day(
    description: Description, *, channel: str | None = None, temperatures: Sequence[float] = COLD_DAYS
) -> tuple[ColdDay, ...]:
    """Find what a channel's igniters get at several ambient temperatures.

    Parameters
    ----------
    temperatures : Ambient [degC]

    Returns
    -------
    In the order of the temperatures; a temperature outside the range of the chemistry has a reason and no numbers
    """
    return tuple(_one(description, channel, float(t)) for t in temperatures)


def _one(description: Description, channel: str | None, temperature: float) -> ColdDay:
    try:
        circuit = judged(at_ambient(description, temperature))  # as the verdict on the whole range is
    except InputError as error:
        return _missing(temperature, str(error))
    place = only_channel(circuit, channel)
    lengths = tuple(len(string) for string in place.strings)
    if len(set(lengths)) > 1:
        return _missing(temperature, "the strings differ in length")
    alone = arranged(circuit, place, lengths)
    current = cluster_current(alone, alone.channels[0])
    all_fire = circuit.igniters[place.strings[0][0]].all_fire_current
    margin = None if all_fire is None or current.lowest is None else current.lowest / all_fire
    arrangement = "parallel" if lengths[0] == 1 else "series" if len(lengths) == 1 else "mixed"
    most = how_many(circuit, arrangement, channel=channel, margin=MARGIN)
    return ColdDay(
        temperature=temperature,
        battery_resistance=circuit.battery.resistance.high,
        lowest_current=current.lowest,
        nominal_current=current.nominal,
        margin=margin,
        most=most.count,
        reason=current.reason or (most.reason if most.count is None else None),
    )


def _missing(temperature: float, reason: str) -> ColdDay:
    return ColdDay(
        temperature=temperature,
        battery_resistance=None,
        lowest_current=None,
        nominal_current=None,
        margin=None,
        most=None,
        reason=reason,
    )
