"""Coverage: every question of a complete check is answered, or is a finding that says it is not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ignition.analyses.verdict import check
from ignition.circuit.file import parse_circuit
from ignition.findings.coverage import asked, rule_name, unanswered
from ignition.findings.finding import Finding, Question, Reason
from tests.circuit.sound import SOUND

STEADY = {"disarmed", "reset", "armed"}


def test_a_complete_check_asks_everything() -> None:
    """One channel, no fuse, no second test: every question in its phases, and those of the circuit once."""
    found = list(asked(parse_circuit(SOUND)))
    assert len(set(found)) == len(found)
    steady = (Question.IGNITER_CURRENT, Question.GATE, Question.PIN)
    for question in steady:
        assert {phase for q, channel, phase in found if q is question and channel == "line"} == STEADY
    firing = {q for q, channel, phase in found if phase == "firing" and channel == "line"}
    assert firing == {
        Question.FIRING_CURRENT,
        Question.FUNCTION,
        Question.GATE_DRIVE,
        Question.JUNCTION,
        Question.CONDUCTOR,
    }
    rest = {(q, channel, phase) for q, channel, phase in found if q not in steady and q not in firing}
    assert rest == {
        (Question.SWITCH_ON, "line", "switch-on"), (Question.TURN_OFF, "line", "turn-off"),
        (Question.SINGLE_FAULTS, "line", None), (Question.BLOCKING, "line", None),
        (Question.CONVERTER, "line", "armed"), (Question.SUPPLY, None, "firing"), (Question.BATTERY, None, "firing"),
    }  # fmt: skip


@pytest.mark.parametrize("kind", ["fuse", "resettable fuse"])
def test_fuses_and_tests_are_asked_where_there_are_any(kind: str) -> None:
    """A fuse in the feed and a described test bring their questions."""
    part = {"fuse": 'rating = "20 A"', "resettable fuse": 'hold_current = "20 A"'}[kind]
    text = SOUND.replace(
        "[controller]", f'[[feed]]\nname = "f"\nkind = "{kind}"\nresistance = "1 mohm"\n{part}\n[controller]'
    )
    assert (Question.FUSE, None, "firing") in set(asked(parse_circuit(text)))
    tested = SOUND.replace("[checklist]", 'second = { drain_pull_up = "100 kohm" }\n\n[checklist]')
    assert (Question.TEST, "line", None) in set(asked(parse_circuit(tested)))


def test_what_is_not_analysed_is_unknown() -> None:
    """Of the sound circuit no question is unanswered; without any finding each is UNKNOWN and says so."""
    circuit = parse_circuit(SOUND)
    assert {f.verdict for f in check(circuit).findings} == {"PASS"}
    missing = list(unanswered(circuit, []))
    assert [(f.question, f.channel, f.phase) for f in missing] == list(asked(circuit))
    assert all(f.verdict == "UNKNOWN" and f.says.endswith(": not analysed") for f in missing)
    assert {f.reason for f in missing} == {Reason.NOT_ANALYSED}


def test_one_answer_less_is_one_unknown_more() -> None:
    """Every answered question that is left out, in any one of its phases, comes back as not analysed."""
    circuit = parse_circuit(SOUND)
    found = check(circuit).findings
    places = set(asked(circuit))

    def place(f: Finding) -> tuple[Question, str | None, str | None]:
        return f.question, f.channel, f.phase if (f.question, f.channel, None) not in places else None

    assert places <= {place(f) for f in found}
    for left_out in places:
        again = unanswered(circuit, [f for f in found if place(f) != left_out])
        assert [(f.question, f.channel, f.phase) for f in again] == [left_out]


def test_a_test_is_answered_in_whatever_phase_it_is_judged() -> None:
    """A described test is asked without a phase: a finding of it in any phase answers, of the same channel alone."""
    text = SOUND.replace("[checklist]", 'second = { drain_pull_up = "100 kohm" }\n\n[checklist]')
    circuit = parse_circuit(text)
    judged = [f for f in check(circuit).findings if f.question is Question.TEST]
    assert {f.phase for f in judged} == {"drain with weak pull-up"}

    def missing(found: list[Finding]) -> set[Question]:
        return {f.question for f in unanswered(circuit, found)}

    assert Question.TEST not in missing(judged)
    assert Question.TEST in missing([replace(f, channel="another") for f in judged])
    assert Question.TEST in missing([replace(f, question=Question.PIN) for f in judged])


def test_no_limit_no_verdict() -> None:
    """Without a preset or a limit of one's own nothing was judged by a rule."""
    (limits,) = [
        f for f in check(parse_circuit(SOUND + "\n[rules]\npresets = []\n")).findings if f.question is Question.LIMITS
    ]
    assert (limits.verdict, limits.reason, limits.keys) == (
        "UNKNOWN",
        Reason.NO_LIMIT,
        ("rules.presets", "rules.limit"),
    )
    assert not [f for f in check(parse_circuit(SOUND)).findings if f.question is Question.LIMITS]


def test_a_question_without_rule_has_its_own_name() -> None:
    """The question in words, hyphenated."""
    assert rule_name(Question.SINGLE_FAULTS) == "single-faults"
