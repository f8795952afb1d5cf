"""Continuity result as JSON object and as text for a terminal."""

from __future__ import annotations

import math
from typing import Any

from rich.console import Console
from rich.table import Table

from ignition.analyses.continuity.bands import LineReading
from ignition.analyses.continuity.continuity import ChannelContinuity, Continuity, Unseen
from ignition.analyses.continuity.misreads import Misclassification
from ignition.analyses.continuity.requirement import Requirement
from ignition.analyses.continuity.second_parts import SecondMeasurement
from ignition.analyses.no_fire.heating import FAR_BELOW, Heating
from ignition.report._plain import plain_row, plain_table, say
from ignition.toleranced import Spread, number
from ignition.units import engineering

__all__ = [
    "continuity_dict",
    "continuity_text",
    "misclassification_dict",
    "misclassification_text",
    "requirement_dict",
    "requirement_text",
]

_OPEN_READS = "even an open line gives such a reading"
_NO_CODE = "there is no such code"


def _number(value: float | None, unit: str, reason: str | None = None) -> dict[str, Any]:
    """A plain number; what is not finite is null with a reason."""
    if value is not None and not math.isfinite(value):
        return number(None, unit, reason or "unlimited")
    return number(value, unit, reason if value is None else None)


def _spread(value: Spread, unit: str | None = None) -> dict[str, Any]:
    result = value.as_dict()
    return result if unit is None else result | {"unit": unit}


def continuity_dict(result: Continuity) -> dict[str, Any]:
    """Return the JSON form of a continuity analysis.

    Returns
    -------
    Circuit and channels; numbers in SI units, never NaN or infinite
    """
    return {"circuit": result.circuit, "channels": [_channel_dict(channel) for channel in result.channels]}


def _reading_dict(reading: LineReading) -> dict[str, Any]:
    return {
        "state": reading.state,
        "igniter_current": _spread(reading.igniter_current),
        "adc_code": _spread(reading.band.code),
        "pin_voltage": _spread(reading.band.voltage),
        "error_terms": [{"term": name, "half_width": _number(size, "1")} for name, size in reading.band.terms],
    }


def _channel_dict(channel: ChannelContinuity) -> dict[str, Any]:
    return {
        "channel": channel.channel,
        "line_states": [_reading_dict(reading) for reading in channel.readings],
        "strings_open": [_reading_dict(reading) for reading in channel.strings_open],
        "cannot_tell_apart": [list(pair) for pair in channel.cannot_tell_apart],
        "separated_by": [
            {"states": list(pair), "measurements": [m.name for m in channel.separated_by(pair)]}
            for pair in channel.cannot_tell_apart
        ],
        "thresholds": [
            {
                "below": t.below,
                "above": t.above,
                "code": t.code,
                "below_highest": t.below_highest,
                "above_lowest": t.above_lowest,
            }
            for t in channel.thresholds
        ],
        "largest_unseen_resistance": _number(channel.largest_unseen_resistance, "ohm", _OPEN_READS),
        "current_when_fired": _number(channel.current_when_fired, "A", "no resistance limits it"),
        "largest_leak_read_as_intact": _number(channel.largest_leak_read_as_intact, "ohm", _OPEN_READS),
        "above_threshold": _unseen_dict(channel.above_threshold),
        "one_string_open_seen": channel.one_string_open_seen,
        "no_fire_margin": _number(channel.no_fire_margin, "1", channel.no_fire_reason),
        "second_measurements": [_second_dict(m) for m in channel.second],
    }


def _unseen_dict(unseen: Unseen) -> dict[str, Any]:
    reason = _NO_CODE if unseen.code is None else _OPEN_READS
    return {
        "code": unseen.code,
        "series_resistance": _number(unseen.series_resistance, "ohm", reason),
        "current_when_fired": _number(unseen.current_when_fired, "A", reason),
        "leak": _number(unseen.leak, "ohm", reason),
    }


def _heating_dict(heating: Heating | None) -> dict[str, Any] | None:
    if heating is None:
        return None
    return {
        "current": _number(heating.current, "A"),
        "energy": _number(heating.energy, "J", "the current stays on"),
        "thermal_fraction": _number(heating.thermal_fraction, "1", heating.reason),
        "no_fire_margin": _number(heating.no_fire_margin, "1", heating.reason),
    }


def _second_dict(measurement: SecondMeasurement) -> dict[str, Any]:
    return {
        "name": measurement.name,
        "when": measurement.when,
        "readings": [
            {"state": r.state, "value": _spread(r.value, "1"), "quantity": r.value.unit} for r in measurement.readings
        ],
        "separates": [list(pair) for pair in measurement.separates],
        "igniter": _heating_dict(measurement.heating),
        "longest_pulse": _number(measurement.longest_pulse, "s", measurement.reason or "not a pulse"),
        "reason": measurement.reason,
        "caution": measurement.caution,
    }


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
        console.print(_states_table(channel))
        _alike(channel, console)
        _terms(channel.readings[0], console)
        for measurement in channel.second:
            _second(measurement, channel, console)
        _proof(channel, console)


def _code(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"


def _states_table(channel: ChannelContinuity) -> Table:
    table = plain_table("line state", "igniter low", "nominal", "high", "code low", "nominal", "high")
    for reading in (*channel.readings, *channel.strings_open):
        current, code = reading.igniter_current, reading.band.code
        plain_row(
            table,
            reading.state,
            *(engineering(v, "A") for v in (current.low, current.nominal, current.high)),
            *(_code(v) for v in (code.low, code.nominal, code.high)),
        )
    return table


def _alike(channel: ChannelContinuity, console: Console) -> None:
    short = channel.reading("mosfet shorted").igniter_current
    say(
        console,
        f"A shorted MOSFET passes {engineering(short.low, 'A')} to {engineering(short.high, 'A')} through an igniter "
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
        say(console, f"- {pair[0]} / {pair[1]}{tail}", indent=2)


def _terms(reading: LineReading, console: Console) -> None:
    say(console, "What widens the intact band, each alone, largest first (half width in LSB):")
    for name, size in reading.band.terms:
        if size >= 0.05:
            say(console, f"- {name}: {size:.1f}", indent=2)


def _second(measurement: SecondMeasurement, channel: ChannelContinuity, console: Console) -> None:
    say(console, f"Second measurement: {measurement.name} ({measurement.when})", style="bold")
    if measurement.readings:
        ratio = measurement.readings[0].value.unit == "ratio"
        table = plain_table("state", "low", "nominal", "high")
        for reading in measurement.readings:
            values = (reading.value.low, reading.value.nominal, reading.value.high)
            plain_row(
                table, reading.state, *(("-" if v is None else f"{v:.4f}") if ratio else _code(v) for v in values)
            )
        console.print(table)
    new = [p for p in measurement.separates if p in channel.cannot_tell_apart]
    if new:
        say(console, "It separates: " + "; ".join(f"{a} / {b}" for a, b in new), indent=2)
    elif measurement.readings:
        say(console, "It separates none of the pairs above.", indent=2)
    heating = measurement.heating
    if heating is not None and heating.no_fire_margin is not None:
        say(console, _heating_text(heating), indent=2)
    if heating is not None and (heating.thermal_fraction or 0.0) > FAR_BELOW:
        fires = heating.thermal_fraction is not None and heating.thermal_fraction >= 1.0
        longest = engineering(measurement.longest_pulse, "s")
        say(
            console,
            f"FAIL: this test {'can FIRE the igniter' if fires else 'is not far below no-fire'}; at most {longest}",
            indent=2,
        )
    for text in (measurement.reason, measurement.caution):
        if text:
            say(console, text, indent=2)


def _heating_text(heating: Heating) -> str:
    margin = heating.no_fire_margin or 0.0
    text = f"Igniter: at most {engineering(heating.current, 'A')}"
    text += f", no-fire margin {margin:.4g} ({20 * math.log10(margin):.1f} dB)"
    if heating.energy is not None:
        text += f", energy at most {engineering(heating.energy, 'J')}"
    if heating.thermal_fraction is not None:
        text += f", thermal fraction at most {heating.thermal_fraction:.3g}"
    return text


def _proof(channel: ChannelContinuity, console: Console) -> None:
    say(console, "What a reading in the intact band proves, and what not", style="bold")
    unseen = channel.largest_unseen_resistance
    if unseen is None:
        say(console, "- Nothing: even an open line gives such a reading.", indent=2)
    else:
        say(
            console,
            f"- The line is not open. It may still hold up to {engineering(unseen, 'ohm')} in series, through which at "
            f"most {engineering(channel.current_when_fired, 'A')} flows when fired. Intact does not mean it fires.",
            indent=2,
        )
        leak = channel.largest_leak_read_as_intact
        say(
            console,
            f"- Moisture or soot of up to {engineering(leak, 'ohm')} across open terminals reads as an igniter.",
            indent=2,
        )
    held = channel.above_threshold
    if held.code is not None and held.series_resistance is not None:
        say(
            console,
            f"- With the threshold {held.code}: up to {engineering(held.series_resistance, 'ohm')} in series "
            f"({engineering(held.current_when_fired, 'A')} when fired) or {engineering(held.leak, 'ohm')} across open "
            "terminals counts as intact.",
            indent=2,
        )
    if ("intact", "shorted") in channel.cannot_tell_apart:
        say(console, "- It does not show a short across the igniter.", indent=2)
    if channel.one_string_open_seen is not None:
        seen = "shows" if channel.one_string_open_seen else "does not show"
        say(console, f"- It {seen} one open string of the cluster.", indent=2)
    if channel.no_fire_margin is None:
        say(console, f"- No-fire margin UNKNOWN: {channel.no_fire_reason}.", indent=2)
    else:
        margin = channel.no_fire_margin
        say(
            console,
            f"- The healthy monitor current is {margin:.4g} times below the lowest no-fire current "
            f"({20 * math.log10(margin):.1f} dB); single faults are another question (divider, faults).",
            indent=2,
        )


def misclassification_dict(found: tuple[Misclassification, ...]) -> list[dict[str, Any]]:
    """Return the JSON form of misclassification rates."""
    return [
        {
            "channel": m.channel,
            "below": m.below,
            "above": m.above,
            "code": m.code,
            "guaranteed": m.guaranteed,
            "trials": m.trials,
            "confidence": m.confidence,
            "below_read_as_above": {
                "errors": m.below_read_as_above,
                "probability_at_most": _number(m.below_bound, "1"),
            },
            "above_read_as_below": {
                "errors": m.above_read_as_below,
                "probability_at_most": _number(m.above_bound, "1"),
            },
        }
        for m in found
    ]


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
    table = plain_table("channel: below / above", "code", "below misread", "above misread")
    for m in found:
        plain_row(
            table,
            f"{m.channel}: {m.below} / {m.above}",
            f"{m.code}{'' if m.guaranteed else '*'}",
            f"{m.below_read_as_above / m.trials:.4f} (<= {m.below_bound:.4f})",
            f"{m.above_read_as_below / m.trials:.4f} (<= {m.above_bound:.4f})",
        )
    console.print(table)


def requirement_dict(found: tuple[Requirement, ...]) -> list[dict[str, Any]]:
    """Return the JSON form of what it would need to tell a target."""
    return [
        {
            "target": r.target,
            "means": r.means,
            "possible": r.possible,
            "lower_highest": _number(r.lower_highest, "ohm"),
            "upper_lowest": _number(r.upper_lowest, "ohm"),
            "total_resistance": _number(r.total_resistance, "ohm", r.says),
            "current": _number(r.current, "A", r.says),
            "gain": _number(r.gain, "1", r.says),
            "unit_gain_current": _number(r.unit_gain_current, "A", r.says),
            "current_limit": _number(r.current_limit, "A", r.limit_basis),
            "limit_basis": r.limit_basis,
            "says": r.says,
        }
        for r in found
    ]


def requirement_text(found: tuple[Requirement, ...], console: Console) -> None:
    """Print what it would need to tell a target."""
    if found:
        say(console, f"To tell {found[0].target} from intact:", style="bold")
    for r in found:
        say(console, f"- {r.means}: {r.says}", indent=2)
