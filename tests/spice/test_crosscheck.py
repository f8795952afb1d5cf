"""Comparison of our solver with ngspice on a whole circuit."""

from __future__ import annotations

import itertools
import math

import pytest

from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.spice.cases import firing_cases
from ignition.spice.crosscheck import (
    AGREEMENT,
    Comparison,
    CrosscheckResult,
    Kind,
    _function_times,
    crosscheck,
    relative_difference,
)

CIRCUIT = """
format = 1
title = "Bench"
[battery]
open_circuit_voltage = "7.0 V .. 7.6 V .. 8.4 V"
resistance = "40 mohm .. 60 mohm .. 100 mohm"
[[feed]]
name = "arm switch"
kind = "arm switch"
resistance = "10 mohm .. 20 mohm .. 50 mohm"
[controller]
powered_by = "before arm switch"
supply = "3.3 V"
[controller.adc]
bits = 12
reference = "3.3 V ± 1 %"
[igniter.match]
bridge_resistance = "0.8 ohm .. 1.0 ohm .. 1.3 ohm"
no_fire = { current = "0.2 A", duration = "300 s", reliability = 0.999, confidence = 0.95 }
all_fire = { current = "0.8 A", duration = "1 s", reliability = 0.999, confidence = 0.95 }
time_constant = "10 ms"
[igniter.slow]
bridge_resistance = "0.8 ohm .. 1.1 ohm .. 1.3 ohm"
no_fire = { current = "0.4 A", duration = "300 s", reliability = 0.999, confidence = 0.95 }
all_fire = { current = "1.6 A", duration = "1 s", reliability = 0.999, confidence = 0.95 }
time_constant = "20 ms"
[mosfet.low_side]
threshold = "1.0 V .. 1.5 V .. 2.0 V"
on_resistance = [{ gate = "2.5 V", resistance = "10 mohm .. 14 mohm .. 20 mohm" }]
input_capacitance = "1.1 nF"
output_capacitance = "320 pF"
reverse_transfer_capacitance = "70 pF"
[[channel]]
name = "line"
igniters = [["match"], ["slow"]]
mosfet = "low_side"
pulse = "1 s"
lead = { wire = "AWG 20", distance = "6 m", joints = "20 mohm .. 40 mohm .. 100 mohm" }
gate = { series = "100 ohm", pull_down = "10 kohm" }
sense = { upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %" }
"""


@pytest.fixture(scope="module")
def circuit() -> Circuit:
    """Two igniters in parallel on one channel."""
    return parse_circuit(CIRCUIT)


@pytest.fixture(scope="module")
def result(circuit: Circuit) -> CrosscheckResult:
    """Its comparison."""
    return crosscheck(circuit)


def test_everything_agrees(result: CrosscheckResult) -> None:
    """Steady values agree to a millionth, function times to 0.1 %, arming edges to 1 %."""
    worst = {kind: max(c.relative_difference for c in result.comparisons if c.kind == kind) for kind in AGREEMENT}
    assert worst["steady"] <= 1e-6
    assert worst["function time"] <= 1e-3
    assert worst["arming edge"] <= 1e-2
    assert result.agrees
    assert result.ngspice.startswith("ngspice-")
    assert result.left_out == ()


def test_everything_is_compared(result: CrosscheckResult) -> None:
    """Igniters and pin in each phase and line state, at nominal and both corners; firing currents and times."""
    names = [c.quantity for c in result.comparisons]
    assert len(set(names)) == len(names)
    for quantity in ("current of line.igniter 1.1", "current of line.igniter 2.1", "voltage of line.adc pin"):
        for phase in ("disarmed", "reset", "armed"):
            for side in ("low", "nominal", "high"):
                assert f"{quantity}: {phase}, line intact, {side}" in names
        for line in ("open", "shorted", "mosfet shorted", "not armed", "one string open"):
            assert f"{quantity}: armed, line {line}, high" in names
    assert "current of line.igniter 2.1: firing line, low" in names
    times = [c.quantity for c in result.comparisons if c.kind == "function time"]
    assert times == [f"function time of line.igniter {n}.1: firing line, nominal" for n in (1, 2)]
    # two igniters; the pin holds low, is in reset, is dead; the file states no edge, so 10 ns .. 10 us hold
    edges = [c for c in result.comparisons if c.kind == "arming edge"]
    assert len(edges) == 2 * 3 * 2 * 3
    assert "igniter energy: switch-on, line.igniter 2.1 dead, edge 10 ns, nominal" in names
    assert [c.unit for c in edges[:3]] == ["1", "1", "J"]


def test_numbers_are_those_of_the_circuit(result: CrosscheckResult) -> None:
    """The nominal firing currents are those of a hand calculation without the sense divider's 1e-5."""
    by_name = {c.quantity: c for c in result.comparisons}
    first = by_name["current of line.igniter 1.1: firing line, nominal"]
    second = by_name["current of line.igniter 2.1: firing line, nominal"]
    assert first.ours / second.ours == pytest.approx(1.1, rel=1e-9)  # two bridges at one voltage
    times = [c.ours for c in result.comparisons if c.unit == "s"]
    assert times == sorted(times)
    assert 0.0 < times[0] < times[1] < 1.0


@pytest.mark.parametrize(
    ("kind", "difference", "agrees"),
    [
        ("steady", 1e-6, True),
        ("steady", 1.1e-6, False),
        ("function time", 9e-3, True),
        ("function time", 1.1e-2, False),
        ("function time", math.inf, False),
        ("arming edge", 9e-3, True),
        ("arming edge", 1.1e-2, False),
    ],
)
def test_agreement_is_asked_by_kind(kind: Kind, difference: float, agrees: bool) -> None:
    """Steady values to a millionth, transients to a hundredth; one comparison beyond is enough to disagree."""
    good = Comparison(kind="steady", quantity="good", ours=1.0, ngspice=1.0, unit="A", relative_difference=0.0)
    other = Comparison(kind=kind, quantity="other", ours=1.0, ngspice=1.0, unit="V", relative_difference=difference)
    found = CrosscheckResult(circuit="c", ngspice="ngspice", comparisons=(good, other), left_out=())
    assert found.agrees is agrees and found.worst == difference


def test_relative_difference() -> None:
    """Relative to the larger value, 0 below the floor, infinite where only one is finite."""
    assert relative_difference(2.0, 1.0, "A") == 0.5
    assert relative_difference(1e-13, 9e-13, "A") == 0.0
    assert relative_difference(1e-13, 9e-12, "A") > 0.9
    assert relative_difference(4e-10, 4e-10 + 9e-15, "A") == 0.0
    assert relative_difference(4e-10, 4e-10 + 2e-14, "A") > 0.0
    assert relative_difference(1e-10, 9e-10, "V") == 0.0
    assert relative_difference(1e-10, 9e-10, "J") == 0.0
    assert relative_difference(1e-9, 2e-9, "J") == 0.5
    assert relative_difference(math.inf, math.inf, "s") == 0.0
    assert relative_difference(1.0, math.inf, "s") == math.inf


@pytest.mark.parametrize(
    "lines",
    [
        "spent = 'open'",
        "spent = 'short'",
        "spent = '0.5 ohm .. 1 ohm'",
        "temperature_coefficient = '4e-4 / K'\nfunction_temperature = '300 degC'",
        "temperature_coefficient = '-1e-3 / K'\nfunction_temperature = '200 degC .. 300 degC'\n"
        "reference_temperature = '-20 degC'",
    ],
)
def test_cluster_of_two_channels_functions_in_the_same_order(lines: str) -> None:
    """Series and parallel igniters on two channels that overlap: the same order, times within 0.1 %."""
    text = CIRCUIT.replace("[igniter.slow]", f"{lines}\n[igniter.slow]").replace('pulse = "1 s"', 'pulse = "20 ms"')
    text = text.replace('[["match"], ["slow"]]', '[["match", "match"], ["slow"], ["match"]]')
    channel = CIRCUIT[CIRCUIT.index("[[channel]]") :].replace('"line"', '"late"')
    circuit = parse_circuit(text + channel.replace('pulse = "1 s"', 'pulse = "20 ms"\nstart = "0.1 ms"'))
    times = [c for group in firing_cases(circuit) for c in _function_times(circuit, group)]
    assert len(times) == 6
    assert sum(math.isfinite(c.ours) for c in times) >= 2
    found = [c.ngspice for c in times]  # equal igniters function at one time, to rounding
    assert all(later >= earlier * (1.0 - 1e-12) for earlier, later in itertools.pairwise(found))
    assert max(c.relative_difference for c in times) <= 1e-3


def test_unknown_threshold_leaves_function_times_out() -> None:
    """Where an igniter's threshold is unknown the times are left out with a reason, the rest is compared."""
    text = "\n".join(line for line in CIRCUIT.splitlines() if not line.startswith("all_fire"))
    found = crosscheck(parse_circuit(text))
    assert found.left_out == ("function times, firing line: the threshold of an igniter is unknown",)
    assert not [c for c in found.comparisons if c.kind == "function time"]
    assert found.agrees


def test_unknown_capacitances_leave_the_edge_out() -> None:
    """Where the edge is not known the keys that would tell are named, and the rest is compared."""
    text = "\n".join(line for line in CIRCUIT.splitlines() if not line.startswith("input_capacitance"))
    found = crosscheck(parse_circuit(text))
    assert found.left_out == ("switch-on, line: not given: mosfet.low_side.input_capacitance",)
    assert {c.kind for c in found.comparisons} == {"steady", "function time"}
