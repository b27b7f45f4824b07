"""The adjuster looks, decides and takes everything away."""

import csv
import io
import json
import re
import zipfile

import pytest
from playwright.sync_api import Page, expect

from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING, ItemFilter
from shared.vocabulary import Decision
from tests.browser.seeding import Seed
from tests.browser.watching import DESK, Complaints, assert_sound

ADJUSTER = "Corin Vellacourt (invented)"
SHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@pytest.fixture
def base(seeded: Seed) -> str:
    return f"/adjuster/losses/{seeded.fire}"


def decisions(here: Installation, loss: str) -> list[Decision]:
    with here.database.read() as session:
        items = reading.items(session, EVERYTHING, ItemFilter(loss=loss))
    return [item.decision.decision for item in items if item.decision is not None]


def test_a_selection_is_narrowed_and_decided(
    page: Page, seeded: Seed, base: str, here: Installation, complaints: Complaints
) -> None:
    page.goto("/adjuster/")
    assert_sound(page)
    page.locator(f"a[href='{base}']").click()
    expect(page).to_have_url(re.compile(f"{base}$"))
    assert_sound(page)
    everything = page.get_by_role("row").count()
    page.get_by_label("Search").fill("oil")
    page.get_by_role("button", name="Show", exact=True).click()
    expect(page).to_have_url(re.compile("q=oil"))
    assert 1 < page.get_by_role("row").count() < everything
    boxes = page.get_by_role("checkbox", name=re.compile("^Tick .*, "))
    boxes.nth(0).check()
    boxes.nth(1).check()
    before = len(decisions(here, seeded.fire))

    complaints.expect("/decide$")  # a form with a fault comes back with status 422
    page.get_by_role("button", name="Record the decision").click()
    expect(page.get_by_text("Decision: choose one.").first).to_be_visible()
    expect(boxes.nth(0)).to_be_checked()
    assert len(decisions(here, seeded.fire)) == before
    assert_sound(page)

    page.get_by_role("radio", name=Decision.AUTHORISE.label).check()
    page.get_by_label("Reason").fill("treatment costs less than the value")
    page.get_by_label("Your name").fill(ADJUSTER)
    page.get_by_role("button", name="Record the decision").click()
    expect(page.get_by_role("status")).to_contain_text("Decided on 2 pieces.")
    assert decisions(here, seeded.fire).count(Decision.AUTHORISE) == before + 2
    assert_sound(page)


def test_one_piece_shows_its_custody_and_takes_a_question(
    page: Page, seeded: Seed, base: str, here: Installation
) -> None:
    page.goto(base)
    page.get_by_role("rowheader").get_by_role("link").first.click()
    for heading in ("Damage", "Treatment", "Custody", "Cost and value"):
        expect(page.get_by_role("heading", name=heading, exact=True)).to_be_visible()
    expect(page.get_by_text("nothing is discarded before").first).to_be_visible()
    assert_sound(page)
    page.get_by_role("radio", name=Decision.QUESTION.label).check()
    page.get_by_label("Reason").fill("who appraised it?")
    page.get_by_label("Your name").fill(ADJUSTER)
    page.get_by_role("button", name="Record the decision").click()
    expect(page.get_by_text("who appraised it?").first).to_be_visible()
    assert decisions(here, seeded.fire).count(Decision.QUESTION) == 1
    assert_sound(page)


@pytest.mark.parametrize("size", [DESK], ids=["desk"])  # what is downloaded is the same
@pytest.mark.parametrize(
    ("name", "kind", "starts"),
    [
        ("inventory.pdf", "application/pdf", b"%PDF-"),
        ("inventory.xlsx", SHEET, b"PK"),
        ("inventory.csv", "text/csv", b""),
        ("inventory.json", "application/json", b"{"),
        ("custody.zip", "application/zip", b"PK"),
    ],
)
def test_a_document_is_taken_away(
    page: Page, base: str, address: str, name: str, kind: str, starts: bytes
) -> None:
    page.goto(base)
    link = page.locator(f"a[href='{base}/{name}']").first
    with page.expect_download() as waiting:
        link.click()
    data = waiting.value.path().read_bytes()
    assert waiting.value.suggested_filename.endswith(name.partition(".")[2])
    assert data.startswith(starts)
    answer = page.request.get(f"{address}{base}/{name}")
    assert answer.headers["content-type"].partition(";")[0] == kind
    if name.endswith("csv"):
        assert len(list(csv.reader(io.StringIO(data.decode("utf-8-sig"))))) > 60
    elif name.endswith("json"):
        assert len(json.loads(data)["items"]) >= 60
    elif name.endswith("zip"):
        assert zipfile.ZipFile(io.BytesIO(data)).testzip() is None
