"""What each pump feeds and draws, which circuits carry what, and how long a backup lasts."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from typing import Any, NamedTuple

from stocksim.errors import Fault, shown
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.beds import bed_flow_m3_day
from stocksim.site.climate_tables import HeaterTable
from stocksim.site.model import BedTable, BiofilterTable, Diffuser, MeasuredTransfer, SiteFile, TankTable
from stocksim.site.pump_tables import MAINS, BatteryTable, GeneratorTable, PumpTable
from stocksim.site.quantities import DEFAULT_TANK_DEPTH_M
from stocksim.units import format_quantity
from stocksim.water.oxygen import diffuser_standard_transfer
from stocksim.water.pumping import DEFAULT_HEAD_M, PUMP_EFFICIENCY, lifting_power_w

# A pump's flow and what is written of the places it feeds agree within this share: rounded units (our choice).
FLOWS_AGREE_SHARE = 0.05
# What a battery gives of what its label says: a third stays in it, or is lost in the inverter (common practice, no
# source).
USABLE_SHARE = 2.0 / 3.0

# Of a sump under a raft the model keeps a tenth open at least, where the pump draws (our choice).
MOST_UNDER_RAFTS_SHARE = 0.9
# The water under a raft mixes with the rest of its sump once an hour (assumption, no source).
MIXED_A_DAY = 24.0

Fed = TankTable | BedTable | BiofilterTable


def loop_places(file: SiteFile) -> dict[str, Fed]:
    """Tanks, beds and biofilters that loop water runs through, by place, as ``tanks.cedar``."""
    places: dict[str, Fed] = {f"tanks.{key}": tank for key, tank in file.tanks.items()}
    places |= {f"beds.{key}": bed for key, bed in file.beds.items() if BED_KINDS[bed.kind].is_on_loop}
    return places | {f"biofilters.{key}": unit for key, unit in file.biofilters.items()}


def _by_name(places: Iterable[str]) -> dict[str, list[str]]:
    named: dict[str, list[str]] = {}
    for place in places:
        named.setdefault(place.partition(".")[2], []).append(place)
    return named


def fed_places(file: SiteFile, names: Iterable[str]) -> list[str]:
    """Places of names that a sound file gives."""
    named = _by_name(loop_places(file))
    return [named[name][0] for name in names]


def pump_of(file: SiteFile) -> dict[str, str]:
    """Pump that feeds each place, where one does."""
    return {place: key for key, pump in file.pumps.items() for place in fed_places(file, pump.feeds)}


def overflow_of(file: SiteFile) -> dict[str, str]:
    """Tank whose overflow feeds each bed or biofilter, where one does."""
    return {place: key for key, tank in file.tanks.items() for place in fed_places(file, tank.overflows_to)}


def fed_flow_m3_day(unit: Fed) -> float:
    """Water that runs through a tank, bed or biofilter. [m3/day]"""
    return bed_flow_m3_day(unit) if isinstance(unit, BedTable) else unit.flow


def pump_flow_m3_day(file: SiteFile, pump: PumpTable) -> float:
    """Water that a pump moves: what runs through all it feeds. [m3/day]"""
    places = loop_places(file)
    return sum(fed_flow_m3_day(places[place]) for place in fed_places(file, pump.feeds))


def pump_loop(file: SiteFile, pump: PumpTable) -> str:
    """Loop that a pump of a sound file stands in."""
    return loop_places(file)[fed_places(file, pump.feeds)[0]].loop


def written_pump_w(file: SiteFile, loop: str) -> float:
    """Nameplate watts of a loop's pumps as the file has them, each with its own table or all in ``heat.pump``. [W]"""
    plates = sum(pump.power for pump in file.pumps.values() if pump_loop(file, pump) == loop)
    heat = file.loops[loop].heat
    return plates or (heat.pump if heat is not None and heat.pump is not None else 0.0)


def unpumped(file: SiteFile, loop: str) -> list[str]:
    """Places of a loop of which the file names no pump: none where ``heat.pump`` tells the watts of all."""
    heat = file.loops[loop].heat
    if heat is not None and heat.pump is not None:
        return []
    told = pump_of(file).keys() | overflow_of(file).keys()
    return [
        place
        for place, unit in loop_places(file).items()
        if unit.loop == loop and place not in told and not floats(unit)
    ]


def unpumped_m3_day(file: SiteFile, loop: str) -> float:
    """Flow of a loop of which the file names no pump. [m3/day]"""
    places = loop_places(file)
    return sum(fed_flow_m3_day(places[place]) for place in unpumped(file, loop))


def _can_float(bed: BedTable) -> bool:
    """Whether a bed is of a kind that floats on open water: no media, and deep as the water is."""
    kind = BED_KINDS[bed.kind]
    return kind.fill is None and kind.water is not None and kind.water.water_depth_m is None


def floats(unit: object) -> bool:
    """Whether a bed floats on the sump's own water."""
    return isinstance(unit, BedTable) and unit.floats_on_sump


# --- flows that pumps and overflows give to beds whose own is not written, and rafts on the sump


def with_told_flows(file: SiteFile) -> SiteFile:
    """The file with the flow of each bed whose pump, or whose tank's overflow, tells it: what the others leave of it;
    and with depth and flow of rafts that float on a sump, whose water is the sump's."""
    named, places = _by_name(loop_places(file)), loop_places(file)
    told: dict[str, float] = {}
    sources = [(pump.feeds, pump.flow) for pump in file.pumps.values()]
    sources += [(tank.overflows_to, tank.flow) for tank in file.tanks.values()]
    for names, flow in sources:
        fed = [named[name][0] for name in names if len(named.get(name, ())) == 1]
        silent = [place for place in fed if _has_no_flow(places[place])]
        if flow is not None and len(silent) == 1:
            rest = flow - sum(fed_flow_m3_day(places[place]) for place in fed if place not in silent)
            if rest > FLOWS_AGREE_SHARE * flow:
                told[silent[0].partition(".")[2]] = rest
    changes: dict[str, dict[str, float]] = {key: {"flow": flow} for key, flow in told.items()} | _afloat(file)
    if not changes:
        return file
    beds = {key: bed.model_copy(update=changes.get(key, {})) for key, bed in file.beds.items()}
    return file.model_copy(update={"beds": beds})


def _afloat(file: SiteFile) -> dict[str, dict[str, float]]:
    """Depth and flow of rafts on a sump: its depth, or less where they would leave too little of it open."""
    found = {}
    for key, bed in file.beds.items():
        loop = file.loops.get(bed.loop)
        if not bed.floats_on_sump or loop is None or not _can_float(bed):
            continue
        area = sum(other.area for other in file.beds.values() if other.floats_on_sump and other.loop == bed.loop)
        depth = min(loop.depth or DEFAULT_TANK_DEPTH_M, MOST_UNDER_RAFTS_SHARE * loop.sump / area)
        found[key] = {"depth": depth, "flow": MIXED_A_DAY * bed.area * depth}
    return found


def _has_no_flow(unit: Fed) -> bool:
    return isinstance(unit, BedTable) and unit.flow is None and not unit.floats_on_sump


# --- faults of names, then of numbers


def pump_name_faults(file: SiteFile) -> list[Fault]:
    """Names of pumps and overflows that feed nothing, two at once, or another loop, and keys that do not go together.

    Parameters
    ----------
    file : SiteFile
        Tables that are sound one by one.

    Returns
    -------
    list of Fault
        One for each.
    """
    faults: list[Fault] = []
    fed_by: dict[str, str] = {}
    for key, pump in file.pumps.items():
        faults += _feeding_faults(file, f"pumps.{key}", "feeds", pump.feeds, None, fed_by)
    for key, tank in file.tanks.items():
        faults += _feeding_faults(file, f"tanks.{key}", "overflows_to", tank.overflows_to, tank.loop, fed_by)
    for key, loop in file.loops.items():
        if loop.heat is not None and loop.heat.pump is not None and has_pump(file, key):
            message = "stands beside [pumps], whose watts warm this loop already; take it out."
            faults.append(Fault(f"loops.{key}", "heat.pump", message))
    for key, bed in file.beds.items():
        faults += _bed_key_faults(key, bed)
    return faults


def _bed_key_faults(key: str, bed: BedTable) -> Iterator[Fault]:
    """Keys of flooding and floating that do not belong to a kind of bed."""
    kind = BED_KINDS[bed.kind]
    for field in ("flooding", "swing"):
        if getattr(bed, field) is not None and kind.fill is None:
            yield Fault(
                f"beds.{key}", field, f"belongs to a bed that is filled with media, not to a {kind.noun}; take it out."
            )
    if not bed.floats_on_sump:
        return
    if not _can_float(bed):
        yield Fault(f"beds.{key}", "floats_on_sump", f"does not go with a {kind.noun}; only a raft floats.")
    for field in ("depth", "flow"):
        if getattr(bed, field) is not None:
            yield Fault(f"beds.{key}", field, "is the sump's own, on which this raft floats; take it out.")


def has_pump(file: SiteFile, loop: str) -> bool:
    """Whether any pump of a file, its names sound or not, feeds something of a loop."""
    places, named = loop_places(file), _by_name(loop_places(file))
    names = [name for pump in file.pumps.values() for name in pump.feeds if len(named.get(name, ())) == 1]
    return any(places[named[name][0]].loop == loop for name in names)


def _feeding_faults(
    file: SiteFile, table: str, field: str, names: list[str], loop: str | None, fed_by: dict[str, str]
) -> Iterator[Fault]:
    places, named = loop_places(file), _by_name(loop_places(file))
    by_gravity = loop is not None
    for number, name in enumerate(names, 1):
        place = f"{field}[{number}]"
        found = [one for one in named.get(name, []) if not (by_gravity and one.startswith("tanks."))]
        what = "beds on a loop and biofilters" if by_gravity else "tanks, beds on a loop and biofilters"
        if not found:
            known = ", ".join(one for one, at in named.items() if not by_gravity or at[0][:6] != "tanks.") or "none"
            yield Fault(table, place, f"{shown(name)} is not among the {what}; known are {known}.")
            continue
        if len(found) > 1:
            yield Fault(table, place, f"{shown(name)} is both {' and '.join(found)}; give one of them another name.")
            continue
        unit = places[found[0]]
        if floats(unit):
            yield Fault(table, place, f"{found[0]} floats on the sump, where nothing is pumped to it; take it out.")
        elif found[0] in fed_by:
            message = (
                f"{found[0]} is fed by {fed_by[found[0]]} already; let one feed it, or write pumps of one line as one, "
                "with the watts of all."
            )
            yield Fault(table, place, message)
        elif loop is not None and unit.loop != loop and {loop, unit.loop} <= set(file.loops):
            message = f"{found[0]} belongs to loop {unit.loop}, not to {loop}; a pump and an overflow keep to one loop."
            yield Fault(table, place, message)
        fed_by.setdefault(found[0], table)
        loop = loop if loop is not None else unit.loop


def pump_number_faults(file: SiteFile) -> list[Fault]:
    """Flows that disagree, circuits that nothing names, backups too small, and sumps whose bounds lie the wrong way.

    Parameters
    ----------
    file : SiteFile
        Tables whose names are sound, with `with_told_flows`.

    Returns
    -------
    list of Fault
        One for each.
    """
    faults: list[Fault] = []
    for key, pump in file.pumps.items():
        faults += _flow_faults(file, key, pump)
    for key, tank in file.tanks.items():
        faults += _overflow_faults(file, key, tank)
    for key in file.loops:
        faults += _sump_faults(file, key)
    watts = circuit_w(file)
    for key, backup in file.backups.items():
        place, unknown = f"backups.{key}", False
        for number, name in enumerate(backup.carries, 1):
            if name not in watts:
                message = f"{shown(name)} is not among the circuits; known are {', '.join(watts)}."
                faults.append(Fault(place, f"carries[{number}]", message))
                unknown = True
        carried = sum(watts.get(name, 0.0) for name in dict.fromkeys(backup.carries))
        if not unknown and carried > backup.power:
            message = (
                f"{backup.power:,.0f} W is less than the {carried:,.0f} W of what it carries "
                f"({', '.join(f'{name} {watts[name]:,.0f} W' for name in dict.fromkeys(backup.carries))}); carry fewer "
                "circuits, or write a larger one."
            )
            faults.append(Fault(place, "power", message))
        if backup.switch == "by_hand" and backup.after_minutes is None:
            message = "is missing; somebody must come and switch, so write after how many minutes, as 20."
            faults.append(Fault(place, "after_minutes", message))
    return faults


def _flow_faults(file: SiteFile, key: str, pump: PumpTable) -> Iterator[Fault]:
    if pump.flow is None:
        return
    places, fed = loop_places(file), fed_places(file, pump.feeds)
    units = file.site.units
    silent = [place for place in fed if _has_no_flow(places[place])]
    flow, sum_of = format_quantity(pump.flow, "flow", units), pump_flow_m3_day(file, pump)
    if len(silent) > 1:
        message = f"is {flow}, but how {' and '.join(silent)} share it is not given; write the flow of all but one."
        yield Fault(f"pumps.{key}", "flow", message)
    elif abs(sum_of - pump.flow) > FLOWS_AGREE_SHARE * pump.flow:
        each = ", ".join(f"{place} {format_quantity(fed_flow_m3_day(places[place]), 'flow', units)}" for place in fed)
        message = (
            f"is {flow}, but what it feeds takes {format_quantity(sum_of, 'flow', units)} ({each}); make both agree, "
            "or leave the pump's flow out."
        )
        yield Fault(f"pumps.{key}", "flow", message)


def _overflow_faults(file: SiteFile, key: str, tank: TankTable) -> Iterator[Fault]:
    places, fed = loop_places(file), fed_places(file, tank.overflows_to)
    takes = sum(fed_flow_m3_day(places[place]) for place in fed)
    if takes > (1.0 + FLOWS_AGREE_SHARE) * tank.flow:
        units = file.site.units
        message = (
            f"gives {format_quantity(tank.flow, 'flow', units)}, less than the {format_quantity(takes, 'flow', units)} "
            f"that run through {', '.join(fed)}; write their flows so that they do not take more than overflows."
        )
        yield Fault(f"tanks.{key}", "overflows_to", message)


def _sump_faults(file: SiteFile, key: str) -> Iterator[Fault]:
    loop, units = file.loops[key], file.site.units
    sump = format_quantity(loop.sump, "volume", units)
    if loop.sump_brim is not None and loop.sump_brim <= loop.sump:
        brim = format_quantity(loop.sump_brim, "volume", units)
        message = f"{brim} is not above the {sump} that stand in the sump; give what it holds to its brim."
        yield Fault(f"loops.{key}", "sump_brim", message)
    surface = loop.sump / (loop.depth or DEFAULT_TANK_DEPTH_M)
    afloat = {name: bed.area for name, bed in file.beds.items() if bed.floats_on_sump and bed.loop == key}
    if sum(afloat.values()) > surface * (1.0 + 1e-9):
        message = (
            f"covers more than the sump's surface of {format_quantity(surface, 'area', units)} "
            f"(rafts of {format_quantity(sum(afloat.values()), 'area', units)}); check area, and the sump and depth of "
            f"loop {key}."
        )
        yield Fault(f"beds.{next(iter(afloat))}", "floats_on_sump", message)
    if loop.sump_least is not None and loop.sump_least >= loop.sump:
        least = format_quantity(loop.sump_least, "volume", units)
        message = f"{least} is not below the {sump} that stand in the sump; give what is left when the pump sucks air."
        yield Fault(f"loops.{key}", "sump_least", message)


# --- circuits and backups


def air_w(supply: object) -> float:
    """Watts of an air supply: an air pump's plate, or a guess from a device's transfer. [W]"""
    if isinstance(supply, Diffuser):
        return supply.power
    transfer = supply.transfer if isinstance(supply, MeasuredTransfer) else 0.0
    return float(transfer / diffuser_standard_transfer(1.0))


def supplies(file: SiteFile) -> dict[str, Diffuser | MeasuredTransfer]:
    """Air supplies by place, sumps' as ``loops.main``."""
    kinds: dict[str, Mapping[str, Any]] = {
        "loops": file.loops, "tanks": file.tanks, "beds": file.beds, "biofilters": file.biofilters,
    }  # fmt: skip
    return {
        f"{kind}.{key}": table.oxygen_supply
        for kind, each in kinds.items()
        for key, table in each.items()
        if isinstance(table.oxygen_supply, (Diffuser, MeasuredTransfer))
    }


def heater_tables(file: SiteFile) -> dict[str, HeaterTable]:
    """Heaters by the place they warm, as ``greenhouse`` and ``loops.main``."""
    rooms: dict[str, Any] = {"greenhouse": file.greenhouse, "fish_room": file.fish_room}
    rooms |= {f"loops.{key}": loop.heat for key, loop in file.loops.items()}
    return {place: table.heater for place, table in rooms.items() if table is not None and table.heater is not None}


def circuit_w(file: SiteFile, head_m: float = DEFAULT_HEAD_M) -> dict[str, float]:
    """Running watts of each circuit, ``mains`` first: pumps, air, electric heaters. [W]

    Parameters
    ----------
    file : SiteFile
        Tables whose names are sound.
    head_m : float
        Head of pumps that the file does not tell of, whose watts are guessed. [m]

    Returns
    -------
    dict of str to float
        By circuit; those that only a heater with another fuel names have 0: what its fan draws is not known. [W]
    """
    watts = {MAINS: sum(guessed_pump_w(file, key, head_m) for key in file.loops)}
    drawn = [(MAINS, loop.heat.pump) for loop in file.loops.values() if loop.heat is not None and loop.heat.pump]
    drawn += [(pump.circuit, pump.power) for pump in file.pumps.values()]
    drawn += [(supply.circuit, air_w(supply)) for supply in supplies(file).values()]
    drawn += [
        (heater.circuit, heater.power if heater.fuel == "electricity" else 0.0)
        for heater in heater_tables(file).values()
    ]
    for circuit, power in drawn:
        watts[circuit] = watts.get(circuit, 0.0) + power
    return watts


def guessed_pump_w(file: SiteFile, loop: str, head_m: float = DEFAULT_HEAD_M) -> float:
    """Watts of the pumps of a loop that the file does not tell of, from flow and head. [W]"""
    return float(lifting_power_w(unpumped_m3_day(file, loop), head_m)) / PUMP_EFFICIENCY


def moving(file: SiteFile, live: Container[str]) -> set[str]:
    """Places through which water runs while some circuits live: by their pump, by a tank's overflow, or afloat.

    Parameters
    ----------
    file : SiteFile
        Tables whose names are sound.
    live : container of str
        Circuits that live. A place that no pump feeds hangs on the mains.

    Returns
    -------
    set of str
        Places, as ``tanks.cedar``.
    """
    pumped, fed_by = pump_of(file), overflow_of(file)

    def is_pumped(place: str) -> bool:
        key = pumped.get(place)
        return (MAINS if key is None else file.pumps[key].circuit) in live

    return {
        place
        for place, unit in loop_places(file).items()
        if floats(unit) or is_pumped(f"tanks.{fed_by[place]}" if place in fed_by else place)
    }


def backup_hours(backup: GeneratorTable | BatteryTable, load_w: float) -> float:
    """How long a backup carries a load: a generator as its fuel lasts, a battery two thirds of its label. [h]"""
    if isinstance(backup, GeneratorTable):
        return 24.0 * backup.fuel_volume / backup.burns
    return USABLE_SHARE * backup.energy / load_w if load_w > 0.0 else float("inf")


class Carried(NamedTuple):
    """A backup in a power cut.

    Parameters
    ----------
    name, kind : str
        Of the table.
    circuits : tuple of str
        Those of its circuits that fail.
    load_w : float
        What it then carries. [W]
    begins_h, ends_h : float
        From when to when after the cut. [h]
    """

    name: str
    kind: str
    circuits: tuple[str, ...]
    load_w: float
    begins_h: float
    ends_h: float


def carried(file: SiteFile, failed: Iterable[str]) -> list[Carried]:
    """Each backup that carries any of the circuits that fail, from its switch until it is empty."""
    lost, watts = set(failed), circuit_w(file)
    found = []
    for key, backup in file.backups.items():
        circuits = tuple(name for name in dict.fromkeys(backup.carries) if name in lost)
        if circuits:
            load = sum(watts[name] for name in circuits)
            begins = (backup.after_minutes or 0.0) / 60.0
            found.append(Carried(key, backup.kind, circuits, load, begins, begins + backup_hours(backup, load)))
    return found
