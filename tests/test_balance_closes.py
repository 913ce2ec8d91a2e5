"""What goes in comes out: fish mass, nitrogen, oxygen, energy and every solute of whole seasons of random small sites.

Every sum is written here from the library's own values and molar masses, not from the engine's arrays. "Closes" means
to 1e-9 of the gross amounts in the sum, day by day and over the season: the day's rounds stop when appetite agrees to
1e-10. Levels that the course does not carry are watched while the engine runs.
"""

from __future__ import annotations

import numpy as np
import pytest
from hunting import examples
from hypothesis import assume, given, settings
from small_sites import FED_WELL, any_eventful_site, busy_season, one_tank, two_loops
from watched_season import CLOSED, Told, assert_same

from stocksim.errors import InputError
from stocksim.water.oxygen import oxygen_saturation
from stocksim.water.solids import mineralized_share

AS_AMMONIA = 0.87  # of what fish excrete; the rest is urea
# g CaCO3 per g nitrogen, one equivalent a mole (50.04 / 14.007 = 3.5725, the engine rounds it up), and g carbon dioxide
# per g CaCO3
BASE_PER_N, CO2_PER_BASE = 3.573, 44.01 / 50.04
OXYGEN_PER_DENITRIFIED = 2.856  # 5/4 mol O2 per mol N
BODY_POTASSIUM, BODY_PHOSPHORUS = 0.003, 0.0045
STAYS = 0.5  # share of the solids that never breaks down


def check_fish_mass(told: Told) -> None:
    course, layout = told.course, told.layout
    count, weight, deaths = course.count[0], course.weight_g[0], course.deaths[0]
    day = np.arange(layout.days)[:, None]
    # what was there in the evening, or came as the file says, and what events brought and took in the morning
    fish = np.vstack([np.zeros_like(layout.count), count[:-1]]) + (day == layout.stocked_day) * layout.count
    mass = np.vstack([np.zeros_like(layout.count), (count * weight)[:-1]])
    mass += (day == layout.stocked_day) * layout.count * layout.start_weight_g
    gross = mass.copy()
    for transfer in course.transfers:
        happening, moved, grams = transfer.happening, transfer.fish[0], transfer.mass_g[0]
        assert moved >= 0.0 or happening.kind == "found"  # fewer than were reckoned
        assert grams >= 0.0 or happening.kind == "found"
        for column, sign in ((happening.source, -1.0), (happening.target, 1.0)):
            if column >= 0:
                fish[happening.day, column] += sign * moved
                mass[happening.day, column] += sign * grams
                gross[happening.day, column] += abs(grams)
    # the day's gain belongs to the fish present in the morning; what tankmates swallow weighs what it weighs, and the
    # others that die leave with the mean of the evening
    swallowed, swallowed_g = course.swallowed[0], course.swallowed_g[0]
    assert ((swallowed >= 0.0) & (swallowed <= deaths)).all()
    assert (swallowed_g <= swallowed * weight * (1.0 + CLOSED)).all(), "the small ones are taken"
    died = (deaths - swallowed) * weight + swallowed_g
    assert_same(count * weight, mass + told.gain - died, gross + np.abs(told.gain) + deaths * weight)
    assert_same(count + deaths, fish, np.abs(fish) + gross / np.maximum(weight, 1e-9))
    assert (deaths >= 0.0).all()
    assert (count >= 0.0).all()
    assert (weight > 0.0).all()


def check_feed_nitrogen(told: Told) -> None:
    assert (told.eaten <= told.fed + 1e-12).all()
    retained = told.laid_down_n
    assert_same(
        told.fed * told.feed_nitrogen,
        retained + told.excreted + told.faecal_nitrogen + told.uneaten_nitrogen,
        told.fed * told.feed_nitrogen + np.abs(retained) + np.abs(told.excreted),
    )


def check_energy(told: Told) -> None:
    digestible = told.eaten * told.feed_kj_g
    heat = 13.6 * told.course.fish_oxygen_g[0]
    retained = told.gain * told.body_kj_g
    assert (heat >= -1e-9).all()
    assert_same(digestible, 0.07 * digestible + heat + retained, digestible + heat + np.abs(retained))


def check_nitrogen_in_water(told: Told) -> None:
    layout, course = told.layout, told.course
    excreted = told.per_loop(told.excreted)
    assert_same(told.per_loop(AS_AMMONIA * told.excreted) + told.per_loop((1.0 - AS_AMMONIA) * told.excreted),
                excreted, np.abs(excreted))  # fmt: skip
    freed = np.array([day.freed[1] for day in told.water.told])
    cycling = [loop.fishless_cycling for loop in told.season.site.file.loops.values()]
    dates = told.season.dates
    dosed = np.array([
        [t.ammonia_nitrogen if t is not None and t.start <= date <= t.end else 0.0 for t in cycling] for date in dates
    ])  # fmt: skip
    out = np.array([day.out for day in told.water.told]).reshape(layout.days, 2, -1)
    nitrified, oxidized = course.nitrified_g[0] @ layout.leaf_loop, course.nitrite_oxidized_g[0] @ layout.leaf_loop
    told.solute_closes("tan", [excreted, freed, dosed], [nitrified, out[:, 0]])
    told.solute_closes("nitrite", [nitrified], [oxidized, out[:, 1]])
    taken = [course.uptake_n_g[0], course.denitrified_n_g[0], told.carried_out("nitrate")]
    told.solute_closes("nitrate", [oxidized, told.top_up * told.source("nitrate_n")], taken)
    for name, table in (("nitrate", course.nitrate_held_g),):
        np.testing.assert_allclose(table[0], told.stored(name)[1], rtol=1e-12)
    # what the frame calls produced is all of it
    produced = told.season.loops["tan_produced_g"].to_numpy().reshape(layout.days, -1)
    assert_same(produced, excreted + freed + dosed, np.abs(excreted) + freed + dosed)


def check_solids(told: Told) -> None:
    layout, course, works = told.layout, told.course, told.layout.water
    spilled = told.fed - told.eaten
    digested = layout.feed_digested_dry_matter
    share = mineralized_share(layout.temperature_c, 1.0)
    made = {
        "solids": told.dry * (told.eaten * (1.0 - digested) + spilled),
        "solids_n": told.faecal_nitrogen + told.uneaten_nitrogen,
        "solids_p": told.feed_minerals["phosphorus"] * (0.4 * told.eaten + spilled),
        "solids_oxygen": (told.eaten * (told.feed_gross_kj_g - told.feed_kj_g) + spilled * told.feed_gross_kj_g) / 13.6,
    }
    for number, (name, of_cohorts) in enumerate(made.items()):
        lost, freed = np.zeros_like(told.top_up), np.array([day.freed[number] for day in told.water.told])
        lying = np.zeros((2, *told.top_up.shape))
        for day, (before, after) in enumerate((day.before, day.after) for day in told.water.told):
            leaf, sump = after[name]
            kept = layout.flow_m3_day * (1.0 - works.passing[day]) * leaf
            caught = kept @ layout.leaf_loop + 0.2 * (layout.flow_m3_day @ layout.leaf_loop) * sump
            in_settlers = kept[: len(layout.tanks)] @ layout.leaf_loop[: len(layout.tanks)]
            lying[0, day] = before["sediment"][0][number] + before["sediment"][1][number]
            lying[1, day] = after["sediment"][0][number] + after["sediment"][1][number]
            full = before["sediment"][1][number] - share[day] * before["sediment"][1][number]
            lost[day] = STAYS * caught + works.emptied[day] * (full + (1.0 - STAYS) * in_settlers)
        before, after = told.stored(name)
        gained = told.per_loop(of_cohorts)
        left = freed + lost + told.carried_out(name)
        assert_same(before + lying[0] + gained, after + lying[1] + left, before + lying[0] + gained + left)
        if name == "solids_n":
            assert_same(course.solids_n_made_g[0], gained, gained)
            assert_same(course.solids_n_freed_g[0], freed, freed)
            assert_same(course.solids_n_held_g[0], after + lying[1], after + lying[1])
            assert_same(course.sludge_n_g[0], lost + told.carried_out(name), left)


def check_minerals(told: Told) -> None:
    dosed = {key: np.zeros_like(told.dose) for key in ("potassium", "calcium", "sodium", "chloride", "phosphorus")}
    for loop, salt in enumerate(told.salts):
        for key in ("potassium", "calcium", "sodium"):
            share = salt.salt_g_per_alkalinity_g * getattr(salt, f"{key}_share")
            dosed[key][:, loop] = told.dose[:, loop] * share
    units = told.layout.leaf_loop[len(told.layout.tanks) :]
    crops = {key: getattr(told.course, f"uptake_{key}_g")[0] @ units for key in ("calcium", "potassium", "phosphorus")}
    # all potassium of the feed comes to the water but what is kept in flesh; phosphorus also leaves in solids
    fish = {
        "potassium": [told.fed * told.feed_minerals["potassium"], -told.gain * BODY_POTASSIUM],
        "phosphorus": [0.6 * told.eaten * told.feed_minerals["phosphorus"], -told.gain * BODY_PHOSPHORUS],
    }
    for name, dose in dosed.items():
        gained = [told.top_up * told.source(name), dose, *(told.per_loop(part) for part in fish.get(name, []))]
        if name == "phosphorus":
            gained.append(np.array([day.freed[2] for day in told.water.told]))
        taken = [crops[name]] if name in crops else []
        told.solute_closes(name, gained, [told.carried_out(name), *taken])


def check_alkalinity_and_carbon_dioxide(told: Told) -> None:
    layout, course, water = told.layout, told.course, told.water
    tanks = len(layout.tanks)
    nitrified = course.nitrified_g[0] @ layout.leaf_loop
    freed = np.array([day.freed[1] for day in water.told])
    denitrified = course.denitrified_n_g[0]
    given = [BASE_PER_N * part for part in (told.per_loop(told.excreted), freed, denitrified)]
    beds = told.season.bed_course
    for bed, grams in zip(told.season.planting.beds, beds.alkalinity_g.T, strict=True):
        of_loop = np.array([key == told.season.site.file.beds[bed].loop for key in layout.loops], float)
        given.append(grams[:, None] * of_loop)
    used = 2.0 * BASE_PER_N * nitrified
    source = told.top_up * told.source("alkalinity")
    told.solute_closes("alkalinity", [*given, told.dose, source], [used, told.carried_out("alkalinity")])
    salt_g = told.dose * [salt.salt_g_per_alkalinity_g for salt in told.salts]
    assert_same(course.buffer_g[0], salt_g, salt_g)
    # each gram of base made by living things takes carbon dioxide into bicarbonate; breathing and breakdown make it
    films = 3.427 * course.nitrified_g[0, :, :tanks] + 1.142 * course.nitrite_oxidized_g[0, :, :tanks]
    breathed = np.maximum(course.oxygen_used_g[0, :, :tanks] - films, 0.0) @ layout.leaf_loop[:tanks]
    breathed = breathed + course.sump_oxygen_used_g[0]
    leaf, sump = (np.array([day.after["co2"][part] for day in water.told]) for part in (0, 1))
    leaf_exchange, sump_exchange, full = (
        water.leaf_co2_exchange,
        water.sump_co2_exchange,
        water.co2_saturation,
    )
    from_air = [
        (leaf_exchange * (full @ layout.leaf_loop.T)) @ layout.leaf_loop, -(leaf_exchange * leaf) @ layout.leaf_loop,
        sump_exchange * full, -sump_exchange * sump,
    ]  # fmt: skip
    # a steady inflow less what evaporates and is drawn off comes in balance with the air
    loops, settlers = told.season.site.file.loops, told.season.site.file.settlers.values()
    stream = [
        max((loop.new_water or 0.0) - loss - sum(s.drawn_off for s in settlers if s.loop == key), 0.0)
        for (key, loop), loss in zip(loops.items(), layout.water.loss_m3_day.tolist(), strict=True)
    ]
    from_air.append(full * stream)
    made = [1.375 * breathed, 1.375 * OXYGEN_PER_DENITRIFIED * denitrified, CO2_PER_BASE * used, *from_air]
    bound = [CO2_PER_BASE * part for part in given]
    bound.append(told.dose * [salt.carbon_dioxide_g_per_alkalinity_g for salt in told.salts])
    told.solute_closes("co2", made, [*bound, told.carried_out("co2")])


def check_all_nitrogen(told: Told) -> None:
    """From the feed sack to flesh, water, sediment, sludge, crops and air, over the season; tests excepted."""
    if any(loop.water_tests for loop in told.season.site.file.loops.values()):
        return
    layout, course, water = told.layout, told.course, told.water
    brought = told.per_loop(told.fed * told.feed_nitrogen - told.laid_down_n).sum(axis=0)
    brought = brought + (told.top_up * told.source("nitrate_n")).sum(axis=0) + layout.water.ammonia_dose_g.sum(axis=0)
    first, last = water.told[0].before, water.told[-1].after

    def inside(levels: dict) -> np.ndarray:
        water_n = sum(told.held(levels[name]) for name in ("tan", "nitrite", "nitrate", "solids_n"))
        return water_n + levels["sediment"][0][1] + levels["sediment"][1][1]

    out = np.array([day.out for day in water.told]).reshape(layout.days, 2, -1).sum(axis=(0, 1))
    gone = [course.uptake_n_g[0], course.denitrified_n_g[0], course.sludge_n_g[0], told.carried_out("nitrate")]
    lost = out + sum(part.sum(axis=0) for part in gone)
    assert_same(
        (inside(first) + brought)[None], (inside(last) + lost)[None], (inside(first) + inside(last) + lost)[None]
    )


def check_all_phosphorus(told: Told) -> None:
    """From the feed sack to flesh, water, sediment, sludge, settlers and crops, over the season; tests excepted."""
    if any(loop.water_tests for loop in told.season.site.file.loops.values()):
        return
    layout, course, water = told.layout, told.course, told.water
    fed = told.per_loop(told.fed * told.feed_minerals["phosphorus"] - told.gain * BODY_PHOSPHORUS).sum(axis=0)
    brought = fed + (told.top_up * told.source("phosphorus")).sum(axis=0)
    first, last = water.told[0].before, water.told[-1].after

    def inside(levels: dict) -> np.ndarray:
        lying = levels["sediment"][0][2] + levels["sediment"][1][2]
        return sum(told.held(levels[name]) for name in ("phosphorus", "solids_p")) + lying

    units, tanks = layout.leaf_loop[len(layout.tanks) :], len(layout.tanks)
    # the half of what beds and sump trap that never breaks down stays there for good
    kept = np.zeros_like(told.top_up)
    for day, after in enumerate(one.after for one in water.told):
        leaf, sump = after["solids_p"]
        trapped = layout.flow_m3_day * (1.0 - layout.water.passing[day]) * leaf
        kept[day] = STAYS * (trapped[tanks:] @ units + 0.2 * (layout.flow_m3_day @ layout.leaf_loop) * sump)
    gone = [course.uptake_phosphorus_g[0] @ units, course.settler_p_g[0], kept]
    gone += [told.carried_out("phosphorus"), told.carried_out("solids_p")]
    lost = sum(part.sum(axis=0) for part in gone)
    gross = inside(first) + inside(last) + lost + told.per_loop(told.fed * told.feed_minerals["phosphorus"]).sum(axis=0)
    assert_same((inside(first) + brought)[None], (inside(last) + lost)[None], gross[None])


def check_oxygen(told: Told) -> None:
    layout, course = told.layout, told.course
    leaf, sump = course.oxygen_mg_l[0], course.sump_oxygen_mg_l[0]
    assert (leaf >= 0.0).all()
    assert (sump >= 0.0).all()
    # the season starts with saturated water
    first = oxygen_saturation(layout.temperature_c[:1], layout.elevation_m)
    stored = np.vstack([first @ layout.leaf_loop.T, leaf]) * layout.volume_m3 @ layout.leaf_loop
    stored += np.vstack([first, sump]) * layout.sump_volume_m3
    from_air = (course.leaf_exchange_load_g[0] - course.leaf_exchange_m3_day[0] * leaf) @ layout.leaf_loop
    from_air += course.sump_exchange_load_g[0] - course.sump_exchange_m3_day[0] * sump
    used = course.oxygen_used_g[0] @ layout.leaf_loop + course.sump_oxygen_used_g[0]
    gross = used + stored[1:] + course.leaf_exchange_load_g[0] @ layout.leaf_loop + course.sump_exchange_load_g[0]
    assert_same(from_air, used + np.diff(stored, axis=0), gross)


def check_oxygen_users(told: Told) -> None:
    layout, course = told.layout, told.course
    tanks = len(layout.tanks)
    level, used = course.oxygen_mg_l[0], course.oxygen_used_g[0]
    nitrifiers = 3.427 * course.nitrified_g[0] + 1.142 * course.nitrite_oxidized_g[0]
    breathing = course.fish_oxygen_g[0] @ layout.cohort_tank
    wanted = nitrifiers + np.concatenate([breathing, np.zeros_like(nitrifiers[:, tanks:])], axis=1)
    left = level > 0.0
    assert (np.abs(used - wanted)[left] <= CLOSED * wanted[left] + 1e-12).all()
    assert (used <= wanted * (1.0 + CLOSED) + 1e-12).all()
    # what broke down takes its oxygen, but for the 15 % that nitrate serves
    demand = np.array([day.freed[3] for day in told.water.told])
    nitrate = np.array([day.before["nitrate"][1] for day in told.water.told])
    solids = demand * (1.0 - 0.15 * nitrate / (0.5 + nitrate))
    sump_left = course.sump_oxygen_mg_l[0] > 0.0
    sump_used = course.sump_oxygen_used_g[0]
    assert (np.abs(sump_used - solids)[sump_left] <= CLOSED * solids[sump_left] + 1e-12).all()
    assert (sump_used <= solids * (1.0 + CLOSED) + 1e-12).all()


CHECKS = (
    check_fish_mass, check_feed_nitrogen, check_energy, check_nitrogen_in_water, check_solids, check_minerals,
    check_alkalinity_and_carbon_dioxide, check_all_nitrogen,
    check_all_phosphorus, check_oxygen, check_oxygen_users,
)  # fmt: skip


@settings(max_examples=examples(80))
@given(any_eventful_site())
def test_random_sites_close(tables):
    try:
        told = Told(tables)
    except InputError as error:
        if any("are more than the" not in fault.message for fault in error.faults):
            raise
        assume(False)  # more was asked for than deaths had left
    for check in CHECKS:
        check(told)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
@pytest.mark.parametrize("tables", [two_loops(), busy_season()], ids=["every unit", "every event"])
def test_a_site_with_every_unit_or_event_closes(check, tables):
    check(Told(tables))


@pytest.mark.parametrize(("species", "feed", "celsius"), FED_WELL)
def test_every_species_closes(species, feed, celsius):
    told = Told(one_tank(species, feed, celsius, days=10))
    for check in CHECKS:
        check(told)


def test_a_crowd_without_air_closes():
    # 1,500 fish in half a cubic metre: oxygen runs out or appetite stops, and nothing vanishes meanwhile
    told = Told(one_tank(count=1500, volume_l=500.0, flow_l_h=50.0, power_w=0.0, bed_m2=1.0))
    assert told.course.appetite_share[0].min() < 0.05
    for check in CHECKS:
        check(told)


def test_the_frames_close_too(demo_season):
    cohorts, loops, tanks = demo_season.cohorts, demo_season.loops, demo_season.tanks
    # the day's growth belongs to the fish of the morning
    grown = (cohorts["growth_g_per_day"] * (cohorts["count"] + cohorts["deaths"])).sum()
    grown -= 1000.0 * cohorts["deaths_kg"].sum()
    start = (demo_season.layout.count * demo_season.layout.start_weight_g).sum()
    last = cohorts[cohorts["date"] == cohorts["date"].max()]
    assert 1000.0 * last["biomass_kg"].sum() == pytest.approx(start + grown, rel=CLOSED)
    for column in ("feed_g", "biomass_kg"):
        assert loops[column].sum() == pytest.approx(tanks[column].sum(), rel=CLOSED)
        assert cohorts[column].sum() == pytest.approx(tanks[column].sum(), rel=CLOSED)
    course, tank = demo_season.course, slice(0, len(demo_season.layout.tanks))
    on_walls = (3.427 * course.nitrified_g + 1.142 * course.nitrite_oxidized_g)[:, :, tank].sum()
    assert cohorts["oxygen_use_g"].sum() + on_walls == pytest.approx(tanks["oxygen_use_g"].sum(), rel=CLOSED)
