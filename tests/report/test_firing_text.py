"""Trial firings, rare failures, influences and bank discharges as text and JSON."""

from __future__ import annotations

import io
import json
from collections.abc import Callable

import pytest
from rich.console import Console

from ignition.analyses.firing.capacitor_bank import discharge
from ignition.analyses.trials.influence import influence
from ignition.analyses.trials.rare_failures import RareFailure, rare_failure
from ignition.analyses.trials.trials import firing_trials
from ignition.circuit.examples import load_example
from ignition.report import firing_text as out
from ignition.report.json_walk import as_json, to_json
from tests.analyses.firing.firing_cases import firing_circuit


def printed(show: Callable[[Console], None]) -> str:
    """What is printed, in 80 columns."""
    file = io.StringIO()
    show(Console(file=file, width=80, color_system=None))
    assert max((len(line) for line in file.getvalue().splitlines()), default=0) <= 80
    return file.getvalue()


def test_times_and_skew() -> None:
    """Quantiles ascend, the histogram holds every trial, and the text names its limits."""
    trials = firing_trials(load_example("demo"), 3000)
    found = json.loads(to_json(trials))
    times = found["igniters"][0]["function_time"]
    order = [times[k] for k in ("least", "q0.01", "q0.05", "q0.5", "q0.95", "q0.99", "most")]
    assert order == sorted(order) and times["number"] == 3000
    assert sum(found["channels"][0]["skew_histogram"]["counts"]) == 3000
    text = printed(lambda console: out.spread_of_times_text(trials, console))
    assert "boosters.igniter 1.1" in text and "Electrical only" in text and "###" in text


def test_nothing_functioned() -> None:
    """Where nothing functions every quantile is null and the reason stands beside it."""
    circuit = firing_circuit(resistance="1.2235 ohm", controller='brown_out = "2.9 V"')
    found = json.loads(to_json(firing_trials(circuit, 100)))
    time = found["igniters"][0]["function_time"]
    assert time["q0.5"] is None and time["reason"] == "it functioned in no trial"
    assert found["channels"][0]["skew_histogram"]["counts"] == []


def test_rare_failure_is_never_without_its_interval() -> None:
    """Probability, interval and runs stand together."""
    result = rare_failure(firing_circuit(voltage="3.2 V .. 5 V", bridge="5 ohm", pulse="50 ms"), samples=1000, runs=3)
    found = json.loads(to_json(result))
    assert found["interval_95"][0] <= found["probability_failure"] <= found["interval_95"][1]
    text = printed(lambda console: out.rare_text(result, console))
    assert "between" in text and "95 %" in text


@pytest.mark.parametrize(
    ("probability", "reason", "words"),
    [(None, "the order decides", "no probability: the order decides"), (0.0, None, "not zero")],
)
def test_rare_failure_without_a_number(probability: float | None, reason: str | None, words: str) -> None:
    """No number: the reason; no failure met: a bound, never zero."""
    result = RareFailure(
        circuit="x",
        probability=probability,
        runs=(0.0,) * 3,
        floor=1e-12,
        samples=200,
        firings=0,
        seed=0,
        reason=reason,
    )
    assert words in printed(lambda console: out.rare_text(result, console))
    found = as_json(result)
    assert found["probability_failure"] is None and found["reason"]


def test_influence() -> None:
    """The largest share comes first; a refusal has its reason."""
    result = influence(load_example("tether-cutter"), samples=256)
    found = json.loads(to_json(result))
    assert found["inputs"][0]["input"] == "threshold of cutter"
    assert "threshold of cutter" in printed(lambda console: out.influence_text(result, console))
    refused = influence(load_example("unknown-igniter"), samples=64)
    assert "no answer: igniter 'unmarked'" in printed(lambda console: out.influence_text(refused, console))


def test_discharge() -> None:
    """Energy, droop and recharge of a bank."""
    table = (
        'capacitor_bank = { capacitance = "1000 uF", series_resistance = "0.2 ohm", recharge_resistance = "100 ohm" }'
    )
    result = discharge(firing_circuit([["match"], ["match"]], voltage="12 V", battery=table))
    found = json.loads(to_json(result))
    # 147 kohm of divider take 8 mV of 12 V over 100 ohm and the battery
    assert found["stored_energy"]["nominal"] == pytest.approx(0.072 * (1.0 - 100.1 / 147e3) ** 2, rel=1e-6)
    assert found["channels"][0]["igniters"][0]["energy"]["low"] is None
    text = printed(lambda console: out.discharge_text(result, console))
    assert "holds 71.8 mJ .. 71.9 mJ .. 72 mJ" in text and "several igniters share the bank" in text
