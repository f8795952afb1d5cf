"""Firing from a capacitor bank: energy to the bridges, their response, droop between channels, recharging."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from ignition.analyses.firing.on_state import Settled
from ignition.analyses.firing.schedule import conducting_before, latest_end, overlapping
from ignition.analyses.firing.sequence import igniter_list, march_arguments, march_circuit, turn_on
from ignition.analyses.firing.transient.ladder import ClusterTree, tree_currents
from ignition.circuit.model import BatteryModel, ChannelModel, Circuit, IgniterModel
from ignition.errors import InputError
from ignition.network.template import igniter_names, parameter_box
from ignition.parts.capacitor import (
    bridge_peak_time,
    bridge_thermal_rise,
    discharge_energy,
    recharge_time,
    stored_energy,
)
from ignition.toleranced import Spread, Toleranced
from ignition.typing import FloatArray, Key, Missing, Seconds

__all__ = ["ChannelDischarge", "Discharge", "IgniterDischarge", "discharge"]

_TOGETHER = "other channels fire from the bank at the same time: no closed bound; see the transient"
_SEVERAL = "several igniters share the bank: no closed bound; see the transient"
_GROWS = "the bridge's resistance grows: no closed form; see the transient"


@dataclass(frozen=True, slots=True, kw_only=True)
class IgniterDischarge:
    """One bridge on the bank.

    Attributes
    ----------
    energy : Energy that the pulse would put into a bridge that does not open [J]
    peak_fraction : Highest thermal fraction that the pulse would reach [1]; 1 or more: it functions
    function_time : Nominal, from the driven pin; None where it does not function
    """

    igniter: str
    energy: Spread
    peak_fraction: Annotated[Spread, Key("peak_thermal_fraction")]
    function_time: Annotated[Seconds | None, Missing(otherwise="does not function")]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelDischarge:
    """One channel's pulse from the bank.

    Attributes
    ----------
    voltage : Voltage of the bank at its start: lower the later the channel fires [V]
    droop : Share of the first voltage lost until then [1]
    """

    channel: str
    voltage: Annotated[Spread, Key("bank_voltage")]
    droop: Spread
    igniters: tuple[IgniterDischarge, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Discharge:
    """A firing sequence from a capacitor bank.

    Attributes
    ----------
    stored : Energy held at the start [J]
    channels : In file order
    recharge : Time to bring an empty bank to 95 % of the supply [s]
    """

    circuit: str
    stored: Annotated[Spread, Key("stored_energy")]
    channels: tuple[ChannelDischarge, ...]
    recharge: Annotated[Spread, Key("recharge_time")]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bank:
    """Bank and the loop of one channel, bridges apart: capacitance [F], voltage [V], series resistance [ohm]."""

    capacitance: Toleranced
    voltage: Toleranced
    series: Toleranced
    recharge: Toleranced | None


def discharge(circuit: Circuit) -> Discharge:
    """Analyse a firing sequence from a capacitor bank.

    Bounds are closed forms at proven corners, for a channel of one igniter that fires alone, whose resistance does not
    change with temperature. Energy C V^2/2 R/(R + Rs) (1 - exp(-2 t/((R + Rs) C))) rises with V and C, falls with Rs,
    and has one maximum in R. The highest thermal fraction rises with V and C and falls with R + Rs, threshold and time
    constant. Recharging during the pulse only helps: the low bounds leave it out, and the high bound of the energy adds
    V^2 t/(4 R), the most that a resistance R can feed in. The voltage left for a later channel is bounded below by an
    uninterrupted discharge through the least resistance. Nominal voltages and function times come from the event march
    with the bank as its source; the nominal energies and fractions without recharging.

    Raises InputError if the circuit has no capacitor bank.

    Parameters
    ----------
    circuit : A circuit whose battery has a capacitor bank
    """
    battery = circuit.battery
    if battery.bank_capacitance is None or battery.bank_resistance is None:
        raise InputError(
            "this circuit has no capacitor bank; write battery.capacitor_bank = { capacitance = '1000 uF ± 20 %', "
            "series_resistance = '50 mohm .. 200 mohm' }"
        )
    box = _box(circuit)
    march_of = _nominal(circuit, box)
    channels: list[ChannelDischarge] = []
    for channel in circuit.channels:
        voltage = _start_voltage(circuit, channel, box, march_of)
        first = box["bank.voltage"]
        channels.append(
            ChannelDischarge(
                channel=channel.name,
                voltage=voltage,
                droop=Spread(
                    low=0.0,
                    nominal=None if voltage.nominal is None else 1.0 - voltage.nominal / first.nominal,
                    high=None if voltage.low is None else 1.0 - voltage.low / first.low,
                    unit="1",
                    reason=voltage.reason,
                ),
                igniters=_igniters(circuit, channel, box, voltage, march_of),
            )
        )
    return Discharge(
        circuit=circuit.name,
        stored=_stored(battery, box["bank.voltage"]),
        channels=tuple(channels),
        recharge=_recharge(battery),
    )


def _box(circuit: Circuit) -> dict[str, Toleranced]:
    settled = Settled(circuit)
    on = {c.name: settled.of(overlapping(circuit, c))[0][c.name].on_resistance for c in circuit.channels}
    return parameter_box(
        circuit, off_currents={}, on_resistances=on, rail=Toleranced.exact(0.0, "V"), loads_certain=True
    )


def _stored(battery: BatteryModel, voltage: Toleranced) -> Spread:
    capacitance = battery.bank_capacitance
    assert capacitance is not None
    low, nominal, high = (
        float(stored_energy(getattr(capacitance, side), getattr(voltage, side))) for side in ("low", "nominal", "high")
    )
    return Spread(low=low, nominal=nominal, high=high, unit="J")


def _recharge(battery: BatteryModel) -> Spread:
    capacitance, resistance = battery.bank_capacitance, battery.recharge_resistance
    assert capacitance is not None
    if resistance is None:
        return Spread.missing("s", "no recharge resistance is given: the bank is not recharged in the sequence")
    through = resistance + battery.resistance
    low, nominal, high = (
        float(recharge_time(getattr(capacitance, side), getattr(through, side), 0.0, 0.95, 1.0))
        for side in ("low", "nominal", "high")
    )
    return Spread(low=low, nominal=nominal, high=high, unit="s")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Nominal:
    """Nominal march: voltage at each channel's start [V], function time by igniter [s]."""

    voltage: Mapping[str, float]
    function_time: Mapping[str, float | None]


def _nominal(circuit: Circuit, box: Mapping[str, Toleranced]) -> _Nominal:
    """March the nominal sequence; where a threshold is unknown the bridges never function."""
    values = {name: value.nominal for name, value in box.items()}
    members = igniter_list(circuit)
    threshold = [np.inf if m.threshold_nominal is None else m.threshold_nominal for _, _, m in members]
    constant = [m.time_constant.nominal or 1.0 for _, _, m in members]
    delays = [turn_on(circuit, i, circuit.controller.supply.nominal, "nominal") for i in range(len(circuit.channels))]
    result = march_circuit(circuit, values, threshold=threshold, time_constant=constant, turn_on_delay=delays)
    starts = {c.name: c.start.nominal for c in circuit.channels}
    voltage = {}
    for channel in circuit.channels:
        rows = [i for i, (name, _, _) in enumerate(members) if name == channel.name]
        own = {n: values[n] for string in igniter_names(channel) for n in string}
        tree, branch = _tree(channel), _branches(channel, values)
        strings = tree_currents(
            tree,
            voltage=1.0,
            source_resistance=_loop(circuit, channel, values),
            channel_resistance=0.0,
            string_resistance=branch,
            igniter_resistance=np.array(list(own.values())),
        ).string_current[:, 0]
        voltage[channel.name] = float(result.initial_current[rows[0], 0] / strings[tree.string_of_igniter[0]])
    times: dict[str, float | None] = {}
    for row, (name, igniter, _) in enumerate(members):
        time = float(result.function_time[row, 0]) - starts[name]
        times[igniter] = time if math.isfinite(time) else None
    return _Nominal(voltage=voltage, function_time=times)


def _tree(channel: ChannelModel) -> ClusterTree:
    return ClusterTree(
        channel_of_string=(0,) * len(channel.strings),
        string_of_igniter=tuple(i for i, string in enumerate(channel.strings) for _ in string),
    )


def _branches(channel: ChannelModel, values: Mapping[str, float]) -> FloatArray:
    count = len(channel.strings)
    if channel.branch is None:
        return np.zeros(count)
    return np.array([values[f"{channel.name}.branch {i + 1}"] for i in range(count)])


def _loop(circuit: Circuit, channel: ChannelModel, values: Mapping[str, float]) -> float:
    """Series resistance of a channel on the bank, strings apart [ohm]."""
    arguments = march_arguments(circuit, values)
    return float(arguments["source_resistance"] + arguments["channel_resistance"][circuit.channels.index(channel)])


def _start_voltage(circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced], found: _Nominal) -> Spread:
    capacitance, full = circuit.battery.bank_capacitance, box["bank.voltage"]
    assert capacitance is not None
    earlier = sorted(
        (c for c in circuit.channels if c is not channel and conducting_before(c, channel) > 0.0),
        key=lambda c: c.start.low,
    )
    lowest = {name: value.low for name, value in box.items()}
    least, end = full.low, math.inf
    for other in earlier:
        least = _recharged(circuit, least, full.low, other.start.low - end)
        loop = _loop(circuit, other, lowest) + _least_strings(circuit, other, lowest)
        least *= 0.0 if loop <= 0 else math.exp(-other.pulse.high / (loop * capacitance.low))
        end = latest_end(other) if math.isinf(end) else max(end, latest_end(other))
    least = _recharged(circuit, least, full.low, channel.start.low - end)
    nominal = min(found.voltage[channel.name], full.high)  # found by a quotient: may round up
    return Spread(low=min(least, nominal), nominal=nominal, high=full.high, unit="V")


def _recharged(circuit: Circuit, voltage: float, full: float, gap: float) -> float:
    """Least voltage of the bank after a time without discharge [V]."""
    battery = circuit.battery
    if battery.recharge_resistance is None or battery.bank_capacitance is None or gap <= 0:
        return voltage
    slowest = (battery.recharge_resistance.high + battery.resistance.high) * battery.bank_capacitance.high
    missing = max(full - voltage, 0.0)
    return voltage if slowest <= 0 else voltage + missing * -math.expm1(-gap / slowest)


def _least_strings(circuit: Circuit, channel: ChannelModel, lowest: Mapping[str, float]) -> float:
    """Least resistance of a channel's strings during its pulse, spent bridges included [ohm]."""
    conductance = 0.0
    for index, kinds in enumerate(channel.strings):
        total = float(_branches(channel, lowest)[index])
        for name, kind in zip(igniter_names(channel)[index], kinds, strict=True):
            model = circuit.igniters[kind]
            least = min(lowest[name], model.heated.low)
            total += least if model.spent_resistance is None else min(least, model.spent_resistance.low)
        conductance += math.inf if total <= 0 else 1.0 / total
    return 1.0 / conductance


def _igniters(
    circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced], voltage: Spread, found: _Nominal
) -> tuple[IgniterDischarge, ...]:
    values = {name: value.nominal for name, value in box.items()}
    names = [n for string in igniter_names(channel) for n in string]
    kinds = [k for string in channel.strings for k in string]
    shares, equivalent = _nominal_shares(channel, values)
    reason = None
    if len(overlapping(circuit, channel)) > 1:
        reason = _TOGETHER
    elif len(names) > 1:
        reason = _SEVERAL
    result = []
    for name, kind, share in zip(names, kinds, shares, strict=True):
        model = circuit.igniters[kind]
        energy, fraction = _nominal_pulse(circuit, channel, values, voltage, model, equivalent, share, values[name])
        grows = not model.growth.is_exact or model.growth.nominal != 0.0
        why = reason or (_GROWS if grows else None)
        spread = Spread(low=None, nominal=energy, high=None, unit="J", reason=why)
        peak = Spread(low=None, nominal=fraction, high=None, unit="1", reason=why)
        if why is None:
            bank = _channel_bank(circuit, channel, box, voltage)
            spread = _energy(bank, box[name], channel.pulse, energy)
            peak = _peak(bank, box[name], model, channel.pulse, fraction)
        result.append(
            IgniterDischarge(igniter=name, energy=spread, peak_fraction=peak, function_time=found.function_time[name])
        )
    return tuple(result)


def _nominal_shares(channel: ChannelModel, values: Mapping[str, float]) -> tuple[list[float], float]:
    """Share of the strings' power in each bridge, and the strings' resistance together [ohm]."""
    tree = _tree(channel)
    names = [n for string in igniter_names(channel) for n in string]
    answer = tree_currents(
        tree,
        voltage=1.0,
        source_resistance=0.0,
        channel_resistance=0.0,
        string_resistance=_branches(channel, values),
        igniter_resistance=np.array([values[n] for n in names]),
    )
    total = float(answer.source_current[0])
    currents = answer.string_current[list(tree.string_of_igniter), 0]
    return [float(i * i * values[n] / total) for i, n in zip(currents, names, strict=True)], 1.0 / total


def _nominal_pulse(
    circuit: Circuit,
    channel: ChannelModel,
    values: Mapping[str, float],
    voltage: Spread,
    model: IgniterModel,
    equivalent: float,
    share: float,
    resistance: float,
) -> tuple[float | None, float | None]:
    """Nominal energy into one bridge over the pulse and its highest thermal fraction, without recharging."""
    capacitance = circuit.battery.bank_capacitance
    assert capacitance is not None
    if voltage.nominal is None:
        return None, None
    loop, pulse = _loop(circuit, channel, values), channel.pulse.nominal
    common = (capacitance.nominal, voltage.nominal, equivalent, loop)
    energy = share * float(discharge_energy(*common, pulse))
    tau, threshold = model.time_constant.nominal, model.threshold_nominal
    if tau is None or threshold is None or model.growth.nominal != 0.0:
        return energy, None
    time = min(float(bridge_peak_time(capacitance.nominal, equivalent, loop, tau)), pulse)
    heat = threshold**2 * resistance * tau / share
    return energy, float(bridge_thermal_rise(*common, heat, tau, time))


def _channel_bank(circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced], voltage: Spread) -> _Bank:
    capacitance = circuit.battery.bank_capacitance
    assert capacitance is not None
    assert voltage.low is not None and voltage.nominal is not None and voltage.high is not None
    low, nominal, high = (
        _loop(circuit, channel, {n: getattr(v, side) for n, v in box.items()})
        + float(_branches(channel, {n: getattr(v, side) for n, v in box.items()})[0])
        for side in ("low", "nominal", "high")
    )
    recharge = circuit.battery.recharge_resistance
    return _Bank(
        capacitance=capacitance,
        voltage=Toleranced(low=voltage.low, nominal=voltage.nominal, high=voltage.high, unit="V"),
        series=Toleranced(low=low, nominal=nominal, high=high, unit="ohm"),
        recharge=None if recharge is None else recharge + circuit.battery.resistance,
    )


def _energy(bank: _Bank, bridge: Toleranced, pulse: Toleranced, nominal: float | None) -> Spread:
    weak = discharge_energy(
        bank.capacitance.low, bank.voltage.low, np.array([bridge.low, bridge.high]), bank.series.high, pulse.low
    )
    best = _matching(bank, bridge, pulse)
    strong = float(discharge_energy(bank.capacitance.high, bank.voltage.high, best, bank.series.low, pulse.high))
    if bank.recharge is not None:
        strong += bank.voltage.high**2 * pulse.high / (4.0 * bank.recharge.low) if bank.recharge.low > 0 else math.inf
    finite = math.isfinite(strong)
    return Spread(
        low=float(weak.min()),
        nominal=nominal,
        high=strong if finite else None,
        unit="J",
        reason=None if finite else "the recharge resistance may be 0 ohm",
    )


def _matching(bank: _Bank, bridge: Toleranced, pulse: Toleranced) -> float:
    """Bridge resistance within its bounds that takes the most energy: s/r = y/(exp(y) - 1), y = 2 t/((r + s) C)."""

    def slope(r: float) -> float:
        y = 2.0 * pulse.high / ((r + bank.series.low) * bank.capacitance.high)
        return bank.series.low / r - (y / math.expm1(y) if 0 < y < 500 else 0.0)

    low, high = bridge.low, bridge.high
    if slope(high) >= 0.0:
        return high
    if slope(low) <= 0.0:
        return low
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if slope(middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)


def _peak(bank: _Bank, bridge: Toleranced, model: IgniterModel, pulse: Toleranced, nominal: float | None) -> Spread:
    weak, missing = _extreme_peak(bank, bridge, model, pulse, "low")
    strong, _ = _extreme_peak(bank, bridge, model, pulse, "high")
    if bank.recharge is not None:
        strong = None
    return Spread(low=weak, nominal=nominal, high=strong, unit="1", reason=missing)


def _extreme_peak(
    bank: _Bank, bridge: Toleranced, model: IgniterModel, pulse: Toleranced, side: str
) -> tuple[float | None, str | None]:
    """Least or greatest highest thermal fraction, or why it has no closed form."""
    weak = side == "low"
    threshold = model.threshold_high if weak else model.threshold_low
    tau = model.time_constant.slow if weak else model.time_constant.fast
    if threshold is None or tau is None:
        return None, f"no {'all-fire' if weak else 'no-fire'} current is given"
    capacitance, voltage, time = (getattr(v, side) for v in (bank.capacitance, bank.voltage, pulse))
    resistance, series = (v.high if weak else v.low for v in (bridge, bank.series))
    peak = float(bridge_peak_time(capacitance, resistance, series, tau))
    # while t < (R + Rs) C of the least resistance the current falls with R + Rs at every instant, so its heat does
    if weak and peak > time > (bridge.low + bank.series.low) * capacitance:
        return None, "the pulse ends before the bridge is hottest: no closed bound; see the transient"
    heat = threshold**2 * resistance * tau
    return float(bridge_thermal_rise(capacitance, voltage, resistance, series, heat, tau, min(peak, time))), None
