"""The controller: published acquisition times, node equations of the gate, supply and clamps."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ignition.errors import InputError
from ignition.parts import controller

Published = Callable[[str], dict[str, Any]]


def test_driven_gate_satisfies_kirchhoff() -> None:
    """Currents into the gate node sum to zero; leakage in raises it, leakage out lowers it."""
    volts = controller.gate_voltage(3.3, 35.0, 100.0, 10e3, [-1e-4, 0.0, 1e-4])
    balance = (3.3 - volts) / 135.0 + np.array([-1e-4, 0.0, 1e-4]) - volts / 10e3
    assert balance == pytest.approx(np.zeros(3), abs=1e-15)
    assert (np.diff(volts) > 0).all()
    # driven low: only the leakage lifts the gate, through output, series and pull-down in parallel
    low = controller.gate_voltage(0.0, 35.0, 100.0, 10e3, 1e-6)
    assert float(low) == pytest.approx(1e-6 / (1 / 135.0 + 1 / 10e3), rel=1e-13)


def test_driven_gate_limits() -> None:
    """No pull-down gives the whole supply, a shorted one none, an open series resistor leaves the pull-down."""
    got = controller.gate_voltage(3.3, 0.0, [100.0, 100.0, math.inf, 0.0], [math.inf, 0.0, 1e4, 1e4], 1e-6)
    assert got == pytest.approx([3.3 + 1e-4, 0.0, 0.01, 3.3], rel=1e-12)
    assert float(controller.gate_voltage(3.3, 0.0, 0.0, 0.0)) == 0.0


def test_floating_gate_satisfies_kirchhoff() -> None:
    """With a pull-up in reset the gate takes the divider, leakage added."""
    volts = controller.floating_gate_voltage(3.3, [30e3, 45e3, 60e3], 100.0, 10e3, 1e-6)
    balance = (3.3 - volts) / (np.array([30e3, 45e3, 60e3]) + 100.0) + 1e-6 - volts / 10e3
    assert balance == pytest.approx(np.zeros(3), abs=1e-17)
    assert (np.diff(volts) < 0).all()


def test_floating_gate_without_pull_up_or_pull_down() -> None:
    """A pull-down alone carries the leakage; without one the gate goes to a rail; with nothing, to the worst."""
    infinite = math.inf
    assert float(controller.floating_gate_voltage(3.3, infinite, 100.0, 10e3, 1e-6)) == pytest.approx(0.01, rel=1e-13)
    assert float(controller.floating_gate_voltage(3.3, infinite, 100.0, 10e3)) == 0.0
    assert float(controller.floating_gate_voltage(3.3, 45e3, 100.0, infinite, 1e-6)) == 3.3
    assert float(controller.floating_gate_voltage(3.3, 45e3, 0.0, infinite, -1e-5)) == pytest.approx(2.85, rel=1e-13)
    assert float(controller.floating_gate_voltage(3.3, 45e3, 0.0, infinite, -1e-3)) == 0.0
    loose = controller.floating_gate_voltage(3.3, infinite, 100.0, infinite, [-1e-9, 0.0, 1e-9])
    assert loose.tolist() == [0.0, 3.3, 3.3]


def test_floating_gate_batch_equals_a_loop() -> None:
    """Mixed finite and infinite resistors give what each gives alone."""
    up, down = [math.inf, 45e3], [1e3, 10e3, math.inf]
    batch = controller.floating_gate_voltage(3.3, np.array(up)[:, np.newaxis], 100.0, down, 1e-6)
    assert batch.tolist() == [
        [float(controller.floating_gate_voltage(3.3, u, 100.0, d, 1e-6)) for d in down] for u in up
    ]


def test_pin_leakage_at_the_gate_is_an_upper_bound() -> None:
    """The same leakage at the pin, behind the series resistor, lifts the gate no further."""
    up, series, down, leak = 45e3, 1e3, 10e3, 1e-6
    at_pin = leak * up / (up + series + down) * down
    at_gate = controller.floating_gate_voltage(0.0, up, series, down, leak)
    assert float(at_gate) > at_pin


def test_regulated_supply() -> None:
    """Regulated, in dropout, dead."""
    assert controller.regulated_supply([8.4, 3.55, 3.0, 0.2, -1.0], 3.3, 0.25) == pytest.approx(
        [3.3, 3.3, 2.75, 0.0, 0.0], rel=1e-14
    )


def test_hold_up_time() -> None:
    """Charge over current; no time where there is no drop or no capacitor, for ever where nothing is drawn."""
    assert float(controller.hold_up_time(220e-6, 0.1, 3.3, 2.8)) == pytest.approx(1.1e-3, rel=1e-13)
    got = controller.hold_up_time([220e-6, 220e-6, 0.0], [0.1, 0.0, 0.0], [2.8, 3.3, 3.3], 2.8)
    assert got.tolist() == [0.0, math.inf, 0.0]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: controller.gate_voltage(3.3, 0.0, math.inf, math.inf), "not defined without any path"),
        (lambda: controller.gate_voltage(-1.0, 0.0, 1.0, 1.0), "supply must be 0 or more"),
        (lambda: controller.floating_gate_voltage(3.3, -1.0, 1.0, 1.0), "reset pull-up must be 0 or more"),
        (lambda: controller.regulated_supply(5.0, 3.3, -0.1), "dropout must be 0 or more"),
        (lambda: controller.hold_up_time(-1.0, 1.0, 1.0, 0.0), "capacitance must be 0 or more"),
    ],
)
def test_refusals(call: Callable[[], object], message: str) -> None:
    """Each unusable argument is refused by name."""
    with pytest.raises(InputError, match=message):
        call()
