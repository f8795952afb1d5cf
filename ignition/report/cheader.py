"""Firmware constants as a C99 header."""

from __future__ import annotations

import math
import re

from ignition.analyses.continuity.firmware import Boundary, ChannelFirmware, Firmware
from ignition.analyses.continuity.macro_names import identifier

__all__ = ["header_text"]

_RATIO_PARTS = 65536


def _comment(text: str) -> str:
    """Text that cannot end a comment, begin one, splice a line or form a trigraph."""
    plain = "".join(c if " " <= c <= "~" else "?" for c in text)
    plain = plain.replace("*/", "* /").replace("/*", "/ *").replace("\\", "/")
    plain = plain.replace("*/", "* /").replace("/*", "/ *")
    return re.sub(r"\?(?=\?)", "? ", plain)


def _up(seconds: float) -> int:
    """Whole microseconds, never shorter."""
    return max(math.ceil(seconds * 1e6 - 1e-6), 0)


def header_text(constants: Firmware) -> str:
    """Return the C99 header.

    Waits are rounded up, the longest test pulse down. A pair of states whose bands overlap has no macro, only a comment
    that says why.

    Returns
    -------
    The header, ending in a newline; macros and one type, so that nothing is unused
    """
    guard = f"IGNITION_{identifier(constants.circuit) or 'CIRCUIT'}_H"
    lines = [
        "/*",
        f" * Continuity thresholds for: {_comment(constants.title)}",
        f" * Circuit file: {_comment(constants.circuit)}",
        f" * SHA-256 of the circuit file: {_comment(constants.digest) or 'not known'}",
        " * Worst case over all tolerances of that file; an aid to judgement, not a proof that a motor is safe.",
        " * A reading in a dead band comes from no described state: treat it as a fault.",
        *(f" * Assumed, not given in the file: {_comment(key)}" for key in constants.assumptions),
        " */",
        f"#ifndef {guard}",
        f"#define {guard}",
        "",
        "/* Converter code [LSB]; also keeps the header a valid translation unit of its own. */",
        "typedef unsigned int ign_adc_code;",
        "",
        f"#define IGN_ADC_BITS {constants.bits}u",
    ]
    for channel in constants.channels:
        lines += ["", *_channel_lines(channel, constants.noise)]
    return "\n".join([*lines, "", f"#endif /* {guard} */", ""])


def _define(name: str, value: str, note: str = "") -> str:
    return f"#define {name} {value}" + (f" /* {_comment(note)} */" if note else "")


def _channel_lines(channel: ChannelFirmware, noise: float) -> list[str]:
    prefix = channel.prefix
    lines = [f"/* Channel {_comment(channel.channel)} */"]
    for index, group in enumerate(channel.groups):
        lines.append(f"/* group {index}: {_comment(', '.join(group.states))} */")
        lines.append(_define(f"{prefix}_GROUP_{index}_LOWEST_CODE", f"{group.lowest_code}u"))
        lines.append(_define(f"{prefix}_GROUP_{index}_HIGHEST_CODE", f"{group.highest_code}u"))
    for index, boundary in enumerate(channel.boundaries):
        lines += _boundary_lines(boundary, f"{prefix}_GROUP_{index}_TO_{index + 1}", noise)
    for pair in channel.pairs:
        name = f"{prefix}_{identifier(pair.below)}_BELOW_{identifier(pair.above)}"
        margin = f"margin {pair.code - pair.below_highest} below, {pair.above_lowest - pair.code + 1} above"
        lines.append(_define(f"{name}_CODE", f"{pair.code}u", margin))
        lines.append(_define(f"{name}_DEAD_LOW_CODE", f"{pair.below_highest}u"))
        lines.append(_define(f"{name}_DEAD_HIGH_CODE", f"{pair.above_lowest}u"))
    for missing in channel.missing:
        lines.append(f"/* NO THRESHOLD {_comment(' / '.join(missing.states))}: {_comment(missing.reason)} */")
    return lines + _time_lines(channel)


def _boundary_lines(boundary: Boundary, name: str, noise: float) -> list[str]:
    below, above = ", ".join(boundary.below), ", ".join(boundary.above)
    lines = [
        _define(f"{name}_CODE", f"{boundary.code}u", f"below: {below}; from it on: {above}"),
        _define(f"{name}_DEAD_LOW_CODE", f"{boundary.below_highest}u", "highest code of the lower group"),
        _define(f"{name}_DEAD_HIGH_CODE", f"{boundary.above_lowest}u", "lowest code of the upper group"),
    ]
    ratio = boundary.ratio
    if ratio is None:
        lines.append(f"/* no ratio to the bus reading: {_comment(boundary.ratio_reason or '')} */")
    elif ratio.threshold <= 0.0:
        lines.append("/* no ratio to the bus reading: the threshold is not positive */")
    else:
        parts = (
            ("", round(ratio.threshold * _RATIO_PARTS)),
            ("_DEAD_LOW", math.ceil(max(ratio.below_highest, 0.0) * _RATIO_PARTS)),
            ("_DEAD_HIGH", math.floor(ratio.above_lowest * _RATIO_PARTS)),
        )
        lines += [_define(f"{name}_PER_65536_OF_BUS{suffix}", f"{value}u") for suffix, value in parts]
    if boundary.samples is None:
        lines.append(f"/* number of readings to average: {_comment(boundary.samples_reason or '')} */")
    else:
        note = f"readings to average: noise of {noise:g} LSB misreads one in a million at most"
        lines.append(_define(f"{name}_SAMPLES", f"{boundary.samples}u", note))
    return lines


def _time_lines(channel: ChannelFirmware) -> list[str]:
    waits, prefix = channel.waits, channel.prefix
    lines = [
        _define(
            f"{prefix}_SETTLE_5_TIME_CONSTANTS_US",
            f"{_up(waits.five)}ul",
            f"{waits.left_after_five:.1f} codes still missing",
        ),
        _define(f"{prefix}_SETTLE_AFTER_ARMING_US", f"{_up(waits.exact)}ul", "worst case, to half a code"),
        _define(f"{prefix}_SETTLE_AFTER_OPENING_US", f"{_up(waits.after_opening)}ul", "worst case, to half a code"),
        _define(f"{prefix}_BETWEEN_SAMPLES_US", f"{_up(waits.between_samples)}ul", "restores the sampled charge"),
        _define(f"{prefix}_FIRING_PULSE_US", f"{_up(channel.firing_pulse)}ul", "as in the circuit file"),
    ]
    pulse = channel.longest_test_pulse
    if pulse is None:
        lines.append(f"/* no longest test pulse: {_comment(channel.pulse_reason or '')} */")
    else:
        whole = math.floor(pulse * 1e9)
        note = "thermal fraction 0.01 at the lowest no-fire current, strongest battery"
        lines.append(_define(f"{prefix}_LONGEST_TEST_PULSE_NS", f"{whole}ul", note))
    return lines
