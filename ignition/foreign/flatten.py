"""Writes the subcircuits of a netlist out: one flat list of parts with their values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ignition.errors import NetlistError
from ignition.foreign.reader import MAX_ELEMENTS
from ignition.foreign.tokens import Scope
from ignition.spice.netlist import Card, ModelCard, Netlist, Subcircuit

__all__ = [
    "FlatNetlist",
    "MAX_DEPTH",
    "Part",
    "flatten",
]

MAX_DEPTH = 10
"""Most levels of subcircuits inside each other [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One element after all subcircuits are written out.

    Attributes
    ----------
    name : Name with the instances around it in front, for example ``X1.R2``
    kind : Its letter: ``r``, ``c``, ``l``, ``d``, ``v``, ``i`` or ``m``
    nodes : Nodes; an inner one has its instance in front, for example ``x1.mid``; ground is ``0``
    value : Value [ohm, F, H, V or A]; of a source the DC value, None where only a function of time is given
    model_name, waveform : Name of its model; function of time of a source
    breakdown : Breakdown voltage of a diode's model [V]
    """

    name: str
    kind: str
    nodes: tuple[str, ...]
    value: float | None = None
    model: ModelCard | None = None
    model_name: str | None = None
    waveform: str | None = None
    breakdown: float | None = None
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatNetlist:
    """A netlist without subcircuits: title, file name, parts in order, and the reader's notes."""

    title: str
    name: str
    parts: tuple[Part, ...]
    notes: tuple[str, ...]

    @property
    def nodes(self) -> tuple[str, ...]:
        """All nodes in order of appearance, ground (``0``) included."""
        return tuple(dict.fromkeys(node for part in self.parts for node in part.nodes))


def flatten(netlist: Netlist) -> FlatNetlist:
    """Write all subcircuits out and give every element its value.

    Raises NetlistError for an unknown subcircuit, parameter or number of nodes, a subcircuit that contains itself, more
    than ten levels, or a value that no part can have; the message names the line.

    Parameters
    ----------
    netlist : From `ignition.foreign.reader.parse_netlist`

    Examples
    --------
    >>> from ignition.foreign.reader import parse_netlist
    >>> text = "t\\nV1 a 0 9\\nX1 a 0 half r=2k\\n.subckt half p q r=1k\\nR1 p m {r}\\nR2 m q {r}\\n.ends\\n.end\\n"
    >>> [(p.name, p.nodes, p.value) for p in flatten(parse_netlist(text)).parts[1:]]
    [('X1.R1', ('a', 'x1.m'), 2000.0), ('X1.R2', ('x1.m', '0'), 2000.0)]
    """
    parts: list[Part] = []
    top = netlist.top
    ground = {"0": "0"} | {node: node for node in netlist.global_nodes}
    _expand(netlist, top, Scope(own=top.parameters), "", ground, (), parts)
    return FlatNetlist(title=netlist.title, name=netlist.name, parts=tuple(parts), notes=netlist.notes)


def _expand(
    netlist: Netlist,
    level: Subcircuit,
    scope: Scope,
    prefix: str,
    nodes: Mapping[str, str],
    around: tuple[str, ...],
    parts: list[Part],
) -> None:
    """Add the parts of one level; `nodes` maps the names that are known outside."""
    for card in level.cards:
        try:
            named = tuple(nodes.get(node, prefix.lower() + node) for node in card.nodes)
            if card.kind != "x":
                if len(parts) >= MAX_ELEMENTS:
                    raise NetlistError(f"more than {MAX_ELEMENTS} elements once the subcircuits are written out")
                parts.append(_part(netlist, level, card, scope, prefix, named))
                continue
            inner = _called(netlist, card, around)
            own = dict(inner.parameters) | inner.defaults
            own |= {key: repr(scope.number(word).value) for key, word in _known(card, inner).items()}
        except NetlistError as error:
            raise NetlistError(f"{netlist.name}:{card.line}: {error}") from None
        inside = {k: v for k, v in nodes.items() if k == "0" or k in netlist.global_nodes}
        inside |= dict(zip(inner.ports, named, strict=True))
        around_it = (*around, inner.name.lower())
        outer = Scope(own=netlist.top.parameters)
        _expand(netlist, inner, Scope(own=own, outer=outer), f"{prefix}{card.name}.", inside, around_it, parts)


def _called(netlist: Netlist, card: Card, around: tuple[str, ...]) -> Subcircuit:
    """The subcircuit that an instance names, checked."""
    assert card.model is not None
    inner = netlist.subcircuits.get(card.model)
    if inner is None:
        known = ", ".join(sorted(netlist.subcircuits)) or "none"
        raise NetlistError(
            f"{card.name!r} names subcircuit {card.model!r}, which the netlist does not define; there are: {known}"
        )
    if card.model in around:
        raise NetlistError(f"subcircuit {card.model!r} contains itself through {' > '.join((*around, card.model))}")
    if len(around) >= MAX_DEPTH:
        raise NetlistError(f"subcircuits stand more than {MAX_DEPTH} levels deep: {' > '.join((*around, card.model))}")
    if len(card.nodes) != len(inner.ports):
        raise NetlistError(
            f"{card.name!r} has {len(card.nodes)} nodes; subcircuit {inner.name} has {len(inner.ports)} ports"
        )
    return inner


def _known(card: Card, inner: Subcircuit) -> Mapping[str, str]:
    for key in card.settings:
        if key not in inner.defaults:
            known = ", ".join(inner.defaults) or "none"
            raise NetlistError(
                f"{card.name!r} sets {key!r}, which subcircuit {inner.name} does not take; it takes: {known}"
            )
    return card.settings


def _part(netlist: Netlist, level: Subcircuit, card: Card, scope: Scope, prefix: str, nodes: tuple[str, ...]) -> Part:
    value = None if card.value is None else scope.number(card.value).value
    if card.kind in "rcl" and value is not None and value < 0:
        raise NetlistError(f"{card.name!r} has a value below zero ({value:g}); no part has that")
    model = None
    breakdown = None
    if card.model is not None:
        model = level.models.get(card.model) or netlist.top.models.get(card.model)
    if model is not None:
        wanted = {"d": ("d",), "m": ("nmos", "pmos", "vdmos")}[card.kind]
        if model.kind not in wanted:
            raise NetlistError(
                f"{card.name!r} needs a model of type {' or '.join(wanted)}; {model.name!r} is {model.kind}"
            )
        if card.kind == "d" and "bv" in model.settings:
            breakdown = abs(scope.number(model.settings["bv"]).value)
    return Part(
        name=prefix + card.name,
        kind=card.kind,
        nodes=nodes,
        value=value,
        model=model,
        model_name=card.model,
        waveform=card.waveform,
        breakdown=breakdown,
        line=card.line,
    )
