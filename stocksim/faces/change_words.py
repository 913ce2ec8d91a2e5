"""Changes and what else helps, as sentences: the one place where they are told."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from stocksim.changes.change import Action, Care, Change
from stocksim.changes.search import Help, help_of
from stocksim.engine.results.beds import BuildRule
from stocksim.engine.results.findings import Finding
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.kinds import LIMITS, WhyNone
from stocksim.site.loop_water import SOFT_WATER
from stocksim.units import face_unit, format_date, format_quantity, to_face
from stocksim.water.nitrite import SODIUM_CAUTION_MG_L

CARES = {
    Care.NEW_WATER: "for water without chlorine or chloramine and of the same temperature",
    Care.GROWN_FILM: "its bacteria grown before it must take these fish",
    Care.FOOD_GRADE: "either food grade",
    Care.CLEAR_TESTS: "when tests read no ammonia and no nitrite",
    Care.WILD: "sell wild fish only where your local code allows it",
    Care.AMMONIA: "ammonia burns lungs and eyes: gloves, goggles, open air, never with bleach; when tests read none",
    Care.LOST_NITROGEN: "its nitrogen is then lost to the beds",
    Care.WATERCRESS: (
        "Watercress: grow it from seed or clean cuttings, where growing it is allowed. Wild plants, and snails from "
        "pastures, can bring liver fluke; cook it if in doubt."
    ),
}
_YOUNG = "; its biofilter is young: stock fish later, or feed by `stocksim ramp`"


def change_words(change: Change, units: str) -> str:
    """What to do, with quantities.

    Parameters
    ----------
    change : Change
        Of `stocksim.changes`.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    str
        A sentence without capital and full stop, as ``give cedar air stones fed by 35 W instead of 20 W``.
    """
    return SENTENCES[change.kind](change, units)


def help_words(finding: Finding, units: str) -> str:
    """What helps against a finding, with what its run says of the fish and of other limits, or that nothing was found.

    Parameters
    ----------
    finding : Finding
        Of a season or of `stocksim.changes.search.find_changes`.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    str
        A sentence without capital and full stop; empty where nothing was sought.
    """
    found = help_of(finding)
    if found is None:
        return ""
    if found.change is None:
        return NO_CHANGE[found.why_none or WhyNone.NONE_MENDS].format(name=finding.where.split(".")[1]) + (
            _YOUNG if found.film_is_young else ""
        )
    return change_words(found.change, units) + _cost_words(found)


def _cost_words(found: Help) -> str:
    """What the run of a change says beside the limit that it mends."""
    words = ""
    if found.deaths is not None and found.deaths.is_told:
        dying, fish, before = found.deaths
        without = "" if math.isnan(before) else f", {before:.0f} without"
        words += f" (with it, {dying:.0f} of {fish:.0f} fish still die of the water or of hunger{without})"
    if found.breaks:
        places = ", ".join(f"{LIMITS[limit].name} of {where.split('.')[1]}" for limit, where in found.breaks)
        words += f" (but that breaks {places})"
    return words


NO_CHANGE = {
    WhyNone.NONE_MENDS: (
        "no single change that we tried fixes this without costing fish their lives, not even fewer fish here; change "
        "several things at once, or keep these fish in another loop"
    ),
    WhyNone.OTHER_LOOP: "no single change that we tried fixes this; keep {name} in another loop",
    WhyNone.SLOW_THE_CHANGE: (
        "let the water, or the fish in their new tank, change over several days; the model lets fish live through "
        "a jump that may kill real ones"
    ),
    WhyNone.GRADE_INSTEAD: (
        "no number that we try fixes this; grade the fish, or keep the smaller ones in another tank "
        "(`stocksim tankmates` shows which pairs)"
    ),
    WhyNone.NO_AREA: "no planted area that we tried brings the feed into the handbook band",
}


def _place(where: str) -> str:
    """A tank by its name alone, a bed, biofilter or loop with what it is."""
    table, name = where.split(".")
    return name if table == "tanks" else f"{table.removesuffix('s')} {name}"


def _care(change: Change) -> str:
    return CARES[change.care] if change.care is not None else ""


# --- fish, feed, air, heat


def _fewer_fish(change: Change, units: str) -> str:
    kept = " and ".join(f"{fish} of the {of} {cohort}" for cohort, fish, of in change.amounts["kept"])
    return f"keep {kept} in {_place(change.amounts['where'])}"


def _taken_out(change: Change, units: str) -> str:
    at = change.amounts
    verb = "harvest" if at["is_harvest"] else "sell, or eat small,"
    which = f"all {at['of']}" if at["fish"] == at["of"] else f"the {at['fish']} largest of {at['of']}"
    words = f"{verb} {which} {at['cohort']} in {at['tank']}"
    return words + (f" ({_care(change)})" if change.care else "")


def _moved(change: Change, units: str) -> str:
    at = change.amounts
    return (
        f"{'move' if change.start else 'stock'} {at['cohort']} {'from' if change.start else 'not in'} {at['tank']} "
        + (f"into {at['into']}" if change.start else f"but in {at['into']}")
    )


def _graded(change: Change, units: str) -> str:
    at = change.amounts
    return f"grade {at['cohort']} in {at['tank']} and move the largest {100 * at['share']:.0f} % into {at['into']}"


def _part_filled(change: Change, units: str) -> str:
    at = change.amounts
    volume, now = (format_quantity(at[key], "volume", units) for key in ("volume_m3", "now_m3"))
    return f"fill {at['tank']} only to {volume} of its {now} (less water lasts less long when power or air fails)"


def _feeding_hours(change: Change, units: str) -> str:
    at = change.amounts
    hours = at["hours"]
    if "-" in hours[0]:
        begin, end = hours[0].split("-")
        return f"feed loop {at['loop']} with a belt feeder from {begin} to {end}, the same feed a day"
    return f"feed loop {at['loop']} in {len(hours)} meals ({', '.join(hours)}), the same feed a day"


def _vents(change: Change, units: str) -> str:
    at = change.amounts
    opens = format_quantity(at["opens_at_c"], "temperature", units)
    since = f" instead of {format_quantity(at['now_c'], 'temperature', units)}" if at["now_c"] is not None else ""
    air = f" with {at['air_changes']:.0f} air changes an hour, by fans where need be" if at["is_more_air"] else ""
    return f"open the greenhouse vents at {opens}{since}{air}"


def _shade(change: Change, units: str) -> str:
    share = change.amounts["share"]
    return (
        f"shade the greenhouse by {100 * share:.0f} % (tried for all the season; crops want that light in dark months)"
    )


def _emptied(change: Change, units: str) -> str:
    at = change.amounts
    often = "every day" if at["days"] == 1 else f"every {at['days']} days"
    return (
        f"empty {' and '.join(at['settlers'])} {often} instead of every {at['now_days']} days (sludge gives off bad "
        "gas: in the open air; where it may go, your local rules say)"
    )


def _more_flow(change: Change, units: str) -> str:
    at = change.amounts
    flow, now = (flow_words(at[key], units) for key in ("flow_m3_day", "now_m3_day"))
    return f"send {flow} through {at['tank']} instead of {now}"


def flow_words(flow_m3_day: float, units: str) -> str:
    """A flow by the hour, as pumps are sold."""
    per_hour = to_face(flow_m3_day / 24.0, "volume", units)
    return f"{per_hour:.0f} {face_unit('volume', units)}/h"


def _more_air(change: Change, units: str) -> str:
    at = change.amounts
    old = f" instead of {at['now_w']:.0f} W" if at["now_w"] > 0 else ""
    return f"give {at['tank']} air stones fed by {at['power_w']:.0f} W{old}"


def _less_feed(change: Change, units: str) -> str:
    return "feed " + ", ".join(
        f"{cohort} {100 * fraction:.0f} % of appetite instead of {100 * now:.0f} %"
        for cohort, fraction, now in change.amounts["rations"]
    )


def _held_feed(change: Change, units: str) -> str:
    at = change.amounts
    feed = f"{100 * at['share']:.0f} % of its ration" if at["share"] else "nothing"
    return (
        f"feed loop {at['loop']} {feed} before {format_date(at['until'])}, then all of it (`stocksim ramp` finds "
        "finer steps)"
    )


def _set_point(change: Change, units: str) -> str:
    at = change.amounts
    verb, bound = ("heat", "at least") if at["is_floor"] else ("cool", "at most")
    degrees = _degrees(at["temperature_c"], units)
    return f"{verb} the water of loop {at['loop']} to {bound} {degrees}, or keep {at['cohort']} in another loop"


def _degrees(temperature_c: float, units: str) -> str:
    """A whole number of degrees, as set points are."""
    return f"{round(to_face(temperature_c, 'temperature', units))} {face_unit('temperature', units)}"


# --- a loop's film and its salts


def _new_film(change: Change, units: str) -> str:
    at = change.amounts
    media = f"{to_face(at['media_m3'], 'volume', units):.0f} {face_unit('volume', units)}"
    return (
        f"give loop {at['loop']} a trickling biofilter with {media} of {_specific(at['surface_m2_m3'], units)} media, "
        f"{_care(change)}"
    )


def _specific(surface_m2_m3: float, units: str) -> str:
    """Surface of media for its volume."""
    area, volume = to_face(surface_m2_m3, "area", units), to_face(1.0, "volume", units)
    return f"{area / volume:.1f} {face_unit('area', units)}/gal" if units == "us" else f"{surface_m2_m3:g} m2/m3"


def _more_film(change: Change, units: str) -> str:
    at = change.amounts
    if "media_m3" in at:
        return f"give {_place(at['where'])} {format_quantity(at['media_m3'], 'volume', units)} of media"
    wanted, now = (format_quantity(at[key], "area", units) for key in ("surface_m2", "now_m2"))
    return f"give {_place(at['where'])} {wanted} of nitrifying surface instead of {now}, by more or finer media"


def _chloride(change: Change, units: str) -> str:
    at = change.amounts
    start = f"keep {at['chloride_mg_l']:.0f} mg/L of chloride in loop {at['loop']}, top-up water too"
    reached = f"sodium then reaches {at['sodium_mg_l']:.0f} mg/L"
    bear = f"and crops tolerate about {SODIUM_CAUTION_MG_L:g}" if at["is_planted"] else "and no crop grows there"
    first, *others = [
        f"{format_quantity(grams, 'weight', units)} of {salt.replace('_', ' ')}"
        for salt, grams in at["salts_g"].items()
    ]
    if not others:
        return f"{start} (about {first} to begin with; {reached}, {bear})"
    return (
        f"{start} (about {first} to begin with, or {' or '.join(others)}, {_care(change)}; not plain salt: {reached}, "
        f"{bear})"
    )


def _buffer(change: Change, units: str) -> str:
    at = change.amounts
    return (
        f"dose loop {at['loop']} to hold {at['alkalinity_mg_l']:.0f} mg/L of alkalinity: it falls to "
        f"{at['lowest_mg_l']:.0f}"
    )


# --- a loop's water


def _softer_target(change: Change, units: str) -> str:
    at = change.amounts
    return (
        f"hold {at['alkalinity_mg_l']:.0f} mg/L of alkalinity in loop {at['loop']} instead of {at['now_mg_l']:.0f}, so "
        "that pH stays lower"
    )


def _softer_source(change: Change, units: str) -> str:
    at = change.amounts
    return (
        f"fill and top up loop {at['loop']} with water of {at['alkalinity_mg_l']:.0f} mg/L of alkalinity instead of "
        f"{at['now_mg_l']:.0f}, by {SOFT_WATER} mixed into yours, so that pH stays lower"
    )


def _water_changes(change: Change, units: str) -> str:
    at = change.amounts
    volume = format_quantity(at["volume_m3"], "volume", units)
    start, last = (format_date(day) if day else "" for day in (change.start, at["last"]))
    often = {0: f"on {start}", 1: f"each day from {start} to {last}"}
    when = often.get(at["every_days"], f"every {at['every_days']} days from {start} to {last}")
    words = f"change {volume} ({100 * at['share']:.0f} %) of loop {at['loop']}'s water {when}, {_care(change)}"
    if change.past:
        words += (
            f" (the limit then holds from the day after {format_date(change.past[0])}, which the test found too high "
            "already)"
        )
    return words


def _weekly_changes(change: Change, units: str) -> str:
    at = change.amounts
    volume, care = format_quantity(at["volume_m3"], "volume", units), _care(change)
    since = f" from {format_date(change.start)} on" if change.care is Care.LOST_NITROGEN and change.start else ""
    return f"change {volume} of loop {at['loop']}'s water every week{since}" + (f" ({care})" if care else "")


def _dosing_ends(change: Change, units: str) -> str:
    at = change.amounts
    clear = "the day" if at["days_ahead"] == 1 else f"{at['days_ahead']} days"
    return f"stop dosing ammonia into loop {at['loop']} after {format_date(at['last'])}, {clear} before fish come"


def _film_first(change: Change, units: str) -> str:
    at = change.amounts
    return (
        f"grow the biofilter of loop {at['loop']} first: dose {at['dose_g_day']:.2g} g/day of ammonia nitrogen until "
        f"{format_date(at['until'])}, and stock {', '.join(at['cohorts'])} on {format_date(at['due'])} "
        f"({_care(change)})"
    )


def _less_dosed_ammonia(change: Change, units: str) -> str:
    at = change.amounts
    words = []
    if at["dose_g_day"] is not None:
        words.append(
            f"dose {at['dose_g_day']:.2g} g/day of ammonia nitrogen into loop {at['loop']} instead of "
            f"{at['now_g_day']:.2g}"
        )
    if at["cohorts"]:
        words.append(f"stock {', '.join(at['cohorts'])} on {format_date(at['due'])} at the earliest, {_care(change)}")
    return " and ".join(words)


# --- planted area, crops and stock


_KEPT_BY = {
    BuildRule.HANDBOOK: "which the season's feed keeps green",
    BuildRule.HANDBOOK_ALONE: "which the season's feed keeps green",
    BuildRule.NITROGEN: "which the nitrogen of its fish does for",
    BuildRule.NITROGEN_ALONE: "which the nitrogen of its fish does for",
}


def _planted_area(change: Change, units: str) -> str:
    at = change.amounts
    carried, planted = (format_quantity(at[key], "area", units) for key in ("carried_m2", "planted_m2"))
    verb = "build beds and plant" if at["is_built"] else "plant"
    of = "" if at["is_whole"] else " with what has a published ratio"
    words = f"{verb} {carried} in loop {at['loop']}{of}, {_KEPT_BY[at['rule']]}, in place of {planted}"
    return f"{words}, or add the salts that more of it lacks" if at["is_salted"] else words


def _hungrier_crops(change: Change, units: str) -> str:
    at = change.amounts
    return f"plant {at['crop'].replace('_', ' ')} in loop {at['loop']} in place of {', '.join(at['instead_of'])}"


def _ration(change: Change, units: str) -> str:
    at = change.amounts
    return (
        f"feed the fish of loop {at['loop']} {100 * at['fraction']:.0f} % of appetite in place of "
        f"{100 * at['now']:.0f} %"
    )


def _stock(change: Change, units: str) -> str:
    at = change.amounts
    weight = format_quantity(abs(at["biomass_kg"]), "mass", units)
    what = "more" if at["biomass_kg"] > 0.0 else "less"
    counts = ", ".join(f"{fish} {cohort} in place of {now}" for cohort, fish, now in at["counts"])
    return f"stock {weight} {what} fish in loop {at['loop']}: {counts}"


# --- a house through the cold months


_AIR_OF = {"greenhouse": "air", "fish_room": "air of the fish room"}


def _air_set_point(change: Change, units: str) -> str:
    at = change.amounts
    return f"{_AIR_OF[at['room']]} at {_degrees(at['set_point_c'], units)}"


def _water_set_point(change: Change, units: str) -> str:
    at = change.amounts
    words = f"water of {at['loop']} at {_degrees(at['set_point_c'], units)}"
    if at["air_c"] is not None:
        words += f", air only frost-free ({format_quantity(at['air_c'], 'temperature', units)})"
    return words


def _foam(change: Change, units: str) -> str:
    foam_m = change.amounts["foam_m"]
    thick = f"{1000.0 * foam_m:g} mm" if units == "metric" else format_quantity(foam_m, "length", units)
    return f"insulate tanks and sumps ({thick} of foam)"


def _bed_covers(change: Change, units: str) -> str:
    return f"cover {_plurals(change)} at night"


def _night_flow(change: Change, units: str) -> str:
    return f"pump the {_plurals(change)} at {100 * change.amounts['share']:.0f} % at night"


def _plurals(change: Change) -> str:
    """What the beds of some kinds are called together, as ``rafts``."""
    return " and ".join(dict.fromkeys(BED_KINDS[kind].plural for kind in change.amounts["kinds"]))


def _warm_loop(change: Change, units: str) -> str:
    at = change.amounts
    return f"a separate, insulated warm loop at {_degrees(at['set_point_c'], units)} for {', '.join(at['tanks'])}"


def _together(change: Change, units: str) -> str:
    return "; ".join(change_words(one, units) for one in change.amounts["changes"])


SENTENCES: Mapping[Action, Callable[[Change, str], str]] = {
    Action.FEWER_FISH: _fewer_fish,
    Action.TAKEN_OUT: _taken_out,
    Action.MOVED: _moved,
    Action.GRADED: _graded,
    Action.PART_FILLED: _part_filled,
    Action.MORE_FLOW: _more_flow,
    Action.MORE_AIR: _more_air,
    Action.LESS_FEED: _less_feed,
    Action.HELD_FEED: _held_feed,
    Action.FEEDING_HOURS: _feeding_hours,
    Action.VENTS: _vents,
    Action.SHADE: _shade,
    Action.SET_POINT: _set_point,
    Action.PLANTED_AREA: _planted_area,
    Action.NEW_FILM: _new_film,
    Action.MORE_FILM: _more_film,
    Action.CHLORIDE: _chloride,
    Action.BUFFER: _buffer,
    Action.SOFTER_TARGET: _softer_target,
    Action.SOFTER_SOURCE: _softer_source,
    Action.EMPTIED: _emptied,
    Action.WATER_CHANGES: _water_changes,
    Action.WEEKLY_CHANGES: _weekly_changes,
    Action.DOSING_ENDS: _dosing_ends,
    Action.LESS_DOSED_AMMONIA: _less_dosed_ammonia,
    Action.FILM_FIRST: _film_first,
    Action.HUNGRIER_CROPS: _hungrier_crops,
    Action.RATION: _ration,
    Action.STOCK: _stock,
    Action.NO_HEAT: lambda change, units: "no heat",
    Action.AIR_SET_POINT: _air_set_point,
    Action.WATER_SET_POINT: _water_set_point,
    Action.FOAM: _foam,
    Action.COVERS: lambda change, units: "cover tanks and sumps",
    Action.BED_COVERS: _bed_covers,
    Action.CURTAIN: lambda change, units: "a night curtain",
    Action.NIGHT_FLOW: _night_flow,
    Action.ALL_COVERS: lambda change, units: "all covers and foam",
    Action.WARM_LOOP: _warm_loop,
    Action.TOGETHER: _together,
}
