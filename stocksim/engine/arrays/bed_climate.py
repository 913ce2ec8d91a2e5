"""Light, air and root warmth that the crops of a site's beds live in, as arrays."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.daylight import USUAL_CLOUD_SHARE, daily_radiation
from stocksim.climate.greenhouse import COVERS, FRAME_SHARE
from stocksim.climate.sun import day_length_h
from stocksim.climate.temperature import monthly_temperature
from stocksim.heat.hourly import Warmth
from stocksim.heat.temperatures import warmth_of_site, water_c
from stocksim.memo import Memo
from stocksim.plants.growth import ROOT_ZONE_WEIGHT
from stocksim.plants.light import USUAL_COVER_TRANSMISSION, bed_light
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.notes import bed_room, weather_has_sun
from stocksim.site.quantities import MONTHS
from stocksim.site.reading import Site
from stocksim.site.weather import SiteWeather, site_weather

FloatArray = NDArray[np.float64]

USUAL_LATITUDE = 45.0  # where the keeper gives none: a cold-winter place (assumed)
_MJ_PER_WH = 0.0036


class BedClimate(NamedTuple):
    """What crops live in; arrays (day,) of the site and (day, bed) of the beds."""

    radiation_mj_m2: FloatArray  # outdoors
    day_length_h: FloatArray
    light_mol_m2: FloatArray  # on the planted face
    air_c: FloatArray
    root_c: FloatArray
    growth_c: FloatArray  # the mean that growth answers to
    inside_mj_m2: FloatArray  # sunshine on the bed


def months_of(site: Site) -> NDArray[np.int64]:
    """Month of every day, 0 for January, shape (day,)."""
    start = site.file.season.start
    return np.array([(start + dt.timedelta(days=day)).month - 1 for day in range(site.days)])


def cloud_shares(site: Site) -> FloatArray:
    """Share of daylight behind clouds in each calendar month: given, or the usual one of the hemisphere. [-]"""
    latitude = USUAL_LATITUDE if site.file.site.latitude is None else site.file.site.latitude
    usual = np.roll(USUAL_CLOUD_SHARE, 6 if latitude < 0.0 else 0)
    given = site.file.site.cloud_share or {}
    return np.array([given.get(month, usual[number]) for number, month in enumerate(MONTHS)], float)


def bed_climate(site: Site) -> BedClimate:
    """Light and temperature of a site's beds.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    BedClimate
        Air is the monthly air that the site gives; else that of the bed's own room, or of the weather outdoors, where
        they can be reckoned; else the water of the bed's loop. Roots off the loops are as warm as the air. Outdoors
        the sun is the weather's where it gives sun or cloud, so that house and crops stand under the same one; typed
        clouds go before it. Light passes the cover that the site gives, else the greenhouse's own; none comes into a
        fish room, all of it onto a bed outdoors.
    """
    return _climates.of(site.place_content, lambda: _climate_of(site))


_climates: Memo[BedClimate] = Memo(32)  # some 50 kB each


def _climate_of(site: Site) -> BedClimate:
    file, days = site.file, site.days
    latitude = USUAL_LATITUDE if file.site.latitude is None else file.site.latitude
    dates = [file.season.start + dt.timedelta(days=day) for day in range(days)]
    number = np.array([date.timetuple().tm_yday for date in dates], float)
    warmth, weather = _weather_of(site)
    radiation = daily_radiation(latitude, number, cloud_shares(site)[months_of(site)])
    if weather is not None and weather_has_sun(file, site.folder):
        radiation = np.where(_cloud_typed(site), radiation, _MJ_PER_WH * weather.sun_share * weather.clear_w_m2.sum(-1))
    rooms = [bed_room(bed, file) for bed in file.beds.values()]
    cover = np.array([_cover_transmission(site, room) for room in rooms], float)
    of_loop = water_c(site, warmth) if file.beds else {}
    courses = [of_loop[bed.loop] for bed in file.beds.values()]
    water = np.stack(courses, axis=-1) if courses else np.zeros((days, 0))
    air = water
    if file.site.air_temperature is not None:
        monthly = {MONTHS.index(m) + 1: t for m, t in file.site.air_temperature.items()}
        air = np.repeat(monthly_temperature(file.season.start, days, monthly)[:, None], water.shape[1], axis=1)
    else:
        air = water.copy()
        for column, room in enumerate(rooms):
            if room == "outdoors" and weather is not None:
                air[:, column] = weather.mean_c
            elif warmth is not None and room in warmth.plan.nodes:
                air[:, column] = warmth.run.mean_c[:, warmth.plan.nodes.index(room)]
    kinds = [BED_KINDS[bed.kind] for bed in file.beds.values()]
    root = np.where(np.array([kind.is_on_loop for kind in kinds], bool), water, air)
    face = np.array([kind.light_share for kind in kinds], float)
    return BedClimate(
        radiation_mj_m2=radiation,
        day_length_h=day_length_h(latitude, number),
        light_mol_m2=bed_light(radiation[:, None], cover, face),
        air_c=air,
        root_c=root,
        growth_c=ROOT_ZONE_WEIGHT * root + (1.0 - ROOT_ZONE_WEIGHT) * air,
        inside_mj_m2=cover * radiation[:, None] * face,
    )


def _cover_transmission(site: Site, room: str | None) -> float:
    """Share of outdoor light on a bed: all outdoors, else typed, of the room, or the usual one; less its shade. [-]"""
    file = site.file
    if room == "outdoors":
        return 1.0
    unshaded = 1.0 - file.greenhouse.shade if room == "greenhouse" and file.greenhouse is not None else 1.0
    if file.site.cover_transmission is not None:
        return unshaded * file.site.cover_transmission
    if room == "fish_room":
        return 0.0  # taken as dark: lamps are not modelled
    if room == "greenhouse" and file.greenhouse is not None:
        return unshaded * COVERS[file.greenhouse.cover].transmission * FRAME_SHARE
    return USUAL_COVER_TRANSMISSION


def _weather_of(site: Site) -> tuple[Warmth | None, SiteWeather | None]:
    """Heat balance and weather of a site with beds; None where they cannot be had."""
    file = site.file
    if not file.beds or file.weather is None or file.site.latitude is None:
        return None, None
    warmth = warmth_of_site(site)
    return warmth, site_weather(file, site.folder) if warmth is None else warmth.weather


def _cloud_typed(site: Site) -> NDArray[np.bool_]:
    """Whether the site types the clouds of each day's month, shape (day,)."""
    given = site.file.site.cloud_share or {}
    return np.array([month in given for month in MONTHS])[months_of(site)]
