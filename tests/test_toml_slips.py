"""Slips of the pen in a site file: one sentence with the line, its text and what would be right."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hunting import examples
from hypothesis import given, settings
from hypothesis import strategies as st

from stocksim.errors import InputError
from stocksim.site.examples import example_text
from stocksim.site.reading import site_from_text
from stocksim.site.sentences import MOST_DEPTH, depth_is_sound, too_deep

TEXT = example_text("starter")
VOLUME = 'volume = "1000 L"'
COUNT = "count = 60"
START = "start = 2026-10-01"

# what is written for what; the line told; what is said of it
SLIPS = {
    "no closing quote": (VOLUME, 'volume = "1000 L', "quotation mark without its partner"),
    "no opening quote": (VOLUME, 'volume = 1000 L"', "quotation mark without its partner"),
    "two kinds of quotes": (VOLUME, "volume = '1000 L\"", "quotation mark without its partner"),
    "curly quotes": (VOLUME, "volume = \u201c1000 L\u201d", "curly quotes"),
    "unit outside": (VOLUME, "volume = 1000 L", "outside quotes"),
    "unit after the quotes": (VOLUME, 'volume = "1000" L', "outside quotes"),
    "decimal comma": (COUNT, "count = 1,5", "decimal comma"),
    "date with points": (START, "start = 01.10.2026", "date with points"),
    "date with slashes": (START, "start = 10/01/2026", "date with slashes"),
    "day of one digit": (START, "start = 2026-10-1", "no calendar has"),
    "30 February": (START, "start = 2026-02-30", "no calendar has"),
    "tab for =": (COUNT, "count\t60", "has no ="),
    "blank for =": (COUNT, "count 60", "has no ="),
    "colon": (COUNT, "count: 60", "colon after its key"),
    "= twice": (COUNT, "count == 60", "= twice"),
    "= = apart": (COUNT, "count = = 60", "= twice"),
    "no value": (COUNT, "count =", "has no value"),
    "yes": (COUNT, "wild = yes", "true or false"),
    "False": (COUNT, "wild = False  # not wild", "true or false"),
    "head without bracket": ("[tanks.first]", "[tanks.first", "lacks its closing bracket"),
    "events without brackets": ("[tanks.first]", "[[events]\n[tanks.first]", "lacks its closing brackets"),
    "head with a blank": ("[tanks.first]", "[tanks first]", "blank in its name"),
    "list without bracket": (COUNT, 'fasting_days = ["sun", "wed"', "never closed"),
    "table without bracket": (COUNT, 'ration = { kind = "unfed"', "never closed"),
    "list without comma": (COUNT, 'fasting_days = ["sun" "wed"]', "no comma between"),
    "table without comma": (COUNT, 'ration = { kind = "appetite" fraction = 0.8 }', "no comma between"),
    "lines of a list without comma": (COUNT, "a = [{ b = 1 }\n{ b = 2 }]", "lacks a comma at its end"),
    "comma before }": (COUNT, 'ration = { kind = "unfed", }', "comma before its closing bracket"),
    "key with a blank": (COUNT, "how many = 60", "blank in its key"),
    "text without quotes": (COUNT, "sex = males", "text without quotes"),
    "backslash": (COUNT, r'file = "logs\sump.csv"', "backslash in quotes"),
    "remark by //": (COUNT, "count = 60 // perch", "remark that does not begin with #"),
    "leading zero": (COUNT, "count = 060", "begins with 0"),
    "blank of a web page": (COUNT, "\u00a0count = 60", "blank that is no ordinary one"),
    "three quotes": (COUNT, 'about = """mine', "quotation mark without its partner"),
}  # fmt: skip


def said(text: str) -> str:
    with pytest.raises(InputError) as caught:
        site_from_text(text, Path(), "house.toml")
    (fault,) = caught.value.faults
    return str(fault)


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_told_with_its_line_and_what_would_be_right(name):
    right, wrong, words = SLIPS[name]
    assert right in TEXT
    text = TEXT.replace(right, wrong, 1)
    sentence = said(text)
    number = TEXT[: TEXT.index(right)].count("\n") + 1
    line = wrong.split("\n")[0].strip()
    assert sentence.startswith(f"house.toml: line {number} "), sentence
    assert words in sentence
    assert line.replace("\t", "\\t").replace("\u00a0", "") in sentence
    cure = sentence.split("; ", 1)[1]
    assert cure.endswith(".")
    assert "\n" not in sentence


@pytest.mark.parametrize(
    ("text", "line", "other"),
    [
        (TEXT.replace(VOLUME, f'{VOLUME}\nflow = "9 L/h"'), 26, 25),
        (TEXT.replace("[tanks.first]", "[tanks.first]\n[tanks.first]  # again"), 23, 22),
        (TEXT.replace("[site]", "[site]\n[ site ]"), 6, 5),
    ],
)
def test_what_stands_twice_is_told_with_both_lines(text, line, other):
    sentence = said(text)
    assert f"line {line} " in sentence
    assert f"(line {other} has it already)" in sentence


def test_a_slip_that_nobody_foresaw_is_told_by_line_and_column():
    sentence = said(TEXT.replace(COUNT, "count = 60 )"))
    assert re.findall(r"(?:line|column) \d+", sentence) == ["line 38", "column 12"]
    assert ": count = 60 );" in sentence


@settings(max_examples=examples(60))
@given(
    st.integers(0, len(TEXT) - 1),
    st.sampled_from(["", '"', "'", "=", ",", "[", "]", "{", "}", "\n", "\t", "#", "\\", "\x01"]),
)
def test_no_mutilated_file_is_told_by_anything_but_sentences(place, sign):
    try:
        site_from_text(TEXT[:place] + sign + TEXT[place + 1 :], Path(), "house.toml")
    except InputError as error:
        for fault in error.faults:
            assert str(fault).startswith("house.toml")
            assert str(fault).endswith(".")
            assert str(fault).isprintable()


DEEP = {
    "dotted key": "a" + ".a" * 50_000 + " = 1\n",
    "head": "[" + ".".join(["a"] * 50_000) + "]\n",
    "tables in a line": "a = " + "{a=" * 50_000 + "1" + "}" * 50_000,
    "lists": "a = " + "[" * 50_000 + "]" * 50_000,
    "heads that go deeper": "".join(f"[{'.'.join(['a'] * n)}]\n" for n in range(1, 320)),
    "head under head": TEXT + "".join(f"[{'site.' * (n % 40 + 1)}b{n}]\n" for n in range(50_000)),
}


@pytest.mark.parametrize("name", DEEP)
def test_tables_nested_without_end_are_one_sentence(name):
    assert f"more than {MOST_DEPTH} deep" in said(DEEP[name])


@given(
    st.recursive(
        st.integers(), lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3)
    )
)
def test_depth_against_recursion(tables):
    def depth(value) -> int:
        inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
        return 1 + max((depth(v) for v in inner if isinstance(v, (dict, list))), default=0)

    if isinstance(tables, (dict, list)):
        assert depth_is_sound(tables) == (depth(tables) <= MOST_DEPTH)


def test_an_ordinary_file_is_never_too_deep():
    assert not too_deep(TEXT)
    assert not too_deep("x" * 2_000_000)
    assert not too_deep("about = '" + "v1.2.3 and so on. " * 1000 + "'")
