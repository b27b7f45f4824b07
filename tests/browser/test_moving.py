"""Packing, the list of a truck, the handover and receiving, on two phones without a network."""

import io
from collections.abc import Iterator
from contextlib import ExitStack
from hashlib import sha256
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, FilePayload, Page, Playwright, expect
from sqlmodel import col, select

from labels.codes import list_url, new_tag, show_tag, tag_url
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.storage.tables import LogRow
from shared import events as ev
from shared.vocabulary import Material, ObjectType, PhotoKind, Role
from tests.browser.accessibility import barriers_of
from tests.browser.chromium import launch
from tests.browser.seeding import Seed
from tests.browser.test_scanning import film
from tests.browser.watching import PHONE, Complaints, Size, assert_sound, faults_of, open_context
from tests.labels.pdf_reading import qr_texts
from tests.phones import enrol_page

SMALL = Size("small phone", 320, 640, touch=True)
SENT_MS = 45_000
"""A phone tries every 30 s."""
READINGS_MS = 2000
"""The camera's picture is read about eight times a second."""
CONTAINER = "K7"
DRIVER = "Anselm Farthingdale (invented)"


@pytest.fixture
def tags(here: Installation, seeded: Seed) -> tuple[str, ...]:
    """Four pieces of the fire that a third phone tagged; no list names them yet."""
    fresh = tuple(new_tag() for _ in range(4))
    here.log.say_all(
        [
            ev.ItemTagged(
                tag=tag, object_type=ObjectType.PAINTING, materials=(Material.OIL_CANVAS,)
            )
            for tag in fresh
        ],
        actor="Isaura Penhallow (invented)",
        role=Role.CREW,
        loss=seeded.fire,
    )
    return fresh


@pytest.fixture
def phones(
    chromium: Browser, address: str, seeded: Seed, complaints: Complaints
) -> Iterator[tuple[Page, Page]]:
    """One phone at the site and a smaller one at the facility, both past the cautions."""
    complaints.expect("/api/|/log/|/photos/")
    with ExitStack() as stack:
        found = []
        for size in (PHONE, SMALL):
            context = stack.enter_context(open_context(chromium, size, address))
            page = context.new_page()
            complaints.watch(page)
            come_in(page, seeded.fire, f"holder of the {size.name} (invented)")
            found.append(page)
        yield found[0], found[1]
        complaints.assert_none()


def come_in(page: Page, loss: str, name: str) -> None:
    """Enrol the phone, read the cautions of the loss and put a name to them."""
    enrol_page(page)
    page.goto(f"/crew/#/{loss}")
    page.get_by_label("Your name").fill(name)
    page.get_by_role("button", name="I have read them").click()
    expect(page.get_by_role("button", name="Tag a piece")).to_be_visible()


def heading(page: Page, words: str) -> None:
    """The screen is the one called so, and it is in order on a wide and on a narrow phone."""
    expect(page.get_by_role("heading", level=1)).to_have_text(words)
    size = page.viewport_size
    assert size is not None
    faults = []
    for other in (PHONE, SMALL):
        page.set_viewport_size({"width": other.width, "height": other.height})
        faults += faults_of(page) + barriers_of(page)
    page.set_viewport_size(size)
    assert not faults, "\n".join(faults)


def type_codes(page: Page) -> None:
    page.get_by_role("button", name="Type the code").click()


def scan(page: Page, tag: str) -> None:
    """Type a code where the camera would read it."""
    page.get_by_label("Code on the tag").fill(show_tag(tag))
    page.get_by_role("button", name="Use this code").click()


def sign(page: Page) -> None:
    """Draw a few strokes into the box, as a finger would."""
    pad = page.get_by_role("img", name="Space for the signature")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 30, box["y"] + 90)
    page.mouse.down()
    for step in range(1, 9):
        page.mouse.move(box["x"] + 30 + 22 * step, box["y"] + (50 if step % 2 else 120), steps=3)
    page.mouse.up()


def code_on(page: Page) -> str:
    """The QR code on the screen, read off it by another library."""
    picture = Image.open(io.BytesIO(page.get_by_role("img", name="Code of this list").screenshot()))
    (text,) = qr_texts(picture)
    return text


def a_photo(name: str) -> FilePayload:
    out = io.BytesIO()
    Image.new("RGB", (800, 600), "#e8e4da").save(out, "JPEG")
    return FilePayload(name=name, mimeType="image/jpeg", buffer=out.getvalue())


def start_packing(page: Page) -> None:
    page.get_by_role("link", name="Move pieces").click()
    heading(page, "Move pieces")
    page.get_by_role("link", name="Pack a container").click()
    heading(page, "Which container?")
    page.get_by_label("Name or number of the container").fill(CONTAINER)
    page.get_by_role("button", name="Start packing").click()
    type_codes(page)
    heading(page, f"Packing {CONTAINER}")


def close_list(page: Page, count: int) -> str:
    """Load everything onto a truck; gives the name of the list."""
    page.get_by_role("link", name="Load a truck").click()
    heading(page, "Load a truck")
    page.get_by_role("button", name=f"Close the list: {count} pieces").click()
    expect(page.get_by_text("Name the vehicle")).to_be_visible()
    page.get_by_label("Vehicle").fill("the green van (invented)")
    page.get_by_role("button", name=f"Close the list: {count} pieces").click()
    heading(page, "Hand over")
    return page.locator(".list-name--large").inner_text()


def sync(page: Page) -> None:
    """The network is back; everything goes out by itself."""
    page.context.set_offline(False)
    page.locator(".strip__unsent").click()
    nothing_left = page.get_by_text("Everything on this phone has been sent")
    expect(nothing_left).to_be_visible(timeout=SENT_MS)


def told(here: Installation, *types: str) -> list[str]:
    """The types of the stored events that phones wrote, out of ``types``."""
    with here.database.read() as session:
        rows = session.exec(
            select(LogRow)
            .where(col(LogRow.type).in_(types), col(LogRow.device).startswith("phone-"))
            .order_by(LogRow.type)
        ).all()
    return [row.type for row in rows]


def test_two_phones_without_a_network_at_either_end_come_to_one_record(
    phones: tuple[Page, Page],
    seeded: Seed,
    here: Installation,
    tags: tuple[str, ...],
) -> None:
    site, facility = phones
    moving = ("item_packed", "manifest_closed", "handed_over", "item_received")
    seeded_events = told(here, *moving)
    first, second, third, surplus = tags
    for page in phones:
        page.context.set_offline(True)

    start_packing(site)
    for tag in (first, second, third):
        scan(site, tag)
        expect(site.get_by_role("status")).to_contain_text("Packed")
        expect(site.get_by_role("status")).to_contain_text(tag[:4])
    scan(site, second)
    expect(site.get_by_text("Already in this container")).to_be_visible()
    expect(site.get_by_role("heading", name="3 pieces inside")).to_be_visible()
    site.get_by_role("link", name="Back").click()
    expect(site.get_by_role("link", name=CONTAINER)).to_contain_text("3 pieces")
    name = close_list(site, 3)
    site.get_by_label("Taken by").fill(DRIVER)
    site.get_by_role("button", name="Hand over").click()
    expect(site.get_by_text("Nothing is drawn yet")).to_be_visible()
    sign(site)
    site.get_by_role("button", name="Hand over").click()
    heading(site, "Move pieces")
    site.get_by_role("link", name=f"Handed over to {DRIVER}").click()
    address = str(site.evaluate("location.origin"))
    assert code_on(site) == list_url(address, seeded.fire, name)
    site.get_by_role("link", name="The truck is late").click()
    heading(site, "The truck is late")
    site.get_by_role("button", name="Save the new time").click()
    expect(site.get_by_text("Say why in a few words")).to_be_visible()
    site.get_by_label("Now expected at").fill("2098-05-06T18:00")
    site.get_by_label("Why").fill("flat tyre (invented)")
    site.get_by_role("button", name="Save the new time").click()
    heading(site, "Hand over")
    expect(site.get_by_text("Late: now expected")).to_contain_text("flat tyre (invented)")

    facility.get_by_role("link", name="Move pieces").click()
    facility.get_by_role("link", name="Receive").click()
    heading(facility, "Receive a load")
    facility.get_by_label("A list not shown here").fill(name)
    facility.get_by_role("button", name="Use this list").click()
    type_codes(facility)
    heading(facility, f"Receiving {name}")
    expect(facility.get_by_text("This list has not reached this phone")).to_be_visible()
    facility.get_by_label("Note for the next piece").fill("glass cracked")
    for tag in (first, surplus, third):
        scan(facility, tag)
        expect(facility.get_by_role("status")).to_contain_text(tag[:4])
    facility.locator("input[type=file]").set_input_files(a_photo("cracked.jpg"))
    expect(facility.get_by_role("button", name="Use this code")).to_be_visible()
    scan(facility, third)
    expect(facility.get_by_text("Scanned in before")).to_be_visible()
    facility.get_by_role("button", name="Finish").click()
    heading(facility, "3 pieces received")

    assert told(here, *moving) == seeded_events
    for page in (facility, site):  # the receipts come before the list they belong to
        sync(page)

    with here.database.read() as session:
        items = {tag: reading.item(session, EVERYTHING, tag) for tag in tags}
        manifest = reading.manifest(session, EVERYTHING, name)
    assert manifest is not None
    assert manifest.tags == [first, second, third]
    assert manifest.delays == ["flat tyre (invented)"]
    assert manifest.expected_at is not None
    assert manifest.expected_at.year == 2098
    assert (manifest.missing, manifest.surplus) == ([second], [surplus])
    assert [(one.taken_by, bool(one.signature)) for one in manifest.handovers] == [(DRIVER, True)]
    packed = {tag: item.container for tag, item in items.items() if item is not None}
    assert packed == {first: CONTAINER, second: CONTAINER, third: CONTAINER, surplus: None}
    arrived = {tag for tag, item in items.items() if item is not None and item.received_at}
    assert arrived == {first, surplus, third}
    found = items[first]
    assert found is not None
    assert found.condition_at_receipt == "glass cracked"
    last = items[third]
    assert last is not None
    assert [one.kind for one in last.photos] == [PhotoKind.INTAKE]

    signature = manifest.handovers[0].signature or ""
    kept = here.photos.get(signature)
    assert sha256(kept).hexdigest() == signature
    drawn = Image.open(io.BytesIO(kept)).convert("L").histogram()
    assert sum(drawn[:100]) > 0, "the picture of the signature is blank"

    new = ["handed_over", *["item_packed"] * 3, *["item_received"] * 3, "manifest_closed"]
    assert told(here, *moving) == sorted([*seeded_events, *new])

    # The receiving phone sees the list now, with what is missing and what is too much.
    facility.goto(f"/crew/#/{seeded.fire}/receive/{name}")
    expect(facility.locator(".counts")).to_contain_text("Missing1")
    type_codes(facility)
    heading(facility, f"Receiving {name}")
    expect(facility.locator(".counts")).to_have_text("Arrived2Missing1Surplus1")
    facility.get_by_role("button", name="Finish").click()
    heading(facility, "2 of 3 listed pieces are here")
    expect(facility.get_by_role("heading", name="Missing: 1")).to_be_visible()
    expect(facility.get_by_role("heading", name="Surplus: 1")).to_be_visible()
    assert_sound(facility)


def test_packing_warns_in_words_and_the_last_can_be_taken_back(
    phones: tuple[Page, Page], seeded: Seed, here: Installation, tags: tuple[str, ...]
) -> None:
    _, page = phones
    with here.database.read() as session:
        stranger = next(
            one.tag for one in reading.items(session, EVERYTHING) if one.loss != seeded.fire
        )
    # What the service said while there was a network is known without it.
    page.goto(f"/crew/#/{seeded.fire}/piece/{tags[0]}")
    expect(page.locator(".nevers li").first).to_be_visible()
    page.goto(f"/crew/#/{seeded.fire}/piece/{stranger}")
    expect(page.locator(".ruling")).to_be_visible()
    page.context.set_offline(True)
    page.goto(f"/crew/#/{seeded.fire}/pieces")
    start_packing(page)
    scan(page, tags[0])
    expect(page.locator(".notice--never")).to_contain_text("Never")
    heading(page, f"Packing {CONTAINER}")
    scan(page, stranger)
    expect(page.get_by_text("It belongs to another loss")).to_be_visible()
    heading(page, f"Packing {CONTAINER}")
    page.get_by_role("button", name="Undo the last").click()
    expect(page.get_by_role("heading", name="1 piece inside")).to_be_visible()
    scan(page, tags[1])
    expect(page.get_by_text("If nobody has tagged it, tag it next")).to_be_visible()
    sync(page)
    with here.database.read() as session:
        items = [reading.item(session, EVERYTHING, tag) for tag in (tags[0], stranger, tags[1])]
    assert [one.container for one in items if one is not None][::2] == [CONTAINER, CONTAINER]
    assert items[1] is not None
    assert items[1].container != CONTAINER


@pytest.mark.parametrize("receipts_first", [True, False])
def test_who_can_not_draw_signs_on_paper_and_a_load_without_a_list_counts_all_the_same(
    phones: tuple[Page, Page], here: Installation, tags: tuple[str, ...], receipts_first: bool
) -> None:
    site, facility = phones
    for page in phones:
        page.context.set_offline(True)
    start_packing(site)
    for tag in tags[:2]:
        scan(site, tag)
        expect(site.get_by_role("status")).to_contain_text(tag[:4])
    site.get_by_role("link", name="Back").click()
    name = close_list(site, 2)
    site.get_by_label("Taken by").fill(DRIVER)
    site.get_by_role("button", name="Signed on paper").click()
    site.get_by_role("button", name="Hand over").click()
    expect(site.get_by_text("Take the photo of the signed paper, or")).to_be_visible()
    site.locator("input[type=file]").set_input_files(a_photo("paper.jpg"))
    expect(site.get_by_role("img", name="Signature of the person")).to_be_visible()
    heading(site, "Hand over")
    site.get_by_role("button", name="Hand over").click()
    expect(site.get_by_text(f"Handed over to {DRIVER}")).to_be_visible()

    facility.get_by_role("link", name="Move pieces").click()
    facility.get_by_role("link", name="Receive").click()
    facility.get_by_role("link", name="Receive without a list").click()
    type_codes(facility)
    heading(facility, "Receiving without a list")
    scan(facility, tags[1])
    expect(facility.get_by_role("status")).to_contain_text(tags[1][:4])

    for page in (facility, site) if receipts_first else (site, facility):
        sync(page)
    with here.database.read() as session:
        manifest = reading.manifest(session, EVERYTHING, name)
        item = reading.item(session, EVERYTHING, tags[1])
    assert manifest is not None
    assert item is not None
    assert (manifest.received, manifest.missing) == ([tags[1]], [tags[0]])
    assert item.manifest == name
    signature = manifest.handovers[0].signature or ""
    assert sha256(here.photos.get(signature)).hexdigest() == signature
    site.goto(f"/facility/receive/{name}")
    expect(site.get_by_role("heading", name="Missing (1)")).to_be_visible()
    expect(site.get_by_role("heading", name="Surplus")).to_have_count(0)


def test_a_tag_held_before_the_camera_is_packed_once(
    playwright: Playwright,
    seeded: Seed,
    here: Installation,
    address: str,
    tags: tuple[str, ...],
    tmp_path: Path,
    complaints: Complaints,
) -> None:
    complaints.expect("/api/items/")
    seen = tmp_path / "tag.mjpeg"
    film(seen, tag_url(here.settings.base_url, tags[0]))
    browser = launch(
        playwright,
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={seen}",
    )
    try:
        with open_context(browser, PHONE, address) as context:
            page = context.new_page()
            complaints.watch(page)
            come_in(page, seeded.fire, "holder of the camera (invented)")
            page.goto(f"/crew/#/{seeded.fire}/pack/{CONTAINER}")
            expect(page.get_by_role("heading", name="1 piece inside")).to_be_visible()
            page.wait_for_timeout(READINGS_MS)
            expect(page.get_by_role("status")).to_contain_text("Packed")
            expect(page.get_by_text("Already in this container")).to_have_count(0)
            assert_sound(page)
            sync(page)
    finally:
        browser.close()
    complaints.assert_none()
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tags[0])
    assert item is not None
    assert [one.type for one in item.custody] == ["item_tagged", "item_packed"]
