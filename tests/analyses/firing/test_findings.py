"""Findings of a firing sequence: which side of its limit each takes, and what leaves it in doubt."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from ignition.analyses.firing.conductors import ConductorHeating
from ignition.analyses.firing.findings import firing_findings
from ignition.analyses.firing.firing import Firing, firing
from ignition.analyses.firing.protective import BATTERY_PROTECTION, ProtectivePart
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.findings.finding import Finding, Question, Reason
from ignition.toleranced import Spread
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND
from tests.findings.ends import WIDE

OWN_LIMIT = """
[rules]
[[rules.limit]]
name = "club firing"
kind = "firing current at least"
share_of_all_fire = 2.0
current = "1.7 A"
source = "club book"
date = "2026"
"""
HARNESS = ("[[feed]]", '[[feed]]\nname = "harness"\nkind = "wire"\nwire = "AWG 18"\ndistance = "1 m"\n\n[[feed]]')


@functools.cache
def analysed(*swaps: tuple[str, str]) -> tuple[Circuit, Firing]:
    """The sound circuit with edits, with a wire in its feed and an own limit, and its firing sequence."""
    circuit = parse_circuit(edited(SOUND, HARNESS, *swaps) + OWN_LIMIT)
    return circuit, firing(circuit)


Change = Callable[[Firing], Firing]


def judged(change: Change, rule: str, *swaps: tuple[str, str], part: str | None = None) -> Finding:
    """The finding of a rule, of an analysis that is changed."""
    circuit, fired = analysed(*swaps)
    (found,) = [f for f in firing_findings(circuit, change(fired)) if f.rule == rule and part in (None, f.part)]
    return found


def channel(**fields: object) -> Change:
    """Change the one channel."""
    return lambda fired: replace(fired, channels=(replace(fired.channels[0], **fields),))


def igniter(**fields: object) -> Change:
    """Change the one igniter."""

    def change(fired: Firing) -> Firing:
        (one,) = fired.channels[0].igniters
        return channel(igniters=(replace(one, **fields),))(fired)

    return change


def supply(**fields: object) -> Change:
    """Change the supply."""
    return lambda fired: replace(fired, supply=replace(fired.supply, **fields))


def spread(low: float | None, high: float | None, unit: str) -> Spread:
    """Bounds."""
    return Spread(nominal=None, low=low, high=high, unit=unit, reason=None)


def heated(kelvin: float) -> Change:
    """The temperature of the channel's lead [degC]."""
    return channel(conductors=(ConductorHeating(name="line.lead", square_time=1.0, temperature=kelvin, melts=False, reason=None),))  # fmt: skip


def protected(kind: str, highest: float, carried: float | None, opens: float | None, standing: float = 0.0) -> Change:
    """A protective part of these currents [A] and this earliest opening [s]."""
    name = BATTERY_PROTECTION if kind == BATTERY_PROTECTION else "F1"
    part = ProtectivePart(
        name=name,
        kind=kind,
        standing_current=standing,
        highest_current=highest,
        carried_current=carried,
        opens_after=opens,
    )
    return supply(parts=(part,))


FUNCTIONS_AT = 0.02
"""Latest function in the tests of protection [s], after 5 ms of earlier current."""


def timed(change: Change) -> Change:
    """The same with a known latest function."""

    def both(fired: Firing) -> Firing:
        late = igniter(function_time=spread(0.001, FUNCTIONS_AT - 0.005, "s"))(fired)
        return change(channel(conducted_before=0.005)(late))

    return both


# rule, question, what is set to a value, limit, which side passes, whether equality does, unit
SIDES = [
    ("above-all-fire", Question.FIRING_CURRENT, lambda x: igniter(lowest_current=x), 0.8, "above", True, "A"),
    ("firing-current-150-percent", Question.FIRING_CURRENT, lambda x: igniter(lowest_current=x), 1.2, "above", True, "A"),
    # twice 0.8 A is less than its own 1.7 A
    ("club firing", Question.FIRING_CURRENT, lambda x: igniter(lowest_current=x), 1.7, "above", True, "A"),
    ("functions", Question.FUNCTION, lambda x: igniter(function_time=spread(0.001, x, "s")), 0.5, "below", True, "s"),
    ("gate-drive", Question.GATE_DRIVE, lambda x: channel(gate_voltage=spread(x, 5.0, "V")), 2.5, "above", True, "V"),
    ("mosfet-junction", Question.JUNCTION, lambda x: channel(mosfet_junction=spread(20.0, x, "degC")), 150.0, "below", True, "degC"),
    ("conductor-melts", Question.CONDUCTOR, heated, 1083.0, "below", False, "degC"),
    ("controller-supply", Question.SUPPLY, lambda x: supply(controller_supply=spread(x, 5.0, "V")), 2.7, "above", True, "V"),
    ("fuse-holds", Question.FUSE, lambda x: protected("fuse", x, 3.0, math.inf), 3.0, "below", True, "A"),
    ("fuse-holds", Question.FUSE, lambda x: protected("resettable fuse", 1.0, 3.0, 0.0, standing=x), 3.0, "below", True, "A"),
    ("fuse-holds", Question.FUSE, lambda x: timed(protected("fuse", 9.0, 3.0, FUNCTIONS_AT * FUNCTIONS_AT / x)), FUNCTIONS_AT, "below", False, "s"),
    ("battery-protection", Question.BATTERY, lambda x: protected(BATTERY_PROTECTION, x, 3.0, math.inf), 3.0, "below", False, "A"),
    ("battery-protection", Question.BATTERY, lambda x: protected(BATTERY_PROTECTION, 9.0, 3.0, 0.0, standing=x), 3.0, "below", False, "A"),
    ("battery-protection", Question.BATTERY, lambda x: timed(protected(BATTERY_PROTECTION, 9.0, 3.0, FUNCTIONS_AT * FUNCTIONS_AT / x)), FUNCTIONS_AT, "below", False, "s"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "question", "set_to", "limit", "side", "equal_passes", "unit"),
    SIDES,
    ids=[f"{s[0]} {i}" for i, s in enumerate(SIDES)],
)
def test_sides(
    rule: str,
    question: Question,
    set_to: Callable[[float], Change],
    limit: float,
    side: str,
    equal_passes: bool,
    unit: str,
) -> None:
    """Inside passes, outside fails, and what reaches its limit does as the question says."""
    part = "line.lead" if rule == "conductor-melts" else None
    for away in (-1e-9, 0.0, 1e-9):
        found = judged(set_to(limit * (1.0 + away)), rule, part=part)
        passes = equal_passes if away == 0.0 else (away > 0.0) is (side == "above")
        assert found.verdict == ("PASS" if passes else "FAIL"), away
        assert found.reason is (Reason.WITHIN if passes else Reason.EXCEEDED)
        assert (found.question, found.unit, found.phase) == (question, unit, "firing")
        assert found.value is not None and found.limit is not None and found.margin is not None
        base = 20.0 if unit == "degC" else 0.0
        ratio = (found.limit - base) / (found.value - base)
        assert found.margin == pytest.approx(1.0 / ratio if side == "above" else ratio, rel=1e-12)
        assert {found.limit, found.value} & {limit, limit * (1.0 + away), FUNCTIONS_AT}


@pytest.mark.parametrize(
    ("time", "limit"), [(0.019, 0.2), (0.02, 0.2), (0.0201, 0.201), (0.05, 0.5), (0.0500001, 0.500001)]
)
def test_a_pulse_of_ten_times_the_function_time_and_200_ms(time: float, limit: float) -> None:
    """The larger of the two is asked; the pulse of 500 ms meets 500 ms and not a microsecond more."""
    found = judged(igniter(function_time=spread(0.001, time, "s")), "pulse-length")
    assert found.limit == pytest.approx(limit, rel=1e-12) and found.value == 0.5
    assert found.verdict == ("PASS" if limit <= 0.5 else "FAIL") and found.question is Question.FUNCTION


@pytest.mark.parametrize("rule", ["functions", "pulse-length"])
def test_an_igniter_that_need_not_function_fails(rule: str) -> None:
    """No latest function though everything is known: FAIL, in words that say so; not known: UNKNOWN with its keys."""
    never = {"function_time": spread(0.001, None, "s"), "reason": "too little current"}
    found = judged(igniter(**never, cause=Reason.EXCEEDED), rule)
    assert (found.verdict, found.reason) == ("FAIL", Reason.EXCEEDED) and "may not function" in found.says
    found = judged(igniter(**never, cause=Reason.OUTSIDE_DATA_SHEET, keys=("a.key",)), rule)
    assert (found.verdict, found.reason, found.keys) == ("UNKNOWN", Reason.OUTSIDE_DATA_SHEET, ("a.key",))
    assert found.says.endswith("too little current")


@pytest.mark.parametrize("rule", ["above-all-fire", "firing-current-150-percent", "club firing"])
def test_a_current_that_is_not_known(rule: str) -> None:
    """A battery run down before it functions has no current left: FAIL; one that is not known: UNKNOWN."""
    gone = igniter(lowest_current=None, cause=Reason.EXCEEDED)
    assert (judged(gone, rule).verdict, judged(gone, rule).value) == ("FAIL", 0.0)
    found = judged(igniter(lowest_current=None, cause=Reason.NOT_SOLVED, keys=("a.key",)), rule)
    assert (found.verdict, found.reason, found.keys) == ("UNKNOWN", Reason.NOT_SOLVED, ("a.key",))


def test_a_conductor_that_melts_fails() -> None:
    """Past melting no temperature is known, and none is needed."""
    melted = ConductorHeating(name="line.lead", square_time=1e9, temperature=None, melts=True, reason=None)
    found = judged(channel(conductors=(melted,)), "conductor-melts", part="line.lead")
    assert (found.verdict, found.margin, found.channel) == ("FAIL", 0.0, "line")


@pytest.mark.parametrize(
    ("where", "name", "key"),
    [
        ("channel", "line.lead", "channel[0].lead.wire"),
        ("channel", "line.branch 1", "channel[0].branch.wire"),
        ("feed", "feed.harness", "feed[0].wire"),
        ("feed", "feed.arm switch", "feed[2].wire"),
    ],
)
def test_a_conductor_of_unknown_size(where: str, name: str, key: str) -> None:
    """UNKNOWN, and the key that gives its size; one of the feed belongs to no channel."""
    one = ConductorHeating(name=name, square_time=1.0, temperature=None, melts=False, reason="its size is not known")
    change = channel(conductors=(one,)) if where == "channel" else lambda fired: replace(fired, conductors=(one,))
    found = judged(change, "conductor-melts", part=name)
    assert (found.verdict, found.keys) == ("UNKNOWN", (key,))
    assert found.channel == ("line" if where == "channel" else None)


@pytest.mark.parametrize(
    ("cause", "verdict", "reason"),
    [(Reason.EXCEEDED, "FAIL", Reason.EXCEEDED), (Reason.NOT_SOLVED, "UNKNOWN", Reason.NOT_SOLVED)],
)
def test_a_fuse_that_opens_while_an_igniter_may_not_function(cause: Reason, verdict: str, reason: Reason) -> None:
    """Without a latest function the fuse opens first, or nobody knows."""
    change = igniter(function_time=spread(0.001, None, "s"), cause=cause, reason="why", keys=("a.key",))
    fuse = protected("fuse", 9.0, 3.0, 1.0)
    found = judged(lambda fired: fuse(change(fired)), "fuse-holds")
    assert (found.verdict, found.reason) == (verdict, reason)
    assert found.keys == (("a.key",) if verdict == "UNKNOWN" else ())
    held = protected("fuse", 2.0, 3.0, math.inf)
    assert judged(lambda fired: held(change(fired)), "fuse-holds").verdict == "PASS"


def test_a_fuse_of_which_the_opening_is_not_known() -> None:
    """UNKNOWN with the keys that would tell."""
    part = ProtectivePart(
        name="F1", kind="fuse", standing_current=0.0, highest_current=9.0, carried_current=3.0, opens_after=None,
        missing=("feed[0].melting_i2t",), reason="no melting integral",
    )  # fmt: skip
    found = judged(supply(parts=(part,)), "fuse-holds")
    assert (found.verdict, found.keys, found.part) == ("UNKNOWN", ("feed[0].melting_i2t",), "F1")


@pytest.mark.parametrize(
    ("swap", "verdict"),
    [
        (('protection = "none"\n', 'protection = "none"\n'), "PASS"),
        (('protection = "none"\n', ""), "UNKNOWN"),
    ],
)
def test_a_protection_that_nobody_mentions(swap: tuple[str, str], verdict: str) -> None:
    """Said to be none: PASS; nothing said: UNKNOWN, and the key."""
    found = judged(lambda fired: fired, "battery-protection", swap)
    assert found.verdict == verdict and found.keys == (() if verdict == "PASS" else ("battery.protection",))


@pytest.mark.parametrize(
    ("hold_up", "recovers", "verdict", "unit"),
    [
        (0.0201, True, "PASS", "s"),
        (0.02, True, "PASS", "s"),
        (0.0199, True, "FAIL", "V"),
        (0.0201, False, "FAIL", "V"),
        (math.inf, True, "FAIL", "V"),
    ],
)
def test_a_hold_up_that_outlasts_the_current(hold_up: float, recovers: bool, verdict: str, unit: str) -> None:
    """All bridges are open 20 ms after the pulse began: a capacitor that lasts so long, with a supply back at once."""
    change = igniter(function_time=spread(0.001, 0.02, "s"))
    low = supply(controller_supply=spread(2.0, 5.0, "V"), hold_up=hold_up, recovers=recovers)
    found = judged(lambda fired: low(change(fired)), "controller-supply")
    assert (found.verdict, found.unit) == (verdict, unit)
    assert (found.value, found.limit) == ((hold_up, 0.02) if unit == "s" else (2.0, 2.7))


@pytest.mark.parametrize("spent", ["short", "unknown"])
def test_a_bridge_that_may_draw_on_draws_the_whole_pulse(spent: str) -> None:
    """The current ends with the pulse of 500 ms where a spent igniter may still conduct."""
    change = igniter(function_time=spread(0.001, 0.02, "s"))
    swap = ('spent = "open"', 'spent = "short"') if spent == "short" else ('spent = "open"\n', "")
    for hold_up, verdict in ((0.501, "PASS"), (0.499, "FAIL")):
        low = supply(controller_supply=spread(2.0, 5.0, "V"), hold_up=hold_up)
        found = judged(lambda fired, low=low: low(change(fired)), "controller-supply", swap)
        assert found.verdict == verdict


@pytest.mark.parametrize(
    ("kind", "powered", "verdict"),
    [("fuse", "before", "PASS"), ("fuse", "after", "FAIL"), (BATTERY_PROTECTION, "before", "FAIL")],
)
def test_what_may_cut_the_controller_off(kind: str, powered: str, verdict: str) -> None:
    """A fuse before it, or the battery's protection, that opens while current flows."""
    swap = ('powered_by = "before arm switch"', f'powered_by = "{powered} arm switch"')
    for opens, expected in ((0.019, verdict), (0.0201, "PASS")):
        change = protected(kind, 9.0, 3.0, opens)
        late = igniter(function_time=spread(0.001, 0.02, "s"))
        found = judged(lambda fired, a=late, b=change: b(a(fired)), "controller-supply", swap)
        assert found.verdict == expected, opens
        if expected == "FAIL":
            assert found.value == 0.0 and "may disconnect it" in found.says


MISSING = [
    # key left out, rule, the rest as it is
    ('input_capacitance = "1 nF"\n', "gate-drive", "mosfet.low_side.input_capacitance"),
    ('gate_drain_charge = "3 nC"\n', "gate-drive", "mosfet.low_side.gate_drain_charge"),
    ('input_capacitance = "1 nF"\n', "mosfet-junction", "mosfet.low_side.input_capacitance"),
    ('gate_drain_charge = "3 nC"\n', "mosfet-junction", "mosfet.low_side.gate_drain_charge"),
    ('brown_out = "2.7 V"\n', "controller-supply", "controller.brown_out"),
    ('brown_out = "2.7 V"\n', "functions", "controller.brown_out"),
    ('brown_out = "2.7 V"\n', "pulse-length", "controller.brown_out"),
    *(
        ('current = "20 mA"\n', rule, "controller.current")
        for rule in (
            "above-all-fire", "firing-current-150-percent", "club firing", "functions", "pulse-length", "gate-drive",
            "controller-supply", "fuse-holds",
        )
    ),
    *(
        ("all_fire", rule, "igniter.match.all_fire")
        for rule in ("above-all-fire", "firing-current-150-percent", "club firing", "functions", "pulse-length")
    ),
]  # fmt: skip


@pytest.mark.parametrize(("line", "rule", "key"), MISSING, ids=[f"{rule} {key}" for _, rule, key in MISSING])
def test_a_needed_key_left_out(line: str, rule: str, key: str) -> None:
    """UNKNOWN, and the key is named."""
    if line == "all_fire":
        line = next(f"{x}\n" for x in SOUND.splitlines() if x.startswith("all_fire ="))
    fuse = protected("fuse", 1.0, 3.0, math.inf) if rule == "fuse-holds" else lambda fired: fired
    found = judged(fuse, rule, (line, ""))
    assert found.verdict == "UNKNOWN" and found.reason is Reason.MISSING_KEY and key in found.keys


def test_a_junction_outside_the_data_sheet() -> None:
    """A temperature that nothing missing explains is outside the data sheet; without thermal data that is named."""
    found = judged(channel(mosfet_junction=Spread(nominal=None, low=None, high=None, unit="degC", reason="why")), "mosfet-junction")  # fmt: skip
    assert (found.verdict, found.reason, found.keys) == ("UNKNOWN", Reason.OUTSIDE_DATA_SHEET, ())
    line = next(f"{x}\n" for x in SOUND.splitlines() if x.startswith("thermal ="))
    found = judged(lambda fired: fired, "mosfet-junction", (line, ""))
    assert (found.verdict, found.reason, found.keys) == ("UNKNOWN", Reason.MISSING_KEY, ("mosfet.low_side.thermal",))


def test_each_igniter_is_judged_by_its_own_numbers() -> None:
    """Of two igniters the weaker one fails alone, in every rule of both."""
    circuit = parse_circuit(edited(SOUND, ('[["match"]]', '[["match"], ["match"]]')) + OWN_LIMIT)
    fired = firing(circuit)
    first, second = fired.channels[0].igniters
    weak = replace(second, lowest_current=0.1, function_time=spread(0.001, None, "s"), cause=Reason.EXCEEDED)
    doctored = replace(fired, channels=(replace(fired.channels[0], igniters=(first, weak)),))
    found = list(_of_igniters(firing_findings(circuit, doctored)))
    assert len(found) == 10
    assert {f.igniter for f in found if f.verdict == "FAIL"} == {weak.igniter}
    assert {f.igniter for f in found if f.verdict == "PASS"} == {first.igniter}


def _of_igniters(found: Iterator[Finding]) -> Iterator[Finding]:
    return (f for f in found if f.igniter is not None)


def test_the_corner_of_supply_and_gate() -> None:
    """Weak battery, cold, most load."""
    for rule in ("controller-supply", "gate-drive"):
        corner = judged(lambda fired: fired, rule).corner
        assert corner is not None and (corner.battery_voltage, corner.temperature) == (8.0, 20.0)
        assert dict(corner.ends) == {
            "battery.resistance": "high",
            "load": "high",
            "igniters": "low",
            "dropout": "high",
        }


def test_the_end_of_a_range_that_is_the_limit() -> None:
    """The shortest pulse, the highest brown-out level; a temperature counts from the hottest day, a supply is cold."""
    circuit = parse_circuit(WIDE)
    found = {f.rule: f for f in firing_findings(circuit, firing(circuit))}
    assert found["functions"].limit == found["pulse-length"].value == 0.48
    assert found["controller-supply"].limit == 2.8
    for rule in ("mosfet-junction", "conductor-melts"):
        value, limit, margin = found[rule].value, found[rule].limit, found[rule].margin
        assert value is not None and limit is not None and margin == pytest.approx((limit - 40.0) / (value - 40.0))
    for rule in ("gate-drive", "controller-supply"):
        corner = found[rule].corner
        assert corner is not None and (corner.battery_voltage, corner.temperature) == (8.0, -10.0)
