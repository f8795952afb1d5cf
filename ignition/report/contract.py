"""A check as JSON object: the keys that other programs rely on."""

from __future__ import annotations

from typing import Any

from ignition.analyses.verdict import Check, Finding
from ignition.report.json_walk import as_json

__all__ = ["check_dict"]


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "rule": finding.rule,
        "channel": finding.channel,
        "phase": finding.phase,
        "verdict": finding.verdict,
        "value": finding.value,
        "limit": finding.limit,
        "unit": finding.unit,
        "margin": finding.margin,
        "says": finding.says,
        "source": finding.source,
        "source_date": finding.source_date,
    }


def check_dict(result: Check) -> dict[str, Any]:
    """Return the JSON object of a check."""
    return {
        "circuit": result.circuit,
        "title": result.title,
        "sha256": result.digest,
        "verdict": result.verdict,
        "findings": [_finding(f) for f in result.findings],
        "assumptions": [
            {"key": a.key, "value": a.value, "direction": a.direction, "basis": a.basis} for a in result.assumptions
        ],
        "no_fire": as_json(result.no_fire)["channels"],
    }
