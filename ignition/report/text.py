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
from ignition.units import Towards, engineering, round_decimal

__all__ = [
    "assumption_text",
    "at_least",
    "at_most",
    "caution_text",
    "item",
    "make_console",
    "number_text",
    "say",
    "spread_columns",
    "spread_text",
    "table",
]

_WAYS: tuple[Towards, Towards, Towards] = ("down", "nearest", "up")
"""How low, nominal and high are rounded."""


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


def at_least(value: float | None, unit: str, digits: int = 3) -> str:
    """Write a lower bound: engineering text, rounded down.

    Parameters
    ----------
    value : Bound [its unit]
    digits : Significant digits [1]
    """
    return engineering(value, unit, digits, "down")


def at_most(value: float | None, unit: str, digits: int = 3) -> str:
    """Write an upper bound: engineering text, rounded up.

    Parameters
    ----------
    value : Bound [its unit]
    digits : Significant digits [1]
    """
    return engineering(value, unit, digits, "up")


def number_text(value: float | None, decimals: int, towards: Towards = "nearest", missing: str = "-") -> str:
    """Write a plain number with some decimals; a bound is rounded outwards, so that it stays one.

    Parameters
    ----------
    value : Number [1]
    decimals : How many [1]

    Returns
    -------
    The text; `missing` where there is no number
    """
    if value is None:
        return missing
    return f"{round_decimal(value, -decimals, towards):.{decimals}f}"


def spread_columns(spread: Spread, decimals: int | None = None) -> tuple[str, str, str]:
    """Write low, nominal and high of a spread, both bounds rounded outwards; a missing one is a dash.

    Parameters
    ----------
    decimals : Of a plain number; by default engineering text
    """
    low, nominal, high = (
        engineering(value, spread.unit, towards=way) if decimals is None else number_text(value, decimals, way)
        for value, way in zip((spread.low, spread.nominal, spread.high), _WAYS, strict=True)
    )
    return low, nominal, high


def spread_text(spread: Spread, decimals: int | None = None, *, why: bool = False) -> str:
    """Write a spread as ``low .. nominal .. high`` with its unit, both bounds rounded outwards.

    Parameters
    ----------
    decimals : Of a plain number; by default engineering text
    why : Whether the reason stands for a spread that lacks a bound

    Returns
    -------
    For example ``"52.1 uA .. 57.1 uA .. 63.8 uA"``; a missing bound is a dash
    """
    if why and None in (spread.low, spread.nominal, spread.high):
        return f"UNKNOWN: {spread.reason}"
    return " .. ".join(spread_columns(spread, decimals))


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
