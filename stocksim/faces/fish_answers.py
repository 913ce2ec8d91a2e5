"""The species library as data, as text and as rows: facts, values by topic, how well each is known."""

from __future__ import annotations

from typing import Any

from stocksim.errors import Fault, InputError
from stocksim.faces.marks import marked
from stocksim.faces.tables import text_table
from stocksim.faces.wrapping import wrapped
from stocksim.library.feeds import feed_kind, feed_names, load_feed
from stocksim.library.sources import Entry
from stocksim.library.species import load_species, never_with, species_names

# Every value of a species file stands in one of these; tests/test_fish_answers.py sees to it.
GROUPS = {
    "Appetite and growth": (
        "intake_scale", "intake_exponent", "appetite_optimum", "appetite_upper_zero", "appetite_q10",
        "no_feeding_below", "cold_ramp_width", "appetite_males", "appetite_females", "maintenance_at_20",
        "maintenance_q10_cold", "maintenance_q10_warm", "growth_efficiency", "fasting_loss_fraction", "body_energy",
        "body_protein",
    ),
    "Limits of water and density": (
        "growth_temperature_low", "growth_temperature_high", "temperature_low_limit", "temperature_high_stress",
        "temperature_high_lethal", "temperature_change_per_day", "oxygen_recommended", "oxygen_lethal",
        "unionized_ammonia_design", "unionized_ammonia_acute", "nitrite_limit", "chloride_protects",
        "nitrate_caution", "density_cautious", "density_experienced",
    ),
    "Company and sizes": (
        "prey_share_deep", "prey_share_slender", "size_spread", "length_weight_intercept", "length_weight_slope",
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
    "size_spread": "standard deviation over mean weight, batch not graded",
    "temperature_change_per_day": "let the water change by no more than this a day",
    "feed_training_days": "days without growth until wild fish live on pellets",
    "feed_training_loss": "share of wild adults lost in that time",
    "appetite_males": "times the appetite of a mixed batch, males alone",
    "appetite_females": "times the appetite of a mixed batch, females alone",
    "largest_weight": "heaviest that we know of; site files with heavier fish are asked about",
    "nitrate_caution": "as nitrogen; a caution, not a limit of the model",
    "chloride_protects": "1: chloride keeps nitrite out; 0: it does not, or nobody knows",
}
_TEMPERS = {
    "calm": "calm",
    "nips": "nips at fins",
    "territorial": "territorial, the strong bite the weak",
    "hunts": "hunts other fish",
}
_FEWEST_DAYS, _MOST_DAYS = 10, 1000  # our choice: what a chart of one fish shows well


def days_of_typed(typed: str) -> int:
    """Days that one fish is followed, of what was typed; raises InputError where that is no number of days."""
    met = typed.strip()
    if not met.isascii() or not met.isdigit() or not _FEWEST_DAYS <= int(met[:9]) <= _MOST_DAYS:
        message = f'"{met}" is not allowed; write a whole number from {_FEWEST_DAYS} to {_MOST_DAYS:,}, as 243.'
        raise InputError([Fault("", "Days", message)])
    return int(met)


def fish_answer(species: str | None) -> Any:
    """Answer of `fish`.

    Parameters
    ----------
    species : str or None
        Key of a species; None for a list of all.

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
    entry = load_species(species)
    feed = load_feed(entry.facts["fitted_with_feed"])
    topic = {key: group for group, keys in GROUPS.items() for key in keys}
    data = _row(entry) | {
        "facts": facts(entry),
        "never_because": entry.facts.get("never_because", ""),
        "fitted_with_feed": entry.facts["fitted_with_feed"],
        "fitted_with_feed_kind": feed_kind(feed),
        "caution": entry.facts.get("caution", ""),
        "wild_caution": entry.facts.get("wild_caution", ""),
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
    }


def facts(entry: Entry) -> list[str]:
    """What a species file says in words beside its numbers, one sentence each: evidence, likeness, temper and body,
    whom never to join it with, the feed it was fitted with. Cautions stand apart."""
    weak = sum(entry.is_weak(key) for key in entry.values)
    words = [
        f"Evidence is {entry.evidence} for growth and water, {entry.facts['company_evidence']} for company and sizes; "
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
    words.append(f"Its appetite is told for the feed {feed} ({feed_kind(load_feed(feed))}).")
    return words


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
            "name": entry.title,
        }
        for name, entry in ((name, load_feed(name)) for name in feed_names())
    ]


def feed_cautions() -> list[str]:
    """Cautions of the feeds that have one, one text each."""
    entries = (load_feed(name) for name in feed_names())
    return [f"{entry.title}: {entry.facts['caution']}" for entry in entries if "caution" in entry.facts]


def fish_text(answer: Any) -> str:
    """Printed answer of `fish`."""
    if isinstance(answer, list):
        table = text_table(
            [
                {
                    "species": row["species"],
                    "evidence": row["evidence"],
                    "company": row["company_evidence"],
                    "grows at degC": "{:g}-{:g}".format(*row["growth_temperature_c"]),
                    "bears degC": "{:g}-{:g}".format(*row["temperature_limits_c"]),
                    "kg/m3": "{:g}-{:g}".format(*row["density_kg_m3"]),
                    "name": f"{row['title']} ({row['latin']})" + (f", like {row['like']}" if row["like"] else ""),
                }
                for row in answer
            ]
        )
        words = wrapped(
            "(evidence: of growth and water; company: of sizes and of who may share a tank. Feeds, as given; natural "
            "food is wet.)"
        )
        lines = [table, *words, "", text_table(feed_rows())]
        for caution in feed_cautions():
            lines += wrapped(f"- {caution}", "  ")
        return "\n".join(lines)
    lines = [f"{answer['title']} ({answer['latin']}), evidence {answer['evidence']}", ""]
    lines += wrapped(answer["summary"])
    lines += [line for fact in answer["facts"] for line in wrapped(f"- {fact}", "  ")]
    for head, key in (("Caution", "caution"), ("Wild-caught", "wild_caution")):
        if answer[key]:
            lines += wrapped(f"{head}: {answer[key]}", "  ")
    for group in GROUPS:
        rows = [_text_row(key, value) for key, value in answer["values"].items() if value["topic"] == group]
        if rows:
            lines += ["", f"{group}:", text_table(rows)]
    return "\n".join(lines)


def _text_row(key: str, value: dict[str, Any]) -> dict[str, str]:
    return {
        "value": key,
        "number": f"{value['value']:g}",
        "unit": value["unit"],
        "range": "" if value["range"] is None else "{:g} to {:g}".format(*value["range"]),
        "grade": f"weak: {value['read']}" if value["is_weak"] else value["read"],
        "source": _short(value["source"], 70),
        "where": _short("; ".join(filter(None, [MEANINGS.get(key, ""), value["where"]])), 90),
    }


def _short(text: str, length: int) -> str:
    return text if len(text) <= length else text[: length - 3] + "..."
