"""Fault analyses as text: what each fault does, what shows it, what stands between battery and igniter."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from rich.console import Console
from rich.text import Text

from ignition.analyses.faults.arming import ArmingFault
from ignition.analyses.faults.remedies import Remedy
from ignition.analyses.faults.results import FaultClass, FaultRow, Faults, PhaseFaults
from ignition.analyses.faults.single import SingleFaults
from ignition.analyses.faults.sneak_paths import SneakPath
from ignition.report.text import at_least, at_most, item, say, table

__all__ = ["arming_text", "failure_points_text", "faults_text", "remedies_text", "sneak_paths_text"]

_CLASSES: tuple[FaultClass, ...] = ("hazardous", "dud", "latent", "detected", "harmless", "not judged", "not solved")


def faults_text(result: Faults, console: Console) -> None:
    """Print a fault analysis."""
    count = len([row for row in result.phases[0].faults if len(row.faults) == 1])
    console.print(Text(f"Faults  ({result.circuit})", style="bold"))
    say(console, f"{count} single faults in each phase, the controller alive and dead; every pair of them.")
    console.print()
    shown = [kind for kind in _CLASSES if any(phase.of(kind) for phase in result.phases)]
    table(
        console,
        ("phase", *(f">{kind}" for kind in shown), ">pairs that fire", ">fewest to fire"),
        [
            (
                phase.phase,
                *(str(len([r for r in phase.of(kind) if len(r.faults) == 1])) for kind in shown),
                str(phase.pairs),
                _fewest(phase, result.order),
            )
            for phase in result.phases
        ],
    )
    _hazardous(result, console)
    _dud(result, console)
    _latent(result, console)
    _unknown(result, console)
    _strained(result, console)
    _inhibits(result, console)
    _left_out(result.left_out, console)
    for size in range(2, result.order + 1):
        _sets(result, size, console)


def _fewest(phase: PhaseFaults, order: int) -> str:
    if all(row.commanded for row in phase.faults):
        return "all commanded"
    if phase.fewest is None:
        return "not known" if phase.of("not judged") or phase.unsolved is not None else f"more than {max(order, 2)}"
    return str(phase.fewest)


def _singles(result: Faults, *kinds: FaultClass) -> dict[str, list[tuple[str, FaultRow]]]:
    """Phases and rows of each single fault of some classes."""
    found: dict[str, list[tuple[str, FaultRow]]] = {}
    for phase in result.phases:
        for row in phase.of(*kinds):
            if len(row.faults) == 1:
                found.setdefault(row.faults[0], []).append((phase.phase, row))
    return found


def _hazardous(result: Faults, console: Console) -> None:
    """Single faults that fire; where a reading shows one, that is after arming, or says so."""
    bare = [phase.phase for phase in result.phases if phase.fewest == 0]
    if bare:
        console.print()
        say(console, f"While {' and '.join(bare)} an igniter may fire with nothing broken at all: ignition holdoff.")
    found = {
        fault: kept
        for fault, places in _singles(result, "hazardous").items()
        if (kept := [place for place in places if place[0] not in bare])
    }
    if not found:
        console.print("\nNo single fault brings an igniter that nobody commands to its no-fire current.")
        return
    console.print("\nHazardous: an igniter that nobody commands may reach its no-fire current")
    for fault, places in found.items():
        _, worst = max(places, key=lambda place: place[1].share or 0.0)
        share = "" if worst.share is None else f", {at_most(worst.share, '1')}-fold the no-fire current"
        where = "" if fault.startswith(f"{worst.channel}.") else f" in {worst.igniter}"
        phases = ", ".join(phase for phase, _ in places)
        seen = _seen(worst.detected_by)
        item(console, f"{fault} ({phases}): {at_most(worst.current, 'A')}{where}{share}; shown by {seen}")


def _seen(readings: Sequence[str]) -> str:
    return ", ".join(readings) if readings else "nothing"


def _dud(result: Faults, console: Console) -> None:
    found = _singles(result, "dud")
    if not found:
        return
    console.print("\nDud: a commanded igniter may miss its all-fire current")
    _by_reading(((fault, places[0][1].detected_by) for fault, places in found.items()), console)


def _by_reading(faults: Iterable[tuple[str, Sequence[str]]], console: Console) -> None:
    """Faults gathered by what shows them, those that nothing shows first."""
    groups: dict[str, list[str]] = {}
    for fault, readings in faults:
        groups.setdefault(_seen(readings), []).append(fault)
    for seen in sorted(groups, key=lambda words: words != "nothing"):
        label = "no reading shows" if seen == "nothing" else f"shown by {seen}"
        item(console, f"{label}: {', '.join(groups[seen])}")


def _latent(result: Faults, console: Console) -> None:
    found = _singles(result, "latent")
    if not found:
        return
    console.print("\nLatent: no reading shows it, and with one more fault an igniter may fire")
    groups: dict[str, list[str]] = {}
    for fault, places in found.items():
        groups.setdefault(", ".join(phase for phase, _ in places), []).append(fault)
    for phases, faults in groups.items():
        item(console, f"{phases}: {', '.join(faults)}")


def _unknown(result: Faults, console: Console) -> None:
    headings: tuple[tuple[FaultClass, str], ...] = (
        ("not solved", "Not solved, so not known"),
        ("not judged", "Not judged: the no-fire or all-fire current of an igniter is not given"),
    )
    for kind, words in headings:
        found = _singles(result, kind)
        if found and kind == "not judged":
            console.print(f"\n{words} ({len(found)} faults)")
        elif found:
            console.print(f"\n{words}")
            item(console, ", ".join(found))


def _strained(result: Faults, console: Console) -> None:
    """Currents beside those in igniters: into controller pins beyond what they bear, and out of the battery."""
    pins: dict[str, dict[str, float]] = {}
    battery: dict[str, float] = {}
    for phase in result.phases:
        for row in phase.faults:
            if len(row.faults) > 1:
                continue
            for pin, current in row.pin_currents.items():
                if current is not None and current > result.pin_limit:
                    own = pins.setdefault(pin, {})
                    own[row.faults[0]] = max(own.get(row.faults[0], 0.0), current)
            if row.battery_current is not None:
                battery[row.faults[0]] = max(battery.get(row.faults[0], 0.0), row.battery_current)
    if pins:
        console.print(
            f"\nBeyond what a controller pin's clamp bears ({at_most(result.pin_limit, 'A')}); what breaks then is not "
            "followed up"
        )
    for pin, found in pins.items():
        most = max(found.values())
        item(console, f"pin of {pin}, up to {at_most(most, 'A')}: {', '.join(found)}")
    if battery:
        worst = max(battery, key=lambda name: battery[name])
        console.print("\nOut of the battery")
        item(console, f"at most {at_most(battery[worst], 'A')}, under {worst}")


def _inhibits(result: Faults, console: Console) -> None:
    console.print("\nWhat stands between battery and igniter, and what defeats it alone")
    groups: dict[tuple[str, str, tuple[str, ...] | None], list[str]] = {}
    for one in result.inhibits:
        groups.setdefault((one.channel, one.inhibit, one.defeated_by), []).append(one.phase)
    for (channel, inhibit, faults), phases in groups.items():
        defeated = "defeated by more faults at a time than were looked at"
        if faults is not None:
            defeated = f"defeated by {', '.join(faults) or 'no single fault'}"
        item(console, f"{channel}, {', '.join(phases)}: {inhibit}; {defeated}")


def _left_out(faults: Mapping[str, str], console: Console) -> None:
    """What the circuit file says cannot happen, by its reasons."""
    groups: dict[str, list[str]] = {}
    for fault, because in faults.items():
        groups.setdefault(because, []).append(fault)
    if groups:
        console.print("\nLeft out by the circuit file, on its word")
    for because, names in groups.items():
        item(console, f"{', '.join(names)}: {because}")


def _sets(result: Faults, size: int, console: Console) -> None:
    """Smallest sets of some size, grouped by all but their last fault."""
    words = {2: "Pairs", 3: "Threes"}[size]
    for phase in result.phases:
        rows = [row for row in phase.faults if len(row.faults) == size]
        if not rows:
            continue
        console.print(f"\n{words} that fire while {phase.phase} ({len(rows)}), none of their faults alone")
        groups: dict[tuple[str, ...], list[FaultRow]] = {}
        for row in rows:
            groups.setdefault(row.faults[:-1], []).append(row)
        for first, members in groups.items():
            least = min(row.current or 0.0 for row in members)
            item(
                console,
                f"{' with '.join(first)} with: {', '.join(row.faults[-1] for row in members)} "
                f"({at_least(least, 'A')} or more)",
            )
        _recurring(phase.recurring, console)
        _likeliest(rows, console)


def _recurring(parts: Mapping[str, int], console: Console) -> None:
    most = [f"{part} ({count})" for part, count in list(parts.items())[:5]]
    item(console, f"parts in most of the smallest sets: {', '.join(most)}")


def _likeliest(rows: Sequence[FaultRow], console: Console) -> None:
    """Sets that are the likeliest beside each other; those with a fault of unknown likelihood are counted."""
    known = sorted((row for row in rows if row.likelihood is not None), key=lambda row: -(row.likelihood or 0.0))
    if known:
        most = [f"{' with '.join(row.faults)} ({row.likelihood:.2g})" for row in known[:5]]
        item(console, f"the likeliest, by weights and shares of failures: {', '.join(most)}")
    if len(known) < len(rows):
        item(console, f"no likelihood is known of {len(rows) - len(known)} of {len(rows)}")


def arming_text(found: Sequence[ArmingFault], console: Console) -> None:
    """Print which broken part fires an igniter as the arm switch closes."""
    console.print("\nAs the arm switch closes, one part broken that holds a gate or slows it")
    fires = [one for one in found if one.kind == "hazardous"]
    for one in fires:
        name, limit = one.fault or f"{one.channel}, nothing broken", ""
        if one.thermal_fraction is not None:
            longer = ", the gate stays on" if math.isinf(one.thermal_fraction) else ""
            limit = longer or f", {at_least(one.thermal_fraction, '1')}-fold what functions it"
        current = "" if one.current is None else f": up to {at_most(one.current, 'A')} in {one.igniter}"
        item(console, f"{name}{current}{limit}; no reading before shows it")
    for kind, words in (("not judged", "not judged, a key is not given"), ("not solved", "not solved, so not known")):
        some = [one.fault or f"{one.channel}, nothing broken" for one in found if one.kind == kind]
        if some:
            item(console, f"{words}: {', '.join(some)}")
    calm = [one for one in found if one.kind == "harmless" and one.thermal_fraction is not None]
    if calm:
        most = max(calm, key=lambda one: one.thermal_fraction or 0.0)
        name = most.fault or f"nothing broken, {most.channel}"
        item(console, f"of the others at most {at_most(most.thermal_fraction, '1')} of the way to function: {name}")


def sneak_paths_text(paths: Sequence[SneakPath], console: Console) -> None:
    """Print the loops through an igniter that pass by a switch with nothing broken."""
    if not paths:
        console.print("\nWith nothing broken no loop through an igniter passes by a switch.")
        return
    console.print("\nLoops through an igniter that pass by a switch with nothing broken, and what each could carry")
    groups: dict[tuple[str, tuple[str, ...]], list[SneakPath]] = {}
    for path in paths:
        groups.setdefault((path.igniter, path.elements), []).append(path)
    for (igniter, elements), some in groups.items():
        passed = dict.fromkeys(name for path in some for name in path.passes_by)
        phases = ", ".join(path.phase for path in some)
        most = max(path.current for path in some)
        item(
            console,
            f"{igniter}, {phases}, without {' and '.join(passed)}: {at_most(most, 'A')} by {', '.join(elements)}",
        )


def remedies_text(tried: Sequence[Remedy], console: Console) -> None:
    """Print which changes stop which faults, and what each costs."""
    if not tried:
        return
    console.print("\nWhat would help, each change tried on this circuit")
    groups: dict[str, list[Remedy]] = {}
    for one in tried:
        groups.setdefault(one.change, []).append(one)
    for change, stopped in sorted(groups.items(), key=lambda group: group[1][0].parts):
        worst = max(stopped, key=lambda one: one.share or 0.0)
        before, after = (at_least(share, "1") for share in (worst.firing_before, worst.firing_after))
        cost = f"firing margin {after}-fold" + ("" if before == after else f" instead of {before}-fold")
        item(
            console,
            f"{change}: stops {', '.join(one.fault for one in stopped)}; then {at_most(worst.current, 'A')} at most, "
            f"{at_most(worst.share, '1')} of no-fire; {cost}",
        )


def failure_points_text(found: SingleFaults, console: Console) -> None:
    """Print how many faults it takes to fire in each phase, and which single ones do while armed."""
    words = {0: "none", 1: "one fault", 2: "two faults or more"}
    console.print("\nWhat it takes to fire an igniter that nobody commands")
    item(console, ", ".join(f"{phase}: {words[count]}" for phase, count in found.fewest.items()))
    groups: dict[str, list[str]] = {}
    for point in found.points:
        groups.setdefault(point.channel, []).append(point.fault)
    for channel, faults in groups.items():
        item(console, f"single failure points of {channel} while armed: {', '.join(faults)}")
    item(
        console,
        "not evaluated here: the two-action and key-switch clauses of the firework-unit rule (WAC 212-17-317); faults "
        "at the arming edge itself, which ignition faults tells",
    )
    _left_out(found.left_out, console)
