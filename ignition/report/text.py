"""Results as text for people: readable without colour, in 80 columns, and when piped."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from ignition.analyses.firing.conductors import ConductorHeating
from ignition.analyses.firing.firing import Firing
from ignition.analyses.firing.protective import ProtectivePart
from ignition.analyses.trials.trials import FiringTrials
from ignition.analyses.verdict import Check, Finding
from ignition.circuit.model import Assumption
from ignition.report.cautions import CAUTIONS
from ignition.toleranced import Spread
from ignition.units import engineering

__all__ = [
    "assumption_text",
    "caution_text",
    "check_text",
    "firing_text",
    "item",
    "make_console",
    "margin_text",
    "spread_text",
    "table",
]

_STYLE = {"PASS": "green", "FAIL": "bold red", "UNKNOWN": "bold yellow"}
_RANK = {"FAIL": 0, "UNKNOWN": 1, "PASS": 2}


def make_console() -> Console:
    """Make the console for standard output: 80 columns when piped, at most 100 on a terminal.

    Returns
    -------
    The console; it writes no colour codes into a pipe
    """
    console = Console(file=sys.stdout, highlight=False, emoji=False, markup=False, soft_wrap=False)
    console.width = min(max(console.width, 80), 100) if console.is_terminal else 80
    return console


def table(
    console: Console, headers: Sequence[str], rows: Iterable[Sequence[str | Text]], right: Sequence[int] = ()
) -> None:
    """Print a table that needs no colour and no line-drawing characters.

    Parameters
    ----------
    right : Columns that are set flush right [position]
    """
    grid = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), show_edge=False, header_style="bold")
    for index, header in enumerate(headers):
        # only the last column may take a second line
        last = index == len(headers) - 1
        grid.add_column(header, justify="right" if index in right else "left", overflow="fold", no_wrap=not last)
    for row in rows:
        grid.add_row(*row)
    console.print(grid)


def spread_text(spread: Spread, digits: int = 3) -> str:
    """Write a spread as ``low .. nominal .. high`` with its unit.

    Parameters
    ----------
    digits : Significant digits [1]

    Returns
    -------
    For example ``"52.1 uA .. 57.1 uA .. 63.8 uA"``; a missing number is a dash
    """
    return " .. ".join(engineering(v, spread.unit, digits) for v in (spread.low, spread.nominal, spread.high))


def _verdict(verdict: str) -> Text:
    return Text(verdict, style=_STYLE[verdict])


def margin_text(margin: float | None) -> str:
    """Write a margin as a factor.

    Parameters
    ----------
    margin : Ratio [1]

    Returns
    -------
    For example ``"x 12.5"``
    """
    if margin is None:
        return "-"
    return f"x {engineering(margin, '1')}" if margin < 1e6 else "> 1e6"


def _worst_by_rule(findings: Sequence[Finding]) -> list[tuple[Finding, int]]:
    """The worst finding of each rule with the number of findings it stands for; failures first."""
    groups: dict[str, list[Finding]] = {}
    for finding in findings:
        groups.setdefault(finding.rule, []).append(finding)

    def badness(finding: Finding) -> tuple[int, float]:
        return _RANK[finding.verdict], float("inf") if finding.margin is None else finding.margin

    worst = [(min(group, key=badness), len(group)) for group in groups.values()]
    return sorted(worst, key=lambda pair: _RANK[pair[0].verdict])


def _where(finding: Finding) -> str:
    return " ".join(p for p in (finding.channel, finding.phase) if p) or "circuit"


def check_text(result: Check, console: Console) -> None:
    """Print a check: verdict, the worst finding of every limit, sources, assumptions, cautions."""
    worst = _worst_by_rule(result.findings)
    counts = {v: sum(f.verdict == v for f in result.findings) for v in ("FAIL", "UNKNOWN", "PASS")}
    title = "".join(c if c.isprintable() else " " for c in result.title)  # no escape code reaches the terminal
    console.print(Text(f"{title}  ({result.circuit})", style="bold"))
    console.print(
        Text("Verdict: ")
        .append_text(_verdict(result.verdict))
        .append(f"   {counts['FAIL']} fail, {counts['UNKNOWN']} unknown, {counts['PASS']} pass")
    )
    _headline(worst, console)
    console.print()
    table(
        console,
        ("", "limit", "worst", "allowed", "margin", "where (and others)"),
        [
            (
                _verdict(f.verdict),
                f.rule,
                engineering(f.value, f.unit),
                engineering(f.limit, f.unit),
                margin_text(f.margin),
                _where(f) + (f" (+{n - 1})" if n > 1 else ""),
            )
            for f, n in worst
        ],
        right=(2, 3, 4),
    )
    for kind, heading in (("FAIL", "What fails"), ("UNKNOWN", "What is unknown")):
        chosen = [f for f, _ in worst if f.verdict == kind]
        if chosen:
            console.print(f"\n{heading}")
            for finding in chosen:
                item(console, f"{finding.rule} ({_where(finding)}): {finding.says}")
    console.print("\nWho says so")
    sources: dict[tuple[str, str], list[str]] = {}
    for finding, _ in worst:
        sources.setdefault((finding.source, finding.source_date), []).append(finding.rule)
    for (source, date), names in sources.items():
        item(console, f"{', '.join(names)}: {source} ({date})")
    assumption_text(result.assumptions, console)
    caution_text(console)


def _headline(worst: Sequence[tuple[Finding, int]], console: Console) -> None:
    """The one number to read aloud: the failing one of least margin, else the passing one of least margin."""
    numbered = [f for f, _ in worst if f.margin is not None and f.channel is not None]
    if not numbered:
        return
    finding = min(numbered, key=lambda f: (_RANK[f.verdict], f.margin))
    console.print(
        f"Worst number: {finding.rule}, {_where(finding)}: {engineering(finding.value, finding.unit)} against "
        f"{engineering(finding.limit, finding.unit)}, margin {margin_text(finding.margin)}."
    )
    console.print(f"  {finding.says}; {finding.source} ({finding.source_date}).")


def item(console: Console, text: str) -> None:
    """Print one item of a list, wrapped and indented."""
    lines = textwrap.fill(
        text,
        console.width,
        initial_indent="  - ",
        subsequent_indent="    ",
        break_long_words=True,
        break_on_hyphens=False,
    )
    console.print(Text(lines))


def assumption_text(assumptions: Sequence[Assumption], console: Console) -> None:
    """Print every value that the file did not give."""
    if not assumptions:
        console.print("\nAssumed: nothing; every value is given.")
        return
    console.print(f"\nAssumed, because the file does not say ({len(assumptions)})")
    for a in assumptions:
        question = "can it fire by accident" if a.direction == "safe" else "will it fire"
        item(console, f"{a.key}: {a.value} [{question}; {a.basis}]")


def caution_text(console: Console) -> None:
    """Print the cautions."""
    console.print("\nCautions")
    for sentence in CAUTIONS:
        item(console, sentence)


def _trials(trials: FiringTrials, console: Console) -> None:
    """Print what the trial firings showed: never a certainty, always a bound."""
    console.print("\nTrial firings")
    if trials.probability is None:
        item(console, f"no probability: {trials.reason or 'interrupted before the first block'}")
        return
    done = f"{trials.trials} trials" + (f" of {trials.requested}, interrupted" if trials.partial else "")
    item(console, f"all igniters functioned in {trials.trials - trials.failures} of {done} (seed {trials.seed})")
    item(console, f"probability that all function: at least {trials.lower(0.95):.6g} at 95 % confidence")


def _conductors(conductors: Sequence[ConductorHeating], console: Console) -> None:
    """Print how hot conductors become; those of unknown cross-section are left out."""
    for c in conductors:
        if c.melts or c.temperature is not None:
            hot = "may melt" if c.temperature is None else f"{c.temperature:.0f} degC at most"
            item(console, f"{c.name} after the pulse, no heat lost: {hot}")


def _protective(part: ProtectivePart, console: Console) -> None:
    if part.opens_after is None:
        item(console, str(part.reason))
    elif part.opens_after == float("inf"):
        item(console, f"{part.name} carries up to {engineering(part.highest_current, 'A')} for good")
    else:
        item(console, f"{part.name} may open after {engineering(part.opens_after, 's')} at the highest current")


def firing_text(result: Firing, console: Console, trials: FiringTrials | None = None) -> None:
    """Print a firing analysis."""
    console.print(Text(f"Firing  ({result.circuit})", style="bold"))
    for channel in result.channels:
        kinds = ", ".join(dict.fromkeys(i.kind for i in channel.igniters))
        console.print(f"\nChannel {channel.channel} ({kinds}): low .. nominal .. high, margin to all-fire")
        table(
            console,
            ("", "current", "function time", "functions", "margin"),
            [
                (
                    f"{i.string}.{i.position}",
                    spread_text(i.current),
                    spread_text(i.function_time),
                    i.functions,
                    "-" if i.all_fire_margin is None else f"x {i.all_fire_margin:.2f}",
                )
                for i in channel.igniters
            ],
        )
        for reason in dict.fromkeys(i.reason for i in channel.igniters if i.reason):
            item(console, f"{reason}")
        item(console, f"gate voltage {spread_text(channel.gate_voltage)}")
        item(console, f"on-resistance {spread_text(channel.on_resistance)}")
        junction = channel.mosfet_junction
        item(console, f"MOSFET junction {junction.reason if junction.reason else spread_text(junction)}")
        _conductors(channel.conductors, console)
    supply = result.supply
    console.print("\nSupply while firing")
    item(console, f"battery terminals {spread_text(result.battery_voltage)}")
    item(console, f"controller supply {spread_text(result.controller_supply)}")
    item(console, f"highest battery current {engineering(supply.highest_current, 'A')}")
    if supply.brown_out is None:
        item(console, "brown-out level not given: whether the controller resets is unknown")
    elif supply.hold_up == float("inf"):
        item(console, f"stays above the brown-out level of {engineering(supply.brown_out, 'V')}")
    else:
        item(console, f"may fall below brown-out after {engineering(supply.hold_up, 's')}: the gate is then released")
    for part in supply.parts:
        _protective(part, console)
    _conductors(result.conductors, console)
    if trials is not None:
        _trials(trials, console)
