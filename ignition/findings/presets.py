"""Written limits: where each comes from, and what it allows for a given igniter."""

from __future__ import annotations

import functools
import math
import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Any, Literal

__all__ = ["Preset", "Quantity", "Rule", "current_limit", "preset_names", "presets", "rules"]

Quantity = Literal[
    "monitor current",
    "current into a short",
    "uncommanded current",
    "firing current",
    "pulse",
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


def preset_names() -> tuple[str, ...]:
    """List the names of all presets.

    Examples
    --------
    >>> "range safety" in preset_names()
    True
    """
    return tuple(preset.name for preset in presets())


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


def current_limit(rule: Rule, no_fire: float) -> float:
    """Highest current that a rule allows through an igniter.

    A share s of the no-fire energy, at the same resistance and time, is a share sqrt(s) of the no-fire current.

    Parameters
    ----------
    rule : A rule on a monitor or uncommanded current
    no_fire : The igniter's no-fire current [A]

    Returns
    -------
    The limit [A]: the least of the rule's figures

    Examples
    --------
    >>> rule = next(r for r in rules() if r.id == "current-into-short")
    >>> current_limit(rule, 0.2), current_limit(rule, 1.0)
    (0.04000000000000001, 0.05)
    """
    limits = [math.inf]
    if rule.share_of_no_fire is not None:
        limits.append(rule.share_of_no_fire * no_fire)
    if rule.share_of_no_fire_energy is not None:
        limits.append(math.sqrt(rule.share_of_no_fire_energy) * no_fire)
    if rule.current is not None:
        limits.append(rule.current)
    return min(limits)
