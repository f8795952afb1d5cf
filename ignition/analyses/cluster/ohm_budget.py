"""Where the ohms of a firing circuit are, and what would have to be smaller, thicker or shorter for it to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

from ignition.analyses.cluster.arrangement import cluster_current
from ignition.analyses.cluster.how_many import MARGIN
from ignition.analyses.firing.on_state import Settled
from ignition.circuit.model import ChannelModel, Circuit
from ignition.network.template import igniter_names
from ignition.parts.battery import chemistry
from ignition.parts.battery_bounds import resistance_growth
from ignition.parts.conductor import conductor_area, copper_resistance
from ignition.parts.wire import resistance_range
from ignition.toleranced import Toleranced
from ignition.typing import BARE, Coulombs, Key, Metres, Missing, Ohms, Ratio

__all__ = ["BatterySize", "OhmShare", "Remedies", "WIRES", "battery_sizes", "ohm_budget", "remedies"]

WIRES = tuple(f"AWG {gauge}" for gauge in range(30, 4, -2))
"""Standard wires that are tried, from the thinnest."""

_MOST_OHMS = 1e3


@dataclass(frozen=True, slots=True, kw_only=True)
class OhmShare:
    """One part of the loop's resistance.

    Attributes
    ----------
    part : Which, for example ``battery`` or ``igniters (4 in parallel)``
    resistance : As the battery sees it [ohm]
    share : Of the nominal loop
    """

    part: str
    resistance: Toleranced
    share: Annotated[Ratio, BARE]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatterySize:
    """A battery of the same chemistry and cells, by the table of default resistances.

    Attributes
    ----------
    capacity : Least capacity of one cell
    resistance : Highest resistance of the battery over the ambient range
    enough : Whether the worst case would do with it
    """

    capacity: Annotated[Coulombs, BARE, Key("cell_capacity")]
    resistance: Annotated[Ohms, BARE]
    enough: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedies:
    """What would just do, everything else as it is; None where nothing would, or the question makes no sense.

    Attributes
    ----------
    battery_resistance : Highest resistance that the battery may have
    longest_lead : Longest lead of the present wire, one way
    lead_resistance : Highest round-trip resistance of the lead, joints included
    battery_sizes : Batteries of the same kind by the default table; empty where the chemistry is not given
    """

    battery_resistance: Annotated[Ohms | None, Missing(otherwise="no battery would")]
    thinnest_wire: str | None
    longest_lead: Annotated[Metres | None, Missing(otherwise="no wire and length are given")]
    lead_resistance: Annotated[Ohms | None, Missing(otherwise="no lead would")]
    battery_sizes: tuple[BatterySize, ...] = ()


def ohm_budget(circuit: Circuit, channel: ChannelModel) -> tuple[OhmShare, ...]:
    """Split up the resistance of a channel's loop, the largest part first.

    Returns
    -------
    Battery, feed parts, wire and joints of the lead, contacts of the line, branches, MOSFET, igniters
    """
    _, box = Settled(circuit).of(frozenset({channel.name}))
    strings, length = len(channel.strings), len(channel.strings[0])
    source = "capacitor bank" if circuit.battery.bank_resistance is not None else "battery"
    resistance = circuit.battery.bank_resistance or circuit.battery.resistance
    parts: list[tuple[str, Toleranced]] = [(source, resistance)]
    parts += [(part.name, part.resistance) for part in circuit.feed]
    parts += [("lead, wire", channel.lead.round_trip), ("lead, joints", channel.lead.joints)]
    if channel.contacts_fired.high > 0.0:
        parts.append(("contacts of the line", channel.contacts_fired))
    parts.append(("MOSFET", box[f"{channel.name}.mosfet"]))
    if channel.branch is not None:
        parts.append((f"branches ({strings} in parallel)", channel.branch.resistance.times(1.0 / strings)))
    bridge = box[igniter_names(channel)[0][0]].times(length / strings)
    words = [f"{length} in series"] if length > 1 else []
    words += [f"{strings} in parallel"] if strings > 1 else []
    parts.append(("igniters" + (f" ({', '.join(words)})" if words else ""), bridge))
    total = sum(value.nominal for _, value in parts)
    shares = [
        OhmShare(part=part, resistance=value, share=value.nominal / total if total > 0 else 0.0)
        for part, value in parts
    ]
    return tuple(sorted(shares, key=lambda s: (-s.share, s.part)))


def _least_margin(
    circuit: Circuit, channel: ChannelModel, changed: dict[str, Toleranced], settled: Settled
) -> float | None:
    all_fire = circuit.igniters[channel.strings[0][0]].all_fire_current
    current = cluster_current(circuit, channel, changed, settled)
    if all_fire is None or current.lowest is None:
        return None
    return current.lowest / all_fire


def _highest(enough: Callable[[float], bool]) -> float | None:
    """Highest resistance that is enough, None where not even zero is [ohm]."""
    if not enough(0.0):
        return None
    low, high = 0.0, 1e-3
    while enough(high):
        low, high = high, 2.0 * high
        if high > _MOST_OHMS:
            return None
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if enough(middle) else (low, middle)
    return low


def remedies(circuit: Circuit, channel: ChannelModel, margin: float = MARGIN) -> Remedies:
    """Find what one change would have to reach for the worst case to do.

    The MOSFET's on-resistance is kept at its present bounds: with a stiffer battery its gate gets no less. For the
    wire, the length is the longest and the temperature the hottest of their tolerances.

    Parameters
    ----------
    margin : Lowest current asked for over the all-fire current [1]
    """
    settled = Settled(circuit)

    def enough(name: str, ohms: float) -> bool:
        found = _least_margin(circuit, channel, {name: Toleranced.exact(ohms, "ohm")}, settled)
        return found is not None and found >= margin

    source = "bank.resistance" if circuit.battery.bank_resistance is not None else "battery.resistance"
    lead = f"{channel.name}.lead"
    most = _highest(lambda ohms: enough(lead, ohms))
    thinnest = longest = None
    wiring = channel.lead
    if most is not None and wiring.distance is not None and wiring.area is not None:
        hot = circuit.ambient.high
        length = 2.0 * wiring.distance.high
        free = most - wiring.joints.high
        thinnest = next((w for w in WIRES if _highest_resistance(w, length, hot) <= free), None)
        longest = max(free, 0.0) / float(copper_resistance(2.0, wiring.area.low, hot))
    return Remedies(
        battery_resistance=_highest(lambda ohms: enough(source, ohms)),
        thinnest_wire=thinnest,
        longest_lead=longest,
        lead_resistance=most,
    )


def _highest_resistance(wire: str, length: float, temperature: float) -> float:
    """Resistance of a length of wire of any make-up [ohm]."""
    return float(copper_resistance(length, conductor_area(wire), temperature)) * resistance_range(wire).high


def battery_sizes(
    circuit: Circuit, chemistry_name: str, series: int, parallel: int, most_resistance: float
) -> tuple[BatterySize, ...]:
    """Compare a limit of the battery's resistance with the default resistances of its chemistry.

    Parameters
    ----------
    series, parallel : Cells [1]
    most_resistance : Highest resistance that the battery may have [ohm]
    """
    entry = chemistry(chemistry_name)
    factor = resistance_growth(entry, circuit.ambient, Toleranced.exact(25.0, "degC")).high * series / parallel
    rows = [
        BatterySize(capacity=row.capacity, resistance=row.high * factor, enough=row.high * factor <= most_resistance)
        for row in entry.cell_resistance
    ]
    return tuple(sorted(rows, key=lambda row: row.capacity))
