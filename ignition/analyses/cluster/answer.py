"""How many igniters this battery lights, from a few inputs: the answer, the ohms behind it, and what would help."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Annotated

from ignition.analyses.cluster.arrangement import ClusterCurrent, arranged, cluster_current, layouts, only_channel
from ignition.analyses.cluster.cold_day import ColdDay, cold_day
from ignition.analyses.cluster.findings import cluster_findings
from ignition.analyses.cluster.how_many import MARGIN, HowMany, LikelyMany, how_many, how_many_likely
from ignition.analyses.cluster.ohm_budget import BatterySize, OhmShare, Remedies, battery_sizes, ohm_budget, remedies
from ignition.analyses.trials.trials import FiringTrials, ProbabilityAllFire, firing_trials, probability_all_fire
from ignition.circuit.description import Description
from ignition.circuit.few_inputs import CHANNEL, FewInputs, circuit_from, describe, few_assumptions
from ignition.circuit.model import Assumption, ChannelModel, Circuit
from ignition.errors import InputError
from ignition.findings.finding import Finding, worst_verdict
from ignition.toleranced import Toleranced
from ignition.typing import BARE, HIDDEN, INLINE, Amps, Coulombs, Key, Missing, Ratio
from ignition.units import engineering

__all__ = ["ChargeUse", "ClusterAnswer", "NO_ALL_FIRE", "best_layout", "charge_use", "cluster"]

NO_ALL_FIRE = "the all-fire current is not given"
"""Why there is no margin to it."""

_USABLE = 0.2
"""Share of the capacity that launches may take before the battery counts as another one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeUse:
    """Charge of one firing.

    Attributes
    ----------
    most : Highest current for the whole pulse
    capacity : Least capacity of the battery
    launches : Firings before a fifth of the capacity is used [1]; standing loads not counted
    """

    most: Annotated[Coulombs | None, Key("charge_per_firing")]
    capacity: Annotated[Coulombs | None, HIDDEN]
    launches: Annotated[
        int | None, Key("launches_per_fifth_of_charge"), Missing(field="", otherwise="the capacity is not given")
    ]
    reason: Annotated[str | None, HIDDEN]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClusterAnswer:
    """Answer to "can this battery light so many at once?".

    Attributes
    ----------
    circuit : The circuit that was built from the inputs
    count : Igniters asked about [1]
    strings : Igniters in each string [1]
    findings : What a circuit file of these inputs would get, as far as they were asked for
    margin : Lowest current over the all-fire current at the coldest ambient
    all_fire : All-fire current at the coldest ambient
    most : Largest numbers in the worst case: parallel, series, mixed
    likely : Largest numbers at 99.9 % with 95 % confidence, in the same order; empty where not asked for
    cautions : What the number does not cover in this case
    """

    circuit: Annotated[Circuit, HIDDEN]
    count: int
    strings: tuple[int, ...]
    findings: tuple[Finding, ...]
    margin: Annotated[Ratio | None, Key("all_fire_margin"), Missing(otherwise=NO_ALL_FIRE)]
    current: Annotated[ClusterCurrent, INLINE]
    all_fire: Annotated[Amps | None, Missing(field="", otherwise=NO_ALL_FIRE)]
    most: tuple[HowMany, ...]
    likely: Annotated[tuple[LikelyMany, ...], Key("most_likely")]
    trials: Annotated[FiringTrials | None, HIDDEN]
    budget: Annotated[tuple[OhmShare, ...], Key("ohms")]
    remedies: Annotated[Remedies, Key("would_do")]
    cold: Annotated[tuple[ColdDay, ...], Key("cold_day")]
    charge: Annotated[ChargeUse, INLINE]
    assumptions: tuple[Assumption, ...]
    cautions: tuple[str, ...]
    margin_asked: Annotated[Ratio, BARE] = MARGIN

    @property
    def verdict(self) -> Annotated[str, Key("verdict")]:
        """The worst of all findings."""
        return worst_verdict(self.findings)

    @property
    def reason(self) -> str | None:
        """Why there is no current."""
        return self.current.reason

    @property
    def arrangement(self) -> str:
        """The arrangement in words."""
        count = sum(self.strings)
        if count == 1:
            return "1 igniter"
        if len(self.strings) == 1:
            return f"{count} igniters in series"
        if self.strings[0] == 1:
            return f"{count} igniters in parallel"
        return f"{count} igniters, {len(self.strings)} strings of {self.strings[0]}"

    @property
    def says(self) -> Annotated[str, Key("says")]:
        """The answer in one sentence."""
        if self.margin is None:
            return f"{self.verdict}: {self.arrangement}: {self.reason or NO_ALL_FIRE}."
        worst = engineering(self.current.lowest, "A", towards="down")
        times = engineering(self.margin, "1", towards="down")
        return f"{self.verdict}: {self.arrangement}: at worst {worst} each, {times} times all-fire."

    @property
    def probability(self) -> Annotated[ProbabilityAllFire, Key("probability_all_fire")]:
        """Probability that all function."""
        return probability_all_fire(self.trials)


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
        findings=cluster_findings(given, circuit),
        margin=margin,
        current=current,
        all_fire=all_fire,
        most=tuple(how_many(circuit, a) for a in ("parallel", "series", "mixed")),
        likely=likely,
        trials=firing_trials(circuit, trials, seed) if trials else None,
        budget=ohm_budget(circuit, channel),
        remedies=replace(fixes, battery_sizes=_sizes(circuit, description, fixes)),
        cold=cold_day(description),
        charge=charge_use(circuit, channel, current),
        assumptions=few_assumptions(given, circuit),
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
    total, reason = current.total, current.reason
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
        after = cluster_current(circuit, channel, changed)
        total, reason = None if after.total is None else max(total, after.total), after.reason
    most = None if total is None else total * channel.pulse.high
    launches = None
    if most is not None and most > 0 and capacity is not None:
        launches = math.floor(_USABLE * capacity.low / most)
    return ChargeUse(most=most, capacity=None if capacity is None else capacity.low, launches=launches, reason=reason)


def _sizes(circuit: Circuit, description: Description, fixes: Remedies) -> tuple[BatterySize, ...]:
    given = description.battery
    if given.chemistry is None or given.cells_in_series is None or fixes.battery_resistance is None:
        return ()
    parallel = given.cells_in_parallel or 1
    return battery_sizes(circuit, given.chemistry, given.cells_in_series, parallel, fixes.battery_resistance)


def _cautions(circuit: Circuit, channel: ChannelModel, strings: tuple[int, ...]) -> tuple[str, ...]:
    kind = circuit.igniters[channel.strings[0][0]]
    found = []
    if max(strings) > 1 and circuit.given.igniter[kind.name].spent in (None, "open"):
        found.append(
            "In series the first bridge to open ends the current of its string: enough current is no proof that all "
            "of them function. Parallel does not have this failure."
        )
    if len(strings) > 1 and kind.spent_resistance is not None:
        found.append("A spent igniter that stays conductive takes current from the others in parallel.")
    if kind.all_fire is not None and channel.pulse.low < kind.all_fire.duration.high:
        found.append("The pulse may be shorter than the all-fire duration: its current alone proves nothing.")
    if not circuit.battery.protection_known:
        found.append("Whether the battery's protection circuit trips at this current is not known.")
    return tuple(found)
