"""Every key of the circuit file counts: left out it improves nothing, changed it changes the result or is named unused.

Every key of the schema is tried on the quickest circuit that has it: an example, or the sound circuit with what no
example has. Better is a verdict nearer to PASS, where FAIL may become UNKNOWN for a reason that is named, or a larger
margin.
"""

from __future__ import annotations

import functools
import re
import tomllib
from collections.abc import Iterator
from copy import deepcopy
from typing import Any, get_args

import pytest
from pydantic import BaseModel, ValidationError

from ignition.analyses.continuity.findings import continuity_findings
from ignition.analyses.faults.single import single_fault_currents
from ignition.analyses.firing.firing import firing
from ignition.analyses.no_fire.steady import no_fire
from ignition.analyses.verdict import Check, check, judge_firing
from ignition.circuit.complete import complete
from ignition.circuit.description import Description
from ignition.circuit.examples import example_names, example_text
from ignition.circuit.given import given_keys
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.findings.blame import blamed
from ignition.findings.finding import Finding
from ignition.toleranced import Toleranced
from tests.circuit.edits import edited
from tests.circuit.fitted import CLUB_MONITOR, SECOND, TRUNK
from tests.circuit.sound import SOUND

CELLS = ('open_circuit_voltage = "8.0 V .. 8.2 V .. 8.4 V"\nresistance = "40 mohm .. 60 mohm .. 100 mohm"\nresistance_temperature = "20 degC"')  # fmt: skip
FEED = """[[feed]]
name = "trip"
kind = "resettable fuse"
resistance = "20 mohm"
hold_current = "2 A .. 3 A"
trip_i2t = "20 A^2 s .. 40 A^2 s"
derating = 1

[[feed]]
name = "harness"
kind = "wire"
wire = "AWG 18"
wire_class = "stranded"
distance = "1 m"

[[load]]
name = "lamp"
current = "0.1 A"

[[feed]]"""
LIMITS = f"""
[rules]
presets = ["range safety"]
reliability = 0.99
confidence = 0.9
{CLUB_MONITOR}[[rules.limit]]
name = "club firing"
kind = "firing current at least"
share_of_all_fire = 2.0
source = "club book"
date = "2026"
[[rules.limit]]
name = "club inhibits"
kind = "faults to fire at least"
faults = 2
phases = ["disarmed"]
source = "club book"
date = "2026"
"""
FAULTS = """
[faults]
off = [{ fault = "J1 wet*", because = "sealed" }]
add = [{ name = "strap", between = ["line.drain", "ground"], resistance = "5 kohm" }]
weight = [{ fault = "strap short", weight = 0.01 }]
[[faults.connector]]
name = "J1"
pins = ["line.line out", "line.line back"]
"""
LEAD = 'lead = { wire = "AWG 20", distance = "3 m", joints'
STATES = {
    "parts of the feed": edited(SOUND, ("[[feed]]", FEED), ("[controller]", f"{TRUNK}\n[controller]")) + LIMITS,
    "a fault list of its own": SOUND + FAULTS,
    "a slow drop": edited(SOUND, ('polarisation = "none"', 'polarisation = { resistance = "50 mohm", time_constant = "1 s" }')),
    "a bank": edited(
        SOUND,
        ('protection = "none"', 'protection = "none"\ncapacitor_bank = { capacitance = "1 F", series_resistance = "20 mohm", recharge_resistance = "1 kohm" }'),
    ),
    "readings": edited(
        SOUND, (CELLS, 'readings = { open = "8.2 V", loaded = "8.0 V", load = "3 ohm", temperature = "20 degC" }')
    ),
    "cells": edited(SOUND, (CELLS, 'chemistry = "lithium-ion"\ncells_in_series = 2\ncells_in_parallel = 1\nstate_of_charge = "50 % .. 100 %"')),
    "a second measurement": edited(SOUND, ("sense = {", SECOND)),
    "a trace": edited(SOUND, (LEAD, 'lead = { trace = { width = "3 mm", thickness = "35 um", layer = "outer" }, distance = "0.2 m", joints'), ("gate = {", 'branch = { trace = { width = "1 mm", thickness = "35 um", layer = "inner" }, distance = "5 cm", joints = "1 mohm" }\ngate = {')),
    "a measured lead": edited(SOUND, (LEAD, 'lead = { resistance = "0.2 ohm", wire = "AWG 20", wire_class = "solid", inductance = "3 uH", capacitance = "200 pF", joints'), ("gate = {", 'branch = { resistance = "20 mohm", inductance = "50 nH", capacitance = "20 pF", joints = "1 mohm" }\ngate = {')),
    "a protection that trips": edited(SOUND, ('protection = "none"', 'protection = { trip_current = "2 A", delay = "0.1 ms" }')),
    "responses": edited(SOUND, ('time_constant = "10 ms"', 'response = [["2 A", "0.5 ms"]]')),
    "a resistor at the pin": edited(SOUND, ('filter = "100 nF"', 'filter = "100 nF", pin_resistor = "10 kohm"')),
    "a pull-down in reset": edited(SOUND, ('reset_pull_up = "none"', 'reset_pull_up = "none"\nreset_pull_down = "50 kohm"')),
    "contacts of the line": edited(SOUND, ("gate = {", 'high_side = { resistance = "20 mohm", around = "10 kohm" }\nreturn_contact = "15 mohm"\ngate = {')),
    "a shunt": edited(SOUND, ("gate = {", 'shunt = "50 mohm"\ngate = {'))
    + '\n[faults]\noff = [{ fault = "arm switch jammed*", because = "a relay of its own holds the shunt" }]\n',
    "a slow converter": edited(SOUND, ('sample_capacitance = "8 pF"\nacquisition_time = "20 us"', 'sample_capacitance = "100 pF"\nacquisition_time = "1 us"')),
}  # fmt: skip
"""The sound circuit with what no example has, by what that is."""

NOT_THERE = re.compile(
    r"^(rules|faults)\b|\.second\b|\.gate\.(series|pull_down|capacitor)$"
    r"|\.(filter|pin_resistor|recharge_resistance|return_contact|shunt)$"
)
"""What, left out, is a part that is not fitted, a test that is not made or a limit that nobody asks for."""

RANK = {"FAIL": 0, "UNKNOWN": 1, "PASS": 2}


def completed(table: dict[str, Any]) -> Circuit | None:
    """The circuit of a table; None where it is refused."""
    try:
        return complete(Description.model_validate(table))[0]
    except (ValidationError, InputError):
        return None


def checked(table: dict[str, Any]) -> Check | None:
    """Check a table; None where it is refused."""
    circuit = completed(table)
    return None if circuit is None else check(circuit)


@functools.cache
def circuits() -> dict[str, tuple[dict[str, Any], Check]]:
    """Every circuit by its name, with its table: of one channel first, which are quicker, of these the least to judge."""
    texts = STATES | {name: example_text(name) for name in example_names()}
    found = {}
    for name, text in texts.items():
        table = tomllib.loads(text)
        result = checked(table)
        assert result is not None, name
        found[name] = (table, result)

    def effort(result: Check) -> tuple[int, int]:
        open_questions = sum(f.verdict != "PASS" for f in result.findings)
        return len(result.circuit.channels), len(result.findings) + 20 * open_questions * len(
            result.circuit.assumptions
        )

    return dict(sorted(found.items(), key=lambda pair: effort(pair[1][1])))


def generic(key: str) -> str:
    """A key without positions and names of types: what the schema calls it."""
    return re.sub(r"\[\d+\]", "", re.sub(r"^(igniter|mosfet)\.[^.]+", r"\1", key))


@functools.cache
def cases() -> dict[str, tuple[str, str]]:
    """Circuit and key to try, by key of the schema; one that uses the key, if there is one."""
    found: dict[str, tuple[str, str]] = {}
    for used in (True, False):
        for name, (_, result) in circuits().items():
            unused = result.unused
            for key in given_keys(result.circuit):
                if (key not in unused) is used:
                    found.setdefault(generic(key), (name, key))
    return found


def schema_keys(model: type[BaseModel] = Description, prefix: str = "") -> Iterator[str]:
    """Every key that a file may have, without positions and names."""
    for name, field in model.model_fields.items():
        key = f"{prefix}.{name}" if prefix else name
        inner = [
            m for m in (field.annotation, *flat(field.annotation)) if isinstance(m, type) and issubclass(m, BaseModel)
        ]
        for one in inner:
            yield from schema_keys(one, key)
        if not inner:
            yield key


def flat(annotation: Any) -> Iterator[Any]:
    """Every type inside an annotation."""
    for part in get_args(annotation):
        yield part
        yield from flat(part)


def place(table: dict[str, Any], key: str) -> tuple[Any, str | int]:
    """The table that holds a key, and the key's last word."""
    node: Any = table
    *path, last = re.findall(r"[^.\[\]]+", key)
    for word in path:
        node = node[int(word)] if isinstance(node, list) else node[word]
    return node, int(last) if isinstance(node, list) else last


def without(table: dict[str, Any], key: str) -> dict[str, Any]:
    """The table without a key."""
    found = deepcopy(table)
    node, last = place(found, key)
    del node[last]
    return found


def better(before: Check, after: Check) -> list[str]:
    """Findings that are better than they were."""
    now = {f.identity: f for f in after.findings}
    return [
        f"{f.rule} {f.phase} {f.igniter or f.part or ''}: {says}" for f in before.findings if (says := improved(f, now))
    ]


def improved(old: Finding, now: dict[tuple[str | None, ...], Finding]) -> str | None:
    """In what a finding is better than it was; where it is gone, another one of its rule has to stand for it."""
    new = now.get(old.identity)
    if new is None:
        others = [f for f in now.values() if f.rule == old.rule and f.channel == old.channel]
        return None if any(f.verdict != "PASS" for f in others) else "is gone"
    if new.verdict == "UNKNOWN" and new.keys:
        return None
    if RANK[new.verdict] > RANK[old.verdict]:
        return f"{old.verdict} becomes {new.verdict}"
    if old.margin is not None and new.margin is not None and new.margin > old.margin * (1.0 + 1e-7):
        return f"margin {old.margin} becomes {new.margin}"
    return None


def others(value: Any, name: str) -> Iterator[Any]:
    """Other values of a key, near and far."""
    if name == "start":
        yield Toleranced.exact(2.0, "s")
    elif isinstance(value, Toleranced):
        for factor in (1.4, 0.7, 1.02, 0.98, 30.0, 1e-4):
            shift = 25.0 * (factor - 1.0) if value.unit == "degC" else 1e-6 * factor if value.nominal == 0.0 else 0.0
            scale = 1.0 if value.unit == "degC" else factor
            ends = {end: getattr(value, end) * scale + shift for end in ("low", "nominal", "high")}
            yield Toleranced(**ends, unit=value.unit)
    elif isinstance(value, bool):
        yield not value
    elif isinstance(value, int | float):
        yield from (
            (value + 1, value - 1) if isinstance(value, int) else (0.97 * value, 0.1 * value, 0.9999, 0.6, value + 1.0)
        )
    elif name == "response":
        yield [["2 A", "0.6 ms"]]
    elif name == "presets":
        yield ["firework unit"]
    elif name == "phases":
        yield ["armed"]
    elif name == "fault":
        yield "line.upper*"
    elif name == "between":
        yield ["bus", "ground"]
    else:
        words = {
            "chemistry": ("lead-acid", "alkaline", "lithium-polymer"), "wire": ("AWG 16", "AWG 30"), "wire_class": ("flexible", "solid"),
            "layer": ("inner",), "spent": ("short", "open"), "reset_pull_up": ("45 kohm",), "protection": ({"trip_current": "2 A", "delay": "1 ms"},),
            "powered_by": ("after arm switch", "before arm switch"), "polarisation": ({"resistance": "10 mohm", "time_constant": "1 s"},),
        }  # fmt: skip
        yield from (word for word in words.get(name, (f"{value} x",)) if word != value)


def test_every_key_of_the_schema_is_tried() -> None:
    """The circuits together have every key that a file may have."""
    assert set(schema_keys()) - set(cases()) == set()


def test_leaving_a_key_out_improves_nothing() -> None:
    """It is refused, or every finding is as it was, worse, or UNKNOWN with its reason."""
    faults = []
    for shown, (name, key) in cases().items():
        if NOT_THERE.search(shown):
            continue
        table, before = circuits()[name]
        after = checked(without(table, key))
        faults += [] if after is None else [f"{name}, {key}: {what}" for what in better(before, after)]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize(
    "table", ["battery.polarisation", "battery.protection", "igniter.motor.no_fire", "igniter.motor.all_fire"]
)
def test_leaving_a_table_out_improves_nothing(table: str) -> None:
    """A statement, a slow drop and a protection circuit that are not given at all."""
    name = (
        "a slow drop"
        if table.endswith("polarisation")
        else "ejection-single-cell"
        if table.startswith("battery")
        else "cold-cluster"
    )
    given, before = circuits()[name]
    after = checked(without(given, table))
    assert after is not None and better(before, after) == []


def seen_changed(before: Check, circuit: Circuit) -> bool:
    """Whether a reader of a check sees that it is another: by findings, currents and failure points, the quickest first.

    A finding of a question by itself that the check did not have is one that the whole check has now.
    """
    known = set(before.findings)
    quiet = no_fire(circuit)
    return (
        quiet != before.no_fire
        or not known.issuperset(blamed(circuit, continuity_findings))
        or single_fault_currents(circuit).points != before.single_faults.points
        or not known.issuperset(judge_firing(circuit, firing(circuit)))
        or check(circuit).findings != before.findings
    )


def test_changing_a_key_changes_the_result() -> None:
    """Findings, currents or failure points change, or every change is refused, or the key is named as unused."""
    faults = []
    for shown, (name, key) in cases().items():
        table, before = circuits()[name]
        if (
            key in before.unused
            or shown in ("format", "title")
            or shown.startswith("faults.weight")  # sorts what `faults` lists
            or shown.endswith(("name", ".mosfet", ".igniters", ".kind", ".between", ".pins"))
        ):
            continue
        value, refused = given_keys(before.circuit)[key], True
        for other in others(value, key.rpartition(".")[2]):
            changed = deepcopy(table)
            node, last = place(changed, key)
            node[last] = other
            after = completed(changed)
            refused = refused and after is None
            if after is not None and seen_changed(before, after):
                break
        else:
            faults += [] if refused else [f"{name}: {key}"]
    assert not faults, "\n".join(faults)
