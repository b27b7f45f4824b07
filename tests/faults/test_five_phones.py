"""A crew of five comes back into a network after a day without, and sends it all at once."""

import time
from contextlib import ExitStack

from playwright.sync_api import Browser

from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from tests.browser.watching import PHONE, open_context
from tests.faults.arriving import assert_arrived, send_until_empty
from tests.faults.phone import give_work, kept_by, open_phone, pictures

PHONES, PIECES = 5, 40


def test_five_phones_with_all_their_pieces_are_stored_once(
    chromium: Browser, address: str, here: Installation
) -> None:
    send_all(chromium, address, here, PIECES)


def send_all(chromium: Browser, address: str, here: Installation, pieces: int) -> float:
    """Each phone sends ``pieces`` with a photo at once, and all is there once; the seconds taken.

    ``python -m tests.benchmarks.five_phones`` does it with as many as a day's work has.
    """
    drawn = pictures()
    shots = [[next(drawn) for _ in range(pieces)] for _ in range(PHONES)]
    with ExitStack() as open_phones:
        pages = [
            open_phone(open_phones.enter_context(open_context(chromium, PHONE, address)))
            for _ in range(PHONES)
        ]
        written = [give_work(page, photos) for page, photos in zip(pages, shots, strict=True)]
        started = time.perf_counter()
        for page in pages:
            page.reload(wait_until="commit")
        for page in pages:
            send_until_empty(page, pause_ms=500)
        took = time.perf_counter() - started
        devices = [(kept_by(page).journal or {})["device"] for page in pages]
    assert len(set(devices)) == PHONES
    for device, digests, photos in zip(devices, written, shots, strict=True):
        assert len(digests) == 2 * pieces
        assert_arrived(here, device, digests, photos)
    with here.database.read() as session:
        items = reading.items(session, EVERYTHING)
        assert reading.refused(session) == []
    assert len(items) == PHONES * pieces
    assert all(len(item.photos) == 1 for item in items)
    return took
