"""The forecast as an answer."""

from __future__ import annotations

import math
from functools import partial
from typing import Any

from stocksim.answers.forecast.decide import Factor, Forecast
from stocksim.faces.answer import Answer, Chart, Head, Section, Sentences, Table, points
from stocksim.faces.marks import marked
from stocksim.units import face_unit, format_date, format_quantity, to_face

_WHAT = {
    "appetite": "appetite as fed", "losses": "everyday losses", "film": "biofilter strength",
    "spilled": "feed spilled", "supply": "oxygen supply",
}  # fmt: skip
_TOLD = {
    "losses": "dead so far", "tan": "ammonia, mg/L + 0.1",
    "nitrite": "nitrite, mg/L + 0.1", "oxygen": "oxygen, mg/L + 0.1",
}  # fmt: skip
_WEIGHED = {"weight": "weight", "feed": "dose"}  # what records weigh, and as which dimension
_MOST_RESIDUALS = 30


def forecast_answer(found: Forecast) -> Answer:
    """Bands before and after the records, what was learned, and the records beside both."""
    units = found.site.file.site.units
    number = len(found.residuals)
    end = format_date(found.dates[-1])
    told = [
        f"{name}: {_range(band.weight_after[:, -1], units)} each on {end}"
        for name, band in found.bands.items()
    ]  # fmt: skip
    verdict = (
        f"By {number} record{'s' * (number != 1)}: {'; '.join(told)}." if number
        else "No record shows growth, losses or bacteria yet, so the forecast is the season with its declared spreads."
    )  # fmt: skip
    sections = (
        Section("left_out", (Sentences(found.left_out, "do", mark="- ", indent="  "),) if found.left_out else ()),
        Section("cohorts", (Head("At the season's end"), Table(_cohort_rows(found, units)))),
        Section("charts", tuple(Chart(f"forecast_{name}", partial(_draw, found, name)) for name in found.bands)),
        Section("factors", (Head("What was learned"), Table(_factor_rows(found)), _explained(found))),
        Section("records", (Head("Records beside the forecast"), Table(_residual_rows(found, units))), "Records"),
    )
    title = f"Forecast of {found.site.file.site.name}"
    return Answer(title, verdict, sections, partial(_data, found), is_caution=bool(found.left_out))


def _draw(found: Forecast, cohort: str) -> dict[str, Any]:
    from stocksim.answers.forecast.charts import weight_bands

    return weight_bands(found, cohort).to_dict()


def _range(points_: Any, units: str) -> str:
    low, middle, high = (format_quantity(float(value), "weight", units) for value in points_)
    return f"{middle} ({low} to {high})"


def _planned(found: Forecast, cohort: str, units: str) -> str:
    last = float(found.planned_g[cohort][-1])
    return "none left" if math.isnan(last) else format_quantity(last, "weight", units)


def _count(points_: Any) -> str:
    low, middle, high = map(float, points_)
    return f"{middle:.0f} ({low:.0f} to {high:.0f})"


def _cohort_rows(found: Forecast, units: str) -> list[dict[str, str]]:
    return [
        {
            "batch": name, "weight planned": _planned(found, name, units),
            "weight before": _range(band.weight_before[:, -1], units),
            "weight after": _range(band.weight_after[:, -1], units),
            "number before": _count(band.count_before[:, -1]), "number after": _count(band.count_after[:, -1]),
        }
        for name, band in found.bands.items()
    ]  # fmt: skip


def _times(factor: tuple[float, float, float]) -> str:
    low, middle, high = factor
    return f"{middle:.2f} ({low:.2f} to {high:.2f})"


def _factor_rows(found: Forecast) -> list[dict[str, str]]:
    rows = [
        {"what": f"{_WHAT[one.what]}, {one.place}", "declared": _times(one.before), "by the records": _times(one.after)}
        for one in found.factors
    ]
    rows += [
        {"what": f"base given, {loop}", "declared": "1", "by the records": f"{factor:.2f} over {days} days"}
        for loop, (factor, _, days) in found.base.items()
    ]
    return rows


def _explained(found: Forecast) -> Sentences:
    return points(
        [
            "Times what the season calculates: the middle, and in brackets the range that holds it in 8 cases of 10.",
            f"{found.seasons} seasons were run (seed {found.seed}). Errors of records, and what is assumed: "
            "docs/records.md.",
        ],
        "background",
    )


def _residual_rows(found: Forecast, units: str) -> list[dict[str, str]]:
    rows = []
    for one in found.residuals[-_MOST_RESIDUALS:]:
        told, before, after, what = one.told, one.before, one.after, _TOLD.get(one.what, "")
        if one.what in _WEIGHED:
            dimension = _WEIGHED[one.what]
            told, before, after = (to_face(value, dimension, units) for value in (told, before, after))
            what = f"{one.what}, {face_unit(dimension, units)}"
        rows.append(
            {
                "date": format_date(one.date), "of": one.place, "what": what, "recorded": f"{told:.3g}",
                "before": f"{before:.3g}", "after": f"{after:.3g}", "errors off": f"{one.errors_off:+.1f}",
            }
        )  # fmt: skip
    return rows


def _points_data(points_: Any, decimals: int = 3) -> list[float]:
    return [round(float(value), decimals) for value in points_]


def _factor_data(one: Factor) -> dict[str, Any]:
    return {"what": one.what, "place": one.place, "before": _points_data(one.before, 4),
            "after": _points_data(one.after, 4)}  # fmt: skip


def _data(found: Forecast) -> dict[str, Any]:
    cohorts = {}
    for name, band in found.bands.items():
        daily = {"weight_g": band.weight_after, "weight_before_g": band.weight_before, "count": band.count_after,
                 "count_before": band.count_before}  # fmt: skip
        cohorts[name] = {
            "end": {key: _points_data(values[:, -1]) for key, values in daily.items()},
            "planned_g": [round(float(value), 3) for value in found.planned_g[name]],
            "daily": [
                {"date": date.isoformat(), **{key: _points_data(values[:, at]) for key, values in daily.items()}}
                for at, date in enumerate(found.dates)
            ],
        }
    return marked(
        {
            "quantiles": [0.1, 0.5, 0.9],
            "cohorts": cohorts,
            "factors": [_factor_data(one) for one in found.factors],
            "base": {loop: {"factor": round(factor, 4), "error_of_logarithm": round(error, 4), "days": days}
                     for loop, (factor, error, days) in found.base.items()},
            "records": [
                {"what": one.what, "place": one.place, "date": one.date.isoformat(), "told": round(one.told, 5),
                 "before": round(one.before, 5), "after": round(one.after, 5), "errors_off": round(one.errors_off, 3)}
                for one in found.residuals
            ],
            "left_out": list(found.left_out),
            "seasons": found.seasons,
            "seed": found.seed,
        },
        found.site,
    )  # fmt: skip
