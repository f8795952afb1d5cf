"""Verdict: every finding PASS, FAIL or UNKNOWN against a named limit, with its source and date."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Literal

from ignition.analyses.firing.firing import ChannelFiring, Firing, firing
from ignition.analyses.no_fire.steady import ChannelNoFire, NoFire, PhaseNoFire, no_fire
from ignition.circuit.model import Assumption, ChannelModel, Circuit
from ignition.findings.presets import Rule, current_limit, rules
from ignition.units import engineering

__all__ = ["Check", "Finding", "Verdict", "check"]

Verdict = Literal["PASS", "FAIL", "UNKNOWN"]

_FILE = "values of this circuit file"
_RANK = {"PASS": 0, "UNKNOWN": 1, "FAIL": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One comparison with a limit.

    Attributes
    ----------
    value, limit : Worst value and the limit [`unit`]; None where it is not known
    margin : Limit over value, or value over limit: at least 1 where it passes [1]
    """

    rule: str
    channel: str | None
    phase: str | None
    verdict: Verdict
    value: float | None
    limit: float | None
    unit: str
    margin: float | None
    says: str
    source: str
    source_date: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """All findings of a circuit, with the analyses that they rest on.

    Attributes
    ----------
    assumptions : Every value that the file did not give
    """

    circuit: str
    title: str
    digest: str
    verdict: Verdict
    findings: tuple[Finding, ...]
    assumptions: tuple[Assumption, ...]
    no_fire: NoFire
    firing: Firing


def check(circuit: Circuit) -> Check:
    """Check a circuit against the written limits it chooses, or all that are shipped."""
    margins, fired = no_fire(circuit), firing(circuit)
    findings: list[Finding] = []
    for channel, quiet, active in zip(circuit.channels, margins.channels, fired.channels, strict=True):
        findings += _own_no_fire(channel, quiet)
        findings += _hold_off(quiet)
        findings += _functions(channel, active)
        findings += _gate_drive(circuit, channel, active)
        findings += _junction(circuit, channel, active)
        findings += _blocking(circuit, channel)
    findings += _supply(circuit, fired)
    for rule in (*rules(circuit.presets), *_own_rules(circuit)):
        findings += _evaluate(circuit, rule, margins, fired)
    return Check(
        circuit=circuit.name,
        title=circuit.title,
        digest=circuit.digest,
        verdict=max((f.verdict for f in findings), key=lambda v: _RANK[v]),
        findings=tuple(findings),
        assumptions=circuit.assumptions,
        no_fire=margins,
        firing=fired,
    )


def _compared(
    rule: str,
    value: float | None,
    limit: float | None,
    unit: str,
    says: str,
    source: str,
    date: str,
    channel: str | None = None,
    phase: str | None = None,
    *,
    at_least: bool,
) -> Finding:
    """Finding of a value that must reach a limit, or must not exceed it."""
    verdict: Verdict = "UNKNOWN"
    margin = None
    if value is not None and limit is not None and at_least:
        # a limit reached to the last rounding error is reached: 1.5 x 1.0 A is met by 1.5 A
        verdict = "PASS" if value >= limit * (1.0 - 1e-12) else "FAIL"
        margin = value / limit if limit > 0 else None
    elif value is not None and limit is not None:
        verdict = "PASS" if value <= limit else "FAIL"
        # a ratio of temperatures in degC says nothing
        margin = limit / value if value > 0 and unit != "degC" else None
    return Finding(
        rule=rule,
        channel=channel,
        phase=phase,
        verdict=verdict,
        value=value,
        limit=limit,
        unit=unit,
        margin=margin,
        says=says,
        source=source,
        source_date=date,
    )


_at_most = partial(_compared, at_least=False)
_at_least = partial(_compared, at_least=True)


def _own_no_fire(channel: ChannelModel, quiet: ChannelNoFire) -> Iterator[Finding]:
    for phase in quiet.phases:
        yield _at_most(
            "below-no-fire",
            phase.current,
            _below(phase.limit),
            "A",
            phase.reason
            if phase.limit is None and phase.reason
            else f"highest uncommanded current in {phase.igniter} against its no-fire current",
            f"{_FILE}: igniter no-fire statement",
            "as given",
            channel.name,
            phase.phase,
        )


def _below(limit: float | None) -> float | None:
    """Largest number below a limit that must not be reached."""
    return None if limit is None else math.nextafter(limit, 0.0)


def _hold_off(quiet: ChannelNoFire) -> Iterator[Finding]:
    for phase in quiet.phases:
        yield _at_most(
            "gate-held-off",
            max(phase.gate.gate_voltage.high, 0.0),
            _below(phase.gate.lowest_threshold),
            "V",
            "highest gate voltage against the lowest threshold, hot",
            f"{_FILE}: MOSFET data sheet",
            "as given",
            quiet.channel,
            phase.phase,
        )


def _functions(channel: ChannelModel, active: ChannelFiring) -> Iterator[Finding]:
    for igniter in active.igniters:
        known = igniter.function_time.high
        verdict: Verdict
        if igniter.functions == "always":
            verdict, says = "PASS", f"{igniter.igniter} functions in every case, within the pulse"
        elif _lacks_data(igniter.reason):
            verdict, says = "UNKNOWN", f"{igniter.igniter}: {igniter.reason}"
        else:
            verdict, says = "FAIL", f"{igniter.igniter} may not function: {igniter.reason}"
        yield Finding(
            rule="functions",
            channel=channel.name,
            phase="firing",
            verdict=verdict,
            value=known,
            limit=channel.pulse.low,
            unit="s",
            margin=None if not known else channel.pulse.low / known,
            says=says,
            source=f"{_FILE}: pulse and all-fire statement",
            source_date="as given",
        )


def _lacks_data(reason: str | None) -> bool:
    return reason is None or "given" in reason or "data sheet" in reason


def _gate_drive(circuit: Circuit, channel: ChannelModel, active: ChannelFiring) -> Iterator[Finding]:
    lowest = circuit.mosfets[channel.mosfet].rows[0].gate
    yield _at_least(
        "gate-drive",
        active.gate_voltage.low,
        lowest,
        "V",
        "lowest gate voltage against the lowest on-resistance row",
        f"{_FILE}: MOSFET data sheet",
        "as given",
        channel.name,
        "firing",
    )


def _junction(circuit: Circuit, channel: ChannelModel, active: ChannelFiring) -> Iterator[Finding]:
    yield _at_most(
        "mosfet-junction",
        active.mosfet_junction.high,
        circuit.mosfets[channel.mosfet].max_junction,
        "degC",
        active.mosfet_junction.reason or "highest junction temperature at the end of the pulse",
        f"{_FILE}: MOSFET data sheet",
        "as given",
        channel.name,
        "firing",
    )


def _blocking(circuit: Circuit, channel: ChannelModel) -> Iterator[Finding]:
    """A switch below whose breakdown the battery stays; one that breaks down conducts without being commanded."""
    breakdown = circuit.mosfets[channel.mosfet].breakdown
    if breakdown is not None:
        yield _at_most(
            "blocking-voltage",
            circuit.battery.voltage.high,
            breakdown.low,
            "V",
            "highest battery voltage against the MOSFET's breakdown",
            f"{_FILE}: MOSFET data sheet",
            "as given",
            channel.name,
            None,
        )


def _supply(circuit: Circuit, fired: Firing) -> Iterator[Finding]:
    supply = fired.supply
    known = supply.brown_out is not None
    says = "lowest controller supply while firing against the brown-out level"
    if not known:
        says = "no brown-out level is given for the controller"
    yield _at_least(
        "controller-supply",
        supply.controller_supply.low,
        supply.brown_out,
        "V",
        says,
        f"{_FILE}: controller data sheet",
        "as given",
        None,
        "firing",
    )
    if math.isfinite(supply.fuse_time):
        yield Finding(
            rule="fuse",
            channel=None,
            phase="firing",
            verdict="PASS" if fired.all_function else "FAIL",
            value=supply.fuse_time,
            limit=None,
            unit="s",
            margin=None,
            says=f"earliest opening of the fuse: {engineering(supply.fuse_time, 's')} at the highest current",
            source=f"{_FILE}: fuse data sheet",
            source_date="as given",
        )
    if math.isfinite(supply.protection_time):
        yield Finding(
            rule="battery-protection",
            channel=None,
            phase="firing",
            verdict="PASS" if fired.all_function else "FAIL",
            value=supply.protection_time,
            limit=None,
            unit="s",
            margin=None,
            says=f"the battery's protection circuit may trip after {engineering(supply.protection_time, 's')} "
            "at the highest current",
            source=f"{_FILE}: battery data sheet",
            source_date="as given",
        )
    yield from _unrated_fuses(circuit, supply.highest_current)


def _unrated_fuses(circuit: Circuit, current: float) -> Iterator[Finding]:
    """Fuses whose opening time cannot be found, where the current may exceed what they carry for good."""
    for part in circuit.feed:
        if part.kind == "fuse":
            missing, carried = part.melting_i2t is None, part.rating
        elif part.kind == "resettable fuse":
            missing, carried = part.trip_i2t is None or part.hold_current is None, part.hold_current
        else:
            continue
        if missing and (carried is None or current > carried.low):
            yield Finding(
                rule="fuse",
                channel=None,
                phase="firing",
                verdict="UNKNOWN",
                value=current,
                limit=None if carried is None else carried.low,
                unit="A",
                margin=None,
                says=f"{part.name!r}: the highest current may open it, and its "
                + ("melting_i2t is" if part.kind == "fuse" else "trip_i2t and hold_current are")
                + " not given",
                source=f"{_FILE}: fuse data sheet",
                source_date="as given",
            )


def _own_rules(circuit: Circuit) -> list[Rule]:
    found = []
    for own in circuit.own_limits:
        monitor = own.kind == "monitor current at most"
        found.append(
            Rule(
                id=own.name,
                quantity="monitor current" if monitor else "firing current",
                says=own.kind,
                source=own.source,
                source_date=own.date,
                share_of_no_fire=own.share_of_no_fire,
                share_of_all_fire=own.share_of_all_fire,
                current=None if own.current is None else own.current.low if monitor else own.current.high,
            )
        )
    return found


def _evaluate(circuit: Circuit, rule: Rule, margins: NoFire, fired: Firing) -> Iterator[Finding]:
    if rule.quantity in ("monitor current", "uncommanded current", "current into a short"):
        for quiet in margins.channels:
            yield from _current_rule(circuit, rule, quiet)
    elif rule.quantity == "firing current":
        for active in fired.channels:
            yield _firing_rule(circuit, rule, active)
    elif rule.quantity == "pulse":
        for channel, active in zip(circuit.channels, fired.channels, strict=True):
            yield _pulse_rule(rule, channel, active)
    elif rule.quantity == "wait":
        wait = circuit.checklist.misfire_wait
        says = rule.says if wait is not None else f"{rule.says}: not answered in [checklist]"
        yield _at_least(
            rule.id, None if wait is None else wait.low, rule.time, "s", says, rule.source, rule.source_date
        )
    else:
        yield _checklist_rule(circuit, rule)


def _current_rule(circuit: Circuit, rule: Rule, quiet: ChannelNoFire) -> Iterator[Finding]:
    for phase in quiet.phases:
        if rule.quantity != "uncommanded current" and phase.phase != "armed":
            continue
        if rule.quantity == "current into a short":
            value, limit = quiet.current_into_short, _least_limit(circuit, quiet.channel, rule)
        else:
            value, limit = _closest(rule, phase)
        says = rule.says if limit is not None else f"{rule.says}: {phase.reason}"
        yield _at_most(rule.id, value, limit, "A", says, rule.source, rule.source_date, quiet.channel, phase.phase)


def _closest(rule: Rule, phase: PhaseNoFire) -> tuple[float, float | None]:
    """Current and limit of the igniter of least margin under this rule; one that fails stands before one unknown."""
    pairs = [(current, None if limit is None else current_limit(rule, limit)) for _, current, limit in phase.igniters]
    known = [(current, limit) for current, limit in pairs if limit is not None]
    worst = max(known, key=lambda pair: pair[0] / pair[1] if pair[1] > 0 else math.inf, default=None)
    if worst is not None and (worst[0] > worst[1] or len(known) == len(pairs)):
        return worst
    return max(current for current, limit in pairs if limit is None), None


def _least_limit(circuit: Circuit, name: str, rule: Rule) -> float | None:
    """The strictest limit over all igniters of a channel."""
    limits = [circuit.igniters[kind].threshold_low for string in circuit.channel(name).strings for kind in string]
    if None in limits:
        return None
    return min(current_limit(rule, limit) for limit in limits if limit is not None)


def _firing_rule(circuit: Circuit, rule: Rule, active: ChannelFiring) -> Finding:
    """The igniter of least margin."""
    worst: tuple[float, float, float] | None = None
    reason = None
    for igniter in active.igniters:
        statement = circuit.igniters[igniter.kind].all_fire
        needs_all_fire = rule.share_of_all_fire is not None
        if igniter.current.low is None or (statement is None and needs_all_fire):
            reason = igniter.current.reason or f"igniter {igniter.kind!r} has no all-fire current"
            continue
        limit = 0.0
        if needs_all_fire and statement is not None and rule.share_of_all_fire is not None:
            limit = rule.share_of_all_fire * statement.current.high
        limit = max(limit, rule.current or 0.0)
        if worst is None or igniter.current.low / limit < worst[0]:
            worst = (igniter.current.low / limit, igniter.current.low, limit)
    if worst is not None and reason is not None and worst[0] >= 1.0:
        worst = None  # one igniter passes, another is unknown: the channel is unknown
    return _at_least(
        rule.id,
        None if worst is None else worst[1],
        None if worst is None else worst[2],
        "A",
        rule.says if worst is not None else f"{rule.says}: {reason}",
        rule.source,
        rule.source_date,
        active.channel,
        "firing",
    )


def _pulse_rule(rule: Rule, channel: ChannelModel, active: ChannelFiring) -> Finding:
    times = [igniter.function_time.high for igniter in active.igniters]
    limit = None
    says = rule.says
    if None in times:
        reasons = [i.reason for i in active.igniters if i.function_time.high is None]
        says = f"{rule.says}: the function time has no upper bound ({reasons[0]})"
    else:
        longest = max(t for t in times if t is not None)
        limit = max((rule.times_function_time or 0.0) * longest, rule.time or 0.0)
    return _at_least(
        rule.id, channel.pulse.low, limit, "s", says, rule.source, rule.source_date, channel.name, "firing"
    )


def _checklist_rule(circuit: Circuit, rule: Rule) -> Finding:
    answer = getattr(circuit.checklist, rule.answer or "")
    interlock = any(part.kind == "interlock" for part in circuit.feed)
    if rule.answer == "interlock_in_series" and answer is None and interlock:
        answer = True
    verdict: Verdict = "UNKNOWN" if answer is None else "PASS" if answer else "FAIL"
    answered = {None: "not answered in [checklist]", True: "yes", False: "no"}[answer]
    return Finding(
        rule=rule.id,
        channel=None,
        phase=None,
        verdict=verdict,
        value=None,
        limit=None,
        unit="1",
        margin=None,
        says=f"{rule.says}: {answered}",
        source=rule.source,
        source_date=rule.source_date,
    )
