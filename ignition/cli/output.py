"""What verbs share: files written whole or not at all, one JSON object, the exit status of findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ignition.errors import InputError

if TYPE_CHECKING:
    from ignition.findings.finding import Finding

__all__ = ["judged", "print_json", "status", "write_texts"]


def write_texts(texts: Mapping[Path, str], force: bool) -> None:
    """Write some files, all of them whole or none.

    Raises InputError where one exists and is not to be replaced, is a folder, or cannot be written.

    Parameters
    ----------
    texts : Text of each file
    force : Whether files that exist are replaced
    """
    for path in texts:
        if path.exists() and not force:
            raise InputError(f"{path} exists; give another path, or --force to replace it")
        if path.is_dir():
            raise InputError(f"{path} is a folder; give a file name")
    partial = {path: path.with_name(f".{path.name}.partial") for path in texts}
    new = [path for path in texts if not path.exists()]
    at = next(iter(texts))
    try:
        for at, text in texts.items():
            partial[at].write_text(text, encoding="utf-8")
        for at, whole in partial.items():
            whole.replace(at)
    except OSError as error:
        for one in (*partial.values(), *new):
            one.unlink(missing_ok=True)
        raise InputError(f"{at} cannot be written: {error.strerror}") from None


def print_json(result: Any, **more: Any) -> None:
    """Print one JSON object; its writer loads when it is needed.

    Parameters
    ----------
    more : Keys beside those of the result
    """
    from ignition.report.json_walk import to_json

    print(to_json(result, **more))


def status(findings: Sequence[Finding]) -> int:
    """Return the exit status of a verb: 0 where all of its findings PASS."""
    from ignition.findings.finding import worst_verdict

    return 0 if worst_verdict(findings) == "PASS" else 1


def judged(findings: Sequence[Finding]) -> dict[str, Any]:
    """Return the verdict and the findings, to stand beside the keys of a result."""
    from ignition.findings.finding import worst_verdict

    return {"verdict": worst_verdict(findings), "findings": findings}
