"""A programme drawn up, refused, mended, signed and renewed."""

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from service.facility.programme_forms import typed_of
from service.facility.programmes import denied_materials
from service.installation import Installation
from service.settings import Settings
from shared.facts import facts
from shared.vocabulary import Agent
from tests.browser.accessibility import assert_in_order
from tests.browser.watching import Complaints
from tests.service.conftest import Clock
from tests.service.facility.house import GAS, furnish


@pytest.fixture
def here(tmp_path: Path) -> Installation:
    """The small invented facility; whoever serves it closes it."""
    installation = Installation(Settings(folder=tmp_path / "data"), now=Clock())
    furnish(installation)
    return installation


@pytest.fixture
def lead(page: Page, complaints: Complaints) -> Page:
    """The lead's page."""
    complaints.expect("/facility/")
    return page


def test_a_programme_is_refused_mended_signed_and_renewed(lead: Page) -> None:
    typed = typed_of(GAS) | {"id": ["night-gas"]}
    lead.goto("/facility/programmes")
    assert_in_order(lead)
    lead.get_by_role("link", name="Draw up a programme").click()
    assert_in_order(lead)
    for name in ("agent", "compare", "temperature_unit", "licence_no"):
        lead.locator(f"[name={name}]").select_option(typed[name][0])
    texts = set(typed) - {"agent", "compare", "temperature_unit", "licence_no"}
    for name in sorted(texts - {"targets", "exclusions"}):
        lead.locator(f"[name={name}]").fill(typed[name][0])
    for material in denied_materials(Agent.OZONE, facts()):
        lead.locator(f"[name=exclusions][value={material.value}]").check()
    lead.locator("[name=targets][value=insects]").check()
    lead.get_by_role("button", name="Sign").click()
    expect(lead.get_by_role("alert")).to_contain_text("does not serve against insects")
    assert_in_order(lead)
    lead.locator("[name=targets][value=insects]").uncheck()
    lead.locator("[name=targets][value=smoke_odour]").check()
    lead.get_by_role("button", name="Sign").click()
    expect(lead.get_by_role("heading", level=1)).to_have_text(GAS.label)
    lead.get_by_role("link", name="Sign a new version").click()
    lead.locator("[name=note]").fill("looked at again")
    lead.get_by_role("button", name="Sign").click()
    expect(lead.get_by_role("row", name="looked at again")).to_be_visible()
    assert_in_order(lead)
