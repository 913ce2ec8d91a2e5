"""Put the demonstration site's printed answer into README.md: ``python docs/refresh_readme.py``."""

from __future__ import annotations

import os
import re
from pathlib import Path

from stocksim.answers.season.answer import season_answer, solve
from stocksim.faces.text import WITHOUT_TERMINAL, answer_text
from stocksim.site.examples import FOLDER
from stocksim.site.reading import load_site

README = Path(__file__).resolve().parents[1] / "README.md"
BLOCK = re.compile(r"(<!-- printed answer -->\n```text\n)(.*?)(\n```)", re.DOTALL)


def printed_answer() -> str:
    """What `stocksim open` prints before it serves the pages."""
    answer = solve(load_site(FOLDER / "heron_lane.toml"))
    os.environ["COLUMNS"] = str(WITHOUT_TERMINAL)  # whoever's terminal this is
    return answer_text(season_answer(answer.season, answer.findings, advice=answer.advice), ())


if __name__ == "__main__":
    text = README.read_text(encoding="utf-8")
    README.write_text(BLOCK.sub(lambda match: match[1] + printed_answer() + match[3], text), encoding="utf-8")
