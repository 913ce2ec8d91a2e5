"""The heating options that are compared, and houses split from them."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum, auto
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.changes.change import Action, Change, is_forbidden
from stocksim.changes.heat import degree_text, electric_heater, least_whole_degree
from stocksim.climate.nodes import SHARED, Network
from stocksim.engine.arrays.layout import Layout
from stocksim.errors import InputError
from stocksim.heat.heaters import loops_set_aside
from stocksim.heat.plan import UNBOUNDED_W, HeatPlan, build_heat_plan
from stocksim.heat.temperatures import typed_c
from stocksim.site.bed_kinds import BED_KINDS, BedHeatLoss
from stocksim.site.climate_faults import NEEDED, has_climate, heaters
from stocksim.site.climate_tables import ComputedTemperature, HeaterTable
from stocksim.site.model import LoggedTemperature, SiteFile
from stocksim.site.reading import Site
from stocksim.site.rooms import ROOMS
from stocksim.units import parse_quantity

FloatArray = NDArray[np.float64]

NIGHT_FLOW = 0.25  # of the gravel beds, in "pump less at night" (our choice)
FROST_FREE_C = 2.0  # air kept at it where only the water is warmed
_ABOVE_LIMIT = {
    "metric": 1,
    "us": 2,
}  # degrees from the season's set point against cold to the one tried: its low water
FOAM_MM = 50.0
_AIR_STEPS = {"metric": range(2, 21, 3), "us": range(36, 67, 5)}
_WATER_STEPS = {"metric": range(6, 28, 3), "us": range(42, 82, 6)}


@dataclass(frozen=True)
class Choice:
    """One thing to try.

    Parameters
    ----------
    change : Change or None
        What it writes into the computed site; None for the file's own way.
    place : str
        Heater that is set, as ``greenhouse`` or ``loops.main``; empty for a measure.
    set_point_c : float or None
        What it is set to. [degC]
    built : mapping
        Those of its dotted fields that the heat network is built with; heaters are set in the network itself.
    heaters : mapping of str to (float, float)
        Set point [degC] and greatest power [W] of heaters; -inf and 0 turn one off.
    night_flow : mapping of str to float
        Share of a bed's flow at night.
    """

    change: Change | None = None
    place: str = ""
    set_point_c: float | None = None
    built: Mapping[str, Any] = field(default_factory=dict)
    heaters: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    night_flow: Mapping[str, float] = field(default_factory=dict)


class NoteKind(StrEnum):
    """What is said of a comparison beside its options."""

    LOG_KEPT = auto()  # loop
    HELD_AS_TYPED = auto()  # loop
    TYPED_SET_ASIDE = auto()  # loop
    NO_MIXED_LOOP = auto()
    NO_HEATER = auto()
    NO_ROOM_HEATER = auto()
    UNPRICED_WATER_HEATER = auto()  # loop
    HEAT_FORBIDDEN = auto()
    CROPS = auto()
    BEDS_IN_FISH_ROOM = auto()
    AIR_SET_ASIDE = auto()


class Note(NamedTuple):
    """What was set aside, assumed or left out, and the loop that it is said of, empty for none."""

    kind: NoteKind
    loop: str = ""


def computed_site(site: Site) -> tuple[Site, list[Note]]:
    """The site with its water computed: typed temperatures set aside, logged ones kept.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    tuple of Site and list of Note
        The site and what was set aside.

    Raises
    ------
    InputError
        If it has no weather, room or latitude, or no loop to compute.
    """
    file = site.file
    if not has_climate(file):
        raise InputError(f"the cold months cannot be computed: the site {NEEDED}.")
    changes: dict[str, Any] = {}
    notes: list[Note] = []
    apart = loops_set_aside(file)
    for key, loop in file.loops.items():
        water = loop.water_temperature
        if isinstance(water, ComputedTemperature):
            continue
        if isinstance(water, LoggedTemperature):
            notes.append(Note(NoteKind.LOG_KEPT, key))
        elif key not in apart:
            notes.append(Note(NoteKind.HELD_AS_TYPED, key))
        else:
            changes[f"loops.{key}.water_temperature"] = {"kind": "computed"}
            notes.append(Note(NoteKind.TYPED_SET_ASIDE, key))
    computed = site.with_changes(changes) if changes else site
    if not any(isinstance(t.water_temperature, ComputedTemperature) for t in computed.file.loops.values()):
        raise InputError(
            "the cold months cannot be compared: every loop has logged temperatures or a typed constant one without a "
            'heater; give one loop water_temperature = { kind = "computed" } or a heater under heat.'
        )
    return computed, notes


def heater_places(file: SiteFile) -> list[str]:
    """Places with a heater: rooms and computed loops."""
    places = [name for name in ROOMS if getattr(getattr(file, name), "heater", None) is not None]
    return places + [
        f"loops.{key}" for key, loop in file.loops.items() if loop.heat is not None and loop.heat.heater is not None
    ]


def choices(site: Site) -> list[Choice]:
    """What is tried for a site, the file's own way first, no heat second; nothing that the keeper forbids."""
    file = site.file
    places = heater_places(file)
    found = [Choice()]
    if places:
        off = Change(Action.NO_HEAT, {_heater_field(place): None for place in places})
        found.append(Choice(off, heaters=dict.fromkeys(places, (-np.inf, 0.0))))
    for room in ROOMS:
        found += _air_choices(file, room) if room in places else []
    for air_c in (None, FROST_FREE_C):
        found += _water_choices(site, air_c)
    return [one for one in found if not is_forbidden(file, one.change)] + measures(file)


def _air_choices(file: SiteFile, room: str) -> list[Choice]:
    """Set points of a room's heater."""
    found = []
    for text in _steps(_AIR_STEPS, file.site.units):
        point = parse_quantity(text, "temperature")
        air = Change(Action.AIR_SET_POINT, _set_fields(file, room, text), {"room": room, "set_point_c": point})
        found.append(Choice(air, room, point, heaters={room: (point, UNBOUNDED_W)}))
    return found


def _water_choices(site: Site, air_c: float | None) -> list[Choice]:
    """Set points of the water of every loop, under the file's own air, or under air that is kept frost-free only."""
    file = site.file
    house = next((room for room in ROOMS if room in heater_places(file)), "")
    if air_c is not None and not house:
        return []
    found = []
    for key in _heatable(file):
        place = f"loops.{key}"
        for text in _water_points(site, key):
            point = parse_quantity(text, "temperature")
            set_to, fields = {place: (point, UNBOUNDED_W)}, _set_fields(file, place, text)
            if air_c is not None:
                set_to[house] = (air_c, UNBOUNDED_W)
                fields |= _set_fields(file, house, f"{air_c!r} degC")
            water = Change(Action.WATER_SET_POINT, fields, {"loop": key, "set_point_c": point, "air_c": air_c})
            found.append(Choice(water, place, point, heaters=set_to))
    return found


def _water_points(site: Site, loop: str) -> list[str]:
    """Set points worth trying for a loop, with the one that the season's advice against cold comes to."""
    units = site.file.site.units
    low, high = _fish_span(site, loop)
    steps = {*_WATER_STEPS[units], least_whole_degree(low, units) + _ABOVE_LIMIT[units]}
    texts = [degree_text(step, units) for step in sorted(steps)]
    return [text for text in texts if low <= parse_quantity(text, "temperature") <= high]


SET_POINTS = (Action.AIR_SET_POINT, Action.WATER_SET_POINT)


def crossed(site: Site, base: Choice) -> list[Choice]:
    """Air and water together: every air under the water of a choice, or every water under its air."""
    change, file = base.change, site.file
    if change is None or is_forbidden(file, change):
        return []
    first = change.amounts["changes"][0] if change.kind is Action.TOGETHER else change
    airs = [one for room in ROOMS if room in heater_places(file) for one in _air_choices(file, room)]
    waters = _water_choices(site, None)
    if first.kind is Action.AIR_SET_POINT:
        airs = [one for one in airs if one.change == first]
    elif change.kind is Action.WATER_SET_POINT:
        house = airs[0].place if airs else ""
        # the house at frost-free air was tried with every water
        airs = [one for one in airs if one.place != house or (one.set_point_c or 0.0) > FROST_FREE_C + 0.5]
        waters = [one for one in waters if (one.place, one.set_point_c) == (base.place, base.set_point_c)]
    else:
        return []
    return [
        replace(water, change=_together(air.change, water.change), heaters={**air.heaters, **water.heaters})
        for air in airs
        for water in waters
    ]


def _heater_field(place: str) -> str:
    """Dotted field of a place's heater."""
    return f"{place}.heater" if place in ROOMS else f"{place}.heat.heater"


def _set_fields(file: SiteFile, place: str, text: str) -> dict[str, Any]:
    """Fields that keep a place at one set point, at all hours; those of a heater to buy where it has none."""
    at = _heater_field(place)
    heater = dict(heaters(file)).get(place)
    if heater is None:
        return {at: bought_fields(file, text)}
    return {f"{at}.set_point": text} | ({f"{at}.schedule": None} if heater.schedule else {})


def _steps(steps: Mapping[str, range], units: str) -> list[str]:
    return [degree_text(step, units) for step in steps[units]]


def _heatable(file: SiteFile) -> list[str]:
    """Computed loops with fish: their water has a heater, or could have an electric one."""
    stocked = {file.tanks[cohort.tank].loop for cohort in file.cohorts.values()}
    return [
        key
        for key, loop in file.loops.items()
        if isinstance(loop.water_temperature, ComputedTemperature) and key in stocked
    ]


def bought_fields(file: SiteFile, set_point: str) -> dict[str, Any]:
    """Table of a heater to buy for water, larger than any loop here needs; what it must give is reckoned."""
    return electric_heater(file, "100 kW", set_point)


def bought_heater(file: SiteFile) -> HeaterTable:
    """The heater that water without one of its own is taken to be warmed by."""
    return HeaterTable.model_validate(bought_fields(file, "0 degC"))


def _fish_span(site: Site, loop: str) -> tuple[float, float]:
    """Temperatures worth trying for a loop: from the hardiest fish's cold limit to the most delicate one's stress."""
    file = site.file
    inside = [site.species[c.species] for c in file.cohorts.values() if file.tanks[c.tank].loop == loop]
    low = max((entry["temperature_low_limit"] for entry in inside), default=0.0)
    return low, min((entry["temperature_high_stress"] for entry in inside), default=30.0) - 1.0


def measures_on(choice: Choice, found: list[Choice]) -> list[Choice]:
    """Each measure, and all that cover or insulate at once, on top of a choice of set points."""
    still = [one for one in found if not one.night_flow]
    at_once = [_measure(Action.ALL_COVERS, {k: v for one in still for k, v in one.built.items()})]
    at_once = at_once if len(still) > 1 else []
    if not choice.heaters:  # one by one they were tried at the file's own set points
        return at_once
    return [
        replace(one, change=_together(choice.change, one.change), place=choice.place, set_point_c=choice.set_point_c,
                heaters=choice.heaters)
        for one in found + at_once
    ]  # fmt: skip


def _together(*changes: Change | None) -> Change:
    """Changes that are made at once, as one."""
    made = tuple(
        one
        for change in changes
        if change is not None
        for one in (change.amounts["changes"] if change.kind is Action.TOGETHER else (change,))
    )
    return Change(Action.TOGETHER, {k: v for change in made for k, v in change.fields.items()}, {"changes": made})


def _measure(kind: Action, fields: dict[str, Any], **amounts: Any) -> Choice:
    """A choice whose fields the heat network is built with."""
    return Choice(Change(kind, fields, amounts), built=fields)


def measures(file: SiteFile) -> list[Choice]:
    """What can be built, covered or pumped otherwise, at the file's own set points; nothing that the keeper forbids."""
    found = []
    foam = {
        f"tanks.{key}.heat.foam": f"{FOAM_MM:g} mm" for key, t in file.tanks.items() if not (t.heat and t.heat.foam)
    }
    foam |= {
        f"loops.{key}.heat.foam": f"{FOAM_MM:g} mm" for key, t in file.loops.items() if not (t.heat and t.heat.foam)
    }
    if foam:
        found.append(_measure(Action.FOAM, foam, foam_m=FOAM_MM / 1000.0))
    covers = {f"tanks.{key}.heat.cover": True for key, t in file.tanks.items() if not (t.heat and t.heat.cover)}
    covers |= {f"loops.{key}.heat.cover": True for key, t in file.loops.items() if not (t.heat and t.heat.cover)}
    if covers:
        found.append(_measure(Action.COVERS, covers))
    bare = [key for key, bed in file.beds.items() if not (bed.heat and bed.heat.night_cover)]
    bare = [key for key in bare if (heat := _heat_of(file, key)) is not None and heat.can_be_covered]
    if bare:
        fields = {f"beds.{key}.heat.night_cover": True for key in bare}
        found.append(_measure(Action.BED_COVERS, fields, kinds=_kinds(file, bare)))
    if file.greenhouse is not None and not file.greenhouse.night_curtain:
        found.append(_measure(Action.CURTAIN, {"greenhouse.night_curtain": True}))
    wet = [key for key in file.beds if (heat := _heat_of(file, key)) is not None and heat.dries_when_still]
    if wet:
        flows = {f"beds.{key}.heat.night_flow": NIGHT_FLOW for key in wet}
        pumped = _measure(Action.NIGHT_FLOW, flows, kinds=_kinds(file, wet), share=NIGHT_FLOW)
        found.append(replace(pumped, night_flow=dict.fromkeys(wet, NIGHT_FLOW)))
    return [one for one in found if not is_forbidden(file, one.change)]


def _heat_of(file: SiteFile, bed: str) -> BedHeatLoss | None:
    """How a bed's kind loses heat; None off the loops."""
    water = BED_KINDS[file.beds[bed].kind].water
    return None if water is None else water.heat


def _kinds(file: SiteFile, beds: Sequence[str]) -> tuple[str, ...]:
    """Kinds of some beds, each once."""
    return tuple(dict.fromkeys(file.beds[bed].kind for bed in beds))


def file_with(site: Site, changes: Mapping[str, Any]) -> SiteFile:
    """Tables with some fields changed, checked as tables but not run."""
    raw = copy.deepcopy(dict(site.raw))
    for dotted, value in changes.items():
        here: Any = raw
        *path, last = dotted.split(".")
        for step in path:
            here = here.setdefault(step, {})
        here[last] = value
    return SiteFile.model_validate(raw)


def stacked_plan(site: Site, tried: list[Choice], wind_m_s: float | None) -> HeatPlan:
    """One plan whose network has a scenario for each choice.

    Parameters
    ----------
    site : Site
        Its computed form.
    tried : list of Choice
        All with the same nodes.
    wind_m_s : float or None
        Mean wind.

    Returns
    -------
    HeatPlan
        Arrays with a leading axis of choices; every computed loop has a control, at no power where it has no heater.
    """
    held = typed_c(site)
    plans = []
    for choice in tried:
        file = file_with(site, choice.built) if choice.built else site.file
        plans.append(_with_heaters(_with_water_controls(build_heat_plan(file, held, wind_m_s), file), choice))
    first = plans[0]
    arrays = {
        name: getattr(first.network, name)
        if name in SHARED
        else np.stack([getattr(plan.network, name) for plan in plans])
        for name in Network._fields
    }
    return replace(first, network=Network(**arrays))


def _with_water_controls(plan: HeatPlan, file: SiteFile) -> HeatPlan:
    new = [
        f"loops.{key}"
        for key, loop in file.loops.items()
        if isinstance(loop.water_temperature, ComputedTemperature) and f"loops.{key}" not in plan.controls
    ]
    net, count = plan.network, len(new)
    network = net._replace(
        control=np.concatenate([net.control, [plan.nodes.index(name) for name in new]]).astype(int),
        set_c=np.concatenate([net.set_c, np.full((*net.set_c.shape[:-1], count), -np.inf)], axis=-1),
        power_w=np.concatenate([net.power_w, np.zeros(count)]),
        vent_c=np.concatenate([net.vent_c, np.full(count, 1e6)]),
        vent_w_k=np.concatenate([net.vent_w_k, np.zeros(count)]),
        cool_w=np.concatenate([net.cool_w, np.zeros(count)]),
    )
    return replace(plan, network=network, controls=(*plan.controls, *new))


def _with_heaters(plan: HeatPlan, choice: Choice) -> HeatPlan:
    net = plan.network
    points, power, vent = net.set_c.copy(), net.power_w.copy(), net.vent_c.copy()
    for place, (point, watts) in choice.heaters.items():
        column = plan.controls.index(place)
        points[..., column], power[column] = point, watts
        vent[column] = max(vent[column], point + 0.5)  # vents and heater must not run against each other
    return replace(plan, network=net._replace(set_c=points, power_w=power, vent_c=vent))


def flow_factor(layout: Layout, tried: list[Choice], night: NDArray[np.bool_]) -> FloatArray:
    """Share of each leaf's daily flow that a choice leaves, shape (choice, leaf)."""
    dark = float(night.mean())
    factor = np.ones((len(tried), layout.flow_m3_day.shape[-1]))
    for row, choice in enumerate(tried):
        for bed, share in choice.night_flow.items():
            column = len(layout.tanks) + layout.units.index(f"beds.{bed}")
            factor[row, column] = 1.0 - dark * (1.0 - share)
    return factor
