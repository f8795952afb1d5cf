"""`--set` on every verb that reads a circuit file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from ignition.circuit.examples import example_text
from ignition.cli.main import app
from ignition.errors import InputError
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

VERBS = {
    "check": [], "firing": ["--trials", "0"], "continuity": [], "holdoff": [], "faults": [],
    "diagnose": ["--reading", "line=5"], "divider": [], "header": ["--json"], "netlist": ["-o", "decks"], "crosscheck": [],
}  # fmt: skip
RUNNER = CliRunner()


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_takes_it(verb: str, tmp_path: Path) -> None:
    """A key that does not exist stops each of them before anything is computed or written."""
    file = tmp_path / "pad.toml"
    file.write_text(SOUND, encoding="utf-8")
    with pytest.raises(InputError, match="channel has no member 'lines'; did you mean 'line'"):
        RUNNER.invoke(app, [verb, str(file), *VERBS[verb], "--set", "channel.lines.pulse=1 s"], catch_exceptions=False)
    assert [path.name for path in tmp_path.iterdir()] == ["pad.toml"]


def test_what_it_prints_is_that_of_a_file_with_the_value(tmp_path: Path) -> None:
    """All numbers of `firing`; the name alone tells that a value was changed."""
    texts = {"pad.toml": SOUND, "other.toml": edited(SOUND, ('distance = "3 m"', 'distance = "5 m"'))}
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    changed, written = (
        json.loads(RUNNER.invoke(app, ["firing", str(tmp_path / name), "--trials", "0", "--json", *more]).stdout)
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
    with pytest.raises(InputError, match="--set changes a circuit file"):
        RUNNER.invoke(app, [verb, str(file), "--roles", str(file), "--set", "title=x"], catch_exceptions=False)
