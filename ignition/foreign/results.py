"""Results of a foreign netlist's analysis, what it covers, and their JSON form."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ignition.analyses.continuity.bands import LineReading
from ignition.analyses.continuity.thresholds import Threshold
from ignition.circuit.model import Assumption
from ignition.toleranced import Spread, number

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
    """Continuity of one channel: readings, pairs of states that read alike, thresholds between the others."""

    channel: str
    readings: tuple[LineReading, ...]
    cannot_tell_apart: tuple[tuple[str, str], ...]
    thresholds: tuple[Threshold, ...]

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
    no_fire : Lowest steady no-fire current [A]
    ratio : No-fire current over the largest current [1]; None where no current flows or a number is missing
    decibels : The same [dB], 20 log10
    thermal_fraction : Share of the temperature rise to function [1]: the square of current over no-fire current
    """

    phase: str
    channel: str
    igniter: str
    current: Spread
    gate_voltage: Spread
    no_fire: float | None
    ratio: float | None
    decibels: float | None
    thermal_fraction: float | None
    reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignFault:
    """What one fault does in one phase.

    Attributes
    ----------
    current : Its largest current [A]
    no_fire_ratio : No-fire current over it [1]
    verdict : ``hazardous`` (may reach the no-fire current), ``below no-fire`` or ``UNKNOWN``
    """

    fault: str
    phase: str
    igniter: str
    channel: str
    current: float | None
    no_fire_ratio: float | None
    verdict: str
    reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignResult:
    """Everything that is computed for a foreign netlist."""

    circuit: str
    netlist: str
    channels: tuple[ForeignChannel, ...]
    margins: tuple[NoFireMargin, ...]
    faults: tuple[ForeignFault, ...]
    assumptions: tuple[Assumption, ...]
    notes: tuple[str, ...]

    @property
    def margins_hold(self) -> bool:
        """Whether every igniter is known to stay below its no-fire current in every phase without a fault."""
        return all(m.no_fire is not None and (m.ratio is None or m.ratio > 1.0) for m in self.margins)

    def margin(self, phase: str, igniter: str) -> NoFireMargin:
        """Return the margin of an igniter in a phase."""
        return next(m for m in self.margins if m.phase == phase and m.igniter == igniter)

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "circuit": self.circuit,
            "netlist": self.netlist,
            "channels": [self._channel(channel) for channel in self.channels],
            "no_fire": [_margin_dict(margin) for margin in self.margins],
            "faults": [_fault_dict(fault) for fault in self.faults],
            "faults_covered": list(COVERED),
            "not_covered": list(NOT_COVERED),
            "assumptions": [
                {"key": a.key, "value": a.value, "direction": a.direction, "basis": a.basis} for a in self.assumptions
            ],
            "notes": list(self.notes),
        }

    def _channel(self, channel: ForeignChannel) -> dict[str, Any]:
        """One channel in the form of the circuit file's continuity; its margin is that of the intact line, armed."""
        armed = [m for m in self.margins if m.phase == "armed" and m.channel == channel.channel]
        ratios = [m.ratio for m in armed if m.ratio is not None]
        reason = next((m.reason for m in armed if m.reason), None)
        known = ratios and not any(m.no_fire is None or m.current.high is None for m in armed)
        return {
            "channel": channel.channel,
            "line_states": [
                {
                    "state": r.state,
                    "igniter_current": r.igniter_current.as_dict(),
                    "adc_code": r.band.code.as_dict(),
                    "pin_voltage": r.band.voltage.as_dict(),
                }
                for r in channel.readings
            ],
            "cannot_tell_apart": [list(pair) for pair in channel.cannot_tell_apart],
            "thresholds": [{"below": t.below, "above": t.above, "code": t.code} for t in channel.thresholds],
            "largest_unseen_resistance": number(None, "ohm", "not computed for a foreign netlist"),
            "no_fire_margin": number(min(ratios), "1") if known else number(None, "1", reason or "no current flows"),
        }


def _margin_dict(margin: NoFireMargin) -> dict[str, Any]:
    return {
        "phase": margin.phase,
        "channel": margin.channel,
        "igniter": margin.igniter,
        "igniter_current": margin.current.as_dict(),
        "gate_voltage": margin.gate_voltage.as_dict(),
        "no_fire": number(margin.no_fire, "A", None if margin.no_fire is not None else margin.reason),
        "ratio": number(margin.ratio, "1", margin.reason if margin.ratio is None else None),
        "margin": number(margin.decibels, "dB", margin.reason if margin.decibels is None else None),
        "thermal_fraction": number(
            margin.thermal_fraction, "1", margin.reason if margin.thermal_fraction is None else None
        ),
    }


def _fault_dict(fault: ForeignFault) -> dict[str, Any]:
    return {
        "phase": fault.phase,
        "faults": [fault.fault],
        "channel": fault.channel,
        "igniter": fault.igniter,
        "igniter_current": number(fault.current, "A", fault.reason),
        "no_fire_ratio": number(fault.no_fire_ratio, "1", fault.reason),
        "class": fault.verdict,
    }
