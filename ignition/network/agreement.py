"""Closed forms held to the network that they stand for, so that an element added to one cannot miss the other."""

from __future__ import annotations

import math
from collections.abc import Mapping

from ignition.errors import NetworkError
from ignition.network.elements import Network
from ignition.network.solution import solve
from ignition.network.worst_case import Probe

__all__ = ["hold_to_network"]

_RELATIVE, _ABSOLUTE = 1e-9, 1e-15


def hold_to_network(what: str, found: Mapping[Probe, float], network: Network, values: Mapping[str, float]) -> None:
    """Compare what a closed form gives with what the network gives at the same values.

    Raises NetworkError with both numbers where they differ by more than 1e-9 of the larger one.

    Parameters
    ----------
    found : What the closed form gives [A or V]
    values : Every parameter of the network [SI]

    Examples
    --------
    >>> from ignition.network.elements import GROUND, Element
    >>> loop = Network(elements=(
    ...     Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),)),
    ...     Element(name="bridge", kind="resistor", plus="top", minus=GROUND, resistance=(("R", 1.0),)),
    ... ))
    >>> hold_to_network("Ohm's law", {Probe(element="bridge"): 6.0 / 2.0}, loop, {"E": 6.0, "R": 2.0})
    >>> hold_to_network("a guess", {Probe(element="bridge"): 2.5}, loop, {"E": 6.0, "R": 2.0})
    Traceback (most recent call last):
    ignition.errors.NetworkError: a guess gives 2.5 A through bridge, the network 3.0 A: they are not the same circuit
    """
    unknowns = solve(network, values).unknowns[0]
    for probe, ours in found.items():
        theirs = float(unknowns @ probe.weights(network))
        if not math.isclose(ours, theirs, rel_tol=_RELATIVE, abs_tol=_ABSOLUTE):
            unit, where = ("A", f"through {probe.element}") if probe.element else ("V", f"at {probe.node}")
            raise NetworkError(
                f"{what} gives {ours!r} {unit} {where}, the network {theirs!r} {unit}: they are not the same circuit"
            )
