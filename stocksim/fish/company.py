"""Who may share a tank: mouths, water that suits both, oxygen and temper. Words for the reasons are made elsewhere."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.compiled import formula
from stocksim.fish.spread import log_spread, normal_share

FloatArray = NDArray[np.float64]

VERDICTS = ("together", "with care", "apart")  # grades 0, 1 and 2 index it
# Our rule (assumed): prey below the predator's share of length is kept apart; below 1.4 times that, 0.7 at most, it is
# watched. With shares of 0.5 for deep and 0.65 for slender prey it refuses every published meal of largemouth bass that
# we know: bluegill to 0.40, shad to 0.50 of its length (SEAFWA 1980, abstract), bass to 0.62 (a sport fishers' page).
CARE_MARGIN, LONGEST_PREY_WATCHED = 1.4, 0.7
# Both fish vary: so many pairs of a predator and a tankmate may fit before the rule speaks (ours, no source).
TOLERATED_PAIRS = 0.01
# Depth over total length of the deep prey that the species files tell of: sunfish and their like (ours, no source).
DEEP_BODY = 0.36
# Fry of any fish take smaller ones of their kind (koi: van Damme et al. 1989, abstract). The limit of brown trout
# (Hyvarinen & Huusko 2006, abstract: 0.40 of its length) is taken for all that are shorter than this (ours).
FRY_SHARE, FRY_LENGTH_MM = 0.40, 100.0
# Of one species, fish shorter than this share of the others' length are kept from the feed (ours): catfish fingerlings
# without larger ones beside them were 42 % heavier after 21 weeks (Freeman 1998, abstract; sizes not told).
KEPT_FROM_FEED_SHARE = 0.6
# Recommended oxygen from which a species is counted to the next class (ours): trout, then perch-like, then the rest.
OXYGEN_CLASSES = ((6.5, "high"), (5.5, "middle"), (-np.inf, "usual"))
# What goes wrong between two tempers, worse before milder (ours, after common practice; catfish held together bite each
# other, read). Crappie grew better beside a few bluegill (Dudenhoeffer 2017, abstract): a clash is a care, never a ban.
_CLASHES = (
    ("hunts", "hunts", "hunters_together"),
    ("hunts", "*", "hunter_beside"),
    ("territorial", "territorial", "territories_clash"),
    ("territorial", "*", "territory_holder_beside"),
    ("nips", "*", "fins_nipped"),
)


class Mate(NamedTuple):
    """One group of fish as a tankmate: lengths may be arrays of shape (day,), the rest are single values."""

    length_mm: ArrayLike
    length_cv: ArrayLike
    prey_share_deep: float
    prey_share_slender: float
    body_depth: float  # over total length
    temper: str  # calm, nips, territorial or hunts
    growth_low_c: float
    growth_high_c: float
    low_limit_c: float
    high_stress_c: float
    oxygen_recommended_mg_l: float
    eats_own: bool = True  # smaller ones of its kind that fit its mouth
    sibling_length_mm: float = 0.0  # longer ones are safe from siblings that no mouth limits


class Reason(NamedTuple):
    """One thing that speaks against a pair: its key, the number behind it, and how grave it is."""

    key: str
    number: float
    verdict: str


class Company(NamedTuple):
    """The verdict on a pair, the gravest of its reasons, and all reasons, gravest first."""

    verdict: str
    reasons: tuple[Reason, ...]


class Window(NamedTuple):
    """Temperatures that suit two species: low and high end [degC] and width [degC difference], negative if apart."""

    low_c: FloatArray
    high_c: FloatArray
    width_c: FloatArray


@formula
def longest_prey_share(prey_share_deep: Any, prey_share_slender: Any, body_depth: Any) -> Any:
    """Longest prey of a body depth that a species swallows, over its own length.

    Parameters
    ----------
    prey_share_deep, prey_share_slender : array_like, shape (...)
        Longest prey of the two forms over the hunter's total length. [-]
    body_depth : array_like, shape (...)
        Greatest depth of the prey, or its breadth over locked spines, over its total length. [-] Above 0.

    Returns
    -------
    ndarray, shape (...)
        Share. [-] The mouth lets a depth through, so it falls as the prey is deeper (Lawrence 1958, from memory: bass
        take prey as deep as their mouth is wide), and no slender prey is longer than its own share.

    Examples
    --------
    >>> longest_prey_share(0.45, 0.65, [0.20, 0.36, 0.45]).round(2)
    array([0.65, 0.45, 0.36])
    """
    return np.minimum(prey_share_deep * DEEP_BODY / body_depth, np.maximum(prey_share_slender, prey_share_deep))


@formula
def longest_sibling_share(prey_share: Any, hunter_length_mm: Any, eats_own: Any) -> Any:
    """Longest of its own kind that a fish swallows, over its own length.

    Parameters
    ----------
    prey_share : array_like, shape (...)
        Longest prey of its kind's depth, as of `longest_prey_share`. [-]
    hunter_length_mm : array_like, shape (...)
        Mean length of the larger fish. [mm]
    eats_own : array_like, shape (...)
        1, or 0 for a species that was looked at and took none of its own.

    Returns
    -------
    ndarray, shape (...)
        Share. [-] Fry take 0.40 at least.

    Examples
    --------
    >>> longest_sibling_share(0.0, [50.0, 150.0], 1.0)
    array([0.4, 0. ])
    """
    fry = 1.0 * (hunter_length_mm < FRY_LENGTH_MM)
    return eats_own * np.maximum(prey_share, FRY_SHARE * fry)


def length_spread(cv: ArrayLike, length_slope: ArrayLike) -> FloatArray:
    """Spread of lengths that belongs to a spread of weights.

    Parameters
    ----------
    cv : array_like, shape (...)
        Standard deviation over mean of the weights, taken as lognormal. [-]
    length_slope : array_like, shape (...)
        Slope of the species' standard weight by length, as in `total_length_mm`. [-]

    Returns
    -------
    ndarray, shape (...)
        Standard deviation over mean of the lengths. [-] Nearly cv over the slope.

    Examples
    --------
    >>> length_spread(0.3, 3.3).round(3)
    np.float64(0.089)
    """
    return np.sqrt(np.expm1((log_spread(cv) / np.asarray(length_slope, float)) ** 2))


def fits_mouth_probability(
    predator_length_mm: ArrayLike,
    predator_length_cv: ArrayLike,
    prey_length_mm: ArrayLike,
    prey_length_cv: ArrayLike,
    prey_share: ArrayLike,
) -> FloatArray:
    r"""Probability that a tankmate, drawn at random, fits the mouth of a predator, drawn at random.

    Parameters
    ----------
    predator_length_mm, prey_length_mm : array_like, shape (...)
        Mean total lengths. [mm] Above 0.
    predator_length_cv, prey_length_cv : array_like, shape (...)
        Standard deviations over means of the lengths. [-] As from `length_spread`; 0 for fish all alike.
    prey_share : array_like, shape (...)
        Length of the longest prey of that body form over the predator's own length. [-] 0: it takes no fish.

    Returns
    -------
    ndarray, shape (...)
        Probability that the prey is shorter than prey_share times the predator. [-]

    Notes
    -----
    Both lengths are lognormal, so the logarithm of their ratio is normal,

    .. math:: P = \Phi\Big(\frac{\ln(p\,m_1/m_2) + (s_2^2 - s_1^2)/2}{\sqrt{s_1^2 + s_2^2}}\Big)

    with means m and log spreads s of predator 1 and prey 2. It is a chance a pair, not a loss a day: in a tank of a
    hundred pairs a chance of 0.01 is a meal sooner or later.

    Examples
    --------
    >>> fits_mouth_probability(250.0, 0.09, [90.0, 125.0, 200.0], 0.09, 0.5).round(3)
    array([0.995, 0.5  , 0.   ])
    """
    one, other = log_spread(predator_length_cv), log_spread(prey_length_cv)
    share, prey = np.asarray(prey_share, float), np.asarray(prey_length_mm, float)
    longest = share * np.asarray(predator_length_mm, float)
    both = np.sqrt(one**2 + other**2)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        score = (np.log(longest / prey) + 0.5 * (other**2 - one**2)) / both
    score = np.where(both > 0.0, score, np.where(prey < longest, np.inf, -np.inf))
    return np.where(share > 0.0, normal_share(score), 0.0)


def predation_grade(
    predator_length_mm: ArrayLike,
    predator_length_cv: ArrayLike,
    prey_length_mm: ArrayLike,
    prey_length_cv: ArrayLike,
    prey_share: ArrayLike,
) -> NDArray[np.int64]:
    """How grave it is to keep prey with a predator, within a species too: 0 together, 1 with care, 2 apart.

    Parameters
    ----------
    predator_length_mm, predator_length_cv, prey_length_mm, prey_length_cv, prey_share : array_like, shape (...)
        As in `fits_mouth_probability`. [mm] and [-]

    Returns
    -------
    ndarray of int, shape (...)
        Grade. [-] 2 where more than one pair in a hundred fits prey_share, 1 where more fits 1.4 times prey_share (0.7
        of the predator's length at most), else 0. The rule is ours.

    Examples
    --------
    >>> predation_grade(267.0, 0.0, [89.0, 145.0, 200.0], 0.0, 0.5)
    array([2, 1, 0])
    """
    share = np.asarray(prey_share, float)
    watched = watched_share(share)
    fits, nearly = (
        fits_mouth_probability(predator_length_mm, predator_length_cv, prey_length_mm, prey_length_cv, part)
        for part in (share, watched)
    )
    return np.where(fits > TOLERATED_PAIRS, 2, np.where(nearly > TOLERATED_PAIRS, 1, 0))


def window_overlap(low_a: ArrayLike, high_a: ArrayLike, low_b: ArrayLike, high_b: ArrayLike) -> Window:
    """Temperatures that suit both of two species.

    Parameters
    ----------
    low_a, high_a, low_b, high_b : array_like, shape (...)
        Ends of the two windows. [degC]

    Returns
    -------
    Window
        Common window; its width is negative, and low lies above high, where there is none.

    Examples
    --------
    >>> [float(end) for end in window_overlap(10.0, 17.0, 24.0, 31.0)]
    [24.0, 17.0, -7.0]
    """
    low, high = np.maximum(low_a, low_b).astype(float), np.minimum(high_a, high_b).astype(float)
    return Window(low, high, high - low)


def season_share_inside(temperature_c: ArrayLike, low_c: ArrayLike, high_c: ArrayLike) -> FloatArray:
    """Share of a season's days that lie inside a window of temperature, its ends included.

    Parameters
    ----------
    temperature_c : array_like, shape (day, ...)
        Water temperature. [degC]
    low_c, high_c : array_like, shape (...)
        Ends of the window. [degC]

    Returns
    -------
    ndarray, shape (...)
        Share of the days. [-]

    Examples
    --------
    >>> season_share_inside([12.0, 18.0, 24.0, 30.0], 15.0, 24.0)
    np.float64(0.5)
    """
    water = np.asarray(temperature_c, float)
    inside = (water >= np.asarray(low_c, float)) & (water <= np.asarray(high_c, float))
    return np.mean(inside, axis=0, dtype=float)


def oxygen_class(oxygen_recommended_mg_l: float) -> str:
    """Class of a species by the oxygen it should have.

    Parameters
    ----------
    oxygen_recommended_mg_l : float
        Recommended level. [mg/L]

    Returns
    -------
    str
        high, middle or usual.

    Examples
    --------
    >>> [oxygen_class(level) for level in (7.0, 6.0, 5.0)]
    ['high', 'middle', 'usual']
    """
    return next((name for least, name in OXYGEN_CLASSES if oxygen_recommended_mg_l >= least), OXYGEN_CLASSES[-1][1])


def temper_clash(temper_a: str, temper_b: str) -> str:
    """Key of what goes wrong between two tempers, the same either way round.

    Parameters
    ----------
    temper_a, temper_b : str
        calm, nips, territorial, hunts.

    Returns
    -------
    str
        hunters_together, hunter_beside, territories_clash, territory_holder_beside, fins_nipped, or none.

    Examples
    --------
    >>> temper_clash("calm", "hunts"), temper_clash("calm", "calm")
    ('hunter_beside', 'none')
    """
    pair = (temper_a, temper_b)
    keys = (key for one, other, key in _CLASHES if pair == (one, other) or (other == "*" and one in pair))
    return next(keys, "none")


def judge_pair(
    one: Mate,
    other: Mate,
    same_species: bool = False,
    never_by_rule: bool = False,
    season_temperature_c: ArrayLike | None = None,
) -> Company:
    """Whether two groups of fish may share a tank, and everything that speaks against it.

    Parameters
    ----------
    one, other : Mate
        The two groups; the same one twice judges a group against itself.
    same_species : bool
        They are of one species: mouths and water count, tempers do not, and water parts none of them.
    never_by_rule : bool
        A species file says never to mix them.
    season_temperature_c : array_like, shape (day,), optional
        Water temperature of the season. [degC] Without it only the windows are compared.

    Returns
    -------
    Company
        Verdict, and reasons of the keys never_by_rule (number 1), fits_mouth (greatest chance of a pair over the days
        [-], at the share that gave the grade), no_common_water and narrow_growth_window (width of the common window
        [degC], negative if apart), season_outside_limits and season_outside_growth (greater share of days [-]),
        oxygen_class (the higher need [mg/L]), siblings (least length over the longest that siblings take [-]),
        larger_kin (least ratio of mean lengths [-]), or one of `temper_clash` (number 0).

    Notes
    -----
    The verdict is a rule of thumb of this project on weakly sourced sizes; a tank needs a keeper's eye all the same.
    """
    found = [Reason("never_by_rule", 1.0, VERDICTS[2])] if never_by_rule else []
    found += [reason for pair in ((one, other), (other, one)) for reason in _mouth(*pair, same_species)]
    found += _water(one, other, season_temperature_c, same_species)
    if same_species:
        found += _siblings(one, other, {reason.key for reason in found})
    else:
        if oxygen_class(one.oxygen_recommended_mg_l) != oxygen_class(other.oxygen_recommended_mg_l):
            need = max(one.oxygen_recommended_mg_l, other.oxygen_recommended_mg_l)
            found.append(Reason("oxygen_class", need, VERDICTS[1]))
        clash = temper_clash(one.temper, other.temper)
        if clash != "none":
            found.append(Reason(clash, 0.0, VERDICTS[1]))
    by_key: dict[str, Reason] = {}
    for reason in sorted(found, key=lambda reason: (-VERDICTS.index(reason.verdict), -reason.number)):
        by_key.setdefault(reason.key, reason)
    reasons = tuple(by_key.values())
    return Company(reasons[0].verdict if reasons else VERDICTS[0], reasons)


def mouth_share(predator: Mate, prey: Mate, same_species: bool) -> FloatArray:
    """Longest fish like a tankmate that a predator swallows, over its own length.

    Parameters
    ----------
    predator, prey : Mate
        The two groups.
    same_species : bool
        Whether they are of one species.

    Returns
    -------
    ndarray, shape of the predator's lengths
        Share. [-]
    """
    share = longest_prey_share(predator.prey_share_deep, predator.prey_share_slender, prey.body_depth)
    lengths = np.asarray(predator.length_mm, float)
    if not same_species:
        return np.full(lengths.shape, float(share))
    return np.asarray(longest_sibling_share(np.full(lengths.shape, share), lengths, float(predator.eats_own)))


def watched_share(prey_share: ArrayLike) -> FloatArray:
    """Share of the predator's length below which a tankmate is watched.

    Parameters
    ----------
    prey_share : array_like, shape (...)
        Longest prey of that body over the predator's length. [-]

    Returns
    -------
    ndarray, shape (...)
        Share, 1.4 times that and 0.7 at most. [-]
    """
    share = np.asarray(prey_share, float)
    return np.maximum(share, np.minimum(CARE_MARGIN * share, LONGEST_PREY_WATCHED))


def _mouth(predator: Mate, prey: Mate, same_species: bool) -> list[Reason]:
    """Reason that prey fits a predator's mouth on the worst day, if it does."""
    share = mouth_share(predator, prey, same_species)
    lengths = (predator.length_mm, predator.length_cv, prey.length_mm, prey.length_cv)
    grade = int(np.max(predation_grade(*lengths, share)))
    if grade == 0:
        return []
    reach = watched_share(share) if grade == 1 else share
    return [Reason("fits_mouth", float(np.max(fits_mouth_probability(*lengths, reach))), VERDICTS[grade])]


def _siblings(one: Mate, other: Mate, known: set[str]) -> list[Reason]:
    """Reasons in the sizes of one species: young that siblings take whatever the mouth, and kin that eat first.

    Who may be swallowed need not be told that it will be hungry.
    """
    shorter = float(np.min(np.minimum(one.length_mm, other.length_mm)))
    found = []
    if shorter < one.sibling_length_mm:
        found.append(Reason("siblings", shorter / one.sibling_length_mm, VERDICTS[2]))
    ratio = np.divide(one.length_mm, other.length_mm)
    least = float(np.min(np.minimum(ratio, 1.0 / ratio)))
    if least < KEPT_FROM_FEED_SHARE and "fits_mouth" not in known:
        found.append(Reason("larger_kin", least, VERDICTS[1]))
    return found


def _water(one: Mate, other: Mate, season_c: ArrayLike | None, same_species: bool) -> list[Reason]:
    """Reasons in the temperature of the water that two species would share."""
    found = []
    bearable = window_overlap(one.low_limit_c, one.high_stress_c, other.low_limit_c, other.high_stress_c)
    growing = window_overlap(one.growth_low_c, one.growth_high_c, other.growth_low_c, other.growth_high_c)
    if bearable.width_c <= 0.0:
        found.append(Reason("no_common_water", float(bearable.width_c), VERDICTS[2]))
    # of one species the sizes alone move it
    if growing.width_c < 0.0 and not same_species:
        found.append(Reason("narrow_growth_window", float(growing.width_c), VERDICTS[1]))
    if season_c is not None:
        pair = one, other
        outside = max(1.0 - float(season_share_inside(season_c, mate.low_limit_c, mate.high_stress_c)) for mate in pair)
        idle = max(1.0 - float(season_share_inside(season_c, mate.growth_low_c, mate.growth_high_c)) for mate in pair)
        if outside > 0.0:
            found.append(Reason("season_outside_limits", outside, VERDICTS[1 if same_species else 2]))
        if idle > 0.5:
            found.append(Reason("season_outside_growth", idle, VERDICTS[1]))
    return found
