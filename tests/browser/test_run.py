"""A chamber run with a gas, from the planned run to the open door, on the real pages.

The order of phases, the closed hold, the two passes and the two signatures are those of the
clearance rule (see the interlock's own tests); here it is shown that nobody gets round them
through the browser.
"""

import pytest
from playwright.sync_api import Locator, Page, expect

from demo_data.facility import FUMIGATOR
from labels.codes import show_tag
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from shared.vocabulary import Phase
from tests.browser.seeding import LEAD, Seed, begin_airing, tags_of
from tests.browser.serving import Clock
from tests.browser.watching import assert_sound

METER = "OZ-2"


def form(page: Page, run: str, act: str) -> Locator:
    return page.locator(f"form[action='/facility/runs/{run}/{act}']")


def press(page: Page, run: str, act: str, button: str, actor: str = LEAD) -> None:
    """Put a name to one of the run's forms and send it."""
    found = form(page, run, act)
    found.get_by_label("Your name").fill(actor)
    found.get_by_role("button", name=button).click()


def enter_phase(page: Page, run: str, phase: Phase) -> None:
    form(page, run, "phase").get_by_label("Next phase").select_option(phase.value)
    press(page, run, "phase", "Record the phase")


def read_every_zone(page: Page, run: str, ppm: str) -> None:
    """One pass of the licensed fumigator with the meter through all zones."""
    zones = form(page, run, "reading").get_by_label("Zone").locator("option").all_text_contents()
    assert len(zones) >= 2
    for zone in zones:
        found = form(page, run, "reading")
        found.get_by_label("Zone").select_option(zone)
        found.get_by_label("Instrument").select_option(METER)
        found.get_by_label("Reading").fill(ppm)
        found.get_by_label("Unit").select_option("ppm")
        found.get_by_label("Oxygen").fill("20.9")
        press(page, run, "reading", "Log the reading", FUMIGATOR.name)
        expect(page.get_by_text(f"{ppm} ppm").first).to_be_visible()


def sign(page: Page, run: str, role: str, name: str, licence: str = "") -> None:
    found = form(page, run, "sign")
    found.get_by_label("I sign as").select_option(role)
    found.get_by_label("Licence number").fill(licence)
    press(page, run, "sign", "Sign these readings", name)


@pytest.fixture
def run(seeded: Seed) -> str:
    return seeded.gas_run


def test_the_right_pieces_are_loaded_and_a_wrong_one_is_stopped(
    page: Page, run: str, here: Installation
) -> None:
    tags = tags_of(here, run)
    with here.database.read() as session:
        stranger = next(
            item
            for item in reading.items(session, EVERYTHING)
            if item.received_at and item.tag not in tags
        )
    page.goto("/facility/runs")
    assert_sound(page)
    page.get_by_role("link", name=run, exact=True).click()
    expect(page.get_by_text("Not opened yet")).to_be_visible()
    assert_sound(page)
    press(page, run, "open", "Open the run and load")
    expect(page.get_by_text("NOT CLEARED")).to_be_visible()

    page.get_by_role("link", name="Load by scan").click()
    assert_sound(page)
    form(page, run, "load").get_by_label("Scan the next piece").fill(show_tag(stranger.tag))
    press(page, run, "load", "Load")
    expect(page.get_by_role("alert")).to_contain_text("STOP: wrong piece.")
    expect(page.get_by_role("alert")).to_contain_text("is not on this run's sheet")
    assert_sound(page)

    form(page, run, "load").get_by_label("Scan the next piece").fill(show_tag(tags[0]))
    press(page, run, "load", "Load")
    expect(page.get_by_text(f"1 of {len(tags)} loaded").last).to_be_visible()
    page.goto(f"/facility/runs/{run}")
    enter_phase(page, run, Phase.SEALED)
    if len(tags) > 1:
        expect(page.get_by_role("alert")).to_contain_text("pieces are not loaded")
    page.goto(f"/facility/runs/{run}/load")
    for number, tag in enumerate(tags[1:], start=2):
        form(page, run, "load").get_by_label("Scan the next piece").fill(tag)
        press(page, run, "load", "Load")
        expect(page.get_by_text(f"{number} of {len(tags)} loaded").last).to_be_visible()
    page.goto(f"/facility/runs/{run}")
    if len(tags) > 1:
        enter_phase(page, run, Phase.SEALED)
    enter_phase(page, run, Phase.DOSING)
    expect(page.get_by_role("alert")).to_contain_text("checks before dosing are not done")
    for box in form(page, run, "check").get_by_role("checkbox").all():
        box.check()
    press(page, run, "check", "Record the checks", FUMIGATOR.name)
    enter_phase(page, run, Phase.DOSING)
    dose = form(page, run, "dose")
    dose.get_by_label("Agent introduced").fill("4")
    press(page, run, "dose", "Record the dose", FUMIGATOR.name)
    enter_phase(page, run, Phase.AIRING)
    expect(page.get_by_text("NOT CLEARED")).to_be_visible()
    assert_sound(page)
    with here.database.read() as session:
        record = reading.run(session, run)
    assert record is not None and record.phase is Phase.AIRING
    assert sorted(record.loaded) == sorted(tags)
    assert [dose.mass.value for dose in record.doses] == ["4"]


def test_the_chamber_opens_only_when_every_condition_is_measured_and_signed(
    page: Page, run: str, here: Installation, clock: Clock
) -> None:
    begin_airing(here, run)
    page.goto(f"/facility/runs/{run}")
    box = page.locator(".clearance")

    def refused(reason: str) -> None:
        press(page, run, "unseal", "Open the chamber")
        expect(page.get_by_role("alert")).to_contain_text("NOT CLEARED")
        expect(page.get_by_role("alert")).to_contain_text(reason)
        expect(box).to_contain_text(reason)
        assert_sound(page)

    refused("no ozone reading since airing began")
    clock.forward(hours=1)
    read_every_zone(page, run, "0.25")
    expect(box).to_contain_text("but the limit is at most 0.1 ppm")
    refused("no closed hold of")

    clock.forward(hours=3)
    hold = form(page, run, "hold")
    hold.get_by_label("Minutes it has stood closed").fill("120")
    press(page, run, "hold", "Record the closed hold", FUMIGATOR.name)
    read_every_zone(page, run, "0.04")
    refused("needs two passes at least")

    clock.forward(minutes=65)
    read_every_zone(page, run, "0.03")
    refused("two different people must sign these very readings")
    sign(page, run, "lead", LEAD)
    refused("one of the two must be the licensed fumigator")
    sign(page, run, "fumigator", FUMIGATOR.name, FUMIGATOR.licence_no)
    expect(page.locator(".clearance--cleared")).to_be_visible()
    expect(box).to_contain_text("the licensed person decides")
    assert_sound(page)

    press(page, run, "unseal", "Open the chamber")
    expect(page.get_by_text("Whether to go in is for the licensed fumigator")).to_be_visible()
    assert_sound(page)
    with here.database.read() as session:
        record = reading.run(session, run)
    assert record is not None and record.opened_at is not None
    assert record.phase is Phase.CLEARED


def test_papers_of_a_run_are_pdfs(page: Page, run: str, address: str) -> None:
    for paper in ("sheet", "placard"):
        answer = page.request.get(f"{address}/facility/runs/{run}/{paper}.pdf")
        assert answer.ok
        assert answer.headers["content-type"] == "application/pdf"
        assert answer.body().startswith(b"%PDF-")
