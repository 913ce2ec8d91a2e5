"""Light, air and root zone of every bed, day by day: the one place where crops meet the weather."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.daylight import USUAL_CLOUD_SHARE, daily_radiation, day_length
from stocksim.climate.greenhouse import COVERS, FRAME_SHARE
from stocksim.climate.temperature import monthly_temperature
from stocksim.engine.warmth import warmth_of_site
from stocksim.plants.growth import ROOT_ZONE_WEIGHT
from stocksim.plants.light import FACE_SHARE, USUAL_COVER_TRANSMISSION, bed_light
from stocksim.site.quantities import MONTHS
from stocksim.site.reading import Site
from stocksim.site.warm_rooms import room_of

FloatArray = NDArray[np.float64]

USUAL_LATITUDE = 45.0  # where the keeper gives none: a cold-winter place (assumed)


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
        Air is the monthly air that the site gives; else that of the bed's room, where weather and a room are there to
        reckon it; else the water of the bed's loop. A wicking bed's roots are as warm as the air. Light passes the
        cover that the site gives, else the greenhouse's own, and none comes into a fish room.
    """
    file, days = site.file, site.days
    latitude = USUAL_LATITUDE if file.site.latitude is None else file.site.latitude
    cover = _cover_transmission(site)
    dates = [file.season.start + dt.timedelta(days=day) for day in range(days)]
    number = np.array([date.timetuple().tm_yday for date in dates], float)
    radiation = daily_radiation(latitude, number, cloud_shares(site)[months_of(site)])
    water = np.stack([site.temperature_c[bed.loop] for bed in file.beds.values()], axis=-1) if file.beds else None
    water = np.zeros((days, 0)) if water is None else water
    air = water
    if file.site.air_temperature is not None:
        monthly = {MONTHS.index(m) + 1: t for m, t in file.site.air_temperature.items()}
        air = np.repeat(monthly_temperature(file.season.start, days, monthly)[:, None], water.shape[1], axis=1)
    elif (rooms := _room_air(site)) is not None:
        air = rooms
    is_wicking = np.array([bed.kind == "wicking" for bed in file.beds.values()], bool)
    root = np.where(is_wicking, air, water)
    face = np.array([FACE_SHARE if bed.kind == "tower" else 1.0 for bed in file.beds.values()], float)
    if file.site.cover_transmission is None:
        # a fish room is taken as dark: lamps are not modelled
        face *= [room_of(bed.heat, file, bed.loop) != "fish_room" for bed in file.beds.values()]
    return BedClimate(
        radiation_mj_m2=radiation,
        day_length_h=day_length(latitude, number),
        light_mol_m2=bed_light(radiation[:, None], cover, face),
        air_c=air,
        root_c=root,
        growth_c=ROOT_ZONE_WEIGHT * root + (1.0 - ROOT_ZONE_WEIGHT) * air,
        inside_mj_m2=cover * radiation[:, None] * face,
    )


def _cover_transmission(site: Site) -> float:
    """Share of outdoor light on the beds: typed, of the greenhouse's cover, or the usual one. [-]"""
    file = site.file
    if file.site.cover_transmission is not None:
        return file.site.cover_transmission
    if file.greenhouse is not None:
        return COVERS[file.greenhouse.cover].transmission * FRAME_SHARE
    return USUAL_COVER_TRANSMISSION


def _room_air(site: Site) -> FloatArray | None:
    """Daily mean air of each bed's room, shape (day, bed); None where no heat balance is to be had. [degC]"""
    warmth = warmth_of_site(site) if site.file.beds else None
    if warmth is None:
        return None
    nodes = warmth.plan.nodes
    rooms = [room_of(bed.heat, site.file, bed.loop) for bed in site.file.beds.values()]
    if any(room not in nodes for room in rooms):
        return None
    return np.stack([warmth.run.mean_c[:, nodes.index(room)] for room in rooms], axis=-1)
