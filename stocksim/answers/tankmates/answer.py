"""Who may share a tank or a loop, put together for text, pages and JSON."""

from __future__ import annotations

from functools import partial
from html import escape
from typing import Any, NamedTuple

from stocksim.answers.tankmates import words
from stocksim.answers.tankmates.brief import company_brief, headline, parting_steps
from stocksim.answers.tankmates.decide import Company
from stocksim.answers.tankmates.loops import LoopCompany
from stocksim.answers.tankmates.words import loop_offers, loop_sentences
from stocksim.changes.ways import Advice
from stocksim.engine.results.company import Pair
from stocksim.faces import company_words
from stocksim.faces.answer import Answer, Chart, Head, Html, Lines, Part, Section, Sentences, Table, points
from stocksim.faces.company_words import company_evidence, finite, iso_day, name_words
from stocksim.faces.marks import marked
from stocksim.faces.markup import badge_html, paragraph_html
from stocksim.faces.text import text_width
from stocksim.faces.ways_words import dated_words, step_data
from stocksim.faces.words import day_words
from stocksim.fish.company import VERDICTS
from stocksim.library.species import load_species, never_with, species_names
from stocksim.site.hashes import library_of
from stocksim.site.reading import Site

_COLUMNS, _CELL, _LABEL = 5, 11, 22


def company_answer(company: Company, units: str, advice: Advice | None = None) -> Answer:
    """Who may share a tank or a loop.

    Parameters
    ----------
    company : Company
        Of `stocksim.answers.tankmates.decide`.
    units : str
        ``metric`` or ``us``, for the sentences; numbers of the data are metric.
    advice : Advice, optional
        What is advised for its season, where that was sought.

    Returns
    -------
    Answer
        With the sections ``do``, ``evidence``, ``matrix``, ``eaten``, ``now``, ``asked``; for each loop ``loop_NAME``,
        ``pairs_NAME`` and ``offers_NAME``; ``source``, ``wild``, ``cautions``, ``assumptions``. Its data holds every
        two cohorts, and each with itself.
    """
    site = company.season.site
    verdict, is_trouble = headline(company)
    keys = {obstacle.key for loop in company.loops for pair in loop.pairs for obstacle in pair.obstacles}
    unsourced = [Sentences([words.NO_SOURCE], "do", gap=True)] if "narrow_growth_window" in keys else []
    wild = [company_words.wild_sentence(one, site) for one in company.wild]
    weak = f"Who may live with whom: {badge_html('weak')} A rule of thumb; watch the fish yourself."
    sections = [
        Section("do", _change_parts(company, advice, units)),
        Section("evidence", [Html(weak)]),
        Section("matrix", _matrix_parts(company), topics=("fish",)),
        Section("eaten", _loss_parts(company), topics=("fish",)),
        *_pair_sections(company, units),
        *(section for loop in company.loops for section in _loop_sections(loop, company, units)),
        Section("source", unsourced, topics=("assumptions",)),
        Section("wild", [*_heads("Wild-caught"), points(wild)] if wild else [], topics=("cautions",)),
        Section(
            "cautions", [*_heads("Keep in mind"), points(words.cautions(company), "background")], topics=("cautions",)
        ),
        Section("assumptions", [points(words.assumptions(company), "background")], topics=("assumptions",)),
    ]
    title = f"{site.file.site.name}: who may share a tank or a loop"
    return Answer(
        title,
        verdict,
        sections,
        partial(_data, company, units, advice),
        is_trouble,
        "close",
        is_caution=not is_trouble and _needs_care(company),
        brief=company_brief(company, advice),
    )


def _needs_care(company: Company) -> bool:
    """Whether fish that share a tank or a water do not quite suit each other."""
    tanks = [pair.verdict for pair in company.pairs if pair.tanks]
    waters = [pair.verdict for loop in company.loops for pair in loop.pairs]
    return any(verdict != VERDICTS[0] for verdict in tanks + waters)


def _change_parts(company: Company, advice: Advice | None, units: str) -> list[Part]:
    """What to do about it, as the season advises."""
    steps = parting_steps(advice)
    if not steps:
        return []
    return [*_heads("What to do, of all that the season advises"), points([dated_words(step, units) for step in steps])]


def _heads(text: str) -> list[Part]:
    return [Head(f"{text}:", "text"), Head(text, "page")]


# --- tanks


def _matrix_parts(company: Company) -> list[Part]:
    if not company.pairs:
        return []
    lines = ["Tanks: + together, ~ with care, X apart; * shares a tank now", "", *_matrix_lines(company)]
    return [
        Lines(lines, "text", gap=True),
        Sentences([f"({company_words.SHORT_KEY} Same batch: do big ones eat small ones?)"], on="text"),
        Head("Who may share a tank", "page"),
        Chart("company_matrix", partial(_matrix_spec, company)),
        Sentences([words.matrix_words(company)], "note", "page"),
    ]


def _matrix_spec(company: Company) -> dict[str, Any]:
    from stocksim.answers.tankmates.charts import matrix_chart  # slow to import, and text draws none

    return matrix_chart(company).to_dict()


def _matrix_lines(company: Company) -> list[str]:
    """The lower half of the matrix, in blocks of columns that fit the width."""
    cohorts = company.cohorts
    by_names = {(pair.a, pair.b): pair for pair in company.pairs}
    lines = []
    side_by_side = max(min((text_width() - _LABEL) // _CELL, _COLUMNS), 1)
    for start in range(0, len(cohorts), side_by_side):
        columns = range(start, min(start + side_by_side, len(cohorts)))
        lines.append((" " * _LABEL + "".join(str(n + 1).ljust(_CELL) for n in columns)).rstrip())
        for row in range(start, len(cohorts)):
            cells = ""
            for column in columns:
                if column <= row:
                    pair = by_names[cohorts[column], cohorts[row]]
                    mark = " *" if pair.tanks and pair.a != pair.b else ""
                    cells += f"{words.SIGNS[pair.verdict]} {company_words.cell_word(pair)}{mark}".ljust(_CELL)
            name = f"{row + 1} {name_words(cohorts[row])}"[: _LABEL - 1]
            lines.append((name.ljust(_LABEL) + cells).rstrip())
        lines.append("")
    return lines


def _loss_parts(company: Company) -> list[Part]:
    """Fish eaten by tankmates, which the season counts among its deaths."""
    said = company_words.loss_sentences(company.losses)
    return [*_heads("Eaten by tankmates, roughly"), points([*said, company_words.LOSS_NOTE])] if said else []


def _pair_sections(company: Company, units: str) -> list[Section]:
    """Cohorts that share a tank now, then those that might."""
    site = company.season.site
    now = [pair for pair in company.pairs if pair.tanks and (pair.a != pair.b or pair.grounds)]
    asked = [pair for pair in company.pairs if not pair.tanks and pair.a != pair.b]
    question = Head("Could they share a tank? (gravest reasons; --json has all)", "text")
    return [
        Section(
            "now", [*_heads("Sharing a tank now"), *_pair_parts(now, site, units)] if now else [], topics=("fish",)
        ),
        Section(
            "asked",
            [question, *_pair_parts(asked, site, units, is_brief=True)] if asked else [],
            "Could the others share a tank?",
            topics=("fish",),
        ),
    ]


class _Case(NamedTuple):
    """Two cohorts or species with their verdict, from when it holds, and what speaks against them; text is briefer."""

    names: str
    verdict: str
    when: str
    reasons: list[str]
    brief: list[str]
    water: str = ""


def _text_parts(cases: list[_Case]) -> list[Part]:
    parts: list[Part] = []
    for case in cases:
        parts.append(Sentences([f"{case.names}{case.water}: {case.verdict.upper()}, {case.when}"], on="text"))
        parts.append(Sentences(case.brief, on="text", mark="- ", indent="    ", first="  "))
    return parts


def _cases_html(cases: list[_Case]) -> Html:
    items = []
    for case in cases:
        sign = escape(f"{words.PAGE_SIGNS[case.verdict]} {case.verdict}")
        sign = f'<span class="ss-bad">{sign}</span>' if case.verdict == VERDICTS[2] else f"<b>{sign}</b>"
        reasons = "".join(f"<li>{escape(sentence)}</li>" for sentence in case.reasons)
        judged = f"<b>{escape(case.names)}</b>: {sign}, {escape(case.when)}"
        items.append(f'<li>{judged}<ul class="ss-small">{reasons}</ul></li>')
    return Html(f'<ul class="ss-list">{"".join(items)}</ul>')


def _pair_parts(pairs: list[Pair], site: Site, units: str, is_brief: bool = False) -> list[Part]:
    """Pairs with their reasons; pages show the gravest pairs first."""
    cases = []
    for pair in pairs:
        names = company_words.pair_title(pair) + (f" (tank {', '.join(pair.tanks)})" if pair.tanks else "")
        loops = {site.file.tanks[site.cohorts[cohort].tank].loop for cohort in (pair.a, pair.b)}
        water = f" (in the water of loop {pair.loop})" if len(loops) > 1 and not pair.tanks else ""
        reasons, brief = (company_words.pair_sentences(pair, site, units, is_few) for is_few in (False, is_brief))
        cases.append(_Case(names, pair.verdict, company_words.pair_when(pair), reasons, brief, water))
    return [*_text_parts(cases), _cases_html(sorted(cases, key=lambda case: -VERDICTS.index(case.verdict)))]


# --- loops


def _loop_sections(loop: LoopCompany, company: Company, units: str) -> list[Section]:
    """A loop's water and species, its species two by two, and what could be done instead."""
    site = company.season.site
    water = words.water_words(loop, units)
    bad = [(row, "limits") for row, resident in enumerate(loop.residents) if resident.days_outside]
    species: list[Part] = [
        Head(f"Loop {loop.loop}, {water} over the season:", "text"),
        Head(f"Loop {loop.loop}: who may share its water", "page"),
        Sentences([f"Shaded: the season's {water}. Bar: grows well; line: tolerates."], "note", "page"),
        Chart(f"company_windows_{loop.loop}", partial(_windows_spec, loop, company)),
        Table(words.resident_rows(loop, site, units), bad, gap=True),
        Sentences([f"({words.RESIDENT_WORDS})"], on="text"),
        Sentences([words.RESIDENT_WORDS], "note", "page"),
    ]
    return [
        Section(f"loop_{loop.loop}", species, topics=("fish", "water")),
        Section(
            f"pairs_{loop.loop}",
            _loop_pair_parts(loop, site, units),
            "Species by species",
            any(pair.verdict == VERDICTS[2] for pair in loop.pairs),
            topics=("fish", "water"),
        ),
        Section(f"offers_{loop.loop}", _offer_parts(loop, site, units), topics=("water",)),
    ]


def _windows_spec(loop: LoopCompany, company: Company) -> dict[str, Any]:
    from stocksim.answers.tankmates.charts import windows_chart

    return windows_chart(loop, company).to_dict()


def _loop_pair_parts(loop: LoopCompany, site: Site, units: str) -> list[Part]:
    cases = []
    for pair in loop.pairs:
        names = f"{name_words(pair.a)} + {name_words(pair.b)}"
        reasons, brief = (loop_sentences(pair, site, units, is_few) for is_few in (False, True))
        cases.append(_Case(names, pair.verdict, f"from {day_words(pair.date)}", reasons, brief))
    return [*_text_parts(cases), _cases_html(cases)] if cases else []


def _offer_parts(loop: LoopCompany, site: Site, units: str) -> list[Part]:
    if not loop.pairs:
        return []
    return [
        *([Head("What could be done:", "text", gap=False)] if loop.partitions else []),
        Html(paragraph_html("", "What could be done" if loop.partitions else "What else suits it")),
        Sentences(loop_offers(loop, site, units), "list", mark="- ", indent="    ", first="  "),
    ]


# --- plain data


def _data(company: Company, units: str, advice: Advice | None) -> dict[str, Any]:
    site = company.season.site
    verdict, is_trouble = headline(company)
    data = {
        "site": site.file.site.name,
        "answer": verdict,
        "is_trouble": is_trouble,
        "evidence": "weak",
        "what_to_do": [step_data(company.season, step) for step in parting_steps(advice)],
        "pairs": [company_words.pair_data(pair, site, units) for pair in company.pairs],
        "loops": [_loop_data(loop, site, units) for loop in company.loops],
        "eaten": company_words.loss_data(company.losses),
        "wild": company_words.wild_data(company.wild, site),
        "never_mixed": [
            {"a": key, "b": other, "reason": entry.facts["never_because"]}
            for key, entry in site.species.items()
            for other in never_with(entry)
        ],
        "cautions": [*words.assumptions(company), *words.cautions(company)],
    }
    every = [load_species(name, site.folder) for name in species_names(site.folder)]  # all are compared
    return marked(data, site, [*library_of(site), *every])


def _loop_data(loop: LoopCompany, site: Site, units: str) -> dict[str, Any]:
    return {
        "loop": loop.loop,
        "lowest_c": finite(loop.lowest_c, 2),
        "mean_c": finite(loop.mean_c, 2),
        "highest_c": finite(loop.highest_c, 2),
        "species": [
            {
                "species": resident.species,
                "cohorts": list(resident.cohorts),
                "date": iso_day(resident.first),
                "until": iso_day(resident.last),
                "days": resident.days,
                "days_below_growth_window": resident.days_cold,
                "days_above_growth_window": resident.days_warm,
                "days_outside_limits": resident.days_outside,
                "best_temperature_c": finite(resident.best_c, 1),
                "growth_percent_of_best": finite(100.0 * resident.growth_share, 0),
            }
            for resident in loop.residents
        ],
        "pairs": [
            {
                "a": pair.a,
                "b": pair.b,
                "verdict": pair.verdict,
                "reason": " ".join(loop_sentences(pair, site, units)),
                "date": iso_day(pair.date),
                "common_growth_window_c": [pair.low_c, pair.high_c] if pair.low_c <= pair.high_c else None,
                "kindest_temperature_c": finite(pair.kindest_c, 1),
                "growth_percent_a": finite(100.0 * pair.share_a, 0),
                "growth_percent_b": finite(100.0 * pair.share_b, 0),
                "evidence": company_evidence(site, pair.a, pair.b),
            }
            for pair in loop.pairs
        ],
        "offers": loop_offers(loop, site, units),
        "fitting": [{"species": fit.species, "days_percent": round(100.0 * fit.share, 1)} for fit in loop.fitting],
        "note": words.NO_SOURCE,
    }
