"""What fails only because of a value that the file does not give is not known to fail: UNKNOWN, its key named."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from ignition.circuit.complete import eased, judged
from ignition.circuit.model import Circuit
from ignition.findings.finding import Finding, Reason, Verdict, worst_verdict

__all__ = ["blamed"]

Judge = Callable[[Circuit], Iterable[Finding]]
Prepare = Callable[[Sequence[Circuit]], None]
Identity = tuple[str | None, ...]


def blamed(circuit: Circuit, judge: Judge, prepare: Prepare = lambda circuits: None) -> tuple[Finding, ...]:
    """Judge a circuit, and make of each failure that assumed values alone bring about an UNKNOWN that names the keys.

    A failure is put down to assumptions where it is none with all of them at their best plausible values, for its own
    question or, as a fuse that opens in the strongest current, for the other one. The keys named are those without
    which, at their worst, it fails again; or, where none is by itself, the fewest that make it pass together.

    Parameters
    ----------
    prepare : Told of circuits that will be judged next, for an analysis that is quicker for many at once
    """
    circuit = judged(circuit)
    prepare([circuit])
    found, assumed = tuple(judge(circuit)), {a.key for a in circuit.assumptions}
    for own in (True, False):
        for direction in ("safe", "fire"):
            failing = {f.identity for f in found if f.verdict == "FAIL" and (f.question.direction == direction) is own}
            causes = _causes(circuit, judge, prepare, direction, failing) if failing else {}
            found = tuple(_unknown(f, causes[f.identity], assumed) if f.identity in causes else f for f in found)
    return found


def _causes(
    circuit: Circuit, judge: Judge, prepare: Prepare, direction: str, failing: set[Identity]
) -> dict[Identity, list[str]]:
    """List the keys behind each failure that is none with them at their best, and those that it still lacks then."""

    def judged_at(*choices: frozenset[str]) -> list[tuple[Finding, ...]]:
        circuits = [eased(circuit, direction, keys) for keys in choices]
        prepare(circuits)
        return [tuple(judge(one)) for one in circuits]

    def gone(found: Iterable[Finding]) -> set[Identity]:
        now = _verdicts(found)
        return {identity for identity in failing if now.get(identity, "FAIL") != "FAIL"}

    keys = frozenset(a.key for a in circuit.assumptions)
    keys = frozenset(key for key in keys if eased(circuit, direction, frozenset({key})) != circuit)
    best = judged_at(keys)[0] if keys else ()
    passing = gone(best)
    if not passing:
        return {}
    ordered = sorted(keys)
    without = dict(zip(ordered, map(gone, judged_at(*(keys - {key} for key in ordered))), strict=True))
    causes = {one: [key for key, others in without.items() if one not in others] for one in passing}
    shared = {one for one, named in causes.items() if not named}
    if shared:  # each of several assumptions is enough by itself: the fewest that have to be given together
        for key in sorted(keys):
            if shared <= gone(judged_at(keys - {key})[0]):
                keys -= {key}
        causes |= dict.fromkeys(shared, sorted(keys))
    lacking = {one: [key for f in best if f.identity == one for key in f.keys] for one in passing}
    return {one: list(dict.fromkeys((*named, *lacking[one]))) for one, named in causes.items()}


def _verdicts(found: Iterable[Finding]) -> dict[Identity, Verdict]:
    """The worst verdict of each identity."""
    groups: dict[Identity, list[Finding]] = {}
    for finding in found:
        groups.setdefault(finding.identity, []).append(finding)
    return {identity: worst_verdict(group) for identity, group in groups.items()}


def _unknown(finding: Finding, causes: list[str], assumed: set[str]) -> Finding:
    if finding.verdict != "FAIL":
        return finding
    return replace(
        finding,
        verdict="UNKNOWN",
        reason=Reason.MISSING_KEY,
        keys=tuple(causes),
        rests_on=tuple(dict.fromkeys((*finding.rests_on, *(key for key in causes if key in assumed)))),
        says=f"{finding.says}: fails only with the worst plausible value of what is not given",
    )
