"""Arming edge: how far it lifts the gate, what then flows through each igniter, and how near to function it comes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Annotated

import numpy as np

from ignition.analyses.no_fire.corners import ENDS, EdgeCorners, Hold, all_ends, feed_inductance, holds, missing_keys
from ignition.analyses.no_fire.edge import Edge, edge_response
from ignition.analyses.no_fire.edge_bounds import after_closures, edge_bounds
from ignition.circuit.model import ChannelModel, Circuit
from ignition.findings.corner import Corner
from ignition.kept import Kept
from ignition.network.template import igniter_kinds
from ignition.typing import Amps, FloatArray, Joules, Key, Missing, Ratio, Seconds, Volts

__all__ = [
    "ChannelSwitchOn",
    "EdgeResult",
    "IgniterSwitchOn",
    "SwitchOn",
    "edge_inputs",
    "edge_times",
    "horizon",
    "switch_on",
    "switch_ons",
]

_TIMES = 5
"""Rise times tried between the fastest and the slowest edge, both included."""

_FASTEST = 1e-9
"""Rise time of an edge that is as good as none [s]."""

_SEARCH_TOLERANCE, _FINAL_TOLERANCE = 1e-3, 1e-4
_LEFT = 1.02
"""What is told over the highest that the search finds: corners at random were never more than 1.4 % above it [1]."""

_ROUNDS = 6
_SCATTERED = 16

_UNDECIDED = (
    "supply",
    "inductance",
    "bridge",
    "threshold",
    "shape",
    "drain capacitance",
    "path",
    "breakdown",
    "strings",
)
_LOW = ("line", "source capacitance")
"""For the closed forms: what may be worst at either end, and what is worst at its low end; else the high end."""
_END_WORDS = {"shape": ("of the charge even", "of the charge early"), "strings": ("but its own open", "all connected")}
_HELD = 10.0
"""Thermal time constants after which a gate that stays on has done what it can."""

_LONGEST = 10.0

_HEAT = ("thermal_fraction", "bounced_fraction")
_ALL = ("gate_voltage", "current", "energy", *_HEAT, "time_above_threshold")
"""Fields of `EdgeResult` that the verdict on an igniter rests on, and all of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeResult:
    """Worst of one output over all corners and edges, found one of two ways.

    Attributes
    ----------
    gate_voltage : Highest gate voltage
    current : Highest igniter current
    energy : Highest energy into the igniter by one edge; infinite where the gate stays on
    thermal_fraction : Highest share of the function temperature's rise by one edge
    bounced_fraction : The same after all closures of one throw of the switch
    time_above_threshold : Longest time for which the gate is above its threshold
    """

    gate_voltage: Annotated[Volts, Key("peak_gate_voltage")]
    current: Annotated[Amps, Key("peak_igniter_current")]
    energy: Annotated[Joules, Key("igniter_energy"), Missing(infinite="the gate stays above its threshold")]
    thermal_fraction: Ratio
    bounced_fraction: Annotated[Ratio, Key("bounced_thermal_fraction")]
    time_above_threshold: Annotated[Seconds, Missing(infinite="the gate stays above its threshold")]


@dataclass(frozen=True, slots=True, kw_only=True)
class IgniterSwitchOn:
    """What the arming edge does to one igniter, whose string alone may be connected, or all strings of the channel.

    Attributes
    ----------
    drain_voltage : Highest drain voltage, in closed form
    bound : Closed-form bounds, which hold for any course of the drain and any shape of the gate-drain charge
    model : Integrated model at its worst corner for each output that was asked for, and the bound of the others; None
        where the bound already settles the verdict
    closures : Most times that the arm switch closes in one throw
    kick : Highest energy of the ringing line, all strings connected, that the MOSFET may have to take beyond breakdown
    hold, edge : What holds the gate, and the rise time of the source, where the thermal fraction is highest
    ends : End of each of `ENDS` there: 0 the low, 1 the high one
    solved : Whether every corner was integrated to its end; else nothing is known, and what was asked for infinite
    followed : Whether the edge can be integrated: one by a contact in the return, on a line that is charged already, is
        only bounded
    """

    igniter: str
    kind: str
    drain_voltage: Volts
    bound: EdgeResult
    model: EdgeResult | None
    closures: int
    hold: Hold
    edge: Seconds
    corner: Corner
    ends: Mapping[str, int] = field(compare=False)
    kick: Joules
    worst: Edge = field(repr=False, compare=False)
    solved: bool
    followed: bool

    @property
    def known(self) -> bool:
        """Whether its thermal fraction is: integrated to the end, or, where only bounded, below function."""
        return self.solved and (self.followed or self.bound.bounced_fraction < 1.0)

    @property
    def judged(self) -> EdgeResult:
        """The model where there is one, else the bound."""
        return self.bound if self.model is None else self.model


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelSwitchOn:
    """The arming edge of one channel.

    Attributes
    ----------
    missing : Keys without which nothing is known; then there are no igniters
    """

    channel: str
    missing: tuple[str, ...]
    igniters: tuple[IgniterSwitchOn, ...]

    @property
    def worst(self) -> IgniterSwitchOn | None:
        """The igniter that comes nearest to function."""
        return max(self.igniters, key=lambda one: one.judged.bounced_fraction, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchOn:
    """The arming edge of a circuit."""

    channels: tuple[ChannelSwitchOn, ...]


def switch_on(circuit: Circuit, *, integrate: bool = False) -> SwitchOn:
    """Find the worst that the arming edge can do to each igniter, over all tolerances, edges and states of the pin.

    Closed-form bounds are taken at every corner. Where they do not settle that an igniter stays below function, or
    where asked, the edge is integrated: from the worst corner of each thing that may hold the gate, with the charge of
    the gate-drain capacitance evenly over the drain's voltage and early, for several rise times; then every tolerance
    is moved to its other end, one at a time, as long as one of gate voltage, current, energy, time above the threshold
    and thermal fraction rises.

    Parameters
    ----------
    integrate : Whether to integrate where the bounds settle it too, with a short search
    """
    return switch_ons([circuit], integrate=integrate)[0]


def switch_ons(circuits: Sequence[Circuit], *, integrate: bool = False, climb: bool = True) -> list[SwitchOn]:
    """Analyse the arming edge of several circuits side by side, in little more time than one takes.

    Parameters
    ----------
    integrate : Whether to integrate where the bounds settle it too, and for the outputs that no verdict rests on
    climb : Whether to search on from the first corners; without, the numbers may be a little low
    """
    return _KEPT[integrate, climb].answers(circuits, lambda asked: _switch_ons(asked, integrate, climb))


def _switch_ons(circuits: Sequence[Circuit], integrate: bool, climb: bool) -> list[SwitchOn]:
    found = [_groups(circuit) for circuit in circuits]
    groups = [group for groups in found for group in groups.values()]
    for settled, rounds in ((False, _ROUNDS if climb else 1), (True, 3)):
        wanted: dict[tuple[str, ...], list[_Group]] = {}
        for group in groups:
            if group.followed and group.settled is settled and (integrate or not settled):
                asked: tuple[str, ...] = _ALL if integrate else _HEAT if group.gate_bears else ("gate_voltage", *_HEAT)
                wanted.setdefault(asked, []).append(group)
        for asked, same in wanted.items():
            _search(same, asked, rounds)
    return [
        SwitchOn(
            channels=tuple(
                ChannelSwitchOn(
                    channel=channel.name,
                    missing=missing_keys(circuit, channel),
                    igniters=tuple(
                        own[channel.name, kind].result(name)
                        for name, kind in igniter_kinds(channel).items()
                        if (channel.name, kind) in own
                    ),
                )
                for channel in circuit.channels
            )
        )
        for circuit, own in zip(circuits, found, strict=True)
    ]


def _groups(circuit: Circuit) -> dict[tuple[str, str], _Group]:
    """Every igniter type of each channel of which enough is known, with its closed forms."""
    return {
        (channel.name, kind): _bounds(circuit, channel, kind)
        for channel in circuit.channels
        if not missing_keys(circuit, channel)
        for kind in dict.fromkeys(igniter_kinds(channel).values())
        if circuit.igniters[kind].threshold_low
    }


def edge_inputs(circuit: Circuit) -> tuple[object, ...]:
    """Return everything that the arming edge depends on: the same for circuits whose edges are the same."""
    battery, controller = circuit.battery, circuit.controller
    return (
        circuit.ambient,
        (battery.voltage, battery.resistance, battery.bank_resistance),
        tuple((part.resistance, part.inductance, part.capacitance) for part in circuit.feed),
        (circuit.arm_switch.edge, circuit.arm_switch.closures),
        (controller.powered_before_arm_switch, controller.supply, controller.dropout, controller.pin),
        tuple(
            (i.name, i.resistance, i.growth, i.heated, i.threshold_low, i.time_constant)
            for i in circuit.igniters.values()
        ),
        tuple(circuit.mosfets.items()),
        tuple(
            (
                *(c.name, c.strings, c.mosfet, c.lead, c.branch, c.gate_series, c.pull_down, c.gate_capacitor),
                *(c.high_side, c.return_contact, missing_keys(circuit, c)),
            )
            for c in circuit.channels
        ),
    )


_KEPT = {
    (integrate, climb): Kept[Circuit, SwitchOn](inputs=edge_inputs, size=128)
    for integrate in (False, True)
    for climb in (False, True)
}


def edge_times(circuit: Circuit) -> FloatArray:
    """Return the rise times that are tried [s]: evenly in the logarithm between the fastest and the slowest."""
    edge = circuit.arm_switch.edge
    assert edge is not None
    low, high = max(edge.low, _FASTEST), max(edge.high, _FASTEST)
    if any(channel.return_contact is not None for channel in circuit.channels):  # it may close last, on a charged line
        low = _FASTEST
    return np.geomspace(low, high, _TIMES if high > low else 1)


@dataclass(slots=True)
class _Corner:
    """One value set by what it was made of."""

    which: int
    ends: dict[str, int]
    time: int

    @property
    def key(self) -> tuple[int, ...]:
        """The same for the same corner."""
        return self.which, self.time, *self.ends.values()


@dataclass(slots=True, kw_only=True, eq=False)
class _Group:
    """One igniter type of a channel on the way to its result."""

    makers: list[EdgeCorners]
    times: FloatArray
    closures: int
    drain_voltage: float
    bound: EdgeResult
    seeds: list[_Corner]
    worst: _Corner
    kick: float
    followed: bool
    model: dict[str, float] = field(default_factory=dict)
    solved: bool = True

    @property
    def settled(self) -> bool:
        """Whether the closed forms alone say that the igniter stays below function, and that the switch bears it."""
        blocks = self.drain_voltage < self.makers[0].breakdown.low or self.bound.time_above_threshold == 0.0
        return self.bound.bounced_fraction < 1.0 and blocks and self.gate_bears

    @property
    def strings(self) -> int:
        """Strings of the channel."""
        return len(self.makers[0].channel.strings)

    @property
    def gate_bears(self) -> bool:
        """Whether the closed forms alone say that the gate stays within what it bears."""
        maker = self.makers[0]
        return self.bound.gate_voltage <= maker.circuit.mosfets[maker.channel.mosfet].gate_rating.low

    def result(self, igniter: str) -> IgniterSwitchOn:
        """Make the result of one igniter of the type."""
        values = _values([(self, self.worst)])
        maker = self.makers[self.worst.which]
        told = [(name, self.worst.ends[name]) for name in ENDS[1:] if self.strings > 1 or name != "strings"]
        return IgniterSwitchOn(
            igniter=igniter,
            kind=maker.igniter.name,
            drain_voltage=self.drain_voltage,
            bound=self.bound,
            model=replace(self.bound, **self.model) if self.model else None,
            closures=self.closures,
            hold=maker.hold,
            edge=float(self.times[self.worst.time]),
            corner=Corner(
                battery_voltage=float(values.supply[0]),
                temperature=maker.circuit.ambient.high,
                ends=tuple((name, _END_WORDS.get(name, ("low", "high"))[end]) for name, end in told),
            ),
            ends=self.worst.ends,
            kick=self.kick,
            worst=values,
            solved=self.solved,
            followed=self.followed,
        )


def _bounds(circuit: Circuit, channel: ChannelModel, kind: str) -> _Group:
    """Closed forms at every corner: the worst corner of each hold, and the highest of each output."""
    igniter = circuit.igniters[kind]
    makers = [EdgeCorners(circuit=circuit, channel=channel, igniter=igniter, hold=hold) for hold in holds(circuit)]
    times = edge_times(circuit)
    undecided = _UNDECIDED if len(channel.strings) > 1 else _UNDECIDED[:-1]
    ends = all_ends(undecided) | dict.fromkeys(_LOW, np.zeros(2 ** len(undecided), dtype=np.intp))
    count, tried = len(ends["supply"]), (times[0], times[-1])
    made = [maker.edges(ends, np.full(count, time)) for maker in makers for time in tried]
    edge = Edge.joined(made)
    found = edge_bounds(edge)
    # the closed form counts the heat of a bridge that does not grow: to function that is the least for any growth
    bounced, grown = (
        after_closures(one, found.thermal_fraction, found.current, circuit.arm_switch.closures)
        for one in (replace(edge, growth=np.zeros_like(edge.growth)), edge)
    )
    bounced = np.where(bounced < 1.0, bounced, np.maximum(bounced, grown))
    seeds = []
    for which in range(len(makers)):
        fastest = bounced[2 * which * count : (2 * which + 1) * count]
        place = int(np.argmax(fastest))
        corner = _Corner(which, {name: int(values[place]) for name, values in ends.items()}, 0)
        seeds.append((float(fastest[place]), corner))
    return _Group(
        makers=makers,
        times=times,
        closures=circuit.arm_switch.closures,
        drain_voltage=float(found.drain_voltage.max()),
        bound=EdgeResult(
            bounced_fraction=float(bounced.max()),
            **{f.name: float(getattr(found, f.name).max()) for f in fields(found) if f.name != "drain_voltage"},
        ),
        seeds=[corner for _, corner in seeds],
        worst=max(seeds, key=lambda seed: seed[0])[1],
        followed=channel.return_contact is None,
        kick=_kick(makers[0], conducts=bool(np.any(found.time_above_threshold > 0.0))),
    )


def _kick(maker: EdgeCorners, *, conducts: bool) -> float:
    """Highest energy that the line may drive into the MOSFET beyond breakdown [J]; infinite where that is no higher.

    The work that charges the drain, and where the channel has conducted L I^2 / 2: of lead and branch at the highest
    current of all strings together, of battery and feed at that of all channels; with the share that the battery adds.
    """
    circuit, channel = maker.circuit, maker.channel
    supply, above = circuit.battery.voltage.high, maker.breakdown.low - circuit.battery.voltage.high
    if above <= 0.0:
        return math.inf
    energy = supply * float(maker.drain_capacitance(supply)[1] * supply + maker.charge(supply)[1])
    if conducts:
        feed = maker.before_lines.low
        own, every = _conductance(circuit, channel), sum(_conductance(circuit, other) for other in circuit.channels)
        for inductance, conductance in (
            (channel.loop_inductance.high, own),
            (feed_inductance(circuit).high, every),
        ):
            energy += 0.5 * inductance * ((supply + 1.0) / (feed + 1.0 / conductance)) ** 2
    return energy * maker.breakdown.low / above


def _conductance(circuit: Circuit, channel: ChannelModel) -> float:
    """Highest conductance from bus to drain, all strings together [S]; all igniters but one of a string are shorts."""
    branch = 0.0 if channel.branch is None else channel.branch.resistance.low
    strings = [branch + min(circuit.igniters[kind].heated.low for kind in string) for string in channel.strings]
    return 1.0 / (channel.lead.resistance.low + 1.0 / sum(1.0 / resistance for resistance in strings))


def _values(corners: list[tuple[_Group, _Corner]]) -> Edge:
    """Value sets of corners, those of one igniter type and hold made together."""
    places: dict[tuple[int, int], list[int]] = {}
    for place, (group, corner) in enumerate(corners):
        places.setdefault((id(group), corner.which), []).append(place)
    made = []
    for members in places.values():
        group, first = corners[members[0]]
        ends = {name: np.array([corners[m][1].ends[name] for m in members]) for name in ENDS}
        made.append(group.makers[first.which].edges(ends, np.array([group.times[corners[m][1].time] for m in members])))
    order = np.argsort(np.concatenate([np.array(members) for members in places.values()]))
    return Edge.joined(made).take(order)


def horizon(edge: Edge) -> FloatArray:
    """Return how long an edge is followed [s]: until gate and ringing rest, or a gate that stays on has heated."""
    gate = edge.gate_resistance * (edge.gate_source_capacitance + edge.most_coupling)
    rest = edge.rise_time + 20.0 * gate + 20.0 * edge.inductance / edge.loop_resistance + 1e-6
    stays = edge.gate_rest >= edge.threshold
    return np.asarray(np.minimum(np.where(stays, _HELD * edge.time_constant, rest), _LONGEST))


def _swings(edge: Edge) -> FloatArray:
    """Return how long the first two swings of the drain after the edge take, or its charging [s]."""
    total = edge.drain_capacitance + edge.most_coupling
    swings = 4.0 * np.pi * np.sqrt(edge.inductance * total)
    return np.asarray(edge.rise_time + swings + 5.0 * edge.loop_resistance * total)


def _neighbours(corner: _Corner, times: int, strings: int) -> Iterator[_Corner]:
    """Every corner that differs in one tolerance, or in the edge by one step."""
    for name in ENDS if strings > 1 else ENDS[:-1]:
        yield _Corner(corner.which, corner.ends | {name: 1 - corner.ends[name]}, corner.time)
    for step in (-1, 1):
        if 0 <= corner.time + step < times:
            yield _Corner(corner.which, corner.ends, corner.time + step)


def _search(groups: list[_Group], climbed: tuple[str, ...], rounds: int) -> None:
    """Integrate from the seeds of each group upwards, all groups side by side, for the highest of some outputs."""
    tried: list[dict[tuple[int, ...], tuple[_Corner, FloatArray]]] = [{} for _ in groups]
    batch = [_starts(group) for group in groups]
    for _ in range(rounds):
        new = [
            (groups[place], corner)
            for place, corners in enumerate(batch)
            if groups[place].solved  # else nothing will be known
            for corner in {c.key: c for c in corners if c.key not in tried[place]}.values()
        ]
        if not new:
            break
        for (group, corner), outputs in zip(new, _outputs(new, climbed, _SEARCH_TOLERANCE), strict=True):
            tried[groups.index(group)][corner.key] = corner, outputs
        batch = [
            [near for top in _tops(found) for near in _neighbours(top, len(group.times), group.strings)]
            for group, found in zip(groups, tried, strict=True)
        ]
    tops = [(group, top) for group, found in zip(groups, tried, strict=True) if group.solved for top in _tops(found)]
    outputs = _outputs(tops, climbed, _FINAL_TOLERANCE) if tops else np.zeros((0, len(climbed)))
    for group in groups:
        if not group.solved:
            group.model = dict.fromkeys(climbed, math.inf)
            continue
        own = [place for place, (other, _) in enumerate(tops) if other is group]
        highest = dict(zip(climbed, outputs[own].max(axis=0).tolist(), strict=True))
        group.model = {name: min(_LEFT * value, getattr(group.bound, name)) for name, value in highest.items()}
        if "bounced_fraction" in climbed:
            group.worst = tops[max(own, key=lambda place: outputs[place, climbed.index("bounced_fraction")])][1]


def _starts(group: _Group) -> list[_Corner]:
    """Where a search starts: the worst corners of the closed forms, for each rise time, and some scattered ones."""
    seeds = [
        _Corner(seed.which, seed.ends | {"shape": shape, "inductance": 0}, time)
        for seed in group.seeds
        for shape in (0, 1)
        for time in range(len(group.times))
    ]
    draw, alone = np.random.default_rng(_SCATTERED), {} if group.strings > 1 else {"strings": 0}
    scattered = [
        _Corner(
            int(draw.integers(len(group.makers))),
            dict(zip(ENDS, draw.integers(2, size=len(ENDS)).tolist(), strict=True)) | alone,
            int(draw.integers(len(group.times))),
        )
        for _ in range(_SCATTERED)
    ]
    return seeds + scattered


def _tops(found: dict[tuple[int, ...], tuple[_Corner, FloatArray]]) -> list[_Corner]:
    """The corner of the highest of each output, each once."""
    corners = [corner for corner, _ in found.values()]
    outputs = np.array([values for _, values in found.values()])
    return [corners[place] for place in sorted({int(np.argmax(column)) for column in outputs.T})]


def _outputs(corners: list[tuple[_Group, _Corner]], names: tuple[str, ...], tolerance: float) -> FloatArray:
    """Integrate corners: some outputs of each, shape (n, outputs); infinite where a member was not solved.

    A gate that is lifted to where the data sheet has the MOSFET on is followed once more with what it passes then.
    """
    edge = _values(corners)
    found, over = _integrated(corners, edge, names, tolerance)
    on = np.flatnonzero(over >= edge.row_overdrive)
    if len(on):
        strong, _ = _integrated([corners[place] for place in on], edge.take(on).fully_on(), names, tolerance)
        found[on] = np.maximum(found[on], strong)
    return found


def _integrated(
    corners: list[tuple[_Group, _Corner]], edge: Edge, names: tuple[str, ...], tolerance: float
) -> tuple[FloatArray, FloatArray]:
    """The same of value sets as they are, and how far each gate rises above its threshold [V]."""
    # a gate that is off decides no verdict, but its peaks may be still to come
    follow = _swings(edge) if "gate_voltage" in names else np.zeros_like(edge.supply)
    response = edge_response(edge, np.maximum(horizon(edge), follow), tolerance, follow=follow)
    closures = np.array([group.closures for group, _ in corners])
    stays = edge.gate_rest >= edge.threshold
    outputs = {
        "gate_voltage": response.peak_gate_voltage,
        "current": response.peak_current,
        "energy": np.where(stays, np.inf, response.energy),
        "thermal_fraction": response.thermal_fraction,
        "bounced_fraction": after_closures(edge, response.thermal_fraction, response.peak_current, closures),
        "time_above_threshold": np.where(stays, np.inf, response.time_above_threshold),
    }
    for (group, _), solved in zip(corners, response.solved, strict=True):
        group.solved &= bool(solved)
    told = np.where(response.solved[:, None], np.array([outputs[name] for name in names]).T, np.inf)
    return told, response.peak_gate_voltage - edge.threshold
