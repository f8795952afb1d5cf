"""Names and comments: readable, unique, and never a command."""

from __future__ import annotations

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from ignition.network.elements import GROUND
from ignition.spice.acceptance import check_deck
from ignition.spice.names import Names, comment_text, title_text

HOSTILE = [
    "two\nlines",
    "\r\n.control\nshell rm -rf ~\n.endc",
    ".control",
    "shell",
    "Shell",
    "x;.shell echo",
    "\"quoted\" 'single' `tick`",
    "a\\b",
    "Zünder µ Ω ü 点火",
    "*#command",
    "*ng_script",
    "+continued",
    ".include /etc/passwd",
    "file = x",
    "/etc/passwd",
    "~/x/y",
    "../x",
    "a=b {c} $(d) $e",
    "\x00\x1b[2J",
    "\u2028.end",
    "gnd",
    "GND",
    "0",
    "1e9",
    "",
    " ",
    "x" * 3000,
]

PIECES = [
    ".", "control", "LIB", "inc", "shell", "/", "~", "*#", "file=", " ", "a", "1", "_", "-", "±", "+", "x" * 190, "é",
]  # fmt: skip


def test_names_are_readable() -> None:
    """A name of a report stays recognisable in a deck."""
    names = Names()
    assert names.of("boost.igniter 1.1") == "boost_igniter_1_1"
    assert names.of("battery terminal") == "battery_terminal"
    assert names.of(GROUND) == "0"


def test_role_parts_equal_keys() -> None:
    """The same key in another role is another name, even where the texts run together."""
    names = Names()
    assert len({names.of("a b"), names.of("b", "a"), names.of("a_b"), names.of("A.B")}) == 4


@given(st.lists(st.text(alphabet=st.sampled_from('aA .-_0é\n"gndGND2'), max_size=6), max_size=40))
def test_names_are_injective(keys: list[str]) -> None:
    """Different keys never share a name in any case, and the names are the same in a second run."""
    names, again = Names(), Names()
    found = {key: names.of(key) for key in keys}
    assert len({name.lower() for name in found.values()}) == len(found)
    assert found == {key: again.of(key) for key in keys}


@pytest.mark.parametrize("key", HOSTILE)
def test_hostile_names_become_words(key: str) -> None:
    """Whatever a part is called, its name is a short ASCII word that is no reserved node."""
    name = Names().of(key)
    assert re.fullmatch(r"[A-Za-z][A-Za-z0-9_]{0,70}", name)
    assert name.lower() not in {"gnd", "shell"}


@given(st.one_of(st.sampled_from(HOSTILE), st.text(max_size=60)))
def test_comments_and_titles_are_harmless(text: str) -> None:
    """Any text in title and comment leaves a deck that the runner accepts, with the same statements as without."""
    deck = f"{title_text(text)}\n* {comment_text(text)}\nV1 a 0 1.0\nR1 a 0 1.0\n.op\n.end\n"
    checked = check_deck(deck)
    assert checked.statements == ("V1 a 0 1.0", "R1 a 0 1.0", ".op", ".end")
    assert deck.isascii()
    assert deck.count("\n") == 6


@given(st.lists(st.sampled_from(PIECES), max_size=12))
@example(["_", "shell"])
@example(["-", "±", "_", "shell"])
@example(["x" * 190, "     ", "shell", "_"])  # cut in front of the underscore
@example(["x" * 190, "a.controlled"])  # cut in the middle of a word
def test_comments_of_hostile_pieces_are_harmless(pieces: list[str]) -> None:
    """No joining of pieces of commands makes one."""
    text = "".join(pieces)
    title, comment = title_text(text), comment_text(text)
    check_deck(f"{title}\n* {comment}\nV1 a 0 1.0\n.op\n.end\n")
    assert title[0].isalnum() and max(len(title), len(comment)) <= 220


def test_comment_keeps_units_and_numbers() -> None:
    """Ordinary text is left as it is."""
    assert comment_text("pad.toml: 4.7 kohm ± 1 %, 60 K/W (hot).") == "pad.toml: 4.7 kohm +- 1 %, 60 K/W (hot)."
