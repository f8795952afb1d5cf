"""Reads the imports of a package from its source and holds them to the layers; used by test_import_graph.py."""

from __future__ import annotations

import ast
import graphlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

__all__ = ["RANKS", "Import", "cycle", "imports_of", "misplaced", "package_modules", "upward"]

# A module may import from its own rank or a lower one. The longest name below the package counts.
RANKS = {
    "errors": 0,
    "typing": 0,
    "units": 1,
    "binomial": 2,
    "kept": 2,
    "toleranced": 2,
    "data": 3,
    "parts": 3,
    "circuit": 4,
    "network": 5,
    "findings": 6,
    "analyses.no_fire": 7,
    "analyses.continuity": 8,
    "analyses.faults": 9,
    "analyses.divider": 10,
    "analyses.firing.transient": 11,
    "analyses.firing": 12,
    "analyses.trials": 13,
    "analyses.cluster": 14,
    "analyses.verdict": 15,
    "analyses": 15,
    "analyses.study": 16,
    "evidence": 17,
    "spice": 18,
    "foreign": 19,
    "report": 20,
    "cli": 21,
    "__main__": 22,
}

# Heavy packages: the part of the project that may import each of them, and that only inside functions.
RESTRICTED = {
    "pint": "ignition.units",
    "matplotlib": "ignition.report",
    "jinja2": "ignition.report",
    "schemdraw": "ignition.report",
    "PySpice": "ignition.spice.pyspice",
    "scipy.stats": "ignition",
    "scipy.optimize": "ignition",
    "scipy.sparse": "ignition",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Import:
    """One import statement's target: who imports what, where, and whether it runs when the module is imported."""

    importer: str
    target: str
    line: int
    runs_on_import: bool


def package_modules(root: Path) -> dict[str, str]:
    """Source text of every module of the package in folder `root`, by dotted name."""
    modules = {}
    for path in sorted(root.rglob("*.py")):
        parts = path.relative_to(root.parent).with_suffix("").parts
        modules[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path.read_text(encoding="utf-8")
    return modules


def _is_typing_guard(node: ast.AST) -> bool:
    """Whether a node is `if TYPE_CHECKING:`."""
    return isinstance(node, ast.If) and ast.unparse(node.test) in {"TYPE_CHECKING", "typing.TYPE_CHECKING"}


def _statements(node: ast.AST, runs: bool = True) -> Iterator[tuple[ast.Import | ast.ImportFrom, bool]]:
    """Every import statement below a node, with whether it runs when the module is imported."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Import | ast.ImportFrom):
            yield child, runs
        elif isinstance(child, ast.If) and _is_typing_guard(child):
            for part in child.body:
                yield from _statements(ast.Module([part], []), False)
            for part in child.orelse:
                yield from _statements(ast.Module([part], []), runs)
        else:
            inside = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
            yield from _statements(child, runs and not inside)


def imports_of(name: str, source: str, modules: Iterable[str], *, is_package: bool) -> list[Import]:
    """All imports of one module; `from a import b` counts as a.b where a.b is a module or lies outside the package."""
    known = set(modules)
    top = name.partition(".")[0]
    found = []
    for node, runs in _statements(ast.parse(source)):
        if isinstance(node, ast.Import):
            targets = [alias.name for alias in node.names]
        else:
            base = node.module or ""
            if node.level:
                parents = name.split(".") if is_package else name.split(".")[:-1]
                parents = parents[: len(parents) - node.level + 1]
                base = ".".join([*parents, base] if base else parents)
            full = [f"{base}.{alias.name}" for alias in node.names]
            inside = base.partition(".")[0] == top
            targets = [target if target in known or not inside else base for target in full]
        found += [Import(importer=name, target=t, line=node.lineno, runs_on_import=runs) for t in targets]
    return found


def _below(name: str, package: str) -> bool:
    """Whether a dotted name is the package or lies below it."""
    return name == package or name.startswith(package + ".")


def _rank(name: str, top: str) -> int | None:
    """Rank of the longest listed name; the package itself, which offers everything, ranks with the command line."""
    if name == top:
        return RANKS["cli"]
    parts = name.split(".")[1:]
    return next((RANKS[n] for k in range(len(parts), 0, -1) if (n := ".".join(parts[:k])) in RANKS), None)


def upward(imports: Iterable[Import], top: str = "ignition") -> list[str]:
    """Imports that point to a higher layer, and modules that no layer names."""
    faults = []
    for item in imports:
        if item.importer == top or not _below(item.target, top):
            continue
        above, below = _rank(item.importer, top), _rank(item.target, top)
        for name, rank in ((item.importer, above), (item.target, below)):
            if rank is None:
                faults.append(f"{item.importer}:{item.line}: {name} stands in no layer; give it a rank in RANKS")
        if above is not None and below is not None and below > above:
            faults.append(f"{item.importer}:{item.line}: layer {above} imports {item.target} of layer {below}")
    return faults


def misplaced(imports: Iterable[Import]) -> list[str]:
    """Imports of restricted packages by the wrong module, or at a moment when they cost every user their load time."""
    faults = []
    for item in imports:
        for package, allowed in RESTRICTED.items():
            if not _below(item.target, package):
                continue
            where = f"{item.importer}:{item.line}: imports {item.target}"
            if not _below(item.importer, allowed):
                faults.append(f"{where}; only {allowed} may")
            elif item.runs_on_import:
                faults.append(f"{where} at module level; import it inside the function that uses it")
    return faults


def cycle(imports: Iterable[Import], modules: Mapping[str, str]) -> list[str]:
    """One cycle of modules that import each other, function-level imports included; empty if there is none."""
    graph: dict[str, set[str]] = {name: set() for name in modules}
    for item in imports:
        if item.target in graph and item.target != item.importer and item.importer.count("."):
            graph[item.importer].add(item.target)
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as error:
        return list(error.args[1])
    return []
