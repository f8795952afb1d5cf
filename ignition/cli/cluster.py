"""The verb ``cluster``: a few inputs on the command line, the builder's answer as text or JSON; no arithmetic."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["cluster"]


def cluster(
    igniter: Annotated[
        str,
        typer.Option(
            help="'1.1 ohm, all-fire 0.9 A 50 ms 0.999 at 0.95, no-fire 0.25 A'; also 'time constant 12 ms', "
            "'energy 15 mJ', "
            "'spent open', 'spent short', 'function temperature 250 degC', 'reference temperature 20 degC'.",
            show_default=False,
        ),
    ],
    lead: Annotated[
        str,
        typer.Option(
            help="'AWG 20, 8 m' (one way), or '0.5 ohm' (out and back); also 'joints 0.1 ohm'.", show_default=False
        ),
    ],
    battery: Annotated[
        str | None,
        typer.Option(help="'lithium-polymer 2S, 1300 mAh', or '12.0 V .. 12.6 V, 80 mohm'.", show_default=False),
    ] = None,
    readings: Annotated[
        str | None,
        typer.Option(help="'open 8.02 V, loaded 7.61 V, load 3.3 ohm ± 5 %'.", show_default=False),
    ] = None,
    count: Annotated[int, typer.Option(min=1, max=64, help="Igniters to fire at once.")] = 1,
    arrangement: Annotated[str, typer.Option(help="parallel, series or mixed.")] = "parallel",
    branch: Annotated[
        str | None, typer.Option(help="Wires of each string, written like --lead.", show_default=False)
    ] = None,
    arm_switch: Annotated[str | None, typer.Option(help="'20 mohm .. 50 mohm'.", show_default=False)] = None,
    mosfet: Annotated[str | None, typer.Option(help="On-resistance, '10 mohm .. 20 mohm'.", show_default=False)] = None,
    pulse: Annotated[str | None, typer.Option(help="'500 ms'.", show_default=False)] = None,
    ambient: Annotated[str | None, typer.Option(help="'-5 degC .. 15 degC .. 30 degC'.", show_default=False)] = None,
    brown_out: Annotated[
        str | None,
        typer.Option(
            help="Lowest battery voltage at which the controller works, '6 V'; or 'none'.", show_default=False
        ),
    ] = None,
    trip: Annotated[
        str | None, typer.Option(help="Battery's protection circuit, '10 A 12 ms'; or 'none'.", show_default=False)
    ] = None,
    fuse: Annotated[
        str | None, typer.Option(help="'10 A, 55 A^2 s', rating and least melting; or 'none'.", show_default=False)
    ] = None,
    trials: Annotated[int, typer.Option(min=0, help="Trial firings for the probability; 0 for none.")] = 20_000,
    seed: Annotated[int, typer.Option(min=0, help="Seed of the trials.")] = 0,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")] = False,
) -> None:
    """Can this battery light so many igniters at once, and how many? A few inputs, no file."""
    from ignition.analyses.cluster.answer import cluster as answer
    from ignition.circuit.few_inputs import FewInputs

    given = FewInputs(
        igniter=igniter,
        lead=lead,
        battery=battery,
        readings=readings,
        branch=branch,
        arm_switch=arm_switch,
        mosfet=mosfet,
        pulse=pulse,
        ambient=ambient,
        brown_out=brown_out,
        trip=trip,
        fuse=fuse,
    )
    result = answer(given, count, arrangement, trials=trials, seed=seed)
    if as_json:
        from ignition.report.json_walk import to_json

        print(to_json(result))
    else:
        from ignition.report.cluster_text import cluster_text
        from ignition.report.text import make_console

        cluster_text(result, make_console())
    raise typer.Exit(0 if result.verdict == "PASS" else 1)
