"""What would help: changes out of a small catalogue, each tried on the circuit against the faults that fire."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Annotated

import numpy as np

from ignition.analyses.faults.bench import Bench, Members
from ignition.analyses.faults.currents import highest_uncommanded, lowest_commanded
from ignition.analyses.faults.fault import Fault, every_fault
from ignition.analyses.faults.results import Faults
from ignition.analyses.faults.situations import situations
from ignition.analyses.faults.worst import Worst
from ignition.circuit.model import ChannelModel, Circuit, HighSideModel
from ignition.toleranced import Toleranced
from ignition.typing import Amps, Missing, Ratio

__all__ = ["Remedy", "remedies"]

_PIN_RESISTOR = Toleranced.exact(10e3, "ohm")
_CONTACT = Toleranced(low=0.01, nominal=0.05, high=0.1, unit="ohm")
"""A closed relay contact with its wires (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One change, tried against one fault that fires.

    Attributes
    ----------
    fault, phases : The fault, and the phases in which it fires without the change
    change : What is changed, in every channel
    parts : Parts that it takes more in each channel [1]
    helps : Whether the fault fires in no phase any more
    current, share : Highest current of an igniter that nobody commands, in the worst of those phases, and that over its
        no-fire current
    firing_before, firing_after : Lowest firing current over the all-fire current, nothing broken
    """

    fault: str
    phases: tuple[str, ...]
    change: str
    parts: Ratio
    helps: bool
    current: Amps
    share: Annotated[Ratio | None, Missing(otherwise="no no-fire current is given")]
    firing_before: Annotated[Ratio | None, Missing(otherwise="no all-fire current is given")]
    firing_after: Annotated[Ratio | None, Missing(otherwise="no all-fire current is given")]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Change:
    """An entry of the catalogue: the circuit with it, what parts are called there, and which faults it is tried on."""

    name: str
    parts: int
    circuit: Circuit
    renamed: Mapping[str, str] = field(default_factory=dict)
    covers: Callable[[Fault], bool] = lambda fault: True


def _no_common_cause(fault: Fault) -> bool:
    """Whether a second switch with a pin of its own stays off; a broken controller or supply may drive it too."""
    return fault.mode.kind not in ("controller", "regulator")


def remedies(circuit: Circuit, found: Faults) -> tuple[Remedy, ...]:
    """Try the catalogue on every single fault that fires; of each fault what helps, the fewest parts first.

    Faults of a contact that is added make pairs with those of the switch that is there. A phase in which it takes no
    fault at all is left out. What is wrong with the controller or its supply is taken to drive an added switch too.

    Parameters
    ----------
    found : Fault analysis of this circuit
    """
    firing: dict[str, list[str]] = {}
    for phase in found.phases:
        for row in phase.of("hazardous"):
            if len(row.faults) == 1 and phase.fewest == 1:
                firing.setdefault(row.faults[0], []).append(phase.phase)
    if not firing:
        return ()
    before = _firing_share(Bench.of(circuit, situations(circuit), ()))
    judged = {phase.phase for phase in found.phases if phase.fewest != 0}
    parts = {fault.name: fault.part for fault in every_fault(circuit)}
    changes = _catalogue(circuit)
    tried = [one for change in changes for one in _tried(change, parts, firing, judged, before) if one.helps]
    order = {fault: k for k, fault in enumerate(firing)}
    return tuple(sorted(tried, key=lambda one: (order[one.fault], one.parts)))


def _firing_share(bench: Bench) -> float | None:
    """Lowest firing current over the all-fire current with nothing broken."""
    found = lowest_commanded(bench, Members.each(range(len(bench.situations)), np.array([[-1]])))
    shares = found.share[found.igniter >= 0]
    return None if np.isnan(shares).any() or not len(shares) else float(shares.min())


def _catalogue(circuit: Circuit) -> Iterator[_Change]:
    """Changes that this circuit does not have yet."""

    def every(change: Callable[[ChannelModel], ChannelModel]) -> Circuit:
        return replace(circuit, channels=tuple(change(channel) for channel in circuit.channels))

    if any(len(channel.uppers) == 1 for channel in circuit.channels):
        yield _Change(
            name="upper resistor split into two of half its value",
            parts=1,
            circuit=every(lambda c: replace(c, uppers=_halved(c.uppers))),
            renamed=_first_of_two(c.name + ".upper" for c in circuit.channels if len(c.uppers) == 1),
        )
    if any(channel.pin_resistor.high < _PIN_RESISTOR.low for channel in circuit.channels):
        yield _Change(
            name="10 kohm between divider and converter pin",
            parts=1,
            circuit=every(lambda c: replace(c, pin_resistor=_PIN_RESISTOR)),
        )
    if any(len(channel.pull_downs) == 1 for channel in circuit.channels):
        yield _Change(
            name="pull-down replaced by two of twice its value in parallel",
            parts=1,
            circuit=every(lambda c: replace(c, pull_downs=_doubled(c.pull_downs))),
            renamed=_first_of_two(c.name + ".pull-down" for c in circuit.channels if len(c.pull_downs) == 1),
        )
    if any(channel.high_side is None for channel in circuit.channels):
        yield _Change(
            name="relay contact on the high side of each channel, with a pin of its own, and a resistor like the upper "
            "one around it",
            parts=2,
            circuit=every(_with_high_side),
            covers=_no_common_cause,
        )
    if any(channel.return_contact is None for channel in circuit.channels):
        yield _Change(name="pole of the arm switch in the return of each line", parts=1, circuit=every(_with_return))
    if any(channel.shunt is None for channel in circuit.channels):
        yield _Change(
            name="contact that shunts each line while disarmed",
            parts=1,
            circuit=every(lambda c: replace(c, shunt=c.shunt or _CONTACT)),
        )


def _first_of_two(parts: Iterable[str]) -> dict[str, str]:
    """What parts are called that get a second one beside them."""
    return {part: f"{part} 1" for part in parts}


def _halved(uppers: tuple[Toleranced, ...]) -> tuple[Toleranced, ...]:
    return (uppers[0].times(0.5),) * 2 if len(uppers) == 1 else uppers


def _doubled(pull_downs: tuple[Toleranced, ...]) -> tuple[Toleranced, ...]:
    return (pull_downs[0].times(2.0),) * 2 if len(pull_downs) == 1 else pull_downs


def _with_high_side(channel: ChannelModel) -> ChannelModel:
    if channel.high_side is not None:
        return channel
    switch = HighSideModel(resistance=_CONTACT, around=channel.upper)
    return replace(channel, high_side=switch)


def _with_return(channel: ChannelModel) -> ChannelModel:
    if channel.return_contact is not None:
        return channel
    return replace(channel, return_contact=_CONTACT)


def _tried(
    change: _Change, parts: Mapping[str, str], firing: dict[str, list[str]], judged: set[str], before: float | None
) -> Iterator[Remedy]:
    """Every fault that fires, on the circuit with a change, in the phases in which it takes a fault to fire.

    `parts` has the part of each fault, by its name: on the changed circuit that may be called otherwise.
    """
    by_name = {fault.name: fault for fault in every_fault(change.circuit)}
    there = {
        name: change.renamed[parts[name]] + name.removeprefix(parts[name]) if parts[name] in change.renamed else name
        for name in firing
    }
    firing = {name: phases for name, phases in firing.items() if change.covers(by_name[there[name]])}
    some = [by_name[there[name]] for name in firing]
    bench = Bench.of(change.circuit, situations(change.circuit), some)
    after, count = _firing_share(bench), len(some)
    members = Members.each(bench.numbers(*judged), np.arange(count)[:, None])
    found = highest_uncommanded(bench, members)
    for number, (name, phases) in enumerate(firing.items()):
        rows = range(number, len(members.situations), count)
        yield _remedy(change, name, tuple(phases), found, rows, (before, after))


def _remedy(
    change: _Change,
    fault: str,
    phases: tuple[str, ...],
    found: Worst,
    rows: Sequence[int],
    firing: tuple[float | None, float | None],
) -> Remedy:
    share, current = found.share[rows], found.current[rows]
    worst = int(np.argmax(np.where(np.isnan(share), -1.0, share)))
    helps = not found.beyond[rows].any() and bool(found.settled[rows].all())
    largest = float(share.ravel()[worst])
    return Remedy(
        fault=fault,
        phases=phases,
        change=change.name,
        parts=change.parts,
        helps=helps,
        current=float(current.ravel()[worst]),
        share=None if np.isnan(largest) else largest,
        firing_before=firing[0],
        firing_after=firing[1],
    )
