"""Small sites for tests, as the tables of a site file. All invented."""

from __future__ import annotations

import copy
import datetime as dt
from dataclasses import replace
from pathlib import Path
from unittest import mock

from hypothesis import strategies as st

from stocksim.engine.arrays.layout import Layout
from stocksim.site.fish_tables import REMOVALS
from stocksim.site.reading import Site, site_from_tables

START = dt.date(2026, 10, 1)

# species, its usual feed, water it feeds well in [degC]: middle of the good range of its species file, rounded
FED_WELL = (
    ("black_crappie", "perch_45", 23.0),
    ("bluegill", "sunfish_44", 25.0),
    ("channel_catfish", "catfish_32", 28.0),
    ("common_carp", "carp_35", 25.0),
    ("goldfish", "koi_wheatgerm_32", 24.0),
    ("hybrid_striped_bass", "hybrid_bass_42", 26.0),
    ("largemouth_bass", "bass_46", 25.0),
    ("nile_tilapia", "tilapia_34", 28.0),
    ("rainbow_trout", "trout_44", 14.0),
    ("yellow_perch", "perch_45", 22.0),
)


def one_tank(
    species: str = "nile_tilapia",
    feed: str = "tilapia_34",
    temperature_c: float = 26.0,
    days: int = 30,
    count: int = 40,
    mean_weight_g: float = 100.0,
    power_w: float = 60.0,
    volume_l: float = 1000.0,
    flow_l_h: float = 1000.0,
    bed_m2: float = 10.0,
    ph: float | None = 7.0,
    **loop: object,
) -> dict:
    """Tables of a site with one loop, one tank and one media bed; ``loop`` adds keys to the loop's table."""
    end = START + dt.timedelta(days=days - 1)
    tables = {
        "site": {"name": "one tank (invented)", "elevation": "100 m"},
        "season": {"start": START, "end": end},
        "loops": {
            "main": {
                "sump": "800 L", "ph": ph, "water_temperature": {"kind": "constant", "value": f"{temperature_c} degC"},
            }
        },
        "tanks": {"one": {"loop": "main", "volume": f"{volume_l} L", "flow": f"{flow_l_h} L/h"}},
        "beds": {"gravel": {"loop": "main", "kind": "media", "area": f"{bed_m2} m2"}},
        "cohorts": {
            "fish": {
                "species": species, "tank": "one", "count": count, "mean_weight": f"{mean_weight_g} g", "feed": feed,
            }
        },
    }  # fmt: skip
    if power_w > 0:
        tables["tanks"]["one"]["oxygen_supply"] = {"kind": "diffuser", "power": f"{power_w} W"}
    tables["loops"]["main"] |= loop
    if ph is None:
        del tables["loops"]["main"]["ph"]
    return tables


def two_loops() -> dict:
    """Tables of a site with all kinds of units, ammonia high enough to curb appetite, and bare water as well."""
    return {
        "site": {"name": "two loops (invented)", "elevation": "900 m"},
        "season": {"start": START, "end": START + dt.timedelta(days=44)},
        "loops": {
            "warm": {
                "sump": "600 L", "ph": 8.3, "water_temperature": {"kind": "constant", "value": "27 degC"},
                "oxygen_supply": {"kind": "measured", "transfer": "900 g/day"},
            },
            "cool": {
                "sump": "500 L",
                "water_temperature": {"kind": "monthly", "values": {"oct": "16 degC", "nov": "7 degC"}},
            },
        },
        "tanks": {
            "east": {
                "loop": "warm", "volume": "900 L", "flow": "700 L/h",
                "oxygen_supply": {"kind": "diffuser", "power": "120 W"},
            },
            "west": {"loop": "cool", "volume": "700 L", "flow": "300 L/h", "depth": "60 cm"},
            "north": {
                "loop": "cool", "volume": "500 L", "flow": "900 L/h",
                "oxygen_supply": {"kind": "diffuser", "power": "15 W"},
            },
            "spare": {"loop": "warm", "volume": "400 L", "flow": "200 L/h"},
        },
        "beds": {
            "raft": {"loop": "cool", "kind": "raft", "area": "3 m2"},
            "tower": {"loop": "warm", "kind": "tower", "area": "1 m2", "flow": "100 L/h"},
            "tub": {"loop": "cool", "kind": "wicking", "area": "1 m2"},
        },
        "biofilters": {
            "trickle": {
                "loop": "warm", "kind": "trickling", "media_volume": "30 L", "specific_surface": "200 m2/m3",
                "flow": "500 L/h",
            }
        },
        "cohorts": {
            "tilapia": {
                "species": "nile_tilapia", "tank": "east", "count": 220, "mean_weight": "150 g", "feed": "tilapia_34",
                "ration": {"kind": "appetite", "fraction": 1.0, "spilled_share": 0.1},
            },
            "cats": {
                "species": "channel_catfish", "tank": "east", "count": 60, "mean_weight": "200 g", "feed": "catfish_32",
            },
            "perch": {
                "species": "yellow_perch", "tank": "west", "count": 150, "mean_weight": "60 g", "feed": "perch_45",
                "stocked": START + dt.timedelta(days=6),
            },
            "trout": {
                "species": "rainbow_trout", "tank": "north", "count": 90, "mean_weight": "120 g", "feed": "trout_44",
            },
            "unfed": {
                "species": "goldfish", "tank": "north", "count": 10, "mean_weight": "30 g", "feed": "koi_wheatgerm_32",
                "ration": {"kind": "unfed"},
            },
        },
    }  # fmt: skip


def build(tables: dict) -> Site:
    """Checked site of tables, let in however crowded: the engine must bear what no keeper has."""
    with mock.patch("stocksim.site.plausible._judge", return_value=None):
        return site_from_tables(copy.deepcopy(tables), Path())


SEXED = ("bluegill", "nile_tilapia", "yellow_perch")  # appetite by sex is known
FOODS = (
    "trout_44", "tilapia_34", "earthworms", "kitchen_greens", {"tilapia_34": 0.8, "duckweed": "20 %"},
    {"trout_44": 0.5, "earthworms": 0.3, "kitchen_greens": 0.2},
)  # fmt: skip


@st.composite
def any_ration(draw: st.DrawFn, per_day: str) -> dict:
    """A feeding rule of any kind; ``per_day`` is what a rule by weight gives, the same for all that meet in a tank."""
    kind = draw(st.sampled_from(["appetite", "appetite", "percent", "table", "fixed", "beds", "unfed"]))
    if kind == "unfed":
        return {"kind": kind}
    rule = {"kind": kind, "spilled_share": draw(st.sampled_from([0.0, 0.17, 0.5]))}
    rule |= {
        "appetite": {"fraction": draw(st.sampled_from([0.0, 0.4, 0.85, 1.0]))},
        "percent": {
            "percent": draw(st.sampled_from([0.0, 0.5, 2.0, 9.0])), "weighed": draw(st.sampled_from(["fresh", "dry"])),
        },
        "table": {
            "temperatures": ["8 degC", "14 degC", "20 degC"], "weights": ["10 g", "90 g"],
            "percent": [[1.0, 0.4], [3.0, 1.5], [4.5, 2.0]],
        },
        "fixed": {"per_day": per_day},
        "beds": draw(st.sampled_from([{}, {"ratio": "30 g/m2/day"}])),
    }[kind]  # fmt: skip
    if draw(st.booleans()):
        rule |= {
            "fasting_days": draw(st.lists(st.sampled_from(["mon", "thu", "sun"]), unique=True, max_size=2)),
            "cold_rules": draw(st.sampled_from([[], [{"below": "16 degC", "feed_every_days": 2}]])),
            "meals_per_day": draw(st.sampled_from([1.0, 2.0, 6.0])),
        }
        if draw(st.booleans()):
            rule["stop_below"] = draw(st.sampled_from(["5 degC", "10 degC"]))
    return rule


@st.composite
def any_site(draw: st.DrawFn) -> dict:
    """Tables of a small random site: 1-2 loops, 1-3 tanks, 0-3 units, 0-4 cohorts, thin to badly overstocked."""
    loops = ["a", "b"][: draw(st.integers(1, 2))]
    days = draw(st.integers(2, 12))
    temperature = {loop: draw(st.floats(4.0, 22.0)) for loop in loops}
    tables: dict = {
        "site": {"name": "random (invented)", "elevation": f"{draw(st.integers(0, 2500))} m"},
        "season": {"start": START, "end": START + dt.timedelta(days=days - 1)},
        "loops": {
            loop: {
                "sump": f"{draw(st.integers(50, 4000))} L", "ph": draw(st.sampled_from([6.4, 7.0, 7.6, 8.4])),
                "water_temperature": {"kind": "constant", "value": f"{temperature[loop]} degC"},
            }
            for loop in loops
        },
        "tanks": {},
        "beds": {},
        "biofilters": {},
        "cohorts": {},
    }  # fmt: skip
    air = st.sampled_from(
        [None, {"kind": "none"}, {"kind": "diffuser", "power": "10 W"}, {"kind": "diffuser", "power": "90 W"}]
    )
    for number in range(draw(st.integers(1, 3))):
        tank = {
            "loop": draw(st.sampled_from(loops)), "volume": f"{draw(st.integers(200, 4000))} L",
            "flow": f"{draw(st.integers(20, 4000))} L/h", "oxygen_supply": draw(air),
        }  # fmt: skip
        tables["tanks"][f"t{number}"] = {key: value for key, value in tank.items() if value is not None}
    for number in range(draw(st.integers(0, 3))):
        loop, kind = draw(st.sampled_from(loops)), draw(st.sampled_from(["raft", "media", "tower", "trickling"]))
        area = draw(st.integers(1, 30))
        if kind == "trickling":
            tables["biofilters"][f"u{number}"] = {
                "loop": loop, "kind": kind, "media_volume": f"{area} L", "specific_surface": "300 m2/m3",
                "flow": "900 L/h",
            }  # fmt: skip
            continue
        tables["beds"][f"u{number}"] = {"loop": loop, "kind": kind, "area": f"{area} m2"}
        if kind == "tower":
            tables["beds"][f"u{number}"] |= {"flow": "200 L/h", "nitrifying_surface": "2 m2"}
    for number in range(draw(st.integers(0, 4))):
        species, feed, _ = draw(st.sampled_from(FED_WELL))
        tank = draw(st.sampled_from(sorted(tables["tanks"])))
        cohort = {
            "species": species, "tank": tank, "feed": feed,
            "count": draw(st.sampled_from([0, 1, 30, 200, 1500])), "mean_weight": f"{draw(st.integers(5, 400))} g",
            "stocked": START + dt.timedelta(days=draw(st.integers(0, days - 1))),
            "ration": draw(any_ration("80 g")),
        }  # fmt: skip
        if draw(st.booleans()):
            cohort |= {"wild": True, "trained": draw(st.booleans())}
        if draw(st.booleans()):
            cohort["size_spread"] = draw(st.sampled_from([0.0, 0.1, 0.6]))
        if species in SEXED and draw(st.booleans()):
            cohort["sex"] = "males"
        if species == "rainbow_trout" and draw(st.booleans()):
            cohort["strain"] = draw(st.sampled_from(["fast", "slow", "wild"]))
        tables["cohorts"][f"c{number}"] = cohort
    return tables


SALTS = ("potassium_bicarbonate", "calcium_carbonate", "calcium_hydroxide", "potassium_hydroxide", "sodium_bicarbonate")
LEVELS = ("alkalinity", "nitrate_n", "potassium", "phosphorus", "calcium", "chloride", "sodium")


@st.composite
def any_watered_site(draw: st.DrawFn) -> dict:
    """A random site of `any_site` whose loops have source water, buffer, settlers, changes, tests, films of any age."""
    tables = draw(any_site())
    days = (tables["season"]["end"] - START).days + 1
    dates = st.integers(0, days - 1).map(lambda day: START + dt.timedelta(days=day))
    level = st.sampled_from([0.0, 0.5, 20.0, 150.0]).map(lambda value: f"{value} mg/L")

    def perhaps(what: st.SearchStrategy) -> object:
        return draw(st.one_of(st.none(), what))

    for name, loop in tables["loops"].items():
        sump = float(loop["sump"].split()[0])
        extra = {
            "alkalinity_target": perhaps(st.sampled_from(["30 mg/L", "90 mg/L", "200 mg/L"])),
            "buffer": draw(st.sampled_from(SALTS)),
            "return_drop": perhaps(st.sampled_from(["0 cm", "25 cm", "1 m"])),
            "evaporation": perhaps(st.sampled_from([f"{share * sump} L/day" for share in (0.0, 0.01, 0.09)])),
            "new_water": perhaps(st.sampled_from([f"{share * sump} L/day" for share in (0.03, 0.5, 4.0)])),
            "source_water": perhaps(st.dictionaries(st.sampled_from(LEVELS), level)),
            "biofilter_start": perhaps(st.sampled_from(["new", "seeded", "mature"])),
            "biofilter_started": perhaps(st.sampled_from([START, START - dt.timedelta(days=25)])),
        }
        loop |= {key: value for key, value in extra.items() if value is not None}
        loop["water_changes"] = [
            {"date": date, "volume": draw(st.sampled_from(["20 L", f"{min(0.8 * sump, 400)} L"]))}
            for date in draw(st.lists(dates, max_size=2))
        ]
        loop["water_tests"] = [
            {"date": date} | draw(st.dictionaries(st.sampled_from((*LEVELS, "tan", "nitrite_n")), level))
            for date in draw(st.lists(dates, max_size=2, unique=True))
        ]
        if draw(st.booleans()):
            end = tables["season"]["end"] - dt.timedelta(days=1)
            first, last = sorted([min(draw(dates), end), min(draw(dates), end)])
            loop["fishless_cycling"] = {"from": first, "to": last, "ammonia_nitrogen": "3 g/day"}
            for cohort in tables["cohorts"].values():
                if tables["tanks"][cohort["tank"]]["loop"] == name:
                    cohort["stocked"] = max(cohort["stocked"], last + dt.timedelta(days=1))
        if draw(st.booleans()):
            del loop["ph"]
            for test in loop["water_tests"]:
                test |= draw(st.sampled_from([{}, {"ph": 6.9}, {"ph": 8.1}]))
        if draw(st.booleans()):
            tables.setdefault("settlers", {})[f"s{name}"] = {
                "loop": name, "kind": draw(st.sampled_from(["swirl", "radial_flow"])),
                "share_of_flow": draw(st.sampled_from([0.3, 1.0])),
                "drawn_off": draw(st.sampled_from(["0 L/day", "15 L/day"])),
                "emptied_every_days": draw(st.integers(1, 20)),
            }  # fmt: skip
            if draw(st.booleans()):
                tables["settlers"][f"n{name}"] = {
                    "loop": name, "kind": "netting", "capture": draw(st.sampled_from([0.0, 0.6])),
                    "emptied_every_days": draw(st.sampled_from([7, 14])),
                }  # fmt: skip
    for bed in tables["beds"].values():
        if draw(st.booleans()):
            crop = draw(st.sampled_from(["lettuce", "watercress", "tomato", "pea"]))
            bed["plantings"] = [{"crop": crop, "from": START, "to": tables["season"]["end"]}]
    return tables


@st.composite
def any_eventful_site(draw: st.DrawFn) -> dict:
    """A random site of `any_watered_site` with up to eight sound events; a weight asked for may not be there."""
    tables = draw(any_watered_site())
    tables["events"] = draw(any_events(tables))
    return tables


def dosed_until(tables: dict, tank: str) -> dt.date:
    """Last day of ammonia in a tank's loop, on which no fish may be there; a day long past where none is dosed."""
    dosing = tables["loops"][tables["tanks"][tank]["loop"]].get("fishless_cycling")
    return dosing["to"] if dosing else dt.date.min


@st.composite
def any_events(draw: st.DrawFn, tables: dict) -> list[dict]:
    """Sound events for a site's cohorts, in order of date: of all kinds, with amounts of all kinds."""
    days = (tables["season"]["end"] - tables["season"]["start"]).days
    dates = [
        START + dt.timedelta(days=day) for day in sorted(draw(st.lists(st.integers(0, days), min_size=1, max_size=8)))
    ]
    since = {key: cohort.get("stocked", START) for key, cohort in tables["cohorts"].items()}
    most = {key: float(cohort["count"]) for key, cohort in tables["cohorts"].items()}
    emptied: set[str] = set()
    events: list[dict] = []
    for number, date in enumerate(dates):
        tanks = st.sampled_from([tank for tank in sorted(tables["tanks"]) if date > dosed_until(tables, tank)])
        there = sorted(key for key in since if since[key] <= date)
        if not there:
            continue
        cohort = draw(st.sampled_from(there))
        kinds = ["stock"] if cohort in emptied else ["stock", "move", "grade", "ration", "feed", "found", *REMOVALS]
        event: dict = {"kind": draw(st.sampled_from(kinds)), "date": date, "cohort": cohort}
        kind = event["kind"]
        if kind == "stock":
            event |= {"count": draw(st.sampled_from([1, 60])), "mean_weight": f"{draw(st.integers(5, 300))} g"}
            most[cohort] += event["count"]
            emptied.discard(cohort)
        elif kind == "move":
            event["tank"] = draw(tanks)
        elif kind == "found":
            both = {"count": 90, "mean_weight": "80 g"}
            event |= draw(st.sampled_from([{"count": 7}, {"mean_weight": "33 g"}, both]))
            most[cohort] = float(event.get("count", most[cohort]))
        elif kind == "feed":
            event["feed"] = draw(st.sampled_from(FOODS))
        elif kind == "ration":
            event["ration"] = draw(any_ration("80 g"))
        elif kind == "grade":
            event |= {"into": f"g{number}", "tank": draw(tanks)}
            event |= draw(st.sampled_from([{"above": "100 g"}, {"above": "9 g"}, {"largest_share": 0.3}]))
            since[event["into"]], share = date, event.get("largest_share")
            most[event["into"]] = most[cohort] * (share or 1.0)
            most[cohort] *= 1.0 - (share or 0.0)
        else:
            amounts = [{"weight": "30 g"}, {"share": 0.25}, {"above": "120 g"}, {"all": True}]
            amounts += [{"count": draw(st.integers(1, int(most[cohort])))}] if most[cohort] >= 1.0 else []
            event |= draw(st.sampled_from(amounts))
            if "above" not in event:
                event |= draw(st.sampled_from([{}, {"which": "smallest"}, {"which": "any"}, {"which": "largest"}]))
            most[cohort] = (most[cohort] - event.get("count", 0)) * (1.0 - event.get("share", 0.0))
            if "all" in event:
                most[cohort] = 0.0
                emptied.add(cohort)
        events.append(event)
    return events


def nobody_hunts(layout: Layout) -> Layout:
    """The layout with fish that swallow none: a planner's loads are of fish alone, and it parts those that would."""
    keys = ("prey_share_deep", "prey_share_slender", "eats_own", "sibling_loss")
    return replace(layout, species={**layout.species, **{key: 0.0 * layout.species[key] for key in keys}})


def busy_season() -> dict:
    """A site whose keeper does everything: every kind of rule and event over a cold spell, in two loops."""

    def on(day: int) -> dt.date:
        return START + dt.timedelta(days=day)

    tables = two_loops()
    tables["season"]["end"] = on(139)
    tables["loops"]["cool"]["water_temperature"]["values"] |= {"dec": "4 degC", "jan": "9 degC", "feb": "14 degC"}
    tables["loops"]["warm"]["feeding_ramp"] = [{"from": on(0), "share": 0.5}, {"from": on(14), "share": 1.0}]
    tables["loops"]["warm"] |= {"ph": 7.2, "source_water": {"chloride": "300 mg/L"}}
    tables["loops"]["cool"] |= {"alkalinity_target": "80 mg/L", "buffer": "potassium_bicarbonate"}
    for tank in tables["tanks"].values():
        tank |= {"flow": "900 L/h", "oxygen_supply": {"kind": "diffuser", "power": "60 W"}}
    tables["beds"]["raft"] |= {"area": "20 m2", "plantings": [{"crop": "lettuce", "from": on(10), "to": on(90)}]}
    tables["biofilters"]["trickle"]["media_volume"] = "300 L"
    cold = {
        "stop_below": "5 degC", "restart_after_days": 4, "fasting_days": ["sun"],
        "cold_rules": [{"below": "12 degC", "feed_every_days": 2}, {"below": "8 degC", "feed_every_days": 4}],
    }  # fmt: skip
    fish = tables["cohorts"]
    for name, count in (("tilapia", 24), ("cats", 14), ("perch", 40), ("trout", 40)):
        fish[name]["count"] = count
    fish["perch"] |= {
        "wild": True,
        "stocked": START,
        "sex": "females",
        "ration": {"kind": "percent", "percent": 1.5, **cold},
    }
    fish["trout"]["ration"] = {
        "kind": "table", "temperatures": ["5 degC", "10 degC", "15 degC"], "weights": ["50 g", "200 g"],
        "percent": [[0.6, 0.4], [1.4, 1.0], [2.1, 1.5]], **cold,
    }  # fmt: skip
    fish["cats"]["ration"] = {"kind": "fixed", "per_day": "35 g", "spilled_share": 0.1}
    fish["carp"] = {
        "species": "common_carp", "tank": "spare", "count": 12, "mean_weight": "80 g",
        "feed": {"kitchen_greens": 0.6, "carp_35": "40 %"}, "size_spread": 0.4,
        "ration": {"kind": "percent", "percent": 2.5, "weighed": "dry"},
    }  # fmt: skip
    tables["events"] = [
        {"kind": "ration", "date": on(20), "cohort": "tilapia", "ration": {"kind": "fixed", "per_day": "35 g"}},
        {"kind": "grade", "date": on(25), "cohort": "trout", "into": "big_trout", "tank": "west", "above": "150 g"},
        {"kind": "move", "date": on(30), "cohort": "carp", "tank": "west"},
        {"kind": "feed", "date": on(30), "cohort": "carp", "feed": {"carp_35": 0.9, "duckweed": 0.1}},
        {"kind": "ration", "date": on(32), "cohort": "perch", "ration": {"kind": "beds", "ratio": "20 g/m2/day"}},
        {"kind": "ration", "date": on(40), "cohort": "carp", "ration": {"kind": "beds"}},
        {"kind": "harvest", "date": on(45), "cohort": "tilapia", "weight": "1 kg"},
        {"kind": "thin", "date": on(50), "cohort": "perch", "share": 0.2, "which": "smallest"},
        {"kind": "sell", "date": on(60), "cohort": "big_trout", "above": "230 g"},
        {"kind": "stock", "date": on(70), "cohort": "cats", "count": 10, "mean_weight": "50 g"},
        {"kind": "give", "date": on(70), "cohort": "cats", "count": 9},
        {"kind": "grade", "date": on(80), "cohort": "big_trout", "into": "table", "tank": "north",
         "largest_share": 0.5},
        {"kind": "harvest", "date": on(85), "cohort": "unfed", "all": True},
        {"kind": "move", "date": on(100), "cohort": "tilapia", "tank": "spare"},
        {"kind": "move", "date": on(105), "cohort": "table", "tank": "spare"},
        {"kind": "harvest", "date": on(65), "cohort": "tilapia", "count": 5},
    ]  # fmt: skip
    return tables
