"""Whole site files built by hypothesis: small random sites with events, and around them a house, weather and wishes."""

from __future__ import annotations

import datetime as dt

from hypothesis import strategies as st
from reliability.bases import MONTHS, Base, daily_weather, temperature_log
from small_sites import START, any_eventful_site, any_site, any_watered_site

FUELS = ("natural_gas", "propane", "heating_oil", "kerosene", "wood_pellets", "electricity")


def _degrees(low: int, high: int) -> st.SearchStrategy[str]:
    return st.integers(low, high).map(lambda value: f"{value} degC")


def _optional(**keys: st.SearchStrategy) -> st.SearchStrategy[dict]:
    return st.fixed_dictionaries({}, optional=keys)


heater = st.builds(
    dict,
    power=st.sampled_from(["200 W", "3 kW", "40 kW"]),
    set_point=_degrees(2, 30),
    fuel=st.sampled_from(FUELS),
    vented=st.booleans(),
) | st.builds(
    dict,
    power=st.just("5 kW"),
    set_point=_degrees(5, 20),
    fuel=st.just("electricity"),
    price=st.sampled_from([0, 0.2, 90.0]),
    price_per=st.just("kWh"),
    schedule=st.lists(st.builds(dict, hour=st.integers(0, 23), set_point=_degrees(2, 25)), max_size=2),
)
shares = st.sampled_from([0.0, 0.3, 1.0])
room = _optional(
    height=st.sampled_from(["2 m", "8 ft", "4 m"]), air_changes=st.sampled_from([0, 0.5, 6.0]), humidity=shares,
    edge_foam=st.booleans(), thermal_mass=_optional(water=st.just("3 m3"), gravel=st.just("2 m3")),
    vents=st.builds(dict, opens_at=_degrees(15, 30), air_changes=st.sampled_from([1, 40])),
    lamps=st.builds(dict, power=st.just("600 W"), from_hour=st.integers(0, 23), to_hour=st.integers(0, 24)),
    heater=heater,
)  # fmt: skip
greenhouse = st.builds(
    lambda area, cover, more, extra: {"floor_area": area, "cover": cover} | more | extra,
    st.sampled_from(["30 m2", "120 m2", "900 ft2"]),
    st.sampled_from(["single_film", "double_film", "twin_wall", "glass"]),
    room,
    _optional(
        night_curtain=st.booleans(), loss_factor=st.sampled_from([0.5, 1.5]), sun_factor=st.sampled_from([0.5, 2])
    ),
)
fish_room = st.builds(
    lambda area, foam, more, inside: {"floor_area": area, "foam": foam, "in_greenhouse": inside} | more,
    st.sampled_from(["15 m2", "40 m2"]),
    st.sampled_from(["0 mm", "50 mm", "200 mm"]),
    room,
    st.booleans(),
)


@st.composite
def normals(draw: st.DrawFn) -> dict:
    """Monthly lows and highs of some climate, and one of the ways to give its sun."""
    cold, warm, width = draw(st.integers(-45, 15)), draw(st.integers(10, 30)), draw(st.integers(0, 20))
    swing = [abs(month - 6) / 6.0 for month in range(12)]
    low = {m: f"{warm + (cold - warm) * share:.1f} degC" for m, share in zip(MONTHS, swing, strict=True)}
    high = {m: f"{warm + (cold - warm) * share + width:.1f} degC" for m, share in zip(MONTHS, swing, strict=True)}
    tables = {"kind": "normals", "low": low, "high": high}
    tables |= draw(st.sampled_from([{}, {"sun": dict.fromkeys(MONTHS, 0.4)}, {"cloud": dict.fromkeys(MONTHS, 0.8)}]))
    return tables | draw(_optional(wind=st.just(dict.fromkeys(MONTHS, "6 m/s")), ground=_degrees(2, 15)))


@st.composite
def any_built_site(draw: st.DrawFn) -> Base:
    """A site file that nobody wrote, mostly sound, with the files it names."""
    tables = draw(st.one_of(any_site(), any_watered_site(), any_eventful_site()))
    files: dict[str, str] = {}
    days = (tables["season"]["end"] - tables["season"]["start"]).days + 1
    tables["site"] |= draw(
        _optional(
            units=st.sampled_from(["us", "metric"]), latitude=st.integers(-70, 70), cover_transmission=shares,
            density_level=st.sampled_from(["cautious", "experienced"]),
            cloud_share=st.just({"oct": 0.5}), air_temperature=st.just({"oct": "20 degC"}),
        )
    )  # fmt: skip
    if draw(st.booleans()):
        tables["site"].setdefault("latitude", 50)
        tables["weather"] = draw(normals())
        if draw(st.booleans()):
            tables["weather"] = {"kind": "file", "file": "weather.csv"}
            files["weather.csv"] = daily_weather(days)
        rooms = draw(st.sampled_from([("greenhouse",), ("fish_room",), ("greenhouse", "fish_room")]))
        if "greenhouse" in rooms:
            tables["greenhouse"] = draw(greenhouse)
        if "fish_room" in rooms:
            tables["fish_room"] = draw(fish_room)
        where = st.sampled_from([*rooms, "outdoors"])
        for loop in tables["loops"].values():
            loop["heat"] = draw(_optional(room=where, foam=st.just("50 mm"), cover=st.booleans(), pump=st.just("90 W")))
            if draw(st.booleans()):
                loop["water_temperature"] = {"kind": "computed"}
                if draw(st.booleans()):
                    loop["heat"]["heater"] = draw(heater)
        for tank in tables["tanks"].values():
            tank["heat"] = draw(_optional(room=where, cover=st.booleans()))
        for bed in tables["beds"].values():
            bed["heat"] = draw(_optional(room=where, night_cover=st.booleans(), night_flow=shares))
    elif draw(st.booleans()):
        name = draw(st.sampled_from(sorted(tables["loops"])))
        tables["loops"][name]["water_temperature"] = {"kind": "log", "file": "sump.csv"}
        files["sump.csv"] = temperature_log(days)
    for bed in tables["beds"].values():
        if draw(st.booleans()):
            crop = draw(st.sampled_from(["lettuce", "kale", "bean", "mint"]))
            planting = {"crop": crop, "from": START, "to": START + dt.timedelta(days=draw(st.integers(0, days)))}
            planting |= draw(
                _optional(every_days=st.integers(1, 30), empty_days=st.integers(0, 9), seedling_share=shares)
            )
            bed["plantings"] = [planting]
    return Base("built", tables, files)
