"""Results that are kept: questions alike in their inputs are answered once, and inputs are all that answers depend on.

Every leaf of a circuit that has every part is varied. What an analysis is said not to read may be anything, all of it
together: its answer stays. A leaf that it reads and that its inputs leave out changes the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any

import pytest

from ignition.analyses.faults.circuit_board import every_board
from ignition.analyses.faults.single import SingleFaults, board_fault_currents, single_fault_inputs
from ignition.analyses.no_fire import switch_on as edges
from ignition.analyses.no_fire.switch_on import SwitchOn, edge_inputs
from ignition.circuit.file import parse_circuit
from ignition.circuit.model import Circuit
from ignition.kept import Kept
from ignition.toleranced import Toleranced
from tests.circuit.edits import edited
from tests.circuit.fitted import CLUB_MONITOR, SECOND, TRUNK
from tests.circuit.sound import SOUND

Path = tuple[Any, ...]

FEED = """[[feed]]
name = "trip"
kind = "resettable fuse"
resistance = "20 mohm .. 30 mohm"
hold_current = "2 A .. 3 A"
trip_i2t = "20 A^2 s .. 40 A^2 s"
derating = 1

"""
LAMP = """
[[load]]
name = "lamp"
current = "0.1 A"

[controller]"""
LINE = """branch = { resistance = "20 mohm", inductance = "50 nH", capacitance = "20 pF", joints = "1 mohm" }
high_side = { resistance = "20 mohm", around = "0.5 ohm .. 1 ohm" }
shunt = "50 mohm"
gate = {"""


def other_channel(text: str) -> str:
    """The text with its channel once more under another name, with a contact in the return and a plain string."""
    own = text[text.index("[[channel]]") : text.index("[checklist]")]
    swaps = (('"line"', '"other"'), ('[["match"], ["match", "match"]]', '[["match"]]'))
    swaps += (('shunt = "50 mohm"', 'return_contact = "15 mohm"'),)
    return text.replace("[checklist]", f"{edited(own, *swaps)}\n[checklist]", 1)


WHOLE = other_channel(
    edited(
        SOUND,
        ("[controller]", FEED + TRUNK + LAMP),
        ('protection = "none"', 'protection = "none"\ncapacitor_bank = { capacitance = "1 F", series_resistance = "20 mohm", recharge_resistance = "1 kohm" }'),
        ('reset_pull_up = "none"', 'reset_pull_up = "20 kohm .. 50 kohm"\nreset_pull_down = "200 kohm"'),
        ('[["match"]]', '[["match"], ["match", "match"]]'),
        ("gate = {", LINE),
        ('pull_down = "10 kohm"', 'pull_down = ["200 kohm", "200 kohm"]'),
        ("sense = {", SECOND),
        ('filter = "100 nF"', 'filter = "100 nF", pin_resistor = "10 kohm"'),
        ('capacitor = "10 nF"', 'capacitor = "10 pF"'),
    )
) + f"\n{CLUB_MONITOR}"  # fmt: skip
"""A circuit that has every part, and whose edge has to be integrated."""


def leaves(node: Any, path: Path = ()) -> Iterator[Path]:
    """Every value inside a circuit, but for those of the file that it was made of."""
    if is_dataclass(node) and not isinstance(node, Toleranced):
        for field in fields(node):
            if field.name not in ("given", "assumptions"):
                yield from leaves(getattr(node, field.name), (*path, field.name))
    elif isinstance(node, Mapping):
        for key in node:
            yield from leaves(node[key], (*path, key))
    elif isinstance(node, tuple):
        for place, one in enumerate(node):
            yield from leaves(one, (*path, place))
    else:
        yield path


def varied(node: Any, path: Path, factor: float) -> Any:
    """The circuit with one value changed; as it was where that cannot be."""
    if path:
        first, rest = path[0], path[1:]
        if isinstance(node, Mapping):
            return {**node, first: varied(node[first], rest, factor)}
        if isinstance(node, tuple):
            return (*node[:first], varied(node[first], rest, factor), *node[first + 1 :])
        return replace(node, **{first: varied(getattr(node, first), rest, factor)})
    if isinstance(node, Toleranced):
        ends = {end: getattr(node, end) for end in ("low", "nominal", "high")}
        if node.unit == "degC":
            return replace(node, **{end: value + 20.0 * (factor - 1.0) for end, value in ends.items()})
        shift = 0.0 if any(ends.values()) else 1e-6
        return replace(node, **{end: value * factor + shift for end, value in ends.items()})
    if isinstance(node, bool):
        return not node
    if isinstance(node, int):
        return node + 1
    if isinstance(node, float):
        return node * factor or 1e-3
    return f"{node}'" if isinstance(node, str) else node


def edge_of(circuit: Circuit) -> object:
    """The arming edge of a circuit, to the last corner."""
    found: list[SwitchOn] = edges._switch_ons([circuit], False, True)
    return found, [(one.ends, one.corner) for channel in found[0].channels for one in channel.igniters]


def faults_of(circuit: Circuit) -> SingleFaults:
    """Single faults of a circuit."""
    return board_fault_currents(every_board(circuit))


@pytest.mark.parametrize("factor", [1.07, 0.93])
@pytest.mark.parametrize(
    ("inputs", "analyse", "read"), [(edge_inputs, edge_of, 90), (single_fault_inputs, faults_of, 90)]
)
def test_inputs_are_all_that_an_answer_depends_on(
    inputs: Callable[[Circuit], Hashable], analyse: Callable[[Circuit], object], read: int, factor: float
) -> None:
    """What the inputs leave out may be anything: not one bit of the answer changes."""
    circuit = parse_circuit(WHOLE, "whole.toml")
    own, every = inputs(circuit), list(leaves(circuit))
    names = ("kind", "mosfet")  # another word there is no circuit
    left = [path for path in every if path[-1] not in names and inputs(varied(circuit, path, factor)) == own]
    other = circuit
    for path in left:
        other = varied(other, path, factor)
    assert inputs(other) == own and other != circuit
    assert len(every) - len(left) > read and len(left) > 30
    assert analyse(other) == analyse(circuit), left


def test_the_circuit_has_every_part() -> None:
    """Nothing that a part of the circuit may have is missing, so that every input is varied; its edge is integrated."""
    circuit = parse_circuit(WHOLE, "whole.toml")
    assert circuit.battery.bank_capacitance and circuit.battery.recharge_resistance and circuit.loads
    pin, first, second = circuit.controller.pin, *circuit.channels
    assert isinstance(pin.reset_pull_up, Toleranced) and pin.reset_pull_down
    assert first.branch and first.high_side and first.high_side.around and first.shunt and second.return_contact
    assert first.second and first.second.pull_ups and first.bus_divider and first.filter and first.gate_capacitor
    assert any(one.model is not None for one in edges.switch_on(circuit).channels[0].igniters)


def test_a_question_is_answered_once() -> None:
    """Questions alike are asked once, in their order; of more than are kept, the one not asked for the longest goes."""
    asked: list[list[float]] = []

    def squares(questions: list[float]) -> list[float]:
        asked.append(questions)
        return [one * one for one in questions]

    kept = Kept[float, float](inputs=abs, size=2)
    assert kept.answers([1.0, -2.0, 2.0, -1.0], squares) == [1.0, 4.0, 4.0, 1.0]
    assert kept.answers([2.0, 3.0], squares) == [4.0, 9.0]
    assert kept.answers([2.0], squares) == [4.0]
    assert asked == [[1.0, -2.0], [3.0]]
    assert kept.answers([1.0, 3.0, 2.0, 4.0, 5.0], squares) == [1.0, 9.0, 4.0, 16.0, 25.0]
    assert asked[2:] == [[1.0, 4.0, 5.0]]
    assert kept.answers([], squares) == [] and len(asked) == 3
