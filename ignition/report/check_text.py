"""A check as text: the verdict, the worst finding of every limit, who says so, what was assumed."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.text import Text

from ignition.analyses.verdict import Check, Finding
from ignition.report.text import assumption_text, caution_text, item, margin_text, table
from ignition.units import engineering

__all__ = ["check_text"]

_STYLE = {"PASS": "green", "FAIL": "bold red", "UNKNOWN": "bold yellow"}
_RANK = {"FAIL": 0, "UNKNOWN": 1, "PASS": 2}


def _verdict(verdict: str) -> Text:
    return Text(verdict, style=_STYLE[verdict])


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
        ("", "limit", ">worst", ">allowed", ">margin", "where (and others)"),
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
