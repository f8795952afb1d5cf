"""Hold-off as a whole: which phases and verdicts it holds together, and advice that holds when it is followed."""

from __future__ import annotations

import functools
import io
import json
import math
import tomllib
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path

import pytest
from rich.console import Console

from ignition.analyses.advice import Advice, advice
from ignition.analyses.hold_off import HoldOff, hold_off
from ignition.analyses.no_fire.gate import gate_in_phase
from ignition.analyses.no_fire.switch_on import EdgeResult
from ignition.analyses.verdict import check
from ignition.circuit.examples import example_text, load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.findings.finding import Reason
from ignition.report.hold_off_plot import save_hold_off_plot
from ignition.report.hold_off_text import advice_text, hold_off_text
from ignition.report.json_walk import to_json
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

HELD = ("gate-held-off", "switch-on-below-function", "below-no-fire")


@functools.cache
def example(name: str) -> tuple[Circuit, HoldOff]:
    """An example and its hold-off."""
    circuit = load_example(name)
    return circuit, hold_off(circuit)


@functools.cache
def advised(name: str) -> tuple[Advice, ...]:
    """What is advised on it."""
    return advice(*example(name))


def verdicts(circuit: Circuit) -> Mapping[tuple[str, str | None], str]:
    """The worst verdict of each rule and phase by the check."""
    found: dict[tuple[str, str | None], str] = {}
    order = ("PASS", "UNKNOWN", "FAIL")
    for one in check(circuit).findings:
        key = (one.rule, one.phase)
        found[key] = max(found.get(key, "PASS"), one.verdict, key=order.index)
    return found


def test_examples_fail_where_they_were_made_to() -> None:
    """One fails in reset and at switch-on, one at switch-on alone; the others hold."""
    up, weak = example("reset-pull-up")[1].channels[0], example("weak-pull-down")[1].channels[0]
    assert {p.phase: p.verdict for p in up.phases}["reset"] == "FAIL"
    assert {p.verdict for p in weak.phases} == {"PASS"} and weak.switch_on.verdict == "FAIL"
    for name in ("demo", "kelp-line-cutter", "ejection-single-cell", "long-lead-pad"):
        for channel in example(name)[1].channels:
            assert {p.verdict for p in channel.phases} | {channel.switch_on.verdict} == {"PASS"}, name


@pytest.mark.parametrize("name", ["demo", "weak-pull-down"])
def test_verdicts_are_those_of_the_check(name: str) -> None:
    """Every finding of the hold-off stands in the check too; a value that differs is told to be a closed form's."""
    circuit, found = example(name)
    checked = {f.identity: f for f in check(circuit).findings}
    differ = 0
    for finding in found.findings:
        twin = checked[finding.identity]
        assert (finding.verdict, finding.limit) == (twin.verdict, twin.limit)
        if finding.value != twin.value:
            differ += 1
            assert finding.value is not None and twin.value is not None and finding.value < twin.value
            assert "by its closed form: this or less" in twin.says
    assert differ == {"demo": 6, "weak-pull-down": 1}[name]


@pytest.mark.parametrize("name", ["demo", "weak-pull-down", "long-lead-pad"])
def test_no_closed_form_lies_below_what_is_integrated(name: str) -> None:
    """As they are printed side by side, over all igniters of the channel."""
    for channel in example(name)[1].channels:
        edge = channel.switch_on
        assert edge.bound is not None and edge.worst is not None
        pairs = {
            "gate_voltage": edge.peak_gate_voltage,
            "current": edge.peak_igniter_current,
            "energy": edge.igniter_energy,
            "thermal_fraction": edge.thermal_fraction,
            "bounced_fraction": edge.bounced_thermal_fraction,
            "time_above_threshold": edge.time_above_threshold,
        }
        assert set(pairs) == {f.name for f in fields(EdgeResult)}
        for key, value in pairs.items():
            assert value is not None and value <= 1.001 * getattr(edge.bound, key), key


def test_what_is_not_known_is_said() -> None:
    """Without capacitances the edge names the keys, the steady phases stand."""
    text = "\n".join(line for line in SOUND.splitlines() if not line.startswith("input_capacitance"))
    (channel,) = hold_off(parse_circuit(text)).channels
    assert channel.switch_on.verdict == "UNKNOWN"
    assert channel.switch_on.reason == "not given: mosfet.low_side.input_capacitance"
    assert channel.switch_on.peak_gate_voltage is None and channel.turn_off.turn_off.time is None
    assert all(phase.verdict == "PASS" for phase in channel.phases)


def adopted(name: str, **gate: str) -> Circuit:
    """An example with other parts at every gate."""
    table = tomllib.loads(example_text(name))
    for channel in table["channel"]:
        channel["gate"] = channel["gate"] | gate
    return parse_circuit(_toml(table))


def _toml(table: Mapping[str, object], path: str = "") -> str:
    lines = [f"{json.dumps(key)} = {_value(value)}" for key, value in table.items()]
    return "\n".join([*lines, ""])


def _value(value: object) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{json.dumps(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str | bool) else repr(value)


@pytest.mark.parametrize("name", ["weak-pull-down", "reset-pull-up"])
def test_the_pull_down_to_fit_holds_when_it_is_fitted(name: str) -> None:
    """It failed before; with the advised resistor gate, current and switch-on pass in every phase."""
    (circuit, _), (one,) = example(name), advised(name)
    before = verdicts(circuit)
    assert "FAIL" in {verdict for (rule, _), verdict in before.items() if rule in HELD}
    assert one.fit is not None
    after = verdicts(adopted(name, pull_down=f"{one.fit} ohm"))
    assert {verdict for (rule, _), verdict in after.items() if rule in HELD} == {"PASS"}


def test_the_capacitor_to_fit_holds_when_it_is_fitted() -> None:
    """The arming edge passes with it, the pull-down as it is; the turn-on takes as long as it is said to."""
    (one,) = advised("weak-pull-down")
    assert one.capacitor is not None and one.capacitor.capacitor is not None
    fitted = adopted("weak-pull-down", capacitor=f"{one.capacitor.capacitor} F")
    assert verdicts(fitted)["switch-on-below-function", "switch-on"] == "PASS"
    assert one.capacitor.turn_on is not None and one.capacitor.turn_on > one.capacitor.turn_on_without


def test_each_reason_has_its_largest_pull_down() -> None:
    """In reset by hand: 100 kohm and more to 3.3 V leave 0.9 V and more below the threshold; leakage, dead; the edge."""
    (_, found), (one,) = example("reset-pull-up"), advised("reset-pull-up")
    limits = {p.reason: p.largest for p in one.pull_downs}
    assert set(limits) == {"pin in reset", "leakage, controller dead", "arming edge"}
    least = min(value for value in limits.values() if value is not None)
    assert one.fit is not None and one.fit <= least
    # at half of it the pin no longer drives the gate to 2.5 V: 3.2 V behind 60 + 105 ohm want 590 ohm
    assert one.fit > 0.5 * least and one.gate_drive is not None and one.gate_drive >= one.needed == 2.5
    reset = limits["pin in reset"]
    threshold = found.channels[0].phases[0].lowest_threshold
    assert reset is not None

    def highest(pull_down: str) -> float:
        changed = adopted("reset-pull-up", pull_down=pull_down)
        return gate_in_phase(changed, changed.channels[0], "reset").gate_voltage.high

    assert highest(f"{reset} ohm") < threshold <= highest(f"{1.2 * reset} ohm")


def test_where_nothing_is_wrong_nothing_is_advised() -> None:
    """What is fitted holds; no slower edge is asked for."""
    for one in advised("ejection-single-cell"):
        assert one.simplest == "what is fitted holds"
        assert one.slowest_edge == 0.0


def test_a_slower_edge_or_a_higher_threshold_holds() -> None:
    """The limits that are told for the weak pull-down, adopted with a little to spare."""
    (one,) = advised("weak-pull-down")
    text = example_text("weak-pull-down")
    table = tomllib.loads(text)
    if one.slowest_edge is not None:
        for part in table["feed"]:
            if part["kind"] == "arm switch":
                part["edge"] = f"{1.2 * one.slowest_edge} s"
        assert verdicts(parse_circuit(_toml(table)))["switch-on-below-function", "switch-on"] == "PASS"
    assert one.threshold is not None and math.isfinite(one.threshold)


def test_a_pull_down_above_half_is_found_where_half_takes_the_drive() -> None:
    """The demo's marker without its capacitor at 100 kohm: what is told holds, and the pin still drives the gate."""
    table = tomllib.loads(example_text("demo"))
    del table["channel"][0]
    (marker,) = table["channel"]
    marker["gate"] = {"series": marker["gate"]["series"], "pull_down": "100 kohm"}
    next(part for part in table["feed"] if part["kind"] == "arm switch")["closures"] = 3
    circuit = parse_circuit(_toml(table))
    (one,) = advice(circuit, hold_off(circuit))
    assert one.fit is not None and one.gate_drive is not None and one.gate_drive >= one.needed
    marker["gate"]["pull_down"] = f"{one.fit} ohm"
    after = verdicts(parse_circuit(_toml(table)))
    assert {verdict for (rule, _), verdict in after.items() if rule in HELD} == {"PASS"}


@pytest.mark.parametrize("gate", [{"pull_down": "1.2 kohm"}, {"pull_down": None}])
def test_no_capacitor_where_the_pull_down_holds_alone_or_there_is_none(gate: dict[str, str | None]) -> None:
    """A pull-down that holds needs none, and one that is to be fitted is one that holds."""
    table = tomllib.loads(example_text("weak-pull-down"))
    was = table["channel"][0]["gate"]
    table["channel"][0]["gate"] = {key: value for key, value in (was | gate).items() if value is not None}
    circuit = parse_circuit(_toml(table))
    (one,) = advice(circuit, hold_off(circuit))
    assert one.capacitor is None
    assert one.fit is not None and one.fit <= 1200.0


def test_a_higher_threshold_counts_the_steady_gate_too() -> None:
    """In reset 100 kohm and 30 kohm lift the gate to 2.6 V: no threshold below that is told, and no capacitor helps."""
    table = tomllib.loads(example_text("reset-pull-up"))
    table["feed"][0]["closures"] = 1
    table["mosfet"]["low_side"]["input_capacitance"] = "20 nF"
    circuit = parse_circuit(_toml(table))
    found = hold_off(circuit)
    (one,) = advice(circuit, found)
    highest = max(phase.gate_voltage.high or 0.0 for phase in found.channels[0].phases)
    assert highest > 2.0
    assert one.threshold is not None and one.threshold > highest
    assert not one.simplest.startswith("a gate capacitor")


def test_an_edge_that_is_not_solved_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """No number is told of it, in text and JSON neither; nothing is advised on it; the steady phases stand."""
    monkeypatch.setattr("ignition.analyses.no_fire.edge._MOST_STEPS", 40)
    # an edge that no other test asks for, whose answer would be kept
    circuit = load_example("weak-pull-down").with_values({"ambient.temperature": "-7 degC .. 20 degC .. 36 degC"})
    found = hold_off(circuit)
    (channel,) = found.channels
    assert channel.switch_on.verdict == "UNKNOWN"
    assert channel.switch_on.reason == "the integration of the edge did not come to its end"
    assert channel.switch_on.peak_gate_voltage is None and channel.switch_on.thermal_fraction is None
    assert all(phase.verdict == "PASS" for phase in channel.phases)
    told = json.loads(to_json(found))["channels"][0]["switch_on"]
    assert told["peak_igniter_current"] == {"value": None, "unit": "A", "reason": channel.switch_on.reason}
    edge = {f.rule: f for f in found.findings if f.phase == "switch-on"}
    for rule in ("switch-on-below-function", "gate-rating"):
        assert (edge[rule].verdict, edge[rule].value, edge[rule].reason) == ("UNKNOWN", None, Reason.NOT_SOLVED)
    (one,) = advice(circuit, found)
    assert one.fit is None and one.capacitor is None and one.simplest.startswith("not known")
    console = Console(file=io.StringIO(), width=100)
    hold_off_text(found, console)
    advice_text([one], console)
    assert "not known: the integration" in console.file.getvalue()  # type: ignore[attr-defined]


def test_the_picture_is_written(tmp_path: Path) -> None:
    """Waveforms and map as a file; one that cannot be drawn, or not be written, is refused in words."""
    circuit, found = example("weak-pull-down")
    path = tmp_path / "edge.png"
    save_hold_off_plot(circuit, found, path)
    assert path.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_a_brief_gate_is_no_better_than_its_floor() -> None:
    """A gate left without any resistor is never held: the dead controller's phases fail."""
    loose = parse_circuit(edited(SOUND, (', pull_down = "10 kohm"', "")))
    (channel,) = hold_off(loose).channels
    assert "FAIL" in {phase.verdict for phase in channel.phases}
    assert channel.switch_on.verdict == "FAIL"
