"""A firing circuit from a few short texts, as a builder at the field has them: battery, readings, igniter, lead."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from ignition.circuit.complete import complete, judged
from ignition.circuit.description import Description
from ignition.circuit.model import Assumption, Circuit
from ignition.errors import InputError
from ignition.parts.wire import WIRE_CLASSES

__all__ = ["CHANNEL", "FewInputs", "IGNITER", "circuit_from", "describe", "few_assumptions", "option_of"]

CHANNEL = "cluster"
"""Name of the one channel."""

IGNITER = "igniter"
"""Name of the one igniter type."""

_CELLS = re.compile(r"(?P<name>.*?)\s*\b(?P<series>\d{1,3})\s*[sS](?:\s*(?P<parallel>\d{1,3})\s*[pP])?\s*")
_DURATION = re.compile(r"(?P<current>.+?)\s+(?:for\s+)?(?P<duration>[\d.]+\s*(?:s|ms|us))")
_SURE = re.compile(r"(?P<rest>.+?)\s+(?P<reliability>0?\.\d+)\s+at\s+(?P<confidence>0?\.\d+)")
_BATTERY_HELP = (
    "write chemistry and cells, for example --battery 'lithium-polymer 2S, 1300 mAh' (2S: one in parallel), "
    "or voltage and resistance, '12.0 V .. 12.6 V, 80 mohm'"
)
_IGNITER_HELP = "write for example --igniter '1.1 ohm, all-fire 0.9 A 50 ms 0.999 at 0.95'"
_LEAD_HELP = "write for example --lead 'AWG 20, 8 m' (one way), or the measured round trip, --lead '0.5 ohm'"
_READINGS = ("open", "loaded", "load")
_READINGS_HELP = "write for example --readings 'open 8.02 V, loaded 7.61 V, load 3.3 ohm ± 5 %'"

_ASSUMED = {
    "mosfet": ("0 ohm .. 20 mohm .. 60 mohm", "common practice: a low-voltage MOSFET, fully on and hot"),
    "pulse": ("500 ms", "common practice"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class FewInputs:
    """What a builder at the field can say of a firing circuit; each value as text with its unit.

    Attributes
    ----------
    battery : ``"lithium-polymer 2S, 1300 mAh"`` (2S: one in parallel) or ``"12.0 V .. 12.6 V, 80 mohm"``; also
        ``polarisation none`` where that resistance is the one at the end of a pulse; with readings it may be left out
    readings : ``"open 8.02 V, loaded 7.61 V, load 3.3 ohm ± 5 %"``; also ``temperature``, of the battery then
    igniter : ``"1.1 ohm, all-fire 0.9 A 50 ms, no-fire 0.25 A"``; also ``time constant``, ``energy``,
        ``function temperature``, ``reference temperature``, ``temperature coefficient`` and ``spent``
    lead : ``"AWG 20, 8 m"``, one way, or ``"0.5 ohm"``, the round trip; also ``joints``, and ``solid``, ``stranded`` or
        ``flexible`` for the make-up of the wire
    branch : The same for the wires of each string
    brown_out : Lowest battery voltage at which the controller works; ``"none"`` where it has a supply of its own
    trip : ``"10 A 12 ms"`` of the battery's protection circuit, or ``"none"``
    fuse : ``"10 A, 55 A^2 s"``, rating and least melting integral, or ``"none"``
    """

    igniter: str
    lead: str
    battery: str | None = None
    readings: str | None = None
    branch: str | None = None
    arm_switch: str | None = None
    mosfet: str | None = None
    pulse: str | None = None
    ambient: str | None = None
    brown_out: str | None = None
    trip: str | None = None
    fuse: str | None = None


def describe(given: FewInputs, strings: tuple[int, ...]) -> Description:
    """Make the description of a circuit from a few inputs.

    Raises InputError with every text that could not be read, and what to write instead.

    Parameters
    ----------
    strings : Igniters in each string [1]

    Returns
    -------
    As from a circuit file; controller, gate and divider are placeholders that no firing current depends on

    Examples
    --------
    >>> few = FewInputs(battery="lead-acid 6S, 7 Ah", igniter="1.5 ohm, all-fire 1 A 50 ms", lead="AWG 16, 20 m")
    >>> describe(few, (1, 1)).battery.cells_in_series
    6
    """
    channel: dict[str, Any] = {
        "name": CHANNEL,
        "igniters": [[IGNITER] * number for number in strings],
        "mosfet": "switch",
        "pulse": given.pulse or _ASSUMED["pulse"][0],
        "lead": _lead(given.lead, "--lead"),
        "gate": {"series": "0 ohm"},
        "sense": {"upper": "1 Mohm", "lower": "1 Mohm"},
    }
    if given.branch is not None:
        channel["branch"] = _lead(given.branch, "--branch")
    table: dict[str, Any] = {
        "format": 1,
        "title": "few inputs",
        "battery": _battery(given.battery, given.readings),
        "feed": [{"name": "arm switch", "kind": "arm switch"}],
        "controller": {
            "powered_by": "before arm switch",
            "supply": "100 V",  # so that what it gets is the battery's voltage
            "dropout": "0 V",
            "current": "0 A",
            "pin": {"output_resistance": "0 ohm", "leakage": "0 A"},
            "adc": {"bits": 12, "ratiometric": True, "leakage": "0 A", "total_error": 0},
        },
        "igniter": {IGNITER: _igniter(given.igniter)},
        "mosfet": {
            "switch": {
                "threshold": "0.1 V",
                "on_resistance": [{"gate": "0.2 V", "resistance": given.mosfet or _positive(_ASSUMED["mosfet"][0])}],
                "on_resistance_hot_factor": 1.0,
                "leakage": {"cool": "0 A", "hot": "0 A"},
                "gate_leakage": "0 A",
                "input_capacitance": "1 pF",
                "gate_drain_charge": "1 pC",
            }
        },
        "channel": [channel],
    }
    if given.brown_out is not None:
        # a controller with a supply of its own works at any voltage of this battery
        table["controller"]["brown_out"] = "1 uV" if given.brown_out == "none" else given.brown_out
    if given.trip is not None:
        table["battery"]["protection"] = _trip(given.trip)
    if given.fuse not in (None, "none"):
        table["feed"].insert(0, _fuse(given.fuse))
    if given.arm_switch is not None:
        table["feed"][0]["resistance"] = given.arm_switch
    if given.ambient is not None:
        table["ambient"] = {"temperature": given.ambient}
    try:
        return Description.model_validate(table)
    except ValidationError as error:
        lines = [_mistake(entry) for entry in error.errors(include_url=False)]
        raise InputError("\n".join(dict.fromkeys(lines))) from None


def circuit_from(given: FewInputs, strings: tuple[int, ...]) -> Circuit:
    """Make a complete circuit from a few inputs.

    Raises InputError if a text cannot be read, or values contradict each other.

    Parameters
    ----------
    strings : Igniters in each string [1]

    Returns
    -------
    One channel

    Examples
    --------
    >>> few = FewInputs(battery="lead-acid 6S, 7 Ah", igniter="1.5 ohm, all-fire 1 A 50 ms", lead="AWG 16, 20 m")
    >>> circuit_from(few, (1, 1)).channels[0].name
    'cluster'
    """
    circuit, mistakes = complete(describe(given, strings), "few inputs")
    if circuit is None:
        raise InputError("\n".join(f"{option_of(key)}: {message}" for key, message in mistakes))
    return judged(circuit)


def _positive(text: str) -> str:
    """Resistances of a MOSFET must be above zero: the least that the file takes stands for none."""
    return text.replace("0 ohm", "1 uohm", 1)


def _parts(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]


def _battery(text: str | None, readings: str | None) -> dict[str, Any]:
    table: dict[str, Any] = {}
    if readings is not None:
        table["readings"] = _readings(readings)
    if text is None:
        if readings is None:
            raise InputError(f"--battery: neither battery nor readings are given; {_BATTERY_HELP}")
        return table
    parts = _parts(text)
    if not parts:
        raise InputError(f"--battery: is empty; {_BATTERY_HELP}")
    cells = _CELLS.fullmatch(parts[0])
    if cells is not None and cells["name"]:
        # "2S" says one in parallel
        table |= {"chemistry": cells["name"], "cells_in_series": int(cells["series"])}
        table["cells_in_parallel"] = int(cells["parallel"] or 1)
    elif _unit(parts[0]) == "V":
        if readings is not None:
            raise InputError("--battery: the readings already give the voltage; write only chemistry and cells there")
        table["open_circuit_voltage"] = parts[0]
    else:
        raise InputError(f"--battery: {parts[0]!r} has neither cells, such as 2S, nor a voltage; {_BATTERY_HELP}")
    for part in parts[1:]:
        if part == "polarisation none":
            table["polarisation"] = "none"
            continue
        unit = _unit(part)
        key = {
            **{"Ah": "capacity", "mAh": "capacity", "ohm": "resistance", "%": "state_of_charge"},
            "C": "resistance_temperature",
        }.get(unit)
        if key is None:
            raise InputError(
                f"--battery: {part!r} is neither a capacity, a resistance, its temperature nor a charge; "
                f"{_BATTERY_HELP}"
            )
        table[key] = part
    return table


def _trip(text: str) -> str | dict[str, str]:
    """Protection circuit of the battery: none, or current and delay."""
    both = _DURATION.fullmatch(text)
    if text == "none":
        return text
    if both is None:
        raise InputError(f"--trip: 'none', or current and delay expected, received {text!r}; write --trip '10 A 12 ms'")
    return {"trip_current": both["current"], "delay": both["duration"]}


def _fuse(text: str | None) -> dict[str, str]:
    """Fuse in the feed: its rating, and its melting integral where that is known."""
    parts = _parts(text or "")
    if not 1 <= len(parts) <= 2:
        raise InputError(f"--fuse: 'none', or a rating expected, received {text!r}; write --fuse '10 A, 55 A^2 s'")
    found = {"name": "fuse", "kind": "fuse", "rating": parts[0]}
    return found | ({"melting_i2t": parts[1]} if parts[1:] else {})


def _unit(text: str) -> str:
    """Unit that a part of a text ends in, without its prefix where that does not matter."""
    found = re.search(r"([A-Za-zΩ%]+)\s*$", text.split("±")[0].split("+/-")[0].strip())
    unit = found[1] if found else ""
    if unit.endswith(("ohm", "Ω")):
        return "ohm"
    return unit if unit in ("Ah", "mAh", "%") else unit[-1:]


def _readings(text: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for part in _parts(text):
        word, _, value = part.partition(" ")
        if word not in (*_READINGS, "temperature") or not value or word in found:
            raise InputError(
                f"--readings: {part!r} is not one of open, loaded, load and temperature with its value; "
                f"{_READINGS_HELP}"
            )
        found[word] = value
    missing = [word for word in _READINGS if word not in found]
    if missing:
        raise InputError(f"--readings: {' and '.join(missing)} missing in {text!r}; {_READINGS_HELP}")
    return found


def _igniter(text: str) -> dict[str, Any]:
    parts = _parts(text)
    if not parts:
        raise InputError(f"--igniter: is empty; {_IGNITER_HELP}")
    table: dict[str, Any] = {}

    def put(key: str, value: Any) -> None:
        if key in table:
            raise InputError(f"--igniter: {key.replace('_', ' ')} stands twice in {text!r}; write it once")
        table[key] = value

    for part in parts:
        if part[0].isdigit() or part[0] in ".+-":
            put("bridge_resistance", part)
            continue
        for words, key in (
            ("all-fire", "all_fire"),
            ("no-fire", "no_fire"),
            ("time constant", "time_constant"),
            ("energy", "adiabatic_energy"),
            ("function temperature", "function_temperature"),
            ("temperature coefficient", "temperature_coefficient"),
            ("reference temperature", "reference_temperature"),
            ("spent", "spent"),
            ("bridge", "bridge_resistance"),
        ):
            if part.startswith(f"{words} "):
                value = part[len(words) :].strip()
                put(key, _statement(value) if key in ("all_fire", "no_fire") else value)
                break
        else:
            raise InputError(
                f"--igniter: {part!r} is not understood; known are a resistance, all-fire, no-fire, time constant, "
                f"energy, function or reference temperature, temperature coefficient and spent; {_IGNITER_HELP}"
            )
    return table


def _statement(text: str) -> dict[str, Any]:
    """Current, then duration, then share of igniters and confidence, as far as they are written."""
    sure = _SURE.fullmatch(text)
    found: dict[str, Any] = {}
    if sure is not None:
        text = sure["rest"]
        found = {"reliability": float(sure["reliability"]), "confidence": float(sure["confidence"])}
    both = _DURATION.fullmatch(text)
    return found | ({"current": text} if both is None else {"current": both["current"], "duration": both["duration"]})


def _lead(text: str, option: str) -> dict[str, str]:
    parts = _parts(text)
    table: dict[str, str] = {}
    for part in parts:
        if part.startswith("joints "):
            table["joints"] = part.removeprefix("joints ").strip()
        elif part.upper().startswith("AWG") or re.search(r"mm(2|\^2|²)$", part):
            table["wire"] = part
        elif _unit(part) == "ohm":
            table["resistance"] = part
        elif _unit(part) == "m":
            table["distance"] = part
        elif part in WIRE_CLASSES:
            table["wire_class"] = part
        else:
            raise InputError(
                f"{option}: {part!r} is neither a wire, its make-up, a length, joints nor a resistance; {_LEAD_HELP}"
            )
    if not table:
        raise InputError(f"{option}: is empty; {_LEAD_HELP}")
    return table


_OPTIONS = (
    ("ambient", "--ambient"),
    ("battery.readings", "--readings"),
    ("battery.protection", "--trip"),
    ("controller.brown_out", "--brown-out"),
    ("battery", "--battery"),
    ("igniter", "--igniter"),
    ("feed", "--arm-switch"),
    ("mosfet", "--mosfet"),
    ("channel[0].lead", "--lead"),
    ("channel.0.lead", "--lead"),
    ("channel[0].branch", "--branch"),
    ("channel.0.branch", "--branch"),
    ("channel[0].pulse", "--pulse"),
    ("channel.0.pulse", "--pulse"),
    ("channel", "--count"),
)


def option_of(key: str) -> str:
    """Return the option of the command line behind a dotted key, with what is left of the key.

    Examples
    --------
    >>> option_of("channel[0].lead.joints"), option_of("battery.protection")
    ('--lead (joints)', '--trip')
    """
    for prefix, option in _OPTIONS:
        if key.startswith(prefix):
            rest = (
                re.sub(r"^[\d.\[\]]+|^\.", "", key[len(prefix) :]).removeprefix(f"{IGNITER}.").removeprefix("switch.")
            )
            rest = re.sub(r"[._]", " ", rest).strip()
            return f"{option} ({rest})" if rest and option not in ("--arm-switch", "--mosfet", "--ambient") else option
    return key


def _mistake(entry: Any) -> str:
    key = ".".join(str(part) for part in entry["loc"])
    message = str(entry["ctx"]["error"]) if entry["type"] == "value_error" else entry["msg"]
    return f"{option_of(key)}: {message}"


def few_assumptions(given: FewInputs, circuit: Circuit) -> tuple[Assumption, ...]:
    """Return the assumptions that the firing currents rest on, by the option that would replace each.

    Examples
    --------
    >>> few = FewInputs(battery="lead-acid 6S, 7 Ah", igniter="1.5 ohm, all-fire 1 A 50 ms", lead="AWG 16, 20 m")
    >>> few_assumptions(few, circuit_from(few, (1,)))[-1].key
    'gate drive'
    """
    kept = [
        Assumption(key=option_of(a.key), value=a.value, direction=a.direction, basis=a.basis)
        for a in circuit.assumptions
        if a.direction == "fire" and not a.key.startswith(("controller", "mosfet", "channel[0].gate", "rules"))
    ]
    for name, value in (("mosfet", given.mosfet), ("pulse", given.pulse)):
        if value is None:
            text, basis = _ASSUMED[name]
            kept.append(Assumption(key=f"--{name}", value=text, direction="fire", basis=basis))
    bridge = circuit.igniters[IGNITER].temperatures.reference_resistance
    if bridge.is_exact:
        kept.append(
            Assumption(
                key="--igniter (bridge resistance)",
                value=f"every one is {bridge}, without spread",
                direction="fire",
                basis="as it is written; measure several and write for example '1.0 ohm .. 1.1 ohm .. 1.3 ohm'",
            )
        )
    gate = Assumption(
        key="gate drive",
        value="the MOSFET is fully on during the whole pulse and bears it",
        direction="fire",
        basis="not asked here; a circuit file with its data sheet rows proves it or not",
    )
    return (*kept, gate)
