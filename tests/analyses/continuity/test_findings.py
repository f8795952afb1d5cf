"""Findings on the reading and on described tests: which side of its limit each takes, and what leaves it in doubt."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest

from ignition.analyses.continuity.bands import AdcBand, LineReading, line_reading
from ignition.analyses.continuity.findings import reading_findings
from ignition.analyses.continuity.second_currents import DrivenCurrents
from ignition.analyses.continuity.second_measurement import second_measurements
from ignition.analyses.continuity.second_parts import BUS_VOLTAGE, SecondMeasurement, SecondReading
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.findings.finding import Finding, Question, Reason
from ignition.toleranced import Spread
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

SETTLED = ('acquisition_time = "20 us"', 'acquisition_time = "1 s"')
"""Long enough that nothing of the sample capacitor's step is missing."""
TESTS = (
    "sense = {",
    'second = { drain_pull_up = "47 kohm", test_pulse = "2 us .. 3 us", '
    'bus_divider = { upper = "100 kohm", lower = "47 kohm" } }\nsense = {',
)
TOP = 3.0 * (4095.0 - 4.0 - 0.5) / 4096.0
"""Voltage that reads full scale: 4 LSB of total error, half an LSB of quantisation, of 12 bits at 3.0 V [V]."""


@dataclass(frozen=True)
class Read:
    """Everything that one channel's findings are made from."""

    circuit: Circuit
    intact: LineReading
    opened: LineReading
    tests: tuple[SecondMeasurement, ...]


@functools.cache
def analysed(*swaps: tuple[str, str]) -> Read:
    """The sound circuit with a settled converter, tests and edits, read."""
    circuit = parse_circuit(edited(SOUND, SETTLED, TESTS, *swaps))
    (channel,), box = circuit.channels, phase_box(circuit, "armed")
    intact, opened = (line_reading(circuit, channel, line, box) for line in ("intact", "open"))
    return Read(circuit, intact, opened, second_measurements(circuit, channel))


Change = Callable[[Read], Read]


def unchanged(read: Read) -> Read:
    """Leave it."""
    return read


def judged(change: Change, rule: str, *swaps: tuple[str, str], phase: str = "armed") -> Finding:
    """The finding of a rule in one phase, of readings that are changed."""
    read = change(analysed(*swaps))
    findings = reading_findings(read.circuit, read.circuit.channels[0], read.intact, read.opened, read.tests)
    (found,) = [f for f in findings if f.rule == rule and f.phase == phase]
    assert found.channel == "line"
    return found


def with_band(
    reading: LineReading, voltage: float | None = None, code: tuple[float, float] | None = None
) -> LineReading:
    """A reading with another highest voltage, or other codes."""
    band = reading.band
    if voltage is not None:
        band = replace(band, voltage=Spread(low=0.0, nominal=None, high=voltage, unit="V"))
    if code is not None:
        band = AdcBand(code=Spread(low=code[0], nominal=None, high=code[1], unit="1"), voltage=band.voltage, terms=())
    return replace(reading, band=band)


def driven(name: str, **fields: object) -> Change:
    """Change one test: what it drives, or its pulse."""

    def change(read: Read) -> Read:
        tests = tuple(replace(t, **fields) if t.name == name else t for t in read.tests)
        return replace(read, tests=tests)

    return change


def currents(igniter: float, line: float = 0.0, into_short: float = 0.0) -> DrivenCurrents:
    """What a test drives [A]."""
    return DrivenCurrents(igniters={"line.igniter 1.1": igniter}, line=line, into_short=into_short)


def at_bus(voltage: float) -> Change:
    """Highest of two voltages at the bus divider's pin."""
    code = Spread(low=0.0, nominal=None, high=1.0, unit="1")
    volts = [Spread(low=0.0, nominal=None, high=v, unit="V") for v in (voltage, 0.1)]
    return driven(BUS_VOLTAGE, readings=tuple(SecondReading(state="x", value=code, voltage=v) for v in volts))


PULL_UP, PULSE = "drain with weak pull-up", "drain in a test pulse"
SIDES = [
    # rule, phase, what is set, limit of what is set, limit in the finding, equality passes
    ("converter-range", "armed", lambda x: lambda r: replace(r, intact=with_band(r.intact, voltage=x)), TOP, 4095.0, True),
    ("bus-converter-range", "armed", at_bus, TOP, 4095.0, True),
    ("open-line-seen", "armed", lambda x: lambda r: replace(r, opened=with_band(r.opened, code=(0.0, x)), intact=with_band(r.intact, code=(700.0, 800.0))), 700.0, 700.0, False),
    ("test-below-no-fire", PULL_UP, lambda x: driven(PULL_UP, driven=currents(x)), 0.2, 0.2, False),
    ("monitor-current-tenth", PULL_UP, lambda x: driven(PULL_UP, driven=currents(0.0, line=x)), 0.02, 0.02, True),
    ("test-current-energy-tenth", PULL_UP, lambda x: driven(PULL_UP, driven=currents(0.0, line=x)), 0.05, 0.05, True),
    ("current-into-short", PULL_UP, lambda x: driven(PULL_UP, driven=currents(0.0, into_short=x)), 0.04, 0.04, True),
    ("monitor-current-tenth", PULSE, lambda x: driven(PULSE, driven=currents(0.0, line=x)), 0.02, 0.02, True),
    ("current-into-short", PULSE, lambda x: driven(PULSE, driven=currents(0.0, into_short=x)), 0.04, 0.04, True),
]  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "phase", "set_to", "at", "limit", "equal_passes"), SIDES, ids=[f"{s[0]} {s[1]}" for s in SIDES]
)
def test_sides(
    rule: str, phase: str, set_to: Callable[[float], Change], at: float, limit: float, equal_passes: bool
) -> None:
    """Inside passes, outside fails, and what reaches its limit does as the question says."""
    for factor, passes in ((1.0 - 1e-9, True), (1.0, equal_passes), (1.0 + 1e-9, False)):
        found = judged(set_to(at * factor), rule, phase=phase)
        assert found.limit == pytest.approx(limit, rel=1e-12) and found.value == pytest.approx(limit * factor, rel=2e-9)
        assert found.verdict == ("PASS" if passes else "FAIL"), factor
        assert found.reason is (Reason.WITHIN if passes else Reason.EXCEEDED)
        assert found.question is (Question.TEST if phase != "armed" else Question.CONVERTER)
        assert found.line_state == ("intact" if rule == "converter-range" else None)
        assert found.unit == ("A" if phase != "armed" else "1")


@pytest.mark.parametrize(("away", "verdict"), [(1.0 - 1e-6, "PASS"), (1.0 + 1e-6, "FAIL")])
def test_a_test_pulse_heats_to_a_share(away: float, verdict: str) -> None:
    """x = (I / 0.2 A)^2 (1 - exp(-t / 10 ms)) is one at 10.7 A, with t the longest pulse of 3 us and the turn-off.

    1.1 uA leaks into the gate behind 130 ohm || 10 kohm: 11 nF fall through 130 ohm from 3.26 V to the threshold of
    1.02 V in 1.66 us, and 3 nC leave at 1.02 V through 130 ohm in 382 ns.
    """
    held, high = (1.1e-6 + volts / 130.0 for volts in (0.0, 3.3))
    held, high = held / (1 / 130.0 + 1 / 10e3), high / (1 / 130.0 + 1 / 10e3)
    turn_off = 130.0 * 11e-9 * math.log((high - held) / (1.02 - held)) + 130.0 * 3e-9 / (1.02 - held)
    assert turn_off == pytest.approx(2.04e-6, rel=1e-2)
    limit = 0.2 / math.sqrt(-math.expm1(-(3e-6 + turn_off) / 10e-3))
    found = judged(driven(PULSE, driven=currents(limit * away)), "test-below-no-fire", phase=PULSE)
    assert found.value == pytest.approx(away**2, rel=1e-9) and (found.limit, found.unit) == (1.0, "1")
    assert found.verdict == verdict and found.igniter == "line.igniter 1.1" and "longest pulse" in found.says


def test_a_hot_day_that_functions_the_igniter_by_itself() -> None:
    """At 125 degC an igniter that may function at 120 degC, nothing else being given, bears no pulse and no current."""
    swaps = (
        ('function_temperature = "320 degC"\n', ""),
        ('temperature = "20 degC"', 'temperature = "20 degC .. 125 degC"'),
        ('resistance_temperature = "20 degC"', 'resistance_temperature = "ambient"'),
    )
    for phase in (PULL_UP, PULSE):
        found = judged(unchanged, "test-below-no-fire", *swaps, phase=phase)
        assert (found.verdict, found.margin) == ("FAIL", 0.0)


@pytest.mark.parametrize("key", ["sample_capacitance", "acquisition_time"])
@pytest.mark.parametrize("rule", ["converter-range", "bus-converter-range", "open-line-seen"])
def test_a_converter_that_may_not_settle(rule: str, key: str) -> None:
    """UNKNOWN, and the key is named."""
    line = SETTLED[1] if key == "acquisition_time" else 'sample_capacitance = "8 pF"'
    found = judged(unchanged, rule, (f"{line}\n", ""))
    assert (found.verdict, found.reason, found.keys) == ("UNKNOWN", Reason.MISSING_KEY, (f"controller.adc.{key}",))


def test_an_open_line_with_an_unknown_draw() -> None:
    """What the controller takes from the battery lowers the reading of the intact line."""
    found = judged(unchanged, "open-line-seen", ('current = "20 mA"\n', ""))
    assert (found.verdict, found.reason, found.keys) == ("UNKNOWN", Reason.MISSING_KEY, ("controller.current",))


@pytest.mark.parametrize("voltage", ["0.2 V", "0.2 V .. 5 V"])
def test_a_reference_that_the_battery_cannot_hold(voltage: str) -> None:
    """0.2 V of battery less 0.3 V of dropout leaves a ratiometric converter nothing, 5 V at the best day or not."""
    swaps = (
        ('open_circuit_voltage = "8.0 V .. 8.2 V .. 8.4 V"', f'open_circuit_voltage = "{voltage}"'),
        ('reference = "3.0 V"', "ratiometric = true"),
    )
    for rule in ("converter-range", "open-line-seen", "bus-converter-range"):
        found = judged(unchanged, rule, *swaps)
        assert (found.verdict, found.reason, found.value) == ("UNKNOWN", Reason.NOT_SOLVED, None), rule
        assert "above zero" in found.says


def test_a_test_that_cannot_be_made() -> None:
    """One finding, UNKNOWN, with the reason; no rule says anything of it."""
    read = driven(PULSE, driven=None, reason="the switch is not on")(analysed())
    channel = read.circuit.channels[0]
    found = [
        f for f in reading_findings(read.circuit, channel, read.intact, read.opened, read.tests) if f.phase == PULSE
    ]
    assert [(f.rule, f.verdict, f.reason) for f in found] == [("test-below-no-fire", "UNKNOWN", Reason.NOT_SOLVED)]
    assert found[0].says.endswith("drain in a test pulse cannot be made: the switch is not on")


@pytest.mark.parametrize("phase", [PULL_UP, PULSE, BUS_VOLTAGE])
def test_a_test_without_a_no_fire_current(phase: str) -> None:
    """What rests on it is UNKNOWN and names the key."""
    line = next(f"{x}\n" for x in SOUND.splitlines() if x.startswith("no_fire ="))
    rules = ("test-below-no-fire", "monitor-current-tenth", "current-into-short", "test-current-energy-tenth")
    for rule in rules:
        found = judged(driven(phase, driven=currents(1e-6, 1e-6, 1e-6)), rule, (line, ""), phase=phase)
        assert (found.verdict, found.keys) == ("UNKNOWN", ("igniter.match.no_fire",)), rule


def test_each_igniter_type_is_held_to_the_test_s_current() -> None:
    """The first igniter of each type stands for it in a rule on the line; every igniter has its own current."""
    other = SOUND[SOUND.index("[igniter.match]") : SOUND.index("[mosfet.low_side]")].replace("match", "other")
    other = other.replace('current = "0.2 A"', 'current = "0.1 A"')
    swaps = (('[["match"]]', '[["other", "match"], ["match", "other"]]'), ("[mosfet", f"{other}[mosfet"))
    read = analysed(*swaps)
    findings = reading_findings(read.circuit, read.circuit.channels[0], read.intact, read.opened, read.tests)
    found = [f for f in findings if f.phase == PULL_UP]
    limits = {f.igniter: f.limit for f in found if f.rule == "monitor-current-tenth"}
    assert limits == {"line.igniter 1.1": pytest.approx(0.01), "line.igniter 1.2": pytest.approx(0.02)}
    own = {f.igniter: f.limit for f in found if f.rule == "test-below-no-fire"}
    assert own == {f"line.igniter {s}.{p}": pytest.approx(0.1 if s == p else 0.2) for s in (1, 2) for p in (1, 2)} | {
        "line.igniter 1.1": pytest.approx(0.1), "line.igniter 1.2": pytest.approx(0.2),
        "line.igniter 2.1": pytest.approx(0.2), "line.igniter 2.2": pytest.approx(0.1),
    }  # fmt: skip
