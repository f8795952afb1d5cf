"""Circuits of which every value has three ends, and what one end moved further out does to every finding."""

from __future__ import annotations

import functools
import re
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from typing import Any, Literal

from ignition.analyses.continuity.findings import continuity_findings
from ignition.analyses.firing.findings import firing_findings
from ignition.analyses.firing.firing import firing
from ignition.analyses.no_fire.findings import no_fire_findings, switch_on_findings
from ignition.analyses.no_fire.steady import no_fire
from ignition.analyses.no_fire.switch_on import switch_on
from ignition.circuit.complete import complete, judged
from ignition.circuit.description import Description
from ignition.findings.finding import Finding
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

__all__ = ["WEAK", "WIDE", "findings_of", "moved", "nominals_moved", "signs"]

End = Literal["low", "nominal", "high"]
ENDS: tuple[End, End] = ("low", "high")

FUSE = """[[feed]]
name = "fuse"
kind = "fuse"
resistance = "4 mohm .. 5 mohm .. 6 mohm"
rating = "3 A .. 3.2 A .. 3.4 A"
melting_i2t = "400 A^2 s .. 500 A^2 s .. 600 A^2 s"

[[feed]]"""

WIDE = edited(
    SOUND,
    ('temperature = "20 degC"', 'temperature = "-10 degC .. 20 degC .. 40 degC"'),
    ("[[feed]]", FUSE),
    ('resistance = "10 mohm"', 'resistance = "9 mohm .. 10 mohm .. 12 mohm"'),
    ('supply = "3.3 V"', 'supply = "3.2 V .. 3.3 V .. 3.4 V"'),
    ('dropout = "0.3 V"', 'dropout = "0.2 V .. 0.3 V .. 0.4 V"'),
    ('brown_out = "2.7 V"', 'brown_out = "2.6 V .. 2.7 V .. 2.8 V"'),
    ('current = "20 mA"', 'current = "10 mA .. 20 mA .. 30 mA"'),
    ('output_resistance = "30 ohm"', 'output_resistance = "20 ohm .. 30 ohm .. 40 ohm"'),
    (
        'leakage = "1 uA"\nreset_pull_up = "none"',
        'leakage = "0 A .. 0.5 uA .. 1 uA"\nreset_pull_up = "80 kohm .. 100 kohm .. 120 kohm"',
    ),
    ('clamp_resistance = "20 ohm"', 'clamp_resistance = "15 ohm .. 20 ohm .. 30 ohm"'),
    ('clamp_current_limit = "1 mA"', 'clamp_current_limit = "0.9 mA .. 1 mA .. 1.1 mA"'),
    ('reference = "3.0 V"', 'reference = "2.98 V .. 3.0 V .. 3.02 V"'),
    ('leakage = "100 nA"\nsample', 'leakage = "0 A .. 50 nA .. 100 nA"\nsample'),
    ('sample_capacitance = "8 pF"', 'sample_capacitance = "6 pF .. 8 pF .. 10 pF"'),
    ('temperature_coefficient = "0 / K"', 'temperature_coefficient = "0.0001 / K .. 0.0002 / K .. 0.0003 / K"'),
    ('function_temperature = "320 degC"', 'function_temperature = "300 degC .. 320 degC .. 340 degC"'),
    ('time_constant = "10 ms"', 'time_constant = "8 ms .. 10 ms .. 12 ms"'),
    ('threshold_drift = "-4 mV/K"', 'threshold_drift = "-5 mV/K .. -4 mV/K .. -3 mV/K"'),
    ('input_capacitance = "1 nF"', 'input_capacitance = "0.8 nF .. 1 nF .. 1.2 nF"'),
    ('gate_drain_charge = "3 nC"', 'gate_drain_charge = "2 nC .. 3 nC .. 4 nC"'),
    ('gate_leakage = "100 nA"', 'gate_leakage = "0 A .. 50 nA .. 100 nA"'),
    ('gate_rating = "12 V"', 'gate_rating = "11 V .. 12 V .. 13 V"'),
    ('threshold_current = "250 uA"', 'threshold_current = "200 uA .. 250 uA .. 300 uA"'),
    ('subthreshold_slope = "120 mV"', 'subthreshold_slope = "110 mV .. 120 mV .. 130 mV"'),
    ('output_capacitance = "300 pF"', 'output_capacitance = "280 pF .. 300 pF .. 320 pF"'),
    ('reverse_transfer_capacitance = "40 pF"', 'reverse_transfer_capacitance = "38 pF .. 40 pF .. 42 pF"'),
    ('avalanche_energy = "40 mJ"', 'avalanche_energy = "38 mJ .. 40 mJ .. 42 mJ"'),
    ('capacitor = "10 nF"', 'capacitor = "40 nF .. 44 nF .. 48 nF"'),
    (
        'distance = "3 m", joints',
        'distance = "3 m", inductance = "1 uH .. 2 uH .. 3 uH", capacitance = "100 pF .. 200 pF .. 300 pF", joints',
    ),
    ('cool = "1 uA", hot = "100 uA"', 'cool = "0 A .. 0.5 uA .. 1 uA", hot = "0 A .. 50 uA .. 100 uA"'),
    ('breakdown = "30 V"', 'breakdown = "28 V .. 30 V .. 32 V"'),
    ('pulse = "500 ms"', 'pulse = "480 ms .. 500 ms .. 520 ms"'),
    ('distance = "3 m"', 'distance = "2.9 m .. 3 m .. 3.1 m"'),
    (
        'series = "100 ohm", pull_down = "10 kohm"',
        'series = "95 ohm .. 100 ohm .. 105 ohm", pull_down = "9.5 kohm .. 10 kohm .. 10.5 kohm"',
    ),
    (
        'upper = ["49.9 kohm", "49.9 kohm"], lower = "47 kohm"',
        'upper = "99 kohm .. 100 kohm .. 101 kohm", lower = "46.5 kohm .. 47 kohm .. 47.5 kohm"',
    ),
    ('filter = "100 nF"', 'filter = "90 nF .. 100 nF .. 110 nF"'),
)
"""The sound circuit over a range of weather, every value with a tolerance, and a fuse that opens late."""

WEAK = edited(
    SOUND,
    ('resistance = "40 mohm .. 60 mohm .. 100 mohm"', 'resistance = "1.4 ohm .. 1.5 ohm .. 1.6 ohm"'),
    ("[[feed]]", FUSE.replace("3 A .. 3.2 A .. 3.4 A", "20 A .. 21 A .. 22 A")),
    ('dropout = "0.3 V"', 'dropout = "0.2 V .. 0.3 V .. 0.4 V"'),
    ('brown_out = "2.7 V"', 'brown_out = "2 V .. 2.1 V .. 2.2 V"'),
    ('current = "20 mA"', 'current = "10 mA .. 20 mA .. 30 mA"'),
    ('protection = "none"', 'protection = { trip_current = "1 A .. 2 A .. 3 A", delay = "20 ms .. 30 ms .. 40 ms" }'),
    ('pulse = "500 ms"', 'pulse = "8 ms .. 10 ms .. 12 ms"'),
    ('distance = "3 m"', 'distance = "2.9 m .. 3 m .. 3.1 m"'),
    ('output_resistance = "30 ohm"', 'output_resistance = "20 ohm .. 30 ohm .. 40 ohm"'),
    ('time_constant = "10 ms"', 'time_constant = "8 ms .. 10 ms .. 12 ms"'),
    (
        "sense = {",
        'second = { drain_pull_up = "95 kohm .. 100 kohm .. 105 kohm", test_pulse = "1 us .. 2 us .. 3 us", '
        'bus_divider = { upper = "99 kohm .. 100 kohm .. 101 kohm", lower = "46 kohm .. 47 kohm .. 48 kohm" } }\nsense = {',
    ),
)
"""A battery that sags below the controller's supply and trips, a fuse that carries all for good, and three tests."""

NAMES = re.compile(r"(?<=igniter)\.match|(?<=mosfet)\.low_side|(?<=on_resistance)\.resistance")
RANGE = re.compile(r"(-?[\d.]+)( .*) \.\. (-?[\d.]+)( .*) \.\. (-?[\d.]+)( .*)")


def leaves(node: Any, key: str = "") -> Iterator[tuple[Any, Any, str]]:
    """Every value with three ends: the table that holds it, its place there, its key without positions."""
    for place, value in node.items() if isinstance(node, dict) else enumerate(node):
        inner = key if isinstance(place, int) else f"{key}.{place}".removeprefix(".")
        if isinstance(value, dict | list):
            yield from leaves(value, inner)
        elif isinstance(value, str) and RANGE.fullmatch(value):
            yield node, place, NAMES.sub("", inner)


def shifted(value: str, end: End) -> str:
    """A range with one end 2 % of its width further out; the nominal value upwards."""
    found = RANGE.fullmatch(value)
    assert found
    numbers, units = [float(found[place]) for place in (1, 3, 5)], [found[place] for place in (2, 4, 6)]
    step = 0.02 * (numbers[2] - numbers[0])
    place = ("low", "nominal", "high").index(end)
    numbers[place] += -min(step, numbers[0]) if end == "low" and numbers[0] >= 0.0 else -step if end == "low" else step
    return " .. ".join(f"{number!r}{unit}" for number, unit in zip(numbers, units, strict=True))


def findings_of(table: dict[str, Any]) -> dict[tuple[str | None, ...], Finding]:
    """Findings of a table but those on single faults, by what they are about; none is put down to assumptions."""
    given, _ = complete(Description.model_validate(table))
    assert given is not None
    circuit = judged(given)
    found = (
        *no_fire_findings(circuit, no_fire(circuit)),
        *continuity_findings(circuit),
        *switch_on_findings(circuit, switch_on(circuit)),
        *firing_findings(circuit, firing(circuit)),
    )
    return {finding.identity: finding for finding in found}


def moved(text: str) -> Iterator[tuple[str, End, dict[str, Any]]]:
    """A circuit with one outer end of one value moved outwards: key, end, table."""
    for index, (_, _, key) in enumerate(leaves(tomllib.loads(text))):
        for end in ENDS:
            table = tomllib.loads(text)
            node, place, _ = list(leaves(table))[index]
            node[place] = shifted(node[place], end)
            yield key, end, table


def nominals_moved(text: str) -> dict[str, Any]:
    """A circuit with all its nominal values moved."""
    table = tomllib.loads(text)
    for node, place, _ in list(leaves(table)):
        node[place] = shifted(node[place], "nominal")
    return table


@functools.cache
def signs(text: str) -> dict[tuple[str, str], dict[str, str]]:
    """By rule and phase, of every end that changes a value or a limit, what it does: ``value +``, ``limit -``, both."""
    before = findings_of(tomllib.loads(text))
    found: dict[tuple[str, str], dict[str, str]] = defaultdict(dict)
    for key, end, table in moved(text):
        after = findings_of(table)
        for identity, old in before.items():
            new, what = after[identity], []
            for name in ("value", "limit"):
                a, b = getattr(old, name), getattr(new, name)
                if a is not None and abs(b - a) > 1e-9 * abs(a):
                    what.append(f"{name} {'+' if b > a else '-'}")
            if what:
                found[old.rule, old.phase or ""][f"{key} {end}"] = ", ".join(what)
    return dict(found)
