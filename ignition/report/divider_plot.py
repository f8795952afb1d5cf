"""Divider search as a picture of its trade-off."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ignition.analyses.divider.search import DividerSearch
from ignition.report.picture import save_picture
from ignition.units import engineering

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["divider_plot", "save_divider_plot"]


def save_divider_plot(search: DividerSearch, path: Path) -> None:
    """Draw the trade-offs of a search into a picture file.

    Raises InputError when matplotlib is not installed, or the file cannot be written.

    Parameters
    ----------
    path : Picture to write; the ending chooses the format
    """
    save_picture(path, (8, 5), lambda figure: divider_plot(search, figure.add_subplot()))


def divider_plot(search: DividerSearch, ax: Axes | None = None) -> Axes:
    """Draw the trade-off: leakage that fools the reading, and single-fault current, against sense current.

    Parameters
    ----------
    ax : Where to draw; by default a new figure
    """
    if ax is None:
        from matplotlib.figure import Figure

        ax = Figure(figsize=(7.0, 4.5), layout="constrained").add_subplot()
    shown = [c for c in search.pareto if c.false_leak is not None]
    groups = sorted({(c.split, c.pin_resistor) for c in shown})
    for marker, (split, pin) in zip("osD^v<>PX*" * 10, groups, strict=False):
        members = [c for c in shown if (c.split, c.pin_resistor) == (split, pin)]
        label = f"{'two upper resistors' if split else 'one upper resistor'}, pin {engineering(pin, 'ohm')}"
        ax.plot(
            [c.sense_current for c in members],
            [c.false_leak or 0.0 for c in members],
            marker,
            label=label,
            markersize=5,
        )
    for c, name in ((search.present, "present"), (search.recommended, "recommended")):
        if c is not None and c.false_leak is not None:
            ax.plot([c.sense_current], [c.false_leak], "k+" if name == "present" else "kx", markersize=12, label=name)
    ax.axhline(search.wet_leak, color="0.5", linestyle="--", linewidth=1.0)
    ax.set_xscale("log")
    ax.set_yscale("log")
    ax.set_xlabel("highest sense current [A]")
    ax.set_ylabel("leakage that reads intact [ohm]")
    ax.set_title(f"Channel {search.channel}: dividers that no other one beats")
    ax.legend(fontsize="small")
    return ax
