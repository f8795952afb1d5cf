"""Analysis of foreign netlists against the channel template, hand algebra and ngspice."""

from __future__ import annotations

import io
import json
import math
from importlib import resources

import numpy as np
import pytest
from rich.console import Console

from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.no_fire.gate import gate_in_phase
from ignition.circuit.file import parse_circuit
from ignition.errors import InputError
from ignition.foreign.analysis import analyse_foreign
from ignition.foreign.binding import bind
from ignition.foreign.network import FOREIGN_PHASES, Situation, situation_network
from ignition.foreign.reader import parse_netlist
from ignition.foreign.results import NOT_COVERED, ForeignResult
from ignition.foreign.roles import Roles, parse_roles
from ignition.network.solution import solve
from ignition.network.worst_case import draw
from ignition.report.foreign_text import foreign_text
from ignition.report.json_walk import to_json
from ignition.spice.deck import operating_point_deck, read_operating_point
from ignition.spice.netlist import Netlist
from ignition.spice.ngspice import run_operating_points
from tests.foreign.foreign_cases import BENCH_CIRCUIT, BENCH_NETLIST, BENCH_ROLES

NO_PULL_UP = 'reset_pull_up = "none"\n'


def bench(roles: str = BENCH_ROLES, netlist: str = BENCH_NETLIST) -> ForeignResult:
    """Bench channel as a netlist."""
    return analyse_foreign(parse_netlist(netlist), parse_roles(roles))


@pytest.fixture(scope="module")
def example() -> tuple[Netlist, Roles]:
    """The example that travels with the package."""
    folder = resources.files("ignition.data.examples")
    netlist = parse_netlist(folder.joinpath("foreign.cir").read_text(encoding="utf-8"), "foreign.cir")
    return netlist, parse_roles(folder.joinpath("foreign_roles.toml").read_text(encoding="utf-8"), "foreign_roles.toml")


@pytest.fixture(scope="module")
def result(example: tuple[Netlist, Roles]) -> ForeignResult:
    """Its analysis."""
    return analyse_foreign(*example)


def test_bench_netlist_gives_the_numbers_of_the_circuit_file() -> None:
    """A template channel written as a netlist has the template's currents, codes, overlaps and margin."""
    ours, theirs = bench().channels[0], continuity(parse_circuit(BENCH_CIRCUIT)).channels[0]
    assert [r.state for r in ours.readings] == [r.state for r in theirs.readings]
    for mine, other in zip(ours.readings, theirs.readings, strict=True):
        for side in ("low", "nominal", "high"):
            current = getattr(mine.igniter_current, side), getattr(other.igniter_current, side)
            assert current[0] == pytest.approx(current[1], rel=1e-9, abs=2e-12), (mine.state, side)
            code = getattr(mine.band.code, side), getattr(other.band.code, side)
            assert code[0] == pytest.approx(code[1], rel=1e-6, abs=1e-6), (mine.state, side)
    assert ours.cannot_tell_apart == theirs.cannot_tell_apart
    assert {(t.below, t.above, t.code) for t in ours.thresholds} == {
        (t.below, t.above, t.code) for t in theirs.thresholds
    }
    assert bench().margin("armed", "RIGN").ratio == pytest.approx(theirs.no_fire_margin, rel=1e-7)


def test_bench_intact_current_by_hand() -> None:
    """Highest current of the intact line with no leakage: strongest battery over the least of all resistances."""
    roles = BENCH_ROLES.replace('leakage = "0.1 uA"', 'leakage = "0 A"').replace(
        'leakage = { cool = "1 uA", hot = "40 uA" }', 'leakage = { cool = "0 A", hot = "0 A" }'
    )
    netlist = BENCH_NETLIST.replace(
        "R3 pin gate 100\nR4 gate 0 10k", "R3 pin gate 100\nR4 gate 0 1"
    )  # holds the gate at 0 V
    spread = bench(roles, netlist).channels[0].reading("intact").igniter_current
    least = 0.04 + 0.01 + 0.3 + 0.8 + 99e3 + 32.67e3
    assert spread.high == pytest.approx(8.4 / least, rel=2e-5)
    assert spread.nominal == pytest.approx(7.6 / (0.06 + 0.02 + 0.4 + 1.0 + 133e3), rel=2e-5)


def test_margin_ratio_decibels_and_thermal_fraction_agree() -> None:
    """The three forms of a margin are one number: 20 log10 of the ratio, and one over its square."""
    margin = bench().margin("armed", "RIGN")
    assert margin.ratio is not None and margin.decibels is not None and margin.no_fire is not None
    assert margin.ratio == pytest.approx(margin.no_fire / margin.current.high, rel=1e-12)  # type: ignore[operator]
    assert margin.decibels == pytest.approx(20.0 * np.log10(margin.ratio), rel=1e-12)
    assert margin.thermal_fraction == pytest.approx(margin.ratio**-2, rel=1e-12)


def test_disarmed_line_carries_nothing_and_says_so() -> None:
    """With the arm switch open no source drives the bench line: no ratio, and the reason."""
    margin = bench().margin("disarmed", "RIGN")
    assert margin.ratio is None and margin.thermal_fraction == pytest.approx(0.0, abs=1e-9)
    assert margin.reason == "no current flows" or (margin.current.high or 0.0) > 0


def test_gate_voltage_is_the_template_s() -> None:
    """The gate voltage found in the network is the closed form's, in each phase; a reset pull-up lifts it.

    The pin's own leakage is left out: here it flows at the pin, in the closed form, more conservatively, at the gate.
    """
    quiet = ('leakage = "0.3 uA"', 'leakage = "0 A"')
    for pull_up in ("none", "40 kohm ± 20 %"):
        written = (NO_PULL_UP, f'reset_pull_up = "{pull_up}"\n')
        circuit = parse_circuit(BENCH_CIRCUIT.replace(*written).replace(*quiet))
        ours = bench(BENCH_ROLES.replace(*written).replace(*quiet))
        for phase in FOREIGN_PHASES:
            state = gate_in_phase(circuit, circuit.channels[0], phase)
            gate = ours.margin(phase, "RIGN").gate_voltage
            for side in ("low", "nominal", "high"):
                assert getattr(gate, side) == pytest.approx(getattr(state.gate_voltage, side), rel=1e-6, abs=1e-9)


def test_gate_above_threshold_passes_its_saturation_current() -> None:
    """A pull-up in reset that lifts the gate above the lowest threshold makes the line hazardous in reset only."""
    roles = BENCH_ROLES.replace(NO_PULL_UP, 'reset_pull_up = "5 kohm"\n')
    margins = bench(roles)
    assert (margins.margin("reset", "RIGN").ratio or 0.0) < 1.0
    assert (margins.margin("armed", "RIGN").ratio or 0.0) > 1000.0


def test_pin_of_which_nothing_is_known_may_drive_the_gate_high() -> None:
    """Without `reset_pull_up` the pin may be high in reset: 3.3 V through 100 ohm over 10 kohm, and the line is on."""
    found = bench(BENCH_ROLES.replace(NO_PULL_UP, ""))
    margin = found.margin("reset", "RIGN")
    leakage = 0.3e-6 * 99.0099  # into the pin with 0 ohm from the rail: held, nothing added
    assert margin.gate_voltage.high == pytest.approx(3.3 * 10e3 / 10.1e3, abs=leakage)
    assert margin.current.high == pytest.approx(8.4 / (0.04 + 0.01 + 0.3 + 0.8), rel=1e-4)
    doubted = {f.rule: (f.verdict, f.keys) for f in found.findings if f.phase == "reset"}
    expected = ("UNKNOWN", ("controller.pin.reset_pull_up",))
    assert doubted["gate-held-off"] == doubted["below-no-fire"] == expected


def test_gate_that_nothing_holds_is_taken_as_on() -> None:
    """Without a pull-down the gate floats in reset: the bound covers the switch on, and the reason is given."""
    netlist = BENCH_NETLIST.replace("R4 gate 0 10k\n", "")
    margin = bench(BENCH_ROLES.replace('R4 = "0 %"\n', ""), netlist).margin("reset", "RIGN")
    assert margin.current.high == pytest.approx(8.4 / (0.04 + 0.01 + 0.3 + 0.8), rel=1e-3)
    assert margin.gate_voltage.low is None and "nothing holds the gate" in (margin.gate_voltage.reason or "")


def test_missing_no_fire_current_is_unknown() -> None:
    """Without a no-fire current there is a current but no margin."""
    start = BENCH_ROLES.index("no_fire =")
    roles = BENCH_ROLES[:start] + BENCH_ROLES[BENCH_ROLES.index("all_fire =") :]
    found = analyse_foreign(parse_netlist(BENCH_NETLIST), parse_roles(roles))
    margin = found.margin("armed", "RIGN")
    assert margin.ratio is None and margin.no_fire is None and "has no no-fire current" in (margin.reason or "")


def test_example_finds_what_it_was_made_for(result: ForeignResult) -> None:
    """The cross-link couples the lines: their currents, and what an open line reads."""
    both = result.channels[0].reading("intact").igniter_current
    assert result.margin("armed", "RIGN1").current.high == pytest.approx(both.high)
    assert ("intact", "shorted") in result.channels[0].cannot_tell_apart
    assert (result.channels[0].reading("open").band.voltage.nominal or 0.0) > 0.3  # fed through the cross-link


def test_samples_lie_inside_the_bounds(example: tuple[Netlist, Roles], result: ForeignResult) -> None:
    """Random values of every part stay inside the bounds printed for the intact line."""
    built = situation_network(bind(*example), Situation(phase="armed"))
    network, box = built.network, built.box
    rng = np.random.default_rng(7)
    solution = solve(network, draw({n: box[n] for n in network.parameters}, rng, 3000))
    current = result.channels[0].reading("intact").igniters["RIGN1"]
    assert current.low is not None and current.high is not None
    assert np.all((solution.current("RIGN1") >= current.low) & (solution.current("RIGN1") <= current.high))


@pytest.mark.parametrize("line", ["intact", "open", "shorted", "mosfet shorted", "not armed"])
def test_network_agrees_with_ngspice(example: tuple[Netlist, Roles], line: str) -> None:
    """The steady network has ngspice's currents and voltages in every line state, at nominal and at random values."""
    built = situation_network(bind(*example), Situation(phase="armed", lines={"line B": line}))
    network, box = built.network, built.box
    rows = draw({n: box[n] for n in network.parameters}, np.random.default_rng(3), 3)
    sets = [{n: float(rows[n][k]) for n in rows} for k in range(3)]
    decks = [operating_point_deck(network, values, f"{line} {k}") for k, values in enumerate(sets)]
    for values, plot in zip(sets, run_operating_points(decks, limit_voltage=100.0), strict=True):
        solution, theirs = solve(network, values), read_operating_point(plot, network)
        assert float(solution.voltage("b_adc")[0]) == pytest.approx(theirs.voltages["b_adc"], rel=1e-6, abs=1e-6)
        for name in network.igniters:
            assert float(solution.current(name)[0]) == pytest.approx(theirs.currents[name], rel=1e-5, abs=1e-9)


def test_json_has_the_keys_of_continuity(result: ForeignResult) -> None:
    """The dictionary is JSON without NaN, with the keys that the circuit file's continuity has."""
    table = json.loads(to_json(result))
    channel = table["channels"][0]
    wanted = {
        "channel",
        "line_states",
        "cannot_tell_apart",
        "thresholds",
        "largest_unseen_resistance",
        "no_fire_margin",
    }
    assert wanted <= set(channel)
    assert {"state", "igniter_current", "adc_code"} <= set(channel["line_states"][0])
    assert channel["no_fire_margin"]["value"] == pytest.approx(result.margin("armed", "RIGN1").ratio)
    assert channel["largest_unseen_resistance"]["value"] is None and channel["largest_unseen_resistance"]["reason"]
    assert table["not_covered"] == list(NOT_COVERED)


SECOND_IGNITER = """
[igniter.other]
bridge_resistance = "1.0 ohm"
no_fire = { current = "0.1 A", duration = "300 s", reliability = 0.999, confidence = 0.95 }
all_fire = { current = "0.8 A", duration = "1 s", reliability = 0.999, confidence = 0.95 }
time_constant = "10 ms"
"""


def test_margin_of_a_channel_is_the_least_of_its_igniters_armed() -> None:
    """Of two igniters the nearer counts, in the armed phase only; where one is unknown there is none, and a reason."""
    netlist = BENCH_NETLIST.replace("M1 drain", "RIGN2 out drain 1\nM1 drain")
    roles = (
        BENCH_ROLES.replace('RIGN = "match"', 'RIGN = "match", RIGN2 = "other"')
        .replace("[mosfet.low_side]", SECOND_IGNITER + "[mosfet.low_side]")
        .replace(NO_PULL_UP, 'reset_pull_up = "10 kohm"\n')
    )
    found = bench(roles, netlist)
    near, far = (found.margin("armed", name).ratio for name in ("RIGN2", "RIGN"))
    assert near is not None and far is not None and near < far
    assert (found.margin("reset", "RIGN2").ratio or 0.0) < near
    assert found.channels[0].no_fire_margin == near
    unknown = "\n".join(line for line in roles.splitlines() if not line.startswith('no_fire = { current = "0.1 A"'))
    margin = json.loads(to_json(bench(unknown, netlist)))["channels"][0]["no_fire_margin"]
    assert margin["value"] is None and "'other' has no no-fire current" in margin["reason"]


def test_text_says_what_was_found_and_what_was_not_covered(result: ForeignResult) -> None:
    """The text names circuit, states, margins, scope, assumptions and notes."""
    stream = io.StringIO()
    foreign_text(result, Console(file=stream, width=80))
    text = stream.getvalue()
    assert max(len(line) for line in text.splitlines()) <= 80
    for part in (
        "Ridge vent actuator",
        "mosfet shorted",
        "no-fire margin",
        "Not covered for a netlist",
        "body diode",
        ".tran",
    ):
        assert part in text


def test_unknown_phase_and_line_state_are_refused(example: tuple[Netlist, Roles]) -> None:
    """Only steady phases without a command and known line states exist."""
    bound = bind(*example)
    with pytest.raises(InputError, match="a phase is one of disarmed, reset, armed; received 'firing'"):
        situation_network(bound, Situation(phase="firing"))
    with pytest.raises(InputError, match="has no line state 'one igniter open'"):
        lines = {bound.channels[0].name: "one igniter open"}
        situation_network(bound, Situation(phase="armed", lines=lines))


def test_network_without_an_answer_is_unknown() -> None:
    """Two sources in parallel have no unique solution: the margin is missing with its reason, nothing is guessed."""
    netlist = BENCH_NETLIST.replace(".model", "V8 bus 0 5\nV9 bus 0 6\n.model", 1)
    roles = BENCH_ROLES.replace("[tolerance]\n", '[tolerance]\nV8 = "1 %"\nV9 = "1 %"\n')
    found = bench(roles, netlist)
    assert found.margin("armed", "RIGN").ratio is None
    assert "no unique solution" in (found.margin("armed", "RIGN").reason or "")
    assert found.channels[0].reading("intact").igniter_current.high is None
    assert json.loads(to_json(found))["no_fire"][2]["ratio"]["reason"] == found.margin("armed", "RIGN").reason


def test_thermal_fraction_follows_the_least_growth() -> None:
    """x = u / (1 + a (1 - u)) with u = (I / I0)^2 and a = 1.2 / 1.05 - 1, from the hottest ambient to the lowest T_f."""
    table = '''time_constant = "10 ms"
temperature_coefficient = "0.001 / K"
function_temperature = "220 degC .. 320 degC"'''
    roles = BENCH_ROLES.replace('time_constant = "10 ms"', table).replace('"20 degC"', '"20 degC .. 70 degC"')
    margin = bench(roles, BENCH_NETLIST).margin("armed", "RIGN")
    limit = 0.2 * math.sqrt(150 / 200)
    assert margin.no_fire == pytest.approx(limit, rel=1e-12) and margin.current.high is not None
    u = (margin.current.high / limit) ** 2
    assert margin.thermal_fraction == pytest.approx(u / (1 + (1.2 / 1.05 - 1) * (1 - u)), rel=1e-9)


def test_an_ambient_that_may_function_the_igniter_leaves_no_margin() -> None:
    """At 120 degC, the lowest function temperature assumed: margin 0, not below no-fire."""
    roles = parse_roles(
        BENCH_ROLES.replace('"20 degC"', '"20 degC .. 120 degC"').replace(
            "[battery]\n", '[battery]\nresistance_temperature = "ambient"\n'
        )
    )
    found = analyse_foreign(parse_netlist(BENCH_NETLIST), roles)
    margin = found.margin("armed", "RIGN")
    assert margin.no_fire == 0.0 and margin.ratio == pytest.approx(0.0, abs=1e-300)
    assert margin.decibels is None and margin.thermal_fraction is None
    assert margin.reason == "igniter 'match' may function at the hottest ambient without any current"
    json.loads(to_json(found), parse_constant=pytest.fail)


def test_two_igniters_have_their_own_state() -> None:
    """With two igniters in parallel the open one's current moves to the other."""
    netlist = BENCH_NETLIST.replace("M1 drain", "RIGN2 out drain 1\nM1 drain")
    roles = BENCH_ROLES.replace('RIGN = "match"', 'RIGN = "match", RIGN2 = "match"')
    channel = bench(roles, netlist).channels[0]
    one, both = channel.reading("one igniter open"), channel.reading("intact")
    assert one.igniter_current.nominal == pytest.approx(2.0 * (both.igniters["RIGN"].nominal or 0.0), rel=1e-4)
    assert set(one.igniters) == {"RIGN", "RIGN2"}
