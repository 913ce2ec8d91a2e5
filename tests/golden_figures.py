"""What the shipped examples are told today: the keys of every JSON answer, and some sixty figures of them.

Run ``python tests/golden_figures.py`` to write both anew, only when an answer is meant to change; then the CHANGELOG
says why, and the difference of the two files is read line by line.
"""

from __future__ import annotations

import csv
import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "golden"
KEYS, FIGURES = FOLDER / "keys.json", FOLDER / "figures.csv"
COMMANDS = ("check", "season", "stock", "cold", "beds", "company", "powercut", "ramp", "fish")
COMPUTED = "heron_lane_computed"

# Command, example and place of each figure. Chosen so that each question has some, of the science and of the choice.
_SEASON = (
    "totals.feed_kg", "totals.feed_eaten_kg", "totals.growth_kg", "totals.deaths", "totals.tan_produced_g",
    "totals.oxygen_use_by_fish_kg", "limits[0].worst_value", "limits[0].margin_percent", "limits[1].margin_percent",
)  # fmt: skip
PLACES = (
    *(("season", name, place) for name in ("heron_lane", COMPUTED) for place in _SEASON),
    *(("season", "heron_lane_year", place) for place in ("totals.feed_kg", "totals.harvested_kg", "totals.deaths")),
    *(
        ("season", "heron_lane_young", place)
        for place in ("totals.growth_kg", "totals.deaths", "limits[0].worst_value")
    ),
    *(("season", "starter", place) for place in ("totals.growth_kg", "limits[0].margin_percent")),
    *(
        ("stock", COMPUTED, place)
        for place in ("fish", "kept", "kept_kg", "cohorts.tilapia.at_end[0]")
    ),
    *(
        ("cold", COMPUTED, place)
        for place in (
            "options[0].heat_kwh", "options[0].cost", "options[0].fuel[0].fuel_kwh",
            "options[0].design_night_kw.greenhouse", "options[0].peak_kw.loops.warm",
            "options[0].water_low_c.main", "options[0].water_mean_c.main",
            "options[0].growth_less_dead_kg", "options[19].cost_per_extra_kg", "options[45].water_low_c.main_warm",
            "heater_failure.times[0].hours_to_limit", "heater_failure_recommended.times[0].after_12_h_c",
            "water_by_month[0].greenhouse_low_c", "water_by_month[0].fish_room_mean_c",
        )
    ),
    *(
        ("beds", COMPUTED, place)
        for place in (
            "loops[0].mean_gap_g", "loops[0].fall.draw_share", "loops[0].weeks[0].uptake_g",
            "loops[0].weeks[0].handbook_low_m2", "loops[0].weeks[0].balance_m2", "loops[0].levers[0].gap_after_g",
            "loops[0].nutrients.phosphorus.freed_g[0]", "loops[0].nutrients.potassium.kept_g[0]",
            "beds[0].harvest_kg",
        )
    ),
    *(
        ("company", COMPUTED, place)
        for place in (
            "pairs[3].reasons[0].who_length_mm", "loops[0].species[0].days_below_growth_window",
            "loops[0].species[0].growth_percent_of_best", "loops[0].pairs[0].growth_percent_b",
        )
    ),
    *(
        ("powercut", COMPUTED, place)
        for place in (
            "tanks[0].minutes_to_lethal", "room_lowest_in_a_day_c", "generator_w", "generator.pump_w",
            "generator.pump_efficiency",
        )
    ),
    *(
        ("ramp", COMPUTED, place)
        for place in ("loops[0].fish_dying", "loops[0].lookahead_days", "loops[0].as_fed[0].worst_value")
    ),
)  # fmt: skip


def flat(data: Any, place: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a JSON answer with its place, as ``limits[0].threshold``."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from flat(value, f"{place}.{key}" if place else key)
    elif isinstance(data, list):
        for number, value in enumerate(data):
            yield from flat(value, f"{place}[{number}]")
    else:
        yield place, data


def keys_of(data: Any) -> list[str]:
    """Places of an answer, the items of a list taken for one, in alphabetical order."""
    return sorted({re.sub(r"\[\d+\]", "[]", place) for place, _ in flat(data)})


def read_keys() -> dict[str, list[str]]:
    """The keys written down, by command."""
    found: dict[str, list[str]] = json.loads(KEYS.read_text(encoding="utf-8"))
    return found


def read_figures() -> dict[tuple[str, str, str], float]:
    """The figures written down, by command, example and place."""
    with FIGURES.open(encoding="utf-8", newline="") as file:
        return {(row["command"], row["example"], row["place"]): float(row["value"]) for row in csv.DictReader(file)}


def main() -> None:
    """Write keys and figures anew."""
    from stocksim.site.examples import FOLDER as EXAMPLES

    def asked(command: str, example: str) -> Any:
        site = [] if command == "fish" else [str(EXAMPLES / f"{example}.toml")]
        with tempfile.TemporaryDirectory() as folder:
            done = subprocess.run(
                [sys.executable, "-m", "stocksim", command, *site, "--json"],
                cwd=folder, capture_output=True, text=True, check=True,
            )  # fmt: skip
        return json.loads(done.stdout)

    FOLDER.mkdir(exist_ok=True)
    answers = {pair: asked(*pair) for pair in {(command, example) for command, example, _ in PLACES}}
    keys = {command: keys_of(answers.get((command, COMPUTED)) or asked(command, COMPUTED)) for command in COMMANDS}
    KEYS.write_text(json.dumps(keys, indent=1) + "\n", encoding="utf-8")
    with FIGURES.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(("command", "example", "place", "value"))
        for command, example, place in PLACES:
            rows.writerow((command, example, place, dict(flat(answers[command, example]))[place]))


if __name__ == "__main__":
    main()
