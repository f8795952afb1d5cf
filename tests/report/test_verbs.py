"""The verbs that write files: header, divider plot, netlists; and the cross-check of every example."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from ignition.circuit.examples import example_names, example_text
from tests.cli.in_process import told


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with all example files."""
    for name in example_names():
        (tmp_path / f"{name}.toml").write_text(example_text(name), encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("name", example_names())
def test_header_compiles_alone_and_included(name: str, folder: Path) -> None:
    """The header of every example compiles as C99 with all warnings as errors; the JSON form says the same codes."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    assert compiler is not None
    assert told("header", f"{name}.toml", "-o", "pad.h", folder=folder).returncode == 0
    (folder / "main.c").write_text(
        '#include "pad.h"\nint main(void) { return (int)IGN_ADC_BITS - (int)IGN_ADC_BITS; }\n'
    )
    strict = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-fsyntax-only"]
    for source in (["-x", "c", "pad.h"], ["main.c"]):
        done = subprocess.run([compiler, *strict, *source], cwd=folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
    found = json.loads(told("header", f"{name}.toml", "--json", folder=folder).stdout)
    assert found["channels"]


def test_what_is_asked_for_stands_beside_the_result(folder: Path) -> None:
    """Every option that computes more adds its own key to the JSON object, and only then."""
    always = {"circuit", "channels", "verdict", "findings"}
    fired = always | {"conductors", "battery_voltage", "controller_supply", "supply", "probability_all_fire"}
    asked = ("--trials", "50", "--rare", "--influence")
    for words, keys in (
        (("continuity", "tether-cutter.toml"), always),
        (("continuity", "tether-cutter.toml", "--trials", "100"), always | {"misclassification"}),
        (("continuity", "tether-cutter.toml", "--need", "joint"), always | {"requirements"}),
        (("firing", "tether-cutter.toml", "--trials", "0"), fired),
        (("firing", "tether-cutter.toml", *asked), fired | {"spread_of_times", "rare_failure", "influence"}),
    ):
        found = json.loads(told(*words, "--json", folder=folder).stdout)
        assert set(found) == keys, words
        assert all(found[key] for key in keys - {"conductors"})


def test_divider_writes_a_picture_and_says_why(folder: Path) -> None:
    """The search prints reasons, draws its picture, and refuses an unknown channel or series with status 2."""
    done = told("divider", "demo.toml", "--plot", "d.png", folder=folder)
    assert "why:" in done.stdout and "Present divider" in done.stdout and "Cautions" in done.stdout
    assert (folder / "d.png").read_bytes().startswith(b"\x89PNG")
    for words in (("--channel", "nobody"), ("--series", "E7"), ("--low", "1k"), ("--low", "3 Mohm")):
        wrong = told("divider", "demo.toml", *words, folder=folder)
        assert wrong.returncode == 2 and wrong.stdout == "" and "Traceback" not in wrong.stderr, words


def test_divider_is_judged_as_check_judges_it(folder: Path) -> None:
    """The verdict is that of `check` on the file with the recommended divider written into it, as is the exit status."""
    done = told("divider", "kelp-line-cutter.toml", "--json", folder=folder)
    found = json.loads(done.stdout)
    best, written = found["recommended"], (folder / "kelp-line-cutter.toml").read_text(encoding="utf-8")
    assert found["verdict"] == "PASS" and done.returncode == 0
    percent = f"± {100.0 * found['tolerance']['value']:g} %"
    resistors = {k: f"{best[k]['value']!r} ohm" for k in ("upper", "lower", "pin_resistor")}
    sense = f'sense = {{ upper = "{resistors["upper"]} {percent}", lower = "{resistors["lower"]} {percent}", '
    sense += f'pin_resistor = "{resistors["pin_resistor"]}", '
    changed, count = re.subn(r'sense = \{ upper = \[[^\]]*\], lower = "[^"]*", ', sense, written)
    assert count == 1
    (folder / "changed.toml").write_text(changed, encoding="utf-8")
    checked = json.loads(told("check", "changed.toml", "--json", folder=folder).stdout)
    expected = {json.dumps(f) for f in checked["findings"]}
    assert len(found["findings"]) > 10 and {json.dumps(f) for f in found["findings"]} <= expected


@pytest.mark.parametrize(("limit", "verdict"), [("1 uA", "FAIL"), ("3 mA", "PASS")])
def test_divider_keeps_an_own_limit(limit: str, verdict: str, folder: Path) -> None:
    """An own limit of 1 uA on the monitor current leaves no divider, and the present one fails it; 3 mA leaves some."""
    text = (folder / "kelp-line-cutter.toml").read_text(encoding="utf-8")
    text += f'\n[[rules.limit]]\nname = "club"\nkind = "monitor current at most"\ncurrent = "{limit}"\n'
    text += 'source = "range rules"\ndate = "2026-03-01"\n'
    (folder / "limited.toml").write_text(text, encoding="utf-8")
    done = told("divider", "limited.toml", "--series", "E24", "--json", folder=folder)
    found = json.loads(done.stdout)
    assert found["verdict"] == verdict and done.returncode == (verdict != "PASS")
    assert (found["recommended"] is None) == (verdict == "FAIL")


@pytest.mark.parametrize("name", example_names())
def test_every_example_agrees_with_ngspice(name: str, folder: Path) -> None:
    """Every quantity of every example agrees with ngspice: steady values to 1e-6, function times and edges to 1 %."""
    done = told("crosscheck", f"{name}.toml", "--json", folder=folder)
    result = json.loads(done.stdout)
    assert done.returncode == 0 and result["agrees"] and len(result["comparisons"]) > 50
    assert all(c["relative_difference"] <= (1e-6 if c["unit"] in "AV" else 1e-2) for c in result["comparisons"])


def test_foreign_netlist_on_the_command_line(folder: Path) -> None:
    """A netlist with its role file gives continuity, no-fire margins and cautions."""
    from importlib import resources

    for name in ("foreign.cir", "foreign_roles.toml"):
        text = resources.files("ignition.data.examples").joinpath(name).read_text(encoding="utf-8")
        (folder / name).write_text(text, encoding="utf-8")
    done = told("continuity", "foreign.cir", "--roles", "foreign_roles.toml", folder=folder)
    assert done.returncode == 0 and "no-fire margin" in done.stdout and "Cautions" in done.stdout
