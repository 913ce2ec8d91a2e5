"""Care where something can hurt people, fish or places: who must mind it, and how it is said, shortly and whole.

All of it is common practice, no source; each line defers to local codes and licensed trades.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import NamedTuple

from stocksim.changes.change import Action, Change
from stocksim.library.sources import Entry
from stocksim.site.bed_kinds import BED_KINDS
from stocksim.site.climate_faults import heaters, unvented_notes
from stocksim.site.kinds import HARVESTS
from stocksim.site.model import SiteFile

ELECTRICITY = (
    "Electricity beside water kills: ground-fault protection on every circuit, drip loops, work by a licensed "
    "electrician under your local code."
)
CARBON_MONOXIDE = (
    "A burner can fill a house with carbon monoxide, which kills without a smell: flue to the outdoors, fresh air, a "
    "carbon monoxide alarm where people work or sleep; fitted, and checked each year, by a licensed heating trade "
    "under your local code."
)
AMMONIA = (
    "Ammonia burns eyes and lungs: goggles, gloves, open air, no children near. Never let it meet bleach or any other "
    "cleaner, for their gas kills. Dose it only where no fish are, store it locked, and follow its label and local "
    "rules."
)
KILLING = (
    "Kill fish quickly: stun each first, then bleed it at once, and never let it suffocate on ice or in air. "
    "Local animal welfare, slaughter, food and sales laws decide how, and who may; keep the waiting time that a "
    "medicine's label gives; do not eat freshwater fish raw."
)
IMMERSION = (
    "An electric heater in water needs residual-current (ground-fault) protection, a guard, a second thermostat, for "
    "one that sticks cooks the fish, and a cut-off for low water; unplug it before hands go in, and let a licensed "
    "electrician wire it under your local code."
)
OLD_WATER = (
    "Switch heater and pump off before draining. Old water goes onto soil or into a sewer where your local rules allow "
    "it, never into a stream, pond or storm drain: it carries nutrients, eggs, snails and disease."
)
LIDS = (
    "Small children drown in shallow water: put a lid, a fence or a lock on every tank, sump and pit, and let nobody "
    "work alone in one; your local rules on pools and pits may apply."
)
BACKFLOW = (
    "A hose left in a tank can siphon its water back into the drinking water: fill through an air gap or a backflow "
    "preventer, as your local plumbing code asks. Water of the loop is not for drinking."
)
FOAM = (
    "Bare foam burns fast, with poisonous smoke: cover it as your local fire code asks, and keep it from heaters, "
    "flues and lamps."
)
SLUDGE = (
    "Rotting sludge gives off gas that kills in pits and closed rooms: empty settlers in the open air, never climb "
    "into a pit after anyone, and take sludge where your local rules allow it."
)
SALT = (
    "Salts: calcium chloride grows hot as it dissolves and stings skin and eyes, so gloves, goggles, and salt into "
    "cold water, never water onto salt. Plain salt without iodine or anti-caking agent. Raise the level over a day or "
    "two, dissolved first, away from the fish; follow the label and your local rules."
)
SPRAY = (
    "Lukewarm water that stands and is then sprayed fine can carry the germ of legionnaires' disease: keep water "
    "moving and pipes clean, prefer a trickle to a mist, and ask your local health rules before people breathe it."
)
UNVENTED = "Danger: an unvented heater can kill people here. Vent it outdoors, by a licensed trade, before all else."
PERMIT = "Keeping, moving or selling these fish may need a permit where you live; never release any of them."
HYGIENE = (
    "Harvest hygiene: no tank water on leaves that are eaten raw; wash hands and produce; follow local food rules."
)


class Asking(NamedTuple):
    """Who is told what to mind: a site, and what is advised for it."""

    file: SiteFile
    changes: tuple[Change, ...]

    def does(self, *kinds: Action) -> bool:
        """Whether something of these kinds is advised."""
        return any(change.kind in kinds for change in self.changes)


class Care(NamedTuple):
    """What to mind.

    Parameters
    ----------
    brief : str
        A few words, for the first layer.
    whole : str
        One or two sentences.
    is_asked : callable
        Whether a site or what is advised for it asks for it.
    is_advised : callable
        Whether what is advised does: then it stands beside that.
    """

    brief: str
    whole: str
    is_asked: Callable[[Asking], bool]
    is_advised: Callable[[Asking], bool] = lambda asking: False


def _is_burning(asking: Asking) -> bool:
    return any(heater.fuel != "electricity" for _, heater in heaters(asking.file))


def _is_heated_in_water(asking: Asking) -> bool:
    return any(place.startswith("loops.") and heater.fuel == "electricity" for place, heater in heaters(asking.file))


def _is_insulated(asking: Asking) -> bool:
    rooms = (asking.file.greenhouse, asking.file.fish_room)
    return any(room is not None and (getattr(room, "foam", 0.0) or getattr(room, "edge_foam", False)) for room in rooms)


def _trickles_down_faces(asking: Asking) -> bool:
    return any(BED_KINDS[bed.kind].has_planted_face for bed in asking.file.beds.values())


def _takes_fish(asking: Asking) -> bool:
    return asking.does(Action.TAKEN_OUT) or any(event.kind in HARVESTS for event in asking.file.events)


_POWERED = (Action.MORE_AIR, Action.MORE_FLOW, Action.NEW_FILM, Action.NIGHT_FLOW)
_HEATED = (Action.SET_POINT, Action.AIR_SET_POINT, Action.WATER_SET_POINT, Action.WARM_LOOP)
_DOSED = (Action.FILM_FIRST, Action.LESS_DOSED_AMMONIA)
_CHANGED = (Action.WATER_CHANGES, Action.WEEKLY_CHANGES)
_FOAMED = (Action.FOAM, Action.ALL_COVERS, Action.WARM_LOOP)

# The gravest first: what kills people, then what kills fish, breaks a law or spoils food.
CARES = (
    Care("", ELECTRICITY, lambda asking: True, lambda asking: asking.does(*_POWERED, *_HEATED)),
    Care("", CARBON_MONOXIDE, _is_burning, lambda asking: asking.does(*_HEATED) and _is_burning(asking)),
    Care(UNVENTED, "", lambda asking: bool(unvented_notes(asking.file))),
    Care(
        "Ammonia: goggles, gloves, open air, never with bleach, never with fish in the loop.", AMMONIA,
        lambda asking: any(loop.fishless_cycling is not None for loop in asking.file.loops.values()),
        lambda asking: asking.does(*_DOSED),
    ),
    Care(
        "Power and burners kill: ground-fault protection, outdoor flue, carbon monoxide alarm, licensed trades.", "",
        _is_burning,
    ),
    Care(
        "Power beside water kills: ground-fault protection, licensed electrician.", "",
        lambda asking: not _is_burning(asking),
    ),
    Care(
        "Stun fish before killing; local law decides.", KILLING, _takes_fish,
        lambda asking: asking.does(Action.TAKEN_OUT),
    ),
    Care(
        "Old water never into streams: ask local rules.", OLD_WATER,
        lambda asking: any(loop.water_changes for loop in asking.file.loops.values()),
        lambda asking: asking.does(*_CHANGED),
    ),
    Care(
        "Heater in water: residual-current protection; unplug before hands go in.", IMMERSION, _is_heated_in_water,
        lambda asking: asking.does(Action.SET_POINT, Action.WATER_SET_POINT, Action.WARM_LOOP),
    ),
    Care("Foam burns: cover it as your fire code asks.", FOAM, _is_insulated, lambda asking: asking.does(*_FOAMED)),
    Care(
        "Sludge gives off bad gas: open air only, local rules.", SLUDGE, lambda asking: bool(asking.file.settlers),
        lambda asking: asking.does(Action.EMPTIED),
    ),
    Care("", SALT, lambda asking: False, lambda asking: asking.does(Action.CHLORIDE)),
    Care("", SPRAY, _trickles_down_faces),
    Care("", LIDS, lambda asking: bool(asking.file.tanks)),
    Care("", BACKFLOW, lambda asking: bool(asking.file.loops)),
    Care(
        "Wild fish: quarantine first; check permits.", "",
        lambda asking: any(cohort.wild for cohort in asking.file.cohorts.values()),
    ),
    Care("Never release any fish; check permits.", PERMIT, lambda asking: bool(asking.file.cohorts)),
    Care(
        "No tank water on leaves eaten raw.", "",
        lambda asking: any(bed.plantings for bed in asking.file.beds.values()),
    ),
    Care("", HYGIENE, lambda asking: True),
)  # fmt: skip


def brief_cares(file: SiteFile, changes: Iterable[Change] = ()) -> list[str]:
    """Care in a few words for the first layer, which takes the gravest, the first."""
    return [care.brief for care in _asked(file, changes) if care.brief]


def whole_cares(file: SiteFile, changes: Iterable[Change] = ()) -> list[str]:
    """All that a site and what is advised for it ask to mind, a text each."""
    return [care.whole for care in _asked(file, changes) if care.whole]


def alarm(file: SiteFile) -> str:
    """What can kill people here and is said before all else; empty where nothing is."""
    return f"{UNVENTED} " if unvented_notes(file) else ""


def water_cares(file: SiteFile) -> list[str]:
    """What dosing, changing and filling the water of a site asks to mind, a text each."""
    asked = list(whole_cares(file))
    return [care for care in (AMMONIA, OLD_WATER, IMMERSION, BACKFLOW) if care in asked]


def typed_cares(file: SiteFile, species: Mapping[str, Entry]) -> dict[str, list[str]]:
    """What to ask of what a keeper has just typed, a text each, by the table of the site file that it stands in.

    Parameters
    ----------
    file : SiteFile
        Of a site that was read.
    species : mapping of str to Entry
        The species of its fish.

    Returns
    -------
    dict of str to list of str
        Nothing for a table of which nothing is to be asked.
    """
    kept: dict[str, list[str]] = {}
    for entry in species.values():
        law = _first_sentence(entry.facts.get("caution", ""))
        kept.setdefault(law, []).append(entry.title)
    wild = [key for key, cohort in file.cohorts.items() if cohort.wild]
    burners = [place for place, heater in heaters(file) if heater.fuel != "electricity" and heater.vented]
    told = {
        "greenhouse": [f"{' and '.join(burners)}: taken as vented outdoors; an unvented burner can kill."]
        * bool(burners),
        "cohorts": [
            *([f"Wild-caught ({', '.join(wild)}): weeks of quarantine off the loop; catching and keeping may need a "
               "permit."] * bool(wild)),
            *(f"{', '.join(titles)}: {law}" for law, titles in kept.items() if law),
        ],
        "tanks": ["Children drown in shallow water: lids or locks on tanks and sumps."] * bool(file.tanks),
        "loops": [
            "Top-up from the mains: fill through an air gap or a backflow preventer, as your plumbing code asks.",
            *([AMMONIA] * any(loop.fishless_cycling is not None for loop in file.loops.values())),
        ],
        "events": [KILLING] * any(event.kind in HARVESTS for event in file.events),
        "settlers": [SLUDGE] * bool(file.settlers),
        "beds": ["No tank water on leaves eaten raw; wash hands and produce."] * bool(file.beds),
    }  # fmt: skip
    return {table: said for table, said in told.items() if said}


def _first_sentence(text: str) -> str:
    return f"{text.split('. ')[0].rstrip('.')}." if text else ""


def cares_beside(file: SiteFile, changes: Iterable[Change]) -> list[str]:
    """What some changes ask to mind, a text each, to stand beside them."""
    asking = Asking(file, _all(changes))
    return [care.whole for care in CARES if care.whole and care.is_advised(asking)]


def _asked(file: SiteFile, changes: Iterable[Change]) -> Iterator[Care]:
    asking = Asking(file, _all(changes))
    yield from (care for care in CARES if care.is_asked(asking) or care.is_advised(asking))


def _all(changes: Iterable[Change]) -> tuple[Change, ...]:
    """Changes, and those that are made together with them, one by one."""
    return tuple(one for change in changes for one in (change, *change.amounts.get("changes", ())))


def of_form(path: tuple[object, ...], held: object) -> list[str]:
    """What to mind where a table of the site file is typed: a heater by its fuel and place, lamps, foam, ammonia."""
    key = path[-1]
    if key == "heater" and isinstance(held, dict):
        is_electric = held.get("fuel") == "electricity"
        return [(IMMERSION if path[0] == "loops" else ELECTRICITY) if is_electric else CARBON_MONOXIDE]
    lines = {"lamps": [ELECTRICITY], "insulated_wall": [FOAM], "fishless_cycling": [AMMONIA]}
    return lines.get(str(key), []) if isinstance(held, dict) else []
