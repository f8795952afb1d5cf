"""Contacts of a line in every analysis, against hand algebra on the bench circuit."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest

from ignition.analyses.cluster.ohm_budget import ohm_budget
from ignition.analyses.continuity.bands import remaining_charge
from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.continuity.requirement import line_resistance
from ignition.analyses.continuity.second_measurement import second_measurements
from ignition.analyses.continuity.unseen import current_when_fired
from ignition.analyses.continuity.waits import waits
from ignition.analyses.divider.demands import divider_duty
from ignition.analyses.faults.arming import arming_faults
from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.currents import highest_uncommanded, lowest_commanded
from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.faults import faults
from ignition.analyses.faults.situations import situations
from ignition.analyses.firing.firing import firing
from ignition.analyses.firing.on_state import Settled
from ignition.analyses.no_fire.corners import EdgeCorners, Hold, all_ends
from ignition.analyses.no_fire.findings import switch_on_findings
from ignition.analyses.no_fire.gate import phase_box
from ignition.analyses.no_fire.steady import no_fire
from ignition.analyses.no_fire.switch_on import edge_inputs, edge_times, switch_on
from ignition.analyses.trials.inputs import firing_inputs
from ignition.circuit.examples import load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.findings.finding import Reason
from ignition.network.elements import GROUND
from ignition.network.template import State, build_network
from ignition.parts.sense import filter_time_constant
from ignition.spice.deck import operating_point_deck, read_operating_point
from ignition.spice.ngspice import run_operating_points
from tests.analyses.faults.boards import board
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND
from tests.spice.faulted import bare

HIGH_SIDE = 'high_side = { resistance = "18 mohm .. 20 mohm .. 24 mohm", around = "10 kohm ± 1 %" }\n'
RETURN = 'return_contact = "15 mohm .. 16 mohm .. 30 mohm"\n'
SHUNT = 'shunt = "50 mohm"\n'

LEAD = 0.39970799955868247
LEAST = 0.04 + 0.01 + LEAD + 0.02 + 0.8
"""Battery, arm switch, lead, joints and bridge at their lowest [ohm]."""


def contacts(more: str, **changes: str) -> Circuit:
    """The bench circuit, its pins without a pull-up in reset, with contacts in its line."""
    return parse_circuit(board(second=more, **changes), "contacts.toml")


def highest(circuit: Circuit, phase: str) -> float:
    """Highest current of the igniter in a phase while nobody commands."""
    found = next(p for p in no_fire(circuit).channels[0].phases if p.phase == phase)
    return found.igniters[0].current


def test_sense_current_flows_around_the_switch() -> None:
    """While armed 8.4 V less the 0.5 V of a dead controller's clamp flow through line, resistor around and upper one."""
    total = LEAST + 0.99 * (10e3 + 100e3)
    assert highest(contacts(HIGH_SIDE), "armed") == pytest.approx(7.9 / total, rel=5e-4)
    assert highest(contacts(""), "armed") == pytest.approx(7.9 / (total - 9.9e3), rel=5e-4)
    nothing = HIGH_SIDE.replace('"10 kohm ± 1 %"', '"none"')
    assert highest(contacts(nothing), "armed") == pytest.approx(8.4 / 1e9, rel=2e-4)


def test_a_shorted_mosfet_while_the_switch_is_open() -> None:
    """The resistor around it is all that is left in the loop: 8.4 V over 9.9 kohm."""
    found = faults(contacts(HIGH_SIDE + RETURN))
    row = next(r for r in found.phase("armed").faults if r.faults == ("line.mosfet drain-source-short",))
    assert row.current == pytest.approx(8.4 / (0.99 * 10e3), rel=1e-3)
    assert row.kind == "detected"
    assert found.fewest == {"disarmed": 2, "reset": 1, "armed": 1, "firing": None}
    assert [r.faults for r in found.phase("armed").of("hazardous")] == [("controller all-pins-high",)]


def test_open_in_the_return() -> None:
    """While disarmed only the open contact's gap is in the loop, whatever the arm switch does."""
    circuit = contacts(RETURN)
    assert highest(circuit, "disarmed") < 1e-8
    row = next(r for r in faults(circuit).phase("disarmed").faults if r.faults == ("arm switch stuck-closed",))
    assert row.current == pytest.approx(8.4 / 1e9, rel=1e-3)
    jammed = next(r for r in faults(circuit).phase("disarmed").faults if r.faults == ("arm switch jammed-closed",))
    dead = (8.4 - 0.5) / (0.99 * 100e3)  # the clamp of the dead controller holds the tap at 0.5 V
    assert jammed.current == pytest.approx(dead, rel=2e-2)


def test_firing_current_counts_every_contact() -> None:
    """Highest: 8.4 V over the least of all; the MOSFET has 10 mohm. Lowest: 7 V over the most, 20 mohm."""
    found = firing(contacts(HIGH_SIDE + RETURN + SHUNT)).channels[0].igniters[0].current
    least, most = LEAST + 0.018 + 0.015 + 0.01, 0.1 + 0.05 + LEAD + 0.1 + 1.3 + 0.024 + 0.03 + 0.02
    assert found.high == pytest.approx(8.4 / least, rel=1e-4)
    assert found.low == pytest.approx(7.0 / most, rel=1e-4)


def test_closed_contact_beside_what_lies_around_it() -> None:
    """24 mohm beside 10.1 kohm; opened, the line has that alone."""
    channel = contacts(HIGH_SIDE).channels[0]
    assert channel.high_side is not None
    assert channel.contacts_fired.high == pytest.approx(0.024 * 10.1e3 / (0.024 + 10.1e3), rel=1e-12)
    assert channel.contacts_fired.low == pytest.approx(0.018 * 9.9e3 / (0.018 + 9.9e3), rel=1e-12)
    assert (channel.contacts_tested.low, channel.contacts_tested.high) == (9.9e3, 10.1e3)
    assert channel.into_tap.nominal == 110e3
    assert contacts("").channels[0].contacts_tested.high == 0.0


def states(circuit: Circuit, state: State) -> dict[str, bool]:
    """Which contacts of the line are closed."""
    network = build_network(circuit, state)
    return {name: network.element(f"line.{name}").closed for name in ("high side", "return contact", "shunt")}


def test_what_is_closed_when() -> None:
    """The arm switch moves return and shunt; the firing command alone closes the high side, a pull-up in reset may."""
    circuit, own = contacts(HIGH_SIDE + RETURN + SHUNT), frozenset({"line"})
    off = {"high side": False, "return contact": True, "shunt": False}
    assert states(circuit, State(phase="armed")) == off
    assert states(circuit, State(phase="armed", commanded=own)) == off  # a test pulse
    assert states(circuit, State(phase="firing", commanded=own)) == off | {"high side": True}
    assert states(circuit, State(phase="firing")) == off
    assert states(circuit, State(phase="reset")) == off
    open_switch = {"high side": False, "return contact": False, "shunt": True}
    assert states(circuit, State(phase="disarmed")) == open_switch
    assert states(circuit, State(phase="armed", lines={"line": "not armed"})) == open_switch
    pulled = parse_circuit(
        board(second=HIGH_SIDE + RETURN + SHUNT).replace('reset_pull_up = "none"', 'reset_pull_up = "45 kohm"')
    )
    assert states(pulled, State(phase="reset")) == off | {"high side": True}
    assert states(pulled, State(phase="armed")) == off


def test_where_they_stand() -> None:
    """High side between bus and lead, return between lead and drain, the shunt across both ends of the lead."""
    network = build_network(contacts(HIGH_SIDE + RETURN + SHUNT), State(phase="armed"))
    ends = {e.name.removeprefix("line."): (e.plus, e.minus) for e in network.elements}
    assert ends["high side"] == ends["around"] == ("bus", "line.box out")
    assert ends["lead out"] == ("line.box out", "line.line out")
    assert ends["lead back"] == ("line.line back", "line.box back")
    assert ends["return contact"] == ends["return gap"] == ("line.box back", "line.drain")
    assert ends["shunt"] == ("line.box out", "line.box back")
    assert ends["lower"] == ("line.tap", GROUND)


def test_reading_settles_through_the_resistor_around() -> None:
    """Filter and sample capacitor charge through 10.1 kohm more than the upper resistor."""
    sense = 'upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %", filter = "100 nF"'
    adc = 'sample_capacitance = "8 pF"\nacquisition_time = "2 us"'
    circuit = contacts(HIGH_SIDE, sense=sense, adc=adc)
    channel = circuit.channels[0]
    slow = float(filter_time_constant(101e3 + 10.1e3, 1.01 * 33e3, 100e-9 + 8e-12))
    assert waits(circuit, channel, 1000.0).time_constant > slow  # and the drain's, see test_waits.py
    bare = contacts(HIGH_SIDE, adc=adc)
    source = 1.0 / (1.0 / (101e3 + 10.1e3) + 1.0 / (1.01 * 33e3))
    left = remaining_charge(bare, bare.channels[0], "intact", phase_box(bare, "armed"))
    assert left == pytest.approx(math.exp(-2e-6 / (source * 8e-12)), rel=1e-4)


def test_line_as_the_divider_sees_it() -> None:
    """Lead, contacts, the resistor around and the bridge; the way to a fault of the upper resistor leads through it."""
    circuit = contacts(HIGH_SIDE + RETURN)
    channel = circuit.channels[0]
    low, high = line_resistance(circuit, channel, "intact")
    assert low == pytest.approx(LEAD + 0.02 + 0.015 + 9.9e3 + 0.8, rel=1e-5)
    assert high == pytest.approx(LEAD + 0.1 + 0.03 + 10.1e3 + 1.3, rel=1e-5)
    assert line_resistance(circuit, channel, "shorted")[0] == pytest.approx(low - 0.8, rel=1e-9)
    assert divider_duty(circuit, channel, 0.01).path == pytest.approx(low - 0.8 + 0.05, rel=1e-9)
    blind = contacts(HIGH_SIDE.replace('"10 kohm ± 1 %"', '"none"'))
    with pytest.raises(InputError, match="nothing lies around its high-side switch"):
        divider_duty(blind, blind.channels[0], 0.01)


def test_bands_of_a_line_read_through_the_resistor_around() -> None:
    """Intact at nominal: 33 of 143 kohm of 7.6 V, less the battery's sag of the controller, over 3.3 V in 4096 steps."""
    circuit = contacts(HIGH_SIDE)
    found = next(r for r in continuity(circuit).channels[0].readings if r.state == "intact")
    drawn = circuit.controller.current.nominal
    volts = (7.6 - 0.06 * drawn) * 33e3 / (10e3 + 133e3 + LEAD + 0.04 + 1.0 + 0.08)
    assert found.band.code.nominal == pytest.approx(volts / 3.3 * 4096, rel=1e-5)


def test_a_test_pulse_goes_through_the_resistor_around() -> None:
    """With the MOSFET on for the test 8.4 V over 9.9 kohm flow, not amperes."""
    pulse = 'second = { test_pulse = "20 us" }\n'
    found = second_measurements(*(lambda c: (c, c.channels[0]))(contacts(pulse + HIGH_SIDE)))
    driven = found[0].driven
    assert driven is not None
    assert driven.igniters["line.igniter 1.1"] == pytest.approx(8.4 / 9.9e3, rel=1e-3)


def test_ohm_budget_names_the_contacts() -> None:
    """20 and 16 mohm of the loop's nominal resistance."""
    circuit = contacts(HIGH_SIDE + RETURN)
    shares = {share.part: share for share in ohm_budget(circuit, circuit.channels[0])}
    assert shares["contacts of the line"].resistance.nominal == pytest.approx(0.036, rel=1e-5)
    assert "contacts of the line" not in {s.part for s in ohm_budget(contacts(""), contacts("").channels[0])}


def of_sound(more: str, *changes: tuple[str, str]) -> Circuit:
    """The sound circuit with contacts."""
    return parse_circuit(edited(SOUND, ("gate = {", f"{more}gate = {{"), *changes), "sound.toml")


PULLED = ('reset_pull_up = "none"', 'reset_pull_up = "45 kohm"')


@pytest.mark.parametrize(("hold", "changes", "more"), [("driven low", (), 9.9e3), ("dead", (), 9.9e3), ("in reset", (PULLED,), 0.0)])  # fmt: skip
def test_arming_edge_through_the_resistor_around(hold: Hold, changes: tuple[tuple[str, str], ...], more: float) -> None:
    """The edge reaches the line through it, unless pins in reset may have closed the switch."""
    lines = []
    for text in ("", HIGH_SIDE):
        circuit = of_sound(text, *changes)
        maker = EdgeCorners(circuit=circuit, channel=circuit.channels[0], igniter=circuit.igniters["match"], hold=hold)
        ends = {name: np.zeros(1, dtype=np.intp) for name in all_ends(())}
        lines.append(float(maker.edges(ends, np.array([1e-6])).line_resistance[0]))
    assert lines[1] - lines[0] == pytest.approx(more + (0.018 if more == 0.0 else 0.0), abs=1e-2)


def test_a_closing_return_is_only_bounded() -> None:
    """The fastest edge is tried; beyond its bound nothing is known, within it the verdict stands."""
    plain, poled = of_sound(""), of_sound(RETURN)
    assert edge_times(plain)[0] > 1e-9
    assert edge_times(poled)[0] == pytest.approx(1e-9)
    found = switch_on(poled, integrate=True).channels[0].igniters[0]
    assert (found.followed, found.model) == (False, None)
    assert switch_on(plain, integrate=True).channels[0].igniters[0].model is not None
    verdicts = {f.rule: f.verdict for f in switch_on_findings(poled, switch_on(poled))}
    assert verdicts["switch-on-below-function"] == "PASS"
    weak = ('capacitor = "10 nF"', 'capacitor = "1 nF"')
    loose = of_sound(RETURN, weak)
    edge = {f.rule: f for f in switch_on_findings(loose, switch_on(loose))}["switch-on-below-function"]
    assert (edge.verdict, edge.value, edge.reason) == ("UNKNOWN", None, Reason.NOT_ANALYSED)
    row = next(one for one in arming_faults(loose) if one.fault == "")
    assert row.kind == "not solved"


def test_a_welded_high_side_at_the_arming_edge() -> None:
    """With the switch stuck closed, or what lies around it shorted, the edge is that of the circuit without it."""
    rows = {one.fault: one for one in arming_faults(of_sound(HIGH_SIDE))}
    plain = {one.fault: one for one in arming_faults(of_sound(""))}
    for fault in ("line.high side stuck-closed", "line.around short"):
        assert rows[fault].thermal_fraction == pytest.approx(plain[""].thermal_fraction, rel=0.05)
    # what lies around it keeps the edge of an open gate capacitor, which fires the plain line, harmless
    assert plain["line.gate capacitor open"].kind == "hazardous"
    assert rows["line.gate capacitor open"].kind == "harmless"


def test_a_worn_high_side_at_the_arming_edge() -> None:
    """Welded: 1 ohm beside 2 ohm lie in the lead; what lies around it shorted: the line without a switch, exactly."""
    joints = re.search(r'joints = "([^"]*)"', SOUND)
    assert joints is not None
    low, nominal, high = (float(end.removesuffix(" mohm")) + 2000.0 / 3.0 for end in joints[1].split(" .. "))
    more = (joints[0], f'joints = "{low!r} mohm .. {nominal!r} mohm .. {high!r} mohm"')
    rows = {one.fault: one for one in arming_faults(of_sound(WORN))}
    plain, longer = (arming_faults(of_sound("", *changes))[0] for changes in ((), (more,)))
    assert rows["line.around short"].thermal_fraction == plain.thermal_fraction
    assert rows["line.high side stuck-closed"].thermal_fraction == pytest.approx(longer.thermal_fraction, rel=1e-9)
    assert plain.thermal_fraction is not None and longer.thermal_fraction is not None
    assert longer.thermal_fraction < 0.9 * plain.thermal_fraction


@pytest.mark.parametrize(("capacitor", "kind"), [("10 nF", "harmless"), ("4.7 nF", "not solved")])
def test_a_welded_high_side_before_a_closing_return(capacitor: str, kind: str) -> None:
    """The charge of the wire out is behind the welded contact as well: its 100 ohm keep nothing off the igniter."""
    worn = 'high_side = { resistance = "100 ohm", around = "10 kohm" }\n'
    circuit = of_sound(worn + RETURN, ('capacitor = "10 nF"', f'capacitor = "{capacitor}"'))
    rows = {one.fault: one for one in arming_faults(circuit)}
    welded, shorted = rows["line.high side stuck-closed"], rows["line.around short"]
    assert (rows[""].kind, welded.kind, shorted.kind) == (kind, kind, kind)
    assert welded.thermal_fraction == shorted.thermal_fraction == rows[""].thermal_fraction
    assert (welded.thermal_fraction is None) is (kind == "not solved")


def test_a_kick_counts_no_contact() -> None:
    """Where the gate comes on at the edge the line's current at the least resistance is that without contacts."""
    weak = ('capacitor = "10 nF"', 'capacitor = "1 nF"')
    plain, worn = (switch_on(of_sound(text, weak)).channels[0].igniters[0] for text in ("", WORN))
    assert plain.judged.time_above_threshold > 0.0 and worn.judged.time_above_threshold > 0.0
    assert worn.kick == pytest.approx(plain.kick, rel=1e-12)


def test_trials_draw_every_contact() -> None:
    """Contact, resistor around it and contact in the return each within its own limits."""
    around = 'high_side = { resistance = "18 mohm .. 20 mohm .. 24 mohm", around = "9 kohm .. 10 kohm .. 12 kohm" }\n'
    circuit = contacts(around + RETURN)
    drawn = {one.name: one for one in firing_inputs(circuit, Settled(circuit))}
    for name, ends in (
        ("high side", (0.018, 0.02, 0.024)),
        ("around", (9e3, 10e3, 12e3)),
        ("return contact", (0.015, 0.016, 0.03)),
    ):
        value = drawn[f"line.{name}"].value
        assert (value.low, value.nominal, value.high) == pytest.approx(ends)
        assert drawn[f"line.{name}"].group == "contacts of line"


def test_an_unseen_resistance_is_fired_through_the_contacts() -> None:
    """8.4 V over 10 ohm, the line without its bridge, 1 ohm beside 2 ohm and 15 mohm in the return."""
    circuit = contacts(WORN + RETURN)
    rest = LEAST - 0.8 + 2.0 / 3.0 + 0.015
    assert current_when_fired(circuit, circuit.channels[0], 10.0) == pytest.approx(8.4 / (10.0 + rest), rel=1e-9)


def test_edge_depends_on_the_contacts() -> None:
    """Two circuits of other contacts do not count as one."""
    keys = {edge_inputs(of_sound(text)) for text in ("", HIGH_SIDE, RETURN, HIGH_SIDE + RETURN)}
    assert len(keys) == 4


def test_inhibits() -> None:
    """All that stands in the way is listed; with five of them no pair tells what defeats one, with two it does."""
    found = faults(contacts(HIGH_SIDE + RETURN + SHUNT))
    disarmed = {one.inhibit: one.defeated_by for one in found.inhibits if one.phase == "disarmed"}
    assert disarmed == dict.fromkeys(
        (
            *("arm switch open", "MOSFET off", "high-side switch open", "contact in the return open"),
            "shunt across the line",
        )
    )
    armed = {one.inhibit: set(one.defeated_by or ()) for one in found.inhibits if one.phase == "armed"}
    assert armed["high-side switch open"] == {
        "controller all-pins-high", "line.high side stuck-closed", "line.around short", "line.lead out to-battery",
    }  # fmt: skip
    assert {"line.mosfet drain-source-short", "line.gate pin stuck-high"} <= armed["MOSFET off"]
    assert len([one for one in found.inhibits if one.phase == "reset"]) == 2


def test_wrong_value() -> None:
    """What lies around is a resistance or nothing, and has to be said."""
    for text, says in (
        ('high_side = { resistance = "20 mohm", around = "some" }', "is 'none', or a resistance such as '100 kohm'"),
        ('high_side = { resistance = "20 mohm" }', "around"),
        ('shunt = "-1 ohm"', "must not be below 0 ohm"),
    ):
        with pytest.raises(InputError, match=says):
            contacts(text)


def test_examples_have_none() -> None:
    """An example without contacts has none of their elements: nothing of it is slower."""
    network = build_network(load_example("demo"), State(phase="armed"))
    assert not [
        e.name for e in network.elements if any(w in e.name for w in ("high side", "return", "shunt", "around"))
    ]


def test_the_readme_shows_what_can_be_written() -> None:
    """The keys that it shows stand in a channel of the sound circuit."""
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    shown = text[text.index("high_side = {") :].partition("```")[0]
    kept = [line for line in SOUND.splitlines() if not line.startswith(("sense = {", "gate = {"))]
    place = next(k for k, line in enumerate(kept) if line.startswith("lead = {"))
    circuit = parse_circuit("\n".join([*kept[:place], shown, *kept[place:]]), "shown.toml")
    channel = circuit.channels[0]
    assert channel.high_side is not None
    assert (len(channel.uppers), len(channel.pull_downs)) == (2, 2)
    assert channel.return_contact is not None
    assert channel.shunt is not None


def test_a_contact_that_keeps_nothing_off_is_no_inhibit() -> None:
    """A shunt of 1 Gohm, and a high-side switch with 0.1 ohm around it: as if they were not there."""
    plain = {(i.phase, i.inhibit): i.defeated_by for i in faults(contacts("")).inhibits}
    for more in ('shunt = "1 Gohm"\n', 'high_side = { resistance = "0 ohm", around = "0.1 ohm" }\n'):
        found = {(i.phase, i.inhibit): i.defeated_by for i in faults(contacts(more)).inhibits}
        assert found.keys() == plain.keys()
        assert all(defeats is not None for defeats in found.values())


def test_the_charge_of_the_wire_out_is_behind_the_resistor_around() -> None:
    """Where the return closes last it flows through the igniter: the bound is that of a line without the resistor."""
    both, alone = (switch_on(of_sound(text)).channels[0].igniters[0] for text in (HIGH_SIDE + RETURN, RETURN))
    assert both.bound.current == pytest.approx(alone.bound.current, rel=0.05)
    assert switch_on(of_sound(HIGH_SIDE)).channels[0].igniters[0].bound.current < 0.01 * alone.bound.current


@pytest.mark.parametrize("around", ["0 ohm", "1 ohm .. 0.1 ohm"])
def test_one_message_for_a_resistance_that_is_none(around: str) -> None:
    """It says what is wrong with the resistance, not that a word was expected."""
    with pytest.raises(InputError, match="1 mistake") as caught:
        contacts(f'high_side = {{ resistance = "20 mohm", around = "{around}" }}')
    assert "must be 'none'" not in str(caught.value)


WORN = 'high_side = { resistance = "1 ohm", around = "2 ohm" }\n'


def driven_by(circuit: Circuit, phase: str, *faults: str) -> float:
    """Highest current of the igniter with some faults in a phase, the controller alive and nobody commanding."""
    bench = Bench.of(circuit, situations(circuit), single_faults(circuit))
    names = [fault.name for fault in bench.faults]
    members = Members.each(bench.numbers(phase), np.array([[names.index(fault) for fault in faults]]))
    found = highest_uncommanded(bench, members)
    alive = [bench.situations[k].controller == "alive" for k in members.situations]
    assert found.settled.all()
    return float(found.current[alive].max())


@pytest.mark.parametrize(
    ("faults", "contact"),
    [
        (("line.high side stuck-closed",), 2.0 / 3.0), (("line.around short",), 0.0), ((), 2.0),
        (("line.high side stuck-closed", "line.around open"), 1.0),
        (("line.high side stuck-closed", "line.around short"), 0.0),
    ],
)  # fmt: skip
def test_contact_and_resistor_around_fail_by_themselves(faults: tuple[str, ...], contact: float) -> None:
    """With the drain shorted to ground: 8.4 V over the line and 1 ohm beside 2 ohm, of which either may be missing."""
    circuit = contacts(WORN)
    found = driven_by(circuit, "armed", "line.mosfet drain-source-short", *faults)
    assert found == pytest.approx(8.4 / (LEAST + contact), rel=1e-4)


def fired(circuit: Circuit, fault: str) -> float:
    """Lowest current of the igniter while it is commanded, with a fault."""
    bench = Bench.of(circuit, situations(circuit), single_faults(circuit))
    pick = [one.name for one in bench.faults].index(fault)
    found = lowest_commanded(bench, Members.each(bench.numbers("firing"), np.array([[pick]])))
    return float(found.current.min())


HALF = 'high_side = { resistance = "50 mohm", around = "10 kohm" }\nreturn_contact = "50 mohm"\nshunt = "50 mohm"\n'


def test_a_shunt_that_stays_closed_takes_its_share_of_what_the_contacts_leave() -> None:
    """7 V behind battery, switch and MOSFET, both contacts in the common path; 50 mohm beside 1.9 ohm of lead and bridge."""
    line = LEAD + 0.1 + 1.3
    both = line * 0.05 / (line + 0.05)
    before = 0.1 + 0.05 + 2 * 0.05 + 0.02
    current = 7.0 / (before + both) * 0.05 / (line + 0.05)
    assert fired(contacts(HALF), "line.shunt stuck-closed") == pytest.approx(current, rel=2e-3)


def test_faults_of_contacts_in_ngspice() -> None:
    """Every pair of faults of contacts, armed with the drain shorted: nominal currents as the deck's."""
    circuit = contacts(WORN + 'return_contact = "0.3 ohm"\nshunt = "0.7 ohm"\n')
    bench = Bench.of(circuit, situations(circuit), single_faults(circuit))
    names = [fault.name for fault in bench.faults]
    some = [name for name in names if re.match(r"line\.(high side|around|return contact|shunt) ", name)]
    assert len(some) == 9
    shorted = names.index("line.mosfet drain-source-short")
    picks = np.array([[names.index(a), names.index(b), shorted] for a in some for b in some if a < b])
    (number,) = [k for k in bench.numbers("armed") if bench.situations[k].controller == "alive"]
    decks, ours, networks = [], [], []
    for batch in bench.batches(Members.each([number], picks)):
        solution = batch.boxes.solved(batch.boxes.nominal)
        for row in range(len(batch.first)):
            network, values = bare(batch.boxes, row)
            decks.append(operating_point_deck(network, values, "contacts"))
            networks.append(network)
            ours.append(float(solution.current("line.igniter 1.1")[row]))
    told = [
        read_operating_point(plot, network).currents["line.igniter 1.1"]
        for plot, network in zip(run_operating_points(decks), networks, strict=True)
    ]
    assert ours == pytest.approx(told, rel=1e-6, abs=1e-9) and max(told) > 3.0
