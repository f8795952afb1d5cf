"""PySpice 1.5 as an optional second back end, always in a process of its own.

PySpice drives ngspice as a shared library. One bad deck leaves that library unusable, and a malformed model line hangs
it, so it never runs inside the process of the caller. Nothing here imports PySpice when the module is imported.
"""

from __future__ import annotations

import ctypes.util
import importlib
import importlib.metadata
import importlib.util
import json
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from ignition.errors import NgspiceError
from ignition.spice.acceptance import check_deck, check_log, check_plots, rejection
from ignition.spice.ngspice import RunResult
from ignition.spice.process import run_process
from ignition.spice.rawfile import Plot

__all__ = ["find_library", "run_deck"]

_PLOT_NAMES = {
    "op": "Operating Point",
    "tran": "Transient Analysis",
    "dc": "DC transfer characteristic",
}
_NO_LIBRARY = 4
_EXITED = 3
_CHILD = "import sys; from ignition.spice.pyspice import _child; sys.exit(_child(sys.argv[1]))"


def find_library() -> str:
    """Name or path of the ngspice shared library.

    Raises NgspiceError if ``NGSPICE_LIBRARY_PATH`` names no file.

    Returns
    -------
    ``NGSPICE_LIBRARY_PATH`` if it is set, else what the loader of the system knows, else ``libngspice.so.0``, the name
        of the Debian run-time package
    """
    chosen = os.environ.get("NGSPICE_LIBRARY_PATH")
    if chosen:
        if os.sep in chosen and not Path(chosen).is_file():
            raise NgspiceError(f"NGSPICE_LIBRARY_PATH names {chosen}, which is no file; correct it, or unset it")
        return chosen
    return ctypes.util.find_library("ngspice") or "libngspice.so.0"


def run_deck(
    text: str, *, timeout: float = 60.0, limit_voltage: float | None = None, limit_current: float | None = None
) -> RunResult:
    """Run one deck through PySpice and the shared library, under the rules of the batch program.

    The signals come from the memory of the library, not from a raw file, so agreement with the batch program also
    checks the reader of raw files.

    Raises InputError if a limit or the timeout is not positive. Raises NgspiceError if PySpice or the library is
    absent, the deck is refused, or the run is not acceptable.

    Parameters
    ----------
    text : Whole deck: title line, elements, models, analysis lines, ``.end``
    timeout : Time limit [s]
    limit_voltage : Largest magnitude of a voltage [V] that is accepted, for example 10 x the supply; 1e6 V by default
    limit_current : Largest magnitude of a current [A] that is accepted; 1e6 A by default

    Returns
    -------
    Plots with the signal names of the batch program, log and version
    """
    deck = check_deck(text)
    if importlib.util.find_spec("PySpice") is None:
        raise NgspiceError(
            "PySpice is not installed; install it with: pip install PySpice, or use ignition.spice.ngspice"
        )
    library = find_library()
    paths = [os.path.abspath(path) for path in sys.path]
    environment = {"PYTHONPATH": os.pathsep.join(paths), "NGSPICE_LIBRARY_PATH": library}
    with tempfile.TemporaryDirectory(prefix="ignition-") as name:
        folder = Path(name)
        (folder / "deck.cir").write_text(text, encoding="utf-8")
        command = [sys.executable, "-P", "-c", _CHILD, library]
        code, output = run_process(command, folder, timeout=timeout, title=deck.title, environment=environment)
        log_file = folder / "out.log"
        log = log_file.read_text(encoding="utf-8", errors="replace") if log_file.exists() else ""
        if code == _NO_LIBRARY:
            raise NgspiceError(
                f"{log.strip()}; install it (Debian, Ubuntu: apt-get install libngspice0) or set NGSPICE_LIBRARY_PATH"
            )
        check_log(log, deck.title)
        if code != 0:
            last = (output.strip().splitlines() or ["nothing written"])[-1]
            raise rejection(deck.title, f"PySpice ended with code {code}: {last[:200]!r}", "read the deck line by line")
        plots, version = _load(folder, deck.title)
    check_plots(plots, deck, limit_voltage=limit_voltage, limit_current=limit_current)
    return RunResult(plots=plots, log=log, version=version)


def _load(folder: Path, title: str) -> tuple[tuple[Plot, ...], str]:
    described = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    plots: list[Plot] = []
    with np.load(folder / "result.npz", allow_pickle=False) as arrays:
        for number, entry in enumerate(described["plots"]):
            data = {name: np.asarray(arrays[f"{number}_{k}"]) for k, name in enumerate(entry["variables"])}
            for values in data.values():
                values.flags.writeable = False
            plots.append(
                Plot(
                    title=title,
                    name=entry["name"],
                    variables=tuple(entry["variables"]),
                    units=tuple(entry["units"]),
                    data=data,
                )
            )
    return tuple(plots), described["version"]


def _child(library: str) -> int:
    """Body of the child process: run deck.cir of the working folder, leave out.log, result.json and result.npz."""
    with Path("out.log").open("w", encoding="utf-8") as log:
        try:
            shared: Any = importlib.import_module("PySpice.Spice.NgSpice.Shared")
            shared.NgSpiceShared.LIBRARY_PATH = library
            instance = _tolerant_class(shared, log).new_instance()
        except OSError as error:
            log.write(f"the ngspice library {library} cannot be loaded ({error})")
            return _NO_LIBRARY
        instance.load_circuit(Path("deck.cir").read_text(encoding="utf-8"))
        instance.run()
    _store(instance)
    return 0


def _tolerant_class(shared: Any, log: Any) -> Any:
    """Subclass that only writes messages down; the caller judges the whole log, as it does for the batch program."""

    def send_char(message: Any, ngspice_id: int, user_data: Any) -> int:
        handle = shared.ffi.from_handle(user_data)
        content = shared.ffi.string(message).decode("utf-8", errors="replace").partition(" ")[2]
        handle._stdout.append(content)
        log.write(content + "\n")
        log.flush()
        return 0

    def leave(*_: Any) -> int:
        log.flush()
        os._exit(_EXITED)

    members = {"_send_char": staticmethod(send_char), "_exit": staticmethod(leave)}
    return type("TolerantNgSpice", (shared.NgSpiceShared,), members)


def _store(instance: Any) -> None:
    arrays: dict[str, npt.NDArray[Any]] = {}
    plots: list[dict[str, Any]] = []
    for plot_name in reversed([name for name in instance.plot_names if name != "const"]):
        vectors = list(reversed(instance.plot(None, plot_name).values()))
        units = [str(vector._type) for vector in vectors]
        for k, vector in enumerate(vectors):
            arrays[f"{len(plots)}_{k}"] = np.asarray(vector._data)
        plots.append(
            {
                "name": _PLOT_NAMES.get(plot_name.rstrip("0123456789"), plot_name),
                "variables": [_batch_name(v._name, unit) for v, unit in zip(vectors, units, strict=True)],
                "units": units,
            }
        )
    np.savez("result.npz", **arrays)  # type: ignore[arg-type]
    version = f"ngspice-{instance.ngspice_version} library, PySpice {importlib.metadata.version('PySpice')}"
    Path("result.json").write_text(json.dumps({"plots": plots, "version": version}), encoding="utf-8")


def _batch_name(name: str, unit: str) -> str:
    """Name that the batch program writes for a vector of the library."""
    if name.endswith("#branch"):
        return f"i({name.removesuffix('#branch')})"
    if name == "time" or "(" in name:
        return name
    return f"{'i' if unit == 'current' else 'v'}({name})"
