"""The browser gives the phone no more room: what was being saved is not lost, and it is said."""

from playwright.sync_api import BrowserContext, FilePayload, expect

from labels.codes import new_tag
from tests.browser.accessibility import barriers_of
from tests.browser.watching import assert_sound
from tests.faults.phone import (
    LOSS,
    SAVED,
    assert_unbroken,
    give_work,
    kept_by,
    open_phone,
    pictures,
)
from tests.faults.test_killed import WHOLE, at_the_last_step, events_of

REFUSE_LATER_WRITES = """() => {
  const { add } = IDBObjectStore.prototype;
  let turn = 0;
  IDBObjectStore.prototype.add = function (...given) {
    turn += 1;
    if (turn === 4) throw new DOMException("no room", "QuotaExceededError");
    return add.apply(this, given);
  };
  window.giveRoom = () => (IDBObjectStore.prototype.add = add);
}"""
"""The browser's own refusal, in the middle of a piece. A set quota does not reach IndexedDB in the
contexts that tests run in, so that the page is given the refusal itself."""

REFUSE_PHOTOS = """() => {
  const { put } = IDBObjectStore.prototype;
  IDBObjectStore.prototype.put = function (...given) {
    if (this.name === "photos") throw new DOMException("no room", "QuotaExceededError");
    return put.apply(this, given);
  };
  window.giveRoom = () => (IDBObjectStore.prototype.put = put);
}"""

LITTLE_ROOM = """navigator.storage.estimate = async () => ({ usage: 930e6, quota: 1000e6 });"""


def test_no_room_loses_nothing_and_is_said(context: BrowserContext) -> None:
    page = open_phone(context)
    tag, drawn = new_tag(), pictures()
    at_the_last_step(page, tag, next(drawn))
    page.evaluate(REFUSE_LATER_WRITES)
    page.get_by_role("button", name="Save the piece").click()
    expect(page.get_by_role("alert")).to_contain_text("no room left")
    assert_sound(page)
    kept = kept_by(page)
    assert events_of(page, tag) == []
    assert_unbroken(kept)
    assert kept.draft is not None
    assert kept.draft["tag"] == tag

    page.evaluate("() => { window.giveRoom(); }")
    page.get_by_role("button", name="Save the piece").click()
    expect(page.get_by_text(SAVED)).to_be_visible()
    assert events_of(page, tag) == WHOLE


def test_little_room_is_said_before_it_runs_out(context: BrowserContext) -> None:
    context.add_init_script(LITTLE_ROOM)
    page = open_phone(context)
    context.route("**/log/events", lambda route: route.abort("connectionfailed"))
    give_work(page, [next(pictures())])
    page.reload()
    page.goto(f"/crew/#/{LOSS}/unsent")
    expect(page.get_by_text("Only 70 MB of room left on this phone")).to_be_visible()
    assert_sound(page)
    assert barriers_of(page) == []


def test_a_photo_there_is_no_room_for_says_so_and_can_be_taken_again(
    context: BrowserContext,
) -> None:
    page = open_phone(context)
    tag, drawn = new_tag(), pictures()
    at_the_last_step(page, tag, next(drawn))
    before = kept_by(page).photos
    page.goto(f"/crew/#/{LOSS}/step/photos")
    page.evaluate(REFUSE_PHOTOS)
    shot = FilePayload(name="shot.jpg", mimeType="image/jpeg", buffer=next(drawn))
    page.locator("input[type=file]").set_input_files([shot])
    expect(page.get_by_role("alert")).to_contain_text("no room left")
    assert_sound(page)
    assert kept_by(page).photos == before

    page.evaluate("() => { window.giveRoom(); }")
    page.locator("input[type=file]").set_input_files([shot])
    expect(page.get_by_role("alert")).to_have_count(0)
    expect(page.locator(".photos img")).to_have_count(2)
    assert len(kept_by(page).photos) == 2
