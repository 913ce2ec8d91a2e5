"""Forms of the site's tables, and where a fault of theirs is shown."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from typing import Any, NamedTuple, get_args

import streamlit as st

from stocksim.faces import editing
from stocksim.faces.editing import Step, entries
from stocksim.site.fish_tables import WEEKDAYS
from stocksim.site.kinds import REMOVALS
from stocksim.site.quantities import MONTHS, BufferSalt

Path = tuple[Step, ...]


class Field(NamedTuple):
    """One field: keys below its row, label, kind and choices.

    Kinds are text, number, whole, date, list and numbers (with commas between), yes, choice, several (of the choices),
    shares (one of the choices, or a table of several with their shares) and table (chosen by its ``kind``). Those that
    hold fields of their own, the ``form``, are group (a table), rows (a list of tables), entries (tables by name),
    months (a value for each) and amounts (numbers by name).
    """

    path: Path
    label: str
    kind: str = "text"
    choices: tuple[str, ...] | str = ()
    width: int = 130
    form: tuple[Any, ...] = ()
    help: str = ""


# tables chosen by their ``kind``: what stands in the file when a kind is picked
TABLE_STARTS: dict[str, dict[str, dict[str, Any] | None]] = {
    "oxygen_supply": {
        "": None,
        "diffuser": {"kind": "diffuser", "power": "30 W"},
        "measured": {"kind": "measured", "transfer": "20 g/h"},
        "none": {"kind": "none"},
    },
    "ration": {
        "": None,
        "appetite": {"kind": "appetite", "fraction": 0.85},
        "percent": {"kind": "percent", "percent": 2.0},
        "table": {
            "kind": "table",
            "temperatures": ["10 degC", "20 degC"],
            "weights": ["20 g", "100 g"],
            "percent": [[2.0, 1.5], [3.0, 2.0]],
        },
        "fixed": {"kind": "fixed", "per_day": "50 g"},
        "beds": {"kind": "beds"},
        "unfed": {"kind": "unfed"},
    },
    "weather": {
        "": None,
        "normals": {
            "kind": "normals",
            "low": dict.fromkeys(MONTHS, "0 degC"),
            "high": dict.fromkeys(MONTHS, "10 degC"),
        },
        "file": {"kind": "file", "file": "weather.csv"},
    },
    "water_temperature": {
        "constant": {"kind": "constant", "value": "15 degC"},
        "monthly": {"kind": "monthly", "values": dict.fromkeys(MONTHS, "15 degC")},
        "log": {"kind": "log", "file": "temperature.csv"},
        "computed": {"kind": "computed"},
    },
}
_CIRCUIT = Field(("oxygen_supply", "circuit"), "its circuit", width=110)
_SUPPLY = {
    "diffuser": [
        Field(("oxygen_supply", "power"), "air power"),
        Field(("oxygen_supply", "uncleaned_months"), "months not cleaned", "number"),
        _CIRCUIT,
    ],
    "measured": [Field(("oxygen_supply", "transfer"), "oxygen transfer"), _CIRCUIT],
}
_HELD = [
    Field(("water_temperature", "at_least"), "heated to at least"),
    Field(("water_temperature", "at_most"), "cooled to at most"),
]
_WATER = {
    "constant": [Field(("water_temperature", "value"), "water"), *_HELD],
    "monthly": [*(Field(("water_temperature", "values", month), month, width=92) for month in MONTHS), *_HELD],
    "log": [Field(("water_temperature", "file"), "log file", width=180), *_HELD],
    "computed": [],
}
_SUPPLY_KIND = Field(("oxygen_supply",), "oxygen supply", "table", tuple(TABLE_STARTS["oxygen_supply"]))

FORMS: dict[str, list[Field]] = {
    "cohorts": [
        Field(("species",), "species", "choice", "species", 190),
        Field(("tank",), "tank", "choice", "tanks"),
        Field(("count",), "number of fish", "whole"),
        Field(("mean_weight",), "mean weight", width=110),
        Field(("stocked",), "stocked on", "date"),
        Field(("feed",), "feed", "shares", "feeds", 180),
        Field(("ration",), "ration", "table", tuple(TABLE_STARTS["ration"])),
        Field(("wild",), "wild-caught", "yes"),
    ],
    # shown one step away: what few cohorts need
    "cohorts, more": [
        Field(("trained",), "wild, but eats pellets already", "yes"),
        Field(("sex",), "sex", "choice", ("", "mixed", "males", "females")),
        Field(("size_spread",), "size spread, as 0.25", "number"),
        Field(("strain",), "strain, as its species has it"),
    ],
    "tanks": [
        Field(("loop",), "loop", "choice", "loops"),
        Field(("volume",), "volume", width=110),
        Field(("flow",), "flow", width=110),
        Field(("depth",), "depth", width=100),
        Field(("overflows_to",), "overflows to", "list", width=150),
        _SUPPLY_KIND,
    ],
    "beds": [
        Field(("loop",), "loop", "choice", "loops"),
        Field(("kind",), "kind", "choice", "bed kinds"),
        Field(("area",), "area", width=110),
        Field(("depth",), "depth", width=100),
        Field(("flow",), "flow", width=110),
        Field(("media_size",), "media size", width=110),
        Field(("planted_face",), "planted face", width=110),
        Field(("floats_on_sump",), "floats on the sump", "yes"),
        Field(("flooding",), "flooded by", "choice", ("", "siphon", "timer"), 110),
        Field(("swing",), "fills and drains", width=110),
        Field(("biofilter_started",), "biofilter started", "date"),
        _SUPPLY_KIND,
    ],
    "biofilters": [
        Field(("loop",), "loop", "choice", "loops"),
        Field(("kind",), "kind", "choice", "biofilter kinds"),
        Field(("media_volume",), "media volume", width=120),
        Field(("specific_surface",), "specific surface", width=140),
        Field(("flow",), "flow", width=110),
        Field(("biofilter_started",), "biofilter started", "date"),
        _SUPPLY_KIND,
    ],
    "settlers": [
        Field(("loop",), "loop", "choice", "loops"),
        Field(("kind",), "kind", "choice", "settler kinds", 180),
        Field(("share_of_flow",), "share of flow", "number", width=110),
        Field(("capture",), "capture", "number", width=100),
        Field(("drawn_off",), "drawn off", width=110),
        Field(("emptied_every_days",), "emptied every (days)", "whole"),
        Field(("feeds",), "feeds", "choice", "beds"),
    ],
    "pumps": [
        Field(("feeds",), "feeds, commas between", "list", width=260),
        Field(("power",), "plate watts", width=100),
        Field(("lift",), "lift", width=100),
        Field(("flow",), "flow", width=110),
        Field(("circuit",), "circuit", width=110),
        Field(("drain_back",), "drains back", width=110),
    ],
    "backups": [
        Field(("kind",), "kind", "choice", ("generator", "battery")),
        Field(("carries",), "carries circuits, commas between", "list", width=260),
        Field(("power",), "power", width=100),
        Field(("switch",), "switch", "choice", ("", "automatic", "by_hand")),
        Field(("after_minutes",), "after (minutes)", "number"),
        Field(("fuel_volume",), "generator: fuel", width=130),
        Field(("burns",), "generator: burns", width=130),
        Field(("energy",), "battery: label", width=130),
    ],
    "loops": [
        Field(("sump",), "sump", width=110),
        Field(("sump_brim",), "sump to its brim", width=120),
        Field(("sump_least",), "pump needs", width=110),
        Field(("ph",), "pH", "number", width=90),
        Field(("alkalinity_target",), "alkalinity target"),
        Field(("buffer",), "buffer", "choice", ("", *get_args(BufferSalt)), 200),
        Field(("evaporation",), "evaporation", width=110),
        Field(("return_drop",), "fall into sump", width=110),
        Field(("new_water",), "steady new water", width=130),
        Field(("feeding_hours",), "fed at (08:00, 17:00)", "list", width=160),
        Field(("biofilter_started",), "biofilter started", "date"),
        _SUPPLY_KIND,
        Field(("water_temperature",), "temperature", "table", tuple(TABLE_STARTS["water_temperature"])),
    ],
    "season": [Field(("start",), "first day", "date"), Field(("end",), "last day", "date")],
    "site": [
        Field(("name",), "name", width=300),
        Field(("units",), "units shown", "choice", ("metric", "us")),
        Field(("elevation",), "elevation"),
        Field(("latitude",), "latitude", "number"),
        Field(("cover_transmission",), "light through cover", "number"),
        Field(("density_level",), "density level", "choice", ("cautious", "experienced")),
    ],
}
PLANTING = [
    Field(("crop",), "crop", "choice", "crops"),
    Field(("from",), "from", "date"),
    Field(("to",), "to", "date"),
    Field(("area",), "area", width=110),
    Field(("every_days",), "every (days)", "whole", width=110),
    Field(("empty_days",), "bare between (days)", "whole", width=140),
]
_WEIGHED = Field(("ration", "weighed"), "% of food", "choice", ("", "fresh", "dry"), 110)
EXTRA = {"oxygen_supply": _SUPPLY, "water_temperature": _WATER}
EXTRA["ration"] = {
    "appetite": [Field(("ration", "fraction"), "of appetite (0 to 1)", "number")],
    "percent": [Field(("ration", "percent"), "% of body weight", "number"), _WEIGHED],
    "table": [
        Field(("ration", "temperatures"), "rows: temperatures", "list", width=260),
        Field(("ration", "weights"), "columns: mean weights", "list", width=220),
        _WEIGHED,
    ],
    "fixed": [Field(("ration", "per_day"), "a day, whole tank", width=120)],
    "beds": [Field(("ration", "ratio"), "feed per planted area", width=150)],
}
# of every rule that offers feed
FED = [
    Field(("ration", "fasting_days"), "no feed on", "several", WEEKDAYS, 260),
    Field(("ration", "stop_below"), "no feed below"),
    Field(("ration", "restart_after_days"), "restart after days (3)", "whole"),
    Field(("ration", "meals_per_day"), "meals a day (2)", "number"),
    Field(("ration", "feeding_hours"), "fed at (08:00, 17:00)", "list", width=160),
    Field(("ration", "spilled_share"), "feed waste (0.17)", "number"),
]
COLD_RULE = [Field(("below",), "colder than"), Field(("feed_every_days",), "fed each n-th day", "whole")]
# keys that a table of another kind keeps
KEPT_BY_RULES = (
    "fasting_days",
    "stop_below",
    "restart_after_days",
    "meals_per_day",
    "feeding_hours",
    "spilled_share",
    "cold_rules",
)
KEPT_BY_WATER = ("at_least", "at_most")
KEPT_BY_WEATHER = ("design_cold", "day_to_day", "ground", "wind")


# what one entry of a list or table is called, where it is not the label without its last letter
ONE_OF = {
    "harvest_wishes": "harvest wish", "schedule": "set point", "feeding_ramp": "step of the ramp", "lamps": "lamp",
    "candidates": "fish to buy", "options": "other water",
}  # fmt: skip


def start_of(key: str, raw: dict[str, Any]) -> dict[str, Any]:
    """What a table that is added holds at first, sound where the file is, for the keeper to change."""
    season = entries(raw, "season")
    first, last = season.get("start", ""), season.get("end", "")
    tank: Any = next(iter(entries(raw, "cohorts").values()), {})
    fish = tank if isinstance(tank, dict) else {}
    species, feed = fish.get("species", "yellow_perch"), fish.get("feed", "perch_45")
    starts: dict[str, dict[str, Any]] = {
        "heater": {"power": "5 kW", "set_point": "10 degC", "fuel": "electricity"},
        "insulated_wall": {"area": "10 m2", "foam": "50 mm"},
        "vents": {"opens_at": "27 degC"},
        "lamps": {"power": "400 W", "from_hour": 6, "to_hour": 18},
        "schedule": {"hour": 22, "set_point": "8 degC"},
        "water_tests": {"date": first},
        "water_changes": {"date": first, "volume": "50 L"},
        "fishless_cycling": {"from": first, "to": first, "ammonia_nitrogen": "1 g/day"},
        "feeding_ramp": {"from": first, "share": 1.0},
        "harvest_wishes": {"species": species, "weight": "1 kg", "by": last},
        "candidates": {"species": species, "mean_weight": "20 g", "price": 1.0, "feed": feed, "at_most": 20},
        "options": {"loop": next(iter(entries(raw, "loops")), "main")},
        "greenhouse": {"floor_area": "50 m2", "cover": "double_film"},
        "fish_room": {"floor_area": "12 m2", "foam": "50 mm"},
    }
    return starts.get(key, {})


def kept_keys(table: str, kind: str) -> tuple[str, ...]:
    """Keys that a table chosen by its kind keeps when it becomes another kind."""
    if table == "ration" and kind != "unfed":
        return KEPT_BY_RULES
    if table == "weather":
        return KEPT_BY_WEATHER
    return KEPT_BY_WATER if table == "water_temperature" and kind != "computed" else ()


WHICH = Field(("which",), "which", "choice", ("", "largest", "smallest", "any"))
EVENTS: dict[str, list[Field]] = {
    "stock": [Field(("count",), "number of fish", "whole"), Field(("mean_weight",), "mean weight", width=110)],
    "move": [Field(("tank",), "to tank", "choice", "tanks")],
    "grade": [Field(("into",), "larger fish become", width=150), Field(("tank",), "in tank", "choice", "tanks")],
    "ration": [Field(("ration",), "ration", "table", tuple(TABLE_STARTS["ration"])[1:])],
    "feed": [Field(("feed",), "feed", "shares", "feeds", 180)],
    **{key: [WHICH] for key in REMOVALS},
    "found": [Field(("count",), "number of fish", "whole"), Field(("mean_weight",), "mean weight", width=110)],
}
# the one key of several that says how much: what it is, label and kind of its field, start
AMOUNTS: dict[str, tuple[str, str, str, Any]] = {
    "count": ("a number of fish", "number of fish", "whole", 1),
    "weight": ("a weight of fish", "weight of fish", "text", "1 kg"),
    "share": ("a share", "share, 0 to 1", "number", 0.1),
    "above": ("all from a weight up", "weight or more", "text", "150 g"),
    "all": ("all of them", "", "yes", True),
    "largest_share": ("a share", "share, 0 to 1", "number", 0.3),
}
AMOUNTS_OF = {
    "grade": ("above", "largest_share"),
    **dict.fromkeys(REMOVALS, ("count", "weight", "share", "above", "all")),
}


def event_start(kind: str, raw: dict[str, Any]) -> dict[str, Any]:
    """What a new event of a kind holds beside its date and cohort, sound where the file is."""
    tank = next(reversed(entries(raw, "tanks")), "cedar")
    more: dict[str, dict[str, Any]] = {
        "stock": {"count": 10, "mean_weight": "50 g"},
        "move": {"tank": tank},
        "grade": {"into": free_cohort(raw, "larger"), "tank": tank, "largest_share": 0.3},
        "ration": {"ration": TABLE_STARTS["ration"]["appetite"]},
        "feed": {"feed": "perch_45"},
        "found": {"mean_weight": "50 g"},
    }
    return {"kind": kind, **more.get(kind, {"count": 1})}


def free_name_in(taken: Collection[str], stem: str) -> str:
    """A name that is not among those taken, as ``candidate_2``."""
    return next(name for number in range(1, len(taken) + 2) if (name := f"{stem}_{number}") not in taken)


def free_cohort(raw: dict[str, Any], stem: str) -> str:
    """A name that no cohort has and no grading makes."""
    taken = set(entries(raw, "cohorts")) | set(graded_names(raw))
    return free_name_in(taken, stem)


def graded_names(raw: dict[str, Any]) -> list[str]:
    """Cohorts that gradings make."""
    events = raw.get("events")
    found = [event.get("into") for event in events if isinstance(event, dict)] if isinstance(events, list) else []
    return [name for name in found if isinstance(name, str)]


# --- several feeds with their shares, in the place of one

_NEW_SHARE = 0.2  # of a feed that is added; the others give way in proportion


def with_another(held: Any, name: str) -> dict[str, Any]:
    """Feeds with one more, which takes a fifth.

    Examples
    --------
    >>> with_another("perch_45", "duckweed")
    {'perch_45': 0.8, 'duckweed': 0.2}
    """
    shares = _numbers(held if isinstance(held, dict) else {str(held): 1.0})
    return {key: round((1.0 - _NEW_SHARE) * share, 4) for key, share in shares.items()} | {name: _NEW_SHARE}


def without(held: dict[str, Any], name: str) -> dict[str, Any] | str:
    """Feeds without one of them, whose share the others take in proportion; the name alone where one is left.

    Examples
    --------
    >>> without({"a": 0.5, "b": 0.3, "c": "20 %"}, "a"), without({"a": 0.5, "b": 0.5}, "a")
    ({'b': 0.6, 'c': 0.4}, 'b')
    """
    left = _numbers({key: share for key, share in held.items() if key != name})
    if len(left) == 1:
        return next(iter(left))
    together = sum(left.values()) or 1.0
    return {key: round(share / together, 4) for key, share in left.items()}


def with_other_name(held: dict[str, Any], old: str, new: str) -> dict[str, Any]:
    """Feeds with one in the place of another, its share as it is written."""
    return {new if key == old else key: share for key, share in held.items()}


def _numbers(shares: dict[str, Any]) -> dict[str, float]:
    """Shares as numbers, so that they can be divided anew; what is none counts as nothing."""
    found = {}
    for key, share in shares.items():
        try:
            is_percent = isinstance(share, str) and share.strip().endswith("%")
            found[key] = float(str(share).strip().rstrip("%")) / (100.0 if is_percent else 1.0)
        except ValueError:
            found[key] = 0.0
    return found


# --- what was typed into a field of the edit page and could not be written into the site's text: kept until mended


class Refused(NamedTuple):
    """What was typed at a place, and why it was refused."""

    typed: str
    sentences: Sequence[str]


def _held() -> dict[Path, Refused]:
    """Refusals of the site that is shown; another site begins without."""
    state = st.session_state
    site = (state.site_folder, state.site_name)
    if state.get("refused_of") != site:
        state.refused_of, state.refused = site, {}
    held: dict[Path, Refused] = state.refused
    return held


def keep(place: Path, typed: str, sentences: Sequence[str]) -> None:
    """Remember what was refused at a place."""
    _held().pop(place, None)
    _held()[place] = Refused(typed, sentences)


def drop(place: Path) -> None:
    """Forget what was refused at a place, which holds something else now."""
    _held().pop(place, None)


def drop_last() -> bool:
    """Forget the newest refusal; whether there was one."""
    if not _held():
        return False
    _held().popitem()
    return True


def typed(place: Path, written: str) -> str:
    """What a field shows: what was refused there, or what the text has."""
    found = _held().get(place)
    return written if found is None else found.typed


def of_row(row: Path) -> list[str]:
    """Sentences of a row's fields."""
    return [said for place, found in _held().items() if place[: len(row)] == row for said in found.sentences]


def of_site(raw: dict[str, Any] | None) -> list[str]:
    """Sentences of all fields; those of rows that are gone are forgotten."""
    for place in [place for place in _held() if raw is not None and editing.value_at(raw, place[:2]) is None]:
        drop(place)
    return [said for found in _held().values() for said in found.sentences]


# --- a fault stands beside the field that it names: which are shown, and which are still to be


def begin(faults: Sequence[str]) -> None:
    """Note the faults of the site whose fields are drawn now."""
    st.session_state.faults_drawn = list(faults)


def take_faults(place: Path) -> list[str]:
    """Faults and refusals that name just this place, or an item of a list that stands in its one field, once."""
    dotted = "".join(f"[{step + 1}]" if isinstance(step, int) else f".{step}" for step in place)[1:]
    held: list[str] = st.session_state.get("faults_drawn", [])
    named = re.compile(rf"(?:^| ){re.escape(dotted)}(?:\[\d+\])*: ")
    found = [fault for fault in held if dotted in fault and named.search(fault)]
    refused = [said for said in of_row(place) if said not in found]
    st.session_state.faults_drawn = [fault for fault in held if fault not in found]
    return [*found, *refused]


def has_fault(place: Path) -> bool:
    """Whether a fault of what is drawn lies at a place or inside it."""
    dotted = "".join(f"[{step + 1}]" if isinstance(step, int) else f".{step}" for step in place)[1:]
    held: list[str] = st.session_state.get("faults_drawn", [])
    return any(f"{dotted}{sign}" in fault for fault in held for sign in ".:[")


def take_rest(place: str) -> list[str]:
    """Faults of a row that no field of it has taken."""
    held: list[str] = st.session_state.get("faults_drawn", [])
    found = [fault for fault in held if any(f"{place}{sign}" in fault for sign in ".:[")]
    st.session_state.faults_drawn = [fault for fault in held if fault not in found]
    return found
