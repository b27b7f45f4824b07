"""The tab is killed while a piece is being saved: the piece is wholly there or wholly not."""

import json
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from labels.codes import new_tag
from service.installation import Installation
from shared.vocabulary import Damage, Extent, Material, ObjectType
from tests.faults.arriving import assert_arrived, send_until_empty
from tests.faults.phone import (
    LOSS,
    SAVED,
    assert_unbroken,
    digest_of,
    kept_by,
    open_phone,
    pictures,
    sha_of,
    write_into,
)

SAVE_STEP = f"/crew/#/{LOSS}/step/place"

HANG_AT_WRITE = """(turn) => {
  let left = turn;
  for (const name of ["add", "put"]) {
    const write = IDBObjectStore.prototype[name];
    IDBObjectStore.prototype[name] = function (...given) {
      const asked = write.apply(this, given);
      const saving = this.transaction.objectStoreNames.contains("outbox");
      if (saving && (left -= 1) === 0) for (;;);
      return asked;
    };
  }
}"""
"""Stops the page for good inside the transaction that saves a piece, after so many writes."""


def piece_in_hand(tag: str, photo: bytes) -> dict[str, Any]:
    """A piece with all its steps done, as the app keeps it until it is saved."""
    return {
        "loss": LOSS,
        "tag": tag,
        "parent": None,
        "role": None,
        "photos": [sha_of(photo)],
        "objectType": ObjectType.PAINTING.value,
        "materials": [Material.OIL_CANVAS.value],
        "quantity": 1,
        "damages": {Damage.SOAKED.value: Extent.WIDE.value},
        "wetSince": {"kind": "site"},
        "found": {"floor": "first floor", "room": "music room", "wall": ""},
    }


def at_the_last_step(page: Page, tag: str, photo: bytes) -> None:
    """Bring the phone to where only saving is left."""
    write_into(page, {"draft": piece_in_hand(tag, photo)}, photos=[photo])
    page.reload()  # Reads the piece in hand; the step without one leads away from it.
    page.goto(SAVE_STEP)
    expect(page.get_by_role("button", name="Save the piece")).to_be_enabled()


def events_of(page: Page, tag: str) -> list[str]:
    """Types of the events that the phone keeps on a piece."""
    bodies = [one["event"]["body"] for one in kept_by(page).events]
    return [body["type"] for body in bodies if body.get("tag") == tag]


WHOLE = ["item_tagged", "damage_noted", "photo_taken"]


def reopened(context: BrowserContext) -> Page:
    page = context.new_page()
    page.goto(SAVE_STEP)
    expect(page.locator("#crew .strip")).to_be_visible()
    return page


def tap_save(page: Page) -> None:
    """Tap without waiting for what comes of it."""
    page.evaluate(
        """() => {
          const found = [...document.querySelectorAll("button")];
          const save = found.find((one) => one.textContent.includes("Save the piece"));
          setTimeout(() => save.click(), 0);
        }"""
    )


def kill_while_saving(context: BrowserContext, page: Page) -> None:
    """Tap, let the page come to the write at which it hangs, and have the browser end it."""
    session = context.new_cdp_session(page)
    target = session.send("Target.getTargetInfo")["targetInfo"]["targetId"]
    tap_save(page)
    page.wait_for_timeout(300)
    with page.expect_event("close"):
        assert context.browser is not None
        context.browser.new_browser_cdp_session().send("Target.closeTarget", {"targetId": target})


@pytest.fixture
def drawn() -> Iterator[bytes]:
    return pictures()


def test_killed_inside_the_write(
    context: BrowserContext, here: Installation, drawn: Iterator[bytes]
) -> None:
    page = open_phone(context)
    photos = []
    for turn in (1, 2, 5, 8):
        tag, photo = new_tag(), next(drawn)
        photos.append(photo)
        at_the_last_step(page, tag, photo)
        page.evaluate(HANG_AT_WRITE, turn)
        kill_while_saving(context, page)
        page = reopened(context)
        assert events_of(page, tag) == []
        kept = kept_by(page)
        assert_unbroken(kept)
        assert kept.draft is not None
        assert kept.draft["tag"] == tag
        assert sha_of(photo) in kept.photos
        page.get_by_role("button", name="Save the piece").click()
        expect(page.get_by_text(SAVED)).to_be_visible()
        assert events_of(page, tag) == WHOLE
    send_until_empty(page)
    all_here(page, here, photos)


@pytest.mark.parametrize("offline", [True, False], ids=["offline", "online"])
def test_closed_right_after_the_tap(
    context: BrowserContext, here: Installation, drawn: Iterator[bytes], offline: bool
) -> None:
    page = open_phone(context)
    photos, found = [], []
    for pause_ms in (0, 3, 6, 10, 15, 25, 60):
        tag, photo = new_tag(), next(drawn)
        photos.append(photo)
        at_the_last_step(page, tag, photo)
        context.set_offline(offline)
        tap_save(page)
        if pause_ms:
            page.wait_for_timeout(pause_ms)
        page.close()
        context.set_offline(False)
        page = reopened(context)
        kept = kept_by(page)
        assert_unbroken(kept)
        events = events_of(page, tag)
        found.append(len(events))
        assert events in ([], WHOLE)
        if not events:
            assert kept.draft is not None
            assert kept.draft["tag"] == tag
            page.get_by_role("button", name="Save the piece").click()
            expect(page.get_by_text(SAVED)).to_be_visible()
    send_until_empty(page)
    all_here(page, here, photos)
    print(f"\nevents found after each kill: {json.dumps(found)}")


def all_here(page: Page, here: Installation, photos: list[bytes]) -> None:
    kept = kept_by(page)
    assert_unbroken(kept)
    assert kept.journal is not None
    events = [one["event"] for one in kept.events]
    digests = {event["id"]: digest_of(event) for event in events}
    assert_arrived(here, kept.journal["device"], digests, photos)


def test_saving_is_quick(context: BrowserContext, drawn: Iterator[bytes]) -> None:
    """Prints the time from the tap to "saved", read back and all; the bar is 100 ms."""
    page = open_phone(context)
    took: list[float] = []
    for _ in range(8):
        at_the_last_step(page, new_tag(), next(drawn))
        context.set_offline(True)
        took.append(
            page.evaluate(
                """() => new Promise((done) => {
                  const found = [...document.querySelectorAll("button")];
                  const save = found.find((one) => one.textContent.includes("Save the piece"));
                  const seen = new MutationObserver(() => {
                    if (!document.body.textContent.includes("Saved on this phone")) return;
                    seen.disconnect();
                    done(performance.now() - started);
                  });
                  seen.observe(document.body, { childList: true, subtree: true });
                  const started = performance.now();
                  save.click();
                })"""
            )
        )
        context.set_offline(False)
    took.sort()
    print(
        f"\nsave of a piece (3 events, read back and shown): median {took[len(took) // 2]:.0f} ms, "
        f"worst {took[-1]:.0f} ms of {len(took)}; bar 100 ms"
    )
