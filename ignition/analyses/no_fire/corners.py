"""Corners of the arming edge of a channel, with every tolerance at one of its ends."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Literal

import numpy as np

from ignition.analyses.no_fire.edge import LEAST_INDUCTANCE, Edge
from ignition.analyses.no_fire.gate import (
    controller_rail,
    driven_gate_voltage,
    floating,
    gate_in_reset,
    input_capacitance,
)
from ignition.analyses.no_fire.off_state import highest_threshold, lowest_threshold
from ignition.circuit.model import ChannelModel, Circuit, IgniterModel
from ignition.findings.values import left_out
from ignition.network.template import high_side_closed
from ignition.parts.mosfet import breakdown_at, gain, slope_factor, slope_voltage
from ignition.toleranced import Toleranced
from ignition.typing import FloatArray

__all__ = ["ENDS", "EdgeCorners", "Hold", "all_ends", "contacts_at_edge", "feed_inductance", "holds", "missing_keys"]

Hold = Literal["driven low", "in reset", "dead"]
"""What holds the gate at the edge: the pin of a running controller, one in reset or at its start, or the pull-down."""

ENDS = (
    *("supply", "line", "inductance", "bridge", "threshold", "gain", "source capacitance", "coupling", "shape"),
    *("drain capacitance", "pull-down", "path", "leakage", "breakdown", "strings"),
)
"""What a corner chooses an end of: 0 the low, 1 the high one. Shape: whether the gate-drain charge comes evenly over
the drain's voltage, or most of it below `NEAR_VOLTAGE`. Strings: the igniter's own alone, or all of the channel's."""

NEAR_VOLTAGE = 1.0
"""Drain-gate voltage at which a concentrated gate-drain capacitance has fallen by half [V]: common practice."""

_LEAST_REVERSE_TRANSFER, _LEAST_OUTPUT = 5e-12, 10e-12
"""Least Crss, and least capacitance from drain to source, of a power MOSFET [F]: common practice."""

_MOST_REVERSE_TRANSFER = 0.3
"""Highest share of Crss in Ciss that is plausible [1]: 0.02 to 0.18 in the data sheets of five power MOSFETs."""

_MOST_BREAKDOWN = 1.3
"""Avalanche voltage over what a data sheet states, which is its least [1]: common practice, from memory."""

_EVENLY = 1e6
"""Drain voltage by which a capacitance that does not change has fallen by half [V]."""

_NOTHING = 1e12
"""Resistance of a resistor that is not there [ohm], breakdown of which nothing is known [V]."""

_BATTERY_INDUCTANCE = 0.2e-6
"""Highest inductance of battery and its leads [H]: an inrush measured at 24 V was met by 0.15 ohm and 200 nH
(laboratory failure analysis, 2019-11-07; published)."""

_OUTPUT_VOLTAGE = 190.0
"""Highest output charge over Coss [V]: 42 to 184 V in the data sheets of five power MOSFETs, at 20 to 50 V; most of it
is there at a few volts already."""


def holds(circuit: Circuit) -> tuple[Hold, ...]:
    """List what may hold the gates at the arming edge; a controller behind the arm switch never runs then."""
    return ("driven low", "in reset", "dead") if circuit.controller.powered_before_arm_switch else ("in reset", "dead")


def missing_keys(circuit: Circuit, channel: ChannelModel) -> tuple[str, ...]:
    """List the keys without which the arming edge of a channel is not known."""
    given, table = circuit.given.mosfet[channel.mosfet], f"mosfet.{channel.mosfet}"
    charge = left_out(table, given, "gate_drain_charge", "reverse_transfer_capacitance")
    return (*left_out(table, given, "input_capacitance"), *(charge[:1] if len(charge) == 2 else ()))


@dataclass(frozen=True, kw_only=True)
class EdgeCorners:
    """One igniter type of a channel, with one thing that holds the gate: makes value sets of chosen ends."""

    circuit: Circuit
    channel: ChannelModel
    igniter: IgniterModel
    hold: Hold

    def edges(self, ends: Mapping[str, np.ndarray], rise_time: FloatArray, **other: FloatArray) -> Edge:
        """Make value sets.

        Parameters
        ----------
        ends : For each of `ENDS`: 0 or 1, shape (n,)
        rise_time : Rise time of the source [s], shape (n,)
        **other : Fields of the value sets that replace those of the corner, shape (n,); ``pull_down`` [ohm] and
            ``capacitor`` [F] replace the channel's
        """
        circuit, mosfet, bridge = self.circuit, self.circuit.mosfets[self.channel.mosfet], self.igniter
        assert bridge.threshold_low is not None and bridge.time_constant.fast is not None

        def end(name: str, value: Toleranced) -> FloatArray:
            return np.where(ends[name] == 1, value.high, value.low)

        supply = end("supply", circuit.battery.voltage)
        spread = np.array([lowest_threshold(mosfet, circuit.ambient), highest_threshold(mosfet, circuit.ambient)])
        row = mosfet.rows[0]
        strengths = np.array(
            [float(gain(r, row.gate, mosfet.threshold.nominal)) for r in (row.resistance.high, row.resistance.low)]
        )
        total = input_capacitance(circuit, self.channel)
        assert total is not None
        own = end("source capacitance", total) - self._reverse_transfer
        if "capacitor" in other:
            fitted = self.channel.gate_capacitor
            own = own + other.pop("capacitor") - (0.0 if fitted is None else end("source capacitance", fitted))
        near, far, knee = self._coupling(ends, supply)
        line, share = self._loop(ends, end("bridge", bridge.resistance))
        resistance, rest = self._holding(ends, other.pop("pull_down", None))
        values = {
            "supply": supply,
            "rise_time": np.maximum(rise_time, 1e-9),
            "line_resistance": line,
            "inductance": np.maximum(self._inductance(ends), LEAST_INDUCTANCE),
            "share": share,
            "bridge_resistance": end("bridge", bridge.resistance),
            "growth": bridge.growth.low,
            "no_fire_current": bridge.threshold_low,
            "time_constant": bridge.time_constant.fast,
            "threshold": spread[ends["threshold"]],
            "gain": strengths[ends["gain"]],
            "row_overdrive": row.gate - mosfet.threshold.nominal,
            "threshold_current": mosfet.threshold_current.high,
            "slope_voltage": slope_voltage(slope_factor(mosfet.subthreshold_slope.high), circuit.ambient.high),
            "gate_source_capacitance": np.maximum(own, 1e-12),
            "near_capacitance": near,
            "far_capacitance": far,
            "knee_voltage": knee,
            "breakdown": end("breakdown", self.breakdown),
            "drain_capacitance": np.where(ends["drain capacitance"] == 1, *reversed(self.drain_capacitance(supply))),
            "gate_resistance": resistance,
            "gate_rest": rest,
        }
        assert set(other) <= {f.name for f in fields(Edge)}
        return Edge.of(**(values | other))

    @cached_property
    def breakdown(self) -> Toleranced:
        """Drain voltage above which the MOSFET may avalanche, cold, and surely does [V]; endless where not given."""
        given = self.circuit.mosfets[self.channel.mosfet].breakdown
        if given is None:
            return Toleranced.exact(_NOTHING, "V")
        least = float(breakdown_at(self.circuit.ambient.low, given.low))
        return Toleranced(low=least, nominal=given.nominal, high=_MOST_BREAKDOWN * given.high, unit="V")

    @cached_property
    def before_lines(self) -> Toleranced:
        """What all channels share: battery and feed [ohm]."""
        battery, bank = self.circuit.battery.resistance, self.circuit.battery.bank_resistance
        total = battery if bank is None else Toleranced.hull(Toleranced.exact(0.0, "ohm"), bank, battery)
        for part in self.circuit.feed:
            total = total + part.resistance
        return total

    @cached_property
    def common(self) -> Toleranced:
        """What all strings share: battery, feed, lead and contacts [ohm]."""
        line = self.channel.lead.resistance + contacts_at_edge(self.circuit, self.channel, self.hold)
        return self.before_lines + line

    @cached_property
    def own(self) -> Toleranced:
        """The igniter's branch and the others in its string [ohm], which are shorts at the low end."""
        branch = Toleranced.exact(0.0, "ohm") if self.channel.branch is None else self.channel.branch.resistance
        others = max(
            sum(self.circuit.igniters[kind].resistance.high for kind in string) - self.igniter.resistance.high
            for string in self.channel.strings
            if self.igniter.name in string
        )
        return branch + Toleranced(low=0.0, nominal=0.0, high=others, unit="ohm")

    @cached_property
    def beside(self) -> float:
        """Highest conductance of all strings but the igniter's own [S]."""
        branch = 0.0 if self.channel.branch is None else self.channel.branch.resistance.low
        each = [
            (1.0 / (branch + sum(self.circuit.igniters[kind].heated.low for kind in string)), string)
            for string in self.channel.strings
        ]
        own = min(conductance for conductance, string in each if self.igniter.name in string)
        return sum(conductance for conductance, _ in each) - own

    def _loop(self, ends: Mapping[str, np.ndarray], bridge: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Resistance of the loop without the bridge [ohm], and the igniter's share of its current [1]."""
        common, own = (np.where(ends["line"] == 1, part.high, part.low) for part in (self.common, self.own))
        share = 1.0 / (1.0 + np.where(ends["strings"] == 1, self.beside, 0.0) * (own + bridge))
        return common + share * own, share

    def _inductance(self, ends: Mapping[str, np.ndarray]) -> FloatArray:
        """Inductance of the loop [H]; the branches of all strings lie side by side."""
        total = feed_inductance(self.circuit) + self.channel.lead.inductance
        branch = Toleranced.exact(0.0, "H") if self.channel.branch is None else self.channel.branch.inductance
        count = np.where(ends["strings"] == 1, len(self.channel.strings), 1)
        high = ends["inductance"] == 1
        return np.where(high, total.high, total.low) + np.where(high, branch.high, branch.low) / count

    def drain_capacitance(self, supply: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        """Least and most of drain and line to ground over a drain voltage [F]; it grows towards low voltage."""
        coss = self.circuit.mosfets[self.channel.mosfet].output_capacitance
        branch = self.channel.branch
        line = self.channel.lead.capacitance.high + sum(part.capacitance.high for part in self.circuit.feed)
        if branch is not None:
            line += len(self.channel.strings) * branch.capacitance.high
        own = max(coss.low - self._reverse_transfer, _LEAST_OUTPUT)
        most = coss.high * np.maximum(_OUTPUT_VOLTAGE / np.asarray(supply, dtype=float), 1.0)
        return np.full_like(most, own), np.maximum(most, own) + line

    def charge(self, supply: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest gate-drain charge over a drain voltage [C]."""
        voltage = np.asarray(supply, dtype=float)
        mosfet = self.circuit.mosfets[self.channel.mosfet]
        given, crss = mosfet.gate_drain_charge, mosfet.reverse_transfer_capacitance
        if given is not None:  # at the sheet's drain voltage: no more over a lower one, and no less than of Crss
            least = np.zeros_like(voltage) if crss is None else crss.low * voltage
            most = np.maximum(given.high, 0.0 if crss is None else crss.high * voltage)
            return np.minimum(least, given.low), most
        assert crss is not None
        reach = mosfet.charge_voltage
        return crss.low * voltage, crss.high * np.maximum(reach.high, voltage)

    @cached_property
    def _reverse_transfer(self) -> float:
        """Highest Crss [F]; where it is not given, that of the charge evenly over the battery voltage, which falls."""
        mosfet = self.circuit.mosfets[self.channel.mosfet]
        if mosfet.reverse_transfer_capacitance is not None:
            return mosfet.reverse_transfer_capacitance.high
        assert mosfet.input_capacitance is not None
        voltage = self.circuit.battery.voltage.high
        return min(float(self.charge(voltage)[1]) / voltage, _MOST_REVERSE_TRANSFER * mosfet.input_capacitance.low)

    def _coupling(self, ends: Mapping[str, np.ndarray], whole: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Near and far gate-drain capacitance [F] and the knee between them [V] that hold the charge over a voltage."""
        low, high = self.charge(whole)
        charge = np.where(ends["coupling"] == 1, high, low)
        crss = self.circuit.mosfets[self.channel.mosfet].reverse_transfer_capacitance
        even = charge / whole
        far = np.minimum(even, _LEAST_REVERSE_TRANSFER if crss is None else crss.low)
        near = far + (charge - far * whole) / (NEAR_VOLTAGE * np.arctan(whole / NEAR_VOLTAGE))
        early = ends["shape"] == 1
        return np.where(early, near, even), np.where(early, far, even), np.where(early, NEAR_VOLTAGE, _EVENLY)

    def _holding(self, ends: Mapping[str, np.ndarray], pull_downs: FloatArray | None) -> tuple[FloatArray, FloatArray]:
        """Everything at the gate as one source: its resistance [ohm], and where the gate rests [V]."""
        pin, channel = self.circuit.controller.pin, self.channel
        down = (
            np.where(ends["pull-down"] == 1, channel.pull_down.high, channel.pull_down.low)
            if pull_downs is None and channel.pull_down is not None
            else np.full(ends["path"].shape, _NOTHING)
            if pull_downs is None
            else pull_downs
        )
        path = np.full(down.shape, _NOTHING)
        at = np.zeros_like(down)

        def through(value: Toleranced) -> FloatArray:
            whole = value + channel.gate_series
            return np.where(ends["path"] == 1, whole.high, whole.low)

        if self.hold == "driven low":
            path = through(pin.output_resistance)
        elif self.hold == "in reset":
            if pin.reset_pull_up is not None:
                source = pin.output_resistance if pin.reset_pull_up == "driven high" else pin.reset_pull_up
                path, at = through(source), np.full_like(down, self._rail)
            if pin.reset_pull_down is not None:
                beside = through(pin.reset_pull_down)
                at, path = at * beside / (path + beside), path * beside / (path + beside)
        leakage = pin.leakage + self.circuit.mosfets[channel.mosfet].gate_leakage
        pushed = np.where(ends["leakage"] == 1, leakage.high, leakage.low)
        path = np.maximum(path, 1e-3)
        resistance = down * path / (down + path)
        rest = at * down / (down + path) + pushed * resistance
        if self.hold == "dead" and channel.pull_down is None and pull_downs is None:
            rest = np.full_like(down, self.circuit.controller.supply.high)
        elif pull_downs is None:  # protection diodes and an open gate keep the rest within its steady bounds
            rest = np.clip(rest, min(self._steady.low, 0.0), self._steady.high)
        return resistance, rest

    @cached_property
    def _rail(self) -> float:
        """Highest supply rail of a controller in reset [V]."""
        return controller_rail(self.circuit, "reset").high

    @cached_property
    def _steady(self) -> Toleranced:
        """Bounds of the gate's steady voltage with what holds it [V]."""
        nothing = Toleranced.exact(0.0, "V")
        if self.hold == "driven low":
            return driven_gate_voltage(self.circuit, self.channel, nothing)
        if self.hold == "dead":
            return floating(self.circuit, self.channel, nothing, reset=False, dead=True)
        return gate_in_reset(self.circuit, self.channel, controller_rail(self.circuit, "reset"))


def contacts_at_edge(circuit: Circuit, channel: ChannelModel, hold: Hold) -> Toleranced:
    """Return the contacts of a line while the arm switch closes [ohm].

    What is at the high side may count for nothing where a contact in the return closes last: the charge of the wire out
    is then behind it.

    Parameters
    ----------
    hold : What holds the gate: pins in reset may close a high-side switch too
    """
    if channel.high_side is None:
        return channel.contacts_fired
    closed = high_side_closed(circuit, "reset" if hold == "in reset" else "armed", commanded=False)
    if channel.return_contact is not None:
        return channel.return_contact + replace(channel.high_side.closed, low=0.0)
    return channel.high_side.closed if closed else channel.high_side.opened


def feed_inductance(circuit: Circuit) -> Toleranced:
    """Return the inductance of battery and feed, which all channels share [H].

    The low end leaves out the wires: a capacitor across the battery or the bus may bypass them.
    """
    total = Toleranced(low=0.0, nominal=0.0, high=_BATTERY_INDUCTANCE, unit="H")
    for part in circuit.feed:
        total = total + replace(part.inductance, low=0.0)
    return total


def all_ends(names: tuple[str, ...] = ENDS) -> dict[str, np.ndarray]:
    """Every combination of the ends of some, 1 for the others; shape (2^k,) each."""
    table = np.array(list(itertools.product((0, 1), repeat=len(names))), dtype=np.intp).T
    return {name: np.ones(table.shape[1], dtype=np.intp) for name in ENDS} | dict(zip(names, table, strict=True))
