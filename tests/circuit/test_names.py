"""Names that two parts, or the faults of two parts, would share: refused with file, line, key and what to do."""

from __future__ import annotations

from collections import Counter

import pytest

from ignition.analyses.faults.fault import every_fault
from ignition.circuit.file import parse_circuit
from ignition.errors import CircuitFileError
from ignition.network.whole import whole_network
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND

START, END = SOUND.index("[[channel]]"), SOUND.index("[checklist]")
BANK = (
    'protection = "none"',
    'protection = "none"\n'
    'capacitor_bank = { capacitance = "10 mF", series_resistance = "20 mohm", recharge_resistance = "1 kohm" }',
)


def named(*channels: str, key: str = "key", arm: str = "arm switch") -> str:
    """The cutter behind a capacitor bank, with a line of each of these names, and these feed parts."""
    lines = (edited(SOUND[START:END], ('"line"', f'"{name}"')) for name in channels)
    body = SOUND[:START] + "".join(lines) + SOUND[END:]
    return edited(body, BANK, ('name = "key"', f'name = "{key}"'), ('name = "arm switch"', f'name = "{arm}"'))


@pytest.mark.parametrize(
    ("body", "says"),
    [
        *(
            (named("a", key=name), rf"19: feed\[0\]\.name: '{name}' names another part of the circuit")
            for name in ("bank", "capacitor bank", "controller", "recharge", "recharge resistor", "regulator")
        ),
        (
            named("b", "a", key="a.mosfet"),
            r"19: feed\[0\]\.name: 'a\.mosfet' is a name of a part of channel 'a', as all",
        ),
        (named("a", arm="key short"), r"24: feed\[1\]\.name: 'key short' is what a short across feed part 'key' is"),
        (
            named("a", key="arm switch short"),
            r"19: feed\[0\]\.name: 'arm switch short' is what a short across feed part",
        ),
    ],
)
def test_a_feed_part_with_a_name_of_another_part(body: str, says: str) -> None:
    """Bank and recharge resistor have faults of their own, and every feed part a short across it."""
    with pytest.raises(CircuitFileError, match=rf"pad\.toml:{says}.*; give the feed part another name"):
        parse_circuit(body, "pad.toml")


def test_pairs_of_channels_that_read_alike() -> None:
    """The pairs of 'a' and 'b and c', and of 'a and b' and 'c', swapped: one name for two faults."""
    body = named("a", "b and c", "a and b", "c")
    last = body[: body.rindex("[[channel]]")].count("\n") + 2
    said = rf"pad\.toml:{last}: channel\[3\]\.name: 'a and b and c' may be two of the channels or another two; give the"
    with pytest.raises(CircuitFileError, match=said):
        parse_circuit(body, "pad.toml")


def test_a_mistake_in_names_is_told_once() -> None:
    """A name that stands twice, or is none, is that mistake alone."""
    for body in (named("a", "b", "a", "b"), named("a", "b").replace('name = "b"', 'name = ["b"]')):
        with pytest.raises(CircuitFileError) as told:
            parse_circuit(body, "pad.toml")
        assert "may be two of the channels" not in str(told.value)


@pytest.mark.parametrize(
    "body",
    [
        named("a", "b and c", "a and b", "d", key="short"),
        named("a", "a.igniter 1", "a.lead out", "capacitor bank"),
        named("key", "key short", arm="key open"),
        named("a", "a to b", "b", "b to a", key="battery", arm="load short"),
    ],
)
def test_names_that_only_look_alike(body: str) -> None:
    """No two elements, and no two faults, share a name."""
    circuit = parse_circuit(body, "pad.toml")
    faults = Counter(fault.name for fault in every_fault(circuit))
    assert not [name for name, count in faults.items() if count > 1]
    for gates in (False, True):
        assert len(whole_network(circuit, gates=gates).elements) > 50
