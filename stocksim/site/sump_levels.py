"""How the sump's water swings, whether it holds what drains back, and what to mind of pumps and backups.

Apart from `pumps` for its length.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.beds import bed_water_m3
from stocksim.site.model import BedTable, SiteFile
from stocksim.site.pumps import has_pump, pump_loop, unpumped
from stocksim.units import format_quantity, in_units

# Media stay dry at their top: water stands 5 cm below (extension reprint, read).
DRY_TOP_M = 0.05


class SumpSwing(NamedTuple):
    """Water of a sump in its states. [m3]

    Parameters
    ----------
    lowest : float
        With every flood bed full.
    drained : float
        With every flood bed drained, pumps running.
    stopped : float
        With pumps stopped, all beds and towers and pipes drained.
    from_beds, from_towers, from_pipes : float
        What of it comes from each.
    """

    lowest: float
    drained: float
    stopped: float
    from_beds: float
    from_towers: float
    from_pipes: float


def bed_swing_m3(bed: BedTable) -> float:
    """Water that a flood bed takes up as it fills, as written, or its voids up to 5 cm below its top. [m3]

    Roots and wet grain keep some of it: on the safe side.
    """
    kind = BED_KINDS[bed.kind]
    if kind.fill is None or kind.water is None:
        return 0.0
    if bed.swing is not None:
        return bed.swing
    return bed.area * max((bed.depth or kind.water.depth_m) - DRY_TOP_M, 0.0) * kind.fill.voids


def sump_swing(file: SiteFile, loop: str) -> SumpSwing:
    """Water of a loop's sump in its states.

    Parameters
    ----------
    file : SiteFile
        Tables whose names are sound.
    loop : str
        Its loop. ``sump`` is what stands in it on average while the pumps run and flood beds fill and drain in turn.

    Returns
    -------
    SumpSwing
        Tanks and rafts keep their level: their outlets stand at it.
    """
    low = from_beds = from_towers = 0.0
    for bed in file.beds.values():
        kind = BED_KINDS[bed.kind]
        if bed.loop != loop or kind.water is None:
            continue
        if kind.fill is not None:
            swing = bed_swing_m3(bed)
            from_beds += kind.fill.flooded_share * swing
            low += (1.0 - kind.fill.flooded_share) * swing
        elif kind.water.water_depth_m is not None:
            from_towers += bed_water_m3(bed)
    pipes = sum(pump.drain_back for pump in file.pumps.values() if pump_loop(file, pump) == loop)
    sump = file.loops[loop].sump
    stopped = sump + from_beds + from_towers + pipes
    return SumpSwing(sump - low, sump + from_beds, stopped, from_beds, from_towers, pipes)


def tells_of_levels(file: SiteFile, loop: str) -> bool:
    """Whether a file tells anything of pumps, flood beds or bounds of a loop's sump, so that its level is looked at."""
    table = file.loops[loop]
    beds = [bed for bed in file.beds.values() if bed.loop == loop]
    is_told = any(bed.flooding is not None or bed.swing is not None for bed in beds)
    return is_told or table.sump_brim is not None or table.sump_least is not None or has_pump(file, loop)


def sump_warnings(file: SiteFile) -> list[str]:
    """Sumps that overflow when the pumps stop or all flood beds drain, and pumps that run dry when all are full.

    Parameters
    ----------
    file : SiteFile
        A file without faults.

    Returns
    -------
    list of str
        A sentence for each.
    """
    return [warning for key in file.loops for warning in _warnings_of(file, key)]


def _warnings_of(file: SiteFile, key: str) -> Iterator[str]:
    loop, swing = file.loops[key], sump_swing(file, key)

    def water(m3: float) -> str:
        return format_quantity(m3, "volume", file.site.units)

    if loop.sump_brim is not None and swing.stopped > loop.sump_brim:
        parts = {"flood beds": swing.from_beds, "towers": swing.from_towers, "pipes": swing.from_pipes}
        back = ", ".join(f"{water(m3)} of {name}" for name, m3 in parts.items() if m3 > 0.0)
        over = swing.stopped - loop.sump_brim
        yield (
            f"loops.{key}.sump_brim: the sump overflows when the pump stops: {water(loop.sump)} and {back} that drain "
            f"back are {water(swing.stopped)}, {water(over)} more than the {water(loop.sump_brim)} it holds. Run it "
            f"{water(over)} lower, or build a larger sump; water on the floor also reaches plugs and cables."
        )
        if swing.drained > loop.sump_brim:
            yield (
                f"loops.{key}.sump_brim: it overflows with the pump running, too, when all flood beds drain together: "
                f"{water(swing.drained)}."
            )
    if loop.sump_least is not None and swing.lowest < loop.sump_least:
        yield (
            f"loops.{key}.sump_least: the pump runs dry when all flood beds are full: they take "
            f"{water(loop.sump - swing.lowest)} of the sump's {water(loop.sump)}, and {water(max(swing.lowest, 0.0))} "
            f"are left where it needs {water(loop.sump_least)}. Let beds flood in turn, or build a larger sump."
        )
    elif loop.sump_least is None and swing.lowest <= 0.0 and tells_of_levels(file, key):
        yield (
            f"loops.{key}.sump: the pump runs dry when all flood beds are full: they take "
            f"{water(loop.sump - swing.lowest)}, more than the {water(loop.sump)} of the sump."
        )


def pump_notes(file: SiteFile) -> list[str]:
    """What was taken of pumps, flood beds and sumps, and what to mind of backups; none for a file without any.

    Parameters
    ----------
    file : SiteFile
        A file without faults.

    Returns
    -------
    list of str
        Sentences that name the place first.
    """
    notes: list[str] = []
    for key in file.loops:
        if not tells_of_levels(file, key):
            continue
        notes += _level_notes(file, key)
        beds = {name: bed for name, bed in file.beds.items() if bed.loop == key}
        silent = [f"beds.{n}" for n, b in beds.items() if BED_KINDS[b.kind].fill is not None and b.flooding is None]
        if silent:
            notes.append(
                f"{', '.join(silent)}: flooding is not given: it is taken to flood and drain, as media beds do."
            )
        lone = unpumped(file, key) if has_pump(file, key) else []
        if lone:
            notes.append(
                f"{', '.join(lone)}: no pump or overflow of the file feeds it; its pump is taken to hang on the mains."
            )
    if file.pumps:
        notes.append(
            "pumps: ground-fault protection on every circuit near water, drip loops, plugs above the highest water; "
            "let a licensed electrician do the wiring, by your local code."
        )
    far = in_units("6 m", file.site.units)
    for key, backup in file.backups.items():
        starting = "motors draw several times their watts when they start, so a generator needs that much more"
        if backup.kind == "generator":
            notes.append(
                f"backups.{key}: run an engine outdoors only, {far} or more from every door, window and vent: "
                "its carbon monoxide kills without a smell; a carbon monoxide alarm where people work or sleep; "
                f"a transfer switch fitted by a licensed electrician, never back-feed; {starting}."
            )
        else:
            notes.append(
                f"backups.{key}: a battery burns and gasses when it is shorted or overcharged: fuse it, keep it dry "
                f"and aired above the highest water, wired by a licensed electrician; {starting}. Two thirds of its "
                "label are counted."
            )
    return notes


def _level_notes(file: SiteFile, key: str) -> Iterator[str]:
    """What a sump must hold, where it holds it or is not told."""
    loop, swing = file.loops[key], sump_swing(file, key)

    def water(m3: float) -> str:
        return format_quantity(m3, "volume", file.site.units)

    back = water(swing.stopped - loop.sump)
    if loop.sump_brim is None and swing.stopped > loop.sump:
        yield (
            f"loops.{key}.sump_brim is not given: {back} drain back when the pumps stop, so the sump must hold "
            f"{water(swing.stopped)}; write what it holds to its brim."
        )
    elif loop.sump_brim is not None and swing.stopped <= loop.sump_brim:
        yield (
            f"loops.{key}: the sump holds the {back} that drain back when the pumps stop, with "
            f"{water(loop.sump_brim - swing.stopped)} to spare."
        )
