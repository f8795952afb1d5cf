"""The plugin that refuses skipped tests in CI, run on small test files of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

SKIPS = {
    "inside a test": "import pytest\ndef test_one():\n    pytest.skip('no ngspice here')\n",
    "by a mark": "import pytest\n@pytest.mark.skipif(True, reason='no ngspice here')\ndef test_one(): pass\n",
    "in a fixture": (
        "import pytest\n@pytest.fixture\ndef tool(): pytest.skip('no ngspice here')\ndef test_one(tool): pass\n"
    ),
    "of the module": "import pytest\npytest.skip('no ngspice here', allow_module_level=True)\n",
}


def run_pytest(folder: Path, source: str, ci: str) -> subprocess.CompletedProcess[str]:
    """Run pytest with nothing but the plugin on one file."""
    (folder / "test_made_up.py").write_text(source, encoding="utf-8")
    (folder / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "tests.plugins.no_skips", "-p", "no:cacheprovider", "-q", "-rs", "."],
        cwd=folder,
        env={**os.environ, "CI": ci, "PYTHONPATH": str(ROOT), "PYTEST_ADDOPTS": "", "PYTEST_XDIST_WORKER": ""},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize("kind", SKIPS)
def test_skip_fails_in_ci(tmp_path: Path, kind: str) -> None:
    """With CI=true every kind of skip ends the run as failed, and the reason of the skip is printed."""
    done = run_pytest(tmp_path, SKIPS[kind], ci="true")
    assert done.returncode != 0, done.stdout
    assert "which is a failure when CI=true" in done.stdout
    assert "no ngspice here" in done.stdout


def test_skip_is_allowed_on_a_desk(tmp_path: Path) -> None:
    """Without CI a contributor who lacks a program gets a skip."""
    done = run_pytest(tmp_path, SKIPS["inside a test"], ci="")
    assert done.returncode == 0, done.stdout
    assert "1 skipped" in done.stdout


def test_passes_and_expected_failures_are_left_alone(tmp_path: Path) -> None:
    """The plugin changes neither a passing test nor an expected failure."""
    source = "import pytest\ndef test_one(): pass\n@pytest.mark.xfail(strict=True)\ndef test_two(): assert False\n"
    done = run_pytest(tmp_path, source, ci="true")
    assert done.returncode == 0, done.stdout
    assert "1 passed, 1 xfailed" in done.stdout
