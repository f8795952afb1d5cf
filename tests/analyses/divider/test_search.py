"""Divider search: closed forms against the solver, the list against brute force, the recommendation."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import pytest

from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.divider.demands import divider_duty
from ignition.analyses.divider.metrics import FAULTS, divider_metrics, full_scale_use, sense_network
from ignition.analyses.divider.search import divider_search
from ignition.analyses.divider.trade_off import Objectives, non_dominated, steps
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.network.elements import GROUND, Element, Network
from ignition.network.solution import solve
from ignition.network.template import State, adc_pin, build_network
from ignition.network.worst_case import Probe, extremes
from ignition.parts.preferred import series_values
from ignition.parts.sense import thevenin_resistance
from ignition.toleranced import Toleranced, vertices
from ignition.typing import FloatArray
from tests.analyses.sense_circuits import bench, text

LOW, HIGH = 0.99, 1.01


def with_divider(circuit: Circuit, upper: float, lower: float, pin: float) -> Circuit:
    """The circuit with another divider of 1 % resistors."""
    channel = replace(
        circuit.channels[0],
        uppers=(Toleranced(low=LOW * upper, nominal=upper, high=HIGH * upper, unit="ohm"),),
        lower=Toleranced(low=LOW * lower, nominal=lower, high=HIGH * lower, unit="ohm"),
        pin_resistor=Toleranced.exact(pin, "ohm"),
    )
    return replace(circuit, channels=(channel,))


def faulted(circuit: Circuit, fault: str) -> float:
    """Highest igniter current of the whole circuit's network with one fault, by the exact worst case."""
    network, box = build_network(circuit, State(phase="armed")), dict(phase_box(circuit, "armed"))
    if fault == "upper resistor shorted":
        box["line.upper"] = Toleranced.exact(0.0, "ohm")
    elif fault == "lower resistor shorted":
        box["line.lower"] = Toleranced.exact(0.0, "ohm")
    elif fault == "lower resistor open":
        network = network.switched(opened=["line.lower"])
    elif fault == "pin driven or shorted low":
        short = Element(name="short", kind="resistor", plus=adc_pin(circuit.channels[0]), minus=GROUND)
        network = replace(network, elements=(*network.elements, short))
    else:
        box["line.clamp voltage"] = circuit.controller.pin.clamp_drop
    return extremes(network, box, [Probe(element="line.igniter 1.1")])[0].high


PAIRS = [(1e3, 1e3, 0.0), (100e3, 33e3, 0.0), (4.7e3, 1.5e3, 1e4), (1e6, 332e3, 1e3), (10e3, 2.2e3, 1e3)]


@pytest.mark.parametrize(("upper", "lower", "pin"), PAIRS)
@pytest.mark.parametrize("fault", FAULTS)
def test_fault_currents_against_the_network(upper: float, lower: float, pin: float, fault: str) -> None:
    """Closed-form single-fault currents are those of the whole circuit's worst case."""
    circuit = bench(leakage="50 nA")
    duty = divider_duty(circuit, circuit.channels[0], 0.01)
    metrics = divider_metrics(duty, np.array([upper]), np.array([lower]), pin)
    exact = faulted(with_divider(circuit, upper, lower, pin), fault)
    assert float(metrics.fault_currents[FAULTS.index(fault), 0]) == pytest.approx(exact, rel=1e-7)


@pytest.mark.parametrize(("upper", "lower", "pin"), PAIRS[1:4])
def test_metrics_against_continuity(upper: float, lower: float, pin: float) -> None:
    """Sense current, lowest intact and highest open code and the leakage that fools are those of the full analysis."""
    circuit = bench(leakage="50 nA", total_error="2", adc='sample_capacitance = "8 pF"\nacquisition_time = "20 us"')
    duty = divider_duty(circuit, circuit.channels[0], 0.01)
    metrics = divider_metrics(duty, np.array([upper]), np.array([lower]), pin)
    channel = continuity(with_divider(circuit, upper, lower, pin)).channels[0]
    intact, opened = channel.reading("intact"), channel.reading("open")
    assert metrics.sense_current[0] == pytest.approx(intact.igniter_current.high, rel=1e-7)
    assert metrics.intact_low[0] == pytest.approx(intact.band.code.low, rel=1e-7)
    assert metrics.open_high[0] == pytest.approx(opened.band.code.high, rel=1e-6)
    assert metrics.false_leak[0] == pytest.approx(channel.largest_leak_read_as_intact, rel=1e-4)
    highest = min(float(metrics.full_scale_use[0]), 1.0) * 4095.0
    assert highest == pytest.approx(intact.band.code.high, rel=1e-7)


def test_metrics_by_hand() -> None:
    """100 kohm over 33 kohm at 12.6 V: 94.7 uA, 24.8 kohm, 24.8 mV for 1 uA, 88 uA clamp."""
    current, pin, clamp = sense_network(12.6, 0.0, 0.0, 100e3, 1 / 33e3, 0.0, 0.0, np.inf, 0.0)
    assert float(current) == pytest.approx(94.7e-6, rel=1e-3)
    assert float(pin) == pytest.approx(3.126, rel=1e-3)
    assert float(clamp) == 0.0
    assert float(thevenin_resistance(100e3, 33e3)) == pytest.approx(24.8e3, rel=1e-3)
    lifted = sense_network(12.6, 0.0, 0.0, 100e3, 1 / 33e3, 0.0, -1e-6, np.inf, 0.0)[1]
    assert float(lifted - pin) == pytest.approx(24.8e-3, rel=1e-3)
    opened = sense_network(12.6, 0.0, 0.0, 100e3, 0.0, 0.0, 0.0, 3.8, 0.0)[2]
    assert float(opened) == pytest.approx(88e-6, rel=1e-3)


def test_grid_equals_single_pairs() -> None:
    """A grid gives what its pairs give one by one."""
    circuit = bench(leakage="1 uA", total_error="2")
    duty = divider_duty(circuit, circuit.channels[0], 0.01)
    upper, lower = (g.ravel() for g in np.meshgrid(series_values("E3", 1e3, 1e6), series_values("E3", 1e3, 1e6)))
    grid = divider_metrics(duty, upper, lower, 1e3, split=True)
    for index in (0, 17, len(upper) - 1):
        one = divider_metrics(duty, upper[index], lower[index], 1e3, split=True)
        assert float(one.false_leak) == float(grid.false_leak[index])
        assert float(one.intact_low) == float(grid.intact_low[index])
        assert one.fault_currents.tolist() == grid.fault_currents[:, index].tolist()


def test_full_scale_uses_highest_battery_and_lowest_reference() -> None:
    """The share of full scale by hand, all tolerances the bad way."""
    circuit = bench(total_error="4")
    duty = divider_duty(circuit, circuit.channels[0], 0.01)
    rest = 0.04 + 0.01 + circuit.channels[0].lead.resistance.low + 0.8
    pin = 8.4 * 33.33e3 / (rest + 99e3 + 33.33e3)
    assert float(full_scale_use(duty, 100e3, 33e3)) == pytest.approx((4096 * pin / 3.267 + 4.5) / 4095, rel=1e-9)


# --- brute force ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Plain:
    """One candidate of the brute force: what identifies it, what is traded, tie breakers."""

    key: tuple[float, float, float, bool]
    traded: tuple[int, ...]
    use: float


def loop(upper: float, lower: float, pin: float, extra: float = 0.0) -> tuple[Network, dict[str, Toleranced]]:
    """Battery, line with an extra resistance, divider, pin with leakage: nothing shared with the search."""

    def around(value: float) -> Toleranced:
        return Toleranced(low=LOW * value, nominal=value, high=HIGH * value)

    parts = [("line", "top", "drain"), ("upper", "drain", "tap"), ("lower", "tap", GROUND), ("pin", "tap", "pin")]
    elements = [Element(name="E", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),))]
    elements += [Element(name=n, kind="resistor", plus=p, minus=m, resistance=((n, 1.0),)) for n, p, m in parts]
    elements.append(Element(name="leak", kind="sink", plus="pin", minus=GROUND, current=(("J", 1.0),)))
    lead = bench().channels[0].lead.resistance
    box = {
        "E": Toleranced(low=7.0, nominal=7.6, high=8.4),
        "line": Toleranced(
            low=0.04 + 0.01 + lead.low + 0.8 + extra,
            nominal=0.08 + lead.nominal + 1.0 + extra,
            high=0.15 + lead.high + 1.3 + extra,
        ),
        "upper": around(upper),
        "lower": around(lower),
        "pin": Toleranced.exact(pin),
        "J": Toleranced(low=-50e-9, nominal=0.0, high=50e-9),
    }
    return Network(elements=tuple(elements), igniters=("line",)), box


def all_corners(network: Network, box: dict[str, Toleranced]) -> tuple[FloatArray, FloatArray]:
    """Pin voltage and line current at every corner."""
    names = list(network.parameters)
    rows = vertices([box[n] for n in names])
    solution = solve(network, {n: rows[:, i] for i, n in enumerate(names)})
    return solution.voltage("pin"), solution.current("line")


def plain(circuit: Circuit, upper: float, lower: float, pin: float, split: bool) -> Plain | None:
    """One candidate by corners and bisection, or None where a requirement is not met."""
    error = 4.5
    volts, amperes = all_corners(*loop(upper, lower, pin))
    use = (4096 * volts.max() / 3.267 + error) / 4095
    intact = 4096 * volts.min() / 3.333 - error
    opened = 4096 * (HIGH * lower + pin) * 50e-9 / 3.267 + error
    changed = with_divider(circuit, upper, lower, pin)
    faults = {name: faulted(changed, name) for name in FAULTS}
    if split:
        halved = with_divider(circuit, upper / 2, lower, pin)
        network, box = build_network(halved, State(phase="armed")), phase_box(halved, "armed")
        faults["upper resistor shorted"] = extremes(network, box, [Probe(element="line.igniter 1.1")])[0].high
    dead = dict(phase_box(changed, "armed")) | {"line.clamp voltage": circuit.controller.pin.clamp_drop}
    feed = extremes(build_network(changed, State(phase="armed")), dead, [Probe(element="line.clamp")])[0].high
    if use > 1 or intact - opened < 1.0 or feed > 1e-3:
        return None
    if max(faults.values()) > 0.02 or amperes.max() > 0.02:
        return None
    reach = (intact - error) * 3.267 / 4096
    fools, no_longer = 0.0, 1e9
    for _ in range(60):
        middle = 0.5 * (fools + no_longer) if fools else no_longer / 16 if no_longer > 1e2 else 0.5 * no_longer
        reached = all_corners(*loop(upper, lower, pin, middle - 0.8))[0].max() >= reach
        fools, no_longer = (middle, no_longer) if reached else (fools, middle)
    parallel = HIGH * upper * lower / (upper + lower)
    share = 4096 * 50e-9 * (parallel + pin) / 3.267 / (intact - opened)
    numbers = (amperes.max(), fools, share, max(faults.values()))
    traded = (*(math.floor(12 * math.log10(v) + 1e-9) for v in numbers), 2 + int(split) + int(pin > 0))
    return Plain(key=(upper, lower, pin, split), traded=traded, use=float(use))


def test_list_equals_brute_force() -> None:
    """On a small set, corners by the solver and comparison of every two candidates give the same list."""
    circuit = bench(leakage="50 nA", total_error="4")
    values = [float(v) for v in series_values("E3", 4.7e3, 100e3)]
    pins = [0.0, 1e4]
    found = []
    for upper, lower, pin, split in product(values, values, pins, (False, True)):
        total = 2 * upper if split else upper
        if total <= 100e3:
            found.append(plain(circuit, total, lower, pin, split))
    kept = [p for p in found if p is not None]
    best = {}
    for p in sorted(kept, key=lambda p: (-p.use, p.key[0])):
        best.setdefault(p.traded, p)
    listed = {
        p.key
        for p in best.values()
        if not any(
            q.traded != p.traded and all(a <= b for a, b in zip(q.traded, p.traded, strict=True)) for q in best.values()
        )
    }
    search = divider_search(circuit, series="E3", low=4.7e3, high=100e3, pin_resistors=pins)
    # the series' own 40 % is not what brute force took
    assert search.tolerance == pytest.approx(0.4)
    search = divider_search(circuit, series="E3", low=4.7e3, high=100e3, pin_resistors=pins, tolerance=0.01)
    assert len(kept) > 10
    assert search.evaluated == len(found)
    assert search.accepted == len(kept)
    assert {(c.upper, c.lower, c.pin_resistor, c.split) for c in search.pareto} == listed


def test_non_dominated_on_random_numbers() -> None:
    """The fast sieve keeps what the comparison of every two rows keeps."""
    rng = np.random.default_rng(3)
    columns = [10.0 ** rng.uniform(-2, 0, 300) for _ in range(4)]
    parts = rng.integers(2, 5, 300).astype(float)
    members = Objectives(
        sense_current=columns[0], false_leak=columns[1], error_share=columns[2], fault_current=columns[3], parts=parts
    )
    rows = steps(members)
    front = non_dominated(members, np.ones(300), np.arange(300.0))
    expected = {tuple(r) for r in rows if not any((q <= r).all() and (q < r).any() for q in rows)}
    assert {tuple(r) for r in rows[front]} == expected
    assert len(front) == len(expected)


# --- the answer ----------------------------------------------------------------------------------------------------


def test_recommended_differs_from_the_common_divider() -> None:
    """100 kohm / 33 kohm on the pin passes more than no-fire with the upper one shorted, and soot fools it."""
    search = divider_search(bench())
    assert search.recommended is not None
    assert search.present.rejected_by == ("single-fault current above the monitor limit",)
    assert search.present.worst_fault.fault == "upper resistor shorted"
    assert search.present.worst_fault.igniter_current > 0.2  # more than the no-fire current
    assert search.present.false_leak == pytest.approx(34.7e3, rel=1e-3)
    assert search.recommended.rejected_by == ()
    assert search.recommended.worst_fault.igniter_current < 0.02
    assert search.recommended.false_leak is not None and search.recommended.false_leak < 10e3
    assert "single-fault current" in search.comparison


def test_recommended_has_the_largest_weakest_margin() -> None:
    """No member of the list has a larger weakest margin, but for what counts as equal."""
    search = divider_search(bench(leakage="50 nA"), series="E24")
    assert search.recommended is not None
    best = search.recommended.weakest_margin.factor
    assert all(c.weakest_margin.factor <= best * 10 ** (1 / 25) for c in search.pareto)


def test_every_listed_divider_has_a_reason_and_meets_the_requirements() -> None:
    """The list is sorted by sense current, free of rejected candidates, each with its reason."""
    search = divider_search(bench(leakage="50 nA"), series="E24")
    assert all(c.reason.startswith("least ") and not c.rejected_by for c in search.pareto)
    currents = [c.sense_current for c in search.pareto]
    assert currents == sorted(currents)
    assert len({c.reason for c in search.pareto}) == len(search.pareto)


def test_bands_less_than_a_code_apart_are_rejected() -> None:
    """A divider so steep that intact and open differ by less than a code is no candidate, however well it does else."""
    search = divider_search(bench(leakage="50 nA", total_error="4"), series="E24")
    assert all(c.intact_low - c.open_high >= 1.0 and c.false_leak is not None for c in search.pareto)
    assert next(r.count for r in search.rejected if r.requirement == "intact and open overlap") > 0


def test_nothing_is_recommended_where_nothing_passes() -> None:
    """One upper resistor straight on the pin: shorted, it lets more through than allowed whatever its value."""
    search = divider_search(bench(), series="E24", pin_resistors=[0.0], split=(False,))
    assert search.recommended is None and search.pareto == ()
    assert "single-fault current above the monitor limit" in search.comparison


def test_unknown_no_fire_judges_no_current() -> None:
    """Without a no-fire current the limit is unknown, and no pair is rejected for its current."""
    lines = [line for line in text().splitlines() if not line.startswith("no_fire")]
    search = divider_search(parse_circuit("\n".join(lines), "bench.toml"), series="E24")
    assert search.monitor_limit is None and "no no-fire current" in search.monitor_limit_basis
    assert not any("current above" in rejection.requirement for rejection in search.rejected)


def test_all_e96_pairs_are_evaluated() -> None:
    """1 kohm to 1 Mohm holds 3 x 96 + 1 values of E96, hence 83,521 pairs."""
    search = divider_search(bench(), pin_resistors=[1e4], split=(False,))
    assert search.evaluated == 289**2


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"series": "E7"}, "preferred series must be one of"),
        ({"low": 1.01e3, "high": 1.05e3, "series": "E24"}, "nothing to search: 0 values"),
        ({"low": 1e6, "high": 1e3}, "low must not be above high"),
        ({"pin_resistors": []}, "nothing to search"),
        ({"pin_resistors": [-1.0]}, "nothing to search"),
        ({"split": ()}, "nothing to search"),
        ({"wet_leak": 0.0}, "nothing to search"),
        ({"tolerance": -0.1}, "tolerance"),
        ({"tolerance": 1.0}, "tolerance"),
    ],
)
def test_wrong_options_are_refused(options: dict[str, object], message: str) -> None:
    """Unknown series, empty ranges and empty choices are refused with what to write."""
    with pytest.raises(InputError, match=message):
        divider_search(bench(), **options)  # type: ignore[arg-type]
