"""README's pictures of each person's screen: ``python -m tests.browser.pictures``.

Draws the whole invented scenario, serves it, and photographs four screens into
``demo_data/screens``.
"""

import io
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from demo_data.scenario import build
from labels.codes import new_tag, show_tag
from service.facility.plans import adopt, draft
from service.installation import Installation
from service.settings import Settings
from shared.vocabulary import Damage, Extent, Material, ObjectType
from tests.browser.chromium import launch
from tests.browser.seeding import LEAD, begin_airing, first_gas_run, make_ready, tags_of, write
from tests.browser.serving import Clock, served
from tests.browser.test_crew import choose, enter, take_photo, type_tag

SCREENS = Path(__file__).parents[2] / "demo_data" / "screens"
PLAN_S = 10.0
PHONE, DESK = (390, 844), (1280, 860)
COLOURS = 96


def main() -> None:
    """Write every picture."""
    SCREENS.mkdir(exist_ok=True)
    scenario = build(1)
    with TemporaryDirectory() as folder, sync_playwright() as playwright:
        here = Installation(Settings(folder=Path(folder)), now=Clock(scenario.now))
        write(here, scenario)
        for digest, data in scenario.photos.items():
            here.keep_photo(digest, data)
        adopt(here, draft(here, PLAN_S), LEAD)
        run = first_gas_run(here)
        make_ready(here, tags_of(here, run))
        begin_airing(here, run)
        loss = scenario.losses[0]
        photo = next(iter(scenario.photos.values()))
        browser = launch(playwright)
        with served(here) as address:
            for name, path, (width, height) in (
                ("lead", "/facility/plan", DESK),
                ("fumigator", f"/facility/runs/{run}", DESK),
                ("adjuster", f"/adjuster/losses/{loss}", DESK),
            ):
                page = browser.new_page(
                    base_url=address, viewport={"width": width, "height": height}
                )
                page.goto(path)
                page.wait_for_load_state("networkidle")
                keep(name, page)
            width, height = PHONE
            page = browser.new_page(base_url=address, viewport={"width": width, "height": height})
            tag_a_piece(page, loss, photo)
            keep("crew", page)
        browser.close()


def tag_a_piece(page: Page, loss: str, photo: bytes) -> None:
    """The crew's loop, as far as what must never be done."""
    enter(page, loss)
    type_tag(page, show_tag(new_tag()))
    take_photo(page, photo)
    choose(page, "What is it?", ObjectType.PAINTING.label)
    choose(page, "What is it made of?", Material.OIL_CANVAS.label)
    page.get_by_role("button", name="Next").click()
    choose(page, "What happened to it?", Damage.SOAKED.label)
    page.get_by_role("button", name=Extent.WIDE.label, exact=True).click()
    page.get_by_role("button", name="Next").click()
    page.get_by_label("Room").fill("music room")
    page.get_by_role("button", name="Save the piece").click()
    page.locator(".ruling").wait_for()


def keep(name: str, page: Page) -> None:
    """Save what the screen shows, in few enough colours to be small."""
    shot = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    shot.quantize(COLOURS).save(SCREENS / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main()
