"""Chunks of a sweep on the workers of a Dask scheduler: the same function as on one machine, and nothing else.

Apart from `decide`, for it alone knows dask, which is an extra (``pip install 'stocksim[cluster]'``).
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager, suppress
from typing import Any

from stocksim.errors import InputError
from stocksim.site.reading import Site

Chunk = tuple[int, Sequence[Mapping[str, Any]]]
RunChunk = Callable[[Site, Sequence[Mapping[str, Any]], int, int], dict[str, Any]]

ANSWERS_WITHIN_S = 10.0  # a scheduler; on a busy machine it takes some seconds to accept
TRIES = 6  # to reach a scheduler again that went away, after which nobody waits on
PAUSE_S = 2.0
# no chunk came back in so long: messages are lost or the workers are, so all is handed out anew. A chunk takes seconds
STALLED_S = 900.0
LOOK_S = 0.05  # between two looks at what is done


def run_on_cluster(
    address: str, site: Site, chunks: Sequence[Chunk], run: RunChunk
) -> Iterator[tuple[int, dict[str, Any]]]:
    """Run chunks on the workers of a scheduler, and give on each as it is done.

    Parameters
    ----------
    address : str
        Of the scheduler, as ``tcp://10.0.0.5:8786``.
    site : Site
        That each run changes. Logs and weather files that it names are read by the workers, from the same folder.
    chunks : sequence of (int, runs)
        Number of the first run, and the runs of each chunk.
    run : callable
        Takes site, runs, number of the first and threads; gives the chunk's data.

    Yields
    ------
    tuple of int and dict
        Number of the first run and the chunk's data, in the order in which they are done.

    Raises
    ------
    InputError
        If dask is not installed, or no scheduler answers at the address, or goes away for good, or its workers give
        nothing back however often they are asked.

    Notes
    -----
    A worker that dies has its chunks run by another, by dask itself. When the scheduler restarts, what is not done is
    handed to it again. Nothing is waited for without end. Each chunk is run in one thread; the workers' number of
    threads is theirs.
    """
    try:
        import distributed
    except ImportError:
        raise InputError("--cluster: needs dask; install it with: pip install 'stocksim[cluster]'.") from None
    missing = dict(chunks)
    tries = 0
    while missing:
        try:
            with _connected(distributed, address) as client:
                for first, part in _handed(distributed, client, site, missing, run):
                    tries = 0
                    del missing[first]
                    yield first, part
        except _Gone:
            tries += 1
            if tries >= TRIES or (tries == 1 and len(missing) == len(chunks)):
                raise InputError(
                    f"--cluster: no scheduler with workers answers at {address}; start one with `dask scheduler` and "
                    "workers with `dask worker`, or run without --cluster."
                ) from None
            time.sleep(PAUSE_S)


class _Gone(Exception):
    """No scheduler with workers answers, or it went away with chunks that are not done."""


@contextmanager
def _connected(distributed: Any, address: str) -> Iterator[Any]:
    """A client of a scheduler that has a worker."""
    try:
        client = distributed.Client(address, timeout=ANSWERS_WITHIN_S, set_as_default=False)
    # a wrong address is a ValueError; where its own thread has not begun within ten seconds, distributed asserts
    except (OSError, ValueError, AssertionError) as error:
        raise _Gone from error
    try:
        try:
            client.wait_for_workers(1, timeout=ANSWERS_WITHIN_S)
        except OSError as error:  # its timeout
            raise _Gone from error
        yield client
    finally:
        with suppress(TimeoutError):  # it is left behind then, and asks nothing more of us
            client.close(timeout=ANSWERS_WITHIN_S)


def _same(site: Site) -> Site:
    return site


def _handed(
    distributed: Any, client: Any, site: Site, missing: Mapping[int, Sequence[Mapping[str, Any]]], run: RunChunk
) -> Iterator[tuple[int, dict[str, Any]]]:
    """Chunks handed to a scheduler, each as it is done; raises `_Gone` where it loses them."""
    # a task and not scattered data: where the worker that holds it dies, dask makes it again
    here = client.submit(_same, site, pure=False)
    futures = {client.submit(run, here, runs, first, 1, pure=False): first for first, runs in missing.items()}
    waiting, since = set(futures), time.monotonic()
    while waiting:
        done = [future for future in waiting if future.status != "pending"]
        for future in done:
            yield futures[future], _result(distributed, future)
            waiting.remove(future)
            since = time.monotonic()
        if time.monotonic() - since > STALLED_S:
            raise _Gone
        if not done:
            time.sleep(LOOK_S)


def _result(distributed: Any, future: Any) -> dict[str, Any]:
    """Data of a chunk that is no longer pending; raises `_Gone` where it is lost."""
    try:
        if future.status == "finished":
            return dict(future.result(timeout=STALLED_S))
        error = future.exception(timeout=STALLED_S) if future.status == "error" else None
    except (OSError, CancelledError, asyncio.CancelledError) as lost:  # a timeout is an OSError
        raise _Gone from lost
    if error is not None and not isinstance(error, distributed.KilledWorker):
        raise error
    raise _Gone
