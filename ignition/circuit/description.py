"""Typed model of the circuit file, format 1: exactly what was written, nothing assumed yet.

Keys that may be left out are None here; `ignition.circuit.assumptions` fills them with conservative defaults and
records each as an assumption.
"""

from __future__ import annotations

from typing import Any, Literal, Self

from pydantic import Field, field_validator, model_validator

from ignition.circuit.feed_description import Battery, FeedPart, Load, Wiring
from ignition.circuit.fields import (
    Capacitance,
    Charge,
    Current,
    CurrentEitherWay,
    Energy,
    FileModel,
    ParallelResistance,
    PositiveResistance,
    Reliability,
    Resistance,
    SeriesResistance,
    Temperature,
    TemperatureCoefficient,
    ThermalResistance,
    Time,
    Voltage,
    VoltageDrop,
    VoltagePerKelvin,
    none_or_resistance,
    plain_number,
)
from ignition.errors import InputError

__all__ = [
    "Ambient",
    "AnalogInput",
    "BusDivider",
    "Channel",
    "Checklist",
    "Connector",
    "Controller",
    "Description",
    "FAULT_PLACES",
    "FaultLeftOut",
    "FaultTable",
    "FaultWeight",
    "Gate",
    "HighSide",
    "Igniter",
    "Mosfet",
    "OffLeakage",
    "OnResistance",
    "OwnFault",
    "OwnLimit",
    "Pin",
    "RULE_NAMES",
    "Rules",
    "SecondMeasurement",
    "Sense",
    "Statement",
    "ThermalStage",
]


PresetName = Literal["range safety", "firework unit", "ordnance test set", "hobby high power"]
"""Names of the documents in `ignition/findings/limits.toml`; listed here so that editors complete them."""

RULE_NAMES = (
    *("monitor-current-tenth", "output-leakage-20-db", "firing-current-150-percent", "pulse-length"),
    *("current-into-short", "test-current-energy-tenth", "interlock-in-series", "switch-returns-to-off"),
    *("misfire-wait", "below-no-fire", "gate-held-off", "pin-clamp-current", "blocking-voltage", "converter-range"),
    *("open-line-seen", "test-below-no-fire", "above-all-fire", "functions", "gate-drive", "controller-supply"),
    *("battery-protection", "fuse-holds", "conductor-melts", "mosfet-junction", "bus-converter-range"),
    *("bus-pin-clamp-current", "pull-up-pin-current", "switch-on-below-function", "switch-on-overvoltage"),
    *("gate-rating", "avalanche-energy", "turn-off-junction", "single-fault-disarmed", "single-fault-test-path"),
)
"""Rules that are shipped, by the name under which a finding shows them: no limit of the user's own has one of them."""


FAULT_PLACES = ("line out", "line back", "drain", "tap")
"""Places of a channel that a fault of one's own may join to another: the igniters' ends, the MOSFET, the divider."""

_LEAST_SLOPE = 0.05915
"""Least gate voltage for a tenfold drain current, kT/q ln 10 at 25 degC [V]."""


class Ambient(FileModel):
    """Air temperature around battery, leads, igniter and switch."""

    temperature: Temperature


class Pin(FileModel):
    """Controller pin that drives the gate and, by the same build, the pin that reads the divider."""

    output_resistance: Resistance | None = None
    leakage: CurrentEitherWay | None = None
    reset_pull_up: Literal["none"] | PositiveResistance | None = None
    reset_pull_down: PositiveResistance | None = None
    clamp_resistance: Resistance | None = None
    clamp_current_limit: Current | None = None
    clamp_drop: VoltageDrop | None = None

    @field_validator("reset_pull_up", mode="before")
    @classmethod
    def _none_or_resistance(cls, value: Any) -> Any:
        return none_or_resistance(value, "45 kohm")


class AnalogInput(FileModel):
    """Analogue-to-digital converter that reads the divider."""

    bits: int = Field(ge=6, le=24)
    reference: Voltage | None = None
    ratiometric: bool = False
    total_error: float | None = Field(default=None, ge=0, description="Total unadjusted error, either way [LSB]")
    leakage: CurrentEitherWay | None = None
    sample_capacitance: Capacitance | None = None
    acquisition_time: Time | None = None
    noise: float | None = Field(default=None, ge=0, description="Noise, root mean square [LSB]")
    samples: int | None = Field(default=None, ge=1, le=1_000_000)

    @field_validator("total_error", "noise", mode="before")
    @classmethod
    def _number(cls, value: Any) -> Any:
        return plain_number(value, "is a plain number of LSB, for example 4")

    @model_validator(mode="after")
    def _one_reference(self) -> Self:
        if self.ratiometric == (self.reference is not None):
            raise InputError(
                "give either reference = '3.3 V ± 1 %' or ratiometric = true (the supply is the reference)"
            )
        return self


class Controller(FileModel):
    """Microcontroller with its supply, its gate pin and its converter."""

    powered_by: Literal["before arm switch", "after arm switch"]
    supply: Voltage
    dropout: VoltageDrop | None = None
    brown_out: Voltage | None = None
    current: Current | None = None
    hold_up_capacitance: Capacitance | None = None
    pin: Pin = Pin()
    adc: AnalogInput


class Statement(FileModel):
    """A no-fire or all-fire statement: current, duration, and how well it is known."""

    current: Current
    duration: Time | None = None
    reliability: Reliability | None = Field(default=None, description="Share of units for which it holds [1]")
    confidence: Reliability | None = Field(default=None, description="Confidence of that share [1]")
    source: str | None = Field(default=None, max_length=300)
    date: str | None = Field(default=None, max_length=40)

    @field_validator("current")
    @classmethod
    def _positive(cls, value: Any) -> Any:
        if value.low < 1e-9:
            raise InputError("must be above 0 A (at least 1 nA); leave the statement out where it is unknown")
        return value


class Igniter(FileModel):
    """Bridge wire: resistance and statements at the reference temperature, one of three ways to its time constant."""

    bridge_resistance: PositiveResistance | None = None
    temperature_coefficient: TemperatureCoefficient | None = None
    function_temperature: Temperature | None = None
    reference_temperature: Temperature | None = None
    no_fire: Statement | None = None
    all_fire: Statement | None = None
    time_constant: Time | None = None
    adiabatic_energy: Energy | None = None
    response: list[tuple[Current, Time]] | None = None
    spent: Literal["open", "short"] | Resistance | None = None

    @field_validator("spent", mode="before")
    @classmethod
    def _state_or_range(cls, value: Any) -> Any:
        if isinstance(value, str) and value[:1].isalpha() and value not in ("open", "short"):
            raise InputError(f"is 'open', 'short' or a resistance range such as '20 ohm .. 40 ohm'; received {value!r}")
        return value

    @field_validator("response", mode="before")
    @classmethod
    def _pairs(cls, value: Any) -> Any:
        if value is None:
            return value
        if (
            not isinstance(value, list)
            or not value
            or not all(isinstance(p, (list, tuple)) and len(p) == 2 for p in value)
        ):
            raise InputError(f"is a list of [current, time] pairs such as [['0.9 A', '30 ms']]; received {value!r:.60}")
        return [tuple(p) for p in value]


class OnResistance(FileModel):
    """One data sheet row of on-resistance, at 25 degC."""

    gate: Voltage
    resistance: PositiveResistance

    @field_validator("gate")
    @classmethod
    def _one_value(cls, value: Any) -> Any:
        if not value.is_exact:
            raise InputError(
                f"gate is the one voltage that the data sheet states for the row, without tolerance; received {value}"
            )
        return value


class OffLeakage(FileModel):
    """Drain leakage with the gate at zero: at 25 degC, and at the highest junction temperature."""

    cool: Current
    hot: Current | None = None

    @model_validator(mode="after")
    def _grows(self) -> Self:
        if self.hot is not None and (self.hot.low < self.cool.low or self.hot.high < self.cool.high):
            raise InputError(
                f"hot leakage must not be below the leakage at 25 degC; received cool {self.cool}, hot {self.hot}: "
                "check that the two are not swapped"
            )
        return self


class ThermalStage(FileModel):
    """One stage of a Foster network."""

    resistance: ThermalResistance
    time_constant: Time

    @field_validator("time_constant")
    @classmethod
    def _positive(cls, value: Any) -> Any:
        if value.low <= 0:
            raise InputError(f"must be above 0 s; received {value}")
        return value


class Mosfet(FileModel):
    """N-channel low-side switch."""

    threshold: Voltage
    threshold_drift: VoltagePerKelvin | None = None
    threshold_current: Current | None = None
    subthreshold_slope: VoltageDrop | None = None
    on_resistance: list[OnResistance] = Field(min_length=1)
    on_resistance_hot_factor: float | None = Field(
        default=None, ge=1.0, le=5.0, description="On-resistance at max_junction over that at 25 degC [1]"
    )
    input_capacitance: Capacitance | None = None
    output_capacitance: Capacitance | None = None
    reverse_transfer_capacitance: Capacitance | None = None
    gate_drain_charge: Charge | None = None
    gate_leakage: CurrentEitherWay | None = None
    gate_rating: Voltage | None = None
    leakage: OffLeakage | None = None
    breakdown: Voltage | None = None
    avalanche_energy: Energy | None = None
    max_junction: Temperature | None = None
    thermal: list[ThermalStage] | None = None

    @field_validator("on_resistance_hot_factor", mode="before")
    @classmethod
    def _number(cls, value: Any) -> Any:
        return plain_number(value, "is a plain number, for example 1.6")

    @field_validator("threshold_current")
    @classmethod
    def _flows(cls, value: Any) -> Any:
        if value is not None and value.low <= 0.0:
            raise InputError(
                f"is the drain current at which the threshold is stated, such as '250 uA'; received {value}"
            )
        return value

    @field_validator("subthreshold_slope")
    @classmethod
    def _physical(cls, value: Any) -> Any:
        if value is not None and value.low < _LEAST_SLOPE:
            raise InputError(
                f"is the gate voltage for each tenfold drain current below the threshold, such as '90 mV'; at 25 degC "
                f"no MOSFET needs less than {1e3 * _LEAST_SLOPE:.1f} mV (kT/q ln 10); received {value}"
            )
        return value

    @field_validator("max_junction")
    @classmethod
    def _hot(cls, value: Any) -> Any:
        if value is not None and value.low <= 25.0:
            raise InputError(f"must be above 25 degC, the temperature of the data sheet rows; received {value}")
        return value

    @model_validator(mode="after")
    def _rows_ascend(self) -> Self:
        gates = [row.gate.nominal for row in self.on_resistance]
        if gates != sorted(set(gates)):
            raise InputError(f"on_resistance rows must ascend in gate voltage; received {gates}")
        if self.on_resistance[0].gate.low <= self.threshold.nominal:
            raise InputError(
                f"the lowest on_resistance row ({gates[0]:g} V) must lie above the threshold ({self.threshold}): "
                "a switch at its threshold is not on"
            )
        return self


class Gate(FileModel):
    """Parts at the gate; without pull_down it floats whenever the pin does not drive it. The capacitor is to ground.

    A list of pull-downs is a pair in parallel: one may be open and the other still holds.
    """

    series: Resistance | None = None
    pull_down: ParallelResistance | None = None
    capacitor: Capacitance | None = None


class Sense(FileModel):
    """Divider from the igniter's low side to the converter.

    A list of upper resistors stands in series: one may be shorted and the others still limit the current.
    """

    upper: SeriesResistance
    lower: PositiveResistance
    filter: Capacitance | None = None
    pin_resistor: Resistance | None = None
    temperature_coefficient: TemperatureCoefficient | None = None


class BusDivider(FileModel):
    """Divider from the bus, after the arm switch, to a converter input of its own."""

    upper: PositiveResistance
    lower: PositiveResistance
    filter: Capacitance | None = None


class SecondMeasurement(FileModel):
    """What the firmware can measure besides the drain of the armed line, to separate states that read alike there."""

    bus_divider: BusDivider | None = None
    drain_pull_up: SeriesResistance | None = None
    test_pulse: Time | None = None
    before_arming: bool = False

    @model_validator(mode="after")
    def _something(self) -> Self:
        if (
            self.bus_divider is None
            and self.drain_pull_up is None
            and self.test_pulse is None
            and not self.before_arming
        ):
            raise InputError(
                "names no measurement: give bus_divider, drain_pull_up, test_pulse or before_arming = true"
            )
        if self.test_pulse is not None and self.test_pulse.low <= 0:
            raise InputError("test_pulse must be above 0 s, for example '20 us'")
        return self


class HighSide(FileModel):
    """Contact of a relay between bus and line, which a pin of its own closes to fire; a resistor may lie around it."""

    resistance: Resistance
    around: Literal["none"] | PositiveResistance

    @field_validator("around", mode="before")
    @classmethod
    def _none_or_resistance(cls, value: Any) -> Any:
        return none_or_resistance(value, "100 kohm")


class Channel(FileModel):
    """One firing channel: strings of igniters, lead, MOSFET, gate and sense divider.

    Its line may be broken and bridged by contacts: a second switch on the high side, a pole of the arm switch in its
    return, and a contact across it that the arm switch holds closed while it is open.
    """

    name: str = Field(min_length=1, max_length=60)
    igniters: list[list[str]] = Field(min_length=1, max_length=64)
    mosfet: str
    pulse: Time
    start: Time | None = None
    lead: Wiring
    branch: Wiring | None = None
    high_side: HighSide | None = None
    return_contact: Resistance | None = None
    shunt: Resistance | None = None
    gate: Gate
    sense: Sense
    second: SecondMeasurement | None = None

    @field_validator("igniters")
    @classmethod
    def _no_empty_string(cls, value: list[list[str]]) -> list[list[str]]:
        for index, string in enumerate(value):
            if not string:
                raise InputError(
                    f"string {index + 1} is empty: a string names at least one igniter, for example [['match']]"
                )
            if len(string) > 64:
                raise InputError(f"string {index + 1} has {len(string)} igniters; at most 64")
        return value

    @field_validator("pulse")
    @classmethod
    def _positive(cls, value: Any) -> Any:
        if value.low <= 0:
            raise InputError("must be above 0 s")
        return value


class OwnLimit(FileModel):
    """A limit of the user's own, with its source and date."""

    name: str = Field(min_length=1, max_length=60)
    kind: Literal["monitor current at most", "firing current at least", "faults to fire at least"]
    share_of_no_fire: float | None = Field(default=None, gt=0, description="Share of the no-fire current [1]")
    share_of_all_fire: float | None = Field(default=None, gt=0, description="Share of the all-fire current [1]")
    current: Current | None = None
    faults: int | None = Field(default=None, ge=2, le=3, description="Simultaneous faults that it has to take [1]")
    phases: list[Literal["disarmed", "reset", "armed"]] | None = Field(default=None, min_length=1)
    source: str = Field(min_length=1, max_length=300)
    date: str = Field(min_length=1, max_length=40)

    @model_validator(mode="after")
    def _some_limit(self) -> Self:
        takes = {
            "monitor current at most": ("share_of_no_fire", "current"),
            "firing current at least": ("share_of_all_fire", "current"),
            "faults to fire at least": ("faults", "phases"),
        }[self.kind]
        for key in ("share_of_no_fire", "share_of_all_fire", "current", "faults", "phases"):
            if key not in takes and getattr(self, key) is not None:
                raise InputError(f"a limit of kind {self.kind!r} takes {' and '.join(takes)}, not {key}")
        if self.current is not None and self.current.low <= 0:
            raise InputError("current must be above 0 A; leave it out where only the share limits")
        if self.kind == "faults to fire at least":
            if self.faults is None:
                raise InputError("give faults, for example faults = 2: how many at once it has to take to fire")
        elif getattr(self, takes[0]) is None and self.current is None:
            raise InputError(f"give {takes[0]}, current or both")
        return self


class Rules(FileModel):
    """Which written limits to check against, without presets all that are shipped, and what statements they need."""

    presets: list[PresetName] | None = None
    reliability: Reliability | None = Field(
        default=None, description="Share of units for which a no-fire or all-fire statement has to hold [1]"
    )
    confidence: Reliability | None = Field(default=None, description="Confidence that this share has to have [1]")
    limit: list[OwnLimit] = Field(default=[])


class Checklist(FileModel):
    """Yes or no answers that no circuit value can give."""

    interlock_in_series: bool | None = None
    switch_returns_to_off: bool | None = None
    misfire_wait: Time | None = None


class FaultLeftOut(FileModel):
    """Faults that cannot happen in this build, by name or pattern, each with the reason."""

    fault: str = Field(min_length=1, max_length=200, description="Name as `faults` shows it; * stands for anything")
    because: str = Field(min_length=1, max_length=300)


class OwnFault(FileModel):
    """A short of the user's own between two places of the circuit."""

    name: str = Field(min_length=1, max_length=60)
    between: list[str] = Field(min_length=2, max_length=2)
    resistance: Resistance | None = None


class Connector(FileModel):
    """A connector in which water may lie between any two of its pins, each named by the place that it leads to."""

    name: str = Field(min_length=1, max_length=60)
    pins: list[str] = Field(min_length=2, max_length=40)

    @field_validator("pins")
    @classmethod
    def _once(cls, value: list[str]) -> list[str]:
        twice = [pin for pin in dict.fromkeys(value) if value.count(pin) > 1]
        if twice:
            raise InputError(f"names {twice[0]!r} twice; pins that lead to one place count as one")
        return value


class FaultWeight(FileModel):
    """How likely faults are beside others, by name or pattern."""

    fault: str = Field(min_length=1, max_length=200, description="Name as `faults` shows it; * stands for anything")
    weight: float = Field(
        gt=0, le=1e9, description="Relative likelihood, by default the mode's share of its part's failures [1]"
    )

    @field_validator("weight", mode="before")
    @classmethod
    def _number(cls, value: Any) -> Any:
        return plain_number(value, "is a plain number, for example 0.1")


class FaultTable(FileModel):
    """Changes of the fault list: what cannot happen here, what can happen besides, how likely it is, what gets wet."""

    off: list[FaultLeftOut] = Field(default=[], max_length=100)
    add: list[OwnFault] = Field(default=[], max_length=100)
    weight: list[FaultWeight] = Field(default=[], max_length=100)
    connector: list[Connector] = Field(
        default=[], max_length=20, description="Without any, one connector with every wire of every lead is assumed"
    )


class Description(FileModel):
    """A whole circuit file."""

    format: Literal[1]
    title: str = Field(min_length=1, max_length=200)
    ambient: Ambient | None = None
    battery: Battery
    feed: list[FeedPart] = Field(min_length=1, max_length=40)
    load: list[Load] = Field(default=[], max_length=100)
    controller: Controller
    igniter: dict[str, Igniter] = Field(min_length=1)
    mosfet: dict[str, Mosfet] = Field(min_length=1)
    channel: list[Channel] = Field(min_length=1, max_length=32)
    rules: Rules = Rules()
    checklist: Checklist = Checklist()
    faults: FaultTable = FaultTable()
