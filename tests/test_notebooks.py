"""The notebooks run, and print what they show."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import nbformat
import pytest

FOLDER = Path(__file__).resolve().parent.parent / "notebooks"

# jupyter's own libraries warn about each other; what they warn of is not this package's
pytestmark = pytest.mark.filterwarnings("ignore")


def test_notebooks_print_what_they_show() -> None:
    """Each notebook's stored source and printed output are those of a fresh run; no cell left an error."""
    spec = importlib.util.spec_from_file_location("build", FOLDER / "build.py")
    assert spec is not None and spec.loader is not None
    build = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(build)
    assert sorted(build.NOTEBOOKS) == sorted(p.name for p in FOLDER.glob("*.ipynb"))
    for name, cells in build.NOTEBOOKS.items():
        stored = nbformat.read(FOLDER / name, as_version=4)
        assert [(c.cell_type, c.source) for c in stored.cells] == cells, f"run python notebooks/build.py for {name}"
        assert build.printed(stored) == build.printed(build.executed(cells)), (
            f"run python notebooks/build.py for {name}"
        )
