"""Kinds of records and of what they hold, as tables that entering, importing, storing and reckoning all ask."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from stocksim.errors import InputError, shown
from stocksim.water.buffering import SALTS


@dataclass(frozen=True, kw_only=True)
class Held:
    """A value that a record may hold; its key carries the unit, as ``total_g``.

    Parameters
    ----------
    words : str
        As ``number of fish``.
    dimension : str
        Of `stocksim.units.parse_quantity`; empty for a bare number or a text.
    is_text, is_whole : bool
        Whether it is a text, or a whole number.
    low, high : float
        What is possible; anything else is refused. [in its unit]
    usual_low, usual_high : float
        What is met in practice (assumed); anything else is asked back and kept if confirmed. [in its unit]
    """

    words: str
    dimension: str = ""
    is_text: bool = False
    is_whole: bool = False
    low: float = 0.0
    high: float = math.inf
    usual_low: float = 0.0
    usual_high: float = math.inf


MOST_SCOOP_G = 5000.0  # our choice: no hand lifts more

HELD: dict[str, Held] = {
    "count": Held(words="number of fish", is_whole=True, low=1, high=1e6, usual_high=5000),
    "total_g": Held(words="weight of all of them", dimension="weight", low=0.01, high=1e7),
    "weights_g": Held(words="single weights", is_text=True),
    "feed_g": Held(words="feed given", dimension="weight", high=1e6, usual_high=20_000),
    "scoop_g": Held(words="weight of a scoop", dimension="weight", low=0.01, high=MOST_SCOOP_G),
    "weight_g": Held(words="weight", dimension="weight", low=0.01, high=1e7),
    "temperature_c": Held(
        words="temperature", dimension="temperature", low=-2.0, high=60.0, usual_low=0.0, usual_high=35.0
    ),
    "lowest_c": Held(words="lowest reading", dimension="temperature", low=-2.0, high=60.0),
    "highest_c": Held(words="highest reading", dimension="temperature", low=-2.0, high=60.0),
    "readings": Held(words="number of readings", is_whole=True, low=1),
    "tan_mg_l": Held(words="total ammonia as N", high=1000.0, usual_high=20.0),
    "nitrite_n_mg_l": Held(words="nitrite as N", high=1000.0, usual_high=20.0),
    "nitrate_n_mg_l": Held(words="nitrate as N", high=10_000.0, usual_high=300.0),
    "alkalinity_mg_l": Held(words="alkalinity as CaCO3", high=10_000.0, usual_high=500.0),
    "ph": Held(words="pH", low=0.0, high=14.0, usual_low=5.0, usual_high=9.5),
    "oxygen_mg_l": Held(words="oxygen", high=60.0, usual_low=1.0, usual_high=20.0),
    "potassium_mg_l": Held(words="potassium", high=10_000.0, usual_high=300.0),
    "phosphorus_mg_l": Held(words="phosphorus", high=10_000.0, usual_high=100.0),
    "calcium_mg_l": Held(words="calcium", high=10_000.0, usual_high=400.0),
    "chloride_mg_l": Held(words="chloride", high=40_000.0, usual_high=2000.0),
    "cause": Held(words="cause", is_text=True),
    "to_tank": Held(words="tank they went to", is_text=True),
    "crop": Held(words="crop", is_text=True),
    "area_m2": Held(words="area", dimension="area", low=0.001, high=1e6),
    "salt": Held(words="which salt", is_text=True),
    "volume_m3": Held(words="volume", dimension="volume", low=1e-5, high=1e6),
}


@dataclass(frozen=True, kw_only=True)
class Kind:
    """What a kind of record is of, and what it holds.

    Parameters
    ----------
    words : str
        As ``fish weighed``.
    of : tuple of str
        Tables of the site file whose entry it may be of; none for the site.
    needs : tuple of tuple of str
        Sets of values of which at least one must be there whole.
    may : tuple of str
        Values that it may hold besides.
    is_in_scoops : bool
        Whether its amount may be given in scoops.
    """

    words: str
    of: tuple[str, ...]
    needs: tuple[tuple[str, ...], ...]
    may: tuple[str, ...] = ()
    is_in_scoops: bool = False

    @property
    def holds(self) -> tuple[str, ...]:
        """Keys of all values that it may hold."""
        return tuple(dict.fromkeys([key for keys in self.needs for key in keys] + list(self.may)))


_TESTED = (
    "tan_mg_l", "nitrite_n_mg_l", "nitrate_n_mg_l", "alkalinity_mg_l", "ph", "oxygen_mg_l", "potassium_mg_l",
    "phosphorus_mg_l", "calcium_mg_l", "chloride_mg_l",
)  # fmt: skip

KINDS: dict[str, Kind] = {
    "weigh": Kind(words="fish weighed", of=("cohorts",), needs=(("count", "total_g"), ("weights_g",))),
    "count": Kind(words="all fish counted", of=("cohorts",), needs=(("count",),)),
    "feed": Kind(
        words="feed given", of=("cohorts", "tanks"), needs=(("feed_g",),), may=("scoop_g",), is_in_scoops=True
    ),
    "temperature": Kind(
        words="water temperature",
        of=("tanks", "loops"),
        needs=(("temperature_c",),),
        may=("lowest_c", "highest_c", "readings"),
    ),
    "test": Kind(words="water test", of=("loops",), needs=tuple((key,) for key in _TESTED)),
    "deaths": Kind(words="dead fish", of=("cohorts",), needs=(("count",),), may=("cause",)),
    "harvest": Kind(words="fish harvested", of=("cohorts",), needs=(("count",), ("weight_g",))),
    "move": Kind(words="fish moved", of=("cohorts",), needs=(("to_tank",),)),
    "planting": Kind(words="planted", of=("beds",), needs=(("crop",),), may=("area_m2",)),
    "picking": Kind(words="picked", of=("beds",), needs=(("weight_g",),), may=("crop",)),
    "base": Kind(words="base given", of=("loops",), needs=(("weight_g",),), may=("salt",)),
    "salt": Kind(words="salt given", of=("loops",), needs=(("weight_g",),)),
    "water": Kind(words="water changed", of=("loops",), needs=(("volume_m3",),)),
    "note": Kind(words="note", of=(), needs=((),)),
}


HARVESTED, MOVED = "harvest", "move"  # kinds that are events of the site too


@dataclass(frozen=True)
class Reading:
    """What a test kit reads: the value it is kept as, and the forms it may be read in, to the factor to that value."""

    value: str
    words: str
    forms: Mapping[str, float]


# Standard atomic weights (IUPAC): H 1.008, C 12.011, N 14.007, O 15.999, Ca 40.078.
_H, _C, _N, _O, _CA = 1.008, 12.011, 14.007, 15.999, 40.078
# a German degree is 10 mg/L of CaO (its definition)
_PER_DKH = 10.0 * (_CA + _C + 3.0 * _O) / (_CA + _O)
# kits that are read in several forms; a plain number must say which, once
READINGS: dict[str, Reading] = {
    "ammonia": Reading("tan_mg_l", "ammonia", {"N": 1.0, "NH3": _N / (_N + 3 * _H), "NH4": _N / (_N + 4 * _H)}),
    "nitrite": Reading("nitrite_n_mg_l", "nitrite", {"NO2-N": 1.0, "NO2": _N / (_N + 2 * _O)}),
    "nitrate": Reading("nitrate_n_mg_l", "nitrate", {"NO3-N": 1.0, "NO3": _N / (_N + 3 * _O)}),
    "alkalinity": Reading("alkalinity_mg_l", "alkalinity", {"mg/L": 1.0, "dKH": _PER_DKH}),
}
FORM_KEYS = tuple(f"{name}_{end}" for name in READINGS for end in ("read", "as"))
SALT_NAMES = tuple(SALTS)


def form_of(name: str, written: str) -> str:
    """Form of a kit's reading as it is spelled here; raises InputError where it is not known.

    Examples
    --------
    >>> form_of("nitrate", "no3-n")
    'NO3-N'
    """
    for form in READINGS[name].forms:
        if form.lower() == written.strip().lower():
            return form
    raise InputError(
        f"{shown(written)} is no form that a kit reads {name} in; known are {', '.join(READINGS[name].forms)}."
    )


def from_kit(name: str, read: float, form: str) -> float:
    """What a kit's reading is in the form that is kept. [mg/L]

    Examples
    --------
    >>> from_kit("nitrate", 40.0, "NO3")
    9.036
    >>> from_kit("alkalinity", 5.0, "dKH")
    89.24
    """
    return read * READINGS[name].forms[form]
