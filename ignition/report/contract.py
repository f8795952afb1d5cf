"""Results as JSON objects: the keys that other programs rely on."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

from ignition.analyses.firing.firing import ChannelFiring, Firing, IgniterFiring
from ignition.analyses.no_fire.steady import PhaseNoFire
from ignition.analyses.trials.trials import FiringTrials
from ignition.analyses.verdict import Check
from ignition.circuit.model import Circuit
from ignition.findings.finding import Finding, worst_verdict
from ignition.toleranced import number

__all__ = ["check_dict", "findings_dict", "firing_dict", "to_json", "trials_dict"]


def to_json(result: dict[str, Any]) -> str:
    """Write a result as JSON text; a number that is not finite is an error here, never output.

    Parameters
    ----------
    result : From one of this package's ``*_dict`` functions
    """
    return json.dumps(result, indent=1, allow_nan=False, ensure_ascii=False)


def _finding(finding: Finding) -> dict[str, Any]:
    corner = finding.corner
    return {
        "question": str(finding.question),
        "concern": str(finding.question.concern),
        "rule": finding.rule,
        "channel": finding.channel,
        "phase": finding.phase,
        "line_state": finding.line_state,
        "controller": finding.controller,
        "igniter": finding.igniter,
        "verdict": finding.verdict,
        "reason": str(finding.reason),
        "relation": finding.relation,
        "value": finding.value,
        "limit": finding.limit,
        "unit": finding.unit,
        "margin": finding.margin,
        "keys": list(finding.keys),
        "rests_on": list(finding.rests_on),
        "corner": None
        if corner is None
        else {
            "battery_voltage": number(corner.battery_voltage, "V"),
            "temperature": number(corner.temperature, "degC"),
            "ends": [{"value": name, "end": end} for name, end in corner.ends],
        },
        "says": finding.says,
        "source": finding.source,
        "source_date": finding.source_date,
    }


def _phase(phase: PhaseNoFire) -> dict[str, Any]:
    least = phase.least
    worst = least.worst
    return {
        "phase": phase.phase,
        "igniter": least.igniter,
        "line_state": worst.line_state,
        "controller": worst.controller,
        "igniter_current": number(worst.current, "A"),
        "line_current": number(phase.line.current, "A"),
        "clamp_current": number(phase.clamp.current, "A"),
        "margin": number(least.ratio, "1", least.reason),
        "margin_db": number(least.decibel, "dB", least.reason),
        "thermal_fraction": number(least.thermal_fraction, "1", least.reason if least.limit is None else None),
        "gate_voltage": phase.gate.gate_voltage.as_dict(),
        "lowest_threshold": number(phase.gate.lowest_threshold, "V"),
    }


def findings_dict(circuit: Circuit, findings: Sequence[Finding]) -> dict[str, Any]:
    """Return the JSON form of findings: the worst verdict, each finding, and the assumptions of the circuit."""
    return {
        "verdict": worst_verdict(findings),
        "findings": [_finding(f) for f in findings],
        "assumptions": [
            {"key": a.key, "value": a.value, "direction": a.direction, "basis": a.basis} for a in circuit.assumptions
        ],
    }


def check_dict(result: Check) -> dict[str, Any]:
    """Return the JSON object of a check."""
    return {
        "circuit": result.circuit.name,
        "title": result.circuit.title,
        "sha256": result.circuit.digest,
        **findings_dict(result.circuit, result.findings),
        "no_fire": [
            {
                "channel": channel.channel,
                "current_into_short": number(channel.current_into_short, "A"),
                "phases": [_phase(p) for p in channel.phases],
            }
            for channel in result.no_fire.channels
        ],
    }


def _igniter(igniter: IgniterFiring) -> dict[str, Any]:
    missing = None if igniter.all_fire_margin is not None else igniter.reason or "no all-fire current is given"
    return {
        "igniter": igniter.igniter,
        "type": igniter.kind,
        "string": igniter.string,
        "position": igniter.position,
        "current": igniter.current.as_dict(),
        "all_fire_margin": number(igniter.all_fire_margin, "1", missing),
        "function_time": igniter.function_time.as_dict(),
        "functions": igniter.functions,
        "thermal_fraction": igniter.thermal_fraction.as_dict(),
        "reason": igniter.reason,
    }


def _lead_temperature(value: float | None) -> dict[str, Any]:
    if value is not None and not math.isfinite(value):
        return number(None, "degC", "the lead melts in the pulse")
    return number(value, "degC", None if value is not None else "the lead's cross-section or current is not known")


def _channel(channel: ChannelFiring) -> dict[str, Any]:
    return {
        "channel": channel.channel,
        "igniters": [_igniter(i) for i in channel.igniters],
        "current": channel.current.as_dict(),
        "gate_voltage": channel.gate_voltage.as_dict(),
        "on_resistance": channel.on_resistance.as_dict(),
        "mosfet_junction": channel.mosfet_junction.as_dict(),
        "lead_temperature": _lead_temperature(channel.lead_temperature),
    }


def trials_dict(trials: FiringTrials | None) -> dict[str, Any]:
    """Return the JSON object of the probability that all igniters function.

    Parameters
    ----------
    trials : Trial firings; None where none were asked for

    Returns
    -------
    Probability with its bounds, or null with the reason
    """
    if trials is None or trials.probability is None:
        reason = "no trials were asked for: --trials N" if trials is None else trials.reason or "interrupted"
        return {"value": None, "lower_95": None, "trials": 0, "seed": None, "reason": reason}
    both = trials.interval(0.95)
    assert both is not None
    return {
        "value": trials.probability,
        "lower_95": trials.lower(0.95),
        "trials": trials.trials,
        "seed": trials.seed,
        "failures": trials.failures,
        "interval_95": [both.low, both.high],
        "partial": trials.partial,
        "igniters": [
            {"igniter": i.igniter, "functioned": i.functioned, "functions_in_trials": trials.functions(i)}
            for i in trials.igniters
        ],
    }


def firing_dict(result: Firing, trials: FiringTrials | None = None) -> dict[str, Any]:
    """Return the JSON object of a firing analysis.

    Returns
    -------
    Channels with their igniters, battery voltage, controller supply
    """

    def instant(value: float, what: str) -> dict[str, Any]:
        finite = value != float("inf")
        return number(value if finite else None, "s", None if finite else what)

    supply = result.supply
    return {
        "circuit": result.circuit,
        "channels": [_channel(c) for c in result.channels],
        "battery_voltage": result.battery_voltage.as_dict(),
        "controller_supply": result.controller_supply.as_dict(),
        "probability_all_fire": trials_dict(trials),
        "supply": {
            "highest_battery_current": number(supply.highest_current, "A"),
            "brown_out": number(supply.brown_out, "V", None if supply.brown_out is not None else "not given"),
            "time_to_brown_out": instant(supply.hold_up, "the supply stays above brown-out, or the level is not given"),
            "fuse_opens": instant(supply.fuse_time, "no fuse opens at this current, or its data are not given"),
            "protection_trips": instant(supply.protection_time, "no protection circuit trips, or none is given"),
        },
    }
