"""Pictures as files: one way to make a figure and to write it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ignition.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["save_picture"]


def save_picture(path: Path, size: tuple[float, float], draw: Callable[[Figure], object]) -> None:
    """Draw a figure and write it.

    Raises InputError when matplotlib is not installed, or the file cannot be written.

    Parameters
    ----------
    path : Picture to write; the ending chooses the format
    size : Width and height in inches [1]
    draw : Draws into the empty figure
    """
    try:
        from matplotlib.figure import Figure

        figure = Figure(figsize=size, layout="constrained")
        draw(figure)
    except ImportError:
        raise InputError("a plot needs matplotlib: pip install 'ignition-analysis[report]'") from None
    try:
        figure.savefig(path, dpi=120)
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be written: {error}") from None
