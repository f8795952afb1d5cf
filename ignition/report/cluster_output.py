"""The builder's answer: large plain text that can be read aloud at the field, and the same as a JSON object."""

from __future__ import annotations

from typing import Any

from rich.console import Console

from ignition.analyses.cluster.answer import ClusterAnswer
from ignition.analyses.cluster.how_many import MARGIN, HowMany, LikelyMany
from ignition.report.text import caution_text, item, table
from ignition.toleranced import number
from ignition.units import engineering

__all__ = ["cluster_dict", "cluster_text"]

_ASKED = f"{MARGIN:g} x all-fire"


def _layout(strings: tuple[int, ...]) -> str:
    """An arrangement in words."""
    count = sum(strings)
    if count == 1:
        return "1 igniter"
    if len(strings) == 1:
        return f"{count} igniters in series"
    if strings[0] == 1:
        return f"{count} igniters in parallel"
    return f"{count} igniters, {len(strings)} strings of {strings[0]}"


def _headline(answer: ClusterAnswer) -> str:
    what = _layout(answer.strings)
    if answer.margin is None:
        reason = answer.current.reason or "the all-fire current is not given"
        return f"{answer.verdict}: {what}: {reason}."
    worst = engineering(answer.current.lowest, "A")
    return f"{answer.verdict}: {what}: at worst {worst} each, x {answer.margin:.2f} of all-fire."


def _sentence(answer: ClusterAnswer) -> str:
    return ", ".join(f"{_many(found)} {found.arrangement}" for found in answer.most)


def _many(found: HowMany) -> str:
    if found.count is None:
        return "unknown"
    if found.count == 0:
        return "none"
    more = " or more" if found.at_limit else ""
    shape = f" ({len(found.strings)} x {found.strings[0]})" if found.arrangement == "mixed" else ""
    return f"{found.count}{more}{shape}"


def _likely(found: LikelyMany | None) -> str:
    if found is None or found.count is None:
        return "unknown"
    if found.count == 0:
        return "none"
    return f"{found.count}{' or more' if found.at_limit else ''}"


def cluster_text(answer: ClusterAnswer, console: Console) -> None:
    """Print the builder's answer; the first line is the answer."""
    console.print(_headline(answer))
    console.print(f"Asked for: {_ASKED} at worst. Most at once, at worst: {_sentence(answer)}.")
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
        ("at worst", engineering(current.lowest, "A")),
        ("usually", engineering(current.nominal, "A")),
        ("at most", engineering(current.highest, "A")),
        ("all-fire", engineering(answer.all_fire, "A")),
        ("battery gives at most", engineering(current.total, "A")),
    ]
    if answer.charge.most is not None:
        rows.append(("charge of one firing, at most", engineering(answer.charge.most, "C")))
    table(console, ("", ""), rows, right=(1,))
    if answer.charge.launches is not None:
        item(console, f"a fifth of the battery's charge lasts for {answer.charge.launches} firings, other loads apart")
    trials = answer.trials
    if trials is not None:
        if trials.probability is None:
            item(console, f"probability that all function: UNKNOWN: {trials.reason}")
        else:
            part = ", interrupted" if trials.partial else ""
            item(
                console,
                f"probability that all function: at least {trials.lower():.6g} (95 % confidence); {trials.failures} "
                f"failures in {trials.trials} trial firings{part}",
            )
    for caution in answer.cautions:
        item(console, caution)


def _how_many(answer: ClusterAnswer, console: Console) -> None:
    console.print("\nHOW MANY AT ONCE")
    likely: list[LikelyMany | None] = [*answer.likely] or [None] * len(answer.most)
    rows = [
        (most.arrangement, _many(most), *((_likely(other),) if answer.likely else ()))
        for most, other in zip(answer.most, likely, strict=True)
    ]
    asked = f"all function, {answer.likely[0].probability:.1%}" if answer.likely else ""
    table(console, ("", f"worst case, {_ASKED}", *((asked,) if answer.likely else ())), rows, right=(1, 2))
    item(console, "go by the worst case; the probability holds only for the spread that was given")


def _budget(answer: ClusterAnswer, console: Console) -> None:
    console.print("\nWHERE THE OHMS ARE")
    table(
        console,
        ("", "usual", "at most", "share"),
        [
            (s.part, engineering(s.resistance.nominal, "ohm"), engineering(s.resistance.high, "ohm"), f"{s.share:.0%}")
            for s in answer.budget
        ],
        right=(1, 2, 3),
    )


def _remedies(answer: ClusterAnswer, console: Console) -> None:
    fixes = answer.remedies
    console.print(f"\nWHAT WOULD JUST DO ({_layout(answer.strings)}, one change)")
    if answer.all_fire is None:
        item(console, "unknown without the all-fire current")
        return
    if fixes.battery_resistance is None:
        item(console, "no battery resistance, however small")
    else:
        now = engineering(answer.circuit.battery.resistance.high, "ohm")
        item(console, f"battery of at most {engineering(fixes.battery_resistance, 'ohm')} (now up to {now})")
    enough = next((size for size in answer.sizes if size.enough), None)
    if enough is not None:
        cells = f"cells of {engineering(enough.capacity / 3600.0, '1')} Ah or more" if enough.capacity else "any cell"
        item(console, f"by the table of usual resistances: {cells}")
    elif answer.sizes:
        item(console, "by the table of usual resistances: no battery of this kind and number of cells")
    if fixes.lead_resistance is None:
        item(console, "no lead, however thick")
        return
    item(console, f"lead of at most {engineering(fixes.lead_resistance, 'ohm')}, out and back, joints included")
    if fixes.thinnest_wire is not None:
        item(console, f"wire for this length: {fixes.thinnest_wire} or thicker")
    if fixes.longest_lead is not None and fixes.longest_lead > 0:
        item(console, f"length for this wire: at most {engineering(fixes.longest_lead, 'm')} one way")


def _cold(answer: ClusterAnswer, console: Console) -> None:
    console.print("\nON A COLD DAY")
    table(
        console,
        ("", "at worst each", "of all-fire", "most at once"),
        [
            (
                engineering(day.temperature, "degC"),
                engineering(day.lowest_current, "A"),
                "-" if day.margin is None else f"x {day.margin:.2f}",
                "-" if day.most is None else str(day.most),
            )
            for day in answer.cold
        ],
        right=(1, 2, 3),
    )
    for reason in dict.fromkeys(day.reason for day in answer.cold if day.reason):
        item(console, reason)


def cluster_dict(answer: ClusterAnswer) -> dict[str, Any]:
    """Return the JSON object of the builder's answer.

    Returns
    -------
    Verdict, currents, numbers of igniters, budget, remedies, cold-day curve, assumptions
    """
    why = answer.current.reason
    no_all_fire = why or (None if answer.all_fire is not None else "the all-fire current is not given")
    fixes, charge = answer.remedies, answer.charge
    return {
        "verdict": answer.verdict,
        "says": _headline(answer),
        "count": answer.count,
        "strings": list(answer.strings),
        "current": {
            "low": answer.current.lowest,
            "nominal": answer.current.nominal,
            "high": answer.current.highest,
            "unit": "A",
        }
        | ({"reason": why} if why else {}),
        "all_fire_margin": number(answer.margin, "1", no_all_fire),
        "margin_asked": MARGIN,
        "highest_battery_current": number(answer.current.total, "A", why),
        "most": [_most_dict(found) for found in answer.most],
        "most_likely": [_likely_dict(found) for found in answer.likely],
        "ohms": [{"part": s.part, "resistance": s.resistance.as_dict(), "share": s.share} for s in answer.budget],
        "would_do": {
            "battery_resistance": number(
                fixes.battery_resistance, "ohm", None if fixes.battery_resistance is not None else "no battery would"
            ),
            "lead_resistance": number(
                fixes.lead_resistance, "ohm", None if fixes.lead_resistance is not None else "no lead would"
            ),
            "thinnest_wire": fixes.thinnest_wire,
            "longest_lead": number(
                fixes.longest_lead, "m", None if fixes.longest_lead is not None else "no wire and length are given"
            ),
            "battery_sizes": [
                {"cell_capacity": s.capacity, "resistance": s.resistance, "enough": s.enough} for s in answer.sizes
            ],
        },
        "cold_day": [
            {
                "temperature": d.temperature,
                "lowest_current": d.lowest_current,
                "nominal_current": d.nominal_current,
                "all_fire_margin": d.margin,
                "most": d.most,
                "reason": d.reason,
            }
            for d in answer.cold
        ],
        "charge_per_firing": number(charge.most, "C", why),
        "launches_per_fifth_of_charge": charge.launches,
        "probability_all_fire": _probability(answer),
        "assumptions": [
            {"key": a.key, "value": a.value, "direction": a.direction, "basis": a.basis} for a in answer.assumptions
        ],
        "cautions": list(answer.cautions),
    }


def _probability(answer: ClusterAnswer) -> dict[str, Any]:
    from ignition.report.contract import trials_dict

    return trials_dict(answer.trials)


def _most_dict(found: HowMany) -> dict[str, Any]:
    return {
        "arrangement": found.arrangement,
        "count": found.count,
        "strings": list(found.strings),
        "all_fire_margin": found.margin,
        "or_more": found.at_limit,
        "reason": found.reason,
    }


def _likely_dict(found: LikelyMany) -> dict[str, Any]:
    return {
        "arrangement": found.arrangement,
        "count": found.count,
        "strings": list(found.strings),
        "probability": found.probability,
        "confidence": found.confidence,
        "lower": found.lower,
        "trials": found.trials,
        "or_more": found.at_limit,
        "reason": found.reason,
    }
