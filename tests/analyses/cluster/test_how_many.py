"""How many at once: hand algebra, the general worst case as a second way, and trials."""

from __future__ import annotations

import math

import pytest

from ignition.analyses.cluster.arrangement import MOST_IGNITERS, arranged, cluster_current, layouts, only_channel
from ignition.analyses.cluster.how_many import how_many, how_many_likely
from ignition.analyses.firing.on_state import Settled, firing_network
from ignition.analyses.trials.trials import firing_trials
from ignition.circuit.examples import load_example
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.network.worst_case import Probe, extremes
from tests.analyses.firing.firing_cases import firing_circuit


def spread_circuit(spent: str = "open") -> Circuit:
    """A circuit with a tolerance on everything that carries current."""
    return firing_circuit(
        voltage="9 V .. 10 V .. 11 V", resistance="0.05 ohm .. 0.1 ohm .. 0.3 ohm", arm_switch="0 ohm .. 0.1 ohm",
        lead="0.2 ohm .. 0.4 ohm", bridge="0.9 ohm .. 1 ohm .. 1.4 ohm", mosfet="5 mohm .. 30 mohm",
        controller_current="10 mA .. 200 mA", pulse="1 s", spent=spent,
    )  # fmt: skip


@pytest.mark.parametrize("strings", [(1,), (1, 1, 1), (4,), (2, 2), (3, 3, 3)])
@pytest.mark.parametrize("name", ["spread", "demo", "long-lead-pad"])
def test_current_is_the_general_worst_case(name: str, strings: tuple[int, ...]) -> None:
    """The proven corners agree with the search over all corners of the whole network, dividers apart."""
    circuit = spread_circuit() if name == "spread" else load_example(name)
    place = circuit.channels[0]
    changed = arranged(circuit, place, strings)
    channel = changed.channels[0]
    states, box = Settled(changed).of(frozenset({channel.name}))
    assert states[channel.name].rows[0] >= 0
    network = firing_network(changed, frozenset({channel.name}))
    probes = [Probe(element=f"{channel.name}.igniter 1.1"), Probe(element=f"{channel.name}.mosfet")]
    one, total = extremes(network, box, probes)
    found = cluster_current(changed, channel)
    assert found.lowest == pytest.approx(one.low, rel=2e-4)
    assert found.nominal == pytest.approx(one.nominal, rel=2e-4)
    assert found.highest == pytest.approx(one.high, rel=2e-4)
    assert found.total == pytest.approx(total.high, rel=2e-4)


def test_parallel_by_hand() -> None:
    """V/(n Rs + R) >= 1.5 x 0.9 A: 6 V, Rs = 0.5 ohm, R = 1 ohm gives n = 6.9, hence 6; series and mixed alike."""
    circuit = firing_circuit(arm_switch="0.399 ohm", supply="2.6 V", spent="1 ohm")
    result = how_many(circuit)
    assert result.count == 6 and result.strings == (1,) * 6 and not result.at_limit
    assert result.margin == pytest.approx(6.0 / (6 * 0.5 + 1.0) / 0.9, rel=1e-9)
    series = how_many(circuit, "series")
    assert series.count == 3
    assert series.margin == pytest.approx(6.0 / (0.5 + 3.0) / 0.9, rel=1e-9)
    mixed = how_many(circuit, "mixed")
    assert mixed.count == 8 and mixed.strings == (2, 2, 2, 2)  # 6 V/(4 x 0.5 + 2) = 1.5 A; three strings of 3 get less
    assert mixed.margin == pytest.approx(6.0 / (4 * 0.5 + 2.0) / 0.9, rel=1e-9)


def test_polarisation_counts_in_full_at_worst() -> None:
    """The slow part of the battery's resistance lowers the lowest current by hand algebra, and no other."""
    table = 'polarisation = { resistance = "0.1 ohm .. 0.3 ohm", time_constant = "10 ms" }'
    circuit = firing_circuit(battery=table)
    current = cluster_current(circuit, circuit.channels[0])
    assert current.lowest == pytest.approx(6.0 / (0.1 + 0.3 + 1.0 + 0.001), rel=1e-9)
    assert current.nominal == pytest.approx(6.0 / (0.1 + 1.0 + 0.001), rel=1e-9)


@pytest.mark.parametrize("arrangement", ["parallel", "series", "mixed"])
def test_one_more_is_too_many(arrangement: str) -> None:
    """The number found is enough and no larger arrangement of its kind is: every one is tried."""
    circuit = spread_circuit(spent="0.9 ohm .. 1 ohm .. 1.4 ohm")

    def lowest(strings: tuple[int, ...]) -> float:
        changed = arranged(circuit, circuit.channels[0], strings)
        return cluster_current(changed, changed.channels[0]).lowest or 0.0

    good = [
        count
        for count in range(1 if arrangement != "mixed" else 4, 20)
        for strings in layouts(count, arrangement)
        if lowest(strings) >= 1.5 * 0.9
    ]
    assert how_many(circuit, arrangement).count == max(good, default=0)


def test_a_pulse_too_short_for_one_is_too_short_for_all() -> None:
    """At 4 A the bridge of 20 ms needs 20 ms ln(1/(1 - (0.9/4)^2)) ~ 1 ms: none in 0.5 ms, some in 50 ms."""
    assert how_many(firing_circuit(resistance="0.5 ohm", pulse="0.5 ms")).count == 0
    assert (how_many(firing_circuit(resistance="0.5 ohm", pulse="50 ms")).count or 0) > 1


def test_none_is_said() -> None:
    """Where not even one gets enough the number is 0, with the reason."""
    result = how_many(firing_circuit(arm_switch="10 ohm"))
    assert result.count == 0 and result.reason is not None and "not even" in result.reason


def test_limit_of_the_search_is_said() -> None:
    """A stiff source lights more than are tried."""
    circuit = firing_circuit(resistance="0 ohm", mosfet="1 uohm")
    result = how_many(circuit)
    assert result.count == MOST_IGNITERS and result.at_limit


def test_the_cold_takes_igniters_away() -> None:
    """0.9 A at 20 degC is 0.9 sqrt(270 / 200) A at -50 degC: 6 V/(n 0.5 ohm + 1 ohm) >= 1.57 A leaves 5 of 6."""
    circuit = firing_circuit(
        arm_switch="0.399 ohm",
        supply="2.6 V",
        ambient="-50 degC .. 20 degC",
        igniter='function_temperature = "220 degC"',
    )
    result = how_many(circuit)
    assert result.count == 5
    expected = 6.0 / (5 * 0.5 + 1.0) / (0.9 * math.sqrt(270 / 200))
    assert result.margin == pytest.approx(expected, rel=1e-9)


def test_unknown_without_all_fire() -> None:
    """No all-fire statement: unknown, not none."""
    from dataclasses import replace

    circuit = firing_circuit()
    model = replace(circuit.igniters["match"], all_fire_current=None)
    result = how_many(replace(circuit, igniters={"match": model}))
    assert result.count is None and result.reason is not None


def test_gate_below_the_data_sheet_ends_the_count() -> None:
    """More igniters sag the supply until the data sheet no longer says that the MOSFET is on: that many count no more."""
    circuit = firing_circuit(resistance="0.6 ohm", voltage="9 V", all_fire="0.5 A", bridge="1 ohm")
    result = how_many(circuit, margin=1.0)
    assert (
        result.count is not None and result.reason is not None and "below the lowest on-resistance row" in result.reason
    )
    place = circuit.channels[0]
    more = arranged(circuit, place, (1,) * (result.count + 1))
    assert cluster_current(more, more.channels[0]).lowest is None


def test_likely_number_has_its_probability() -> None:
    """The number found reaches the probability at its confidence in trials of its own; one more does not."""
    circuit = firing_circuit(voltage="9 V", resistance="0.4 ohm", bridge="3 ohm .. 4 ohm", pulse="50 ms")
    found = how_many_likely(circuit, probability=0.99, seed=1)
    assert found.count is not None and 1 <= found.count < MOST_IGNITERS
    assert found.lower is not None and found.lower >= 0.99
    place = circuit.channels[0]
    more = firing_trials(arranged(circuit, place, (1,) * (found.count + 1)), found.trials, 1).lower()
    assert more is None or more < 0.99


def test_series_of_opening_bridges_is_unlikely() -> None:
    """Enough current is not enough in series: the first bridge to open ends the string, so the number is 1."""
    assert (how_many(firing_circuit(spent="1 ohm"), "series").count or 0) >= 3
    circuit = firing_circuit()
    assert how_many(circuit, "series").count == 1
    assert how_many(circuit, "mixed").count == 0
    assert how_many_likely(circuit, "series", probability=0.9).count == 1
    assert how_many_likely(circuit, "mixed", probability=0.9).count == 0


def test_layouts() -> None:
    """Every way of equal strings of two or more; none for a prime number."""
    assert layouts(3, "parallel") == ((1, 1, 1),)
    assert layouts(3, "series") == ((3,),)
    assert set(layouts(12, "mixed")) == {(6, 6), (4, 4, 4), (3,) * 4, (2,) * 6}
    assert layouts(7, "mixed") == ()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: layouts(3, "star"), "arrangement: one of parallel, series, mixed"),
        (lambda: layouts(65, "series"), "count: from 1 to 64"),
        (lambda: only_channel(load_example("demo")), "several channels: name one of boosters, marker"),
        (lambda: only_channel(load_example("demo"), "x"), "no channel is called 'x'"),
        (lambda: how_many(firing_circuit(), margin=0.0), "margin: a ratio above 0"),
        (lambda: how_many_likely(firing_circuit(), probability=0.99999), "at most 0.9999"),
    ],
)
def test_impossible_questions_are_refused(call: object, message: str) -> None:
    """Wrong arrangement, count, channel, margin or probability are named."""
    with pytest.raises(InputError, match=message):
        call()  # type: ignore[operator]
