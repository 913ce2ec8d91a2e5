"""What the commands about a site answer, as data and as text."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from stocksim.changes.change import prove
from stocksim.changes.ways import Advice, advise
from stocksim.engine.results.findings import Finding, by_place
from stocksim.engine.results.frames import Season, loop_of
from stocksim.engine.results.harm import harms
from stocksim.engine.running import run_season
from stocksim.engine.season import Progress
from stocksim.faces.answer import Answer, Chart, Head, Html, Part, Point, Points, Section, Sentences, Table, points
from stocksim.faces.care import cares_beside
from stocksim.faces.change_words import help_words
from stocksim.faces.density_words import density_sentence
from stocksim.faces.fates import (
    event_lines,
    fate_note,
    fate_rows,
    feed_words,
    is_worth_telling,
)
from stocksim.faces.feeding_words import feeding_lines, feeding_note
from stocksim.faces.first_layer import season_brief
from stocksim.faces.markup import species_key_html
from stocksim.faces.options import Bar
from stocksim.faces.planting_words import build_words
from stocksim.faces.text import tank_rows, water_rows
from stocksim.faces.water_words import tank_water_rows
from stocksim.faces.ways_words import number_of, promise_words, test_words, way_rows, way_sentence
from stocksim.faces.words import (
    assumptions,
    by_harm,
    finding_sentence,
    is_caution,
    is_trouble,
    summary,
    verdict,
    warnings_of,
)
from stocksim.site.reading import Site
from stocksim.units import format_date, format_quantity

if TYPE_CHECKING:  # drawn seasons are only imported where they are asked for
    from stocksim.drawn.sureness import Sureness

_EVENTS_PRINTED = 12
_TANK_NOTE = "worst hour of the season / limit; biomass: on the peak date; ! marks a broken limit"
_CHARTS = ("water", "growth")


def with_advice(sure: Sureness, season: Season, advice: Advice | None, progress: Progress | None = None) -> Sureness:
    """How sure a season is, with the first way of what is advised for it in the same drawn seasons."""
    from stocksim.drawn.sureness import with_advised

    ways = advice.ways if advice is not None else ()
    return with_advised(sure, prove(season.site, ways[0].fields).site, progress) if ways else sure


class Solved(NamedTuple):
    """A season with what is advised for it, and its findings with what helps."""

    season: Season
    advice: Advice

    @property
    def findings(self) -> list[Finding]:
        """Those of the advice."""
        return self.advice.findings


def solve(site: Site) -> Solved:
    """Run a site's season and seek what mends every broken limit, with a progress bar when that takes long."""
    bar = Bar("days")
    season = run_season(site, bar)
    bar.close()
    bar = Bar("changes")
    advice = advise(season, bar)
    bar.close()
    return Solved(season, advice)


def season_answer(
    season: Season,
    findings: list[Finding],
    is_sought: bool = True,
    draw: Callable[[str], dict[str, Any]] | None = None,
    advice: Advice | None = None,
    sure: Sureness | None = None,
) -> Answer:
    """What a season is answered.

    Parameters
    ----------
    season : Season
        A season that was run.
    findings : list of Finding
        Its limits, with what helps where that was sought.
    is_sought : bool
        Whether it was sought.
    draw : callable, optional
        Gives the specification of a stack of charts by its name, where a page keeps them.
    advice : Advice, optional
        Ways out of what is broken, where they were sought.
    sure : Sureness, optional
        The season drawn many times: then the verdict tells its chance, and the picture has bands.

    Returns
    -------
    Answer
        With the sections ``do``, ``tanks``, ``limits``, ``fish``, ``feeding``, ``water``, ``picture``, ``key``,
        ``charts``, ``feed``, ``areas``, ``cautions``, ``assumptions``.
    """
    file = season.site.file
    warned, assumed = warnings_of(season), assumptions(season)
    sections = [
        Section("do", _do_parts(season, advice)),
        Section("tanks", _tank_parts(season, findings), topics=("fish", "water")),
        Section("limits", _limit_parts(season, findings, is_sought, advice), topics=("fish", "water")),
        Section("fish", _fate_parts(season), topics=("fish",)),
        Section("feeding", _feeding_parts(season), topics=("fish",)),
        Section("water", _water_parts(season), topics=("water",)),
        Section("picture", [Chart("density", partial(draw or partial(_drawn, season, sure=sure), "density"))]),
        Section("key", [Html(species_key_html(season))]),
        Section("charts", [Chart(name, partial(draw or partial(_drawn, season), name)) for name in _CHARTS]),
        Section("feed", _feed_parts(season), topics=("fish",)),
        Section("areas", _area_parts(season), topics=("plants",)),
        Section(
            "cautions",
            [Head("Cautions:", "text"), points(warned, "background")],
            f"Keep in mind ({len(warned)})",
            is_open=True,
            topics=("cautions",),
        ),
        Section(
            "assumptions",
            [Head("Assumptions:", "text"), points(assumed, "background")] if assumed else [],
            f"Assumed, and on what evidence ({len(assumed)})",
            topics=("assumptions",),
        ),
    ]
    return Answer(
        f"{file.site.name}: {format_date(season.dates[0])} to {format_date(season.dates[-1])}",
        _verdict(season, findings, sure),
        sections,
        partial(_data, season, findings, advice, sure),
        is_trouble(season, findings),
        is_caution=is_caution(season, findings),
        brief=season_brief(season, findings, advice),
    )


def _verdict(season: Season, findings: list[Finding], sure: Sureness | None) -> str:
    said = verdict(season, findings)
    if sure is None:
        return said
    from stocksim.faces.chance_words import sure_words

    return f"{said} {sure_words(season, findings, sure)}"


def _data(season: Season, findings: list[Finding], advice: Advice | None, sure: Sureness | None) -> dict[str, Any]:
    data = summary(season, findings, advice)
    if sure is None:
        return data
    from stocksim.faces.chance_words import sure_data

    return data | {"chance": sure_data(season, findings, sure)}


def _drawn(season: Season, name: str, sure: Sureness | None = None) -> dict[str, Any]:
    from stocksim.faces.charts import STACKS  # slow to import, and text draws none
    from stocksim.faces.picture import picture_stack

    if name == "density" and sure is not None:
        return picture_stack(season, bands=sure.found.bands).to_dict()
    return STACKS[name](season).to_dict()


def _tank_parts(season: Season, findings: list[Finding]) -> list[Part]:
    """A row for each tank; pages have another table, with nitrite and fewer dates."""
    units = season.site.file.site.units
    dense = by_place([finding for finding in findings if finding.is_broken], "density")
    rows = tank_water_rows(season, findings, units)
    return [
        Table(tank_rows(season, findings, units), on="text", gap=True),
        Sentences([f"({_TANK_NOTE})"], on="text", indent="  "),
        Head("Tank by tank", "page"),
        Table(rows, [(n, "peak") for n, row in enumerate(rows) if f"tanks.{row['tank']}" in dense], on="page"),
        Sentences(
            ["Oxygen low, ammonia and nitrite: worst of the season / limit of that day, mg/L. ✗: limit broken."],
            "note", "page",
        ),
    ]  # fmt: skip


def _do_parts(season: Season, advice: Advice | None) -> list[Part]:
    """What to do by date, what that promises, and up to two other ways."""
    if advice is None or not advice.ways:
        return []
    first, *others = advice.ways
    head = "What to do, by date" if advice.must_change else "What would keep the cautions as well, by date"
    parts: list[Part] = [Head(f"{head}:", "text"), Head(head, "page")]
    if not advice.must_change:
        parts.append(Sentences([test_words(season.findings)], indent="  "))
    parts += [
        Table(way_rows(season, first)),
        Sentences([promise_words(season, advice)], indent="  "),
        points(cares_beside(season.site.file, [step.change for step in first.steps])),
    ]
    if others:
        parts.append(Head("Other ways:", "text"))
        parts.append(Head("Other ways", "page"))
        parts.append(points([way_sentence(season, way) for way in others], "background"))
    if not advice.is_finished:
        parts.append(Sentences([f"The search ended at {advice.seasons} seasons: a better way may exist."]))
    return parts


def _limit_parts(season: Season, findings: list[Finding], is_sought: bool, advice: Advice | None) -> list[Part]:
    """Broken limits and advice, each with what helps: the row of what to do, where one mends it."""
    site = season.site
    units = site.file.site.units

    def helps(finding: Finding) -> str:
        number = number_of(finding, season, advice)
        return help_words(finding, units) if number is None else f"line {number} of what to do"

    broken = by_harm(season, [f for f in findings if f.is_broken])
    told = broken + [f for f in findings if f.margin_percent is None and f.days_broken]
    if not told:
        return []
    is_harmful = any(harms(season, finding) for finding in broken)
    head = "Limits that are broken, those that harm fish first:" if is_harmful else "Cautions that are passed, by date:"
    heads = [Head(head, "text")] if broken else []
    return [
        *heads,
        Points(
            [
                Point(f"{finding_sentence(f, units)}{also} {density_sentence(site, f)}".strip(), helps(f), f.is_broken)
                for f, also in _once_a_loop(season, told, helps)
            ],
            is_sought,
        ),
    ]


def _once_a_loop(season: Season, findings: list[Finding], helps: Callable[[Finding], str]) -> list[tuple[Finding, str]]:
    """The same limit of several tanks of a loop that the same helps against, told once: the worst, and where else."""
    groups: dict[tuple[str, ...], list[Finding]] = {}
    for finding in findings:
        alone = finding.where if not finding.is_broken or not finding.where.startswith("tanks.") else ""
        key = (finding.limit, loop_of(season, finding), helps(finding), str(harms(season, finding)), alone)
        groups.setdefault(key, []).append(finding)
    told = []
    for group in groups.values():
        worst = min(group, key=lambda finding: finding.margin_percent or 0.0)
        others = [finding.where.split(".")[1] for finding in group if finding is not worst]
        told.append((worst, f" Also in {' and '.join(others)}." if others else ""))
    return told


def _fate_parts(season: Season) -> list[Part]:
    """What becomes of the fish, where there is something to tell: a row for each cohort, then the events."""
    if not is_worth_telling(season):
        return []
    units = season.site.file.site.units
    return [
        Head("What becomes of the fish:", "text"),
        Head("What becomes of the fish", "page"),
        Table(fate_rows(season, units)),
        Sentences([f"({fate_note(season)})"], on="text", indent="  "),
        Sentences([fate_note(season)], "note", "page"),
        Sentences(event_lines(season, units, _EVENTS_PRINTED), on="text", indent="  "),
        Sentences(event_lines(season, units), "list", "page"),
    ]


def _feeding_parts(season: Season) -> list[Part]:
    """When to feed the cohorts that meet cold water; nothing where none does."""
    lines = feeding_lines(season)
    if not lines:
        return []
    note = feeding_note(season.site.file.site.units)
    return [
        Head("When to feed in the cold:", "text"),
        Head("When to feed in the cold", "page"),
        Sentences(lines, "list", mark="- ", indent="  "),
        Sentences([f"({note})"], on="text", indent="  "),
        Sentences([note], "note", "page"),
    ]


def _water_parts(season: Season) -> list[Part]:
    """The water of each loop, month by month, for text; pages have a page of it."""
    parts: list[Part] = []
    for loop, table in season.site.file.loops.items():
        given = f"pH {table.ph:g} as given" if table.ph is not None else "pH computed"
        dosed = table.buffer.replace("_", " ") if table.alkalinity_target is not None else "nobody doses"
        head = f"Water of loop {loop}, mg/L ({given}; buffer: {dosed}):"
        parts.append(Sentences([head], on="text", indent="  ", gap=True))
        parts.append(Table(water_rows(season, loop, season.site.file.site.units), on="text"))
    note = (
        "(biofilter: strength of its ammonia-eating and nitrite-eating bacteria, % of full; they grow with their food)"
    )
    return [*parts, Sentences([note], on="text", indent="  ")]


def _feed_parts(season: Season) -> list[Part]:
    """Feed and growth of the season."""
    units, totals = season.site.file.site.units, season.totals()
    feed, growth = totals["feed_kg"] or 0.0, totals["growth_kg"] or 0.0
    conversion = totals["feed_conversion_offered"]
    fed = f"Feed offered {format_quantity(feed, 'mass', units)}, growth {format_quantity(growth, 'mass', units)}" + (
        f", feed conversion {conversion:.2f}." if conversion else "."
    )
    return [Sentences([fed, *feed_words(season, units)], on="text", indent="  ", gap=True)]


def _area_parts(season: Season) -> list[Part]:
    """The planted area to build for."""
    return [Sentences(_area_lines(season, season.site.file.site.units), "answer", indent="  ")]


def _area_lines(season: Season, units: str) -> list[str]:
    """Planted area to build for, a line for each loop with fish."""
    lines = []
    for build in season.build_areas.values():
        text = build_words(build, units)
        if not text:
            planted = format_quantity(build.planted_m2, "area", units)
            text = (
                f"Loop {build.loop}: {planted} planted; no feed ratio was published for what grows there, and it "
                "hardly grows, so nothing shows which area the feed supports."
            )
        lines.append(text)
    return lines


# --- a season's results as files


def write_season(
    season: Season, folder: str | Path, findings: Sequence[Finding] | None = None, advice: Advice | None = None
) -> list[Path]:
    """Write what ``stocksim season --out`` writes: five CSV files and summary.json.

    Parameters
    ----------
    season : Season
        A season that was run.
    folder : str or Path
        Made if it is not there; files of these names in it are replaced.
    findings : sequence of Finding, optional
        What is told of its limits. If left out, a change that mends each broken limit is sought and proved, which may
        take seconds; ``season.findings`` tells them without.

    Returns
    -------
    list of Path
        ``tanks.csv``, ``cohorts.csv``, ``beds.csv``, ``loops.csv``, ``ledger.csv`` and ``summary.json``; the last
        holds the version of stocksim and hashes of the site and of the library that the season was made from.
    """
    if findings is None and advice is None:
        advice = advise(season)
    told = list(findings) if findings is not None else advice.findings if advice is not None else []
    return season.write(Path(folder), summary(season, told, advice))
