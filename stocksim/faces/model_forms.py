"""Forms made from the tables of a site file: each key's field, what stands in it where it is left out, what is allowed.

Apart from `forms`, whose hand-made lists these complete: a key that a table gets has a field without more ado.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from functools import cache
from types import UnionType
from typing import Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from stocksim.climate.greenhouse import CURTAIN_SHARE
from stocksim.climate.weather import WINTER_SPREAD_C
from stocksim.faces.editing import Step, value_at
from stocksim.faces.forms import FORMS, PLANTING, TABLE_STARTS, Field
from stocksim.site.model import PlantingTable, SiteFile
from stocksim.site.quantities import DEFAULT_TANK_DEPTH_M, MONTHS, Measured, OneOf
from stocksim.site.rooms import DEFAULT_HEIGHT_M, DEFAULT_HUMIDITY, DEFAULT_ROOM_CHANGES
from stocksim.units import example, format_quantity, in_units, spellings

# what is taken where a key is left out and the table itself has no number for it: by the ends of its dotted place
ASSUMED = {
    "site.elevation": "sea level", "site.latitude": "45", "site.cover_transmission": "0.6, or by the cover",
    "site.utc_offset": "as the files have it", "loops.ph": "computed",
    "loops.alkalinity_target": "nobody doses", "loops.depth": f"{100 * DEFAULT_TANK_DEPTH_M:g} cm",
    "loops.evaporation": "1 % of it a day", "loops.new_water": "none", "loops.feeding_hours": "08:00, 17:00",
    "source_water.alkalinity": "100 mg/L", "source_water.nitrate_n": "2 mg/L", "source_water.potassium": "2 mg/L",
    "source_water.phosphorus": "0.05 mg/L", "source_water.calcium": "40 mg/L", "source_water.chloride": "15 mg/L",
    "source_water.sodium": "10 mg/L", "tanks.depth": f"{100 * DEFAULT_TANK_DEPTH_M:g} cm", "tanks.overflows_to": "sump",
    "beds.depth": "by its kind", "beds.flow": "by its kind", "beds.media_size": "by its kind",
    "beds.planted_face": "its area", "beds.swing": "its voids", "plantings.area": "the whole bed",
    "settlers.capture": "by its kind", "settlers.drawn_off": "none", "pumps.flow": "what it feeds",
    "backups.after_minutes": "0", "cohorts.size_spread": "of its species", "cohorts.strain": "mean of all",
    "heater.efficiency": "by its fuel", "weather.design_cold": "by the months", "weather.ground": "the year's mean",
    "weather.day_to_day": f"{WINTER_SPREAD_C:g} degC", "weather.wind": "not given",
    "greenhouse.height": f"{DEFAULT_HEIGHT_M:g} m", "fish_room.height": f"{DEFAULT_HEIGHT_M:g} m",
    "greenhouse.perimeter": "twice as long as wide", "fish_room.perimeter": "twice as long as wide",
    "greenhouse.cover_area": "roof and walls", "greenhouse.air_changes": "by its cover",
    "fish_room.air_changes": f"{DEFAULT_ROOM_CHANGES:g}", "greenhouse.humidity": f"{DEFAULT_HUMIDITY['greenhouse']:g}",
    "fish_room.humidity": f"{DEFAULT_HUMIDITY['fish_room']:g}",
    "greenhouse.curtain_saving": f"{1.0 - CURTAIN_SHARE:.2g} with a curtain",
    "stocking.budget": "no bound", "stocking.species_at_most": "no bound", "stocking.goal": "edible",
    "stocking.feed_price": "not counted", "stocking.margin": "0.05", "stocking.feed_band_weight": "0.05",
    "candidates.minimum_batch": "5, or all", "own.minimum_batch": "5, or all", "own.at_least": "none",
    "candidates.stocked": "first day", "candidates.leaves": "last day", "own.leaves": "last day",
    "candidates.tanks": "any", "own.tanks": "any", "candidates.size_spread": "of its species",
    "candidates.strain": "mean of all", "options.at_least": "not heated", "options.at_most": "not cooled",
    "harvest_wishes.weight": "as 1 kg", "heater.power": "as 5 kW", "heater.set_point": "as 8 degC",
    "schedule.set_point": "as 8 degC", "vents.opens_at": "as 27 degC", "lamps.power": "as 400 W",
    "fish_room.foam": "as 50 mm", "insulated_wall.foam": "as 50 mm", "pumps.lift": "as 1.5 m",
    "backups.fuel_volume": "as 15 L", "backups.burns": "as 1.2 L/h", "backups.power": "as 3 kW",
    "fishless_cycling.ammonia_nitrogen": "as 1 g/day",
}  # fmt: skip
# labels of keys, or of keys of one table only
_LABELS = {
    "goal": "goals, commas between", "feed_price": "price of a kilo of feed", "species_at_least": "kinds, at least",
    "species_at_most": "kinds, at most", "margin": "reserve", "feed_band_weight": "cost of uneven feed",
    "candidates.price": "price of one", "candidates.at_least": "number, at least", "own.at_least": "number, at least",
    "candidates.at_most": "number, at most", "minimum_batch": "fewest in a tank", "candidates.stocked": "stocked on",
    "leaves": "leaves on", "tanks": "into tanks, commas between", "candidates.wild": "wild-caught",
    "trained": "wild, but eats pellets already", "size_spread": "size spread, as 0.25",
    "strain": "strain, as its species has it", "options.at_least": "heated to at least",
    "options.at_most": "cooled to at most", "cost": "cost of a season", "crop_worth": "worth of a kilo, by crop",
    "nitrifying_surface": "surface for bacteria",
    "utc_offset": "hours from UTC", "price_per": "price is for a", "opens_at": "open at", "design_cold": "design night",
    "loss_factor": "heat loss, fitted factor", "sun_factor": "sun, fitted factor", "ground": "ground below",
    "water_loss_factor": "heat loss of water, fitted factor", "day_to_day": "spread from day to day",
    "tan": "TAN", "nitrite_n": "nitrite-N", "nitrate_n": "nitrate-N", "ph": "pH", "about": "notes",
    "from_hour": "from (hour)", "to_hour": "to (hour)", "hour": "from hour", "end": "to", "wind": "wind by month",
    "low": "daily low by month", "high": "daily high by month", "mean": "mean by month (may be left out)",
    "sun": "sun by month, share of a clear sky (0 to 1)", "cloud": "or cloud by month (0 to 1)",
    "heat": "where it stands, and what keeps it warm", "edge_foam": "foam at the floor edge",
    "cover": "cover", "vented": "flue to the outdoors", "never": "never advise", "mean_weight": "mean weight",
    "air_temperature": "air over the beds by month", "cloud_share": "daylight behind clouds by month (0 to 1)",
    "own": "own fish in a plan", "candidates": "fish to buy", "options": "other water to plan for",
}  # fmt: skip
_NAMED = {"loop": "loops", "tank": "tanks", "cohort": "cohorts", "species": "species", "crop": "crops"}


# what a field asks for that its reader does not say in one line
_HELP = {
    "goal": "edible (most fillet), steady (even feed), cost (least money) or keep (the fish that are there); the first "
    "of several weighs most",
    "feed_band_weight": "kilos of fillet that a kilo of feed outside what the beds take counts for",
    "margin": "share of room, oxygen and biofilter that a plan leaves free, 0 to 1",
    "tanks": "names of tanks that these fish may come into",
    "cost": "money for heating or cooling this loop so, all season",
}


class About(NamedTuple):
    """A key of a table: its type without None, what reads it, and its default."""

    base: Any
    readers: tuple[Any, ...]
    default: Any
    is_required: bool

    @property
    def measured(self) -> Measured | None:
        """What reads a number, where it is one."""
        return next((reader for reader in self.readers if isinstance(reader, Measured)), None)


def _peeled(annotation: Any, readers: tuple[Any, ...] = ()) -> tuple[Any, tuple[Any, ...]]:
    """Type without None and notes, and its notes."""
    if get_origin(annotation) is Annotated:
        inner, *notes = get_args(annotation)
        return _peeled(inner, (*readers, *notes))
    if get_origin(annotation) in (Union, UnionType):
        others = [one for one in get_args(annotation) if one is not type(None)]
        if len(others) == 1:
            return _peeled(others[0], readers)
    return annotation, readers


def _about(info: FieldInfo) -> About:
    default = None if info.is_required() else info.get_default()
    return About(*_peeled(info.annotation, tuple(info.metadata)), default, info.is_required())


def _models(base: Any) -> list[type[BaseModel]]:
    """Tables that a type may be: one, several chosen by their kind, or none."""
    ones = get_args(base) if get_origin(base) in (Union, UnionType) else [base]
    return [one for one in (_peeled(one)[0] for one in ones) if isinstance(one, type) and issubclass(one, BaseModel)]


def _chosen(base: Any, held: Any) -> type[BaseModel] | None:
    """The table that a type is where the file holds this."""
    models = _models(base)
    kind = value_at(held, ("kind",))
    of_kind = [model for model in models if "kind" in model.model_fields and kind in kinds_of(model)]
    return next(iter(of_kind or models), None)


def kinds_of(model: type[BaseModel]) -> tuple[str, ...]:
    """Kinds that a table chosen by its kind may have."""
    return get_args(model.model_fields["kind"].annotation)


def fields_of(model: type[BaseModel], known: Sequence[Field] = (), inside: str = "") -> list[Field]:
    """Fields of all keys of a table that have none among those known.

    Parameters
    ----------
    model : type of BaseModel
        The table.
    known : sequence of Field
        Made by hand.
    inside : str
        Key under which the table stands.

    Returns
    -------
    list of Field
        In the order of the table; numbers, texts and choices first, then what has fields of its own.
    """
    has_one = {field.path[0] for field in known if len(field.path) == 1}
    found = [
        _field(info.alias or name, _about(info), inside)
        for name, info in model.model_fields.items()
        if (info.alias or name) not in has_one and name != "kind"
    ]
    return sorted(found, key=lambda field: field.kind in NESTED)


NESTED = ("group", "rows", "months", "entries", "amounts")


def _field(key: str, about: About, inside: str = "") -> Field:
    kind, choices, form = _kind(key, about)
    measured = about.measured
    help_words = ""
    if measured is not None:
        units = f"; in {spellings(measured.dimension)}" if measured.dimension else ""
        help_words = f"{measured.allowed}{units}".replace("_", " ")
    help_words = _HELP.get(key, help_words)
    label = _LABELS.get(f"{inside}.{key}", _LABELS.get(key, key.replace("_", " ")))
    width = {"yes": 200, "several": 260, "choice": 170}.get(kind, 150)
    return Field((key,), label, kind, choices, width, form, help_words)


def _kind(key: str, about: About) -> tuple[str, tuple[str, ...] | str, tuple[Field, ...]]:
    """Kind of a field, its choices, and the form of what it holds."""
    base, readers = about.base, about.readers
    named = next((tuple(reader.table) for reader in readers if isinstance(reader, OneOf)), ())
    models = _models(base)
    if key == "feed":
        return "shares", "feeds", ()
    if key in _NAMED:
        return "choice", _NAMED[key], ()
    if models:
        many = ("table", tuple(TABLE_STARTS.get(key, ())), ())
        return many if len(models) > 1 else ("group", (), tuple(fields_of(models[0], inside=key)))
    if get_origin(base) is Literal:
        return "choice", get_args(base) if about.is_required else ("", *get_args(base)), ()
    if named:
        return "choice", named, ()
    if get_origin(base) is list:
        inner, notes = _peeled(get_args(base)[0])
        if _models(inner):
            return "rows", (), tuple(fields_of(inner, inside=key))
        listed = get_args(inner) if get_origin(inner) is Literal else ()
        of_table = next((tuple(note.table) for note in notes if isinstance(note, OneOf)), ())
        return ("several", listed or of_table, ()) if listed or of_table else ("list", (), ())
    if get_origin(base) is dict:
        of_key, of_value = get_args(base)
        if get_args(of_key) == MONTHS:
            return "months", (), (_field("", About(*_peeled(of_value), None, False)),)
        inner = _peeled(of_value)[0]
        return ("entries", (), tuple(fields_of(inner, inside=key))) if _models(inner) else ("amounts", (), ())
    if base is bool:
        return "yes", (), ()
    if base is dt.date:
        return "date", (), ()
    if about.measured is not None and not about.measured.dimension:
        return ("whole" if base is int else "number"), (), ()
    return "list" if key == "feeding_hours" else "text", (), ()


# keys that have a form of another shape, drawn with their row
_ELSEWHERE = {"beds": ("plantings",)}


@cache
def form_of(table: str, kind: str | None = None) -> list[Field]:
    """All fields of an entry of a table of the site file: those made by hand, then one for every other key.

    Parameters
    ----------
    table : str
        As ``tanks`` or ``greenhouse``.
    kind : str, optional
        Of a table chosen by its kind.
    """
    base = _about(SiteFile.model_fields[table]).base
    base = _peeled(get_args(base)[-1])[0] if get_origin(base) is dict else base
    model = _chosen(base, {"kind": kind})
    own = FORMS.get(table, [])
    known = [*own, *FORMS.get(f"{table}, more", []), *(Field((key,), key) for key in _ELSEWHERE.get(table, ()))]
    return [*own, *(fields_of(model, known) if model is not None else [])]


def planting() -> list[Field]:
    """Fields of a planting."""
    return [*PLANTING, *fields_of(PlantingTable, PLANTING)]


def is_optional_throughout(form: Sequence[Field], path: Sequence[Step], raw: Any) -> bool:
    """Whether a table may stand with any one of its keys alone, so that its fields can wait for an entry."""
    return not any(about_key((*path, *field.path), raw).is_required for field in form)


def about_key(path: Sequence[Step], raw: Any) -> About:
    """What a place of a site file may hold; of a place that no file has, a text.

    Examples
    --------
    >>> about_key(("tanks", "cedar", "volume"), {}).measured.dimension
    'volume'
    """
    base: Any = SiteFile
    about = _TEXT
    for at, step in enumerate(path):
        held = value_at(raw, path[:at])
        model = _chosen(base, held)
        if model is not None:
            info = next((info for name, info in model.model_fields.items() if (info.alias or name) == step), None)
            if info is None:
                return _TEXT
            about = _about(info)
        elif get_origin(base) in (dict, list):
            about = About(*_peeled(get_args(base)[-1]), None, False)
        else:
            return _TEXT
        base = about.base
    return about


_TEXT = About(str, (), None, False)


def hint(path: Sequence[Step], raw: Any) -> str:
    """What stands in an empty field: what is assumed there, or an example where it must be given.

    Examples
    --------
    >>> hint(("tanks", "cedar", "volume"), {}), hint(("tanks", "cedar", "depth"), {})
    ('as 900 L', '80 cm')
    >>> hint(("greenhouse", "shade"), {}), hint(("weather", "day_to_day"), {})
    ('0', '5.5 degC')
    """
    about = about_key(path, raw)
    measured = about.measured
    assumed = next((ASSUMED[place] for place in _ends(tuple(path)) if place in ASSUMED), "")
    units = "us" if value_at(raw, ("site", "units")) == "us" else "metric"
    if assumed:
        return in_units(assumed, units)
    if measured is None:
        return about.default if isinstance(about.default, str) and about.default else ""
    if about.default is not None and not isinstance(about.default, (list, dict)):
        return format_quantity(about.default, measured.dimension, units) if measured.dimension else f"{about.default:g}"
    if not (measured.dimension and about.is_required):
        return ""
    return in_units(f"as {example(measured.dimension).strip(chr(34))}", units)


@cache
def _ends(path: tuple[Step, ...]) -> tuple[str, ...]:
    """Dotted ends of a place without the names of entries, the longest first."""
    return tuple(_all_ends([step for step in path if isinstance(step, str)]))


def _all_ends(names: list[str]) -> Iterator[str]:
    if len(names) > 2 and SiteFile.model_fields.get(names[0]) is not None:
        base = _about(SiteFile.model_fields[names[0]]).base
        names = [names[0], *names[2:]] if get_origin(base) is dict else names
    for at in range(len(names) - 1):
        yield ".".join(names[at:])
