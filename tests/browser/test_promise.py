"""A loss that is not taken yet, asked for on a small facility: faults kept in place, the search
followed, the answer read.
"""

import re

import pytest
from playwright.sync_api import Page, expect

from service.facility.plans import adopt
from service.installation import Installation
from tests.browser.watching import Complaints, assert_sound
from tests.service.facility.house import BOWL, LEAD, VASE, bring, quick_draft

ANSWERED_WITHIN_MS = 120_000


@pytest.fixture
def here(small: Installation) -> Installation:
    """A small facility with two pieces and a plan; whoever serves it closes it."""
    bring(small, VASE, title="Vase")
    bring(small, BOWL, title="Bowl")
    adopt(small, quick_draft(small), LEAD)
    return small


def test_a_lead_asks_how_soon_a_loss_could_be_done(page: Page, complaints: Complaints) -> None:
    complaints.expect("/promise$")  # a form with a fault comes back with status 422
    page.goto("/facility/")
    page.get_by_role("link", name="How soon", exact=True).click()
    assert_sound(page)
    first = page.get_by_role("group", name="Row 1", exact=True)
    first.get_by_label("How many").fill("some")
    first.get_by_label("Kind").select_option("decorative")
    first.get_by_label("Material").select_option("ceramic_high")
    first.get_by_label("Damage").select_option("smoke_odour")
    page.get_by_label("Your name").fill(LEAD)
    page.get_by_role("button", name="How soon?").click()
    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("Row 1, how many: write a whole number")
    expect(alert).to_contain_text("Row 1, size: choose one from the list.")
    expect(first.get_by_label("How many")).to_have_value("some")
    expect(first.get_by_label("Material")).to_have_value("ceramic_high")
    assert_sound(page)
    first.get_by_label("How many").fill("3")
    first.get_by_label("Size").select_option("small")
    page.get_by_role("button", name="How soon?").click()
    answer = page.get_by_role("heading", name=re.compile("^Earliest finish by this plan"))
    expect(answer).to_be_visible(timeout=ANSWERED_WITHIN_MS)
    for words in ("Nothing here moves", "none made late", "Pieces here may be late"):
        expect(page.get_by_role("rowheader", name=re.compile(words))).to_be_visible()
    expect(page.get_by_text("This is no promise")).to_be_visible()
    expect(first.get_by_label("How many")).to_have_value("3")
    assert_sound(page)
