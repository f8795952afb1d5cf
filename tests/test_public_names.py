"""Each module names what it offers, in order, and offers what it names."""

from __future__ import annotations

import inspect
from types import ModuleType

import pytest

import ignition
from tests.surface import all_modules, is_command_line, public_objects


def faults(module: ModuleType) -> list[str]:
    """What is wrong with the `__all__` of one module."""
    names = getattr(module, "__all__", None)
    if names is None:
        is_package = hasattr(module, "__path__")
        return [] if is_package and not list(public_objects(module)) else ["no __all__"]
    found = []
    if list(names) != sorted(names):
        found.append(f"__all__ is not sorted; write {sorted(names)}")
    if len(set(names)) != len(names):
        found.append("__all__ names something twice")
    found += [f"__all__ names {name}, which does not exist" for name in names if not hasattr(module, name)]
    if is_command_line(module):
        return found
    defined = {name for name, _ in public_objects(module)}
    found += [f"{name} is public but not in __all__" for name in sorted(defined - set(names))]
    if not hasattr(module, "__path__"):
        found += [f"__all__ names {name}, which is imported" for name in names if is_imported(module, name)]
    return found


def is_imported(module: ModuleType, name: str) -> bool:
    """Whether a name is a function or class of this package that another of its modules defines."""
    value = getattr(module, name, None)
    home = getattr(value, "__module__", None)
    kind = inspect.isclass(value) or inspect.isfunction(value)
    return kind and isinstance(home, str) and home.startswith("ignition") and home != module.__name__


def test_every_module_names_what_it_offers() -> None:
    """`__all__` is sorted and equal to the public functions and classes of the module; constants may join."""
    found = [f"{module.__name__}: {fault}" for module in all_modules() for fault in faults(module)]
    assert not found, "\n" + "\n".join(found)


def test_names_of_the_package_resolve() -> None:
    """Every name that the package promises can be had from it, the lazily loaded ones included."""
    missing = [name for name in ignition.__all__ if getattr(ignition, name, None) is None]
    assert not missing, f"ignition.__all__ names what cannot be had: {missing}"


def made_up(text: str) -> ModuleType:
    """A module made from source text."""
    module = ModuleType("ignition.made_up")
    exec(compile(text, "made_up", "exec"), vars(module))
    return module


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("def law(): ...\n", "no __all__"),
        ("__all__ = ['b', 'a']\na = b = 1\n", "not sorted"),
        ("__all__ = ['a', 'a']\na = 1\n", "twice"),
        ("__all__ = ['gone']\n", "does not exist"),
        ("__all__ = []\ndef law(): ...\n", "law is public but not in __all__"),
        ("__all__ = []\nimport functools\n@functools.cache\ndef law(): ...\n", "law is public but not in __all__"),
        ("from ignition.errors import InputError\n__all__ = ['InputError']\n", "which is imported"),
    ],
)
def test_checker_finds_faults(text: str, fault: str) -> None:
    """Each way to get `__all__` wrong is found and named."""
    found = faults(made_up(text))
    assert len(found) == 1
    assert fault in found[0]


def test_checker_passes_a_good_module() -> None:
    """Constants, private helpers and imports beside a correct `__all__` are no fault."""
    text = (
        "from ignition.errors import InputError\n__all__ = ['LIMIT', 'law']\nLIMIT = 1\n"
        "def law(): ...\ndef _help(): ...\n"
    )
    assert faults(made_up(text)) == []
