"""What varies from firing to firing: the inputs of a trial, their laws, and what they make of a circuit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ignition.analyses.firing.on_state import Settled
from ignition.analyses.firing.schedule import overlapping
from ignition.analyses.firing.sequence import hold_tree_to_network, igniter_list, turn_on
from ignition.analyses.firing.supply import supply_under_fire
from ignition.circuit.model import BridgeTemperatures, Circuit, IgniterModel
from ignition.network.template import parameter_box
from ignition.parts.igniter import resistance_growth, resistance_ratio
from ignition.toleranced import Toleranced
from ignition.typing import ArrayLike, FloatArray

__all__ = ["FiringInput", "IgniterScatter", "TrialPlan", "firing_inputs", "trial_plan"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FiringInput:
    """One value that is drawn anew in each trial.

    Attributes
    ----------
    name : Which, for example ``battery.voltage`` or ``boost.igniter 1.1 threshold``
    group : What a reader calls it, for example ``battery voltage``; igniters of one type share their groups
    value : Bounds and distribution [SI]; of a threshold the deviation of its logarithm [1], which has no bounds
    log_normal : Whether this is a threshold's deviation: standard normal, not limited to the bounds
    """

    name: str
    group: str
    value: Toleranced
    log_normal: bool = False

    def draw(self, rng: np.random.Generator, size: int) -> FloatArray:
        """Draw independent values [SI].

        Parameters
        ----------
        size : How many [1]
        """
        return rng.standard_normal(size) if self.log_normal else self.value.sample(rng, size)

    def from_normal(self, deviate: FloatArray) -> FloatArray:
        """Value that belongs to a standard normal deviate: the same law as `draw` [SI].

        Parameters
        ----------
        deviate : Standard normal deviates [1], any shape
        """
        if self.log_normal:
            return deviate
        from scipy.special import ndtr, ndtri

        v = self.value
        if v.distribution == "uniform":
            return np.asarray(v.low + (v.high - v.low) * ndtr(deviate))
        z = ndtri(ndtr(-3.0) + ndtr(deviate) * (ndtr(3.0) - ndtr(-3.0)))
        spread = np.where(z < 0, v.nominal - v.low, v.high - v.nominal)
        return np.asarray(np.clip(v.nominal + z / 3.0 * spread, v.low, v.high))


@dataclass(frozen=True, slots=True, kw_only=True)
class IgniterScatter:
    """How one igniter's drawn values and the ambient become its threshold, time constant, resistance and growth.

    Attributes
    ----------
    location, spread : Mean and standard deviation of ln(threshold / 1 A) at the nominal ambient [1]
    nominal_ambient : Nominal ambient temperature [degC]
    temperatures : Those of its bridge; coefficient and function temperature are taken at nominal, but for the shift of
        the threshold the lowest function temperature, which shifts most
    energy : Whether the time constant follows from an adiabatic energy, threshold and resistance of the same igniter
    """

    name: str
    location: float
    spread: float
    nominal_ambient: float
    temperatures: BridgeTemperatures
    energy: bool

    def shift(self, ambient: ArrayLike) -> FloatArray:
        """Threshold over that at the nominal ambient [1], above zero also where the ambient alone functions it.

        Parameters
        ----------
        ambient : Temperature [degC], any shape
        """
        function = self.temperatures.function.low
        left = (function - np.asarray(ambient, dtype=float)) / (function - self.nominal_ambient)
        return np.asarray(np.sqrt(np.maximum(left, 1e-12)))


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialPlan:
    """Everything a batch of trials needs; made once, sent to every worker.

    Attributes
    ----------
    fixed : What is not [SI]
    igniters : In the order of the network's ports
    delays : From the driven pin to conduction, for each channel [s]
    """

    circuit: Circuit
    inputs: tuple[FiringInput, ...]
    fixed: Mapping[str, float]
    igniters: tuple[IgniterScatter, ...]
    delays: tuple[float, ...]

    def draw(self, rng: np.random.Generator, size: int) -> dict[str, ArrayLike]:
        """Draw all inputs of a batch of trials.

        Parameters
        ----------
        size : Number of trials [1]

        Returns
        -------
        Values [SI] by name, shape (size,), or one number where it does not vary
        """
        return {**self.fixed, **{i.name: i.draw(rng, size) for i in self.inputs}}

    def from_normal(self, deviates: FloatArray) -> dict[str, ArrayLike]:
        """Values that belong to standard normal deviates [SI].

        Parameters
        ----------
        deviates : Standard normal deviates [1], shape (inputs, trials)
        """
        return {**self.fixed, **{i.name: i.from_normal(z) for i, z in zip(self.inputs, deviates, strict=True)}}

    def bridges(self, values: Mapping[str, ArrayLike], size: int) -> tuple[FloatArray, FloatArray]:
        """Steady threshold and time constant of every igniter.

        Parameters
        ----------
        values : From `draw` or `from_normal`
        size : Number of trials [1]

        Returns
        -------
        Threshold [A], shape (k, size), and time constant [s], shape (k,) where none varies, else (k, size)
        """
        threshold = np.empty((len(self.igniters), size))
        varies = any(i.energy or not isinstance(values[f"{i.name} time constant"], float) for i in self.igniters)
        constant = np.empty((len(self.igniters), size if varies else 1))
        for row, igniter in enumerate(self.igniters):
            one = threshold[row]
            np.multiply(values[f"{igniter.name} threshold"], igniter.spread, out=one)
            one += igniter.location
            np.exp(one, out=one)
            if igniter.energy:
                bridge = igniter.temperatures
                hot = resistance_ratio(bridge.function.nominal, bridge.coefficient.nominal, bridge.reference.nominal)
                resistance = np.asarray(values[igniter.name], dtype=float) * hot
                energy = np.asarray(values[f"{igniter.name} energy"], dtype=float)
                constant[row] = energy * bridge.shift.nominal**2 / (one * one * resistance)
            else:
                constant[row] = values[f"{igniter.name} time constant"]
            if not isinstance(values["ambient"], float):
                one *= igniter.shift(values["ambient"])
        return threshold, constant if varies else constant[:, 0]

    def at_ambient(self, values: Mapping[str, ArrayLike]) -> dict[str, ArrayLike]:
        """Bring drawn bridge resistances to the ambient temperature of the trial, and add each bridge's growth.

        Parameters
        ----------
        values : From `draw` or `from_normal`: resistances at the reference temperature

        Returns
        -------
        Values for `march_arguments` [SI]
        """
        found = dict(values)
        for igniter in self.igniters:
            bridge = igniter.temperatures
            coefficient, reference = bridge.coefficient.nominal, bridge.reference.nominal
            if coefficient != 0.0:
                ambient = values["ambient"]
                cold = np.asarray(values[igniter.name], dtype=float)
                found[igniter.name] = cold * resistance_ratio(ambient, coefficient, reference)
                found[f"{igniter.name} growth"] = resistance_growth(
                    bridge.function.nominal, ambient, coefficient, reference
                )
        return found


def _reason(circuit: Circuit, settled: Settled) -> str | None:
    """Why a circuit has no probability of firing; None where it has one."""
    for name, model in circuit.igniters.items():
        used = any(name in string for channel in circuit.channels for string in channel.strings)
        if not used:
            continue
        for kind, statement in (("no-fire", model.no_fire), ("all-fire", model.all_fire)):
            if statement is None:
                return f"igniter {name!r} has no {kind} statement: the spread of its threshold is unknown"
        if model.threshold_nominal is None or model.threshold_spread is None or model.time_constant.fast is None:
            return f"igniter {name!r} has no time constant: give time_constant, adiabatic_energy or response"
        if model.temperatures.function.low <= circuit.ambient.nominal:
            return (
                f"igniter {name!r} may function at the nominal ambient without any current: give function_temperature"
            )
    for channel in circuit.channels:
        states, _ = settled.of(overlapping(circuit, channel))
        state = states[channel.name]
        if state.rows[0] < 0:
            return (
                f"channel {channel.name!r}: the gate may get only {state.gate_voltage.low:.3g} V, below the lowest "
                "on-resistance row: the data sheet does not say that the MOSFET is on"
            )
    supply = supply_under_fire(circuit, settled)
    resets = circuit.controller.powered_before_arm_switch and math.isfinite(supply.hold_up)
    if circuit.battery.bank_capacitance is not None and (resets or math.isfinite(supply.protection_time)):
        return "the battery may trip, or the controller reset, while it recharges the bank: trials do not follow that"
    return next((p.reason for p in supply.parts if p.opens_after is None), None)


def trial_plan(circuit: Circuit) -> TrialPlan | str:
    """Find what varies in a circuit's firing sequence.

    Common to all igniters of a trial: battery, feed, loads, controller, ambient. Independent: leads, branches,
    MOSFETs, pulses and starts of the channels, and of each igniter its bridge resistance, threshold and time constant.
    The on-resistance is drawn from the same bounds that the worst case uses. Thresholds, bridge resistances and their
    growth follow the ambient temperature of the trial; battery and wire resistance are drawn from their bounds over
    the ambient range, each by itself, because the complete circuit does not keep them apart from their other
    tolerances.

    Raises NetworkError where the tree that is marched is not the circuit's network.

    Returns
    -------
    The plan, or the reason why no probability can be stated
    """
    hold_tree_to_network(circuit)
    settled = Settled(circuit)
    reason = _reason(circuit, settled)
    if reason is not None:
        return reason
    inputs = firing_inputs(circuit, settled)
    drawn = [i for i in inputs if i.log_normal or not i.value.is_exact]
    fixed = {i.name: i.value.nominal for i in inputs if not i.log_normal and i.value.is_exact}
    delays = []
    for index, channel in enumerate(circuit.channels):
        states, _ = settled.of(overlapping(circuit, channel))
        delays.append(turn_on(circuit, index, states[channel.name].gate_voltage.nominal, "nominal"))
    return TrialPlan(
        circuit=circuit,
        inputs=tuple(drawn),
        fixed=fixed,
        igniters=tuple(_igniter(circuit, name, model) for _, name, model in igniter_list(circuit)),
        delays=tuple(delays),
    )


def firing_inputs(circuit: Circuit, settled: Settled) -> tuple[FiringInput, ...]:
    """List every value that a trial needs, those without tolerance included.

    Parameters
    ----------
    circuit : A circuit for which a probability can be stated

    Returns
    -------
    In a fixed order
    """
    on = {c.name: settled.of(overlapping(circuit, c))[0][c.name].on_resistance for c in circuit.channels}
    exact = Toleranced.exact(0.0, "V")
    box = parameter_box(circuit, off_currents={}, on_resistances=on, rail=exact, loads_certain=True)
    found = [FiringInput(name="ambient", group="ambient temperature", value=circuit.ambient)]

    def add(name: str, group: str, value: Toleranced | None) -> None:
        if value is not None:
            found.append(FiringInput(name=name, group=group, value=value))

    battery, controller = circuit.battery, circuit.controller
    add("battery.voltage", "battery voltage", box["battery.voltage"])
    add("battery.resistance", "battery resistance", box["battery.resistance"])
    add("battery.polarisation", "battery polarisation", battery.polarisation_resistance)
    add("bank.voltage", "capacitor bank", box.get("bank.voltage"))
    add("bank.resistance", "capacitor bank", box.get("bank.resistance"))
    add("bank.recharge", "capacitor bank", box.get("bank.recharge"))
    add("bank.capacitance", "capacitor bank", battery.bank_capacitance)
    for part in circuit.feed:
        add(f"feed.{part.name}", part.name, box[f"feed.{part.name}"])
        add(f"feed.{part.name} i2t", part.name, part.melting_i2t if part.kind == "fuse" else part.trip_i2t)
    for name, _ in circuit.loads:
        add(f"load.{name}", f"load {name}", box[f"load.{name}"])
    add("controller.current", "controller", box["controller.current"])
    add("controller.brown_out", "controller", controller.brown_out)
    add("controller.dropout", "controller", controller.dropout)
    add("controller.supply", "controller", controller.supply)
    add("controller.hold_up", "controller", controller.hold_up_capacitance)
    add("battery.trip_current", "protection circuit", battery.trip_current)
    add("battery.trip_delay", "protection circuit", battery.trip_delay)
    for c in circuit.channels:
        add(f"{c.name}.lead", f"lead of {c.name}", box[f"{c.name}.lead"])
        for contact in ("high side", "around", "return contact"):
            add(f"{c.name}.{contact}", f"contacts of {c.name}", box.get(f"{c.name}.{contact}"))
        add(f"{c.name}.mosfet", f"MOSFET of {c.name}", box[f"{c.name}.mosfet"])
        add(f"{c.name}.pulse", f"pulse of {c.name}", c.pulse)
        add(f"{c.name}.start", f"start of {c.name}", c.start)
        for index in range(len(c.strings) if c.branch is not None else 0):
            add(f"{c.name}.branch {index + 1}", f"branches of {c.name}", box[f"{c.name}.branch {index + 1}"])
    for _, name, model in igniter_list(circuit):
        found += _bridge_inputs(name, model)
    return tuple(found)


def _bridge_inputs(name: str, model: IgniterModel) -> list[FiringInput]:
    made = [
        FiringInput(
            name=name,
            group=f"bridge resistance of {model.name}",
            value=model.temperatures.reference_resistance,
        ),
        FiringInput(
            name=f"{name} threshold",
            group=f"threshold of {model.name}",
            value=Toleranced(low=-3.0, nominal=0.0, high=3.0),
            log_normal=True,
        ),
    ]
    if model.spent_resistance is not None:
        made.append(FiringInput(name=f"{name} spent", group=f"spent {model.name}", value=model.spent_resistance))
    if model.energy is not None:
        made.append(FiringInput(name=f"{name} energy", group=f"energy of {model.name}", value=model.energy))
    else:
        tau = model.time_constant
        assert tau.fast is not None and tau.nominal is not None and tau.slow is not None
        value = Toleranced(
            low=min(tau.fast, tau.nominal), nominal=tau.nominal, high=max(tau.slow, tau.nominal), unit="s"
        )
        made.append(FiringInput(name=f"{name} time constant", group=f"time constant of {model.name}", value=value))
    return made


def _igniter(circuit: Circuit, name: str, model: IgniterModel) -> IgniterScatter:
    assert model.threshold_nominal is not None and model.threshold_spread is not None
    return IgniterScatter(
        name=name,
        location=float(np.log(model.threshold_nominal)),
        spread=model.threshold_spread,
        nominal_ambient=circuit.ambient.nominal,
        temperatures=model.temperatures,
        energy=model.energy is not None,
    )
