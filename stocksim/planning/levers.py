"""For every broken limit the smallest change that mends it, proved by running the season with it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from stocksim.engine.extremes import tank_extremes
from stocksim.engine.findings import Finding, limit_series, worst_margin
from stocksim.engine.layout import DEFAULT_APPETITE_FRACTION, Layout, standard_transfer
from stocksim.engine.results import Season
from stocksim.engine.running import run_season
from stocksim.engine.season import simulate
from stocksim.errors import InputError
from stocksim.plants.area import planting_ratio
from stocksim.site.model import AppetiteRation
from stocksim.units import face_unit, format_quantity, parse_quantity, to_face
from stocksim.water.oxygen import diffuser_standard_transfer

Progress = Callable[[int, int], None]
_SHARES = np.linspace(1.0, 0.0, 41)
_MOST_COUNTS = 60  # whole numbers of fish tried between two shares
# Less than this share of the ration is no lever: fish that are kept on it all season starve (engineering judgement of
# this project, no source).
_LEAST_RATION_SHARE = 0.3
_DIFFUSER_STEP_W, _MOST_DIFFUSER_W = 5.0, 400.0


@dataclass(frozen=True)
class Lever:
    """A change of the site file that mends a limit.

    Parameters
    ----------
    words : str
        What to do, with quantities.
    changes : dict
        Dotted fields to new values, as `Site.with_changes` takes them.
    """

    words: str
    changes: dict[str, Any]


def find_levers(season: Season, progress: Progress | None = None) -> list[Finding]:
    """The season's findings, each broken limit with a lever proved by a run.

    Parameters
    ----------
    season : Season
        A season that was run.
    progress : callable, optional
        Called with (limits done, limits in all).

    Returns
    -------
    list of Finding
        In the order of ``season.findings``. A lever that breaks another limit says so; where no lever was found the
        sentence says that.
    """
    found = season.findings
    wanted = [finding for finding in found if finding.is_broken or _is_off_band(finding)]
    with_levers = {}
    for number, finding in enumerate(wanted):
        with_levers[id(finding)] = replace(finding, lever=_lever_words(season, finding))
        if progress is not None:
            progress(number + 1, len(wanted))
    return [with_levers.get(id(finding), finding) for finding in found]


def _is_off_band(finding: Finding) -> bool:
    return finding.limit == "planting_ratio" and finding.days_broken > 0


def find_lever(season: Season, finding: Finding) -> Lever | None:
    """The gentlest change we know that mends a finding, proved by a run.

    Parameters
    ----------
    season : Season
        A season that was run.
    finding : Finding
        One of its broken limits, or its planting ratio off the band.

    Returns
    -------
    Lever or None
        None where no single change that was tried mends it. A lever that breaks another limit says so.
    """
    for lever in _candidates(season, finding):
        try:
            after = run_season(season.site, **lever.changes)
        except InputError:  # it cannot be written so, as heating that kills another fish of the loop
            continue
        if finding.limit == "planting_ratio":
            if _ratio_in_band(after, finding):
                return lever
            continue
        same = [f for f in after.findings if (f.limit, f.where) == (finding.limit, finding.where)]
        if any(f.is_broken for f in same):
            continue
        before = {(f.limit, f.where) for f in season.findings if f.is_broken}
        new = [f for f in after.findings if f.is_broken and (f.limit, f.where) not in before]
        if new:
            places = ", ".join(f"{limit_name(f.limit)} of {f.where.split('.')[1]}" for f in new)
            return replace(lever, words=f"{lever.words} (but that breaks {places})")
        return lever
    return None


def _lever_words(season: Season, finding: Finding) -> str:
    lever = find_lever(season, finding)
    if lever is not None:
        return lever.words
    if finding.limit.startswith("temperature"):
        return f"no single change that we tried mends this; keep {finding.where.split('.')[1]} in another loop"
    if finding.limit == "planting_ratio":
        return "no planted area that we tried brings the feed into the handbook band"
    return (
        "no single change that we tried mends this, not even fewer fish here; change several things at once, or keep "
        "these fish in another loop"
    )


def limit_name(limit: str) -> str:
    """A limit's name in words, as ``un-ionized ammonia``."""
    named = {"temperature_low": "cold limit", "temperature_high": "heat limit"}
    return named.get(limit, limit.replace("unionized", "un-ionized").replace("_", " "))


def _candidates(season: Season, finding: Finding) -> Iterator[Lever]:
    """Levers to try for a finding, the gentlest first."""
    name = finding.where.split(".")[1]
    if finding.limit == "density":
        yield from _fewer_fish(season, finding, name)
    elif finding.limit == "oxygen":
        yield from _more_air(season, finding, name)
        yield from _less_feed(season, finding, [name])
        yield from _fewer_fish(season, finding, name)
    elif finding.limit == "unionized_ammonia":
        tanks = season.site.file.tanks
        yield from _less_feed(season, finding, [key for key, tank in tanks.items() if tank.loop == tanks[name].loop])
        yield from _fewer_fish(season, finding, name)
    elif finding.limit in ("temperature_low", "temperature_high"):
        yield from _other_temperature(season, finding, name)
    elif finding.limit == "planting_ratio":
        yield from _other_area(season, name)


def _passes(season: Season, finding: Finding, layout: Layout) -> np.ndarray:
    """Which scenarios of a layout keep the finding's limit, shape (scenario,)."""
    course = simulate(layout)
    for series in limit_series(layout, course, tank_extremes(layout, course)):
        if series.limit == finding.limit:
            column = series.entities.index(finding.where.split(".")[1])
            return worst_margin(series)[:, column] >= 0.0
    raise KeyError(finding.limit)


def _inside(season: Season, tanks: list[str]) -> np.ndarray:
    file, layout = season.site.file, season.layout
    return np.array([file.cohorts[key].tank in tanks for key in layout.cohorts])


def _fewer_fish(season: Season, finding: Finding, tank: str) -> Iterator[Lever]:
    layout = season.layout
    inside = _inside(season, [tank])
    counts = np.where(inside, layout.count * _SHARES[:, None], layout.count)
    good = np.flatnonzero(_passes(season, finding, replace(layout, count=counts)))
    if not good.size:
        return
    # between the last share that breaks the limit and the first that holds it, fish by fish of the largest cohort, so
    # that no fish is given up for the grid
    largest = layout.count[inside].max()
    above = math.floor(largest * _SHARES[max(good[0] - 1, 0)])
    below = math.floor(largest * _SHARES[good[0]] + 1e-9)
    kept = np.unique(np.linspace(above, below, min(above - below + 1, _MOST_COUNTS)).round())[::-1]
    counts = np.where(inside, np.floor(layout.count * (kept / largest)[:, None] + 1e-9), layout.count)
    good = np.flatnonzero(_passes(season, finding, replace(layout, count=counts)))
    if not good.size or not counts[good[0], inside].any():
        return
    names = [key for key, here in zip(layout.cohorts, inside, strict=True) if here]
    old, new = layout.count[inside].astype(int).tolist(), counts[good[0], inside].astype(int).tolist()
    words = " and ".join(f"{n} of the {o} {key}" for key, o, n in zip(names, old, new, strict=True))
    yield Lever(f"keep {words} in {tank}", {f"cohorts.{key}.count": n for key, n in zip(names, new, strict=True)})


def _more_air(season: Season, finding: Finding, tank: str) -> Iterator[Lever]:
    layout, table = season.layout, season.site.file.tanks[tank]
    column = layout.tanks.index(tank)
    now = standard_transfer(table.oxygen_supply)
    per_watt = float(diffuser_standard_transfer(1.0))
    # a supply known by its measured transfer is compared with a diffuser of the same transfer
    least = math.floor(now / per_watt / _DIFFUSER_STEP_W + 1.0) * _DIFFUSER_STEP_W
    powers = np.arange(least, max(_MOST_DIFFUSER_W, 4 * least) + 1.0, _DIFFUSER_STEP_W)
    device = np.repeat(layout.device_g_day[None], powers.size, axis=0)
    device[:, column] = powers * per_watt
    good = np.flatnonzero(_passes(season, finding, replace(layout, device_g_day=device)))
    if good.size:
        watts = powers[good[0]]
        old = f" instead of {now / per_watt:.0f} W" if now > 0 else ""
        yield Lever(
            f"give {tank} air stones fed by {watts:.0f} W{old}",
            {f"tanks.{tank}.oxygen_supply": {"kind": "diffuser", "power": f"{watts:g} W"}},
        )


def _less_feed(season: Season, finding: Finding, tanks: list[str]) -> Iterator[Lever]:
    layout, cohorts = season.layout, season.site.file.cohorts
    inside = _inside(season, tanks)
    fraction = np.where(inside, layout.ration_fraction * _SHARES[:, None], layout.ration_fraction)
    good = np.flatnonzero(_passes(season, finding, replace(layout, ration_fraction=fraction)))
    if not good.size or _SHARES[good[0]] < _LEAST_RATION_SHARE:
        return
    share = _SHARES[good[0]]
    changes, words = {}, []
    for key in (key for key, here in zip(layout.cohorts, inside, strict=True) if here):
        ration = cohorts[key].ration
        if ration is not None and not isinstance(ration, AppetiteRation):
            continue
        old = ration.fraction if ration else DEFAULT_APPETITE_FRACTION
        new = math.floor(old * share * 1000.0) / 1000.0
        table: dict[str, Any] = {"kind": "appetite", "fraction": new}
        if ration is not None and ration.spilled_share is not None:
            table["spilled_share"] = ration.spilled_share
        changes[f"cohorts.{key}.ration"] = table
        words.append(f"{key} {100 * new:.0f} % of appetite instead of {100 * old:.0f} %")
    if changes:
        yield Lever(f"feed {', '.join(words)}", changes)


def _other_temperature(season: Season, finding: Finding, cohort: str) -> Iterator[Lever]:
    site = season.site
    loop = site.file.tanks[site.file.cohorts[cohort].tank].loop
    units = site.file.site.units
    is_low = finding.limit == "temperature_low"
    shown = to_face(finding.threshold, "temperature", units)
    rounded = math.ceil(shown - 1e-6) if is_low else math.floor(shown + 1e-6)
    text = f"{rounded} {face_unit('temperature', units)}"
    field = "at_least" if is_low else "at_most"
    verb = "heat the water of loop" if is_low else "cool the water of loop"
    words = f"{verb} {loop} to {field.replace('_', ' ')} {text}, or keep {cohort} in another loop"
    # degF to degC and back may lose the last digit, and with it the limit
    value = (max if is_low else min)(parse_quantity(text, "temperature"), finding.threshold)
    yield Lever(words, {f"loops.{loop}.water_temperature.{field}": f"{value!r} degC"})


def _other_area(season: Season, loop: str) -> Iterator[Lever]:
    """Plant what the season's feed carries: the same plantings, larger or smaller."""
    file, layout = season.site.file, season.layout
    column = layout.loops.index(loop)
    planted = layout.planted_m2[:, column] > 0.0
    feed = float((season.course.fed_g @ layout.cohort_loop)[0, planted, column].mean())
    middle = float(0.5 * (layout.ratio_low + layout.ratio_high)[planted, column].mean())
    now = float(layout.planted_m2[planted, column].mean())
    factor = feed / middle / now
    changes: dict[str, Any] = {}
    for key, bed in file.beds.items():
        if bed.loop != loop or bed.kind == "wicking" or not bed.plantings:
            continue
        raw = season.site.raw["beds"][key]
        changes[f"beds.{key}.plantings"] = [
            {**written, "area": f"{(planting.area or bed.area) * factor:.4f} m2"}
            for written, planting in zip(raw["plantings"], bed.plantings, strict=True)
        ]
        if factor > 1.0:
            changes[f"beds.{key}.area"] = f"{bed.area * factor:.4f} m2"
    units = file.site.units
    carried = format_quantity(feed / middle, "area", units)
    have = format_quantity(now, "area", units)
    less = "less than" if factor < 1.0 else "more than"
    yield Lever(f"the season's feed carries about {carried} by the handbooks, {less} the {have} planted", changes)


def _ratio_in_band(season: Season, finding: Finding) -> bool:
    """Whether the season's mean feed per planted area lies in the mean band."""
    layout = season.layout
    column = layout.loops.index(finding.where.split(".")[1])
    planted = layout.planted_m2[:, column] > 0.0
    feed = (season.course.fed_g @ layout.cohort_loop)[0, planted, column].mean()
    ratio = float(planting_ratio(feed, layout.planted_m2[planted, column].mean()))
    low, high = layout.ratio_low[planted, column].mean(), layout.ratio_high[planted, column].mean()
    return bool(low <= ratio <= high)
