"""What of a site file can hardly be meant: each relation with what is usual, what is asked about and what is refused.

A *question* is printed by `check` and stands among the cautions; the site runs. A *refusal* is a fault. Whether a
single number is allowed at all is said in `quantities`; here numbers are held against each other.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.errors import Fault, shown
from stocksim.fish.growth import appetite_rate
from stocksim.fish.ration import table_ration
from stocksim.library.feeds import grams_like_pellets, protein_for_growth
from stocksim.library.sources import Entry
from stocksim.site.cohorts import events_in_order
from stocksim.site.fish_tables import CohortTable, FixedRation, PercentRation, StockEvent, TableRation
from stocksim.site.loop_water import loop_water_m3, open_sump_m3
from stocksim.site.model import Diffuser, MeasuredTransfer, MonthlyTemperature, SiteFile
from stocksim.site.pump_tables import PumpTable
from stocksim.site.pumps import loop_places, pump_flow_m3_day, pump_loop
from stocksim.site.quantities import DEFAULT_TANK_DEPTH_M, MONTHS
from stocksim.site.rooms import ROOMS, room_of
from stocksim.units import face_unit, format_quantity, to_face
from stocksim.water.pumping import lifting_power_w

FloatArray = NDArray[np.float64]

COLDEST_WATER_C = -0.5  # our choice: what is meant as water at freezing may come out so far below 0
HOTTEST_WATER_C = 40.0  # as far as the formulas of gas exchange and of oxygen saturation hold


class Plausible(NamedTuple):
    """What is usual of a relation, in words (empty where the relation says it), and from where on it is asked about or
    refused."""

    usual: str
    ask_above: float
    refuse_above: float = math.inf
    ask_below: float = -math.inf
    refuse_below: float = -math.inf


# "Usual" is common practice without a source; from where on we ask or refuse is our choice, a wide step beyond it, so
# that a slip of the unit or of the point is met and an odd but real house is not.
PLAUSIBLE = {
    # kg/m3 at stocking; asked from the species' own density_experienced on. The densest farms that we know of, of
    # African catfish, hold 300-500 kg/m3 (from memory, no source)
    "stocking": Plausible("", math.inf, 500.0),
    # over the heaviest of its species ever told of (species files, from memory): it may be beaten, hardly doubled
    "weight": Plausible("", 1.0, 2.0),
    # tank volumes an hour
    "turnover": Plausible("0.5 to 3", 20.0, 2000.0, ask_below=0.05),
    # W of air pump a m3 of tank, and the same as g of oxygen an hour at 0.7 kg a kWh (water/oxygen.py)
    "air": Plausible("5 to 60 W a m3", 500.0, 50_000.0),
    "transfer": Plausible("4 to 40 g an hour a m3", 350.0, 35_000.0),
    # W of pumps a m3 of a loop's water, all of it turned to heat
    "pump": Plausible("5 to 50 W a m3", 300.0, 5000.0),
    # of a pump's watts, what lifts water: none lifts with more than it draws, and few above 0.6
    "lifting": Plausible("20 to 50 %", 0.6, 1.0),
    # m3 of a tank
    "volume": Plausible("100 L to 50 m3", 500.0, ask_below=0.02),
    # m of water or media
    "tank_depth": Plausible("40 cm to 1.5 m", 4.0, ask_below=0.15, refuse_below=0.01),
    "bed_depth": Plausible("10 to 40 cm", 1.5, ask_below=0.03, refuse_below=0.01),
    # beds, tanks and sumps over the floor of their room: benches and racks stand above each other, some times
    "floor": Plausible("less than all of it", 1.0, 5.0),
    # W a m2 of floor; electric lamps and heaters of a room
    "room_power": Plausible("50 to 400 W a m2", 1000.0, 20_000.0),
    # W of a water heater a m3 of the loop's water
    "water_heater": Plausible("100 to 2000 W a m3", 10_000.0),
    # degC by which a month's water leaves those of both its neighbours to the same side
    "month": Plausible("2 or 3 degC", 8.0),
    # feed offered over feed that the fish would eat at most
    "ration": Plausible("1 to 1.3 times", 3.0),
}


class Relation(NamedTuple):
    """A number held against another: where it stands, what was written, and how much that makes, in words."""

    kind: str
    table: str
    field: str
    amount: float
    said: str
    ask_above: float | None = None


class Question(NamedTuple):
    """Something to ask the keeper: how many times beyond the bound, where, what was written, and what is usual."""

    beyond: float
    place: str
    said: str
    usual: str

    def __str__(self) -> str:
        return f"{self.cause}; is it meant? Check the number and its unit."

    @property
    def table(self) -> str:
        """First part of the place, as ``beds``."""
        return self.place.partition(".")[0]

    @property
    def cause(self) -> str:
        """As a likely cause of what is absurd elsewhere."""
        return f"{self.place}: {_beside_usual(self.said, self.usual)}"


def _beside_usual(said: str, usual: str) -> str:
    return f"{said}, where {usual} is usual" if usual else said


class Doubts(NamedTuple):
    """Refusals and questions of a site."""

    faults: list[Fault]
    questions: list[Question]


def site_doubts(
    file: SiteFile, species: Mapping[str, Entry], feeds: Mapping[str, Entry], raw: Mapping[str, Any]
) -> Doubts:
    """Numbers of a site that can hardly be meant.

    Parameters
    ----------
    file : SiteFile
        Tables without other faults of their own; what a dangling name would ask for is passed over.
    species, feeds : mapping of str to Entry
        The library entries they name, where found.
    raw : mapping
        The tables as written, to show the value met.

    Returns
    -------
    Doubts
        Of every relation in `PLAUSIBLE` but the ration, which needs the water (`ration_questions`).
    """
    doubts = Doubts([], [])
    relations = [*_fish(file, species, raw), *_water(file, raw), *_heat(file, raw), *_months(file, raw)]
    for relation in relations:
        _judge(relation, doubts)
    for key, cohort in file.cohorts.items():
        eats, meal = species.get(cohort.species), feeds.get(cohort.feed)
        if eats is not None and meal is not None and protein_for_growth(eats, meal) < 1.0:
            message = (
                f"{cohort.feed} brings too little protein for the growth of {cohort.species} that its energy gives; "
                "correct protein, protein_digestibility or digestible_energy in its file, or name another feed."
            )
            doubts.faults.append(Fault(f"cohorts.{key}", "feed", message))
    return doubts


def _judge(relation: Relation, doubts: Doubts) -> None:
    bound = PLAUSIBLE[relation.kind]
    ask_above = bound.ask_above if relation.ask_above is None else relation.ask_above
    amount = relation.amount
    if amount > bound.refuse_above or amount < bound.refuse_below:
        message = f"{_beside_usual(relation.said, bound.usual)}; check the number and its unit."
        doubts.faults.append(Fault(relation.table, relation.field, message))
    elif amount > ask_above or amount < bound.ask_below:
        beyond = amount / ask_above if amount > ask_above else bound.ask_below / max(amount, 1e-12)
        place = f"{relation.table}.{relation.field}"
        doubts.questions.append(Question(beyond, place, relation.said, bound.usual))


def _written(raw: Mapping[str, Any], table: str, field: str) -> str:
    here: Any = raw
    # a name that the keeper gave may hold a point: it is a fault, told elsewhere
    for step in (*table.split(".", 2 if table.startswith("stocking.") else 1), *field.split(".")):
        here = here[step]
    return shown(here)


def _fish(file: SiteFile, species: Mapping[str, Entry], raw: Mapping[str, Any]) -> Iterator[Relation]:
    """Fish against their tank on the day they come, and against the heaviest of their species."""
    units = file.site.units
    together: dict[tuple[str, dt.date], list[str]] = {}
    for key, cohort in file.cohorts.items():
        if cohort.tank in file.tanks:
            together.setdefault((cohort.tank, cohort.stocked or file.season.start), []).append(key)
        yield from _of_weight(f"cohorts.{key}", cohort.mean_weight, cohort.species, species, units,
                              _written(raw, f"cohorts.{key}", "mean_weight"))  # fmt: skip
    for number, event in events_in_order(file):
        if isinstance(event, StockEvent) and event.cohort in file.cohorts:
            yield from _of_weight(f"events[{number}]", event.mean_weight, file.cohorts[event.cohort].species, species,
                                  units, shown(raw["events"][number - 1]["mean_weight"]))  # fmt: skip
    for key, fish in (file.stocking.candidates if file.stocking else {}).items():
        yield from _of_weight(f"stocking.candidates.{key}", fish.mean_weight, fish.species, species, units,
                              _written(raw, f"stocking.candidates.{key}", "mean_weight"))  # fmt: skip
    for (tank, _), keys in together.items():
        cohorts = [file.cohorts[key] for key in keys]
        kg = sum(cohort.count * cohort.mean_weight for cohort in cohorts) / 1000.0
        density = kg / file.tanks[tank].volume
        known = [species[c.species]["density_experienced"] for c in cohorts if c.species in species and c.count]
        one = len(keys) == 1
        place = (f"cohorts.{keys[0]}", "count") if one else (f"tanks.{tank}", "volume")
        met = f"{cohorts[0].count:,} fish" if one else f"{', '.join(keys)} together"
        said = (
            f"{met} are {format_quantity(kg, 'mass', units)} in {_written(raw, f'tanks.{tank}', 'volume')} of tank "
            f"{tank}, {format_quantity(density, 'density', units)}"
        )
        if known:
            said += f", where experienced keepers hold {format_quantity(min(known), 'density', units)}"
        yield Relation("stocking", *place, density, said, min(known, default=math.inf))


def _of_weight(
    table: str, weight_g: float, name: str, species: Mapping[str, Entry], units: str, written: str
) -> Iterator[Relation]:
    entry = species.get(name)
    if entry is None or "largest_weight" not in entry.values:
        return
    largest = entry["largest_weight"]
    heaviest = format_quantity(largest, "weight", units)
    said = f"{written} is more than the heaviest {entry.title.lower()} that we know of, some {heaviest}"
    yield Relation("weight", table, "mean_weight", weight_g / largest, said)


def _water(file: SiteFile, raw: Mapping[str, Any]) -> Iterator[Relation]:
    """Volumes, depths, flows, air and pumps."""
    units = file.site.units
    for key, tank in file.tanks.items():
        table = f"tanks.{key}"
        volume = _written(raw, table, "volume")
        turns = tank.flow / tank.volume / 24.0
        said = f"{_written(raw, table, 'flow')} through {volume} changes the water {turns:,.3g} times an hour"
        yield Relation("turnover", table, "flow", turns, said)
        yield Relation("volume", table, "volume", tank.volume, f"a fish tank of {volume}")
        yield from _supply(table, tank.oxygen_supply, tank.volume, raw, units)
    for key, loop in file.loops.items():
        table, water = f"loops.{key}", loop_water_m3(file, key)
        yield from _supply(table, loop.oxygen_supply, water, raw, units)
        if loop.heat is not None and loop.heat.pump is not None:
            amount = loop.heat.pump / water
            said = f"{_written(raw, table, 'heat.pump')} warms the loop's water with {_a_volume(amount, units)}"
            yield Relation("pump", table, "heat.pump", amount, said)
    for key, pump in file.pumps.items():
        yield from _pump(f"pumps.{key}", pump, file, raw)
    for kind, place in (("tank_depth", "tanks"), ("tank_depth", "loops"), ("bed_depth", "beds")):
        for key, entry in getattr(file, place).items():
            if entry.depth is not None and "depth" in raw[place][key]:
                said = f"a depth of {_written(raw, f'{place}.{key}', 'depth')}"
                yield Relation(kind, f"{place}.{key}", "depth", entry.depth, said)


def _pump(table: str, pump: PumpTable, file: SiteFile, raw: Mapping[str, Any]) -> Iterator[Relation]:
    """A pump's plate against the water that it lifts, and against what it warms; one that feeds nothing known is told
    elsewhere."""
    units, places = file.site.units, loop_places(file)
    named = {place.partition(".")[2] for place in places}
    if not set(pump.feeds) <= named:
        return
    flow, power = pump_flow_m3_day(file, pump), _written(raw, table, "power")
    share = float(lifting_power_w(flow, pump.lift)) / pump.power
    said = (
        f"{power} lifts the {format_quantity(flow, 'flow', units)} of what it feeds by "
        f"{_written(raw, table, 'lift')} only if {100.0 * share:.0f} % of it lifts water"
    )
    yield Relation("lifting", table, "power", share, said)
    loop = pump_loop(file, pump)
    if loop in file.loops:
        amount = pump.power / loop_water_m3(file, loop)
        yield Relation(
            "pump", table, "power", amount, f"{power} warms the loop's water with {_a_volume(amount, units)}"
        )


def _supply(table: str, supply: Any, water_m3: float, raw: Mapping[str, Any], units: str) -> Iterator[Relation]:
    if isinstance(supply, Diffuser):
        amount = supply.power / water_m3
        said = f"{_written(raw, table, 'oxygen_supply.power')} of air is {_a_volume(amount, units)} of water"
        yield Relation("air", table, "oxygen_supply.power", amount, said)
    elif isinstance(supply, MeasuredTransfer):
        amount = supply.transfer / 24.0 / water_m3
        said = f"{_written(raw, table, 'oxygen_supply.transfer')} is {amount:,.3g} g of oxygen an hour for each m3"
        yield Relation("transfer", table, "oxygen_supply.transfer", amount, said)


def _a_volume(watts_a_m3: float, units: str) -> str:
    """Power for a volume of water in the keeper's unit."""
    if units == "us":
        return f"{watts_a_m3 / to_face(1.0, 'volume', 'us'):,.3g} W a gal"
    return f"{watts_a_m3:,.3g} W a m3"


def _a_floor(watts_a_m2: float, units: str) -> str:
    return f"{watts_a_m2 / to_face(1.0, 'area', units):,.3g} W a {face_unit('area', units)}"


def _heat(file: SiteFile, raw: Mapping[str, Any]) -> Iterator[Relation]:
    """Rooms against what stands in them, heaters and lamps against rooms and water."""
    units = file.site.units
    standing: dict[str, float] = dict.fromkeys(ROOMS, 0.0)
    widest: dict[str, tuple[float, str, str]] = {}

    def stands(room: str, area_m2: float, table: str, field: str) -> None:
        if room in standing:
            standing[room] += area_m2
            widest[room] = max(widest.get(room, (0.0, "", "")), (area_m2, table, field))

    for key, loop in file.loops.items():
        stands(
            room_of(loop.heat, file, key),
            open_sump_m3(file, key) / (loop.depth or DEFAULT_TANK_DEPTH_M),
            f"loops.{key}",
            "sump",
        )
    for key, tank in file.tanks.items():
        if tank.loop in file.loops:
            area = tank.volume / (tank.depth or DEFAULT_TANK_DEPTH_M)
            stands(room_of(tank.heat, file, tank.loop), area, f"tanks.{key}", "volume")
    for key, bed in file.beds.items():
        if bed.loop in file.loops:
            stands(room_of(bed.heat, file, bed.loop), bed.area, f"beds.{key}", "area")
    for name in ROOMS:
        room = getattr(file, name)
        if room is None:
            continue
        if name in widest:
            _, table, field = widest[name]
            floor = format_quantity(room.floor_area, "area", units)
            said = (
                f"beds, tanks and sumps in the {name.replace('_', ' ')} cover "
                f"{format_quantity(standing[name], 'area', units)}, {standing[name] / room.floor_area:,.3g} times its "
                f"floor of {floor}, the most of it by {_written(raw, table, field)} here"
            )
            yield Relation("floor", table, field, standing[name] / room.floor_area, said)
        for field, power in (("heater", room.heater), ("lamps", room.lamps)):
            if power is not None:
                amount = power.power / room.floor_area
                said = f"{_written(raw, name, f'{field}.power')} is {_a_floor(amount, units)} of floor"
                yield Relation("room_power", name, f"{field}.power", amount, said)
    for key, loop in file.loops.items():
        if loop.heat is not None and loop.heat.heater is not None:
            amount = loop.heat.heater.power / loop_water_m3(file, key)
            said = f"{_written(raw, f'loops.{key}', 'heat.heater.power')} is {_a_volume(amount, units)} of water"
            yield Relation("water_heater", f"loops.{key}", "heat.heater.power", amount, said)


def _months(file: SiteFile, raw: Mapping[str, Any]) -> Iterator[Relation]:
    """Monthly water that leaves both neighbours far to one side."""
    for key, loop in file.loops.items():
        water = loop.water_temperature
        if not isinstance(water, MonthlyTemperature):
            continue
        for n, month in enumerate(MONTHS):
            around = [water.values.get(MONTHS[(n + step) % 12]) for step in (-1, 1)]
            here = water.values.get(month)
            if here is None or None in around:
                continue
            apart = [here - other for other in around if other is not None]
            amount = min(abs(step) for step in apart) if apart[0] * apart[1] > 0.0 else 0.0
            field = f"water_temperature.values.{month}"
            by = format_quantity(amount, "temperature_difference", file.site.units)
            said = (
                f"{_written(raw, f'loops.{key}', field)} lies {by} {'above' if apart[0] > 0.0 else 'below'} the months "
                "on both sides"
            )
            yield Relation("month", f"loops.{key}", field, amount, said)


def ration_questions(
    file: SiteFile,
    species: Mapping[str, Entry],
    feeds: Mapping[str, Entry],
    temperature_c: Mapping[str, FloatArray],
    folder: Path | None = None,
) -> list[str]:
    """Questions on weights of feed that the fish could not eat in that water.

    Parameters
    ----------
    file : SiteFile
        Tables without faults.
    species, feeds : mapping of str to Entry
        What they name of the library.
    temperature_c : mapping of str to ndarray, shape (days,)
        Water of each loop. [degC]
    folder : Path, optional
        Of the site file, for own feeds.

    Returns
    -------
    list of str
        One for each cohort that is offered more than three times its full appetite, by its first weight and over the
        days it is fed at all. Cold rules and fasting days are left aside.
    """
    found = []
    for key, cohort in file.cohorts.items():
        grams = {
            other: grams_like_pellets(species[c.species], feeds[c.feed], folder) for other, c in file.cohorts.items()
        }
        dry = feeds[cohort.feed]["dry_matter"]
        offered, eaten, water = _offered_and_eaten(cohort, file, species, grams, dry, temperature_c)
        bound = PLAUSIBLE["ration"]
        if offered <= bound.ask_above * eaten or offered <= 0.0:
            continue
        units = file.site.units
        low, high = (format_quantity(float(edge), "temperature", units) for edge in (water.min(), water.max()))
        found.append(
            f"cohorts.{key}.ration: offers {offered:.2g} % of body weight a day, but in water of {low} to {high} these "
            f"fish eat some {eaten:.2g} % at most: the rest lies and fouls the water; usual is {bound.usual} what they "
            "eat. Is it meant? Feed by appetite, or write stop_below and cold_rules."
        )
    return found


def _offered_and_eaten(
    cohort: CohortTable,
    file: SiteFile,
    species: Mapping[str, Entry],
    grams: Mapping[str, float],
    dry_matter: float,
    temperature_c: Mapping[str, FloatArray],
) -> tuple[float, float, FloatArray]:
    """Feed offered and full appetite [% of body weight a day], means of the days that are fed, and their water.

    ``grams`` are those of each cohort's food that stand for one of pellets, the dry matter is that of this one's.
    """
    rule = cohort.ration
    nothing = (0.0, 0.0, np.zeros(1))
    if not isinstance(rule, (PercentRation, TableRation, FixedRation)) or cohort.count == 0:
        return nothing
    begins = ((cohort.stocked or file.season.start) - file.season.start).days
    water = temperature_c[file.tanks[cohort.tank].loop][begins:]
    water = water[water >= (-np.inf if rule.stop_below is None else rule.stop_below)]
    if not water.size:
        return nothing

    def appetite(other: CohortTable) -> FloatArray:
        entry, factor = species[other.species], next(grams[key] for key, c in file.cohorts.items() if c is other)
        return factor * appetite_rate(entry.__getitem__, water) * other.mean_weight ** entry["intake_exponent"]

    mass = cohort.mean_weight
    eaten = 100.0 * appetite(cohort) / mass
    counted = dry_matter if isinstance(rule, (PercentRation, TableRation)) and rule.weighed == "dry" else 1.0
    if isinstance(rule, PercentRation):
        offered = np.full(water.shape, rule.percent / counted)
    elif isinstance(rule, TableRation):
        offered = table_ration(mass, water, rule.weights, rule.temperatures, rule.percent) / counted
    else:  # for the whole tank
        beside = [c for c in file.cohorts.values() if c.tank == cohort.tank and isinstance(c.ration, FixedRation)]
        kg = sum(c.count * c.mean_weight for c in beside)
        offered = np.full(water.shape, 100.0 * rule.per_day / kg)
        eaten = 100.0 * np.sum([c.count * appetite(c) for c in beside], axis=0) / kg
    return float(offered.mean()), float(eaten.mean()), water


def water_faults(place: str, daily_c: FloatArray, start: dt.date, units: str) -> list[Fault]:
    """Fault of water hotter than the formulas hold to, or frozen.

    A curve through typed months has their means and so goes beyond them within a month that lies apart.

    Parameters
    ----------
    place : str
        Table of the loop, as ``loops.main``.
    daily_c : ndarray, shape (days,)
        Water, what at_least and at_most do to it counted in. [degC]
    start : date
        First day.
    units : str
        ``metric`` or ``us``.
    """

    def met(index: int) -> str:
        water = format_quantity(float(daily_c[index]), "temperature", units)
        return f"gives water of {water} on {start + dt.timedelta(days=index)}"

    said = []
    if daily_c.max() > HOTTEST_WATER_C + 0.01:  # as typed water is bounded
        most = format_quantity(HOTTEST_WATER_C, "temperature", units)
        said.append(
            f"{met(int(daily_c.argmax()))}, hotter than the {most} to which the formulas of oxygen and gas exchange "
            "hold and than any fish here tolerates; check the numbers and their unit, or write at_most."
        )
    if daily_c.min() < COLDEST_WATER_C:
        said.append(
            f"{met(int(daily_c.argmin()))}, which is ice; check the numbers and their unit (the days of a month go "
            "beyond its mean where the months beside it lie far off), or write at_least."
        )
    return [Fault(place, "water_temperature", message) for message in said]
