"""Continuity and no-fire margin of a network that does not fit the channel template."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from ignition.analyses.continuity.bands import AdcBand, LineReading, adc_band
from ignition.analyses.continuity.thresholds import overlapping_pairs, pair_thresholds
from ignition.analyses.no_fire.heating import highest_fraction
from ignition.circuit.model import Circuit
from ignition.errors import NetworkError
from ignition.findings.blame import blamed
from ignition.findings.finding import Finding
from ignition.foreign.binding import Bound, BoundChannel, bind
from ignition.foreign.bounds import settle
from ignition.foreign.findings import foreign_findings
from ignition.foreign.flatten import FlatNetlist
from ignition.foreign.network import FOREIGN_PHASES, Situation, line_states_of
from ignition.foreign.results import ForeignChannel, ForeignResult, NoFireMargin
from ignition.foreign.roles import Roles
from ignition.network.worst_case import Extreme, Probe
from ignition.spice.netlist import Netlist
from ignition.toleranced import Spread

__all__ = ["analyse_foreign", "judge_margins"]


def analyse_foreign(netlist: Netlist | FlatNetlist, roles: Roles) -> ForeignResult:
    """Analyse a foreign netlist at steady current.

    Bounds stand at corners of the tolerances, found by signs and checked by samples; where a sample lies outside, or a
    network has no unique solution, the number is missing with its reason. Loads (current sources) may also be off.

    Raises NetlistError when the subcircuits cannot be written out. Raises CircuitFileError with all mistakes of the
    role file against the netlist.
    """
    bound = bind(netlist, roles)
    margins, findings = judge_margins(bound)
    return ForeignResult(
        circuit=roles.file.title,
        netlist=bound.netlist.title,
        channels=tuple(_continuity(bound, channel, margins) for channel in bound.channels),
        margins=margins,
        findings=findings,
        assumptions=bound.assumptions,
        notes=bound.notes,
    )


def judge_margins(bound: Bound) -> tuple[tuple[NoFireMargin, ...], tuple[Finding, ...]]:
    """Return the margins of every igniter in every steady phase with nothing broken, and what they are judged."""
    margins, roles = _all_margins(bound), bound.roles

    def judged(circuit: Circuit) -> Iterable[Finding]:
        if circuit is roles.circuit:
            return foreign_findings(bound, margins)
        other = bind(bound.netlist, replace(roles, circuit=circuit))
        return foreign_findings(other, _all_margins(other))

    return margins, blamed(roles.circuit, judged)


def _continuity(bound: Bound, channel: BoundChannel, margins: Sequence[NoFireMargin]) -> ForeignChannel:
    armed = [m for m in margins if m.phase == "armed" and m.channel == channel.name]
    ratios = [m.ratio for m in armed if m.ratio is not None]
    known = not any(m.no_fire is None or m.current.high is None for m in armed)
    readings = tuple(_reading(bound, channel, line) for line in line_states_of(channel))
    return ForeignChannel(
        channel=channel.name,
        readings=readings,
        cannot_tell_apart=overlapping_pairs([(r.state, r.band.code) for r in readings]),
        thresholds=pair_thresholds(readings),
        no_fire_margin=min(ratios) if ratios and known else None,
        no_fire_reason=next((m.reason for m in armed if m.reason), None),
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
            code=Spread.hull([band.code for band in bands]),
            voltage=Spread.hull([band.voltage for band in bands]),
            terms=(),
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


def _all_margins(bound: Bound) -> tuple[NoFireMargin, ...]:
    return tuple(m for phase in FOREIGN_PHASES for m in _margins(bound, phase))


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
        _margin(
            bound,
            phase,
            row,
            Spread.hull(currents[row[1]]),
            gates.get(row[0].name, Spread.missing("V", reason or "")),
            reason,
        )
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
    igniter = bound.roles.circuit.igniters[kind]
    limit = igniter.threshold_low
    largest = current.largest
    share = None if limit is None or largest is None else _share(largest, limit)
    if limit is None:
        reason = reason or f"igniter {kind!r} has no no-fire current"
    elif limit == 0.0:
        reason = reason or f"igniter {kind!r} may function at the hottest ambient without any current"
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
        decibels=-20.0 * math.log10(share) if share and limit else None,
        thermal_fraction=None if largest is None else highest_fraction(igniter, largest, None),
        reason=reason,
    )


def _share(current: float, limit: float) -> float:
    """Current over the no-fire current; next to infinite where the ambient alone may function the igniter."""
    return current / limit if limit > 0.0 else math.nextafter(math.inf, 0.0)
