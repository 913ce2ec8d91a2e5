"""Changes of the house that keep computed water from growing too warm: vents that open earlier, and shade.

Apart from `search`, for sources of changes stand together, a topic a file.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from stocksim.changes.change import Action, Change
from stocksim.engine.results.findings import Finding
from stocksim.engine.results.frames import Season, loop_of
from stocksim.site.climate_tables import ComputedTemperature, VentsTable
from stocksim.site.kinds import LIMITS

_COOLER_K = (3.0, 6.0, 9.0, 12.0, 15.0)  # that vents open earlier, or below the limit where there are none (assumed)
_FAN_FACTOR = 2.0  # of the vents' air changes: fans beside them (assumed)
_SHADES = (0.3, 0.5, 0.7)  # shade cloths that are sold (common practice, no source)


def earlier_vents(season: Season, finding: Finding) -> Iterator[Change]:
    """Vents of the greenhouse that open at cooler air, then with fans as well; vents where there are none."""
    if not _is_house_too_warm(season, finding):
        return
    table = season.site.file.greenhouse
    assert table is not None
    now = table.vents
    from_c = now.opens_at if now else finding.threshold
    changes = now.air_changes if now else float(VentsTable.model_fields["air_changes"].default)
    for air_changes in (changes, _FAN_FACTOR * changes):
        for cooler in _COOLER_K:
            written = season.site.raw["greenhouse"].get("vents", {})
            vents: dict[str, Any] = {**written, "opens_at": f"{from_c - cooler:.4g} degC"}
            if now is None or air_changes > changes:
                vents["air_changes"] = air_changes
            amounts = {
                "opens_at_c": from_c - cooler, "now_c": now.opens_at if now else None, "air_changes": air_changes,
                "is_more_air": now is None or air_changes > changes,
            }  # fmt: skip
            yield Change(Action.VENTS, {"greenhouse.vents": vents}, amounts)


def shaded(season: Season, finding: Finding) -> Iterator[Change]:
    """Shade over the greenhouse for the whole season, the lightest cloth first; crops get less light by it."""
    if not _is_house_too_warm(season, finding):
        return
    table = season.site.file.greenhouse
    assert table is not None
    for share in _SHADES:
        if share > table.shade:
            yield Change(Action.SHADE, {"greenhouse.shade": share}, {"share": share, "now": table.shade})


def _is_house_too_warm(season: Season, finding: Finding) -> bool:
    """Whether a loop's water is computed, too warm, and there is a greenhouse that the sun may warm."""
    file = season.site.file
    if LIMITS[finding.limit].is_floor or file.greenhouse is None:
        return False
    return isinstance(file.loops[loop_of(season, finding)].water_temperature, ComputedTemperature)
