"""One open installation: its database, its photos and its log, wired together."""

from collections.abc import Callable
from datetime import UTC, datetime

from sqlmodel import func, select

from service.changed_facts import facts_of
from service.facility.guards import facility_guard
from service.log.append import Log, utc_now
from service.settings import Settings
from service.storage.database import Database
from service.storage.photos import PhotoFacts, PhotoStore
from service.storage.tables import LogRow, PhotoRow
from shared.events import utc_text


class NeverBack:
    """A clock that never runs backwards, so that stepping it back makes no stale reading fresh."""

    def __init__(self, now: Callable[[], datetime], seen: datetime) -> None:
        """Follow ``now``, but never go below ``seen``, the latest moment on record."""
        self._now = now
        self._latest = seen

    def __call__(self) -> datetime:
        """The present moment, or the latest one ever given if that is later."""
        self._latest = max(self._latest, self._now())
        return self._latest


class Installation:
    """Everything a request or a command works with."""

    def __init__(self, settings: Settings, now: Callable[[], datetime] = utc_now) -> None:
        """Open the installation in ``settings.folder``, making it on first use.

        Raises ``FactsError`` for a file of changed facts that can't be used.
        """
        self.settings = settings
        self.facts = facts_of(settings.facts_changes)
        self.database = Database(settings.database)
        self.photos = PhotoStore(settings.photos)
        self.now = NeverBack(now, self._latest_on_record())
        self.log = Log(
            self.database, settings.signer(), guards=[facility_guard(self.facts)], now=self.now
        )

    def _latest_on_record(self) -> datetime:
        with self.database.read() as session:
            latest = session.exec(select(func.max(LogRow.received_at))).one()
        return datetime.fromisoformat(latest) if latest else datetime.min.replace(tzinfo=UTC)

    def keep_photo(self, digest: str, data: bytes) -> tuple[PhotoFacts, bool]:
        """Keep a photo; says what it is and whether it is new. ``PhotoError`` if refused."""
        photo = self.photos.put(digest, data)
        with self.database.write() as session:
            new = session.get(PhotoRow, digest) is None
            session.merge(
                PhotoRow(
                    sha256=photo.sha256,
                    size=photo.size,
                    media_type=photo.media_type,
                    width=photo.width,
                    height=photo.height,
                    received_at=utc_text(self.now()),
                )
            )
        return photo, new

    def has_photo(self, digest: str) -> bool:
        """Whether this photo has come in."""
        with self.database.read() as session:
            return session.get(PhotoRow, digest) is not None

    def close(self) -> None:
        """Let go of the database."""
        self.database.close()
