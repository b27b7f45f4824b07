"""Appending to the log: once each, whole or not at all, sealed before the answer goes out.

The answer to every event is a receipt: stored, already stored, or refused with the reason. What
is refused is kept beside the log, so that nothing a person entered is lost.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from hashlib import sha256
from itertools import repeat

import structlog
from pydantic import BaseModel, ValidationError
from sqlalchemy import func, update
from sqlmodel import Session, col, select

from service.log import reading
from service.log.folding import SAMPLED, entry_of, keep_air, keep_sample, refold
from service.log.reading import MOST_NAMED
from service.storage.database import Database
from service.storage.tables import (
    AliasRow,
    CheckpointRow,
    HeardRow,
    LogRow,
    RecordRow,
    RefusedRow,
    SubjectRow,
    TreeRow,
)
from shared import events as ev
from shared import ledger
from shared.records import Phone
from shared.vocabulary import Role

FACILITY_TREE = "facility"
SERVICE_DEVICE = "service"
MAX_EVENT_BYTES = 262_144

logger = structlog.get_logger()


class Outcome(StrEnum):
    """What became of one event."""

    STORED = "stored"
    ALREADY_STORED = "already_stored"
    REFUSED = "refused"


class Receipt(BaseModel):
    """The answer to one event."""

    id: str
    outcome: Outcome
    digest: str
    why: str | None = None


class Receipts(BaseModel):
    """The answer to a batch, with the greatest clock the log has seen."""

    receipts: list[Receipt]
    clock: int


class RefusedError(ValueError):
    """The service's own event was refused; the message says why."""


@dataclass(frozen=True)
class Guard:
    """Judges some types of event before they are stored.

    Attributes:
        judges: the types of body it looks at.
        why_not: why an event must not be stored, or ``None``; called with the session, the event,
            its body and the present moment. The records it reads are up to date, with the events
            of the same batch that came before.
    """

    judges: tuple[type[BaseModel], ...]
    why_not: Callable[[Session, ev.Event, ev.Body, datetime], str | None]


def utc_now() -> datetime:
    """The present moment in UTC."""
    return datetime.now(UTC)


class Log:
    """The one way into the log."""

    def __init__(
        self,
        database: Database,
        signer: ledger.Signer,
        guards: Sequence[Guard] = (),
        now: Callable[[], datetime] = utc_now,
    ) -> None:
        """``signer`` seals every batch; ``guards`` may refuse an event; ``now`` is the clock."""
        self.database = database
        self.signer = signer
        self.guards = tuple(guards)
        self.now = now

    def origin(self, tree: str) -> str:
        """The name a tree's checkpoints carry."""
        return f"{self.signer.name}/{tree}"

    def append(self, raws: Sequence[object], signed_by: str | None = None) -> Receipts:
        """Store a batch of events as received (plain JSON objects), each at most once.

        With ``signed_by``, the phone whose key signed the batch: what names another device is
        refused, and so is all that is new when that phone was revoked.
        """
        with self.database.write() as session:
            batch = _Batch(self, session, self.now(), signed_by)
            if signed_by is not None:
                session.merge(HeardRow(phone=signed_by, at=ev.utc_text(batch.now)))
            return self._append(batch, raws)

    def say(self, body: BaseModel, *, actor: str, role: Role, loss: str | None = None) -> ev.Event:
        """Store an event of the service's own. ``RefusedError`` when a guard refuses it."""
        return self.say_all([body], actor=actor, role=role, loss=loss)[0]

    def say_all(
        self, bodies: Iterable[BaseModel], *, actor: str, role: Role, loss: str | None = None
    ) -> list[ev.Event]:
        """Store several events of the service's own, all or none."""
        with self.database.write() as session:
            return self.say_in(session, bodies, actor=actor, role=role, loss=loss)

    def say_in(
        self,
        session: Session,
        bodies: Iterable[BaseModel],
        *,
        actor: str,
        role: Role,
        loss: str | None = None,
        names: Iterable[str] | None = None,
    ) -> list[ev.Event]:
        """Store events of the service's own together with what else ``session`` writes.

        ``names``: the ids of the events, where they are known by something else than their number.
        """
        journal = self._own_journal(session)
        given: Iterable[str | None] = repeat(None) if names is None else names
        written = [
            journal.write(body, actor=actor, role=role, at=self.now(), loss=loss, name=name)
            for body, name in zip(bodies, given, strict=False)
        ]
        batch = _Batch(self, session, self.now(), SERVICE_DEVICE)
        answer = self._append(batch, [event.model_dump(mode="json") for event in written])
        refused = [receipt.why for receipt in answer.receipts if receipt.outcome is Outcome.REFUSED]
        if refused:
            raise RefusedError(refused[0])
        return written

    def _own_journal(self, session: Session) -> ev.Journal:
        last = session.exec(
            select(LogRow)
            .where(LogRow.device == SERVICE_DEVICE)
            .order_by(col(LogRow.sequence).desc())
            .limit(1)
        ).first()
        return ev.Journal(
            device=SERVICE_DEVICE,
            zone="UTC",
            sequence=last.sequence if last else 0,
            clock=greatest_clock(session),
            previous=last.digest if last else "",
        )

    def _append(self, batch: "_Batch", raws: Sequence[object]) -> Receipts:
        receipts = [batch.store(raw) for raw in raws]
        batch.finish()
        counts = {outcome.value: 0 for outcome in Outcome}
        for receipt in receipts:
            counts[receipt.outcome.value] += 1
        logger.info("events appended", **counts)
        return Receipts(receipts=receipts, clock=greatest_clock(batch.session))


class _Batch:
    """One batch being stored inside one transaction."""

    def __init__(self, log: Log, session: Session, now: datetime, author: str | None) -> None:
        """``author`` is the one device that is known to have written all of it, if it is known."""
        self.log = log
        self.session = session
        self.now = now
        self.author = author
        phone = reading.phone(session, author) if author is not None else None
        self.revoked = revoked_words(phone) if phone and phone.revoked_at else None
        self.changed: dict[str, None] = {}
        self.trees: dict[str, ledger.CompactRange] = {}

    def store(self, raw: object) -> Receipt:
        """Store one event, or say why not."""
        event_id = str(raw.get("id", "")) if isinstance(raw, dict) else ""
        try:
            data = ledger.canonical_bytes(raw)
        except ledger.CanonicalError as error:
            data = json.dumps(raw, default=str).encode("utf-8", "backslashreplace")
            return self._refuse(event_id, data, f"not plain JSON: {error}")
        if len(data) > MAX_EVENT_BYTES:
            why = f"an event of {len(data)} bytes; at most {MAX_EVENT_BYTES} are taken"
            return self._refuse(event_id, data, why)
        try:
            event = ev.Event.model_validate(raw)
            body = ev.decode(event)
        except ValidationError as error:
            return self._refuse(event_id, data, ev.describe(error))
        except ev.EventError as error:
            return self._refuse(event_id, data, str(error))

        digest = sha256(data).hexdigest()
        not_its_own = self._not_its_own(event, body)
        if not_its_own is not None:
            return self._refuse(event.id, data, not_its_own)
        known = self._stored(event)
        if known is not None and known.digest == digest:
            return Receipt(id=event.id, outcome=Outcome.ALREADY_STORED, digest=digest)
        why_not = self.revoked or self._clash(event, known) or self._guarded(event, body)
        if why_not is not None:
            return self._refuse(event.id, data, why_not)
        self._insert(event, body, data)
        note = None if body is not None else "stored, but this version does not know its type"
        return Receipt(id=event.id, outcome=Outcome.STORED, digest=digest, why=note)

    def finish(self) -> None:
        """Bring the records up to date and sign the new state of every tree that grew."""
        self._refold_changed()
        for tree, grown in self.trees.items():
            self.session.merge(TreeRow(tree=tree, size=grown.size, peaks=b"".join(grown.peaks)))
            checkpoint = ledger.Checkpoint(self.log.origin(tree), grown.size, grown.root())
            self.session.add(
                CheckpointRow(
                    tree=tree,
                    size=grown.size,
                    note=ledger.sign_checkpoint(checkpoint, [self.log.signer]),
                    made_at=ev.utc_text(self.now),
                )
            )

    def _stored(self, event: ev.Event) -> LogRow | None:
        """The stored event with the same id, or the same number from the same device."""
        return self.session.exec(
            select(LogRow).where(
                (LogRow.id == event.id)
                | ((LogRow.device == event.device) & (LogRow.sequence == event.sequence))
            )
        ).first()

    def _not_its_own(self, event: ev.Event, body: ev.Body | None) -> str | None:
        """Why this is not for its sender to say."""
        if self.author is not None and event.device != self.author:
            return (
                f"it names the device {event.device}, but {self.author} signed for it; each phone "
                "sends only what it wrote itself"
            )
        if self.author != SERVICE_DEVICE and (
            event.device == SERVICE_DEVICE or isinstance(body, ev.PhoneEnrolled | ev.PhoneRevoked)
        ):
            return "only the service itself says this; phones are enrolled on the office's pages"
        return None

    def _clash(self, event: ev.Event, known: LogRow | None) -> str | None:
        if known is None:
            return None
        if known.id == event.id:
            return "another event is stored under this id; both are kept for a person to compare"
        return f"device {event.device} already wrote another event as number {event.sequence}"

    def _guarded(self, event: ev.Event, body: ev.Body | None) -> str | None:
        if body is None:
            return None
        for guard in self.log.guards:
            if not isinstance(body, guard.judges):
                continue
            # What came before in this batch counts: a dose, a phase, a piece already loaded.
            self._refold_changed()
            why_not = guard.why_not(self.session, event, body, self.now)
            if why_not is not None:
                return why_not
        return None

    def _refold_changed(self) -> None:
        for subject in self.changed:
            refold(self.session, subject)
        self.changed.clear()

    def _insert(self, event: ev.Event, body: ev.Body | None, data: bytes) -> None:
        tree = event.loss or FACILITY_TREE
        grown = self.trees.get(tree) or _grown(self.session, tree)
        received_at = ev.utc_text(self.now)
        row = LogRow(
            id=event.id,
            device=event.device,
            sequence=event.sequence,
            clock=event.clock,
            tree=tree,
            leaf=grown.size,
            type=str(event.body.get("type", "")),
            digest=sha256(data).hexdigest(),
            data=data,
            received_at=received_at,
        )
        self.session.add(row)
        self.session.flush()
        self.trees[tree] = grown.append(ledger.leaf_hash(leaf_bytes(data, received_at)))
        if body is None:
            return
        if isinstance(body, SAMPLED):
            keep_sample(self.session, entry_of(row))
        if isinstance(body, ev.AirRead):
            keep_air(self.session, entry_of(row))
        if isinstance(body, ev.TagReplaced):
            _stand_in(self.session, f"item:{body.new_tag}", f"item:{body.tag}")
        named = (subject.replace("*", event.loss or "") for subject in ev.subjects(body))
        subjects = {_resolved(self.session, subject) for subject in named}
        for subject in sorted(subjects):
            self.session.add(SubjectRow(subject=subject, position=row.position or 0))
            if not isinstance(body, SAMPLED):
                self.changed[subject] = None
        for subject, position in _unnamed_receipts(self.session, event, body, row.position or 0):
            self.session.merge(SubjectRow(subject=subject, position=position))
            self.changed[subject] = None
        self.session.flush()

    def _refuse(self, event_id: str, data: bytes, reason: str) -> Receipt:
        digest = sha256(data).hexdigest()
        self.session.merge(
            RefusedRow(
                digest=digest,
                event=event_id,
                data=data,
                reason=reason,
                received_at=ev.utc_text(self.now),
            )
        )
        return Receipt(id=event_id, outcome=Outcome.REFUSED, digest=digest, why=reason)


def leaf_bytes(data: bytes, received_at: str) -> bytes:
    """What a tree's leaf is made of: the event's exact bytes and when the service had it."""
    return ledger.canonical_bytes({"event": json.loads(data), "received_at": received_at})


def revoked_words(phone: Phone) -> str:
    """That a phone was revoked, when and why, and what to do with what it holds."""
    when = (phone.revoked_at or "")[:16].replace("T", " ")
    return (
        f"this phone was revoked on {when} UTC by {phone.revoked_by}: {phone.revoked_because}. "
        "Nothing is lost: save what waits to a file and take it to the office"
    )


def greatest_clock(session: Session) -> int:
    """The greatest clock in the log, 0 when it is empty."""
    return session.exec(select(func.max(LogRow.clock))).one() or 0


def _grown(session: Session, tree: str) -> ledger.CompactRange:
    row = session.get(TreeRow, tree)
    if row is None:
        return ledger.CompactRange()
    step = ledger.HASH_BYTES
    peaks = tuple(row.peaks[at : at + step] for at in range(0, len(row.peaks), step))
    return ledger.CompactRange(row.size, peaks)


def _unnamed_receipts(
    session: Session, event: ev.Event, body: ev.Body, position: int
) -> list[tuple[str, int]]:
    """Manifests, each with the position of a receipt that names none but is of a listed piece.

    A phone that has not seen the list receives without it. Its receipts count for the list all
    the same, whichever of the two reaches the service first; but not for a list that the same
    device closed after it had received the piece: that is another journey. A piece that was given
    a new tag in between is the same piece, whenever the service hears of that.
    """
    match body:
        case ev.ItemReceived(manifest=None):
            return [
                (f"manifest:{closed.manifest}", position)
                for row, closed in _told_of(session, [body.tag], "manifest_closed")
                if isinstance(closed, ev.ManifestClosed)
                and (row.device != event.device or row.sequence < event.sequence)
            ]
        case ev.ManifestClosed():
            return [
                (f"manifest:{body.manifest}", row.position or 0)
                for row, receipt in _told_of(session, body.tags, "item_received")
                if isinstance(receipt, ev.ItemReceived)
                and receipt.manifest is None
                and (row.device != event.device or row.sequence > event.sequence)
            ]
        case ev.TagReplaced():
            receipts = list(_told_of(session, [body.new_tag], "item_received"))
            return [
                (f"manifest:{closed.manifest}", row.position or 0)
                for listing, closed in _told_of(session, [body.new_tag], "manifest_closed")
                if isinstance(closed, ev.ManifestClosed)
                for row, receipt in receipts
                if isinstance(receipt, ev.ItemReceived)
                and receipt.manifest is None
                and (row.device != listing.device or row.sequence > listing.sequence)
            ]
        case _:
            return []


def _told_of(
    session: Session, tags: Sequence[str], kind: str
) -> Iterator[tuple[LogRow, ev.Body | None]]:
    """What was told of these pieces by events of type ``kind``, each with its row."""
    for at in range(0, len(tags), MOST_NAMED):
        named = [_resolved(session, f"item:{tag}") for tag in tags[at : at + MOST_NAMED]]
        rows = session.exec(
            select(LogRow)
            .join(SubjectRow, col(SubjectRow.position) == col(LogRow.position))
            .where(LogRow.type == kind, col(SubjectRow.subject).in_(named))
            .distinct()
        )
        for row in rows:
            yield row, ev.decode(ev.Event.model_validate_json(row.data))


def _resolved(session: Session, subject: str) -> str:
    """The record a subject stands for, through any replaced tags."""
    row = session.get(AliasRow, subject)
    return row.stands_for if row else subject


def _stand_in(session: Session, new: str, old: str) -> None:
    """From here on ``new`` means the piece that ``old`` means; earlier mentions move over."""
    target = _resolved(session, old)
    if new == target or session.get(AliasRow, new) is not None:
        return
    session.add(AliasRow(subject=new, stands_for=target))
    session.flush()
    session.exec(update(AliasRow).where(col(AliasRow.stands_for) == new).values(stands_for=target))
    already = select(SubjectRow.position).where(SubjectRow.subject == target)
    session.exec(
        update(SubjectRow)
        .where(col(SubjectRow.subject) == new, col(SubjectRow.position).not_in(already))
        .values(subject=target)
    )
    stale = session.get(RecordRow, new)
    if stale is not None:
        session.delete(stale)
