"""Reading records: one place for every query, and every query takes the reader's scope."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from sqlalchemy.orm import Mapped
from sqlalchemy.sql.elements import ColumnElement
from sqlmodel import Session, col, func, select

from service.log.folding import SAMPLE_KINDS, facility_book
from service.storage.tables import (
    AirRow,
    AliasRow,
    CheckpointRow,
    HeardRow,
    LogRow,
    PhotoRow,
    RecordRow,
    RefusedRow,
    SampleRow,
    SubjectRow,
)
from shared import events as ev
from shared.records import (
    AirReading,
    FacilityBook,
    Item,
    Loss,
    Manifest,
    Phone,
    Record,
    Run,
    RunSheet,
    Sensor,
)

R = TypeVar("R", bound=Record)

MOST_NAMED = 500
"""Values named in one statement; SQLite allows no more than some hundreds to thousands."""


@dataclass(frozen=True)
class Scope:
    """What a reader may see.

    Attributes:
        losses: the losses, or ``None`` for all.
        claims: within those, the claims, or ``None`` for all.
    """

    losses: frozenset[str] | None = None
    claims: frozenset[str] | None = None

    def conditions(self) -> list[ColumnElement[bool]]:
        """The conditions every query of records carries."""
        found: list[ColumnElement[bool]] = []
        if self.losses is not None:
            found.append(col(RecordRow.loss).in_(self.losses))
        if self.claims is not None:
            found.append((col(RecordRow.kind) != "item") | col(RecordRow.claim).in_(self.claims))
        return found


EVERYTHING = Scope()


def within(loss: str | None) -> Scope:
    """The scope of one loss; of nothing when there is none."""
    return Scope(losses=frozenset({loss} if loss is not None else ()))


@dataclass(frozen=True)
class ItemFilter:
    """Which pieces a list shows."""

    loss: str | None = None
    station: str | None = None
    words: str = ""
    only_conflicts: bool = False
    with_parts: bool = True


def _one(session: Session, scope: Scope, subject: str, kind: type[R]) -> R | None:
    row = session.exec(
        select(RecordRow).where(RecordRow.subject == subject, *scope.conditions())
    ).first()
    return kind.model_validate_json(row.data) if row else None


def _all(
    session: Session,
    scope: Scope,
    model: type[R],
    *conditions: ColumnElement[bool],
    kind: str | None = None,
) -> list[R]:
    rows = session.exec(
        select(RecordRow)
        .where(RecordRow.kind == (kind or model.__name__.lower()), *conditions, *scope.conditions())
        .order_by(RecordRow.subject)
    )
    return [model.model_validate_json(row.data) for row in rows]


def loss(session: Session, scope: Scope, loss_id: str) -> Loss | None:
    """The loss, if it is within ``scope``."""
    return _one(session, scope, f"loss:{loss_id}", Loss)


def losses(session: Session, scope: Scope) -> list[Loss]:
    """Every loss within ``scope``."""
    return _all(session, scope, Loss)


def item(session: Session, scope: Scope, tag: str) -> Item | None:
    """The piece that carries ``tag`` or once carried it, if it is within ``scope``."""
    alias = session.get(AliasRow, f"item:{tag}")
    return _one(session, scope, alias.stands_for if alias else f"item:{tag}", Item)


def items(session: Session, scope: Scope, wanted: ItemFilter = ItemFilter()) -> list[Item]:
    """The pieces within ``scope`` that ``wanted`` picks, by tag."""
    conditions: list[ColumnElement[bool]] = []
    if wanted.loss is not None:
        conditions.append(col(RecordRow.loss) == wanted.loss)
    if wanted.station is not None:
        conditions.append(col(RecordRow.station) == wanted.station)
    if wanted.only_conflicts:
        conditions.append(col(RecordRow.conflicts) > 0)
    if not wanted.with_parts:
        conditions.append(col(RecordRow.parent).is_(None))
    for word in wanted.words.casefold().split():
        conditions.append(col(RecordRow.search).contains(word, autoescape=True))
    return _all(session, scope, Item, *conditions)


@dataclass(frozen=True)
class ItemText:
    """A piece's record as it is kept, unread."""

    subject: str
    loss: str | None
    data: str


def item_texts(session: Session) -> list[ItemText]:
    """Every piece's record as it is kept, for those who work the facility and read few of them."""
    rows = session.exec(
        select(RecordRow.subject, RecordRow.loss, RecordRow.data)
        .where(RecordRow.kind == "item")
        .order_by(RecordRow.subject)
    )
    return [ItemText(*row) for row in rows]


def items_by_tag(session: Session, scope: Scope, tags: Iterable[str]) -> dict[str, Item]:
    """The pieces that carry these tags, or once did, within ``scope``; by the tag asked for.

    In the order asked; a tag that nothing carries is left out.
    """
    asked = list(dict.fromkeys(tags))
    first = first_tags(session, asked)
    subjects = {tag: f"item:{first.get(tag, tag)}" for tag in asked}
    found: dict[str, Item] = {}
    for part in _portions(list(dict.fromkeys(subjects.values()))):
        rows = session.exec(
            select(RecordRow).where(col(RecordRow.subject).in_(part), *scope.conditions())
        )
        found |= {row.subject: Item.model_validate_json(row.data) for row in rows}
    return {tag: found[subjects[tag]] for tag in asked if subjects[tag] in found}


def first_tags(session: Session, tags: Iterable[str]) -> dict[str, str]:
    """For those of ``tags`` that replaced another: the tag that the piece was first given."""
    return _replaced(session, col(AliasRow.subject), tags)


def replacements(session: Session, tags: Iterable[str]) -> dict[str, str]:
    """Every tag that replaced one of the first tags ``tags``, with that first tag."""
    return _replaced(session, col(AliasRow.stands_for), tags)


def _replaced(session: Session, named: Mapped[str], tags: Iterable[str]) -> dict[str, str]:
    """Replacement tags, each with the first, whose column ``named`` is one of ``tags``."""
    found: dict[str, str] = {}
    for part in _portions([f"item:{tag}" for tag in dict.fromkeys(tags)]):
        rows = session.exec(select(AliasRow).where(named.in_(part)))
        found |= {_tag_in(row.subject): _tag_in(row.stands_for) for row in rows}
    return found


def _tag_in(subject: str) -> str:
    return subject.removeprefix("item:")


def _portions(values: list[str]) -> Iterator[list[str]]:
    """As many values at a time as one statement may name."""
    for at in range(0, len(values), MOST_NAMED):
        yield values[at : at + MOST_NAMED]


def parts_of(session: Session, scope: Scope, tag: str) -> list[Item]:
    """The separately tagged parts of a piece."""
    return _all(session, scope, Item, col(RecordRow.parent) == tag)


def manifests(session: Session, scope: Scope) -> list[Manifest]:
    """Every manifest within ``scope``, each piece under the tag it was first given.

    A piece that was given a new tag between the list and its receipt is one piece, come and not
    missing; the log keeps which tag was listed and which was scanned.
    """
    return _by_first_tags(session, _all(session, scope, Manifest))


def manifest(session: Session, scope: Scope, manifest_id: str) -> Manifest | None:
    """The manifest, if it is within ``scope``; its pieces as :func:`manifests` names them."""
    found = _one(session, scope, f"manifest:{manifest_id}", Manifest)
    return _by_first_tags(session, [found])[0] if found else None


def _by_first_tags(session: Session, found: list[Manifest]) -> list[Manifest]:
    first = first_tags(session, (tag for one in found for tag in (*one.tags, *one.received)))
    if first:
        for one in found:
            for told in one.told:
                told.tags = [first.get(tag, tag) for tag in told.tags]
            one.tags = list(dict.fromkeys(first.get(tag, tag) for tag in one.tags))
            one.received = list(dict.fromkeys(first.get(tag, tag) for tag in one.received))
    return found


def runs(session: Session, station: str | None = None) -> list[RunSheet]:
    """Every chamber run, or those of one chamber, for those who work the facility."""
    conditions = [] if station is None else [col(RecordRow.station) == station]
    return _all(session, EVERYTHING, RunSheet, *conditions, kind="run")


def run_sheet(session: Session, run_id: str) -> RunSheet | None:
    """The chamber run without what was measured, for whoever has no need of that."""
    return _one(session, EVERYTHING, f"run:{run_id}", RunSheet)


def run(session: Session, run_id: str) -> Run | None:
    """The chamber run with all that was measured in it."""
    sheet = run_sheet(session, run_id)
    if sheet is None:
        return None
    rows = session.exec(
        select(SampleRow.kind, SampleRow.data)
        .join(LogRow, col(LogRow.position) == col(SampleRow.position))
        .where(SampleRow.run == run_id)
        .order_by(col(LogRow.clock), col(LogRow.device), col(LogRow.sequence))
    )
    samples: dict[str, list[str]] = {kind: [] for kind in SAMPLE_KINDS.values()}
    for kind, data in rows:
        samples[kind].append(data)
    # Read as one document: thousands of small ones would take several times as long.
    measured = ",".join(f'"{kind}":[{",".join(said)}]' for kind, said in samples.items())
    return Run.model_validate_json(f"{sheet.model_dump_json()[:-1]},{measured}}}")


def air_of_station(session: Session, station: str, since: str, until: str) -> list[AirReading]:
    """What was read of a place's air from ``since`` until before ``until``, as UTC text.

    In the order in which the readings came in, for that order says which came late.
    """
    rows = session.exec(
        select(AirRow.data)
        .where(AirRow.station == station, AirRow.taken_at >= since, AirRow.taken_at < until)
        .order_by(col(AirRow.position))
    )
    return [AirReading.model_validate_json(data) for data in rows]


def sensors(session: Session) -> list[Sensor]:
    """Every sensor that was made known."""
    return _all(session, EVERYTHING, Sensor)


def sensors_named(session: Session, names: Iterable[str]) -> dict[str, Sensor]:
    """Those of these sensors that were made known, by name."""
    found: dict[str, Sensor] = {}
    for part in _portions([f"sensor:{name}" for name in dict.fromkeys(names)]):
        for one in _all(session, EVERYTHING, Sensor, col(RecordRow.subject).in_(part)):
            found[one.sensor] = one
    return found


def sensor(session: Session, sensor_id: str) -> Sensor | None:
    """The sensor of that name."""
    return _one(session, EVERYTHING, f"sensor:{sensor_id}", Sensor)


def phones(session: Session) -> list[Phone]:
    """Every phone that was ever enrolled, for the office that enrols and revokes them."""
    return _all(session, EVERYTHING, Phone)


def phone(session: Session, device: str) -> Phone | None:
    """The phone that writes as ``device``."""
    return _one(session, EVERYTHING, f"phone:{device}", Phone)


def events_stored(session: Session) -> dict[str, int]:
    """How many events of each device are in the log."""
    counted = select(LogRow.device, func.count()).group_by(LogRow.device)
    return dict(session.exec(counted).all())


def last_heard(session: Session) -> dict[str, str]:
    """When each phone last sent events, as UTC text."""
    return {row.phone: row.at for row in session.exec(select(HeardRow))}


def facility(session: Session) -> FacilityBook:
    """The facility as last described."""
    return facility_book(session)


def descriptions(session: Session) -> list[tuple[ev.Event, ev.FacilityDescribed]]:
    """Every description of the facility, oldest first, with the event that it came in."""
    rows = session.exec(
        select(LogRow)
        .where(LogRow.type == "facility_described")
        .order_by(col(LogRow.clock), col(LogRow.device), col(LogRow.sequence))
    )
    events = [ev.Event.model_validate_json(row.data) for row in rows]
    decoded = [(event, ev.decode(event)) for event in events]
    return [(event, body) for event, body in decoded if isinstance(body, ev.FacilityDescribed)]


def counts_by_station(session: Session, scope: Scope) -> dict[str, int]:
    """How many pieces are at each station."""
    rows = session.exec(
        select(RecordRow.station, func.count())
        .where(RecordRow.kind == "item", col(RecordRow.station).is_not(None), *scope.conditions())
        .group_by(col(RecordRow.station))
    )
    return {str(station): count for station, count in rows}


def photos_held(session: Session, digests: Iterable[str]) -> dict[str, PhotoRow]:
    """Which of these photos have arrived."""
    found: dict[str, PhotoRow] = {}
    for part in _portions(list(dict.fromkeys(digests))):
        rows = session.exec(select(PhotoRow).where(col(PhotoRow.sha256).in_(part)))
        found.update({row.sha256: row for row in rows})
    return found


def refused(session: Session) -> list[RefusedRow]:
    """Every refused event, newest first."""
    return list(session.exec(select(RefusedRow).order_by(col(RefusedRow.received_at).desc())))


def tree_rows(session: Session, tree: str) -> Sequence[LogRow]:
    """Every event of a tree, in tree order."""
    return session.exec(select(LogRow).where(LogRow.tree == tree).order_by(col(LogRow.leaf))).all()


def leaves_about(session: Session, tree: str, subjects: Iterable[str]) -> set[int]:
    """Where in a tree the events stand that change any of these records."""
    found: set[int] = set()
    for part in _portions(list(dict.fromkeys(subjects))):
        found.update(
            session.exec(
                select(LogRow.leaf)
                .join(SubjectRow, col(SubjectRow.position) == col(LogRow.position))
                .where(LogRow.tree == tree, col(SubjectRow.subject).in_(part))
            )
        )
    return found


def checkpoints(session: Session, tree: str) -> Sequence[CheckpointRow]:
    """Every checkpoint of a tree, oldest first."""
    return session.exec(
        select(CheckpointRow).where(CheckpointRow.tree == tree).order_by(col(CheckpointRow.size))
    ).all()
