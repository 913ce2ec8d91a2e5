"""The written CSV files of a season added up again, by code that shares nothing with the package.

Only pandas, the public column names, the site file as text, and the species and feed files as text. The constants stand
in docs/ (fish.md, model.md, water.md) and are written here a second time. A file holds six digits of a number, so a sum
may be off by half a unit of each addend's last digit: that, and nothing wider unless said, each gap is
allowed.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

HALF_DIGIT = 5e-6  # of a number printed with six digits, at worst
KJ_PER_OXYGEN = 13.6  # a gram of oxygen
LOST_OF_DIGESTIBLE = 0.07  # with ammonia and through the gills
PROTEIN_PER_NITROGEN = 6.25
AMMONIA_SHARE = 0.87  # of what fish excrete; the rest is urea
BASE_PER_NITROGEN = 3.573  # g CaCO3 a gram of nitrogen set free, or breathed out; twice that for nitrification
# g of salt a g of alkalinity as CaCO3, one equivalent: molar masses over 50.04
SALT_PER_BASE = {
    "potassium_bicarbonate": 100.115 / 50.043, "calcium_carbonate": 1.0, "calcium_hydroxide": 74.093 / 100.087,
    "potassium_hydroxide": 56.106 / 50.043, "sodium_bicarbonate": 84.007 / 50.043,
}  # fmt: skip
MOLAR_DIGITS = 2e-5  # the salts' molar masses above are rounded
VOLUME_FITTED = 2e-4  # share of a day's change that the fitted volume may be off by, itself from printed digits
INSIDE_A_LOOP = 0.0005  # of the nitrogen that went through: what sump, tanks and beds differ by on the last day
ENTRIES_IN = ("stocked", "from_grading", "growth")
ENTRIES_OUT = ("to_grading", "deaths", "harvested", "thinned", "sold", "given")


class Gap(NamedTuple):
    """How far a balance is from closing, the most it may be, and the size of what was added up."""

    what: str
    off: float
    allowed: float
    gross: float


class Books:
    """What `stocksim season --out` wrote, and the site file it was written from."""

    def __init__(self, folder: Path, site_file: Path, library: Path):
        self.tanks, self.cohorts, self.beds, self.loops = (
            pd.read_csv(folder / f"{name}.csv", parse_dates=["date"]) for name in ("tanks", "cohorts", "beds", "loops")
        )
        self.ledger = pd.read_csv(folder / "ledger.csv")
        self.summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
        self.site = tomllib.loads(site_file.read_text(encoding="utf-8"))
        self.library = library
        # read and found once: every balance and every changed copy of these books asks for the same
        self._files: dict[tuple[str, str], dict] = {}
        self._shares: dict[tuple[str, pd.Timestamp], dict[str, float]] = {}

    def value(self, kind: str, name: str, key: str) -> float:
        """A number of a species or feed file."""
        if (kind, name) not in self._files:
            text = (self.library / kind / f"{name}.toml").read_text(encoding="utf-8")
            self._files[kind, name] = tomllib.loads(text)
        return float(self._files[kind, name]["values"][key]["value"])

    def event_days(self, cohort: str) -> set[pd.Timestamp]:
        """Days on which an event changes a cohort's number or weight."""
        events = [e for e in self.site.get("events", []) if cohort in (e["cohort"], e.get("into"))]
        return {pd.Timestamp(event["date"]) for event in events}

    def shares_of(self, cohort: str, date: pd.Timestamp) -> dict[str, float]:
        """Feeds of a cohort on a day, each with its share of what is weighed out."""
        if (cohort, date) not in self._shares:
            self._shares[cohort, date] = self._shares_written(cohort, date)
        return self._shares[cohort, date]

    def _shares_written(self, cohort: str, date: pd.Timestamp) -> dict[str, float]:
        feed = self.feed_of(cohort, date)
        if isinstance(feed, str) and "%" in feed:
            feed = dict(part.rsplit(None, 2)[:2] if part.endswith(" %") else part.split() for part in feed.split(", "))
            feed = {name: f"{share} %" for name, share in feed.items()}
        written = {feed: 1.0} if isinstance(feed, str) else feed
        return {
            name: float(share.rstrip(" %")) / 100.0 if isinstance(share, str) else share
            for name, share in written.items()
        }

    def feed_of(self, cohort: str, date: pd.Timestamp) -> str | dict:
        """Feed of a cohort on a day, as written; a graded one eats what its parent does."""
        name, parent = cohort, None
        while name not in self.site["cohorts"]:
            parent = next(e for e in self.site["events"] if e.get("into") == name)
            name = parent["cohort"]
        feed, names = self.site["cohorts"][name]["feed"], (name, cohort)
        for event in sorted(self.site.get("events", []), key=lambda e: e["date"]):
            inherited = event["cohort"] == name and (parent is None or event["date"] <= parent["date"])
            if event["kind"] == "feed" and event["cohort"] in names and pd.Timestamp(event["date"]) <= date:
                feed = event["feed"] if event["cohort"] == cohort or inherited else feed
        return feed


def _gap(what: str, terms: list[float] | np.ndarray, more: float = 0.0) -> Gap:
    """A sum that should be nothing; ``more`` is what else it may be off by."""
    array = np.asarray(terms, dtype=float)
    gross = float(np.abs(array).sum())
    return Gap(what, abs(math.fsum(array)), HALF_DIGIT * gross + more + 1e-9, gross)


def _worst(what: str, terms: list[pd.Series], more: pd.Series | float = 0.0) -> Gap:
    """The row of a frame whose terms are furthest from adding up to nothing, as a share of what it may be off by."""
    frame = pd.concat(terms, axis=1)
    gross = frame.abs().sum(axis=1)
    off = frame.sum(axis=1).abs()
    allowed = HALF_DIGIT * gross + more + 1e-9
    row = (off / allowed).to_numpy().argmax()
    return Gap(what, float(off.iloc[row]), float(allowed.iloc[row]), float(gross.iloc[row]))


def fish_numbers(books: Books) -> Iterator[Gap]:
    """Fish from day to day, over the season by the ledger, and in the summary."""
    frame, book = books.cohorts, books.ledger.pivot_table(index="cohort", columns="entry", values="fish")
    for name, rows in frame.groupby("cohort"):
        daily = rows.groupby("date")[["count", "deaths"]].sum()
        before = daily["count"].shift(fill_value=0.0)
        quiet = ~daily.index.isin(books.event_days(str(name)))
        quiet[0] = False  # the day they came
        if quiet.any():
            yield _worst(f"{name}: fish from day to day",
                         [before[quiet], -daily["count"][quiet], -daily["deaths"][quiet]])  # fmt: skip
        entries = book.loc[name]
        ins = [entries[key] for key in ENTRIES_IN if key != "growth"]
        outs = [-entries[key] for key in ENTRIES_OUT]
        yield _gap(f"{name}: fish of the ledger", [*ins, *outs, -entries["at_end"]])
        yield _gap(f"{name}: deaths of all days", [*daily["deaths"], -entries["deaths"]])
        yield _gap(f"{name}: fish at the end", [daily["count"].iloc[-1], -entries["at_end"]],
                   HALF_DIGIT * max(daily["count"]))  # fmt: skip
        table = books.site["cohorts"].get(name)
        if table and pd.Timestamp(daily.index[0]) not in books.event_days(str(name)):
            first = daily.iloc[0]
            yield _gap(f"{name}: fish as the file says", [first["count"], first["deaths"], -table["count"]])
    yield _gap("deaths of the summary", [*frame["deaths"], -books.summary["totals"]["deaths"]], 5e-5)


def fish_mass(books: Books) -> Iterator[Gap]:
    """Live weight from day to day, by the ledger, by tank and loop, and in the summary."""
    frame = books.cohorts.copy()
    fed = frame["count"] + frame["deaths"]
    frame["gain"] = frame["growth_g_per_day"] * fed
    frame["died"] = 1000.0 * frame["deaths_kg"]
    frame["mass"] = 1000.0 * frame["biomass_kg"]
    book = books.ledger.pivot_table(index="cohort", columns="entry", values="kg") * 1000.0
    yield _worst("biomass is count times weight", [frame["mass"], -frame["count"] * frame["mean_weight_g"]],
                 HALF_DIGIT * frame["mass"])  # fmt: skip
    for name, rows in frame.groupby("cohort"):
        daily = rows.groupby("date")[["mass", "gain", "died"]].sum()
        before = daily["mass"].shift(fill_value=0.0)
        quiet = ~daily.index.isin(books.event_days(str(name)))
        quiet[0] = False
        if quiet.any():
            # products of printed numbers: each factor is rounded
            more = 2 * HALF_DIGIT * daily["gain"].abs()[quiet]
            yield _worst(f"{name}: mass from day to day",
                         [before[quiet], daily["gain"][quiet], -daily["died"][quiet], -daily["mass"][quiet]],
                         more)  # fmt: skip
        entries = book.loc[name]
        yield _gap(f"{name}: mass of the ledger",
                   [*(entries[k] for k in ENTRIES_IN), *(-entries[k] for k in ENTRIES_OUT),
                   -entries["at_end"]])  # fmt: skip
        yield _gap(f"{name}: mass of the dead of all days", [*daily["died"], -entries["deaths"]])
        yield _gap(f"{name}: growth of all days", [*daily["gain"], -entries["growth"]],
                   2 * HALF_DIGIT * daily["gain"].abs().sum())  # fmt: skip
    # tankmates swallow the smaller ones; all others die at the mean
    heavier = frame["died"] - frame["deaths"] * frame["mean_weight_g"] * (1.0 + 3 * HALF_DIGIT)
    yield Gap("no dead heavier than the mean", max(float(heavier.max()), 0.0), 1e-9, float(frame["died"].sum()))
    for other, entity in ((books.tanks, "tank"), (books.loops, "loop")):
        rows = frame if entity == "tank" else frame.merge(books.tanks[["tank", "loop"]].drop_duplicates(), on="tank")
        for column in ("biomass_kg", "feed_g"):
            mine = rows.groupby(["date", entity])[column].sum()
            theirs = other.set_index(["date", entity])[column]
            both = pd.concat([mine, -theirs], axis=1).fillna(0.0)
            yield _worst(f"{column} by {entity}", [both.iloc[:, 0], both.iloc[:, 1]])
    totals = books.summary["totals"]
    yield _gap("feed of the summary", [*frame["feed_g"], -1000.0 * totals["feed_kg"]], 0.05)
    yield _gap("feed eaten of the summary", [*frame["feed_eaten_g"], -1000.0 * totals["feed_eaten_kg"]], 0.05)
    yield _gap("growth of the summary", [*frame["gain"], -1000.0 * totals["growth_kg"]],
               0.05 + 2 * HALF_DIGIT * frame["gain"].abs().sum())  # fmt: skip
    yield _gap("harvest of the summary", [*frame["harvested_kg"], -totals["harvested_kg"]], 5e-5)
    yield Gap("no fish eats more than it is given", float((frame["feed_eaten_g"] - frame["feed_g"]).max()), 1e-6, 0.0)


def feed_energy_and_nitrogen(books: Books) -> Iterator[Gap]:
    """Of every cohort and day: energy and nitrogen eaten are grown, breathed, excreted, or left as faeces."""
    frame = books.cohorts.copy()
    gain = frame["growth_g_per_day"] * (frame["count"] + frame["deaths"])
    feeds = [books.shares_of(str(name), date) for name, date in zip(frame["cohort"], frame["date"], strict=True)]

    def of_feed(*keys: str) -> pd.Series:
        """Of a gram of what is weighed out, the product of what each feed's file says."""
        known = {
            name: math.prod(books.value("feeds", name, key) for key in keys) for shares in feeds for name in shares
        }
        return pd.Series(
            [sum(share * known[name] for name, share in shares.items()) for shares in feeds], index=frame.index
        )

    def of_species(key: str) -> pd.Series:
        return frame["species"].map({name: books.value("fish", name, key) for name in frame["species"].unique()})

    eaten = frame["feed_eaten_g"]
    digestible = eaten * of_feed("digestible_energy")
    retained = gain * of_species("body_energy")
    heat = KJ_PER_OXYGEN * frame["oxygen_use_g"]
    twice = HALF_DIGIT * retained.abs()
    yield _worst("energy of a cohort's day", [(1.0 - LOST_OF_DIGESTIBLE) * digestible, -heat, -retained], twice)
    grown = gain * of_species("body_protein") / PROTEIN_PER_NITROGEN
    spared = frame["nitrogen_spared_g"]
    excreted = frame["tan_excreted_g"] / AMMONIA_SHARE
    digested = eaten * of_feed("protein", "protein_digestibility") / PROTEIN_PER_NITROGEN
    yield _worst("nitrogen of a cohort's day", [digested, -grown, -spared, -excreted], HALF_DIGIT * grown.abs())


def _of_loop(books: Books, name: str) -> tuple[dict, pd.DataFrame]:
    return books.site["loops"][name], books.loops[books.loops["loop"] == name].set_index("date")


def _milligrams(text: str | None, usual: float) -> float:
    return usual if text is None else float(text.split()[0])


def _dose_of_cycling(table: dict, dates: pd.DatetimeIndex) -> pd.Series:
    dose = pd.Series(0.0, index=dates)
    cycling = table.get("fishless_cycling")
    if cycling:
        grams = float(cycling["ammonia_nitrogen"].split()[0])  # these sites write it in g/day
        dose[(dates >= pd.Timestamp(cycling["from"])) & (dates <= pd.Timestamp(cycling["to"]))] = grams
    return dose


def _of_beds(books: Books, loop: str, dates: pd.DatetimeIndex, column: str) -> pd.Series:
    """A column's sum over the beds that the loop's water runs through; a wicking bed drinks sludge instead."""
    beds = books.beds[(books.beds["loop"] == loop) & (books.beds["kind"] != "wicking")]
    return beds.groupby("date")[column].sum().reindex(dates, fill_value=0.0)


def litres(text: str) -> float:
    """Volume of a site file written in L or m3."""
    number, unit = text.split()
    return float(number) * {"L": 1.0, "m3": 1000.0}[unit]


def _base_made(books: Books, name: str) -> pd.DataFrame:
    """What each day adds to a loop's alkalinity: dose, top-up, nitrogen set free, nitrified, taken up. [g CaCO3]"""
    table, rows = _of_loop(books, name)
    salt = SALT_PER_BASE[table.get("buffer", "potassium_bicarbonate")]
    source = _milligrams(table.get("source_water", {}).get("alkalinity"), 100.0)
    return pd.DataFrame(
        {
            "dose": rows["buffer_g"] / salt,
            "top_up": rows["top_up_l"] / 1000.0 * source,
            "freed": BASE_PER_NITROGEN * (rows["tan_produced_g"] - _dose_of_cycling(table, rows.index)),
            "nitrified": -2.0 * BASE_PER_NITROGEN * rows["tan_nitrified_g"],
            "taken": _of_beds(books, name, rows.index, "alkalinity_given_back_g"),
            "denitrified": BASE_PER_NITROGEN * rows["denitrified_n_g"],
        }
    )


# charge a gram of what roots take, cations below 0, times grams a mole
CHARGES = {
    "nitrogen": (1, 14.007), "phosphorus": (1, 30.974), "sulfur": (2, 32.06), "chloride": (1, 35.45),
    "potassium": (-1, 39.098), "calcium": (-2, 40.078), "magnesium": (-2, 24.305), "sodium": (-1, 22.99),
}  # fmt: skip


def given_back(books: Books) -> Iterator[Gap]:
    """Of every bed with one leafy crop: what it gave back against its file's charges, held to the range measured."""
    for crop in sorted(set(books.beds["crop"].dropna()) - {""}):
        if "+" in str(crop):
            continue
        file = tomllib.loads((books.library / "crops" / f"{crop}.toml").read_text(encoding="utf-8"))
        if file["harvest"] == "fruit":
            continue  # how much of the day's growth is fruit is in no column
        values = {key: entry["value"] for key, entry in file["values"].items()}
        charge = {key: sign / mass * values[key] for key, (sign, mass) in CHARGES.items()}
        share = sum(charge.values()) / charge["nitrogen"]
        share = min(max(share, values.get("hydroxide_low", 0.1)), values.get("hydroxide_high", 0.3))
        rows = books.beds[(books.beds["crop"] == crop) & (books.beds["kind"] != "wicking")]
        back, taken = rows["alkalinity_given_back_g"].sum(), rows["nitrogen_uptake_g"].sum()
        yield _gap(f"alkalinity that {crop} gave back", [back, -BASE_PER_NITROGEN * share * taken], 1e-4 * abs(back))


def _quiet_days(table: dict, dates: pd.DatetimeIndex) -> np.ndarray:
    """Days whose water is neither set to a test nor changed; not the first, whose morning is in no file."""
    quiet = ~dates.isin(
        {pd.Timestamp(e["date"]) for key in ("water_tests", "water_changes") for e in table.get(key, [])}
    )
    quiet[0] = False
    return quiet


def _is_drawn_off(books: Books, name: str) -> bool:
    return any(s["loop"] == name and "drawn_off" in s for s in books.site.get("settlers", {}).values())


def water_m3(books: Books, name: str) -> float:
    """The one volume of water with which a loop's days of alkalinity close best."""
    table, rows = _of_loop(books, name)
    change, quiet = rows["alkalinity_mg_l"].diff(), _quiet_days(table, rows.index)
    net = _base_made(books, name).sum(axis=1)
    return float((change * net)[quiet].sum() / (change**2)[quiet].sum())


def alkalinity(books: Books) -> Iterator[Gap]:
    """Of every loop and day: dose, top-up, nitrogen set free, nitrified and taken up against what the water holds.

    The water's volume is in no column (a bed's share of water is assumed by the model), so the one volume is taken with
    which the days close best; it must lie between sump and tanks alone, and those with beds a metre deep.
    """
    for name in books.site["loops"]:
        if _is_drawn_off(books, name):
            continue  # the level that is drawn off is the sump's, in no column
        table, rows = _of_loop(books, name)
        made, volume, quiet = _base_made(books, name), water_m3(books, name), _quiet_days(table, rows.index)
        beside = sum(litres(t["volume"]) for t in books.site["tanks"].values() if t["loop"] == name)
        least = (litres(table["sump"]) + beside) / 1000.0
        beds = [b for b in books.site.get("beds", {}).values() if b["loop"] == name and b["kind"] != "wicking"]
        most = least + sum(float(bed["area"].split()[0]) for bed in beds)
        yield Gap(f"{name}: {volume:.2f} m3 of water", max(least - volume, volume - most, 0.0), 1e-3 * least, most)
        held = rows["alkalinity_mg_l"] * volume
        change = held.diff()
        more = HALF_DIGIT * (made.abs().sum(axis=1) + held + held.shift()) + MOLAR_DIGITS * made["dose"]
        yield _worst(f"{name}: alkalinity of a day",
                     [made[quiet].sum(axis=1), -change[quiet]],
                     (more + VOLUME_FITTED * change.abs())[quiet])  # fmt: skip


def loop_nitrogen(books: Books) -> Iterator[Gap]:
    """Of every loop: ammonia set free is never less than fish gave; it is nitrified, taken up, breathed out, or there.

    Nitrate is told for the sump alone, and ammonia and nitrite for the tanks alone: a season closes only to what these
    levels differ inside a loop, here `INSIDE_A_LOOP` of what went through.
    """
    members = books.tanks[["tank", "loop"]].drop_duplicates()
    fish = books.cohorts.merge(members, on="tank").groupby(["loop", "date"])["tan_excreted_g"].sum()
    for name in books.site["loops"]:
        table, rows = _of_loop(books, name)
        dates = rows.index
        of_fish = fish[name].reindex(dates, fill_value=0.0) if name in fish.index.levels[0] else 0.0 * rows["feed_g"]
        freed = rows["tan_produced_g"] - _dose_of_cycling(table, dates) - of_fish / AMMONIA_SHARE
        short = (-freed - 2 * HALF_DIGIT * rows["tan_produced_g"]).max()
        yield Gap(f"{name}: nothing breaks down backwards", max(float(short), 0.0), 1e-9, float(freed.sum()))
        if _is_drawn_off(books, name) or not _quiet_days(table, dates)[1:].all():
            continue
        in_tanks = books.tanks[books.tanks["loop"] == name].groupby("date")[["tan_mg_l", "nitrite_n_mg_l"]].mean()
        held = water_m3(books, name) * (in_tanks.sum(axis=1) + rows["nitrate_n_mg_l"])
        source = _milligrams(table.get("source_water", {}).get("nitrate_n"), 2.0)
        later = dates[1:]
        produced, nitrified = rows["tan_produced_g"][later].sum(), rows["tan_nitrified_g"][later].sum()
        taken = _of_beds(books, name, dates, "nitrogen_uptake_g")[later].sum() + rows["denitrified_n_g"][later].sum()
        brought = (rows["top_up_l"][later] / 1000.0 * source).sum()
        stays = held.iloc[-1] - held.iloc[0]
        yield _gap(f"{name}: nitrogen of the season", [produced, brought, -taken, -stays], INSIDE_A_LOOP * produced)
        ammonia = water_m3(books, name) * (in_tanks["tan_mg_l"].iloc[-1] - in_tanks["tan_mg_l"].iloc[0])
        yield _gap(f"{name}: ammonia of the season", [produced, -nitrified, -ammonia], INSIDE_A_LOOP * produced)


def water(books: Books) -> Iterator[Gap]:
    """Of every loop whose evaporation is written: what was poured in is what evaporated, was drawn off and changed."""
    for name, table in books.site["loops"].items():
        if "evaporation" not in table or not table["evaporation"].endswith("L/day"):
            continue
        _, rows = _of_loop(books, name)
        settlers = [s for s in books.site.get("settlers", {}).values() if s["loop"] == name and "drawn_off" in s]
        daily = [float(text.split()[0]) for text in (table["evaporation"], *(s["drawn_off"] for s in settlers))]
        daily.append(max(float(table.get("new_water", "0 L/day").split()[0]) - sum(daily), 0.0))  # these write L/day
        changed = [litres(change["volume"]) for change in table.get("water_changes", [])]
        yield _gap(f"{name}: water of the season", [*rows["top_up_l"], -sum(daily) * len(rows), -sum(changed)])


def heat(books: Books) -> Iterator[Gap]:
    """Heat of computed loops: never below nothing, and in all no more than the file's heaters can give."""
    if books.loops["heat_kwh"].isna().all():
        return
    yield Gap("no heat is taken back", max(float(-books.loops["heat_kwh"].min()), 0.0), 1e-9, 0.0)
    loops = books.site["loops"]
    if all(table["water_temperature"]["kind"] == "computed" for table in loops.values()):
        heaters = [books.site.get(room, {}).get("heater") for room in ("greenhouse", "fish_room")]
        heaters += [table.get("heat", {}).get("heater") for table in loops.values()]
        kilowatts = sum(float(h["power"].split()[0]) for h in heaters if h)  # these sites write kW
        most = float(books.loops.groupby("date")["heat_kwh"].sum().max())
        yield Gap("heaters run 24 hours at most", max(most - 24.0 * kilowatts, 0.0), 1e-3, most)


BALANCES = (fish_numbers, fish_mass, feed_energy_and_nitrogen, loop_nitrogen, alkalinity, given_back, water, heat)


def each_gap(books: Books) -> Iterator[Gap]:
    """Every balance of a season's files, one after another."""
    for balance in BALANCES:
        yield from balance(books)


def gaps(books: Books) -> list[Gap]:
    """Every balance of a season's files."""
    return list(each_gap(books))
