"""Loops past the switches with nothing broken: by hand, and none where there is one source, one switch and one return."""

from __future__ import annotations

import pytest

from ignition.analyses.faults.sneak_paths import SneakPath, sneak_paths
from ignition.analyses.no_fire.steady import no_fire
from ignition.circuit.examples import example_names, load_example
from tests.analyses.sense_circuits import bench


def armed(found: tuple[SneakPath, ...]) -> list[SneakPath]:
    """Those while armed."""
    return [path for path in found if path.phase == "armed"]


def test_sense_divider() -> None:
    """While armed the divider and, at its tap, the pin's clamp pass by the switch; while disarmed nothing does."""
    found = sneak_paths(bench())
    assert {path.phase for path in found} == {"reset", "armed"}
    loops = {path.elements: path for path in armed(found)}
    feed = ("battery", "feed.arm switch", "line.lead out")
    divider = loops["line.lead back", "line.upper", "line.lower", *feed]
    assert divider.passes_by == ("line.mosfet",)
    assert divider.current == pytest.approx(8.4 / (0.99 * 133e3), rel=1e-4)
    clamp = loops["line.lead back", "line.upper", "line.pin resistor", "line.clamp", *feed]
    # a dead controller's rail is at 0 V: the clamp's 0.5 V
    assert clamp.current == pytest.approx((8.4 - 0.5) / (0.99 * 100e3), rel=1e-3)
    assert len(loops) == 2


def test_what_adds_a_loop() -> None:
    """A pull-up at the drain adds one in each phase in which it has a source; a divider at the bus adds none."""
    pulled = sneak_paths(bench(second='second = { drain_pull_up = "100 kohm" }'))
    assert ("line.pull-up clamp" in {name for path in armed(pulled) for name in path.elements}) is True
    bus = sneak_paths(bench(second='second = { bus_divider = { upper = "100 kohm", lower = "33 kohm" } }'))
    assert len(armed(bus)) == 2


def test_each_channel_has_its_own() -> None:
    """Two channels: the same loops for each, none through the other's igniter, which only has what the bus has."""
    found = armed(sneak_paths(bench(channels=2)))
    assert {path.channel for path in found} == {"line", "line 2"}
    assert len(found) == 4
    assert not [path for path in found if any("igniter" in name for name in path.elements)]


@pytest.mark.parametrize("name", example_names())
def test_no_loop_carries_less_than_the_circuit(name: str) -> None:
    """What flows while armed is no more than all loops together could carry, leakages apart."""
    circuit = load_example(name)
    found = armed(sneak_paths(circuit))
    for channel in no_fire(circuit).channels:
        phase = next(p for p in channel.phases if p.phase == "armed")
        most = max(one.worst.current for one in phase.igniters)
        together = sum(path.current for path in found if path.channel == channel.channel)
        assert most <= together * 1.3 + 200e-6
        assert together < 1e-2
