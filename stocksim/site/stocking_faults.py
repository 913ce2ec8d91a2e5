"""What of the stocking table cannot be: names that dangle, and wishes that contradict each other, pair by pair.

Apart from `faults` for its length.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from stocksim.errors import Fault, ParameterError
from stocksim.library.feeds import feed_names, feed_parts
from stocksim.library.sources import Entry
from stocksim.library.species import load_species, species_names
from stocksim.site.climate_tables import ComputedTemperature
from stocksim.site.faults import known_name, name_fault, stock_faults, wild_date_fault, within_season
from stocksim.site.model import SiteFile
from stocksim.site.quantities import shown
from stocksim.site.stocking_tables import USUAL_BATCH, CandidateTable, OwnTable, StockingTable


def stocking_faults(file: SiteFile, folder: Path) -> list[Fault]:
    """Faults of the stocking table.

    Parameters
    ----------
    file : SiteFile
        Tables that are sound one by one.
    folder : Path
        Folder of the site file, for own species and feeds.

    Returns
    -------
    list of Fault
        Dangling names, dates outside the season, and wishes of which no two could hold together; of the advice, crops
        with a worth that are not planted.
    """
    wishes = file.stocking
    faults = _crop_worth_faults(file)
    if wishes is None:
        return faults
    for kind in ("candidates", "options"):
        faults += [
            Fault(f"stocking.{kind}", str(key), wrong)
            for key in getattr(wishes, kind)
            if (wrong := name_fault(str(key)))
        ]
    known = (species_names(folder), feed_names(folder))
    for key, candidate in wishes.candidates.items():
        place = f"stocking.candidates.{key}"
        faults += _candidate_faults(place, candidate, file, *known)
        if candidate.sex != "mixed" or candidate.strain is not None:
            faults += stock_faults(place, candidate.sex, candidate.strain, _species(candidate.species, folder))
        if key in file.cohorts:
            message = f'"{key}" is a cohort of the site already; give the fish to buy another name.'
            faults.append(Fault("stocking.candidates", key, message))
    for key, own in wishes.own.items():
        faults += _own_faults(key, own, file)
    for key, option in wishes.options.items():
        place = f"stocking.options.{key}"
        faults += known_name(place, "loop", option.loop, file.loops)
        if option.loop in file.loops and isinstance(file.loops[option.loop].water_temperature, ComputedTemperature):
            message = (
                f"water of {option.loop} is computed, which an option's set points cannot change; type that loop's "
                "temperature, or leave the option out and compare heaters with `stocksim cold`."
            )
            faults.append(Fault(place, "loop", message))
        if key in file.loops:
            faults.append(Fault("stocking.options", key, f'"{key}" is a loop already; give the option another name.'))
        if option.at_least is None and option.at_most is None:
            faults.append(
                Fault(place, "at_least", "is missing; give at_least, at_most or both, as a heater's set point.")
            )
        elif None not in (option.at_least, option.at_most) and option.at_least > option.at_most:  # type: ignore[operator]
            faults.append(Fault(place, "at_least", "is above at_most of the same option; swap them."))
    return faults + _wish_faults(wishes, file)


def _species(name: str, folder: Path | None) -> Entry | None:
    """A species of the library; None where it is not there or its file has faults, which are told with the name."""
    try:
        return load_species(name, folder)
    except ParameterError:
        return None


def _crop_worth_faults(file: SiteFile) -> list[Fault]:
    planted = sorted({planting.crop for bed in file.beds.values() for planting in bed.plantings})
    known = f"planted are {', '.join(planted)}" if planted else "the site plants nothing"
    return [
        Fault("advice", "crop_worth", f"{shown(crop)} is not planted here; {known}.")
        for crop in file.advice.crop_worth
        if crop not in planted
    ]


def _candidate_faults(
    place: str, fish: CandidateTable, file: SiteFile, species: Iterable[str], feeds: Iterable[str]
) -> list[Fault]:
    faults = []
    named = [("species", fish.species, species), *(("feed", part, feeds) for part in feed_parts(fish.feed))]
    for field, name, names in named:
        if name not in names:
            faults.append(Fault(place, field, f"{shown(name)} is not in the library; known are {', '.join(names)}."))
    if fish.stocked is not None:
        faults += within_season(place, "stocked", fish.stocked, file)
    faults += _leaving(place, fish, file)
    faults += [fault for tank in fish.tanks or [] for fault in known_name(place, "tanks", tank, file.tanks)]
    if fish.at_least > fish.at_most:
        faults.append(
            Fault(place, "at_least", f"{fish.at_least} contradicts at_most {fish.at_most}; one of the two must give.")
        )
    if fish.minimum_batch is not None and fish.minimum_batch > fish.at_most:
        message = (
            f"{fish.minimum_batch} contradicts at_most {fish.at_most}: no batch could come; one of the two must give."
        )
        faults.append(Fault(place, "minimum_batch", message))
    if fish.trained and not fish.wild:
        faults.append(Fault(place, "trained", "belongs to wild fish; take it out, or write wild = true too."))
    return faults + wild_date_fault(place, fish, file)


def _leaving(place: str, fish: CandidateTable | OwnTable, file: SiteFile) -> list[Fault]:
    if fish.leaves is None:
        return []
    first = getattr(fish, "stocked", None) or file.season.start
    if fish.leaves <= first:
        message = f"{fish.leaves} contradicts the day the fish come, {first}; give a later day."
        return [Fault(place, "leaves", message)]
    return within_season(place, "leaves", fish.leaves, file)


def _own_faults(key: str, own: OwnTable, file: SiteFile) -> list[Fault]:
    place = f"stocking.own.{key}"
    cohort = file.cohorts.get(key)
    if cohort is None:
        known = ", ".join(file.cohorts) or "none"
        return [Fault("stocking.own", key, f'"{key}" is not among the cohorts; known are {known}.')]
    faults = [fault for tank in own.tanks or [] for fault in known_name(place, "tanks", tank, file.tanks)]
    faults += _leaving(place, own, file)
    if own.at_least is not None and own.at_least > cohort.count:
        message = f"{own.at_least} contradicts the {cohort.count} fish that the cohort has; one of the two must give."
        faults.append(Fault(place, "at_least", message))
    return faults


def _wish_faults(wishes: StockingTable, file: SiteFile) -> list[Fault]:
    faults = []
    if wishes.margin is not None and wishes.margin >= 1.0:
        message = f"{wishes.margin:g} keeps all of every limit in reserve, so no fish could come; 0.05 is usual."
        faults.append(Fault("stocking", "margin", message))
    own = [cohort.species for cohort in file.cohorts.values() if cohort.count > 0]
    offered = {*own, *(fish.species for fish in wishes.candidates.values())}
    most = wishes.species_at_most
    if most is not None and wishes.species_at_least > most:
        message = f"{wishes.species_at_least} contradicts species_at_most {most}; one of the two must give."
        faults.append(Fault("stocking", "species_at_least", message))
    if wishes.species_at_least > len(offered):
        message = (
            f"{wishes.species_at_least} contradicts the candidates, which are of {len(offered)} species; offer fish of "
            "more species or wish for fewer."
        )
        faults.append(Fault("stocking", "species_at_least", message))
    for number, wish in enumerate(wishes.harvest_wishes, 1):
        place = f"harvest_wishes[{number}]"
        faults += within_season("stocking", f"{place}.by", wish.by, file)
        if wish.species not in offered:
            message = (
                f"{shown(wish.species)} contradicts the candidates, none of which is of that species; offered are "
                f"{', '.join(sorted(offered)) or 'none'}."
            )
            faults.append(Fault("stocking", f"{place}.species", message))
    if wishes.budget is not None:
        faults += _budget_faults(wishes, wishes.budget, bool(own))
    return faults


def _budget_faults(wishes: StockingTable, budget: float, has_own: bool) -> list[Fault]:
    faults = []
    asked = [(key, fish.at_least * fish.price) for key, fish in wishes.candidates.items() if fish.at_least > 0]
    total = sum(cost for _, cost in asked)
    if total > budget:
        names = " and ".join(f"stocking.candidates.{key}" for key, _ in asked)
        message = f"{budget:g} contradicts at_least of {names}, which costs {total:g}; one of them must give."
        faults.append(Fault("stocking", "budget", message))
    elif wishes.candidates and not has_own:
        cheapest = min(_least_batch(fish) * fish.price for fish in wishes.candidates.values())
        if cheapest > budget:
            message = (
                f"{budget:g} contradicts the prices: the cheapest batch of fish costs {cheapest:g} and the site has no "
                "fish of its own; raise the budget."
            )
            faults.append(Fault("stocking", "budget", message))
    return faults


def _least_batch(fish: CandidateTable) -> int:
    """The smallest batch in which a candidate may come."""
    return min(USUAL_BATCH, fish.at_most) if fish.minimum_batch is None else fish.minimum_batch
