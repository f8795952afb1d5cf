"""Two circuits beside each other as text: verdicts first, then what changed in the files, then all that moved."""

from __future__ import annotations

from rich.console import Console

from ignition.analyses.study.comparison import CodeChange, Comparison, FindingChange
from ignition.report.findings_text import margin_text, verdict_text
from ignition.report.text import item, table

__all__ = ["comparison_text"]

_HEADINGS = {
    "worse": "Verdicts that are worse",
    "gone": "Questions that are no longer asked",
    "new": "Questions that are new",
    "better": "Verdicts that are better",
    "margin less": "Margins that are less",
    "value": "Values that moved, without a margin to compare",
    "margin more": "Margins that are more",
}
_MOST = 12
"""Lines under a heading whose verdicts stay what they were [1]; JSON has all."""


def comparison_text(found: Comparison, console: Console) -> None:
    """Print what changed from one circuit to another."""
    console.print(f"{found.old} -> {found.new}")
    console.print("Verdict: ", verdict_text(found.old_verdict), " -> ", verdict_text(found.new_verdict), sep="")
    if found.renamed is not None:
        console.print(f"Channel {found.renamed.old!r} is renamed {found.renamed.new!r}; nothing else of it differs.")
    console.print("\nKeys that differ")
    for key in found.keys:
        item(console, f"{key.key}: {_shown(key.old)} -> {_shown(key.new)}")
    if not found.keys:
        item(console, "none")
    for change, heading in _HEADINGS.items():
        _findings(heading, [one for one in found.findings if one.change == change], console)
    _codes(found.thresholds, console)
    console.print(f"\n{found.same} findings are as they were.")


def _shown(value: str | None) -> str:
    return "not given" if value is None else value


def _findings(heading: str, findings: list[FindingChange], console: Console) -> None:
    if not findings:
        return
    console.print(f"\n{heading} ({len(findings)})")
    verdicts = findings[0].old_verdict != findings[0].new_verdict
    seen = [one for one in findings if verdicts or len({*map(margin_text, _margins(one))}) > 1]
    shown = seen if verdicts else seen[:_MOST]
    rows = [
        (one.rule, _where(one), one.old_verdict or "-", one.new_verdict or "-", *map(margin_text, _margins(one)))
        for one in shown
    ]
    if rows:
        table(console, ["limit", "where", "was", "is", "margin was", "margin is"], rows)
    if len(shown) < len(seen):
        item(console, f"and {len(seen) - len(shown)} more (--json has all)")
    if len(seen) < len(findings):
        item(console, f"{len(findings) - len(seen)} by less than is shown here")


def _margins(one: FindingChange) -> tuple[float | None, float | None]:
    return one.old_margin, one.new_margin


def _where(one: FindingChange) -> str:
    place = one.igniter or one.part or one.channel or "circuit"
    return f"{place} {one.phase}" if one.phase else place


def _codes(codes: tuple[CodeChange, ...], console: Console) -> None:
    if not codes:
        return
    console.print("\nFirmware thresholds that moved: build the header anew")
    for one in codes:
        old, new = ("cannot be told apart" if code is None else str(code) for code in (one.old, one.new))
        item(console, f"{one.channel}, {one.below} / {one.above}: {old} -> {new}")
