"""Start the pages."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

from stocksim.errors import InputError

LOCAL_ADDRESS = "127.0.0.1"


def app_file() -> Path:
    """The script that starts the pages, in a wheel or beside an editable checkout."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "app.py"
    return inside if inside.is_file() else package.parent / "app.py"


def _stop(*_: object) -> None:
    raise KeyboardInterrupt


def serve(site: Path, port: int, open_browser: bool, network: bool) -> int:
    """Serve the pages until stopped.

    Parameters
    ----------
    site : Path
        Site file shown first.
    port : int
        Port to listen on.
    open_browser : bool
        Whether to open the keeper's browser.
    network : bool
        Whether other devices of the network may connect.

    Returns
    -------
    int
        Exit code of the server; 0 when stopped from the keyboard.

    Raises
    ------
    InputError
        If the port is taken or reserved.
    """
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((LOCAL_ADDRESS, port))
        except PermissionError:
            raise InputError(f"--port: {port} is not yours to use; give one above 1023, as --port 8501.") from None
        except OSError:
            other = port + 1 if port < 65535 else port - 1
            raise InputError(f"--port: {port} is in use; give another, as --port {other}.") from None
    command = [
        sys.executable, "-m", "streamlit", "run", str(app_file()), "--server.port", str(port),
        "--server.headless", "false" if open_browser else "true", "--browser.gatherUsageStats", "false",
        "--server.showEmailPrompt", "false",  # whoever starts it first would have to answer before the pages come
    ]  # fmt: skip
    if not network:
        command += ["--server.address", LOCAL_ADDRESS]
    print(f"Pages: http://localhost:{port}  (stop with Ctrl+C)", flush=True)
    environment = os.environ | {"STOCKSIM_SITE": str(site.resolve())}
    with subprocess.Popen(command, env=environment) as server:
        try:
            signal.signal(signal.SIGTERM, _stop)  # otherwise the pages would outlive the command
            return server.wait()
        except KeyboardInterrupt:
            server.terminate()
            server.wait()
            return 0
