"""Bounds of single igniters, pairs in parallel and pairs in series, by hand: a loop, branches, the bridge's law."""

from __future__ import annotations

import math

import pytest

from ignition.analyses.firing.bounds import IgniterBounds, igniter_bounds
from ignition.analyses.firing.on_state import on_states
from ignition.analyses.firing.schedule import overlapping
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.parts.igniter import sustained
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

# 40 to 100 mohm of battery, 10 mohm of key, 10 to 50 mohm of switch; the lead, and 0 ohm in each branch
SIMPLE = (
    ('lead = { wire = "AWG 20", distance = "3 m", joints = "20 mohm .. 40 mohm .. 100 mohm" }', 'lead = { resistance = "0.8 ohm .. 1.0 ohm .. 1.2 ohm", joints = "0 ohm" }'),
    ('time_constant = "10 ms"', 'time_constant = "8 ms .. 10 ms .. 12 ms"'),
    ('pulse = "500 ms"', 'pulse = "3 ms .. 4 ms .. 5 ms"'),
    ('input_capacitance = "1 nF"\ngate_drain_charge = "3 nC"\n', ""),  # no delay
    ('current = "20 mA"', 'current = "0 A"'),
)  # fmt: skip
SPENT = '\nspent = "{}"'
NEAR = 2e-4
"""What the dividers at the bus and at the drain take from a current."""


def bounded(*swaps: tuple[str, str], igniters: str = '[["match"]]') -> tuple[Circuit, list[IgniterBounds]]:
    """Bounds of the first channel of the simple circuit with edits; the on-resistance is set to exact 20 mohm."""
    circuit = parse_circuit(
        edited(
            SOUND,
            ('[["match"]]', igniters),
            ("10 mohm .. 14 mohm .. 20 mohm", "20 mohm"),
            ("on_resistance_hot_factor = 1.6", "on_resistance_hot_factor = 1.0"),
            *SIMPLE,
            *swaps,
        )
    )
    channel = circuit.channels[0]
    group = overlapping(circuit, channel)
    states, box = on_states(circuit, group)
    return circuit, igniter_bounds(circuit, channel, states[channel.name], box, group)


def loop(weak: bool, *branches: float, extra: float = 0.0) -> float:
    """Current of the first of some branches [A]: weak or strong battery, and the loop's resistances at that end."""
    voltage, before = (8.0, 0.1 + 0.01 + 0.05 + 1.2 + 0.02) if weak else (8.4, 0.04 + 0.01 + 0.01 + 0.8 + 0.02)
    together = 1.0 / sum(1.0 / branch for branch in branches)
    return voltage / (before + extra + together) * together / branches[0]


def time(current: float, threshold: float, constant: float, reached: float = 0.0) -> float:
    """x(t) = k + (x0 - k) exp(-t / tau) reaches one, with k = (I / I0)^2 [s]; infinite where it does not."""
    drive = (current / threshold) ** 2
    return constant * math.log((drive - reached) / (drive - 1.0)) if drive > 1.0 else math.inf


LOW = float(sustained(0.2, 300.0, 12e-3))
HIGH = 0.8 * math.sqrt(-math.expm1(-50e-3 / 8e-3))
"""Thresholds at infinite duration: of a statement over 300 s, and of one over 50 ms at the fastest constant [A]."""


def test_one_igniter() -> None:
    """Strong battery and 1.0 ohm, lowest threshold, 8 ms; weak battery and 1.5 ohm, highest threshold, 12 ms."""
    _, (found,) = bounded()
    strong, weak = loop(False, 1.0), loop(True, 1.5)
    assert found.lowest_current == pytest.approx(weak, rel=NEAR)
    assert found.highest_channel_current == pytest.approx(strong, rel=NEAR)
    assert found.earliest == pytest.approx(time(strong, LOW, 8e-3), rel=3 * NEAR)
    assert found.latest == pytest.approx(time(weak, HIGH, 12e-3), rel=3 * NEAR)
    assert (found.least_fraction, found.greatest_fraction) == (1.0, 1.0) and found.reason is None
    assert (found.corner.battery_voltage, found.corner.temperature) == (8.0, 20.0)
    ends = dict(found.corner.ends)
    assert ends["line.lead"] == ends["line.igniter 1.1"] == "high"


def test_a_current_between_the_thresholds() -> None:
    """20 ohm of lead: 0.37 A is over the lowest threshold and under the highest; the fractions of a short pulse."""
    lead = ("0.8 ohm .. 1.0 ohm .. 1.2 ohm", "20.8 ohm .. 21.0 ohm .. 21.2 ohm")
    _, (found,) = bounded(lead, ('pulse = "3 ms .. 4 ms .. 5 ms"', 'pulse = "0.3 ms .. 0.4 ms .. 0.5 ms"'))
    strong, weak = loop(False, 1.0, extra=20.0), loop(True, 1.5, extra=20.0)
    assert LOW < weak < strong < HIGH
    assert found.earliest == pytest.approx(time(strong, LOW, 8e-3), rel=3 * NEAR)
    assert found.latest == math.inf
    assert found.reason == "the lowest current does not exceed the highest threshold"
    assert found.greatest_fraction == pytest.approx((strong / LOW) ** 2 * -math.expm1(-0.5 / 8.0), rel=3 * NEAR)
    assert found.least_fraction == pytest.approx((weak / HIGH) ** 2 * -math.expm1(-0.3 / 12.0), rel=3 * NEAR)


def test_the_gate_takes_its_time() -> None:
    """1 nF and 3 nC over 130 ohm: the latest and the least fraction count from then on, the earliest and greatest not."""
    lead = ("0.8 ohm .. 1.0 ohm .. 1.2 ohm", "20.8 ohm .. 21.0 ohm .. 21.2 ohm")
    slow = (
        ("on_resistance_hot_factor = 1.0", 'on_resistance_hot_factor = 1.0\ninput_capacitance = "1 nF"\ngate_drain_charge = "3 nC"'),
        ('series = "100 ohm"', 'series = "20 kohm"'), ('pull_down = "10 kohm", capacitor = "10 nF"', 'pull_down = "1 Mohm"'),
        ('gate_leakage = "100 nA"', 'gate_leakage = "0 A"'), ('leakage = "1 uA"\nreset', 'leakage = "0 A"\nreset'),
    )  # fmt: skip
    pulse = ('pulse = "3 ms .. 4 ms .. 5 ms"', 'pulse = "0.3 ms .. 0.4 ms .. 0.5 ms"')
    _, (plain,) = bounded(lead, pulse)
    _, (late,) = bounded(lead, pulse, *slow)
    # 20 030 ohm, to 3.3 V x 0.98: to 2.5 V in RC ln(3.235 / 0.735), then 3 nC at no less than 0.735 V over R
    source = 20030.0
    drive = 3.3 * 1e6 / 1.02003e6
    delay = source * 1e-9 * math.log(drive / (drive - 2.5)) + 3e-9 * source / (drive - 2.5)
    weak = loop(True, 1.5, extra=20.0)
    assert late.least_fraction == pytest.approx((weak / HIGH) ** 2 * -math.expm1(-(0.3e-3 - delay) / 12e-3), rel=1e-3)
    assert (late.earliest, late.greatest_fraction) == (plain.earliest, plain.greatest_fraction)
    _, (fast,) = bounded()
    _, (slower,) = bounded(*slow)
    assert slower.latest == pytest.approx((fast.latest or 0.0) + delay, rel=1e-3)
    none = ('pulse = "3 ms .. 4 ms .. 5 ms"', 'pulse = "30 us .. 40 us .. 50 us"')
    assert bounded(lead, none, *slow)[1][0].least_fraction == 0.0


@pytest.mark.parametrize(
    ("spent", "low", "high"),
    [("open", 1.0, math.inf), ("short", 1e-3, 1.5), ("0.05 ohm .. 1 ohm .. 4 ohm", 0.05, 4.0)],
)
def test_two_in_parallel(spent: str, low: float, high: float) -> None:
    """The other bridge anywhere between fresh and spent: as little as it can be leaves least, as much leaves most.

    Earliest: the unfired current until the first function of both, which is at that current as well.
    """
    _, (one, two) = bounded(('spent = "open"', f'spent = "{spent}"'), igniters='[["match"], ["match"]]')
    assert one == pytest.approx(two) or one.latest == two.latest
    unfired = loop(False, 1.0, 1.5)
    weak = loop(True, 1.5, low)
    if spent != "short":
        assert one.lowest_current == pytest.approx(weak, rel=NEAR)
    assert one.lowest_current <= loop(True, 1.5, 1.0) * (1.0 + 1e-6)
    first = time(unfired, LOW, 8e-3)
    assert one.earliest == pytest.approx(first, rel=3 * NEAR)
    most = loop(False, 1.0, high)
    assert most >= unfired
    channel = loop(False, 0.5) if spent == "open" else None
    if channel is not None:
        assert one.highest_channel_current == pytest.approx(channel, rel=NEAR)
    latest = time(one.lowest_current, HIGH, 12e-3)
    assert one.latest == (math.inf if math.isinf(latest) else pytest.approx(latest, rel=3 * NEAR))


def test_a_spent_short_takes_more_than_two_fresh_ones() -> None:
    """One of 0.05 ohm in place of a bridge: the channel's highest current is that of both spent."""
    spent = ('spent = "open"', 'spent = "0.05 ohm .. 1 ohm .. 4 ohm"')
    _, (one, _) = bounded(spent, igniters='[["match"], ["match"]]')
    assert one.highest_channel_current == pytest.approx(loop(False, 0.025), rel=NEAR)


def test_a_quicker_neighbour_opens_first() -> None:
    """Beside one of 5 mA, open at once, the slow one carries the whole current from then on: two steps of its law."""
    quick = SOUND[SOUND.index("[igniter.match]") : SOUND.index("[mosfet.low_side]")].replace("match", "quick")
    quick = quick.replace('current = "0.2 A"', 'current = "0.1 A"').replace('time_constant = "10 ms"', 'time_constant = "2 ms .. 3 ms .. 4 ms"')  # fmt: skip
    _, (slow, fast) = bounded(("[mosfet", f"{quick}[mosfet"), igniters='[["match"], ["quick"]]')
    unfired, alone = loop(False, 1.0, 1.5), loop(False, 1.0)
    first = time(unfired, float(sustained(0.1, 300.0, 4e-3)), 2e-3)
    assert fast.earliest == pytest.approx(first, rel=3 * NEAR)
    reached = (unfired / LOW) ** 2 * -math.expm1(-first / 8e-3)
    assert reached < 1.0
    assert slow.earliest == pytest.approx(first + time(alone, LOW, 8e-3, reached), rel=3 * NEAR)
    assert slow.earliest < time(unfired, LOW, 8e-3)


@pytest.mark.parametrize(("spent", "ends"), [("open", True), ("short", False)])
def test_two_in_series(spent: str, ends: bool) -> None:
    """One that opens first ends the current of the other: nothing is sure. A short leaves it more."""
    _, (one, two) = bounded(('spent = "open"', f'spent = "{spent}"'), igniters='[["match", "match"]]')
    assert one.lowest_current == pytest.approx(loop(True, 3.0), rel=NEAR)
    unfired = loop(False, 2.0)
    assert one.earliest == two.earliest == pytest.approx(time(unfired, LOW, 8e-3), rel=3 * NEAR)
    if ends:
        assert one.latest == two.latest == math.inf and one.least_fraction == 0.0
        assert one.reason == "a neighbour in its string may open before it functions"
    else:
        assert one.latest == pytest.approx(time(loop(True, 3.0), HIGH, 12e-3), rel=3 * NEAR) and one.reason is None
        assert one.highest_channel_current == pytest.approx(loop(False, 2e-3), rel=0.01)


def test_in_series_with_one_that_surely_is_later() -> None:
    """A neighbour that cannot open before the other has functioned takes nothing from it; the other takes all of it.

    The late one's no-fire current is 0.7 A, its fastest constant 100 ms: at 2.95 A not before 5.8 ms. At the lowest,
    1.83 A, the first has functioned after 2.4 ms.
    """
    late = SOUND[SOUND.index("[igniter.match]") : SOUND.index("[mosfet.low_side]")].replace("match", "late")
    late = late.replace('current = "0.2 A"', 'current = "0.7 A"').replace('time_constant = "10 ms"', 'time_constant = "100 ms"')  # fmt: skip
    late = late.replace('duration = "50 ms"', 'duration = "2 s"')
    _, (first, last) = bounded(("[mosfet", f"{late}[mosfet"), igniters='[["match", "late"]]')
    assert first.latest == pytest.approx(time(loop(True, 3.0), HIGH, 12e-3), rel=3 * NEAR)
    assert last.earliest is not None and last.earliest > first.latest
    assert last.latest == math.inf and "may open before" in (last.reason or "")


@pytest.mark.parametrize("statement", ["no_fire", "all_fire"])
def test_without_a_statement(statement: str) -> None:
    """What it gives is None, and the reason names it; the currents are known all the same."""
    line = next(f"{x}\n" for x in SOUND.splitlines() if x.startswith(f"{statement} ="))
    _, (found,) = bounded((line, ""))
    missing = (
        (found.earliest, found.greatest_fraction) if statement == "no_fire" else (found.latest, found.least_fraction)
    )
    given = (
        (found.latest, found.least_fraction) if statement == "no_fire" else (found.earliest, found.greatest_fraction)
    )
    assert missing == (None, None) and None not in given
    assert found.reason == f"no {statement.replace('_', '-')} current is given"
    assert found.keys == (("igniter.match.all_fire",) if statement == "all_fire" else ())
    assert found.lowest_current == pytest.approx(loop(True, 1.5), rel=NEAR)


def test_beside_one_of_which_nothing_is_known() -> None:
    """It may open at once: the earliest of the other is that of the whole current from the start."""
    bare = """[igniter.bare]
bridge_resistance = "1.0 ohm .. 1.2 ohm .. 1.5 ohm"
temperature_coefficient = "0 / K"
spent = "open"

"""
    _, (found, other) = bounded(("[mosfet", f"{bare}[mosfet"), igniters='[["match"], ["bare"]]')
    assert other.earliest is None
    assert found.earliest == pytest.approx(time(loop(False, 1.0), LOW, 8e-3), rel=3 * NEAR)
    _, (found, other) = bounded(("[mosfet", f"{bare}[mosfet"), igniters='[["match", "bare"]]')
    # in one string it may end the current at once, or not
    assert (found.latest, found.least_fraction, found.keys) == (None, None, ("igniter.bare.no_fire",))
    assert found.reason == "igniter 'bare' in its string has no no-fire current: it may open at any time"


SECOND = """
[[channel]]
name = "other"
igniters = [["match"]]
mosfet = "low_side"
pulse = "3 ms .. 4 ms .. 5 ms"
start = "{}"
lead = {{ resistance = "0.8 ohm .. 1.0 ohm .. 1.2 ohm", joints = "0 ohm" }}
gate = {{ series = "100 ohm", pull_down = "10 kohm" }}
sense = {{ upper = "100 kohm", lower = "47 kohm", filter = "100 nF", temperature_coefficient = "0 / K" }}
"""


@pytest.mark.parametrize(("start", "together"), [("0 s", True), ("4.9 ms", True), ("5.1 ms", False)])
def test_another_channel(start: str, together: bool) -> None:
    """One that may fire in the same time sags the battery; one after the end of the pulse does not."""
    circuit, (found,) = bounded(("[checklist]", f"{SECOND.format(start)}\n[checklist]"))
    assert len(circuit.channels) == 2
    alone = loop(True, 1.5)
    # both behind 0.16 ohm of battery, key and switch; the other at 1.0 ohm with a lead of 0.8 ohm
    source = 0.1 + 0.01 + 0.05
    mine, theirs = 1.2 + 0.02 + 1.5, 0.8 + 0.02 + 1.0
    both = 1.0 / (1.0 / mine + 1.0 / theirs)
    shared = 8.0 / (source + both) * both / mine
    assert found.lowest_current == pytest.approx(shared if together else alone, rel=NEAR)


@pytest.mark.parametrize(("start", "before"), [("0 s", True), ("5.1 ms", False)])
def test_a_neighbour_of_two_in_parallel_may_be_spent_when_another_channel_was_first(start: str, before: bool) -> None:
    """What the other channel does to the battery is not followed: then a neighbour counts as spent from the start."""
    other = ("[checklist]", f"{SECOND.format(start)}\n[checklist]")
    _, (one, two) = bounded(other, igniters='[["match"], ["match"]]')
    current = loop(False, 1.0) if before else loop(False, 1.0, 1.5)
    assert one.earliest == two.earliest == pytest.approx(time(current, LOW, 8e-3), rel=3 * NEAR)


def test_a_spent_bridge_without_any_resistance() -> None:
    """Beside 0 ohm nothing flows through the other bridge, and it never functions."""
    _, (one, _) = bounded(('spent = "open"', 'spent = "0 ohm .. 1 ohm .. 4 ohm"'), igniters='[["match"], ["match"]]')
    assert one.lowest_current == pytest.approx(0.0, abs=1e-9) and one.latest == math.inf


ANOTHER = SOUND[SOUND.index("[igniter.match]") : SOUND.index("[mosfet.low_side]")]


def test_two_types_in_one_string_have_their_own_bounds() -> None:
    """Quick ones that become a short leave a slow one more current than it leaves them; both in one string.

    A short may be none at all: beside it 8.4 V over 0.88 + 1.0 ohm.
    """
    quick = ANOTHER.replace("match", "quick").replace('current = "0.2 A"', 'current = "0.1 A"')
    quick = quick.replace('"10 ms"', '"2 ms .. 3 ms .. 4 ms"').replace('spent = "open"', 'spent = "short"')
    _, (slow, fast) = bounded(("[mosfet", f"{quick}[mosfet"), igniters='[["match", "quick"]]')
    unfired = loop(False, 2.0)
    first = time(unfired, float(sustained(0.1, 300.0, 4e-3)), 2e-3)
    assert fast.earliest == pytest.approx(first, rel=3 * NEAR)
    reached = (unfired / LOW) ** 2 * -math.expm1(-first / 8e-3)
    assert slow.earliest == pytest.approx(first + time(loop(False, 1.0), LOW, 8e-3, reached), rel=3 * NEAR)
    assert slow.earliest < time(unfired, LOW, 8e-3)
    # the other way round, whatever the order in the file
    _, (fast_too, slow_too) = bounded(("[mosfet", f"{quick}[mosfet"), igniters='[["quick", "match"]]')
    assert (fast_too.earliest, slow_too.earliest) == pytest.approx((fast.earliest, slow.earliest), rel=1e-12)


def test_the_corner_of_one_of_two_strings() -> None:
    """Its own bridge and branch at their highest, its neighbour's at their lowest, at the coldest ambient."""
    branch = ("gate = {", 'branch = { resistance = "0.1 ohm .. 0.5 ohm .. 1 ohm", joints = "0 ohm" }\ngate = {')
    spent = ('spent = "open"', 'spent = "1 ohm .. 1.2 ohm .. 1.5 ohm"')
    cold = (
        ('temperature = "20 degC"', 'temperature = "-10 degC .. 20 degC .. 40 degC"'),
        ('resistance_temperature = "20 degC"', 'resistance_temperature = "ambient"'),
    )
    _, both = bounded(branch, spent, *cold, igniters='[["match"], ["match"]]')
    for own, other, found in ((1, 2, both[0]), (2, 1, both[1])):
        assert (found.corner.battery_voltage, found.corner.temperature) == (8.0, -10.0)
        ends = dict(found.corner.ends)
        assert (ends[f"line.igniter {own}.1"], ends[f"line.igniter {other}.1"]) == ("high", "low")
        assert (ends[f"line.branch {own}"], ends[f"line.branch {other}"]) == ("high", "low")
        assert ends["line.lead"] == "high"


def test_a_bridge_that_grows() -> None:
    """0.001 / K from 20 to 320 degC is 1.3 times: a neighbour between cold and hot, its own at 1.95 ohm is the weakest."""
    grows = ('temperature_coefficient = "0 / K"', 'temperature_coefficient = "0.001 / K"')
    circuit, (one, _) = bounded(grows, igniters='[["match"], ["match"]]')
    growth = circuit.igniters["match"].growth
    assert (growth.low, growth.high) == pytest.approx((0.3, 0.3))
    assert one.lowest_current == pytest.approx(loop(True, 1.5 * 1.3, 1.0), rel=NEAR)
    assert one.highest_channel_current == pytest.approx(loop(False, 0.5), rel=NEAR)


def test_a_spent_bridge_of_some_ohms() -> None:
    """Beside one that stays between 3 and 40 ohm: nothing is as little as a fresh one, and it never opens."""
    spent = ('spent = "open"', 'spent = "3 ohm .. 5 ohm .. 40 ohm"')
    quick = ANOTHER.replace("match", "quick").replace('current = "0.2 A"', 'current = "0.1 A"').replace('"10 ms"', '"2 ms .. 3 ms .. 4 ms"')  # fmt: skip
    quick = quick.replace('spent = "open"', 'spent = "3 ohm .. 5 ohm .. 40 ohm"')
    _, (slow, _) = bounded(("[mosfet", f"{quick}[mosfet"), spent, igniters='[["match"], ["quick"]]')
    unfired, most = loop(False, 1.0, 1.5), loop(False, 1.0, 40.0)
    first = time(unfired, float(sustained(0.1, 300.0, 4e-3)), 2e-3)
    reached = (unfired / LOW) ** 2 * -math.expm1(-first / 8e-3)
    assert slow.earliest == pytest.approx(first + time(most, LOW, 8e-3, reached), rel=3 * NEAR)
    assert slow.lowest_current == pytest.approx(loop(True, 1.5, 1.0), rel=NEAR)
    assert slow.highest_channel_current == pytest.approx(loop(False, 0.5), rel=NEAR)


def test_of_three_in_a_string_the_soonest_counts() -> None:
    """One late, one quick, one more: what the quick one may end, not what the late one may; in two strings each its own."""
    quick = ANOTHER.replace("match", "quick").replace('current = "0.2 A"', 'current = "0.1 A"').replace('"10 ms"', '"2 ms .. 3 ms .. 4 ms"')  # fmt: skip
    late = (
        ANOTHER.replace("match", "late").replace('current = "0.2 A"', 'current = "0.7 A"').replace('"10 ms"', '"1 s"')
    )
    late = late.replace('duration = "50 ms"', 'duration = "20 s"')
    swaps = ("[mosfet", f"{quick}{late}[mosfet")
    _, (first, *_) = bounded(swaps, igniters='[["match", "quick", "late"]]')
    assert first.latest == math.inf and "may open before" in (first.reason or "")
    _, found = bounded(swaps, igniters='[["match", "late"], ["quick", "late"]]')
    # beside a late one alone both are sure; that it is in another string than the quick one matters
    assert [f.latest == math.inf for f in found] == [False, True, False, True]


BANK = (
    'protection = "none"',
    'protection = "none"\ncapacitor_bank = {{ capacitance = "{}", series_resistance = "0.1 ohm", recharge_resistance = "{}" }}',
)
SHARES = (0.97, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1)
WEAKEST = 0.1 + 0.01 + 0.05 + 1.2 + 0.02 + 1.5
"""The bank's 0.1 ohm, the feed, the lead, the switch and the bridge at their highest [ohm]."""
STATEMENT = (
    ('no_fire = { current = "0.2 A"', 'no_fire = { current = "0.1 A"'),
    ('all_fire = { current = "0.8 A"', 'all_fire = { current = "0.18 A"'),
)
"""So low a current that a tenth of the bank's voltage still functions it, though late."""


def banked(capacitance: float, dividers: int, before: float, lead: float = 0.0) -> float:
    """Latest function by hand [s]: of ten shares of the voltage the earliest time that comes before that share is left.

    A divider draws at most 8.4 V / 100 kohm through 10 kohm, 0.84 V; where no line is connected the bank stands at
    8.4 V. It gives at most that through 0.1 + 0.02 + 0.8 + 0.02 + 1.0 ohm, from when another channel began to draw.
    """
    low, drain = 8.0 - 0.84 * dividers, 8.4 / (1.94 + lead)
    threshold = 0.18 * math.sqrt(-math.expm1(-50.0 / 8.0))
    times = {share: time(share * low / (WEAKEST + lead), threshold, 12e-3) for share in SHARES}
    return min(
        (late for share, late in times.items() if late <= (1.0 - share) * low * capacitance / drain - before),
        default=math.inf,
    )


@pytest.mark.parametrize(
    ("largest", "before", "decide"),
    [
        (14.0, 0.5, 10),  # after a channel that draws for half a second each of the ten shares decides in its turn
        (7e-3, 0.0, 4),  # alone just the first four: with less left it takes longer than that leaves
    ],
)
def test_a_bank_that_runs_down(largest: float, before: float, decide: int) -> None:
    """From a large bank to a small one: the latest function at one share after the other, and then none."""
    other = ("[checklist]", SECOND.format("0 s").replace("3 ms .. 4 ms .. 5 ms", "500 ms") + "\n[checklist]")
    later = ('pulse = "3 ms .. 4 ms .. 5 ms"', 'start = "600 ms"\npulse = "3 ms .. 4 ms .. 5 ms"')
    answers = set()
    for capacitance in [largest * 0.85**k for k in range(28)]:
        bank = BANK[1].format(f"{capacitance * 1e6:.9g} uF .. {capacitance * 2e6:.9g} uF", "10 kohm")
        swaps = ((BANK[0], bank), *STATEMENT, *((later, other) if before else ()))
        _, (found,) = bounded(*swaps)
        expected = banked(capacitance, 2 if before else 1, before)
        answers.add(f"{expected:.6g}")
        assert found.latest == (math.inf if math.isinf(expected) else pytest.approx(expected, rel=2e-3))
        if math.isinf(expected):
            assert found.least_fraction == 0.0
            assert found.reason == "the lowest current does not function it before the capacitor bank may have run down"
    assert len(answers) == decide + 1, sorted(answers)


@pytest.mark.parametrize(("capacitance", "lasts"), [(20e-3, True), (2e-3, False)])
def test_a_bank_of_which_little_is_drawn(capacitance: float, lasts: bool) -> None:
    """20 ohm of lead: 0.38 A runs a bank down too, if more slowly."""
    lead = ("0.8 ohm .. 1.0 ohm .. 1.2 ohm", "20.8 ohm .. 21.0 ohm .. 21.2 ohm")
    bank = BANK[1].format(f"{capacitance} F .. {2 * capacitance} F", "10 kohm")
    _, (found,) = bounded((BANK[0], bank), *STATEMENT, lead)
    expected = banked(capacitance, 1, 0.0, 20.0)
    assert math.isfinite(expected) is lasts
    assert found.latest == (pytest.approx(expected, rel=2e-3) if lasts else math.inf)
