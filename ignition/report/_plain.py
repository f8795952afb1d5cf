"""Plain lines for a terminal: wrapped, with a hanging indent, nothing in them read as markup."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

__all__ = ["plain_row", "plain_table", "say"]


def say(console: Console, text: str, *, indent: int = 0, style: str = "") -> None:
    """Print plain text, wrapped to the console's width."""
    width = max(console.width - indent, 20)
    for position, line in enumerate(Text(text).wrap(console, width - (2 if indent else 0))):
        pad = " " * (indent + (2 if indent and position else 0))
        console.print(Text(pad + line.plain.rstrip(), style=style), highlight=False)


def plain_table(*columns: str, left: int = 1, gap: int = 2) -> Table:
    """Return a table without lines; the first `left` columns read from the left."""
    table = Table(box=None, pad_edge=False, padding=(0, gap, 0, 0), show_edge=False)
    for position, column in enumerate(columns):
        table.add_column(Text(column), justify="left" if position < left else "right", overflow="fold")
    return table


def plain_row(table: Table, *cells: str) -> None:
    """Add a row of plain texts."""
    table.add_row(*(Text(cell) for cell in cells))
