"""A circuit whose parts have a tolerance where their file writes none: typical values are no bounds."""

from __future__ import annotations

import hashlib
from typing import Any

from ignition.circuit.file import circuit_of_table
from ignition.circuit.model import Circuit
from ignition.circuit.values import table_of
from ignition.errors import InputError, UnitError
from ignition.toleranced import Toleranced, parse_toleranced

__all__ = ["tolerance_share", "with_tolerance"]

_PARTS = frozenset({
    "around", "bridge_resistance", "brown_out", "capacitance", "capacitor", "clamp_drop", "clamp_resistance", "current",
    "drain_pull_up", "dropout", "filter", "gate_drain_charge", "hold_up_capacitance", "inductance", "input_capacitance",
    "joints", "lower", "open_circuit_voltage", "output_capacitance", "output_resistance", "pin_resistor", "pull_down",
    "recharge_resistance", "reference", "reset_pull_down", "reset_pull_up", "resistance", "return_contact",
    "reverse_transfer_capacitance", "sample_capacitance", "series", "series_resistance", "shunt", "subthreshold_slope",
    "supply", "threshold", "time_constant", "upper",
})  # fmt: skip
"""Keys, by their last word, that are values of parts. The others are what a sheet guarantees or a person chooses: a
rating, a leakage's highest value, a temperature, a length, a pulse."""

_STATED = frozenset({"all_fire", "checklist", "faults", "no_fire", "rules"})
"""Tables of statements and limits: what they say has no tolerance."""


def tolerance_share(text: str) -> float:
    """Read a tolerance [1].

    Raises InputError for text that is none, or that is not between 0 and 100 %.

    Examples
    --------
    >>> round(tolerance_share("5%"), 6), round(tolerance_share("0.5 %"), 6)
    (0.05, 0.005)
    """
    try:
        share = parse_toleranced(f"1 ± {text}", "1").high - 1.0 if text.strip().endswith("%") else 0.0
    except UnitError:
        share = 0.0
    if not 0.0 < share < 1.0:
        raise InputError(f"a tolerance is a percentage between 0 and 100 %, for example 5%; received {text!r}")
    return share


def with_tolerance(circuit: Circuit, share: float) -> Circuit:
    """Return a circuit in which every value of a part that is written without a tolerance has one.

    Raises CircuitFileError where the values with it contradict each other.

    Parameters
    ----------
    share : Half width over the value [1]

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> channel = with_tolerance(load_example("kelp-line-cutter"), 0.1).channels[0]
    >>> round(channel.lower.low), round(channel.lower.high), channel.pulse.is_exact
    (42300, 51700, True)
    """
    name = f"{circuit.name}, {100.0 * share:g} % where no tolerance is written"
    digest = hashlib.sha256(f"{circuit.digest} {share!r}".encode()).hexdigest()
    return circuit_of_table(_widened(table_of(circuit.given), "", share), name, digest, name)


def _widened(node: Any, key: str, share: float) -> Any:
    if isinstance(node, dict):
        return {name: member if name in _STATED else _widened(member, name, share) for name, member in node.items()}
    if isinstance(node, list):
        return [_widened(member, key, share) for member in node]
    if isinstance(node, Toleranced) and node.is_exact and key in _PARTS:
        half = share * abs(node.nominal)
        return Toleranced(low=node.nominal - half, nominal=node.nominal, high=node.nominal + half, unit=node.unit)
    return node
