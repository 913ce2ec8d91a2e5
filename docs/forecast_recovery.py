"""How well a forecast finds what differs: invented winters of the starter site whose truth is known.

Run ``python docs/forecast_recovery.py``; it prints the table of [records](records.md) and draws its figure. Each winter
draws its truth from the declared spreads, keeps records of it with their errors, and is forecast from a part of them.
"""

from __future__ import annotations

import argparse
import datetime as dt
import math
from pathlib import Path

import numpy as np

from stocksim.answers.forecast.decide import forecast
from stocksim.answers.forecast.evidence import run, unknowns
from stocksim.book.store import Record
from stocksim.engine.arrays.layout import build_layout
from stocksim.engine.measured import CHART_ERROR, LEAST_READ_MG_L
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site

FIGURE = Path(__file__).parent / "figures" / "forecast_recovery.svg"
WEIGHED, WEIGH_EVERY, TEST_EVERY = 20, 14, 7
KEPT_BACK_FROM = 140  # day of the season; records of later days are never given to the forecast
SHARES = (0.0, 0.2, 0.4, 0.7, 1.0)  # of the records before that day


def winter(site, layout, asked, rng):
    """Records of an invented winter, and its true weights [g] and numbers, shape (day,)."""
    x = np.array([[rng.normal(0.0, unknown.spread) for unknown in asked]])
    x = np.clip(x, -2.5 * np.array([one.spread for one in asked]), 2.5 * np.array([one.spread for one in asked]))
    truth = run(site, layout, asked, x)
    weight, deaths = truth.of("cohorts.mean_weight_g", "perch")[0], truth.of("cohorts.deaths", "perch")[0]
    tan, nitrite = truth.of("tanks.tan_mg_l", "first")[0], truth.of("tanks.nitrite_n_mg_l", "first")[0]
    spread = site.species["yellow_perch"].number("size_spread", 0.25)
    records: list[Record] = []
    for day in range(1, KEPT_BACK_FROM):
        date = site.file.season.start + dt.timedelta(days=day)
        died = rng.poisson(deaths[day])
        if died:
            records.append(Record("deaths", date, "cohorts.perch", {"count": float(died)}, number=3 * day))
        if day % WEIGH_EVERY == 0:
            mean = weight[day - 1] * math.exp(rng.normal(0.0, math.hypot(spread / math.sqrt(WEIGHED), 0.02)))
            held = {"count": float(WEIGHED), "total_g": WEIGHED * mean}
            records.append(Record("weigh", date, "cohorts.perch", held, number=3 * day + 1))
        if day % TEST_EVERY == 0:
            read = [read_by_chart(level[day - 1], rng) for level in (tan, nitrite)]
            held = {"tan_mg_l": read[0], "nitrite_n_mg_l": read[1]}
            records.append(Record("test", date, "loops.main", held, number=3 * day + 2))
    return records, weight


def read_by_chart(level: float, rng) -> float:
    """A level as a colour chart tells it. [mg/L]"""
    return max((level + LEAST_READ_MG_L) * math.exp(rng.normal(0.0, CHART_ERROR)) - LEAST_READ_MG_L, 0.0)


def recovery(winters: int, samples: int, seed: int) -> list[dict[str, float]]:
    """For each share of the records: error and width of the later weights, and how often the band holds them."""
    site = load_site(FOLDER / "starter.toml")
    layout, asked = build_layout(site), unknowns(site)
    rng = np.random.default_rng(seed)
    later = np.arange(KEPT_BACK_FROM, site.days, WEIGH_EVERY)
    found: dict[float, list[tuple[float, float, float]]] = {share: [] for share in SHARES}
    for number in range(winters):
        records, weight = winter(site, layout, asked, rng)
        for share in SHARES:
            until = site.file.season.start + dt.timedelta(days=round(share * KEPT_BACK_FROM))
            band = forecast(site, [one for one in records if one.date <= until], samples, number).bands["perch"]
            low, middle, high = band.weight_after[:, later - 1]
            error = float(np.sqrt(np.mean(np.log(middle / weight[later - 1]) ** 2)))
            inside = float(low[-1] <= weight[later[-1] - 1] <= high[-1])
            found[share].append((error, float(np.log(high[-1] / low[-1])), inside))
    return [
        {"share": share, "error_percent": 100.0 * float(np.sqrt(np.mean([one[0] ** 2 for one in rows]))),
         "width_percent": 100.0 * float(np.mean([one[1] for one in rows])),
         "inside_percent": 100.0 * float(np.mean([one[2] for one in rows]))}
        for share, rows in found.items()
    ]  # fmt: skip


def draw(rows: list[dict[str, float]], winters: int) -> None:
    """Error and width over the days whose records were given."""
    import altair as alt

    values = [
        {"days": round(row["share"] * KEPT_BACK_FROM), "percent": row[key], "what": what}
        for row in rows
        for key, what in (("error_percent", "error of later weights"), ("width_percent", "width of the 80 % band"))
    ]
    line = alt.Chart(alt.Data(values=values)).mark_line(point=True, color="#333333").encode(
        x=alt.X("days:Q", title="days of the season with records"),
        y=alt.Y("percent:Q", title="percent of weight", scale=alt.Scale(domainMin=0)),
        strokeDash=alt.StrokeDash("what:N", title=None),
    )  # fmt: skip
    title = f"Forecasts of {winters} invented winters: weights of day {KEPT_BACK_FROM} on, which no forecast saw"
    line.properties(width=480, height=260, title=title).save(FIGURE)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--winters", type=int, default=60)
    asked.add_argument("--samples", type=int, default=150)
    asked.add_argument("--seed", type=int, default=20)
    asked.add_argument("--no-figure", action="store_true")
    given = asked.parse_args()
    rows = recovery(given.winters, given.samples, given.seed)
    heads = (
        "days with records",
        "error of later weights, %",
        "width of the 80 % band, %",
        f"inside, % of {given.winters}",
    )
    print(f"| {' | '.join(heads)} |")
    print("|---|---|---|---|")
    for row in rows:
        print(f"| {row['share'] * KEPT_BACK_FROM:.0f} | {row['error_percent']:.1f} | {row['width_percent']:.0f} "
              f"| {row['inside_percent']:.0f} |")  # fmt: skip
    if not given.no_figure:
        draw(rows, given.winters)


if __name__ == "__main__":
    main()
