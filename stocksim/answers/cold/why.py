"""Why an option of the cold months is recommended, on what conditions, and what would change that.

Apart from `answer` for its length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from stocksim.answers.cold.decide import Cold
from stocksim.answers.cold.options import NoteKind
from stocksim.answers.cold.recommend import Bar, Hurdle, Verdict, Why
from stocksim.answers.cold.words import NOTES, listed, option_name
from stocksim.changes.change import Change
from stocksim.faces.change_words import change_words
from stocksim.site.kinds import LIMITS
from stocksim.units import format_quantity, to_face


def condition_sentences(cold: Cold) -> list[str]:
    """What the recommendation asks for: of the crops, of what burns, of what the keeper forbids."""
    said = [*_chilled_words(cold), *_given_up_words(cold.verdict, cold.site.file.site.units)]
    burners = cold.best.burners
    if burners:
        said.append(
            f"Fuel burns for {listed(burners)}: its flue leads outdoors, a carbon monoxide alarm hangs where people "
            "work, and a licensed fitter sets it up and checks it each year; a burner never stands at a sump or tank."
        )
    if cold.is_heat_forbidden:
        said.append(NOTES[NoteKind.HEAT_FORBIDDEN])
    return said


def _chilled_words(cold: Cold) -> list[str]:
    """Crops that stand too cold as recommended, and the cheapest option that spares fish and crops."""
    best, units = cold.best, cold.site.file.site.units
    if not best.chilled:
        return []
    crops = listed([f"{crop} on {nights} nights" for crop, nights in best.chilled.items()])
    way = f"Air colder than a standing crop tolerates: {crops}. Take it out before, or plant what tolerates the cold"
    warm = [o for o in cold.spared if o.cost is not None and not o.chilled]
    if not warm or best.cost is None or cold.is_heat_forbidden:
        return [f"{way}."]
    least = min(warm, key=lambda o: o.cost or 0.0)
    return [
        f'{way}; the cheapest option that keeps all crops from cold is "{option_name(least, units)}", '
        f"{(least.cost or 0.0) - best.cost:+,.0f} of fuel and {_Mass(units).of(least.yield_kg)} of crops in all."
    ]


def _given_up_words(verdict: Verdict, units: str) -> list[str]:
    """What it would be without crops that have no price."""
    if verdict.without_crops is None:
        return []
    (option, worth), best, unit = verdict.without_crops, verdict.best, _Mass(units)
    crops = listed([crop for crop in best.crops if crop not in verdict.crop_worth])
    less = unit.of(max(best.yield_kg - option.yield_kg, 0.0))
    bound = f"{less} of crops less is worth less than {unit.price(worth)} {unit.each}"
    chilled = [crop for crop in option.chilled if crop not in best.chilled]
    out = f"; take {listed(chilled)} out before the cold" if chilled else ""
    return [
        f"Crops without a price ([advice] crop_worth: {crops}) are a condition: as much of each as the file's own way "
        f"gives. {'Where ' + bound if math.isfinite(worth) else 'Where they are not wanted'}, choose "
        f'"{option_name(option, units)}" instead ({(option.cost or 0.0) - (best.cost or 0.0):+,.0f} of fuel, '
        f"{unit.more(option.net_kg - best.net_kg)} of fish{out})."
    ]


def reason_words(verdict: Verdict, units: str) -> str:
    """Why an option is recommended, without capital and full stop."""
    best = verdict.best
    if verdict.why is Why.LEAST_HARM:
        return (
            f"no option keeps every fish out of deadly cold or heat; this one comes nearest, and {best.deaths:.0f} die"
        )
    if verdict.why is not Why.LEAVES_MOST:
        chosen = (
            "the file's own way keeps every fish out of deadly cold"
            if verdict.why is Why.OWN_WAY
            else "it takes least heat of those that do"
        )
        return f"heat of {', '.join(verdict.unpriced)} has no price, so options are not ranked by money; {chosen}"
    return _money_words(verdict, units)


def _money_words(verdict: Verdict, units: str) -> str:
    best, plan, unit = verdict.best, verdict.plan, _Mass(units)
    fuel = best.cost or 0.0
    kept = any(crop not in verdict.crop_worth for crop in plan.crops)
    sold = f", and {verdict.crops_sold:,.0f} of crops at their price" if verdict.crop_worth else ""
    reason = (
        "of the options that keep every fish out of deadly cold"
        + (" and the crops of the file's own way" if kept else "")
        + f" it leaves most: {unit.of(best.net_kg)} of growth, less the weight of fish that die, at "
        f"{unit.price(verdict.worth)} {unit.each}{sold}, less {fuel:,.0f} of fuel; {best.deaths:.0f} fish die"
    )
    if best is not plan and plan.cost is not None:
        reason += (
            f"; against the file's own way that is {unit.more(best.net_kg - plan.net_kg)}, {fuel - plan.cost:+,.0f} of "
            f"fuel, {best.deaths - plan.deaths:+.0f} deaths and {unit.more(best.yield_kg - plan.yield_kg)} of crops"
        )
    if verdict.is_fuel_dearer:
        gained = max(verdict.fish_worth, 0.0) + verdict.crops_sold
        reason += (
            f"; the fuel costs more than the growth is worth ({fuel:,.0f} against {gained:,.0f}), so heat here keeps "
            f"fish{' and crops' if best.yield_kg > 0.0 else ''} alive and does not pay for itself"
        )
    return reason


def turning_words(
    verdict: Verdict, units: str, season_advice: Sequence[Change] = (), is_heat_forbidden: bool = False
) -> str:
    """What would change a recommendation, without capital and full stop; the season's advice where fish are harmed."""
    if verdict.why is Why.LEAST_HARM:
        if is_heat_forbidden:
            return "fish that tolerate the cold would; heat is not advised here ([advice] never)"
        advised = "; ".join(change_words(change, units) for change in season_advice)
        said = "more or larger heaters, insulation, or fish that tolerate the cold would"
        return f"{said}; the season with this spares them: {advised}" if advised else said
    if verdict.why is not Why.LEAVES_MOST:
        return 'give every heater price and price_per, as 2.4 and "gal", to rank them'
    unit, worth, words = _Mass(units), verdict.worth, []
    if verdict.dearer is not None:
        option, price = verdict.dearer
        words.append(
            f"fish worth more than {unit.price(price)} {unit.each}"
            + (
                ""
                if verdict.crop_worth or price > 100.0 * worth
                else f", or fuel at {100.0 * worth / price:.0f} % of its price,"
            )
            + f' would make it "{option_name(option, units)}"'
        )
    if verdict.cheaper is not None:
        option, price = verdict.cheaper
        words.append(
            f"fish worth less than {unit.price(price)} {unit.each}"
            + ("" if verdict.crop_worth else f", or fuel at {worth / price:.1f} times its price,")
            + f' would make it "{option_name(option, units)}"'
        )
    if verdict.bars:
        limits = dict.fromkeys(_bar_words(bar) for bar in verdict.bars)
        words.append(f"options with more growth are barred by what they break: {', '.join(limits)}")
    if verdict.cheap_power is not None:
        option, price = verdict.cheap_power
        words.append(
            f"electricity below {price:.2f} a kWh, of which the file has no price, would make it "
            f'"{option_name(option, units)}"'
        )
    words = words or ["within the options tried, no price of fish or fuel changes it"]
    if verdict.crops is not None:
        option, price = verdict.crops
        name = "the file's own way" if option.change is None else f'"{option_name(option, units)}"'
        words.append(f"crops worth more than {unit.price(price)} {unit.each} would make it {name}")
    return "; ".join(words)


_HURDLES = {
    Hurdle.COLD_LIMIT: "the cold limit", Hurdle.HEAT_LIMIT: "the heat limit", Hurdle.DEATHS: "deaths",
    Hurdle.CROP: "cold or loss",
}  # fmt: skip


def _bar_words(bar: Bar) -> str:
    what = LIMITS[bar.limit].name if bar.hurdle is Hurdle.LIMIT else _HURDLES[bar.hurdle]
    return f"{what} of {bar.where.split('.')[-1]}"


class _Mass:
    """Masses, and prices by mass, in the keeper's units."""

    def __init__(self, units: str):
        self.units = units
        self.each = "a pound" if units == "us" else "a kilo"
        self._per_kg = float(to_face(1.0, "mass", units))

    def of(self, kg: float) -> str:
        return format_quantity(kg, "mass", self.units)

    def more(self, kg: float) -> str:
        return ("+" if kg >= 0.0 else "") + self.of(kg)

    def price(self, per_kg: float) -> str:
        return f"{per_kg / self._per_kg:,.2f}"
