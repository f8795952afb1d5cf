"""Batches of sparse linear systems, straight and transposed, against numpy's own dense solution."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.network.linear import Pattern
from ignition.typing import FloatArray


def systems(size: int, batch: int) -> tuple[Pattern, FloatArray, FloatArray]:
    """A pattern with a full diagonal and some other places, entries for a batch, and three right sides."""
    rng = np.random.default_rng(size)
    places = {(i, i) for i in range(size)} | {(int(a), int(b)) for a, b in rng.integers(size, size=(4 * size, 2))}
    rows, columns = (np.array(part, dtype=np.intp) for part in zip(*sorted(places), strict=True))
    entries = rng.uniform(0.5, 1.0, (batch, len(rows))) + np.where(rows == columns, 9.0, 0.0)
    return Pattern(size=size, rows=rows, columns=columns), entries, rng.normal(size=(batch, size, 3))


@pytest.mark.parametrize("transposed", [False, True])
@pytest.mark.parametrize(("size", "batch"), [(1, 2), (40, 3), (76, 300), (120, 1), (40, 0)])
def test_each_member_is_solved_by_itself(size: int, batch: int, transposed: bool) -> None:
    """Every member of a batch, in one chunk or two, is the solution of its own matrix."""
    pattern, entries, right = systems(size, batch)
    found = pattern.solve(entries, right, transposed=transposed)
    assert found.shape == right.shape
    for member in range(batch):
        matrix = np.zeros((size, size))
        matrix[pattern.rows, pattern.columns] = entries[member]
        expected = np.linalg.solve(matrix.T if transposed else matrix, right[member])
        np.testing.assert_allclose(found[member], expected, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("size", [40, 120])
def test_a_singular_member_is_refused(size: int) -> None:
    """One member whose row is empty makes the batch unsolvable."""
    pattern, entries, right = systems(size, 3)
    entries[1, pattern.rows == 2] = 0.0
    with pytest.raises(np.linalg.LinAlgError, match=r"[Ss]ingular"):
        pattern.solve(entries, right)
