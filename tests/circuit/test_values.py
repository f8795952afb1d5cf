"""Values of a circuit file changed: the same circuit as a file that has them, and mistakes named by their keys."""

from __future__ import annotations

import re
import tomllib
from typing import Any

import pytest

from ignition.circuit.examples import example_names, example_text, load_example
from ignition.circuit.file import circuit_of_table, parse_circuit
from ignition.circuit.values import key_path, key_word, table_of, with_values
from ignition.cli.circuits import changed_values
from ignition.errors import CircuitFileError, InputError
from ignition.toleranced import parse_toleranced
from tests.circuit.edits import edited
from tests.circuit.sound import SOUND


@pytest.mark.parametrize("name", example_names())
def test_a_description_as_a_table_makes_the_same_circuit(name: str) -> None:
    """What was read and is read again, nothing changed, is the same to the last assumption."""
    circuit = load_example(name)
    again = circuit_of_table(table_of(circuit.given), circuit.name, circuit.digest, name)
    assert again == circuit
    assert repr(again) == repr(circuit)
    assert set(table_of(circuit.given)) == set(tomllib.loads(example_text(name)))


@pytest.mark.parametrize(
    ("key", "value", "old", "new"),
    [
        ("channel.line.pulse", "700 ms", 'pulse = "500 ms"', 'pulse = "700 ms"'),
        ("channel[0].pulse", parse_toleranced("700 ms", "s"), 'pulse = "500 ms"', 'pulse = "700 ms"'),
        ("feed.key.resistance", "12 mohm", 'resistance = "10 mohm"', 'resistance = "12 mohm"'),
        ("channel.line.sense.upper[1]", "60 kohm", '"49.9 kohm", "49.9 kohm"', '"49.9 kohm", "60 kohm"'),
        ("channel.line.sense.upper", "60 kohm", '["49.9 kohm", "49.9 kohm"]', '"60 kohm"'),
        ("controller.adc.bits", 10, "bits = 12", "bits = 10"),
        ("igniter.match.spent", "short", 'spent = "open"', 'spent = "short"'),
        ("channel.line.second.test_pulse", "2 us", "sense = {", 'second = { test_pulse = "2 us" }\nsense = {'),
        ("channel.line.gate.capacitor", None, ', capacitor = "10 nF" }', " }"),
    ],
)
def test_a_changed_value_is_that_of_a_file_that_has_it(key: str, value: Any, old: str, new: str) -> None:
    """By name, by place, in a list, in a table that was not there, and taken away."""
    written = parse_circuit(edited(SOUND, (old, new)), "sound.toml")
    changed = parse_circuit(SOUND, "sound.toml").with_values({key: value})
    assert (changed.given, changed.channels, changed.feed) == (written.given, written.channels, written.feed)
    assert changed.assumptions == written.assumptions
    assert changed.name == f"sound.toml with {key} = {'not given' if value is None else value}"
    assert changed.digest != parse_circuit(SOUND, "sound.toml").digest


def test_nothing_changed() -> None:
    """No values, the same circuit; and the circuit that was changed stays what it was."""
    circuit = parse_circuit(SOUND, "sound.toml")
    assert circuit.with_values({}) is circuit
    before = repr(circuit)
    circuit.with_values({"channel.line.pulse": "700 ms", "channel.line.sense.upper[0]": "1 kohm"})
    assert repr(circuit) == before


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("channel.lines.pulse", "1 s", "channel.lines.pulse: channel has no member 'lines'; did you mean 'line'?"),
        ("channel[1].pulse", "1 s", "channel[1].pulse: channel has 1 members, counted from 0"),
        ("channel.line.pulse", "1 m", "channel[0].pulse: '1 m' has a SPICE suffix"),
        ("battery.resistanc", "1 ohm", "battery.resistanc: unknown key 'resistanc' in [battery]; did you mean 'resistance'?"),
        ("title", None, "title: is missing"),
        ("channel.line.start", None, "channel.line.start: the file does not give it"),
        ("controller.adc.bits", 99, "controller.adc.bits: input should be less than or equal to 24"),
        ("channel.line.pulse.low", "1 s", "channel.line.pulse is one value and has no parts"),
        ("channel.'line.pulse", "1 s", '"channel.\'line.pulse" is no key'),
        ("channel..pulse", "1 s", "'channel..pulse' is no key; write for example channel[0].pulse"),
        ("channel.line.mosfet", "other", "unknown mosfet 'other'"),
        ("battery.chemistry", "coal", "battery.chemistry: a chemistry must be one of"),
    ],
)  # fmt: skip
def test_mistakes(key: str, value: Any, says: str) -> None:
    """Key, rule, what was received, what to write."""
    with pytest.raises(InputError, match=re.escape(says)):
        with_values(parse_circuit(SOUND, "sound.toml"), {key: value})


def test_what_contradicts_another_value() -> None:
    """A mistake between keys names what was changed."""
    with pytest.raises(
        CircuitFileError, match=r"sound.toml with battery.readings = .*already give voltage and resistance"
    ):
        parse_circuit(SOUND, "sound.toml").with_values(
            {"battery.readings": {"open": "8 V", "loaded": "7 V", "load": "3 ohm", "temperature": "20 degC"}}
        )


def test_keys() -> None:
    """Names in quotes may hold dots; places stand in brackets."""
    for quote in "\"'":
        assert key_path(f"igniter.{quote}a.b [1]{quote}.no_fire") == ("igniter", "a.b [1]", "no_fire")
    assert key_path("feed.key's plug.name") == ("feed", "key's plug", "name")
    assert key_path('igniter."a.b [1]".no_fire.current') == ("igniter", "a.b [1]", "no_fire", "current")
    assert key_path("igniter.'a.b \"1\"'.no_fire") == ("igniter", 'a.b "1"', "no_fire")
    assert key_path("channel.o'clock.pulse") == ("channel", "o'clock", "pulse")
    for name in ("plain", "a.b", "a [1]", "o'clock", "'quoted'", 'a "b"'):
        assert key_path(f"channel.{key_word(name)}.pulse") == ("channel", name, "pulse")
    assert key_path("mosfet.low side.on_resistance[0].resistance") == (
        "mosfet", "low side", "on_resistance", 0, "resistance",
    )  # fmt: skip


def test_values_of_the_command_line() -> None:
    """TOML where it is that, else text; empty takes away; the first sign of equality parts key and value."""
    assert changed_values(["a=1", "b=2.5", "c=true", 'd=["1 ohm", "2 ohm"]', "e={ x = 'y' }", "f=4 ohm", "g=", "h='5 V'"]) == {
        "a": 1, "b": 2.5, "c": True, "d": ["1 ohm", "2 ohm"], "e": {"x": "y"}, "f": "4 ohm", "g": None, "h": "5 V",
    }  # fmt: skip
    assert changed_values(["title=a = b"]) == {"title": "a = b"}
    assert changed_values(["feed.'a=b'.name=c=d", 'feed."a=b".name=c']) == {
        "feed.'a=b'.name": "c=d",
        'feed."a=b".name': "c",
    }
    assert changed_values(["feed.it's.name='a=b'"]) == {"feed.it's.name": "a=b"}
    for wrong in (["a"], ["=1"]):
        with pytest.raises(InputError, match=f"--set takes KEY=VALUE, .*; received {wrong[0]!r}"):
            changed_values(wrong)
    with pytest.raises(InputError, match="--set a stands twice"):
        changed_values(["a=1", "a=2"])


@pytest.mark.parametrize("name", ["plain", "a b", "a.b", "a[1]", 'a"b', "a'b", "'a", "a=b", "a.b'c", 'a.b"c', "0"])
def test_a_name_written_as_a_word_of_a_key(name: str) -> None:
    """It is read again as it was, on the command line too, and stands in quotes only where it needs them."""
    word = key_word(name)
    assert key_path(f"feed.{word}.name") == ("feed", name, "name")
    assert changed_values([f"feed.{word}.name=x"]) == {f"feed.{word}.name": "x"}
    assert (word == name) is (name in ("plain", "a b", "a'b", "0"))
