"""Results of a foreign netlist's analysis, and what it covers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.continuity.bands import LineReading
from ignition.analyses.continuity.thresholds import Threshold
from ignition.circuit.model import Assumption
from ignition.findings.finding import Finding
from ignition.toleranced import Spread
from ignition.typing import HIDDEN, Amps, Decibels, Key, Missing, Ohms, Ratio

__all__ = ["COVERED", "ForeignChannel", "ForeignFault", "ForeignResult", "NOT_COVERED", "NoFireMargin"]

COVERED = (
    "each resistor, diode and igniter open or shorted",
    "each capacitor shorted, each inductor open",
    "the arm switch stuck closed",
    "each low-side switch stuck on (a pin stuck high does no more)",
)
"""Single faults that are tried in each phase."""

NOT_COVERED = (
    "drifted values, two faults at once, wires between nets that the netlist keeps apart",
    "shorts from drain to gate and from gate to source, an open gate connection",
    "a supply that passes the battery's voltage, a source of the netlist that fails",
    "the arm switch's edge, stored charge, and everything else that is not steady",
    "whether a fire command fires: no all-fire margin is computed",
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
class ForeignFault:
    """What one fault does in one phase.

    Attributes
    ----------
    faults : The one fault
    current : Largest current of the igniter nearest to its no-fire current
    no_fire_ratio : No-fire current over it
    verdict : ``hazardous`` (may reach the no-fire current), ``below no-fire`` or ``UNKNOWN``
    """

    faults: tuple[str, ...]
    phase: str
    igniter: str
    channel: str
    current: Annotated[Amps | None, Key("igniter_current"), Missing(always=True)]
    no_fire_ratio: Ratio | None
    verdict: Annotated[str, Key("class")]
    reason: Annotated[str | None, HIDDEN]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignResult:
    """Everything that is computed for a foreign netlist."""

    circuit: str
    netlist: str
    channels: tuple[ForeignChannel, ...]
    margins: Annotated[tuple[NoFireMargin, ...], Key("no_fire")]
    findings: tuple[Finding, ...]
    faults: tuple[ForeignFault, ...]
    assumptions: tuple[Assumption, ...]
    notes: tuple[str, ...]
    faults_covered: tuple[str, ...] = COVERED
    not_covered: tuple[str, ...] = NOT_COVERED

    def margin(self, phase: str, igniter: str) -> NoFireMargin:
        """Return the margin of an igniter in a phase."""
        return next(m for m in self.margins if m.phase == phase and m.igniter == igniter)
