"""Logged water temperature: gaps bridged or refused, and every fault of a log file in one sentence."""

from __future__ import annotations

import datetime as dt
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stocksim.climate.temperature import LONGEST_GAP_DAYS, logged_temperature
from stocksim.errors import InputError
from stocksim.site.logs import read_temperature_log

START = dt.date(2026, 10, 1)
CELSIUS = st.floats(min_value=-5.0, max_value=45.0)


def refusals(call, *arguments) -> list[str]:
    with pytest.raises(InputError) as caught:
        call(*arguments)
    return [str(fault) for fault in caught.value.faults]


def day(offset: int) -> dt.date:
    return START + dt.timedelta(days=offset)


def test_a_full_log_is_taken_as_it_is():
    daily, notes = logged_temperature(START, 5, [day(n) for n in range(-2, 8)], [10.0 + n for n in range(10)])
    assert daily.tolist() == [12.0, 13.0, 14.0, 15.0, 16.0]
    assert notes == []


def test_readings_of_one_day_are_averaged_in_any_order():
    dates = [day(1), day(0), day(0), day(1), day(0)]
    daily, notes = logged_temperature(START, 2, dates, [20.0, 10.0, 11.0, 22.0, 15.0])
    assert daily.tolist() == [12.0, 21.0]
    assert notes == []


@pytest.mark.parametrize("gap", [1, 2, LONGEST_GAP_DAYS])
def test_a_short_gap_is_bridged_and_said(gap):
    daily, notes = logged_temperature(START, gap + 2, [day(0), day(gap + 1)], [10.0, 10.0 + gap + 1])
    assert daily == pytest.approx(10.0 + np.arange(gap + 2))
    span = "2026-10-02" if gap == 1 else f"2026-10-02 to {day(gap)}"
    (note,) = notes
    assert note.startswith(f"{span}: {gap} day{'s' if gap > 1 else ''} ")


def test_three_days_are_bridged_but_four_are_not():
    assert LONGEST_GAP_DAYS == 3
    assert len(logged_temperature(START, 5, [day(0), day(4)], [10.0, 12.0])[1]) == 1
    [message] = refusals(logged_temperature, START, 6, [day(0), day(5)], [10.0, 12.0])
    for word in ("2026-10-02 to 2026-10-05", "(4 days)", "at most 3 days"):
        assert word in message


def test_a_gap_over_the_edge_of_the_season_uses_the_reading_outside():
    daily, notes = logged_temperature(START, 3, [day(-1), day(1), day(4)], [10.0, 14.0, 20.0])
    assert daily.tolist() == [12.0, 14.0, 16.0]
    assert [note[:10] for note in notes] == ["2026-10-01", "2026-10-03"]
    [message] = refusals(logged_temperature, START, 3, [day(-4), day(1), day(2)], [10.0, 14.0, 20.0])
    assert "2026-09-28 to 2026-10-01 (4 days)" in message


def test_a_gap_outside_the_season_does_not_matter():
    dates = [day(-60), day(0), day(1), day(80)]
    daily, notes = logged_temperature(START, 2, dates, [1.0, 10.0, 11.0, 2.0])
    assert daily.tolist() == [10.0, 11.0]
    assert notes == []


def test_a_log_that_does_not_reach_both_ends_is_refused_with_every_fault():
    messages = refusals(logged_temperature, START, 20, [day(2), day(9), day(15)], [10.0, 11.0, 12.0])
    assert [re.findall(r"2026-10-(\d\d)", message) for message in messages] == [
        ["03", "01", "01", "02"],  # log and season begin, days to log
        ["16", "20", "17", "20"],
        ["04", "09"],
        ["11", "15"],
    ]
    assert [re.findall(r"\((\d+) days\)", message) for message in messages] == [[], [], ["6"], ["5"]]


@pytest.mark.parametrize(
    ("offset", "word", "wanted"),
    [(-10, "ends", "2026-10-01 to 2026-10-05"), (10, "begins", "2026-10-01 to 2026-10-05")],
)
def test_a_log_of_another_time_is_refused(offset, word, wanted):
    [message] = refusals(logged_temperature, START, 5, [day(offset)], [10.0])
    assert f"the temperature log {word} on {day(offset)}" in message
    assert f"log {wanted} " in message


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_reading_that_is_no_number_is_refused(value):
    [message] = refusals(logged_temperature, START, 2, [day(0), day(1), day(1)], [10.0, 11.0, value])
    assert "holds no number on 2026-10-02;" in message
    [message] = refusals(logged_temperature, START, 8, [day(n) for n in range(8)], [value] * 8)
    assert "2026-10-05 and 3 more days;" in message


def test_an_empty_or_uneven_log_is_refused():
    assert "at least 1 day" in refusals(logged_temperature, START, 0, [START], [12.0])[0]
    assert "holds no reading" in refusals(logged_temperature, START, 2, [], [])[0]
    assert "2 dates but 1 temperatures" in refusals(logged_temperature, START, 2, [day(0), day(1)], [10.0])[0]


@settings(deadline=None)  # other work may share the machine
@given(
    readings=st.lists(st.tuples(st.integers(-8, 30), CELSIUS), min_size=1, max_size=80),
    days=st.integers(1, 20),
)
def test_log_against_a_plain_loop(readings, days):
    by_day: dict[int, list[float]] = {}
    for offset, celsius in readings:
        by_day.setdefault(offset, []).append(celsius)
    expected, bridged, good = [], set(), True
    for offset in range(days):
        before = next((o for o in range(offset, -9, -1) if o in by_day), None)
        after = next((o for o in range(offset, 31) if o in by_day), None)
        if before is None or after is None or after - before - 1 > 3:
            good = False
            break
        low, high = (sum(by_day[o]) / len(by_day[o]) for o in (before, after))
        expected.append(low if before == after else low + (high - low) * (offset - before) / (after - before))
        if before != after:
            bridged.add(before)
    arguments = (START, days, [day(offset) for offset, _ in readings], [celsius for _, celsius in readings])
    if good:
        daily, notes = logged_temperature(*arguments)
        assert daily == pytest.approx(expected, abs=1e-12)
        assert len(notes) == len(bridged)
    else:
        assert refusals(logged_temperature, *arguments)


# --- log files ---


def write(tmp_path, content: str | bytes, name: str = "log.csv"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return path


@pytest.mark.parametrize(
    "content",
    [
        "date,temperature_c\n2026-10-01,17.5\n2026-10-02,17\n",
        "date,temperature_c\r\n2026-10-01,17.5\r\n2026-10-02,17\r\n",
        "\ufeffdate,temperature_c\n2026-10-01,17.5\n2026-10-02,17",
        "\n\ndate,temperature_c\n\n2026-10-01,17.5\n , \n2026-10-02,17\n\n",
        "temperature_f, Date ,who\n63.5,2026-10-01,me\n62.6,2026-10-02,\n",
        'DATE,note,Temperature_C\n2026-10-01T06:30:00,"a, b", 17.5 \n2026-10-02 18:00,"two\nlines",17.0\n',
        "date,temperature_c,ph\n2026-10-01T23:59:00-08:00,17.5,7\n2026-10-02T00:10:00-08:00,17,7.1\n",
        "date;temperature_c\n2026-10-01;17,5\n2026-10-02;17,0\n",
        "date;temperature_c\n2026-10-01;17.5\n2026-10-02;17\n",
        "date\ttemperature_c\n2026-10-01\t17,5\n2026-10-02\t17\n",
        "date,temperature_c,\n2026-10-01,17.5,\n2026-10-02,17\n",
        "date,temperature_c\r2026-10-01,17.5\r2026-10-02,17\r",
        "date,temperature_c\n2026-10-01,+17.5\n2026-10-02,1.7e1\n",
    ],
)
def test_logs_that_are_read(tmp_path, content):
    dates, celsius, notes = read_temperature_log(write(tmp_path, content))
    assert [note for note in notes if "zone" not in note] == []
    assert dates == [dt.date(2026, 10, 1), dt.date(2026, 10, 2)]
    assert all(type(date) is dt.date for date in dates)
    assert celsius == pytest.approx([17.5, 17.0])


def test_a_path_as_text_and_a_log_put_to_use(tmp_path):
    path = write(tmp_path, "date,temperature_c\n2026-10-01,17\n2026-10-01,18\n2026-10-03,16.5\n")
    log = read_temperature_log(str(path))
    daily, notes = logged_temperature(START, 3, log.dates, log.mean_c)
    assert daily.tolist() == [17.5, 17.0, 16.5]
    assert len(notes) == 1


HEADER = "date,temperature_c\n"
WHOLE = ""  # a fault of the whole file, not of a line
DATE, NUMBER = "write it as 2026-10-31", "as 17.5."
BARE = "date, temperature_c or temperature_f."


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("", [(WHOLE, "is empty")]),
        ("\ufeff\n \n,\n", [(WHOLE, "is empty")]),
        (HEADER, [(WHOLE, "no reading")]),
        ("date,temperature_c\n2026-10-01,17°\n".encode("latin-1"), [(WHOLE, "UTF-8")]),
        ("date,temperature_c\n2026-10-01,17\n".encode("utf-16"), [(WHOLE, "UTF-8")]),
        ("day,temperature_c\n2026-10-01,17\n", [(WHOLE, "one column date ")]),
        ("date,date,temperature_c\n1,2,3\n", [(WHOLE, "one column date ")]),
        ("date,water\n2026-10-01,17\n", [(WHOLE, "temperature_c or temperature_f")]),
        ("date,temperature_c,temperature_f\n2026-10-01,17,62.6\n", [(WHOLE, "temperature_c or temperature_f")]),
        ("2026-10-01,17\n2026-10-02,17\n", [(WHOLE, BARE)]),
        ("root:x:0:0:root:/root:/bin/bash\n", [(WHOLE, BARE)]),
        ("date|temperature_c\n2026-10-01|17\n", [(WHOLE, BARE)]),
        (HEADER + "2026-10-01,16,5\n2026-10-02,16,4\n", [(f"line {n}: ", "decimal comma") for n in (2, 3)]),
        ("date,temperature_c,note\n2026-10-01,17\n", [("line 2: ", "2 cells")]),
        ("date;temperature_c\n2026-10-01;16,5\n2026-10-02;16.5\n", [('line 3: "16.5" ', "decimal point")]),
        ("date;temperature_c\n2026-10-01;1.016,5\n", [('line 2: "1.016,5" ', NUMBER)]),
        (HEADER + "1/10/2026,17\n", [('line 2: "1/10/2026" ', DATE)]),
        (HEADER + "2026-02-30,17\n", [('line 2: "2026-02-30" ', DATE)]),
        (HEADER + ",17\n", [('line 2: "" ', DATE)]),
        (HEADER + "\n2026-10-01,warm\n", [('line 3: "warm" ', NUMBER)]),
        (HEADER + "2026-10-01,\n", [('line 2: "" ', NUMBER)]),
        (HEADER + "2026-10-01\n", [("line 2: ", "1 cell ")]),
        (HEADER + "2026-10-01,nan\n", [('line 2: "nan" ', NUMBER)]),
        (HEADER + "2026-10-01,inf\n", [('line 2: "inf" ', NUMBER)]),
        (HEADER + "2026-10-01,1_7\n", [('line 2: "1_7" ', NUMBER)]),
        (HEADER + '2026-10-01,"17,5"\n', [('line 2: "17,5" ', NUMBER)]),
        (
            HEADER + "2026-10-01,64\n2026-10-02,-2.1\n2026-10-03,-2\n2026-10-04,40\n",
            [("line 2: 64 degC ", "temperature_f"), ("line 3: -2.1 degC ", "temperature_f")],
        ),
        (
            "date,temperature_f\n2026-10-01,17\n2026-10-02,28.4\n2026-10-03,104\n2026-10-04,104.1\n",
            [("line 2: 17 degF ", "temperature_c"), ("line 5: 104.1 degF ", "28.4 to 104 degF")],
        ),
        (HEADER + "yesterday,cold\n", [('line 2: "yesterday" ', DATE), ('line 2: "cold" ', NUMBER)]),
        (HEADER + 'date,"17\n2026-10-02,17\n', [("line 3: ", "unexpected end of data")]),
    ],
)
def test_faults_of_a_log(tmp_path, content, told):
    """How each is worded stands in ``golden/sentences.csv``."""
    messages = refusals(read_temperature_log, write(tmp_path, content))
    assert len(messages) == len(told)
    for message, (begins, holds) in zip(messages, told, strict=True):
        assert message.startswith(f"log.csv: {begins}")
        assert message.startswith("log.csv: line ") == bool(begins)
        assert holds in message


@pytest.mark.parametrize(("rows", "more"), [(4, 0), (5, 0), (6, 1), (40, 35)])
def test_five_faults_are_shown_and_the_rest_counted(tmp_path, rows, more):
    path = write(tmp_path, HEADER + "2026-10-01,17\n" + "x,17\n" * rows)
    messages = refusals(read_temperature_log, path)
    assert len(messages) == min(rows, 5) + (more > 0)
    assert [message[:17] for message in messages[:5]] == [f"log.csv: line {3 + n}: " for n in range(min(rows, 5))]
    if more:
        assert messages[-1] == f"log.csv: and {more} more."


def test_a_file_that_is_not_there_or_is_a_folder(tmp_path):
    (tmp_path / "folder.csv").mkdir()
    for name, why in (("none.csv", "was not found"), ("folder.csv", "is a folder")):
        [message] = refusals(read_temperature_log, tmp_path / name)
        assert message.startswith(f"{name}: {why}")
    [message] = refusals(read_temperature_log, tmp_path / "a\0b.csv")
    assert "cannot be opened" in message


@settings(deadline=None)  # other work may share the machine
@given(content=st.binary(max_size=200) | st.text(alphabet='date,tempru_cf"\n\r0123456789-T:;. \ufeff', max_size=120))
def test_no_file_ever_gives_a_traceback(tmp_path_factory, content):
    path = write(tmp_path_factory.mktemp("any"), content)
    try:
        dates, celsius, _ = read_temperature_log(path)
    except InputError:
        return
    assert len(dates) == len(celsius) > 0
