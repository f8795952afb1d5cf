"""Fuses of the feed made complete: what they carry and withstand at the hottest ambient, and what is said of it."""

from __future__ import annotations

from typing import Any

import pytest

from ignition.circuit.assumptions import Ledger
from ignition.circuit.feed import complete_feed
from ignition.circuit.feed_description import FeedPart
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import FeedModel
from ignition.errors import CircuitFileError
from ignition.toleranced import parse_toleranced
from tests.circuit.edits import CUTTER, edited

FUSE = {"name": "F", "kind": "fuse", "resistance": "5 mohm", "rating": "10 A", "melting_i2t": "50 A^2 s"}
RESETTABLE = {
    "name": "F",
    "kind": "resettable fuse",
    "resistance": "50 mohm",
    "hold_current": "2 A",
    "trip_i2t": "6 A^2 s",
}


def completed(table: dict[str, Any], ambient: str = "0 degC .. 20 degC .. 40 degC") -> tuple[FeedModel, dict[str, str]]:
    """The part, and what is assumed of it by key."""
    ledger = Ledger()
    made = complete_feed(FeedPart.model_validate(table), "feed[0]", parse_toleranced(ambient, "degC"), ledger)
    return made, {a.key: a.value for a in ledger.assumptions}


@pytest.mark.parametrize(
    ("ambient", "ratio"),
    [("20 degC", 13 / 15), ("-20 degC", 13 / 15), ("0 degC .. 60 degC", (13 / 15 + 0.6) / 2), ("100 degC", 0.6)],
)
def test_a_fuse_carries_less_in_the_heat(ambient: str, ratio: float) -> None:
    """The worst blade fuse: 13 of 15 A at 20 degC, 9 at 100, straight between; no more in the cold."""
    made, said = completed(FUSE, ambient)
    assert made.carried_current == pytest.approx(10.0 * ratio, abs=2e-3) and made.carried_current <= 10.0 * ratio
    assert said["feed[0].derating"].startswith("carries 0.")


@pytest.mark.parametrize(("ambient", "ratio"), [("25 degC", 1.0), ("0 degC", 1.0), ("10 degC .. 85 degC", 0.42 / 1.10)])
def test_a_resettable_fuse_is_derated_with_the_ambient(ambient: str, ratio: float) -> None:
    """Hold current by the worst family at the hottest ambient, no more in the cold; the integral by the ratio's square."""
    made, said = completed(RESETTABLE, ambient)
    assert made.carried_current == pytest.approx(2.0 * ratio, rel=2e-4) and made.carried_current <= 2.0 * ratio * (
        1 + 1e-12
    )
    assert made.least_i2t == pytest.approx(6.0 * ratio**2, rel=4e-4)
    assert set(said) == {"feed[0].derating"}


@pytest.mark.parametrize("table", [FUSE, RESETTABLE])
def test_a_given_derating_is_taken(table: dict[str, str]) -> None:
    """The part's own ratio at the hottest ambient, and no assumption of it; the integral of a resettable fuse follows."""
    made, said = completed(table | {"derating": 0.5})
    stated = 10.0 if table is FUSE else 2.0
    assert made.carried_current == 0.5 * stated and "feed[0].derating" not in said
    assert made.least_i2t == pytest.approx(0.22 * 50.0 if table is FUSE else 0.25 * 6.0)


def test_a_typical_integral_is_no_minimum() -> None:
    """One value is typical: 0.22 of it counts, and that is said; a range says what is least."""
    made, said = completed(FUSE)
    assert made.least_i2t == pytest.approx(0.22 * 50.0) and "0.22" in said["feed[0].melting_i2t"]
    made, said = completed(FUSE | {"melting_i2t": "30 A^2 s .. 50 A^2 s .. 80 A^2 s"})
    assert made.least_i2t == 30.0 and "feed[0].melting_i2t" not in said
    assert made.melting_i2t is not None and made.melting_i2t.nominal == 50.0


def test_the_least_of_a_stated_current_counts() -> None:
    """A rating or hold current with a tolerance carries no more than its low end, with or without an integral."""
    for table, key in ((FUSE, "rating"), (RESETTABLE, "hold_current")):
        for given in (table, {k: v for k, v in table.items() if not k.endswith("i2t")}):
            made, _ = completed(given | {key: "3 A .. 4 A .. 5 A", "derating": 1})
            assert made.carried_current == 3.0


def test_eased_fuses_carry_what_they_say() -> None:
    """For a what-if a missing derating takes nothing off, and a typical integral counts as it stands."""
    ledger = Ledger(lambda key: "fire")
    hot = parse_toleranced("20 degC .. 60 degC", "degC")
    made = complete_feed(FeedPart.model_validate(FUSE), "feed[0]", hot, ledger)
    assert (made.carried_current, made.least_i2t) == (10.0, 50.0)


def test_what_is_not_given_stays_unknown() -> None:
    """Rating alone, integral alone, nothing: None where nothing is known, and no assumption about nothing."""
    rating_alone, _ = completed({k: v for k, v in FUSE.items() if k != "melting_i2t"})
    assert rating_alone.carried_current is not None and rating_alone.least_i2t is None
    integral_alone, _ = completed({k: v for k, v in FUSE.items() if k != "rating"})
    assert integral_alone.carried_current is None and integral_alone.least_i2t == pytest.approx(11.0)
    nothing, said = completed({"name": "F", "kind": "fuse", "resistance": "5 mohm"})
    assert (nothing.carried_current, nothing.least_i2t, said) == (None, None, {})
    switch, said = completed({"name": "S", "kind": "switch", "resistance": "5 mohm"})
    assert (switch.carried_current, switch.least_i2t, said) == (None, None, {})


@pytest.mark.parametrize(("kind", "keys"), [("fuse", 'rating = "5 A"'), ("resettable fuse", 'hold_current = "1 A"')])
def test_beyond_the_tables_a_derating_is_asked_for(kind: str, keys: str) -> None:
    """A hotter ambient than any printed one: the file is refused at the part, with what to write."""
    text = edited(
        CUTTER,
        ('temperature = "20 degC"', 'temperature = "20 degC .. 105 degC"'),
        ("[controller]", f'[[feed]]\nname = "F"\nkind = "{kind}"\nresistance = "5 mohm"\n{keys}\n\n[controller]'),
        ('resistance_temperature = "20 degC"', 'resistance_temperature = "ambient"'),
    )
    with pytest.raises(CircuitFileError, match=r"feed\[1\]: temperature in the derating table .* or give derating"):
        parse_circuit(text)
    given = edited(text, (keys, f"{keys}\nderating = 0.3"))
    assert parse_circuit(given).feed[1].carried_current == pytest.approx(0.3 * (5.0 if kind == "fuse" else 1.0))
