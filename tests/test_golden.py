"""Answers and sentences stay as they are until they are meant to change; see `golden_figures`, `golden_sentences`."""

from __future__ import annotations

import golden_figures
import golden_sentences
import pytest
from command_line import runner

from stocksim.site.examples import FOLDER as EXAMPLES

FIGURES = golden_figures.read_figures()
ASKED = sorted(
    {(command, example) for command, example, _ in FIGURES}
    | {(command, golden_figures.COMPUTED) for command in golden_figures.COMMANDS}
)


def test_every_figure_is_written_down():
    assert tuple(FIGURES) == golden_figures.PLACES
    assert len(FIGURES) >= 60


@pytest.mark.parametrize(("command", "example"), ASKED)
def test_answers_hold_their_keys_and_figures(monkeypatch, capsys, tmp_path, command, example):
    site = [] if command == "fish" else [EXAMPLES / f"{example}.toml"]
    ran = runner(monkeypatch, capsys, tmp_path)(command, *site, "--json")
    assert ran.code == 0
    if example == golden_figures.COMPUTED:
        assert golden_figures.keys_of(ran.data) == golden_figures.read_keys()[command]
    found = dict(golden_figures.flat(ran.data))
    meant = {place: value for (*of, place), value in FIGURES.items() if of == [command, example]}
    # printed to four or more digits; another processor or Python may round the last one otherwise
    assert {place: found[place] for place in meant} == pytest.approx(meant, rel=2e-4, abs=1e-6)


def test_every_sentence_is_written_down():
    assert list(golden_sentences.read_sentences()) == list(golden_sentences.CASES)


@pytest.mark.parametrize("case", golden_sentences.CASES)
def test_sentences_stay_as_they_are(case):
    assert golden_sentences.told(case) == golden_sentences.read_sentences()[case]
