"""The opposite question: which resistance, gain or test current would tell two line states apart, and is it allowed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.continuity.bands import held_reference
from ignition.analyses.no_fire.heating import current_limit
from ignition.circuit.model import ChannelModel, Circuit
from ignition.errors import InputError
from ignition.typing import Amps, Missing, Ohms, Ratio

__all__ = ["Requirement", "TARGETS", "line_resistance", "requirements"]

TARGETS = ("one string open", "shorted", "joint")
"""What may be asked for: one open string of a cluster, a shorted igniter, a bad joint in an intact line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """What one way of measuring would need to tell a target from an intact line.

    Attributes
    ----------
    possible : Whether it can be done within the monitor-current limit
    lower_highest, upper_lowest : Highest line resistance of the state of less resistance and lowest of the other
    total_resistance : Largest resistance of divider or test resistor that would do
    current : Test current at the strongest battery, or for the amplifier the one used
    gain : Least voltage gain before the converter at that current
    unit_gain_current : Least test current without an amplifier
    current_limit : Largest monitor current through one igniter
    says : The answer in words, with the number that forbids it where one does
    """

    target: str
    means: str
    possible: bool
    lower_highest: Ohms
    upper_lowest: Ohms
    total_resistance: Annotated[Ohms | None, Missing(field="says")]
    current: Annotated[Amps | None, Missing(field="says")]
    gain: Annotated[Ratio | None, Missing(field="says")]
    unit_gain_current: Annotated[Amps | None, Missing(field="says")]
    current_limit: Annotated[Amps | None, Missing(field="limit_basis")]
    limit_basis: str
    says: str


def line_resistance(
    circuit: Circuit, channel: ChannelModel, state: str, *, opened: int | None = None
) -> tuple[float, float]:
    """Return the bounds of the resistance from bus to drain.

    Parameters
    ----------
    state : ``intact``, ``shorted`` or ``one string open``

    Returns
    -------
    Lowest and highest resistance [ohm]: lead, joints and contacts, what lies around an open high-side switch, and the
    strings in parallel
    """
    lead = channel.lead.resistance + channel.contacts_tested
    if state == "shorted":
        return lead.low, lead.high
    low = high = 0.0
    for index, string in enumerate(channel.strings):
        if state == "one string open" and index == opened:
            continue
        extra = channel.branch.resistance if channel.branch is not None else None
        least = sum(circuit.igniters[k].resistance.low for k in string) + (extra.low if extra else 0.0)
        most = sum(circuit.igniters[k].resistance.high for k in string) + (extra.high if extra else 0.0)
        low, high = low + 1.0 / least, high + 1.0 / most
    return lead.low + 1.0 / low, lead.high + 1.0 / high


def requirements(
    circuit: Circuit,
    channel: ChannelModel,
    target: str,
    *,
    joint: float = 1.0,
    current_tolerance: float = 0.02,
    share: float = 0.1,
) -> tuple[Requirement, ...]:
    """Ask what each way of measuring would need to tell a target from an intact line.

    A threshold holds for every line within tolerance, so the highest resistance of one state has to lie below the
    lowest of the other. Drain divider of total resistance S: (S + R_upper) / (S + R_lower) must exceed Q, the ratio of
    highest to lowest reading that battery, divider and converter give one state; hence
    S < (R_upper - Q R_lower) / (Q - 1); with absolute codes the spread of battery and feed resistance counts as the
    line's. Amplifier: I gain ((1 - t) R_upper - (1 + t) R_lower) must exceed twice the
    converter's error.

    Raises InputError for a target that the channel cannot have, or a reference that the battery cannot hold.

    Parameters
    ----------
    target : One of `TARGETS`
    joint : Added series resistance that is to be seen [ohm], for the target ``joint``
    current_tolerance : Tolerance of a test current source [1]
    share : Largest share of the lowest no-fire current that may flow [1]

    Returns
    -------
    For the drain divider with absolute codes, for its ratio to a bus reading, and for an amplifier across the line
    """
    if target not in TARGETS or (target == "one string open" and len(channel.strings) < 2):
        raise InputError(
            f"channel {channel.name!r} has no target {target!r}; there are "
            + ", ".join(TARGETS if len(channel.strings) > 1 else TARGETS[1:])
        )
    if not joint > 0.0 or not 0.0 <= current_tolerance < 1.0 or not share > 0.0:
        raise InputError(
            "joint and share must be above 0 and current_tolerance 0 or more, below 1; received "
            f"{joint}, {share} and {current_tolerance}; write for example joint=1.0, share=0.1"
        )
    lower, upper = _bounds(circuit, channel, target, joint)
    limit, basis = current_limit(circuit, channel, share)
    result = [
        _divider(circuit, channel, target, means, quotient, source, lower, upper, limit, basis)
        for means, quotient, source in (
            ("drain divider, absolute code", _absolute(circuit, channel), _source(circuit)),
            ("drain divider, ratio to a bus divider of the same tolerance", _relative(circuit, channel), (0.0, 0.0)),
        )
    ]
    result.append(_amplifier(circuit, target, lower, upper, limit, basis, current_tolerance))
    return tuple(result)


def _bounds(circuit: Circuit, channel: ChannelModel, target: str, joint: float) -> tuple[float, float]:
    """Highest resistance of the lower state and lowest of the upper one."""
    intact = line_resistance(circuit, channel, "intact")
    if target == "shorted":
        return line_resistance(circuit, channel, "shorted")[1], intact[0]
    if target == "joint":
        return intact[1], intact[0] + joint
    cases = [line_resistance(circuit, channel, target, opened=i)[0] for i in range(len(channel.strings))]
    return intact[1], min(cases)


def _source(circuit: Circuit) -> tuple[float, float]:
    """Resistance of battery and feed [ohm]."""
    parts = [circuit.battery.resistance, *(p.resistance for p in circuit.feed)]
    return sum(p.low for p in parts), sum(p.high for p in parts)


def _absolute(circuit: Circuit, channel: ChannelModel) -> float:
    """Highest over lowest reading of one state: battery, divider, reference, converter."""
    adc, reference = circuit.controller.adc, held_reference(circuit)
    drop = _source(circuit)[1]
    drawn = circuit.controller.current.high + sum(c.high for _, c in circuit.loads)
    bottom = max(circuit.battery.voltage.low - drawn * drop, 0.0)
    shares = _shares(channel)
    lowest = bottom * shares[0] / reference.high * 2.0**adc.bits - adc.total_error - 0.5
    highest = circuit.battery.voltage.high * shares[1] / reference.low * 2.0**adc.bits + adc.total_error + 0.5
    return highest / lowest if lowest > 0.0 else float("inf")


def _relative(circuit: Circuit, channel: ChannelModel) -> float:
    """The same for the ratio of two readings through two dividers of the same tolerance."""
    adc, reference = circuit.controller.adc, held_reference(circuit)
    low, high = _shares(channel)
    drop = _source(circuit)[1]
    drawn = circuit.controller.current.high + sum(c.high for _, c in circuit.loads)
    code = max(circuit.battery.voltage.low - drawn * drop, 0.0) * low / reference.high * 2.0**adc.bits
    error = adc.total_error + 0.5
    if code <= error:
        return float("inf")
    return ((high / low) * (code + error) / (code - error)) ** 2


def _shares(channel: ChannelModel) -> tuple[float, float]:
    return (
        channel.lower.low / (channel.lower.low + channel.into_tap.high),
        channel.lower.high / (channel.lower.high + channel.into_tap.low),
    )


def _divider(
    circuit: Circuit,
    channel: ChannelModel,
    target: str,
    means: str,
    quotient: float,
    source: tuple[float, float],
    lower: float,
    upper: float,
    limit: float | None,
    basis: str,
) -> Requirement:
    total = current = None
    possible = False
    room = upper + source[0] - quotient * (lower + source[1])
    if upper <= lower:
        says = (
            f"not possible: the resistances overlap, {upper:.4g} ohm at least against {lower:.4g} ohm at most; no "
            "current separates them"
        )
    elif room <= 0.0:
        says = (
            f"not possible: one state's readings alone spread by a factor of {quotient:.4g}, more than the line "
            f"resistances differ ({upper:.4g} ohm at least against {lower:.4g} ohm at most)"
        )
    else:
        total = room / (quotient - 1.0)
        current = circuit.battery.voltage.high / total
        now = channel.upper.nominal + channel.lower.nominal
        need = f"a total of at most {total:.4g} ohm in place of {now:.4g} ohm, hence up to {current:.3g} A"
        possible, says = _against_limit(need, current, limit, basis)
    return Requirement(
        target=target,
        means=means,
        possible=possible,
        lower_highest=lower,
        upper_lowest=upper,
        total_resistance=total,
        current=current,
        gain=1.0,
        unit_gain_current=None,
        current_limit=limit,
        limit_basis=basis,
        says=says,
    )


def _against_limit(need: str, current: float, limit: float | None, basis: str) -> tuple[bool, str]:
    if limit is None:
        return False, f"needs {need}; whether that is allowed is unknown: {basis}"
    if current > limit:
        return False, f"not possible: needs {need}; the monitor current may be {limit:.3g} A at most ({basis})"
    return True, f"possible: {need}; allowed are {limit:.3g} A ({basis})"


def _amplifier(
    circuit: Circuit,
    target: str,
    lower: float,
    upper: float,
    limit: float | None,
    basis: str,
    tolerance: float,
) -> Requirement:
    adc, reference = circuit.controller.adc, held_reference(circuit)
    error = 2.0 * (adc.total_error + 0.5) * reference.high / 2.0**adc.bits
    gap = (1.0 - tolerance) * upper - (1.0 + tolerance) * lower
    direct = gain = resistor = None
    possible = False
    if upper <= lower or gap <= 0.0:
        says = (
            f"not possible with any current or gain: the line resistances are {lower:.4g} ohm at most and {upper:.4g} "
            f"ohm at least, and the current is known to {100 * tolerance:g} %"
        )
    else:
        direct = error / gap
        if limit is None:
            says = f"needs {direct:.3g} A without an amplifier; whether that is allowed is unknown: {basis}"
        else:
            gain = max(error / (limit / (1.0 + tolerance) * gap), 1.0)
            resistor = circuit.battery.voltage.high / limit
            full = reference.low / (limit * upper) if upper > 0 else float("inf")
            possible = gain <= full
            says = (
                f"possible: {limit:.3g} A ({basis}) and a gain of {gain:.3g} or more; without one {direct:.3g} A"
                if possible
                else f"not possible: a gain of {gain:.3g} is needed at {limit:.3g} A ({basis}), and {full:.3g} fills "
                "the converter"
            )
    return Requirement(
        target=target,
        means="test current with an amplifier across the line",
        possible=possible,
        lower_highest=lower,
        upper_lowest=upper,
        total_resistance=resistor,
        current=None if limit is None else limit,
        gain=gain,
        unit_gain_current=direct,
        current_limit=limit,
        limit_basis=basis,
        says=says,
    )
