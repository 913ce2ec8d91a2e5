"""Ways to spoil a site, a library file or a table of numbers, each drawn from a seeded generator.

Structure (drop, double, rename, move, swap types), numbers (extreme and odd ones), units, unicode, dates, names of
nothing; and for files of rows: heads, cells, separators, rows out of order, wrong units.
"""

from __future__ import annotations

import contextlib
import copy
import datetime as dt
import random
import re
import unicodedata

_QUANTITY = re.compile(r"^\s*(-?[0-9.]+)\s*([A-Za-z].*)$")
Path = tuple

UNITS = (
    "L", "m3", "gal", "imp gal", "ft3", "L/h", "L/min", "L/day", "m3/h", "gal/h", "gal/min", "m2", "ft2", "m", "cm",
    "mm",
    "ft", "in", "g", "kg", "lb", "oz", "degC", "degF", "W", "kW", "mg/L", "g/day", "g/h", "lb/h", "m2/m3", "ft2/ft3",
    "m/s", "g/m2/day", "", "K", "C", "F", "°C", "l", "liter", "gallons", "kilos", "hp", "%", "ppm", "dkH", "mg/l",
    "GAL",
    "sq ft", "m^2", "m³", "L/h/h", "gal gal",
)  # fmt: skip
ODD_NUMBERS = (
    "0", "-1", "-0", "1e300", "1e-300", "1e999", "-1e9", "nan", "inf", "-inf", "1e5", "0.0001", "999999999", "1,5",
    "1.2.3",
    "1_000", "0x10", "+5", "5.", ".5", "1/2", "½", "٣", "９００", "--3", "1e", "e5", "5e-324", "1" * 400,
)  # fmt: skip
ODD_VALUES: tuple = (
    0, 1, -1, 10**7, 10**18, 10**400, -(10**400), 0.0, -0.0, 0.5, 1e300, -1e300, 5e-324, float("nan"), float("inf"),
    float("-inf"), True, False, "", " ", "0", "x", [], {}, [[]], [{}], {"": ""}, [1, "a", True], "\n", "\t", "\x00",
    dt.date(2026, 10, 5), dt.datetime(2026, 10, 5, 12), dt.time(7, 30), dt.date(1, 1, 1), dt.date(9999, 12, 31),
    dt.datetime(2026, 10, 5, tzinfo=dt.UTC),
)  # fmt: skip
ODD_TEXTS = (
    "", " ", "NA", "nan", "1e5", "None", "null", "true", "-", ".", "..", "../x", "/etc/hosts", "a/b", "a.b", "a b",
    "=1+1",
    "@x", "\u202egnirts", "\u200b", "\ufeff", "🐟🐟", "ä" * 300, "Ελλ", "e\u0301", "<b>x</b>", "**x**", "$x$", "%s",
    "{0}",
    "\\", "'", '"', '"""', "#", "[x]", "\x07", "\r\n", "CON", "x" * 5000, "perch\u00a0one", "ＴＡＮＫ",
)  # fmt: skip
WORDS = (
    "raft", "media", "tower", "wicking", "trickling", "submerged", "swirl", "radial_flow", "settling_basin", "constant",
    "monthly", "log", "computed", "normals", "file", "appetite", "percent", "table", "fixed", "beds", "unfed",
    "diffuser",
    "measured", "none", "greenhouse", "fish_room", "outdoors", "metric", "us", "new", "seeded", "mature", "harvest",
    "move",
    "grade", "stock", "thin", "glass", "twin_wall", "natural_gas", "electricity", "m3", "largest", "smallest", "any",
    "yellow_perch", "rainbow_trout", "perch_45", "duckweed", "lettuce", "tomato", "nobody", "ghost_tank",
)  # fmt: skip


def places(node: object, path: Path = ()) -> list[Path]:
    """Paths of all tables, lists and values."""
    found = [path] if path else []
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, inner in items:
        found += places(inner, (*path, key))
    return found


def at(node: object, path: Path) -> object:
    for step in path:
        node = node[step]  # type: ignore[index]
    return node


def _pick(rng: random.Random, tables: dict, wanted: object = None) -> Path | None:
    """A place, of some types where asked; shallow and deep ones alike."""
    every = [path for path in places(tables) if wanted is None or isinstance(at(tables, path), wanted)]
    return rng.choice(every) if every else None


def _set(tables: dict, path: Path, value: object) -> None:
    at(tables, path[:-1])[path[-1]] = value  # type: ignore[index]


def drop(rng: random.Random, tables: dict) -> None:
    path = _pick(rng, tables)
    if path:
        del at(tables, path[:-1])[path[-1]]  # type: ignore[attr-defined]


def double(rng: random.Random, tables: dict) -> None:
    """A list's item twice, or a table again under another name."""
    path = _pick(rng, tables)
    if not path:
        return
    parent, again = at(tables, path[:-1]), copy.deepcopy(at(tables, path))
    if isinstance(parent, list):
        parent.insert(rng.randrange(len(parent) + 1), again)
    else:
        parent[f"{path[-1]}{rng.choice(['_2', '2', ' ', '.x', '-b'])}"] = again


def _misspelt(rng: random.Random, word: str) -> str:
    if not word:
        return "x"
    spot = rng.randrange(len(word))
    return rng.choice(
        [
            word[:spot] + word[spot + 1 :], word[:spot] + word[spot] + word[spot:], word.upper(), word.title(),
            word.replace("_", "-"), word.replace("_", " "), f" {word}", f"{word} ", word + "s",
            unicodedata.normalize("NFD", word + "é"), word.replace("a", "а"), rng.choice(ODD_TEXTS),
        ]
    )  # fmt: skip


def rename(rng: random.Random, tables: dict) -> None:
    path = _pick(rng, tables)
    if path and isinstance(at(tables, path[:-1]), dict):
        parent: dict = at(tables, path[:-1])  # type: ignore[assignment]
        parent[_misspelt(rng, str(path[-1]))] = parent.pop(path[-1])


def swap_type(rng: random.Random, tables: dict) -> None:
    """A value as another type would be written: a number in quotes, a text without them, one as a list of one."""
    path = _pick(rng, tables)
    if not path:
        return
    was = at(tables, path)
    found = _QUANTITY.match(was) if isinstance(was, str) else None
    ways: list[object] = [str(was), [was], {"value": was}, True, rng.choice(ODD_VALUES)]
    if found:
        ways += [float(found.group(1)) if found.group(1).replace(".", "", 1).isdigit() else 1.0, found.group(1)]
    if isinstance(was, list) and was:
        ways += [was[0], dict(enumerate(map(str, was)))]
    if isinstance(was, dict):
        ways += [list(was.values()), list(was)]
    _set(tables, path, rng.choice(ways))


def odd_value(rng: random.Random, tables: dict) -> None:
    path = _pick(rng, tables)
    if path:
        _set(tables, path, copy.deepcopy(rng.choice(ODD_VALUES)))


def odd_number(rng: random.Random, tables: dict) -> None:
    """A quantity or number with an odd number in it."""
    path = _number_place(rng, tables)
    if path:
        was = at(tables, path)
        unit = was.split(" ", 1)[1] if isinstance(was, str) and " " in was else ""
        _set(tables, path, f"{rng.choice(ODD_NUMBERS)} {unit}".strip() if unit else rng.choice(ODD_VALUES))


def _number_place(rng: random.Random, tables: dict) -> Path | None:
    def is_number(value: object) -> bool:
        return (isinstance(value, (int, float)) and not isinstance(value, bool)) or (
            isinstance(value, str) and bool(_QUANTITY.match(value))
        )

    every = [path for path in places(tables) if is_number(at(tables, path))]
    return rng.choice(every) if every else None


def resize(rng: random.Random, tables: dict) -> None:
    """A number made larger or smaller, mostly by little: such a site often runs."""
    furthest = rng.choice([0.2, 0.2, 0.7, 4.0])
    path = _number_place(rng, tables)
    if not path:
        return
    was = at(tables, path)
    factor = 10.0 ** rng.triangular(-furthest, furthest, 0.0)
    if isinstance(was, str):
        number, unit = was.split(" ", 1) if " " in was else (was, "")
        try:
            _set(tables, path, f"{float(number) * factor:.6g} {unit}".strip())
        except ValueError:
            return
    else:
        _set(tables, path, max(1, round(min(was * factor, 1e9))) if isinstance(was, int) else was * factor)  # type: ignore[operator]


def another_unit(rng: random.Random, tables: dict) -> None:
    every = [p for p in places(tables) if isinstance(at(tables, p), str) and _QUANTITY.match(at(tables, p))]
    if every:
        path = rng.choice(every)
        number = str(at(tables, path)).split(" ")[0]
        _set(tables, path, number + rng.choice([" ", " ", " ", "", "  ", "\u00a0", "\t"]) + rng.choice(UNITS))


def odd_text(rng: random.Random, tables: dict) -> None:
    path = _pick(rng, tables, str)
    if path:
        was = str(at(tables, path))
        _set(tables, path, rng.choice([rng.choice(ODD_TEXTS), _misspelt(rng, was), was + rng.choice(ODD_TEXTS)]))


def other_date(rng: random.Random, tables: dict) -> None:
    path = _pick(rng, tables, dt.date)
    if not path:
        return
    was = at(tables, path)
    assert isinstance(was, dt.date)
    days = rng.choice([1, -1, 7, -7, 30, -30, 365, -365, 3650, -3650, 40000, -40000])
    ways: list[object] = [
        was.isoformat(), dt.date(2028, 2, 29), dt.date(1900, 1, 1), dt.date(2199, 12, 31), dt.date(1, 1, 1),
        dt.date(9999, 12, 31), dt.datetime(was.year, was.month, was.day, 8), was.strftime("%d.%m.%Y"), "soon",
    ]  # fmt: skip
    _set(tables, path, was + dt.timedelta(days=days) if rng.random() < 0.7 else rng.choice(ways))


def other_name(rng: random.Random, tables: dict) -> None:
    """A text that names something names another thing of the file, a word of the format, or nothing."""
    path = _pick(rng, tables, str)
    if path:
        names = [str(key) for table in tables.values() if isinstance(table, dict) for key in table]
        _set(tables, path, rng.choice([*names, *WORDS]))


def swap_places(rng: random.Random, tables: dict) -> None:
    """Two parts of the file change places, or one stands in two."""
    one, other = _pick(rng, tables), _pick(rng, tables)
    if one and other and one[: len(other)] != other and other[: len(one)] != one:
        first, second = copy.deepcopy(at(tables, one)), copy.deepcopy(at(tables, other))
        _set(tables, one, second)
        if rng.random() < 0.6:
            _set(tables, other, first)


def add(rng: random.Random, tables: dict) -> None:
    path = _pick(rng, tables, dict)
    where: dict = at(tables, path) if path else tables  # type: ignore[assignment]
    where[rng.choice([*ODD_TEXTS, *WORDS, "ph", "flow", "heat", "kind"])] = copy.deepcopy(rng.choice(ODD_VALUES))


# (how to spoil, how often): about half of the sites stay sound enough to run
SITE_WAYS = (
    (resize, 24), (drop, 5), (double, 2), (rename, 1), (swap_type, 1), (odd_value, 1), (odd_number, 1), (another_unit,
    2),
    (odd_text, 1), (other_date, 4), (other_name, 3), (swap_places, 1), (add, 1),
)  # fmt: skip
LIBRARY_WAYS = (
    (resize, 24), (drop, 1), (rename, 1), (swap_type, 1), (odd_value, 1), (odd_number, 2), (odd_text, 1),
    (swap_places, 1),
    (add, 1),
)  # fmt: skip


def spoil(rng: random.Random, tables: dict, ways: tuple = SITE_WAYS, most: int = 4) -> dict:
    """A copy of some tables, spoilt once or, half of the time, up to ``most`` times."""
    tables = copy.deepcopy(tables)
    times = rng.choice([1, rng.randint(1, most)])
    for way in rng.choices([way for way, _ in ways], [often for _, often in ways], k=times):
        way(rng, tables)
    return tables


# --- text: slips of the pen that no table can hold

_SLIPS = (
    ('"', ""), ('"', "“"), ("=", ":"), ("=", "=="), ("]", ""), ("[", ""), ("{", ""), ("}", ""), (" = ", " "), (".",
    ","),
    ("\n", "\r\n"), ("\n", " "), ("-", "."), ("-", "\u2013"), ("#", ""), ("\n", "\n[site]\n"), ("\n", "\n\t"),
    ("\n", "\nname = 1\n"), ("\n", "\n[["), ("2026", "26"), ("true", "True"), ("\n", "\x00"), ("\n",
    "\n<<<<<<< mine\n"),
)  # fmt: skip


def slip(rng: random.Random, text: str) -> bytes:
    """Text of a file with one to three slips: a mark missing or doubled, a table twice, a file cut off, other bytes."""
    data = text
    for _ in range(rng.randint(1, 3)):
        act = rng.random()
        lines = data.split("\n")
        if act < 0.5:
            old, new = rng.choice(_SLIPS)
            spots = [found.start() for found in re.finditer(re.escape(old), data)]
            if spots:
                spot = rng.choice(spots)
                data = data[:spot] + new + data[spot + len(old) :]
        elif act < 0.6:
            lines.insert(rng.randrange(len(lines)), rng.choice(lines))
            data = "\n".join(lines)
        elif act < 0.7:
            del lines[rng.randrange(len(lines))]
            data = "\n".join(lines)
        elif act < 0.75:
            data = data[: rng.randrange(len(data) + 1)]
        elif act < 0.8:
            data += "\n" + data[: rng.randrange(len(data) + 1)]
        elif act < 0.85:
            data = data.replace("\n", rng.choice(["\r\n", "\r", "\u2028"]))
        else:
            spot = rng.randrange(len(data) + 1)
            data = data[:spot] + rng.choice(["[" * 200, "a." * 2000, '"""', "9" * 5000, "\ufeff", "é"]) + data[spot:]
    coded = data.encode("utf-8", errors="surrogatepass")
    way = rng.random()
    if way < 0.05:
        return b"\xef\xbb\xbf" + coded
    if way < 0.08:
        return data.encode("utf-16")
    if way < 0.11:
        return data.encode("latin-1", errors="replace")
    if way < 0.13:
        return coded + bytes(rng.randrange(256) for _ in range(40))
    return coded


# --- files of rows: weather and temperature logs

_CELLS = (
    "", " ", "nan", "NaN", "inf", "-999", "999", "-9999.0", "1e300", "1e-300", "--", "n/a", "#N/A", "12,5", '"12,5"',
    "12.5 C",
    "٣", "-0", "0", "45", "120", "1/2", "=A1", "\x00", "2026-10-05", "2026-10-05T12:00+02:00", "2026-10-05T12:00Z",
    "05/10/2026", "5.10.2026", "2026-13-01", "2026-02-30", "24:00", "2026-10-05T24:00", "x" * 200_000, "9" * 400, "🐟",
)  # fmt: skip
_HEADS = ("date", "time", "low_c", "high_c", "low_f", "high_f", "temperature_c", "temperature_f", "sun_kwh_m2",
"sun_w_m2", "",
          "Date", "temp", "temperature_c ", "°C", "note")  # fmt: skip


def spoil_rows(rng: random.Random, text: str) -> bytes:
    """A file of rows with one to three things wrong with it."""
    rows = [line.split(",") for line in text.splitlines()]
    for _ in range(rng.choice([1, 1, 2, 3])):
        act = rng.choice([*range(14), 14, 14, 14, 14, 14])
        if not rows or not rows[0]:
            break
        row, column = rng.randrange(len(rows)), rng.randrange(len(rows[0]))
        spot = min(column, len(rows[row]) - 1)
        if act == 0:
            rows[row][spot] = rng.choice(_CELLS)
        elif act == 1:
            rows[0][column % len(rows[0])] = rng.choice(_HEADS)
        elif act == 2:
            del rows[row]
        elif act == 3:
            rows.insert(row, list(rows[row]))
        elif act == 4:
            first, last = sorted([row, rng.randrange(len(rows))])
            del rows[first:last]
        elif act == 5:
            rows[1:] = rng.choice([sorted(rows[1:], reverse=True), rng.sample(rows[1:], len(rows) - 1)])
        elif act == 6:
            for cells in rows:
                if cells:
                    cells.pop(min(column, len(cells) - 1))
        elif act == 7:
            rows[row] = rows[row] + ["7"] * rng.randint(1, 3)
        elif act == 8:
            rows[row] = rows[row][: rng.randrange(len(rows[row]) + 1)] or [""]
        elif act == 9:  # one column in another unit, or a jump of the probe
            scale, shift = rng.choice([(1.8, 32.0), (10.0, 0.0), (0.1, 0.0), (-1.0, 0.0), (1.0, 273.15), (1.0, 20.0)])
            begin = rng.choice([1, row or 1])
            for cells in rows[begin:]:
                try:
                    cells[column] = f"{float(cells[column]) * scale + shift:.2f}"
                except (ValueError, IndexError):
                    continue
        elif act == 10:
            for cells in rows[1:]:
                cells[0] += rng.choice(["", "Z", "+02:00", "T12:00", " 12:00", ":30"])
        elif act == 11:
            rows[0:0] = [rng.choice([["# logger 7"], [""], ["sep=,"], list(rows[0])])]
        elif act == 12:  # a decimal comma without quotes
            for cells in rows[1:]:
                cells[-1] = cells[-1].replace(".", ",")
        elif act == 14:  # another place, or a probe that drifts: mostly sound
            scale, shift = rng.uniform(0.7, 1.3), rng.uniform(-6.0, 6.0)
            for cells in rows[1:]:
                with contextlib.suppress(ValueError, IndexError):
                    cells[column] = f"{max(float(cells[column]) * scale + shift, -60.0):.1f}"
        else:
            rows[row][spot] = rng.choice(ODD_TEXTS)
    joined = (rng.choice([";", "\t", ", "]) if rng.random() < 0.1 else ",").join
    text = (rng.choice(["\r\n", "\r"]) if rng.random() < 0.2 else "\n").join(map(joined, rows))
    coded = (text + rng.choice(["\n", "", "\n\n\n"])).encode("utf-8", errors="surrogatepass")
    way = rng.random()
    if way < 0.05:
        return b"\xef\xbb\xbf" + coded
    if way < 0.08:
        return text.encode("utf-16")
    if way < 0.10:
        return coded[: rng.randrange(len(coded) + 1)]
    if way < 0.12:
        return bytes(rng.randrange(256) for _ in range(300))
    if way < 0.13:
        return b""
    return coded
