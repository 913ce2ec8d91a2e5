"""The answer of `stocksim company`: as plain data, and as text that fits a screen of 80 columns."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path
from typing import Any

from stocksim.answers.tankmates import words
from stocksim.answers.tankmates.decide import Company, Pair
from stocksim.answers.tankmates.loops import LoopCompany
from stocksim.answers.tankmates.words import (
    RESIDENT_WORDS,
    loop_offers,
    loop_sentences,
    name_words,
    resident_rows,
    water_words,
)
from stocksim.faces.text import text_table, wrapped
from stocksim.faces.words import day_words
from stocksim.library.sources import EVIDENCE_GRADES
from stocksim.library.species import never_with
from stocksim.site.reading import Site

_COLUMNS, _CELL, _LABEL = 5, 11, 22


def company_output(path: Path, as_json: bool) -> str:
    """What `stocksim company` prints for a site file; errors as in `load_site`."""
    from stocksim.answers.tankmates.decide import judge_company
    from stocksim.engine.running import run_season
    from stocksim.faces.marks import json_text
    from stocksim.library.species import load_species, species_names
    from stocksim.site.hashes import library_of
    from stocksim.site.reading import load_site

    loaded = load_site(path)
    company, units = judge_company(run_season(loaded)), loaded.file.site.units
    if as_json:
        every = [load_species(name, loaded.folder) for name in species_names(loaded.folder)]  # all are compared
        return json_text(company_answer(company, units), loaded, [*library_of(loaded), *every])
    return company_text(company, units)


def company_text(company: Company, units: str) -> str:
    """The printed answer.

    Parameters
    ----------
    company : Company
        Of `stocksim.answers.tankmates.decide`.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    str
        Lines of at most 80 columns.
    """
    site = company.season.site
    lines = _wrap(f"{site.file.site.name}: who may share a tank or a loop") + _wrap(words.headline(company)[0])
    if company.pairs:
        lines += ["", "Tanks: + together, ~ with care, X apart; * shares a tank now", ""]
        lines += _matrix(company)
        lines += _wrap(f"({words.SHORT_KEY} Beside itself: do the larger eat the smaller?)")
    now = [pair for pair in company.pairs if pair.tanks and (pair.a != pair.b or pair.grounds)]
    asked = [pair for pair in company.pairs if not pair.tanks and pair.a != pair.b]
    if now:
        lines += ["", "Sharing a tank now:"]
        for pair in now:
            lines += _pair_lines(pair, site, units, 99)
    if asked:
        lines += ["", "Could they share a tank? (gravest reasons; --json has all)"]
        for pair in asked:
            lines += _pair_lines(pair, site, units, 2)
    for loop in company.loops:
        lines += ["", *_loop_lines(loop, site, units)]
    if any(o.key == "narrow_growth_window" for loop in company.loops for p in loop.pairs for o in p.obstacles):
        lines += ["", *_wrap(words.NO_SOURCE)]
    if company.wild:
        lines += ["", "Wild-caught:"]
        lines += [line for wild in company.wild for line in _bullet(words.wild_sentence(wild, site))]
    lines += ["", "Keep in mind:"]
    lines += [line for caution in words.cautions(company) for line in _bullet(caution)]
    return "\n".join(lines)


def _wrap(text: str) -> list[str]:
    return wrapped(text)


def _bullet(text: str, indent: str = "") -> list[str]:
    return wrapped(f"- {text}", f"{indent}  ", indent)


def cell_word(pair: Pair) -> str:
    """The gravest reason of a pair in one word."""
    return words.SHORT[pair.grounds[0].key] if pair.grounds else ""


def _matrix(company: Company) -> list[str]:
    """The lower half of the matrix, in blocks of columns that fit the width."""
    cohorts = company.cohorts
    by_names = {(pair.a, pair.b): pair for pair in company.pairs}
    lines = []
    for start in range(0, len(cohorts), _COLUMNS):
        columns = range(start, min(start + _COLUMNS, len(cohorts)))
        lines.append((" " * _LABEL + "".join(str(n + 1).ljust(_CELL) for n in columns)).rstrip())
        for row in range(start, len(cohorts)):
            cells = ""
            for column in columns:
                if column <= row:
                    pair = by_names[cohorts[column], cohorts[row]]
                    mark = " *" if pair.tanks and pair.a != pair.b else ""
                    cells += f"{words.SIGNS[pair.verdict]} {cell_word(pair)}{mark}".ljust(_CELL)
            name = f"{row + 1} {name_words(cohorts[row])}"[: _LABEL - 1]
            lines.append((name.ljust(_LABEL) + cells).rstrip())
        lines.append("")
    return lines


def _pair_lines(pair: Pair, site: Site, units: str, most: int) -> list[str]:
    tanks = f" (tank {', '.join(pair.tanks)})" if pair.tanks else ""
    loops = {site.file.tanks[tank].loop for cohort in (pair.a, pair.b) for tank in [site.cohorts[cohort].tank]}
    if len(loops) > 1 and not pair.tanks:
        tanks = f" (in the water of loop {pair.loop})"
    lines = _wrap(f"{words.pair_title(pair)}{tanks}: {pair.verdict.upper()}, {words.pair_when(pair)}")
    grounds = [ground for ground in pair.grounds if most > 2 or ground.verdict == pair.verdict][:most]
    said = [words.ground_sentence(ground, pair, site, units) for ground in grounds]
    for sentence in said or [words.pair_reason(pair, site, units)]:
        lines += _bullet(sentence, "  ")
    return lines


def _loop_lines(loop: LoopCompany, site: Site, units: str) -> list[str]:
    lines = [f"Loop {loop.loop}, {water_words(loop, units)} over the season:", ""]
    rows = [{key: text.lstrip("!") for key, text in row.items()} for row in resident_rows(loop, site, units)]
    lines += [text_table(rows), *_wrap(f"({RESIDENT_WORDS})")]
    for pair in loop.pairs:
        names = f"{name_words(pair.a)} + {name_words(pair.b)}"
        lines += _wrap(f"{names}: {pair.verdict.upper()}, from {day_words(pair.date)}")
        for sentence in loop_sentences(pair, site, units):
            if "outside the growth window" not in sentence:  # the table tells the days
                lines += _bullet(sentence, "  ")
    if loop.pairs:
        lines += ["What could be done:"] if loop.partitions else []
        lines += [line for offer in loop_offers(loop, site, units) for line in _bullet(offer, "  ")]
    return lines


def company_answer(company: Company, units: str) -> dict[str, Any]:
    """The answer as plain data, keys carry units; numbers are metric, sentences in the keeper's units.

    Parameters
    ----------
    company : Company
        Of `stocksim.answers.tankmates.decide`.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    dict
        Ready for JSON; ``pairs`` holds every two cohorts and each with itself.
    """
    site = company.season.site
    answer, is_trouble = words.headline(company)
    return {
        "site": site.file.site.name,
        "answer": answer,
        "is_trouble": is_trouble,
        "evidence": "weak",
        "pairs": [_pair_answer(pair, site, units) for pair in company.pairs],
        "loops": [_loop_answer(loop, site, units) for loop in company.loops],
        "wild": [
            {
                "cohort": wild.cohort,
                "species": wild.species,
                "tank": wild.tank,
                "loop": wild.loop,
                "is_trained": wild.is_trained,
                "feed_training_days": wild.training_days,
                "feed_training_loss_percent": round(100.0 * wild.training_loss, 1),
                "caution": words.wild_sentence(wild, site),
            }
            for wild in company.wild
        ],
        "never_mixed": [
            {"a": key, "b": other, "reason": entry.facts["never_because"]}
            for key, entry in site.species.items()
            for other in never_with(entry)
        ],
        "cautions": words.cautions(company),
    }


def _evidence(site: Site, *species: str) -> str:
    """The weakest evidence on company of some species."""
    return max((site.species[s].facts["company_evidence"] for s in species), key=EVIDENCE_GRADES.index)


def _iso(day: dt.date | None) -> str | None:
    return day.isoformat() if day else None


def _number(value: float, digits: int = 4) -> float | None:
    return round(value, digits) if math.isfinite(value) else None


def _pair_answer(pair: Pair, site: Site, units: str) -> dict[str, Any]:
    return {
        "a": pair.a,
        "b": pair.b,
        "verdict": pair.verdict,
        "reason": words.pair_reason(pair, site, units),
        "date": _iso(pair.date),
        "until": _iso(pair.until),
        "species_a": pair.species_a,
        "species_b": pair.species_b,
        "shares_tank": bool(pair.tanks),
        "tanks": list(pair.tanks),
        "water_of_loop": pair.loop,
        "judged_from": _iso(pair.first),
        "judged_to": _iso(pair.last),
        "judged_days": pair.days,
        "evidence": _evidence(site, pair.species_a, pair.species_b),
        "reasons": [
            {
                "key": ground.key,
                "verdict": ground.verdict,
                "reason": words.ground_sentence(ground, pair, site, units),
                "number": _number(ground.number),
                "who": ground.who,
                "whom": ground.whom or None,
                "date": _iso(ground.first),
                "until": _iso(ground.last),
                "days": ground.days,
                "who_length_mm": _number(ground.who_mm, 1),
                "whom_length_mm": _number(ground.whom_mm, 1),
            }
            for ground in pair.grounds
        ],
    }


def _loop_answer(loop: LoopCompany, site: Site, units: str) -> dict[str, Any]:
    return {
        "loop": loop.loop,
        "lowest_c": _number(loop.lowest_c, 2),
        "mean_c": _number(loop.mean_c, 2),
        "highest_c": _number(loop.highest_c, 2),
        "species": [
            {
                "species": resident.species,
                "cohorts": list(resident.cohorts),
                "date": _iso(resident.first),
                "until": _iso(resident.last),
                "days": resident.days,
                "days_below_growth_window": resident.days_cold,
                "days_above_growth_window": resident.days_warm,
                "days_outside_limits": resident.days_outside,
                "best_temperature_c": _number(resident.best_c, 1),
                "growth_percent_of_best": _number(100.0 * resident.growth_share, 0),
            }
            for resident in loop.residents
        ],
        "pairs": [
            {
                "a": pair.a,
                "b": pair.b,
                "verdict": pair.verdict,
                "reason": " ".join(loop_sentences(pair, site, units)),
                "date": _iso(pair.date),
                "common_growth_window_c": [pair.low_c, pair.high_c] if pair.low_c <= pair.high_c else None,
                "kindest_temperature_c": _number(pair.kindest_c, 1),
                "growth_percent_a": _number(100.0 * pair.share_a, 0),
                "growth_percent_b": _number(100.0 * pair.share_b, 0),
                "evidence": _evidence(site, pair.a, pair.b),
            }
            for pair in loop.pairs
        ],
        "offers": loop_offers(loop, site, units),
        "fitting": [{"species": fit.species, "days_percent": round(100.0 * fit.share, 1)} for fit in loop.fitting],
        "note": words.NO_SOURCE,
    }
