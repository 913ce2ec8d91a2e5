"""Who may share a tank or a loop, in sentences."""

from __future__ import annotations

import math
from collections.abc import Callable

from stocksim.answers.tankmates.decide import Company, Ground, Pair, WildCohort
from stocksim.answers.tankmates.loops import Fit, LoopCompany, LoopPair, Resident
from stocksim.faces.words import day_words
from stocksim.fish.company import VERDICTS
from stocksim.fish.growth import GOOD_GROWTH_SHARE
from stocksim.library.species import never_with
from stocksim.site.notes import own_files
from stocksim.site.reading import Site
from stocksim.units import face_unit, format_fish_length, format_quantity, in_units, to_face

SIGNS = dict(zip(VERDICTS, ("+", "~", "X"), strict=True))
PAGE_SIGNS = dict(zip(VERDICTS, ("✓", "~", "✗"), strict=True))
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
NO_SOURCE = (
    "No published source that we read advises warm-water and cool-water fish in one loop: in one water one of them "
    "gives up growth, or health."
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


def window_sentence(pair: Pair | LoopPair, one: str, other: str, units: str) -> str:
    """The growth windows of two species, that do not overlap."""
    both = " and ".join(
        f"{name_words(name)} keeps {_GOOD} % of its best growth at {window_words(*window, units)}"
        for name, window in ((one, pair.grows_a), (other, pair.grows_b))
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
        Of `stocksim.answers.tankmates.decide`.
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
        return window_sentence(pair, pair.species_a, pair.species_b, units)
    if ground.key in _OF_SPECIES:
        return _OF_SPECIES[ground.key](pair.species_a, pair.species_b, site, units)
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
_OF_SPECIES: dict[str, Callable[[str, str, Site, str], str]] = {
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


def matrix_words(company: Company) -> str:
    """How to read the matrix of a page."""
    day = day_words(company.season.dates[0])
    return (
        "✓ together, ~ with care, ✗ apart; an ink border: they share a tank now. A date: from when the verdict holds, "
        f"if not from the first day both are here (season from {day}). {SHORT_KEY}"
    )


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
        Of `stocksim.answers.tankmates.decide`.
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


def cautions(company: Company) -> list[str]:
    """What to keep in mind: each species' caution, the law.

    Parameters
    ----------
    company : Company
        Of `stocksim.answers.tankmates.decide`.

    Returns
    -------
    list of str
        Sentences.
    """
    site = company.season.site
    by_caution: dict[str, list[str]] = {}
    for entry in site.species.values():
        by_caution.setdefault(entry.facts.get("caution", ""), []).append(entry.title)
    said = [f"{', '.join(titles)}: {words}" for words, titles in by_caution.items() if words]
    return [*said, *CAUTIONS]


def assumptions(company: Company) -> list[str]:
    """On what evidence this stands, and own files, one sentence each."""
    site = company.season.site
    said = [EVIDENCE, *own_files(site.species, site.feeds)]
    grown: dict[str, list[str]] = {}
    for key, entry in site.species.items():
        grown.setdefault(entry.evidence, []).append(name_words(key))
    return said + [f"Growth values: evidence {grade} for {', '.join(keys)}." for grade, keys in grown.items()]


# --- who may share a loop: what each species gives up in its water, and what could be done instead, in sentences

_MOST_FITTING = 6
RESIDENT_WORDS = (
    "Days here; cold, warm: days outside the growth window; limits: days it cannot tolerate. Growth: gain here at "
    "full appetite against the gain at the species' own best temperature all the time; rough, and blind to crowding "
    "and poor water."
)


def loop_sentences(pair: LoopPair, site: Site, units: str, is_brief: bool = False) -> list[str]:
    """What speaks against two species in one loop, and what each keeps at the water kindest to both.

    The days outside a growth window are left out where that is brief: `resident_rows` tells them.
    """
    said = []
    for obstacle in pair.obstacles:
        if is_brief and obstacle.key == "season_outside_growth":
            continue
        if obstacle.key == "narrow_growth_window":
            said.append(window_sentence(pair, pair.a, pair.b, units))
        elif obstacle.key in _OF_SPECIES:
            said.append(_OF_SPECIES[obstacle.key](pair.a, pair.b, site, units))
        elif obstacle.key == "no_common_water":
            said.append("No water suits both.")
        else:
            when = f", first on {day_words(obstacle.date)}" if obstacle.date else ""
            name = name_words(obstacle.who)
            grows = pair.grows_a if obstacle.who == pair.a else pair.grows_b
            said.append(
                outside_sentence(name, obstacle.key, obstacle.who, obstacle.number, 0, site, units, when, grows)
            )
    if not math.isnan(pair.kindest_c):
        said.append(
            f"At the best shared temperature, {format_quantity(pair.kindest_c, 'temperature', units)}, "
            f"{name_words(pair.a)} keeps {100.0 * pair.share_a:.0f} % and {name_words(pair.b)} "
            f"{100.0 * pair.share_b:.0f} % of its best daily growth (rough)."
        )
    return said


def water_words(loop: LoopCompany, units: str) -> str:
    """The water of a loop over the season, as ``water 53.9 degF to 64.9 degF``."""
    low, high = (format_quantity(end, "temperature", units) for end in (loop.lowest_c, loop.highest_c))
    return f"water {low}" if low == high else f"water {low} to {high}"


def growth_words(resident: Resident) -> str:
    """Growth of a species in a loop's water against its own best, roughly."""
    if math.isnan(resident.growth_share):
        return "-"
    return "loses weight" if resident.growth_share < 0.0 else f"about {100.0 * resident.growth_share:.0f} %"


def loss_sentences(company: Company) -> list[str]:
    """Fish that tankmates are expected to eat, by tank and cohort.

    Parameters
    ----------
    company : Company
        Of `stocksim.answers.tankmates.decide`.

    Returns
    -------
    list of str
        A sentence each, the most fish first; empty where nobody is eaten.
    """
    said = []
    for loss in company.losses:
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


def resident_rows(loop: LoopCompany, site: Site, units: str) -> list[dict[str, str]]:
    """A row for each species of a loop: what it gives up in its water; keys are the column heads."""
    return [
        {
            "species": name_words(resident.species),
            "grows at": window_words(resident.grows_from_c, resident.grows_to_c, units),
            "days": str(resident.days),
            "cold": str(resident.days_cold),
            "warm": str(resident.days_warm),
            "limits": str(resident.days_outside),
            "growth": growth_words(resident),
        }
        for resident in loop.residents
    ]


def _fits_words(fits: list[Fit]) -> str:
    """Species by the share of days that suits them, as ``perch, bass (all days), trout (84 % of days)``."""
    by_share: dict[str, list[str]] = {}
    for fit in fits:
        share = "all days" if fit.share > 0.995 else f"{100.0 * fit.share:.0f} % of days"
        by_share.setdefault(share, []).append(name_words(fit.species))
    return ", ".join(f"{', '.join(names)} ({share})" for share, names in by_share.items())


def loop_offers(loop: LoopCompany, site: Site, units: str) -> list[str]:
    """What could be done instead, where species of a loop do not suit each other.

    Parameters
    ----------
    loop : LoopCompany
        Of `stocksim.answers.tankmates.loops`.
    site : Site
        Its site.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    list of str
        Sentences; only the species that fit the water where nothing is amiss.
    """
    said = []
    if len(loop.partitions) > 1:
        parts = "; ".join(
            f"{' and '.join(name_words(s) for s in part.species)} at {window_words(part.low_c, part.high_c, units)}"
            for part in loop.partitions
        )
        loops = "A second loop" if len(loop.partitions) == 2 else f"{len(loop.partitions)} loops"
        said.append(f"{loops}, so that each has its own water: {parts}.")
    elif loop.partitions:
        part = loop.partitions[0]
        inside = window_words(part.low_c, part.high_c, units)
        said.append(f"One loop can serve them all, kept at {inside}: another temperature, not a second loop.")
    for name in dict.fromkeys(fit.loop for fit in loop.other_loops):
        fits = _fits_words([fit for fit in loop.other_loops if fit.loop == name])
        said.append(f"The site's own loop {name}, whose water is in the growth window of {fits}.")
    spells = [spell for spell in loop.spells if spell.first is not None and spell.last is not None]
    without = [name_words(spell.species) for spell in loop.spells if spell.first is None]
    if spells:
        here = "; ".join(
            f"{name_words(spell.species)} from {day_words(spell.first)} to {day_words(spell.last)}"
            for spell in spells
            if spell.first and spell.last
        )
        said.append(
            f"A swap by season, each while this water suits it: {here}"
            + (f"; for {', '.join(without)} this season has no such four weeks." if without else ".")
        )
    elif loop.spells:
        said.append("A swap by season does not help here: this season's water suits none of them for four weeks.")
    if loop.fitting:
        fits = _fits_words(list(loop.fitting[:_MOST_FITTING]))
        said.append(f"Species whose growth window holds this water: {fits}. Then check who eats or bites whom.")
    else:
        said.append("No species of the library has this water in its growth window on half of the days.")
    return said
