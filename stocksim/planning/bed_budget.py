"""Six nutrients of every loop and bed by week: where they come from, where they go, what to add."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.days.fish import BODY_PHOSPHORUS, BODY_POTASSIUM, PHOSPHORUS_DIGESTIBILITY
from stocksim.engine.results import Season
from stocksim.engine.waterworks import SOLUTES
from stocksim.library.crops import NUTRIENTS
from stocksim.planning.beds import WEEK_DAYS
from stocksim.plants.nutrients import (
    DISSOLVED_SHARE,
    IRON_TARGET_MG_L,
    TOLD_SHORT_SHARE,
    USUAL_SOURCE_MG_L,
    salt_g,
)
from stocksim.water.buffering import SALTS

FloatArray = NDArray[np.float64]

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
    """

    loop: str
    nutrient: str
    terms: dict[str, FloatArray]
    wanted_g: FloatArray

    @property
    def add_g(self) -> FloatArray:
        """Salt to add, by week; 0 where the shortfall is too small to be seen. [g]"""
        short = np.where(self.terms["short"] > TOLD_SHORT_SHARE * self.wanted_g, self.terms["short"], 0.0)
        return salt_g(self.nutrient, short)


def weeks_of(season: Season) -> list[dt.date]:
    """First day of every week of the season."""
    return season.dates[::WEEK_DAYS]


def by_week(daily: FloatArray) -> FloatArray:
    """Sums of weeks along the first axis."""
    starts = np.arange(0, len(daily), WEEK_DAYS)
    return np.add.reduceat(daily, starts, axis=0)


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
    layout, course, stands = season.layout, season.course, season.planting.stands
    feeds = [season.site.feeds[stay.table.feed] for stay in layout.stays]
    members = layout.cohort_loop
    fed, eaten, gain = course.fed_g[0], course.eaten_g[0], course.gain_g[0]
    spilled = fed - eaten
    of_loop = np.zeros((len(stands.beds), len(layout.loops)))
    of_loop[np.arange(len(stands.beds)), list(stands.loop_of)] = stands.on_loop
    wanted = {key: stands.demand_g[number] @ of_loop for number, key in enumerate(NUTRIENTS)}
    units = layout.leaf_loop[len(layout.tanks) :]
    taken = {"nitrogen": course.uptake_n_g[0]}
    for key in ("calcium", "potassium", "phosphorus"):
        taken[key] = getattr(course, f"uptake_{key}_g")[0] @ units
    phosphorus = layout.feed_phosphorus
    dissolved = {
        "nitrogen": course.excreted_nitrogen_g[0] @ members,
        "phosphorus": (eaten * phosphorus * PHOSPHORUS_DIGESTIBILITY - gain * BODY_PHOSPHORUS) @ members,
        "potassium": (fed * layout.feed_potassium - gain * BODY_POTASSIUM) @ members,
    }
    solids = {
        "nitrogen": course.solids_n_made_g[0],
        "phosphorus": (phosphorus * (eaten * (1.0 - PHOSPHORUS_DIGESTIBILITY) + spilled)) @ members,
    }
    in_feed = {key: np.array([feed.number(key, 0.0) for feed in feeds]) for key in ("calcium", "magnesium", "iron")}
    # the water's balance lets none of the feed's calcium dissolve
    solids["calcium"] = (fed * in_feed["calcium"]) @ members
    top_up, outflow = course.top_up_m3[0], course.outflow_m3[0]
    source = {"nitrogen": layout.water.source_nitrate}
    level = {"nitrogen": course.nitrate_mg_l[0]}
    for key in ("calcium", "potassium", "phosphorus"):
        source[key] = layout.water.source_level[SOLUTES.index(key)]
        level[key] = getattr(course, f"{key}_mg_l")[0]
    buffer = {
        key: course.buffer_g[0] * np.array([getattr(SALTS[name], f"{key}_share") for name in layout.water.salts])
        for key in ("calcium", "potassium")
    }
    water = layout.loop_water_m3
    zero = np.zeros_like(top_up)
    found = []
    for column, loop in enumerate(layout.loops):
        if not fed[:, members[:, column] > 0.0].any() and not layout.planted_m2[:, column].any():
            continue
        for key in NUTRIENTS:
            terms = dict.fromkeys(TERMS, zero[:, column])
            if key in taken:
                terms["dissolved"] = dissolved.get(key, zero)[:, column]
                terms["solids"] = solids.get(key, zero)[:, column]
                terms["buffer"] = buffer.get(key, zero)[:, column]
                terms["source"] = top_up[:, column] * source[key][column]
                terms["taken"], terms["carried_out"] = taken[key][:, column], outflow[:, column] * level[key][:, column]
                held = level[key][:, column] * water[column]
                terms["kept"] = np.diff(held, prepend=source[key][column] * water[column])
                if key == "nitrogen":
                    terms["denitrified"] = course.denitrified_n_g[0, :, column]
                    terms["freed"] = course.solids_n_freed_g[0, :, column]
                    terms["buffer"] = layout.water.ammonia_dose_g[:, column] + zero[:, column]
                if key == "phosphorus":
                    gone = terms["taken"] + terms["carried_out"] + terms["kept"]
                    terms["freed"] = gone - terms["dissolved"] - terms["source"] - terms["buffer"]
                terms["short"] = np.maximum(wanted[key][:, column] - taken[key][:, column], 0.0)
            else:
                fed_here = ((fed * in_feed[key]) @ members)[:, column]
                terms |= _beside(
                    key, fed_here, top_up[:, column], outflow[:, column], float(water[column]), wanted[key][:, column]
                )
            weekly = {name: by_week(values) for name, values in terms.items()}
            found.append(Budget(loop, key, weekly, by_week(wanted[key][:, column])))
    return found


def _beside(
    key: str, fed_g: FloatArray, top_up_m3: FloatArray, outflow_m3: FloatArray, water_m3: float, wanted_g: FloatArray
) -> dict[str, FloatArray]:
    """Daily terms of a nutrient that the water's balance does not follow: mixed, and taken while there."""
    usual = USUAL_SOURCE_MG_L[key]
    held = usual * water_m3
    dissolved, source = DISSOLVED_SHARE[key] * fed_g, usual * top_up_m3
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
    water = float(season.layout.loop_water_m3[column])
    return float(salt_g("iron", IRON_TARGET_MG_L * water))
