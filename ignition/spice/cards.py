"""One element of the network as SPICE lines, the same in a deck for the operating point and for a transient."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from ignition.errors import InputError
from ignition.network.elements import KNEE_VOLTAGE, Element, Network
from ignition.spice.names import Names, comment_text, title_text

__all__ = ["LEAST_CLAMP_RESISTANCE", "Writer", "element_cards", "number"]

LEAST_CLAMP_RESISTANCE = 1e-4
"""Resistance written for a clamp of less [ohm]: a clamp without resistance has no finite current to write; at 1 mA it
moves the clamped node by 0.1 uV."""


def number(value: float) -> str:
    """Write a number in full, without a unit or scale letter that SPICE could misread.

    Raises InputError if the value is not finite.

    Parameters
    ----------
    value : Any finite value [1]

    Returns
    -------
    Shortest decimal text that reads back as the same double

    Examples
    --------
    >>> number(4700), number(1e-7)
    ('4700.0', '1e-07')
    """
    value = float(value)
    if value != value or value in (float("inf"), float("-inf")):
        raise InputError(f"a value of a deck must be finite; received {value!r}")
    return repr(value)


@dataclass(slots=True)
class Writer:
    """Collects the lines of a deck; one pool of names for nodes, one for elements."""

    nodes: Names = field(default_factory=Names)
    elements: Names = field(default_factory=Names)
    lines: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, network: Network) -> Writer:
        """Start a deck; the network's own nodes and elements get their names first, in their order."""
        writer = cls()
        for node in network.nodes:
            writer.nodes.of(node)
        for element in network.elements:
            writer.elements.of(element.name)
        return writer

    def head(self, title: str, notes: Iterable[str]) -> None:
        """Write title and header comment."""
        self.lines.append(title_text(title))
        for note in notes:
            self.comment(note)

    def comment(self, text: str) -> None:
        """Write a comment line."""
        self.lines.append(f"* {comment_text(text)}".rstrip())

    def add(self, *lines: str) -> None:
        """Write lines as they are."""
        self.lines.extend(lines)

    def middle(self, element: Element) -> str:
        """Name of the node between an element and its ammeter."""
        return self.nodes.of(element.name, "middle")

    def ammeter(self, element: Element) -> str:
        """Name of the source that reads the element's current: 0 V in series, or a source element itself."""
        prefix = "V" if element.kind == "source" else "Vm"
        return f"{prefix}_{self.elements.of(element.name)}"

    def text(self) -> str:
        """Return the deck, with its last line ``.end``."""
        return "\n".join([*self.lines, ".end", ""])


def element_cards(
    writer: Writer, element: Element, values: Mapping[str, float], *, source_shape: str = "", sink_factor: str = ""
) -> list[str]:
    """Write one closed element, its current read by a source in series.

    Parameters
    ----------
    values : Value of each parameter [SI]
    source_shape : Text that replaces the voltage of a source; by default its constant voltage
    sink_factor : Expression that multiplies the current of a sink; by default none
    """
    plus, minus, middle = writer.nodes.of(element.plus), writer.nodes.of(element.minus), writer.middle(element)
    name, meter = writer.elements.of(element.name), writer.ammeter(element)
    resistance = float(element.total(element.resistance, values))
    voltage = float(element.total(element.voltage, values))
    current = float(element.total(element.current, values))
    tail = f"{meter} {middle} {minus} 0.0"
    if element.kind == "resistor":
        if not resistance:
            return [f"{meter} {plus} {minus} 0.0"]
        return [f"R_{name} {plus} {middle} {number(resistance)}", tail]
    if element.kind == "source":
        shape = source_shape or number(voltage)
        if resistance:
            return [f"R_{name} {plus} {middle} {number(resistance)}", f"{meter} {middle} {minus} {shape}"]
        return [f"{meter} {plus} {minus} {shape}"]
    if element.kind == "sink":
        if sink_factor:
            return [f"B_{name} {plus} {middle} I={number(current)}*{sink_factor}", tail]
        return [f"I_{name} {plus} {middle} {number(current)}", tail]
    drop = f"V({plus})" if minus == "0" else f"V({plus},{minus})"
    if element.kind == "leakage":
        saturates_at = KNEE_VOLTAGE + resistance * current
        return [f"B_{name} {plus} {middle} I={number(current)}*min(1.0,{drop}/{number(saturates_at)})", tail]
    least = max(resistance, LEAST_CLAMP_RESISTANCE)
    return [f"B_{name} {plus} {middle} I=max(0.0,{drop}-({number(voltage)}))/{number(least)}", tail]
