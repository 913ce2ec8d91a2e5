"""Weather of an EPW file: what is read is what another reader reads, and a wrong file is refused in one sentence.

The file is written here, and all of it is invented.
"""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest
from small_sites import one_tank

from stocksim.errors import InputError
from stocksim.site.epw import read_epw
from stocksim.site.reading import site_from_tables
from stocksim.site.weather import site_weather

HEAD = [
    "LOCATION,Nowhere,-,-,invented,000000,45.0,-100.0,-7.0,260.0",
    "DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0",
    "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0", "COMMENTS 1,invented for a test: no place has this weather", "COMMENTS 2,",
    "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
]  # fmt: skip
FIRST = dt.datetime(2025, 1, 1)


def line(hour: int) -> str:
    when = FIRST + dt.timedelta(hours=hour)
    air = 8.0 - 15.0 * math.cos(2 * math.pi * (hour - 480) / 8760) - 4.0 * math.cos(2 * math.pi * (hour - 3) / 24)
    sun = max(0.0, 500.0 * math.sin(math.pi * (when.hour + 0.5 - 6.0) / 12.0))
    cells = [2004, when.month, when.day, when.hour + 1, 0, "?9", round(air, 1), -5.0, 70, 98000, 0, 0, 300, round(sun)]
    return ",".join(str(cell) for cell in [*cells, *[0] * 21])


YEAR = [line(hour) for hour in range(8760)]


def write(folder, rows, head=None):
    path = folder / "nowhere.epw"
    path.write_text("\n".join([*(head or HEAD), *rows]) + "\n", encoding="utf-8")
    return path


def test_a_year_is_read_as_another_reader_reads_it(tmp_path):
    iotools = pytest.importorskip("pvlib.iotools")
    path = write(tmp_path, YEAR)
    data, place = iotools.read_epw(path)
    record = read_epw(path, dt.date(2026, 1, 1), 365)
    assert np.array_equal(record.hourly_c, data["temp_air"].to_numpy())
    assert record.sun_kwh_m2 == pytest.approx(data["ghi"].to_numpy().reshape(365, 24).sum(axis=1) / 1000.0)
    assert place["latitude"] == 45.0
    assert record.low_c[0] == data["temp_air"][:24].min()


def test_a_season_over_new_year_takes_the_days_of_its_dates(tmp_path):
    path = write(tmp_path, YEAR)
    whole = read_epw(path, dt.date(2026, 1, 1), 365)
    season = read_epw(path, dt.date(2027, 12, 30), 62)  # to 29 February 2028
    assert season.low_c[0] == whole.low_c[363]
    assert season.low_c[2] == whole.low_c[0]
    assert season.low_c[61] == season.low_c[60] == whole.low_c[58]  # the 29th as the 28th
    assert season.notes
    assert not [note for note in season.notes if "another place" in note]
    assert [note for note in read_epw(path, dt.date(2027, 1, 1), 2, 40.0).notes if "another place" in note]


def test_few_hours_without_air_are_bridged_and_sun_that_lacks_is_none(tmp_path):
    rows = list(YEAR)
    for hour in (10, 11):
        cells = rows[hour].split(",")
        cells[6], cells[13] = "99.9", "9999"
        rows[hour] = ",".join(cells)
    record = read_epw(write(tmp_path, rows), dt.date(2026, 1, 1), 3)
    known = [float(YEAR[hour].split(",")[6]) for hour in (9, 12)]
    assert record.hourly_c[10] == pytest.approx((2 * known[0] + known[1]) / 3)
    assert record.sun_kwh_m2 is None


@pytest.mark.parametrize(
    ("rows", "head", "said"),
    [
        (YEAR, ["date,low_c,high_c"], "LOCATION"),
        ([], None, "8,760"),
        (YEAR[:4000], None, "4,760"),
        ([*YEAR[:9], "2004,13,1,1,0,?,5,0,0,0,0,0,0,0", *YEAR[10:]], None, "line 18"),
        ([*YEAR[:9], "2004,1,1,25,0,?,5,0,0,0,0,0,0,0", *YEAR[10:]], None, "line 18"),
        ([*YEAR[:9], "2004,1,1,10,0,?,500,0,0,0,0,0,0,0", *YEAR[10:]], None, "line 18"),
        ([*YEAR[:9], "2004,1,1,10,0,?,warm,0,0,0,0,0,0,0", *YEAR[10:]], None, "line 18"),
        ([*YEAR[:9], "2004,1,1", *YEAR[10:]], None, "line 18"),
        (YEAR, [HEAD[0].replace("45.0", "north"), *HEAD[1:]], "latitude"),
    ],
)
def test_a_wrong_file_is_refused_in_one_sentence_that_names_it(tmp_path, rows, head, said):
    with pytest.raises(InputError) as refused:
        read_epw(write(tmp_path, rows, head), dt.date(2026, 10, 1), 30)
    (fault,) = refused.value.faults
    assert (fault.table, fault.field) == ("weather", "file")
    assert fault.message.startswith("nowhere.epw")
    assert said in fault.message


def test_what_is_no_text_is_refused_too(tmp_path):
    path = tmp_path / "picture.epw"
    path.write_bytes(bytes(range(256)) * 20)
    with pytest.raises(InputError, match="LOCATION"):
        read_epw(path, dt.date(2026, 10, 1), 30)


def test_a_site_names_it_as_any_weather_file(tmp_path):
    write(tmp_path, YEAR)
    tables = one_tank(days=30)
    tables["site"]["latitude"] = 45.0
    tables["weather"] = {"kind": "file", "file": "nowhere.epw"}
    tables["greenhouse"] = {"floor_area": "40 m2", "cover": "double_film"}
    tables["loops"]["main"] = {"sump": "800 L", "water_temperature": {"kind": "computed"}}
    site = site_from_tables(tables, tmp_path)
    weather = site_weather(site.file, site.folder)
    assert weather.low_c[0] == read_epw(tmp_path / "nowhere.epw", dt.date(2026, 10, 1), 1).low_c[0]
    tables["weather"]["file"] = "gone.epw"
    with pytest.raises(InputError, match=r"gone\.epw"):
        site_from_tables(tables, tmp_path)
