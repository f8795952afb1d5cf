"""How far a value may go: changes of a verdict, bracketed and checked on both sides."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from ignition.analyses.study.limit import Limit, limit
from ignition.analyses.study.vary import varied
from ignition.analyses.verdict import check
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.circuit.values import with_values
from ignition.errors import InputError
from ignition.findings.finding import Verdict
from tests.circuit.sound import SOUND
from tests.cli.in_process import told

CIRCUIT = parse_circuit(SOUND, "pad.toml")


def found(asked: str, *rules: str) -> Limit:
    """Limits of a value of the cutter."""
    return limit(varied(CIRCUIT, asked), rules)


def test_a_lead_as_long_as_the_igniter_still_has_its_current() -> None:
    """By hand: 8 V less sag over everything at its highest must leave 1.2 A, 1.5 times what functions it."""
    result = found("channel.line.lead.distance=50 m..80 m", "firing-current-150-percent")
    whole, own = result.limits
    assert (whole.rule, whole.now, whole.first) == (None, "PASS", "PASS") and own.rule == "firing-current-150-percent"
    for one in (whole, own):
        for flip in one.flips:
            assert 0.0 < flip.above.value - flip.below.value <= 1.001e-3 * flip.above.value
            for side, state in ((flip.below.value, flip.was), (flip.above.value, flip.becomes)):
                circuit = with_values(CIRCUIT, {"channel.line.lead.distance": f"{side!r} m"})
                verdicts = [f.verdict for f in check(circuit).findings if one.rule in (None, f.rule)]
                assert state == ("FAIL" if "FAIL" in verdicts else "UNKNOWN" if "UNKNOWN" in verdicts else "PASS")
    first, last = own.flips[0], own.flips[-1]
    assert last.becomes == "FAIL" and last.by == "firing-current-150-percent (line firing)"
    assert first.value is not None and first.limit is not None and first.value.unit == first.limit.unit == "A"
    assert first.limit.value == pytest.approx(1.2) and 1.19 < first.value.value <= 1.2
    # battery 0.1, key 0.01, switch 0.05, joints 0.1, MOSFET hot, bridge 1.5 ohm, and a wire of some 83 mohm a metre of length
    wire = 0.24901808372505915 / 3.0  # highest round trip of a metre
    assert first.below.value == pytest.approx((8.0 / 1.2 - 0.1 - 0.06 - 0.1 - 0.032 - 1.5) / wire, rel=0.01)


def made_up(monkeypatch: pytest.MonkeyPatch, verdicts: Callable[[float], dict[str, Verdict]]) -> None:
    """Replace the check by one whose rules have verdicts by the pull-down's nominal value."""
    some = {f.rule: f for f in check(CIRCUIT).findings}

    def fake(circuit: Circuit) -> SimpleNamespace:
        down = circuit.channels[0].pull_down
        assert down is not None
        told = verdicts(down.nominal)
        return SimpleNamespace(findings=tuple(replace(some[rule], verdict=verdict) for rule, verdict in told.items()))

    monkeypatch.setattr("ignition.analyses.study.limit.check", fake)


def test_several_changes_each_with_its_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    """Too small a pull-down leaves too little drive, too large a one is UNKNOWN and then FAILs at the edge."""

    def verdicts(ohms: float) -> dict[str, Verdict]:
        edge: Verdict = "PASS" if ohms < 50e3 else "UNKNOWN" if ohms < 51e3 else "FAIL"
        return {"gate-drive": "FAIL" if ohms < 406.0 else "PASS", "switch-on-below-function": edge}

    made_up(monkeypatch, verdicts)
    result = found("channel.line.gate.pull_down=300 ohm..1 Mohm", "gate-drive")
    whole, drive = result.limits
    told = [(flip.was, flip.becomes, flip.by.split(" ")[0]) for flip in whole.flips]
    assert told == [
        ("FAIL", "PASS", "gate-drive"), ("PASS", "UNKNOWN", "switch-on-below-function"),
        ("UNKNOWN", "FAIL", "switch-on-below-function"),
    ]  # fmt: skip
    assert (whole.now, whole.first) == ("PASS", "FAIL")
    for flip, at in zip(whole.flips, (406.0, 50e3, 51e3), strict=True):
        assert flip.below.value < at <= flip.above.value <= flip.below.value * 1.0011
    assert [(flip.was, flip.becomes) for flip in drive.flips] == [("FAIL", "PASS")] and drive.first == "FAIL"
    assert result.start.value == 10e3 and 15 < result.checked < 60


def test_what_decides_is_what_turned(monkeypatch: pytest.MonkeyPatch) -> None:
    """A finding that is UNKNOWN on both sides is not the reason of a change to UNKNOWN by another; nor the other way up."""

    def verdicts(ohms: float) -> dict[str, Verdict]:
        return {"gate-drive": "UNKNOWN" if ohms > 5e3 else "PASS", "functions": "PASS" if ohms > 5e3 else "FAIL"}

    made_up(monkeypatch, verdicts)
    (flip,) = found("channel.line.gate.pull_down=1 kohm..20 kohm").limits[0].flips
    assert (flip.was, flip.becomes, flip.by) == ("FAIL", "UNKNOWN", "functions (line firing)")


def test_never_and_always() -> None:
    """What changes nothing has no change; a whole number is bracketed by its neighbours."""
    result = found("checklist.misfire_wait=61 s..90 s")
    assert result.limits[0].flips == () and result.limits[0].first == "PASS"
    (flip,) = found("checklist.misfire_wait=30 s..90 s").limits[0].flips
    assert (flip.was, flip.becomes) == ("FAIL", "PASS") and flip.below.value < 60.0 <= flip.above.value
    assert flip.by.startswith("misfire-wait")


def test_where_the_file_is_refused() -> None:
    """A battery below -40 degC has no known resistance: that is told as a state of its own, with the rule's words."""
    (whole,) = found("ambient.temperature=-60 degC..20 degC").limits
    assert whole.first == "refused" and whole.flips[0].by.startswith("battery: the temperature of a battery must lie")
    assert whole.flips[0].value is None and whole.flips[0].below.value == pytest.approx(-40.0, abs=0.2)


def test_a_rule_that_is_none() -> None:
    """The nearest name is offered."""
    with pytest.raises(InputError, match=r"--finding gate-drve: no finding .* did you mean 'gate-drive'"):
        found("battery.resistance", "gate-drve")


def test_command(tmp_path: Path) -> None:
    """Text and JSON tell the same; the status is that of the file as it is; mistakes end with 2 and no output."""
    (tmp_path / "pad.toml").write_text(SOUND, encoding="utf-8")
    words = ("limit", "pad.toml", "--vary", "checklist.misfire_wait=50 s..70 s")
    text, data = told(*words, folder=tmp_path), told(*words, "--json", folder=tmp_path)
    assert text.returncode == data.returncode == 0
    assert "Whole circuit: now PASS" in text.stdout and "FAIL up to 59.9" in text.stdout
    assert "PASS from 60" in text.stdout and "misfire-wait" in text.stdout and "by this" not in text.stdout
    one = json.loads(data.stdout)
    assert one["key"] == "checklist.misfire_wait" and one["limits"][0]["flips"][0]["becomes"] == "PASS"
    weak = told(*words, "--set", "channel.line.gate.capacitor=", folder=tmp_path)
    assert weak.returncode == 1 and "Whole circuit: now PASS" not in weak.stdout
    for wrong in (("limit", "pad.toml"), ("limit", "pad.toml", "--vary", "nothing"), (*words, "--finding", "x")):
        result = told(*wrong, folder=tmp_path)
        assert result.returncode == 2 and not result.stdout, wrong
