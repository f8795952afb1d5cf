"""Findings as text for people: the verdict, the two least margins, a line for each rule, what fails or is unknown."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from ignition.analyses.verdict import Check
from ignition.circuit.given import exact_keys
from ignition.findings.corner import Corner
from ignition.findings.finding import Concern, Finding, Reason, Verdict, least_margin, worst_verdict
from ignition.report.faults_text import failure_points_text
from ignition.report.text import assumption_text, caution_text, item, say, table
from ignition.units import Towards, engineering

__all__ = [
    "brief_text",
    "check_text",
    "findings_text",
    "headline_text",
    "margin_text",
    "not_analysed_text",
    "reasons_text",
    "verdict_text",
]

_STYLE: dict[Verdict, str] = {"PASS": "green", "FAIL": "bold red", "UNKNOWN": "bold yellow"}
_RANK: dict[Verdict, int] = {"FAIL": 0, "UNKNOWN": 1, "PASS": 2}


def verdict_text(verdict: Verdict) -> Text:
    """Write a verdict in its colour."""
    return Text(verdict, style=_STYLE[verdict])


def margin_text(margin: float | None) -> str:
    """Write a margin so that it can be read aloud, rounded down.

    Parameters
    ----------
    margin : Ratio [1]; above 1 is good

    Examples
    --------
    >>> margin_text(12.58), margin_text(1.0004), margin_text(1.0), margin_text(3e7), margin_text(None)
    ('12.5-fold', '1.0004-fold', 'just met', 'over a million-fold', '-')
    """
    if margin is None:
        return "-"
    if margin == 1.0:
        return "just met"
    if margin >= 1e6:
        return "over a million-fold"
    digits = next(d for d in range(3, 17) if d == 16 or engineering(margin, "1", d, "down") != "1")
    return f"{engineering(margin, '1', digits, 'down')}-fold"


def _value(finding: Finding) -> str:
    towards: Towards = "down" if finding.relation == "at least" else "up"
    return engineering(finding.value, finding.unit, towards=towards)


def _limit(finding: Finding) -> str:
    towards: Towards = "up" if finding.relation == "at least" else "down"
    return engineering(finding.limit, finding.unit, towards=towards)


def _where(finding: Finding) -> str:
    return " ".join(p for p in (finding.channel, finding.phase) if p) or "circuit"


def _state(finding: Finding) -> str:
    """Everything that tells in which state the worst value stands."""
    parts = [_where(finding)]
    if finding.line_state:
        parts.append(f"line {finding.line_state}")
    if finding.controller:
        parts.append(f"controller {finding.controller}")
    if finding.igniter:
        parts.append(finding.igniter)
    return ", ".join(parts)


def _corner(corner: Corner) -> str:
    ends = "".join(f", {name} {end}" for name, end in corner.ends)
    battery, ambient = engineering(corner.battery_voltage, "V"), engineering(corner.temperature, "degC")
    return f"battery at {battery}, {ambient} ambient{ends}"


def _source(finding: Finding) -> str:
    return f"{finding.source} ({finding.source_date})"


def check_text(result: Check, console: Console) -> None:
    """Print a check: its findings, assumptions and cautions."""
    title = "".join(c if c.isprintable() else " " for c in result.circuit.title)  # no escape code reaches the terminal
    console.print(Text(f"{title}  ({result.circuit.name})", style="bold"))
    findings_text(result.findings, console)
    failure_points_text(result.single_faults, console)
    assumption_text(result.circuit.assumptions, console)
    console.print()
    unused, exact = result.unused, exact_keys(result.circuit)
    reasons: dict[str, list[str]] = {}
    for key, why in unused.items():
        reasons.setdefault(why, []).append(key)
    named = "; ".join(f"{', '.join(keys)} ({why})" for why, keys in reasons.items())
    say(console, f"Given, not used by this circuit: {named or 'nothing'}.")
    tables: dict[str, list[str]] = {}
    for key in exact:
        parts = key.split(".")
        depth = min(len(parts) - 1, 2 if parts[0] in ("igniter", "mosfet") else 1)
        tables.setdefault(".".join(parts[:depth]), []).append(".".join(parts[depth:]))
    listed = "; ".join(f"{table} {', '.join(names)}" for table, names in tables.items())
    say(console, f"Counts as exact, no tolerance given: {listed or 'nothing'}.")
    caution_text(console)


def brief_text(findings: Sequence[Finding], console: Console) -> None:
    """Print the verdict, the least margins, and what fails or is unknown, below the numbers of a verb."""
    console.print()
    headline_text(findings, console)
    reasons_text(findings, console)


def reasons_text(findings: Sequence[Finding], console: Console) -> None:
    """Print every rule and place that fails or is unknown, with the keys that would settle it."""
    _listed("FAIL", "What fails", findings, console)
    _listed("UNKNOWN", "What is unknown", findings, console)


def findings_text(findings: Sequence[Finding], console: Console) -> None:
    """Print findings: verdict, least margins, the worst of each rule, everything that fails or is unknown, sources."""
    headline_text(findings, console)
    rules: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.reason is not Reason.NOT_ANALYSED:
            rules.setdefault(finding.rule, []).append(finding)
    worst = sorted(((min(g, key=_badness), len(g)) for g in rules.values()), key=lambda pair: _RANK[pair[0].verdict])
    console.print()
    table(
        console,
        ("", "limit", ">worst", ">allowed", ">margin", "where (and others)"),
        [
            (
                verdict_text(f.verdict),
                f.rule,
                _value(f),
                _limit(f),
                margin_text(f.margin),
                _where(f) + (f" (+{n - 1})" if n > 1 else ""),
            )
            for f, n in worst
        ],
    )
    reasons_text(findings, console)
    not_analysed_text(findings, console)
    console.print("\nWho says so")
    sources: dict[str, list[str]] = {}
    for finding in findings:
        if finding.reason is not Reason.NOT_ANALYSED:
            sources.setdefault(_source(finding), []).append(finding.rule)
    for source, names in sources.items():
        item(console, f"{', '.join(dict.fromkeys(names))}: {source}")


def headline_text(findings: Sequence[Finding], console: Console) -> None:
    """Print the verdict, the least margin against accident and the least margin to fire, each with all it rests on."""
    counts = {v: sum(f.verdict == v for f in findings) for v in _RANK}
    console.print(
        Text("Verdict: ")
        .append_text(verdict_text(worst_verdict(findings)))
        .append(f"   {counts['FAIL']} fail, {counts['UNKNOWN']} unknown, {counts['PASS']} pass")
    )
    for concern, words in (
        (Concern.ACCIDENT, "Least margin against accident"),
        (Concern.FIRING, "Least margin to fire when told"),
    ):
        finding = least_margin(findings, concern)
        if finding is None:
            console.print(f"{words}: none is known.")
            continue
        console.print(f"{words}: {margin_text(finding.margin)}, {finding.rule}, {_state(finding)}.")
        item(console, f"{_value(finding)} against {_limit(finding)}: {finding.says}")
        if finding.corner is not None:
            item(console, f"with the {_corner(finding.corner)}")
        item(console, _source(finding))


def _badness(finding: Finding) -> tuple[int, float]:
    return _RANK[finding.verdict], float("inf") if finding.margin is None else finding.margin


def _listed(verdict: Verdict, heading: str, findings: Sequence[Finding], console: Console) -> None:
    """Every rule and place that fails or is unknown, the worst igniter of each; and the keys that would settle it."""
    places: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        if finding.verdict == verdict and finding.reason is not Reason.NOT_ANALYSED:
            places.setdefault((finding.rule, _where(finding)), []).append(finding)
    if places:
        console.print(f"\n{heading}")
    for (rule, where), group in places.items():
        finding = min(group, key=_badness)
        keys = list(dict.fromkeys(key for f in group for key in f.keys))
        settle = f". Give: {', '.join(keys)}" if keys else ""
        values = "" if None in (finding.value, finding.limit) else f"{_value(finding)} against {_limit(finding)}, "
        item(console, f"{rule} ({where}): {values}{finding.says}{settle}")


def not_analysed_text(findings: Sequence[Finding], console: Console) -> None:
    """Print the questions that no analysis answers yet, and for which channels."""
    missing: dict[str, list[str]] = {}
    for finding in findings:
        if finding.reason is Reason.NOT_ANALYSED:
            missing.setdefault(str(finding.question), []).append(finding.channel or "circuit")
    if missing:
        console.print("\nNot analysed, so not known")
        for question, channels in missing.items():
            item(console, f"{question}: {', '.join(dict.fromkeys(channels))}")
