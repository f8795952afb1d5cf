"""What all second measurements share: their results, and the comparison of readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.continuity.second_currents import DrivenCurrents
from ignition.analyses.continuity.thresholds import overlapping
from ignition.analyses.no_fire.heating import Heating
from ignition.circuit.model import Circuit
from ignition.parts.sense import largest_settling_error, thevenin_resistance
from ignition.toleranced import Spread, Toleranced
from ignition.typing import HIDDEN, Key, Missing, Seconds

__all__ = [
    "BUS_VOLTAGE",
    "SecondMeasurement",
    "SecondReading",
    "hulls",
    "missing_charge",
    "separated",
]

BUS_VOLTAGE = "bus voltage"
"""Name of the measurement at the divider at the bus."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondReading:
    """What a second measurement reads in one state.

    Attributes
    ----------
    value : Converter reading [LSB], or a ratio of two readings [1]
    voltage : Voltage at the pin [V]; None for a ratio
    """

    state: str
    value: Spread
    voltage: Annotated[Spread | None, HIDDEN]

    @property
    def quantity(self) -> Annotated[str, Key("quantity")]:
        """What is read: ``code``, or ``ratio`` of two."""
        return "ratio" if self.voltage is None else "code"


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondMeasurement:
    """One second measurement, evaluated.

    Attributes
    ----------
    readings : One for each state that can be present then
    separates : Pairs of states whose readings do not overlap
    heating : What the measurement itself does to the igniters of an intact line or one with one string open
    driven : What it drives through the igniters; None where the test cannot be made at all
    pulse : For a pulse: the longest time for which the MOSFET is on, its turn-off included
    longest_pulse : For a pulse: longest one that stays at a hundredth of the temperature rise to function
    reason : Why the measurement cannot be made, or a number is missing
    """

    name: str
    when: str
    readings: tuple[SecondReading, ...]
    separates: tuple[tuple[str, str], ...]
    heating: Annotated[Heating | None, Key("igniter")]
    driven: Annotated[DrivenCurrents | None, HIDDEN] = None
    pulse: Annotated[Seconds | None, HIDDEN] = None
    longest_pulse: Annotated[Seconds | None, Missing(otherwise="not a pulse")] = None
    reason: str | None = None
    caution: str | None = None


def separated(readings: Sequence[SecondReading]) -> tuple[tuple[str, str], ...]:
    """List pairs of states whose readings do not overlap."""
    pairs = []
    for index, one in enumerate(readings):
        for two in readings[index + 1 :]:
            if one.value.low is None or two.value.low is None:
                continue
            if one.quantity == "code":
                apart = not overlapping(one.value, two.value)
            else:
                assert one.value.high is not None and two.value.high is not None
                apart = one.value.high < two.value.low or two.value.high < one.value.low
            if apart:
                pairs.append((one.state, two.state))
    return tuple(pairs)


def hulls(members: Sequence[tuple[str, Spread, Spread | None]]) -> tuple[SecondReading, ...]:
    """Gather readings by line state.

    Parameters
    ----------
    members : State, reading [LSB or 1] and pin voltage [V]

    Returns
    -------
    One for each state, over all states of the whole circuit that show it
    """
    states = dict.fromkeys(state for state, _, _ in members)
    result = []
    for state in states:
        values = [v for s, v, _ in members if s == state]
        volts = [w for s, _, w in members if s == state and w is not None]
        result.append(
            SecondReading(state=state, value=Spread.hull(values), voltage=Spread.hull(volts) if volts else None)
        )
    return tuple(result)


def missing_charge(
    circuit: Circuit,
    upper: Toleranced,
    lower: Toleranced,
    capacitor: Toleranced | None,
    *,
    loose: bool = False,
    pin_resistor: float = 0.0,
) -> float:
    """Return the largest share of the sample capacitor's step that is missing after the acquisition [1].

    Parameters
    ----------
    upper, lower : Divider [ohm]
    capacitor : Filter at the tap [F]
    loose : Whether the upper end may hang free, so that the lower resistor alone is the source
    pin_resistor : Resistor between tap and pin [ohm]
    """
    adc = circuit.controller.adc
    if adc.sample_capacitance is None or adc.acquisition_time is None:
        return 0.0
    source = lower.high if loose else float(thevenin_resistance(upper.high, lower.high))
    return float(
        largest_settling_error(
            adc.acquisition_time.low,
            source,
            pin_resistor,
            adc.sample_capacitance.high,
            0.0 if capacitor is None else capacitor.low,
            0.0 if capacitor is None else capacitor.high,
        )
    )
