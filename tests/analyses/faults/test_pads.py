"""Units of random pads, each with a fault, solved by nodes: none carries more than the fault report tells."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from copy import copy

import numpy as np
import pytest

from ignition.analyses.faults.faults import faults
from ignition.analyses.verdict import check
from ignition.circuit.file import parse_circuit
from tests.analyses.faults.pads import FAULTS, Pad, unit

PADS, UNITS = 3, 7

QUIET = ("disarmed", "reset", "armed")
COMMON = ("controller all-pins-high", "arm switch stuck-closed")


@pytest.mark.parametrize("seed", range(4))
def test_no_unit_carries_more_than_is_told(seed: int, record_testsuite_property: Callable[[str, object], None]) -> None:
    """In every phase, under every fault that a unit can have; every fault is solved, and some units come near."""
    rng, count, near = np.random.default_rng(600 + seed), 0, 0.0
    for number in range(PADS):
        pad = Pad(rng=np.random.default_rng([seed, number]))
        lines = [line.name for line in pad.lines]
        for phase in faults(parse_circuit(pad.text, "pad.toml")).phases:
            for row in phase.faults:
                (name,), where = row.faults[:1], (seed, number, phase.phase, row.faults)
                if len(row.faults) > 1:
                    continue
                assert row.kind != "not solved" and row.current is not None, where
                if row.commanded or (name not in COMMON and name.partition(".")[2] not in FAULTS):
                    continue
                for fired in lines if phase.phase == "firing" else [""]:
                    for _ in range(UNITS):
                        currents = unit(pad, phase.phase, name, fired, rng)
                        most = max((abs(i) for line, i in currents.items() if line != fired), default=0.0)
                        # leakages of pins and MOSFETs are left out, which add a microampere or two
                        assert most <= row.current * (1.0 + 1e-3) + 2e-6, (where, most, row.current)
                        near = max(near, most / row.current if row.current > 1e-3 else 0.0)
                        count += 1
    record_testsuite_property(f"units of pads under faults, seed {seed}", count)
    assert count > 1000 and near > 0.95


def contradictions(pad: Pad, rng: np.random.Generator) -> list[str]:
    """What units of a pad do that a PASS rules out: quiet, under one fault, or when fired."""
    lines = [line.name for line in pad.lines]

    def most(phase: str, fault: str, units: int) -> float:
        return max(abs(i) for _ in range(units) for i in unit(pad, phase, fault, "", rng).values())

    found = [f"quiet, {phase}" for phase in QUIET if most(phase, "", 30) >= pad.no_fire]
    for name in lines:
        path = [f"{name}.{fault}" for fault in ("upper 1 short", "upper 1 open", "lower open", "lower short")]
        found += [f"{p}, {fault}" for p in QUIET for fault in path if most(p, fault, UNITS) >= 0.1 * pad.no_fire]
        alone = [f"{name}.{fault}" for fault in FAULTS if not fault.startswith(("pull-down", "upper", "lower"))]
        found += [f"disarmed, {fault}" for fault in (*alone, COMMON[1]) if most("disarmed", fault, 4) >= pad.no_fire]
    whole = copy(pad)
    whole.shorts = False  # before its bridge has functioned
    for name in lines:
        if min(unit(whole, "firing", "", name, rng)[name] for _ in range(40)) < 1.5 * pad.all_fire:
            found.append(f"{name} fires too weakly")
    return found


@pytest.mark.parametrize("seed", range(3))
def test_no_pad_passes_that_a_unit_contradicts(seed: int) -> None:
    """Igniter currents, test path and stuck parts by nodes: where a unit is beyond a limit the check does not pass."""
    rng, seen = np.random.default_rng(700 + seed), Counter[tuple[str, bool]]()
    for number in range(8):
        pad = Pad(rng=np.random.default_rng([900 + seed, number]))
        pad.reset = "none" if number % 3 else pad.reset
        verdict, found = check(parse_circuit(pad.text, "pad.toml")).verdict, contradictions(pad, rng)
        assert verdict != "PASS" or not found, (seed, number, found)
        seen[verdict, bool(found)] += 1
    assert seen["PASS", False] and seen["FAIL", True]
