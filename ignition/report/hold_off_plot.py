"""Arming edge as pictures: waveforms at the worst corner, and a map of the thermal fraction."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ignition.analyses.hold_off import ChannelHoldOff, HoldOff
from ignition.analyses.no_fire.corners import EdgeCorners
from ignition.analyses.no_fire.edge import edge_response
from ignition.analyses.no_fire.switch_on import horizon
from ignition.circuit.model import ChannelModel, Circuit
from ignition.errors import InputError
from ignition.report.picture import save_picture
from ignition.units import engineering

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["edge_map", "edge_waveforms", "save_hold_off_plot"]

_LEAST_PULL_DOWN, _MOST_PULL_DOWN = 1e3, 1e6
_TIMES = np.geomspace(10e-9, 10e-6, 19)


def save_hold_off_plot(circuit: Circuit, result: HoldOff, path: Path) -> None:
    """Draw the arming edge of the channel that comes nearest to function into a picture file.

    Raises InputError when matplotlib is not installed, nothing is known of any edge, or the file cannot be written.

    Parameters
    ----------
    result : The hold-off analysis of this circuit
    path : Picture to write; the ending chooses the format
    """
    known = [c for c in result.channels if c.switch_on.worst is not None]
    if not known:
        raise InputError(f"nothing can be drawn: {result.channels[0].switch_on.reason}; give what is missing")
    one = max(known, key=lambda c: c.switch_on.bounced_thermal_fraction or 0.0)

    def draw(figure: Figure) -> None:
        grid = figure.add_gridspec(3, 2, width_ratios=(1.0, 1.1))
        gate = figure.add_subplot(grid[0, 0])
        rest = (figure.add_subplot(grid[1, 0], sharex=gate), figure.add_subplot(grid[2, 0], sharex=gate))
        edge_waveforms(one, (gate, *rest))
        edge_map(circuit, circuit.channel(one.channel), one, figure.add_subplot(grid[:, 1]))

    save_picture(path, (11, 6), draw)


def edge_waveforms(one: ChannelHoldOff, axes: tuple[Axes, Axes, Axes]) -> tuple[Axes, Axes, Axes]:
    """Draw gate voltage, igniter current and thermal fraction against time, at the corner of the highest fraction.

    Raises InputError where nothing is known of the edge.

    Parameters
    ----------
    axes : Where to draw, from top to bottom
    """
    worst = one.switch_on.worst
    if worst is None:
        raise InputError(f"nothing can be drawn: {one.switch_on.reason}")
    edge = worst.worst
    wave = edge_response(edge, horizon(edge), record=True)
    time = 1e6 * np.maximum(wave.times[:, 0], 1e-9)
    gate, current, heat = axes
    gate.plot(time, wave.gate_voltage[:, 0], "k-")
    _limit(gate, "threshold", edge.threshold[0])
    gate.set_ylabel("gate [V]")
    current.plot(time, wave.current[:, 0], "k-")
    _limit(current, "no-fire current", edge.no_fire_current[0])
    current.set_ylabel("igniter [A]")
    heat.plot(time, wave.fraction[:, 0], "k-")
    heat.set_ylabel("thermal fraction [1]")
    if wave.fraction[:, 0].max() > 0.3:
        _limit(heat, "function", 1.0)
    heat.set_xscale("log")
    heat.set_xlabel("time since the contact closed [us]")
    gate.set_title(f"{worst.igniter}: edge of {engineering(worst.edge, 's')}, {worst.hold}", fontsize="medium")
    return axes


def _limit(ax: Axes, name: str, value: float) -> None:
    """Draw a named limit, with room for its name above it."""
    ax.axhline(value, color="0.4", linestyle="--", linewidth=1.0)
    ax.annotate(name, (0.02, value), xycoords=("axes fraction", "data"), va="bottom", fontsize="small")
    low, high = ax.get_ylim()
    ax.set_ylim(low, max(high, value + 0.2 * (value - low)))


def edge_map(circuit: Circuit, channel: ChannelModel, one: ChannelHoldOff, ax: Axes | None = None) -> Axes:
    """Draw the thermal fraction after one closure over pull-down and rise time, at the worst corner otherwise.

    Raises InputError where nothing is known of the edge.

    Parameters
    ----------
    ax : Where to draw; by default a new figure
    """
    worst = one.switch_on.worst
    if worst is None:
        raise InputError(f"nothing can be drawn: {one.switch_on.reason}")
    if ax is None:
        from matplotlib.figure import Figure

        ax = Figure(figsize=(6.0, 5.0), layout="constrained").add_subplot()
    fitted = None if channel.pull_down is None else channel.pull_down.high
    most = _MOST_PULL_DOWN if fitted is None else max(_MOST_PULL_DOWN, 2.0 * fitted)
    least = _LEAST_PULL_DOWN if fitted is None else min(_LEAST_PULL_DOWN, 0.5 * fitted)
    downs, times = np.meshgrid(np.geomspace(least, most, 25), _TIMES)
    count = downs.size
    ends = {name: np.full(count, end) for name, end in worst.ends.items()}
    maker = EdgeCorners(circuit=circuit, channel=channel, igniter=circuit.igniters[worst.kind], hold=worst.hold)
    edge = maker.edges(ends, times.ravel(), pull_down=downs.ravel())
    fraction = edge_response(edge, horizon(edge), 1e-3).thermal_fraction.reshape(downs.shape)
    shown = np.log10(np.clip(fraction, 1e-6, 1e3))
    filled = ax.contourf(downs, 1e6 * times, shown, levels=np.arange(-6.0, 3.5, 0.5), cmap="cividis", extend="both")
    bar = ax.figure.colorbar(filled, ax=ax, label="thermal fraction after one closure, log10")
    bar.ax.axhline(0.0, color="w", linewidth=2.0)
    if shown.min() < 0.0 < shown.max():
        line = ax.contour(downs, 1e6 * times, shown, levels=[0.0], colors="w", linewidths=2.0)
        ax.clabel(line, fmt={0.0: "function"})
    if fitted is not None:
        ax.axvline(fitted, color="w", linestyle=":", linewidth=1.5)
        ax.annotate("fitted", (fitted, 0.98), xycoords=("data", "axes fraction"), color="w", va="top", fontsize="small")
    ax.set_xscale("log")
    ax.set_yscale("log")
    ax.set_xlabel("pull-down [ohm]")
    ax.set_ylabel("rise time of the edge [us]")
    ax.set_title(f"Channel {channel.name}: what one closure does", fontsize="medium")
    return ax
