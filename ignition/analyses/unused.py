"""Keys of a circuit file that no finding uses: those of no analysis, and those whose limit is never come near."""

from __future__ import annotations

import bisect
import math

from ignition.analyses.firing.firing import Firing
from ignition.analyses.firing.protective import BATTERY_PROTECTION
from ignition.circuit.given import given_keys, unused_keys
from ignition.circuit.model import Circuit

__all__ = ["unused"]


def unused(circuit: Circuit, fired: Firing) -> dict[str, str]:
    """Return the keys that the file gives and no finding uses, each with the reason.

    Parameters
    ----------
    fired : The firing analysis of this circuit
    """
    given = given_keys(circuit)
    never = _protection(circuit, fired) | _rows(circuit, fired)
    return unused_keys(circuit) | {key: why for key, why in never.items() if key in given}


def _protection(circuit: Circuit, fired: Firing) -> dict[str, str]:
    """When a part opens that carries the highest current for good, how long a supply that holds is held."""
    supply = fired.supply
    tables = {part.name: f"feed[{index}]" for index, part in enumerate(circuit.feed)}
    found: dict[str, str] = {}
    for part in supply.parts:
        if part.opens_after == math.inf:
            battery = part.kind == BATTERY_PROTECTION
            keys = (
                ["battery.protection.delay"]
                if battery
                else [f"{tables[part.name]}.{n}_i2t" for n in ("melting", "trip")]
            )
            found |= dict.fromkeys(keys, "the highest current is carried for good")
    if supply.hold_up == math.inf:
        found["controller.hold_up_capacitance"] = "the supply stays above brown_out"
    return found


def _rows(circuit: Circuit, fired: Firing) -> dict[str, str]:
    """Rows of on-resistance that lie beyond the ones next to the gate's voltage."""
    reached: dict[str, set[int]] = {}
    for channel, active in zip(circuit.channels, fired.channels, strict=True):
        gates = [row.gate for row in circuit.mosfets[channel.mosfet].rows]
        low, high = active.gate_voltage.low, active.gate_voltage.high
        first = 0 if low is None or channel.second is not None else max(bisect.bisect_right(gates, low) - 1, 0)
        last = len(gates) - 1 if high is None else bisect.bisect_left(gates, high)
        reached.setdefault(channel.mosfet, set()).update(range(first, last + 1))
    return {
        f"mosfet.{name}.on_resistance[{index}].{key}": "the gate's voltage lies always nearer to another row"
        for name, rows in reached.items()
        for index in set(range(len(circuit.mosfets[name].rows))) - rows
        for key in ("gate", "resistance")
        if (index, key) != (0, "gate")  # the lowest row says when the switch counts as on
    }
