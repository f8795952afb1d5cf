"""Firing decks: function times against the closed form and the reference cluster."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from ignition.errors import InputError
from ignition.network.elements import GROUND, Element, Network
from ignition.parts.igniter import function_time
from ignition.spice.firing_deck import Bridge, Pulse, firing_deck, read_function_times
from ignition.spice.ngspice import run_deck


def cluster(count: int) -> Network:
    """Igniters in parallel behind a battery of E, Rb and a switch."""
    bridges = [
        Element(name=f"igniter {i}", kind="resistor", plus="bus", minus="drain", resistance=((f"R{i}", 1.0),))
        for i in range(1, count + 1)
    ]
    source = Element(
        name="battery", kind="source", plus="bus", minus=GROUND, voltage=(("E", 1.0),), resistance=(("Rb", 1.0),)
    )
    switch = Element(name="switch", kind="resistor", plus="drain", minus=GROUND, resistance=(("Rs", 1.0),))
    return Network(elements=(source, *bridges, switch), igniters=tuple(b.name for b in bridges))


def times(
    resistances: list[float],
    bridges: list[Bridge],
    *,
    voltage: float = 7.4,
    pulse: Pulse | None = None,
    stop: float = 2e-3,
    step: float = 1e-6,
) -> list[float]:
    """Function times of a cluster by ngspice."""
    network = cluster(len(resistances))
    values = {"E": voltage, "Rb": 0.15, "Rs": 0.01} | {f"R{i}": r for i, r in enumerate(resistances, start=1)}
    by_name = dict(zip(network.igniters, bridges, strict=True))
    pulses = {"switch": pulse or Pulse(start=0.0, stop=0.5)}
    deck = firing_deck(network, values, "cluster", bridges=by_name, pulses=pulses, stop=stop, step=step)
    return list(read_function_times(run_deck(deck).plot("transient"), network, by_name).values())


def bridge(resistance: float, growth: float = 0.0, spent: float = math.inf) -> Bridge:
    """100 uJ/K, 1 mW/K, function 250 K above the start."""
    threshold = math.sqrt(1e-3 * 250.0 / (resistance * (1.0 + growth)))
    return Bridge(threshold=threshold, time_constant=0.1, growth=growth, spent_resistance=spent)


@pytest.mark.parametrize(
    ("key", "coefficient"), [("march_three_parallel", 0.0), ("march_three_parallel_growing", 4e-4)]
)
def test_reference_cluster(published: Callable[[str], dict[str, Any]], key: str, coefficient: float) -> None:
    """Three igniters in parallel function at the reference times, within 0.1 %."""
    entry = published(key)
    resistances = [1.0, 1.1, 0.9]
    found = times(resistances, [bridge(r, coefficient * 250.0) for r in resistances])
    assert found == pytest.approx(entry["value"], rel=entry["rel_tol"]), entry["source"]


def test_single_igniter_follows_the_closed_form() -> None:
    """One bridge alone functions at -tau ln(1 - (I0/I)^2), shifted by the start of its pulse."""
    model = bridge(1.0)
    expected = float(function_time(7.4 / 1.16, model.threshold, model.time_constant))
    assert times([1.0], [model]) == pytest.approx([expected], rel=2e-4)
    late = times([1.0], [model], pulse=Pulse(start=5e-4, stop=0.5))
    assert late == pytest.approx([5e-4 + expected], rel=2e-4)


def test_long_heating_follows_the_closed_form() -> None:
    """At 1.1 times the threshold the loss counts: the time is beyond one time constant."""
    model = Bridge(threshold=1.0, time_constant=2e-3)
    found = times([1.0], [model], voltage=1.1 * 1.16, stop=2e-2, step=4e-6)
    assert found == pytest.approx([float(function_time(1.1, 1.0, 2e-3))], rel=1e-3)


def test_short_pulse_does_not_function() -> None:
    """A pulse that ends before the function time, and a current below the threshold, function nothing."""
    assert times([1.0], [bridge(1.0)], pulse=Pulse(start=0.0, stop=5e-4)) == [math.inf]
    assert times([1.0], [Bridge(threshold=8.0, time_constant=1e-4)]) == [math.inf]


def test_spent_short_starves_the_others() -> None:
    """An igniter that shorts keeps the slower one from functioning; one that opens does not."""
    slow = Bridge(threshold=1.0, time_constant=0.1)
    assert times([1.0, 1.0], [bridge(1.0, spent=0.0), slow], stop=8e-3)[1] == math.inf
    fast, second = times([1.0, 1.0], [bridge(1.0), slow], stop=8e-3)
    assert fast < second < 8e-3


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"threshold": 0.0}, "threshold of a bridge"),
        ({"time_constant": math.inf}, "time_constant of a bridge"),
        ({"growth": -1.0}, "growth of a bridge"),
        ({"spent_resistance": -1.0}, "spent_resistance"),
    ],
)
def test_impossible_bridge_is_refused(change: dict[str, float], message: str) -> None:
    """A bridge without threshold, time or resistance is refused."""
    with pytest.raises(InputError, match=message):
        Bridge(**({"threshold": 1.0, "time_constant": 1.0} | change))


def test_impossible_deck_is_refused() -> None:
    """Pulses, steps and names that do not fit are refused."""
    with pytest.raises(InputError, match="0 <= start < stop"):
        Pulse(start=1.0, stop=1.0)
    network = cluster(1)
    values = {"E": 1.0, "Rb": 0.1, "Rs": 0.1, "R1": 1.0}
    with pytest.raises(InputError, match="must ascend"):
        firing_deck(network, values, "t", bridges={}, pulses={}, stop=1.0, step=2.0)
    with pytest.raises(InputError, match="must be a closed resistor"):
        pulses = {"battery": Pulse(start=0.0, stop=1.0)}
        firing_deck(network, values, "t", bridges={}, pulses=pulses, stop=1.0, step=0.1)
    values["R1"] = 0.0
    with pytest.raises(InputError, match="bridge resistance must be above 0"):
        firing_deck(network, values, "t", bridges={"igniter 1": bridge(1.0)}, pulses={}, stop=1.0, step=0.1)
