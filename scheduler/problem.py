"""The problem document: what has to be treated, and with which stations, people and rules.

Every time is a whole number of minutes after ``epoch``; every quantity is an integer in the
unit that its name ends with. The models below are published as JSON Schema, so each field
description is part of the document's reference.

Documents of format 1 are still read. They lack `Programme.licence_after_min`,
`Programme.licence_at_end`, `Chamber.power_w`, `Weights.energy` and a step's `not_before_min`, and
may not carry them. These five are left out of what is written, and hashed, while they say nothing:
so a document of format 1 keeps the hash that it had, and plans made for it still verify.
"""

import hashlib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, Literal, NamedTuple, Self

import rfc8785
from pydantic import (
    AwareDatetime,
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    field_validator,
    model_validator,
)

from scheduler.consistency import contradictions

MAX_MINUTES = 10_000_000
MAX_QUANTITY = 1_000_000_000

Id = Annotated[str, StringConstraints(min_length=1, max_length=200)]
Minutes = Annotated[int, Field(strict=True, ge=0, le=MAX_MINUTES)]
Moment = Annotated[int, Field(strict=True, ge=-MAX_MINUTES, le=MAX_MINUTES)]
Quantity = Annotated[int, Field(strict=True, ge=0, le=MAX_QUANTITY)]
Positive = Annotated[int, Field(strict=True, ge=1, le=MAX_QUANTITY)]


class Window(NamedTuple):
    """A span of time ``[start, end]`` in minutes after the epoch."""

    start: Moment
    end: Moment


class Shift(NamedTuple):
    """A span of time ``[start, end, people]`` with so many people at the bench."""

    start: Moment
    end: Moment
    people: Positive


class Opening(NamedTuple):
    """A door opening ``[width, height]`` in mm."""

    width: Positive
    height: Positive


class Extent(NamedTuple):
    """Three sides of a box in mm; the order does not matter, pieces may be turned."""

    first: Positive
    second: Positive
    third: Positive


def says_nothing(value: object) -> bool:
    """Whether a field is 0, false or empty, as if it were not there."""
    return not value


class Document(BaseModel):
    """Base of everything in the two documents: immutable, and unknown fields are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Chamber(Document):
    """A batch chamber: all pieces of a run enter together and leave together."""

    kind: Literal["chamber"] = "chamber"
    id: Id
    label: str = ""
    usable_l: Positive = Field(description="Litres that the pieces of one run may fill.")
    rail_mm: Quantity = Field(
        default=MAX_QUANTITY, description="Rail or shelf length for the pieces of one run, mm."
    )
    door_mm: Opening | None = Field(
        default=None, description="Door [width, height], mm; null when every piece passes."
    )
    inside_mm: Extent | None = Field(
        default=None, description="Inside [length, width, height], mm; null when every piece fits."
    )
    programmes: tuple[Id, ...] = Field(description="Programmes that may run in this chamber.")
    windows: tuple[Window, ...] | None = Field(
        default=None,
        description="When it may run; a clean-down and its run lie inside one window. "
        "Null: always. Empty: never (out of service).",
    )
    windows_join: bool = Field(
        default=False, description="True: windows that touch count as one. False: as two."
    )
    starts_in: Id | None = Field(
        default=None,
        description="Programme that it was last used for before its first run here; null: clean.",
    )
    power_w: Quantity = Field(
        default=0,
        exclude_if=says_nothing,
        description="Electrical power that it takes while a run is on, W.",
    )


class Room(Document):
    """A drying or airing room, shared by the pieces in it."""

    kind: Literal["room"] = "room"
    id: Id
    label: str = ""
    rack_mm: Quantity = Field(description="Rack length in the room, mm.")
    removal_g_h: Quantity = Field(
        default=MAX_QUANTITY, description="Moisture that the room can remove, grams per hour."
    )
    windows: tuple[Window, ...] | None = Field(
        default=None, description="A stay lies inside one window. Null: always open."
    )


class Store(Document):
    """A cold store or another holding place, shared by volume."""

    kind: Literal["store"] = "store"
    id: Id
    label: str = ""
    litres: Quantity = Field(description="Litres that may be held at one time.")


class Bench(Document):
    """A place where people work on pieces; with one person it is a machine."""

    kind: Literal["bench"] = "bench"
    id: Id
    label: str = ""
    shifts: tuple[Shift, ...] = Field(
        description="[start, end, people]; a piece of work is done without a break inside one "
        "shift, and those working at one time need no more people than the shift has."
    )


Station = Annotated[Chamber | Room | Store | Bench, Field(discriminator="kind")]


class Programme(Document):
    """What a chamber is run for; all pieces of a run have the same programme.

    A licensed person is there at a moment t if start ≤ t < end for one of the problem's
    `licence_windows`. Moments are minutes, so a run may start, or end, at the minute at which the
    person comes, and not at the one at which the person leaves.
    """

    id: Id
    family: str = Field(default="", description="Programmes of a kind, for reading only.")
    label: str = ""
    needs_licence: bool = Field(
        default=False,
        description="True: a run may only start while a licensed person is available.",
    )
    licence_after_min: tuple[Minutes, ...] = Field(
        default=(),
        exclude_if=says_nothing,
        description="Further moments, in minutes after the run's start, at which a licensed person "
        "must be there, such as for a second signature. A run lasts at least until the last one.",
    )
    licence_at_end: bool = Field(
        default=False,
        exclude_if=says_nothing,
        description="True: a licensed person must be there at the minute at which the run ends, "
        "to clear it. A run that is over before the person comes lasts until then, if the longest "
        "duration of every piece in it and the chamber's window allow that.",
    )

    @property
    def last_moment_min(self) -> int:
        """Minutes after its start that a run lasts at least, whatever is in it."""
        return max(self.licence_after_min, default=0)


class CleanDown(Document):
    """Work on a chamber between two runs, done right before the second."""

    after: Id | None = Field(description="Programme of the run before; null: a clean chamber.")
    into: Id = Field(description="Programme of the run that follows.")
    minutes: Minutes
    cost: Quantity = 0


class CleanDownDefault(Document):
    """The clean-down between two different programmes that the table does not list."""

    minutes: Minutes = 0
    cost: Quantity = 0


class StepBase(Document):
    """What every kind of step has."""

    id: Id = Field(description="Unique within its item.")
    min_min: Minutes = Field(description="Shortest duration, minutes.")
    max_min: Minutes | None = Field(
        default=None, description="Longest duration, minutes; null: exactly min_min."
    )
    lag_min: Minutes = Field(
        default=0, description="Least minutes from the end of the step before to this start."
    )
    lag_max: Minutes | None = Field(
        default=None, description="Most minutes from the end of the step before to this start."
    )
    not_before_min: Minutes = Field(
        default=0,
        exclude_if=says_nothing,
        description="The step starts no sooner than this minute, whatever comes before it.",
    )
    start_by_min: Moment | None = Field(
        default=None,
        description="Soft deadline for the start (say, a mould deadline); lateness is charged at "
        "start_by_weight.",
    )
    start_by_weight: Quantity = Field(
        default=0, description="Charge for each minute after start_by_min."
    )
    due_min: Moment | None = Field(
        default=None,
        description="Soft deadline for the end of this step; charged at the item's weight.",
    )

    @property
    def longest_min(self) -> int:
        """The longest duration, minutes."""
        return self.min_min if self.max_min is None else self.max_min


class BatchStep(StepBase):
    """A run in a chamber. It lasts as long as the most demanding piece in it needs, and no
    longer than the least tolerant one allows.
    """

    kind: Literal["batch"] = "batch"
    stations: tuple[Id, ...] = Field(min_length=1, description="Chambers to choose from.")
    programme: Id


class RoomStep(StepBase):
    """A stay in a drying or airing room."""

    kind: Literal["room"] = "room"
    stations: tuple[Id, ...] = Field(min_length=1, description="Rooms to choose from.")
    rack_mm: Quantity = Field(default=0, description="Rack length taken for the whole stay, mm.")
    g_h: Quantity | tuple[Quantity, ...] = Field(
        default=0,
        description="Moisture given off, grams per hour: one number for the whole stay, or one "
        "for each hour from its start (nothing after the list ends or after min_min).",
    )


class StoreStep(StepBase):
    """A stay in a store.

    Work to enter it, or to leave it, is a bench step right before, or after: with `lag_max` 0
    between the two, nothing waits halfway. The people who carry are the bench's, so that they bound
    how much enters or leaves at one time; the litres are taken for the stay alone.
    """

    kind: Literal["store"] = "store"
    stations: tuple[Id, ...] = Field(min_length=1, description="Stores to choose from.")
    litres: Quantity | None = Field(
        default=None, description="Litres taken; null: the item's volume_l."
    )


class BenchStep(StepBase):
    """Work at a bench, without a break, of exactly min_min minutes."""

    kind: Literal["bench"] = "bench"
    stations: tuple[Id, ...] = Field(min_length=1, description="Benches to choose from.")
    people: Positive = Field(default=1, description="People needed from start to end.")


class WaitStep(StepBase):
    """Time that must pass and needs no station."""

    kind: Literal["wait"] = "wait"


Step = Annotated[
    BatchStep | RoomStep | StoreStep | BenchStep | WaitStep, Field(discriminator="kind")
]


class Item(Document):
    """A piece, with its steps in order."""

    id: Id
    label: str = ""
    claim: str = ""
    weight: Quantity = Field(default=1, description="Charge for each minute late (its value).")
    release_min: Minutes = Field(default=0, description="When it is here and may start.")
    due_min: Moment | None = Field(default=None, description="When its last step should end.")
    volume_l: Quantity = Field(default=0, description="Litres taken in a chamber or a store.")
    rail_mm: Quantity = Field(default=0, description="Rail length taken in a chamber, mm.")
    size_mm: Extent | None = Field(
        default=None, description="[width, height, depth], mm; null: fits everywhere."
    )
    tags: tuple[Id, ...] = Field(
        default=(), description="Mixing groups that it belongs to; see `apart`."
    )
    steps: tuple[Step, ...] = Field(min_length=1)


class FixedPlacement(Document):
    """A step that is under way or must not be moved. It is taken as a fact: it uses capacity,
    but calendars, licences and durations are not held against it. Nothing is added to its run.
    """

    item: Id
    step: Id
    station: Id | None = None
    start: Moment = Field(description="May be before the epoch.")
    end: Moment
    run: Id | None = Field(default=None, description="For a batch step: the run it is part of.")
    state: Literal["in_progress", "frozen"] = "frozen"


class PreviousPlacement(Document):
    """Where the last plan had a step; moving it is charged as a change. Steps that no longer
    exist, and fixed ones, are not charged.
    """

    item: Id
    step: Id
    station: Id | None = None
    start: Moment
    end: Moment
    run: Id | None = None


class Weights(Document):
    """What a plan is charged for. The objective is the sum of weight times amount."""

    lateness: Quantity = Field(
        default=1,
        description="For each minute late times the item's weight (or start_by_weight).",
    )
    late_items: Quantity = Field(default=0, description="For each item that ends after due_min.")
    running_min: Quantity = Field(default=0, description="For each minute that a run lasts.")
    clean_down_cost: Quantity = Field(default=0, description="For each unit of clean-down cost.")
    changes: Quantity = Field(
        default=0, description="For each step moved to another station or start."
    )
    finish: Quantity = Field(
        default=0, description="For each minute from the epoch to the end of the last step."
    )
    energy: Quantity = Field(
        default=0,
        exclude_if=says_nothing,
        description="For each kilowatt-hour that runs use, each run's rounded up to a whole one.",
    )


class Problem(Document):
    """Everything that a plan depends on."""

    format: Literal["lagan-problem/1", "lagan-problem/2"] = "lagan-problem/2"
    epoch: AwareDatetime = Field(description="Minute 0, in UTC.")
    horizon_min: Minutes = Field(description="All work must end by this minute.")
    stations: tuple[Station, ...]
    programmes: tuple[Programme, ...] = ()
    clean_downs: tuple[CleanDown, ...] = ()
    clean_down_default: CleanDownDefault = CleanDownDefault()
    licence_windows: tuple[Window, ...] | None = Field(
        default=None,
        description="When a licensed person is available: start ≤ t < end. Null: always.",
    )
    items: tuple[Item, ...]
    together: tuple[tuple[Id, ...], ...] = Field(
        default=(),
        description="Items that must share every run: their first batch steps share one run, "
        "their second batch steps another, and so on.",
    )
    apart: tuple[tuple[Id, Id], ...] = Field(
        default=(),
        description="Pairs of mixing groups: no run has an item of one beside another item of "
        "the other. A pair of the same group twice: at most one such item in a run.",
    )
    fixed: tuple[FixedPlacement, ...] = ()
    previous: tuple[PreviousPlacement, ...] = ()
    change_tolerance_min: Minutes = Field(
        default=0, description="A start moved by no more than this is not a change."
    )
    weights: Weights = Weights()

    @field_validator("epoch")
    @classmethod
    def _epoch_in_utc(cls, value: datetime) -> datetime:
        if value.utcoffset() != timedelta(0):
            raise ValueError("epoch must be in UTC: write it with a trailing Z")
        return value.astimezone(UTC)

    @model_validator(mode="after")
    def _of_its_format(self) -> Self:
        if self.format == "lagan-problem/1" and (newer := list(self._fields_of_2())):
            raise ValueError(
                f"format: lagan-problem/1 has no {', '.join(newer)}; write lagan-problem/2"
            )
        return self

    def _fields_of_2(self) -> Iterator[str]:
        """Fields that are given and that format 1 does not have, with where."""
        parts: list[tuple[str, Document, tuple[str, ...]]] = [
            ("weights", self.weights, ("energy",)),
            *((f"stations {s.id!r}", s, ("power_w",)) for s in self.stations),
            *(
                (f"programmes {p.id!r}", p, ("licence_after_min", "licence_at_end"))
                for p in self.programmes
            ),
            *(
                (f"items {i.id!r} steps {s.id!r}", s, ("not_before_min",))
                for i in self.items
                for s in i.steps
            ),
        ]
        for where, part, names in parts:
            yield from (f"{name} ({where})" for name in names if name in part.model_fields_set)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        found = contradictions(self)
        if found:
            raise ValueError("\n".join(found))
        return self

    def sha256(self) -> str:
        """Lower-case hex SHA-256 of the document's canonical JSON (RFC 8785)."""
        return hashlib.sha256(rfc8785.dumps(self.model_dump(mode="json"))).hexdigest()


def read_problem(path: Path) -> Problem:
    """Read and validate a problem document.

    Raises:
        OSError: the file cannot be read.
        pydantic.ValidationError: the file is not a consistent problem document.
    """
    return Problem.model_validate_json(path.read_bytes())
