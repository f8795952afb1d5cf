"""The checks of arguments: what passes unchanged and what is refused."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts import _require


def test_good_values_pass_unchanged() -> None:
    """Shape and values are kept; empty arrays pass."""
    assert _require.real("x", [[-1.0, 2.0]], "A").tolist() == [[-1.0, 2.0]]
    assert _require.positive("x", math.inf, "s", infinite=True) == math.inf
    assert _require.at_least_zero("x", np.zeros((0, 3)), "A").shape == (0, 3)
    assert _require.within("x", [0.6, 0.9], "1", 0.5, 1.0).tolist() == [0.6, 0.9]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: _require.real("x", [1.0, math.nan], "A"), r"x must be a finite number \[A\]: received nan"),
        (lambda: _require.real("x", math.nan, "A", infinite=True), "x must be a number"),
        (lambda: _require.real("x", -math.inf, "A"), "received -inf"),
        (lambda: _require.real("x", None, "A"), "x must be a"),
        (lambda: _require.real("x", "4k7", "ohm"), "x must be a number in ohm: received '4k7'"),
        (lambda: _require.positive("x", [1.0, 0.0], "s"), r"x must be above 0 \[s\]: received 0"),
        (lambda: _require.positive("x", math.inf, "s"), "x must be a finite number"),
        (lambda: _require.at_least_zero("x", -1e-9, "s"), "received -1e-09; write a value in s that is 0 or more"),
        (lambda: _require.within("x", 1.0, "1", 0.5, 1.0), "x must be above 0.5 and below 1"),
        (lambda: _require.within("x", math.nan, "1", 0.5, 1.0), "x must be a number"),
    ],
)
def test_refusals(call: Callable[[], object], message: str) -> None:
    """What is no number, not finite or out of range is refused with rule and remedy."""
    with pytest.raises(InputError, match=message):
        call()
