"""Six nutrients of every loop and bed by week: where they come from, where they go, what to add."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.engine.arrays.water import SOLUTES
from stocksim.engine.days.fish import BODY_PHOSPHORUS, BODY_POTASSIUM, PHOSPHORUS_DIGESTIBILITY
from stocksim.engine.results.frames import Season
from stocksim.library.crops import NUTRIENTS
from stocksim.plants.nutrients import (
    DISSOLVED_SHARE,
    ENOUGH_MG_L,
    TOLD_SHORT_SHARE,
    USUAL_SOURCE_MG_L,
    salt_g,
)
from stocksim.plants.nutrients import iron_dose_g as iron_of_water
from stocksim.water.buffering import SALTS

FloatArray = NDArray[np.float64]

WEEK_DAYS = 7


def is_told_short(
    nutrient: str, missed: ArrayLike, wanted: ArrayLike, lowest_mg_l: ArrayLike | None
) -> NDArray[np.bool_]:
    """Whether crops miss so much of a nutrient that it is seen, and the water holds too little to make up for it."""
    is_missed = np.asarray(missed) > TOLD_SHORT_SHARE * np.asarray(wanted)
    enough = ENOUGH_MG_L.get(nutrient)
    if enough is None or lowest_mg_l is None:
        return is_missed
    return np.asarray(is_missed & (np.asarray(lowest_mg_l) < enough))


TERMS = ("dissolved", "solids", "freed", "buffer", "source", "taken", "denitrified", "carried_out", "kept", "short")


@dataclass(frozen=True)
class Budget:
    """One nutrient of a loop, arrays (week,) in grams a week.

    Parameters
    ----------
    loop, nutrient : str
        Whose.
    terms : mapping of str to ndarray
        ``dissolved`` from feed into the water, ``solids`` from feed into solids, ``freed`` from solids that break down
        into the water (phosphorus: what closes its balance), ``buffer`` and other doses, ``source`` water;
        ``taken`` by crops of the loop, ``denitrified``, ``carried_out`` with water; ``kept`` is what the water gained,
        and ``short`` what crops wanted beyond what they took.
    wanted_g : ndarray
        What crops of the loop would take.
    lowest_mg_l : ndarray or None
        Lowest level of the water in each week; None where it is not followed. [mg/L]
    """

    loop: str
    nutrient: str
    terms: dict[str, FloatArray]
    wanted_g: FloatArray
    lowest_mg_l: FloatArray | None = None

    @property
    def is_short(self) -> NDArray[np.bool_]:
        """Weeks in which crops miss so much that it is seen, and the water holds too little or will within the week."""
        return is_told_short(self.nutrient, self.terms["short"], self.wanted_g, self.lowest_mg_l)

    @property
    def add_g(self) -> FloatArray:
        """Salt to add, by week; 0 where it is not short. [g]"""
        return salt_g(self.nutrient, np.where(self.is_short, self.terms["short"], 0.0))


def weeks_of(season: Season) -> list[dt.date]:
    """First day of every week of the season."""
    return season.dates[::WEEK_DAYS]


def by_week(daily: FloatArray) -> FloatArray:
    """Sums of weeks along the first axis."""
    starts = np.arange(0, len(daily), WEEK_DAYS)
    return np.add.reduceat(daily, starts, axis=0)


def lowest_of_weeks(daily: FloatArray) -> FloatArray:
    """Lowest of each week along the first axis."""
    return np.minimum.reduceat(daily, np.arange(0, len(daily), WEEK_DAYS), axis=0)


def budgets(season: Season) -> list[Budget]:
    """Budget of all six nutrients for every loop that has fish or beds.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    list of Budget
        Nitrogen, phosphorus, potassium and calcium as the water's balance has them; magnesium and iron reckoned beside
        it from their usual level in source water and the little that feed dissolves.
    """
    layout, fed = season.layout, season.course.fed_g[0]
    wanted = _wanted_g(season)
    followed = _followed_terms(season, wanted)
    found = []
    for column, loop in enumerate(layout.loops):
        if not fed[:, layout.cohort_loop[:, column] > 0.0].any() and not layout.planted_m2[:, column].any():
            continue
        for key in NUTRIENTS:
            mine = wanted[key][:, column]
            if key in followed:
                terms = {name: values[:, column] for name, values in followed[key].items()}
            else:
                terms = dict.fromkeys(TERMS, np.zeros_like(mine)) | _terms_beside(season, key, column, mine)
            sums = {name: by_week(values) for name, values in terms.items()}
            lowest = lowest_of_weeks(season.course.nitrate_mg_l[0, :, column]) if key == "nitrogen" else None
            found.append(Budget(loop, key, sums, by_week(mine), lowest))
    return found


def on_loops(season: Season) -> FloatArray:
    """1 where the water of a loop feeds a bed, shape (beds, loops)."""
    stands = season.planting.stands
    of_loop = np.zeros((len(stands.beds), len(season.layout.loops)))
    of_loop[np.arange(len(stands.beds)), list(stands.loop_of)] = stands.on_loop
    return of_loop


def _wanted_g(season: Season) -> dict[str, FloatArray]:
    """What crops would take of each nutrient, arrays (days, loops). [g/day]"""
    of_loop = on_loops(season)
    return {key: season.planting.stands.demand_g[number] @ of_loop for number, key in enumerate(NUTRIENTS)}


def _followed_terms(season: Season, wanted_g: dict[str, FloatArray]) -> dict[str, dict[str, FloatArray]]:
    """Daily `TERMS` of the nutrients that the water's balance follows, arrays (days, loops). [g/day]"""
    layout, course, water = season.layout, season.course, season.layout.water
    units = layout.leaf_loop[len(layout.tanks) :]
    taken = {"nitrogen": course.uptake_n_g[0]}
    source, level = {"nitrogen": water.source_nitrate}, {"nitrogen": course.nitrate_mg_l[0]}
    for key in ("calcium", "potassium", "phosphorus"):
        taken[key] = getattr(course, f"uptake_{key}_g")[0] @ units
        source[key] = water.source_level[SOLUTES.index(key)]
        level[key] = getattr(course, f"{key}_mg_l")[0]
    top_up, outflow, volume = course.top_up_m3[0], course.outflow_m3[0], layout.loop_water_m3
    zero = np.zeros_like(top_up)
    dissolved, solids = _from_feed(season)
    buffer = {
        key: course.buffer_g[0] * np.array([getattr(SALTS[name], f"{key}_share") for name in water.salts])
        for key in ("calcium", "potassium")
    }
    found = {}
    for key, got in taken.items():
        found[key] = dict.fromkeys(TERMS, zero) | {
            "dissolved": dissolved.get(key, zero),
            "solids": solids.get(key, zero),
            "buffer": buffer.get(key, zero),
            "source": top_up * source[key],
            "taken": got,
            "carried_out": outflow * level[key],
            "kept": np.diff(level[key] * volume, axis=0, prepend=(source[key] * volume)[np.newaxis]),
            "short": np.maximum(wanted_g[key] - got, 0.0),
        }
    found["nitrogen"] |= {
        "denitrified": course.denitrified_n_g[0],
        "freed": course.solids_n_freed_g[0],
        "buffer": water.ammonia_dose_g + zero,
    }
    terms = found["phosphorus"]
    gone = terms["taken"] + terms["carried_out"] + terms["kept"]
    terms["freed"] = gone - terms["dissolved"] - terms["source"] - terms["buffer"]
    return found


def _from_feed(season: Season) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """What feed brings into the water and into solids, by nutrient, arrays (days, loops). [g/day]"""
    layout, course, members = season.layout, season.course, season.layout.cohort_loop
    fed, eaten, gain = course.fed_g[0], course.eaten_g[0], course.gain_g[0]
    spilled = fed - eaten
    phosphorus = layout.feed_phosphorus
    dissolved = {
        "nitrogen": course.excreted_nitrogen_g[0] @ members,
        "phosphorus": (eaten * phosphorus * PHOSPHORUS_DIGESTIBILITY - gain * BODY_PHOSPHORUS) @ members,
        "potassium": (fed * layout.feed_potassium - gain * BODY_POTASSIUM) @ members,
    }
    solids = {
        "nitrogen": course.solids_n_made_g[0],
        "phosphorus": (phosphorus * (eaten * (1.0 - PHOSPHORUS_DIGESTIBILITY) + spilled)) @ members,
        # the water's balance lets none of the feed's calcium dissolve
        "calcium": _fed_g(season, "calcium"),
    }
    return dissolved, solids


def _fed_g(season: Season, key: str) -> FloatArray:
    """What feed holds of a nutrient, shape (days, loops). [g/day]"""
    layout = season.layout
    share = np.array([season.site.feeds[stay.table.feed].number(key, 0.0) for stay in layout.stays])
    return (season.course.fed_g[0] * share) @ layout.cohort_loop


def _terms_beside(season: Season, key: str, column: int, wanted_g: FloatArray) -> dict[str, FloatArray]:
    """Daily terms of a loop's nutrient that the water's balance does not follow: mixed, and taken while there."""
    course, water_m3 = season.course, float(season.layout.loop_water_m3[column])
    fed_g, outflow_m3 = _fed_g(season, key)[:, column], course.outflow_m3[0][:, column]
    usual = USUAL_SOURCE_MG_L[key]
    held = usual * water_m3
    dissolved, source = DISSOLVED_SHARE[key] * fed_g, usual * course.top_up_m3[0][:, column]
    taken, out, kept = np.zeros_like(fed_g), np.zeros_like(fed_g), np.zeros_like(fed_g)
    for day in range(fed_g.size):
        before = held
        held += dissolved[day] + source[day]
        taken[day] = min(wanted_g[day], held)
        held -= taken[day]
        out[day] = held * outflow_m3[day] / (water_m3 + outflow_m3[day])
        held -= out[day]
        kept[day] = held - before
    short = np.maximum(wanted_g - taken, 0.0)
    return {
        "dissolved": dissolved, "solids": fed_g - dissolved, "source": source, "taken": taken, "carried_out": out,
        "kept": kept, "short": short,
    }  # fmt: skip


def iron_dose_g(season: Season, loop: str) -> float:
    """Chelate that brings a loop to the usual iron level once, to be repeated every three weeks. [g]"""
    column = season.layout.loops.index(loop)
    return float(iron_of_water(season.layout.loop_water_m3[column]))
