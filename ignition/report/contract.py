"""A check as JSON object: the keys that other programs rely on."""

from __future__ import annotations

from typing import Any

from ignition.analyses.verdict import Check
from ignition.circuit.given import exact_keys
from ignition.report.json_walk import as_json

__all__ = ["check_dict"]


def check_dict(result: Check) -> dict[str, Any]:
    """Return the JSON object of a check."""
    return {
        "circuit": result.circuit.name,
        "title": result.circuit.title,
        "sha256": result.circuit.digest,
        "verdict": result.verdict,
        "findings": as_json(result.findings),
        "assumptions": as_json(result.circuit.assumptions),
        "unused": result.unused,
        "exact": exact_keys(result.circuit),
        "no_fire": as_json(result.no_fire)["channels"],
    }
