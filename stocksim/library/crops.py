"""Crops: which values a file must hold, and how to find one."""

from __future__ import annotations

from pathlib import Path

from stocksim.library.sources import Bound, Entry, Order, Rules, entry_names, find_entry

NUTRIENTS = ("nitrogen", "phosphorus", "potassium", "calcium", "magnesium", "iron")
# how a crop is harvested: whole, cut again and again, or picked fruit by fruit
HARVESTS = ("once", "cut", "fruit")
KINDS = ("leafy", "fruiting")

CONTENT = {
    "nitrogen": Bound("-", 0.002, 0.15),
    "phosphorus": Bound("-", 1e-4, 0.03),
    "potassium": Bound("-", 1e-3, 0.2),
    "calcium": Bound("-", 5e-4, 0.1),
    "magnesium": Bound("-", 1e-4, 0.03),
    "iron": Bound("-", 1e-6, 0.01),
}

# What else is charged, for the balance of what roots take; a file has all three or none.
CHARGED = {
    "sulfur": Bound("-", 1e-4, 0.05),
    "chloride": Bound("-", 1e-5, 0.1),
    "sodium": Bound("-", 1e-5, 0.1),
}

CROP_RULES = Rules(
    kind="crops",
    required={
        "temperature_low": Bound("degC", -5, 30),
        "temperature_high": Bound("degC", 10, 45),
        "plants_per_area_low": Bound("1/m2", 0.1, 5000),
        "plants_per_area_high": Bound("1/m2", 0.1, 5000),
        "days_to_harvest_low": Bound("day", 5, 730),
        "days_to_harvest_high": Bound("day", 5, 730),
        # growth
        "dry_matter": Bound("-", 0.02, 0.6),  # of the harvested part
        "harvest_index": Bound("-", 0.05, 1),  # of new dry growth
        "stand_dry_mass": Bound("g/m2", 20, 5000),
        "seedling_dry_mass": Bound("g", 0.001, 50),
        "cover_per_dry_mass": Bound("m2/g", 0.001, 0.1),
        "light_use": Bound("g/mol", 0.1, 5),
        "light_half_saturation": Bound("mol/m2/day", 2, 200),
        "temperature_base": Bound("degC", -5, 20),
        "temperature_optimum": Bound("degC", 8, 40),
        "temperature_max": Bound("degC", 15, 50),
        "thermal_time": Bound("degC day", 50, 10000),
        # content of dry matter: of the whole plant, or of all but the fruit
        **CONTENT,
    },
    optional={
        # absent where nobody ever published a feed ratio for the crop
        "feed_ratio_low": Bound("g/m2/day", 5, 500),
        "feed_ratio_high": Bound("g/m2/day", 5, 500),
        "yield_per_area": Bound("kg/m2", 0.05, 100),
        **{f"fruit_{key}": bound for key, bound in (CONTENT | CHARGED).items()},
        **CHARGED,
        # hydroxide that roots give off for each nitrate, as measured; absent: the common range
        "hydroxide_low": Bound("-", -5, 1),
        "hydroxide_high": Bound("-", -5, 1),
        "nitrogen_fixed": Bound("-", 0, 1),
        # air of a night that harms the standing crop, by chill or frost; absent: not known, and not judged
        "temperature_low_limit": Bound("degC", -30, 20),
        # absent: more light always adds growth
        "light_saturation": Bound("umol/m2/s", 50, 3000),
    },
    facts={"latin": True, "kind": True, "harvest": True, "caution": False},
    choices={"kind": KINDS, "harvest": HARVESTS},
    together=(("sulfur", "chloride"), ("sulfur", "sodium"), ("hydroxide_low", "hydroxide_high")),
    orders=(
        Order("hydroxide_low", "hydroxide_high", may_equal=True),
        Order("temperature_low_limit", "temperature_high"),
        Order("temperature_low", "temperature_high"),
        Order("temperature_base", "temperature_optimum"),
        Order("temperature_optimum", "temperature_max"),
        Order("plants_per_area_low", "plants_per_area_high", may_equal=True),
        Order("days_to_harvest_low", "days_to_harvest_high", may_equal=True),
        Order("feed_ratio_low", "feed_ratio_high", may_equal=True),
    ),
)


def load_crop(name: str, beside: Path | None = None) -> Entry:
    """Crop by its key; arguments, returns and errors as in `load_species`."""
    return find_entry(name, CROP_RULES, beside)


def crop_names(beside: Path | None = None) -> list[str]:
    """Sorted keys of all crops, shipped and beside a site file."""
    return entry_names(CROP_RULES, beside)
