"""Tagging piece after piece on a phone: few presses, and a mend for whatever goes wrong."""

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, FileChooser, Page, Playwright, expect

from labels.codes import new_tag, tag_url
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from shared import events as ev
from shared.vocabulary import Damage, Extent, Hazard, Material, ObjectType, PartRole, Role
from tests.browser.accessibility import barriers_of
from tests.browser.chromium import launch
from tests.browser.seeding import Seed
from tests.browser.serving import Clock, served
from tests.browser.test_crew import choose, enter, photo, sent, take_photo, type_tag
from tests.browser.test_offline import SignInPage, sign_in_page, visit
from tests.browser.test_scanning import film
from tests.browser.watching import (
    PHONE,
    SIZES,
    Complaints,
    Size,
    assert_sound,
    faults_of,
    on_each,
    open_context,
)
from tests.phones import enrol_page

__all__ = ["photo", "sign_in_page"]  # The fixtures, for the tests below.

NARROW = Size("narrow", 320, 640, touch=True)
TAPS_OF_A_REPEAT = 4
"""Next piece, take a photo, same as the last, save. The scan needs none; the shutter of the
phone's own camera is not the page's."""
OFFLINE = "/api/|/log/|/photos/|worker.js"
COUNT_TAPS = """
  window.taps = 0;
  addEventListener("pointerdown", (event) => { if (event.isTrusted) window.taps += 1; }, true);
"""


@pytest.fixture
def page(
    chromium: Browser, here: Installation, sign_in_page: SignInPage, complaints: Complaints
) -> Iterator[Page]:
    """A page on a phone, behind a network that may fall silent."""
    with (
        served(here, sign_in_page.before) as address,
        open_context(chromium, PHONE, address) as context,
    ):
        found = context.new_page()
        complaints.watch(found)
        complaints.expect(OFFLINE)
        yield found
        complaints.assert_none()


def tap(page: Page, name: str | re.Pattern[str]) -> None:
    page.get_by_role("button", name=name).first.click()


def shoot(page: Page, photo: bytes) -> None:
    """Press "Take a photo" as a person does, and let the camera give one."""
    with page.expect_file_chooser() as chosen:
        page.locator("label.button--scan").click()
    chooser: FileChooser = chosen.value
    chooser.set_files({"name": "front.jpg", "mimeType": "image/jpeg", "buffer": photo})


def tag_painting(page: Page, tag: str, photo: bytes, damage: Damage = Damage.SOAKED) -> None:
    type_tag(page, tag)
    take_photo(page, photo)
    choose(page, "What is it?", ObjectType.PAINTING.label)
    choose(page, "What is it made of?", Material.OIL_CANVAS.label)
    tap(page, "Next")
    choose(page, "What happened to it?", damage.label)
    tap(page, "Next")
    expect(page.get_by_role("heading", level=1)).to_have_text("Where did it hang or stand?")
    page.get_by_label("Room").fill("salon")
    tap(page, "Save the piece")
    expect(page.get_by_text(re.compile("^Saved (on this phone|and sent)$"))).to_be_visible()


def go_online(page: Page) -> None:
    page.context.set_offline(False)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(page.locator(".strip__unsent")).to_have_text("All sent")


def enter_code(page: Page, code: str) -> None:
    """Type a code where one is asked for."""
    field = page.get_by_label("Code on the tag")
    switch = page.get_by_role("button", name="Type the code")
    expect(field.or_(switch).first).to_be_visible()
    if switch.is_visible():
        switch.click()
    field.fill(code)
    tap(page, "Use this code")


def test_a_piece_like_the_last_takes_four_presses(
    playwright: Playwright,
    seeded: Seed,
    here: Installation,
    photo: bytes,
    tmp_path: Path,
    complaints: Complaints,
    capsys: pytest.CaptureFixture[str],
) -> None:
    first, second = new_tag(), new_tag()
    complaints.expect("/api/items/")
    reel = tmp_path / "tag.mjpeg"
    film(reel, tag_url(here.settings.base_url, second))
    browser = launch(
        playwright,
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={reel}",
    )
    try:
        with served(here) as address, open_context(browser, PHONE, address) as context:
            page = context.new_page()
            complaints.watch(page)
            page.add_init_script(COUNT_TAPS)
            enrol_page(page)
            page.goto(f"/crew/#tag={first}")
            expect(page.get_by_text(f"You scanned the tag {first}")).to_be_visible()
            page.locator(f"a.card[href='#/{seeded.fire}']").click()
            page.get_by_label("Your name").fill("Hesper Quillfeather (invented)")
            tap(page, "I have read them")
            take_photo(page, photo)
            choose(page, "What is it?", ObjectType.PAINTING.label)
            choose(page, "What is it made of?", Material.OIL_CANVAS.label)
            tap(page, "Next")
            choose(page, "What happened to it?", Damage.SOAKED.label)
            page.get_by_role("button", name=Extent.WIDE.label, exact=True).click()
            tap(page, "Next")
            page.get_by_label("Room").fill("salon")
            tap(page, "Save the piece")
            expect(page.get_by_role("button", name="Next piece")).to_be_visible()

            page.evaluate("window.taps = 0")
            begun = time.perf_counter()
            tap(page, "Next piece")
            expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")
            shoot(page, photo)
            tap(page, "Same as the last piece")
            tap(page, "Save the piece")
            expect(page.locator(".ruling")).to_be_visible()
            took = time.perf_counter() - begun
            taps = page.evaluate("window.taps")
            expect(page.locator(".strip__unsent")).to_have_text("All sent")
    finally:
        browser.close()
    with capsys.disabled():
        print(f"\ntag loop, a piece like the last: {taps} presses, {took:.1f} s by a script")
    assert taps <= TAPS_OF_A_REPEAT
    one, other = sent(here, first), sent(here, second)
    for name in ("object_type", "materials", "damages", "found"):
        assert getattr(one, name) == getattr(other, name), name
    assert len(other.photos) == 1
    complaints.assert_none()


def test_no_damage_is_the_whole_answer_and_the_damage_of_the_last_is_one_press(
    page: Page, seeded: Seed, here: Installation, photo: bytes
) -> None:
    first, second, third = new_tag(), new_tag(), new_tag()
    enter(page, seeded.fire)
    tag_painting(page, first, photo)
    for tag, answer in ((second, Damage.NONE_SEEN.label), (third, None)):
        tap(page, "Next piece")
        enter_code(page, tag)
        take_photo(page, photo)
        choose(page, "What is it?", ObjectType.BOOK.label)
        choose(page, "What is it made of?", Material.BOUND_VOLUME.label)
        tap(page, "Next")
        expect(page.get_by_role("heading", level=1)).to_have_text("What happened to it?")
        page.get_by_role("button", name=answer or "Same damage as the last piece").first.click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Where did it hang or stand?")
        tap(page, "Save the piece")
        expect(page.get_by_text("Saved and sent")).to_be_visible()
    assert [one.damage for one in sent(here, second).damages] == [Damage.NONE_SEEN]
    assert [one.damage for one in sent(here, third).damages] == [Damage.NONE_SEEN]


def test_cautions_read_without_a_network_are_not_asked_for_again(
    page: Page, seeded: Seed, here: Installation
) -> None:
    visit(page)
    page.locator(f"a.card[href='#/{seeded.fire}']").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Before you go in")
    page.context.set_offline(True)
    page.get_by_label("Your name").fill("Hesper Quillfeather (invented)")
    # The phone has no name in the log before it reached the service once; it has by now.
    tap(page, "I have read them")
    expect(page.get_by_role("button", name="Tag a piece")).to_be_visible()
    page.reload()
    page.goto(f"/crew/#/{seeded.fire}")
    expect(page.get_by_text("has read these cautions for this loss")).to_be_visible()
    expect(page.get_by_text("As last seen on this phone")).to_be_visible()
    tap(page, "Go on")
    expect(page.get_by_role("button", name="Tag a piece")).to_be_visible()
    go_online(page)
    with here.database.read() as session:
        loss = reading.loss(session, EVERYTHING, seeded.fire)
    assert loss is not None
    assert "Hesper Quillfeather (invented)" in loss.acknowledged
    assert events_naming_person(here, "Hesper Quillfeather (invented)") == 1


def events_naming_person(here: Installation, name: str) -> int:
    with here.database.read() as session:
        rows = [
            row
            for tree in (loss.loss for loss in reading.losses(session, EVERYTHING))
            for row in reading.tree_rows(session, tree)
            if row.type == "cautions_acknowledged"
        ]
    return sum(name.encode() in row.data for row in rows)


def test_entry_on_a_silent_network_shows_what_was_last_seen_at_once(
    page: Page, seeded: Seed, sign_in_page: SignInPage
) -> None:
    visit(page)
    enter(page, seeded.fire)
    sign_in_page.takes, sign_in_page.silent = re.compile(""), True
    page.goto(f"/crew/#/{seeded.fire}")
    soon = 5_000  # The page itself gives the service 20 s to answer.
    page.reload(wait_until="commit")
    expect(page.get_by_role("heading", level=1)).to_have_text("Before you go in", timeout=soon)
    expect(page.get_by_text("As last seen on this phone")).to_be_visible()
    tap(page, "Go on")
    type_tag(page, new_tag())
    # Nobody can say whether the tag is blank; that shows once it is sent.
    expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")


def test_cautions_that_came_up_since_are_pointed_out(
    page: Page, seeded: Seed, here: Installation
) -> None:
    enter(page, seeded.fire)
    expect(page.get_by_text("cautions here that you have not read")).to_have_count(0)
    with here.database.read() as session:
        loss = reading.loss(session, EVERYTHING, seeded.fire)
    assert loss is not None
    new = next(one for one in Hazard if one not in loss.hazards)
    here.log.say(ev.HazardNoted(hazard=new), actor="office", role=Role.OFFICE, loss=seeded.fire)
    page.reload()
    expect(page.get_by_text("cautions here that you have not read")).to_be_visible()
    page.get_by_role("link", name="Read them now").click()
    tap(page, "I have read them")
    expect(page.get_by_text("cautions here that you have not read")).to_have_count(0)


def test_a_material_is_found_by_another_name_and_several_are_said_to_count(
    page: Page, seeded: Seed, photo: bytes
) -> None:
    enter(page, seeded.fire)
    type_tag(page, new_tag())
    take_photo(page, photo)
    choose(page, "What is it?", ObjectType.WORK_ON_PAPER.label)
    page.context.set_offline(True)
    for sought, label in (
        ("serigraph", Material.PRINT_PAPER.label),
        ("waterclour", Material.WATERCOLOUR.label),
    ):
        page.get_by_label("Search materials").fill(sought)
        tap(page, label)
    expect(page.get_by_text("Several materials")).to_be_visible()
    page.get_by_label("Search materials").fill("xylophone")
    expect(page.get_by_text("No material has that in its name")).to_be_visible()
    assert_sound(page)


def test_the_condition_of_the_mould_is_recorded_where_somebody_said_so(
    page: Page, seeded: Seed, here: Installation, photo: bytes
) -> None:
    tag = new_tag()
    with page.expect_response("**/api/facts"):
        enter(page, seeded.fire)
    type_tag(page, tag)
    take_photo(page, photo)
    choose(page, "What is it?", ObjectType.PAINTING.label)
    choose(page, "What is it made of?", Material.OIL_CANVAS.label)
    tap(page, "Next")
    page.context.set_offline(True)
    choose(page, "What happened to it?", Damage.SOAKED.label)
    expect(page.get_by_text("said how far the mould goes")).to_have_count(0)
    choose(page, "What happened to it?", Damage.MOULD_SUSPECTED.label)
    expect(page.get_by_role("heading", name="said how far the mould goes")).to_be_visible()
    tap(page, re.compile("^Condition 3"))
    assert_sound(page)
    tap(page, "Next")
    tap(page, "Save the piece")
    expect(page.get_by_text("Mould condition 3")).to_be_visible()
    meaning = here.facts.mould_conditions[3].meaning
    expect(page.locator(".notice--caution", has_text=meaning)).to_be_visible()
    go_online(page)
    said = {one.damage: one.mould_condition for one in sent(here, tag).damages}
    assert said == {Damage.SOAKED: None, Damage.MOULD_SUSPECTED: 3}


def test_a_set_has_one_tag_and_a_count_that_can_be_corrected(
    page: Page, seeded: Seed, here: Installation, photo: bytes
) -> None:
    tag = new_tag()
    enter(page, seeded.fire)
    type_tag(page, tag)
    take_photo(page, photo)
    choose(page, "What is it?", ObjectType.WORK_ON_PAPER.label)
    choose(page, "What is it made of?", Material.PRINT_PAPER.label)
    tap(page, "Next")
    choose(page, "What happened to it?", Damage.DAMP.label)
    tap(page, "Next")
    page.get_by_role("textbox", name="How many under this one tag?").fill("12")
    tap(page, "Save the piece")
    expect(page.locator(".facts")).to_contain_text("12")
    expect(page.locator(".strip__unsent")).to_have_text("All sent")
    assert sent(here, tag).quantity == 12
    page.get_by_role("link", name="Correct what it is").click()
    assert_sound(page)
    tap(page, "Save")
    expect(page.get_by_role("alert")).to_contain_text("Nothing has been changed")
    tap(page, "One fewer")
    tap(page, Material.WATERCOLOUR.label)
    tap(page, "Save")
    expect(page.locator(".facts")).to_contain_text("11")
    expect(page.locator(".facts")).to_contain_text(Material.WATERCOLOUR.label)
    page.get_by_role("link", name="All pieces").click()
    expect(page.locator("a.card")).to_contain_text("Set of 11")
    expect(page.locator(".strip__unsent")).to_have_text("All sent")
    assert sent(here, tag).quantity == 11
    assert sent(here, tag).materials == [Material.PRINT_PAPER, Material.WATERCOLOUR]


def test_a_lost_tag_is_replaced_and_both_lead_to_the_piece(
    page: Page, seeded: Seed, here: Installation, photo: bytes
) -> None:
    old, new = new_tag(), new_tag()
    enter(page, seeded.fire)
    tag_painting(page, old, photo)
    page.context.set_offline(True)
    page.get_by_role("link", name="Give it a new tag").click()
    tap(page, "Lost")
    enter_code(page, old)
    expect(page.get_by_role("alert")).to_contain_text("That is the tag it has")
    assert_sound(page)
    enter_code(page, new)
    expect(page.locator(".piece-head .tag")).to_have_text(new)
    for tag in (old, new):
        page.goto(f"/crew/#/{seeded.fire}/piece/{tag}")
        expect(page.locator(".facts")).to_contain_text(f"{new} (now)")
        expect(page.locator(".facts")).to_contain_text(f"{old} (before)")
    page.goto(f"/crew/#/{seeded.fire}/pieces")
    expect(page.get_by_role("heading", level=1)).to_have_text("1 piece tagged on this phone")
    type_tag(page, new)
    expect(page.get_by_text("This tag is on another piece already")).to_be_visible()
    page.goto(f"/crew/#/{seeded.fire}/pieces")
    go_online(page)
    assert sent(here, new) == sent(here, old)
    assert sent(here, old).tags == [old, new]


def test_a_torn_tag_offers_the_pieces_that_it_may_be_of(
    page: Page, seeded: Seed, photo: bytes
) -> None:
    torn, other = new_tag(), new_tag()
    enter(page, seeded.fire)
    tag_painting(page, torn, photo)
    page.context.set_offline(True)
    tap(page, "Next piece")
    enter_code(page, f"{torn[:5]}??{torn[7:11]}??")
    match = page.locator(".lookalikes .card")
    expect(match).to_have_count(1)
    expect(match.locator("img")).to_be_visible()
    assert_sound(page)
    assert not barriers_of(page)
    enter_code(page, other[:2] + "?" * 11)
    expect(page.get_by_text("No piece on this phone has a tag like that")).to_be_visible()
    enter_code(page, torn[4:10])
    match.click()
    expect(page.get_by_role("heading", level=1)).to_have_text(ObjectType.PAINTING.label)
    expect(page.locator(".piece-head .tag")).to_have_text(torn)


def test_a_tag_found_to_be_on_two_pieces_is_mended_by_tagging_one_anew(
    page: Page, seeded: Seed, here: Installation, photo: bytes
) -> None:
    tag, new = new_tag(), new_tag()
    enter(page, seeded.fire)
    page.context.set_offline(True)
    tag_painting(page, tag, photo)
    here.log.say(
        ev.ItemTagged(
            tag=tag,
            object_type=ObjectType.BOOK,
            materials=(Material.BOUND_VOLUME,),
            found=ev.Spot(room="library"),
        ),
        actor="Another Writer (invented)",
        role=Role.CREW,
        loss=seeded.fire,
    )
    go_online(page)
    twice = page.get_by_role("alert")
    expect(twice).to_contain_text("This tag is on two pieces")
    expect(twice).to_contain_text("Book, library, Another Writer (invented)")
    assert_sound(page)
    page.get_by_role("link", name="Give this phone's piece a new tag").click()
    enter_code(page, tag)
    expect(page.get_by_role("alert")).to_contain_text("That is the tag it has")
    enter_code(page, new)
    expect(page.locator(".piece-head .tag")).to_have_text(new)
    expect(page.locator(".strip__unsent")).to_have_text("All sent")
    expect(page.get_by_text("This tag is on two pieces")).to_have_count(0)
    book, painting = sent(here, tag), sent(here, new)
    assert (book.object_type, book.conflicts, book.photos, book.damages) == (
        ObjectType.BOOK,
        [],
        [],
        [],
    )
    assert painting.object_type is ObjectType.PAINTING
    assert [one.damage for one in painting.damages] == [Damage.SOAKED]
    assert len(painting.photos) == 1
    assert painting.found.room == "salon"


def test_loose_fragments_go_into_a_bag_with_a_tag_of_its_own(
    page: Page, seeded: Seed, here: Installation, photo: bytes
) -> None:
    whole, bag = new_tag(), new_tag()
    enter(page, seeded.fire)
    tag_painting(page, whole, photo)
    page.context.set_offline(True)
    tap(page, "Tag a part of it")
    tap(page, PartRole.FRAGMENTS.label)
    expect(page.get_by_text("Bag the fragments")).to_be_visible()
    enter_code(page, bag)
    expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")
    shoot(page, photo)
    expect(page.get_by_role("heading", level=1)).to_have_text("What is it made of?")
    tap(page, "Next")
    tap(page, "Next")
    page.get_by_label("What is in the bag?").fill("three flakes of paint (invented)")
    assert_sound(page)
    tap(page, "Save the piece")
    expect(page.locator(".facts")).to_contain_text("three flakes of paint (invented)")
    page.goto(f"/crew/#/{seeded.fire}/piece/{whole}")
    expect(page.locator("a.part")).to_contain_text(PartRole.FRAGMENTS.label)
    go_online(page)
    part = sent(here, bag)
    assert (part.parent, part.role) == (whole, PartRole.FRAGMENTS)
    assert part.description == "three flakes of paint (invented)"
    assert [one.damage for one in part.damages] == [Damage.BROKEN]


def test_the_last_entry_is_named_then_taken_back_and_the_ruling_follows(
    page: Page, seeded: Seed, here: Installation, photo: bytes, clock: Clock
) -> None:
    tag = new_tag()
    page.clock.set_fixed_time(clock())
    with page.expect_response("**/api/facts"):
        enter(page, seeded.fire)
    page.context.set_offline(True)
    tag_painting(page, tag, photo, Damage.SOOT_DRY)
    whys = page.locator(".whys")
    expect(whys).to_be_visible()
    dry = whys.inner_text()
    page.get_by_role("link", name="Add damage").click()
    choose(page, "What happened to it?", Damage.SOAKED.label)
    tap(page, "Save")
    expect(page.locator(".facts")).to_contain_text(Damage.SOAKED.label)
    wet = whys.inner_text()
    assert wet != dry
    tap(page, "Undo the last entry")
    expect(page.get_by_text("Take back: damage “Soaked”?")).to_be_visible()
    assert_sound(page)
    tap(page, "Keep it")
    expect(whys).to_have_text(wet, use_inner_text=True)
    tap(page, "Undo the last entry")
    tap(page, "Take it back")
    expect(page.get_by_text("Taken back: damage “Soaked”")).to_be_visible()
    expect(whys).to_have_text(dry, use_inner_text=True)
    go_online(page)
    assert [one.damage for one in sent(here, tag).damages] == [Damage.SOOT_DRY]


def wait_for_tag_workers(page: Page) -> None:
    page.evaluate(
        """async () => {
          for (let tries = 0; tries < 300; tries += 1) {
            const kept = await navigator.serviceWorker.getRegistrations();
            const ready = kept.filter((one) => one.active?.state === "activated");
            if (ready.length === 3) return;
            await new Promise((go) => setTimeout(go, 50));
          }
          throw new Error("the workers did not come");
        }"""
    )


def test_a_tag_read_by_the_phone_s_own_camera_leads_on_without_a_network(
    page: Page, seeded: Seed, photo: bytes, complaints: Complaints
) -> None:
    known, blank = new_tag(), new_tag()
    visit(page)
    wait_for_tag_workers(page)
    enter(page, seeded.fire)
    tag_painting(page, known, photo)
    page.context.set_offline(True)
    for address in (f"/T/{known}", f"/t/{known.lower()}"):
        page.goto(address)
        expect(page.get_by_role("heading", level=1)).to_have_text(ObjectType.PAINTING.label)
        expect(page.locator(".piece-head .tag")).to_have_text(known)
    page.goto(f"/T/{blank}")
    expect(page.get_by_text(f"You scanned the tag {blank}")).to_be_visible()
    assert_sound(page)
    page.locator(f"a.card[href='#/{seeded.fire}']").click()
    tap(page, "Go on")
    expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")
    # Every other page is the network's alone.
    page.context.set_offline(False)
    for other in ("/office/", "/facility/", "/adjuster/"):
        page.goto(other)
        assert page.evaluate("navigator.serviceWorker.controller") is None


def test_every_screen_of_the_loop_fits_and_is_open_to_everybody(
    chromium: Browser,
    here: Installation,
    seeded: Seed,
    photo: bytes,
    complaints: Complaints,
) -> None:
    complaints.expect(OFFLINE)
    faults: list[str] = []
    with served(here) as address, open_context(chromium, PHONE, address) as context:
        page = context.new_page()
        complaints.watch(page)

        def look(heading: str) -> None:
            expect(page.get_by_role("heading", level=1)).to_have_text(heading)
            for screen in on_each(page, (NARROW, *SIZES)):
                found = faults_of(page) + barriers_of(page)
                faults.extend(f"{fault}, {screen.name}" for fault in found)

        first, second = new_tag(), new_tag()
        enter(page, seeded.fire)
        tag_painting(page, first, photo, Damage.MOULD_VISIBLE)
        tap(page, "Undo the last entry")
        look(ObjectType.PAINTING.label)
        page.get_by_role("link", name="Correct what it is").click()
        look("Correct what it is")
        page.go_back()
        page.get_by_role("link", name="Give it a new tag").click()
        look("A new tag for this piece")
        page.go_back()
        tap(page, "Next piece")
        enter_code(page, f"{first[:6]}???????")
        look("Scan the tag")
        enter_code(page, second)
        take_photo(page, photo)
        look("What is it?")
        tap(page, "Same as the last piece")
        look("Where did it hang or stand?")
        page.get_by_role("link", name="Change: Damage").click()
        look("What happened to it?")
        page.goto(f"/crew/#/{seeded.fire}/step/materials")
        look("What is it made of?")
        page.goto(f"/crew/#/{seeded.fire}/pieces")
        look("1 piece tagged on this phone")
    complaints.assert_none()
    assert not faults, "\n".join(faults)
