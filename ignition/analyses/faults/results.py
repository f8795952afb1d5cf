"""Results of a fault analysis: rows of faults by phase, what stands between battery and igniter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from ignition.analyses.faults.fault import Fault
from ignition.typing import BARE, HIDDEN, Amps, Key, Missing, Ratio

__all__ = ["FaultClass", "FaultRow", "Faults", "Inhibit", "PhaseFaults"]

FaultClass = Literal["hazardous", "dud", "detected", "latent", "harmless", "not judged", "not solved"]
"""``hazardous``: an igniter that nobody commands may reach its no-fire current. ``dud``: a commanded igniter may miss
its all-fire current. ``detected``: a reading that no healthy circuit gives shows it. ``latent``: none does, and with
one more fault it is hazardous where that one alone is not. ``harmless``: none of these."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultRow:
    """One set of faults in one phase.

    Attributes
    ----------
    faults : Their names
    channel, igniter : Where the current flows
    controller : Alive or dead, whichever is worse
    current : Highest current of an igniter that nobody commands, in either direction, of the one nearest to its no-fire
        current; of a dud, and where every igniter is commanded, the lowest firing current; None where it is not solved
    limit : Lowest no-fire current of that igniter, or highest all-fire current of the one commanded
    commanded : Whether it is the current of a commanded igniter
    thermal_fraction : Share of the temperature rise to function that this current holds an uncommanded igniter at
    likelihood : Relative to other sets of as many faults: the product of what the file weights each with, or of the
        shares that their modes have of their parts' failures
    battery_current : Highest current out of the battery, of single faults
    pin_currents : Highest current into the clamp of each controller pin on the lines, of single faults
    detected_by : Readings that no healthy circuit gives, each with its phase
    """

    faults: tuple[str, ...]
    channel: str
    igniter: str
    controller: str
    current: Annotated[Amps | None, Key("igniter_current"), Missing(otherwise="not solved")]
    limit: Annotated[Amps | None, Missing(otherwise="the file gives none")]
    commanded: bool
    thermal_fraction: Annotated[Ratio | None, Missing(otherwise="no no-fire current is given, or it is not solved")]
    likelihood: Annotated[Ratio | None, Missing(otherwise="neither a weight nor a share is known of every fault")]
    battery_current: Annotated[Amps | None, Missing(otherwise="not solved, or computed for single faults only")]
    pin_currents: dict[str, Annotated[Amps | None, Missing(otherwise="not solved")]]
    kind: Annotated[FaultClass, Key("class")]
    detected_by: tuple[str, ...]
    members: Annotated[tuple[Fault, ...], HIDDEN]

    @property
    def share(
        self,
    ) -> Annotated[
        Ratio | None, Key("share_of_limit"), Missing(otherwise="there is no limit above zero, or it is not solved")
    ]:
        """Current over limit."""
        return None if self.current is None or not self.limit else self.current / self.limit


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseFaults:
    """All sets of faults in one phase: every single one, and of more the smallest that are hazardous.

    Attributes
    ----------
    fewest : Least number of simultaneous faults that may fire an igniter nobody commands; None where none was found, or
        where it is not known because smaller sets are not solved
    unsolved : Size of the smallest sets that are not solved; None where all are
    pairs : Number of minimal pairs, whether or not they are listed
    recurring : Parts of the smallest sets, each with the number of sets that it is in, the most frequent first
    """

    phase: str
    faults: tuple[FaultRow, ...]
    fewest: Annotated[int | None, HIDDEN]
    unsolved: Annotated[int | None, HIDDEN]
    pairs: Annotated[int, HIDDEN]
    recurring: Annotated[Mapping[str, int], BARE]

    def of(self, *kinds: FaultClass) -> tuple[FaultRow, ...]:
        """Return the rows of some classes.

        Parameters
        ----------
        kinds : The classes
        """
        return tuple(row for row in self.faults if row.kind in kinds)


@dataclass(frozen=True, slots=True, kw_only=True)
class Inhibit:
    """What keeps current from the igniters of a channel in a phase, and the single faults that defeat it.

    Attributes
    ----------
    defeated_by : Faults that fire where this inhibit is the only one left; None where there are more inhibits than
        faults were looked at together
    """

    phase: str
    channel: str
    inhibit: str
    defeated_by: Annotated[tuple[str, ...] | None, Missing(otherwise="more inhibits than faults at a time")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """Fault analysis of a circuit.

    Attributes
    ----------
    order : Most faults at a time that are listed; pairs are always evaluated
    pin_limit : Current that the clamp of a controller pin bears
    left_out : Faults that the circuit file leaves out, each with its reason
    """

    circuit: str
    order: Annotated[int, BARE]
    pin_limit: Annotated[Amps, HIDDEN]
    phases: tuple[PhaseFaults, ...]
    inhibits: tuple[Inhibit, ...]
    left_out: Mapping[str, str]

    @property
    def fewest(self) -> Annotated[Mapping[str, int | None], Key("fewest_faults_to_fire"), BARE]:
        """Fewest faults at once that may fire an igniter nobody commands, by phase; None beyond what was looked at."""
        return {phase.phase: phase.fewest for phase in self.phases}

    def phase(self, name: str) -> PhaseFaults:
        """Return one phase.

        Parameters
        ----------
        name : ``disarmed``, ``reset``, ``armed`` or ``firing``
        """
        return next(phase for phase in self.phases if phase.phase == name)
