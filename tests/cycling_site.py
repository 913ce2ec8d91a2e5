"""A small site whose film starts, and its nitrogen by a stiff solver: the engine's equations without its days.

The solver takes from the engine's course only what films do not decide themselves: the day's fish, dosed buffer and
oxygen. TAN, nitrite, nitrate and alkalinity of tank, bed and sump and both films are its own.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
from scipy.integrate import solve_ivp
from small_sites import START, build, one_tank

from stocksim.engine.arrays.layout import Layout, build_layout
from stocksim.engine.season import Course, simulate
from stocksim.water.ammonia import unionized_fraction
from stocksim.water.buffering import SALTS
from stocksim.water.maturity import ammonia_inhibition, oxidizer_decay, oxidizer_growth
from stocksim.water.nitrification import nitrification_capacity, oxygen_share

BASE_PER_N = 3.573
AS_AMMONIA = 0.87


def cycling(temperature_c: float, days: int, start: str = "new", grams: float = 1.0, bed_m2: float = 2.0) -> dict:
    """Tables of one tank and one media bed without fish, fed with ammonia every day."""
    tables = one_tank(
        temperature_c=temperature_c, days=days, count=0, bed_m2=bed_m2, alkalinity_target="100 mg/L",
        biofilter_start=start,
        fishless_cycling={
            "from": START, "to": START + dt.timedelta(days=days - 1), "ammonia_nitrogen": f"{grams} g/day",
        },
    )  # fmt: skip
    tables["cohorts"] = {}
    return tables


def run(tables: dict) -> tuple[Layout, Course]:
    """The engine's season."""
    layout = build_layout(build(tables))
    return layout, simulate(layout)


def day_ready(levels: np.ndarray, below_mg_l: float = 0.5) -> int:
    """First day from which TAN and nitrite stay below a level; the number of days if they never do."""
    high = np.flatnonzero((levels > below_mg_l).any(axis=1))
    return int(high[-1]) + 1 if high.size else 0


def by_solver(layout: Layout, course: Course, tolerance: float = 1e-7) -> dict[str, np.ndarray]:
    """TAN, nitrite, nitrate, alkalinity of tank, bed and sump (day, 3), and films (day, 2), at the end of each day."""
    volume = np.array([*layout.volume_m3, *layout.sump_volume_m3])
    flow, works = layout.flow_m3_day, layout.water
    temperature = layout.temperature_c[:, 0]
    salt = SALTS[works.salts[0]].salt_g_per_alkalinity_g
    oxygen = np.concatenate([course.oxygen_mg_l[0, :1], course.oxygen_mg_l[0, :-1]])
    sump_oxygen = np.concatenate([course.sump_oxygen_mg_l[0, :1], course.sump_oxygen_mg_l[0, :-1]])[:, 0]

    def mixed(level: np.ndarray, out: float) -> np.ndarray:
        """Change of a solute by the flows between sump and leaves and by what is taken out. [g/day]"""
        through = flow * (level[2] - level[:2])
        return np.array([*through, -through.sum() - out * level[2]])

    start = np.concatenate([
        np.zeros(6), np.full(3, works.start_nitrate[0]), np.full(3, works.start_level[0, 0]), works.maturity.T.ravel(),
    ])  # fmt: skip
    states = [start]
    for day in range(layout.days):
        t = temperature[day]
        whole = nitrification_capacity(layout.film_m2, t)
        decay = float(oxidizer_decay(t))
        # the day goes by the morning's pH, which is the evening's before
        free = float(unionized_fraction(course.ph[0, max(day - 1, 0), 0], t))
        excreted = float(course.excreted_nitrogen_g[0, day].sum())
        to_sump = float(course.sump_tan_load_g[0, day, 0])
        out, top_up = float(course.outflow_m3[0, day, 0]), float(course.top_up_m3[0, day, 0])
        freed = to_sump - float(works.ammonia_dose_g[day, 0])  # dosed ammonia is a salt of an acid: no base
        base = BASE_PER_N * (freed + course.denitrified_n_g[0, day, 0]) + course.buffer_g[0, day, 0] / salt
        base += top_up * works.source_level[0, 0]
        exchange = course.leaf_exchange_m3_day[0, day, 1]
        arriving = course.leaf_exchange_load_g[0, day, 1] + flow[1] * sump_oxygen[day]

        def rate(_time: float, y: np.ndarray, d: tuple = (t, whole, decay, excreted, to_sump, out, top_up, base,
                                                           exchange, arriving, day, free)) -> np.ndarray:  # fmt: skip
            t, whole, decay, excreted, to_sump, out, top_up, base, exchange, arriving, day, free = d
            tan, no2, no3, alkalinity = (np.maximum(part, 0.0) for part in y[:12].reshape(4, 3))
            film = y[12:].reshape(2, 2)  # of tank and bed, for ammonia and nitrite
            in_bed = float(
                oxygen_share(np.float64(whole[1] * film[1, 0]), tan[1], flow[1] + exchange, np.float64(arriving))
            )
            air = np.array([oxygen[day, 0] / (0.9 + oxygen[day, 0]), in_bed])
            active = whole * air * alkalinity[:2] / (25.0 + alkalinity[:2])
            first = active * film[:, 0] * tan[:2] / (1.93 + tan[:2])
            second = 0.62 / 0.56 * active * film[:, 1] * no2[:2] / (1.0 + no2[:2])
            growth = np.array([
                [
                    float(oxidizer_growth(t, food[leaf], oxygen[day, leaf], alkalinity[leaf], kind))
                    * float(ammonia_inhibition(tan[leaf] * free, kind))
                    for kind, food in (("ammonia", tan), ("nitrite", no2))
                ]
                for leaf in (0, 1)
            ])  # fmt: skip
            source = works.source_nitrate[0]
            gained = (
                mixed(tan, out) + np.array([AS_AMMONIA * excreted - first[0], -first[1], to_sump]),
                mixed(no2, out) + np.array([*(first - second), 0.0]),
                mixed(no3, out) + np.array([*second, top_up * source - course.denitrified_n_g[0, day, 0]]),
                mixed(alkalinity, out)
                + np.array([BASE_PER_N * (AS_AMMONIA * excreted - 2.0 * first[0]), -2.0 * BASE_PER_N * first[1], base]),
            )
            grown = (growth - decay) * film - growth * film**2
            return np.concatenate([*(part / volume for part in gained), grown.ravel()])

        solved = solve_ivp(rate, (0.0, 1.0), states[-1], "LSODA", rtol=tolerance, atol=1e-9)
        states.append(solved.y[:, -1])
    told = np.array(states[1:])
    names = ("tan", "nitrite", "nitrate", "alkalinity")
    return {name: told[:, 3 * n : 3 * n + 3] for n, name in enumerate(names)} | {"film": told[:, 14:]}
