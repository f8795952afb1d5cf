"""Monte Carlo readings: inside the worst-case bands, reproducible, with a confidence bound that is known by hand."""

from __future__ import annotations

import numpy as np
import pytest

from ignition.analyses.continuity.continuity import continuity
from ignition.analyses.continuity.misreads import misclassification, sample_codes
from ignition.analyses.continuity.thresholds import integer_codes
from ignition.analyses.no_fire.gate import phase_box
from ignition.circuit.model import Circuit
from ignition.errors import InputError
from tests.analyses.sense_circuits import bench, cluster

SAMPLED = 'sample_capacitance = "10 pF"\nacquisition_time = "1 us"'
CIRCUITS = {
    "bench": bench(),
    "errors": bench(total_error="4", leakage="1 uA", adc=SAMPLED),
    "ratiometric": bench(total_error="4", reference="ratiometric = true"),
    "cluster": cluster(sense='upper = "30 ohm ± 1 %", lower = "12 ohm ± 1 %"', total_error="2"),
    "two channels": bench(channels=2, sense='upper = "300 ohm ± 5 %", lower = "120 ohm ± 5 %"', leakage="1 uA"),
    "normal": bench(
        voltage="7.0 V .. 7.6 V .. 8.4 V",
        sense='upper = { value = "100 kohm ± 5 %", distribution = "normal" }, lower = "33 kohm ± 5 %"',
    ),
}


@pytest.mark.parametrize("name", CIRCUITS)
def test_every_sample_lies_in_its_band(name: str) -> None:
    """No sample of any state leaves the worst-case codes."""
    circuit = CIRCUITS[name]
    channel = circuit.channels[0]
    box = phase_box(circuit, "armed")
    rng = np.random.default_rng(11)
    for reading in continuity(circuit).channels[0].readings:
        span = integer_codes(reading.band.code)
        assert span is not None
        codes = sample_codes(circuit, channel, reading.state, box, rng, 600)
        assert span[0] <= codes.min() and codes.max() <= span[1], reading.state


def test_one_seed_one_answer() -> None:
    """The same seed gives the same rates, another one others."""
    circuit = bench()
    result = continuity(circuit)
    first = misclassification(circuit, result, rng=7, size=300)
    again = misclassification(circuit, result, rng=np.random.default_rng(7), size=300)
    assert first == again
    assert first != misclassification(circuit, result, rng=8, size=300)


def rates(circuit: Circuit) -> dict[frozenset[str], tuple[bool, float, float]]:
    """For each pair: whether guaranteed, and the two shares of errors."""
    found = misclassification(circuit, continuity(circuit), rng=3, size=2000)
    return {
        frozenset((m.below, m.above)): (
            m.guaranteed,
            m.below_read_as_above.errors / m.trials,
            m.above_read_as_below.errors / m.trials,
        )
        for m in found
    }


def test_a_reading_at_the_threshold_counts_as_above(monkeypatch: pytest.MonkeyPatch) -> None:
    """The threshold's own code is the first of the upper state: no error there, all errors one code below."""
    circuit = bench()
    result = continuity(circuit)
    code = next(t.code for t in result.channels[0].thresholds if (t.below, t.above) == ("open", "intact"))
    for shift, errors in ((0, 0), (-1, 100)):
        monkeypatch.setattr(
            "ignition.analyses.continuity.misreads.sample_codes",
            lambda *words, shift=shift, **more: np.full(words[5], float(code + shift)),
        )
        found = misclassification(circuit, result, rng=0, size=100)
        pair = next(m for m in found if (m.below, m.above) == ("open", "intact"))
        assert pair.above_read_as_below.errors == errors and pair.below_read_as_above.errors == 100 - errors


def test_guaranteed_thresholds_never_err_without_noise() -> None:
    """Where the bands leave a threshold there is no error; where states are the same, a guess."""
    found = rates(bench())
    guaranteed, low, high = found[frozenset(("open", "intact"))]
    assert (guaranteed, low, high) == (True, 0.0, 0.0)
    guaranteed, low, high = found[frozenset(("shorted", "intact"))]
    assert not guaranteed
    assert low + high == pytest.approx(1.0, abs=0.06)


def test_partly_overlapping_bands_err_sometimes() -> None:
    """With a low divider one open string of three is mostly, not always, told from all intact."""
    circuit = cluster(
        voltage="7.5 V .. 7.6 V .. 7.7 V",
        bridge="0.9 ohm .. 1.0 ohm .. 1.1 ohm",
        lead='{ resistance = "0.1 ohm", joints = "0 ohm" }',
        sense='upper = "3 ohm ± 1 %", lower = "2 ohm ± 1 %"',
    )
    guaranteed, low, high = rates(circuit)[frozenset(("one string open", "intact"))]
    assert not guaranteed
    assert 0.01 < low + high < 0.6


def test_noise_makes_errors_that_averaging_removes() -> None:
    """Noise of the size of the dead band errs; the average of 400 readings hardly does."""
    noisy = rates(bench(adc="noise = 800.0"))[frozenset(("open", "intact"))]
    calm = rates(bench(adc="noise = 800.0\nsamples = 400"))[frozenset(("open", "intact"))]
    assert noisy[1] > 0.03
    assert calm[1] == 0.0


def test_bounds_hold_the_shares() -> None:
    """Each bound lies above the share seen."""
    circuit = bench()
    for m in misclassification(circuit, continuity(circuit), rng=1, size=200, confidence=0.9):
        for wrong in (m.below_read_as_above, m.above_read_as_below):
            assert wrong.probability_at_most >= wrong.errors / m.trials
        assert m.confidence == 0.9


@pytest.mark.parametrize(("size", "confidence"), [(99, 0.95), (1000, 0.0), (1000, 1.0), (1000, float("nan"))])
def test_wrong_requests_are_refused(size: int, confidence: float) -> None:
    """Too few samples and impossible confidences are refused."""
    circuit = bench()
    with pytest.raises(InputError, match="100 or more and confidence between"):
        misclassification(circuit, continuity(circuit), rng=1, size=size, confidence=confidence)
