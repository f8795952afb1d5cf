"""The command line without a process of its own: what it prints and its status, at the price of the call alone."""

from __future__ import annotations

import contextlib
import io
import subprocess
import sys
from pathlib import Path
from unittest import mock

from ignition.cli.main import main

__all__ = ["told"]


def told(*words: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run the command line in a folder; an error that would end in a traceback is raised."""
    output, errors, status = io.StringIO(), io.StringIO(), 0
    with (
        contextlib.chdir(folder),
        contextlib.redirect_stdout(output),
        contextlib.redirect_stderr(errors),
        mock.patch.object(sys, "argv", ["ignition", *words]),
    ):
        try:
            main()
        except SystemExit as ended:
            status = int(ended.code or 0)
    return subprocess.CompletedProcess(words, status, output.getvalue(), errors.getvalue())
