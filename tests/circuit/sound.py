"""A complete circuit without a weakness, every value exact or easy to follow by hand: tests spoil one thing at a time."""

from __future__ import annotations

from ignition.circuit.examples import example_text

__all__ = ["SOUND"]

SOUND = example_text("kelp-line-cutter")
"""One igniter, every key given; what is not analysed yet is all that is UNKNOWN."""
