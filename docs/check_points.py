"""Published growth, loss, feed and waste points that the fish species are fitted to and judged by.

A check takes a fish (anything with the methods of `Fish`) and gives one number. `expect` is the published
figure, `low` and `high` the tolerance agreed before fitting; a check without `expect` is only a range. `used`
marks points the fit has seen: they show calibration, not validation.
Read grades in brackets: [abstract] the abstract was read, [secondary] a page quoting the source was read,
[memory] recalled and not read, [ours] our own assumption.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from scipy.optimize import brentq
from trial_feeds import TrialFeed, feed_of, on_feed

from stocksim.fish import energetics as fish_energy
from stocksim.fish.growth import appetite_rate
from stocksim.library.species import load_species

# Share of full appetite, or a function of the day, the weight [g] and the full appetite [g/day] that gives it.
Ration = float | Callable[[int, Any, Any], Any]
# Protein digested, used only for D25. Feed files carry their own value, also 0.88.
PROTEIN_DIGESTED = 0.88
_MAINTENANCE = ("maintenance_at_20", "maintenance_q10_cold", "maintenance_q10_warm")


class Check(NamedTuple):
    """One number a species must meet."""

    id: str
    species: str
    what: str
    value: Callable[[Any], Any]
    expect: float | None
    low: float
    high: float
    used: bool
    source: str
    trial: str = ""  # points of one trial share its scale of appetite; "" bears on the shape alone
    measure: str = ""  # row of TOLERANCES in fish_trials, where the point comes from its table
    width: float = 0.0  # what counts as a miss of one in a fit; a quarter of the tolerance where it is 0
    unsafe: str = "low"  # side on which a miss makes feed, ammonia and filter too small; "" where neither does
    feed: TrialFeed | None = None  # what the trial fed, where told; `value` runs on it

    def fed(self) -> Check:
        """The check on the feed that its source tells."""
        feed = feed_of(self.id)
        return self if feed is None else self._replace(value=on_feed(self.value, feed), feed=feed)


class Run(NamedTuple):
    """Totals of one growth run; arrays of shape (temperatures, trials)."""

    end: np.ndarray
    eaten: np.ndarray
    oxygen: np.ndarray
    tan: np.ndarray


class Fish:
    """A species for many trial values at once, on the functions and the daily step of the shipped model."""

    def __init__(self, number: Callable[[str], float | np.ndarray], feed: TrialFeed | None = None):
        energy, protein = (None, None) if feed is None else (feed.energy, feed.protein)
        self.number = number
        self.feed = energy or number("fitted_feed_energy")
        protein = protein or number("fitted_feed_protein")
        self.nitrogen = protein * PROTEIN_DIGESTED / fish_energy.PROTEIN_PER_NITROGEN
        self.middle_temperature = 0.5 * (number("growth_temperature_low") + number("growth_temperature_high"))
        self._runs: dict[tuple, Run] = {}
        self._on: dict[TrialFeed, Fish] = {}

    def on(self, feed: TrialFeed) -> Fish:
        """The same fish on another feed, of which they eat the same grams."""
        if feed not in self._on:
            self._on[feed] = Fish(self.number, feed)
        return self._on[feed]

    def appetite(self, temperature: float) -> np.ndarray:
        return appetite_rate(self.number, temperature)

    def maintenance_percent(self, weight: float, temperature: float) -> np.ndarray:
        need = fish_energy.maintenance_energy(weight, temperature, *(self.number(key) for key in _MAINTENANCE))
        return 100.0 * need / self.feed / weight

    def growth(self, start: float, temperatures: tuple[float, ...], days: int, ration: Ration = 1.0) -> Run:
        key = (start, temperatures, days, ration)
        if key not in self._runs:
            *_, self._runs[key] = self._days(start, temperatures, days, ration)
        return self._runs[key]

    def sgr(self, start: float, temperatures: tuple[float, ...], days: int) -> np.ndarray:
        return 100.0 * np.log(self.growth(start, temperatures, days).end / start) / days

    def days_to(self, start: float, end: float, temperature: float, limit: int) -> np.ndarray:
        before, day_reached = np.full_like(self.appetite(temperature), start), np.nan
        for day, run in enumerate(self._days(start, (temperature,), limit, 1.0)):
            weight = run.end[0]
            crossing = (before < end) & (weight >= end)
            day_reached = np.where(crossing, day + (end - before) / (weight - before), day_reached)
            before = weight
            if np.all(weight >= end):
                break
        return np.where(np.isnan(day_reached), float(limit), day_reached)

    def _days(self, start, temperatures, days, ration):
        number, feed = self.number, self.feed
        column = np.array(temperatures)[:, None]
        rate = appetite_rate(number, column)
        per_kg = fish_energy.maintenance_rate(column, *(number(key) for key in _MAINTENANCE))
        efficiency, fasting = number("growth_efficiency"), number("fasting_loss_fraction")
        body, protein = number("body_energy"), number("body_protein")
        run = Run(np.full(rate.shape, float(start)), *(np.zeros(rate.shape) for _ in range(3)))
        greatest, spared = run.end, np.zeros(rate.shape)
        for number_of_day in range(days):
            appetite = rate * run.end ** number("intake_exponent")
            share = ration(number_of_day, run.end, appetite) if callable(ration) else ration
            needs = fish_energy.day_needs(
                run.end, rate, number("intake_exponent"), per_kg, share, feed, efficiency, fasting, body
            )
            eaten = share * needs.appetite_g
            day = fish_energy.day_budget(
                eaten, needs.maintenance_kj, feed, self.nitrogen, efficiency, fasting, body, protein, run.end, greatest,
                spared,
            )  # fmt: skip
            ammonia = fish_energy.AMMONIA_SHARE_OF_EXCRETION * day.excreted_nitrogen_g
            run = Run(run.end + day.gain_g, run.eaten + eaten, run.oxygen + day.oxygen_g, run.tan + ammonia)
            greatest, spared = np.maximum(greatest, run.end), spared + day.spared_change_g
            yield run


def percent_of_weight(percent: float, every: int) -> Ration:
    """Ration of a percentage of body weight on every so many days, as far as appetite goes; nothing in between."""
    return lambda day, weight, appetite: (
        (day % every == 0) * np.minimum(appetite, 0.01 * percent * weight) / np.maximum(appetite, 1e-12)
    )


HICKS = "Hicks et al. 2009, N. Am. J. Aquac. [abstract]; rearing temperature not given, 26 degC assumed [ours]"
PRACTICAL = "Evaluation of practical bluegill diets, N. Am. J. Aquac. 65:147, 2003 [abstract]; 26 degC assumed [ours]"
BEITINGER = "Beitinger & Magnuson 1979 [abstract]: growth equal at 25-31 degC, lower at 34; 30 d run [ours]"
JUG = "Jug-Dujakovic & Van Gorder, quoted on a web page [secondary, weak]"
TIDWELL = "Tidwell et al. 1999, J. World Aquac. Soc. 30:324 [abstract]"
NCRAC = "NCRAC yellow perch white paper [secondary]: little or no growth below 10 degC"
HAYWARD = "Hayward & Arnold 1996, Trans. Am. Fish. Soc. 125:132, adult white crappie [abstract]"
KSU = (
    "9-33 degC series, World Aquac. Soc. abstract 166442 [abstract]: cubic of relative growth; 63 d; trout feed, "
    "45 % protein, 20 % fat"
)
PARK = "Park et al., largemouth bass density trial, 25 degC, 42 % protein [abstract]"
BRECK = "Breck, largemouth bass unfed in winter [abstract]"
SUJA = "Suja et al., channel catfish, 14 weeks, 32 % protein feed [secondary]"
LOVELL = (
    "Lovell & Sirikul 1974, Proc. SEAFWA, winter ponds [abstract]; 12 degC, as 52 of the 100 days were warm or above "
    "12.2 degC a metre down [ours]"
)
RAKOCY = "Rakocy et al., island tanks, harvest [secondary]; start weight, 24 weeks [memory]; 28 degC [ours]"
GULLIAN = "Gullian-Klanian & Aramburu-Adame 2013, Lat. Am. J. Aquat. Res. 41:150 [abstract]; 28.5 degC [ours]"
SRAC = "SRAC tilapia sheet [secondary]: 29-31 degC growth about three times that at 22; feeding stops below 17"
COEFFICIENT = "thermal growth coefficient 0.18 [memory]; 0.13-0.20 on a Danish feed adviser's page [secondary]"
GOOLISH = "Goolish & Adelman 1984, Aquaculture [abstract]; 8 g assumed [ours]; 14 d run [ours]"
STRIPED = "47 g hybrids in recirculated brackish tanks, 219 and 302 d [abstract]; 25 degC assumed [ours]"
GUESS = "no growth figure found; target assumed [ours]"
WASTE = "handbook range for fed fish [memory]; 50 g fish, middle of the growth range, 30 d [ours]"
STARVED = "trout fingerlings 6.9-11.6 cm starved at 12 degC, J. Fish Biol. 1981 [abstract]; 8 g assumed [ours]"
LINCOLN = "Lincoln University bluegill protein series, 44 % diet [abstract]; 26 degC assumed; band +-20 % [ours]"
CAGE = "catfish in cages, 27-42 % protein, 12 weeks [abstract]; 27 degC assumed; band +-20 % [ours]"
SIZES = "largemouth bass of three sizes, 46-56 % protein, 12 % fat, Aquac. Int. 2019 [abstract]; 28 degC assumed [ours]"

RACEWAY = "Walleye in recirculating systems, 2010, doi 10.1080/10454431003736532 [abstract]"
MALES = "male bluegill and male hybrids indoors, 10 months, Hayward & Wang 2006 [abstract; authors from memory]"
CUBIC = "series and cubic of D8 at temperatures the fit has not seen; below 12 degC the cubic turns up and is left out"

TEMPERATURES_D8 = (15.0, 18.0, 21.0, 24.0, 26.8, 30.0, 33.0)
GROWTH_D8 = (0.37, 0.61, 0.86, 1.05, 1.13, 1.02, 0.65)
TEMPERATURES_D19 = (5.0, 8.0, 12.0, 15.0)
WEIGHTS_D19 = (128.0, 200.0, 332.0, 463.0)
TEMPERATURES_D21 = (12.0, 18.0, 24.0, 30.0)
GROWTH_D21 = (0.71, 2.31, 3.12, 3.32)
SPECIES = (
    "bluegill", "yellow_perch", "black_crappie", "largemouth_bass", "channel_catfish", "nile_tilapia",
    "rainbow_trout", "common_carp", "goldfish", "hybrid_striped_bass",
)  # fmt: skip
# species that are likened to a fitted one, as no growth series of their own was read
LIKENED = {
    "pumpkinseed": "bluegill", "hybrid_sunfish": "bluegill", "brown_bullhead": "channel_catfish",
    "walleye": "yellow_perch",
}  # fmt: skip
EVERY_SPECIES = (*SPECIES, *LIKENED)
ALTERNATE_DAYS = percent_of_weight(1.0, 2)


class Phase(NamedTuple):
    """A spell over which a mixed batch was weighed; ``days`` None: as many as full appetite needs."""

    temperature: float
    days: int | None
    start: float
    end: float


class SexRun(NamedTuple):
    """Start and end weight of each sex over some phases; its multiplier of appetite holds through all of them."""

    phases: tuple[Phase, ...]
    males: tuple[float, float]
    females: tuple[float, float]


class SexTrial(NamedTuple):
    """The run to which the multipliers of a species are fitted, and others that give their span."""

    run: SexRun
    others: tuple[SexRun, ...]
    source: str


_TANK, _POND = Phase(26.0, 120, 28.0, 119.4), Phase(24.0, 129, 119.4, 228.3)
SEX_TRIALS = {
    "bluegill": SexTrial(
        SexRun((_TANK, _POND), (28.0, 284.0), (28.0, 175.4)),
        (
            SexRun((_TANK,), (28.0, 158.6), (28.0, 82.1)),
            SexRun((_POND,), (158.6, 284.0), (82.1, 175.4)),
            *(SexRun((_TANK, Phase(t, *_POND[1:])), (28.0, 284.0), (28.0, 175.4)) for t in (20.0, 28.0)),
        ),
        "Hicks et al. 2009, N. Am. J. Aquac., doi 10.1577/a07-088.1 [abstract]: tanks 28.0 to 119.4 g in 120 days, "
        "then ponds to 228.3 g in 129; males 158.6 g on moving, 284.0 at the end, females 82.1 and 175.4. Both sexes "
        "taken to start at 28 g, tanks at 26, ponds at 24 degC [ours]. Span: tanks alone, ponds alone, ponds at 20-28",
    ),
    "yellow_perch": SexTrial(
        SexRun((Phase(22.0, None, 10.0, 68.4),), (10.0, 59.5), (10.0, 77.3)),
        tuple(
            SexRun((Phase(t, None, start, 68.4),), (start, 59.5), (start, 77.3))
            for start, t in ((3.0, 22.0), (20.0, 22.0), (10.0, 18.0), (10.0, 24.0))
        ),
        "Liang et al. 2018, doi 10.1002/9781119127291.ch22 [abstract]: males 50.9-68.1 g, females 65.4-89.1 g, the "
        "middles taken [ours]; both sexes start at 10 g, 22 degC [ours]. Span over 3-20 g and 18-24 degC",
    ),
}  # fmt: skip


def share_that_reaches(fish: Any, phase: Phase, start: float, end: float) -> float:
    """Share of full appetite at which a fish goes from one weight to another in the days of a phase."""
    days = phase_days(fish, phase)
    return float(brentq(lambda share: fish.growth(start, (phase.temperature,), days, share).end.item() - end, 0.1, 5.0))


def phase_days(fish: Any, phase: Phase) -> int:
    """Days of a phase."""
    return phase.days or round(float(np.squeeze(fish.days_to(phase.start, phase.end, phase.temperature, 2000))))


def one_sex_weight(fish: Any, run: SexRun, start: float, multiplier: float) -> float:
    """End weight of a sex whose appetite is a multiple of that of the mixed batch, through all phases of a run."""
    weight = start
    for phase in run.phases:
        share = multiplier * share_that_reaches(fish, phase, phase.start, phase.end)
        weight = fish.growth(weight, (phase.temperature,), phase_days(fish, phase), share).end.item()
    return weight


# Both kinds of male in one indoor trial of 10 months: what bluegill needs to meet its end weight stands for the
# conditions of the trial, and the hybrid is run under the same.
HYBRID_TRIAL = Phase(24.0, 304, 7.0, 152.0)


@cache
def _share_in_the_trial(bluegill: bytes) -> float:
    """Share of appetite of the trial's bluegill, for bluegill of this content."""
    entry = load_species("bluegill")
    males = share_that_reaches(Fish(entry.__getitem__), HYBRID_TRIAL, HYBRID_TRIAL.start, HYBRID_TRIAL.end)
    return males / entry["appetite_males"]


def _hybrid_in_the_trial(fish: Any) -> Any:
    share = _share_in_the_trial(load_species("bluegill").content)
    return fish.growth(HYBRID_TRIAL.start, (HYBRID_TRIAL.temperature,), HYBRID_TRIAL.days, share).end[0]


def _male_bluegill(fish: Any) -> Any:
    return fish.growth(7.0, (24.0,), 304, fish.number("appetite_males")).end[0]


def _weight(start: float, temperature: float, days: int) -> Callable[[Any], Any]:
    return lambda fish: fish.growth(start, (temperature,), days).end[0]


def _conversion(start: float, temperature: float, days: int, factor: float = 1.0) -> Callable[[Any], Any]:
    def value(fish: Any) -> Any:
        run = fish.growth(start, (temperature,), days)
        return factor * run.eaten[0] / (run.end[0] - start)

    return value


def _loss(start: float, temperature: float, days: int) -> Callable[[Any], Any]:
    return lambda fish: 100.0 * (1.0 - fish.growth(start, (temperature,), days, 0.0).end[0] / start)


def _gain_ratio(start: float, temperature: float, reference: float, days: int) -> Callable[[Any], Any]:
    def value(fish: Any) -> Any:
        end = fish.growth(start, (reference, temperature), days).end
        return (end[1] - start) / (end[0] - start)

    return value


def _weight_ratio(start: float, temperatures: tuple[float, ...], top: int, bottom: int, days: int) -> Any:
    return lambda fish: (
        fish.growth(start, temperatures, days).end[top] / fish.growth(start, temperatures, days).end[bottom]
    )


def _sgr(start: float, temperatures: tuple[float, ...], days: int, place: int = 0) -> Callable[[Any], Any]:
    return lambda fish: fish.sgr(start, temperatures, days)[place]


def _appetite_ratio(temperature: float, reference: float) -> Callable[[Any], Any]:
    return lambda fish: fish.appetite(temperature) / fish.appetite(reference)


def _per_feed(what: str, scale: float) -> Callable[[Any], Any]:
    def value(fish: Any) -> Any:
        run = fish.growth(50.0, (fish.middle_temperature,), 30)
        return scale * getattr(run, what)[0] / run.eaten[0]

    return value


def _bluegill_spread(fish: Any) -> Any:
    rates = fish.sgr(28.0, (25.0, 28.0, 31.0, 34.0), 30)[:3]
    return rates.max(axis=0) / rates.min(axis=0)


def _bluegill_hot(fish: Any) -> Any:
    rates = fish.sgr(28.0, (25.0, 28.0, 31.0, 34.0), 30)
    return rates[3] / rates[:3].min(axis=0)


# Points of one trial, whose scale of appetite they share; ratios and waste bear on the shape alone and have none.
_TRIAL_OF = {
    "D1": "Hicks", "D2": "practical diets", "D4": "Jug-Dujakovic", "D8": "9-33 degC series", "D9": "Park",
    "D11": "Suja", "D15": "Rakocy", "D16": "Gullian", "D19": "coefficient", "D21": "Goolish", "D23": "brackish tanks", 
    "A1": "assumed", "A2": "assumed", "L1": "raceway", "L3": "males indoors",
}  # fmt: skip
# Scales that no weighed fish gave: a coefficient that was recalled, and our own targets
NO_TRIALS = ("coefficient", "assumed")

P5 = (20.0, 24.0, 28.0)
_POINTS = (
    Check("D1", "bluegill", "28 g, 120 d: end weight, g",
          _weight(28, 26, 120), 119, 95.2, 142.8, True, HICKS),
    Check("D1 fcr", "bluegill", "28 g, 120 d: eaten feed per gain",
          _conversion(28, 26, 120), None, 1.0, 1.3, False, HICKS),
    Check("D2", "bluegill", "1.76 g, 77 d: end weight, g",
          _weight(1.76, 26, 77), 10.75, 8, 15, True, PRACTICAL),
    Check("D2 fcr", "bluegill", "1.76 g, 77 d: feed per gain, practical factor 1.2",
          _conversion(1.76, 26, 77, 1.2), 1.52, 1.39, 1.65, False, PRACTICAL),
    Check("D3 alike", "bluegill", "28 g: best over least growth rate at 25, 28, 31 degC",
          _bluegill_spread, None, 1.0, 1.2, True, BEITINGER),
    Check("D3 hot", "bluegill", "28 g: growth rate at 34 degC over the least of those",
          _bluegill_hot, None, -1.0, 0.6, True, BEITINGER),
    Check("D4", "yellow_perch", "16.5 g, 24.5 degC: days to 160 g",
          lambda fish: fish.days_to(16.5, 160.0, 24.5, 600), 300, 240, 420, True, JUG),
    Check("D5 cool", "yellow_perch", "6.6 g, 93 d: weight at 20 over 24 degC",
          _weight_ratio(6.6, P5, 0, 1, 93), None, 0.0, 1.0, True, TIDWELL),
    Check("D5 warm", "yellow_perch", "6.6 g, 93 d: weight at 28 over 24 degC",
          _weight_ratio(6.6, P5, 2, 1, 93), None, 0.0, 1.0, True, TIDWELL),
    Check("D5 alike", "yellow_perch", "6.6 g, 93 d: weight at 28 over 20 degC",
          _weight_ratio(6.6, P5, 2, 0, 93), 1.0, 0.75, 1.25, True, TIDWELL),
    Check("D6", "yellow_perch", "50 g, 10 degC: growth rate, %/day",
          _sgr(50, (10.0,), 30), None, 0.0, 0.15, True, NCRAC),
    Check("D7 hot", "black_crappie", "appetite at 27 over 24 degC",
          _appetite_ratio(27, 24), 0.333, 0.25, 0.5, True, HAYWARD),
    Check("D7 cool", "black_crappie", "appetite at 18 over 21 degC",
          _appetite_ratio(18, 21), None, 0.0, 1.0, True, HAYWARD),
    Check("D7 peak", "black_crappie", "appetite at 21 over 24 degC",
          _appetite_ratio(21, 24), None, 0.0, 1.0, True, HAYWARD),
    *(
        Check(f"D8 {t:g}", "largemouth_bass", f"56 g, {t:g} degC: growth rate, %/day",
              _sgr(56, TEMPERATURES_D8, 63, i), g, g - 0.15, g + 0.15, True, KSU)
        for i, (t, g) in enumerate(zip(TEMPERATURES_D8, GROWTH_D8, strict=True))
    ),
    Check("D9", "largemouth_bass", "9.04 g, 25 degC, 60 d: end weight, g",
          _weight(9.04, 25, 60), 30, 24, 36, True, PARK),
    Check("D10", "largemouth_bass", "516.8 g unfed, 3.8 degC, 84 d: loss, %",
          _loss(516.8, 3.8, 84), 4.3, 3, 7, False, BRECK),
    Check("D11", "channel_catfish", "111.4 g, 27 degC, 98 d: end weight, g",
          _weight(111.4, 27, 98), 363.6, 309.1, 418.1, True, SUJA),
    Check("D11 fcr", "channel_catfish", "111.4 g, 27 degC, 98 d: eaten feed per gain",
          _conversion(111.4, 27, 98), 1.3, 1.2, 1.5, False, SUJA),
    Check("D12 cool", "channel_catfish", "111.4 g, 98 d: gain at 22 over 27 degC",
          _gain_ratio(111.4, 22, 27, 98), None, 0.4, 0.9, True, SUJA),
    Check("D12 warm", "channel_catfish", "111.4 g, 98 d: gain at 32 over 27 degC",
          _gain_ratio(111.4, 32, 27, 98), None, 0.4, 0.9, True, SUJA),
    Check("D13", "channel_catfish", "454 g unfed, 12 degC, 100 d: loss, %",
          _loss(454, 12, 100), 9, 5, 13, False, LOVELL),
    Check("D15", "nile_tilapia", "79.2 g, 28 degC, 168 d: end weight, g",
          _weight(79.2, 28, 168), 814, 651.2, 976.8, True, RAKOCY),
    Check("D15 fcr", "nile_tilapia", "79.2 g, 28 degC, 168 d: eaten feed per gain",
          _conversion(79.2, 28, 168), None, 1.2, 1.5, False, RAKOCY),
    Check("D16", "nile_tilapia", "2.07 g, 28.5 degC, 63 d: end weight, g",
          _weight(2.07, 28.5, 63), 54, 35, 65, True, GULLIAN),
    Check("D17", "nile_tilapia", "50 g, 30 d: gain at 22 over 30 degC",
          _gain_ratio(50, 22, 30, 30), 0.333, 0.25, 0.5, True, SRAC),
    Check("D18 17", "nile_tilapia", "50 g, 17 degC: growth rate, %/day",
          _sgr(50, (17.0,), 30), None, -1.0, 0.1, True, SRAC),
    Check("D18 16", "nile_tilapia", "50 g, 16 degC: growth rate, %/day",
          _sgr(50, (16.0,), 30), None, -1.0, 0.0, True, SRAC),
    *(
        Check(f"D19 {t:g}", "rainbow_trout", f"50 g, {t:g} degC, 150 d: end weight, g",
              _weight(50, t, 150), w, 0.85 * w, 1.15 * w, True, COEFFICIENT)
        for t, w in zip(TEMPERATURES_D19, WEIGHTS_D19, strict=True)
    ),
    Check("D20 18", "rainbow_trout", "50 g, 150 d: weight at 18 over 15 degC",
          _weight_ratio(50, (15.0, 18.0, 21.0), 1, 0, 150), None, 0.0, 1.0, True, COEFFICIENT),
    Check("D20 21", "rainbow_trout", "50 g, 150 d: weight at 21 over 15 degC",
          _weight_ratio(50, (15.0, 18.0, 21.0), 2, 0, 150), None, 0.0, 0.6, True, COEFFICIENT),
    *(
        Check(f"D21 {t:g}", "common_carp", f"8 g, {t:g} degC: growth rate, %/day",
              _sgr(8, TEMPERATURES_D21, 14, i), g, g - 0.6, g + 0.6, True, GOOLISH)
        for i, (t, g) in enumerate(zip(TEMPERATURES_D21, GROWTH_D21, strict=True))
    ),
    Check("D22 12", "common_carp", "8 g, 12 degC: maintenance ration, %/day",
          lambda fish: fish.maintenance_percent(8.0, 12.0), 0.4, 0.24, 0.56, False, GOOLISH),
    Check("D22 24", "common_carp", "8 g, 24 degC: maintenance ration, %/day",
          lambda fish: fish.maintenance_percent(8.0, 24.0), 1.2, 0.72, 1.68, False, GOOLISH),
    Check("D23 219", "hybrid_striped_bass", "47 g, 219 d: end weight, g",
          _weight(47, 25, 219), 636, 508.8, 763.2, True, STRIPED),
    Check("D23 302", "hybrid_striped_bass", "47 g, 302 d: end weight, g",
          _weight(47, 25, 302), 835, 668, 1002, True, STRIPED),
    *(Check("D24", name, "oxygen per feed, kg/kg",
          _per_feed("oxygen", 1.0), None, 0.35, 0.75, False, WASTE) for name in EVERY_SPECIES),
    *(Check("D25", name, "ammonia nitrogen per feed, g/kg",
          _per_feed("tan", 1000.0), None, 20.0, 40.0, False, WASTE) for name in EVERY_SPECIES),
    Check("A1", "goldfish", "2 g, 26 degC: growth rate, %/day",
          _sgr(2, (26.0,), 14), 2.2, 1.6, 2.8, True, GUESS),
    Check("A2", "goldfish", "20 g, 26 degC: growth rate, %/day",
          _sgr(20, (26.0,), 14), 1.1, 0.8, 1.4, True, GUESS),
    Check("E1", "rainbow_trout", "8 g unfed, 12 degC, 91 d: loss, %",
          _loss(8, 12, 91), 32.5, 26, 39, False, STARVED),
    Check("E2", "bluegill", "24.9 g, 112 d: end weight, g",
          _weight(24.9, 26, 112), 86.9, 69.5, 104.3, False, LINCOLN),
    Check("E3", "channel_catfish", "84 g, 84 d: end weight, g",
          _weight(84, 27, 84), 312, 249.6, 374.4, False, CAGE),
    Check("E4", "largemouth_bass", "100 g, 56 d: end weight, g",
          _weight(100, 28, 56), 298, 276, 320, False, SIZES),
    *(
        Check(f"E5 {t:g}", "largemouth_bass", f"56 g, {t:g} degC: growth rate, %/day",
              _sgr(56, (t,), 63), g, g - 0.15, g + 0.15, False, CUBIC)
        for t, g in ((12.0, 0.22), (27.0, 1.13))
    ),
    Check("E6", "channel_catfish", "454 g at 1 % on alternate days, 12 degC, 100 d: gain, %",
          lambda fish: 100.0 * (fish.growth(454.0, (12.0,), 100, ALTERNATE_DAYS).end[0] / 454.0 - 1.0),
          23, 5, 30, False, LOVELL + "; the temperature of D13, tolerance of D14"),
    *(
        Check(f"E7 {t:g}", "common_carp", f"8 g, {t:g} degC: maintenance ration, %/day",
              lambda fish, t=t: fish.maintenance_percent(8.0, t), m, 0.6 * m, 1.4 * m, False, GOOLISH)
        for t, m in ((18.0, 0.75), (30.0, 1.90))
    ),
    Check("E8", "bluegill", "7 g males, 24 degC, 304 d: end weight, g",
          _male_bluegill, 152, 121.6, 182.4, False, MALES + "; 24 degC assumed, band +-20 % [ours]"),
    Check("L3", "hybrid_sunfish", "7 g males, 304 d, beside bluegill that reach 152 g: end weight, g",
          _hybrid_in_the_trial, 54.5, 43.6, 65.4, True, MALES + "; band +-20 % [ours]"),
    Check("L1", "walleye", "22 g, 22 degC, 241 d: end weight, g",
          _weight(22, 22, 241), 180, 144, 216, True, RACEWAY),
)  # fmt: skip
CHECKS = tuple(
    check._replace(trial=_TRIAL_OF.get(check.id.split()[0], "") if check.used else "").fed() for check in _POINTS
)


class RationRow(NamedTuple):
    """One entry of an old feeding table."""

    species: str
    weight: float
    temperature: float
    percent: float
    source: str


LEITRITZ = "Leitritz & Lewis 1980, trout feeding table, on an extension page [secondary]"
WINTER = "Texas A&M winter rule for channel catfish [secondary]: 1 % every other day, or twice a week below 13 degC"
HATCHERY = "catfish hatchery page [common practice]: 2-3 % above 21 degC, the middle"
BASS_MEALS = "World Aquac. Soc. abstract 42495 [abstract]: 7 % grew heaviest, at 5 and 7 % much was left"
_TROUT_COLUMNS = ((4.5, 16.6), (6.5, 49.0), (8.5, 110.0), (9.5, 153.0))  # length [in], middle weight of the class [g]
_TROUT_ROWS = {
    4.4: (1.3, 0.9, 0.7, 0.6), 7.2: (1.6, 1.1, 0.9, 0.8), 10.0: (2.0, 1.4, 1.1, 1.0), 12.8: (2.4, 1.6, 1.3, 1.1),
    15.6: (3.0, 2.0, 1.5, 1.4), 18.3: (3.6, 2.2, 1.8, 1.6),
}  # fmt: skip
# 16 to 160 g in the months of D4, at weights spread evenly between
_PERCH_MONTHS = zip((16, 25, 40, 60, 85, 110, 140), (5.0, 4.0, 3.0, 3.0, 2.5, 2.5, 1.5), strict=True)
OLD_RATIONS = (
    *(RationRow("rainbow_trout", weight, t, percent, LEITRITZ)
      for t, row in _TROUT_ROWS.items() for (_, weight), percent in zip(_TROUT_COLUMNS, row, strict=True)),
    RationRow("channel_catfish", 454.0, 9.5, 2.0 / 7.0, WINTER),
    RationRow("channel_catfish", 454.0, 15.5, 0.5, WINTER),
    RationRow("channel_catfish", 100.0, 25.0, 2.5, HATCHERY),
    *(RationRow("yellow_perch", weight, 24.5, percent, JUG) for weight, percent in _PERCH_MONTHS),
    RationRow("largemouth_bass", 12.7, 30.0, 5.0, BASS_MEALS),
)  # fmt: skip


def full_ration_percent(fish: Any, weight: float, temperature: float) -> Any:
    """Feed eaten at full appetite, in % of body weight a day."""
    return 100.0 * fish.appetite(temperature) * weight ** (fish.number("intake_exponent") - 1.0)
