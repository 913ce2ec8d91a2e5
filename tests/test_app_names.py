"""Names that hold HTML, Markdown, LaTeX or script: shown as they are on every page, whoever gave them."""

from __future__ import annotations

import json
from html import escape
from pathlib import Path

import pytest
import tomlkit
from small_sites import START, one_tank
from streamlit.testing.v1 import AppTest
from test_app import go, part, start, words

from stocksim.faces import registry
from stocksim.library.sources import library_folder

# what each would do: load a picture, set in bold, set as a formula, colour, draw a sign, run a script
SLY = "![x](http://outside.example/a.png) **bold** $x^2$ :red[r] :smile: <b>h</b> <script>s()</script> `c` _i_"
# of a file's name, which no system refuses
SLY_KEY = "sly $x^2$ _i_ ![y](z) &amp; 'q'"
EVERY_PAGE = tuple(page.address for page in registry.PAGES if page.address != "edit")
PARTS = ("Fish", "Events", "Tanks", "Beds", "Loops", "Biofilters", "Settlers", "Season", "Whole file")


def own_library(folder: Path) -> None:
    """A species, a feed and a crop of the keeper's own, with sly names and words."""
    for kind, shipped in (("fish", "nile_tilapia"), ("feeds", "tilapia_34"), ("crops", "lettuce")):
        text = (library_folder() / kind / f"{shipped}.toml").read_text(encoding="utf-8")
        text = text.replace(f'"{shipped}"', json.dumps(SLY_KEY))
        lines = []
        for line in text.splitlines():
            head = line.split("=")[0].strip()
            lines.append(f"{head} = {json.dumps(SLY)}" if head in ("title", "summary", "latin", "caution") else line)
        own = folder / "species_params" / kind / f"{SLY_KEY}.toml"
        own.parent.mkdir(parents=True)
        own.write_text("\n".join(lines), encoding="utf-8")


def sound_site() -> str:
    """A sound site of sly words: its own name, species, feed and crop."""
    tables = one_tank(count=10, species=SLY_KEY, feed=SLY_KEY)
    tables["site"] |= {"name": SLY, "about": SLY}
    tables["beds"]["gravel"]["plantings"] = [{"crop": SLY_KEY, "from": START, "to": tables["season"]["end"]}]
    return tomlkit.dumps(tables)


def faulty_site() -> str:
    """The same with sly names of tank, cohort, loop and bed, and a sly row of a ration."""
    tables = one_tank(count=10)
    tables["site"]["name"] = SLY
    for table in ("loops", "tanks", "beds", "cohorts"):
        ((_, entry),) = tables[table].items()
        tables[table] = {SLY: entry}
    tables["tanks"][SLY]["loop"] = tables["beds"][SLY]["loop"] = SLY
    rows = {"kind": "table", "temperatures": [SLY, "20 degC"], "weights": ["9 g"], "percent": [[1.0], [2.0]]}
    tables["cohorts"][SLY] |= {"tank": SLY, "ration": rows}
    tables["events"] = [{"kind": SLY, "date": START, "cohort": SLY}]
    return tomlkit.dumps(tables)


@pytest.fixture
def open_text(tmp_path, monkeypatch):
    def write(text: str) -> AppTest:
        own_library(tmp_path)
        path = tmp_path / "sly.toml"
        path.write_text(text, encoding="utf-8")
        monkeypatch.setenv("STOCKSIM_SITE", str(path))
        return start()

    return write


def check(at: AppTest, where: str) -> None:
    """No place of the page that renders Markdown or HTML holds sly words as they are."""
    marked = [element.value for element in (*at.markdown, *at.caption)]
    for widgets in (at.button, at.text_input, at.selectbox, at.multiselect, at.checkbox, at.slider, at.text_area):
        marked += [widget.label for widget in widgets] + [getattr(widget, "help", None) or "" for widget in widgets]
    marked += [block.label for block in at.expander]
    marked += [option for control in at.get("button_group") for option in map(str, control.options)]
    for text in marked:
        assert not [made for made in ("![", "x^2", "**bold", "smile", "script") if made in text], (where, text)
    assert not any(element.proto.allow_html for element in at.markdown)
    for element in at.get("html"):
        body = element.proto.body
        assert "<script" not in body or element.proto.unsafe_allow_javascript, where
        assert "<b>h" not in body, where


def test_sly_words_of_a_sound_site_are_shown_as_they_are(open_text):
    at = open_text(sound_site())
    assert escape(SLY, quote=True) in " ".join(element.proto.body for element in at.get("html"))
    for page in EVERY_PAGE:
        go(at, page)
        check(at, page)
        assert "cannot be run" not in words(at), page
    go(at, "edit")
    for shown in PARTS:
        check(part(at, shown), shown)
    assert any(f"{escape(SLY)}: evidence" in element.proto.body for element in part(at, "Fish").get("html"))
    go(at, "fish").selectbox(key="species").set_value(SLY_KEY).run()
    check(at, "own species")


def test_sly_names_of_a_faulty_site_are_shown_as_they_are(open_text):
    at = open_text(faulty_site())
    for page in EVERY_PAGE:
        check(go(at, page), page)
    go(at, "edit")
    for shown in PARTS:
        check(part(at, shown), shown)
    rows = [field.label for field in part(at, "Fish").text_input if field.label.startswith("%")]
    assert rows == ["% in row 1", "% at 20 degC"]
    assert [f.value for f in at.text_input if f.label == "name"] == [SLY]
