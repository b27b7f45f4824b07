"""What a facility has: chambers, rooms, cold stores, benches and licensed people.

Lengths are millimetres and volumes litres, as integers, because the planner counts in them.
"""

import hashlib
from datetime import date, time
from typing import Annotated, Literal, Self

import rfc8785
from pydantic import BaseModel, ConfigDict, Field, model_validator

from shared.vocabulary import StepKind

Id = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$", description="A short plain id.")]
Millimetres = Annotated[int, Field(gt=0, le=100_000)]
Litres = Annotated[int, Field(gt=0, le=10_000_000)]


class FacilityPart(BaseModel):
    """Base of every part of a facility: immutable and strict about unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Chamber(FacilityPart):
    """A closed chamber that runs one programme at a time on one load."""

    kind: Literal["chamber"] = "chamber"
    id: Id
    label: str
    inside_mm: tuple[Millimetres, Millimetres, Millimetres] = Field(
        description="Width, height, depth."
    )
    door_mm: tuple[Millimetres, Millimetres] = Field(description="Width, height of the door.")
    rail_mm: Millimetres = Field(description="Total length of hanging rail.")
    usable_fill: Annotated[float, Field(gt=0, le=1)] = Field(
        description="Share of the inside volume that a load may fill."
    )
    air_changes_per_h: Annotated[float, Field(gt=0, le=1000)] = Field(description="While airing.")
    half_loss_h: Annotated[float, Field(gt=0, le=10_000)] | None = Field(
        default=None,
        description="Hours in which gas falls to half in the shut chamber, as measured; "
        "none until somebody has measured it.",
    )
    programmes: tuple[Id, ...] = Field(description="Programmes this chamber may run.")
    zones: tuple[str, ...] = Field(min_length=1, description="Where gas is measured.")

    @property
    def volume_l(self) -> float:
        """Inside volume in litres."""
        width, height, depth = self.inside_mm
        return width * height * depth / 1e6


class Room(FacilityPart):
    """A drying or airing room: rack length and moisture removal are shared by all inside."""

    kind: Literal["room"] = "room"
    id: Id
    label: str
    serves: tuple[StepKind, ...] = Field(min_length=1)
    rack_mm: Millimetres
    removal_g_h: Annotated[int, Field(ge=0)] = Field(description="Water removed per hour, grams.")
    temperature_c: float
    rh: Annotated[float, Field(gt=0, lt=1)] = Field(description="Relative humidity held, 0 to 1.")
    air_speed_m_s: Annotated[float, Field(ge=0, le=5)] = 0.2
    quarantine: bool = Field(
        default=False, description="Kept apart for mould, insects and foul water."
    )


class ColdStore(FacilityPart):
    """A freezer: a bounded place to wait in."""

    kind: Literal["store"] = "store"
    id: Id
    label: str
    usable_l: Litres
    temperature_c: float
    quarantine: bool = Field(
        default=False, description="Kept apart for mould, insects and foul water."
    )


class Shift(FacilityPart):
    """A working time on the named weekdays (0 is Monday), local time."""

    weekdays: tuple[Annotated[int, Field(ge=0, le=6)], ...] = Field(min_length=1)
    starts: time
    ends: time
    people: Annotated[int, Field(gt=0, le=200)]

    @model_validator(mode="after")
    def _ends_after_start(self) -> Self:
        if self.ends <= self.starts:
            raise ValueError("a shift must end after it starts; split one that crosses midnight")
        return self


class Bench(FacilityPart):
    """A place of skilled handwork, with the people who are there and when."""

    kind: Literal["bench"] = "bench"
    id: Id
    label: str
    serves: tuple[StepKind, ...] = Field(min_length=1)
    shifts: tuple[Shift, ...] = Field(min_length=1)


Station = Annotated[Chamber | Room | ColdStore | Bench, Field(discriminator="kind")]


class CleanDown(FacilityPart):
    """Work on a chamber between two programmes."""

    before: Id = Field(description="Programme that ran last.")
    after: Id = Field(description="Programme that runs next.")
    minutes: Annotated[int, Field(ge=0)]
    cost: Annotated[int, Field(ge=0)] = Field(description="In the currency's whole units.")


class LicensedPerson(FacilityPart):
    """A person whose licence a fumigation run needs."""

    name: str
    licence_no: str
    jurisdiction: str
    expires: date
    phone: str
    hours: tuple[Shift, ...] = Field(min_length=1, description="When the person can attend.")


class Holiday(FacilityPart):
    """A day on which nobody works; rooms and chambers run on."""

    day: date
    label: str


class Facility(FacilityPart):
    """The whole facility, as one validated document."""

    id: Id
    label: str
    zone: str = Field(description="IANA time zone, such as Europe/Dublin.")
    altitude_m: Annotated[float, Field(ge=-500, le=6000)] = 0.0
    stations: tuple[Station, ...] = Field(min_length=1)
    clean_downs: tuple[CleanDown, ...] = ()
    licensed: tuple[LicensedPerson, ...] = ()
    holidays: tuple[Holiday, ...] = ()

    @model_validator(mode="after")
    def _ids_differ(self) -> Self:
        ids = [station.id for station in self.stations]
        twice = {name for name in ids if ids.count(name) > 1}
        if twice:
            raise ValueError(
                f"stations: id used twice: {', '.join(sorted(twice))}; give each its own"
            )
        return self

    @property
    def digest(self) -> str:
        """SHA-256 of the description's canonical JSON (RFC 8785), to tell two apart."""
        return hashlib.sha256(rfc8785.dumps(self.model_dump(mode="json"))).hexdigest()

    def licence(self, licence_no: str | None) -> LicensedPerson | None:
        """The person who holds this licence, if anybody here does."""
        return next((one for one in self.licensed if one.licence_no == licence_no), None)

    def station(self, station_id: str) -> "Chamber | Room | ColdStore | Bench":
        """The station with this id; ``KeyError`` if there is none."""
        for station in self.stations:
            if station.id == station_id:
                return station
        raise KeyError(station_id)

    @property
    def chambers(self) -> tuple[Chamber, ...]:
        """The chambers only."""
        return tuple(station for station in self.stations if isinstance(station, Chamber))
