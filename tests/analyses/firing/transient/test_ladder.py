"""Tests of the tree solve: Kirchhoff's current law, a nodal matrix, opens and shorts."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.analyses.firing.transient.ladder import ClusterTree, tree_currents
from ignition.errors import InputError


def random_tree(rng: np.random.Generator) -> ClusterTree:
    """A tree of 1 to 3 channels, 1 to 3 strings each, 1 to 3 igniters each, in shuffled order."""
    channel = [c for c in range(rng.integers(1, 4)) for _ in range(rng.integers(1, 4))]
    rng.shuffle(channel)
    string = [s for s in range(len(channel)) for _ in range(rng.integers(1, 4))]
    rng.shuffle(string)
    return ClusterTree(
        channel_of_string=tuple(int(c) for c in channel), string_of_igniter=tuple(int(s) for s in string)
    )


def nodal_matrix_currents(
    tree: ClusterTree, voltage: float, source: float, channel: np.ndarray, string: np.ndarray, on: np.ndarray
) -> tuple[float, np.ndarray]:
    """Bus voltage and string currents from a nodal matrix; `string` is the whole resistance of each string."""
    m = tree.channels
    matrix, right = np.zeros((m + 1, m + 1)), np.zeros(m + 1)
    matrix[0, 0] += 1.0 / source
    right[0] = voltage / source
    for c in range(m):
        g = 1.0 / channel[c] if on[c] else 0.0
        matrix[[0, c + 1], [0, c + 1]] += g
        matrix[[0, c + 1], [c + 1, 0]] -= g
        matrix[c + 1, c + 1] += 1e-30
    for s, c in enumerate(tree.channel_of_string):
        matrix[c + 1, c + 1] += 1.0 / string[s]
    nodes = np.linalg.solve(matrix, right)
    return float(nodes[0]), nodes[1:][list(tree.channel_of_string)] / string


@pytest.mark.parametrize("seed", range(12))
def test_currents_equal_a_nodal_matrix(seed: int) -> None:
    """Bus voltage and string currents of random trees are those of a nodal matrix, channels on and off."""
    rng = np.random.default_rng(seed)
    tree = random_tree(rng)
    igniter = rng.uniform(0.5, 3.0, (tree.igniters, 4))
    branch = rng.uniform(0.01, 1.0, (tree.strings, 4))
    channel = rng.uniform(0.01, 0.5, (tree.channels, 4))
    on = rng.random((tree.channels, 4)) < 0.7
    answer = tree_currents(
        tree,
        voltage=11.1,
        source_resistance=0.2,
        channel_resistance=channel,
        string_resistance=branch,
        igniter_resistance=igniter,
        conducting=on,
    )
    for n in range(4):
        whole = branch[:, n].copy()
        np.add.at(whole, list(tree.string_of_igniter), igniter[:, n])
        bus, currents = nodal_matrix_currents(tree, 11.1, 0.2, channel[:, n], whole, on[:, n])
        assert answer.bus_voltage[n] == pytest.approx(bus, rel=1e-12)
        np.testing.assert_allclose(answer.string_current[:, n], currents, rtol=1e-11, atol=1e-13)


@pytest.mark.parametrize("seed", range(12))
def test_kirchhoff_laws_with_opens_and_shorts(seed: int) -> None:
    """Currents balance at every node, and voltages around every loop, with open and shorted igniters among them."""
    rng = np.random.default_rng(100 + seed)
    tree = random_tree(rng)
    igniter = rng.choice([0.0, 0.3, 1.0, 2.0, np.inf], (tree.igniters, 50))
    channel = rng.uniform(0.01, 0.5, (tree.channels, 50))
    source = rng.uniform(0.05, 0.5, 50)
    answer = tree_currents(
        tree,
        voltage=9.0,
        source_resistance=source,
        channel_resistance=channel,
        string_resistance=0.0,
        igniter_resistance=igniter,
    )
    assert np.isfinite(answer.string_current).all()
    by_channel = np.zeros_like(channel)
    np.add.at(by_channel, list(tree.channel_of_string), answer.string_current)
    np.testing.assert_allclose(by_channel, answer.channel_current, rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(answer.channel_current.sum(axis=0), answer.source_current, rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(answer.bus_voltage + source * answer.source_current, 9.0, rtol=1e-12)
    drop = answer.channel_voltage + channel * answer.channel_current
    np.testing.assert_allclose(drop, np.broadcast_to(answer.bus_voltage, drop.shape), rtol=1e-12, atol=1e-9)
    total = np.zeros_like(answer.string_current)
    np.add.at(total, list(tree.string_of_igniter), igniter)
    assert np.all(answer.string_current[np.isinf(total)] == 0.0)


def test_dead_short_takes_all_current() -> None:
    """A string of 0 ohm takes the whole current, its neighbour none, and the current is E over what is in series."""
    answer = tree_currents(
        ClusterTree.parallel(2),
        voltage=6.0,
        source_resistance=0.4,
        channel_resistance=0.2,
        string_resistance=0.0,
        igniter_resistance=[0.0, 1.0],
    )
    np.testing.assert_allclose(answer.string_current[:, 0], [10.0, 0.0], atol=1e-10)


def test_open_source_open_channel_and_no_resistance() -> None:
    """An open source or channel gives no current; an ideal source gives E / R to every string."""
    tree = ClusterTree(channel_of_string=(0, 1), string_of_igniter=(0, 1))
    dead = tree_currents(
        tree,
        voltage=6.0,
        source_resistance=np.inf,
        channel_resistance=0.0,
        string_resistance=0.0,
        igniter_resistance=2.0,
    )
    assert np.all(dead.string_current < 1e-200)
    half = tree_currents(
        tree,
        voltage=6.0,
        source_resistance=0.0,
        channel_resistance=[np.inf, 0.0],
        string_resistance=0.0,
        igniter_resistance=2.0,
    )
    np.testing.assert_allclose(half.string_current[:, 0], [0.0, 3.0], atol=1e-200)


def test_tree_refuses_gaps_and_negative_resistance() -> None:
    """A group without a member, an empty tree, a negative resistance and a wrong shape are refused by name."""
    with pytest.raises(InputError, match="channel_of_string: indices must be 0, 1, 2"):
        ClusterTree(channel_of_string=(0, 2), string_of_igniter=(0, 1))
    with pytest.raises(InputError, match=r"string_of_igniter: indices must be each of 0 \.\. 1"):
        ClusterTree(channel_of_string=(0, 0), string_of_igniter=(0, 0))
    with pytest.raises(InputError, match="channel_of_string"):
        ClusterTree(channel_of_string=(), string_of_igniter=())
    good = {"voltage": 6.0, "source_resistance": 0.1, "channel_resistance": 0.0, "string_resistance": 0.0}
    with pytest.raises(InputError, match="igniter_resistance: a resistance must be 0 or more"):
        tree_currents(ClusterTree.parallel(2), **good, igniter_resistance=[1.0, -1.0])
    with pytest.raises(InputError, match="igniter_resistance: 2 members expected"):
        tree_currents(ClusterTree.parallel(2), **good, igniter_resistance=[1.0, 1.0, 1.0])
    with pytest.raises(InputError, match="numbers of trials must agree"):
        tree_currents(ClusterTree.parallel(2), **(good | {"voltage": np.ones(3)}), igniter_resistance=np.ones((2, 4)))
