"""The mini-formats of the field: what they mean, and what is said of a mistake."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from ignition.circuit.few_inputs import FewInputs, circuit_from, describe, few_assumptions
from ignition.errors import InputError

FEW = FewInputs(
    battery="lithium-polymer 2S, 1300 mAh",
    readings="open 8.02 V, loaded 7.61 V, load 3.3 ohm ± 5 %",
    igniter="1.1 ohm, all-fire 0.9 A 50 ms, no-fire 0.25 A",
    lead="AWG 20, 8 m",
)


def test_every_word_arrives() -> None:
    """Cells, capacity, readings, statements, wire: each text becomes the value of a circuit file."""
    given = describe(FEW, (1, 1))
    assert (given.battery.chemistry, given.battery.cells_in_series) == ("lithium-polymer", 2)
    assert given.battery.capacity is not None and given.battery.capacity.nominal == pytest.approx(4680.0)
    assert given.battery.readings is not None and given.battery.readings.load.high == pytest.approx(3.465)
    igniter = given.igniter["igniter"]
    assert igniter.all_fire is not None and igniter.all_fire.duration is not None and igniter.no_fire is not None
    assert (igniter.all_fire.current.nominal, igniter.all_fire.duration.nominal) == (0.9, 0.05)
    assert igniter.no_fire.duration is None
    assert given.channel[0].lead.wire == "AWG 20"
    assert given.channel[0].igniters == [["igniter"], ["igniter"]]


def test_readings_give_the_resistance() -> None:
    """R = load (open/loaded - 1) at the nominal ambient, by hand."""
    assert circuit_from(FEW, (1,)).battery.resistance.nominal == pytest.approx(3.3 * (8.02 / 7.61 - 1.0), rel=1e-12)


@pytest.mark.parametrize(
    ("texts", "check"),
    [
        ({"battery": "12.0 V .. 12.6 V, 80 mohm", "readings": None}, lambda c: c.battery.voltage.high == 12.6),
        ({"battery": "alkaline 8S 2P", "readings": None}, lambda c: c.battery.voltage.nominal > 8.0),
        ({"battery": "lead-acid 6S, 7 Ah, 90 % .. 100 %", "readings": None}, lambda c: c.battery.capacity.low == 25200),
        ({"battery": None}, lambda c: c.battery.voltage.nominal == 8.02),
        ({"lead": "0.5 ohm ± 0.1 ohm"}, lambda c: c.channels[0].lead.round_trip.high == pytest.approx(0.6)),
        ({"lead": "0.75 mm2, 10 m, joints 0.1 ohm"}, lambda c: c.channels[0].lead.joints.high == 0.1),
        ({"branch": "AWG 24, 0.5 m"}, lambda c: c.channels[0].branch is not None),
        ({"lead": "1 mm2, 29 m, stranded, joints 0 ohm"}, lambda c: c.channels[0].lead.round_trip.high == pytest.approx(1.012 * 18.2 * 0.058 * (1 + 0.00393 * 30))),
        ({"readings": FEW.readings + ", temperature 20 degC", "ambient": "20 degC"}, lambda c: not any("readings.temperature" in a.key for a in c.assumptions)),
        ({"battery": "12.0 V .. 12.6 V, 80 mohm, 10 degC", "readings": None, "ambient": "10 degC"}, lambda c: c.battery.resistance.high == 0.08 and not any("resistance_temperature" in a.key for a in c.assumptions)),
        ({"battery": "12 V, 80 mohm, polarisation none", "readings": None}, lambda c: c.battery.slow_resistance == 0.0),
        ({"battery": "lithium-ion 2S", "readings": None}, lambda c: not any("parallel" in a.key for a in c.assumptions)),
        ({"battery": "lithium-ion 2S2P", "readings": None}, lambda c: c.battery.resistance.high == pytest.approx(0.5 * circuit_from(replace(FEW, battery="lithium-ion 2S", readings=None), (1,)).battery.resistance.high)),
        ({"igniter": "1 ohm .. 1.5 ohm, all-fire 0.9 A ± 5 % for 50 ms"}, lambda c: c.igniters["igniter"].all_fire.current.high == pytest.approx(0.945)),
        ({"igniter": "1 ohm, all-fire 2 A, temperature coefficient 0.0002 / K"}, lambda c: c.igniters["igniter"].temperatures.coefficient.high == 2e-4),
        ({"igniter": "1 ohm, all-fire 2 A, spent short"}, lambda c: c.igniters["igniter"].spent == "short"),
        ({"igniter": "1 ohm, all-fire 1 A 50 ms, time constant 12 ms"}, lambda c: c.igniters["igniter"].time_constant.slow == 12e-3),
        ({"arm_switch": "30 mohm"}, lambda c: c.feed[0].resistance.high == 0.03),
        ({"mosfet": "5 mohm .. 9 mohm"}, lambda c: c.mosfets["switch"].rows[0].resistance.high == 9e-3),
        ({"pulse": "1 s", "ambient": "0 degC .. 30 degC"}, lambda c: (c.channels[0].pulse.low, c.ambient.low) == (1.0, 0.0)),
    ],
)  # fmt: skip
def test_other_ways_of_saying_it(texts: dict[str, str], check: object) -> None:
    """Every form that the help shows is read."""
    assert check(circuit_from(replace(FEW, **texts), (1,)))  # type: ignore[operator]


@pytest.mark.parametrize(
    ("texts", "message"),
    [
        ({"igniter": "1.1 ohm, allfire 3 A"}, "--igniter: 'allfire 3 A' is not understood; known are"),
        ({"igniter": "1 ohm, 2 ohm"}, "bridge resistance stands twice"),
        ({"igniter": "1.1 ohm, all-fire 0.9 V"}, "--igniter (all fire current): 'V' is no unit of current"),
        ({"igniter": "1 ohm, all-fire 0.2 A, no-fire 0.3 A"}, "must lie below all_fire.current"),
        ({"igniter": ""}, "--igniter: is empty; write for example"),
        ({"lead": "AWG 20"}, "--lead: wire needs distance, one way"),
        ({"lead": "AWG 20, 8"}, "--lead: '8' is neither a wire, its make-up, a length"),
        ({"lead": "AWG 99, 8 m"}, "--lead"),
        ({"readings": "open 8 V"}, "--readings: loaded and load missing"),
        ({"readings": "open 8 V, open 7 V, load 3 ohm"}, "--readings: 'open 7 V' is not one of"),
        ({"readings": "open 7 V, loaded 8 V, load 3 ohm"}, "the loaded reading must not exceed the open one"),
        ({"battery": "lipo"}, "--battery: 'lipo' has neither cells, such as 2S, nor a voltage"),
        ({"battery": "lithum-polymer 2S"}, 'write "lithium-polymer"'),
        ({"battery": "12 V, 80 mohm"}, "the readings already give the voltage"),
        ({"battery": "lead-acid 6S, 7 kg", "readings": None}, "--battery: '7 kg' is neither a capacity"),
        ({"battery": None, "readings": None}, "neither battery nor readings are given"),
        (
            {"readings": "open 8 V, loaded 7 V, load 3 ohm, ambient 5 degC"},
            "is not one of open, loaded, load and temperature",
        ),
        ({"lead": "0.5 ohm, solid"}, "--lead: wire_class is the make-up of a wire"),
        ({"ambient": "5"}, "--ambient: 5 has no unit"),
        ({"pulse": "0 s"}, "--pulse: must be above 0 s"),
    ],
)
def test_mistakes_name_the_option(texts: dict[str, str], message: str) -> None:
    """A mistake names its option and what to write; no dotted key of a file that the user never saw."""
    with pytest.raises(InputError, match=re.escape(message)) as caught:
        circuit_from(replace(FEW, **texts), (1,))
    assert "channel" not in str(caught.value) or "--" in str(caught.value)


def test_assumptions_name_options_and_only_what_matters() -> None:
    """Every assumption is one for firing, and names the option that replaces it."""
    found = few_assumptions(FEW, circuit_from(FEW, (1,)))
    assert all(a.direction == "fire" for a in found)
    keys = [a.key for a in found]
    assert {"--ambient", "--mosfet", "--pulse", "--arm-switch", "--lead (joints)", "gate drive"} <= set(keys)
    assert "--igniter (bridge resistance)" in keys
    full = replace(
        FEW, ambient="20 degC", mosfet="5 mohm", pulse="1 s", arm_switch="10 mohm", lead="AWG 20, 8 m, joints 50 mohm",
        igniter="1 ohm .. 1.2 ohm, all-fire 0.9 A 50 ms, no-fire 0.25 A 300 s, time constant 12 ms, spent open",
    )  # fmt: skip
    left = [a.key for a in few_assumptions(full, circuit_from(full, (1,)))]
    assert not {"--ambient", "--mosfet", "--pulse", "--arm-switch", "--lead (joints)"} & set(left)
    assert "gate drive" in left


def test_temperatures_of_the_igniter_are_words_too() -> None:
    """What is assumed of them names the words that replace it, and what the limits ask is no assumption here."""
    keys = {a.key for a in few_assumptions(FEW, circuit_from(FEW, (1,)))}
    assert {"--igniter (function temperature)", "--igniter (reference temperature)"} <= keys
    assert not any("rules" in key for key in keys)
    told = replace(FEW, igniter=FEW.igniter + ", function temperature 250 degC, reference temperature 15 degC")
    circuit = circuit_from(told, (1,))
    assert not {"--igniter (function temperature)", "--igniter (reference temperature)"} & {
        a.key for a in few_assumptions(told, circuit)
    }
    temperatures = circuit.igniters["igniter"].temperatures
    assert (temperatures.function.nominal, temperatures.reference.nominal) == (250.0, 15.0)
