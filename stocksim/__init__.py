"""Stocksim: a season of fish, feed, ammonia, oxygen and planted area from one site file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stocksim.errors import Fault, InputError, OutsideValidity, ParameterError, StocksimError

if TYPE_CHECKING:
    from stocksim.engine.results import Season
    from stocksim.engine.running import grow, run_season
    from stocksim.planning.stocking import plan_stocking
    from stocksim.site.reading import Site, load_site

__all__ = [
    "Fault",
    "InputError",
    "OutsideValidity",
    "ParameterError",
    "Season",
    "Site",
    "StocksimError",
    "grow",
    "load_site",
    "plan_stocking",
    "run_season",
]

_LAZY = {
    "Season": "stocksim.engine.results",
    "Site": "stocksim.site.reading",
    "grow": "stocksim.engine.running",
    "load_site": "stocksim.site.reading",
    "plan_stocking": "stocksim.planning.stocking",
    "run_season": "stocksim.engine.running",
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first used: ``import stocksim`` alone stays quick."""
    if name not in _LAZY:
        raise AttributeError(f"module 'stocksim' has no attribute '{name}'")
    from importlib import import_module

    return getattr(import_module(_LAZY[name]), name)
