"""Runs a simulator in its own process group: closed input, small environment, always a time limit."""

from __future__ import annotations

import contextlib
import math
import os
import signal
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path

from ignition.errors import InputError, NgspiceError
from ignition.spice.acceptance import rejection

__all__ = ["run_process"]


def run_process(
    command: Sequence[str], folder: Path, *, timeout: float, title: str, environment: Mapping[str, str] | None = None
) -> tuple[int, str]:
    """Run a program in a folder with closed input, a small environment and a time limit.

    Raises InputError if the time limit is not a positive finite number. Raises NgspiceError if the program cannot be
    started or the time limit passed.

    Parameters
    ----------
    timeout : Time limit [s]; the whole process group is killed when it passes

    Returns
    -------
    Return code, and standard output with standard error
    """
    if not (timeout > 0.0 and math.isfinite(timeout)):
        raise InputError(f"timeout must be a positive number of seconds, received {timeout!r}; write for example 60.0")
    kept = {name: os.environ[name] for name in ("PATH", "LD_LIBRARY_PATH", "SYSTEMROOT") if name in os.environ}
    fixed = {"HOME": str(folder), "TMPDIR": str(folder), "LC_ALL": "C", "OMP_NUM_THREADS": "1"}
    output = folder / "process.txt"
    with output.open("wb") as sink:
        try:
            process = subprocess.Popen(
                list(command),
                cwd=folder,
                stdin=subprocess.DEVNULL,
                stdout=sink,
                stderr=subprocess.STDOUT,
                env={**kept, **fixed, **(environment or {})},
                start_new_session=True,
            )
        except OSError as error:
            raise NgspiceError(f"{command[0]} cannot be started ({error.strerror}); install ngspice again") from None
        try:
            code = process.wait(timeout)
        except subprocess.TimeoutExpired:
            raise rejection(
                title,
                f"it did not end within the time limit of {timeout:g} s",
                "look for an unclosed parenthesis in a .model line, shorten the analysis, or raise the timeout",
            ) from None
        finally:
            _kill_group(process)
    return code, output.read_text(encoding="utf-8", errors="replace")


def _kill_group(process: subprocess.Popen[bytes]) -> None:
    """End the process and all that it started, if any is left."""
    if process.poll() is None:
        with contextlib.suppress(ProcessLookupError, PermissionError):
            if os.name == "posix":
                os.killpg(process.pid, signal.SIGKILL)
            else:
                process.kill()
        process.wait()
