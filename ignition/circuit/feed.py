"""From a feed part's table to its resistance, and to what a fuse carries at the hottest ambient."""

from __future__ import annotations

from ignition.circuit.assumptions import Ledger
from ignition.circuit.feed_description import MOST_CLOSURES, FeedPart
from ignition.circuit.model import FeedModel
from ignition.circuit.wiring import reactances, round_trip, wire_area
from ignition.errors import InputError
from ignition.parts.protection import least_melting_share, rating_ratio, resettable_hold_ratio
from ignition.toleranced import Toleranced

__all__ = ["complete_feed"]


def complete_feed(part: FeedPart, key: str, ambient: Toleranced, ledger: Ledger) -> FeedModel:
    """Find resistance, inductance, capacitance, edge, and what a fuse carries and withstands at the hottest ambient.

    Raises InputError if no derating is held at this ambient and none is given.

    Parameters
    ----------
    ambient : Temperature [degC]

    Examples
    --------
    >>> given = {"name": "F1", "kind": "fuse", "resistance": "5 mohm", "rating": "10 A", "melting_i2t": "55 A^2 s"}
    >>> room = Toleranced.exact(20.0, "degC")
    >>> fuse = complete_feed(FeedPart.model_validate(given), "feed[0]", room, Ledger())
    >>> round(fuse.carried_current, 3), fuse.least_i2t
    (8.666, 12.1)
    """
    resistance, area = part.resistance, None
    if part.wire is not None:
        area = wire_area(part.wire, part.wire_class, key, ledger)
        if part.distance is not None:
            wire = round_trip(area, part.distance, ambient)
            resistance = wire if resistance is None else wire + resistance
    inductance, capacitance = Toleranced.exact(0.0, "H"), Toleranced.exact(0.0, "F")
    if part.kind == "wire":
        inductance, capacitance = reactances(part, area, key, ledger)
    edge = part.edge
    if part.kind == "arm switch":
        edge = ledger.take(part.edge, f"{key}.edge", "edge", "s")
    closures = part.closures or 1
    if part.kind == "arm switch" and part.closures is None:
        closures = ledger.choose(f"{key}.closures", "closures", worst=MOST_CLOSURES, best=1)
    carried, least = _withstands(part, key, ambient, ledger)
    return FeedModel(
        name=part.name,
        kind=part.kind,
        resistance=ledger.take(resistance, f"{key}.resistance", "feed_resistance", "ohm"),
        area=area,
        inductance=inductance,
        capacitance=capacitance,
        edge=edge,
        closures=closures,
        rating=part.rating,
        melting_i2t=part.melting_i2t,
        hold_current=part.hold_current,
        trip_i2t=part.trip_i2t,
        carried_current=carried,
        least_i2t=least,
    )


def _withstands(part: FeedPart, key: str, ambient: Toleranced, ledger: Ledger) -> tuple[float | None, float | None]:
    """Current that a fuse carries for good [A], and the least integral that opens it [A^2 s]; None where not given."""
    carried = {"fuse": part.rating, "resettable fuse": part.hold_current}.get(part.kind)
    integral = {"fuse": part.melting_i2t, "resettable fuse": part.trip_i2t}.get(part.kind)
    if carried is None and integral is None:
        return None, None
    ratio = _derating(part, key, ambient, ledger)
    if integral is None:
        return None if carried is None else carried.low * ratio, None
    if part.kind == "resettable fuse":  # hold current squared and heat to trip both go with the distance to its trip
        share = ratio**2
    elif integral.is_exact:
        least = least_melting_share()
        share = ledger.choose(f"{key}.melting_i2t", "melting_i2t", worst=least, best=1.0)
        ledger.note(f"{key}.melting_i2t", "melting_i2t", value=f"typical: the fuse may open at {least:g} of it")
    else:
        share = 1.0
    return None if carried is None else carried.low * ratio, integral.low * share


def _derating(part: FeedPart, key: str, ambient: Toleranced, ledger: Ledger) -> float:
    """Current that a fuse carries at the hottest ambient over what its data sheet states."""
    if part.derating is not None:
        return part.derating
    law, entry = {
        "fuse": (rating_ratio, "fuse_derating"),
        "resettable fuse": (resettable_hold_ratio, "resettable_derating"),
    }[part.kind]
    try:
        ratio = float(law(ambient.high))
    except InputError as error:
        raise InputError(
            f"{error}; or give derating, the current carried at this ambient over the stated one"
        ) from None
    ratio = min(ratio, 1.0)  # a part may carry more in the cold: nothing promises it
    chosen = ledger.choose(f"{key}.derating", entry, worst=ratio, best=1.0)
    ledger.note(f"{key}.derating", entry, value=f"carries {ratio:.3g} of its stated current at {ambient.high:g} degC")
    return chosen
