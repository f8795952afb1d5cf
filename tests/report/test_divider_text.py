"""Divider search as JSON, text and plot."""

from __future__ import annotations

import io
import json
import re

import pytest
from rich.console import Console

from ignition.analyses.divider.search import DividerSearch, divider_search
from ignition.circuit.file import parse_circuit
from ignition.report.divider_plot import divider_plot
from ignition.report.divider_text import divider_text
from ignition.report.json_walk import as_json, to_json
from tests.analyses.sense_circuits import bench, text


@pytest.fixture(scope="module")
def search() -> DividerSearch:
    """A search over E24."""
    return divider_search(bench(leakage="50 nA", total_error="4"), series="E24")


def shown(search: DividerSearch) -> str:
    """The text as a pipe receives it."""
    stream = io.StringIO()
    divider_text(search, Console(file=stream, width=80))
    return stream.getvalue()


def test_json_holds_the_whole_list(search: DividerSearch) -> None:
    """All candidates of the list, each with its reason, worst faults and margins; strict JSON."""
    value = json.loads(to_json(search))
    assert len(value["pareto"]) == len(search.pareto)
    assert all(c["reason"] for c in value["pareto"])
    assert value["recommended"]["rejected_by"] == []
    assert value["present"]["upper"] == {"value": 100e3, "unit": "ohm"}
    assert len(value["present"]["fault_currents"]) == 5
    assert value["monitor_limit"]["value"] == pytest.approx(0.02)


def test_split_resistor_is_named(search: DividerSearch) -> None:
    """A split upper resistor's fault is that of one of two."""
    value = as_json(search)
    split = next(c for c in value["pareto"] if c["upper_split_in_two"])
    assert split["fault_currents"][0]["fault"] == "one of two upper resistors shorted"


def test_text_reads_in_80_columns(search: DividerSearch) -> None:
    """Present and recommended divider with their worst fault; nothing wider than 80 columns."""
    printed = shown(search)
    assert all(len(line) <= 80 for line in printed.splitlines())
    flat = re.sub(r"\s+", " ", printed)
    assert "Present divider: 100 kohm / 33 kohm" in flat
    assert "does not meet: single-fault current above the monitor limit" in flat
    assert "Recommended: " in flat and "why: its weakest margin" in flat
    assert f"of {len(search.pareto)} shown" in flat


def test_unknown_limit_is_said() -> None:
    """Without a no-fire current the text says UNKNOWN and JSON gives null with the reason."""
    lines = [line for line in text().splitlines() if not line.startswith("no_fire")]
    search = divider_search(parse_circuit("\n".join(lines), "bench.toml"), series="E24")
    assert "Monitor limit UNKNOWN" in shown(search)
    limit = as_json(search)["monitor_limit"]
    assert limit["value"] is None and "no no-fire current" in limit["reason"]


def test_empty_list_is_said() -> None:
    """Where nothing passes, text and JSON say which requirement forbids it."""
    search = divider_search(bench(), series="E24", pin_resistors=[0.0], split=(False,))
    assert as_json(search)["recommended"] is None
    assert "No pair meets every requirement" in shown(search)


def test_plot_draws_every_member(search: DividerSearch) -> None:
    """Every member of the list is a point of the axes; a given axes is used."""
    ax = divider_plot(search)
    points = sum(len(line.get_xdata()) for line in ax.lines[:-3])  # type: ignore[arg-type]
    assert points == len(search.pareto)
    assert divider_plot(search, ax) is ax
    assert ax.get_xlabel() == "highest sense current [A]"
