"""The first layer of the cold months: the recommendation, what to do before they come, the options worth a look.

Apart from `answer` for its length.
"""

from __future__ import annotations

from stocksim.answers.cold.choice import sizes
from stocksim.answers.cold.decide import Cold
from stocksim.answers.cold.words import frontier_options, money, option_name
from stocksim.faces.answer import Brief
from stocksim.faces.care import brief_cares
from stocksim.faces.change_words import change_words
from stocksim.heat.heaters import HeaterSize, size_to_have
from stocksim.units import face_unit, format_date, to_face

_BRIEF_OPTIONS = 5  # of the first layer


def verdict_sentence(cold: Cold) -> str:
    """The recommendation in one sentence."""
    best = cold.best
    cost = "" if best.cost is None else f", {money(best.cost)} of fuel a season"
    return f"Recommended: {option_name(best, cold.site.file.site.units)}{cost}."


def _action_rows(cold: Cold) -> list[dict[str, str]]:
    """What to change before the cold months: the option, heaters to buy, crops to take out."""
    best, units = cold.best, cold.site.file.site.units
    rows = [] if best.change is None else [("greenhouse", change_words(best.change, units))]
    if not cold.is_heat_forbidden:
        few = [place for place, size in sizes(best).items() if size is not HeaterSize.ENOUGH]
        rows += [
            (place, f"have {size_to_have(best.design_kw[place]):.1f} kW of heater, not {best.installed_kw[place]:.1f}")
            for place in few
        ]
        rows += [
            (place, f"buy an electric heater of {size_to_have(best.design_kw[place]):.1f} kW") for place in best.to_buy
        ]
    rows += [(crop, f"too cold on {nights} nights: take it out before") for crop, nights in best.chilled.items()]
    by = format_date(cold.warmth.weather.start)
    return [{"do by": by, "where": where, "what": what[:1].upper() + what[1:]} for where, what in rows]


def _option_rows(cold: Cold) -> list[dict[str, str]]:
    """The options worth a look, in few columns."""
    units = cold.site.file.site.units
    return [
        {
            "option": ("* " if option is cold.best else "") + option_name(option, units),
            "fuel cost": money(option.cost),
            f"fish grown {face_unit('mass', units)}": f"{to_face(option.net_kg, 'mass', units):,.0f}",
            "fish that die": f"{option.deaths:.0f}",
            f"crops {face_unit('mass', units)}": f"{to_face(option.yield_kg, 'mass', units):,.0f}",
        }
        for option in frontier_options(cold)[:_BRIEF_OPTIONS]
    ]


def cold_brief(found: Cold) -> Brief:
    """What to change, then the file's own way, what is recommended and what else is worth its fuel."""
    changes = [found.best.change] if found.best.change is not None else []
    rows = _action_rows(found)
    head = "What to do, by date:" if rows else "Keep everything as the file says."
    return Brief(rows, head, _option_rows(found), brief_cares(found.site.file, changes))
