"""The JSON Schema that editors complete circuit files with: valid, and of one mind with the reader."""

from __future__ import annotations

import tomllib
from typing import Any

import jsonschema
import pytest

from ignition.circuit.examples import example_names, example_text
from ignition.circuit.file import json_schema, parse_circuit
from tests.circuit.edits import CUTTER, DEMO, edited


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    """A validator of the schema."""
    schema: Any = json_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.mark.parametrize("name", example_names())
def test_examples_are_valid(name: str, validator: jsonschema.Draft202012Validator) -> None:
    """Every example that the reader takes is valid under the schema."""
    parse_circuit(example_text(name))
    assert [e.message for e in validator.iter_errors(tomllib.loads(example_text(name)))] == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("format = 1", "format = 2"),
        ("[battery]", "[batery]"),
        ("bits = 12", "bits = 3"),
        ("bits = 12", 'bits = "12"'),
        ("before arm switch", "before the switch"),
        ('kind = "arm switch"', 'kind = "arm swich"'),
        ("reliability = 0.999", "reliability = 1.0"),
        ('"6.0 V .. 6.4 V .. 6.8 V"', "6.4"),
        ('igniters = [["cutter"]]', 'igniters = ["cutter"]'),
        ('igniters = [["cutter"]]', "igniters = []"),
        ('mosfet = "low_side"', "mosfet = 1"),
        ('pulse = "2 s"', 'puls = "2 s"'),
    ],
)
def test_wrong_files_are_invalid(old: str, new: str, validator: jsonschema.Draft202012Validator) -> None:
    """What the reader refuses for its shape, the schema refuses too."""
    text = edited(CUTTER, (old, new))
    with pytest.raises(ValueError, match="mistake"):
        parse_circuit(text)
    assert list(validator.iter_errors(tomllib.loads(text)))


def test_table_form_and_optional_tables_are_valid(validator: jsonschema.Draft202012Validator) -> None:
    """The table form of a value, spent ranges, response pairs and own limits pass both."""
    text = (
        edited(
            DEMO,
            ('pulse = "400 ms"', 'pulse = { value = "400 ms ± 5 %", distribution = "normal" }'),
            ('spent = "open"', 'spent = "20 ohm .. 40 ohm"'),
        )
        + '\n[[rules.limit]]\nname = "own"\nkind = "monitor current at most"\nshare_of_no_fire = 0.05\nsource = "s"\ndate = "d"\n'
    )
    assert parse_circuit(text).channels[0].pulse.distribution == "normal"
    assert [e.message for e in validator.iter_errors(tomllib.loads(text))] == []
