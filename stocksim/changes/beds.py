"""Changes of beds, crops, ration and stock that may bring a loop's fish and beds nearer to balance.

Apart from the question that tries them, for sources of changes stand together.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from stocksim.changes.change import Action, Care, Change
from stocksim.engine.arrays.beds import build_stands
from stocksim.engine.arrays.fish import DEFAULT_APPETITE_FRACTION
from stocksim.engine.results.beds import Side
from stocksim.engine.results.frames import Season
from stocksim.errors import InputError
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.fish_tables import AppetiteRation

# Crops of the cold that a leafy planting may be swapped for.
HUNGRY_IN_COLD = ("watercress", "spinach", "kale", "pak_choi")


def _beds(season: Season, loop: str) -> list[str]:
    beds = season.site.file.beds
    return [key for key, bed in beds.items() if bed.loop == loop and BED_KINDS[bed.kind].is_on_loop and bed.plantings]


def area_to_build(season: Season, loop: str) -> Iterator[Change]:
    """Plant the area to build for: the same plantings, larger or smaller, and beds enlarged where they are too small.

    The one change of area that any answer advises; none where what is planted is as much as that.
    """
    build = season.build_areas.get(loop)
    if build is None or build.side in (Side.BARE, Side.EVEN):
        return
    factor = build.area_m2 / build.counted_m2
    changes: dict[str, Any] = {}
    stands, is_built = season.planting.stands, False
    for key in _beds(season, loop):
        table = season.site.file.beds[key]
        room = table.planted_face or table.area
        most = float(stands.area_m2[:, stands.beds.index(key)].max()) * factor
        changes[f"beds.{key}.plantings"] = [
            {**raw, "area": f"{(planting.area or room) * factor:.4f} m2"}
            for raw, planting in zip(season.site.raw["beds"][key]["plantings"], table.plantings, strict=True)
        ]
        if most > room:
            changes[f"beds.{key}.{'planted_face' if table.planted_face else 'area'}"] = f"{most * 1.001:.4f} m2"
            is_built = True
    amounts = {
        "loop": loop,
        "carried_m2": build.area_m2,
        "planted_m2": build.counted_m2,
        "is_whole": math.isclose(build.counted_m2, build.planted_m2),
        "rule": build.rule,
        "is_salted": build.side is Side.SALTS,  # or else the salts may be added that more of it lacks
        "is_built": is_built,
    }
    yield Change(Action.PLANTED_AREA, changes, amounts, effort=6 if is_built else 1)


def hungrier_crops(season: Season, loop: str) -> Iterator[Change]:
    """Swap leafy crops for the one that draws most in this loop's season."""
    file, beds = season.site.file, _beds(season, loop)
    best: tuple[float, str] = (0.0, "")
    for name in HUNGRY_IN_COLD:
        changes = _with_crop(season, beds, name)
        if not changes:
            return
        try:
            stands = build_stands(season.site.with_changes(changes))
        except InputError:
            continue
        columns = [stands.beds.index(key) for key in beds]
        best = max(best, (float(stands.demand_g[0][:, columns].sum()), name))
    name = best[1]
    old = {
        p.crop for key in beds for p in file.beds[key].plantings if season.site.crops[p.crop].facts["kind"] == "leafy"
    }
    if name and old != {name}:
        yield Change(
            Action.HUNGRIER_CROPS,
            _with_crop(season, beds, name),
            {"loop": loop, "crop": name, "instead_of": tuple(sorted(old - {name}))},
            effort=2,
            care=Care.WATERCRESS if name == "watercress" else None,
        )


def _with_crop(season: Season, beds: list[str], name: str) -> dict[str, Any]:
    """Changes that put one crop in place of every leafy one."""
    changes = {}
    for key in beds:
        plantings = season.site.file.beds[key].plantings
        raw = season.site.raw["beds"][key]["plantings"]
        kinds = [season.site.crops[planting.crop].facts["kind"] for planting in plantings]
        if "leafy" in kinds:
            changes[f"beds.{key}.plantings"] = [
                {**written, "crop": name} if kind == "leafy" else dict(written)
                for written, kind in zip(raw, kinds, strict=True)
            ]
    return changes


def _cohorts(season: Season, loop: str) -> list[str]:
    file = season.site.file
    return [key for key, cohort in file.cohorts.items() if file.tanks[cohort.tank].loop == loop]


def other_ration(season: Season, loop: str, factor: float) -> Iterator[Change]:
    """Feed more or less by hand."""
    changes: dict[str, Any] = {}
    shares = []
    for key in _cohorts(season, loop):
        ration = season.site.file.cohorts[key].ration
        if ration is not None and not isinstance(ration, AppetiteRation):
            continue
        old = ration.fraction if ration else DEFAULT_APPETITE_FRACTION
        new = min(1.0, math.floor(1000.0 * old * factor) / 1000.0)
        if abs(new - old) < 0.02:
            continue
        written = season.site.raw["cohorts"][key].get("ration", {"kind": "appetite"})
        changes[f"cohorts.{key}.ration"] = {**written, "fraction": new}
        shares.append((old, new))
    if changes:
        old, new = shares[0]
        yield Change(Action.RATION, changes, {"loop": loop, "fraction": new, "now": old}, effort=3, cuts_feed=new < old)


def other_stock(season: Season, loop: str, factor: float) -> Iterator[Change]:
    """Carry fewer or more fish, all groups alike."""
    cohorts = season.site.file.cohorts
    keys = [key for key in _cohorts(season, loop) if cohorts[key].count > 0]
    new = {key: round(cohorts[key].count * min(factor, 4.0)) for key in keys}
    if not keys or all(new[key] == cohorts[key].count for key in keys):
        return
    kilos = sum((new[key] - cohorts[key].count) * cohorts[key].mean_weight for key in keys) / 1000.0
    counts = tuple((key, new[key], cohorts[key].count) for key in keys)
    amounts = {"loop": loop, "biomass_kg": kilos, "counts": counts}
    yield Change(Action.STOCK, {f"cohorts.{k}.count": n for k, n in new.items()}, amounts, effort=4)
