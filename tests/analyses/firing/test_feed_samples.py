"""Samples of random circuits, each at any place inside its tolerances: none leaves a bound of the feed or the switch."""

from __future__ import annotations

import math
from collections import Counter
from typing import Any

import numpy as np

from ignition.analyses.firing.firing import firing
from ignition.circuit.file import parse_circuit
from ignition.toleranced import Spread
from tests.analyses.firing.feed_samples import circuit_text, plan, sampled

SEEDS = range(40)
SAMPLES = 300
ROUNDING = 1e-5  # the sense dividers, and the fit of the highest junction


def inside(value: float, found: Spread) -> bool:
    """Whether a sample lies inside, to rounding; a bound that is withheld holds nothing out."""
    slack = ROUNDING * max(abs(value), 1.0)
    low = -math.inf if found.low is None else found.low
    high = math.inf if found.high is None else found.high
    return low - slack <= value <= high + slack


def test_no_sample_leaves_a_bound(record_testsuite_property: Any) -> None:
    """Wire, battery, on-resistance, junction, battery and controller voltage, opening of the fuse; 300 samples a circuit."""
    seen: Counter[str] = Counter()
    for seed in SEEDS:
        p = plan(seed)
        circuit = parse_circuit(circuit_text(p), f"{seed}.toml")
        result = firing(circuit)
        rng = np.random.default_rng(10_000 + seed)
        for _ in range(SAMPLES):
            sample = sampled(p, rng)
            if sample is None:
                seen["below the lowest row"] += 1
                assert any(c.on_resistance.high is None for c in result.channels), seed
                continue
            seen["marched"] += 1
            where = f"seed {seed}: {sample}"
            assert inside(sample.battery_resistance, Spread.of(circuit.battery.resistance)), where
            for k, channel in enumerate(result.channels):
                assert inside(sample.wires[k], Spread.of(circuit.channels[k].lead.round_trip)), where
                for ohms in sample.on_resistances[k]:
                    # 1e-5 of an ohm would be too wide here
                    assert inside(1e3 * ohms, _thousandfold(channel.on_resistance)), where
                if channel.mosfet_junction.high is not None and channel.mosfet_junction.high <= 150.0:
                    seen["junctions"] += 1
                    assert inside(sample.junctions[k], channel.mosfet_junction), where
            assert inside(sample.lowest_terminal, result.battery_voltage), where
            assert inside(sample.lowest_rail, result.controller_supply), where
            assert sample.opens_after >= result.supply.fuse_time * (1 - ROUNDING), where
            seen["fuse opened"] += math.isfinite(sample.opens_after)
    record_testsuite_property("samples held to the bounds of the feed", seen["marched"])
    assert seen["marched"] > 9000 and seen["junctions"] > 6000 and seen["fuse opened"] > 500, seen


def _thousandfold(value: Spread) -> Spread:
    low, nominal, high = (None if v is None else 1e3 * v for v in (value.low, value.nominal, value.high))
    return Spread(low=low, nominal=nominal, high=high, unit="mohm")
