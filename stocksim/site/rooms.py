"""Sizes, covers, leaks and losses of the rooms of a site, and the set points of their heaters."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stocksim.climate import greenhouse as house
from stocksim.climate.psychrometrics import pressure_at_kpa
from stocksim.climate.weather import HOURS
from stocksim.site.climate_tables import BedHeat, FishRoomTable, GreenhouseTable, HeaterTable, LoopHeat, TankHeat
from stocksim.site.model import SiteFile

FloatArray = NDArray[np.float64]

DEFAULT_HEIGHT_M = 2.5  # mean height of a house (assumed)
ROOF_OVER_FLOOR = 1.15  # sloped or arched cover over its floor (assumed)
DEFAULT_HUMIDITY = {"greenhouse": 0.8, "fish_room": 0.7}  # in winter with open water (assumed)
DEFAULT_VENTS_C, DEFAULT_VENT_CHANGES = 27.0, 20.0  # assumed where no vents are typed
DEFAULT_ROOM_CHANGES = 0.3  # air changes an hour of a closed room (assumed)
WIND_AT_WHICH_LEAKS_HOLD_M_S = 3.0  # typed air changes hold at it; half of them grows with wind (assumed)
_DAY_S = 86400.0
ROOMS = ("greenhouse", "fish_room")


def room_sizes(room: GreenhouseTable | FishRoomTable) -> tuple[float, float, float]:
    """Height [m], perimeter [m] and air [m3] of a room; twice as long as wide where not told."""
    height = room.height or DEFAULT_HEIGHT_M
    return height, room.perimeter or 6.0 * math.sqrt(room.floor_area / 2.0), room.floor_area * height


def cover_area(room: GreenhouseTable) -> float:
    """Cover of a greenhouse with its walls, as typed or from its size. [m2]"""
    height, perimeter, _ = room_sizes(room)
    return room.cover_area or ROOF_OVER_FLOOR * room.floor_area + perimeter * height


def room_of(heat: LoopHeat | TankHeat | BedHeat | None, file: SiteFile, loop: str) -> str:
    """Room that a sump, tank or bed stands in: its own, its loop's, or the only one there is."""
    if heat is not None and heat.room is not None:
        return heat.room
    of_loop = file.loops[loop].heat
    if of_loop is not None and of_loop.room is not None:
        return of_loop.room
    return next((name for name in ROOMS if getattr(file, name) is not None), "outdoors")


def set_points(heater: HeaterTable) -> FloatArray:
    """Set point of each hour of the day, shape (24,). [degC]"""
    points = np.full(HOURS, heater.set_point)
    ordered = sorted(heater.schedule, key=lambda point: point.hour)
    if ordered:
        points[:] = ordered[-1].set_point  # before the day's first change the last one of the day before holds
        for point in ordered:
            points[round(point.hour) :] = point.set_point
    return points


def envelope_w_k(table: GreenhouseTable) -> tuple[float, float]:
    """Conductance of cover and solid wall by day and by night. [W/K]"""
    area = cover_area(table)
    wall = table.insulated_wall
    solid = 0.0 if wall is None else min(wall.area, area) * float(house.wall_loss_w_m2_k(wall.foam))
    clear = house.COVERS[table.cover].loss_w_m2_k * max(area - (0.0 if wall is None else wall.area), 0.0)
    saved = table.curtain_saving if table.curtain_saving is not None else 1.0 - house.CURTAIN_SHARE
    shut = 1.0 - saved if table.night_curtain or table.curtain_saving is not None else 1.0
    return table.loss_factor * (clear + solid), table.loss_factor * (shut * clear + solid)


def leak_of(table: GreenhouseTable | FishRoomTable, wind_m_s: float | None, pressure_kpa: float) -> float:
    """Conductance of the air that leaks in and out; half of it grows with the wind, where that is known. [W/K]"""
    usual = house.AIR_CHANGES[table.cover] if isinstance(table, GreenhouseTable) else DEFAULT_ROOM_CHANGES
    changes = usual if table.air_changes is None else table.air_changes
    windy = 1.0 if wind_m_s is None else 0.5 + 0.5 * wind_m_s / WIND_AT_WHICH_LEAKS_HOLD_M_S
    factor = table.loss_factor if isinstance(table, GreenhouseTable) else 1.0
    return factor * float(house.leak_w_k(room_sizes(table)[2], changes * windy, pressure_kpa))


def edge_w_k(table: GreenhouseTable | FishRoomTable) -> float:
    """Conductance of the floor's edge to outdoors. [W/K]"""
    return (house.EDGE_FOAM_W_M_K if table.edge_foam else house.EDGE_W_M_K) * room_sizes(table)[1]


def walls_w_k(table: FishRoomTable) -> float:
    """Conductance of walls and ceiling of a fish room. [W/K]"""
    height, perimeter, _ = room_sizes(table)
    return float(house.wall_loss_w_m2_k(table.foam)) * (table.floor_area + perimeter * height)


def stands_inside(table: FishRoomTable, file: SiteFile) -> bool:
    """Whether the fish room stands in the greenhouse."""
    return table.in_greenhouse and file.greenhouse is not None


def room_losses_w_k(file: SiteFile, wind_m_s: float | None = None) -> dict[str, float]:
    """Loss of each room of a site to outdoors and ground at night; of a room in another, to that. [W/K]"""
    pressure = float(pressure_at_kpa(file.site.elevation or 0.0))
    losses = {}
    if (room := file.greenhouse) is not None:
        to_ground = house.DEEP_GROUND_W_M2_K * room.floor_area
        losses["greenhouse"] = envelope_w_k(room)[1] + leak_of(room, wind_m_s, pressure) + edge_w_k(room) + to_ground
    if (inner := file.fish_room) is not None:
        edge = 0.0 if stands_inside(inner, file) else edge_w_k(inner)
        losses["fish_room"] = walls_w_k(inner) + leak_of(inner, wind_m_s, pressure) + edge
    return losses


def flow_w_k(flow_m3_day: float) -> float:
    """Conductance of water that is pumped round. [W/K]"""
    return flow_m3_day * house.WATER_J_M3_K / _DAY_S
