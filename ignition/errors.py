"""Every error that `ignition` raises, as one tree.

::

    IgnitionError
    |-- InputError (ValueError)         a value, a file or an option that cannot be used as given
    |   |-- UnitError                   text that is no quantity, or of the wrong dimension
    |   `-- CircuitFileError            all mistakes of one circuit file, reported together
    |-- NetworkError (ArithmeticError)  a network without a unique solution; names the node or the member
    |-- NgspiceError (RuntimeError)     ngspice is absent, hung, or its run was not acceptable
    `-- NetlistError (ValueError)       a foreign netlist that is refused or not understood

A message says what is wrong, which rule it breaks, what was received and what to write instead.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = [
    "CircuitFileError",
    "IgnitionError",
    "InputError",
    "Mistake",
    "NetlistError",
    "NetworkError",
    "NgspiceError",
    "UnitError",
    "did_you_mean",
    "nearest",
]


class IgnitionError(Exception):
    """Root of every error that this package raises on purpose."""


class InputError(IgnitionError, ValueError):
    """A value, a file or an option that cannot be used as given."""


class UnitError(InputError):
    """Text that is no quantity, or a quantity of the wrong dimension."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
    """One mistake of a circuit file: where it is and what to write instead.

    Attributes
    ----------
    key : Dotted key, for example ``channel[0].lead.distance``
    line : Line of the file, from 1; None where the file gives no line
    message : What is wrong, the rule, what was received, what to write instead
    """

    key: str
    line: int | None
    message: str


class CircuitFileError(InputError):
    """All mistakes of one circuit file, each with its line and key."""

    def __init__(self, path: str, mistakes: tuple[Mistake, ...]) -> None:
        self.path = path
        self.mistakes = mistakes
        lines = [
            f"{path}:{m.line if m.line is not None else '-'}: {m.key + ': ' if m.key else ''}{m.message}"
            for m in mistakes
        ]
        count = f"{len(mistakes)} mistake{'s' if len(mistakes) != 1 else ''}"
        super().__init__("\n".join([*lines, f"{path}: {count}; nothing was computed"]))


class NetworkError(IgnitionError, ArithmeticError):
    """A network without a unique solution: floating node, loop of sources, singular member."""


class NgspiceError(IgnitionError, RuntimeError):
    """ngspice is absent, hung, or its run was not acceptable."""


class NetlistError(IgnitionError, ValueError):
    """A foreign netlist that is refused or not understood; the message names the line."""


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Find the known name that is most like another, or None where none is; capitals count only where they decide."""
    names = sorted(known)
    folded = {n.lower(): n for n in names}
    alike = difflib.get_close_matches(name, names, n=1, cutoff=0.4)
    alike += [folded[match] for match in difflib.get_close_matches(name.lower(), folded, n=1, cutoff=0.4)]
    return alike[0] if alike else None


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """Ask whether the nearest known name was meant; empty where none is like it."""
    near = nearest(name, known)
    return "" if near is None else f"did you mean {near!r}?"
