"""Fish of the second season (oracle.py): plain floats, written from the equations."""

from __future__ import annotations

import math

KJ_PER_G_OXYGEN = 13.6
NON_FAECAL = 0.07


def appetite_of_1_g(s, t: float) -> float:
    """Kitchell's hump times the cold ramp, g/day."""
    span = s["appetite_upper_zero"] - s["appetite_optimum"]
    ln_q = math.log(s["appetite_q10"])
    x = (ln_q * span) ** 2 * (1.0 + math.sqrt(1.0 + 40.0 / (ln_q * (span + 2.0)))) ** 2 / 400.0
    below = s["appetite_upper_zero"] - t
    if below < 0.5:  # the hump fades out over a degree
        below = max(below + 0.5, 0.0) ** 2 / 2.0
    v = below / span
    hump = v**x * math.exp(x * (1.0 - v)) if v > 0.0 else 0.0
    ramp = min(max((t - s["no_feeding_below"]) / s["cold_ramp_width"], 0.0), 1.0)
    return s["intake_scale"] * hump * ramp


def maintenance_of_1_kg(s, t: float) -> float:
    q10 = s["maintenance_q10_cold"] if t < 20.0 else s["maintenance_q10_warm"]
    return s["maintenance_at_20"] * q10 ** ((t - 20.0) / 10.0)


def kept_energy(s, surplus: float) -> float:
    return (s["growth_efficiency"] if surplus > 0.0 else s["fasting_loss_fraction"]) * surplus


def share_by_oxygen(s, oxygen: float) -> float:
    none, full = s["oxygen_lethal"], s["oxygen_recommended"]
    knee = full * 3.0 / 5.5
    if oxygen <= none:
        return 0.0
    if oxygen >= full:
        return 1.0
    if oxygen < knee:
        return 0.6 * (oxygen - none) / (knee - none)
    return 0.6 + 0.4 * (oxygen - knee) / (full - knee)


def share_by_ammonia(s, toxic: float) -> float:
    full, none = s["unionized_ammonia_design"], s["unionized_ammonia_acute"]
    return min(max(1.0 - (toxic - full) / (none - full), 0.0), 1.0)


def nitrite_borne(s, chloride: float) -> float:
    """Nitrite nitrogen that the species bears at this chloride: a tenth of the chloride as nitrite ion, at most 5."""
    by_chloride = min(chloride / 10.0 / 3.284, 5.0) if s["chloride_protects"] > 0.0 else 0.0
    return max(s["nitrite_limit"], by_chloride)


class Cohort:
    def __init__(self, site, key: str):
        table = site.file.cohorts[key]
        self.s, self.feed = site.species[table.species], site.feeds[table.feed]
        self.tank, self.stocked, self.number = table.tank, table.stocked, float(table.count)
        ration = table.ration
        self.fraction = 0.85 if ration is None else 0.0 if ration.kind == "unfed" else ration.fraction
        spilled = None if ration is None or ration.kind == "unfed" else ration.spilled_share
        self.spilled = 1.0 - 1.0 / 1.2 if spilled is None else spilled
        self.weight = self.greatest = table.mean_weight
        self.share = 1.0  # of yesterday evening

    def wake(self, t: float, date, nitrite: float, chloride: float) -> None:
        """Appetite and need of the day, at the weight expected at noon, in the morning's nitrite and chloride."""
        self.here = self.number if self.stocked is None or date >= self.stocked else 0.0
        s, energy = self.s, self.feed["digestible_energy"]
        self.borne = nitrite_borne(s, chloride)
        self.by_nitrite = 1.0 - min(max((nitrite / self.borne - 1.0) / 4.0, 0.0), 1.0)
        fraction = self.fraction * self.by_nitrite
        # a starving fish burns less and less from half of its greatest weight, and nothing at 0.4 of it
        living = min(max((self.weight / self.greatest - 0.4) / 0.1, 0.0), 1.0)
        rate, need = appetite_of_1_g(s, t), maintenance_of_1_kg(s, t) * living
        eaten = rate * self.weight ** s["intake_exponent"] * fraction * self.share
        kept = kept_energy(s, eaten * energy - need * (self.weight / 1000.0) ** 0.8)
        noon = max(self.weight + 0.5 * kept / s["body_energy"], 0.5 * self.weight)
        self.most = rate * noon ** s["intake_exponent"] * fraction
        self.need = need * (noon / 1000.0) ** 0.8

    def eat(self, share: float) -> None:
        """Amounts of the whole cohort, per day."""
        s, feed = self.s, self.feed
        eaten = self.most * share
        digestible = eaten * feed["digestible_energy"]
        kept = kept_energy(s, digestible - self.need)
        self.share, self.eaten = share, self.here * eaten
        self.gain_each = kept / s["body_energy"]
        self.oxygen = self.here * ((1.0 - NON_FAECAL) * digestible - kept) / KJ_PER_G_OXYGEN
        nitrogen = feed["protein"] / 6.25
        absorbed = eaten * nitrogen * feed["protein_digestibility"]
        self.excreted = self.here * (absorbed - self.gain_each * s["body_protein"] / 6.25)
        self.fed = self.eaten / (1.0 - self.spilled)
        uneaten = self.fed - self.eaten
        # what the day gives to the tank's water: dissolved K and P, then solids with their N, P and oxygen demand
        gain = self.here * self.gain_each
        undigested = self.eaten * (feed["gross_energy"] - feed["digestible_energy"]) + uneaten * feed["gross_energy"]
        dry = feed.number("dry_matter_digestibility", 0.75)
        self.given = {
            "potassium": self.fed * feed["potassium"] - 0.003 * gain,
            "phosphorus": 0.6 * self.eaten * feed["phosphorus"] - 0.0045 * gain,
            "solids": feed["dry_matter"] * (self.eaten * (1.0 - dry) + uneaten),
            "solids_n": nitrogen * (self.eaten * (1.0 - feed["protein_digestibility"]) + uneaten),
            "solids_p": feed["phosphorus"] * (0.4 * self.eaten + uneaten),
            "solids_oxygen": undigested / KJ_PER_G_OXYGEN,
        }

    def grow_and_die(self, oxygen: float, toxic: float, nitrite: float) -> None:
        """Add the day's gain, then take out the dead."""
        self.deaths = 0.0
        if self.here > 0.0:
            self.weight += self.gain_each
            self.greatest = max(self.greatest, self.weight)
            scarce = min(self.s["oxygen_lethal"] / max(oxygen, 1e-3), 2.0) ** 12
            poison = min(toxic / self.s["unionized_ammonia_acute"], 10.0) ** 4
            brown = min(nitrite / (5.0 * self.borne), 10.0) ** 4
            hazard = min(math.log(2.0) * (scarce + 0.25 * (poison + brown)), 10.0)
            self.deaths = -self.here * math.expm1(-hazard)
            self.number -= self.deaths
