"""Who may share a tank, in words that questions share: reasons for and against, wild fish, fish that are eaten."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from stocksim.engine.results.company import Ground, Pair, TankLoss, WildCohort
from stocksim.faces.words import day_words
from stocksim.fish.growth import GOOD_GROWTH_SHARE
from stocksim.library.sources import EVIDENCE_GRADES, Entry
from stocksim.library.species import never_with
from stocksim.site.reading import Site
from stocksim.units import face_unit, format_fish_length, in_units, to_face

# One word a reason for a cell of the matrix.
SHORT = {
    "never_by_rule": "never", "no_common_water": "water", "season_outside_limits": "water", "fits_mouth": "eaten",
    "siblings": "eaten", "larger_kin": "sizes", "nearly_fits": "nearly", "wild_caught": "wild",
    "narrow_growth_window": "warmth", "oxygen_class": "oxygen",
    "hunters_together": "hunters", "hunter_beside": "hunter", "territories_clash": "territory",
    "territory_holder_beside": "territory", "fins_nipped": "fins", "season_outside_growth": "growth",
}  # fmt: skip
SHORT_KEY = (
    "eaten: one eats the other; nearly: nearly small enough to eat; sizes: larger kin eat first; "
    "never: never to be mixed; water: too cold or too warm to live; "
    "warmth: no common growth window; growth: out of its growth window most days; oxygen: unlike needs; "
    "territory, hunter, fins: temper; wild: caught in the wild."
)
_TEMPERS = {
    "hunters_together": "Both hunt: fish of one size only, fed well and often, graded early.",
    "hunter_beside": "{hunter} hunt and may chase the others off their feed: give cover, feed at several places.",
    "territories_clash": "Both hold territories and bite: give much cover, more fish rather than few, and feed well.",
    "territory_holder_beside": "{holder} hold territories and may bite: give cover and feed at several places.",
    "fins_nipped": "{nipper} may nip fins or bite when hungry: feed well and look at fins weekly.",
}
_MOST_BRIEF = 2
_GOOD = f"{100.0 * GOOD_GROWTH_SHARE:.0f}"
_NONE_EATEN = "None is small enough for another to eat, by the spread of their sizes."
_NOTHING = "Nothing that the rules know speaks against it."
EVIDENCE = (
    "Evidence weak for all of this: lengths come from weights, what a mouth takes and tempers from few and "
    "mostly unread sources, "
    "or none, and the rule itself is ours. Watch new tankmates daily for two weeks."
)
LOSS_NOTE = (
    "Known to a factor of three at best: it follows sizes and appetite and knows no cover, light or habit. These fish "
    "are among the season's deaths; what their hunters gain by them is not counted."
)
CAUTIONS = (
    "Many of these fish are regulated: buying, catching, keeping, moving and selling may need a permit where you live. "
    "Ask the local authority first; never release fish, eggs or system water.",
    "Fish that share a loop share its water and so its diseases and parasites, whatever tank they are in. Quarantine "
    "every new batch off the loop; for sick fish ask a fish health professional.",
)
_FOR_ALL = "Never release"  # how the sentence of a species begins that stands among those for all
_WILD = (
    "Wild fish may carry parasites and disease. Keep them for some weeks in a quarantine tank off the loop, and ask "
    "the local authority whether catching and keeping them is allowed."
)


def name_words(key: str) -> str:
    """A cohort's or species' key as a keeper reads it."""
    return key.replace("_", " ")


def window_words(low_c: float, high_c: float, units: str) -> str:
    """A window of temperature, as ``64-77 degF``."""
    low, high = (to_face(end, "temperature", units) for end in (low_c, high_c))
    return f"{low:.0f}-{high:.0f} {face_unit('temperature', units)}"


def chance_words(chance: float) -> str:
    """A share of pairs of fish in words."""
    return "nearly every pair" if chance > 0.985 else f"up to {max(100.0 * chance, 1.0):.0f} of 100 pairs"


def dates_words(ground: Ground, pair: Pair) -> str:
    """When a reason holds, if not on all days judged."""
    if ground.first is None or ground.last is None or (ground.first == pair.first and ground.last == pair.last):
        return ""
    if ground.last == pair.last:
        return f" from {day_words(ground.first)}"
    if ground.first == pair.first:
        return f" until {day_words(ground.last)}"
    return f" from {day_words(ground.first)} to {day_words(ground.last)}"


def window_sentence(grows: Sequence[tuple[str, tuple[float, float]]], units: str) -> str:
    """The growth windows of species, that do not overlap, each with its name. [degC]"""
    both = " and ".join(
        f"{name_words(name)} keeps {_GOOD} % of its best growth at {window_words(*window, units)}"
        for name, window in grows
    )
    return f"No water lets both grow well: {both}."


def outside_sentence(
    name: str, key: str, species: str, share: float, days: int, site: Site, units: str, when: str = "",
    grows: tuple[float, float] = (math.nan, math.nan),
) -> str:  # fmt: skip
    """That a species is outside its limits or its growth window on so many days."""
    entry = site.species[species]
    most = (
        "all days"
        if share > 0.995
        else f"{days} days{when}"
        if days
        else f"{max(100.0 * share, 1.0):.0f} % of days{when}"
    )
    if key == "season_outside_limits":
        window = window_words(entry["temperature_low_limit"], entry["temperature_high_stress"], units)
        return f"The water is outside what {name} tolerates ({window}) on {most}."
    return f"The water is outside the growth window of {name} ({window_words(*grows, units)}) on {most}."


def ground_sentence(ground: Ground, pair: Pair, site: Site, units: str) -> str:
    """A reason against a pair as a sentence or two.

    Parameters
    ----------
    ground : Ground
        One of the pair's grounds.
    pair : Pair
        Of `stocksim.engine.results.company`.
    site : Site
        Its site, for the species' values and words.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    str
        With names, numbers and dates.
    """
    species = {pair.a: pair.species_a, pair.b: pair.species_b}
    who, whom = name_words(ground.who), name_words(ground.whom)
    when = dates_words(ground, pair)
    if ground.key in ("fits_mouth", "nearly_fits"):
        sizes = (
            f"{format_fish_length(ground.who_mm, units)} against {format_fish_length(ground.whom_mm, units)} on average"
        )
        if ground.first is not None:
            sizes += f" on {day_words(ground.first)}"
        if ground.key == "fits_mouth":
            if pair.a == pair.b:
                return (
                    f"{who} eat their own: among them the larger swallow the smaller in "
                    f"{chance_words(ground.number)}{when}. Grade by size early and often, feed well."
                )
            return f"{who} can swallow {whom}{when}: {sizes}, {chance_words(ground.number)} fit."
        if pair.a == pair.b:
            return f"The larger {who} come near to swallowing the smaller{when}: grade by size, feed well."
        return f"{whom} are hardly longer than what {who} swallow{when}: {sizes}. Check sizes monthly, grade."
    if ground.key == "siblings":
        until = format_fish_length(ground.whom_mm, units)
        return (
            f"Young {name_words(species[ground.who])} eat siblings of nearly their own size{when}, until about "
            f"{until} long: grade every few days, feed often and in plenty, and expect losses all the same."
        )
    if ground.key == "larger_kin":
        return (
            "The larger of one species take the feed first, and the smaller are hardly half as long: they grow less "
            "beside them. Grade."
        )
    if ground.key == "narrow_growth_window":
        return window_sentence([(pair.species_a, pair.grows_a), (pair.species_b, pair.grows_b)], units)
    if ground.key in OF_SPECIES:
        return OF_SPECIES[ground.key](pair.species_a, pair.species_b, site, units)
    if ground.key == "no_common_water":
        both = " and ".join(
            f"{name_words(s)} tolerates "
            + window_words(site.species[s]["temperature_low_limit"], site.species[s]["temperature_high_stress"], units)
            for s in (pair.species_a, pair.species_b)
        )
        return f"No water suits both: {both}."
    if ground.key in ("season_outside_limits", "season_outside_growth"):
        grows = pair.grows_a if ground.who == pair.a else pair.grows_b
        return outside_sentence(
            who, ground.key, species[ground.who], ground.number, ground.days, site, units, when, grows
        )  # fmt: skip
    if ground.key == "wild_caught":
        return f"{who} are wild-caught: weeks in a quarantine tank off the loop before they meet any other fish."
    return _temper_sentence(ground, species, site)


def rule_words(one: str, other: str, site: Site, units: str) -> str:
    """Why two species are never mixed, in their file's own words."""
    holder = one if other in never_with(site.species[one]) else other
    return f"Never mixed by rule: {in_units(site.species[holder].facts['never_because'], units)}"


def oxygen_sentence(one: str, other: str, site: Site, units: str) -> str:
    """That two species need unlike levels of oxygen."""
    needs = sorted(((site.species[s]["oxygen_recommended"], s) for s in (one, other)), reverse=True)
    (high, needier), (low, easier) = needs
    return (
        f"{name_words(needier)} needs {high:g} mg/L of oxygen, {name_words(easier)} {low:g}: aerate for the one that "
        "needs more."
    )


# what speaks against two species wherever they meet
OF_SPECIES: dict[str, Callable[[str, str, Site, str], str]] = {
    "never_by_rule": rule_words, "oxygen_class": oxygen_sentence,
}  # fmt: skip


def _temper_sentence(ground: Ground, species: dict[str, str], site: Site) -> str:
    """What goes wrong between two tempers, with the one that does it."""
    wanted = {"hunter_beside": "hunts", "territory_holder_beside": "territorial", "fins_nipped": "nips"}
    temper = wanted.get(ground.key, "")
    doers = [name_words(c) for c in (ground.who, ground.whom) if site.species[species[c]].facts["temper"] == temper]
    doer = " and ".join(doers)
    return _TEMPERS[ground.key].format(hunter=doer, holder=doer, nipper=doer)


def pair_sentences(pair: Pair, site: Site, units: str, is_brief: bool = False) -> list[str]:
    """All reasons of a pair, the gravest first, or two of the gravest; a sentence of its own where there is none."""
    grounds = [ground for ground in pair.grounds if not is_brief or ground.verdict == pair.verdict]
    said = [ground_sentence(ground, pair, site, units) for ground in grounds[: _MOST_BRIEF if is_brief else None]]
    return said or [_NONE_EATEN if pair.a == pair.b else _NOTHING]


def cell_word(pair: Pair) -> str:
    """The gravest reason of a pair in one word."""
    return SHORT[pair.grounds[0].key] if pair.grounds else ""


def pair_when(pair: Pair) -> str:
    """From when to when a pair's verdict holds."""
    if pair.date is None or pair.until is None:
        return "never here together; by the sizes each starts with"
    end = "" if pair.until == pair.last else f" to {day_words(pair.until)}"
    return f"from {day_words(pair.date)}{end}"


def pair_title(pair: Pair) -> str:
    """The names of a pair."""
    within = pair.a == pair.b
    return f"{name_words(pair.a)} among themselves" if within else f"{name_words(pair.a)} + {name_words(pair.b)}"


def wild_sentence(wild: WildCohort, site: Site) -> str:
    """What to expect of a wild-caught cohort, and its species' caution.

    Parameters
    ----------
    wild : WildCohort
        Of `stocksim.engine.results.company`.
    site : Site
        Its site.

    Returns
    -------
    str
        Some sentences.
    """
    name = name_words(wild.cohort)
    if wild.is_trained:
        training = "They are entered as trained to pellets."
    else:
        lost = wild.fish * wild.training_loss
        training = (
            f"Learning pellets takes about {wild.training_days:.0f} days without growth, costs about "
            f"{100.0 * wild.training_loss:.0f} % of them ({lost:.0f} of {wild.fish:.0f}) and leaves feed uneaten "
            "(roughly known)."
        )
    caution = in_units(site.species[wild.species].facts.get("wild_caution", _WILD), site.file.site.units)
    return (
        f"{name} ({name_words(wild.species)}) are wild-caught and start in tank {wild.tank} of loop {wild.loop}: "
        f"a quarantine tank off the loop comes first. {training} {caution}"
    )


def loss_sentences(losses: Sequence[TankLoss]) -> list[str]:
    """Fish that tankmates are expected to eat, by tank and cohort.

    Parameters
    ----------
    losses : sequence of TankLoss
        Of `stocksim.engine.results.company`.

    Returns
    -------
    list of str
        A sentence each, the most fish first; empty where nobody is eaten.
    """
    said = []
    for loss in losses:
        who = " and ".join(
            "the larger of their own" if name == loss.cohort else name_words(name) for name in loss.hunters
        )
        dates = (
            day_words(loss.first) if loss.first == loss.last else f"{day_words(loss.first)} to {day_words(loss.last)}"
        )
        said.append(
            f"Tank {loss.tank}: about {loss.fish:.0f} of {loss.had:.0f} {name_words(loss.cohort)} are eaten"
            f"{f' by {who}' if who else ' by their tankmates'}, {dates}."
        )
    return said


def species_cautions(species: Mapping[str, Entry]) -> list[str]:
    """What each of some species asks to mind, as its law and its danger to others, then what holds for all."""
    by_caution: dict[str, list[str]] = {}
    for entry in species.values():
        by_caution.setdefault(entry.facts.get("caution", ""), []).append(entry.title)
    said = [f"{', '.join(titles)}: {words}" for words, titles in by_caution.items() if words]
    return [*said, *CAUTIONS]


def law_and_care(species: Mapping[str, Entry]) -> list[str]:
    """The same shorter: what is alike for several species once, and what holds for all once."""
    told: dict[str, list[str]] = {}
    for entry in species.values():
        law, *others = entry.facts.get("caution", "").rstrip(".").split(". ")
        for sentence in (law, *(other for other in others if not other.startswith(_FOR_ALL))):
            told.setdefault(sentence, []).append(entry.title)
    return [*(f"{', '.join(titles)}: {sentence}." for sentence, titles in told.items() if sentence), *CAUTIONS]


def mates_rows(pairs: Sequence[Pair]) -> list[dict[str, str]]:
    """A row for each two cohorts that share a tank, and for one that is a danger to itself."""
    return [
        {
            "tank": ", ".join(pair.tanks),
            "fish": pair_title(pair),
            "together": pair.verdict,
            "from": "-" if pair.date is None else day_words(pair.date),
            "why": cell_word(pair) or "-",
        }
        for pair in pairs
        if pair.tanks and (pair.a != pair.b or pair.grounds)
    ]


# --- the same as plain data


def company_evidence(site: Site, *species: str) -> str:
    """The weakest evidence on company of some species."""
    return max((site.species[s].facts["company_evidence"] for s in species), key=EVIDENCE_GRADES.index)


def iso_day(day: dt.date | None) -> str | None:
    """A date as data, None for none."""
    return day.isoformat() if day else None


def finite(value: float, digits: int = 4) -> float | None:
    """A number as data, None where it is none."""
    return round(value, digits) if math.isfinite(value) else None


def pair_data(pair: Pair, site: Site, units: str) -> dict[str, Any]:
    """The verdict on two cohorts, with its reasons."""
    said = pair_sentences(pair, site, units)
    return {
        "a": pair.a,
        "b": pair.b,
        "verdict": pair.verdict,
        "reason": said[0],
        "date": iso_day(pair.date),
        "until": iso_day(pair.until),
        "species_a": pair.species_a,
        "species_b": pair.species_b,
        "shares_tank": bool(pair.tanks),
        "tanks": list(pair.tanks),
        "water_of_loop": pair.loop,
        "growth_window_a_c": [pair.grows_a[0], pair.grows_a[1]],
        "growth_window_b_c": [pair.grows_b[0], pair.grows_b[1]],
        "judged_from": iso_day(pair.first),
        "judged_to": iso_day(pair.last),
        "judged_days": pair.days,
        "evidence": company_evidence(site, pair.species_a, pair.species_b),
        "reasons": [
            {
                "key": ground.key,
                "verdict": ground.verdict,
                "reason": sentence,
                "number": finite(ground.number),
                "who": ground.who,
                "whom": ground.whom or None,
                "date": iso_day(ground.first),
                "until": iso_day(ground.last),
                "days": ground.days,
                "who_length_mm": finite(ground.who_mm, 1),
                "whom_length_mm": finite(ground.whom_mm, 1),
            }
            for ground, sentence in zip(pair.grounds, said, strict=bool(pair.grounds))
        ],
    }


def loss_data(losses: Sequence[TankLoss]) -> list[dict[str, Any]]:
    """Fish that tankmates are expected to eat."""
    return [
        {
            "tank": loss.tank,
            "cohort": loss.cohort,
            "fish": round(loss.fish, 2),
            "of": round(loss.had, 2),
            "date": iso_day(loss.first),
            "until": iso_day(loss.last),
            "hunters": list(loss.hunters),
        }
        for loss in losses
    ]


def wild_data(several: Sequence[WildCohort], site: Site) -> list[dict[str, Any]]:
    """Wild-caught cohorts, and what their training takes."""
    return [
        {
            "cohort": wild.cohort,
            "species": wild.species,
            "tank": wild.tank,
            "loop": wild.loop,
            "is_trained": wild.is_trained,
            "feed_training_days": wild.training_days,
            "feed_training_loss_percent": round(100.0 * wild.training_loss, 1),
            "caution": wild_sentence(wild, site),
        }
        for wild in several
    ]
