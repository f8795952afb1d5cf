"""What the repository shows of the program's output is what the program prints now."""

from __future__ import annotations

import importlib.machinery
import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from ignition.spice.ngspice import run_deck, run_operating_points

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def regenerate() -> ModuleType:
    """The script that writes the shown output."""
    loader = importlib.machinery.SourceFileLoader("regenerate", str(ROOT / "scripts" / "regenerate"))
    spec = importlib.util.spec_from_loader("regenerate", loader)
    assert spec is not None
    module = importlib.util.module_from_spec(spec)
    loader.exec_module(module)
    return module


def test_readme_shows_real_output(regenerate: ModuleType) -> None:
    """Every output block of the README is what its command prints."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert regenerate.readme(text) == text, "run scripts/regenerate and read what changed"


def test_netlists_are_regenerated_byte_for_byte(regenerate: ModuleType) -> None:
    """netlists/ holds exactly the decks that the package writes for the examples."""
    folder = ROOT / "netlists"
    stored = {str(p.relative_to(folder)): p.read_text(encoding="utf-8") for p in folder.rglob("*") if p.is_file()}
    fresh = regenerate.netlists()
    assert sorted(stored) == sorted(fresh)
    for name, text in fresh.items():
        assert stored[name] == text, f"netlists/{name}: run scripts/regenerate and read what changed"


def test_stored_netlists_run() -> None:
    """Every stored deck is accepted by ngspice: operating points in one batch, transients one by one."""
    decks = sorted((ROOT / "netlists").glob("*/*.cir"))
    steady = [p.read_text(encoding="utf-8") for p in decks if "\n.op\n" in p.read_text(encoding="utf-8")]
    moving = [p.read_text(encoding="utf-8") for p in decks if "\n.tran" in p.read_text(encoding="utf-8")]
    assert len(steady) + len(moving) == len(decks) > 100
    assert len(run_operating_points(steady)) == len(steady)
    for text in moving:
        assert run_deck(text).plot("transient").points > 100
