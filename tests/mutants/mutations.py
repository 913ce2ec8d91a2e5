"""Numbers, signs and comparisons of what decides, engine and heat, each with what it is spoilt to."""

from __future__ import annotations

from typing import NamedTuple


class Mutation(NamedTuple):
    """A place of a file below stocksim/, which has ``old`` once, and what stands there instead."""

    file: str
    old: str
    new: str


_OF_FILE = {
    "answers/powercut/decide.py": [
        ("CYLINDER_DISSOLVED_SHARE = 0.1", "CYLINDER_DISSOLVED_SHARE = 0.2"),
        ("int(np.argmin(shortest))", "int(np.argmax(shortest))"),
    ],
    "answers/powercut/alone.py": [
        ("LEAST_WATER_SHARE = 0.01", "LEAST_WATER_SHARE = 0.9"),
        ("mean + at_hours(waves, hour)", "mean - at_hours(waves, hour)"),
    ],
    "water/pumping.py": [
        ("PUMP_EFFICIENCY = 0.3", "PUMP_EFFICIENCY = 0.5"),
    ],
    "water/loop.py": [
        ("flow[i], wave * leaf_volume[i])", "flow[i], 0.5 * wave * leaf_volume[i])"),
    ],
    "engine/days/hours.py": [
        ("= -OXYGEN_PER_NITROGEN", "= OXYGEN_PER_NITROGEN"),
        ("_extreme_hour(room.departure, -1.0)", "_extreme_hour(room.departure, 1.0)"),
        ("if wave % 2 == 0", "if wave % 2 == 1"),
    ],
    "fish/thermal.py": [
        ("_COLD_OVER_HEAT = 3.0", "_COLD_OVER_HEAT = 1.0"),
        ("_PER_DEGREE = 1.35", "_PER_DEGREE = 0.6"),
        ("HEAT_REACH_C, COLD_REACH_C = 3.0, 1.0", "HEAT_REACH_C, COLD_REACH_C = 3.0, 4.0"),
    ],
    "fish/hunting.py": [
        ("FOUND_A_DAY = 0.5", "FOUND_A_DAY = 0.05"),
        ("FED_HUNTERS_TAKE = 0.2", "FED_HUNTERS_TAKE = 1.0"),
    ],
    "fish/survival.py": [
        ("_SMALL_WEIGHT_G = 10.0", "_SMALL_WEIGHT_G = 1.0"),
        ("_SMALL_LOSS = 0.6", "_SMALL_LOSS = 2.0"),
    ],
    "fish/energetics.py": [
        ("_FASTING_PROTEIN_ENERGY_SHARE = 0.225", "_FASTING_PROTEIN_ENERGY_SHARE = 0.9"),
        ("_LEAN_AT_LOST_SHARE = 0.2", "_LEAN_AT_LOST_SHARE = 0.9"),
    ],
    "fish/growth.py": [
        ("GOOD_GROWTH_SHARE = 0.70", "GOOD_GROWTH_SHARE = 0.95"),
    ],
    "fish/company.py": [
        ("FRY_SHARE, FRY_LENGTH_MM = 0.40, 100.0", "FRY_SHARE, FRY_LENGTH_MM = 0.80, 100.0"),
    ],
    "fish/appetite.py": [
        ("_SHARE_AT_KNEE = 0.65", "_SHARE_AT_KNEE = 0.40"),
    ],
    "water/nitrite.py": [
        ("_CHLORIDE_OFFSET_MG_L = 2.5", "_CHLORIDE_OFFSET_MG_L = 100.0"),
        ("_MOST_CHLORIDE_MG_L = 240.0", "_MOST_CHLORIDE_MG_L = 10.0"),
    ],
    "water/maturity.py": [
        ("WINTERED_DAYS, GROWN_AT_C = 60.0, 15.0", "WINTERED_DAYS, GROWN_AT_C = 600.0, 15.0"),
        ('"nitrite": OxidizerNumbers(0.35, 0.5, 1.0, 1.0)', '"nitrite": OxidizerNumbers(0.35, 0.5, 1.0, 0.01)'),
    ],
    "water/nitrification.py": [
        ("AREAL_RATE_AT_20 = AREAL_RATE.value", "AREAL_RATE_AT_20 = 0.837"),
    ],
    "water/buffering.py": [
        ("dose = max(gain + used, 0.0)", "dose = max(gain, 0.0)"),
        ("return min(dose, used)", "return 0.0"),
    ],
    "plants/uptake.py": [
        ('"sulfur": 2.0 / 32.06', '"sulfur": 1.0 / 32.06'),
    ],
    "engine/arrays/charge.py": [
        ("return min(max(self.by_contents, self.low), self.high)", "return self.by_contents"),
    ],
    "changes/search.py": [
        ("_MOST_DIE_SHARE = 0.5", "_MOST_DIE_SHARE = 1.5"),
        ("_STILL_DYING_SHARE = 0.05", "_STILL_DYING_SHARE = 0.5"),
        ("deaths.dying <= deaths.fish - 1.0", "deaths.dying <= deaths.fish + 1.0"),
    ],
    "changes/change.py": [
        ("MORE_DEATHS_SHARE = 0.005", "MORE_DEATHS_SHARE = 0.5"),
    ],
    "answers/cold/choice.py": [
        ("MOST_ADDED_DEATHS = 0.02", "MOST_ADDED_DEATHS = 0.9"),
        ("MOST_RISK = 0.05", "MOST_RISK = 0.9"),
        ("LEAST_STEP_KG = 0.1", "LEAST_STEP_KG = 5.0"),
    ],
    "answers/cold/tally.py": [
        (" & present[:, None, days]", " & (present[:, None, days] | True)"),
        ("COLD_RANGE_SHARE = 0.6", "COLD_RANGE_SHARE = 0.1"),
        ("FAIL_HOUR = 18", "FAIL_HOUR = 6"),
        ("np.zeros(FAIL_DAYS * HOURS)", "np.full(FAIL_DAYS * HOURS, 100.0)"),
    ],
    "answers/cold/options.py": [
        ("NIGHT_FLOW = 0.25", "NIGHT_FLOW = 0.75"),
        ("FROST_FREE_C = 2.0", "FROST_FREE_C = 6.0"),
        ("FOAM_MM = 50.0", "FOAM_MM = 20.0"),
        ("range(36, 67, 5)", "range(43, 74, 5)"),
    ],
    "answers/cold/warm_loop.py": [
        ("WARM_FISH_C = 27.0", "WARM_FISH_C = 20.0"),
    ],
    "answers/ramp/climb.py": [
        ("MOST_RISE_SHARE = 0.2", "MOST_RISE_SHARE = 0.4"),
        ("RESERVE_PERCENT = 10.0", "RESERVE_PERCENT = 0.0"),
        ("(10, 28, 56)", "(10, 28, 28)"),
    ],
    "answers/beds/decide.py": [
        ("EVEN_SHARE = 0.05", "EVEN_SHARE = 0.5"),
        ("handbook_low_m2=feed / high", "handbook_low_m2=feed / low"),
        ("0.5 * (low + high)", "0.5 * (low + low)"),
    ],
    "answers/beds/nutrients.py": [
        ('gone = terms["taken"] + terms["carried_out"]', 'gone = terms["taken"] - terms["carried_out"]'),
    ],
    "answers/beds/changes.py": [
        ("LEAST_GOOD_SHARE = 0.1 ", "LEAST_GOOD_SHARE = 0.9 "),
        ("MOST_CHANGES = 3", "MOST_CHANGES = 1"),
    ],
    "answers/tankmates/loops.py": [
        ("_FITS_SHARE = 0.5", "_FITS_SHARE = 0.05"),
        ("_SHORTEST_SPELL = 28", "_SHORTEST_SPELL = 2"),
    ],
    "changes/water.py": [
        ("_YOUNG_SHARE, _GROWN_DAYS = 0.9", "_YOUNG_SHARE, _GROWN_DAYS = 0.1"),
        ("_CHLORIDE_STEP_MG_L = 10.0", "_CHLORIDE_STEP_MG_L = 50.0"),
    ],
    "changes/fish.py": [
        ("_LEAST_RATION_SHARE = 0.3", "_LEAST_RATION_SHARE = 0.0"),
    ],
    "answers/stock/seasons.py": [
        ("USUAL_MARGIN = 0.05", "USUAL_MARGIN = 0.0"),
    ],
    "answers/stock/rounds.py": [
        ("_TAKEN_OFF = 0.02", "_TAKEN_OFF = 0.4"),
    ],
    "answers/stock/nearby.py": [
        ("_LEAST_GAIN = 2e-3", "_LEAST_GAIN = 1.0"),
    ],
    "heat/outage.py": [
        ("first - 1 + (before - limit)", "first + (before - limit)"),
    ],
    "heat/heaters.py": [
        ("share = np.zeros(days)", "share = np.ones(days)"),
    ],
    "answers/stock/problem.py": [
        ("fraction=0.85", "fraction=0.5"),
    ],
    "engine/arrays/water.py": [
        ("DEFAULT_LOSS_SHARE = 0.01", "DEFAULT_LOSS_SHARE = 0.03"),
    ],
    "engine/results/beds.py": [
        ("BARE_SOIL_SHARE = 0.3", "BARE_SOIL_SHARE = 0.6"),
        ("passed *= 1.0 - share", "passed *= share"),
    ],
    "engine/results/findings.py": [
        ('np.fmax(level, _tested(given.layout, "nitrite_n"))', "level"),
    ],
    "fish/meals.py": [
        ("AMMONIA_AFTER_MEALS = 0.70", "AMMONIA_AFTER_MEALS = 0.40"),
        ("OXYGEN_TAU_H = 1, 4.0", "OXYGEN_TAU_H = 1, 8.0"),
        ("LAST_MEAL_H, MOST_BY_HAND = 8.0, 17.0", "LAST_MEAL_H, MOST_BY_HAND = 8.0, 12.0"),
    ],
    "engine/results/deaths.py": [
        ("HEAVY_SHARE, HEAVY_FISH = 0.05", "HEAVY_SHARE, HEAVY_FISH = 0.5"),
    ],
    "engine/arrays/beds.py": [
        ("PICKED_EVERY_DAYS = 7", "PICKED_EVERY_DAYS = 14"),
    ],
    "engine/days/fish.py": [
        ("TRAINING_SPILLED_SHARE = 0.5", "TRAINING_SPILLED_SHARE = 0.2"),
        ("PHOSPHORUS_DIGESTIBILITY = 0.6", "PHOSPHORUS_DIGESTIBILITY = 0.5"),
    ],
    "engine/days/waters.py": [
        ("HALF_SATURATION_UPTAKE_MG_L = 5.0", "HALF_SATURATION_UPTAKE_MG_L = 20.0"),
        ("SUMP_TRAPPED_SHARE = 0.2", "SUMP_TRAPPED_SHARE = 0.4"),
    ],
    "climate/network.py": [
        ("_MISSED_C = 0.05", "_MISSED_C = 2.0"),
    ],
    "climate/greenhouse.py": [
        ("FLOOR_SUN_SHARE = 0.6", "FLOOR_SUN_SHARE = 0.3"),
        ("CURTAIN_SHARE = 0.65", "CURTAIN_SHARE = 0.35"),
    ],
    "climate/tank_heat.py": [
        ("SUN_INTO_WATER = 0.9", "SUN_INTO_WATER = 0.5"),
        ("COVERED_WET_SHARE = 0.05", "COVERED_WET_SHARE = 0.5"),
    ],
    "climate/weather.py": [
        ("DESIGN_SPREADS = 2.5", "DESIGN_SPREADS = 1.0"),
    ],
    "site/bed_kinds.py": [
        ("trapped_share=0.2", "trapped_share=0.4"),
    ],
    "site/rooms.py": [
        ("DEFAULT_ROOM_CHANGES = 0.3", "DEFAULT_ROOM_CHANGES = 0.6"),
        ("ROOF_OVER_FLOOR = 1.15", "ROOF_OVER_FLOOR = 1.3"),
    ],
}
MUTATIONS = [Mutation(file, old, new) for file, pairs in _OF_FILE.items() for old, new in pairs]
