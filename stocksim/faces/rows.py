"""Forms of the site's tables on the edit page: a row for each entry, with what belongs to it.

Apart from `edit_page`, which chooses among them, for their length.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from functools import partial
from pathlib import Path as Folder
from typing import Any

import streamlit as st

from stocksim.engine.results.frames import Season
from stocksim.errors import ParameterError
from stocksim.faces import editing, fields, forms, guard, keeping, markup, model_forms, screen
from stocksim.faces import forms as refusals
from stocksim.faces.fates import events_by_number
from stocksim.faces.forms import Field, Path
from stocksim.faces.words import day_words
from stocksim.library.species import load_species, species_names
from stocksim.site.kinds import EVENT_KINDS, REMOVALS
from stocksim.site.pump_tables import MAINS
from stocksim.site.quantities import is_day


def row(raw: dict[str, Any], path: Path, words: str = "") -> None:
    """One bordered row: all fields of a table of the file, what belongs to it, and the faults that name it."""
    table = str(path[0])
    entry = editing.value_at(raw, path)
    entry = entry if isinstance(entry, dict) else {}
    is_event = table == "events"
    plain, inside = fields.parted([] if is_event else model_forms.form_of(table, entry.get("kind")))
    with st.container(border=True):
        with st.container(horizontal=True, vertical_alignment="bottom"):
            if is_event:
                _event(raw, path, entry)
            elif len(path) == 2:
                fields.name_field(table, str(path[1]))
            for field in plain:
                fields.with_kind(raw, path, entry, field)
            if table == "cohorts":
                _more(raw, path, entry)
            _remove(raw, path)
        if editing.value_at(entry, ("ration", "kind")) == "table":
            _ration_table(raw, path, entry)
        if words:
            st.html(markup.caption_html(words))
        if table == "cohorts":
            _evidence(entry.get("species"))
        if table == "beds":
            _plantings(raw, path, entry)
        fields.folded(raw, path, inside)
        for fault in refusals.take_rest(f"events[{int(path[1]) + 1}]" if is_event else ".".join(map(str, path))):
            st.html(markup.fault_html(fault))


def _remove(raw: dict[str, Any], path: Path) -> None:
    """The button that removes a row."""
    table = str(path[0])
    if table == "events":
        number = int(path[1])
        fields.button("Remove", path, lambda text: editing.remove_item(text, table, number), "remove event")
    elif len(path) == 2:
        act = partial(fields.removed, table=table, name=str(path[1]))
        fields.button("Remove", path, act, f"remove {path[1]}")
    elif table not in ("site", "season"):
        fields.button("Remove", path, partial(editing.put, path=path, value=None), f"remove {table}")


def _more(raw: dict[str, Any], path: Path, entry: dict[str, Any]) -> None:
    """What few cohorts need, one step away."""
    with st.popover("More"):
        for field in forms.FORMS["cohorts, more"]:
            fields.draw(raw, (*path, *field.path), field)
        _fed(raw, path, entry)


def _fed(raw: dict[str, Any], path: Path, entry: dict[str, Any]) -> None:
    """When a rule feeds and when not."""
    rule = entry.get("ration")
    if not isinstance(rule, dict) or rule.get("kind") == "unfed":
        return
    for field in forms.FED:
        fields.draw(raw, (*path, *field.path), field)
    here = (*path, "ration", "cold_rules")
    fields.listed(raw, here, forms.COLD_RULE, {"below": "12 degC", "feed_every_days": 2}, "cold rule")


def _ration_table(raw: dict[str, Any], path: Path, entry: dict[str, Any]) -> None:
    """Rows of a ration table, one more than there are where a temperature lacks its own."""
    here = (*path, "ration", "percent")
    temperatures = editing.value_at(entry, ("ration", "temperatures"))
    percent = editing.value_at(entry, ("ration", "percent"))
    if not isinstance(temperatures, list) or not isinstance(percent, list):
        return
    with st.container(horizontal=True, vertical_alignment="bottom"):
        for number in range(min(max(len(temperatures), len(percent)), len(percent) + 1)):
            at = temperatures[number] if number < len(temperatures) else "no temperature"
            words = markup.label(f"% at {at}", f"% in row {number + 1}")
            fields.draw(raw, (*here, number), Field((), words, "numbers", width=170))


def _event(raw: dict[str, Any], path: Path, entry: dict[str, Any]) -> None:
    kind = str(entry.get("kind"))
    key = fields.key_of((*path, "kind"))
    fields.seed(key, kind)

    def change() -> None:
        if fields.place_of(key, path, kind) is None:
            return
        new = st.session_state[key]
        keep = {"date", "cohort"} | ({*entry} - {"kind"} if {kind, new} <= set(REMOVALS) else set())
        start = forms.event_start(new, raw)
        is_same_form = {kind, new} <= set(REMOVALS)
        values = {"kind": new} if is_same_form else start
        fields.apply(lambda text: editing.switch(text, path, values, keep), is_new_form=True)

    kinds = list(dict.fromkeys([*forms.EVENTS, kind]))
    st.selectbox("what", kinds, key=key, on_change=guard.kept(change), width=120)
    fields.draw(raw, (*path, "date"), Field((), "date", "date"))
    fields.draw(raw, (*path, "cohort"), Field((), "batch", "choice", "cohorts", 160))
    for field in forms.EVENTS.get(kind, []):
        if field is not forms.WHICH:
            fields.with_kind(raw, path, entry, field)
    _event_amount(raw, path, entry, forms.AMOUNTS_OF.get(kind, ()))
    if kind in REMOVALS and "above" not in entry and not entry.get("all"):
        fields.draw(raw, (*path, "which"), forms.WHICH)
    if kind in EVENT_KINDS and EVENT_KINDS[kind].changes == "ration":
        with st.popover("More"):
            _fed(raw, path, entry)


def _event_amount(raw: dict[str, Any], path: Path, entry: dict[str, Any], names: Sequence[str]) -> None:
    """How much an event takes: the one key of several that says it, and its value."""
    if not names:
        return
    given = [name for name in names if entry.get(name) not in (None, False)]
    key, shown = fields.key_of(path, "amount"), given[0] if given else ""
    fields.seed(key, shown)

    def change() -> None:
        if fields.place_of(key, path, shown) is None:
            return
        new = st.session_state[key]
        dropped = {*names} - {new} | ({"which"} if new in ("above", "all") else set())
        values = {new: forms.AMOUNTS[new][3]} if new else {}
        fields.apply(lambda text: editing.switch(text, path, values, {*entry} - dropped), is_new_form=True)

    options = list(dict.fromkeys(["", *names] if not given else names))
    st.selectbox(
        "how many", options, key=key, on_change=guard.kept(change), width=170,
        format_func=lambda name: forms.AMOUNTS[name][0] if name else "(not given)",
    )  # fmt: skip
    for name in given:
        _, label, kind, _ = forms.AMOUNTS[name]
        if kind != "yes":
            fields.draw(raw, (*path, name), Field((), label, kind))


def events(raw: dict[str, Any], season: Season | None) -> None:
    """All events in date order, each with what it moved in the model, and a button that adds one."""
    held = raw.get("events")
    listed = held if isinstance(held, list) else []
    dates = [str(editing.value_at(event, ("date",))) for event in listed]
    outcomes = events_by_number(season) if season is not None else {}
    if not listed:
        st.markdown("Nothing happens to the fish yet but growing. Harvest, thin, grade, move or stock on a date:")
    for number in sorted(range(len(listed)), key=lambda at: dates[at]):
        row(raw, ("events", number), outcomes.get(number + 1, ""))
    cohort = next(iter(editing.entries(raw, "cohorts")), "fish")
    start = {"kind": "harvest", "date": editing.value_at(raw, ("season", "end")) or "", "cohort": cohort, "count": 1}
    fields.button("Add an event", ("events",), lambda text: editing.append(text, ("events",), start), "add event")


def weather(raw: dict[str, Any]) -> None:
    """Weather: by months, by a file, or not at all; and an upload of a file."""
    kinds = tuple(forms.TABLE_STARTS["weather"])
    with st.container(horizontal=True, vertical_alignment="bottom"):
        fields.draw(raw, ("weather",), Field((), "weather by", "table", kinds, 170))
    if not keeping.is_read_only():
        st.file_uploader(
            "or upload a year of weather: an EPW file (.epw), or a CSV with date, low_c and high_c",
            type=["epw", "csv"],
            key="weather_upload",
            on_change=guard.kept(_receive_weather),
        )
    if isinstance(raw.get("weather"), dict):
        row(raw, ("weather",))
    else:
        st.html(markup.caption_html("Without weather no water is computed, and the page Cold months has no answer."))


def _receive_weather() -> None:
    given = st.session_state.weather_upload
    if given is not None:
        screen.receive_weather(given)


def one_table(raw: dict[str, Any], table: str) -> None:
    """A table that a site has once or not at all: its row, or a button that adds it."""
    if isinstance(raw.get(table), dict):
        row(raw, (table,))
        return
    start, what = forms.start_of(table, raw), table.replace("_", " ")
    st.html(markup.caption_html(_WITHOUT[table]))
    fields.button(f"Add {what}", (table,), partial(editing.add_table, path=(table,), values=start), f"add {what}")


_WITHOUT = {
    "greenhouse": "No greenhouse in the file: nothing is computed of its air and heat.",
    "fish_room": "No fish room in the file: a closed, insulated room that holds tanks.",
    "stocking": "No wishes in the file: a stocking plan chooses among the fish that are there.",
    "advice": "No wishes in the file: advice keeps a tenth of each limit free, and leaves nothing out.",
}


def dated(raw: dict[str, Any]) -> list[dict[str, str]]:
    """All that has a date in a site file, in order: the keeper's calendar.

    Examples
    --------
    >>> day = dt.date(2027, 3, 20)
    >>> dated({"events": [{"kind": "thin", "date": day, "cohort": "perch", "count": 4}]})
    [{'date': '20 Mar 2027', 'what': 'thin', 'of': 'perch', 'how': '4'}]
    """
    found: list[tuple[dt.date, str, str, str]] = []

    def add(day: Any, what: str, of: str, how: Any = "") -> None:
        if is_day(day):
            found.append((day, what, of, "" if isinstance(how, dict | list) else editing.as_typed(how)))

    add(editing.value_at(raw, ("season", "start")), "season begins", "")
    add(editing.value_at(raw, ("season", "end")), "season ends", "")
    held = raw.get("events")
    for event in held if isinstance(held, list) else []:
        if isinstance(event, dict):
            amounts = ("count", "weight", "share", "above", "tank", "feed", "largest_share", "mean_weight")
            how = next((event[key] for key in amounts if key in event), "")
            add(event.get("date"), str(event.get("kind")), str(event.get("cohort")), how)
    for name, cohort in editing.entries(raw, "cohorts").items():
        add(editing.value_at(cohort, ("stocked",)), "stocked", name, editing.value_at(cohort, ("count",)))
    for name, loop in editing.entries(raw, "loops").items():
        for key, what, how in (("water_tests", "water test", "ph"), ("water_changes", "water change", "volume")):
            for one in _tables(editing.value_at(loop, (key,))):
                add(one.get("date"), what, name, one.get(how))
        for one in _tables(editing.value_at(loop, ("feeding_ramp",))):
            add(one.get("from"), "feeding step", name, one.get("share"))
    for name, bed in editing.entries(raw, "beds").items():
        for one in _tables(editing.value_at(bed, ("plantings",))):
            add(one.get("from"), "planted", name, one.get("crop"))
            add(one.get("to"), "last day", name, one.get("crop"))
    return [{"date": day_words(d), "what": what, "of": of, "how": how} for d, what, of, how in sorted(found)]


def _tables(held: Any) -> list[dict[str, Any]]:
    return [one for one in held if isinstance(one, dict)] if isinstance(held, list) else []


def add_button(table: str, raw: dict[str, Any]) -> None:
    """Button that adds a row with values to start from."""
    stem = table[:-1]
    loop = next(iter(editing.entries(raw, "loops")), "main")
    starts: dict[str, dict[str, Any]] = {
        "loops": {"sump": "1000 L", "water_temperature": forms.TABLE_STARTS["water_temperature"]["constant"]},
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
        "pumps": {
            "feeds": [next(iter(editing.entries(raw, "tanks")), "cedar")],
            "power": "60 W",
            "lift": "1.5 m",
        },
        "backups": {
            "kind": "generator",
            "carries": [MAINS],
            "power": "3 kW",
            "fuel_volume": "15 L",
            "burns": "1.2 L/h",
        },
        "cohorts": {
            "species": "yellow_perch",
            "tank": next(iter(editing.entries(raw, "tanks")), "cedar"),
            "count": 20,
            "mean_weight": "50 g",
            "feed": "perch_45",
        },
    }
    name = editing.free_name(st.session_state.site_text, table, stem)
    fields.button(
        f"Add a {stem}", (table,), lambda text: editing.add_entry(text, table, name, starts[table]), f"add {stem}"
    )


def _plantings(raw: dict[str, Any], path: Path, entry: dict[str, Any]) -> None:
    season = editing.entries(raw, "season")
    start = {"crop": "lettuce", "from": season.get("start", ""), "to": season.get("end", "")}
    fields.listed(raw, (*path, "plantings"), model_forms.planting(), start, "planting")


def _evidence(species: Any) -> None:
    folder = Folder(st.session_state.site_folder)
    if species not in species_names(folder):
        return
    try:
        entry = load_species(str(species), folder)
    except ParameterError as error:
        st.html(markup.faults_html([str(fault) for fault in error.faults]))
        return
    st.html(markup.caption_html(f"{entry.title}: evidence {entry.evidence}. {entry.summary}"))
