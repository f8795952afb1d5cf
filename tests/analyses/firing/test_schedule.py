"""Which channels can conduct together: touching pulses do, and every analysis of a sequence takes them so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ignition.analyses.firing.bounds import igniter_bounds
from ignition.analyses.firing.firing import firing
from ignition.analyses.firing.on_state import Settled, on_states
from ignition.analyses.firing.schedule import (
    conducting_at_start,
    conducting_before,
    latest_end,
    may_have_started,
    nominal_groups,
    overlapping,
    overlapping_groups,
)
from ignition.analyses.firing.supply import supply_under_fire
from ignition.analyses.trials.inputs import firing_inputs
from ignition.circuit.model import ChannelModel, Circuit
from ignition.spice.cases import firing_cases
from ignition.toleranced import Toleranced, parse_toleranced
from tests.analyses.firing.firing_cases import firing_circuit

ONE = [["match"]]


def sequence(*starts: str, pulse: str = "100 ms", **changed: str) -> Circuit:
    """A circuit of one channel for each start."""
    return firing_circuit(*[ONE] * len(starts), starts=starts, pulse=pulse, **changed)


def names(*channels: int) -> frozenset[str]:
    """Names of channels by number."""
    return frozenset(f"channel {n}" for n in channels)


@pytest.mark.parametrize("first, second", [("0 ms", "100 ms"), ("700 ms", "800 ms"), ("200 ms", "300 ms")])
def test_a_pulse_that_ends_when_another_starts_is_together_with_it(first: str, second: str) -> None:
    """Touching counts, also where the sum of the decimals misses by rounding (0.7 + 0.1 < 0.8)."""
    circuit = sequence(first, second)
    one, two = circuit.channels
    assert overlapping(circuit, one) == overlapping(circuit, two) == names(1, 2)
    assert conducting_at_start(circuit, one) == names(1), "the second has not started yet"
    assert conducting_at_start(circuit, two) == names(1, 2)
    assert overlapping_groups(circuit) == (names(1, 2),)
    assert nominal_groups(circuit) == ((one, two),)


def test_a_gap_parts_them() -> None:
    """A microsecond between end and start is enough."""
    circuit = sequence("0 ms", "100.001 ms")
    one, two = circuit.channels
    assert overlapping(circuit, one) == names(1) and overlapping(circuit, two) == names(2)
    assert conducting_at_start(circuit, two) == names(2)
    assert overlapping_groups(circuit) == (names(1), names(2))
    assert nominal_groups(circuit) == ((one,), (two,))
    assert may_have_started(one, two) and not may_have_started(two, one)


def test_tolerances_close_a_gap() -> None:
    """A start or a pulse that may be late, or early, counts with its whole range."""
    circuit = sequence("0 ms", "90 ms .. 150 ms .. 200 ms", pulse="50 ms .. 60 ms .. 90 ms")
    one, two = circuit.channels
    assert latest_end(one) == 0.09 and latest_end(two) == pytest.approx(0.29)
    assert overlapping(circuit, one) == names(1, 2) and conducting_at_start(circuit, two) == names(1, 2)
    assert nominal_groups(circuit) == ((one,), (two,)), "at nominal they are apart"


def test_channels_that_start_at_one_instant_have_both_started_and_none_has_conducted() -> None:
    """At one exact instant each may be the first; no time has passed in which one has conducted before the other."""
    one, two = sequence("5 ms", "5 ms").channels
    assert may_have_started(one, two) and may_have_started(two, one)
    assert conducting_before(one, two) == conducting_before(two, one) == 0.0


def test_time_of_conduction_before() -> None:
    """From its earliest start, at most its longest pulse, at most as long as its current flows."""
    one, two = sequence("1 ms .. 2 ms .. 3 ms", "40 ms .. 50 ms .. 60 ms", pulse="20 ms .. 30 ms .. 40 ms").channels
    assert conducting_before(one, two) == 0.04 and conducting_before(one, two, 0.01) == 0.01
    assert conducting_before(two, one) == 0.0
    near = replace(two, start=Toleranced.exact(0.011, "s"))
    assert conducting_before(one, near) == pytest.approx(0.01)


def shifted(circuit: Circuit, start: str) -> Circuit:
    """The same circuit with another start of its second channel."""
    one, two = circuit.channels
    return replace(circuit, channels=(one, replace(two, start=parse_toleranced(start, "s"))))


WEAK = {"lead": "0.3 ohm", "spent": "0.5 ohm", "mosfet": "1 mohm .. 2 mohm .. 3 mohm"}


def on_resistance(circuit: Circuit, channel: ChannelModel) -> Toleranced:
    """On-resistance of a channel as trials draw it."""
    inputs = {i.name: i.value for i in firing_inputs(circuit, Settled(circuit))}
    return inputs[f"{channel.name}.mosfet"]


def test_every_analysis_takes_touching_pulses_as_overlapping() -> None:
    """Currents, function times, supply, trials and decks of touching pulses are those of overlapping ones."""
    touching = sequence("0 ms", "100 ms", **WEAK)
    together, apart = shifted(touching, "99 ms"), shifted(touching, "101 ms")
    lows = [firing(c).channels[1].igniters[0].current.low for c in (touching, together, apart)]
    assert lows[0] == lows[1] and lows[2] is not None and lows[0] is not None and lows[0] < 0.95 * lows[2]
    sags = [supply_under_fire(c, Settled(c)).battery_voltage.low for c in (touching, together, apart)]
    assert sags[0] == sags[1] and sags[0] is not None and sags[2] is not None and sags[0] < sags[2]
    drawn = [on_resistance(c, c.channels[0]) for c in (touching, together, apart)]
    assert drawn[0] == drawn[1]
    latest = []
    for circuit in (touching, together, apart):
        channel, group = circuit.channels[0], overlapping(circuit, circuit.channels[0])
        states, box = on_states(circuit, group)
        latest.append(igniter_bounds(circuit, channel, states[channel.name], box, group)[0].latest)
    assert latest[0] == latest[1] and latest[2] is not None and latest[0] is not None and latest[0] > latest[2]
    assert [len(firing_cases(c)) for c in (touching, together, apart)] == [1, 1, 2]
