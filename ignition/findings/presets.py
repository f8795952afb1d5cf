"""Written limits: where each comes from, and what it allows for a given igniter."""

from __future__ import annotations

import functools
import math
import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Any, Literal

from ignition.circuit.description import OwnLimit
from ignition.circuit.model import Circuit
from ignition.findings.compare import Statement

__all__ = ["Preset", "Quantity", "Rule", "own_rules", "presets", "rule_limit", "rules", "rules_in_use"]

Quantity = Literal[
    "monitor current",
    "current into a short",
    "uncommanded current",
    "firing current",
    "pulse",
    "faults to fire",
    "checklist",
    "wait",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Preset:
    """A document that rules are taken from, with its date."""

    name: str
    document: str
    date: str
    title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One written limit.

    Attributes
    ----------
    share_of_no_fire, share_of_no_fire_energy, share_of_all_fire : Shares of the igniter's currents, or of its no-fire
        energy [1]
    current, time : Absolute figures [A], [s]
    times_function_time : Multiple of the function time [1]
    faults : Simultaneous faults that it has to take to fire [1]
    phases : Phases in which it holds; empty for all
    """

    id: str
    quantity: Quantity
    says: str
    source: str
    source_date: str
    share_of_no_fire: float | None = None
    share_of_no_fire_energy: float | None = None
    share_of_all_fire: float | None = None
    current: float | None = None
    time: float | None = None
    times_function_time: float | None = None
    answer: str | None = None
    faults: int | None = None
    phases: tuple[str, ...] = ()

    @property
    def statement(self) -> Statement:
        """Document with its section, and its date."""
        return Statement(source=self.source, date=self.source_date)

    @property
    def rests_on_no_fire(self) -> bool:
        """Whether a figure of it is a share of the igniter's no-fire current or energy."""
        return self.share_of_no_fire is not None or self.share_of_no_fire_energy is not None


@functools.cache
def _table() -> dict[str, Any]:
    return tomllib.loads(resources.files("ignition.findings").joinpath("limits.toml").read_text(encoding="utf-8"))


def presets() -> tuple[Preset, ...]:
    """List the documents that rules are shipped from.

    Returns
    -------
    In file order
    """
    return tuple(Preset(**entry) for entry in _table()["preset"])


def rules(chosen: tuple[str, ...] | None = None) -> tuple[Rule, ...]:
    """List the rules of the chosen presets.

    Parameters
    ----------
    chosen : Preset names; all by default

    Returns
    -------
    In file order
    """
    documents = {preset.name: preset for preset in presets()}
    found = []
    for entry in _table()["rule"]:
        name = entry["preset"]
        if chosen is not None and name not in chosen:
            continue
        document = documents[name]
        values = {k: v for k, v in entry.items() if k not in ("preset", "section")}
        section = entry["section"]
        source = document.document if section in document.document else f"{document.document}, {section}"
        found.append(Rule(source=source, source_date=document.date, **values))
    return tuple(found)


def rules_in_use(circuit: Circuit) -> tuple[Rule, ...]:
    """List the rules that a circuit is held to: of the presets it chooses, or of all that are shipped, and its own."""
    return (*rules(circuit.presets), *own_rules(circuit))


def own_rules(circuit: Circuit) -> tuple[Rule, ...]:
    """List the limits of the circuit file itself, as rules."""
    return tuple(_own(limit) for limit in circuit.own_limits)


def _own(limit: OwnLimit) -> Rule:
    quantity = _QUANTITIES[limit.kind]
    current = limit.current
    return Rule(
        id=limit.name,
        quantity=quantity,
        says=limit.kind,
        source=limit.source,
        source_date=limit.date,
        share_of_no_fire=limit.share_of_no_fire,
        share_of_all_fire=limit.share_of_all_fire,
        current=None if current is None else current.low if quantity == "monitor current" else current.high,
        faults=limit.faults,
        phases=tuple(limit.phases or ("disarmed", "reset", "armed")) if limit.faults else (),
    )


_QUANTITIES: dict[str, Quantity] = {
    "monitor current at most": "monitor current",
    "firing current at least": "firing current",
    "faults to fire at least": "faults to fire",
}


def rule_limit(rule: Rule, no_fire: float | None) -> float | None:
    """Highest current that a rule allows through an igniter: the least of the rule's figures [A].

    A share s of the no-fire energy, at the same resistance and time, is a share sqrt(s) of the no-fire current. Without
    a no-fire current the figures that rest on none are left, or nothing.

    Parameters
    ----------
    no_fire : The igniter's no-fire current [A]

    Examples
    --------
    >>> rule = next(r for r in rules() if r.id == "current-into-short")
    >>> rule_limit(rule, 0.2), rule_limit(rule, 1.0), rule_limit(rule, None)
    (0.04000000000000001, 0.05, 0.05)
    """
    limits = [] if rule.current is None else [rule.current]
    if no_fire is not None:
        limits += [
            root * no_fire
            for root in (
                rule.share_of_no_fire,
                None if rule.share_of_no_fire_energy is None else math.sqrt(rule.share_of_no_fire_energy),
            )
            if root is not None
        ]
    return min(limits, default=None)
