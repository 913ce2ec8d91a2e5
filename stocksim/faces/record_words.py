"""What a record says, in a keeper's words and units."""

from __future__ import annotations

from stocksim.book.kinds import HELD, KINDS, READINGS
from stocksim.book.store import Record
from stocksim.site.begun import OverLimit
from stocksim.site.kinds import LIMITS
from stocksim.units import format_date, format_quantity

_BARE = ("count", "total_g", "weight_g", "feed_g", "temperature_c")
# weighed on a kitchen scale, as all answers tell feed and salts
_DOSES = {("feed", "feed_g"), ("base", "weight_g"), ("salt", "weight_g")}
_SHOWN_DECIMALS = {"mg_l": 2, "ph": 1}


def value_words(record: Record, system: str) -> str:
    """Values of a record in a keeper's units."""
    said = []
    read = {reading.value: name for name, reading in READINGS.items() if f"{name}_as" in record.held}
    for key in KINDS[record.kind].holds:
        if key not in record.held:
            continue
        held, value = HELD[key], record.held[key]
        words = "" if key in _BARE else f"{held.words} "
        if held.is_text:
            said.append(f"{'to ' * (key == 'to_tank')}{value}".replace("_", " "))
        elif key in read:
            name = read[key]
            form = record.held[f"{name}_as"]
            said.append(
                f"{name} {record.held[f'{name}_read']:g}{' as ' * (form != 'dKH')}{' ' * (form == 'dKH')}{form}"
            )
        elif held.dimension:
            dimension = "dose" if (record.kind, key) in _DOSES else held.dimension
            said.append(words + format_quantity(float(value), dimension, system))
        elif key == "count":
            said.append(f"{value:g} fish")
        else:
            decimals = _SHOWN_DECIMALS.get("ph" if key == "ph" else "mg_l", 0) if key != "readings" else 0
            said.append(f"{words}{float(value):.{decimals}f}")
    return ", ".join(said)


def over_words(one: OverLimit) -> str:
    """A test over a limit."""
    kind = LIMITS[one.limit]
    keep = "above" if kind.is_floor else "below"
    return (
        f"Measured in loop {one.loop} on {format_date(one.date)}: {kind.broken}, {one.value_mg_l:.3g} mg/L (keep "
        f"{keep} {one.limit_mg_l:.3g} mg/L for {one.cohort})."
    )
