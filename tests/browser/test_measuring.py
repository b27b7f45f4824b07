"""Sensors push, the climate shows it, and three wet pieces are weighed until one is dry."""

import json
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from service.installation import Installation
from service.settings import Settings
from shared import events as ev
from shared.vocabulary import Damage, Material
from tests.browser.accessibility import assert_in_order
from tests.browser.watching import Complaints
from tests.service.conftest import Clock
from tests.service.facility.house import BOWL, CANVAS, LEAD, PANE, bring, furnish, say
from tests.service.facility.measured import DRY, bearer, place, read

TAGS = (BOWL, PANE, CANVAS)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def here(tmp_path: Path, clock: Clock) -> Installation:
    """The small invented facility with three wet prints in its drying room."""
    installation = Installation(Settings(folder=tmp_path / "data"), now=clock)
    furnish(installation)
    for number, tag in enumerate(TAGS, start=1):
        known = {"materials": (Material.PRINT_PAPER,), "title": f"Invented print {number}"}
        bring(installation, tag, Damage.SOAKED, **known)
        say(installation, ev.ItemMoved(tag=tag, station="dry"))
    place(installation, DRY, "dry", "temperature", "humidity")
    return installation


@pytest.fixture
def lead(page: Page, complaints: Complaints) -> Page:
    """The lead's page."""
    complaints.expect("/facility/weigh")  # an unlikely mass is answered with a question
    return page


def weigh(page: Page, tag: str, mass: str) -> None:
    """Scan a piece, as a scanner that ends with Enter does; then type what the scale shows."""
    page.get_by_label("Piece", exact=True).fill(tag)
    page.keyboard.press("Enter")
    expect(page.get_by_label("Mass")).to_be_focused()
    page.keyboard.type(mass)
    page.keyboard.press("Enter")


def test_what_is_pushed_is_seen_and_what_is_weighed_is_judged(lead: Page, clock: Clock) -> None:
    lead.goto("/facility/climate")
    lead.get_by_role("link", name="Sensors and tokens").click()
    lead.get_by_label("Who sends").fill("Gateway")
    lead.get_by_label("Invented dry-1").check()
    lead.get_by_label("Your name").fill(LEAD)
    lead.get_by_role("button", name="Make the token").click()
    secret = lead.get_by_text("The token of Gateway").locator("..").locator("code").inner_text()
    assert_in_order(lead)

    told = [
        read(value=f"{58 + n % 5}", at=(clock.at - timedelta(minutes=10 * n)).isoformat())
        for n in range(30)
    ]
    pushed = lead.request.post(
        "/sensors/readings",
        data=json.dumps(told),
        headers=bearer(secret) | {"content-type": "application/json"},
    )
    assert pushed.json()["stored"] == 30
    lead.goto("/facility/climate")
    expect(lead.get_by_role("row", name="Drying room")).to_contain_text("58.0 % RH")
    assert_in_order(lead)
    lead.get_by_role("link", name="Drying room").click()
    expect(lead.get_by_role("img", name="Climate.")).to_be_visible()
    expect(lead.get_by_role("row", name="Relative humidity, dry-1")).to_contain_text("still")
    assert_in_order(lead)

    lead.goto("/facility/condition")
    assert_in_order(lead)
    lead.get_by_role("link", name="Weighing round").click()
    lead.get_by_label("Unit").select_option("kg")
    lead.get_by_label("Your name").fill(LEAD)
    for left, tag in zip((2, 1, 0), TAGS, strict=True):
        weigh(lead, tag, "0.080")
        expect(lead.get_by_role("status")).to_contain_text("0.080 kg")
        expect(lead.get_by_text(f"Still to weigh ({left})")).to_be_visible()
    assert_in_order(lead)
    weigh(lead, BOWL, "80")
    expect(lead.get_by_role("alert")).to_contain_text("Did you mean 80 g?")
    assert_in_order(lead)
    lead.get_by_label("Unit").select_option("g")
    lead.get_by_role("button", name="Record it, next piece").click()
    expect(lead.get_by_role("status")).to_contain_text("80 g, before 0.080 kg")

    lead.goto(f"/facility/items/{BOWL}/condition")
    expect(lead.get_by_text("Not shown to be dry")).to_be_visible()
    expect(lead.get_by_role("img", name="Drying.")).to_be_visible()
    assert_in_order(lead)
    clock.forward(hours=24)
    lead.get_by_role("button", name="To the scale").click()
    for label, typed in (("Mass", "0.080"), ("Your name", LEAD)):
        lead.get_by_label(label).fill(typed)
    lead.get_by_label("Unit").select_option("kg")
    lead.get_by_role("button", name="Record it, next piece").click()
    lead.goto(f"/facility/items/{BOWL}/condition")
    moisture = lead.locator("form[action$='/moisture']")
    moisture.get_by_label("Meter shows").fill("7.5")
    moisture.get_by_label("Meter's scale").select_option("dry_mass")
    moisture.get_by_label("Meter", exact=True).fill("Pins P-1")
    moisture.get_by_label("Your name").fill(LEAD)
    moisture.get_by_role("button", name="Record the moisture").click()
    expect(lead.get_by_text("Read the RH at its surface").first).to_be_visible()
    surface = lead.locator("form[action$='/surface']")
    surface.get_by_label("Relative humidity").fill("52")
    surface.get_by_label("Temperature").fill("19")
    surface.get_by_label("Unit").select_option("degC")
    surface.get_by_label("Your name").fill(LEAD)
    surface.get_by_role("button", name="Record the surface").click()
    expect(lead.get_by_role("status")).to_contain_text("Dry by its readings")
    assert_in_order(lead)
