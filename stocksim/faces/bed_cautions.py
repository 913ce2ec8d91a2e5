"""Cautions that belong beside what beds grow in fish water, and what the bed model leaves out."""

from __future__ import annotations

from stocksim.planning.bed_plan import BedPlan
from stocksim.plants.nutrients import SALT_CAUTION

PRODUCE = (
    "Produce: keep fish water off all that is eaten raw, above all leaves; let rafts and roots drip away from the "
    "crop; "
    "wash hands, tools and boxes; keep pets, birds and rodents out; chill what you pick at once and wash it in "
    "drinking "
    "water. Root crops and sprouts do not belong in fish water. People who are pregnant, old, very young or ill should "
    "cook it. Food rules of your place go before this page.",
    "Cold-blooded animals carry germs that harm people (Salmonella, Aeromonas, Mycobacterium marinum, Vibrio): cover "
    "cuts before hands go into the water, wash after, and see a doctor about a sore that does not heal. Warm-blooded "
    "droppings (E. coli) come from outside: no manure, no roof water, no animals near the beds.",
    "Harvest fish and plants with different tools on different days; never harvest with wet gloves that touched fish. "
    "Water treated with any drug or with copper must not reach beds: treat sick fish off the loop, and keep to the "
    "label's waiting time.",
)
SLUDGE = (
    "Sludge: for beds whose harvest does not touch soil or is cooked; cover it with soil or mulch, keep it off "
    "leaves and "
    "fruit, wear gloves, and stop some weeks before harvest. Strawberries and salad on sludge are a risk. Old sludge "
    "gives off hydrogen sulfide: never enter a sump or tank with it alone."
)
WATERCRESS = (
    "Watercress: grow it from seed or clean cuttings. Wild plants, and snails from pastures, can bring liver fluke; "
    "cook "
    "it if in doubt."
)
MODEL = (
    "The bed model is a plan: light is a month's average, often under assumed clouds, growth rests on crop values "
    "that "
    "are mostly from memory, pests, pollination, day length and bolting are left out, and crops do not mix with each "
    "other's shade. Weigh your harvests and trust them more.",
    "Nutrient content is that of the edible part of well-fed plants; hungry plants hold less. Calcium, magnesium and "
    "iron "
    "stand on assumed source water. Feed may give less potassium than reckoned here (one measured "
    "feed gave a third as much as phosphorus, Yang & Kim 2020): watch leaf edges and test.",
)


def bed_cautions(plan: BedPlan) -> list[str]:
    """Cautions that hold for a plan, one text each."""
    season = plan.season
    words = [*PRODUCE]
    if bool(season.bed_course.wicking.is_fed.any()):
        words.append(SLUDGE)
    crops = {planting.crop for bed in season.site.file.beds.values() for planting in bed.plantings}
    if "watercress" in crops or any("watercress" in lever.words for some in plan.levers.values() for lever in some):
        words.append(WATERCRESS)
    words += [f"{season.site.crops[c].title}: {season.site.crops[c].facts['caution']}" for c in sorted(crops)
              if "caution" in season.site.crops[c].facts]  # fmt: skip
    words.append(SALT_CAUTION)
    words += [note for note in season.site.notes if note.startswith(("beds.", "site.latitude", "site.c", "site.air"))]
    weak = [entry.title for name, entry in season.site.crops.items() if entry.evidence == "weak"]
    if weak:
        words.append(f"Evidence is weak for {', '.join(weak)}: most of their values are from memory or chosen here.")
    return [*words, *MODEL]
