"""The role file: which element of a foreign netlist is the igniter, the battery, the arm switch, the low-side switch.

A netlist says nothing of tolerances, no-fire currents or off-state leakage, so the role file does, with the tables of
the circuit file where they exist there: ``ambient``, ``battery``, ``controller``, ``igniter`` and ``mosfet``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, PlainValidator, model_validator

from ignition.circuit import description as d
from ignition.circuit.complete import complete
from ignition.circuit.feed_description import Battery, FeedPart, Wiring
from ignition.circuit.fields import Current, FileModel, Resistance, Voltage, VoltageDrop
from ignition.circuit.file import limit_mistakes
from ignition.circuit.mistakes import KeyPath, read_text, read_toml, report
from ignition.circuit.model import Circuit
from ignition.circuit.other_files import refuse_netlist
from ignition.errors import InputError, did_you_mean
from ignition.toleranced import Toleranced, parse_toleranced

__all__ = [
    "ArmSwitch",
    "DiodeRole",
    "GatePin",
    "RoleBattery",
    "RoleChannel",
    "RoleController",
    "RoleFile",
    "Roles",
    "load_roles",
    "parse_roles",
    "tolerance_of",
]

_MAX_BYTES = 1_000_000
_SHARE = re.compile(r"\s*(?:±|\+/-)?\s*(\d+(?:\.\d*)?|\.\d+)\s*%\s*")


def _tolerance_text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > 200:
        raise InputError(
            f"is text: a share such as '1 %', or a whole value such as '990 ohm .. 1.01 kohm'; received {value!r:.60}"
        )
    return value


ToleranceText = Annotated[str, PlainValidator(_tolerance_text)]


class RoleBattery(Battery):
    """Battery of the circuit file, and the voltage source that stands for it."""

    element: str = Field(min_length=1, description="voltage source of the netlist")

    @model_validator(mode="after")
    def _covered(self) -> Self:
        if self.capacitor_bank is not None:
            raise InputError(
                "capacitor_bank is not covered with a foreign netlist; put its voltage into open_circuit_voltage"
            )
        return self


class ArmSwitch(FileModel):
    """Elements that the arm switch opens and closes together, and the resistance of each when closed."""

    elements: list[str] = Field(min_length=1, max_length=20, description="resistors or 0 V sources of the netlist")
    resistance: Resistance = Field(description="of each closed contact [ohm]")


class RoleController(d.Controller):
    """Controller of the circuit file, and the source in the netlist that is its supply, if there is one."""

    supply_element: str | None = Field(default=None, description="voltage source of the netlist")


class GatePin(FileModel):
    """Pin that drives a gate: a node, or the voltage source to ground that stands for the pin."""

    node: str | None = Field(default=None, description="node of the netlist")
    element: str | None = Field(
        default=None, description="voltage source of the netlist, from the pin's node to ground"
    )

    @model_validator(mode="after")
    def _one(self) -> Self:
        if (self.node is None) == (self.element is None):
            raise InputError("give exactly one of node and element")
        return self


class RoleChannel(FileModel):
    """One firing channel: its igniters, low-side switch, gate pin and converter pin."""

    name: str = Field(min_length=1, max_length=60, description="name for results")
    igniters: dict[str, str] = Field(min_length=1, max_length=64, description="element of the netlist = igniter type")
    low_side_switch: str = Field(description="MOSFET of the netlist")
    mosfet: str = Field(description="type in the [mosfet] tables")
    gate_pin: GatePin = Field(description="pin that drives the gate")
    sense_node: str = Field(description="node at the converter's pin")


class DiodeRole(FileModel):
    """A diode at steady current: forward drop and resistance, leakage, and breakdown where it has one."""

    drop: VoltageDrop | None = Field(default=None, description="forward drop at small current [V]")
    resistance: Resistance | None = Field(default=None, description="slope resistance, either way [ohm]")
    leakage: Current | None = Field(default=None, description="reverse leakage, hot [A]")
    breakdown: Voltage | None = Field(default=None, description="breakdown or Zener voltage [V]")


class RoleFile(FileModel):
    """A whole role file."""

    format: Literal[1] = Field(description="format number")
    title: str = Field(min_length=1, max_length=200, description="title of the circuit")
    ambient: d.Ambient | None = Field(default=None, description="as in a circuit file")
    battery: RoleBattery = Field(description="battery")
    arm_switch: ArmSwitch = Field(description="arm switch")
    controller: RoleController = Field(description="controller")
    igniter: dict[str, d.Igniter] = Field(min_length=1, description="igniter types, as in a circuit file")
    mosfet: dict[str, d.Mosfet] = Field(min_length=1, description="MOSFET types, as in a circuit file")
    channel: list[RoleChannel] = Field(min_length=1, max_length=32, description="firing channels")
    diode: dict[str, DiodeRole] = Field(default={}, description="element of the netlist = its steady values")
    rules: d.Rules = Field(default=d.Rules(), description="as in a circuit file")
    checklist: d.Checklist = Field(default=d.Checklist(), description="as in a circuit file")
    resistor_tolerance: ToleranceText | None = Field(default=None, description="share of every resistor not named")
    tolerance: dict[str, ToleranceText] = Field(default={}, description="element of the netlist = share or value")


@dataclass(frozen=True, slots=True, kw_only=True)
class Roles:
    """A role file, checked in itself.

    Attributes
    ----------
    circuit : Battery, controller, igniter and MOSFET types made complete, defaults recorded as assumptions. Its
        channels carry names and types only
    """

    file: RoleFile
    circuit: Circuit
    shown: str
    text: str

    def mistakes(self, found: list[tuple[KeyPath, str]]) -> Exception:
        """Make the error that lists mistakes of this file with their lines."""
        return report(self.shown, self.text, found)


_HINTS = {
    "format": "write format = 1",
    "title": 'write title = "..."',
    "battery": "write a [battery] table with element, and open_circuit_voltage and resistance, chemistry or readings",
    "arm_switch": "write [arm_switch] with elements = ['R1'] and resistance",
    "controller": "write a [controller] table with powered_by and supply",
    "igniter": "write an [igniter.NAME] table",
    "mosfet": "write a [mosfet.NAME] table",
    "channel": "write at least one [[channel]]",
    "igniters": "write igniters = { R5 = 'match' }: element of the netlist = type",
    "low_side_switch": "write low_side_switch = 'M1'",
    "gate_pin": "write gate_pin = { node = 'drive' } or { element = 'V3' }",
    "sense_node": "write sense_node = 'adc'",
    "adc": "write [controller.adc] with bits and reference",
}


def load_roles(path: str | Path) -> Roles:
    """Read a role file.

    Raises InputError when the file cannot be read at all. Raises CircuitFileError with all mistakes of the file.

    Returns
    -------
    The roles; that their elements exist is checked with the netlist
    """
    text = read_text(path, "role file", _MAX_BYTES)
    refuse_netlist(path, text, "role file")
    return parse_roles(text, shown=str(path))


def parse_roles(text: str, shown: str = "roles") -> Roles:
    """Read roles from TOML text.

    Raises CircuitFileError with all mistakes of the text, each with line, key and what to write instead.
    """
    file, _ = read_toml(text, RoleFile, shown, _HINTS, _cross_checks)
    circuit, problems = complete(_description(file), Path(shown).name)
    if circuit is None:
        raise report(shown, text, [(tuple(key.split(".")), message) for key, message in problems])
    return Roles(file=file, circuit=circuit, shown=shown, text=text)


def tolerance_of(text: str, value: float | None, unit: str) -> Toleranced:
    """Apply a tolerance of the role file to a value of the netlist [`unit`].

    Raises InputError for a share without a value, and for a whole value that does not hold the netlist's.

    Parameters
    ----------
    text : A share such as ``1 %``, or a whole value such as ``990 ohm .. 1.01 kohm``
    value : The netlist's value [`unit`]; None where it gives none

    Examples
    --------
    >>> tolerance_of("1 %", 1000.0, "ohm").high
    1010.0
    """
    share = _SHARE.fullmatch(text)
    if share is None:
        whole = parse_toleranced(text, unit)
        slack = 1e-9 * max(abs(whole.low), abs(whole.high))
        if value is not None and not whole.low - slack <= value <= whole.high + slack:
            raise InputError(f"{text!r} does not hold the netlist's value, {value:g} {unit}; correct one of the two")
        return whole
    if value is None:
        raise InputError(f"the netlist gives no steady value; write a whole value in {unit} instead of a share")
    half = abs(value) * float(share.group(1)) / 100.0
    return Toleranced(low=value - half, nominal=value, high=value + half, unit=unit)


def _description(file: RoleFile) -> d.Description:
    """The parts of a circuit file that a role file shares with it; the rest are stand-ins that nothing reads."""
    none = Toleranced.exact(0.0, "ohm")
    one = Toleranced.exact(1.0, "ohm")
    arm = FeedPart.model_construct(
        name="arm switch", kind="arm switch", resistance=file.arm_switch.resistance, edge=Toleranced.exact(0.0, "s")
    )
    channels = [
        d.Channel.model_construct(
            name=channel.name,
            igniters=[list(channel.igniters.values())],
            mosfet=channel.mosfet,
            pulse=Toleranced.exact(1.0, "s"),
            lead=Wiring.model_construct(resistance=none, joints=none),
            gate=d.Gate.model_construct(series=none, pull_down=(one,)),
            sense=d.Sense.model_construct(upper=(one,), lower=one),
        )
        for channel in file.channel
    ]
    return d.Description.model_construct(
        format=1,
        title=file.title,
        ambient=file.ambient,
        battery=file.battery,
        feed=[arm],
        load=[],
        controller=file.controller,
        igniter=file.igniter,
        mosfet=file.mosfet,
        channel=channels,
        rules=file.rules,
        checklist=file.checklist,
    )


def _cross_checks(table: dict[str, Any]) -> list[tuple[KeyPath, str]]:
    """Rules between tables, on raw values."""
    found: list[tuple[KeyPath, str]] = []
    given = table.get("channel")
    channels = [c if isinstance(c, dict) else {} for c in (given if isinstance(given, list) else [])]
    uses: list[tuple[KeyPath, str]] = []
    for index, channel in enumerate(channels):
        place: KeyPath = ("channel", index)
        igniters = channel.get("igniters")
        for element, kind in (igniters if isinstance(igniters, dict) else {}).items():
            uses.append(((*place, "igniters", element), element))
            found += _known((*place, "igniters", element), "igniter", kind, table)
        found += _known((*place, "mosfet"), "mosfet", channel.get("mosfet"), table)
        uses.append(((*place, "low_side_switch"), str(channel.get("low_side_switch"))))
    battery, arm = table.get("battery"), table.get("arm_switch")
    if isinstance(battery, dict) and "element" in battery:
        uses.append((("battery", "element"), str(battery["element"])))
    if isinstance(arm, dict) and isinstance(arm.get("elements"), list):
        uses += [(("arm_switch", "elements"), str(element)) for element in arm["elements"]]
    controller = table.get("controller")
    if isinstance(controller, dict) and "supply_element" in controller:
        uses.append((("controller", "supply_element"), str(controller["supply_element"])))
    found += _twice(uses)
    names = [((("channel", i, "name")), str(c.get("name"))) for i, c in enumerate(channels)]
    found += _twice(names)
    adc = controller.get("adc") if isinstance(controller, dict) else None
    for key in ("sample_capacitance", "acquisition_time"):
        if isinstance(adc, dict) and key in adc:
            found.append((("controller", "adc", key), "settling is not computed for a foreign netlist; leave it out"))
    found += limit_mistakes(table)
    text = table.get("resistor_tolerance")
    if isinstance(text, str) and not _SHARE.fullmatch(text):
        found.append((("resistor_tolerance",), f"is a share such as '1 %'; received {text!r:.60}"))
    return found


def _twice(uses: Iterable[tuple[KeyPath, str]]) -> list[tuple[KeyPath, str]]:
    seen: dict[str, KeyPath] = {}
    found: list[tuple[KeyPath, str]] = []
    for path, name in uses:
        if name.lower() in seen:
            found.append((path, f"{name!r} has two roles or stands twice; each has one"))
        seen[name.lower()] = path
    return found


def _known(path: KeyPath, table_name: str, name: Any, table: Mapping[str, Any]) -> list[tuple[KeyPath, str]]:
    known = table.get(table_name)
    if not isinstance(name, str) or not isinstance(known, dict) or name in known:
        return []
    offered = did_you_mean(name, known) or f"there are: {', '.join(sorted(known)) or 'none'}"
    return [(path, f"unknown {table_name} {name!r}; {offered}")]
