"""Reads the netlist that a schematic editor exported; what it does not understand is an error with its line.

Read are R, C, L, D, V, I, M and X with ``.subckt``, ``.model``, ``.param``, ``.global`` and ``.title``. Analysis cards
are no part of the network and are listed as notes. Nothing is ever executed and no other file is opened.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path

from ignition.circuit.mistakes import read_text
from ignition.circuit.other_files import refuse_toml
from ignition.errors import InputError, NetlistError
from ignition.foreign.tokens import Statement, pairs, spice_number, statements
from ignition.spice.netlist import Card, ModelCard, Netlist, Subcircuit

__all__ = ["MAX_BYTES", "MAX_ELEMENTS", "load_netlist", "parse_netlist"]

MAX_BYTES = 1_000_000
"""Largest netlist accepted [byte]."""

MAX_ELEMENTS = 10_000
"""Most elements accepted, subcircuits written out [1]."""

_MOST_FAULTS = 30
_NO_NETWORK = {
    ".tran", ".op", ".dc", ".ac", ".noise", ".tf", ".sens", ".pz", ".disto", ".four", ".options", ".option", ".opt",
    ".ic", ".nodeset", ".save", ".print", ".plot", ".probe", ".meas", ".measure", ".temp", ".width", ".backanno",
}  # fmt: skip
_WAVEFORMS = {"pulse", "sin", "exp", "pwl", "sffm", "am", "trnoise", "trrandom", "external"}
_MODEL_TYPES = {"d", "nmos", "pmos", "vdmos"}
_SIZE_KEYS = {"w", "l", "ad", "as", "pd", "ps", "nrd", "nrs"}
_NODE = re.compile(r"[\w.+\-/#~!%&<>|?@:*\[\]$^\\]+")
_HINTS = {
    "b": "a behavioural source cannot be represented exactly",
    "e": "a controlled source cannot be represented exactly",
    "f": "a controlled source cannot be represented exactly",
    "g": "a controlled source cannot be represented exactly",
    "h": "a controlled source cannot be represented exactly",
    "s": "write the switch as a resistor and name it in the role file",
    "w": "write the switch as a resistor and name it in the role file",
}


def load_netlist(path: str | Path) -> Netlist:
    """Read a netlist file.

    Raises InputError when the file cannot be read at all. Raises NetlistError with all lines that are refused or not
    understood.

    Returns
    -------
    The netlist as read; `ignition.foreign.flatten.flatten` writes its subcircuits out
    """
    text = read_text(path, "netlist", MAX_BYTES)
    refuse_toml(path, text)
    return parse_netlist(text, name=str(path))


def parse_netlist(text: str, name: str = "netlist") -> Netlist:
    """Read a netlist from text.

    Raises InputError for a text beyond the size limit. Raises NetlistError with all lines that are refused or not
    understood.

    Parameters
    ----------
    text : The text; its first line is the title, its last ``.end``

    Examples
    --------
    >>> parse_netlist("divider\\nV1 top 0 9\\nR1 top mid 2k\\nR2 mid 0 1k\\n.end\\n").elements[1].value
    '2k'
    """
    if len(text) > MAX_BYTES:
        raise InputError(f"{name} has {len(text)} characters; a netlist has at most {MAX_BYTES}")
    title, lines, faults = statements(text, name)
    reader = _Reader(title)
    for statement in lines:
        try:
            reader.take(statement)
        except NetlistError as error:
            faults.append(f"{name}:{statement.line}: {error}")
    if reader.inside is not None:
        faults.append(f"{name}:{reader.inside.line}: .subckt {reader.inside.name} has no .ends")
    if not faults and not reader.top.cards:
        faults.append(f"{name}:1: the netlist has no elements")
    if faults:
        shown = sorted(dict.fromkeys(faults), key=_line_of)[:_MOST_FAULTS]
        more = len(faults) - len(shown)
        raise NetlistError("\n".join([*shown, *([f"and {more} more"] if more > 0 else [])]))
    return Netlist(
        title=reader.title,
        name=name,
        top=reader.top,
        subcircuits=reader.subcircuits,
        global_nodes=frozenset(reader.global_nodes),
        notes=tuple(reader.notes),
    )


def _line_of(fault: str) -> int:
    found = re.search(r":(\d+): ", fault)
    return int(found.group(1)) if found else 0


class _Reader:
    """Takes statement after statement and sorts them into the top level and the subcircuits."""

    def __init__(self, title: str) -> None:
        self.title = title
        self.top = Subcircuit(name="top")
        self.inside: Subcircuit | None = None
        self.subcircuits: dict[str, Subcircuit] = {}
        self.global_nodes: set[str] = set()
        self.notes: list[str] = []
        self.count = 0

    def take(self, statement: Statement) -> None:
        head = statement.head
        if head.startswith("."):
            self._dot(statement, head)
            return
        self.count += 1
        if self.count > MAX_ELEMENTS:
            raise NetlistError(f"more than {MAX_ELEMENTS} elements")
        read = _ELEMENTS.get(head[0])
        if read is None:
            hint = _HINTS.get(head[0], "read are R, C, L, D, V, I, M and X")
            raise NetlistError(f"element {statement.words[0]!r} is not read: {hint}")
        if len(head) < 2:
            raise NetlistError(f"{statement.words[0]!r} has no name behind its letter")
        if not _NODE.fullmatch(statement.words[0]):
            raise NetlistError(f"{statement.words[0]!r} is no name of an element")
        card = read(self, statement)
        where = self.inside or self.top
        before = where._lines.setdefault(card.name.lower(), card.line)
        if before != card.line:
            raise NetlistError(f"element {card.name!r} stands twice, first in line {before}")
        where.cards.append(card)

    def _dot(self, statement: Statement, head: str) -> None:
        where = self.inside or self.top
        if head == ".end":
            if len(statement.words) > 1:
                raise NetlistError(".end stands alone")
        elif head == ".title":
            self.title = " ".join(statement.words[1:])
        elif head == ".subckt":
            self._open(statement)
        elif head == ".ends":
            self._close(statement)
        elif head == ".model":
            model = _model(statement)
            if model.name in where.models:
                raise NetlistError(f"model {model.name!r} stands twice, first in line {where.models[model.name].line}")
            where.models[model.name] = model
        elif head == ".param":
            self._parameters(statement, where)
        elif head == ".global":
            self.global_nodes |= {_node(word) for word in statement.words[1:]}
        elif head in _NO_NETWORK:
            self.notes.append(f"line {statement.line}: {head} is no part of the network and is not used")
        else:
            raise NetlistError(f"card {statement.words[0]!r} is not understood")

    def _parameters(self, statement: Statement, where: Subcircuit) -> None:
        plain, settings = pairs(statement.words[1:])
        if plain or not settings:
            raise NetlistError(".param takes NAME = NUMBER or NAME = {OTHER NAME}; arithmetic is refused")
        for key, word in settings.items():
            if not re.fullmatch(r"[a-z_]\w*", key):
                raise NetlistError(f"{key!r} is no name of a parameter")
            if key in where.parameters:
                raise NetlistError(f"parameter {key!r} is defined twice")
            where.parameters[key] = self.value(word, statement.line, named=True)

    def value(self, word: str, line: int, *, named: bool = False) -> str:
        """Check a value's word at once where it is a number; a parameter is looked up when its place is known."""
        inner = word[1:-1].strip() if word[:1] in ("{", "'") else word
        reference = inner != word or named
        if reference and re.fullmatch(r"[a-z_]\w*", inner, re.IGNORECASE):
            return word
        try:
            number = spice_number(inner)
        except NetlistError:
            if inner != word:
                raise NetlistError(
                    f"{word[:60]!r}: braces and quotes hold a plain number or a parameter's name; arithmetic is refused"
                ) from None
            raise
        if number.note:
            self.notes.append(f"line {line}: {number.note}")
        return word

    def _open(self, statement: Statement) -> None:
        if self.inside is not None:
            raise NetlistError(f".subckt inside .subckt {self.inside.name}: define each subcircuit outside the others")
        words = tuple(w for w in statement.words[1:] if w.lower() != "params:")
        plain, settings = pairs(words)
        self.inside = Subcircuit(name="".join(plain[:1]), line=statement.line)
        if not plain:
            raise NetlistError(".subckt has no name")
        ports = tuple(_node(word) for word in plain[1:])
        if "0" in ports or len(set(ports)) != len(ports):
            raise NetlistError("the ports of a .subckt must differ, and none may be ground")
        self.inside.ports = ports
        self.inside.defaults = {k: self.value(w, statement.line, named=True) for k, w in settings.items()}
        if plain[0].lower() in self.subcircuits:
            raise NetlistError(f"subcircuit {plain[0]!r} stands twice")
        self.subcircuits[plain[0].lower()] = self.inside

    def _close(self, statement: Statement) -> None:
        if self.inside is None:
            raise NetlistError(".ends without .subckt")
        inside, self.inside = self.inside, None
        if len(statement.words) > 2 or (
            len(statement.words) == 2 and statement.words[1].lower() != inside.name.lower()
        ):
            raise NetlistError(f".ends closes {inside.name}, not {' '.join(statement.words[1:])}")

    # one method for each kind of element

    def two_terminal(self, statement: Statement) -> Card:
        kind = statement.head[0]
        plain, settings = pairs(statement.words)
        word = settings.pop(kind, None)
        if "ic" in settings and kind in "cl":
            self.notes.append(f"line {statement.line}: ic is no part of the steady network and is not used")
            self.value(settings.pop("ic"), statement.line)
        _no_settings(settings)
        if len(plain) != (4 if word is None else 3):
            raise NetlistError(
                f"{plain[0]!r} is written NAME NODE NODE VALUE; received {' '.join(statement.words)[:80]!r}"
            )
        word = self.value(plain[3] if word is None else word, statement.line)
        return Card(name=plain[0], kind=kind, nodes=_nodes(plain[1:3]), value=word, line=statement.line)

    def diode(self, statement: Statement) -> Card:
        plain, settings = pairs(statement.words)
        _no_settings(settings)
        if len(plain) != 4:
            raise NetlistError(f"{plain[0]!r} is written NAME ANODE CATHODE MODEL; received {' '.join(plain)[:80]!r}")
        return Card(name=plain[0], kind="d", nodes=_nodes(plain[1:3]), model=plain[3].lower(), line=statement.line)

    def source(self, statement: Statement) -> Card:
        plain, settings = pairs(statement.words)
        _no_settings(settings)
        name, kind = plain[0], statement.head[0]
        if len(plain) < 3:
            raise NetlistError(f"{name!r} has no two nodes")
        rest, waveform, value = plain[3:], None, None
        while rest:
            word = rest.pop(0)
            key = word.lower()
            if key == "dc" and value is None:
                value = self.value(_next(rest, name), statement.line)
            elif key == "ac":
                while rest and re.match(r"[+-]?\.?\d", rest[0]):
                    self.value(rest.pop(0), statement.line)
                self.notes.append(
                    f"line {statement.line}: ac of {name} is no part of the steady network and is not used"
                )
            elif key in _WAVEFORMS and waveform is None:
                waveform = key
                rest = self._waveform(rest, statement.line)
            elif value is None and waveform is None:
                value = self.value(word, statement.line)
            else:
                raise NetlistError(f"{name!r}: {word!r} is not understood")
        if value is None and waveform is None:
            raise NetlistError(f"{name!r} has no value; write for example {name} NODE NODE DC 9")
        nodes = _nodes(plain[1:3])
        return Card(name=name, kind=kind, nodes=nodes, value=value, waveform=waveform, line=statement.line)

    def _waveform(self, rest: list[str], line: int) -> list[str]:
        """Check the arguments of a source's function of time and return what stands behind them."""
        if rest[:1] == ["("]:
            if ")" not in rest:
                raise NetlistError("a parenthesis is not closed")
            end = rest.index(")")
            arguments, behind = rest[1:end], rest[end + 1 :]
        else:
            arguments, behind = rest, []
        for word in arguments:
            self.value(word, line)
        return behind

    def mosfet(self, statement: Statement) -> Card:
        plain, settings = pairs(statement.words)
        sizes = sorted(set(settings) & _SIZE_KEYS)
        for key in sizes:
            self.value(settings.pop(key), statement.line)
        if sizes:
            self.notes.append(
                f"line {statement.line}: {', '.join(sizes)} of {plain[0]}: the role file's values are used instead"
            )
        _no_settings(settings)
        if len(plain) not in (5, 6):
            raise NetlistError(
                f"{plain[0]!r} is written NAME DRAIN GATE SOURCE [BULK] MODEL; received {' '.join(plain)[:80]!r}"
            )
        nodes = _nodes(plain[1:-1])
        return Card(name=plain[0], kind="m", nodes=nodes, model=plain[-1].lower(), line=statement.line)

    def instance(self, statement: Statement) -> Card:
        words = tuple(w for w in statement.words if w.lower() != "params:")
        plain, settings = pairs(words)
        if len(plain) < 2:
            raise NetlistError(f"{plain[0]!r} names no subcircuit")
        checked = {key: self.value(word, statement.line) for key, word in settings.items()}
        nodes = _nodes(plain[1:-1])
        return Card(
            name=plain[0], kind="x", nodes=nodes, model=plain[-1].lower(), settings=checked, line=statement.line
        )


_ELEMENTS: dict[str, Callable[[_Reader, Statement], Card]] = {
    "r": _Reader.two_terminal,
    "c": _Reader.two_terminal,
    "l": _Reader.two_terminal,
    "d": _Reader.diode,
    "v": _Reader.source,
    "i": _Reader.source,
    "m": _Reader.mosfet,
    "x": _Reader.instance,
}


def _next(rest: list[str], name: str) -> str:
    if not rest:
        raise NetlistError(f"{name!r}: DC has no value")
    return rest.pop(0)


def _no_settings(settings: Mapping[str, str]) -> None:
    if settings:
        key, word = next(iter(settings.items()))
        raise NetlistError(
            f"setting {key} = {word} is not understood; leave it out, or give the value in the role file"
        )


def _node(word: str) -> str:
    if not _NODE.fullmatch(word):
        raise NetlistError(f"{word!r} stands where a node is due; a node's name has no parentheses, quotes or braces")
    node = word.lower()
    if node == "ground":
        raise NetlistError("a node called ground is no ground to SPICE; ground is 0 or gnd")
    return "0" if node == "gnd" else node


def _nodes(words: list[str]) -> tuple[str, ...]:
    return tuple(_node(word) for word in words)


def _model(statement: Statement) -> ModelCard:
    words = [word for word in statement.words[1:] if word not in ("(", ")")]
    if len(words) < 2:
        raise NetlistError(".model is written .model NAME TYPE (SETTINGS)")
    if list(statement.words).count("(") != list(statement.words).count(")"):
        raise NetlistError("a parenthesis of the .model card is not closed")
    kind = words[1].lower()
    if kind not in _MODEL_TYPES:
        raise NetlistError(f"model type {words[1]!r} is not read; read are {', '.join(sorted(_MODEL_TYPES))}")
    flags, settings = pairs(tuple(words[2:]))
    unknown = [flag for flag in flags if flag.lower() not in ("nchan", "pchan")]
    if unknown:
        raise NetlistError(f"{unknown[0]!r} in a .model card is not understood")
    return ModelCard(
        name=words[0].lower(), kind=kind, settings=settings, flags=tuple(f.lower() for f in flags), line=statement.line
    )
