"""Every constant that decides whether fish die or a limit breaks, moved through its range over all published systems.

python docs/systems_constants.py     writes docs/systems_constants.md; some minutes

Each constant stands at its low and high value in turn, all others where they are, and the systems of tests/systems run.
Constants inside compiled code move too: the engine runs uncompiled meanwhile.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))  # pytest loads this file from another folder

import systems  # noqa: E402
from film_fit import moved  # noqa: E402

from stocksim.fish import energetics, survival  # noqa: E402
from stocksim.library.sources import Entry  # noqa: E402
from stocksim.water import buffering, maturity, nitrification, nitrite, oxygen  # noqa: E402

# left out: others of their rigs with less fish or feed, and the house, whose year takes as long as all
LEFT_OUT = (
    "raft_nile_tilapia_batch", "raft_nile_tilapia_staggered", "trout_lettuce_low", "carp_leaves_low",
    "tilapia_nursery_400", "tilapia_nursery_500", "bass_indoors_4_5", "bass_indoors_18_8", "hoophouse_rafts",
)  # fmt: skip
AMMONIA, NITRITE = maturity.OXIDIZERS["ammonia"], maturity.OXIDIZERS["nitrite"]


class Constant(NamedTuple):
    """A constant, its range, and how it is moved."""

    words: str
    value: float
    low: float
    high: float
    source: str
    name: str  # of a module's constant, of a field of the oxidizers as ammonia.FIELD, of a species value as species.KEY


_RATE, _HALF = nitrification.AREAL_RATE, maturity.HALF_ALKALINITY
CONSTANTS = (
    Constant("areal rate of a whole film at 20 degC, g/m2/day", *_RATE, "AREAL_RATE_AT_20"),
    Constant("alkalinity at half the rate, mg/L", *_HALF, "HALF_ALKALINITY_MG_L"),
    Constant("TAN at half the rate, mg/L", nitrification.HALF_SATURATION_TAN_MG_L, 0.7, 2.5,
             "1.93 Zhu & Chen 1999 (abstract read); 0.78 in planted sand beds (an abstract's figure, read)",
             "HALF_SATURATION_TAN_MG_L"),
    Constant("oxygen at half the rate, mg/L", nitrification.HALF_SATURATION_OXYGEN_MG_L, 0.5, 1.3, "from memory",
             "HALF_SATURATION_OXYGEN_MG_L"),
    Constant("rise of the rate per degC", nitrification.THETA, 1.011, 1.10,
             "1.1 % where oxygen, 4.3 % where TAN limits: Zhu & Chen 2002 (abstract read); to 1.10 from memory",
             "THETA"),
    Constant("rise of the rate per degC below 10 degC", nitrification.THETA_COLD, 1.06, 1.13,
             "18 +- 5 % of the rate at 20 degC is left at 1 degC: Hoang et al. 2014 (abstract read), 1.08-1.11 over "
             "all; ours leaves 24 %", "THETA_COLD"),
    Constant("growth of ammonia oxidizers at 15 degC, 1/day", AMMONIA.growth_at_15_per_day, 0.24, 0.94,
             "from memory of US EPA 1975, known to a factor of 2", "ammonia.growth_at_15_per_day"),
    Constant("growth of nitrite oxidizers at 15 degC, 1/day", NITRITE.growth_at_15_per_day, 0.18, 0.70,
             "fitted to about four weeks at 20 degC (common practice), known to a factor of 2",
             "nitrite.growth_at_15_per_day"),
    Constant("decay of films at 20 degC, 1/day", maturity.DECAY_AT_20_PER_DAY, 0.01, 0.1, "chosen; 0.01-0.1",
             "DECAY_AT_20_PER_DAY"),
    Constant("un-ionized ammonia that halves nitrite oxidizers, mg/L", NITRITE.inhibition_mg_l, 0.1, 10.0,
             "sources conflict; 0.64 (46 uM) for three sludges, Park & Bae 2009 (abstract read)", "_NITRITE_HINDERED"),
    Constant("un-ionized ammonia that halves ammonia oxidizers, mg/L", AMMONIA.inhibition_mg_l, 4.0, 40.0,
             "4-22 (290-1600 uM), Park & Bae 2009 (abstract read); 10-150 from memory of Anthonisen et al. 1976",
             "_AMMONIA_HINDERED"),
    Constant("nitrite rate over ammonia rate of a film", nitrite.NITRITE_PER_AMMONIA_RATE, 0.8, 1.6,
             "rafts of Rakocy, from memory; range assumed", "NITRITE_PER_AMMONIA_RATE"),
    Constant("nitrite at half the rate, mg/L", nitrite.HALF_SATURATION_NITRITE_MG_L, 0.3, 2.0,
             "from memory; 0.3-2 in use", "HALF_SATURATION_NITRITE_MG_L"),
    Constant("share of excreted nitrogen that is ammonia", energetics.AMMONIA_SHARE_OF_EXCRETION, 0.8, 0.95,
             "0.88 for trout (excerpt read), 0.85-0.90 from memory of Wood 1993; range assumed",
             "AMMONIA_SHARE_OF_EXCRETION"),
    Constant("rise of pH that one day's dose may make", buffering.MOST_PH_RISE, 0.1, 0.4,
             "common practice, no source", "MOST_PH_RISE"),
    Constant("transfer of oxygen into fish water over clean water", oxygen.ALPHA_FISH_WATER, 0.7, 1.0,
             "from memory, 0.9-1", "ALPHA_FISH_WATER"),
    Constant("deaths of every day in good water, 1/day", survival.BACKGROUND_DEATHS_PER_DAY, 5e-5, 1e-4,
             "bluegill and tilapia (abstract and page read)", "BACKGROUND_DEATHS_PER_DAY"),
    Constant("lethal oxygen of every species, times", 1.0, 0.7, 1.4,
             "the species files; half of Atlantic salmon smolt died in 3 days at 3 mg/L, 3.3 in the end: Alabaster et "
             "al. 1979 (abstract read), where trout stand at 3.0; range assumed",
             "species.oxygen_lethal"),
    Constant("acute un-ionized ammonia of every species, times", 1.0, 0.5, 2.0, "the species files; range assumed",
             "species.unionized_ammonia_acute"),
    Constant("lethal nitrite of every species that has one, times", 1.0, 0.5, 2.0, "the species files; range assumed",
             "species.nitrite_lethal"),
)  # fmt: skip


@contextmanager
def at(constant: Constant, value: float) -> Iterator[None]:
    """The engine with one constant at a value."""
    kind, _, field = constant.name.partition(".")
    if kind == "species":
        whole, number = Entry.__getitem__, Entry.number
        Entry.__getitem__ = lambda self, key: whole(self, key) * (value if key == field else 1.0)
        Entry.number = lambda self, key, *default: number(self, key, *default) * (value if key == field else 1.0)
        systems.season_of.cache_clear()
        try:
            yield
        finally:
            Entry.__getitem__, Entry.number = whole, number
            systems.season_of.cache_clear()
        return
    changes: dict[str, Any] = {kind: value}
    if kind in maturity.OXIDIZERS:
        table = dict(maturity.OXIDIZERS)
        table[kind] = table[kind]._replace(**{field: value})
        changes = {"OXIDIZERS": table}
    with moved(**changes):
        yield


def results() -> dict[tuple[str, str], tuple[float, bool, str]]:
    """Value, agreement and measure of every output, at the middle of what is assumed."""
    found = {}
    for row in systems.rows("outputs.csv"):
        if row["system"] in LEFT_OUT:
            continue
        ours = systems.value(row["system"], row["measure"])
        found[row["system"], row["output"]] = ours, float(row["low"]) <= ours <= float(row["high"]), row["measure"]
    return found


def tally(found: dict[tuple[str, str], tuple[float, bool, str]]) -> tuple[int, int]:
    """Survivals and outputs in their bands."""
    lives = [met for _, met, measure in found.values() if measure.startswith("survival")]
    return sum(lives), sum(met for _, met, _ in found.values())


def text() -> str:
    """The page."""
    usual = results()
    lives, met = tally(usual)
    survivals = sum(measure.startswith("survival") for _, _, measure in usual.values())
    lines = [
        "# Constants that decide whether fish die or a limit breaks",
        "",
        "Written by `python docs/systems_constants.py`; do not edit by hand. Each constant stands at its low and its",
        "high value in turn, and the [published systems](systems.md) run, but for the less loaded of a rig and the",
        "house",
        f"({', '.join(LEFT_OUT)}). As the model stands {lives} of {survivals} survivals",
        f"and {met} of {len(usual)} outputs lie in their bands.",
        "",
        "| constant | value | range | source | survivals at low, high | outputs at low, high | outputs that change |",
        "|---|---|---|---|---|---|---|",
    ]
    for constant in CONSTANTS:
        counts, moved_outputs = [], {}
        for value in (constant.low, constant.high):
            with at(constant, value):
                found = results()
            counts.append(tally(found))
            for key, (ours, is_met, _) in found.items():
                if is_met != usual[key][1]:
                    moved_outputs[key] = f"{key[0]}: {key[1]} {usual[key][0]:.3g} to {ours:.3g}"
        (low_lives, low_met), (high_lives, high_met) = counts
        lines.append(
            f"| {constant.words} | {constant.value:.3g} | {constant.low:g} to {constant.high:g} | {constant.source} "
            f"| {low_lives}, {high_lives} | {low_met}, {high_met} | {'; '.join(moved_outputs.values()) or 'none'} |"
        )
        print(lines[-1], flush=True)
    return "\n".join([*lines, "", *_FOUND]) + "\n"


_FOUND = (
    "The last column names outputs that leave or enter their band at either end. What matters: lethal oxygen",
    "alone costs survivals (of trout, whose 3.0 mg/L comes from a page on brown trout; a search found it borne",
    "out by kin, see its row); the areal rate, nitrite at half the rate and alkalinity at half the rate move most",
    "outputs; levels that kill by ammonia and nitrite move hardly any, for systems that worked stay far below",
    "them.",
    "",
    "What a search for better sources gave is in the column of sources: *read* is what was read in a stored",
    "abstract or excerpt, the rest is from memory or assumed.",
)


if __name__ == "__main__":
    (HERE / "systems_constants.md").write_text(text(), encoding="utf-8")
