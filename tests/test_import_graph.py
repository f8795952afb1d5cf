"""Imports point downward through the layers, without cycles, and heavy packages load only when used."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.import_graph import Import, cycle, imports_of, misplaced, package_modules, upward

ROOT = Path(__file__).parents[1] / "ignition"
LAZY = ("PySpice", "jinja2", "matplotlib", "pint", "schemdraw", "scipy.optimize", "scipy.sparse", "scipy.stats")


def all_imports(modules: dict[str, str], packages: set[str]) -> list[Import]:
    """The imports of every module."""
    return [
        item for name, text in modules.items() for item in imports_of(name, text, modules, is_package=name in packages)
    ]


@pytest.fixture(scope="module")
def modules() -> dict[str, str]:
    """Every module of the package with its source."""
    found = package_modules(ROOT)
    assert {"ignition.errors", "ignition.typing", "ignition.parts"} <= set(found)
    return found


@pytest.fixture(scope="module")
def imports(modules: dict[str, str]) -> list[Import]:
    """Every import of the package."""
    packages = {".".join(path.parent.relative_to(ROOT.parent).parts) for path in ROOT.rglob("__init__.py")}
    return all_imports(modules, packages)


def test_imports_point_downward(imports: list[Import]) -> None:
    """No module imports from a layer above its own, not even inside a function."""
    faults = upward(imports)
    assert not faults, "\n" + "\n".join(faults)


def test_no_cycles(imports: list[Import], modules: dict[str, str]) -> None:
    """No two modules need each other, not even inside functions."""
    found = cycle(imports, modules)
    assert not found, "import cycle: " + " -> ".join(found)


def test_heavy_packages_stay_at_their_place(imports: list[Import]) -> None:
    """Units, drawing and simulator packages are imported by the module in charge only, when it needs them."""
    faults = misplaced(imports)
    assert not faults, "\n" + "\n".join(faults)


MADE_UP = {
    "ignition": "",
    "ignition.errors": "",
    "ignition.typing": "",
    "ignition.units": "import pint\n",
    "ignition.parts": "",
    "ignition.parts.battery": "def law():\n    from ..network.solution import solve\n",
    "ignition.parts.igniter": "import scipy.stats as st\nfrom ignition.parts import conductor\n",
    "ignition.parts.conductor": "def size():\n    from .igniter import law\n    from matplotlib import pyplot\n",
    "ignition.network": "",
    "ignition.network.solution": (
        "from typing import TYPE_CHECKING\n"
        "from ignition.errors import InputError\n"
        "if TYPE_CHECKING:\n    from ignition.report.text import page\n"
    ),
    "ignition.report": "",
    "ignition.report.text": "class Page:\n    from scipy import stats\ndef page():\n    import jinja2\n",
    "ignition.extra": "from ignition import errors\n",
}


def test_checker_finds_upward_imports() -> None:
    """Upward imports are found in functions, in relative form and under a typing guard; a new module needs a rank."""
    found = upward(all_imports(MADE_UP, {"ignition", "ignition.parts", "ignition.network", "ignition.report"}))
    assert found == [
        "ignition.parts.battery:2: layer 3 imports ignition.network.solution of layer 5",
        "ignition.network.solution:4: layer 5 imports ignition.report.text of layer 20",
        "ignition.extra:1: ignition.extra stands in no layer; give it a rank in RANKS",
    ]


def test_checker_finds_cycles() -> None:
    """A cycle that closes through an import inside a function is found."""
    found = cycle(all_imports(MADE_UP, {"ignition.parts"}), MADE_UP)
    assert set(found) == {"ignition.parts.igniter", "ignition.parts.conductor"}


def test_checker_finds_misplaced_packages() -> None:
    """A heavy package at module or class level, or in the wrong layer, is found; one inside a function passes."""
    found = misplaced(all_imports(MADE_UP, {"ignition.parts"}))
    assert [line.partition(";")[0] for line in found] == [
        "ignition.units:1: imports pint at module level",
        "ignition.parts.igniter:1: imports scipy.stats at module level",
        "ignition.parts.conductor:3: imports matplotlib.pyplot",
        "ignition.report.text:2: imports scipy.stats at module level",
    ]


def run_python(source: str) -> str:
    """What a fresh interpreter prints when it runs this text; a failure shows its traceback."""
    done = subprocess.run([sys.executable, "-c", source], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


BLOCK = f"import sys\nfor name in {LAZY!r}: sys.modules[name] = None\n"


def test_package_imports_without_heavy_packages() -> None:
    """`import ignition` works where none of the heavy packages can be imported."""
    assert run_python(BLOCK + "import ignition\nprint(ignition.__name__)") == "ignition"


def test_package_loads_no_heavy_package() -> None:
    """`import ignition` loads none of the heavy packages where they are installed."""
    assert run_python(f"import sys, ignition\nprint(sorted(set({LAZY!r}) & set(sys.modules)))") == "[]"


def test_every_module_imports_without_heavy_packages(modules: dict[str, str]) -> None:
    """Every single module can be imported where none of the heavy packages can."""
    names = [name for name in modules if not name.endswith("__main__")]
    source = (
        f"{BLOCK}import importlib\n"
        f"for name in {names!r}:\n"
        "    try: importlib.import_module(name)\n"
        "    except ImportError as error: print(f'{name}: {error}')\n"
    )
    assert run_python(source) == ""
