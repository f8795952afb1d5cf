"""Continuity test: what flows through the igniters, what the converter reads, and which line states it can tell apart."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ignition.analyses.gate import controller_rail, phase_box
from ignition.analyses.results import Spread
from ignition.circuit.extremes import NEGLIGIBLE, Extreme, Probe, extremes
from ignition.circuit.model import ChannelModel, Circuit
from ignition.circuit.nodal import solve
from ignition.circuit.states import (
    LEAKING,
    State,
    adc_pin,
    build_network,
    igniter_names,
    line_states,
)
from ignition.parts.sense import settling_error, thevenin_resistance
from ignition.toleranced import Toleranced

__all__ = [
    "AdcBand",
    "ChannelContinuity",
    "Continuity",
    "LineReading",
    "Threshold",
    "adc_band",
    "continuity",
    "reference_voltage",
]

_LARGEST = 1e9
"""Series resistance beyond which a line counts as open [ohm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AdcBand:
    """Converter reading of one state.

    Attributes
    ----------
    code : Spread
        Reading before rounding [LSB], all error terms included, held to the converter's range.
    voltage : Spread
        Voltage at the pin [V].
    terms : tuple of (str, float)
        Half width of each error term [LSB], largest first.
    """

    code: Spread
    voltage: Spread
    terms: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineReading:
    """What one line state gives.

    Attributes
    ----------
    state : str
        Line state.
    igniter_current : Spread
        Current through an igniter, the bounds over all connected igniters of the channel [A].
    igniters : mapping of str to Spread
        The same for each igniter [A].
    band : AdcBand
        Converter reading.
    """

    state: str
    igniter_current: Spread
    igniters: Mapping[str, Spread]
    band: AdcBand


@dataclass(frozen=True, slots=True, kw_only=True)
class Threshold:
    """Integer code that separates two states: readings below it are `below`, from it on `above` [LSB]."""

    below: str
    above: str
    code: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelContinuity:
    """Continuity of one channel.

    Attributes
    ----------
    channel : str
        Name.
    readings : tuple of LineReading
        One for each line state.
    cannot_tell_apart : tuple of (str, str)
        Pairs of states whose bands overlap.
    thresholds : tuple of Threshold
        Codes for the pairs that can be told apart.
    largest_unseen_resistance : float or None
        Largest series resistance whose reading can still lie in the intact band [ohm]; None where even an open line
        can.
    current_when_fired : float or None
        Highest current that would flow when fired through that resistance [A].
    largest_leak_read_as_intact : float or None
        Largest resistance across open terminals whose reading can lie in the intact band [ohm].
    no_fire_margin : float or None
        Lowest no-fire threshold over the highest igniter current of the intact line and, in a cluster, of one string
        open [1].
    no_fire_reason : str or None
        Why the margin is missing.
    """

    channel: str
    readings: tuple[LineReading, ...]
    cannot_tell_apart: tuple[tuple[str, str], ...]
    thresholds: tuple[Threshold, ...]
    largest_unseen_resistance: float | None
    current_when_fired: float | None
    largest_leak_read_as_intact: float | None
    no_fire_margin: float | None
    no_fire_reason: str | None

    def reading(self, state: str) -> LineReading:
        """Return the reading of a line state.

        Parameters
        ----------
        state : str
            Line state.

        Returns
        -------
        LineReading
            The reading.
        """
        return next(r for r in self.readings if r.state == state)


@dataclass(frozen=True, slots=True, kw_only=True)
class Continuity:
    """Continuity of all channels of a circuit."""

    circuit: str
    channels: tuple[ChannelContinuity, ...]


def continuity(circuit: Circuit) -> Continuity:
    """Analyse the continuity test of every channel.

    Parameters
    ----------
    circuit : Circuit
        The complete circuit.

    Returns
    -------
    Continuity
        Igniter currents, converter bands, thresholds.

    Notes
    -----
    Bounds are exact corners of the armed network for each line state, with the other channels intact and open.
    """
    return Continuity(circuit=circuit.name, channels=tuple(_channel(circuit, c) for c in circuit.channels))


def _channel(circuit: Circuit, channel: ChannelModel) -> ChannelContinuity:
    box = phase_box(circuit, "armed")
    readings = tuple(_reading(circuit, channel, state, box) for state in line_states(channel))
    intact = readings[0]
    unseen = _largest_resistance(circuit, channel, box, intact, series=True)
    leak = _largest_resistance(circuit, channel, box, intact, series=False)
    margin, reason = _no_fire_margin(circuit, channel, readings)
    return ChannelContinuity(
        channel=channel.name,
        readings=readings,
        cannot_tell_apart=_overlaps(readings),
        thresholds=_thresholds(readings),
        largest_unseen_resistance=unseen,
        current_when_fired=None if unseen is None else _current_when_fired(circuit, channel, unseen),
        largest_leak_read_as_intact=leak,
        no_fire_margin=margin,
        no_fire_reason=reason,
    )


def _states(circuit: Circuit, channel: ChannelModel, line: str) -> list[State]:
    """The channel in its line state; the other channels intact, and open; each string in turn where one is open."""
    strings = range(len(channel.strings)) if line == "one string open" else (0,)
    others = [{}, {c.name: "open" for c in circuit.channels if c is not channel}] if len(circuit.channels) > 1 else [{}]
    return [
        State(phase="armed", lines={**other, channel.name: line}, open_string=string)
        for string in strings
        for other in others
    ]


def _connected(channel: ChannelModel, state: State) -> list[str]:
    line = state.lines[channel.name]
    return [
        name
        for index, string in enumerate(igniter_names(channel))
        for name in string
        if not (line == "one string open" and index == state.open_string)
    ]


def _reading(circuit: Circuit, channel: ChannelModel, line: str, box: Mapping[str, Toleranced]) -> LineReading:
    currents: dict[str, list[Spread]] = {}
    bands: list[AdcBand] = []
    for state in _states(circuit, channel, line):
        network = build_network(circuit, state)
        names = _connected(channel, state)
        found = extremes(network, box, [Probe(node=adc_pin(channel)), *(Probe(element=n) for n in names)])
        for name, extreme in zip(names, found[1:], strict=True):
            currents.setdefault(name, []).append(_spread(extreme, "A"))
        bands.append(adc_band(circuit, channel, found[0], line, box))
    igniters = {name: Spread.hull(members) for name, members in currents.items()}
    worst = max(igniters.values(), key=lambda s: abs(s.nominal or 0.0))
    return LineReading(
        state=line,
        igniter_current=replace(Spread.hull(list(igniters.values())), nominal=worst.nominal),
        igniters=igniters,
        band=bands[0] if len(bands) == 1 else _band_hull(bands),
    )


def _spread(extreme: Extreme, unit: str) -> Spread:
    low, nominal, high = (0.0 if abs(v) < NEGLIGIBLE else v for v in (extreme.low, extreme.nominal, extreme.high))
    return Spread(low=low, nominal=nominal, high=high, unit=unit)


def _band_hull(bands: list[AdcBand]) -> AdcBand:
    return AdcBand(
        code=Spread.hull([b.code for b in bands]),
        voltage=Spread.hull([b.voltage for b in bands]),
        terms=bands[0].terms,
    )


def reference_voltage(circuit: Circuit) -> Toleranced:
    """Return the converter's reference while armed.

    Parameters
    ----------
    circuit : Circuit
        The circuit.

    Returns
    -------
    Toleranced
        Reference [V]: as given, or the controller's rail where the converter is ratiometric.
    """
    given = circuit.controller.adc.reference
    return controller_rail(circuit, "armed") if given is None else given


def adc_band(
    circuit: Circuit, channel: ChannelModel, pin: Extreme, line: str, box: Mapping[str, Toleranced]
) -> AdcBand:
    """Return the converter's band for a pin voltage.

    Parameters
    ----------
    circuit : Circuit
        The circuit.
    channel : ChannelModel
        The channel.
    pin : Extreme
        Voltage at the pin [V] with its corners.
    line : str
        Line state.
    box : mapping of str to Toleranced
        Parameter bounds [SI] of the phase.

    Returns
    -------
    AdcBand
        Bounds [LSB] with the terms that make them.

    Notes
    -----
    code = 2^bits V / Vref, widened by the sample capacitor's remaining charge, by the total error and by half an LSB of
    quantisation. Leakage times source resistance and the tolerances of divider and battery are in the pin voltage.
    """
    voltage = _spread(pin, "V")
    controller = circuit.controller
    if line == "not armed" and not controller.powered_before_arm_switch:
        reason = "the controller has no supply while the arm switch is open"
        return AdcBand(code=Spread.missing("1", reason), voltage=voltage, terms=())
    adc, reference = controller.adc, reference_voltage(circuit)
    if reference.low <= 0:
        reason = "the battery cannot hold the converter's reference above zero"
        return AdcBand(code=Spread.missing("1", reason), voltage=voltage, terms=())
    scale = 2.0**adc.bits
    left = _remaining_charge(circuit, channel, line, box)
    fixed = adc.total_error + 0.5
    low = scale * pin.low / (reference.high if pin.low > 0 else reference.low) * (1.0 - left) - fixed
    high_voltage = pin.high + left * max(reference.high - pin.high, 0.0)
    high = scale * high_voltage / (reference.low if high_voltage > 0 else reference.high) + fixed
    nominal = scale * pin.nominal / reference.nominal
    top = scale - 1.0
    terms = {
        "battery, divider and leakage": scale * (pin.high - pin.low) / 2.0 / reference.nominal,
        "reference": nominal * (reference.high - reference.low) / 2.0 / reference.nominal,
        "sample capacitor": scale * left / 2.0,
        "total error": adc.total_error,
        "quantisation": 0.5,
    }
    return AdcBand(
        code=Spread(
            low=min(max(low, 0.0), top), nominal=min(max(nominal, 0.0), top), high=min(max(high, 0.0), top), unit="1"
        ),
        voltage=voltage,
        terms=tuple(sorted(terms.items(), key=lambda item: -item[1])),
    )


def _remaining_charge(
    circuit: Circuit, channel: ChannelModel, line: str, box: Mapping[str, Toleranced]
) -> float:
    """Largest share of the sample capacitor's step that is missing at the end of the acquisition [1]."""
    adc = circuit.controller.adc
    if adc.sample_capacitance is None or adc.acquisition_time is None:
        return 0.0
    upper, lower = box[f"{channel.name}.upper"], box[f"{channel.name}.lower"]
    # With the line open nothing holds the drain, and the lower resistor alone is the source.
    loose = line in ("open", "not armed")
    source = lower.high if loose else float(thevenin_resistance(upper.high, lower.high))
    return float(
        settling_error(
            adc.acquisition_time.low,
            source if channel.filter is not None else source + channel.pin_resistor.high,
            channel.pin_resistor.high if channel.filter is not None else 0.0,
            adc.sample_capacitance.high,
            channel.filter.low if channel.filter is not None else 0.0,
        )
    )


def _codes(reading: LineReading) -> tuple[int, int] | None:
    """Lowest and highest integer code a state can read."""
    code = reading.band.code
    if code.low is None or code.high is None:
        return None
    # half an LSB of quantisation is in the band, so whole codes inside it are what can be read
    return math.ceil(code.low), max(math.floor(code.high), math.ceil(code.low))


def _overlaps(readings: tuple[LineReading, ...]) -> tuple[tuple[str, str], ...]:
    pairs = []
    for index, first in enumerate(readings):
        for second in readings[index + 1 :]:
            one, two = _codes(first), _codes(second)
            if one is not None and two is not None and one[0] <= two[1] and two[0] <= one[1]:
                pairs.append((first.state, second.state))
    return tuple(pairs)


def _thresholds(readings: tuple[LineReading, ...]) -> tuple[Threshold, ...]:
    """A code midway between the bands of every pair that can be told apart."""
    found = []
    for first in readings:
        for second in readings:
            one, two = _codes(first), _codes(second)
            if one is not None and two is not None and one[1] < two[0]:
                found.append(Threshold(below=first.state, above=second.state, code=one[1] + 1 + (two[0] - one[1] - 1) // 2))
    return tuple(found)


def _largest_resistance(
    circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced], intact: LineReading, *, series: bool
) -> float | None:
    """Largest resistance, in series or across an open line, whose highest reading reaches the intact band."""
    limit = intact.band.code.low
    if limit is None:
        return None
    key = f"{channel.name}.lead" if series else f"{channel.name}.bridging"
    base = box[key].low
    state = State(phase="armed", lines={} if series else {channel.name: LEAKING})
    network = build_network(circuit, state)
    probe = Probe(node=adc_pin(channel))

    def highest(resistance: float) -> float:
        wider = dict(box) | {key: Toleranced.exact(base + resistance, "ohm")}
        pin = extremes(network, wider, [probe])[0]
        code = adc_band(circuit, channel, pin, "intact", wider).code.high
        assert code is not None
        return code

    if highest(_LARGEST) >= limit:
        return None
    low, high = 0.0, _LARGEST
    corner = extremes(network, dict(box) | {key: Toleranced.exact(base + 1e3, "ohm")}, [probe])[0].high_at
    for _ in range(2):  # the corner moves little with the resistance: locate on it, then confirm with the full search
        grid = np.geomspace(max(low, 1e-3), high, 400)
        values = {n: np.full(len(grid), corner[n]) for n in network.parameters} | {key: base + grid}
        pins = solve(network, values).voltage(adc_pin(channel))
        codes = [_code_high(circuit, channel, float(v), box) for v in pins]
        above = [r for r, c in zip(grid, codes, strict=True) if c >= limit]
        if not above:
            break
        low = float(above[-1])
        high = float(min((r for r in grid if r > low), default=high))
    for _ in range(40):
        middle = 0.5 * (low + high)
        if high - low <= 1e-7 * high:
            break
        low, high = (middle, high) if highest(middle) >= limit else (low, middle)
    return low


def _code_high(circuit: Circuit, channel: ChannelModel, voltage: float, box: Mapping[str, Toleranced]) -> float:
    pin = Extreme(low=voltage, nominal=voltage, high=voltage, low_at={}, high_at={}, method="")
    code = adc_band(circuit, channel, pin, "intact", box).code.high
    assert code is not None
    return code


def _current_when_fired(circuit: Circuit, channel: ChannelModel, resistance: float) -> float:
    """Highest current through an unseen series resistance when the channel is fired."""
    rest = circuit.battery.resistance.low + channel.lead.resistance.low + sum(p.resistance.low for p in circuit.feed)
    return circuit.battery.voltage.high / (resistance + rest)


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
        if reading.state not in ("intact", "one string open"):
            continue
        for name, current in reading.igniters.items():
            limit = circuit.igniters[kinds[name]].threshold_low
            if limit is None:
                return None, f"igniter {kinds[name]!r} has no no-fire current"
            assert current.low is not None and current.high is not None
            largest = max(abs(current.low), abs(current.high))
            margin = min(margin, limit / largest if largest > 0 else math.inf)
    return (margin, None) if math.isfinite(margin) else (None, "no current flows")
