"""What all tests share: hypothesis without a stopwatch (the machine is shared), and the demonstration site."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

TESTS = Path(__file__).resolve().parent
# pytest's importlib mode puts no folder on the path: this lets test files import the plain helpers beside them
sys.path.insert(0, str(TESTS))

# text is broken to the terminal's width: the same in every test, whoever's terminal it runs in
os.environ["COLUMNS"] = "100"

QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large]
settings.register_profile("stocksim", deadline=None, suppress_health_check=QUIET)
# CI tries the same examples each time; new ones are hunted on the developer's machine
settings.register_profile("stocksim-ci", deadline=None, suppress_health_check=QUIET, derandomize=True)
settings.load_profile("stocksim-ci" if os.environ.get("CI") else "stocksim")


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
