"""Tables of a site file on weather, rooms and heat."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from stocksim.site.pump_tables import MAINS
from stocksim.site.quantities import MONTHS, Area, Power, Share, Volume, number, quantity

OutdoorTemperature = Annotated[
    float, quantity("temperature", -70.0, 55.0, "outdoor air lies between -70 and 55 degC (-94 and 131 degF)")
]
AirTemperature = Annotated[
    float, quantity("temperature", -10.01, 40.01, "set points lie between -10 and 40 degC (14 and 104 degF)")
]
Spread = Annotated[
    float,
    quantity("temperature_difference", 0.0, 20.0, 'a day-to-day spread lies between 0 and 20 degC, as "5 degC"', True),
]
Foam = Annotated[float, quantity("length", 0.0, 0.5, 'foam is 0 to 500 mm thick, as "50 mm"', True)]
Height = Annotated[float, quantity("length", 0.5, 30.0, "a height must lie between 50 cm and 30 m", True)]
Length = Annotated[float, quantity("length", 1.0, 2000.0, "a length must lie between 1 m and 2000 m", True)]
Wind = Annotated[float, quantity("speed", 0.0, 40.0, "a monthly mean wind lies between 0 and 40 m/s", True)]
AirChanges = Annotated[float, number(0.0, 100.0, "air changes must be a number an hour from 0 to 100, as 0.75")]
Efficiency = Annotated[float, number(0.05, 6.0, "an efficiency must be a number from 0.05 to 6 (a heat pump), as 0.8")]
Price = Annotated[float, number(0.0, 1e6, "a price must be a number of your money, 0 or more, as 2.4")]
Hour = Annotated[float, number(0.0, 24.0, "an hour of the day must be a number from 0 to 24, as 18 or 6.5")]
Factor = Annotated[float, number(0.1, 10.0, "a fitted factor must be a number from 0.1 to 10, as 1.2")]
FuelName = Literal["natural_gas", "propane", "heating_oil", "kerosene", "wood_pellets", "electricity"]
UnitName = Literal["kWh", "therm", "m3", "gal", "L", "kg"]
CoverName = Literal["single_film", "double_film", "twin_wall", "glass"]
RoomName = Literal["greenhouse", "fish_room", "outdoors"]
Month = Literal[MONTHS]  # type: ignore[valid-type]


class ClimateTable(BaseModel):
    """A table whose keys are all known; unknown ones are faults."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, populate_by_name=False, defer_build=True)


class _WeatherTable(ClimateTable):
    design_cold: OutdoorTemperature | None = None
    day_to_day: Spread | None = None
    ground: OutdoorTemperature | None = None
    wind: dict[Month, Wind] = {}


class NormalsWeather(_WeatherTable):
    """Monthly normals: mean of the daily lows and highs, and sun as a share of clear sky or cloud cover."""

    kind: Literal["normals"]
    low: dict[Month, OutdoorTemperature]
    high: dict[Month, OutdoorTemperature]
    mean: dict[Month, OutdoorTemperature] = {}
    sun: dict[Month, Share] = {}
    cloud: dict[Month, Share] = {}


class FileWeather(_WeatherTable):
    """A CSV file beside the site file, by the day or by the hour."""

    kind: Literal["file"]
    file: str


WeatherTable = Annotated[NormalsWeather | FileWeather, Field(discriminator="kind")]


class SetPoint(ClimateTable):
    """Set point from an hour of the day on."""

    hour: Hour
    set_point: AirTemperature


class HeaterTable(ClimateTable):
    """A heater with its thermostat and its fuel."""

    power: Power
    set_point: AirTemperature
    schedule: list[SetPoint] = []
    fuel: FuelName
    efficiency: Efficiency | None = None
    price: Price | None = None
    price_per: UnitName | None = None
    vented: bool = True
    circuit: str = MAINS


class WallTable(ClimateTable):
    """Part of the cover that is a solid insulated wall."""

    area: Area
    foam: Foam


class MassTable(ClimateTable):
    """What stores heat in a room beside the floor and the loops' own water."""

    water: Volume | None = None
    gravel: Volume | None = None
    soil: Volume | None = None


class VentsTable(ClimateTable):
    """Vents or fans."""

    opens_at: AirTemperature
    air_changes: AirChanges = 20.0


class LampsTable(ClimateTable):
    """Lamps, on between two hours of the day."""

    power: Power
    from_hour: Hour
    to_hour: Hour


class _RoomTable(ClimateTable):
    floor_area: Area
    height: Height | None = None
    perimeter: Length | None = None
    edge_foam: bool = False
    air_changes: AirChanges | None = None
    humidity: Share | None = None
    thermal_mass: MassTable | None = None
    vents: VentsTable | None = None
    lamps: LampsTable | None = None
    heater: HeaterTable | None = None


class GreenhouseTable(_RoomTable):
    """The greenhouse: size, cover, leaks, what it stores, and its heater."""

    cover: CoverName
    cover_area: Area | None = None
    insulated_wall: WallTable | None = None
    shade: Share = 0.0
    night_curtain: bool = False
    curtain_saving: Share | None = None
    loss_factor: Factor = 1.0
    sun_factor: Factor = 1.0
    water_loss_factor: Factor = 1.0


class FishRoomTable(_RoomTable):
    """A closed, insulated room for tanks, by itself or inside the greenhouse."""

    foam: Foam
    in_greenhouse: bool = False


class LoopHeat(ClimateTable):
    """Where a loop's sump stands and what warms its water."""

    room: RoomName | None = None
    foam: Foam = 0.0
    cover: bool = False
    pump: Power | None = None
    heater: HeaterTable | None = None


class TankHeat(ClimateTable):
    """Where a tank stands, and what is around it."""

    room: RoomName | None = None
    foam: Foam = 0.0
    cover: bool = False


class BedHeat(ClimateTable):
    """Where a bed stands, and what changes at night."""

    room: RoomName | None = None
    night_cover: bool = False
    night_flow: Share = 1.0


class ComputedTemperature(ClimateTable):
    """Water temperature from weather, rooms and heaters, by the heat balance."""

    kind: Literal["computed"]
