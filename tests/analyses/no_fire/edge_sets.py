"""Value sets of the arming edge for tests: one to follow by hand, and many over all parts and circuits."""

from __future__ import annotations

import numpy as np

from ignition.analyses.no_fire.edge import Edge

__all__ = ["REFERENCE", "random_edges"]

REFERENCE = {
    "supply": 12.6,
    "rise_time": 1e-6,
    "line_resistance": 0.15,
    "share": 1.0,
    "inductance": 1e-9,
    "bridge_resistance": 1.0,
    "growth": 0.0,
    "no_fire_current": 0.3,
    "time_constant": 10e-3,
    "threshold": 0.6,
    "gain": 40.0,
    "row_overdrive": 10.0,
    "threshold_current": 0.0,
    "slope_voltage": 0.1,
    "gate_source_capacitance": 900e-12,
    "near_capacitance": 100e-12,
    "far_capacitance": 100e-12,
    "knee_voltage": 1e6,
    "breakdown": np.inf,
    "drain_capacitance": 300e-12,
    "gate_resistance": 10e3,
    "gate_rest": 0.0,
}


def random_edges(count: int, seed: int) -> Edge:
    """Value sets over the whole range of parts and circuits."""
    rng = np.random.default_rng(seed)

    def between(low: float, high: float) -> np.ndarray:
        return np.exp(rng.uniform(np.log(low), np.log(high), count))

    far = between(3e-12, 500e-12)
    even = rng.random(count) < 0.5
    return Edge.of(
        supply=between(4.2, 25.0),
        rise_time=between(10e-9, 10e-6),
        line_resistance=between(0.05, 3.0),
        inductance=between(1e-9, 50e-6),
        bridge_resistance=between(0.3, 8.0),
        growth=rng.uniform(-0.1, 0.6, count),
        no_fire_current=between(0.1, 1.0),
        time_constant=between(1e-3, 50e-3),
        threshold=between(0.3, 3.0),
        gain=between(2.0, 200.0),
        threshold_current=between(1e-5, 1e-3),
        slope_voltage=between(0.03, 0.08),
        gate_source_capacitance=between(100e-12, 20e-9),
        near_capacitance=np.where(even, far, far * between(1.0, 100.0)),
        far_capacitance=far,
        knee_voltage=np.where(even, 1e6, between(0.3, 5.0)),
        breakdown=np.where(rng.random(count) < 0.5, np.inf, between(26.0, 100.0)),
        drain_capacitance=between(50e-12, 10e-9),
        gate_resistance=between(1e3, 1e6),
        gate_rest=rng.uniform(0.0, 0.25, count),
        share=rng.choice([1.0, 0.5, 0.25], count),
        row_overdrive=between(0.5, 5.0),
    )
