"""Sizes of a bed: as its table gives them, else as is usual for its kind."""

from __future__ import annotations

from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.model import BedTable


def bed_bulk_m3(bed: BedTable) -> float:
    """Footprint times depth, typed or usual; 0 for a bed off the loops. [m3]"""
    water = BED_KINDS[bed.kind].water
    return 0.0 if water is None else bed.area * (bed.depth or water.depth_m)


def bed_water_m3(bed: BedTable) -> float:
    """Loop water that a bed holds; 0 for a bed off the loops. [m3]"""
    kind, bulk = BED_KINDS[bed.kind], bed_bulk_m3(bed)
    if kind.water is None:
        return 0.0
    if kind.water.water_depth_m is not None:
        return bed.area * kind.water.water_depth_m
    return bulk if kind.fill is None else bulk * kind.fill.voids * kind.fill.flooded_share


def bed_flow_m3_day(bed: BedTable) -> float:
    """Water that runs through a bed in a day, typed or usual. [m3/day]"""
    water = BED_KINDS[bed.kind].water
    return 0.0 if water is None else bed.flow or water.usual_flow_m3_day(bed_bulk_m3(bed))


def bed_film_m2(bed: BedTable) -> float:
    """Nitrifying surface of a bed: what the keeper gives, or the usual one of its kind. [m2]"""
    kind = BED_KINDS[bed.kind]
    if bed.nitrifying_surface is not None:
        return bed.nitrifying_surface
    if kind.water is None:
        return 0.0
    depth = bed.depth or kind.water.depth_m
    plain = (kind.water.film_per_m2 + kind.water.wall_per_m2 * depth) * bed.area
    if kind.fill is None:
        return plain
    fill = kind.fill
    grain = bed.media_size or fill.grain_m
    return plain + fill.active_surface_share * 6.0 * (1.0 - fill.voids) / grain * bed.area * depth


def has_film(bed: BedTable) -> bool:
    """Whether a bed carries film: loop water runs through it, and its surface is usual or given."""
    kind = BED_KINDS[bed.kind]
    return kind.is_on_loop and (kind.has_usual_film or bed.nitrifying_surface is not None)
