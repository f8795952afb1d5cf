"""Small circuits for the tests of continuity, divider and firmware constants; every value is invented."""

from __future__ import annotations

from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit

__all__ = ["FILTERED", "bench", "cluster", "text"]

_TEXT = """
format = 1
title = "{title}"
[ambient]
temperature = "{ambient}"
[battery]
open_circuit_voltage = "{voltage}"
resistance = "40 mohm .. 60 mohm .. 100 mohm"
{battery}
[[feed]]
name = "arm switch"
kind = "arm switch"
resistance = "10 mohm .. 20 mohm .. 50 mohm"
[controller]
powered_by = "{powered_by}"
supply = "3.3 V"
dropout = "0.3 V"
[controller.pin]
output_resistance = "0 ohm"
leakage = "0 A"
clamp_resistance = "10 ohm"
clamp_drop = "0.5 V"
[controller.adc]
bits = 12
{reference}
total_error = {total_error}
leakage = "{leakage}"
{adc}
[igniter.match]
bridge_resistance = "{bridge}"
no_fire = {{ current = "0.2 A", duration = "300 s", reliability = 0.999, confidence = 0.95 }}
all_fire = {{ current = "0.8 A", duration = "1 s", reliability = 0.999, confidence = 0.95 }}
time_constant = "10 ms"
[mosfet.low_side]
threshold = "1.0 V .. 1.5 V .. 2.0 V"
on_resistance = [{{ gate = "2.5 V", resistance = "10 mohm .. 14 mohm .. 20 mohm" }}]
on_resistance_hot_factor = 1.0
leakage = {{ cool = "0 A", hot = "0 A" }}
max_junction = "150 degC"
{channels}
"""

_CHANNEL = """
[[channel]]
name = "{name}"
igniters = {igniters}
mosfet = "low_side"
pulse = "1 s"
lead = {lead}
gate = {{ series = "100 ohm", pull_down = "10 kohm" }}
sense = {{ {sense} }}
{second}
"""

_DEFAULTS = {
    "title": "Bench check",
    "ambient": "20 degC",
    "voltage": "7.0 V .. 7.6 V .. 8.4 V",
    "battery": "",
    "powered_by": "before arm switch",
    "reference": 'reference = "3.3 V ± 1 %"',
    "total_error": "0",
    "leakage": "0 A",
    "adc": "",
    "bridge": "0.8 ohm .. 1.0 ohm .. 1.3 ohm",
}

FILTERED = 'upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %", filter = "100 nF ± 20 %"'
"""A divider with a filter."""

_CHANNEL_DEFAULTS = {
    "name": "line",
    "igniters": '[["match"]]',
    # 12 m of AWG 20 by theory: 0.127 mm x 92^(16/39), 1/58 ohm mm2/m
    "lead": '{ resistance = "0.39970799955868247 ohm", joints = "20 mohm .. 40 mohm .. 100 mohm" }',
    "sense": 'upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %"',
    "second": "",
}


def text(*, channels: int = 1, **changes: str) -> str:
    """The bench circuit's file with some values changed; more channels are copies with names of their own."""
    parts = _CHANNEL_DEFAULTS | {k: v for k, v in changes.items() if k in _CHANNEL_DEFAULTS}
    body = "".join(
        _CHANNEL.format(**(parts | ({} if index == 0 else {"name": f"line {index + 1}"}))) for index in range(channels)
    )
    rest = _DEFAULTS | {k: v for k, v in changes.items() if k in _DEFAULTS}
    assert not set(changes) - set(_DEFAULTS) - set(_CHANNEL_DEFAULTS)
    return _TEXT.format(channels=body, **rest)


def bench(*, channels: int = 1, **changes: str) -> Circuit:
    """The bench circuit with some values changed."""
    return parse_circuit(text(channels=channels, **changes), "bench.toml")


def cluster(**changes: str) -> Circuit:
    """The bench circuit with three strings in parallel."""
    return bench(**({"igniters": '[["match"], ["match"], ["match"]]'} | changes))
