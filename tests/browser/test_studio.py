"""The studio: a list is proposed, water and a wrong order are refused, a task is done."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from service.installation import Installation
from service.settings import Settings
from shared.vocabulary import Damage, Material, ObjectType, StepKind
from tests.browser.accessibility import barriers_of
from tests.browser.serving import served
from tests.browser.watching import PHONE, Complaints, assert_sound, open_context
from tests.service.conftest import Clock
from tests.service.facility.house import CONSERVATOR, PANE, bring, finish, furnish


@pytest.fixture
def bench(chromium: Browser, tmp_path: Path, complaints: Complaints) -> Iterator[Page]:
    """The small invented facility with a broken gilded frame, on a phone."""
    here = Installation(Settings(folder=tmp_path / "data"), now=Clock())
    furnish(here)
    gesso = (Material.GILDED_GESSO,)
    bring(here, PANE, Damage.BROKEN, object_type=ObjectType.FRAME, materials=gesso, title="Frame")
    finish(here, PANE, StepKind.STABILISE)
    complaints.expect("/facility/studio/")
    with served(here) as address, open_context(chromium, PHONE, address) as context:
        page = context.new_page()
        complaints.watch(page)
        yield page
        complaints.assert_none()


def in_order(page: Page) -> None:
    """The page is sound and bars nobody."""
    assert_sound(page)
    assert not barriers_of(page)


def record(page: Page, task: str) -> None:
    """Record a task of the list as done."""
    done = page.locator("#done")
    done.get_by_label("Task finished").select_option(label=task)
    done.get_by_label("Materials used").fill("resin")
    done.get_by_label("Your name").fill("Bea Bench")
    done.get_by_role("button", name="Record it as done").click()


def test_a_gilded_frame_goes_through_the_studio(bench: Page) -> None:
    bench.goto("/facility/studio")
    in_order(bench)
    bench.get_by_role("link", name="Frame", exact=True).click()
    expect(bench.get_by_text("No water: gesso")).to_be_visible()
    in_order(bench)
    # No water-based method is offered; one that is sent all the same is refused.
    how = bench.get_by_label("Consolidate the frame: how")
    how.evaluate("one => { one.add(new Option('Size', 'size-frame', true, true)); }")
    bench.get_by_label("Conservator’s name").fill(CONSERVATOR)
    bench.get_by_role("button", name="Sign the list").click()
    expect(bench.get_by_role("alert")).to_contain_text("No water here")
    in_order(bench)
    bench.get_by_label("Consolidate the frame: how").select_option("resin-frame")
    bench.get_by_role("button", name="Sign the list").click()
    expect(bench.get_by_text("Next: consolidate the frame.")).to_be_visible()
    in_order(bench)
    record(bench, "Cast missing ornament")
    expect(bench.get_by_role("alert")).to_contain_text("Not yet: cast missing ornament.")
    record(bench, "Consolidate the frame")
    expect(bench.get_by_text("Next: mend tears and breaks.")).to_be_visible()
    bench.goto("/facility/studio")
    expect(bench.get_by_text("Next: mend tears and breaks.")).to_be_visible()
    in_order(bench)
