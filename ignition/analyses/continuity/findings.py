"""Findings on the continuity reading and on every test that the circuit file describes."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ignition.analyses.continuity.bands import (
    NO_REFERENCE,
    LineReading,
    highest_code,
    line_reading,
    reference_voltage,
    remaining_charge,
)
from ignition.analyses.continuity.second_measurement import second_measurements
from ignition.analyses.continuity.second_parts import BUS_VOLTAGE, SecondMeasurement, missing_charge
from ignition.analyses.no_fire.gate import phase_box
from ignition.analyses.no_fire.heating import highest_fraction
from ignition.circuit.model import ChannelModel, Circuit, IgniterModel
from ignition.findings.compare import Doubt, Statement, compare, undecided
from ignition.findings.finding import Finding, Question, Reason
from ignition.findings.igniter import no_fire_doubt, no_fire_statement
from ignition.findings.presets import rule_limit, rules_in_use
from ignition.findings.values import data_sheet, left_out, resting
from ignition.network.template import igniter_kinds

__all__ = ["continuity_findings", "reading_findings"]


def continuity_findings(circuit: Circuit) -> Iterator[Finding]:
    """Judge what the armed line reads and every described test, of every channel."""
    box = phase_box(circuit, "armed")
    for channel in circuit.channels:
        intact, opened = (line_reading(circuit, channel, line, box) for line in ("intact", "open"))
        yield from reading_findings(circuit, channel, intact, opened, second_measurements(circuit, channel))


def reading_findings(
    circuit: Circuit,
    channel: ChannelModel,
    intact: LineReading,
    opened: LineReading,
    tests: tuple[SecondMeasurement, ...],
) -> Iterator[Finding]:
    """Judge one channel's readings: the converter's range, open told from intact, and the described tests."""
    left = remaining_charge(circuit, channel, "intact", phase_box(circuit, "armed"))
    yield _range(circuit, channel, "converter-range", intact.band.voltage.high, left, line_state="intact")
    if channel.second is not None and channel.bus_divider is not None:
        left = missing_charge(circuit, *channel.bus_divider, channel.second.bus_filter)
        yield _range(circuit, channel, "bus-converter-range", _highest_bus(tests), left)
    yield _open_seen(circuit, channel, intact, opened)
    for test in tests:
        yield from _test(circuit, channel, test)


def _unsettled(circuit: Circuit) -> Doubt | None:
    """A converter of which nothing is known may not settle."""
    missing = left_out("controller.adc", circuit.controller.adc, "sample_capacitance", "acquisition_time")
    says = "whether the converter settles is not known"
    return Doubt(reason=Reason.MISSING_KEY, says=says, keys=missing) if missing else None


def _highest_bus(tests: tuple[SecondMeasurement, ...]) -> float | None:
    """Highest voltage at the pin of the bus divider over all states of the line [V]."""
    readings = next(test.readings for test in tests if test.name == BUS_VOLTAGE)
    return max((r.voltage.high for r in readings if r.voltage and r.voltage.high is not None), default=None)


def _range(
    circuit: Circuit,
    channel: ChannelModel,
    rule: str,
    voltage: float | None,
    left: float,
    line_state: str | None = None,
) -> Finding:
    """A reading at full scale hides what lies above."""
    known = reference_voltage(circuit).low > 0.0
    nothing = Doubt(reason=Reason.NOT_SOLVED, says=NO_REFERENCE)
    return compare(
        Question.CONVERTER,
        rule,
        highest_code(circuit, voltage, left) if known and voltage is not None else None,
        "at most",
        2.0**circuit.controller.adc.bits - 1.0,
        "1",
        says=f"highest reading of the {'bus' if line_state is None else f'{line_state} line'} against full scale",
        statement=data_sheet("controller"),
        doubt=_unsettled(circuit) if known else nothing,
        channel=channel.name,
        phase="armed",
        line_state=line_state,
        rests_on=resting(circuit, "safe"),
    )


def _open_seen(circuit: Circuit, channel: ChannelModel, intact: LineReading, opened: LineReading) -> Finding:
    """A continuity test that cannot tell an open line from an intact one tests nothing."""
    missing = left_out("controller", circuit.given.controller, "current")
    says = "what the controller draws from the battery is not given"
    drawn = Doubt(reason=Reason.MISSING_KEY, says=says, keys=missing) if missing else None
    return compare(
        Question.CONVERTER,
        "open-line-seen",
        opened.band.code.high,
        "below",
        intact.band.code.low,
        "1",
        says="highest reading of the open line against the lowest of the intact one",
        statement=data_sheet("controller"),
        doubt=(_unsettled(circuit) or drawn)
        if intact.band.code.low is not None
        else Doubt(reason=Reason.NOT_SOLVED, says=str(intact.band.code.reason)),
        channel=channel.name,
        phase="armed",
        rests_on=resting(circuit, "safe"),
    )


def _fraction(model: IgniterModel, current: float, pulse: float | None) -> float | None:
    """Thermal fraction of a pulse [1]; without bound where the hottest ambient alone functions the igniter."""
    return math.inf if model.threshold_low == 0.0 else highest_fraction(model, current, pulse)


def _test(circuit: Circuit, channel: ChannelModel, test: SecondMeasurement) -> Iterator[Finding]:
    """What a test does to every igniter, and what the rules say of its currents."""
    if test.driven is None:
        doubt = Doubt(reason=Reason.NOT_SOLVED, says=f"{test.name} cannot be made: {test.reason}")
        statement = Statement(source="the circuit file's description of the test", date="undated")
        yield undecided(
            Question.TEST, "test-below-no-fire", doubt, statement=statement, channel=channel.name, phase=test.name
        )
        return
    kinds = igniter_kinds(channel)
    switch = f"mosfet.{channel.mosfet}"
    missing = left_out(switch, circuit.mosfets[channel.mosfet], "input_capacitance", "gate_drain_charge")
    says = "how long the MOSFET stays on after the pulse is not known"
    stays_on = Doubt(reason=Reason.MISSING_KEY, says=says, keys=missing) if missing and test.pulse is not None else None
    for name, current in test.driven.igniters.items():
        model = circuit.igniters[kinds[name]]
        heated = test.pulse is not None
        yield compare(
            Question.TEST,
            "test-below-no-fire",
            _fraction(model, current, test.pulse) if heated else current,
            "below",
            1.0 if heated else model.threshold_low,
            "1" if heated else "A",
            says=f"{test.name}: "
            + (
                f"share of its function temperature that {name} reaches in the longest pulse"
                if heated
                else f"highest current in {name} against its no-fire current"
            ),
            statement=no_fire_statement(circuit, model.name),
            doubt=no_fire_doubt(circuit, model.name) or stays_on,
            channel=channel.name,
            phase=test.name,
            igniter=name,
            rests_on=resting(circuit, "safe"),
        )
    weakest = {kind: name for name, kind in reversed(kinds.items())}
    for rule in rules_in_use(circuit):
        if rule.quantity not in ("monitor current", "current into a short"):
            continue
        for kind, name in weakest.items():
            yield compare(
                Question.TEST,
                rule.id,
                test.driven.line if rule.quantity == "monitor current" else test.driven.into_short,
                "at most",
                rule_limit(rule, circuit.igniters[kind].threshold_low),
                "A",
                says=f"{test.name}: {rule.says}",
                statement=rule.statement,
                doubt=no_fire_doubt(circuit, kind) if rule.rests_on_no_fire else None,
                channel=channel.name,
                phase=test.name,
                igniter=name,
                rests_on=resting(circuit, "safe"),
            )
