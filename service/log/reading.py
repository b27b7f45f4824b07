"""Reading records: one place for every query, and every query takes the reader's scope."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from sqlalchemy.sql.elements import ColumnElement
from sqlmodel import Session, col, func, select

from service.log.folding import facility_book
from service.storage.tables import AliasRow, CheckpointRow, LogRow, PhotoRow, RecordRow, RefusedRow
from shared.records import FacilityBook, Item, Loss, Manifest, Record, Run

R = TypeVar("R", bound=Record)


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
    session: Session, scope: Scope, kind: type[R], *conditions: ColumnElement[bool]
) -> list[R]:
    rows = session.exec(
        select(RecordRow)
        .where(RecordRow.kind == kind.__name__.lower(), *conditions, *scope.conditions())
        .order_by(RecordRow.subject)
    )
    return [kind.model_validate_json(row.data) for row in rows]


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


def parts_of(session: Session, scope: Scope, tag: str) -> list[Item]:
    """The separately tagged parts of a piece."""
    return _all(session, scope, Item, col(RecordRow.parent) == tag)


def manifests(session: Session, scope: Scope) -> list[Manifest]:
    """Every manifest within ``scope``."""
    return _all(session, scope, Manifest)


def manifest(session: Session, scope: Scope, manifest_id: str) -> Manifest | None:
    """The manifest, if it is within ``scope``."""
    return _one(session, scope, f"manifest:{manifest_id}", Manifest)


def runs(session: Session) -> list[Run]:
    """Every chamber run, for those who work the facility."""
    return _all(session, EVERYTHING, Run)


def run(session: Session, run_id: str) -> Run | None:
    """The chamber run."""
    return _one(session, EVERYTHING, f"run:{run_id}", Run)


def facility(session: Session) -> FacilityBook:
    """The facility as last described."""
    return facility_book(session)


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
    wanted = list(dict.fromkeys(digests))
    found: dict[str, PhotoRow] = {}
    for at in range(0, len(wanted), 500):
        chunk = wanted[at : at + 500]
        rows = session.exec(select(PhotoRow).where(col(PhotoRow.sha256).in_(chunk)))
        found.update({row.sha256: row for row in rows})
    return found


def refused(session: Session) -> list[RefusedRow]:
    """Every refused event, newest first."""
    return list(session.exec(select(RefusedRow).order_by(col(RefusedRow.received_at).desc())))


def tree_rows(session: Session, tree: str) -> Sequence[LogRow]:
    """Every event of a tree, in tree order."""
    return session.exec(select(LogRow).where(LogRow.tree == tree).order_by(col(LogRow.leaf))).all()


def checkpoints(session: Session, tree: str) -> Sequence[CheckpointRow]:
    """Every checkpoint of a tree, oldest first."""
    return session.exec(
        select(CheckpointRow).where(CheckpointRow.tree == tree).order_by(col(CheckpointRow.size))
    ).all()
