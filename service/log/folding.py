"""Keeping the folded records beside the log, one subject at a time."""

from datetime import datetime

from sqlmodel import Session, col, select

from service.storage.tables import LogRow, RecordRow, SubjectRow
from shared import events as ev
from shared.records import Entry, FacilityBook, Item, Loss, Manifest, Run, fold

FACILITY = "facility:"


def entries_of(session: Session, subject: str) -> list[Entry]:
    """Every stored event that changes ``subject``."""
    rows = session.exec(
        select(LogRow)
        .join(SubjectRow, col(SubjectRow.position) == col(LogRow.position))
        .where(SubjectRow.subject == subject)
    )
    return [entry_of(row) for row in rows]


def entry_of(row: LogRow) -> Entry:
    """A stored row as the folds read it."""
    event = ev.Event.model_validate_json(row.data)
    return Entry(
        position=row.position or 0,
        received_at=datetime.fromisoformat(row.received_at),
        digest=row.digest,
        event=event,
        body=ev.decode(event),
    )


def refold(session: Session, subject: str) -> None:
    """Fold ``subject`` anew and keep the result."""
    record = fold(subject, entries_of(session, subject))
    if record is None:
        return
    row = RecordRow(subject=subject, kind=subject.partition(":")[0], data=record.model_dump_json())
    match record:
        case Item():
            row.loss, row.claim, row.parent = record.loss, record.claim, record.parent
            row.station, row.conflicts = record.station, len(record.conflicts)
            row.search = " ".join(
                [*record.tags, record.title, record.maker, str(record.found)]
            ).casefold()
        case Loss():
            row.loss, row.search = record.loss, f"{record.title} {record.site}".casefold()
        case Manifest():
            row.loss = record.loss
        case Run():
            row.station = record.station
        case _:
            pass
    session.merge(row)


def facility_book(session: Session) -> FacilityBook:
    """The facility's record; an empty one before the first description."""
    row = session.get(RecordRow, FACILITY)
    return FacilityBook.model_validate_json(row.data) if row else FacilityBook()
