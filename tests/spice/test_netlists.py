"""Decks of a circuit as files."""

from __future__ import annotations

from pathlib import Path

import pytest

from ignition.circuit.file import parse_circuit
from ignition.errors import InputError
from ignition.spice.netlists import netlist_texts, write_netlists
from ignition.spice.ngspice import run_deck
from tests.spice.test_crosscheck import CIRCUIT


def test_every_deck_runs(tmp_path: Path) -> None:
    """All decks of a circuit are written and run; a second writing gives the same bytes and spares other files."""
    circuit = parse_circuit(CIRCUIT)
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    paths = write_netlists(circuit, tmp_path)
    assert {
        "armed_line_intact.cir",
        "firing_line_function_times.cir",
        "switch_on_line_igniter_1_1_driven_low_edge_10_ns.cir",
    } <= {p.name for p in paths}
    before = {p: p.read_bytes() for p in paths}
    for path in paths:
        assert run_deck(before[path].decode("ascii")).plots
    assert write_netlists(circuit, tmp_path) == paths
    assert {p: p.read_bytes() for p in paths} == before
    assert {p.name for p in tmp_path.iterdir()} == {p.name for p in paths} | {"mine.txt"}


def test_hostile_names_stay_in_the_folder(tmp_path: Path) -> None:
    """Channel, feed part and title of any text give safe file names and decks that run."""
    text = CIRCUIT.replace('name = "line"', 'name = "../../shell \\n.control \\u00fc/x"')
    text = text.replace('title = "Bench"', 'title = ".control\\nshell rm /tmp/x/y \\"q\\""')
    text = text.replace('name = "arm switch"', 'name = "0\\r\\n.include /etc/passwd"')
    folder = tmp_path / "decks"
    paths = write_netlists(parse_circuit(text, name="`x`\n.end"), folder)
    assert list(tmp_path.iterdir()) == [folder]
    assert sorted(folder.iterdir()) == sorted(paths)
    for path in paths:
        assert path.name.removesuffix(".cir").replace("_", "").isalnum()
        assert run_deck(path.read_text(encoding="ascii")).plots


def test_names_equal_but_for_signs_give_two_sets() -> None:
    """Channels whose names differ only in signs get decks of their own."""
    channel = CIRCUIT[CIRCUIT.index("[[channel]]") :]
    text = CIRCUIT + channel.replace('"line"', '"LINE"') + channel.replace('"line"', '"line."')
    single = len(netlist_texts(parse_circuit(CIRCUIT)))
    names = list(netlist_texts(parse_circuit(text)))
    assert len(names) == len({n.lower() for n in names})
    assert sum("intact" in n for n in names) == 9
    assert len(names) > single


def test_header_says_what_it_is() -> None:
    """A deck starts with its title and header comments."""
    deck = netlist_texts(parse_circuit(CIRCUIT, name="bench.toml"))["armed_line_intact.cir"]
    lines = deck.splitlines()
    assert lines[0] == "Bench: armed, line intact"
    assert lines[1:4] == ["* Circuit: Bench", "* File: bench.toml", "* All values at nominal. SI units."]
    assert lines[-2:] == [".op", ".end"]


def test_folder_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    """A file in the place of the folder, or a folder in the place of a deck, is refused; nothing is written."""
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be written"):
        write_netlists(parse_circuit(CIRCUIT), tmp_path / "file")
    blocked = tmp_path / "blocked"
    (blocked / "armed_line_intact.cir").mkdir(parents=True)
    with pytest.raises(InputError, match="is no ordinary file"):
        write_netlists(parse_circuit(CIRCUIT), blocked)
    assert [p.name for p in blocked.iterdir()] == ["armed_line_intact.cir"]
