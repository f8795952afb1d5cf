"""The verb `cluster`, as typer runs it."""

from __future__ import annotations

import json

import typer
from typer.testing import CliRunner

from ignition.cli.cluster import cluster
from ignition.errors import InputError

WORDS = [
    "--battery", "lithium-polymer 2S, polarisation none", "--readings", "open 8.02 V, loaded 7.61 V, load 3.3 ohm ± 5 %, temperature 15 degC",
    "--igniter", "1.1 ohm, all-fire 0.9 A 50 ms 0.999 at 0.95, time constant 12 ms, spent open, temperature coefficient 0 / K, no-fire 0.25 A", "--lead", "AWG 20, 8 m", "--trials", "100",
    "--brown-out", "none", "--trip", "none", "--fuse", "none",
]  # fmt: skip


def run(*words: str) -> tuple[int, str, BaseException | None]:
    """Exit status, output and error of a call."""
    app = typer.Typer(rich_markup_mode=None)
    app.command()(cluster)
    done = CliRunner().invoke(app, [*WORDS, *words])
    return done.exit_code, done.stdout, done.exception


def test_exit_status_is_the_verdict() -> None:
    """0 for a number that passes, 1 for one that does not, and the first word says it."""
    for count, status, word in (("2", 0, "PASS"), ("20", 1, "FAIL")):
        code, text, _ = run("--count", count)
        assert code == status and text.startswith(word)


def test_json_is_one_object() -> None:
    """--json prints one object and nothing else."""
    code, text, _ = run("--count", "2", "--json")
    assert code == 0 and json.loads(text)["strings"] == [1, 1]
    code, text, _ = run("--count", "2", "--arrangement", "series", "--json")
    assert code == 1 and json.loads(text)["strings"] == [2]  # the first bridge to open ends the other's current


def test_mistake_is_an_input_error() -> None:
    """A wrong text ends as the package's own error, which the command line turns into status 2."""
    _, _, error = run("--ambient", "5")
    assert isinstance(error, InputError) and "--ambient" in str(error)
