"""What all tests share: hypothesis without a stopwatch (the machine is shared), and the demonstration site."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

TESTS = Path(__file__).resolve().parent
# pytest's importlib mode puts no folder on the path: this lets test files import the plain helpers beside them
sys.path.insert(0, str(TESTS))

settings.register_profile(
    "stocksim", deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
settings.load_profile("stocksim")


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
