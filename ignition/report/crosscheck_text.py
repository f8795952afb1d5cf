"""Cross-check with ngspice as text."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from ignition.report.text import caution_text, say, table
from ignition.spice.crosscheck import AGREEMENT, CrosscheckResult
from ignition.units import engineering

__all__ = ["crosscheck_text"]


def crosscheck_text(result: CrosscheckResult, console: Console) -> None:
    """Print a cross-check: the largest difference of each kind, then every comparison."""
    console.print(Text(f"Cross-check with {result.ngspice}: {result.circuit}", style="bold"))
    verdict = "agree" if result.agrees else "DO NOT AGREE"
    console.print(f"{len(result.comparisons)} comparisons {verdict}; largest relative difference {result.worst:.1e}")
    for kind, allowed in AGREEMENT.items():
        chosen = [c.relative_difference for c in result.comparisons if c.kind == kind]
        if chosen:
            console.print(f"  {kind}: {len(chosen)}, worst {max(chosen):.1e}, allowed {allowed:.0e}")
    console.print()
    table(
        console,
        ("quantity", ">ours", ">ngspice", ">difference"),
        [
            (
                c.quantity,
                engineering(c.ours, c.unit, 6),
                engineering(c.ngspice, c.unit, 6),
                f"{c.relative_difference:.1e}",
            )
            for c in result.comparisons
        ],
    )
    for reason in result.left_out:
        say(console, f"Not compared: {reason}")
    caution_text(console)
