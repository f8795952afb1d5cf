"""From a description to a complete circuit: units settled, temperature applied, defaults taken and recorded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any, Literal

from ignition.circuit import description as d
from ignition.circuit.assumptions import Ledger
from ignition.circuit.battery import complete_battery
from ignition.circuit.feed import complete_feed
from ignition.circuit.igniters import complete_igniter
from ignition.circuit.model import (
    AdcModel,
    ChannelModel,
    Circuit,
    ControllerModel,
    HighSideModel,
    IgniterModel,
    MosfetModel,
    OnRow,
    PinModel,
    SecondModel,
)
from ignition.circuit.wiring import complete_wiring
from ignition.errors import InputError
from ignition.toleranced import Toleranced

__all__ = ["complete", "completed", "eased", "judged"]


def completed(given: d.Description, name: str = "", digest: str = "") -> Circuit:
    """Make a description that did not come from a file complete.

    Raises InputError with every mistake, each with its key.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> completed(circuit.given, circuit.name, circuit.digest) == circuit
    True
    """
    circuit, mistakes = complete(given, name, digest)
    if circuit is None:
        raise InputError("\n".join(f"{key}: {message}" for key, message in mistakes))
    return circuit


def judged(circuit: Circuit) -> Circuit:
    """Return the circuit that a verdict rests on: what is not given and shown as none stands at its plausible worst.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("long-lead-pad")
    >>> circuit.igniters["pad"].growth.high, round(judged(circuit).igniters["pad"].growth.high, 2)
    (0.0, 0.61)
    """
    made, _ = complete(circuit.given, circuit.name, circuit.digest, for_verdict=True)
    return circuit if made is None or made == circuit else replace(made, file=circuit.file)


def eased(circuit: Circuit, direction: str, keys: frozenset[str] | None = None) -> Circuit:
    """Return the circuit with defaults at their best plausible values: what it would be if keys were given so.

    Parameters
    ----------
    direction : "safe" or "fire": the question for which they are the best; a default that is conservative for the other
        question alone is eased too
    keys : Keys of the assumptions that are eased; all by default

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> circuit = load_example("tether-cutter")
    >>> eased(circuit, "safe").mosfets["low_side"].gate_leakage.high, circuit.mosfets["low_side"].gate_leakage.high
    (0.0, 1e-07)
    """

    def best(key: str) -> str | None:
        return direction if keys is None or key in keys else None

    made, _ = complete(circuit.given, circuit.name, circuit.digest, best, for_verdict=True)
    if made is None:  # a best value beside a given one may contradict it: then nothing is known to be better
        return circuit
    return replace(made, file=circuit.file)


def complete(
    given: d.Description,
    name: str = "",
    digest: str = "",
    ease: Callable[[str], str | None] = lambda key: None,
    *,
    for_verdict: bool = False,
) -> tuple[Circuit | None, list[tuple[str, str]]]:
    """Make a description complete.

    Returns
    -------
    The circuit, or None with the mistakes found: dotted key and message

    Examples
    --------
    >>> import tomllib
    >>> from ignition.circuit.examples import example_text
    >>> circuit, mistakes = complete(d.Description.model_validate(tomllib.loads(example_text("tether-cutter"))))
    >>> mistakes, round(circuit.channels[0].lead.round_trip.nominal, 5)
    ([], 0.15889)
    """
    ledger = Ledger(ease, judged=for_verdict)
    mistakes: list[tuple[str, str]] = []
    ambient = ledger.take(
        given.ambient.temperature if given.ambient else None, "ambient.temperature", "ambient_temperature", "degC"
    )

    def attempt(key: str, make: Callable[[], Any]) -> Any:
        try:
            return make()
        except InputError as error:
            mistakes.append((key, str(error)))
            return None

    battery = attempt("battery", partial(complete_battery, given.battery, ambient, ledger))
    igniters: dict[str, IgniterModel] = {}
    for kind, table in given.igniter.items():
        made = attempt(f"igniter.{kind}", partial(complete_igniter, kind, table, ambient, ledger))
        if made is not None:
            igniters[kind] = made
    drive = given.controller.supply.high
    mosfets = {kind: _mosfet(kind, table, drive, ledger) for kind, table in given.mosfet.items()}
    feed = tuple(
        attempt(f"feed[{i}]", partial(complete_feed, part, f"feed[{i}]", ambient, ledger))
        for i, part in enumerate(given.feed)
    )
    controller = _controller(given.controller, ledger)
    channels = tuple(
        attempt(f"channel[{i}]", partial(_channel, c, f"channel[{i}]", ambient, ledger))
        for i, c in enumerate(given.channel)
    )
    if mistakes or battery is None:
        return None, mistakes
    return (
        Circuit(
            title=given.title,
            name=name,
            digest=digest,
            ambient=ambient,
            battery=battery,
            feed=feed,
            loads=tuple((load.name, load.current) for load in given.load),
            controller=controller,
            igniters=igniters,
            mosfets=mosfets,
            channels=channels,
            presets=None if given.rules.presets is None else tuple(given.rules.presets),
            own_limits=tuple(given.rules.limit),
            required_reliability=ledger.number(given.rules.reliability, "rules.reliability", "required_reliability"),
            required_confidence=ledger.number(given.rules.confidence, "rules.confidence", "required_confidence"),
            checklist=given.checklist,
            given=given,
            assumptions=ledger.assumptions,
        ),
        [],
    )


def _either_way(value: Toleranced) -> Toleranced:
    """A leakage given as a size flows either way; nominal is none."""
    return Toleranced(low=-value.high, nominal=0.0, high=value.high, unit=value.unit)


def _controller(given: d.Controller, ledger: Ledger) -> ControllerModel:
    pin, adc = given.pin, given.adc
    if adc.sample_capacitance is None or adc.acquisition_time is None:
        ledger.note("controller.adc.sample_capacitance", "adc_settling")
    total_error = ledger.number(adc.total_error, "controller.adc.total_error", "adc_total_error")
    return ControllerModel(
        powered_before_arm_switch=given.powered_by == "before arm switch",
        supply=given.supply,
        dropout=ledger.take(given.dropout, "controller.dropout", "dropout", "V"),
        brown_out=given.brown_out,
        current=ledger.take(given.current, "controller.current", "controller_current", "A"),
        hold_up_capacitance=given.hold_up_capacitance,
        pin=PinModel(
            output_resistance=ledger.take(
                pin.output_resistance, "controller.pin.output_resistance", "output_resistance", "ohm"
            ),
            leakage=_either_way(ledger.take(pin.leakage, "controller.pin.leakage", "pin_leakage", "A")),
            reset_pull_up=_reset_pull_up(pin, ledger),
            reset_pull_down=pin.reset_pull_down,
            clamp_resistance=ledger.take(
                pin.clamp_resistance, "controller.pin.clamp_resistance", "clamp_resistance", "ohm"
            ),
            clamp_drop=ledger.take(pin.clamp_drop, "controller.pin.clamp_drop", "clamp_drop", "V"),
            clamp_current_limit=ledger.take(
                pin.clamp_current_limit, "controller.pin.clamp_current_limit", "clamp_current_limit", "A"
            ),
        ),
        adc=AdcModel(
            bits=adc.bits,
            reference=adc.reference,
            total_error=total_error,
            leakage=_either_way(ledger.take(adc.leakage, "controller.adc.leakage", "adc_leakage", "A")),
            sample_capacitance=adc.sample_capacitance,
            acquisition_time=adc.acquisition_time,
            noise=adc.noise or 0.0,
            samples=adc.samples or 1,
        ),
    )


def _reset_pull_up(pin: d.Pin, ledger: Ledger) -> Toleranced | Literal["driven high"] | None:
    """A boot loader may drive a pin of which nothing is known, one with a pull-down too."""
    given = pin.reset_pull_up
    if given is None:
        return ledger.choose("controller.pin.reset_pull_up", "reset_pull_up", worst="driven high", best=None)
    return None if given == "none" else given


def _mosfet(name: str, given: d.Mosfet, drive: float, ledger: Ledger) -> MosfetModel:
    key = f"mosfet.{name}"
    highest = given.on_resistance[-1].gate.nominal
    if drive > highest:
        told = f"above its highest row, {highest:g} V, no lower than that row says"
        ledger.note(f"{key}.on_resistance", "on_resistance_above", value=told)
    junction = ledger.take(given.max_junction, f"{key}.max_junction", "max_junction", "degC").low
    cool = ledger.take(given.leakage.cool if given.leakage else None, f"{key}.leakage.cool", "leakage_cool", "A")
    hot = given.leakage.hot if given.leakage else None
    if hot is None:
        hot = cool.times(
            ledger.choose(f"{key}.leakage.hot", "leakage_hot", worst=2.0 ** ((junction - 25.0) / 10.0), best=1.0)
        )
    reach = Toleranced.exact(0.0, "V")
    if given.gate_drain_charge is None and given.reverse_transfer_capacitance is not None:
        reach = ledger.take(None, f"{key}.gate_drain_charge", "charge_voltage", "V")
    factor = ledger.number(given.on_resistance_hot_factor, f"{key}.on_resistance_hot_factor", "hot_factor")
    return MosfetModel(
        name=name,
        threshold=given.threshold,
        threshold_drift=ledger.take(given.threshold_drift, f"{key}.threshold_drift", "threshold_drift", "V/K"),
        threshold_current=ledger.take(given.threshold_current, f"{key}.threshold_current", "threshold_current", "A"),
        subthreshold_slope=ledger.take(
            given.subthreshold_slope, f"{key}.subthreshold_slope", "subthreshold_slope", "V"
        ),
        rows=tuple(OnRow(gate=row.gate.nominal, resistance=row.resistance) for row in given.on_resistance),
        hot_factor=factor,
        leakage_cool=cool,
        leakage_hot=hot,
        gate_leakage=_either_way(ledger.take(given.gate_leakage, f"{key}.gate_leakage", "gate_leakage", "A")),
        gate_rating=ledger.take(given.gate_rating, f"{key}.gate_rating", "gate_rating", "V"),
        max_junction=junction,
        input_capacitance=given.input_capacitance,
        output_capacitance=ledger.take(
            given.output_capacitance, f"{key}.output_capacitance", "output_capacitance", "F"
        ),
        reverse_transfer_capacitance=given.reverse_transfer_capacitance,
        gate_drain_charge=given.gate_drain_charge,
        charge_voltage=reach,
        breakdown=given.breakdown,
        avalanche_energy=given.avalanche_energy,
        thermal=tuple((s.resistance, s.time_constant) for s in given.thermal or []),
    )


def _channel(given: d.Channel, key: str, ambient: Toleranced, ledger: Ledger) -> ChannelModel:
    if given.gate.pull_down is None:
        ledger.note(f"{key}.gate.pull_down", "pull_down")
    coefficient = ledger.take(
        given.sense.temperature_coefficient, f"{key}.sense.temperature_coefficient", "divider_coefficient", "1/K"
    )
    drift = _divider_drift(coefficient, ambient, 20.0 if given.sense.temperature_coefficient is None else 25.0)
    return ChannelModel(
        name=given.name,
        strings=tuple(tuple(string) for string in given.igniters),
        mosfet=given.mosfet,
        pulse=given.pulse,
        start=given.start or Toleranced.exact(0.0, "s"),
        lead=complete_wiring(given.lead, f"{key}.lead", ambient, ledger),
        branch=None if given.branch is None else complete_wiring(given.branch, f"{key}.branch", ambient, ledger),
        high_side=None if given.high_side is None else _high_side(given.high_side),
        return_contact=given.return_contact,
        shunt=given.shunt,
        gate_series=ledger.take(given.gate.series, f"{key}.gate.series", "gate_series", "ohm"),
        pull_downs=given.gate.pull_down or (),
        gate_capacitor=given.gate.capacitor,
        uppers=tuple(part.times(drift) for part in given.sense.upper),
        lower=given.sense.lower.times(drift),
        filter=given.sense.filter,
        pin_resistor=given.sense.pin_resistor or Toleranced.exact(0.0, "ohm"),
        divider_drift=drift.high - 1.0,
        second=None if given.second is None else _second(given.second),
    )


def _high_side(given: d.HighSide) -> HighSideModel:
    return HighSideModel(resistance=given.resistance, around=None if given.around == "none" else given.around)


def _second(given: d.SecondMeasurement) -> SecondModel:
    bus = given.bus_divider
    return SecondModel(
        bus_upper=None if bus is None else bus.upper,
        bus_lower=None if bus is None else bus.lower,
        bus_filter=None if bus is None else bus.filter,
        pull_ups=given.drain_pull_up or (),
        test_pulse=given.test_pulse,
        before_arming=given.before_arming,
    )


def _divider_drift(coefficient: Toleranced, ambient: Toleranced, reference: float) -> Toleranced:
    """Factor on a resistor from its temperature coefficient, either sign, about a reference temperature."""
    distance = max(abs(ambient.low - reference), abs(ambient.high - reference))
    size = max(abs(coefficient.low), abs(coefficient.high)) * distance
    if size >= 0.5:
        raise InputError(
            f"sense.temperature_coefficient {coefficient} changes the divider by {size:.0%} over the ambient range; "
            "write for example '0.0001 / K'"
        )
    return Toleranced(low=1.0 - size, nominal=1.0, high=1.0 + size)
