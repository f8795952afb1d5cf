"""Preferred values: published series, exact floats, agreement with the package that holds them."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import eseries
import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts import preferred as p

Published = Callable[[str], dict[str, Any]]
NAMES = ["E3", "E6", "E12", "E24", "E48", "E96", "E192"]


def test_tolerances(published: Published) -> None:
    """Each series has its published tolerance."""
    entry = published("preferred.tolerance")
    assert entry["series"] == NAMES
    got = [p.series_tolerance(name) for name in entry["series"]]
    assert got == pytest.approx(entry["value"], rel=entry["rel_tol"]), entry["source"]


def test_published_choices(published: Published) -> None:
    """The next above and the values around 5000 are the published ones."""
    above, around = (published(f"preferred.{key}") for key in ("at_or_above", "around_5000"))
    assert p.series_values(above["series"], above["wanted"], 1e3)[0] == above["value"], above["source"]
    assert p.series_values(around["series"], 4.7e3, 5.6e3).tolist() == around["value"], around["source"]


def test_decade(published: Published) -> None:
    """A decade of E24 is the published list; E192 holds 920 and not 919."""
    entry, odd = published("preferred.decade"), published("preferred.not_rounding")
    assert p.series_values(entry["series"], 10.0, 99.0).tolist() == entry["value"], entry["source"]
    held = p.series_values(odd["series"], 100.0, 999.0)
    assert odd["value"] in held and odd["plain_rounding"] not in held, odd["source"]


@pytest.mark.parametrize("name", NAMES)
def test_values_are_exact_and_sorted(name: str) -> None:
    """Six decades: count, order and the shortest decimal text of each float."""
    held = p.series_values(name, 1.0, 999_999.0)
    assert len(held) == 6 * int(name[1:])
    assert np.all(np.diff(held) > 0.0)
    assert all(len(repr(float(value)).replace(".", "").strip("0")) <= 3 for value in held)


@pytest.mark.parametrize("name", NAMES)
def test_agrees_with_the_package(name: str) -> None:
    """The package's own range over the same limits gives the same values."""
    other = list(eseries.erange(eseries.ESeries[name], 0.5, 2.2e4))
    np.testing.assert_allclose(p.series_values(name, 0.5, 2.2e4), other, rtol=1e-14)


def test_limits_are_included_and_small_values_exact() -> None:
    """Both limits belong to the range; below one the floats are exact too; an empty range stays empty."""
    assert p.series_values("E24", 4700.0, 4700.0).tolist() == [4700.0]
    assert p.series_values("E12", 4.7e-9, 1e-8).tolist() == [4.7e-9, 5.6e-9, 6.8e-9, 8.2e-9, 1e-8]
    assert p.series_values("E3", 11.0, 21.0).shape == (0,)


def test_refused() -> None:
    """Unknown series, exchanged, zero and endless limits are refused."""
    with pytest.raises(InputError, match=r"one of E3, E6, .* received 'E25'; write \"E24\""):
        p.series_values("E25", 1.0, 2.0)
    with pytest.raises(InputError, match=r"low must not be above high, received 2 and 1"):
        p.series_values("E24", 2.0, 1.0)
    for low, high in ((0.0, 1.0), (1.0, math.inf), (math.nan, 1.0)):
        with pytest.raises(InputError, match=r"(low|high) must be a finite number"):
            p.series_values("E24", low, high)
