"""Finding: one question about a circuit, answered by one comparison with a limit; its parts and the worst of many."""

from __future__ import annotations

import enum
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Literal

from ignition.findings.corner import Corner
from ignition.typing import BARE, Key, Ratio

__all__ = ["Concern", "Finding", "Question", "Reason", "Relation", "Verdict", "least_margin", "worst_verdict"]

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


class Concern(enum.StrEnum):
    """What a question is about: an accident, firing when told, what the converter reads, or what people do."""

    ACCIDENT = "accident"
    FIRING = "firing"
    READING = "reading"
    PROCEDURE = "procedure"


class Question(enum.StrEnum):
    """What a complete check answers."""

    concern: Concern

    def __new__(cls, words: str, concern: Concern) -> Question:
        """Make a member: its value is the question in words."""
        member = str.__new__(cls, words)
        member._value_ = words
        member.concern = concern
        return member

    IGNITER_CURRENT = "igniter current while nobody commands", Concern.ACCIDENT
    GATE = "gate held off", Concern.ACCIDENT
    SWITCH_ON = "switch-on edge", Concern.ACCIDENT
    TURN_OFF = "turn-off", Concern.ACCIDENT
    TEST = "described test", Concern.ACCIDENT
    SINGLE_FAULTS = "single faults", Concern.ACCIDENT
    BLOCKING = "MOSFET blocks the battery", Concern.ACCIDENT
    PIN = "converter pin within its rating", Concern.ACCIDENT
    CONVERTER = "converter reads the line", Concern.READING
    FIRING_CURRENT = "firing current", Concern.FIRING
    FUNCTION = "function", Concern.FIRING
    GATE_DRIVE = "gate drive", Concern.FIRING
    SUPPLY = "controller supply while firing", Concern.FIRING
    BATTERY = "battery within its ratings", Concern.FIRING
    FUSE = "fuses hold", Concern.FIRING
    CONDUCTOR = "conductors within their ratings", Concern.FIRING
    JUNCTION = "MOSFET within its temperature", Concern.FIRING
    LIMITS = "limits in use", Concern.PROCEDURE
    PROCEDURE = "procedure", Concern.PROCEDURE

    @property
    def direction(self) -> str:
        """Direction of the assumptions that its answer rests on: which way a default is the worst one."""
        return "fire" if self.concern is Concern.FIRING else "safe"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One comparison of a worst value with a limit.

    Attributes
    ----------
    value, limit : Worst value and limit [`unit`]; None where one is not known
    margin : Above 1 is good, whichever way the limit points; None where no ratio exists
    part : Name of the fuse or conductor that it is about
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
    part: str | None
    verdict: Verdict
    reason: Reason
    relation: Relation
    value: float | None
    limit: float | None
    unit: str
    margin: Annotated[Ratio | None, BARE]
    corner: Corner | None
    keys: tuple[str, ...]
    rests_on: tuple[str, ...]
    says: str
    source: str
    source_date: str

    @property
    def concern(self) -> Annotated[str, Key("concern")]:
        """What its question is about."""
        return self.question.concern

    @property
    def identity(self) -> tuple[str | None, ...]:
        """What it is about: the same in two analyses of one circuit with other values, and no other finding's."""
        return self.question, self.rule, self.channel, self.phase, self.igniter, self.part


def worst_verdict(findings: Iterable[Finding]) -> Verdict:
    """Return the worst verdict: FAIL before UNKNOWN before PASS; UNKNOWN where nothing was found at all."""
    return max((f.verdict for f in findings), key=_RANK.__getitem__, default="UNKNOWN")


def least_margin(findings: Iterable[Finding], concern: Concern) -> Finding | None:
    """Return the finding of least margin of a concern; None where none has a margin."""
    with_margin = [(f.margin, f) for f in findings if f.margin is not None and f.question.concern is concern]
    return min(with_margin, key=lambda pair: pair[0], default=(0.0, None))[1]
