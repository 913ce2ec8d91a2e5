"""Tables of a site file on pumps, and on what carries them when the mains fail."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from stocksim.site.quantities import Flow, Power, Table, Volume, number, quantity

# the circuit of everything for which the file names none
MAINS = "mains"

Lift = Annotated[float, quantity("length", 0.0, 30.0, 'a lift must lie between 0 and 30 m, as "1.8 m"', True)]
DrainBack = Annotated[
    float, quantity("volume", 0.0, 1e4, 'water that runs back must lie between 0 and 10,000 m3, as "25 L"', True)
]
Energy = Annotated[
    float, quantity("energy", 0.0, 1e9, 'a battery must hold more than 0 and at most 1,000,000 kWh, as "1.2 kWh"')
]
Minutes = Annotated[float, number(0.0, 10_080.0, "give a number of minutes from 0 to 10,080 (a week), as 20")]


class PumpTable(Table):
    """A pump in a sump, what it feeds, and its nameplate."""

    feeds: list[str] = Field(min_length=1)
    power: Power
    lift: Lift
    flow: Flow | None = None
    circuit: str = MAINS
    drain_back: DrainBack = 0.0


class _Backup(Table):
    carries: list[str] = Field(min_length=1)
    power: Power
    switch: Literal["automatic", "by_hand"] = "automatic"
    after_minutes: Minutes | None = None


class GeneratorTable(_Backup):
    """An engine, as long as its fuel lasts."""

    kind: Literal["generator"]
    fuel_volume: Volume
    burns: Flow


class BatteryTable(_Backup):
    """A battery with its inverter, as long as its charge lasts."""

    kind: Literal["battery"]
    energy: Energy


BackupTable = Annotated[GeneratorTable | BatteryTable, Field(discriminator="kind")]
