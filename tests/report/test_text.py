"""Text for a terminal: tables, paragraphs and numbers that lose nothing."""

from __future__ import annotations

import io
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from ignition.report.findings_text import margin_text
from ignition.report.text import item, number_text, say, spread_text, table
from ignition.toleranced import Spread


def printed(headers: list[str], rows: list[list[str]], width: int = 80) -> str:
    """A table as a pipe receives it."""
    stream = io.StringIO()
    table(Console(file=stream, width=width), headers, rows)
    return stream.getvalue()


def test_numbers_stand_flush_right() -> None:
    """Numbers end, words begin, at one column; two blanks stand between columns."""
    text = printed(["name", ">current", "says"], [["a", "1 A", "yes"], ["long name", "12.5 mA", "no"]])
    assert [line.rstrip() for line in text.splitlines()] == [
        "name       current  says",
        "a              1 A  yes",
        "long name  12.5 mA  no",
    ]


def test_narrow_table_keeps_its_numbers_whole() -> None:
    """Where there is no room, blanks and words give way before a number does."""
    text = printed(["quantity", ">value"], [["current of the first igniter of the channel", "7.21678 nA"]], width=30)
    assert text.splitlines()[1].endswith("7.21678 nA")
    assert "".join(text.split()).count("igniterofthechannel") == 1
    assert printed(["a", ">b"], [["x" * 27, "1"]], width=29).splitlines()[1] == "x" * 27 + " 1"
    assert printed(["a", ">b"], [["x" * 27, "1"]], width=30).splitlines()[1] == "x" * 27 + "  1"
    assert printed(["a", "b"], [["firing-current", "channel 1 firing (+2)"]], width=30).splitlines()[1:] == [
        "firing-current channel 1      ",
        "               firing (+2)    ",
    ]
    exact = printed(["a", "b"], [["identifier b", "cc dd"]], width=13)
    assert [line.rstrip() for line in exact.splitlines()[1:]] == ["identifier cc", "b          dd"]
    both = printed(["a", "b"], [["one two three", "four five six"]], width=20)
    assert [line.split() for line in both.splitlines()[1:]] == [["one", "two", "three", "four"], ["five"], ["six"]]
    assert "-7.21678901 nA" in printed(["a", ">b"], [["nine blanks about nine", "-7.21678901 nA"]], width=27)


@given(
    st.lists(st.sampled_from(["", ">"]), min_size=1, max_size=7).flatmap(
        lambda marks: st.tuples(
            st.just(marks),
            st.lists(st.lists(st.text("abc19.", min_size=1, max_size=30), min_size=len(marks), max_size=len(marks)),
                     min_size=1, max_size=3),
        )
    )
)  # fmt: skip
def test_no_character_of_a_table_is_lost(made: tuple[list[str], list[list[str]]]) -> None:
    """Every character of every cell is printed within the width, however narrow the table is."""
    marks, rows = made
    text = printed([f"{mark}h" for mark in marks], rows)
    assert all(len(line) <= 80 for line in text.splitlines())
    assert sorted("".join(text.split())) == sorted("".join(cell for row in rows for cell in row) + "h" * len(marks))


def test_nothing_is_markup() -> None:
    """Brackets in headers, cells and paragraphs are printed, not read as style."""
    assert "[bold]x[/bold]" in printed(["[red]", ">b"], [["[bold]x[/bold]", "1"]])
    stream = io.StringIO()
    say(Console(file=stream, width=80), "[bold]x[/bold]")
    assert stream.getvalue() == "[bold]x[/bold]\n"


def test_paragraphs_wrap_with_a_hanging_indent() -> None:
    """An item's further lines stand below its text; a paragraph's do not."""
    stream = io.StringIO()
    console = Console(file=stream, width=20)
    item(console, "one two three four five")
    item(console, "no mark", mark="")
    say(console, "one two three four five")
    assert stream.getvalue().splitlines() == [
        "  - one two three",
        "    four five",
        "  no mark",
        "one two three four",
        "five",
    ]


@pytest.mark.parametrize(
    ("spread", "decimals", "why", "text"),
    [
        (Spread(low=1e-3, nominal=2e-3, high=3e-3, unit="A"), None, False, "1 mA .. 2 mA .. 3 mA"),
        (Spread(low=4.696, nominal=5.006, high=6.001, unit="A"), None, False, "4.69 A .. 5.01 A .. 6.01 A"),
        (Spread(low=-9.996, nominal=20.0, high=24.03, unit="degC"), None, False, "-10 degC .. 20 degC .. 24.1 degC"),
        (Spread(low=1.0, nominal=2.04, high=3.0, unit="1"), 1, True, "1.0 .. 2.0 .. 3.0"),
        (Spread(low=3241.97, nominal=3500.25, high=3832.61, unit="1"), 1, False, "3241.9 .. 3500.2 .. 3832.7"),
        (Spread(low=-0.31, nominal=0.0, high=9.01, unit="1"), 0, False, "-1 .. 0 .. 10"),
        (Spread(low=None, nominal=2.0, high=None, unit="s", reason="may not"), None, False, "- .. 2 s .. -"),
        (Spread(low=1.0, nominal=2.0, high=None, unit="s", reason="may not"), None, True, "UNKNOWN: may not"),
        (Spread.missing("1", "no pin"), 1, False, "- .. - .. -"),
    ],
)
def test_spread(spread: Spread, decimals: int | None, why: bool, text: str) -> None:
    """Bounds with their unit, rounded outwards; a missing bound is a dash, or the reason stands for the whole."""
    assert spread_text(spread, decimals, why=why) == text


def test_missing_numbers() -> None:
    """A number that is not there is a dash or what is said instead; zero is a number."""
    assert number_text(None, 1) == margin_text(None) == "-"
    assert number_text(None, 1, missing="UNKNOWN") == "UNKNOWN"
    assert number_text(0.0, 1) == "0.0"
    assert margin_text(0.5) == "0.5-fold" and margin_text(2e6) == "over a million-fold"
    assert (
        margin_text(math.nextafter(1.0, 2.0)) != "just met" == margin_text(1.0) != margin_text(math.nextafter(1.0, 0.0))
    )
    assert margin_text(0.999999) == "0.999-fold" and margin_text(999_999.0) == "999000-fold"
