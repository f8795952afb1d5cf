"""Reader of ngspice raw files: ASCII and binary, several plots in one file; real values alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ignition.errors import InputError, NgspiceError, did_you_mean
from ignition.typing import FloatArray

__all__ = ["Plot", "parse_raw"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plot:
    """One analysis of an ngspice run: named signals of equal length.

    Attributes
    ----------
    title : Title line of the deck, as ngspice wrote it (lower case where ngspice folds it)
    name : Kind of analysis, for example ``Operating Point`` or ``Transient Analysis``
    variables : Names in the order of the file, for example ``time``, ``v(drain)``, ``i(v1)``
    units : Kind of each variable as ngspice names it: ``voltage``, ``current``, ``time``
    data : Read-only values [V], [A] or [s], shape (points,)
    """

    title: str
    name: str
    variables: tuple[str, ...]
    units: tuple[str, ...]
    data: Mapping[str, FloatArray]

    @property
    def points(self) -> int:
        """Number of points of every signal."""
        return len(self.data[self.variables[0]]) if self.variables else 0

    def signal(self, name: str) -> FloatArray:
        """Values of a signal.

        Raises InputError if the plot has no such variable; the nearest name is given.

        Parameters
        ----------
        name : Name of the variable, in any case, for example ``V(drain)``

        Returns
        -------
        Read-only values, shape (points,) [V], [A] or [s] by the kind of the variable

        Examples
        --------
        >>> plot = Plot(title="t", name="Operating Point", variables=("v(a)",), units=("voltage",),
        ...             data={"v(a)": np.array([9.0])})
        >>> float(plot.signal("V(A)")[0])
        9.0
        """
        if name in self.data:
            return self.data[name]
        wanted = name.strip().lower()
        for known in self.variables:
            if known.lower() == wanted:
                return self.data[known]
        offered = did_you_mean(name, self.variables) or f"the first are: {', '.join(self.variables[:5]) or 'none'}"
        raise InputError(f'plot "{self.name}" has no signal "{name}"; {offered}')


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    title: str
    name: str
    points: int
    variables: tuple[str, ...]
    units: tuple[str, ...]
    is_binary: bool
    body: int  # offset of the first byte of the values


def parse_raw(content: bytes) -> tuple[Plot, ...]:
    """Read every plot of the content of a raw file.

    Variable lines are split on TAB, because names may hold spaces (``v(m1#body diode)``). Binary values are
    little-endian, 8 bytes each. A plot flagged ``unpadded`` is read when all its vectors have the same length, and
    refused by the length check otherwise.

    Raises NgspiceError if the content is empty, malformed, complex (AC analysis), truncated, or its length is not
    points x variables x size.

    Parameters
    ----------
    content : Whole content, ASCII or binary, padded or unpadded

    Returns
    -------
    The plots in the order of the file

    Examples
    --------
    >>> text = (b"Title: t\\nDate: -\\nPlotname: Operating Point\\nFlags: real\\nNo. Variables: 1\\nNo. Points: 1\\n"
    ...         b"Variables:\\n\\t0\\tv(a)\\tvoltage\\nValues:\\n 0\\t9.0\\n")
    >>> float(parse_raw(text)[0].signal("v(a)")[0])
    9.0
    """
    if not content.strip():
        raise NgspiceError(
            "raw file is empty: ngspice finished no analysis; add an analysis line (.op, .tran) to the deck"
        )
    plots: list[Plot] = []
    offset = 0
    while content[offset:].strip():
        header = _read_header(content, offset)
        matrix, offset = (_read_binary if header.is_binary else _read_ascii)(content, header)
        columns = np.ascontiguousarray(matrix.T)
        columns.flags.writeable = False
        plots.append(
            Plot(
                title=header.title,
                name=header.name,
                variables=header.variables,
                units=header.units,
                data=dict(zip(header.variables, columns, strict=True)),
            )
        )
    return tuple(plots)


def _line(content: bytes, offset: int) -> tuple[str, int]:
    """Line that starts at the offset, without its end, and the offset of the next one."""
    end = content.find(b"\n", offset)
    if end < 0:
        raise NgspiceError(
            f"raw file is truncated: it ends inside the line {content[offset:][:60]!r}; "
            "run the deck again and look at the free space of the temporary folder"
        )
    return content[offset:end].decode("utf-8", errors="replace").rstrip("\r"), end + 1


def _read_header(content: bytes, offset: int) -> _Header:
    fields: dict[str, str] = {}
    while True:
        line, offset = _line(content, offset)
        key, separator, value = line.partition(":")
        key = key.strip().lower()
        if not line.strip():
            continue
        if not separator:
            raise NgspiceError(f'raw file is malformed: expected "key: value" in its header, found {line[:60]!r}')
        if key == "variables":
            break
        fields[key] = value.strip()
    missing = [key for key in ("plotname", "flags", "no. variables", "no. points") if key not in fields]
    if missing:
        raise NgspiceError(
            f"raw file is malformed: its header lacks {', '.join(missing)}; give a file written by ngspice -r"
        )
    names, units, offset = _read_variables(content, offset, _count(fields, "no. variables"))
    line, offset = _line(content, offset)
    kind = line.strip().lower()
    if kind not in ("binary:", "values:"):
        raise NgspiceError(
            f'raw file is malformed: expected "Binary:" or "Values:" after the variables, found {line[:60]!r}'
        )
    flags = fields["flags"].lower().split()
    if "real" not in flags or "complex" in flags:
        raise NgspiceError(
            f"raw file holds a plot that is not real (flags {fields['flags']!r}): only .op, .dc and .tran are read"
        )
    return _Header(
        title=fields.get("title", ""),
        name=fields["plotname"],
        points=_count(fields, "no. points"),
        variables=names,
        units=units,
        is_binary=kind == "binary:",
        body=offset,
    )


def _count(fields: dict[str, str], key: str) -> int:
    text = fields[key]
    if not text.isdecimal():
        raise NgspiceError(f'raw file is malformed: "{key}" must be a whole number, found {text!r}')
    return int(text)


def _read_variables(content: bytes, offset: int, count: int) -> tuple[tuple[str, ...], tuple[str, ...], int]:
    if count == 0:
        raise NgspiceError("raw file holds a plot without variables: save at least one node voltage or current")
    names: list[str] = []
    units: list[str] = []
    for k in range(count):
        line, offset = _line(content, offset)
        parts = [part.strip() for part in line.strip("\t ").split("\t")]
        if len(parts) < 3 or parts[0] != str(k):
            raise NgspiceError(
                f'raw file is malformed: expected variable {k} as "{k} TAB name TAB kind", found {line[:60]!r}'
            )
        if parts[1] in names:
            raise NgspiceError(
                f'raw file names the variable "{parts[1]}" twice; give every node and source its own name'
            )
        names.append(parts[1])
        units.append(parts[2])
    return tuple(names), tuple(units), offset


def _read_binary(content: bytes, header: _Header) -> tuple[FloatArray, int]:
    kind = np.dtype("<f8")
    count = header.points * len(header.variables)
    end = header.body + count * kind.itemsize
    if end > len(content):
        raise _wrong_length(header, f"{count * kind.itemsize} bytes", f"{len(content) - header.body} bytes")
    rest = content[end:].lstrip()
    if rest and not rest[:6].lower() == b"title:":
        raise _wrong_length(header, f"{count * kind.itemsize} bytes", "more bytes that start no further plot")
    flat = np.frombuffer(content, dtype=kind, count=count, offset=header.body)
    return flat.astype(np.float64).reshape(header.points, len(header.variables)), end


def _read_ascii(content: bytes, header: _Header) -> tuple[FloatArray, int]:
    """Values block: per point its number, then one value per variable."""
    width = len(header.variables) + 1
    wanted = header.points * width
    end = content.find(b"\nTitle:", header.body - 1)
    end = len(content) if end < 0 else end + 1
    tokens = content[header.body : end].split()
    if len(tokens) != wanted or not content[:end].endswith(b"\n"):
        raise _wrong_length(header, f"{wanted} whole numbers and values", f"{len(tokens)}, the last {tokens[-1:]}")
    try:
        numbers = [int(token) for token in tokens[::width]]
        values = [float(token) for k, token in enumerate(tokens) if k % width]
    except ValueError as error:
        raise NgspiceError(
            f'raw file is malformed: plot "{header.name}" holds a value that is no number ({error})'
        ) from None
    if numbers != list(range(header.points)):
        raise NgspiceError(f'raw file is malformed: the points of plot "{header.name}" are not numbered 0, 1, 2, ...')
    return np.array(values, dtype=np.float64).reshape(header.points, width - 1), end


def _wrong_length(header: _Header, wanted: str, found: str) -> NgspiceError:
    return NgspiceError(
        f'raw file is truncated or padded wrongly: plot "{header.name}" has {header.points} points x '
        f"{len(header.variables)} variables = {wanted}, found {found}; run the deck again"
    )
