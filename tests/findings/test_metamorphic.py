"""What may not change a verdict does not, and what is worse makes none better: all examples, and circuits at random."""

from __future__ import annotations

import math
import tomllib
from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Any

import pytest

from ignition.analyses.firing.findings import firing_findings
from ignition.analyses.firing.firing import firing
from ignition.analyses.no_fire.findings import no_fire_findings
from ignition.analyses.no_fire.steady import NoFire, no_fire
from ignition.analyses.verdict import check
from ignition.circuit.description import Description
from ignition.circuit.examples import example_names, example_text
from ignition.circuit.model import Circuit
from ignition.findings.finding import Finding, Reason
from tests.circuit.varied import varied_text
from tests.findings import metamorphic as m

RANDOM, BLOCKS = 100, 5
SIZES = ((1, 3), (1, 2), (1, 4), (2, 2), (1, 2), (1, 3), (1, 2), (1, 3), (1, 2))
"""Most channels and igniters of the random circuits, in turn."""
BETTER = {"FAIL": 0, "UNKNOWN": 1, "PASS": 2}
SAME = 1e-9
SEARCHED = {("gate-rating", "switch-on"): 0.01, ("switch-on-below-function", "switch-on"): 1e-3}
"""Relative slack of what a search over corners finds, which allows for 2 % that it may miss."""
Found = dict[tuple[str | None, ...], list[tuple[int, float]]]


def told(findings: Iterable[Finding], suffix: str = "") -> Found:
    """Verdict and margin of each finding, by rule, channel and phase; igniters are not told apart: their order may change.

    A ratio that does not exist, as that to no current at all, is without bound; that of an unknown value is as good.
    """
    found: Found = defaultdict(list)
    for f in findings:
        channel = None if f.channel is None else f.channel.removesuffix(suffix)
        margin = math.inf if f.margin is None else f.margin
        found[f.rule, channel, f.phase].append((BETTER[f.verdict], margin))
    return {key: sorted(members) for key, members in found.items()}


def same(key: tuple[str | None, ...], one: float, other: float) -> bool:
    """Whether two margins are the same."""
    return one == other or math.isclose(one, other, rel_tol=SAME)


def assert_same(where: str, before: Found, after: Found) -> None:
    """Every verdict and every margin is the same."""
    assert before.keys() == after.keys(), (where, before.keys() ^ after.keys())
    for key, members in before.items():
        assert [v for v, _ in members] == [v for v, _ in after[key]], (where, key, members, after[key])
        for (_, one), (_, other) in zip(members, after[key], strict=True):
            assert same(key, one, other), (where, key, one, other)


def by_identity(findings: Iterable[Finding]) -> dict[tuple[str | None, ...], tuple[int, float, Finding]]:
    """Worst verdict and least margin of each finding."""
    found: dict[tuple[str | None, ...], tuple[int, float, Finding]] = {}
    for f in findings:
        margin = math.inf if f.margin is None else f.margin
        other = found.get(f.identity, (BETTER["PASS"], math.inf, f))
        found[f.identity] = (min(BETTER[f.verdict], other[0]), min(margin, other[1]), f)
    return found


def assert_no_better(where: str, before: list[Finding], after: list[Finding]) -> None:
    """No verdict and no margin is better.

    Only that of a channel whose gate drive fails now: where the data sheet ends nothing else is known to fail.
    """
    one, other = by_identity(before), by_identity(after)
    undriven = {f.channel for f in after if f.rule == "gate-drive" and f.verdict == "FAIL"}
    for key, (verdict, margin, finding) in one.items():
        assert key in other, (where, key)
        wider_verdict, wider_margin, wider = other[key]
        if wider.reason is Reason.OUTSIDE_DATA_SHEET and (wider.channel in undriven or wider.channel is None):
            assert wider.verdict == "UNKNOWN"
            continue
        assert wider_verdict <= verdict, (where, finding, wider)
        known = finding.margin is not None or (finding.value is not None and finding.limit is not None)
        if known and wider.margin is not None and not same(key[1:], margin, wider_margin):
            assert wider_margin < (1.0 + SEARCHED.get((finding.rule, finding.phase or ""), 0.0)) * margin, (
                where,
                finding,
                wider,
            )


def everything(circuit: Circuit) -> list[Finding]:
    """All findings, as `check` gives them."""
    return list(check(circuit).findings)


def unblamed(circuit: Circuit, quiet: NoFire, *, fires: bool) -> list[Finding]:
    """Findings of no-fire and firing before failures are put down to assumptions: that takes a hundred times as long."""
    return [*no_fire_findings(circuit, quiet), *(firing_findings(circuit, firing(circuit)) if fires else ())]


def uncommanded(quiet: NoFire) -> dict[tuple[str, str, str], float]:
    """Every highest current while nobody commands."""
    found = {}
    for channel in quiet.channels:
        for phase in channel.phases:
            currents = {i.igniter: i.current for i in phase.igniters}
            currents |= {"line": phase.line.current, "into a short": phase.into_short.current}
            found |= {(channel.channel, phase.phase, what): current for what, current in currents.items()}
    return found


def assert_never_lower(where: str, before: NoFire, after: NoFire) -> None:
    """No current while nobody commands is lower.

    To 1e-4: beside a MOSFET that conducts, the clamp of a controller on a weak battery takes microamperes more.
    """
    strong = uncommanded(after)
    for key, current in uncommanded(before).items():
        assert strong[key] >= current * (1.0 - 1e-4), (where, key, current, strong[key])


def wider(given: Description, places: list[tuple[Any, ...]]) -> Circuit | None:
    """The circuit with several tolerances wider; without the ambient where that leaves what is known of a battery."""
    found = given
    for at in places:
        found = m.widened(found, at)
    return m.circuit_of(found) or m.circuit_of(found.model_copy(update={"ambient": given.ambient}))


NEUTRAL: dict[str, Callable[[m.Table], m.Table]] = {
    "strings": m.reversed_strings,
    "igniters": m.reversed_igniters,
    "channels": m.reversed_channels,
    "feed": m.reversed_feed,
    "tables": m.reversed_tables,
    "names": m.renamed,
    "units": m.other_units,
}
SUFFIX = " [1]. x"


def the(circuit: Circuit | None) -> Circuit:
    """A circuit that is complete."""
    assert circuit is not None
    return circuit


@pytest.mark.parametrize("name", ["demo", "cold-cluster", "kelp-line-cutter"])
def test_each_way_to_write_an_example(name: str) -> None:
    """Order, names, units, and a part as two halves in series change no verdict and no margin of the whole check."""
    table = tomllib.loads(example_text(name))
    given = m.given_of(table)
    before = told(everything(the(m.circuit_of(given))))
    for what, change in NEUTRAL.items():
        if repr(change(table)) == repr(table):
            continue
        after = told(everything(the(m.circuit_of(m.given_of(change(table))))), SUFFIX)
        assert_same(f"{name}, {what}", before, after)
    halves = m.split_feed(given)
    assert len(halves.feed) > len(given.feed)
    assert_same(f"{name}, halves", before, told(everything(the(m.circuit_of(halves)))))


@pytest.mark.parametrize("name", example_names())
def test_examples_written_otherwise(name: str) -> None:
    """In every way at once: no verdict and no margin of the whole check is another."""
    table = otherwise = tomllib.loads(example_text(name))
    for change in NEUTRAL.values():
        otherwise = change(otherwise)
    before = told(everything(the(m.circuit_of(m.given_of(table)))))
    after = told(everything(the(m.circuit_of(m.split_feed(m.given_of(otherwise))))), SUFFIX)
    assert_same(name, before, after)


@pytest.mark.parametrize("name", example_names())
def test_examples_of_wider_tolerance(name: str) -> None:
    """All tolerances wider together, and every ninth of them alone: no verdict and no margin is better."""
    given = m.given_of(tomllib.loads(example_text(name)))
    before = everything(the(m.circuit_of(given)))
    places = m.leaves(given)
    assert len(places) > 8
    for some in [places, *([at] for at in places[::9])]:
        assert_no_better(f"{name}, {some}", before, everything(the(wider(given, some))))


@pytest.mark.parametrize("name", example_names())
def test_examples_of_a_stronger_battery(name: str) -> None:
    """More voltage behind less resistance lowers no current while nobody commands."""
    given = m.given_of(tomllib.loads(example_text(name)))
    strong = m.stronger(given)
    assert strong != given
    assert_never_lower(name, no_fire(the(m.circuit_of(given))), no_fire(the(m.circuit_of(strong))))


@pytest.mark.parametrize("block", range(BLOCKS))
def test_random_circuits(block: int) -> None:
    """Written otherwise in every way at once; then all tolerances wider, or one; or a stronger battery.

    Held to the findings of no-fire, and of firing in every fourth circuit.
    """
    for seed in range(block * RANDOM // BLOCKS, (block + 1) * RANDOM // BLOCKS):
        table = tomllib.loads(varied_text(900 + seed, *SIZES[seed % len(SIZES)]))
        given = m.given_of(table)
        circuit, fires = the(m.circuit_of(given)), seed % 4 == 1
        quiet = no_fire(circuit)
        before = unblamed(circuit, quiet, fires=fires)
        for change in NEUTRAL.values():
            table = change(table)
        otherwise = the(m.circuit_of(m.split_feed(m.given_of(table))))
        same_again = unblamed(otherwise, no_fire(otherwise), fires=fires)
        assert_same(f"seed {seed}", told(before), told(same_again, SUFFIX))
        if seed % 3 == 2:
            assert_never_lower(f"seed {seed}", quiet, no_fire(the(m.circuit_of(m.stronger(given)))))
            continue
        places = m.leaves(given)
        some = places if seed % 3 else [places[(7 * seed) % len(places)]]
        wide = the(wider(given, some))
        assert_no_better(f"seed {seed}, {some}", before, unblamed(wide, no_fire(wide), fires=fires))
