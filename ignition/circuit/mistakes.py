"""Text files read with care, and TOML tables checked against a model with all mistakes at once, for any file format."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from ignition.circuit.lines import key_lines, line_of
from ignition.errors import CircuitFileError, InputError, Mistake, did_you_mean

__all__ = ["Checks", "KeyPath", "dotted", "read_table", "read_text", "read_toml", "report"]

KeyPath = tuple[str | int, ...]
"""Path of a key: names and positions in lists."""

Checks = Callable[[dict[str, Any]], list[tuple[KeyPath, str]]]
"""Rules between tables, on raw values: path and message of each mistake."""

Model = TypeVar("Model", bound=BaseModel)


def read_text(path: str | Path, what: str, most: int, missing: str = "") -> str:
    """Read a text file of limited size.

    Raises InputError when it is missing, a folder, no ordinary file, too large, binary or not UTF-8.

    Parameters
    ----------
    most : Largest size [byte]
    missing : What to do where the file does not exist; by default to name one

    Examples
    --------
    >>> read_text("no such file.cir", "netlist", 1000)
    Traceback (most recent call last):
    ignition.errors.InputError: no such file.cir does not exist; name a netlist
    """
    file = Path(path)
    try:
        if file.is_dir():
            raise InputError(f"{path} is a folder; name a {what}")
        size = file.stat().st_size
        if not file.is_file():
            raise InputError(f"{path} is not an ordinary file; name a {what}")
        if size > most:
            raise InputError(f"{path} has {size} bytes; a {what} has at most {most}")
        raw = file.read_bytes()
    except FileNotFoundError:
        raise InputError(f"{path} does not exist; {missing or f'name a {what}'}") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if b"\0" in raw:
        raise InputError(f"{path} is a binary file (or UTF-16); a {what} is text in UTF-8")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise InputError(
            f"{path}:{line}: is not UTF-8 text (byte {raw[error.start]:#04x}); save the file as UTF-8"
        ) from None


def read_toml(
    text: str, model: type[Model], shown: str, hints: Mapping[str, str], checks: Checks
) -> tuple[Model, dict[str, Any]]:
    """Read a TOML text into a model; all mistakes are reported together.

    Raises CircuitFileError with all mistakes, each with line, key and what to write instead.

    Parameters
    ----------
    hints : What to write where a key is missing
    checks : Rules between tables

    Examples
    --------
    >>> class Cell(BaseModel, extra="forbid"):
    ...     volts: float
    >>> read_toml("volt = 1.5", Cell, "cell.toml", {}, lambda table: [])
    Traceback (most recent call last):
    ignition.errors.CircuitFileError: cell.toml:-: volts: is missing; write volts = ...
    cell.toml:1: volt: unknown key 'volt' in the file; did you mean 'volts'?
    cell.toml: 2 mistakes; nothing was computed
    """
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # ValueError: TOML's own, and a number of thousands of digits
        message = str(error)
        line = int(message.split("(at line ")[1].split(",")[0]) if "(at line " in message else None
        if "(at end of document)" in message:
            line = text.count("\n") + 1
        raise CircuitFileError(shown, (Mistake(key="", line=line, message=f"is not TOML: {message}"),)) from None
    return read_table(table, model, hints, checks, lambda found: report(shown, text, found)), table


def read_table(
    table: dict[str, Any],
    model: type[Model],
    hints: Mapping[str, str],
    checks: Checks,
    wrong: Callable[[list[tuple[KeyPath, str]]], Exception],
) -> Model:
    """Read a table into a model; all mistakes are reported together.

    Raises the error that is made of all mistakes.

    Parameters
    ----------
    hints : What to write where a key is missing
    checks : Rules between tables
    wrong : Makes an error of the path and message of each mistake

    Examples
    --------
    >>> class Cell(BaseModel, extra="forbid"):
    ...     volts: float
    >>> read_table({"volts": 1.5}, Cell, {}, lambda table: [], lambda found: InputError(str(found))).volts
    1.5
    """
    found: list[tuple[KeyPath, str]] = []
    made: Model | None = None
    try:
        made = model.model_validate(table)
    except ValidationError as error:
        found += [_translate(entry, table, model, hints) for entry in error.errors(include_url=False)]
    found += checks(table)
    if made is None or found:
        raise wrong(found)
    return made


def report(shown: str, text: str, found: list[tuple[KeyPath, str]]) -> CircuitFileError:
    """Make the error that lists mistakes with their lines.

    Parameters
    ----------
    found : Path of the key and message of each mistake

    Examples
    --------
    >>> report("x.toml", "a = 1", [(("a",), "must be text")]).mistakes[0].line
    1
    """
    lines = key_lines(text)
    mistakes = {Mistake(key=dotted(path), line=line_of(lines, path), message=says): None for path, says in found}
    return CircuitFileError(shown, tuple(sorted(mistakes, key=lambda m: (m.line or 0, m.key))))


def dotted(path: KeyPath) -> str:
    """Write the path of a key as text.

    Examples
    --------
    >>> dotted(("channel", 0, "lead", "distance"))
    'channel[0].lead.distance'
    """
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
    return text


def _translate(
    entry: Any, table: dict[str, Any], model: type[BaseModel], hints: Mapping[str, str]
) -> tuple[KeyPath, str]:
    """One pydantic error as path and message in plain words."""
    path = _real_path(tuple(entry["loc"]), table)
    kind, value = entry["type"], entry.get("input")
    if kind == "extra_forbidden":
        return path, _unknown_key(path, model)
    if kind == "missing":
        return path, f"is missing; {hints.get(str(path[-1]), f'write {path[-1]} = ...')}"
    if kind == "value_error":
        return path, str(entry["ctx"]["error"])
    text = repr(value)
    shown = text if len(text) <= 60 else text[:57] + "..."
    if kind == "literal_error":
        expected = entry["ctx"]["expected"]
        offered = did_you_mean(str(value), re.findall(r"'([^']*)'", expected))
        return path, f"must be {expected}; received {shown}{offered and '; '}{offered}"
    return path, f"{entry['msg'][0].lower()}{entry['msg'][1:]}; received {shown}"


def _real_path(location: tuple[Any, ...], table: Any) -> KeyPath:
    """Drop the branch names that pydantic adds for unions; they are not in the file."""
    path: list[str | int] = []
    node: Any = table
    for part in location:
        if isinstance(node, dict) and isinstance(part, str):
            path.append(part)
            node = node.get(part)
        elif isinstance(node, list) and isinstance(part, int):
            path.append(part)
            node = node[part] if part < len(node) else None
    return tuple(path)


def _unknown_key(path: KeyPath, model: type[BaseModel]) -> str:
    """Say where the key stands and which known one is nearest."""
    place: type[BaseModel] | None = model
    for part in path[:-1]:
        if isinstance(part, str) and place is not None and part in place.model_fields:
            place = _inner_model(place.model_fields[part].annotation)
    known = sorted(place.model_fields) if place is not None else []
    where = f"[{dotted(path[:-1])}]" if path[:-1] else "the file"
    offered = did_you_mean(str(path[-1]), known) or f"known there: {', '.join(known)}"
    return f"unknown key {str(path[-1])!r} in {where}; {offered}"


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        inner = _inner_model(argument)
        if inner is not None:
            return inner
    return None
