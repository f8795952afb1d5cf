"""How hot the firing pulses make every conductor that carries them, no heat being lost."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ignition.analyses.firing.on_state import firing_network, with_spent
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.template import igniter_names
from ignition.network.worst_case import Probe, extremes
from ignition.parts.conductor import adiabatic_temperature
from ignition.toleranced import Toleranced

__all__ = ["ConductorHeating", "channel_conductors", "feed_conductors"]

_OPEN = 1e9
"""Resistance that stands for an open igniter in a bound [ohm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ConductorHeating:
    """One conductor after all pulses that it carries.

    Attributes
    ----------
    name : ``CHANNEL.lead``, ``CHANNEL.branch N`` or ``feed.NAME``
    square_time : Highest current squared times time, of all its pulses together [A^2 s]
    temperature : Highest, from the hottest ambient, at the thin end of its cross-section [degC]; None where it melts or
        is not known
    """

    name: str
    square_time: float
    temperature: float | None
    melts: bool
    reason: str | None


def channel_conductors(
    circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced], highest: float
) -> tuple[ConductorHeating, ...]:
    """Heat the lead and the branches of a channel for its longest pulse.

    The lead carries the channel's highest current, spent bridges included. A branch carries most with its own
    igniters at their lowest, spent or not, and all its neighbours open.

    Parameters
    ----------
    box : Firing parameters [SI]
    highest : Highest current of the channel at any time [A]

    Returns
    -------
    The lead, then the branches
    """
    pulse = channel.pulse.high
    lead = _heated(circuit, f"{channel.name}.lead", channel.lead.area, highest**2 * pulse)
    if channel.branch is None:
        return (lead,)
    wide = dict(with_spent(circuit, box) or box)
    for name in (n for string in igniter_names(channel) for n in string):
        own = wide[name]
        wide[name] = Toleranced(low=own.low, nominal=own.nominal, high=max(own.high, _OPEN), unit="ohm")
    names = [f"{channel.name}.branch {i + 1}" for i in range(len(channel.strings))]
    network = firing_network(circuit, frozenset({channel.name}))
    currents = [found.high for found in extremes(network, wide, [Probe(element=name) for name in names])]
    area = channel.branch.area
    return (lead, *(_heated(circuit, name, area, i**2 * pulse) for name, i in zip(names, currents, strict=True)))


def feed_conductors(circuit: Circuit, square_time: float) -> tuple[ConductorHeating, ...]:
    """Heat the wires of the feed by the pulses of all channels.

    Parameters
    ----------
    square_time : Highest feed current squared times time, of all pulses together [A^2 s]
    """
    return tuple(
        _heated(circuit, f"feed.{part.name}", part.area, square_time) for part in circuit.feed if part.kind == "wire"
    )


def _heated(circuit: Circuit, name: str, area: Toleranced | None, square_time: float) -> ConductorHeating:
    temperature: float | None = None
    reason: str | None = "its cross-section is not given: give wire or trace in place of resistance"
    melts = False
    if area is not None:
        found = float(adiabatic_temperature(area.low, math.sqrt(square_time), 1.0, circuit.ambient.high))
        melts = math.isinf(found)
        temperature, reason = (None, "it may melt in the pulse") if melts else (found, None)
    return ConductorHeating(name=name, square_time=square_time, temperature=temperature, melts=melts, reason=reason)
