"""Many seasons of a site: what is asked, checked, put together where scenarios are alike, and run in chunks.

Apart from `running`, for a single season needs none of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.arrays.tables import numbers_of, stacked, structure_key, with_numbers
from stocksim.engine.results.course import Course
from stocksim.engine.results.many import COLUMNS, KeptPart, ManySeasons, kept_part
from stocksim.engine.season import CHUNK, Progress, in_chunks
from stocksim.errors import Fault, InputError
from stocksim.memo import Memo, content_key
from stocksim.site.reading import Site

if TYPE_CHECKING:
    pass

FloatArray = NDArray[np.float64]
Keep = Literal["extremes", "course"] | Sequence[str]

_BLOCK = 4 * CHUNK  # scenarios whose layouts are at hand at once


@dataclass(frozen=True)
class _Ask:
    """What is to be run and kept."""

    site: Site
    scenarios: Sequence[Mapping[str, Any]]
    arrays: Mapping[str, FloatArray]
    keeps_course: bool
    columns: tuple[str, ...]

    @property
    def number(self) -> int:
        if self.scenarios or not self.arrays:
            return len(self.scenarios)
        return len(np.atleast_1d(next(iter(self.arrays.values()))))


def run_seasons(
    site: Site,
    scenarios: Iterable[Mapping[str, Any]] = (),
    arrays: Mapping[str, ArrayLike] | None = None,
    keep: Keep = "extremes",
    progress: Progress | None = None,
    threads: int | None = None,
) -> ManySeasons:
    """Many seasons of a site, and of each as much as is asked for.

    Parameters
    ----------
    site : Site
        A checked site.
    scenarios : sequence of mapping of str to object
        For each season what differs, as in `run_season`: dotted fields to the values that the site file would hold.
        They are checked like a file, some milliseconds each.
    arrays : mapping of str to array_like, shape (scenario, ...), optional
        Numbers of the site's `Layout` by name, as ``count``, ``species.body_energy`` or ``water.start_nitrate``, each
        with the scenarios first; with ``scenarios``, as many of them. Quick and not checked: what the layout has
        derived from other numbers stays, as the appetite of each day's ``temperature_c``.
    keep : "extremes", "course", or sequence of str
        ``extremes``: worst value, first day and margin of every limit, totals, deaths by cause; some kB a season.
        ``course``: the whole course as well, so that any `ManySeasons.season` can be had; 1 to 2 MB a season.
        Names of columns: these, day by day, as well: 4 bytes for each scenario, day and place.
    progress : callable, optional
        Called with (scenarios done, scenarios in all).
    threads : int, optional
        Threads to run in; one for each processor if left out. Results are the same to the bit for any number.

    Returns
    -------
    ManySeasons
        Frames ``limits``, ``totals`` and ``deaths``, and what else was kept.

    Raises
    ------
    InputError
        If a scenario makes the site faulty (the first that does), or an array or a column is not known.
    """
    ask = _asked(site, scenarios, arrays or {}, keep)
    parts: list[tuple[NDArray[np.int64], KeptPart]] = []
    courses: dict[int, tuple[Site, Layout]] = {}

    def finish(layout: Layout, course: Course) -> KeptPart:
        return kept_part(site, layout, course, ask.columns, ask.keeps_course)

    done = 0
    for numbers, sites, layouts in _alike(ask):
        rows = {name: array[numbers] for name, array in ask.arrays.items()}
        many = with_numbers(stacked(layouts), rows)
        if ask.keeps_course:
            for at, number in enumerate(numbers.tolist()):
                mine = with_numbers(layouts[at], {name: array[at] for name, array in rows.items()})
                courses[number] = (sites[at], mine)
        first = 0
        for part in in_chunks(many, finish, threads=threads):
            own = numbers[first : first + len(part.deaths)]
            first += len(own)
            _raise_first(site, own, part, parts)
            parts.append((own, part))
            done += len(own)
            if progress is not None:
                progress(done, ask.number)
    return ManySeasons(site, ask.number, parts, courses)


def _asked(site: Site, scenarios: Iterable[Mapping[str, Any]], arrays: Mapping[str, ArrayLike], keep: Keep) -> _Ask:
    """What is asked, checked."""
    held = {name: np.array(array, dtype=float) for name, array in arrays.items()}
    ask = _Ask(
        site, list(scenarios), held, keep == "course", () if isinstance(keep, str) else tuple(dict.fromkeys(keep))
    )
    faults = []
    if isinstance(keep, str) and keep not in ("extremes", "course"):
        faults.append(f'keep: "{keep}" is not known; use "extremes", "course" or a list of columns.')
    unknown = [name for name in ask.columns if name not in COLUMNS]
    faults += [f'keep: "{name}" is not a column that can be kept; known are {", ".join(COLUMNS)}.' for name in unknown]
    if not ask.number:
        faults.append("scenarios: there are none; give a mapping of changed fields for each season, or arrays.")
    known = numbers_of(build_layout(site)) if held else {}
    for name, array in held.items():
        if name not in known:
            faults.append(f'arrays: "{name}" is not an array of numbers of a layout; known are {", ".join(known)}.')
        elif array.ndim == 0 or len(array) != ask.number:
            faults.append(f"arrays: {name} has the shape {array.shape}; its first axis must be {ask.number} scenarios.")
    if faults:
        raise InputError([Fault("", "", sentence) for sentence in faults])
    return ask


def _alike(ask: _Ask) -> Iterator[tuple[NDArray[np.int64], list[Site], list[Layout]]]:
    """Scenarios that may run together, a block at a time: their places, sites and layouts."""
    made: Memo[tuple[Site, Layout, bytes]] = Memo(_BLOCK)
    fitting: set[bytes] = set()
    for first in range(0, ask.number, _BLOCK):
        groups: dict[bytes, list[tuple[int, Site, Layout]]] = {}
        for number in range(first, min(first + _BLOCK, ask.number)):
            changed = _changed(ask, number)
            site, layout, key = _made(ask, number, changed, made)
            if ask.arrays and changed not in fitting:
                _check_shapes(ask, number, layout)
                fitting.add(changed)
            groups.setdefault(key, []).append((number, site, layout))
        for group in groups.values():
            numbers, sites, layouts = zip(*group, strict=True)
            yield np.array(numbers, np.int64), list(sites), list(layouts)


_NOTHING_CHANGED = content_key({})


def _changed(ask: _Ask, number: int) -> bytes:
    """Key of what a scenario changes in the site."""
    if not ask.scenarios:
        return _NOTHING_CHANGED
    try:
        return content_key(dict(ask.scenarios[number]))
    except TypeError:  # a value that no file holds: told by the check of the changed site, or equal to itself alone
        return content_key(number)


def _made(ask: _Ask, number: int, changed: bytes, made: Memo[tuple[Site, Layout, bytes]]) -> tuple[Site, Layout, bytes]:
    """Site and layout of a scenario, and the key of its structure; equal scenarios share them."""

    def make() -> tuple[Site, Layout, bytes]:
        changes = dict(ask.scenarios[number]) if ask.scenarios else {}
        site = ask.site.with_changes(changes) if changes else ask.site
        layout = build_layout(site)
        return site, layout, structure_key(layout)

    try:
        return made.of(changed, make)
    except InputError as error:
        raise InputError([_of_scenario(ask.site, number, fault) for fault in error.faults]) from None


def _check_shapes(ask: _Ask, number: int, layout: Layout) -> None:
    """Refuse arrays that do not fit the layout of a scenario."""
    shapes = {name: array.shape for name, array in numbers_of(layout).items()}
    for name, array in ask.arrays.items():
        if array.shape[1:] != shapes[name]:
            raise InputError(
                f"arrays: {name} has the shape {array.shape}; scenario {number} needs (scenarios, "
                f"{', '.join(map(str, shapes[name]))})."
            )


def _of_scenario(site: Site, number: int, fault: Fault) -> Fault:
    return replace(fault, file=f"{fault.file or site.name}, scenarios[{number}]")


def _raise_first(
    site: Site, own: NDArray[np.int64], part: KeptPart, parts: list[tuple[NDArray[np.int64], KeptPart]]
) -> None:
    """Refuse events that cannot be, and columns of seasons of other days."""
    if part.faults:
        first = part.faults[0][0]
        raise InputError([_of_scenario(site, int(own[at]), fault) for at, fault in part.faults if at == first])
    if not part.columns or not parts:
        return
    before = parts[0][1]
    name = next(iter(part.columns))
    if (part.start, part.columns[name][1].shape[1]) != (before.start, before.columns[name][1].shape[1]):
        message = "has other days than the first scenario; columns are kept only of seasons of the same days."
        raise InputError([_of_scenario(site, int(own[0]), Fault("season", "", message))])
