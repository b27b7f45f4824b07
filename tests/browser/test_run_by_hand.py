"""A run of a small house from planned to unloaded, by hand on a phone, with a piece that is stopped
at the door, somebody who comes too late, and a second run that is given up.
"""

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from service.facility.plans import adopt, adopted
from service.installation import Installation
from service.log import reading
from shared.vocabulary import Damage, Phase, StepKind
from tests.browser.accessibility import assert_in_order
from tests.browser.serving import Clock
from tests.browser.test_run import enter_phase, form, press, sign
from tests.browser.watching import PHONE, Size
from tests.service.facility.house import (
    BOWL,
    FUMIGATOR,
    LEAD,
    LICENCE,
    VASE,
    ZONES,
    allow,
    bring,
    finish,
    quick_draft,
)

METER = "M-1"
pytestmark = pytest.mark.parametrize("size", [PHONE], ids=["phone"])


@pytest.fixture
def here(small: Installation, small_clock: Clock) -> Installation:
    """A small facility with a plan for one vase; a wet bowl came later. Who serves it closes it."""
    bring(small, VASE, title="Tall vase")
    finish(small, VASE, StepKind.STABILISE)
    allow(small, VASE)
    small_clock.forward(minutes=1)  # A plan begins on a whole minute, after what was signed.
    adopt(small, quick_draft(small), LEAD)
    bring(small, BOWL, Damage.SOAKED, Damage.SMOKE_ODOUR, title="Wet bowl")
    return small


@pytest.fixture
def run(here: Installation) -> str:
    """The planned run of the vase."""
    with here.database.read() as session:
        plan = adopted(session, here.photos)
    assert plan is not None
    return next(one.id for one in plan[1].runs if VASE in one.items)


def scan(page: Page, run: str, tag: str, actor: str = LEAD) -> None:
    form(page, run, "load").get_by_label("Scan the next piece").fill(tag)
    press(page, run, "load", "Load", actor)


def measure(page: Page, run: str, ppm: str) -> None:
    """One pass through every zone: the air, the gas, the oxygen."""
    for zone in ZONES:
        air = form(page, run, "climate")
        air.get_by_label("Zone").select_option(zone)
        air.get_by_label("Temperature").fill("20")
        air.get_by_label("Relative humidity").fill("45")
        press(page, run, "climate", "Log the air", FUMIGATOR)
        found = form(page, run, "reading")
        found.get_by_label("Zone").select_option(zone)
        found.get_by_label("Instrument").select_option(METER)
        found.get_by_label("Reading").fill(ppm)
        found.get_by_label("Unit").select_option("ppm")
        found.get_by_label("Oxygen").fill("20.9")
        press(page, run, "reading", "Log the reading", FUMIGATOR)
        expect(page.get_by_role("alert")).to_have_count(0)


def test_a_run_by_hand_from_planned_to_unloaded(
    page: Page,
    context: BrowserContext,
    here: Installation,
    small_clock: Clock,
    run: str,
    size: Size,
) -> None:
    path = f"/facility/runs/{run}"
    page.goto(path)
    press(page, run, "open", "Open the run and load")

    page.get_by_role("link", name="Load by scan").click()
    scan(page, run, BOWL)
    stopped = page.locator("[data-answer=stop]")
    expect(stopped).to_contain_text("STOP: wrong piece. Wet bowl is not on this run's sheet.")
    assert_in_order(page)
    off = page.locator("details", has_text="Change the sheet")
    off.locator("summary").click()
    form(page, run, "load/add").get_by_label("Put this tag on").fill(BOWL)
    press(page, run, "load/add", "Put it on")
    expect(page.get_by_role("alert")).to_contain_text("dry it first")
    scan(page, run, VASE)
    expect(page.locator("[data-answer=in]")).to_contain_text("Tall vase")
    page.goto(f"/facility/find?q={VASE}")
    expect(page.get_by_text("chamber (loading)")).to_be_visible()

    page.goto(path)
    late = context.new_page()
    late.goto(path)
    enter_phase(page, run, Phase.SEALED)
    late.get_by_text("Give the run up").click()
    form(late, run, "abort").get_by_label("Why").fill("no power")
    press(late, run, "abort", "Abort the run", FUMIGATOR)
    expect(late.get_by_role("alert")).to_contain_text("has moved on from “Loading” to “Sealed”")

    enter_phase(page, run, Phase.DOSING)
    expect(page.get_by_role("alert")).to_contain_text("checks before dosing are not done")
    assert_in_order(page)
    for box in form(page, run, "check").get_by_role("checkbox").all():
        box.check()
    press(page, run, "check", "Record the checks", FUMIGATOR)
    enter_phase(page, run, Phase.DOSING)
    form(page, run, "dose").get_by_label("Agent introduced").fill("3")
    press(page, run, "dose", "Record the dose", FUMIGATOR)

    late.clock.install()
    late.goto(path)
    expect(late.get_by_text("no reading yet")).to_be_visible()
    measure(page, run, "1.5")
    small_clock.forward(minutes=30)
    measure(page, run, "1.5")
    late.clock.fast_forward(10_000)
    expect(late.get_by_text("Dose so far, low")).to_be_visible()
    late.close()

    enter_phase(page, run, Phase.HOLDING)
    enter_phase(page, run, Phase.AIRING)
    expect(page.get_by_text("NOT CLEARED")).to_be_visible()
    measure(page, run, "1.5")
    expect(page.get_by_text("Earliest time to check", exact=True)).to_be_visible()
    assert_in_order(page)
    small_clock.forward(hours=5)
    form(page, run, "hold").get_by_label("Minutes it has stood closed").fill("240")
    press(page, run, "hold", "Record the closed hold", FUMIGATOR)
    measure(page, run, "0.02")
    small_clock.forward(minutes=65)
    measure(page, run, "0.02")
    press(page, run, "unseal", "Open the chamber")
    expect(page.get_by_role("alert")).to_contain_text("NOT CLEARED")
    sign(page, run, "lead", LEAD)
    sign(page, run, "fumigator", FUMIGATOR, LICENCE)
    press(page, run, "unseal", "Open the chamber", FUMIGATOR)
    expect(page.get_by_text("Whether to go in is for the licensed fumigator")).to_be_visible()

    out = form(page, run, "unload")
    out.get_by_label("The load goes to").select_option("airing")
    out.get_by_label("Does the treatment count as done?").select_option("yes")
    assert_in_order(page)
    press(page, run, "unload", "All is out")
    expect(page.get_by_text("Unloaded").first).to_be_visible()
    assert_in_order(page)
    with here.database.read() as session:
        piece = reading.item(session, reading.EVERYTHING, VASE)
    assert piece is not None
    assert (piece.station, StepKind.CHAMBER in piece.steps_done) == ("airing", True)


def test_a_run_is_given_up_and_aired_like_any_other(
    page: Page, here: Installation, run: str, size: Size
) -> None:
    page.goto(f"/facility/runs/{run}")
    press(page, run, "open", "Open the run and load")
    page.goto(f"/facility/runs/{run}/load")
    scan(page, run, VASE)
    page.goto(f"/facility/runs/{run}")
    enter_phase(page, run, Phase.SEALED)
    page.get_by_text("Give the run up").click()
    form(page, run, "abort").get_by_label("Why").fill("the fan failed")
    press(page, run, "abort", "Abort the run", FUMIGATOR)
    expect(page.get_by_text("the fan failed")).to_be_visible()
    expect(page.get_by_text("NOT CLEARED")).to_be_visible()
    assert_in_order(page)
    enter_phase(page, run, Phase.AIRING)
    press(page, run, "unseal", "Open the chamber")
    expect(page.get_by_role("alert")).to_contain_text("NOT CLEARED")
