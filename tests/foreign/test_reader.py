"""Foreign netlists: numbers as SPICE means them, what is refused and where, subcircuits written out as ngspice does."""

from __future__ import annotations

from pathlib import Path

import pytest

from ignition.errors import InputError, NetlistError
from ignition.foreign.flatten import flatten
from ignition.foreign.reader import MAX_BYTES, MAX_ELEMENTS, load_netlist, parse_netlist
from ignition.foreign.tokens import Scope, pairs, spice_number
from ignition.network.solution import solve
from ignition.spice.deck import OPTIONS
from ignition.spice.ngspice import run_deck
from tests.foreign.foreign_cases import plain_network, random_netlist

SPELLINGS = [
    "1k",
    "1K",
    "1meg",
    "1Meg",
    "1MEG",
    "1M",
    "2.2m",
    "10kohm",
    "1kOhm",
    "1g",
    "1G",
    "1t",
    "1d3",
    "1D3",
    "1e3",
    "1E3",
    "1e3k",
    "1e+3",
    "500mohm",
    "1A",
    ".5k",
    "5.",
    "+5",
    "100000u",
    "1e6f",
    "1e9n",
    "1e12p",
    "2.5Ohm",
    "1megohm",
    "1e3ohm",
    "10R",
    "47",
    "1x",
    "0.1Meg",
]


@pytest.fixture(scope="module")
def measured() -> dict[str, float]:
    """Each spelling as ngspice reads it: the voltage that 1 A drops across it."""
    cards = [f"I{k} 0 n{k} DC 1\nR{k} n{k} 0 {word}" for k, word in enumerate(SPELLINGS)]
    plot = run_deck("\n".join(["spellings", *cards, ".op", ".end", ""]), limit_voltage=1e13).plots[0]
    return {word: float(plot.signal(f"v(n{k})")[0]) for k, word in enumerate(SPELLINGS)}


@pytest.mark.parametrize("word", SPELLINGS)
def test_suffixes_are_read_as_ngspice_reads_them(word: str, measured: dict[str, float]) -> None:
    """Every spelling that is accepted has the value that ngspice gives it."""
    assert spice_number(word).value == pytest.approx(measured[word], rel=1e-9)


@pytest.mark.parametrize(
    ("word", "says"),
    [
        ("4k7", "no number that every SPICE reads alike"),
        ("1O0", "no number that every SPICE reads alike"),
        ("1mil", "mil is refused"),
        ("1e", "exponent without digits"),
        ("1..2", "no number"),
        ("rx", r"write for example 4\.7k.*\{name\}"),
        ("1e999", "beyond every number"),
        ("1_000", "no number"),
        ("", "no number"),
    ],
)
def test_misreadable_numbers_are_refused(word: str, says: str) -> None:
    """What simulators read differently, or silently wrong, is an error."""
    with pytest.raises(NetlistError, match=says):
        spice_number(word)


def test_numbers_often_meant_otherwise_are_noted() -> None:
    """A thousandth written M, a femto written F and a letter A leave a note with the line; plain ones leave none."""
    notes = parse_netlist("t\nV1 a 0 9A\nR1 a 0 1M\nC1 a 0 1F\nR2 a 0 1Meg\nR3 a 0 1m\n.end\n").notes
    assert [note.split(" as ")[0] for note in notes] == [
        "line 2: 9A is read",
        "line 3: 1M is read",
        "line 4: 1F is read",
    ]
    assert "Meg is a million" in notes[1]


GOOD = "title\nV1 a 0 9\nR1 a 0 1k\n"

REFUSED = {
    "control": (".control\n", r"n\.cir:4: \.control is refused, never executed"),
    "endc": (".endc\n", r":4: \.endc is refused"),
    "include": ('.include "parts.lib"\n', r":4: \.include is refused"),
    "inc": (".INC parts\n", r":4: \.inc is refused"),
    "lib": (".lib parts.lib tt\n", r":4: \.lib is refused"),
    "exec": (".exec ls\n", r":4: \.exec is refused"),
    "csparam": (".csparam a=1\n", r":4: \.csparam is refused"),
    "shell": ("shell rm x\n", r":4: shell is refused, never executed"),
    "command comment": ("*# shell ls\n", r":4: .*command to the simulator"),
    "script": ("*ng_script\n", r":4: .*command to the simulator"),
    "backquote": ("R2 a 0 `ls`\n", r":4: '`' is refused"),
    "file of a source": ("V2 b 0 PWL FILE = data.txt\n", r":4: 'FILE =' is refused"),
    "wavefile": ("V2 b 0 wavefile=x.wav\n", r":4: 'wavefile=' is refused"),
    "quoted": ('R2 a 0 "1k"\n', r":4: quoted text is refused"),
    "behavioural": ("B1 b 0 V=V(a)\n", r":4: element 'B1' is not read: a behavioural source"),
    "E": ("E1 b 0 a 0 2\n", r":4: element 'E1' is not read: a controlled source"),
    "F": ("F1 b 0 V1 2\n", r":4: element 'F1' is not read: a controlled"),
    "G": ("G1 b 0 a 0 2\n", r":4: element 'G1' is not read: a controlled"),
    "H": ("H1 b 0 V1 2\n", r":4: element 'H1' is not read: a controlled"),
    "S": ("S1 a 0 c 0 SW\n", r":4: element 'S1' is not read: write the switch as a resistor"),
    "W": ("W1 a 0 V1 SW\n", r":4: element 'W1' is not read: write the switch"),
    "Q": ("Q1 a b 0 N\n", r":4: element 'Q1' is not read: read are R, C"),
    "K": ("K1 L1 L2 0.9\n", r":4: element 'K1' is not read"),
    "unknown card": (".func f(x) {x}\n", r":4: card '\.func' is not understood"),
    "arithmetic": ("R2 a 0 {1k*2}\n", r":4: .*arithmetic is refused"),
    "arithmetic in param": (".param x = {a+1}\n", r":4: .*arithmetic is refused"),
    "loose param": (".param x\n", r":4: \.param takes NAME = NUMBER"),
    "resistor of one node": ("R2 a 1k\n", r":4: 'R2' is written NAME NODE NODE VALUE"),
    "resistor too long": ("R2 a 0 1k 5\n", r":4: 'R2' is written NAME NODE NODE VALUE"),
    "setting": ("R2 a 0 1k tc1=0.01\n", r":4: setting tc1 = 0\.01 is not understood"),
    "4k7": ("R2 a 0 4k7\n", r":4: '4k7' is no number that every SPICE"),
    "name as value": ("R2 a 0 rx\n", r":4: 'rx' is no number"),
    "diode model missing": ("D1 a 0\n", r":4: 'D1' is written NAME ANODE CATHODE MODEL"),
    "mosfet short": ("M1 a b\n", r":4: 'M1' is written NAME DRAIN GATE SOURCE"),
    "no source value": ("V2 b 0\n", r":4: 'V2' has no value"),
    "odd source": ("V2 b 0 9 fast\n", r":4: 'V2': 'fast' is not understood"),
    "open parenthesis": ("V2 b 0 PULSE(0 5 1u\n", r":4: a parenthesis is not closed"),
    "twice": ("r1 a 0 2k\n", r":4: element 'r1' stands twice, first in line 3"),
    "model twice": (".model D1 D (Is=1n)\n.model d1 D\n", r":5: model 'd1' stands twice, first in line 4"),
    "model type": (".model Q1 NPN (Bf=100)\n", r":4: model type 'NPN' is not read"),
    "model flag": (".model D1 D (fast)\n", r":4: 'fast' in a \.model card is not understood"),
    "model parenthesis": (".model D1 D (Is=1n\n", r":4: a parenthesis of the \.model card is not closed"),
    "nested subckt": (".subckt a p\n.subckt b q\n.ends\n", r":5: \.subckt inside \.subckt a"),
    "stray ends": (".ends\n", r":4: \.ends without \.subckt"),
    "wrong ends": (".subckt a p\n.ends b\n", r":5: \.ends closes a, not b"),
    "no ends": (".subckt a p\nR1 p 0 1\n", r":4: \.subckt a has no \.ends"),
    "port ground": (".subckt a p 0\n.ends\n", r":4: the ports of a \.subckt must differ"),
    "node ground": ("R2 a ground 1k\n", r":4: a node called ground is no ground"),
    "node parenthesis": ("R2 Net-(R1) 0 1k\n", r":4: "),
    "micro sign": ("C1 a 0 47µ\n", r":4: a character outside ASCII"),
    "control character": ("R2 a 0 1k\x07\n", r":4: a character outside ASCII"),
    "value missing": ("R2 a 0 r=\n", r":4: 'r' = has no value"),
    "no name": ("R a 0 1k\n", r":4: 'R' has no name behind its letter"),
    "names no subcircuit": ("X1\n", r":4: 'X1' names no subcircuit"),
}


@pytest.mark.parametrize("card, says", REFUSED.values(), ids=REFUSED.keys())
def test_refusals_name_the_line(card: str, says: str) -> None:
    """What could run a command, open a file, or is not understood, is an error with its line; never skipped."""
    with pytest.raises(NetlistError, match=says):
        parse_netlist(GOOD + card + ".end\n", name="n.cir")


FLAT = {
    "unknown subcircuit": ("X1 a 0 none\n", r":4: 'X1' names subcircuit 'none', which the netlist does not define"),
    "wrong ports": (
        "X1 a half\n.subckt half p q\nR1 p q 1\n.ends\n",
        r":4: 'X1' has 1 nodes; subcircuit half has 2 ports",
    ),
    "recursion": ("X1 a 0 f\n.subckt f p q\nX2 p q f\n.ends\n", r":6: subcircuit 'f' contains itself through f > f"),
    "unknown setting": (
        "X1 a 0 f r=1\n.subckt f p q\nR1 p q 1\n.ends\n",
        r":4: 'X1' sets 'r', which subcircuit f does not",
    ),
    "undefined parameter": ("R2 a 0 {rx}\n", r":4: parameter 'rx' is not defined"),
    "circle": (".param p={q} q={p}\nR2 a 0 {p}\n", r":5: parameter .* refers to itself"),
    "negative": ("R2 a 0 -1k\n", r":4: 'R2' has a value below zero"),
    "model of another kind": ("D1 a 0 SW\n.model SW VDMOS (Vto=1)\n", r":4: 'D1' needs a model of type d"),
}


@pytest.mark.parametrize("cards, says", FLAT.values(), ids=FLAT.keys())
def test_flattening_names_the_line(cards: str, says: str) -> None:
    """Mistakes that show only when subcircuits are written out name their line, too."""
    with pytest.raises(NetlistError, match=says):
        flatten(parse_netlist(GOOD + cards + ".end\n", name="n.cir"))


def test_all_faults_are_reported_together() -> None:
    """One error lists every line that is refused, in order."""
    with pytest.raises(NetlistError) as caught:
        parse_netlist(GOOD + "B1 a 0 V=1\n.control\nR2 a 0 4k7\n.end\n", name="n.cir")
    assert [line.split(":")[1] for line in str(caught.value).splitlines()] == ["4", "5", "6"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("t\nR1 a 0 1k\n", r":3: the netlist does not end with \.end"),
        ("t\nR1 a 0 1k\n.end\nR2 a 0 1k\n", r":4: nothing may follow \.end"),
        ("t\n+ 1k\n.end\n", r":2: a continuation line"),
        ("R1 a 0 1k\nV1 a 0 9\n.end\n", r":1: the first line is the title.*would be lost"),
        (".include x\nV1 a 0 9\n.end\n", r":1: the first line is the title"),
        ("*ng_script\nV1 a 0 9\n.end\n", r":1: .*script for the simulator"),
        ("t\n* nothing\n.end\n", r":1: the netlist has no elements"),
    ],
)
def test_first_and_last_lines(text: str, says: str) -> None:
    """A lost first element, a file cut off, and text behind the end are errors."""
    with pytest.raises(NetlistError, match=says):
        parse_netlist(text)


def test_title_comments_and_continuations() -> None:
    """The first line is the title; comments and continuations are read as SPICE does; analysis cards are noted."""
    lines = [".title Board µ B", "* .control in a comment", "R1 a ; nodes", "* between", "+ gnd $ more", "+ 1k // end"]
    text = "\n".join([*lines, ".tran 1u 1m", ".END", ""])
    netlist = parse_netlist(text)
    assert netlist.title == "Board µ B"
    (card,) = netlist.elements
    assert (card.name, card.nodes, card.value, card.line) == ("R1", ("a", "0"), "1k", 3)
    assert netlist.notes == ("line 7: .tran is no part of the network and is not used",)


def test_sources_models_and_mosfets() -> None:
    """DC values, functions of time, model settings and both forms of a MOSFET are kept apart."""
    text = (
        "t\nV1 a 0 DC 9 AC 1 0\nV2 g 0 PULSE(0 5 0 1n 1n 1u 2u)\nV3 h 0 dc 1 SIN(0 1 1k)\nI1 a 0 2m\nM1 d g 0 SW\n"
        "M2 d g 0 0 N1 W=1u L=1u\nD1 0 d DZ\n.model SW VDMOS (pchan Vto=-2)\n.model N1 NMOS\n.model DZ D(Bv={vz})\n"
        ".param vz=5.1\n.end\n"
    )
    netlist = parse_netlist(text)
    parts = {part.name: part for part in flatten(netlist).parts}
    assert (parts["V1"].value, parts["V2"].value, parts["V2"].waveform) == (9.0, None, "pulse")
    assert (parts["V3"].value, parts["V3"].waveform, parts["I1"].value) == (1.0, "sin", 2e-3)
    assert parts["M1"].model is not None and parts["M1"].model.flags == ("pchan",)
    assert parts["M2"].nodes == ("d", "g", "0", "0")
    assert parts["D1"].breakdown == 5.1
    assert len(netlist.notes) == 2


def test_parameters_scopes_and_global_nodes() -> None:
    """An instance's value hides the default, which hides the netlist's; a global node stays common."""
    text = (
        "t\n.global vcc\n.param r=1k z={r}\nV1 vcc 0 5\nX1 a f\nX2 a f r=3k\nX3 a h\nR9 a 0 {z}\n"
        ".subckt f p r=2k\nR1 p vcc {r}\nR2 p in {r}\nR3 in 0 1\n.ends\n.subckt h p\nR1 p 0 {r}\n.ends\n.end\n"
    )
    parts = {part.name: part for part in flatten(parse_netlist(text)).parts}
    assert [parts[n].value for n in ("X1.R1", "X2.R1", "X3.R1", "R9")] == [2e3, 3e3, 1e3, 1e3]
    assert parts["X2.R1"].nodes == ("a", "vcc")
    assert parts["X2.R2"].nodes == ("a", "x2.in")


def test_scope_and_pairs_refuse_what_they_do_not_understand() -> None:
    """Settings need a name and a value; a name needs braces where a number is due."""
    with pytest.raises(NetlistError, match="is set twice"):
        pairs(("a", "=", "1", "A", "=", "2"))
    with pytest.raises(NetlistError, match="without a name"):
        pairs(("=", "1"))
    with pytest.raises(NetlistError, match="is no number"):
        Scope(own={"a": "1"}).number("a")
    with pytest.raises(NetlistError, match="arithmetic is refused"):
        Scope(own={"a": "1"}).number("{a*2}")


def test_size_depth_and_count_are_limited(tmp_path: Path) -> None:
    """More than a megabyte, ten thousand elements or ten levels is refused, also when subcircuits multiply them."""
    with pytest.raises(InputError, match="at most 1000000"):
        parse_netlist("t\n" + "*" * MAX_BYTES)
    many = "".join(f"R{k} a 0 1\n" for k in range(MAX_ELEMENTS + 1))
    with pytest.raises(NetlistError, match=r"n:10002: more than 10000 elements"):
        parse_netlist(f"t\n{many}.end\n", name="n")
    deep = "".join(f".subckt s{k} p\nX1 p s{k + 1}\n.ends\n" for k in range(11))
    with pytest.raises(NetlistError, match="more than 10 levels deep"):
        flatten(parse_netlist(f"t\nX1 a s0\n{deep}.subckt s11 p\nR1 p 0 1\n.ends\n.end\n"))
    wide = ".subckt s0 p\n" + "".join(f"X{k} p s1\n" for k in range(200)) + ".ends\n.subckt s1 p\n"
    wide += "".join(f"R{k} p 0 1\n" for k in range(60)) + ".ends\n"
    with pytest.raises(NetlistError, match="more than 10000 elements once"):
        flatten(parse_netlist(f"t\nX1 a s0\n{wide}.end\n"))
    large = tmp_path / "large.cir"
    large.write_bytes(b"t\n" + b"*" * MAX_BYTES)
    with pytest.raises(InputError, match="a netlist has at most 1000000"):
        load_netlist(large)


def test_files_that_are_no_text_are_refused(tmp_path: Path) -> None:
    """A missing file, a folder, a binary file and another encoding each say what they are."""
    with pytest.raises(InputError, match="does not exist"):
        load_netlist(tmp_path / "none.cir")
    with pytest.raises(InputError, match="is a folder"):
        load_netlist(tmp_path)
    for raw, says in ((b"t\0\n", "binary file"), ("t\n* 47µ\n".encode("latin-1"), r":2: is not UTF-8")):
        path = tmp_path / "odd.cir"
        path.write_bytes(raw)
        with pytest.raises(InputError, match=says):
            load_netlist(path)
    path.write_text(GOOD + ".end\n", encoding="utf-8")
    assert load_netlist(path).title == "title"


@pytest.mark.parametrize("seed", range(60))
def test_written_and_read_back_gives_the_same_answers(seed: int) -> None:
    """A random netlist with subcircuits, parameters and spellings has the voltages of the network it was made from."""
    made = random_netlist(seed)
    network, values = plain_network(flatten(parse_netlist(made.text)))
    assert {name.lower() for name in values} == {name.lower() for name in made.values}
    read, direct = solve(network, values), solve(made.network, made.values)
    assert set(network.nodes) == set(made.network.nodes)
    for node in network.nodes:
        assert float(read.voltage(node)[0]) == pytest.approx(float(direct.voltage(node)[0]), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("seed", range(60, 72))
def test_subcircuits_are_written_out_as_ngspice_does(seed: int) -> None:
    """ngspice, given the same text with an .op card, finds every inner node by the same name at the same voltage."""
    text = random_netlist(seed).text
    network, values = plain_network(flatten(parse_netlist(text)))
    solution = solve(network, values)
    plot = run_deck(text.replace("\n.end\n", f"\n{OPTIONS}\n.op\n.end\n")).plots[0]
    for node in network.nodes:
        theirs = float(plot.signal(f"v({node})")[0])
        assert float(solution.voltage(node)[0]) == pytest.approx(theirs, rel=1e-6, abs=1e-9), node
