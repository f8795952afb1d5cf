"""Continuity, misread shares and requirements as text."""

from __future__ import annotations

import math

from rich.console import Console

from ignition.analyses.continuity.bands import LineReading
from ignition.analyses.continuity.continuity import ChannelContinuity, Continuity
from ignition.analyses.continuity.misreads import Misclassification
from ignition.analyses.continuity.requirement import Requirement
from ignition.analyses.continuity.second_parts import SecondMeasurement
from ignition.analyses.no_fire.heating import FAR_BELOW, Heating
from ignition.report.text import at_least, at_most, item, number_text, say, spread_columns, table

__all__ = ["continuity_text", "misclassification_text", "requirement_text"]


def continuity_text(result: Continuity, console: Console) -> None:
    """Print a continuity analysis for a reader.

    Parameters
    ----------
    console : Where to; everything reads without colour
    """
    for index, channel in enumerate(result.channels):
        if index:
            console.print()
        say(console, f"Channel {channel.channel}", style="bold")
        _states(channel, console)
        _alike(channel, console)
        _terms(channel.readings[0], console)
        for measurement in channel.second:
            _second(measurement, channel, console)
        _proof(channel, console)


def _states(channel: ChannelContinuity, console: Console) -> None:
    rows = []
    for reading in (*channel.readings, *channel.strings_open):
        rows.append((reading.state, *spread_columns(reading.igniter_current), *spread_columns(reading.band.code, 1)))
    headers = ("line state", ">igniter low", ">nominal", ">high", ">code low", ">nominal", ">high")
    table(console, headers, rows)


def _alike(channel: ChannelContinuity, console: Console) -> None:
    low, _, high = spread_columns(channel.reading("mosfet shorted").igniter_current)
    say(
        console,
        f"A shorted MOSFET passes {low} to {high} through an igniter "
        "as soon as the circuit is armed: it has to be found before arming.",
    )
    for reading in channel.readings:
        if reading.band.code.reason:
            say(console, f"{reading.state}: no reading, {reading.band.code.reason}")
    if not channel.cannot_tell_apart:
        say(console, "Every pair of states that gives a reading can be told apart.")
        return
    say(console, "Cannot be told apart:")
    for pair in channel.cannot_tell_apart:
        helps = ", ".join(m.name for m in channel.separated_by(pair))
        tail = f"; separated by: {helps}" if helps else "; no measurement in the file separates them"
        item(console, f"{pair[0]} / {pair[1]}{tail}")


def _terms(reading: LineReading, console: Console) -> None:
    say(console, "What widens the intact band, each alone, largest first (half width in LSB):")
    for term in reading.band.terms:
        if term.half_width >= 0.05:
            item(console, f"{term.term}: {term.half_width:.1f}")


def _second(measurement: SecondMeasurement, channel: ChannelContinuity, console: Console) -> None:
    say(console, f"Second measurement: {measurement.name} ({measurement.when})", style="bold")
    if measurement.readings:
        decimals = 4 if measurement.readings[0].quantity == "ratio" else 1
        rows = [(r.state, *spread_columns(r.value, decimals)) for r in measurement.readings]
        table(console, ("state", ">low", ">nominal", ">high"), rows)
    new = [p for p in measurement.separates if p in channel.cannot_tell_apart]
    if new:
        item(console, "It separates: " + "; ".join(f"{a} / {b}" for a, b in new), mark="")
    elif measurement.readings:
        item(console, "It separates none of the pairs above.", mark="")
    heating = measurement.heating
    if heating is not None:
        item(console, _heating_text(heating), mark="")
    if heating is not None and (heating.thermal_fraction or 0.0) > FAR_BELOW:
        fires = heating.thermal_fraction is not None and heating.thermal_fraction >= 1.0
        longest = "" if measurement.longest_pulse is None else f"; at most {at_least(measurement.longest_pulse, 's')}"
        does = "can FIRE the igniter" if fires else "is not far below no-fire"
        item(console, f"FAIL: this test {does}{longest}", mark="")
    for text in (measurement.reason, measurement.caution):
        if text:
            item(console, text, mark="")


def _heating_text(heating: Heating) -> str:
    text, margin = f"Igniter: at most {at_most(heating.current, 'A')}", heating.no_fire_margin
    if not margin:
        return f"{text}; no margin: {heating.reason}"
    text += f", no-fire margin {_margin(margin)}"
    if heating.energy is not None:
        text += f", energy at most {at_most(heating.energy, 'J')}"
    if heating.thermal_fraction is not None:
        text += f", thermal fraction at most {at_most(heating.thermal_fraction, '1')}"
    return text


def _margin(margin: float) -> str:
    """A margin as a factor and as a level, both no larger than it is."""
    return f"{at_least(margin, '1', 4)} ({number_text(20.0 * math.log10(margin), 1, 'down')} dB)"


def _proof(channel: ChannelContinuity, console: Console) -> None:
    say(console, "What a reading in the intact band proves, and what not", style="bold")
    unseen = channel.largest_unseen_resistance
    if unseen is None:
        item(console, "Nothing: even an open line gives such a reading.")
    else:
        item(
            console,
            f"The line is not open. It may still hold up to {at_most(unseen, 'ohm')} in series, through which at "
            f"most {at_most(channel.current_when_fired, 'A')} flows when fired. Intact does not mean it fires.",
        )
        leak = channel.largest_leak_read_as_intact
        item(
            console,
            f"Moisture or soot of up to {at_most(leak, 'ohm')} across open terminals reads as an igniter.",
        )
    held = channel.above_threshold
    if held.code is not None and held.series_resistance is not None:
        item(
            console,
            f"With the threshold {held.code}: up to {at_most(held.series_resistance, 'ohm')} in series "
            f"({at_most(held.current_when_fired, 'A')} when fired) or {at_most(held.leak, 'ohm')} across open "
            "terminals counts as intact.",
        )
    if ("intact", "shorted") in channel.cannot_tell_apart:
        item(console, "It does not show a short across the igniter.")
    if channel.one_string_open_seen is not None:
        seen = "shows" if channel.one_string_open_seen else "does not show"
        item(console, f"It {seen} one open string of the cluster.")
    if channel.no_fire_margin is None:
        item(console, f"No-fire margin UNKNOWN: {channel.no_fire_reason}.")
    else:
        item(
            console,
            f"The healthy monitor current is below the lowest no-fire current by a factor of "
            f"{_margin(channel.no_fire_margin)}; single faults are another question (divider, faults).",
        )


def misclassification_text(found: tuple[Misclassification, ...], console: Console) -> None:
    """Print misclassification rates."""
    if not found:
        return
    first = found[0]
    say(
        console,
        f"Misread shares among {first.trials} samples of each state, with their upper bounds at "
        f"{100 * first.confidence:g} % confidence (* no guaranteed threshold: best code of other samples):",
    )
    rows = [
        (
            f"{m.channel}: {m.below} / {m.above}",
            f"{m.code}{'' if m.guaranteed else '*'}",
            *(
                f"{wrong.errors / m.trials:.4f} (<= {number_text(wrong.probability_at_most, 4, 'up')})"
                for wrong in (m.below_read_as_above, m.above_read_as_below)
            ),
        )
        for m in found
    ]
    headers = ("channel: below / above", ">code", ">below misread", ">above misread")
    table(console, headers, rows)


def requirement_text(found: tuple[Requirement, ...], console: Console) -> None:
    """Print what it would need to tell a target."""
    if found:
        say(console, f"To tell {found[0].target} from intact:", style="bold")
    for r in found:
        item(console, f"{r.means}: {r.says}")
