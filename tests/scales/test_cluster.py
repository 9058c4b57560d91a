"""The same comparison on a real Dask scheduler with two workers, and addresses where none answers."""

from __future__ import annotations

import pytest

from nestkit.errors import InputError
from nestkit.scales import cluster as module
from nestkit.scales.cluster import cluster
from tests.scales.scales_bench import JIGSAW, compared, sheet, write_build

distributed = pytest.importorskip("distributed")


def test_a_cluster_gives_what_this_machine_gives(tmp_path):
    file = write_build(tmp_path, JIGSAW, sheet(300, 200))
    here = compared(file, (0.9, 1.0, 1.1), rounds=8)
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as dask,
        cluster(dask.scheduler_address) as executor,
    ):
        there = compared(file, (0.9, 1.0, 1.1), rounds=8, executor=executor)
    assert there == here
    assert there.cliffs


def test_an_address_where_nobody_answers_is_told(monkeypatch):
    monkeypatch.setattr(module, "PATIENCE", 1)
    for address in ("tcp://127.0.0.1:9", "nonsense://x"):
        with pytest.raises(InputError, match="no scheduler answers"), cluster(address):
            pass
