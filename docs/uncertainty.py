"""Write docs/uncertainty.md from the table of what is uncertain.

python docs/uncertainty.py
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

from stocksim.drawn.ranges import MEASURED, UNCERTAIN, Uncertain

PAGE = Path(__file__).resolve().parent / "uncertainty.md"

BEGIN = """# What is uncertain, and how an outlook draws it

Written by `python docs/uncertainty.py`; do not edit by hand. `stocksim outlook` and `stocksim.outlook(site, n,
seed)` run a season many times, each with everything in this table drawn anew. Code:
`stocksim/drawn/`.

*Low* and *high* are the ends that one season in twenty lies beyond on each side; of *even* ones the ends of
all. *Middle* is what a plain season takes, and half of the seasons lie on either side of it. Bell-shaped ranges
are by the number or by its logarithm, each side with its own width, and end where one in a hundred would lie
beyond. *How known*: fitted here, published, from memory, or assumed, which is what it says: nobody measured it.

| what | low | middle | high | shape | how known | moves |
|---|---|---|---|---|---|---|
"""
SHAPES = {"log": "bell, logarithm", "normal": "bell", "flat": "even"}
END = """
Each of these is drawn by itself. In truth some hang together (a keeper who overfeeds also spills), which is not
in it. Appetite and the energy of gain are drawn once for each species, starting weights once for each batch,
all else once for the site: two tanks have not two strengths of film.

## Years of water

A bank of 64 years is made first. Of a loop whose water is computed each year is a season of weather drawn about
the normals, persisting from day to day ([heat](heat.md)), run through the heat balance; of a typed loop it is
what is typed with anomalies that persist; a logged loop stays as logged. Years stand from the coldest water to
the warmest, and an outlook draws one for each season, with the heat that its weather takes. So nothing rarer than
one year in 64 can be told; crops, and films on the first morning, stay as in the plain season. A loop that stands
typed at one temperature moves by 0.5 degC whether a heater can hold that or not: compute the water to see that.
Where no loop's water differs between years (all are logged), heat is that of the plain season.

## Fish die one by one

What is drawn gives each fish of a batch a chance to die; which do is luck, drawn for each batch and season by the
binomial law, as if each died by itself. So a batch of ten loses one, a tenth, in far more seasons than a batch of a
thousand loses a hundred. Deaths, fish at the end and the chance and day of losing a tenth have this luck in them;
weights, water and the columns day by day go on with the share. No measuring removes it: what matters most leaves it
out. What kills a whole tank gives every fish nearly the same chance, which the law keeps.

## Points

Points are scrambled Sobol points (scipy.stats.qmc), a power of two of them, which fill the cube more evenly
than random ones. Values are counted day by day in 64 fixed bins, laid by the first 128 seasons, and two for
what lies beyond; so memory does not grow with the seasons, and an end of a band is off by one bin at most, 2.5
% of what those seasons spanned. Counts are whole numbers, so neither threads nor the order of seasons change a
digit.

## What matters most

Of each group of uncertain things the outlook tells the *total* Sobol index: the share of an output's variance
that would be left on average if all else were known (after Jansen 1999, from memory), and the *first* order:
the share that would go if it alone were known. Errors are standard deviations over resampled points. The
indices of the Ishigami function are met (`tests/test_outlook.py`). What to measure, by group:

"""
LEFT = """
## Two sites in the same seasons

`outlook SITE --beside OTHER` and `--advised`, which takes what the season advises first, draw the other with common
random numbers: what is uncertain in both, and the luck of a batch of one name, has one value in a season; what only the
other has is drawn by itself. So a difference is what the sites make of the same season, and its variance is that of
either less twice their covariance (`tests/test_outlook_beside.py`). A difference is called real where 95 of 100 seasons
agree on its sign. Weather is common as far as both have the same loops and house.

## Where else seasons are drawn

- **The verdict of a season**: `season --chance`, and a button on the page *Season*, draw 256 seasons with seed 1 and
  tell how often the limit that the verdict names first is broken, or how often all hold, how often every batch keeps
  nine tenths, and the same with what is advised, in the same seasons. Nearly sure is 97.5 of 100 or more, very likely
  90, likely 65, even chances 35 (our choice). A share of 256 seasons has a standard error of 3 of 100 at most. The
  picture then has the bands of density, and of the area that the handbooks' ratio carries.
- **A plan**: `stock --hold-in "9 of 10"` takes fish out by date until the plan holds in so many, by 128 seasons, and is
  judged by 256 others, of another seed ([stocking](stocking.md)).
- **Cold nights**: `powercut` and `cold` draw 1,000 years of days about the normals and tell how many winters have so
  cold a night, and how long fish bear a cut in it ([power cut](powercut.md)).
- **A book that differs from the plan**: `forecast` fits appetite and others to what was weighed
  ([records](records.md)).
- **The columns** of an outlook's data are all numeric ones of the season's files: fish, tanks, loops, beds and heat.
  Text has none, the page four, for each takes time.

## What is not in it

- What the model itself leaves out: disease beyond the range of every day's deaths, handling, failed pumps and heaters,
  predators, mistakes.
- Half rates of films by alkalinity, ammonia and oxygen, and the limits at which fish go off their feed: they
  are compiled in or are what a season is judged by. `python docs/systems_constants.py` moves them one at a
  time.
- What a keeper would do: nobody feeds less or adds air in these seasons when a test goes wrong.
- Sunlight and outdoor temperature of crops; volumes and flows, which a keeper can measure.
- Whether the ranges are right: [systems](systems.md) holds them against published systems and prints how often
  these lie inside.
"""


def _number(value: float) -> str:
    return "" if math.isnan(value) else f"{value:.3g}"


def _row(one: Uncertain) -> str:
    own = math.isnan(one.low)
    low, high = ("by species", "by species") if own and one.key == "appetite" else (_number(one.low), _number(one.high))
    if own and one.key == "start_weight":
        low = high = "by batch"
    return f"| {one.words} | {low} | {_number(one.middle)} | {high} | {SHAPES[one.shape]} | {one.grade} | {one.moves} |"


def text() -> str:
    """The page."""
    rows = "\n".join(_row(one) for one in UNCERTAIN)
    sources = "\n".join(f"- *{one.words}*: {one.source}." for one in UNCERTAIN)
    groups = "\n".join(f"- **{group}**: {words}." for group, words in MEASURED.items())
    return f"{BEGIN}{rows}\n\nWhere each range comes from:\n\n{sources}\n{END}{groups}\n{LEFT}"


if __name__ == "__main__":
    PAGE.write_text(text(), encoding="utf-8")
    sys.stdout.write(f"{PAGE}\n")
