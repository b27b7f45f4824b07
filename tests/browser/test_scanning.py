"""The camera finds the code on a printed tag."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Page, Playwright, expect

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
    film_of(path, printed(text, in_bytes=in_bytes))


def film_of(path: Path, picture: Image.Image) -> None:
    """What a camera sees that is held before ``picture``, in a hand that is not quite still."""
    left, top = ((frame - one) // 2 for frame, one in zip(FRAME, picture.size, strict=True))
    with path.open("wb") as out:
        for number in range(FRAMES):
            frame = Image.new("L", FRAME, 190)
            frame.paste(picture, (left + number, top + number))
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


@contextmanager
def phone_before(
    playwright: Playwright, film: Path, address: str, complaints: Complaints
) -> Iterator[Page]:
    """A page on a phone whose camera sees ``film``; it fails when the browser complains."""
    browser = launch(
        playwright,
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={film}",
    )
    try:
        with open_context(browser, PHONE, address) as context:
            page = context.new_page()
            complaints.watch(page)
            yield page
            complaints.assert_none()
    finally:
        browser.close()


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
    with phone_before(playwright, film_of_tag, address, complaints) as page:
        enter(page, seeded.fire)
        page.get_by_role("button", name="Tag a piece").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")
        page.goto(f"/crew/#/{seeded.fire}/pieces")
        expect(page.get_by_role("link", name=f"Carry on with {tag[:4]}")).to_be_visible()


LISTENING = """
window.buzzes = 0;
window.tones = 0;
navigator.vibrate = () => { window.buzzes += 1; return true; };
const create = AudioContext.prototype.createOscillator;
AudioContext.prototype.createOscillator = function () {
  window.tones += 1;
  return create.call(this);
};
"""


def test_a_scan_is_felt_and_heard_until_the_tones_are_turned_off_for_good(
    playwright: Playwright,
    film_of_tag: Path,
    tag: str,
    seeded: Seed,
    address: str,
    complaints: Complaints,
) -> None:
    complaints.expect("/api/items/")

    def scan_by_camera() -> list[int]:
        """Buzzes and tones of scanning one tag from the list of pieces."""
        page.goto(f"/crew/#/{seeded.fire}/pieces")
        expect(page.get_by_role("button", name="Tag a piece")).to_be_visible()
        page.evaluate("window.buzzes = window.tones = 0")
        page.get_by_role("button", name="Tag a piece").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")
        found: list[int] = page.evaluate("[window.buzzes, window.tones]")
        return found

    with phone_before(playwright, film_of_tag, address, complaints) as page:
        page.add_init_script(LISTENING)
        enter(page, seeded.fire)
        assert scan_by_camera() == [1, 1]
        page.goto(f"/crew/#/{seeded.fire}/pack/K1")
        expect(page.get_by_role("status")).to_contain_text("Packed")
        page.get_by_role("button", name="Turn tones off").click()
        expect(page.get_by_role("button", name="Turn tones on")).to_be_visible()
        assert scan_by_camera() == [1, 0]
        page.reload()
        assert scan_by_camera() == [1, 0]
