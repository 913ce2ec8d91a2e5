"""The hours of each day: waves of oxygen and TAN after the meals, and the worst hour of each tank.

Apart from `day`, for most seasons that are tried are never asked for their hours.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.compiled import compiled, jitable
from stocksim.engine.days.day import at
from stocksim.engine.days.rows import FloatArray, IntArray
from stocksim.fish.meals import WAVES
from stocksim.water.loop import daily_swing
from stocksim.water.nitrification import HALF_SATURATION_TAN_MG_L, OXYGEN_PER_NITROGEN

ComplexArray = NDArray[np.complex128]

HOURS = 24
_QUARTER = HOURS // 4
_ANGLE = 2.0 * np.pi / HOURS * np.arange(1, WAVES + 1)[:, None] * np.arange(_QUARTER + 1)
_COSINE, _SINE = np.cos(_ANGLE), np.sin(_ANGLE)


class Waters(NamedTuple):
    """Who is where, and the water of each scenario: volumes [m3] and flows; what a sump loses in all. [m3/day]"""

    tank_of: IntArray
    loop_of: IntArray
    volume: FloatArray
    flow: FloatArray
    sump_volume: FloatArray
    sump_outflow: FloatArray


class Loads(NamedTuple):
    """Of each scenario, or of one for all, and day: what fish use and excrete after meals [g/day], and the water.

    ``use_waves`` and ``excretion_waves``, (scenario, wave, cohort), are those of a gram of it.
    """

    use_waves: ComplexArray
    excretion_waves: ComplexArray
    use: FloatArray
    excreted: FloatArray
    tan: FloatArray
    nitrified: FloatArray
    exchange: FloatArray
    sump_exchange: FloatArray


class Room(NamedTuple):
    """Room for one day; ``waves`` of oxygen, then of TAN, (2, wave, tank)."""

    slope: FloatArray
    load: ComplexArray
    swing: ComplexArray
    sump_gain: ComplexArray
    sump_swing: ComplexArray
    waves: ComplexArray
    departure: FloatArray


class Hours(NamedTuple):
    """Filled, (scenario, day, tank): the most below and above the day's mean [mg/L], and the hour of the lowest. [h]

    ``oxygen_waves``, (scenario, day, wave, tank), only where it has scenarios.
    """

    oxygen_fall: FloatArray
    oxygen_hour: FloatArray
    tan_rise: FloatArray
    oxygen_waves: ComplexArray


@compiled
def worst_hours(waters: Waters, loads: Loads, room: Room, found: Hours) -> None:
    """Hours of every day of every scenario.

    Parameters
    ----------
    waters, loads, room : Waters, Loads, Room
        What the days were, and arrays to work in.
    found : Hours
        Filled.
    """
    scenarios, days, tanks = found.oxygen_fall.shape
    for s in range(scenarios):
        for day in range(days):
            _slopes(loads.tan[at(s, loads.tan), day], loads.nitrified[at(s, loads.nitrified), day], room.slope)
            for wave in range(room.waves.shape[1]):
                _waves_of(waters, loads, room, s, day, wave)
                if found.oxygen_waves.shape[0] > 0:
                    for i in range(tanks):
                        found.oxygen_waves[s, day, wave, i] = room.waves[0, wave, i]
            for i in range(tanks):
                _depart(room.waves[0], i, room.departure)
                hour = _extreme_hour(room.departure, -1.0)
                found.oxygen_fall[s, day, i] = min(room.departure[hour], 0.0)
                found.oxygen_hour[s, day, i] = hour if room.departure[hour] < 0.0 else 0
                _depart(room.waves[1], i, room.departure)
                found.tan_rise[s, day, i] = max(room.departure[_extreme_hour(room.departure, 1.0)], 0.0)


@jitable
def _slopes(tan: FloatArray, nitrified: FloatArray, slope: FloatArray) -> None:
    """How much more a leaf nitrifies for 1 mg/L more TAN. [m3/day]"""
    for i in range(tan.size):
        cleaned = nitrified[i] / max(tan[i], 1e-12)  # m3/day cleaned of TAN
        slope[i] = cleaned * HALF_SATURATION_TAN_MG_L / (HALF_SATURATION_TAN_MG_L + tan[i])


@jitable
def _waves_of(waters: Waters, loads: Loads, room: Room, s: int, day: int, wave: int) -> None:
    """One wave of a day: TAN by the fish's ammonia, which nitrification follows; oxygen by both."""
    load, swing = room.load, room.swing
    volume, flow = waters.volume[at(s, waters.volume)], waters.flow[at(s, waters.flow)]
    sump_volume = waters.sump_volume[at(s, waters.sump_volume)]
    sump_outflow = waters.sump_outflow[at(s, waters.sump_outflow)]
    of_excretion = loads.excretion_waves[at(s, loads.excretion_waves), wave]
    of_use = loads.use_waves[at(s, loads.use_waves), wave]
    exchange = loads.exchange[at(s, loads.exchange), day]
    sump_exchange = loads.sump_exchange[at(s, loads.sump_exchange), day]
    for i in range(load.size):
        load[i] = 0.0
    for c in range(of_use.size):
        load[waters.tank_of[c]] += loads.excreted[s, day, c] * of_excretion[c]
    daily_swing(
        wave + 1, volume, room.slope, flow, sump_volume, sump_outflow, waters.loop_of, load, swing,
        room.sump_gain, room.sump_swing,
    )  # fmt: skip
    for i in range(load.size):
        load[i] = -OXYGEN_PER_NITROGEN * room.slope[i] * swing[i]
    for c in range(of_use.size):
        load[waters.tank_of[c]] -= loads.use[s, day, c] * of_use[c]
    _keep(swing, room.waves[1, wave])
    daily_swing(
        wave + 1, volume, exchange, flow, sump_volume, sump_exchange, waters.loop_of, load, swing,
        room.sump_gain, room.sump_swing,
    )  # fmt: skip
    _keep(swing, room.waves[0, wave])


@jitable
def _keep(swing: ComplexArray, wave: ComplexArray) -> None:
    for i in range(wave.size):
        wave[i] = swing[i]


@jitable
def _depart(waves: ComplexArray, tank: int, departure: FloatArray) -> None:
    """Departure from the day's mean at every whole hour, as `fish.meals.at_hours` gives it at any."""
    # Waves of 24, 8 ... hours change their sign in half a day and the others do not, and a sine turns where the hour
    # does about noon: sums of seven hours give them all.
    for hour in range(_QUARTER + 1):
        alike = turned = rising = falling = 0.0
        for wave in range(waves.shape[0]):
            cosine = waves[wave, tank].real * _COSINE[wave, hour]
            sine = waves[wave, tank].imag * _SINE[wave, hour]
            alike += cosine
            rising += sine
            if wave % 2 == 0:
                cosine, sine = -cosine, -sine
            turned += cosine
            falling += sine
        departure[hour] = alike - rising
        departure[2 * _QUARTER + hour] = turned - falling
        departure[2 * _QUARTER - hour] = turned + falling
        departure[(4 * _QUARTER - hour) % HOURS] = alike + rising


@jitable
def _extreme_hour(departure: FloatArray, sign: float) -> int:
    """First hour of the highest, or with sign -1 of the lowest."""
    found = 0
    for hour in range(departure.size):
        if sign * departure[hour] > sign * departure[found]:
            found = hour
    return found
