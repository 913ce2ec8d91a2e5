"""The house keeps itself in order: who imports whom, file length, names, docstrings, the public list, loose words."""

from __future__ import annotations

import ast
import functools
import re
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

import stocksim

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "stocksim"
MODULES = sorted(PACKAGE.rglob("*.py"))
SCIENCE = ("fish", "water", "plants", "climate")
# each room may import from its own number's rooms only if it is itself, and from all lower numbers
ORDER = {
    "errors": 0, "compiled": 1, "validity": 1, "memo": 1, "units": 1, "opening": 1, "writing": 1, "fish": 2, "water": 2,
    "plants": 2, "climate": 2, "library": 2, "site": 3, "book": 4, "heat": 5, "engine": 6, "drawn": 7, "changes": 7,
    "faces": 8, "answers": 9, "__main__": 10,
}  # fmt: skip
# of a question, the files that tell its answer; all others decide it, and know no face
TELLING = {
    "answer", "areas", "brief", "card", "case", "charts", "command", "company", "compared", "file", "page", "report",
    "screen", "why", "words", "worth",
}  # fmt: skip
LONGEST_FILE, LONGEST_FUNCTION = 600, 60
LONG_FOR_A_REASON: set[str] = set()
# plain helpers of the tests, that hold no test themselves: add yours
HELPERS = {
    "advice_sites.py",
    "one_advice.py",
    "browsing.py",
    "calm_sites.py",
    "command_line.py",
    "conftest.py",
    "cycling.py",
    "cycling_site.py",
    "golden_figures.py",
    "golden_sentences.py",
    "hunting.py",
    "lever_checks.py",
    "stars.py",
    "oracle.py",
    "oracle_company.py",
    "oracle_events.py",
    "oracle_fish.py",
    "oracle_pools.py",
    "oracle_water.py",
    "pumped_sites.py",
    "random_sites.py",
    "served.py",
    "site_faults.py",
    "small_programs.py",
    "small_sites.py",
    "watched_season.py",
    "written_sets.py",
}
SCIENCE_LIBRARIES = {"numpy", "scipy"}


def room(path: Path) -> str:
    """First folder or file name inside the package, '' for the package's own front."""
    inside = path.relative_to(PACKAGE)
    name = inside.parts[0]
    return "" if name == "__init__.py" else name.removesuffix(".py")


@functools.cache
def parsed(source: str) -> ast.Module:
    """Tree of a source; most rules look at every file, so each is read into one but once."""
    return ast.parse(source)


@functools.cache
def imported(source: str) -> list[tuple[str, ast.stmt]]:
    """Every module imported anywhere in a source, as a dotted name."""
    found: list[tuple[str, ast.stmt]] = []
    for node in ast.walk(parsed(source)):
        if isinstance(node, ast.Import):
            found += [(alias.name, node) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            found += [(node.module or "", node)]
    return found


def import_faults(room_name: str, source: str, question: str = "", topic: str = "") -> list[str]:
    """What is wrong with the imports of a file that stands in a room, and for a question's file in which."""
    faults = question_faults(source, question, topic) if question else []
    for name, node in imported(source):
        if isinstance(node, ast.ImportFrom):
            if node.level:
                faults.append("relative import")
            # the rows of a day's tables, by name, are what all of its steps speak of
            if any(alias.name == "*" for alias in node.names) and node.module != "stocksim.engine.days.rows":
                faults.append("star import")
        parts = name.split(".")
        if parts[0] == "stocksim":
            targets = parts[1:2] or [alias.name for alias in node.names]
            for target in targets:
                if target not in ORDER:
                    if room_name not in ("", "faces", "answers"):
                        faults.append(f"{room_name} imports {name}, which is no room")
                elif target != room_name and room_name:
                    is_lower = ORDER[target] < ORDER[room_name]
                    if not is_lower or (
                        room_name in SCIENCE and target not in ("errors", "units", "compiled", "validity")
                    ):
                        faults.append(f"{room_name} imports {target}")
        elif parts[0] in ("numba", "llvmlite") and room_name != "compiled":
            faults.append(f"{room_name} imports {parts[0]}, which only compiled.py knows")
        elif room_name in SCIENCE and parts[0] not in SCIENCE_LIBRARIES | sys.stdlib_module_names:
            faults.append(f"{room_name} imports {parts[0]}")
    return faults


def question_faults(source: str, question: str, topic: str) -> list[str]:
    """What a question's file imports of other questions, or of faces where it decides."""
    faults = []
    for name, node in imported(source):
        parts = name.split(".")
        names = [alias.name for alias in node.names] if isinstance(node, ast.ImportFrom) else []
        if parts[:2] == ["stocksim", "answers"] and parts[2:3] != [question]:
            faults.append(f"{question} imports {name}, another question")
        telling = {*parts[3:4], *(names if len(parts) == 3 else [])} & TELLING
        if topic not in TELLING and (parts[:2] == ["stocksim", "faces"] or (parts[1:2] == ["answers"] and telling)):
            faults.append(f"{question}.{topic} decides and imports {name}")
    return faults


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_run_one_way(path):
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    of = parts[1:3] if parts[0] == "answers" and len(parts) == 3 else ("", "")
    assert import_faults(room(path), path.read_text(encoding="utf-8"), *of) == []


@pytest.mark.parametrize(
    ("question", "topic", "source"),
    [
        ("beds", "decide", "from stocksim.faces.words import verdict"),
        ("beds", "decide", "from stocksim.answers.beds.words import bed_rows"),
        ("beds", "decide", "from stocksim.answers.beds import words"),
        ("beds", "words", "from stocksim.answers.cold.decide import Cold"),
        ("beds", "page", "from stocksim.answers.season import answer"),
        ("beds", "page", "import stocksim.answers.season.answer"),
    ],
)
def test_a_question_that_asks_another_or_a_face_would_be_caught(question, topic, source):
    assert import_faults("answers", source, question, topic)


@pytest.mark.parametrize(
    ("where", "source"),
    [
        ("fish", "from stocksim.engine.season import simulate"),
        ("fish", "from stocksim.water.oxygen import air_pressure"),
        ("water", "from stocksim.library.species import load_species"),
        ("climate", "import pandas"),
        ("library", "import stocksim.site.reading"),
        ("engine", "from stocksim.faces import words"),
        ("engine", "from stocksim import changes"),
        ("changes", "from stocksim.faces.words import verdict"),
        ("faces", "from stocksim.answers.season.answer import solve"),
        ("site", "def late():\n    from stocksim.engine.arrays.layout import build_layout"),
        ("site", "def late():\n    from stocksim.heat.temperatures import water_c"),
        ("site", "from stocksim.book.store import read_book"),
        ("book", "from stocksim.engine.running import run_season"),
        ("heat", "from stocksim.engine.arrays.layout import build_layout"),
        ("units", "from stocksim.fish.growth import appetite_rate"),
        ("engine", "from . import layout"),
        ("engine", "from numpy import *"),
        ("engine", "from numba import njit"),
        ("compiled", "from stocksim.units import format_quantity"),
    ],
)
def test_a_wrong_import_would_be_caught(where, source):
    assert import_faults(where, source)


def test_a_season_starts_without_the_slow_parts_of_scipy():
    """Its parts cost more than many a season; only plans, fits and synthetic years need them (numba takes its core)."""
    words = (
        "import sys; from stocksim.faces import cli; from stocksim.answers.season import answer as answers; "
        "from stocksim.faces.text import answer_text; "
        "from stocksim.site.examples import FOLDER; "
        "from stocksim.site.reading import load_site; "
        "a = answers.solve(load_site(FOLDER / 'starter.toml')); "
        "answer_text(answers.season_answer(a.season, a.findings)); "
        "slow = ('interpolate', 'special', 'optimize', 'stats', 'signal'); "
        "print([name for name in slow if 'scipy.' + name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"


def test_every_room_is_known():
    assert {room(path) for path in MODULES} - {""} <= set(ORDER)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_files_are_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_FILE


def functions_of(tree: ast.AST) -> list[ast.FunctionDef]:
    return [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_functions_are_short(path):
    """Code, not what its docstring says."""
    long = {}
    for function in functions_of(parsed(path.read_text(encoding="utf-8"))):
        body = function.body[1:] if ast.get_docstring(function) is not None else function.body
        lines = body[-1].end_lineno - body[0].lineno + 1 if body else 0
        if lines > LONGEST_FUNCTION and function.name not in LONG_FOR_A_REASON:
            long[function.name] = lines
    assert long == {}


def dotted(path: Path) -> str:
    return ".".join(("stocksim", *path.relative_to(PACKAGE).with_suffix("").parts))


def test_a_file_that_one_other_reads_says_why_it_is_apart():
    """Else it belongs into the one that reads it. Pages and commands are found by name, so nobody reads them."""
    readers: dict[str, set[str]] = {}
    known = {dotted(path) for path in MODULES}
    for path in MODULES:
        for name, node in imported(path.read_text(encoding="utf-8")):
            names = [f"{name}.{alias.name}" for alias in node.names] if isinstance(node, ast.ImportFrom) else []
            for target in {name, *names} & known:
                readers.setdefault(target, set()).add(dotted(path))
    silent = [
        name
        for path in MODULES
        if len(readers.get(name := dotted(path), ())) == 1
        and "Apart" not in (ast.get_docstring(parsed(path.read_text(encoding="utf-8"))) or "")
    ]
    assert silent == []


def test_every_test_file_is_collectable():
    strays = [
        path.name
        for path in (ROOT / "tests").glob("*.py")
        if not re.fullmatch(r"test_[a-z0-9_]+\.py", path.name) and path.name not in HELPERS
    ]
    assert strays == []
    for path in (ROOT / "tests").glob("test_*.py"):
        assert re.search(r"^(async )?def test_|^class Test", path.read_text(encoding="utf-8"), re.M), path.name


# --- the public list


def test_public_list_is_sorted_and_complete():
    front = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    offered = {
        alias.asname or alias.name
        for node in ast.walk(front)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("stocksim")
        for alias in node.names
    } | set(stocksim._LAZY)
    assert list(stocksim.__all__) == sorted(stocksim.__all__)
    assert set(stocksim.__all__) == offered
    assert all(getattr(stocksim, name) is not None for name in stocksim.__all__)


def test_every_error_is_public():
    errors = ast.parse((PACKAGE / "errors.py").read_text(encoding="utf-8"))
    named = {node.name for node in errors.body if isinstance(node, ast.ClassDef)}
    assert named <= set(stocksim.__all__)


def test_an_unknown_public_name_is_refused():
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = stocksim.no_such_name


# --- functions and their names


def public_functions(rooms: tuple[str, ...]) -> list[tuple[str, ast.FunctionDef, bool]]:
    """Dotted name, function and whether it is a method, of every public function of some rooms."""
    found = []
    for path in MODULES:
        if room(path) not in rooms:
            continue
        dotted = ".".join(path.relative_to(PACKAGE).with_suffix("").parts)
        tree = parsed(path.read_text(encoding="utf-8"))
        for node in tree.body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                found.append((f"{dotted}.{node.name}", node, False))
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                found += [
                    (f"{dotted}.{node.name}.{inner.name}", inner, True)
                    for inner in node.body
                    if isinstance(inner, ast.FunctionDef)
                    and (not inner.name.startswith("_") or inner.name == "__init__")
                ]
    return found


def parameters(function: ast.FunctionDef) -> list[str]:
    given = function.args
    every = [*given.posonlyargs, *given.args, *given.kwonlyargs, given.vararg, given.kwarg]
    return [argument.arg for argument in every if argument is not None and argument.arg != "self"]


SCIENCE_FUNCTIONS = [entry for entry in public_functions(SCIENCE) if not entry[2]]


@pytest.mark.parametrize("entry", SCIENCE_FUNCTIONS, ids=lambda entry: entry[0])
def test_science_functions_say_what_they_take_and_give(entry):
    _, function, _ = entry
    text = ast.get_docstring(function) or ""
    for section in ("Parameters", "Returns"):
        assert re.search(rf"^{section}\n-+$", text, re.M), section
    listed = text.split("Parameters\n", 1)[1].split("\nReturns\n", 1)[0]
    names = {name.strip() for line in re.findall(r"^([\w, ]+)(?: :.*)?$", listed, re.M) for name in line.split(",")}
    assert set(parameters(function)) <= names
    if "float" in ast.unparse(function).lower() or "array" in text:
        assert re.search(r"\[[^\]\n]+\]", text), "no unit in [ ]"


def known_names() -> dict[str, tuple[str, str]]:
    """Name -> (meaning, unit) of docs/names.md."""
    rows = re.findall(
        r"^\| `(\w+)` \| ([^|]+) \| ([^|]+) \|$", (ROOT / "docs/names.md").read_text(encoding="utf-8"), re.M
    )
    assert len({name for name, _, _ in rows}) == len(rows), "a name stands twice in docs/names.md"
    return {name: (meaning.strip(), unit.strip()) for name, meaning, unit in rows}


def test_every_parameter_name_is_in_the_table():
    known = known_names()
    used = {
        name: where for where, function, _ in public_functions((*SCIENCE, "engine")) for name in parameters(function)
    }
    assert {name: where for name, where in sorted(used.items()) if name not in known} == {}
    # and the table holds no name that nothing bears
    assert sorted(set(known) - set(used)) == []


UNIT_BY_ENDING = {
    "_c": "degC", "_mg_l": "mg/L", "_m2": "m2", "_m3": "m3", "_kj": "kJ/day", "_kj_g": "kJ/g", "_g_day": "g/day",
    "_m3_day": "m3/day", "_w": "W", "_w_m2": "W/m2", "_g_m2_day": "g/m2/day", "_weight_g": "g",
    "_g_m2": "g/m2",
}  # fmt: skip


def test_names_end_in_their_unit():
    for name, (_, unit) in known_names().items():
        endings = [ending for ending in UNIT_BY_ENDING if name.endswith(ending)]
        if endings:
            assert unit.removesuffix(" difference") == UNIT_BY_ENDING[max(endings, key=len)], name


# --- words that do not belong here

# written in pieces, so that this file does not hold them either
BANNED = [
    "/" + "work", "sha" + "red/", "py" + "pi.org", "files.python" + "hosted", "agent " + "session", "iss" + "ue 2",
    "crates" + ".io",
]  # fmt: skip


def repository_files() -> list[Path]:
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-co", "--exclude-standard", "-z"],
            cwd=ROOT,
            capture_output=True,
            check=True,
            timeout=900,
        ).stdout.decode()
    except (OSError, subprocess.SubprocessError):
        pytest.skip("not a git checkout")
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).is_file()]


def test_no_file_speaks_of_its_making():
    found = []
    for path in repository_files():
        text = path.read_bytes().decode("utf-8", errors="ignore").lower()
        found += [f"{path.relative_to(ROOT)}: {word}" for word in BANNED if word in text]
    assert found == []


@pytest.mark.parametrize("name", ["README.md", "CHANGELOG.md", "LICENSE", "docs/names.md"])
def test_the_papers_are_there(name):
    assert len((ROOT / name).read_text(encoding="utf-8")) > 200


def test_every_mutation_has_its_place():
    """A mutant of a place that moved would stop the run that looks whether the tests notice."""
    of_file = runpy.run_path(str(ROOT / "tests" / "mutants" / "mutations.py"))["MUTATIONS"]
    texts = {path: (PACKAGE / path).read_text(encoding="utf-8") for path in {mutation.file for mutation in of_file}}
    assert [mutation for mutation in of_file if texts[mutation.file].count(mutation.old) != 1] == []
