"""How soon a loss that is not taken yet could be done, beside what is here and at its cost.

A guess at what would come is made into pieces and planned for as if they were on their way.
Nothing of it goes into the log.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from pydantic import BaseModel

from scheduler.answer import harms
from scheduler.plan import Plan
from scheduler.problem import Item as PlannedItem
from scheduler.problem import Problem
from service.facility.planning import LeftOut, guessed_items
from service.facility.plans import SolveError, Watch, promise_apart, repair_draft
from service.installation import Installation
from service.log import reading
from shared import events as ev
from shared.quantities import LengthUnit
from shared.records import DamageSeen, Item
from shared.vocabulary import Damage, Extent, Material, ObjectType

ROWS, MORE_ROWS = 2, 4
"""Rows of the form to begin with, and empty ones added on request."""
MOST_ROWS = 24
MOST_PIECES = 400
SECONDS = (20, 60, 180)


class SizeClass(StrEnum):
    """How large pieces are, roughly; these classes and their sizes are ours, no source."""

    SMALL = "small"
    MIDDLE = "middle"
    LARGE = "large"
    VERY_LARGE = "very_large"

    @property
    def sides_cm(self) -> tuple[int, int, int]:
        """Height, width and depth of the piece that stands for the class, cm."""
        return _SIDES_CM[self]

    @property
    def label(self) -> str:
        """In words, with the size that is reckoned with."""
        return f"{self.replace('_', ' ').capitalize()}: {' × '.join(map(str, self.sides_cm))} cm"


_SIDES_CM = {
    SizeClass.SMALL: (30, 25, 5),
    SizeClass.MIDDLE: (60, 50, 6),
    SizeClass.LARGE: (100, 80, 8),
    SizeClass.VERY_LARGE: (180, 140, 10),
}


class GuessForm(BaseModel):
    """A guess at a loss as typed: lists with an entry for each row, and when it would come."""

    count: list[str] = []
    object_type: list[str] = []
    material: list[str] = []
    damage: list[str] = []
    also: list[str] = []
    size: list[str] = []
    arrives: str = ""
    happened: str = ""
    seconds: str = str(SECONDS[0])
    asked_by: str = ""
    more: str = ""

    @property
    def rows(self) -> list["TypedRow"]:
        """The rows, those that were not sent made up with empty ones."""
        number = min(max(ROWS, len(self.count) + (MORE_ROWS if self.more else 0)), MOST_ROWS)
        lists = (self.count, self.object_type, self.material, self.damage, self.also, self.size)
        return [
            TypedRow(*(one[row] if row < len(one) else "" for one in lists))
            for row in range(number)
        ]


@dataclass(frozen=True)
class TypedRow:
    """A row of the form as typed."""

    count: str = ""
    object_type: str = ""
    material: str = ""
    damage: str = ""
    also: str = ""
    size: str = ""


@dataclass(frozen=True)
class Kind:
    """So many pieces of a kind that may come."""

    count: int
    object_type: ObjectType
    material: Material
    damages: tuple[Damage, ...]
    size: SizeClass

    @property
    def words(self) -> str:
        """Kind and damage in words."""
        damage = " and ".join(one.label.lower() for one in self.damages)
        return f"{self.object_type.label}, {self.material.label.lower()}, {damage}"


@dataclass(frozen=True)
class Guess:
    """What may come, when, and when it happened there."""

    kinds: tuple[Kind, ...]
    arrives: datetime
    happened: datetime
    seconds: int
    asked_by: str

    @property
    def count(self) -> int:
        """Pieces in all."""
        return sum(one.count for one in self.kinds)


@dataclass
class Reader:
    """Reads a form; faults are kept by the id of their field."""

    zone: ZoneInfo
    now: datetime
    faults: dict[str, str] = field(default_factory=dict)

    def guess(self, form: GuessForm) -> Guess | None:
        """The guess, or ``None`` with the faults named."""
        kinds = tuple(
            kind
            for number, row in enumerate(form.rows)
            if row.count.strip() and (kind := self._kind(number, row))
        )
        if not any(row.count.strip() for row in form.rows):
            self.faults["count-0"] = "How many: give the number of pieces of at least one kind."
        if sum(one.count for one in kinds) > MOST_PIECES:
            self.faults["count-0"] = (
                f"How many: {MOST_PIECES} pieces at most in one look. Ask for the loss in parts."
            )
        arrives = self._day("arrives", "Arrives", form.arrives)
        happened = self._day("happened", "Happened", form.happened) if form.happened else None
        if arrives and arrives.date() < self.now.astimezone(self.zone).date():
            self.faults["arrives"] = "Arrives: this day is past. Give today or a later day."
        if happened and happened > self.now:
            self.faults["happened"] = "Happened: this day is to come. Give today or an earlier day."
        if not form.seconds.isdigit() or int(form.seconds) not in SECONDS:
            self.faults["seconds"] = "Seconds: choose one of those offered."
        if self.faults or arrives is None:
            return None
        return Guess(
            kinds,
            max(arrives.astimezone(UTC), self.now),
            (happened or self.now).astimezone(UTC),
            int(form.seconds),
            form.asked_by.strip(),
        )

    def _kind(self, number: int, row: TypedRow) -> Kind | None:
        count = int(row.count) if row.count.strip().isdecimal() else 0
        if not 1 <= count <= MOST_PIECES:
            self._fault("count", number, f"How many: write a whole number, 1 to {MOST_PIECES}.")
        chosen = {
            name: self._chosen(name, number, words, among, typed)
            for name, words, among, typed in (
                ("object_type", "Kind", ObjectType, row.object_type),
                ("material", "Material", Material, row.material),
                ("damage", "Damage", Damage, row.damage),
                ("size", "Size", SizeClass, row.size),
            )
        }
        also = self._chosen("also", number, "And also", Damage, row.also) if row.also else None
        if count < 1 or None in chosen.values():
            return None
        damages = (Damage(str(chosen["damage"])), *((Damage(also),) if also else ()))
        return Kind(
            count,
            ObjectType(str(chosen["object_type"])),
            Material(str(chosen["material"])),
            tuple(dict.fromkeys(damages)),
            SizeClass(str(chosen["size"])),
        )

    def _chosen(
        self, name: str, number: int, words: str, among: type[StrEnum], typed: str
    ) -> str | None:
        try:
            return among(typed)
        except ValueError:
            self._fault(name, number, f"{words}: choose one from the list.")
            return None

    def _fault(self, name: str, number: int, words: str) -> None:
        self.faults[f"{name}-{number}"] = f"Row {number + 1}, {words[0].lower()}{words[1:]}"

    def _day(self, name: str, words: str, typed: str) -> datetime | None:
        try:
            return datetime.combine(date.fromisoformat(typed.strip()), time(8), self.zone)
        except ValueError:
            self.faults[name] = f"{words}: write a day such as 2031-05-06."
            return None


def pieces_of(guess: Guess) -> list[Item]:
    """A record for each piece of the guess, of no loss; such tags no piece can carry."""
    found: list[Item] = []
    for number, kind in enumerate(guess.kinds, 1):
        height, width, depth = (
            ev.Length(value=str(side), unit=LengthUnit.CENTIMETRE) for side in kind.size.sides_cm
        )
        found += [
            Item(
                tag=f"guess-{number}-{one:03d}",
                title=f"{kind.words} (guess {one} of {kind.count})",
                object_type=kind.object_type,
                materials=[kind.material],
                size=ev.Size(height=height, width=width, depth=depth),
                damages=[
                    DamageSeen(
                        damage=damage,
                        extent=Extent.PARTIAL,
                        wet_since=guess.happened,
                        water_category=None,
                        note="",
                    )
                    for damage in kind.damages
                ],
            )
            for one in range(1, kind.count + 1)
        ]
    return found


@dataclass(frozen=True)
class HarmedLoss:
    """What a plan does to the pieces of one loss: how many it makes late or later, by how much."""

    loss: str
    count: int
    worst_min: int
    total_min: int
    pieces: tuple[tuple[str, str, int], ...]
    """(tag, title, minutes) of each, the worst first."""


@dataclass(frozen=True)
class Finish:
    """The end of the last new piece in one plan, and what that plan does to what is here."""

    ends: datetime
    moved: int
    harmed: tuple[HarmedLoss, ...]
    missed: int
    """New pieces of which a step starts after the hour that their own damage allows."""


@dataclass(frozen=True)
class Outlook:
    """What was found out about a guess; ``None`` where no plan was found."""

    guess: Guess
    made_at: datetime
    has_plan: bool
    here: int
    planned: int
    beside: Finish | None
    with_room: Finish | None
    with_harm: Finish | None
    earliest: datetime
    forward: tuple[str, ...]
    left_out: tuple[tuple[str, int], ...]
    no_work: int
    stopped: bool


def look_ahead(here: Installation, guess: Guess, watch: Watch) -> Outlook:
    """How soon the guess could be done. Raises ``SolveError`` and ``NoFacilityError``."""
    base = repair_draft(here, watch)
    problem, present = base.planning.problem, base.plan
    pieces = pieces_of(guess)
    with here.database.read() as session:
        book = reading.facility(session)
        losses = {one.tag: one.loss or "" for one in reading.items(session, reading.EVERYTHING)}
        new, left = guessed_items(session, problem.epoch, pieces, guess.arrives, known=here.facts)
    if not new:
        why = "; ".join(f"{count} × {words}" for words, count in _grouped(left))
        raise SolveError(
            f"none of these pieces can be planned: {why}" if why else "none of these needs any work"
        )
    zone = book.facility.zone if book.facility else "UTC"
    answer = promise_apart(problem, present, new, seconds=guess.seconds, zone=zone, watch=watch)
    both = problem.model_copy(update={"items": (*problem.items, *new)})

    def finish(plan: Plan | None) -> Finish | None:
        return None if plan is None else finish_of(both, present, plan, new, losses)

    return Outlook(
        guess=guess,
        made_at=problem.epoch,
        has_plan=book.plan is not None,
        here=len(problem.items),
        planned=len(new),
        beside=finish(answer.beside),
        with_room=finish(answer.with_room),
        with_harm=finish(answer.with_harm),
        earliest=problem.epoch + timedelta(minutes=answer.earliest_min),
        forward=answer.forward,
        left_out=tuple(_grouped(left)),
        no_work=len(pieces) - len({one.id for one in new} | {one.tag for one in left}),
        stopped=watch.stopped,
    )


def _grouped(left: Iterable[LeftOut]) -> list[tuple[str, int]]:
    """Reasons for leaving pieces out, with how many each holds for, most first."""
    reasons = Counter(f"{one.title.partition(' (guess')[0]}: {one.why}" for one in left)
    return reasons.most_common()


def finish_of(
    problem: Problem,
    present: Plan,
    plan: Plan,
    new: Sequence[PlannedItem],
    losses: dict[str, str],
) -> Finish:
    """What a plan with new pieces comes to, held against the present one; ``losses`` by tag."""
    ids = {one.id for one in new}
    places = {(one.item, one.step): one for one in plan.placements}
    before = {(one.item, one.step): (one.station, one.start) for one in present.placements}
    moved = {
        one.item
        for key, one in places.items()
        if key in before and before[key] != (one.station, one.start)
    }
    labels = {one.id: one.label or one.id for one in problem.items}
    by_loss: dict[str, list[tuple[str, str, int]]] = {}
    for harm in harms(problem, present, plan):
        line = (harm.item, labels[harm.item], harm.later_min)
        by_loss.setdefault(losses.get(harm.item, ""), []).append(line)
    harmed = [
        HarmedLoss(loss, len(found), found[0][2], sum(one[2] for one in found), tuple(found))
        for loss, found in by_loss.items()
    ]
    missed = {
        one.id
        for one in new
        for step in one.steps
        if step.start_by_min is not None and places[one.id, step.id].start > step.start_by_min
    }
    return Finish(
        problem.epoch
        + timedelta(minutes=max(one.end for one in plan.placements if one.item in ids)),
        len(moved),
        tuple(sorted(harmed, key=lambda one: (-one.total_min, one.loss))),
        len(missed),
    )
