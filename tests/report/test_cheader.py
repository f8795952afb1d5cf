"""The C header compiles without a warning, holds the same numbers as the JSON form, and cannot be broken by a name."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.continuity.firmware import Firmware, firmware
from ignition.analyses.continuity.macro_names import identifier, macro_prefixes
from ignition.circuit.model import Circuit
from ignition.report.cheader import header_text
from ignition.report.json_walk import to_json
from tests.analyses.sense_circuits import bench, cluster

FILTERED = 'upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %", filter = "100 nF ± 20 %"'
BUS = 'second = { bus_divider = { upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %" } }'
NASTY = "x */ int y; /* ??/ é \\\\ //"


def constants(circuit: Circuit) -> Firmware:
    """The constants of a circuit."""
    return firmware(circuit, continuity(circuit))


def compiled(text: str, folder: Path, names: list[str]) -> list[int]:
    """Compile the header as the issue asks, include it twice, and print macros."""
    compiler = shutil.which("cc")
    assert compiler, "a C compiler named cc is needed"
    (folder / "x.h").write_text(text, encoding="utf-8")
    prints = "".join(f'    printf("%lu\\n", (unsigned long)({name}));\n' for name in names)
    (folder / "main.c").write_text(
        f'#include <stdio.h>\n#include "x.h"\n#include "x.h"\nint main(void)\n{{\n{prints}    return 0;\n}}\n',
        encoding="utf-8",
    )
    flags = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic"]
    done = subprocess.run(
        [compiler, *flags, "main.c", "-o", "main"], cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    ran = subprocess.run([folder / "main"], capture_output=True, text=True, timeout=10, check=True)
    return [int(line) for line in ran.stdout.split()]


CIRCUITS = {
    "bench": bench(),
    "filtered": bench(
        sense=FILTERED, second=BUS, adc='noise = 3.0\nsample_capacitance = "8 pF"\nacquisition_time = "2 us"'
    ),
    "cluster": cluster(),
    "channels": bench(channels=3),
    "dead controller": bench(powered_by="after arm switch"),
    "nasty names": bench(title=NASTY, name="a*/b ??/"),
    "nothing told apart": bench(leakage="100 uA"),
}


@pytest.mark.parametrize("name", CIRCUITS)
def test_header_compiles(name: str, tmp_path: Path) -> None:
    """Every macro of every circuit's header compiles and is a number that the JSON form's limits hold."""
    text = header_text(constants(CIRCUITS[name]))
    names = [n for n in re.findall(r"^#define (\w+) .", text, re.MULTILINE)]
    assert len(names) == len(set(names))
    values = compiled(text, tmp_path, names)
    assert len(values) == len(names)
    codes = [v for n, v in zip(names, values, strict=True) if n.endswith("_CODE")]
    assert all(0 <= code <= 4095 for code in codes)


def test_numbers_are_those_of_the_json_form(tmp_path: Path) -> None:
    """Thresholds, dead band and waits read back from the compiled program."""
    found = constants(CIRCUITS["filtered"])
    value = json.loads(to_json(found))["channels"][0]
    prefix, boundary = value["prefix"], value["boundaries"][0]
    base = f"{prefix}_GROUP_0_TO_1"
    names = [
        f"{base}_CODE",
        f"{base}_DEAD_LOW_CODE",
        f"{base}_DEAD_HIGH_CODE",
        f"{base}_SAMPLES",
        f"{prefix}_SETTLE_AFTER_ARMING_US",
        f"{prefix}_LONGEST_TEST_PULSE_NS",
        f"{base}_PER_65536_OF_BUS",
    ]
    code, low, high, samples, settle, pulse, ratio = compiled(header_text(found), tmp_path, names)
    assert (code, low, high, samples) == (
        boundary["code"],
        boundary["below_highest"],
        boundary["above_lowest"],
        boundary["samples"],
    )
    assert 0 <= settle * 1e-6 - value["settle_after_arming"]["value"] < 1e-6
    assert 0 <= value["longest_test_pulse"]["value"] - pulse * 1e-9 < 1e-9
    assert ratio / 65536 == pytest.approx(boundary["ratio_to_bus"]["threshold"]["value"], abs=1e-5)


def test_no_macro_for_overlapping_states() -> None:
    """The header has no threshold between intact and shorted, and says why."""
    text = header_text(constants(bench()))
    assert not re.search(r"LINE_INTACT_BELOW_SHORTED|LINE_SHORTED_BELOW_INTACT", text)
    assert re.search(r"NO THRESHOLD intact / shorted: bands overlap: intact reads 2102\.0 to 2653\.0", text)


def test_header_names_title_digest_and_assumptions() -> None:
    """The comment at the top holds title, file, digest and what was assumed; nothing depends on the day."""
    circuit = bench()
    text = header_text(constants(circuit))
    assert "Continuity thresholds for: Bench check" in text
    assert circuit.digest in text
    assert all(a.key in text for a in circuit.assumptions)
    assert text == header_text(constants(circuit))


def test_margins_stand_beside_the_code() -> None:
    """Each pair's code has its margins to both bands."""
    assert "IGN_LINE_OPEN_BELOW_INTACT_CODE 1051u /* margin 1051 below, 1052 above */" in header_text(
        constants(bench())
    )


def test_channels_of_like_names_have_different_prefixes() -> None:
    """Two names that make one identifier do not make one macro."""
    circuit = bench(channels=2)
    found = constants(circuit)
    first, second = (channel.prefix for channel in found.channels)
    assert first != second and not second.startswith(first + "_")


@pytest.mark.parametrize("names", [("a", "a b"), ("a b", "a"), ("a", "A", "a_2x", "*"), ("é", "*/")])
def test_no_prefix_begins_another(names: tuple[str, ...]) -> None:
    """Whatever the order of the channels, no prefix is another one's beginning."""
    found = list(macro_prefixes(names).values())
    assert len(set(found)) == len(names)
    assert not [(a, b) for a in found for b in found if a != b and b.startswith(f"{a}_")]


@pytest.mark.parametrize(("name", "expected"), [("a b", "A_B"), ("*/", ""), ("9 lives", "9_LIVES"), ("é", "")])
def test_identifier(name: str, expected: str) -> None:
    """Only capital letters, digits and single underscores remain."""
    assert identifier(name) == expected
