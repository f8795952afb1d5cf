"""What an analysis of faults needs to know of a circuit, whoever described it: networks, igniters, gates and inputs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ignition.analyses.faults.changes import Rail
from ignition.analyses.faults.fault import Fault
from ignition.analyses.faults.situations import Setting, Situation
from ignition.circuit.model import Circuit
from ignition.network.elements import Network
from ignition.network.worst_case import Probe
from ignition.typing import BoolArray

__all__ = ["Board", "Contact", "Ends", "INSULATION", "Line"]

INSULATION = 1e12
"""Resistance of a line, a string or an igniter that is not connected [ohm]."""

Ends = tuple[float | None, float | None, float | None]
"""Low, nominal and high end that a parameter gets [SI]; None for one that stays as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """A contact of a line that keeps current off it.

    Attributes
    ----------
    says : What it is while it does
    phases : When that is
    defeated_by : Fault by which it no longer does
    """

    says: str
    phases: frozenset[str]
    defeated_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One channel as faults look at it.

    Attributes
    ----------
    name : Of the channel, as the circuit has it
    igniters : Type of each igniter element
    strings : Igniters in series, string by string
    alike : Whether strings of the same types are alike, so that one of them stands for all
    switch : Its MOSFET, as the names of faults have it
    gate : Gate to source of it
    gate_side : Network that settles the gate's voltage by itself; None where the gate hangs on the lines
    off_current : Parameter that is the most that the MOSFET passes while not commanded
    resistance : Parameter that is its resistance, commanded or held on
    inputs : Node of each converter input, by what it reads
    clamps : Clamp of each controller pin on the line, by what the pin reads or does
    loosened : Parameters that make the line also open, or spent
    contacts : What beside arm switch and MOSFET keeps current off it
    """

    name: str
    igniters: Mapping[str, str]
    strings: tuple[tuple[str, ...], ...]
    alike: bool
    switch: str
    gate: Probe
    gate_side: Network | None
    off_current: str
    resistance: str
    inputs: Mapping[str, str]
    clamps: Mapping[str, str]
    loosened: Mapping[str, Ends]
    contacts: tuple[Contact, ...] = ()

    def representatives(self, touched: frozenset[str]) -> tuple[str, ...]:
        """List igniters of which one has the highest current: one a type in each kind of string, where those are alike.

        Parameters
        ----------
        touched : Igniters that a fault touches, which are no more like any other

        Examples
        --------
        >>> from ignition.analyses.faults.circuit_board import circuit_lines
        >>> from ignition.circuit.examples import load_example
        >>> circuit_lines(load_example("demo"))[0].representatives(frozenset({"boosters.igniter 2.1"}))
        ('boosters.igniter 1.1', 'boosters.igniter 2.1')
        """
        known: set[tuple[str, ...]] = set()
        found: list[str] = []
        for string in self.strings:
            like = tuple(self.igniters[name] for name in string)
            if not self.alike or touched.intersection(string):
                found += string
            elif like not in known:
                known.add(like)
                found += {self.igniters[name]: name for name in reversed(string)}.values()
        return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Board:
    """A circuit laid out for faults.

    Attributes
    ----------
    circuit : Values of its igniters, MOSFETs, battery and controller; its channels in the order of the lines
    settings : Bounds and states without any fault, of each situation with each state of the supply
    lines : Its channels
    network : Everything but the gates that settle by themselves
    whole : Everything
    tied : Whether a fault ties lines and gates together, so that only the whole network tells, shape (faults,)
    hung : Gates whose voltage follows from the whole network and what their own MOSFET passes, under each fault (the
        last: none), shape (faults + 1, lines)
    beside : What else may be in any state beside each igniter that is looked at
    battery : Element that is the battery
    arms : Parts that are the arm switch, as the names of faults have them
    samples : Points of each member's bounds at which its worst case is checked [1]; 0 where corners are proved
    left_out : Faults that the circuit file leaves out, each with its reason
    """

    circuit: Circuit
    situations: tuple[Situation, ...]
    faults: tuple[Fault, ...]
    settings: Mapping[tuple[Situation, Rail], Setting]
    lines: tuple[Line, ...]
    network: Network
    whole: Network
    tied: BoolArray
    hung: BoolArray
    beside: Mapping[str, Mapping[str, Ends]]
    battery: str
    arms: tuple[str, ...]
    samples: int = 0
    left_out: Mapping[str, str] = field(default_factory=dict)

    @property
    def igniters(self) -> dict[str, str]:
        """Type of each igniter of all lines, in their order."""
        return {name: kind for line in self.lines for name, kind in line.igniters.items()}

    def limits(self, what: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        """Return a current of each igniter's type [A], nan where there is none, shape (igniters,).

        Parameters
        ----------
        what : ``threshold_low`` or ``all_fire_current``
        """
        found = [getattr(self.circuit.igniters[kind], what) for kind in self.igniters.values()]
        return np.array([np.nan if limit is None else limit for limit in found])
