"""Hold-off and the advice on it as text."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from ignition.analyses.advice import Advice
from ignition.analyses.hold_off import ChannelHoldOff, HoldOff
from ignition.report.findings_text import verdict_text
from ignition.report.text import at_least, at_most, item, spread_text, table
from ignition.units import engineering

__all__ = ["advice_text", "hold_off_text"]


def hold_off_text(result: HoldOff, console: Console) -> None:
    """Print a hold-off analysis."""
    console.print(Text(f"Hold-off  ({result.circuit})", style="bold"))
    for channel in result.channels:
        console.print(f"\nChannel {channel.channel}: steady phases, low .. nominal .. high")
        table(
            console,
            ("", "phase", "gate voltage", ">threshold", "igniter current", ">margin"),
            [
                (
                    verdict_text(phase.verdict),
                    phase.phase,
                    spread_text(phase.gate_voltage),
                    at_least(phase.lowest_threshold, "V"),
                    spread_text(phase.igniter_current),
                    at_least(phase.margin, "1"),
                )
                for phase in channel.phases
            ],
        )
        _switch_on(channel, console)
        _turn_off(channel, console)


def _switch_on(channel: ChannelHoldOff, console: Console) -> None:
    edge = channel.switch_on
    console.print(Text("Arming edge: ").append_text(verdict_text(edge.verdict)))
    if edge.reason is not None or edge.bound is None:
        item(console, f"not known: {edge.reason}")
        return
    bound = edge.bound
    table(
        console,
        ("", ">integrated", ">closed form"),
        [
            ("highest gate voltage", at_most(edge.peak_gate_voltage, "V"), at_most(bound.gate_voltage, "V")),
            ("highest igniter current", at_most(edge.peak_igniter_current, "A"), at_most(bound.current, "A")),
            ("time above threshold", _time(edge.time_above_threshold), _time(bound.time_above_threshold)),
            ("energy into one igniter", _energy(edge.igniter_energy), _energy(bound.energy)),
            ("thermal fraction", at_most(edge.thermal_fraction, "1"), at_most(bound.thermal_fraction, "1")),
            (
                f"after {edge.closures} closures",
                at_most(edge.bounced_thermal_fraction, "1"),
                at_most(bound.bounced_fraction, "1"),
            ),
        ],
    )
    item(
        console,
        f"worst for {edge.igniter}, its gate held by: {_WORDS[str(edge.held_by)]}, with an edge of "
        f"{engineering(edge.edge, 's')}",
    )
    item(console, f"drain up to {at_most(edge.peak_drain_voltage, 'V')} while the line rings (closed form)")


_WORDS = {
    "driven low": "the pin, driven low",
    "in reset": "the pull-down, the pin being in reset",
    "dead": "the pull-down alone, the controller being dead",
}


def _time(value: float | None) -> str:
    return "for good" if value is not None and math.isinf(value) else at_most(value, "s")


def _energy(value: float | None) -> str:
    return "no end" if value is not None and math.isinf(value) else at_most(value, "J")


def _turn_off(channel: ChannelHoldOff, console: Console) -> None:
    ends = channel.turn_off.turn_off
    console.print(Text("End of the pulse: ").append_text(verdict_text(channel.turn_off.verdict)))
    item(console, f"gate driven to {at_most(ends.gate_voltage, 'V')}, {at_most(ends.current, 'A')} switched off")
    if ends.time is not None:
        slow = (
            "may conduct for good" if math.isinf(ends.time) else f"within {at_most(ends.time, 's')} of the pin's edge"
        )
        item(console, f"gate below the lowest threshold: {slow}")
    if ends.energy is not None:
        shown = "no end" if math.isinf(ends.energy) else at_most(ends.energy, "J")
        rated = "not given" if ends.rating is None else at_least(ends.rating, "J")
        item(
            console,
            f"the line's inductance stores {at_most(ends.stored_energy, 'J')}, {shown} with what the battery adds; the "
            f"MOSFET bears {rated} from there",
        )


def advice_text(advised: Sequence[Advice], console: Console) -> None:
    """Print what would hold the gates off."""
    for one in advised:
        console.print(f"\nWhat would hold: channel {one.channel}")
        for pull_down in one.pull_downs:
            largest = "none holds" if pull_down.largest is None else f"up to {at_least(pull_down.largest, 'ohm')}"
            item(console, f"pull-down, {pull_down.reason}: {largest}")
        if one.fit is not None:
            item(
                console,
                f"pull-down to fit: {engineering(one.fit, 'ohm')} (E12); the pin then drives the "
                f"gate to {at_least(one.gate_drive, 'V')}, {engineering(one.needed, 'V')} are needed",
            )
        found = one.capacitor
        if found is not None and found.capacitor is not None:
            hot = "" if found.heating is None else f", which heats the MOSFET by {at_most(found.heating, 'K')}"
            item(
                console,
                f"or a gate capacitor: {engineering(found.capacitor, 'F')} or more (E6) with a pull-down of "
                f"{engineering(found.with_pull_down, 'ohm')}; turn-on within {_time(found.turn_on)} instead of "
                f"{_time(found.turn_on_without)}{hot}",
            )
        elif found is not None:
            item(console, "a gate capacitor up to 1 uF: none holds with this pull-down")
        if not one.held_steadily:
            item(console, "neither capacitor nor slower edge helps: the gate is not held in every steady phase")
        elif one.slowest_edge is None:
            item(console, "no edge limiter up to 100 ms of rise holds, the other parts as they are")
        elif one.slowest_edge > 0.0:
            slow = at_most(one.slowest_edge, "s")
            item(console, f"or an edge limiter: {slow} of rise or more, the other parts as they are")
        if one.threshold is not None:
            item(
                console,
                f"or a switch whose lowest threshold at 25 degC is {at_most(one.threshold, 'V')} or more, if it is "
                "fully on at the gate drive above",
            )
        item(console, f"simplest: {one.simplest}")
