"""Names of channels and parts where two circuits are compared: one that is renamed, and keys as they are set."""

from __future__ import annotations

import io
import json
from pathlib import Path

from rich.console import Console

from ignition.analyses.study.comparison import Renamed, compare_circuits
from ignition.analyses.verdict import check
from ignition.circuit.file import parse_circuit
from ignition.report.comparison_text import comparison_text
from ignition.report.json_walk import to_json
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND
from tests.cli.in_process import told

START, END = SOUND.index("[[channel]]"), SOUND.index("[checklist]")
LINE = SOUND[START:END]
OLD = parse_circuit(SOUND, "old.toml")


def lines(*names: str) -> str:
    """The cutter with lines of these names."""
    return SOUND[:START] + "".join(edited(LINE, ('"line"', f'"{name}"')) for name in names) + SOUND[END:]


def test_a_renamed_channel_is_told_as_that() -> None:
    """One key differs, the name; no question is gone or new, no value moved, no threshold."""
    new = parse_circuit(lines("row.2"), "new.toml")
    found = compare_circuits(OLD, new)
    assert found.renamed == Renamed(old="line", new="row.2")
    assert [(one.key, one.old, one.new) for one in found.keys] == [("channel.line.name", "line", "row.2")]
    assert (found.findings, found.thresholds) == ((), ())
    assert found.same == len(check(new).findings)
    out = io.StringIO()
    comparison_text(found, Console(file=out, width=200))
    assert "Channel 'line' is renamed 'row.2'; nothing else of it differs.\n" in out.getvalue()
    assert json.loads(to_json(found))["renamed"] == {"old": "line", "new": "row.2"}
    again = compare_circuits(new, new)
    assert again.renamed is None and json.loads(to_json(again))["renamed"] is None and again.keys == ()
    out = io.StringIO()
    comparison_text(again, Console(file=out, width=200))
    assert "renamed" not in out.getvalue()


def test_what_moves_beside_a_new_name() -> None:
    """A weaker battery: findings of the channel, its igniter and its lead stand under the new name, compared with the old."""
    volts = ('"8.0 V .. 8.2 V .. 8.4 V"', '"7.0 V .. 8.2 V .. 8.4 V"')
    renamed = compare_circuits(OLD, parse_circuit(edited(lines("row"), volts), "new.toml"))
    plain = compare_circuits(OLD, parse_circuit(edited(SOUND, volts), "plain.toml"))
    assert {(one.change, one.rule) for one in renamed.findings} == {(one.change, one.rule) for one in plain.findings}
    assert len(plain.findings) == len(renamed.findings) > 0 and renamed.same == plain.same
    places = {place for one in renamed.findings for place in (one.channel, one.igniter, one.part) if place}
    assert "row.igniter 1.1" in places and not [place for place in places if "line" in place]
    moved = [(one.below, one.above, one.old, one.new) for one in renamed.thresholds]
    assert moved == [(one.below, one.above, one.old, one.new) for one in plain.thresholds] and moved
    assert {one.channel for one in renamed.thresholds} == {"row"}


def test_parts_of_the_feed_keep_their_names() -> None:
    """A fuse called as the channel was is the fuse it was."""
    fuse = ('name = "key"\nkind = "interlock"', 'name = "line"\nkind = "fuse"\nrating = "5 A"')
    found = compare_circuits(
        parse_circuit(edited(SOUND, fuse), "old.toml"), parse_circuit(edited(lines("row"), fuse), "new.toml")
    )
    assert found.renamed == Renamed(old="line", new="row") and found.findings == ()
    assert [one.key for one in found.keys] == ["channel.line.name"]


def test_what_is_no_new_name() -> None:
    """Another pulse beside it, a channel more, a channel less, or two of them: told as gone and new."""
    two = parse_circuit(lines("a", "b"), "two.toml")
    for old, new in (
        (OLD, parse_circuit(edited(lines("row"), ('"500 ms"', '"400 ms"')), "pulse.toml")),
        (OLD, parse_circuit(lines("line", "row"), "more.toml")),
        (OLD, two),
        (two, parse_circuit(lines("a"), "less.toml")),
        (two, OLD),
        (two, parse_circuit(lines("c", "d"), "both.toml")),
    ):
        found = compare_circuits(old, new)
        assert found.renamed is None
        assert {one.change for one in found.findings} & {"gone", "new"}
    kept = compare_circuits(two, parse_circuit(lines("row", "b"), "one.toml"))
    assert kept.renamed == Renamed(old="a", new="row") and kept.findings == ()


def test_thresholds_of_a_channel_that_only_one_has() -> None:
    """They are told whichever of the two has it."""
    more, less = (parse_circuit(lines(*names), "lines.toml") for names in (("a", "b"), ("a",)))
    for old, new, gone in ((more, less, True), (less, more, False)):
        found = compare_circuits(old, new).thresholds
        assert found and {one.channel for one in found} == {"b"}
        assert {(one.new if gone else one.old) is None for one in found} == {True}
        assert any((one.old if gone else one.new) is not None for one in found)


def test_keys_are_written_as_they_are_set(tmp_path: Path) -> None:
    """Names with a dot stand in quotes: the key that is told is one that --set takes, of lists and of tables."""
    body = edited(
        SOUND, ('"key"', '"key.1"'), ("[mosfet.low_side]", '[mosfet."low.side"]'), ('"low_side"', '"low.side"'),
        ("[igniter.match]", '[igniter."match \\" 1"]'), ('[["match"]]', '[["match \\" 1"]]'), ('"line"', '"line.1"'),
        ("[controller]", '[[load]]\nname = "lamp.1"\ncurrent = "10 mA"\n\n[controller]'),
    )  # fmt: skip
    (tmp_path / "pad.toml").write_text(body, encoding="utf-8")
    old = parse_circuit(body, "pad.toml")
    values = {
        'feed."key.1".resistance': "12 mohm",
        'load."lamp.1".current': "20 mA",
        "igniter.'match \" 1'.time_constant": "11 ms",
        'mosfet."low.side".gate_rating': "13 V",
        'channel."line.1".pulse': "600 ms",
    }
    changed = [part for key, value in values.items() for part in ("--set", f"{key}={value}")]
    result = told("compare", "pad.toml", *changed, "--json", folder=tmp_path)
    found = {one["key"]: one["new"] for one in json.loads(result.stdout)["keys"]}
    assert found == values
    again = compare_circuits(old, old.with_values(dict(found)))
    assert {one.key: one.new for one in again.keys} == values


def test_names_that_begin_with_another() -> None:
    """The keys of 'match' and of 'match.b' are told apart."""
    start, end = SOUND.index("[igniter.match]"), SOUND.index("[mosfet.low_side]")
    other = SOUND[start:end].replace("[igniter.match]", '[igniter."match.b"]')
    body = SOUND[:start] + other + SOUND[start:]
    old = parse_circuit(body, "old.toml")
    values = {'igniter."match.b".spent': "short", "igniter.match.time_constant": "11 ms"}
    found = compare_circuits(old, old.with_values(dict(values)))
    assert {one.key: one.new for one in found.keys} == values
