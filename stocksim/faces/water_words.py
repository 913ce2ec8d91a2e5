"""The water of a loop in sentences, and the water's limits told from all others."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.results.findings import Finding, by_place
from stocksim.engine.results.frames import Season
from stocksim.faces.fates import death_words, heavy_words
from stocksim.faces.text import tank_rows
from stocksim.faces.water_cautions import (
    CHALK,
    base_words,
    most_portions,
    nitrate_words,
    ph_words,
    salt_words,
    short_words,
    sodium_words,
)
from stocksim.faces.words import day_words, level_words, place_words
from stocksim.site.kinds import LIMITS
from stocksim.units import format_quantity
from stocksim.water.buffering import SALTS

_WEEK_DAYS = 7
DOSING = (
    "Dissolve each day's dose in a bucket of loop water and pour it into the sump slowly, away from the fish; test "
    "alkalinity and pH each week and dose by the test, not by the chart (common practice).",
)
HYDROXIDE = "Hydroxides can lift pH in minutes: small doses, pH tested between them."


def water_findings(found: Sequence[Finding]) -> list[Finding]:
    """Broken limits of the water itself."""
    return [finding for finding in found if finding.is_broken and LIMITS[finding.limit].is_of_water]


def water_verdict(season: Season) -> str:
    """The water's answer: many deaths first, then what is broken first and where, or that all holds."""
    broken = water_findings(season.findings)
    if not season.site.file.cohorts:
        return "No fish are stocked, so the water has no limit to keep."
    heavy = heavy_words(season)
    if broken:
        first = broken[0]
        more = f", and {len(broken) - 1} more" if len(broken) > 1 else ""
        day = day_words(first.first_date or first.worst_date)
        water = f"From {day}: {LIMITS[first.limit].broken} in {place_words(first)}{more}."
    else:
        water = f"Oxygen, ammonia and nitrite hold every fish's limit all {'the same' if heavy else 'season'}."
    if heavy:
        return f"{heavy}. {water}"
    dying = death_words(season)
    return f"{water} {dying}" if dying else water


def loop_sentences(season: Season, loop: str, units: str) -> list[str]:
    """What the keeper adds to a loop, and how its pH and film stand.

    Parameters
    ----------
    season : Season
        A season that was run.
    loop : str
        Name of the loop.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    list of str
        One sentence each on buffer, top-up, pH and film, and on sodium where it passes what crops like.
    """
    frame, table = season.loops[season.loops["loop"] == loop], season.site.file.loops[loop]
    days = len(season.dates)
    salt = table.buffer.replace("_", " ")
    alkalinity = frame["alkalinity_mg_l"].to_numpy()
    buffer = frame["buffer_g"].to_numpy()
    if buffer.any():
        first, _, most = max(weekly(buffer), key=lambda week: week[2])
        dose = (
            f"Buffer: {salt}, {format_quantity(buffer.sum(), 'dose', units)} in {days} days, most in the week from "
            f"{day_words(season.dates[first])}: {format_quantity(most, 'dose', units)}."
        )
    elif table.buffer == CHALK and short_words(season, loop):
        dose = f"Buffer: {salt}, of which none dissolves."
    elif table.alkalinity_target is not None:
        dose = f"Buffer: none is needed to keep alkalinity at {table.alkalinity_target:g} mg/L."
    else:
        dose = "Buffer: none is counted, because the site file gives no alkalinity target."
    dose += f" Alkalinity {_from_to(alkalinity, 0)} mg/L as CaCO3."
    if table.alkalinity_target is None and alkalinity.min() < 20.0:
        dose += " Below about 20 biofilter bacteria starve of it and pH can crash: give a target (common practice)."
    missed = short_words(season, loop)
    dose += f" {missed}" if missed else ""
    sentences = [dose, _top_up_words(season, frame["top_up_l"].to_numpy(), units)]
    ph = season.tanks.loc[season.tanks["loop"] == loop, "ph"].to_numpy()
    if table.ph is not None:
        sentences.append(f"pH: {table.ph:g} as given in the site file, whatever alkalinity does.")
    elif ph.size:
        sentences.append(f"pH: computed, {ph.min():.1f} to {ph.max():.1f}. Test it.")
    films = [frame[column].to_numpy() for column in ("ammonia_oxidizer_maturity", "nitrite_oxidizer_maturity")]
    if np.isnan(films[0]).all():
        sentences.append("Biofilter: this loop has none, so nothing turns its ammonia to nitrate.")
    else:
        sentences.append(
            f"Biofilter bacteria, ammonia / nitrite: {100 * films[0][0]:.0f} / {100 * films[1][0]:.0f} % of full "
            "strength at the start, "
            f"{100 * films[0][-1]:.0f} / {100 * films[1][-1]:.0f} % at the end."
        )
    salty = sodium_words(season, loop)
    return [*sentences, salty] if salty else sentences


def _top_up_words(season: Season, top_up_l: np.ndarray, units: str) -> str:
    first, _, most = max(weekly(top_up_l), key=lambda week: week[2])
    usual, largest = (format_quantity(v / 1000.0, "volume", units) for v in (7.0 * float(top_up_l.mean()), most))
    if usual == largest:
        return f"Top-up: about {usual} a week."
    return f"Top-up: about {usual} a week, most in the week from {day_words(season.dates[first])}: {largest}."


def dosing_cautions(season: Season, loop: str) -> list[str]:
    """Cautions for the buffer of a loop; none where it has no target or needs none."""
    frame, table = season.loops[season.loops["loop"] == loop], season.site.file.loops[loop]
    if not frame["buffer_g"].to_numpy().any() and not short_words(season, loop):
        return []
    most = most_portions(season, loop)
    portions = [f"Give it in {most} portions over the day when it asks for most."] if most > 1 else []
    return [*DOSING, *portions, salt_words(table.buffer), *([HYDROXIDE] if SALTS[table.buffer].is_caustic else [])]


def fish_water_cautions(season: Season, loop: str) -> list[str]:
    """Cautions about alkalinity, nitrate and pH for the fish of a loop; none where all are well."""
    told = (base_words(season, loop), nitrate_words(season, loop), ph_words(season, loop))
    return [sentence for sentence in told if sentence]


def tank_water_rows(season: Season, found: Sequence[Finding], units: str) -> list[dict[str, str]]:
    """Rows of `stocksim.faces.text.tank_rows` with nitrite beside oxygen and ammonia, those three in mg/L.

    Parameters
    ----------
    season : Season
        A season that was run.
    found : sequence of Finding
        Its findings.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    list of dict of str to str
        Worst level / limit of that day; ``!`` before a broken one.
    """
    nitrite = by_place(found, "nitrite")
    rows = []
    for row in tank_rows(season, list(found), units):
        cell, finding = "-", nitrite.get(f"tanks.{row['tank']}")
        if finding is not None:
            value, limit = (level_words(v, "mg/L", units) for v in (finding.worst_value, finding.threshold))
            cell = f"{'!' if finding.is_broken else ''}{value} / {limit}"
        rows.append({head: _unbroken(head, text) for head, text in (row | {"nitrite": cell}).items()})
    return rows


def _unbroken(head: str, text: str) -> str:
    """A cell without its mg/L, kept on one line."""
    return text if head == "fish" else text.replace(" mg/L", "").replace(" ", "\N{NO-BREAK SPACE}")


def _from_to(values: np.ndarray, decimals: int) -> str:
    return f"{values.min():.{decimals}f} to {values.max():.{decimals}f}"


def weekly(values: NDArray[np.float64]) -> list[tuple[int, int, float]]:
    """First day, days and sum of every week from the season's first day on; the last week may be short."""
    starts = range(0, len(values), _WEEK_DAYS)
    return [(s, len(values[s : s + _WEEK_DAYS]), float(values[s : s + _WEEK_DAYS].sum())) for s in starts]
