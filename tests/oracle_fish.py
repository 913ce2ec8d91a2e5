"""Fish of the second season (oracle.py): plain floats, written from the equations."""

from __future__ import annotations

import math

from stocksim.heat.temperatures import loop_water_c
from stocksim.library.feeds import load_feed

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
    none, full = s["oxygen_lethal"], s.number("oxygen_full_appetite", s["oxygen_recommended"])
    knee = full * 3.0 / 5.5
    if oxygen <= none:
        return 0.0
    if oxygen >= full:
        return 1.0
    if oxygen < knee:
        return 0.65 * (oxygen - none) / (knee - none)
    return 0.65 + 0.35 * (oxygen - knee) / (full - knee)


def share_by_ammonia(s, toxic: float) -> float:
    full, none = s["unionized_ammonia_design"], s["unionized_ammonia_acute"]
    return min(max(1.0 - (toxic - full) / (none - full), 0.0), 1.0)


def nitrite_borne(s, chloride: float) -> float:
    """Nitrite nitrogen that the species bears at this chloride: a tenth of the chloride as nitrite ion, at most 5."""
    by_chloride = min(chloride / 10.0 / 3.284, 5.0) if s["chloride_protects"] > 0.0 else 0.0
    return max(s["nitrite_limit"], by_chloride)


def nitrite_that_kills(s, chloride: float, borne: float) -> float:
    """Nitrite nitrogen that kills half in four days: the tested level, moved from the test's chloride to this one."""
    if "nitrite_lethal" not in s.values:
        return math.inf
    level, tested = s["nitrite_lethal"], s.number("nitrite_lethal_chloride", math.nan)
    if not math.isnan(tested):
        highest = max(240.0, tested) if s["chloride_protects"] > 0.0 else tested
        level *= (2.5 + min(chloride, highest)) / (2.5 + tested)
    return max(level, 5.0 * borne)


class Cohort:
    """One cohort through the season; events change it where it stands."""

    def __init__(self, site, table, number: float, came):
        self.site, self.s, self.table = site, site.species[table.species], table
        self.number, self.came, self.stocked = number, came, table.stocked
        self.last_fed = -math.inf
        self.used = None  # temperatures that decide the cold and the heat they bear
        self.weight = self.greatest = table.mean_weight
        self.spared = 0.0
        self.spread = self.s["size_spread"] if table.size_spread is None else table.size_spread
        self.begin(table.tank, table.feed, table.ration)

    def begin(self, tank: str, feed: str, ration) -> None:
        """Live in a tank, on a feed, by a rule."""
        self.tank, self.feed_name, self.feed, self.ration = tank, feed, self.site.feeds[feed], ration
        kind = "default" if ration is None else ration.kind
        self.kind = "appetite" if kind in ("default", "unfed") else kind
        self.fraction = {"default": 0.85, "unfed": 0.0}.get(kind, getattr(ration, "fraction", 1.0))
        spilled = getattr(ration, "spilled_share", None)
        self.spilled = 1.0 - 1.0 / 1.2 if spilled is None else spilled
        self.water = [float(t) for t in loop_water_c(self.site, self.site.file.tanks[tank].loop)]
        self.open_days = open_days(ration, self.water, self.site.file.season.start.weekday())
        self.rate = 1.0 if self.table.sex == "mixed" else self.s[f"appetite_{self.table.sex}"]
        if self.table.strain:
            self.rate *= self.s.strains[self.table.strain].appetite
        self.rate /= self.fill_of_a_gram(feed)
        dry = getattr(ration, "weighed", None) == "dry"
        self.per_percent = 0.01 / self.feed["dry_matter"] if dry else 0.01

    def fill_of_a_gram(self, feed: str) -> float:
        """How much a gram of what is weighed out fills, of a gram of the pellets of the species' fit."""
        pellets, fill = load_feed(self.s.facts["fitted_with_feed"]), 0.0
        for part in feed.split(", "):
            name, share = part.split()[:2] if part.endswith("%") else (part, 100.0)
            food = load_feed(name)
            is_natural = food.facts.get("kind") == "natural"
            dry = food["dry_matter"] / food["dry_matter_intake"] / pellets["dry_matter"] if is_natural else 1.0
            fill += float(share) / 100.0 * dry
        return fill

    def rise(self, day: int, date) -> None:
        """Who is there this morning, and what a fish would eat of it all."""
        self.here = self.number if self.stocked is None or date >= self.stocked else 0.0
        self.full = self.rate * appetite_of_1_g(self.s, self.water[day])
        self.hunger = self.full * self.weight ** self.s["intake_exponent"]
        wild = self.table.wild and not self.table.trained
        self.learns = wild and 0 <= (date - self.came).days < int(self.s["feed_training_days"])
        self.lies = max(self.spilled, 0.5) if self.learns else self.spilled
        # the fish carry with them when they were last fed, whatever tank and rule they go to
        gap = day - self.last_fed
        self.is_fed = self.open_days[day] and gap >= days_between(self.ration, self.water[day])
        self.is_there = self.stocked is None or date >= self.stocked
        if self.is_there and self.is_fed and (self.ration is None or self.ration.kind != "unfed"):
            self.last_fed = day

    def offer(self, day: int, tank_mates: list, loop_mates: list, beds_want: float) -> float:
        """Feed that the rule offers a fish of the cohort today, without end where it goes by appetite. [g]"""
        rule = self.ration
        if self.kind == "appetite":
            return math.inf
        if not self.is_fed:
            return 0.0
        if self.kind == "percent":
            return rule.percent * self.per_percent * self.weight
        if self.kind == "table":
            return table_percent(rule, self.weight, self.water[day]) * self.per_percent * self.weight
        amount = rule.per_day if self.kind == "fixed" else beds_want
        mates = [mate for mate in (tank_mates if self.kind == "fixed" else loop_mates) if mate.kind == self.kind]
        together = sum(mate.hunger * mate.here for mate in mates)
        return amount * self.hunger / together if together > 0.0 else 0.0

    def wake(self, day: int, offered: float, ramp: float, share: float, nitrite: float, chloride: float) -> None:
        """Appetite and need of the day, at the weight expected at noon, in the morning's nitrite and chloride."""
        s, energy, t = self.s, self.feed["digestible_energy"], self.water[day]
        self.borne = nitrite_borne(s, chloride)
        self.kills = nitrite_that_kills(s, chloride, self.borne)
        none = 5.0 * self.borne if self.kills == math.inf else self.kills
        self.by_nitrite = min(max((none - nitrite) / (none - self.borne), 0.0), 1.0)
        fraction = self.by_nitrite
        if self.kind == "appetite":
            fraction *= self.fraction * ramp * self.is_fed
        self.offered = offered * ramp if self.kind != "appetite" else math.inf
        self.cap = self.offered * (1.0 - self.spilled)
        # a starving fish burns less and less from half of its greatest weight, and nothing at 0.4 of it
        living = min(max((self.weight / self.greatest - 0.4) / 0.1, 0.0), 1.0)
        need = maintenance_of_1_kg(s, t) * living
        eaten = min(self.hunger * fraction * share, self.cap)
        kept = kept_energy(s, eaten * energy - need * (self.weight / 1000.0) ** 0.8)
        noon = max(self.weight + 0.5 * kept / s["body_energy"], 0.5 * self.weight)
        self.most = self.full * noon ** s["intake_exponent"] * fraction
        self.need = need * (noon / 1000.0) ** 0.8
        if self.learns:
            # fish that learn keep their weight at best, and of what is offered no more lies there than there is
            self.cap = min(self.need / energy, self.offered * (1.0 - self.lies))

    def eat(self, share: float) -> None:
        """Amounts of the whole cohort, per day."""
        s, feed = self.s, self.feed
        self.share = share
        eaten = min(self.most * share, self.cap)
        digestible = eaten * feed["digestible_energy"]
        kept = kept_energy(s, digestible - self.need)
        self.eaten = self.here * eaten
        self.gain_each = kept / s["body_energy"]
        self.oxygen = self.here * ((1.0 - NON_FAECAL) * digestible - kept) / KJ_PER_G_OXYGEN
        nitrogen = feed["protein"] / 6.25
        absorbed = eaten * nitrogen * feed["protein_digestibility"]
        self.spared_each = self.spared_today(self.gain_each)
        self.excreted = self.here * (absorbed - self.gain_each * s["body_protein"] / 6.25 - self.spared_each)
        # who feeds by sight or for the beds stops when the fish do; a weighed amount goes in whole
        by_sight = self.kind in ("appetite", "beds")
        self.fed = self.eaten / (1.0 - self.lies) if by_sight else self.here * self.offered
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

    def spared_today(self, gain: float) -> float:
        """Nitrogen put by today while fat burns, or given back as the weight comes back. [g]"""
        short = self.greatest - self.weight
        if gain >= 0.0:
            return 0.0 if short <= 0.0 else -self.spared * min(gain / short, 1.0)
        begun = min(0.225 * self.s["body_energy"] / (23.6 * self.s["body_protein"]), 1.0)
        leaves = begun + (1.0 - begun) * 10.0 * short / self.greatest
        return max(-gain * (1.0 - leaves) * self.s["body_protein"] / 6.25, -self.spared)

    def grow(self) -> None:
        """Add the day's gain."""
        self.deaths = self.swallowed = self.swallowed_g = 0.0
        if self.here > 0.0:
            self.weight += self.gain_each
            self.spared += self.spared_each
            self.greatest = max(self.greatest, self.weight)

    def die(self, day: int, oxygen: float, toxic: float, nitrite: float) -> None:
        """Take out the dead: those that tankmates swallowed, and of the rest what the water and all else kill."""
        by_temperature = self.of_temperature(day) if self.is_there else 0.0
        if self.here > 0.0:
            scarce = min(self.s["oxygen_lethal"] / max(oxygen, 1e-3), 2.0) ** 12
            poison = min(toxic / self.s["unionized_ammonia_acute"], 10.0) ** 6
            brown = min(nitrite / self.kills, 10.0) ** 6
            hazard = min(math.log(2.0) * (scarce + 0.25 * (poison + brown)), 10.0)
            hazard += 7.2e-5 + by_temperature
            hazard += self.of_hunger()
            if self.learns:
                hazard -= math.log(1.0 - self.s["feed_training_loss"]) / self.s["feed_training_days"]
            self.deaths = self.swallowed - (self.here - self.swallowed) * math.expm1(-hazard)
            self.number -= self.deaths

    def of_hunger(self) -> float:
        """Hazard of a wasted fish: at half its weight as of old, and on top for small ones."""
        missing = max((self.greatest - self.weight) / self.greatest, 0.0)
        as_small = 100.0 / (100.0 + self.greatest**2)
        return 0.1 * math.log(2.0) * (16.0 * missing**4 + as_small * missing**2 / 0.36)

    def of_temperature(self, day: int) -> float:
        """Hazard of cold and heat at what the fish are used to, which then goes on towards the day's water."""
        t, nowhere = self.water[day], 1000.0
        if self.used is None:
            self.used = (t, t)
        for_cold, for_heat = self.used
        given = {key: value.value for key, value in self.s.values.items()}
        floor, ceiling = given.get("temperature_low_lethal", -nowhere), given.get("temperature_high_lethal", nowhere)
        cold_line, heat_line = floor, ceiling
        if "lower_lethal_at_20" in given:
            cold_line = max(given["lower_lethal_at_20"] + given["lower_lethal_slope"] * (for_cold - 20.0), floor)
        if "upper_lethal_at_20" in given:
            heat_line = min(given["upper_lethal_at_20"] + given["upper_lethal_slope"] * (for_heat - 20.0), ceiling)
        # whoever is a degree beyond a line gets used to nothing any more
        free = 1.0 - min(max(cold_line - t, t - heat_line, 0.0), 1.0)
        self.used = (
            t + (for_cold - t) * math.exp(-free * (3.0 if t < for_cold else 1.0) * pace(for_cold, t)),
            t + (for_heat - t) * math.exp(-free * pace(for_heat, t)),
        )
        return half_in_four_days(cold_line - t, 1.0) + half_in_four_days(t - heat_line, 3.0)


def pace(used: float, t: float) -> float:
    """Rate at which fish get used to water of t degC, per day."""
    slow = 0.081 * 10.0 ** ((0.5 * (used + t) - 20.0) / (10.0 * math.log(10.0)))
    return 2.7 * slow if t > used else slow


def half_in_four_days(beyond: float, reach: float) -> float:
    """Hazard so far beyond a lethal line: half in four days on it, none from ``reach`` inside of it on."""
    if beyond <= -reach:
        return 0.0
    if beyond >= 5.0:
        return 10.0
    outlived = math.exp(-1.35 * reach)
    return min(math.log(2.0) / 4.0 * (math.exp(1.35 * beyond) - outlived) / (1.0 - outlived), 10.0)


# --- the keeper's rules


def days_between(rule, t: float) -> int:
    """Days from one feeding to the next in water of t degC: by the coldest rule that holds."""
    if rule is None or rule.kind == "unfed":
        return 1
    return min(((cold.below, cold.feed_every_days) for cold in rule.cold_rules if t < cold.below), default=(0, 1))[1]


def open_days(rule, water: list[float], weekday: int) -> list[bool]:
    """Days of the season that are no fast and not too cold to feed; weekday of the first day."""
    if rule is None or rule.kind == "unfed":
        return [True] * len(water)
    names = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    told, stopped, warm = [], False, 0
    for day, t in enumerate(water):
        if rule.stop_below is not None:
            if t < rule.stop_below:
                stopped, warm = True, 0
            else:
                warm += 1
                stopped = stopped and warm < rule.restart_after_days
        told.append(not stopped and names[(weekday + day) % 7] not in rule.fasting_days)
    return told


def between(value: float, grid: list[float]) -> list[tuple[int, float]]:
    """Which entries of a rising grid a value lies between, with their weights; outside that of the edge."""
    if value <= grid[0]:
        return [(0, 1.0)]
    for at in range(len(grid) - 1):
        if value < grid[at + 1]:
            part = (value - grid[at]) / (grid[at + 1] - grid[at])
            return [(at, 1.0 - part), (at + 1, part)]
    return [(len(grid) - 1, 1.0)]


def table_percent(rule, weight: float, t: float) -> float:
    rows, columns = between(t, rule.temperatures), between(weight, rule.weights)
    return sum(down * along * rule.percent[row][column] for row, down in rows for column, along in columns)


def beds_want(site, loop: str, ratio: float | None, date) -> float:
    """Feed that the planted beds of a loop ask for on a day, by a ratio or the middle of the handbooks' band. [g]"""
    rows = []
    for bed in site.file.beds.values():
        if bed.loop != loop or bed.kind == "wicking":
            continue
        for planting in bed.plantings:
            crop = site.crops[planting.crop]
            middle = None
            if bed.kind == "raft" and crop.facts["kind"] == "leafy":
                middle = 80.0
            elif bed.kind != "tower" and "feed_ratio_low" in crop.values:
                middle = 0.5 * (crop["feed_ratio_low"] + crop["feed_ratio_high"])
            rows.append((planting.start, planting.end, planting.area or bed.area, middle))
    today = [row for row in rows if row[0] <= date <= row[1]]
    if ratio is not None:
        return ratio * sum(row[2] for row in today)
    return sum(row[2] * row[3] for row in today if row[3] is not None)
