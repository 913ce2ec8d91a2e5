"""Tables of rooms, loops, tanks and beds turned into a network of heat."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stocksim.climate import greenhouse as house
from stocksim.climate import tank_heat
from stocksim.climate.nodes import OUTDOORS, Network
from stocksim.climate.psychrometrics import air_heat_j_m3_k, pressure_at_kpa
from stocksim.climate.weather import HOURS
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.beds import bed_bulk_m3, bed_flow_m3_day, bed_water_m3
from stocksim.site.climate_tables import BedHeat, FishRoomTable, GreenhouseTable, HeaterTable, LoopHeat, TankHeat
from stocksim.site.loop_water import open_sump_m3
from stocksim.site.model import BedTable, SiteFile
from stocksim.site.pumps import written_pump_w
from stocksim.site.quantities import DEFAULT_TANK_DEPTH_M
from stocksim.site.rooms import (
    DEFAULT_HUMIDITY,
    DEFAULT_VENT_CHANGES,
    DEFAULT_VENTS_C,
    ROOMS,
    edge_w_k,
    envelope_w_k,
    flow_w_k,
    leak_of,
    room_losses_w_k,
    room_of,
    room_sizes,
    set_points,
    stands_inside,
    walls_w_k,
)

FloatArray = NDArray[np.float64]

UNBOUNDED_W = 1e9


@dataclass(frozen=True)
class HeatPlan:
    """A network with the names of its nodes.

    Parameters
    ----------
    network : Network
        The heat balance.
    nodes, controls : tuple of str
        ``greenhouse``, ``greenhouse floor``, ``loops.main``, ``tanks.cedar``, ``beds.raft``; places with a heater or
        vents.
    volume_m3 : ndarray, shape (node,)
        Water of each node, 0 for rooms.
    loop_of : mapping of str to str
        Loop of each water node.
    loss_w_k : mapping of str to float
        Loss of each room to outdoors and ground at night.
    """

    network: Network
    nodes: tuple[str, ...]
    controls: tuple[str, ...]
    volume_m3: FloatArray
    loop_of: Mapping[str, str]
    loss_w_k: Mapping[str, float]

    def tanks_of(self, loop: str) -> list[int]:
        """Nodes of a loop's tanks, or of its sump where it has none."""
        inside = [n for n, key in enumerate(self.nodes) if self.loop_of.get(key) == loop]
        tanks = [n for n in inside if self.nodes[n].startswith("tanks.")]
        return tanks or [n for n in inside if self.nodes[n].startswith("loops.")]


class _Builder:
    """Nodes, conductances and controls, gathered place by place."""

    def __init__(self, file: SiteFile, wind_m_s: float | None):
        self.file, self.wind_m_s = file, wind_m_s
        self.pressure = float(pressure_at_kpa(file.site.elevation or 0.0))
        self.names: list[str] = []
        self.rows: list[dict[str, float]] = []
        self.links: list[tuple[int, int, float, float]] = []
        self.air_of: list[int] = []
        self.humidity: list[float] = []
        self.gains: list[FloatArray] = []
        self.control: list[tuple[int, FloatArray, float, float, float, float]] = []
        self.loop_of: dict[str, str] = {}
        self.volume: list[float] = []

    def node(self, name: str, capacity: float, air: int = OUTDOORS, humidity: float = 1.0, volume: float = 0.0) -> int:
        self.names.append(name)
        self.rows.append({"capacity": capacity})
        self.air_of.append(air)
        self.humidity.append(humidity)
        self.gains.append(np.zeros(HOURS))
        self.volume.append(volume)
        return len(self.names) - 1

    def link(self, one: int, other: int, day: float, night: float | None = None) -> None:
        if other == OUTDOORS:
            self.add(one, outdoor_day=day, outdoor_night=day if night is None else night)
        else:
            self.links.append((one, other, day, day if night is None else night))

    def add(self, node: int, **values: float) -> None:
        for key, value in values.items():
            self.rows[node][key] = self.rows[node].get(key, 0.0) + value

    def column(self, key: str) -> FloatArray:
        return np.array([row.get(key, 0.0) for row in self.rows])

    def room(self, name: str, table: GreenhouseTable | FishRoomTable) -> int:
        volume = room_sizes(table)[2]
        air = self.node(name, house.AIR_FACTOR * volume * float(air_heat_j_m3_k(10.0, self.pressure)))
        mass = table.thermal_mass
        stored = house.FLOOR_J_M2_K * table.floor_area
        if mass is not None:
            stored += house.WATER_J_M3_K * (mass.water or 0.0) + house.GRAVEL_J_M3_K * (mass.gravel or 0.0)
            stored += house.SOIL_J_M3_K * (mass.soil or 0.0)
        floor = self.node(f"{name} floor", stored)
        self.link(air, floor, house.FLOOR_AIR_W_M2_K * table.floor_area)
        edge = edge_w_k(table)
        self.add(floor, ground=house.DEEP_GROUND_W_M2_K * table.floor_area)
        leak = leak_of(table, self.wind_m_s, self.pressure)
        if isinstance(table, GreenhouseTable):
            day, night = envelope_w_k(table)
            self.add(air, outdoor_day=day + leak, outdoor_night=night + leak)
            self.add(floor, outdoor_day=edge, outdoor_night=edge)
        else:
            outside = self.names.index("greenhouse") if stands_inside(table, self.file) else OUTDOORS
            self.link(air, outside, walls_w_k(table) + leak)
            self.link(floor, OUTDOORS, 0.0 if outside != OUTDOORS else edge)
        vents = table.vents
        opens = vents.opens_at if vents is not None else DEFAULT_VENTS_C
        changes = vents.air_changes if vents is not None else DEFAULT_VENT_CHANGES
        self._control(air, table.heater, opens, float(house.leak_w_k(volume, changes, self.pressure)))
        if table.lamps is not None:
            hour = np.arange(HOURS) + 0.5
            first, last = table.lamps.from_hour, table.lamps.to_hour
            is_on = (hour >= first) & (hour < last) if first <= last else (hour >= first) | (hour < last)
            self.gains[air] += table.lamps.power * is_on
        return air

    def _control(self, node: int, heater: HeaterTable | None, vent_c: float, vent_w_k: float) -> None:
        points = np.full(HOURS, -np.inf) if heater is None else set_points(heater)
        # vents never open below the heater's set point: the two would run against each other
        highest = max(vent_c, float(points.max()) + 0.5)
        self.control.append((node, points, 0.0 if heater is None else heater.power, highest, vent_w_k, 0.0))

    def water(
        self,
        name: str,
        loop: str,
        place: tuple[str, int],
        volume: float,
        losses: tuple[float, float, float],
        extra_j: float = 0.0,
    ) -> int:
        """A node of water: losses to air and floor [W/K] and open water [m2]."""
        room, air = place
        humidity = 1.0 if air == OUTDOORS else self._humidity(room)
        capacity = max(volume, 1e-3) * house.WATER_J_M3_K + extra_j
        node = self.node(name, capacity, air, humidity, volume)
        factor = 1.0 if self.file.greenhouse is None else self.file.greenhouse.water_loss_factor
        to_air, to_floor, wet = losses
        self.link(node, air, factor * to_air)
        self.link(node, OUTDOORS if air == OUTDOORS else air + 1, to_floor)
        self.add(node, wet=factor * wet, wet_night=factor * wet)
        self.loop_of[name] = loop
        return node

    def _humidity(self, room: str) -> float:
        table = getattr(self.file, room)
        return DEFAULT_HUMIDITY[room] if table.humidity is None else float(table.humidity)


def _bed_losses(bed: BedTable) -> tuple[float, float, tuple[float, float, float]]:
    """Water [m3], heat of what fills it [J/K] and losses of a bed that loop water runs through."""
    kind = BED_KINDS[bed.kind]
    assert kind.water is not None
    heat = kind.water.heat
    stored = 0.0 if kind.fill is None else kind.fill.heat_j_m3_k * bed_bulk_m3(bed)
    losses = (heat.air_w_m2_k * bed.area, heat.floor_w_m2_k * bed.area, heat.open_share * bed.area)
    return bed_water_m3(bed), stored, losses


def _rooms(file: SiteFile, wind_m_s: float | None) -> tuple[_Builder, dict[str, int]]:
    build = _Builder(file, wind_m_s)
    airs = {"outdoors": OUTDOORS}
    for name in ROOMS:
        table = getattr(file, name)
        if table is not None:
            airs[name] = build.room(name, table)
    return build, airs


def build_heat_plan(file: SiteFile, held_c: Mapping[str, FloatArray], wind_m_s: float | None = None) -> HeatPlan:
    """Network of a site.

    Parameters
    ----------
    file : SiteFile
        Tables without faults.
    held_c : mapping of str to ndarray, shape (days,)
        Loops held at typed or logged temperatures.
    wind_m_s : float, optional
        Mean wind of the season; 3 m/s, at which typed air changes hold, where not given.

    Returns
    -------
    HeatPlan
        One scenario, without leading axes.
    """
    build, airs = _rooms(file, wind_m_s)
    open_sun: list[tuple[int, float]] = []
    holds: list[tuple[int, FloatArray]] = []
    for key, loop in file.loops.items():
        heat = loop.heat or LoopHeat()
        room = room_of(heat, file, key)
        depth = loop.depth or DEFAULT_TANK_DEPTH_M
        water = open_sump_m3(file, key)
        losses = tank_heat.tank_w_k(water, depth, heat.foam, heat.cover)
        sump = build.water(f"loops.{key}", key, (room, airs[room]), water, _floats(losses))
        build.gains[sump] += written_pump_w(file, key)
        if loop.new_water is not None:  # water from the ground has the year's mean, as deep ground
            build.add(sump, ground=flow_w_k(loop.new_water))
        if room == "greenhouse" and not heat.cover:
            open_sun.append((sump, water / depth))
        if key in held_c:
            holds.append((sump, held_c[key]))
        elif heat.heater is not None:
            build.control.append((sump, set_points(heat.heater), heat.heater.power, 1e6, 0.0, 0.0))
        for name, tank in file.tanks.items():
            if tank.loop == key:
                heat_t = tank.heat or TankHeat()
                depth = tank.depth or DEFAULT_TANK_DEPTH_M
                room = room_of(heat_t, file, key)
                losses = tank_heat.tank_w_k(tank.volume, depth, heat_t.foam, heat_t.cover)
                node = build.water(f"tanks.{name}", key, (room, airs[room]), tank.volume, _floats(losses))
                build.link(sump, node, flow_w_k(tank.flow))
                if room == "greenhouse" and not heat_t.cover:
                    open_sun.append((node, tank.volume / depth))
        for name, bed in file.beds.items():
            if bed.loop == key and BED_KINDS[bed.kind].is_on_loop:
                _add_bed(build, f"beds.{name}", bed, sump, airs, open_sun)
        for name, unit in file.biofilters.items():
            if unit.loop == key:
                room = room_of(None, file, key)
                losses = tank_heat.tank_w_k(unit.media_volume, DEFAULT_TANK_DEPTH_M, 0.0, True)
                node = build.water(f"biofilters.{name}", key, (room, airs[room]), unit.media_volume, _floats(losses))
                build.link(sump, node, flow_w_k(unit.flow))
    if file.greenhouse is not None:
        _share_sun(build, file, airs["greenhouse"], open_sun)
    return _finish(build, holds, room_losses_w_k(file, wind_m_s))


def _floats(parts: tuple[FloatArray, FloatArray, FloatArray]) -> tuple[float, float, float]:
    return float(parts[0]), float(parts[1]), float(parts[2])


def _add_bed(
    build: _Builder, name: str, bed: BedTable, sump: int, airs: Mapping[str, int], open_sun: list[tuple[int, float]]
) -> None:
    heat = bed.heat or BedHeat()
    room = room_of(heat, build.file, bed.loop)
    volume, stored, losses = _bed_losses(bed)
    node = build.water(name, bed.loop, (room, airs[room]), volume, losses, stored)
    day = flow_w_k(bed_flow_m3_day(bed))
    build.link(sump, node, day, heat.night_flow * day)
    water = BED_KINDS[bed.kind].water
    assert water is not None
    if water.heat.sun_reaches_water and room == "greenhouse":
        open_sun.append((node, water.heat.open_share * bed.area))
    if water.heat.dries_when_still:
        build.rows[node]["wet_night"] *= heat.night_flow
    if heat.night_cover:
        build.rows[node]["wet_night"] *= tank_heat.COVERED_WET_SHARE
        if airs[room] != OUTDOORS:
            one, other, bare, _ = next(link for link in build.links if link[0] == node and link[1] == airs[room])
            under = 1.0 / (1.0 / bare + 1.0 / (tank_heat.COVERED_W_M2_K * bed.area)) if bare > 0.0 else 0.0
            build.links.remove((one, other, bare, bare))
            build.links.append((one, other, bare, under))


def _share_sun(build: _Builder, file: SiteFile, air: int, open_sun: list[tuple[int, float]]) -> None:
    """Give the sun that comes in to open water, floor and air; leaves turn part of it to vapour."""
    table = file.greenhouse
    assert table is not None
    inside = house.COVERS[table.cover].transmission * house.FRAME_SHARE * (1.0 - table.shade) * table.sun_factor
    planted = sum(
        bed.area for bed in file.beds.values() if bed.plantings and room_of(bed.heat, file, bed.loop) == "greenhouse"
    )
    water = 0.0
    for node, area in open_sun:
        water += area
        build.add(node, sun=inside * tank_heat.SUN_INTO_WATER * area)
    rest = max(table.floor_area - water, 0.0) * inside * house.ABSORBED_SHARE
    rest *= 1.0 - house.LEAF_VAPOUR_SHARE * min(planted / table.floor_area, 1.0)
    build.add(air + 1, sun=house.FLOOR_SUN_SHARE * rest)
    build.add(air, sun=(1.0 - house.FLOOR_SUN_SHARE) * rest)


def _finish(build: _Builder, holds: list[tuple[int, FloatArray]], loss_w_k: Mapping[str, float]) -> HeatPlan:
    count = len(build.names)
    day, night = np.zeros((count, count)), np.zeros((count, count))
    for one, other, by_day, by_night in build.links:
        for matrix, value in ((day, by_day), (night, by_night)):
            matrix[one, other] += value
            matrix[other, one] += value
    controls = [*build.control, *((node, np.zeros(HOURS), UNBOUNDED_W, 0.0, 0.0, UNBOUNDED_W) for node, _ in holds)]
    points = np.array([points for _, points, *_ in controls]).reshape(len(controls), HOURS).T
    if holds:
        hours = HOURS * len(holds[0][1])
        points = np.tile(points, (hours // HOURS, 1))
        for column, (_, course) in enumerate(holds, len(build.control)):
            points[:, column] = np.repeat(course, HOURS)
    numbers = np.array([control[2:] for control in controls], float).reshape(len(controls), 4)
    network = Network(
        build.column("capacity"), day, night, build.column("outdoor_day"), build.column("outdoor_night"),
        build.column("ground"), build.column("sun"), np.stack(build.gains, axis=-1), build.column("wet"),
        build.column("wet_night"), np.array(build.air_of), np.array(build.humidity),
        np.array([name in build.loop_of for name in build.names]), np.array([c[0] for c in controls], dtype=int),
        points, numbers[:, 0], numbers[:, 1], numbers[:, 2], numbers[:, 3],
    )  # fmt: skip
    names = tuple(build.names)
    return HeatPlan(
        network, names, tuple(names[c[0]] for c in controls), np.array(build.volume), build.loop_of, loss_w_k
    )
