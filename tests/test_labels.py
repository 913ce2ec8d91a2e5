"""Every label of the pages, and every head of a table, is a word of docs/glossary.md or a plain word.

Plain words stand in `data/plain_words.txt`, by hand, so that a new one is looked at: explain a word of the field in the
glossary, and write a plain one into the list.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from stocksim.faces import model_forms
from stocksim.faces.forms import Field
from stocksim.site.model import SiteFile

ROOT = Path(__file__).resolve().parents[1]
FILES = sorted([*(ROOT / "stocksim" / "answers").rglob("*.py"), *(ROOT / "stocksim" / "faces").glob("*.py")])
# what shows its first text as a label, called of streamlit or of the guard
WIDGETS = {
    "button", "checkbox", "date_input", "download_button", "expander", "file_uploader", "form_submit_button", "metric",
    "multiselect", "number_input", "one_of", "pills", "popover", "radio", "segmented_control", "selectbox", "slider",
    "tabs", "text", "text_area", "text_input", "toggle",
}  # fmt: skip
# what shows a text of ours as a heading, and which argument it is
HEADINGS = {"Head": 0, "heading_html": 0, "begin": 0, "Section": 2, "Field": 1}
_OF_A_TABLE = re.compile(r"_?rows?$|_row$")


def texts(node: ast.expr) -> Iterator[str]:
    """Texts of an expression, what is filled in left out."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.JoinedStr):
        yield " ".join(str(part.value) for part in node.values if isinstance(part, ast.Constant))
    elif isinstance(node, ast.IfExp):
        yield from texts(node.body)
        yield from texts(node.orelse)
    elif isinstance(node, ast.List | ast.Tuple):
        for one in node.elts:
            yield from texts(one)
    elif isinstance(node, ast.BinOp):
        yield from texts(node.left)


def labels(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Labels, headings and heads of tables of a module, with their lines."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef) and _OF_A_TABLE.search(node.name):
            for one in ast.walk(node):
                if isinstance(one, ast.Dict):
                    yield from ((one.lineno, text) for key in one.keys if key is not None for text in texts(key))
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in WIDGETS and isinstance(node.func, ast.Attribute) and node.args:
            yield from ((node.lineno, text) for text in texts(node.args[0]))
        elif name in HEADINGS and len(node.args) > HEADINGS[name]:
            yield from ((node.lineno, text) for text in texts(node.args[HEADINGS[name]]))
        elif name == "markdown" and node.args:
            yield from ((node.lineno, text) for text in texts(node.args[0]) if text.startswith("#"))


def glossary() -> set[str]:
    """Every word of the terms of the glossary, without what stands in brackets."""
    page = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8").split("## Not said")[0]
    page = re.sub(r"<a id=[^>]*></a>", "", page)
    terms = [line.strip("| ").split("|")[0].split("(")[0] for line in page.splitlines() if line.startswith("| ")]
    return {part for term in terms for word in words(term) for part in (word, *word.split("-"))}


def words(text: str) -> list[str]:
    # places in the middle of a text where something is filled in, keys of data and names of files are no words
    text = re.sub(r"`[^`]*`|--\w+|\.\w+\b|\b\w+_\w+\b", " ", text)
    return [word.lower().strip("'-") for word in re.findall(r"[A-Za-z][A-Za-z'-]+", text)]


PLAIN = set((ROOT / "tests" / "data" / "plain_words.txt").read_text(encoding="utf-8").split())
KNOWN = PLAIN | glossary()


def strange(text: str) -> list[str]:
    """Words of a label that are neither explained nor plain; a plural counts as its word."""
    met = [word for word in words(text) if word not in KNOWN]
    return [word for word in met if not (word.endswith("s") and {word[:-1], word.removesuffix("es")} & KNOWN)]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT / "stocksim")))
def test_labels_are_of_the_glossary_or_plain(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    met = [f"{line}: {', '.join(found)}: {text}" for line, text in labels(tree) if (found := strange(text))]
    assert met == [], "explain them in docs/glossary.md, or write them into tests/data/plain_words.txt"


def generated(fields: Iterable[Field]) -> Iterator[str]:
    """Labels of fields that are made from the tables of a site file, with those inside them."""
    for field in fields:
        yield field.label
        yield from generated(field.form)


@pytest.mark.parametrize("table", SiteFile.model_fields)
def test_labels_made_from_a_table_are_of_the_glossary_or_plain(table):
    kinds = ("normals", "file") if table == "weather" else (None,)
    fields = [] if table == "events" else [field for kind in kinds for field in model_forms.form_of(table, kind)]
    assert [found for text in generated(fields) if (found := strange(text))] == []


def test_the_list_of_plain_words_is_in_order_and_holds_none_of_the_glossary():
    listed = (ROOT / "tests" / "data" / "plain_words.txt").read_text(encoding="utf-8").split()
    assert listed == sorted(set(listed))
    jargon = {"ammonia", "nitrite", "alkalinity", "biofilter", "sump", "settler", "strain", "satiation", "maturity"}
    assert not jargon & set(listed)


def test_labels_are_found_and_a_strange_word_is_told():
    tree = ast.parse(
        'st.button("Save the draft")\nHead("Zeta potential")\ndef a_rows(x):\n    return [{"gamma ray": 1}]\n'
        'Section("k", [], f"Qubits of {x}")\nst.write("omega")'
    )
    met = {word for _, text in labels(tree) for word in strange(text)}
    assert {"zeta", "gamma", "qubits"} <= met
    assert "omega" not in met
    assert "draft" not in met
