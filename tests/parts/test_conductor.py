"""Copper conductors: published tables, inverses, limits, refusals."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts import conductor as c

Published = Callable[[str], dict[str, Any]]
MIL, KILOFOOT = 25.4e-6, 304.8


def test_wire_resistance_table(published: Published) -> None:
    """A thousand feet of each gauge have the published resistance."""
    entry = published("wire.resistance")
    ohms = c.copper_resistance(KILOFOOT, c.awg_area(entry["gauge"]))
    np.testing.assert_allclose(ohms, entry["value"], rtol=entry["rel_tol"], err_msg=entry["source"])


def test_wire_diameters(published: Published) -> None:
    """The diameters are those of the table, and the two defining gauges are exact."""
    entry, ends = published("wire.diameter"), published("wire.end_points")
    np.testing.assert_allclose(
        1e3 * c.awg_diameter(entry["gauge"]), entry["value"], rtol=0.0, atol=entry["abs_tol"], err_msg=entry["source"]
    )
    np.testing.assert_allclose(
        c.awg_diameter(ends["gauge"]) / 25.4e-3, ends["value"], rtol=ends["rel_tol"], err_msg=ends["source"]
    )


def test_copper_constants(published: Published) -> None:
    """Resistivity and the hot factor are the published ones."""
    rho, hot = published("copper.resistivity"), published("copper.hot_factor")
    resistivity = c.COPPER_RESISTIVITY * 1e6
    assert resistivity == pytest.approx(rho["value"], abs=rho["abs_tol"]), rho["source"]
    assert float(c.temperature_factor(90.0)) == pytest.approx(hot["value"], abs=hot["abs_tol"]), hot["source"]


def test_lead_of_twelve_metres(published: Published) -> None:
    """Twelve metres of gauge 20 at 20 degC, to every digit."""
    entry = published("copper.lead")
    ohms = float(c.copper_resistance(entry["length"], c.conductor_area(f"AWG {entry['gauge']}")))
    assert ohms == pytest.approx(entry["value"], abs=entry["abs_tol"], rel=0.0), entry["source"]


@pytest.mark.parametrize(
    ("text", "gauge"),
    [("AWG 20", 20), ("awg24", 24), (" AWG 0 ", 0), ("AWG 1/0", 0), ("AWG 2/0", -1), ("AWG 4/0", -3), ("AWG 40", 40)],
)
def test_gauge_text(text: str, gauge: int) -> None:
    """Gauge text gives the area of that gauge."""
    assert c.conductor_area(text) == float(c.awg_area(gauge))


@pytest.mark.parametrize("text", ["0.75 mm2", "0.75mm^2", "0.75 mm²", ".75 mm2"])
def test_area_text(text: str) -> None:
    """Square millimetres are read exactly, in each spelling."""
    assert c.conductor_area(text) == 0.75e-6


def test_area_text_whole_numbers() -> None:
    """A whole number and one with a bare point are read as well."""
    assert c.conductor_area("16 mm2") == c.conductor_area("16. mm2") == 16e-6


@pytest.mark.parametrize(
    "text",
    [
        *("", "20", "20 AWG", "AWG", "AWG 41", "AWG -1", "AWG 00", "AWG 07", "AWG 5/0", "AWG 20.5", "AWG 20 mm2"),
        *(
            "0.75",
            "0,75 mm2",
            "0 mm2",
            "-1 mm2",
            "nan mm2",
            "1e3 mm2",
            "0.75 m2",
            "0.75 mm",
            "9" * 400 + " mm2",
            "٣ mm2",
        ),
    ],
)
def test_area_text_refused(text: str) -> None:
    """Anything else is refused, "AWG 00" too: it is 2/0 in the trade and must not be read as gauge 0."""
    with pytest.raises(InputError, match=r"write"):
        c.conductor_area(text)


def test_area_of_a_number_is_refused() -> None:
    """A bare number has no unit and is refused."""
    with pytest.raises(InputError, match=r'received 0\.75; write "AWG 20"'):
        c.conductor_area(0.75)  # type: ignore[arg-type]


@pytest.mark.parametrize("gauge", [-4, 41, math.nan, math.inf])
def test_gauge_refused(gauge: float) -> None:
    """A gauge outside 4/0 .. 40 is refused."""
    with pytest.raises(InputError, match=r"whole number from -3 \(4/0\) to 40"):
        c.awg_diameter(gauge)


def test_gauge_between_two_is_refused() -> None:
    """A broken gauge number is refused, alone or in an array."""
    with pytest.raises(InputError, match=r"received 20\.5; write the nearest gauge"):
        c.awg_area([20.0, 20.5])


def test_temperature_law() -> None:
    """The straight line is exact: no change at 20 degC, 0.393 % for each kelvin."""
    at = np.array([-20.0, 20.0, 85.0])
    cold = c.copper_resistance(1.0, 1e-6, 20.0)
    np.testing.assert_array_equal(c.copper_resistance(1.0, 1e-6, at), cold * (1.0 + 0.00393 * (at - 20.0)))
    assert float(c.copper_resistance(0.0, 1e-6)) == 0.0


@pytest.mark.parametrize("temperature", [-234.0, -300.0, 1084.0, math.nan])
def test_temperature_refused(temperature: float) -> None:
    """A temperature at which the line means nothing is refused."""
    with pytest.raises(InputError, match=r"temperature must be a finite number above -234 degC and of at most 1083"):
        c.temperature_factor(temperature)


@pytest.mark.parametrize(("length", "area"), [(-1.0, 1e-6), (1.0, 0.0), (1.0, -1e-6), (math.inf, 1e-6), ("x", 1e-6)])
def test_resistance_refused(length: Any, area: float) -> None:
    """A negative length, an area of zero and text are refused."""
    with pytest.raises(InputError, match=r"(length|area) must be"):
        c.copper_resistance(length, area)


def test_batch_equals_scalars() -> None:
    """A broadcast batch equals the loop of scalars."""
    lengths, gauges, hot = [0.0, 2.0, 12.0], [18, 24], [-10.0, 40.0]
    batch = c.copper_resistance(np.array(lengths)[:, None, None], c.awg_area(np.array(gauges))[:, None], np.array(hot))
    loop = [float(c.copper_resistance(x, c.awg_area(n), t)) for x, n, t in itertools.product(lengths, gauges, hot)]
    np.testing.assert_array_equal(batch.ravel(), loop)


def test_onderdonk_published(published: Published) -> None:
    """Copper melts at the published currents and times: 168.86 A, not the 178 A of the wrong sign."""
    entry, gauges = published("onderdonk.current"), published("onderdonk.gauges")
    rows = [(entry["circular_mils"] * math.pi / 4 * MIL**2, entry["value"], entry["time"], entry)]
    table = zip(gauges["gauge"], gauges["value"], gauges["time"], strict=True)
    rows += [(float(c.awg_area(gauge)), value, time, gauges) for gauge, value, time in table]
    for area, amperes, time, source in rows:
        below, above = c.adiabatic_temperature(area, amperes + source["abs_tol"] * np.array([-1.0, 1.0]), time, 25.0)
        assert below < 1083.0 and above == math.inf, source["source"]


def test_adiabatic_temperature_meets_onderdonk() -> None:
    """Just before the melting time copper is just below 1083 degC, from then on melted; no warning at any size."""
    area, amperes = float(c.awg_area(24)), 60.0
    melting = math.log10(1.0 + (1083 - 25) / (234 + 25)) / 33.0 * (area / (math.pi / 4 * MIL**2) / amperes) ** 2
    assert float(c.adiabatic_temperature(area, amperes, melting * (1 - 1e-6), 25.0)) == pytest.approx(1083.0, abs=0.01)
    assert float(c.adiabatic_temperature(area, amperes, melting * (1 + 1e-9), 25.0)) == math.inf
    assert float(c.adiabatic_temperature(area, 1.0, 1.0, 1083.0)) == math.inf
    got = c.adiabatic_temperature(area, [0.0, 1.0, 1e300], 1e6, 25.0)
    assert float(got[0]) == 25.0 and math.isinf(got[2]) and not np.isnan(got).any()
    assert float(c.adiabatic_temperature(area, 1e300, 0.0, 25.0)) == 25.0


def test_adiabatic_temperature_by_integration() -> None:
    """Heating step by step with a resistance that is linear in temperature gives the same temperature."""
    area, amperes, steps, end = float(c.awg_area(24)), 20.0, 20000, 3.0
    mils = area / (math.pi / 4 * MIL**2)
    degrees = 25.0
    for _ in range(steps):
        # d(234 + T)/dt proportional to (234 + T): the midpoint rule
        rate = 33.0 * math.log(10.0) * (amperes / mils) ** 2
        middle = degrees + 0.5 * end / steps * rate * (234.0 + degrees)
        degrees += end / steps * rate * (234.0 + middle)
    assert float(c.adiabatic_temperature(area, amperes, end, 25.0)) == pytest.approx(degrees, rel=1e-7)


def test_adiabatic_agrees_with_joule_heat() -> None:
    """Small pulses heat by I^2 R t over the heat capacity of copper (3.4 MJ/(m^3 K), textbook, memory) within 5 %."""
    area, amperes, time = 1e-6, 50.0, 0.02
    joule = amperes**2 * c.COPPER_RESISTIVITY / area**2 * time / 3.45e6  # heat capacity from memory
    rise = float(c.adiabatic_temperature(area, amperes, time, 20.0)) - 20.0
    assert rise == pytest.approx(joule, rel=0.05)


def test_inductance_by_geometric_mean_distance() -> None:
    """The closed form equals the numerical mean of ln(distance) over both sections."""
    diameter, spacing, n = 1.0, 2.5, 44
    axis = (np.arange(n) + 0.5) / n - 0.5
    x, y = (a.ravel() for a in np.meshgrid(axis, axis))
    x, y = x[np.hypot(x, y) < 0.5], y[np.hypot(x, y) < 0.5]
    own = np.hypot(x[:, None] - x, y[:, None] - y)
    np.fill_diagonal(own, 0.44705 / n)  # geometric mean distance of a square cell to itself
    other = np.hypot(x[:, None] - x - spacing, y[:, None] - y)
    numeric = 4e-7 * (np.log(other).mean() - np.log(own).mean())
    assert float(c.two_wire_inductance(1.0, spacing, diameter)) == pytest.approx(numeric, rel=3e-3)


def test_inductance_properties() -> None:
    """Proportional to length, larger when wider apart; wires that overlap are refused."""
    one, two = c.two_wire_inductance([1.0, 2.0], 3e-3, 1e-3)
    assert two == pytest.approx(2.0 * one, rel=1e-15)
    assert float(c.two_wire_inductance(1.0, 30e-3, 1e-3)) > one
    with pytest.raises(InputError, match=r"spacing must be at least the diameter"):
        c.two_wire_inductance(1.0, 0.9e-3, 1e-3)


def test_trace_area_by_hand() -> None:
    """100 mil of 1 oz copper, 34.79 um (by weight), is 0.0884 mm2; a width of zero is refused."""
    assert float(c.trace_area(100 * MIL, 34.79e-6)) == pytest.approx(0.08837e-6, rel=1e-3)
    with pytest.raises(InputError, match=r"width must be a finite number above 0 m"):
        c.trace_area(0.0, 35e-6)
