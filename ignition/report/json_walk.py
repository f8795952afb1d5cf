"""Results as JSON: one walk over the fields of result classes, by what their annotations say (`ignition.typing`)."""

from __future__ import annotations

import functools
import inspect
import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, get_args, get_type_hints

from ignition.typing import BARE, HIDDEN, INLINE, Key, Missing, Unit

__all__ = ["as_json", "to_json"]


def to_json(result: Any, /, **more: Any) -> str:
    """Write a result as JSON text, and more results beside its fields; a number that is not finite is an error.

    Parameters
    ----------
    result : A result, or a JSON object that is complete already
    more : Results by their keys; None is left out
    """
    tree = result if isinstance(result, Mapping) else as_json(result)
    tree = {**tree, **{key: as_json(value) for key, value in more.items() if value is not None}}
    return json.dumps(tree, indent=1, allow_nan=False, ensure_ascii=False)


def as_json(result: Any) -> Any:
    """Return the JSON form of a result.

    A dataclass is an object of its fields, and of its properties whose return type names a `Key`. A number is
    ``{"value": x, "unit": u}``; in a class with a field `unit` of its own, such as `Spread`, it stands by itself. An
    absent number is null, its reason in the number's own object, in the `reason` of the object that holds it, or in
    ``<key>_reason``.

    Raises TypeError for a number whose unit no annotation says, and for what is no result; ValueError for NaN, and for
    an infinite number where nothing says what it means.
    """
    return _written(result, _Member(name="result"))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Member:
    """What the annotation of one field or property says."""

    name: str
    key: str = ""
    unit: str | None = None
    missing: Missing = field(default_factory=Missing)
    bare: bool = False
    inline: bool = False
    number: bool = False


@functools.cache
def _members(cls: type) -> tuple[_Member, ...]:
    """What is written of a class: its fields, and the properties that name a key; hidden ones left out."""
    hints = get_type_hints(cls, include_extras=True)
    shown = {f.name: list(_parts(hints[f.name])) for f in fields(cls)}
    for name, attribute in inspect.getmembers(cls, lambda member: isinstance(member, property)):
        parts = list(_parts(get_type_hints(attribute.fget, include_extras=True).get("return")))
        shown |= {name: parts} if any(isinstance(part, Key) for part in parts) else {}
    return tuple(
        _Member(
            name=name,
            key=next((p.name for p in parts if isinstance(p, Key)), name),
            unit=next((p.symbol for p in parts if isinstance(p, Unit)), "1" if "unit" in shown else None),
            missing=next((p for p in parts if isinstance(p, Missing)), Missing()),
            bare=BARE in parts or "unit" in shown,
            inline=INLINE in parts,
            number=float in parts or int in parts or bool in parts,
        )
        for name, parts in shown.items()
        if HIDDEN not in parts
    )


def _parts(hint: Any) -> Iterator[Any]:
    """An annotation's types and notes, from the outside in."""
    yield hint
    yield from getattr(hint, "__metadata__", ())
    for part in get_args(hint):
        yield from _parts(part)


def _object(result: Any) -> dict[str, Any]:
    """A dataclass; the reason of a number object, such as a spread, is left out where there is none."""
    found: dict[str, Any] = {}
    units: dict[str, str | None] = {}
    members = _members(result.__class__)
    names = {member.name for member in members}
    number_object = "unit" in names
    for member in members:
        value, missing = getattr(result, member.name), member.missing
        said = getattr(result, missing.field, None)
        infinite = isinstance(value, float) and math.isinf(value)
        if infinite:
            reason = missing.infinite or said
        elif value is None:
            reason = said or missing.otherwise or "not known"
        else:
            reason = said if missing.always else None
        written = _written(value, member, reason)
        if member.inline:
            found |= written
        elif written is not None or not (number_object and member.key == "reason"):
            found[member.key] = written
            if written is None and member.number and not (said and missing.field in names):
                found["reason" if number_object else f"{member.key}_reason"] = reason
            if member.bare and member.unit not in (None, "1"):
                units[member.key] = member.unit
    return found | ({"units": units} if units else {})


def _written(value: Any, member: _Member, reason: str | None = None) -> Any:
    """A value by its kind; the reason stands for a number that is not there."""
    if isinstance(value, float) and not math.isfinite(value):
        if math.isnan(value) or not reason:
            raise ValueError(f"{member.name} is {value}, which is no JSON number, and nothing says why")
        value = None
    number = isinstance(value, int | float)
    if member.unit and not member.bare and (number or value is None):
        return {"value": value, "unit": member.unit} | ({"reason": reason} if reason else {})
    if value is None or isinstance(value, bool | int | str) or (number and member.unit):
        return value
    if isinstance(value, Mapping):
        return {key: _written(item, member, reason) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_written(item, member, reason) for item in value]
    if is_dataclass(value):
        return _object(value)
    rule = "a number needs its unit: annotate it like `Amps`" if isinstance(value, float) else "it is no result"
    raise TypeError(f"{member.name} cannot be written as JSON: {rule}; received {value!r}")
