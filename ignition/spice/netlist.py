"""A foreign netlist as read: cards, models, subcircuits, and what was noted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["Card", "ModelCard", "Netlist", "Subcircuit"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One element as written.

    Attributes
    ----------
    kind : Its first letter: ``r``, ``c``, ``l``, ``d``, ``v``, ``i``, ``m`` or ``x``
    nodes : Nodes in lower case, ``0`` for ground
    value : Word of its value: a number, ``{name}`` or ``'name'``
    waveform : Function of time of a source
    """

    name: str
    kind: str
    nodes: tuple[str, ...]
    value: str | None = None
    model: str | None = None
    settings: Mapping[str, str] = field(default_factory=dict)
    waveform: str | None = None
    line: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelCard:
    """A ``.model`` card: type, settings and flags (such as ``pchan``), and its line."""

    name: str
    kind: str
    settings: Mapping[str, str]
    flags: tuple[str, ...]
    line: int


@dataclass(slots=True, kw_only=True)
class Subcircuit:
    """A subcircuit, or the netlist's top level: ports, defaults, cards, models and parameters by name."""

    name: str
    ports: tuple[str, ...] = ()
    defaults: dict[str, str] = field(default_factory=dict)
    cards: list[Card] = field(default_factory=list)
    models: dict[str, ModelCard] = field(default_factory=dict)
    parameters: dict[str, str] = field(default_factory=dict)
    line: int = 1
    _lines: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Netlist:
    """A netlist as read.

    Attributes
    ----------
    notes : What was read as no part of the network, and numbers that are often meant otherwise, each with its line
    """

    title: str
    name: str
    top: Subcircuit
    subcircuits: Mapping[str, Subcircuit]
    global_nodes: frozenset[str]
    notes: tuple[str, ...]

    @property
    def elements(self) -> tuple[Card, ...]:
        """Cards of the top level."""
        return tuple(self.top.cards)

    @property
    def models(self) -> Mapping[str, ModelCard]:
        """Models of the top level."""
        return self.top.models

    @property
    def parameters(self) -> Mapping[str, str]:
        """Parameters of the top level, as written."""
        return self.top.parameters
