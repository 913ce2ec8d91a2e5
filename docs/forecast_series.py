"""Two published growth series fed as records: what the forecast of their own later half gains by the weighing before.

Run ``python docs/forecast_series.py``; it prints the table of [records](records.md). Both are of carp kept in one trial
at 24 degC (Schwarz, Zeitler & Kirchgessner, abstract read; rows ``carp_168g_24c_...`` of `fish_trials.csv`): a weight
at the start, one in the middle, which is given as a record of twenty fish, and one at the end, which is kept back.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
from pathlib import Path

from stocksim.answers.forecast.decide import forecast
from stocksim.book.store import Record
from stocksim.site.reading import site_from_tables

START, WEIGHED = dt.date(2026, 10, 1), 20
# rows of the middle and the end of each series; their days stand in the keys
SERIES = {
    "rich feed": ("carp_168g_24c_52d", "carp_168g_24c_93d"),
    "lean feed": ("carp_168g_24c_61d_lean", "carp_168g_24c_106d_lean"),
}


def points() -> dict[str, tuple[int, float]]:
    """Day and weight [g] of each row."""
    with (Path(__file__).parent / "fish_trials.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["key"]: row for row in csv.DictReader(file)}
    keys = [key for pair in SERIES.values() for key in pair]
    return {key: (int(key.split("_")[3].removesuffix("d")), float(rows[key]["value"])) for key in keys}


def site_of(days: int):
    """A roomy aquarium: ten carp of 168 g that are fed all they take, in water that nothing troubles (invented)."""
    return site_from_tables(
        {
            "site": {"name": "carp of a published trial", "elevation": "0 m"},
            "season": {"start": START, "end": START + dt.timedelta(days=days)},
            "loops": {"main": {"sump": "20 m3", "ph": 7.2, "new_water": "20 m3/day", "evaporation": "0 L/day",
                               "water_temperature": {"kind": "constant", "value": "24 degC"}}},
            "tanks": {"one": {"loop": "main", "volume": "5 m3", "flow": "5 m3/h",
                              "oxygen_supply": {"kind": "diffuser", "power": "400 W"}}},
            "biofilters": {"drum": {"loop": "main", "kind": "submerged", "media_volume": "2 m3",
                                    "specific_surface": "500 m2/m3", "flow": "10 m3/h"}},
            "cohorts": {"carp": {"species": "common_carp", "tank": "one", "count": 10, "mean_weight": "168 g",
                                 "feed": "carp_35", "ration": {"kind": "appetite", "fraction": 1.0}}},
        },
        Path(),
    )  # fmt: skip


def errors(samples: int, seed: int) -> list[dict[str, float | str]]:
    """Of each series: the kept-back weight, and what was forecast for it before and after the record. [g]"""
    told, found = points(), []
    for name, (middle, end) in SERIES.items():
        (day, weight), (last, truth) = told[middle], told[end]
        site = site_of(last)
        held = {"count": float(WEIGHED), "total_g": WEIGHED * weight}
        record = Record("weigh", START + dt.timedelta(days=day), "cohorts.carp", held, number=1)
        band = forecast(site, [record], samples, seed).bands["carp"]
        before, after = (of[:, last - 1] for of in (band.weight_before, band.weight_after))
        found.append({"series": name, "truth_g": truth, "before_g": float(before[1]), "after_g": float(after[1]),
                      "low_g": float(after[0]), "high_g": float(after[2])})  # fmt: skip
    return found


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--samples", type=int, default=300)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    heads = ("series", "end weight, g", "forecast before, g", "error, %", "after, g", "error, %", "its 80 % band, g")
    print(f"| {' | '.join(heads)} |")
    print("|---|---|---|---|---|---|---|")
    for row in errors(given.samples, given.seed):
        off = [100.0 * (row[key] / row["truth_g"] - 1.0) for key in ("before_g", "after_g")]
        print(f"| {row['series']} | {row['truth_g']:.0f} | {row['before_g']:.0f} | {off[0]:+.0f} "
              f"| {row['after_g']:.0f} | {off[1]:+.0f} | {row['low_g']:.0f} to {row['high_g']:.0f} |")  # fmt: skip


if __name__ == "__main__":
    main()
