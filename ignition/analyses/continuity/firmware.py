"""Firmware constants: codes with dead bands, ratios, readings to average, waits, longest test pulse."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated

from ignition.analyses.continuity.continuity import ChannelContinuity, Continuity
from ignition.analyses.continuity.macro_names import macro_prefixes
from ignition.analyses.continuity.second_parts import SecondMeasurement
from ignition.analyses.continuity.second_pulse import on_resistance
from ignition.analyses.continuity.thresholds import Group, Threshold, groups_of
from ignition.analyses.continuity.waits import Waits, waits
from ignition.analyses.no_fire.gate import phase_box
from ignition.analyses.no_fire.heating import longest_pulse
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.template import State, build_network
from ignition.network.worst_case import Probe, extremes
from ignition.toleranced import Spread, Toleranced
from ignition.typing import HIDDEN, INLINE, Key, Missing, Ratio, Seconds

__all__ = ["Boundary", "ChannelFirmware", "Firmware", "NoThreshold", "RatioBoundary", "firmware"]

MISREAD = 4.753424
"""Standard deviations beyond which a normal noise misreads one average in a million, one-sided [1]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RatioBoundary:
    """Boundary in the ratio of the drain reading to the bus reading.

    Attributes
    ----------
    below_highest, above_lowest : Between them lies the dead band
    """

    threshold: Ratio
    below_highest: Ratio
    above_lowest: Ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class Boundary:
    """Border between two groups of line states.

    Attributes
    ----------
    below, above : States that read below and from the code on
    code : First code that counts as above [LSB]
    below_highest, above_lowest : Codes at the edges of the dead band [LSB]: a reading between them comes from no
        described state
    ratio : The same as ratio to the bus reading
    samples : Readings to average so that noise misreads at most one in a million
    """

    below: tuple[str, ...]
    above: tuple[str, ...]
    code: int
    below_highest: int
    above_lowest: int
    ratio: Annotated[RatioBoundary | None, Key("ratio_to_bus")]
    ratio_reason: str | None
    samples: Annotated[int | None, Missing(field="samples_reason")]
    samples_reason: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NoThreshold:
    """Pair of states without a threshold."""

    states: tuple[str, str]
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelFirmware:
    """Constants of one channel.

    Attributes
    ----------
    prefix : Beginning of the channel's macro names
    groups : States that read alike, in rising order of code
    boundaries : Borders between neighbouring groups
    pairs : Threshold of every pair that can be told apart
    longest_test_pulse : Longest MOSFET pulse that heats no igniter beyond a hundredth of its way to function
    firing_pulse : Firing pulse of the file
    """

    channel: str
    prefix: str
    groups: tuple[Group, ...]
    boundaries: tuple[Boundary, ...]
    pairs: Annotated[tuple[Threshold, ...], Key("thresholds")]
    missing: Annotated[tuple[NoThreshold, ...], Key("no_threshold")]
    waits: Annotated[Waits, INLINE]
    longest_test_pulse: Annotated[Seconds | None, Missing(field="pulse_reason")]
    pulse_reason: Annotated[str | None, HIDDEN]
    firing_pulse: Seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Firmware:
    """Firmware constants of a circuit.

    Attributes
    ----------
    title, circuit, digest : Title, file name and digest of the circuit file
    noise : Noise that the numbers of readings stand for [LSB]
    """

    title: str
    circuit: str
    digest: str
    bits: Annotated[int, Key("adc_bits")]
    noise: Ratio
    channels: tuple[ChannelFirmware, ...]
    assumptions: tuple[str, ...]


def firmware(circuit: Circuit, result: Continuity) -> Firmware:
    """Derive the firmware's constants from the continuity analysis.

    Returns
    -------
    Codes, dead bands, ratios, waits; nothing for pairs whose bands overlap
    """
    prefixes = macro_prefixes(analysed.channel for analysed in result.channels)
    return Firmware(
        title=circuit.title,
        circuit=circuit.name,
        digest=circuit.digest,
        bits=circuit.controller.adc.bits,
        noise=circuit.controller.adc.noise,
        channels=tuple(_channel(circuit, analysed, prefixes[analysed.channel]) for analysed in result.channels),
        assumptions=tuple(sorted({a.key for a in circuit.assumptions})),
    )


def _channel(circuit: Circuit, analysed: ChannelContinuity, prefix: str) -> ChannelFirmware:
    channel = circuit.channel(analysed.channel)
    groups = groups_of(analysed.readings)
    pulse, reason = _longest_test_pulse(circuit, channel)
    return ChannelFirmware(
        channel=channel.name,
        prefix=prefix,
        groups=groups,
        boundaries=tuple(_boundary(circuit, analysed, one, two) for one, two in pairwise(groups)),
        pairs=analysed.thresholds,
        missing=_missing(analysed),
        waits=waits(circuit, channel, max(float(r.band.code.high or 0.0) for r in analysed.readings)),
        longest_test_pulse=pulse,
        pulse_reason=reason,
        firing_pulse=channel.pulse.nominal,
    )


def _missing(analysed: ChannelContinuity) -> tuple[NoThreshold, ...]:
    found = []
    for one, two in analysed.cannot_tell_apart:
        first, second = (analysed.reading(s).band.code for s in (one, two))
        reason = (
            f"bands overlap: {one} reads {first.low:.1f} to {first.high:.1f}, {two} reads {second.low:.1f} to "
            f"{second.high:.1f}"
        )
        helps = [m.name for m in analysed.separated_by((one, two))]
        found.append(
            NoThreshold(states=(one, two), reason=reason + (f"; separated by: {', '.join(helps)}" if helps else ""))
        )
    found += [
        NoThreshold(states=(r.state, "every other state"), reason=r.band.code.reason or "no reading")
        for r in analysed.readings
        if r.band.code.low is None
    ]
    return tuple(found)


def _boundary(circuit: Circuit, analysed: ChannelContinuity, below: Group, above: Group) -> Boundary:
    code = below.highest_code + 1 + (above.lowest_code - below.highest_code - 1) // 2
    ratio, ratio_reason = _ratio(analysed.second, below, above)
    noise = circuit.controller.adc.noise
    samples: int | None = None
    reason: str | None = "no converter noise is given (controller.adc.noise)"
    if noise > 0.0:
        room = min(code - 0.5 - below.highest_code, above.lowest_code - code + 0.5)
        samples, reason = max(1, math.ceil((MISREAD * noise / room) ** 2)), None
    return Boundary(
        below=below.states,
        above=above.states,
        code=code,
        below_highest=below.highest_code,
        above_lowest=above.lowest_code,
        ratio=ratio,
        ratio_reason=ratio_reason,
        samples=samples,
        samples_reason=reason,
    )


def _ratio(second: Sequence[SecondMeasurement], below: Group, above: Group) -> tuple[RatioBoundary | None, str | None]:
    measured = next((m for m in second if m.name == "drain reading over bus reading"), None)
    if measured is None:
        return None, "the circuit file describes no bus divider (channel.second.bus_divider)"
    values = {r.state: r.value for r in measured.readings}
    # a bus that is not armed has no ratio: firmware reads the bus first
    lower = [values[s] for s in below.states if s != "not armed"]
    upper = [values[s] for s in above.states if s != "not armed"]
    if not lower or not upper:
        return None, "the bus itself tells these states apart"
    one, two = Spread.hull(lower), Spread.hull(upper)
    if one.high is None or two.low is None:
        return None, one.reason or two.reason
    if one.high >= two.low:
        return None, f"the ratios overlap: {one.high:.4g} against {two.low:.4g}"
    return RatioBoundary(threshold=0.5 * (one.high + two.low), below_highest=one.high, above_lowest=two.low), None


def _longest_test_pulse(circuit: Circuit, channel: ChannelModel) -> tuple[float | None, str | None]:
    """Longest pulse of the MOSFET that stays far below no-fire, with the strongest battery and one string open."""
    resistance = on_resistance(circuit, channel)
    box = phase_box(circuit, "armed")
    # an unknown on-resistance only lowers the current: 0 ohm bounds it
    box[f"{channel.name}.mosfet"] = resistance or Toleranced.exact(0.0, "ohm")
    currents: dict[str, float] = {}
    states = [State(phase="armed", commanded=frozenset({channel.name}))]
    if len(channel.strings) > 1:
        states += [_one_open(channel, index, frozenset({channel.name})) for index in range(len(channel.strings))]
    for state in states:
        network = build_network(circuit, state)
        names = [n for n in network.igniters if n.startswith(f"{channel.name}.igniter ")]
        for name, found in zip(names, extremes(network, box, [Probe(element=n) for n in names]), strict=True):
            currents[name] = max(currents.get(name, 0.0), abs(found.low), abs(found.high))
    return longest_pulse(circuit, channel, currents)


def _one_open(channel: ChannelModel, string: int, commanded: frozenset[str]) -> State:
    """The armed state with one string of a channel open and some channels commanded."""
    return State(
        phase="armed", lines={channel.name: "one string open"}, open_strings=frozenset({string}), commanded=commanded
    )
