"""A fresh house set up from nothing by its forms alone."""

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from service.installation import Installation
from service.log import reading
from service.settings import Settings
from shared.facility import Chamber
from tests.browser.accessibility import assert_in_order
from tests.browser.watching import PHONE, Complaints
from tests.service.conftest import Clock


@pytest.fixture
def here(tmp_path: Path) -> Installation:
    """An installation without a house; whoever serves it closes it."""
    return Installation(Settings(folder=tmp_path / "data"), now=Clock())


@pytest.fixture
def lead(page: Page, complaints: Complaints) -> Page:
    """The lead's page."""
    complaints.expect("/facility/")
    return page


def fill(page: Page, **typed: str) -> None:
    """Fields by name, and the lead's own name."""
    for name, text in typed.items():
        page.locator(f"[name='{name}']").fill(text)
    page.get_by_label("Your name").fill("Ada Lead")


def save(page: Page) -> None:
    page.get_by_role("button", name="Save", exact=True).click()


@pytest.mark.parametrize("size", [PHONE], ids=["phone"])
def test_a_fresh_house_is_set_up_by_its_forms(lead: Page, here: Installation) -> None:
    lead.goto("/facility/setup")
    assert_in_order(lead)
    lead.get_by_role("link", name="Set up the house").click()
    fill(lead, label="Invented house", zone="Mars/North", altitude_m="40")
    save(lead)
    expect(lead.get_by_role("alert")).to_contain_text("no such time zone")
    assert_in_order(lead)
    fill(lead, zone="Europe/Dublin")
    save(lead)
    lead.get_by_label("Lengths").select_option("ft-in")
    lead.get_by_role("button", name="Show in these units").click()
    lead.get_by_role("link", name="Add a chamber").click()
    sides = {"inside_w": "6 ft 2 in", "inside_h": "7 ft", "inside_d": "4", "door_w": "3 ft"}
    rest = {"door_h": "6 ft 6 in", "rail_mm": "10 ft", "usable_fill": "50"}
    fill(lead, label="Box", **sides, **rest, air_changes_per_h="8", zones="low\nhigh")
    save(lead)
    expect(lead.get_by_role("alert")).to_contain_text("write it as 6 ft 2 in")
    assert_in_order(lead)
    fill(lead, inside_d="4 ft")
    save(lead)
    lead.get_by_role("link", name="Add a bench").click()
    lead.locator("[name=serves][value=stabilise]").check()
    lead.locator("[name=shifts-0-days][value='0']").check()
    fill(lead, label="Bench", **{"shifts-0-starts": "08:00", "shifts-0-ends": "16:30"})
    fill(lead, **{"shifts-0-people": "2"})
    assert_in_order(lead)
    save(lead)
    lead.get_by_role("link", name="Add a licensed person").click()
    lead.locator("[name=hours-0-days][value='0']").check()
    fill(lead, name="Fay Gas", licence_no="X-1", jurisdiction="Invented", expires="2032-01-31")
    fill(lead, phone="555-0100", **{"hours-0-starts": "09:00", "hours-0-ends": "12:00"})
    save(lead)
    lead.get_by_role("link", name="Add a day").click()
    fill(lead, day="2031-05-01", label="May day")
    save(lead)
    expect(lead.get_by_text("May day")).to_be_visible()
    assert_in_order(lead)
    with here.database.read() as session:
        made = reading.facility(session).facility
    assert made is not None
    box = made.station("box")
    assert isinstance(box, Chamber)
    assert box.inside_mm == (1880, 2134, 1219)  # 74, 84 and 48 inches of 25.4 mm
    assert [len(one) for one in (made.stations, made.licensed, made.holidays)] == [2, 1, 1]
