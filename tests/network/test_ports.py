"""Ports: the reduced network predicts what the whole one does."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.analyses.firing.on_state import firing_network, on_states
from ignition.circuit.file import parse_circuit
from ignition.errors import NetworkError
from ignition.network.elements import GROUND, Element, Network
from ignition.network.ports import reduce_to_ports
from ignition.network.solution import solve
from ignition.network.worst_case import draw
from tests.spice.generate import circuit_text


def two_parallel() -> Network:
    """Battery E behind S, two bridges in parallel, each behind a branch B."""
    parts = [
        Element(
            name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),), resistance=(("S", 1.0),)
        )
    ]
    for n in ("1", "2"):
        parts += [
            Element(name=f"branch {n}", kind="resistor", plus="top", minus=f"x{n}", resistance=(("B", 1.0),)),
            Element(name=f"bridge {n}", kind="resistor", plus=f"x{n}", minus=GROUND, resistance=((f"R{n}", 1.0),)),
        ]
    return Network(elements=tuple(parts), igniters=("bridge 1", "bridge 2"))


def test_parallel_bridges_by_hand() -> None:
    """Voc is E at both ports; Z has S + B on the diagonal and S beside it."""
    ports = reduce_to_ports(two_parallel(), {"E": 9.0, "S": 0.3, "B": 0.2, "R1": 1.0, "R2": 2.0})
    np.testing.assert_allclose(ports.open_voltage, [[9.0, 9.0]], rtol=1e-12)
    np.testing.assert_allclose(ports.impedance, [[[0.5, 0.3], [0.3, 0.5]]], rtol=1e-12)
    # 9 V over 0.3 + (1.2 || 2.2)
    total = 9.0 / (0.3 + 1.2 * 2.2 / 3.4)
    np.testing.assert_allclose(ports.currents([1.0, 2.0])[0], [total * 2.2 / 3.4, total * 1.2 / 3.4], rtol=1e-12)


def test_an_open_neighbour_is_a_large_load() -> None:
    """With the other bridge open the whole current is E / (S + B + R)."""
    ports = reduce_to_ports(two_parallel(), {"E": 9.0, "S": 0.3, "B": 0.2, "R1": 1.0, "R2": 2.0})
    assert ports.currents([1.0, 1e12])[0, 0] == pytest.approx(9.0 / 1.5, rel=1e-9)


def test_batch_is_a_loop_of_scalars() -> None:
    """A batch of value sets gives what single calls give, with loads common or each its own."""
    rng = np.random.default_rng(5)
    values = {n: rng.uniform(0.5, 2.0, 9) for n in ("E", "S", "B", "R1", "R2")}
    loads = rng.uniform(0.1, 5.0, (9, 2))
    batch = reduce_to_ports(two_parallel(), values)
    for member in range(9):
        one = reduce_to_ports(two_parallel(), {n: v[member] for n, v in values.items()})
        np.testing.assert_allclose(batch.impedance[member], one.impedance[0], rtol=1e-11)
        np.testing.assert_allclose(batch.currents(loads)[member], one.currents(loads[member])[0], rtol=1e-11)


def test_an_open_igniter_is_no_port() -> None:
    """An open igniter is named."""
    with pytest.raises(NetworkError, match="'bridge 2' is open and is no port"):
        reduce_to_ports(
            two_parallel().switched(opened=["bridge 2"]), {"E": 1.0, "S": 1.0, "B": 1.0, "R1": 1.0, "R2": 1.0}
        )


def test_one_member_without_a_port_form_spoils_the_batch() -> None:
    """Two bridges in series are ports while their middle is loaded by 1 ohm, and not where it hangs on 1e15 ohm."""
    ends = (
        ("battery", "top", GROUND),
        ("bridge 1", "top", "mid"),
        ("bridge 2", "mid", GROUND),
        ("load", "mid", GROUND),
    )
    parts = [
        Element(name=name, kind="resistor", plus=plus, minus=minus, resistance=((name, 1.0),))
        for name, plus, minus in ends
    ]
    parts[0] = Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),))
    network = Network(elements=tuple(parts), igniters=("bridge 1", "bridge 2"))
    values = {"E": 6.0, "bridge 1": 1.0, "bridge 2": 1.0}
    # 1 ohm and the load beside the second: 6 / 1.5 A, halved there
    ports = reduce_to_ports(network, values | {"load": 1.0})
    np.testing.assert_allclose(ports.currents([1.0, 1.0]), [[4.0, 2.0]], rtol=1e-12)
    with pytest.raises(NetworkError, match="no port form"):
        reduce_to_ports(network, values | {"load": [1.0, 1e15]})


def in_series(seed: int) -> bool:
    """Whether a circuit has two igniters in one string."""
    return any(len(string) > 1 for c in parse_circuit(circuit_text(seed)).channels for string in c.strings)


SERIES = [seed for seed in range(60) if in_series(seed)]
LONE = [seed for seed in range(60) if not in_series(seed)]


def reduced(seed: int, size: int) -> tuple[Network, dict[str, np.ndarray], np.random.Generator]:
    """The firing network of a random circuit with drawn values."""
    circuit = parse_circuit(circuit_text(seed))
    commanded = frozenset(c.name for c in circuit.channels)
    network, box = firing_network(circuit, commanded), on_states(circuit, commanded)[1]
    rng = np.random.default_rng(seed)
    return network, draw({n: box[n] for n in network.parameters}, rng, size), rng


@pytest.mark.parametrize("seed", LONE)
def test_ports_of_channel_circuits(seed: int) -> None:
    """Igniters of several channels and strings: the ports predict every current after all bridges have changed."""
    network, values, rng = reduced(seed, 20)
    ports = reduce_to_ports(network, values)
    assert ports.igniters == network.igniters
    loads = rng.uniform(0.2, 20.0, (20, len(ports.igniters)))
    full = solve(network, values | {name: loads[:, i] for i, name in enumerate(ports.igniters)})
    expected = np.stack([full.current(n) for n in ports.igniters], axis=1)
    np.testing.assert_allclose(ports.currents(loads), expected, rtol=1e-6, atol=1e-9)
    # resistors alone: reciprocal, and passive with the bridges in place
    for member, z in enumerate(ports.impedance):
        np.testing.assert_allclose(z, z.T, rtol=1e-6, atol=1e-7 * float(np.abs(z).max()))
        bridges = np.diag([values[n][member] for n in ports.igniters])
        assert np.linalg.eigvalsh((z + z.T) / 2 + bridges).min() > 0.0


@pytest.mark.parametrize("seed", SERIES)
def test_igniters_in_series_are_refused(seed: int) -> None:
    """Two igniters of one string carry one current: they have no port form, and no numbers are made up for one."""
    network, values, _ = reduced(seed, 20)
    for member in range(20):  # one by one: rounding leaves some of them not exactly singular
        with pytest.raises(NetworkError, match="no port form"):
            reduce_to_ports(network, {n: v[member] for n, v in values.items()})


def test_the_seeds_hold_both_kinds() -> None:
    """Enough circuits of either kind."""
    assert len(SERIES) >= 15 and len(LONE) >= 15
