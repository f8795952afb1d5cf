"""Names of the firmware's C macros: valid identifiers, different for every channel."""

from __future__ import annotations

import re
from collections.abc import Iterable

__all__ = ["identifier", "macro_prefixes"]


def identifier(name: str) -> str:
    """Return a name as part of a C macro.

    Returns
    -------
    Capital letters, digits and single underscores; may be empty

    Examples
    --------
    >>> identifier("one string open"), identifier("a*/b")
    ('ONE_STRING_OPEN', 'A_B')
    """
    return re.sub(r"[^A-Z0-9]+", "_", name.upper().encode("ascii", "replace").decode()).strip("_")


def macro_prefixes(channels: Iterable[str]) -> dict[str, str]:
    """Return one macro prefix for each channel name.

    Returns
    -------
    By channel; none is the beginning of another one's names
    """
    found: dict[str, str] = {}
    for index, channel in enumerate(channels, start=1):
        base = f"IGN_{identifier(channel) or f'CHANNEL_{index}'}"
        taken = set(found.values())
        prefix, count = base, 2
        while any(prefix == t or prefix.startswith(t + "_") or t.startswith(prefix + "_") for t in taken):
            prefix, count = f"{base}_{count}X", count + 1
            if count > 99:
                prefix = f"IGN_CHANNEL_{index}_OF_ALL"
                break
        found[channel] = prefix
    return found
