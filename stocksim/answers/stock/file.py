"""The planned site file: the keeper's own text, comments kept, with the plan filled in."""

from __future__ import annotations

import filecmp
import hashlib
import os
from pathlib import Path
from typing import Any

import tomlkit

from stocksim.answers.stock.decide import StockingPlan
from stocksim.answers.stock.keep import KeptPlan
from stocksim.errors import InputError
from stocksim.faces import editing
from stocksim.site.reading import Site
from stocksim.writing import copy_file, new_folder, write_file

_MARK = "# Planned by `stocksim stock`"


def planned_text(text: str, plan: StockingPlan | KeptPlan, name: str) -> str:
    """Text of a site file with a plan filled in.

    Parameters
    ----------
    text : str
        The keeper's file.
    plan : StockingPlan or KeptPlan
        A plan of it.
    name : str
        Name of that file, for the first line.

    Returns
    -------
    str
        Reads as exactly ``plan.tables``. Where the text cannot be edited without harm it is written anew, without
        comments, and the first line says so.
    """
    head = f"{_MARK} from {name}: `stocksim season` on this file is the proof of the plan."
    try:
        new = editing.put_all(text, plan.fields) if isinstance(plan, KeptPlan) else _edited(text, plan.tables)
    except InputError:
        new = ""
    if editing.tables(new) != plan.tables:
        return f"{head}\n# Written anew: the comments of {name} could not be kept.\n\n{tomlkit.dumps(plan.tables)}"
    return f"{head}\n\n{new.lstrip()}"


def plan_changes(text: str, tables: dict[str, Any]) -> list[str]:
    """What a plan changes in a site file, a sentence for each cohort and loop, and one for each other table.

    Parameters
    ----------
    text : str
        The keeper's file.
    tables : dict
        Tables of the planned site.

    Returns
    -------
    list of str
        Empty where nothing changes.
    """
    before = editing.tables(text) or {}
    said = []
    for table in ("cohorts", "loops"):
        old, new = before.get(table, {}), tables.get(table, {})
        said += [f"{table}.{name} is taken out." for name in old if name not in new]
        said += [f"{table}.{name} comes in: {_listed(new[name])}." for name in new if name not in old]
        for name in new:
            changed = _differences(old.get(name, new[name]), new[name])
            said += [f"{table}.{name}: {', '.join(changed)}."] if changed else []
    for key in dict.fromkeys([*before, *tables]):
        if key not in ("cohorts", "loops") and before.get(key) != tables.get(key):
            was = "is taken out" if key not in tables else "comes in" if key not in before else "changes"
            said.append(f"[{key}] {was}.")
    return said


def _differences(old: dict[str, Any], new: dict[str, Any]) -> list[str]:
    return [
        f"{key} {_plain(old.get(key))} becomes {_plain(new.get(key))}"
        for key in dict.fromkeys([*old, *new])
        if old.get(key) != new.get(key)
    ]


def _listed(table: dict[str, Any]) -> str:
    return ", ".join(f"{key} {_plain(value)}" for key, value in table.items())


def _plain(value: Any) -> str:
    if isinstance(value, dict):
        return f"({_listed(value)})"
    return "not given" if value is None else editing.as_typed(value)


def _edited(text: str, tables: dict[str, Any]) -> str:
    before = editing.tables(text) or {}
    for key in ("stocking", "events"):
        if key in before:
            text = editing.put(text, (key,), None)
    had = before.get("cohorts", {})
    for name in had:
        if name not in tables["cohorts"]:
            text = editing.remove_entry(text, "cohorts", name)
    for name, table in tables["cohorts"].items():
        if name not in had:
            text = editing.add_entry(text, "cohorts", name, table)
            continue
        for key, value in table.items():
            if had[name].get(key) != value:
                text = editing.put(text, ("cohorts", name, key), value)
    for loop, table in tables["loops"].items():
        if before["loops"][loop] != table:
            text = editing.put(text, ("loops", loop, "water_temperature"), table["water_temperature"])
    if "events" in tables:
        text = editing.put(text, ("events",), tables["events"])
    return text


def check_place(folder: Path, site: Site) -> None:
    """Refuse a folder that a planned site cannot be written into; quick, to be called before the planning.

    Raises
    ------
    InputError
        If it is a file, or a log or an own library file of another content stands where the site's must go.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: is a file; give a folder for the plan.")
    for source, target in _beside(folder, site):
        if os.path.lexists(target) and not (target.is_file() and filecmp.cmp(source, target, shallow=False)):
            raise InputError(
                f"{target}: is there and differs from the file of that name that the site reads; move it away, or give "
                "another folder."
            )


def write_planned(folder: Path, source: Path, plan: StockingPlan | KeptPlan) -> list[Path]:
    """Write the planned site file, with the logs, weather and own library files that it needs beside it.

    Parameters
    ----------
    folder : Path
        Where to; made if it is not there, then with all files or none. In a folder that is there the site file comes
        last, so that it never stands without what it needs.
    source : Path
        The keeper's site file.
    plan : StockingPlan or KeptPlan
        A plan of it.

    Returns
    -------
    list of Path
        What was written, the site file first. A plan that was edited since it was written, or another file of its name,
        stays; the new one then has a number after its name.

    Raises
    ------
    InputError
        As `check_place`, or if the folder cannot be written.
    """
    site = plan.site if isinstance(plan, KeptPlan) else plan.problem.site
    check_place(folder, site)
    text = _signed(planned_text(source.read_bytes().decode("utf-8-sig"), plan, source.name))
    copies = [(original, target) for original, target in _beside(folder, site) if not target.exists()]
    target = free_place(folder, source)
    if folder.exists():
        for original, copy in copies:
            copy_file(original, copy)
        write_file(target, lambda out: out.write(text), is_untouched)
    else:
        new_folder(
            folder, {path.relative_to(folder): original for original, path in copies} | {Path(target.name): text}
        )
    return [target, *(copy for _, copy in copies)]


def free_place(folder: Path, source: Path) -> Path:
    """Where a planned site goes: a place that is free, or held by a plan that nobody has edited."""
    for number in range(1, 1000):
        target = folder / f"{source.stem}_planned{f'_{number}' if number > 1 else ''}.toml"
        if not os.path.lexists(target) or is_untouched(target):
            return target
    raise InputError(f"{folder}: holds a thousand plans; give another folder.")


def is_untouched(path: Path) -> bool:
    """Whether a file is a plan as we wrote it, by the hash that its head holds."""
    try:
        first, second, rest = path.read_bytes().decode("utf-8").replace("\r\n", "\n").split("\n", 2)
    except (OSError, ValueError):
        return False
    return first.startswith(_MARK) and second == _signature(rest)


def _signed(text: str) -> str:
    first, rest = text.split("\n", 1)
    return f"{first}\n{_signature(rest)}\n{rest}"


def _signature(text: str) -> str:
    return f"# Edit it freely: a plan that differs from its mark {hashlib.sha256(text.encode()).hexdigest()} is kept."


def _beside(folder: Path, site: Site) -> list[tuple[Path, Path]]:
    """The files that the site reads and where their copies go, where the plan goes into another folder."""
    home = site.folder.resolve()
    if folder.resolve() == home:
        return []
    _, *read = site.files()
    # all own library files: the plan may name fish that the site only may buy
    read += home.glob("species_params/*/*.toml")
    inside = dict.fromkeys(path.resolve().relative_to(home) for path in read if path.resolve().is_relative_to(home))
    return [(home / name, folder / name) for name in inside if (home / name).is_file()]
