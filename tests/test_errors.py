"""The nearest known name that messages offer."""

from __future__ import annotations

import pytest

from ignition.errors import did_you_mean, nearest


@pytest.mark.parametrize(
    ("name", "known", "expected"),
    [
        ("trehsold", ["gate", "threshold"], "threshold"),
        ("VBATT", ["vdd", "VBAT"], "VBAT"),
        ("ma", ["A", "MA", "mA"], "mA"),
        ("LIPO", ["lipo"], "lipo"),
        ("lipo", ["LiPo", "lip"], "lip"),  # as written first
        ("xyz", ["abc"], None),
        ("", ["abc"], None),
        ("abc", [], None),
    ],
)
def test_nearest_name(name: str, known: list[str], expected: str | None) -> None:
    """The most like one as written; where none is, without regard to capitals; else none."""
    assert nearest(name, iter(known)) == expected


def test_the_offer_is_a_question_or_nothing() -> None:
    """Nothing is offered where nothing is near."""
    assert did_you_mean("igntier", ["igniter"]) == "did you mean 'igniter'?"
    assert did_you_mean("q", ["igniter"]) == ""
