"""Speed of the firing march against scipy and ngspice, as ratios of one run.

Run: PYTHONPATH=. python tests/benchmarks/bench_march.py

Every contestant is held to 0.1 % in function time against the exact march; what it reached is printed beside its time.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from time import perf_counter

import numpy as np
from scipy.integrate import solve_ivp

from ignition.analyses.firing.transient.ladder import ClusterTree
from ignition.analyses.firing.transient.march import MarchResult, march

VOLTAGE, SOURCE, CHANNEL, PULSE = 11.1, 0.15, 0.05, 0.05
IGNITERS = 8


def sample(rng: np.random.Generator, igniters: int, trials: int, workers: int = 1) -> dict[str, np.ndarray]:
    """Uniform resistance, log-normal threshold, uniform time constant for every igniter of every trial."""
    resistance, threshold, constant = (np.empty((igniters, trials)) for _ in range(3))

    def fill(part: tuple[np.random.Generator, np.ndarray]) -> None:
        own, rows = part
        for whole, scale, offset in ((resistance, 0.4, 1.4), (constant, 0.004, 0.018)):
            own.random(out=whole[rows])
            whole[rows] *= scale
            whole[rows] += offset
        logarithm = threshold[rows]
        own.standard_normal(out=logarithm)
        logarithm *= 0.08
        logarithm += np.log(0.35)
        np.exp(logarithm, out=logarithm)

    slices = [slice(w * igniters // workers, (w + 1) * igniters // workers) for w in range(workers)]
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(fill, zip(rng.spawn(workers), slices, strict=True)))
    return {"igniter_resistance": resistance, "threshold_current": threshold, "time_constant": constant}


def fire(igniters: int, drawn: dict[str, np.ndarray], workers: int) -> MarchResult:
    """The march of all trials."""
    return march(
        ClusterTree.parallel(igniters),
        voltage=VOLTAGE,
        source_resistance=SOURCE,
        channel_resistance=CHANNEL,
        pulse=PULSE,
        workers=workers,
        **drawn,
    )


def best(work: Callable[[], object], repeats: int = 5) -> float:
    """Shortest time of several runs [s]."""
    times = []
    for _ in range(repeats):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return min(times)


def by_solve_ivp(drawn: dict[str, np.ndarray], trial: int) -> np.ndarray:
    """Function times of one trial, by scipy with a terminal event at each function."""
    resistance, threshold, constant = (
        drawn[n][:, trial] for n in ("igniter_resistance", "threshold_current", "time_constant")
    )
    conductance, times = 1.0 / resistance, np.full(IGNITERS, np.inf)

    def slope(_: float, x: np.ndarray) -> np.ndarray:
        total = conductance.sum()
        current = conductance * VOLTAGE / (1.0 + (SOURCE + CHANNEL) * total)
        return ((current / threshold) ** 2 - x) / constant

    def event(_: float, x: np.ndarray) -> float:
        return float(np.max(np.where(conductance > 0.0, x, 0.0))) - 1.0

    event.terminal, event.direction = True, 1.0  # type: ignore[attr-defined]
    now, x = 0.0, np.zeros(IGNITERS)
    while conductance.any():
        answer = solve_ivp(slope, (now, PULSE), x, rtol=1e-3, atol=1e-4, events=event)
        if answer.status != 1:
            break
        now, x = float(answer.t[-1]), answer.y[:, -1]
        hit = int(np.argmax(np.where(conductance > 0.0, x, 0.0)))
        times[hit], conductance[hit] = now, 0.0
    return times


def deck(drawn: dict[str, np.ndarray], trial: int, end: float, step: float) -> str:
    """The same trial for ngspice: a thermal node for each bridge, a switch that opens it at function."""
    lines = ["cluster", f"V1 src 0 {VOLTAGE}", f"R1 src bus {SOURCE + CHANNEL}", "VONE one 0 1"]
    lines.append(".model opens sw(vt=0.25 vh=0.25 ron=1e-6 roff=1e12)")
    for i in range(IGNITERS):
        resistance, threshold, constant = (
            float(drawn[n][i, trial]) for n in ("igniter_resistance", "threshold_current", "time_constant")
        )
        gain = 1.0 / (resistance * threshold) ** 2
        lines += [
            f"RI{i} bus d{i} {resistance!r}",
            f"S{i} d{i} 0 one x{i} opens ON",
            f"B{i} 0 x{i} I={gain!r}*v(bus,d{i})*v(bus,d{i})",
            f"RT{i} x{i} 0 1",
            f"CT{i} x{i} 0 {constant!r} IC=0",
        ]
    measures = [f".meas tran t{i} WHEN v(d{i})=0.5 RISE=1" for i in range(IGNITERS)]
    return "\n".join([*lines, f".tran {step:.9e} {end:.9e} 0 {step:.9e} UIC", *measures, ".end", ""])


def by_ngspice(drawn: dict[str, np.ndarray], trial: int, end: float, step: float) -> np.ndarray:
    """Function times of one trial from an `ngspice -b` transient."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "deck.cir"
        path.write_text(deck(drawn, trial, end, step), encoding="utf-8")
        run = subprocess.run(
            ["ngspice", "-b", "-n", str(path)],
            capture_output=True,
            text=True,
            timeout=60,
            check=True,
            stdin=subprocess.DEVNULL,
        )
    times = np.full(IGNITERS, np.inf)
    for line in run.stdout.splitlines():
        words = line.split()
        if len(words) >= 3 and words[0][:1] == "t" and words[0][1:].isdigit() and words[1] == "=":
            times[int(words[0][1:])] = float(words[2])
    return times


def compare_eight() -> None:
    """Per-trial times for eight igniters in parallel."""
    trials = 262144
    rng = np.random.default_rng(1)
    drawn = sample(rng, IGNITERS, trials)
    common = drawn | {"time_constant": np.array(0.02)}
    exact = fire(IGNITERS, drawn, 1)
    few = 20
    reference = exact.function_time[:, :few]
    assert np.isfinite(reference).all()
    times = {
        "march, 1 thread": best(lambda: fire(IGNITERS, drawn, 1)),
        "march, 2 threads": best(lambda: fire(IGNITERS, drawn, 2)),
        "march, 1 thread, common time constant": best(lambda: fire(IGNITERS, common, 1)),
        "sampling": best(lambda: sample(rng, IGNITERS, trials)),
        "sampling and march, 1 thread": best(lambda: fire(IGNITERS, sample(rng, IGNITERS, trials), 1)),
        "sampling and march, 2 threads": best(lambda: fire(IGNITERS, sample(rng, IGNITERS, trials, 2), 2)),
    }
    each = {name: value / trials for name, value in times.items()}
    start = perf_counter()
    ivp = np.stack([by_solve_ivp(drawn, i) for i in range(few)], axis=1)
    each["solve_ivp"] = (perf_counter() - start) / few
    error = {"solve_ivp": np.abs(ivp / reference - 1.0).max()}
    if shutil.which("ngspice"):
        end = 1.2 * float(reference.max())
        start = perf_counter()
        spice = np.stack([by_ngspice(drawn, i, end, end / 2500) for i in range(few)], axis=1)
        each["ngspice -b"] = (perf_counter() - start) / few
        error["ngspice -b"] = np.abs(spice / reference - 1.0).max()
    print(f"eight igniters in parallel, {trials} trials; times a trial")
    for name, value in each.items():
        note = f"   worst difference {error[name]:.2e}" if name in error else ""
        print(f"  {name:40s} {value * 1e6:12.3f} us{note}")
    for name in error:
        for ours in [n for n in each if "march" in n]:
            print(f"  {name} / {ours:40s} {each[name] / each[ours]:10.0f}")


def peak_memory() -> float:
    """Peak resident memory of this process [MB] (Linux; unlike ru_maxrss not inherited from the parent)."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return float(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1]) / 1024


def million_by_four(workers: int) -> None:
    """Wall time and peak memory of 10^6 trials of four igniters; to be run in a process of its own."""
    rng = np.random.default_rng(1)
    base = peak_memory()
    start = perf_counter()
    drawn = sample(rng, 4, 1_000_000, workers)
    middle = perf_counter()
    fire(4, drawn, workers)
    end = perf_counter()
    print(
        f"10^6 trials x 4 igniters, {workers} threads: sampling {middle - start:.3f} s, march {end - middle:.3f} s, "
        f"peak {peak_memory():.0f} MB (before: {base:.0f} MB)"
    )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        million_by_four(int(sys.argv[1]))
    else:
        compare_eight()
        for count in ("1", "2"):
            subprocess.run([sys.executable, __file__, count], check=True)
