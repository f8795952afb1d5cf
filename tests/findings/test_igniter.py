"""No-fire and all-fire statements: who says so, and when one does not carry a PASS."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.findings.compare import Doubt, Statement
from ignition.findings.finding import Reason
from ignition.findings.igniter import all_fire_doubt, all_fire_statement, no_fire_doubt, no_fire_statement
from tests.circuit.sound import SOUND

Judge = Callable[[Circuit, str], Doubt | None]
BOTH = [("no_fire", no_fire_doubt), ("all_fire", all_fire_doubt)]


def stated(word: str, ending: str | None, rules: str = "") -> Circuit:
    """The sound circuit with another end of one statement: what follows current and duration; None: no statement."""
    pattern = rf'^{word} = \{{ (current = "[^"]*", duration = "[^"]*").*\}}$'
    text, count = re.subn(pattern, "" if ending is None else rf"{word} = {{ \1{ending} }}", SOUND, flags=re.MULTILINE)
    assert count == 1
    return parse_circuit(text + rules)


@pytest.mark.parametrize(("word", "judge"), BOTH)
@pytest.mark.parametrize(
    ("ending", "rules", "missing"),
    [
        (", reliability = 0.999, confidence = 0.95", "", None),
        (", reliability = 0.9999, confidence = 0.99", "", None),
        (", reliability = 0.9989, confidence = 0.95", "", ()),
        (", reliability = 0.999, confidence = 0.949", "", ()),
        (", confidence = 0.95", "", ("reliability",)),
        (", reliability = 0.999", "", ("confidence",)),
        ("", "", ("reliability", "confidence")),
        (", reliability = 0.99, confidence = 0.9", "\n[rules]\nreliability = 0.99\nconfidence = 0.9\n", None),
        (", reliability = 0.99, confidence = 0.9", "\n[rules]\nreliability = 0.991\nconfidence = 0.9\n", ()),
        (", reliability = 0.99, confidence = 0.9", "\n[rules]\nreliability = 0.99\nconfidence = 0.91\n", ()),
        (", reliability = 0.999, confidence = 0.95", "\n[rules]\nreliability = 0.9999\n", ()),
    ],
)
def test_reliability_and_confidence_asked(
    word: str, judge: Judge, ending: str, rules: str, missing: tuple[str, ...] | None
) -> None:
    """What is asked is met or not, and what the statement does not say is named; 0.999 at 95 % unless the file says."""
    circuit = stated(word, ending, rules)
    kind = next(iter(circuit.igniters))
    doubt = judge(circuit, kind)
    if missing is None:
        assert doubt is None
    else:
        assert doubt is not None and doubt.reason is Reason.BELOW_REQUIRED_RELIABILITY
        assert doubt.keys == tuple(f"igniter.{kind}.{word}.{name}" for name in missing)
    other = no_fire_doubt if judge is all_fire_doubt else all_fire_doubt
    assert rules or other(circuit, kind) is None


@pytest.mark.parametrize(("word", "judge"), BOTH)
def test_no_statement_at_all(word: str, judge: Judge) -> None:
    """Without the statement its table is the key to give."""
    circuit = stated(word, None)
    kind = next(iter(circuit.igniters))
    doubt = judge(circuit, kind)
    assert doubt is not None and (doubt.reason, doubt.keys) == (Reason.MISSING_KEY, (f"igniter.{kind}.{word}",))


def test_who_says_so() -> None:
    """The statement's source and date are named; where there is none, that is said."""
    named = ', reliability = 0.999, confidence = 0.95, source = "maker, sheet 3", date = "2024-05"'
    circuit = stated("no_fire", named)
    kind = next(iter(circuit.igniters))
    assert no_fire_statement(circuit, kind) == Statement(
        source=f"no-fire statement of igniter {kind!r}: maker, sheet 3", date="2024-05"
    )
    bare = all_fire_statement(stated("all_fire", ", reliability = 0.999, confidence = 0.95"), kind)
    assert bare == Statement(source=f"all-fire statement of igniter {kind!r}: no source is named", date="undated")
