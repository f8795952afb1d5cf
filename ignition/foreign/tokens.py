"""Words and numbers of a foreign netlist: statements with their lines, suffixes as SPICE means them, parameters."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from ignition.errors import NetlistError

__all__ = ["Number", "Scope", "Statement", "pairs", "spice_number", "statements"]

_SCALE = {"t": 12, "g": 9, "k": 3, "m": -3, "u": -6, "n": -9, "p": -12, "f": -15}
_NUMBER = re.compile(r"([+-]?(?:\d{1,40}(?:\.\d{0,40})?|\.\d{1,40}))(?:[ed]([+-]?\d{1,3}))?([a-z]*)")
_WORD = re.compile(r"\{[^{}]*\}|'[^']*'|\"[^\"]*\"|[=()]|[^\s=(),{}'\"]+|\S")
_REFUSED_CARDS = {
    ".control", ".endc", ".include", ".inc", ".incl", ".lib", ".endl", ".exec", ".csparam", ".load", ".codemodel",
    ".osdi", ".write", ".wave", ".hdl",
}  # fmt: skip
_REFUSED = re.compile(r"\b\w*file\w*\s*=|`|<<|\bsystem\s*\(", re.IGNORECASE)
_MOST_DEEP = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """A number as SPICE reads it.

    Attributes
    ----------
    value : The value [SI unit of its place]
    note : What a reader may have meant otherwise, for example that ``1M`` is a thousandth
    """

    value: float
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """One card: its continuation lines joined, its comments left out.

    Attributes
    ----------
    line : Line of the file where it starts, from 1
    words : Its words; ``=``, ``(`` and ``)`` are words of their own, a comma parts words
    """

    line: int
    words: tuple[str, ...]

    @property
    def head(self) -> str:
        """First word in lower case."""
        return self.words[0].lower()


def spice_number(word: str) -> Number:
    """Read a number with the suffix that SPICE understands; other letters behind it are a unit and are ignored.

    Raises NetlistError for a word that is no number, or that simulators read differently (``4k7``, ``1mil``, ``1e``).

    Parameters
    ----------
    word : For example ``4.7k``, ``10kohm``, ``1Meg``, ``1e-3``; ``1M`` is a thousandth

    Returns
    -------
    Value and, where the spelling is often meant otherwise, a note

    Examples
    --------
    >>> spice_number("10kohm").value, spice_number("1Meg").value, spice_number("100nF").value
    (10000.0, 1000000.0, 1e-07)
    >>> spice_number("1M").note
    '1M is read as 0.001, as SPICE means it: M is milli, Meg is a million'
    """
    match = _NUMBER.fullmatch(word.lower())
    if match is None:
        if re.match(r"[+-]?\.?\d", word):
            raise NetlistError(
                f"{word[:60]!r} is no number that every SPICE reads alike; write for example 4.7k or 4700"
            )
        raise NetlistError(
            f"{word[:60]!r} is no number; write for example 4.7k, 10kohm or 4700, and a parameter as {{name}}"
        )
    digits, exponent, letters = match.groups()
    if letters.startswith("mil"):
        raise NetlistError(f"{word!r}: mil is refused (25.4e-6 to SPICE); write the number with m, u or an exponent")
    if exponent is None and letters[:1] in ("e", "d"):
        raise NetlistError(f"{word!r} has an exponent without digits; write for example 1e3")
    scale = 6 if letters.startswith("meg") else _SCALE.get(letters[:1], 0)
    value = float(Decimal(digits).scaleb(int(exponent or 0) + scale))
    if not math.isfinite(value):
        raise NetlistError(f"{word!r} is beyond every number of a circuit")
    return Number(value=value, note=_note(word, letters, value))


def _note(word: str, letters: str, value: float) -> str | None:
    said = f"{word} is read as {value:g}, as SPICE means it: "
    if letters.startswith("m") and not letters.startswith("meg") and "M" in word:
        return said + "M is milli, Meg is a million"
    if letters == "f":
        return said + "F is femto, not farad"
    if letters.startswith("a"):
        return said + "a letter A is a unit and is ignored; some simulators take it as atto, a plain number is clearer"
    return None


def statements(text: str, name: str) -> tuple[str, list[Statement], list[str]]:
    """Split a netlist into its title and its statements, and refuse what would run a command or open a file.

    Returns
    -------
    Title (the first line), statements, and the messages of all lines that are refused
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    title, faults = _title(lines[0], name)
    found: list[tuple[int, list[str]]] = []
    ended = False
    for number, raw in enumerate(lines[1:], start=2):
        try:
            line = _without_comment(raw)
            if not line:
                continue
            if ended:
                raise NetlistError("nothing may follow .end")
            _check_line(line)
            more = line.startswith("+")
            words = _WORD.findall(line[1:] if more else line)
            if any(word.startswith('"') for word in words):
                raise NetlistError("quoted text is refused: no element of a network needs it")
            words = [word for word in words if word != ","]
            if not more:
                found.append((number, words))
                ended = words[:1] == [words[0]] and words[0].lower() == ".end"
            elif found:
                found[-1][1].extend(words)
            else:
                raise NetlistError("a continuation line (+) has no card before it")
        except NetlistError as error:
            faults.append(f"{name}:{number}: {error}")
    if not ended and not faults:
        faults.append(f"{name}:{len(lines)}: the netlist does not end with .end; it looks cut off")
    return title, [Statement(line=number, words=tuple(words)) for number, words in found], faults


def _title(line: str, name: str) -> tuple[str, list[str]]:
    text = line.strip()
    faults: list[str] = []
    words = text.split()
    first = words[0].lower() if words else ""
    if re.match(r"\*\s*ng_script|\*#", first):
        faults.append(f"{name}:1: {words[0]!r} makes the file a script for the simulator; it is refused")
    elif first.startswith((".", "+")) and first != ".title":
        faults.append(
            f"{name}:1: the first line is the title, as SPICE reads it; received {text[:60]!r}, put a title above it"
        )
    elif re.fullmatch(r"[rcldvimx]\w*\d\w*", first) and len(words) > 3 and not text.endswith("."):
        faults.append(
            f"{name}:1: the first line is the title, as SPICE reads it, and {text[:60]!r} looks like an element "
            "that would "
            "be lost; put a title above it (or begin the title with *)"
        )
    title = text[len(".title") :] if first == ".title" else text.lstrip("*")
    return title.strip() or "untitled", faults


def _without_comment(raw: str) -> str:
    line = raw.strip()
    if line.startswith("*"):
        if re.match(r"\*#|\*\s*ng_script", line):
            raise NetlistError(f"{line[:40]!r} is a command to the simulator, not a comment; it is refused")
        return ""
    if line.startswith("$"):
        return ""
    return re.split(r";|//|(?<=[\s,])\$", line, maxsplit=1)[0].strip()


def _check_line(line: str) -> None:
    if not line.isascii() or not line.replace("\t", " ").isprintable():
        raise NetlistError(
            "a character outside ASCII: simulators drop it, so that 47u with a micro sign is read as 47; write u"
        )
    first = line.split()[0].lower()
    if first in _REFUSED_CARDS:
        raise NetlistError(f"{first} is refused, never executed: paste the parts and models that the network needs")
    if first == "shell" or first == "source":
        raise NetlistError(f"{first} is refused, never executed")
    found = _REFUSED.search(line)
    if found:
        raise NetlistError(f"{found.group().strip()!r} is refused: a netlist may not open files or run commands")


def pairs(words: tuple[str, ...]) -> tuple[list[str], dict[str, str]]:
    """Part the words of a card into plain ones and ``key = value`` settings.

    Raises NetlistError for a setting without a key or a value, or one that stands twice.

    Returns
    -------
    Plain words, and settings by key in lower case

    Examples
    --------
    >>> pairs(("R1", "a", "b", "tc1", "=", "0"))
    (['R1', 'a', 'b'], {'tc1': '0'})
    """
    plain: list[str] = []
    settings: dict[str, str] = {}
    position = 0
    while position < len(words):
        word = words[position]
        if position + 1 < len(words) and words[position + 1] == "=":
            if position + 2 >= len(words) or words[position + 2] in ("=", "(", ")") or word in ("=", "(", ")"):
                raise NetlistError(f"{word!r} = has no value; write {word} = VALUE")
            if word.lower() in settings:
                raise NetlistError(f"{word!r} is set twice")
            settings[word.lower()] = words[position + 2]
            position += 3
        elif word == "=":
            raise NetlistError("a sign = without a name before it")
        else:
            plain.append(word)
            position += 1
    return plain, settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """Parameters that a card can refer to; a subcircuit's own hide those around it.

    Attributes
    ----------
    own : Names in lower case and their texts: plain numbers or names
    """

    own: Mapping[str, str]
    outer: Scope | None = None

    def number(self, word: str) -> Number:
        """Read a number, or a parameter that stands for one.

        Raises NetlistError for anything else, an unknown name, or names that refer to each other in a circle.

        Parameters
        ----------
        word : A number, ``{name}`` or ``'name'``; arithmetic is refused

        Returns
        -------
        The value [SI unit of its place]

        Examples
        --------
        >>> Scope(own={"rx": "4.7k", "ry": "rx"}).number("{ry}").value
        4700.0
        """
        return self._number(word, 0)

    def _number(self, word: str, depth: int) -> Number:
        if depth > _MOST_DEEP:
            raise NetlistError(f"parameter {word!r} refers to itself, or through more than {_MOST_DEEP} others")
        braced = word[:1] in ("{", "'")
        inner = word[1:-1].strip() if braced else word
        if not re.fullmatch(r"[a-z_]\w*", inner, re.IGNORECASE) or not (braced or depth):
            try:
                return spice_number(inner)
            except NetlistError:
                if braced or depth:
                    raise NetlistError(
                        f"{word[:60]!r}: a parameter is a plain number or another parameter's name; arithmetic "
                        "is refused"
                    ) from None
                raise
        scope: Scope | None = self
        while scope is not None:
            if inner.lower() in scope.own:
                return scope._number(scope.own[inner.lower()], depth + 1)
            scope = scope.outer
        raise NetlistError(f"parameter {inner!r} is not defined; write .param {inner} = NUMBER")
