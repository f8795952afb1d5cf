"""Where each key of a TOML text stands: tomllib tells values only, and a mistake needs its line."""

from __future__ import annotations

import re

__all__ = ["key_lines", "line_of"]

Path = tuple[str | int, ...]

_HEADER = re.compile(r"""^\s*(\[\[?)\s*((?:[^\[\]"']|"[^"]*"|'[^']*')+?)\s*\]\]?\s*(?:#.*)?$""")
_PAIR = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=""")
_PART = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")


def _parts(text: str) -> list[str]:
    return [part.strip("\"'") for part in _PART.findall(text)]


def key_lines(text: str) -> dict[Path, int]:
    """Map each table and key of a TOML text to its line.

    Returns
    -------
    Path of keys and list positions, and the line from 1

    Examples
    --------
    >>> key_lines('title = "x"\\n[[feed]]\\nname = "fuse"')[("feed", 0, "name")]
    3
    """
    found: dict[Path, int] = {}
    prefix: Path = ()
    counts: dict[Path, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        header = _HEADER.match(line)
        if header:
            prefix = _table_path(_parts(header.group(2)), header.group(1) == "[[", counts)
            found.setdefault(prefix, number)
            continue
        pair = _PAIR.match(line)
        if pair:
            path = prefix
            for part in _parts(pair.group(1)):
                path = (*path, part)
                found.setdefault(path, number)
    return found


def _table_path(parts: list[str], is_array: bool, counts: dict[Path, int]) -> Path:
    """Path of a table header: an array of tables stands at its newest member."""
    path: Path = ()
    for position, part in enumerate(parts):
        path = (*path, part)
        last = position == len(parts) - 1
        if last and is_array:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """Line of a key, or of the nearest table around it.

    Parameters
    ----------
    lines : From `key_lines`

    Returns
    -------
    The line from 1; None where nothing of the path is in the file

    Examples
    --------
    >>> line_of({("feed", 0): 2}, ("feed", 0, "resistance"))
    2
    """
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None
