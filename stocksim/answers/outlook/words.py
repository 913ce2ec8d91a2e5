"""What an outlook says in words: chances, dates, bands, and what to measure next.

Apart from `answer`, which puts them in their order.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from stocksim.drawn.beside import Beside, Difference
from stocksim.drawn.outlook import Chance, Outlook, matters_most
from stocksim.drawn.ranges import MEASURED
from stocksim.drawn.years import YEARS
from stocksim.faces.chance_words import KEPT_WORDS, chance_words, likely_words, limit_place, seasons_words
from stocksim.faces.words import day_words, level_words
from stocksim.site.kinds import LIMITS
from stocksim.units import format_quantity

# Columns that fan charts show; text shows none, and only data has all of them.
FAN_COLUMNS = (
    "cohorts.mean_weight_g", "tanks.density_kg_m3", "tanks.oxygen_min_mg_l", "tanks.unionized_ammonia_max_mg_l",
)  # fmt: skip
_LEAST_TOLD = 0.01  # a limit broken in fewer seasons is not listed
# Outputs that what matters is told of, in the order of telling, and what each is called.
TOLD_OUTPUTS = {
    "growth_kg": "how much fish grows",
    "deaths": "how many fish die",
    "margin_percent oxygen": "the least room to the oxygen limits",
    "margin_percent unionized_ammonia": "the least room to the ammonia limits",
    "margin_percent nitrite": "the least room to the nitrite limits",
    "base_g": "how much base is dosed",
}
_TOTALS = {"deaths": "fish that die", "growth_kg": "growth", "feed_kg": "feed", "base_g": "base"}
_REAL = 0.95  # of the seasons: so many agree on a difference that is called real (our choice)
_MATTERS = 0.05  # a share of the spread below this is not told
_TO_MEASURE = 3


def verdict(found: Outlook) -> str:
    """How sure it is that every batch keeps nine tenths of its fish, and what breaks most often."""
    first = f"No fish are kept here, so none are lost in any of {found.number:,} seasons."
    if found.losses:
        first = (
            f"{likely_words(found.safe_share)} that every batch keeps {KEPT_WORDS} of its fish: it does in "
            f"{seasons_words(found.safe_share)}, of {found.number:,} drawn from what is uncertain."
        )
    return f"{first} {_most_often(found)}"


def _most_often(found: Outlook) -> str:
    worst = found.limits[0] if found.limits else None
    if worst is None or worst.share < _LEAST_TOLD:
        return "No limit is broken in more than 1 season of 100."
    when = f", first between {_span_words(worst)}" if worst.dates else ""
    return (
        f"Most often broken: {LIMITS[worst.what].broken} {limit_place(worst.where)}, in "
        f"{seasons_words(worst.share)}{when}."
    )


def place_words(where: str) -> str:
    """Name of a place without its table, as ``tank cedar``."""
    table, name = where.split(".", 1)
    return {"tanks": f"tank {name}", "loops": f"loop {name}", "cohorts": name}[table]


def _span_words(one: Chance) -> str:
    return f"{day_words(one.dates[0])} and {day_words(one.dates[-1])}"


def _dates_words(one: Chance) -> str:
    return f"{day_words(one.dates[0])} to {day_words(one.dates[-1])}" if one.dates else ""


def limit_rows(found: Outlook, units: str) -> list[dict[str, str]]:
    """A row for each limit that breaks in one season of a hundred or more."""
    return [
        {
            "limit": LIMITS[one.what].broken,
            "where": place_words(one.where),
            "seasons": chance_words(one.share),
            "first broken": _dates_words(one),
            "worst of a season": range_words([level_words(value, one.unit, units) for value in one.worst]),
            "limit at": level_words(one.threshold, one.unit, units),
        }
        for one in found.limits
        if one.share >= _LEAST_TOLD
    ]


def range_words(three: Sequence[str]) -> str:
    """Three texts with one unit as one, the ends around the middle."""
    low, middle, high = (text.split(" ", 1)[0] for text in three)
    unit = three[1].split(" ", 1)[1] if " " in three[1] else ""
    return f"{middle} ({low} to {high}) {unit}".rstrip()


def batch_rows(found: Outlook, units: str) -> list[dict[str, str]]:
    """A row for each batch: fish and mean weight at its end, and the chance of losing a tenth."""
    losses = {one.where.split(".", 1)[1]: one for one in found.losses}
    rows = []
    for cohort in dict.fromkeys(found.draws.layout.cohorts):
        root = found.draws.layout.stays[found.draws.layout.cohorts.index(cohort)].root
        loss = losses.get(root)
        weight = found.outputs[f"weight_g {cohort}"]
        shown = [format_quantity(one, "weight", units) for one in weight] if math.isfinite(weight[1]) else ["", "", ""]
        rows.append(
            {
                "batch": cohort,
                "fish at the end": range_words([f"{one:.0f}" for one in found.outputs[f"fish {cohort}"]]),
                "mean weight": range_words(shown) if shown[1] else "",
                "loses a tenth": chance_words(loss.share) if loss else "",
                "between": _dates_words(loss) if loss else "",
            }
        )
    return rows


def total_rows(found: Outlook, units: str) -> list[dict[str, str]]:
    """A row for each total of the season."""
    rows = []
    for key, words in (("feed_kg", "feed"), ("growth_kg", "growth"), ("base_g", "base")):
        factor = 0.001 if key.endswith("_g") else 1.0
        three = [format_quantity(factor * value, "mass", units) for value in found.outputs[key]]
        rows.append({"of the season": words, "middle (8 of 10 seasons)": range_words(three)})
    conversion = found.outputs["feed_conversion_offered"]
    if math.isfinite(conversion[1]):
        words = range_words([f"{value:.2f}" for value in conversion])
        rows.append({"of the season": "feed for growth", "middle (8 of 10 seasons)": words})
    deaths = range_words([f"{value:.0f}" for value in found.outputs["deaths"]])
    return [*rows, {"of the season": "fish that die", "middle (8 of 10 seasons)": deaths}]


def told_outputs(found: Outlook) -> list[str]:
    """Outputs of which it is known what matters."""
    return [key for key in TOLD_OUTPUTS if key in found.indices]


def measure_sentences(found: Outlook) -> list[str]:
    """What to measure next, what matters most first."""
    outputs = told_outputs(found)
    made = dict.fromkeys(found.draws.groups, 0.0)
    shares: dict[str, list[tuple[float, str]]] = {group: [] for group in found.draws.groups}
    for output in outputs:
        for group, total, error in matters_most(found, output):
            made[group] += total
            if total >= max(_MATTERS, 2.0 * error):
                shares[group].append((total, TOLD_OUTPUTS[output]))
    order = sorted((group for group in made if shares[group]), key=lambda group: -made[group])
    sentences = []
    for group in order[:_TO_MEASURE]:
        told = sorted(shares[group], reverse=True)[:3]
        parts = [f"{min(100.0 * share, 100.0):.0f} % of the spread of {words}" for share, words in told]
        said = f"{', '.join(parts[:-1])} and {parts[-1]}" if len(parts) > 1 else parts[0]
        verb = "makes" if group not in ("starting weights",) else "make"
        sentences.append(f"{MEASURED[group][:1].upper()}{MEASURED[group][1:]}: {group} {verb} {said}.")
    return sentences


def index_rows(found: Outlook) -> list[dict[str, str]]:
    """A row for each group: its total index of every output that is told, with its error."""
    rows = []
    for at, group in enumerate(found.draws.groups):
        row = {"what is uncertain": group}
        for output in told_outputs(found):
            index = found.indices[output]
            row[_SHORT[output]] = f"{100.0 * index.total[at]:.0f} ± {100.0 * index.total_error[at]:.0f}"
        rows.append(row)
    return rows


_SHORT = {
    "growth_kg": "growth, %", "deaths": "deaths, %", "margin_percent oxygen": "oxygen, %",
    "margin_percent unionized_ammonia": "ammonia, %", "margin_percent nitrite": "nitrite, %", "base_g": "base, %",
}  # fmt: skip


def beside_sentences(found: Beside) -> list[str]:
    """How often all holds in either of two sites, and whether their deaths differ."""
    told = [
        f"Every limit holds in {seasons_words(found.kept[1])} with {found.name}, in "
        f"{seasons_words(found.kept[0])} without. Every batch keeps nine tenths of its fish in "
        f"{seasons_words(found.safe[1])} with, in {seasons_words(found.safe[0])} without."
    ]
    deaths = next(one for one in found.differences if one.key == "deaths")
    return [*told, _real_words(deaths, found.name)]


def _real_words(deaths: Difference, name: str) -> str:
    """Whether one has fewer deaths in nearly all seasons."""
    fewer = f"Fewer fish die with {name} in {seasons_words(deaths.less_share)}, more in "
    fewer += seasons_words(deaths.more_share)
    if max(deaths.less_share, deaths.more_share) >= _REAL:
        return f"{fewer}: a real difference, for both had the same luck, appetite and water."
    if deaths.less_share == deaths.more_share == 0.0:
        return f"As many fish die with {name} as without, in every season."
    return f"{fewer}: which is better is not sure, though both had the same luck, appetite and water."


def beside_limit_rows(found: Beside) -> list[dict[str, str]]:
    """A row for each limit that breaks in one season of a hundred or more of either."""
    rows = []
    for one, other in found.limits:
        met = one or other
        assert met is not None
        if max(each.share for each in (one, other) if each is not None) >= _LEAST_TOLD:
            rows.append(
                {
                    "limit": LIMITS[met.what].broken,
                    "where": place_words(met.where),
                    "seasons without": chance_words(one.share) if one else "no such place",
                    "with": chance_words(other.share) if other else "no such place",
                }
            )
    return rows


def beside_total_rows(found: Beside, units: str) -> list[dict[str, str]]:
    """A row for each total of the season, in either site and season by season."""
    rows = []
    for one in found.differences:
        factor = 0.001 if one.key.endswith("_g") else 1.0

        def told(values: tuple[float, ...], of: str = one.key, times: float = factor) -> str:
            if of == "deaths":
                return range_words([f"{value:.0f}" for value in values])
            return range_words([format_quantity(times * value, "mass", units) for value in values])

        rows.append(
            {
                "of the season": _TOTALS[one.key],
                "without": told(one.one),
                "with": told(one.other),
                "more with it": told(one.more),
                "more in": chance_words(one.more_share),
                "less in": chance_words(one.less_share),
            }
        )
    return rows


def notes(found: Outlook) -> list[str]:
    """How the seasons were drawn."""
    told = []
    if found.number != found.asked:
        told.append(f"{found.asked:,} seasons were asked for; {found.number:,} were run, the next power of two.")
    told.append(
        f"Drawn with seed {found.seed}; the same seed gives the same answer. Every range stands in "
        "docs/uncertainty.md; several are assumed, and all are drawn apart from each other."
    )
    told.append("Which fish die is luck: each by itself, with the chance that its season gives it.")
    told.append(
        f"Water is that of {YEARS} drawn years, so that nothing rarer is shown. Nobody in these seasons feeds less or "
        "adds air when a test goes wrong; disease is in it only as a batch that loses some 8 % in half a year, failing "
        "pumps and heaters are not."
    )
    return told


def cautions() -> list[str]:
    """What an outlook must not be taken for."""
    return [
        "A chance of the model is no promise: test the water, look at the fish, and ask a veterinarian where fish die."
    ]
