"""How many igniters this battery lights, from a few inputs: the answer, the ohms behind it, and what would help."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ignition.analyses.cluster.arrangement import ClusterCurrent, arranged, cluster_current, layouts, only_channel
from ignition.analyses.cluster.cold_day import ColdDay, cold_day
from ignition.analyses.cluster.how_many import MARGIN, HowMany, LikelyMany, how_many, how_many_likely
from ignition.analyses.cluster.ohm_budget import BatterySize, OhmShare, Remedies, battery_sizes, ohm_budget, remedies
from ignition.analyses.trials.trials import FiringTrials, firing_trials
from ignition.circuit.description import Description
from ignition.circuit.few_inputs import CHANNEL, FewInputs, circuit_from, describe
from ignition.circuit.model import Assumption, ChannelModel, Circuit
from ignition.errors import InputError
from ignition.toleranced import Toleranced

__all__ = ["ChargeUse", "ClusterAnswer", "best_layout", "charge_use", "cluster"]

_USABLE = 0.2
"""Share of the capacity that launches may take before the battery counts as another one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeUse:
    """Charge of one firing.

    Attributes
    ----------
    most : Highest current for the whole pulse [C]
    capacity : Least capacity of the battery [C]
    launches : Firings before a fifth of the capacity is used [1]; standing loads not counted
    """

    most: float | None
    capacity: float | None
    launches: int | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClusterAnswer:
    """Answer to "can this battery light so many at once?".

    Attributes
    ----------
    circuit : The circuit that was built from the inputs
    count : Igniters asked about [1]
    strings : Igniters in each string [1]
    verdict : ``PASS``, ``FAIL`` or ``UNKNOWN`` against 1.5 times that all-fire current at worst
    margin : Lowest current over the all-fire current at the coldest ambient [1]
    all_fire : All-fire current at the coldest ambient [A]
    most : Largest numbers in the worst case: parallel, series, mixed
    likely : Largest numbers at 99.9 % with 95 % confidence, in the same order; empty where not asked for
    sizes : Batteries of the same kind by the default table; empty where the chemistry is not given
    cautions : What the number does not cover in this case
    """

    circuit: Circuit
    count: int
    strings: tuple[int, ...]
    verdict: str
    margin: float | None
    current: ClusterCurrent
    all_fire: float | None
    most: tuple[HowMany, ...]
    likely: tuple[LikelyMany, ...]
    trials: FiringTrials | None
    budget: tuple[OhmShare, ...]
    remedies: Remedies
    sizes: tuple[BatterySize, ...]
    cold: tuple[ColdDay, ...]
    charge: ChargeUse
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...]


def cluster(
    given: FewInputs, count: int, arrangement: str = "parallel", *, trials: int = 20000, seed: int = 0
) -> ClusterAnswer:
    """Answer whether a battery lights a number of igniters at once, and how many it would.

    Raises InputError if a text cannot be read, or the count fits no such arrangement.

    Parameters
    ----------
    count : Igniters asked about [1]
    arrangement : ``parallel``, ``series`` or ``mixed`` (the best of all equal strings)
    trials : Trial firings for the probability [1]; 0: none
    seed : Seed of the random numbers [1]
    """
    strings = best_layout(given, count, arrangement)
    circuit = circuit_from(given, strings)
    channel = only_channel(circuit, CHANNEL)
    current = cluster_current(circuit, channel)
    all_fire = circuit.igniters[channel.strings[0][0]].all_fire_current
    margin = None if all_fire is None or current.lowest is None else current.lowest / all_fire
    fixes = remedies(circuit, channel)
    likely: tuple[LikelyMany, ...] = ()
    if trials:
        likely = tuple(how_many_likely(circuit, a, seed=seed) for a in ("parallel", "series", "mixed"))
    description = describe(given, strings)
    return ClusterAnswer(
        circuit=circuit,
        count=count,
        strings=strings,
        verdict="UNKNOWN" if margin is None else "PASS" if margin >= MARGIN else "FAIL",
        margin=margin,
        current=current,
        all_fire=all_fire,
        most=tuple(how_many(circuit, a) for a in ("parallel", "series", "mixed")),
        likely=likely,
        trials=firing_trials(circuit, trials, seed) if trials else None,
        budget=ohm_budget(circuit, channel),
        remedies=fixes,
        sizes=_sizes(circuit, description, fixes),
        cold=cold_day(description),
        charge=charge_use(circuit, channel, current),
        assumptions=circuit.assumptions,
        cautions=_cautions(circuit, channel, strings),
    )


def best_layout(given: FewInputs, count: int, arrangement: str) -> tuple[int, ...]:
    """Choose how to arrange a number of igniters: of the mixed ways the one of highest worst-case current [1].

    Raises InputError if there is no such arrangement.

    Parameters
    ----------
    count : Igniters [1]
    arrangement : ``parallel``, ``series`` or ``mixed``
    """
    ways = layouts(count, arrangement)
    if not ways:
        raise InputError(
            f"--count: {count} igniters do not make two or more equal strings of two or more; "
            "write an even number of 4 or more, or another arrangement"
        )
    if len(ways) == 1:
        return ways[0]
    base = circuit_from(given, ways[0])
    channel = base.channels[0]

    def lowest(strings: tuple[int, ...]) -> float:
        changed = arranged(base, channel, strings)
        return cluster_current(changed, changed.channels[0]).lowest or 0.0

    return max(ways, key=lowest)


def charge_use(circuit: Circuit, channel: ChannelModel, current: ClusterCurrent) -> ChargeUse:
    """Bound the charge of one firing, and count the firings of a charge.

    Parameters
    ----------
    current : From `cluster_current`

    Returns
    -------
    Charge and launches. A bridge that opens ends its current before the pulse does, so the charge is a bound; hot or
        spent bridges of less resistance raise it
    """
    capacity = circuit.battery.capacity
    kind = circuit.igniters[channel.strings[0][0]]
    total = current.total
    later = kind.heated if kind.spent_resistance is None else Toleranced.hull(kind.heated, kind.spent_resistance)
    if total is not None and later.low < kind.resistance.low:
        changed = {
            name: later
            for name in (
                f"{channel.name}.igniter {s}.{p}"
                for s, string in enumerate(channel.strings, 1)
                for p in range(1, len(string) + 1)
            )
        }
        after = cluster_current(circuit, channel, changed).total
        total = None if after is None else max(total, after)
    most = None if total is None else total * channel.pulse.high
    launches = None
    if most is not None and most > 0 and capacity is not None:
        launches = math.floor(_USABLE * capacity.low / most)
    return ChargeUse(most=most, capacity=None if capacity is None else capacity.low, launches=launches)


def _sizes(circuit: Circuit, description: Description, fixes: Remedies) -> tuple[BatterySize, ...]:
    given = description.battery
    if given.chemistry is None or fixes.battery_resistance is None:
        return ()
    return battery_sizes(
        circuit, given.chemistry, given.cells_in_series, given.cells_in_parallel, fixes.battery_resistance
    )


def _cautions(circuit: Circuit, channel: ChannelModel, strings: tuple[int, ...]) -> tuple[str, ...]:
    kind = circuit.igniters[channel.strings[0][0]]
    found = []
    if max(strings) > 1 and kind.spent_resistance is None:
        found.append(
            "In series the first bridge to open ends the current of its string: enough current is no proof that all "
            "of them function. Parallel does not have this failure."
        )
    if len(strings) > 1 and kind.spent_resistance is not None:
        found.append("A spent igniter that stays conductive takes current from the others in parallel.")
    if kind.all_fire is not None and channel.pulse.low < kind.all_fire.duration.high:
        found.append("The pulse may be shorter than the all-fire duration: its current alone proves nothing.")
    if circuit.battery.trip_current is None:
        found.append("Whether the battery's protection circuit trips at this current is not known.")
    return tuple(found)
