"""Random pads of one or two lines with contacts, and one unit of such a pad with a fault, solved by nodes.

A unit is drawn anywhere in the tolerances; its MOSFETs follow the square law up to the gate voltage of their row and are
its resistance from there. The arithmetic shares nothing with the package: conductances into a matrix, and Newton's
method on the currents of MOSFETs and clamps.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

__all__ = ["FAULTS", "Pad", "unit"]

Ends = tuple[float, float]

START, END = SOUND.index("[[channel]]"), SOUND.index("[checklist]")
WIRE = (0.1671005273175043, 0.25391128907025656)
"""Round trip of 3 m of AWG 20 of any make-up at 25 degC [ohm]."""

RAIL, STANDS, CLAMP = 3.3, 2.5, 20.0
"""Supply and gate voltage of the row [V], resistance of a clamp [ohm]."""
OPEN, LEAK = 1e9, 1e-9
"""Resistance of a part that is open [ohm], and conductance from each node to ground [S]."""

FAULTS = frozenset({
    "gate pin stuck-high", "pull-down open", "pull-down 1 open", "mosfet drain-source-short", "high side stuck-closed",
    "high side stuck-open", "around open", "around short", "return contact stuck-closed", "return contact stuck-open",
    "shunt stuck-closed", "shunt stuck-open", "lead out open", "lead back open", "igniter 1.1 open", "line short",
    "lead out to-ground", "lead back to-ground", "lead out to-battery", "lead back to-battery", "upper 1 short",
    "upper 1 open", "lower open", "lower short",
})  # fmt: skip
"""Faults of a line that a unit can have; and every pin high, and a stuck arm switch."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line: ends of each resistance [ohm], of the lead's wire its joints; None where a part is not there."""

    name: str
    joints: Ends
    pull_downs: tuple[Ends, ...]
    upper: Ends
    lower: Ends
    high_side: Ends | None
    around: Ends | None
    back: Ends | None
    shunt: Ends | None


@dataclass(kw_only=True)
class Pad:
    """A pad: ends of each value [SI], and what its file says of pins in reset and of spent bridges."""

    rng: np.random.Generator
    battery: Ends = field(init=False)
    lines: list[Line] = field(init=False)

    def __post_init__(self) -> None:
        rng = self.rng
        self.battery = (7.5, 8.4) if rng.random() < 0.5 else (11.0, 12.6)
        self.inside, self.key, self.arm = self._about(0.03, 0.3), self._about(0.005, 0.05), self._about(0.01, 0.3)
        self.output, self.pull_up, self.bridge = self._about(10, 80), self._about(5e3, 60e3), self._about(0.8, 2.5)
        self.reset = str(rng.choice(["none", "unknown", "up"]))
        self.shorts = bool(rng.random() < 0.5)
        self.row = self._about(0.01, 0.02) if rng.random() < 0.5 else self._about(0.3, 3.0)
        self.no_fire = float(rng.choice([0.2, 0.5, 1.0]))
        self.all_fire = self.no_fire * float(rng.choice([1.5, 2.0, 3.0]))
        self.lines = [self._line(name) for name in ("a", "b")[: int(rng.integers(1, 3))]]

    def _about(self, low: float, high: float, spread: float = 0.2) -> Ends:
        middle = float(np.exp(self.rng.uniform(math.log(low), math.log(high))))
        below, above = spread * self.rng.random(2)
        return float(f"{middle * (1 - below):.5g}"), float(f"{middle * (1 + above):.5g}")

    def _line(self, name: str) -> Line:
        def maybe(low: float, high: float) -> Ends | None:
            return self._about(low, high) if self.rng.random() < 0.5 else None

        high_side = maybe(0.01, 2.0)
        down = self._about(5e3, 100e3)
        lower = self._about(8e3, 16e3, 0.01) if self.battery[1] > 9.0 else self._about(15e3, 30e3, 0.01)
        return Line(
            name=name,
            joints=self._about(0.05, 1.0),
            pull_downs=(down,) * int(self.rng.integers(1, 3)),
            upper=self._about(30e3, 80e3, 0.01),
            lower=lower,
            high_side=high_side,
            around=None if high_side is None else maybe(1e3, 200e3),
            back=maybe(0.01, 1.0),
            shunt=maybe(0.01, 1.0),
        )

    @property
    def text(self) -> str:
        """Its circuit file."""
        pull_up = {"none": 'reset_pull_up = "none"', "unknown": "", "up": f"reset_pull_up = {ohms(self.pull_up)}"}
        low, high = self.battery
        head = edited(
            SOUND[:START],
            ('"8.0 V .. 8.2 V .. 8.4 V"', f'"{low} V .. {0.5 * (low + high)} V .. {high} V"'),
            ('"40 mohm .. 60 mohm .. 100 mohm"', ohms(self.inside)),
            ('"10 mohm"', ohms(self.key)),
            ('"10 mohm .. 20 mohm .. 50 mohm"', ohms(self.arm)),
            ('"30 ohm"', ohms(self.output)),
            ('reset_pull_up = "none"', pull_up[self.reset]),
            ('"1.0 ohm .. 1.2 ohm .. 1.5 ohm"', ohms(self.bridge)),
            ('spent = "open"', f'spent = "{"0 ohm .. 0.1 ohm" if self.shorts else "open"}"'),
            ('"10 mohm .. 14 mohm .. 20 mohm"', ohms(self.row)),
            ("hot_factor = 1.6", "hot_factor = 1.0"),
            ('no_fire = { current = "0.2 A"', f'no_fire = {{ current = "{self.no_fire} A"'),
            ('all_fire = { current = "0.8 A"', f'all_fire = {{ current = "{self.all_fire} A"'),
            ('threshold_drift = "-4 mV/K"', 'threshold_drift = "0 mV/K"'),
            ('temperature = "20 degC"', 'temperature = "25 degC"'),
        )
        return head + "".join(channel(line) for line in self.lines) + SOUND[END:]


def ohms(ends: Ends) -> str:
    """A range as a file has it."""
    low, high = ends
    return f'"{low:.6g} ohm .. {0.5 * (low + high):.8g} ohm .. {high:.6g} ohm"'


def channel(line: Line) -> str:
    """A line as a file has it."""
    around = '"none"' if line.around is None else ohms(line.around)
    downs, upper = ", ".join(ohms(down) for down in line.pull_downs), ohms(line.upper)
    downs = f"[{downs}]" if len(line.pull_downs) > 1 else downs
    sense = (
        f'upper = [{upper}, {upper}], lower = {ohms(line.lower)}, filter = "100 nF", temperature_coefficient = "0 / K"'
    )
    parts = [
        f'[[channel]]\nname = "{line.name}"\nigniters = [["match"]]\nmosfet = "low_side"\npulse = "500 ms"',
        f'lead = {{ wire = "AWG 20", distance = "3 m", joints = {ohms(line.joints)} }}',
        "" if line.high_side is None else f"high_side = {{ resistance = {ohms(line.high_side)}, around = {around} }}",
        "" if line.back is None else f"return_contact = {ohms(line.back)}",
        "" if line.shunt is None else f"shunt = {ohms(line.shunt)}",
        f'gate = {{ series = "100 ohm", pull_down = {downs}, capacitor = "10 nF" }}',
        f"sense = {{ {sense} }}\n",
    ]
    return "\n".join(part for part in parts if part) + "\n"


def unit(pad: Pad, phase: str, fault: str, fired: str, rng: np.random.Generator) -> dict[str, float]:
    """Current of each line's igniter in one unit of a pad [A].

    `fault` is a name of the fault report, `fired` the line that is commanded.
    """
    return _Unit(pad, phase, fault, fired, rng).solved()


class _Unit:
    """One unit: conductances between nodes, MOSFETs and clamps."""

    def __init__(self, pad: Pad, phase: str, fault: str, fired: str, rng: np.random.Generator) -> None:
        self.pad, self.phase, self.fault, self.fired, self.rng = pad, phase, fault, fired, rng
        self.alive = phase == "firing" or rng.random() < 0.7
        self.parts: list[tuple[str, str, float]] = []
        self.same: dict[str, str] = {}
        self.mosfets: list[tuple[str, float, float, float]] = []
        self.clamps: list[tuple[str, float]] = []
        self.igniters: dict[str, tuple[str, str, float]] = {}
        self.source = self.some(pad.battery)
        self.join("source", "battery", self.some(pad.inside))
        self.join("battery", "key", self.some(pad.key))
        if phase != "disarmed" or fault == "arm switch stuck-closed":
            self.join("key", "bus", self.some(pad.arm))
        for line in pad.lines:
            self._line(line)

    def some(self, ends: Ends) -> float:
        """A value at either end or between."""
        draw = self.rng.random()
        return ends[0] if draw < 0.35 else ends[1] if draw < 0.7 else float(self.rng.uniform(*ends))

    def join(self, one: str, other: str, resistance: float) -> None:
        """A resistance between two nodes."""
        self.parts.append((one, other, resistance))

    def short(self, one: str, other: str) -> None:
        """Make two nodes one: the one that is known, or the first, stands for both."""
        first, second = self.stands_for(one), self.stands_for(other)
        if second in ("0", "source"):
            first, second = second, first
        if first != second:
            self.same[second] = first

    def stands_for(self, node: str) -> str:
        """Node that one is short to."""
        while node in self.same:
            node = self.same[node]
        return node

    def _line(self, line: Line) -> None:
        broken = self.fault.removeprefix(f"{line.name}.") if self.fault.startswith(f"{line.name}.") else ""
        fired = self.phase == "firing" and line.name == self.fired
        drain, top, bottom, tap = (f"{line.name}.{place}" for place in ("drain", "top", "bottom", "tap"))
        self._gate(line, broken, fired, drain)
        if broken == "mosfet drain-source-short":
            self.short("0", drain)
        out, back = self._contacts(line, broken, fired, drain)
        half = 0.5 * (self.some(line.joints) + self.some(WIRE))
        if broken != "lead out open":
            self.join(out, top, half)
        if broken != "lead back open":
            self.join(bottom, back, half)
        bridge = self.some(self.pad.bridge)
        if fired and self.pad.shorts and self.rng.random() < 0.6:
            bridge = float(self.rng.uniform(1e-3, 0.1))
        self.igniters[line.name] = (top, bottom, math.inf if broken == "igniter 1.1 open" else bridge)
        self.join(top, bottom, OPEN if broken == "igniter 1.1 open" else bridge)
        if broken == "line short":
            self.short(top, bottom)
        for end, node in (("out", top), ("back", bottom)):
            for where, to in (("ground", "0"), ("battery", "battery")):
                if broken == f"lead {end} to-{where}":
                    self.short(to, node)
        uppers = [0.0 if broken == "upper 1 short" else self.some(line.upper), self.some(line.upper)]
        if broken != "upper 1 open":
            self.join(drain, tap, sum(uppers))
        if broken == "lower short":
            self.short("0", tap)
        elif broken != "lower open":
            self.join(tap, "0", self.some(line.lower))
        self.clamps.append((tap, (RAIL if self.alive else 0.0) + float(self.rng.uniform(0.3, 0.7))))

    def _gate(self, line: Line, broken: str, fired: bool, drain: str) -> None:
        """Gate voltage, and the MOSFET with it: threshold, gain, on-resistance."""
        down = [1.0 / self.some(ends) for ends in line.pull_downs]
        conductance = sum(down) - (down[0] if broken.startswith("pull-down") else 0.0)
        leak = float(self.rng.uniform(-1.1e-6, 1.1e-6))
        high = self.fault == "controller all-pins-high" or broken == "gate pin stuck-high" or fired
        driver: tuple[float, float] | None = (0.0, self.some(self.pad.output))
        if high or (self.phase == "reset" and self.pad.reset == "unknown" and self.rng.random() < 0.8):
            driver = (RAIL, self.some(self.pad.output))
        elif self.phase == "reset":
            driver = (RAIL, self.some(self.pad.pull_up)) if self.pad.reset == "up" else None
        if driver is None or not self.alive:
            gate = leak / conductance if conductance > 0.0 else RAIL
        else:
            path = 1.0 / (driver[1] + 100.0)
            gate = (driver[0] * path + leak) / (path + conductance)
        threshold, row = self.some((1.0, 2.0)), self.some(self.pad.row)
        if gate > threshold:
            self.mosfets.append(
                (drain, gate - threshold, 1.0 / (row * (STANDS - threshold)), row if gate >= STANDS else 0.0)
            )

    def _contacts(self, line: Line, broken: str, fired: bool, drain: str) -> tuple[str, str]:
        """Nodes at which the lead begins and ends."""
        out, back = "bus", drain
        switched = self.phase != "disarmed"  # whatever the arm switch itself does
        if line.high_side is not None:
            out = f"{line.name}.out"
            pulled = self.phase == "reset" and (
                self.pad.reset == "up" or (self.pad.reset == "unknown" and self.rng.random() < 0.8)
            )
            closed = fired or (self.alive and (pulled or self.fault == "controller all-pins-high"))
            if (closed and broken != "high side stuck-open") or broken == "high side stuck-closed":
                self.join("bus", out, self.some(line.high_side))
            if line.around is not None and broken != "around open":
                self.join("bus", out, self.some(line.around))
            if broken == "around short":
                self.short("bus", out)
        if line.back is not None:
            back = f"{line.name}.back"
            if (switched and broken != "return contact stuck-open") or broken == "return contact stuck-closed":
                self.join(back, drain, self.some(line.back))
        if line.shunt is not None and (
            (not switched and broken != "shunt stuck-open") or broken == "shunt stuck-closed"
        ):
            self.join(out, back, self.some(line.shunt))
        return out, back

    def solved(self) -> dict[str, float]:
        """Newton's method on the node voltages."""
        known = {"source": self.source, "0": 0.0}
        parts = [(self.stands_for(one), self.stands_for(other), resistance) for one, other, resistance in self.parts]
        parts = [(one, other, resistance) for one, other, resistance in parts if one != other]
        names = sorted({node for one, other, _ in parts for node in (one, other)} - set(known))
        place = {name: k for k, name in enumerate(names)}
        matrix, right = LEAK * np.eye(len(names)), np.zeros(len(names))
        for one, other, resistance in parts:
            for here, there in ((one, other), (other, one)):
                if here in place:
                    matrix[place[here], place[here]] += 1.0 / resistance
                    if there in place:
                        matrix[place[here], place[there]] -= 1.0 / resistance
                    else:
                        right[place[here]] += known[there] / resistance
        volts = np.linalg.solve(matrix, right)
        for attempt in range(400):
            current, slope = matrix @ volts - right, matrix.copy()
            for k, i, di in self._curved(place, volts):
                current[k] += i
                slope[k, k] += di
            step = np.linalg.solve(slope, -current)
            volts = volts + step * (1.0 if attempt < 40 else 0.3)
            if np.abs(step).max() < 1e-9:
                break
        else:
            raise AssertionError("the unit did not settle")
        at = known | dict(zip(names, volts.tolist(), strict=True))
        return {
            name: (at.get(self.stands_for(top), 0.0) - at.get(self.stands_for(bottom), 0.0)) / bridge
            for name, (top, bottom, bridge) in self.igniters.items()
        }

    def _curved(self, place: dict[str, int], volts: np.ndarray) -> list[tuple[int, float, float]]:
        """Node, current and slope of each MOSFET that conducts and each clamp."""
        found = []
        for tap, held in self.clamps:
            node = self.stands_for(tap)
            if node in place and volts[place[node]] > held:
                found.append((place[node], (volts[place[node]] - held) / CLAMP, 1.0 / CLAMP))
        for drain, over, strength, row in self.mosfets:
            node = self.stands_for(drain)
            if node not in place:
                continue
            across = float(volts[place[node]])
            if row:
                found.append((place[node], across / row, 1.0 / row))
            elif across < 0.0:
                found.append((place[node], strength * over * across, strength * over))
            else:
                used = min(across, over)
                found.append((place[node], strength * (over - 0.5 * used) * used, strength * (over - used)))
        return found
