"""The plan on a small facility: told, planned anew, compared, taken into use, and put back around a
chamber that failed, by two leads at once.
"""

import re
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from service.facility.plans import Draft, adopt
from service.installation import Installation
from shared.vocabulary import Damage, Material
from tests.browser.watching import DESK, PLANNED_WITHIN_MS, assert_sound
from tests.service.facility.house import (
    BOWL,
    CANVAS,
    LEAD,
    VASE,
    bring,
    quick_draft,
)

DUBLIN = ZoneInfo("Europe/Dublin")


@pytest.fixture
def here(small: Installation) -> Installation:
    """A small facility with three pieces; whoever serves it closes it."""
    bring(small, VASE, title="Vase")
    bring(small, BOWL, title="Bowl")
    bring(small, CANVAS, Damage.SOAKED, materials=(Material.OIL_CANVAS,), title="Canvas")
    return small


@pytest.fixture
def used(here: Installation) -> Draft:
    """The plan in use."""
    made = quick_draft(here)
    adopt(here, made, LEAD)
    return made


def tell(page: Page, order: str, **fields: str) -> None:
    """Fill in one of the forms that tell the planner something, and send it."""
    form = page.locator(f"details#{order}")
    form.locator("summary").click()
    for name, value in fields.items():
        control = form.locator(f"[name={name}]")
        if control.evaluate("one => one.tagName") == "SELECT":
            control.select_option(value)
        else:
            control.fill(value)
    form.get_by_role("button").click()


@pytest.mark.parametrize("size", [DESK], ids=["desk"])
def test_two_leads_edit_replan_compare_and_adopt(
    page: Page, context: BrowserContext, used: Draft
) -> None:
    page.goto("/facility/plan")
    expect(page.get_by_label(re.compile("^Plan board"))).to_be_visible()
    assert_sound(page)
    second = context.new_page()
    second.goto(f"/facility/plan/pieces/{BOWL}")
    assert_sound(second)

    page.get_by_role("link", name="7 days", exact=True).click()
    page.goto(f"/facility/plan/pieces/{VASE}")
    expect(page.get_by_role("heading", name="Why no sooner")).to_be_visible()
    assert_sound(page)
    said = {"reason": "the owner looks at it first", "actor": LEAD}
    tell(page, "move", step="stabilise", station="bench", not_before="2020-01-01T10:00", **said)
    expect(page.get_by_role("status")).to_contain_text("Taken.")
    later = (used.planning.problem.epoch + timedelta(days=4)).astimezone(DUBLIN)
    tell(page, "hold", step="chamber", not_before=f"{later:%Y-%m-%dT%H:%M}", **said)
    expect(page.get_by_role("status")).to_contain_text("Taken.")
    tell(page, "separate", other=VASE, **said)
    expect(page.get_by_role("alert")).to_contain_text("others: choose two different sides")

    tell(second, "pin", reason="as it is", actor="Bo")
    expect(second.get_by_role("alert")).to_contain_text("Not done, because meanwhile: Ada Lead")

    page.goto("/facility/plan")
    expect(page.get_by_text("Told to the planner (2)")).to_be_visible()
    page.get_by_label("Seconds to spend").fill("5")
    page.get_by_role("button", name="Make a plan").click()
    ready = page.get_by_role("heading", name="A new plan is ready")
    expect(ready).to_be_visible(timeout=PLANNED_WITHIN_MS)
    expect(page.get_by_role("heading", name=re.compile("^What changes"))).to_be_visible()
    expect(page.get_by_text(re.compile("^Vase ends .* later"))).to_be_visible()
    assert_sound(page)
    second.goto("/facility/plan")
    page.locator("form[action$='/adopt']").get_by_label("Your name").fill(LEAD)
    page.get_by_role("button", name="Work by this plan").click()
    expect(ready).to_have_count(0)
    second.locator("form[action$='/adopt']").get_by_label("Your name").fill("Bo")
    second.get_by_role("button", name="Work by this plan").click()
    expect(second.get_by_role("alert")).to_contain_text("another plan has taken its place")


def test_a_chamber_fails_and_the_plan_is_put_back_around_it(page: Page, used: Draft) -> None:
    run = next(one for one in used.plan.runs if VASE in one.items)
    page.goto(f"/facility/plan/runs/{run.id}")
    assert_sound(page)
    page.goto("/facility/plan")
    until = (used.planning.problem.epoch + timedelta(days=9)).astimezone(DUBLIN)
    form = page.locator("details#out-of-use")
    form.locator("summary").click()
    form.locator("[name=station]").select_option(run.station)
    form.locator("[name=until]").fill(f"{until:%Y-%m-%dT%H:%M}")
    form.locator("[name=reason]").fill("the fan stopped")
    form.locator("[name=actor]").fill(LEAD)
    form.get_by_role("button").click()
    expect(page.get_by_role("status")).to_contain_text("is out of use from now")
    ready = page.get_by_role("heading", name="A new plan is ready")
    expect(ready).to_be_visible(timeout=PLANNED_WITHIN_MS)
    expect(page.get_by_text(re.compile("moves from"))).not_to_have_count(0)
    assert_sound(page)
    page.locator("form[action$='/adopt']").get_by_label("Your name").fill(LEAD)
    page.get_by_role("button", name="Work by this plan").click()
    expect(ready).to_have_count(0)
