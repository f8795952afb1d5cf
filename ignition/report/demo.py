"""The demo: the built-in circuit, and the answers that three users ask for."""

from __future__ import annotations

import math

from rich.console import Console
from rich.text import Text

from ignition.analyses.continuity.continuity import Continuity, continuity
from ignition.analyses.verdict import Check, check
from ignition.circuit.model import Circuit
from ignition.report.findings_text import headline_text, margin_text, not_analysed_text, reasons_text
from ignition.report.text import at_least, at_most, caution_text, spread_columns, spread_text, table
from ignition.toleranced import Spread

__all__ = ["demo_text"]


def demo_text(circuit: Circuit, console: Console) -> int:
    """Check the demo circuit and print the answers for safety officer, designer and builder.

    Returns
    -------
    Exit status: 0 where everything passes, else 1 [1]
    """
    result = check(circuit)
    console.print(Text(f"{result.circuit.title}", style="bold"))
    console.print("The built-in circuit; nothing is written. Yours: ignition example pad.toml\n")
    _safety_officer(result, console)
    _designer(continuity(circuit), console)
    _builder(result, console)
    console.print("\nThe full check: ignition example demo pad.toml && ignition check pad.toml")
    caution_text(console)
    return 0 if result.verdict == "PASS" else 1


def _safety_officer(result: Check, console: Console) -> None:
    console.print(Text("Safety officer: can it fire when nobody asked?", style="bold"))
    rows = [
        (
            channel.channel,
            phase.phase,
            at_most(phase.least.worst.current, "A"),
            at_least(phase.least.limit, "A"),
            margin_text(phase.least.ratio),
            "-" if phase.least.decibel is None else f"{math.floor(phase.least.decibel)} dB",
        )
        for channel in result.no_fire.channels
        for phase in channel.phases
    ]
    table(console, ("channel", "phase", ">at most", ">no-fire", ">margin", ">"), rows)
    headline_text(result.findings, console)
    reasons_text(result.findings, console)
    not_analysed_text(result.findings, console)
    console.print()


def _designer(result: Continuity, console: Console) -> None:
    console.print(Text("Designer: what does the reading prove?", style="bold"))
    for channel in result.channels:
        intact, opened = (channel.reading(state).band.code for state in ("intact", "open"))
        pairs = ", ".join(f"{a} / {b}" for a, b in channel.cannot_tell_apart)
        console.print(
            f"{channel.channel}: intact reads {_codes(intact)}, open {_codes(opened)}. "
            f"The reading cannot tell apart: {pairs or 'nothing'}."
            + (
                f" A joint of up to {at_most(channel.largest_unseen_resistance, 'ohm')} still reads intact."
                if channel.largest_unseen_resistance is not None
                else " Even an open line may read intact."
            )
        )
    console.print()


def _builder(result: Check, console: Console) -> None:
    console.print(Text("Builder: will this battery fire this cluster, on a cold day?", style="bold"))
    rows = [
        (
            igniter.igniter,
            spread_text(igniter.current),
            at_least(igniter.all_fire_margin, "1"),
            igniter.functions,
        )
        for channel in result.firing.channels
        for igniter in channel.igniters
    ]
    table(console, ("igniter", "current", ">times all-fire", "functions"), rows)
    both = result.firing.battery_voltage.low, result.firing.controller_supply.low
    battery, supply = (at_least(low, "V") for low in both)
    console.print(f"Battery sags to {battery} at worst; controller supply stays at {supply} or more.")


def _codes(code: Spread) -> str:
    low, _, high = spread_columns(code, 0)
    return "nothing" if "-" in (low, high) else f"{low} .. {high}"
