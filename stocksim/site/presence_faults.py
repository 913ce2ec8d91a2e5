"""Faults of fish where they should not be: in a loop dosed with ammonia, or in one tank by two weights of feed."""

from __future__ import annotations

import datetime as dt

from stocksim.errors import Fault
from stocksim.site.fish_tables import FixedRation
from stocksim.site.model import SiteFile
from stocksim.site.presence import Spell, spells
from stocksim.units import format_quantity


def presence_faults(file: SiteFile) -> list[Fault]:
    """Faults that need to know where every cohort is on every day.

    Parameters
    ----------
    file : SiteFile
        Tables without other faults.

    Returns
    -------
    list of Fault
        One for a loop whose fishless cycling is not fishless, one for each stay that brings another weight of feed.
    """
    there = spells(file)
    return _fishless_faults(file, there) + _weight_faults(file, there)


def _fishless_faults(file: SiteFile, there: list[Spell]) -> list[Fault]:
    """Ammonia dosed while fish are in the loop; the first of them is named."""
    faults = []
    for key, loop in file.loops.items():
        dosing = loop.fishless_cycling
        if dosing is None:
            continue
        met = [
            spell for spell in there
            if file.tanks[spell.tank].loop == key and spell.first <= dosing.end and spell.last >= dosing.start
        ]  # fmt: skip
        if not met:
            continue
        first = min(met, key=lambda spell: (spell.first, spell.order))
        by = f" by {first.table}" if first.table.startswith("events") else ""
        day = max(first.first, dosing.start)
        ends = "" if day <= dosing.start else f"end it on {day - dt.timedelta(days=1)} or earlier, or "
        message = (
            f"doses ammonia from {dosing.start} to {dosing.end}, but {first.cohort} is in tank {first.tank} of this "
            f"loop from {first.first}{by}, and what feeds a film poisons fish; {ends}let fish into this loop only "
            "after the last dose."
        )
        faults.append(Fault(f"loops.{key}", "fishless_cycling", message))
    return faults


def _weight_faults(file: SiteFile, there: list[Spell]) -> list[Fault]:
    """Cohorts that are fed by weight in one tank at one time must give the tank's one weight."""
    faults: dict[tuple[str, str], Fault] = {}
    by_weight = [spell for spell in there if isinstance(spell.ration, FixedRation)]
    by_weight.sort(key=lambda spell: (spell.first, spell.order))
    for number, later in enumerate(by_weight):
        for earlier in by_weight[:number]:
            if earlier.tank != later.tank or not earlier.meets(later):
                continue
            if earlier.ration.per_day != later.ration.per_day:
                faults.setdefault((later.table, later.field), _two_weights(earlier, later, file.site.units))
    return list(faults.values())


def _two_weights(earlier: Spell, later: Spell, units: str) -> Fault:
    one, other = (format_quantity(spell.ration.per_day, "weight", units) for spell in (earlier, later))
    if later.table.startswith("cohorts."):
        message = (
            f"is another weight than that of {earlier.cohort} in the same tank; per_day is for the whole tank, shared "
            "by appetite, so write the same in both."
        )
    else:
        message = (
            f"puts {later.cohort}, on {other} of feed a day, into tank {later.tank} beside {earlier.cohort}, on {one}; "
            "per_day is for the whole tank, shared by appetite, so give both the same weight by a ration event of this "
            "date or before it."
        )
        if later.field == "ration.per_day":
            message = (
                f"feeds {later.cohort} {other} a day, but {earlier.cohort} in the same tank {one}; per_day is for the "
                "whole tank, shared by appetite, so give both the same weight on one date."
            )
    return Fault(later.table, later.field, message)
