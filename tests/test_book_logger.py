"""Loggers' files as different makers write them: read whole, nothing guessed, what is odd told."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from stocksim.book.logger import Asked, read_logger
from stocksim.errors import InputError

START = dt.datetime(2026, 10, 24)
HOURS = 24 * 20


def wave(hour: int) -> float:
    return round(14.0 + 0.5 * float(np.sin(hour / 24.0 * 2.0 * np.pi)) + 0.002 * hour, 2)


def write(path, head: str, form, hours=range(HOURS), codec="utf-8"):
    lines = [head, *(form(START + dt.timedelta(hours=hour), wave(hour)) for hour in hours)]
    path.write_text("\n".join(lines) + "\n", encoding=codec)
    return path


def comma(value: float) -> str:
    return str(value).replace(".", ",")


FORMS = {
    "iso": ("date,temperature_c", lambda t, v: f"{t.isoformat()},{v}", "utf-8", Asked("tanks.first")),
    "german": ("Nr;Datum/Zeit;Temp (°C);rF (%)", lambda t, v: f"{t.day};{t:%d.%m.%Y %H:%M:%S};{comma(v)};80,5",
               "cp1252", Asked("tanks.first")),
    "american": ('Plot title\n"#"\t"Date Time"\t"Temp, °F"', 
                 lambda t, v: f"1\t{t:%m/%d/%y %I:%M:%S %p}\t{v * 1.8 + 32}", "utf-16", Asked("tanks.first")),
    "two columns": ("Date|Time|Value", lambda t, v: f"{t:%Y-%m-%d}|{t:%H:%M}|{v}", "utf-8",
                    Asked("tanks.first", unit="degC")),
    "no header": ("", lambda t, v: f"{t:%Y/%m/%d %H:%M};{comma(v)}", "utf-8", Asked("tanks.first", unit="degC")),
}  # fmt: skip


@pytest.mark.parametrize("name", FORMS)
def test_the_same_water_is_read_from_every_form(tmp_path, name):
    head, form, codec, asked = FORMS[name]
    records, notes = read_logger(write(tmp_path / "log.csv", head, form, codec=codec), asked)
    assert notes == []
    assert [record.date for record in records] == [START.date() + dt.timedelta(days=day) for day in range(20)]
    for day, record in enumerate(records):
        values = [wave(hour) for hour in range(24 * day, 24 * day + 24)]
        assert record.of == "tanks.first"
        assert record.held["readings"] == 24
        assert record.held["temperature_c"] == pytest.approx(np.mean(values), abs=1e-3)
        assert (record.held["lowest_c"], record.held["highest_c"]) == pytest.approx(
            (min(values), max(values)), abs=1e-3
        )


def test_times_with_zones_go_to_the_sites_clock(tmp_path):
    file = write(tmp_path / "log.csv", "time;water (°C)", lambda t, v: f"{t.isoformat()}Z;{v}")
    cut_at_utc, notes = read_logger(file, Asked("loops.main"))
    assert len(notes) == 1
    moved, _ = read_logger(file, Asked("loops.main"), utc_offset_h=-8.0)
    assert cut_at_utc[0].held["readings"] == 24
    assert (moved[0].date, moved[0].held["readings"]) == (START.date() - dt.timedelta(days=1), 8)
    in_head = write(tmp_path / "head.csv", "Date Time GMT+02:00;temp °C", lambda t, v: f"{t:%Y-%m-%d %H:%M};{v}")
    assert read_logger(in_head, Asked("loops.main"), utc_offset_h=1.0)[0][0].date == START.date() - dt.timedelta(days=1)


def test_gaps_spikes_and_short_days_are_told(tmp_path):
    def form(when, value):
        return f"{when.isoformat()},{25.0 if when == dt.datetime(2026, 10, 31, 5) else value}"

    hours = [hour for hour in range(HOURS) if not 100 <= hour < 160]
    file = write(tmp_path / "log.csv", "date,temperature_c", lambda t, v: form(t, v), hours)
    records, notes = read_logger(file, Asked("loops.main"))
    assert max(record.held["highest_c"] for record in records) < 16.0
    assert sum(record.held["readings"] for record in records) == len(hours) - 1
    told = " ".join(notes)
    assert all(word in told for word in ("1 reading that jumped", "25.0", "2026-10-31 05:00", "1 gap", "61 hours"))
    assert START.date() + dt.timedelta(days=5) not in {record.date for record in records}


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("date,value\n2026-11-01,14\n2026-11-02,14\n", Asked("loops.main")),  # which unit?
        ("date,temp_c\n01/02/2026,14\n02/02/2026,14\n", Asked("loops.main")),  # day or month first?
        ("date;water °C;air °C\n2026-11-01;14;3\n", Asked("loops.main")),  # which column?
        ("date;water °C\n2026-11-01;14\n2026-11-02;14.5.2\n", Asked("loops.main")),
        ("date;water °C\n2026-11-01;14\n2026-13-02;14\n", Asked("loops.main")),
        ("date;water °C\n13/01/2026;14\n01/13/2026;14\n", Asked("loops.main")),
        ("date;water °C\n2026-11-01;140\n", Asked("loops.main")),
        ("date;water °C\n2026-11-01;14\n", Asked("loops.main", unit="degF")),
        ("date;water °C\n2026-11-01;14\n", Asked("loops.main", column="soil")),
        ("date;water °C\n2026-11-01;\n", Asked("loops.main")),
        ("nothing\n", Asked("loops.main")),
        ("", Asked("loops.main")),
    ],
)
def test_what_cannot_be_told_is_asked_in_one_sentence(tmp_path, text, asked):
    file = tmp_path / "log.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as told:
        read_logger(file, asked)
    assert len(told.value.faults) == 1
    assert str(told.value).startswith("log.csv")


def test_what_was_asked_is_taken(tmp_path):
    file = tmp_path / "log.csv"
    file.write_text("date;water;air °C\n01/02/2026;57,2;3\n", encoding="utf-8")
    (record,), _ = read_logger(file, Asked("loops.main", "degF", "Water", "month-first"))
    assert (record.date, record.held["temperature_c"]) == (dt.date(2026, 1, 2), 14.0)
