"""How far the resistance of a copper wire may lie from the theoretical one of its size: gauge, strands, tin."""

from __future__ import annotations

import functools
import importlib.resources
import math
import tomllib
from typing import Any, Literal, get_args

from ignition.errors import InputError
from ignition.parts.conductor import COPPER_RESISTIVITY, conductor_area
from ignition.toleranced import Toleranced

__all__ = ["WIRE_CLASSES", "WireClass", "clad_factor", "resistance_range"]

WireClass = Literal["solid", "stranded", "flexible"]
"""Make-up of a wire: one strand (IEC 60228 class 1), 7 or 19 strands (class 2), fine strands (classes 5 and 6)."""

WIRE_CLASSES: tuple[WireClass, ...] = get_args(WireClass)
"""Names of the classes."""


@functools.cache
def _table() -> dict[str, Any]:
    text = (importlib.resources.files("ignition") / "data" / "wire.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def clad_factor() -> float:
    """Give the highest resistance of copper-clad aluminium over that of copper of the same size [1].

    Source: ``data/wire.toml``.

    Examples
    --------
    >>> clad_factor()
    1.59
    """
    return float(_table()["copper_clad_aluminium"]["factor"])


def resistance_range(text: str, wire_class: WireClass | None = None) -> Toleranced:
    """Give the resistance of a copper wire over the theoretical one of its size [1].

    A gauge: solid wire by its diameter tolerance and tin, or the worst cable of the trade where it is higher; stranded
    and flexible wire by the make-ups of the trade. Square millimetres: the highest resistance of IEC 60228 for the
    class, metal-coated and laid up as a pair; for a size that it does not list, or without a class, that of the worst
    cable of the trade where it is higher. The low end is that of the make-up with most copper. Nominal is 1.
    Copper-clad aluminium is not copper: see :func:`clad_factor`.

    Raises InputError if the size is not understood (:func:`conductor_area`) or the class is unknown.

    Source: ``data/wire.toml``.

    Parameters
    ----------
    text : A gauge, "AWG 20", or an area, "0.75 mm2"
    wire_class : Which make-up; all of them where it is not known

    Examples
    --------
    >>> wide, narrow = resistance_range("1.5 mm2"), resistance_range("1.5 mm2", "flexible")
    >>> round(wide.high, 4), round(narrow.high, 4)
    (1.2154, 1.2062)
    """
    area = conductor_area(text)
    if wire_class is None:
        ranges = [resistance_range(text, each) for each in WIRE_CLASSES]
        if not _is_gauge(text):
            ranges.append(_up_to(_table()["square_millimetres"]["trade"]))
        return Toleranced.hull(*ranges)
    if wire_class not in WIRE_CLASSES:
        raise InputError(f"a wire class must be one of {', '.join(WIRE_CLASSES)}, received {wire_class!r}")
    if not _is_gauge(text):
        return _up_to(_metric(area, wire_class))
    return _solid(area) if wire_class == "solid" else _up_to(_table()[wire_class]["factor"])


def _is_gauge(text: str) -> bool:
    return text.strip().upper().startswith("AWG")


def _up_to(factor: float) -> Toleranced:
    return Toleranced(low=_table()["least"]["factor"], nominal=1.0, high=factor)


def _metric(area: float, wire_class: str) -> float:
    """Highest resistance of a size in mm2 over the theoretical one."""
    table = _table()["square_millimetres"]
    for listed, ohms_per_kilometre in zip(table["area"], table[wire_class], strict=True):
        if math.isclose(listed * 1e-6, area, rel_tol=1e-9):
            return float(table["laid_up"] * ohms_per_kilometre * 1e-3 * area / COPPER_RESISTIVITY)
    return float(table["trade"])


def _solid(area: float) -> Toleranced:
    """Solid drawn wire of a gauge: the tolerance of its diameter, the best copper, the poorest tinned wire."""
    table = _table()["solid"]
    diameter = math.sqrt(4.0 * area / math.pi)
    share = max(table["diameter_tolerance"], table["least_diameter_tolerance"] / diameter)
    tinned = next(row["factor"] for row in table["tinned"] if diameter >= row["diameter"])
    return Toleranced(
        low=1.0 / (1.0 + share) ** 2 / table["best_conductivity"],
        nominal=1.0,
        high=max(tinned / (1.0 - share) ** 2, table["trade"]),
    )
