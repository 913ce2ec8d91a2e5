"""Crops: which values a file must hold, and how to find one."""

from __future__ import annotations

from pathlib import Path

from stocksim.library.sources import Entry, Rules, entry_names, find_entry

CROP_RULES = Rules(
    kind="crops",
    required={
        "temperature_low": "degC",
        "temperature_high": "degC",
        "plants_per_area_low": "1/m2",
        "plants_per_area_high": "1/m2",
        "days_to_harvest_low": "day",
        "days_to_harvest_high": "day",
    },
    # absent where nobody ever published a feed ratio for the crop
    optional={"feed_ratio_low": "g/m2/day", "feed_ratio_high": "g/m2/day"},
    facts={"latin": True, "kind": True, "caution": False},
)


def load_crop(name: str, beside: Path | None = None) -> Entry:
    """Crop by its key; arguments, returns and errors as in `load_species`."""
    return find_entry(name, CROP_RULES, beside)


def crop_names(beside: Path | None = None) -> list[str]:
    """Sorted keys of all crops, shipped and beside a site file."""
    return entry_names(CROP_RULES, beside)
