"""How long each tank has when pump, air and heat stop."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.powercut.alone import Alone, factor_at, oxygen_at, oxygen_waves, tanks_alone
from stocksim.answers.powercut.standing import (
    Standing,
    fall_minutes,
    helped_from_min,
    loop_oxygen,
    phases,
    standing,
    steps_d,
)
from stocksim.engine.arrays.fish import cold_lethal_c
from stocksim.engine.results.frames import Season
from stocksim.errors import Fault, InputError, shown
from stocksim.fish.thermal import is_cold_known
from stocksim.heat.outage import Cooling, cooling, hours_to
from stocksim.heat.temperatures import warmth_of_site
from stocksim.site.model import MeasuredTransfer
from stocksim.site.notes import own_files
from stocksim.site.pump_tables import MAINS
from stocksim.site.pumps import air_w, circuit_w, guessed_pump_w, supplies, unpumped_m3_day, written_pump_w
from stocksim.water.pumping import DEFAULT_HEAD_M
from stocksim.water.reserve import cylinder_oxygen_g, hours_to_temperature, tank_loss_w_k

_ALLOWED = {  # option -> least, greatest, in words; the bounds only catch slips
    "hour": (0.0, 24.0, "give an hour of the day from 0 to 24, as 18 or 6.5"),
    "battery": (0.0, 1e5, "a battery air pump has 0 to 100,000 W"),
    "cylinder": (0.0, 1e5, "a cylinder holds 0 to 100,000 L of water"),
    "pressure": (0.0, 200.0, "give 0 to 200 bar, and count a fuller cylinder as 200 bar, the safe side"),
    "room": (-60.0, 60.0, "a room lies between -60 and 60 degC"),
    "heater": (0.0, 1e6, "a heater has 0 to 1,000 kW"),
    "head": (0.0, 100.0, "a head lies between 0 and 100 m"),
}


def cut_faults(first: dt.date, last: dt.date, on: dt.date | None, given: dict[str, float | None]) -> list[Fault]:
    """Everything impossible in what a power cut is asked.

    Parameters
    ----------
    first, last : date
        First and last day of the season.
    on : date or None
        Day of the cut, None for the worst.
    given : dict of str to float or None
        Hour and amounts by the names of the options, in the units of `power_cut`; None takes
        the default, and a key left out is not looked at.

    Returns
    -------
    list of Fault
        One for each, its field the option's name.
    """
    bad = []
    if on is not None and not first <= on <= last:
        bad.append(Fault("", "on", f"{on} lies outside the season; give a day from {first} to {last}."))
    for name, value in given.items():
        low, high, allowed = _ALLOWED[name]
        if value is not None and not low <= value <= high:
            bad.append(Fault("", name, f"{value:g} is not allowed; {allowed}."))
    if {"cylinder", "pressure"} <= set(given) and bool(given["cylinder"]) != bool(given["pressure"]):
        bad.append(Fault("", "cylinder", "give both, the water capacity stamped on it and the pressure on its gauge."))
    return bad


# --- power cut: how long each tank has when pump and air stop, and what a generator must carry

FloatArray = NDArray[np.float64]

# Share of bottled oxygen that dissolves through a stone in shallow water: 0.05-0.2 (common practice, no source).
CYLINDER_DISSOLVED_SHARE = 0.1


class Times(NamedTuple):
    """Minutes to a species' stress and lethal limits: 0 where already below, infinite where never."""

    to_stress: float
    to_lethal: float


@dataclass(frozen=True)
class Reserve:
    """What one cohort has in its tank at the cut, and how long that lasts.

    Parameters
    ----------
    tank, cohort, species : str
        Names of the site file and the species' key.
    is_limit_lethal : bool
        Whether the cold that kills the species is known; else its cold limit is the caution ``temperature_low_limit``.
    biomass_kg, density_kg_m3, oxygen_mg_l : float
        Of the cohort [kg]; of all fish in the tank [kg/m3]; in the tank at the cut. [mg/L]
    stress_mg_l, lethal_mg_l : float
        The species' ``oxygen_recommended``, below which it eats and thrives less, and ``oxygen_lethal``. [mg/L]
    temperature_c, cold_limit_c, hours_to_cold_limit : float
        Water at the cut, the cold that half of the fish outlive for four days, used to the water before it, at least
        freezing [degC], and the time to it without heat [hours], infinite where the room is no colder than the limit.
    alone, as_built, with_battery, with_cylinder : Times
        Without help; with what of the file lives or is carried by its backups; with the battery air pump; with the
        oxygen cylinder; the same where there is none. [minutes]
    """

    tank: str
    cohort: str
    species: str
    is_limit_lethal: bool
    biomass_kg: float
    density_kg_m3: float
    oxygen_mg_l: float
    stress_mg_l: float
    lethal_mg_l: float
    temperature_c: float
    cold_limit_c: float
    hours_to_cold_limit: float
    alone: Times
    as_built: Times
    with_battery: Times
    with_cylinder: Times

    @property
    def first_minutes(self) -> float:
        """Time to the first limit that a cut brings: oxygen that kills, or the cold limit. [minutes]"""
        return min(self.as_built.to_lethal, self.cold_minutes)

    @property
    def cold_minutes(self) -> float:
        """Time to the cold limit, infinite where it is only a caution and met before the cut. [minutes]"""
        is_met_before = self.hours_to_cold_limit <= 0.0 and not self.is_limit_lethal
        return math.inf if is_met_before else 60.0 * self.hours_to_cold_limit


@dataclass(frozen=True)
class GeneratorLoad:
    """What a generator must carry while it runs; motors draw several times their part when they start.

    Parameters
    ----------
    air_w, pump_w, heater_w, flow_m3_day, head_m : float
        Air pumps of all units; water pumps; heater as given [W]; flow through all units, and the head of pumps whose
        plate the file does not tell. [m3/day], [m]
    plate_w, unplated_m3_day : float
        What of the pumps the file tells by their plates [W], and the flow of those it does not. [m3/day]
    guessed : tuple of str
        Tables whose device is known by its transfer alone, so that its power is a guess.
    """

    air_w: float
    pump_w: float
    heater_w: float
    flow_m3_day: float
    head_m: float
    plate_w: float
    unplated_m3_day: float
    guessed: tuple[str, ...]

    @property
    def total_w(self) -> float:
        """Sum of the running powers. [W]"""
        return self.air_w + self.pump_w + self.heater_w


@dataclass(frozen=True)
class PowerCut:
    """A power cut at one date and hour.

    Parameters
    ----------
    site, date, hour : str, date, float
        Name of the site, day of the cut and hour of that day. [h] 0 to 24.
    is_worst_day, is_worst_hour : bool
        Whether the day and the hour were sought, not given.
    reserves : tuple of Reserve
        One for each cohort that is there, the shortest time first.
    battery_w, cylinder_g : float
        Air pump beside each tank [W]; oxygen in the cylinder [g]; 0 without.
    cylinder_hours : float
        How long the cylinder holds the oxygen of all tanks where it is. [hours]
    room_c : float or None
        Air around the tanks as given, or freezing where the site tells no rooms; None where it is computed. [degC]
    air_c : (float, float) or None
        Computed air of the coldest room with tanks at the cut, and its lowest in the day after. [degC]
    standing : Standing
        Circuits that fail, what then stands still, backups, and what the sumps must hold.
    generator : GeneratorLoad
        What a generator must carry.
    own_files : tuple of str
        Notes on library files of the keeper's own that the answer rests on.
    """

    site: str
    date: dt.date
    hour: float
    is_worst_day: bool
    is_worst_hour: bool
    reserves: tuple[Reserve, ...]
    battery_w: float
    cylinder_g: float
    cylinder_hours: float
    room_c: float | None
    air_c: tuple[float, float] | None
    standing: Standing
    generator: GeneratorLoad
    own_files: tuple[str, ...]


def power_cut(
    season: Season,
    on: dt.date | None = None,
    hour: float | None = None,
    battery_w: float = 0.0,
    cylinder_l: float = 0.0,
    cylinder_bar: float = 0.0,
    room_c: float | None = None,
    heater_w: float = 0.0,
    head_m: float = DEFAULT_HEAD_M,
    fails: Collection[str] | None = None,
) -> PowerCut:
    r"""How long every cohort has when pump, air and heat stop at a date and hour.

    Parameters
    ----------
    season : Season
        A season that was run.
    on, hour : date, float, optional
        Day, by default that of the shortest time to a limit that kills, of oxygen or of cold, in any tank; hour [h] 0
        to 24, by default the whole hour of the shortest time.
    battery_w, cylinder_l, cylinder_bar : float
        Battery air pump beside each tank [W]; water capacity [L] and pressure [bar] of one oxygen cylinder for all
        tanks; 0 for none.
    room_c, heater_w, head_m : float
        Air around the tanks: None computes it where the site tells weather and rooms, else takes freezing [degC];
        heater that the generator must carry as well [W]; head of the pumps whose plate the file does not tell. [m]
    fails : collection of str, optional
        Circuits that fail; all of the file's by default.

    Returns
    -------
    PowerCut
        No reserves where no fish are there that day.

    Raises
    ------
    InputError
        If the date is outside the season or a number is impossible; all faults at once.

    Notes
    -----
    After the cut a tank is alone: :math:`V\,dC/dt = k_{surface} (C_s - C) - use`, solved exactly with the use held at
    the greatest that the daily wave reaches before the answer. V leaves out the fish; film and sludge sit elsewhere.
    Use and oxygen at the cut are those of the hour, after the meals before it. The cylinder is set at once to hold
    the oxygen where it is; the fall begins when it is empty.
    Where circuits live or a backup carries some, the loop's waters are followed together: pumped water mixes tank, sump
    and beds, air on living circuits goes on, each backup from its switch until it is empty.
    """
    given = {
        "hour": hour, "battery": battery_w, "cylinder": cylinder_l, "pressure": cylinder_bar, "room": room_c,
        "heater": heater_w, "head": head_m,
    }  # fmt: skip
    dates, site = season.dates, season.site
    if faults := cut_faults(dates[0], dates[-1], on, given) + circuit_faults(circuit_w(site.file), fails):
        raise InputError(faults)
    at = _worst_hour(season, on) if hour is None else hour
    layout, species, found = season.layout, season.layout.species, standing(site.file, fails)
    tanks, biomass_kg = tanks_alone(season, at, battery_w)
    # the fish and their mass are the evening's: the dead need no air
    present = season.course.left_in_evening[0]
    of_cohort = layout.cohort_tank.T
    at_fish = tanks.of_cohorts(of_cohort)
    limits = (species["oxygen_recommended"], species["oxygen_lethal"])
    alone = [at_fish.minutes(limit, at, False) for limit in limits]
    asked = np.arange(layout.days) if on is None else np.array([(on - layout.start).days])
    as_built = alone if found.is_all else _as_built(season, found, tanks, at, asked, limits)
    if not found.is_all:  # what falls before any help comes stands alone
        helped = helped_from_min(site.file, phases(found))
        first = np.array([helped[stay.table.tank] for stay in layout.stays])
        as_built = [np.where(now <= first, now, then) for now, then in zip(alone, as_built, strict=True)]
    cold = _cold(season, found, at, asked, room_c)
    day = _worst_day(present, as_built, 60.0 * cold.lethal_hours) if on is None else int(asked[0])
    with_battery = [at_fish.minutes(limit, at, True) for limit in limits] if battery_w > 0.0 else alone
    oxygen_g = float(cylinder_oxygen_g(cylinder_l, cylinder_bar))
    need = float(tanks.need_g_h()[day].sum())
    held_hours = CYLINDER_DISSOLVED_SHARE * oxygen_g / need if need > 0.0 else (np.inf if oxygen_g > 0.0 else 0.0)
    # the fall that follows the cylinder is taken at the day's greatest use, whatever the hour is by then
    late = [at_fish.at_greatest(limit) + 60.0 * held_hours for limit in limits]
    with_cylinder = [np.where(now > 0.0, np.maximum(now, then), 0.0) for now, then in zip(alone, late, strict=True)]
    numbers = (
        (season.course.count * season.course.weight_g)[0] / 1000.0,
        (biomass_kg / layout.volume_m3[: len(layout.tanks)]) @ of_cohort, at_fish.oxygen_mg_l, *limits,
        layout.temperature_c @ layout.cohort_loop.T, cold.limit_c, cold.hours, *alone, *as_built, *with_battery,
        *with_cylinder,
    )  # fmt: skip
    reserves = _reserves(season, present[day], cold.is_known, [np.broadcast_to(n, present.shape)[day] for n in numbers])
    return PowerCut(
        site.file.site.name, layout.start + dt.timedelta(days=day), at, on is None, hour is None, reserves, battery_w,
        oxygen_g, held_hours, cold.room_c, cold.air_on(day), found, _generator(season, heater_w, head_m),
        tuple(own_files(site.species, site.feeds, site.crops)),
    )  # fmt: skip


def circuit_faults(known: Collection[str], fails: Collection[str] | None) -> list[Fault]:
    """Circuits asked about that the file does not know."""
    return [
        Fault("", "fails", f"{shown(name)} is not among the circuits; known are {', '.join(known)}.")
        for name in fails or ()
        if name not in known
    ]


def _reserves(
    season: Season, is_there: NDArray[np.bool_], knows: list[bool], numbers: list[FloatArray]
) -> tuple[Reserve, ...]:
    """What each cohort that is there has, the shortest time first."""
    rows: list[Any] = np.stack(numbers, axis=-1).tolist()
    reserves = []
    for stay, known, row, there in zip(season.layout.stays, knows, rows, is_there, strict=True):
        names: list[Any] = [stay.table.tank, stay.cohort, stay.table.species, known]
        if there:
            times = (Times(*row[first : first + 2]) for first in range(len(row) - 8, len(row), 2))
            reserves.append(Reserve(*names, *row[:-8], *times))
    reserves.sort(key=lambda reserve: (reserve.first_minutes, reserve.alone.to_lethal, reserve.alone.to_stress))
    return tuple(reserves)


class _Cold(NamedTuple):
    """Cold limits and the hours to them, (day, cohort), NaN on days not asked about; where rooms are computed, their
    course on the days asked about."""

    limit_c: FloatArray
    hours: FloatArray
    is_known: list[bool]
    room_c: float | None
    days: NDArray[np.int64]
    course: Cooling | None

    @property
    def lethal_hours(self) -> FloatArray:
        """Hours to the limits that kill, infinite for those that are cautions. [h]"""
        return np.where(self.is_known, self.hours, np.inf)

    def air_on(self, day: int) -> tuple[float, float] | None:
        """Air at the cut and its lowest in the day after it. [degC]"""
        if self.course is None:
            return None
        air = self.course.air_c[int(np.flatnonzero(self.days == day)[0]), :25]
        return float(air[0]), float(air.min())


def _cold(season: Season, found: Standing, hour: float, days: NDArray[np.int64], room_c: float | None) -> _Cold:
    layout, site = season.layout, season.site
    temperature = layout.temperature_c @ layout.cohort_loop.T
    is_known = [is_cold_known(site.species[stay.table.species].number) for stay in layout.stays]
    limit = np.where(
        is_known,
        np.maximum(cold_lethal_c(site, layout.stays, temperature), 0.0),
        layout.species["temperature_low_limit"],
    )
    warmth = warmth_of_site(site) if room_c is None else None
    if warmth is not None:
        course = cooling(site, warmth, phases(found), hour, days.tolist())
        hours = np.full(limit.shape, np.nan)
        limits = np.broadcast_to(limit, hours.shape)
        for column, stay in enumerate(layout.stays):
            water = course.tank_c[stay.table.tank]
            hours[days, column] = [hours_to(row, limits[day, column]) for row, day in zip(water, days, strict=True)]
        return _Cold(limit, hours, is_known, None, days, course)
    air = 0.0 if room_c is None else room_c
    volume, surface = (part[: len(layout.tanks)] for part in (layout.volume_m3, layout.surface_m2))
    loss = tank_loss_w_k(volume, volume / surface)
    of_cohort = layout.cohort_tank.T
    hours = hours_to_temperature(temperature, limit, air, volume @ of_cohort, loss @ of_cohort)
    if MAINS in found.living:  # nothing tells of a heater but that the water is held
        hours = np.where(hours > 0.0, np.inf, hours)
    return _Cold(limit, hours, is_known, air, days, None)


def _as_built(
    season: Season, found: Standing, tanks: Alone, hour: float, days: NDArray[np.int64], limits: tuple[FloatArray, ...]
) -> list[FloatArray]:
    """Times to the limits with what lives and what backups carry, (day, cohort), NaN on days not asked about."""
    layout, whiles = season.layout, phases(found)
    steps = steps_d(whiles)
    factors = tanks.factors[:, days]
    by_step = np.stack([factor_at(factors, hour + 24.0 * ends) for ends in (0.0, *np.cumsum(steps))])
    greatest = np.maximum.accumulate(by_step, axis=0)[1:]
    times = np.full((len(limits), layout.days, len(layout.cohorts)), np.nan)
    tank_of = np.argmax(layout.cohort_tank, axis=1)
    for column in range(len(layout.loops)):
        fish = np.flatnonzero(layout.cohort_loop[:, column])
        if not fish.size:
            continue
        every = loop_oxygen(season, column, tanks.oxygen_mg_l, tanks.water_m3)
        asked = every._replace(**{k: getattr(every, k)[days] for k in every._fields if k != "leaves"})
        water_of = np.searchsorted(every.leaves, tank_of[fish])
        levels = np.stack([np.broadcast_to(limit[fish], (len(days), len(fish))) for limit in limits])
        use = np.ones((len(steps), *asked.fish_g_day.shape))
        for water, leaf in enumerate(every.leaves):
            if leaf < len(layout.tanks):
                use[:, :, water] = greatest[:, :, leaf]
        minutes, level, end = fall_minutes(season, column, asked, whiles, use, steps, levels, water_of)
        if not whiles[-1].live:  # then each tank stands alone
            at_end = tanks.of_fish(days, tank_of[fish])._replace(oxygen_mg_l=level[:, water_of])
            later = np.stack([end + at_end.at_greatest(limit) for limit in levels])
            minutes = np.where(np.isinf(minutes), later, minutes)
        times[np.ix_(np.arange(len(limits)), days, fish)] = minutes
    return list(times)


def _worst_hour(season: Season, on: dt.date | None) -> float:
    """Whole hour of the shortest time to a lethal limit, else to a stress limit, on the day or of the season. [h]"""
    layout, species = season.layout, season.layout.species
    waves = oxygen_waves(season)
    present = season.course.left_in_evening[0]
    days = slice(None) if on is None else slice((on - layout.start).days, (on - layout.start).days + 1)
    at_fish = tanks_alone(season, 0.0, 0.0)[0].of_cohorts(layout.cohort_tank.T)
    that_day = {key: part[days] for key, part in at_fish._asdict().items() if key != "factors"}
    at_fish = at_fish._replace(**that_day, factors=at_fish.factors[:, days])

    def shortest(hour: int) -> list[float]:
        oxygen = (oxygen_at(season, waves, float(hour)) @ layout.cohort_tank.T)[days]
        cut = at_fish._replace(oxygen_mg_l=oxygen)
        times = [cut.minutes(species[limit], float(hour), False) for limit in ("oxygen_lethal", "oxygen_recommended")]
        return [float(np.where(present[days], time, np.inf).min(initial=np.inf)) for time in times]

    return float(min(range(24), key=shortest))


def _worst_day(present: NDArray[np.bool_], oxygen: list[FloatArray], cold: FloatArray) -> int:
    """Day with the shortest time to a limit that kills, else to a stress limit, else the first with fish."""
    stress, lethal = oxygen
    for minutes in (np.minimum(lethal, cold), stress):
        shortest = np.where(present, minutes, np.inf).min(axis=-1, initial=np.inf)
        if np.isfinite(shortest).any():
            return int(np.argmin(shortest))
    return int(np.argmax(present.any(axis=-1)))


def _generator(season: Season, heater_w: float, head_m: float) -> GeneratorLoad:
    """Watts of the file's plates, and guesses of what has none."""
    file = season.site.file
    air, plates = supplies(file), sum(written_pump_w(file, key) for key in file.loops)
    guessed = [name for name, supply in air.items() if isinstance(supply, MeasuredTransfer)]
    return GeneratorLoad(
        sum(air_w(supply) for supply in air.values()),
        plates + sum(guessed_pump_w(file, key, head_m) for key in file.loops),
        heater_w, float(season.layout.flow_m3_day.sum()), head_m, plates,
        sum(unpumped_m3_day(file, key) for key in file.loops), tuple(guessed)
    )  # fmt: skip
