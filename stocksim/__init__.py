"""Stocksim: a season of fish, feed, ammonia, oxygen and planted area from one site file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stocksim.errors import Fault, InputError, OutsideValidity, ParameterError, StocksimError

if TYPE_CHECKING:
    from stocksim.answers.season.answer import write_season
    from stocksim.answers.stock.decide import plan_stocking
    from stocksim.drawn.outlook import Outlook, outlook
    from stocksim.engine.many_seasons import run_seasons
    from stocksim.engine.results.frames import Season
    from stocksim.engine.results.many import ManySeasons
    from stocksim.engine.running import grow, run_season
    from stocksim.site.reading import Site, load_site

__version__ = "0.1.0"

__all__ = [
    "Fault",
    "InputError",
    "ManySeasons",
    "Outlook",
    "OutsideValidity",
    "ParameterError",
    "Season",
    "Site",
    "StocksimError",
    "grow",
    "load_site",
    "outlook",
    "plan_stocking",
    "run_season",
    "run_seasons",
    "write_season",
]

_LAZY = {
    "ManySeasons": "stocksim.engine.results.many",
    "Outlook": "stocksim.drawn.outlook",
    "Season": "stocksim.engine.results.frames",
    "Site": "stocksim.site.reading",
    "grow": "stocksim.engine.running",
    "load_site": "stocksim.site.reading",
    "outlook": "stocksim.drawn.outlook",
    "plan_stocking": "stocksim.answers.stock.decide",
    "run_season": "stocksim.engine.running",
    "run_seasons": "stocksim.engine.many_seasons",
    "write_season": "stocksim.answers.season.answer",
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first used: ``import stocksim`` alone stays quick."""
    if name not in _LAZY:
        raise AttributeError(f"module 'stocksim' has no attribute '{name}'")
    from importlib import import_module

    found = globals()[name] = getattr(import_module(_LAZY[name]), name)
    return found


def __dir__() -> list[str]:
    """The public names, whether used already or not."""
    return [*__all__, "__version__"]
