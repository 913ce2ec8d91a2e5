"""Sound sites to spoil: the shipped examples cut short, and two sites that together hold every key there is.

All of it is invented. A site is its tables and the files beside it; everything is written out as text before it is
read, so that a failing case is a folder that anyone can run.
"""

from __future__ import annotations

import copy
import datetime as dt
import json
import math
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

START = dt.date(2026, 10, 1)
DAYS = 30
EXAMPLES = Path(__file__).resolve().parents[2] / "stocksim" / "site" / "examples"
LIBRARY = Path(__file__).resolve().parents[2] / "species_params"
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


@dataclass
class Base:
    """A sound site: tables of the site file, and the other files of its folder by name."""

    name: str
    tables: dict
    files: dict[str, str] = field(default_factory=dict)


# --- writing TOML: only what the tables of a site or a library file hold


def _key(key: object) -> str:
    text = str(key)
    is_bare = text != "" and all(c.isascii() and (c.isalnum() or c in "_-") for c in text)
    return text if is_bare else json.dumps(text)


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (dt.datetime, dt.date, dt.time)):
        return value.isoformat()
    if isinstance(value, int):
        return hex(value) if value > 10**3000 else str(value)
    if isinstance(value, float):
        return repr(value) if math.isfinite(value) else str(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }" if value else "{}"
    if isinstance(value, list):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    # TOML's escapes are JSON's, but half of a surrogate pair and 0x7f may not stand in a file
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_text(tables: dict) -> str:
    """Tables as a TOML file: tables of tables under headings, everything deeper on one line."""
    lines = [f"{_key(key)} = {_value(value)}" for key, value in tables.items() if not isinstance(value, dict)]
    for key, table in tables.items():
        if not isinstance(table, dict):
            continue
        inner = {name: value for name, value in table.items() if isinstance(value, dict)}
        own = {name: value for name, value in table.items() if name not in inner}
        if own or not inner:
            lines += ["", f"[{_key(key)}]", *(f"{_key(k)} = {_value(v)}" for k, v in own.items())]
        for name, values in inner.items():
            lines += ["", f"[{_key(key)}.{_key(name)}]", *(f"{_key(k)} = {_value(v)}" for k, v in values.items())]
    return "\n".join(lines) + "\n"


# --- shipped examples, their season squeezed into a few weeks


def squeezed(tables: dict, days: int = DAYS) -> dict:
    """The same site with all dates of its season drawn together, so that all that happens in it still happens."""
    start, end = tables["season"]["start"], tables["season"]["end"]
    share = (days - 1) / max((end - start).days, 1)

    def moved(node: object) -> object:
        if isinstance(node, dict):
            return {key: moved(value) for key, value in node.items()}
        if isinstance(node, list):
            return [moved(value) for value in node]
        if isinstance(node, dt.date) and start <= node <= end:
            return start + dt.timedelta(days=math.ceil((node - start).days * share))
        return node

    return moved(copy.deepcopy(tables))  # type: ignore[return-value]


EXAMPLES_TRIED = ("starter", "heron_lane", "heron_lane_young", "heron_lane_year", "heron_lane_computed")


def uncut_examples() -> list[Base]:
    """The shipped examples at their full length: slow, but what takes months to go wrong shows only there."""
    return [
        Base(f"{name}, uncut", tomllib.loads((EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")))
        for name in EXAMPLES_TRIED
    ]


def example(name: str) -> Base:
    """A shipped example, its season squeezed."""
    tables = squeezed(tomllib.loads((EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")))
    if name == "heron_lane_year":  # crops that follow each other there stand side by side for a day here
        tables["beds"]["north_raft"]["area"] = "4 m2"
        for event in tables["events"]:  # and fish have not grown as far
            event |= {"weight": "1 kg"} if "weight" in event else {}
    return Base(name, tables)


# --- logs and weather


def temperature_log(days: int = DAYS, start: dt.date = START) -> str:
    rows = ["date,temperature_c"]
    rows += [f"{start + dt.timedelta(days=d)},{15.0 - 0.1 * d + (d % 3) * 0.2:.1f}" for d in range(days)]
    return "\n".join(rows) + "\n"


def daily_weather(days: int = DAYS, start: dt.date = START) -> str:
    rows = ["date,low_c,high_c,sun_kwh_m2"]
    for d in range(days):
        low = 6.0 - 0.2 * d + (d % 4) * 0.5
        rows.append(f"{start + dt.timedelta(days=d)},{low:.1f},{low + 7.5:.1f},{2.0 - 0.02 * d:.2f}")
    return "\n".join(rows) + "\n"


def hourly_weather(days: int = DAYS, start: dt.date = START) -> str:
    rows = ["time,temperature_f,sun_w_m2"]
    for d in range(days):
        for hour in range(24):
            warm = 50.0 - 0.3 * d + 8.0 * math.sin((hour - 9) / 24 * 2 * math.pi)
            sun = max(0.0, 300.0 * math.sin((hour - 6) / 12 * math.pi)) if 6 <= hour <= 18 else 0.0
            rows.append(f"{start + dt.timedelta(days=d)}T{hour:02d}:00,{warm:.1f},{sun:.0f}")
    return "\n".join(rows) + "\n"


def _monthly(cold: float, warm: float, unit: str = " degC") -> dict:
    return {
        month: f"{cold + (warm - cold) * 0.5 * (1 - math.cos((n - 0.5) / 6 * math.pi)):.1f}{unit}"
        for n, month in enumerate(MONTHS)
    }


def _on(day: int) -> dt.date:
    return START + dt.timedelta(days=day)


def everything(days: int = DAYS) -> Base:
    """One site with every table, every feeding rule and every kind of event."""
    last = _on(days - 1)
    fed = {
        "spilled_share": 0.1, "meals_per_day": 3,
        "feeding_hours": ["08:00", "12:30", "14:00-18:00"], "fasting_days": ["sun"], "stop_below": "5 degC",
        "restart_after_days": 4, "cold_rules": [{"below": "12 degC", "feed_every_days": 2}],
    }  # fmt: skip
    tables: dict = {
        "site": {
            "name": "everything (invented)", "about": "Invented: holds every key.", "latitude": 47.5, "utc_offset": 1,
            "elevation": "820 ft", "units": "metric", "density_level": "experienced", "cover_transmission": 0.55,
            "cloud_share": {"oct": 0.5, "nov": 0.7}, "air_temperature": {"oct": "14 degC", "nov": "10 degC"},
        },
        "season": {"start": START, "end": last},
        "loops": {
            "cool": {
                "sump": "2500 L", "depth": "70 cm", "alkalinity_target": "70 mg/L", "buffer": "calcium_hydroxide",
                "sump_brim": "3500 L", "sump_least": "300 L",
                "evaporation": "25 L/day", "return_drop": "30 cm", "biofilter_started": _on(-70),
                "new_water": "120 L/day", "feeding_hours": ["07:30", "16:00"],
                "oxygen_supply": {"kind": "measured", "transfer": "12 g/h", "circuit": "air"},
                "source_water": {
                    "alkalinity": "45 mg/L", "nitrate_n": "1 mg/L", "potassium": "2 mg/L", "phosphorus": "0.1 mg/L",
                    "calcium": "15 mg/L", "chloride": "20 mg/L", "sodium": "8 mg/L",
                },
                "water_tests": [
                    {
                        "date": _on(5), "tan": "0.4 mg/L", "nitrite_n": "0.1 mg/L", "nitrate_n": "9 mg/L",
                        "alkalinity": "60 mg/L", "potassium": "5 mg/L", "phosphorus": "0.5 mg/L",
                        "calcium": "20 mg/L", "chloride": "25 mg/L", "sodium": "9 mg/L", "ph": 7.1,
                    }
                ],
                "water_changes": [{"date": _on(12), "volume": "250 L", "temperature": "12 degC"}],
                "feeding_ramp": [{"from": START, "share": 0.6}, {"from": _on(10), "share": 1.0}],
                "water_temperature": {"kind": "log", "file": "sump.csv", "at_least": "9 degC", "at_most": "20 degC"},
                "heat": {"room": "greenhouse", "foam": "50 mm", "cover": True},
            },
            "warm": {
                "sump": "1200 L", "ph": 7.2, "biofilter_start": "seeded",
                "fishless_cycling": {"from": START, "to": _on(5), "ammonia_nitrogen": "2 g/day"},
                "water_temperature": {"kind": "computed"},
                "heat": {
                    "room": "fish_room",
                    "heater": {
                        "power": "4 kW", "set_point": "24 degC", "schedule": [{"hour": 22, "set_point": "23 degC"}],
                        "fuel": "electricity", "efficiency": 0.98, "price": 0.2, "price_per": "kWh", "vented": True,
                        "circuit": "heat",
                    },
                },
            },
            "old": {
                "sump": "500 L", "depth": "50 cm", "heat": {"pump": "35 W"},
                "water_temperature": {
                    "kind": "monthly", "values": {"oct": "55 degF", "nov": "50 degF"}, "at_least": "48 degF",
                    "at_most": "70 degF",
                },
            },
            "spare": {
                "sump": "400 L",
                "water_temperature": {
                    "kind": "constant", "value": "16 degC", "at_least": "10 degC", "at_most": "25 degC",
                },
            },
        },
        "tanks": {
            "north": {
                "loop": "cool", "volume": "1500 L", "flow": "1800 L/h", "depth": "90 cm",
                "oxygen_supply": {"kind": "diffuser", "power": "60 W", "uncleaned_months": 6, "circuit": "air"},
                "overflows_to": ["trickle"],
                "heat": {"room": "greenhouse", "foam": "30 mm", "cover": False},
            },
            "south": {
                "loop": "cool", "volume": "300 gal", "flow": "400 gal/h",
                "oxygen_supply": {"kind": "diffuser", "power": "40 W"},
            },
            "hot": {
                "loop": "warm", "volume": "1 m3", "flow": "1.5 m3/h",
                "oxygen_supply": {"kind": "diffuser", "power": "50 W"},
            },
            "old_tank": {"loop": "old", "volume": "500 L", "flow": "400 L/h", "oxygen_supply": {"kind": "none"}},
            "spare_tank": {
                "loop": "spare", "volume": "700 L", "flow": "900 L/h",
                "oxygen_supply": {"kind": "diffuser", "power": "20 W"},
            },
        },
        "beds": {
            "raft": {
                "loop": "cool", "kind": "raft", "area": "6 m2", "depth": "30 cm", "flow": "600 L/h",
                "biofilter_started": _on(-40), "oxygen_supply": {"kind": "diffuser", "power": "15 W"},
                "plantings": [
                    {
                        "crop": "lettuce", "from": _on(3), "to": last, "area": "4 m2", "every_days": 10,
                        "empty_days": 2, "seedling_share": 0.1,
                    },
                    {"crop": "watercress", "from": START, "to": _on(20), "area": "2 m2"},
                ],
                "heat": {"room": "greenhouse", "night_cover": True, "night_flow": 0.5},
            },
            "gravel": {
                "loop": "warm", "kind": "media", "area": "60 ft2", "depth": "1 ft", "media_size": "12 mm",
                "flooding": "siphon", "swing": "450 L",
                "nitrifying_surface": "300 m2", "plantings": [{"crop": "basil", "from": START, "to": last}],
            },
            "tower": {
                "loop": "cool", "kind": "tower", "area": "1 m2", "flow": "120 L/h", "nitrifying_surface": "3 m2",
                "planted_face": "4 m2", "plantings": [{"crop": "strawberry", "from": START, "to": last}],
            },
            "float": {
                "loop": "old", "kind": "raft", "area": "0.5 m2", "floats_on_sump": True,
            },
            "tub": {
                "loop": "cool", "kind": "wicking", "area": "2 m2",
                "plantings": [{"crop": "spinach", "from": START, "to": last}],
            },
        },
        "biofilters": {
            "trickle": {
                "loop": "cool", "kind": "trickling", "media_volume": "120 L", "specific_surface": "200 m2/m3",
                "flow": "900 L/h", "biofilter_started": _on(-50),
                "oxygen_supply": {"kind": "diffuser", "power": "10 W"},
            },
            "drum": {
                "loop": "spare", "kind": "submerged", "media_volume": "40 L", "specific_surface": "90 ft2/ft3",
                "flow": "600 L/h",
            },
        },
        "settlers": {
            "cone": {
                "loop": "cool", "kind": "radial_flow", "capture": 0.7, "share_of_flow": 0.8, "drawn_off": "10 L/day",
                "emptied_every_days": 2, "feeds": "tub",
            },
            "pot": {"loop": "warm", "kind": "swirl"},
        },
        "pumps": {
            "main": {
                "feeds": ["north", "south", "raft"], "power": "150 W", "lift": "5 ft", "circuit": "water",
                "drain_back": "40 L",
            },
            "line": {"feeds": ["tower"], "power": "25 W", "lift": "2.2 m", "flow": "120 L/h", "circuit": "water"},
            "spare": {"feeds": ["spare_tank"], "power": "40 W", "lift": "1.2 m"},
        },
        "backups": {
            "engine": {
                "kind": "generator", "carries": ["water", "air", "mains"], "power": "3 kW", "switch": "by_hand",
                "after_minutes": 25, "fuel_volume": "15 L", "burns": "1.1 L/h",
            },
            "cells": {
                "kind": "battery", "carries": ["air"], "power": "400 W", "switch": "automatic", "after_minutes": 1,
                "energy": "1.2 kWh",
            },
        },
        "cohorts": {
            "perch": {
                "species": "yellow_perch", "tank": "north", "count": 90, "mean_weight": "60 g", "feed": "perch_45",
                "stocked": START, "sex": "females", "size_spread": 0.3,
                "ration": {"kind": "appetite", "fraction": 0.85, **fed},
            },
            "trout": {
                "species": "rainbow_trout", "tank": "south", "count": 30, "mean_weight": "0.2 lb", "feed": "trout_44",
                "stocked": _on(2), "strain": "fast",
                "ration": {
                    "kind": "table", "temperatures": ["6 degC", "12 degC", "16 degC"], "weights": ["50 g", "200 g"],
                    "percent": [[0.8, 0.5], [1.5, 1.1], [1.9, 1.4]],
                    "weighed": "fresh", **fed,
                },
            },
            "tilapia": {
                "species": "nile_tilapia", "tank": "hot", "count": 25, "mean_weight": "120 g", "feed": "tilapia_34",
                "stocked": _on(6), "ration": {"kind": "fixed", "per_day": "40 g", **fed},
            },
            "pond": {
                "species": "bluegill", "tank": "spare_tank", "count": 40, "mean_weight": "45 g", "feed": "sunfish_44",
                "wild": True, "trained": True,
                "ration": {"kind": "percent", "percent": 1.5, "weighed": "dry", **fed},
            },
            "gold": {
                "species": "goldfish", "tank": "old_tank", "count": 12, "mean_weight": "30 g",
                "feed": "koi_wheatgerm_32", "ration": {"kind": "unfed"},
            },
            "carp": {
                "species": "common_carp", "tank": "south", "count": 6, "mean_weight": "90 g",
                "feed": {"carp_35": 0.7, "duckweed": "30 %"},
                "ration": {"kind": "beds", "ratio": "30 g/m2/day", **fed},
            },
        },
        "events": [
            {"kind": "stock", "date": _on(6), "cohort": "gold", "count": 5, "mean_weight": "25 g"},
            {"kind": "found", "date": _on(7), "cohort": "perch", "count": 38, "mean_weight": "44 g"},
            {"kind": "thin", "date": _on(8), "cohort": "perch", "count": 8, "which": "smallest"},
            {"kind": "ration", "date": _on(9), "cohort": "pond", "ration": {"kind": "appetite", "fraction": 0.7}},
            {"kind": "feed", "date": _on(10), "cohort": "carp", "feed": "carp_35 90 %, earthworms 10 %"},
            {"kind": "grade", "date": _on(12), "cohort": "perch", "into": "big_perch", "tank": "south",
             "above": "70 g"},
            {"kind": "grade", "date": _on(14), "cohort": "trout", "into": "big_trout", "tank": "north",
             "largest_share": 0.3},
            {"kind": "move", "date": _on(16), "cohort": "pond", "tank": "spare_tank"},
            {"kind": "harvest", "date": _on(20), "cohort": "big_perch", "above": "90 g"},
            {"kind": "sell", "date": _on(22), "cohort": "tilapia", "weight": "500 g", "which": "largest"},
            {"kind": "give", "date": _on(24), "cohort": "trout", "share": 0.25, "which": "any"},
            {"kind": "harvest", "date": _on(26), "cohort": "carp", "all": True},
        ],
        "weather": {
            "kind": "normals", "low": _monthly(-12.0, 15.0), "high": _monthly(-3.0, 27.0),
            "mean": _monthly(-7.5, 21.0), "sun": dict.fromkeys(MONTHS, 0.5),
            "wind": dict.fromkeys(MONTHS, "3 m/s"), "design_cold": "-28 degC", "day_to_day": "5 degC",
            "ground": "8 degC",
        },
        "greenhouse": {
            "floor_area": "80 m2", "height": "2.7 m", "perimeter": "38 m", "cover": "double_film",
            "cover_area": "190 m2", "insulated_wall": {"area": "25 m2", "foam": "80 mm"}, "night_curtain": True,
            "shade": 0.2, "curtain_saving": 0.3, "loss_factor": 1.1, "sun_factor": 0.9, "water_loss_factor": 1.2,
            "air_changes": 0.8, "humidity": 0.75, "edge_foam": True,
            "thermal_mass": {"water": "2 m3", "gravel": "4 m3", "soil": "1 m3"},
            "vents": {"opens_at": "22 degC", "air_changes": 30},
            "lamps": {"power": "400 W", "from_hour": 6, "to_hour": 20},
            "heater": {
                "power": "20 kW", "set_point": "10 degC", "schedule": [{"hour": 21.5, "set_point": "8 degC"}],
                "fuel": "propane", "efficiency": 0.8, "price": 2.6, "price_per": "gal", "vented": False,
            },
        },
        "fish_room": {
            "floor_area": "20 m2", "height": "2.4 m", "perimeter": "18 m", "foam": "75 mm", "in_greenhouse": True,
            "air_changes": 0.5, "humidity": 0.7, "edge_foam": False, "thermal_mass": {"water": "0.2 m3"},
            "vents": {"opens_at": "27 degC"}, "lamps": {"power": "60 W", "from_hour": 8, "to_hour": 18},
            "heater": {"power": "2 kW", "set_point": "16 degC", "fuel": "wood_pellets"},
        },
        "stocking": {
            "goal": "edible,cost", "budget": 200, "feed_price": 2.2, "species_at_least": 1, "species_at_most": 5,
            "margin": 0.05, "feed_band_weight": 0.05,
            "harvest_wishes": [{"species": "rainbow_trout", "weight": "1 kg", "by": _on(25), "each_at_least": "60 g"}],
            "candidates": {
                "more_trout": {
                    "species": "rainbow_trout", "mean_weight": "90 g", "price": 3.0, "feed": "trout_44",
                    "at_least": 0, "at_most": 30, "minimum_batch": 4, "stocked": _on(7), "leaves": _on(27),
                    "tanks": ["south"], "ration": {"kind": "appetite", "fraction": 0.8}, "wild": False,
                    "trained": False, "sex": "mixed", "size_spread": 0.2, "strain": "slow",
                }
            },
            "own": {"gold": {"at_least": 5, "minimum_batch": 2, "leaves": _on(28), "tanks": ["old_tank"]}},
            "options": {"heated": {"loop": "spare", "at_least": "17 degC", "at_most": "24 degC", "cost": 40}},
        },
        "advice": {"reserve": 0.15, "never": ["salt", "heat"], "crop_worth": {"spinach": 2.5}},
    }  # fmt: skip
    return Base("everything", tables, {"sump.csv": temperature_log(days)})


def recorded(days: int = DAYS, hourly: bool = True) -> Base:
    """A site whose water is computed from a recorded weather file, by the hour or by the day."""
    tables = everything(days).tables
    water = {"cool": {"kind": "computed"}, "warm": {"kind": "computed"}}
    tables["site"]["name"] = "recorded weather (invented)"
    tables["loops"] = {name: tables["loops"][name] | {"water_temperature": water[name]} for name in water}
    del tables["pumps"]["spare"]
    for kind in ("tanks", "beds", "biofilters", "settlers"):
        tables[kind] = {key: table for key, table in tables[kind].items() if table["loop"] in water}
    tables["cohorts"] = {
        key: table for key, table in tables["cohorts"].items() if table["tank"] in tables["tanks"] and key != "carp"
    }
    tables["events"] = []
    del tables["stocking"]
    tables["weather"] = {
        "kind": "file", "file": "weather.csv", "design_cold": "-15 degC", "day_to_day": "9 degF", "ground": "9 degC",
        "wind": {"nov": "4 m/s"},
    }  # fmt: skip
    text = hourly_weather(days) if hourly else daily_weather(days)
    return Base("recorded by the hour" if hourly else "recorded by the day", tables, {"weather.csv": text})


def cloudy() -> Base:
    """The computed example with clouds given instead of sun."""
    base = example("heron_lane_computed")
    base.name = "cloudy"
    weather = base.tables["weather"]
    weather["cloud"] = dict.fromkeys(weather.pop("sun"), 0.6)
    return base


def small(days: int = 30) -> Base:
    """One loop and one tank: the quickest site there is, for what is read and not for what it holds."""
    tables = {
        "site": {"name": "small (invented)", "elevation": "100 m"},
        "season": {"start": START, "end": _on(days - 1)},
        "loops": {"main": {
            "sump": "800 L", "alkalinity_target": "60 mg/L", "water_temperature": {"kind": "log", "file": "sump.csv"},
        }},
        "tanks": {"one": {
            "loop": "main", "volume": "1000 L", "flow": "1000 L/h",
            "oxygen_supply": {"kind": "diffuser", "power": "60 W"},
        }},
        "beds": {"gravel": {
            "loop": "main", "kind": "media", "area": "4 m2",
            "plantings": [{"crop": "lettuce", "from": START, "to": _on(days - 1)}],
        }},
        "cohorts": {"fish": {
            "species": "yellow_perch", "tank": "one", "count": 40, "mean_weight": "60 g", "feed": "perch_45",
        }},
    }  # fmt: skip
    return Base("small", tables, {"sump.csv": temperature_log(days)})


def with_own_library(kind: str, shipped: str) -> Base:
    """The small site with a species, feed or crop of the keeper's own: a copy of a shipped file under a new name."""
    base = small()
    base.name = f"own {kind}"
    base.files[f"species_params/{kind}/own.toml"] = (LIBRARY / kind / f"{shipped}.toml").read_text(encoding="utf-8")
    if kind == "fish":
        base.tables["cohorts"]["fish"] |= {"species": "own", "wild": True, "stocked": START}
        base.tables["cohorts"]["other"] = base.tables["cohorts"]["fish"] | {"species": "bluegill", "count": 10}
    elif kind == "feeds":
        base.tables["cohorts"]["fish"]["feed"] = "own"
    else:
        base.tables["beds"]["gravel"]["plantings"][0]["crop"] = "own"
        base.tables["beds"]["tub"] = {
            "loop": "main", "kind": "wicking", "area": "1 m2",
            "plantings": [{"crop": "own", "from": START, "to": base.tables["season"]["end"], "every_days": 9}],
        }  # fmt: skip
        base.tables["settlers"] = {"pot": {"loop": "main", "kind": "swirl", "drawn_off": "9 L/day", "feeds": "tub"}}
    return base


def site_bases() -> list[Base]:
    """Every site to start from."""
    return [*map(example, EXAMPLES_TRIED), everything(), recorded(), recorded(hourly=False), cloudy(), small()]
