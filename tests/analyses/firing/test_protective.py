"""Fuses and protection circuits under fire: when they may open, what is not known, and what that does to 'always'."""

from __future__ import annotations

import json
import math

import pytest

from ignition.analyses.firing.firing import Firing, firing
from ignition.analyses.firing.protective import Cut, ProtectivePart, protective_parts
from ignition.analyses.trials.trials import firing_trials
from ignition.analyses.verdict import check
from ignition.circuit.file import parse_circuit
from ignition.findings.finding import Reason
from ignition.report.json_walk import to_json
from tests.circuit.edits import OPENS, edited

BATTERY = 'resistance = "50 mohm .. 80 mohm .. 150 mohm"'


def text(fuse: str, *swaps: tuple[str, str]) -> str:
    """The cutter, about 4.9 A at most, behind one more feed part of no resistance."""
    part = f'[[feed]]\nname = "F1"\nresistance = "0 ohm"\n{fuse}\n\n[controller]'
    return edited(OPENS, ("[controller]", part), *swaps)


def fired(fuse: str, *swaps: tuple[str, str]) -> tuple[Firing, ProtectivePart]:
    """The result and its first protective part."""
    result = firing(parse_circuit(text(fuse, *swaps)))
    return result, result.supply.parts[0]


def test_a_fuse_that_carries_the_current() -> None:
    """Below what it carries for good at this ambient it never opens, whether its integral is given or not."""
    for integral in ("", '\nmelting_i2t = "1 A^2 s"'):
        result, part = fired(f'kind = "fuse"\nrating = "6 A"{integral}')
        assert (part.name, part.kind, part.missing, part.reason) == ("F1", "fuse", (), None)
        assert part.carried_current == pytest.approx(6.0 * 0.8666) and part.highest_current < part.carried_current
        assert part.opens_after == math.inf and result.channels[0].igniters[0].functions == "always"


def test_a_fuse_that_may_open() -> None:
    """Least integral over the highest current squared; before the latest function the igniter is not promised."""
    result, part = fired('kind = "fuse"\nrating = "2 A"\nmelting_i2t = "10 A^2 s"')
    assert part.opens_after == pytest.approx(0.22 * 10.0 / part.highest_current**2, rel=1e-12)
    assert part.highest_current == pytest.approx(result.channels[0].current.high or 0.0, rel=1e-4)
    igniter = result.channels[0].igniters[0]
    assert part.opens_after is not None and igniter.function_time.high is not None
    assert igniter.functions == "always" and igniter.function_time.high < part.opens_after
    result, part = fired('kind = "fuse"\nrating = "2 A"\nmelting_i2t = "0.2 A^2 s"')
    igniter = result.channels[0].igniters[0]
    assert igniter.functions == "sometimes" and igniter.reason == "fuse 'F1' may open before it functions"
    assert result.supply.fuse_time == part.opens_after


@pytest.mark.parametrize(
    ("keys", "missing", "says"),
    [
        ('kind = "fuse"', ("feed[1].rating", "feed[1].melting_i2t"), "rating and melting_i2t are not given"),
        ('kind = "fuse"\nrating = "5 A"', ("feed[1].melting_i2t",), "melting_i2t is not given"),
        ('kind = "resettable fuse"', ("feed[1].hold_current", "feed[1].trip_i2t"), "hold_current and trip_i2t are not given"),
        ('kind = "resettable fuse"\nhold_current = "1 A"', ("feed[1].trip_i2t",), "trip_i2t is not given"),
    ],
)  # fmt: skip
def test_an_unknown_opening_time_is_never_always(keys: str, missing: tuple[str, ...], says: str) -> None:
    """The current may exceed what it carries and when it opens is not known: the reason names the keys, no trial is run."""
    result, part = fired(keys)
    assert part.opens_after is None and part.missing == missing
    assert "its opening time is not known" in (part.reason or "") and says in (part.reason or "")
    igniter = result.channels[0].igniters[0]
    assert igniter.functions == "sometimes" and igniter.function_time.high is None and igniter.reason == part.reason
    cut = result.supply.cut_before(0.0, 0.0)
    assert cut is not None and (cut.says, cut.keys, cut.cause) == (part.reason, missing, Reason.MISSING_KEY)
    circuit = parse_circuit(text(keys))
    verdicts = {f.verdict for f in check(circuit).findings if f.rule == "functions"}
    assert verdicts == {"UNKNOWN"}
    trials = firing_trials(circuit, 10)
    assert trials.probability is None and trials.reason == part.reason


def test_an_integral_without_a_rating_is_not_enough() -> None:
    """Nothing says that the fuse carries even the standing current for good: when it opens is not known."""
    _, part = fired('kind = "fuse"\nmelting_i2t = "1000 A^2 s"')
    assert part.carried_current is None and part.opens_after is None and part.missing == ("feed[1].rating",)


def test_a_resettable_fuse_is_derated() -> None:
    """At 60 degC its hold current is 0.66 of that at 25, and 0.44 of its trip integral opens it."""
    keys = 'kind = "resettable fuse"\nhold_current = "6 A"\ntrip_i2t = "10 A^2 s"'
    _, cool = fired(keys)
    hot, part = fired(keys, ('temperature = "20 degC"', 'temperature = "20 degC .. 20 degC .. 60 degC"'))
    assert cool.opens_after == math.inf and part.carried_current == pytest.approx(6.0 * 0.6636)
    assert part.opens_after == pytest.approx(0.6636**2 * 10.0 / part.highest_current**2)
    assert hot.channels[0].igniters[0].functions == "always", "it opens after the igniter has functioned"


def test_a_given_derating_decides() -> None:
    """The part's own ratio, the highest current just below and just above what it carries."""
    highest = fired('kind = "fuse"\nrating = "50 A"')[1].highest_current
    for share, opens in ((1.0001, math.inf), (0.9999, None)):
        _, part = fired(f'kind = "fuse"\nrating = "{highest * 2 * share:.9f} A"\nderating = 0.5')
        assert part.opens_after == opens


def test_the_protection_circuit() -> None:
    """It trips at its lowest current after its shortest delay, seeing all loads; below it never."""
    trip = 'protection = {{ trip_current = "{} A .. {} A", delay = "3 ms .. 5 ms" }}'
    for low, opens in ((4.0, 3e-3), (6.0, math.inf)):
        result, part = fired('kind = "switch"', (BATTERY, f"{BATTERY}\n{trip.format(low, low + 2)}"))
        assert (part.name, part.carried_current, part.opens_after) == ("battery protection", low, opens)
        assert result.supply.protection_time == opens and result.supply.fuse_time == math.inf
        assert part.highest_current == result.supply.highest_current


def test_equality_is_on_the_careful_side() -> None:
    """A fuse carries just what it carries; the protection circuit trips at its current; time that is up is up."""
    fuse = 'kind = "fuse"\nrating = "2 A"\nmelting_i2t = "10 A^2 s .. 20 A^2 s"\nderating = 0.5'
    trip = f'{BATTERY}\nprotection = {{ trip_current = "3 A .. 4 A", delay = "3 ms" }}'
    circuit = parse_circuit(text(fuse, (BATTERY, trip)))
    for feed, battery, times in (
        (1.0, 3.0, [math.inf, 3e-3]),
        (math.nextafter(1.0, 2.0), math.nextafter(3.0, 0.0), [pytest.approx(10.0), math.inf]),
    ):
        assert [part.opens_after for part in protective_parts(circuit, feed, battery)] == times
    part = protective_parts(circuit, 2.0, 3.0)[0]
    assert part.opens_after == 2.5 and part.cut_before(2.5) is not None
    assert part.cut_before(math.nextafter(2.5, 0.0)) is None


def test_every_part_has_its_result() -> None:
    """Fuses in the order of the feed, then the protection circuit; the first that may interrupt gives the reason."""
    second = '[[feed]]\nname = "F2"\nkind = "resettable fuse"\nresistance = "0 ohm"\nhold_current = "1 A"\ntrip_i2t = "0.01 A^2 s"\n\n'
    result, _ = fired(
        'kind = "fuse"\nrating = "1 A"\nmelting_i2t = "500 A^2 s"',
        ("[controller]", f"{second}[controller]"),
        (BATTERY, f'{BATTERY}\nprotection = {{ trip_current = "1 A", delay = "1 s" }}'),
    )
    assert [p.name for p in result.supply.parts] == ["F1", "F2", "battery protection"]
    times = [p.opens_after for p in result.supply.parts]
    assert result.supply.fuse_time == times[1] == min(t for t in times if t is not None)
    cut = result.supply.cut_before(0.5, 0.5)
    assert cut == Cut(says="resettable fuse 'F2' may open before it functions", cause=Reason.EXCEEDED)
    assert result.supply.cut_before(0.0, 0.0) is None
    found = json.loads(to_json(result))["supply"]["parts"]
    assert [p["name"] for p in found] == ["F1", "F2", "battery protection"]
    assert found[1]["opens_after"] == {"value": times[1], "unit": "s"} and found[1]["carried_current"]["value"] < 1.1


@pytest.mark.parametrize(
    ("keys", "reason"),
    [('kind = "fuse"', "not known"), ('kind = "fuse"\nrating = "30 A"', "carries the highest current for good")],
)
def test_json_says_why_there_is_no_time(keys: str, reason: str) -> None:
    """Null with its reason, and the keys to give."""
    found = json.loads(to_json(fired(keys)[0]))["supply"]["parts"][0]
    assert found["opens_after"]["value"] is None and reason in found["opens_after"]["reason"]
    assert bool(found["missing"]) is (reason == "not known")
