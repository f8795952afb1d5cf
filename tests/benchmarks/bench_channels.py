"""Growth of `ignition check`, as a whole process, with channels and with strings, alone and beside busy neighbours.

Run: PYTHONPATH=. python tests/benchmarks/bench_channels.py [repeats]

A busy neighbour is a process that only loops, one on each core. All ratios are to the demo under the same condition, in
the same run; the least time of the repeats is compared, because anything else on the machine only adds to it. Nothing
is asserted.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from time import perf_counter

from ignition.circuit.examples import DEMO, example_text

CHANNELS = (2, 4, 7, 8, 12, 16)
STRINGS = (2, 4, 8, 16)
TARGET = 6.0
"""Eight channels over the demo [1], alone and beside busy neighbours."""

CHANNEL = """
[[channel]]
name = "c{index}"
igniters = [{strings}]
mosfet = "logic_level"
pulse = "250 ms"
start = "{start:g} s"
lead = {{ wire = "AWG 20", distance = "4 m", joints = "20 mohm .. 40 mohm .. 80 mohm" }}
branch = {{ wire = "AWG 22", distance = "0.4 m", joints = "10 mohm .. 20 mohm .. 50 mohm" }}
gate = {{ series = "100 ohm ± 5 %", pull_down = "10 kohm ± 1 %" }}
sense = {{ upper = "150 kohm ± 1 %", lower = "33 kohm ± 1 %", filter = "100 nF ± 10 %" }}
"""


def circuit_text(channels: int, strings: int = 1) -> str:
    """The demo's box with so many channels of so many strings of one igniter, fired half a second apart."""
    head, _, rest = example_text(DEMO).partition("[[channel]]")
    tail = rest.partition("[checklist]")[2]
    each = ", ".join(['["marker"]'] * strings)
    made = [CHANNEL.format(index=i, strings=each, start=0.5 * i) for i in range(channels)]
    return head + "".join(made) + "\n[checklist]" + tail


@contextmanager
def neighbours(count: int) -> Iterator[None]:
    """Run so many processes that only loop."""
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(count)]
    try:
        yield
    finally:
        for process in busy:
            process.kill()
            process.wait()


def least_times(paths: dict[str, Path], repeats: int) -> dict[str, float]:
    """Least wall time of a check of each file [s]; the files take turns."""
    least = dict.fromkeys(paths, float("inf"))
    for _ in range(repeats):
        for name, path in paths.items():
            begin = perf_counter()
            words = [sys.executable, "-m", "ignition", "check", str(path)]
            done = subprocess.run(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False)
            if done.returncode not in (0, 1) or done.stderr:
                raise SystemExit(f"check of {name} ended with exit status {done.returncode}:\n{done.stderr}")
            least[name] = min(least[name], perf_counter() - begin)
    return least


def main() -> None:
    """Measure and print."""
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    texts = {"demo": example_text(DEMO)}
    texts |= {f"{n} channels": circuit_text(n) for n in CHANNELS}
    texts |= {f"1 channel of {n} strings": circuit_text(1, n) for n in STRINGS}
    cores = os.cpu_count() or 1
    with tempfile.TemporaryDirectory() as folder:
        paths = {}
        for name, text in texts.items():
            paths[name] = Path(folder) / f"{name}.toml"
            paths[name].write_text(text, encoding="utf-8")
        alone = least_times(paths, repeats)
        with neighbours(cores):
            beside = least_times(paths, repeats)
    print(f"{'':<26}{'alone':>16}{f'beside {cores} busy':>18}{'reach':>8}   least of {repeats}")
    for name in texts:
        times = f"{alone[name]:>8.2f} s{alone[name] / alone['demo']:>6.1f}{beside[name]:>10.2f} s"
        reach = f"{TARGET:.1f}" if name == "8 channels" else "-"
        print(f"{name:<26}{times}{beside[name] / beside['demo']:>6.1f}{reach:>8}")


if __name__ == "__main__":
    main()
