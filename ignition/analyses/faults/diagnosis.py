"""What readings can mean: line states and single faults that give them, and the measurement that tells most apart."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from ignition.analyses.continuity.bands import NO_REFERENCE, reference_voltage
from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.continuity.thresholds import integer_codes, runs
from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.fault import left_out, single_faults
from ignition.analyses.faults.faults import faults
from ignition.analyses.faults.readings import Measurement, inputs, node_voltages, read
from ignition.analyses.faults.results import FaultClass
from ignition.analyses.faults.situations import Situation, situations
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.network.linear import Indices
from ignition.network.template import drain, line_back, line_out
from ignition.toleranced import Toleranced
from ignition.typing import BARE, BoolArray, FloatArray, Key, Missing, Ratio

__all__ = ["Candidate", "Diagnosis", "Group", "NextMeasurement", "diagnose"]

_NOTHING = "nothing broken"
_SUFFIXES = {"drain": "", "bus": ".bus", "drain pulled up": ".pull-up"}
"""What is added to a channel's name in the name of a reading, by what is read."""

_RANK: tuple[FaultClass, ...] = ("hazardous", "not solved", "not judged", "dud", "latent", "detected", "harmless")
"""Classes, the worst first."""

_SHOWN = 3
"""Next measurements that are told [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """Single fault that gives the readings, or none.

    Attributes
    ----------
    kind : Its worst class over all phases, and the phases in which it is that; empty where nothing is broken
    share : Highest current over limit in those phases
    codes : Lowest and highest integer code of each reading that was given
    """

    fault: str
    kind: Annotated[str, Key("class")]
    phases: tuple[str, ...]
    share: Annotated[Ratio | None, Missing(otherwise="there is no limit above zero, or nothing is broken")]
    codes: Annotated[Mapping[str, tuple[int, int]], BARE]


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Candidates that a measurement does not tell apart.

    Attributes
    ----------
    low, high : What it gives for them [`unit`]
    """

    low: float
    high: float
    unit: str
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextMeasurement:
    """A measurement that has not been given.

    Attributes
    ----------
    separates : Share of the pairs of candidates, one hazardous and one not counting double, that it tells apart [1]
    """

    what: str
    phase: str
    separates: Annotated[Ratio, BARE]
    groups: tuple[Group, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """What readings can mean.

    Attributes
    ----------
    readings : What was given, by channel, or channel and ``bus`` [LSB]
    states : Line states of each channel that give its reading; absent where the phase has none
    candidates : Single faults that give all readings, the worst first; the circuit file leaves none of them out
    left_out : Which of them the file leaves out
    """

    circuit: str
    phase: str
    readings: Annotated[Mapping[str, int], BARE]
    states: Mapping[str, tuple[str, ...]]
    candidates: tuple[Candidate, ...]
    next: tuple[NextMeasurement, ...]
    left_out: tuple[str, ...]

    @property
    def healthy(self) -> bool:
        """Whether a circuit in which nothing is broken gives the readings."""
        return any(candidate.fault == _NOTHING for candidate in self.candidates)


def diagnose(
    circuit: Circuit, readings: Mapping[str, int], *, battery: Toleranced | None = None, phase: str = "armed"
) -> Diagnosis:
    """Return what readings can mean, with one fault at most.

    Raises InputError for a channel or phase that does not exist, a code beyond the converter's range, a phase without a
    controller that is alive, and a battery voltage beyond that of the file.

    Parameters
    ----------
    readings : Integer code at each channel's drain, by the channel's name; at its bus divider by ``name.bus``, at the
        drain while a pin pulls it up by ``name.pull-up`` [1]
    battery : Battery voltage at rest, where it was measured [V]
    phase : ``disarmed``, ``reset`` or ``armed``

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> found = diagnose(load_example("kelp-line-cutter"), {"line": 0})
    >>> found.healthy, "line.lead out open" in [candidate.fault for candidate in found.candidates]
    (False, True)
    """
    out = left_out(circuit)
    circuit = _with_every_fault(circuit if battery is None else _measured(circuit, battery))
    bench = Bench.of(circuit, _alive(circuit), single_faults(circuit))
    asked = _asked(circuit, bench, readings, phase)
    picks = np.array([-1, *range(len(bench.faults))])[:, None]
    found = [read(bench, number, picks, [one]) for number, one, _ in asked]
    low, high = (np.concatenate(ends, axis=1) for ends in zip(*(one.codes for one in found), strict=True))
    codes = np.array([code for _, _, code in asked])
    fits = ((low <= codes) & (codes <= high)).all(axis=1) & ~found[0].silent
    kept = np.flatnonzero(fits)
    names = list(readings)
    judged = _judged(circuit)
    candidates = [
        _candidate(
            bench, picks[row, 0], judged, {n: (int(low[row, k]), int(high[row, k])) for k, n in enumerate(names)}
        )
        for row in kept
    ]
    order = sorted(range(len(candidates)), key=lambda k: _order(candidates[k]))
    ranked = [candidates[k] for k in order]
    dangerous = np.array([candidate.kind == "hazardous" for candidate in ranked], dtype=bool)
    return Diagnosis(
        circuit=circuit.name,
        phase=phase,
        readings=dict(readings),
        states=_states(circuit, readings) if phase == "armed" else {},
        candidates=tuple(ranked),
        next=_next(bench, picks[kept[order]], ranked, dangerous, [one for _, one, _ in asked]),
        left_out=tuple(one.fault for one in ranked if one.fault in out),
    )


def _alive(circuit: Circuit) -> tuple[Situation, ...]:
    return tuple(s for s in situations(circuit) if s.controller == "alive" and not s.woken and s.phase != "firing")


def _with_every_fault(circuit: Circuit) -> Circuit:
    """The circuit without faults left out: a reading is of the box as it is, not as its file says that it is."""
    faults_of = circuit.given.faults.model_copy(update={"off": []})
    return replace(circuit, given=circuit.given.model_copy(update={"faults": faults_of}))


def _measured(circuit: Circuit, battery: Toleranced) -> Circuit:
    """The circuit on a battery whose voltage is known better."""
    given = circuit.battery.voltage
    low, high = max(battery.low, given.low), min(battery.high, given.high)
    if low > high:
        raise InputError(
            f"the battery was measured at {battery}, the file says {given}: they cannot both hold; write the battery "
            "that is fitted, or measure it at rest"
        )
    usual = min(max(battery.nominal, low), high)
    voltage = Toleranced(low=low, nominal=usual, high=high, unit="V")
    return replace(circuit, battery=replace(circuit.battery, voltage=voltage))


def _asked(
    circuit: Circuit, bench: Bench, readings: Mapping[str, int], phase: str
) -> list[tuple[int, Measurement, int]]:
    """Number of the situation, measurement and code of each reading."""
    if not readings:
        raise InputError("give a reading, for example: --reading CHANNEL=1234")
    here = bench.numbers(phase)
    if phase not in ("disarmed", "reset", "armed"):
        raise InputError(f"a reading is taken while disarmed, reset or armed; received {phase!r}")
    if not len(here):
        raise InputError(
            f"the controller has no supply while {phase}, so that nothing is read there; give --phase armed"
        )
    if reference_voltage(circuit).low <= 0.0:
        raise InputError(NO_REFERENCE)
    known = {
        one.channel + _SUFFIXES[one.what]: (int(number), one)
        for number in here
        for one in inputs(bench, bench.situations[number])
    }
    top = 2**circuit.controller.adc.bits - 1
    found = []
    for name, code in readings.items():
        if name not in known:
            raise InputError(f"nothing is read as {name!r}; there are: {', '.join(known)}")
        if not 0 <= code <= top:
            raise InputError(f"a code of this converter is 0 to {top}; received {name}={code}")
        found.append((*known[name], code))
    return found


def _states(circuit: Circuit, readings: Mapping[str, int]) -> dict[str, tuple[str, ...]]:
    """Line states of each channel that give its reading."""
    found = {}
    for channel in continuity(circuit).channels:
        if channel.channel in readings:
            code = readings[channel.channel]
            spans = {one.state: integer_codes(one.band.code) for one in channel.readings}
            found[channel.channel] = tuple(s for s, span in spans.items() if span and span[0] <= code <= span[1])
    return found


_Judged = Mapping[str, tuple[FaultClass, tuple[str, ...], float | None]]


def _judged(circuit: Circuit) -> _Judged:
    """Worst class of each single fault, the phases of it, and the highest share of the limit there."""
    found: dict[str, dict[FaultClass, list[tuple[str, float]]]] = {}
    for phase in faults(circuit).phases:
        for row in phase.faults:
            if len(row.faults) == 1:
                places = found.setdefault(row.faults[0], {}).setdefault(row.kind, [])
                places.append((phase.phase, -1.0 if row.share is None else row.share))
    judged = {}
    for name, kinds in found.items():
        kind = min(kinds, key=_RANK.index)
        share = max(share for _, share in kinds[kind])
        judged[name] = (kind, tuple(phase for phase, _ in kinds[kind]), None if share < 0.0 else share)
    return judged


def _candidate(bench: Bench, pick: int, judged: _Judged, codes: Mapping[str, tuple[int, int]]) -> Candidate:
    if pick < 0:
        return Candidate(fault=_NOTHING, kind="", phases=(), share=None, codes=codes)
    name = bench.faults[pick].name
    kind, phases, share = judged[name]
    return Candidate(fault=name, kind=kind, phases=phases, share=share, codes=codes)


def _order(candidate: Candidate) -> tuple[int, float, str]:
    """Hazardous ones first, those of the highest share first, rounding aside; nothing broken last."""
    rank = len(_RANK) if candidate.fault == _NOTHING else _RANK.index(candidate.kind)
    return rank, -round(candidate.share or 0.0, 9), candidate.fault


def _next(
    bench: Bench, picks: Indices, candidates: Sequence[Candidate], dangerous: BoolArray, given: Sequence[Measurement]
) -> tuple[NextMeasurement, ...]:
    """Measurements that tell most pairs of candidates apart; a pair of which one is hazardous counts double."""
    if len(candidates) < 2:
        return ()
    weight = 1.0 + (dangerous[:, None] != dangerous[None, :])
    total = float(np.triu(weight, 1).sum())
    found = []
    for what, phase, unit, low, high in _possible(bench, picks, given):
        apart = (high[:, None] < low[None, :]) | (high[None, :] < low[:, None])
        share = float(np.triu(weight * apart, 1).sum()) / total
        if share > 0.0:
            names = [candidate.fault for candidate in candidates]
            groups = tuple(_group(low, high, unit, names, run) for run in runs(low, high))
            found.append(NextMeasurement(what=what, phase=phase, separates=share, groups=groups))
    return tuple(sorted(found, key=lambda one: -one.separates)[:_SHOWN])


def _possible(
    bench: Bench, picks: Indices, given: Sequence[Measurement]
) -> Iterator[tuple[str, str, str, FloatArray, FloatArray]]:
    """Converter readings that were not given, and voltages for a voltmeter: what, phase, unit, bounds."""
    circuit = bench.circuit
    places = {"bus": "the bus, after the arm switch"}
    for channel in circuit.channels:
        places |= {
            drain(channel): f"the drain of {channel.name}",
            line_out(channel): f"the wire out of {channel.name}, at the igniters",
            line_back(channel): f"the wire back of {channel.name}, at the igniters",
        }
    for number, situation in enumerate(bench.situations):
        if situation.phase == "reset":
            continue
        asked = [one for one in inputs(bench, situation) if one not in given]
        readings = read(bench, number, picks, asked, starts=1)
        lows, highs = readings.codes
        for column, one in enumerate(asked):
            low, high = (
                np.where(readings.silent, end, v) for end, v in ((0.0, lows[:, column]), (0.0, highs[:, column]))
            )
            yield f"converter, {one.name}", situation.phase, "1", low, high
        if situation.tested:
            continue
        members = Members.each([number], picks)
        for node, words in places.items():
            low, _, high = node_voltages(bench, members, node, None, starts=1)
            # what is not solved may be anything; two millivolts are no difference to a voltmeter
            low, high = np.where(np.isnan(low), -np.inf, low - 1e-3), np.where(np.isnan(high), np.inf, high + 1e-3)
            yield f"voltmeter, {words}", situation.phase, "V", low, high


def _group(low: FloatArray, high: FloatArray, unit: str, names: Sequence[str], members: Sequence[int]) -> Group:
    return Group(
        low=float(low[members].min()),
        high=float(high[members].max()),
        unit=unit,
        faults=tuple(names[k] for k in sorted(members)),
    )
