"""Every public docstring is a contract: summary, each parameter with its unit, what returns, an example that runs."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from tests.docstring_contract import faults_of, sections
from tests.surface import all_modules, is_command_line, public_objects

# Here every public function shows an example: these are the laws and values that others build on.
WITH_EXAMPLES = ("ignition.parts", "ignition.toleranced", "ignition.circuit")


def test_public_docstrings_keep_the_contract() -> None:
    """Every public function and class outside the command line keeps the docstring contract."""
    found = []
    for module in all_modules():
        if is_command_line(module):
            continue
        needs_example = module.__name__.startswith(WITH_EXAMPLES)
        for name, value in public_objects(module):
            found += [f"{module.__name__}.{name}: {fault}" for fault in faults_of(value, needs_example=needs_example)]
    assert not found, f"{len(found)} faults\n" + "\n".join(found)


def good(current: float, *, label: str = "") -> float:
    """Twice the current.

    Parameters
    ----------
    current : Current [A]

    Returns
    -------
    Current [A]

    Examples
    --------
    >>> good(1.0)
    2.0
    """
    return 2.0 * current


def bare(current: float) -> None:
    """Only a summary."""


def no_unit(current: float, width: tuple[float, float]) -> None:
    """Units are missing.

    Parameters
    ----------
    current : float
        Current in ampere.
    width : tuple[float, float]
        Both widths.
    """


def unknown(current: float) -> float:
    """A name that is no parameter, and nothing on what returns

    Parameters
    ----------
    current, voltage : float
        Current [A].
    """
    return current


def two_lines() -> None:
    """A summary that
    runs on.
    """


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Good:
    """A value and its method.

    Attributes
    ----------
    resistance : float
        Resistance [ohm].
    """

    resistance: float

    def half(self) -> float:
        """Half of it."""
        return self.resistance / 2


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Undocumented:
    resistance: float


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Faulty:
    """A value without its field."""

    resistance: float

    def half(self) -> float:
        return self.resistance / 2


@pytest.mark.parametrize(
    ("value", "faults"),
    [
        (good, []),
        (Good, []),
        (bare, ["parameter current is not documented under Parameters"]),
        (
            no_unit,
            [
                "parameter current is a number without a unit in brackets, such as [A] or [1]",
                "parameter width is a number without a unit in brackets, such as [A] or [1]",
            ],
        ),
        (
            unknown,
            [
                "the summary line does not end with a period",
                "documents voltage, which is no parameter",
                "returns a number without a unit in brackets, in the summary or under Returns",
            ],
        ),
        (two_lines, ["the summary line does not end with a period", "the summary is longer than one line"]),
        (Undocumented, ["no docstring"]),
        (
            Faulty,
            [
                "parameter resistance is not documented under Parameters or Attributes",
                "method half has no docstring",
            ],
        ),
    ],
)
def test_checker_finds_faults(value: Callable[..., Any] | type, faults: list[str]) -> None:
    """The contract's checker names each fault of a made-up docstring and passes good ones."""
    assert faults_of(value) == faults


def test_checker_asks_for_an_example() -> None:
    """Where examples are due, a function without one is named; a class is not."""
    assert faults_of(good, needs_example=True) == []
    assert faults_of(two_lines, needs_example=True)[-1] == "no example (>>>)"
    assert faults_of(Good, needs_example=True) == []


def test_sections_are_told_apart() -> None:
    """A section starts at an underlined heading and ends at the next one."""
    found = sections("Sum.\n\nParameters\n----------\na : int\n    One.\n\nReturns\n-------\nint\n")
    assert list(found) == ["", "Parameters", "Returns"]
    assert found["Parameters"] == ["a : int", "    One.", ""]
