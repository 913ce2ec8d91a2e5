"""A feeding ramp in sentences and rows, and what it rests on.

Apart from `answer` for its length.
"""

from __future__ import annotations

import datetime as dt
import math

from stocksim.answers.ramp.climb import LOOKAHEADS_DAYS, MOST_RISE_SHARE, RESERVE_PERCENT
from stocksim.answers.ramp.decide import LoopRamp, Ramp, RampWeek
from stocksim.answers.ramp.fate import EASY_PH, HIGH_PH, MODEST_TAN_MG_L
from stocksim.changes.change import ADVICE_OF
from stocksim.engine.results.findings import Finding
from stocksim.faces.water_cautions import settling_cautions
from stocksim.faces.ways_words import dated_words
from stocksim.faces.words import day_words, level_words
from stocksim.site.kinds import LIMITS, limits_left_by_film
from stocksim.site.notes import own_files
from stocksim.site.reading import Site
from stocksim.units import in_units, parse_quantity
from stocksim.water.maturity import DECAY_AT_20_PER_DAY, OXIDIZERS, STARTS
from stocksim.water.nitrite import CHLORIDE_PER_NITRITE

_LIMITS = {"unionized_ammonia_design": "un-ionized ammonia", "nitrite_limit": "nitrite nitrogen"}


def ramp_sources(site: Site) -> list[str]:
    """Sources of limits, film growth and schedule.

    Parameters
    ----------
    site : Site
        Its species' limits are told from their own files.

    Returns
    -------
    list of str
        One line each; a source that was not read in full says how much of it was.
    """
    return [*_limit_sources(site), *_film_sources(site.file.site.units), *_schedule_sources()]


def _limit_sources(site: Site) -> list[str]:
    """A line for each limit, its species put together by their common source."""
    lines = []
    kept = sorted({cohort.species for cohort in site.file.cohorts.values()})
    for key, name in _LIMITS.items():
        by_source: dict[str, list[str]] = {}
        for species in kept:
            value = site.species[species].values[key]
            source = site.species[species].sources[value.source]
            by_source.setdefault(f"{source.cite} ({source.read})", []).append(f"{species} {value.value:g}")
        told = "; ".join(f"{', '.join(fish)}: {cite}" for cite, fish in by_source.items())
        if told:
            lines.append(f"Limits of {name}, mg/L. {told}. Each value's place: the species' own file.")
    if any(site.species[species]["chloride_protects"] > 0.0 for species in kept):
        lines.append(
            f"Chloride lifts the nitrite limit of fish that it shields: {CHLORIDE_PER_NITRITE:g} times the nitrite "
            "ion, Durborow, Crosby & Brunson 1997, SRAC 462 (text read)."
        )
    return lines


def _film_sources(units: str) -> list[str]:
    ammonia, nitrite = (OXIDIZERS[kind].growth_at_15_per_day for kind in ("ammonia", "nitrite"))
    told = [
        "Un-ionized share of ammonia: Emerson et al. 1975, J. Fish. Res. Board Can. 32, 2379-2383 (formula read as "
        "quoted).",
        f"Growth at 15 degC: ammonia-eating bacteria {ammonia:g} a day, from memory of US EPA 1975, Process Design "
        f"Manual for Nitrogen Control; nitrite-eating bacteria {nitrite:g}, fitted in this project to about four "
        "weeks at 20 "
        "degC (common practice, no source). Both grow as their food, oxygen and alkalinity allow.",
        f"Their decay: {DECAY_AT_20_PER_DAY:g} a day at 20 degC, chosen in this project. A new biofilter starts at "
        f"{100 * STARTS['new']:g} %, a seeded one at {100 * STARTS['seeded']:g} %, a mature one at "
        f"{100 * STARTS['mature']:g} % (assumed).",
    ]
    return [in_units(text, units) for text in told]


def _schedule_sources() -> list[str]:
    days = ", ".join(str(days) for days in LOOKAHEADS_DAYS)
    return [
        f"Rise of {100 * MOST_RISE_SHARE:.0f} % a week at most: 10-20 % is common practice, no source. Reserve of "
        f"{RESERVE_PERCENT:.0f} % and looking {days} days ahead: this project's judgement.",
        f"pH is called the cause above {HIGH_PH:g} with at most {MODEST_TAN_MG_L:g} mg/L of total ammonia nitrogen "
        f"that pH {EASY_PH:g} would make harmless: common practice, no source.",
    ]


# --- a feeding ramp in words: a sentence and one table a loop, cautions, sources

_BOUND = {"rise": "usual weekly rise", "ration": "full ration"}
COPY_WORDS = {
    False: "To run the season with it, write into the site file",
    True: "To run the season with it, fish dying in it as said above, write into the site file",
}
_OUNCE_G = parse_quantity("1 oz", "weight")
CAUTIONS = (
    "Growth of biofilter bacteria is known to a factor of 2. Test ammonia and nitrite before each day's first "
    "feed while the ramp "
    "lasts, and put off the next rise while a test stands above the table or feed is left uneaten.",
    "If a test passes a limit, stop feeding, change water (free of chlorine and chloramine, of the tank's "
    "temperature) and add air. Sick or gasping fish: ask a fish health "
    "professional.",
    "Young and thin fish survive only a short fast; where the table asks for weeks with no feed, have fewer fish there "
    "or seed the filter from a healthy running one.",
)

BRIEF_CARES = (
    "Test ammonia and nitrite before each day's first feed; put a step off while a test is high or feed is left.",
    "A test passes its limit: stop feeding, change water, add air; for sick fish ask a fish health professional.",
)

PH_CARE = (
    "Dose no base while pH stands above 8, test pH and alkalinity first, and change water slowly, at the tank's "
    "temperature and free of chlorine (common practice)."
)

TABLE_WORDS = (
    "Feed is the week's mean, for all fish of the loop at one share of their ration. Levels are the day's "
    "worst, in the tank nearest to its limit, from a run of the season with this schedule; it keeps "
    f"{RESERVE_PERCENT:.0f} % under every limit and rises by {100 * MOST_RISE_SHARE:.0f} % of the full ration "
    "a week at most (common practice)."
)


def _feed_words(grams: float, units: str) -> str:
    """Feed of a day for the kitchen scale, rounded down. Metric in g, US customary in oz."""
    if units == "us":
        return f"{math.floor(10.0 * grams / _OUNCE_G) / 10.0:.1f} oz/day"
    return f"{math.floor(grams)} g/day"


def _held(loop: LoopRamp) -> tuple[list[RampWeek], dt.date | None]:
    """Weeks before the first change of the share, and the day of that change."""
    changes = [number for number, week in enumerate(loop.weeks) if week.share != loop.weeks[0].share]
    if not changes:
        return list(loop.weeks), None
    return list(loop.weeks[: changes[0]]), loop.weeks[changes[0]].start


def loop_sentence(loop: LoopRamp, units: str) -> str:
    """What to do in a loop, in a few words.

    Parameters
    ----------
    loop : LoopRamp
        Of `stocksim.answers.ramp.decide`.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    str
        As ``Loop main: hold feed at 210 g/day until 14 Nov 2026, then ...``.
    """
    name = f"Loop {loop.loop}"
    if not loop.has_fish:
        return f"{name}: no fish are fed here."
    if not loop.is_offered and loop.weeks:
        return f"{name}: {_lost_words(loop, units)}"
    if not loop.weeks and loop.full_from is None and loop.still_broken:
        first = loop.still_broken[0]
        return (
            f"{name}: no schedule helps: with the file's full ration {_death_words(loop)}. There "
            f"{_broken_words(first)}.{_full_ration_words(loop, units)}"
        )
    if not loop.weeks and loop.full_from is None:
        return (
            f"{name}: no ramp is worked out. Ammonia and nitrite stay under every limit with the file's full ration, "
            f"but {_death_words(loop)}: look for the cause among the season's other limits."
        )
    if not loop.weeks:
        holds = day_words(loop.full_from or dt.date.min)
        sentence = f"{name}: no ramp needed: by the model the file's full ration holds from {holds}."
        if loop.still_broken:
            sentence = (
                f"{name}: on {holds} and in the weeks after it the biofilter takes the file's full ration without a "
                "ramp."
            )
    else:
        sentence = f"{name}: {_schedule_words(loop, units)}"
    if loop.fate.is_told:
        sentence += f" In its own run {_death_words(loop)}."
    if loop.still_broken:
        first = loop.still_broken[0]
        crowd = ": too many fish for this biofilter" if _is_crowded(loop) else ""
        sentence += f" But even so, {_broken_words(first)}{crowd}."
    return sentence + _full_ration_words(loop, units)


def _schedule_words(loop: LoopRamp, units: str) -> str:
    """The first weeks of the schedule, and where it leads."""
    held, change = _held(loop)
    feed = min(week.feed_g_day for week in held)
    what = f"hold feed at {_feed_words(feed, units)}" if held[0].share > 0.0 else "feed nothing"
    until = "for the weeks of the table" if change is None else f"until {day_words(change - dt.timedelta(days=1))}"
    if loop.full_from is not None:
        full = day_words(loop.full_from)
        holds = "is reached on" if loop.still_broken else "holds from"
        return f"{what} {until}, then follow the table; by the model the full ration {holds} {full}."
    if loop.weeks[-1].share >= 1.0:
        return f"{what} {until}, then follow the table. No day is named from which the full ration holds."
    why = f"; this schedule does not reach the file's full ration, last held back by {_bound(loop.weeks[-1].bound_by)}."
    return f"{what} {until}{why}"


def _lost_words(loop: LoopRamp, units: str) -> str:
    """That the schedule found loses as many fish as none, and what would help."""
    keeps = "keeps these fish" if loop.fate.loses_all else "is worth following"
    words = f"no schedule that was tried {keeps}: with the one found {_death_words(loop)}."
    if loop.still_broken:
        first = loop.still_broken[0]
        words += f" There {_broken_words(first)}."
    else:
        words += " Ammonia and nitrite hold in it, so hunger, or oxygen, is what kills."
    if loop.fate.loses_all:
        words += " Put no fish into water before tests show ammonia and nitrite under their limits (common practice)."
    return f"{words} Its lines for the site file are left out.{_full_ration_words(loop, units)}"


def _death_words(loop: LoopRamp) -> str:
    fate, as_fed = loop.fate, loop.fate_as_fed
    since = f", from {day_words(fate.first_date)}" if fate.first_date else ""
    other = "" if not loop.weeks else f" (fed as the file says, {as_fed.dying:.0f})"
    return f"{fate.dying:.0f} of {fate.fish:.0f} fish die of the water or of hunger{since}{other}"


def _is_crowded(loop: LoopRamp) -> bool:
    """Whether fewer fish help, or nothing does: another change says what is wrong itself, as one of alkalinity."""
    if loop.full_ration is None:
        return True
    kinds = {ADVICE_OF[step.change.kind] for step in loop.full_ration.steps}
    return not kinds.isdisjoint({"stock", "harvest", "move"})


def _full_ration_words(loop: LoopRamp, units: str) -> str:
    """What the season advises for the full ration, with what its run gave; empty where the ramp needs no advice."""
    if not loop.needs_advice:
        return ""
    found = loop.full_ration
    if found is None:
        return (
            " Nothing that was tried for the full ration helps: have fewer fish here, or feed less than the file says."
        )
    steps = "; ".join(dated_words(step, units) for step in found.steps)
    dying = f"{found.fate.dying:.0f} of {found.fate.fish:.0f} fish die of the water or of hunger"
    if found.holds:
        return f" What helps: {steps}. In a run with it and the full ration ammonia and nitrite hold, and {dying}."
    return f" What does most: {steps}. In a run with it and the full ration a limit is still broken, and {dying}."


def ph_sentence(loop: LoopRamp, units: str) -> str:
    """That pH, not the film, brings un-ionized ammonia to its limit, and what helps; empty where it does not."""
    at = loop.ph_binding
    if at is None:
        return ""
    words = (
        f"What binds in loop {loop.loop} is pH: on {day_words(at.date)} un-ionized ammonia is "
        f"{_level(at.unionized_mg_l)} mg/L in tank {at.tank} (keep below {_level(at.limit_mg_l)}) at only "
        f"{at.tan_mg_l:.2f} mg/L of total ammonia nitrogen, because pH is {at.ph:.1f}, with {at.alkalinity_mg_l:.0f} "
        f"mg/L of alkalinity as CaCO3. At pH {EASY_PH:g} the same ammonia would be {_level(at.at_easy_ph_mg_l)} mg/L "
        "un-ionized."
    )
    return f"{words} {PH_CARE}"


def _broken_words(finding: Finding) -> str:
    tank, first = finding.where.split(".")[1], finding.first_date or finding.worst_date
    return (
        f"{LIMITS[finding.limit].name} passes its limit in tank {tank} from {day_words(first)} (up to "
        f"{_level(finding.worst_value)} on {day_words(finding.worst_date)}, "
        f"keep below {_level(finding.threshold)} mg/L)"
    )


def as_fed_sentence(loop: LoopRamp) -> str:
    """What today's fish do to the loop if fed as the file says."""
    broken = [finding for finding in loop.as_fed if finding.is_broken]
    if not broken:
        near = f", but by less than the ramp's reserve of {RESERVE_PERCENT:.0f} %" if loop.needs_ramp else ""
        return f"Fed as the file says, ammonia and nitrite stay under every limit{near}."
    # one sentence for each limit: the tank where it is passed worst
    worst = [
        min(of_limit, key=lambda f: f.margin_percent or 0.0)
        for limit in limits_left_by_film()
        if (of_limit := [f for f in broken if f.limit == limit])
    ]
    dying = loop.fate_as_fed
    dead = f"; {dying.dying:.0f} of {dying.fish:.0f} fish die of the water or of hunger" if dying.is_told else ""
    return f"Fed as the file says, {'; '.join(_broken_words(finding) for finding in worst)}{dead}."


def _bound(by: str) -> str:
    """What holds a week's share down: a limit, or what else bounds it."""
    return LIMITS[by].name if by in LIMITS else _BOUND[by]


def _level(value: float) -> str:
    return "-" if math.isnan(value) else level_words(value, "mg/L", "metric").removesuffix(" mg/L")


def _percent(share: float) -> str:
    return "-" if math.isnan(share) else f"{100.0 * share:.0f} %"


def headline(ramp: Ramp) -> str:
    """Which loops must be fed less for a while, in a sentence."""
    fed = [loop for loop in ramp.loops if loop.has_fish]
    if not fed:
        return "No fish are fed on this day."
    lost = [loop.loop for loop in fed if not loop.is_offered and loop.needs_ramp]
    held = [loop.loop for loop in fed if loop.is_offered and loop.needs_ramp]
    said = [f"No schedule saves the fish of loop {' and '.join(lost)}."] if lost else []
    if held:
        said.append(f"Raise feeding step by step in loop {' and '.join(held)}.")
    if not said and any(loop.needs_advice for loop in fed):
        said.append("Feeding is not what has to be held back; something else harms fish here.")
    return " ".join(said) or "The full ration of the file holds from the first day: no steps are needed."


def step_rows(ramp: Ramp) -> list[dict[str, str]]:
    """A row for each step of the schedules that are worth following, by date."""
    by_loop = {f"loops.{loop.loop}.feeding_ramp": loop.loop for loop in ramp.loops}
    steps = sorted(
        ((step["from"], by_loop[dotted], step["share"]) for dotted, taken in ramp.offered.items() for step in taken),
        key=lambda step: (step[0], step[1]),
    )
    return [
        {"do by": day_words(day), "where": f"loop {loop}", "what": f"Feed {100.0 * share:g} % of the ration"}
        for day, loop, share in steps
    ]


def fate_rows(ramp: Ramp) -> list[dict[str, str]]:
    """A row for each loop with fish: from when it is fed in full, and how many die in both runs."""
    return [
        {
            "loop": loop.loop,
            "fed in full from": day_words(loop.full_from) if loop.full_from else "not reached",
            "fish": f"{loop.fate.fish:.0f}",
            "die with the steps": f"{loop.fate.dying:.0f}" if loop.weeks else "-",
            "die fed as the file says": f"{loop.fate_as_fed.dying:.0f}",
        }
        for loop in ramp.loops
        if loop.has_fish
    ]


def week_rows(loop: LoopRamp, units: str) -> list[dict[str, str]]:
    """A row for each week of the schedule; keys are the column heads."""
    return [
        {
            "week from": day_words(week.start),
            "feed": _feed_words(week.feed_g_day, units),
            "of ration": f"{100.0 * week.share:g} %",
            "of appetite": _percent(week.appetite_fraction),
            "un-ionized mg/L": f"{_level(week.unionized_max_mg_l)} / {_level(week.unionized_limit_mg_l)}",
            "nitrite-N mg/L": f"{_level(week.nitrite_max_mg_l)} / {_level(week.nitrite_limit_mg_l)}",
            "ammonia bacteria": _percent(week.ammonia_maturity),
            "nitrite bacteria": _percent(week.nitrite_maturity),
            "held by": _bound(week.bound_by),
        }
        for week in loop.weeks
    ]


def site_lines(ramp: Ramp) -> list[str]:
    """The schedule as lines of a site file."""
    lines = []
    for dotted, steps in ramp.offered.items():
        table, key = dotted.rsplit(".", 1)
        written = ", ".join(f"{{ from = {step['from']}, share = {step['share']:g} }}" for step in steps)
        lines += [f"[{table}]", f"{key} = [{written}]"]
    return lines


def is_deadly(ramp: Ramp) -> bool:
    """Whether a schedule that is offered loses fish in its own run."""
    return any(f"loops.{loop.loop}.feeding_ramp" in ramp.offered and not loop.fate.keeps_fish for loop in ramp.loops)


def is_table_shown(loop: LoopRamp) -> bool:
    """Whether the weeks are worth a table: not where fish die of them for nothing."""
    return loop.is_offered and bool(loop.weeks) and not loop.fate.loses_all


def cautions(ramp: Ramp) -> list[str]:
    """What to mind beside the schedule, library files of the keeper's own among it."""
    site = ramp.site
    return [*CAUTIONS, *settling_cautions(ramp.proof), *own_files(site.species, site.feeds, site.crops)]
