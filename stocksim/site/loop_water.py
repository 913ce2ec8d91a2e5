"""Water that a loop holds, and what of a site file does not fit it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stocksim.errors import Fault
from stocksim.site.beds import bed_water_m3
from stocksim.site.model import LoopTable, SiteFile, TankTable
from stocksim.site.quantities import DEFAULT_TANK_DEPTH_M, shown
from stocksim.units import format_quantity
from stocksim.water.nitrification import WALL_FILM_SHARE, cylinder_surface

# Greatest loss to air and crops in a day, as a share of the loop's water (common practice, no source): open water loses
# some millimetres a day, and crops some litres a m2, which is a hundredth of most loops and a tenth of none.
MOST_LOSS_SHARE = 0.1
# Greatest water change, as a share of it: fish lie in the rest (common practice, no source).
MOST_CHANGE_SHARE = 0.9
# Greatest steady inflow, in loops' water a day (common practice, no source): water that stays less than an hour is a
# tank with a stream through it, and no loop.
MOST_NEW_VOLUMES = 24.0

# Water that softens a loop, as every answer names it. Softeners that swap calcium for sodium leave the alkalinity, and
# rain from roofs carries what birds leave there (common practice, no source).
CLEAN_RAIN = "rain that was filtered and disinfected, for birds foul roofs"
SOFT_WATER = f"reverse-osmosis water (or {CLEAN_RAIN})"


def loop_water_m3(file: SiteFile, key: str) -> float:
    """Water in a loop's sump, tanks, beds and biofilters as the season counts it. [m3]"""
    tanks = sum(tank.volume for tank in file.tanks.values() if tank.loop == key)
    beds = sum(bed_water_m3(bed) for bed in file.beds.values() if bed.loop == key)
    filters = sum(unit.media_volume for unit in file.biofilters.values() if unit.loop == key)
    return open_sump_m3(file, key) + tanks + beds + filters


def tank_depth_m(tank: TankTable) -> float:
    """Depth of a tank's water, typed or usual. [m]"""
    return tank.depth or DEFAULT_TANK_DEPTH_M


def tank_film_m2(tank: TankTable) -> float:
    """Whole film that a tank's walls and floor count as. [m2]"""
    return WALL_FILM_SHARE.value * float(cylinder_surface(tank.volume, tank_depth_m(tank)))


def open_sump_m3(file: SiteFile, key: str) -> float:
    """Water of a loop's sump that no raft floats on: what lies under a raft is counted as the raft's. [m3]"""
    afloat = sum(bed_water_m3(bed) for bed in file.beds.values() if bed.floats_on_sump and bed.loop == key)
    return file.loops[key].sump - afloat


def loop_water_faults(file: SiteFile, raw: Mapping[str, Any]) -> list[Fault]:
    """Losses, changes and sludge that are more than a loop's water bears.

    Parameters
    ----------
    file : SiteFile
        Tables without other faults: the water of a loop must be known.
    raw : mapping
        The tables as written, to show the value met.

    Returns
    -------
    list of Fault
        One for each value.
    """
    return [fault for key, loop in file.loops.items() for fault in _of_loop(key, loop, file, raw)]


def _of_loop(key: str, loop: LoopTable, file: SiteFile, raw: Mapping[str, Any]) -> list[Fault]:
    faults, water = [], loop_water_m3(file, key)

    def volume(value: float) -> str:
        return format_quantity(value, "volume", file.site.units)

    if loop.evaporation is not None and loop.evaporation > MOST_LOSS_SHARE * water:
        message = (
            f"{shown(raw['loops'][key]['evaporation'])} is more than a tenth of the loop's water, {volume(water)}, in "
            f"a day; check the unit, and write {volume(MOST_LOSS_SHARE * water)} a day or less."
        )
        faults.append(Fault(f"loops.{key}", "evaporation", message))
    if loop.new_water is not None and loop.new_water > MOST_NEW_VOLUMES * water:
        message = (
            f"{shown(raw['loops'][key]['new_water'])} fills the loop's water, {volume(water)}, more than "
            f"{MOST_NEW_VOLUMES:.0f} times a day; check the unit, and write {volume(MOST_NEW_VOLUMES * water)} a day "
            "or less."
        )
        faults.append(Fault(f"loops.{key}", "new_water", message))
    for number, change in enumerate(loop.water_changes, 1):
        if change.volume > MOST_CHANGE_SHARE * water:
            written = shown(raw["loops"][key]["water_changes"][number - 1]["volume"])
            message = (
                f"{written} is more than nine tenths of the loop's water, {volume(water)}, and leaves the fish too "
                f"little to lie in; check the unit, or write {volume(MOST_CHANGE_SHARE * water)} or less, or several "
                "changes."
            )
            faults.append(Fault(f"loops.{key}", f"water_changes[{number}].volume", message))
    drawn = 0.0
    for name, settler in file.settlers.items():
        if settler.loop != key:
            continue
        drawn += settler.drawn_off
        if drawn > water:
            others = " with the settlers before it" if drawn > settler.drawn_off else ""
            message = (
                f"{shown(raw['settlers'][name]['drawn_off'])}{others} is more than all of the loop's water, "
                f"{volume(water)}, in a day; check the unit, and write less."
            )
            faults.append(Fault(f"settlers.{name}", "drawn_off", message))
            break
    return faults
