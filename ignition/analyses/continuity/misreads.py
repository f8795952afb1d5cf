"""How often a threshold takes one line state for another: Monte Carlo over all tolerances, with a confidence bound."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

import numpy as np

from ignition.analyses.continuity.bands import armed_states, reference_voltage, remaining_charge
from ignition.analyses.continuity.continuity import ChannelContinuity, Continuity
from ignition.analyses.no_fire.gate import phase_box
from ignition.binomial import clopper_pearson
from ignition.circuit.model import ChannelModel, Circuit
from ignition.errors import InputError
from ignition.network.solution import solve
from ignition.network.template import adc_pin, build_network
from ignition.network.worst_case import draw
from ignition.toleranced import Toleranced
from ignition.typing import BARE, BoolArray, FloatArray, Ratio

__all__ = ["Misclassification", "Misread", "misclassification", "sample_codes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Misread:
    """Readings of one state that are taken for the other, and the upper bound of their probability."""

    errors: int
    probability_at_most: Ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class Misclassification:
    """Errors of one threshold between two states.

    Attributes
    ----------
    code : Threshold [LSB]
    guaranteed : True where the worst-case bands leave a threshold; False where the one that errs least among other
        samples was taken
    confidence : Of the bounds
    """

    channel: str
    below: str
    above: str
    code: int
    guaranteed: bool
    trials: int
    confidence: Annotated[Ratio, BARE]
    below_read_as_above: Misread
    above_read_as_below: Misread


def sample_codes(
    circuit: Circuit,
    channel: ChannelModel,
    line: str,
    box: Mapping[str, Toleranced],
    rng: np.random.Generator,
    size: int,
    *,
    noise: bool = False,
) -> FloatArray:
    """Draw converter readings of one line state.

    The other channels are intact in some samples and open in the others; the total error is uniform; the sample
    capacitor starts uniformly between ground and reference. A rail that is the reference is drawn on its own.

    Parameters
    ----------
    box : Parameter bounds [SI] of the armed phase
    size : Number of samples [1]
    noise : Whether to add the converter's noise, averaged over the file's number of samples. Noise has no bound, so
        without it every sample lies in the band, with it not

    Returns
    -------
    Codes [LSB], rounded unless noise is averaged into them, shape (size,)
    """
    adc, reference = circuit.controller.adc, reference_voltage(circuit)
    states = armed_states(circuit, channel, line)
    left = remaining_charge(circuit, channel, line, box)
    parts = []
    for part, state in zip(np.array_split(np.arange(size), len(states)), states, strict=True):
        if not len(part):
            continue
        network = build_network(circuit, state)
        values = draw({n: box[n] for n in network.parameters}, rng, len(part))
        parts.append(solve(network, values).voltage(adc_pin(channel)))
    volts = np.concatenate(parts)
    scale, against = 2.0**adc.bits, reference.sample(rng, size)
    start = rng.uniform(0.0, 1.0, size) * against
    code = scale * (volts + left * (start - volts)) / against + rng.uniform(-1.0, 1.0, size) * adc.total_error
    if noise and adc.noise > 0.0:
        code = code + rng.normal(0.0, adc.noise / np.sqrt(adc.samples), size)
        return np.asarray(np.clip(code if adc.samples > 1 else np.round(code), 0.0, scale - 1.0))
    return np.asarray(np.clip(np.round(code), 0.0, scale - 1.0))


def misclassification(
    circuit: Circuit,
    result: Continuity,
    *,
    rng: np.random.Generator | int,
    size: int = 10_000,
    confidence: float = 0.95,
) -> tuple[Misclassification, ...]:
    """Estimate how often each pair of line states is confused.

    The threshold is the worst-case one where there is one. Where the bands overlap, it is the code with the fewest
    errors among other samples than those that count the errors, so that choosing it does not flatter it.

    Raises InputError for fewer than 100 samples, or a confidence outside 0 to 1.

    Parameters
    ----------
    size : Samples of each state [1], 100 or more
    confidence : One-sided confidence of the bounds [1]

    Returns
    -------
    One for each pair of states of each channel that give a reading
    """
    if size < 100 or not 0.0 < confidence < 1.0:
        raise InputError(
            f"size must be 100 or more and confidence between 0 and 1; received {size} and {confidence}; "
            "write for example size=10000, confidence=0.95"
        )
    generator = rng if isinstance(rng, np.random.Generator) else np.random.default_rng(rng)
    box = phase_box(circuit, "armed")
    found: list[Misclassification] = []
    for analysed in result.channels:
        channel = circuit.channel(analysed.channel)
        lines = [r.state for r in analysed.readings if r.band.code.low is not None]
        drawn = {s: sample_codes(circuit, channel, s, box, generator, 2 * size, noise=True) for s in lines}
        found += [
            _pair(analysed, (one, two), drawn, size, confidence)
            for index, one in enumerate(lines)
            for two in lines[index + 1 :]
        ]
    return tuple(found)


def _pair(
    analysed: ChannelContinuity,
    pair: tuple[str, str],
    drawn: Mapping[str, FloatArray],
    size: int,
    confidence: float,
) -> Misclassification:
    below, above = sorted(pair, key=lambda state: float(np.mean(drawn[state][:size])))
    given = next((t for t in analysed.thresholds if {t.below, t.above} == set(pair)), None)
    if given is not None:
        below, above, code = given.below, given.above, given.code
    else:
        code = _best(drawn[below][:size], drawn[above][:size])

    def misread(wrong: BoolArray) -> Misread:
        errors = int(np.sum(wrong))
        return Misread(errors=errors, probability_at_most=clopper_pearson(errors, size, confidence, "less").high)

    return Misclassification(
        channel=analysed.channel,
        below=below,
        above=above,
        code=code,
        guaranteed=given is not None,
        trials=size,
        confidence=confidence,
        below_read_as_above=misread(drawn[below][size:] >= code),
        above_read_as_below=misread(drawn[above][size:] < code),
    )


def _best(below: FloatArray, above: FloatArray) -> int:
    """Code with the smallest sum of both error rates."""
    candidates = np.unique(np.ceil(np.concatenate([below, above, [below.max() + 1.0]])))
    low, high = np.sort(below), np.sort(above)
    errors = (len(low) - np.searchsorted(low, candidates)) / len(low) + np.searchsorted(high, candidates) / len(high)
    return int(candidates[int(np.argmin(errors))])
