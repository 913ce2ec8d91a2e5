"""What the report adds to the answers that it joins: where all stands, and what to buy."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from stocksim.answers.report.shopping import Item, shopping
from stocksim.changes.ways import Advice
from stocksim.engine.results.frames import Season
from stocksim.faces.answer import Head, Part, Section, Sentences, Table
from stocksim.units import format_date, format_quantity

_UNSOURCED = (
    "How long things keep is common practice, no source; the label of your bag or can wins. Amounts are those of the "
    "model's season, and as sure as that: buy the next lot when this one runs low. Costs in the money of your file."
)
_FUEL_CARE = "Store fuel, base and chelate locked, apart from feed and from each other, as labels and local codes ask."


def report_sections(season: Season, advice: Advice | None, day: dt.date) -> Sequence[Section]:
    """Where all stands on a day, and what to buy from then on."""
    items = shopping(season, day)
    bought: list[Part] = [Head("What to buy, by date")]
    if items:
        bought += [Table([_item_row(item, season.site.file.site.units) for item in items])]
        bought += [Sentences([_UNSOURCED, _FUEL_CARE], "note")]
    else:
        bought.append(Sentences(["Nothing is fed, dosed or burned in what is left of the season."]))
    return [Section("plan", _plan_parts(season, day)), Section("shopping", bought)]


def _item_row(item: Item, units: str) -> dict[str, str]:
    amount = f"{item.amount:,.0f} {item.unit}" if math.isnan(item.kg) else format_quantity(item.kg, "mass", units)
    return {
        "by": format_date(item.by),
        "what": item.what,
        "amount": amount,
        "cost": "no price given" if item.cost is None else f"{item.cost:,.0f}",
        "keeps": item.keeps,
        "for": item.use,
    }


def _plan_parts(season: Season, day: dt.date) -> list[Part]:
    """A row for each tank with its fish, and for each bed with its crops, on a day."""
    file, units = season.site.file, season.site.file.site.units
    at, layout, course = season.dates.index(day), season.layout, season.course
    tanks = []
    for number, (tank, table) in enumerate(file.tanks.items()):
        fish: dict[str, tuple[float, float]] = {}
        for column, cohort in enumerate(layout.cohorts):
            count = float(course.count[0, at, column])
            if layout.cohort_tank[column, number] > 0.0 and count >= 0.5:
                before = fish.get(cohort, (0.0, 0.0))
                grams = count * float(course.weight_g[0, at, column])
                fish[cohort] = (before[0] + count, before[1] + grams)
        words = [
            f"{count:.0f} {cohort} of {format_quantity(grams / count, 'weight', units)}"
            for cohort, (count, grams) in fish.items()
        ]
        volume = format_quantity(table.volume, "volume", units)
        tanks.append({"tank": tank, "loop": table.loop, "volume": volume, "fish": "; ".join(words) or "no fish"})
    beds = [
        {
            "bed": bed,
            "loop": table.loop,
            "kind and area": f"{table.kind}, {format_quantity(table.area, 'area', units)}",
            "crops": "; ".join(
                f"{one.crop} {format_date(one.start)} to {format_date(one.end)}" for one in table.plantings
            )
            or "none",
        }
        for bed, table in file.beds.items()
    ]
    head = f"What stands where on {format_date(day)}"
    return [Head(head), Table(tanks), *([Table(beds, gap=True)] if beds else [])]
