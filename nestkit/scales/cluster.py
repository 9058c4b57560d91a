"""A Dask cluster in place of worker processes: the same work through the same executor interface."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from typing import cast

from nestkit.errors import InputError

#: How long to wait for the scheduler, seconds.
PATIENCE = 20


def _knock(address: str) -> None:
    """Sees that somebody listens there: a client that finds nobody says so late and in many lines.

    Raises
    ------
    OSError, ValueError
        When nobody does, or it is no address.
    """
    from distributed.comm.addressing import parse_address, parse_host_port

    _, place = parse_address(address)
    host, port = parse_host_port(place, 8786)
    socket.create_connection((host, port), timeout=PATIENCE).close()


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """An executor that runs its tasks on the cluster at ``address``.

    Tasks carry the build and its drawings with them; workers need nestkit, of the same version, and nothing
    of this machine's disk.

    Raises
    ------
    InputError
        When Dask is not installed, or nobody answers.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise InputError.one(
            "--cluster", "needs the library 'distributed'", "Install it: pip install 'nestkit[cluster]'"
        ) from error
    try:
        _knock(address)
        client = Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError.one(
            "--cluster",
            f"no scheduler answers at '{address}'",
            "Write it as the scheduler says it, for example tcp://192.0.2.7:8786",
        ) from error
    with client:
        if not client.scheduler_info()["workers"]:
            raise InputError.one("--cluster", f"the scheduler at '{address}' has no workers", "Start some")
        # What fails is told with its size; trying it again elsewhere would fail again.
        executor = cast(Executor, client.get_executor(retries=0, pure=False))
        try:
            yield executor
        finally:
            executor.shutdown(wait=False)
