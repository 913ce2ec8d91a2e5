"""Pairs of sites of which one has more than the other, and whether the plan that keeps its fish gives no less.

python tests/advice/keep_pairs.py                  prints how many pairs hold, by what is more
python tests/advice/keep_pairs.py "a loop apart"   by that alone
python tests/advice/keep_pairs.py random 200 7     of so many random pairs, drawn by a seed, and writes each that fails

All sites are invented: those of `troubled`, random ones with other fish, tanks and beds, and the same with a longer
season, larger tanks, more to choose from, a second loop that shares no water, or less in reserve. More air may strip
carbon dioxide and so raise ammonia: it comes as a supply that stands idle, the choice of a larger pump, filter or flow
at hand, as what is more must be free to stay unused.
"""

from __future__ import annotations

import copy
import datetime as dt
import random
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]

from small_sites import build  # noqa: E402
from troubled import BREAKS, HEALTHY, broken_sites, changed, day  # noqa: E402

from stocksim.answers.stock.keep import keep_plan  # noqa: E402
from stocksim.answers.stock.less import GAP, Given, given  # noqa: E402
from stocksim.changes.change import prove  # noqa: E402
from stocksim.errors import InputError  # noqa: E402

NOTHING = Given(0, 0.0, 0.0)


def is_no_less(after: Given, before: Given, more: str) -> bool:
    """Whether no more harms fish, and no fewer fish are kept, nor, where these are as many, fewer kilos of them.

    Of a longer season kilos alone are asked, of fish taken out on any date or left: a fish too small to eat is kept by
    a season that ends, but not by one that goes on, and by numbers alone a sale of all on the first day would be best.
    """
    if after.harms != before.harms:
        return after.harms < before.harms
    if more != "a longer season" and abs(after.fish - before.fish) > GAP * before.fish:
        return after.fish > before.fish
    return after.kg >= (1.0 - GAP) * before.kg


def kept(tables: dict[str, Any]) -> Given:
    """What the plan that keeps the fish of a site gives.

    Where nothing has to change, that is the best of the site as it is and of what the answer tells would give more.
    """
    plan = keep_plan(build(tables))
    told = [] if plan.advice.must_change else [given(prove(plan.site, way.fields)) for way in plan.advice.ways]
    best = given(plan.lived)
    for other in told:
        if is_no_less(other, best, "") and other.kg > best.kg:
            best = other
    return best


def _season(tables: dict[str, Any], days: int = 45) -> tuple[dict[str, Any], dict[str, Any], Given]:
    shorter = copy.deepcopy(tables)
    shorter["season"]["end"] -= dt.timedelta(days=days)
    return shorter, tables, NOTHING


def _tank(tables: dict[str, Any], larger: float = 1.5) -> tuple[dict[str, Any], dict[str, Any], Given]:
    more = copy.deepcopy(tables)
    for tank in more["tanks"].values():
        number, unit = tank["volume"].split()
        tank["volume"] = f"{larger * float(number):g} {unit}"
    return tables, more, NOTHING


def _choice(tables: dict[str, Any], *kinds: str) -> tuple[dict[str, Any], dict[str, Any], Given]:
    """A keeper who will have no advice of some kinds, and one who may."""
    without = copy.deepcopy(tables)
    without["advice"] = {"never": list(kinds or ("air",))}
    return without, tables, NOTHING


def _reserve(tables: dict[str, Any], strict: float = 0.1) -> tuple[dict[str, Any], dict[str, Any], Given]:
    """A keeper who wants more in reserve, and one who wants half of that."""
    strictly, laxly = copy.deepcopy(tables), copy.deepcopy(tables)
    strictly["advice"], laxly["advice"] = {"reserve": strict}, {"reserve": strict / 2.0}
    return strictly, laxly, NOTHING


def _loop(tables: dict[str, Any], healthy: str = "perch") -> tuple[dict[str, Any], dict[str, Any], Given]:
    """A loop apart, with fish of its own: what the two give alone, the two give together."""
    other = copy.deepcopy(HEALTHY[healthy]) | {"season": tables["season"]}
    both = copy.deepcopy(tables)
    both["loops"]["apart"] = other["loops"]["main"]
    for table in ("tanks", "beds", "biofilters"):
        for name, entry in other.get(table, {}).items():
            both.setdefault(table, {})[f"apart_{name}"] = entry | {"loop": "apart"}
    for name, entry in other["cohorts"].items():
        both["cohorts"][f"apart_{name}"] = entry | {"tank": f"apart_{entry['tank']}"}
    return tables, both, kept(other)


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


MORE: dict[str, Callable[..., tuple[dict[str, Any], dict[str, Any], Given]]] = {
    "a longer season": _season, "larger tanks": _tank, "more to choose from": _choice, "a loop apart": _loop,
    "less in reserve": _reserve,
}  # fmt: skip


def pair(tables: dict[str, Any], more: str, *how_much: Any) -> tuple[dict[str, Any], dict[str, Any], Given]:
    """Tables with less and with more, and what that which is more gives by itself."""
    return MORE[more](tables, *how_much)


class Drawn(NamedTuple):
    """A random pair: its name, the tables of a site, what there is more of, and how much."""

    name: str
    tables: dict[str, Any]
    more: str
    how_much: tuple[Any, ...]


def drawn(number: int, seed: int) -> Iterator[Drawn]:
    """Random pairs, each kind of more in its turn: sites broken once or twice, with other fish, tanks and beds."""
    rng = random.Random(seed)
    for at in range(number):
        name, healthy = rng.choice(list(HEALTHY.items()))
        fields: dict[str, Any] = {}
        for how in rng.sample(list(BREAKS), rng.choice((1, 1, 2))):
            fields |= BREAKS[how]
        tables = changed(healthy, fields)
        for cohort in tables["cohorts"].values():
            cohort["count"] = max(int(cohort["count"] * rng.uniform(0.5, 1.6)), 10)
            grams = float(cohort["mean_weight"].split()[0]) * rng.uniform(0.5, 2.0)
            cohort["mean_weight"] = f"{grams:.0f} g"
        for tank in tables["tanks"].values():
            tank["volume"] = f"{1500 * rng.uniform(0.6, 1.6):.0f} L"
        tables["beds"]["gravel"]["area"] = f"{rng.uniform(1.0, 12.0):.1f} m2"
        tables["season"]["end"] = day(rng.randrange(90, 240))
        more = list(MORE)[at % len(MORE)]
        how_much: tuple[Any, ...] = {
            "a longer season": (rng.randrange(7, 75),),
            "larger tanks": (rng.uniform(1.05, 2.5),),
            "more to choose from": tuple(rng.sample(("air", "flow", "biofilter", "water", "base"), rng.choice((1, 2)))),
            "a loop apart": (rng.choice(list(HEALTHY)),),
            "less in reserve": (rng.uniform(0.04, 0.3),),
        }[more]
        yield Drawn(f"{at}: {name}, {' and '.join(map(str, how_much))} more", tables, more, how_much)


def holds(tables: dict[str, Any], more: str, *how_much: Any) -> tuple[bool, str]:
    """Whether a pair holds, and what its two plans give."""
    less, greater, apart = pair(tables, more, *how_much)
    alone, after = kept(less), kept(greater)
    before = Given(alone.harms + apart.harms, alone.fish + apart.fish, alone.kg + apart.kg)
    return is_no_less(after, before, more), f"{before} with less, {after} with more"


def main() -> None:
    """Print how many pairs hold."""
    asked = sys.argv[1:]
    if asked[:1] == ["random"]:
        number, seed = map(int, asked[1:])
        pairs = list(drawn(number, seed))
    else:
        pairs = [Drawn(site.name, site.tables, more, ()) for more in asked or MORE for site in broken_sites()]
    held = dict.fromkeys(MORE, 0)
    for one in pairs:
        try:
            is_held, told = holds(one.tables, one.more, *one.how_much)
        except InputError as error:
            is_held, told = False, str(error)
        held[one.more] += is_held
        if not is_held:
            print(f"{one.more}, {one.name}: {told}", flush=True)
    for more, number in held.items():
        print(f"{more}: {number} of {sum(one.more == more for one in pairs)} pairs")


if __name__ == "__main__":
    main()
