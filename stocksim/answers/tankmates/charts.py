"""Charts of company: the matrix of who may share a tank, and the windows of the species of a loop.

Apart from `answer`, which text needs without the slow import of charts.
"""

from __future__ import annotations

import pandas as pd

from stocksim.answers.tankmates import words
from stocksim.answers.tankmates.decide import Company
from stocksim.answers.tankmates.loops import LoopCompany
from stocksim.faces import company_words, vega
from stocksim.faces.company_words import name_words
from stocksim.faces.palette import INK, PAPER, VERDICT_FIELDS, species_colour
from stocksim.units import face_unit, to_face

_CELL_PX = 56
_ROW_PX = 34
_HEADS_PX, _AXIS_PX = 30, 72  # what stands around the cells and the bars: the page fits all of it into the height
_WORD_PX = 39  # a cell narrower than this shows its sign alone


def matrix_rows(company: Company) -> list[dict[str, object]]:
    """A row for each cell of the lower half of the matrix, with sign, word, date and full reasons."""
    site = company.season.site
    units = site.file.site.units
    place = {cohort: number for number, cohort in enumerate(company.cohorts, 1)}
    rows: list[dict[str, object]] = []
    for pair in company.pairs:
        is_late = pair.date is not None and pair.date != pair.first
        rows.append(
            {
                "column": place[pair.a],
                "row": f"{place[pair.b]} {name_words(pair.b)}",
                "pair": company_words.pair_title(pair),
                "verdict": pair.verdict,
                "sign": words.PAGE_SIGNS[pair.verdict],
                "word": company_words.cell_word(pair) or "fine",
                "from": f"{pair.date.day} {pair.date:%b}" if is_late and pair.date else "",
                "since": company_words.pair_when(pair),
                "reasons": " ".join(company_words.pair_sentences(pair, site, units)),
                "shares": bool(pair.tanks) and pair.a != pair.b,
                "tank": ", ".join(pair.tanks) or "none now",
            }
        )
    return rows


def matrix_chart(company: Company) -> vega.Group:
    """The matrix: sign, one word for the reason, and the date where the verdict comes later than the fish.

    Parameters
    ----------
    company : Company
        Of `stocksim.answers.tankmates.decide`; with at least one pair.

    Returns
    -------
    vega.Group
        As wide as its place; cells of fish that share a tank now have an ink border.
    """
    data = pd.DataFrame(matrix_rows(company))
    number = len(company.cohorts)
    columns = list(range(1, number + 1))
    names = [f"{n} {name_words(cohort)}" for n, cohort in enumerate(company.cohorts, 1)]
    heads = vega.Axis(orient="top", title=None, labelAngle=0, domain=False, ticks=False, labelFontWeight="bold")
    x = vega.by("column:O", sort=columns, scale=vega.Scale(paddingInner=0.06, paddingOuter=0.03), axis=heads)
    lefts = vega.Axis(title=None, domain=False, ticks=False, labelLimit=118)
    y = vega.by("row:O", sort=names, scale=vega.Scale(paddingInner=0.08, paddingOuter=0.04), axis=lefts)
    fields = vega.Scale(domain=list(VERDICT_FIELDS), range=list(VERDICT_FIELDS.values()))
    tips = ["pair", "verdict", "since", "tank", "reasons"]
    base = vega.Chart(data).encode(x=x, y=y, tooltip=[vega.by(f"{tip}:N") for tip in tips])
    wide = {"expr": f"width / {number} >= {_WORD_PX} ? 1 : 0"}
    border = vega.condition("datum.shares", vega.value(INK), vega.value(PAPER))
    cells = base.mark("rect", strokeWidth=2.5).encode(
        color=vega.by("verdict:N", scale=fields, legend=None), stroke=border
    )
    signs = base.mark("text", fontSize=17, fontWeight="bold", color=INK, dy=-14).encode(text="sign:N")
    said = base.mark("text", fontSize=11, color=INK, dy=4, opacity=wide).encode(text="word:N")
    dates = base.mark("text", fontSize=11, fontStyle="italic", color=INK, dy=18, opacity=wide).encode(text="from:N")
    counts = data["verdict"].value_counts()
    told = ", ".join(f"{int(counts.get(verdict, 0))} {verdict}" for verdict in VERDICT_FIELDS)
    description = f"Who may share a tank, batch by batch: {told}. The same stands in the lists below."
    layered = vega.layer(cells, signs, said, dates)
    return layered.properties(width="container", height=_CELL_PX * number + _HEADS_PX, description=description)


def windows_chart(loop: LoopCompany, company: Company) -> vega.Group:
    """What each species of a loop tolerates (line) and grows well in (bar), over the season's water (band).

    Parameters
    ----------
    loop : LoopCompany
        A loop with fish.
    company : Company
        That it belongs to.

    Returns
    -------
    vega.Group
        Temperature in the keeper's unit.
    """
    site = company.season.site
    units = site.file.site.units
    unit = face_unit("temperature", units)

    def shown(value: float) -> float:
        return round(float(to_face(value, "temperature", units)), 1)

    data = pd.DataFrame(
        [
            {
                "species": name_words(resident.species),
                "key": resident.species,
                "tolerates from": shown(site.species[resident.species]["temperature_low_limit"]),
                "grows from": shown(resident.grows_from_c),
                "grows to": shown(resident.grows_to_c),
                "tolerates to": shown(site.species[resident.species]["temperature_high_stress"]),
                "growth": "",
            }
            for resident in loop.residents
        ]
    )
    # constant water is still seen as a narrow band
    half = 0.0 if loop.highest_c - loop.lowest_c > 0.3 else 0.15
    low, high = shown(loop.lowest_c - half), shown(loop.highest_c + half)
    words_at = (low + high) / 2.0
    band = pd.DataFrame([{"low": low, "high": high, "middle": words_at, "label": "water of this season"}])
    ends = vega.Scale(domain=[float(data["tolerates from"].min()), float(data["tolerates to"].max())], nice=True)
    axis = vega.Axis(title=f"water, {unit}", grid=True, tickCount=8)
    y = vega.by("species:N", sort=list(data["species"]), axis=vega.Axis(title=None, ticks=False, labelLimit=130))
    keys = list(data["key"])
    colours = vega.Scale(domain=keys, range=[species_colour(key) for key in keys])
    tips = ["species:N", "tolerates from:Q", "grows from:Q", "grows to:Q", "tolerates to:Q"]
    base = vega.Chart(data).encode(y=y, tooltip=tips)
    water = (
        vega.Chart(band)
        .mark("rect", color=INK, opacity=0.16)
        .encode(x=vega.by("low:Q", scale=ends, axis=axis), x2="high:Q")
    )
    tolerated = base.mark("rule", color=INK, strokeWidth=2).encode(
        x=vega.by("tolerates from:Q", scale=ends, axis=axis), x2="tolerates to:Q"
    )
    grows = base.mark("bar", height=15).encode(
        x=vega.by("grows from:Q", scale=ends, axis=axis), x2="grows to:Q",
        color=vega.by("key:N", scale=colours, legend=None),
    )  # fmt: skip
    label = vega.Chart(band).mark("text", color=INK, fontStyle="italic", baseline="bottom", dy=-4)
    label = label.encode(x=vega.by("middle:Q", scale=ends, axis=axis), y=vega.value(0), text="label:N")
    description = f"Loop {loop.loop}: water {low:g} to {high:g} {unit}; " + "; ".join(
        f"{row['species']} grows well at {row['grows from']:g}-{row['grows to']:g}" for _, row in data.iterrows()
    )
    layered = vega.layer(water, tolerated, grows, label)
    return layered.properties(width="container", height=_ROW_PX * len(data) + _AXIS_PX, description=description)
