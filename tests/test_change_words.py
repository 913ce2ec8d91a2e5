"""Changes and what else helps in words: every kind has its sentence, in the keeper's units."""

from __future__ import annotations

import datetime as dt

import pytest

from stocksim.changes.change import ADVICE_OF, Action, Care, Change
from stocksim.changes.effort import EFFORT
from stocksim.changes.search import AdvisedFinding, Deaths, Help, WhyNone, advised, help_of
from stocksim.changes.ways import PREFERENCES
from stocksim.engine.results.beds import BuildRule
from stocksim.engine.results.findings import Finding
from stocksim.faces.change_words import CARES, NO_CHANGE, SENTENCES, change_words, help_words
from stocksim.site.kinds import ADVICE_KINDS

DAY, LATER = dt.date(2026, 11, 2), dt.date(2026, 12, 7)
FOUND = Finding("temperature_low", "cohorts.trout", DAY, LATER, 3.0, 5.0, "degC", -10.0, 4)
WATER = {"loop": "main", "alkalinity_mg_l": 80.0, "now_mg_l": 100.0}
PLANTED = {
    "loop": "main", "carried_m2": 9.0, "planted_m2": 2.0, "is_whole": True, "rule": BuildRule.HANDBOOK,
    "is_salted": False, "is_built": False,
}  # fmt: skip
WEEKLY = {"loop": "main", "volume_m3": 0.5, "share": 0.1}
# what is done, its amounts, the sentence in metric units and where they differ in US customary ones
TOLD = [
    (
        Change(Action.FEWER_FISH, {}, {"where": "tanks.one", "kept": (("fish", 12, 30), ("cats", 1, 3))}),
        "keep 12 of the 30 fish and 1 of the 3 cats in one", None,
    ),
    (
        Change(Action.FEWER_FISH, {}, {"where": "loops.main", "kept": (("fish", 12, 30),)}),
        "keep 12 of the 30 fish in loop main", None,
    ),
    (
        Change(Action.TAKEN_OUT, {}, {"tank": "one", "cohort": "fish", "fish": 15, "of": 59, "is_harvest": True}, DAY),
        "harvest the 15 largest of 59 fish in one", None,
    ),
    (
        Change(Action.TAKEN_OUT, {}, {"tank": "one", "cohort": "fish", "fish": 3, "of": 59, "is_harvest": False}, DAY),
        "sell, or eat small, the 3 largest of 59 fish in one", None,
    ),
    (
        Change(Action.MOVED, {}, {"cohort": "fish", "tank": "one", "into": "two"}, DAY),
        "move fish from one into two", None,
    ),
    (
        Change(Action.MOVED, {}, {"cohort": "fish", "tank": "one", "into": "two"}),
        "stock fish not in one but in two", None,
    ),
    (
        Change(Action.GRADED, {}, {"cohort": "fish", "tank": "one", "into": "two", "share": 0.25}, DAY),
        "grade fish in one and move the largest 25 % into two", None,
    ),
    (
        Change(Action.PART_FILLED, {}, {"tank": "one", "volume_m3": 1.2, "now_m3": 2.0}),
        "fill one only to 1,200 L of its 2,000 L (less water lasts less long when power or air fails)",
        "fill one only to 317 gal of its 528 gal (less water lasts less long when power or air fails)",
    ),
    (
        Change(Action.FEEDING_HOURS, {}, {"loop": "main", "hours": ("07:00", "12:00", "17:00")}),
        "feed loop main in 3 meals (07:00, 12:00, 17:00), the same feed a day", None,
    ),
    (
        Change(Action.FEEDING_HOURS, {}, {"loop": "main", "hours": ("06:00-20:00",)}),
        "feed loop main with a belt feeder from 06:00 to 20:00, the same feed a day", None,
    ),
    (
        Change(Action.VENTS, {}, {"opens_at_c": 20.0, "now_c": 25.0, "air_changes": 20.0, "is_more_air": False}),
        "open the greenhouse vents at 20.0 degC instead of 25.0 degC",
        "open the greenhouse vents at 68.0 degF instead of 77.0 degF",
    ),
    (
        Change(Action.VENTS, {}, {"opens_at_c": 20.0, "now_c": None, "air_changes": 40.0, "is_more_air": True}),
        "open the greenhouse vents at 20.0 degC with 40 air changes an hour, by fans where need be", None,
    ),
    (
        Change(Action.SHADE, {}, {"share": 0.5, "now": 0.0}),
        "shade the greenhouse by 50 % (tried for all the season; crops want that light in dark months)", None,
    ),
    (
        Change(Action.EMPTIED, {}, {"settlers": ("cone", "swirl"), "days": 3, "now_days": 14}),
        "empty cone and swirl every 3 days instead of every 14 days (sludge gives off bad gas: in the open air; where "
        "it may go, your local rules say)", None,
    ),
    (
        Change(Action.EMPTIED, {}, {"settlers": ("cone",), "days": 1, "now_days": 7}),
        "empty cone every day instead of every 7 days (sludge gives off bad gas: in the open air; where it may go, "
        "your local rules say)", None,
    ),
    (
        Change(Action.MORE_FLOW, {}, {"tank": "one", "flow_m3_day": 36.0, "now_m3_day": 0.24}),
        "send 1500 L/h through one instead of 10 L/h", "send 396 gal/h through one instead of 3 gal/h",
    ),
    (
        Change(Action.MORE_AIR, {}, {"tank": "one", "power_w": 55.0, "now_w": 45.0}),
        "give one air stones fed by 55 W instead of 45 W", None,
    ),
    (
        Change(Action.MORE_AIR, {}, {"tank": "one", "power_w": 55.0, "now_w": 0.0}),
        "give one air stones fed by 55 W", None,
    ),
    (
        Change(Action.LESS_FEED, {}, {"rations": (("fish", 0.51, 0.85), ("cats", 0.36, 0.6))}),
        "feed fish 51 % of appetite instead of 85 %, cats 36 % of appetite instead of 60 %", None,
    ),
    (
        Change(Action.HELD_FEED, {}, {"loop": "main", "share": 0.6, "until": LATER}, DAY),
        "feed loop main 60 % of its ration before 7 Dec 2026, then all of it (`stocksim ramp` finds finer steps)", None,
    ),
    (
        Change(Action.HELD_FEED, {}, {"loop": "main", "share": 0.0, "until": LATER}, DAY),
        "feed loop main nothing before 7 Dec 2026, then all of it (`stocksim ramp` finds finer steps)", None,
    ),
    (
        Change(Action.SET_POINT, {}, {"loop": "main", "cohort": "fish", "temperature_c": 10.0, "is_floor": True}),
        "heat the water of loop main to at least 10 degC, or keep fish in another loop",
        "heat the water of loop main to at least 50 degF, or keep fish in another loop",
    ),
    (
        Change(Action.SET_POINT, {}, {"loop": "main", "cohort": "fish", "temperature_c": 25.0, "is_floor": False}),
        "cool the water of loop main to at most 25 degC, or keep fish in another loop",
        "cool the water of loop main to at most 77 degF, or keep fish in another loop",
    ),
    (
        Change(Action.PLANTED_AREA, {}, PLANTED | {"carried_m2": 2.0, "planted_m2": 9.0, "is_salted": True}),
        "plant 2.0 m2 in loop main, which the season's feed keeps green, in place of 9.0 m2, or add the salts that "
        "more of it lacks",
        "plant 22 ft2 in loop main, which the season's feed keeps green, in place of 97 ft2, or add the salts that "
        "more of it lacks",
    ),
    (
        Change(Action.PLANTED_AREA, {}, PLANTED | {"is_whole": False, "is_built": True}),
        "build beds and plant 9.0 m2 in loop main with what has a published ratio, which the season's feed keeps "
        "green, in place of 2.0 m2", None,
    ),
    (
        Change(Action.PLANTED_AREA, {}, PLANTED | {"rule": BuildRule.NITROGEN, "carried_m2": 1.0}),
        "plant 1.0 m2 in loop main, which the nitrogen of its fish does for, in place of 2.0 m2", None,
    ),
    (
        Change(
            Action.NEW_FILM, {}, {"loop": "main", "media_m3": 1.28, "surface_m2_m3": 200.0}, care=Care.GROWN_FILM
        ),
        "give loop main a trickling biofilter with 1280 L of 200 m2/m3 media, its bacteria grown before it must take "
        "these fish",
        "give loop main a trickling biofilter with 338 gal of 8.1 ft2/gal media, its bacteria grown before it "
        "must take "
        "these fish",
    ),
    (
        Change(Action.MORE_FILM, {}, {"where": "beds.raft", "surface_m2": 42, "now_m2": 24.6}),
        "give bed raft 42.0 m2 of nitrifying surface instead of 24.6 m2, by more or finer media",
        "give bed raft 452 ft2 of nitrifying surface instead of 265 ft2, by more or finer media",
    ),
    (
        Change(Action.MORE_FILM, {}, {"where": "biofilters.drip", "media_m3": 1.95}),
        "give biofilter drip 1,950 L of media", "give biofilter drip 515 gal of media",
    ),
    (
        Change(Action.CHLORIDE, {}, {
            "loop": "main", "chloride_mg_l": 60.0, "sodium_mg_l": 48.4, "is_planted": False,
            "salts_g": {"plain_salt": 1234.0},
        }),
        "keep 60 mg/L of chloride in loop main, top-up water too (about 1,234 g of plain salt to begin with; sodium "
        "then reaches 48 mg/L, and no crop grows there)",
        "keep 60 mg/L of chloride in loop main, top-up water too (about 2.72 lb of plain salt to begin with; sodium "
        "then reaches 48 mg/L, and no crop grows there)",
    ),
    (
        Change(Action.CHLORIDE, {}, {
            "loop": "main", "chloride_mg_l": 60.0, "sodium_mg_l": 72.0, "is_planted": True,
            "salts_g": {"calcium_chloride_dihydrate": 200.0, "potassium_chloride": 203.0},
        }, care=Care.FOOD_GRADE),
        "keep 60 mg/L of chloride in loop main, top-up water too (about 200 g of calcium chloride dihydrate to begin "
        "with, or 203 g of potassium chloride, either food grade; not plain salt: sodium then reaches 72 mg/L, and "
        "crops tolerate about 50)", None,
    ),
    (
        Change(Action.BUFFER, {}, {"loop": "main", "alkalinity_mg_l": 80.0, "lowest_mg_l": 12.3}),
        "dose loop main to hold 80 mg/L of alkalinity: it falls to 12", None,
    ),
    (
        Change(Action.SOFTER_TARGET, {}, WATER),
        "hold 80 mg/L of alkalinity in loop main instead of 100, so that pH stays lower", None,
    ),
    (
        Change(Action.SOFTER_SOURCE, {}, WATER),
        "fill and top up loop main with water of 80 mg/L of alkalinity instead of 100, by reverse-osmosis "
        "water (or rain that was filtered and disinfected, for birds foul roofs) mixed into yours, so that pH stays "
        "lower", None,
    ),
    (
        Change(Action.WATER_CHANGES, {}, WEEKLY | {"last": DAY, "every_days": 0}, DAY, care=Care.NEW_WATER),
        "change 500 L (10 %) of loop main's water on 2 Nov 2026, for water without chlorine or chloramine and of the "
        "same temperature",
        "change 132 gal (10 %) of loop main's water on 2 Nov 2026, for water without chlorine or chloramine and of "
        "the same temperature",
    ),
    (
        Change(
            Action.WATER_CHANGES, {}, WEEKLY | {"last": LATER, "every_days": 1}, DAY, care=Care.NEW_WATER, past=(DAY,)
        ),
        "change 500 L (10 %) of loop main's water each day from 2 Nov 2026 to 7 Dec 2026, for water without chlorine "
        "or chloramine and of the same temperature (the limit then holds from the day after 2 Nov 2026, which the "
        "test found too high already)", None,
    ),
    (
        Change(Action.WATER_CHANGES, {}, WEEKLY | {"last": LATER, "every_days": 7}, DAY, care=Care.NEW_WATER),
        "change 500 L (10 %) of loop main's water every 7 days from 2 Nov 2026 to 7 Dec 2026, for water without "
        "chlorine or chloramine and of the same temperature", None,
    ),
    (
        Change(Action.WEEKLY_CHANGES, {}, WEEKLY, DAY, care=Care.LOST_NITROGEN),
        "change 500 L of loop main's water every week from 2 Nov 2026 on (its nitrogen is then lost to the beds)",
        "change 132 gal of loop main's water every week from 2 Nov 2026 on (its nitrogen is then lost to the beds)",
    ),
    (
        Change(
            Action.FILM_FIRST, {}, {
                "loop": "main", "dose_g_day": 6.04, "until": DAY, "cohorts": ("fish", "cats"), "due": LATER,
            }, care=Care.AMMONIA,
        ),
        "grow the biofilter of loop main first: dose 6 g/day of ammonia nitrogen until 2 Nov 2026, and stock "
        "fish, cats on "
        "7 Dec 2026 (ammonia burns lungs and eyes: gloves, goggles, open air, never with bleach; when tests read none)",
        None,
    ),
    (
        Change(Action.DOSING_ENDS, {}, {"loop": "main", "last": DAY, "days_ahead": 1}),
        "stop dosing ammonia into loop main after 2 Nov 2026, the day before fish come", None,
    ),
    (
        Change(Action.DOSING_ENDS, {}, {"loop": "main", "last": DAY, "days_ahead": 8}),
        "stop dosing ammonia into loop main after 2 Nov 2026, 8 days before fish come", None,
    ),
    (
        Change(Action.LESS_DOSED_AMMONIA, {}, {
            "loop": "main", "dose_g_day": 0.75, "now_g_day": 3.0, "cohorts": ("fish", "cats"), "due": LATER,
        }, care=Care.CLEAR_TESTS),
        "dose 0.75 g/day of ammonia nitrogen into loop main instead of 3 and stock fish, cats on 7 Dec 2026 at the "
        "earliest, when tests read no ammonia and no nitrite", None,
    ),
    (
        Change(Action.HUNGRIER_CROPS, {}, {"loop": "main", "crop": "pak_choi", "instead_of": ("chard", "lettuce")}),
        "plant pak choi in loop main in place of chard, lettuce", None,
    ),
    (
        Change(Action.RATION, {}, {"loop": "main", "fraction": 0.425, "now": 0.85}),
        "feed the fish of loop main 42 % of appetite in place of 85 %", None,
    ),
    (
        Change(Action.STOCK, {}, {"loop": "main", "biomass_kg": -4.0, "counts": (("fish", 20, 60), ("cats", 1, 3))}),
        "stock 4.0 kg less fish in loop main: 20 fish in place of 60, 1 cats in place of 3",
        "stock 8.8 lb less fish in loop main: 20 fish in place of 60, 1 cats in place of 3",
    ),
    (
        Change(Action.STOCK, {}, {"loop": "main", "biomass_kg": 4.0, "counts": (("fish", 60, 20),)}),
        "stock 4.0 kg more fish in loop main: 60 fish in place of 20", None,
    ),
    (Change(Action.NO_HEAT, {}), "no heat", None),
    (
        Change(Action.AIR_SET_POINT, {}, {"room": "greenhouse", "set_point_c": 5.0}),
        "air at 5 degC", "air at 41 degF",
    ),
    (
        Change(Action.AIR_SET_POINT, {}, {"room": "fish_room", "set_point_c": 20.0}),
        "air of the fish room at 20 degC", "air of the fish room at 68 degF",
    ),
    (
        Change(Action.WATER_SET_POINT, {}, {"loop": "main", "set_point_c": 15.0, "air_c": 2.0}),
        "water of main at 15 degC, air only frost-free (2.0 degC)",
        "water of main at 59 degF, air only frost-free (35.6 degF)",
    ),
    (
        Change(Action.WATER_SET_POINT, {}, {"loop": "main", "set_point_c": 15.0, "air_c": None}),
        "water of main at 15 degC", "water of main at 59 degF",
    ),
    (Change(Action.FOAM, {}, {"foam_m": 0.05}), "insulate tanks and sumps (50 mm of foam)",
     "insulate tanks and sumps (2.0 in of foam)"),
    (Change(Action.COVERS, {}), "cover tanks and sumps", None),
    (Change(Action.BED_COVERS, {}, {"kinds": ("raft", "media")}), "cover rafts and gravel beds at night", None),
    (Change(Action.CURTAIN, {}), "a night curtain", None),
    (
        Change(Action.NIGHT_FLOW, {}, {"kinds": ("media",), "share": 0.25}),
        "pump the gravel beds at 25 % at night", None,
    ),
    (Change(Action.ALL_COVERS, {}), "all covers and foam", None),
    (
        Change(Action.WARM_LOOP, {}, {"tanks": ("birch", "alder"), "set_point_c": 25.0}),
        "a separate, insulated warm loop at 25 degC for birch, alder",
        "a separate, insulated warm loop at 77 degF for birch, alder",
    ),
    (
        Change(Action.TOGETHER, {}, {
            "changes": (Change(Action.AIR_SET_POINT, {}, {"room": "greenhouse", "set_point_c": 5.0}),
                        Change(Action.COVERS, {})),
        }),
        "air at 5 degC; cover tanks and sumps", "air at 41 degF; cover tanks and sumps",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("change", "metric", "us"), TOLD, ids=[change.kind for change, *_ in TOLD])
def test_a_change_is_said_in_the_keepers_units(change, metric, us):
    assert change_words(change, "metric") == metric
    if us is not None:
        assert change_words(change, "us") == us


def test_every_kind_has_its_sentence_and_is_tested():
    assert set(SENTENCES) == set(Action) == {change.kind for change, *_ in TOLD}
    assert set(CARES) == set(Care)
    assert set(NO_CHANGE) == set(WhyNone)
    assert set(ADVICE_OF) == set(Action)
    assert set(ADVICE_OF.values()) == set(ADVICE_KINDS) == set(EFFORT)
    assert {kind for kinds in PREFERENCES.values() for kind in kinds} <= set(ADVICE_KINDS)


def test_what_the_run_of_a_change_costs_stands_behind_it():
    change = Change(Action.MORE_AIR, {}, {"tank": "one", "power_w": 55.0, "now_w": 0.0})
    breaks = (("unionized_ammonia", "tanks.one"), ("temperature_low", "cohorts.trout"))
    for found, words in [
        (Help(change), ""),
        (Help(change, deaths=Deaths(4.9, 100.0)), ""),
        (Help(change, deaths=Deaths(5.0, 100.0)), " (with it, 5 of 100 fish still die of the water or of hunger)"),
        (
            Help(change, deaths=Deaths(5.0, 100.0, 40.0)),
            " (with it, 5 of 100 fish still die of the water or of hunger, 40 without)",
        ),
        (Help(change, breaks=breaks), " (but that breaks un-ionized ammonia of one, cold limit of trout)"),
    ]:
        assert help_words(advised(FOUND, found), "metric") == f"give one air stones fed by 55 W{words}"


def test_where_no_change_was_found_it_is_said_why():
    said = {why: help_words(advised(FOUND, Help(None, why)), "metric") for why in WhyNone}
    assert said[WhyNone.OTHER_LOOP] == "no single change that we tried fixes this; keep trout in another loop"
    assert len(set(said.values())) == len(WhyNone)
    young = help_words(advised(FOUND, Help(None, WhyNone.NONE_MENDS, film_is_young=True)), "metric")
    assert young == f"{said[WhyNone.NONE_MENDS]}; its biofilter is young: stock fish later, or feed by `stocksim ramp`"


def test_a_finding_that_nothing_was_sought_for_has_no_words():
    assert help_of(FOUND) is None
    assert help_words(FOUND, "metric") == ""


def test_help_is_put_in_place_of_earlier_help():
    first = advised(FOUND, Help(None, WhyNone.OTHER_LOOP))
    again = advised(first, Help(None, WhyNone.NO_AREA))
    assert isinstance(again, AdvisedFinding)
    assert help_of(again) == Help(None, WhyNone.NO_AREA)
    assert (again.limit, again.where, again.days_broken) == (FOUND.limit, FOUND.where, FOUND.days_broken)
