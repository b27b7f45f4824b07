"""The studio: a list is proposed, water and a wrong order are refused, a task is done."""

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from service.installation import Installation
from service.settings import Settings
from shared.vocabulary import Damage, Material, ObjectType, StepKind
from tests.browser.accessibility import assert_in_order
from tests.browser.watching import PHONE, Complaints
from tests.service.conftest import Clock
from tests.service.facility.house import CONSERVATOR, PANE, bring, finish, furnish


@pytest.fixture
def here(tmp_path: Path) -> Installation:
    """The small invented facility with a broken gilded frame; whoever serves it closes it."""
    made = Installation(Settings(folder=tmp_path / "data"), now=Clock())
    furnish(made)
    gesso = (Material.GILDED_GESSO,)
    bring(made, PANE, Damage.BROKEN, object_type=ObjectType.FRAME, materials=gesso, title="Frame")
    finish(made, PANE, StepKind.STABILISE)
    return made


@pytest.fixture
def bench(page: Page, complaints: Complaints) -> Page:
    """A page at the bench."""
    complaints.expect("/facility/studio/")
    return page


def record(page: Page, task: str) -> None:
    """Record a task of the list as done."""
    done = page.locator("#done")
    done.get_by_label("Task finished").select_option(label=task)
    done.get_by_label("Materials used").fill("resin")
    done.get_by_label("Your name").fill("Bea Bench")
    done.get_by_role("button", name="Record it as done").click()


@pytest.mark.parametrize("size", [PHONE], ids=["phone"])
def test_a_gilded_frame_goes_through_the_studio(bench: Page) -> None:
    bench.goto("/facility/studio")
    assert_in_order(bench)
    bench.get_by_role("link", name="Frame", exact=True).click()
    expect(bench.get_by_text("No water: gesso")).to_be_visible()
    assert_in_order(bench)
    # No water-based method is offered; one that is sent all the same is refused.
    how = bench.get_by_label("Consolidate the frame: how")
    how.evaluate("one => { one.add(new Option('Size', 'size-frame', true, true)); }")
    bench.get_by_label("Conservator’s name").fill(CONSERVATOR)
    bench.get_by_role("button", name="Sign the list").click()
    expect(bench.get_by_role("alert")).to_contain_text("No water here")
    assert_in_order(bench)
    bench.get_by_label("Consolidate the frame: how").select_option("resin-frame")
    bench.get_by_role("button", name="Sign the list").click()
    expect(bench.get_by_text("Next: consolidate the frame.")).to_be_visible()
    assert_in_order(bench)
    record(bench, "Cast missing ornament")
    expect(bench.get_by_role("alert")).to_contain_text("Not yet: cast missing ornament.")
    record(bench, "Consolidate the frame")
    expect(bench.get_by_text("Next: mend tears and breaks.")).to_be_visible()
    bench.goto("/facility/studio")
    expect(bench.get_by_text("Next: mend tears and breaks.")).to_be_visible()
    assert_in_order(bench)
