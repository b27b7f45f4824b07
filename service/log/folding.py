"""Keeping the folded records beside the log, one subject at a time."""

from datetime import datetime

from sqlmodel import Session, col, select

from service.storage.tables import AirRow, LogRow, RecordRow, SampleRow, SubjectRow
from shared import events as ev
from shared.records import (
    ClimateReading,
    Entry,
    FacilityBook,
    GasReading,
    Item,
    Loss,
    Manifest,
    OxygenReading,
    Run,
    RunSheet,
    Sample,
    air_of,
    fold,
    sample_of,
)

FACILITY = "facility:"
SAMPLED = (ev.GasRead, ev.ClimateRead, ev.OxygenRead)
"""Readings, which are kept one by one beside the record of their run."""

SAMPLE_KINDS: dict[type[Sample], str] = {
    GasReading: "gas",
    ClimateReading: "climate",
    OxygenReading: "oxygen",
}
_SAMPLE_TYPES = [one.model_fields["type"].default for one in SAMPLED]


def entries_of(session: Session, subject: str) -> list[Entry]:
    """Every stored event that changes ``subject``, but for the readings of a run."""
    rows = session.exec(
        select(LogRow)
        .join(SubjectRow, col(SubjectRow.position) == col(LogRow.position))
        .where(SubjectRow.subject == subject, col(LogRow.type).not_in(_SAMPLE_TYPES))
    )
    return [entry_of(row) for row in rows]


def keep_sample(session: Session, entry: Entry) -> None:
    """Keep a reading beside its run's record. ``TypeError`` for an event of another type."""
    if not isinstance(entry.body, SAMPLED):
        raise TypeError(f"{entry.event.id} is no reading")
    sample = sample_of(entry, entry.body)
    session.add(
        SampleRow(
            position=entry.position,
            run=entry.body.run,
            kind=SAMPLE_KINDS[type(sample)],
            data=sample.model_dump_json(),
        )
    )


def keep_air(session: Session, entry: Entry) -> None:
    """Keep a reading in the log of its place. ``TypeError`` for an event of another type."""
    if not isinstance(entry.body, ev.AirRead):
        raise TypeError(f"{entry.event.id} is no reading of a place's air")
    kept = air_of(entry, entry.body)
    session.add(
        AirRow(
            position=entry.position,
            station=entry.body.station,
            taken_at=ev.utc_text(entry.body.taken_at),
            data=kept.model_dump_json(),
        )
    )


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
    if isinstance(record, Run):
        record = record.sheet()
    row = RecordRow(subject=subject, kind=subject.partition(":")[0], data=record.model_dump_json())
    match record:
        case Item():
            row.loss, row.claim, row.parent = record.loss, record.claim, record.parent
            row.station, row.conflicts = record.station, len(record.conflicts)
            row.search = " ".join(
                [
                    *record.tags,
                    record.title,
                    record.maker,
                    str(record.found),
                    record.container or "",
                ]
            ).casefold()
        case Loss():
            row.loss, row.search = record.loss, f"{record.title} {record.site}".casefold()
        case Manifest():
            row.loss = record.loss
        case RunSheet():
            row.station = record.station
        case _:
            pass
    session.merge(row)


def facility_book(session: Session) -> FacilityBook:
    """The facility's record; an empty one before the first description."""
    row = session.get(RecordRow, FACILITY)
    return FacilityBook.model_validate_json(row.data) if row else FacilityBook()
