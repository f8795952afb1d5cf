"""Speed and memory of trial firings, rare failures and influences.

Run: PYTHONPATH=. python tests/benchmarks/bench_montecarlo.py

Aims: 10^6 trials of 4 igniters in 1.5 s and 400 MB; a probability of 1e-6 in 10 s.
"""

from __future__ import annotations

import resource
import sys
from dataclasses import replace
from time import perf_counter

from ignition.analyses.trials.influence import influence
from ignition.analyses.trials.rare_failures import rare_failure
from ignition.analyses.trials.trials import firing_trials
from ignition.circuit.examples import load_example
from ignition.circuit.model import Circuit
from tests.analyses.trials.test_rare_failures import circuit_of

TRIALS = 1_000_000


def four() -> Circuit:
    """The demo with four boosters in parallel on one channel."""
    demo = load_example("demo")
    return replace(demo, channels=(replace(demo.channels[0], strings=(("booster",),) * 4),))


def peak() -> float:
    """Highest resident memory of this process so far [MB]; kilobytes on Linux, bytes on macOS."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


def main() -> None:
    """Print times and memory."""
    circuit = four()
    firing_trials(circuit, 1000)
    for jobs in (1, 2):
        times = []
        for _ in range(3):
            start = perf_counter()
            firing_trials(circuit, TRIALS, jobs=jobs)
            times.append(perf_counter() - start)
        print(f"{TRIALS} trials x 4 igniters, {jobs} process(es): {min(times):.2f} s, peak {peak():.0f} MB")
    start = perf_counter()
    result = rare_failure(circuit_of(1e-6, 4), seed=1)
    both = result.interval()
    assert both is not None
    print(
        f"1e-6 each of 4 igniters: {perf_counter() - start:.2f} s, {result.probability:.2e} in {both.low:.2e} .. "
        f"{both.high:.2e}, {result.firings} firings; closed form 4.00e-06"
    )
    start = perf_counter()
    influence(circuit)
    print(f"influences: {perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
