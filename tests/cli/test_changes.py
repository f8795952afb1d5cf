"""`--set` on every verb that reads a circuit file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from ignition.circuit.examples import example_text
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND
from tests.cli.in_process import told

VERBS = {
    "check": [], "firing": ["--trials", "0"], "continuity": [], "holdoff": [], "faults": [],
    "diagnose": ["--reading", "line=5"], "divider": [], "header": ["--json"], "netlist": ["-o", "decks"], "crosscheck": [],
}  # fmt: skip


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_takes_it(verb: str, tmp_path: Path) -> None:
    """A key that does not exist stops each of them before anything is computed or written."""
    file = tmp_path / "pad.toml"
    file.write_text(SOUND, encoding="utf-8")
    done = told(verb, file.name, *VERBS[verb], "--set", "channel.lines.pulse=1 s", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "channel has no member 'lines'; did you mean 'line'" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["pad.toml"]


def test_what_it_prints_is_that_of_a_file_with_the_value(tmp_path: Path) -> None:
    """All numbers of `firing`; the name alone tells that a value was changed."""
    texts = {"pad.toml": SOUND, "other.toml": edited(SOUND, ('distance = "3 m"', 'distance = "5 m"'))}
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    changed, written = (
        json.loads(told("firing", name, "--trials", "0", "--json", *more, folder=tmp_path).stdout)
        for name, more in (("pad.toml", ["--set", "channel.line.lead.distance=5 m"]), ("other.toml", []))
    )
    assert changed.pop("circuit") == "pad.toml with channel.line.lead.distance = 5 m"
    assert written.pop("circuit") == "other.toml"
    assert changed == written
    assert (tmp_path / "pad.toml").read_text(encoding="utf-8") == SOUND


@pytest.mark.parametrize("verb", ["check", "faults", "continuity"])
def test_not_for_a_netlist(verb: str, tmp_path: Path) -> None:
    """A netlist has its values in its own two files."""
    file = tmp_path / "board.cir"
    file.write_text(example_text("demo"), encoding="utf-8")
    done = told(verb, file.name, "--roles", file.name, "--set", "title=x", folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "--set changes a circuit file" in done.stderr
