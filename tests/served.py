"""What the tests of served pages share: a server started and stopped, a browser's flags, and waits for a state."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Mapping
from pathlib import Path

from stocksim.compiled import cache_folder

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
READY = '[data-testid="stApp"][data-test-script-state="notRunning"]'
# no test measures time: what is waited for comes, or this bound, far out, says that it never will
FAR_OUT_S = 240.0
FAR_OUT_MS = 1000 * FAR_OUT_S


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answers(port: int) -> bool:
    """Whether something serves pages at a port of this machine."""
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=60) as page:
            return page.status == 200
    except (urllib.error.URLError, ConnectionError, TimeoutError):
        return False


class Opened:
    """A running ``stocksim open``."""

    def __init__(self, process: subprocess.Popen[str], port: int):
        self.process, self.port, self.address = process, port, f"http://127.0.0.1:{port}/"

    def stop(self, number: int = signal.SIGTERM) -> tuple[int, str, str]:
        """Exit code, standard output and error of the command, told to stop."""
        self.process.send_signal(number)
        out, err = self.process.communicate(timeout=FAR_OUT_S)
        return self.process.returncode, out, err


@contextlib.contextmanager
def opened(folder: Path, *arguments: str, env: Mapping[str, str] | None = None) -> Iterator[Opened]:
    """Run ``stocksim open`` in a folder and wait until its pages answer; nothing of it outlives the block."""
    port = free_port()
    command = [sys.executable, "-m", "stocksim", "open", *arguments, "--port", str(port)]
    own = {key: value for key, value in os.environ.items() if not key.startswith("STOCKSIM_")}
    own["STOCKSIM_STATE"] = str(folder / "state")
    own["STOCKSIM_CACHE"] = str(cache_folder().parent)  # wherever its home is: it need not compile all anew
    # its own group: a server that the command left behind would hold the pipes open for ever
    process = subprocess.Popen(
        command, cwd=folder, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=own | dict(env or {}), start_new_session=True,
    )  # fmt: skip
    with process:
        # a line that never comes must not be waited for: with the group gone, its pipes end
        watch = threading.Timer(FAR_OUT_S, _end_group, [process])
        watch.daemon = True
        watch.start()
        try:
            until = time.monotonic() + FAR_OUT_S
            while not answers(port) and process.poll() is None and time.monotonic() < until:
                time.sleep(0.2)
            assert process.poll() is None, process.communicate(timeout=FAR_OUT_S)
            assert answers(port)
            yield Opened(process, port)
        finally:
            watch.cancel()
            _end_group(process)


def _end_group(process: subprocess.Popen[str]) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL) if hasattr(os, "killpg") else process.kill()


def settle(page) -> None:
    """Wait until the script has run and the charts have had time to be drawn."""
    page.wait_for_selector(READY, timeout=FAR_OUT_MS)
    page.wait_for_timeout(700)
    page.wait_for_selector(READY, timeout=FAR_OUT_MS)
