"""Results of a foreign netlist's analyses, and what they leave out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.continuity.bands import LineReading
from ignition.analyses.continuity.thresholds import Threshold
from ignition.analyses.faults.single import SingleFaults
from ignition.circuit.model import Assumption
from ignition.findings.finding import Finding, Verdict
from ignition.toleranced import Spread
from ignition.typing import HIDDEN, Amps, Decibels, Key, Missing, Ohms, Ratio

__all__ = ["ForeignChannel", "ForeignCheck", "ForeignResult", "NOT_COVERED", "NoFireMargin"]

NOT_COVERED = (
    "everything that is not steady: the arm switch's edge, turn-off, stored charge",
    "firing: whether a command fires, duds, and other channels while one fires",
    "the netlist's own sources failing; a battery connected the wrong way round",
    "what the controller draws from a bus after the arm switch: give it as a current source of the netlist",
    "pairs of wires swapped between channels, wires between nets beside those at the igniters",
    "a MOSFET's breakdown; thermal limits of parts and conductors",
    "loops past a switch with nothing broken, and what would help: neither is searched for",
)
"""What the analysis of a foreign netlist leaves out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignChannel:
    """Continuity of one channel: readings, pairs of states that read alike, thresholds between the others.

    Attributes
    ----------
    no_fire_margin : Least of the intact line, armed
    """

    channel: str
    readings: Annotated[tuple[LineReading, ...], Key("line_states")]
    cannot_tell_apart: tuple[tuple[str, str], ...]
    thresholds: tuple[Threshold, ...]
    no_fire_margin: Annotated[Ratio | None, Missing(field="no_fire_reason", otherwise="no current flows")]
    no_fire_reason: Annotated[str | None, HIDDEN]
    largest_unseen_resistance: Annotated[Ohms | None, Missing(otherwise="not computed for a foreign netlist")] = None

    def reading(self, state: str) -> LineReading:
        """Return the reading of a line state."""
        return next(r for r in self.readings if r.state == state)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoFireMargin:
    """How far an igniter's uncommanded current stays from its no-fire current.

    Attributes
    ----------
    current : Current through the igniter [A]
    gate_voltage : Gate to source of the channel's switch [V]; missing where nothing holds the gate
    no_fire : Lowest steady no-fire current
    ratio : No-fire current over the largest current; None where no current flows or a number is missing
    decibels : The same, 20 log10
    thermal_fraction : Share of the temperature rise to function: the square of current over no-fire current
    """

    phase: str
    channel: str
    igniter: str
    current: Annotated[Spread, Key("igniter_current")]
    gate_voltage: Spread
    no_fire: Amps | None
    ratio: Ratio | None
    decibels: Annotated[Decibels | None, Key("margin")]
    thermal_fraction: Ratio | None
    reason: Annotated[str | None, HIDDEN]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignResult:
    """Continuity and no-fire margins of a foreign netlist."""

    circuit: str
    netlist: str
    channels: tuple[ForeignChannel, ...]
    margins: Annotated[tuple[NoFireMargin, ...], Key("no_fire")]
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...]
    notes: tuple[str, ...]
    not_covered: tuple[str, ...] = NOT_COVERED

    def margin(self, phase: str, igniter: str) -> NoFireMargin:
        """Return the margin of an igniter in a phase."""
        return next(m for m in self.margins if m.phase == phase and m.igniter == igniter)


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignCheck:
    """All findings of a foreign netlist.

    Attributes
    ----------
    circuit : File of the netlist
    single_faults : What the findings on single faults rest on
    """

    circuit: str
    title: str
    verdict: Verdict
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...]
    margins: Annotated[tuple[NoFireMargin, ...], Key("no_fire")]
    single_faults: Annotated[SingleFaults, HIDDEN]
    notes: tuple[str, ...]
    not_covered: tuple[str, ...] = NOT_COVERED
