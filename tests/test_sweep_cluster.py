"""Sweeps on a real cluster of processes: the same bits, a worker killed, a scheduler restarted, none at the address."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest
from small_sites import build, one_tank

from stocksim.answers.sweep import cluster, decide
from stocksim.answers.sweep.decide import sweep
from stocksim.errors import InputError

COUNT = "cohorts.fish.count"


def site():
    return build(one_tank(days=8))


def test_no_scheduler_at_the_address_is_a_sentence(tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(cluster, "ANSWERS_WITHIN_S", 1.0)
    for address in (f"tcp://127.0.0.1:{free_port()}", "nowhere", "tcp://:x"):
        with pytest.raises(InputError, match="no scheduler with workers answers at"):
            sweep(site(), {COUNT: [10, 20]}, folder=tmp_path / "s", cluster=address)
    assert [path.name for path in (tmp_path / "s").iterdir()] == ["sweep.json"]
    assert len(sweep(site(), {COUNT: [10, 20]}, folder=tmp_path / "s").runs) == 2


def test_without_dask_it_says_how_to_install_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputError, match=r"stocksim\[cluster\]"):
        sweep(site(), {COUNT: [10]}, cluster="tcp://127.0.0.1:1")


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class Cluster:
    """A scheduler and workers, each a process of its own."""

    def __init__(self, folder: Path):
        self.folder, self.port = folder, free_port()
        self.address = f"tcp://127.0.0.1:{self.port}"
        self.scheduler = self._start_scheduler()
        self.workers = [self._start_worker() for _ in range(2)]

    def _run(self, *words: str) -> subprocess.Popen[bytes]:
        here = os.pathsep.join([str(Path(__file__).parent), *sys.path])
        settings = {"PYTHONPATH": here, "DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT": "60s"}
        return subprocess.Popen(
            [sys.executable, "-m", *words], cwd=self.folder, env=os.environ | settings, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip

    def _start_scheduler(self) -> subprocess.Popen[bytes]:
        return self._run("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", str(self.port),
                         "--no-dashboard")  # fmt: skip

    def _start_worker(self) -> subprocess.Popen[bytes]:
        return self._run("distributed.cli.dask_worker", self.address, "--nthreads", "1", "--no-dashboard", "--no-nanny",
                         "--death-timeout", "300")  # fmt: skip

    def restart_scheduler(self) -> None:
        """Kill the scheduler and start one at the same address, with a fresh worker, for the old ones end with it."""
        self.scheduler.send_signal(signal.SIGKILL)
        self.scheduler.wait()
        self.scheduler = self._start_scheduler()
        self.workers.append(self._start_worker())

    def stop(self) -> None:
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()


@pytest.fixture
def processes(tmp_path) -> Iterator[Cluster]:
    pytest.importorskip("distributed")
    if os.name == "nt":
        pytest.skip("kills processes by signals")
    found = Cluster(tmp_path)
    yield found
    found.stop()


def test_a_cluster_comes_to_the_same_bits_though_a_worker_dies_and_the_scheduler_restarts(
    processes, tmp_path, monkeypatch
):
    monkeypatch.setattr(decide, "CHUNK_RUNS", 4)
    monkeypatch.setattr(cluster, "ANSWERS_WITHIN_S", 60.0)
    vary = {COUNT: list(range(10, 10 + 48))}
    alone = sweep(site(), vary)
    done: list[int] = []
    spoiled = threading.Lock()

    def spoil(count: int, of: int) -> None:
        done.append(count)
        with spoiled:
            if len(done) == 2:
                processes.workers[0].send_signal(signal.SIGKILL)
            if len(done) == 5:
                processes.restart_scheduler()

    began = time.monotonic()
    found = sweep(site(), vary, folder=tmp_path / "s", progress=spoil, cluster=processes.address)
    assert time.monotonic() - began < 600.0
    assert done[-1] == len(found.runs) == 48
    pd.testing.assert_frame_equal(found.runs, alone.runs, check_exact=True)
    pd.testing.assert_frame_equal(found.limits, alone.limits, check_exact=True)
