"""What is uncertain in a season: each thing with its range, where that comes from, and what it moves."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.engine.arrays.fish import DEFAULT_SPILLED_SHARE
from stocksim.fish.normal import normal_score
from stocksim.fish.survival import BACKGROUND_DEATHS_PER_DAY
from stocksim.plants.uptake import HYDROXIDE_HIGH, HYDROXIDE_LOW
from stocksim.water.nitrification import AREAL_RATE, THETA, THETA_COLD
from stocksim.water.oxygen import ALPHA_FISH_WATER, DIFFUSER_KG_PER_KWH

FloatArray = NDArray[np.float64]
Shape = Literal["log", "normal", "flat"]
Grade = Literal["fitted here", "published", "from memory", "assumed"]

# Draws end where one in a hundred would lie beyond, so that no season rests on the far tail of a range.
_TAIL = 0.01
_END = 0.05  # what a range leaves out on either side


class Uncertain(NamedTuple):
    """One thing that is not known, and how far it may lie from what a season takes.

    Parameters
    ----------
    key : str
        Its name in tables and data.
    group : str
        What is measured to know it better: a key of `MEASURED`.
    words : str
        What it is, with its unit.
    low, middle, high : float
        Ends that one season in twenty lies beyond, and what a season takes, which half lie below. Of a ``flat`` one the
        ends of all. NaN where the species or the batch tells them.
    shape : str
        ``log`` and ``normal``: bell-shaped by the logarithm or the number, each side with its own width. ``flat``: even
        on either side of the middle.
    grade : str
        How the range is known.
    source : str
        Where it comes from.
    moves : str
        What of a season it moves.
    """

    key: str
    group: str
    words: str
    low: float
    middle: float
    high: float
    shape: Shape
    grade: Grade
    source: str
    moves: str


# --- ranges that are this question's own

# Spread of feed per gain between trials of one species, as standard deviation of its logarithm: docs/fits.md.
FEED_PER_GAIN_SPREAD = 0.19
# Practical over biological feed conversion 1.0 to 1.4 (engineering judgement of this project).
_LEAST_SPILLED, _MOST_SPILLED = 0.0, 1.0 - 1.0 / 1.4
# A batch with a bacterial disease: 91.6 % of red tilapia alive after 168 days (Rakocy et al. 1997, abstract read).
_DISEASED_PER_DAY = -math.log(0.916) / 168.0
WEIGHED_FISH = 15  # that a keeper nets and weighs at stocking (assumed)
# Water of a loop whose temperature is typed, about what is typed [degC]: assumed, no source. A room or heater that
# holds one temperature keeps it closer than a house that follows the months. From day to day this share stays.
TYPED_WATER_SPREAD_C = {"constant": 0.5, "monthly": 1.0}
TYPED_WATER_PERSISTENCE = 0.95

NAN = math.nan
UNCERTAIN: tuple[Uncertain, ...] = (
    Uncertain(
        "appetite", "appetite", "appetite of a species over its file's, times", NAN, 1.0, NAN, "log", "fitted here",
        "range of intake_scale in the species file: what one more trial of the species is expected to give, 5-95 % "
        "(docs/fits.md)", "feed eaten, growth, waste",
    ),
    Uncertain(
        "body_energy", "growth per feed", "energy that a gram of gain takes, times",
        math.exp(normal_score(_END) * FEED_PER_GAIN_SPREAD), 1.0, math.exp(-normal_score(_END) * FEED_PER_GAIN_SPREAD),
        "log", "fitted here",
        "feed per gain differs between trials of a species by 0.19 on the logarithm (docs/fits.md); laid on the energy "
        "of gain by choice", "growth by feed, feed conversion",
    ),
    Uncertain(
        "spilled_share", "spilled feed", "share of offered feed that nobody eats, where the file has none",
        _LEAST_SPILLED, DEFAULT_SPILLED_SHARE, _MOST_SPILLED, "flat", "assumed",
        "practical over biological feed conversion 1.0 to 1.4, engineering judgement of this project",
        "feed eaten, solids, ammonia",
    ),
    Uncertain(
        "everyday_deaths", "survival", "deaths of every day in good water, 1/day", 5e-5, BACKGROUND_DEATHS_PER_DAY,
        _DISEASED_PER_DAY, "log", "published",
        "bluegill of Hicks et al. 2009 (abstract read) to a batch with a bacterial disease, red tilapia of Rakocy et "
        "al. 1997 (abstract read)", "fish left",
    ),
    Uncertain(
        "oxygen_lethal", "survival", "lethal oxygen of every species, times", 0.7, 1.0, 1.4, "log", "assumed",
        "the species files; range assumed", "deaths when oxygen is short",
    ),
    Uncertain(
        "ammonia_acute", "survival", "un-ionized ammonia that kills half in four days, times", 0.5, 1.0, 2.0, "log",
        "assumed", "the species files; range assumed", "deaths by ammonia",
    ),
    Uncertain(
        "nitrite_lethal", "survival", "nitrite that kills half in four days, times", 0.5, 1.0, 2.0, "log", "assumed",
        "the species files; range assumed", "deaths by nitrite",
    ),
    Uncertain(
        "film_rate", "biofilter", "areal rate of bacteria at full strength and 20 degC, g/m2/day", AREAL_RATE.low,
        AREAL_RATE.value, AREAL_RATE.high, "log", "fitted here", AREAL_RATE.source,
        "ammonia, nitrite, feed that the water tolerates",
    ),
    Uncertain(
        "film_warm", "biofilter", "rise of bacteria's rate per degC", 1.011, THETA, 1.10, "normal", "published",
        "1.1 % where oxygen, 4.3 % where TAN limits: Zhu & Chen 2002 (abstract read); to 1.10 from memory",
        "ammonia in warm and cool water",
    ),
    Uncertain(
        "film_cold", "biofilter", "rise of bacteria's rate per degC below 10 degC", 1.06, THETA_COLD, 1.13, "normal",
        "published", "18 +- 5 % of the rate at 20 degC is left at 1 degC: Hoang et al. 2014 (abstract read); range by "
        "the ends of what is published, 1.06 from a design table", "ammonia in cold water",
    ),
    Uncertain(
        "ammonia_growth", "biofilter", "growth of ammonia bacteria, times", 0.5, 1.0, 2.0, "log",
        "from memory", "growth known to a factor of 2: from memory of US EPA 1975", "how long a young biofilter takes",
    ),
    Uncertain(
        "nitrite_growth", "biofilter", "growth of nitrite bacteria, times", 0.5, 1.0, 2.0, "log", "from memory",
        "the same factor, drawn by itself: other bacteria", "how high nitrite rises in a young biofilter",
    ),
    Uncertain(
        "source_alkalinity", "base", "alkalinity of source water over what is given or usual, times", 0.8, 1.0, 1.25,
        "log", "assumed", "keepers' test kits read in coarse steps; no source", "base to dose, pH",
    ),
    Uncertain(
        "crop_alkalinity", "base", "alkalinity that crops give back, times", HYDROXIDE_LOW / 0.2, 1.0,
        HYDROXIDE_HIGH / 0.2, "normal", "published",
        "0.1 to 0.3 hydroxide a nitrate, half of the middle either way: a text on fertigation, quoted on a web page",
        "base to dose, pH",
    ),
    Uncertain(
        "diffuser", "aeration", "oxygen that a diffuser moves, kg/kWh", 0.5, DIFFUSER_KG_PER_KWH, 1.5, "log",
        "from memory", "0.5 to 1.5 is met with shallow air stones, mean 0.97 from memory of Boyd 1998",
        "oxygen, carbon dioxide, pH",
    ),
    Uncertain(
        "fish_water", "aeration", "transfer into fish water over clean water, of a measured supply", 0.7,
        ALPHA_FISH_WATER, 1.0, "normal", "from memory", "0.9-1 from memory; the lower end assumed", "oxygen",
    ),
    Uncertain(
        "weather", "weather", "which of the drawn years the water has, by their mean", 0.0, 0.5, 1.0, "flat", "assumed",
        "computed loops: normals with anomalies that persist from day to day (docs/heat.md); typed loops: 0.5 degC "
        "about one constant temperature and 1 degC about monthly ones, 0.95 staying from day to day, no source; logged "
        "loops: as logged", "all that temperature moves",
    ),
    Uncertain(
        "start_weight", "starting weights", "mean weight of a batch at stocking, times", NAN, 1.0, NAN, "normal",
        "assumed", f"standard error of {WEIGHED_FISH} netted fish by the batch's spread of sizes; how many are weighed "
        "is assumed", "weights, density, feed",
    ),
)  # fmt: skip

# What to do to know the things of each group better, in the order of telling.
MEASURED: dict[str, str] = {
    "appetite": "weigh a sample of each batch four weeks after stocking and again four weeks later",
    "growth per feed": "weigh out feed and weigh fish for a month: feed over gain",
    "spilled feed": "catch and count the pellets that are left after a meal",
    "survival": "write down every dead fish with its date",
    "biofilter": "test ammonia and nitrite once a week, and write the tests into the site file",
    "base": "test alkalinity of the source and of each loop once a week",
    "aeration": "measure oxygen at dawn in each tank",
    "weather": "log the water temperature of each loop",
    "starting weights": "weigh fifty fish of each batch instead of fifteen",
}


def quantile(one: Uncertain, share: ArrayLike, low: float | None = None, high: float | None = None) -> FloatArray:
    """Value of an uncertain thing that a share of seasons lies below.

    Parameters
    ----------
    one : Uncertain
        The thing.
    share : array_like, shape (...)
        0 to 1. [-]
    low, high : float, optional
        Ends of its range where it has none of its own.

    Returns
    -------
    ndarray, shape (...)
        In its unit.
    """
    from scipy.special import ndtri  # slow to import, and help starts without it

    u = np.asarray(share, float)
    below = one.low if low is None else low
    above = one.high if high is None else high
    middle = one.middle
    if one.shape == "flat":
        return np.where(u < 0.5, below + (middle - below) * 2.0 * u, middle + (above - middle) * (2.0 * u - 1.0))
    # cut at both tails and stretched, so that a twentieth of what is drawn still lies beyond each end
    cut = 1.0 - 2.0 * _TAIL
    score = ndtri(_TAIL + cut * u) / -ndtri(_TAIL + cut * _END)
    if one.shape == "log":
        side = np.where(score < 0.0, math.log(middle / below), math.log(above / middle))
        return np.asarray(middle * np.exp(score * side))
    return np.asarray(middle + score * np.where(score < 0.0, middle - below, above - middle))
