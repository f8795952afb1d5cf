"""Parts have a tolerance where their file writes none; what is stated, guaranteed or chosen has not."""

from __future__ import annotations

from pathlib import Path

import pytest

from ignition.analyses.verdict import check
from ignition.circuit.examples import example_names, load_example
from ignition.circuit.file import parse_circuit
from ignition.circuit.given import exact_keys, given_keys
from ignition.circuit.tolerance import tolerance_share, with_tolerance
from ignition.errors import InputError
from ignition.toleranced import Toleranced
from tests.circuit.sound import SOUND
from tests.cli.in_process import told

CHOSEN = (
    "temperature", "distance", "pulse", "start", "duration", "wait", "coefficient", "time", "leakage", "cool", "hot",
    "limit", "rating", "breakdown", "energy", "junction", "drift", "threshold_current", "capacity", "i2t", "length", "area",
)  # fmt: skip
"""Ends of the names of keys that are no part's value."""


def ends(value: Toleranced) -> tuple[float, float, float]:
    """All three."""
    return value.low, value.nominal, value.high


def test_every_part_and_nothing_else() -> None:
    """What counts as exact afterwards is a statement, or ends with one of these words; ranges stay as they are written."""
    for name in example_names():
        circuit = load_example(name)
        wider = with_tolerance(circuit, 0.05)
        before, after = given_keys(circuit), given_keys(wider)
        assert set(before) == set(after)
        for key in exact_keys(wider):
            stated = any(table in key for table in (".no_fire.", ".all_fire.", "checklist."))
            assert stated or key.endswith(CHOSEN) or ".thermal[" in key or after[key].nominal == 0.0, (name, key)
        for key, value in before.items():
            if isinstance(value, Toleranced) and not value.is_exact:
                assert after[key] == value, key
            elif isinstance(value, Toleranced) and not after[key].is_exact:
                assert ends(after[key]) == pytest.approx((0.95 * value.nominal, value.nominal, 1.05 * value.nominal)), (
                    key
                )
            else:
                assert after[key] == value, key


def test_by_hand() -> None:
    """47 kohm becomes 42.3 to 51.7 kohm, each of two upper resistors by itself; the name says so."""
    circuit = with_tolerance(parse_circuit(SOUND, "pad.toml"), 0.1)
    channel = circuit.channels[0]
    assert ends(channel.lower) == pytest.approx((42.3e3, 47e3, 51.7e3))
    assert [ends(one) for one in channel.uppers] == [pytest.approx((44.91e3, 49.9e3, 54.89e3))] * 2
    assert ends(circuit.controller.supply) == pytest.approx((2.97, 3.3, 3.63))
    assert circuit.igniters["match"].all_fire_current == parse_circuit(SOUND).igniters["match"].all_fire_current
    assert circuit.name == "pad.toml, 10 % where no tolerance is written"


def test_typical_values_pass_what_a_tolerance_does_not() -> None:
    """The cutter's divider fills its converter to 3 V: with 5 % of its resistors and of the reference it may clip."""
    circuit = parse_circuit(SOUND, "pad.toml")
    assert check(circuit).verdict == "PASS"
    found = check(with_tolerance(circuit, 0.05))
    assert found.verdict == "FAIL" and {f.rule for f in found.findings if f.verdict == "FAIL"} == {"converter-range"}


@pytest.mark.parametrize("text", ["5", "0%", "100%", "-5%", "", "%", "5 ohm%", "five%", "nan%"])
def test_no_tolerance(text: str) -> None:
    """What to write is told."""
    with pytest.raises(InputError, match="a tolerance is a percentage between 0 and 100 %, for example 5%; received"):
        tolerance_share(text)


def test_command(tmp_path: Path) -> None:
    """The verdict's circuit is named with the tolerance; a wrong one ends with 2 and no output."""
    (tmp_path / "pad.toml").write_text(SOUND, encoding="utf-8")
    wide = told("check", "pad.toml", "--tolerance", "5%", folder=tmp_path)
    assert wide.returncode == 1 and "Verdict: FAIL" in wide.stdout and "5 % where no tolerance is" in wide.stdout
    assert told("check", "pad.toml", "--tolerance", "0.01%", folder=tmp_path).returncode == 0
    wrong = told("check", "pad.toml", "--tolerance", "wide", folder=tmp_path)
    assert wrong.returncode == 2 and not wrong.stdout and "for example 5%" in wrong.stderr
