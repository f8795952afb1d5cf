"""The mutation run: its mutations one by one, and a whole run on a made-up package."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "scripts"))
from mutations import mutants  # noqa: E402

MODULE = '''"""Made up."""

import functools


def largest(values: list[float]) -> float:
    """Return the largest value, at least 0."""
    return max([0.0, *values])


def is_above(value: float, limit: float) -> bool:
    """Whether a value exceeds its limit."""
    return value > limit


@functools.cache
def doubled(value: float) -> float:
    """Return twice the value."""
    return value + value


def padded(values: list[float], size: int) -> list[float]:
    """Return the values with as many zeros behind them as it takes."""
    while len(values) < size:
        values.append(0.0)
    return values


def nobody_calls_this() -> int:
    """Return a number."""
    return 7


def half(value: float) -> float:
    """Return a half."""
    return value * 0.5
'''

TESTS = '''"""Made up."""

from made_up.small import doubled, half, is_above, largest, padded


def test_largest() -> None:
    assert largest([1.0, 3.0]) == 3.0 and largest([-1.0]) == 0.0


def test_is_above() -> None:
    assert is_above(2.0, 1.0) and not is_above(0.0, 1.0)


def test_doubled_first() -> None:
    assert doubled(3.0) == doubled(3.0)


def test_doubled_from_the_cache() -> None:
    assert doubled(3.0) == 6.0


def test_padded() -> None:
    assert padded([1.0], 3) == [1.0, 0.0, 0.0]


def test_half() -> None:
    assert half(0.0) == 0.0
'''

LIST = """
[[equivalent]]
file = "made_up/small.py"
inside = "half"
line = "return value * 0.5"
mutant = "return value * 1.0"
reason = "made up: it is not, but nothing shall run it"

[[equivalent]]
file = "made_up/small.py"
inside = "half"
line = "return value * 0.25"
mutant = "return value * 0.5"
reason = "the line has changed since"
"""


def changes(source: str) -> list[str]:
    """Text of every mutant of a function's body line, without the line's own indentation."""
    body = "\n".join(f"    {line}" for line in source.splitlines())
    return [m.changed for m in mutants(f"def f(a, b, c):\n{body}\n")]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("return a < b", {"return a <= b", "return a > b"}),
        ("return a <= b", {"return a < b", "return a >= b"}),
        ("return a > b", {"return a >= b", "return a < b"}),
        ("return a >= b", {"return a > b", "return a <= b"}),
        ("return a == b", {"return a != b"}),
        ("return a != b", {"return a == b"}),
        ("return a is b", {"return a is not b"}),
        ("return a is not b", {"return a is b"}),
        ("return a in b", {"return a not in b"}),
        ("return a not in b", {"return a in b"}),
        ("return a < b <= c", {"return a <= b <= c", "return a > b <= c", "return a < b < c", "return a < b >= c"}),
        ("return (a) + (b)", {"return (a) - (b)"}),
        ("return a - b", {"return a + b"}),
        ("return a * b", {"return a / b"}),
        ("return a / b", {"return a * b"}),
        ("return a // b", {"return a / b"}),
        ("return a**b", {"return a*b"}),
        ("return a & b", {"return a | b"}),
        ("return a | b", {"return a & b"}),
        ("return a << b", {"return a >> b"}),
        ("return a >> b", {"return a << b"}),
        ("return a and b or c", {"return a or b or c", "return a and b and c"}),
        ("return not a", {"return a"}),
        ("return -a", {"return a"}),
        ("return ~a", {"return a"}),
        ("return abs(a)", {"return (a)"}),
        ("return np.abs(a)", {"return (a)"}),
        ("return min(a, b)", {"return max(a, b)", "return (a)", "return (b)"}),
        ("return max(a, b, c)", {"return min(a, b, c)", "return max(a, b)", "return max(a, c)", "return max(b, c)"}),
        ("return np.minimum(a, b)", {"return np.maximum(a, b)", "return (a)", "return (b)"}),
        ("return max(a, key=b)", {"return min(a, key=b)"}),
        ("return any(a)", {"return all(a)"}),
        ("return math.floor(a)", {"return math.ceil(a)"}),
        ("return np.argmax(a)", {"return np.argmin(a)"}),
        ("return a.low", {"return a.high", "return a.nominal"}),
        ("return a.high", {"return a.low", "return a.nominal"}),
        ("return a.nominal", {"return a.low", "return a.high"}),
        ("return 0", {"return 1"}),
        ("return 1", {"return 0"}),
        ("return 5", {"return 6"}),
        ("return 1.0", {"return 0.0"}),
        ("return 2.5e-3", {"return 0.005"}),
        ("return True", {"return False"}),
        ("return a if b else c", {"return a if (not (b)) else c"}),
        ("return [x for x in a if x]", {"return [x for x in a if (not (x))]"}),
        ("a += b", {"a -= b", "pass"}),
        ("a.append(b)", {"pass"}),
        ("a.extend(b)", {"pass"}),
        ("return a in (b, c)", {"return a not in (b, c)", "return a in (b,)", "return a in (c,)"}),
        ("return a in [b, c]", {"return a not in [b, c]", "return a in [b]", "return a in [c]"}),
        ("return sum((a, b, c,))", {"return sum((a, b,))", "return sum((a, c,))", "return sum((b, c,))"}),
        ("return '± Ω', a + b", {"return '± Ω', a - b"}),
    ],
)
def test_each_mutation(line: str, expected: set[str]) -> None:
    """A line has these mutants and no others."""
    found = changes(line)
    assert set(found) == expected and len(found) == len(expected)


@pytest.mark.parametrize(
    "line",
    [
        "raise ValueError(a + 1)",
        "assert a < 1",
        "return f'{a + 1}'",
        "x: Literal[1, 2] = a",
        "return zip(a, b, strict=True)",
        "x, y = a, b",
        "return a[b, c]",
        "return [(a, b)]",
        "return a % b",
        "'''Add 1 + 1.'''",
        "a.low = b",
    ],
)
def test_what_is_left_alone(line: str) -> None:
    """Messages, annotations, pairs and indices have no mutants."""
    assert changes(line) == []


def test_a_bool_is_returned_the_other_way_round() -> None:
    """A function that says that it returns a bool has its answer negated, any other function not."""
    source = "class C:\n    def f(self) -> bool:\n        return self.g()\n    def g(self) -> int:\n        return self.f()\n"
    (only,) = mutants(source)
    assert (only.line, only.inside, only.changed) == (3, "C.f", "return (not (self.g()))")


def test_a_condition_is_turned_round() -> None:
    """A bare condition is negated; one that is negated already loses its `not`; the lines are those of the head."""
    (negated, *_) = mutants("def f(a):\n    if a(\n        a\n    ):\n        return a\n")
    assert negated.changed == "if (not (a( a ))):" and negated.lines == range(2, 5)
    assert changes("while not a:\n    a()") == ["while a:"]


def test_an_element_over_several_lines_is_dropped() -> None:
    """Lines are shown as one, and the rest of the text stays as it was."""
    (first, second) = mutants("x = f(\n    [\n        a,\n        b,\n    ]\n)\n")
    assert {first.changed, second.changed} == {"a,", "b,"} and first.original == "a, b," and not first.in_function
    assert first.source == "x = f(\n    [\n        a,\n    ]\n)\n"


def test_every_mutant_of_the_package_is_python_and_new() -> None:
    """No mutant of a real module is the module itself or another mutant, or fails to compile."""
    source = (ROOT / "ignition/network/solution.py").read_text(encoding="utf-8")
    found = mutants(source)
    assert len(found) > 100 and len({m.source for m in found} | {source}) == len(found) + 1
    for mutant in found:
        compile(mutant.source, "mutant", "exec")


def files(folder: Path) -> dict[str, bytes]:
    """Content of every file but compiled ones."""
    return {str(p): p.read_bytes() for p in folder.rglob("*") if p.is_file() and "__pycache__" not in p.parts}


def mutate(root: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run the script on a folder."""
    command = [sys.executable, str(ROOT / "scripts/mutate"), "--root", str(root), *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


def project(root: Path, *, module: str = MODULE, tests: str = TESTS, listed: str = LIST) -> Path:
    """A made-up package with its tests and its list of equivalent mutants."""
    for name, text in (
        ("made_up/__init__.py", '"""Made up."""\n'),
        ("made_up/small.py", module),
        ("tests/test_small.py", tests),
        ("scripts/mutate-equivalent.toml", listed),
        ("pyproject.toml", "[tool.pytest.ini_options]\naddopts = ['--doctest-modules', '--import-mode=importlib']\n"),
    ):
        (root / name).parent.mkdir(exist_ok=True)
        (root / name).write_text(text, encoding="utf-8")
    return root


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A whole run: text, JSON, and the files before and after."""

    text: str
    result: dict[str, Any]
    before: dict[str, bytes]
    after: dict[str, bytes]


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """A whole run on the made-up package."""
    root = project(tmp_path_factory.mktemp("project"))
    before, json_file = files(root), tmp_path_factory.mktemp("out") / "mutants.json"
    done = mutate(root, "made_up", "--json", str(json_file), "--timeout", "4")
    assert done.returncode == 1, done.stderr
    result = json.loads(json_file.read_text(encoding="utf-8"))
    return Run(text=done.stdout, result=result, before=before, after=files(root))


def test_what_is_tested_is_killed_and_the_rest_reported(run: Run) -> None:
    """Survivors are the two lines whose tests are weak and the one that no test passes; each with both texts."""
    (result,) = run.result["files"]
    assert [(s["line"], s["inside"], s["original"], s["changed"], s["tests"]) for s in result["survivors"]] == [
        (13, "is_above", "return value > limit", "return value >= limit", 1),
        (31, "nobody_calls_this", "return 7", "return 8", 0),
        (36, "half", "return value * 0.5", "return value / 0.5", 1),
    ]
    for line in (
        "made_up/small.py:13 in is_above\n    - return value > limit\n    + return value >= limit\n",
        "made_up/small.py:31 in nobody_calls_this: no test passes here\n",
    ):
        assert line in run.text


def test_a_test_is_chosen_though_another_filled_the_cache(run: Run) -> None:
    """`value - value` equals itself; the test that notices passes there only because caches are emptied before it."""
    assert "+ return value - value" not in run.text


def test_counts_and_score(run: Run) -> None:
    """4 + 2 + 1 + 4 + 1 + 1 mutants of six lines: 3 survive, one never ends; the listed one is not among them."""
    (result,) = run.result["files"]
    assert [result[n] for n in ("mutants", "killed", "survived", "timeouts")] == [13, 9, 3, 1]
    assert result["score"] == pytest.approx(10 / 13)
    assert "13 mutants, 9 killed, 3 survived, 1 timeouts, score 76.9 %" in run.text


def test_listed_mutant_is_not_tried_and_a_stale_entry_is_reported(run: Run) -> None:
    """The mutant of the list, which would survive, is left out; the entry whose line is gone is named."""
    assert "+ return value * 1.0" not in run.text
    assert run.result["stale"] == [["made_up/small.py", "half", "return value * 0.25", "return value * 0.5"]]
    assert "stale: made_up/small.py in half: return value * 0.25 -> return value * 0.5\n" in run.text


def test_working_tree_is_untouched(run: Run) -> None:
    """Every file is byte for byte what it was, and none was added."""
    assert run.before == run.after


def test_all_killed_is_success(tmp_path: Path) -> None:
    """Exit status 0 when nothing survives; a sample takes that many mutants, the same ones for the same seed."""
    module = "def f(a: int) -> int:\n    return a + 2\n\n\ndef g(a: int) -> int:\n    return a - 3\n"
    tests = "from made_up.small import f, g\ndef test_f() -> None: assert (f(1), g(1)) == (3, -2)\n"
    root = project(tmp_path, module=module, tests=tests, listed="equivalent = []\n")
    done = [mutate(root, "made_up/small.py", "--sample", "2", "--seed", "5", "-n", "1") for _ in range(2)]
    assert [d.returncode for d in done] == [0, 0], done[0].stderr
    assert done[0].stdout == done[1].stdout and "2 mutants, 2 killed, 0 survived" in done[0].stdout


def test_failing_tests_and_missing_files_are_refused(tmp_path: Path) -> None:
    """Nothing is mutated when the tests fail already, or there is no such file: exit status 2 and a message."""
    root = project(tmp_path, tests="def test_one() -> None: assert False\n")
    failing, missing = mutate(root, "made_up"), mutate(root, "made_up/large.py")
    assert (failing.returncode, missing.returncode) == (2, 2)
    assert "tests of the unchanged modules do not pass" in failing.stderr and failing.stdout == ""
    assert "there is no 'made_up/large.py'; write a file or folder below" in missing.stderr
