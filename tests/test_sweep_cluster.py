"""Sweeps on a real cluster of processes: the same bits, a worker killed, a scheduler restarted, none at the address."""

from __future__ import annotations

import os
import random
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

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


class Pending:
    """A chunk that never comes back."""

    status = "pending"


class Deaf:
    """A client of a scheduler that takes chunks, and never tells of them again."""

    closed = 0

    def __init__(self, _address, **_how):
        pass

    def wait_for_workers(self, _number, timeout):
        assert timeout > 0.0

    def submit(self, *_what, **_how):
        return Pending()

    def close(self, timeout):
        assert timeout > 0.0
        type(self).closed += 1


def test_workers_that_give_nothing_back_are_not_waited_for_without_end(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", SimpleNamespace(Client=Deaf, KilledWorker=OSError))
    for name in ("STALLED_S", "LOOK_S", "PAUSE_S"):
        monkeypatch.setattr(cluster, name, 0.001)
    chunks = [(0, [{COUNT: 10}]), (1, [{COUNT: 20}])]
    with pytest.raises(InputError, match="no scheduler with workers answers at"):
        list(cluster.run_on_cluster("tcp://deaf:1", site(), chunks, decide.run_chunk))
    assert Deaf.closed == 1


def free_port() -> int:
    """One below those that the system gives to who calls: a call that is tried again and again would meet itself."""
    for port in random.sample(range(20_000, 32_000), 50):
        with socket.socket() as one:
            try:
                one.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise AssertionError("no port is free")


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
                         "--death-timeout", "120")  # fmt: skip

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
    monkeypatch.setattr(cluster, "STALLED_S", 60.0)
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

    found = sweep(site(), vary, folder=tmp_path / "s", progress=spoil, cluster=processes.address)
    assert done[-1] == len(found.runs) == 48
    pd.testing.assert_frame_equal(found.runs, alone.runs, check_exact=True)
    pd.testing.assert_frame_equal(found.limits, alone.limits, check_exact=True)
