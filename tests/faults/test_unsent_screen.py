"""The page of what has not been sent: its age, its reasons, and the way round by a file."""

import os
import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from service.installation import Installation
from tests.browser.accessibility import barriers_of
from tests.browser.watching import Size, assert_sound, open_context
from tests.faults.arriving import assert_arrived, send_until_empty
from tests.faults.phone import LOSS, give_work, kept_by, open_phone, pictures

UNSENT = f"/crew/#/{LOSS}/unsent"
HOUR_MS = 3_600_000
SHOTS = os.environ.get("LAGAN_SCREENSHOTS")
"""A folder to keep pictures of the screens in, for a person to look at."""


def no_network(context: BrowserContext) -> None:
    """The app itself still opens; nothing that is sent arrives."""
    for path in ("**/log/events", "**/photos/*"):
        context.route(path, lambda route: route.abort("connectionfailed"))


def with_unsent(context: BrowserContext, pieces: int, hours: float) -> Page:
    """A phone whose oldest unsent entry has waited for ``hours``, on the page that says so."""
    page = open_phone(context)
    drawn = pictures()
    since = int(time.time() * 1000 - hours * HOUR_MS)
    give_work(page, [next(drawn) for _ in range(pieces)], since)
    page.reload()
    page.goto(UNSENT)
    expect(page.get_by_role("heading", level=1)).to_have_text("Not yet sent")
    expect(page.get_by_role("button", name="Send now")).to_be_enabled()
    return page


def keep_picture(page: Page, name: str) -> None:
    if SHOTS:
        page.screenshot(path=Path(SHOTS) / f"{name}.png", full_page=True)


@pytest.mark.parametrize("width", [320, 390])
@pytest.mark.parametrize(
    ("hours", "kind", "words"),
    [(1, "calm", None), (30, "over_day", "over a day"), (80, "over_three_days", "over three days")],
)
def test_the_age_is_said_in_words_icon_and_colour(
    chromium: Browser, address: str, width: int, hours: float, kind: str, words: str | None
) -> None:
    with open_context(chromium, Size("phone", width, 700, touch=True), address) as context:
        no_network(context)
        page = with_unsent(context, 2, hours)
        strip = page.locator(".strip__unsent")
        expect(strip).to_contain_text("6 not yet sent")
        icons = {"calm": "waiting", "over_day": "clock", "over_three_days": "caution"}
        expect(strip.locator("use")).to_have_attribute("href", f"#icon-{icons[kind]}")
        if words is None:
            expect(strip.locator(".strip__age")).to_have_count(0)
        else:
            expect(strip).to_contain_text(words)
            expect(page.locator(f".age--{kind}")).to_contain_text("this phone alone")
        page.get_by_role("button", name="Save to a file").click()
        expect(page.get_by_role("link", name="unsent-")).to_be_visible()
        assert_sound(page)
        assert barriers_of(page) == []
        keep_picture(page, f"unsent-{kind}-{width}")


def test_what_failed_and_why_is_said(context: BrowserContext) -> None:
    context.route("**/photos/*", lambda route: route.abort("connectionfailed"))
    context.route(
        "**/log/events",
        lambda route: route.fulfill(
            json={
                "clock": 1,
                "receipts": [
                    {"id": one["id"], "outcome": "refused", "digest": "", "why": "no such loss"}
                    for one in route.request.post_data_json["events"]
                ],
            }
        ),
    )
    page = with_unsent(context, 2, 1)
    expect(page.get_by_text("no such loss")).to_have_count(4)
    expect(page.get_by_text("They stay on this phone")).to_be_visible()
    expect(page.get_by_text("The service can't be reached")).to_be_visible()
    assert_sound(page)
    assert barriers_of(page) == []
    keep_picture(page, "unsent-refused")
    assert len(kept_by(page).outbox) == 6


def test_a_file_carried_to_the_office_and_a_late_send_store_all_once(
    context: BrowserContext, here: Installation, tmp_path: Path
) -> None:
    no_network(context)
    drawn = pictures()
    shots = [next(drawn) for _ in range(12)]
    page = open_phone(context)
    digests = give_work(page, shots)
    page.reload()
    page.goto(UNSENT)
    page.get_by_role("button", name="Save to a file").click()
    with page.expect_download() as saving:
        page.get_by_role("link", name="unsent-").click()
    file = tmp_path / saving.value.suggested_filename
    saving.value.save_as(file)
    assert len(kept_by(page).outbox) == 36, "a file is no receipt"

    office = context.new_page()
    for stored, already in ((24, 0), (0, 24)):
        office.goto("/office/from-phone")
        assert_sound(office)
        office.get_by_label("File").set_input_files(file)
        office.get_by_role("button", name="Take it in").click()
        expect(office.get_by_text("All of this file is in")).to_be_visible()
        figures = office.locator(".figures__one dd").all_inner_texts()
        assert [int(one) for one in figures] == [stored, already, stored // 2, already // 2, 0]
        assert_sound(office)
        assert barriers_of(office) == []
    keep_picture(office, "office-from-phone")
    office.close()

    context.unroute("**/log/events")
    context.unroute("**/photos/*")
    send_until_empty(page)
    expect(page.get_by_text("Everything on this phone has been sent")).to_be_visible()
    journal = kept_by(page).journal
    assert journal is not None
    assert_arrived(here, journal["device"], digests, shots)
