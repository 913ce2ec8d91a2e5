"""Who may share a tank: mouths, water that suits both, oxygen and temper. Words for the reasons are made elsewhere."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.fish.spread import log_spread, normal_share

FloatArray = NDArray[np.float64]

VERDICTS = ("together", "with care", "apart")  # grades 0, 1 and 2 index it
# Our rule (assumed): prey below the predator's share of length is kept apart; below 1.4 times that, 0.7 at most, it is
# watched. With shares of 0.5 for deep and 0.65 for slender prey it refuses every published meal of largemouth bass that
# we know: bluegill to 0.40, shad to 0.50 of its length (SEAFWA 1980, abstract), bass to 0.62 (a sport fishers' page).
CARE_MARGIN, LONGEST_PREY_WATCHED = 1.4, 0.7
# Both fish vary: so many pairs of a predator and a tankmate may fit before the rule speaks (ours, no source).
TOLERATED_PAIRS = 0.01
# Growth windows that overlap by less leave no room for a greenhouse's own swings (ours, no source).
NARROW_WINDOW_C = 3.0
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
    body_form: str  # deep or slender
    temper: str  # calm, nips, territorial or hunts
    growth_low_c: float
    growth_high_c: float
    low_limit_c: float
    high_stress_c: float
    oxygen_recommended_mg_l: float


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
    watched = np.maximum(share, np.minimum(CARE_MARGIN * share, LONGEST_PREY_WATCHED))
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
        They are of one species: mouths count, tempers and water do not.
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
        oxygen_class (the higher need [mg/L]), or one of `temper_clash` (number 0).

    Notes
    -----
    The verdict is a rule of thumb of this project on weakly sourced sizes; a tank needs a keeper's eye all the same.
    """
    found = [Reason("never_by_rule", 1.0, VERDICTS[2])] if never_by_rule else []
    found += [reason for pair in ((one, other), (other, one)) for reason in _mouth(*pair)]
    if not same_species:
        found += _water(one, other, season_temperature_c)
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


def _mouth(predator: Mate, prey: Mate) -> list[Reason]:
    """Reason that prey fits a predator's mouth on the worst day, if it does."""
    share = predator.prey_share_deep if prey.body_form == "deep" else predator.prey_share_slender
    lengths = (predator.length_mm, predator.length_cv, prey.length_mm, prey.length_cv)
    grade = int(np.max(predation_grade(*lengths, share)))
    if grade == 0:
        return []
    if grade == 1:
        share = max(share, min(CARE_MARGIN * share, LONGEST_PREY_WATCHED))
    return [Reason("fits_mouth", float(np.max(fits_mouth_probability(*lengths, share))), VERDICTS[grade])]


def _water(one: Mate, other: Mate, season_c: ArrayLike | None) -> list[Reason]:
    """Reasons in the temperature of the water that two species would share."""
    found = []
    bearable = window_overlap(one.low_limit_c, one.high_stress_c, other.low_limit_c, other.high_stress_c)
    growing = window_overlap(one.growth_low_c, one.growth_high_c, other.growth_low_c, other.growth_high_c)
    if bearable.width_c <= 0.0:
        found.append(Reason("no_common_water", float(bearable.width_c), VERDICTS[2]))
    if growing.width_c < NARROW_WINDOW_C:
        found.append(Reason("narrow_growth_window", float(growing.width_c), VERDICTS[1]))
    if season_c is not None:
        pair = one, other
        outside = max(1.0 - float(season_share_inside(season_c, mate.low_limit_c, mate.high_stress_c)) for mate in pair)
        idle = max(1.0 - float(season_share_inside(season_c, mate.growth_low_c, mate.growth_high_c)) for mate in pair)
        if outside > 0.0:
            found.append(Reason("season_outside_limits", outside, VERDICTS[2]))
        if idle > 0.5:
            found.append(Reason("season_outside_growth", idle, VERDICTS[1]))
    return found
