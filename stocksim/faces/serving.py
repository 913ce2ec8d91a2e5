"""Start the pages, and stop them."""

from __future__ import annotations

import os
import secrets
import signal
import socket
import subprocess
import sys
import threading
import time
import webbrowser
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import NamedTuple

from stocksim.errors import InputError

LOCAL_ADDRESS = "127.0.0.1"
# our choice: an idle server ends within a second; one that is in the midst of a sum is ended after this
_GRACE_S = 5.0
_SHORTEST_TOKEN = 8
# of the block kept for examples (RFC 5737): a datagram socket "connected" there sends nothing, but tells our address
_NOWHERE = ("198.51.100.1", 9)


class Access(NamedTuple):
    """Who may reach the pages and what they may do there."""

    network: bool = False
    read_only: bool = False
    token: str = ""


def access(network: bool, read_only: bool, token: str | None) -> Access:
    """Access as the command line asks for it, with a random token for a network where none is given.

    Raises
    ------
    InputError
        If a token is given without a network, or is too short to keep anyone out.
    """
    if token is not None and not network:
        raise InputError("--token: is for --network; without it only this machine can reach the pages.")
    if token is not None and (len(token) < _SHORTEST_TOKEN or not all(33 <= ord(c) < 127 for c in token)):
        raise InputError(f"--token: give {_SHORTEST_TOKEN} or more letters, digits or signs without spaces, or none.")
    return Access(network, read_only, (token or secrets.token_hex(8)) if network else "")


def app_file() -> Path:
    """The script that starts the pages, in a wheel or beside an editable checkout."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "app.py"
    return inside if inside.is_file() else package.parent / "app.py"


def serve(
    site: Path | None, port: int, open_browser: bool, who: Access, meanwhile: Callable[[], object] | None = None
) -> int:
    """Serve the pages until stopped.

    Parameters
    ----------
    site : Path or None
        Site file shown first and saved to; None for the demonstration site.
    port : int
        Port to listen on.
    open_browser : bool
        Whether to open the keeper's browser.
    who : Access
        Whether other devices of the network may connect, and what they may do.
    meanwhile : callable, optional
        What this process does once the server listens; given up where that ends first.

    Returns
    -------
    int
        Exit code of the server; 0 when stopped.

    Raises
    ------
    InputError
        If the port is taken or reserved.
    """
    refuse_port(port)
    command = [
        sys.executable, "-m", "stocksim.faces.page_server", "run", str(app_file()), "--server.port", str(port),
        "--server.address", "0.0.0.0" if who.network else LOCAL_ADDRESS, "--server.maxUploadSize", "64",
        "--server.headless", "true" if who.network or not open_browser else "false",
        "--browser.gatherUsageStats", "false", "--logger.hideWelcomeMessage", "true",
        "--client.showErrorDetails", "none",  # a traceback, with the paths in it, goes to this terminal alone
        "--server.showEmailPrompt", "false",  # whoever starts it first would have to answer before the pages come
    ]  # fmt: skip
    for line in greeting(port, who):
        print(line, flush=True)
    if who.network and open_browser:
        address = f"http://localhost:{port}/?token={who.token}"
        threading.Thread(target=_when_up, args=(port, partial(webbrowser.open, address)), daemon=True).start()
    later = None if meanwhile is None else partial(_when_up, port, meanwhile)  # the pages have the processor first
    return run_until_stopped(command, environment(site, who), meanwhile=later)


def environment(site: Path | None, who: Access) -> dict[str, str]:
    """Environment of the pages' server: what `keeping` and `guests` read."""
    ours = {
        "STOCKSIM_SITE": str(site.absolute()) if site is not None else "",
        "STOCKSIM_FOLDER": str(Path.cwd()),
        "STOCKSIM_TOKEN": who.token,
        "STOCKSIM_READ_ONLY": "1" if who.read_only else "",
    }
    return {key: value for key, value in os.environ.items() if key not in ours} | {k: v for k, v in ours.items() if v}


def greeting(port: int, who: Access) -> list[str]:
    """What is said before the pages are served: where they are and, on a network, who can do what."""
    stop = "(stop with Ctrl+C)"
    if not who.network:
        read_only = ", read-only: nothing can be changed" if who.read_only else ""
        return [f"Pages: http://localhost:{port}  {stop}{read_only}"]
    found = own_address()
    what = "see the site" if who.read_only else "see and change the site, and save it"
    may = f"Anyone on your network who has the token can {what}."
    more = "" if who.read_only else " With --read-only they could only look."
    return [
        f"{may}{more} The connection is not encrypted: use it on a network you trust.",
        f"Pages: http://{found or 'THE-ADDRESS-OF-THIS-MACHINE'}:{port}/?token={who.token}  {stop}",
        f"On this machine: http://localhost:{port}/?token={who.token}",
    ]


def own_address() -> str:
    """Address of this machine on its network, '' where it has none; asks nobody and sends nothing."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(_NOWHERE)
            return str(probe.getsockname()[0])
    except OSError:
        return ""


def refuse_port(port: int) -> None:
    """Raise InputError if a port is taken or reserved."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((LOCAL_ADDRESS, port))
        except PermissionError:
            raise InputError(f"--port: {port} is not yours to use; give one above 1023, as --port 8501.") from None
        except OSError:
            other = port + 1 if port < 65535 else port - 1
            raise InputError(f"--port: {port} is in use; give another, as --port {other}.") from None


def run_until_stopped(
    command: list[str],
    env: Mapping[str, str] | None = None,
    grace_s: float = _GRACE_S,
    meanwhile: Callable[[], object] | None = None,
) -> int:
    """Run a server until it ends or this process is told to stop; it never outlives that by more than a moment.

    Parameters
    ----------
    command : list of str
        The server.
    env : mapping of str to str, optional
        Its environment.
    grace_s : float
        Time it has to end by itself. [s] Nothing is lost if it does not: every file is replaced at once, or not.
    meanwhile : callable, optional
        Called once the server is started; what it does is given up when the server ends.

    Returns
    -------
    int
        Its exit code; 0 when told to stop.
    """
    told = threading.Event()
    servers: list[subprocess.Popen[bytes]] = []

    def stop(*_: object) -> None:
        told.set()
        for server in servers:
            server.terminate()
            killer = threading.Timer(grace_s, server.kill)
            killer.daemon = True
            killer.start()

    # before the server starts: a signal in between must not leave it behind, alone
    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        with subprocess.Popen(command, env=env) as server:
            servers.append(server)
            if told.is_set():
                stop()
            if meanwhile is not None:
                threading.Thread(target=meanwhile, daemon=True).start()
            code = server.wait()
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    return 0 if told.is_set() else code


def _when_up(port: int, act: Callable[[], object]) -> None:
    """Do something once the server listens; given up with the command, whose thread this is."""
    while True:
        try:
            with socket.create_connection((LOCAL_ADDRESS, port), timeout=5.0):
                break
        except OSError:
            time.sleep(0.3)
    act()
