"""Network: named elements between named nodes, the one model that the solver and the deck writer share.

Every element is one branch with a current that flows inside it from `plus` to `minus` and obeys
``a (v_plus - v_minus) - b i = c``. That form holds a zero-ohm link (a=1, b=0), an open link (a=0, b=1) and a
current source without a special case, so a line state or a fault is a changed coefficient, never a changed matrix
size. Values are sums of named parameters, so that two elements can share one physical part (the two wires of a lead).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from ignition.errors import NetworkError
from ignition.typing import ArrayLike, FloatArray

__all__ = ["Element", "GROUND", "KNEE_VOLTAGE", "Network", "Terms", "UNLIMITED"]

GROUND = "ground"
"""Name of the reference node."""

KNEE_VOLTAGE = 1e-3
"""Drain voltage below which an off-state leakage falls to zero with its voltage [V]; small, so that the full leakage
stands wherever there is voltage to drive it (common practice: a source that vanishes with its voltage)."""

UNLIMITED = 1e9
"""Saturation current of a channel that nothing but its resistance limits [A]: the knee is a nano-ohm of it then."""

Terms = tuple[tuple[str, float], ...]
"""Sum of parameters: pairs of parameter name and factor."""

Kind = Literal["resistor", "source", "sink", "leakage", "clamp"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """One two-terminal element.

    Attributes
    ----------
    name : Unique name, as reports and decks show it
    kind : ``resistor``: v = R i. ``source``: v = E + R i. ``sink``: i = J. ``leakage``: i = J while v exceeds R J and
        the knee, proportional to v below: what is off leaks, what is on is R up to its saturation current. ``clamp``:
        conducts (v = E + R i) only while v exceeds E
    resistance, voltage, current : R [ohm], E [V] and J [A] as sums of parameters times factors [1]
    """

    name: str
    kind: Kind
    plus: str
    minus: str
    resistance: Terms = ()
    voltage: Terms = ()
    current: Terms = ()
    closed: bool = True

    def total(self, terms: Terms, values: Mapping[str, ArrayLike]) -> FloatArray:
        """Sum terms over parameter values.

        Parameters
        ----------
        values : Parameter values [SI], each a scalar or of shape (batch,)

        Returns
        -------
        The sum [SI unit of the terms], scalar shape or (batch,)
        """
        total: FloatArray = np.asarray(0.0)
        for name, factor in terms:
            total = total + factor * np.asarray(values[name], dtype=float)
        return total

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of the parameters that the element uses."""
        return tuple(name for terms in (self.resistance, self.voltage, self.current) for name, _ in terms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """Elements, and which of them are igniters.

    Attributes
    ----------
    elements : All elements; names are unique
    igniters : Names of the igniter elements: the network's ports
    nodes, parameters : All nodes but ground and all parameter names, in order of appearance; found from the elements

    Examples
    --------
    >>> loop = Network(elements=(
    ...     Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),)),
    ...     Element(name="bridge", kind="resistor", plus="top", minus=GROUND, resistance=(("R", 1.0),)),
    ... ), igniters=("bridge",))
    >>> loop.nodes
    ('top',)
    """

    elements: tuple[Element, ...]
    igniters: tuple[str, ...] = ()
    nodes: tuple[str, ...] = field(init=False, compare=False, repr=False)
    parameters: tuple[str, ...] = field(init=False, compare=False, repr=False)
    _hash: int = field(init=False, compare=False, repr=False)

    def __hash__(self) -> int:
        return self._hash

    def __post_init__(self) -> None:
        # looked up by it at every solution: counted once, for all elements and their terms go into it
        object.__setattr__(self, "_hash", hash((self.elements, self.igniters)))
        ends = (node for e in self.elements for node in (e.plus, e.minus) if node != GROUND)
        object.__setattr__(self, "nodes", tuple(dict.fromkeys(ends)))
        object.__setattr__(
            self, "parameters", tuple(dict.fromkeys(name for e in self.elements for name in e.parameters))
        )
        names = [e.name for e in self.elements]
        twice = sorted({n for n in names if names.count(n) > 1})
        if twice:
            raise NetworkError(f"element names must be unique; twice: {', '.join(twice)}")
        missing = sorted(set(self.igniters) - set(names))
        if missing:
            raise NetworkError(f"igniters must be elements; unknown: {', '.join(missing)}")

    def element(self, name: str) -> Element:
        """Return the element of that name.

        Raises NetworkError when there is none.
        """
        for element in self.elements:
            if element.name == name:
                return element
        raise NetworkError(f"no element {name!r} in the network; there are {', '.join(e.name for e in self.elements)}")

    def switched(self, *, opened: Iterable[str] = (), closed: Iterable[str] = ()) -> Network:
        """Return the same network with some elements opened or closed."""
        state = dict.fromkeys(opened, False) | dict.fromkeys(closed, True)
        for name in state:
            self.element(name)
        return replace(self, elements=tuple(replace(e, closed=state.get(e.name, e.closed)) for e in self.elements))

    def floating_nodes(self) -> tuple[str, ...]:
        """List nodes that no closed element other than a current source ties to ground.

        Returns
        -------
        Node names; empty for a network that can be solved
        """
        parent = {node: node for node in (*self.nodes, GROUND)}

        def find(node: str) -> str:
            while parent[node] != node:
                parent[node] = parent[parent[node]]
                node = parent[node]
            return node

        for element in self.elements:
            if element.closed and element.kind in ("resistor", "source"):
                parent[find(element.plus)] = find(element.minus)
        ground = find(GROUND)
        return tuple(node for node in self.nodes if find(node) != ground)
