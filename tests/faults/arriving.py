"""What the service has of what a phone wrote, and waiting until the phone has its receipts."""

from collections.abc import Collection, Mapping
from hashlib import sha256

from playwright.sync_api import Page
from sqlmodel import select

from service.installation import Installation
from service.storage.tables import LogRow
from tests.faults.phone import waiting_on

TRIES = 2000


def logged(here: Installation, device: str) -> dict[str, str]:
    """Digest of every event in the log that ``device`` wrote, by id."""
    with here.database.read() as session:
        rows = session.exec(select(LogRow).where(LogRow.device == device)).all()
    assert len({row.id for row in rows}) == len(rows)
    return {row.id: row.digest for row in rows}


def assert_arrived(
    here: Installation, device: str, digests: Mapping[str, str], photos: Collection[bytes]
) -> None:
    """The log has what the phone wrote and no more of it, and every photo byte by byte."""
    found = logged(here, device)
    assert found == dict(digests)
    for data in photos:
        digest = sha256(data).hexdigest()
        assert here.photos.get(digest) == data


def send_until_empty(page: Page, pause_ms: int = 60) -> None:
    """Give the phone a sign of a network every ``pause_ms`` until nothing waits."""
    for _ in range(TRIES):
        if waiting_on(page) == 0:
            return
        page.evaluate("() => { dispatchEvent(new Event('online')) }")
        page.wait_for_timeout(pause_ms)
    raise AssertionError(f"{waiting_on(page)} things still wait")
