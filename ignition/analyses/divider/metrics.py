"""What a sense divider gives and risks, in closed form over whole grids of resistor pairs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ignition.analyses.divider.demands import DividerDuty
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.agreement import hold_to_network
from ignition.network.template import State, adc_pin, build_network, igniter_names
from ignition.network.worst_case import Probe
from ignition.parts.sense import largest_settling_error
from ignition.typing import ArrayLike, FloatArray

__all__ = ["DividerMetrics", "FAULTS", "divider_metrics", "full_scale_use", "hold_divider_to_network", "sense_network"]

FAULTS = (
    "upper resistor shorted",
    "lower resistor open",
    "lower resistor shorted",
    "pin driven or shorted low",
    "controller without supply",
)
"""Single faults of the sense circuit whose igniter current is computed."""

HOURS_A_MONTH = 730.5
"""A twelfth of a year [h]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DividerMetrics:
    """Numbers of every pair, each at its own worst corner; all arrays of one shape.

    Attributes
    ----------
    full_scale_use : Highest reading over the converter's range [1]; above 1 the range is exceeded
    intact_low, open_high : Lowest reading of an intact line and highest of an open one [LSB]
    source_resistance : Resistance that the converter sees, nominal [ohm]
    adc_error : Leakage times source resistance, plus what the sample capacitor still lacks [LSB]
    sense_current : Highest igniter current of the healthy line [A]
    drain_a_month : Charge taken from the battery in a month of being armed, nominal [C]
    false_leak : Largest leakage resistance across open terminals that reads intact [ohm]; infinite where none is needed
    back_feed : Current into the pin of a controller without supply [A]
    fault_currents : Highest igniter current under each of `FAULTS` [A], one more axis at the start
    """

    full_scale_use: FloatArray
    intact_low: FloatArray
    open_high: FloatArray
    source_resistance: FloatArray
    adc_error: FloatArray
    sense_current: FloatArray
    drain_a_month: FloatArray
    false_leak: FloatArray
    back_feed: FloatArray
    fault_currents: FloatArray


def sense_network(
    voltage: ArrayLike,
    source: ArrayLike,
    off_current: ArrayLike,
    upper: ArrayLike,
    lower_conductance: ArrayLike,
    pin_resistor: ArrayLike,
    leakage: ArrayLike,
    clamp_voltage: ArrayLike,
    clamp_resistance: ArrayLike,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Solve battery, line, divider and pin with its clamp in closed form.

    Thevenin equivalent at the tap, then one clamp: I_clamp = max(0, V_pin,open - V_clamp) / (R_th + R_pin + R_clamp).

    Parameters
    ----------
    voltage : Battery [V]; all arguments broadcast
    source : Resistance from battery to drain [ohm]
    off_current : Current that the MOSFET draws at the drain [A]
    upper : Upper resistor [ohm]; 0 where it is shorted
    lower_conductance : One over the lower resistor [S]; 0 where it is open
    pin_resistor : Resistor between tap and pin [ohm]
    leakage : Current that the pin draws [A]
    clamp_voltage : Pin voltage from which the clamp conducts [V]; infinite for none
    clamp_resistance : Resistance of the clamp [ohm]

    Returns
    -------
    Igniter current [A], pin voltage [V], clamp current [A]
    """
    names = (
        voltage,
        source,
        off_current,
        upper,
        lower_conductance,
        pin_resistor,
        leakage,
        clamp_voltage,
        clamp_resistance,
    )
    volts, line, off, top, bottom, pin, drawn, knee, clamp = (np.asarray(v, dtype=float) for v in names)
    series = line + top
    drive = volts - line * off
    share = 1.0 / (1.0 + series * bottom)
    thevenin = series * share
    inner = thevenin + pin
    unclamped = drive * share - inner * drawn
    excess = np.maximum(unclamped - knee, 0.0)
    path = inner + clamp
    into = np.divide(excess, path, out=np.where(excess > 0.0, np.inf, 0.0), where=path > 0.0)
    tap = drive * share - thevenin * (drawn + into)
    return np.asarray(off + bottom * tap + drawn + into), np.asarray(unclamped - inner * into), np.asarray(into)


def hold_divider_to_network(circuit: Circuit, channel: ChannelModel, duty: DividerDuty) -> None:
    """Compare the closed form with the armed network at nominal values, the file's own divider in place.

    What the closed form leaves out on purpose is open in the network too: other channels, other loads, a divider at the
    bus, a pull-up at the drain, the recharging of a capacitor bank, and all strings but the one of least resistance.
    The MOSFET's current is held to a thousandth of what the line can carry: beyond, the closed form is a bound.

    Raises NetworkError where they differ.
    """
    alone = replace(circuit, channels=(channel,))
    values = {name: value.nominal for name, value in phase_box(alone, "armed").items()}
    names = igniter_names(channel)
    strings = [sum(values[n] for n in own) for own in names]
    string = strings.index(min(strings))
    volts, line, upper, lower = duty.voltage.nominal, duty.source.nominal, channel.upper.nominal, channel.lower.nominal
    key = f"{channel.name}.off current"
    values[key] = min(values[key], 1e-3 * volts / (line + upper + lower))
    values["bank.voltage"] = volts  # where there is a bank, with the load of all channels
    current, pin, _ = sense_network(
        volts,
        line,
        values[key],
        upper,
        1.0 / lower,
        channel.pin_resistor.nominal,
        duty.leakage.nominal,
        duty.rail.nominal + duty.clamp_drop.nominal,
        duty.clamp_resistance.nominal,
    )
    found = {Probe(element=names[string][0]): float(current), Probe(node=adc_pin(channel)): float(pin)}
    left_out = ["controller", *(f"load.{name}" for name, _ in circuit.loads)]
    left_out += [f"{channel.name}.bus upper"] if channel.bus_divider is not None else []
    left_out += [f"{channel.name}.pull-up clamp"] if channel.pull_up is not None else []
    left_out += ["recharge"] if circuit.battery.bank_capacitance is not None else []
    firsts = [own[0] if channel.branch is None else f"{channel.name}.branch {i}" for i, own in enumerate(names, 1)]
    left_out += [first for index, first in enumerate(firsts) if index != string]
    network = build_network(alone, State(phase="armed")).switched(opened=left_out)
    hold_to_network("the divider's closed form", found, network, values)


def full_scale_use(duty: DividerDuty, upper: ArrayLike, lower: ArrayLike, pin_resistor: float = 0.0) -> FloatArray:
    """Return the highest reading over the converter's range: highest battery voltage, lowest reference.

    Parameters
    ----------
    upper, lower : Nominal resistors [ohm], any shape, broadcast
    pin_resistor : Resistor between tap and pin [ohm]

    Returns
    -------
    Share [1]; above 1 the range is exceeded
    """
    more, less = (1.0 + duty.tolerance) * (1.0 + duty.drift), (1.0 - duty.tolerance) * (1.0 - duty.drift)
    top_u, low_u = np.asarray(upper, dtype=float) * more, np.asarray(upper, dtype=float) * less
    high_l = np.asarray(lower, dtype=float) * more
    pin = sense_network(
        duty.voltage.high,
        duty.source.low,
        duty.off_current.low,
        low_u,
        1.0 / high_l,
        pin_resistor,
        duty.leakage.low,
        np.inf,
        0.0,
    )[1]
    left = _left(duty, top_u * high_l / (top_u + high_l), pin_resistor)
    highest = pin + left * np.maximum(duty.reference.high - pin, 0.0)
    scale = 2.0**duty.bits
    return np.asarray((scale * highest / duty.reference.low + duty.total_error + 0.5) / (scale - 1.0))


def divider_metrics(
    duty: DividerDuty, upper: ArrayLike, lower: ArrayLike, pin_resistor: float = 0.0, *, split: bool = False
) -> DividerMetrics:
    """Evaluate resistor pairs, each number at its own worst corner.

    Every quantity is monotone in each value with the others fixed, and the network of one source and one clamp fixes
    all directions, so the corner of each is known: for currents the strongest battery and lowest resistances, for the
    lowest reading the opposite, with the pin's leakage in the direction that is worse.

    Parameters
    ----------
    upper, lower : Nominal resistors [ohm], any shape, broadcast; `upper` is the sum of both halves where it is split
    pin_resistor : Resistor between tap and pin [ohm]
    split : Whether the upper resistor is two equal ones in series, of which a fault shorts one
    """
    high_u, high_l = (np.asarray(r, dtype=float) * (1.0 + duty.tolerance) * (1.0 + duty.drift) for r in (upper, lower))
    low_u, low_l = (np.asarray(r, dtype=float) * (1.0 - duty.tolerance) * (1.0 - duty.drift) for r in (upper, lower))
    scale = 2.0**duty.bits
    fixed = duty.total_error + 0.5
    top = scale - 1.0
    pin_low = sense_network(
        duty.lowest_drain,
        duty.source.high,
        duty.off_current.high,
        high_u,
        1.0 / low_l,
        pin_resistor,
        duty.leakage.high,
        np.inf,
        0.0,
    )[1]
    parallel = high_u * high_l / (high_u + high_l)
    left, left_open = _left(duty, parallel, pin_resistor), _left(duty, high_l, pin_resistor)
    intact_low = scale * pin_low / duty.reference.high * (1.0 - left) - fixed
    open_pin = (high_l + pin_resistor) * max(-duty.leakage.low, 0.0)
    open_high = scale * (open_pin + left_open * np.maximum(duty.reference.high - open_pin, 0.0)) / duty.reference.low
    usual = 1.0 / np.asarray(lower, dtype=float)
    nominal = sense_network(
        duty.voltage.nominal,
        duty.source.nominal,
        duty.off_current.nominal,
        np.asarray(upper),
        usual,
        pin_resistor,
        0.0,
        np.inf,
        0.0,
    )[0]
    faults, sense, back_feed = _currents(duty, low_u, low_l, high_l, pin_resistor, split)
    leak = max(duty.leakage.high, -duty.leakage.low)
    return DividerMetrics(
        full_scale_use=full_scale_use(duty, upper, lower, pin_resistor),
        intact_low=intact_low,
        open_high=np.minimum(open_high + fixed, top),
        source_resistance=np.asarray(upper) * np.asarray(lower) / (np.asarray(upper) + np.asarray(lower)),
        adc_error=(leak * (parallel + pin_resistor) / duty.reference.low + left) * scale,
        sense_current=sense,
        drain_a_month=nominal * HOURS_A_MONTH * 3600.0,
        false_leak=_false_leak(duty, low_u, high_l, pin_resistor, intact_low, left),
        back_feed=back_feed,
        fault_currents=faults,
    )


def _left(duty: DividerDuty, source: FloatArray, pin_resistor: float) -> FloatArray:
    """Largest share of the sample capacitor's step that is missing after the acquisition."""
    if duty.sample_capacitance is None or duty.acquisition_time is None:
        return np.zeros_like(source)
    return largest_settling_error(
        duty.acquisition_time.low,
        source,
        pin_resistor,
        duty.sample_capacitance.high,
        duty.filter.low if duty.filter is not None else 0.0,
        duty.filter.high if duty.filter is not None else 0.0,
    )


def _false_leak(
    duty: DividerDuty, upper: FloatArray, lower: FloatArray, pin_resistor: float, limit: FloatArray, left: FloatArray
) -> FloatArray:
    """Leakage resistance whose highest reading reaches `limit`: the pin's voltage law solved for the resistance."""
    push = max(-duty.leakage.low, 0.0)
    volts = (limit - duty.total_error - 0.5) * duty.reference.low / 2.0**duty.bits
    volts = (volts - left * duty.reference.high) / (1.0 - left) - pin_resistor * push
    with np.errstate(divide="ignore"):
        series = lower * (duty.voltage.high - volts) / np.maximum(volts - push * lower, 0.0)
    return np.maximum(series - upper - duty.path, 0.0)


def _currents(
    duty: DividerDuty, upper: FloatArray, lower: FloatArray, high_lower: FloatArray, pin_resistor: float, split: bool
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Igniter current under each fault, healthy igniter current, and back-feed into an unpowered pin."""
    shape = np.broadcast_shapes(upper.shape, lower.shape)
    clamp = duty.rail.low + duty.clamp_drop.low
    dead = duty.clamp_drop.low

    def flows(
        top: ArrayLike, conductance: ArrayLike, at: float, leak: float = duty.leakage.high
    ) -> tuple[FloatArray, FloatArray]:
        current, _, into = sense_network(
            duty.voltage.high,
            duty.source.low,
            duty.off_current.high,
            top,
            conductance,
            pin_resistor,
            leak,
            at,
            duty.clamp_resistance.low,
        )
        return np.broadcast_to(current, shape), np.broadcast_to(into, shape)

    bottom = 1.0 / lower
    grounded = pin_resistor + duty.pin_low_resistance
    low_pin = 1.0 / grounded if grounded > 0.0 else 1e15
    # of the leakage at a grounded pin only what its own resistance to ground leaves goes through the tap
    drawn = duty.leakage.high * duty.pin_low_resistance / grounded if grounded > 0.0 else 0.0
    faults = (
        flows(0.5 * upper if split else 0.0, bottom, clamp)[0],
        flows(upper, 0.0, clamp)[0],
        flows(upper, 1e15, clamp)[0],
        flows(upper, bottom + low_pin, np.inf, drawn)[0],
        flows(upper, bottom, dead)[0],
    )
    return np.stack(faults), flows(upper, bottom, clamp)[0], flows(upper, 1.0 / high_lower, dead, duty.leakage.low)[1]
