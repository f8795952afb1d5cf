"""A complete circuit without a weakness, every value exact or easy to follow by hand: tests spoil one thing at a time.

Invented values. Everything that a check can judge today passes; what is not analysed yet is all that is UNKNOWN.
"""

from __future__ import annotations

__all__ = ["SOUND"]

SOUND = """
format = 1
title = "Skerry kelp-line cutter, bench copy"

[ambient]
temperature = "20 degC"

[battery]
open_circuit_voltage = "8.0 V .. 8.2 V .. 8.4 V"
resistance = "40 mohm .. 60 mohm .. 100 mohm"
resistance_temperature = "20 degC"
capacity = "2 Ah"
protection = "none"

[[feed]]
name = "key"
kind = "interlock"
resistance = "10 mohm"

[[feed]]
name = "arm switch"
kind = "arm switch"
resistance = "10 mohm .. 20 mohm .. 50 mohm"
edge = "10 ns .. 1 us"

[controller]
powered_by = "before arm switch"
supply = "3.3 V"
dropout = "0.3 V"
brown_out = "2.7 V"
current = "20 mA"

[controller.pin]
output_resistance = "30 ohm"
leakage = "1 uA"
reset_pull_up = "none"
clamp_resistance = "20 ohm"
clamp_drop = "0.3 V .. 0.5 V .. 0.7 V"
clamp_current_limit = "1 mA"

[controller.adc]
bits = 12
reference = "3.0 V"
total_error = 4
leakage = "100 nA"
sample_capacitance = "8 pF"
acquisition_time = "20 us"

[igniter.match]
bridge_resistance = "1.0 ohm .. 1.2 ohm .. 1.5 ohm"
temperature_coefficient = "0 / K"
function_temperature = "320 degC"
reference_temperature = "20 degC"
no_fire = { current = "0.2 A", duration = "300 s", reliability = 0.999, confidence = 0.95, source = "lot sheet 7", date = "2026-03" }
all_fire = { current = "0.8 A", duration = "50 ms", reliability = 0.999, confidence = 0.95, source = "lot sheet 7", date = "2026-03" }
time_constant = "10 ms"
spent = "open"

[mosfet.low_side]
threshold = "1.0 V .. 1.5 V .. 2.0 V"
threshold_drift = "-4 mV/K"
on_resistance = [{ gate = "2.5 V", resistance = "10 mohm .. 14 mohm .. 20 mohm" }]
on_resistance_hot_factor = 1.6
input_capacitance = "1 nF"
gate_leakage = "100 nA"
leakage = { cool = "1 uA", hot = "100 uA" }
breakdown = "30 V"
max_junction = "150 degC"
thermal = [{ resistance = "1 K/W", time_constant = "1 ms" }, { resistance = "40 K/W", time_constant = "10 s" }]

[[channel]]
name = "line"
igniters = [["match"]]
mosfet = "low_side"
pulse = "500 ms"
lead = { wire = "AWG 20", distance = "3 m", joints = "20 mohm .. 40 mohm .. 100 mohm" }
gate = { series = "100 ohm", pull_down = "10 kohm" }
sense = { upper = "100 kohm", lower = "47 kohm", filter = "100 nF" }

[checklist]
interlock_in_series = true
switch_returns_to_off = true
misfire_wait = "60 s"
"""
