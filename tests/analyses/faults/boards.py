"""The bench circuit with pins that have no pull-up in reset, so that it takes a fault to fire."""

from __future__ import annotations

from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from tests.analyses.sense_circuits import text

__all__ = ["SPLIT", "board", "held"]

SPLIT = 'upper = ["60 kohm ± 1 %", "40 kohm ± 1 %"], lower = "33 kohm ± 1 %"'


def board(**changes: str) -> str:
    """File of the bench circuit, its pins without a pull-up in reset."""
    channels = int(changes.pop("channels", "1"))
    drop = 'clamp_drop = "0.5 V"'
    return text(channels=channels, **changes).replace(drop, drop + '\nreset_pull_up = "none"')


def held(**changes: str) -> Circuit:
    """The bench circuit, its pins without a pull-up in reset."""
    return parse_circuit(board(**changes), "held.toml")
