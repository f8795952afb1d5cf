"""Decks of a circuit as files that anyone can open and run by hand."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from ignition.circuit.model import Circuit
from ignition.errors import InputError
from ignition.spice.arming_case import arming_cases
from ignition.spice.cases import firing_cases, nominal_values, steady_cases
from ignition.spice.deck import operating_point_deck
from ignition.spice.names import Names

__all__ = ["netlist_texts", "write_netlists"]


def netlist_texts(circuit: Circuit) -> dict[str, str]:
    """Write the decks of a circuit: each phase and line state, each firing, each arming edge, all at nominal.

    Returns
    -------
    File name and deck, the same for the same circuit
    """
    notes = (f"Circuit: {circuit.title}", f"File: {circuit.name}", "All values at nominal. SI units.")
    names = Names()
    found: dict[str, str] = {}

    def add(label: str, text: str | None) -> None:
        if text is not None:
            found[f"{names.of(label).lower()}.cir"] = text

    for case in steady_cases(circuit):
        values = nominal_values(case.network, case.box)
        add(case.label, operating_point_deck(case.network, values, f"{circuit.title}: {case.label}", notes))
    for group in firing_cases(circuit):
        values = nominal_values(group.network, group.box)
        title = f"{circuit.title}: {group.label}"
        add(f"{group.label}, currents", operating_point_deck(group.network, values, f"{title}, currents", notes))
        add(f"{group.label}, function times", group.deck(f"{title}, function times", notes))
    for edge in arming_cases(circuit):
        add(edge.label, edge.deck(f"{circuit.title}: {edge.label}", (*notes, "Pin without its protection diodes.")))
    return found


def write_netlists(circuit: Circuit, directory: str | Path) -> list[Path]:
    """Write the decks of a circuit into a folder, all of them or none.

    Raises InputError if the folder or a file cannot be written; then no deck has changed, unless the disk failed in the
    last step.

    Parameters
    ----------
    directory : The folder; made where it does not exist. Decks of the same name in it are replaced, nothing else is
        touched

    Returns
    -------
    The files, in their order
    """
    folder = Path(directory)
    texts = netlist_texts(circuit)
    blocked = [name for name in texts if (folder / name).exists() and not (folder / name).is_file()]
    if blocked:
        raise InputError(f"{folder / blocked[0]} is no ordinary file; choose another folder")
    existed = folder.exists()
    staging: Path | None = None
    try:
        folder.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=".ignition-", dir=folder))
        for name, text in texts.items():
            (staging / name).write_text(text, encoding="ascii", newline="\n")
        for name in texts:
            (staging / name).replace(folder / name)
    except OSError as error:
        raise InputError(
            f"the decks cannot be written into {folder}: {error.strerror or error}; choose a folder that can be written"
        ) from None
    finally:
        if staging is not None:
            shutil.rmtree(staging, ignore_errors=True)
        if not existed and folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
    return [folder / name for name in texts]
