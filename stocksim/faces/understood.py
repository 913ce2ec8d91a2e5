"""What was understood of a site file, in words.

Apart from `file_commands`, whose help is shown without the engine.
"""

from __future__ import annotations

from functools import partial
from typing import Any

from stocksim.faces.answer import Answer, Brief, Part, Section, Sentences, Topic
from stocksim.faces.care import alarm, brief_cares, typed_cares, whole_cares
from stocksim.faces.fates import event_words, ration_words
from stocksim.faces.marks import marked
from stocksim.faces.words import heater_data
from stocksim.heat.heaters import SIZE_WORDS, judged_heaters
from stocksim.heat.notes import site_notes, site_questions
from stocksim.heat.small_fish import small_candidates, small_words
from stocksim.heat.temperatures import warmth_of_site, water_c
from stocksim.library.feeds import feed_kind
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.beds import bed_film_m2
from stocksim.site.climate_faults import heaters
from stocksim.site.cohorts import events_in_order
from stocksim.site.fish_tables import CohortTable
from stocksim.site.model import SiteFile
from stocksim.site.pumps import backup_hours, circuit_w, pump_flow_m3_day
from stocksim.site.reading import Site
from stocksim.units import format_date, format_quantity

# what each topic of the text tells of a site file
_TOPICS: dict[str, tuple[Topic, ...]] = {
    "loops": ("water",), "tanks": ("water", "fish"), "beds": ("plants",), "biofilters": ("water",),
    "settlers": ("water",), "pumps": ("water",), "backups": ("water",), "cohorts": ("fish",), "events": ("fish",),
    "heat": ("water",), "notes": ("assumptions",), "care": ("cautions",),
}  # fmt: skip
_COUNTED = ("loops", "tanks", "beds", "cohorts", "events")


def check_answer(site: Site) -> Answer:
    """What a sound site file is answered: whether it is fine, what to ask about, and all that was understood.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    Answer
        With the section ``questions`` and one for each key of `understood` that has words.
    """
    known = understood(site)
    questions = known["questions"]
    verdict = "no fault, but is this meant?" if questions else "fine"
    told = {key: text for key, text in known.items() if key not in ("questions", "heaters")}
    sections = [Section("questions", [Sentences(questions, indent="    ", first="  ")])]
    sections += [Section(key, _understood_parts(key, text), topics=_TOPICS.get(key, ())) for key, text in told.items()]
    counts = {name: str(len(known[name])) for name in _COUNTED}
    brief = Brief(
        [{"to answer": question} for question in questions],
        table=[{"season": known["season"]} | counts | {"assumed": str(len(known["notes"]))}],
        care=_first_cares(site),
    )
    tell = partial(marked, {"faults": [], "understood": known}, site)
    return Answer("", verdict, sections, tell, is_caution=bool(questions), brief=brief)


def _understood_parts(key: str, text: str | list[str]) -> list[Part]:
    """One text beside its key, or several below it."""
    said = [text] if isinstance(text, str) else text
    if len(said) > 1:
        return [Sentences([f"{key}:"], first="  "), Sentences(said, indent="      ", first="    ")]
    return [Sentences([f"{key}: {said[0] if said else '-'}"], indent="    ", first="  ")]


def _asked_of_typed(site: Site) -> list[str]:
    return [text for said in typed_cares(site.file, site.species).values() for text in said]


def _first_cares(site: Site) -> list[str]:
    """Three things to ask of what was typed: of burners, of children, and of wild fish or the law."""
    asked = typed_cares(site.file, site.species)
    first = [care for table in ("greenhouse", "tanks", "cohorts") for care in asked.get(table, [])[:1]]
    danger = alarm(site.file).rstrip()
    return [*([danger] if danger else []), *first, *brief_cares(site.file)]


def _more(cohort: CohortTable) -> str:
    """What sets a cohort apart."""
    words: list[str] = [] if cohort.sex == "mixed" else [cohort.sex]
    words += [] if cohort.strain is None else [f"strain {cohort.strain}"]
    words += ["wild-caught" + (", trained" if cohort.trained else "")] if cohort.wild else []
    words += [] if cohort.size_spread is None else [f"sizes spread by {100 * cohort.size_spread:.0f} %"]
    return f" ({', '.join(words)})" if words else ""


def _fed(site: Site, cohort: CohortTable) -> str:
    return f"fed {cohort.feed}" + (" (natural)" if feed_kind(site.feeds[cohort.feed]) == "natural" else "")


def understood(site: Site) -> dict[str, Any]:
    """What was understood of a sound site file: keeper's units, and every assumption made.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    dict
        Texts by topic; ready for `check --json`.
    """
    file = site.file
    units = file.site.units

    def show(value: float, dimension: str) -> str:
        return format_quantity(value, dimension, units)

    water = water_c(site)
    loops = {
        key: f"sump {show(t.sump, 'volume')}, pH {t.ph if t.ph is not None else 'computed'}, water "
        f"{show(float(water[key].min()), 'temperature')} to {show(float(water[key].max()), 'temperature')}"
        for key, t in file.loops.items()
    }
    tanks = {
        key: f"{show(t.volume, 'volume')} in loop {t.loop}, flow {show(t.flow, 'flow')}"
        for key, t in file.tanks.items()
    }
    beds = {}
    for key, bed in file.beds.items():
        words = f"{bed.kind}, {show(bed.area, 'area')} in loop {bed.loop}"
        kind = BED_KINDS[bed.kind]
        if kind.water is not None:
            words += f", nitrifying surface {show(bed_film_m2(bed), 'area')}"
            words += "" if bed.depth else f", depth {show(kind.water.depth_m, 'length')} assumed"
            words += "" if bed.flow else ", flow assumed"
            if kind.fill is not None and not bed.media_size:
                words += f", grain {1000 * kind.fill.grain_m:.1f} mm assumed"
        beds[key] = words
    cohorts = {
        key: f"{c.count} {c.species} (evidence {site.species[c.species].evidence}) of "
        f"{show(c.mean_weight, 'weight')} in {c.tank}{_more(c)}, {_fed(site, c)} {ration_words(c.ration, units)}"
        for key, c in file.cohorts.items()
    }
    asked = site_questions(site)
    return {
        "season": f"{format_date(file.season.start)} to {format_date(file.season.end)}, {site.days} days",
        "loops": [f"{key}: {text}" for key, text in loops.items()],
        "tanks": [f"{key}: {text}" for key, text in tanks.items()],
        "beds": [f"{key}: {text}" for key, text in beds.items()],
        "biofilters": [f"{key}: {b.kind} in loop {b.loop}" for key, b in file.biofilters.items()],
        "settlers": [
            f"{key}: {s.kind.replace('_', ' ')} in loop {s.loop}, reached by {100 * s.share_of_flow:.0f} % of the "
            f"return, {show(s.drawn_off, 'volume')} drawn off a day"
            for key, s in file.settlers.items()
        ],
        "pumps": [_pump_words(file, key) for key in file.pumps],
        "backups": [_backup_words(file, key) for key in file.backups],
        "cohorts": [f"{key}: {text}" for key, text in cohorts.items()],
        "events": [f"{format_date(event.date)}: {event_words(event, units)}" for _, event in events_in_order(file)],
        "heat": _heat_words(site),
        "heaters": [heater_data(judged) for judged in judged_heaters(site)],
        "questions": list(asked),
        "notes": [note for note in site_notes(site) if note not in asked]
        + [small_words(small, units) for small in small_candidates(site)],
        "care": list(dict.fromkeys([*_asked_of_typed(site), *whole_cares(file)])),
    }


def _pump_words(file: SiteFile, key: str) -> str:
    """A pump: what it moves how high, on which circuit, and what it draws in a day."""
    pump, units = file.pumps[key], file.site.units
    flow = format_quantity(pump_flow_m3_day(file, pump), "flow", units)
    return (
        f"{key}: {flow} to {', '.join(pump.feeds)}, lifted {format_quantity(pump.lift, 'length', units)}, "
        f"{pump.power:g} W on circuit {pump.circuit}, {0.024 * pump.power:.2f} kWh a day"
    )


def _backup_words(file: SiteFile, key: str) -> str:
    """A backup: what it carries, when it begins and how long it lasts."""
    backup, watts = file.backups[key], circuit_w(file)
    load = sum(watts[name] for name in dict.fromkeys(backup.carries))
    lasts = backup_hours(backup, load)
    return (
        f"{key}: {backup.kind} of {backup.power:g} W, carries {', '.join(backup.carries)} ({load:,.0f} W), "
        f"{backup.switch.replace('_', ' ')} after {backup.after_minutes or 0.0:g} minutes, lasts {lasts:.1f} hours"
    )


def _heat_words(site: Site) -> list[str]:
    """Rooms with their loss, and heaters; empty for a site without weather."""
    warmth = warmth_of_site(site)
    if warmth is None:
        return []
    units = site.file.site.units
    cold = format_quantity(warmth.weather.design_cold_c, "temperature", units)
    rooms = [
        f"{room}: loses {format_quantity(loss, 'heat_loss', units)} at night"
        for room, loss in warmth.plan.loss_w_k.items()
    ]
    judged = {one.place: one for one in judged_heaters(site)}
    burners = [
        f"{place}: {heater.power / 1000.0:g} kW of {heater.fuel.replace('_', ' ')}, set to "
        f"{format_quantity(heater.set_point, 'temperature', units)}"
        + (
            f"; that night asks {judged[place].needed_kw:.1f} kW: {SIZE_WORDS[judged[place].size]}"
            if place in judged
            else ""
        )
        for place, heater in heaters(site.file)
    ]
    return [f"weather: {site.file.weather.kind if site.file.weather else ''}, design cold {cold}", *rooms, *burners]
