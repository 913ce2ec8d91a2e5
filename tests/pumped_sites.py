"""Two invented sites with pumps: one with all that a keeper may build, one pump that serves all in another."""

from __future__ import annotations

import datetime as dt

from small_sites import START, one_tank


def farm(days: int = 12) -> dict:
    """Two pumps and a line of towers on circuits of their own, a generator and a battery, siphon beds, a raft on it.

    All invented.
    """
    end = START + dt.timedelta(days=days - 1)
    return {
        "site": {"name": "pumped farm (invented)", "elevation": "100 m"},
        "season": {"start": START, "end": end},
        "loops": {
            "cool": {
                "sump": "1500 L", "depth": "60 cm", "sump_brim": "2200 L", "sump_least": "250 L",
                "ph": 7.0, "alkalinity_target": "80 mg/L",
                "water_temperature": {"kind": "constant", "value": "20 degC"},
                "oxygen_supply": {"kind": "diffuser", "power": "20 W", "circuit": "air"},
            }
        },
        "tanks": {
            "east": {
                "loop": "cool", "volume": "1500 L", "flow": "1800 L/h", "overflows_to": ["drip"],
                "oxygen_supply": {"kind": "diffuser", "power": "60 W", "circuit": "air"},
            },
            "west": {
                "loop": "cool", "volume": "900 L", "flow": "1000 L/h",
                "oxygen_supply": {"kind": "diffuser", "power": "40 W", "circuit": "west"},
            },
        },
        "beds": {
            "north_gravel": {"loop": "cool", "kind": "media", "area": "3 m2", "flow": "900 L/h", "flooding": "siphon"},
            "south_gravel": {
                "loop": "cool", "kind": "media", "area": "3 m2", "flow": "900 L/h", "flooding": "timer",
                "swing": "280 L",
            },
            "line": {"loop": "cool", "kind": "tower", "area": "1 m2", "nitrifying_surface": "3 m2"},
            "isle": {"loop": "cool", "kind": "raft", "area": "1.5 m2", "floats_on_sump": True},
        },
        "biofilters": {
            "drip": {
                "loop": "cool", "kind": "trickling", "media_volume": "100 L", "specific_surface": "200 m2/m3",
                "flow": "1500 L/h",
            }
        },
        "pumps": {
            "main": {
                "feeds": ["east", "north_gravel", "south_gravel"], "power": "120 W", "lift": "1.6 m",
                "flow": "3600 L/h", "circuit": "water", "drain_back": "30 L",
            },
            "side": {"feeds": ["west"], "power": "45 W", "lift": "1.4 m", "circuit": "west", "drain_back": "10 L"},
            "towers": {"feeds": ["line"], "power": "20 W", "lift": "2.1 m", "flow": "150 L/h", "circuit": "towers"},
        },
        "backups": {
            "engine": {
                "kind": "generator", "carries": ["water", "air"], "power": "1.5 kW", "switch": "by_hand",
                "after_minutes": 30, "fuel_volume": "10 L", "burns": "1 L/h",
            },
            "cells": {"kind": "battery", "carries": ["air"], "power": "300 W", "energy": "960 Wh"},
        },
        "cohorts": {
            "perch": {
                "species": "yellow_perch", "tank": "east", "count": 220, "mean_weight": "90 g", "feed": "perch_45",
            },
            "more_perch": {
                "species": "yellow_perch", "tank": "west", "count": 130, "mean_weight": "90 g", "feed": "perch_45",
            },
        },
    }  # fmt: skip


def one_pump(days: int = 6) -> dict:
    """One tank at a constant level, whose overflow floods the one bed: one pump lifts it all. Invented."""
    tables = one_tank(days=days)
    tables["tanks"]["one"]["overflows_to"] = ["gravel"]
    tables["pumps"] = {"only": {"feeds": ["one"], "power": "30 W", "lift": "1.5 m"}}
    return tables
