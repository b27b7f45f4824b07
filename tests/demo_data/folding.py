"""From events to records, as the service does it."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime

from shared import events as ev
from shared.records import Entry, Item, Record, fold


def entries_by_subject(events: Iterable[ev.Event], received_at: datetime) -> dict[str, list[Entry]]:
    """The log's entries under every record they change."""
    found: dict[str, list[Entry]] = defaultdict(list)
    for position, event in enumerate(events, start=1):
        body = ev.decode(event)
        assert body is not None, event.body
        entry = Entry(position, received_at, ev.event_digest(event), event, body)
        for subject in ev.subjects(body):
            kind, _, name = subject.partition(":")
            key = f"{kind}:{event.loss}" if (kind, name) == ("loss", "*") else subject
            found[key].append(entry)
    return found


def records(events: Iterable[ev.Event], received_at: datetime) -> dict[str, Record]:
    """Every record that exists, by subject."""
    folded = {
        subject: fold(subject, entries)
        for subject, entries in entries_by_subject(events, received_at).items()
    }
    return {subject: record for subject, record in folded.items() if record is not None}


def items(events: Iterable[ev.Event], received_at: datetime) -> dict[str, Item]:
    """Every piece by its first tag."""
    return {
        record.tag: record
        for record in records(events, received_at).values()
        if isinstance(record, Item)
    }
