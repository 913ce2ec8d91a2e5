"""Sites on which several questions must advise alike, all invented: planted too much, too little, between, crowded."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

from small_sites import START, build, one_tank

from stocksim.site.examples import FOLDER
from stocksim.site.reading import Site, load_site

DATA = Path(__file__).parent / "data"


def planted(crop: str = "kale", days: int = 120, bed_m2: float = 10.0, **more: object) -> dict:
    """One tank and one gravel bed, planted all season at 45 degrees north, with base dosed."""
    tables = one_tank(days=days, bed_m2=bed_m2, alkalinity_target="80 mg/L", **more)
    tables["site"]["latitude"] = 45.0
    tables["beds"]["gravel"]["plantings"] = [{"crop": crop, "from": START, "to": START + dt.timedelta(days=days - 1)}]
    return tables


def laden(bed_m2: float = 3.0, nitrate_mg_l: float = 95.0, **more: object) -> dict:
    """Many perch over little kale: nitrate passes what they are told to bear."""
    tables = planted(count=60, bed_m2=bed_m2, species="yellow_perch", feed="perch_45", temperature_c=20.0, **more)
    tables["beds"]["gravel"]["nitrifying_surface"] = "60 m2"
    tables["loops"]["main"]["water_tests"] = [{"date": START, "nitrate_n": f"{nitrate_mg_l} mg/L"}]
    return tables


def with_film(tables: dict, surface_m2: float) -> dict:
    """The same with so much film in its bed: ammonia stays too high for weeks where it is little."""
    tables["beds"]["gravel"]["nitrifying_surface"] = f"{surface_m2} m2"
    return tables


def with_beans(tables: dict) -> dict:
    """The same with beans beside the kale, which no feed ratio was published for."""
    end = tables["season"]["end"]
    tables["beds"]["more"] = {"loop": "main", "kind": "media", "area": "8 m2",
                              "plantings": [{"crop": "bean", "from": START, "to": end}]}  # fmt: skip
    return tables


def partly_bare(tables: dict, area_m2: float) -> dict:
    """The same with so much of its bed planted."""
    tables["beds"]["gravel"]["plantings"][0]["area"] = f"{area_m2} m2"
    return tables


SITES: dict[str, Callable[[], Site]] = {
    "few fish, many plants": lambda: build(planted(count=4)),
    "few fish, many plants, nitrate in the water": lambda: build(laden(30.0, 60.0) | {"cohorts": planted()["cohorts"]}),
    "many fish, ten square meters": lambda: build(planted(count=60)),
    "crowded and overplanted": lambda: build(planted(count=60, bed_m2=300.0, volume_l=300.0)),
    "nitrate passed, few plants": lambda: build(laden(1.0)),
    "nitrate passed, between the two": lambda: build(laden(5.0)),
    "nitrate passed, more than either": lambda: build(laden(200.0, 160.0)),
    "nitrate passed, little film": lambda: build(with_film(laden(4.0, 120.0), 3.0)),
    "nitrate passed, part of the bed bare": lambda: build(partly_bare(laden(10.0), 0.5)),
    "nitrate passed, beans beside": lambda: build(with_beans(laden(2.0))),
    "low air and crowded": lambda: build(planted(count=160, power_w=10.0, bed_m2=2.0)),
    "raft fed by its beds": lambda: load_site(DATA / "raft_by_beds.toml"),
    "gravel house": lambda: load_site(DATA / "gravel_house.toml"),
    "starter": lambda: load_site(FOLDER / "starter.toml"),
    "demonstration": lambda: load_site(FOLDER / "heron_lane.toml"),
    "a year": lambda: load_site(FOLDER / "heron_lane_year.toml"),
}
