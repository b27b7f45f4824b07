"""The whole of a piece's day on the phone: everything without a network, then in the log once."""

from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Page, Playwright, expect
from sqlmodel import select

from labels.codes import new_tag
from labels.sheets import roll, write_tag_sheets
from service.installation import Installation
from service.storage.tables import LogRow
from shared.vocabulary import Damage, Extent, Material, ObjectType
from tests.browser.seeding import Seed
from tests.browser.test_crew import choose, enter, sent
from tests.browser.test_moving import SENT_MS
from tests.browser.test_offline import KEPT
from tests.browser.test_scanning import film_of, phone_before
from tests.browser.watching import Complaints, assert_sound
from tests.labels.pdf_reading import page_images
from tests.phones import enrol_page

DPI = 200
TAG_MM = (62, 40)
CONTAINER = "K9"
ROOM = "the long gallery"


@pytest.fixture
def tag() -> str:
    return new_tag()


@pytest.fixture
def printed_tag(tag: str, here: Installation, tmp_path: Path) -> Path:
    """What the camera sees of a tag as it leaves the printer."""
    file = BytesIO()
    write_tag_sheets(file, [tag], roll(*TAG_MM), here.settings.base_url)
    (page,) = page_images(file.getvalue(), DPI)
    film = tmp_path / "tag.mjpeg"
    film_of(film, page.convert("L"))
    return film


def come_in(page: Page, loss: str) -> None:
    """From a phone that was never here to the list of pieces, with a network, once."""
    enrol_page(page)
    expect(page.get_by_text(KEPT)).to_be_visible()
    with page.expect_response("**/api/facts"):
        enter(page, loss)


def photograph(page: Page) -> None:
    """Take a photo through the camera that scanned the tag."""
    expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")
    page.get_by_role("button", name="Use the viewfinder").click()
    page.get_by_role("button", name="Take the photo").click()


def describe(page: Page, of: Material, *damages: Damage) -> None:
    """From what it is made of to where it hung; saves it."""
    choose(page, "What is it made of?", of.label)
    page.get_by_role("button", name="Next").click()
    for damage in damages:
        choose(page, "What happened to it?", damage.label)
    page.get_by_role("button", name=Extent.WIDE.label, exact=True).first.click()
    page.get_by_role("button", name="Next").click()
    page.get_by_label("Room").fill(ROOM)
    page.get_by_role("button", name="Save the piece").click()
    expect(page.get_by_text("Saved on this phone")).to_be_visible()


def written(here: Installation, *tags: str) -> dict[str, list[str]]:
    """Types of the stored events that name one of ``tags`` on their own, in order, by tag."""
    with here.database.read() as session:
        rows = session.exec(select(LogRow)).all()
    return {
        tag: sorted(row.type for row in rows if f'"tag":"{tag}"'.encode() in row.data)
        for tag in tags
    }


def assert_ruled_on(page: Page, here: Installation) -> None:
    """Hours left, why, and what never to do, as the facts have it."""
    expect(page.locator(".ruling .hours__number")).to_be_visible()
    expect(page.get_by_role("heading", name="Why", exact=True)).to_be_visible()
    never = here.facts.materials[Material.OIL_CANVAS].never
    assert {f"Never {phrase}" for phrase in never} <= set(
        page.locator(".nevers li").all_inner_texts()
    )


def test_the_whole_loop_without_a_network_is_in_the_log_once(
    playwright: Playwright,
    printed_tag: Path,
    tag: str,
    seeded: Seed,
    here: Installation,
    address: str,
    complaints: Complaints,
) -> None:
    part = new_tag()
    complaints.expect("/api/|/log/|/photos/|/crew/worker.js")
    with phone_before(playwright, printed_tag, address, complaints) as page:
        come_in(page, seeded.fire)
        page.context.set_offline(True)
        page.reload()
        page.get_by_role("button", name="Tag a piece").click()  # The camera reads the tag.
        photograph(page)
        choose(page, "What is it?", ObjectType.PAINTING.label)
        describe(page, Material.OIL_CANVAS, Damage.SOAKED)
        assert_ruled_on(page, here)
        assert_sound(page)

        page.reload()
        expect(page.get_by_text("Saved on this phone")).to_be_visible()
        assert_ruled_on(page, here)
        expect(page.get_by_role("img", name="Photo 1")).to_be_visible()
        expect(page.get_by_text(ROOM)).to_be_visible()

        page.get_by_role("button", name="Tag a part of it").click()
        page.get_by_role("button", name="Frame", exact=True).first.click()
        page.get_by_role("button", name="Type the code").click()
        page.get_by_label("Code on the tag").fill(part)
        page.get_by_role("button", name="Use this code").click()
        photograph(page)
        describe(page, Material.GILDED_GESSO, Damage.SOAKED)

        page.goto(f"/crew/#/{seeded.fire}/pack/{CONTAINER}")  # The camera reads the tag again.
        expect(page.get_by_role("heading", name="1 piece inside")).to_be_visible()
        assert written(here, tag, part) == {tag: [], part: []}

        page.context.set_offline(False)
        expect(page.locator(".strip__unsent")).to_have_text("All sent", timeout=SENT_MS)
        once = {
            tag: ["damage_noted", "item_packed", "item_tagged", "photo_taken"],
            part: ["damage_noted", "item_tagged", "photo_taken"],
        }
        assert written(here, tag, part) == once

        page.goto(f"/crew/#/{seeded.fire}/pieces")
        page.reload()
        expect(page.get_by_role("heading", level=1)).to_have_text("2 pieces tagged on this phone")
        expect(page.locator(".strip__unsent")).to_have_text("All sent")
        with page.expect_response("**/api/items/*"):
            page.locator(f"a.card[href$='/piece/{tag}']").click()
        expect(page.get_by_text("Saved and sent")).to_be_visible()
        assert written(here, tag, part) == once

    item, frame = sent(here, tag), sent(here, part)
    assert item.container == CONTAINER
    assert item.found.room == frame.found.room == ROOM
    assert frame.parent == tag
    assert [(one.damage, one.extent) for one in item.damages] == [(Damage.SOAKED, Extent.WIDE)]
    for one in (item, frame):
        (photo,) = one.photos
        kept = here.photos.get(photo.photo)
        assert sha256(kept).hexdigest() == photo.photo
        picture = Image.open(BytesIO(kept))
        assert picture.format == "JPEG"
        assert len(picture.convert("L").getcolors() or []) > 1, "the photo is blank"
