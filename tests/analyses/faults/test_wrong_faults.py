"""Faults that a file names and no part has, and parts whose faults would have one name: told with line and key."""

from __future__ import annotations

from pathlib import Path

import pytest

from ignition.analyses.faults.circuit_board import every_board
from ignition.analyses.faults.faults import faults
from ignition.analyses.faults.remedies import remedies
from ignition.circuit.file import parse_circuit
from ignition.circuit.values import with_values
from ignition.errors import CircuitFileError
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND
from tests.cli.in_process import told

COUNT = len(SOUND.splitlines())

OFF = '\n[faults]\noff = [\n  { fault = "line.upper 9 short", because = "x" },\n]\n'
WEIGHT = '\n[faults]\nweight = [{ fault = "nothing *", weight = 3.0 }]\n'


@pytest.mark.parametrize(
    ("more", "line", "key", "says"),
    [
        (OFF, COUNT + 3, "faults.off[0].fault", "'line.upper 9 short' is no fault of this circuit; did you mean"),
        (WEIGHT, COUNT + 3, "faults.weight[0].fault", "'nothing *' is no fault of this circuit"),
    ],
)
def test_a_name_that_no_fault_has(more: str, line: int, key: str, says: str, tmp_path: Path) -> None:
    """File, line, key, what was received, and the nearest name; exit status 2 and no output."""
    (tmp_path / "pad.toml").write_text(SOUND + more, encoding="utf-8")
    for verb in ("faults", "check"):
        result = told(verb, "pad.toml", folder=tmp_path)
        assert result.returncode == 2 and not result.stdout
        assert result.stderr.startswith(f"ignition: pad.toml:{line}: {key}: {says}"), result.stderr
        assert "1 mistake; nothing was computed" in result.stderr


def test_a_name_that_another_fault_has(tmp_path: Path) -> None:
    """A fault of one's own that a part of the circuit has already."""
    own = '\n[[faults.add]]\nname = "line.upper 1"\nbetween = ["line.line out", "ground"]\n'
    (tmp_path / "pad.toml").write_text(SOUND + own, encoding="utf-8")
    result = told("faults", "pad.toml", folder=tmp_path)
    assert result.returncode == 2
    said = f"ignition: pad.toml:{COUNT + 3}: faults.add[0].name: 'line.upper 1' gives 'line.upper 1 short', which is a "
    assert result.stderr.startswith(said)


def test_values_that_are_set_have_no_line() -> None:
    """A circuit with values set stands for no text: the key alone is told."""
    circuit = with_values(parse_circuit(SOUND + OFF, "pad.toml"), {"battery.capacity": "3 Ah"})
    with pytest.raises(CircuitFileError, match=r"capacity = 3 Ah:-: faults\.off\[0\]\.fault"):
        every_board(circuit)


CONTACT = ("lead = {", 'high_side = { resistance = "20 mohm", around = "10 kohm" }\nlead = {')


@pytest.mark.parametrize("name", ["line.high side", "line.mosfet", "line.anything"])
def test_a_feed_part_with_a_name_of_a_channel(name: str) -> None:
    """Everything that begins with the channel's name and a dot is the channel's."""
    said = rf"pad\.toml:\d+: feed\[0\]\.name: '{name}' is a name of a part of channel 'line', .* give the feed part"
    with pytest.raises(CircuitFileError, match=said):
        parse_circuit(edited(SOUND, CONTACT, ('name = "key"', f'name = "{name}"')), "pad.toml")
    assert parse_circuit(edited(SOUND, ('name = "key"', 'name = "lines.key"')), "pad.toml").feed[0].name == "lines.key"


@pytest.mark.parametrize("name", ["bank", "controller", "recharge", "regulator"])
def test_a_feed_part_with_a_name_of_the_supply(name: str) -> None:
    """Bank, recharge resistor, controller and regulator have faults of their own."""
    with pytest.raises(CircuitFileError, match=rf"feed\[0\]\.name: '{name}' names another part of the circuit"):
        parse_circuit(edited(SOUND, ('name = "key"', f'name = "{name}"')), "pad.toml")


START, END = SOUND.index("[[channel]]"), SOUND.index("[checklist]")
LINE = SOUND[START:END]
TWO_DOWN = ('pull_down = "10 kohm"', 'pull_down = ["20 kohm", "20 kohm"]')
ONE_UPPER = ('upper = ["49.9 kohm", "49.9 kohm"]', 'upper = "99.8 kohm"')


def test_remedies_of_channels_that_are_not_alike() -> None:
    """One pull-down beside a pair, one upper resistor beside two, and channels whose names look like parts."""
    lines = edited(LINE, ('"line"', '"east.upper west"'), TWO_DOWN) + edited(LINE, ('"line"', '"east"'), ONE_UPPER)
    circuit = parse_circuit(SOUND[:START] + lines + SOUND[END:], "mixed.toml")
    found = remedies(circuit, faults(circuit))
    stopped = {(one.fault, one.change) for one in found}
    assert ("east.upper short", "upper resistor split into two of half its value") in stopped
    pair = "pull-down replaced by two of twice its value in parallel"
    assert {fault for fault, change in stopped if change == pair} == {"east.pull-down open"}
