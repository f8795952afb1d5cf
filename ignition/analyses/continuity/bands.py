"""Converter band of each line state: pin voltage at its exact corners, widened by every error of the converter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from ignition.analyses.continuity.error_terms import ErrorTerm, error_terms, ranked
from ignition.analyses.no_fire.gate import controller_rail
from ignition.circuit.model import AdcModel, ChannelModel, Circuit
from ignition.errors import InputError
from ignition.network.elements import Network
from ignition.network.template import State, adc_pin, build_network, connected_igniters
from ignition.network.worst_case import NEGLIGIBLE, Extreme, Probe, extremes
from ignition.parts.sense import largest_settling_error, thevenin_resistance
from ignition.toleranced import Spread, Toleranced
from ignition.typing import HIDDEN, INLINE, ArrayLike, FloatArray, Key

__all__ = [
    "AdcBand",
    "LineReading",
    "NO_REFERENCE",
    "adc_band",
    "armed_states",
    "code_bounds",
    "code_range",
    "held_reference",
    "highest_code",
    "line_reading",
    "reference_voltage",
    "remaining_charge",
    "spread_of",
    "string_readings",
]

NO_REFERENCE = "the battery cannot hold the converter's reference above zero"
"""Why a converter reads nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AdcBand:
    """Converter reading of one state.

    Attributes
    ----------
    code : Reading before rounding [LSB], all error terms included, held to the converter's range
    voltage : Voltage at the pin [V]
    terms : Half width that each error term alone gives about the nominal point [LSB], largest first
    """

    code: Annotated[Spread, Key("adc_code")]
    voltage: Annotated[Spread, Key("pin_voltage")]
    terms: Annotated[tuple[ErrorTerm, ...], Key("error_terms")]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineReading:
    """What one line state gives.

    Attributes
    ----------
    igniter_current : Current through an igniter, the bounds over all connected igniters of the channel [A]
    igniters : The same for each igniter [A]
    """

    state: str
    igniter_current: Spread
    igniters: Annotated[Mapping[str, Spread], HIDDEN]
    band: Annotated[AdcBand, INLINE]


def reference_voltage(circuit: Circuit) -> Toleranced:
    """Return the converter's reference while armed.

    Returns
    -------
    Reference [V]: as given, or the controller's rail where the converter is ratiometric
    """
    given = circuit.controller.adc.reference
    return controller_rail(circuit, "armed") if given is None else given


def held_reference(circuit: Circuit) -> Toleranced:
    """Return the converter's reference while armed, where the battery holds it up.

    Raises InputError where it may be 0 V, so that a reading means nothing.
    """
    reference = reference_voltage(circuit)
    if reference.low <= 0.0:
        raise InputError(
            f"the converter's reference may be 0 V while armed: the controller's supply is {reference.low:g} V with "
            "the weakest battery, so no reading means anything; write a battery that holds controller.supply, or a "
            "converter with a reference of its own"
        )
    return reference


def armed_states(circuit: Circuit, channel: ChannelModel, line: str, string: int | None = None) -> list[State]:
    """List the states of the whole circuit in which one channel's line is in a given state.

    Parameters
    ----------
    string : Which string is open, from 0; by default each in turn where the state is ``one string open``

    Returns
    -------
    The other channels intact, and all of them open
    """
    strings = (
        [string] if string is not None else list(range(len(channel.strings))) if line == "one string open" else [0]
    )
    others: list[dict[str, str]] = [{}]
    if len(circuit.channels) > 1:
        others.append({c.name: "open" for c in circuit.channels if c is not channel})
    return [
        State(phase="armed", lines={**other, channel.name: line}, open_strings=frozenset({s}))
        for s in strings
        for other in others
    ]


def line_reading(
    circuit: Circuit, channel: ChannelModel, line: str, box: Mapping[str, Toleranced], string: int | None = None
) -> LineReading:
    """Return igniter currents and converter band of one line state while armed.

    Parameters
    ----------
    box : Parameter bounds [SI] of the armed phase
    string : Which string is open, from 0; by default any

    Returns
    -------
    The reading, its state named after the string where one is given
    """
    currents: dict[str, list[Spread]] = {}
    bands: list[AdcBand] = []
    for state in armed_states(circuit, channel, line, string):
        network = build_network(circuit, state)
        names = connected_igniters(channel, state)
        found = extremes(network, box, [Probe(node=adc_pin(channel)), *(Probe(element=n) for n in names)])
        for name, extreme in zip(names, found[1:], strict=True):
            currents.setdefault(name, []).append(spread_of(extreme, "A"))
        bands.append(adc_band(circuit, channel, found[0], line, box, network=None if bands else network))
    igniters = {name: Spread.hull(members) for name, members in currents.items()}
    worst = max(
        igniters.values(), key=lambda s: abs(s.nominal or 0.0), default=Spread.missing("A", "no igniter is connected")
    )
    return LineReading(
        state=line if string is None else f"string {string + 1} open",
        igniter_current=replace(Spread.hull(list(igniters.values()) or [worst]), nominal=worst.nominal),
        igniters=igniters,
        band=_band_hull(bands),
    )


def string_readings(circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced]) -> tuple[LineReading, ...]:
    """Return the reading with each single string open.

    Parameters
    ----------
    box : Parameter bounds [SI] of the armed phase

    Returns
    -------
    One for each string; strings of the same igniters share one analysis. Empty for a single string
    """
    if len(channel.strings) < 2:
        return ()
    known: dict[tuple[str, ...], LineReading] = {}
    result = []
    for index, kinds in enumerate(channel.strings):
        if kinds not in known:
            known[kinds] = line_reading(circuit, channel, "one string open", box, index)
        result.append(replace(known[kinds], state=f"string {index + 1} open"))
    return tuple(result)


def spread_of(extreme: Extreme, unit: str) -> Spread:
    """Return bounds as a spread; what is lost in rounding is zero [`unit`].

    Parameters
    ----------
    extreme : Bounds [A or V]
    """
    low, nominal, high = (0.0 if abs(v) < NEGLIGIBLE else v for v in (extreme.low, extreme.nominal, extreme.high))
    return Spread(low=low, nominal=nominal, high=high, unit=unit)


def _band_hull(bands: list[AdcBand]) -> AdcBand:
    """Hull of the bands of the circuit's states; what the other channels shift is a term of its own."""
    if len(bands) == 1:
        return bands[0]
    code = Spread.hull([b.code for b in bands])
    terms = {t.term: t.half_width for t in bands[0].terms}
    first = bands[0].code
    if terms:  # only where there is a code
        shift = 0.5 * ((code.high or 0.0) - (code.low or 0.0) - (first.high or 0.0) + (first.low or 0.0))
        label = "other loads and channels on the battery"
        terms[label] = terms.get(label, 0.0) + max(shift, 0.0)
    return AdcBand(
        code=code,
        voltage=Spread.hull([b.voltage for b in bands]),
        terms=ranked(terms),
    )


def adc_band(
    circuit: Circuit,
    channel: ChannelModel,
    pin: Extreme,
    line: str,
    box: Mapping[str, Toleranced],
    *,
    network: Network | None = None,
) -> AdcBand:
    """Return the converter's band for a pin voltage.

    code = 2^bits V / Vref, widened by the sample capacitor's remaining charge, by the total error and by half an LSB of
    quantisation. Leakage times source resistance and the tolerances of divider and battery are in the pin voltage.

    Parameters
    ----------
    pin : Voltage at the pin [V] with its corners
    box : Parameter bounds [SI] of the phase
    network : The network that gave the voltage; without it the error terms are left out

    Returns
    -------
    Bounds [LSB] with the terms that make them
    """
    voltage = spread_of(pin, "V")
    controller, reference = circuit.controller, reference_voltage(circuit)
    if line == "not armed" and not controller.powered_before_arm_switch:
        reason = "the controller has no supply while the arm switch is open"
        return AdcBand(code=Spread.missing("1", reason), voltage=voltage, terms=())
    if reference.low <= 0:
        return AdcBand(code=Spread.missing("1", NO_REFERENCE), voltage=voltage, terms=())
    left = remaining_charge(circuit, channel, line, box)
    return AdcBand(
        code=code_bounds(circuit, pin.low, pin.nominal, pin.high, left),
        voltage=voltage,
        terms=() if network is None else error_terms(circuit, channel, network, box, pin, reference, left),
    )


def code_bounds(circuit: Circuit, low: float, nominal: float, high: float, left: float) -> Spread:
    """Return the converter's reading for bounds of the pin voltage.

    Parameters
    ----------
    low, nominal, high : Pin voltage [V]
    left : Largest share of the sample capacitor's step that is missing after the acquisition [1]

    Returns
    -------
    Reading before rounding [LSB], held to the converter's range
    """
    reference = reference_voltage(circuit)
    if reference.low <= 0:
        return Spread.missing("1", NO_REFERENCE)
    least, middle, most = (float(v) for v in code_range(circuit.controller.adc, reference, low, nominal, high, left))
    return Spread(low=least, nominal=middle, high=most, unit="1")


def code_range(
    adc: AdcModel, reference: Toleranced, low: ArrayLike, nominal: ArrayLike, high: ArrayLike, left: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the lowest, nominal and highest reading for bounds of the pin voltage.

    The sample capacitor starts anywhere between ground and reference. Quantisation is half an LSB either way, for a
    converter whose first transition stands at half an LSB; an offset transition belongs in its total error.

    Parameters
    ----------
    reference : The converter's reference, above zero [V]
    low, nominal, high : Pin voltage [V]
    left : Largest share of the sample capacitor's step that is missing after the acquisition [1]

    Returns
    -------
    Readings before rounding [LSB], held to the converter's range
    """
    scale, low = 2.0**adc.bits, np.asarray(low, dtype=float)
    least = scale * low / np.where(low > 0, reference.high, reference.low) * (1.0 - np.asarray(left))
    least = least - adc.total_error - 0.5
    most = _highest(adc, reference, np.asarray(high, dtype=float), left)
    middle = scale * np.asarray(nominal, dtype=float) / reference.nominal
    least, middle, most = (np.clip(v, 0.0, scale - 1.0) for v in (least, middle, most))
    return least, middle, most


def highest_code(circuit: Circuit, high: float, left: float) -> float:
    """Return the highest reading of a pin voltage, not held to the converter's range [LSB].

    Parameters
    ----------
    high : Highest pin voltage [V]
    left : Largest share of the sample capacitor's step that is missing after the acquisition [1]
    """
    return float(_highest(circuit.controller.adc, reference_voltage(circuit), np.asarray(high), left))


def _highest(adc: AdcModel, reference: Toleranced, high: FloatArray, left: ArrayLike) -> FloatArray:
    lifted = high + np.asarray(left, dtype=float) * np.maximum(reference.high - high, 0.0)
    found = 2.0**adc.bits * lifted / np.where(lifted > 0, reference.low, reference.high)
    return np.asarray(found + adc.total_error + 0.5)


def remaining_charge(circuit: Circuit, channel: ChannelModel, line: str, box: Mapping[str, Toleranced]) -> float:
    """Return the largest share of the sample capacitor's step that is missing at the end of the acquisition.

    With a filter capacitor: the two-pole answer of both capacitors, bounded over the filter's tolerance.

    Parameters
    ----------
    line : Line state; while the drain hangs free the lower resistor alone is the source
    box : Parameter bounds [SI]

    Returns
    -------
    Share [1]; 0 where the file gives no sample capacitance or acquisition time
    """
    adc = circuit.controller.adc
    if adc.sample_capacitance is None or adc.acquisition_time is None:
        return 0.0
    upper, lower = box[f"{channel.name}.upper"] + channel.contacts_tested, box[f"{channel.name}.lower"]
    loose = line in ("open", "not armed")
    source = lower.high if loose else float(thevenin_resistance(upper.high, lower.high))
    return float(
        largest_settling_error(
            adc.acquisition_time.low,
            source,
            channel.pin_resistor.high,
            adc.sample_capacitance.high,
            channel.filter.low if channel.filter is not None else 0.0,
            channel.filter.high if channel.filter is not None else 0.0,
        )
    )
