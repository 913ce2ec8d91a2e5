"""Values with unit, source and grade, read from the TOML files of species_params."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from difflib import get_close_matches
from functools import cache, cached_property, lru_cache
from pathlib import Path
from typing import Any, NamedTuple, TypeGuard

from stocksim.errors import LARGEST_SHOWN, Fault, ParameterError, one_line, shown
from stocksim.library.strains import Strain, Trials, read_strains, read_trials
from stocksim.memo import content_key

READ_GRADES = ("full", "table", "abstract", "secondary", "from memory", "common practice", "derived here")
EVIDENCE_GRADES = ("good", "fair", "weak")
# model: moves growth or water; company: sizes, handling and who may share a tank; caution: only told to the keeper;
# check: only compared with
USES = ("model", "company", "caution", "check")
# a model value of such a source caps the file's evidence at weak, a company value its company_evidence
_CAPS_AT_WEAK = ("from memory", "common practice")


@dataclass(frozen=True)
class Source:
    """Where a value comes from and how much of it was read."""

    key: str
    cite: str
    read: str
    doi: str = ""


@dataclass(frozen=True)
class Value:
    """One number with its unit, source and place in the source."""

    value: float
    unit: str
    source: str
    where: str
    use: str = "model"
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Entry:
    """One file of the library: named values, the sources they cite, and a grade of evidence.

    Parameters
    ----------
    name : str
        Key used in site files.
    title, summary, evidence, caution : str
        Words for the faces; evidence is good, fair or weak.
    values : mapping of str to Value
        Every number of the file.
    sources : mapping of str to Source
        Every source cited.
    facts : mapping of str to str
        Other words of the file, as ``latin`` or ``kind``.
    origin : str
        File the entry was read from.
    strains : mapping of str to Strain
        Of a species, stocks that eat more or less.
    trials : Trials, optional
        Of a species, how the model met published trials.
    """

    name: str
    title: str
    summary: str
    evidence: str
    values: Mapping[str, Value]
    sources: Mapping[str, Source]
    facts: Mapping[str, str]
    origin: str
    strains: Mapping[str, Strain] = field(default_factory=dict)
    trials: Trials | None = None

    def __getitem__(self, key: str) -> float:
        """Number of a value by name.

        Raises
        ------
        KeyError
            If the file has no such value.
        """
        return self.values[key].value

    def number(self, key: str, default: float = math.nan) -> float:
        """Number of a value by name, or the default where the file has none."""
        return self.values[key].value if key in self.values else default

    def is_weak(self, key: str) -> bool:
        """Whether a value rests on memory or common practice alone, a guess included."""
        return self.sources[self.values[key].source].read in _CAPS_AT_WEAK

    @cached_property
    def content(self) -> bytes:
        """Digest of all fields, for `content_key`."""
        return content_key(*(getattr(self, field.name) for field in fields(self)))

    @cached_property
    def is_own(self) -> bool:
        """Whether it was read from a keeper's file beside a site and not from the shipped library."""
        return library_folder() not in Path(self.origin).resolve().parents


class Bound(NamedTuple):
    """Unit of a value, and the lowest and highest number that is plausible in it, both allowed."""

    unit: str
    low: float
    high: float


class Order(NamedTuple):
    """A value that must lie below a share of another, or on it where that may be."""

    lower: str
    higher: str
    share: float = 1.0
    may_equal: bool = False


@dataclass(frozen=True, eq=False)
class Rules:
    """What a kind of file must and may hold.

    Parameters
    ----------
    kind : str
        Folder name under species_params.
    required, optional : mapping of str to Bound
        Value key to the one unit allowed for it and to what is plausible. The bounds are our choice: wide about all
        that is shipped and known of such fish, feeds and crops, so that a slip of the unit, of a percentage or of the
        point falls outside.
    facts : mapping of str to bool
        Word keys; True where required.
    choices : mapping of str to tuple of str
        Word keys that allow only certain words.
    together : tuple of (str, str)
        Pairs of word keys, or of optional values, of which a file has both or none.
    orders : tuple of Order
        Pairs of values whose order a file must keep.
    has_strains : bool
        Whether a file may hold tables of strains and of trials.
    """

    kind: str
    required: Mapping[str, Bound]
    optional: Mapping[str, Bound]
    facts: Mapping[str, bool]
    choices: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    together: tuple[tuple[str, str], ...] = ()
    orders: tuple[Order, ...] = ()
    has_strains: bool = False


@cache
def library_folder() -> Path:
    """Folder of the shipped parameter files, in a wheel or beside an editable checkout."""
    package = Path(__file__).resolve().parents[1]
    inside = package / "species_params"
    return inside if inside.is_dir() else package.parent / "species_params"


def read_entry(path: Path, rules: Rules) -> Entry:
    """One checked entry of the library; a file that holds the same as before is not checked again.

    Parameters
    ----------
    path : Path
        TOML file; its stem is the entry's name.
    rules : Rules
        What the file must and may hold.

    Returns
    -------
    Entry
        Frozen values with their sources.

    Raises
    ------
    ParameterError
        With one fault for every rule the file breaks.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise ParameterError([Fault("", "", "is not UTF-8 text; save it as UTF-8.", path.name)]) from error
    except OSError as error:
        raise ParameterError([Fault("", "", f"cannot be opened ({error.strerror}).", path.name)]) from error
    # a relative path may be another file from another folder
    return _entry_of_text(text, path.absolute(), rules)


@lru_cache(maxsize=512)
def _entry_of_text(written: str, path: Path, rules: Rules) -> Entry:
    """Entry from the text of a file, kept by the text: a file's time and size do not tell for sure that it changed."""
    try:
        data = tomllib.loads(written)
    except tomllib.TOMLDecodeError as error:
        raise ParameterError([Fault("", "", f"is not readable TOML ({one_line(str(error))}).", path.name)]) from error
    except RecursionError as error:
        raise ParameterError(
            [Fault("", "", "is not readable TOML: lists or tables nest too deeply.", path.name)]
        ) from error
    except ValueError as error:  # Python's own limit on the digits of a whole number
        raise ParameterError(
            [Fault("", "", "is not readable TOML: a number has too many digits.", path.name)]
        ) from error
    faults: list[Fault] = []

    def fault(table: str, key: str, message: str) -> None:
        faults.append(Fault(one_line(table), one_line(key), one_line(message), path.name))

    sources = _sources(data, fault)
    values = _values(data, sources, rules, fault)
    facts = {}
    extra = ("strains", "trials") if rules.has_strains else ()
    heads = {"schema", "title", "summary", "evidence", "sources", "values", *rules.facts, *extra}
    for key in data:
        if key not in heads:
            fault("", key, f"is not a key of a {rules.kind} file; known are {', '.join(sorted(heads))}.")
    for key, needed in {"title": True, "summary": True, "evidence": True, **rules.facts}.items():
        text = data.get(key)
        if text is None and not needed:
            continue
        if not isinstance(text, str) or not text.strip():
            fault("", key, "is missing; it must be a text.")
        else:
            facts[key] = text
    if data.get("schema") != 1:
        fault("", "schema", "must be 1, the only form of file known.")
    _facts_hold(facts, values, sources, rules, fault)
    _orders_hold(values, rules, fault)
    strains = read_strains(data, sources, fault) if rules.has_strains else {}
    trials = read_trials(data, fault) if rules.has_strains else None
    if faults:
        raise ParameterError(faults)
    words = {key: text for key, text in facts.items() if key not in ("title", "summary", "evidence")}
    return Entry(
        path.stem,
        facts["title"],
        facts["summary"],
        facts["evidence"],
        values,
        sources,
        words,
        str(path),
        strains,
        trials,
    )


def _facts_hold(
    facts: dict[str, str], values: dict[str, Value], sources: dict[str, Source], rules: Rules, fault: Any
) -> None:
    """Faults of words that must come from a list, come in pairs, or claim more than the sources bear."""
    for grade_key, use in (("evidence", "model"), ("company_evidence", "company")):
        grade = facts.get(grade_key, "weak")
        if grade not in EVIDENCE_GRADES:
            fault("", grade_key, f"{shown(grade)} is not a grade; use {', '.join(EVIDENCE_GRADES)}.")
        capped = sorted(
            key for key, value in values.items()
            if value.use == use and value.source in sources and sources[value.source].read in _CAPS_AT_WEAK
        )  # fmt: skip
        if capped and grade != "weak":
            fault("", grade_key, f'must be "weak": {", ".join(capped)} rests on memory or common practice.')
    for key, words in rules.choices.items():
        if key in facts and facts[key] not in words:
            fault("", key, f"{shown(facts[key])} is not known here; use {', '.join(words)}.")
    for one, other in rules.together:
        for given, missing in ((one, other), (other, one)):
            if given in facts and missing not in facts:
                fault("", missing, f"is missing; it belongs to {given}.")
            elif given in values and missing not in values and missing in rules.optional:
                fault(f"values.{missing}", "", f"is missing; it belongs to {given}.")


def _sources(data: dict[str, Any], fault: Any) -> dict[str, Source]:
    sources: dict[str, Source] = {}
    tables = data.get("sources")
    if not isinstance(tables, dict) or not tables:
        fault("sources", "", "is missing; every file names the sources of its values.")
        return sources
    for key, table in tables.items():
        place = f"sources.{shown(key)[1:-1]}"
        if not isinstance(table, dict):
            fault(place, "", "must be a table with cite and read.")
            continue
        for extra in sorted(set(table) - {"cite", "read", "doi"}):
            fault(place, extra, "is not a key of a source; known are cite, doi, read.")
        cite, read, doi = table.get("cite"), table.get("read"), table.get("doi", "")
        if not isinstance(doi, str):
            fault(place, "doi", f'{shown(doi)} is not a text; write it in quotes, as "10.1577/a07-088.1".')
            doi = ""
        if not isinstance(cite, str) or not cite.strip():
            fault(place, "cite", "is missing; write author, year and title or table.")
            cite = ""
        if read not in READ_GRADES:
            fault(place, "read", f"must be one of {', '.join(READ_GRADES)}.")
            read = "from memory"
        sources[key] = Source(key, cite, read, doi)
    return sources


def _values(data: dict[str, Any], sources: dict[str, Source], rules: Rules, fault: Any) -> dict[str, Value]:
    values: dict[str, Value] = {}
    known = {**rules.required, **rules.optional}
    tables = data.get("values")
    if not isinstance(tables, dict):
        fault("values", "", "is missing; it holds one table for each number.")
        return values
    # a value at fault still cites its source, so that one mistake gives one fault
    strains = data.get("strains") if rules.has_strains else None
    citing = [*tables.values(), *(strains.values() if isinstance(strains, dict) else ())]
    cited = {str(table.get("source")) for table in citing if isinstance(table, dict)}
    for key, table in tables.items():
        place = f"values.{key}"
        if key not in known:
            near = get_close_matches(key.lower(), known, 5, 0.5)
            told = f"the nearest are {', '.join(near)}" if near else "a shipped file shows which there are"
            fault(place, "", f"is not a value of a {rules.kind} file; {told}.")
            continue
        if not isinstance(table, dict):
            fault(place, "", "must be a table with value, unit, source and where.")
            continue
        for extra in sorted(set(table) - {"value", "unit", "source", "where", "use", "range"}):
            fault(place, extra, "is not known here; known are range, source, unit, use, value, where.")
        number, unit, source = table.get("value"), table.get("unit"), table.get("source")
        bound = known[key]
        if not _is_number(number):
            fault(place, "value", f"{shown(number)} is not a finite number.")
            continue
        if unit != bound.unit:
            fault(place, "unit", f'{shown(unit)} is not known here; use "{bound.unit}".')
        elif not _is_plausible(number, rules, key):
            fault(place, "value", f"{number:g} {_outside(float(number), bound)}")
        if not isinstance(source, str) or source not in sources:
            named = "is missing" if source is None else f"{shown(source)} is not among this file's sources"
            known_sources = ", ".join(shown(name)[1:-1] for name in sources) or "its sources"
            fault(place, "source", f"{named}; every value names one of {known_sources}.")
            source = ""
        where = table.get("where", "")
        if not isinstance(where, str) or not where.strip():
            fault(place, "where", "is missing; say where in the source the number stands.")
            where = ""
        use = table.get("use", "model")
        if use not in USES:
            fault(place, "use", f"must be one of {', '.join(USES)}.")
            use = "model"
        low, high = _range(table.get("range"), float(number), place, fault)
        values[key] = Value(float(number), bound.unit, source, where, use, low, high)
    for key in rules.required:
        if key not in tables:
            fault(f"values.{key}", "", f"is missing; a {rules.kind} file must give it in {rules.required[key].unit}.")
    for key in sorted(set(sources) - cited):
        fault(f"sources.{shown(key)[1:-1]}", "", "is cited by no value; remove it or cite it.")
    return values


def _is_number(value: Any) -> TypeGuard[float]:
    """Whether a value of a file is a number that a float can hold."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return False
    return bool(-LARGEST_SHOWN <= value <= LARGEST_SHOWN)


def _is_plausible(number: float, rules: Rules, key: str) -> bool:
    bound = rules.required[key] if key in rules.required else rules.optional[key]
    return bound.low <= number <= bound.high


def _outside(number: float, bound: Bound) -> str:
    """Why a number is refused, and what was likely meant."""
    unit = "" if bound.unit == "-" else f" {bound.unit}"
    said = f"is not plausible here, where {bound.low:g} to {bound.high:g}{unit} is allowed; "
    in_celsius = (number - 32.0) * 5.0 / 9.0
    if bound.unit == "-" and bound.high <= 1.0 < number and bound.low <= number / 100.0 <= bound.high:
        return f"{said}it is a share and no percentage, so write {number / 100.0:g}."
    if bound.unit == "degC" and bound.low <= in_celsius <= bound.high:
        return f"{said}write {in_celsius:.1f} if {number:g} degF is meant."
    return f"{said}check the number and its unit."


def _orders_hold(values: dict[str, Value], rules: Rules, fault: Any) -> None:
    """Faults of values that must lie below others."""
    for lower, higher, share, may_equal in rules.orders:
        if not all(key in values and _is_plausible(values[key].value, rules, key) for key in (lower, higher)):
            continue  # told already
        low, high = values[lower].value, share * values[higher].value
        if low < high or (may_equal and low == high):
            continue
        other = higher if share == 1.0 else f"{share:.2f} times {higher}"
        must = "must not be above" if may_equal else "must be below"
        fault(f"values.{lower}", "value", f"{low:g} {must} {other}, {high:g}; correct one of the two.")


def _range(pair: Any, number: float, place: str, fault: Any) -> tuple[float | None, float | None]:
    if pair is None:
        return None, None
    good = isinstance(pair, list) and len(pair) == 2 and all(_is_number(end) for end in pair)
    if not good or not pair[0] <= number <= pair[1]:
        ends = f"{pair[0]:g} to {pair[1]:g}" if good else shown(pair)
        fault(place, "range", f"{ends} must be two numbers that enclose the value {number:g}, as [0.4, 0.5].")
        return None, None
    return float(pair[0]), float(pair[1])


def entry_names(rules: Rules, extra_folder: Path | None = None) -> list[str]:
    """Sorted names of the entries of a kind, shipped and beside a site file."""
    folders = [library_folder() / rules.kind]
    if extra_folder is not None:
        folders.append(extra_folder / "species_params" / rules.kind)
    return sorted({path.stem for folder in folders if folder.is_dir() for path in folder.glob("*.toml")})


def find_entry(name: str, rules: Rules, extra_folder: Path | None = None) -> Entry:
    """Entry by name; ``species_params/<kind>/<name>.toml`` beside the site wins over the shipped one.

    Raises
    ------
    ParameterError
        If no file has that name, with the nearest known names, or if the file breaks the rules.
    """
    known = entry_names(rules, extra_folder)
    if name not in known:  # nothing that is no name is looked up as a path
        raise ParameterError(f"{shown(name)} is not in the library ({rules.kind}); known are {', '.join(known)}.")
    folders = ([extra_folder / "species_params"] if extra_folder else []) + [library_folder()]
    paths = [folder / rules.kind / f"{name}.toml" for folder in folders]
    return read_entry(next(path for path in paths if path.is_file()), rules)
