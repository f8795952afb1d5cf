"""The MOSFET in time: gate charging, turn-on by a drain edge, junction heating and avalanche at turn-off."""

from __future__ import annotations

import numpy as np

from ignition.errors import InputError
from ignition.parts._require import at_least_zero, positive, real
from ignition.typing import ArrayLike, FloatArray

__all__ = [
    "avalanche_energy",
    "avalanche_rating",
    "dvdt_gate_voltage",
    "gate_time_constant",
    "junction_temperature",
    "thermal_impedance",
    "turn_on_delay",
]


def gate_time_constant(resistance: ArrayLike, input_capacitance: ArrayLike) -> FloatArray:
    """Return the time constant of the gate [s].

    Parameters
    ----------
    resistance : Resistance that the gate sees [ohm], 0 or more, broadcasts
    input_capacitance : Input capacitance Ciss [F], 0 or more, broadcasts

    Examples
    --------
    >>> round(float(gate_time_constant(100.0, 1.1e-9)) * 1e9, 6)
    110.0
    """
    return np.asarray(
        at_least_zero("gate resistance", resistance, "ohm") * at_least_zero("input capacitance", input_capacitance, "F")
    )


def turn_on_delay(
    drive: ArrayLike,
    target_voltage: ArrayLike,
    resistance: ArrayLike,
    input_capacitance: ArrayLike,
    gate_drain_charge: ArrayLike = 0.0,
) -> FloatArray:
    """Return the time from the drive's step until the gate reaches a voltage.

    t = -R C ln(1 - target / drive) + R Q / (drive - target), from a gate at 0 V: the gate stands still at some voltage
    up to the target while the drain falls, and is charged there by at least (drive - target) / R.

    Parameters
    ----------
    drive : Final gate voltage [V], broadcasts
    target_voltage : Gate voltage to be reached [V]: a threshold or the gate voltage of a row, broadcasts
    resistance : Resistance that the gate sees [ohm], 0 or more, broadcasts
    input_capacitance : Input capacitance Ciss [F], 0 or more, broadcasts
    gate_drain_charge : Charge that the falling drain takes from the gate [C], 0 or more, broadcasts

    Returns
    -------
    Delay [s]; 0 for a target at or below 0 V, infinite for a positive target at or above `drive`

    Examples
    --------
    >>> round(float(turn_on_delay(3.3, 2.5, 100.0, 1.1e-9)) * 1e9, 3)
    155.877
    >>> round(float(turn_on_delay(3.3, 2.5, 100.0, 1.1e-9, 4e-9)) * 1e9, 3)
    655.877
    """
    final = real("drive", drive, "V")
    target = real("target voltage", target_voltage, "V")
    constant = gate_time_constant(resistance, input_capacitance)
    flat = gate_time_constant(resistance, at_least_zero("gate-drain charge", gate_drain_charge, "C"))
    reached = (target > 0.0) & (target < final)
    ratio = np.where(reached, target, 0.0) / np.where(reached, final, 1.0)
    charged = -constant * np.log1p(-ratio) + np.where(reached, flat / np.where(reached, final - target, 1.0), 0.0)
    return np.asarray(np.where((target > 0.0) & ~reached, np.inf, charged))


def dvdt_gate_voltage(
    gate_resistance: ArrayLike,
    gate_drain_capacitance: ArrayLike,
    gate_source_capacitance: ArrayLike,
    supply: ArrayLike,
    rise_time: ArrayLike,
) -> FloatArray:
    """Return the gate voltage at the end of a drain edge, with the gate held only by a resistance.

    V = R Cgd s (1 - exp(-V_supply / (s R (Cgd + Cgs)))), s = V_supply / rise time. Fast limit
    V_supply Cgd / (Cgd + Cgs), slow limit R Cgd s; the result never exceeds either. Capacitances are constant and the
    channel is off: for a bound take Crss at a low drain voltage.

    Parameters
    ----------
    gate_resistance : Resistance from gate to ground [ohm], 0 or more, may be infinite, broadcasts
    gate_drain_capacitance : Gate-drain capacitance Crss [F], 0 or more, broadcasts
    gate_source_capacitance : Gate-source capacitance Ciss - Crss [F], above 0, broadcasts
    supply : Height of the drain edge [V], 0 or more, broadcasts
    rise_time : Duration of the edge, a straight ramp [s], 0 or more, broadcasts

    Returns
    -------
    Peak gate voltage [V]. An edge of no duration gives the capacitive divider, whatever the resistance

    Examples
    --------
    >>> round(float(dvdt_gate_voltage(10e3, 100e-12, 900e-12, 12.0, 12e-6)), 6)
    0.698806
    """
    resistance = at_least_zero("gate resistance", gate_resistance, "ohm", infinite=True)
    coupling = at_least_zero("gate-drain capacitance", gate_drain_capacitance, "F")
    total = coupling + positive("gate-source capacitance", gate_source_capacitance, "F")
    edge = at_least_zero("rise time", rise_time, "s")
    divider = at_least_zero("supply", supply, "V") * coupling / total
    constant = resistance * total
    ratio = edge / np.where(constant > 0.0, constant, 1.0)
    decayed = np.where(ratio > 0.0, -np.expm1(-ratio) / np.where(ratio > 0.0, ratio, 1.0), 1.0)
    shorted = (constant == 0.0) & (edge > 0.0)
    return np.asarray(divider * np.where(shorted, 0.0, decayed))


def thermal_impedance(time: ArrayLike, resistances: ArrayLike, time_constants: ArrayLike) -> FloatArray:
    """Return the thermal impedance of a Foster network after a constant power has flowed for a time.

    Z(t) = sum R_i (1 - exp(-t / tau_i)).

    Raises InputError if the stages are uneven, or a value is outside its range.

    Parameters
    ----------
    time : Duration of the power [s], 0 or more, may be infinite, any shape
    resistances : Thermal resistances of the stages [K/W], 0 or more, (..., n); leading axes broadcast with `time`
    time_constants : Time constants of the stages, resistance times heat capacity [s], above 0, (..., n)

    Returns
    -------
    Thermal impedance [K/W], shape of `time` broadcast with the leading axes

    Examples
    --------
    >>> round(float(thermal_impedance(0.5, [0.6, 4.0, 55.0], [0.4e-3, 12e-3, 20.0])), 4)
    5.958
    """
    stages = at_least_zero("thermal resistances", resistances, "K/W")
    constants = positive("thermal time constants", time_constants, "s")
    if stages.ndim == 0 or constants.ndim == 0 or stages.shape[-1] != constants.shape[-1]:
        raise InputError(
            f"thermal network must have one time constant for each resistance: received shapes {stages.shape} and "
            f"{constants.shape}; write a list of stages, each with both"
        )
    seconds = at_least_zero("time", time, "s", infinite=True)[..., np.newaxis]
    return np.asarray(np.sum(-stages * np.expm1(-seconds / constants), axis=-1))


def junction_temperature(
    reference_temperature: ArrayLike,
    power: ArrayLike,
    time: ArrayLike,
    resistances: ArrayLike,
    time_constants: ArrayLike,
) -> FloatArray:
    """Return the junction temperature at the end of a pulse of constant power [degC].

    T = T_reference + P Z(t).

    Raises InputError if the stages are uneven, or a value is outside its range.

    Parameters
    ----------
    reference_temperature : Temperature of the network's far end, case or ambient, and of the junction before the pulse
        [degC], broadcasts
    power : Power of the pulse [W], 0 or more, broadcasts
    time : Duration of the pulse [s], 0 or more, may be infinite, broadcasts
    resistances : Thermal resistances of the Foster stages [K/W], 0 or more, (..., n)
    time_constants : Time constants of the stages [s], above 0, (..., n)

    Examples
    --------
    >>> round(float(junction_temperature(40.0, 2.0, 0.5, [0.6, 4.0, 55.0], [0.4e-3, 12e-3, 20.0])), 3)
    51.916
    """
    rise = at_least_zero("power", power, "W") * thermal_impedance(time, resistances, time_constants)
    return np.asarray(real("reference temperature", reference_temperature, "degC") + rise)


def avalanche_energy(inductance: ArrayLike, current: ArrayLike, breakdown: ArrayLike, supply: ArrayLike) -> FloatArray:
    """Return the energy that the MOSFET absorbs when it turns off an inductive lead [J].

    E = L I^2 / 2 x V_breakdown / (V_breakdown - V_supply). The battery adds its share while the current falls; the
    resistance of the loop takes some of it and is left out, so this is an upper bound.

    Raises InputError if the breakdown voltage does not exceed the supply, or a value is outside its range.

    Parameters
    ----------
    inductance : Inductance of the loop [H], 0 or more, broadcasts
    current : Current at turn-off [A], broadcasts
    breakdown : Drain-source breakdown voltage [V], above the supply, broadcasts
    supply : Battery voltage [V], 0 or more, broadcasts

    Examples
    --------
    >>> round(float(avalanche_energy(10e-6, 5.0, 30.0, 8.4)) * 1e6, 3)
    173.611
    """
    volts = positive("breakdown", breakdown, "V")
    battery = at_least_zero("supply", supply, "V")
    if not (volts > battery).all():
        raise InputError(
            f"breakdown voltage must exceed the supply: received {float(np.min(volts)):g} V against "
            f"{float(np.max(battery)):g} V; choose a MOSFET of higher breakdown voltage"
        )
    stored = 0.5 * at_least_zero("inductance", inductance, "H") * np.square(real("current", current, "A"))
    return np.asarray(stored * volts / (volts - battery))


def avalanche_rating(energy_25: ArrayLike, temperature: ArrayLike, max_junction: ArrayLike) -> FloatArray:
    """Return the avalanche energy that a MOSFET bears from a junction temperature on [J].

    E(T) = E(25) (T_max - T) / (T_max - 25) above 25 degC, zero from T_max on.

    Source: common practice (the derating curve of data sheets, nearly straight; from memory). Sheets state the energy
    with the supply's share, or without it; `avalanche_energy` has it, the larger one.

    Parameters
    ----------
    energy_25 : Avalanche energy of the data sheet, from 25 degC [J], broadcasts
    temperature : Junction temperature at the start [degC], broadcasts
    max_junction : Highest junction temperature [degC], above 25, broadcasts

    Examples
    --------
    >>> avalanche_rating(40e-3, [20.0, 87.5, 160.0], 150.0).tolist()
    [0.04, 0.02, 0.0]
    """
    hottest = real("max junction", max_junction, "degC")
    if not (hottest > 25.0).all():
        raise InputError(
            f"max junction must be above 25 degC: received {float(hottest.min()):g} degC; write the highest junction "
            f"temperature of the data sheet, such as 150 degC"
        )
    share = (hottest - real("temperature", temperature, "degC")) / (hottest - 25.0)
    return np.asarray(at_least_zero("avalanche energy", energy_25, "J") * np.clip(share, 0.0, 1.0))
