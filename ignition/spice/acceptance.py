"""When a deck may be run at all, and when the run of a circuit simulator may be believed."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ignition.errors import InputError, NgspiceError
from ignition.spice.rawfile import Plot

__all__ = ["DEFAULT_LIMIT", "Deck", "check_deck", "check_log", "check_plots", "rejection"]

DEFAULT_LIMIT = 1e6
"""Largest voltage [V] and current [A] accepted where the caller gives no bound: far above any firing circuit."""

_ANALYSES = frozenset({".op", ".dc", ".tran"})
_CARDS = _ANALYSES | {
    ".model", ".subckt", ".ends", ".param", ".func", ".options", ".option", ".ic", ".nodeset", ".temp", ".save", ".end",
}  # fmt: skip
_OPTIONS = {
    "abstol", "acct", "chgtol", "defad", "defas", "defl", "defw", "gmin", "gminsteps", "gshunt", "itl1", "itl2",
    "itl4", "itl5", "itl6", "keepopinfo", "maxord", "method", "noacct", "noopiter", "pivrel", "pivtol", "reltol",
    "rshunt", "savecurrents", "srcsteps", "temp", "tnom", "trtol", "trytocompact", "vntol", "xmu",
}  # fmt: skip
_ELEMENTS = frozenset("bcdefghijklmqrsvwxz")
_FORBIDDEN = re.compile(
    r"\.control\b|\.endc\b|\.inc(?:l|lude)?\b|\.lib\b|\bshell\b|^\s*\*#|\*ng_script|\bfile(?:name|source)?\s*=|[\"\\`]"
    r"|(?<![\w)\]}])(?:~|\.{1,2})?/[\w.-]+/|(?<![\w)\]}])(?:~|\.{1,2})/[\w.]",
    re.IGNORECASE,
)
_BAD_LOG = re.compile(
    r"error|warning|fatal|aborted|singular|unrecognized|undefined|can'?t find(?! init file)|could not find|not found"
    r"|too small|to low|too low|failed|interrupted|has no value|illegal|misplaced|ignored"
    r"|no \.measure possible|transient op",
    re.IGNORECASE,
)
_STEPPING = re.compile(r"Trying gmin =\s*\S+\s*|Supplies reduced to\s*\S+\s*%\s*")
_STEP_FAILED = re.compile(
    r"(?:Warning: )?(?:Further gmin increment|(?:Last )?gmin step failed|(?:Dynamic|True|spice3) gmin stepping failed"
    r"|source stepping failed)",
    re.IGNORECASE,
)
_STEP_DONE = re.compile(r"(gmin|source) stepping completed", re.IGNORECASE)
_HARMLESS_NEXT = re.compile(r"No\. of|Note:|Total|binary raw|Warning")
_HINTS = (
    ("can't find model|valid modelname|definition of model", "write the .model line into the deck"),
    ("undefined parameter|cannot compute substitute", "write plain numbers, or define the parameter with .param"),
    ("singular", "give the node named a DC path to node 0, and look for a loop of voltage sources"),
    ("resistance to low", "give the resistor two nodes and a value above 1 mohm"),
    ("unrecognized|model issue", "correct the spelling of the model parameter"),
    ("has no value", "write the value of the source, for example DC 0"),
    ("too small|aborted", "look for a loop of voltage sources or an abrupt behavioural source; add a series resistor"),
    ("transient op", "only a start-up transient found the operating point; make the circuit easier, or use .tran"),
    ("no job", "add an analysis line: .op, .dc or .tran"),
    ("measure possible", "take the measurement from the signals instead of .meas"),
)
_FIRST_HINT = "correct the line quoted and run again"


@dataclass(frozen=True, slots=True, kw_only=True)
class Deck:
    """A deck that was checked.

    Attributes
    ----------
    statements : Logical lines after the title: continuations joined, comments and blank lines left out
    """

    title: str
    statements: tuple[str, ...]
    analyses: int


def check_deck(text: str) -> Deck:
    """Refuse a deck that could run a command, read a file, or be misread without notice.

    Raises NgspiceError if a line holds a control section, an include, a library, ``shell``, a file name, an unknown dot
    card, element letter or option, a resistor of 0 ohm, or a character outside ASCII (ngspice reads ``47u`` with a
    Greek letter as 47); the line is quoted.

    Parameters
    ----------
    text : Whole deck: title line, elements, ``.model`` lines, analysis lines, ``.end``

    Examples
    --------
    >>> check_deck("divider\\nV1 a 0 9\\nR1 a b 1000.0\\nR2 b 0 2000.0\\n.op\\n.end\\n").analyses
    1
    """
    lines = text.replace("\r\n", "\n").split("\n")
    title = lines[0].strip()
    if not title or title[0] in ".+" or not title.isprintable():
        raise _refusal(title, 1, lines[0], "the first line must be a title of printable text, not a card")
    statements: list[str] = []
    for number, line in enumerate(lines, start=1):
        found = _FORBIDDEN.search(line)
        if found or not line.replace("\t", " ").isprintable():
            what = repr(found.group().strip()) if found else "a control character"
            raise _refusal(title, number, line, f"{what} is refused: a deck may not run commands or name files")
        statement = line.strip()
        if number == 1 or not statement or statement.startswith("*"):
            continue
        if not statement.isascii():
            raise _refusal(
                title, number, line, "write ASCII: ngspice drops other letters, so a micro sign changes a value"
            )
        if statements and statements[-1].lower() == ".end":
            raise _refusal(title, number, line, "nothing may follow .end")
        if statement[0] == "+" and statements:
            statements[-1] += " " + statement[1:].strip()
        else:
            statements.append(statement)
            _check_start(title, number, statement)
    for statement in statements:
        _check_options(title, statement)
    if not statements or statements[-1].lower() != ".end":
        raise NgspiceError(f'deck "{title}": its last line must be .end; the deck looks cut off')
    analyses = sum(statement.split()[0].lower() in _ANALYSES for statement in statements)
    return Deck(title=title, statements=tuple(statements), analyses=analyses)


def _check_start(title: str, number: int, statement: str) -> None:
    word = statement.split()[0].lower()
    if word[0] == "." and word not in _CARDS:
        raise _refusal(title, number, statement, f"card {word} is not among {', '.join(sorted(_CARDS))}")
    if word[0] != "." and word[0] not in _ELEMENTS:
        raise _refusal(title, number, statement, f'no element starts with "{word[0]}" here')
    if word[0] == "r" and re.fullmatch(r"(r=)?0*\.?0*(e[-+]?\d+)?", "".join(statement.lower().split()[3:4]) or "1"):
        raise _refusal(title, number, statement, "ngspice makes 0 ohm one of 1 mohm; write a source of 0 V instead")


def _check_options(title: str, statement: str) -> None:
    words = statement.split(maxsplit=1)
    if words[0].lower() not in (".options", ".option"):
        return
    for name in re.findall(r"([^\s=]+)(?:\s*=\s*[^\s=]+)?", words[1] if len(words) > 1 else ""):
        if name.lower() not in _OPTIONS:
            raise NgspiceError(f'deck "{title}": option "{name}" is not known; ngspice would ignore it silently')


def _refusal(title: str, number: int, line: str, reason: str) -> NgspiceError:
    return NgspiceError(f'deck "{title}" was not run: line {number} {line.strip()[:120]!r}: {reason}')


def rejection(title: str, reason: str, hint: str) -> NgspiceError:
    """Error for a run that is not accepted."""
    return NgspiceError(f'run of deck "{title}" is not accepted: {reason}; to try: {hint}')


def check_log(log: str, title: str) -> None:
    """Refuse a run whose log tells of trouble.

    Notes, the lines of gmin and source stepping that in the end completed, the echo of the title, and the tables of
    node voltages (a node may be called ``error``) are harmless. An operating point that only the start-up
    transient reached is refused: ngspice does not verify that it is a DC solution.

    Raises NgspiceError quotes the first bad line and what follows it, and says what to try.

    Examples
    --------
    >>> check_log("Note: No compatibility mode selected!", "divider")
    """
    lines = list(_candidates(log))
    bad = [k for k, line in enumerate(lines) if _BAD_LOG.search(line) and not _is_harmless_note(line)]
    stepping = [k for k in bad if _STEP_FAILED.fullmatch(lines[k])]
    completed = max((k for k, line in enumerate(lines) if _STEP_DONE.search(line)), default=-1)
    unfinished = [k for k in stepping if k > completed]
    for k in [k for k in bad if k not in set(stepping)] + unfinished:
        follow = [line for line in lines[k + 1 : k + 3] if not _HARMLESS_NEXT.match(line)]
        quoted = " / ".join([lines[k], *follow])
        raise rejection(title, f'log says "{quoted[:300]}"', _hint(quoted))


def _is_harmless_note(line: str) -> bool:
    return line.startswith("Note:") and not re.search("has no value|transient op", line, re.IGNORECASE)


def _candidates(log: str) -> Iterator[str]:
    """Lines of the log that can tell of trouble: no title, no table of node voltages, no progress of stepping."""
    in_table = False
    for raw_line in log.splitlines():
        if not raw_line.strip():
            in_table = False
            continue
        line = _STEPPING.sub("", raw_line).strip()
        if re.fullmatch(r"Node\s+Voltage", line):
            in_table = True
        is_row = in_table and re.fullmatch(r"\S.*\s{2,}[-+]?\d[-+.\de]*|[-\s]+", line) is not None
        if line and not is_row and not re.match(r"Circuit:|Comments and warnings go to log-file:|\*\*", line):
            yield line


def _hint(quoted: str) -> str:
    for pattern, hint in _HINTS:
        if re.search(pattern, quoted, re.IGNORECASE):
            return hint
    return _FIRST_HINT


def check_plots(
    plots: Sequence[Plot], deck: Deck, *, limit_voltage: float | None = None, limit_current: float | None = None
) -> None:
    """Refuse results that are missing, empty, not finite or beyond any physical bound.

    Raises InputError if a limit is not above zero. Raises NgspiceError names the plot, the variable and the value.

    Parameters
    ----------
    limit_voltage : Largest magnitude of a voltage [V], for example 10 x the supply; 1e6 V by default
    limit_current : Largest magnitude of a current [A]; 1e6 A by default
    """
    limits = {"voltage": _limit("limit_voltage", limit_voltage), "current": _limit("limit_current", limit_current)}
    if deck.analyses == 0:
        raise rejection(deck.title, "the deck has no analysis line", "add .op, .dc or .tran")
    if len(plots) < deck.analyses:
        raise rejection(deck.title, f"{deck.analyses} analyses were asked for, {len(plots)} are there", "read the log")
    for plot in plots:
        if plot.points == 0:
            raise rejection(deck.title, f'plot "{plot.name}" has no points', "look at the analysis line")
        for name, unit in zip(plot.variables, plot.units, strict=True):
            where, size = f'{name} of plot "{plot.name}"', np.abs(plot.data[name])
            if not np.all(np.isfinite(size)):
                raise rejection(deck.title, f"{where} is not finite", "look for a division by zero")
            largest = float(size.max())
            if largest > limits.get(unit, math.inf):
                symbol = "V" if unit == "voltage" else "A"
                raise rejection(
                    deck.title,
                    f"{where} reaches {largest:.6g} {symbol}, beyond the bound {limits[unit]:.6g} {symbol}",
                    "look for a division by zero in a behavioural source, or raise the bound if it is real",
                )


def _limit(name: str, value: float | None) -> float:
    limit = DEFAULT_LIMIT if value is None else float(value)
    if not limit > 0.0:
        raise InputError(f"{name} must be above zero, received {value!r}; write for example 10 x the supply")
    return limit
