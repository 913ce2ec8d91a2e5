"""The library of species, as data and text."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from stocksim.errors import Fault, InputError
from stocksim.faces.answer import Answer, Brief, Head, Html, Part, Section, Sentences, Table, points
from stocksim.faces.marks import marked
from stocksim.faces.markup import paragraph_html
from stocksim.library.feeds import feed_kind, feed_names, load_feed
from stocksim.library.sources import Entry
from stocksim.library.species import density_meaning, load_species, never_with, species_names
from stocksim.library.strains import trials_sentence, trials_warning
from stocksim.units import face_unit, in_units, to_face

_WATER_GROUP = "Limits of water and density"
# Every value of a species file stands in one of these; tests/test_fish_answers.py sees to it.
GROUPS = {
    "Appetite and growth": (
        "intake_scale", "intake_exponent", "appetite_optimum", "appetite_upper_zero", "appetite_q10",
        "no_feeding_below", "cold_ramp_width", "appetite_males", "appetite_females", "maintenance_at_20",
        "maintenance_q10_cold", "maintenance_q10_warm", "growth_efficiency", "fasting_loss_fraction", "body_energy",
        "body_protein",
    ),
    _WATER_GROUP: (
        "growth_temperature_low", "growth_temperature_high", "temperature_low_limit", "temperature_high_stress",
        "lower_lethal_at_20", "lower_lethal_slope", "temperature_low_lethal", "upper_lethal_at_20",
        "upper_lethal_slope", "temperature_high_lethal", "temperature_change_per_day", "oxygen_recommended",
        "oxygen_full_appetite", "oxygen_lethal", "unionized_ammonia_design", "unionized_ammonia_acute",
        "nitrite_limit", "nitrite_lethal", "nitrite_lethal_chloride", "chloride_protects",
        "nitrate_caution", "density_cautious", "density_experienced",
    ),
    "Winter": ("feeding_stop", "feeding_start", "winter_ration", "winter_feed_every", "winter_safe_length"),
    "Tankmates and sizes": (
        "prey_share_deep", "prey_share_slender", "body_depth", "eats_own", "sibling_loss", "sibling_length",
        "size_spread", "length_weight_intercept", "length_weight_slope",
        "farmed_condition",
    ),
    "Wild-caught fish onto pellets": ("feed_training_days", "feed_training_loss"),
    "Market, and what the fit is compared with": (
        "market_weight", "largest_weight", "fillet_yield", "fitted_feed_energy", "fitted_feed_protein",
        "feed_conversion_check",
    ),
}  # fmt: skip
# what a number cannot say by its name alone
MEANINGS = {
    "prey_share_deep": "longest deep-bodied prey over own length; 0: takes no fish",
    "prey_share_slender": "longest slender prey over own length; 0: takes no fish",
    "body_depth": "greatest depth, or breadth over locked spines, over own length",
    "eats_own": "0: was looked at and takes none of its own kind",
    "sibling_loss": "share of the smallest young that siblings eat a day, unfed",
    "sibling_length": "length from which siblings of its size take no more",
    "size_spread": "standard deviation over mean weight, batch not graded",
    "temperature_low_limit": "a caution, colder is cause for worry; no lethal level",
    "temperature_high_stress": "a caution, warmer is cause for worry; no lethal level",
    "lower_lethal_at_20": "half of fish used to 20 degC outlive it for four days",
    "lower_lethal_slope": "its rise with a degree that they are used to",
    "temperature_low_lethal": "fish used to any cold do not outlive less",
    "upper_lethal_at_20": "half of fish used to 20 degC outlive it for four days",
    "upper_lethal_slope": "its rise with a degree that they are used to",
    "temperature_high_lethal": "fish used to any heat do not outlive more",
    "temperature_change_per_day": "let the water change by no more than this a day",
    "feed_training_days": "days without growth until wild fish live on pellets",
    "feed_training_loss": "share of wild adults lost in that time",
    "appetite_males": "times the appetite of a mixed batch, males alone",
    "appetite_females": "times the appetite of a mixed batch, females alone",
    "largest_weight": "heaviest that we know of; site files with heavier fish are asked about",
    "winter_safe_length": "young fish below it die more in a winter",
    "feeding_stop": "offer nothing in colder water",
    "feeding_start": "feed every day from it on",
    "winter_ration": "pellets on each day that is fed between the two",
    "winter_feed_every": "days from one such feeding to the next",
    "nitrate_caution": "as nitrogen; a caution, not a limit of the model",
    "nitrite_lethal": "as nitrogen; kills half in four days; where it is missing no deaths of nitrite are counted",
    "nitrite_lethal_chloride": "chloride of the water in which that was found",
    "oxygen_full_appetite": "from which they eat all they would, where that was measured",
    "chloride_protects": "1: chloride keeps nitrite out; 0: it does not, or nobody knows",
}
_TEMPERS = {
    "calm": "calm",
    "nips": "nips at fins",
    "territorial": "territorial, the strong bite the weak",
    "hunts": "hunts other fish",
}
NEVER_RELEASE = "Never release any fish; keeping, moving or selling them may need a permit where you live."
_FEWEST_DAYS, _MOST_DAYS = 10, 1000  # our choice: what a chart of one fish shows well


def days_of_typed(typed: str) -> int:
    """Days that one fish is followed, of what was typed; raises InputError where that is no number of days."""
    met = typed.strip()
    if not met.isascii() or not met.isdigit() or not _FEWEST_DAYS <= int(met[:9]) <= _MOST_DAYS:
        message = f'"{met}" is not allowed; write a whole number from {_FEWEST_DAYS} to {_MOST_DAYS:,}, as 243.'
        raise InputError([Fault("", "Days", message)])
    return int(met)


def fish_answer(species: str | None, folder: Path | None = None, units: str = "metric") -> Answer:
    """What is known of all species, or of one.

    Parameters
    ----------
    species : str or None
        Key of a species; None for a list of all.
    folder : Path, optional
        Where the keeper's own species files are looked up.
    units : str
        ``metric`` or ``us``; the tables of values are in the units of the species' file, numbers of the data metric.

    Returns
    -------
    Answer
        Of one species with the sections ``facts``, ``evidence``, ``cautions`` and ``values 1`` and so on; of all with
        ``fish`` and ``feeds``.

    Raises
    ------
    ParameterError
        If the species is unknown.
    """
    if species is None:
        data = fish_data(None)
        note = (
            "(evidence: of growth and water; tankmates: of sizes and of who may share a tank. Feeds, as given; natural "
            "food is wet.)"
        )
        rows = [_list_row(row, units) for row in data]
        fish: list[Part] = [Table(rows), Sentences([note])]
        verdict = f"{len(rows)} species are known; `stocksim fish NAME` shows all of one."
        few = [{head: text for head, text in row.items() if head != "name"} for row in rows]
        brief = Brief(table=few, care=[NEVER_RELEASE])
        return Answer("", verdict, [Section("fish", fish, topics=("fish",)), feed_section()], lambda: data, brief=brief)
    entry = load_species(species, folder)
    title = f"{entry.title} ({entry.facts['latin']}), evidence {entry.evidence}"
    groups = [
        Section(
            f"values {number}",
            _value_parts(entry, group),
            f"{group} ({len(rows)})",
            is_open=number == 1,
            topics=("water",) if group == _WATER_GROUP else ("fish",),
        )
        for number, (group, rows) in enumerate(value_rows(entry).items(), 1)
    ]
    about = [
        Section("facts", [Sentences([in_units(entry.summary, units)])], topics=("fish",)),
        Section(
            "evidence",
            [points([in_units(text, units) for text in facts(entry)], "background")],
            topics=("assumptions",),
        ),
        Section("cautions", _caution_parts(entry, units), topics=("cautions",)),
    ]
    told = [entry.facts[key] for key in ("caution", "wild_caution") if key in entry.facts]
    care = [in_units(_first_sentence(text), units) for text in told]
    brief = Brief(head=in_units(entry.summary, units), table=_brief_rows(entry, units), care=[*care, NEVER_RELEASE])
    return Answer(title, "", [*about, *groups], lambda: fish_data(species, folder), brief=brief)


def _first_sentence(text: str) -> str:
    return f"{text.split('. ')[0].rstrip('.')}."


_BRIEF_VALUES = {
    "grows well": ("growth_temperature_low", "growth_temperature_high"),
    "no cause for worry": ("temperature_low_limit", "temperature_high_stress"),
    "oxygen above": ("oxygen_recommended",),
    "un-ionized ammonia below": ("unionized_ammonia_design",),
    "density, cautious to experienced": ("density_cautious", "density_experienced"),
    "market weight": ("market_weight",),
}


def _brief_rows(entry: Entry, units: str) -> list[dict[str, str]]:
    """What a keeper asks first of a species."""
    return [
        {
            "what": what,
            "level": _level(entry, keys, units),
            "evidence": "weak" if any(entry.is_weak(key) for key in keys) else "read",
        }
        for what, keys in _BRIEF_VALUES.items()
        if all(key in entry.values for key in keys)
    ]


_DIMENSIONS = {"degC": "temperature", "kg/m3": "density", "g": "weight"}


def _level(entry: Entry, keys: tuple[str, ...], units: str) -> str:
    """A value or a span, as ``24 to 27 degC``."""
    unit = entry.values[keys[0]].unit
    dimension = _DIMENSIONS.get(unit) if units == "us" else None
    if dimension is None:
        return " to ".join(f"{entry[key]:g}" for key in keys) + f" {unit}"
    return (
        " to ".join(f"{to_face(entry[key], dimension, units):.3g}" for key in keys) + f" {face_unit(dimension, units)}"
    )


def _caution_parts(entry: Entry, units: str) -> list[Part]:
    parts: list[Part] = []
    for head, key in (("Caution", "caution"), ("Wild-caught", "wild_caution")):
        if key in entry.facts:
            parts.append(Sentences([f"{head}: {in_units(entry.facts[key], units)}"], on="text", indent="  "))
    for head, key in (("Caution.", "caution"), ("Wild-caught fish.", "wild_caution")):
        if key in entry.facts:
            parts.append(Html(paragraph_html(in_units(entry.facts[key], units), head)))
    return parts


def _value_parts(entry: Entry, group: str) -> list[Part]:
    """Values of a topic: short for text, whole for pages."""
    return [
        Head(f"{group}:", "text"),
        Table([_text_row(entry, key) for key in entry.values if key in GROUPS[group]], on="text"),
        Table([_value_row(entry, key) for key in GROUPS[group] if key in entry.values], on="page"),
    ]


def feed_section() -> Section:
    """The feeds of the library, pellet or natural."""
    parts: list[Part] = [Table(feed_rows(), gap=True), points(feed_cautions(), "background")]
    return Section("feeds", parts, "Feeds of the library, pellet or natural", topics=("fish",))


def fish_data(species: str | None, folder: Path | None = None) -> Any:
    """Answer of `fish` as plain data.

    Parameters
    ----------
    species, folder
        As for `fish_answer`.

    Returns
    -------
    list or dict
        A row for each species, or one species with its facts and every value: number, unit, range, topic, source, how
        much of the source was read, and whether it is weak (memory, common practice or a guess).

    Raises
    ------
    ParameterError
        If the species is unknown.
    """
    if species is None:
        return [_row(load_species(name)) for name in species_names()]
    entry = load_species(species, folder)
    feed = load_feed(entry.facts["fitted_with_feed"], folder)
    topic = {key: group for group, keys in GROUPS.items() for key in keys}
    data = _row(entry) | {
        "facts": facts(entry),
        "never_because": entry.facts.get("never_because", ""),
        "fitted_with_feed": entry.facts["fitted_with_feed"],
        "fitted_with_feed_kind": feed_kind(feed),
        "caution": entry.facts.get("caution", ""),
        "wild_caution": entry.facts.get("wild_caution", ""),
        "trials": None
        if entry.trials is None
        else asdict(entry.trials) | {"says": trials_sentence(entry.trials), "warning": trials_warning(entry.trials)},
        "strains": {
            name: {
                "title": strain.title,
                "appetite": strain.appetite,
                "source": entry.sources[strain.source].cite,
                "read": entry.sources[strain.source].read,
                "where": strain.where,
            }
            for name, strain in entry.strains.items()
        },
        "values": {
            key: {
                "value": value.value,
                "unit": value.unit,
                "range": None if value.low is None else [value.low, value.high],
                "use": value.use,
                "topic": topic[key],
                "is_weak": entry.is_weak(key),
                "source": entry.sources[value.source].cite,
                "read": entry.sources[value.source].read,
                "where": value.where,
            }
            for key, value in entry.values.items()
        },
    }
    return marked(data, entries=(entry, feed))


def _row(entry: Entry) -> dict[str, Any]:
    return {
        "species": entry.name,
        "title": entry.title,
        "latin": entry.facts["latin"],
        "evidence": entry.evidence,
        "company_evidence": entry.facts["company_evidence"],
        "like": entry.facts.get("like"),
        "body_form": entry.facts["body_form"],
        "temper": entry.facts["temper"],
        "never_with": list(never_with(entry)),
        "summary": entry.summary,
        "growth_temperature_c": [entry["growth_temperature_low"], entry["growth_temperature_high"]],
        "temperature_limits_c": [entry["temperature_low_limit"], entry["temperature_high_stress"]],
        "density_kg_m3": [entry["density_cautious"], entry["density_experienced"]],
        "density_means": [density_meaning(entry, level) for level in ("cautious", "experienced")],
    }


def facts(entry: Entry) -> list[str]:
    """What a species file says in words beside its numbers, one sentence each: evidence, likeness, temper and body,
    whom never to join it with, the feed it was fitted with, published trials, strains. Cautions stand apart."""
    weak = sum(entry.is_weak(key) for key in entry.values)
    words = [
        f"Evidence is {entry.evidence} for growth and water, {entry.facts['company_evidence']} for tankmates and "
        "sizes; "
        f"{weak} of {len(entry.values)} values are weak: memory, common practice or a guess."
    ]
    if "like" in entry.facts:
        base = load_species(entry.facts["like"]).title.lower()
        words.append(
            f"Likened to {base}: it takes {base}'s values, in a wider band, wherever nothing of its own was read."
        )
    words.append(f"Temper: {_TEMPERS[entry.facts['temper']]}. As prey its body is {entry.facts['body_form']}.")
    if never_with(entry):
        others = ", ".join(name.replace("_", " ") for name in never_with(entry))
        words.append(f"Never with {others}. {entry.facts['never_because']}")
    feed = entry.facts["fitted_with_feed"]
    words.append(f"Its appetite is that on the feed {feed} ({feed_kind(load_feed(feed))}).")
    told = entry.facts.get("deaths_caution")
    words += filter(None, [trials_sentence(entry.trials), trials_warning(entry.trials), told, band_sentence(entry)])
    words += [
        f'Strain {name} (`strain = "{name}"` in the site file): {strain.title}; eats {strain.appetite:g} times what is '
        "shown here."
        for name, strain in entry.strains.items()
    ]
    return words


def band_sentence(entry: Entry) -> str:
    """How much more or less than told a trial of a species may eat, in a sentence; "" where its file has no range."""
    scale = entry.values["intake_scale"]
    if scale.low is None or scale.high is None:
        return ""
    least, most = scale.low / scale.value, scale.high / scale.value
    return f"Nine trials in ten of it are expected to eat {least:.2f} to {most:.1f} times what is shown here."


def value_rows(entry: Entry) -> dict[str, list[dict[str, str]]]:
    """Rows of a species' values by topic, each with its range, source and grade; a weak one says so. A topic without
    values is left out."""
    groups = {}
    for group, keys in GROUPS.items():
        rows = [_value_row(entry, key) for key in keys if key in entry.values]
        if rows:
            groups[group] = rows
    return groups


def _value_row(entry: Entry, key: str) -> dict[str, str]:
    value = entry.values[key]
    source = entry.sources[value.source]
    return {
        "value": key.replace("_", " "),
        "number": f"{value.value:g} {value.unit}".removesuffix(" -"),
        "range": "" if value.low is None else f"{value.low:g} to {value.high:g}",
        "grade": f"weak: {source.read}" if entry.is_weak(key) else source.read,
        "source": source.cite,
        "where": "; ".join(filter(None, [MEANINGS.get(key, ""), value.where])),
    }


def feed_rows() -> list[dict[str, str]]:
    """A row for each feed: kind, energy and protein; natural food is told per g as given, wet."""
    return [
        {
            "feed": name,
            "kind": feed_kind(entry),
            "evidence": entry.evidence,
            "MJ/kg": f"{entry['digestible_energy']:.1f}",
            "protein %": f"{100.0 * entry['protein']:.0f}",
            "dry %": f"{100.0 * entry['dry_matter']:.0f}",
            "name": entry.title,
        }
        for name, entry in ((name, load_feed(name)) for name in feed_names())
    ]


def feed_cautions() -> list[str]:
    """Cautions of the feeds that have one, one text each."""
    entries = (load_feed(name) for name in feed_names())
    return [f"{entry.title}: {entry.facts['caution']}" for entry in entries if "caution" in entry.facts]


def _list_row(row: dict[str, Any], units: str) -> dict[str, str]:
    """A species among all."""

    def span(key: str, dimension: str) -> str:
        return "-".join(f"{to_face(end, dimension, units):.3g}" for end in row[key])

    degrees = face_unit("temperature", units)
    return {
        "species": row["species"],
        "evidence": row["evidence"],
        "tankmates": row["company_evidence"],
        f"grows at {degrees}": span("growth_temperature_c", "temperature"),
        f"tolerates {degrees}": span("temperature_limits_c", "temperature"),
        face_unit("density", units): span("density_kg_m3", "density"),
        "name": f"{row['title']} ({row['latin']})" + (f", like {row['like']}" if row["like"] else ""),
    }


def _text_row(entry: Entry, key: str) -> dict[str, str]:
    """A value as a narrow row."""
    value, row = entry.values[key], _value_row(entry, key)
    return {
        "value": key,
        "number": f"{value.value:g}",
        "unit": value.unit,
        "range": row["range"],
        "grade": row["grade"],
        "source": _short(row["source"], 70),
        "where": _short(row["where"], 90),
    }


def _short(text: str, length: int) -> str:
    return text if len(text) <= length else text[: length - 3] + "..."


# --- what the commands about fish and water answer, as data and as text

# an unfed fish that has lost half of its weight counts as starved (engineering judgement of this project, no source)
