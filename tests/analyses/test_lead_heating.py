"""Heating of the lead in the pulse."""

from __future__ import annotations

import math

import pytest

from ignition.analyses.firing.firing import firing
from ignition.circuit.examples import example_text, load_example
from ignition.circuit.file import parse_circuit
from ignition.parts.conductor import onderdonk_time


def test_lead_heats_by_its_energy() -> None:
    """Copper of 3.45 J/(cm3 K) and 1/58 ohm mm2/m: rho J^2 t / c over the 2 s pulse, to 3 % at a small rise."""
    circuit = load_example("tether-cutter")
    channel = firing(circuit).channels[0]
    area = circuit.channels[0].lead.area
    assert area is not None and channel.current.high is not None and channel.lead_temperature is not None
    # heat capacity 3.45e6 J/(m3 K): memory
    rise = (1e-6 / 58) * (channel.current.high / area.low) ** 2 * 2.0 / 3.45e6
    assert channel.lead_temperature - 20.0 == pytest.approx(rise, rel=0.03)


def test_hair_thin_lead_melts_when_onderdonk_says_so() -> None:
    """A lead that fuses within the pulse has an infinite temperature."""
    text = example_text("tether-cutter").replace("AWG 22", "AWG 40").replace("1.5 m", "1 cm").replace('"2 s"', '"60 s"')
    circuit = parse_circuit(text)
    channel, area = firing(circuit).channels[0], circuit.channels[0].lead.area
    assert area is not None and channel.current.high is not None
    assert float(onderdonk_time(channel.current.high, area.low, 20.0)) < 60.0
    assert channel.lead_temperature is not None and math.isinf(channel.lead_temperature)
