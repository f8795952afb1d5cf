"""Circuits for the tests of trials: a template in which any value can be changed."""

from __future__ import annotations

from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit

__all__ = ["firing_circuit"]

TEMPLATE = """
format = 1
title = "trial circuit"
ambient = {{ temperature = "{ambient}" }}

[battery]
open_circuit_voltage = "{voltage}"
resistance = "{resistance}"
resistance_temperature = "{resistance_at}"
{battery}

[[feed]]
name = "arm switch"
kind = "arm switch"
resistance = "{arm_switch}"
{feed}

[controller]
powered_by = "{powered_by}"
supply = "{supply}"
dropout = "{dropout}"
current = "{controller_current}"
{controller}
[controller.pin]
output_resistance = "0 ohm"
leakage = "0 A"
[controller.adc]
bits = 12
ratiometric = true

[igniter.match]
bridge_resistance = "{bridge}"
no_fire = {{ current = "{no_fire}", duration = "300 s", reliability = 0.999, confidence = 0.95 }}
all_fire = {{ current = "{all_fire}", duration = "1 s", reliability = 0.999, confidence = 0.95 }}
{heating}
{spent}
{igniter}

[mosfet.switch]
threshold = "1 V"
on_resistance = [{{ gate = "2.5 V", resistance = "{mosfet}" }}]
on_resistance_hot_factor = 1.0
leakage = {{ cool = "0 A", hot = "0 A" }}
gate_leakage = "0 A"
max_junction = "150 degC"
{channels}
"""

CHANNEL = """
[[channel]]
name = "{name}"
igniters = {strings}
mosfet = "switch"
pulse = "{pulse}"
start = "{start}"
lead = {{ resistance = "{lead}", joints = "0 ohm" }}
gate = {{ series = "0 ohm", pull_down = "10 kohm" }}
sense = {{ upper = "100 kohm", lower = "47 kohm", temperature_coefficient = "0 / K" }}
"""

USUAL: dict[str, str | None] = {
    "ambient": "20 degC", "voltage": "6 V", "resistance": "0.1 ohm", "resistance_at": "ambient", "battery": "", "arm_switch": "0 ohm", "feed": "",
    "powered_by": "before arm switch", "supply": "3 V", "dropout": "0 V", "controller_current": "0 A",
    "controller": "", "bridge": "1 ohm", "no_fire": "0.3 A", "all_fire": "0.9 A",
    "heating": 'time_constant = "20 ms"', "spent": "open", "igniter": "", "mosfet": "1 mohm",
}  # fmt: skip


def firing_circuit(
    *channels: list[list[str]],
    pulse: str = "500 ms",
    lead: str = "0 ohm",
    starts: tuple[str, ...] = (),
    **changed: str | None,
) -> Circuit:
    """A circuit of one channel for each cluster; one igniter where none is given. Without `spent` at None."""
    clusters = channels or ([["match"]],)
    texts = [
        CHANNEL.format(
            name=f"channel {i + 1}", strings=cluster, pulse=pulse, lead=lead, start=starts[i] if starts else "0 s"
        )
        for i, cluster in enumerate(clusters)
    ]
    values = USUAL | changed
    values["spent"] = "" if values["spent"] is None else f'spent = "{values["spent"]}"'
    for place, key, text in (("battery", "polarisation", "none"), ("igniter", "temperature_coefficient", "0 / K")):
        if key not in values[place]:
            values[place] += f'\n{key} = "{text}"'
    return parse_circuit(TEMPLATE.format(**values, channels="".join(texts)), name="trial.toml")
