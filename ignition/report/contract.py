"""Results as JSON objects: the keys that other programs rely on."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any

from ignition.analyses.firing.conductors import ConductorHeating
from ignition.analyses.firing.firing import ChannelFiring, Firing, IgniterFiring
from ignition.analyses.firing.protective import ProtectivePart
from ignition.analyses.trials.trials import FiringTrials
from ignition.analyses.verdict import Check, Finding
from ignition.toleranced import number

__all__ = ["check_dict", "firing_dict", "to_json", "trials_dict"]


def to_json(result: dict[str, Any]) -> str:
    """Write a result as JSON text; a number that is not finite is an error here, never output.

    Parameters
    ----------
    result : From one of this package's ``*_dict`` functions
    """
    return json.dumps(result, indent=1, allow_nan=False, ensure_ascii=False)


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "rule": finding.rule,
        "channel": finding.channel,
        "phase": finding.phase,
        "verdict": finding.verdict,
        "value": finding.value,
        "limit": finding.limit,
        "unit": finding.unit,
        "margin": finding.margin,
        "says": finding.says,
        "source": finding.source,
        "source_date": finding.source_date,
    }


def check_dict(result: Check) -> dict[str, Any]:
    """Return the JSON object of a check."""
    return {
        "circuit": result.circuit,
        "title": result.title,
        "sha256": result.digest,
        "verdict": result.verdict,
        "findings": [_finding(f) for f in result.findings],
        "assumptions": [
            {"key": a.key, "value": a.value, "direction": a.direction, "basis": a.basis} for a in result.assumptions
        ],
        "no_fire": [
            {
                "channel": channel.channel,
                "current_into_short": number(channel.current_into_short, "A"),
                "phases": [
                    {
                        "phase": p.phase,
                        "igniter": p.igniter,
                        "line_state": p.line_state,
                        "igniter_current": number(p.current, "A"),
                        "margin": number(p.ratio, "1", p.reason),
                        "margin_db": number(p.decibel, "dB", p.reason),
                        "thermal_fraction": number(p.thermal_fraction, "1", p.reason if p.limit is None else None),
                        "gate_voltage": p.gate.gate_voltage.as_dict(),
                        "lowest_threshold": number(p.gate.lowest_threshold, "V"),
                    }
                    for p in channel.phases
                ],
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


def _conductors(conductors: Sequence[ConductorHeating]) -> list[dict[str, Any]]:
    return [
        {
            "conductor": c.name,
            "temperature": number(c.temperature, "degC", c.reason),
            "melts": c.melts,
            "square_time": number(c.square_time, "A^2 s"),
        }
        for c in conductors
    ]


def _protective(part: ProtectivePart) -> dict[str, Any]:
    known = part.opens_after is not None and math.isfinite(part.opens_after)
    stays = "it carries the highest current for good" if part.opens_after is not None else part.reason
    return {
        "part": part.name,
        "kind": part.kind,
        "highest_current": number(part.highest_current, "A"),
        "carried_current": number(part.carried_current, "A", None if part.carried_current is not None else "not given"),
        "opens_after": number(part.opens_after if known else None, "s", None if known else stays),
        "missing": list(part.missing),
    }


def _channel(channel: ChannelFiring) -> dict[str, Any]:
    lead = channel.conductors[0]
    return {
        "channel": channel.channel,
        "igniters": [_igniter(i) for i in channel.igniters],
        "current": channel.current.as_dict(),
        "gate_voltage": channel.gate_voltage.as_dict(),
        "on_resistance": channel.on_resistance.as_dict(),
        "mosfet_junction": channel.mosfet_junction.as_dict(),
        "lead_temperature": number(lead.temperature, "degC", lead.reason),
        "conductors": _conductors(channel.conductors),
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
            "protective_parts": [_protective(part) for part in supply.parts],
            "conductors": _conductors(result.conductors),
        },
    }
