"""Heating of every conductor that carries the firing current: lead, branches, feed wires, traces."""

from __future__ import annotations

import json
import math

import pytest

from ignition.analyses.firing.conductors import ConductorHeating
from ignition.analyses.firing.firing import Firing, firing
from ignition.circuit.file import parse_circuit
from ignition.parts.conductor import adiabatic_temperature
from ignition.report.json_walk import to_json
from tests.circuit.edits import DEMO, OPENS, edited

SHORT = ('spent = "open"', 'spent = "short"')
SECOND = 'start = "2 s"'
FEED_WIRE = '[[feed]]\nname = "loom"\nkind = "wire"\nwire = "AWG 18"\ndistance = "0.5 m"\n\n[controller]'


def fired(text: str, *swaps: tuple[str, str]) -> Firing:
    """Firing analysis of an edited circuit."""
    return firing(parse_circuit(edited(text, *swaps)))


def square_mm(gauge: int, factor: float = 1.246) -> float:
    """Thin end of a gauge [mm2]: ASTM B258 over the highest resistance of its class."""
    return math.pi / 4 * (0.127 * 92 ** ((36 - gauge) / 39)) ** 2 / factor


def heated(square_time: float, area: float, ambient: float) -> float:
    """Onderdonk's equation, solved for the temperature; area in mm2 [degC]."""
    circular_mils = area / (math.pi / 4 * 0.0254**2)
    return ambient + (234.0 + ambient) * (10 ** (33.0 * square_time / circular_mils**2) - 1.0)


def named(result: Firing) -> dict[str, ConductorHeating]:
    """Every conductor of a result by its name."""
    return {c.name: c for c in (*result.conductors, *(c for channel in result.channels for c in channel.conductors))}


def test_lead_heats_by_its_energy() -> None:
    """Copper of 3.45 J/(cm3 K) and 1/58 ohm mm2/m: rho J^2 t / c over the 2 s pulse, to 3 % at a small rise."""
    channel = fired(OPENS).channels[0]
    lead = channel.conductors[0]
    assert channel.current.high is not None and lead.temperature is not None and not lead.melts
    assert lead.square_time == pytest.approx(channel.current.high**2 * 2.0, rel=1e-6)
    # heat capacity 3.45e6 J/(m3 K): memory
    rise = (1e-6 / 58) * lead.square_time / (1e-6 * square_mm(22)) ** 2 / 3.45e6
    assert lead.temperature - 20.0 == pytest.approx(rise, rel=0.03)
    assert lead.temperature == pytest.approx(heated(lead.square_time, square_mm(22), 20.0), rel=1e-9)


def test_the_longest_pulse_counts() -> None:
    """Lead and branch are heated for the longest pulse that its tolerance allows."""
    result = fired(DEMO, ('pulse = "400 ms"', 'pulse = "300 ms .. 400 ms .. 600 ms"'))
    usual = named(fired(DEMO))
    for name in ("boosters.lead", "boosters.branch 2"):
        assert named(result)[name].square_time == pytest.approx(1.5 * usual[name].square_time, rel=1e-6)


def test_spent_shorts_heat_the_lead() -> None:
    """A bridge that stays a short lets the highest current flow for the whole pulse: 6.8 V over the rest of the loop."""
    lead = named(fired(OPENS, SHORT))["cutter.lead"]
    theory = 3.0 / 58.0 / square_mm(22, 1.0)
    highest = 6.8 / (0.050 + 0.010 + 0.82 * theory + 0.020 + 0.015)
    assert lead.square_time == pytest.approx(highest**2 * 2.0, rel=1e-4)


def test_hair_thin_lead_melts_when_onderdonk_says_so() -> None:
    """A lead that may fuse within the pulse has no temperature, and says that it melts."""
    result = fired(OPENS, ("AWG 22", "AWG 40"), ('"1.5 m"', '"1 cm"'), ('"2 s"', '"60 s"'))
    lead, current = result.channels[0].conductors[0], result.channels[0].current.high
    assert current is not None and float(adiabatic_temperature(1e-6 * square_mm(40), current, 60.0, 20.0)) == float(
        "inf"
    )
    assert lead.melts and lead.temperature is None and lead.reason == "it may melt in the pulse"
    found = json.loads(to_json(result))["channels"][0]
    assert found["lead_temperature"]["value"] is None and "melt" in found["lead_temperature"]["reason"]
    assert found["conductors"][0]["melts"] is True


def test_the_thin_end_of_the_class_counts() -> None:
    """A wire of known make-up is thicker at its thin end, and so cooler."""
    known = fired(OPENS, ('wire = "AWG 22"', 'wire = "AWG 22", wire_class = "stranded"')).channels[0].conductors[0]
    unknown = fired(OPENS).channels[0].conductors[0]
    assert known.temperature == pytest.approx(heated(known.square_time, square_mm(22, 1.126), 20.0), rel=1e-9)
    assert known.temperature is not None and unknown.temperature is not None
    assert known.square_time == pytest.approx(unknown.square_time, rel=1e-9) and known.temperature < unknown.temperature


def test_a_given_resistance_has_no_temperature() -> None:
    """Without a cross-section there is a reason, and no claim that it melts."""
    lead = fired(OPENS, ('wire = "AWG 22", distance = "1.5 m"', 'resistance = "0.2 ohm"')).channels[0].conductors[0]
    assert lead.temperature is None and not lead.melts and "cross-section is not given" in (lead.reason or "")


@pytest.mark.parametrize("swaps", [(), (SHORT,)])
def test_each_branch_carries_its_own_highest_current(swaps: tuple[tuple[str, str], ...]) -> None:
    """A branch carries most when all its neighbours have opened: one string alone on the whole battery."""
    result = fired(DEMO, *swaps)
    conductors = result.channels[0].conductors
    assert [c.name for c in conductors] == ["boosters.lead", *(f"boosters.branch {i}" for i in (1, 2, 3))]
    circuit = parse_circuit(edited(DEMO, *swaps))
    channel, battery = circuit.channels[0], circuit.battery
    assert channel.branch is not None
    loop = battery.resistance.low + sum(part.resistance.low for part in circuit.feed)
    loop += channel.lead.resistance.low + channel.branch.resistance.low + result.channels[0].on_resistance.low
    loop += 1e-6 if swaps else 1.4
    for branch in conductors[1:]:
        # the sense dividers draw some 1e-5 of this
        assert branch.square_time == pytest.approx((battery.voltage.high / loop) ** 2 * 0.4, rel=1e-4)
        assert branch.temperature == pytest.approx(heated(branch.square_time, square_mm(22, 1.126), 35.0), rel=1e-9)


def test_a_feed_wire_is_heated_by_all_channels() -> None:
    """A wire of the feed carries the pulses of both channels one after the other: the sum of current squared times time."""
    result = fired(DEMO, ("[controller]", FEED_WIRE))
    loom = named(result)["feed.loom"]
    first, second = (named(result)[name].square_time for name in ("boosters.lead", "marker.lead"))
    assert loom.square_time == pytest.approx(first + second, rel=1e-3)
    assert loom.temperature == pytest.approx(heated(loom.square_time, square_mm(18), 35.0), rel=1e-9)
    found = json.loads(to_json(result))["conductors"]
    assert [c["name"] for c in found] == ["feed.loom"] and found[0]["temperature"]["value"] == loom.temperature


def test_overlapping_channels_heat_the_feed_together() -> None:
    """Where the pulses overlap the feed carries both currents, in each pulse."""
    apart = named(fired(DEMO, ("[controller]", FEED_WIRE)))["feed.loom"].square_time
    result = fired(DEMO, ("[controller]", FEED_WIRE), (SECOND, 'start = "0 s"'))
    both, together = named(result)["feed.loom"].square_time, result.supply.parts[0].highest_current
    assert both == pytest.approx(together**2 * (0.4 + 0.25), rel=1e-9) and both > apart


def test_a_trace_is_a_conductor_too() -> None:
    """A board trace is heated at its thin end, from the hottest ambient."""
    text = edited(
        OPENS,
        (
            'wire = "AWG 22", distance = "1.5 m"',
            'trace = { width = "2 mm ± 10 %", thickness = "35 um ± 20 %" }, distance = "5 cm"',
        ),
        ('temperature = "20 degC"', 'temperature = "20 degC .. 20 degC .. 45 degC"'),
        ('"2 s"', '"20 ms"'),
    )
    lead = firing(parse_circuit(text)).channels[0].conductors[0]
    assert lead.temperature == pytest.approx(heated(lead.square_time, 1.8 * 0.028, 45.0), rel=1e-9)
