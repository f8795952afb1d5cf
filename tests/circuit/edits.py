"""Circuit files made from good ones by edits, for tests."""

from __future__ import annotations

from ignition.circuit.examples import example_text

__all__ = ["CUTTER", "DEMO", "FED", "OPENS", "edited"]

CUTTER = example_text("tether-cutter")
"""One channel, one igniter, direct battery values."""

DEMO = example_text("demo")
"""A cluster of three and a second channel; everything passes."""


def edited(text: str, *swaps: tuple[str, str]) -> str:
    """The text with the first occurrence of each old piece replaced; every one must occur."""
    for old, new in swaps:
        assert old in text, f"the example no longer holds {old!r}"
        text = text.replace(old, new, 1)
    return text


OPENS = edited(CUTTER, ('time_constant = "20 ms"', 'time_constant = "20 ms"\nspent = "open"'))
"""The cutter with a bridge that is known to open: after function no current flows."""

FED = edited(
    OPENS,
    ('supply = "3.0 V"', 'supply = "3.0 V"\ncurrent = "1 mA"\nbrown_out = "2.0 V"'),
    ("on_resistance_hot", 'input_capacitance = "1 nF"\ngate_drain_charge = "3 nC"\non_resistance_hot'),
)
"""The same with a controller of which draw and brown-out, and a gate of which charges are known: firing has no doubt."""
