"""A foreign netlist and its roles put together: every element has its part to play, or the mistake is named."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ignition.circuit.mistakes import KeyPath
from ignition.circuit.model import Assumption
from ignition.errors import InputError, did_you_mean
from ignition.foreign.flatten import FlatNetlist, Part, flatten
from ignition.foreign.roles import GatePin, RoleChannel, Roles, tolerance_of
from ignition.network.elements import GROUND
from ignition.network.whole import BODY_DIODE_DROP, BODY_DIODE_RESISTANCE
from ignition.spice.netlist import Netlist
from ignition.toleranced import Toleranced, parse_toleranced
from ignition.units import engineering

__all__ = ["BODY_DIODE", "Bound", "BoundChannel", "Diode", "bind", "network_node"]

_UNITS = {"r": "ohm", "v": "V", "i": "A", "c": "F", "l": "H"}
_DIODE = {"drop": ("0.2 V .. 0.6 V .. 0.8 V", "V"), "resistance": ("0 ohm .. 25 ohm", "ohm"), "leakage": ("10 uA", "A")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Diode:
    """Steady values of a diode: drop [V], resistance [ohm], leakage up to [A], breakdown [V] or None."""

    drop: Toleranced
    resistance: Toleranced
    leakage: Toleranced
    breakdown: Toleranced | None


BODY_DIODE = Diode(
    drop=BODY_DIODE_DROP,
    resistance=BODY_DIODE_RESISTANCE,
    leakage=Toleranced.exact(0.0, "A"),
    breakdown=None,
)
"""Body diode of every low-side switch; its leakage is the switch's own, and its breakdown is taken as never reached."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoundChannel:
    """One firing channel in the netlist."""

    name: str
    igniters: Mapping[str, str]
    switch: str
    mosfet: str
    drain: str
    gate: str
    source: str
    pin: str
    sense: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bound:
    """Netlist and roles, checked against each other.

    Attributes
    ----------
    pins : Voltage sources that stand for gate pins
    values : Value of each resistor [ohm] and source [V or A] without a role
    notes : The reader's notes, and values of the netlist that a role replaces
    assumptions : Every default that was taken
    """

    netlist: FlatNetlist
    roles: Roles
    channels: tuple[BoundChannel, ...]
    battery: str
    supply: str | None
    arm: tuple[str, ...]
    pins: tuple[str, ...]
    values: Mapping[str, Toleranced]
    diodes: Mapping[str, Diode]
    notes: tuple[str, ...]
    assumptions: tuple[Assumption, ...]


def network_node(node: str) -> str:
    """Name that a node of the netlist has in the network: ``0`` is ground."""
    return GROUND if node == "0" else node


def bind(netlist: Netlist | FlatNetlist, roles: Roles) -> Bound:
    """Put netlist and roles together.

    Raises NetlistError when the subcircuits cannot be written out. Raises CircuitFileError with all mistakes of the
    role file against the netlist.
    """
    flat = netlist if isinstance(netlist, FlatNetlist) else flatten(netlist)
    return _Binder(flat, roles).bound()


class _Binder:
    """Looks every name of the role file up in the netlist and collects what does not fit."""

    def __init__(self, netlist: FlatNetlist, roles: Roles) -> None:
        self.netlist, self.roles = netlist, roles
        self.parts = {part.name.lower(): part for part in netlist.parts}
        self.nodes = {node.lower() for node in netlist.nodes}
        self.found: list[tuple[KeyPath, str]] = []
        self.notes = list(netlist.notes)
        self.assumptions: list[Assumption] = []

    def part(self, path: KeyPath, name: str, kinds: str, what: str) -> Part | None:
        """The element of that name, if it is of a kind that can play the part."""
        part = self.parts.get(name.lower())
        if part is None:
            offered = did_you_mean(name, (known.name for known in self.parts.values()))
            self.found.append((path, f"the netlist has no element {name!r}{offered and '; '}{offered}"))
            return None
        if part.kind not in kinds:
            letters = " or ".join(kind.upper() for kind in kinds)
            self.found.append(
                (path, f"{what} is an element {letters} of the netlist; {part.name!r} (line {part.line}) is none")
            )
            return None
        return part

    def node(self, path: KeyPath, name: str) -> str:
        """The node of that name."""
        node = "0" if name.lower() in ("0", "gnd") else name.lower()
        if node not in self.nodes:
            offered = did_you_mean(node, self.nodes)
            self.found.append((path, f"the netlist has no node {name!r}{offered and '; '}{offered}"))
        if node == "0":
            self.found.append((path, "is ground in the netlist; name the node of the pin"))
        return network_node(node)

    def bound(self) -> Bound:
        file = self.roles.file
        battery = self.part(("battery", "element"), file.battery.element, "v", "the battery")
        supply = None
        if file.controller.supply_element is not None:
            supply = self.part(("controller", "supply_element"), file.controller.supply_element, "v", "the supply")
        arm = [self.part(("arm_switch", "elements"), name, "rv", "the arm switch") for name in file.arm_switch.elements]
        for part in arm:
            if part is not None and part.kind == "v" and part.value != 0:
                self.found.append(
                    (
                        ("arm_switch", "elements"),
                        f"{part.name!r} is a source that is not 0 V; a switch is a resistor or 0 V",
                    )
                )
        pins: list[str] = []
        channels = [self.channel(i, channel, pins) for i, channel in enumerate(file.channel)]
        names = [p.name for p in (battery, supply, *arm) if p is not None]
        taken = {*names, *pins, *(e for c in channels if c for e in c.igniters)}
        switches = {c.switch for c in channels if c}
        for part in self.netlist.parts:
            if part.kind == "m" and part.name not in switches and not self.found:
                self.found.append(
                    (
                        ("channel",),
                        f"{part.name!r} (line {part.line}) is no channel's low-side switch; each MOSFET has to be one",
                    )
                )
        values = self.values(taken, complete=not self.found)
        diodes = {p.name: self.diode(p) for p in self.netlist.parts if p.kind == "d"}
        self._names_exist()
        self._replaced(battery, channels)
        if self.found:
            raise self.roles.mistakes(self.found)
        assert battery is not None
        return Bound(
            netlist=self.netlist,
            roles=self.roles,
            channels=tuple(c for c in channels if c is not None),
            battery=battery.name,
            supply=None if supply is None else supply.name,
            arm=tuple(p.name for p in arm if p is not None),
            pins=tuple(pins),
            values=values,
            diodes=diodes,
            notes=tuple(self.notes),
            assumptions=(*self._kept(), *self.assumptions),
        )

    def _kept(self) -> list[Assumption]:
        """Assumptions of the tables shared with the circuit file, without those of the stand-ins."""
        kept = [a for a in self.roles.circuit.assumptions if not a.key.startswith(("channel[", "feed["))]
        body = f"drop {BODY_DIODE.drop}, slope 1 mohm to 1 ohm, breakdown never reached"
        basis = "common practice: silicon, hot to cold"
        return [*kept, Assumption(key="mosfet body diode", value=body, direction="safe", basis=basis)]

    def channel(self, index: int, given: RoleChannel, pins: list[str]) -> BoundChannel | None:
        place: KeyPath = ("channel", index)
        igniters: dict[str, str] = {}
        for name, kind in given.igniters.items():
            part = self.part((*place, "igniters", name), name, "r", "an igniter")
            if part is not None:
                igniters[part.name] = kind
        switch = self.part((*place, "low_side_switch"), given.low_side_switch, "m", "the low-side switch")
        sense = self.node((*place, "sense_node"), given.sense_node)
        pin = self.pin((*place, "gate_pin"), given.gate_pin, pins)
        if switch is None:
            return None
        model = switch.model
        if model is not None and (model.kind == "pmos" or "pchan" in model.flags):
            self.found.append(
                (
                    (*place, "low_side_switch"),
                    f"{switch.name!r} is p-channel by its model (line {model.line}); a low-side switch is n-channel",
                )
            )
        drain, gate, source = (network_node(n) for n in switch.nodes[:3])
        if len(switch.nodes) == 4 and switch.nodes[3] != switch.nodes[2]:
            self.found.append(
                (
                    (*place, "low_side_switch"),
                    f"{switch.name!r} (line {switch.line}) has its bulk apart from its source, which is not covered",
                )
            )
        return BoundChannel(
            name=given.name,
            igniters=igniters,
            switch=switch.name,
            mosfet=given.mosfet,
            drain=drain,
            gate=gate,
            source=source,
            pin=pin,
            sense=sense,
        )

    def pin(self, path: KeyPath, given: GatePin, pins: list[str]) -> str:
        if given.node is not None:
            return self.node((*path, "node"), given.node)
        assert given.element is not None
        part = self.part((*path, "element"), given.element, "v", "a gate pin")
        if part is None:
            return GROUND
        if part.nodes[1] != "0" or part.nodes[0] == "0":
            self.found.append(
                ((*path, "element"), f"{part.name!r} (line {part.line}) must lead from the pin's node to ground")
            )
        if part.name not in pins:
            pins.append(part.name)
        return network_node(part.nodes[0])

    def values(self, taken: set[str], complete: bool) -> dict[str, Toleranced]:
        """Value of every resistor and source that no role replaces; where a role failed, none is missed."""
        file, values = self.roles.file, {}
        given = {name.lower(): (name, text) for name, text in file.tolerance.items()}
        for part in self.netlist.parts:
            if part.kind not in "rvi":
                continue
            name, text = given.get(part.name.lower(), ("", ""))
            path: KeyPath = ("tolerance", name)
            if part.name in taken:
                if text:
                    self.found.append((path, f"{part.name!r} has a role, which gives its value; leave it out"))
                continue
            if not text and part.kind == "r" and file.resistor_tolerance is not None:
                text, path = file.resistor_tolerance, ("resistor_tolerance",)
            if not text and part.value == 0 and part.waveform is None:
                text = "0 %"
            if not text and not complete:
                continue
            if not text:
                also = "resistor_tolerance, or " if part.kind == "r" else ""
                self.found.append(
                    (
                        ("tolerance",),
                        f"{part.name!r} (line {part.line}) has no tolerance; give {also}tolerance.{_quoted(part.name)}",
                    )
                )
                continue
            value = part.value
            if part.waveform is not None and value is None:
                self.notes.append(
                    f"line {part.line}: {part.name} is a function of time ({part.waveform}); the role file's "
                    "value counts"
                )
            elif part.waveform is not None and "%" in text and ".." not in text:
                self.found.append(
                    (path, f"{part.name!r} (line {part.line}) is a function of time; give its whole range, or its role")
                )
                continue
            try:
                values[part.name] = tolerance_of(text, value, _UNITS[part.kind])
                if part.kind == "r" and values[part.name].low < 0:
                    raise InputError(f"brings {part.name!r} below 0 ohm")
            except InputError as error:
                self.found.append((path, f"{part.name}: {error}" if part.name not in str(error) else str(error)))
        return values

    def diode(self, part: Part) -> Diode:
        """Steady values of a diode: given, or conservative defaults that are recorded."""
        given = next((v for k, v in self.roles.file.diode.items() if k.lower() == part.name.lower()), None)

        def take(key: str) -> Toleranced:
            value: Toleranced | None = None if given is None else getattr(given, key)
            if value is not None:
                return value
            text, unit = _DIODE[key]
            self.assumptions.append(
                Assumption(
                    key=f"diode.{_quoted(part.name)}.{key}",
                    value=text,
                    direction="safe",
                    basis="common practice: silicon or Schottky, hot to cold",
                )
            )
            return parse_toleranced(text, unit)

        breakdown = None if given is None else given.breakdown
        if breakdown is None and part.breakdown is not None and part.breakdown < self._highest() * 1.5:
            key = f"diode.{_quoted(part.name)}.breakdown"
            self.found.append(
                (
                    ("diode",),
                    f"the model of {part.name!r} breaks down at {part.breakdown:g} V; give {key} with its range",
                )
            )
        elif breakdown is None:
            known = "unknown" if part.breakdown is None else engineering(part.breakdown, "V")
            self.assumptions.append(
                Assumption(
                    key=f"diode.{_quoted(part.name)}.breakdown",
                    value=f"never reached (model: {known})",
                    direction="safe",
                    basis="as netlist and role file leave it out",
                )
            )
        leakage = take("leakage")
        return Diode(
            drop=take("drop"),
            resistance=take("resistance"),
            leakage=Toleranced(low=0.0, nominal=leakage.nominal, high=leakage.high, unit="A"),
            breakdown=breakdown,
        )

    def _highest(self) -> float:
        """Bound on any voltage: all sources in series; none where a current source can raise it."""
        total = self.roles.circuit.battery.voltage.high + self.roles.circuit.controller.supply.high
        for part in self.netlist.parts:
            if part.kind == "i":
                return float("inf")
            if part.kind == "v":
                total += abs(part.value or 0.0)
        return total

    def _names_exist(self) -> None:
        for name in self.roles.file.tolerance:
            self.part(("tolerance", name), name, "rvi", "a tolerance's element")
        for name in self.roles.file.diode:
            self.part(("diode", name), name, "d", "a diode")

    def _replaced(self, battery: Part | None, channels: list[BoundChannel | None]) -> None:
        """Note where the netlist's own value lies outside the range that replaces it."""
        ranges = [(battery, self.roles.circuit.battery.voltage)]
        for channel in channels:
            for name, kind in (channel.igniters if channel else {}).items():
                if kind in self.roles.circuit.igniters:
                    ranges.append((self.parts[name.lower()], self.roles.circuit.igniters[kind].resistance))
        for part, value in ranges:
            if part is not None and part.value is not None and not value.low <= part.value <= value.high:
                shown = engineering(part.value, value.unit)
                self.notes.append(
                    f"line {part.line}: {part.name} is {shown} in the netlist; the role file's {value} counts"
                )


def _quoted(name: str) -> str:
    return f'"{name}"' if "." in name else name
