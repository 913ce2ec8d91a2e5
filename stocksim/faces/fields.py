"""Fields of the edit page, and the newest of what was typed.

Apart from `edit_page` for its length.
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path as Folder
from typing import Any

import streamlit as st

from stocksim.engine.results.frames import Season
from stocksim.errors import InputError, ParameterError
from stocksim.faces import editing, forms, guard, markup, screen
from stocksim.faces import forms as refusals
from stocksim.faces.fates import events_by_number
from stocksim.faces.forms import Field, Path
from stocksim.library.crops import crop_names
from stocksim.library.feeds import feed_names
from stocksim.library.species import load_species, species_names
from stocksim.site.bed_kinds import BED_KINDS, BIOFILTER_KINDS, solids_fed_kinds
from stocksim.site.kinds import EVENT_KINDS, REMOVALS
from stocksim.site.pump_tables import MAINS
from stocksim.water.solids import SETTLERS


def download(label: str) -> None:
    """A button that downloads the session's text of the site, as it is once the field that was left has been taken."""
    if st.button(label, key="download_latest"):
        state = st.session_state
        state.downloads = state.get("downloads", 0) + 1  # an element that changes nothing would not run again
        st.html(_script(state.site_text, state.site_name, state.downloads), unsafe_allow_javascript=True)


def _script(text: str, name: str, number: int) -> str:
    """Script that saves a text as a file; of text and name it holds nothing but letters of base64."""
    held, called = (base64.b64encode(part.encode("utf-8", "surrogateescape")).decode() for part in (text, name))
    return f"""<script>(() => {{
  const bytes = held => Uint8Array.from(atob(held), sign => sign.charCodeAt(0));
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([bytes("{held}")], {{type: "application/toml"}}));
  link.download = new TextDecoder().decode(bytes("{called}"));
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);  // download {number}
}})()</script>"""


# --- the fields of the edit page: plain ones, each bound to one place of the site file's text

_ROWS = ("loops", "tanks", "beds", "biofilters", "settlers", "pumps", "backups", "cohorts", "events")


def row(raw: dict[str, Any], path: Path, faults: Sequence[str], words: str = "") -> None:
    """One bordered row: all fields of a table of the file, what belongs to it, and the faults that name it."""
    table = str(path[0])
    entry = editing.value_at(raw, path)
    entry = entry if isinstance(entry, dict) else {}
    is_event = table == "events"
    with st.container(border=True):
        with st.container(horizontal=True, vertical_alignment="bottom"):
            if is_event:
                _event(raw, path, entry)
            elif len(path) == 2:
                _name(table, str(path[1]))
            for field in [] if is_event else forms.FORMS[table]:
                _with_kind(raw, path, entry, field)
            if table == "cohorts":
                _more(raw, path, entry)
            if is_event:
                _button("Remove", path, lambda text: editing.remove_item(text, table, int(path[1])), "remove event")
            elif len(path) == 2:
                _button("Remove", path, partial(_removed, table=table, name=str(path[1])), f"remove {path[1]}")
        if editing.value_at(entry, ("ration", "kind")) == "table":
            _ration_table(raw, path, entry)
        if words:
            st.html(markup.caption_html(words))
        if table == "cohorts":
            _evidence(entry.get("species"))
        if table == "beds":
            _plantings(raw, path, entry)
        place = f"events[{int(path[1]) + 1}]" if is_event else ".".join(str(step) for step in path)
        for fault in faults:
            if f"{place}." in fault or f"{place}:" in fault:
                st.html(markup.fault_html(fault))
        for fault in refusals.of_row(path):
            st.html(markup.fault_html(fault))


def _with_kind(raw: dict[str, Any], path: Path, entry: dict[str, Any], field: Field) -> None:
    """A field, and those that its table's kind brings."""
    _field(raw, (*path, *field.path), field)
    kinds = forms.EXTRA.get(str(field.path[0]), {}) if field.kind == "table" else {}
    for more in kinds.get(str(editing.value_at(entry, (*field.path, "kind"))), []):
        _field(raw, (*path, *more.path), more)


def _more(raw: dict[str, Any], path: Path, entry: dict[str, Any]) -> None:
    """What few cohorts need, one step away."""
    with st.popover("More"):
        for field in forms.FORMS["cohorts, more"]:
            _field(raw, (*path, *field.path), field)
        _fed(raw, path, entry)


def _fed(raw: dict[str, Any], path: Path, entry: dict[str, Any]) -> None:
    """When a rule feeds and when not."""
    rule = entry.get("ration")
    if not isinstance(rule, dict) or rule.get("kind") == "unfed":
        return
    for field in forms.FED:
        _field(raw, (*path, *field.path), field)
    here = (*path, "ration", "cold_rules")
    _list(raw, here, forms.COLD_RULE, {"below": "12 degC", "feed_every_days": 2}, "cold rule")


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
            _field(raw, (*here, number), Field((), words, "numbers", width=170))


def _event(raw: dict[str, Any], path: Path, entry: dict[str, Any]) -> None:
    kind = str(entry.get("kind"))
    key = _key((*path, "kind"))
    _seed(key, kind)

    def change() -> None:
        if _place_of(key, path, kind) is None:
            return
        new = st.session_state[key]
        keep = {"date", "cohort"} | ({*entry} - {"kind"} if {kind, new} <= set(REMOVALS) else set())
        start = forms.event_start(new, raw)
        is_same_form = {kind, new} <= set(REMOVALS)
        values = {"kind": new} if is_same_form else start
        _apply(lambda text: editing.switch(text, path, values, keep), is_new_form=True)

    kinds = list(dict.fromkeys([*forms.EVENTS, kind]))
    st.selectbox("what", kinds, key=key, on_change=guard.kept(change), width=120)
    _field(raw, (*path, "date"), Field((), "date", "date"))
    _field(raw, (*path, "cohort"), Field((), "batch", "choice", "cohorts", 160))
    for field in forms.EVENTS.get(kind, []):
        if field is not forms.WHICH:
            _with_kind(raw, path, entry, field)
    _event_amount(raw, path, entry, forms.AMOUNTS_OF.get(kind, ()))
    if kind in REMOVALS and "above" not in entry and not entry.get("all"):
        _field(raw, (*path, "which"), forms.WHICH)
    if kind in EVENT_KINDS and EVENT_KINDS[kind].changes == "ration":
        with st.popover("More"):
            _fed(raw, path, entry)


def _event_amount(raw: dict[str, Any], path: Path, entry: dict[str, Any], names: Sequence[str]) -> None:
    """How much an event takes: the one key of several that says it, and its value."""
    if not names:
        return
    given = [name for name in names if entry.get(name) not in (None, False)]
    key, shown = _key(path, "amount"), given[0] if given else ""
    _seed(key, shown)

    def change() -> None:
        if _place_of(key, path, shown) is None:
            return
        new = st.session_state[key]
        dropped = {*names} - {new} | ({"which"} if new in ("above", "all") else set())
        values = {new: forms.AMOUNTS[new][3]} if new else {}
        _apply(lambda text: editing.switch(text, path, values, {*entry} - dropped), is_new_form=True)

    options = list(dict.fromkeys(["", *names] if not given else names))
    st.selectbox(
        "how many", options, key=key, on_change=guard.kept(change), width=170,
        format_func=lambda name: forms.AMOUNTS[name][0] if name else "(not given)",
    )  # fmt: skip
    for name in given:
        _, label, kind, _ = forms.AMOUNTS[name]
        if kind != "yes":
            _field(raw, (*path, name), Field((), label, kind))


def events(raw: dict[str, Any], faults: Sequence[str], season: Season | None) -> None:
    """All events in date order, each with what it moved in the model, and a button that adds one."""
    held = raw.get("events")
    listed = held if isinstance(held, list) else []
    dates = [str(editing.value_at(event, ("date",))) for event in listed]
    outcomes = events_by_number(season) if season is not None else {}
    if not listed:
        st.markdown("Nothing happens to the fish yet but growing. Harvest, thin, grade, move or stock on a date:")
    for number in sorted(range(len(listed)), key=lambda at: dates[at]):
        row(raw, ("events", number), faults, outcomes.get(number + 1, ""))
    cohort = next(iter(editing.entries(raw, "cohorts")), "fish")
    start = {"kind": "harvest", "date": editing.value_at(raw, ("season", "end")) or "", "cohort": cohort, "count": 1}
    _button("Add an event", ("events",), lambda text: editing.append(text, ("events",), start), "add event")


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
    _button(f"Add a {stem}", (table,), lambda text: editing.add_entry(text, table, name, starts[table]), f"add {stem}")


def _plantings(raw: dict[str, Any], path: Path, entry: dict[str, Any]) -> None:
    season = editing.entries(raw, "season")
    start = {"crop": "lettuce", "from": season.get("start", ""), "to": season.get("end", "")}
    _list(raw, (*path, "plantings"), forms.PLANTING, start, "planting")


def _list(raw: dict[str, Any], path: Path, form: Sequence[Field], start: dict[str, Any], what: str) -> None:
    """Rows of a list of small tables, each with a button that removes it, and one that adds."""
    held = editing.value_at(raw, path)
    for number in range(len(held) if isinstance(held, list) else 0):
        with st.container(horizontal=True, vertical_alignment="bottom"):
            here: Path = (*path, number)
            for field in form:
                _field(raw, (*here, *field.path), field)
            _button("Remove", here, partial(editing.put, path=here, value=None), f"remove {what} {number}")
    _button(f"Add a {what}", path, lambda text: editing.append(text, path, start), f"add {what}")


def _key(path: Path, more: str = "") -> str:
    if len(path) > 1:
        path = (path[0], _names().get(path[:2], path[1]), *path[2:])
    return f"field {st.session_state.site_turn} {'.'.join(str(step) for step in path)} {more}".rstrip()


def _names() -> dict[Path, str]:
    """Names that rows had when their fields were first drawn: these stay theirs, for what is typed in other fields of a
    row while its new name is taken must find them again."""
    state = st.session_state
    if state.get("edit_names_of") != state.site_turn:
        state.edit_names_of, state.edit_names = state.site_turn, {}
    names: dict[Path, str] = state.edit_names
    return names


def keep_names(raw: dict[str, Any]) -> None:
    """Forget the names that rows had at first where a row that came since has one of them."""
    names = _names()
    for table in {str(table) for table, _ in names}:
        first = [names.get((table, name), name) for name in editing.entries(raw, table)]
        if len(set(first)) < len(first):
            names.clear()
            return


def _field(raw: dict[str, Any], path: Path, field: Field) -> None:
    key, value = _key(path), editing.value_at(raw, path)

    def bound(shown: Any) -> dict[str, Any]:
        _seed(key, shown)
        return {"key": key, "on_change": guard.kept(_change), "args": (key, path, field.kind, shown)}

    if field.kind == "yes":
        st.checkbox(field.label, **bound(value is True))
        return
    if field.kind == "several":
        chosen = [entry for entry in value if entry in field.choices] if isinstance(value, list) else []
        st.multiselect(field.label, field.choices, width=field.width, **bound(chosen))
        return
    if field.kind == "shares" and isinstance(value, dict):
        _shares(raw, path, field, value)
        return
    if field.kind in ("choice", "table", "shares"):
        now = editing.value_at(value, ("kind",)) if field.kind == "table" else value
        shown = editing.as_typed(now)
        # a value that is not among the choices stays to be seen and mended
        options = list(dict.fromkeys([*_choices(field.choices, raw), shown]))
        st.selectbox(
            field.label, options, width=field.width, format_func=lambda option: option or "(not given)", **bound(shown)
        )
        known = list(_choices(field.choices, raw))
        if field.kind == "shares" and shown in known and len(known) > 1:
            _button("Two feeds", path, partial(_put_feeds, path=path, options=known), "add a second feed")
        return
    st.text_input(field.label, width=field.width, **bound(refusals.typed(path, editing.as_typed(value))))


def _shares(raw: dict[str, Any], path: Path, field: Field, held: dict[str, Any]) -> None:
    """Several feeds in the place of one: each with its share of what is weighed out."""
    known = list(_choices(field.choices, raw))
    for name in held:
        key = _key((*path, name), "name of feed")
        _seed(key, name)
        options = [name, *(other for other in known if other not in held)]

        def rename(key: str = key, name: str = name) -> None:
            place, new = _place_of(key, path, name), st.session_state[key]
            now = None if place is None else editing.value_at(editing.tables(st.session_state.site_text), place)
            if place is not None and isinstance(now, dict):
                _apply(partial(editing.put, path=place, value=forms.with_other_name(now, name, new)), is_new_form=True)

        st.selectbox("feed", options, key=key, on_change=guard.kept(rename), width=field.width)
        _field(raw, (*path, name), Field((), "share", "number", width=90))
        _button("Remove", path, partial(_put_feeds, path=path, gone=name), f"remove {name}")
    if len(held) < len(known):
        _button("Add a feed", path, partial(_put_feeds, path=path, options=known), "add a feed")


def _put_feeds(text: str, path: Path, options: Sequence[str] = (), gone: str = "") -> str:
    """Text with one feed fewer or one more, the first of the options that is not there."""
    held = editing.value_at(editing.tables(text), path)
    if gone:
        return editing.put(text, path, forms.without(held, gone))
    there = held if isinstance(held, dict) else {held}
    return editing.put(text, path, forms.with_another(held, next(name for name in options if name not in there)))


def _seed(key: str, value: Any) -> None:
    """Let a widget show what the site's text has, in every run: a run cut short by a change of page leaves keys behind
    whose widgets would then be drawn empty, and be written over the site by the next click."""
    st.session_state[key] = value


_KINDS: dict[str, Mapping[str, object]] = {
    "bed kinds": BED_KINDS, "biofilter kinds": BIOFILTER_KINDS, "settler kinds": SETTLERS,
}  # fmt: skip


def _choices(choices: tuple[str, ...] | str, raw: dict[str, Any]) -> Iterable[str]:
    if not isinstance(choices, str):
        return choices
    if choices in _KINDS:
        return tuple(_KINDS[choices])
    if choices in ("loops", "tanks"):
        return list(editing.entries(raw, choices))
    if choices == "cohorts":
        return [*editing.entries(raw, choices), *forms.graded_names(raw)]
    if choices == "beds":
        beds, fed = editing.entries(raw, "beds").items(), solids_fed_kinds()
        return ["", *(name for name, bed in beds if editing.value_at(bed, ("kind",)) in fed)]
    names = {"species": species_names, "feeds": feed_names, "crops": crop_names}[choices]
    return names(Folder(st.session_state.site_folder))


def _place_of(key: str, path: Path, shown: Any) -> Path | None:
    """Where an entry goes; None where it is none.

    A form that has just given way to another, as by *Undo*, may send its fields once more, all of them, when a click
    crosses what the run still draws. They hold what they were drawn with, and must not bring back what was undone.
    """
    state = st.session_state
    turn = f"field {state.site_turn} "
    if not key.startswith(turn) and state[key] == shown:
        return None
    raw = editing.tables(state.site_text)
    if raw is None or path[0] not in _ROWS or editing.value_at(raw, path[:2]) is not None:
        return path
    # its row has another name now, or is gone
    for (table, name), first in _names().items():
        if table == path[0] and key.startswith(f"{turn}{table}.{first}.") and name in editing.entries(raw, table):
            return (table, name, *path[2:])
    return None


def _change(key: str, path: Path, kind: str, shown: Any) -> None:
    """Write what a field holds into the text."""
    place = _place_of(key, path, shown)
    if place is None:
        return
    path, typed = place, st.session_state[key]
    if kind == "table":
        start = forms.TABLE_STARTS[str(path[-1])].get(typed)
        if start is None:
            _apply(lambda text: editing.put(text, path, None), is_new_form=False)
        else:
            _apply(partial(_switched, path=path, kind=typed, start=start), is_new_form=False)
        return
    if kind == "several":
        value: Any = list(typed) or None
    elif kind == "yes":
        value = True if typed else None
    elif kind in ("choice", "shares"):
        value = typed if typed != "" else None
    else:
        value = editing.from_typed(typed, kind)
    if path[0] == "events" and path[-1] == "into" and isinstance(value, str):
        act: Callable[[str], str] = partial(editing.rename_graded, number=int(path[1]), new=value)
    else:
        act = partial(editing.put, path=path, value=value)
    _apply(act, is_new_form=False, place=path, typed=typed if isinstance(typed, str) else "")


def _switched(text: str, path: Path, kind: str, start: dict[str, Any]) -> str:
    """Text with a table of another kind: as the keeper last had that kind here, or as it starts."""
    keep = forms.kept_keys(str(path[-1]), kind)
    if path[0] == "events":
        return editing.switch(text, path, start, keep)
    memory: editing.Kinds = st.session_state.setdefault("edit_kinds", {})
    new, st.session_state.edit_kinds = editing.switch_kind(text, path, kind, start, keep, memory)
    return new


def _name(table: str, name: str) -> None:
    path: Path = (table, name)
    key, shown = _key(path, "name"), refusals.typed((*path, "name of it"), name)
    _seed(key, shown)

    def rename() -> None:
        place = _place_of(key, path, shown)
        if place is None:
            return
        new = st.session_state[key]
        _apply(partial(_renamed, table=table, old=str(place[1]), new=new), False, (*place, "name of it"), new)

    st.text_input("name", key=key, on_change=guard.kept(rename), width=150)


def _renamed(text: str, table: str, old: str, new: str) -> str:
    renamed = editing.rename_entry(text, table, old, new)
    names = _names()
    names[table, new.strip()] = names.pop((table, old), old)
    kinds = st.session_state.get("edit_kinds", {})
    st.session_state.edit_kinds = {
        ((table, new.strip(), *path[2:]) if path[:2] == (table, old) else path, kind): was
        for (path, kind), was in kinds.items()
    }
    return renamed


def _removed(text: str, table: str, name: str) -> str:
    kinds = st.session_state.get("edit_kinds", {})
    st.session_state.edit_kinds = {key: was for key, was in kinds.items() if key[0][:2] != (table, name)}
    return editing.remove_entry(text, table, name)


def _button(label: str, path: Path, act: Callable[[str], str], what: str) -> None:
    help_words = markup.label(what, "remove this row")
    st.button(label, key=_key(path, what), on_click=guard.kept(_apply), args=(act, True), help=help_words)


def _apply(act: Callable[[str], str], is_new_form: bool, place: Path = (), typed: str = "") -> None:
    """Change the text; what was typed at a place and is refused stays to be seen there, with the reason."""
    try:
        text = act(st.session_state.site_text)
    except InputError as error:
        sentences = [str(fault) for fault in error.faults]
        if place:
            refusals.keep(place, typed, sentences)
        else:
            st.session_state.site_notes = sentences
        return
    st.session_state.site_notes = []
    refusals.drop(place)
    screen.change_text(text, is_new_form)


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
