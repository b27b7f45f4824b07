"""The office opens a loss, takes in a spreadsheet, prints tags and settles a conflict."""

import pytest
from playwright.sync_api import Page, expect

from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING, ItemFilter
from shared.vocabulary import Hazard, Peril
from tests.browser.seeding import Seed
from tests.browser.watching import Complaints, assert_sound

CLERK = "Isolde Farthingale (invented)"
REFERENCE = "QUAY-2031-07"


def pieces_of(here: Installation, loss: str) -> list[str]:
    with here.database.read() as session:
        return [item.title for item in reading.items(session, EVERYTHING, ItemFilter(loss=loss))]


def test_a_loss_is_opened_after_its_faults_are_mended(
    page: Page, here: Installation, complaints: Complaints
) -> None:
    complaints.expect("/office/losses/new$")
    page.goto("/office/")
    assert_sound(page)
    page.get_by_role("link", name="Open a loss").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Open a loss")
    assert_sound(page)
    page.get_by_label("Reference").fill(REFERENCE)
    page.get_by_label("Title").fill("Burst pipe over the print room")
    page.get_by_label("Site", exact=True).fill("4 Invented Quay")
    page.get_by_label("Time zone of the site").select_option("Europe/Dublin")
    page.get_by_label("What happened").select_option(Peril.BURST_PIPE.value)
    page.get_by_role("checkbox", name=Hazard.ELECTRICITY.label).check()
    page.get_by_role("button", name="Open the loss").click()

    name = page.get_by_label("Your name")
    expect(name).to_have_attribute("aria-invalid", "true")
    described = name.get_attribute("aria-describedby")
    assert described is not None
    expect(page.locator(f"#{described.split()[-1]}")).to_contain_text("Your name")
    expect(page.get_by_role("alert")).to_contain_text("Nothing was saved yet")
    expect(page.get_by_label("Title")).to_have_value("Burst pipe over the print room")
    assert_sound(page)
    page.get_by_role("alert").get_by_role("link", name="Your name").click()
    expect(name).to_be_focused()
    name.fill(CLERK)
    page.get_by_label("When", exact=True).fill("2031-05-05T22:15")
    page.get_by_role("button", name="Open the loss").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Burst pipe over the print room")
    expect(page.get_by_text("Not authorised", exact=True)).to_be_visible()
    assert_sound(page)
    with here.database.read() as session:
        loss = reading.loss(session, EVERYTHING, REFERENCE)
    assert loss is not None
    assert loss.hazards == [Hazard.ELECTRICITY]


SPREADSHEET = """Type,Title,Medium,Size,Damage,Room
painting,Harbour at noon (invented),oil on canvas,61 × 91.4 cm,soaked,hall
painting,Nameless (invented),unobtainium on moonbeam,24 x 36 in.,soot,hall
"""


def test_a_spreadsheet_with_a_bad_row_is_taken_in_only_as_far_as_it_is_sound(
    page: Page, seeded: Seed, here: Installation
) -> None:
    before = pieces_of(here, seeded.fire)
    page.goto(f"/office/losses/{seeded.fire}")
    assert_sound(page)
    page.get_by_role("link", name="Take in a spreadsheet").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Take in a spreadsheet")
    assert_sound(page)
    page.get_by_label("File").set_input_files(
        {"name": "crew.csv", "mimeType": "text/csv", "buffer": SPREADSHEET.encode()}
    )
    page.get_by_label("Your name").fill(CLERK)
    page.get_by_role("button", name="Check the file").click()
    expect(page.get_by_text("Some rows have problems")).to_be_visible()
    problem = page.get_by_role("row").filter(has_text="unobtainium on moonbeam")
    expect(problem.first).to_be_visible()
    assert_sound(page)
    assert pieces_of(here, seeded.fire) == before, "a file with a bad row was half taken in"
    page.get_by_role("button", name="Take in only the sound row").click()
    expect(page.get_by_role("status")).to_contain_text("1 piece was taken in")
    expect(page.get_by_role("status")).to_contain_text("1 row was left out")
    assert set(pieces_of(here, seeded.fire)) - set(before) == {"Harbour at noon (invented)"}
    assert_sound(page)


def test_tags_are_printed_ahead(page: Page, complaints: Complaints) -> None:
    complaints.expect("/office/tags$")
    page.goto("/office/tags")
    page.get_by_label("How many").fill("0")
    page.get_by_role("button", name="Make the PDF").click()
    expect(page.get_by_text("write a whole number").first).to_be_visible()
    assert_sound(page)
    page.get_by_label("How many").fill("24")
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Make the PDF").click()
    assert waiting.value.path().read_bytes().startswith(b"%PDF-")


@pytest.fixture
def conflict(seeded: Seed) -> str:
    return f"/office/conflicts/{seeded.title_conflict}/title"


def test_what_two_people_entered_differently_is_settled(
    page: Page, seeded: Seed, conflict: str, here: Installation, complaints: Complaints
) -> None:
    complaints.expect(conflict)
    page.goto("/office/conflicts")
    assert_sound(page)
    page.locator(f"a[href='{conflict}']").click()
    answers = page.get_by_role("radio")
    assert answers.count() == 2
    page.get_by_role("button", name="Let it stand").click()
    expect(page.get_by_role("alert").first).to_be_visible()
    assert_sound(page)
    second = page.locator("label.choice").nth(1)
    title = second.inner_text()
    second.click()
    page.get_by_label("Your name").fill(CLERK)
    page.get_by_role("button", name="Let it stand").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("To settle")
    expect(page.locator(f"a[href='{conflict}']")).to_have_count(0)
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, seeded.title_conflict)
    assert item is not None and item.title == title.strip().removeprefix("✓").strip()
