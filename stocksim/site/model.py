"""The tables and keys of a site file."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from stocksim.site.bed_kinds import BED_KINDS, BIOFILTER_KINDS
from stocksim.site.climate_tables import (
    BedHeat,
    ComputedTemperature,
    FishRoomTable,
    GreenhouseTable,
    LoopHeat,
    TankHeat,
    WeatherTable,
)
from stocksim.site.fish_tables import CohortTable, Event
from stocksim.site.pump_tables import MAINS, BackupTable, PumpTable
from stocksim.site.quantities import (
    MONTHS,
    AirTemperature,
    Alkalinity,
    Area,
    BedArea,
    BufferSalt,
    Date,
    Days,
    Depth,
    Drop,
    Elevation,
    EmptyDays,
    FeedingHours,
    Flow,
    GrainSize,
    Latitude,
    Level,
    Loss,
    Months,
    NitrogenRate,
    OneOf,
    OxygenRate,
    Ph,
    Power,
    SeedlingShare,
    Share,
    SpecificSurface,
    Table,
    UtcOffset,
    Volume,
    WaterTemperature,
)
from stocksim.site.stocking_tables import AdviceTable, StockingTable
from stocksim.water.solids import SETTLERS


class SiteTable(Table):
    """What holds for the whole place."""

    name: str
    latitude: Latitude | None = None
    utc_offset: UtcOffset | None = None
    elevation: Elevation | None = None
    units: Literal["metric", "us"] = "metric"
    density_level: Literal["cautious", "experienced"] = "cautious"
    about: str = ""
    # light and air of the beds; what is left out is assumed and said
    cover_transmission: Share | None = None
    cloud_share: dict[Literal[MONTHS], Share] | None = None  # type: ignore[valid-type]
    air_temperature: dict[Literal[MONTHS], AirTemperature] | None = None  # type: ignore[valid-type]


class SeasonTable(Table):
    """First and last day, both counted."""

    start: Date
    end: Date


class Diffuser(Table):
    """Air pump with stones, known by its electric power; stones that nobody cleaned for months give less."""

    kind: Literal["diffuser"]
    power: Power
    uncleaned_months: Months = 0.0
    circuit: str = MAINS


class MeasuredTransfer(Table):
    """A device whose standard oxygen transfer is known."""

    kind: Literal["measured"]
    transfer: OxygenRate
    circuit: str = MAINS


class NoSupply(Table):
    """No device: only the surface and the flow bring oxygen."""

    kind: Literal["none"]


OxygenSupply = Annotated[Diffuser | MeasuredTransfer | NoSupply, Field(discriminator="kind")]


class _Heated(Table):
    at_least: WaterTemperature | None = None
    at_most: WaterTemperature | None = None


class ConstantTemperature(_Heated):
    """One temperature for the whole season."""

    kind: Literal["constant"]
    value: WaterTemperature


class MonthlyTemperature(_Heated):
    """Mean of each calendar month."""

    kind: Literal["monthly"]
    values: dict[Literal[MONTHS], WaterTemperature]  # type: ignore[valid-type]


class LoggedTemperature(_Heated):
    """A CSV file beside the site file, with date and temperature_c or temperature_f."""

    kind: Literal["log"]
    file: str


class SourceWater(Table):
    """Top-up and exchange water, as tested; what is left out is assumed and said."""

    alkalinity: Level | None = None
    nitrate_n: Level | None = None
    potassium: Level | None = None
    phosphorus: Level | None = None
    calcium: Level | None = None
    chloride: Level | None = None
    sodium: Level | None = None


class WaterTest(SourceWater):
    """A measured test of the loop's water; on its date the water is set to it."""

    date: Date
    tan: Level | None = None
    nitrite_n: Level | None = None
    ph: Ph | None = None


class WaterChange(Table):
    """Loop water replaced by source water on a date."""

    date: Date
    volume: Volume
    temperature: WaterTemperature | None = None


class FishlessCycling(Table):
    """Ammonia dosed to feed a young film before fish come."""

    start: Date = Field(alias="from")
    end: Date = Field(alias="to")
    ammonia_nitrogen: NitrogenRate


class FeedingStep(Table):
    """Share of the ration of every cohort of a loop, from a day until the next step."""

    start: Date = Field(alias="from")
    share: Share


class LoopTable(Table):
    """Water that tanks, a sump and beds share."""

    sump: Volume
    ph: Ph | None = None
    alkalinity_target: Alkalinity | None = None
    biofilter_started: Date | None = None
    water_temperature: Annotated[
        ConstantTemperature | MonthlyTemperature | LoggedTemperature | ComputedTemperature,
        Field(discriminator="kind"),
    ]
    depth: Depth | None = None
    sump_brim: Volume | None = None
    sump_least: Volume | None = None
    oxygen_supply: OxygenSupply | None = None
    buffer: BufferSalt = "potassium_bicarbonate"
    evaporation: Loss | None = None
    return_drop: Drop = 0.0
    new_water: Flow | None = None
    source_water: SourceWater | None = None
    water_tests: list[WaterTest] = []
    water_changes: list[WaterChange] = []
    biofilter_start: Literal["new", "seeded", "mature"] | None = None
    fishless_cycling: FishlessCycling | None = None
    feeding_ramp: list[FeedingStep] = []
    feeding_hours: FeedingHours | None = None
    heat: LoopHeat | None = None


class TankTable(Table):
    """A fish tank."""

    loop: str
    volume: Volume
    flow: Flow
    depth: Depth | None = None
    oxygen_supply: OxygenSupply | None = None
    overflows_to: list[str] = []
    heat: TankHeat | None = None


class PlantingTable(Table):
    """One crop on a bed, or on part of it, from a first to a last day, all at once or a share every few days."""

    crop: str
    start: Date = Field(alias="from")
    end: Date = Field(alias="to")
    area: Area | None = None
    every_days: Days | None = None
    empty_days: EmptyDays = 0
    seedling_share: SeedlingShare = 0.0


class BedTable(Table):
    """A planted bed."""

    loop: str
    kind: Annotated[str, OneOf(BED_KINDS)]
    area: BedArea
    depth: Depth | None = None
    flow: Flow | None = None
    media_size: GrainSize | None = None
    nitrifying_surface: Area | None = None
    biofilter_started: Date | None = None
    oxygen_supply: OxygenSupply | None = None
    planted_face: Area | None = None
    floats_on_sump: bool = False
    flooding: Literal["siphon", "timer"] | None = None
    swing: Volume | None = None
    plantings: list[PlantingTable] = []
    heat: BedHeat | None = None


class BiofilterTable(Table):
    """A dedicated nitrifying unit."""

    loop: str
    kind: Annotated[str, OneOf(BIOFILTER_KINDS)]
    media_volume: Volume
    specific_surface: SpecificSurface
    flow: Flow
    biofilter_started: Date | None = None
    oxygen_supply: OxygenSupply | None = None


class SettlerTable(Table):
    """A unit that catches suspended solids from the tanks' return."""

    loop: str
    kind: Annotated[str, OneOf(SETTLERS)]
    share_of_flow: Share = 1.0
    capture: Share | None = None
    drawn_off: Loss = 0.0
    emptied_every_days: Days = 1
    feeds: str | None = None


class SiteFile(Table):
    """A whole site file."""

    site: SiteTable
    season: SeasonTable
    loops: dict[str, LoopTable] = Field(min_length=1)
    tanks: dict[str, TankTable] = Field(min_length=1)
    beds: dict[str, BedTable] = {}
    biofilters: dict[str, BiofilterTable] = {}
    settlers: dict[str, SettlerTable] = {}
    pumps: dict[str, PumpTable] = {}
    backups: dict[str, BackupTable] = {}
    cohorts: dict[str, CohortTable] = {}
    events: list[Event] = []
    weather: WeatherTable | None = None
    greenhouse: GreenhouseTable | None = None
    fish_room: FishRoomTable | None = None
    stocking: StockingTable | None = None
    advice: AdviceTable = AdviceTable()
