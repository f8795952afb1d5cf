"""What may interrupt the firing current by itself: fuses, resettable fuses, the battery's protection circuit."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from ignition.circuit.model import Circuit, FeedModel
from ignition.findings.finding import Reason
from ignition.parts.protection import melting_time, resettable_trip_time
from ignition.typing import Amps, Missing, Seconds
from ignition.units import engineering

__all__ = ["BATTERY_PROTECTION", "Cut", "ProtectivePart", "protective_parts"]

BATTERY_PROTECTION = "battery protection"
"""Kind and name of the battery's protection circuit among the protective parts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """What may interrupt the firing current: in words, as a reason of a verdict, and with the keys that would tell."""

    says: str
    cause: Reason
    keys: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ProtectivePart:
    """One protective part over the firing sequence.

    Attributes
    ----------
    kind : ``fuse``, ``resettable fuse`` or ``battery protection``
    standing_current, highest_current : Highest current through it while nothing fires, and while firing
    carried_current : What it carries for good at the hottest ambient; None where that is not given
    opens_after : Earliest time of firing current at which it may open; zero where the standing current alone may open
        it, infinite where it carries the highest current for good, None where it may open at a time that is not known
    missing : Keys to give for the time to be known
    """

    name: str
    kind: str
    standing_current: Amps
    highest_current: Amps
    carried_current: Annotated[Amps | None, Missing(otherwise="not given")]
    opens_after: Annotated[Seconds | None, Missing(infinite="it carries the highest current for good")]
    missing: tuple[str, ...] = ()
    reason: str | None = None

    def cut_before(self, time: float) -> Cut | None:
        """Tell why it may interrupt before firing current has flowed for a time; None where it does not.

        Parameters
        ----------
        time : Time for which firing current has flowed [s]
        """
        if self.opens_after is None:
            return Cut(says=str(self.reason), cause=Reason.MISSING_KEY, keys=self.missing)
        if time < self.opens_after:
            return None
        if self.kind == BATTERY_PROTECTION:
            return Cut(says="the battery's protection circuit may trip before it functions", cause=Reason.EXCEEDED)
        return Cut(says=f"{self.kind} {self.name!r} may open before it functions", cause=Reason.EXCEEDED)


def protective_parts(
    circuit: Circuit,
    feed_current: float,
    battery_current: float,
    *,
    feed_standing: float = 0.0,
    battery_standing: float = 0.0,
) -> tuple[ProtectivePart, ...]:
    """Find when each protective part may open at the highest currents, all the time.

    Parameters
    ----------
    feed_current, battery_current : Highest current through the feed, and out of the battery [A]
    feed_standing, battery_standing : The same while armed and nothing fires, for any time [A]
    """
    found = [
        _fuse(part, f"feed[{index}]", feed_standing, feed_current)
        for index, part in enumerate(circuit.feed)
        if part.kind in ("fuse", "resettable fuse")
    ]
    battery = circuit.battery
    if battery.trip_current is not None and battery.trip_delay is not None:
        trip = battery.trip_current.low
        opens = 0.0 if battery_standing >= trip else battery.trip_delay.low if battery_current >= trip else math.inf
        found.append(
            ProtectivePart(
                name=BATTERY_PROTECTION,
                kind=BATTERY_PROTECTION,
                standing_current=battery_standing,
                highest_current=battery_current,
                carried_current=trip,
                opens_after=opens,
            )
        )
    return tuple(found)


def _fuse(part: FeedModel, key: str, standing: float, current: float) -> ProtectivePart:
    carried, least = part.carried_current, part.least_i2t
    law = melting_time if part.kind == "fuse" else resettable_trip_time
    names = ("rating", "melting_i2t") if part.kind == "fuse" else ("hold_current", "trip_i2t")
    missing: tuple[str, ...] = ()
    opens: float | None
    reason = None
    if carried is not None and standing > carried:
        opens = 0.0
    elif carried is not None and current <= carried:
        opens = math.inf
    elif carried is not None and least is not None:
        opens = float(law(current, least, carried))
    else:  # without a rating nothing says that it carries even the standing current for good
        opens = None
        without = [name for name, value in zip(names, (carried, least), strict=True) if value is None]
        missing = tuple(f"{key}.{name}" for name in without)
        reason = (
            f"{part.kind} {part.name!r} may open at up to {engineering(current, 'A')}, its opening time is not known: "
            f"{' and '.join(without)} {'is' if len(without) == 1 else 'are'} not given"
        )
    return ProtectivePart(
        name=part.name,
        kind=part.kind,
        standing_current=standing,
        highest_current=current,
        carried_current=carried,
        opens_after=opens,
        missing=missing,
        reason=reason,
    )
