"""Raw files: what ngspice writes, what a hand-made file holds, and what must be refused."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from ignition.errors import InputError, NgspiceError
from ignition.spice.ngspice import find_ngspice
from ignition.spice.rawfile import Plot, parse_raw

TWO_ANALYSES = """two analyses
V1 in1 0 DC 9 PULSE(0 9 0 1n 1n 1 2)
R1 in1 b 1000.0
C1 b 0 1e-6
M1 d g 0 SW
R2 in1 d 10.0
V2 g 0 5.0
.model SW VDMOS (Vto=2 Kp=10 Rd=0.1 Cjo=1e-10)
.op
.tran 1e-5 1e-3
.end
"""


def raw_of(deck: str, folder: Path, *, ascii_file: bool) -> bytes:
    """Content of the raw file of a deck, written by ngspice itself in the form asked for."""
    (folder / "deck.cir").write_text(deck)
    environment = {"PATH": os.environ["PATH"], "HOME": str(folder)} | (
        {"SPICE_ASCIIRAWFILE": "1"} if ascii_file else {}
    )
    command = [find_ngspice(), "-b", "-n", "-r", "out.raw", "-o", "out.log", "deck.cir"]
    quiet = subprocess.DEVNULL
    subprocess.run(
        command, cwd=folder, env=environment, check=True, timeout=30, stdin=quiet, stdout=quiet, stderr=quiet
    )
    return (folder / "out.raw").read_bytes()


def raw_bytes(values: npt.NDArray[np.generic], *, names: list[str], flags: str, title: str = "t") -> bytes:
    """Binary raw file made here, independent of the reader."""
    rows = "".join(f"\t{k}\t{name}\tvoltage\n" for k, name in enumerate(names))
    head = f"Title: {title}\nDate: today\nPlotname: Operating Point\nFlags: {flags}\nNo. Variables: {len(names)}\n"
    return (head + f"No. Points: {len(values)}       \nVariables:\n{rows}Binary:\n").encode() + values.tobytes()


def test_ascii_and_binary_of_the_same_run_agree(tmp_path: Path) -> None:
    """Both forms of two plots hold the same names and the same numbers to 15 digits."""
    binary_content = raw_of(TWO_ANALYSES, tmp_path, ascii_file=False)
    ascii_content = raw_of(TWO_ANALYSES, tmp_path, ascii_file=True)
    assert b"Binary:" in binary_content and b"Values:" not in binary_content
    assert b"Values:" in ascii_content and b"Binary:" not in ascii_content
    binary, text = parse_raw(binary_content), parse_raw(ascii_content)
    assert [plot.name for plot in binary] == ["Operating Point", "Transient Analysis"]
    for one, other in zip(binary, text, strict=True):
        assert (one.title, one.name, one.variables, one.units) == (
            other.title,
            other.name,
            other.variables,
            other.units,
        )
        assert one.points == other.points > 0
        for name in one.variables:
            assert one.data[name].dtype == other.data[name].dtype
            np.testing.assert_allclose(one.data[name], other.data[name], rtol=2e-15, atol=1e-300)


def test_names_with_spaces_are_kept(tmp_path: Path) -> None:
    """The inner node of a VDMOS body diode has a space in its name and is read whole."""
    deck = "body\nV1 a 0 9.0\nR1 a d 10.0\nM1 d g 0 SW\nV2 g 0 0.0\n.model SW VDMOS (Vto=2 Kp=10 Rb=0.1)\n.op\n.end\n"
    (plot,) = parse_raw(raw_of(deck, tmp_path, ascii_file=False))
    assert "v(m1#body diode)" in plot.variables
    assert plot.units[plot.variables.index("v(m1#body diode)")] == "voltage"


@pytest.mark.parametrize("flags", ["real", "real padded", "real unpadded"])
def test_flags_padded_and_unpadded_are_read(flags: str) -> None:
    """The padding flag changes nothing where all vectors have the same length."""
    values = np.random.default_rng(1).normal(size=(5, 3))
    (plot,) = parse_raw(raw_bytes(values, names=["v(a)", "v(b c)", "i(v1)"], flags=flags))
    for k, name in enumerate(plot.variables):
        np.testing.assert_array_equal(plot.signal(name), values[:, k])


def test_several_plots() -> None:
    """A plot after another: the exact values of each come back."""
    values = np.random.default_rng(2).normal(size=(4, 2))
    first = raw_bytes(np.array([[1.5]]), names=["v(x)"], flags="real", title="one")
    second = raw_bytes(values, names=["v(a)", "v(b)"], flags="real", title="two")
    one, two = parse_raw(first + second)
    assert (one.title, two.title) == ("one", "two")
    np.testing.assert_array_equal(two.signal("V(B)"), values[:, 1])
    np.testing.assert_array_equal(one.signal("v(x)"), [1.5])


def test_a_complex_plot_is_refused() -> None:
    """An AC analysis is refused by its flag, before its values could be taken for twice as many real ones."""
    content = raw_bytes(np.array([[1.0 + 2.0j]]), names=["v(a)"], flags="complex")
    with pytest.raises(NgspiceError, match=r"not real \(flags 'complex'\): only \.op, \.dc and \.tran are read"):
        parse_raw(content)


def test_values_that_look_like_text_do_not_start_a_plot() -> None:
    """A double whose bytes spell a header or a line end is still a number."""
    values = np.frombuffer(b"\nTitle: " + b"\n\n\n\n\n\n\n\n", dtype="<f8").reshape(2, 1)
    (plot,) = parse_raw(raw_bytes(values, names=["v(a)"], flags="real"))
    np.testing.assert_array_equal(plot.signal("v(a)"), values[:, 0])


@pytest.mark.parametrize("ascii_file", [False, True])
def test_every_truncation_is_refused(tmp_path: Path, ascii_file: bool) -> None:
    """No beginning of a raw file passes for the whole."""
    deck = "cut\nV1 a 0 9.0\nR1 a b 1000.0\nR2 b 0 2000.0\n.dc V1 0 9 3\n.end\n"
    content = raw_of(deck, tmp_path, ascii_file=ascii_file)
    if ascii_file:
        content = content.rstrip() + b"\n"
    assert parse_raw(content)[0].points == 4
    for length in range(len(content)):
        with pytest.raises(NgspiceError, match=r"truncated|malformed|empty|without variables"):
            parse_raw(content[:length])


def test_too_many_bytes_are_refused() -> None:
    """Bytes after the last value that start no further plot are refused."""
    content = raw_bytes(np.zeros((2, 1)), names=["v(a)"], flags="real")
    with pytest.raises(NgspiceError, match="2 points x 1 variables = 16 bytes, found more bytes"):
        parse_raw(content + b"12345678")


GOOD_TEXT = (
    "Title: t\nDate: -\nPlotname: Operating Point\nFlags: real\nNo. Variables: 2\nNo. Points: 1\n"
    "Variables:\n\t0\tv(a)\tvoltage\n\t1\tv(b)\tvoltage\nValues:\n 0\t9.0\n\t6.0\n"
)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("Flags: real", "Flags: real complex", "not real"),
        ("Flags: real", "Flags: padded", "not real"),
        ("Plotname: Operating Point\n", "", "lacks plotname"),
        ("No. Points: 1", "No. Points: many", "whole number"),
        ("No. Points: 1", "No. Points: -1", "whole number"),
        ("No. Points: 1", "No. Points: 2", "2 points x 2 variables"),
        ("No. Variables: 2", "No. Variables: 1", 'expected "Binary:" or "Values:"'),
        ("No. Variables: 2", "No. Variables: 0", "without variables"),
        ("\t1\tv(b)", "\t7\tv(b)", "expected variable 1"),
        ("v(b)", "v(a)", "twice"),
        ("Values:", "Numbers:", "found 'Numbers:'"),
        ("6.0", "six", "no number"),
        (" 0\t9.0", " 5\t9.0", "not numbered"),
        ("Date: -", "Date", "key: value"),
    ],
)
def test_malformed_files_are_refused(old: str, new: str, message: str) -> None:
    """Each broken line of a file that is otherwise right is named."""
    assert parse_raw(GOOD_TEXT.encode())[0].signal("v(b)").tolist() == [6.0]
    with pytest.raises(NgspiceError, match=message):
        parse_raw(GOOD_TEXT.replace(old, new).encode())


def test_empty_file_is_refused() -> None:
    """An empty file says that no analysis was finished."""
    with pytest.raises(NgspiceError, match="empty"):
        parse_raw(b" \n")


def test_signal_names_ignore_case_and_name_the_nearest() -> None:
    """A miss names what is near; a hit does not depend on case or outer blanks."""
    values = np.array([[1.0, 2.0, 3.0]])
    (plot,) = parse_raw(raw_bytes(values, names=["v(drain)", "v(gate)", "i(v1)"], flags="real"))
    assert plot.signal(" V(Drain) ").tolist() == [1.0]
    with pytest.raises(InputError, match=r'no signal "v\(drian\)"; did you mean .v\(drain\)'):
        plot.signal("v(drian)")
    with pytest.raises(InputError, match=r'no signal "\?"; the first are: v\(drain\), v\(gate\), i\(v1\)'):
        plot.signal("?")


def test_values_are_read_only() -> None:
    """The stored values cannot be changed, however they are reached."""
    (plot,) = parse_raw(GOOD_TEXT.encode())
    for values in (plot.signal("v(a)"), plot.data["v(b)"]):
        with pytest.raises(ValueError, match="read-only"):
            values[0] = 0.0


def test_plot_without_variables_has_no_points() -> None:
    """The number of points of an empty plot is zero, not an error."""
    assert Plot(title="", name="", variables=(), units=(), data={}).points == 0
