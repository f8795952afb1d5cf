"""The demo: the built-in circuit, and the answers that three users ask for."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from ignition.analyses.verdict import Check, check
from ignition.circuit.model import Circuit
from ignition.report.text import caution_text, spread_text
from ignition.units import engineering

__all__ = ["demo_text"]


def demo_text(circuit: Circuit, console: Console) -> int:
    """Check the demo circuit and print the answers for safety officer, designer and builder.

    Parameters
    ----------
    circuit : Circuit
        The demo circuit.
    console : rich.console.Console
        Where to.

    Returns
    -------
    int
        Exit status: 0 where everything passes, else 1 [1].
    """
    result = check(circuit)
    console.print(Text(f"{result.title}", style="bold"))
    console.print("The built-in circuit. Nothing is written; start your own with: ignition example pad.toml\n")
    _safety_officer(result, console)
    _designer(result, console)
    _builder(result, console)
    console.print("\nThe full check: ignition example demo pad.toml && ignition check pad.toml")
    caution_text(console)
    return 0 if result.verdict == "PASS" else 1


def _safety_officer(result: Check, console: Console) -> None:
    console.print(Text("Safety officer: can it fire when nobody asked?", style="bold"))
    for channel in result.no_fire.channels:
        for phase in channel.phases:
            margin = "-" if phase.ratio is None else f"x {engineering(phase.ratio, '1')} ({phase.decibel:.0f} dB)"
            console.print(
                f"  {channel.channel:<9} {phase.phase:<9} at most {engineering(phase.current, 'A'):>8} against no-fire "
                f"{engineering(phase.limit, 'A')}: {margin}"
            )
    counts = ", ".join(f"{sum(f.verdict == v for f in result.findings)} {v}" for v in ("PASS", "FAIL", "UNKNOWN"))
    console.print(f"  Findings against named limits: {counts}.\n")


def _designer(result: Check, console: Console) -> None:
    console.print(Text("Designer: what does the reading prove?", style="bold"))
    for channel in result.continuity.channels:
        intact = channel.reading("intact").band.code
        opened = channel.reading("open").band.code
        console.print(
            f"  {channel.channel:<9} intact reads {intact.low:.0f} .. {intact.high:.0f}, open {opened.low:.0f} .. "
            f"{opened.high:.0f}"
        )
        pairs = ", ".join(f"{a} / {b}" for a, b in channel.cannot_tell_apart)
        console.print(f"            cannot be told apart: {pairs or 'nothing'}", soft_wrap=False)
        if channel.largest_unseen_resistance is not None:
            console.print(
                f"            a joint of up to {engineering(channel.largest_unseen_resistance, 'ohm')} still reads intact"
            )
    console.print()


def _builder(result: Check, console: Console) -> None:
    console.print(Text("Builder: will this battery fire this cluster, on a cold day?", style="bold"))
    for channel in result.firing.channels:
        for igniter in channel.igniters:
            margin = "-" if igniter.all_fire_margin is None else f"x {igniter.all_fire_margin:.2f} of all-fire"
            console.print(
                f"  {igniter.igniter:<22} {spread_text(igniter.current)}, at least {margin}: {igniter.functions}"
            )
    console.print(
        f"  Battery sags to {engineering(result.firing.battery_voltage.low, 'V')} at worst; controller supply stays at "
        f"{engineering(result.firing.controller_supply.low, 'V')} or more."
    )
