"""Random circuits in which temperature moves everything: complete files, the same for the same seed."""

from __future__ import annotations

import json
import re

import numpy as np

from ignition.toleranced import parse_toleranced
from tests.analyses.igniter_units import igniter_lines
from tests.spice.generate import circuit_text

__all__ = ["varied_text"]

AMBIENTS = ("-40 degC .. 20 degC .. 60 degC", "-5 degC .. 35 degC", "30 degC .. 55 degC", "20 degC")
STATED = ('resistance_temperature = "ambient"', 'resistance_temperature = "10 degC .. 25 degC"', "")
BANK = (
    'capacitor_bank = { capacitance = "10 mF .. 22 mF .. 30 mF", series_resistance = "20 mohm .. 60 mohm"%s }',
    ', recharge_resistance = "0.5 ohm .. 1 kohm"',
)
SLOW = 'polarisation = { resistance = "20 mohm .. 50 mohm .. 100 mohm", time_constant = "2 ms" }'
PULL_UPS = ('reset_pull_up = "none"', 'reset_pull_up = "10 kohm .. 45 kohm .. 80 kohm"', "")
PULL_DOWNS = (', pull_down = "1 kohm .. 10 kohm"', ', pull_down = "47 kohm .. 100 kohm .. 1 Mohm"', "")
LEAKAGES = ('cool = "0 A .. 1 uA"', 'cool = "1 nA .. 1 uA", hot = "10 uA .. 500 uA"')


def varied_text(seed: int, most_channels: int = 3, most_igniters: int = 6) -> str:
    """A circuit of `tests.spice.generate` with other ambients, igniters, batteries, gates, switches and converters."""
    rng = np.random.default_rng(30_000 + seed)

    def pick(*texts: str, odds: tuple[float, ...] | None = None) -> str:
        return texts[int(rng.choice(len(texts), p=odds))]

    def igniter(found: re.Match[str]) -> str:
        return "\n".join([found[0], *igniter_lines(rng, parse_toleranced(found[0].split('"')[1], "ohm").nominal)])

    text = re.sub(r"(?m)^(no_fire|all_fire|time_constant) = .*\n", "", circuit_text(seed, most_channels, most_igniters))
    text = re.sub(r"(?m)^bridge_resistance = .*$", igniter, text)
    # solving for the other two ways to a time constant takes longer than all the rest
    text = re.sub(r"(?m)^(response|adiabatic_energy) = .*$", 'time_constant = "8 ms .. 12 ms .. 17 ms"', text)
    battery = [pick('chemistry = "lithium-ion"', 'chemistry = "alkaline"', ""), pick(*STATED)]
    bank = pick("", SLOW, BANK[0] % "", BANK[0] % BANK[1], odds=(0.7, 0.1, 0.1, 0.1))
    text = text.replace("[battery]", "\n".join(["[battery]", 'protection = "none"', *battery, bank]))
    text = re.sub(
        r"(?m)^gate = .*$",
        lambda _: (
            f'gate = {{ series = "{pick("0 ohm", "100 ohm .. 1 kohm")}"{pick(*PULL_DOWNS, odds=(0.6, 0.3, 0.1))} }}'
        ),
        text,
    )
    drift = pick("", ', temperature_coefficient = "100e-6 / K"', ', temperature_coefficient = "1e-3 / K"')
    text = re.sub(r"(?m)^(sense = .*) }$", lambda found: f"{found[1]}{drift} }}", text)
    pin = [
        f'output_resistance = "{pick("0 ohm", "20 ohm .. 60 ohm .. 200 ohm")}"',
        f'clamp_drop = "{pick("0.3 V", "0.2 V .. 0.6 V .. 0.8 V")}"',
        pick(*PULL_UPS),
    ]
    text = text.replace(
        "[controller.pin]", "\n".join([f'dropout = "{pick("0 V", "0.1 V .. 0.4 V")}"', "[controller.pin]", *pin])
    )
    if rng.random() < 0.3:
        text = re.sub(r"(?m)^reference = .*$", "ratiometric = true", text)
    sampling = 'sample_capacitance = "5 pF .. 8 pF"\nacquisition_time = "1 us .. 3 us"'
    text = text.replace(
        "bits = 12", f"bits = {pick('10', '12', '16')}\ntotal_error = {pick('0', '4')}\n{pick('', sampling)}"
    )
    switch = [
        f'threshold_drift = "{pick("-4 mV/K", "-6 mV/K .. -3 mV/K .. -2 mV/K")}"',
        f'gate_leakage = "{pick("0 A", "100 nA")}"',
        f"on_resistance_hot_factor = {pick('1.0', '1.6', '2.0')}",
        'max_junction = "150 degC"',
        'breakdown = "40 V"',
    ]
    text = re.sub(
        r"(?m)^leakage = { cool.*$", lambda _: "\n".join([f"leakage = {{ {pick(*LEAKAGES)} }}", *switch]), text
    )
    return f"ambient = {{ temperature = {json.dumps(pick(*AMBIENTS))} }}\n{text}"
