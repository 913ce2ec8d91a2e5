"""The fields of the edit page: plain ones, each bound to one place of the site file's text."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Any, NamedTuple, get_args

import streamlit as st

from stocksim.errors import InputError
from stocksim.faces import editing, markup, screen
from stocksim.library.crops import crop_names
from stocksim.library.feeds import feed_names
from stocksim.library.species import load_species, species_names
from stocksim.site.quantities import MONTHS, BufferSalt

Path = tuple[editing.Step, ...]


class Field(NamedTuple):
    """One field: keys below its row, label, kind (text, number, whole, date, yes, choice, table) and choices."""

    path: Path
    label: str
    kind: str = "text"
    choices: tuple[str, ...] | str = ()
    width: int = 130


# tables chosen by their ``kind``: what stands in the file when a kind is picked
_TABLE_STARTS: dict[str, dict[str, dict[str, Any] | None]] = {
    "oxygen_supply": {
        "": None,
        "diffuser": {"kind": "diffuser", "power": "30 W"},
        "measured": {"kind": "measured", "transfer": "20 g/h"},
        "none": {"kind": "none"},
    },
    "ration": {"": None, "appetite": {"kind": "appetite", "fraction": 0.85}, "unfed": {"kind": "unfed"}},
    "water_temperature": {
        "constant": {"kind": "constant", "value": "15 degC"},
        "monthly": {"kind": "monthly", "values": dict.fromkeys(MONTHS, "15 degC")},
        "log": {"kind": "log", "file": "temperature.csv"},
        "computed": {"kind": "computed"},
    },
}
_SUPPLY = {
    "diffuser": [Field(("oxygen_supply", "power"), "air power")],
    "measured": [Field(("oxygen_supply", "transfer"), "oxygen transfer")],
}
_WATER = {
    "constant": [Field(("water_temperature", "value"), "water")],
    "monthly": [Field(("water_temperature", "values", month), month, width=92) for month in MONTHS],
    "log": [Field(("water_temperature", "file"), "log file", width=180)],
    "computed": [],
}
_SUPPLY_KIND = Field(("oxygen_supply",), "oxygen supply", "table", tuple(_TABLE_STARTS["oxygen_supply"]))

FORMS: dict[str, list[Field]] = {
    "cohorts": [
        Field(("species",), "species", "choice", "species", 190),
        Field(("tank",), "tank", "choice", "tanks"),
        Field(("count",), "number of fish", "whole"),
        Field(("mean_weight",), "mean weight", width=110),
        Field(("stocked",), "stocked on", "date"),
        Field(("feed",), "feed", "choice", "feeds", 180),
        Field(("ration",), "ration", "table", tuple(_TABLE_STARTS["ration"])),
        Field(("wild",), "wild-caught", "yes"),
    ],
    "tanks": [
        Field(("loop",), "loop", "choice", "loops"),
        Field(("volume",), "volume", width=110),
        Field(("flow",), "flow", width=110),
        Field(("depth",), "depth", width=100),
        _SUPPLY_KIND,
    ],
    "beds": [
        Field(("loop",), "loop", "choice", "loops"),
        Field(("kind",), "kind", "choice", ("raft", "media", "tower", "wicking")),
        Field(("area",), "area", width=110),
        Field(("depth",), "depth", width=100),
        Field(("flow",), "flow", width=110),
        Field(("media_size",), "media size", width=110),
        Field(("biofilter_started",), "film started", "date"),
        _SUPPLY_KIND,
    ],
    "biofilters": [
        Field(("loop",), "loop", "choice", "loops"),
        Field(("kind",), "kind", "choice", ("trickling", "submerged")),
        Field(("media_volume",), "media volume", width=120),
        Field(("specific_surface",), "specific surface", width=140),
        Field(("flow",), "flow", width=110),
        Field(("biofilter_started",), "film started", "date"),
        _SUPPLY_KIND,
    ],
    "settlers": [
        Field(("loop",), "loop", "choice", "loops"),
        Field(("kind",), "kind", "choice", ("swirl", "radial_flow", "settling_basin", "swirl_and_netting"), 180),
        Field(("share_of_flow",), "share of flow", "number", width=110),
        Field(("capture",), "capture", "number", width=100),
        Field(("drawn_off",), "drawn off", width=110),
        Field(("emptied_every_days",), "emptied every (days)", "whole"),
        Field(("feeds",), "feeds", "choice", "beds"),
    ],
    "loops": [
        Field(("sump",), "sump", width=110),
        Field(("ph",), "pH", "number", width=90),
        Field(("alkalinity_target",), "alkalinity target"),
        Field(("buffer",), "buffer", "choice", ("", *get_args(BufferSalt)), 200),
        Field(("source_water", "alkalinity"), "source alkalinity"),
        Field(("evaporation",), "evaporation", width=110),
        Field(("biofilter_started",), "biofilter started", "date"),
        _SUPPLY_KIND,
        Field(("water_temperature",), "temperature", "table", tuple(_TABLE_STARTS["water_temperature"])),
    ],
    "season": [Field(("start",), "first day", "date"), Field(("end",), "last day", "date")],
    "site": [
        Field(("name",), "name", width=300),
        Field(("units",), "units shown", "choice", ("metric", "us")),
        Field(("elevation",), "elevation"),
        Field(("latitude",), "latitude", "number"),
        Field(("density_level",), "density level", "choice", ("cautious", "experienced")),
    ],
}
_PLANTING = [
    Field(("crop",), "crop", "choice", "crops"),
    Field(("from",), "from", "date"),
    Field(("to",), "to", "date"),
    Field(("area",), "area", width=110),
]
_EXTRA = {"oxygen_supply": _SUPPLY, "water_temperature": _WATER}
_EXTRA["ration"] = {"appetite": [Field(("ration", "fraction"), "of appetite", "number", width=100)]}


def row(raw: dict[str, Any], path: Path, faults: Sequence[str]) -> None:
    """One bordered row: all fields of a table of the file, its plantings, and the faults that name it."""
    table = str(path[0])
    entry = editing.value_at(raw, path)
    entry = entry if isinstance(entry, dict) else {}
    with st.container(border=True):
        with st.container(horizontal=True, vertical_alignment="bottom"):
            if len(path) == 2:
                _name(table, str(path[1]))
            for field in FORMS[table]:
                _field(raw, (*path, *field.path), field)
                kinds = _EXTRA.get(str(field.path[0]), {}) if field.kind == "table" else {}
                for more in kinds.get(str(editing.value_at(entry, (*field.path, "kind"))), []):
                    _field(raw, (*path, *more.path), more)
            if len(path) == 2:
                act = editing.remove_entry
                _button("Remove", path, lambda text: act(text, table, str(path[1])), f"remove {path[1]}")
        if table == "cohorts":
            _evidence(entry.get("species"))
        if table == "beds":
            _plantings(raw, path, entry)
        place = ".".join(str(step) for step in path)
        for fault in faults:
            if f"{place}." in fault or f"{place}:" in fault:
                st.html(markup.fault_html(fault))


def add_button(table: str, raw: dict[str, Any]) -> None:
    """Button that adds a row with values to start from."""
    stem = table[:-1]
    loop = next(iter(raw.get("loops") or {"main": None}))
    starts: dict[str, dict[str, Any]] = {
        "loops": {"sump": "1000 L", "water_temperature": _TABLE_STARTS["water_temperature"]["constant"]},
        "tanks": {"loop": loop, "volume": "1000 L", "flow": "1500 L/h"},
        "beds": {"loop": loop, "kind": "raft", "area": "4 m2"},
        "biofilters": {
            "loop": loop,
            "kind": "trickling",
            "media_volume": "50 L",
            "specific_surface": "200 m2/m3",
            "flow": "500 L/h",
        },
        "settlers": {"loop": loop, "kind": "radial_flow"},
        "cohorts": {
            "species": "yellow_perch",
            "tank": next(iter(raw.get("tanks") or {"cedar": None})),
            "count": 20,
            "mean_weight": "50 g",
            "feed": "perch_45",
        },
    }
    name = editing.free_name(st.session_state.site_text, table, stem)
    _button(f"Add a {stem}", (table,), lambda text: editing.add_entry(text, table, name, starts[table]), f"add {stem}")


def _plantings(raw: dict[str, Any], path: Path, entry: dict[str, Any]) -> None:
    plantings = entry.get("plantings")
    count = len(plantings) if isinstance(plantings, list) else 0
    for number in range(count):
        with st.container(horizontal=True, vertical_alignment="bottom"):
            here: Path = (*path, "plantings", number)
            for field in _PLANTING:
                _field(raw, (*here, *field.path), field)
            _button("Remove", here, partial(editing.put, path=here, value=None), f"remove planting {number}")
    found = raw.get("season")
    season = found if isinstance(found, dict) else {}
    start = {"crop": "lettuce", "from": season.get("start", ""), "to": season.get("end", "")}
    add = (*path, "plantings")
    _button("Add a planting", add, lambda text: editing.append(text, add, start), "add planting")


def _key(path: Path, more: str = "") -> str:
    return f"field {st.session_state.site_turn} {'.'.join(str(step) for step in path)} {more}".rstrip()


def _field(raw: dict[str, Any], path: Path, field: Field) -> None:
    key, value = _key(path), editing.value_at(raw, path)
    if field.kind == "yes":
        _seed(key, value is True)
        st.checkbox(field.label, key=key, on_change=_change, args=(key, path, "yes"))
        return
    if field.kind in ("choice", "table"):
        now = editing.value_at(value, ("kind",)) if field.kind == "table" else value
        shown = editing.as_typed(now)
        choices = _choices(field.choices, raw)
        # a value that is not among the choices stays to be seen and mended
        _seed(key, shown)
        options = list(dict.fromkeys([*choices, shown, st.session_state[key]]))
        st.selectbox(
            field.label, options, key=key, on_change=_change, args=(key, path, field.kind), width=field.width,
            format_func=lambda option: option or "(not given)",
        )  # fmt: skip
        return
    if field.kind == "whole" and isinstance(value, int) and not isinstance(value, bool) and value >= 0:
        _seed(key + " n", value)
        st.number_input(
            field.label, min_value=0, step=1, key=key + " n", on_change=_change, args=(key + " n", path, "count"),
            width=field.width,
        )  # fmt: skip
        return
    _seed(key, editing.as_typed(value))
    st.text_input(field.label, key=key, on_change=_change, args=(key, path, field.kind), width=field.width)


def _seed(key: str, value: Any) -> None:
    if key not in st.session_state:
        st.session_state[key] = value


def _choices(choices: tuple[str, ...] | str, raw: dict[str, Any]) -> Iterable[str]:
    if not isinstance(choices, str):
        return choices
    if choices in ("loops", "tanks"):
        return list(raw.get(choices) or {})
    if choices == "beds":
        return [
            "",
            *(name for name, bed in (raw.get("beds") or {}).items() if editing.value_at(bed, ("kind",)) == "wicking"),
        ]
    return {"species": species_names, "feeds": feed_names, "crops": crop_names}[choices]()


def _change(key: str, path: Path, kind: str) -> None:
    """Write what a field holds into the text."""
    typed = st.session_state[key]
    if kind == "table":
        value: Any = _TABLE_STARTS[str(path[-1])].get(typed)
    elif kind == "yes":
        value = True if typed else None
    elif kind in ("choice", "count"):
        value = typed if typed != "" else None
    else:
        value = editing.from_typed(typed, kind)
    _apply(lambda text: editing.put(text, path, value), is_new_form=False)


def _name(table: str, name: str) -> None:
    key = _key((table, name), "name")
    _seed(key, name)

    def rename() -> None:
        new = st.session_state[key]
        _apply(lambda text: editing.rename_entry(text, table, name, new), is_new_form=True)

    st.text_input("name", key=key, on_change=rename, width=150)


def _button(label: str, path: Path, act: Callable[[str], str], what: str) -> None:
    st.button(label, key=_key(path, what), on_click=_apply, args=(act, True), help=what)


def _apply(act: Callable[[str], str], is_new_form: bool) -> None:
    try:
        text = act(st.session_state.site_text)
    except InputError as error:
        st.session_state.site_notes = [str(fault) for fault in error.faults]
        return
    st.session_state.site_notes = []
    screen.change_text(text, is_new_form)


def _evidence(species: Any) -> None:
    if species in species_names():
        entry = load_species(str(species))
        st.caption(f"{entry.title}: evidence {entry.evidence}. {entry.summary}")
