"""Beds in sentences, rows and cautions.

Apart from `answer` for its length.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from functools import partial

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.beds.changes import BedPlan, BedProof
from stocksim.answers.beds.decide import LoopBalance, Week
from stocksim.answers.beds.nutrients import by_week, iron_dose_g, weeks_of
from stocksim.changes.change import Care, Change
from stocksim.engine.results.frames import Season
from stocksim.faces.care import whole_cares
from stocksim.faces.change_words import CARES, change_words
from stocksim.faces.planting_words import unrated_words
from stocksim.faces.words import day_words
from stocksim.plants.nutrients import PLANT_SALTS, SALT_CAUTION
from stocksim.site.loop_water import CLEAN_RAIN
from stocksim.units import face_unit, format_quantity

TWO_AREAS = (
    "Feeding-ratio area: feed divided by the published ratio for crop and bed kind. It is a warm-season average over "
    "plants of all ages, set by what keeps plants green (potassium, iron, losses), not by nitrogen.",
    "Nitrogen area: what it would take of this loop's crops, all ages side by side, to take up the nitrogen that fish "
    "put "
    "into the water, in this week's light and warmth. Planting less lets nitrate rise; planting more starves crops.",
)
NUTRIENT_NOTE = (
    "(to water, from solids, doses and source = crops take, lost and left in water; nitrogen but for what stays as "
    "ammonia and nitrite, and all but for what water tests set anew; solids are what feed puts into them)"
)
FISH_FIRST = (
    "A limit of this loop is broken: feed and number of fish follow what to do under Season, not the beds."
    " Ask again with that done."
)
_SPANS_NAMED = 4  # runs of weeks that a sentence lists
_TOLD_G = 0.05  # g of nitrogen a day: less is printed as 0.0


def loop_sentences(season: Season, balance: LoopBalance) -> list[str]:
    """What the balance of a loop says: the season's gap, how it falls into winter, when it turns.

    Parameters
    ----------
    season : Season
        A season that was run.
    balance : LoopBalance
        One of its loops.

    Returns
    -------
    list of str
        Sentences, the answer first.
    """
    supply, draw, gap = balance.mean("supply_g"), balance.mean("draw_g"), balance.mean_gap_g
    if draw < _TOLD_G:
        if balance.mean("planted_m2") > 0.0:
            return [
                f"Nothing grows in the beds of loop {balance.loop} this season, so all nitrogen stays in its water."
            ]
        return [
            f"Nothing is planted on the water of loop {balance.loop}: its fish give {supply:.1f} g of nitrogen a day, "
            "and only denitrification and water changes take any of it. Its feeding-ratio area is that of leafy crops "
            "in media beds, as a planting there might be."
        ]
    nitrate = float(season.course.nitrate_mg_l[0, -1, season.layout.loops.index(balance.loop)])
    say = [
        f"Fish of loop {balance.loop} put {supply:.1f} g of nitrogen a day at the plants' disposal, the beds would "
        "take "
        f"{draw:.1f} (season's mean): "
        + (
            f"that is even, and nitrate ends at {nitrate:.0f} mg/L as nitrogen."
            if balance.is_even
            else f"{gap:.1f} g a day stay in the water, and nitrate ends at {nitrate:.0f} mg/L as nitrogen."
            if gap > 0.0
            else f"{-gap:.1f} g a day more than that, and nitrate ends at {nitrate:.0f} mg/L as nitrogen."
        )
    ]
    stock = _stock_sentence(balance)
    return [*say, *([stock] if stock else []), *_fall_sentences(balance), _turn_sentence(balance)]


def _stock_sentence(balance: LoopBalance) -> str:
    """How long the nitrate in the water makes up for what fish do not give; empty where crops never go by it."""
    weeks, drawing, short = balance.weeks, balance.drawing, balance.short
    missed = ""
    if short:
        at = np.array([number for number, week in enumerate(weeks) if week.is_short])
        missed = f"{len(short)} of {len(weeks)} weeks{_weeks_named([week.first for week in weeks], at, len(weeks))}"
    if not drawing:
        return f"The water holds too little nitrate, and crops miss nitrogen, in {missed}." if short else ""
    before = weeks[max(weeks.index(drawing[0]) - 1, 0)]
    text = (
        f"In {len(drawing)} of {len(weeks)} weeks the beds would take more than fish give, and use up the nitrate in "
        f"the water ({before.stock_g:.0f} g of nitrogen in the week of {day_words(before.first)}, "
        f"{weeks[-1].stock_g:.0f} g at the end)"
    )
    if not short:
        return f"{text}: it feeds the crops through all of them."
    return f"{text}: too little is left, and crops miss nitrogen, in {missed}."


def _fall_sentences(balance: LoopBalance) -> list[str]:
    fall = balance.fall
    if fall is None:
        return []
    name = {"draw": "what beds take up falls further", "feed": "the feed falls further", "even": "both fall alike"}
    text = (
        f"Into winter {name[fall.faster]}: in the week of {day_words(fall.trough)} the same crops take up "
        f"{100 * fall.area_draw_share:.0f} % of what they did in the week of {day_words(fall.reference)}, with the "
        f"light and the warmth, and fish of the same weight are fed {100 * fall.feed_per_kg_share:.0f} %, with the "
        f"water. With all that is planted and stocked by then, beds take up {100 * fall.draw_share:.0f} % and fish "
        f"get {100 * fall.feed_share:.0f} %."
    )
    if fall.back is None:
        return [text + " Measured so, what beds take up does not catch up with feed this season."]
    return [text + f" Measured so, what beds take up overtakes feed in the week of {day_words(fall.back)}."]


def _turn_sentence(balance: LoopBalance) -> str:
    words = {1: "fish give more than the beds would take", -1: "the beds would take more than fish give"}
    if balance.turns:
        told = "; ".join(f"from the week of {day_words(day)} {words[side]}" for day, side in balance.turns)
        return f"Measured in nitrogen it changes sides: {told}."
    rated = [week for week in balance.weeks if week.planted_m2 > 0.0 and week.supply_g > 0.0]
    if not rated:
        return "In no week are both fish fed and beds planted."
    closest = min(rated, key=lambda week: abs(math.log(max(week.draw_g, 1e-6) / week.supply_g)))
    share = 100.0 * closest.draw_g / closest.supply_g
    side = next((week.side for week in rated if week.side), 0)
    if side == 0:
        return "Measured in nitrogen fish and beds are even all season."
    return (
        f"Measured in nitrogen it never changes sides: {words[side]} in every week; they come closest in the week of "
        f"{day_words(closest.first)}, when the beds would take {share:.0f} %."
    )


def nothing_words(plan: BedPlan, loop: str) -> str:
    """Why no change is told for a loop."""
    balance = next(one for one in plan.loops if one.loop == loop)
    if balance.mean("draw_g") > 0.0 and balance.is_even:
        return "Fish and beds of this loop are even: nothing to change."
    if balance.mean_gap_g < 0.0 and not balance.short:
        return "The nitrate in the water makes up for what fish do not give: nothing to change this season."
    return "Nothing that we tried brings this loop nearer to balance."


def proof_sentence(proof: BedProof, units: str) -> str:
    """What a change is and what its season shows."""
    words = change_words(proof.change, units)
    text = (
        f"{words[0].upper()}{words[1:]}: the gap goes from {proof.gap_before_g:+z.1f} to "
        f"{proof.gap_after_g:+z.1f} g of nitrogen a day, nitrate at the end from {proof.nitrate_before_mg_l:.0f} to "
        f"{proof.nitrate_after_mg_l:.0f} mg/L; fish growth {_more(proof.growth_kg, units)}, harvest "
        f"{_more(proof.harvest_kg, units)}."
    )
    if proof.breaks:
        text += f" But it breaks {', '.join(_broken_words(*broken) for broken in proof.breaks)}."
    return text


def _broken_words(limit: str, where: str) -> str:
    """A limit at a place, as ``oxygen in cedar`` and ``biofilter of loops.main``."""
    place = where.replace("_", " ")
    named = f"in {place.removeprefix('tanks.')}" if place.startswith("tanks.") else f"of {place}"
    return f"{limit.replace('_', ' ')} {named}"


def _more(kilos: float, units: str) -> str:
    """A weight with its sign, none where it would be printed as nothing."""
    sign = "" if abs(kilos) < 0.05 else "-" if kilos < 0.0 else "+"
    return f"{sign}{format_quantity(abs(kilos), 'mass', units)}"


def area_words(season: Season, loop: str) -> list[str]:
    """Where no ratio was ever published: one phrase a bed or crop of the loop."""
    beds = season.site.file.beds
    return [unrated_words(one) for one in season.planting.unrated if beds[one.bed].loop == loop]


def week_rows(balance: LoopBalance, units: str) -> list[dict[str, str]]:
    """A row for each week: light, feed, both areas, feed and fish that the planted area asks for, gap."""
    return [_week_row(week, units) for week in balance.weeks]


def _week_row(week: Week, units: str) -> dict[str, str]:
    def area(value: float) -> str:
        return "-" if math.isnan(value) else format_quantity(value, "area", units).rsplit(" ", 1)[0]

    def feed(value: float) -> str:
        return "-" if math.isnan(value) else format_quantity(value, "dose", units).split()[0]

    def fish(value: float) -> str:
        return "-" if math.isnan(value) else format_quantity(value, "mass", units).rsplit(" ", 1)[0]

    return {
        "week of": day_words(week.first),
        "light": "-" if math.isnan(week.light_mol_m2) else f"{week.light_mol_m2:.0f}",
        "water": format_quantity(week.temperature_c, "temperature", units).rsplit(" ", 1)[0],
        "feed": feed(week.feed_g),
        "planted": area(week.planted_m2),
        "feeding-ratio area": "-"
        if math.isnan(week.handbook_low_m2)
        else f"{area(week.handbook_low_m2)}-{area(week.handbook_high_m2)}",
        "nitrogen area": area(week.balance_m2),
        "feed needed": f"{feed(week.balance_feed_g)} ({feed(week.handbook_feed_g)})",
        "fish needed": f"{fish(week.balance_biomass_kg)} ({fish(week.handbook_biomass_kg)})",
        "N given": f"{week.supply_g:.1f}",
        "N wanted": f"{week.draw_g:.1f}",
        "N missed": f"{week.missed_g:.1f}{'!' if week.is_short else ''}",
        "in water": f"{week.stock_g:.0f}",
        "nitrate-N": f"{week.nitrate_n_mg_l:.0f}",
    }


def table_note(units: str) -> str:
    """What the columns of the weekly table hold."""
    area = "ft2" if units == "us" else "m2"
    mass, dose = face_unit("mass", units), face_unit("dose", units)
    degrees = "degF" if units == "us" else "degC"
    return (
        f"(light mol/m2/day on the beds; water {degrees}; feed {dose} a day; areas {area}; feed needed: {dose} a "
        "day that the "
        f"planted beds ask for by nitrogen, and by the handbooks' ratio in brackets; fish needed: {mass} that eat it "
        "at this week's feed for their weight; nitrogen in g a day, missed by crops with ! where the water holds "
        "too little to "
        "make up for it; in water: g of it as nitrate at the week's end; nitrate mg/L; the ratio counts only what has "
        "a published one; - where none has, and for the nitrogen area where crops take up hardly any nitrogen)"
    )


def bed_rows(season: Season, units: str) -> list[dict[str, str]]:
    """A row for each bed: crops, area, harvest, nitrogen taken and missing."""
    beds, stands = season.bed_course, season.planting.stands
    rows = []
    for column, key in enumerate(stands.beds):
        table = season.site.file.beds[key]
        crops = dict.fromkeys(planting.crop for planting in table.plantings)
        harvest = beds.harvest_kg[:, column]
        wanted, missing = (
            float(values[:, column].sum()) for values in (beds.demand_g["nitrogen"], beds.shortfall_g("nitrogen"))
        )
        unknown = bool(np.isnan(harvest).any())
        face = f", face {format_quantity(table.planted_face, 'area', units)}" if table.planted_face else ""
        rows.append(
            {
                "bed": key, "kind": table.kind, "area": format_quantity(table.area, "area", units) + face,
                "crops": ", ".join(crop.replace("_", " ") for crop in crops) or "bare",
                "harvest": "unknown" if unknown else format_quantity(float(harvest.sum()), "mass", units),
                "N taken": "unknown" if unknown else f"{wanted - missing:.0f} g",
                "N missing": "unknown" if unknown else f"{missing:.0f} g",
            }
        )  # fmt: skip
    return rows


def nutrient_rows(plan: BedPlan, loop: str) -> list[dict[str, str]]:
    """A row for each nutrient of a loop: sums of the season in grams, and the salt that the leanest week asks for."""
    rows, budgets = [], plan.budgets
    for budget in budgets:
        if budget.loop != loop:
            continue
        total = {key: float(values.sum()) for key, values in budget.terms.items()}
        worst = int(np.argmax(budget.add_g))
        most = float(budget.add_g[worst])
        rows.append(
            {
                "nutrient": budget.nutrient, "to water": f"{total['dissolved']:,.0f}",
                "to solids": f"{total['solids']:,.0f}",
                "from solids": f"{total['freed']:,.0f}", "doses": f"{total['buffer']:,.0f}",
                "source": f"{total['source']:,.0f}", "crops want": f"{float(budget.wanted_g.sum()):,.0f}",
                "crops take": f"{total['taken']:,.0f}", "lost": f"{total['denitrified'] + total['carried_out']:,.0f}",
                "left in water": f"{total['kept']:+z,.0f}",
                "add, leanest week": f"{most:,.0f} g {PLANT_SALTS[budget.nutrient].name}"
                if most >= 0.5
                else "nothing",
            }
        )  # fmt: skip
    return rows


def _weeks_named(starts: list[dt.date], weeks: NDArray[np.intp], whole: int) -> str:
    """Spans of weeks by their first days, as ``, those of 1 Oct 2026 to 15 Oct 2026 and 22 Apr 2027``."""
    if weeks.size == whole:
        return ""
    runs = np.split(weeks, np.flatnonzero(np.diff(weeks) > 1) + 1)
    named = [
        day_words(starts[int(run[0])]) + (f" to {day_words(starts[int(run[-1])])}" if run.size > 1 else "")
        for run in runs
    ]
    if len(named) > _SPANS_NAMED:
        return f", from that of {day_words(starts[int(weeks[0])])} to that of {day_words(starts[int(weeks[-1])])}"
    if weeks.size == 1:
        return f", that of {named[0]}"
    return f", those of {named[0]}" if len(named) == 1 else f", those of {', '.join(named[:-1])} and {named[-1]}"


def adding_sentences(plan: BedPlan, loop: str) -> list[str]:
    """What to add to a loop for its crops: weeks and grams of each salt, and iron by practice."""
    starts, units = weeks_of(plan.season), plan.season.site.file.site.units
    dose = partial(format_quantity, dimension="dose", system=units)
    say = []
    for budget in plan.budgets:
        add = budget.add_g
        weeks = np.flatnonzero(add >= 0.5)
        if budget.loop != loop or budget.nutrient == "iron" or not weeks.size:
            continue
        salt = PLANT_SALTS[budget.nutrient]
        say.append(
            f"{budget.nutrient.capitalize()} is short in {weeks.size} of {add.size} weeks"
            f"{_weeks_named(starts, weeks, add.size)}: {dose(float(add[weeks].mean()))} of {salt.name} a week on "
            f"average, most {dose(float(add.max()))}, in those weeks would let crops grow in full"
            + (
                ", though over the season more nitrogen stays in the water than they miss. "
                if budget.nutrient == "nitrogen"
                and float(budget.terms["kept"].sum()) > float(budget.terms["short"].sum())
                else ". "
            )
            + salt.caution
        )
    if any(budget.loop == loop and budget.wanted_g.any() for budget in plan.budgets):
        salt = PLANT_SALTS["iron"]
        say.append(
            f"Iron of the feed settles out near pH 7: {dose(iron_dose_g(plan.season, loop))} of {salt.name} brings "
            "the loop to 2 mg/L; repeat every {IRON_EVERY_DAYS // 7} weeks, or when young leaves pale (Rakocy's "
            "practice). "
            f"{salt.caution}"
        )
    return say


def excess_sentence(season: Season, balance: LoopBalance) -> str:
    """Fish to take out in the week of the widest gap above 0; empty where there is none."""
    over = [
        week
        for week in balance.weeks
        # beds just planted draw little, and that passes by itself
        if week.side > 0 and week.draw_g > 0.0 and week.balance_m2 > week.planted_m2
    ]
    if not over:
        return ""
    week = max(over, key=lambda w: w.gap_g)
    units = season.site.file.site.units
    fish = format_quantity(week.biomass_kg * (1.0 - week.draw_g / week.supply_g), "mass", units)
    return (
        f"Widest in the week of {day_words(week.first)}: {week.gap_g:.1f} g of nitrogen a day too much, as much as "
        f"{fish} of fish give."
    )


def solids_sentences(season: Season) -> list[str]:
    """Sludge sent to wicking beds or compost, and whether the beds can drink what it comes in."""
    file, course, layout = season.site.file, season.course, season.layout
    wicking, stands, units = season.bed_course.wicking, season.planting.stands, file.site.units

    def water(liters: float) -> str:
        return format_quantity(liters / 1000.0, "volume", units)

    say = []
    for column, bed in enumerate(stands.beds):
        if not wicking.is_fed[column]:
            continue
        drawn, drunk = by_week(wicking.drawn_l[:, column]), by_week(wicking.drunk_l[:, column])
        taken = float(wicking.uptake_g["nitrogen"][:, column].sum())
        text = (
            f"{bed} is sent {wicking.sent_n_g[:, column].sum():,.0f} g of nitrogen and "
            f"{wicking.sent_p_g[:, column].sum():,.0f} g of phosphorus as sludge in {water(drawn.sum())} of "
            "water; half "
            f"of it breaks down in a season, and its crops take {taken:,.0f} g of the nitrogen."
        )
        days = len(season.dates)
        if drawn.sum() > drunk.sum():
            wet = int((drawn > drunk).sum())
            text += (
                f" It cannot drink that: crops and air take {water(drunk.sum())} in {days} days, less than it gets in "
                f"{wet} of {drawn.size} weeks. Draw off less water, give it a drain, or send part to compost."
            )
        else:
            text += f" It can drink that: crops and air take up to {water(drunk.sum())}."
        say.append(text)
    for column, loop in enumerate(layout.loops):
        mine = [settler for settler in file.settlers.values() if settler.loop == loop]
        if mine and not any(settler.feeds for settler in mine):
            say.append(
                f"Settlers of loop {loop} take out {course.settler_n_g[0, :, column].sum():,.0f} g of nitrogen and "
                f"{course.settler_p_g[0, :, column].sum():,.0f} g of phosphorus in "
                f"{water(1000.0 * sum(s.drawn_off for s in mine))} a day: compost it, or name a wicking bed it feeds."
            )
    return say


# --- cautions that belong beside what beds grow in fish water, and what the bed model leaves out

PRODUCE = (
    "Produce: keep fish water off all that is eaten raw, above all leaves; let rafts and roots drip away from the "
    "crop; "
    "wash hands, tools and boxes; keep pets, birds and rodents out; chill what you pick at once and wash it in "
    "drinking "
    "water. Root crops and sprouts do not belong in fish water. Pregnant women, older adults, small children "
    "and ill people should cook it. Local food rules come first.",
    "Cold-blooded animals carry germs that harm people (Salmonella, Aeromonas, Mycobacterium marinum, Vibrio): cover "
    "cuts before hands go into the water, wash after, and see a doctor about a sore that does not heal. Warm-blooded "
    "droppings (E. coli) come from outside: no manure and no animals near the beds, and no rain but "
    f"{CLEAN_RAIN}.",
    "Harvest fish and plants with different tools on different days; never harvest with wet gloves that touched fish. "
    "Water treated with any drug or with copper must not reach beds: treat sick fish off the loop, and keep to the "
    "label's waiting time.",
)
SLUDGE = (
    "Sludge: for beds whose harvest does not touch soil or is cooked; cover it with soil or mulch, keep it off "
    "leaves and "
    "fruit, wear gloves, and stop some weeks before harvest. Strawberries and salad on sludge are a risk. Old sludge "
    "gives off hydrogen sulfide: never enter a sump or tank with it alone."
)
MODEL = (
    "The bed model is a plan: light is a month's average, often under assumed clouds, growth rests on crop values "
    "that "
    "are mostly from memory, pests, pollination, day length and bolting are left out, and crops do not mix with each "
    "other's shade. Weigh your harvests and trust them more.",
    "Nutrient content is that of the edible part of well-fed plants; hungry plants hold less. Calcium, magnesium and "
    "iron "
    "stand on assumed source water. Feed may give less potassium than calculated here (one measured "
    "feed gave a third as much as phosphorus, Yang & Kim 2020): watch leaf edges and test.",
)


def watercress_care(changes: Iterable[Change]) -> list[str]:
    """What watercress asks for, where it is among what is advised."""
    return [CARES[Care.WATERCRESS]] if any(change.care is Care.WATERCRESS for change in changes) else []


def bed_cautions(plan: BedPlan) -> list[str]:
    """Cautions that hold for a plan, one text each."""
    season = plan.season
    words = [*PRODUCE]
    if bool(season.bed_course.wicking.is_fed.any()):
        words.append(SLUDGE)
    crops = {planting.crop for bed in season.site.file.beds.values() for planting in bed.plantings}
    advised = watercress_care(proof.change for proofs in plan.proofs.values() for proof in proofs)
    if "watercress" in crops or advised:
        words.append(CARES[Care.WATERCRESS])
    words += [f"{season.site.crops[c].title}: {season.site.crops[c].facts['caution']}" for c in sorted(crops)
              if "caution" in season.site.crops[c].facts]  # fmt: skip
    words.append(SALT_CAUTION)
    return [*words, *whole_cares(season.site.file)]


def bed_assumptions(plan: BedPlan) -> list[str]:
    """What was assumed of the beds, and on what evidence, one text each."""
    season = plan.season
    words = list(season.site.bed_notes)
    weak = [entry.title for name, entry in season.site.crops.items() if entry.evidence == "weak"]
    if weak:
        words.append(f"Evidence is weak for {', '.join(weak)}: most of their values are from memory or chosen here.")
    return [*words, *MODEL]
