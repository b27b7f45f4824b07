"""Makes events of a crew's spreadsheet: everything in it, or, if asked, every row that is sound.

A row's events are stored together, in batches, under a device named after the file's own digest.
So an import that was cut off is taken up where it stopped when the same file is given again, and a
file that is in already adds nothing. A row without a tag gets one drawn from its own words: the
same row in a corrected copy of the file is known again, and is not taken for a second piece.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from hashlib import file_digest, sha256, shake_256
from itertools import islice
from pathlib import Path
from typing import Final

from pydantic import BaseModel, ValidationError
from sqlmodel import Session, col, select

from labels.codes import TagError, new_tag, parse_tag, show_tag
from service.crew.spreadsheet import (
    Column,
    ImportedRow,
    ImportOptions,
    ImportReport,
    Problem,
    SpreadsheetReader,
    report_of,
)
from service.installation import Installation
from service.log import reading
from service.log.append import Outcome, greatest_clock
from service.storage.tables import AliasRow, LogRow, SubjectRow
from shared import events as ev
from shared.recognise import PartSize
from shared.records import Claim, Loss
from shared.vocabulary import Role, ValueBasis

BATCH_EVENTS: Final = 500
"""Events stored at a time."""

DEVICE_PREFIX: Final = "import"
"""How the name of every device that a spreadsheet wrote under begins."""

_ROWS_AT_ONCE: Final = 100
_WHOLE_ROW: Final = "the whole row"
_BASES: Final = {basis.value: basis for basis in ValueBasis}
_EXTENT_ASSUMED: Final = (
    "The file says what the damage is, not how far it goes: noted as up to half of the piece."
)
_BASIS_ASSUMED: Final = (
    "The heading of the value names no basis: values are recorded as declared by the owner."
)

Progress = Callable[[int, int | None], None]
"""Called with the rows done so far and the rows in all, which is ``None`` while checking."""


class ImportRefusedError(ValueError):
    """The import cannot be begun or go on; the message says why and what to do."""


@dataclass(frozen=True)
class ImportOutcome:
    """What a file holds and what became of it.

    Attributes:
        report: what was read, with the first problems by row and column.
        written: whether the import was carried out: not when it was refused for its problems.
        pieces_stored: rows that became pieces now.
        pieces_already_stored: rows that an earlier import of the same file brought in.
        events_stored: events appended to the log now.
    """

    report: ImportReport
    written: bool
    pieces_stored: int = 0
    pieces_already_stored: int = 0
    events_stored: int = 0


@dataclass(frozen=True, slots=True)
class _Prepared:
    """A row with every problem it has, and the events it becomes if it has none."""

    row_number: int
    problems: tuple[Problem, ...]
    bodies: tuple[BaseModel, ...] = ()
    already_stored: bool = False


def check_import(
    here: Installation,
    path: Path,
    loss_id: str,
    options: ImportOptions | None = None,
    progress: Progress | None = None,
) -> ImportReport:
    """Say what an import would do, without doing it.

    Raises:
        SpreadsheetError: the file cannot be read at all.
        ImportRefusedError: there is no such loss.
    """
    return _Import(here, path, loss_id, options).check(progress)


def problems_in(
    here: Installation, path: Path, loss_id: str, options: ImportOptions | None = None
) -> Iterator[Problem]:
    """Every problem of the file, one after the other; raises as :func:`check_import`."""
    for row in _Import(here, path, loss_id, options).rows():
        yield from row.problems


def import_spreadsheet(
    here: Installation,
    path: Path,
    loss_id: str,
    *,
    actor: str,
    role: Role = Role.OFFICE,
    partial: bool = False,
    options: ImportOptions | None = None,
    progress: Progress | None = None,
) -> ImportOutcome:
    """Take a spreadsheet's pieces into a loss.

    Args:
        here: the installation.
        path: the CSV file; it is read twice and must not change meanwhile.
        loss_id: the loss.
        actor: who imports, as the record will name them.
        role: what they are.
        partial: take the sound rows although others have problems.
        options: what the person knows about the file.
        progress: told of rows done.

    Raises:
        SpreadsheetError: the file cannot be read at all.
        ImportRefusedError: there is no such loss, or the log refused an event.
    """
    job = _Import(here, path, loss_id, options)
    report = job.check(progress)
    if report.problem_count and not partial:
        return ImportOutcome(report, written=False)
    return job.write(report, actor, role, progress)


class _Import:
    """One file on its way into one loss."""

    def __init__(
        self, here: Installation, path: Path, loss_id: str, options: ImportOptions | None
    ) -> None:
        self.here = here
        self.reader = SpreadsheetReader(path, options)
        with here.database.read() as session:
            loss = reading.loss(session, reading.EVERYTHING, loss_id)
        if loss is None:
            raise ImportRefusedError(f"there is no loss {loss_id}; open it first, at the office")
        self.loss: Loss = loss
        with path.open("rb") as file:
            content = file_digest(file, "sha256").hexdigest()
        of_loss = sha256(f"{loss_id}\n{content}".encode()).hexdigest()
        self.device = f"{DEVICE_PREFIX}-{of_loss[:16]}"
        self.source = f"Spreadsheet {path.name}"[:300]
        self.headings = {use.column: use.heading for use in self.reader.columns if use.column}
        self.basis = self._basis()
        self.assumed: dict[str, None] = {}

    def _basis(self) -> ValueBasis | None:
        words = self.headings.get(Column.VALUE, "").casefold()
        return next((basis for name, basis in _BASES.items() if name in words), None)

    # --- passes over the file ---

    def check(self, progress: Progress | None) -> ImportReport:
        """Read the whole file and count its problems."""

        def problems_by_row() -> Iterator[Sequence[Problem]]:
            for done, row in enumerate(self.rows(), start=1):
                yield row.problems
                if progress and done % _ROWS_AT_ONCE == 0:
                    progress(done, None)

        report = report_of(self.reader, problems_by_row())
        return replace(report, assumptions=(*report.assumptions, *self.assumed))

    def write(
        self, report: ImportReport, actor: str, role: Role, progress: Progress | None
    ) -> ImportOutcome:
        """Store every sound row that is not in yet."""
        journal = self._journal()
        batch: list[ev.Event] = []
        pieces = already = events = 0
        for done, row in enumerate(self.rows(), start=1):
            already += row.already_stored
            if row.bodies:
                if len(batch) + len(row.bodies) > BATCH_EVENTS:
                    events += self._store(batch, journal)
                    batch = []
                now = self.here.now()
                batch += [
                    journal.write(body, actor=actor, role=role, at=now, loss=self.loss.loss)
                    for body in row.bodies
                ]
                pieces += 1
            if progress and (done % _ROWS_AT_ONCE == 0 or done == report.rows):
                progress(done, report.rows)
        events += self._store(batch, journal)
        return ImportOutcome(report, True, pieces, already, events)

    def _journal(self) -> ev.Journal:
        """The device's end of the log, from where an earlier import of the file left it."""
        with self.here.database.read() as session:
            last = session.exec(
                select(LogRow)
                .where(LogRow.device == self.device)
                .order_by(col(LogRow.sequence).desc())
                .limit(1)
            ).first()
            return ev.Journal(
                device=self.device,
                zone=self.loss.zone,
                sequence=last.sequence if last else 0,
                clock=greatest_clock(session),
                previous=last.digest if last else "",
            )

    def _store(self, batch: Sequence[ev.Event], journal: ev.Journal) -> int:
        answer = self.here.log.append([event.model_dump(mode="json") for event in batch])
        for receipt in answer.receipts:
            if receipt.outcome is Outcome.REFUSED:
                raise ImportRefusedError(
                    f"the log refused an event of this file: {receipt.why}. If somebody else is "
                    "importing the same file, wait until they are done and import it again: "
                    "what is in already is not taken twice"
                )
        journal.saw(answer.clock)
        return len(batch)

    def rows(self) -> Iterator[_Prepared]:
        """Every row of the file in order, checked against the loss and the tags in use."""
        seen: dict[str, int] = {}
        twins: dict[str, int] = {}
        rows = iter(self.reader)
        while some := list(islice(rows, _ROWS_AT_ONCE)):
            tagged = [(row, *self._tag(row, seen, twins)) for row in some]
            with self.here.database.read() as session:
                writers = _claimed_by(session, [tag for _, tag, _ in tagged if tag])
            for row, tag, problem in tagged:
                yield self._prepared(row, tag, problem, writers.get(tag, frozenset()))

    # --- one row ---

    def _tag(
        self, row: ImportedRow, seen: dict[str, int], twins: dict[str, int]
    ) -> tuple[str, Problem | None]:
        """The row's tag, or one drawn from its words; "" with the problem where it has none."""
        if not row.tag:
            return self._drawn_tag(row, seen, twins), None
        try:
            tag = parse_tag(row.tag)
        except TagError as error:
            return "", self._problem(row, Column.TAG, row.tag, str(error))
        first = seen.setdefault(tag, row.row_number)
        if first == row.row_number:
            return tag, None
        mend = f"row {first} has the same tag; give each piece its own"
        known = any(one.mend == mend for one in row.problems)
        return "", None if known else self._problem(row, Column.TAG, row.tag, mend)

    def _drawn_tag(self, row: ImportedRow, seen: dict[str, int], twins: dict[str, int]) -> str:
        first = _tag_of(self.loss.loss, row, 0)
        if first in seen:
            # Rows alike to the letter are so many pieces, as a person would count them.
            twins[first] = twins.get(first, 0) + 1
            tag = _tag_of(self.loss.loss, row, twins[first])
        else:
            tag = first
        seen[tag] = row.row_number
        return tag

    def _problem(self, row: ImportedRow, column: Column, value: str, mend: str) -> Problem:
        heading = self.headings.get(column, column.value)
        return Problem(row.row_number, heading, value[:80], mend)

    def _prepared(
        self, row: ImportedRow, tag: str, problem: Problem | None, writers: Iterable[str]
    ) -> _Prepared:
        if self.device in writers:
            return _Prepared(row.row_number, (), already_stored=True)
        problems = [*row.problems, *([problem] if problem else [])]
        if row == ImportedRow(row.row_number, problems=row.problems):
            return _Prepared(row.row_number, tuple(problems))
        if any(True for _ in writers):
            problems.append(self._taken(row, tag))
        claim, claim_problem = self._claim(row)
        problems += [*self._missing(row), *([claim_problem] if claim_problem else [])]
        if problems:
            return _Prepared(row.row_number, tuple(problems))
        try:
            return _Prepared(row.row_number, (), tuple(self._bodies(row, tag, claim)))
        except ValidationError as error:
            sentence = f"it does not fit the record: {ev.describe(error)}"
            return _Prepared(row.row_number, (Problem(row.row_number, _WHOLE_ROW, "", sentence),))

    def _taken(self, row: ImportedRow, tag: str) -> Problem:
        if row.tag:
            mend = (
                "this tag is tied to a piece already; look at the tag again, or leave the row out"
            )
            return self._problem(row, Column.TAG, row.tag, mend)
        mend = f"this very row was imported before, as piece {show_tag(tag)}; leave it out"
        return Problem(row.row_number, _WHOLE_ROW, row.title[:80], mend)

    def _missing(self, row: ImportedRow) -> Iterator[Problem]:
        """What a piece cannot be without, unless the reader has said so already."""
        told = {one.column for one in row.problems}
        if row.object_type is None and self.headings.get(Column.OBJECT_TYPE) not in told:
            mend = "say what kind of object it is, such as 'Painting', 'Frame' or 'Furniture'"
            yield self._problem(row, Column.OBJECT_TYPE, "", mend)
        if not row.materials and self.headings.get(Column.MEDIUM) not in told:
            mend = "say what it is made of, such as 'oil on canvas' or 'gilt wood and gesso'"
            yield self._problem(row, Column.MEDIUM, row.medium_text, mend)

    def _claim(self, row: ImportedRow) -> tuple[str | None, Problem | None]:
        """The claim a row belongs to, by its number or by its owner."""
        owned = [one for one in self.loss.claims if _same(one.owner, row.owner)]
        if row.claim:
            named = next((one for one in self.loss.claims if _same(one.claim, row.claim)), None)
            if named is None:
                mend = f"no such claim on this loss; {_known(self.loss.claims)}"
                return None, self._problem(row, Column.CLAIM, row.claim, mend)
            if row.owner and named not in owned:
                mend = f"claim {named.claim} belongs to {named.owner}; correct one of the two"
                return None, self._problem(row, Column.OWNER, row.owner, mend)
            return named.claim, None
        if not row.owner or not self.loss.claims:
            return None, None
        if len(owned) == 1:
            return owned[0].claim, None
        why = "this owner has several claims" if owned else "no claim on this loss has this owner"
        mend = f"{why}; write the claim's number in a column 'Claim'. {_known(self.loss.claims)}"
        return None, self._problem(row, Column.OWNER, row.owner, mend)

    # --- its events ---

    def _bodies(self, row: ImportedRow, tag: str, claim: str | None) -> Iterator[BaseModel]:
        yield ev.ItemTagged.model_validate(
            {
                "tag": tag,
                "object_type": row.object_type,
                "materials": row.materials,
                "found": {"floor": row.floor, "room": row.room, "wall": row.wall},
                "claim": claim,
                "quantity": row.quantity,
            }
        )
        told = {
            "title": row.title,
            "maker": row.maker,
            "period": row.period,
            "medium": row.medium_text,
            "inscriptions": row.inscription,
            "description": self._description(row, claim),
            "size": size_of(row.size),
        }
        told = {name: value for name, value in told.items() if value}
        if told:
            yield ev.ItemDescribed.model_validate({"tag": tag, **told})
        for damage in row.damages:
            self.assumed[_EXTENT_ASSUMED] = None
            yield ev.DamageNoted(tag=tag, damage=damage, note=row.damage_text)
        if row.value is not None:
            if self.basis is None:
                self.assumed[_BASIS_ASSUMED] = None
            yield ev.ValueStated(
                tag=tag,
                basis=self.basis or ValueBasis.DECLARED,
                value=row.value,
                stated_by=row.owner or self.source,
            )

    def _description(self, row: ImportedRow, claim: str | None) -> str:
        """The notes, with what has no field of its own kept in the words it came in."""
        kept = [row.notes]
        if row.size_text:
            kept.append(f"Size as written: {row.size_text}")
        elif row.size is not None and size_of(row.size) is None:
            kept.append(f"Measures: {_measures_in_words(row.size)}")
        if row.owner and claim is None:
            kept.append(f"Owner as written: {row.owner}")
        return "\n".join(part for part in kept if part)


def _same(one: str, other: str) -> bool:
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()


def _known(claims: Sequence[Claim]) -> str:
    if not claims:
        return "it has none yet: add the claim at the office first"
    return "it has " + ", ".join(f"{one.claim} ({one.owner})" for one in claims)


def _tag_of(loss_id: str, row: ImportedRow, twin: int) -> str:
    """A tag drawn from the words of a row; ``twin`` tells rows alike to the letter apart."""
    words = (
        *(row.title, row.maker, row.period, row.medium_text, row.size_text, row.inscription),
        *(row.floor, row.room, row.wall, row.damage_text, row.owner, row.claim, row.notes),
        *(str(row.object_type), str(row.size), str(row.value), str(row.quantity), str(twin)),
    )
    # Each character takes one byte; on average 37 in 32 draws of a body have a fitting check.
    drawn = iter(shake_256("\x1f".join((loss_id, *words)).encode()).digest(1200))
    return new_tag(lambda alphabet: alphabet[next(drawn) % len(alphabet)])


def _claimed_by(session: Session, tags: Sequence[str]) -> dict[str, frozenset[str]]:
    """For each of ``tags`` that is in use, the devices that tied it to a piece."""
    subjects = [f"item:{tag}" for tag in tags]
    found: dict[str, set[str]] = {}
    # The kind of event is told apart here: asked of SQLite, it would walk the index of kinds,
    # which holds every piece, and not that of the few subjects.
    events = session.exec(
        select(SubjectRow.subject, LogRow.device, LogRow.type)
        .join(LogRow, col(SubjectRow.position) == col(LogRow.position))
        .where(col(SubjectRow.subject).in_(subjects))
    )
    for subject, device, kind in events:
        if kind == "item_tagged":
            found.setdefault(subject.removeprefix("item:"), set()).add(device)
    replacing = session.exec(select(AliasRow.subject).where(col(AliasRow.subject).in_(subjects)))
    for subject in replacing:
        found.setdefault(subject.removeprefix("item:"), set()).add("")
    return {tag: frozenset(devices) for tag, devices in found.items()}


def size_of(size: PartSize | None) -> dict[str, object] | None:
    """Height, width and depth in cm as an event holds them; ``None`` without the first two.

    A diameter stands for whichever of height and width is not given: of a plate for both, of a
    vase for width and depth.
    """
    if size is None:
        return None
    across = size.width_m or size.length_m
    height, width = size.height_m or size.diameter_m, across or size.diameter_m
    round_upright = size.height_m is not None and across is None
    depth = size.depth_m or (size.diameter_m if round_upright else None)
    if height is None or width is None:
        return None
    named = {"height": height, "width": width, "depth": depth}
    return {
        name: {"value": _in_cm(value_m), "unit": "cm"}
        for name, value_m in named.items()
        if value_m is not None
    }


def _in_cm(value_m: Decimal) -> str:
    rounded = (value_m * 100).quantize(Decimal("0.000001")).normalize()
    return f"{rounded:f}"


def _measures_in_words(size: PartSize) -> str:
    return ", ".join(
        f"{name.removesuffix('_m')} {_in_cm(value_m)} cm" for name, value_m in size.measures.items()
    )
