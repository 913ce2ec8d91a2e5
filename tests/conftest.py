"""What all tests share: hypothesis without a stopwatch (the machine is shared), and the demonstration site."""

from __future__ import annotations

import os
import secrets
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

TESTS = Path(__file__).resolve().parent
# pytest's importlib mode puts no folder on the path: this lets test files import the plain helpers beside them
sys.path.insert(0, str(TESTS))

from browsing import address, blank, browser, context, drafts, visit  # noqa: E402, F401

# text is broken to the terminal's width: the same in every test, whoever's terminal it runs in
os.environ["COLUMNS"] = "100"

QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large]
settings.register_profile("stocksim", deadline=None, suppress_health_check=QUIET)
# CI tries the same examples each time; new ones are hunted on the developer's machine
settings.register_profile("stocksim-ci", deadline=None, suppress_health_check=QUIET, derandomize=True)
settings.load_profile("stocksim-ci" if os.environ.get("CI") else "stocksim")


LONGEST_S = 480  # far more than the slowest test takes on a busy machine


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol():
    """Fail a test that waits for what never comes, where it stands: the others go on."""
    if not hasattr(signal, "SIGALRM") or threading.current_thread() is not threading.main_thread():
        return (yield)

    def stop(_number, _frame):
        pytest.fail(f"has not ended in {LONGEST_S} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(LONGEST_S)
    try:
        return (yield)
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


# Tests that share what is dear to begin, one worker for each group: a browser with its server, what commands print,
# sources read into trees. Two workers share the browser's: one would be the last to end, more would press each other's
# pages out of time.
TOGETHER = {
    "tests/test_browser.py": "pages looked at", "tests/test_browser_saving.py": "pages looked at",
    "tests/test_browser_typing.py": "pages typed into", "tests/test_browser_start.py": "pages typed into",
    "tests/test_today_page.py::TestBrowser": "pages typed into",
    "tests/test_guide.py": "printed", "tests/test_readme.py": "printed", "tests/test_house_rules.py": "sources read",
}  # fmt: skip


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Send the tests of a group to one worker, and each other test to whichever is free.

    By the name and not by the mark of xdist: pytest 9.2 does not hand on what xdist 3.8 makes of the mark, so that each
    worker began a browser and a server of its own.
    """
    from xdist.scheduler import LoadScopeScheduling

    class Together(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return next((group for name, group in TOGETHER.items() if nodeid.startswith(f"{name}::")), nodeid)

    return Together(config, log)


def pytest_configure(config):
    """Compile what is compiled once, before the workers start: none of them waits for it or tells of it in a test."""
    if hasattr(config, "workerinput") or config.option.collectonly:
        return
    from stocksim import load_site, run_season
    from stocksim.engine.season import prepare
    from stocksim.site.examples import FOLDER

    with reading_tests(config):
        prepare()
        run_season(load_site(FOLDER / "heron_lane_computed.toml"))


@contextmanager
def reading_tests(config) -> Iterator[None]:
    """Read all test files in a clean clone meanwhile, which keeps them as bytecode: else each worker rewrites them."""
    is_kept = sys.dont_write_bytecode or any((TESTS / "__pycache__").glob("test_*.pyc"))
    if is_kept or not getattr(config.option, "numprocesses", None):
        yield
        return
    # those of the advice run seasons as they are read, and would wait for the engine
    command = [
        sys.executable, "-m", "pytest", "--collect-only", "-n", "0", "-p", "no:cacheprovider",
        f"--ignore={TESTS / 'advice'}", *config.args,
    ]  # fmt: skip
    quiet = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    with subprocess.Popen(command, cwd=config.invocation_params.dir, **quiet):
        yield  # and waits for it; a file that cannot be read is told by the workers


@pytest.fixture(scope="session")
def demo_site():
    """The demonstration site shipped with the package."""
    from stocksim import load_site
    from stocksim.site.examples import FOLDER

    return load_site(FOLDER / "heron_lane.toml")


@pytest.fixture(scope="session")
def demo_season(demo_site):
    """Its season."""
    from stocksim import run_season

    return run_season(demo_site)


@pytest.fixture(scope="session", autouse=True)
def pages_are_compiled_once():
    """Streamlit's test runner compiles each page and searches all packages anew at every run; a server does not."""
    if "streamlit.testing.v1" not in sys.modules:
        yield
        return
    from streamlit.components.v2 import manifest_scanner
    from streamlit.runtime.scriptrunner.script_cache import ScriptCache
    from streamlit.testing.v1 import app_test, local_script_runner

    scripts, found = ScriptCache(), manifest_scanner.scan_component_manifests()
    with pytest.MonkeyPatch.context() as patch:
        for module in (app_test, local_script_runner):
            patch.setattr(module, "ScriptCache", lambda: scripts)
        patch.setattr(manifest_scanner, "scan_component_manifests", lambda max_workers=None: found)
        yield


@pytest.fixture(autouse=True)
def own_state_folder(tmp_path_factory, monkeypatch):
    """Drafts without a file go to a folder of the test's own, never to that of whoever runs the tests."""
    monkeypatch.setenv("STOCKSIM_STATE", str(tmp_path_factory.getbasetemp() / "state" / secrets.token_hex(4)))


@pytest.fixture(autouse=True)
def no_fault_of_ours(caplog):
    """The pages tell a fault of ours in a sentence; a test that meant to see none must not pass over it."""
    yield
    met = [record for record in caplog.get_records("call") if record.name == "stocksim.pages"]
    assert not met, [str(record.exc_info[1]) for record in met if record.exc_info]
