"""Operating point of any network as a complete SPICE deck, and its answers read back under the network's names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ignition.errors import NetworkError
from ignition.network.elements import GROUND, Network
from ignition.spice.cards import Writer, element_cards
from ignition.spice.rawfile import Plot

__all__ = ["OPTIONS", "OperatingPoint", "check_network", "operating_point_deck", "read_operating_point"]

OPTIONS = ".options reltol=1e-6 abstol=1e-12 vntol=1e-9"
"""Tolerances that let a current of microamperes be compared to a millionth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatingPoint:
    """Answers of one operating point under the names of the network.

    Attributes
    ----------
    voltages : Voltage of each node against ground [V]
    currents : Current of each element from its plus to its minus node [A]; 0 for an open one
    """

    voltages: Mapping[str, float]
    currents: Mapping[str, float]


def operating_point_deck(network: Network, values: Mapping[str, float], title: str, notes: Sequence[str] = ()) -> str:
    """Write the deck of a network's operating point for one set of values.

    Every element X has a source of 0 V in series, ``Vm_X``, whose current is the element's; a battery is its own
    ammeter, ``V_X``. A resistor of 0 ohm is that 0 V source alone. Open elements are named in comments.

    Raises NetworkError for a missing parameter or a node that floats.

    Parameters
    ----------
    values : Value of each parameter [SI]; others are ignored

    Returns
    -------
    Complete deck: title, header comment, elements, options, ``.op``, ``.end``

    Examples
    --------
    >>> from ignition.network.elements import Element
    >>> loop = Network(elements=(
    ...     Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),)),
    ...     Element(name="bridge 1.1", kind="resistor", plus="top", minus=GROUND, resistance=(("R", 1.0),)),
    ... ))
    >>> print(operating_point_deck(loop, {"E": 6.0, "R": 2.0}, "loop").replace(chr(10) * 2, chr(10)).strip())
    loop
    * Operating point. Ammeters: current of Vm_X is the current of X from its first to its second node.
    V_battery top 0 6.0
    R_bridge_1_1 top middle_bridge_1_1 2.0
    Vm_bridge_1_1 middle_bridge_1_1 0 0.0
    .options reltol=1e-6 abstol=1e-12 vntol=1e-9
    .op
    .end
    """
    check_network(network, values)
    writer = Writer.of(network)
    writer.head(title, notes)
    writer.comment("Operating point. Ammeters: current of Vm_X is the current of X from its first to its second node.")
    for element in network.elements:
        if element.closed:
            writer.add(*element_cards(writer, element, values))
        else:
            writer.comment(f"open, left out: {writer.elements.of(element.name)}")
    writer.add(OPTIONS, ".op")
    return writer.text()


def check_network(network: Network, values: Mapping[str, float]) -> None:
    """Refuse a network that SPICE would answer with plausible nonsense.

    Raises NetworkError for a missing parameter or a node that floats.

    Parameters
    ----------
    values : Value of each parameter [SI]
    """
    missing = [name for name in network.parameters if name not in values]
    if missing:
        raise NetworkError(f"no value for parameter {missing[0]!r}; give every parameter of the network a value")
    floating = network.floating_nodes()
    if floating:
        raise NetworkError(f"node {floating[0]!r} is floating: no closed resistor or source ties it to ground")


def read_operating_point(plot: Plot, network: Network) -> OperatingPoint:
    """Read node voltages and element currents of an operating point.

    Raises InputError if the plot lacks a node or an ammeter of the network.

    Parameters
    ----------
    plot : Answer of ngspice to the deck of `operating_point_deck`
    network : The network that the deck was written from

    Returns
    -------
    Voltages [V] and currents [A] by the network's own names
    """
    writer = Writer.of(network)
    voltages = {node: float(plot.signal(f"v({writer.nodes.of(node)})")[0]) for node in network.nodes}
    currents = {e.name: float(plot.signal(f"i({writer.ammeter(e)})")[0]) if e.closed else 0.0 for e in network.elements}
    return OperatingPoint(voltages={GROUND: 0.0, **voltages}, currents=currents)
