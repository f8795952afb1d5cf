"""What fails only because of what is not given is UNKNOWN and names the key, whichever way its best value lies."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from ignition.analyses.verdict import check
from ignition.circuit.examples import example_names, load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.findings.blame import blamed
from ignition.findings.compare import Doubt, Statement, compare
from ignition.findings.finding import Finding, Question, Reason
from tests.circuit.edits import DEMO, edited
from tests.circuit.sound import SOUND


def findings(rule: str, *swaps: tuple[str, str], text: str = SOUND) -> list[Finding]:
    """Findings of one rule of an edited circuit."""
    return [f for f in check(parse_circuit(edited(text, *swaps))).findings if f.rule == rule]


@pytest.mark.parametrize("name", example_names())
def test_identities_are_unique(name: str) -> None:
    """No two findings of a circuit are about the same thing, those of four like branches included."""
    found = [f.identity for f in check(load_example(name)).findings]
    assert len(set(found)) == len(found)


def test_two_fuses_have_names() -> None:
    """One holds, one opens: each finding says which."""
    fuse = '[[feed]]\nname = "{}"\nkind = "fuse"\nresistance = "3 mohm"\nrating = "{}"\nmelting_i2t = "1e-4 A^2 s"\n\n[[feed]]'
    swaps = [("[[feed]]", fuse.format(name, rating)) for name, rating in (("strong", "40 A"), ("weak", "1 A"))]
    found = findings("fuse-holds", *swaps)
    assert {f.part: f.verdict for f in found} == {"strong": "PASS", "weak": "FAIL"}


def test_of_two_findings_of_one_identity_the_worst_counts() -> None:
    """A judge that fails one of two for good is not excused by the other's pass, which comes last."""
    circuit = load_example("tether-cutter")

    def judge(one: Circuit) -> list[Finding]:
        eased = one.mosfets["low_side"].gate_leakage.high == 0.0
        return [
            compare(
                Question.GATE, "rule", value, "at most", 2.0, "A", says="x", statement=Statement(source="us", date="-")
            )
            for value in (3.0, 1.0 if eased else 3.0)
        ]

    assert {f.verdict for f in blamed(circuit, judge)} == {"FAIL"}
    (alone,) = blamed(circuit, lambda one: judge(one)[1:])
    assert (alone.verdict, alone.keys) == ("UNKNOWN", ("mosfet.low_side.gate_leakage",))


GATE_LEAKAGE, DROP = "mosfet.low_side.gate_leakage", "controller.pin.clamp_drop"
DRIFT, DROPOUT = "mosfet.low_side.threshold_drift", "controller.dropout"


def at_worst(circuit: Circuit) -> set[str]:
    """Which of four keys that the circuit leaves out stand at their worst: three of accident, a dropout of firing."""
    mosfet, controller = circuit.mosfets["low_side"], circuit.controller
    found = {
        GATE_LEAKAGE: mosfet.gate_leakage.high > 0.0,
        DROP: controller.pin.clamp_drop.low < 0.3,
        DRIFT: mosfet.threshold_drift.low < -0.0055,
        DROPOUT: controller.dropout.high >= 0.3,
    }
    return {key for key, worst in found.items() if worst}


def test_all_four_are_at_their_worst_where_left_out() -> None:
    """The circuit that the judges below look at leaves them out."""
    assert at_worst(load_example("tether-cutter")) == {GATE_LEAKAGE, DROP, DRIFT, DROPOUT}


JUDGES = {
    "one alone": (lambda worst: GATE_LEAKAGE in worst, {GATE_LEAKAGE}),
    "one of accident": (lambda worst: DROP in worst, {DROP}),
    "each of two": (lambda worst: bool(worst & {GATE_LEAKAGE, DROP}), {GATE_LEAKAGE, DROP}),
    "two together": (lambda worst: worst >= {GATE_LEAKAGE, DROP}, 1),
    "two of three": (lambda worst: len(worst & {GATE_LEAKAGE, DROP, DRIFT}) >= 2, 2),
    "none": (lambda worst: True, None),
}
"""Judges that fail by which keys are at their worst: the keys that are named, how many of several, or none: it fails."""


@pytest.mark.parametrize("question", [Question.GATE, Question.FIRING_CURRENT], ids=["own", "other"])
@pytest.mark.parametrize("name", JUDGES)
def test_the_keys_that_are_named(name: str, question: Question) -> None:
    """Those that bring the failure about by themselves; or the fewest that make it pass together."""
    fails, expected = JUDGES[name]
    (found,) = blamed(load_example("tether-cutter"), lambda one: [judgement(fails(at_worst(one)), question)])
    if expected is None:
        assert (found.verdict, found.reason, found.keys) == ("FAIL", Reason.EXCEEDED, ())
        return
    assert (found.verdict, found.reason) == ("UNKNOWN", Reason.MISSING_KEY)
    if isinstance(expected, set):
        assert set(found.keys) == expected
    else:
        assert len(found.keys) == expected and set(found.keys) <= {GATE_LEAKAGE, DROP, DRIFT}
    assert set(found.rests_on) == set(found.keys)
    assert found.says == "x: fails only with the worst plausible value of what is not given"


@pytest.mark.parametrize("question", [Question.GATE, Question.FIRING_CURRENT], ids=["other", "own"])
def test_a_key_of_firing(question: Question) -> None:
    """Eased for firing, whatever the finding is about."""
    circuit = load_example("tether-cutter")
    (found,) = blamed(circuit, lambda one: [judgement(one.controller.dropout.high >= 0.3, question)])
    assert found.verdict == "UNKNOWN" and found.keys == (DROPOUT,)
    (found,) = blamed(circuit, lambda one: [judgement(one.igniters["cutter"].spent != "open", question)])
    assert found.verdict == "UNKNOWN" and found.keys == ("igniter.cutter.spent",)


@pytest.mark.parametrize(
    ("question", "key"), [(Question.GATE, "bridge_resistance"), (Question.FIRING_CURRENT, "time_constant")]
)
def test_the_best_for_its_own_question_comes_first(question: Question, key: str) -> None:
    """A bridge of 2 ohm, the best for safety, would excuse it, or a time constant of 3 ms, the best for firing."""
    keys = ('bridge_resistance = "1.0 ohm .. 1.2 ohm .. 1.5 ohm"\n', 'time_constant = "10 ms"\n')
    circuit = parse_circuit(edited(SOUND, *((line, "") for line in keys)))

    def judge(one: Circuit) -> list[Finding]:
        match = one.igniters["match"]
        excused = match.resistance.low > 1.9 or match.time_constant.slow < 4e-3
        return [judgement(not excused, question), judgement(False, Question.PIN)]

    assert [(f.verdict, f.keys) for f in blamed(circuit, judge)] == [
        ("UNKNOWN", (f"igniter.match.{key}",)),
        ("PASS", ()),
    ]


@pytest.mark.parametrize("question", [Question.GATE, Question.FUNCTION], ids=["accident", "firing"])
@pytest.mark.parametrize("too", ["low", "high"])
def test_the_best_of_either_question_excuses(too: str, question: Question) -> None:
    """Of a bridge from 0.5 to 2 ohm what is too low is cured by the best for safety, what is too high by that for firing.

    Whatever the question: a fuse that opens in the strongest current is one of firing.
    """
    circuit = parse_circuit(edited(SOUND, ('bridge_resistance = "1.0 ohm .. 1.2 ohm .. 1.5 ohm"\n', "")))

    def judge(one: Circuit) -> list[Finding]:
        bridge = one.igniters["match"].resistance
        return [judgement(bridge.low < 1.9 if too == "low" else bridge.high > 0.6, question)]

    (found,) = blamed(circuit, judge)
    assert (found.verdict, found.keys) == ("UNKNOWN", ("igniter.match.bridge_resistance",))


def test_only_the_failure_is_put_down() -> None:
    """A pass beside it stands as it is, in its place."""
    circuit = load_example("tether-cutter")

    def judge(one: Circuit) -> list[Finding]:
        fails = GATE_LEAKAGE in at_worst(one)
        return [judgement(False, Question.PIN), judgement(fails, Question.GATE), judgement(True, Question.BLOCKING)]

    assert [f.verdict for f in blamed(circuit, judge)] == ["PASS", "UNKNOWN", "FAIL"]


def judgement(fails: bool, question: Question) -> Finding:
    """A finding that fails, or not."""
    statement = Statement(source="us", date="-")
    return compare(question, "rule", 3.0 if fails else 1.0, "at most", 2.0, "A", says="x", statement=statement)


def test_what_is_in_doubt_beside_it_is_named_too() -> None:
    """With the leakage at its best it is still UNKNOWN for want of another key: both are named, and only one rests on."""
    circuit = load_example("tether-cutter")

    def judge(one: Circuit) -> list[Finding]:
        doubt = Doubt(reason=Reason.MISSING_KEY, says="y", keys=("controller.brown_out",))
        value = 3.0 if GATE_LEAKAGE in at_worst(one) else 1.0
        statement = Statement(source="us", date="-")
        return [
            compare(
                Question.GATE, "rule", value, "at most", 2.0, "A",
                says="x", statement=statement, doubt=doubt, rests_on=("ambient",),
            )
        ]  # fmt: skip

    (found,) = blamed(circuit, judge)
    assert found.keys == (GATE_LEAKAGE, "controller.brown_out") and found.rests_on == ("ambient", GATE_LEAKAGE)


def test_a_default_of_the_other_question_is_put_down_too() -> None:
    """Leakage at the gate through 1 Mohm in series takes the drive below the row of 2.5 V; without it there is enough.

    By hand: 10 Mohm to ground behind 1 Mohm divides 3.3 V to 3.0 V; 1 uA of the gate through 0.91 Mohm is 0.91 V.
    """
    swaps = (
        ('series = "100 ohm"', 'series = "1 Mohm"'),
        ('pull_down = "10 kohm"', 'pull_down = "10 Mohm"'),
        ('leakage = "1 uA"\nreset', 'leakage = "0 A"\nreset'),
        ('gate_leakage = "100 nA"', 'gate_leakage = "1 uA"'),
    )
    (given,) = findings("gate-drive", *swaps)
    assert given.verdict == "FAIL" and given.value == pytest.approx(3.0 - 0.91, abs=0.01)
    strong = (*swaps, ('gate = "2.5 V"', 'gate = "2.95 V"'))  # above 3.0 V less 0.1 uA x 0.91 Mohm
    (found,) = findings("gate-drive", *strong, ('gate_leakage = "1 uA"\n', ""))
    assert (found.verdict, found.keys) == ("UNKNOWN", ("mosfet.low_side.gate_leakage",))
    assert "mosfet.low_side.gate_leakage" in found.rests_on


def test_a_converter_on_an_assumed_dropout() -> None:
    """Battery of 3.0 V less 0.3 V is the reference; 3.2 V x 87 / 100 = 2.78 V is over 2.7 V, and below 3.0 V."""
    swaps = (
        ('open_circuit_voltage = "8.0 V .. 8.2 V .. 8.4 V"', 'open_circuit_voltage = "3.0 V .. 3.1 V .. 3.2 V"'),
        ('reference = "3.0 V"', "ratiometric = true"),
        ('upper = ["49.9 kohm", "49.9 kohm"], lower = "47 kohm"', 'upper = "13 kohm", lower = "87 kohm"'),
    )
    (given,) = findings("converter-range", *swaps)
    (found,) = findings("converter-range", *swaps, ('dropout = "0.3 V"\n', ""))
    assert (given.verdict, found.verdict, found.keys) == ("FAIL", "UNKNOWN", ("controller.dropout",))


def test_a_fuse_without_rating_names_the_rating() -> None:
    """With its integral alone nothing says that it carries any current for good."""
    found = findings("fuse-holds", ('rating = "20 A"\nmelting_i2t = "400 A^2 s"', 'melting_i2t = "4 A^2 s"'), text=DEMO)
    assert [(f.verdict, f.keys) for f in found] == [("UNKNOWN", ("feed[0].rating",))]


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("battery.polarisation", 'polarisation = "none"'),
        ("igniter.match.temperature_coefficient", 'temperature_coefficient = "0 / K"'),
    ],
)
def test_a_pass_that_hangs_on_a_key_is_unknown_without_it(key: str, line: str) -> None:
    """8.0 V over 6.6 ohm is 1.21 A, just over 1.5 x 0.8 A; 0.1 ohm more, or 30 % of 1.5 ohm, takes it below."""
    weak, rule = ('resistance = "10 mohm"', 'resistance = "4.59 ohm"'), "firing-current-150-percent"
    (given,), (found,) = findings(rule, weak), findings(rule, weak, (line, ""))
    assert given.value == pytest.approx(8.0 / 6.6, rel=0.01) and given.verdict == "PASS"
    assert (found.verdict, found.keys) == ("UNKNOWN", (key,))


def test_what_is_given_is_judged_once() -> None:
    """A circuit without a failure is judged as it is."""
    circuit, seen = load_example("kelp-line-cutter"), []

    def judge(one: Circuit) -> Iterable[Finding]:
        seen.append(one)
        return ()

    assert blamed(circuit, judge) == () and len(seen) == 1 and seen[0] is circuit
