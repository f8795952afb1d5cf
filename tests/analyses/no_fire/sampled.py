"""Samples of a circuit, each at one temperature, solved by a nodal solution of its own: arithmetic apart from the package.

What is written in the file is drawn within its tolerance; whatever follows temperature does so by the one temperature
of the sample. Bus and drains are the unknowns of the nodal solution: everything from bus to drain is in series and in
parallel, and what hangs on a drain (divider with clamp, MOSFET) is a current that rises with the drain's voltage.
Arrays are (samples,).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from ignition.circuit.description import Description
from ignition.circuit.model import Circuit
from ignition.network.template import igniter_names
from ignition.toleranced import Toleranced, in_series
from ignition.typing import BoolArray, FloatArray

__all__ = ["Samples", "Values"]

Values = dict[str, FloatArray]

KELVIN = 273.15
ACTIVATION = {"lithium-ion": (-8700.0, 30900.0), "alkaline": (8000.0, 25500.0), None: (-8700.0, 30900.0)}
"""Least and greatest published activation energy of a battery's resistance [J/mol] (see chemistry.toml)."""

STEPS = 60

OPEN = 1e9
"""An open contact with nothing around it [ohm]."""


class Samples:
    """A circuit as ranges that are drawn from, and the solution of what was drawn."""

    def __init__(self, circuit: Circuit, given: Description) -> None:
        self.circuit, self.given = circuit, given
        battery, stated, pin = circuit.battery, given.battery.resistance_temperature, circuit.controller.pin
        self.scaled = stated != "ambient"
        # where the file does not say: at some ambient, or in a room
        room = Toleranced.exact(20.0)
        at = stated if isinstance(stated, Toleranced) else Toleranced.hull(circuit.ambient, room)
        assert given.battery.resistance is not None
        ranges: dict[str, Toleranced | tuple[float, float]] = {
            "temperature": circuit.ambient, "voltage": battery.voltage, "resistance": given.battery.resistance,
            "stated at": at, "activation": ACTIVATION[given.battery.chemistry], "alive": (0.0, 1.0),
            "loads on": (0.0, 1.0), "controller on": (0.0, 1.0), "controller": circuit.controller.current, "supply": circuit.controller.supply,
            "dropout": circuit.controller.dropout, "output": pin.output_resistance, "pin leakage": pin.leakage,
            "driven high": (0.0, 1.0), "clamp resistance": pin.clamp_resistance, "clamp drop": pin.clamp_drop,
            "adc leakage": circuit.controller.adc.leakage, "error": (-1.0, 1.0), "rounding": (-0.5, 0.5),
            "start of the sample": (0.0, 1.0),
        }  # fmt: skip
        adc = circuit.controller.adc
        for name, value in (
            ("pull up", pin.reset_pull_up), ("bank", battery.bank_resistance), ("recharge", battery.recharge_resistance),
            ("slow", given.battery.polarisation and given.battery.polarisation.resistance), ("reference", adc.reference),
            ("sample capacitance", adc.sample_capacitance), ("acquisition", adc.acquisition_time),
        ):  # fmt: skip
            if isinstance(value, Toleranced):
                ranges[name] = value
        if "slow" in ranges:
            ranges["slow share"] = (0.0, 1.0)
        ranges |= {f"feed {i}": part.resistance for i, part in enumerate(circuit.feed)}
        ranges |= {f"load {i}": current for i, (_, current) in enumerate(circuit.loads)}
        for channel, table in zip(circuit.channels, given.channel, strict=True):
            ranges |= self._channel(channel.name, channel, table)
        self.ranges = {
            name: (value.low, value.high) if isinstance(value, Toleranced) else value for name, value in ranges.items()
        }

    def _channel(self, name: str, channel: Any, table: Any) -> dict[str, Toleranced | tuple[float, float]]:
        sheet, model = self.given.mosfet[channel.mosfet], self.circuit.mosfets[channel.mosfet]
        tempco = table.sense.temperature_coefficient
        drift = 1e-3 if tempco is None else max(abs(tempco.low), abs(tempco.high))  # carbon film
        found: dict[str, Toleranced | tuple[float, float]] = {
            "on": (0.0, 1.0), "weak": (0.0, 1.0), "lead": table.lead.resistance, "joints": table.lead.joints,
            "upper": in_series(table.sense.upper), "lower": table.sense.lower, "upper drift": (-drift, drift),
            "lower drift": (-drift, drift), "pin resistor": channel.pin_resistor, "series": channel.gate_series,
            "gate leakage": model.gate_leakage, "held": (0.0, 1.0), "threshold": sheet.threshold,
            "drift": model.threshold_drift, "row": sheet.on_resistance[0].resistance, "cool": model.leakage_cool,
            "leaking": (0.0, 1.0), "slope": model.subthreshold_slope, "at threshold": model.threshold_current,
        }  # fmt: skip
        if channel.pull_down is not None:
            found["pull down"] = channel.pull_down
        if table.high_side is not None:
            around = table.high_side.around
            found |= {"high side": table.high_side.resistance, "around": (OPEN, OPEN) if around == "none" else around}
        if table.return_contact is not None:
            found["return contact"] = table.return_contact
        if table.shunt is not None:
            found["shunt"] = table.shunt
        if sheet.leakage is not None and sheet.leakage.hot is not None:
            found["hot"] = sheet.leakage.hot
        for s, kinds in enumerate(channel.strings):
            found[f"string {s}"] = (0.0, 1.0)
            if table.branch is not None:
                found |= {f"branch {s}": table.branch.resistance, f"branch joints {s}": table.branch.joints}
            for p, kind in enumerate(kinds):
                bridge = self.given.igniter[kind]
                found[f"bridge {s}.{p}"] = self.circuit.igniters[kind].temperatures.reference_resistance
                found[f"coefficient {s}.{p}"] = bridge.temperature_coefficient or Toleranced.exact(0.0)
                found[f"reference {s}.{p}"] = bridge.reference_temperature or Toleranced.exact(20.0)
        return {f"{name}.{key}": value for key, value in found.items()}

    def draw(self, rng: np.random.Generator, size: int) -> Values:
        """Values inside their ranges, in two cases of five at an end."""
        found = {}
        for name, (low, high) in self.ranges.items():
            share = rng.random(size)
            share = np.where(rng.random(size) < 0.4, np.round(share), share)
            found[name] = low + (high - low) * share
        return found

    def neighbours(self, values: Values, index: int) -> Values:
        """One sample, and for each range the same one at its low and at its high end."""
        size = 1 + 2 * len(self.ranges)
        found = {name: np.full(size, value[index]) for name, value in values.items()}
        for k, (name, (low, high)) in enumerate(self.ranges.items()):
            found[name][1 + 2 * k : 3 + 2 * k] = low, high
        return found

    def solved(self, values: Values, phase: str, line: str = "strings", own: str = "") -> Values:
        """Currents and voltages of each sample in a phase.

        `line` is what `own` is in: ``strings`` (of every channel any may be open), ``intact``, ``open``, ``shorted``,
        ``mosfet shorted`` or ``not armed``; the other channels' strings may be open.
        """
        run = _Run(self, values, phase, line, own)
        supply = values["supply"]
        rail = np.where(run.alive, supply, 0.0)
        found = run.at(rail)
        short = run.alive & (found["fed"] - values["dropout"] < supply)
        if short.any():  # the rail follows a battery that cannot hold it, and what the rail drives sags the battery
            part = _Run(self, {k: v[short] for k, v in values.items()}, phase, line, own)
            rail[short] = part.held_rail()
            found = run.at(rail)
        return found | {"rail": rail}

    def code(self, values: Values, solved: Values, name: str, line: str) -> FloatArray:
        """What the converter reads of a solved pin, errors included: a sample capacitor behind one resistance."""
        v, adc = values, self.circuit.controller.adc
        settled = solved[f"{name} pin"]
        reference = v.get("reference", solved["rail"])
        if "sample capacitance" in v and "acquisition" in v:
            upper, lower = (
                v[f"{name}.upper"] + v.get(f"{name}.around", 0.0),
                v[f"{name}.lower"],
            )  # the drift of both is far below their tolerance
            behind = lower if line in ("open", "not armed") else upper * lower / (upper + lower)
            time = (behind + v[f"{name}.pin resistor"]) * v["sample capacitance"]
            before = v["start of the sample"] * reference
            settled = settled + (before - settled) * np.exp(-v["acquisition"] / time)
        code = 2.0**adc.bits * settled / reference + adc.total_error * v["error"] + v["rounding"]
        return np.clip(code, 0.0, 2.0**adc.bits - 1.0)


class _Run:
    """Samples in one phase: everything that does not depend on the rail."""

    def __init__(self, samples: Samples, values: Values, phase: str, line: str, own: str) -> None:
        self.samples, self.values, self.phase = samples, values, phase
        circuit, v = samples.circuit, values
        self.temperature = v["temperature"]
        armed = phase != "disarmed" and line != "not armed"
        before = circuit.controller.powered_before_arm_switch
        self.alive: BoolArray = (v["alive"] > 0.5) & (before or armed)
        resistance = v["resistance"]
        if "slow" in v and phase == "firing":
            resistance = resistance + v["slow"] * v["slow share"]
        if samples.scaled:
            span = 1.0 / (self.temperature + KELVIN) - 1.0 / (v["stated at"] + KELVIN)
            resistance = resistance * np.exp(v["activation"] / 8.31446 * span)
        self.battery = resistance
        certain = phase == "firing"  # otherwise they may also be off
        drawn = sum((v[f"load {i}"] for i in range(len(circuit.loads))), start=np.zeros_like(resistance))
        self.loads = drawn * (1.0 if certain else v["loads on"])
        self.drawn = v["controller"] * (before or armed) * (1.0 if certain else v["controller on"])
        self.before, self.armed = before, armed
        # loads cannot draw a battery's terminals below zero
        feed = sum(v[f"feed {i}"] for i in range(len(circuit.feed)))
        sag = resistance * (self.loads + self.drawn) + (0.0 if before else feed * self.drawn)
        possible = np.minimum(1.0, 0.95 * v["voltage"] / np.maximum(sag, 1e-300))
        self.loads, self.drawn, self.feed = self.loads * possible, self.drawn * possible, feed
        self.start: tuple[FloatArray, list[FloatArray]] | None = None
        self._source()
        self._lines(line, own)

    def _source(self) -> None:
        """Thevenin source of the bus: battery, bank and feed with the constant currents on them."""
        v = self.values
        constant = self.loads + (self.drawn if self.before else 0.0)
        self.terminal_open = v["voltage"] - self.battery * constant
        volts, ohms = self.terminal_open, self.battery
        self.bank = "bank" in v
        if self.bank:
            g_bank, g_charge = 1.0 / v["bank"], np.zeros_like(ohms)
            if "recharge" in v:
                g_charge = 1.0 / (self.battery + v["recharge"])
            volts = (v["voltage"] * g_bank + self.terminal_open * g_charge) / (g_bank + g_charge)
            ohms = 1.0 / (g_bank + g_charge)
        self.source = volts, ohms
        self.bus_open = volts - (0.0 if self.before else (ohms + self.feed) * self.drawn)
        self.bus_ohms = ohms + self.feed

    def _lines(self, line: str, own: str) -> None:
        """Conductance from bus to drain of each channel, and each igniter's share of the line's current."""
        v, samples = self.values, self.samples
        self.line, self.of_line, self.shares, self.shorted = [], [], [], []
        for channel in samples.circuit.channels:
            name = channel.name
            strings, shares = [], []
            for s, kinds in enumerate(channel.strings):
                ohms = np.zeros_like(self.temperature)
                if channel.branch is not None:
                    ohms = v[f"{name}.branch {s}"] + v[f"{name}.branch joints {s}"]
                for p in range(len(kinds)):
                    warm = self.temperature - v[f"{name}.reference {s}.{p}"]
                    ohms = ohms + v[f"{name}.bridge {s}.{p}"] * (1.0 + v[f"{name}.coefficient {s}.{p}"] * warm)
                connected = v[f"{name}.string {s}"] > 0.5
                if self.phase == "firing" or (name == own and line in ("intact", "mosfet shorted", "not armed")):
                    connected = np.ones_like(connected)
                if name == own and line == "open":
                    connected = np.zeros_like(connected)
                strings.append(np.where(connected, 1.0 / ohms, 0.0))
            cluster = sum(strings)
            some = np.where(cluster > 0.0, cluster, 1.0)
            lead = v[f"{name}.lead"] + v[f"{name}.joints"]
            shorted = name == own and line == "shorted"
            line_only = 1.0 / lead if shorted else np.where(cluster > 0.0, 1.0 / (lead + 1.0 / some), 0.0)
            through, of_line = self._contacts(name, line_only)
            self.line.append(through)
            self.of_line.append(of_line)
            shares = [np.zeros_like(some) if shorted else of_line * g / some for g in strings]
            self.shares.append(shares)
            self.shorted.append(name == own and line == "mosfet shorted")

    def _contacts(self, name: str, line: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Conductance from bus to drain with the contacts of a line, and the line's share of what flows through them."""
        v = self.values
        shunt = 1.0 / v[f"{name}.shunt"] if f"{name}.shunt" in v and not self.armed else 0.0
        both = line + shunt
        some = np.where(both > 0.0, both, 1.0)
        before = np.zeros_like(line)
        if f"{name}.high side" in v:
            closed = np.zeros(line.shape, dtype=bool)
            if self.phase == "firing" or (
                self.phase == "reset" and self.samples.circuit.controller.pin.reset_pull_up is not None
            ):
                closed = v[f"{name}.on"] > 0.5
            contact, around = v[f"{name}.high side"], v[f"{name}.around"]
            before = np.where(closed, contact * around / (contact + around), around)
        if f"{name}.return contact" in v:
            before = before + (v[f"{name}.return contact"] if self.armed else OPEN)
        return np.where(both > 0.0, 1.0 / (1.0 / some + before), 0.0), line / some

    def held_rail(self) -> FloatArray:
        """Rail that is just what the battery leaves above the dropout: false position, the end that stays halved."""

        def left(rail: FloatArray) -> FloatArray:
            return np.asarray(self.at(rail)["fed"] - self.values["dropout"] - rail)

        low, high = np.zeros(self.alive.shape), self.values["supply"].copy()
        above, below = left(low), left(high)
        stayed = np.zeros(self.alive.shape)
        for _ in range(STEPS):
            searched = (above > 0.0) & (high - low > 1e-11)
            if not searched.any():
                return low
            rail = np.where(searched, (low * below - high * above) / np.where(searched, below - above, -1.0), low)
            found = left(rail)
            up = found > 0.0
            below = np.where(up & (stayed > 0.0), 0.5 * below, below)
            above = np.where(~up & (stayed < 0.0), 0.5 * above, above)
            stayed = np.where(up, 1.0, -1.0)
            near = np.abs(found) < 1e-10
            for side, ends in ((searched & (up | near), (low, above)), (searched & (~up | near), (high, below))):
                ends[0][side], ends[1][side] = rail[side], found[side]
        raise AssertionError("no rail agrees with its battery")

    def at(self, rail: FloatArray) -> Values:
        """Newton's method on bus and drains, at a rail."""
        v, channels = self.values, self.samples.circuit.channels
        hung = [self._hung(k, rail) for k in range(len(channels))]
        found: Values = {}
        bus, drains = self.start or (np.zeros_like(rail), [np.zeros_like(rail) for _ in channels])
        source = (1.0 / self.bus_ohms if self.armed else 0.0) + 1e-15
        for _ in range(STEPS):
            conductance, current = source + 0.0 * bus, source * self.bus_open * self.armed
            terms = []
            for g, at, law in zip(self.line, drains, hung, strict=True):
                flow, slope = law(at)
                offset = flow - slope * at
                terms.append((offset, slope))
                conductance = conductance + g * slope / (g + slope)
                current = current - g * offset / (g + slope)
            fresh_bus = current / conductance
            fresh = [(g * fresh_bus - o) / (g + s) for g, (o, s) in zip(self.line, terms, strict=True)]
            moved = max(float(np.abs(a - b).max()) for a, b in zip([bus, *drains], [fresh_bus, *fresh], strict=True))
            bus, drains = fresh_bus, fresh
            if moved < 1e-12:
                break
        else:
            raise AssertionError(f"the nodal solution did not settle: {moved} V")
        self.start = bus, drains
        total = np.zeros_like(rail)
        lines = zip(channels, self.line, self.of_line, drains, self.shares, hung, strict=True)
        for channel, g, of_line, drain, shares, law in lines:
            name = channel.name
            flow = law(drain)[0] * (g > 0.0)
            total = total + flow
            found[f"{name} line"] = flow * of_line
            found |= {
                igniter: flow * share
                for names, share in zip(igniter_names(channel), shares, strict=True)
                for igniter in names
            }
            found[f"{name} clamp"], found[f"{name} pin"] = self._pin(name, drain, rail)
            found[f"{name} gate"] = self._gate(name, rail)
            found[f"{name} switch"] = drain / self._on(name)
            found[f"{name} row"] = self._on(name)
            found[f"{name} off"] = self._carried(name, found[f"{name} gate"], rail * 0.0 + 1e3)[0]
        through_feed = total + (0.0 if self.before else self.drawn)
        volts, ohms = self.source
        found["terminal"] = self.terminal_open - self.battery * through_feed
        if self.bank:
            at_bank = volts - ohms * through_feed
            charging = (self.terminal_open - at_bank) / (self.battery + v["recharge"]) if "recharge" in v else 0.0
            found["terminal"] = self.terminal_open - self.battery * charging
        if not self.armed:
            found["terminal"] = self.terminal_open
        found["battery current"] = (v["voltage"] - found["terminal"]) / self.battery
        found["fed"] = found["terminal"] if self.before else bus
        return found

    def _divider(self, name: str) -> tuple[FloatArray, FloatArray]:
        v, channel = self.values, next(c for c in self.samples.given.channel if c.name == name)
        warm = self.temperature - (20.0 if channel.sense.temperature_coefficient is None else 25.0)
        return (
            v[f"{name}.upper"] * (1.0 + v[f"{name}.upper drift"] * warm),
            v[f"{name}.lower"] * (1.0 + v[f"{name}.lower drift"] * warm),
        )

    def _clamped(self, name: str, drain: FloatArray, rail: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Clamp current, pin voltage, and the clamp's conductance as the drain sees it."""
        v = self.values
        upper, lower = self._divider(name)
        behind = upper * lower / (upper + lower)
        series = behind + v[f"{name}.pin resistor"]
        unclamped = drain * lower / (upper + lower) - v["adc leakage"] * series
        excess = unclamped - rail - v["clamp drop"]
        total = series + v["clamp resistance"]
        clamp = np.maximum(excess, 0.0) / total
        return clamp, unclamped - series * clamp, np.where(excess > 0.0, 1.0 / total, 0.0)

    def _pin(self, name: str, drain: FloatArray, rail: FloatArray) -> tuple[FloatArray, FloatArray]:
        return self._clamped(name, drain, rail)[:2]

    def _hung(self, k: int, rail: FloatArray) -> Callable[[FloatArray], tuple[FloatArray, FloatArray]]:
        """What hangs on a drain: its current and that current's slope, as a function of the drain's voltage."""
        name = self.samples.circuit.channels[k].name
        v = self.values
        upper, lower = self._divider(name)
        share = lower / (upper + lower)
        gate = self._gate(name, rail)
        driven = np.zeros(rail.shape, dtype=bool)
        if self.phase == "firing":
            driven = v[f"{name}.on"] > 0.5
        on = self._on(name)
        if self.shorted[k]:
            driven, on = np.ones_like(driven), np.full_like(on, 1e-12)

        def law(drain: FloatArray) -> tuple[FloatArray, FloatArray]:
            clamp, _, sees = self._clamped(name, drain, rail)
            flow = drain / (upper + lower) + share * (v["adc leakage"] + clamp)
            slope = 1.0 / (upper + lower) + share**2 * sees
            off, off_slope = self._carried(name, gate, drain)
            return flow + np.where(driven, drain / on, off), slope + np.where(driven, 1.0 / on, off_slope)

        return law

    def _gate(self, name: str, rail: FloatArray) -> FloatArray:
        """Gate voltage by superposition: pin driver, pull-up or nothing on one side, pull-down on the other."""
        v, phase = self.values, self.phase
        channel = self.samples.circuit.channel(name)
        down = v[f"{name}.pull down"] if channel.pull_down is not None else np.full_like(rail, np.inf)
        leak, own = v["pin leakage"], v[f"{name}.gate leakage"]

        def driven(volts: FloatArray, ohms: FloatArray) -> FloatArray:
            path = ohms + v[f"{name}.series"]
            return (volts + leak * ohms + own * path) / (1.0 + path / down)

        loose = v[f"{name}.held"] * v["supply"] if channel.pull_down is None else (leak + own) * down
        high = np.where(v[f"{name}.on"] > 0.5, rail, 0.0) if phase == "firing" else 0.0 * rail
        if phase != "reset":
            return np.where(self.alive, driven(high, v["output"]), loose)
        if "pull up" in v:
            pulled = driven(rail, v["pull up"])
            pulled = pulled if channel.pull_down is not None else np.clip(pulled, 0.0, rail)
        elif self.samples.circuit.controller.pin.reset_pull_up == "driven high":
            pulled = np.where(v["driven high"] > 0.5, driven(rail, v["output"]), loose)
        else:
            pulled = loose
        return np.where(self.alive, pulled, loose)

    def _on(self, name: str) -> FloatArray:
        """On-resistance of a cool switch, which rises with temperature least steeply in the cold."""
        sheet = self.samples.circuit.mosfets[self.samples.circuit.channel(name).mosfet]
        hotter = (self.temperature - 25.0) / (sheet.max_junction - 25.0)
        return np.asarray(self.values[f"{name}.row"] * sheet.hot_factor**hotter)

    def _carried(self, name: str, gate: FloatArray, drain: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What an uncommanded MOSFET carries, and its slope: leakage, sub-threshold, square law; linear below 0 V."""
        v, warm = self.values, self.temperature - 25.0
        channel = self.samples.circuit.channel(name)
        sheet = self.samples.circuit.mosfets[channel.mosfet]
        cool, span = v[f"{name}.cool"], sheet.max_junction - 25.0
        hot = np.maximum(v[f"{name}.hot"], cool) if f"{name}.hot" in v else cool * 2.0 ** (span / 10.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            grown = np.where(
                cool > 0.0, cool * (hot / cool) ** (np.maximum(warm, 0.0) / span), hot * np.maximum(warm, 0.0) / span
            )
        thermal = 8.617333e-5 * (self.temperature + KELVIN)
        threshold = v[f"{name}.threshold"] + v[f"{name}.drift"] * warm
        decade = v[f"{name}.slope"] * (self.temperature + KELVIN) / (25.0 + KELVIN)
        below = v[f"{name}.at threshold"] * 10.0 ** (np.minimum(gate - threshold, 0.0) / decade)
        flat = grown * v[f"{name}.leaking"] + below
        rising = np.exp(-np.maximum(drain, 0.0) / thermal)
        shape = np.where(drain > 0.0, 1.0 - rising, drain / thermal)
        strength = 1.0 / (v[f"{name}.row"] * (sheet.rows[0].gate - v[f"{name}.threshold"]))
        over = np.maximum(gate - threshold, 0.0)
        across = np.clip(drain, 0.0, over)
        square = strength * ((over - 0.5 * across) * across + over * np.minimum(drain, 0.0))
        square_slope = strength * (over - across)
        # at the gate voltage of a row it is the row's resistance, and above it no less than by the same law; a gate that
        # a rail would drive so far counts as driven though that rail sags, so that no current turns its own switch off
        stands = sheet.rows[0].gate
        falls = (stands - v[f"{name}.threshold"]) / (np.maximum(gate, stands) - v[f"{name}.threshold"])
        on = self._on(name) * (1.0 - v[f"{name}.weak"] * (1.0 - falls))
        driven = self._gate(name, v["supply"]) >= stands
        carried = np.where(driven, drain / on, flat * shape + square)
        return carried, np.where(driven, 1.0 / on, flat * rising / thermal + square_slope)
