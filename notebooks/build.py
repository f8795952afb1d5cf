"""Build and run the notebooks: ``python notebooks/build.py``. A test runs them again and compares what they print."""

from __future__ import annotations

from pathlib import Path

import nbformat
from nbclient import NotebookClient

FOLDER = Path(__file__).resolve().parent

THREE_QUESTIONS = [
    (
        "markdown",
        """# Three questions about one pad box

The built-in demo circuit (an invented lake-weather sounding rocket, two channels on one battery), asked from Python.
The numbers are an aid to judgement: local codes, the range's safety officer and licensed practice decide, and tests
with live igniters are done away from motors and people.""",
    ),
    (
        "code",
        """import ignition

circuit = ignition.load_example("demo")
print(circuit.title)
print("battery:", circuit.battery.voltage, "behind", circuit.battery.resistance)""",
    ),
    (
        "markdown",
        """## Safety officer: can it fire when nobody asked?

The highest current through any igniter in each phase, over all tolerances, against its no-fire current.""",
    ),
    (
        "code",
        """for channel in ignition.no_fire(circuit).channels:
    for phase in channel.phases:
        least = phase.least
        print(f"{channel.channel:9} {phase.phase:9} {least.worst.current:.3e} A  margin {least.decibel:5.1f} dB"
              f"  thermal fraction {least.thermal_fraction:.1e}")""",
    ),
    (
        "markdown",
        """## Designer: what does the reading prove?

Each bar is a guaranteed band of the converter's reading. Bands that overlap cannot be told apart.""",
    ),
    (
        "code",
        """import matplotlib.pyplot as plt

boosters = ignition.continuity(circuit).channels[0]
figure, axes = plt.subplots(figsize=(7, 2.6), layout="constrained")
for row, reading in enumerate(boosters.readings):
    code = reading.band.code
    axes.barh(row, max(code.high - code.low, 15), left=code.low, color="0.45")
    print(f"{reading.state:15} {code.low:7.1f} .. {code.nominal:7.1f} .. {code.high:7.1f}")
axes.set(yticks=range(len(boosters.readings)), yticklabels=[r.state for r in boosters.readings],
         xlabel="converter reading [LSB]", title="Channel boosters, armed")
axes.invert_yaxis()
plt.show()""",
    ),
    (
        "markdown",
        """## Builder: will this battery fire this cluster, on a cold day?

The same circuit at one ambient temperature after another: lowest firing current of one booster against 150 % of its
all-fire current, which the cold raises.""",
    ),
    (
        "code",
        """from ignition.analyses.cluster.cold_day import at_ambient

temperatures = [-20, -10, 0, 10, 20, 30]
currents, limits = [], []
for temperature in temperatures:
    cold = at_ambient(circuit.given, temperature)
    igniter = ignition.firing(cold).channels[0].igniters[0]
    currents.append(igniter.current.low)
    limits.append(1.5 * cold.igniters["booster"].all_fire_current)
    print(f"{temperature:4} degC  {currents[-1]:.3f} A against {limits[-1]:.3f} A  {igniter.functions}")

figure, axes = plt.subplots(figsize=(7, 2.6), layout="constrained")
axes.plot(temperatures, currents, "k-", label="lowest current of one booster")
axes.plot(temperatures, limits, color="0.5", linestyle="--", label="150 % of all-fire")
axes.set(xlabel="ambient temperature [degC]", ylabel="current [A]", ylim=(0, None))
axes.legend()
plt.show()""",
    ),
]

NOTEBOOKS = {"three_questions.ipynb": THREE_QUESTIONS}


def executed(cells: list[tuple[str, str]]) -> nbformat.NotebookNode:
    """A notebook of the cells, run from top to bottom."""
    make = {"markdown": nbformat.v4.new_markdown_cell, "code": nbformat.v4.new_code_cell}
    book = nbformat.v4.new_notebook(cells=[make[kind](source) for kind, source in cells])
    for number, cell in enumerate(book.cells):
        cell.id = f"cell-{number}"
    book.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    # one text a cell, however the kernel's output was cut into messages
    NotebookClient(book, timeout=120, kernel_name="python3", coalesce_streams=True).execute()
    for cell in book.cells:
        cell.metadata.pop("execution", None)
    return book


def printed(book: nbformat.NotebookNode) -> list[str]:
    """What each code cell printed."""
    return [
        "".join(out.text for out in cell.outputs if out.output_type == "stream" and out.name == "stdout")
        for cell in book.cells
        if cell.cell_type == "code"
    ]


if __name__ == "__main__":
    for name, content in NOTEBOOKS.items():
        nbformat.write(executed(content), FOLDER / name)
