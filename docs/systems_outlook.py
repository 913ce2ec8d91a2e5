"""The outlook of every published system: does what was measured lie in the bands as often as they claim?

Apart from `systems`, which writes it into docs/systems.md, for it draws seasons where that runs one.

Besides all that docs/uncertainty.md draws, each season draws what the system's paper does not tell, evenly on either
side of the middle that tests/systems/assumed.csv has for it.
"""

from __future__ import annotations

import sys
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from scipy.stats import binom, binomtest, qmc

sys.path.insert(0, str(Path(__file__).resolve().parent))  # pytest loads this file from another folder

import systems

import stocksim
from stocksim.drawn.draws import prepared
from stocksim.drawn.one_by_one import dead_of
from stocksim.drawn.outlook import SHARES
from stocksim.engine.arrays.beds import build_planting
from stocksim.engine.arrays.tables import with_numbers
from stocksim.engine.results.frames import Season
from stocksim.engine.season import simulate
from stocksim.errors import InputError
from stocksim.units import parse_quantity

SEASONS, SEED = 256, 1
FEW_SEASONS = {"hoophouse_rafts": 32}  # a year of heat each
DIMENSIONS = ("volume", "flow", "area", "length", "weight", "temperature", "power", "concentration", "oxygen_rate",
              "specific_surface", "planting_ratio")  # fmt: skip


class Held(NamedTuple):
    """A published number beside the band of the outlook."""

    system: str
    what: str
    published: float
    low: float
    middle: float
    high: float

    @property
    def place(self) -> str:
        """Where the published number lies."""
        if self.published < self.low:
            return "below"
        return "above" if self.published > self.high else "inside"


def between(low: str, middle: str, high: str, share: float) -> str | float:
    """A value of what is assumed: evenly from low to middle and from middle to high; of names one of three."""
    cells = (low, middle, high)
    for dimension in DIMENSIONS:
        try:
            ends = [parse_quantity(cell, dimension) for cell in cells]
        except InputError:
            continue
        unit = low.split(" ", 1)[1]
        numbers = [float(cell.split(" ", 1)[0]) for cell in cells]
        assert len({cell.split(" ", 1)[1] for cell in cells}) == 1, cells
        assert ends == sorted(ends)
        return f"{_drawn(*numbers, share):.6g} {unit}"
    try:
        least, usual, most = (float(cell) for cell in cells)
    except ValueError:
        return cells[min(int(3.0 * share), 2)]
    value = _drawn(least, usual, most, share)
    return round(value) if all(cell.isdigit() for cell in cells) else float(f"{value:.6g}")


def _drawn(low: float, middle: float, high: float, share: float) -> float:
    return low + (middle - low) * 2.0 * share if share < 0.5 else middle + (high - middle) * (2.0 * share - 1.0)


@lru_cache(maxsize=64)
def drawn(system: str, measures: tuple[str, ...]) -> dict[str, np.ndarray]:
    """Each measure of a system in every season drawn."""
    number = FEW_SEASONS.get(system, SEASONS)
    site = stocksim.load_site(systems.SYSTEMS / f"{system}.toml")
    assumed = [row for row in systems.rows("assumed.csv") if row["system"] == system]
    width = len(prepared(site, SEED, 1).axes)
    # what is assumed after what is uncertain, so that seasons of two systems of one rig share the latter
    points = qmc.Sobol(60, seed=np.random.default_rng(SEED)).random(number)[:, : width + 2 + len(assumed)]
    found: dict[str, list[float]] = {measure: [] for measure in measures}
    for at, point in enumerate(points):
        fields = {
            row["field"]: between(row["low"], row["middle"], row["high"], share)
            for row, share in zip(assumed, point[width + 2 :], strict=True)
        }
        season = _season(site.with_changes(fields), point[: width + 2], at)
        for number_of, measure in enumerate(measures):
            value = systems.measured(season, measure)
            if measure.startswith("survival:"):
                value = _lived(site, measure, value, np.random.default_rng([SEED, at, number_of]).random())
            found[measure].append(value)
    return {measure: np.array(values) for measure, values in found.items()}


def _lived(site: Any, measure: str, chance: float, luck: float) -> float:
    """Survival of the batch's whole fish, where each lives with the season's chance."""
    fish = site.file.cohorts[measure.partition(":")[2]].count
    return 1.0 - float(dead_of(fish, 1.0 - chance, luck)) / fish


def _season(site: Any, point: np.ndarray, at: int) -> Season:
    """One drawn season of a site, with a year of water of its own."""
    draws = prepared(site, SEED + at, 1)
    arrays = draws.arrays(point[None, : len(draws.axes)])
    layout = with_numbers(draws.layout, {name: array[0] for name, array in arrays.items()})
    return Season(site, layout, simulate(layout), build_planting(site))


def held() -> list[Held]:
    """Every output that has a published number, beside its band."""
    wanted: dict[str, set[str]] = {}
    judged = [row for row in systems.rows("outputs.csv") if row["published"]]
    for row in judged:
        kind, _, other = row["measure"].partition(" / ")
        for system in (row["system"], other) if other else (row["system"],):
            wanted.setdefault(system, set()).add(kind)
    found = []
    for row in judged:
        kind, _, other = row["measure"].partition(" / ")
        values = drawn(row["system"], tuple(sorted(wanted[row["system"]])))[kind]
        if other:
            values = values / drawn(other, tuple(sorted(wanted[other])))[kind]
        low, middle, high = np.quantile(values, SHARES)
        found.append(Held(row["system"], row["output"], float(row["published"]), low, middle, high))
    return found


def _share(found: list[Held]) -> str:
    inside = sum(one.place == "inside" for one in found)
    return f"{inside} of {len(found)} ({100.0 * inside / max(len(found), 1):.0f} %)"


def lines() -> list[str]:
    """Lines of the page."""
    found = held()
    papers: dict[str, list[bool]] = {}
    for one in found:
        papers.setdefault(systems.paper_of(one.system), []).append(one.place == "inside")
    by_paper = 100.0 * float(np.mean([np.mean(met) for met in papers.values()]))
    lived = [one for one in found if one.what.startswith("survival")]
    others = [one for one in found if one not in lived]
    inside = sum(one.place == "inside" for one in found)
    bounds = binomtest(inside, len(found)).proportion_ci(0.95)
    ends = [100.0 * bounds.low, 100.0 * bounds.high]
    chance = float(binom.cdf(inside, len(found), SHARES[-1] - SHARES[0]))
    below, above = (sum(one.place == side for one in others) for side in ("below", "above"))
    return [
        "## The outlook of every system",
        "",
        f"{SEASONS} seasons of each system ({FEW_SEASONS['hoophouse_rafts']} of the hoophouse) with all that "
        "[uncertainty](uncertainty.md) lists",
        "drawn anew, and what is assumed of the system drawn between its low and high value. The band is what 8 of 10",
        "seasons lie between, so 80 % of what was measured should lie inside, and less where the measurement errs too.",
        "",
        f"**{_share(found)} of the outputs that have a published number lie inside**; where each of {len(papers)} "
        f"papers or rigs counts once, {by_paper:.0f} %.",
        f"Of survivals {_share(lived)} do, of all others {_share(others)}: {below} of these lie below their band, "
        f"{above} above.",
        "",
        f"Were outputs apart from each other, such a count would come of a true share between {ends[0]:.0f} and",
        f"{ends[1]:.0f} % (binomial, 95 %), and so few of 80 % with a chance of {100.0 * chance:.2g} %. They are not:",
        "rows of one trial lie inside or outside together. Several lie near an end: with 64 seasons each, drawn in",
        "three ways, the count was 32, 34 and 35.",
        "",
        "So the bands are too narrow. Of a survival the fish are counted: each fish of the site file's batch dies by",
        "itself with the chance that the season gives it. What lies outside, by what is not drawn:",
        "",
        "- survival: handling, jumping out, cannibals and disease. In half of the seasons good water takes 2.6 % of",
        "  the fish a year or less, and papers tell of more, most of all of fry and in small tanks. No source with a",
        "  range was found that is not one of these papers, so none is drawn. The high end that is drawn was taken",
        "  from one of them: they are no blind test either.",
        "- crops (tomato): what a crop grows and holds is not drawn, and the model gives a quarter of the fruit.",
        "- how pH and alkalinity slow a film (perlite): half rates are compiled in.",
        "- un-ionized ammonia that hinders nitrite bacteria (new film): sources conflict over a factor of a hundred;",
        "  it is compiled in.",
        "- what films denitrify in their depths (trout reuse, nitrate of the slow exchange): no rate of it was found.",
        "- heat of a house (hoophouse energy): insulation and leaks are taken as built.",
        "- errors of measuring: papers seldom tell them, so none are drawn. True bands are wider by them.",
        "",
        "| system | output | published | 1 in 10 below | middle | 1 in 10 above | published lies |",
        "|---|---|---|---|---|---|---|",
        *(
            f"| {one.system} | {one.what} | {one.published:g} | {one.low:.3g} | {one.middle:.3g} | {one.high:.3g} | "
            f"{one.place if one.place == 'inside' else f'**{one.place}**'} |"
            for one in found
        ),
    ]


if __name__ == "__main__":
    sys.stdout.write("\n".join(lines()) + "\n")
