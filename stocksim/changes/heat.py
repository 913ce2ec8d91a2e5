"""Heat for water as a change: one heater for the season's advice and the cold months.

Apart from `search`, for sources of changes stand together, a topic a file.
"""

from __future__ import annotations

import math
from typing import Any

from stocksim.site.climate_faults import heaters
from stocksim.site.climate_tables import HeaterTable
from stocksim.site.model import SiteFile
from stocksim.units import face_unit, to_face


def electric_heater(file: SiteFile, power: str, set_point: str) -> dict[str, Any]:
    """Table of an electric heater to buy for a loop's water; a burner does not belong at a sump.

    Parameters
    ----------
    file : SiteFile
        The site's tables, of which another electric heater may have the price.
    power, set_point : str
        As a site file has them.

    Returns
    -------
    dict
        With the price of electricity where the file tells one.
    """
    heater: dict[str, Any] = {"power": power, "set_point": set_point, "fuel": "electricity"}
    priced = _priced_electric(file)
    if priced is not None:
        heater |= {"price": priced.price, "price_per": priced.price_per}
    return heater


def _priced_electric(file: SiteFile) -> HeaterTable | None:
    """A heater of the file that tells the price of electricity."""
    return next((h for _, h in heaters(file) if h.fuel == "electricity" and h.price is not None), None)


def least_whole_degree(temperature_c: float, units: str) -> int:
    """The least whole degree of the keeper's units that keeps water at a temperature or above."""
    return math.ceil(to_face(temperature_c, "temperature", units) - 1e-6)


def degree_text(degrees: float, units: str) -> str:
    """Degrees of the keeper's units as a site file has them."""
    return f"{degrees} {face_unit('temperature', units)}"
