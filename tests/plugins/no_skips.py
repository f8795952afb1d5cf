"""In CI a skipped test is a failed one: a cross-check that did not run has shown nothing."""

from __future__ import annotations

import os
from collections.abc import Generator

import pytest

IN_CI = os.environ.get("CI", "").lower() == "true"


def _refuse(report: pytest.TestReport | pytest.CollectReport) -> None:
    """Turn the report of a skip, but not of an expected failure, into that of a failure which names the reason."""
    if not IN_CI or report.outcome != "skipped" or hasattr(report, "wasxfail"):
        return
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
    report.outcome = "failed"
    report.longrepr = f"skipped, which is a failure when CI=true: {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Refuse a skip inside a test or one of its fixtures."""
    report = yield
    _refuse(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """Refuse the skip of a whole module, for example by `pytest.importorskip`."""
    report = yield
    _refuse(report)
    return report
