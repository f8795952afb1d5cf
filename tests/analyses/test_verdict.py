"""Verdicts: where a rule must not say PASS, and the limits at their edge."""

from __future__ import annotations

import dataclasses

import pytest

from ignition.analyses.firing.firing import firing
from ignition.analyses.verdict import Finding, check, judge_firing
from ignition.circuit.file import parse_circuit
from ignition.findings.presets import presets, rules
from tests.circuit.edits import CUTTER, DEMO, FED, edited
from tests.circuit.sound import SOUND

OWN = '\n[[rules.limit]]\nname = "own"\nkind = "{kind}"\n{limits}\nsource = "range book"\ndate = "2026"\n'
NO_FIRE_RULES = {
    "below-no-fire",
    "monitor-current-tenth",
    "output-leakage-20-db",
    "current-into-short",
    "test-current-energy-tenth",
}


def own(kind: str, limits: str) -> str:
    """A limit of the user's own."""
    return OWN.format(kind=kind, limits=limits)


def findings(text: str, rule: str, channel: str | None = None) -> list[Finding]:
    """Findings of one rule."""
    found = [f for f in check(parse_circuit(text)).findings if f.rule == rule]
    return [f for f in found if channel is None or f.channel == channel]


def verdicts(text: str, rule: str, channel: str | None = None) -> set[str]:
    """Verdicts of one rule."""
    return {f.verdict for f in findings(text, rule, channel)}


def fired(text: str, rule: str) -> list[Finding]:
    """Findings of one rule of the firing analysis, as the check judges it."""
    circuit = parse_circuit(text)
    return [f for f in judge_firing(circuit, firing(circuit)) if f.rule == rule]


def fired_verdicts(text: str, rule: str) -> set[str]:
    """Verdicts of one rule of the firing analysis."""
    return {f.verdict for f in fired(text, rule)}


MIXED = edited(
    DEMO,
    ('[["booster"], ["booster"], ["booster"]]', '[["booster"], ["marker"], ["marker"]]'),
    ("1.4 ohm .. 1.6 ohm .. 1.9 ohm", "30 ohm .. 31 ohm .. 32 ohm"),
    ('current = "0.22 A"', 'current = "0.005 A"'),
    ('current = "0.85 A"', 'current = "0.01 A"'),
)
"""One string of high resistance and low no-fire current beside two of low resistance, which take nearly all the current."""


def test_the_igniter_with_most_current_is_held_to_an_absolute_limit() -> None:
    """A limit in amperes is held against every igniter, not only against the one nearest to its no-fire current."""
    circuit = parse_circuit(MIXED)
    armed = check(circuit).no_fire.channels[0].phases[-1]
    assert armed.least.igniter == "boosters.igniter 1.1", (
        "the case needs this igniter to be nearest its no-fire current"
    )
    text = MIXED + own("monitor current at most", f'current = "{0.999 * armed.line.current:.9g} A"')
    assert {f.verdict for f in findings(text, "own", "boosters") if f.phase == "armed"} == {"FAIL"}


def test_one_unknown_igniter_in_a_cluster_is_unknown() -> None:
    """One igniter without a no-fire current makes its channel UNKNOWN even though its neighbours pass."""
    text = edited(
        DEMO,
        ('[["booster"], ["booster"], ["booster"]]', '[["booster"], ["marker"]]'),
        (
            'no_fire = { current = "0.30 A", duration = "300 s", reliability = 0.999, confidence = 0.95, source = "invented lot sheet", date = "2026-03" }',
            "",
        ),
    )
    result = check(parse_circuit(text))
    found = [f for f in result.findings if f.rule in NO_FIRE_RULES and f.channel == "boosters"]
    assert {f.igniter for f in found if f.verdict == "UNKNOWN"} == {"boosters.igniter 2.1"}
    assert {f.igniter for f in found if f.verdict == "PASS"} == {"boosters.igniter 1.1"}
    assert result.verdict == "UNKNOWN"


def test_a_fail_is_not_hidden_by_an_unknown() -> None:
    """Where one igniter fails and another is unknown, the channel fails."""
    text = edited(
        MIXED,
        (
            'no_fire = { current = "0.30 A", duration = "300 s", reliability = 0.999, confidence = 0.95, source = "invented lot sheet", date = "2026-03" }',
            "",
        ),
    ) + own("monitor current at most", "share_of_no_fire = 1e-6")
    armed = {f.igniter: f.verdict for f in findings(text, "own", "boosters") if f.phase == "armed"}
    assert armed == {"boosters.igniter 1.1": "FAIL", "boosters.igniter 2.1": "UNKNOWN"}


@pytest.mark.parametrize("rule", sorted(NO_FIRE_RULES))
def test_no_fire_rules_without_no_fire(rule: str) -> None:
    """Each limit that rests on the no-fire current is UNKNOWN without it, in every phase."""
    text = edited(
        CUTTER, ('no_fire = { current = "0.25 A", duration = "300 s", reliability = 0.999, confidence = 0.95 }', "")
    )
    assert verdicts(text, rule) == {"UNKNOWN"}


@pytest.mark.parametrize("rule", ["firing-current-150-percent", "functions", "pulse-length"])
def test_firing_rules_without_all_fire(rule: str) -> None:
    """Each limit that rests on the all-fire current is UNKNOWN without it; the no-fire current is no stand-in."""
    text = edited(
        CUTTER, ('all_fire = { current = "1.0 A", duration = "1 s", reliability = 0.999, confidence = 0.95 }', "")
    )
    assert verdicts(text, rule) == {"UNKNOWN"}


@pytest.mark.parametrize(
    ("kind", "limits"), [("monitor current at most", 'current = "0 A"'), ("firing current at least", 'current = "0 A"')]
)
def test_a_limit_of_nothing_is_refused(kind: str, limits: str) -> None:
    """A limit of 0 A is a mistake of the file, not a division by zero."""
    with pytest.raises(ValueError, match="current must be above 0 A"):
        parse_circuit(CUTTER + own(kind, limits))


@pytest.mark.parametrize("share", ["inf", "nan", "0", "-1.0"])
def test_a_share_that_limits_nothing_is_refused(share: str) -> None:
    """A share of infinity would pass everything."""
    with pytest.raises(ValueError, match=r"rules\.limit\[0\]\.share_of_no_fire"):
        parse_circuit(CUTTER + own("monitor current at most", f"share_of_no_fire = {share}"))


def test_own_limits_work_both_ways() -> None:
    """A user's own limits pass and fail with their source and date."""
    good = FED + own("firing current at least", "share_of_all_fire = 2.0")
    bad = FED + own("firing current at least", 'current = "40 A"')
    assert fired_verdicts(good, "own") == {"PASS"} and fired_verdicts(bad, "own") == {"FAIL"}
    finding = fired(bad, "own")[0]
    assert (finding.source, finding.source_date, finding.limit) == ("range book", "2026", 40.0)


@pytest.mark.parametrize(
    ("fuse", "verdict"),
    [
        ('kind = "fuse"\nresistance = "4 mohm"', {"UNKNOWN"}),
        ('kind = "fuse"\nresistance = "4 mohm"\nrating = "1 A"', {"UNKNOWN"}),
        ('kind = "fuse"\nresistance = "4 mohm"\nrating = "30 A"', {"PASS"}),
        ('kind = "fuse"\nresistance = "4 mohm"\nrating = "1 A"\nmelting_i2t = "1e-4 A^2 s"', {"FAIL"}),
        ('kind = "fuse"\nresistance = "4 mohm"\nrating = "1 A"\nmelting_i2t = "40 A^2 s"', {"PASS"}),
        ('kind = "resettable fuse"\nresistance = "40 mohm"\nhold_current = "1 A"', {"UNKNOWN"}),
        ('kind = "resettable fuse"\nresistance = "40 mohm"\nhold_current = "30 A"', {"PASS"}),
    ],
)
def test_a_fuse_whose_opening_cannot_be_found_is_unknown(fuse: str, verdict: set[str]) -> None:
    """A fuse without a melting integral is UNKNOWN where the firing current exceeds what it carries for good."""
    text = edited(FED, ("[[feed]]", f'[[feed]]\nname = "line fuse"\n{fuse}\n\n[[feed]]'))
    assert fired_verdicts(text, "fuse-holds") == verdict


def test_gate_held_off_needs_a_margin() -> None:
    """A gate exactly at the lowest threshold is not held off."""
    result = check(parse_circuit(DEMO))
    held = [f for f in result.findings if f.rule == "gate-held-off"]
    assert {f.phase for f in held} == {"disarmed", "reset", "armed"}
    assert all(f.limit is not None and f.value is not None and f.value < f.limit for f in held)


def test_checklist_answers() -> None:
    """Not answered is UNKNOWN, no is FAIL; an interlock in the feed answers for itself."""
    assert verdicts(CUTTER, "interlock-in-series") == {"UNKNOWN"}
    assert verdicts(CUTTER + "\n[checklist]\ninterlock_in_series = false\n", "interlock-in-series") == {"FAIL"}
    with_key = edited(
        CUTTER, ("[[feed]]", '[[feed]]\nname = "key"\nkind = "interlock"\nresistance = "4 mohm"\n\n[[feed]]')
    )
    assert verdicts(with_key, "interlock-in-series") == {"PASS"}
    assert verdicts(CUTTER + '\n[checklist]\nmisfire_wait = "59 s .. 70 s"\n', "misfire-wait") == {"FAIL"}
    assert verdicts(CUTTER + '\n[checklist]\nmisfire_wait = "60 s"\n', "misfire-wait") == {"PASS"}


def test_pulse_of_ten_function_times_and_200_ms() -> None:
    """The pulse rule takes the greater of ten function times and 200 ms, at the shortest pulse."""
    assert fired_verdicts(edited(FED, ('pulse = "2 s"', 'pulse = "199 ms .. 1 s"')), "pulse-length") == {"FAIL"}
    assert fired_verdicts(edited(FED, ('pulse = "2 s"', 'pulse = "200 ms .. 1 s"')), "pulse-length") == {"PASS"}
    slow = edited(FED, ('pulse = "2 s"', 'pulse = "200 ms"'), ('time_constant = "20 ms"', 'time_constant = "500 ms"'))
    finding = fired(slow, "pulse-length")[0]
    assert finding.verdict == "FAIL" and finding.limit is not None and finding.limit > 0.2


def test_the_chosen_presets_and_no_others() -> None:
    """A file that names presets is held to those; each finding carries a source and a date."""
    text = CUTTER + '\n[rules]\npresets = ["firework unit"]\n'
    result = check(parse_circuit(text))
    shipped = {r.id for r in rules()}
    assert {f.rule for f in result.findings} & shipped == {"current-into-short"}
    assert all(f.source and f.source_date for f in result.findings)


def test_shipped_rules_name_their_documents() -> None:
    """Every rule belongs to a preset, has a section in its source, and a figure or a question."""
    assert len({p.name for p in presets()}) == len(presets()) and all(p.document and p.date for p in presets())
    for rule in rules():
        figures = (
            "share_of_no_fire",
            "share_of_no_fire_energy",
            "share_of_all_fire",
            "current",
            "time",
            "times_function_time",
            "answer",
        )
        assert any(getattr(rule, f) is not None for f in figures), rule.id
        assert rule.source and rule.source_date and rule.says


def test_the_worst_finding_is_the_verdict() -> None:
    """FAIL stands over UNKNOWN, UNKNOWN over PASS; removing the failing findings changes nothing else."""
    result = check(parse_circuit(edited(CUTTER, (', pull_down = "10 kohm"', ""))))
    assert {f.verdict for f in result.findings} == {"PASS", "FAIL", "UNKNOWN"} and result.verdict == "FAIL"
    assert dataclasses.replace(result, findings=()).circuit == result.circuit


@pytest.mark.parametrize("position", ["before arm switch", "after arm switch"])
def test_where_the_controller_is_fed_changes_no_limit_silently(position: str) -> None:
    """A controller before or after the arm switch is held off in all phases with a sound pull-down."""
    text = edited(SOUND, ("before arm switch", position))
    assert verdicts(text, "gate-held-off") == {"PASS"} and verdicts(text, "below-no-fire") == {"PASS"}


@pytest.mark.parametrize(("breakdown", "verdict"), [("6.83 V .. 7 V", "FAIL"), ("6.8343 V", "PASS"), ("30 V", "PASS")])
def test_a_switch_that_breaks_down_fails(breakdown: str, verdict: str) -> None:
    """A breakdown below the fullest battery of 6.8 V does not hold the line off; at 20 degC it is 0.995 of the sheet's."""
    text = edited(CUTTER, ('max_junction = "150 degC"', f'max_junction = "150 degC"\nbreakdown = "{breakdown}"'))
    assert verdicts(text, "blocking-voltage") == {verdict}


def test_eight_channels_are_judged_as_one_is() -> None:
    """So many that their network is solved sparsely: each passes what one channel alone passes, and nothing fails."""
    start, end = SOUND.index("[[channel]]"), SOUND.index("[checklist]")
    one = SOUND[start:end]
    channels = "".join(one.replace('name = "line"', f'name = "line {k}"\nstart = "{k} s"') for k in range(1, 9))
    alone = {f.rule: f.verdict for f in check(parse_circuit(SOUND)).findings}
    found = check(parse_circuit(SOUND[:start] + channels + SOUND[end:])).findings
    assert {f.channel for f in found} == {None, *(f"line {k}" for k in range(1, 9))}
    assert {f.rule: f.verdict for f in found} == alone
    assert not [f for f in found if f.verdict == "FAIL"]
