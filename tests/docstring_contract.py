"""The docstring contract of the package: what a public function or class has to say; used by test_docstrings.py.

A type, a unit and a shape are said once: the annotation says the type, so that an entry is one line,
``name : what it is [unit], shape (n,)``, and a parameter that is no number needs none. Equation, validity, errors and
source stand between the summary and the parameters.
"""

from __future__ import annotations

import dataclasses
import enum
import inspect
import re
from collections.abc import Iterator
from typing import Any

__all__ = ["faults_of", "sections"]

LONGEST_SUMMARY = 120
NUMERIC = re.compile(r"\b(float|ArrayLike|FloatArray)\b")
NO_SINGLE_UNIT = re.compile(r"\b(Callable|dict|Mapping)\b")  # each entry or argument has a unit of its own
UNIT = re.compile(r"(?:^|[\s(])\[[^\[\]\s][^\[\]]*\]")
UNDERLINE = re.compile(r"^-{3,}$")


def sections(doc: str) -> dict[str, list[str]]:
    """Lines of each numpydoc section; what stands before the first one has the key ''."""
    lines = doc.splitlines()
    found: dict[str, list[str]] = {"": []}
    current = ""
    for number, line in enumerate(lines):
        if number + 1 < len(lines) and UNDERLINE.match(lines[number + 1]) and line.strip():
            current = line.strip()
            found[current] = []
        elif not UNDERLINE.match(line):
            found[current].append(line)
    return found


def _entries(lines: list[str]) -> dict[str, str]:
    """Text of each parameter of a section, type and description; `a, b : float` stands for both."""
    found: dict[str, str] = {}
    names: list[str] = []
    for line in lines:
        if line.strip() and not line[0].isspace():
            head, _, kind = line.partition(" : ")
            names = [name.strip().lstrip("*") for name in head.split(",")]
            found.update(dict.fromkeys(names, kind))
        else:
            for name in names:
                found[name] += "\n" + line.strip()
    return found


def _signature_of(function: Any) -> dict[str, str]:
    """Annotation of each parameter of a function, without self and cls."""
    parameters = inspect.signature(inspect.unwrap(function)).parameters.values()
    return {p.name: str(p.annotation) for p in parameters if p.name not in {"self", "cls"}}


def _fields_of(cls: type) -> dict[str, str]:
    """Annotation of each bare number that makes an instance of the class.

    A field of a type of its own (`Toleranced` carries its unit, text and flags say what they are by their names) needs
    no entry; a bare number needs one, with its unit.
    """
    if dataclasses.is_dataclass(cls):
        fields = {f.name: str(f.type) for f in dataclasses.fields(cls) if f.init and not f.name.startswith("_")}
        return {name: kind for name, kind in fields.items() if _is_number(kind)}
    if hasattr(cls, "model_fields"):
        # pydantic: a description beside the field says it as well, and reaches the JSON Schema
        fields = {n: str(f.annotation) for n, f in cls.model_fields.items() if not f.description}
        return {name: kind for name, kind in fields.items() if "Toleranced" not in kind and _is_number(kind)}
    if issubclass(cls, BaseException | enum.Enum) or getattr(cls, "_is_protocol", False) or "__init__" not in vars(cls):
        return {}
    return _signature_of(cls.__init__)


def _summary_faults(doc: str) -> Iterator[str]:
    """What is wrong with the one line that comes first."""
    summary, *rest = doc.splitlines()
    if not summary.endswith("."):
        yield "the summary line does not end with a period"
    if len(summary) > LONGEST_SUMMARY:
        yield f"the summary line has {len(summary)} characters, more than {LONGEST_SUMMARY}"
    if rest and rest[0].strip():
        yield "the summary is longer than one line"


def _is_number(annotation: str) -> bool:
    """Whether an annotation stands for numbers of one unit."""
    return bool(NUMERIC.search(annotation)) and not NO_SINGLE_UNIT.search(annotation)


def _parameter_faults(doc: str, wanted: dict[str, str], heading: tuple[str, ...]) -> Iterator[str]:
    """Parameters that are missing, unknown or without a unit."""
    parts = sections(doc)
    entries = {name: text for title in heading for name, text in _entries(parts.get(title, [])).items()}
    for name, annotation in wanted.items():
        if not _is_number(annotation):
            continue  # the annotation says what it is
        if name not in entries:
            yield f"parameter {name} is not documented under {' or '.join(heading)}"
        elif not UNIT.search(entries[name]):
            yield f"parameter {name} is a number without a unit in brackets, such as [A] or [1]"


def _function_faults(function: Any, doc: str) -> Iterator[str]:
    """What a function's docstring lacks against its signature."""
    wanted = _signature_of(function)
    yield from _parameter_faults(doc, wanted, ("Parameters",))
    for name in _entries(sections(doc).get("Parameters", [])):
        if name not in wanted:
            yield f"documents {name}, which is no parameter"
    returned = str(inspect.signature(inspect.unwrap(function)).return_annotation)
    if _is_number(returned) and not UNIT.search("\n".join([doc.splitlines()[0], *sections(doc).get("Returns", [])])):
        yield "returns a number without a unit in brackets, in the summary or under Returns"


def _class_faults(cls: type, doc: str) -> Iterator[str]:
    """What a class's docstring lacks against its fields, and its own public methods without a summary."""
    wanted = _fields_of(cls)
    yield from _parameter_faults(doc, wanted, ("Parameters", "Attributes"))
    for name, member in vars(cls).items():
        target = getattr(member, "fget", None) or getattr(member, "__func__", member)
        if name.startswith("_") or not inspect.isfunction(target):
            continue
        text = inspect.getdoc(target)
        if not text:
            yield f"method {name} has no docstring"
        else:
            yield from (f"method {name}: {fault}" for fault in _summary_faults(text))


def faults_of(value: Any, *, needs_example: bool = False) -> list[str]:
    """Everything that the docstring of a public function or class lacks."""
    doc = inspect.cleandoc(value.__doc__ or "")
    if not doc or (dataclasses.is_dataclass(value) and doc.startswith(f"{value.__name__}(")):
        return ["no docstring"]
    found = list(_summary_faults(doc))
    found += _class_faults(value, doc) if inspect.isclass(value) else _function_faults(value, doc)
    if needs_example and not inspect.isclass(value) and ">>>" not in doc:
        found.append("no example (>>>)")
    return found
