"""Guaranteed bounds of function time: whatever neighbours do on the way, it is not earlier and not later."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from ignition.analyses.firing.on_state import OnState, firing_network, with_spent
from ignition.analyses.firing.schedule import conducting_before, may_have_started
from ignition.analyses.firing.sequence import turn_on
from ignition.circuit.model import ChannelModel, Circuit, IgniterModel
from ignition.findings.corner import Corner, corner_of
from ignition.network.template import igniter_names
from ignition.network.worst_case import Probe, extremes
from ignition.parts.igniter import function_time, thermal_fraction
from ignition.toleranced import Toleranced

__all__ = ["IgniterBounds", "igniter_bounds"]

_OPEN = 1e9
"""Resistance that stands for an opened neighbour in a bound [ohm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IgniterBounds:
    """Bounds of one igniter over the whole pulse.

    Attributes
    ----------
    earliest, latest : Function time from the driven pin [s]; infinite where it cannot, or need not, function; None
        where a statement is missing
    least_fraction, greatest_fraction : Thermal fraction at the end of the pulse [1], at most 1
    lowest_current : Lowest current until it functions, other channels and spent neighbours at their worst [A]
    corner : Where that stands
    highest_channel_current : Highest current of the channel during the pulse, spent bridges included [A]
    keys : Keys to give for a latest time
    """

    earliest: float | None
    latest: float | None
    least_fraction: float | None
    greatest_fraction: float | None
    lowest_current: float
    corner: Corner
    highest_channel_current: float
    reason: str | None
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Range:
    """Current bounds: at the start, and over everything that neighbours can become."""

    first_high: float
    during_low: float
    during_high: float
    channel_high: float
    corner: Corner
    fading: tuple[tuple[float, float], ...] = ()
    """With a capacitor bank: pairs of a time [s] and a current [A] that is not undercut before it."""


def igniter_bounds(
    circuit: Circuit,
    channel: ChannelModel,
    state: OnState,
    box: Mapping[str, Toleranced],
    overlapping: frozenset[str],
) -> list[IgniterBounds]:
    """Bound the function time of each igniter of a channel.

    Until the first function of all (not before ``first``, the earliest at the currents of the unfired cluster) no
    igniter carries more than its unfired highest current, every bridge anywhere between cold and its resistance at
    function; after it, not more than with each neighbour spent as well. The lowest current over the whole pulse is that
    with every neighbour at its worst. The earliest time and the greatest fraction take the least growth of resistance,
    the latest and the least the most. A neighbour in the same string that opens first ends the current: unless an
    igniter surely functions before any of them can, it need not function.

    Parameters
    ----------
    box : Firing parameters [SI]
    overlapping : Channels that may conduct at some time of this pulse, itself included

    Returns
    -------
    In the order of strings and positions
    """
    names = igniter_names(channel)
    ranges: dict[tuple[object, ...], tuple[int, int, _Range]] = {}
    found: list[tuple[str, IgniterModel, _Range]] = []
    for s, string in enumerate(channel.strings):
        for p, kind in enumerate(string):
            # igniters of one type in strings of one make-up see the same network: solve it once
            key = (kind, tuple(sorted(string)))
            if key not in ranges:
                ranges[key] = s, p, _range(circuit, channel, s, p, box, overlapping)
            first_s, first_p, span = ranges[key]
            swapped = {names[first_s][first_p]: names[s][p], names[s][p]: names[first_s][first_p]}
            branch, own = (f"{channel.name}.branch {i + 1}" for i in (first_s, s))
            swapped |= {branch: own, own: branch}
            ends = tuple((swapped.get(name, name), side) for name, side in span.corner.ends)
            found.append((names[s][p], circuit.igniters[kind], replace(span, corner=replace(span.corner, ends=ends))))
    first = _first_function(circuit, channel, found)
    delay = turn_on(circuit, circuit.channels.index(channel), state.gate_voltage.low, "high")
    result = [_bounds(channel, model, span, first, delay) for _, model, span in found]
    return _string_order(channel, found, result)


def _range(
    circuit: Circuit,
    channel: ChannelModel,
    string: int,
    position: int,
    box: Mapping[str, Toleranced],
    overlapping: frozenset[str],
) -> _Range:
    names = igniter_names(channel)
    own = names[string][position]
    current, through_switch = Probe(element=own), Probe(element=f"{channel.name}.mosfet")
    unfired, wide = dict(box), dict(box)
    for other in circuit.channels:
        for s, kinds in enumerate(other.strings):
            for name, kind in zip(igniter_names(other)[s], kinds, strict=True):
                model = circuit.igniters[kind]
                in_series = other is channel and s == string
                unfired[name] = model.heated
                wide[name] = model.heated if name == own else _fate(model, in_series)
    alone = firing_network(circuit, frozenset({channel.name}))
    first = extremes(alone, unfired, [current])[0]
    strongest, in_all = extremes(alone, wide, [current, through_switch])
    weakest = extremes(firing_network(circuit, overlapping), wide, [current])[0]
    spent = with_spent(circuit, box)
    if spent is not None:
        in_all = extremes(alone, spent, [through_switch])[0]
    return _Range(
        first_high=first.high,
        during_low=max(weakest.low, 0.0),
        during_high=strongest.high,
        channel_high=in_all.high,
        corner=corner_of(weakest, wide, circuit.ambient.low, high=False),
        fading=_fading(circuit, channel, own, wide, overlapping),
    )


_SHARES = (0.97, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)


def _fading(
    circuit: Circuit, channel: ChannelModel, own: str, wide: Mapping[str, Toleranced], overlapping: frozenset[str]
) -> tuple[tuple[float, float], ...]:
    """Currents that hold while the bank has lost no more than a share of its voltage, at the highest drain."""
    bank = circuit.battery.bank_capacitance
    if bank is None:
        return ()
    network = firing_network(circuit, overlapping)
    drain = -extremes(network, wide, [Probe(element="capacitor bank")])[0].low
    voltage = wide["bank.voltage"]
    before = sum(conducting_before(other, channel) for other in circuit.channels if other is not channel)
    pairs = []
    for share in _SHARES:
        time = (1.0 - share) * voltage.low * bank.low / drain - before if drain > 0 else math.inf
        lower = replace(voltage, low=share * voltage.low)
        found = extremes(network, {**wide, "bank.voltage": lower}, [Probe(element=own)])[0]
        pairs.append((time, found.low))
    return tuple(pairs)


def _latest(model: IgniterModel, span: _Range, slow: float, delay: float) -> float:
    """Latest function time; a bank must still hold the current that it is found with [s]."""
    assert model.threshold_high is not None

    def after(current: float) -> float:
        assert model.threshold_high is not None
        return delay + float(function_time(current, model.threshold_high, slow, 0.0, model.growth.high))

    if not span.fading:
        return after(span.during_low)
    return min((t for t, held in ((after(i), held) for held, i in span.fading) if t <= held), default=math.inf)


def _fate(model: IgniterModel, in_series: bool) -> Toleranced:
    """Everything a neighbour's resistance can be during the pulse; an open one in the own string is left to timing."""
    low, high = model.heated.low, model.heated.high
    if model.spent_resistance is not None:
        low, high = min(low, model.spent_resistance.low), max(high, model.spent_resistance.high)
    elif not in_series:
        high = _OPEN
    return replace(model.resistance, low=low, high=high)


def _first_function(circuit: Circuit, channel: ChannelModel, found: list[tuple[str, IgniterModel, _Range]]) -> float:
    """Earliest instant at which any neighbour can have functioned, from this channel's driven pin [s]."""
    # another channel that fires before or with this one may relieve or load the battery at any time
    others = any(may_have_started(other, channel) for other in circuit.channels if other is not channel)
    earliest = 0.0 if others else math.inf
    for _, model, span in found:
        if model.threshold_low is None or model.time_constant.fast is None:
            return 0.0
        earliest = min(earliest, _alone(model, span, model.time_constant.fast))
    return earliest


def _bounds(channel: ChannelModel, model: IgniterModel, span: _Range, first: float, delay: float) -> IgniterBounds:
    earliest = greatest = latest = least = None
    reason = None
    fast, slow = model.time_constant.fast, model.time_constant.slow
    if model.threshold_low is not None and fast is not None:
        earliest = _two_steps(model, span, first, fast)
        greatest = _fraction(span.during_high, model.threshold_low, fast, channel.pulse.high, model.growth.low)
    else:
        reason = "no no-fire current is given"
    if model.threshold_high is not None and slow is not None:
        latest = _latest(model, span, slow, delay)
        least = _fraction(span.during_low, model.threshold_high, slow, channel.pulse.low - delay, model.growth.high)
        if math.isinf(latest):
            reason = "the lowest current does not exceed the highest threshold"
            if span.fading:
                least = 0.0
                reason = "the lowest current does not function it before the capacitor bank may have run down"
    else:
        reason = "no all-fire current is given"
    return IgniterBounds(
        earliest=earliest,
        latest=latest,
        least_fraction=least,
        greatest_fraction=greatest,
        lowest_current=span.during_low,
        corner=span.corner,
        highest_channel_current=span.channel_high,
        reason=reason,
        keys=(f"igniter.{model.name}.all_fire",) if latest is None else (),
    )


def _fraction(current: float, threshold: float, time_constant: float, time: float, growth: float) -> float:
    return min(float(thermal_fraction(current, threshold, time_constant, max(time, 0.0), 0.0, growth)), 1.0)


def _alone(model: IgniterModel, span: _Range, fast: float) -> float:
    """Earliest function of an igniter at the highest current of the unfired cluster [s]."""
    assert model.threshold_low is not None
    return float(function_time(span.first_high, model.threshold_low, fast, 0.0, model.growth.low))


def _two_steps(model: IgniterModel, span: _Range, first: float, fast: float) -> float:
    """Earliest function: the unfired current until the first function of all, then the highest one."""
    assert model.threshold_low is not None
    if math.isinf(first):
        return first
    reached = _fraction(span.first_high, model.threshold_low, fast, first, model.growth.low)
    return first + float(function_time(span.during_high, model.threshold_low, fast, reached, model.growth.low))


def _string_order(
    channel: ChannelModel, found: list[tuple[str, IgniterModel, _Range]], bounds: list[IgniterBounds]
) -> list[IgniterBounds]:
    """Withdraw the latest time where a neighbour in the same string may open before it, or at a time not known."""
    result: list[IgniterBounds] = []
    index = 0
    for string in channel.strings:
        members = range(index, index + len(string))
        index += len(string)
        for i in members:
            own = bounds[i]
            others = [j for j in members if j != i and found[j][1].spent == "open"]
            soonest = min((t for j in others if (t := bounds[j].earliest) is not None), default=math.inf)
            unknown = [found[j][1].name for j in others if bounds[j].earliest is None]
            late = own.latest is not None and math.isfinite(own.latest)
            if math.isfinite(soonest) and (own.latest is None or own.latest >= soonest):
                own = replace(
                    own,
                    latest=None if own.latest is None else math.inf,
                    least_fraction=None if own.least_fraction is None else 0.0,
                    reason="a neighbour in its string may open before it functions" if late else own.reason,
                )
            elif unknown and late:
                own = replace(
                    own,
                    latest=None,
                    least_fraction=None,
                    reason=f"igniter {unknown[0]!r} in its string has no no-fire current: it may open at any time",
                    keys=tuple(f"igniter.{name}.no_fire" for name in dict.fromkeys(unknown)),
                )
            result.append(own)
    return result
