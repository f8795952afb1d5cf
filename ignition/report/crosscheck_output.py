"""Cross-check with ngspice as text and JSON."""

from __future__ import annotations

import math
from typing import Any

from rich.console import Console
from rich.text import Text

from ignition.report.text import table
from ignition.spice.crosscheck import Comparison, CrosscheckResult
from ignition.units import engineering

__all__ = ["AGREEMENT", "agrees", "crosscheck_dict", "crosscheck_text"]

AGREEMENT = {"A": 1e-6, "V": 1e-6, "s": 1e-2}
"""Relative difference that counts as agreement, by unit [1]: steady values and transients."""


def agrees(result: CrosscheckResult) -> bool:
    """Whether every comparison is within `AGREEMENT`."""
    return all(c.relative_difference <= AGREEMENT[c.unit] for c in result.comparisons)


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def crosscheck_dict(result: CrosscheckResult) -> dict[str, Any]:
    """Return the JSON object of a cross-check; a time that does not come is null.

    Returns
    -------
    Comparisons, the worst difference, what was left out
    """

    def one(c: Comparison) -> dict[str, Any]:
        entry: dict[str, Any] = {
            "quantity": c.quantity,
            "ours": _number(c.ours),
            "ngspice": _number(c.ngspice),
            "unit": c.unit,
            "relative_difference": _number(c.relative_difference),
        }
        if not (math.isfinite(c.ours) and math.isfinite(c.ngspice)):
            entry["reason"] = "does not function in one of the two, or in both"
        return entry

    return {
        "circuit": result.circuit,
        "ngspice": result.ngspice,
        "comparisons": [one(c) for c in result.comparisons],
        "worst": _number(result.worst),
        "agrees": agrees(result),
        "left_out": list(result.left_out),
    }


def crosscheck_text(result: CrosscheckResult, console: Console) -> None:
    """Print a cross-check: the largest difference of each kind, then every comparison."""
    console.print(Text(f"Cross-check with {result.ngspice}: {result.circuit}", style="bold"))
    verdict = "agree" if agrees(result) else "DO NOT AGREE"
    console.print(f"{len(result.comparisons)} comparisons {verdict}; largest relative difference {result.worst:.1e}")
    for unit, kind in (("A", "currents"), ("V", "voltages"), ("s", "function times")):
        chosen = [c.relative_difference for c in result.comparisons if c.unit == unit]
        if chosen:
            console.print(f"  {kind}: {len(chosen)}, worst {max(chosen):.1e}, allowed {AGREEMENT[unit]:.0e}")
    console.print()
    table(
        console,
        ("quantity", "ours", "ngspice", "difference"),
        [
            (
                c.quantity,
                engineering(c.ours, c.unit, 6),
                engineering(c.ngspice, c.unit, 6),
                f"{c.relative_difference:.1e}",
            )
            for c in result.comparisons
        ],
        right=(1, 2, 3),
    )
    for reason in result.left_out:
        console.print(f"Not compared: {reason}")
