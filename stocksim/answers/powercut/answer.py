"""How long each tank has in a power cut, put together for text, the card of the page and JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from typing import Any

from stocksim.answers.powercut.decide import CYLINDER_DISSOLVED_SHARE, PowerCut, Reserve
from stocksim.answers.powercut.winters import DUSK, Winter
from stocksim.drawn.nights import NIGHT_YEARS
from stocksim.faces.answer import Answer, Brief, Head, Part, Section, Sentences, Table, points
from stocksim.faces.chance_words import chance_words
from stocksim.faces.marks import marked
from stocksim.faces.words import day_words
from stocksim.site.reading import Site
from stocksim.units import format_quantity, in_units
from stocksim.water.pumping import PUMP_EFFICIENCY

TITLE = "When the power fails"
_FOOT_M = 0.3048
# The minutes rest on the fish's use, the surface and the swing of the day, none of them known better than that.
UNSURE = (
    "All of this is known to a factor of 2 only: be ready in half the time. Gasping at the surface or fish "
    "crowding an inlet means act now, whatever this sheet says."
)
CAUTIONS = (
    "Engines outdoors only: run a generator in the open, at least 6 m from every door, window and "
    "vent of house and greenhouse, exhaust pointing away; never inside, not even with the doors open. Follow "
    "your local code.",
    "Carbon monoxide kills without a smell: have a battery carbon monoxide alarm wherever people work or sleep.",
    "A transfer switch fitted by a licensed electrician; never back-feed a house or greenhouse through an "
    "outlet: it kills line workers.",
    "Electricity beside water kills: ground-fault protection on every circuit near water, generator's "
    "included, drip loops, dry hands.",
    "Air first, then flow, then heat. Keep a charged battery air pump beside each tank that starts by "
    "itself, and an alarm that reaches you.",
    "Do not feed before an announced cut or during one; feed again, a little, when oxygen has been good for "
    "some hours.",
)
FIRST_THINGS = (
    "Known to a factor of 2 only: be ready in half the time. Air first, then flow, then heat; do not feed; act at once "
    "when fish gasp."
)
BRIEF_CARES = (
    "Generator outdoors only, 6 m from every opening: carbon monoxide kills without a smell; have an alarm.",
    "A transfer switch by a licensed electrician; never back-feed a building.",
    "Power beside water kills: ground-fault protection on every circuit, dry hands.",
)
TABLE_WORDS = (
    "0 = already below. never = in the model air, or a warm room, holds it: do not rely on that. Stress is the "
    "husbandry limit, lethal kills. A battery pump helps only while its battery lasts."
)
CYLINDER_CAUTION = (
    "Oxygen feeds fire: no oil, grease, spark or flame near it; chain the cylinder upright, use an oxygen "
    "regulator and follow the supplier's and local rules."
)
SOURCES = (
    "Tank alone after the cut: V dC/dt = k (Cs - C) - use, solved exactly; V is the water without the fish; "
    "a cut leaves biofilter bacteria and solids elsewhere (our balance).",
    "Surface k: Cole & Caraco 1998, still water, measured on lakes; a tank differs by a factor of 2 to 3. "
    "Cs: Benson & Krause 1984.",
    "Use: the fish of that day in the season; what feed adds follows the meals and is highest 4 hours after "
    "them (between Brett & Zala 1975 and Lee et al. 2015, abstracts), at your feeding hours or at 8:00 and 17:00.",
    "Stress is oxygen_recommended and lethal is oxygen_lethal of the species file, with their sources there (page "
    "Fish, or stocksim fish).",
    "Battery air pump: 0.7 kg of oxygen a kWh (from memory of Boyd 1998; 0.5 to 1.5 kg is met), as long as its "
    "battery lasts.",
    f"Cylinder: ideal gas at 15 degC, {100 * CYLINDER_DISSOLVED_SHARE:.0f} % dissolves (5-20 % is common "
    "practice, no source).",
    "Cooling: bare round tank, steady room, losses of walls, open surface and floor as in docs/powercut.md; factor "
    "of 2. Where the site has weather and rooms, these cool with the water by its heat balance.",
    "A battery gives two thirds of its label (common practice, no source), a generator runs as long as its fuel lasts.",
    f"Pump power: plates of the file; else weight of water x flow x head / {PUMP_EFFICIENCY:g} (efficiency 0.2-0.5, "
    "common practice, no source).",
    "Distance from doors and windows, carbon monoxide detectors: Electrical Safety Foundation International, "
    "portable generator safety (excerpt read).",
)  # fmt: skip


def powercut_answer(
    cut: PowerCut, site: Site, units: str, room_field: str = "with --room", winters: Sequence[Winter] = ()
) -> Answer:
    """How long each tank has, and what a generator must carry.

    Parameters
    ----------
    cut : PowerCut
        Of `stocksim.answers.powercut.decide`.
    site : Site
        What it was made from.
    units : str
        ``metric`` or ``us``, for the sentences; the numbers' units stand in the keys of the data.
    room_field : str
        Where this face takes the room's air, in words.
    winters : sequence of Winter
        Of `stocksim.answers.powercut.winters.cold_winters`, where they are to be told.

    Returns
    -------
    Answer
        With the sections ``tanks``, ``notes``, ``winters``, ``cautions``, ``sources``. Minutes and hours of its data
        are null where a limit is never reached; keys of a battery or a cylinder are there only where one was stated.
    """
    room, generator = _room_words(cut, units, room_field), _generator_words(cut, units)
    notes: list[Part] = [Sentences([generator], "note", gap=not cut.reserves)]
    if cut.reserves:
        bottle = [cylinder_words(cut)] if cut.cylinder_g > 0.0 else []
        notes = [
            Sentences([UNSURE], "do", gap=True),
            Sentences(bottle, "note", "page"),
            Sentences(_standing_words(cut, units), "note"),
            Sentences([room], "note"),
            Sentences(bottle, on="text"),
            *notes,
        ]
    cautions = Sentences(_cautions(cut, units), "numbered", mark="- ", indent="  ")
    sections = [
        Section("tanks", _tank_parts(cut, units) if cut.reserves else [], topics=("fish", "water")),
        Section("notes", notes, topics=("water", "assumptions")),
        Section("winters", _winter_parts(winters, units), topics=("fish", "water")),
        Section("cautions", [Head("Cautions:", "text"), cautions], topics=("cautions",)),
        Section(
            "sources",
            [Head("Sources:", "text"), points(_sources(units), "background")],
            "What the minutes rest on",
            topics=("assumptions",),
        ),
    ]
    tell = partial(_data, cut, site, units, winters, [UNSURE, *_standing_words(cut, units), room, generator])
    # a cut is never good news for fish, however long they have
    return Answer(TITLE, headline(cut), sections, tell, bool(cut.reserves), "verdict", brief=_brief(cut, units))


def _brief(cut: PowerCut, units: str) -> Brief:
    """The order in which to act, the tanks, and what kills people in a cut."""
    care = [in_units(text, units) for text in BRIEF_CARES]
    if not cut.reserves:
        return Brief(care=care)
    rows = [
        {
            "tank": one.tank,
            "fish": one.cohort,
            "stress after": _cell(one.alone.to_stress),
            "death after": _cell(one.as_built.to_lethal),
            **({"with battery air": _cell(one.with_battery.to_lethal)} if cut.battery_w > 0.0 else {}),
            **({"with cylinder": _cell(one.with_cylinder.to_lethal)} if cut.cylinder_g > 0.0 else {}),
            "cold limit after": "never"
            if math.isinf(one.hours_to_cold_limit)
            else f"{_hours(one.hours_to_cold_limit)} h",
        }
        for one in cut.reserves
    ]
    bottle = [CYLINDER_CAUTION] if cut.cylinder_g > 0.0 else []
    return Brief(head=FIRST_THINGS, table=rows, care=[*bottle, *care])


def _tank_parts(cut: PowerCut, units: str) -> list[Part]:
    return [
        Sentences([occasion(cut)], gap=True),
        Table([_row(cut, reserve, units) for reserve in cut.reserves], gap=True),
        Sentences([f"({TABLE_WORDS})"], on="text"),
        Sentences([TABLE_WORDS], "note", "page"),
    ]


def _winter_parts(winters: Sequence[Winter], units: str) -> list[Part]:
    """Cuts in the coldest nights of drawn winters, a row for each."""
    if not winters:
        return []
    rows = [
        {
            "such a night in": f"{chance_words(one.share)} winters",
            "outdoors": format_quantity(one.low_c, "temperature", units),
            "power fails": f"{_clock(DUSK)}, {day_words(one.date)}",
            "first at its cold limit": f"{one.first.cohort} in {one.first.tank}" if one.first else "no fish",
            "after": "not in 5 days" if math.isinf(one.cold_hours) else f"{_hours(one.cold_hours)} h",
            "oxygen kills after": _cell(one.oxygen_minutes),
        }
        for one in winters
    ]
    note = (
        f"Of {NIGHT_YEARS:,} winters drawn about the normals of the site, in its season: so many have a night as cold, "
        "or colder. Real tails may be longer. The power fails at dusk before it and stays off; known to a factor of 2. "
        "How often it fails where you live is not known here: ask who supplies it."
    )
    return [
        Head("A power cut in a cold night, and how often"),
        Table(rows, gap=True),
        Sentences([note], "note"),
    ]


def _data(cut: PowerCut, site: Site, units: str, winters: Sequence[Winter], notes: list[str]) -> dict[str, Any]:
    generator = cut.generator
    data: dict[str, Any] = {
        "site": cut.site,
        "date": cut.date.isoformat(),
        "hour": cut.hour,
        "is_worst_day": cut.is_worst_day,
        "answer": headline(cut),
        "tanks": [_reserve_data(cut, reserve) for reserve in cut.reserves],
        "room_c": cut.room_c,
        "circuits_that_fail": list(cut.standing.failed),
        "stands_still": list(cut.standing.still),
        "without_air": list(cut.standing.no_air),
        "generator_w": round(generator.total_w, 1),
        "generator": {
            "air_w": round(generator.air_w, 1),
            "pump_w": round(generator.pump_w, 1),
            "heater_w": round(generator.heater_w, 1),
            "flow_m3_day": round(generator.flow_m3_day, 3),
            "head_m": generator.head_m,
            "pump_efficiency": PUMP_EFFICIENCY,
            "pump_plates_w": round(generator.plate_w, 1),
            "power_guessed_for": list(generator.guessed),
        },
        "notes": notes,
        "cautions": _cautions(cut, units),
        "sources": _sources(units),
    }
    data |= _standing_data(cut)
    if winters:
        data["winters"] = [
            {
                "chance": round(one.share, 4), "outdoors_low_c": round(one.low_c, 2), "date": one.date.isoformat(),
                "cohort": one.first.cohort if one.first else None, "tank": one.first.tank if one.first else None,
                "hours_to_cold_limit": _or_null(one.cold_hours, 2),
                "minutes_to_lethal_oxygen": _or_null(one.oxygen_minutes, 2),
            }
            for one in winters
        ]  # fmt: skip
    if cut.battery_w > 0.0:
        data["battery_w_each_tank"] = cut.battery_w
    if cut.cylinder_g > 0.0:
        data["cylinder_oxygen_g"] = round(cut.cylinder_g, 1)
        data["cylinder_hours"] = _or_null(cut.cylinder_hours, 2)
    return marked(data, site)


def _standing_data(cut: PowerCut) -> dict[str, Any]:
    """Computed air, backups and sumps, where the site tells them."""
    data: dict[str, Any] = {}
    if cut.air_c is not None:
        data["room_at_cut_c"], data["room_lowest_in_a_day_c"] = (round(air, 2) for air in cut.air_c)
    if cut.standing.backups:
        data["backups"] = [
            {
                "name": one.name, "kind": one.kind, "circuits": list(one.circuits), "load_w": round(one.load_w, 1),
                "begins_after_minutes": round(60.0 * one.begins_h, 1), "ends_after_hours": _or_null(one.ends_h, 2),
            }
            for one in cut.standing.backups
        ]  # fmt: skip
    if cut.standing.sumps:
        data["sumps"] = [
            {"loop": loop, "water_m3": round(before, 4), "after_draining_m3": round(after, 4), "brim_m3": brim}
            for loop, before, after, brim in cut.standing.sumps
        ]
    return data


def headline(cut: PowerCut) -> str:
    """The answer in one sentence: how long, where, from when."""
    when = f"{_clock(cut.hour)} on {day_words(cut.date)}"
    if not cut.reserves:
        return f"No fish are in the tanks on {day_words(cut.date)}: a power cut then costs none."
    first = cut.reserves[0]
    place = f"tank {first.tank} ({first.cohort})"
    if first.as_built.to_lethal <= 0.0:
        return (
            f"You have no time in {place} from {when}: its oxygen is {first.oxygen_mg_l:.1f} mg/L even "
            f"before a cut, at or below the {first.lethal_mg_l:.1f} that kills. Fix that first."
        )
    if first.cold_minutes < first.as_built.to_lethal:
        return _cold_headline(first, place, when)
    if math.isinf(first.as_built.to_lethal):
        if not cut.standing.is_all:
            return (
                f"In the model no tank falls to the oxygen that kills, from {when}, with what lives or is carried: "
                f"{place} comes closest. Do not rely on that."
            )
        return (
            f"In the model no tank falls to the oxygen that kills, from {when}: {place} comes closest, and "
            "only its still surface holds it. Do not rely on that."
        )
    return (
        f"You have about {_time_words(first.as_built.to_lethal)} in {place} from {when}, until its oxygen kills: be "
        f"ready in {_time_words(0.5 * first.as_built.to_lethal)}."
    )


def _cold_headline(first: Reserve, place: str, when: str) -> str:
    """The answer where the cold comes before the lack of oxygen."""
    if first.cold_minutes <= 0.0:
        return f"You have no time in {place} from {when}: its water is at the cold that kills even before a cut."
    limit = "the cold that kills" if first.is_limit_lethal else "the cold where worry begins"
    oxygen = first.as_built.to_lethal
    also = "" if math.isinf(oxygen) else f" Its oxygen kills after about {_time_words(oxygen)}."
    return (
        f"You have about {_time_words(first.cold_minutes)} in {place} from {when}, until its water is at {limit}: be "
        f"ready in {_time_words(0.5 * first.cold_minutes)}.{also}"
    )


def occasion(cut: PowerCut) -> str:
    """Site, day and hour of the cut, and who chose them."""
    at = "the worst hour" if cut.is_worst_hour else "an hour you gave"
    chosen = f"{at} of {'the worst day' if cut.is_worst_day else 'a day you gave'}"
    return f"{cut.site}, {day_words(cut.date)}, {_clock(cut.hour)} ({chosen}); {_stops(cut)}."


def _stops(cut: PowerCut) -> str:
    """What the cut stops, in a few words."""
    if not cut.standing.living:
        return "pump, air and heat all stop"
    return f"circuits {', '.join(cut.standing.failed)} fail, {', '.join(cut.standing.living)} live"


def _standing_words(cut: PowerCut, units: str) -> list[str]:
    """What stands still, what carries it, and whether the sumps hold what drains back; nothing where all stops at once
    and the file tells no more."""
    found, words = cut.standing, []
    if found.living:
        still = f"Nothing is pumped through {', '.join(found.still)}" if found.still else "All pumps run"
        air = f"no air in {', '.join(found.no_air)}" if found.no_air else "all air goes on"
        words.append(f"{still}; {air}.")
    for one in found.backups:
        lasts = "on" if math.isinf(one.ends_h) else f"until {_hours(one.ends_h)} hours after the cut"
        words.append(
            f"{one.name} ({one.kind}) carries {', '.join(one.circuits)}, {one.load_w:,.0f} W, from "
            f"{60.0 * one.begins_h:.0f} minutes {lasts}; the times as built count on it: try it under load."
        )
    for loop, before, after, brim in found.sumps:
        held = f"The sump of {loop} rises from {format_quantity(before, 'volume', units)} to "
        held += f"{format_quantity(after, 'volume', units)} as beds, towers and pipes drain into it"
        if brim is not None:
            does = "OVERFLOWS" if after > brim else "holds"
            held += f": it {does} (brim {format_quantity(brim, 'volume', units)})"
        words.append(f"{held}.")
    return words


def cylinder_words(cut: PowerCut) -> str:
    """How long the oxygen cylinder lasts."""
    held = "is not needed" if math.isinf(cut.cylinder_hours) else f"lasts {_hours(cut.cylinder_hours)} hours"
    return f"The cylinder, opened at once and shared out to hold every tank where it is, {held}."


def _time_words(minutes: float) -> str:
    """Minutes rounded down, hours beyond three hours."""
    if minutes < 1.0:
        return "less than 1 minute"
    if minutes < 180.0:
        whole = math.floor(minutes)
        return f"{whole} minute{'' if whole == 1 else 's'}"
    return f"{math.floor(minutes / 60.0)} hours"


def _clock(hour: float) -> str:
    whole = math.floor(hour * 60.0 + 0.5)
    return f"{whole // 60:02d}:{whole % 60:02d}"


def _hours(hours: float) -> str:
    return f"{hours:.1f}" if hours < 10.0 else f"{math.floor(hours)}"


def _cell(minutes: float) -> str:
    if math.isinf(minutes):
        return "never"
    return f"{math.floor(minutes)} min" if minutes < 180.0 else f"{math.floor(minutes / 60.0)} h"


def _row(cut: PowerCut, reserve: Reserve, units: str) -> dict[str, str]:
    """A cohort's row; keys are the column heads."""
    row = {
        "tank": reserve.tank,
        "fish": reserve.cohort,
        "density": format_quantity(reserve.density_kg_m3, "density", units),
        "oxygen now": f"{reserve.oxygen_mg_l:.1f} mg/L",
        "stress": f"{_cell(reserve.alone.to_stress)} ({reserve.stress_mg_l:.1f} mg/L)",
        "lethal": f"{_cell(reserve.alone.to_lethal)} ({reserve.lethal_mg_l:.1f} mg/L)",
    }
    if not cut.standing.is_all:
        row["lethal, as built"] = _cell(reserve.as_built.to_lethal)
    if cut.battery_w > 0.0:
        row["lethal, battery air"] = _cell(reserve.with_battery.to_lethal)
    if cut.cylinder_g > 0.0:
        row["lethal, cylinder"] = _cell(reserve.with_cylinder.to_lethal)
    cold = reserve.hours_to_cold_limit
    limit = format_quantity(reserve.cold_limit_c, "temperature", units)
    row["cold limit"] = f"{'never' if math.isinf(cold) else _hours(cold) + ' h'} ({limit})"
    return row


def _unknown_words(cut: PowerCut) -> str:
    """Of which species the lethal cold is not known."""
    unknown = dict.fromkeys(one.species for one in cut.reserves if not one.is_limit_lethal)
    return f"; of {', '.join(unknown)}, whose lethal cold is not known, where worry begins" if unknown else ""


def _room_words(cut: PowerCut, units: str, room_field: str) -> str:
    unknown = _unknown_words(cut)
    limit = f"The limit is what kills half of fish used to the water before the cut in four days{unknown}."
    other = " The coldest day may be another than the worst for oxygen: ask for it by its date."
    other = other if cut.is_worst_day and cut.reserves and cut.reserves[0].cold_minutes > 0.0 else ""
    if cut.air_c is not None:
        begins, lowest = (format_quantity(air, "temperature", units) for air in cut.air_c)
        return (
            f"The time to the cold limit is computed with the rooms, which cool too: air from {begins} to {lowest} "
            "within a day, in the season's own weather of that day, not in a colder spell (give the coldest air you "
            f"expect {room_field}). {limit}{other}"
        )
    assert cut.room_c is not None
    room = format_quantity(cut.room_c, "temperature", units)
    return (
        f"The time to the cold limit is for air around the tanks at {room} (give the coldest air you expect "
        f"{room_field}), tanks bare and uncovered. {limit}{other}"
    )


def _generator_words(cut: PowerCut, units: str) -> str:
    load = cut.generator
    head = f"{load.head_m:.1f} m" if units == "metric" else f"{load.head_m / _FOOT_M:.1f} ft"
    flow = format_quantity(load.unplated_m3_day, "flow", units)
    plates = f"estimate: {flow} lifted {head} at {100 * PUMP_EFFICIENCY:.0f} %"
    read = " Read the motors' nameplates instead where you can."
    if load.plate_w > 0.0:
        is_whole = load.unplated_m3_day <= 0.0
        plates = "by their plates" if is_whole else f"{load.plate_w:,.0f} W by plates; {plates}"
        read = "" if is_whole else read
    heat = f"heater {load.heater_w:,.0f} W" if load.heater_w > 0.0 else "no heater counted"
    words = (
        f"A generator must carry about {load.total_w:,.0f} W running: air {load.air_w:,.0f} W, pumps "
        f"{load.pump_w:,.0f} W ({plates}), {heat}.{read} Motors draw several times that when they start."
    )
    if load.guessed:
        words += f" Air power of {', '.join(load.guessed)} is guessed from its transfer."
    return words


def _sources(units: str) -> list[str]:
    return [in_units(text, units) for text in SOURCES]


def _cautions(cut: PowerCut, units: str) -> list[str]:
    words = [in_units(text, units) for text in CAUTIONS]
    if cut.cylinder_g > 0.0:
        words.append(CYLINDER_CAUTION)
    return words + list(cut.own_files)


def _or_null(value: float, decimals: int) -> float | None:
    return round(value, decimals) if math.isfinite(value) else None


def _reserve_data(cut: PowerCut, reserve: Reserve) -> dict[str, Any]:
    data: dict[str, Any] = {
        "tank": reserve.tank,
        "cohort": reserve.cohort,
        "species": reserve.species,
        "biomass_kg": round(reserve.biomass_kg, 3),
        "density_kg_m3": round(reserve.density_kg_m3, 3),
        "oxygen_mg_l": round(reserve.oxygen_mg_l, 3),
        "stress_mg_l": reserve.stress_mg_l,
        "lethal_mg_l": reserve.lethal_mg_l,
        "minutes_to_stress": _or_null(reserve.alone.to_stress, 2),
        "minutes_to_lethal": _or_null(reserve.alone.to_lethal, 2),
    }
    if not cut.standing.is_all:
        data["minutes_to_stress_as_built"] = _or_null(reserve.as_built.to_stress, 2)
        data["minutes_to_lethal_as_built"] = _or_null(reserve.as_built.to_lethal, 2)
    helped = {"battery": (cut.battery_w, reserve.with_battery), "cylinder": (cut.cylinder_g, reserve.with_cylinder)}
    for name, (size, times) in helped.items():
        if size > 0.0:
            data[f"minutes_to_stress_with_{name}"] = _or_null(times.to_stress, 2)
            data[f"minutes_to_lethal_with_{name}"] = _or_null(times.to_lethal, 2)
    return data | {
        "temperature_c": round(reserve.temperature_c, 2),
        "cold_limit_c": round(reserve.cold_limit_c, 2),
        "cold_limit_is_lethal": reserve.is_limit_lethal,
        "hours_to_cold_limit": _or_null(reserve.hours_to_cold_limit, 2),
    }
