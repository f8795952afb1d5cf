"""Reduction of a network to its igniter ports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ignition.errors import NetworkError
from ignition.network.elements import Network
from ignition.network.solution import solve
from ignition.typing import ArrayLike, FloatArray

__all__ = ["Ports", "reduce_to_ports"]

_MOST_CONDITION = 1e11
"""Condition number from which on igniters are taken to be no independent ports."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ports:
    """Thevenin form of a network seen from its k igniters.

    Attributes
    ----------
    igniters : Igniter names, in the order of the arrays
    open_voltage : Open-circuit voltage at each port [V], shape (batch, k)
    impedance : Port resistance matrix [ohm], shape (batch, k, k)
    """

    igniters: tuple[str, ...]
    open_voltage: FloatArray
    impedance: FloatArray

    def currents(self, resistance: ArrayLike) -> FloatArray:
        """Currents through igniters of given resistance [A].

        Parameters
        ----------
        resistance : Igniter resistances [ohm], shape (k,) or (batch, k)
        """
        loads = np.broadcast_to(np.asarray(resistance, dtype=float), self.open_voltage.shape)
        matrix = self.impedance + loads[..., None] * np.eye(len(self.igniters))
        return np.asarray(np.linalg.solve(matrix, self.open_voltage[..., None])[..., 0])


def reduce_to_ports(network: Network, values: Mapping[str, ArrayLike]) -> Ports:
    """Reduce a network to its igniter ports: (Z + diag(R)) I = Voc.

    With currents as unknowns two igniters in series are not independent ports of a Thevenin form; each igniter's row
    of the solved system is instead read by superposition: the network is solved once with every igniter in place, and
    the port form follows from the inverse of the reduced system, found by the derivative of the igniter currents with
    respect to a voltage in series with each igniter. (Z + diag(R))^-1 is that derivative matrix.

    Raises NetworkError when an igniter is open or in no closed loop, or two igniters share one current.

    Parameters
    ----------
    network : The network; igniters in series are reduced by their currents, so no port may be left floating
    values : Parameter values [SI], scalars or of shape (batch,)

    Examples
    --------
    >>> from ignition.network.elements import GROUND, Element
    >>> loop = Network(elements=(
    ...     Element(name="battery", kind="source", plus="top", minus=GROUND, voltage=(("E", 1.0),),
    ...             resistance=(("S", 1.0),)),
    ...     Element(name="bridge", kind="resistor", plus="top", minus=GROUND, resistance=(("R", 1.0),)),
    ... ), igniters=("bridge",))
    >>> ports = reduce_to_ports(loop, {"E": 6.0, "S": 0.5, "R": 1.0})
    >>> ports.currents([2.5]).tolist()
    [[2.0]]
    """
    solution = solve(network, values)
    count = len(network.nodes)
    names = [e.name for e in network.elements]
    kept = solution.kept.tolist()
    full = [count + names.index(name) for name in network.igniters]
    open_ones = [name for name in network.igniters if not network.element(name).closed]
    if open_ones:
        raise NetworkError(f"igniter {open_ones[0]!r} is open and is no port; leave it out of the ports")
    rows = [kept.index(row) for row in full]
    unit = np.zeros((solution.batch, solution.matrix.shape[1], len(rows)))
    for column, row in enumerate(rows):
        unit[:, row, column] = 1.0
    admittance = np.linalg.solve(solution.matrix, unit)[:, rows, :]
    currents = solution.unknowns[:, full]
    table = dict(zip(network.parameters, solution.parameters.T, strict=True))
    loads = np.stack(
        [
            np.broadcast_to(element.total(element.resistance, table), solution.batch)
            for element in map(network.element, network.igniters)
        ],
        axis=1,
    )
    # v - R i = e puts a source e in series with the bridge, so di/de = (Z + diag(R))^-1 with the sign of e.
    # rounding makes the matrix of igniters in series nearly, not exactly, singular
    if not np.all(np.linalg.cond(admittance) < _MOST_CONDITION):
        raise NetworkError("an igniter stands in no closed loop, or two stand in series: they have no port form")
    total = np.linalg.inv(-admittance)
    open_voltage = np.einsum("bij,bj->bi", total, currents)
    return Ports(
        igniters=network.igniters,
        open_voltage=open_voltage,
        impedance=total - loads[..., None] * np.eye(len(rows)),
    )
