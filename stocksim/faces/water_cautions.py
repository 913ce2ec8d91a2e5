"""Cautions about the water of a loop in sentences: nitrate, pH, alkalinity and its salts, what settles, sodium."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.changes.change import Action, Change, allowed
from stocksim.changes.nitrate import is_film_behind, nitrate_changes
from stocksim.changes.water import HELD_ALKALINITY_MG_L, SCARCE_ALKALINITY_MG_L, held_base
from stocksim.engine.arrays.water import SOLUTES
from stocksim.engine.results.frames import Season
from stocksim.engine.results.nitrate import NitratePassed, nitrate_passed
from stocksim.faces.change_words import change_words
from stocksim.units import format_date, format_quantity
from stocksim.water.buffering import SALTS, chalk_room, dose_portions
from stocksim.water.nitrite import SODIUM_CAUTION_MG_L
from stocksim.water.tolerance import (
    FISH_PH_DEADLY_HIGH,
    FISH_PH_DEADLY_LOW,
    FISH_PH_HIGH,
    FISH_PH_LOW,
)

Days = NDArray[np.bool_]

CHALK = "calcium_carbonate"
CHALK_PH = 8.3  # docs/carbonate.md
NOT_JUDGED = (
    "Not judged: what nitrate, potassium and a pH outside "
    f"{FISH_PH_LOW:g} to {FISH_PH_HIGH:g} do to appetite and deaths. Nitrate is given as a caution, by harm "
    "in trials of weeks, its volumes by simple dilution (drained, then refilled); pH is too; potassium is only counted."
)
_SHORT_OF_TARGET, _DAYS_SHORT = 0.9, 3  # told from a tenth short on three days
_REACHED = 0.98  # of the target: dosed all the way
_CHALK_SHORT_MG_L = 1.0  # below the target, where chalk alone is to blame


def _day(season: Season, day: int) -> str:
    return format_date(season.dates[day])


def _in_tanks(season: Season, column: int) -> Days:
    inside: Days = season.layout.leaf_loop[: len(season.layout.tanks), column] > 0.0
    return inside


def nitrate_words(season: Season, loop: str) -> str:
    """From when nitrate passes the caution level of the loop's fish, and what helps; empty where it does not."""
    passed = nitrate_passed(season, loop)
    if passed is None:
        return ""
    levels = ", ".join(f"{level:g} mg/L for {_names(list(cohorts))}" for level, cohorts in passed.cohorts.items())
    return (
        f"Nitrate-N of loop {loop} passes a caution level ({levels}) on {_day(season, passed.first_day)} and reaches "
        f"{passed.worst_mg_l:.0f} on {_day(season, passed.worst_day)}. {_nitrate_lever(season, passed)}"
    )


def _names(cohorts: list[str]) -> str:
    return ", ".join(cohorts[:3]) + (f" and {len(cohorts) - 3} more" if len(cohorts) > 3 else "")


def _nitrate_lever(season: Season, passed: NitratePassed) -> str:
    """Planted area where there is room for more, or the water to change; else why neither is told."""
    units, told = season.site.file.site.units, []
    for change in nitrate_changes(season, passed.loop):
        is_area = change.kind is Action.PLANTED_AREA
        told.append(change_words(change, units) if is_area else _water_words(change, passed.goal_mg_l, units))
    never = season.site.file.advice.never
    if passed.once_m3 is None:
        held = f"your source water holds {passed.source_mg_l:g} mg/L itself, so changing water cannot help"
        told = ["; ".join([*(told or ["feed less"] * ("feed" not in never)), held])]
    elif is_film_behind(season, passed.loop):
        told.append("bring down ammonia and nitrite first, as the season says, and ask again: that moves nitrate too")
    words = ", or ".join(told)
    return f"{words[:1].upper()}{words[1:]}{'.' * bool(words)}"


def _water_words(change: Change, goal_mg_l: float, units: str) -> str:
    """The water to change against nitrate: each week from a day on, or once."""
    volume = format_quantity(change.amounts["volume_m3"], "volume", units)
    how = (
        f"about {volume} a week from then on"
        if change.kind is Action.WEEKLY_CHANGES
        else f"{volume} ({100.0 * change.amounts['share']:.0f} % of the loop), a large change in parts over days"
    )
    return (
        f"change water (without chlorine or chloramine, at the loop's temperature) to hold it at {goal_mg_l:g}: {how}"
    )


def nitrate_data(season: Season) -> list[dict[str, Any]]:
    """The same as plain data, a row for each loop whose nitrate passes a level; keys carry units."""
    rows = []
    for loop in season.layout.loops:
        passed = nitrate_passed(season, loop)
        if passed is not None:
            changes = nitrate_changes(season, loop)
            liters = {c.kind: round(1000.0 * c.amounts["volume_m3"], 1) for c in changes if "volume_m3" in c.amounts}
            rows.append(
                {
                    "loop": loop,
                    "first_date": season.dates[passed.first_day].isoformat(),
                    "worst_date": season.dates[passed.worst_day].isoformat(),
                    "worst_n_mg_l": round(passed.worst_mg_l, 3),
                    "goal_n_mg_l": passed.goal_mg_l,
                    "from_date": season.dates[passed.from_day].isoformat(),
                    "weekly_change_l": liters.get(Action.WEEKLY_CHANGES),
                    "change_at_once_l": liters.get(Action.WATER_CHANGES),
                }
            )
    return rows


def ph_words(season: Season, loop: str) -> str:
    """From when a tank with fish leaves the range of pH that fish are kept in; empty where none does."""
    layout, course = season.layout, season.course
    column = layout.loops.index(loop)
    tanks = np.flatnonzero(_in_tanks(season, column))
    with_fish = (course.count[0] @ layout.cohort_tank)[:, tanks] > 0.0
    ph = np.where(with_fish, course.ph[0][:, tanks], np.nan)
    outside = np.nan_to_num(np.maximum(FISH_PH_LOW - ph, ph - FISH_PH_HIGH), nan=0.0)
    days = np.flatnonzero((outside > 0.0).any(axis=1))
    if not days.size:
        return ""
    day, tank = divmod(int(outside.argmax()), len(tanks))
    is_low = bool(ph[day, tank] < FISH_PH_LOW)
    if season.site.file.loops[loop].ph is not None:
        lever = "It is the pH that the site file gives: test it, or leave ph out of the file to have it computed."
    elif is_low and season.site.file.loops[loop].alkalinity_target is not None:
        lever = "Give more air, and aim for more alkalinity, raised so that pH rises by no more than 0.2 a day."
    elif is_low:
        lever = "Give the loop an alkalinity target and more air, and raise it by no more than 0.2 a day."
    else:
        dosing = "Test" if season.site.file.loops[loop].alkalinity_target is None else "Stop dosing, test"
        lever = f"{dosing}, and change water in parts; high pH makes ammonia toxic."
    return (
        f"pH of loop {loop} leaves {FISH_PH_LOW:g} to {FISH_PH_HIGH:g}, the range for fish of common texts, on "
        f"{days.size} days from {_day(season, int(days[0]))}: {'down' if is_low else 'up'} to {ph[day, tank]:.1f} on "
        f"{_day(season, day)} in tank {layout.tanks[tanks[tank]]}. Fish grow less outside it and die near "
        f"{FISH_PH_DEADLY_LOW:g} and {FISH_PH_DEADLY_HIGH:g}, which the model leaves out. {lever}"
    )


def _chalk_short(season: Season, loop: str, target: float) -> NDArray[np.intp]:
    """Days on which less chalk dissolves than is missing to the target."""
    layout, course = season.layout, season.course
    column = layout.loops.index(loop)
    inside = _in_tanks(season, column)
    if season.site.file.loops[loop].buffer != CHALK or not inside.any():
        return np.zeros(0, dtype=np.intp)
    temperature = np.broadcast_to(layout.temperature_c, (1, *course.calcium_mg_l.shape[1:]))[0, :, column]
    alkalinity = course.alkalinity_mg_l[0, :, column]
    room = chalk_room(course.calcium_mg_l[0, :, column], alkalinity, course.ph[0][:, inside].mean(axis=1), temperature)
    missing = target - alkalinity
    return np.flatnonzero((missing > _CHALK_SHORT_MG_L) & (room < missing))


def short_words(season: Season, loop: str) -> str:
    """That a loop's target of alkalinity is missed, from when, by how much and why; empty where it is kept."""
    table = season.site.file.loops[loop]
    target, column = table.alkalinity_target, season.layout.loops.index(loop)
    if target is None:
        return ""
    course = season.course.alkalinity_mg_l[0, :, column]
    short = np.flatnonzero(course < _SHORT_OF_TARGET * target)
    if short.size < _DAYS_SHORT:
        return ""
    worst = int(course.argmin())
    by_chalk = _chalk_short(season, loop, target)
    if np.isin(short, by_chalk).sum() >= 0.5 * short.size:
        return (
            f"Chalk no longer dissolves as needed in loop {loop} from {_day(season, int(by_chalk[0]))}, because the "
            f"water holds nearly all the lime it can: alkalinity falls short of its target of {target:.0f} mg/L by "
            f"up to {target - course[worst]:.0f}, down to {course[worst]:.0f} on {_day(season, worst)}. More chalk "
            "does not help. Dose potassium bicarbonate, or aim lower."
        )
    if _is_used_up(season, column, target, short):
        return (
            f"Alkalinity of loop {loop} is below its target of {target:.0f} mg/L in the evening of {short.size} days, "
            f"from {_day(season, int(short[0]))}, down to {course[worst]:.0f} on {_day(season, worst)}: nitrification "
            "uses up most of a day's dose by then. Dose in parts over the day, or aim higher."
        )
    return (
        f"Alkalinity of loop {loop} falls short of its target of {target:.0f} mg/L on {short.size} days, from "
        f"{_day(season, int(short[0]))}, down to {course[worst]:.0f} on {_day(season, worst)}: a "
        "day's dose is held back where it would raise pH too fast or un-ionized ammonia past its limit. Lower the "
        "ammonia first (less feed, more biofilter), then dose."
    )


def _is_used_up(season: Season, column: int, target: float, short: NDArray[np.intp]) -> bool:
    """Whether on most of the days that fall short the morning's dose reached the target all the same."""
    layout, course = season.layout, season.course
    water = float(layout.loop_water_m3[column])
    salt = SALTS[layout.water.salts[column]].salt_g_per_alkalinity_g
    days = short[short > 0]
    dosed = course.alkalinity_mg_l[0, days - 1, column] + course.buffer_g[0, days, column] / salt / water
    return bool(days.size) and float((dosed >= _REACHED * target).mean()) > 0.5


def settling_words(season: Season, loop: str) -> str:
    """That computed pH lies where chalk settles out; empty where it does not."""
    inside = _in_tanks(season, season.layout.loops.index(loop))
    highest = float(season.course.ph[0][:, inside].max(initial=0.0))
    if season.site.file.loops[loop].ph is not None or highest <= CHALK_PH:
        return ""
    return (
        f"Computed pH of loop {loop} reaches {highest:.1f}: above {CHALK_PH} chalk settles out of hard water, "
        "which the model leaves out, so alkalinity and pH come out too high. Test them"
        f"{'' if season.site.file.loops[loop].source_water else ', give your own source water'}, or change water."
    )


def settling_cautions(season: Season) -> list[str]:
    """What `settling_words` says of each loop where chalk settles out."""
    return [words for loop in season.site.file.loops if (words := settling_words(season, loop))]


def sodium_words(season: Season, loop: str) -> str:
    """From when a loop with beds holds more sodium than crops like; empty where it does not."""
    if not any(bed.loop == loop for bed in season.site.file.beds.values()):
        return ""
    sodium = season.course.sodium_mg_l[0][:, season.layout.loops.index(loop)]
    high = np.flatnonzero(sodium > SODIUM_CAUTION_MG_L)
    if not high.size:
        return ""
    return (
        f"Sodium of loop {loop} passes {SODIUM_CAUTION_MG_L:g} mg/L on {_day(season, int(high[0]))} and "
        f"reaches {sodium.max():.0f}: it sets crops back from about there (from memory of Rakocy et al. 2006), and "
        "only drawn-off water takes it away. Change water, and take buffer and salt without sodium."
    )


def salt_words(salt: str) -> str:
    """A salt's caution with its name before it."""
    caution = SALTS[salt].caution
    return f"{salt.replace('_', ' ').capitalize()}: {caution[0].lower()}{caution[1:]}"


def water_cautions(season: Season) -> list[str]:
    """Cautions about dosing, nitrate, pH and water outside what the model knows, for the whole site."""
    file = season.site.file
    words = [NOT_JUDGED] if file.cohorts else []
    dosed = [loop for loop in file.loops.values() if loop.alkalinity_target is not None]
    if dosed:
        words.append(
            "Dissolve each day's buffer in a bucket of loop water and pour it in slowly, away from the fish"
            f"{_portions_words(season)}; test alkalinity and pH each week and dose by the test, not by the table."
        )
    words += [salt_words(salt) for salt in dict.fromkeys(loop.buffer for loop in dosed)]
    for told in (nitrate_words, ph_words, sodium_words):
        words += filter(None, (told(season, loop) for loop in file.loops))
    for loop in file.loops:
        words += filter(None, (base_words(season, loop), short_words(season, loop), settling_words(season, loop)))
    return words


def most_portions(season: Season, loop: str) -> int:
    """Portions in which the day's buffer of a loop is given on the day that asks for most; 0 where none is dosed."""
    table, column = season.site.file.loops[loop], season.layout.loops.index(loop)
    salt = SALTS[table.buffer]
    alkalinity = season.course.alkalinity_mg_l[0, :, column]
    before = np.concatenate(([season.layout.water.start_level[SOLUTES.index("alkalinity"), column]], alkalinity[:-1]))
    dose = season.course.buffer_g[0, :, column] / salt.salt_g_per_alkalinity_g / season.layout.loop_water_m3[column]
    return int(dose_portions(dose, before).max(initial=0.0))


def _portions_words(season: Season) -> str:
    found = {loop: most_portions(season, loop) for loop in season.site.file.loops}
    told = [f"{most} for loop {loop}" for loop, most in found.items() if most > 1]
    return f", in portions over the day (on the day that asks for most {', '.join(told)})" if told else ""


def base_short(season: Season, loop: str) -> tuple[int, int, float] | None:
    """First day, worst day and lowest level of alkalinity too low for films in a loop that nobody doses, or None."""
    column = season.layout.loops.index(loop)
    if season.site.file.loops[loop].alkalinity_target is not None:
        return None
    fish = (season.course.count[0] @ season.layout.cohort_loop)[:, column] > 0.0
    level = np.where(fish, season.course.alkalinity_mg_l[0, :, column], np.inf)
    days = np.flatnonzero(level < SCARCE_ALKALINITY_MG_L)
    if not days.size:
        return None
    worst = int(level.argmin())
    return int(days[0]), worst, max(float(level[worst]), 0.0)


def base_words(season: Season, loop: str) -> str:
    """That a loop which nobody doses runs out of alkalinity, from when, and what to hold; empty where it does not."""
    short = base_short(season, loop)
    if short is None:
        return ""
    first, worst, lowest = short
    asked = "".join(
        f' Dose base before that day: {field.rsplit(".", 1)[1]} = "{level}".'
        for change in allowed(season.site, [held_base(loop, lowest)])
        for field, level in change.fields.items()
    )
    return (
        f"Nobody doses loop {loop}, and its alkalinity falls below {SCARCE_ALKALINITY_MG_L:g} mg/L on "
        f"{_day(season, first)}, to {lowest:.0f} on {_day(season, worst)}: its bacteria slow down, "
        f"ammonia and nitrite rise.{asked}"
    )


def base_data(season: Season) -> list[dict[str, Any]]:
    """The same as plain data, a row for each such loop; keys carry units."""
    return [
        {
            "loop": loop,
            "first_date": season.dates[short[0]].isoformat(),
            "worst_date": season.dates[short[1]].isoformat(),
            "lowest_mg_l": round(short[2], 3),
            "hold_mg_l": HELD_ALKALINITY_MG_L,
        }
        for loop in season.layout.loops
        if (short := base_short(season, loop)) is not None
    ]
