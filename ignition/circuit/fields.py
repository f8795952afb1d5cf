"""Field types of the circuit file: text that carries a unit, checked for dimension and physical sense."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, PlainValidator, WithJsonSchema
from pydantic_core import core_schema

from ignition.errors import InputError
from ignition.toleranced import Toleranced, parse_toleranced
from ignition.units import UNIT_NAMES, engineering

__all__ = [
    "Capacitance",
    "Charge",
    "CopperWeight",
    "Current",
    "CurrentEitherWay",
    "Energy",
    "FileModel",
    "Inductance",
    "Length",
    "MeltingIntegral",
    "ParallelResistance",
    "PositiveResistance",
    "Quantity",
    "Reliability",
    "Resistance",
    "SeriesResistance",
    "Several",
    "ShareOfCharge",
    "Temperature",
    "TemperatureCoefficient",
    "ThermalResistance",
    "Time",
    "Voltage",
    "VoltageDrop",
    "VoltagePerKelvin",
    "none_or_resistance",
    "plain_number",
]


class FileModel(BaseModel):
    """Base of every table of the circuit file: frozen, and unknown keys are mistakes."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, arbitrary_types_allowed=True, allow_inf_nan=False
    )


def _read(value: Any, unit: str, example: str) -> Toleranced:
    if isinstance(value, Toleranced):
        return value
    if isinstance(value, dict):
        return _read_table(value, unit, example)
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise InputError(f"{UNIT_NAMES[unit]} is text such as {example!r}; received {_shown(value)}")
    if not isinstance(value, str):
        if unit == "1":
            return parse_toleranced(repr(value), unit)
        raise InputError(f"a bare number has no unit; received {value}, write for example {example!r}")
    return parse_toleranced(value, unit)


def _read_table(value: dict[str, Any], unit: str, example: str) -> Toleranced:
    extra = sorted(set(value) - {"value", "distribution"})
    if extra or "value" not in value:
        raise InputError(
            f"the table form is {{ value = {example!r}, distribution = 'normal' }}; "
            + (f"unknown key {extra[0]!r}" if extra else "its value is missing")
        )
    distribution = value.get("distribution", "uniform")
    if distribution not in ("uniform", "normal"):
        raise InputError(f"distribution is 'uniform' or 'normal'; received {_shown(distribution)}")
    if not isinstance(value["value"], str):
        raise InputError(f"a bare number has no unit; received {_shown(value['value'])}, write for example {example!r}")
    return parse_toleranced(value["value"], unit, distribution)


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


@dataclass(frozen=True, slots=True)
class Quantity:
    """Annotation of a field that holds a value with a unit and physical limits.

    Attributes
    ----------
    unit, example : SI unit, and a value as it would be written
    above, least, most : The whole range lies above, not below, not beyond these [`unit`]
    """

    unit: str
    example: str
    above: float | None = None
    least: float | None = None
    most: float | None = None

    def validate(self, value: Any) -> Toleranced:
        """Read a value from text or table and hold it to the limits [`unit`]."""
        read = _read(value, self.unit, self.example)
        if self.above is not None and read.low <= self.above:
            raise InputError(f"must be above {engineering(self.above, self.unit)}; received {_shown(value)}")
        if self.least is not None and read.low < self.least:
            raise InputError(f"must not be below {engineering(self.least, self.unit)}; received {_shown(value)}")
        if self.most is not None and read.high > self.most:
            raise InputError(f"must not exceed {engineering(self.most, self.unit)}; received {_shown(value)}")
        return read

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validate)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        return {
            "type": ["string", "number", "object"] if self.unit == "1" else ["string", "object"],
            "description": f"{UNIT_NAMES[self.unit]} with its unit: 'value', 'value ± tolerance', 'low .. high' or "
            "'low .. nominal .. high', or a table with value and distribution",
            "examples": [self.example],
        }


@dataclass(frozen=True, slots=True)
class Several(Quantity):
    """Annotation of a field that holds one value, or a list of several parts that make it up together.

    Attributes
    ----------
    unit, example : SI unit, and a value as it would be written
    above, least, most : The whole range of each part lies above, not below, not beyond these [`unit`]
    how : How the parts stand to each other, for messages
    parts : Most parts in a list [1]
    """

    how: str = "in series"
    parts: int = 4

    def validate_parts(self, value: Any) -> tuple[Toleranced, ...]:
        """Read one value or a list [`unit`]."""
        if not isinstance(value, list | tuple):
            return (self.validate(value),)
        if not 2 <= len(value) <= self.parts:
            raise InputError(
                f"a list holds 2 to {self.parts} parts {self.how}, for example ['{self.example}', '{self.example}']; "
                f"received {len(value)}"
            )
        return tuple(self._part(number, part) for number, part in enumerate(value, start=1))

    def _part(self, number: int, value: Any) -> Toleranced:
        try:
            return self.validate(value)
        except InputError as error:
            raise InputError(f"part {number}: {error}") from None

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.validate_parts)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        one = Quantity.__get_pydantic_json_schema__(self, schema, handler)
        several = {"type": "array", "items": one, "minItems": 2, "maxItems": self.parts}
        return {"anyOf": [one, several], "description": f"{one['description']}; or a list of parts {self.how}"}


Resistance = Annotated[Toleranced, Quantity("ohm", "20 mohm", least=0.0, most=1e12)]
PositiveResistance = Annotated[Toleranced, Quantity("ohm", "100 kohm ± 1 %", above=0.0, most=1e12)]
SeriesResistance = Annotated[tuple[Toleranced, ...], Several("ohm", "75 kohm ± 1 %", above=0.0, most=1e12)]
ParallelResistance = Annotated[
    tuple[Toleranced, ...], Several("ohm", "10 kohm ± 1 %", above=0.0, most=1e12, how="in parallel")
]
Voltage = Annotated[Toleranced, Quantity("V", "7.2 V .. 7.7 V .. 8.4 V", above=0.0, most=1000.0)]
VoltageDrop = Annotated[Toleranced, Quantity("V", "0.25 V", least=0.0, most=1000.0)]
Current = Annotated[Toleranced, Quantity("A", "250 mA", least=0.0, most=1e5)]
CurrentEitherWay = Annotated[Toleranced, Quantity("A", "1 uA", least=0.0, most=10.0)]
Capacitance = Annotated[Toleranced, Quantity("F", "100 nF ± 20 %", above=0.0, most=1e3)]
Inductance = Annotated[Toleranced, Quantity("H", "5 uH", least=0.0, most=0.1)]
Charge = Annotated[Toleranced, Quantity("C", "1800 mAh", above=0.0)]
Energy = Annotated[Toleranced, Quantity("J", "3 mJ", above=0.0)]
Length = Annotated[Toleranced, Quantity("m", "8 m", above=0.0, most=10e3)]
CopperWeight = Annotated[Toleranced, Quantity("m", "35 um", above=0.0, most=2e-3)]
Time = Annotated[Toleranced, Quantity("s", "500 ms", least=0.0, most=1e7)]
Temperature = Annotated[Toleranced, Quantity("degC", "-5 degC .. 20 degC .. 40 degC", above=-273.15, most=2000.0)]
TemperatureCoefficient = Annotated[Toleranced, Quantity("1/K", "0.0004 / K", least=-0.02, most=0.02)]
VoltagePerKelvin = Annotated[Toleranced, Quantity("V/K", "-4 mV/K", least=-0.05, most=0.0)]
ThermalResistance = Annotated[Toleranced, Quantity("K/W", "40 K/W", above=0.0)]
MeltingIntegral = Annotated[Toleranced, Quantity("A^2 s", "55 A^2 s", above=0.0)]
ShareOfCharge = Annotated[Toleranced, Quantity("1", "40 % .. 70 % .. 100 %", least=0.0, most=1.0)]


def none_or_resistance(value: Any, example: str) -> Any:
    """Read a resistance above zero, or the word ``none``.

    Raises InputError for another word, and for what is no such resistance.

    Parameters
    ----------
    value : As it stands in the file
    example : A resistance as it would be written

    Examples
    --------
    >>> none_or_resistance("none", "45 kohm")
    'none'
    """
    if isinstance(value, str) and value[:1].isalpha() and value != "none":
        raise InputError(f"is 'none', or a resistance such as {example!r}; received {value!r}")
    return Quantity("ohm", example, above=0.0, most=1e12).validate(value) if value not in ("none", None) else value


def plain_number(value: Any, rule: str) -> float | None:
    """Read a finite number without a unit, or None [1].

    Raises InputError, which begins with the rule, if it is anything else.

    Parameters
    ----------
    value : As it stands in the file

    Examples
    --------
    >>> plain_number(4, "is a plain number of LSB, for example 4")
    4.0
    """
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= 1e9:
        text = repr(value)
        raise InputError(f"{rule}; received {text if len(text) <= 60 else text[:57] + '...'}")
    return float(value)


def _reliability(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0.5 < value < 1.0:
        raise InputError(f"must be a number above 0.5 and below 1, for example 0.999; received {_shown(value)}")
    return float(value)


Reliability = Annotated[
    float,
    PlainValidator(_reliability),
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0.5, "exclusiveMaximum": 1.0}),
]
