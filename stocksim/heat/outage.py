"""Rooms and water from the hour on when circuits fail: heaters, pumps and lamps that hang on them stop."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.network import run_network
from stocksim.climate.nodes import Network
from stocksim.climate.weather import HOURS, Weather
from stocksim.heat.hourly import Warmth
from stocksim.heat.plan import HeatPlan, build_heat_plan
from stocksim.heat.temperatures import typed_c
from stocksim.site.model import SiteFile
from stocksim.site.pump_tables import MAINS
from stocksim.site.pumps import heater_tables, moving
from stocksim.site.reading import Site
from stocksim.site.rooms import ROOMS

FloatArray = NDArray[np.float64]

CUT_HOURS = 120  # looked ahead: five days without heat, as when heaters fail
_STILL_M3_DAY = 1e-9  # water that no pump moves
_FREEZING_C = 0.05  # a limit of 0 degC counts as met here, where ice begins


_Made = dict[frozenset[str], Network]


class Phase(NamedTuple):
    """A while of a power cut in which the same circuits live: hours after the cut at which it ends, and which."""

    ends_h: float
    live: frozenset[str]


class Cooling(NamedTuple):
    """Water and air after the power fails on each of some days.

    Parameters
    ----------
    tank_c : dict of str to ndarray, shape (day, hour)
        Water of each tank, from the hour of the cut on. [degC]
    air_c : ndarray, shape (day, hour)
        Air of the coldest room that a tank stands in. [degC]
    """

    tank_c: dict[str, FloatArray]
    air_c: FloatArray


def hours_to(course_c: FloatArray, limit_c: float) -> float:
    """Hours until an hourly course crosses a limit, along straight lines; infinite where it never does."""
    limit = max(limit_c, _FREEZING_C)
    below = np.flatnonzero(course_c < limit)
    if not below.size:
        return float("inf")
    first = int(below[0])
    if first == 0:
        return 0.0
    before, after = float(course_c[first - 1]), float(course_c[first])
    return first - 1 + (before - limit) / (before - after)


def cooling(site: Site, warmth: Warmth, phases: Sequence[Phase], hour: float, days: Sequence[int]) -> Cooling:
    """Water of all tanks after the power fails.

    Parameters
    ----------
    site : Site
        A checked site with weather and a room.
    warmth : Warmth
        Its heat, as `stocksim.heat.temperatures.warmth_of_site` gives it.
    phases : sequence of Phase
        Which circuits live when; the last has no end.
    hour : float
        Of the cut; the whole hour before it is taken. [h]
    days : sequence of int
        Days of the season on which it fails, each by itself.

    Returns
    -------
    Cooling
        For five days in the season's own weather, the last day's where the season ends. A backup heats from the next
        whole hour on until the last whole one; vents stay shut.
    """
    nodes = {key: warmth.plan.nodes.index(f"tanks.{key}") for key in site.file.tanks}
    airs = [warmth.plan.nodes.index(room) for room in ROOMS if room in warmth.plan.nodes]
    made: _Made = {}
    courses = np.stack([_course(site, warmth, phases, int(hour), day, made) for day in days])
    return Cooling({key: courses[..., node] for key, node in nodes.items()}, courses[..., airs].min(axis=-1))


def _course(site: Site, warmth: Warmth, phases: Sequence[Phase], hour: int, day: int, made: _Made) -> FloatArray:
    """Temperatures of all nodes from an hour of a day on, shape (hour, node)."""
    hourly = warmth.run.hourly_c
    assert hourly is not None
    at = day * HOURS + min(hour, HOURS - 1)
    rows, live_by_hour = [hourly[max(at - 1, 0)]], _live_by_hour(phases)
    done = 0
    while done < CUT_HOURS:
        live = live_by_hour[done]
        last = next((n for n in range(done, CUT_HOURS) if live_by_hour[n] != live), CUT_HOURS)
        rows.extend(_part(site, warmth, live, rows[-1], at + done, last - done, day, made))
        done = last
    return np.array(rows)


def _live_by_hour(phases: Sequence[Phase]) -> list[frozenset[str]]:
    """Circuits that live all through each hour after the cut."""
    found, begins = [], 0.0
    always = frozenset.intersection(*(phase.live for phase in phases))
    by_hour: list[frozenset[str]] = [always] * CUT_HOURS
    for phase in phases:
        first, last = math.ceil(begins - 1e-9), math.floor(min(phase.ends_h, CUT_HOURS) + 1e-9)
        found.append((first, last, phase.live))
        begins = phase.ends_h
        if begins >= CUT_HOURS:
            break
    for first, last, live in found:
        by_hour[first:last] = [live] * max(last - first, 0)
    return by_hour


def _part(
    site: Site, warmth: Warmth, live: frozenset[str], start_c: FloatArray, first: int, hours: int, day: int, made: _Made
) -> FloatArray:
    """Hours of one phase, shape (hour, node); ``made`` keeps the network of each set of circuits."""
    held = {key: course[day : day + 1] for key, course in typed_c(site).items()} if MAINS in live else {}
    if held or live not in made:
        plan = build_heat_plan(file_in_cut(site.file, live), held, warmth.weather.wind_m_s)
        made[live] = _with_live_heaters(plan, site.file, live, set(held)).network
    network = made[live]
    clock = first % HOURS
    rolled = network._replace(
        set_c=np.roll(network.set_c, -clock, axis=-2), gain_w=np.roll(network.gain_w, -clock, axis=-2)
    )
    hourly, days = warmth.weather.hours, math.ceil(hours / HOURS)
    total = len(warmth.weather.night)
    steps = first + np.arange(days * HOURS)
    steps = np.where(steps < total, steps, total - HOURS + steps % HOURS)
    outdoors = Weather(hourly.air_c[steps], hourly.sun_w_m2[steps], hourly.dew_c[steps[::HOURS] // HOURS])
    run = run_network(
        rolled, outdoors, warmth.weather.night[steps], start_c, warmth.weather.ground_c, is_hourly=True, keep=()
    )
    assert run.hourly_c is not None
    return run.hourly_c[:hours]


def _with_live_heaters(plan: HeatPlan, file: SiteFile, live: Collection[str], held: Collection[str]) -> HeatPlan:
    """The plan with only those heaters that hang on a living circuit; vents stay shut."""
    circuits = {place: heater.circuit for place, heater in heater_tables(file).items()}
    runs = np.array(
        [circuits.get(place) in live or place.removeprefix("loops.") in held for place in plan.controls], dtype=bool
    )
    net = plan.network
    return replace(
        plan,
        network=net._replace(
            power_w=np.where(runs, net.power_w, 0.0),
            cool_w=np.where(runs, net.cool_w, 0.0),
            set_c=np.where(runs, net.set_c, -np.inf),
            vent_c=np.where(net.cool_w > 0.0, net.vent_c, 1e6),
        ),
    )


def file_in_cut(file: SiteFile, live: Collection[str]) -> SiteFile:
    """The file while some circuits live: without the others' pumps, flow and lamps.

    Parameters
    ----------
    file : SiteFile
        A file without faults.
    live : collection of str
        Circuits that live.

    Returns
    -------
    SiteFile
        For the heat balance alone: where nothing is pumped next to nothing flows.
    """
    flows = moving(file, live)
    still = {"flow": _STILL_M3_DAY}

    def standing(kind: str, tables: Mapping[str, object]) -> dict[str, object]:
        return {
            key: table if f"{kind}.{key}" in flows else table.model_copy(update=still)  # type: ignore[attr-defined]
            for key, table in tables.items()
        }

    changes: dict[str, object] = {
        "tanks": standing("tanks", file.tanks),
        "beds": standing("beds", file.beds),
        "biofilters": standing("biofilters", file.biofilters),
        "pumps": {key: pump for key, pump in file.pumps.items() if pump.circuit in live},
    }
    if MAINS not in live:
        changes["loops"] = {
            key: loop
            if loop.heat is None
            else loop.model_copy(update={"heat": loop.heat.model_copy(update={"pump": None})})
            for key, loop in file.loops.items()
        }
        changes |= {
            room: table.model_copy(update={"lamps": None})
            for room in ROOMS
            if (table := getattr(file, room)) is not None
        }
    return file.model_copy(update=changes)
