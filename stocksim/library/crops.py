"""Crops: which values a file must hold, and how to find one."""

from __future__ import annotations

from pathlib import Path

from stocksim.library.sources import Entry, Rules, entry_names, find_entry

NUTRIENTS = ("nitrogen", "phosphorus", "potassium", "calcium", "magnesium", "iron")
# how a crop is harvested: whole, cut again and again, or picked fruit by fruit
HARVESTS = ("once", "cut", "fruit")

CROP_RULES = Rules(
    kind="crops",
    required={
        "temperature_low": "degC",
        "temperature_high": "degC",
        "plants_per_area_low": "1/m2",
        "plants_per_area_high": "1/m2",
        "days_to_harvest_low": "day",
        "days_to_harvest_high": "day",
        # growth
        "dry_matter": "-",  # of the harvested part
        "harvest_index": "-",  # of new dry growth
        "stand_dry_mass": "g/m2",
        "seedling_dry_mass": "g",
        "cover_per_dry_mass": "m2/g",
        "light_use": "g/mol",
        "light_half_saturation": "mol/m2/day",
        "temperature_base": "degC",
        "temperature_optimum": "degC",
        "temperature_max": "degC",
        "thermal_time": "degC day",
        # content of dry matter: of the whole plant, or of all but the fruit
        **dict.fromkeys(NUTRIENTS, "-"),
    },
    optional={
        # absent where nobody ever published a feed ratio for the crop
        "feed_ratio_low": "g/m2/day",
        "feed_ratio_high": "g/m2/day",
        "yield_per_area": "kg/m2",
        **{f"fruit_{key}": "-" for key in NUTRIENTS},
        "nitrogen_fixed": "-",
    },
    facts={"latin": True, "kind": True, "harvest": True, "caution": False},
)


def load_crop(name: str, beside: Path | None = None) -> Entry:
    """Crop by its key; arguments, returns and errors as in `load_species`."""
    return find_entry(name, CROP_RULES, beside)


def crop_names(beside: Path | None = None) -> list[str]:
    """Sorted keys of all crops, shipped and beside a site file."""
    return entry_names(CROP_RULES, beside)
