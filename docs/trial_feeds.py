"""The feed of each published trial, where its source tells one, and its digestible energy.

Told energy is taken as told; a feed told by its kind is the library's of that kind; one told by protein and fat has
the energy of `digestible_energy`. Protein alone says little of energy, as feeds of one protein hold 6 to 22 % fat:
then only the nitrogen follows and the energy stays that of the species' fitted feed, as it does where nothing is
told. Feeds were set from the words of the sources alone, seen and kept ones alike, before any point was run on them.
Fish eat the same grams of any pellet. Apart from `check_points` for its length.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from stocksim.library.feeds import load_feed

# Heats of combustion as in the feed files. [kJ/g]
_COMBUSTION = (23.6, 39.5, 17.2)
# Shares of protein, fat and carbohydrate digested: protein as in the feed files; fat 0.85-0.95 and carbohydrate
# 0.4-0.7, by how much of it is cooked starch, from memory of fish-nutrition handbooks; 0.9 and 0.5 of these give back
# the library's pellets within 5 %, and were set by them, not by trials.
_DIGESTED = (0.88, 0.90, 0.50)
ASH_AND_WATER = 0.10 + 0.08  # as in the feed files; the rest is carbohydrate


def digestible_energy(protein: float, fat: float) -> float:
    """Digestible energy of a dry pellet from its label.

    Parameters
    ----------
    protein, fat : float
        Crude protein and crude fat. [-]

    Returns
    -------
    float
        Digestible energy, by factors from memory of fish-nutrition handbooks. [kJ/g]

    Examples
    --------
    >>> round(digestible_energy(0.44, 0.22), 1)  # the library's trout feed has 18.5
    18.3
    """
    parts = (protein, fat, 1.0 - protein - fat - ASH_AND_WATER)
    return sum(part * heat * share for part, heat, share in zip(parts, _COMBUSTION, _DIGESTED, strict=True))


class TrialFeed(NamedTuple):
    """A feed as a source tells it; None: that of the species' fitted feed."""

    told: str
    energy: float | None  # digestible [kJ/g]
    protein: float | None  # crude [-]


def _kind(name: str, told: str, protein: float | None = None) -> TrialFeed:
    """A feed told by its kind: the library's, with the protein told."""
    feed = load_feed(name)
    return TrialFeed(f"{told}: {name}", feed["digestible_energy"], protein or feed["protein"])


def _label(protein: float, fat: float, more: str = "") -> TrialFeed:
    return TrialFeed(f"{100 * protein:.3g} % protein, {100 * fat:.3g} % fat{more}", digestible_energy(protein, fat),
                     protein)  # fmt: skip


def _protein(protein: float, more: str = "") -> TrialFeed:
    return TrialFeed(f"{100 * protein:.3g} % protein{more}", None, protein)


_DRY_MATTER = 0.92  # of the feeds of Schwarz, whose figures are of dry matter [ours]
_TROUT = _kind("trout_44", "trout feed")
# What each source tells, and its points
TOLD: tuple[tuple[TrialFeed, tuple[str, ...]], ...] = (
    (_protein(0.45), ("bluegill_1_8g_11wk_low",)),
    (_protein(0.44), ("E2",)),
    (_protein(0.38), ("hybrid_sunfish_15g_10wk",)),
    (_label(0.45, 0.20, ", a trout feed"), ("D8", "E5")),
    (_protein(0.42), ("D9",)),
    (_protein(0.25), ("more_carp_102g_51d",)),
    (_label(0.48, 0.18), (
        "more_lmb_12_7g_30c", "lmb_7g_30c_daily", "lmb_7g_30c_daily_fcr", "lmb_35c_intake",
    )),
    (_label(0.45, 0.18), ("lmb_7c_eats", "lmb_7c_feed_weekly")),
    (_label(0.51, 0.12, ", the middle of 46-56 % protein"), ("E4", "lmb_cai_10g_end", "lmb_cai_200g_end")),
    (_protein(0.32), ("D11", "D12", "cat_winter_intake", "cat_winter_coldest", "carp_1_5g_best_ration")),
    (_protein(0.345, ", the middle of 27-42 %"), ("E3",)),
    (_TROUT, (
        "black_bullhead_16c_gain", "black_bullhead_22c_gain", "black_bullhead_28c_gain", "black_bullhead_34c_gain",
        "hsb_wirtz_60g_sgr", "hsb_wirtz_60g_fcr",
        "pikeperch_25g_ration_1_2", "pikeperch_25g_ration_1_6", "pikeperch_25g_ration_2_0",
    )),
    (_kind("catfish_32", "catfish pellets, 32 % protein"), (
        "tilapia_gmt_ration_2", "tilapia_gmt_ration_2_5", "tilapia_gmt_ration_3", "tilapia_gmt_ration_4",
        "tilapia_gmt_fcr_4",
    )),
    (TrialFeed("3,500 kcal of digestible energy a kg", 3.5 * 4.184, None), ("trout_10g_best_ration",)),
    (TrialFeed("18.3-20.1 MJ of digestible energy and 41-51 % protein in dry matter, the middles",
               19.2 * _DRY_MATTER, 0.46 * _DRY_MATTER),
     ("carp_168g_24c_52d", "carp_168g_24c_93d", "carp_168g_24c_fcr1")),
    (TrialFeed("16.9-18.1 MJ of digestible energy and 20-41 % protein in dry matter, the middles",
               17.5 * _DRY_MATTER, 0.305 * _DRY_MATTER),
     ("carp_168g_24c_61d_lean", "carp_168g_24c_106d_lean")),
    (_label(0.38 / 0.88, 0.18, "; 35-41 % digestible protein told, the middle over 0.88"), ("hsb_pond_29c_fcr",)),
    (_protein(0.402), ("hsb_phase2_sunshine", "hsb_phase2_palmetto")),
    (_kind("trout_44", "trout feed, 44.1 % protein", 0.441), ("hsb_phase3_sunshine", "hsb_phase3_palmetto")),
    (_kind("perch_45", "pikeperch feed"), ("hsb_wirtz_116g_sgr", "hsb_wirtz_183g_sgr")),
    (_label(0.42, 0.18), ("walleye_ras_85g_fm", "walleye_ras_85g_fmf", "walleye_ras_fcr")),
)  # fmt: skip
_OF_POINT = {point: feed for feed, points in TOLD for point in points}


def feed_of(point: str) -> TrialFeed | None:
    """The feed told of a point, by its id; None where none is told."""
    return _OF_POINT.get(point.split()[0])


def on_feed(value: Callable[[Any], Any], feed: TrialFeed) -> Callable[[Any], Any]:
    """The value of a check for the fish on another feed."""
    return lambda fish: value(fish.on(feed))


PELLETS = (
    "bass_46", "carp_35", "catfish_32", "cool_water_40", "hybrid_bass_42", "koi_wheatgerm_32", "perch_45",
    "sunfish_44", "tilapia_34", "trout_42", "trout_44",
)  # fmt: skip


def library_check() -> list[tuple[str, float, float]]:
    """Pellets of the library: name, their digestible energy and that of the rule. [kJ/g]"""
    found = []
    for name in PELLETS:
        feed = load_feed(name)
        found.append((name, feed["digestible_energy"], digestible_energy(feed["protein"], feed["fat"])))
    return found
