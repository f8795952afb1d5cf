"""Fixtures shared by all tests."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest_plugins = ["tests.plugins.no_skips", "tests.plugins.profiles"]

DATA = Path(__file__).parent / "data"


def load_published() -> dict[str, Any]:
    """All published check values: one folder of TOML files, merged; a key stands in one file only."""
    merged: dict[str, Any] = {}
    for path in sorted((DATA / "published").glob("*.toml")):
        for key, entry in tomllib.loads(path.read_text(encoding="utf-8")).items():
            assert key not in merged, f"{path.name}: key {key} stands in two files"
            merged[key] = entry
    return merged


@pytest.fixture(scope="session")
def published() -> Callable[[str], dict[str, Any]]:
    """Look up a published value by dotted key; the entry holds value, unit, tolerance and source."""
    merged = load_published()

    def entry(key: str) -> dict[str, Any]:
        node: Any = merged
        for part in key.split("."):
            node = node[part]
        assert "source" in node, f"{key} has no source"
        return node  # type: ignore[no-any-return]

    return entry
