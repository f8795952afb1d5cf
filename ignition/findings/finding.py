"""Finding: one question about a circuit, answered by one comparison with a limit; its parts and the worst of many."""

from __future__ import annotations

import enum
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from ignition.findings.corner import Corner

__all__ = ["Finding", "Question", "Reason", "Relation", "Verdict", "least_margin", "worst_verdict"]

Verdict = Literal["PASS", "FAIL", "UNKNOWN"]

Relation = Literal["below", "at most", "at least"]
"""``below``: a limit that is reached is exceeded (no-fire current, gate threshold). ``at most``, ``at least``: a limit
that is reached is met."""

_RANK: dict[Verdict, int] = {"PASS": 0, "UNKNOWN": 1, "FAIL": 2}


class Reason(enum.StrEnum):
    """Why a verdict is what it is."""

    WITHIN = "within"
    EXCEEDED = "exceeded"
    MISSING_KEY = "missing key"
    NOT_ANALYSED = "not analysed"
    OUTSIDE_DATA_SHEET = "outside data sheet"
    BELOW_REQUIRED_RELIABILITY = "below required reliability"
    NOT_SOLVED = "not solved"
    NO_LIMIT = "no limit in use"


class Question(enum.StrEnum):
    """What a complete check answers; the first nine are questions of accident."""

    IGNITER_CURRENT = "igniter current while nobody commands"
    GATE = "gate held off"
    SWITCH_ON = "switch-on edge"
    TURN_OFF = "turn-off"
    TEST = "described test"
    SINGLE_FAULTS = "single faults"
    BLOCKING = "MOSFET blocks the battery"
    PIN = "converter pin within its rating"
    PROCEDURE = "procedure"
    CONVERTER = "converter reads the line"
    FIRING_CURRENT = "firing current"
    FUNCTION = "function"
    GATE_DRIVE = "gate drive"
    SUPPLY = "controller supply while firing"
    BATTERY = "battery within its ratings"
    FUSE = "fuses hold"
    CONDUCTOR = "conductors within their ratings"
    JUNCTION = "MOSFET within its temperature"
    LIMITS = "limits in use"

    @property
    def accident(self) -> bool:
        """Whether it asks what can happen when nobody commands; the others ask whether it fires when told."""
        return list(Question).index(self) < 9


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One comparison of a worst value with a limit.

    Attributes
    ----------
    value, limit : Worst value and limit [`unit`]; None where one is not known
    margin : Above 1 is good, whichever way the limit points [1]; None where no ratio exists
    keys : Keys of the circuit file to give, where the verdict is UNKNOWN for want of them
    rests_on : Keys of the assumptions that the value rests on
    says : The comparison in words
    source, source_date : Whose statement the limit is, document, and its date or edition
    """

    question: Question
    rule: str
    channel: str | None
    phase: str | None
    line_state: str | None
    controller: str | None
    igniter: str | None
    verdict: Verdict
    reason: Reason
    relation: Relation
    value: float | None
    limit: float | None
    unit: str
    margin: float | None
    corner: Corner | None
    keys: tuple[str, ...]
    rests_on: tuple[str, ...]
    says: str
    source: str
    source_date: str

    @property
    def identity(self) -> tuple[str | None, ...]:
        """What it is about: the same in two analyses of one circuit with other values."""
        return self.question, self.rule, self.channel, self.phase, self.igniter, self.controller


def worst_verdict(findings: Iterable[Finding]) -> Verdict:
    """Return the worst verdict: FAIL before UNKNOWN before PASS; UNKNOWN where nothing was found at all."""
    return max((f.verdict for f in findings), key=_RANK.__getitem__, default="UNKNOWN")


def least_margin(findings: Iterable[Finding], *, accident: bool) -> Finding | None:
    """Return the finding of least margin among those of accident, or of firing; None where none has a margin."""
    with_margin = [(f.margin, f) for f in findings if f.margin is not None and f.question.accident is accident]
    return min(with_margin, key=lambda pair: pair[0], default=(0.0, None))[1]
