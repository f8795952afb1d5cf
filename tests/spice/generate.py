"""Random circuits, the same for the same seed: texts of complete circuit files."""

from __future__ import annotations

import json

import numpy as np

__all__ = ["circuit_text"]


def _range(rng: np.random.Generator, low: float, high: float, unit: str, spread: float = 0.3) -> str:
    """Text of a value between two bounds on a logarithmic scale, with a tolerance of up to `spread` either way."""
    nominal = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    below, above = rng.uniform(0.0, spread, 2)
    values = (nominal * (1.0 - below), nominal, nominal * (1.0 + above))
    return json.dumps(" .. ".join(f"{value:.6g} {unit}" for value in values))


def _strings(rng: np.random.Generator, igniters: int, kinds: int) -> list[list[str]]:
    """Igniters of one channel: one string, all in parallel, or mixed."""
    names = [f"type {int(rng.integers(kinds)) + 1}" for _ in range(igniters)]
    shape = rng.choice(["series", "parallel", "mixed"])
    if shape == "series":
        return [names]
    if shape == "parallel":
        return [[name] for name in names]
    count = int(rng.integers(0, igniters))
    cuts = sorted(int(c) for c in rng.choice(np.arange(1, igniters), size=count, replace=False))
    return [names[a:b] for a, b in zip([0, *cuts], [*cuts, igniters], strict=True)]


def _contacts(rng: np.random.Generator) -> list[str]:
    """Contacts in and across a line, each in one channel out of four."""
    around = '"none"' if rng.random() < 0.2 else _range(rng, 1e3, 1e5, "ohm", 0.05)
    lines = [
        f"high_side = {{ resistance = {_range(rng, 0.005, 0.1, 'ohm')}, around = {around} }}",
        f"return_contact = {_range(rng, 0.005, 0.1, 'ohm')}",
        f"shunt = {_range(rng, 0.005, 0.1, 'ohm')}",
    ]
    return [line for line, fitted in zip(lines, rng.random(3) < 0.25, strict=True) if fitted]


def _channel(rng: np.random.Generator, name: str, igniters: int, kinds: int) -> list[str]:
    lines = [
        "[[channel]]",
        f"name = {json.dumps(name)}",
        f"igniters = {json.dumps(_strings(rng, igniters, kinds))}",
        'mosfet = "switch"',
        'pulse = "500 ms"',
        f"lead = {{ resistance = {_range(rng, 0.01, 2.0, 'ohm')}, joints = {_range(rng, 0.001, 0.2, 'ohm')} }}",
        "gate = { series = '100 ohm', pull_down = '10 kohm' }",
    ]
    if rng.random() < 0.5:
        branch = _range(rng, 0.01, 0.5, "ohm")
        lines.append(f"branch = {{ resistance = {branch}, joints = '0 ohm .. 10 mohm .. 50 mohm' }}")
    sense = [f"upper = {_range(rng, 1e3, 1e6, 'ohm', 0.05)}", f"lower = {_range(rng, 1e3, 1e6, 'ohm', 0.05)}"]
    if rng.random() < 0.5:
        sense.append(f"pin_resistor = {_range(rng, 100.0, 1e4, 'ohm', 0.05)}")
    return [*lines, f"sense = {{ {', '.join(sense)} }}"]


def _supply(rng: np.random.Generator) -> list[str]:
    lines = [
        "[battery]",
        f"open_circuit_voltage = {_range(rng, 3.0, 15.0, 'V', 0.15)}",
        f"resistance = {_range(rng, 0.01, 1.0, 'ohm')}",
    ]
    feed = ["arm switch"] + [str(k) for k in rng.choice(["fuse", "connector", "interlock"], int(rng.integers(0, 3)))]
    rng.shuffle(feed)
    for position, kind in enumerate(feed):
        lines += ["[[feed]]", f'name = "{kind} {position}"', f'kind = "{kind}"']
        lines.append(f"resistance = {_range(rng, 0.002, 0.2, 'ohm')}")
    for position in range(int(rng.integers(0, 3))):
        lines += ["[[load]]", f'name = "load {position}"', f"current = {_range(rng, 0.01, 0.5, 'A')}"]
    before = rng.random() < 0.5
    return [
        *lines,
        "[controller]",
        f'powered_by = "{"before" if before else "after"} arm switch"',
        'supply = "3.3 V ± 2 %"',
        f"current = {_range(rng, 0.01, 0.2, 'A')}",
        "[controller.pin]",
        f"leakage = {_range(rng, 1e-8, 1e-6, 'A')}",
        "clamp_resistance = '0 ohm'" if rng.random() < 0.1 else f"clamp_resistance = {_range(rng, 5.0, 100.0, 'ohm')}",
        "[controller.adc]",
        "bits = 12",
        'reference = "3.3 V ± 1 %"',
        f"leakage = {_range(rng, 1e-9, 1e-6, 'A')}",
    ]


def circuit_text(seed: int, most_channels: int = 3, most_igniters: int = 6) -> str:
    """Circuit file of up to 3 channels and 6 igniters, with or without branch, contacts, loads and pin resistor."""
    rng = np.random.default_rng(seed)
    channels = int(rng.integers(1, most_channels + 1))
    igniters = int(rng.integers(channels, most_igniters + 1))
    kinds = int(rng.integers(1, 3))
    lines = ["format = 1", f'title = "random circuit {seed}"', *_supply(rng)]
    for kind in range(kinds):
        lines += [f'[igniter."type {kind + 1}"]', f"bridge_resistance = {_range(rng, 0.2, 5.0, 'ohm')}"]
        lines.append("no_fire = { current = '0.2 A', duration = '300 s', reliability = 0.999, confidence = 0.95 }")
        lines.append("all_fire = { current = '0.9 A', duration = '50 ms', reliability = 0.999, confidence = 0.95 }")
        lines.append("time_constant = '12 ms'")
    lines += [
        "[mosfet.switch]",
        'threshold = "1.1 V .. 1.6 V .. 2.2 V"',
        f"on_resistance = [{{ gate = '2.5 V', resistance = {_range(rng, 0.005, 0.2, 'ohm')} }}]",
        f"leakage = {{ cool = {_range(rng, 1e-8, 1e-5, 'A')} }}",
    ]
    counts = np.ones(channels, dtype=int)
    for _ in range(igniters - channels):
        counts[int(rng.integers(channels))] += 1
    more = np.random.default_rng(seed + 50_000)
    for index, count in enumerate(counts):
        lines += _channel(rng, f"channel {index + 1}", int(count), kinds) + _contacts(more)
    return "\n".join(lines) + "\n"
