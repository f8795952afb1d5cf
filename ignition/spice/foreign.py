"""Continuity, no-fire margin and single faults of a network that does not fit the channel template."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from ignition.analyses.bands import AdcBand, LineReading, adc_band
from ignition.analyses.results import Spread, number
from ignition.analyses.thresholds import Threshold, overlapping_pairs, pair_thresholds
from ignition.circuit.extremes import Extreme, Probe
from ignition.circuit.model import Assumption
from ignition.errors import NetworkError
from ignition.spice.binding import Bound, BoundChannel, bind
from ignition.spice.flatten import FlatNetlist
from ignition.spice.foreign_bounds import settle
from ignition.spice.foreign_network import FOREIGN_PHASES, Fault, Situation, line_states_of
from ignition.spice.reader import Netlist
from ignition.spice.roles import Roles
from ignition.toleranced import Toleranced

__all__ = [
    "COVERED",
    "NOT_COVERED",
    "ForeignChannel",
    "ForeignFault",
    "ForeignResult",
    "NoFireMargin",
    "analyse_foreign",
    "single_faults",
]

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
    phase, channel, igniter : str
        Where.
    current : Spread
        Current through the igniter [A].
    gate_voltage : Spread
        Gate to source of the channel's switch [V]; missing where nothing holds the gate.
    no_fire : float or None
        Lowest steady no-fire current [A].
    ratio : float or None
        No-fire current over the largest current [1]; None where no current flows or a number is missing.
    decibels : float or None
        The same [dB], 20 log10.
    thermal_fraction : float or None
        Share of the temperature rise to function [1]: the square of current over no-fire current.
    reason : str or None
        Why a number is missing.
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
    fault, phase : str
        Which.
    igniter : str
        The igniter nearest to its no-fire current.
    channel : str
        Its channel.
    current : float or None
        Its largest current [A].
    no_fire_ratio : float or None
        No-fire current over it [1].
    verdict : str
        ``hazardous`` (may reach the no-fire current), ``below no-fire`` or ``UNKNOWN``.
    reason : str or None
        Why it is UNKNOWN.
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
        """One channel in the form that the circuit file's continuity has; its margin is that of the intact line, armed."""
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
        "thermal_fraction": number(margin.thermal_fraction, "1", margin.reason if margin.thermal_fraction is None else None),
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


def analyse_foreign(netlist: Netlist | FlatNetlist, roles: Roles, *, faults: bool = True) -> ForeignResult:
    """Analyse a foreign netlist at steady current.

    Parameters
    ----------
    netlist : Netlist or FlatNetlist
        The netlist.
    roles : Roles
        The role file.
    faults : bool
        Whether to try all single faults, too.

    Returns
    -------
    ForeignResult
        Continuity, no-fire margins, faults, assumptions and notes.

    Raises
    ------
    NetlistError
        When the subcircuits cannot be written out.
    CircuitFileError
        With all mistakes of the role file against the netlist.

    Notes
    -----
    Bounds stand at corners of the tolerances, found by signs and checked by samples; where a sample lies outside, or a
    network has no unique solution, the number is missing with its reason. Loads (current sources) may also be off.
    """
    bound = bind(netlist, roles)
    rows = [fault for phase in FOREIGN_PHASES for fault in _faults(bound, phase)] if faults else []
    return ForeignResult(
        circuit=roles.file.title,
        netlist=bound.netlist.title,
        channels=tuple(_continuity(bound, channel) for channel in bound.channels),
        margins=tuple(m for phase in FOREIGN_PHASES for m in _margins(bound, phase)),
        faults=tuple(rows),
        assumptions=bound.assumptions,
        notes=bound.notes,
    )


def single_faults(bound: Bound) -> tuple[Fault, ...]:
    """List the single faults that are tried.

    Parameters
    ----------
    bound : Bound
        Netlist and roles.

    Returns
    -------
    tuple of Fault
        In the order of the netlist.
    """
    found: list[Fault] = []
    for part in bound.netlist.parts:
        if part.name in bound.arm:
            found.append(Fault(element=part.name, mode="stuck closed"))
        elif part.kind in "rd":
            found += [Fault(element=part.name, mode=mode) for mode in ("open", "short")]
        elif part.kind == "c":
            found.append(Fault(element=part.name, mode="short"))
        elif part.kind == "l":
            found.append(Fault(element=part.name, mode="open"))
        elif part.kind == "m":
            found.append(Fault(element=part.name, mode="stuck on"))
    return tuple(found)


def _applies(fault: Fault, phase: str) -> bool:
    return fault.mode != "stuck closed" or phase == "disarmed"


def _continuity(bound: Bound, channel: BoundChannel) -> ForeignChannel:
    readings = tuple(_reading(bound, channel, line) for line in line_states_of(channel))
    return ForeignChannel(
        channel=channel.name,
        readings=readings,
        cannot_tell_apart=overlapping_pairs([(r.state, r.band.code) for r in readings]),
        thresholds=pair_thresholds(readings),
    )


def _situations(bound: Bound, channel: BoundChannel, line: str) -> list[Situation]:
    """The channel in its line state; the other channels intact, and open; each igniter in turn where one is open."""
    igniters: Sequence[str | None] = list(channel.igniters) if line == "one igniter open" else [None]
    others: list[dict[str, str]] = [{}]
    if len(bound.channels) > 1:
        others.append({c.name: "open" for c in bound.channels if c is not channel})
    return [
        Situation(phase="armed", lines={**other, channel.name: line}, open_igniter=igniter)
        for igniter in igniters
        for other in others
    ]


def _reading(bound: Bound, channel: BoundChannel, line: str) -> LineReading:
    currents: dict[str, list[Spread]] = {}
    bands: list[AdcBand] = []
    try:
        for situation in _situations(bound, channel, line):
            names = [name for name in channel.igniters if name != situation.open_igniter]
            settled = settle(bound, situation, [Probe(node=channel.sense), *(Probe(element=name) for name in names)])
            pin, *found = settled.outputs
            for name, spread in zip(names, found, strict=True):
                currents.setdefault(name, []).append(spread)
            bands.append(_band(bound, channel, pin, line, loose=channel.name in settled.loose_senses))
    except NetworkError as error:
        missing = Spread.missing("A", str(error))
        band = AdcBand(code=Spread.missing("1", str(error)), voltage=Spread.missing("V", str(error)), terms=())
        return LineReading(state=line, igniter_current=missing, igniters={}, band=band)
    igniters = {name: Spread.hull(members) for name, members in currents.items()}
    worst = max(igniters.values(), key=lambda s: abs(s.nominal or 0.0))
    return LineReading(
        state=line,
        igniter_current=replace(Spread.hull(list(igniters.values())), nominal=worst.nominal),
        igniters=igniters,
        band=AdcBand(
            code=Spread.hull([band.code for band in bands]), voltage=Spread.hull([band.voltage for band in bands]), terms=()
        ),
    )


def _band(bound: Bound, channel: BoundChannel, pin: Spread, line: str, *, loose: bool) -> AdcBand:
    """Converter's band; missing where nothing holds its pin."""
    if loose:
        reason = "nothing holds the converter's pin"
        return AdcBand(code=Spread.missing("1", reason), voltage=Spread.missing("V", reason), terms=())
    assert pin.low is not None and pin.nominal is not None and pin.high is not None
    extreme = Extreme(low=pin.low, nominal=pin.nominal, high=pin.high, low_at={}, high_at={}, method="")
    circuit = bound.roles.circuit
    return adc_band(circuit, circuit.channel(channel.name), extreme, line, {})


def _margins(bound: Bound, phase: str) -> list[NoFireMargin]:
    rows = [(channel, name, kind) for channel in bound.channels for name, kind in channel.igniters.items()]
    reason: str | None = None
    currents: dict[str, list[Spread]] = {name: [] for _, name, _ in rows}
    gates: dict[str, Spread] = {}
    loose = "nothing holds the gate: the switch is taken as off and as on"
    try:
        for situation in _line_combinations(bound, phase):
            settled = settle(bound, situation, [Probe(element=name) for _, name, _ in rows])
            for channel, gate in settled.gates.items():
                gates.setdefault(channel, Spread.missing("V", loose) if gate is None else Spread.of(gate))
            for (owner, name, _), spread in zip(rows, settled.outputs, strict=True):
                if owner.name not in situation.lines:
                    currents[name].append(spread)
    except NetworkError as error:
        reason = str(error)
        currents = {name: [Spread.missing("A", reason)] for _, name, _ in rows}
    return [
        _margin(bound, phase, row, Spread.hull(currents[row[1]]), gates.get(row[0].name, Spread.missing("V", reason or "")), reason)
        for row in rows
    ]


def _line_combinations(bound: Bound, phase: str) -> list[Situation]:
    """All lines intact; and, of several channels, each intact while all others are open."""
    if len(bound.channels) == 1:
        return [Situation(phase=phase)]
    alone = [{c.name: "open" for c in bound.channels if c is not one} for one in bound.channels]
    return [Situation(phase=phase, lines=lines) for lines in ({}, *alone)]


def _margin(
    bound: Bound, phase: str, row: tuple[BoundChannel, str, str], current: Spread, gate: Spread, reason: str | None
) -> NoFireMargin:
    """Margin of one igniter from its bounds of current."""
    channel, name, kind = row
    limit = bound.roles.circuit.igniters[kind].threshold_low
    largest = _largest(current)
    share = None if limit is None or largest is None else largest / limit
    if limit is None:
        reason = reason or f"igniter {kind!r} has no no-fire current"
    elif share == 0.0:
        reason = "no current flows"
    return NoFireMargin(
        phase=phase,
        channel=channel.name,
        igniter=name,
        current=current,
        gate_voltage=gate,
        no_fire=limit,
        ratio=1.0 / share if share else None,
        decibels=-20.0 * math.log10(share) if share else None,
        thermal_fraction=None if share is None else share**2,
        reason=reason,
    )


def _largest(current: Spread) -> float | None:
    if current.low is None or current.high is None:
        return None
    return max(abs(current.low), abs(current.high))


def _faults(bound: Bound, phase: str) -> list[ForeignFault]:
    """All single faults of a phase; each starts from the drain currents of the circuit without a fault."""
    try:
        start: dict[str, Toleranced] | None = settle(bound, Situation(phase=phase), []).off
    except NetworkError:
        start = None
    return [_fault(bound, phase, fault, start) for fault in single_faults(bound) if _applies(fault, phase)]


def _fault(bound: Bound, phase: str, fault: Fault, start: dict[str, Toleranced] | None) -> ForeignFault:
    """The igniter nearest to its no-fire current under a fault."""
    rows = [(channel, name, kind) for channel in bound.channels for name, kind in channel.igniters.items()]
    first_channel, first, _ = rows[0]
    try:
        situation = Situation(phase=phase, fault=fault)
        spreads = settle(bound, situation, [Probe(element=name) for _, name, _ in rows], start).outputs
    except NetworkError as error:
        return ForeignFault(
            fault=str(fault), phase=phase, igniter=first, channel=first_channel.name, current=None, no_fire_ratio=None,
            verdict="UNKNOWN", reason=str(error),
        )  # fmt: skip
    shares = []
    for (channel, name, kind), spread in zip(rows, spreads, strict=True):
        limit = bound.roles.circuit.igniters[kind].threshold_low
        largest = _largest(spread) or 0.0
        shares.append((math.inf if limit is None else largest / limit, largest, channel.name, name))
    share, current, channel_name, name = max(shares)
    unknown = math.isinf(share)
    reason = "an igniter has no no-fire current" if unknown else None if share > 0 else "no current flows"
    return ForeignFault(
        fault=str(fault),
        phase=phase,
        igniter=name,
        channel=channel_name,
        current=current,
        no_fire_ratio=None if unknown or share == 0 else 1.0 / share,
        verdict="UNKNOWN" if unknown else "hazardous" if share >= 1.0 else "below no-fire",
        reason=reason,
    )
