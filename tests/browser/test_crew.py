"""The crew's loop on a real browser: from choosing the loss to what must never be done."""

import io
import re
from hashlib import sha256

import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import Page, expect
from sqlmodel import col, select

from labels.codes import new_tag, show_tag
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.storage.tables import LogRow
from shared.records import Item
from shared.vocabulary import Damage, Extent, Material, ObjectType
from tests.browser.accessibility import barriers_of
from tests.browser.seeding import Seed
from tests.browser.watching import PHONE, SIZES, Complaints, assert_sound, faults_of, on_each
from tests.phones import enrol_page

NAME = "Hesper Quillfeather (invented)"


@pytest.fixture
def photo() -> bytes:
    return a_photo()


def a_photo() -> bytes:
    """A photo as a phone takes it, with a place in it that must not leave the phone's owner."""
    picture = Image.new("RGB", (1600, 1200), "#8a7f6a")
    ImageDraw.Draw(picture).rectangle((400, 250, 1200, 950), fill="#274b5e", outline="#c9a24a")
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=85)
    return out.getvalue()


def enter(page: Page, loss: str) -> None:
    """Enrol the phone unless it is, choose the loss, and put a name to its cautions."""
    page.goto("/crew/")
    heading = page.get_by_role("heading", level=1)
    expect(heading).not_to_have_text("")
    if heading.inner_text() == "Enrol this phone":
        enrol_page(page)
    expect(page.get_by_role("heading", level=1)).to_have_text("Which loss are you at?")
    assert_sound(page)
    page.locator(f"a.card[href='#/{loss}']").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Before you go in")
    expect(page.get_by_text("Whoever controls the site decides on entry")).to_be_visible()
    page.get_by_role("button", name="I have read them").click()
    expect(page.get_by_text("Give your name")).to_be_visible()
    assert_sound(page)
    page.get_by_label("Your name").fill(NAME)
    page.get_by_role("button", name="I have read them").click()
    expect(page.get_by_role("button", name="Tag a piece")).to_be_visible()
    assert_sound(page)


def type_tag(page: Page, typed: str) -> None:
    page.get_by_role("button", name="Tag a piece").click()
    page.get_by_role("button", name="Type the code").click()
    page.get_by_label("Code on the tag").fill(typed)
    page.get_by_role("button", name="Use this code").click()


def take_photo(page: Page, photo: bytes) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")
    page.locator("input[type=file]").set_input_files(
        {"name": "front.jpg", "mimeType": "image/jpeg", "buffer": photo}
    )
    expect(page.get_by_role("heading", level=1)).to_have_text("What is it?")
    assert_sound(page)


def choose(page: Page, heading: str, label: str) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text(heading)
    page.get_by_role("button", name=label, exact=True).first.click()


def sent(here: Installation, tag: str) -> Item:
    """The piece as the service has it."""
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tag)
    assert item is not None, f"{tag} did not arrive"
    return item


def test_a_piece_is_tagged_photographed_and_told_what_moves_first(
    page: Page, seeded: Seed, here: Installation, photo: bytes, complaints: Complaints
) -> None:
    tag = new_tag()
    complaints.expect(f"/api/items/{tag}$")  # a blank tag is looked up first, and is not there
    enter(page, seeded.fire)
    type_tag(page, show_tag(tag).lower())
    take_photo(page, photo)
    choose(page, "What is it?", ObjectType.PAINTING.label)
    choose(page, "What is it made of?", Material.OIL_CANVAS.label)
    assert_sound(page)
    page.get_by_role("button", name="Next").click()
    choose(page, "What happened to it?", Damage.SOAKED.label)
    page.get_by_role("button", name=Extent.WIDE.label, exact=True).click()
    expect(page.get_by_role("heading", name="Wet since when?")).to_be_visible()
    assert_sound(page)
    page.get_by_role("button", name="Next").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Where did it hang or stand?")
    page.get_by_label("Floor").fill("first floor")
    page.get_by_label("Room").fill("music room")
    page.get_by_label("Wall or spot").fill("over the piano")
    assert_sound(page)
    page.get_by_role("button", name="Save the piece").click()

    expect(page.get_by_text("Saved and sent")).to_be_visible()
    expect(page.locator(".ruling .hours")).to_have_text(re.compile(r"\d+ hours? (left|past)"))
    expect(page.locator(".ruling .band")).to_be_visible()
    expect(page.get_by_role("heading", name="First", exact=True)).to_be_visible()
    expect(page.get_by_role("heading", name="Why", exact=True)).to_be_visible()
    expect(page.locator(".nevers li").first).to_contain_text("Never")
    expect(page.get_by_text("first floor, music room, over the piano")).to_be_visible()
    expect(page.locator(".strip__unsent")).to_have_text("All sent")
    assert_sound(page)

    item = sent(here, tag)
    assert item.object_type is ObjectType.PAINTING
    assert item.materials == [Material.OIL_CANVAS]
    assert [(one.damage, one.extent) for one in item.damages] == [(Damage.SOAKED, Extent.WIDE)]
    assert item.found.room == "music room"
    assert [one.type for one in item.custody if one.type == "item_tagged"] == ["item_tagged"]
    with here.database.read() as session:
        rows = session.exec(
            select(LogRow).where(LogRow.type == "item_tagged").order_by(col(LogRow.position))
        ).all()
    assert sum(tag.encode() in row.data for row in rows) == 1
    kept = here.photos.get(item.photos[0].photo)
    assert sha256(kept).hexdigest() == item.photos[0].photo
    assert Image.open(io.BytesIO(kept)).size == (1600, 1200)


def test_a_mistyped_tag_is_refused_with_the_mend(page: Page, seeded: Seed) -> None:
    enter(page, seeded.fire)
    tag = new_tag()
    wrong = tag[:-2] + ("0" if tag[-2] != "0" else "1") + tag[-1]
    type_tag(page, wrong)
    expect(page.get_by_role("alert")).to_contain_text("The check character does not fit")
    page.get_by_label("Code on the tag").fill(tag[:9])
    page.get_by_role("button", name="Use this code").click()
    expect(page.get_by_role("alert")).to_contain_text("4 characters are missing")
    assert_sound(page)


def test_a_tag_that_is_on_a_piece_already_is_not_taken_twice(
    page: Page, seeded: Seed, here: Installation
) -> None:
    with here.database.read() as session:
        taken = reading.items(session, EVERYTHING)[0].tag
    enter(page, seeded.fire)
    type_tag(page, taken)
    expect(page.get_by_text("This tag is on another piece already")).to_be_visible()
    assert_sound(page)


def test_without_a_network_a_piece_is_kept_and_sent_when_it_is_back(
    page: Page, seeded: Seed, here: Installation, photo: bytes, complaints: Complaints
) -> None:
    tag = new_tag()
    complaints.expect("/api/|/log/|/photos/")
    enter(page, seeded.fire)
    page.context.set_offline(True)
    type_tag(page, tag)
    take_photo(page, photo)
    choose(page, "What is it?", ObjectType.SCULPTURE.label)
    choose(page, "What is it made of?", Material.CERAMIC_HIGH.label)
    page.get_by_role("button", name="Next").click()
    choose(page, "What happened to it?", Damage.SOOT_DRY.label)
    page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="Save the piece").click()
    expect(page.get_by_text("Saved on this phone")).to_be_visible()
    expect(page.locator(".strip__unsent")).to_contain_text("not yet sent")
    with here.database.read() as session:
        assert reading.item(session, EVERYTHING, tag) is None

    page.context.set_offline(False)
    page.locator(".strip__unsent").click()
    send = page.get_by_role("button", name="Send now")
    nothing_left = page.get_by_text("Everything on this phone has been sent")
    expect(send.or_(nothing_left).first).to_be_visible()
    if send.is_visible():
        send.click()
    expect(nothing_left).to_be_visible()
    assert_sound(page)
    assert sent(here, tag).object_type is ObjectType.SCULPTURE


@pytest.mark.parametrize("size", [PHONE], ids=["phone and desk"])
def test_every_screen_of_the_crew_is_open_to_everybody(
    page: Page, seeded: Seed, photo: bytes, complaints: Complaints
) -> None:
    complaints.expect("/api/items/")
    faults: list[str] = []

    def look(heading: str) -> None:
        expect(page.get_by_role("heading", level=1)).to_have_text(heading)
        for screen in on_each(page, SIZES):
            found = faults_of(page) + barriers_of(page)
            faults.extend(f"{fault}, {screen.name}" for fault in found)

    page.goto("/crew/")
    look("Enrol this phone")
    page.get_by_role("button", name="Type the code").click()
    look("Enrol this phone")
    enrol_page(page)
    look("Which loss are you at?")
    page.goto(f"/crew/#/{seeded.fire}")
    look("Before you go in")
    enter(page, seeded.fire)
    look("0 pieces tagged on this phone")
    type_tag(page, new_tag()[:-1])
    look("Scan the tag")
    page.get_by_label("Code on the tag").fill(new_tag())
    page.get_by_role("button", name="Use this code").click()
    look("Photograph the piece")
    take_photo(page, photo)
    look("What is it?")
    choose(page, "What is it?", ObjectType.PAINTING.label)
    choose(page, "What is it made of?", Material.OIL_CANVAS.label)
    look("What is it made of?")
    page.get_by_role("button", name="Next").click()
    choose(page, "What happened to it?", Damage.SOAKED.label)
    look("What happened to it?")
    page.get_by_role("button", name="Next").click()
    look("Where did it hang or stand?")
    page.get_by_role("button", name="Save the piece").click()
    expect(page.get_by_text("Saved and sent")).to_be_visible()
    look(ObjectType.PAINTING.label)
    page.get_by_role("link", name="Add damage").click()
    look("What happened to it?")
    page.go_back()
    page.get_by_role("link", name="Add title and maker").click()
    look("Details")
    page.go_back()
    page.locator(".strip__unsent").click()
    look("Not yet sent")
    assert not faults, "\n".join(faults)
