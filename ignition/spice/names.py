"""Names and comments that SPICE reads as nothing but names and comments, whatever a circuit file calls its parts."""

from __future__ import annotations

import re

from ignition.network.elements import GROUND

__all__ = ["Names", "comment_text", "title_text"]

_LONGEST_NAME = 60
_LONGEST_COMMENT = 200
_RESERVED = frozenset({"gnd", "ground", "null", "shell", "time", "temper", "hertz"})
_CARD_DOT = re.compile(
    r"(?<![A-Za-z0-9])\.(?=[A-Za-z_])|\.(?=(?:control|endc|inc|incl|include|lib)(?![A-Za-z0-9_]))", re.IGNORECASE
)
_COMMENT_CHARACTERS = re.compile(r"[^A-Za-z0-9 .,:;()+\-_%/<>]")


class Names:
    """Gives every key a SPICE name of its own: readable, ASCII, and the same in every run.

    The name is the key with everything but letters and digits made an underscore; a name that is taken, in whatever
    case, gets the first free number behind it. Keys of one instance never share a name, so one instance serves for
    nodes and another for elements.

    Examples
    --------
    >>> names = Names()
    >>> names.of("boost.igniter 1.1"), names.of("Boost_igniter_1 1"), names.of("boost.igniter 1.1")
    ('boost_igniter_1_1', 'Boost_igniter_1_1_2', 'boost_igniter_1_1')
    >>> names.of("ground")
    '0'
    """

    __slots__ = ("_given", "_taken")

    def __init__(self) -> None:
        self._given: dict[tuple[str, str], str] = {("", GROUND): "0"}
        self._taken: set[str] = {"0"}

    def of(self, key: str, role: str = "") -> str:
        """Return the name of a key, which is made at its first use.

        Parameters
        ----------
        role : Word in front; the same key in another role is another name

        Returns
        -------
        ASCII letters, digits and underscores; starts with a letter, but for ground, which is ``0``
        """
        if (role, key) not in self._given:
            stem = _stem(f"{role} {key}")
            name, number = stem, 1
            while name.lower() in self._taken:
                number += 1
                name = f"{stem}_{number}"
            self._given[role, key] = name
            self._taken.add(name.lower())
        return self._given[role, key]


def _stem(key: str) -> str:
    stem = re.sub(r"[^A-Za-z0-9]+", "_", key).strip("_")[:_LONGEST_NAME].rstrip("_")
    if not stem or not stem[0].isalpha() or stem.lower() in _RESERVED:
        stem = f"n_{stem}".rstrip("_")
    return stem


def comment_text(text: str) -> str:
    """Make text safe to stand in a comment: one line of plain ASCII in which no word is a command.

    Only letters, digits, blanks and ``.,:;()+-_%/<>`` stay. A dot goes where a word begins with it and before the name
    of a card that runs commands or reads files; a stroke stays only between letters or digits, so that nothing names
    a path; the word "shell" gets an underscore.

    Examples
    --------
    >>> comment_text("two\\n.control\\nshell rm ~/x")
    'two control shell_ rm x'
    """
    line = _COMMENT_CHARACTERS.sub(" ", text.replace("±", "+-").replace("Ω", "ohm"))
    line = " ".join(line.split())[:_LONGEST_COMMENT]  # cut first: a cut can end a word in the middle
    line = _CARD_DOT.sub(" ", line)
    line = re.sub(r"(?<![A-Za-z0-9])/|/(?![A-Za-z0-9])", " ", line)
    line = re.sub(r"\b(shell)\b", r"\1_", line, flags=re.IGNORECASE)
    return " ".join(line.split())


def title_text(text: str) -> str:
    """Make text safe to stand as the title, the first line of a deck.

    What stands in front of its first letter or digit goes before it is made safe, not after: what is left could
    otherwise be a command that the character in front had hidden.

    Returns
    -------
    One line that starts with a letter or digit; ``untitled`` where nothing is left

    Examples
    --------
    >>> title_text(".include x"), title_text("*ng_script"), title_text("_shell"), title_text("\\n")
    ('include x', 'ng_script', 'shell_', 'untitled')
    """
    return comment_text(re.sub(r"^[^A-Za-z0-9]+", "", text)) or "untitled"
