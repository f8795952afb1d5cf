"""Command line: load, one public call, text or JSON; no arithmetic.

Exit status: 0 done and nothing FAILs or is UNKNOWN; 1 some finding FAILs or is UNKNOWN; 2 the input or usage is wrong.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ignition.cli.circuits import load, refuse_changes
from ignition.cli.cluster import cluster
from ignition.cli.output import judged, print_json, status, write_texts
from ignition.errors import IgnitionError, InputError

if TYPE_CHECKING:
    from ignition.analyses.continuity.continuity import Continuity
    from ignition.analyses.continuity.misreads import Misclassification
    from ignition.analyses.continuity.requirement import Requirement
    from ignition.circuit.model import Circuit

__all__ = ["app", "main"]

app = typer.Typer(
    name="ignition",
    help="Electrical analysis of igniter firing circuits: continuity current, no-fire margin, firing current.",
    epilog="Exit status: 0 nothing fails or is unknown; 1 something does; 2 the input or usage is wrong.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

NetlistOrCircuit = Annotated[
    Path, typer.Argument(metavar="FILE", help="Circuit file (TOML), or a netlist.", show_default=False)
]
RoleFile = Annotated[
    Path | None,
    typer.Option("--roles", metavar="ROLES", help="FILE is a netlist; this role file says what is what."),
]
CircuitFile = Annotated[Path, typer.Argument(metavar="FILE", help="Circuit file (TOML).", show_default=False)]
Changes = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="KEY=VALUE", help="Change a value of the file; may be repeated. KEY= takes it away."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


@app.command()
def check(
    file: NetlistOrCircuit,
    roles: RoleFile = None,
    tolerance: Annotated[
        str | None,
        typer.Option(
            "--tolerance", metavar="X%", help="Of part values that the file writes without one.", show_default=False
        ),
    ] = None,
    changes: Changes = None,
    as_json: AsJson = False,
) -> None:
    """Check a circuit against written limits: PASS, FAIL or UNKNOWN for each."""
    if roles is not None:
        refuse_changes(changes)
        if tolerance is not None:
            raise InputError("--tolerance is for circuit files; a role file has a [tolerance] table")
        from ignition.cli.netlists import check as check_netlist

        raise typer.Exit(check_netlist(file, roles, as_json))
    from ignition.analyses.verdict import check as analyse

    circuit = load(file, changes)
    if tolerance is not None:
        from ignition.circuit.tolerance import tolerance_share, with_tolerance

        circuit = with_tolerance(circuit, tolerance_share(tolerance))
    result = analyse(circuit)
    if as_json:
        from ignition.report.contract import check_dict

        print_json(check_dict(result))
    else:
        from ignition.report.findings_text import check_text
        from ignition.report.text import make_console

        check_text(result, make_console())
    raise typer.Exit(status(result.findings))


@app.command()
def firing(
    file: CircuitFile,
    trials: Annotated[int, typer.Option(min=0, help="Trial firings for the probability; 0 for none.")] = 10_000,
    seed: Annotated[int, typer.Option(min=0, help="Seed of all random numbers.")] = 0,
    jobs: Annotated[int, typer.Option(min=1, max=256, help="Processes for the trials.")] = 1,
    rare: Annotated[bool, typer.Option("--rare", help="Resolve a small probability of failure too.")] = False,
    influence: Annotated[bool, typer.Option("--influence", help="Tell which inputs matter most too.")] = False,
    changes: Changes = None,
    as_json: AsJson = False,
) -> None:
    """Firing current, margin to all-fire and function time of every igniter."""
    from ignition.analyses.firing.capacitor_bank import discharge
    from ignition.analyses.firing.firing import firing as analyse
    from ignition.analyses.trials.influence import influence as share_out
    from ignition.analyses.trials.rare_failures import rare_failure
    from ignition.analyses.trials.trials import firing_trials, probability_all_fire
    from ignition.analyses.verdict import judge_firing

    circuit = load(file, changes)
    result = analyse(circuit)
    tried = firing_trials(circuit, trials, seed, jobs=jobs, progress=_progress(trials)) if trials else None
    seldom = rare_failure(circuit, seed=seed) if rare else None
    shares = share_out(circuit, seed=seed) if influence else None
    bank = discharge(circuit) if circuit.battery.bank_capacitance is not None else None
    findings = judge_firing(circuit, result)
    if as_json:
        more = {"spread_of_times": tried, "rare_failure": seldom, "influence": shares, "discharge": bank}
        print_json(result, probability_all_fire=probability_all_fire(tried), **more, **judged(findings))
    else:
        from ignition.report.findings_text import brief_text
        from ignition.report.firing_text import (
            discharge_text,
            firing_text,
            influence_text,
            rare_text,
            spread_of_times_text,
        )
        from ignition.report.text import assumption_text, caution_text, make_console

        console = make_console()
        firing_text(result, console, tried)
        if tried is not None and tried.probability is not None:
            spread_of_times_text(tried, console)
        if seldom is not None:
            rare_text(seldom, console)
        if shares is not None:
            influence_text(shares, console)
        if bank is not None:
            discharge_text(bank, console)
        brief_text(findings, console)
        assumption_text(circuit.assumptions, console)
        caution_text(console)
    raise typer.Exit(status(findings))


def _progress(trials: int) -> Callable[[int, int], None] | None:
    """A line on standard error for long runs, where a person watches."""
    if trials < 200_000 or not sys.stderr.isatty():
        return None

    def show(done: int, asked: int) -> None:
        print(f"\r{done} of {asked} trials", end="\n" if done >= asked else "", file=sys.stderr, flush=True)

    return show


@app.command()
def continuity(
    file: NetlistOrCircuit,
    roles: RoleFile = None,
    trials: Annotated[int, typer.Option(min=0, help="Samples of each state, for how often two are confused.")] = 0,
    seed: Annotated[int, typer.Option(min=0, help="Seed of the samples.")] = 0,
    need: Annotated[
        str | None,
        typer.Option(help="What it would take to see: 'one string open', 'shorted' or 'joint'.", show_default=False),
    ] = None,
    changes: Changes = None,
    as_json: AsJson = False,
) -> None:
    """Continuity test: igniter current, converter reading and line states that it can tell apart."""
    if roles is not None:
        refuse_changes(changes)
        from ignition.cli.netlists import continuity as netlist_continuity

        if trials or need is not None:
            raise InputError("--trials and --need are for circuit files; with --roles leave them out")
        raise typer.Exit(netlist_continuity(file, roles, as_json))
    from ignition.analyses.continuity.continuity import continuity as analyse
    from ignition.analyses.verdict import judge_sense

    circuit = load(file, changes)
    result = analyse(circuit)
    findings = judge_sense(circuit)
    confused = _confused(circuit, result, trials, seed)
    needed = _needed(circuit, need)
    if as_json:
        print_json(result, misclassification=confused, requirements=needed, **judged(findings))
    else:
        from ignition.report.continuity_text import continuity_text, misclassification_text, requirement_text
        from ignition.report.findings_text import brief_text
        from ignition.report.text import assumption_text, caution_text, make_console

        console = make_console()
        continuity_text(result, console)
        if confused is not None:
            misclassification_text(confused, console)
        if needed is not None:
            requirement_text(needed, console)
        brief_text(findings, console)
        assumption_text(circuit.assumptions, console)
        caution_text(console)
    raise typer.Exit(status(findings))


@app.command()
def holdoff(
    file: CircuitFile,
    explain: Annotated[bool, typer.Option("--explain", help="Tell which parts would hold the gate too.")] = False,
    plot: Annotated[
        Path | None, typer.Option(metavar="PNG", help="Draw the arming edge too.", show_default=False)
    ] = None,
    changes: Changes = None,
    as_json: AsJson = False,
) -> None:
    """Hold-off: can a gate come on in any phase, when the arm switch closes, with the controller in reset or dead."""
    from ignition.analyses.advice import advice
    from ignition.analyses.hold_off import hold_off

    circuit = load(file, changes)
    result = hold_off(circuit)
    advised = advice(circuit, result) if explain else None
    if plot is not None:
        from ignition.report.hold_off_plot import save_hold_off_plot

        save_hold_off_plot(circuit, result, plot)
    if as_json:
        print_json(result, advice=advised, **judged(result.findings))
    else:
        from ignition.report.findings_text import brief_text
        from ignition.report.hold_off_text import advice_text, hold_off_text
        from ignition.report.text import assumption_text, caution_text, make_console

        console = make_console()
        hold_off_text(result, console)
        if advised is not None:
            advice_text(advised, console)
        brief_text(result.findings, console)
        assumption_text(circuit.assumptions, console)
        caution_text(console)
    raise typer.Exit(status(result.findings))


@app.command()
def faults(
    file: NetlistOrCircuit,
    roles: RoleFile = None,
    order: Annotated[int, typer.Option(min=1, max=3, help="List sets of up to this many faults at once.")] = 1,
    changes: Changes = None,
    as_json: AsJson = False,
) -> None:
    """Faults, one and more at a time: what fires, what makes a dud, what no reading shows, and the fewest that fire."""
    if roles is not None:
        refuse_changes(changes)
        from ignition.cli.netlists import faults as netlist_faults

        raise typer.Exit(netlist_faults(file, roles, order, as_json))
    from ignition.analyses.faults.arming import arming_faults
    from ignition.analyses.faults.faults import faults as analyse
    from ignition.analyses.faults.remedies import remedies
    from ignition.analyses.faults.single import single_fault_currents
    from ignition.analyses.faults.sneak_paths import sneak_paths
    from ignition.analyses.verdict import judge_single_faults

    circuit = load(file, changes)
    result = analyse(circuit, order)
    helpful, paths, edge = remedies(circuit, result), sneak_paths(circuit), arming_faults(circuit)
    findings = judge_single_faults(circuit, single_fault_currents(circuit))
    if as_json:
        print_json(result, switch_on=edge, remedies=helpful, sneak_paths=paths, **judged(findings))
    else:
        from ignition.report.faults_text import arming_text, faults_text, remedies_text, sneak_paths_text
        from ignition.report.findings_text import brief_text
        from ignition.report.text import assumption_text, caution_text, make_console

        console = make_console()
        faults_text(result, console)
        arming_text(edge, console)
        sneak_paths_text(paths, console)
        remedies_text(helpful, console)
        brief_text(findings, console)
        assumption_text(circuit.assumptions, console)
        caution_text(console)
    raise typer.Exit(status(findings))


@app.command()
def diagnose(
    file: CircuitFile,
    reading: Annotated[
        list[str],
        typer.Option(
            help="What the firmware read: CHANNEL=CODE, CHANNEL.bus=CODE or CHANNEL.pull-up=CODE; may be repeated."
        ),
    ],
    battery: Annotated[
        str | None, typer.Option(help="Battery voltage at rest, measured, e.g. '12.4 V ± 0.1 V'.", show_default=False)
    ] = None,
    phase: Annotated[str, typer.Option(help="When it was read: disarmed, reset or armed.")] = "armed",
    changes: Changes = None,
    as_json: AsJson = False,
) -> None:
    """What readings can mean: line states and single faults that give them, and what to measure next."""
    from ignition.analyses.faults.diagnosis import diagnose as analyse
    from ignition.toleranced import parse_toleranced

    circuit = load(file, changes)
    measured = None if battery is None else parse_toleranced(battery, "V")
    result = analyse(circuit, _readings(reading), battery=measured, phase=phase)
    if as_json:
        print_json(result)
    else:
        from ignition.report.diagnosis_text import diagnosis_text
        from ignition.report.text import caution_text, make_console

        console = make_console()
        diagnosis_text(result, console)
        caution_text(console)
    raise typer.Exit(0 if result.healthy else 1)


def _readings(words: Sequence[str]) -> dict[str, int]:
    """Codes by name."""
    found: dict[str, int] = {}
    for word in words:
        name, equals, code = word.rpartition("=")
        if not equals or not code.strip().isdecimal():
            raise InputError(f"a reading is CHANNEL=CODE with a whole number, for example line=1234; received {word!r}")
        if name in found:
            raise InputError(f"{name!r} is read once; received it twice")
        found[name] = int(code)
    return found


def _confused(circuit: Circuit, result: Continuity, trials: int, seed: int) -> tuple[Misclassification, ...] | None:
    from ignition.analyses.continuity.misreads import misclassification

    return misclassification(circuit, result, rng=seed, size=trials) if trials else None


def _needed(circuit: Circuit, target: str | None) -> tuple[Requirement, ...] | None:
    """Requirements of every channel that the target applies to."""
    from ignition.analyses.continuity.requirement import requirements

    if target is None:
        return None
    channels = [c for c in circuit.channels if target != "one string open" or len(c.strings) > 1]
    if not channels:
        raise InputError("--need 'one string open' asks for a channel of several strings; this circuit has none")
    return tuple(r for channel in channels for r in requirements(circuit, channel, target))


@app.command()
def divider(
    file: CircuitFile,
    channel: Annotated[str | None, typer.Option(help="Channel name; the first by default.", show_default=False)] = None,
    series: Annotated[str, typer.Option(help="E24, E48, E96 or E192.")] = "E96",
    low: Annotated[str, typer.Option(help="Smallest resistor.")] = "1 kohm",
    high: Annotated[str, typer.Option(help="Largest resistor.")] = "1 Mohm",
    plot: Annotated[
        Path | None, typer.Option(metavar="PNG", help="Draw the trade-off too.", show_default=False)
    ] = None,
    changes: Changes = None,
    as_json: AsJson = False,
) -> None:
    """Search the sense divider's resistors: a list of trade-offs and a recommended pair, each with its reason."""
    from ignition.analyses.divider.fit import fitted
    from ignition.analyses.divider.search import divider_search
    from ignition.analyses.verdict import judge_sense
    from ignition.toleranced import parse_toleranced

    circuit = load(file, changes)
    names = [c.name for c in circuit.channels]
    if channel is not None and channel not in names:
        raise InputError(f"no channel is called {channel!r}; there are: {', '.join(names)}")
    result = divider_search(
        circuit,
        circuit.channel(channel or names[0]),
        series=series,
        low=parse_toleranced(low, "ohm").nominal,
        high=parse_toleranced(high, "ohm").nominal,
    )
    best = result.recommended
    changed = circuit if best is None else fitted(circuit, result.channel, best, result.tolerance)
    findings = judge_sense(changed, result.channel)
    if plot is not None:
        from ignition.report.divider_plot import save_divider_plot

        save_divider_plot(result, plot)
    if as_json:
        print_json(result, **judged(findings))
    else:
        from ignition.report.divider_text import divider_text
        from ignition.report.findings_text import brief_text
        from ignition.report.text import caution_text, make_console

        console = make_console()
        divider_text(result, console)
        console.print(f"\nWith the {'present' if best is None else 'recommended'} divider")
        brief_text(findings, console)
        caution_text(console)
    raise typer.Exit(status(findings))


@app.command()
def compare(
    old: Annotated[Path, typer.Argument(metavar="OLD", help="Circuit file (TOML).", show_default=False)],
    new: Annotated[
        Path | None, typer.Argument(metavar="NEW", help="The other; without it OLD with --set.", show_default=False)
    ] = None,
    changes: Changes = None,
    as_json: AsJson = False,
) -> None:
    """What changes from one circuit to another: keys, verdicts, margins, firmware thresholds."""
    from ignition.analyses.study.comparison import compare_circuits

    if new is None and not changes:
        raise InputError("give a second circuit file, or --set KEY=VALUE to compare with the first one so changed")
    result = compare_circuits(load(old, None), load(old if new is None else new, changes))
    if as_json:
        print_json(result)
    else:
        from ignition.report.comparison_text import comparison_text
        from ignition.report.text import caution_text, make_console

        console = make_console()
        comparison_text(result, console)
        caution_text(console)
    raise typer.Exit(0 if result.new_verdict == "PASS" else 1)


@app.command()
def limit(
    file: CircuitFile,
    vary: Annotated[
        str,
        typer.Option(
            "--vary", metavar="KEY[=FROM..TO]", help="Value that moves, with its tolerance.", show_default=False
        ),
    ],
    finding: Annotated[
        list[str] | None,
        typer.Option("--finding", metavar="RULE", help="Tell this limit's verdict too; may be repeated."),
    ] = None,
    changes: Changes = None,
    as_json: AsJson = False,
) -> None:
    """How far one value may go before a verdict changes."""
    from ignition.analyses.study.limit import limit as analyse
    from ignition.analyses.study.vary import varied

    result = analyse(varied(load(file, changes), vary), finding or ())
    if as_json:
        print_json(result)
    else:
        from ignition.report.limit_text import limit_text
        from ignition.report.text import caution_text, make_console

        console = make_console()
        limit_text(result, console)
        caution_text(console)
    raise typer.Exit(0 if result.limits[0].now == "PASS" else 1)


@app.command()
def header(
    file: CircuitFile,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="X.h", help="Header to write.", show_default=False)
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace an existing file.")] = False,
    changes: Changes = None,
    as_json: AsJson = False,
) -> None:
    """Firmware thresholds, waits and pulse limits as a C header, or as JSON."""
    from ignition.analyses.continuity.continuity import continuity as analyse
    from ignition.analyses.continuity.firmware import firmware
    from ignition.report.cheader import header_text

    if output is None and not as_json:
        raise InputError("give a header to write: ignition header FILE -o pad.h, or --json")
    circuit = load(file, changes)
    constants = firmware(circuit, analyse(circuit))
    if output is not None:
        write_texts({output: header_text(constants)}, force)
    if as_json:
        print_json(constants)
    else:
        print(f"{output}: constants of {len(constants.channels)} channels. Compile with -std=c99.")


@app.command()
def demo() -> None:
    """Check the built-in circuit and answer the questions of three users; writes nothing."""
    from ignition.circuit.examples import DEMO, load_example
    from ignition.report.demo import demo_text
    from ignition.report.text import make_console

    raise typer.Exit(demo_text(load_example(DEMO), make_console()))


@app.command()
def example(
    name: Annotated[
        str | None, typer.Argument(help="Example name; the demo if only PATH is given.", show_default=False)
    ] = None,
    path: Annotated[Path | None, typer.Argument(help="File to write.", show_default=False)] = None,
    list_names: Annotated[bool, typer.Option("--list", help="List the examples.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Replace an existing file.")] = False,
) -> None:
    """Write an example circuit file to start from."""
    from ignition.circuit.examples import DEMO, example_names, example_text, example_title, netlist_example
    from ignition.circuit.other_files import NETLIST

    if list_names:
        from ignition.report.text import make_console, table

        rows = [(n, example_title(n)) for n in example_names()]
        table(make_console(), ("name", "what it shows"), [*rows, (NETLIST, netlist_example().title)])
        return
    if name is None:
        raise InputError("give a file to write, for example: ignition example pad.toml; or --list")
    if name == NETLIST:
        _write_netlist_example(path, force)
        return
    if path is None:
        if name in example_names():
            raise InputError(f"give a file to write: ignition example {name} {name}.toml")
        name, path = DEMO, Path(name)
    if path.suffix == ".cir":
        raise InputError(
            f"{path}: example {name!r} is a circuit file, which is TOML; for a netlist with its role file write: "
            f"ignition example {NETLIST} {path}"
        )
    write_texts({path: example_text(name)}, force)
    print(f"{path}: example {name!r}. Next: ignition check {path}")


def _write_netlist_example(path: Path | None, force: bool) -> None:
    """Write a netlist and, beside it, its role file."""
    from ignition.circuit.examples import netlist_example
    from ignition.circuit.other_files import NETLIST

    if path is None or path.suffix != ".cir":
        received = "" if path is None else f"; received {path}"
        raise InputError(
            f"example {NETLIST!r} is a netlist and its role file: name the netlist with .cir, for example: "
            f"ignition example {NETLIST} board.cir{received}"
        )
    shown, roles = netlist_example(), path.with_name(f"{path.stem}_roles.toml")
    write_texts({path: shown.netlist, roles: shown.roles}, force)
    print(f"{path} and {roles}: example {NETLIST!r}. Next: ignition check {path} --roles {roles}")


@app.command()
def netlist(
    file: CircuitFile,
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="DIR", help="Folder for the decks.", show_default=False)
    ],
    changes: Changes = None,
) -> None:
    """Write SPICE decks of every phase and line state, to open and run by hand."""
    from ignition.spice.netlists import write_netlists

    written = write_netlists(load(file, changes), output)
    print(f"{len(written)} decks in {output}. Run one with: ngspice -b {written[0]}")


@app.command()
def crosscheck(file: CircuitFile, changes: Changes = None, as_json: AsJson = False) -> None:
    """Compute the same circuit in ngspice and show both answers."""
    from ignition.spice.crosscheck import crosscheck as analyse

    result = analyse(load(file, changes))
    if as_json:
        print_json(result)
    else:
        from ignition.report.crosscheck_text import crosscheck_text
        from ignition.report.text import make_console

        crosscheck_text(result, make_console())
    raise typer.Exit(0 if result.agrees else 1)


@app.command()
def schema() -> None:
    """Print the JSON Schema of the circuit file, so that an editor can complete it."""
    from ignition.circuit.file import json_schema

    print_json(json_schema())


app.command()(cluster)


def main() -> None:
    """Run the command line; every mistake of the input ends as one message and exit status 2."""
    try:
        status = app(standalone_mode=False)
    except IgnitionError as error:
        print(f"ignition: {error}", file=sys.stderr)
        sys.exit(2)
    except BrokenPipeError:
        # the reader went away, as `head` does; nobody is left to tell
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except KeyboardInterrupt:
        print("ignition: interrupted", file=sys.stderr)
        sys.exit(130)
    except Exception as error:
        if hasattr(error, "exit_code") and hasattr(error, "show"):
            error.show()  # a usage error of the command line itself
            sys.exit(error.exit_code)
        raise
    sys.exit(status or 0)
