"""Cautions that end everything printed for a person."""

from __future__ import annotations

__all__ = ["CAUTIONS"]

CAUTIONS = (
    "These numbers are an aid to judgement, not a permission: local codes, the range's safety officer and licensed "
    "practice decide.",
    "Test with live igniters only away from motors and people; measure the built circuit before a motor is connected.",
    "Not covered: three faults at once and faults that are not listed, radio upset of logic, static to the case, "
    "software, procedure, the motor itself: a PASS says nothing about them. Limits are presets with a date; whether "
    "they are current law was not checked.",
)
"""Sentences, in order."""
