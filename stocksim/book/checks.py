"""What cannot be in a record, told as faults, and what can hardly be meant, asked back."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence

from stocksim.book.kinds import FORM_KEYS, HELD, KINDS, SALT_NAMES, Kind
from stocksim.book.store import Record
from stocksim.errors import Fault, InputError, shown
from stocksim.site.fish_tables import StockEvent
from stocksim.site.reading import Site
from stocksim.units import format_date, format_quantity, parse_quantity

_TIME = re.compile(r"([01]\d|2[0-3]):[0-5]\d")
_LONGEST_TEXT = 2000
# A mean weight that differs from the last one by more than this factor is asked back (assumed): fish of a season grow
# to it in months, a scale in ounces or pounds is there at once.
_ODD_WEIGHT_FACTOR = 4.0


def names_of(site: Site, kind: Kind) -> dict[str, str]:
    """Full names of all that a kind of record may be of, as ``cohorts.perch``, by what a keeper may write."""
    found: dict[str, str] = {}
    doubled = set()
    for table in kind.of:
        names = site.cohorts if table == "cohorts" else getattr(site.file, table)
        for name in names:
            if name in found:
                doubled.add(name)
            found[name] = found[f"{table}.{name}"] = f"{table}.{name}"
    return {name: full for name, full in found.items() if name not in doubled}


def faults(record: Record, site: Site, today: dt.date) -> list[Fault]:
    """All that is impossible in a record.

    Parameters
    ----------
    record : Record
        As entered; ``of`` with its table.
    site : Site
        The site it is of.
    today : date
        No record is of a later day.

    Returns
    -------
    list of Fault
        One sentence each, with the field.
    """
    kind = KINDS.get(record.kind)
    if kind is None:
        return [Fault("", "kind", f"{shown(record.kind)} is no kind of record; known are {', '.join(KINDS)}.")]
    found = _of_place(record, kind, site)
    if record.date > today:
        found.append(Fault("", "date", f"{record.date} is after today, {today}; a record is of a day that was."))
    if record.date < dt.date(1990, 1, 1):
        found.append(Fault("", "date", f"{record.date} is too long ago; check the year."))
    if record.time and not _TIME.fullmatch(record.time):
        found.append(Fault("", "time", f"{shown(record.time)} is no time of day; write it as 07:30."))
    for name in ("note", "by", "source"):
        if len(getattr(record, name)) > _LONGEST_TEXT:
            found.append(Fault("", name, f"is longer than {_LONGEST_TEXT} characters; write a shorter one."))
    return found + _of_values(record, kind, site)


def _of_place(record: Record, kind: Kind, site: Site) -> list[Fault]:
    if not kind.of:
        return [] if not record.of else [Fault("", "of", f"a record of kind {record.kind} is of the whole site.")]
    known = names_of(site, kind)
    if record.of in known.values():
        return []
    noun = " or ".join(table[:-1] for table in kind.of)
    names = ", ".join(sorted(name for name in known if "." not in name)) or "none"
    if not record.of:
        return [Fault("", "of", f"say of which {noun} the record is; there are {names}.")]
    return [Fault("", "of", f"{shown(record.of.partition('.')[2] or record.of)} is no {noun} of this site; there are "
                            f"{names}.")]  # fmt: skip


def _of_values(record: Record, kind: Kind, site: Site) -> list[Fault]:
    found = []
    for key, value in record.held.items():
        if key in FORM_KEYS and record.kind == "test":
            continue
        if key not in kind.holds:
            holds = ", ".join(kind.holds) or "only a note"
            found.append(Fault("", key, f"does not belong to a record of kind {record.kind}, which holds {holds}."))
            continue
        found += _of_value(key, value, site)
    if not any(set(keys) <= record.held.keys() for keys in kind.needs):
        needs = " or ".join(" and ".join(HELD[key].words for key in keys) for keys in kind.needs)
        found.append(Fault("", "", f"a record of kind {record.kind} needs {needs}."))
    if record.kind == "note" and not record.note.strip():
        found.append(Fault("", "note", "is empty; write what is to be kept."))
    if not found and record.kind == "weigh" and {"count", "total_g"} <= record.held.keys():
        single = read_weights(record.held.get("weights_g", ""))
        if single and len(single) != record.held["count"]:
            found.append(
                Fault("", "weights_g", f"are {len(single)}, but the record says {record.held['count']:g} fish.")
            )
    return found


def _of_value(key: str, value: object, site: Site) -> list[Fault]:
    held = HELD[key]
    if held.is_text:
        return _of_text(key, value, site)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return [Fault("", key, f"{shown(value)} is no number; write a {held.words} as a number.")]
    if held.is_whole and value != int(value):
        return [Fault("", key, f"{value:g} is not allowed; a {held.words} is a whole number.")]
    if not held.low <= value <= held.high:
        given, low, high = (_with_unit(key, number, site) for number in (value, held.low, held.high))
        return [Fault("", key, f"{given} is not allowed; {held.words} must lie between {low} and {high}.")]
    return []


def _of_text(key: str, value: object, site: Site) -> list[Fault]:
    if not isinstance(value, str) or not value.strip() or len(value) > _LONGEST_TEXT:
        return [Fault("", key, f"{shown(value)} is no {HELD[key].words}; write it as a text.")]
    if key == "to_tank" and value not in site.file.tanks:
        return [Fault("", key, f"{shown(value)} is no tank of this site; there are {', '.join(site.file.tanks)}.")]
    if key == "salt" and value not in SALT_NAMES:
        return [Fault("", key, f"{shown(value)} is no base that is known; known are {', '.join(SALT_NAMES)}.")]
    if key == "weights_g" and read_weights(value) is None:
        return [Fault("", key, f"{shown(value)} are no weights; write them as 31.5 40 28, in grams.")]
    return []


def read_weights(text: object) -> list[float] | None:
    """Single weights from their text, as ``31.5 40 28`` in grams or ``31 g 1.5 oz``; None where it holds others."""
    weights = []
    for part in re.findall(r"\S+(?:\s+[a-zA-Z]+)?", re.sub(r";|,(?=\s|$)", " ", str(text))):
        try:
            weight = float(part) if re.fullmatch(r"[\d.]+", part) else parse_quantity(part, "weight")
        except (ValueError, InputError):
            return None
        if not 0.0 < weight < 1e5:
            return None
        weights.append(weight)
    return weights


def mean_weight_g(record: Record) -> tuple[float, float]:
    """Number of fish that a weighing was of and their mean weight [g]; NaN where it is none."""
    single = read_weights(record.held.get("weights_g", "")) or []
    if single:
        return float(len(single)), sum(single) / len(single)
    count, total = record.value("count"), record.value("total_g")
    return count, total / count


def doubts(record: Record, site: Site, before: Sequence[Record]) -> list[str]:
    """What can hardly be meant in a record without faults, a sentence each; kept where the keeper confirms it.

    Parameters
    ----------
    record : Record
        One without faults.
    site : Site
        The site it is of.
    before : sequence of Record
        Those that hold already.
    """
    asked = _unusual(record.held, site)
    if record.of.startswith("cohorts.") and record.value("count") > (came := _came(site, record.name)):
        asked.append(
            f"{record.value('count'):g} fish are more than the {came} that came as {record.name}; is it meant?"
        )
    area_m2 = getattr(site.file.beds.get(record.name), "area", None) if record.of.startswith("beds.") else None
    if area_m2 is not None and record.value("area_m2") > area_m2:
        planted, there = (_with_unit("area_m2", area, site) for area in (record.value("area_m2"), area_m2))
        asked.append(f"{planted} are more than the {there} of {record.name}; is it meant?")
    if record.kind == "weigh":
        mean = mean_weight_g(record)[1]
        others = [one for one in before if one.kind == "weigh" and one.of == record.of]
        if others:
            last = min(others, key=lambda one: abs((one.date - record.date).days))
            was = mean_weight_g(last)[1]
            if not was / _ODD_WEIGHT_FACTOR <= mean <= was * _ODD_WEIGHT_FACTOR:
                now, then = (format_quantity(weight, "weight", site.file.site.units) for weight in (mean, was))
                asked.append(f"{now} a fish is far from the {then} of {format_date(last.date)}; is the unit right?")
    return asked


def _with_unit(key: str, value: float, site: Site) -> str:
    """A value as the site's keeper reads it."""
    dimension = HELD[key].dimension
    return format_quantity(value, dimension, site.file.site.units) if dimension else f"{value:g}"


def _came(site: Site, cohort: str) -> float:
    """Fish that a cohort begins with and that are put to it later, by the site's file; infinite for a part of one."""
    table = site.file.cohorts.get(cohort)
    if table is None:
        return math.inf  # the larger fish of another, which grew until they were parted
    return table.count + sum(
        one.count for one in site.file.events if isinstance(one, StockEvent) and one.cohort == cohort
    )


def _unusual(held: Mapping[str, float | str], site: Site) -> list[str]:
    asked = []
    for key, value in held.items():
        if key in FORM_KEYS or isinstance(value, str):
            continue
        known = HELD[key]
        if not known.usual_low <= value <= known.usual_high:
            given, low, high = (_with_unit(key, number, site) for number in (value, known.usual_low, known.usual_high))
            asked.append(f"{known.words} of {given} is met nowhere that we know of ({low} to {high}); is it meant?")
    return asked
