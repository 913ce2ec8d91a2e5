"""The planned site file: the keeper's own text, comments kept, with the plan filled in."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import tomlkit

from stocksim.errors import InputError
from stocksim.faces import editing
from stocksim.planning.stocking import StockingPlan
from stocksim.site.model import LoggedTemperature

_MARK = "# Planned by `stocksim stock`"


def planned_text(text: str, plan: StockingPlan, name: str) -> str:
    """Text of a site file with a plan filled in.

    Parameters
    ----------
    text : str
        The keeper's file.
    plan : StockingPlan
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
        new = _edited(text, plan.tables)
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


def write_planned(folder: Path, source: Path, plan: StockingPlan) -> list[Path]:
    """Write the planned site file, with the logs and own library files that it needs beside it.

    Parameters
    ----------
    folder : Path
        Where to; made if it is not there.
    source : Path
        The keeper's site file.
    plan : StockingPlan
        A plan of it.

    Returns
    -------
    list of Path
        What was written, the site file first.

    Raises
    ------
    InputError
        If something else stands under that name, or the folder cannot be written.
    """
    target = folder / f"{source.stem}_planned.toml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if target.exists() and not target.read_text(encoding="utf-8", errors="replace").startswith(_MARK):
            raise InputError(f"{target}: is there and no plan of ours; move it or give another folder.")
        text = planned_text(source.read_bytes().decode("utf-8-sig"), plan, source.name)
        target.write_text(text, encoding="utf-8")
        return [target, *_beside(folder, source, plan)]
    except (FileExistsError, NotADirectoryError):
        raise InputError(f"{folder}: is a file; give a folder for the plan.") from None
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror}).") from None


def _beside(folder: Path, source: Path, plan: StockingPlan) -> list[Path]:
    """Copies of the logs and own library files that the site needs, where the plan goes into another folder."""
    home = source.resolve().parent
    if folder.resolve() == home:
        return []
    waters = [loop.water_temperature for loop in plan.problem.site.file.loops.values()]
    wanted = [Path(water.file) for water in waters if isinstance(water, LoggedTemperature)]
    wanted += [path.relative_to(home) for path in sorted(home.glob("species_params/*/*.toml"))]
    written = []
    for name in wanted:
        target = folder / name
        if not name.is_absolute() and (home / name).is_file() and not target.exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(home / name, target)
            written.append(target)
    return written
