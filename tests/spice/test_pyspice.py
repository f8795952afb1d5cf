"""The optional second back end: same answers, same refusals, and absence that explains itself."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from ignition.errors import InputError, NgspiceError
from ignition.spice import ngspice, pyspice

FIRING = """firing channel
.options reltol=1e-6 abstol=1e-12 vntol=1e-9
V1 bat 0 DC 9.0
Rb bat a 0.1
Ri a d 1.6
M1 d g 0 SW
V2 gg 0 DC 0 PULSE(0 5 1e-5 1e-6 1e-6 1 2)
Rg gg g 100.0
Rp g 0 1e4
.model SW VDMOS (Vto=2 Kp=10 Rd=0.05 Rb=0.05 Cgdmax=1e-9 Cgdmin=1e-10 Cgs=1e-9 Cjo=5e-10)
.op
.dc V2 0 5 1
.tran 1e-6 1e-4
.end
"""


def test_answers_equal_the_batch_program() -> None:
    """Three analyses of one deck: the shared library and the batch program give the same names, units and numbers."""
    second, first = pyspice.run_deck(FIRING, limit_voltage=90.0), ngspice.run_deck(FIRING, limit_voltage=90.0)
    assert [plot.name for plot in second.plots] == [plot.name for plot in first.plots]
    assert len(first.plots) == 3
    for one, other in zip(first.plots, second.plots, strict=True):
        assert one.variables == other.variables
        assert one.units == other.units
        assert one.points == other.points
        for name in one.variables:
            assert type(other.data[name]) is np.ndarray
            np.testing.assert_allclose(other.data[name], one.data[name], rtol=1e-12, atol=1e-18, err_msg=name)
    assert "PySpice" in second.version
    assert first.version in second.version


def test_results_are_read_only() -> None:
    """Values cannot be changed, as with the batch program."""
    values = pyspice.run_deck("divider\nV1 a 0 9.0\nR1 a b 1.0\nR2 b 0 2.0\n.op\n.end\n").plots[0].signal("v(b)")
    assert values[0] == pytest.approx(6.0)
    with pytest.raises(ValueError, match="read-only"):
        values[0] = 0.0


@pytest.mark.parametrize(
    ("deck", "message"),
    [
        ("m\nV1 a 0 9.0\nM1 a g 0 NOSUCH\nR2 g 0 1e3\n.op\n.end\n", "can't find model 'nosuch'"),
        ("u\nV1 a 0 9.0\nR1 a 0 {rx}\n.op\n.end\n", r"Undefined parameter \[rx\]"),
        ("g\nV1 a b 9.0\nR1 a b 1e3\n.op\n.end\n", "singular matrix"),
        ("s\nV1 a 0 9.0\nV2 a 0 5.0\n.op\n.end\n", "singular matrix"),
        ("r\nV1 a 0 9.0\nR1 a 1e3\n.op\n.end\n", "resistance to low"),
        (
            "p\nV1 a 0 9.0\nM1 a g 0 SW\nR2 g 0 1e3\n.model SW VDMOS (Vt0x=2)\n.op\n.end\n",
            r"unrecognized parameter \(vt0x\)",
        ),
        ("b\nV1 a 0 9.0\nB1 x 0 V=1/(V(a)-V(a))\nR1 x 0 1e3\n.op\n.end\n", r"1e\+32 V, beyond the bound"),
        ("n\nV1 a 0 9.0\nR1 a 0 1e3\n.end\n", "No job.*add an analysis line"),
        ("c\nV1 a 0 9.0\n.control\n.endc\n.op\n.end\n", r"'\.control' is refused"),
    ],
)
def test_bad_decks_are_refused_and_poison_nothing(deck: str, message: str) -> None:
    """Each bad deck is refused with its reason, and the next good one runs."""
    with pytest.raises(NgspiceError, match=message):
        pyspice.run_deck(deck)
    good = pyspice.run_deck("good\nV1 a 0 9.0\nR1 a b 1.0\nR2 b 0 1.0\n.op\n.end\n")
    assert good.plots[0].signal("v(b)")[0] == pytest.approx(4.5)


def test_gmin_notes_are_no_error() -> None:
    """Notes on standard error, which PySpice alone takes for a failure, are tolerated."""
    deck = "steep\nV1 a 0 9.0\nR1 a b 1.0\nB1 b 0 I=1e-14*(exp(V(b)/0.02585)-1)\n.op\n.end\n"
    result = pyspice.run_deck(deck)
    assert "Source stepping completed" in result.log
    assert result.plots[0].signal("v(b)") == pytest.approx(ngspice.run_deck(deck).plots[0].signal("v(b)"), rel=1e-12)


def test_hanging_deck_is_killed_at_the_time_limit() -> None:
    """A malformed model line hangs the library; the child is ended."""
    start = time.monotonic()
    with pytest.raises(NgspiceError, match="time limit of 3 s"):
        pyspice.run_deck("h\nV1 a 0 9.0\nM1 a a 0 SW\n.model SW VDMOS nchan (\n.op\n.end\n", timeout=3.0)
    assert time.monotonic() - start < 20.0
    with pytest.raises(InputError, match="timeout must be a positive number"):
        pyspice.run_deck(FIRING, timeout=0.0)


def test_absent_pyspice_says_how_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without PySpice the error names the package and the other back end."""
    monkeypatch.setitem(sys.modules, "PySpice", None)
    with pytest.raises(NgspiceError, match=r"pip install PySpice.*ignition\.spice\.ngspice"):
        pyspice.run_deck(FIRING)


def test_absent_library_says_how_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A path without file is refused at once, a file that is no library when the child loads it."""
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", str(tmp_path / "libngspice.so"))
    with pytest.raises(NgspiceError, match=r"NGSPICE_LIBRARY_PATH names .*no file"):
        pyspice.run_deck(FIRING)
    (tmp_path / "libngspice.so").write_text("no library")
    with pytest.raises(NgspiceError, match=r"cannot be loaded.*apt-get install libngspice0"):
        pyspice.run_deck(FIRING)


def test_library_is_found_under_its_real_name(monkeypatch: pytest.MonkeyPatch) -> None:
    """The loader's answer is used, else the name of the Debian package; the environment goes first."""
    monkeypatch.delenv("NGSPICE_LIBRARY_PATH", raising=False)
    assert "ngspice" in pyspice.find_library()
    monkeypatch.setattr("ctypes.util.find_library", lambda name: None)
    assert pyspice.find_library() == "libngspice.so.0"
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "libngspice.so.7")
    assert pyspice.find_library() == "libngspice.so.7"


def test_import_does_not_load_pyspice() -> None:
    """The module imports where PySpice cannot be imported, and loads none of it."""
    code = "import sys; sys.modules['PySpice'] = None; import ignition.spice.pyspice; print('cffi' in sys.modules)"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(os.path.abspath(path) for path in sys.path)}
    result = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, timeout=60, check=True
    )
    assert result.stdout.strip() == "False"
