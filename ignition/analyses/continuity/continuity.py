"""Continuity test: what flows through the igniters, what the converter reads, and what that reading proves."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.continuity.bands import LineReading, line_reading, string_readings
from ignition.analyses.continuity.second_measurement import second_measurements
from ignition.analyses.continuity.second_parts import SecondMeasurement
from ignition.analyses.continuity.thresholds import Threshold, overlapping, overlapping_pairs, pair_thresholds
from ignition.analyses.continuity.unseen import current_when_fired, largest_resistance
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.template import igniter_names, line_states
from ignition.toleranced import Toleranced
from ignition.typing import HIDDEN, Amps, Key, Missing, Ohms, Ratio

__all__ = ["ChannelContinuity", "Continuity", "OPEN_READS", "Separation", "UNLIMITED", "Unseen", "continuity"]

OPEN_READS = "even an open line gives such a reading"
"""Why no resistance is too large to be seen."""

UNLIMITED = "no resistance limits it"
"""Why a current is infinite."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unseen:
    """What can hide behind a reading.

    Attributes
    ----------
    code : A reading from this code on counts as intact [LSB]; None where no such code exists
    series_resistance : Largest series resistance that can still give such a reading; None where even an open line can
    current_when_fired : Highest current that flows when fired through it
    leak : Largest resistance across open terminals that can give such a reading; None where an open line needs none
    """

    code: Annotated[int | None, Missing(otherwise="there is no such code")]
    series_resistance: Ohms | None
    current_when_fired: Annotated[Amps | None, Missing(infinite=UNLIMITED)]
    leak: Ohms | None

    @property
    def reason(self) -> str:
        """Why a number is missing."""
        return "there is no such code" if self.code is None else OPEN_READS


@dataclass(frozen=True, slots=True, kw_only=True)
class Separation:
    """Second measurements that tell two states apart which the reading cannot."""

    states: tuple[str, str]
    measurements: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelContinuity:
    """Continuity of one channel.

    Attributes
    ----------
    strings_open : For a cluster, one for each single string open
    thresholds : Codes for the pairs that can be told apart
    largest_unseen_resistance : Largest series resistance whose reading can still lie in the intact band; None where
        even an open line can
    current_when_fired : Highest current that would flow when fired through that resistance
    largest_leak_read_as_intact : Largest resistance across open terminals whose reading can lie in the intact band
    above_threshold : The same three for firmware that takes every reading from the threshold between open and intact on
        as intact
    one_string_open_seen : For a cluster: whether every single open string can be told from all intact; None for a
        single string
    no_fire_margin : Lowest no-fire threshold over the highest igniter current of the intact line; one open string
        leaves the others more, which `no_fire` takes into account
    """

    channel: str
    readings: Annotated[tuple[LineReading, ...], Key("line_states")]
    strings_open: tuple[LineReading, ...]
    cannot_tell_apart: tuple[tuple[str, str], ...]
    thresholds: tuple[Threshold, ...]
    largest_unseen_resistance: Annotated[Ohms | None, Missing(otherwise=OPEN_READS)]
    current_when_fired: Annotated[Amps | None, Missing(otherwise=UNLIMITED, infinite=UNLIMITED)]
    largest_leak_read_as_intact: Annotated[Ohms | None, Missing(otherwise=OPEN_READS)]
    above_threshold: Unseen
    one_string_open_seen: Annotated[bool | None, Missing(otherwise="the channel has one string only")]
    no_fire_margin: Annotated[Ratio | None, Missing(field="no_fire_reason")]
    no_fire_reason: Annotated[str | None, HIDDEN]
    second: Annotated[tuple[SecondMeasurement, ...], Key("second_measurements")]

    @property
    def separations(self) -> Annotated[tuple[Separation, ...], Key("separated_by")]:
        """What separates each pair of states that read alike."""
        return tuple(
            Separation(states=pair, measurements=tuple(m.name for m in self.separated_by(pair)))
            for pair in self.cannot_tell_apart
        )

    def reading(self, state: str) -> LineReading:
        """Return the reading of a line state."""
        return next(r for r in self.readings if r.state == state)

    def separated_by(self, pair: tuple[str, str]) -> tuple[SecondMeasurement, ...]:
        """Return the second measurements that tell two states apart.

        Returns
        -------
        Those that do, of all that the file describes
        """
        return tuple(m for m in self.second if pair in m.separates or pair[::-1] in m.separates)


@dataclass(frozen=True, slots=True, kw_only=True)
class Continuity:
    """Continuity of all channels of a circuit."""

    circuit: str
    channels: tuple[ChannelContinuity, ...]


def continuity(circuit: Circuit) -> Continuity:
    """Analyse the continuity test of every channel.

    Bounds are exact corners of the armed network for each line state, with the other channels intact and open.

    Returns
    -------
    Igniter currents, converter bands, thresholds, what they prove, second measurements
    """
    box = phase_box(circuit, "armed")
    return Continuity(circuit=circuit.name, channels=tuple(_channel(circuit, c, box) for c in circuit.channels))


def _channel(circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced]) -> ChannelContinuity:
    strings = string_readings(circuit, channel, box)
    readings = tuple(line_reading(circuit, channel, state, box) for state in line_states(channel))
    intact = readings[0]
    thresholds = pair_thresholds(readings)
    lowest = intact.band.code.low
    unseen = _unseen(circuit, channel, box, lowest)
    code = next((t.code for t in thresholds if (t.below, t.above) == ("open", "intact")), None)
    margin, reason = _no_fire_margin(circuit, channel, readings)
    return ChannelContinuity(
        channel=channel.name,
        readings=readings,
        strings_open=strings,
        cannot_tell_apart=overlapping_pairs([(r.state, r.band.code) for r in readings]),
        thresholds=thresholds,
        largest_unseen_resistance=unseen.series_resistance,
        current_when_fired=unseen.current_when_fired,
        largest_leak_read_as_intact=unseen.leak,
        above_threshold=_unseen(circuit, channel, box, code),
        one_string_open_seen=(
            None if not strings else not any(overlapping(intact.band.code, s.band.code) for s in strings)
        ),
        no_fire_margin=margin,
        no_fire_reason=reason,
        second=second_measurements(circuit, channel),
    )


def _unseen(
    circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced], limit: float | int | None
) -> Unseen:
    """What can read at or above a code."""
    code = limit if isinstance(limit, int) else None
    if limit is None:
        return Unseen(code=code, series_resistance=None, current_when_fired=None, leak=None)
    series = largest_resistance(circuit, channel, box, limit, series=True)
    return Unseen(
        code=code,
        series_resistance=series,
        current_when_fired=None if series is None else current_when_fired(circuit, channel, series),
        leak=largest_resistance(circuit, channel, box, limit, series=False),
    )


def _no_fire_margin(
    circuit: Circuit, channel: ChannelModel, readings: tuple[LineReading, ...]
) -> tuple[float | None, str | None]:
    margin = math.inf
    kinds = dict(
        zip(
            (n for string in igniter_names(channel) for n in string),
            (k for string in channel.strings for k in string),
            strict=True,
        )
    )
    for reading in readings:
        if reading.state != "intact":
            continue
        for name, current in reading.igniters.items():
            limit = circuit.igniters[kinds[name]].threshold_low
            if limit is None:
                return None, f"igniter {kinds[name]!r} has no no-fire current"
            if limit == 0.0:
                return None, f"igniter {kinds[name]!r} may function at the hottest ambient without any current"
            assert current.largest is not None
            margin = min(margin, limit / current.largest if current.largest > 0 else math.inf)
    return (margin, None) if math.isfinite(margin) else (None, "no current flows")
