"""What fails only because of a value that the file does not give is not known to fail: UNKNOWN, its key named."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from ignition.circuit.complete import eased
from ignition.circuit.model import Circuit
from ignition.findings.finding import Finding, Reason

__all__ = ["blamed"]

Judge = Callable[[Circuit], Iterable[Finding]]


def blamed(circuit: Circuit, judge: Judge) -> tuple[Finding, ...]:
    """Judge a circuit, and make of each failure that an assumed value alone brings about an UNKNOWN that names the key.

    A failure is put down to assumptions where it is none with all of them at their best plausible values. The keys
    named are those without which, at their worst, it fails again; or, where none is by itself, the fewest that make it
    pass together.
    """
    found = tuple(judge(circuit))
    for direction in ("safe", "fire"):
        failing = [f for f in found if f.verdict == "FAIL" and f.rests_on and f.question.direction == direction]
        keys = frozenset(key for f in failing for key in f.rests_on)
        if not keys:
            continue
        gone = _failing(failing, judge(eased(circuit, direction, keys)))
        if not gone:
            continue
        causes: dict[tuple[str | None, ...], list[str]] = {identity: [] for identity in gone}
        for key in sorted(keys):
            still = gone - _failing(failing, judge(eased(circuit, direction, keys - {key})))
            for identity in still:
                causes[identity].append(key)
        shared = [identity for identity, named in causes.items() if not named]
        if shared:  # each of several assumptions is enough by itself: the fewest that have to be given together
            needed = _fewest(circuit, judge, direction, keys, failing, set(shared))
            causes |= {identity: needed for identity in shared}
        found = tuple(_unknown(f, causes[f.identity]) if f.identity in causes and f in failing else f for f in found)
    return found


def _failing(failing: list[Finding], fresh: Iterable[Finding]) -> set[tuple[str | None, ...]]:
    """Which of the failures are failures no more."""
    now = {f.identity: f.verdict for f in fresh}
    return {f.identity for f in failing if now.get(f.identity, "FAIL") != "FAIL"}


def _fewest(
    circuit: Circuit,
    judge: Judge,
    direction: str,
    keys: frozenset[str],
    failing: list[Finding],
    gone: set[tuple[str | None, ...]],
) -> list[str]:
    """A set of keys with which at their best the failures are gone, and of which none can be left out."""
    for key in sorted(keys):
        if gone <= _failing(failing, judge(eased(circuit, direction, keys - {key}))):
            keys -= {key}
    return sorted(keys)


def _unknown(finding: Finding, causes: list[str]) -> Finding:
    return replace(
        finding,
        verdict="UNKNOWN",
        reason=Reason.MISSING_KEY,
        keys=tuple(causes),
        says=f"{finding.says}: fails only with the worst plausible value of what is not given",
    )
