"""Whose no-fire and all-fire statements limits rest on, and when one of them does not carry a PASS."""

from __future__ import annotations

from ignition.circuit.model import Circuit, StatementModel
from ignition.findings.compare import Doubt, Statement
from ignition.findings.finding import Reason
from ignition.findings.values import UNDATED, left_out

__all__ = ["all_fire_doubt", "all_fire_statement", "no_fire_doubt", "no_fire_statement"]


def no_fire_statement(circuit: Circuit, kind: str) -> Statement:
    """Return who says what the no-fire current of an igniter type is."""
    return _statement(circuit.igniters[kind].no_fire, "no-fire", kind)


def all_fire_statement(circuit: Circuit, kind: str) -> Statement:
    """Return who says what the all-fire current of an igniter type is."""
    return _statement(circuit.igniters[kind].all_fire, "all-fire", kind)


def no_fire_doubt(circuit: Circuit, kind: str) -> Doubt | None:
    """Return why the no-fire statement of an igniter type carries no PASS, if it does not."""
    return _doubt(circuit, circuit.igniters[kind].no_fire, "no-fire", kind)


def all_fire_doubt(circuit: Circuit, kind: str) -> Doubt | None:
    """Return why the all-fire statement of an igniter type carries no PASS, if it does not."""
    return _doubt(circuit, circuit.igniters[kind].all_fire, "all-fire", kind)


def _statement(given: StatementModel | None, word: str, kind: str) -> Statement:
    source = "no source is named" if given is None or not given.source else given.source
    date = UNDATED if given is None or not given.date else given.date
    return Statement(source=f"{word} statement of igniter {kind!r}: {source}", date=date)


def _doubt(circuit: Circuit, given: StatementModel | None, word: str, kind: str) -> Doubt | None:
    key = f"igniter.{kind}.{word.replace('-', '_')}"
    if given is None:
        return Doubt(reason=Reason.MISSING_KEY, says=f"igniter {kind!r} has no {word} current", keys=(key,))
    asked, sure = circuit.required_reliability, circuit.required_confidence
    if given.meets(asked, sure):
        return None
    missing = left_out(key, given, "reliability", "confidence")
    if missing:
        return Doubt(
            reason=Reason.BELOW_REQUIRED_RELIABILITY,
            says=f"the {word} statement of igniter {kind!r} does not say for what share of igniters and how surely",
            keys=missing,
        )
    return Doubt(
        reason=Reason.BELOW_REQUIRED_RELIABILITY,
        says=f"the {word} statement of igniter {kind!r} holds for {given.reliability:g} of igniters at "
        f"{given.confidence:g} confidence; {asked:g} at {sure:g} is asked",
    )
