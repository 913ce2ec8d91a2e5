"""A real Chromium on the served pages, for the tests that need one: fixtures, and how to wait for a page."""

from __future__ import annotations

import io
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest

ROOT = Path(__file__).parents[1]
CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
READY = '[data-testid="stApp"][data-test-script-state="notRunning"]'
_SHADE, _FEW_PIXELS = 48, 0.002  # of 255; share of a picture
LONG_MS = 120_000  # far beyond what a page takes on a busy machine; nothing waits for it to pass
MARKS = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.is_file(), reason=f"no Chromium at {CHROMIUM}"),
]


@contextmanager
def served(site: Path | None = None, state: Path | None = None) -> Iterator[str]:
    """Address of the pages, served on a free port of this machine, with a site file or the demonstration.

    Drafts go to the folder ``state``, or to one of their own, never to that of whoever runs the tests.
    """
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [
        sys.executable, "-m", "streamlit", "run", str(ROOT / "app.py"), "--server.port", str(port),
        "--server.address", "127.0.0.1", "--server.headless", "true", "--browser.gatherUsageStats", "false",
        "--server.fileWatcherType", "none",
    ]  # fmt: skip
    environment = {key: value for key, value in os.environ.items() if key != "STOCKSIM_SITE"}
    environment |= {"STOCKSIM_SITE": str(site)} if site is not None else {}
    environment["STOCKSIM_STATE"] = str(state or tempfile.mkdtemp(prefix="stocksim-state-"))
    with subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as server:
        try:
            for _ in range(4 * LONG_MS // 1000):
                try:
                    with urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=5) as answer:
                        if answer.status == 200:
                            break
                except OSError:
                    time.sleep(0.25)
                if server.poll() is not None:
                    pytest.fail("the server of the pages ended by itself")
            else:
                pytest.fail("the pages did not come up")
            yield f"http://127.0.0.1:{port}/"
        finally:
            server.terminate()


@pytest.fixture(scope="session")
def drafts(tmp_path_factory) -> Path:
    """Folder of the drafts of the pages with the demonstration."""
    return tmp_path_factory.mktemp("drafts")


@pytest.fixture(scope="session")
def address(drafts) -> Iterator[str]:
    """Address of the pages with the demonstration, served once for all tests of a worker."""
    with served(state=drafts) as url:
        yield url


@pytest.fixture(scope="module")
def browser():
    """A Chromium for one test file, for its event loop would stand in the way of others; skipped without playwright."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def context(browser):
    """What the pages of a test file share: a second one need neither fetch nor compile the scripts again."""
    opened = browser.new_context(accept_downloads=True)
    yield opened
    opened.close()


@pytest.fixture
def blank(context):
    """A page without ours, for what is given to it."""
    page = context.new_page()
    yield page
    page.close()


@pytest.fixture
def visit(context, request, drafts):
    """Opens the pages at a width; afterwards no console error and no foreign request may have been seen."""
    shutil.rmtree(drafts / "no_file", ignore_errors=True)  # what the tests before have left unsaved
    complaints: list[str] = []
    opened = []

    def look_at(asked) -> None:
        parts = urlsplit(asked.url)
        if parts.scheme not in ("data", "blob") and parts.hostname != "127.0.0.1":
            complaints.append(f"request to {asked.url}")

    def heard(message) -> None:
        # opened at a page's own address, Streamlit first asks below it where its server is
        is_search = "404" in message.text and "/_stcore/" in message.location["url"]
        if message.type == "error" and not is_search:
            complaints.append(f"console: {message.text} ({message.location['url']})")

    def visit(width: int, height: int = 900, url: str | None = None):
        page = context.new_page()
        page.emulate_media(color_scheme="light")
        page.set_viewport_size({"width": width, "height": height})
        page.set_default_timeout(LONG_MS)
        opened.append(page)
        page.on("request", look_at)
        page.on("websocket", look_at)
        page.on("console", heard)
        page.on("pageerror", lambda error: complaints.append(f"page error: {error}"))
        page.goto(request.getfixturevalue("address") if url is None else url)
        settle(page)
        return page

    yield visit
    for page in opened:
        page.close()
    assert not complaints, "; ".join(complaints)


def settle(page) -> None:
    """Wait until the script has run and the charts have had time to be drawn."""
    page.wait_for_selector(READY, timeout=LONG_MS)
    page.wait_for_timeout(700)
    page.wait_for_selector(READY, timeout=LONG_MS)


def keep_picture(page, name: str) -> None:
    """Keep what a page shows as a picture of the docs, where it looks otherwise than the one that is there.

    A run of the tests makes the pictures anew so; letters drawn a shade otherwise make none.
    """
    from PIL import Image, ImageChops

    path = ROOT / "docs" / "images" / f"{name}.png"
    shot = page.screenshot()
    new = Image.open(io.BytesIO(shot)).convert("RGB")
    old = Image.open(path).convert("RGB") if path.is_file() else None
    if old is not None and old.size == new.size:
        moved = ImageChops.difference(old, new).convert("L").point(lambda level: 255 if level > _SHADE else 0)
        if moved.histogram()[255] < _FEW_PIXELS * new.size[0] * new.size[1]:
            return
    path.write_bytes(shot)


def upload(page, files: list[str], heading: str) -> None:
    """Give the pages files of one's own, and wait for the site's name."""
    page.get_by_text("Change the site").click()
    page.locator('[data-testid="stFileUploader"] input[type=file]').set_input_files(files)
    page.locator(".ss-site", has_text=heading).wait_for(timeout=LONG_MS)
    page.keyboard.press("Escape")


def open_example(page, name: str, heading: str) -> None:
    """Show an example, and wait for its name."""
    page.get_by_text("Change the site").click()
    page.get_by_role("button", name=f"Open the example {name}", exact=True).click()
    page.locator(".ss-site", has_text=re.compile(heading)).wait_for(timeout=LONG_MS)
    page.keyboard.press("Escape")
    settle(page)


def show(page, name: str) -> None:
    """Go to a page of the menu, and wait until it stands; on a narrow screen some links are folded."""
    link = page.get_by_role("link", name=name, exact=True)
    if not link.is_visible():
        page.locator(".st-key-menu_fold button").click()
    link.click()
    settle(page)


def axe_faults(page) -> list[str]:
    """What axe-core finds wrong with a page, of any impact."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed")
    found = axe.Axe().run(page).response["violations"]
    return [f"{one['id']} ({one['impact']}): {node['html'][:200]}" for one in found for node in one["nodes"]]


def small_targets(page) -> list[str]:
    """Links, buttons and fields lower than 44 px; a box with its own label counts with that."""
    return page.evaluate(
        """() => [...document.querySelectorAll('a, button, input, summary, [role="radio"]')].filter(one => {
             const box = (one.closest('label') ?? one).getBoundingClientRect();
             return box.width > 1 && box.height > 1 && box.height < 43.5 && one.type !== 'file'
               && !one.closest('[aria-hidden="true"]')
               && getComputedStyle(one).visibility !== 'hidden';
           }).map(one => one.outerHTML.slice(0, 120))"""
    )


def width_of(page) -> int:
    """Widest content of the page and of its scrolling part."""
    return page.evaluate(
        """() => Math.max(document.documentElement.scrollWidth,
                          document.querySelector('[data-testid="stMain"]').scrollWidth)"""
    )
