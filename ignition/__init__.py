"""Electrical analysis of igniter firing circuits: continuity current, no-fire margin, firing current.

Examples
--------
>>> import ignition
>>> circuit = ignition.load_example("tether-cutter")
>>> ignition.continuity(circuit).channels[0].channel
'cutter'
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ignition.analyses.continuity.continuity import continuity
    from ignition.analyses.firing.firing import firing
    from ignition.analyses.no_fire.steady import no_fire
    from ignition.analyses.verdict import check
    from ignition.circuit.examples import load_example
    from ignition.circuit.file import json_schema, load_circuit, parse_circuit
    from ignition.errors import CircuitFileError, IgnitionError, InputError
    from ignition.toleranced import Toleranced, parse_toleranced

_HOMES = {
    "CircuitFileError": "ignition.errors",
    "IgnitionError": "ignition.errors",
    "InputError": "ignition.errors",
    "Toleranced": "ignition.toleranced",
    "check": "ignition.analyses.verdict",
    "continuity": "ignition.analyses.continuity.continuity",
    "firing": "ignition.analyses.firing.firing",
    "json_schema": "ignition.circuit.file",
    "load_circuit": "ignition.circuit.file",
    "load_example": "ignition.circuit.examples",
    "no_fire": "ignition.analyses.no_fire.steady",
    "parse_circuit": "ignition.circuit.file",
    "parse_toleranced": "ignition.toleranced",
}

__version__ = "0.1.0"
__all__ = [
    "CircuitFileError",
    "IgnitionError",
    "InputError",
    "Toleranced",
    "check",
    "continuity",
    "firing",
    "json_schema",
    "load_circuit",
    "load_example",
    "no_fire",
    "parse_circuit",
    "parse_toleranced",
]


def __getattr__(name: str) -> Any:
    """Import a public name when it is first used, so that importing the package costs next to nothing."""
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'ignition' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
