"""Tables of the circuit file between battery and igniter: battery, feed, wires; exactly what was written."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self, get_args

from pydantic import AfterValidator, Field, field_validator, model_validator

from ignition.circuit.fields import (
    Capacitance,
    Charge,
    CopperWeight,
    Current,
    FileModel,
    Inductance,
    Length,
    MeltingIntegral,
    PositiveResistance,
    Quantity,
    Resistance,
    ShareOfCharge,
    Temperature,
    Time,
    Voltage,
    plain_number,
)
from ignition.errors import InputError
from ignition.parts.battery import chemistry
from ignition.parts.conductor import conductor_area
from ignition.parts.wire import WireClass

__all__ = [
    "Battery",
    "CapacitorBank",
    "FeedPart",
    "Load",
    "MOST_CLOSURES",
    "Polarisation",
    "Protection",
    "Readings",
    "Trace",
    "Wiring",
]

MOST_CLOSURES = 30
"""Most closures of a bouncing arm switch in one throw that can be given, and what counts where they are not [1]."""

FeedKind = Literal["arm switch", "interlock", "fuse", "resettable fuse", "switch", "connector", "wire", "resistor"]


def _known_size(value: str) -> str:
    conductor_area(value)
    return value


WireSize = Annotated[str, AfterValidator(_known_size)]
"""A gauge or a cross-section, as it was written."""

_TEMPERATURE: Quantity = get_args(Temperature)[1]


class Readings(FileModel):
    """Two voltmeter readings, battery open and loaded by a known resistor, and the battery's temperature then."""

    open: Voltage
    loaded: Voltage
    load: PositiveResistance
    temperature: Temperature | None = None

    @model_validator(mode="after")
    def _sag_is_real(self) -> Self:
        if self.loaded.high > self.open.low:
            raise InputError(
                "the loaded reading must not exceed the open one (an internal resistance is not negative); "
                f"received open {self.open}, loaded {self.loaded}"
            )
        return self


class Polarisation(FileModel):
    """Slow part of the battery's voltage drop: one resistor-capacitor section."""

    resistance: Resistance
    time_constant: Time


class Protection(FileModel):
    """Protection circuit of the battery: it disconnects above a current after a delay."""

    trip_current: Current
    delay: Time


class CapacitorBank(FileModel):
    """Capacitor that fires the igniters in place of the battery, recharged through a resistor."""

    capacitance: Capacitance
    series_resistance: Resistance
    recharge_resistance: PositiveResistance | None = None


class Battery(FileModel):
    """Battery by chemistry and cells, by open-circuit voltage and resistance, or by two readings.

    `resistance_temperature` is the temperature for which the resistance is stated; ``ambient`` where its range holds
    over the whole ambient range.
    """

    chemistry: str | None = None
    cells_in_series: int | None = Field(default=None, ge=1, le=200)
    cells_in_parallel: int | None = Field(default=None, ge=1, le=200)
    state_of_charge: ShareOfCharge | None = None
    cell_resistance: Resistance | None = None
    capacity: Charge | None = None
    open_circuit_voltage: Voltage | None = None
    resistance: Resistance | None = None
    resistance_temperature: Literal["ambient"] | Temperature | None = None
    readings: Readings | None = None
    polarisation: Literal["none"] | Polarisation | None = None
    protection: Literal["none"] | Protection | None = None
    capacitor_bank: CapacitorBank | None = None

    @field_validator("chemistry")
    @classmethod
    def _known(cls, value: str | None) -> str | None:
        return None if value is None else chemistry(value).name

    @field_validator("resistance_temperature", mode="before")
    @classmethod
    def _word_or_temperature(cls, value: Any) -> Any:
        if value is None or value == "ambient":
            return value
        if isinstance(value, str) and value[:1].isalpha():
            raise InputError(f"is 'ambient' or a temperature such as '20 degC'; received {value!r:.60}")
        return _TEMPERATURE.validate(value)

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        given = [
            name
            for name, value in (
                ("chemistry", self.chemistry),
                ("open_circuit_voltage", self.open_circuit_voltage),
                ("readings", self.readings),
            )
            if value is not None
        ]
        if not given:
            raise InputError(
                "the voltage is unknown: give chemistry and cells_in_series, or open_circuit_voltage and resistance, "
                "or readings = { open, loaded, load }"
            )
        measured = ("open_circuit_voltage", "resistance", "cell_resistance", "state_of_charge")
        twice = [name for name in measured if getattr(self, name) is not None]
        if self.readings is not None and twice:
            raise InputError(f"readings already give voltage and resistance: leave out {' and '.join(twice)}")
        if self.open_circuit_voltage is not None and self.state_of_charge is not None:
            raise InputError("open_circuit_voltage and state_of_charge exclude each other: leave one out")
        if self.resistance is not None and self.cell_resistance is not None:
            raise InputError("resistance (whole battery) and cell_resistance exclude each other: leave one out")
        stated = self.resistance is not None or self.cell_resistance is not None
        if self.resistance_temperature is not None and (self.readings is not None or not stated):
            raise InputError(
                "resistance_temperature belongs to resistance or cell_resistance, and neither is used; write the "
                "temperature of readings as readings = { ..., temperature = '20 degC' }"
            )
        return self

    @model_validator(mode="after")
    def _cells_are_counted(self) -> Self:
        for what, of_one_cell in (
            ("chemistry gives the voltage", self.open_circuit_voltage is None and self.readings is None),
            ("cell_resistance is that", self.cell_resistance is not None and self.readings is None),
            (
                "chemistry gives the resistance",
                self.chemistry is not None and self.resistance is None and self.readings is None,
            ),
        ):
            if of_one_cell and self.cells_in_series is None:
                raise InputError(f"{what} of one cell: give cells_in_series, for example cells_in_series = 2")
        return self


class Trace(FileModel):
    """Copper track of a printed board."""

    width: Length
    thickness: CopperWeight
    layer: Literal["outer", "inner"] = "outer"


class Wiring(FileModel):
    """Pair of conductors: wire, board trace or a measured round-trip resistance, plus joints."""

    wire: WireSize | None = None
    wire_class: WireClass | None = None
    trace: Trace | None = None
    distance: Length | None = None
    resistance: Resistance | None = None
    joints: Resistance | None = None
    inductance: Inductance | None = None
    capacitance: Capacitance | None = None

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        given = [n for n in ("wire", "trace", "resistance") if getattr(self, n) is not None]
        measured = self.resistance is not None
        if given not in (["wire"], ["trace"], ["resistance"], ["wire", "resistance"]):
            raise InputError(
                "give wire or trace with distance, or resistance (the round trip's) with or without its wire; "
                f"received {' and '.join(given) if given else 'none'}"
            )
        if (self.distance is None) != measured:
            raise InputError(
                "resistance is the whole round trip: leave out distance"
                if measured
                else f"{given[0]} needs distance, one way: the round trip is computed"
            )
        if self.wire_class is not None and self.wire is None:
            raise InputError("wire_class is the make-up of a wire: give it with wire, or leave it out")
        return self


class FeedPart(FileModel):
    """One part in series between battery and igniters."""

    name: str = Field(min_length=1, max_length=60)
    kind: FeedKind
    resistance: Resistance | None = None
    wire: WireSize | None = None
    wire_class: WireClass | None = None
    distance: Length | None = None
    inductance: Inductance | None = None
    capacitance: Capacitance | None = None
    edge: Time | None = None
    closures: int | None = Field(
        default=None,
        ge=1,
        le=MOST_CLOSURES,
        description="Most times that a bouncing arm switch closes in one throw [1]; one beyond the limit is worn out",
    )
    rating: Current | None = None
    melting_i2t: MeltingIntegral | None = None
    hold_current: Current | None = None
    trip_i2t: MeltingIntegral | None = None
    derating: float | None = Field(
        default=None, gt=0, le=1, description="Current carried at the hottest ambient over rating or hold_current [1]"
    )

    @field_validator("derating", mode="before")
    @classmethod
    def _number(cls, value: Any) -> Any:
        return plain_number(value, "is a plain number above 0 and up to 1, for example 0.7")

    @field_validator("rating", "hold_current")
    @classmethod
    def _positive(cls, value: Any) -> Any:
        if value is not None and value.low <= 0:
            raise InputError(f"must be above 0 A; received {value}")
        return value

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.kind == "wire":
            if (self.wire is None or self.distance is None) and self.resistance is None:
                raise InputError("a wire needs wire and distance (one way), or resistance (the round trip's)")
        elif self.wire is not None or self.distance is not None:
            raise InputError(f"wire and distance belong to kind = 'wire'; received kind = {self.kind!r}")
        if self.wire_class is not None and self.wire is None:
            raise InputError("wire_class is the make-up of a wire: give it with wire, or leave it out")
        for kinds, names in (
            (("fuse", "resettable fuse"), ("derating",)),
            (("fuse",), ("rating", "melting_i2t")),
            (("arm switch",), ("closures",)),
            (("wire",), ("inductance", "capacitance")),
            (("resettable fuse",), ("hold_current", "trip_i2t")),
        ):
            found = [name for name in names if getattr(self, name) is not None]
            if found and self.kind not in kinds:
                owner = " or ".join(f"kind = {kind!r}" for kind in kinds)
                raise InputError(
                    f"{' and '.join(found)}: only for {owner}, received kind = {self.kind!r}; leave it out, or "
                    "write its kind"
                )
        return self


class Load(FileModel):
    """Another load on the same battery while firing."""

    name: str = Field(min_length=1, max_length=60)
    current: Current
