"""The files of the repository: none points outside it, all that a wheel needs is there, CI runs the test command."""

from __future__ import annotations

import os
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

# Written in pieces, so that this file does not contain them itself.
FORBIDDEN = (
    "../sha" + "red",
    "/sha" + "red/",
    "/wor" + "k/",
    "/tm" + "p/v/",
    "/tm" + "p/brief",
    "seed docu" + "ment",
    "transc" + "ript",
    "REFERENC" + "ES.md",
    "USE" + "RS.md",
    "STY" + "LE.md",
    "DESI" + "GN.md",
)


def repository_files() -> list[str]:
    """Every file that is or would be committed."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    return sorted(name for name in listed.stdout.split("\0") if name and (ROOT / name).is_file())


def mentions(text: bytes) -> list[str]:
    """The forbidden strings that a file's content holds, whatever their case."""
    lower = text.lower()
    return [word for word in FORBIDDEN if word.lower().encode() in lower]


def test_no_file_points_outside_the_repository() -> None:
    """No file names a folder of one machine or a document that a reader of the repository does not have."""
    names = repository_files()
    assert "tests/test_repository.py" in names
    found = [
        f"{name}: {word}" for name in names for word in mentions(name.encode() + b"\n" + (ROOT / name).read_bytes())
    ]
    assert not found, "\n" + "\n".join(found)


@pytest.mark.parametrize("word", FORBIDDEN)
def test_each_forbidden_string_is_found(word: str) -> None:
    """The search finds each of its strings in running text, in upper case too."""
    assert word in mentions(f"see {word} there".encode())
    assert word in mentions(f"see {word.upper()} there".encode())


def test_wheel_carries_what_is_no_python() -> None:
    """Nothing that the package reads at run time is hidden from the wheel by .gitignore."""
    on_disk = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "ignition").rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert "ignition/py.typed" in on_disk
    assert on_disk <= set(repository_files())


def test_ci_runs_the_test_command_of_the_readme() -> None:
    """CI runs `scripts/test` and nothing else, the README prints that command, and both files can be run."""
    commands = [
        line
        for line in (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()
        if line and not line.startswith(("#", "set ", "cd "))
    ]
    assert commands == ["exec scripts/test"]
    assert "scripts/test" in (ROOT / "README.md").read_text(encoding="utf-8")
    for name in (".ci/run", "scripts/test", "scripts/check"):
        assert os.access(ROOT / name, os.X_OK), f"{name} is not executable"


def test_core_needs_no_optional_package() -> None:
    """Drawing packages and the second simulator interface stay extras; every extra that the tests install exists."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    core = {line.split(">=")[0].lower() for line in project["dependencies"]}
    assert core == {"numpy", "scipy", "pint", "pydantic", "typer", "rich", "eseries"}
    assert {"spice", "report", "notebooks", "test"} <= set(project["optional-dependencies"])
