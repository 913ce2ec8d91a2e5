"""The command that serves the pages: what it says first, who may come, and that it ends with its server."""

from __future__ import annotations

import os
import shlex
import signal
import socket
import subprocess
import sys
import threading
from contextlib import contextmanager
from pathlib import Path
from unittest import mock

import pytest
from command_line import refused, runner, spoil
from served import FAR_OUT_S, answers, free_port, opened

from stocksim.answers.season import answer as season_answers
from stocksim.changes.ways import Advice
from stocksim.errors import InputError
from stocksim.faces import cli, serving
from stocksim.site.examples import example_text

POSIX = pytest.mark.skipif(os.name != "posix", reason="signals of a terminal that Windows does not have")


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    return runner(monkeypatch, capsys, tmp_path)


@pytest.fixture
def house(tmp_path) -> Path:
    path = tmp_path / "house.toml"
    path.write_text(example_text("starter"), encoding="utf-8")
    return path


@POSIX
@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
def test_open_answers_serves_and_stops_with_its_server(house, stop):
    (example,) = (i.epilog for i in cli.app.registered_commands if i.name == "open")
    arguments = shlex.split(example)[3:]
    assert "--no-browser" in arguments
    with opened(house.parent, *arguments) as pages:
        said = []
        while not said or not said[-1].startswith("My growing house: "):
            said.append(pages.process.stdout.readline())
            assert said[-1], said  # the answer comes while the pages are served, and the pipe ends only with them
        code, _, err = pages.stop(stop)
        assert not answers(pages.port)
    assert code == 0, err
    assert said[0].startswith(f"Pages: http://localhost:{pages.port}")


@POSIX
def test_open_asks_nothing_of_whoever_starts_it_first(house):
    home = {"HOME": str(house.parent), "USERPROFILE": str(house.parent), "BROWSER": "true"}
    with opened(house.parent, "house.toml", env=home) as pages:
        _, out, err = pages.stop()
    assert "Email" not in out + err


STUBBORN = (
    "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('up', flush=True); time.sleep(1e6)"
)


@POSIX
@pytest.mark.parametrize("stop", [signal.SIGINT, signal.SIGTERM])
def test_a_server_that_does_not_listen_is_ended_all_the_same(stop):
    script = f"import sys; from stocksim.faces.serving import run_until_stopped as run\n\
print('code', run([sys.executable, '-c', {STUBBORN!r}], grace_s=0.2))"
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True) as command:
        try:
            assert command.stdout.readline() == "up\n"
            command.send_signal(stop)
            out, _ = command.communicate(timeout=FAR_OUT_S)  # comes only when the stubborn server is gone as well
        finally:
            command.kill()
    assert (out, command.returncode) == ("code 0\n", 0)


def test_a_server_that_fails_gives_its_code():
    assert serving.run_until_stopped([sys.executable, "-c", "raise SystemExit(7)"]) == 7


def test_open_refuses_a_port_in_use(run):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        ran = run("open", "house.toml", "--no-browser", "--port", str(port))
    assert ran.code == 2
    (line,) = ran.lines
    assert line.startswith(f"--port: {port} ")
    assert line.endswith(f" --port {port + 1}.")


# ---- what is served -------------------------------------------------------------------------------------------------


@pytest.fixture
def started(monkeypatch):
    """What `open` would start: its command and environment; nothing is started."""
    found: list[tuple[list[str], dict[str, str]]] = []

    def note(command, env, meanwhile):
        found.append((command, env))
        with mock.patch.object(serving.socket, "create_connection"):  # as if it listened
            meanwhile()
        return 0

    monkeypatch.setattr(serving, "run_until_stopped", note)
    # not what is tested here
    monkeypatch.setattr(season_answers, "advise", lambda season, bar: Advice(season.findings, (), 0))
    return found


def greeting_in(out: str) -> str:
    """What is said of the network, without the answer that follows."""
    return out[out.index("Anyone on your network") : out.index("My growing house: ")]


def options(command: list[str]) -> dict[str, str]:
    return {key: command[at + 1] for at, key in enumerate(command) if key.startswith("--")}


def test_a_faulty_file_is_told_and_served(run, started):
    spoil("count = 60", "count = 2.5")
    ran = run("open", "house.toml", "--no-browser")
    assert ran.code == 0
    fault, served = ran.lines
    assert ", cohorts.perch.count: 2.5 " in fault
    assert "can be fixed" in served
    ((_, env),) = started
    assert env["STOCKSIM_SITE"] == str(Path("house.toml").absolute())


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "cannot be opened"),
        ("folder", "is a folder"),
        (b"\xff\xfea\x00", "is UTF-16"),
        (b"#" * 5_000_001, "more than 5 MB"),
    ],
)
def test_what_is_no_text_is_refused_before_anything_is_served(run, started, content, words):
    path = Path("house.toml")
    path.unlink()
    if content == "folder":
        path.mkdir()
    elif content is not None:
        path.write_bytes(content)
    refused(run("open", "house.toml", "--no-browser"), "house.toml: ", words)
    assert started == []


def test_the_demonstration_is_served_without_a_file_to_save_to(run, started, monkeypatch):
    monkeypatch.setenv("STOCKSIM_SITE", "left from before")
    assert run("open", "--no-browser").code == 0
    ((command, env),) = started
    assert "STOCKSIM_SITE" not in env
    assert env["STOCKSIM_FOLDER"] == str(Path.cwd())
    assert options(command)["--server.address"] == "127.0.0.1"
    assert "STOCKSIM_TOKEN" not in env


def test_a_network_is_told_who_may_do_what_before_it_is_served(run, started):
    ran = run("open", "house.toml", "--no-browser", "--network")
    ((command, env),) = started
    token = env["STOCKSIM_TOKEN"]
    assert len(token) == 16
    said = greeting_in(ran.out)
    for may in ("has the token", "see", "change", "save"):
        assert may in said
    assert "--read-only" in said
    assert f":8501/?token={token}" in said
    assert token not in " ".join(command)  # a list of processes shows it to nobody
    assert options(command)["--server.address"] == "0.0.0.0"
    assert options(command)["--client.showErrorDetails"] == "none"
    run("open", "house.toml", "--no-browser", "--network")
    assert started[1][1]["STOCKSIM_TOKEN"] != token


def test_a_network_may_be_shown_the_site_only(run, started):
    ran = run("open", "house.toml", "--no-browser", "--network", "--read-only", "--token", "by-the-tank")
    ((_, env),) = started
    assert (env["STOCKSIM_READ_ONLY"], env["STOCKSIM_TOKEN"]) == ("1", "by-the-tank")
    assert "can see the site." in ran.out
    assert "change" not in greeting_in(ran.out)


@pytest.mark.parametrize("token", ["short", "with a space", "mit-Umläuten", ""])
def test_a_token_that_keeps_nobody_out_is_refused(run, started, token):
    refused(run("open", "house.toml", "--network", "--token", token), "--token: give 8 or more letters")
    assert started == []


def test_a_token_without_a_network_is_refused(run, started):
    refused(run("open", "house.toml", "--token", "long-enough"), "--token: is for --network")


def test_the_own_address_is_none_without_a_network(monkeypatch):
    class Dead(socket.socket):
        def connect(self, *_):
            raise OSError("no network")

    monkeypatch.setattr(serving.socket, "socket", Dead)
    assert serving.own_address() == ""
    with pytest.raises(InputError):
        serving.access(False, False, "long-enough")


@contextmanager
def a_web_service():
    """Listens as a proxy for all that a process asks of the world; gives the list of what was asked."""
    asked: list[bytes] = []
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def listen() -> None:
            while True:
                try:
                    connection, _ = listener.accept()
                except OSError:
                    return
                with connection:
                    asked.append(connection.recv(1000))

        thread = threading.Thread(target=listen, daemon=True)
        thread.start()
        yield asked, f"http://127.0.0.1:{listener.getsockname()[1]}"


@POSIX
def test_a_network_server_asks_nobody_for_its_address(house):
    with a_web_service() as (asked, proxy):
        world = {"http_proxy": proxy, "https_proxy": proxy, "no_proxy": "127.0.0.1,localhost"}
        with opened(house.parent, "house.toml", "--no-browser", "--network", env=world) as pages:
            # a page of another address knocks: it is refused, and nobody is asked whether that address is ours
            with socket.create_connection(("127.0.0.1", pages.port), timeout=FAR_OUT_S) as knock:
                knock.sendall(
                    b"GET /_stcore/stream HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://elsewhere.example\r\n"
                    b"Upgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
                    b"Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n\r\n"
                )
                assert b" 403 " in knock.recv(200)
            pages.stop()
        assert asked == []


def test_the_port_of_a_free_machine_is_free():
    serving.refuse_port(free_port())
