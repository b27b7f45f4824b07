"""The camera finds the code on a printed tag."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Playwright, expect

from labels.codes import new_tag, tag_url
from labels.symbols import QUIET_ZONE_MODULES, make_symbol
from service.installation import Installation
from tests.browser.chromium import launch
from tests.browser.seeding import Seed
from tests.browser.test_crew import enter
from tests.browser.watching import PHONE, Complaints, open_context

FRAME = (640, 480)
FRAMES = 12
MODULE_PX = 6


def film(path: Path, text: str, *, in_bytes: bool = False) -> None:
    """What a camera held before the tag sees, as motion JPEG: one picture after another."""
    code = printed(text, in_bytes=in_bytes)
    with path.open("wb") as out:
        for number in range(FRAMES):
            frame = Image.new("L", FRAME, 190)
            frame.paste(code, (150 + number, 60 + number))
            frame.convert("RGB").save(out, "JPEG", quality=90)


def printed(text: str, *, in_bytes: bool = False) -> Image.Image:
    """The code of ``text`` as it is printed, with its quiet zone, in greys."""
    symbol = make_symbol(text, in_bytes=in_bytes)
    modules = Image.fromarray(~symbol.modules).convert("L")
    quiet = QUIET_ZONE_MODULES
    code = Image.new("L", (modules.width + 2 * quiet, modules.height + 2 * quiet), 255)
    code.paste(modules, (quiet, quiet))
    size = (code.width * MODULE_PX, code.height * MODULE_PX)
    return code.resize(size, Image.Resampling.NEAREST)


@pytest.fixture
def tag() -> str:
    return new_tag()


@pytest.fixture
def film_of_tag(tag: str, here: Installation, tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "tag.mjpeg"
    film(path, tag_url(here.settings.base_url, tag))
    yield path


def test_the_camera_reads_a_tag(
    playwright: Playwright,
    film_of_tag: Path,
    tag: str,
    seeded: Seed,
    address: str,
    complaints: Complaints,
) -> None:
    complaints.expect(f"/api/items/{tag}$")
    browser = launch(
        playwright,
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={film_of_tag}",
    )
    try:
        with open_context(browser, PHONE, address) as context:
            page = context.new_page()
            complaints.watch(page)
            enter(page, seeded.fire)
            page.get_by_role("button", name="Tag a piece").click()
            expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")
            page.goto(f"/crew/#/{seeded.fire}/pieces")
            expect(page.get_by_role("link", name=f"Carry on with {tag[:4]}")).to_be_visible()
    finally:
        browser.close()
    complaints.assert_none()
