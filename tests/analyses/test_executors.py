"""Trial firings on an executor of dask.distributed, for those who outgrow one machine."""

from __future__ import annotations

import pytest
from distributed import Client, LocalCluster

from ignition.analyses.trials.trials import firing_trials
from ignition.circuit.examples import load_example

# the cluster's own libraries warn of sockets and ports; what they warn of is not this package's
pytestmark = pytest.mark.filterwarnings("ignore")


def test_trials_on_a_local_dask_cluster() -> None:
    """A dask executor gives the trials of one process, bit for bit."""
    circuit = load_example("demo")
    alone = firing_trials(circuit, 20_000, seed=5)
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None) as cluster,
        Client(cluster) as client,
    ):
        spread = firing_trials(circuit, 20_000, seed=5, executor=client.get_executor())
    assert (spread.trials, spread.failures) == (alone.trials, alone.failures)
    assert [i.functioned for i in spread.igniters] == [i.functioned for i in alone.igniters]
    for mine, theirs in zip(alone.igniters, spread.igniters, strict=True):
        assert (mine.function_time.counts == theirs.function_time.counts).all()
