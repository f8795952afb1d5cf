"""Fault modes by kind of part, as the table in `data/faults.toml` has them."""

from __future__ import annotations

import functools
import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Annotated

from ignition.toleranced import Toleranced, parse_toleranced
from ignition.typing import BARE

__all__ = ["FaultMode", "fault_modes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultMode:
    """One way in which a kind of part fails.

    Attributes
    ----------
    share : Fraction of the part's failures that show it [1]; None where no source gives one
    basis : Whose word it is
    resistance : Of the path that it makes [ohm]; None for a short
    scale : Ends of the part's value over its own [1]; None where the mode is no drift
    """

    kind: str
    mode: str
    says: str
    basis: str
    share: Annotated[float | None, BARE] = None
    resistance: Toleranced | None = None
    scale: tuple[float, float] | None = None


@functools.cache
def fault_modes() -> dict[tuple[str, str], FaultMode]:
    """Return all modes by kind and name.

    Examples
    --------
    >>> fault_modes()["resistor", "short"].share
    0.05
    """
    table = tomllib.loads(resources.files("ignition.data").joinpath("faults.toml").read_text(encoding="utf-8"))
    return {(kind, mode): _mode(kind, mode, entry) for kind, modes in table.items() for mode, entry in modes.items()}


def _mode(kind: str, mode: str, entry: dict[str, object]) -> FaultMode:
    values = dict(entry)
    resistance, scale = values.pop("resistance", None), values.pop("scale", None)
    return FaultMode(
        kind=kind,
        mode=mode,
        resistance=None if resistance is None else parse_toleranced(str(resistance), "ohm"),
        scale=None if not isinstance(scale, list) else (float(scale[0]), float(scale[1])),
        **values,  # type: ignore[arg-type]
    )
