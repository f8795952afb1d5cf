"""Presets: what is shipped, what is chosen, and what a rule makes of a no-fire current."""

from __future__ import annotations

import math
from typing import get_args

import pytest

from ignition.analyses.verdict import check
from ignition.circuit.description import RULE_NAMES, PresetName
from ignition.circuit.examples import example_names, load_example
from ignition.circuit.file import parse_circuit
from ignition.findings.presets import Rule, presets, rule_limit, rules, rules_in_use
from tests.circuit.sound import SOUND

OWN = """
[[rules.limit]]
name = "club monitor"
kind = "monitor current at most"
current = "4 mA .. 5 mA .. 6 mA"
share_of_no_fire = 0.05
source = "club rules, 4"
date = "2026-03-01"

[[rules.limit]]
name = "club firing"
kind = "firing current at least"
current = "1.8 A .. 2 A .. 2.2 A"
share_of_all_fire = 2.0
source = "club rules, 5"
date = "2026-03-02"
"""


def a_rule(share: float | None = None, energy: float | None = None, current: float | None = None) -> Rule:
    """A rule on the monitor current."""
    return Rule(
        id="one", quantity="monitor current", says="x", source="us", source_date="2026", share_of_no_fire=share,
        share_of_no_fire_energy=energy, current=current,
    )  # fmt: skip


def test_no_shipped_rule_is_missing_among_their_names() -> None:
    """What an own limit may not be called: every rule of a preset and of the findings of every example."""
    found = {f.rule for name in example_names() for f in check(load_example(name)).findings}
    assert {r.id for r in rules()} | found <= set(RULE_NAMES)
    second = {"test-below-no-fire", "bus-converter-range", "bus-pin-clamp-current", "pull-up-pin-current"}
    assert set(RULE_NAMES) - found <= second


def test_the_file_may_choose_what_is_shipped() -> None:
    """The names that a circuit file takes are those of the presets; each has a document and a date, and rules."""
    assert {p.name for p in presets()} == set(
        get_args(PresetName.__value__ if hasattr(PresetName, "__value__") else PresetName)
    )
    for preset in presets():
        assert preset.document and preset.title and preset.date != "n.d."
        chosen = rules((preset.name,))
        assert chosen and all(r.source.startswith(preset.document) and r.source_date == preset.date for r in chosen)


def test_chosen_presets_bring_their_rules_alone() -> None:
    """No preset, no rule; none chosen, all of them; each rule once."""
    assert rules(()) == ()
    every = rules()
    assert len({r.id for r in every}) == len(every) == sum(len(rules((p.name,))) for p in presets())
    assert {r.id for r in rules(("hobby high power",))} == {
        "interlock-in-series",
        "switch-returns-to-off",
        "misfire-wait",
    }


@pytest.mark.parametrize(
    ("rule", "no_fire", "limit"),
    [
        (a_rule(share=0.1), 0.2, 0.02),
        (a_rule(energy=0.25), 0.2, 0.1),  # half the current has a quarter of the energy
        (a_rule(current=0.05), 0.2, 0.05),
        (a_rule(share=0.2, current=0.05), 0.2, 0.04),
        (a_rule(share=0.2, current=0.05), 0.5, 0.05),
        (a_rule(energy=0.1, current=0.05), 0.2, 0.05),
        (a_rule(energy=0.1, current=0.05), 0.1, 0.1 * math.sqrt(0.1)),
        (a_rule(share=0.2, current=0.05), None, 0.05),
        (a_rule(share=0.2), None, None),
        (a_rule(share=0.2), 0.0, 0.0),
    ],
)
def test_the_least_of_a_rule_s_figures(rule: Rule, no_fire: float | None, limit: float | None) -> None:
    """A share of the current, the root of a share of the energy, a figure: the least that can be told."""
    assert rule_limit(rule, no_fire) == (None if limit is None else pytest.approx(limit, rel=1e-12))


@pytest.mark.parametrize(
    ("rule", "rests"), [(a_rule(share=0.1), True), (a_rule(energy=0.1), True), (a_rule(current=0.05), False)]
)
def test_what_rests_on_the_no_fire_current(rule: Rule, rests: bool) -> None:
    """A share does, of current or energy; an absolute figure does not."""
    assert rule.rests_on_no_fire is rests


def test_own_limits_take_the_strict_end() -> None:
    """Of a monitor limit the low end, of a firing limit the high end; source and date are the file's."""
    circuit = parse_circuit(SOUND.replace("[rules]\n", "[rules]\n") + OWN)
    monitor, firing = rules_in_use(circuit)[-2:]
    assert (monitor.id, monitor.quantity, monitor.current) == ("club monitor", "monitor current", 4e-3)
    assert (firing.id, firing.quantity, firing.current) == ("club firing", "firing current", 2.2)
    assert (monitor.share_of_no_fire, firing.share_of_all_fire) == (0.05, 2.0)
    assert (monitor.statement.source, firing.statement.date) == ("club rules, 4", "2026-03-02")
    assert rules_in_use(circuit)[:-2] == rules(circuit.presets)
