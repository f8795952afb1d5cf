"""A circuit's firing sequence as the inputs of the event march."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ignition.analyses.firing.transient.inputs import CapacitorBank, Polarisation
from ignition.analyses.firing.transient.ladder import ClusterTree, tree_currents
from ignition.analyses.firing.transient.march import MarchResult, march
from ignition.analyses.no_fire.gate import input_capacitance
from ignition.circuit.model import ChannelModel, Circuit, IgniterModel
from ignition.network.agreement import hold_to_network
from ignition.network.template import State, build_network, igniter_names, parameter_box
from ignition.network.worst_case import Probe
from ignition.parts.mosfet_transient import turn_on_delay
from ignition.toleranced import Toleranced
from ignition.typing import ArrayLike, FloatArray

__all__ = ["cluster_tree", "hold_tree_to_network", "igniter_list", "march_arguments", "march_circuit", "turn_on"]


def igniter_list(circuit: Circuit) -> tuple[tuple[str, str, IgniterModel], ...]:
    """List all igniters of a circuit.

    Returns
    -------
    Channel name, igniter name and type, in the order of the network's ports
    """
    return tuple(
        (channel.name, name, circuit.igniters[kind])
        for channel in circuit.channels
        for names, kinds in zip(igniter_names(channel), channel.strings, strict=True)
        for name, kind in zip(names, kinds, strict=True)
    )


def cluster_tree(circuit: Circuit) -> ClusterTree:
    """Topology of all channels of a circuit.

    Returns
    -------
    Channels, strings and igniters in file order
    """
    channel_of_string: list[int] = []
    string_of_igniter: list[int] = []
    for index, channel in enumerate(circuit.channels):
        for string in channel.strings:
            string_of_igniter += [len(channel_of_string)] * len(string)
            channel_of_string.append(index)
    return ClusterTree(channel_of_string=tuple(channel_of_string), string_of_igniter=tuple(string_of_igniter))


def hold_tree_to_network(circuit: Circuit) -> None:
    """Compare the firing tree's first currents, all channels on at nominal values, with the network's.

    What the tree leaves out on purpose is open in the network too: the sense dividers, the clamps at the bus and of
    a pull-up, the recharging of a capacitor bank, and beside a bank a controller and dividers behind the arm switch.

    Raises NetworkError where they differ.
    """
    on = {c.name: circuit.mosfets[c.mosfet].rows[0].resistance for c in circuit.channels}
    rail = Toleranced.exact(0.0, "V")
    box = parameter_box(circuit, off_currents={}, on_resistances=on, rail=rail, loads_certain=True)
    values = {name: value.nominal for name, value in box.items()}
    arguments = march_arguments(circuit, values)
    bank, source = arguments["bank"], arguments["voltage"]
    left_out = [f"{c.name}.upper" for c in circuit.channels]
    if bank is not None:
        source = bank.initial_voltage
        left_out += ["recharge"] + ([] if circuit.controller.powered_before_arm_switch else ["controller"])
    at_bus = "clamp" if bank is None else "upper"
    left_out += [f"{c.name}.bus {at_bus}" for c in circuit.channels if c.bus_divider is not None]
    left_out += [f"{c.name}.pull-up clamp" for c in circuit.channels if c.pull_up is not None]
    tree = cluster_tree(circuit)
    names = ("source_resistance", "channel_resistance", "string_resistance", "igniter_resistance")
    answer = tree_currents(tree, voltage=source, **{name: arguments[name] for name in names})
    currents = answer.string_current[list(tree.string_of_igniter), 0]
    found = {Probe(element=name): float(i) for (_, name, _), i in zip(igniter_list(circuit), currents, strict=True)}
    if float(source) > 0.0:  # else the standing loads alone are more than the battery can give
        network = build_network(circuit, State(phase="firing", commanded=frozenset(on))).switched(opened=left_out)
        hold_to_network("the firing tree", found, network, values)


def turn_on(circuit: Circuit, channel_index: int, drive: float, case: str) -> float:
    """Delay from the driven pin to conduction of a channel's MOSFET.

    Time until the gate reaches the lowest data sheet row, input capacitance and gate-drain charge charged through pin
    and series resistor.

    Parameters
    ----------
    channel_index : Which channel [1]
    drive : Gate voltage that is reached [V]

    Returns
    -------
    Delay [s]; zero where the input capacitance is not given, without its share where the gate-drain charge is not
    """
    channel = circuit.channels[channel_index]
    mosfet = circuit.mosfets[channel.mosfet]
    capacitance = input_capacitance(circuit, channel)
    if capacitance is None or case == "low":
        return 0.0
    resistance = getattr(circuit.controller.pin.output_resistance, case) + getattr(channel.gate_series, case)
    target = mosfet.rows[0].gate
    if drive <= target:
        target = 0.999 * drive
    charge = 0.0 if mosfet.gate_drain_charge is None else getattr(mosfet.gate_drain_charge, case)
    return float(turn_on_delay(drive, target, resistance, getattr(capacitance, case), charge))


def march_circuit(
    circuit: Circuit,
    values: Mapping[str, ArrayLike],
    *,
    threshold: ArrayLike,
    time_constant: ArrayLike,
    turn_on_delay: Sequence[float] | None = None,
    release_voltage: ArrayLike = -np.inf,
    fuse_i2t: ArrayLike = np.inf,
    only: Sequence[str] | None = None,
    **options: Any,
) -> MarchResult:
    """March the firing sequence of a circuit for a batch of values.

    The sense dividers, some 1e-5 of the load, are left out.

    Raises NetworkError where the tree is not the circuit's network.

    Parameters
    ----------
    values : Network parameters [SI], each a scalar or of shape (batch,)
    threshold, time_constant : Steady threshold [A] and thermal time constant [s] of each igniter, shape (k,) or (k,
        batch)
    turn_on_delay : Delay of each channel [s]
    release_voltage : Battery terminal voltage below which the controller resets and releases all gates [V]
    fuse_i2t : Melting integral of the fuse [A^2 s]
    only : Channels that are commanded; all by default
    **options : Passed on to `march`
    """
    hold_tree_to_network(circuit)
    arguments = march_arguments(circuit, values, turn_on_delay=turn_on_delay, only=only)
    return march(
        cluster_tree(circuit),
        threshold_current=threshold,
        time_constant=time_constant,
        release_voltage=release_voltage,
        fuse_i2t=fuse_i2t,
        **(arguments | options),
    )


def march_arguments(
    circuit: Circuit,
    values: Mapping[str, ArrayLike],
    *,
    turn_on_delay: Sequence[float] | None = None,
    only: Sequence[str] | None = None,
) -> dict[str, Any]:
    """Turn network parameters into the arguments of `march`, but for thresholds, time constants and guards.

    Parameters
    ----------
    values : Network parameters [SI], each a scalar or of shape (batch,); ``CHANNEL.pulse`` and ``CHANNEL.start`` [s],
        ``IGNITER growth`` [1] where they differ from nominal
    turn_on_delay : Delay of each channel [s]
    only : Channels that are commanded; all by default

    Returns
    -------
    Keyword arguments of `march`
    """
    channels = circuit.channels
    resistance_before = np.asarray(values["battery.resistance"], dtype=float)
    bank = _bank(circuit, values)
    if bank is not None:
        resistance_before = np.asarray(values["bank.resistance"], dtype=float)
    feed: FloatArray = np.asarray(sum(np.asarray(values[f"feed.{p.name}"], dtype=float) for p in circuit.feed))
    voltage = np.asarray(values["battery.voltage"], dtype=float)
    if bank is None:
        voltage = voltage - resistance_before * _standing(circuit, values)
    if not circuit.controller.powered_before_arm_switch:
        voltage = voltage - (feed + (resistance_before if bank is not None else 0.0)) * np.asarray(
            values["controller.current"], dtype=float
        )
    if bank is None:  # a divider at the bus is one more resistor across the source, by Thevenin
        loaded = 1.0 / (1.0 + (resistance_before + feed) * _bus_conductance(circuit))
        voltage, resistance_before, feed = voltage * loaded, resistance_before * loaded, feed * loaded
    strings = [
        values[f"{c.name}.branch {i + 1}"] if c.branch is not None else 0.0
        for c in channels
        for i in range(len(c.strings))
    ]
    igniters = igniter_list(circuit)
    commanded = [only is None or c.name in only for c in channels]
    return dict(
        voltage=np.maximum(voltage, 0.0),
        source_resistance=resistance_before + feed,
        terminal_resistance=resistance_before,
        channel_resistance=_stack(
            [
                sum(np.asarray(values[f"{c.name}.{part}"], dtype=float) for part in ("lead", "mosfet"))
                + _contacts(c, values)
                for c in channels
            ]
        ),
        string_resistance=_stack(strings),
        igniter_resistance=_stack([values[name] for _, name, _ in igniters]),
        start=_stack([values.get(f"{c.name}.start", c.start.nominal) for c in channels]),
        pulse=_stack(
            [
                values.get(f"{c.name}.pulse", c.pulse.nominal) if on else 0.0
                for c, on in zip(channels, commanded, strict=True)
            ]
        ),
        turn_on_delay=np.zeros(len(channels)) if turn_on_delay is None else np.asarray(turn_on_delay),
        spent_resistance=_stack([_spent(model, values.get(f"{name} spent")) for _, name, model in igniters]),
        growth=_stack([values.get(f"{name} growth", model.growth.nominal) for _, name, model in igniters]),
        polarisation=_polarisation(circuit, values) if bank is None else None,
        bank=bank,
    )


def _standing(circuit: Circuit, values: Mapping[str, ArrayLike]) -> FloatArray:
    """Current that the battery supplies beside the igniters [A]."""
    names = [f"load.{name}" for name, _ in circuit.loads] + ["controller.current"]
    return np.asarray(sum(np.asarray(values[n], dtype=float) for n in names))


def _bus_conductance(circuit: Circuit) -> float:
    """Nominal conductance of all dividers from the bus to ground [S]."""
    found = [c.bus_divider for c in circuit.channels if c.bus_divider is not None]
    return sum(1.0 / (upper.nominal + lower.nominal) for upper, lower in found)


def _contacts(channel: ChannelModel, values: Mapping[str, ArrayLike]) -> FloatArray:
    """Closed contacts of a line, with what lies around the one on its high side [ohm]."""
    total = np.zeros(())
    if channel.high_side is not None:
        contact, around = (np.asarray(values[f"{channel.name}.{n}"], dtype=float) for n in ("high side", "around"))
        total = total + contact * around / (contact + around)
    if channel.return_contact is not None:
        total = total + np.asarray(values[f"{channel.name}.return contact"], dtype=float)
    return total


def _stack(rows: Sequence[ArrayLike]) -> FloatArray:
    """Rows of scalars or (batch,) arrays as one array (members,) or (members, batch)."""
    return np.stack(np.broadcast_arrays(*(np.asarray(row, dtype=float) for row in rows)))


def _spent(model: IgniterModel, drawn: ArrayLike | None) -> ArrayLike:
    if drawn is not None:
        return drawn
    return np.inf if model.spent_resistance is None else model.spent_resistance.nominal


def _polarisation(circuit: Circuit, values: Mapping[str, ArrayLike]) -> Polarisation | None:
    battery = circuit.battery
    if battery.polarisation_resistance is None or battery.polarisation_time is None:
        return None
    resistance = np.asarray(values.get("battery.polarisation", battery.polarisation_resistance.nominal), dtype=float)
    return Polarisation(
        resistance=resistance,
        time_constant=battery.polarisation_time.nominal,
        initial_voltage=resistance * _standing(circuit, values),
    )


def _bank(circuit: Circuit, values: Mapping[str, ArrayLike]) -> CapacitorBank | None:
    battery = circuit.battery
    if battery.bank_capacitance is None:
        return None
    recharge: ArrayLike = np.inf
    if battery.recharge_resistance is not None:
        recharge = np.asarray(values["bank.recharge"], dtype=float) + np.asarray(
            values["battery.resistance"], dtype=float
        )
    return CapacitorBank(
        capacitance=np.asarray(values.get("bank.capacitance", battery.bank_capacitance.nominal), dtype=float),
        initial_voltage=np.asarray(values["bank.voltage"], dtype=float),
        recharge_resistance=recharge,
    )
