"""Firing transients of generated clusters in ngspice: the same order of functions, the same times."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ignition.circuit.examples import example_text
from ignition.circuit.file import parse_circuit
from ignition.spice.cases import firing_cases
from ignition.spice.crosscheck import _function_times

CLUSTERS = 36
SHAPES = {
    "parallel": lambda names: [[n] for n in names],
    "series": lambda names: [list(names)],
    "mixed": lambda names: [list(names[: len(names) // 2]), *([n] for n in names[len(names) // 2 :])],
}


def cluster_text(seed: int) -> str:
    """A cluster of two to five igniters, each of a type of its own, so that the order of functions is distinct."""
    rng = np.random.default_rng(seed)
    names = [f"type{k}" for k in range(int(rng.integers(2, 6)))]
    shape = SHAPES[sorted(SHAPES)[seed % 3]](names)
    tables = []
    for name in names:
        spent = str(rng.choice(["open", "20 mohm", f"{rng.uniform(0.5, 20):.4g} ohm"]))
        tables.append(
            f'[igniter.{name}]\nbridge_resistance = "{rng.uniform(0.5, 2.0):.6g} ohm"\nspent = "{spent}"\n'
            f'no_fire = {{ current = "{rng.uniform(0.1, 0.25):.6g} A", duration = "300 s" }}\n'
            f'all_fire = {{ current = "{rng.uniform(0.4, 0.9):.6g} A", duration = "50 ms" }}\n'
            f'time_constant = "{rng.uniform(2, 20):.6g} ms"\n'
        )
    text = example_text("tether-cutter")
    start, end = text.index("[igniter.cutter]"), text.index("[mosfet.low_side]")
    text = text[:start] + "\n".join(tables) + "\n" + text[end:]
    text = text.replace('igniters = [["cutter"]]', f"igniters = {shape}".replace("'", '"'))
    return text.replace("6.0 V .. 6.4 V .. 6.8 V", f"{rng.uniform(6, 12):.6g} V").replace('"2 s"', '"60 ms"')


@pytest.mark.parametrize("seed", range(CLUSTERS))
def test_order_and_times_of_a_generated_cluster(seed: int) -> None:
    """Who functions, in which order, and when (to 1 %), is the same in ngspice and in the event march."""
    circuit = parse_circuit(cluster_text(seed), name=f"{seed}.toml")
    (group,) = firing_cases(circuit)
    found = _function_times(circuit, group)
    assert any(math.isfinite(c.ours) for c in found), "a cluster in which nothing functions shows nothing"
    assert all(c.relative_difference <= 0.01 for c in found), found
    assert [c.quantity for c in sorted(found, key=lambda c: c.ours)] == [
        c.quantity for c in sorted(found, key=lambda c: c.ngspice)
    ]
