"""What a facility has: chambers, rooms, cold stores, benches and licensed people.

Lengths are millimetres and volumes litres, as integers, because the planner counts in them.
"""

import hashlib
from collections.abc import Hashable, Iterable
from datetime import date, time
from typing import Annotated, Literal, Self, TypeVar
from zoneinfo import available_timezones

import rfc8785
from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)

from shared.vocabulary import StepKind

Id = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$", description="A short plain id.")]
Label = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
Millimetres = Annotated[int, Field(gt=0, le=100_000)]
Litres = Annotated[int, Field(gt=0, le=10_000_000)]
MOST_COUNTED = 1_000_000_000
"""More grams, minutes or money than any house deals in, and few enough to be kept exactly."""

T = TypeVar("T", bound=Hashable)


def _twice(values: Iterable[T]) -> list[T]:
    """What stands more than once, in order."""
    known = list(values)
    return [value for value in dict.fromkeys(known) if known.count(value) > 1]


def _each_once(values: tuple[T, ...]) -> tuple[T, ...]:
    twice = _twice(values)
    if twice:
        raise ValueError(f"named twice: {', '.join(map(str, twice))}; name each once")
    return values


def _known_zone(name: str) -> str:
    if name not in available_timezones():
        raise ValueError("no such time zone; give an IANA name, such as Europe/Dublin")
    return name


def _local(value: time) -> time:
    if value.tzinfo is not None:
        raise ValueError("local time carries no zone; write it as 08:00")
    return value


LocalTime = Annotated[time, AfterValidator(_local)]


class FacilityPart(BaseModel):
    """Base of every part of a facility: immutable and strict about unknown fields."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Chamber(FacilityPart):
    """A closed chamber that runs one programme at a time on one load."""

    kind: Literal["chamber"] = "chamber"
    id: Id
    label: Label
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
    programmes: Annotated[tuple[Id, ...], AfterValidator(_each_once)] = Field(
        description="Programmes this chamber may run."
    )
    zones: Annotated[tuple[Label, ...], AfterValidator(_each_once)] = Field(
        min_length=1, description="Where gas is measured."
    )

    @property
    def volume_l(self) -> float:
        """Inside volume in litres."""
        width, height, depth = self.inside_mm
        return width * height * depth / 1e6


class Room(FacilityPart):
    """A drying or airing room: rack length and moisture removal are shared by all inside."""

    kind: Literal["room"] = "room"
    id: Id
    label: Label
    serves: Annotated[tuple[StepKind, ...], AfterValidator(_each_once)] = Field(min_length=1)
    rack_mm: Millimetres
    removal_g_h: Annotated[int, Field(ge=0, le=MOST_COUNTED)] = Field(
        description="Water removed per hour, grams."
    )
    temperature_c: Annotated[float, Field(ge=-20, le=60)] = Field(
        description="What the formulas of moist air hold for: one in °F is caught by it."
    )
    rh: Annotated[float, Field(gt=0, lt=1)] = Field(description="Relative humidity held, 0 to 1.")
    air_speed_m_s: Annotated[float, Field(ge=0, le=5)] = 0.2
    quarantine: bool = Field(
        default=False, description="Kept apart for mould, insects and foul water."
    )


class ColdStore(FacilityPart):
    """A freezer: a bounded place to wait in."""

    kind: Literal["store"] = "store"
    id: Id
    label: Label
    usable_l: Litres
    temperature_c: Annotated[float, Field(ge=-100, le=20)]
    quarantine: bool = Field(
        default=False, description="Kept apart for mould, insects and foul water."
    )


class Shift(FacilityPart):
    """A working time on the named weekdays (0 is Monday), local time."""

    weekdays: Annotated[
        tuple[Annotated[int, Field(ge=0, le=6)], ...], AfterValidator(_each_once)
    ] = Field(min_length=1)
    starts: LocalTime
    ends: LocalTime
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
    label: Label
    serves: Annotated[tuple[StepKind, ...], AfterValidator(_each_once)] = Field(min_length=1)
    shifts: tuple[Shift, ...] = Field(min_length=1)


Station = Annotated[Chamber | Room | ColdStore | Bench, Field(discriminator="kind")]


class CleanDown(FacilityPart):
    """Work on a chamber between two programmes."""

    before: Id = Field(description="Programme that ran last.")
    after: Id = Field(description="Programme that runs next.")
    minutes: Annotated[int, Field(ge=0, le=MOST_COUNTED)]
    cost: Annotated[int, Field(ge=0, le=MOST_COUNTED)] = Field(
        description="In the currency's whole units."
    )


class LicensedPerson(FacilityPart):
    """A person whose licence a fumigation run needs."""

    name: Label
    licence_no: Label
    jurisdiction: Label
    expires: date
    phone: Label
    hours: tuple[Shift, ...] = Field(min_length=1, description="When the person can attend.")


class Holiday(FacilityPart):
    """A day on which nobody works; rooms and chambers run on."""

    day: date
    label: Label


class Facility(FacilityPart):
    """The whole facility, as one validated document."""

    id: Id
    label: Label
    zone: Annotated[str, AfterValidator(_known_zone)] = Field(
        description="IANA time zone, such as Europe/Dublin."
    )
    altitude_m: Annotated[float, Field(ge=-500, le=6000)] = 0.0
    stations: tuple[Station, ...] = Field(description="None yet, while it is being set up.")
    clean_downs: tuple[CleanDown, ...] = ()
    licensed: tuple[LicensedPerson, ...] = ()
    holidays: tuple[Holiday, ...] = ()

    @model_validator(mode="after")
    def _told_apart(self) -> Self:
        for what, named in (
            ("stations: id used", (one.id for one in self.stations)),
            ("licensed: licence used", (one.licence_no for one in self.licensed)),
            ("holidays: day named", (one.day.isoformat() for one in self.holidays)),
            (
                "clean_downs: pair named",
                (f"{one.before}, then {one.after}" for one in self.clean_downs),
            ),
        ):
            twice = sorted(_twice(named))
            if twice:
                raise ValueError(f"{what} twice: {', '.join(twice)}; give each its own")
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
