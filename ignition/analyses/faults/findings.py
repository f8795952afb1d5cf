"""Findings on single faults, and on how many it takes to fire."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from ignition.analyses.faults.faults import faults
from ignition.analyses.faults.results import Faults
from ignition.analyses.faults.single import SingleFaults, WorstFault
from ignition.analyses.no_fire.heating import current_limit
from ignition.circuit.model import Circuit
from ignition.findings.compare import Doubt, Statement, compare
from ignition.findings.finding import Finding, Question, Reason
from ignition.findings.igniter import no_fire_doubt, no_fire_statement
from ignition.findings.presets import Rule, rules_in_use
from ignition.findings.values import UNDATED, left_out, resting

__all__ = ["single_fault_findings"]

_COUNTED = 2
"""Faults up to which single faults tell how many it takes: one fires, or it takes two or more [1]."""

_NOTHING_LEFT = "no fault is left that would be looked at"


def single_fault_findings(
    circuit: Circuit, found: SingleFaults, count: Callable[[], Faults] | None = None, *, draws: Doubt | None = None
) -> Iterator[Finding]:
    """Judge single faults of every channel: while disarmed, and of the test path in every phase.

    Parameters
    ----------
    count : All sets of up to two faults; by default those of the circuit's file
    draws : Why it is not known what a controller after the arm switch draws; by default whether the file says it
    """
    draws = draws or _draws(circuit)
    for one in found.disarmed:
        yield _finding(
            circuit,
            one,
            "single-fault-disarmed",
            f"highest current in {one.igniter} while disarmed under any single fault, {_named(one)}, against its "
            f"no-fire current{_less(found)}",
            no_fire_statement(circuit, one.kind),
            draws,
        )
    for one in found.test_path:
        channel = circuit.channel(one.channel)
        basis = current_limit(circuit, channel)[1]
        yield _finding(
            circuit,
            one,
            "single-fault-test-path",
            f"highest current in {one.igniter} under a single fault of divider, converter pin or second measurement, "
            f"{_named(one)}, against the largest monitor current ({basis}){_less(found)}",
            Statement(source=f"common practice: {basis}", date=UNDATED),
        )
    for rule in rules_in_use(circuit):
        if rule.faults is not None:
            yield from _counts(circuit, rule, rule.faults, found, count or (lambda: faults(circuit)), draws)


def _counts(
    circuit: Circuit, rule: Rule, asked: int, found: SingleFaults, count: Callable[[], Faults], draws: Doubt | None
) -> Iterator[Finding]:
    """Judge the fewest faults that fire in the phases of a rule; more than two are counted by all sets of that many."""
    fewest: dict[str, int] = dict(found.fewest)
    pairs: Faults | None = None
    if asked > _COUNTED:
        pairs = count()
        fewest = {phase: _more_than(most) for phase, most in pairs.fewest.items()}
    igniters = {kind for channel in circuit.channels for string in channel.strings for kind in string}
    doubts = [doubt for kind in sorted(igniters) if (doubt := no_fire_doubt(circuit, kind)) is not None]
    doubts += [] if draws is None else [draws]
    if not all(one.fault or one.unsolved for one in found.disarmed):
        doubts.append(Doubt(reason=Reason.NOT_ANALYSED, says=_NOTHING_LEFT))
    for phase in rule.phases:
        unsolved = found.unsolved.get(phase, ())
        unknown = [Doubt(reason=Reason.NOT_SOLVED, says=f"not solved for {', '.join(unsolved)}")] if unsolved else []
        if pairs is not None and pairs.phase(phase).unsolved is not None:
            unknown.append(Doubt(reason=Reason.NOT_SOLVED, says="some sets of faults are not solved"))
        yield compare(
            Question.SINGLE_FAULTS,
            rule.id,
            float(fewest[phase]),
            "at least",
            float(asked),
            "1",
            says=f"fewest simultaneous faults that may fire an igniter nobody commands{_less(found)}",
            statement=rule.statement,
            doubt=next(iter([*doubts, *unknown]), None),
            phase=phase,
            rests_on=resting(circuit, "safe"),
        )


def _more_than(count: int | None) -> int:
    """No pair fires: it takes three or more."""
    return _COUNTED + 1 if count is None else count


def _named(one: WorstFault) -> str:
    return one.fault or "which none drives"


def _less(found: SingleFaults) -> str:
    """What the circuit file leaves out, by its reasons."""
    reasons = dict.fromkeys(found.left_out.values())
    return f"; left out by the file, {len(found.left_out)}: {', '.join(reasons)}" if reasons else ""


def _draws(circuit: Circuit) -> Doubt | None:
    """A wire back that touches the battery feeds a controller after the arm switch through the igniter."""
    keys = left_out("controller", circuit.given.controller, "current")
    if circuit.controller.powered_before_arm_switch or not keys:
        return None
    says = "a fault may feed the controller through an igniter, and what it draws is not known"
    return Doubt(reason=Reason.MISSING_KEY, says=says, keys=keys)


def _finding(
    circuit: Circuit, one: WorstFault, rule: str, says: str, statement: Statement, draws: Doubt | None = None
) -> Finding:
    doubt = no_fire_doubt(circuit, one.kind) or draws
    value: float | None = one.current
    if not one.fault and one.phase != "firing":  # while a lone channel fires nobody is left whom no one commands
        value, doubt = None, Doubt(reason=Reason.NOT_ANALYSED, says=_NOTHING_LEFT)
    if one.unsolved:
        doubt = Doubt(reason=Reason.NOT_SOLVED, says=f"not solved for {', '.join(one.unsolved)}")
    return compare(
        Question.SINGLE_FAULTS,
        rule,
        value,
        "below" if rule == "single-fault-disarmed" else "at most",
        one.limit,
        "A",
        says=says,
        statement=statement,
        doubt=doubt,
        channel=one.channel,
        phase=one.phase,
        controller=one.controller,
        igniter=None,
        rests_on=resting(circuit, "safe"),
    )
