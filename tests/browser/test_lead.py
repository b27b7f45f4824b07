"""The facility lead's day: find, receive, plan."""

import re

import pytest
from playwright.sync_api import Page, expect

from labels.codes import show_tag
from service.facility.plans import adopted
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from shared.records import Item
from tests.browser.seeding import LEAD, Seed
from tests.browser.watching import DESK, PLANNED_WITHIN_MS, assert_sound

TRUCK = "FIRE-2"
SHELF = "cold-store"
REASON = "the house has no quarantine place; kept apart and marked (invented)"


def a_received_piece(here: Installation) -> Item:
    """Any piece with a title that is at the facility."""
    with here.database.read() as session:
        items = reading.items(session, EVERYTHING)
    return next(item for item in items if item.received_at and item.title and not item.parent)


def test_today_shows_what_must_move_and_what_waits(page: Page) -> None:
    page.goto("/facility/")
    expect(page.get_by_role("heading", level=1)).to_have_text("Today")
    for heading in (
        "Must move now",
        "Starts within a day",
        "Chamber runs open",
        "Waits on a truck",
    ):
        expect(page.get_by_role("heading", name=heading)).to_be_visible()
    expect(page.get_by_text("Middle chamber is out of use until")).to_be_visible()
    expect(page.get_by_role("link", name=TRUCK)).to_be_visible()
    assert_sound(page)


def test_a_tag_leads_to_its_piece_and_words_to_a_list(page: Page, here: Installation) -> None:
    item = a_received_piece(here)
    page.goto("/facility/items")
    search = page.get_by_label("Tag, title, maker or room")
    search.fill(show_tag(item.tag).lower())
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_role("heading", level=1)).to_have_text(item.title)
    expect(page.get_by_role("heading", name="Never", exact=True)).to_be_visible()
    expect(page.get_by_role("heading", name="How soon, and why")).to_be_visible()
    assert_sound(page)

    page.goto("/facility/items")
    search.fill(item.title)
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_role("link", name=item.title).first).to_be_visible()
    search.fill("nothing is called this")
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_text("No piece fits")).to_be_visible()


def test_a_piece_is_moved_and_a_step_recorded_by_name(page: Page, here: Installation) -> None:
    item = a_received_piece(here)
    page.goto(f"/facility/items/{item.tag}")
    page.get_by_label("Move to").select_option(SHELF)
    move = page.locator("form[action$='/move']")
    move.get_by_label("Your name").fill(LEAD)
    move.get_by_label("Reason, if it goes against advice").fill(REASON)
    move.get_by_role("button", name="Record the move").click()
    expect(page.get_by_text("Item moved").first).to_be_visible()
    step = page.locator("form[action$='/step']")
    step.get_by_label("Hours of work").fill("half an hour")
    step.get_by_label("Your name").fill(LEAD)
    step.get_by_role("button", name="Record the step").click()
    expect(page.get_by_role("alert")).to_contain_text("write a number of hours, such as 1.5")
    step.get_by_label("Hours of work").fill("0.5")
    step.get_by_label("Your name").fill(LEAD)
    step.get_by_role("button", name="Record the step").click()
    expect(page.get_by_text("Step done").first).to_be_visible()
    assert_sound(page)
    with here.database.read() as session:
        moved = reading.item(session, EVERYTHING, item.tag)
    assert moved is not None and moved.station == SHELF
    assert len(moved.steps_done) == len(item.steps_done) + 1


def test_a_piece_comes_off_the_truck(page: Page, here: Installation) -> None:
    with here.database.read() as session:
        manifest = reading.manifest(session, EVERYTHING, TRUCK)
        assert manifest is not None
        piece = reading.item(session, EVERYTHING, manifest.missing[0])
    assert piece is not None
    page.goto("/facility/receive")
    page.get_by_role("link", name=TRUCK).click()
    scanned, name = page.get_by_label("Tag"), page.get_by_label("Your name")
    expect(scanned).to_be_focused()
    scanned.fill(piece.tag[:-1] + ("0" if piece.tag[-1] != "0" else "1"))
    name.fill(LEAD)
    page.get_by_role("button", name="Received", exact=True).click()
    expect(page.get_by_role("alert")).to_be_visible()
    scanned.fill(show_tag(piece.tag))
    page.get_by_label("Put it").select_option(SHELF)
    page.get_by_label("Reason, if it goes against advice").fill(REASON)
    name.fill(LEAD)
    page.get_by_role("button", name="Received", exact=True).click()
    expect(page.get_by_role("status")).to_contain_text(piece.title or piece.object_type.label)
    expect(page.get_by_text(f"Missing ({len(manifest.missing) - 1})")).to_be_visible()
    page.get_by_text("Received (1)").click()
    expect(page.locator("details").get_by_role("link", name=piece.tag)).to_be_visible()
    assert_sound(page)
    with here.database.read() as session:
        arrived = reading.item(session, EVERYTHING, piece.tag)
    assert arrived is not None and arrived.station == SHELF and arrived.received_at is not None


def test_the_plan_board_stands_beside_its_table(page: Page) -> None:
    page.goto("/facility/plan")
    expect(page.get_by_label(re.compile("^Plan board"))).to_be_visible()
    runs = page.locator("section.panel").filter(has_text="Runs, as a table")
    expect(runs.get_by_role("link").first).to_have_attribute("href", re.compile("/runs/run-"))
    page.get_by_role("link", name="Later").click()
    expect(page).to_have_url(re.compile("day=14"))
    assert_sound(page)
    page.get_by_role("link", name="Earlier").click()
    expect(page).not_to_have_url(re.compile("day="))


@pytest.mark.parametrize("size", [DESK], ids=["desk"])
def test_a_new_plan_is_made_looked_at_and_adopted(page: Page, here: Installation) -> None:
    with here.database.read() as session:
        old = reading.facility(session).plan
    page.goto("/facility/plan")
    page.get_by_label("Seconds to spend").fill("5")
    page.get_by_role("button", name="Make a plan").click()
    expect(page.get_by_text("A plan is being made")).to_be_visible()
    assert_sound(page)
    ready = page.get_by_role("heading", name="A new plan is ready")
    # The page follows the search, and shows the plan by itself.
    expect(ready).to_be_visible(timeout=PLANNED_WITHIN_MS)
    assert_sound(page)
    page.locator("form[action$='/adopt']").get_by_label("Your name").fill(LEAD)
    page.get_by_role("button", name="Work by this plan").click()
    expect(ready).to_have_count(0)
    with here.database.read() as session:
        new = reading.facility(session).plan
        plan = adopted(session, here.photos)
    assert new is not None and new != old
    assert plan is not None and plan[1].runs


def test_a_programme_shows_what_was_signed(page: Page, seeded: Seed) -> None:
    page.goto("/facility/programmes")
    expect(page.get_by_text("Lagan proposes no dose")).to_be_visible()
    panel = page.locator("section.panel").filter(has_text="Ozone").first
    panel.locator("summary").click()
    expect(panel.get_by_text("29 CFR 1910.1000")).to_be_visible()
    expect(panel.get_by_text("DEMO-0417")).to_be_visible()
    expect(panel.get_by_text("Oil on canvas, ")).to_be_visible()
    assert_sound(page)
