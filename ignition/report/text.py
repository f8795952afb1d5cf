"""Text for people, readable without colour, in 80 columns, and when piped: paragraphs, items, tables, numbers."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from ignition.circuit.model import Assumption
from ignition.report.cautions import CAUTIONS
from ignition.toleranced import Spread
from ignition.units import Towards, engineering

__all__ = [
    "assumption_text",
    "caution_text",
    "item",
    "make_console",
    "number_text",
    "say",
    "spread_text",
    "table",
]


def make_console() -> Console:
    """Make the console for standard output: 80 columns when piped, at most 100 on a terminal.

    Returns
    -------
    The console; it writes no colour codes into a pipe
    """
    console = Console(file=sys.stdout, highlight=False, emoji=False, markup=False, soft_wrap=False)
    console.width = min(max(console.width, 80), 100) if console.is_terminal else 80
    return console


def say(console: Console, text: str, *, first: str = "", rest: str = "", style: str = "") -> None:
    """Print plain text, wrapped to the console's width; nothing in it is read as markup.

    Parameters
    ----------
    first, rest : What the first line and each following one begin with
    """
    lines = textwrap.fill(text, console.width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    console.print(Text(lines, style=style), highlight=False)


def item(console: Console, text: str, mark: str = "- ") -> None:
    """Print one item of a list, wrapped and indented."""
    say(console, text, first=f"  {mark}", rest="    ")


def table(console: Console, headers: Sequence[str], rows: Iterable[Sequence[str | Text]]) -> None:
    """Print a table that needs no colour and no line-drawing characters.

    Columns stand two blanks apart, or one where the console is narrow; then sentences take a second line, the last
    column first. A word or a number is broken only where not even that makes room, and never cut.

    Parameters
    ----------
    headers : A header that begins with ``>`` stands over numbers, flush right
    """
    cells = [[Text(cell) if isinstance(cell, str) else cell for cell in row] for row in rows]
    numbers = [header.startswith(">") for header in headers]
    titles = [Text(header.removeprefix(">")) for header in headers]
    columns = list(zip(titles, *cells, strict=True))
    widths = [max(len(cell) for cell in column) for column in columns]
    words = [max((len(word) for cell in column for word in cell.plain.split()), default=0) for column in columns]
    least = [width if number else word for width, word, number in zip(widths, words, numbers, strict=True)]
    gap = 2 if sum(widths) + 2 * (len(widths) - 1) <= console.width else 1
    spare = console.width - gap * (len(widths) - 1) - sum(least)
    fits = spare >= 0
    grid = Table(box=None, pad_edge=False, padding=(0, gap, 0, 0), show_edge=False, header_style="bold")
    for title, number, width, low in zip(titles, numbers, widths, least, strict=True):
        given = min(width, low + spare)  # the last column is the first to take a second line
        spare -= given - low
        grid.add_column(title, justify="right" if number else "left", overflow="fold", width=given if fits else None)
    for row in cells:
        grid.add_row(*row)
    console.print(grid)


def number_text(value: float | None, form: str, missing: str = "-") -> str:
    """Write a plain number [1].

    Parameters
    ----------
    value : The number [1]
    form : Format with one place, such as ``"{:.1f}"``

    Returns
    -------
    The text; `missing` where there is no number
    """
    return missing if value is None else form.format(value)


def spread_text(spread: Spread, form: str = "", *, why: bool = False) -> str:
    """Write a spread as ``low .. nominal .. high`` with its unit; engineering text rounds both bounds outwards.

    Parameters
    ----------
    form : Format of a plain number, such as ``"{:.1f}"``; by default engineering text
    why : Whether the reason stands for a spread that lacks a bound

    Returns
    -------
    For example ``"52.1 uA .. 57.1 uA .. 63.8 uA"``; a missing bound is a dash
    """
    bounds = (spread.low, spread.nominal, spread.high)
    if why and None in bounds:
        return f"UNKNOWN: {spread.reason}"
    if form:
        return " .. ".join(number_text(v, form) for v in bounds)
    ways: tuple[Towards, ...] = ("down", "nearest", "up")
    return " .. ".join(engineering(v, spread.unit, towards=way) for v, way in zip(bounds, ways, strict=True))


def assumption_text(assumptions: Sequence[Assumption], console: Console) -> None:
    """Print every value that the file did not give."""
    if not assumptions:
        console.print("\nAssumed: nothing; every value is given.")
        return
    questions: dict[tuple[str, str, str], list[str]] = {}
    for a in assumptions:
        question = "can it fire by accident" if a.direction == "safe" else "will it fire"
        questions.setdefault((a.key, a.value, a.basis), []).append(question)
    console.print(f"\nAssumed, because the file does not say ({len(questions)})")
    for (key, value, basis), asked in questions.items():
        item(console, f"{key}: {value} [{', '.join(asked)}; {basis}]")


def caution_text(console: Console) -> None:
    """Print the cautions."""
    console.print("\nCautions")
    for sentence in CAUTIONS:
        item(console, sentence)
