"""Arming edge of a circuit: the worst corner against corners at random, what is judged of it, and what it is told by."""

from __future__ import annotations

import functools
import math
from dataclasses import replace

import numpy as np
import pytest

from ignition.analyses.no_fire import switch_on as search
from ignition.analyses.no_fire.corners import ENDS, NEAR_VOLTAGE, EdgeCorners, all_ends, holds
from ignition.analyses.no_fire.edge import coupled_charge
from ignition.analyses.no_fire.findings import switch_on_findings
from ignition.analyses.no_fire.switch_on import IgniterSwitchOn, SwitchOn, edge_times, switch_on
from ignition.analyses.verdict import check
from ignition.circuit.examples import load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.findings.finding import Finding, Reason
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND
from tests.findings.ends import WIDE

FLOATING = (
    ("before arm switch", "after arm switch"),
    ('pull_down = "10 kohm"', 'pull_down = "1 Mohm"'),
    (', capacitor = "10 nF"', ""),
    ('gate_drain_charge = "3 nC"\n', ""),
    ('reverse_transfer_capacitance = "40 pF"', 'reverse_transfer_capacitance = "150 pF"'),
)
"""A gate that only 1 Mohm holds, and a data sheet that states Crss alone."""

UNSETTLED = [
    # pull-down, gate-drain charge, input capacitance, inductance, battery, capacitor, threshold
    ("90 kohm .. 100 kohm .. 110 kohm", "6 nC .. 8 nC .. 11 nC", "0.8 nF .. 1 nF .. 1.2 nF", "1 uH .. 4 uH .. 8 uH", "10 V .. 12 V .. 13 V", "0.5 nF .. 1 nF .. 1.2 nF", "0.7 V .. 1 V .. 1.4 V"),
    ("9 kohm .. 10 kohm .. 11 kohm", "20 nC .. 25 nC .. 30 nC", "2 nF .. 3 nF .. 4 nF", "10 uH .. 15 uH .. 25 uH", "20 V .. 24 V .. 25 V", "3 nF .. 4 nF .. 5 nF", "1.2 V .. 1.6 V .. 2 V"),
    ("0.9 Mohm .. 1 Mohm .. 1.1 Mohm", "1 nC .. 1.5 nC .. 2 nC", "0.3 nF .. 0.4 nF .. 0.5 nF", "0.1 uH .. 0.2 uH .. 0.3 uH", "4.2 V .. 4.5 V .. 5 V", "0.1 nF .. 0.2 nF .. 0.3 nF", "0.5 V .. 0.6 V .. 0.7 V"),
]  # fmt: skip


def circuit_of(row: tuple[str, ...]) -> Circuit:
    """The wide circuit with values of its own at the gate and in the loop."""
    was = ("9.5 kohm .. 10 kohm .. 10.5 kohm", "2 nC .. 3 nC .. 4 nC", "0.8 nF .. 1 nF .. 1.2 nF", "1 uH .. 2 uH .. 3 uH", "8.0 V .. 8.2 V .. 8.4 V", "40 nF .. 44 nF .. 48 nF", "1.0 V .. 1.5 V .. 2.0 V")  # fmt: skip
    other = (
        ("28 V .. 30 V .. 32 V", "58 V .. 60 V .. 62 V"),
        ("10 ns .. 1 us", "10 ns .. 10 us"),
        ("80 kohm .. 100 kohm .. 120 kohm", "none"),
    )
    return parse_circuit(edited(WIDE, *zip(was, row, strict=True), *other))


@pytest.mark.parametrize("row", [UNSETTLED[0], UNSETTLED[2]], ids=["middle", "weak"])
def test_no_corner_exceeds_the_worst(row: tuple[str, ...]) -> None:
    """400 corners at random, every hold and rise time among them: no output is above what is told."""
    circuit, rng = circuit_of(row), np.random.default_rng(11)
    (group,) = search._groups(circuit).values()
    assert not group.settled
    (one,) = switch_on(circuit, integrate=True).channels[0].igniters
    draws = [
        search._Corner(
            int(rng.integers(len(group.makers))),
            dict(zip(ENDS, rng.integers(2, size=len(ENDS)).tolist(), strict=True)),
            int(rng.integers(len(group.times))),
        )
        for _ in range(400)
    ]
    tried = search._outputs([(group, corner) for corner in draws], search._ALL, 1e-4)
    for name, highest in zip(search._ALL, tried.max(axis=0), strict=True):
        assert highest <= getattr(one.model, name) <= getattr(one.bound, name), name
        assert highest <= 1.001 * getattr(one.bound, name), name
    (judged,) = switch_on(circuit).channels[0].igniters
    assert judged.judged.bounced_fraction >= tried[:, search._ALL.index("bounced_fraction")].max()


def test_a_gate_that_floats_fires() -> None:
    """1 Mohm, Crss 150 pF and a pin that floats: the share is beyond 1, and the check fails at switch-on; 1 kohm holds."""
    found = {f.rule: f for f in check(parse_circuit(edited(SOUND, *FLOATING))).findings if f.phase == "switch-on"}
    assert found["switch-on-below-function"].verdict == "FAIL"
    assert found["switch-on-below-function"].value > 1.0
    held = edited(SOUND, *FLOATING, ('pull_down = "1 Mohm"', 'pull_down = "1 kohm"'))
    held = edited(held, ('pull_down = "1 kohm"', 'pull_down = "1 kohm", capacitor = "470 nF"'))
    found = {f.rule: f for f in check(parse_circuit(held)).findings if f.phase == "switch-on"}
    assert found["switch-on-below-function"].verdict == "PASS"


@functools.cache
def analysed() -> tuple[Circuit, SwitchOn]:
    """The wide circuit and its arming edge."""
    circuit = parse_circuit(WIDE)
    return circuit, switch_on(circuit, integrate=True)


def judged(rule: str, circuit: Circuit | None = None, **changed: object) -> Finding:
    """The finding of a rule, the one igniter's result being changed."""
    own, found = analysed()
    (channel,) = found.channels
    doctored = replace(channel.igniters[0], **changed)  # type: ignore[arg-type]
    edge = SwitchOn(channels=(replace(channel, igniters=(doctored,)),))
    (finding,) = [f for f in switch_on_findings(circuit or own, edge) if f.rule == rule]
    return finding


@pytest.mark.parametrize(("share", "verdict"), [(1.0 - 1e-9, "PASS"), (1.0, "FAIL"), (1.0 + 1e-9, "FAIL")])
def test_the_share_of_all_closures_is_judged(share: float, verdict: str) -> None:
    """Below one passes; one is function."""
    model = analysed()[1].channels[0].igniters[0].model
    assert model is not None
    found = judged("switch-on-below-function", model=replace(model, bounced_fraction=share))
    assert (found.verdict, found.value, found.limit) == (verdict, share, 1.0)
    assert (found.channel, found.phase, found.igniter) == ("line", "switch-on", "line.igniter 1.1")
    assert "30 closures of a bouncing switch" in found.says


def test_the_bound_is_judged_where_nothing_was_integrated() -> None:
    """Closed forms alone may pass an igniter, and then are what is told."""
    bound = analysed()[1].channels[0].igniters[0].bound
    found = judged("switch-on-below-function", model=None, bound=replace(bound, bounced_fraction=0.25))
    assert (found.verdict, found.value) == ("PASS", 0.25)


@pytest.mark.parametrize(("gate", "verdict"), [(11.0, "PASS"), (11.001, "FAIL")])
def test_what_the_gate_bears_is_the_least_of_it(gate: float, verdict: str) -> None:
    """11 to 13 V: up to 11 V pass; beyond, the closed forms do not settle it."""
    bound = replace(analysed()[1].channels[0].igniters[0].bound, gate_voltage=gate)
    found = judged("gate-rating", model=None, bound=bound)
    assert (found.verdict, found.value, found.limit, found.phase) == (verdict, gate, 11.0, "switch-on")
    (group,) = search._groups(parse_circuit(WIDE)).values()
    group.bound = replace(group.bound, gate_voltage=gate)
    assert group.gate_bears is group.settled is (verdict == "PASS")


def test_what_is_not_solved_is_not_known() -> None:
    """An integration that did not come to its end decides nothing."""
    found = judged("switch-on-below-function", solved=False)
    assert (found.verdict, found.reason) == ("UNKNOWN", Reason.NOT_SOLVED)


@pytest.mark.parametrize(
    ("drain", "kick", "verdict", "value"),
    [
        (20.0, 1.0, "PASS", 0.0),  # below breakdown: none of the energy
        (29.0, 38e-3 * 0.88 * 0.999, "PASS", None),
        (29.0, 38e-3 * 0.88, "PASS", None),
        (29.0, 38e-3 * 0.88 * 1.001, "FAIL", None),
        (29.0, math.inf, "FAIL", None),
    ],
)
def test_ringing_beyond_breakdown(drain: float, kick: float, verdict: str, value: float | None) -> None:
    """28 V at 25 degC is 26.1 V at -10 degC at the least of its coefficient; 38 mJ less (40 - 25) / 125 of it are borne."""
    found = judged("switch-on-overvoltage", drain_voltage=drain, kick=kick)
    assert found.limit == pytest.approx(38e-3 * 0.88, rel=1e-12)
    assert found.verdict == verdict
    if math.isfinite(kick):
        assert found.value == pytest.approx(kick if value is None else value, rel=1e-12)


@pytest.mark.parametrize("key", ["breakdown", "avalanche_energy"])
def test_ringing_beyond_what_is_not_given(key: str) -> None:
    """Neither the voltage nor the energy of the breakdown: not known, and the key is named."""
    line = next(one for one in WIDE.splitlines() if one.startswith(f"{key} ="))
    circuit = parse_circuit(edited(WIDE, (f"{line}\n", "")))
    found = judged("switch-on-overvoltage", circuit, drain_voltage=35.0, kick=1e-6)
    assert (found.verdict, found.keys) == ("UNKNOWN", (f"mosfet.low_side.{key}",))
    if key == "avalanche_energy":
        assert judged("switch-on-overvoltage", circuit, drain_voltage=10.0).verdict == "PASS"


@pytest.mark.parametrize(
    ("left", "missing"),
    [
        (("input_capacitance",), ("mosfet.low_side.input_capacitance",)),
        (("gate_drain_charge",), ()),
        (("reverse_transfer_capacitance",), ()),
        (("gate_drain_charge", "reverse_transfer_capacitance"), ("mosfet.low_side.gate_drain_charge",)),
    ],
)
def test_keys_without_which_the_edge_is_not_known(left: tuple[str, ...], missing: tuple[str, ...]) -> None:
    """The input capacitance, and one of gate-drain charge and Crss."""
    text = "\n".join(line for line in SOUND.splitlines() if not line.startswith(left))
    circuit = parse_circuit(text)
    edge = switch_on(circuit).channels[0]
    assert edge.missing == missing
    assert (edge.worst is None) is bool(missing)
    found = [f for f in switch_on_findings(circuit, SwitchOn(channels=(edge,))) if f.rule == "switch-on-below-function"]
    assert all((f.verdict == "UNKNOWN") is bool(missing) and f.keys == missing for f in found)


def test_less_known_is_no_better() -> None:
    """Without the charge the plausible worst multiple of Crss stands for it: more lifts the gate, not less."""
    given = switch_on(parse_circuit(WIDE), integrate=True).channels[0].igniters[0].model
    crss_only = switch_on(parse_circuit(edited(WIDE, ('gate_drain_charge = "2 nC .. 3 nC .. 4 nC"\n', ""))), integrate=True)  # fmt: skip
    charge_only = switch_on(parse_circuit(edited(WIDE, ('reverse_transfer_capacitance = "38 pF .. 40 pF .. 42 pF"\n', ""))), integrate=True)  # fmt: skip
    assert given is not None
    for other in (crss_only, charge_only):
        model = other.channels[0].igniters[0].model
        assert model is not None
        assert model.gate_voltage >= given.gate_voltage
        assert model.bounced_fraction >= 0.999 * given.bounced_fraction


def test_circuits_side_by_side_are_circuits_alone() -> None:
    """Several at once give what each gives alone."""
    some = [parse_circuit(WIDE), circuit_of(UNSETTLED[0]), load_example("weak-pull-down")]
    each = [one for c in some for one in search._switch_ons([c], False, True)]  # `switch_ons` keeps what it has found
    for alone, together in zip(each, search._switch_ons(some, False, True), strict=True):
        for one, other in zip(alone.channels, together.channels, strict=True):
            mine, theirs = one.igniters[0], other.igniters[0]
            assert (mine.hold, mine.edge, mine.ends) == (theirs.hold, theirs.edge, theirs.ends)
            assert mine.judged.bounced_fraction == pytest.approx(theirs.judged.bounced_fraction, rel=1e-6)


def test_what_holds_the_gate_and_how_fast_it_rises() -> None:
    """A controller behind the arm switch never drives at the edge; five rise times lie evenly in the logarithm."""
    assert holds(parse_circuit(SOUND)) == ("driven low", "in reset", "dead")
    after = parse_circuit(edited(SOUND, ("before arm switch", "after arm switch")))
    assert holds(after) == ("in reset", "dead")
    assert edge_times(after) == pytest.approx([10e-9, 31.6228e-9, 100e-9, 316.228e-9, 1e-6], rel=1e-5)
    one = parse_circuit(edited(SOUND, ('edge = "10 ns .. 1 us"', 'edge = "20 ns"')))
    assert edge_times(one) == pytest.approx([20e-9])
    step = parse_circuit(edited(SOUND, ('edge = "10 ns .. 1 us"', 'edge = "0 s"')))
    assert edge_times(step) == pytest.approx([1e-9])


def maker(circuit: Circuit, hold: str = "driven low") -> EdgeCorners:
    """Corners of the one igniter type of a circuit."""
    (kind,) = circuit.igniters.values()
    return EdgeCorners(circuit=circuit, channel=circuit.channels[0], igniter=kind, hold=hold)  # type: ignore[arg-type]


def test_corners_are_the_ends_of_the_parts() -> None:
    """All low and all high of the wide circuit: each value by hand from the file."""
    circuit = parse_circuit(WIDE)
    ends = {name: np.array([0, 1]) for name in ENDS}
    edge = maker(circuit).edges(ends, np.array([10e-9, 1e-6]))
    assert edge.supply.tolist() == [8.0, 8.4]
    assert edge.rise_time.tolist() == [10e-9, 1e-6]
    # battery and lead as they are at -10 and 40 degC; 0.1 mF no bank; feed of 4, 9, 10 and 6, 12, 50 mohm
    channel, battery = circuit.channels[0], circuit.battery
    assert edge.line_resistance[0] == pytest.approx(battery.resistance.low + 0.023 + channel.lead.resistance.low)
    assert edge.line_resistance[1] == pytest.approx(battery.resistance.high + 0.068 + channel.lead.resistance.high)
    assert edge.inductance == pytest.approx([1e-6, 3.2e-6])  # and up to 0.2 uH of the battery
    assert edge.threshold == pytest.approx([1.0 - 5e-3 * 15.0, 2.0 + 5e-3 * 35.0])
    assert edge.gain == pytest.approx([1.0 / 20e-3, 1.0 / 10e-3])  # 2.5 V less the nominal 1.5 V
    assert edge.threshold_current.tolist() == [300e-6, 300e-6]
    assert edge.gate_source_capacitance == pytest.approx([0.8e-9 + 40e-9 - 42e-12, 1.2e-9 + 48e-9 - 42e-12])
    # the least of the data sheet in the cold, and 1.3 times the highest of it
    assert edge.breakdown == pytest.approx([28.0 * (1.0 - 0.001 * 35.0), 1.3 * 32.0])
    # output charge of up to 190 V x Coss over 8.4 V, the line's 300 pF; at least Coss - Crss
    assert edge.drain_capacitance == pytest.approx([280e-12 - 42e-12, 320e-12 * 190.0 / 8.4 + 300e-12])
    # the pin's 20 and 40 ohm behind 95 and 105 ohm, in parallel with the pull-down
    low, high = 115.0 * 9.5e3 / 9.615e3, 145.0 * 10.5e3 / 10.645e3
    assert edge.gate_resistance == pytest.approx([low, high])
    assert edge.gate_rest == pytest.approx([-1.1e-6 * low, 1.1e-6 * high], abs=1e-9)


def test_the_gate_drain_charge_comes_evenly_or_early() -> None:
    """Over 8.4 V: 4 nC at most, 38 pF x 8.4 V at least; even at C = Q / V, or most of it below a volt."""
    one = maker(parse_circuit(WIDE))
    assert one.charge(8.4) == pytest.approx((38e-12 * 8.4, 4e-9))
    assert one.charge(200.0) == pytest.approx((2e-9, 42e-12 * 200.0))
    edge = one.edges(all_ends(("coupling", "shape")), np.full(4, 1e-8))
    charge = coupled_charge(edge, np.full(4, 8.4))
    assert charge == pytest.approx([38e-12 * 8.4, 38e-12 * 8.4, 4e-9, 4e-9], rel=1e-9)
    assert edge.far_capacitance == pytest.approx([38e-12, 38e-12, 4e-9 / 8.4, 38e-12])
    early = coupled_charge(edge, np.full(4, NEAR_VOLTAGE))[3] - 38e-12 * NEAR_VOLTAGE
    assert early / (4e-9 - 38e-12 * 8.4) == pytest.approx(math.atan(1.0) / math.atan(8.4), rel=1e-9)


def test_crss_alone_stands_for_a_charge() -> None:
    """Crss times up to 450 V where the data sheet says no more: 2.5 to 20 times Crss V at 20 to 50 V (published)."""
    circuit = parse_circuit(edited(WIDE, ('gate_drain_charge = "2 nC .. 3 nC .. 4 nC"\n', "")))
    assert maker(circuit).charge(8.4) == pytest.approx((38e-12 * 8.4, 42e-12 * 450.0))


@pytest.mark.parametrize(
    ("hold", "edits", "resistance", "rest"),
    [
        # both leakages over the pull-down alone
        ("dead", (), 10.5e3, 1.1e-6 * 10.5e3),
        # 80 kohm and 95 ohm to 3.4 V, 10.5 kohm to ground: path low, pull-down high
        ("in reset", (), None, (3.4 / 80.095e3 + 1.1e-6) / (1.0 / 80.095e3 + 1.0 / 10.5e3)),
        # nothing holds it: left at any voltage up to the supply
        ("dead", ((', pull_down = "9.5 kohm .. 10 kohm .. 10.5 kohm"', ""),), 0.5e12, 3.4),
    ],
)
def test_where_the_gate_rests(hold: str, edits: tuple[tuple[str, str], ...], resistance: float, rest: float) -> None:
    """Leakage, pull-up and pull-down as one source."""
    circuit = parse_circuit(edited(WIDE, *edits))
    ends = {name: np.array([1]) for name in ENDS} | {"path": np.array([0])}
    edge = maker(circuit, hold).edges(ends, np.array([1e-8]))
    if resistance is not None:
        assert edge.gate_resistance[0] == pytest.approx(resistance, rel=1e-6)
    assert edge.gate_rest[0] == pytest.approx(rest, rel=1e-6)


def worst(text: str) -> IgniterSwitchOn:
    """The one igniter's arming edge."""
    return switch_on(parse_circuit(text), integrate=True).channels[0].igniters[0]


def test_more_closures_are_no_better() -> None:
    """Ten closures heat up to ten times as much as one, one counts one, and a switch that does not say is no better."""
    ten, one, silent = (
        worst(edited(WIDE, ('edge = "10 ns .. 1 us"', f'edge = "10 ns .. 1 us"\n{closures}')))
        for closures in ("closures = 10", "closures = 1", "")
    )
    assert (ten.closures, one.closures, silent.closures) == (10, 1, 30)
    assert one.judged.bounced_fraction == one.judged.thermal_fraction
    assert ten.judged.bounced_fraction == pytest.approx(10.0 * ten.judged.thermal_fraction, rel=0.1)
    with pytest.raises(InputError, match="closures"):  # nobody can give more than what silence counts
        parse_circuit(edited(WIDE, ('edge = "10 ns .. 1 us"', 'edge = "10 ns .. 1 us"\nclosures = 31')))


def test_an_igniter_in_series_shares_and_in_parallel_does_not_help() -> None:
    """A string's other igniters may be shorts; strings beside it may be open: no better than alone."""
    alone = worst(WIDE).judged
    for arrangement in ('[["match", "match"]]', '[["match"], ["match"]]'):
        found = worst(edited(WIDE, ('[["match"]]', arrangement))).judged
        assert found.bounced_fraction >= 0.999 * alone.bounced_fraction, arrangement
