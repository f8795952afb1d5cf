"""Conservative defaults for what a circuit file leaves out, each recorded as an assumption."""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Callable
from importlib import resources
from typing import Any, TypeVar

from ignition.circuit.model import Assumption
from ignition.toleranced import Toleranced, parse_toleranced

__all__ = ["Ledger", "default_entry"]

Worst = TypeVar("Worst")
Best = TypeVar("Best")


@functools.cache
def _entries() -> dict[str, dict[str, Any]]:
    text = resources.files("ignition.data").joinpath("defaults.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def default_entry(name: str) -> dict[str, Any]:
    """Return one entry of the table of defaults.

    Parameters
    ----------
    name : Entry of ``data/defaults.toml``

    Returns
    -------
    Its value text, if any, and its uses

    Examples
    --------
    >>> default_entry("dropout")["value"]
    '0.3 V'
    """
    return _entries()[name]


class Ledger:
    """Collects assumptions while a description is made complete; one entry for each key and direction.

    Parameters
    ----------
    eased : For a what-if: the direction in which the default of a key is taken at its best plausible value, not at its
        worst; None to leave it at that
    judged : Whether a verdict is to rest on it: then what is shown as if it were none is taken at its worst too
    """

    def __init__(self, eased: Callable[[str], str | None] = lambda key: None, *, judged: bool = False) -> None:
        self._eased, self._judged = eased, judged
        self._found: dict[tuple[str, str], Assumption] = {}

    def note(self, key: str, entry: str, **values: str) -> None:
        """Record the uses of a default without taking a value from it.

        Parameters
        ----------
        key : Dotted key of the circuit file that would replace the default
        entry : Entry of the table of defaults
        **values : Texts that replace the entry's own value or basis, keyed ``value`` or ``basis``
        """
        for use in default_entry(entry)["uses"]:
            told = {name: text for name, text in use.items() if name != "best"}
            self._found[key, use["direction"]] = Assumption(key=key, **(told | values))

    def take(self, given: Toleranced | None, key: str, entry: str, unit: str) -> Toleranced:
        """Return the given value, or the default with its assumption recorded [`unit`].

        Parameters
        ----------
        given : What the file gave [`unit`]
        key, entry : Key of the circuit file and entry of the table of defaults
        """
        if given is not None:
            return given
        self.note(key, entry)
        default, direction = default_entry(entry), self._eased(key)
        best = {use["direction"]: use["best"] for use in default["uses"] if "best" in use}
        if direction is None or not best:
            worst = default["value"]
            return parse_toleranced(worst if self._judged else default.get("shown", worst), unit)
        return parse_toleranced(best.get(direction) or next(iter(best.values())), unit)

    def number(self, given: float | None, key: str, entry: str) -> float:
        """Return the given plain number, or the default's nominal value with its assumption recorded [1]."""
        return self.take(None, key, entry, "1").nominal if given is None else given

    def choose(self, key: str, entry: str, *, worst: Worst, best: Best) -> Worst | Best:
        """Record a default that is no range, and return the worst case; its best one where the ledger is eased."""
        self.note(key, entry)
        return worst if self._eased(key) is None else best

    @property
    def assumptions(self) -> tuple[Assumption, ...]:
        """All recorded assumptions, in order of the first use."""
        return tuple(self._found.values())
