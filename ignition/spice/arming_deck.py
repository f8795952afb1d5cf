"""Arming edge as a SPICE deck: the drain's rise lifts the gate, the channel conducts, the bridge heats.

Everything is written from the values of the parts: this deck and the model in `analyses/no_fire` share no arithmetic.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np

from ignition.errors import InputError
from ignition.spice.cards import Writer, number
from ignition.spice.rawfile import Plot

__all__ = ["ArmingAnswer", "ArmingParts", "INSULATION_RESISTANCE", "LEAST_RESISTANCE", "arming_deck", "read_arming"]

INSULATION_RESISTANCE = 1e12
"""Resistance written from a gate that nothing holds [ohm]; SPICE needs a path for the operating point."""

LEAST_RESISTANCE = 1e-3
"""Resistance written for a resistor of none [ohm]."""

_DIODE_DROP, _DIODE_RESISTANCE, _THERMAL_VOLTAGE = 0.6, 0.01, 0.03
"""Body diode [V], [ohm]; drain voltage over which the current below threshold comes up [V]: common practice."""

_LEAST_CLAMP = 0.1
_STEPS = 2000

_OPTIONS = ".options reltol=2e-6 abstol=1e-12 vntol=1e-9 chgtol=1e-17 trtol=1"

Fed = Literal["battery", "bus", "nothing"]
"""What feeds the regulator: the battery before the arm switch, the bus after it, or nothing: a dead controller."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmingParts:
    """Values of the parts of one string of one channel at the arming edge.

    Attributes
    ----------
    battery_voltage, rise_time : Open-circuit voltage [V] and the time in which it gets through the arm switch [s]
    battery_resistance, feed_resistance, lead_resistance : [ohm]
    string_resistance, string_inductance : Igniters in series with the one that is looked at, and its branch [ohm], [H]
    beside : Resistance [ohm] and inductance [H] of every other string that is connected
    inductance, line_capacitance : Of the loop without the branches [H], of drain and line to ground [F]
    bridge_resistance, growth, no_fire_current, time_constant : The igniter: cold resistance [ohm], its relative growth
        up to function [1], steady threshold [A], thermal time constant [s]
    threshold, sheet_threshold : Gate threshold as it is, and the one that the on-resistance is stated with [V]
    on_resistance, on_gate_voltage : Of the lowest row of the data sheet [ohm], [V]
    threshold_current, subthreshold_slope, temperature : Drain current at the threshold [A]; gate voltage for a tenfold
        current below it at 25 degC [V/decade]; temperature of the channel [degC]
    breakdown : Drain voltage of avalanche [V]; infinite where it is not known
    gate_source_capacitance, drain_source_capacitance : Ciss - Crss, Coss - Crss [F]
    gate_drain_charge : Over the battery voltage [C]
    far_capacitance, half_voltage : Gate-drain capacitance at high drain voltage [F], and drain-gate voltage at which
        what the charge holds beyond it has fallen by half [V]; infinite for a capacitance that does not change
    gate_capacitor, gate_series, pull_down : Parts at the gate [F], [ohm]; an infinite pull-down is none
    gate_charged : Voltage that a gate which nothing holds was left at [V]
    fed, supply, dropout : What feeds the regulator, its output and dropout [V]
    pin_output, pin_level : Output resistance of a pin that drives [ohm], infinite for one that does not; whether it
        drives to the rail (1) or to ground (0)
    pin_pull_up, pin_pull_down : To rail and to ground in reset [ohm]; infinite for none
    clamp_drop, clamp_resistance : Protection diodes of the pin, to rail and to ground [V], [ohm]; an infinite drop is
        none
    pin_leakage, gate_leakage : Into the node [A], either sign
    """

    battery_voltage: float
    rise_time: float
    battery_resistance: float
    feed_resistance: float
    lead_resistance: float
    string_resistance: float = 0.0
    string_inductance: float = 0.0
    beside: tuple[tuple[float, float], ...] = ()
    inductance: float
    line_capacitance: float
    bridge_resistance: float
    growth: float = 0.0
    no_fire_current: float
    time_constant: float
    threshold: float
    sheet_threshold: float
    on_resistance: float
    on_gate_voltage: float
    threshold_current: float
    subthreshold_slope: float
    temperature: float
    breakdown: float = math.inf
    gate_source_capacitance: float
    drain_source_capacitance: float
    gate_drain_charge: float
    far_capacitance: float = 0.0
    half_voltage: float = math.inf
    gate_capacitor: float = 0.0
    gate_series: float
    pull_down: float = math.inf
    gate_charged: float = 0.0
    fed: Fed
    supply: float
    dropout: float = 0.0
    pin_output: float = math.inf
    pin_level: int = 0
    pin_pull_up: float = math.inf
    pin_pull_down: float = math.inf
    clamp_drop: float
    clamp_resistance: float
    pin_leakage: float = 0.0
    gate_leakage: float = 0.0

    def __post_init__(self) -> None:
        may_be_negative = ("growth", "temperature", "threshold", "pin_leakage", "gate_leakage", "fed", "beside")
        for name in (f.name for f in fields(self) if f.name not in may_be_negative):
            if not getattr(self, name) >= 0.0:
                raise InputError(f"{name} must be 0 or more; received {getattr(self, name)!r}")
        for name in ("battery_voltage", "rise_time", "inductance", "bridge_resistance", "no_fire_current",
                     "time_constant", "on_resistance", "half_voltage", "subthreshold_slope"):  # fmt: skip
            if not getattr(self, name) > 0.0:
                raise InputError(f"{name} must be above zero; received {getattr(self, name)!r}")
        if not self.on_gate_voltage > self.sheet_threshold:
            raise InputError(
                f"on_gate_voltage must lie above sheet_threshold; received {self.on_gate_voltage!r} and "
                f"{self.sheet_threshold!r} V"
            )

    @property
    def held(self) -> bool:
        """Whether any resistor holds the gate."""
        return min(self.pull_down, self.pin_output, self.pin_pull_up, self.pin_pull_down) < math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmingAnswer:
    """What the edge does, by SPICE.

    Attributes
    ----------
    peak_gate_voltage, peak_drain_voltage : [V]
    peak_current : Highest igniter current [A]
    energy : Into the igniter's bridge until the end of the transient [J]
    thermal_fraction : Highest share of the function temperature's rise [1]
    """

    peak_gate_voltage: float
    peak_drain_voltage: float
    peak_current: float
    energy: float
    thermal_fraction: float


def arming_deck(parts: ArmingParts, title: str, *, stop: float, notes: Sequence[str] = ()) -> str:
    """Write the deck of the arming edge; it starts with the gate at rest on what holds it.

    Channel current K (Vov u - u^2 / 2) with Vov = max(0, Vgs - Vth), u = min(max(Vds, 0), Vov) and K = 1 / (Ron (Vrow -
    Vth,sheet)), and below the threshold I_th 10^((Vgs - Vth) / slope), the slope in proportion to absolute
    temperature. The gate-drain charge is Q(v) = C_far v + (Q - C_far V) atan(v / v_h) / atan(V / v_h) for drain-gate
    voltage v and battery voltage V. The voltage of node ``energy`` is the energy into the bridge in millijoule, that of
    ``fraction`` the thermal fraction.

    Raises InputError if the transient ends within the edge.

    Parameters
    ----------
    stop : End of the transient [s]

    Returns
    -------
    Complete deck with one ``.tran``
    """
    if not parts.rise_time < stop < math.inf:
        raise InputError(f"stop must lie beyond the edge of {parts.rise_time!r} s; received {stop!r} s")
    step = float(f"{stop / _STEPS:.3g}")
    writer = Writer()
    writer.head(title, notes)
    writer.comment("Arming edge. energy: into the bridge in millijoule; fraction: it functions at 1.")
    writer.add(*_feed(parts), *_strings(parts), *_bridge(parts), *_mosfet(parts), *_gate_drain(parts), *_gate(parts))
    writer.add(_OPTIONS, ".save v(gate) v(drain) v(energy) v(fraction) i(Vm_bridge)")
    writer.add(f".tran {number(step)} {number(stop)} 0.0 {number(step)}")
    return writer.text()


def _resistor(name: str, plus: str, minus: str, value: float) -> str:
    return f"R_{name} {plus} {minus} {number(max(value, LEAST_RESISTANCE))}"


def _feed(parts: ArmingParts) -> list[str]:
    return [
        f"V_battery battery 0 {number(parts.battery_voltage)}",
        f"V_edge edge 0 pwl(0.0 0.0 {number(parts.rise_time)} {number(parts.battery_voltage)})",
        _resistor("battery", "edge", "terminal", parts.battery_resistance),
        _resistor("feed", "terminal", "bus", parts.feed_resistance),
        _resistor("lead", "bus", "lead", parts.lead_resistance),
        f"L_loop lead strings {number(parts.inductance)}",
    ]


def _strings(parts: ArmingParts) -> list[str]:
    """The branch of the igniter, and the other strings as resistors that do not change."""
    lines = [_branch("string", "strings", "igniter", parts.string_inductance)]
    for place, (resistance, inductance) in enumerate(parts.beside, start=2):
        lines.append(_branch(f"string_{place}", "strings", f"beside_{place}", inductance))
        lines.append(_resistor(f"string_{place}", f"beside_{place}", "drain", resistance))
    return lines


def _branch(name: str, plus: str, minus: str, inductance: float) -> str:
    return f"L_{name} {plus} {minus} {number(inductance)}" if inductance > 0.0 else f"V_{name} {plus} {minus} 0.0"


def _bridge(parts: ArmingParts) -> list[str]:
    """Bridge: cold resistance, the growth as a voltage in series, heat as a capacitor of tau farad with 1 ohm."""
    lines = [
        _resistor("bridge", "igniter", "warm", parts.bridge_resistance),
        f"B_growth warm cold V={number(parts.bridge_resistance * parts.growth)}*min(1.0,V(fraction))*I(Vm_bridge)",
        "Vm_bridge cold string 0.0",
        _resistor("string", "string", "drain", parts.string_resistance),
        f"C_fraction fraction 0 {number(parts.time_constant)}",
        "R_fraction fraction 0 1.0",
        f"B_fraction 0 fraction I=I(Vm_bridge)*I(Vm_bridge)*(1.0+({number(parts.growth)})*min(1.0,V(fraction)))"
        f"/{number(parts.no_fire_current**2 * (1.0 + parts.growth))}",
        "B_energy 0 energy I=1e3*V(igniter,cold)*I(Vm_bridge)",
        "C_energy energy 0 1.0",
        "R_energy energy 0 1e9",
    ]
    return lines


def _mosfet(parts: ArmingParts) -> list[str]:
    gain = 1.0 / (parts.on_resistance * (parts.on_gate_voltage - parts.sheet_threshold))
    over = f"(V(gate)-({number(parts.threshold)}))"
    on = f"max(0.0,{over})"
    used = f"min(max(0.0,V(drain)),{on})"
    slope = parts.subthreshold_slope * (parts.temperature + 273.15) / 298.15
    lines = [
        f"B_channel drain 0 I={number(gain)}*({on}*{used}-0.5*{used}*{used})",
        f"B_diode 0 drain I=max(0.0,-V(drain)-{number(_DIODE_DROP)})/{number(_DIODE_RESISTANCE)}",
        f"C_drain drain 0 {number(parts.drain_source_capacitance + parts.line_capacitance)}",
    ]
    if parts.threshold_current > 0.0:
        below = f"exp({number(math.log(10.0) / slope)}*min(0.0,{over}))"
        lines.append(
            f"B_below drain 0 I={number(parts.threshold_current)}*{below}"
            f"*(1.0-exp(-max(0.0,V(drain))/{number(_THERMAL_VOLTAGE)}))"
        )
    if math.isfinite(parts.breakdown):
        lines.append(f"B_avalanche drain 0 I=max(0.0,V(drain)-{number(parts.breakdown)})/{number(_DIODE_RESISTANCE)}")
    return lines


def _gate_drain(parts: ArmingParts) -> list[str]:
    """Gate-drain capacitance; one that changes is the charge as the voltage of a capacitor of 1 nF, in nanocoulomb."""
    whole, half, far = parts.battery_voltage, parts.half_voltage, parts.far_capacitance
    if math.isinf(half):
        return [f"C_gate_drain drain gate {number(parts.gate_drain_charge / whole)}"]
    early = (parts.gate_drain_charge - far * whole) / math.atan(whole / half)
    drop = "V(drain,gate)"
    charge = (
        f"{number(1e9 * far)}*{drop}+({number(1e9 * early)})"
        f"*(atan(max(0.0,{drop})/{number(half)})+min(0.0,{drop})/{number(half)})"
    )
    return [
        f"B_charge charge 0 V={charge}",
        "R_charge charge behind 1e-3",
        "C_charge behind charged 1e-9",
        "Vm_charge charged 0 0.0",
        "F_gate_drain drain gate Vm_charge 1.0",
    ]


def _gate(parts: ArmingParts) -> list[str]:
    lines = [
        f"C_gate gate 0 {number(parts.gate_source_capacitance + parts.gate_capacitor)}",
        _resistor("series", "gate", "pin", parts.gate_series),
        f"I_pin 0 pin {number(parts.pin_leakage)}",
        f"I_gate 0 gate {number(parts.gate_leakage)}",
    ]
    if math.isfinite(parts.clamp_drop):
        drop, resistance = number(parts.clamp_drop), number(max(parts.clamp_resistance, _LEAST_CLAMP))
        lines.append(f"B_high pin 0 I=max(0.0,V(pin,rail)-{drop})/{resistance}")
        lines.append(f"B_low 0 pin I=max(0.0,-V(pin)-{drop})/{resistance}")
    if parts.fed == "nothing":  # other pins may feed the rail of a dead controller
        lines.append(f"V_rail rail 0 {number(parts.supply)}")
    else:
        lines.append(f"B_rail rail 0 V=max(0.0,min({number(parts.supply)},V({parts.fed})-{number(parts.dropout)}))")
    resistors = (
        ("pull_down", "gate", "0", parts.pull_down),
        ("output", "pin", "rail" if parts.pin_level else "0", parts.pin_output),
        ("pin_up", "pin", "rail", parts.pin_pull_up),
        ("pin_down", "pin", "0", parts.pin_pull_down),
    )
    lines += [_resistor(*one) for one in resistors if math.isfinite(one[3])]
    if not parts.held:
        lines += [
            f"V_charged charged_gate 0 {number(parts.gate_charged)}",
            f"R_charged gate charged_gate {number(INSULATION_RESISTANCE)}",
        ]
    return lines


def read_arming(plot: Plot) -> ArmingAnswer:
    """Read what the edge does.

    Parameters
    ----------
    plot : Answer of ngspice to the deck of `arming_deck`
    """

    def peak(signal: str) -> float:
        return float(np.max(plot.signal(signal)))

    return ArmingAnswer(
        peak_gate_voltage=peak("v(gate)"),
        peak_drain_voltage=peak("v(drain)"),
        peak_current=peak("i(vm_bridge)"),
        energy=1e-3 * float(plot.signal("v(energy)")[-1]),
        thermal_fraction=peak("v(fraction)"),
    )
