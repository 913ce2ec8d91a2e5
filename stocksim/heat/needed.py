"""Fuel that a season asks for, heater by heater, as its file says."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from stocksim.climate.greenhouse import FUELS, fuel_units
from stocksim.heat.temperatures import warmth_of_site
from stocksim.site.climate_faults import heaters
from stocksim.site.climate_tables import HeaterTable
from stocksim.site.reading import Site

_LEAST_KWH = 0.05  # less is not worth a word


class FuelNeeded(NamedTuple):
    """What a heater burns or draws by the day, in the unit that it is sold by; the price of one, None without."""

    place: str
    fuel: str
    unit: str
    by_day: NDArray[np.float64]
    price: float | None

    def cost(self, first: int = 0) -> float | None:
        """Money from a day of the season on; None without a price."""
        return None if self.price is None else float(self.by_day[first:].sum()) * self.price


def sold_by(heater: HeaterTable) -> str:
    """Unit that a heater's fuel is sold by: that of its price, else the fuel's usual one."""
    return heater.price_per or next(iter(FUELS[heater.fuel].kwh_per))


def fuel_needed(site: Site) -> list[FuelNeeded]:
    """Fuel of each heater that runs.

    Parameters
    ----------
    site : Site
        A checked site.

    Returns
    -------
    list of FuelNeeded
        Empty where the site has no weather or no heater.
    """
    warmth, found = warmth_of_site(site), []
    if warmth is None:
        return []
    for place, heater in heaters(site.file):
        heat = np.asarray(warmth.heat_kwh(place), float)
        if heat.sum() < _LEAST_KWH:
            continue
        unit = sold_by(heater)
        by_day = np.asarray(fuel_units(heat, heater.fuel, unit, heater.efficiency), float)
        found.append(FuelNeeded(place, heater.fuel, unit, by_day, heater.price))
    return found
