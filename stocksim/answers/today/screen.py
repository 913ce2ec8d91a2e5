"""Entering on the day's page: three big fields, what is asked back, undo, and all other kinds of records below.

Apart from `page`, which shows the day that follows from what was entered.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import streamlit as st

from stocksim.book import enter, store
from stocksim.book.checks import names_of
from stocksim.book.kinds import HELD, KINDS, READINGS
from stocksim.book.store import Record
from stocksim.errors import Fault, StocksimError
from stocksim.faces import guard, keeping, markup
from stocksim.faces.days import read_day
from stocksim.faces.record_words import value_words
from stocksim.site.reading import Site
from stocksim.units import format_date

DAY = "day shown"
_LAST = 8
STYLE = """<style>
.st-key-big_fields [data-testid="stTextInputRootElement"] {height: 3.2rem}
.st-key-big_fields [data-testid="stTextInputRootElement"] input {font-size: 1.5rem; height: 100%}
.st-key-big_fields label p {font-size: 1.05rem; font-weight: 600}
.st-key-entering button {min-height: 2.75rem}
@media print {.st-key-entering, .st-key-other_records {display: none !important}}
</style>"""
_UNITS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "temperature": {"metric": ("degC", "degF"), "us": ("degF", "degC")},
    "weight": {"metric": ("g", "kg", "oz", "lb"), "us": ("lb", "oz", "g", "kg")},
}
# how a quantity is written, shown where a field asks for one with its unit
_AS = {
    "metric": {"weight": "50 g", "temperature": "14.5 degC", "area": "2 m2", "volume": "200 L"},
    "us": {"weight": "2 oz", "temperature": "58 degF", "area": "20 ft2", "volume": "50 gal"},
}


class Big(NamedTuple):
    """One of the big fields: a kind of record, of which table, its fields' names with their labels, and its units."""

    kind: str
    table: str
    labels: Mapping[str, str]
    dimension: str


_BIG = (
    Big("temperature", "tanks", {"at": "Water temperature"}, "temperature"),
    Big("test", "loops", {"ammonia": "Ammonia, mg/L"}, ""),
    Big("weigh", "cohorts", {"count": "Fish weighed", "total": "Weight of all"}, "weight"),
)
_AMMONIA_FORM = "form of ammonia"
_ASKED = ("tan_mg_l", "ammonia_read", "ammonia_as")
_OF_WIDTH = 150  # beside four units on a phone


@dataclass(frozen=True)
class Place:
    """What is entered for: a site, its book, the records that hold, what was told once, and today."""

    site: Site
    path: Path
    records: Sequence[Record]
    known: Mapping[str, str]
    today: dt.date

    @property
    def units(self) -> str:
        """System of units of the site."""
        return self.site.file.site.units

    def names(self, table: str) -> list[str]:
        """All of a table that a record may be of, as ``tanks.cedar``."""
        entries = self.site.cohorts if table == "cohorts" else getattr(self.site.file, table)
        return [f"{table}.{name}" for name in entries]


class Entry(NamedTuple):
    """What was written for a record: its kind and the texts by the options' names."""

    kind: str
    written: Mapping[str, str]


def is_open() -> bool:
    """Whether records can be kept: the site has a file of the keeper's own, and these pages may write."""
    return keeping.target() is not None and not keeping.is_read_only()


def big_fields(place: Place) -> None:
    """The three big fields, and what became of the last entry."""
    st.html(STYLE)
    with st.container(key="entering"):
        with st.form("big_form", border=False), st.container(key="big_fields"):
            bigs = [big for big in _BIG if place.names(big.table)]
            for column, big in zip(st.columns(len(bigs)), bigs, strict=True):
                with column:
                    _big(big, place)
            st.form_submit_button(
                "Keep", type="primary", width="stretch", on_click=guard.kept(_keep_big), args=(place,)
            )
        _outcome(place)


def _big(big: Big, place: Place) -> None:
    with st.container(horizontal=True):
        for name, label in big.labels.items():
            guard.text(label, f"entered {name}", in_form=True, width="stretch")
    with st.container(horizontal=True, vertical_alignment="center"):
        if big.dimension:
            options = _UNITS[big.dimension][place.units]
            held = guard.shown(f"unit of {big.dimension}", options[0], in_form=True)
            st.segmented_control("Unit", options, label_visibility="collapsed", required=True, width="content", **held)
        else:
            forms, held = (
                list(READINGS["ammonia"].forms),
                guard.shown(_AMMONIA_FORM, place.known.get("ammonia"), in_form=True),
            )
            st.segmented_control("Read as", forms, label_visibility="collapsed", width="content", **held)
        names = place.names(big.table)
        if len(names) > 1:
            held = guard.shown(f"where of {big.kind}", _where(big, place), in_form=True)
            st.selectbox("Of", names, format_func=_own_name, label_visibility="collapsed", width=_OF_WIDTH, **held)
    last = _last(big, place)
    said = "No record yet." if last is None else (
        f"Last: {value_words(_of_field(last), place.units)} ({last.name}, {format_date(last.date)})"
    )  # fmt: skip
    st.caption(said)


def _of_field(record: Record) -> Record:
    """A record with what its big field asks for alone: of a test the ammonia."""
    return (
        replace(record, held={key: value for key, value in record.held.items() if key in _ASKED})
        if (record.kind == "test")
        else record
    )


def _own_name(full: str) -> str:
    return full.partition(".")[2]


def _last(big: Big, place: Place) -> Record | None:
    """The last record of a big field, by the day that it is for."""
    own = [one for one in place.records if one.kind == big.kind and (big.kind != "test" or "tan_mg_l" in one.held)]
    return max(own, key=lambda one: (one.date, one.number), default=None)


def _where(big: Big, place: Place) -> str:
    """What the next record of a big field is of: as chosen, else as the last one, else the first there is."""
    names, last = place.names(big.table), _last(big, place)
    chosen = guard.entry(f"where of {big.kind}", last.of if last is not None else None)
    if chosen in names:
        return str(chosen)
    guard.forget(f"where of {big.kind}")
    return names[0]


def _written(place: Place) -> list[Entry]:
    """What stands in the big fields."""
    found = []
    for big in _BIG:
        texts = {name: str(guard.entry(f"entered {name}", "")).strip() for name in big.labels}
        given = {name: text for name, text in texts.items() if text}
        if not given:
            continue
        for name in ("at", "total"):
            # a bare number is of the unit that is switched on
            number = enter.read_number(given[name]) if name in given else None
            if number is not None:
                units = _UNITS[big.dimension][place.units]
                given[name] = f"{number!r} {guard.entry(f'unit of {big.dimension}', units[0])}"
        form = guard.entry(_AMMONIA_FORM, place.known.get("ammonia"))
        if "ammonia" in given and form:
            given["ammonia_as"] = form
        found.append(Entry(big.kind, {**given, "of": _where(big, place)}))
    return found


def _keep_big(place: Place) -> None:
    fields = [name for big in _BIG if place.names(big.table) for name in big.labels]
    wheres = [f"where of {big.kind}" for big in _BIG if len(place.names(big.table)) > 1]
    units = [f"unit of {big.dimension}" for big in _BIG if big.dimension and place.names(big.table)]
    guard.store(*(f"entered {name}" for name in fields), *wheres, *units, _AMMONIA_FORM)
    _keep(place, _written(place), tuple(f"entered {name}" for name in fields))


# --- keeping, asking back, undo


class Outcome(NamedTuple):
    """What became of the last entry: faults, or what is asked back, or the numbers of what was kept."""

    faults: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()
    entries: tuple[Entry, ...] = ()
    fields: tuple[str, ...] = ()
    kept: tuple[int, ...] = ()
    undone: tuple[int, ...] = ()


def _keep(place: Place, entries: Sequence[Entry], fields: tuple[str, ...], is_confirmed: bool = False) -> None:
    """Write entries into the book, all of them or none; what can hardly be meant is asked back first."""
    st.session_state.book_outcome = _outcome_of(place, entries, fields, is_confirmed)
    if st.session_state.book_outcome.kept:
        for name in fields:
            guard.forget(name)


def _outcome_of(place: Place, entries: Sequence[Entry], fields: tuple[str, ...], is_confirmed: bool) -> Outcome:
    if not entries:
        return Outcome(("Nothing was entered: write a value into a field.",))
    if DAY in st.session_state:
        guard.store(DAY)  # a day typed in the same breath: its own field may be taken after the button
    date, wrong = _date()
    found: list[enter.Entered] = []
    asked: list[str] = []
    try:
        there = store.read_book(place.path)
        today = store.today(there)
        for entry in entries:
            try:
                one = enter.entered(place.site, entry.kind, entry.written, date or today, today, place.known, there)
            except StocksimError as error:
                wrong += [str(_labelled(fault)) for fault in error.faults]
                continue
            found.append(one)
            asked += one.doubts
        if wrong:
            return Outcome(tuple(wrong))
        if asked and not is_confirmed:
            return Outcome(asked=tuple(asked), entries=tuple(entries), fields=fields)
        told = {name: text for one in found for name, text in one.told.items()}
        return Outcome(kept=tuple(store.add(place.path, [one.record for one in found], told)))
    except StocksimError as error:  # the book cannot be written: what was entered stays in its fields
        return Outcome(tuple(str(fault) for fault in error.faults))


def _date() -> tuple[dt.date | None, list[str]]:
    """The day that is entered for, None for today; and what is wrong with it."""
    typed = str(guard.entry(DAY, "")).strip()
    try:
        return (read_day(typed) if typed else None), []
    except ValueError:
        return None, [not_a_day(typed)]


def not_a_day(typed: str) -> str:
    """A sentence for a text that is no day."""
    return f'"{typed}" is not a day; write it as 1 Dec 2026.'


def _labelled(fault: Fault) -> Fault:
    """A fault with its field as it is called on the page."""
    labels = {name: label for big in _BIG for name, label in big.labels.items()} | {
        name: _label(name) for name in ("ammonia_as", "date")
    }
    return replace(fault, field=labels.get(fault.field, _label(fault.field)))


def _label(name: str) -> str:
    return {"ph": "pH"}.get(name, name.removesuffix("_as").replace("_", " ").capitalize())


def _outcome(place: Place) -> None:
    """What became of the last entry, and what can be done about it."""
    held: Outcome = st.session_state.get("book_outcome", Outcome())
    if held.faults:
        st.html(markup.faults_html(held.faults))
    if held.asked:
        st.html(markup.faults_html(held.asked))
        with st.container(horizontal=True):
            st.button("Keep it as it is", on_click=guard.kept(_keep), args=(place, held.entries, held.fields, True))
            st.button("Change it", on_click=guard.kept(_forget_outcome))
    kept = [one for one in place.records if one.number in held.kept]
    if kept:
        said = "; ".join(f"{value_words(one, place.units) or one.note} ({one.name or 'note'})" for one in kept)
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(markup.told_html(f"Kept for {format_date(kept[0].date)}: {said}."))
            st.button("Undo", key="undo_kept", on_click=guard.kept(_undo), args=(place, held.kept))
    if held.undone:
        st.html(markup.told_html(f"Undone: record {', '.join(map(str, held.undone))}."))


def _forget_outcome() -> None:
    st.session_state.book_outcome = Outcome()


def _undo(place: Place, numbers: Sequence[int]) -> None:
    try:
        for number in numbers:
            store.undo(place.path, number, enter.user())
        st.session_state.book_outcome = Outcome(undone=tuple(numbers))
    except StocksimError as error:
        st.session_state.book_outcome = Outcome(tuple(str(fault) for fault in error.faults))


# --- all other kinds, and the last records


def other_records(place: Place) -> None:
    """All other kinds of records, one at a time, and the last ones kept; both folded."""
    with st.container(key="other_records"):
        with st.expander("Other records"):
            kinds = [kind for kind in KINDS if not KINDS[kind].of or _places(kind, place)]
            held = guard.shown("other kind", "feed" if "feed" in kinds else kinds[0])
            kind = st.selectbox("What", kinds, format_func=lambda key: KINDS[key].words.capitalize(), **held)
            with st.form(f"other {kind}", border=False):
                names = _other_fields(kind, place)
                st.form_submit_button("Keep this record", on_click=guard.kept(_keep_other), args=(place, kind, names))
        if place.records:
            with st.expander("Last records"):
                _last_records(place)


def _places(kind: str, place: Place) -> list[str]:
    return list(dict.fromkeys(names_of(place.site, KINDS[kind]).values()))


def _other_fields(kind: str, place: Place) -> list[str]:
    """Fields of a kind of record; their names."""
    chosen: dict[str, list[str]] = {"of": _places(kind, place)} if KINDS[kind].of else {}
    texts: dict[str, str] = {}
    for name, key in enter.entries(kind).items():
        if key == "to_tank" and key in KINDS[kind].holds:
            chosen[name] = list(place.site.file.tanks)
        elif key in KINDS[kind].holds:
            like = _AS[place.units].get(HELD[key].dimension, "")
            texts[name] = HELD[key].words.capitalize() + (f", as {like}" if like else "")
    for name, reading in READINGS.items():
        if reading.value in KINDS[kind].holds:
            texts[name] = f"{reading.words.capitalize()}, as the kit reads it"
            chosen[f"{name}_as"] = list(reading.forms)
    if KINDS[kind].is_in_scoops:
        texts["amount"] += " or 3 scoops"
        texts[enter.SCOOP] = f"One scoop weighs, as {_AS[place.units]['weight']}"
    for name, options in chosen.items():
        start = place.known.get(name.removesuffix("_as"), options[0] if name == "of" else None)
        label = {"of": "Of", "to": "To tank"}.get(name, f"{_label(name.removesuffix('_as'))} is read as")
        held = guard.shown(_other(kind, name), start, in_form=True)
        st.selectbox(label, options, format_func=lambda option: option.partition(".")[2] or option, index=None, **held)
    for name, label in (texts | {"note": "Note"}).items():
        guard.text(label, _other(kind, name), in_form=True)
    return [*chosen, *texts, "note"]


def _other(kind: str, name: str) -> str:
    return f"other {kind} {name}"


def _keep_other(place: Place, kind: str, names: Sequence[str]) -> None:
    guard.store(*(_other(kind, name) for name in names))
    texts = {name: str(guard.entry(_other(kind, name), None) or "").strip() for name in names}
    written = {name: text for name, text in texts.items() if text}
    is_filled = set(written) - {"of"} and not all(name.endswith("_as") for name in set(written) - {"of"})
    emptied = tuple(_other(kind, name) for name in names if name != "of" and not name.endswith("_as"))
    _keep(place, [Entry(kind, written)] if is_filled else [], emptied)


def _last_records(place: Place) -> None:
    rows = [
        {
            "what": KINDS[one.kind].words, "day": format_date(one.date), "of": one.name,
            "value": value_words(one, place.units) or one.note, "number": str(one.number),
        }
        for one in reversed(place.records[-_LAST:])
    ]  # fmt: skip
    st.html(markup.table_html(rows))
    last = place.records[-1].number
    st.button(f"Undo record {last}", key="undo_last", on_click=guard.kept(_undo), args=(place, (last,)))
