"""Fish species: which values a file must hold, and how to find one."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from stocksim.errors import Fault, ParameterError, shown
from stocksim.library.feeds import feed_names
from stocksim.library.sources import Bound, Entry, Order, Rules, entry_names, find_entry

# Oxygen at which fish stop feeding lies below this share of the level at which they feed fully: fish/appetite.py.
KNEE_OF_FULL_OXYGEN = 3.0 / 5.5

DENSITY_MEANINGS = ("growth", "welfare", "survival")

SPECIES_RULES = Rules(
    kind="fish",
    required={
        # energy budget, fish/energetics.py
        "intake_scale": Bound("g/day", 0.005, 1),  # eaten feed at full appetite by a 1 g fish at the appetite optimum
        "intake_exponent": Bound("-", 0.3, 1),
        "appetite_optimum": Bound("degC", 8, 38),
        "appetite_upper_zero": Bound("degC", 15, 50),
        "appetite_q10": Bound("-", 1.05, 15),
        "no_feeding_below": Bound("degC", 0, 25),
        "cold_ramp_width": Bound("degC difference", 0.5, 30),
        "maintenance_at_20": Bound("kJ/kg^0.8/day", 5, 150),
        "maintenance_q10_cold": Bound("-", 1.05, 6),
        "maintenance_q10_warm": Bound("-", 1.05, 6),
        "growth_efficiency": Bound("-", 0.2, 0.9),
        "fasting_loss_fraction": Bound("-", 0.02, 1),
        "body_energy": Bound("kJ/g", 3, 15),
        "body_protein": Bound("-", 0.08, 0.25),
        # limits
        "growth_temperature_low": Bound("degC", 2, 35),
        "growth_temperature_high": Bound("degC", 5, 40),
        "temperature_low_limit": Bound("degC", 0, 25),
        "temperature_high_stress": Bound("degC", 10, 42),
        "oxygen_recommended": Bound("mg/L", 2, 12),
        "oxygen_lethal": Bound("mg/L", 0.05, 6),
        "unionized_ammonia_design": Bound("mg/L", 0.001, 0.5),
        "unionized_ammonia_acute": Bound("mg/L", 0.01, 10),
        "nitrite_limit": Bound("mg/L", 0.01, 50),  # as N, without chloride
        "chloride_protects": Bound("-", 0, 1),  # 1 where chloride keeps nitrite out, 0 where not or not known
        "density_cautious": Bound("kg/m3", 1, 200),
        "density_experienced": Bound("kg/m3", 2, 600),
        # body
        "length_weight_intercept": Bound("log10 g at 1 mm", -7, -3),
        "length_weight_slope": Bound("-", 2.4, 3.8),
        "farmed_condition": Bound("-", 0.5, 2.5),
        "market_weight": Bound("g", 1, 20000),
        # sizes, company and handling (use = company)
        "prey_share_deep": Bound("-", 0, 1),  # longest prey over own total length; 0 where the fish takes no fish
        "prey_share_slender": Bound("-", 0, 1),
        "size_spread": Bound("-", 0, 1),  # standard deviation over mean weight of an ungraded batch
        "temperature_change_per_day": Bound("degC difference", 0.2, 15),
        "feed_training_days": Bound("day", 1, 365),  # wild-caught fish: days without growth until they live on pellets
        "feed_training_loss": Bound("-", 0, 0.95),  # wild-caught adults lost in that time
    },
    optional={
        # 96-hour median lethal level of nitrite as N, and chloride of that test where nitrite goes in by the chloride
        # route; no deaths of nitrite are counted where the file has none
        "nitrite_lethal": Bound("mg/L", 0.05, 1000),
        "nitrite_lethal_chloride": Bound("mg/L", 0.1, 1000),
        # oxygen from which appetite is whole, where it was measured; oxygen_recommended where not
        "oxygen_full_appetite": Bound("mg/L", 1, 12),
        "body_depth": Bound("-", 0.05, 0.8),  # greatest depth, or breadth over locked spines, over total length
        "eats_own": Bound("-", 0, 1),  # 0 where it was looked at and takes none of its own kind; 1 where not given
        "sibling_loss": Bound("1/day", 0, 0.9),  # of the smallest young, unfed, eaten by siblings of nearly their size
        "sibling_length": Bound("mm", 0, 500),  # at which that has ended
        # deaths by cold and heat, fish/thermal.py; left out where no death of the species or of close kin was measured
        "lower_lethal_at_20": Bound("degC", 0, 20),  # half of fish used to 20 degC outlive it for four days
        "lower_lethal_slope": Bound("degC/degC", 0, 1),  # its rise with what they are used to
        "temperature_low_lethal": Bound("degC", 0, 20),  # fish used to any cold do not outlive less
        "upper_lethal_at_20": Bound("degC", 15, 45),
        "upper_lethal_slope": Bound("degC/degC", 0, 1),
        "temperature_high_lethal": Bound("degC", 15, 45),  # fish used to any heat do not outlive more
        "nitrate_caution": Bound("mg/L", 5, 5000),  # as N; told, not judged (use = caution); 100 where not given
        # winter, told and not judged (use = caution): fish/wintering.py
        "winter_safe_length": Bound("mm", 10, 400),  # young fish below this length die more in a winter
        "feeding_stop": Bound("degC", 0, 25),  # offer nothing below it
        "feeding_start": Bound("degC", 1, 30),  # feed every day from it on
        "winter_ration": Bound("% of weight", 0.02, 5),  # pellets on each day that is fed between the two
        "winter_feed_every": Bound("day", 1, 30),
        "largest_weight": Bound("g", 20, 500_000),  # heaviest of its kind that is told of: heavier ones are asked about
        # a batch of one sex eats this many times what a mixed batch does
        "appetite_males": Bound("-", 0.5, 2),
        "appetite_females": Bound("-", 0.5, 2),
        "fillet_yield": Bound("-", 0.1, 0.8),
        "fitted_feed_energy": Bound(
            "MJ/kg", 0.2, 35
        ),  # digestible energy of the feed the intake was fitted with (use = check)
        "fitted_feed_protein": Bound("-", 0.005, 0.9),
        "feed_conversion_check": Bound("kg/kg", 0.3, 15),
    },
    facts={
        "latin": True,
        "fitted_with_feed": True,
        "body_form": True,
        "temper": True,
        "company_evidence": True,
        "caution": False,
        "wild_caution": False,
        # published deaths and losses that no fit saw and that the model spares: told wherever the species is kept
        "deaths_caution": False,
        "never_with": False,
        "never_because": False,
        "like": False,
        # what the source saw above the density: less growth, worse health or manners, or deaths; welfare where not told
        "density_cautious_meaning": False,
        "density_experienced_meaning": False,
    },
    choices={
        "body_form": ("deep", "slender"),
        "temper": ("calm", "nips", "territorial", "hunts"),
        "density_cautious_meaning": DENSITY_MEANINGS,
        "density_experienced_meaning": DENSITY_MEANINGS,
    },
    together=(
        ("never_with", "never_because"),
        ("lower_lethal_at_20", "lower_lethal_slope"),
        ("upper_lethal_at_20", "upper_lethal_slope"),
    ),
    orders=(
        Order("appetite_optimum", "appetite_upper_zero"),
        Order("no_feeding_below", "appetite_optimum"),
        Order("feeding_stop", "feeding_start"),
        Order("growth_temperature_low", "growth_temperature_high"),
        Order("temperature_low_limit", "temperature_high_stress"),
        Order("temperature_high_stress", "temperature_high_lethal"),
        Order("upper_lethal_at_20", "temperature_high_lethal", may_equal=True),
        Order("temperature_low_lethal", "lower_lethal_at_20", may_equal=True),
        Order("lower_lethal_at_20", "upper_lethal_at_20"),
        Order("oxygen_lethal", "oxygen_recommended", KNEE_OF_FULL_OXYGEN),
        Order("oxygen_lethal", "oxygen_full_appetite", KNEE_OF_FULL_OXYGEN),
        Order("unionized_ammonia_design", "unionized_ammonia_acute"),
        Order("nitrite_limit", "nitrite_lethal"),
        Order("density_cautious", "density_experienced", may_equal=True),
    ),
    has_strains=True,
)


def load_species(name: str, beside: Path | None = None) -> Entry:
    """Species by its key.

    Parameters
    ----------
    name : str
        Key, as ``yellow_perch``.
    beside : Path, optional
        Folder of a site file, whose own ``species_params/fish`` wins over the shipped files.

    Returns
    -------
    Entry
        Every value with unit and source.

    Raises
    ------
    ParameterError
        If the species is unknown, its file breaks the rules, or it names a species that is in no file.
    """
    entry = find_entry(name, SPECIES_RULES, beside)
    faults = [
        Fault("", key, f"{shown(other)} is not in the library (fish); write keys as yellow_perch, with commas between.",
              Path(entry.origin).name)
        for key, others in (("never_with", never_with(entry)), ("like", _listed(entry.facts.get("like", ""))))
        for other in others
        if other not in species_names(beside)
    ]  # fmt: skip
    fitted = entry.facts["fitted_with_feed"]
    if fitted not in feed_names(beside):
        known = ", ".join(feed_names(beside))
        message = f"{shown(fitted)} is not in the library (feeds); known are {known}."
        faults.append(Fault("", "fitted_with_feed", message, Path(entry.origin).name))
    if faults:
        raise ParameterError(faults)
    return entry


def never_with(entry: Entry) -> tuple[str, ...]:
    """Keys of the species that a species must not share a tank with, by rule; the reason is its fact ``never_because``.

    Parameters
    ----------
    entry : Entry
        A species.

    Returns
    -------
    tuple of str
        Empty where the file names none.
    """
    return _listed(entry.facts.get("never_with", ""))


class Densities(NamedTuple):
    """What a species bears: all fish of its tank, and fish of its own kind, infinite where not told. [kg/m3]"""

    of_tank: float
    of_own: float


def density_meaning(entry: Entry, level: str) -> str:
    """What the limit of a species' density stands for.

    Parameters
    ----------
    entry : Entry
        A species.
    level : str
        ``cautious`` or ``experienced``.

    Returns
    -------
    str
        growth, welfare or survival.
    """
    return entry.facts.get(f"density_{level}_meaning", "welfare")


def density_limits(entry: Entry, level: str) -> Densities:
    """Densities that a species bears, by what its limits mean.

    Parameters
    ----------
    entry : Entry
        A species.
    level : str
        ``cautious`` or ``experienced``.

    Returns
    -------
    Densities
        A limit of growth alone is one for its own kind; the tank then goes by the other level, where that means welfare
        or survival, or else by the same number. [kg/m3]
    """
    limit = entry[f"density_{level}"]
    if density_meaning(entry, level) != "growth":
        return Densities(limit, float("inf"))
    other = "experienced" if level == "cautious" else "cautious"
    if density_meaning(entry, other) == "growth":
        return Densities(limit, limit)
    return Densities(max(limit, entry[f"density_{other}"]), limit)


# Greatest depth over total length where a file gives none: sunfish and their like, for which prey_share_deep holds, and
# the rest (ours, no source).
_DEPTH_OF_FORM = {"deep": 0.36, "slender": 0.20}
_USUAL_COMPANY = {"eats_own": 1.0, "sibling_loss": 0.0, "sibling_length": 0.0}


def company_value(entry: Entry, key: str) -> float:
    """A value of a species by which company is judged, and what is taken where its file gives none.

    Parameters
    ----------
    entry : Entry
        A species.
    key : str
        As ``body_depth``, in the unit of the species files.
    """
    if key == "body_depth":
        return entry.number(key, _DEPTH_OF_FORM[entry.facts["body_form"]])
    return entry.number(key, _USUAL_COMPANY[key]) if key in _USUAL_COMPANY else entry[key]


def _listed(text: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in text.split(",") if word.strip())


def species_names(beside: Path | None = None) -> list[str]:
    """Sorted keys of all species, shipped and beside a site file."""
    return entry_names(SPECIES_RULES, beside)
