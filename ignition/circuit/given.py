"""What a circuit file gives: each key with its value, which values count as exact, and which keys nothing uses."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from ignition.circuit.model import Circuit
from ignition.toleranced import Toleranced

__all__ = ["exact_keys", "given_keys", "unused_keys"]

_LATER = {
    "layer": "a trace is taken to lose no heat, on whichever layer",
}
"""Keys, by their last word, that no analysis behind a finding reads."""


def given_keys(circuit: Circuit) -> dict[str, Any]:
    """Return each key that the file gives, dotted, with its value.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> str(given_keys(load_example("tether-cutter"))["channel[0].pulse"])
    '2 s'
    """
    return dict(_walk("", circuit.given))


def _walk(key: str, value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, BaseModel):
        for name in sorted(value.model_fields_set):
            yield from _walk(f"{key}.{name}" if key else name, getattr(value, name))
    elif isinstance(value, dict):
        for name, member in value.items():
            yield from _walk(f"{key}.{name}", member)
    elif isinstance(value, list) and value and isinstance(value[0], BaseModel):
        for index, member in enumerate(value):
            yield from _walk(f"{key}[{index}]", member)
    elif isinstance(value, tuple):
        for index, member in enumerate(value):
            yield key if len(value) == 1 else f"{key}[{index}]", member
    else:
        yield key, value


def exact_keys(circuit: Circuit) -> tuple[str, ...]:
    """List the keys whose value is written without a tolerance, so that it counts as exact.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> exact_keys(load_example("tether-cutter"))[:3]
    ('ambient.temperature', 'battery.resistance_temperature', 'channel[0].gate.pull_down')
    """
    return tuple(
        key
        for key, value in given_keys(circuit).items()
        if isinstance(value, Toleranced) and value.is_exact and not key.endswith("].gate")
    )


def unused_keys(circuit: Circuit) -> dict[str, str]:
    """Return the keys that the file gives and no finding of this circuit uses, each with the reason.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> unused_keys(load_example("kelp-line-cutter"))["battery.capacity"]
    'the resistance is given, so that it is not looked up by capacity'
    """
    keys = given_keys(circuit)
    return {key: why for key in keys if (why := _why_unused(key, keys, circuit)) is not None}


def _why_unused(key: str, keys: dict[str, Any], circuit: Circuit) -> str | None:
    table, _, name = key.rpartition(".")
    if name in _LATER:
        return _LATER[name]
    if key.startswith("igniter."):
        used = {kind for channel in circuit.channels for string in channel.strings for kind in string}
        kind = next((k for k in circuit.given.igniter if key.startswith(f"igniter.{k}.")), "")
        if kind in used and name in ("adiabatic_energy", "response"):
            return _heating(f"igniter.{kind}", name, keys)
        if kind in used and name == "function_temperature":
            return _function(circuit, kind)
        return None if kind in used else "no channel has this igniter"
    if key.startswith("mosfet."):
        kind = next((k for k in circuit.given.mosfet if key.startswith(f"mosfet.{k}.")), "")
        if kind not in {channel.mosfet for channel in circuit.channels}:
            return "no channel has this MOSFET"
        return _mosfet(f"mosfet.{kind}", key, keys, circuit)
    if table == "battery":
        return _battery(name, keys)
    if key == "controller.hold_up_capacitance" and "controller.brown_out" not in keys:
        return "without brown_out nothing says how far the supply may fall"
    if key == "battery.polarisation.time_constant":
        return "the slow drop counts in full; asked for only by the trials of: ignition firing"
    if key in ("controller.adc.noise", "controller.adc.samples"):
        return "asked for only by: ignition continuity --trials"
    if name == "start" and len(circuit.channels) == 1:
        return "a single channel starts when it starts"
    if table == "checklist":
        return _checklist(name, circuit)
    return None


def _function(circuit: Circuit, kind: str) -> str | None:
    """What a function temperature says of a bridge: how far the ambient shifts it, and how much it grows."""
    bridge, coefficient = circuit.igniters[kind].temperatures, circuit.given.igniter[kind].temperature_coefficient
    one = circuit.ambient.is_exact and bridge.reference.is_exact and circuit.ambient.low == bridge.reference.low
    grows = coefficient is None or coefficient.low != 0.0 or coefficient.high != 0.0
    return "at the reference temperature a bridge that does not grow needs none" if one and not grows else None


def _mosfet(table: str, key: str, keys: dict[str, Any], circuit: Circuit) -> str | None:
    charging = [name for name in ("input_capacitance", "gate_drain_charge") if f"{table}.{name}" not in keys]
    if key.startswith(f"{table}.thermal") and charging:
        return f"without {' and '.join(charging)} the heat of the gate's charging is not known"
    if key == f"{table}.leakage.hot" and circuit.ambient.high <= 25.0:
        return "the ambient stays at or below 25 degC"
    return None


def _heating(table: str, name: str, keys: dict[str, Any]) -> str | None:
    """A more direct statement of the time constant stands before another one."""
    before = ("time_constant", "response")[: 1 if name == "response" else 2]
    direct = next((other for other in before if f"{table}.{other}" in keys), None)
    return None if direct is None else f"{direct} is given, with which it only has to agree"


def _battery(name: str, keys: dict[str, Any]) -> str | None:
    whole = "battery.resistance" in keys or "battery.readings.open" in keys
    if name == "capacity" and ("battery.cell_resistance" in keys or whole):
        return "the resistance is given, so that it is not looked up by capacity"
    if name == "cells_in_parallel" and whole:
        return "the resistance of the whole battery is given"
    voltage = "battery.open_circuit_voltage" in keys or "battery.readings.open" in keys
    if name == "cells_in_series" and voltage and whole:
        return "voltage and resistance of the whole battery are given"
    return None


def _checklist(name: str, circuit: Circuit) -> str | None:
    chosen = circuit.presets
    if chosen is None or "hobby high power" in chosen:
        return None
    return f"no preset in use asks for {name}"
