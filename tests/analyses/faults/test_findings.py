"""What single faults are judged to be: made-up currents and counts against their limits, and what carries no PASS."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import pytest

from ignition.analyses.faults.findings import single_fault_findings
from ignition.analyses.faults.results import Faults, PhaseFaults
from ignition.analyses.faults.single import SingleFaults, WorstFault
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.findings.compare import Doubt
from ignition.findings.finding import Finding, Reason
from tests.analyses.faults.boards import board

LIMIT = """
[[rules.limit]]
name = "own"
kind = "faults to fire at least"
faults = {faults}
phases = ["disarmed", "armed"]
source = "house rule"
date = "2026"
"""

DRAWS = Doubt(reason=Reason.MISSING_KEY, says="not said what it draws", keys=("controller.current",))


def circuit(faults: int = 2) -> Circuit:
    """The bench circuit, its no-fire current 0.2 A, with a limit of its own."""
    return parse_circuit(board() + LIMIT.format(faults=faults), "own.toml")


def worst(phase: str, current: float, limit: float, **changes: str | tuple[str, ...]) -> WorstFault:
    """A worst fault of the only channel."""
    one = WorstFault(
        channel="line", phase=phase, fault="line.upper short", igniter="line.igniter 1.1", kind="match",
        controller="alive", current=current, limit=limit, unsolved=(),
    )  # fmt: skip
    return replace(one, **changes)  # type: ignore[arg-type]


def single(
    disarmed: WorstFault | None = None,
    path: WorstFault | None = None,
    fewest: Mapping[str, Literal[0, 1, 2]] | None = None,
    unsolved: Mapping[str, tuple[str, ...]] | None = None,
    left_out: Mapping[str, str] | None = None,
) -> SingleFaults:
    """Made-up single faults, by default far within every limit."""
    return SingleFaults(
        disarmed=(disarmed or worst("disarmed", 1e-6, 0.2),),
        test_path=(path or worst("armed", 1e-6, 0.02),),
        points=(),
        fewest={"disarmed": 2, "armed": 2} | dict(fewest or {}),
        unsolved=dict(unsolved or {}),
        left_out=left_out or {},
    )


def counted(fewest: int | None, unsolved: int | None = None) -> Faults:
    """A made-up count of all sets of up to two faults, the same while disarmed and armed."""
    phases = tuple(
        PhaseFaults(phase=phase, faults=(), fewest=fewest, unsolved=unsolved, pairs=0, recurring={})
        for phase in ("disarmed", "armed")
    )
    return Faults(circuit="own", order=2, pin_limit=1e-3, phases=phases, inhibits=(), left_out={})


def judged(
    found: SingleFaults, rule: str, faults: int = 2, draws: Doubt | None = None, **more: Faults
) -> list[Finding]:
    """Findings of one rule."""
    count = more.get("count")

    def sets() -> Faults:
        assert count is not None, "pairs are asked for where two faults are enough"
        return count

    every = single_fault_findings(circuit(faults), found, sets, draws=draws)
    return [one for one in every if one.rule == rule]


@pytest.mark.parametrize(("current", "verdict"), [(0.2, "FAIL"), (0.1999, "PASS")])
def test_a_no_fire_current_is_not_reached(current: float, verdict: str) -> None:
    """At the no-fire current of 0.2 A an igniter may function: a current while disarmed stays below it."""
    (finding,) = judged(single(disarmed=worst("disarmed", current, 0.2)), "single-fault-disarmed")
    assert finding.verdict == verdict and finding.value == current and finding.limit == 0.2


@pytest.mark.parametrize(("current", "verdict"), [(0.02, "PASS"), (0.0201, "FAIL")])
def test_a_monitor_current_may_be_reached(current: float, verdict: str) -> None:
    """The largest monitor current itself is allowed, under a fault of the test path too."""
    (finding,) = judged(single(path=worst("armed", current, 0.02)), "single-fault-test-path")
    assert finding.verdict == verdict and "line.upper short" in finding.says
    assert finding.source == "common practice: 0.1 of the lowest no-fire current of 'match', 0.2 A"


def test_no_fault_of_the_test_path_while_a_lone_channel_fires() -> None:
    """Nobody is left whom no one commands: no current, which is within the limit; in other phases nothing is known."""
    (firing,) = judged(single(path=worst("firing", 0.0, 0.02, fault="")), "single-fault-test-path")
    assert firing.verdict == "PASS" and "which none drives" in firing.says
    (armed,) = judged(single(path=worst("armed", 0.0, 0.02, fault="")), "single-fault-test-path")
    assert armed.verdict == "UNKNOWN" and armed.reason is Reason.NOT_ANALYSED


def test_a_fault_that_is_not_solved_is_no_pass() -> None:
    """Whichever finding it belongs to says so and is UNKNOWN."""
    path, disarmed = worst("armed", 1e-6, 0.02, unsolved=("a", "b")), worst("disarmed", 1e-6, 0.2, unsolved=("c",))
    found = single(disarmed=disarmed, path=path, unsolved={"disarmed": ("c",)})
    for rule, named in (("single-fault-test-path", "a, b"), ("single-fault-disarmed", "c")):
        (finding,) = judged(found, rule)
        assert (finding.verdict, finding.reason) == ("UNKNOWN", Reason.NOT_SOLVED)
        assert finding.says.endswith(f"not solved for {named}")
    disarmed_count, armed_count = judged(found, "own")
    assert (disarmed_count.verdict, disarmed_count.reason) == ("UNKNOWN", Reason.NOT_SOLVED)
    assert disarmed_count.says.endswith("not solved for c") and armed_count.verdict == "PASS"


def test_what_a_controller_draws_is_in_doubt_while_disarmed_and_in_the_count() -> None:
    """Neither passes without the key; a current or count beyond its limit fails in spite of it."""
    (disarmed,) = judged(single(), "single-fault-disarmed", draws=DRAWS)
    assert (disarmed.verdict, disarmed.keys) == ("UNKNOWN", ("controller.current",))
    passed, failed = judged(single(fewest={"armed": 1}), "own", draws=DRAWS)
    assert (passed.verdict, passed.keys, failed.verdict) == ("UNKNOWN", ("controller.current",), "FAIL")
    (path,) = judged(single(), "single-fault-test-path", draws=DRAWS)
    assert path.verdict == "PASS"


@pytest.mark.parametrize(
    ("powered_by", "current", "keys"),
    [
        ("before arm switch", "", ()),
        ("after arm switch", "", ("controller.current",)),
        ("after arm switch", 'current = "20 mA"\n', ()),
    ],
)
def test_the_file_says_what_the_controller_draws(powered_by: str, current: str, keys: tuple[str, ...]) -> None:
    """Asked for where the controller comes after the arm switch, and only there."""
    text = board(powered_by=powered_by).replace('dropout = "0.3 V"\n', f'dropout = "0.3 V"\n{current}')
    found = single_fault_findings(parse_circuit(text, "draws.toml"), single())
    (finding,) = [one for one in found if one.rule == "single-fault-disarmed"]
    assert finding.keys == keys and finding.verdict == ("UNKNOWN" if keys else "PASS")


@pytest.mark.parametrize(("fewest", "verdict"), [(0, "FAIL"), (1, "FAIL"), (2, "PASS")])
def test_single_faults_tell_whether_it_takes_two(fewest: Literal[0, 1, 2], verdict: str) -> None:
    """A limit of two is met where no single fault fires; no pair has to be asked for."""
    disarmed, armed = judged(single(fewest={"armed": fewest}), "own")
    assert (disarmed.phase, disarmed.verdict, disarmed.value, disarmed.limit) == ("disarmed", "PASS", 2.0, 2.0)
    assert (armed.phase, armed.verdict, armed.value) == ("armed", verdict, float(fewest))


@pytest.mark.parametrize(("fewest", "verdict", "value"), [(1, "FAIL", 1.0), (2, "FAIL", 2.0), (None, "PASS", 3.0)])
def test_a_limit_of_three_asks_for_pairs(fewest: int | None, verdict: str, value: float) -> None:
    """Where no pair fires it takes three or more; otherwise it is as many as the sets say."""
    for finding in judged(single(), "own", faults=3, count=counted(fewest)):
        assert (finding.verdict, finding.value) == (verdict, value)


def test_pairs_that_are_not_solved_are_no_pass() -> None:
    """None of those solved fires, which is not that none does."""
    for finding in judged(single(), "own", faults=3, count=counted(None, unsolved=2)):
        assert (finding.verdict, finding.reason) == ("UNKNOWN", Reason.NOT_SOLVED)
        assert finding.says.endswith("some sets of faults are not solved")


def test_a_no_fire_statement_that_says_too_little_carries_no_count() -> None:
    """Without reliability and confidence the no-fire current bounds nothing, so that no count of faults passes."""
    said = ", reliability = 0.999, confidence = 0.95 }\nall_fire"
    text = (board() + LIMIT.format(faults=2)).replace(said, " }\nall_fire")
    findings = list(single_fault_findings(parse_circuit(text, "own.toml"), single(), draws=None))
    assert {f.reason for f in findings if f.rule == "own"} == {Reason.BELOW_REQUIRED_RELIABILITY}
    assert {f.verdict for f in findings if f.rule == "own"} == {"UNKNOWN"}


def test_what_the_file_leaves_out_is_told() -> None:
    """Each reason once, beside how many faults are left out; nothing where none is."""
    out = {"a": "sealed", "b": "sealed", "c": "potted"}
    for rule in ("single-fault-disarmed", "single-fault-test-path", "own"):
        for finding in judged(single(left_out=out), rule):
            assert finding.says.endswith("; left out by the file, 3: sealed, potted")
        assert not [f for f in judged(single(), rule) if "left out" in f.says]


def test_a_list_without_faults_counts_nothing() -> None:
    """Where every fault is left out none was found to fire, which is no proof that it takes two, or three."""
    nothing = single(disarmed=worst("disarmed", 0.0, 0.2, fault=""), path=worst("armed", 0.0, 0.02, fault=""))
    for found in (judged(nothing, "own"), judged(nothing, "own", faults=3, count=counted(None))):
        assert [(f.verdict, f.reason) for f in found] == [("UNKNOWN", Reason.NOT_ANALYSED)] * 2
    beside = replace(single(), disarmed=(worst("disarmed", 1e-6, 0.2), worst("disarmed", 0.0, 0.2, fault="")))
    assert {f.verdict for f in judged(beside, "own")} == {"UNKNOWN"}  # of one channel nothing was looked at
    started = single(disarmed=worst("disarmed", 0.0, 0.2, fault=""), fewest={"disarmed": 0, "armed": 0})
    assert {f.verdict for f in judged(started, "own")} == {"FAIL"}  # it fires with nothing broken
