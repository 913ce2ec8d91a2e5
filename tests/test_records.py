"""Recorded files: read in blocks as row by row, zones of time, what must not be read, questions to what is read."""

from __future__ import annotations

import datetime as dt
import io
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stocksim.errors import InputError
from stocksim.opening import MOST_BYTES, beside, open_regular, read_regular
from stocksim.site import records as reading
from stocksim.site.logs import (
    STUCK_DAYS,
    air_bounds,
    longest_run,
    read_temperature_log,
    read_weather_file,
    sun_questions,
    water_questions,
    weather_file_has_sun,
    weather_questions,
)
from stocksim.site.reading import load_site, site_from_text
from stocksim.site.records import NO_ZONE, Column, Table

START = dt.date(2026, 11, 1)
COLUMN = Column("temperature_c", -40.0, 60.0, "degC", "a temperature as 17.5")


def refusals(call, *arguments) -> list[str]:
    with pytest.raises(InputError) as caught:
        call(*arguments)
    return [str(fault) for fault in caught.value.faults]


def table_of(text: str | bytes) -> Table:
    data = text if isinstance(text, bytes) else text.encode()
    return Table(io.BytesIO(data), "log.csv", ("date", "temperature_c"))


def read(text: str | bytes):
    return table_of(text).read("date", [COLUMN])


# ---- blocks as rows -------------------------------------------------------------------------------------------------

NUMBER = st.floats(-40.0, 60.0).flatmap(
    lambda value: st.sampled_from([f"{value:.2f}", f"{value:.0f}", f"{value:+.3f}", repr(value), f" {value:.1f} "])
)
MOMENT = st.datetimes(dt.datetime(1900, 1, 1), dt.datetime(2199, 12, 31)).flatmap(
    lambda when: st.sampled_from(
        [
            when.date().isoformat(), when.isoformat(timespec="minutes"), when.isoformat(" ", "seconds"),
            when.isoformat(timespec="seconds") + "Z", when.isoformat(timespec="minutes") + "-08:00",
            when.isoformat(timespec="minutes") + "+05:45",
        ]
    )
)  # fmt: skip


@given(st.lists(st.tuples(MOMENT, NUMBER, st.sampled_from(["", "me", '"a, b"', '"two\nlines"'])), max_size=12),
       st.booleans(), st.sampled_from(["\n", "\r\n"]))  # fmt: skip
def test_a_block_gives_what_its_rows_give_one_by_one(rows, alike, end):
    if alike and rows:
        rows = [(rows[0][0], number, "") for _, number, _ in rows]
    text = end.join(["date,temperature_c,who", *(",".join(row) for row in rows)]) + end
    found = read(text)
    whens = [dt.datetime.fromisoformat(row[0]) for row in rows]
    assert found.values["temperature_c"].tolist() == [float(row[1]) for row in rows]
    assert found.second.tolist() == [
        round((when.replace(tzinfo=None, microsecond=0) - dt.datetime(1970, 1, 1)).total_seconds()) for when in whens
    ]
    assert found.zone.tolist() == [
        NO_ZONE if when.tzinfo is None else when.utcoffset().total_seconds() / 60.0 for when in whens
    ]


def test_plain_rows_of_many_blocks_keep_their_order_and_lines(monkeypatch):
    monkeypatch.setattr(reading, "_BLOCK", 500)
    monkeypatch.setattr(Table, "_slow", lambda *_: pytest.fail("a plain block was read row by row"))
    rows = [f"2026-10-{1 + n % 31:02d}T{n % 24:02d}:00,{n / 100:.2f}" for n in range(3000)]
    found = read("\n".join(["date,temperature_c", *rows]))
    assert found.values["temperature_c"].tolist() == [n / 100 for n in range(3000)]
    assert found.line.tolist() == list(range(2, 3002))


@pytest.mark.parametrize("bad", ["2026-13-01,1", "2026-02-30,1", "2026-10-01T24:00,1", "2026-10-01,61", "2026-10-01,",
                                 "2026-10-01,1.2.3", "2026-10-01,.", "2026-10-01,1,2", "2026-10-01", "2026-10-1,1",
                                 "2026-10-01,1e", "2026-10-01,--1"])  # fmt: skip
def test_one_bad_row_among_thousands_is_found_at_its_line(bad):
    rows = [f"2026-10-{1 + n % 31:02d},{n % 40}" for n in range(30_000)]
    rows[20_000] = bad
    (message,) = refusals(read, "\n".join(["date,temperature_c", *rows]))
    assert message.startswith("log.csv: line 20002: ")


def test_a_file_of_faults_is_not_read_to_its_end():
    messages = refusals(read, "date,temperature_c\n" + "x,1\n" * 500_000)
    assert len(messages) == 6
    assert messages[-1].startswith("log.csv: and ")


@pytest.mark.parametrize("text", [b"date,temperature_c\n" + b"9" * 300_000, b"x" * 300_000, b"\0" * 300_000])
def test_endless_lines_are_refused(text):
    (message,) = refusals(read, text)
    assert "too long" in message


SECRET = "hunter2"


@pytest.mark.parametrize("text", [SECRET, f"{SECRET},{SECRET}\n1,2\n", f"PATH={SECRET}\0HOME=/root\0", f'"{SECRET}'])
def test_what_is_no_log_is_not_repeated(text):
    assert SECRET not in " ".join(refusals(read, text))


# ---- files that must not be read ------------------------------------------------------------------------------------


def site_with(folder: Path, water: str, weather: str = "weather.csv") -> list[str]:
    (folder / "house.toml").write_text(
        f"""
[site]
name = "house"
latitude = 45
[season]
start = 2026-10-01
end = 2026-10-02
[loops.main]
sump = "500 L"
water_temperature = {{ kind = "log", file = "{water}" }}
[tanks.first]
loop = "main"
volume = "1000 L"
flow = "1000 L/h"
[weather]
kind = "file"
file = "{weather}"
""",
        encoding="utf-8",
    )
    with pytest.raises(InputError) as caught:
        load_site(folder / "house.toml")
    return [fault.message for fault in caught.value.faults]


LOG = "date,temperature_c\n2026-10-01,15\n2026-10-02,15\n"
DAYS = "date,low_c,high_c\n2026-10-01,1,9\n2026-10-02,1,9\n"


@pytest.mark.skipif(os.name == "nt", reason="links and pipes")
def test_only_regular_files_below_the_sites_folder_are_read(tmp_path):
    home, outside = tmp_path / "home", tmp_path / "outside"
    home.mkdir()
    outside.mkdir()
    (outside / "log.csv").write_text(LOG)
    (outside / "weather.csv").write_text(DAYS)
    (home / "weather.csv").write_text(DAYS)
    (home / "log.csv").write_text(LOG)
    (home / "link.csv").symlink_to(outside / "log.csv")
    (home / "folder").symlink_to(outside)
    (home / "ring").symlink_to("ring")
    os.mkfifo(home / "pipe")
    (home / "deep").mkdir()
    (home / "device").symlink_to("/dev/zero")
    (home / "environ").symlink_to("/proc/self/environ")
    for name in ("../outside/log.csv", str(outside / "log.csv"), "link.csv", "folder/log.csv", "/etc/passwd", "device",
                 "environ", "deep/../../outside/log.csv"):  # fmt: skip
        (message,) = site_with(home, name)
        assert message.startswith(f"{name} leads out of ")
        (message,) = site_with(home, "log.csv", name.replace("log.csv", "weather.csv"))
        assert " leads out of " in message or name == "link.csv"
    for name, why in (("pipe", "a pipe"), ("deep", "a folder"), ("ring", "cannot be")):
        (message,) = site_with(home, name)
        assert message.startswith(f"{name} ")
        assert why in message
    (home / "inner.csv").symlink_to("log.csv")
    text = (home / "house.toml").read_text()
    for name in ("log.csv", "inner.csv", "deep/../log.csv", str(home / "log.csv")):
        inside = text.replace('file = "ring"', f'file = "{name}"')
        assert site_from_text(inside, home).held_c["main"].tolist() == [15.0, 15.0]


def test_a_site_tells_which_files_it_reads(tmp_path):
    (tmp_path / "weather.csv").write_text(DAYS)
    (tmp_path / "log.csv").write_text(LOG)
    site_with(tmp_path, "gone.csv")
    text = (tmp_path / "house.toml").read_text().replace("gone.csv", "log.csv")
    (tmp_path / "house.toml").write_text(text)
    assert load_site(tmp_path / "house.toml").files() == [
        tmp_path / name for name in ("house.toml", "log.csv", "weather.csv")
    ]


@pytest.mark.skipif(os.name == "nt", reason="devices")
def test_an_endless_device_is_never_read(tmp_path):
    for path in ("/dev/zero", "/dev/random", "/dev/null"):
        (message,) = refusals(read_temperature_log, path)
        assert "a device or a pipe" in message
        (message,) = refusals(load_site, path)
        assert message.startswith(f"{path}: ")
        assert "a device or a pipe" in message


def test_a_file_beyond_the_bound_is_not_read(tmp_path):
    big = tmp_path / "big.csv"
    with big.open("wb") as out:
        out.truncate(MOST_BYTES + 1)  # takes no disk
    for read_it, most in ((read_temperature_log, "200 MB"), (load_site, "5 MB")):
        (message,) = refusals(read_it, big)
        assert "big.csv: " in message
        assert f"larger than {most}" in message
    with open_regular(big, MOST_BYTES + 1) as opened:
        assert opened.read(1) == b"\0"
    assert len(read_regular(big, MOST_BYTES + 1)) == MOST_BYTES + 1


@given(st.text(alphabet="./ab\\:~", max_size=12))
def test_no_name_leads_out(tmp_path_factory, name):
    home = tmp_path_factory.getbasetemp()
    try:
        found = beside(home, name)
    except InputError:
        return
    assert found.resolve().is_relative_to(home.resolve())


def test_a_log_is_read_once_until_it_changes(tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    path.write_text(LOG)
    opened = []
    from stocksim.site import logs as temperature_log

    monkeypatch.setattr(temperature_log, "open_regular", lambda p: opened.append(p) or open_regular(p))
    read_temperature_log(path)
    read_temperature_log(path)
    assert len(opened) == 2  # written just now: it might change once more within the clock's grain
    monkeypatch.setattr("stocksim.site.records.time.time", lambda: path.stat().st_ctime + 60.0)
    assert read_temperature_log(path).mean_c.tolist() == [15.0, 15.0]
    read_temperature_log(path)
    assert len(opened) == 3
    path.write_text(LOG.replace("15", "16"))
    assert read_temperature_log(path).mean_c.tolist() == [16.0, 16.0]


# ---- zones ----------------------------------------------------------------------------------------------------------


def hours(zone_of, count: int = 48, offset: int = 0) -> str:
    first = dt.datetime.combine(START, dt.time())
    rows = ["time,temperature_c"]
    for hour in range(count):
        rows.append(
            f"{(first + dt.timedelta(hours=hour + offset)).isoformat(timespec='minutes')}{zone_of(hour)},{hour % 24}"
        )
    return "\n".join(rows) + "\n"


def weather(tmp_path, text: str, *more):
    path = tmp_path / "weather.csv"
    path.write_text(text, encoding="utf-8")
    return read_weather_file(path, START, 2, *more)


def test_times_of_one_zone_are_the_sites_clock_and_it_is_said(tmp_path):
    record = weather(tmp_path, hours(lambda _: "-08:00"))
    assert record.hourly_c.tolist() == [float(hour % 24) for hour in range(48)]
    (note,) = record.notes
    assert note.startswith("weather.file: ")
    assert "UTC-08:00" in note


def test_times_in_utc_are_refused_until_the_sites_clock_is_told(tmp_path):
    (message,) = refusals(weather, tmp_path, hours(lambda _: "Z", 60))
    assert "utc_offset" in message
    record = weather(tmp_path, hours(lambda _: "Z", 60), -8.0)
    # midnight at the site is 8:00 in UTC
    assert record.hourly_c.tolist() == [float((hour + 8) % 24) for hour in range(48)]
    assert "UTC-08:00 (site.utc_offset)" in record.notes[0]


def test_summer_time_is_brought_to_standard_time(tmp_path):
    # the clock goes back at 2:00 of the second day: hours as written overlap, hours of standard time do not
    text = hours(lambda hour: "-07:00" if hour < 26 else "-08:00", offset=0)
    rows = text.splitlines()
    rows[27:] = hours(lambda hour: "-08:00", 23, 25).splitlines()[1:]
    record = weather(tmp_path, "\n".join(rows))
    assert not any("two readings" in note for note in record.notes)
    assert "standard time, UTC-08:00" in record.notes[0]
    assert record.hourly_c[:24].tolist() == [float((hour + 1) % 24) for hour in range(24)]


@pytest.mark.parametrize(
    ("zone_of", "words"),
    [
        (lambda hour: "" if hour == 30 else "-08:00", "line 32: "),
        (lambda hour: ("-08:00", "-05:00", "Z")[hour % 3], "3 zones (UTC-08:00, UTC-05:00, UTC+00:00)"),
    ],
)
def test_mixed_zones_are_refused(tmp_path, zone_of, words):
    (message,) = refusals(weather, tmp_path, hours(zone_of))
    assert words in message


def test_a_log_in_utc_is_cut_at_the_sites_midnight_where_its_clock_is_told(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("date,temperature_c\n2026-10-02T04:00Z,10\n2026-10-02T20:00Z,20\n")
    log = read_temperature_log(path)
    assert log.dates == [dt.date(2026, 10, 2)]
    assert "UTC" in log.notes[0]
    assert "midnight" in log.notes[0]
    assert read_temperature_log(path, -8.0).dates == [dt.date(2026, 10, 1), dt.date(2026, 10, 2)]


# ---- other slips of weather files -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "date,low_c,high_c\n2026-11-01,-1,5,3,5\n",
            ("weather.csv, line 2: ", "5 cells", "3;", "decimal comma"),
        ),
        ("date,low_c,high_c,note\n2026-11-01,-1,5\n", ("weather.csv, line 2: ", "3 cells", "4;")),
        ("date;low_c;high_c\n2026-11-01;-1,5;3.5\n", ("line 2: ", '"3.5"', "decimal point")),
        (f"{SECRET};{SECRET}\n", ("names of its columns",)),
        (f"time,{SECRET}\n", ("exactly one column", "temperature_c or temperature_f")),
    ],
)
def test_slips_of_weather_files(tmp_path, text, words):
    (message,) = refusals(weather, tmp_path, text)
    for word in words:
        assert word in message
    assert SECRET not in message


def test_semicolons_with_decimal_commas_and_a_mark_at_the_start_are_read(tmp_path):
    text = "\ufeffdate;low_c;high_c;sun_kwh_m2\n2026-11-01;-1,5;3,5;0,9\n2026-11-02;-2;4;1,25\n"
    record = weather(tmp_path, text)
    assert (record.low_c.tolist(), record.high_c.tolist()) == ([-1.5, -2.0], [3.5, 4.0])
    assert record.sun_kwh_m2.tolist() == [0.9, 1.25]
    assert weather_file_has_sun(tmp_path / "weather.csv")
    assert not weather_file_has_sun(tmp_path / "gone.csv")


# ---- questions ------------------------------------------------------------------------------------------------------


def asked(mean, spread=0.0, count=1, unit="degC") -> list[str]:
    mean = np.asarray(mean, dtype=float)
    days = 700_000 + np.arange(len(mean))
    return water_questions(days, mean, np.full(len(mean), spread), np.full(len(mean), count), unit)


def test_a_sound_log_is_not_asked_about():
    assert asked(15.0 + 5.0 * np.sin(np.arange(365) / 58.0), 2.0, 288) == []
    assert asked(np.full(40, 18.0)) == []  # read by hand, to the degree, with a heater
    assert asked([28.0, 28.4, 28.1]) == []


@pytest.mark.parametrize(
    ("mean", "more", "words"),
    [
        ([38.0, 39.5, 36.0], {}, "is it degF?"),
        ([-1.5, -1.0], {"unit": "degF"}, "in degC outdoors?"),
        ([15.0, 15.0, 21.0, 21.0], {}, "moves by 6.0 degC from"),
        ([15.0, 14.0], {"spread": 12.0}, "12.0 degC apart (and 1 "),
        ([15.0, *[16.25] * STUCK_DAYS], {"count": 24}, f"16.25 degC, for {STUCK_DAYS} days"),
    ],
)
def test_water_that_can_hardly_be_is_asked_about(mean, more, words):
    (question,) = asked(mean, **more)
    assert words in question
    assert question.endswith("?")


def a_year(latitude: float, low=-6.0, high=22.0):
    """Lows and highs of a year at a latitude of the north, from a smooth wave, invented."""
    day = np.arange(365)
    mean = 0.5 * (low + high) - 0.5 * (high - low) * np.cos(2.0 * np.pi * (day - 15) / 365.0)
    mean = mean if latitude > 0 else np.roll(mean, 182)
    return mean - 5.0, mean + 5.0


JANUARY = dt.date(2027, 1, 1)


@pytest.mark.parametrize(
    ("latitude", "low", "high"),
    # means of January and July (or the other way round): a cold inland, a mild coast, a hot desert, the tropics, a high
    # mountain, the far north; from memory of climate tables, rounded
    [(47.0, -22.0, 18.0), (45.0, 9.0, 19.0), (33.0, 12.0, 37.0), (5.0, 26.0, 28.0), (47.0, -12.0, 2.0),
     (63.0, -44.0, 19.0), (-37.0, 9.0, 21.0)],
)  # fmt: skip
def test_real_climates_are_not_asked_about_and_their_other_unit_is_found(latitude, low, high):
    lows, highs = a_year(latitude, low, high)
    assert weather_questions(latitude, JANUARY, lows, highs, "degC") == ([], [])
    questions, faults = weather_questions(latitude, JANUARY, 1.8 * lows + 32.0, 1.8 * highs + 32.0, "degC")
    assert len(questions) + len(faults) == 1
    assert "is it degF" in (questions + faults)[0] or "if it is degF" in (questions + faults)[0]


def test_a_winter_in_degf_under_celsius_heads_is_refused(tmp_path):
    """October to May at 45 degrees, invented: 52 to 24 and back to 52 degF on average."""
    days = [dt.date(2026, 10, 1) + dt.timedelta(days=day) for day in range(243)]
    mean = 52.0 - 28.0 * np.sin(np.pi * np.arange(243) / 243.0)
    rows = [f"{day},{value - 5:.0f},{value + 5:.0f}" for day, value in zip(days, mean, strict=True)]
    (tmp_path / "w.csv").write_text("\n".join(["date,low_c,high_c", *rows]))
    record = read_weather_file(tmp_path / "w.csv", days[0], 243)
    questions, faults = weather_questions(45.0, days[0], record.low_c, record.high_c, record.unit)
    assert questions == []
    (fault,) = faults
    assert "if it is degF" in fault
    # and Celsius under Fahrenheit heads
    lows, highs = ((value - 32.0) / 1.8 for value in a_year(45.0))
    questions, faults = weather_questions(45.0, JANUARY, lows, highs, "degF")
    assert "degC" in (questions + faults)[0]


def test_jumps_stuck_days_and_too_much_sun_are_asked_about():
    lows, highs = a_year(45.0)
    lows[100], highs[100] = lows[100] + 30.0, highs[100] + 30.0
    ((question,), faults) = weather_questions(45.0, JANUARY, lows, highs, "degC")
    assert faults == []
    assert "2027-04-1" in question
    assert "slip?" in question
    lows, highs = a_year(45.0)
    lows[50:55], highs[50:55] = -2.0, 7.0
    ((question,), _) = weather_questions(45.0, JANUARY, lows, highs, "degC")
    assert "for 5 days from 2027-02-20" in question
    assert sun_questions(np.full(9, 3.0), np.full(9, 5.0)) == []
    assert "is it in MJ" in sun_questions(np.full(9, 10.8), np.full(9, 5.0))[0]


@given(st.floats(-90.0, 90.0))
def test_bounds_of_the_air_leave_room_and_turn_with_the_hemisphere(latitude):
    months = np.arange(1, 13)
    low, high = air_bounds(latitude, months)
    assert (high - low > 25.0).all()
    other_low, other_high = air_bounds(-latitude, (months + 5) % 12 + 1)
    if latitude != 0.0:
        assert other_low == pytest.approx(low)
        assert other_high == pytest.approx(high)


@given(st.lists(st.sampled_from([1.0, 2.0]), min_size=1, max_size=30))
def test_the_longest_run_against_a_plain_loop(values):
    best = (0, 0)
    for first in range(len(values)):
        length = 1
        while first + length < len(values) and values[first + length] == values[first]:
            length += 1
        if length > best[1]:
            best = (first, length)
    assert longest_run(np.array(values)) == best


def test_questions_reach_check(tmp_path, monkeypatch, capsys):
    from command_line import runner

    run = runner(monkeypatch, capsys, tmp_path)
    text = Path("house.toml").read_text(encoding="utf-8")
    first, last = text.index("water_temperature"), text.index("[tanks.first]")
    Path("house.toml").write_text(
        text[:first] + 'water_temperature = { kind = "log", file = "log.csv" }\n\n' + text[last:], encoding="utf-8"
    )
    days = [dt.date(2026, 10, 1) + dt.timedelta(days=day) for day in range(212)]
    rows = [f"{day},{14 if n < 100 else 22}" for n, day in enumerate(days)]
    Path("log.csv").write_text("\n".join(["date,temperature_c", *rows]))
    notes = run("check", "house.toml", "--json").data["understood"]["notes"]
    (note,) = (note for note in notes if "8.0 degC from 2027-01-08 to 2027-01-09" in note)
    assert note.split(": ")[:2] == ["loops.main.water_temperature", "log.csv"]
    assert note.endswith("?")
    Path("log.csv").write_text("\n".join(["date,temperature_c", *(f"{day},119" for day in days)]))
    ran = run("check", "house.toml")
    assert ran.code == 2
    first, line, said = ran.lines[0].split(": ", 2)
    assert (first.split(", ")[1], line) == ("loops.main.water_temperature", "log.csv, line 2")
    assert said.startswith("119 degC ")
    assert "temperature_f" in ran.lines[0]
