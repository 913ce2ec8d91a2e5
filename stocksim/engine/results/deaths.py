"""Every fish accounted for: where it went, and what it died of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stocksim.engine.arrays.layout import Layout
from stocksim.engine.arrays.tables import with_scenarios
from stocksim.engine.results.course import Course
from stocksim.engine.results.findings import cohort_limit
from stocksim.fish.survival import condition_hazard, water_hazards
from stocksim.fish.thermal import is_cold_known, is_heat_known
from stocksim.library.sources import Entry
from stocksim.site.kinds import CAUSES_OF_DEATH, EVENT_KINDS, REMOVALS, Act
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.nitrite import nitrite_lethal

# how each entry changes what is there
SIGNS = {
    "stocked": 1.0, "from_grading": 1.0, "growth": 1.0, "found": 1.0, "to_grading": -1.0, "deaths": -1.0,
    **dict.fromkeys((EVENT_KINDS[kind].entry for kind in REMOVALS), -1.0),
}  # fmt: skip


_CAME = ("stocked", "from_grading", "found")


def ledger(layout: Layout, course: Course, scenario: int = 0) -> dict[str, dict[str, tuple[float, float]]]:
    """Entries of every cohort.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays.
    scenario : int
        Which of its scenarios.

    Returns
    -------
    dict
        Cohort to entry to (number, mass [g]): `SIGNS` tells which add and which take; ``at_end`` is what they leave.
        Growth has no number. It is below zero where fish lost weight. What was found is below zero where fewer or
        lighter fish were found than were reckoned.
    """
    names = dict.fromkeys(layout.cohorts)
    book: dict[str, dict[str, Any]] = {name: {key: np.zeros(2) for key in (*SIGNS, "at_end")} for name in names}
    count = np.broadcast_to(layout.count, course.count[:, 0].shape)[scenario]
    deaths, dead_g, weight = course.deaths[scenario], course.dead_g[scenario], course.weight_g[scenario]
    start = np.broadcast_to(layout.start_weight_g, course.count[:, 0].shape)[scenario]
    for column, name in enumerate(layout.cohorts):
        entries = book[name]
        if layout.stocked_day[column] < layout.days:
            entries["stocked"] += (count[column], count[column] * start[column])
        entries["growth"] += (0.0, course.gain_g[scenario, :, column].sum())
        entries["deaths"] += (deaths[:, column].sum(), dead_g[:, column].sum())
        left = course.count[scenario, -1, column]
        entries["at_end"] += (left, left * weight[-1, column])
    for transfer in course.transfers:
        happening = transfer.happening
        amount, kind = (transfer.fish[scenario], transfer.mass_g[scenario]), EVENT_KINDS[happening.kind]
        if kind.act is Act.ADD:
            book[layout.cohorts[happening.target]]["stocked"] += amount
        elif kind.act is Act.GRADE:
            book[layout.cohorts[happening.source]]["to_grading"] += amount
            book[layout.cohorts[happening.target]]["from_grading"] += amount
        elif kind.act is Act.FIND:
            book[layout.cohorts[happening.target]]["found"] += amount
        elif kind.act is Act.TAKE:  # the fish of all others stay in their cohort
            book[layout.cohorts[happening.source]][kind.entry] += amount
    return {
        name: {key: (float(pair[0]), float(pair[1])) for key, pair in entries.items()} for name, entries in book.items()
    }


def taken_g(layout: Layout, course: Course, kinds: tuple[str, ...], scenario: int = 0) -> np.ndarray:
    """Mass that events of some kinds took, shape (day, column). [g]"""
    taken = np.zeros((layout.days, len(layout.cohorts)))
    for transfer in course.transfers:
        if transfer.happening.kind in kinds:
            taken[transfer.happening.day, transfer.happening.source] += transfer.mass_g[scenario]
    return taken


# --- what the fish died of: each day's deaths shared out by the hazards that made them

FloatArray = NDArray[np.float64]

CAUSES = tuple(CAUSES_OF_DEATH)
# lost whatever the water does and however they are kept
EXPECTED = tuple(cause for cause, kind in CAUSES_OF_DEATH.items() if kind.is_expected)
# A cohort that loses this share of its fish, and a whole fish at least, to more than what is expected is told first
# and is trouble. Our choice: about twice what every day takes in a year.
HEAVY_SHARE, HEAVY_FISH = 0.05, 1.0
DEATHS_TOLD = 0.5  # fish: fewer are the model's crumbs
_CERTAIN = 60.0  # hazard of a day that leaves nobody


@dataclass(frozen=True)
class Loss:
    """Fish that a cohort lost to more than every day and feed training take.

    Parameters
    ----------
    cohort : str
        Its name; empty for all fish together.
    had : float
        All fish that it ever had: stocked, and come by grading.
    by_cause : dict of str to float
        Fish lost, by the causes of `CAUSES` less `EXPECTED`, the most first.
    first_day, last_day : int
        Days of the season on which the first half of a fish, and all but half of one, were gone.
    tanks : tuple of str
        Where half a fish or more was lost.
    """

    cohort: str
    had: float
    by_cause: dict[str, float]
    first_day: int
    last_day: int
    tanks: tuple[str, ...]

    @property
    def died(self) -> float:
        """All fish of the loss."""
        return sum(self.by_cause.values())

    @property
    def is_heavy(self) -> bool:
        """Whether the answer must begin with it."""
        return self.died >= max(HEAVY_FISH, HEAVY_SHARE * self.had)


def deaths_by_cause(layout: Layout, course: Course, scenario: int = 0) -> dict[str, FloatArray]:
    """Each day's deaths of one scenario by what caused them, shape (day, column); see `every_death_by_cause`."""
    return {cause: dead[scenario] for cause, dead in every_death_by_cause(layout, course).items()}


def every_death_by_cause(layout: Layout, course: Course) -> dict[str, FloatArray]:
    r"""Each day's deaths by what caused them, of all scenarios at once.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays.

    Returns
    -------
    dict of str to ndarray, shape (scenario, day, column)
        Deaths by the causes of `CAUSES`; they sum to the course's. [fish/day]

    Notes
    -----
    Fish that tankmates swallow are counted by the day itself. Hazards add up, so all other deaths D of a day are shared
    as :math:`D_c = D\,h_c/\sum h`. Those of every day, training, cold, heat and hunger are reckoned as the day itself
    did. What they leave of the whole, :math:`-\ln(1 - D/N)`, is the water's, shared between oxygen, ammonia and nitrite
    by the hazards that the levels of the day's end make, before the cap of a day.
    """
    layout = with_scenarios(layout)
    died = course.deaths - course.swallowed
    there = died + course.count
    alive = np.divide(course.count, there, out=np.ones(there.shape), where=there > 0.0)
    whole = np.minimum(-np.log(np.maximum(alive, np.exp(-_CERTAIN))), _CERTAIN)
    hazard = {"cold": layout.cold_hazard, "heat": layout.heat_hazard}
    everyday = layout.everyday_hazard[:, None]
    training = layout.daily_hazard - sum(hazard.values()) - everyday
    hazard["training"] = np.where(layout.rations.in_training > 0.0, np.maximum(training, 0.0), 0.0)
    hazard["everyday"] = everyday
    hazard["hunger"] = condition_hazard(course.weight_g, course.greatest_g)
    of_water = np.maximum(whole - sum(hazard.values()), 0.0)
    parts = _of_water(layout, course)
    per_part = of_water / sum(parts.values())
    hazard |= {cause: per_part * part for cause, part in parts.items()}
    # the whole again, for rounding may have left the water a crumb below nothing
    per_hazard = died / sum(hazard.values())
    shared = {cause: per_hazard * part for cause, part in hazard.items()}
    shared["eaten"] = course.swallowed
    return {cause: shared[cause] for cause in CAUSES}


def deaths_of_water_or_hunger(layout: Layout, course: Course) -> FloatArray:
    """Deaths beyond those of every day, of cold and heat, of feed training and of tankmates, of all scenarios at once.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays.

    Returns
    -------
    ndarray, shape (scenario, day, column)
        [fish/day]
    """
    died = course.deaths - course.swallowed
    there = course.count + died
    return np.maximum(died + there * np.expm1(-layout.daily_hazard), 0.0)


def losses(layout: Layout, course: Course) -> tuple[Loss, list[Loss]]:
    """Fish lost to more than every day and feed training take.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays; of their first scenario.

    Returns
    -------
    Loss, list of Loss
        Of all fish together, its cohort without a name; and of every cohort that loses half a fish or more, the
        heaviest share first.
    """
    by_cause = {cause: dead for cause, dead in deaths_by_cause(layout, course).items() if cause not in EXPECTED}
    book = ledger(layout, course)
    whole = _loss("", sum(entries["stocked"][0] for entries in book.values()), layout, by_cause)
    found = [
        _loss(cohort, sum(max(entries[key][0], 0.0) for key in _CAME), layout, by_cause)
        for cohort, entries in book.items()
    ]
    return whole, sorted(
        (loss for loss in found if loss.died >= DEATHS_TOLD), key=lambda loss: loss.died / loss.had, reverse=True
    )


@dataclass(frozen=True)
class NitriteReached:
    """Nitrite above what a cohort is known to bear.

    Parameters
    ----------
    cohort : str
        Its name.
    first_day, worst_day : int
        Days of the season on which nitrite first passed the caution limit, and stood highest over it.
    worst_mg_l, caution_mg_l, lethal_mg_l : float
        Nitrite nitrogen then, the caution limit, and what kills half in four days, at that day's chloride. [mg/L] The
        last is infinite where it is not known: then no deaths of nitrite are counted.
    """

    cohort: str
    first_day: int
    worst_day: int
    worst_mg_l: float
    caution_mg_l: float
    lethal_mg_l: float

    @property
    def is_known(self) -> bool:
        """Whether the level that kills is known, so that deaths of nitrite are counted."""
        return self.lethal_mg_l < np.inf


def nitrite_reached(layout: Layout, course: Course) -> list[NitriteReached]:
    """Cohorts whose nitrite passes the caution limit of their species while they are there, in the file's order.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays; of their first scenario.

    Returns
    -------
    list of NitriteReached
        One for each such cohort.
    """
    layout = with_scenarios(layout)
    nitrite = (course.nitrite_mg_l[..., : len(layout.tanks)] @ layout.cohort_tank.T)[0]
    shape = nitrite.shape
    caution = np.broadcast_to(cohort_limit(layout, course, "nitrite")[0], shape)
    lethal = np.broadcast_to(lethal_nitrite(layout, course)[0], shape)
    over = np.where(course.there_in_morning[0], nitrite / caution, 0.0)
    found = []
    for cohort in dict.fromkeys(layout.cohorts):
        inside = [at for at, name in enumerate(layout.cohorts) if name == cohort]
        highest = over[:, inside].max(axis=1)
        if highest.max(initial=0.0) > 1.0:
            day = int(highest.argmax())
            at = (day, inside[int(over[day, inside].argmax())])
            first = int(np.argmax(highest > 1.0))
            found.append(NitriteReached(cohort, first, day, float(nitrite[at]), float(caution[at]), float(lethal[at])))
    return found


def _loss(cohort: str, had: float, layout: Layout, by_cause: dict[str, FloatArray]) -> Loss:
    """Loss of the columns of a cohort, or of all where it has no name."""
    inside = np.array([cohort in ("", name) for name in layout.cohorts], bool)
    sums = {cause: float(dead[:, inside].sum()) for cause, dead in by_cause.items()}
    daily = np.sum([dead[:, inside] for dead in by_cause.values()], axis=0)
    so_far = daily.sum(axis=1).cumsum()
    in_tank = daily.sum(axis=0) @ layout.cohort_tank[inside]
    return Loss(
        cohort,
        had,
        dict(sorted(sums.items(), key=lambda pair: -pair[1])),
        int(np.argmax(so_far >= DEATHS_TOLD)),
        int(np.argmax(so_far >= max(so_far[-1] - DEATHS_TOLD, DEATHS_TOLD))),
        tuple(tank for tank, dead in zip(layout.tanks, in_tank, strict=True) if dead >= DEATHS_TOLD),
    )


def lethal_nitrite(layout: Layout, course: Course) -> FloatArray:
    """Nitrite nitrogen that kills half of each cohort in four days at the day's chloride; infinite where not known.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays; the layout with its scenarios.

    Returns
    -------
    ndarray, shape broadcast to (scenario, day, column)
        Level. [mg/L]
    """
    species = {key: values[..., None, :] for key, values in layout.species.items()}
    return np.asarray(
        nitrite_lethal(
            species["nitrite_lethal"],
            species["nitrite_lethal_chloride"],
            course.chloride_mg_l @ layout.cohort_loop.T,
            species["chloride_protects"] > 0.0,
            cohort_limit(layout, course, "nitrite"),
        )
    )


def _of_water(layout: Layout, course: Course) -> dict[str, FloatArray]:
    """How oxygen, ammonia and nitrite share the water's hazard, by the levels of the day's end."""
    tanks, species = len(layout.tanks), {key: values[:, None] for key, values in layout.species.items()}
    temperature = layout.temperature_c @ layout.leaf_loop[:tanks].T
    toxic = course.tan_mg_l[..., :tanks] * unionized_fraction(course.ph, temperature)
    oxygen, ammonia, nitrite = (
        level @ layout.cohort_tank.T
        for level in (course.oxygen_mg_l[..., :tanks], toxic, course.nitrite_mg_l[..., :tanks])
    )
    deadly = lethal_nitrite(layout, course)
    lethal, acute = species["oxygen_lethal"], species["unionized_ammonia_acute"]
    crumb = np.finfo(float).tiny  # where none of them does anything there is nothing to share
    hazards = water_hazards(oxygen, lethal, ammonia, acute, nitrite, deadly)
    return {cause: hazard + crumb for cause, hazard in zip(("oxygen", "ammonia", "nitrite"), hazards, strict=True)}


# --- what nobody measured: water past a species' caution whose deaths by it are not known


@dataclass(frozen=True)
class NotKnown:
    """Water colder or warmer than a species' caution, where no death of that species by it was measured.

    Parameters
    ----------
    cohort, species : str
        Names of the site file and the species' key.
    cause : str
        ``cold`` or ``heat``.
    limit_c, worst_c : float
        The caution, and the coldest or hottest water. [degC]
    first_day, last_day, worst_day, days : int
        Days of the season on which the water first and last passes the caution, the worst one, and how many there are.
    """

    cohort: str
    species: str
    cause: str
    limit_c: float
    worst_c: float
    first_day: int
    last_day: int
    worst_day: int
    days: int


def not_known_by_temperature(layout: Layout, course: Course, species: Mapping[str, Entry]) -> list[NotKnown]:
    """Where nobody dies of cold or heat in the model only because it was not measured.

    Parameters
    ----------
    layout, course : Layout, Course
        A season's arrays; of their first scenario.
    species : mapping of str to Entry
        Species by key.

    Returns
    -------
    list of NotKnown
        By cohort, cold first.
    """
    water = with_scenarios(layout).temperature_c[0] @ layout.cohort_loop.T
    there, found = course.there_in_morning[0], []
    for cohort in dict.fromkeys(layout.cohorts):
        columns = [at for at, name in enumerate(layout.cohorts) if name == cohort]
        key = layout.stays[columns[0]].table.species
        entry = species[key]
        for cause, is_known, limit, sign in (
            ("cold", is_cold_known, entry["temperature_low_limit"], -1.0),
            ("heat", is_heat_known, entry["temperature_high_stress"], 1.0),
        ):
            past = np.where(there[:, columns], sign * (water[:, columns] - limit), -np.inf).max(axis=1)
            days = np.flatnonzero(past > 0.0)
            if is_known(entry.number) or not days.size:
                continue
            worst = int(past.argmax())
            worst_c, first, last = limit + sign * float(past[worst]), int(days[0]), int(days[-1])
            found.append(NotKnown(cohort, key, cause, limit, worst_c, first, last, worst, days.size))
    return found
