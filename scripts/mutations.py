"""Mutants of a module: its source with one place of one statement changed, found on the syntax tree.

Each mutant is an edit of the text, so that what is shown and what is run are the same. Left alone: messages of raised
errors, f-strings, annotations, decorators, docstrings and `__all__`.
"""

from __future__ import annotations

import ast
import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

__all__ = ["Mutant", "mutants"]

PAIRS = (
    "< <=; > >=; < >; <= >=; == !=; + -; * /; & |; << >>; and or; is is_not; in not_in; min max; any all; "
    "minimum maximum; argmin argmax; floor ceil; low high; low nominal; high nominal"
)
"""Operators and names that take each other's place; an underscore stands for a space."""

SWAPS: dict[str, list[str]] = {"//": ["/"], "**": ["*"]}
for pair in PAIRS.split("; "):
    one, other = (word.replace("_", " ") for word in pair.split(" "))
    SWAPS.setdefault(one, []).append(other)
    SWAPS.setdefault(other, []).append(one)
NAMES = {"min", "max", "any", "all"}
GATHERING = {"append", "extend", "update", "add", "setdefault"}
UNTOUCHED_FIELDS = {"annotation", "returns", "decorator_list"}

Edit = tuple[int, int, str]
"""First byte, byte behind the last, new text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One changed module: where, both texts of the lines on one line, lines of its statement, and the whole source."""

    line: int
    inside: str
    original: str
    changed: str
    lines: range
    in_function: bool
    source: str


def mutants(source: str) -> list[Mutant]:
    """Every mutant of a module's source that is still Python, in order of place."""
    return sorted(_Search(source).run(), key=lambda m: (m.line, m.changed))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """What stands around a node: its parent, the names of the definitions, the lines of the statement."""

    parent: ast.AST
    names: tuple[str, ...] = ()
    in_function: bool = False
    returns_bool: bool = False
    lines: range = range(0)


class _Search:
    def __init__(self, source: str) -> None:
        self.data = source.encode()
        self.starts = [0]
        for line in self.data.splitlines(keepends=True):
            self.starts.append(self.starts[-1] + len(line))

    def run(self) -> Iterator[Mutant]:
        tree = ast.parse(self.data)
        seen = set()
        for (start, end, new), place in self._visit(tree, _Place(parent=tree)):
            changed = self.data[:start] + new.encode() + self.data[end:]
            if (changed in seen) or not _is_python(changed):
                continue
            seen.add(changed)
            first = self.data.rfind(b"\n", 0, start) + 1
            last = self.data.find(b"\n", end)
            yield Mutant(
                line=self.data.count(b"\n", 0, start) + 1,
                inside=".".join(place.names),
                original=_on_one_line(self.data[first:last]),
                changed=_on_one_line(self.data[first:start] + new.encode() + self.data[end:last]),
                lines=place.lines,
                in_function=place.in_function,
                source=changed.decode(),
            )

    def _visit(self, node: ast.AST, place: _Place) -> Iterator[tuple[Edit, _Place]]:
        if _is_left_alone(node):
            return
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)  # of a compound statement the head alone, up to its first inner one
            end = max(node.lineno + 1, body[0].lineno) if body else (node.end_lineno or node.lineno) + 1
            place = replace(place, lines=range(node.lineno, end))
        for edit in self._edits(node, place):
            yield edit, place
        below = replace(place, parent=node)
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            below = replace(below, names=(*below.names, node.name))
        if isinstance(node, ast.FunctionDef):
            returns = node.returns.id if isinstance(node.returns, ast.Name) else ""
            below = replace(below, in_function=True, returns_bool=returns == "bool")
        for name, value in ast.iter_fields(node):
            for child in value if isinstance(value, list) else [value]:
                if isinstance(child, ast.AST) and name not in UNTOUCHED_FIELDS:
                    yield from self._visit(
                        child, below if name == "body" else replace(below, in_function=place.in_function)
                    )

    def _edits(self, node: ast.AST, place: _Place) -> Iterator[Edit]:
        match node:
            case ast.Compare():
                for left, right in itertools.pairwise([node.left, *node.comparators]):
                    yield from self._signs(left, right)
            case ast.BinOp():
                yield from self._signs(node.left, node.right)
            case ast.BoolOp():
                for left, right in itertools.pairwise(node.values):
                    yield from self._signs(left, right)
            case ast.AugAssign():
                yield from self._signs(node.target, node.value)
                yield self._whole(node, "pass")
            case ast.Expr(value=ast.Call(func=ast.Attribute(attr=attr))) if attr in GATHERING:
                yield self._whole(node, "pass")
            case ast.UnaryOp(op=ast.Not()):
                yield self._start(node), self._start(node) + 3, ""
            case ast.UnaryOp(op=ast.USub() | ast.Invert()):
                yield self._start(node), self._start(node) + 1, ""
            case ast.Constant(value=bool() | int() | float() as value):
                yield self._whole(node, repr(_other_number(value)))
            case ast.Name(id=name) if name in NAMES:
                yield from (self._whole(node, new) for new in SWAPS[name])
            case ast.Attribute(attr=attr, ctx=ast.Load()) if attr in SWAPS:
                yield from ((self._end(node) - len(attr), self._end(node), new) for new in SWAPS[attr])
            case ast.Call():
                yield from self._call(node)
            case ast.Tuple(ctx=ast.Load()) | ast.List(ctx=ast.Load()) | ast.Set() if _holds_candidates(node, place):
                comma = isinstance(node, ast.Tuple) and len(node.elts) == 2
                comma = comma and not self.data[self._end(node.elts[-1]) :].lstrip().startswith(b",")
                yield from self._dropped(node.elts, "," if comma else "")
            case ast.If(test=test) | ast.While(test=test) | ast.IfExp(test=test):
                yield from self._negated(test)
            case ast.comprehension():
                yield from (edit for test in node.ifs for edit in self._negated(test))
            case ast.Return(value=ast.expr() as value) if place.returns_bool:
                yield from self._negated(value)

    def _call(self, node: ast.Call) -> Iterator[Edit]:
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if name in ("abs", "fabs"):
            yield self._whole(node.func, "")
        plain = not node.keywords and not any(isinstance(a, ast.Starred) for a in node.args)
        if name in ("min", "max", "minimum", "maximum") and plain and len(node.args) > 1:
            if len(node.args) == 2:
                yield from (self._whole(node, f"({self._text(argument)})") for argument in node.args)
            else:
                yield from self._dropped(node.args)

    def _dropped(self, items: list[ast.expr], closing: str = "") -> Iterator[Edit]:
        for dropped in items:
            rest = ", ".join(self._text(item) for item in items if item is not dropped)
            yield self._start(items[0]), self._end(items[-1]), rest + closing

    def _signs(self, left: ast.expr, right: ast.expr) -> Iterator[Edit]:
        """What stands between two operands, but for brackets and space, is their operator."""
        gap = self.data[self._end(left) : self._start(right)].decode("latin-1")  # a character a byte
        sign = re.sub(r"[()\\\s]+", " ", gap).strip()
        bare = sign if sign in SWAPS else sign.removesuffix("=")  # += as +
        found = re.search(re.escape(bare).replace(r"\ ", r"\s+"), gap)
        if found and bare in SWAPS:
            start, end = (self._end(left) + place for place in found.span())
            yield from ((start, end, new) for new in SWAPS[bare])

    def _negated(self, test: ast.expr) -> Iterator[Edit]:
        """The test turned round, where no other mutation does that already."""
        single = isinstance(test, ast.Compare) and len(test.ops) == 1
        if not single and not (isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not)):
            yield self._whole(test, f"(not ({self._text(test)}))")

    def _whole(self, node: ast.expr | ast.stmt, new: str) -> Edit:
        return self._start(node), self._end(node), new

    def _start(self, node: ast.expr | ast.stmt) -> int:
        return self.starts[node.lineno - 1] + node.col_offset

    def _end(self, node: ast.expr | ast.stmt) -> int:
        assert node.end_lineno is not None and node.end_col_offset is not None
        return self.starts[node.end_lineno - 1] + node.end_col_offset

    def _text(self, node: ast.expr) -> str:
        return self.data[self._start(node) : self._end(node)].decode()


def _is_left_alone(node: ast.AST) -> bool:
    match node:
        case ast.Raise() | ast.Assert() | ast.JoinedStr() | ast.keyword(arg="strict"):
            return True
        case ast.Assign(targets=[ast.Name(id="__all__")]) | ast.Call(func=ast.Name(id="field")):
            return True
    return False


def _holds_candidates(node: ast.Tuple | ast.List | ast.Set, place: _Place) -> bool:
    """Whether dropping an element leaves something of the same use: no index, no pair, nothing to be unpacked."""
    unpacked = isinstance(place.parent, ast.Assign) and isinstance(place.parent.targets[0], ast.Tuple)
    fixed = isinstance(place.parent, ast.Subscript | ast.Return | ast.Tuple | ast.List | ast.Starred)
    return len(node.elts) > 1 and not unpacked and not fixed


def _other_number(value: float) -> float:
    if isinstance(value, bool):
        return not value
    if value in (0, 1):
        return type(value)(1 - value)
    return value + 1 if isinstance(value, int) else 2.0 * value


def _is_python(data: bytes) -> bool:
    try:
        ast.parse(data)
    except SyntaxError:
        return False
    return True


def _on_one_line(data: bytes) -> str:
    return " ".join(data.decode().split())
