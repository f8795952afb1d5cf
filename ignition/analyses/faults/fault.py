"""Every single fault of a circuit, each a few changed elements of the whole network."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Any, Literal

from ignition.analyses.faults.modes import FaultMode, fault_modes
from ignition.circuit.mistakes import KeyPath, report
from ignition.circuit.model import ChannelModel, Circuit
from ignition.errors import CircuitFileError, did_you_mean
from ignition.network.template import igniter_names
from ignition.network.whole import CONTACT, more_than_none, own_name, part_name, swap_name, wet_pairs
from ignition.toleranced import Toleranced

__all__ = ["ANYTHING", "Fault", "WEAK_PULL_UP", "every_fault", "left_out", "single_faults", "wet_faults"]

Side = Literal["test path", "switch", ""]

_SHORT = Toleranced.exact(CONTACT, "ohm")
"""What is left of one resistor of a chain where it is shorted."""

ANYTHING = Toleranced(low=CONTACT, nominal=1e12, high=1e12, unit="ohm")
"""A MOSFET that may be on or off."""

WEAK_PULL_UP = Toleranced(low=20e3, nominal=40e3, high=100e3, unit="ohm")
"""Pull-up of a controller's input where the file gives none (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault: what it changes in the network, and where it belongs.

    Attributes
    ----------
    name : Part and mode, as reports show it
    part : What it is a fault of; two faults of one part exclude each other
    channel : Channel that it belongs to; None where it is common to all
    opened, closed : Elements that it opens and closes
    values : Parameters that it gives bounds of their own [SI]
    scaled : Parameters that it scales, with the ends of the factor [1]
    from_rail : Parameters that become the controller's supply rail
    rail : What it makes of that rail: as regulated, the battery's own voltage, or nothing
    alive : Whether it changes anything only while the controller has its supply
    weight : How likely the file says that it is beside other faults [1]; None where it does not say
    side : Part of the test path (sense divider, pin, clamps, second measurement), of the switch (MOSFET, gate, its
        pin), or of neither
    igniters : Igniters that it touches
    """

    name: str
    part: str
    mode: FaultMode
    channel: str | None = None
    opened: frozenset[str] = frozenset()
    closed: frozenset[str] = frozenset()
    values: Mapping[str, Toleranced] = field(default_factory=dict)
    scaled: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    from_rail: frozenset[str] = frozenset()
    rail: Literal["regulated", "battery", "none"] = "regulated"
    alive: bool = False
    weight: float | None = None
    side: Side = ""
    igniters: frozenset[str] = frozenset()

    @property
    def likelihood(self) -> float | None:
        """Relative to other faults [1]: its weight, or its mode's share of the part's failures; None where unknown."""
        return self.mode.share if self.weight is None else self.weight


def single_faults(circuit: Circuit) -> tuple[Fault, ...]:
    """List every single fault of a circuit.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> names = [fault.name for fault in single_faults(load_example("tether-cutter"))]
    >>> names[0], "cutter.upper short" in names
    ('arm switch stuck-closed', True)
    """
    found = list(every_fault(circuit))
    out = left_out(circuit, found)
    return tuple(fault for fault in _weighted(circuit, found) if fault.name not in out)


def every_fault(circuit: Circuit) -> Iterator[Fault]:
    """List the faults of every part, and those that the file adds, whatever it leaves out.

    Raises CircuitFileError where a fault that the file adds has the name of another one.
    """
    found = [*_feed(circuit), *_jammed(circuit), *_bank(circuit), *_controller(circuit)]
    for channel in circuit.channels:
        found += [*_divider(circuit, channel), *_gate(circuit, channel), *_mosfet(channel)]
        found += [*_contacts(circuit, channel), *_line(circuit, channel)]
    found += [*wet_faults(wet_pairs(circuit)), *_harness(circuit)]
    known, own = {fault.name for fault in found}, list(_own(circuit))
    for index, fault in enumerate(own):
        if fault.name in known:
            says = f"{fault.part!r} gives {fault.name!r}, which is a fault of a part of this circuit"
            raise _mistake(circuit, ("faults", "add", index, "name"), f"{says}; give it another name")
    yield from (*found, *own)


def left_out(circuit: Circuit, found: Sequence[Fault] | None = None) -> dict[str, str]:
    """Return the faults that the circuit file leaves out, each with its reason.

    Raises CircuitFileError for a name or pattern that no fault has.

    Parameters
    ----------
    found : All faults, where they are known
    """
    if not circuit.given.faults.off:
        return {}
    names = [fault.name for fault in (every_fault(circuit) if found is None else found)]
    out: dict[str, str] = {}
    for index, one in enumerate(circuit.given.faults.off):
        out |= dict.fromkeys(_named(circuit, ("faults", "off", index, "fault"), one.fault, names), one.because)
    return out


def _weighted(circuit: Circuit, found: Sequence[Fault]) -> Iterator[Fault]:
    """Each fault with its weight; of several that name it the last counts."""
    names = [fault.name for fault in found]
    weights: dict[str, float] = {}
    for index, one in enumerate(circuit.given.faults.weight):
        matched = _named(circuit, ("faults", "weight", index, "fault"), one.fault, names)
        weights |= dict.fromkeys(matched, one.weight)
    for fault in found:
        yield replace(fault, weight=weights.get(fault.name))


def _named(circuit: Circuit, key: KeyPath, pattern: str, names: Sequence[str]) -> list[str]:
    """Names that a pattern of the file stands for; a name of a fault stands for itself, whatever is in it."""
    asked = re.compile(".*".join(re.escape(part) for part in pattern.split("*")), re.DOTALL)
    matched = [pattern] if pattern in names else [name for name in names if asked.fullmatch(name)]
    if not matched:
        offered = did_you_mean(pattern, names)
        says = f"{pattern!r} is no fault of this circuit; {offered}{offered and ' '}"
        raise _mistake(circuit, key, f"{says}(ignition faults FILE --json lists all)")
    return matched


def _mistake(circuit: Circuit, key: KeyPath, says: str) -> CircuitFileError:
    path, text = circuit.file
    return report(path or circuit.name, text, [(key, says)])


def _fault(kind: str, mode: str, part: str, channel: ChannelModel | None = None, **changes: Any) -> Fault:
    known = fault_modes()[kind, mode]
    return Fault(
        name=f"{part} {mode}",
        part=part,
        mode=known,
        channel=None if channel is None else channel.name,
        **changes,
    )


def _only(*names: str) -> frozenset[str]:
    return frozenset(names)


def _feed(circuit: Circuit) -> Iterator[Fault]:
    for part in circuit.feed:
        element = f"feed.{part.name}"
        if part.kind == "arm switch":
            yield from _contact(part.name, element)
        else:
            yield _fault("feed", "open", part.name, opened=_only(element))
            yield _fault("feed", "short", part.name, closed=_only(f"{element} short"))


def _contacts(circuit: Circuit, channel: ChannelModel) -> Iterator[Fault]:
    """Contacts of a line, and the resistor around its high-side switch."""
    high, back, across = (f"{channel.name}.{what}" for what in ("high side", "return contact", "shunt"))
    if channel.high_side is not None:
        yield from _contact(high, high, channel)
        if channel.high_side.around is not None:
            yield from _resistor(channel, "around", "around", "around short", side="test path")
    if channel.return_contact is not None:
        yield from _contact(back, back, channel)
    if channel.shunt is not None:
        yield from _contact(across, across, channel)


def _contact(part: str, element: str, channel: ChannelModel | None = None) -> Iterator[Fault]:
    yield _fault("switch", "stuck-closed", part, channel, closed=_only(element))
    yield _fault("switch", "stuck-open", part, channel, opened=_only(element))


def _jammed(circuit: Circuit) -> Iterator[Fault]:
    """An arm switch of several poles that stays as it is when closed, all of them together."""
    returns = {f"{c.name}.return contact" for c in circuit.channels if c.return_contact is not None}
    shunts = {f"{c.name}.shunt" for c in circuit.channels if c.shunt is not None}
    if returns or shunts:
        arm = circuit.arm_switch.name
        closed = frozenset({f"feed.{arm}", *returns})
        yield _fault("switch", "jammed-closed", arm, closed=closed, opened=frozenset(shunts))


def _bank(circuit: Circuit) -> Iterator[Fault]:
    """A capacitor bank, and the resistor that recharges it."""
    if circuit.battery.bank_capacitance is None:
        return
    yield _fault("capacitor", "short", "capacitor bank", closed=_only("bank short"))
    yield _fault("capacitor", "open", "capacitor bank", opened=_only("capacitor bank"))
    if circuit.battery.recharge_resistance is not None:
        part, parameter = "recharge resistor", "bank.recharge"
        yield _fault("resistor", "open", part, opened=_only("recharge"))
        yield _fault("resistor", "short", part, closed=_only("recharge short"))
        drift = fault_modes()["resistor", "drifted"].scale
        yield _fault("resistor", "drifted", part, scaled={parameter: drift})


def _controller(circuit: Circuit) -> Iterator[Fault]:
    names = [channel.name for channel in circuit.channels]
    yield _fault("regulator", "passes-battery", "regulator", rail="battery", alive=True)
    yield _fault("regulator", "dead", "regulator", rail="none", alive=True)
    yield _fault(
        "controller",
        "all-pins-high",
        "controller",
        closed=frozenset(
            {f"{name}.pin driver" for name in names}
            | {f"{c.name}.high side" for c in circuit.channels if c.high_side is not None}
        ),
        opened=frozenset(f"{name}.reset pull-down" for name in names),
        values={f"{name}.pin driver": more_than_none(circuit.controller.pin.output_resistance) for name in names},
        from_rail=frozenset(f"{name}.pin voltage" for name in names),
        alive=True,
        side="switch",
    )


def _resistor(channel: ChannelModel, which: str, parameter: str, short: str, **changes: Any) -> Iterator[Fault]:
    part, element = f"{channel.name}.{which}", f"{channel.name}.{parameter}"
    yield _fault("resistor", "open", part, channel, opened=_only(element), **changes)
    yield _fault("resistor", "short", part, channel, closed=_only(f"{channel.name}.{short}"), **changes)
    drift = fault_modes()["resistor", "drifted"].scale
    yield _fault("resistor", "drifted", part, channel, scaled={element: drift}, **changes)


def _each(
    channel: ChannelModel, which: str, parts: Sequence[Toleranced], *, series: bool, side: Side
) -> Iterator[Fault]:
    """Faults of each of several resistors that stand for one: in series an open one opens all, in parallel a short."""
    if len(parts) == 1:
        yield from _resistor(channel, which, which, f"{which} short", side=side)
        return
    drift = fault_modes()["resistor", "drifted"].scale
    whole = _only(f"{channel.name}.{which}"), _only(f"{channel.name}.{which} short")
    for number in range(len(parts)):
        part = part_name(channel, which, number, len(parts))
        apart: dict[str, Any] = {"values": {part: _SHORT}} if series else {"opened": _only(part)}
        everything: dict[str, Any] = {"opened": whole[0]} if series else {"closed": whole[1]}
        opened, shorted = (everything, apart) if series else (apart, everything)
        yield _fault("resistor", "open", part, channel, side=side, **opened)
        yield _fault("resistor", "short", part, channel, side=side, **shorted)
        yield _fault("resistor", "drifted", part, channel, side=side, scaled={part: drift})


def _divider(circuit: Circuit, channel: ChannelModel) -> Iterator[Fault]:
    name = channel.name
    yield from _each(channel, "upper", channel.uppers, series=True, side="test path")
    yield from _resistor(channel, "lower", "lower", "lower short", side="test path")
    if channel.pin_resistor.high > 0.0:
        yield from _resistor(channel, "pin resistor", "pin resistor", "pin resistor short", side="test path")
    if channel.filter is not None:
        yield _fault(
            "capacitor", "short", f"{name}.filter", channel, closed=_only(f"{name}.lower short"), side="test path"
        )
        yield _fault("capacitor", "open", f"{name}.filter", channel, side="test path")
    yield from _converter(channel, "")
    if channel.bus_divider is not None:
        for which in ("bus upper", "bus lower"):
            yield from _resistor(channel, which, which, f"{which} short", side="test path")
        yield from _converter(channel, "bus ")
    if channel.second is not None:
        yield from _pull_up(channel, channel.second.pull_ups)


def _pull_up(channel: ChannelModel, parts: Sequence[Toleranced]) -> Iterator[Fault]:
    """Faults of the resistors from a controller pin to the drain; a shorted one leaves the others and the pin's own.

    The pin may stay high when it should be an input; a resistor that is open breaks that path too.
    """
    clamp, driver = f"{channel.name}.pull-up clamp", f"{channel.name}.pull-up driver"
    if parts:
        yield _fault(
            "pin", "stuck-high", f"{channel.name}.pull-up pin", channel,
            closed=_only(driver), opened=_only(clamp), alive=True, side="test path",
        )  # fmt: skip
    for number in range(len(parts)):
        part = part_name(channel, "drain pull-up", number, len(parts))
        yield _fault("resistor", "open", part, channel, opened=_only(clamp, driver), side="test path")
        yield _fault("resistor", "short", part, channel, values={part: _SHORT}, side="test path")


def _converter(channel: ChannelModel, which: str) -> Iterator[Fault]:
    name, part = channel.name, f"{channel.name}.{which}converter pin"
    yield _fault(
        "converter", "driven-high", part, channel,
        closed=_only(f"{name}.{which}adc pin high"), alive=True, side="test path",
    )  # fmt: skip
    yield _fault("converter", "driven-low", part, channel, closed=_only(f"{name}.{which}adc pin low"), side="test path")
    yield _fault("converter", "clamp-open", part, channel, opened=_only(f"{name}.{which}clamp"), side="test path")


def _gate(circuit: Circuit, channel: ChannelModel) -> Iterator[Fault]:
    name, pin = channel.name, f"{channel.name}.gate pin"
    driver, rail = f"{name}.pin driver", _only(f"{name}.pin voltage")
    drives = {f"{name}.pin driver": more_than_none(circuit.controller.pin.output_resistance)}
    own: dict[str, Any] = {"channel": channel, "side": "switch"}
    yield _fault(
        "pin", "stuck-high", pin, closed=_only(driver), opened=_only(f"{name}.reset pull-down"), values=drives,
        from_rail=rail, alive=True, **own,
    )  # fmt: skip
    low = drives | {f"{name}.pin voltage": Toleranced.exact(0.0, "V")}
    yield _fault("pin", "stuck-low", pin, closed=_only(driver), values=low, alive=True, **own)
    yield _fault("pin", "floating", pin, opened=_only(driver, f"{name}.reset pull-down"), alive=True, **own)
    up = circuit.controller.pin.reset_pull_up
    pull_up = {driver: up if isinstance(up, Toleranced) else WEAK_PULL_UP}
    yield _fault(
        "pin", "pulled-up", pin, closed=_only(driver), opened=_only(f"{name}.reset pull-down"), values=pull_up,
        from_rail=rail, alive=True, **own,
    )  # fmt: skip
    yield from _resistor(channel, "gate series", "gate series", "gate series short", side="switch")
    if channel.pull_downs:
        yield from _each(channel, "pull-down", channel.pull_downs, series=False, side="switch")
    if channel.gate_capacitor is not None:
        part = f"{name}.gate capacitor"
        yield _fault("capacitor", "short", part, closed=_only(f"{name}.pull-down short"), **own)
        yield _fault("capacitor", "open", part, **own)


def _mosfet(channel: ChannelModel) -> Iterator[Fault]:
    name, part = channel.name, f"{channel.name}.mosfet"
    leaky = f"{name}.mosfet leaky"
    own: dict[str, Any] = {"channel": channel, "side": "switch"}
    yield _fault("mosfet", "drain-source-short", part, closed=_only(f"{name}.mosfet short"), **own)
    anything = {f"{name}.leaky": ANYTHING}
    both = _only(leaky, f"{name}.drain-gate short")
    off = _only(part)
    yield _fault("mosfet", "drain-gate-short", part, closed=both, opened=off, values=anything, **own)
    yield _fault("mosfet", "gate-source-short", part, closed=_only(f"{name}.pull-down short"), opened=off, **own)
    yield _fault("mosfet", "gate-open", part, closed=_only(leaky), opened=off, values=anything, **own)
    yield _fault("mosfet", "open", part, opened=_only(part, f"{part} off"), **own)
    resistance = fault_modes()["mosfet", "leaky"].resistance
    yield _fault("mosfet", "leaky", part, closed=_only(leaky), values={f"{name}.leaky": resistance}, **own)


def _line(circuit: Circuit, channel: ChannelModel) -> Iterator[Fault]:
    name = channel.name
    places: tuple[str, ...] = ("ground", "battery")
    if circuit.battery.bank_capacitance is not None:
        places += ("bank",)
    for end in ("out", "back"):
        part = f"{name}.lead {end}"
        yield _fault("lead", "open", part, channel, opened=_only(part))
        for where in places:
            yield _fault("lead", f"to-{where}", part, channel, closed=_only(f"{name}.line {end} to {where}"))
    yield _fault("lead", "short", f"{name}.line", channel, closed=_only(f"{name}.bridging"))
    for index, names in enumerate(igniter_names(channel), start=1):
        if channel.branch is not None:
            part = f"{name}.branch {index}"
            yield _fault("lead", "open", part, channel, opened=_only(part), igniters=frozenset(names))
        for igniter in names:
            touched = {"igniters": _only(igniter)}
            yield _fault("igniter", "open", igniter, channel, opened=_only(igniter), **touched)
            yield _fault("igniter", "short", igniter, channel, closed=_only(f"{igniter} short"), **touched)


def wet_faults(links: Iterable[str]) -> Iterator[Fault]:
    """Make the fault that each pair of pins of a connector is wet.

    Parameters
    ----------
    links : Elements between the pins, by whose names the faults go

    Examples
    --------
    >>> [fault.mode.mode for fault in wet_faults(["J1 wet, bus to ground"])]
    ['wet']
    """
    mode = fault_modes()["connector", "wet"]
    values = {} if mode.resistance is None else {"wet": mode.resistance}
    for name in links:
        yield Fault(name=name, part=name, mode=mode, closed=_only(name), values=values)


def _own(circuit: Circuit) -> Iterator[Fault]:
    """Shorts that the circuit file adds."""
    for one in circuit.given.faults.add:
        yield _fault("own", "short", one.name, closed=_only(own_name(one.name)))


def _harness(circuit: Circuit) -> Iterator[Fault]:
    for one, other in combinations(circuit.channels, 2):
        opened = {f"{c.name}.lead {end}" for c in (one, other) for end in ("out", "back")}
        closed = {swap_name(a, b, end) for a, b in ((one, other), (other, one)) for end in ("out", "back")}
        fault = _fault("harness", "swapped", "harness", opened=frozenset(opened), closed=frozenset(closed))
        yield replace(fault, name=f"pairs of {one.name} and {other.name} swapped", part=f"{one.name}, {other.name}")
