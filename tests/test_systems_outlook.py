"""The outlook of the published systems: what is assumed is drawn as its table says; the page counts its own rows."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import numpy as np
import pytest

DOCS = Path(__file__).resolve().parents[1] / "docs"
sys.path.insert(0, str(DOCS))

import systems  # noqa: E402
import systems_outlook  # noqa: E402

ROW = re.compile(
    r"^\| (\w+) \| ([^|]+) \| (\S+) \| (\S+) \| (\S+) \| (\S+) \| (inside|\*\*below\*\*|\*\*above\*\*) \|$"
)


def rows_of_page() -> list[systems_outlook.Held]:
    found = []
    for line in (DOCS / "systems.md").read_text(encoding="utf-8").splitlines():
        match = ROW.match(line)
        if match:
            found.append(systems_outlook.Held(match[1], match[2], *(float(cell) for cell in match.groups()[2:6])))
    return found


def test_the_page_tells_what_its_rows_count(monkeypatch):
    """Three digits are printed, so what lies on a band's end by them is left to the printed word."""
    found = rows_of_page()
    published = [(row["system"], row["output"]) for row in systems.rows("outputs.csv") if row["published"]]
    assert [(one.system, one.what) for one in found] == published
    monkeypatch.setattr(systems_outlook, "held", lambda: found)
    page = (DOCS / "systems.md").read_text(encoding="utf-8")
    assert "\n".join(systems_outlook.lines()) in page
    inside = sum(one.place == "inside" for one in found)
    assert f"**{inside} of {len(found)} (" in page


@pytest.mark.parametrize(
    ("cells", "share", "meant"),
    [
        (("10 degC", "12 degC", "20 degC"), 0.25, "11 degC"), (("10 degC", "12 degC", "20 degC"), 0.75, "16 degC"),
        (("0.2", "0.4", "0.6"), 0.5, 0.4), (("80", "150", "200"), 1.0, 200), (("1 kW", "2 kW", "4 kW"), 0.0, "1 kW"),
        (("trout_42", "trout_43", "trout_44"), 0.99, "trout_44"), (("a", "b", "b"), 0.2, "a"),
    ],
)  # fmt: skip
def test_what_is_assumed_is_drawn_between_its_ends(cells, share, meant):
    assert systems_outlook.between(*cells, share) == meant


@pytest.mark.parametrize("row", systems.rows("assumed.csv"), ids=lambda row: f"{row['system']} {row['field']}")
def test_every_assumption_can_be_drawn(row):
    cells = (row["low"], row["middle"], row["high"])
    low, middle, high = (systems_outlook.between(*cells, share) for share in (0.0, 0.5, 1.0))
    numbers = [str(value).split(" ")[0] for value in (low, middle, high)]
    meant = [cell.split(" ")[0] for cell in cells]
    for found, cell in zip(numbers, meant, strict=True):
        assert found == cell or float(found) == pytest.approx(float(cell), rel=1e-5)


def test_a_system_is_drawn_with_what_its_paper_does_not_tell(monkeypatch):
    monkeypatch.setattr(systems_outlook, "SEASONS", 8)
    systems_outlook.drawn.cache_clear()
    found = systems_outlook.drawn("bluegill_indoors", ("survival:bluegill", "weight:bluegill"))
    systems_outlook.drawn.cache_clear()
    assert len(found["weight:bluegill"]) == 8
    assert np.ptp(found["weight:bluegill"]) > 20.0
    usual = systems.measured(systems.season_of("bluegill_indoors"), "weight:bluegill")
    assert found["weight:bluegill"].min() < usual < found["weight:bluegill"].max()
