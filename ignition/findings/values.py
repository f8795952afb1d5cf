"""Who says so where the limit is a value of the circuit file, and which assumptions a value rests on."""

from __future__ import annotations

from ignition.circuit.model import Circuit
from ignition.findings.compare import Statement

__all__ = ["UNDATED", "data_sheet", "left_out", "resting"]

UNDATED = "undated"


def data_sheet(part: str, name: str | None = None) -> Statement:
    """Return whose statement a part's rating is: the circuit file gives it and names no document."""
    named = part if name is None else f"{part} {name!r}"
    return Statement(source=f"data of {named} in the circuit file; no document is named", date=UNDATED)


def left_out(table: str, given: object, *names: str) -> tuple[str, ...]:
    """List the keys that a table of the circuit file leaves out, of some."""
    return tuple(f"{table}.{name}" for name in names if getattr(given, name) is None)


def resting(circuit: Circuit, direction: str, *tables: str) -> tuple[str, ...]:
    """List the keys of the assumptions of one direction, of all tables of the file or of some."""
    return tuple(
        a.key for a in circuit.assumptions if a.direction == direction and (not tables or a.key.startswith(tables))
    )
