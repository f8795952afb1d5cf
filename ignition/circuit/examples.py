"""Example circuits that travel with the package."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources

from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.errors import InputError, did_you_mean

__all__ = [
    "DEMO",
    "NetlistExample",
    "example_names",
    "example_text",
    "example_title",
    "load_example",
    "netlist_example",
]

DEMO = "demo"
"""Name of the example that ``ignition demo`` checks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NetlistExample:
    """Texts of a netlist that a schematic editor wrote and of its role file, and what they show."""

    title: str
    netlist: str
    roles: str


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


def netlist_example() -> NetlistExample:
    """Return the example of a netlist with a role file.

    Examples
    --------
    >>> netlist_example().netlist.splitlines()[0]
    '.title Ridge vent actuator, board B, exported by the schematic editor'
    """
    folder = resources.files("ignition.data.examples")
    netlist, roles = (folder.joinpath(n).read_text(encoding="utf-8") for n in ("foreign.cir", "foreign_roles.toml"))
    return NetlistExample(title=roles.splitlines()[0].lstrip("# ").strip(), netlist=netlist, roles=roles)
