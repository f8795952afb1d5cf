"""Netlists and role files for the tests of foreign netlists: random ones, and the bench channel as a netlist."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ignition.foreign.flatten import FlatNetlist
from ignition.network.elements import GROUND, Element, Network

__all__ = ["BENCH_CIRCUIT", "BENCH_NETLIST", "BENCH_ROLES", "RandomNetlist", "plain_network", "random_netlist"]

BENCH_CIRCUIT = """
format = 1
title = "Bench check"
[ambient]
temperature = "20 degC"
[battery]
open_circuit_voltage = "7.0 V .. 7.6 V .. 8.4 V"
resistance = "40 mohm .. 60 mohm .. 100 mohm"
[[feed]]
name = "arm switch"
kind = "arm switch"
resistance = "10 mohm .. 20 mohm .. 50 mohm"
[controller]
powered_by = "before arm switch"
supply = "3.3 V"
[controller.pin]
output_resistance = "0 ohm"
reset_pull_up = "none"
leakage = "0.3 uA"
[controller.adc]
bits = 12
reference = "3.3 V ± 1 %"
total_error = 2
leakage = "0.1 uA"
[igniter.match]
bridge_resistance = "0.8 ohm .. 1.0 ohm .. 1.3 ohm"
no_fire = { current = "0.2 A", duration = "300 s", reliability = 0.999, confidence = 0.95 }
all_fire = { current = "0.8 A", duration = "1 s", reliability = 0.999, confidence = 0.95 }
time_constant = "10 ms"
[mosfet.low_side]
threshold = "1.0 V .. 1.5 V .. 2.0 V"
on_resistance = [{ gate = "2.5 V", resistance = "10 mohm .. 14 mohm .. 20 mohm" }]
leakage = { cool = "1 uA", hot = "40 uA" }
[[channel]]
name = "line"
igniters = [["match"]]
mosfet = "low_side"
pulse = "1 s"
lead = { resistance = "0.3 ohm .. 0.4 ohm .. 0.6 ohm", joints = "0 ohm" }
gate = { series = "100 ohm", pull_down = "10 kohm" }
sense = { upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %" }
"""
"""A channel of the template as a circuit file."""

BENCH_NETLIST = """Bench check as a schematic editor writes it
VBAT batt 0 DC 7.6
R_ARM batt bus 20m
RLEAD bus out 400mohm
RIGN out drain 1
M1 drain gate 0 SW
R3 pin gate 100
R4 gate 0 10k
R5 drain adc 100k
R6 adc 0 33kohm
C1 adc 0 100nF
.model SW VDMOS (Vto=1.5 Kp=10)
.end
"""
"""The same channel as a netlist: the whole round trip stands before the igniter."""

BENCH_ROLES = (
    BENCH_CIRCUIT.split("[[feed]]")[0].replace("[battery]", '[battery]\nelement = "VBAT"')
    + """
[arm_switch]
elements = ["R_ARM"]
resistance = "10 mohm .. 20 mohm .. 50 mohm"
"""
    + BENCH_CIRCUIT[BENCH_CIRCUIT.index("[controller]") : BENCH_CIRCUIT.index("[[channel]]")]
    + """
[[channel]]
name = "line"
igniters = { RIGN = "match" }
low_side_switch = "M1"
mosfet = "low_side"
gate_pin = { node = "pin" }
sense_node = "adc"
[tolerance]
RLEAD = "0.3 ohm .. 0.4 ohm .. 0.6 ohm"
R3 = "0 %"
R4 = "0 %"
R5 = "1 %"
R6 = "1 %"
"""
)
"""Its role file."""


@dataclass(frozen=True)
class RandomNetlist:
    """Text of a random netlist, and the same network without any text in between."""

    text: str
    network: Network
    values: dict[str, float]


def plain_network(netlist: FlatNetlist) -> tuple[Network, dict[str, float]]:
    """Network of a flat netlist of resistors and sources, its values exact."""
    elements, values = [], {}
    for part in netlist.parts:
        plus, minus = (GROUND if node == "0" else node for node in part.nodes)
        kind, quantity = {"r": ("resistor", "resistance"), "v": ("source", "voltage"), "i": ("sink", "current")}[
            part.kind
        ]
        terms = {quantity: ((part.name, 1.0),)}
        elements.append(Element(name=part.name, kind=kind, plus=plus, minus=minus, **terms))  # type: ignore[arg-type]
        assert part.value is not None
        values[part.name] = part.value
    return Network(elements=tuple(elements)), values


def random_netlist(seed: int) -> RandomNetlist:
    """Resistors in a random mesh, some in subcircuits inside subcircuits with parameters, one battery, one load."""
    rng = np.random.default_rng(seed)
    nodes = [f"N{k}" for k in range(int(rng.integers(3, 8)))]
    pairs = [("in", nodes[0]), *zip(nodes, [*nodes[1:], "0"], strict=True)]
    pairs += [tuple(rng.choice(["in", *nodes, "0"], 2, replace=False)) for _ in range(int(rng.integers(1, 6)))]
    lines = [f"random netlist {seed}", "VBAT in 0 DC 9"]
    flat: list[tuple[str, str, str, float]] = []
    for index, (one, two) in enumerate(pairs):
        low, high = (str(node).lower() for node in (one, two))
        text, value = _plain(rng)
        shape = rng.choice(["plain", "pad", "nest", "parameter"])
        if shape == "plain":
            lines.append(f"{rng.choice(['R', 'r'])}{index} {one} {two} {text}")
            flat.append((f"R{index}", low, high, value))
        elif shape == "parameter":
            lines += [f".param p{index} = {text} ; value", f"R{index} {one}\n+ {two}", "* between", f"+ {{p{index}}}"]
            flat.append((f"R{index}", low, high, value))
        elif shape == "pad":
            lines.append(f"X{index} {one} {two} pad params: rs={text}")
            flat += _pad(f"X{index}", low, high, value)
        else:
            lines.append(f"X{index} {one} {two} nest rn = {text}")
            flat += [*_pad(f"X{index}.XA", low, f"x{index}.mid", value), (f"X{index}.R9", f"x{index}.mid", high, 330.0)]
    lines += [
        f"ILOAD {nodes[-1]} 0 1.5m",
        ".subckt pad a b rs=1k rp=47k", "R1 a m {rs}", "R2 m b 'rs'", "R3 m gnd {rp}", ".ends pad",
        ".subckt nest p q rn=2k", "XA p mid pad rs={rn}", "R9 mid q 330", ".ends",
        ".end", "",
    ]  # fmt: skip
    elements = [Element(name="VBAT", kind="source", plus="in", minus=GROUND, voltage=(("VBAT", 1.0),))]
    for name, low, high, _ in flat:
        ends = tuple(GROUND if node == "0" else node for node in (low, high))
        elements.append(Element(name=name, kind="resistor", plus=ends[0], minus=ends[1], resistance=((name, 1.0),)))
    load = nodes[-1].lower()
    elements.append(Element(name="ILOAD", kind="sink", plus=load, minus=GROUND, current=(("ILOAD", 1.0),)))
    values = {name: value for name, _, _, value in flat} | {"VBAT": 9.0, "ILOAD": 1.5e-3}
    return RandomNetlist(text="\n".join(lines), network=Network(elements=tuple(elements)), values=values)


def _pad(name: str, low: str, high: str, value: float) -> list[tuple[str, str, str, float]]:
    middle = f"{name.lower()}.m"
    return [
        (f"{name}.R1", low, middle, value),
        (f"{name}.R2", middle, high, value),
        (f"{name}.R3", middle, "0", 47e3),
    ]


def _plain(rng: np.random.Generator) -> tuple[str, float]:
    """A resistance between 10 ohm and 1 Mohm in some spelling, and its value."""
    value = float(f"{np.exp(rng.uniform(np.log(10.0), np.log(1e6))):.6g}")
    forms = [
        (f"{value!r}", value),
        (f"{value / 1e3!r}k", value),
        (f"{value / 1e3!r}Kohm", value),
        (f"{value / 1e6!r}meg", value),
        (f"{value * 1e3!r}m", value),
        (f"{value / 1e3!r}e3", value),
        (f"{value * 1e6!r}u", value),
        (f"{value / 1e9!r}G", value),
    ]
    return forms[int(rng.integers(len(forms)))]
