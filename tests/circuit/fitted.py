"""Tables and keys that tests fit to a circuit file of their own."""

from __future__ import annotations

__all__ = ["CLUB_MONITOR", "SECOND", "TRUNK"]

TRUNK = """[[feed]]
name = "trunk"
kind = "wire"
resistance = "30 mohm"
inductance = "4 uH"
capacitance = "400 pF"
"""

CLUB_MONITOR = """[[rules.limit]]
name = "club monitor"
kind = "monitor current at most"
share_of_no_fire = 0.05
current = "5 mA"
source = "club book"
date = "2026"
"""

SECOND = """second = { drain_pull_up = "47 kohm", test_pulse = "2 us", before_arming = true, \
bus_divider = { upper = "100 kohm", lower = "47 kohm", filter = "2 nF" } }
sense = {"""
"""In place of where `sense` begins."""
