"""Files given in the place of another kind: a netlist for a circuit file, a circuit file for a netlist."""

from __future__ import annotations

import re
from pathlib import Path

from ignition.errors import InputError

__all__ = ["NETLIST", "is_netlist_name", "refuse_netlist", "refuse_toml"]

NETLIST = "foreign"
"""Name of the example that is a netlist with its role file."""

_NETLIST_NAMES = (".cir", ".ckt", ".net", ".sp", ".spi", ".spice")

_DOT_LINE = re.compile(
    r"^\s*\.(?:end|ends|ic|include|lib|model|op|options?|param|probe|save|subckt|title|tran)\b", re.I | re.M
)
"""A line of a netlist that no TOML file has."""

_TOML_LINE = re.compile(r"^\s*(?:format\s*=|\[\[?[A-Za-z_])", re.MULTILINE)


def is_netlist_name(path: str | Path) -> bool:
    """Return whether a file is a netlist by its name.

    Examples
    --------
    >>> is_netlist_name("board.cir"), is_netlist_name("pad.toml")
    (True, False)
    """
    return Path(path).suffix.lower() in _NETLIST_NAMES


def refuse_netlist(path: str | Path, text: str, what: str) -> None:
    """Refuse a netlist that is given where a TOML file belongs.

    Raises InputError that says what a role file has to say.

    Parameters
    ----------
    what : Kind of file that belongs there: ``circuit file`` or ``role file``

    Examples
    --------
    >>> refuse_netlist("pad.toml", "format = 1", "circuit file")
    >>> refuse_netlist("board.txt", ".title board", "role file")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    ignition.errors.InputError: board.txt is a netlist; --roles names a role file, which is TOML. Give the netlist ...
    """
    if not _DOT_LINE.search(text) and not is_netlist_name(path):
        return
    if what == "role file":
        raise InputError(
            f"{path} is a netlist; --roles names a role file, which is TOML. Give the netlist first: "
            f"ignition check {path} --roles ROLES.toml"
        )
    roles = f"{Path(path).stem}_roles.toml"
    raise InputError(
        f"{path} is a netlist, not a circuit file: it does not say which element is the battery, the arm switch or an "
        f"igniter. Only check, continuity and faults read one, with a role file that says so: "
        f"ignition check {path} --roles {roles}\n"
        "  A role file is TOML and needs:\n"
        "  - format = 1 and title\n"
        "  - [battery]: element (its voltage source), open_circuit_voltage and resistance, or chemistry\n"
        "  - [arm_switch]: elements, resistance\n"
        "  - [controller]: powered_by, supply, and supply_element where the netlist has it; [controller.adc]: bits, "
        "reference\n"
        "  - [igniter.NAME]: bridge_resistance, no_fire, all_fire\n"
        "  - [mosfet.NAME]: threshold, on_resistance, leakage\n"
        "  - [[channel]] for each line: name, igniters, low_side_switch, mosfet, gate_pin, sense_node\n"
        "  - resistor_tolerance, or [tolerance] with each resistor and source that has no role\n"
        f"  An example of both files to start from: ignition example {NETLIST} board.cir"
    )


def refuse_toml(path: str | Path, text: str) -> None:
    """Refuse a TOML file that is given where a netlist belongs.

    Raises InputError that says where it belongs.

    Examples
    --------
    >>> refuse_toml("board.cir", ".title board")
    """
    if _DOT_LINE.search(text) or not (Path(path).suffix.lower() == ".toml" or _TOML_LINE.search(text)):
        return
    raise InputError(
        f"{path} is TOML, not a netlist: --roles says what the elements of a netlist are. For a circuit file leave it "
        f"out: ignition check {path}; for a netlist give that first: ignition check BOARD.cir --roles ROLES.toml"
    )
