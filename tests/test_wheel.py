"""What a wheel holds: everything a keeper needs, and that it runs from there; no tests."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
NEEDED = [name for name in ("build", "hatchling") if importlib.util.find_spec(name) is None]

pytestmark = pytest.mark.skipif(bool(NEEDED), reason=f"not installed: {', '.join(NEEDED)}")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    ran = subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder), str(ROOT)],
        capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stdout + ran.stderr
    (path,) = folder.glob("*.whl")
    return path


@pytest.fixture(scope="module")
def names(wheel) -> set[str]:
    with zipfile.ZipFile(wheel) as packed:
        return set(packed.namelist())


def beside(folder: str, pattern: str, under: str) -> set[str]:
    """Names a wheel must have for the files of a folder of the checkout."""
    found = {f"{under}/{path.relative_to(ROOT / folder).as_posix()}" for path in (ROOT / folder).rglob(pattern)}
    return {name for name in found if "__pycache__" not in name}


def test_the_wheel_holds_the_library_the_examples_and_the_pages(names):
    for kind in ("fish", "feeds", "crops"):
        wanted = beside(f"species_params/{kind}", "*.toml", f"stocksim/species_params/{kind}")
        assert len(wanted) >= 10
        assert wanted <= names
    examples = beside("stocksim/site/examples", "*.toml", "stocksim/site/examples")
    assert len(examples) >= 2
    assert examples <= names
    assert {"stocksim/app.py", "stocksim/glossary.md", "stocksim/py.typed"} <= names
    assert beside("stocksim", "*.py", "stocksim") <= names
    assert [name for name in names if name.startswith("stocksim/answers/") and name.endswith("/page.py")]


def test_the_wheel_holds_no_tests_and_nothing_by_the_way(names):
    assert {name.split("/")[0].split("-")[0] for name in names} == {"stocksim"}
    for name in names:
        assert "test" not in name.lower(), name
        assert "__pycache__" not in name, name
        assert not name.endswith((".pyc", ".db", ".sqlite", ".log")), name


def test_the_wheel_names_its_command_and_its_licence(wheel, names):
    (entry,) = (name for name in names if name.endswith(".dist-info/entry_points.txt"))
    with zipfile.ZipFile(wheel) as packed:
        assert "stocksim = stocksim.__main__:main" in packed.read(entry).decode()
    assert [name for name in names if name.endswith("licenses/LICENSE")]


def test_a_season_runs_from_the_unpacked_wheel(wheel, tmp_path):
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(tmp_path / "site")
    script = (
        "import json, stocksim, sys\n"
        "from stocksim.faces.serving import app_file\n"
        "from stocksim.library.sources import library_folder\n"
        "from stocksim.site.examples import FOLDER\n"
        "season = stocksim.run_season(stocksim.load_site(FOLDER / 'starter.toml'))\n"
        "json.dump([stocksim.__file__, str(app_file()), app_file().is_file(), str(library_folder()),"
        " len(season.tanks)], sys.stdout)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, env=os.environ | {"PYTHONPATH": str(tmp_path / "site")},
        capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    package, app, has_app, library, days = json.loads(ran.stdout)
    inside = str(tmp_path / "site" / "stocksim")
    assert [path.startswith(inside) for path in (package, app, library)] == [True] * 3
    assert has_app
    assert days == 212
