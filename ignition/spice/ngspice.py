"""Runs decks through the ngspice batch program, each in its own process, and believes only clean runs."""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from ignition.errors import InputError, NgspiceError
from ignition.spice.acceptance import Deck, check_deck, check_log, check_plots, rejection
from ignition.spice.process import run_process
from ignition.spice.rawfile import Plot, parse_raw

__all__ = ["RunResult", "find_ngspice", "run_deck", "run_operating_points", "version"]

_BATCH = 100  # members of one combined deck: the cost per member is lowest near here
_COMBINABLE = frozenset({".model", ".options", ".option", ".op", ".end"})
_MEMBER_SIGNAL = re.compile(r"(v|i)\((?:[a-z]\.)?xm(\d+)\.(.+)\)")


@dataclass(frozen=True, slots=True, kw_only=True)
class RunResult:
    """An accepted run.

    Attributes
    ----------
    plots : One plot per analysis, in the order of the raw file (``.dc``, ``.op``, ``.tran``, not of the deck)
    version : Program and version, for example ``ngspice-39``
    """

    plots: tuple[Plot, ...]
    log: str
    version: str

    def plot(self, name: str) -> Plot:
        """The one plot whose name starts with the text given.

        Raises InputError if no plot or more than one matches.

        Parameters
        ----------
        name : Start of the plot name in any case, for example ``operating`` or ``transient``
        """
        found = [plot for plot in self.plots if plot.name.lower().startswith(name.lower())]
        if len(found) != 1:
            names = ", ".join(plot.name for plot in self.plots)
            raise InputError(f'{len(found)} plots start with "{name}", exactly one must; the run has: {names}')
        return found[0]


def find_ngspice() -> str:
    """Path of the ngspice program.

    Raises NgspiceError if there is none; says how to install it.
    """
    path = shutil.which("ngspice")
    if path is None:
        raise NgspiceError(
            "ngspice is not on PATH; install it (Debian, Ubuntu: apt-get install ngspice) or correct PATH"
        )
    return path


def version() -> str:
    """Version of the ngspice program on PATH.

    Raises NgspiceError if ngspice is absent or does not tell its version.

    Returns
    -------
    For example ``ngspice-39``
    """
    return _version_of(find_ngspice())


@lru_cache(maxsize=8)
def _version_of(path: str) -> str:
    with tempfile.TemporaryDirectory(prefix="ignition-") as folder:
        _, output = run_process([path, "--version"], Path(folder), timeout=20.0, title="ngspice --version")
    found = re.search(r"ngspice-[\w.+-]+", output)
    if found is None:
        raise NgspiceError(f"{path} --version names no version ({output[:80]!r}); install ngspice 39 or later")
    return found.group()


def run_deck(
    text: str, *, timeout: float = 60.0, limit_voltage: float | None = None, limit_current: float | None = None
) -> RunResult:
    """Run one deck and return its results only if the run can be believed.

    Accepted only if the return code is 0, the log is clean, the raw file is there and complete, every analysis has
    points, and all values are finite and within the bounds. The return code alone is not enough: ngspice returns 0 for
    a circuit without ground and for a misspelt model parameter.

    Raises InputError if a limit or the timeout is not positive. Raises NgspiceError if ngspice is absent, the deck is
    refused, or the run is not acceptable; quotes the line of the log and the title.

    Parameters
    ----------
    text : Whole deck: title line, elements, models, analysis lines, ``.end``
    timeout : Time limit [s]
    limit_voltage : Largest magnitude of a voltage [V] that is accepted, for example 10 x the supply; 1e6 V by default
    limit_current : Largest magnitude of a current [A] that is accepted; 1e6 A by default
    """
    deck = check_deck(text)
    program = find_ngspice()
    with tempfile.TemporaryDirectory(prefix="ignition-") as name:
        folder = Path(name)
        (folder / "deck.cir").write_text(text, encoding="utf-8")
        command = [program, "-b", "-n", "-r", "out.raw", "-o", "out.log", "deck.cir"]
        code, output = run_process(command, folder, timeout=timeout, title=deck.title)
        log_file = folder / "out.log"
        log = log_file.read_text(encoding="utf-8", errors="replace") if log_file.exists() else ""
        raw_file = folder / "out.raw"
        content = raw_file.read_bytes() if raw_file.exists() else None
    check_log(log + "\n" + output, deck.title)
    if code != 0:
        reason = f"return code {code}, last line of the log {_last_line(log)!r}"
        raise rejection(deck.title, reason, "read the deck line by line")
    plots = _parse(content, deck)
    check_plots(plots, deck, limit_voltage=limit_voltage, limit_current=limit_current)
    return RunResult(plots=plots, log=log, version=version())


def _last_line(log: str) -> str:
    return ([line.strip() for line in log.splitlines() if line.strip()] or [""])[-1][:200]


def _parse(content: bytes | None, deck: Deck) -> tuple[Plot, ...]:
    if content is None:
        hint = "read the log" if deck.analyses else "add an analysis line: .op, .dc or .tran"
        raise rejection(deck.title, f"no raw file was written, the deck has {deck.analyses} analysis lines", hint)
    try:
        return parse_raw(content)
    except NgspiceError as error:
        raise rejection(deck.title, str(error), "run the deck again") from None


def run_operating_points(
    decks: Sequence[str],
    *,
    timeout: float = 60.0,
    limit_voltage: float | None = None,
    limit_current: float | None = None,
) -> tuple[Plot, ...]:
    """Operating points of many independent decks, up to 100 of them in one ngspice process.

    Each deck becomes a subcircuit without pins, so nodes, sources and models stay its own; node 0 is common. Decks with
    the same ``.options`` share a process. A deck that holds anything but elements, ``.model`` and ``.options`` runs
    alone.
    When a combined run is not accepted, its decks run one by one under the full rules, which names the bad one.
    Newton iteration stops for all members together: nonlinear results agree with single runs within ``reltol``.

    Raises InputError if a deck asks for another analysis than one ``.op``. Raises NgspiceError of the first deck in
    order that is not accepted alone, with its number counted from 0.

    Parameters
    ----------
    decks : Whole decks, (n,), each with ``.op`` as its only analysis
    timeout : Time limit of each process [s]
    limit_voltage : Largest magnitude of a voltage [V] that is accepted
    limit_current : Largest magnitude of a current [A] that is accepted

    Returns
    -------
    One per deck, in their order, with the names that the deck alone would give
    """
    checked = [check_deck(text) for text in decks]
    groups: dict[tuple[str, ...], list[int]] = {}
    alone: list[int] = []
    for k, deck in enumerate(checked):
        if [s.split()[0].lower() for s in deck.statements].count(".op") != 1 or deck.analyses != 1:
            raise InputError(f'deck number {k} ("{deck.title}") must have one .op and no other analysis')
        options = _combinable(deck)
        if options is None:
            alone.append(k)
        else:
            groups.setdefault(options, []).append(k)
    results: dict[int, Plot] = {}
    for options, members in groups.items():
        for start in range(0, len(members), _BATCH):
            chunk = members[start : start + _BATCH]
            try:
                text = _combine([checked[k] for k in chunk], options)
                run = run_deck(text, timeout=timeout, limit_voltage=limit_voltage, limit_current=limit_current)
                results.update(zip(chunk, _split(run.plots[0], [checked[k] for k in chunk]), strict=True))
            except NgspiceError:
                alone.extend(chunk)
    for k in sorted(alone):
        try:
            run = run_deck(decks[k], timeout=timeout, limit_voltage=limit_voltage, limit_current=limit_current)
        except NgspiceError as error:
            raise NgspiceError(f"deck number {k}: {error}") from None
        results[k] = run.plots[0]
    return tuple(results[k] for k in range(len(decks)))


def _combinable(deck: Deck) -> tuple[str, ...] | None:
    """The option lines of a deck that may share a process; None if it must run alone."""
    first = [statement.split()[0].lower() for statement in deck.statements]
    if any((word[0] == "." and word not in _COMBINABLE) or word[0] == "x" for word in first):
        return None
    return tuple(s for s, word in zip(deck.statements, first, strict=True) if word in (".options", ".option"))


def _combine(members: Sequence[Deck], options: tuple[str, ...]) -> str:
    lines = [f"{len(members)} independent circuits", *options]
    for k, deck in enumerate(members):
        body = [s for s in deck.statements if s[0] != "." or s.split()[0].lower() == ".model"]
        lines += [f".subckt member{k}", *body, ".ends", f"Xm{k} member{k}"]
    return "\n".join([*lines, ".op", ".end", ""])


def _split(combined: Plot, members: Sequence[Deck]) -> list[Plot]:
    """Give every signal of the combined plot back to its member, under its own name."""
    found: list[list[tuple[str, str, str]]] = [[] for _ in members]
    for name, unit in zip(combined.variables, combined.units, strict=True):
        match = _MEMBER_SIGNAL.fullmatch(name)
        if match is None:
            raise NgspiceError(f"signal {name} of the combined run belongs to no member")
        found[int(match[2])].append((f"{match[1]}({match[3]})", unit, name))
    if not all(found):
        raise NgspiceError(f"member {found.index([])} of the combined run has no signals")
    return [
        replace(
            combined,
            title=deck.title,
            variables=tuple(own for own, _, _ in rows),
            units=tuple(unit for _, unit, _ in rows),
            data={own: combined.data[name] for own, _, name in rows},
        )
        for deck, rows in zip(members, found, strict=True)
    ]
