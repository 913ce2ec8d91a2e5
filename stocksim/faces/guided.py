"""A whole site file from the answers to five questions; what was not answered is assumed and marked in the file.

Apart from the page that asks, to be tested by itself.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import tomlkit

from stocksim.errors import Fault, InputError, StocksimError
from stocksim.faces.editing import from_typed
from stocksim.heat.heaters import judged_heaters, size_to_have
from stocksim.library.species import load_species
from stocksim.site.quantities import MONTHS
from stocksim.site.reading import Site, site_from_text
from stocksim.units import format_quantity, parse_quantity, to_face

MARK = "# assumed"
MOST_TANKS = 20  # our choice: more are written into the file
_FIRST_POWER = "10 kW"  # until it is known what the design night asks


class Ask(NamedTuple):
    """One thing that is asked.

    Parameters
    ----------
    name, label : str
        Its name among the answers, and what the page calls it.
    assumed : tuple of str
        What stands in the file where it is not answered, metric and US.
    why : str
        Why just that, for the comment in the file.
    places : tuple of str
        Places of the file whose faults are this answer's.
    kind : str
        ``text``, ``number``, ``whole``, or ``choice``.
    ways : tuple of str
        Ways to keep the water warm with which it is asked; () with all.
    """

    name: str
    label: str
    assumed: tuple[str, str]
    why: str = ""
    places: tuple[str, ...] = ()
    kind: str = "text"
    choices: tuple[str, ...] | str = ()
    ways: tuple[str, ...] = ()


HELD, HOUSE, HEATED = "held", "house", "heated"
WAYS = {
    HELD: "held at one temperature",
    HOUSE: "in a greenhouse without heat",
    HEATED: "in a heated greenhouse",
}
_INVENTED = "invented, give your own"
QUESTIONS: tuple[tuple[str, tuple[Ask, ...]], ...] = (
    (
        "Place and winter",
        (
            Ask("name", "name of the site", ("My growing house",) * 2, places=("site.name",)),
            Ask("latitude", "latitude (north +)", ("45", "45"), _INVENTED, ("site.latitude",), "number"),
            Ask("winter_low", "coldest month, mean low", ("-10 degC", "14 degF"), _INVENTED),
            Ask("winter_high", "coldest month, mean high", ("-1 degC", "30 degF"), _INVENTED),
            Ask("summer_low", "warmest month, mean low", ("15 degC", "59 degF"), _INVENTED),
            Ask("summer_high", "warmest month, mean high", ("27 degC", "81 degF"), _INVENTED),
        ),
    ),
    (
        "Tanks and sump",
        (
            Ask("tanks", "number of fish tanks", ("1", "1"), _INVENTED, kind="whole"),
            Ask("volume", "water in each tank", ("1000 L", "250 gal"), _INVENTED, ("tanks.*.volume",)),
            Ask("sump", "water in the sump", ("600 L", "150 gal"), _INVENTED, ("loops.main.sump",)),
        ),
    ),
    (
        "Beds",
        (
            Ask("bed", "kind of bed", ("media",) * 2, places=("beds.bed.kind",), kind="choice",
                choices=("media", "raft", "tower", "wicking")),
            Ask("area", "bed area", ("3 m2", "32 ft2"), _INVENTED, ("beds.bed.area",)),
            Ask("crop", "crop", ("lettuce",) * 2, places=("beds.bed.plantings[1].crop",), kind="choice",
                choices="crops"),
        ),
    ),
    (
        "Fish",
        (
            Ask("species", "kind of fish", ("yellow_perch",) * 2, places=("cohorts.*.species",), kind="choice",
                choices="species"),
            Ask("count", "number of fish, all tanks", ("40", "40"), _INVENTED, ("cohorts.*.count",), "whole"),
            Ask("weight", "mean weight at the start", ("40 g", "1.4 oz"), _INVENTED, ("cohorts.*.mean_weight",)),
        ),
    ),
    (
        "Heat",
        (
            Ask("way", "the water is", (HELD,) * 2, kind="choice", choices=tuple(WAYS)),
            Ask("water", "its temperature", ("17 degC", "63 degF"), _INVENTED,
                ("loops.main.water_temperature.value",), ways=(HELD,)),
            Ask("floor", "floor of the greenhouse", ("50 m2", "540 ft2"), _INVENTED, ("greenhouse.floor_area",),
                ways=(HOUSE, HEATED)),
            Ask("cover", "its cover", ("double_film",) * 2, places=("greenhouse.cover",), kind="choice",
                choices=("single_film", "double_film", "twin_wall", "glass"), ways=(HOUSE, HEATED)),
            Ask("air", "its air is kept at", ("8 degC", "46 degF"), _INVENTED, ("greenhouse.heater.set_point",),
                ways=(HEATED,)),
            Ask("fuel", "heated with", ("propane",) * 2, places=("greenhouse.heater.fuel",), kind="choice",
                choices=("propane", "natural_gas", "heating_oil", "kerosene", "wood_pellets", "electricity"),
                ways=(HEATED,)),
        ),
    ),
)  # fmt: skip
ASKS = {ask.name: ask for _, asks in QUESTIONS for ask in asks}
WEATHER_FILE = "weather_file"  # name of the faults of an uploaded year of weather
# answers that a year of weather from a file makes needless
BY_MONTHS = ("winter_low", "winter_high", "summer_low", "summer_high")


class Draft(NamedTuple):
    """What came of the answers: the text of a site file, its site where it is sound, and faults by answer ('' of none
    of them)."""

    text: str
    site: Site | None
    faults: Mapping[str, list[str]]


def assumed(name: str, units: str) -> str:
    """What is assumed where a question is not answered."""
    return ASKS[name].assumed[units == "us"]


def begin(answers: Mapping[str, str], units: str, today: dt.date, folder: Path, weather_file: str = "") -> Draft:
    """A site file from answers as they were typed.

    Parameters
    ----------
    answers : mapping of str to str
        By the names of `ASKS`; what is left out or empty is assumed and marked.
    units : str
        ``metric`` or ``us``.
    today : date
        From which the season is chosen.
    folder : Path
        Where own species, feeds and crops are looked up, and the weather file.
    weather_file : str
        Name of a file with a year of weather, '' where the months are asked for.

    Returns
    -------
    Draft
        With every fault at once where it is not sound.
    """
    typed = {name: str(answers.get(name) or "").strip() for name in ASKS}
    typed["way"] = typed["way"] if typed["way"] in WAYS else HELD
    typed |= {WEATHER_FILE: weather_file} | (dict.fromkeys(BY_MONTHS, "") if weather_file else {})
    own = _own_faults(typed, units)
    faults: dict[str, list[str]] = {name: [said] for name, said in own.items()}
    text = _text(typed, units, today, folder, _FIRST_POWER, set(own))
    try:
        site = site_from_text(text, folder, "site.toml")
        if typed["way"] == HEATED and not own:
            text = _text(typed, units, today, folder, _power(site), set())
            site = site_from_text(text, folder, "site.toml")
    except InputError as error:
        for fault in error.faults:
            name = _asked_of(fault)
            # without its weather water cannot be computed, which is no fault of its own
            if typed["way"] == HELD or not (own and fault.field == "water_temperature"):
                faults.setdefault(name, []).append(fault.message if name else str(fault))
        return Draft(text, None, {name: list(dict.fromkeys(said)) for name, said in faults.items()})
    return Draft(text, None if faults else site, faults)


def _asked_of(fault: Fault) -> str:
    """Name of the answer that a fault is about, '' of none."""
    place = f"{fault.table}.{fault.field}".strip(".")
    if place == "weather.file":
        return WEATHER_FILE
    table, _, rest = place.partition(".")
    general = f"{table}.*.{rest.partition('.')[2]}"
    return next((name for name, ask in ASKS.items() if {place, general} & set(ask.places)), "")


def _own_faults(typed: Mapping[str, str], units: str) -> dict[str, str]:
    """Faults of answers that stand in the file in another form: numbers of tanks and the months' temperatures."""
    found = {}
    number = from_typed(typed["tanks"] or assumed("tanks", units), "whole")
    if not isinstance(number, int) or not 1 <= number <= MOST_TANKS:
        found["tanks"] = f'"{typed["tanks"][:40]}" is not allowed; give a whole number of tanks from 1 to {MOST_TANKS}.'
    degrees = {}
    for name in BY_MONTHS:
        try:
            degrees[name] = parse_quantity(typed[name] or assumed(name, units), "temperature")
        except InputError as error:
            found[name] = str(error)
            continue
        if not -70.0 <= degrees[name] <= 55.0:  # as a site file may have them
            found[name] = f'"{typed[name][:40]}" is not allowed; outdoor air lies between -70 and 55 degC.'
    for low, high in (("winter_low", "winter_high"), ("summer_low", "summer_high"), ("winter_low", "summer_low"),
                      ("winter_high", "summer_high")):  # fmt: skip
        if not found and degrees[low] > degrees[high]:
            found[high] = f"{ASKS[high].label} lies below {ASKS[low].label}; check the two."
    return found


def _power(site: Site) -> str:
    """Power of the only heater, as the design night asks with its margin, in half kilowatts."""
    (heater,) = judged_heaters(site)
    return f"{max(math.ceil(2.0 * size_to_have(heater.needed_kw)) / 2.0, 0.5):g} kW"


def season_of(today: dt.date, is_north: bool) -> tuple[dt.date, dt.date]:
    """The cold season that began of late or comes next: eight months from October, south of the equator from April.

    Examples
    --------
    >>> [str(day) for day in season_of(dt.date(2026, 11, 30), True)]
    ['2026-10-01', '2027-05-31']
    >>> [str(day) for day in season_of(dt.date(2026, 2, 1), False)]
    ['2026-04-01', '2026-11-30']
    """
    first, last = (10, dt.date(1, 5, 31)) if is_north else (4, dt.date(1, 11, 30))
    year = today.year if today.month <= first + 2 else today.year + 1
    return dt.date(year, first, 1), last.replace(year=year + is_north)


def months_between(winter_c: float, summer_c: float, is_north: bool, units: str) -> dict[str, str]:
    """Mean of each month between the coldest and the warmest, along a cosine (assumed), as a site file has it."""
    coldest = 0 if is_north else 6
    middle, half = 0.5 * (winter_c + summer_c), 0.5 * (summer_c - winter_c)
    values = [middle - half * math.cos(2.0 * math.pi * (number - coldest) / 12.0) for number in range(12)]
    unit = "degF" if units == "us" else "degC"
    return {
        month: f"{to_face(value, 'temperature', units):.0f} {unit}".replace("-0 ", "0 ")
        for month, value in zip(MONTHS, values, strict=True)
    }


# --- the text


class _Writer:
    """Lines of a site file: answers as they were typed, the rest assumed and marked."""

    def __init__(self, typed: Mapping[str, str], units: str) -> None:
        self.typed, self.units = typed, units
        self.lines: list[str] = []

    def value(self, name: str) -> Any:
        """What an answer is in the file."""
        ask = ASKS[name]
        return from_typed(self.typed[name] or assumed(name, self.units), "text" if ask.kind == "choice" else ask.kind)

    def put(self, key: str, value: Any, why: str | None = None) -> None:
        """A line; with a reason it is marked as assumed."""
        if value is not None:
            self.lines.append(f"{key} = {_toml(value)}" + ("" if why is None else f"  {MARK}: {why}"))

    def answer(self, key: str, name: str) -> None:
        """A line of an answer, marked where it was not given."""
        self.put(key, self.value(name), None if self.typed[name] or not ASKS[name].why else ASKS[name].why)

    def heading(self, words: str) -> None:
        self.lines += ["", words]


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    return str(tomlkit.item(value).as_string())


def _text(
    typed: Mapping[str, str], units: str, today: dt.date, folder: Path, power: str, faulty: set[str]
) -> str:  # fmt: skip
    out = _Writer(typed, units)
    latitude = out.value("latitude")
    is_north = not isinstance(latitude, (int, float)) or latitude >= 0
    start, end = season_of(today, is_north)
    out.lines = [
        "# Begun with five questions. What you answered stands as you typed it. A line that ends with \"assumed\" is",
        "# common practice without a source, or invented: change it to your own, here or on the page Site. Quantities",
        "# carry their unit. `stocksim check` says what else is assumed.",
    ]  # fmt: skip
    out.heading("[site]")
    out.answer("name", "name")
    out.answer("latitude", "latitude")
    out.put("units", units)
    out.put("density_level", "cautious", "the stocking density of a beginner")
    out.heading("[season]")
    out.put("start", start, "the cold season that runs or comes next")
    out.put("end", end, "eight months")
    _loop(out)
    _tanks(out, faulty)
    out.heading("[beds.bed]")
    out.put("loop", "main")
    out.answer("kind", "bed")
    out.answer("area", "area")
    if typed["bed"] == "tower":
        out.put("flow", "120 L/h", "a tower needs its flow; invented, give your own")
    out.put("plantings", [{"crop": out.value("crop"), "from": start, "to": end}], "one crop on all of it, all season")
    _filtered(out)
    _fish(out, folder, faulty)
    if typed[WEATHER_FILE]:
        out.heading("[weather]")
        out.put("kind", "file")
        out.put("file", typed[WEATHER_FILE])
    elif not faulty.intersection(BY_MONTHS):
        _weather(out, is_north)
    if typed["way"] in (HOUSE, HEATED):
        _greenhouse(out, power)
    return "\n".join(out.lines) + "\n"


def _loop(out: _Writer) -> None:
    out.heading("# The water that sump, tanks and beds share.")
    out.lines.append("[loops.main]")
    out.answer("sump", "sump")
    out.put("alkalinity_target", "60 mg/L", "base is dosed to hold it, so that pH stays")
    if out.typed["way"] in (HOUSE, HEATED):
        out.lines += ["# computed from weather, greenhouse and heaters", 'water_temperature = { kind = "computed" }']
    else:
        is_given = bool(out.typed["water"])
        kept = {"kind": "constant", "value": out.value("water")}
        out.put("water_temperature", kept, None if is_given else _INVENTED)


def _tanks(out: _Writer, faulty: set[str]) -> None:
    try:
        volume_l = 1000.0 * parse_quantity(out.value("volume"), "volume")
        if not 1.0 <= volume_l <= 1e7:  # its own sentence is enough
            raise InputError("no volume of a tank")
        flow, power = f"{volume_l:.0f} L/h", f"{max(30.0 * volume_l / 1000.0, 5.0):.0f} W"
        if out.units == "us":
            flow = format_quantity(volume_l / 1000.0 * 24.0, "flow", "us").replace(",", "")
    except InputError:
        flow, power = "1000 L/h", "30 W"
    for number in range(1 if "tanks" in faulty else int(out.value("tanks"))):
        out.heading(f"[tanks.tank_{number + 1}]")
        out.put("loop", "main")
        out.answer("volume", "volume")
        out.put("flow", flow, "the tank's water once an hour")
        out.put("oxygen_supply", {"kind": "diffuser", "power": power}, "an air pump of 30 W for each 1000 L (260 gal)")


def _filtered(out: _Writer) -> None:
    """What beds need that clean no water: a biofilter for their fish, and for a wicking bed the sludge it lives on."""
    bed = out.typed["bed"]
    if bed not in ("tower", "wicking"):
        return
    out.heading("[biofilters.filter]")
    out.put("loop", "main")
    out.put("kind", "trickling", "this kind of bed turns little or no ammonia into nitrate")
    out.put("media_volume", "100 L", _INVENTED)
    out.put("specific_surface", "200 m2/m3", "as makers give it for plastic media; read your own label")
    out.put("flow", "1000 L/h", _INVENTED)
    if bed == "wicking":
        out.heading("[settlers.settler]")
        out.put("loop", "main")
        out.put("kind", "radial_flow", "a wicking bed lives on the sludge that a settler catches")
        out.put("drawn_off", "10 L/day", _INVENTED)
        out.put("feeds", "bed")


def _fish(out: _Writer, folder: Path, faulty: set[str]) -> None:
    species, count = out.value("species"), out.value("count")
    tanks = 1 if "tanks" in faulty else int(out.value("tanks"))
    # what is no number of fish stands as it was typed, for its sentence to quote it
    is_number = isinstance(count, int) and 0 < count <= 10_000_000
    counts = [count // tanks + (number < count % tanks) for number in range(tanks)] if is_number else [count]
    try:
        feed = load_species(str(species), folder).facts["fitted_with_feed"]
    except (StocksimError, KeyError):
        feed = "perch_45"
    for number, in_tank in enumerate(counts, 1):
        if is_number and not in_tank:
            continue
        out.heading(f"[cohorts.fish_{number}]")
        out.answer("species", "species")
        out.put("tank", f"tank_{number}")
        out.put("count", in_tank, None if out.typed["count"] else ASKS["count"].why)
        out.answer("mean_weight", "weight")
        out.put("feed", feed, "the feed that its growth is known with")
        out.put("ration", {"kind": "appetite", "fraction": 0.85}, "by hand, every day")


def _weather(out: _Writer, is_north: bool) -> None:
    names = ("winter_low", "summer_low", "winter_high", "summer_high")
    low, warm_low, high, warm_high = (parse_quantity(out.value(name), "temperature") for name in names)
    out.heading("# Means of the daily lows and highs: the coldest and the warmest month are yours, the others assumed.")
    out.lines += ["[weather]", 'kind = "normals"']
    why = "along a curve from the coldest to the warmest month"
    out.put("low", months_between(low, warm_low, is_north, out.units), why)
    out.put("high", months_between(high, warm_high, is_north, out.units), why)


def _greenhouse(out: _Writer, power: str) -> None:
    out.heading("[greenhouse]")
    out.answer("floor_area", "floor")
    out.answer("cover", "cover")
    if out.typed["way"] == HEATED:
        out.lines += ["", "[greenhouse.heater]"]
        out.put("power", power, "what the coldest night asks, with a reserve")
        out.answer("set_point", "air")
        out.answer("fuel", "fuel")
