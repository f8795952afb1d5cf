"""Error terms of a converter reading, each on its own, so that the largest can be attacked first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.elements import Network
from ignition.network.solution import solve
from ignition.network.template import adc_pin
from ignition.network.worst_case import Extreme
from ignition.toleranced import Toleranced
from ignition.typing import Ratio

__all__ = ["ErrorTerm", "error_terms", "ranked"]

_BATTERY = "battery range"
_OTHERS = "other loads and channels on the battery"
_LINE = "line, feed and igniter resistance"
_TOLERANCE = "divider tolerance"
_DRIFT = "divider temperature coefficient"
_LEAKAGE = "converter leakage times source resistance"
_OFF = "MOSFET leakage"
_CLAMP = "clamp of the pin"


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorTerm:
    """Half width [LSB] that one source of error alone gives to a reading."""

    term: str
    half_width: Ratio


def _group(name: str, channel: ChannelModel) -> str:
    """Which term a parameter belongs to."""
    if name.startswith("battery."):
        return _BATTERY
    if name.startswith("feed."):
        return _LINE
    if not name.startswith(f"{channel.name}."):
        return _OTHERS
    own = name.removeprefix(f"{channel.name}.")
    if own.startswith("clamp "):
        return _CLAMP
    if own.startswith("bus "):
        return _OTHERS
    return {"upper": _TOLERANCE, "lower": _TOLERANCE, "adc leakage": _LEAKAGE, "off current": _OFF}.get(own, _LINE)


def error_terms(
    circuit: Circuit,
    channel: ChannelModel,
    network: Network,
    box: Mapping[str, Toleranced],
    pin: Extreme,
    reference: Toleranced,
    left: float,
) -> tuple[ErrorTerm, ...]:
    """Return the half width that each error source alone gives to a reading.

    Each group of values goes to the two corners of the whole band while all others stay nominal: the terms rank the
    causes; the band itself is the exact corner of all of them together.

    Parameters
    ----------
    box : Parameter bounds [SI]
    pin : Voltage at the pin [V] with its corners
    reference : Converter reference [V]
    left : Largest share of the sample capacitor's step that is missing [1]

    Returns
    -------
    The largest first
    """
    cases = _cases(channel, network, box, pin)
    scale = 2.0**circuit.controller.adc.bits
    nominal = {n: box[n].nominal for n in network.parameters}
    changes = [change for pair in cases.values() for change in pair]
    columns = {
        n: np.array([nominal[n], *(change.get(n, nominal[n]) for change in changes)]) for n in network.parameters
    }
    volts = solve(network, columns).voltage(adc_pin(channel))
    terms: dict[str, float] = {}
    for index, label in enumerate(cases):
        three = (volts[0], volts[1 + 2 * index], volts[2 + 2 * index])
        width = float(max(three) - min(three))
        terms[label] = 0.0 if width < 1e-12 else scale * width / 2.0 / reference.nominal
    code = max(scale * pin.nominal / reference.nominal, 0.0)
    terms["reference"] = 0.5 * code * (reference.nominal / reference.low - reference.nominal / reference.high)
    shared = "charge shared with the filter" if channel.filter is not None else "settling in the acquisition time"
    terms[f"sample capacitor: {shared}"] = scale * left / 2.0
    terms["total error of the converter"] = circuit.controller.adc.total_error
    terms["quantisation"] = 0.5
    return ranked(terms)


def ranked(terms: Mapping[str, float]) -> tuple[ErrorTerm, ...]:
    """Sort error terms [LSB], the largest first.

    Parameters
    ----------
    terms : Half width of each term [LSB]
    """
    return tuple(ErrorTerm(term=t, half_width=w) for t, w in sorted(terms.items(), key=lambda item: -item[1]))


def _cases(
    channel: ChannelModel, network: Network, box: Mapping[str, Toleranced], pin: Extreme
) -> dict[str, tuple[dict[str, float], dict[str, float]]]:
    """For each term the parameter values at its lowest and its highest reading."""
    cases: dict[str, tuple[dict[str, float], dict[str, float]]] = {}
    for name in network.parameters:
        if box[name].is_exact:
            continue
        low, high = cases.setdefault(_group(name, channel), ({}, {}))
        low[name], high[name] = pin.low_at[name], pin.high_at[name]
    if channel.divider_drift > 0.0 and _TOLERANCE in cases:
        drift: tuple[dict[str, float], dict[str, float]] = ({}, {})
        for side, shifted in zip(cases[_TOLERANCE], drift, strict=True):
            for name, value in side.items():
                factor = 1.0 + channel.divider_drift * (1.0 if value > box[name].nominal else -1.0)
                shifted[name] = box[name].nominal * factor
                side[name] = value / factor
        cases[_DRIFT] = drift
    return cases
