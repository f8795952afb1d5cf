"""Example circuits that travel with the package."""

from __future__ import annotations

from importlib import resources

from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.errors import InputError, did_you_mean

__all__ = ["DEMO", "example_names", "example_text", "example_title", "load_example"]

DEMO = "demo"
"""Name of the example that ``ignition demo`` checks."""


def example_names() -> tuple[str, ...]:
    """List the names of the example circuits.

    Examples
    --------
    >>> example_names()[0]
    'demo'
    """
    files = resources.files("ignition.data.examples").iterdir()
    names = sorted(f.name.removesuffix(".toml") for f in files if f.name.endswith(".toml") and "roles" not in f.name)
    return (DEMO, *(n for n in names if n != DEMO))


def example_text(name: str) -> str:
    """Return the text of an example circuit file.

    Raises InputError when there is no such example.

    Parameters
    ----------
    name : One of `example_names`

    Examples
    --------
    >>> example_text("demo").splitlines()[0].startswith("#")
    True
    """
    names = example_names()
    if name not in names:
        offered = did_you_mean(name, names)
        raise InputError(f"no example is called {name!r}; {offered}{offered and ' '}there are: {', '.join(names)}")
    return resources.files("ignition.data.examples").joinpath(f"{name}.toml").read_text(encoding="utf-8")


def example_title(name: str) -> str:
    """Return the first comment line of an example: what it shows.

    Parameters
    ----------
    name : One of `example_names`

    Examples
    --------
    >>> len(example_title("demo")) > 10
    True
    """
    return example_text(name).splitlines()[0].lstrip("# ").strip()


def load_example(name: str) -> Circuit:
    """Return an example circuit.

    Parameters
    ----------
    name : One of `example_names`

    Examples
    --------
    >>> load_example("demo").name
    'demo.toml'
    """
    return parse_circuit(example_text(name), name=f"{name}.toml")
