"""Netlists with role files on the command line: the example, three verbs, and files given in the wrong place."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from ignition.circuit.examples import example_text, netlist_example
from ignition.cli.output import write_texts
from ignition.errors import InputError
from tests.cli.in_process import told
from tests.cli.test_main import answer, run


@pytest.fixture
def board(tmp_path: Path) -> Path:
    """A folder with the netlist example as the program writes it, and a circuit file."""
    done = told("example", "foreign", "board.cir", folder=tmp_path)
    assert done.returncode == 0 and "ignition check board.cir --roles board_roles.toml" in done.stdout
    (tmp_path / "demo.toml").write_text(example_text("demo"), encoding="utf-8")
    return tmp_path


def test_the_example_is_two_files_and_is_listed(board: Path) -> None:
    """One command writes both, whole; the list names it; nothing is replaced unless that is asked for."""
    shown = netlist_example()
    assert (board / "board.cir").read_text(encoding="utf-8") == shown.netlist
    assert (board / "board_roles.toml").read_text(encoding="utf-8") == shown.roles
    assert "foreign" in told("example", "--list", folder=board).stdout
    (board / "board_roles.toml").write_text("mine", encoding="utf-8")
    (board / "board.cir").unlink()
    done = told("example", "foreign", "board.cir", folder=board)
    assert done.returncode == 2 and "board_roles.toml exists" in done.stderr
    assert not (board / "board.cir").exists() and (board / "board_roles.toml").read_text(encoding="utf-8") == "mine"
    assert told("example", "foreign", "board.cir", "--force", folder=board).returncode == 0
    assert (board / "board_roles.toml").read_text(encoding="utf-8") == shown.roles


def test_of_two_files_none_is_left_where_one_cannot_be_written(tmp_path: Path) -> None:
    """The second path lies in a folder that does not exist: the first is not left behind, nor a part of it."""
    with pytest.raises(InputError, match=r"other\.txt cannot be written"):
        write_texts({tmp_path / "one.txt": "one", tmp_path / "none" / "other.txt": "other"}, False)
    assert not list(tmp_path.iterdir())


def test_check_of_a_netlist(board: Path) -> None:
    """The keys that programs rely on; exit 1, for what is not analysed is UNKNOWN; the text says so."""
    done = told("check", "board.cir", "--roles", "board_roles.toml", "--json", folder=board)
    found = answer(done)
    assert done.returncode == 1 and done.stderr == ""
    assert found["circuit"] == "board.cir" and found["verdict"] == "UNKNOWN"
    keys = {"rule", "channel", "phase", "verdict", "value", "limit", "unit", "margin", "says", "source", "source_date"}
    assert all(keys <= set(f) for f in found["findings"])
    assert {"single-fault-disarmed", "single-fault-test-path"} <= {f["rule"] for f in found["findings"]}
    assert {"assumptions", "no_fire", "notes", "not_covered"} <= set(found)
    text = told("check", "board.cir", "--roles", "board_roles.toml", folder=board).stdout
    for part in ("Verdict: UNKNOWN", "Not analysed, so not known", "Not covered for a netlist", "Cautions"):
        assert part in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_faults_of_a_netlist(board: Path) -> None:
    """The keys of a circuit file's faults, and its text; pairs where they are asked for."""
    done = told("faults", "board.cir", "--roles", "board_roles.toml", "--order", "2", "--json", folder=board)
    found = answer(done)
    assert done.returncode == 0  # both findings on single faults pass
    assert found["circuit"] == "board.cir" and found["order"] == 2 and found["verdict"] == "PASS"
    assert found["fewest_faults_to_fire"] == {"disarmed": 2, "reset": 1, "armed": 1}
    sizes = {len(row["faults"]) for row in found["phases"][0]["faults"]}
    assert sizes == {1, 2} and {"faults", "channel", "igniter_current", "class"} <= set(found["phases"][0]["faults"][0])
    text = told("faults", "board.cir", "--roles", "board_roles.toml", folder=board).stdout
    for part in ("112 single faults", "XA.R2 open (reset, armed)", "Not covered for a netlist", "defeated by"):
        assert part in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_continuity_of_a_netlist_takes_no_samples(board: Path) -> None:
    """Continuity and margins come out; options of the circuit file alone are refused."""
    done = run("continuity", "board.cir", "--roles", "board_roles.toml", folder=board)
    assert done.returncode == 0 and "no-fire margin" in done.stdout and "Cautions" in done.stdout
    done = told("continuity", "board.cir", "--roles", "board_roles.toml", "--trials", "10", folder=board)
    assert done.returncode == 2 and "with --roles leave them out" in done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("check",), ("continuity",), ("faults",), ("firing",), ("holdoff",), ("divider",), ("crosscheck",),
        ("diagnose", "--reading", "line=1"), ("netlist", "-o", "decks"), ("header", "-o", "x.h"),
    ],
)  # fmt: skip
def test_a_netlist_without_roles_says_what_is_missing(words: tuple[str, ...], board: Path) -> None:
    """Status 2, every table that a role file needs, and how to get the example."""
    before = sorted(p.name for p in board.rglob("*"))
    done = told(words[0], "board.cir", *words[1:], folder=board)
    assert done.returncode == 2 and done.stdout == "" and "Traceback" not in done.stderr
    for part in (
        "board.cir is a netlist", "--roles board_roles.toml", "[battery]", "[arm_switch]", "[controller]", "[igniter.NAME]",
        "[mosfet.NAME]", "[[channel]]", "low_side_switch", "gate_pin", "sense_node", "resistor_tolerance",
        "ignition example foreign board.cir",
    ):  # fmt: skip
        assert part in done.stderr, part
    assert sorted(p.name for p in board.rglob("*")) == before


def test_a_netlist_is_known_by_what_is_in_it(board: Path) -> None:
    """Whatever its name is."""
    (board / "board.txt").write_text(netlist_example().netlist, encoding="utf-8")
    done = told("check", "board.txt", folder=board)
    assert done.returncode == 2 and "board.txt is a netlist" in done.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("check", "demo.toml", "--roles", "board_roles.toml"), "demo.toml is TOML, not a netlist"),
        (("faults", "board_roles.toml", "--roles", "board.cir"), "board_roles.toml is TOML, not a netlist"),
        (("faults", "board.cir", "--roles", "board.cir"), "board.cir is a netlist; --roles names a role file"),
        (("check", "board.cir", "--roles", "none.toml"), "none.toml does not exist"),
        (("check", "none.cir", "--roles", "board_roles.toml"), "none.cir does not exist"),
        (("check", "none.cir"), "ignition example foreign none.cir"),
        (("check", "board.cir", "--roles", "demo.toml"), "battery.element: is missing"),
        (("example", "foreign"), "ignition example foreign board.cir"),
        (("example", "foreign", "board.toml"), "received board.toml"),
        (("example", "demo", "board2.cir"), "ignition example foreign board2.cir"),
        (("example", "foreign", "no/such/folder/x.cir"), "cannot be written"),
        (("faults", "board.cir", "--roles", "board_roles.toml", "--order", "4"), "order"),
    ],
)
def test_files_in_the_wrong_place(words: tuple[str, ...], says: str, board: Path) -> None:
    """Status 2, a message that says where each file belongs, nothing written."""
    before = sorted(p.name for p in board.rglob("*"))
    done = told(*words, folder=board)
    assert done.returncode == 2 and says in done.stderr, done.stderr
    assert "Traceback" not in done.stderr and done.stdout == ""
    assert sorted(p.name for p in board.rglob("*")) == before


def test_a_limit_of_ones_own_twice(board: Path) -> None:
    """Rules of a role file are held to what those of a circuit file are."""
    limit = (
        '\n[[rules.limit]]\nname = "mine"\nkind = "faults to fire at least"\nfaults = 2\nsource = "s"\ndate = "2026"\n'
    )
    (board / "board_roles.toml").write_text(netlist_example().roles + limit + limit, encoding="utf-8")
    done = told("check", "board.cir", "--roles", "board_roles.toml", folder=board)
    assert done.returncode == 2 and "mine" in done.stderr
    (board / "board_roles.toml").write_text(netlist_example().roles + limit, encoding="utf-8")
    done = told("check", "board.cir", "--roles", "board_roles.toml", "--json", folder=board)
    found = {f["phase"]: f["verdict"] for f in json.loads(done.stdout)["findings"] if f["rule"] == "mine"}
    assert found["disarmed"] == "PASS"
