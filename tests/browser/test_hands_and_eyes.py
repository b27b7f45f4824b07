"""Every screen of the crew's app serves a gloved hand and an eye in glare."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Page, Playwright, Route, expect

from labels.codes import new_tag
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from shared import events as ev
from shared.vocabulary import Damage, Hazard, Material, ObjectType, Peril, Role
from tests.browser.hands_and_eyes import Looking
from tests.browser.seeding import Seed
from tests.browser.test_crew import NAME, choose, photo
from tests.browser.test_moving import CONTAINER, DRIVER, scan, sign
from tests.browser.test_scanning import FRAME, film_of, phone_before
from tests.browser.watching import Complaints
from tests.phones import enrol_page

__all__ = ["photo"]  # The fixture, for the tests below.

TAGGER = "Isaura Penhallow (invented)"
LONG_LOSS = "HIGHWATER-1"
LONG_NAME = (
    "Water and smoke in the Old Customs Warehouse at Nethermost Quay, third and fourth floors, "
    "with the loft of the Reading Society (invented)"
)
LONG_TITLE = (
    "Portrait of Doctor Philibert-Ambrose Thistlethwaite of Nethermostquayside as a young man, "
    "seated, with an orrery (invented)"
)


@pytest.fixture
def phone(
    playwright: Playwright, address: str, complaints: Complaints, tmp_path: Path
) -> Iterator[Page]:
    """A phone whose camera sees a grey wall."""
    wall = tmp_path / "wall.mjpeg"
    film_of(wall, Image.new("L", FRAME, 140))
    complaints.expect("/api/|/log/|/photos/|/crew/worker.js")
    with phone_before(playwright, wall, address, complaints) as page:
        yield page


@pytest.fixture
def long_piece(here: Installation) -> str:
    """The tag of a piece with a long title, at a loss with a long one and every hazard."""
    tag, now = new_tag(), here.now()
    here.log.say_all(
        [
            ev.LossOpened(
                title=LONG_NAME,
                site=f"Behind {LONG_NAME}",
                zone="Europe/Amsterdam",
                peril=Peril.FLOOD,
                happened_at=now,
                wet_since=now,
                hazards=tuple(Hazard),
            ),
            ev.ItemTagged(
                tag=tag, object_type=ObjectType.PAINTING, materials=(Material.OIL_CANVAS,)
            ),
            ev.ItemDescribed(tag=tag, title=LONG_TITLE),
        ],
        actor=TAGGER,
        role=Role.CREW,
        loss=LONG_LOSS,
    )
    return tag


@pytest.fixture
def loose(here: Installation, seeded: Seed) -> tuple[str, ...]:
    """Pieces of the fire that another phone tagged; no list names them yet."""
    tags = tuple(new_tag() for _ in range(3))
    here.log.say_all(
        [
            ev.ItemTagged(
                tag=tag, object_type=ObjectType.PAINTING, materials=(Material.OIL_CANVAS,)
            )
            for tag in tags
        ],
        actor=TAGGER,
        role=Role.CREW,
        loss=seeded.fire,
    )
    return tags


def come_in(page: Page, loss: str) -> None:
    """Enrol the phone unless it is, and get past the cautions, read before or not."""
    page.goto("/crew/")
    heading = page.get_by_role("heading", level=1)
    expect(heading).not_to_have_text("")
    if heading.inner_text() == "Enrol this phone":
        enrol_page(page)
    page.goto(f"/crew/#/{loss}")
    page.get_by_label("Your name").fill(NAME)
    page.locator(".dock .button--primary").click()
    expect(page.get_by_role("button", name="Tag a piece")).to_be_visible()


def type_code(page: Page, code: str) -> None:
    page.get_by_label("Code on the tag").fill(code)
    page.get_by_role("button", name="Use this code").click()


def test_enrolling_and_before_entry(phone: Page, seeded: Seed, long_piece: str) -> None:
    page, looking = phone, Looking(phone)
    page.goto("/crew/")
    expect(page.locator("video")).to_be_visible()
    looking.at("Enrol this phone", "by camera")
    page.get_by_role("button", name="Type the code").click()
    page.get_by_label("The office's code").fill("short")
    page.get_by_role("button", name="Enrol this phone").click()
    looking.at("Enrol this phone", "a wrong code")
    page.get_by_label("The office's code").fill("0" * 16)
    page.get_by_role("button", name="Enrol this phone").click()
    expect(page.get_by_text("Not enrolled")).to_be_visible()
    looking.at("Enrol this phone", "refused")
    page.route("**/api/losses", lambda route: route.abort())
    enrol_page(page)
    expect(page.get_by_role("button", name="Try again")).to_be_visible()
    looking.at("Which loss are you at?", "not reached")
    page.unroute("**/api/losses")
    page.get_by_role("button", name="Try again").click()
    expect(page.locator("a.card").first).to_be_visible()
    expect(page.get_by_text("starts without a network")).to_be_visible()
    looking.at("Which loss are you at?", "and the home screen")
    page.get_by_role("button", name="Not now").click()
    looking.at("Which loss are you at?")
    page.locator(f"a.card[href='#/{seeded.fire}']").click()
    looking.after_going("Before you go in")
    page.get_by_role("button", name="I have read them").click()
    expect(page.get_by_text("Give your name")).to_be_visible()
    looking.at("Before you go in", "no name")
    page.goto(f"/crew/#/{LONG_LOSS}")
    looking.at("Before you go in", "long words")
    come_in(page, LONG_LOSS)
    looking.at("0 pieces tagged on this phone", "long words")
    page.goto(f"/crew/#/{LONG_LOSS}/piece/{long_piece}")
    expect(page.locator(".ruling")).to_be_visible()
    looking.at(LONG_TITLE)
    looking.assert_none()


def test_the_loop_of_tagging(phone: Page, seeded: Seed, here: Installation, photo: bytes) -> None:
    page, looking = phone, Looking(phone)
    with here.database.read() as session:
        taken = reading.items(session, EVERYTHING)[0].tag
    tag, part = new_tag(), new_tag()
    come_in(page, seeded.fire)
    page.get_by_role("button", name="Tag a piece").click()
    expect(page.locator("video")).to_be_visible()
    looking.after_going("Scan the tag", "by camera")
    page.get_by_role("button", name="Type the code").click()
    looking.at("Scan the tag", "typed")
    type_code(page, tag[:-1])
    looking.at("Scan the tag", "a character missing")
    type_code(page, taken)
    expect(page.get_by_text("This tag is on another piece already")).to_be_visible()
    looking.at("Scan the tag", "taken")
    page.get_by_role("button", name="Use another tag").click()
    type_code(page, tag)
    looking.after_going("Photograph the piece")
    page.get_by_role("button", name="Use the viewfinder").click()
    expect(page.get_by_role("button", name="Take the photo")).to_be_enabled()
    looking.at("Photograph the piece", "viewfinder")
    page.get_by_role("button", name="Take the photo").click()
    looking.after_going("What is it?")
    page.get_by_role("link", name="taken. Take another").click()
    expect(page.get_by_role("img", name="Photo 1")).to_be_visible()
    looking.after_going("Photograph the piece", "one taken")
    page.get_by_role("button", name="Next").click()
    choose(page, "What is it?", ObjectType.PAINTING.label)
    looking.after_going("What is it made of?")
    page.get_by_role("button", name="Next").click()
    expect(page.get_by_text("Choose at least one material")).to_be_visible()
    choose(page, "What is it made of?", Material.OIL_CANVAS.label)
    looking.at("What is it made of?", "one chosen")
    page.get_by_role("button", name="Next").click()
    looking.after_going("What happened to it?")
    choose(page, "What happened to it?", Damage.SOAKED.label)
    choose(page, "What happened to it?", Damage.SOOT_DRY.label)
    page.get_by_role("button", name="Another time").click()
    page.get_by_label("Date and time it got wet").fill("2099-01-01T10:00")
    expect(page.get_by_text("That time is still to come")).to_be_visible()
    looking.at("What happened to it?", "chosen, and a time to come")
    page.get_by_role("button", name="Not known").click()
    page.get_by_role("button", name="Next").click()
    page.get_by_label("Room").fill("the music room at the end of the long gallery")
    looking.at("Where did it hang or stand?")
    page.get_by_role("button", name="Save the piece").click()
    expect(page.get_by_text("Saved and sent")).to_be_visible()
    looking.after_going(ObjectType.PAINTING.label, "sent")

    page.get_by_role("link", name="Add damage").click()
    looking.after_going("What happened to it?", "added later")
    page.go_back()
    page.get_by_role("link", name="Add title and maker").click()
    looking.after_going("Details")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Fill in at least one line")).to_be_visible()
    looking.at("Details", "nothing filled in")
    for about, heading in (
        ("correct", "Correct what it is"),
        ("retag", "A new tag for this piece"),
    ):
        page.goto(f"/crew/#/{seeded.fire}/piece/{tag}/{about}")
        looking.after_going(heading)
    page.goto(f"/crew/#/{seeded.fire}/piece/{tag}")
    page.get_by_role("button", name="Tag a part of it").click()
    looking.after_going(f"A part of {tag[:4]}")
    page.context.set_offline(True)
    page.get_by_role("button", name="Frame", exact=True).first.click()
    page.get_by_role("button", name="Type the code").click()
    type_code(page, part)
    page.locator("input[type=file]").set_input_files(
        {"name": "frame.jpg", "mimeType": "image/jpeg", "buffer": photo}
    )
    choose(page, "What is it made of?", Material.GILDED_GESSO.label)
    page.get_by_role("button", name="Next").click()
    choose(page, "What happened to it?", Damage.DAMP.label)
    page.get_by_role("button", name="Next").click()
    page.get_by_label("Room").fill("scullery")
    looking.at("Where did it hang or stand?", "places used before")
    page.get_by_role("button", name="Save the piece").click()
    expect(page.get_by_text("Saved on this phone")).to_be_visible()
    looking.after_going(ObjectType.FRAME.label, "a part, on this phone only")
    page.get_by_role("link", name="All pieces").click()
    looking.after_going("2 pieces tagged on this phone", "one not sent")
    page.get_by_role("button", name="Tag a piece").click()
    page.get_by_role("button", name="Type the code").click()
    type_code(page, new_tag())
    expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")
    page.goto(f"/crew/#/{seeded.fire}/pieces")
    expect(page.get_by_role("link", name="Carry on with")).to_be_visible()
    looking.at("2 pieces tagged on this phone", "one in hand")
    page.goto(f"/crew/#/{seeded.fire}/piece/{tag}")
    looking.after_going(ObjectType.PAINTING.label, "with a part")
    looking.assert_none()


def test_moving(phone: Page, seeded: Seed, loose: tuple[str, ...], photo: bytes) -> None:
    page, looking = phone, Looking(phone)
    first, second, third = loose
    come_in(page, seeded.fire)
    page.get_by_role("link", name="Move pieces").click()
    looking.after_going("Move pieces", "nothing yet")
    page.get_by_role("link", name="Pack a container").click()
    looking.after_going("Which container?")
    page.get_by_label("Name or number of the container").fill("!")
    page.get_by_role("button", name="Start packing").click()
    looking.at("Which container?", "a wrong name")
    page.get_by_label("Name or number of the container").fill(CONTAINER)
    page.get_by_role("button", name="Start packing").click()
    looking.after_going(f"Packing {CONTAINER}", "by camera")
    page.get_by_role("button", name="Type the code").click()
    for tag in (first, second):
        scan(page, tag)
        expect(page.get_by_role("status")).to_contain_text(tag[:4])
    expect(page.locator(".notice--never")).to_be_visible()
    looking.at(f"Packing {CONTAINER}", "two inside, and what never to do")
    scan(page, second)
    expect(page.get_by_text("Already in this container")).to_be_visible()
    looking.at(f"Packing {CONTAINER}", "scanned before")
    page.get_by_role("link", name="Back").click()
    page.get_by_role("link", name="Load a truck").click()
    looking.after_going("Load a truck")
    page.get_by_role("button", name="Close the list").click()
    expect(page.get_by_text("Name the vehicle")).to_be_visible()
    page.get_by_role("button", name="Add a piece by scan").click()
    looking.at("Load a truck", "no vehicle, and scanning")
    page.get_by_label("Vehicle").fill("the green van (invented)")
    page.get_by_role("button", name="Close the list").click()
    looking.after_going("Hand over")
    name = page.locator(".list-name--large").inner_text()
    page.get_by_role("button", name="Hand over").click()
    looking.at("Hand over", "nothing filled in")
    # What is drawn can be done otherwise too.
    page.get_by_role("button", name="Name only").click()
    looking.at("Hand over", "by name only")
    page.get_by_role("button", name="Signed on paper").click()
    looking.at("Hand over", "on paper")
    page.get_by_role("button", name="Sign on the glass").click()
    page.get_by_label("Taken by").fill(DRIVER)
    sign(page)
    looking.at("Hand over", "signed")
    page.get_by_role("button", name="Hand over").click()
    looking.after_going("Move pieces", "handed over")
    page.get_by_role("link", name=name).click()
    looking.after_going("Hand over", "done before")
    page.goto(f"/crew/#/{seeded.fire}/delay/{name}")
    looking.after_going("The truck is late")
    page.goto(f"/crew/#/{seeded.fire}/move")
    page.get_by_role("link", name="Receive").click()
    looking.after_going("Receive a load")
    page.goto(f"/crew/#/{seeded.fire}/receive/{name}")
    looking.at(f"Receiving {name}", "by camera")
    page.get_by_role("button", name="Type the code").click()
    for tag in (first, third):
        scan(page, tag)
        expect(page.get_by_role("status").or_(page.locator(".notice--caution"))).to_contain_text(
            tag[:4]
        )
    looking.at(f"Receiving {name}", "one too much")
    page.get_by_role("button", name="Finish").click()
    looking.at("1 of 2 listed pieces are here")
    page.goto(f"/crew/#/{seeded.fire}/receive/-")
    looking.at("Receiving without a list")
    looking.assert_none()


def test_what_waits_to_be_sent(phone: Page, seeded: Seed) -> None:
    page, looking = phone, Looking(phone)
    come_in(page, seeded.fire)
    page.locator(".strip__unsent").click()
    looking.after_going("Not yet sent", "nothing")
    page.context.set_offline(True)
    page.goto(f"/crew/#/{seeded.fire}/pack/{CONTAINER}")
    page.get_by_role("button", name="Type the code").click()
    scan(page, new_tag())
    expect(page.locator(".strip__unsent")).to_contain_text("1 not yet sent")
    page.locator(".strip__unsent").click()
    page.get_by_role("button", name="Save to a file").click()
    expect(page.locator(".file-list .button")).to_be_visible()
    looking.at("Not yet sent", "one, and a file")
    for days, words in ((2, "over a day"), (4, "over three days")):
        page.clock.set_fixed_time(datetime.now(UTC) + timedelta(days=days))
        page.goto(f"/crew/#/{seeded.fire}/pieces")
        page.locator(".strip__unsent").click()
        expect(page.locator(".age")).to_contain_text(words)
        looking.at("Not yet sent", words)

    def refuse(route: Route) -> None:
        route.fulfill(status=422, json={"detail": "That phone is not known here (a test)."})

    page.route("**/log/events", refuse)
    page.context.set_offline(False)
    page.get_by_role("button", name="Send now").click()
    expect(page.get_by_text("The service took nothing")).to_be_visible()
    looking.at("Not yet sent", "refused")
    looking.assert_none()


def test_a_camera_that_is_refused(phone: Page, seeded: Seed) -> None:
    page, looking = phone, Looking(phone)
    page.add_init_script(
        "navigator.mediaDevices.getUserMedia = () => Promise.reject(new Error('refused'))"
    )
    come_in(page, seeded.fire)
    page.get_by_role("button", name="Tag a piece").click()
    expect(page.get_by_text("The camera did not start")).to_be_visible()
    looking.after_going("Scan the tag", "no camera")
    looking.assert_none()
