"""Wrong circuit files: each mistake is named with its line, key, rule and remedy; never a traceback."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ignition.circuit.examples import example_text
from ignition.circuit.file import MAX_BYTES, load_circuit, parse_circuit
from ignition.errors import CircuitFileError, InputError

GOOD = example_text("reset-pull-up")


def _swap(old: str, new: str) -> Callable[[str], str]:
    def edit(text: str) -> str:
        assert old in text, f"the example no longer holds {old!r}"
        return text.replace(old, new, 1)

    return edit


CASES: list[tuple[str, str, str]] = [
    # (what stands in the good file, what is written instead, what the message says)
    ("format = 1", "format = 2", "format: must be 1; received 2"),
    ("format = 1\n", "", "format: is missing; write format = 1"),
    ("title =", "titel =", "unknown key 'titel' in the file; did you mean 'title'"),
    ('title = "Tern Skerry line-throwing rocket, first draft"', 'title = ""', "title: string should have at least 1"),
    ("[battery]", "[batery]", "unknown key 'batery'"),
    ("11.4 V .. 12.0 V .. 12.6 V", "11.4 .. 12.0 .. 12.6", "has no unit"),
    ("11.4 V .. 12.0 V .. 12.6 V", "12.6 V .. 12.0 V .. 11.4 V", "does not ascend"),
    ("11.4 V .. 12.0 V .. 12.6 V", "12 A", "'A' is no unit of voltage"),
    ("11.4 V .. 12.0 V .. 12.6 V", "-12 V", "must be above 0 V"),
    ('"11.4 V .. 12.0 V .. 12.6 V"', "12", "a bare number has no unit; received 12"),
    ('"11.4 V .. 12.0 V .. 12.6 V"', "true", "voltage is text such as"),
    ('"11.4 V .. 12.0 V .. 12.6 V"', "nan", "a bare number has no unit"),
    ('"11.4 V .. 12.0 V .. 12.6 V"', "{ value = '12 V', spread = 3 }", "unknown key 'spread'"),
    ('"11.4 V .. 12.0 V .. 12.6 V"', "{ value = '12 V', distribution = 'square' }", "'uniform' or 'normal'"),
    ('open_circuit_voltage = "11.4 V .. 12.0 V .. 12.6 V"', "", "the voltage is unknown"),
    ('resistance = "20 mohm .. 40 mohm .. 90 mohm"', "", "the internal resistance is unknown"),
    ("20 mohm .. 40 mohm .. 90 mohm", "40 m", "write '40 mohm'"),
    ("20 mohm .. 40 mohm .. 90 mohm", "-40 mohm", "must not be below 0 ohm"),
    ("open_circuit_voltage =", 'state_of_charge = "50 %"\nopen_circuit_voltage =', "exclude each other"),
    ("open_circuit_voltage =", 'chemistry = "lithium-plolymer"\nopen_circuit_voltage =', "lithium-polymer"),
    (
        "open_circuit_voltage =",
        'readings = { open = "12 V", loaded = "13 V", load = "4 ohm" }\nopen_circuit_voltage =',
        "the loaded reading must not exceed the open one",
    ),
    ('kind = "arm switch"', 'kind = "switch"', "exactly one feed part is the arm switch; received 0"),
    ('kind = "arm switch"', 'kind = "arm swich"', "did you mean 'arm switch'"),
    (
        "[controller]",
        '[[feed]]\nname = "second"\nkind = "arm switch"\nresistance = "1 mohm"\n\n[controller]',
        "exactly one feed part is the arm switch; received 2",
    ),
    (
        "[controller]",
        '[[feed]]\nname = "arm switch"\nkind = "connector"\nresistance = "1 mohm"\n\n[controller]',
        "name 'arm switch' stands twice",
    ),
    ("before arm switch", "before the switch", "did you mean 'before arm switch'"),
    ('powered_by = "before arm switch"\n', "", "powered_by: is missing; write powered_by ="),
    ('supply = "3.3 V ± 2 %"', 'suply = "3.3 V ± 2 %"', "did you mean 'supply'"),
    ("bits = 12", "bits = 3", "greater than or equal to 6"),
    ("bits = 12", 'bits = "12"', "valid integer"),
    ('reference = "3.3 V ± 1 %"\n', "", "give either reference"),
    ('reference = "3.3 V ± 1 %"', 'reference = "3.3 V"\nratiometric = true', "give either reference"),
    ("total_error = 4", "total_error = -4", "greater than or equal to 0"),
    ("total_error = 4", 'total_error = "4 LSB"', "plain number of LSB"),
    ("total_error = 4", "total_error = nan", "total_error"),
    ("1.5 ohm .. 1.8 ohm .. 2.2 ohm", "0 ohm", "must be above 0 ohm"),
    ("1.5 ohm .. 1.8 ohm .. 2.2 ohm", "1k8", "write '1.8 kohm'"),
    ('no_fire = { current = "0.20 A"', 'no_fire = { current = "0.90 A"', "must lie below all_fire.current"),
    ('no_fire = { current = "0.20 A"', 'no_fire = { current = "0 A"', "must be above 0 A"),
    ('no_fire = { current = "0.20 A"', 'no_fire = { curent = "0.20 A"', "did you mean 'current'"),
    (
        "reliability = 0.999, confidence = 0.95 }\nall",
        "reliability = 99.9, confidence = 0.95 }\nall",
        "above 0.5 and below 1",
    ),
    ('time_constant = "10 ms"', 'time_constant = "0 s"', "must be above 0 s"),
    ('time_constant = "10 ms"', 'time_constant = "10 ms"\nadiabatic_energy = "3 J"', "adiabatic energy"),
    ('time_constant = "10 ms"', "response = []", "list of [current, time] pairs"),
    ('time_constant = "10 ms"', 'response = [["0.1 A", "30 ms"]]', "0.1 A"),
    ('time_constant = "10 ms"', 'temperature_coefficient = "-0.002 / K"', "brings the bridge to zero ohm"),
    ('time_constant = "10 ms"', 'reference_temperature = "130 degC"', "give function_temperature"),
    ("[checklist]", "[rules]\nreliability = 1.0\n\n[checklist]", "rules.reliability: must be a number above 0.5"),
    ("[checklist]", "[rules]\nreliabilty = 0.9\n\n[checklist]", "did you mean 'reliability'"),
    ('time_constant = "10 ms"', 'function_temperature = "30 degC"', "must lie above the ambient"),
    ('spent = "open"', 'spent = "opne"', "'open', 'short' or a resistance range"),
    ("[igniter.match]", "[igniter.macth]", "unknown igniter 'match' in string 1, position 1; did you mean 'macth'"),
    ("[mosfet.low_side]", "[mosfet.low]", "unknown mosfet 'low_side'"),
    ('{ gate = "2.5 V"', '{ gate = "1.2 V"', "must lie above the threshold"),
    (
        "on_resistance = [{",
        'on_resistance = [{ gate = "4.5 V", resistance = "9 mohm" }, {',
        "must ascend in gate voltage",
    ),
    ("on_resistance_hot_factor = 1.6", "on_resistance_hot_factor = 0.5", "greater than or equal to 1"),
    ("on_resistance_hot_factor = 1.6", 'on_resistance_hot_factor = "1.6"', "plain number"),
    ('threshold_drift = "-4 mV/K"', 'threshold_drift = "4 mV/K"', "must not exceed 0 V/K"),
    ('igniters = [["match"]]', "igniters = []", "at least 1 item"),
    ('igniters = [["match"]]', "igniters = [[]]", "string 1 is empty"),
    ('igniters = [["match"]]', 'igniters = ["match"]', "valid list"),
    ('pulse = "500 ms"', 'pulse = "0 s"', "must be above 0 s"),
    ('pulse = "500 ms"\n', "", "pulse: is missing"),
    ("AWG 20", "AWG 99", "from -3 (4/0) to 40, received 99"),
    ("AWG 20", "20 gauge", "20 gauge"),
    ('distance = "10 m"', 'length = "10 m"', "unknown key 'length'"),
    ('wire = "AWG 20", distance = "10 m"', 'wire = "AWG 20"', "needs distance, one way"),
    ('wire = "AWG 20", distance', 'wire = "AWG 20", resistance = "1 ohm", distance', "leave out distance"),
    ('wire = "AWG 20", distance', 'resistance = "1 ohm", distance', "leave out distance"),
    ('upper = ["49.9 kohm ± 1 %", "49.9 kohm ± 1 %"]', 'upper = "100k"', "write '100 kohm'"),
    ("[checklist]", '[rules]\npresets = ["range saftey"]\n\n[checklist]', "did you mean 'range safety'"),
    ("interlock_in_series = true", 'interlock_in_series = "yes"', "valid boolean"),
    ("[controller.adc]", "[controller.adc", "is not TOML"),
    ("[battery]", "[battery]\n[battery]", "is not TOML"),
]


@pytest.mark.parametrize(("old", "new", "says"), CASES, ids=[f"{i:02}" for i in range(len(CASES))])
def test_each_mistake_is_named(old: str, new: str, says: str) -> None:
    """The message holds what is wrong and what to write; every mistake that has a key has its line."""
    with pytest.raises(CircuitFileError) as caught:
        parse_circuit(_swap(old, new)(GOOD), name="pad.toml")
    assert says in str(caught.value), str(caught.value)
    assert all(m.line is not None for m in caught.value.mistakes if m.key and "is missing" not in m.message)


def test_there_are_enough_cases() -> None:
    """At least fifty wrong files."""
    assert len(CASES) >= 50


def test_the_good_file_is_good() -> None:
    """The file that the cases are made from loads."""
    assert parse_circuit(GOOD).channels[0].name == "line"


def test_all_mistakes_at_once_with_their_lines() -> None:
    """Three mistakes in three tables are reported together, in the file's order."""
    text = _swap("bits = 12", "bit = 12")(GOOD)
    text = _swap("AWG 20", "AWG 99")(_swap("12.6 V", "12.6 A")(text))
    with pytest.raises(CircuitFileError) as caught:
        parse_circuit(text, name="pad.toml")
    mistakes = caught.value.mistakes
    keys = [m.key for m in mistakes]
    assert {"battery.open_circuit_voltage", "controller.adc.bit", "channel[0].lead.wire"} <= set(keys)
    lines = text.splitlines()
    for mistake in mistakes:
        if "is missing" not in mistake.message:
            assert mistake.line is not None
            assert (
                mistake.key.split(".")[-1].split("[")[0] in lines[mistake.line - 1] or "lead" in lines[mistake.line - 1]
            )
    assert [m.line or 0 for m in mistakes] == sorted(m.line or 0 for m in mistakes)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"\x00\x01\x02binary", "is a binary file"),
        (b'title = "\xff\xfe"', "is not UTF-8 text"),
        (b"# " + b"x" * (MAX_BYTES + 1), "a circuit file has at most"),
        (b"", "is missing"),
        ("title = 'ü'".encode("latin-1"), "is not UTF-8 text"),
        (b"x = " + b"[" * 5000, "is not TOML"),
    ],
)
def test_unreadable_files(tmp_path: Path, content: bytes, says: str) -> None:
    """Binary, wrongly encoded, oversized, empty and absurd files are refused with the reason."""
    path = tmp_path / "pad.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=says):
        load_circuit(path)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    """A missing file and a folder are named, with what to do."""
    with pytest.raises(InputError, match="does not exist; write an example"):
        load_circuit(tmp_path / "none.toml")
    with pytest.raises(InputError, match="is a folder"):
        load_circuit(tmp_path)
