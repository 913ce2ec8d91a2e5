"""Fish species: which values a file must hold, and how to find one."""

from __future__ import annotations

from pathlib import Path

from stocksim.errors import Fault, ParameterError
from stocksim.library.sources import Entry, Rules, entry_names, find_entry

SPECIES_RULES = Rules(
    kind="fish",
    required={
        # energy budget, fish/energetics.py
        "intake_scale": "g/day",  # eaten feed at full appetite by a 1 g fish at the appetite optimum
        "intake_exponent": "-",
        "appetite_optimum": "degC",
        "appetite_upper_zero": "degC",
        "appetite_q10": "-",
        "no_feeding_below": "degC",
        "cold_ramp_width": "degC difference",
        "maintenance_at_20": "kJ/kg^0.8/day",
        "maintenance_q10_cold": "-",
        "maintenance_q10_warm": "-",
        "growth_efficiency": "-",
        "fasting_loss_fraction": "-",
        "body_energy": "kJ/g",
        "body_protein": "-",
        # limits
        "growth_temperature_low": "degC",
        "growth_temperature_high": "degC",
        "temperature_low_limit": "degC",
        "temperature_high_stress": "degC",
        "temperature_high_lethal": "degC",
        "oxygen_recommended": "mg/L",
        "oxygen_lethal": "mg/L",
        "unionized_ammonia_design": "mg/L",
        "unionized_ammonia_acute": "mg/L",
        "nitrite_limit": "mg/L",  # as N, without chloride
        "chloride_protects": "-",  # 1 where chloride keeps nitrite out, 0 where not or not known
        "density_cautious": "kg/m3",
        "density_experienced": "kg/m3",
        # body
        "length_weight_intercept": "log10 g at 1 mm",
        "length_weight_slope": "-",
        "farmed_condition": "-",
        "market_weight": "g",
        # sizes, company and handling (use = company)
        "prey_share_deep": "-",  # longest prey over own total length; 0 where the fish takes no fish
        "prey_share_slender": "-",
        "size_spread": "-",  # standard deviation over mean weight of an ungraded batch
        "temperature_change_per_day": "degC difference",
        "feed_training_days": "day",  # wild-caught fish: days without growth until they live on pellets
        "feed_training_loss": "-",  # wild-caught adults lost in that time
    },
    optional={
        "nitrate_caution": "mg/L",  # as N; told, not judged (use = caution); 100 where not given
        # a batch of one sex eats this many times what a mixed batch does
        "appetite_males": "-",
        "appetite_females": "-",
        "fillet_yield": "-",
        "fitted_feed_energy": "MJ/kg",  # digestible energy of the feed the intake was fitted with (use = check)
        "fitted_feed_protein": "-",
        "feed_conversion_check": "kg/kg",
    },
    facts={
        "latin": True,
        "fitted_with_feed": True,
        "body_form": True,
        "temper": True,
        "company_evidence": True,
        "caution": False,
        "wild_caution": False,
        "never_with": False,
        "never_because": False,
        "like": False,
    },
    choices={"body_form": ("deep", "slender"), "temper": ("calm", "nips", "territorial", "hunts")},
    together=(("never_with", "never_because"),),
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
        Fault("", key, f'"{other}" is not in the library (fish); write keys as yellow_perch, with commas between.',
              Path(entry.origin).name)
        for key, others in (("never_with", never_with(entry)), ("like", _listed(entry.facts.get("like", ""))))
        for other in others
        if other not in species_names(beside)
    ]  # fmt: skip
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


def _listed(text: str) -> tuple[str, ...]:
    return tuple(word.strip() for word in text.split(",") if word.strip())


def species_names(beside: Path | None = None) -> list[str]:
    """Sorted keys of all species, shipped and beside a site file."""
    return entry_names(SPECIES_RULES, beside)
