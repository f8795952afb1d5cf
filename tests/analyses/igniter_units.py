"""Random igniters that follow temperature, and single units of them as heat capacity, loss and resistance.

The units share nothing with the package's laws: no growth, no thermal fraction, no shifted threshold.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ignition.circuit import description as d
from ignition.circuit.model import IgniterModel
from ignition.toleranced import Toleranced
from ignition.typing import BoolArray, FloatArray

__all__ = ["Bridges", "igniter_lines", "sampled", "units_of"]

SPENT = ["open", "short", "0.05 ohm .. 1 ohm .. 4 ohm", "3 ohm .. 5 ohm .. 40 ohm"]
STATED = "reliability = 0.999, confidence = 0.95"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridges:
    """Bridges [SI, degC], each an array of one shape.

    Attributes
    ----------
    resistance, coefficient : At the reference temperature [ohm], and relative to that [1/K]
    loss, capacity : Heat loss [W/K] and heat capacity [J/K]
    spent : Resistance after function [ohm]
    possible : Whether any unit keeps to both statements and to this time constant or energy
    """

    resistance: FloatArray
    coefficient: FloatArray
    reference: FloatArray
    function: FloatArray
    loss: FloatArray
    capacity: FloatArray
    spent: FloatArray
    possible: BoolArray


def igniter_lines(rng: np.random.Generator, resistance: float) -> list[str]:
    """An igniter type at random: coefficient of either sign, wide temperatures, each way to a time constant."""

    def pick(*texts: str) -> str:
        return texts[int(rng.integers(len(texts)))]

    alpha = np.sort(rng.uniform(-1.2e-3, 4e-3) * rng.uniform([0.6, 1.0, 1.0], [1.0, 1.0, 1.3]))
    coefficient = " .. ".join(f"{a:.6g} / K" for a in alpha) if rng.random() < 0.5 else f"{alpha[1]:.6g} / K"
    lines = [f'temperature_coefficient = "{coefficient}"', f'spent = "{pick(*SPENT)}"']
    function = pick("", "130 degC .. 240 degC .. 400 degC", "200 degC .. 420 degC", "300 degC")
    lines += [f'function_temperature = "{function}"'] * bool(function)
    reference = pick("", "25 degC", "10 degC .. 30 degC")
    lines += [f'reference_temperature = "{reference}"'] * bool(reference)
    scale = float(rng.choice([0.25, 1.0]))  # easily lit, or hardly
    for kind, share, durations in (
        ("no_fire", 0.2, ("", "300 s", "500 ms .. 1 s .. 5 s")),
        ("all_fire", 0.9, ("", "50 ms", "40 ms .. 60 ms .. 100 ms")),
    ):
        current, duration = share * scale, pick(*durations)
        text = pick(f"{current:.6g} A", f"{0.75 * current:.6g} A .. {current:.6g} A .. {1.1 * current:.6g} A")
        given = [f'current = "{text}"', *([f'duration = "{duration}"'] * bool(duration)), STATED]
        lines.append(f"{kind} = {{ {', '.join(given)} }}")
    joule = 0.16 * scale**2 * resistance * 12e-3
    lines.append(
        pick(
            'time_constant = "12 ms"',
            'time_constant = "8 ms .. 12 ms .. 17 ms"',
            f'adiabatic_energy = "{0.8 * joule:.6g} J .. {joule:.6g} J .. {1.3 * joule:.6g} J"',
            f'response = [["{1.9 * scale:.6g} A .. {2.1 * scale:.6g} A", "450 us .. 500 us .. 550 us"]]',
        )
    )
    return lines


def loss_for(
    current: Any, duration: Any, *, resistance: Any, coefficient: Any, rise: Any, tau: Any, energy: Any
) -> Any:
    """Loss [W/K] of a bridge that just functions when a current ends; `tau`, or where it is NaN `energy`, gives C.

    C dT/dt = I^2 R (1 + alpha T) - loss T from the reference temperature, linear in T; the rise at the end falls with
    the loss, so it is bisected.
    """
    power = current**2 * resistance
    low, high = 1e-9 * power / rise, power * (1.0 + coefficient * rise) / rise
    for _ in range(80):
        middle = np.sqrt(low * high)
        capacity = np.where(np.isnan(tau), energy / rise, middle * tau)
        net = middle - coefficient * power
        net = np.where(np.abs(net) < 1e-15, 1e-15, net)
        with np.errstate(over="ignore"):
            reached = power / net * -np.expm1(-net * duration / capacity)
        low, high = np.where(reached >= rise, middle, low), np.where(reached >= rise, high, middle)
    return low


def seconds_to_function(current: Any, loss: Any, tau: Any, *, resistance: Any, coefficient: Any, rise: Any) -> Any:
    """Time for which a constant current has to flow from the reference temperature; NaN where it never functions."""
    power = current**2 * resistance
    net = loss - coefficient * power
    with np.errstate(invalid="ignore"):
        return -loss * tau / net * np.log1p(-rise * net / power)


def sampled(value: Toleranced, rng: np.random.Generator, size: int) -> FloatArray:
    """Values inside a tolerance; one in three stands at an end."""
    ends = np.where(rng.random(size) < 0.5, value.low, value.high)
    return np.where(rng.random(size) < 1 / 3, ends, value.sample(rng, size))


def units_of(model: IgniterModel, given: d.Igniter, rng: np.random.Generator, size: int) -> Bridges:
    """Units of one type that keep to their statements at the reference temperature, every value inside its tolerance."""

    def some(value: Toleranced) -> FloatArray:
        return sampled(value, rng, size)

    at = model.temperatures
    assert model.no_fire is not None and model.all_fire is not None
    reference, function = some(at.reference), some(at.function)
    bridge = {
        "resistance": some(at.reference_resistance), "coefficient": some(at.coefficient), "rise": function - reference
    }  # fmt: skip
    statements = [(some(s.current), some(s.duration)) for s in (model.no_fire, model.all_fire)]
    tau = energy = np.full(size, np.nan)
    if given.time_constant is not None:
        tau = some(given.time_constant)
    elif given.adiabatic_energy is not None:
        energy = some(given.adiabatic_energy)
    else:
        tau = response_tau(given, statements, bridge, some)
    least, most = (loss_for(i, t, **bridge, tau=tau, energy=energy) for i, t in statements)
    share = rng.random(size)
    share = np.where(rng.random(size) < 0.4, np.round(share), share)
    loss = least * (most / least) ** share
    return Bridges(
        resistance=bridge["resistance"],
        coefficient=bridge["coefficient"],
        reference=reference,
        function=function,
        loss=loss,
        capacity=np.where(np.isnan(tau), energy / bridge["rise"], loss * tau),
        spent=np.full(size, np.inf) if model.spent_resistance is None else some(model.spent_resistance),
        possible=most > least,
    )


def response_tau(
    given: d.Igniter, statements: Any, bridge: dict[str, FloatArray], some: Callable[[Toleranced], FloatArray]
) -> FloatArray:
    """Time constant at which a bridge half-way, on a logarithmic scale, between the two statements responds as stated.

    An assumed duration places no half-way threshold: it counts as nominal there.
    """
    (low, t_low), (high, t_high) = statements
    assert given.no_fire is not None and given.all_fire is not None and given.response is not None
    t_low = 300.0 if given.no_fire.duration is None else t_low
    t_high = 50e-3 if given.all_fire.duration is None else t_high
    current, time = (some(value) for value in given.response[0])
    quick, tardy = np.full(time.shape, 1e-5), np.full(time.shape, 10.0)
    for _ in range(60):
        tau = np.sqrt(quick * tardy)
        a, b = (loss_for(i, t, **bridge, tau=tau, energy=np.nan) for i, t in ((low, t_low), (high, t_high)))
        late = ~(seconds_to_function(current, np.sqrt(a * b), tau, **bridge) < time)
        quick, tardy = np.where(late, quick, tau), np.where(late, tau, tardy)
    return np.asarray(np.sqrt(quick * tardy))
