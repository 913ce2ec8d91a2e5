"""Own library files: a value inside its bounds, or a sentence; what is inside runs to numbers; never a traceback."""

from __future__ import annotations

import copy
import dataclasses
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from hunting import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from small_sites import one_tank

from stocksim import run_season
from stocksim.errors import InputError, ParameterError
from stocksim.library.crops import CROP_RULES
from stocksim.library.feeds import FEED_RULES
from stocksim.library.sources import Rules, entry_names, library_folder, read_entry
from stocksim.library.species import SPECIES_RULES, load_species
from stocksim.site.reading import site_from_tables

RULES = {"fish": SPECIES_RULES, "feeds": FEED_RULES, "crops": CROP_RULES}
OWN = {"fish": "bluegill", "feeds": "sunfish_44", "crops": "tomato"}
KEYS = [(kind, key) for kind, rules in RULES.items() for key in (*rules.required, *rules.optional)]
EXAMPLES = examples(60)  # of each test here; raised by hand for a long run


def bounds_of(rules: Rules):
    return {**rules.required, **rules.optional}


def shipped(kind: str, name: str | None = None) -> dict:
    path = library_folder() / kind / f"{name or OWN[kind]}.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def read(kind: str, data: dict | bytes, folder: Path, name: str = "mine"):
    path = folder / f"{name}.toml"
    path.write_bytes(data if isinstance(data, bytes) else tomlkit.dumps(data).encode())
    return read_entry(path, RULES[kind])


def faults(kind: str, data: dict | bytes, folder: Path) -> list[str]:
    with pytest.raises(ParameterError) as caught:
        read(kind, data, folder)
    said = [str(fault) for fault in caught.value.faults]
    for line in said:
        assert line.isprintable()
        assert line.endswith(".")
        assert line.startswith("mine.toml")
    return said


def with_value(kind: str, key: str, number: float) -> dict:
    data = shipped(kind)
    source = next(iter(data["sources"]))
    table = {"unit": bounds_of(RULES[kind])[key].unit, "source": source, "where": "invented"}
    data["values"][key] = data["values"].get(key, table) | {"value": number}
    data["values"][key].pop("range", None)
    return data


@pytest.mark.parametrize(("kind", "key"), KEYS)
def test_every_value_has_bounds_and_what_is_beyond_them_is_refused(kind, key, tmp_path):
    bound = bounds_of(RULES[kind])[key]
    assert bound.low < bound.high
    beyond = (
        -1.0,
        0.0,
        1e300,
        10**400,
        bound.low - 1e-6 - abs(bound.low),
        1.01 * bound.high + 1e-6,
        math.nan,
        math.inf,
    )
    place = 123456.789
    text = tomlkit.dumps(with_value(kind, key, place))
    assert text.count(str(place)) == 1
    for number in beyond:
        if bound.low <= number <= bound.high:
            continue  # nothing and less are lawful for a few
        written = tomlkit.item(number).as_string()
        said = faults(kind, text.replace(str(place), written).encode(), tmp_path)
        assert any(line.startswith(f"mine.toml, values.{key}.value: ") for line in said), said


@pytest.mark.parametrize("kind", RULES)
def test_shipped_files_stand_well_inside(kind):
    """A tenth of a positive value away from either end at least, but where the end is a share's own: 0 or 1."""
    for name in entry_names(RULES[kind]):
        entry = read_entry(library_folder() / kind / f"{name}.toml", RULES[kind])
        for key, value in entry.values.items():
            bound = bounds_of(RULES[kind])[key]
            if value.value > 0.0 and bound.unit not in ("degC", "log10 g at 1 mm"):
                assert bound.low in (0.0, 1.0) or value.value >= 1.1 * bound.low, (name, key)
                assert bound.high == 1.0 or value.value <= bound.high / 1.1, (name, key)


def test_a_percentage_and_degrees_fahrenheit_are_guessed_at_in_the_sentence(tmp_path):
    [said] = faults("feeds", with_value("feeds", "protein", 45), tmp_path)
    assert ", values.protein.value: 45 " in said
    assert "0.005 to 0.9" in said
    assert said.endswith(" write 0.45.")
    said = faults("fish", with_value("fish", "temperature_high_stress", 90), tmp_path)
    assert any("write 32.2 if 90 degF " in line for line in said)


def test_values_out_of_order_are_refused(tmp_path):
    for kind, rules in RULES.items():
        for lower, higher, share, may_equal in rules.orders:
            data = shipped(kind)
            if lower not in data["values"] or higher not in data["values"]:
                continue
            edge = share * data["values"][higher]["value"]
            bound = bounds_of(rules)[lower]
            if may_equal and edge <= bound.high:
                read(kind, with_value(kind, lower, edge), tmp_path)
            above = min(1.01 * edge + 1e-6, bound.high) if may_equal else edge
            if bound.low <= above <= bound.high and not (may_equal and above <= edge):
                said = faults(kind, with_value(kind, lower, above), tmp_path)
                assert any(line.startswith(f"mine.toml, values.{lower}.value: ") for line in said), (kind, lower)


def test_a_byte_order_mark_is_taken_as_in_site_files(tmp_path):
    data = tomlkit.dumps(shipped("feeds")).encode("utf-8-sig")
    assert data[:3] == b"\xef\xbb\xbf"
    assert read("feeds", data, tmp_path).values.keys() == shipped("feeds")["values"].keys()


@pytest.mark.parametrize(
    "text", [b"a = " + b"[" * 50_000, b"a = " + b"9" * 5000, b"a = 0x" + b"f" * 5000, b"[" * 3, b"a = 2026-99-99"]
)
def test_text_that_breaks_the_reader_is_told(text, tmp_path):
    assert faults("feeds", text, tmp_path)


def test_a_feed_it_was_fitted_with_must_be_there(tmp_path):
    data = shipped("fish") | {"fitted_with_feed": "gravel"}
    folder = tmp_path / "species_params" / "fish"
    folder.mkdir(parents=True)
    (folder / "mine.toml").write_text(tomlkit.dumps(data), encoding="utf-8")
    with pytest.raises(ParameterError, match="fitted_with_feed"):
        load_species("mine", tmp_path)


def own_site(folder: Path, **data: dict) -> dict:
    """Tables of a planted tank with a fish, a feed and a crop of the keeper's own, which are written beside it."""
    for kind, content in data.items():
        inside = folder / "species_params" / kind
        inside.mkdir(parents=True, exist_ok=True)
        (inside / "mine.toml").write_text(tomlkit.dumps(content), encoding="utf-8")
    tables = one_tank("mine", "mine", 22.0, days=20, ph=None, alkalinity_target="80 mg/L")
    season = tables["season"]
    tables["beds"]["gravel"]["plantings"] = [{"crop": "mine", "from": season["start"], "to": season["end"]}]
    return tables


def only_site_matters(error: InputError) -> None:
    """An order that the draw could not mend, or water, feed or weight that does not suit these fish."""
    known = ("must", "kills mine", "too little protein", "than the heaviest")
    assert all(any(word in fault.message for word in known) for fault in error.faults), error


@st.composite
def in_bounds(draw: st.DrawFn) -> dict[str, dict]:
    """Files of all three kinds whose numbers lie anywhere inside their bounds, many at the very ends."""
    found = {}
    for kind, rules in RULES.items():
        data = shipped(kind)
        for key, bound in bounds_of(rules).items():
            if key in data["values"]:
                ends = st.sampled_from([bound.low, bound.high, data["values"][key]["value"]])
                data["values"][key]["value"] = draw(ends | st.floats(bound.low, bound.high))
                data["values"][key].pop("range", None)
        found[kind] = data
    return found


@pytest.fixture(scope="module")
def beside(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("own")


@given(in_bounds())
@settings(max_examples=EXAMPLES)
def test_whatever_is_inside_its_bounds_runs_to_numbers(beside, data):
    for kind, rules in RULES.items():
        values = data[kind]["values"]
        for lower, higher, share, _ in rules.orders:  # put in order what the draw has crossed
            if lower in values and higher in values and values[lower]["value"] >= share * values[higher]["value"]:
                bound = bounds_of(rules)[lower]
                values[lower]["value"] = max(bound.low, min(bound.high, 0.9 * share * values[higher]["value"] - 0.5))
    try:
        site = site_from_tables(own_site(beside, **data), beside)
    except InputError as error:
        only_site_matters(error)
        return
    season = run_season(site)
    for field in dataclasses.fields(season.course):
        assert np.isfinite(getattr(season.course, field.name)).all(), field.name
    tanks, loops = season.tanks, season.loops
    for frame, columns in (
        (tanks, ("oxygen_mg_l", "tan_mg_l", "nitrite_n_mg_l")),
        (loops, ("nitrate_n_mg_l", "feed_g")),
    ):
        for column in columns:
            assert (frame[column] >= 0.0).all(), column
    assert (season.course.weight_g > 0.0).all()


odd = st.one_of(
    st.text(max_size=8), st.integers(), st.floats(), st.booleans(), st.just(10**400), st.just([]), st.just({}),
    st.lists(st.floats(), max_size=3), st.dates(), st.sampled_from(["0", "\x00", "ä" * 90, "=1+1", "degF", "percent"]),
)  # fmt: skip


@st.composite
def spoilt(draw: st.DrawFn) -> tuple[str, dict]:
    kind = draw(st.sampled_from(sorted(RULES)))
    data = copy.deepcopy(shipped(kind))
    for _ in range(draw(st.integers(1, 3))):
        table = draw(st.sampled_from([data, data["values"], data["sources"], *data["values"].values()]))
        if not isinstance(table, dict) or not table:
            continue
        key = draw(st.sampled_from(sorted(table)))
        if draw(st.booleans()):
            table[key] = draw(odd)
        elif table is not data or key not in ("values", "sources"):
            del table[key]
        if not isinstance(data.get("values"), dict) or not isinstance(data.get("sources"), dict):
            break
    return kind, data


@given(spoilt())
@settings(max_examples=4 * EXAMPLES)
def test_a_spoilt_file_is_an_entry_or_sentences(beside, drawn):
    kind, data = drawn
    try:
        text = tomlkit.dumps(data).encode("utf-8", "surrogatepass")
    except (ValueError, TypeError, AttributeError):
        return  # nothing that a file could hold
    try:
        entry = read(kind, text, beside)
    except ParameterError as error:
        for fault in error.faults:
            assert str(fault).isprintable(), str(fault)
            assert fault.message.endswith(".")
            assert len(fault.message) < 1500
    else:
        assert all(math.isfinite(value.value) for value in entry.values.values())
