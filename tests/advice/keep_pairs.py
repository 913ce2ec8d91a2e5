"""Pairs of sites of which one has more than the other, and whether the plan that keeps its fish gives no less.

python tests/advice/keep_pairs.py                  prints how many pairs hold, by what is more
python tests/advice/keep_pairs.py "a loop apart"   by that alone

All sites are invented: those of `troubled` and the same with a longer season, a larger tank, more air, or a second loop
that shares no water. More air may strip carbon dioxide and so raise ammonia: it comes as a supply that stands idle, the
choice of a larger pump at hand, as what is more must be free to stay unused.
"""

from __future__ import annotations

import copy
import datetime as dt
import sys
from pathlib import Path
from typing import Any, NamedTuple

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]

from small_sites import build  # noqa: E402
from troubled import HEALTHY, broken_sites  # noqa: E402

from stocksim.answers.stock.keep import keep_plan  # noqa: E402
from stocksim.errors import InputError  # noqa: E402

_DAYS, _LARGER = 45, 1.5
# what a plan may give less, for fish go whole and machines come in sizes
WITHIN = 0.02


class Given(NamedTuple):
    """What a plan gives by its goal, the first first: fish harvested or alive at the end, and kilos of fish."""

    fish: float
    kg: float

    def __add__(self, other: Given) -> Given:  # type: ignore[override]
        return Given(self.fish + other.fish, self.kg + other.kg)

    def is_no_less_than(self, other: Given) -> bool:
        """More fish, or as many and no fewer kilos, both within `WITHIN`: kilos are asked only where fish are alike."""
        if abs(self.fish - other.fish) > WITHIN * other.fish:
            return self.fish > other.fish
        return self.kg >= (1.0 - WITHIN) * other.kg


NOTHING = Given(0.0, 0.0)


def given(tables: dict[str, Any]) -> Given:
    """What the plan that keeps the fish of a site gives."""
    plan = keep_plan(build(tables))
    return Given(plan.kept, plan.kept_kg)


def _season(tables: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any], Given]:
    shorter = copy.deepcopy(tables)
    shorter["season"]["end"] -= dt.timedelta(days=_DAYS)
    return shorter, tables, NOTHING


def _tank(tables: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any], Given]:
    larger = copy.deepcopy(tables)
    for tank in larger["tanks"].values():
        number, unit = tank["volume"].split()
        tank["volume"] = f"{_LARGER * float(number):g} {unit}"
    return tables, larger, NOTHING


def _air(tables: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any], Given]:
    """A keeper who will buy no air pump, and one who may."""
    without = copy.deepcopy(tables)
    without["advice"] = {"never": ["air"]}
    return without, tables, NOTHING


def _loop(tables: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any], Given]:
    """A loop apart, with perch of its own: what the two give alone, the two give together."""
    other = copy.deepcopy(HEALTHY["perch"])
    both = copy.deepcopy(tables)
    both["loops"]["apart"] = other["loops"]["main"]
    for table in ("tanks", "beds"):
        for name, entry in other[table].items():
            both[table][f"apart_{name}"] = entry | {"loop": "apart"}
    for name, entry in other["cohorts"].items():
        both["cohorts"][f"apart_{name}"] = entry | {"tank": f"apart_{entry['tank']}"}
    return tables, both, given(other)


def side_by_side(several: list[dict[str, Any]]) -> dict[str, Any]:
    """One site of several that each have one loop, ``main``; names get their number."""
    one: dict[str, Any] = {key: several[0][key] for key in ("site", "season")} | {"loops": {}}
    for number, tables in enumerate(several):
        loop = f"main{number}"
        one["loops"][loop] = tables["loops"]["main"]
        for table in ("tanks", "beds", "biofilters"):
            renamed = {f"{name}{number}": entry | {"loop": loop} for name, entry in tables.get(table, {}).items()}
            one.setdefault(table, {}).update(renamed)
        for name, entry in tables["cohorts"].items():
            one.setdefault("cohorts", {})[f"{name}{number}"] = entry | {"tank": f"{entry['tank']}{number}"}
    return copy.deepcopy(one)


MORE = {"a longer season": _season, "larger tanks": _tank, "air at hand": _air, "a loop apart": _loop}


def pair(tables: dict[str, Any], more: str) -> tuple[dict[str, Any], dict[str, Any], Given]:
    """Tables with less and with more, and what that which is more gives by itself."""
    return MORE[more](tables)


def main() -> None:
    """Print how many pairs hold."""
    for more in sys.argv[1:] or MORE:
        held, failed = 0, []
        for site in broken_sites():
            try:
                less, greater, apart = pair(site.tables, more)
                before, after = given(less) + apart, given(greater)
            except InputError as error:
                failed.append(f"{site.name}: {error}")
                continue
            if after.is_no_less_than(before):
                held += 1
            else:
                had = f"{before.fish:.0f} fish, {before.kg:.2f} kg"
                failed.append(f"{site.name}: {had}; with more {after.fish:.0f}, {after.kg:.2f}")
        print(f"{more}: {held} of {held + len(failed)} pairs", *failed, sep="\n  ", flush=True)


if __name__ == "__main__":
    main()
