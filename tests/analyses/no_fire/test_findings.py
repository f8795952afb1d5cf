"""Findings of the quiet phases: which side of its limit each takes, and what it says of the one that is worst."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import replace

import pytest

from ignition.analyses.no_fire.findings import no_fire_findings
from ignition.analyses.no_fire.gate import GateState
from ignition.analyses.no_fire.steady import ChannelNoFire, IgniterNoFire, NoFire, PhaseNoFire, Uncommanded, no_fire
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.findings.corner import Corner
from ignition.findings.finding import Finding, Question, Reason
from ignition.toleranced import Toleranced
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND
from tests.findings.ends import WIDE

BUS = (
    "sense = {",
    'second = { bus_divider = { upper = "100 kohm", lower = "47 kohm" } }\nsense = {',
)
OWN_LIMIT = """
[rules]
[[rules.limit]]
name = "pad book"
kind = "monitor current at most"
current = "3 mA"
source = "pad book, page 4"
date = "2026"
"""
CORNER = Corner(battery_voltage=8.4, temperature=20.0, ends=(("sense.upper", "low"),))


@functools.cache
def analysed() -> tuple[Circuit, NoFire]:
    """The sound circuit with a bus divider and an own limit, and its quiet phases."""
    circuit = parse_circuit(edited(SOUND, BUS) + OWN_LIMIT)
    return circuit, no_fire(circuit)


def current(amperes: float) -> Uncommanded:
    """A worst current with a place of its own to be recognised by."""
    return Uncommanded(current=amperes, line_state="pinched", controller="dead", corner=CORNER)


def judged(change: Callable[[PhaseNoFire], PhaseNoFire], rule: str) -> Finding:
    """The finding of a rule in the armed phase, of an analysis of which that phase is changed."""
    circuit, quiet = analysed()
    (channel,) = quiet.channels
    phases = tuple(change(p) if p.phase == "armed" else p for p in channel.phases)
    doctored = replace(quiet, channels=(ChannelNoFire(channel=channel.channel, phases=phases),))
    (found,) = [f for f in no_fire_findings(circuit, doctored) if f.rule == rule and f.phase == "armed"]
    return found


def of_igniter(amperes: float) -> Callable[[PhaseNoFire], PhaseNoFire]:
    """The current of the one igniter."""
    return lambda phase: replace(phase, igniters=(replace(phase.igniters[0], worst=current(amperes)),))


def of_gate(volts: float) -> Callable[[PhaseNoFire], PhaseNoFire]:
    """The gate voltage; the lowest threshold is 1.0 V less 4 mV/K x -5 K at 20 degC, 1.02 V."""
    return lambda phase: replace(phase, gates=tuple(_at(gate, volts) for gate in phase.gates))


def _at(gate: GateState, volts: float) -> GateState:
    return replace(gate, gate_voltage=Toleranced(low=0.0, nominal=0.0, high=volts, unit="V"))


SIDES = [
    # rule, question, what is set, limit, equality passes, relation
    ("below-no-fire", Question.IGNITER_CURRENT, of_igniter, 0.2, False),
    ("output-leakage-20-db", Question.IGNITER_CURRENT, of_igniter, 0.02, True),
    ("monitor-current-tenth", Question.IGNITER_CURRENT, lambda x: lambda p: replace(p, line=current(x)), 0.02, True),
    ("pad book", Question.IGNITER_CURRENT, lambda x: lambda p: replace(p, line=current(x)), 0.003, True),
    ("current-into-short", Question.IGNITER_CURRENT, lambda x: lambda p: replace(p, into_short=current(x)), 0.04, True),
    # sqrt(0.1) x 0.2 A is 63 mA, more than its 50 mA
    ("test-current-energy-tenth", Question.IGNITER_CURRENT, lambda x: lambda p: replace(p, line=current(x)), 0.05, True),
    ("gate-held-off", Question.GATE, of_gate, 1.02, False),
    ("pin-clamp-current", Question.PIN, lambda x: lambda p: replace(p, clamp=current(x)), 0.001, True),
    ("bus-pin-clamp-current", Question.PIN, lambda x: lambda p: replace(p, bus_clamp=current(x)), 0.001, True),
    ("pull-up-pin-current", Question.PIN, lambda x: lambda p: replace(p, pull_up_clamp=current(x)), 0.001, True),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "question", "set_to", "limit", "equal_passes"), SIDES, ids=[s[0] for s in SIDES])
def test_sides(
    rule: str,
    question: Question,
    set_to: Callable[[float], Callable[[PhaseNoFire], PhaseNoFire]],
    limit: float,
    equal_passes: bool,
) -> None:
    """Inside passes, outside fails, and what reaches its limit does as the rule says."""
    for factor, passes in ((1.0 - 1e-9, True), (1.0, equal_passes), (1.0 + 1e-9, False)):
        found = judged(set_to(limit * factor), rule)
        assert found.limit == pytest.approx(limit, rel=1e-12)
        assert found.value == pytest.approx(limit * factor, rel=1e-12)
        assert found.verdict == ("PASS" if passes else "FAIL"), factor
        assert found.reason is (Reason.WITHIN if passes else Reason.EXCEEDED)
        assert found.margin == pytest.approx(1.0 / factor, rel=1e-12)
        assert (found.question, found.channel, found.unit) == (
            question,
            "line",
            "V" if rule == "gate-held-off" else "A",
        )


@pytest.mark.parametrize("rule", [s[0] for s in SIDES if s[0] != "gate-held-off"])
def test_the_place_of_the_worst_is_said(rule: str) -> None:
    """Line state, controller and corner are those of the current that is compared, and of no other."""
    set_to = next(s[2] for s in SIDES if s[0] == rule)
    found = judged(set_to(0.001), rule)
    assert (found.line_state, found.controller, found.corner) == ("pinched", "dead", CORNER)
    assert found.igniter == (None if "pin" in rule else "line.igniter 1.1")


def test_the_gate_of_the_least_room_counts() -> None:
    """Of two states of the controller the one with the higher gate voltage is judged and named."""

    def change(phase: PhaseNoFire) -> PhaseNoFire:
        alive, dead = phase.gates[0], replace(phase.gates[0], controller="dead")
        return replace(phase, gates=(_at(alive, 0.1), _at(dead, 0.5)))

    found = judged(change, "gate-held-off")
    assert (found.value, found.controller) == (0.5, "dead")
    assert found.corner is not None
    assert (found.corner.battery_voltage, found.corner.temperature) == (8.4, 20.0)
    assert dict(found.corner.ends) == {"threshold": "low", "pull-down": "high", "leakage": "high", "supply": "high"}


def test_without_a_clamp_at_the_bus_nothing_is_said_of_it() -> None:
    """The finding of the bus divider's pin is there where there is a bus divider."""
    circuit = parse_circuit(SOUND)
    assert "bus-pin-clamp-current" not in {f.rule for f in no_fire_findings(circuit, no_fire(circuit))}


def test_each_igniter_type_is_held_to_the_line() -> None:
    """Of four igniters of two types a rule on the line judges the first of each type, and all of them their own."""
    other = SOUND[SOUND.index("[igniter.match]") : SOUND.index("[mosfet.low_side]")].replace("match", "other")
    circuit = parse_circuit(
        edited(SOUND, ('[["match"]]', '[["other", "match"], ["match", "other"]]'), ("[mosfet", f"{other}[mosfet"))
    )
    found = [f for f in no_fire_findings(circuit, no_fire(circuit)) if f.phase == "armed"]
    assert {f.igniter for f in found if f.rule == "monitor-current-tenth"} == {"line.igniter 1.1", "line.igniter 1.2"}
    assert {f.igniter for f in found if f.rule == "current-into-short"} == {"line.igniter 1.1", "line.igniter 1.2"}
    own = [f.igniter for f in found if f.rule == "output-leakage-20-db"]
    assert own == [f"line.igniter {string}.{place}" for string in (1, 2) for place in (1, 2)]


@pytest.mark.parametrize(
    ("rule", "verdict", "limit"),
    [
        ("below-no-fire", "UNKNOWN", None),
        ("output-leakage-20-db", "UNKNOWN", None),
        ("monitor-current-tenth", "UNKNOWN", None),
        ("current-into-short", "UNKNOWN", 0.05),
        ("test-current-energy-tenth", "UNKNOWN", 0.05),
        ("pad book", "PASS", 0.003),
    ],
)
def test_without_a_no_fire_current(rule: str, verdict: str, limit: float | None) -> None:
    """What rests on it is UNKNOWN and names the key; a limit in amperes alone is judged as ever."""
    line = next(x for x in SOUND.splitlines() if x.startswith("no_fire ="))
    circuit = parse_circuit(edited(SOUND, (f"{line}\n", "")) + OWN_LIMIT)
    (found,) = [f for f in no_fire_findings(circuit, no_fire(circuit)) if f.rule == rule and f.phase == "armed"]
    assert (found.verdict, found.limit) == (verdict, limit)
    assert found.keys == (() if verdict == "PASS" else ("igniter.match.no_fire",))


@pytest.mark.parametrize(
    ("breakdown", "verdict"), [("8.401 V", "PASS"), ("8.4 V", "PASS"), ("8.399 V", "FAIL"), (None, "UNKNOWN")]
)
def test_blocking(breakdown: str | None, verdict: str) -> None:
    """The breakdown falls by 0.1 %/K in the cold: at 25 degC all of it. 8.4 V is the battery's highest."""
    swap = ('breakdown = "30 V"\n', "" if breakdown is None else f'breakdown = "{breakdown}"\n')
    circuit = parse_circuit(edited(SOUND, swap, ('temperature = "20 degC"', 'temperature = "25 degC"')))
    (found,) = [f for f in no_fire_findings(circuit, no_fire(circuit)) if f.rule == "blocking-voltage"]
    assert (found.verdict, found.value) == (verdict, 8.4)
    assert found.keys == (("mosfet.low_side.breakdown",) if breakdown is None else ())
    assert found.corner == Corner(battery_voltage=8.4, temperature=25.0)


def test_every_phase_is_judged_as_itself() -> None:
    """The current of one phase changes that phase's findings alone."""
    circuit, quiet = analysed()
    before = {f.identity: f for f in no_fire_findings(circuit, quiet)}
    (channel,) = quiet.channels
    for name in ("disarmed", "reset", "armed"):
        phases = tuple(_loud(p) if p.phase == name else p for p in channel.phases)
        doctored = replace(quiet, channels=(replace(channel, phases=phases),))
        after = no_fire_findings(circuit, doctored)
        assert {f.phase for f in after if f != before[f.identity]} == {name}


def _loud(phase: PhaseNoFire) -> PhaseNoFire:
    loud: tuple[IgniterNoFire, ...] = tuple(replace(i, worst=current(1.0)) for i in phase.igniters)
    return replace(phase, igniters=loud, line=current(1.0), into_short=current(1.0), clamp=current(1.0))


def test_the_end_of_a_range_that_is_the_limit() -> None:
    """The least that a pin bears, the lowest threshold when hot, the lowest breakdown when cold; the battery full.

    1.0 V less 5 mV/K x (40 - 25) K is 0.925 V; 28 V less 0.1 %/K x 35 K is 27.02 V.
    """
    circuit = parse_circuit(WIDE)
    found = {f.rule: f for f in no_fire_findings(circuit, no_fire(circuit)) if f.phase in ("armed", None)}
    assert found["pin-clamp-current"].limit == 0.9e-3
    assert found["gate-held-off"].limit == pytest.approx(1.0 - 75e-3)
    assert found["blocking-voltage"].limit == pytest.approx(28.0 * (1.0 - 1e-3 * 35.0))
    assert found["blocking-voltage"].value == 8.4
    places = {rule: found[rule].corner for rule in ("gate-held-off", "blocking-voltage")}
    assert {rule: corner and (corner.battery_voltage, corner.temperature) for rule, corner in places.items()} == {
        "gate-held-off": (8.4, 40.0),
        "blocking-voltage": (8.4, -10.0),
    }
