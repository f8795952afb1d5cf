"""Mutants of a module: its source with one place of one statement changed, found on the syntax tree.

Each mutant is an edit of the text, so that what is shown and what is run are the same. Left alone: messages of raised
errors, f-strings, annotations, decorators, docstrings and `__all__`.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

__all__ = ["Mutant", "mutants"]

SWAPPED_SIGNS = {
    ast.Lt: ("<", "<=", ">"),
    ast.LtE: ("<=", "<", ">="),
    ast.Gt: (">", ">=", "<"),
    ast.GtE: (">=", ">", "<="),
    ast.Eq: ("==", "!="),
    ast.NotEq: ("!=", "=="),
    ast.Is: ("is", "is not"),
    ast.IsNot: ("is not", "is"),
    ast.In: ("in", "not in"),
    ast.NotIn: ("not in", "in"),
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.FloorDiv: ("//", "/"),
    ast.Pow: ("**", "*"),
    ast.BitAnd: ("&", "|"),
    ast.BitOr: ("|", "&"),
    ast.LShift: ("<<", ">>"),
    ast.RShift: (">>", "<<"),
    ast.And: ("and", "or"),
    ast.Or: ("or", "and"),
}
"""Operator as written, and what takes its place."""

SWAPPED_NAMES = {"min": ("max",), "max": ("min",), "any": ("all",), "all": ("any",)}
SWAPPED_ATTRIBUTES = SWAPPED_NAMES | {
    "minimum": ("maximum",),
    "maximum": ("minimum",),
    "argmin": ("argmax",),
    "argmax": ("argmin",),
    "floor": ("ceil",),
    "ceil": ("floor",),
    "low": ("high", "nominal"),
    "high": ("low", "nominal"),
    "nominal": ("low", "high"),
}
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
                for left, sign, right in zip([node.left, *node.comparators], node.ops, node.comparators, strict=False):
                    yield from self._signs(left, sign, right)
            case ast.BinOp():
                yield from self._signs(node.left, node.op, node.right)
            case ast.BoolOp():
                for left, right in zip(node.values, node.values[1:], strict=False):
                    yield from self._signs(left, node.op, right)
            case ast.AugAssign():
                yield from self._signs(node.target, node.op, node.value)
                yield self._whole(node, "pass")
            case ast.Expr(value=ast.Call(func=ast.Attribute(attr=attr))) if attr in GATHERING:
                yield self._whole(node, "pass")
            case ast.UnaryOp(op=ast.Not()):
                yield self._start(node), self._start(node) + 3, ""
            case ast.UnaryOp(op=ast.USub() | ast.Invert()):
                yield self._start(node), self._start(node) + 1, ""
            case ast.Constant(value=bool() | int() | float() as value):
                yield self._whole(node, repr(_other_number(value)))
            case ast.Name(id=name) if name in SWAPPED_NAMES:
                yield from (self._whole(node, new) for new in SWAPPED_NAMES[name])
            case ast.Attribute(attr=attr, ctx=ast.Load()) if attr in SWAPPED_ATTRIBUTES:
                yield from ((self._end(node) - len(attr), self._end(node), new) for new in SWAPPED_ATTRIBUTES[attr])
            case ast.Call():
                yield from self._call(node)
            case ast.Tuple(ctx=ast.Load()) | ast.List(ctx=ast.Load()) | ast.Set() if _holds_candidates(node, place):
                yield from self._without_one(node)
            case ast.If() | ast.While() | ast.IfExp() if not _has_a_negation(node.test):
                yield self._negated(node.test)
            case ast.comprehension():
                yield from (self._negated(test) for test in node.ifs if not _has_a_negation(test))
            case ast.Return(value=ast.expr() as value) if place.returns_bool and not _has_a_negation(value):
                yield self._negated(value)

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

    def _without_one(self, node: ast.Tuple | ast.List | ast.Set) -> Iterator[Edit]:
        comma = isinstance(node, ast.Tuple) and len(node.elts) == 2
        comma = comma and not self.data[self._end(node.elts[-1]) :].lstrip().startswith(b",")
        yield from self._dropped(node.elts, "," if comma else "")

    def _dropped(self, items: list[ast.expr], closing: str = "") -> Iterator[Edit]:
        for dropped in items:
            rest = ", ".join(self._text(item) for item in items if item is not dropped)
            yield self._start(items[0]), self._end(items[-1]), rest + closing

    def _signs(self, left: ast.expr, sign: ast.AST, right: ast.expr) -> Iterator[Edit]:
        """The operator stands between its operands, where there is nothing else but brackets and space."""
        written, *others = SWAPPED_SIGNS.get(type(sign), ("",))
        gap = self.data[self._end(left) : self._start(right)]
        found = re.search(re.escape(written).replace(r"\ ", r"\s+").encode(), gap)
        if written and found and b"#" not in gap:
            yield from ((self._end(left) + found.start(), self._end(left) + found.end(), new) for new in others)

    def _negated(self, node: ast.expr) -> Edit:
        return self._whole(node, f"(not ({self._text(node)}))")

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


def _has_a_negation(test: ast.expr) -> bool:
    """Whether another mutation turns this test round already."""
    if isinstance(test, ast.Compare):
        return len(test.ops) == 1
    return isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not)


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
