"""Which end of each input decides each finding: moved outwards it makes the finding worse, and the other end nothing.

The tables are read from the circuit, as a sense current is largest with the strongest battery and the least of all
resistances. An input stands at both ends where it acts in two ways: a cold bridge takes more current, which makes
the MOSFET hotter; a hot reference battery is weaker.
"""

from __future__ import annotations

import tomllib

import pytest

from tests.findings.ends import WEAK, WIDE, findings_of, nominals_moved, signs

LEAD = "channel.lead.distance channel.lead.joints "
SOURCE = "battery.resistance feed.resistance " + LEAD
GATE = "controller.pin.output_resistance "
SLOW_GATE = GATE + "controller.pin.leakage mosfet.input_capacitance mosfet.gate_drain_charge channel.gate.series "
SLOW_GATE += "channel.gate.capacitor "
LETS_THROUGH = "controller.pin.leakage mosfet.threshold_current mosfet.subthreshold_slope "
LOW_THRESHOLD = "mosfet.threshold mosfet.threshold_drift "
CLAMP = "controller.pin.clamp_resistance controller.pin.clamp_drop "
LEAKS = "controller.adc.leakage mosfet.leakage.cool mosfet.leakage.hot "
VOLTAGE = "battery.open_circuit_voltage "
WEATHER = "ambient.temperature "
BRIDGE = "igniter.bridge_resistance "
BUS = "channel.second.bus_divider.upper channel.second.bus_divider.lower "

NO_FIRE = {"limit low": "igniter.function_temperature", "limit high": WEATHER}
THRESHOLD = {"limit low": "mosfet.threshold mosfet.threshold_drift", "limit high": WEATHER}
LATEST = {
    "value low": WEATHER
    + VOLTAGE
    + SOURCE
    + BRIDGE
    + "controller.supply igniter.temperature_coefficient igniter.function_temperature igniter.time_constant "
    "mosfet.on_resistance channel.gate.pull_down",
    "value high": WEATHER
    + VOLTAGE
    + SOURCE
    + BRIDGE
    + SLOW_GATE
    + "controller.current igniter.temperature_coefficient igniter.function_temperature igniter.time_constant "
    "mosfet.on_resistance mosfet.gate_leakage channel.pulse",
}
PULSE_END = {
    "value low": WEATHER + SOURCE + BRIDGE + "controller.current mosfet.on_resistance mosfet.breakdown",
    # what the controller draws flows through the inductance of battery and feed too
    "value high": WEATHER + VOLTAGE + "channel.lead.inductance igniter.temperature_coefficient controller.current",
}

STRONG = {
    ("below-no-fire", "armed"): {
        "value low": WEATHER + SOURCE + CLAMP + BRIDGE + LOW_THRESHOLD + "channel.sense.upper channel.sense.lower",
        "value high": WEATHER + VOLTAGE + LEAKS + LETS_THROUGH + "igniter.temperature_coefficient",
        **NO_FIRE,
    },
    ("below-no-fire", "disarmed"): NO_FIRE,
    ("current-into-short", "armed"): {
        "value low": WEATHER + SOURCE + CLAMP + LOW_THRESHOLD + "channel.sense.upper channel.sense.lower",
        "value high": WEATHER + VOLTAGE + LEAKS + LETS_THROUGH,
        **NO_FIRE,
    },
    ("gate-held-off", "armed"): {
        "value high": "controller.pin.leakage mosfet.gate_leakage channel.gate.pull_down",
        **THRESHOLD,
    },
    ("gate-held-off", "reset"): {
        "value low": "controller.pin.reset_pull_up channel.gate.series",
        "value high": "controller.supply controller.pin.leakage mosfet.gate_leakage channel.gate.pull_down",
        **THRESHOLD,
    },
    ("pin-clamp-current", "armed"): {
        "value low": WEATHER + SOURCE + CLAMP + "channel.sense.upper",
        "value high": WEATHER + VOLTAGE + "controller.adc.leakage channel.sense.lower",
        "limit low": "controller.pin.clamp_current_limit",
    },
    ("blocking-voltage", ""): {"value high": VOLTAGE, "limit low": WEATHER + "mosfet.breakdown"},
    ("converter-range", "armed"): {
        "value low": WEATHER + SOURCE + BRIDGE + "controller.adc.reference channel.sense.upper channel.sense.filter",
        "value high": WEATHER
        + VOLTAGE
        + "controller.adc.reference controller.adc.leakage controller.adc.sample_capacitance channel.sense.lower",
    },
    ("open-line-seen", "armed"): {
        "value low": "controller.adc.reference channel.sense.filter",
        "value high": "controller.adc.reference controller.adc.leakage controller.adc.sample_capacitance "
        "channel.sense.lower channel.sense.filter",
        "limit low": WEATHER + VOLTAGE + "channel.sense.lower channel.sense.filter",
        "limit high": WEATHER
        + SOURCE
        + LEAKS
        + BRIDGE
        + "controller.current controller.adc.reference controller.adc.sample_capacitance channel.sense.upper "
        "channel.sense.filter",
    },
    ("above-all-fire", "firing"): {
        "value low": WEATHER + VOLTAGE + SOURCE + BRIDGE + "controller.supply mosfet.on_resistance",
        "value high": WEATHER
        + VOLTAGE
        + SOURCE
        + BRIDGE
        + GATE
        + "controller.current igniter.temperature_coefficient igniter.function_temperature mosfet.on_resistance "
        "mosfet.input_capacitance mosfet.gate_drain_charge channel.gate.series channel.gate.capacitor channel.pulse",
        "limit low": WEATHER + "igniter.function_temperature",
    },
    ("functions", "firing"): {**LATEST, "limit low": "channel.pulse"},
    ("pulse-length", "firing"): {"value low": "channel.pulse"},
    ("gate-drive", "firing"): {
        "value low": "controller.supply channel.gate.pull_down",
        "value high": GATE + "controller.pin.leakage mosfet.gate_leakage channel.gate.series",
    },
    ("mosfet-junction", "firing"): {
        "value low": WEATHER
        + SOURCE
        + BRIDGE
        + "controller.supply controller.current mosfet.on_resistance channel.gate.pull_down",
        "value high": WEATHER
        + VOLTAGE
        + SLOW_GATE
        + "igniter.temperature_coefficient mosfet.on_resistance channel.pulse",
    },
    ("conductor-melts", "firing"): {
        "value low": WEATHER + SOURCE + BRIDGE + "controller.current mosfet.on_resistance",
        "value high": WEATHER + VOLTAGE + "igniter.temperature_coefficient channel.pulse",
    },
    ("controller-supply", "firing"): {"value low": "controller.supply", "limit high": "controller.brown_out"},
    # the capacitor at the gate holds it: what charges the drain and the line is all that heats
    ("switch-on-below-function", "switch-on"): {
        "value low": WEATHER
        + SOURCE
        + BRIDGE
        + "igniter.function_temperature igniter.time_constant controller.pin.reset_pull_up mosfet.threshold",
        "value high": WEATHER
        + VOLTAGE
        + "igniter.temperature_coefficient channel.lead.capacitance mosfet.gate_drain_charge mosfet.output_capacitance",
    },
    ("switch-on-overvoltage", "switch-on"): {
        "value low": WEATHER + "mosfet.breakdown",
        "value high": VOLTAGE + "channel.lead.capacitance mosfet.gate_drain_charge mosfet.output_capacitance",
        "limit low": "mosfet.avalanche_energy",
        "limit high": WEATHER,
    },
    ("gate-rating", "turn-off"): {
        "value low": GATE + "channel.gate.series",
        "value high": "controller.supply controller.pin.leakage mosfet.gate_leakage channel.gate.pull_down",
        "limit low": "mosfet.gate_rating",
    },
    # the hotter the pulse leaves the MOSFET, the less it bears
    ("avalanche-energy", "turn-off"): {
        **PULSE_END,
        "limit low": WEATHER
        + SOURCE
        + BRIDGE
        + "controller.supply controller.current mosfet.on_resistance mosfet.avalanche_energy channel.gate.pull_down",
        "limit high": WEATHER
        + VOLTAGE
        + SLOW_GATE
        + "igniter.temperature_coefficient mosfet.on_resistance channel.pulse",
    },
    ("turn-off-junction", "turn-off"): {
        "value low": PULSE_END["value low"]
        + " controller.supply channel.gate.pull_down channel.gate.series "
        + GATE
        + LOW_THRESHOLD,
        "value high": PULSE_END["value high"]
        + " "
        + SLOW_GATE
        + "controller.supply mosfet.gate_leakage mosfet.on_resistance channel.gate.pull_down channel.pulse",
    },
    ("fuse-holds", "firing"): {
        **LATEST,
        "limit low": WEATHER + SOURCE + BRIDGE + "feed.melting_i2t controller.current mosfet.on_resistance",
        "limit high": WEATHER + VOLTAGE + "igniter.temperature_coefficient",
    },
}
"""Of the circuit with a strong battery: by rule and phase the keys whose low or high end moves value or limit."""

SAGGING = {
    ("controller-supply", "firing"): {
        "value low": VOLTAGE + LEAD + BUS + BRIDGE + "feed.resistance mosfet.on_resistance",
        "value high": "battery.resistance controller.dropout controller.current",
        "limit high": "controller.brown_out",
    },
    ("fuse-holds", "firing"): {
        "value low": SOURCE + BUS + BRIDGE + "controller.current mosfet.on_resistance",
        "value high": VOLTAGE,
        "limit low": "feed.rating",
    },
    ("battery-protection", "firing"): {
        "value low": VOLTAGE + LEAD + BUS + BRIDGE + "feed.resistance igniter.time_constant mosfet.on_resistance",
        "value high": SOURCE
        + GATE
        + BRIDGE
        + "controller.dropout controller.current igniter.time_constant mosfet.on_resistance",
        "limit low": "battery.protection.delay",
    },
    # the pull-up's resistor stays connected, and its pin may be low
    ("test-below-no-fire", "bus voltage"): {
        "value low": SOURCE + BRIDGE + GATE + "channel.second.drain_pull_up mosfet.threshold",
        "value high": VOLTAGE + BUS,
    },
    ("test-below-no-fire", "drain with weak pull-up"): {
        "value low": SOURCE + BRIDGE + GATE + "channel.second.drain_pull_up mosfet.threshold",
        "value high": VOLTAGE + BUS,
    },
    ("test-below-no-fire", "drain in a test pulse"): {
        # the pin's resistance in the pull-up's path, and in the gate's, which falls to the lowest threshold
        "value low": SOURCE + BRIDGE + GATE + "igniter.time_constant mosfet.on_resistance mosfet.threshold",
        "value high": VOLTAGE + BUS + GATE + "channel.second.test_pulse",
    },
    ("switch-on-below-function", "switch-on"): {
        "value low": SOURCE + BRIDGE + "igniter.time_constant",
        "value high": VOLTAGE + "channel.lead.distance",
    },
    ("gate-rating", "turn-off"): {"value low": GATE},
    ("avalanche-energy", "turn-off"): {
        "value low": SOURCE + BRIDGE + "controller.current mosfet.on_resistance",
        # a longer lead has more inductance, and the bus divider takes less beside it
        "value high": VOLTAGE + BUS + "channel.lead.distance controller.current",
    },
    ("turn-off-junction", "turn-off"): {
        "value low": VOLTAGE + SOURCE + BRIDGE + GATE + "controller.current mosfet.on_resistance mosfet.threshold",
        "value high": VOLTAGE
        + GATE
        + "battery.resistance channel.lead.distance controller.current controller.dropout mosfet.on_resistance "
        "channel.pulse",
    },
    ("bus-converter-range", "armed"): {
        "value low": "battery.resistance feed.resistance channel.second.bus_divider.upper",
        "value high": VOLTAGE + "channel.second.bus_divider.lower",
    },
    ("bus-pin-clamp-current", "armed"): {
        "value low": "battery.resistance feed.resistance controller.pin.clamp_drop channel.second.bus_divider.upper",
        # a higher drop at the other pin's clamp, and more in the pull-up's path, leave more of the bus to this one
        "value high": VOLTAGE
        + "controller.pin.clamp_drop channel.second.bus_divider.lower channel.second.drain_pull_up",
    },
}
"""Of the circuit with a weak battery."""

GOOD = {"below": {"value -", "limit +"}, "at most": {"value -", "limit +"}, "at least": {"value +", "limit -"}}
"""By relation, what moves to the good side."""


@pytest.mark.parametrize(("text", "table"), [(WIDE, STRONG), (WEAK, SAGGING)], ids=["strong", "weak"])
def test_the_ends_that_decide(text: str, table: dict[tuple[str, str], dict[str, str]]) -> None:
    """Just these ends, and no other, move value and limit of each finding, and all that moves does so to the bad side."""
    found, expected = {}, {}
    for rule, decides in table.items():
        own: dict[str, set[str]] = {}
        for key, changes in signs(text)[rule].items():
            name, _, end = key.rpartition(" ")
            for change in changes.split(", "):
                own.setdefault(f"{change.split()[0]} {end}", set()).add(name)
        found[rule], expected[rule] = own, {end: set(keys.split()) for end, keys in decides.items()}
    assert found == expected
    relation = {(f.rule, f.phase or ""): f.relation for f in findings_of(tomllib.loads(text)).values()}
    better = [
        (rule, key, change)
        for rule, keys in signs(text).items()
        for key, changes in keys.items()
        for change in changes.split(", ")
        if change in GOOD[relation[rule]]
    ]
    assert better == []


@pytest.mark.parametrize("text", [WIDE, WEAK], ids=["strong", "weak"])
def test_nominal_values_decide_nothing(text: str) -> None:
    """With every nominal value moved, every finding stands as it stood."""
    before, after = findings_of(tomllib.loads(text)), findings_of(nominals_moved(text))
    for identity, old in before.items():
        new = after[identity]
        assert new.verdict == old.verdict, identity
        numbers = [(a, b) for a, b in ((old.value, new.value), (old.limit, new.limit)) if a is not None]
        assert [b for _, b in numbers] == pytest.approx([a for a, _ in numbers], rel=1e-12), identity
