"""The builder's answer: large plain text that can be read aloud at the field."""

from __future__ import annotations

from rich.console import Console

from ignition.analyses.cluster.answer import ClusterAnswer
from ignition.analyses.cluster.how_many import MARGIN, HowMany, LikelyMany
from ignition.report.findings_text import reasons_text
from ignition.report.firing_text import trials_text
from ignition.report.text import at_least, at_most, caution_text, item, table
from ignition.units import engineering

__all__ = ["cluster_text"]

_ASKED = f"{MARGIN:g} times all-fire"


def _sentence(answer: ClusterAnswer) -> str:
    return ", ".join(f"{_many(found)} {found.arrangement}" for found in answer.most)


def _many(found: HowMany | LikelyMany) -> str:
    if found.count is None:
        return "unknown"
    if found.count == 0:
        return "none"
    more = " or more" if found.at_limit else ""
    shape = f" ({len(found.strings)} strings of {found.strings[0]})" if found.arrangement == "mixed" else ""
    return f"{found.count}{more}{shape}"


def cluster_text(answer: ClusterAnswer, console: Console) -> None:
    """Print the builder's answer; the first line is the answer."""
    console.print(answer.says)
    console.print(f"Asked for: {_ASKED} at worst. Most at once, at worst: {_sentence(answer)}.")
    reasons_text(answer.findings, console)
    console.print()
    _numbers(answer, console)
    _how_many(answer, console)
    _budget(answer, console)
    _remedies(answer, console)
    _cold(answer, console)
    console.print("\nIF IT DOES NOT LIGHT")
    ranked = [share.part for share in answer.budget if not share.part.startswith("igniters")]
    item(console, "arm switch off, wait, approach as your rules say; then measure, largest ohms first: ")
    item(console, ", ".join(ranked[:4]))
    item(console, "touch the meter's leads together first: their ohms are the size of the igniter's")
    console.print(f"\nASSUMED, NOT GIVEN ({len(answer.assumptions)})")
    for assumption in answer.assumptions:
        item(console, f"{assumption.key}: {assumption.value} [{assumption.basis}]")
    caution_text(console)


def _numbers(answer: ClusterAnswer, console: Console) -> None:
    current = answer.current
    console.print("EACH IGNITER GETS")
    rows = [
        ("at worst", at_least(current.lowest, "A")),
        ("usually", engineering(current.nominal, "A")),
        ("at most", at_most(current.highest, "A")),
        ("all-fire", at_most(answer.all_fire, "A")),
        ("battery gives at most", at_most(current.total, "A")),
    ]
    if answer.charge.most is not None:
        rows.append(("charge of one firing, at most", at_most(answer.charge.most, "C")))
    table(console, ("", ">"), rows)
    if answer.charge.launches is not None:
        item(console, f"a fifth of the battery's charge lasts for {answer.charge.launches} firings, other loads apart")
    if answer.trials is not None:
        trials_text(answer.trials, console)
    for caution in answer.cautions:
        item(console, caution)


def _how_many(answer: ClusterAnswer, console: Console) -> None:
    console.print("\nHOW MANY AT ONCE")
    headers = ["", f">worst case, {_ASKED}"]
    columns = [[most.arrangement for most in answer.most], [_many(most) for most in answer.most]]
    if answer.likely:
        headers.append(f">all function, {answer.likely[0].probability:.1%}")
        columns.append([_many(likely) for likely in answer.likely])
    table(console, headers, zip(*columns, strict=True))
    item(console, "go by the worst case; the probability holds only for the spread that was given")


def _budget(answer: ClusterAnswer, console: Console) -> None:
    console.print("\nWHERE THE OHMS ARE")
    table(
        console,
        ("", ">usual", ">at most", ">share"),
        [
            (s.part, engineering(s.resistance.nominal, "ohm"), at_most(s.resistance.high, "ohm"), f"{s.share:.0%}")
            for s in answer.budget
        ],
    )


def _remedies(answer: ClusterAnswer, console: Console) -> None:
    fixes = answer.remedies
    console.print(f"\nWHAT WOULD JUST DO ({answer.arrangement}, one change)")
    if answer.all_fire is None:
        item(console, "unknown without the all-fire current")
        return
    if fixes.battery_resistance is None:
        item(console, "no battery resistance, however small")
    else:
        now = at_most(answer.circuit.battery.resistance.high, "ohm")
        item(console, f"battery of at most {at_least(fixes.battery_resistance, 'ohm')} (now up to {now})")
    enough = next((size for size in fixes.battery_sizes if size.enough), None)
    if enough is not None:
        cells = f"cells of {at_most(enough.capacity / 3600.0, '1')} Ah or more" if enough.capacity else "any cell"
        item(console, f"by the table of usual resistances: {cells}")
    elif fixes.battery_sizes:
        item(console, "by the table of usual resistances: no battery of this kind and number of cells")
    if fixes.lead_resistance is None:
        item(console, "no lead, however thick")
        return
    item(console, f"lead of at most {at_least(fixes.lead_resistance, 'ohm')}, out and back, joints included")
    if fixes.thinnest_wire is not None:
        item(console, f"wire for this length: {fixes.thinnest_wire} or thicker")
    if fixes.longest_lead is not None and fixes.longest_lead > 0:
        item(console, f"length for this wire: at most {at_least(fixes.longest_lead, 'm')} one way")


def _cold(answer: ClusterAnswer, console: Console) -> None:
    console.print("\nON A COLD DAY")
    table(
        console,
        ("", ">at worst each", ">times all-fire", ">most at once"),
        [
            (
                engineering(day.temperature, "degC"),
                at_least(day.lowest_current, "A"),
                at_least(day.margin, "1"),
                "-" if day.most is None else str(day.most),
            )
            for day in answer.cold
        ],
    )
    for reason in dict.fromkeys(day.reason for day in answer.cold if day.reason):
        item(console, reason)
