"""Corners: the battery voltage and the ends of the tolerances that matter, most influential first."""

from __future__ import annotations

from ignition.findings.corner import corner_of
from ignition.network.worst_case import Extreme
from ignition.toleranced import Toleranced

BOX = {
    "battery.voltage": Toleranced(low=6.0, nominal=7.0, high=8.0, unit="V"),
    **{n: Toleranced(low=1.0, nominal=2.0, high=3.0, unit="ohm") for n in "abcdefgh"},
}
SIZES = {"battery.voltage": 10.0, "a": 1.0, "b": 5.0, "c": 0.01, "d": 0.0099, "e": 2.0}
HIGH_AT = {n: 3.0 for n in "abcdefgh"} | {"battery.voltage": 7.5, "e": 1.0}
LOW_AT = {n: 1.0 for n in "abcdefgh"} | {"battery.voltage": 6.5, "e": 3.0}


def extreme(sizes: dict[str, float], high_at: dict[str, float] = HIGH_AT) -> Extreme:
    """A bound with the effects of its tolerances."""
    return Extreme(low=0.0, nominal=1.0, high=2.0, low_at=LOW_AT, high_at=high_at, method="", sizes=sizes)


def test_ends_in_order_of_their_effect() -> None:
    """Below a thousandth of the largest effect nothing is named, at it something is; the battery stands by itself."""
    corner = corner_of(extreme(SIZES), BOX, 45.0, high=True)
    assert corner.ends == (("b", "high"), ("e", "low"), ("a", "high"), ("c", "high"))
    assert (corner.battery_voltage, corner.temperature) == (7.5, 45.0)


def test_the_low_bound_has_its_own_corner() -> None:
    """The low bound's ends are read where it stands."""
    corner = corner_of(extreme(SIZES), BOX, -5.0, high=False)
    assert corner.ends == (("b", "low"), ("e", "high"), ("a", "low"), ("c", "low"))
    assert corner.battery_voltage == 6.5


def test_six_at_most_and_a_battery_that_has_no_effect() -> None:
    """More than six would not be read; where the battery does not matter its own end is shown."""
    sizes = {n: 1.0 + i for i, n in enumerate("abcdefgh")}
    without = {n: v for n, v in HIGH_AT.items() if n != "battery.voltage"}
    corner = corner_of(extreme(sizes, without), BOX, 20.0, high=True)
    assert [name for name, _ in corner.ends] == list("hgfedc") and corner.battery_voltage == 8.0
    low = Extreme(low=0.0, nominal=1.0, high=2.0, low_at={}, high_at={}, method="")
    assert (
        corner_of(low, BOX, 20.0, high=False).battery_voltage == 6.0
        and corner_of(low, BOX, 20.0, high=False).ends == ()
    )
