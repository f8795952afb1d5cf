"""Time of the arming edge: the batch over a loop of single members, over scipy, and the full corner sweep of the demo.

Run: PYTHONPATH=. python tests/benchmarks/bench_edge.py

Prints ratios of one run; nothing is asserted, because the times are the machine's.
"""

from __future__ import annotations

from collections.abc import Callable
from time import process_time

import numpy as np
from scipy.integrate import solve_ivp

from ignition.analyses.no_fire.edge import Edge, edge_response
from ignition.analyses.no_fire.switch_on import _switch_ons
from ignition.circuit.examples import DEMO, load_example

MEMBERS, SINGLE, UNTIL = 500, 10, 20e-6
SWEEP = 1.0
"""Time to reach for the full corner sweep of the demo [s]."""


def drawn(count: int) -> Edge:
    """Weakly held gates over the range of usual parts."""
    rng = np.random.default_rng(5)
    return Edge.of(
        supply=rng.uniform(8.0, 16.0, count),
        rise_time=np.exp(rng.uniform(np.log(10e-9), np.log(1e-6), count)),
        line_resistance=rng.uniform(0.1, 0.5, count),
        inductance=rng.uniform(0.5e-6, 10e-6, count),
        share=1.0,
        bridge_resistance=rng.uniform(0.8, 2.0, count),
        growth=0.1,
        no_fire_current=0.2,
        time_constant=10e-3,
        threshold=rng.uniform(0.8, 1.5, count),
        gain=50.0,
        row_overdrive=2.0,
        threshold_current=1e-3,
        slope_voltage=0.06,
        gate_source_capacitance=1e-9,
        near_capacitance=rng.uniform(0.3e-9, 2e-9, count),
        far_capacitance=50e-12,
        knee_voltage=1.0,
        breakdown=1e9,
        drain_capacitance=rng.uniform(0.3e-9, 2e-9, count),
        gate_resistance=rng.uniform(1e3, 10e3, count),
        gate_rest=0.0,
    )


def by_scipy(edge: Edge, place: int) -> float:
    """Highest thermal fraction of one member by an implicit method of scipy, at about the model's accuracy."""
    one = {name: float(getattr(edge, name)[place]) for name in edge.__dataclass_fields__}

    def slope(time: float, state: np.ndarray) -> np.ndarray:
        current, drain, gate, fraction = state
        ratio = max(drain - gate, 0.0) / one["knee_voltage"]
        coupling = one["far_capacitance"] + (one["near_capacitance"] - one["far_capacitance"]) / (1.0 + ratio**2)
        over = gate - one["threshold"]
        used = min(max(drain, 0.0), max(over, 0.0))
        channel = one["gain"] * used * (max(over, 0.0) - 0.5 * used)
        below = one["threshold_current"] * np.exp(min(over, 0.0) / one["slope_voltage"])
        channel += below * (1.0 - np.exp(-max(drain, 0.0) / 0.03)) + min(drain + 0.6, 0.0) / 0.01
        a, b = one["drain_capacitance"] + coupling, one["gate_source_capacitance"] + coupling
        left, right = current - channel, (one["gate_rest"] - gate) / one["gate_resistance"]
        grown = 1.0 + one["growth"] * min(fraction, 1.0)
        source = one["supply"] * min(time / one["rise_time"], 1.0)
        both = a * b - coupling**2
        resistance = one["line_resistance"] + one["bridge_resistance"] * grown
        heat = (current / one["no_fire_current"]) ** 2 * grown / (1.0 + one["growth"])
        return np.array(
            [
                (source - resistance * current - drain) / one["inductance"],
                (b * left + coupling * right) / both,
                (coupling * left + a * right) / both,
                (heat - fraction) / one["time_constant"],
            ]
        )

    start = np.array([0.0, 0.0, one["gate_rest"], 0.0])
    first = one["rise_time"]
    rises = solve_ivp(slope, (0.0, first), start, method="Radau", rtol=1e-4, atol=1e-7)
    answer = solve_ivp(slope, (first, UNTIL), rises.y[:, -1], method="Radau", rtol=1e-4, atol=1e-7)
    return float(max(rises.y[3].max(), answer.y[3].max()))


def best(work: Callable[[], object], repeats: int = 3) -> float:
    """Shortest process time of several runs [s]."""
    times = []
    for _ in range(repeats):
        begin = process_time()
        work()
        times.append(process_time() - begin)
    return min(times)


def main() -> None:
    """Measure and print."""
    edge = drawn(MEMBERS)
    some = [edge.take(np.array([place])) for place in range(SINGLE)]
    batch = best(lambda: edge_response(edge, UNTIL, follow=UNTIL)) / MEMBERS
    alone = best(lambda: [edge_response(one, UNTIL, follow=UNTIL) for one in some]) / SINGLE
    scipy = best(lambda: [by_scipy(edge, place) for place in range(SINGLE)], 1) / SINGLE
    ours = edge_response(edge, UNTIL, follow=UNTIL).thermal_fraction[:SINGLE]
    apart = max(abs(by_scipy(edge, place) / ours[place] - 1.0) for place in range(SINGLE))
    print(f"batch of {MEMBERS}: {1e3 * batch:.2f} ms a member, {alone / batch:.0f} times as fast as single ones")
    print(f"scipy, Radau: {1e3 * scipy:.0f} ms a member, {scipy / batch:.0f} times the batch; apart by {apart:.1e}")
    circuit = load_example(DEMO)
    sweep, settled = (best(lambda each=each: _switch_ons([circuit], each, True)) for each in (True, False))
    print(
        f"full corner sweep of the demo: {sweep:.2f} s (reach {SWEEP:.1f}), {sweep / settled:.0f} times the closed forms"
    )


if __name__ == "__main__":
    main()
