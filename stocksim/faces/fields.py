"""Fields of the edit page, each bound to one place of the site file's text, and the newest of what was typed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path as Folder
from typing import Any

import streamlit as st

from stocksim.errors import InputError
from stocksim.faces import care, editing, forms, guard, markup, model_forms, renaming, screen
from stocksim.faces import forms as refusals
from stocksim.faces.forms import Field, Path
from stocksim.library.crops import crop_names
from stocksim.library.feeds import feed_names
from stocksim.library.species import species_names
from stocksim.site.bed_kinds import BED_KINDS, BIOFILTER_KINDS, solids_fed_kinds
from stocksim.site.quantities import ALLOWED_DAYS, MONTHS, is_day
from stocksim.water.solids import SETTLERS

_ROWS = ("loops", "tanks", "beds", "biofilters", "settlers", "pumps", "backups", "cohorts", "events")


def parted(form: Sequence[Field]) -> tuple[list[Field], list[Field]]:
    """Fields of a form that stand in one line, and those that hold fields of their own."""
    inside = [field for field in form if field.kind in model_forms.NESTED]
    return [field for field in form if field not in inside], inside


def folded(raw: dict[str, Any], path: Path, fields: Sequence[Field]) -> None:
    """What holds fields of its own: open where it has a fault."""
    for field in fields:
        here = (*path, *field.path)
        held = editing.value_at(raw, here)
        more = f": {len(held)}" if isinstance(held, list | dict) and held and field.kind != "group" else ""
        with st.expander(f"{field.label}{more}", expanded=refusals.has_fault(here)):
            draw(raw, here, field)


def _nested(raw: dict[str, Any], path: Path, field: Field) -> None:
    """What holds fields of its own: a table, a list of tables, tables by name, or a value for each month or name."""
    key, held = str(path[-1]), editing.value_at(raw, path)
    for fault in refusals.take_faults(path):
        st.html(markup.fault_html(fault))
    if field.kind == "rows":
        listed(raw, path, field.form, forms.start_of(key, raw), forms.ONE_OF.get(key, field.label.removesuffix("s")))
    elif field.kind == "group":
        _group(raw, path, field)
    elif field.kind == "entries":
        _entries(raw, path, field)
    else:
        names = MONTHS if field.kind == "months" else _named_in(raw, held)
        with st.container(horizontal=True, vertical_alignment="bottom"):
            for name in names:
                here = (*path, name)
                kind = "number" if _is_bare(here, raw) else "text"
                draw(raw, here, Field((), markup.label(str(name), "name"), kind, width=92 if len(name) < 4 else 150))


def _is_bare(path: Path, raw: dict[str, Any]) -> bool:
    """Whether a place holds a number without a unit."""
    measured = model_forms.about_key(path, raw).measured
    return measured is not None and not measured.dimension


def _named_in(raw: dict[str, Any], held: Any) -> list[str]:
    """Names that a table of amounts has, and the crops that are planted."""
    beds = editing.entries(raw, "beds").values()
    plantings = [editing.value_at(bed, ("plantings",)) for bed in beds]
    planted = [editing.value_at(one, ("crop",)) for some in plantings if isinstance(some, list) for one in some]
    return list(dict.fromkeys([*(held if isinstance(held, dict) else ()), *filter(None, map(_text, planted))]))


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""


def _group(raw: dict[str, Any], path: Path, field: Field) -> None:
    """A table in a table: its fields, or a button that adds it where it cannot stand without some of them."""
    held, key = editing.value_at(raw, path), str(path[-1])
    waits = model_forms.is_optional_throughout(field.form, path, raw)
    if not isinstance(held, dict) and not waits:
        start = forms.start_of(key, raw)
        button(f"Add {field.label}", path, partial(editing.put, path=path, value=start), f"add {field.label}")
        return
    plain, inside = parted(field.form)
    with st.container(horizontal=True, vertical_alignment="bottom"):
        for one in plain:
            with_kind(raw, path, held, one)
        if isinstance(held, dict):
            button("Remove", path, partial(editing.put, path=path, value=None), f"remove {field.label}")
    for line in care.of_form(path, held):
        st.html(markup.caption_html(line))
    for one in inside:
        with st.container(border=True):
            st.markdown(f"**{one.label}**")
            draw(raw, (*path, *one.path), one)


def _entries(raw: dict[str, Any], path: Path, field: Field) -> None:
    """Tables by name, and a button that adds one."""
    key, held = str(path[-1]), editing.value_at(raw, path)
    names = list(held) if isinstance(held, dict) else []
    for name in names:
        here = (*path, name)
        with st.container(border=True):
            st.markdown(f"**{markup.label(str(name), 'unnamed')}**")
            plain, inside = parted(field.form)
            with st.container(horizontal=True, vertical_alignment="bottom"):
                for one in plain:
                    with_kind(raw, here, editing.value_at(raw, here), one)
                button("Remove", here, partial(editing.put, path=here, value=None), f"remove {key} {name}")
            for one in inside:
                draw(raw, (*here, *one.path), one)
    # own fish keep the name of their batch; what is bought gets a new one
    free = [name for name in editing.entries(raw, "cohorts") if name not in names]
    new = next(iter(free), "") if key == "own" else forms.free_name_in(names, key.removesuffix("s"))
    if new:
        start = forms.start_of(key, raw)
        add = partial(editing.add_table, path=(*path, new), values=start)
        words = f"Add {markup.label(new, 'one')}" if key == "own" else f"Add {forms.ONE_OF[key]}"
        button(words, path, add, f"add to {key}")


def listed(raw: dict[str, Any], path: Path, form: Sequence[Field], start: dict[str, Any], what: str) -> None:
    """Rows of a list of small tables, each with a button that removes it, and one that adds."""
    held = editing.value_at(raw, path)
    for number in range(len(held) if isinstance(held, list) else 0):
        with st.container(horizontal=True, vertical_alignment="bottom"):
            here: Path = (*path, number)
            for field in form:
                draw(raw, (*here, *field.path), field)
            button("Remove", here, partial(_without, path=here), f"remove {what} {number}")
    button(f"Add a {what}", path, lambda text: editing.append(text, path, start), f"add {what}")


def _without(text: str, path: Path) -> str:
    """Text without an entry of a list, and without the list where that was its last."""
    outer = path[:-1]
    held = editing.value_at(editing.tables(text), outer)
    return editing.put(text, outer if isinstance(held, list) and len(held) == 1 else path, None)


def key_of(path: Path, more: str = "") -> str:
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


def begin(raw: dict[str, Any], faults: Sequence[str]) -> None:
    """Before the fields of a site are drawn: what rows are called, and the faults that shall stand beside fields."""
    _keep_names(raw)
    refusals.begin(faults)
    st.session_state.assumed_drawn = editing.assumed(st.session_state.site_text)


def _keep_names(raw: dict[str, Any]) -> None:
    """Forget the names that rows had at first where a row that came since has one of them."""
    names = _names()
    for table in {str(table) for table, _ in names}:
        first = [names.get((table, name), name) for name in editing.entries(raw, table)]
        if len(set(first)) < len(first):
            names.clear()
            return


def draw(raw: dict[str, Any], path: Path, field: Field) -> None:
    """A field bound to a place of the file, with the faults that name just that place beside it."""
    if field.kind in model_forms.NESTED:
        _nested(raw, path, field)
        return
    marked: set[Path] = st.session_state.get("assumed_drawn", set())
    if any(path[:length] in marked for length in range(2, len(path) + 1)):
        field = field._replace(label=f"{field.label} (assumed)", width=max(field.width, 150))
    faults = refusals.take_faults(path)
    if not faults:
        _input(raw, path, field)
        return
    with st.container(width=max(field.width, 280)):
        _input(raw, path, field)
        for fault in faults:
            st.html(markup.fault_html(fault))


def _input(raw: dict[str, Any], path: Path, field: Field) -> None:
    key, value = key_of(path), editing.value_at(raw, path)

    def bound(shown: Any) -> dict[str, Any]:
        seed(key, shown)
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
        # a value that is not among the choices stays to be seen and fixed
        options = list(dict.fromkeys([*_choices(field.choices, raw), shown]))
        st.selectbox(
            field.label, options, width=field.width, format_func=lambda option: option or "(not given)", **bound(shown)
        )
        known = list(_choices(field.choices, raw))
        if field.kind == "shares" and shown in known and len(known) > 1:
            button("Two feeds", path, partial(_put_feeds, path=path, options=known), "add a second feed")
        return
    typed = refusals.typed(path, editing.as_typed(value))
    if field.kind == "date" and (value is None or is_day(value)) and typed == editing.as_typed(value):
        first, last = ALLOWED_DAYS
        st.date_input(field.label, min_value=first, max_value=last, format="YYYY-MM-DD", width=145, **bound(value))
        return
    hint = model_forms.hint(path, raw)
    st.text_input(field.label, width=field.width, placeholder=hint or None, help=field.help or None, **bound(typed))


def with_kind(raw: dict[str, Any], path: Path, entry: Any, field: Field) -> None:
    """A field of a row, and those that its table's kind brings."""
    draw(raw, (*path, *field.path), field)
    kinds = forms.EXTRA.get(str(field.path[0]), {}) if field.kind == "table" else {}
    for more in kinds.get(str(editing.value_at(entry, (*field.path, "kind"))), []):
        draw(raw, (*path, *more.path), more)


def _shares(raw: dict[str, Any], path: Path, field: Field, held: dict[str, Any]) -> None:
    """Several feeds in the place of one: each with its share of what is weighed out."""
    known = list(_choices(field.choices, raw))
    for name in held:
        key = key_of((*path, name), "name of feed")
        seed(key, name)
        options = [name, *(other for other in known if other not in held)]

        def rename(key: str = key, name: str = name) -> None:
            place, new = place_of(key, path, name), st.session_state[key]
            now = None if place is None else editing.value_at(editing.tables(st.session_state.site_text), place)
            if place is not None and isinstance(now, dict):
                apply(partial(editing.put, path=place, value=forms.with_other_name(now, name, new)), is_new_form=True)

        st.selectbox("feed", options, key=key, on_change=guard.kept(rename), width=field.width)
        draw(raw, (*path, name), Field((), "share", "number", width=90))
        button("Remove", path, partial(_put_feeds, path=path, gone=name), f"remove {name}")
    if len(held) < len(known):
        button("Add a feed", path, partial(_put_feeds, path=path, options=known), "add a feed")


def _put_feeds(text: str, path: Path, options: Sequence[str] = (), gone: str = "") -> str:
    """Text with one feed fewer or one more, the first of the options that is not there."""
    held = editing.value_at(editing.tables(text), path)
    if gone:
        return editing.put(text, path, forms.without(held, gone))
    there = held if isinstance(held, dict) else {held}
    return editing.put(text, path, forms.with_another(held, next(name for name in options if name not in there)))


def seed(key: str, value: Any) -> None:
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


def place_of(key: str, path: Path, shown: Any) -> Path | None:
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
    place = place_of(key, path, shown)
    if place is None:
        return
    path, typed = place, st.session_state[key]
    if kind == "table":
        start = forms.TABLE_STARTS[str(path[-1])].get(typed)
        if start is None:
            apply(lambda text: editing.put(text, path, None), is_new_form=False)
        else:
            apply(partial(_switched, path=path, kind=typed, start=start), is_new_form=False)
        return
    if kind == "several":
        value: Any = list(typed) or None
    elif kind == "date" and not isinstance(typed, str):
        value = typed
    elif kind == "yes":
        value = True if typed else None
    elif kind in ("choice", "shares"):
        value = typed if typed != "" else None
    else:
        value = editing.from_typed(typed, kind)
    if path[0] == "events" and path[-1] == "into" and isinstance(value, str):
        act: Callable[[str], str] = partial(renaming.rename_graded, number=int(path[1]), new=value)
    else:
        act = partial(_put, path=path, value=value)
    apply(act, is_new_form=False, place=path, typed=typed if isinstance(typed, str) else "")


def _put(text: str, path: Path, value: Any) -> str:
    """Text with a keeper's own value, which is not assumed any longer."""
    return editing.without_mark(editing.put(text, path, value), path)


def _switched(text: str, path: Path, kind: str, start: dict[str, Any]) -> str:
    """Text with a table of another kind: as the keeper last had that kind here, or as it starts."""
    keep = forms.kept_keys(str(path[-1]), kind)
    if len(path) == 1 and editing.value_at(editing.tables(text), path) is None:
        return editing.add_table(text, path, start)
    if path[0] == "events":
        return editing.switch(text, path, start, keep)
    memory: editing.Kinds = st.session_state.setdefault("edit_kinds", {})
    new, st.session_state.edit_kinds = editing.switch_kind(text, path, kind, start, keep, memory)
    return new


def name_field(table: str, name: str) -> None:
    path: Path = (table, name)
    key, shown = key_of(path, "name"), refusals.typed((*path, "name of it"), name)
    seed(key, shown)

    def rename() -> None:
        place = place_of(key, path, shown)
        if place is None:
            return
        new = st.session_state[key]
        apply(partial(_renamed, table=table, old=str(place[1]), new=new), False, (*place, "name of it"), new)

    st.text_input("name", key=key, on_change=guard.kept(rename), width=150)
    for fault in refusals.of_row((*path, "name of it")):
        st.html(markup.fault_html(fault))


def _renamed(text: str, table: str, old: str, new: str) -> str:
    renamed = renaming.rename_entry(text, table, old, new)
    names = _names()
    names[table, new.strip()] = names.pop((table, old), old)
    kinds = st.session_state.get("edit_kinds", {})
    st.session_state.edit_kinds = {
        ((table, new.strip(), *path[2:]) if path[:2] == (table, old) else path, kind): was
        for (path, kind), was in kinds.items()
    }
    return renamed


def removed(text: str, table: str, name: str) -> str:
    kinds = st.session_state.get("edit_kinds", {})
    st.session_state.edit_kinds = {key: was for key, was in kinds.items() if key[0][:2] != (table, name)}
    return editing.remove_entry(text, table, name)


def button(label: str, path: Path, act: Callable[[str], str], what: str) -> None:
    help_words = markup.label(what, "remove this row")
    st.button(label, key=key_of(path, what), on_click=guard.kept(apply), args=(act, True), help=help_words)


def apply(act: Callable[[str], str], is_new_form: bool, place: Path = (), typed: str = "") -> None:
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
