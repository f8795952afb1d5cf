"""A circuit with another divider fitted, as if its file said so."""

from __future__ import annotations

from ignition.analyses.divider.candidate import Candidate
from ignition.circuit.complete import completed
from ignition.circuit.model import Circuit
from ignition.toleranced import Toleranced

__all__ = ["fitted"]


def fitted(circuit: Circuit, channel: str, divider: Candidate, tolerance: float) -> Circuit:
    """Fit a candidate of the divider search to a channel; filter and temperature coefficient stay.

    A split upper resistor is fitted as two in series.

    Raises InputError if the circuit has no such channel, or cannot be completed with this divider.

    Parameters
    ----------
    tolerance : Relative tolerance of upper and lower resistor [1]; the pin resistor counts as exact

    Examples
    --------
    >>> from ignition.analyses.divider.search import divider_search
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> search = divider_search(circuit, series="E24")
    >>> fitted(circuit, search.channel, search.recommended, search.tolerance).channels[0].upper.nominal
    3200.0
    """

    def resistor(value: float) -> Toleranced:
        return Toleranced(low=(1.0 - tolerance) * value, nominal=value, high=(1.0 + tolerance) * value, unit="ohm")

    resistors = {
        "upper": (resistor(divider.upper / 2.0),) * 2 if divider.split else (resistor(divider.upper),),
        "lower": resistor(divider.lower),
        "pin_resistor": Toleranced.exact(divider.pin_resistor, "ohm"),
    }
    name = circuit.channel(channel).name
    changed = [
        one.model_copy(update={"sense": one.sense.model_copy(update=resistors)}) if one.name == name else one
        for one in circuit.given.channel
    ]
    return completed(circuit.given.model_copy(update={"channel": changed}), circuit.name, circuit.digest)
