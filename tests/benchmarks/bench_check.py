"""Time of `ignition check` on the demo as a whole process, and of the import over bare Python.

Run: PYTHONPATH=. python tests/benchmarks/bench_check.py [repeats]

Prints the best and the median of the repeats; nothing is asserted, because the time of a process is the machine's.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter

from ignition.circuit.examples import DEMO, example_text

TARGETS = {"ignition check demo": 0.8, "import ignition over bare Python": 0.15}
"""Time to reach on two cores [s]."""


def once(words: list[str]) -> float:
    """Wall time of one process [s], which ends with a verdict: PASS is status 0, FAIL and UNKNOWN are 1."""
    begin = perf_counter()
    status = subprocess.run([sys.executable, *words], stdout=subprocess.DEVNULL, check=False).returncode
    if status not in (0, 1):
        raise SystemExit(f"{' '.join(words)} ended with status {status}")
    return perf_counter() - begin


def measured(words: list[str], repeats: int) -> tuple[float, float]:
    """Best and median of several runs, the first left out [s]."""
    once(words)
    times = [once(words) for _ in range(repeats)]
    return min(times), statistics.median(times)


def main() -> None:
    """Measure and print."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 9
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "demo.toml"
        path.write_text(example_text(DEMO), encoding="utf-8")
        bare = measured(["-c", "pass"], repeats)
        rows = {
            "bare Python": bare,
            "import ignition over bare Python": tuple(
                a - b for a, b in zip(measured(["-c", "import ignition"], repeats), bare, strict=True)
            ),
            "ignition check demo": measured(["-m", "ignition", "check", str(path)], repeats),
            "ignition check demo --json": measured(["-m", "ignition", "check", str(path), "--json"], repeats),
            "ignition holdoff demo": measured(["-m", "ignition", "holdoff", str(path)], repeats),
            "ignition firing demo": measured(["-m", "ignition", "firing", str(path)], repeats),
            "ignition continuity demo": measured(["-m", "ignition", "continuity", str(path)], repeats),
        }
    print(f"{'':<36}{'best':>10}{'median':>10}{'reach':>10}   [s], {repeats} runs each")
    for name, (best, median) in rows.items():
        target = TARGETS.get(name)
        print(f"{name:<36}{best:>10.3f}{median:>10.3f}{'-' if target is None else f'{target:.2f}':>10}")


if __name__ == "__main__":
    main()
