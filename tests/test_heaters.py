"""One rule judges a heater, and every answer tells what it says."""

from __future__ import annotations

import datetime as dt
import tomllib

import pytest
from calm_sites import calm_text
from command_line import runner
from reliability.bases import toml_text
from site_faults import changed

from stocksim.heat.heaters import HEATER_MARGIN, HeaterSize, heater_size, judged_heaters
from stocksim.site.examples import FOLDER
from stocksim.site.reading import site_from_tables

# few fish: a heater is judged alike, and nothing has to be advised
TYPED = tomllib.loads(calm_text("heron_lane"))
COMPUTED = tomllib.loads(calm_text("heron_lane_computed"))
FIRST_WEEKS = {"season.end": dt.date(2026, 12, 20)}


def tables(source, power_kw):
    """A few weeks of an example with a heater of its own power, in TOML and as a site."""
    made = changed(source, FIRST_WEEKS | {"greenhouse.heater.power": f"{power_kw!r} kW"})
    for bed in made["beds"].values():
        bed["plantings"] = [
            p | {"to": min(p["to"], FIRST_WEEKS["season.end"])}
            for p in bed["plantings"]
            if p["from"] < FIRST_WEEKS["season.end"]
        ]
    return made


def needed_kw(source):
    """What the design night asks of the greenhouse's heater."""
    judged = {one.place: one for one in judged_heaters(site_from_tables(tables(source, 20.0), FOLDER))}
    return judged["greenhouse"].needed_kw


@pytest.mark.parametrize(
    ("power", "size"), [(0.99, HeaterSize.TOO_SMALL), (1.0, HeaterSize.UNSURE), (1.24, HeaterSize.UNSURE),
                        (1.25, HeaterSize.ENOUGH)],
)  # fmt: skip
def test_a_heater_is_enough_only_with_the_models_own_uncertainty_to_spare(power, size):
    assert heater_size(8.0, 8.0 * power) is size
    assert HEATER_MARGIN == 0.25  # of the fuel, as docs/heat.md tells


@pytest.mark.parametrize("source", [COMPUTED, TYPED], ids=["computed", "typed"])
def test_check_season_and_cold_say_the_same_of_a_heater(source, monkeypatch, capsys, tmp_path):
    call = runner(monkeypatch, capsys, tmp_path)
    need = needed_kw(source)
    for share, size, says in ((1.0 / 0.9, "unsure", True), (1.5 / 0.9, "enough", False)):
        path = tmp_path / f"{size}.toml"
        path.write_text(toml_text(tables(source, share * need)), encoding="utf-8")
        told = {
            "check": call("check", path, "--json").data["understood"],
            "season": call("season", path, "--json").data,
            "cold": call("cold", path, "--years", "2", "--json").data,
        }
        rows = [one["heaters"] for one in told.values()]
        assert rows[0] == rows[1] == rows[2]
        row = next(one for one in rows[0] if one["place"] == "greenhouse")
        assert row["size"] == size
        assert row["design_night_kw"] == pytest.approx(need, abs=0.01)
        assert row["size_to_have_kw"] == pytest.approx(1.25 * need, abs=0.01)
        own = told["cold"]["options"][0]
        assert own["design_night_kw"]["greenhouse"] == row["design_night_kw"]
        assert (own["heater_sizes"]["greenhouse"], own["is_heater_too_small"]) == (size, says)
        for name in told:
            options = ("--years", "2") if name == "cold" else ()
            words = " ".join(call(name, path, *options, "--all").out.split())
            assert ("too small to be sure of" in words) == says, name
