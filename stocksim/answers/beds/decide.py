"""Feed against planted area, week by week."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stocksim.answers.beds.nutrients import WEEK_DAYS, is_told_short, on_loops
from stocksim.engine.results.beds import LEAST_DRAW_G_M2, dissolved_nitrogen
from stocksim.engine.results.frames import Season

FloatArray = NDArray[np.float64]

# A week's gap is told as one where it is more than this share of the larger side (assumed: within it, it is even).
EVEN_SHARE = 0.05
_AUTUMN_WEEKS = 10  # the reference week is sought in the season's first weeks


@dataclass(frozen=True)
class Week:
    """One week of a loop; amounts are means a day.

    Parameters
    ----------
    first : date
        First day; the season's last week may be short.
    days : int
        Days of it.
    feed_g, biomass_kg, temperature_c, light_mol_m2 : float
        Feed offered, fish, water, light on its beds. Light is NaN where the loop has no bed.
    supply_g, draw_g, uptake_g : float
        Nitrogen that fish put at the crops' disposal; that the plantings would take in this week's light and warmth;
        that they took. [g/day]
    planted_m2, handbook_low_m2, handbook_high_m2, balance_m2 : float
        Area planted; that the feed carries by the published ratio; that would take up its nitrogen. NaN where no ratio
        was published for anything planted, and where crops hardly grow.
    rated_m2 : float
        The part of the planted area that has a published ratio.
    handbook_feed_g, balance_feed_g : float
        Feed that the rated area asks for by the ratio's middle, and the planted area by its draw of nitrogen. NaN where
        unknown, or where things are planted and none of them is rated.
    nitrate_n_mg_l, lowest_n_mg_l : float
        In the loop's water, and its lowest day.
    stock_g : float
        Nitrogen of that nitrate on the week's last day. [g]
    """

    first: dt.date
    days: int
    feed_g: float
    biomass_kg: float
    temperature_c: float
    light_mol_m2: float
    supply_g: float
    draw_g: float
    uptake_g: float
    planted_m2: float
    rated_m2: float
    handbook_low_m2: float
    handbook_high_m2: float
    balance_m2: float
    handbook_feed_g: float
    balance_feed_g: float
    nitrate_n_mg_l: float
    lowest_n_mg_l: float
    stock_g: float

    @property
    def missed_g(self) -> float:
        """Nitrogen that the plantings would have taken beyond what they took. [g/day]"""
        return max(self.draw_g - self.uptake_g, 0.0)

    @property
    def is_short(self) -> bool:
        """Whether crops miss so much that it is seen: the nitrate in the water is used up."""
        return bool(is_told_short("nitrogen", self.missed_g, self.draw_g, self.lowest_n_mg_l))

    @property
    def gap_g(self) -> float:
        """Nitrogen given less nitrogen wanted; above 0 it is left in the water. [g/day]"""
        return self.supply_g - self.draw_g

    @property
    def balance_biomass_kg(self) -> float:
        """Fish that eat the feed the beds' draw asks for, at this week's feed a kilo. [kg]"""
        return self.biomass_kg * self.balance_feed_g / self.feed_g if self.feed_g > 0.0 else float("nan")

    @property
    def handbook_biomass_kg(self) -> float:
        """Fish that eat the feed the ratio asks for, at this week's feed a kilo. [kg]"""
        return self.biomass_kg * self.handbook_feed_g / self.feed_g if self.feed_g > 0.0 else float("nan")

    @property
    def side(self) -> int:
        """1 where fish give more than beds want, -1 where they give less, 0 where it is even."""
        if abs(self.gap_g) <= EVEN_SHARE * max(self.supply_g, self.draw_g):
            return 0
        return 1 if self.gap_g > 0.0 else -1


@dataclass(frozen=True)
class Fall:
    """How feed and draw went down into winter, against the autumn week in which beds drew most.

    Parameters
    ----------
    reference, trough : date
        That week, and the week after it in which light and warmth let crops grow least.
    feed_share, feed_per_kg_share : float
        Of the reference, left at the trough: feed of all fish, and feed a kilo of fish. [-]
    draw_share, area_draw_share : float
        Likewise the draw of what is planted, and that of a square meter of the season's mix of crops at all ages, which
        only light and warmth move. [-]
    back : date or None
        First week after the trough in which draw stands as high against its reference as feed does; None where it
        never does.
    """

    reference: dt.date
    trough: dt.date
    feed_share: float
    feed_per_kg_share: float
    draw_share: float
    area_draw_share: float
    back: dt.date | None

    @property
    def faster(self) -> str:
        """Which fell further, the draw of a square meter or the feed of a kilo: ``draw``, ``feed`` or ``even``."""
        if abs(self.feed_per_kg_share - self.area_draw_share) <= EVEN_SHARE:
            return "even"
        return "draw" if self.area_draw_share < self.feed_per_kg_share else "feed"


@dataclass(frozen=True)
class LoopBalance:
    """A loop's balance of fish and beds.

    Parameters
    ----------
    loop : str
        Its name.
    weeks : tuple of Week
        The season.
    turns : tuple of (date, int)
        Weeks in which the side changes, and the new side: 1 too much nitrogen, -1 too little.
    fall : Fall or None
        None where beds draw nothing in autumn, or no week draws less.
    """

    loop: str
    weeks: tuple[Week, ...]
    turns: tuple[tuple[dt.date, int], ...]
    fall: Fall | None

    @property
    def mean_gap_g(self) -> float:
        """Nitrogen given less wanted, mean of the season. [g/day]"""
        days = np.array([week.days for week in self.weeks], float)
        return float((np.array([week.gap_g for week in self.weeks]) * days).sum() / days.sum())

    @property
    def drawing(self) -> tuple[Week, ...]:
        """Weeks in which beds would take more than fish give, so that they draw on the nitrate in the water."""
        return tuple(week for week in self.weeks if week.side < 0)

    @property
    def short(self) -> tuple[Week, ...]:
        """Weeks in which the nitrate in the water is used up and crops miss nitrogen."""
        return tuple(week for week in self.weeks if week.is_short)

    @property
    def is_even(self) -> bool:
        """Whether fish give what beds want over the season, within what counts as even."""
        return abs(self.mean_gap_g) <= EVEN_SHARE * max(self.mean("supply_g"), self.mean("draw_g"))

    def mean(self, name: str) -> float:
        """Mean of a field over the season, weeks weighted by their days."""
        days = np.array([week.days for week in self.weeks], float)
        return float((np.array([getattr(week, name) for week in self.weeks]) * days).sum() / days.sum())


def bed_balance(season: Season) -> list[LoopBalance]:
    """Balance of every loop that has fish or planted beds.

    Parameters
    ----------
    season : Season
        A season that was run.

    Returns
    -------
    list of LoopBalance
        In the order of the site file. Wicking beds, which loop water does not feed, are no part of it.
    """
    layout, course, stands = season.layout, season.course, season.planting.stands
    produced = season.loops["tan_produced_g"].to_numpy(float).reshape(layout.days, -1)
    supply = dissolved_nitrogen(layout, course, produced[None])[0]
    of_loop = on_loops(season)
    light_of = of_loop / np.maximum(of_loop.sum(axis=0), 1.0)
    frame = {
        "feed_g": (course.fed_g @ layout.cohort_loop)[0],
        "biomass_kg": ((course.count * course.weight_g) @ layout.cohort_loop)[0] / 1000.0,
        "temperature_c": layout.temperature_c,
        "light_mol_m2": np.where(of_loop.any(axis=0), stands.climate.light_mol_m2 @ light_of, np.nan),
        "supply_g": supply,
        "draw_g": stands.demand_g[0] @ of_loop,
        "uptake_g": course.uptake_n_g[0],
        "planted_m2": layout.planted_m2,
        "rated_m2": layout.rated_m2,
        "nitrate_n_mg_l": course.nitrate_mg_l[0],
    }
    even = stands.even_nitrogen_g_m2
    found = []
    for column, loop in enumerate(layout.loops):
        if not frame["biomass_kg"][:, column].any() and not layout.planted_m2[:, column].any():
            continue
        series = {key: values[:, column] for key, values in frame.items()}
        series |= {"low": layout.ratio_low[:, column], "high": layout.ratio_high[:, column], "even": even[:, column]}
        water_m3 = float(layout.loop_water_m3[column])
        weeks = tuple(_week(season, series, water_m3, start) for start in range(0, layout.days, WEEK_DAYS))
        mix = stands.mix_nitrogen_g_m2[:, column]
        weekly_mix = np.array(
            [float(mix[start : start + WEEK_DAYS].mean()) for start in range(0, layout.days, WEEK_DAYS)]
        )
        found.append(LoopBalance(loop, weeks, tuple(_turns(weeks)), _fall(weeks, weekly_mix)))
    return found


def _week(season: Season, series: dict[str, FloatArray], water_m3: float, start: int) -> Week:
    when = slice(start, start + WEEK_DAYS)
    mean = {key: float(values[when].mean()) for key, values in series.items()}
    even, feed, supply = mean.pop("even"), mean["feed_g"], mean["supply_g"]
    low, high = mean.pop("low"), mean.pop("high")
    nan = float("nan")
    level = series["nitrate_n_mg_l"][when]
    return Week(
        first=season.dates[start],
        days=len(season.dates[when]),
        handbook_low_m2=feed / high,
        handbook_high_m2=feed / low,
        balance_m2=supply / even if even >= LEAST_DRAW_G_M2 else nan,
        handbook_feed_g=nan if mean["planted_m2"] > 0.0 == mean["rated_m2"] else mean["rated_m2"] * 0.5 * (low + high),
        balance_feed_g=mean["draw_g"] * feed / supply if supply > 0.0 else nan,
        lowest_n_mg_l=float(level.min()),
        stock_g=float(level[-1]) * water_m3,
        **mean,
    )


def _turns(weeks: tuple[Week, ...]) -> list[tuple[dt.date, int]]:
    """Weeks in which the side changes; even weeks keep the side before them."""
    turns, before = [], 0
    for week in weeks:
        if week.planted_m2 == 0.0 or week.feed_g == 0.0 or week.side == 0:
            continue
        if before and week.side != before:
            turns.append((week.first, week.side))
        before = week.side
    return turns


def _fall(weeks: tuple[Week, ...], mix: FloatArray) -> Fall | None:
    """Feed and draw from the autumn week of most draw to the poorest week for growth after it."""
    draw = np.array([week.draw_g for week in weeks])
    feed = np.array([week.feed_g for week in weeks])
    if not draw[:_AUTUMN_WEEKS].any():
        return None
    top = int(np.argmax(draw[:_AUTUMN_WEEKS]))
    low = top + int(np.argmin(mix[top:]))
    if low == top or feed[top] <= 0.0:
        return None
    per_kg = [week.feed_g / week.biomass_kg if week.biomass_kg > 0.0 else 0.0 for week in weeks]
    back = None
    for number in range(low, len(weeks)):
        if draw[number] / draw[top] >= feed[number] / feed[top]:
            back = weeks[number].first
            break
    return Fall(
        weeks[top].first, weeks[low].first, float(feed[low] / feed[top]), per_kg[low] / per_kg[top],
        float(draw[low] / draw[top]), float(mix[low] / mix[top]), back,
    )  # fmt: skip
