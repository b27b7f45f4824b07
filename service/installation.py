"""One open installation: its database, its photos and its log, wired together."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from time import monotonic

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
    """A clock that never runs backwards, so that stepping it back makes no stale reading fresh.

    Nor does it stand still while the system's clock is behind: it goes on at its own pace, so that
    a fresh reading grows stale when it should.
    """

    def __init__(
        self, now: Callable[[], datetime], seen: datetime, elapsed: Callable[[], float]
    ) -> None:
        """Follow ``now``, but never go below ``seen``, the latest moment on record.

        ``elapsed``: seconds since any one moment, by a clock that nobody can set.
        """
        self._now, self._elapsed = now, elapsed
        self._start = max(seen, now()) - timedelta(seconds=elapsed())

    def __call__(self) -> datetime:
        """The present moment, or what the latest one ever given has come to, if that is later."""
        passed = timedelta(seconds=self._elapsed())
        self._start = max(self._start, self._now() - passed)
        return self._start + passed


class Installation:
    """Everything a request or a command works with."""

    def __init__(self, settings: Settings, now: Callable[[], datetime] | None = None) -> None:
        """Open the installation in ``settings.folder``, making it on first use.

        Time is the system's, or ``now``, which alone moves it.
        Raises ``FactsError`` for a file of changed facts that can't be used.
        """
        self.settings = settings
        self.facts = facts_of(settings.facts_changes)
        self.database = Database(settings.database)
        self.photos = PhotoStore(settings.photos)
        self.now = NeverBack(
            now or utc_now, self._latest_on_record(), (lambda: 0.0) if now else monotonic
        )
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
