"""Two circuits beside each other: what differs is told, what does not is counted."""

from __future__ import annotations

import functools
import io
import json
from pathlib import Path

import pytest
from rich.console import Console

from ignition.analyses.study.comparison import Comparison, compare_circuits
from ignition.analyses.verdict import check
from ignition.circuit.file import parse_circuit
from ignition.report.comparison_text import comparison_text
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND
from tests.cli.in_process import told

OLD = parse_circuit(SOUND, "old.toml")


@functools.cache
def against(*changes: tuple[str, str | None]) -> Comparison:
    """The sound circuit against itself with some values changed."""
    return compare_circuits(OLD, OLD.with_values(dict(changes)))


def test_a_circuit_against_itself() -> None:
    """Nothing differs, and all findings are counted."""
    found = compare_circuits(OLD, parse_circuit(SOUND, "again.toml"))
    assert (found.keys, found.findings, found.thresholds) == ((), (), ())
    assert found.same == len(check(OLD).findings)
    assert (found.old_verdict, found.new_verdict) == ("PASS", "PASS")


def test_a_longer_lead_halves_a_margin() -> None:
    """Twice 3 m of wire: the firing margin falls by the loop's growth; what has no lead in it stays.

    AWG 20 of any make-up has up to 1.25 times 58 S m/mm2's resistance, as the loop of the highest corner has it.
    """
    found = against(("channel.line.lead.distance", "6 m"))
    assert [(one.key, one.old, one.new) for one in found.keys] == [("channel.line.lead.distance", "3 m", "6 m")]
    fires = next(one for one in found.findings if one.rule == "above-all-fire")
    assert fires.change == "margin less"
    before, after = OLD, OLD.with_values({"channel.line.lead.distance": "6 m"})
    more = after.channels[0].lead.resistance.high - before.channels[0].lead.resistance.high
    assert more == pytest.approx(before.channels[0].lead.round_trip.high, rel=1e-9)
    assert fires.old_value is not None
    assert fires.new_value is not None
    loop = 7.0 / fires.old_value  # the lowest battery over the loop's highest resistance
    assert 7.0 / fires.new_value == pytest.approx(loop + more, rel=2e-2)
    rules = {one.rule for one in found.findings}
    assert "gate-held-off" not in rules
    assert found.same + len(found.findings) == len(check(after).findings)


def test_keys_are_told_as_they_are_set() -> None:
    """Names that hold dots are in quotes: each key can be given to --set as it is printed."""
    dotted = edited(
        SOUND.replace("igniter.match]", 'igniter."type 1.b"]').replace('"match"', '"type 1.b"'),
        ('name = "line"', 'name = "pad.1"'), ('name = "key"', 'name = "key [2]"'),
    )  # fmt: skip
    old = parse_circuit(dotted, "old.toml")
    changes = {
        'channel."pad.1".pulse': "0.4 s", 'feed."key [2]".resistance': "12 mohm",
        'igniter."type 1.b".bridge_resistance': "1.3 ohm", "mosfet.low_side.gate_rating": "10 V",
    }  # fmt: skip
    found = compare_circuits(old, old.with_values(changes))
    assert {one.key for one in found.keys} == set(changes)


def test_verdicts_come_first() -> None:
    """Without its gate capacitor the arming edge is no longer known to be safe: the worst that a change did leads."""
    found = against(("channel.line.gate.capacitor", None))
    assert (found.old_verdict, found.new_verdict) == ("PASS", "UNKNOWN")
    worst = found.findings[0]
    assert (worst.change, worst.rule) == ("worse", "switch-on-below-function")
    assert (worst.old_verdict, worst.new_verdict) == ("PASS", "UNKNOWN")
    back = compare_circuits(OLD.with_values({"channel.line.gate.capacitor": None}), OLD)
    better = next(one for one in back.findings if one.rule == "switch-on-below-function")
    assert (better.change, better.old_verdict, better.new_verdict) == ("better", "UNKNOWN", "PASS")
    less = [one.new_margin / one.old_margin for one in found.findings if one.change == "margin less" and one.old_margin and one.new_margin]  # fmt: skip
    assert less == sorted(less)


def test_thresholds_follow_the_divider() -> None:
    """Half the lower resistor, half the code: the header has to be built anew."""
    found = against(("channel.line.sense.lower", "23.5 kohm"))
    moved = {(one.below, one.above): (one.old, one.new) for one in found.thresholds}
    old, new = moved["open", "shorted"]
    assert old is not None
    assert new is not None
    # 47 of 146.8 kohm against 23.5 of 123.3 kohm
    assert new / old == pytest.approx((23.5 / 123.3) / (47.0 / 146.8), rel=0.02)


def test_a_part_more_leaves_the_keys_of_the_others_alone() -> None:
    """A connector before the others in the feed: its own keys are new, its findings too; nothing is renamed."""
    part = '[[feed]]\nname = "plug"\nkind = "connector"\nresistance = "5 mohm"\n\n[[feed]]'
    text = edited(SOUND, ("[[feed]]", part)) if SOUND.count("[[feed]]") == 1 else SOUND.replace("[[feed]]", part, 1)
    found = compare_circuits(OLD, parse_circuit(text, "plug.toml"))
    assert {one.key for one in found.keys} == {"feed.plug.name", "feed.plug.kind", "feed.plug.resistance"}
    assert all(one.old is None for one in found.keys)


def test_findings_that_come_and_go() -> None:
    """A limit of one's own is asked in one of the two only."""
    rule = '\n[[rules.limit]]\nname = "club"\nkind = "monitor current at most"\ncurrent = "5 mA"\nsource = "book"\ndate = "2026"\n'
    assert "[rules]" not in SOUND
    ruled = parse_circuit(f"{SOUND}\n[rules]{rule}", "ruled.toml")
    there, back = compare_circuits(OLD, ruled), compare_circuits(ruled, OLD)
    assert {one.change for one in there.findings if one.rule == "club"} == {"new"}
    assert {one.change for one in back.findings if one.rule == "club"} == {"gone"}
    assert all(one.new_verdict is None for one in back.findings if one.rule == "club")


def text_of(found: Comparison) -> str:
    """What a person reads."""
    told = io.StringIO()
    comparison_text(found, Console(file=told, width=200))
    return told.getvalue()


def test_text() -> None:
    """Verdicts, keys, the worst first, thresholds, and what stayed."""
    told = text_of(against(("channel.line.gate.capacitor", None), ("channel.line.lead.distance", "12 m")))
    assert "Verdict: PASS -> UNKNOWN" in told
    assert "channel.line.gate.capacitor: 10 nF -> not given" in told
    places = [told.index(f"\n{word}") for word in ("Keys that differ", "Verdicts that are worse (1)", "Margins that are less", "Margins that are more", "Firmware thresholds that moved")]  # fmt: skip
    assert places == sorted(places)
    assert "by less than is shown here" in told
    assert "Keys that differ\n  - none" in text_of(compare_circuits(OLD, OLD))


def test_command(tmp_path: Path) -> None:
    """Two files, or one with --set; the exit status is that of the new one."""
    for name, text in (("old.toml", SOUND), ("new.toml", edited(SOUND, (', capacitor = "10 nF"', "")))):
        (tmp_path / name).write_text(text, encoding="utf-8")
    two = told("compare", "old.toml", "new.toml", "--json", folder=tmp_path)
    one = told("compare", "old.toml", "--set", "channel.line.gate.capacitor=", "--json", folder=tmp_path)
    assert (two.returncode, one.returncode) == (1, 1)
    assert told("compare", "new.toml", "old.toml", folder=tmp_path).returncode == 0
    results = [json.loads(done.stdout) for done in (two, one)]
    assert results[0].pop("new") == "new.toml"
    assert results[1].pop("new") == "old.toml with channel.line.gate.capacitor = not given"
    assert results[0] == results[1]
    alone = told("compare", "old.toml", folder=tmp_path)
    assert (alone.returncode, alone.stdout) == (2, "")
    assert "give a second circuit file, or --set" in alone.stderr
