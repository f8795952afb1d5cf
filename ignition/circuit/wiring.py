"""From a wire, a board trace or a measured resistance to the round trip of a pair of conductors."""

from __future__ import annotations

import math

from ignition.circuit.assumptions import Ledger
from ignition.circuit.feed_description import FeedPart, Wiring
from ignition.circuit.model import WiringModel
from ignition.parts.conductor import conductor_area, copper_resistance, trace_area, two_wire_inductance
from ignition.parts.wire import WireClass, clad_factor, resistance_range
from ignition.toleranced import Toleranced
from ignition.units import engineering

__all__ = ["complete_wiring", "reactances", "round_trip", "wire_area"]


def complete_wiring(given: Wiring, key: str, ambient: Toleranced, ledger: Ledger) -> WiringModel:
    """Find resistance and cross-section of a lead or branch; a resistance that is given is what it says.

    Parameters
    ----------
    ambient : Temperature [degC]

    Examples
    --------
    >>> given = Wiring.model_validate({"wire": "AWG 20", "distance": "6 m", "wire_class": "solid", "joints": "0 ohm"})
    >>> found = complete_wiring(given, "lead", Toleranced.exact(20.0, "degC"), Ledger()).round_trip
    >>> round(found.low, 4), round(found.nominal, 4), round(found.high, 4)
    (0.388, 0.3997, 0.4461)
    """
    joints = ledger.take(given.joints, f"{key}.joints", "joints", "ohm")
    area: Toleranced | None = None
    what = ""
    if given.wire is not None:
        area, what = wire_area(given.wire, given.wire_class, key, ledger), given.wire
    if given.resistance is not None:  # a wire beside it says how the lead heats, not what it measures
        wires, label = given.resistance, "given resistance"
    else:
        assert given.distance is not None
        if given.trace is not None:
            width, thickness = given.trace.width, given.trace.thickness
            area = Toleranced(
                low=float(trace_area(width.low, thickness.low)),
                nominal=float(trace_area(width.nominal, thickness.nominal)),
                high=float(trace_area(width.high, thickness.high)),
                unit="m^2",
            )
            what = f"trace {engineering(width.nominal, 'm')} wide"
        assert area is not None
        wires = round_trip(area, given.distance, ambient)
        label = f"{what}, {engineering(given.distance.nominal, 'm')} one way"
    inductance, capacitance = reactances(given, area, key, ledger)
    return WiringModel(
        resistance=wires + joints,
        round_trip=wires,
        joints=joints,
        area=area,
        distance=given.distance,
        inductance=inductance,
        capacitance=capacitance,
        label=label,
    )


_APART = (1.25, 3.0)
"""Least and usual distance of the wires' centres over their diameter [1]: thin and usual insulation."""

_LOOSE = 0.3
"""Distance to which the two wires of a lead may lie apart on the ground [m]: common practice."""


def reactances(
    given: Wiring | FeedPart, area: Toleranced | None, key: str, ledger: Ledger
) -> tuple[Toleranced, Toleranced]:
    """Give inductance [H] and capacitance [F] of a pair; by its length where they are not given, else of any length.

    Parameters
    ----------
    area : Cross-section of the wire [m^2]; None where it is not known
    key : Key of the table that holds the wire

    Examples
    --------
    Wires of 1 mm2 up to 0.3 m apart (hand calculation: 0.4 uH/m x 10 m (ln(0.6 / 0.001128) + 1/4) = 26.1 uH):

    >>> given = Wiring.model_validate({"wire": "1 mm2", "distance": "10 m", "wire_class": "solid"})
    >>> found = reactances(given, Toleranced.exact(1e-6, "m^2"), "lead", Ledger())
    >>> [f"{value.high:.3g} {value.unit}" for value in found]
    ['2.61e-05 H', '1e-09 F']
    """
    inductance, capacitance = given.inductance, given.capacitance
    if inductance is None:
        inductance = ledger.take(None, f"{key}.inductance", "line_inductance", "H")
        if given.distance is not None and area is not None:
            thin, usual, thick = (2.0 * math.sqrt(a / math.pi) for a in (area.low, area.nominal, area.high))
            length, laid = given.distance, max(_LOOSE, _APART[0] * thin)
            inductance = Toleranced(
                low=float(two_wire_inductance(length.low, _APART[0] * thick, thick)),
                nominal=float(two_wire_inductance(length.nominal, _APART[1] * usual, usual)),
                high=float(two_wire_inductance(length.high, laid, thin)),
                unit="H",
            )
            told = f"{engineering(inductance.low, 'H')} to {engineering(inductance.high, 'H')}"
            told += f", its wires side by side or up to {engineering(laid, 'm')} apart"
            ledger.note(f"{key}.inductance", "line_inductance", value=told)
    if capacitance is None:
        capacitance = ledger.take(None, f"{key}.capacitance", "line_capacitance", "F")
        if given.distance is not None:
            of_a_metre = ledger.take(None, f"{key}.capacitance", "line_capacitance_per_metre", "F")
            capacitance = Toleranced(
                low=of_a_metre.low * given.distance.low,
                nominal=of_a_metre.nominal * given.distance.nominal,
                high=of_a_metre.high * given.distance.high,
                unit="F",
            )
    return inductance, capacitance


def wire_area(wire: str, wire_class: WireClass | None, key: str, ledger: Ledger) -> Toleranced:
    """Give the cross-section of ideal copper that has the resistance of a wire of this size [m^2].

    Low is the thin end: the highest resistance that the size allows, which also heats most.

    Parameters
    ----------
    key : Key of the table that holds the wire

    Examples
    --------
    >>> area = wire_area("1 mm2", "stranded", "lead", Ledger())
    >>> round(1e6 * area.low, 4), 1e6 * area.nominal
    (0.9361, 1.0)
    """
    ratio = resistance_range(wire, wire_class)
    if wire_class is None:
        whole, solid = ratio, resistance_range(wire, "solid")
        ratio = ledger.choose(f"{key}.wire_class", "wire_class", worst=whole, best=solid)
        told = (
            f"any make-up of copper, {whole.low:.2f} to {whole.high:.2f} times the theoretical resistance; "
            f"copper-clad aluminium is up to {clad_factor():g} times as much and not covered"
        )
        ledger.note(f"{key}.wire_class", "wire_class", value=told)
    area = conductor_area(wire)
    return Toleranced(low=area / ratio.high, nominal=area, high=area / ratio.low, unit="m^2")


def round_trip(area: Toleranced, distance: Toleranced, ambient: Toleranced) -> Toleranced:
    """Give the resistance of both conductors of a pair over the ambient range [ohm].

    Parameters
    ----------
    area, distance, ambient : Cross-section [m^2], length one way [m], temperature [degC]

    Examples
    --------
    >>> round_trip(*(Toleranced.exact(v) for v in (1e-6, 29.0, 20.0))).nominal
    1.0
    """
    low, nominal, high = (
        float(copper_resistance(2.0 * length, section, temperature))
        for length, section, temperature in (
            (distance.low, area.high, ambient.low),
            (distance.nominal, area.nominal, ambient.nominal),
            (distance.high, area.low, ambient.high),
        )
    )
    return Toleranced(low=low, nominal=nominal, high=high, unit="ohm")
