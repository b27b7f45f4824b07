"""A phone comes into use by a scan, and is stopped: nothing that it holds is lost."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect

from labels.codes import new_tag
from service.crew.phones import invite
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from shared.vocabulary import Damage, Material, ObjectType
from tests.browser.accessibility import barriers_of
from tests.browser.chromium import launch
from tests.browser.seeding import Seed
from tests.browser.test_crew import choose, enter, photo, take_photo, type_tag
from tests.browser.test_scanning import film
from tests.browser.watching import DESK, PHONE, Complaints, Size, assert_sound, open_context
from tests.faults.phone import kept_by
from tests.phones import CLERK, office_code

__all__ = ["photo"]  # The fixture, for the tests below.

SMALL = Size("small phone", 320, 640, touch=True)
NAME = "Crew phone 3"
SHOTS = os.environ.get("LAGAN_SCREENSHOTS")
"""A folder to keep pictures of the screens in, for a person to look at."""

COST = """async () => {
  const key = await new Promise((done) => {
    const open = indexedDB.open("lagan");
    open.onsuccess = () => {
      const asked = open.result.transaction("notes").objectStore("notes").get("key");
      asked.onsuccess = () => done(asked.result.privateKey);
    };
  });
  const took = {};
  for (const [name, size] of [["100 events", 60_000], ["a photo", 2_000_000]]) {
    const body = new Uint8Array(size);
    const started = performance.now();
    for (let turn = 0; turn < 20; turn += 1) {
      await crypto.subtle.digest("SHA-256", body);
      await crypto.subtle.sign({ name: "ECDSA", hash: "SHA-256" }, key, new Uint8Array(300));
    }
    took[name] = ((performance.now() - started) / 20).toFixed(2);
  }
  return took;
}"""


def look(page: Page, name: str) -> None:
    """The screen is in order on a wide and on a narrow phone; a picture is kept where asked."""
    size = page.viewport_size
    assert size is not None
    narrow = {"width": SMALL.width, "height": SMALL.height}
    for width, wanted in ((size["width"], size), (SMALL.width, narrow)):
        page.set_viewport_size(wanted)  # type: ignore[arg-type]
        assert_sound(page)
        assert barriers_of(page) == []
        if SHOTS:
            page.screenshot(path=Path(SHOTS) / f"{name}-{width}.png", full_page=True)
    page.set_viewport_size(size)


@pytest.fixture
def phone(
    playwright: Playwright, here: Installation, address: str, tmp_path: Path
) -> Iterator[BrowserContext]:
    """A phone whose camera sees an invitation."""
    made = invite(here, name=NAME, holder="", minutes=15, actor=CLERK)
    seen = tmp_path / "invitation.mjpeg"
    film(seen, made.address(here.settings.base_url), in_bytes=True)
    browser = launch(
        playwright,
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={seen}",
    )
    try:
        with open_context(browser, PHONE, address) as context:
            yield context
    finally:
        browser.close()


def tag_offline(page: Page, tag: str, photo: bytes) -> None:
    type_tag(page, tag)
    take_photo(page, photo)
    choose(page, "What is it?", ObjectType.PAINTING.label)
    choose(page, "What is it made of?", Material.OIL_CANVAS.label)
    page.get_by_role("button", name="Next").click()
    choose(page, "What happened to it?", Damage.SOAKED.label)
    page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="Save the piece").click()
    expect(page.get_by_text("Saved on this phone")).to_be_visible()


def arrived(here: Installation, tag: str) -> bool:
    with here.database.read() as session:
        return reading.item(session, EVERYTHING, tag) is not None


@pytest.mark.timeout(600)
def test_from_the_office_s_code_to_the_file_of_a_stopped_phone(
    phone: BrowserContext,
    chromium: Browser,
    address: str,
    seeded: Seed,
    here: Installation,
    photo: bytes,
    tmp_path: Path,
    complaints: Complaints,
    capsys: pytest.CaptureFixture[str],
) -> None:
    complaints.expect("/api/|/log/|/photos/|/crew/worker.js")
    page = phone.new_page()
    complaints.watch(page)
    page.goto("/crew/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Which loss are you at?")
    with here.database.read() as session:
        [enrolled] = reading.phones(session)
    assert enrolled.name == NAME
    with capsys.disabled():
        print(f"\nms to digest and sign in Chromium: {page.evaluate(COST)}")

    first, second = new_tag(), new_tag()
    enter(page, seeded.fire)
    phone.set_offline(True)
    tag_offline(page, first, photo)
    phone.set_offline(False)
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator(".strip__unsent")).to_have_text("All sent")
    assert arrived(here, first)

    phone.set_offline(True)
    page.goto(f"/crew/#/{seeded.fire}/pieces")
    tag_offline(page, second, photo)
    with open_context(chromium, DESK, address) as desk:
        office = desk.new_page()
        complaints.watch(office)
        office.goto("/office/phones")
        look(office, "office-phones")
        office.get_by_role("link", name=f"Revoke {NAME}").click()
        look(office, "office-revoke")
        office.get_by_label("Reason").fill("left in a taxi")
        office.get_by_label("Your name").fill(CLERK)
        office.get_by_role("button", name="Revoke it").click()
        expect(office.get_by_text("left in a taxi")).to_be_visible()

        phone.set_offline(False)
        page.evaluate("dispatchEvent(new Event('online'))")
        expect(page.get_by_text("The office has stopped this phone")).to_be_visible()
        expect(page.get_by_text("left in a taxi").first).to_be_visible()
        look(page, "phone-stopped")
        assert not arrived(here, second)
        page.goto(f"/crew/#/{seeded.fire}/unsent")
        expect(page.get_by_text(f"This phone is {NAME}.")).to_be_visible()
        look(page, "phone-unsent-stopped")
        page.get_by_role("button", name="Save to a file").click()
        with page.expect_download() as saving:
            page.get_by_role("link", name="unsent-").click()
        file = tmp_path / saving.value.suggested_filename
        saving.value.save_as(file)

        office.goto("/office/from-phone")
        office.get_by_label("File").set_input_files(file)
        office.get_by_role("button", name="Take it in").click()
        expect(office.get_by_text(f"{NAME} was revoked")).to_be_visible()
        expect(office.get_by_text("Proven to be from this phone")).to_be_visible()
        look(office, "office-from-revoked")
        assert not arrived(here, second)
        office.get_by_role("button", name="Take it in all the same").click()
        expect(office.get_by_text("All of this file is in")).to_be_visible()
        assert arrived(here, second)
        code = office_code(desk, "Crew phone 3 again")

    page.get_by_role("button", name="Send now").click()
    expect(page.get_by_text("Everything on this phone has been sent")).to_be_visible()
    page.goto(f"/crew/#enrol={code}")
    expect(page.get_by_role("heading", level=1)).to_have_text("Which loss are you at?")
    assert "enrol=" not in page.url
    journal = kept_by(page).journal
    assert journal is not None
    assert journal["device"] != enrolled.phone
    assert journal["sequence"] == 0
    expect(page.get_by_text("The office has stopped this phone")).to_have_count(0)
    complaints.assert_none()


def test_a_code_is_typed_and_a_wrong_one_is_said(
    page: Page, complaints: Complaints, context: BrowserContext
) -> None:
    complaints.expect("/api/devices")
    page.goto("/crew/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Enrol this phone")
    page.get_by_role("button", name="Type the code").click()
    look(page, "enrol-typing")
    page.get_by_label("The office's code").fill("too short")
    page.get_by_role("button", name="Enrol this phone").click()
    expect(page.get_by_role("alert")).to_contain_text("16 letters and digits")
    page.get_by_label("The office's code").fill("0" * 16)
    page.get_by_role("button", name="Enrol this phone").click()
    expect(page.get_by_role("alert")).to_contain_text("not known here")
    look(page, "enrol-refused")
    page.get_by_role("button", name="Use another code").click()
    code = office_code(context)
    page.get_by_label("The office's code").fill(f"{code[:8].lower()} {code[8:]}")
    page.get_by_role("button", name="Enrol this phone").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Which loss are you at?")
    page.goto("/crew/#/enrol")
    expect(page.get_by_role("heading", level=1)).to_have_text(f"This phone is enrolled as {NAME}")
    look(page, "enrolled")


def test_the_office_shows_the_code(page: Page) -> None:
    page.goto("/office/phones")
    page.get_by_label("Name", exact=True).fill(NAME)
    page.get_by_label("Your name").fill(CLERK)
    page.get_by_role("button", name="Make the code").click()
    expect(page.get_by_role("img", name="QR code that enrols one phone")).to_be_visible()
    look(page, "office-invitation")
