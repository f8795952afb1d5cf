"""An example circuit file written as a deck, and that deck read back as a foreign netlist with a role file."""

from __future__ import annotations

import re
from collections.abc import Iterator

from ignition.circuit.examples import example_text, load_example
from ignition.circuit.model import ChannelModel, Circuit
from ignition.foreign.binding import Bound, bind
from ignition.foreign.reader import parse_netlist
from ignition.foreign.roles import parse_roles
from ignition.spice.netlists import netlist_texts
from ignition.toleranced import Toleranced

__all__ = ["exported", "renamed"]

_REFUSED = ("sample_capacitance", "acquisition_time")
"""Keys that a role file refuses."""


def exported(name: str, sections: dict[str, str] | None = None) -> Bound:
    """The only channel of an example as a netlist: its deck's resistors and sources, and the gate side by hand.

    The deck writes clamps, leakages and the MOSFET as behavioural sources, which the role file brings back.
    """
    circuit = load_example(name)
    (channel,) = circuit.channels
    deck = netlist_texts(circuit)[f"armed_{channel.name}_intact.cir"]
    tolerances = dict(_tolerances(circuit, channel))
    lines, left = [deck.splitlines()[0]], set[str]()
    for line in deck.splitlines()[1:]:
        card = line.split()[0]
        if card.startswith(("B_", "I_")) or card == "R_battery":
            left.add(card[2:])
        elif card.startswith(("R_", "V_")) or (card.startswith("Vm_") and card[3:] not in left):
            lines.append(line.replace("middle_battery", "battery_terminal"))
    lines += [f"M1 {channel.name}_drain gate 0 SW", ".model SW VDMOS (Vto=1)", "R_gate_series pin gate 100"]
    lines += ["R_pull_down gate 0 10k", ".end"]
    text = "\n".join(lines) + "\n"
    given = [f'{card} = "{value}"' for card, value in tolerances.items() if f"\n{card} " in text]
    return bind(parse_netlist(text, "exported.cir"), parse_roles(_roles(name, channel, given, sections or {})))


def _tolerances(circuit: Circuit, channel: ChannelModel) -> Iterator[tuple[str, str]]:
    half = channel.lead.resistance.times(0.5)
    own = {
        f"{channel.name}_lead_out": half,
        f"{channel.name}_lead_back": half,
        f"{channel.name}_lower": channel.lower,
        f"{channel.name}_pin_resistor": channel.pin_resistor,
        f"{channel.name}_upper": channel.upper,
    }
    own |= {f"feed_{part.name}": part.resistance for part in circuit.feed if part.kind != "arm switch"}
    for name, value in own.items():
        yield f"R_{name}", _whole(value)
    assert channel.pull_down is not None
    yield "R_gate_series", _whole(channel.gate_series)
    yield "R_pull_down", _whole(channel.pull_down)


def _whole(value: Toleranced) -> str:
    return f"{value.low!r} ohm .. {value.nominal!r} ohm .. {value.high!r} ohm"


def _roles(name: str, channel: ChannelModel, given: list[str], sections: dict[str, str]) -> str:
    """The tables that both files share, as the example has them, and the roles."""
    kept = []
    for table in re.split(r"\n(?=\[)", example_text(name)):
        head = table.split("]")[0].lstrip("[")
        if head.split(".")[0] in ("ambient", "battery", "controller", "igniter", "mosfet", "rules"):
            kept.append("\n".join(line for line in table.splitlines() if not line.startswith(_REFUSED)))
        if head == "battery":
            kept.append('element = "V_battery"')
        if head.startswith("["):
            break
    arm = next(part for part in load_example(name).feed if part.kind == "arm switch")
    kinds = ", ".join(f'R_{channel.name}_igniter_1_1 = "{kind}"' for string in channel.strings for kind in string)
    kept += [
        f'[arm_switch]\nelements = ["R_feed_arm_switch"]\nresistance = "{_whole(arm.resistance)}"',
        f'[[channel]]\nname = "{channel.name}"\nigniters = {{ {kinds} }}\nlow_side_switch = "M1"',
        f'mosfet = "{channel.mosfet}"\ngate_pin = {{ node = "pin" }}\nsense_node = "{channel.name}_adc_pin"',
        "[tolerance]",
        *given,
    ]
    text = "\n".join(("format = 1", f'title = "{name}"', *kept))
    for old, new in sections.items():
        assert old in text
        text = text.replace(old, new)
    return text


def renamed(circuit: Circuit) -> dict[str, str]:
    """Part of the netlist's faults for each part of the circuit file's."""
    (channel,) = circuit.channels
    name = channel.name
    parts = {f"{name}.{which}": f"R_{name}_{which.replace(' ', '_')}" for which in ("upper", "lower", "pin resistor")}
    parts |= {
        f"{name}.{which}": f"R_{which.replace('-', '_').replace(' ', '_')}" for which in ("gate series", "pull-down")
    }
    parts |= {part.name: f"R_feed_{part.name.replace(' ', '_')}" for part in circuit.feed}
    return parts | {
        f"{name}.igniter 1.1": f"R_{name}_igniter_1_1",
        f"{name}.mosfet": "M1",
        f"{name}.gate pin": "gate pin pin",
        f"{name}.converter pin": f"converter pin {name}_adc_pin",
        f"{name}.lead out": f"wire {name}_line_out",
        f"{name}.lead back": f"wire middle_{name}_igniter_1_1",
        "regulator": "regulator",
        "controller": "controller",
    }
