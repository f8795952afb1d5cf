"""What the package offers: its modules, and the functions and classes each of them defines for others."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from types import ModuleType
from typing import Any

import ignition

__all__ = ["all_modules", "is_command_line", "public_objects"]


def all_modules() -> list[ModuleType]:
    """Every module of the package, the package itself first."""
    found = pkgutil.walk_packages(ignition.__path__, "ignition.")
    names = sorted(info.name for info in found if not info.name.endswith("__main__"))
    return [importlib.import_module(name) for name in ["ignition", *names]]


def is_command_line(module: ModuleType) -> bool:
    """Whether a module holds the commands, whose text is written for the reader of `--help`."""
    return module.__name__ in ("ignition.cli.main", "ignition.cli.cluster")


def public_objects(module: ModuleType) -> Iterator[tuple[str, Any]]:
    """Public functions and classes that a module itself defines, decorated ones included; none of a private module."""
    if any(part.startswith("_") for part in module.__name__.split(".")):
        return
    for name, value in vars(module).items():
        if name.startswith("_") or getattr(value, "__module__", None) != module.__name__:
            continue
        if inspect.isclass(value) or inspect.isfunction(inspect.unwrap(value) if callable(value) else value):
            yield name, value
