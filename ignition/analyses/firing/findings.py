"""Findings on firing: current, function, gate drive, supply, and what the pulse does to switch, wires and fuses."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ignition.analyses.firing.conductors import ConductorHeating
from ignition.analyses.firing.firing import ChannelFiring, Firing, IgniterFiring
from ignition.analyses.firing.protective import BATTERY_PROTECTION, ProtectivePart
from ignition.circuit.model import ChannelModel, Circuit
from ignition.findings.compare import Doubt, Statement, answered, compare
from ignition.findings.corner import Corner
from ignition.findings.finding import Finding, Question, Reason
from ignition.findings.igniter import all_fire_doubt, all_fire_statement, no_fire_doubt
from ignition.findings.presets import Rule, rules_in_use
from ignition.findings.values import data_sheet, left_out, resting
from ignition.parts.conductor import COPPER_MELTING_POINT

__all__ = ["firing_findings"]


def firing_findings(circuit: Circuit, found: Firing) -> Iterator[Finding]:
    """Judge every igniter, channel and part of the feed over the firing sequence."""
    for channel, active in zip(circuit.channels, found.channels, strict=True):
        for igniter in active.igniters:
            yield _current(circuit, channel, igniter)
            yield _function(circuit, channel, igniter)
        for conductor in active.conductors:
            yield _conductor(circuit, channel.name, conductor)
        yield _gate_drive(circuit, channel, active)
        yield _junction(circuit, channel, active)
        yield from _turn_off(circuit, channel, active)
        for rule in rules_in_use(circuit):
            if rule.quantity == "firing current":
                for igniter in active.igniters:
                    yield _current(circuit, channel, igniter, rule)
            elif rule.quantity == "pulse":
                for igniter in active.igniters:
                    yield _pulse(circuit, channel, rule, igniter)
    yield from _feed(circuit, found)


def _feed(circuit: Circuit, found: Firing) -> Iterator[Finding]:
    """Judge supply, battery, fuses and the feed's wires over the whole sequence."""
    yield _supply(circuit, found)
    if not any(part.kind == BATTERY_PROTECTION for part in found.supply.parts):
        yield answered(
            Question.BATTERY,
            "battery-protection",
            True if circuit.battery.protection_known else None,
            says="no protection circuit may disconnect the battery",
            statement=data_sheet("battery"),
            key="battery.protection",
            phase="firing",
        )
    for part in found.supply.parts:
        yield _protective(circuit, found, part)
    for conductor in found.conductors:
        yield _conductor(circuit, None, conductor)


def _controller_doubt(circuit: Circuit, *names: str) -> Doubt | None:
    """Doubt by what the file does not say of the controller, which hangs on the battery that fires."""
    keys = left_out("controller", circuit.given.controller, *names)
    says = "what the controller draws, or at which supply it resets, is not given"
    return Doubt(reason=Reason.MISSING_KEY, says=says, keys=keys) if keys else None


def _flows(circuit: Circuit, found: Firing, *, trusting: bool) -> float:
    """Longest time of firing current, all channels together: to the last function where every bridge opens [s].

    Trusting takes every all-fire statement for certain.
    """

    def opens(igniter: IgniterFiring) -> bool:
        sure = trusting or all_fire_doubt(circuit, igniter.kind) is None
        return sure and circuit.igniters[igniter.kind].spent == "open"

    total = 0.0
    for channel, active in zip(circuit.channels, found.channels, strict=True):
        ends = [i.function_time.high if opens(i) else None for i in active.igniters]
        known = [end for end in ends if end is not None]
        total += max(known) if len(known) == len(ends) else channel.pulse.high
    return total


def _supply(circuit: Circuit, found: Firing) -> Finding:
    """The controller must stay supplied until no firing current flows any more: by the battery, or by its capacitor."""
    supply, behind = found.supply, not circuit.controller.powered_before_arm_switch
    flows, longest = (_flows(circuit, found, trusting=trust) for trust in (True, False))
    doubt = _controller_doubt(circuit, "brown_out", "current")
    value: float | None = supply.controller_supply.low
    says = "lowest controller supply while firing against the brown-out level"
    cut = supply.cuts_controller(flows, behind_feed=behind)
    if cut is not None and cut.opens_after is not None:
        value, says = 0.0, f"{says}: {cut.name} may disconnect it while a spent igniter still draws"
    elif cut is not None:
        doubt = Doubt(reason=Reason.MISSING_KEY, says=str(cut.reason), keys=cut.missing)
    held = cut is None and supply.recovers and 0.0 < flows <= supply.hold_up < math.inf
    if cut is None and ((held and longest > supply.hold_up) or supply.cuts_controller(longest, behind_feed=behind)):
        doubt = doubt or _unproven(circuit, found)
    return compare(
        Question.SUPPLY,
        "controller-supply",
        supply.hold_up if held else value,
        "at least",
        flows if held else supply.brown_out,
        "s" if held else "V",
        says="time that the hold-up capacitor alone carries the controller against the time of firing current"
        if held
        else says,
        statement=data_sheet("controller"),
        doubt=doubt,
        phase="firing",
        corner=_weakest(circuit),
        rests_on=resting(circuit, "fire"),
    )


def _unproven(circuit: Circuit, found: Firing) -> Doubt | None:
    """Doubt by an all-fire statement that is not reliable enough to end the current of its igniter."""
    kinds = dict.fromkeys(i.kind for channel in found.channels for i in channel.igniters)
    return next((doubt for kind in kinds if (doubt := all_fire_doubt(circuit, kind)) is not None), None)


def _weakest(circuit: Circuit) -> Corner:
    """Weak battery, cold, most load."""
    ends = (("battery.resistance", "high"), ("load", "high"), ("igniters", "low"), ("dropout", "high"))
    return Corner(battery_voltage=circuit.battery.voltage.low, temperature=circuit.ambient.low, ends=ends)


def _protective(circuit: Circuit, found: Firing, part: ProtectivePart) -> Finding:
    """A part that interrupts must carry the standing loads, and the firing current for good or to the last function."""
    question = Question.BATTERY if part.kind == BATTERY_PROTECTION else Question.FUSE
    rule = "battery-protection" if part.kind == BATTERY_PROTECTION else "fuse-holds"
    standing = part.opens_after == 0.0
    carries = standing or part.opens_after is None or math.isinf(part.opens_after)
    latest, doubt = _last_function(circuit, found)
    if carries:
        doubt = None
    if part.opens_after is None:
        doubt = Doubt(reason=Reason.MISSING_KEY, says=str(part.reason), keys=part.missing)
    current = part.standing_current if standing else part.highest_current
    return compare(
        question,
        rule,
        current if carries else latest,
        "at most" if carries and part.kind != BATTERY_PROTECTION else "below",
        None if part.opens_after is None else part.carried_current if carries else part.opens_after,
        "A" if carries else "s",
        says=f"{'standing' if standing else 'highest'} current through {part.name} against what it carries for good"
        if carries
        else f"firing current until the last function against the earliest opening of {part.name}",
        statement=data_sheet(part.kind, part.name),
        doubt=doubt or _controller_doubt(circuit, "current"),
        phase="firing",
        part=part.name,
        rests_on=resting(circuit, "fire"),
    )


def _last_function(circuit: Circuit, found: Firing) -> tuple[float | None, Doubt | None]:
    """Longest time of firing current until all have functioned; infinite where one may not, None where not known."""
    latest = 0.0
    for channel in found.channels:
        for igniter in channel.igniters:
            if igniter.function_time.high is not None:
                latest = max(latest, channel.conducted_before + igniter.function_time.high)
            elif igniter.cause is Reason.EXCEEDED:
                return math.inf, None
            else:
                return None, Doubt(reason=igniter.cause, says=str(igniter.reason), keys=igniter.keys)
    return latest, _unproven(circuit, found)


def _wire_key(circuit: Circuit, name: str) -> str:
    """Key that gives the size of a conductor: ``CHANNEL.lead``, ``CHANNEL.branch N`` or ``feed.NAME``."""
    for index, part in enumerate(circuit.feed):
        if name == f"feed.{part.name}":
            return f"feed[{index}].wire"
    owner, _, what = name.rpartition(".")
    index = [channel.name for channel in circuit.channels].index(owner)
    return f"channel[{index}].{what.partition(' ')[0]}.wire"


def _conductor(circuit: Circuit, channel: str | None, conductor: ConductorHeating) -> Finding:
    missing = Doubt(reason=Reason.MISSING_KEY, says=str(conductor.reason), keys=(_wire_key(circuit, conductor.name),))
    return compare(
        Question.CONDUCTOR,
        "conductor-melts",
        math.inf if conductor.melts else conductor.temperature,
        "below",
        COPPER_MELTING_POINT,
        "degC",
        says=f"highest temperature of {conductor.name} after the pulse, no heat lost, against melting copper",
        statement=Statement(source="melting point of copper, as in Onderdonk's equation", date="textbook value"),
        doubt=missing if conductor.temperature is None and not conductor.melts else None,
        base=circuit.ambient.high,
        channel=channel,
        phase="firing",
        part=conductor.name,
        rests_on=resting(circuit, "fire"),
    )


def _current(circuit: Circuit, channel: ChannelModel, igniter: IgniterFiring, rule: Rule | None = None) -> Finding:
    """Lowest current until it functions against the all-fire current, or against what a rule makes of it."""
    all_fire = circuit.igniters[igniter.kind].all_fire_current
    share = 1.0 if rule is None else rule.share_of_all_fire
    limit = None if all_fire is None or share is None else share * all_fire
    if rule is not None and rule.current is not None:
        limit = max(limit or 0.0, rule.current)
    doubt = None if share is None else all_fire_doubt(circuit, igniter.kind)
    if igniter.lowest_current is None:
        doubt = doubt or Doubt(reason=igniter.cause, says=str(igniter.current.reason), keys=igniter.keys)
    run_down = igniter.lowest_current is None and igniter.cause is Reason.EXCEEDED
    return compare(
        Question.FIRING_CURRENT,
        "above-all-fire" if rule is None else rule.id,
        0.0 if run_down else igniter.lowest_current,
        "at least",
        limit if all_fire is not None or share is None else None,
        "A",
        says=f"lowest firing current in {igniter.igniter} against its all-fire current" if rule is None else rule.says,
        statement=all_fire_statement(circuit, igniter.kind) if rule is None else rule.statement,
        doubt=doubt or _controller_doubt(circuit, "current") or _bank_doubt(circuit),
        channel=channel.name,
        phase="firing",
        igniter=igniter.igniter,
        corner=igniter.corner,
        rests_on=resting(circuit, "fire"),
    )


def _without_bound(
    circuit: Circuit, channel: ChannelModel, igniter: IgniterFiring
) -> tuple[float | None, Doubt | None]:
    """Latest function time, infinite where it has no bound though everything is known; and what is in doubt."""
    doubt = all_fire_doubt(circuit, igniter.kind) or _controller_doubt(circuit, "brown_out", "current")
    doubt = (
        doubt or _gate_doubt(circuit, channel) or _bank_doubt(circuit) or _neighbour_doubt(circuit, channel, igniter)
    )
    if igniter.function_time.high is not None:
        return igniter.function_time.high, doubt
    if igniter.cause is Reason.EXCEEDED:
        return math.inf, None
    return None, doubt or Doubt(reason=igniter.cause, says=str(igniter.reason), keys=igniter.keys)


def _bank_doubt(circuit: Circuit) -> Doubt | None:
    """Doubt by a capacitor bank that is full when it was charged: dividers run it down while nobody fires."""
    if circuit.battery.bank_capacitance is None or circuit.battery.recharge_resistance is not None:
        return None
    says = "how long ago the capacitor bank was charged is not known, and nothing recharges it"
    return Doubt(reason=Reason.MISSING_KEY, says=says, keys=("battery.capacitor_bank.recharge_resistance",))


def _neighbour_doubt(circuit: Circuit, channel: ChannelModel, igniter: IgniterFiring) -> Doubt | None:
    """Doubt by the no-fire statement of a neighbour in the string, which ends the current when it opens."""
    string = list(channel.strings[igniter.string - 1])
    del string[igniter.position - 1]
    opening = [kind for kind in string if circuit.igniters[kind].spent == "open"]
    return next((doubt for kind in opening if (doubt := no_fire_doubt(circuit, kind)) is not None), None)


def _function(circuit: Circuit, channel: ChannelModel, igniter: IgniterFiring) -> Finding:
    value, doubt = _without_bound(circuit, channel, igniter)
    lost = value is not None and math.isinf(value)
    return compare(
        Question.FUNCTION,
        "functions",
        value,
        "at most",
        channel.pulse.low,
        "s",
        says=f"{igniter.igniter} may not function: {igniter.reason}"
        if lost
        else f"latest function of {igniter.igniter} within the shortest pulse",
        statement=all_fire_statement(circuit, igniter.kind),
        doubt=doubt,
        channel=channel.name,
        phase="firing",
        igniter=igniter.igniter,
        rests_on=resting(circuit, "fire"),
    )


def _pulse(circuit: Circuit, channel: ChannelModel, rule: Rule, igniter: IgniterFiring) -> Finding:
    """Shortest pulse against a multiple of the latest function time, and a least time."""
    value, doubt = _without_bound(circuit, channel, igniter)
    limit = None if value is None else max((rule.times_function_time or 0.0) * value, rule.time or 0.0)
    lost = limit is not None and math.isinf(limit)
    return compare(
        Question.FUNCTION,
        rule.id,
        channel.pulse.low,
        "at least",
        limit,
        "s",
        says=f"{rule.says}: {igniter.igniter} may not function at all" if lost else rule.says,
        statement=rule.statement,
        doubt=doubt,
        channel=channel.name,
        phase="firing",
        igniter=igniter.igniter,
        rests_on=resting(circuit, "fire"),
    )


def _not_given(circuit: Circuit, channel: ChannelModel, *names: str) -> tuple[str, ...]:
    """List the keys of a channel's MOSFET that the file leaves out."""
    mosfet = circuit.mosfets[channel.mosfet]
    return tuple(f"mosfet.{channel.mosfet}.{name}" for name in names if not getattr(mosfet, name))


def _gate_doubt(circuit: Circuit, channel: ChannelModel) -> Doubt | None:
    """Doubt by a gate of which nothing says how long the pin takes to charge it: the switch may conduct too late."""
    keys = _not_given(circuit, channel, "input_capacitance", "gate_drain_charge")
    says = "how long the gate takes to charge is not known"
    return Doubt(reason=Reason.MISSING_KEY, says=says, keys=keys) if keys else None


def _gate_drive(circuit: Circuit, channel: ChannelModel, active: ChannelFiring) -> Finding:
    return compare(
        Question.GATE_DRIVE,
        "gate-drive",
        active.gate_voltage.low,
        "at least",
        circuit.mosfets[channel.mosfet].rows[0].gate,
        "V",
        says="lowest gate voltage against the lowest row of on-resistance in the data sheet",
        statement=data_sheet("MOSFET", channel.mosfet),
        doubt=_gate_doubt(circuit, channel) or _controller_doubt(circuit, "current"),
        corner=_weakest(circuit),
        channel=channel.name,
        phase="firing",
        rests_on=resting(circuit, "fire"),
    )


def _junction(circuit: Circuit, channel: ChannelModel, active: ChannelFiring) -> Finding:
    missing = _not_given(circuit, channel, "thermal", "input_capacitance", "gate_drain_charge")
    doubt = None
    if active.mosfet_junction.high is None:
        doubt = Doubt(
            reason=Reason.MISSING_KEY if missing else Reason.OUTSIDE_DATA_SHEET,
            says=str(active.mosfet_junction.reason),
            keys=missing,
        )
    doubt = doubt or _controller_doubt(circuit, "current")
    return compare(
        Question.JUNCTION,
        "mosfet-junction",
        active.mosfet_junction.high,
        "at most",
        circuit.mosfets[channel.mosfet].max_junction,
        "degC",
        says="highest junction temperature, gate charging and pulse together",
        statement=data_sheet("MOSFET", channel.mosfet),
        doubt=doubt,
        base=circuit.ambient.high,
        channel=channel.name,
        phase="firing",
        rests_on=resting(circuit, "fire"),
    )


def _turn_off(circuit: Circuit, channel: ChannelModel, active: ChannelFiring) -> Iterator[Finding]:
    """Judge gate voltage, avalanche and heat at the end of the pulse."""
    mosfet, ends = circuit.mosfets[channel.mosfet], active.turn_off
    sheet, rests = data_sheet("MOSFET", channel.mosfet), resting(circuit, "safe")
    yield compare(
        Question.TURN_OFF,
        "gate-rating",
        ends.gate_voltage,
        "at most",
        mosfet.gate_rating.low,
        "V",
        says="highest voltage that the pin drives the gate to against what the gate bears",
        statement=sheet,
        channel=channel.name,
        phase="turn-off",
        rests_on=rests,
    )
    heat = ("thermal", "input_capacitance", "gate_drain_charge")
    unknown = Doubt(
        reason=Reason.MISSING_KEY,
        says=ends.reason or "what the MOSFET bears beyond breakdown, or where that begins, is not given",
        keys=_not_given(circuit, channel, "breakdown", "avalanche_energy", *(heat if ends.reason else ())),
    )
    yield compare(
        Question.TURN_OFF,
        "avalanche-energy",
        ends.energy,
        "at most",
        ends.rating,
        "J",
        says="highest energy that the line's inductance drives into the MOSFET at turn-off, the battery's share with "
        "it, against its avalanche energy at the temperature of the pulse's end",
        statement=sheet,
        doubt=unknown if ends.energy is None or ends.rating is None else _controller_doubt(circuit, "current"),
        channel=channel.name,
        phase="turn-off",
        corner=Corner(battery_voltage=circuit.battery.voltage.high, temperature=circuit.ambient.low),
        rests_on=rests,
    )
    cold = Doubt(
        reason=Reason.MISSING_KEY,
        says="how long the turn-off heats the MOSFET, or how hot the pulse leaves it, is not known",
        keys=_not_given(circuit, channel, "breakdown", *heat),
    )
    yield compare(
        Question.TURN_OFF,
        "turn-off-junction",
        ends.junction,
        "at most",
        mosfet.max_junction,
        "degC",
        says="highest junction temperature: pulse, linear region of the turn-off and avalanche together",
        statement=sheet,
        doubt=cold if ends.junction is None else _controller_doubt(circuit, "current"),
        base=circuit.ambient.high,
        channel=channel.name,
        phase="turn-off",
        rests_on=rests,
    )
