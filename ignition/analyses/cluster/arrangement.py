"""One channel's igniters arranged in parallel, in series or mixed, and the lowest current that each gets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated

import numpy as np

from ignition.analyses.firing.on_state import Settled
from ignition.analyses.firing.sequence import hold_tree_to_network, march_arguments
from ignition.analyses.firing.transient.ladder import ClusterTree, tree_currents
from ignition.circuit.model import ChannelModel, Circuit
from ignition.errors import InputError
from ignition.network.template import igniter_names
from ignition.toleranced import Spread, Toleranced
from ignition.typing import HIDDEN, Amps, FloatArray, Key

__all__ = ["ARRANGEMENTS", "ClusterCurrent", "MOST_IGNITERS", "arranged", "cluster_current", "layouts", "only_channel"]

ARRANGEMENTS = ("parallel", "series", "mixed")
"""Each igniter alone on the line; all in one string; several equal strings of two or more."""

MOST_IGNITERS = 64
"""Largest number of igniters that is tried."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClusterCurrent:
    """Current of each igniter of a cluster of equal igniters, all unfired.

    Attributes
    ----------
    lowest, nominal, highest : Current of one igniter; lowest and highest over all tolerances. None where the gate may
        stay below the lowest row of the MOSFET's data sheet
    total : Highest current of the channel
    """

    lowest: Annotated[Amps | None, HIDDEN]
    nominal: Annotated[Amps | None, HIDDEN]
    highest: Annotated[Amps | None, HIDDEN]
    total: Annotated[Amps | None, Key("highest_battery_current")]
    reason: Annotated[str | None, HIDDEN]

    @property
    def each(self) -> Annotated[Spread, Key("current")]:
        """Current of one igniter [A]."""
        return Spread(low=self.lowest, nominal=self.nominal, high=self.highest, unit="A", reason=self.reason)


def only_channel(circuit: Circuit, channel: str | None = None) -> ChannelModel:
    """Find the channel whose cluster is asked about; its igniters are all of one type.

    Raises InputError if the channel is not clear, or it mixes igniter types.

    Parameters
    ----------
    channel : Its name; may be left out where there is one channel only
    """
    names = [c.name for c in circuit.channels]
    if channel is None and len(names) > 1:
        raise InputError(f"this circuit has several channels: name one of {', '.join(names)}")
    if channel is not None and channel not in names:
        raise InputError(f"no channel is called {channel!r}; there are {', '.join(names)}")
    found = circuit.channels[0] if channel is None else circuit.channel(channel)
    kinds = {kind for string in found.strings for kind in string}
    if len(kinds) > 1:
        raise InputError(
            f"channel {found.name!r} mixes the igniter types {', '.join(sorted(kinds))}; "
            "how many fire is answered for one type"
        )
    return found


def arranged(circuit: Circuit, channel: ChannelModel, strings: tuple[int, ...]) -> Circuit:
    """Rearrange a circuit's channel.

    Parameters
    ----------
    strings : Igniters in each string [1]

    Returns
    -------
    The same with that cluster, that channel alone
    """
    kind = channel.strings[0][0]
    cluster = replace(channel, strings=tuple((kind,) * number for number in strings))
    return replace(circuit, channels=(cluster,))


def layouts(count: int, arrangement: str) -> tuple[tuple[int, ...], ...]:
    """List the ways of arranging a number of igniters.

    Raises InputError if the arrangement is unknown or the count out of range.

    Parameters
    ----------
    count : Igniters [1]
    arrangement : One of `ARRANGEMENTS`

    Returns
    -------
    Igniters in each string [1]; for mixed, every way of two or more equal strings of two or more; may be empty
    """
    if arrangement not in ARRANGEMENTS:
        raise InputError(f"arrangement: one of {', '.join(ARRANGEMENTS)} expected, received {arrangement!r}")
    if not 1 <= count <= MOST_IGNITERS:
        raise InputError(f"count: from 1 to {MOST_IGNITERS} igniters expected, received {count!r}")
    if arrangement == "parallel":
        return ((1,) * count,)
    if arrangement == "series":
        return ((count,),)
    return tuple((count // strings,) * strings for strings in range(2, count // 2 + 1) if count % strings == 0)


def cluster_current(
    circuit: Circuit,
    channel: ChannelModel,
    changed: Mapping[str, Toleranced] | None = None,
    settled: Settled | None = None,
) -> ClusterCurrent:
    """Find the current of one igniter of a cluster of equal igniters.

    The current of an igniter falls with the resistance of everything in series with it (battery, feed, lead, switch,
    its own string) and with the standing loads, and rises with the battery's voltage and with the resistance of the
    other strings, which take less then. A slow part of the battery's resistance is in the bounds of its on-states: in
    full in the lowest current, not at all in the others. Sense dividers, some 1e-5 of the load, are left out.

    Parameters
    ----------
    circuit : The circuit, as from `arranged`
    changed : Network parameters that replace the circuit's [SI]
    settled : The circuit's on-states, where they are known already
    """
    hold_tree_to_network(circuit)
    states, box = (settled or Settled(circuit)).of(frozenset({channel.name}))
    state = states[channel.name]
    box = {**box, **(changed or {})}
    if state.rows[0] < 0:
        return ClusterCurrent(
            lowest=None,
            nominal=None,
            highest=None,
            total=None,
            reason=f"the gate may get only {state.gate_voltage.low:.3g} V, below the lowest on-resistance row",
        )
    lowest, _ = _solve(circuit, channel, box, weak=True)
    highest, _ = _solve(circuit, channel, box, weak=False)
    nominal, _ = _solve(circuit, channel, box, weak=None)
    _, total = _solve(circuit, channel, box, weak=False, alike=True)
    return ClusterCurrent(lowest=lowest, nominal=nominal, highest=highest, total=total, reason=None)


def _solve(
    circuit: Circuit, channel: ChannelModel, box: Mapping[str, Toleranced], *, weak: bool | None, alike: bool = False
) -> tuple[float, float]:
    """Current of the first string and of the channel: worst for it, best for it, or nominal [A].

    With `alike` the other strings go the way of the first: the corner of the channel's own current.
    """
    names = igniter_names(channel)
    first = {*names[0], f"{channel.name}.branch 1"}
    others = {n for string in names[1:] for n in string}
    others |= {f"{channel.name}.branch {i + 1}" for i in range(1, len(names))}
    values: dict[str, float] = {}
    for name, value in box.items():
        if weak is None:
            values[name] = value.nominal
            continue
        high = weak
        if name in ("battery.voltage", "bank.voltage") or (name in others and not alike and name not in first):
            high = not weak
        values[name] = value.high if high else value.low
    arguments = march_arguments(circuit, values)
    tree = ClusterTree(
        channel_of_string=(0,) * len(names), string_of_igniter=tuple(i for i, s in enumerate(names) for _ in s)
    )
    voltage: FloatArray = arguments["voltage"]
    if circuit.battery.bank_capacitance is not None:
        voltage = np.asarray(values["bank.voltage"])
    answer = tree_currents(
        tree,
        voltage=voltage,
        source_resistance=arguments["source_resistance"],
        channel_resistance=arguments["channel_resistance"],
        string_resistance=arguments["string_resistance"],
        igniter_resistance=arguments["igniter_resistance"],
    )
    return float(answer.string_current[0, 0]), float(answer.channel_current[0, 0])
