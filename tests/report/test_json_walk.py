"""The walk from results to JSON: every kind of field, every result of every example, the keys that others rely on."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from importlib import resources
from typing import Annotated, Any, get_args, get_type_hints

import pytest

from ignition.analyses.cluster.answer import ClusterAnswer, cluster
from ignition.analyses.continuity.continuity import Continuity, continuity
from ignition.analyses.continuity.firmware import Firmware, firmware
from ignition.analyses.continuity.misreads import Misclassification, misclassification
from ignition.analyses.continuity.requirement import Requirement, requirements
from ignition.analyses.divider.search import DividerSearch, divider_search
from ignition.analyses.firing.capacitor_bank import Discharge, discharge
from ignition.analyses.firing.firing import Firing, firing
from ignition.analyses.no_fire.steady import NoFire
from ignition.analyses.trials.influence import Influence, influence
from ignition.analyses.trials.rare_failures import RareFailure, rare_failure
from ignition.analyses.trials.trials import (
    FiringTrials,
    ProbabilityAllFire,
    firing_trials,
    probability_all_fire,
)
from ignition.analyses.verdict import check
from ignition.circuit.examples import example_names, load_example
from ignition.circuit.few_inputs import FewInputs
from ignition.circuit.model import Circuit
from ignition.foreign.analysis import analyse_foreign
from ignition.foreign.check import check_netlist
from ignition.foreign.reader import parse_netlist
from ignition.foreign.results import ForeignCheck, ForeignResult
from ignition.foreign.roles import parse_roles
from ignition.report.contract import check_dict
from ignition.report.json_walk import as_json, to_json
from ignition.spice.crosscheck import Comparison, CrosscheckResult
from ignition.toleranced import Spread, Toleranced
from ignition.typing import BARE, HIDDEN, INLINE, Amps, Celsius, Key, Missing, Ohms, Ratio, Unit
from ignition.units import UNIT_NAMES
from tests.analyses.firing.firing_cases import firing_circuit
from tests.analyses.sense_circuits import bench
from tests.analyses.sense_circuits import cluster as cluster_circuit

RESULTS = (
    ClusterAnswer, Continuity, CrosscheckResult, Discharge, DividerSearch, Firing, FiringTrials, Firmware,
    ForeignCheck, ForeignResult, Influence, Misclassification, NoFire, ProbabilityAllFire, RareFailure, Requirement,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Inner:
    """Fields that stand among those of the class that holds them."""

    voltage: Annotated[Ratio | None, Missing(field="", otherwise="never measured")]
    name: str = "inner"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outer:
    """One field of each kind."""

    plain: Amps
    renamed: Annotated[Ohms, Key("resistance")]
    absent: Annotated[Amps | None, Missing(otherwise="no current")]
    excused: Annotated[Amps | None, Missing(field="says", otherwise="unused")]
    endless: Annotated[Amps, Missing(infinite="no end")]
    bare: Annotated[Ratio, BARE]
    bare_absent: Annotated[Ratio | None, BARE, Missing(otherwise="not asked")]
    cold: Annotated[Celsius, BARE]
    number: int
    no_number: Annotated[int | None, Missing(otherwise="no code")]
    unexplained: Ohms | None
    flag: bool
    word: str
    nothing: str | None
    secret: Annotated[float, HIDDEN]
    spread: Spread
    value: Toleranced
    several: tuple[Amps, ...]
    pairs: tuple[tuple[str, str], ...]
    table: Mapping[str, Spread]
    inner: Annotated[Inner, INLINE]
    nested: tuple[Inner, ...]
    remarked: Annotated[Amps, Missing(field="says", always=True)]
    says: Annotated[str, HIDDEN] = "said so"

    @property
    def twice(self) -> Annotated[Amps, Key("doubled")]:
        """Written, since it has a key."""
        return 2.0 * self.plain

    @property
    def silent(self) -> Amps:
        """Not written."""
        return 0.0


def outer(**changed: Any) -> Outer:
    """The made-up result with some values changed."""
    usual: dict[str, Any] = {
        "plain": 1.5, "renamed": 4, "absent": None, "excused": None, "endless": math.inf, "bare": 0.5,
        "bare_absent": None, "cold": -5.0, "number": 3, "no_number": None, "unexplained": None, "flag": True,
        "word": "µ", "nothing": None, "secret": math.nan,
        "spread": Spread(low=None, nominal=2.0, high=3.0, unit="s", reason="may not function"),
        "value": Toleranced(low=1.0, nominal=2.0, high=3.0, unit="V", distribution="normal"),
        "several": (1.0, 2.0), "pairs": (("a", "b"),), "table": {"x": Spread(low=1.0, nominal=1.0, high=1.0, unit="V")},
        "inner": Inner(voltage=None), "nested": (Inner(voltage=0.5, name="one"),), "remarked": 7.0,
    }  # fmt: skip
    return Outer(**(usual | changed))


def test_every_kind_of_field() -> None:
    """Each kind of field has its form."""
    assert as_json(outer()) == {
        "plain": {"value": 1.5, "unit": "A"},
        "resistance": {"value": 4, "unit": "ohm"},
        "absent": {"value": None, "unit": "A", "reason": "no current"},
        "excused": {"value": None, "unit": "A", "reason": "said so"},
        "endless": {"value": None, "unit": "A", "reason": "no end"},
        "bare": 0.5,
        "bare_absent": None,
        "bare_absent_reason": "not asked",
        "cold": -5.0,
        "number": 3,
        "no_number": None,
        "no_number_reason": "no code",
        "unexplained": {"value": None, "unit": "ohm", "reason": "not known"},
        "flag": True,
        "word": "µ",
        "nothing": None,
        "spread": {"low": None, "nominal": 2.0, "high": 3.0, "unit": "s", "reason": "may not function"},
        "value": {"low": 1.0, "nominal": 2.0, "high": 3.0, "unit": "V"},
        "several": [{"value": 1.0, "unit": "A"}, {"value": 2.0, "unit": "A"}],
        "pairs": [["a", "b"]],
        "table": {"x": {"low": 1.0, "nominal": 1.0, "high": 1.0, "unit": "V"}},
        "voltage": {"value": None, "unit": "1", "reason": "never measured"},
        "name": "inner",
        "nested": [{"voltage": {"value": 0.5, "unit": "1"}, "name": "one"}],
        "remarked": {"value": 7.0, "unit": "A", "reason": "said so"},
        "doubled": {"value": 3.0, "unit": "A"},
        "units": {"cold": "degC"},
    }


@pytest.mark.parametrize(
    ("changed", "error"),
    [
        ({"plain": math.nan}, ValueError),
        ({"endless": math.nan}, ValueError),
        ({"remarked": math.nan}, ValueError),
        ({"bare": math.nan}, ValueError),
        ({"plain": math.inf}, ValueError),
        ({"absent": -math.inf}, ValueError),
        ({"several": (1.0, math.inf)}, ValueError),
        ({"spread": Spread(low=math.nan, nominal=1.0, high=1.0, unit="A", reason="a reason")}, ValueError),
        ({"spread": Spread(low=0.0, nominal=1.0, high=math.inf, unit="A")}, ValueError),
        ({"word": 1.0}, TypeError),
        ({"word": {1, 2}}, TypeError),
        ({"word": {"x": 1.0}}, TypeError),
    ],
)
def test_what_is_no_json_is_an_error(changed: dict[str, Any], error: type[Exception]) -> None:
    """NaN, an infinite number that nothing explains, a number without a unit, and what is no result are refused."""
    with pytest.raises(error, match=r"received|nothing says why"):
        as_json(outer(**changed))


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """A number whose reason stands beside it."""

    count: int | None
    current: Amps | None
    reason: str | None


def test_reason_beside_the_number() -> None:
    """A reason that is written anyway is not written twice, and not beside a number that is there."""
    none = {"value": None, "unit": "A", "reason": "why"}
    assert as_json(Counted(count=None, current=None, reason="why")) == {
        "count": None, "current": none, "reason": "why",
    }  # fmt: skip
    there = as_json(Counted(count=2, current=1.0, reason="why"))
    assert there == {"count": 2, "current": {"value": 1.0, "unit": "A"}, "reason": "why"}
    assert as_json(Counted(count=None, current=1.0, reason=None))["count_reason"] == "not known"


def test_reason_of_a_spread() -> None:
    """A spread without a reason has no such key; one that lacks a bound always has."""
    whole, part = Spread(low=1.0, nominal=1.0, high=1.0, unit="A"), Spread(low=None, nominal=1.0, high=1.0, unit="A")
    assert "reason" not in as_json(whole)
    assert as_json(part)["reason"] == "not known"
    endless = Spread(low=0.0, nominal=1.0, high=math.inf, unit="s", reason="never ends")
    assert as_json(endless) == {"low": 0.0, "nominal": 1.0, "high": None, "unit": "s", "reason": "never ends"}


def test_more_results_beside_the_first() -> None:
    """Further results stand under their own keys; what was not asked for is left out; an object stays as it is."""
    found = json.loads(to_json(Inner(voltage=1.0), more=(Inner(voltage=2.0),), none=None))
    assert found == {"voltage": {"value": 1.0, "unit": "1"}, "name": "inner", "more": [as_json(Inner(voltage=2.0))]}
    assert json.loads(to_json({"any": 1.5})) == {"any": 1.5}
    with pytest.raises(ValueError, match="not JSON compliant"):
        to_json({"any": math.inf})


def parts_of(hint: Any) -> Iterator[Any]:
    """Types and notes of an annotation."""
    yield hint
    yield from getattr(hint, "__metadata__", ())
    for part in get_args(hint):
        yield from parts_of(part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """One field or property that is written: where, its key, its annotation's parts."""

    owner: type
    name: str
    key: str
    parts: tuple[Any, ...]


def written_members(cls: type, seen: set[type]) -> Iterator[Written]:
    """Everything that is written of a class and of the classes that it holds."""
    if cls in seen:
        return
    seen.add(cls)
    hints = get_type_hints(cls, include_extras=True)
    shown = {f.name: tuple(parts_of(hints[f.name])) for f in fields(cls)}
    for name, member in vars(cls).items():
        if isinstance(member, property):
            parts = tuple(parts_of(get_type_hints(member.fget, include_extras=True)["return"]))
            if any(isinstance(part, Key) for part in parts):
                shown[name] = parts
    for name, parts in shown.items():
        if HIDDEN not in parts:
            yield Written(
                owner=cls, name=name, key=next((p.name for p in parts if isinstance(p, Key)), name), parts=parts
            )
            for part in parts:
                if isinstance(part, type) and is_dataclass(part):
                    yield from written_members(part, seen)


SEEN: set[type] = set()
WRITTEN = [member for root in RESULTS for member in written_members(root, SEEN)]


def test_results_are_frozen_dataclasses() -> None:
    """Every class that is written is a frozen dataclass of keyword arguments."""
    assert {Spread, Toleranced, Comparison} <= SEEN
    for cls in SEEN:
        options = cls.__dataclass_params__  # type: ignore[attr-defined]
        assert options.frozen and all(f.kw_only for f in fields(cls)), cls


def test_every_number_says_its_unit() -> None:
    """Each written float has a unit in its annotation, or stands in a class with a unit of its own."""
    bare = [
        f"{m.owner.__name__}.{m.name}"
        for m in WRITTEN
        if float in m.parts
        and not any(isinstance(part, Unit) for part in m.parts)
        and "unit" not in {f.name for f in fields(m.owner)}
    ]
    assert not bare, f"annotate these like `Amps`: {bare}"
    symbols = {part.symbol for m in WRITTEN for part in m.parts if isinstance(part, Unit)}
    assert symbols <= {*UNIT_NAMES, "dB"}


def test_every_number_that_can_be_absent_says_why() -> None:
    """Each written number that may be None has a text of its own, or an attribute that says why, which exists."""
    silent = []
    for m in WRITTEN:
        note = next((part for part in m.parts if isinstance(part, Missing)), Missing())
        said = note.otherwise or (note.field and hasattr(m.owner, note.field))
        if type(None) in m.parts and {int, float, bool} & set(m.parts) and not said:
            silent.append(f"{m.owner.__name__}.{m.name}")
    assert not silent, f"nothing says why these are missing: {silent}"


PLAIN = {m.key for m in WRITTEN if BARE in m.parts and Unit("1") in m.parts} | {"margin_asked"}
NO_NUMBERS = {m.key for m in WRITTEN if not {int, float, bool} & set(m.parts)}


def faults_of(node: Any, path: str = "", *, has_unit: bool = False) -> Iterator[str]:
    """Numbers without a unit and nulls without a reason in a JSON value."""
    if isinstance(node, list):
        for index, member in enumerate(node):
            yield from faults_of(member, f"{path}[{index}]", has_unit=has_unit)
    elif isinstance(node, dict):
        for key, member in node.items():
            known = "unit" in node or key in node.get("units", ()) or key in PLAIN
            if member is None and key not in NO_NUMBERS and not (node.get("reason") or node.get(f"{key}_reason")):
                yield f"{path}.{key} is null without a reason"
            yield from faults_of(member, f"{path}.{key}", has_unit=known)
    elif isinstance(node, float) and not has_unit:
        yield f"{path} = {node} has no unit"


def results_of(circuit: Circuit) -> Iterator[Any]:
    """Every result that the command line prints of a circuit; the cross-check has its own test."""
    read = continuity(circuit)
    trials = firing_trials(circuit, 50)
    yield read
    yield check(circuit).no_fire
    yield misclassification(circuit, read, rng=0, size=100)
    for channel in circuit.channels:
        for target in ("shorted", "joint", *(["one string open"] if len(channel.strings) > 1 else [])):
            yield requirements(circuit, channel, target)
    yield firmware(circuit, read)
    yield divider_search(circuit, series="E24", low=10e3, high=200e3)
    yield firing(circuit)
    yield trials
    yield probability_all_fire(trials)
    yield probability_all_fire(None)
    yield influence(circuit, samples=64)
    if circuit.battery.bank_capacitance is not None:
        yield discharge(circuit)


ALL_SECOND = (
    'second = { bus_divider = { upper = "100 kohm ± 1 %", lower = "33 kohm ± 1 %" }, drain_pull_up = "100 kohm", '
    'test_pulse = "20 us", before_arming = true }'
)
BANK = 'capacitor_bank = { capacitance = "1000 uF", series_resistance = "0.2 ohm" }'
MADE_UP = {
    "second": lambda: bench(second=ALL_SECOND),
    "dead": lambda: bench(second=ALL_SECOND, powered_by="after arm switch"),
    "leaking": lambda: bench(leakage="100 uA"),
    "strings": cluster_circuit,
    "brown-out": lambda: firing_circuit(resistance="1.2235 ohm", controller='brown_out = "2.9 V"'),
    "bank": lambda: firing_circuit(voltage="11 V .. 13 V", battery=BANK),
    "shared bank": lambda: firing_circuit([["match"], ["match"]], voltage="11 V .. 13 V", battery=BANK),
}


@pytest.mark.parametrize("name", [*example_names(), *MADE_UP])
def test_every_result_of_every_circuit(name: str) -> None:
    """Strict JSON; each number has its unit, each null its reason."""
    circuit = MADE_UP[name]() if name in MADE_UP else load_example(name)
    for result in results_of(circuit):
        found = json.loads(to_json({}, result=result))
        assert found["result"]
        assert not list(faults_of(found))


def test_other_results() -> None:
    """The builder's answer, a rare failure, a foreign netlist and a cross-check with what does not function."""
    few = FewInputs(battery="lithium-polymer 2S", readings="open 8.02 V, loaded 7.61 V, load 3.3 ohm ± 5 %",
                    igniter="1.1 ohm, all-fire 0.9 A 50 ms, no-fire 0.25 A", lead="AWG 20, 8 m")  # fmt: skip
    unknown = FewInputs(battery="12.0 V .. 12.6 V, 80 mohm", igniter="1 ohm", lead="0.5 ohm")
    folder = resources.files("ignition.data.examples")
    netlist, roles = (folder.joinpath(n).read_text(encoding="utf-8") for n in ("foreign.cir", "foreign_roles.toml"))
    weak = firing_circuit(voltage="3.2 V .. 5 V", bridge="5 ohm", pulse="50 ms")
    never = Comparison(
        kind="function time", quantity="x", ours=math.inf, ngspice=1.0, unit="s", relative_difference=math.inf
    )
    compared = CrosscheckResult(circuit="c", ngspice="ngspice-39", comparisons=(never,), left_out=())
    for result in (
        cluster(few, 2, trials=50),
        cluster(unknown, 1, trials=0),
        rare_failure(weak, samples=200, runs=3),
        rare_failure(firing_circuit(), samples=200, runs=3),
        rare_failure(load_example("unknown-igniter"), samples=200, runs=3),
        analyse_foreign(parse_netlist(netlist, "foreign.cir"), parse_roles(roles, "roles.toml")),
        check_netlist(parse_netlist(netlist, "foreign.cir"), parse_roles(roles, "roles.toml")),
        compared,
    ):
        assert not list(faults_of(json.loads(to_json(result))))
    assert as_json(compared)["comparisons"][0]["ours"] is None and as_json(compared)["agrees"] is False


SPREAD, NUMBER = ("low", "nominal", "high", "unit"), ("value", "unit")
CONTRACT: dict[str, dict[str, tuple[str, ...]]] = {
    "check": {
        "": ("circuit", "verdict"),
        "findings.": ("rule", "channel", "phase", "verdict", "value", "limit", "unit", "margin", "says", "source",
                      "source_date"),
        "assumptions.": ("key", "value", "direction", "basis"),
    },
    "continuity": {
        "": ("circuit",),
        "channels.": ("channel", "cannot_tell_apart"),
        "channels.line_states.": ("state",),
        "channels.line_states.igniter_current.": SPREAD,
        "channels.line_states.adc_code.": SPREAD,
        "channels.thresholds.": ("below", "above", "code"),
        "channels.largest_unseen_resistance.": NUMBER,
        "channels.no_fire_margin.": NUMBER,
    },
    "firing": {
        "": ("circuit",),
        "channels.": ("channel",),
        "channels.igniters.": ("igniter", "string", "position", "functions"),
        "channels.igniters.current.": SPREAD,
        "channels.igniters.all_fire_margin.": NUMBER,
        "channels.igniters.function_time.": SPREAD,
        "channels.mosfet_junction.": SPREAD,
        "battery_voltage.": SPREAD,
        "controller_supply.": SPREAD,
        "probability_all_fire.": ("value", "lower_95", "trials", "seed"),
    },
    "crosscheck": {
        "": ("circuit", "ngspice", "worst"),
        "comparisons.": ("quantity", "ours", "ngspice", "unit", "relative_difference"),
    },
}  # fmt: skip
"""Keys that other programs rely on, by verb and place; of a list every member has them."""


def members_at(node: Any, place: str) -> list[dict[str, Any]]:
    """Every object at a place, through lists."""
    nodes = [node]
    for key in place.split(".")[:-1]:
        nodes = [inner for one in nodes for inner in (one[key] if isinstance(one[key], list) else [one[key]])]
    return nodes


@pytest.mark.parametrize("name", ["demo", "cold-cluster", "unknown-igniter"])
def test_keys_that_other_programs_rely_on(name: str) -> None:
    """Every key of the contract stands in every object at its place."""
    circuit = load_example(name)
    chance = probability_all_fire(firing_trials(circuit, 50))
    compared = Comparison(kind="steady", quantity="x", ours=1.0, ngspice=1.0, unit="A", relative_difference=0.0)
    results = {
        "check": to_json(check_dict(check(circuit))),
        "continuity": to_json(continuity(circuit)),
        "firing": to_json(firing(circuit), probability_all_fire=chance),
        "crosscheck": to_json(CrosscheckResult(circuit="c", ngspice="n", comparisons=(compared,), left_out=())),
    }
    for verb, places in CONTRACT.items():
        for place, wanted in places.items():
            found = members_at(json.loads(results[verb]), place)
            assert all(set(wanted) <= set(one) for one in found), (verb, place)
