"""Whatever is typed into a field of the Site page: a sentence stands beside that field, and what was typed stays.

All fields of all forms at once are given one entry after another, so that each entry costs one reading of the file.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Iterator
from typing import Any, get_args, get_origin

import pytest
from annotated_types import MinLen
from pydantic import ValidationError
from reliability.bases import everything
from site_faults import JARGON

from stocksim.errors import InputError
from stocksim.faces import editing, forms, model_forms
from stocksim.faces.forms import Field, Path
from stocksim.site.model import SiteFile
from stocksim.site.quantities import MONTHS
from stocksim.site.sentences import sentences

# refused by every field that asks for more than a text or a name
NEVER = [
    "abc", "twelve", "12 parrots", "12 parrots a day", "1,5 L", "1,000 L", "1.000,5 L", "12 L L", "L 12", "--5 L",
    "5 - L", "5 -", "- 5", "+-5", "5..0", "5e", "e5", "0x10", "1_000", "1 000 L", "1/2", "½ L", "5 litros",
    "64 degX", "64 F C", "64 °", "nan", "NaN L", "inf", "-inf", "1e999 L", "1e999", "9" * 400 + " L", "true", "None",
    "null", "[]", "{}", "[1, 2]", '"', "'", '"""', "\\", "= 5", "# 5", "5 # L",
    "<script>alert(1)</script>", "${5}", "a" * 5000,
    "\N{GRINNING FACE}", "5 \N{GRINNING FACE}", "2026-13-01", "2026-02-30", "2026-11-01T10:00", "11/12/2026",
    "31 Feb 2027", "5\u200bL parrots", "\u202e5 L", "5\tparrots",
]  # fmt: skip
# legal in some fields: refused, or kept just as it was meant
PERHAPS = [
    "", "  ", "٣ L", "５ L", "0", "-0", "-4", "-4 L", "3.7", "5.", ".5", "+5", "1e3", "007", "5 %", "500 %", "5 L",
    "5L", " 5 g ", "64 degF", "1 Nov 2026", "2026-11-01", "99999999", "5\u00a0L",
]  # fmt: skip
TYPED_INTO = ("text", "number", "whole", "date", "list", "numbers")


class State(dict):
    """What Streamlit keeps of a session."""

    __getattr__, __setattr__ = dict.__getitem__, dict.__setitem__


@pytest.fixture(scope="module")
def raw() -> dict[str, Any]:
    return everything().tables


@pytest.fixture
def state(monkeypatch) -> State:
    held = State(site_folder="", site_name="house.toml")
    monkeypatch.setattr(forms.st, "session_state", held)
    return held


def places(raw: dict[str, Any]) -> Iterator[tuple[Path, Field]]:
    """Every place of a file that a text is typed into, with its field."""
    for table in SiteFile.model_fields:
        held = raw.get(table)
        for path in [(table, n) for n in (held if table not in _ONE and table != "events" else ())] or [(table,)]:
            if table == "events":
                for number, event in enumerate(held or []):
                    here = ("events", number)
                    yield from _below(
                        raw, here, [Field(("date",), "date", "date"), *forms.EVENTS.get(event["kind"], ())]
                    )
                    for key in set(forms.AMOUNTS_OF.get(event["kind"], ())) & set(event):
                        yield from _below(raw, here, [Field((key,), *forms.AMOUNTS[key][1:3])])
                continue
            entry = editing.value_at(raw, path)
            own = model_forms.form_of(table, entry.get("kind"))
            yield from _below(raw, path, [*own, *forms.FORMS.get(f"{table}, more", ())])
            if table == "beds":
                for number in range(len(entry.get("plantings", ()))):
                    yield from _below(raw, (*path, "plantings", number), model_forms.planting())


_ONE = ("site", "season", "weather", "greenhouse", "fish_room", "stocking", "advice")


def _below(raw: dict[str, Any], path: Path, fields: Any) -> Iterator[tuple[Path, Field]]:
    for field in fields:
        here = (*path, *field.path)
        held = editing.value_at(raw, here)
        if field.kind in TYPED_INTO:
            yield here, field
        elif field.kind == "group" and isinstance(held, dict):
            yield from _below(raw, here, field.form)
        elif field.kind in ("rows", "entries") and held:
            for step in range(len(held)) if field.kind == "rows" else held:
                yield from _below(raw, (*here, step), field.form)
        elif field.kind in ("months", "amounts") and held:
            for name in MONTHS if field.kind == "months" else held:
                kind = (
                    "number"
                    if not getattr(model_forms.about_key((*here, name), raw).measured, "dimension", "")
                    else "text"
                )
                yield (*here, name), Field((), name, kind)
        elif field.kind == "table" and isinstance(held, dict):
            more = forms.EXTRA.get(str(field.path[0]), {}).get(held["kind"], ())
            yield from _below(raw, path, more)


def is_free(path: Path, raw: dict[str, Any]) -> bool:
    """Whether any text may stand there, or a name that only the rest of the file can refuse."""
    about = model_forms.about_key(path, raw)
    is_a_list = get_origin(about.base) is list
    return (get_args(about.base)[0] if is_a_list else about.base) is str and all(
        isinstance(reader, MinLen) for reader in about.readers
    )


def faults_of(raw: dict[str, Any]) -> list[str]:
    try:
        SiteFile.model_validate(raw)
    except ValidationError as error:
        return [str(fault) for fault in sentences(error, raw, SiteFile)]
    return []


def typed_everywhere(raw: dict[str, Any], asked: list[tuple[Path, Field]], typed: str) -> dict[str, Any]:
    """The tables with one entry in every field; an emptied field leaves what is there."""
    told = copy.deepcopy(raw)
    for path, field in asked:
        value = editing.from_typed(typed, field.kind)
        if value is not None:
            outer = editing.value_at(told, path[:-1])
            if isinstance(outer, list) and path[-1] == len(outer):
                outer.append(value)
            else:
                outer[path[-1]] = value
    return told


def test_a_sentence_stands_beside_every_field_for_every_wrong_entry(raw, state):
    asked = list(places(raw))
    assert len(asked) > 250
    assert len({path[0] for path, _ in asked}) == len(SiteFile.model_fields)
    free = {path for path, _ in asked if is_free(path, raw)}
    for typed in [*NEVER, *PERHAPS]:
        told = typed_everywhere(raw, asked, typed)
        faults = faults_of(told)
        forms.begin(faults)
        for path, field in asked:
            beside = forms.take_faults(path)
            dotted = ".".join(map(str, path))
            for said in beside:
                assert said.endswith("."), said
                assert len(said) < 600, said
                assert not JARGON.search(said.partition(": ")[2].replace(typed, "")), said
            if typed in NEVER and path not in free:
                assert beside, f"{dotted} ({field.kind}) takes {typed[:40]!r}"
            # what was typed is seen again
            value = editing.value_at(told, path)
            if editing.from_typed(typed, field.kind) is not None:
                again = editing.from_typed(editing.as_typed(value), field.kind)
                assert again == value, f"{dotted} shows {typed[:40]!r} otherwise"
        left = [said for said in state["faults_drawn"] if any(f"{path[0]}." in said for path, _ in asked)]
        assert left == [], f"no field shows {left[:3]} for {typed[:40]!r}"


@pytest.mark.parametrize("typed", [*NEVER, *PERHAPS], ids=lambda typed: repr(typed[:12]))
def test_what_is_typed_stands_in_the_file_or_stays_in_its_field(typed, state):
    text = '# mine\n[tanks.one]\nvolume = "900 L"  # by the bucket\nfields = [1, 2]\n'
    for kind in TYPED_INTO:
        value = editing.from_typed(typed, kind)
        try:
            new = editing.put(text, ("tanks", "one", "volume"), value)
        except InputError as error:
            forms.keep(("tanks", "one", "volume"), typed, [str(fault) for fault in error.faults])
            assert forms.typed(("tanks", "one", "volume"), "900 L") == typed
            assert all(said.endswith(".") for said in forms.of_row(("tanks", "one", "volume")))
            continue
        assert tomllib.loads(new)["tanks"]["one"].get("volume") == value
        assert new.startswith("# mine\n")
