"""Troubled sites that advice is judged on, all invented: healthy ones broken in one known way, and others by hand."""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Iterator
from typing import Any, NamedTuple

START = dt.date(2026, 10, 1)
Tables = dict[str, Any]


class Troubled(NamedTuple):
    """A site in trouble; ``undo`` are the fields that make it healthy again, None where nobody broke it."""

    name: str
    tables: Tables
    undo: dict[str, Any] | None


def day(number: int) -> dt.date:
    """A day of the season."""
    return START + dt.timedelta(days=number)


def loop_of_two(
    first: tuple[str, str, int, float], second: tuple[str, str, int, float], temperature_c: float, days: int = 150
) -> Tables:
    """A healthy loop of two tanks and a gravel bed: species, feed, fish and weight [g] of each tank."""
    tables: Tables = {
        "site": {"name": "two tanks (invented)", "elevation": "150 m"},
        "season": {"start": START, "end": day(days - 1)},
        "loops": {
            "main": {
                "sump": "1200 L", "water_temperature": {"kind": "constant", "value": f"{temperature_c} degC"},
                "alkalinity_target": "80 mg/L", "buffer": "potassium_bicarbonate",
                "source_water": {"alkalinity": "60 mg/L", "chloride": "60 mg/L"},
            }
        },
        "tanks": {}, "cohorts": {},
        "beds": {"gravel": {"loop": "main", "kind": "media", "area": "9 m2"}},
        "biofilters": {
            "drip": {
                "loop": "main", "kind": "trickling", "media_volume": "120 L", "specific_surface": "200 m2/m3",
                "flow": "2500 L/h",
            }
        },
    }  # fmt: skip
    for name, (species, feed, count, weight) in (("one", first), ("two", second)):
        tables["tanks"][name] = {
            "loop": "main", "volume": "1500 L", "flow": "1500 L/h",
            "oxygen_supply": {"kind": "diffuser", "power": "80 W"},
        }  # fmt: skip
        tables["cohorts"][f"fish_{name}"] = {
            "species": species, "tank": name, "count": count, "mean_weight": f"{weight} g", "feed": feed,
            "ration": {"kind": "appetite", "fraction": 0.8},
        }  # fmt: skip
    return tables


HEALTHY: dict[str, Tables] = {
    "tilapia": loop_of_two(("nile_tilapia", "tilapia_34", 60, 60), ("nile_tilapia", "tilapia_34", 50, 80), 25.0),
    "cats_bluegill": loop_of_two(("channel_catfish", "catfish_32", 50, 100), ("bluegill", "sunfish_44", 90, 40), 23.0),
    "trout": loop_of_two(("rainbow_trout", "trout_44", 55, 60), ("rainbow_trout", "trout_44", 45, 80), 12.0),
    "perch": loop_of_two(("yellow_perch", "perch_45", 140, 35), ("yellow_perch", "perch_45", 110, 50), 19.0),
    "carp_goldfish": loop_of_two(("common_carp", "carp_35", 50, 90), ("goldfish", "koi_wheatgerm_32", 90, 30), 20.0),
    "bass": loop_of_two(("largemouth_bass", "bass_46", 50, 70), ("bluegill", "sunfish_44", 80, 40), 22.0),
    "walleye": loop_of_two(("walleye", "cool_water_40", 60, 60), ("walleye", "cool_water_40", 50, 80), 20.0),
}


def changed(tables: Tables, fields: dict[str, Any]) -> Tables:
    """Tables with some dotted fields changed; None removes one."""
    new = copy.deepcopy(tables)
    for dotted, value in fields.items():
        *path, key = dotted.split(".")
        table = new
        for step in path:
            table = table[step]
        if value is None:
            table.pop(key, None)
        else:
            table[key] = value
    return new


def looked_up(tables: Tables, dotted: str) -> Any:
    """What stands in a field; None where nothing does."""
    table: Any = tables
    for step in dotted.split("."):
        table = table.get(step) if isinstance(table, dict) else None
    return copy.deepcopy(table)


# one known way each to break a healthy site
BREAKS: dict[str, dict[str, Any]] = {
    "pump of one tank all but stopped": {"tanks.one.flow": "25 L/h"},
    "pump of both tanks too small": {"tanks.one.flow": "100 L/h", "tanks.two.flow": "100 L/h"},
    "air pump failed": {"tanks.one.oxygen_supply": {"kind": "diffuser", "power": "6 W"}},
    "both air pumps too small": {
        "tanks.one.oxygen_supply": {"kind": "diffuser", "power": "12 W"},
        "tanks.two.oxygen_supply": {"kind": "diffuser", "power": "12 W"},
    },
    "far too many fish in one tank": {"cohorts.fish_one.count": 420},
    "too many fish in both": {"cohorts.fish_one.count": 260, "cohorts.fish_two.count": 260},
    "base forgotten in soft water": {
        "loops.main.alkalinity_target": None,
        "loops.main.source_water": {"alkalinity": "8 mg/L", "chloride": "60 mg/L"},
    },
    "hard water": {
        "loops.main.source_water": {"alkalinity": "330 mg/L", "chloride": "60 mg/L"},
        "loops.main.alkalinity_target": "330 mg/L",
    },
    "biofilter left out and a small bed": {"beds.gravel.area": "1 m2", "biofilters.drip.media_volume": "4 L"},
    "new film": {"loops.main.biofilter_start": "new", "loops.main.biofilter_started": START},
    "everything in one tank": {"cohorts.fish_two.tank": "one"},
    "ration doubled": {"cohorts.fish_one.count": 180, "cohorts.fish_one.ration": {"kind": "appetite", "fraction": 1.0}},
}  # fmt: skip


def broken_sites() -> Iterator[Troubled]:
    """Every healthy site broken in every way; not all of them are in trouble by it."""
    for name, healthy in HEALTHY.items():
        for how, fields in BREAKS.items():
            undo = {field: looked_up(healthy, field) for field in fields}
            yield Troubled(f"{name}: {how}", changed(healthy, fields), undo)


def other_sites() -> Iterator[Troubled]:
    """Sites in trouble for more than one reason, or by weather."""
    base = HEALTHY
    several = {
        "crowded on a new film": ("tilapia", {"cohorts.fish_one.count": 200, "loops.main.biofilter_start": "new",
                                             "loops.main.biofilter_started": START}),
        "little air and little flow": ("trout", {"tanks.one.oxygen_supply": {"kind": "none"},
                                                "tanks.one.flow": "200 L/h"}),
        "little air, many fish": ("perch", {"tanks.two.oxygen_supply": {"kind": "none"},
                                           "cohorts.fish_two.count": 260}),
        "cold autumn": ("tilapia", {"loops.main.water_temperature": {"kind": "monthly", "values": {
            "oct": "22 degC", "nov": "16 degC", "dec": "13 degC", "jan": "12 degC", "feb": "14 degC"}}}),
        "hot autumn": ("trout", {"loops.main.water_temperature": {"kind": "monthly", "values": {
            "oct": "23 degC", "nov": "21 degC", "dec": "14 degC", "jan": "12 degC", "feb": "12 degC"}}}),
        "soft water and many fish": ("tilapia", {"loops.main.alkalinity_target": None, "cohorts.fish_one.count": 150,
            "loops.main.source_water": {"alkalinity": "5 mg/L"}}),
        "hunters above their prey": ("bass", {"cohorts.fish_two.tank": "one", "cohorts.fish_one.mean_weight": "300 g",
                                             "cohorts.fish_two.mean_weight": "8 g", "cohorts.fish_one.count": 20}),
        "no film at all": ("cats_bluegill", {"beds": {}, "biofilters": {}}),
        "a bad test": ("tilapia", {"loops.main.water_tests": [{"date": day(20), "nitrite_n": "4 mg/L"}]}),
        "thin air": ("trout", {"site.elevation": "2600 m", "tanks.one.oxygen_supply": {"kind": "diffuser",
                                                                                    "power": "25 W"}}),
        "large fish late": ("tilapia", {"cohorts.fish_one.mean_weight": "260 g", "cohorts.fish_one.count": 110}),
        "no air anywhere": ("carp_goldfish", {"tanks.one.oxygen_supply": {"kind": "none"},
            "tanks.two.oxygen_supply": {"kind": "none"}, "cohorts.fish_one.count": 160}),
        "alkaline and crowded": ("perch", {"loops.main.ph": 8.4, "cohorts.fish_one.count": 240}),
        "everything small": ("walleye", {"tanks.one.volume": "400 L", "tanks.two.volume": "400 L"}),
        "sump alone": ("bass", {"beds.gravel.area": "0.5 m2", "biofilters.drip.media_volume": "2 L",
                               "loops.main.sump": "200 L"}),
        "two hundred trout": ("trout", {"cohorts.fish_one.count": 200, "cohorts.fish_two.count": 200}),
        "no fish eaten in time": ("cats_bluegill", {"cohorts.fish_one.mean_weight": "450 g",
                                                   "cohorts.fish_one.count": 90}),
        "a jump in the load": ("tilapia", {"events": [{"kind": "stock", "date": day(60), "cohort": "fish_one",
                                                      "count": 200, "mean_weight": "120 g"}]}),
        "fed by the beds": ("perch", {"cohorts.fish_one.ration": {"kind": "percent", "percent": 6.0}}),
        "warm cats in hard water": ("cats_bluegill", {"loops.main.ph": 8.6, "cohorts.fish_one.count": 120}),
        "chloride forgotten": ("cats_bluegill", {"loops.main.source_water": {"alkalinity": "60 mg/L",
            "chloride": "2 mg/L"}, "beds.gravel.area": "2 m2", "biofilters.drip.media_volume": "20 L"}),
        "a tank of 400 L": ("carp_goldfish", {"tanks.one.volume": "300 L"}),
    }  # fmt: skip
    for name, (healthy, fields) in several.items():
        yield Troubled(name, changed(base[healthy], fields), None)
