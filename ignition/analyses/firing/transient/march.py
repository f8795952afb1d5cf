"""Firing transient of a cluster: every igniter's function time, from event to event, for a batch of trials at once."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from ignition.analyses.firing.transient.exact import march_exact
from ignition.analyses.firing.transient.inputs import CapacitorBank, MarchInputs, Polarisation, march_inputs
from ignition.analyses.firing.transient.ladder import ClusterTree
from ignition.analyses.firing.transient.stepped import march_substep
from ignition.errors import InputError
from ignition.typing import ArrayLike, FloatArray

__all__ = ["MarchResult", "march"]

_CHUNK_ELEMENTS = 131072
_SUBSTEP_CHUNK_ELEMENTS = 32768


@dataclass(frozen=True, slots=True, kw_only=True)
class MarchResult:
    """What a firing sequence does to each igniter; B trials, k igniters, m channels.

    Attributes
    ----------
    function_time : Time from the start of the sequence to function [s], inf where it did not function, shape (k, B)
    thermal_fraction : θ/θ_f [1] at the scheduled end of the channel's pulse (or at `stop`), 1 where the igniter
        functioned, shape (k, B)
    peak_thermal_fraction : Highest θ/θ_f [1] of the sequence, 1 where the igniter functioned, shape (k, B)
    initial_current : Current at the instant at which the igniter's channel starts to conduct [A], 0 where it never
        does, shape (k, B)
    highest_current : Highest current out of the source [A], shape (B,)
    lowest_bus_voltage : Lowest voltage of the bus while the source is connected [V], shape (B,)
    lowest_terminal_voltage : Lowest voltage at the terminals while the source is connected [V], shape (B,)
    channel_i2t : Integral of the squared current of each channel [A2 s], shape (m, B)
    charge : Charge drawn from the source through the bus [C], shape (B,)
    release_time : Time at which the terminal voltage fell below `release_voltage` and all channels released [s], else
        inf, shape (B,)
    fuse_time : Time at which the fuse opened [s], else inf, shape (B,)
    tolerance : Relative error allowed to one step [1]; 0 for the exact path
    """

    function_time: FloatArray
    thermal_fraction: FloatArray
    peak_thermal_fraction: FloatArray
    initial_current: FloatArray
    highest_current: FloatArray
    lowest_bus_voltage: FloatArray
    lowest_terminal_voltage: FloatArray
    channel_i2t: FloatArray
    charge: FloatArray
    release_time: FloatArray
    fuse_time: FloatArray
    method: str
    tolerance: float


def march(
    tree: ClusterTree,
    *,
    voltage: ArrayLike,
    source_resistance: ArrayLike,
    igniter_resistance: ArrayLike,
    threshold_current: ArrayLike,
    time_constant: ArrayLike,
    pulse: ArrayLike,
    start: ArrayLike = 0.0,
    turn_on_delay: ArrayLike = 0.0,
    channel_resistance: ArrayLike = 0.0,
    string_resistance: ArrayLike = 0.0,
    spent_resistance: ArrayLike = np.inf,
    growth: ArrayLike = 0.0,
    terminal_resistance: ArrayLike = 0.0,
    release_voltage: ArrayLike = -np.inf,
    fuse_i2t: ArrayLike = np.inf,
    polarisation: Polarisation | None = None,
    bank: CapacitorBank | None = None,
    stop: float | None = None,
    method: str = "auto",
    tolerance: float = 1e-8,
    workers: int = 1,
    chunk: int | None = None,
) -> MarchResult:
    """March a firing sequence from event to event.

    A value is one number; or one a trial, shape (B,), for quantities of the source; or, for quantities of a channel,
    string or igniter, one a member, shape (members,), or one a member and trial, shape (members, B).

    Igniter: dx/dt = ((I/I0)²(1 + a x)/(1 + a) - x)/τ, R = R0 (1 + a x), x = θ/θ_f; it functions at x = 1 and then
    is `spent_resistance`. With a = 0 and an ideal source, x is an exponential between events, and
    t = τ ln((x_inf - x)/(x_inf - 1)) is evaluated without loss of digits; else a Dormand-Prince pair with a step of
    its own for each trial, events by root finding on the step. A channel conducts from start + turn_on_delay to
    start + pulse. The release and the fuse act without delay. The trials of a batch may differ in all values but
    not in the tree. A heat path between igniters, inductance, and avalanche in the switch are not covered.

    Raises InputError if a value is out of range, a shape does not fit, or `method` is "exact" where a current changes
    between events. Raises NetworkError if the sub-stepped path does not come to an end (time constants too far apart).

    Parameters
    ----------
    tree : Which igniter is in which string, which string on which channel
    voltage : Open voltage of the bus [V], already reduced by standing loads: E - J R_battery; with `bank`, of the
        supply that recharges it. Shape () or (B,)
    source_resistance : Battery and feed, or the bank's series resistance and feed [ohm], shape () or (B,)
    igniter_resistance : Cold bridge resistance [ohm], inf = open, shape (), (k,) or (k, B)
    threshold_current : Steady current that just brings the bridge to function [A], inf = never, shape (), (k,) or (k,
        B)
    time_constant : Thermal time constant [s], shape (), (k,) or (k, B)
    pulse : Duration of the command [s], shape (), (m,) or (m, B)
    start : Start of the command from the start of the sequence [s], shape (), (m,) or (m, B)
    turn_on_delay : From the start of the command to conduction [s], shape (), (m,) or (m, B)
    channel_resistance : Leads and switch of the channel [ohm], inf = open, shape (), (m,) or (m, B)
    string_resistance : Resistance in series with the igniters of a string [ohm], inf = open, shape (), (s,) or (s, B)
    spent_resistance : Resistance after function [ohm], inf = open, 0 = short, shape (), (k,) or (k, B)
    growth : a = α θ_f, relative growth of the resistance up to function [1], shape (), (k,) or (k, B)
    terminal_resistance : Part of `source_resistance` inside the terminals [ohm], shape () or (B,)
    release_voltage : Terminal voltage below which all channels release for good [V], shape () or (B,)
    fuse_i2t : I²t of the source current at which the fuse opens [A2 s], shape () or (B,)
    bank : Capacitor as the source
    stop : All pulses end here at the latest [s]
    method : "auto" is exact where resistances are constant between events
    tolerance : Relative error allowed to one step of the sub-stepped path [1], 1e-12 .. 1e-2
    chunk : Trials worked on at once; by default so many that they stay in the second-level cache

    Returns
    -------
    Function times and loads, one column a trial

    Examples
    --------
    One igniter at twice its threshold functions after -τ ln(1 - 1/4):

    >>> answer = march(ClusterTree.parallel(1), voltage=4.0, source_resistance=1.0, igniter_resistance=1.0,
    ...                threshold_current=1.0, time_constant=0.01, pulse=1.0)
    >>> round(float(answer.function_time[0, 0]), 9), answer.method
    (0.002876821, 'exact')
    """
    inputs = march_inputs(
        tree,
        per_trial={
            "voltage": voltage,
            "source_resistance": source_resistance,
            "terminal_resistance": terminal_resistance,
            "release_voltage": release_voltage,
            "fuse_i2t": fuse_i2t,
        },
        per_channel={
            "channel_resistance": channel_resistance,
            "start": start,
            "pulse": pulse,
            "turn_on_delay": turn_on_delay,
        },
        per_string={"string_resistance": string_resistance},
        per_igniter={
            "igniter_resistance": igniter_resistance,
            "threshold_current": threshold_current,
            "time_constant": time_constant,
            "spent_resistance": spent_resistance,
            "growth": growth,
        },
        polarisation=polarisation,
        bank=bank,
        stop=stop,
    )
    exact = _is_exact(inputs, method)
    if not 1e-12 <= tolerance <= 1e-2:
        raise InputError(
            f"tolerance: a number from 1e-12 to 1e-2 expected, received {tolerance!r}; write for example 1e-8"
        )
    size = _CHUNK_ELEMENTS if exact else _SUBSTEP_CHUNK_ELEMENTS
    out = _results(tree, inputs.trials)

    def work(part: MarchInputs, trials: int, piece: dict[str, FloatArray]) -> None:
        if exact:
            march_exact(part, trials, piece)
        else:
            march_substep(part, trials, piece, tolerance)

    _for_chunks(inputs, out, chunk or max(256, size // tree.igniters), workers, work)
    return MarchResult(**out, method="exact" if exact else "sub-stepped", tolerance=0.0 if exact else tolerance)


def _is_exact(inputs: MarchInputs, method: str) -> bool:
    """Whether to take the exact path."""
    if method not in ("auto", "exact", "sub-stepped"):
        raise InputError(
            f'method: "auto", "exact" or "sub-stepped" expected, received {method!r}; write one of the three'
        )
    if method == "exact" and inputs.sub_stepped:
        raise InputError(
            'method: "exact" needs growth = 0 and neither polarisation nor bank, received some of them; '
            'write "auto" or "sub-stepped"'
        )
    return method != "sub-stepped" and not inputs.sub_stepped


def _results(tree: ClusterTree, trials: int) -> dict[str, FloatArray]:
    """Empty arrays for the results, by field name."""
    igniter = ("function_time", "thermal_fraction", "peak_thermal_fraction", "initial_current")
    trial = ("highest_current", "lowest_bus_voltage", "lowest_terminal_voltage", "charge", "release_time", "fuse_time")
    out: dict[str, FloatArray] = {name: np.empty((tree.igniters, trials)) for name in igniter}
    out |= {name: np.empty(trials) for name in trial}
    out["channel_i2t"] = np.empty((tree.channels, trials))
    return out


def _for_chunks(
    inputs: MarchInputs,
    out: dict[str, FloatArray],
    chunk: int,
    workers: int,
    work: Callable[[MarchInputs, int, dict[str, FloatArray]], None],
) -> None:
    """Cut the trials into chunks and work on each, in threads where asked for."""
    if chunk < 1 or workers < 1:
        raise InputError(
            f"chunk, workers: whole numbers of 1 or more expected, received {chunk!r}, {workers!r}; write 1 or more"
        )

    def one(first: int) -> None:
        last = min(first + chunk, inputs.trials)
        work(inputs.chunk(first, last), last - first, {name: array[..., first:last] for name, array in out.items()})

    starts = range(0, inputs.trials, chunk)
    if workers == 1:
        for first in starts:
            one(first)
    else:
        with ThreadPoolExecutor(max_workers=workers) as pool:
            for _ in pool.map(one, starts):
                pass
