"""Faults at the arming edge: what holds the gate is broken, and the rising drain lifts it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Literal

from ignition.analyses.faults.fault import single_faults
from ignition.analyses.faults.modes import fault_modes
from ignition.analyses.no_fire.switch_on import ChannelSwitchOn, SwitchOn, edge_inputs, switch_ons
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.whole import part_name
from ignition.toleranced import Toleranced
from ignition.typing import Amps, Key, Missing, Ratio, Volts

__all__ = ["ArmingClass", "ArmingFault", "arming_faults"]

ArmingClass = Literal["hazardous", "harmless", "not judged", "not solved"]

_NEAR = 0.2
"""Thermal fraction from which on the worst corner decides [1]."""

_OPEN = Toleranced.exact(1e12, "ohm")


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmingFault:
    """One broken part as the arm switch closes, and the igniter of its channel that comes nearest to function.

    Attributes
    ----------
    fault : Its name; empty for nothing broken
    thermal_fraction : Highest share of the temperature rise to function, after all closures of one throw
    current, gate_voltage : Highest igniter current and gate voltage of the edge
    hold : What holds the gate there
    """

    fault: str
    channel: str
    igniter: str
    kind: Annotated[ArmingClass, Key("class")]
    thermal_fraction: Annotated[
        Ratio | None,
        Missing(otherwise="not solved, or a key is not given", infinite="the gate stays above its threshold"),
    ]
    current: Annotated[Amps | None, Key("peak_igniter_current"), Missing(otherwise="not solved, or a key is not given")]
    gate_voltage: Annotated[
        Volts | None, Key("peak_gate_voltage"), Missing(otherwise="not solved, or a key is not given")
    ]
    hold: str


def arming_faults(circuit: Circuit) -> tuple[ArmingFault, ...]:
    """Analyse the arming edge with nothing broken, and with each part broken that holds a gate or slows it.

    Those are the pull-downs, the resistor between pin and gate, the pin itself and the capacitor at the gate. Of other
    faults the edge brings about what the phases after it are analysed for: a shorted MOSFET conducts then too. The
    search goes to the last corner where a thermal fraction is near function; others may be a little low.

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> found = arming_faults(load_example("kelp-line-cutter"))
    >>> [one.fault for one in found if one.kind == "hazardous"]
    ['line.pull-down open', 'line.gate capacitor open']
    """
    known = {fault.name for fault in single_faults(circuit)}
    tried = [("", channel, circuit) for channel in circuit.channels]
    for channel in circuit.channels:
        for name, changed in _broken(channel):
            if name in known:
                channels = tuple(changed if one is channel else one for one in circuit.channels)
                tried.append((name, channel, replace(circuit, channels=channels)))
    different = {edge_inputs(changed): changed for _, _, changed in tried}
    solved = dict(zip(different, switch_ons(list(different.values()), climb=False), strict=True))
    near = {inputs: different[inputs] for inputs, found in solved.items() if _is_near(found)}
    solved |= zip(near, switch_ons(list(near.values())), strict=True)
    return tuple(
        _told(name, channel, changed, solved[edge_inputs(changed)].channels[circuit.channels.index(channel)])
        for name, channel, changed in tried
    )


def _is_near(found: SwitchOn) -> bool:
    """Whether some igniter is neither far below function nor beyond it."""
    return any(_NEAR <= one.judged.bounced_fraction < 1.0 for channel in found.channels for one in channel.igniters)


def _broken(channel: ChannelModel) -> Iterator[tuple[str, ChannelModel]]:
    """Each fault of a part that holds the gate or softens the edge, by name, and the channel with it."""
    name, scale = channel.name, fault_modes()["resistor", "drifted"].scale or (1.0, 1.0)
    for number, own in enumerate(channel.pull_downs):
        part = part_name(channel, "pull-down", number, len(channel.pull_downs))
        before, after = channel.pull_downs[:number], channel.pull_downs[number + 1 :]
        yield f"{part} open", replace(channel, pull_downs=(*before, *after))
        yield f"{part} drifted", replace(channel, pull_downs=(*before, _drifted(own, scale), *after))
    series = channel.gate_series
    yield f"{name}.gate series open", replace(channel, gate_series=_OPEN)
    yield f"{name}.gate series drifted", replace(channel, gate_series=_drifted(series, scale))
    yield f"{name}.gate pin floating", replace(channel, gate_series=_OPEN)
    yield f"{name}.gate capacitor open", replace(channel, gate_capacitor=None)
    if channel.high_side is not None:
        welded = channel.high_side.closed
        if channel.return_contact is not None:  # it may close last: the charge of the wire out is behind both
            welded = replace(welded, low=0.0)
        lead = replace(channel.lead, resistance=channel.lead.resistance + welded)
        yield f"{name}.high side stuck-closed", replace(channel, high_side=None, lead=lead)
        yield f"{name}.around short", replace(channel, high_side=None)


def _drifted(value: Toleranced, scale: Sequence[float]) -> Toleranced:
    return replace(value, low=scale[0] * value.low, high=scale[1] * value.high)


def _told(name: str, channel: ChannelModel, circuit: Circuit, found: ChannelSwitchOn) -> ArmingFault:
    worst, kinds = found.worst, {kind for string in channel.strings for kind in string}
    thresholds = [circuit.igniters[kind].threshold_low for kind in kinds]
    solved = worst is not None and all(one.known for one in found.igniters)
    kind: ArmingClass = "harmless"
    if 0.0 in thresholds or (worst is not None and solved and worst.judged.bounced_fraction >= 1.0):
        kind = "hazardous"
    elif found.missing or None in thresholds:
        kind = "not judged"
    elif not solved:
        kind = "not solved"
    judged = worst.judged if worst is not None and solved else None
    return ArmingFault(
        fault=name,
        channel=channel.name,
        igniter=f"{channel.name}.igniter 1.1" if worst is None else worst.igniter,
        kind=kind,
        thermal_fraction=None if judged is None else judged.bounced_fraction,
        current=None if judged is None else judged.current,
        gate_voltage=None if judged is None else judged.gate_voltage,
        hold="" if worst is None else worst.hold,
    )
