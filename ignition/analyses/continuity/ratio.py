"""Worst case of the ratio of two outputs of a network, as firmware forms it from two readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ignition.errors import NetworkError
from ignition.network.elements import Network
from ignition.network.solution import solve
from ignition.network.worst_case import Probe, extremes
from ignition.toleranced import Toleranced
from ignition.typing import FloatArray

__all__ = ["DifferenceProbe", "ratio_extremes"]

_ROUNDS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class DifferenceProbe(Probe):
    """A node voltage less a multiple of another.

    Attributes
    ----------
    element, node, reference : As in `Probe`; `reference` is the second node
    factor : The multiple [1]
    """

    factor: float = 1.0

    def weights(self, network: Network) -> FloatArray:
        """Weights of the output on the solver's unknowns [1], shape (nodes + elements,)."""
        first = Probe(node=self.node).weights(network)
        second = Probe(node=self.reference).weights(network)
        return first - self.factor * second


def ratio_extremes(network: Network, box: Mapping[str, Toleranced], over: str, under: str) -> Toleranced:
    """Return bounds of the ratio of two node voltages [1].

    V1/V2 exceeds t exactly where V1 - t V2 is positive, and that is a linear output whose extremes are exact: start
    with any t, take the ratio at the worst corner as the next t, until it stays (Dinkelbach's iteration).

    Raises NetworkError where the second voltage can be zero or negative, or the corner does not settle.

    Parameters
    ----------
    box : Every parameter with its bounds [SI]
    over, under : Nodes; the second one's voltage is positive everywhere in the box
    """
    nominal = solve(network, {n: box[n].nominal for n in network.parameters})
    if extremes(network, box, [Probe(node=under)])[0].low <= 0.0:
        raise NetworkError(f"the voltage of {under!r} can be zero: no ratio to it exists")
    middle = float(nominal.voltage(over)[0] / nominal.voltage(under)[0])
    low = _settled(network, box, over, under, middle, -1)
    high = _settled(network, box, over, under, middle, 1)
    return Toleranced(low=min(low, middle), nominal=middle, high=max(high, middle), unit="1")


def _settled(
    network: Network, box: Mapping[str, Toleranced], over: str, under: str, start: float, direction: int
) -> float:
    ratio = start
    for _ in range(_ROUNDS):
        found = extremes(network, box, [DifferenceProbe(node=over, reference=under, factor=ratio)])[0]
        corner = found.high_at if direction > 0 else found.low_at
        at = solve(network, {n: corner[n] for n in network.parameters})
        again = float(at.voltage(over)[0] / at.voltage(under)[0])
        if (again - ratio) * direction <= 1e-12 * max(abs(ratio), 1e-9):
            return ratio
        ratio = again
    raise NetworkError(f"the worst ratio of {over!r} to {under!r} did not settle after {_ROUNDS} rounds")
