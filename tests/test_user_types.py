"""What a type checker knows of the package in a user's own script."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import ignition

ROOT = Path(__file__).parents[1]
SCRIPT = """
import ignition

circuit = ignition.load_circuit("pad.toml")
reveal_type(circuit)
reveal_type(ignition.continuity(circuit).channels[0].no_fire_margin)
reveal_type(ignition.Toleranced)
circuit.no_such_part
ignition.check("pad.toml")
"""


def test_names_of_the_package_have_their_types(tmp_path: Path) -> None:
    """Every public name has the type of the object that it loads, and a mistake in its use is found."""
    script = tmp_path / "script.py"
    loose = "".join(f"ignition.{name}.no_such_attribute\n" for name in ignition.__all__)
    script.write_text(SCRIPT + loose)
    words = [sys.executable, "-m", "mypy", "--strict", "--config-file=", f"--cache-dir={tmp_path}", script.name]
    done = subprocess.run(
        words, cwd=tmp_path, env={"MYPYPATH": str(ROOT)}, capture_output=True, text=True, timeout=300, check=False
    )
    revealed = re.findall(r'Revealed type is "(.*)"', done.stdout)
    assert revealed[0] == "ignition.circuit.model.Circuit", done.stdout + done.stderr
    assert revealed[1] == "float | None"
    assert "Toleranced" in revealed[2]
    assert '"Circuit" has no attribute "no_such_part"' in done.stdout
    assert 'Argument 1 to "check" has incompatible type "str"; expected "Circuit"' in done.stdout
    untyped = [name for name in ignition.__all__ if f":{_line(script, name)}: error" not in done.stdout]
    assert not untyped, f"a type checker takes these names for Any: {untyped}"


def _line(script: Path, name: str) -> int:
    """Line of the script that misuses a name."""
    return script.read_text().splitlines().index(f"ignition.{name}.no_such_attribute") + 1
