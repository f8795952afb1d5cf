"""The firing tree and the divider's closed form are the network's: an element that only one of them has is an error."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from ignition.analyses.cluster.how_many import how_many
from ignition.analyses.divider.demands import divider_duty
from ignition.analyses.divider.metrics import hold_divider_to_network
from ignition.analyses.divider.search import divider_search
from ignition.analyses.firing.capacitor_bank import discharge
from ignition.analyses.firing.firing import firing
from ignition.analyses.firing.sequence import hold_tree_to_network
from ignition.analyses.trials.trials import firing_trials
from ignition.circuit.examples import example_names, load_example
from ignition.circuit.model import ChannelModel, Circuit
from ignition.errors import NetworkError
from ignition.network import template
from ignition.network.elements import GROUND, Element
from ignition.network.template import State, adc_pin, drain
from ignition.toleranced import Toleranced
from tests.analyses.firing.firing_cases import firing_circuit
from tests.analyses.firing.test_bounds import random_circuit

BANK = 'capacitor_bank = { capacitance = "10 mF", series_resistance = "40 mohm", recharge_resistance = "1 kohm" }'
Change = Callable[[list[Element], ChannelModel], list[Element]]


def agree(circuit: Circuit) -> None:
    """Hold the tree and every channel's closed form to the network."""
    hold_tree_to_network(circuit)
    for channel in circuit.channels:
        if channel.high_side is None or channel.high_side.around is not None:
            hold_divider_to_network(circuit, channel, divider_duty(circuit, channel, 0.01))


@pytest.mark.parametrize("name", example_names())
def test_examples_agree(name: str) -> None:
    """Every example is one circuit in all three forms."""
    agree(load_example(name))


def test_random_circuits_agree() -> None:
    """So are circuits at random, from batteries and banks, the controller on either side of the arm switch."""
    circuits = [random_circuit(seed) for seed in range(120)]
    for circuit in circuits:
        agree(circuit)
    kinds = {(c.battery.bank_capacitance is None, c.controller.powered_before_arm_switch) for c in circuits}
    assert len(kinds) == 4


def test_a_gate_that_nothing_holds_is_no_mismatch() -> None:
    """Where the MOSFET may pass more than the line carries the closed form is a bound: the search still answers."""
    circuit = load_example("tether-cutter")
    wide = replace(
        circuit.mosfets["low_side"], leakage_cool=Toleranced.exact(50.0, "A"), leakage_hot=Toleranced.exact(50.0, "A")
    )
    assert divider_search(replace(circuit, mosfets={"low_side": wide}), series="E6").evaluated > 0


def changed(monkeypatch: pytest.MonkeyPatch, change: Change) -> None:
    """Let the template build every channel with a change."""
    build = template._channel
    monkeypatch.setattr(template, "_channel", lambda c, state: change(build(c, state), c))


def extra(plus: str, minus: str) -> Change:
    """One more resistor, as large as the divider's upper one; `{}` is the channel's name."""

    def change(elements: list[Element], channel: ChannelModel) -> list[Element]:
        return [
            *elements,
            Element(
                name=f"{channel.name}.extra",
                kind="resistor",
                plus=plus.format(channel.name),
                minus=minus.format(channel.name),
                resistance=((f"{channel.name}.upper", 1.0),),
            ),
        ]

    return change


def longer_lead(elements: list[Element], channel: ChannelModel) -> list[Element]:
    """A lead whose way out counts a hundredth more."""
    name = f"{channel.name}.lead"
    return [replace(e, resistance=((name, 0.505),)) if e.name == f"{name} out" else e for e in elements]


IN_THE_LINE = [extra("bus", GROUND), extra("{}.line out", "{}.line back"), longer_lead]
VERBS: dict[str, Callable[[Circuit], object]] = {
    "firing": firing,
    "trials": lambda circuit: firing_trials(circuit, 100),
    "discharge": discharge,
    "how many": how_many,
}


@pytest.mark.parametrize("change", IN_THE_LINE)
@pytest.mark.parametrize("verb", VERBS)
def test_an_element_that_the_tree_lacks_is_an_error(verb: str, change: Change, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing that marches the tree answers once the network has another element; both numbers are named."""
    circuit = firing_circuit([["match"], ["match"]], lead="0.1 ohm", battery=BANK if verb == "discharge" else "")
    VERBS[verb](circuit)
    changed(monkeypatch, change)
    with pytest.raises(NetworkError, match=r"the firing tree gives [\d.]+ A through channel 1\.igniter 1\.1") as error:
        VERBS[verb](circuit)
    ours, theirs = (float(n) for n in re.findall(r"([\d.]+) A", str(error.value)))
    assert ours != theirs and ours == pytest.approx(theirs, rel=1e-2)


@pytest.mark.parametrize(
    "change", [*IN_THE_LINE, extra("bus", "{}.tap"), extra("{}.adc pin", GROUND), extra("{}.drain", GROUND)]
)
def test_an_element_that_the_divider_lacks_is_an_error(change: Change, monkeypatch: pytest.MonkeyPatch) -> None:
    """The search refuses to choose resistors for another network than the circuit's; both numbers are named."""
    circuit = load_example("tether-cutter")
    divider_search(circuit, series="E6")
    changed(monkeypatch, change)
    with pytest.raises(NetworkError, match=r"closed form gives \S+ [AV] (through|at) cutter\..*, the network \S+ [AV]"):
        divider_search(circuit, series="E6")


def test_names_of_the_changes_are_the_template_s() -> None:
    """The nodes that the changes use are there: a typing mistake would make a floating node of each."""
    circuit = load_example("tether-cutter")
    nodes = template.build_network(circuit, State(phase="armed")).nodes
    channel = circuit.channels[0]
    wanted = {"bus", drain(channel), adc_pin(channel), "cutter.tap", "cutter.line out", "cutter.line back"}
    assert wanted <= set(nodes)
