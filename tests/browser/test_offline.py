"""The crew's page after one visit: it starts without a network, and changes only when asked."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from sqlmodel import col, select
from starlette.datastructures import Headers
from starlette.responses import HTMLResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from labels.codes import new_tag
from service import pages
from service.installation import Installation
from service.storage.tables import LogRow
from shared.vocabulary import Damage, Material, ObjectType
from tests.browser.accessibility import barriers_of
from tests.browser.chromium import NODE
from tests.browser.seeding import Seed
from tests.browser.serving import served
from tests.browser.test_crew import choose, enter, photo, sent, take_photo, type_tag
from tests.browser.watching import PHONE, Complaints, assert_sound, open_context
from tests.phones import enrol_page

__all__ = ["photo"]  # The fixture, for the tests below.

KEPT = "This page is kept on the phone and starts without a network."
NOT_KEPT = "This page would not start without a network"
NEW_VERSION = "A new version is ready"
NOT_ENROLLED = "Enrol this phone"
HEADING = "Which loss are you at?"
WHILE_OFFLINE = "/api/|/log/|/photos/|/crew/worker.js"


class SignInPage:
    """A network that answers what it chooses to with a page of its own and 200, or never."""

    def __init__(self) -> None:
        self.takes = re.compile("(?!)")
        self.silent = False
        self._app: ASGIApp | None = None

    def before(self, app: ASGIApp) -> ASGIApp:
        """Stand between ``app`` and the browser."""
        self._app = app
        return self

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or let the service answer."""
        assert self._app is not None
        if scope["type"] == "http":
            asked_for = Headers(scope=scope).get("sec-fetch-dest", "")
            if self.takes.search(f"{scope['path']} {asked_for}"):
                while self.silent and (await receive())["type"] != "http.disconnect":
                    pass
                await HTMLResponse("<h1>Welcome to the guest network</h1>")(scope, receive, send)
                return
        await self._app(scope, receive, send)


@pytest.fixture
def sign_in_page() -> SignInPage:
    return SignInPage()


@pytest.fixture
def built(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The built front end in a folder of its own, so that a test can bring out another."""
    folder = tmp_path / "built"
    shutil.copytree(pages.BUILT, folder)
    for module in ("service.pages", "service.app", "service.crew.routes"):
        monkeypatch.setattr(f"{module}.BUILT", folder)
    pages._built_names.cache_clear()
    yield folder
    pages._built_names.cache_clear()


@pytest.fixture
def page(
    chromium: Browser,
    here: Installation,
    built: Path,
    sign_in_page: SignInPage,
    complaints: Complaints,
) -> Iterator[Page]:
    """A page on a phone that never was here before."""
    with (
        served(here, sign_in_page.before) as address,
        open_context(chromium, PHONE, address) as context,
    ):
        found = context.new_page()
        complaints.watch(found)
        yield found
        complaints.assert_none()


def visit(page: Page) -> None:
    """Open the page with a network, and stay until the phone has kept it."""
    enrol_page(page)
    expect(page.get_by_text(KEPT)).to_be_visible()


def describe_the_piece(page: Page, photo: bytes) -> None:
    """From the photo to the end; its tag is read already."""
    take_photo(page, photo)
    choose(page, "What is it?", ObjectType.SCULPTURE.label)
    choose(page, "What is it made of?", Material.CERAMIC_HIGH.label)
    page.get_by_role("button", name="Next").click()
    choose(page, "What happened to it?", Damage.SOOT_DRY.label)
    page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="Save the piece").click()


def bring_out_another_version(built: Path, workshop: Path) -> None:
    """Build the front end anew with a changed heading, and put it in the place of the old one."""
    web = workshop / "service" / "web"
    shutil.copytree(pages.WEB, web, ignore=shutil.ignore_patterns("node_modules", "built"))
    (web / "node_modules").symlink_to(pages.WEB / "node_modules")
    words = web / "src" / "strings.ts"
    old = words.read_text(encoding="utf-8")
    assert HEADING in old
    words.write_text(old.replace(HEADING, f"{HEADING} (newer)"), encoding="utf-8")
    subprocess.run(
        [str(NODE), str(web / "build.mjs")],
        check=True,
        capture_output=True,
        env={**os.environ, "PYTHON": sys.executable, "PYTHONPATH": str(pages.WEB.parents[1])},
    )
    shutil.rmtree(built)
    shutil.copytree(web / "built", built)
    pages._built_names.cache_clear()


def events_naming(here: Installation, tag: str, kind: str) -> int:
    with here.database.read() as session:
        rows = session.exec(select(LogRow).where(col(LogRow.type) == kind)).all()
    return sum(tag.encode() in row.data for row in rows)


def caches_of(page: Page) -> list[str]:
    found: list[str] = page.evaluate("caches.keys()")
    return found


def test_after_one_visit_a_piece_is_recorded_without_a_network_and_sent_once(
    page: Page, seeded: Seed, here: Installation, photo: bytes, complaints: Complaints
) -> None:
    complaints.expect(WHILE_OFFLINE)
    tag = new_tag()
    visit(page)
    enter(page, seeded.fire)

    page.context.set_offline(True)
    page.goto("/crew/")
    expect(page.get_by_role("heading", level=1)).to_have_text(HEADING)
    expect(page.get_by_text(KEPT)).to_be_visible()
    page.locator(f"a.card[href='#/{seeded.fire}']").click()
    page.get_by_role("button", name="Go on").click()  # Read before, as this phone itself knows.
    type_tag(page, tag)
    describe_the_piece(page, photo)
    expect(page.get_by_text("Saved on this phone")).to_be_visible()

    page.reload()
    expect(page.get_by_role("heading", level=1)).to_have_text(ObjectType.SCULPTURE.label)
    expect(page.locator(".strip__unsent")).to_contain_text("not yet sent")
    page.locator(".strip__loss").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("1 piece tagged on this phone")
    picture = page.locator(".card img")
    expect(picture).to_be_visible()
    assert picture.evaluate("(drawn) => drawn.naturalWidth") > 0
    assert events_naming(here, tag, "item_tagged") == 0

    page.context.set_offline(False)
    expect(page.locator(".strip__unsent")).to_have_text("All sent")
    page.reload()
    expect(page.locator(".strip__unsent")).to_have_text("All sent")
    assert sent(here, tag).object_type is ObjectType.SCULPTURE
    assert events_naming(here, tag, "item_tagged") == 1
    assert events_naming(here, tag, "photo_taken") == 1
    assert here.photos.get(sent(here, tag).photos[0].photo)


def test_it_starts_without_a_network_also_in_a_new_tab_and_with_the_camera_s_reader(
    page: Page, seeded: Seed, complaints: Complaints, capsys: pytest.CaptureFixture[str]
) -> None:
    complaints.expect(WHILE_OFFLINE)
    visit(page)
    page.context.set_offline(True)
    tab = page.context.new_page()
    complaints.watch(tab)
    tab.goto("/crew/")
    expect(tab.get_by_role("heading", level=1)).to_have_text(HEADING)
    # Everything that the page names is there, and what it loads later too.
    kept = tab.evaluate(
        """async () => {
          const [name] = await caches.keys();
          const paths = (await (await caches.open(name)).keys()).map((one) => one.url);
          const files = paths.filter((url) => new URL(url).pathname !== "/crew/");
          const answers = await Promise.all(files.map((url) => fetch(url)));
          return answers.map((one) => [new URL(one.url).pathname, one.status]);
        }"""
    )
    assert {status for _, status in kept} == {200}
    assert {".js", ".css", ".wasm", ".png", ".svg", ".webmanifest"} <= {
        Path(path).suffix for path, _ in kept
    }
    assert_sound(tab)

    starts: list[float] = []
    for _ in range(5):
        tab.goto("about:blank")
        tab.add_init_script(
            """new MutationObserver((_, watch) => {
              if (document.querySelector("h1") === null) return;
              window.firstHeading ??= performance.now();
              watch.disconnect();
            }).observe(document, { childList: true, subtree: true });"""
        )
        tab.goto("/crew/")
        expect(tab.get_by_role("heading", level=1)).to_be_visible()
        starts.append(tab.evaluate("window.firstHeading"))
    with capsys.disabled():
        print(f"\noffline start, navigation to first heading: {sorted(map(round, starts))} ms")


@pytest.mark.parametrize(
    "takes",
    [
        pytest.param("^/crew/worker.js ", id="the worker itself"),
        pytest.param(r"\.wasm ", id="one file"),
        pytest.param("^/crew/ empty$", id="the page as the worker asks for it"),
        pytest.param("empty$", id="all that is asked for after the page"),
    ],
)
def test_a_sign_in_page_is_never_kept_and_the_next_visit_keeps_the_app(
    page: Page, sign_in_page: SignInPage, complaints: Complaints, takes: str
) -> None:
    complaints.expect_words("The script has an unsupported MIME type ('text/html').")
    sign_in_page.takes = re.compile(takes)
    page.goto("/crew/")
    expect(page.get_by_role("heading", level=1)).to_have_text(NOT_ENROLLED)
    expect(page.get_by_text(NOT_KEPT)).to_be_visible()
    assert_sound(page)
    assert caches_of(page) == []
    assert page.evaluate("navigator.serviceWorker.getRegistration('/crew/')") is None

    sign_in_page.takes = re.compile("(?!)")
    page.reload()
    expect(page.get_by_text(KEPT)).to_be_visible()
    assert len(caches_of(page)) == 1
    page.context.set_offline(True)
    complaints.expect(WHILE_OFFLINE)
    page.reload()
    expect(page.get_by_role("heading", level=1)).to_have_text(NOT_ENROLLED)


def test_a_sign_in_page_takes_nothing_away_from_a_phone_that_has_the_app(
    page: Page, sign_in_page: SignInPage, complaints: Complaints
) -> None:
    complaints.expect(WHILE_OFFLINE)
    visit(page)
    kept = caches_of(page)
    sign_in_page.takes = re.compile("")
    page.reload()
    expect(page.get_by_role("heading", level=1)).to_have_text(HEADING)
    expect(page.get_by_text(KEPT)).to_be_visible()
    assert caches_of(page) == kept
    expect(page.locator("a.card").first).to_be_visible()


def test_a_network_that_never_answers_holds_nothing_up(
    page: Page, seeded: Seed, sign_in_page: SignInPage
) -> None:
    visit(page)
    enter(page, seeded.fire)
    sign_in_page.takes, sign_in_page.silent = re.compile(""), True
    soon = 5_000  # The page itself gives the service 20 s to answer.
    page.reload(wait_until="commit")
    expect(page.get_by_role("button", name="Tag a piece")).to_be_visible(timeout=soon)
    page.get_by_role("link", name="Another loss").click()
    expect(page.locator(f"a.card[href='#/{seeded.fire}']")).to_be_visible(timeout=soon)
    page.reload(wait_until="commit")
    expect(page.locator(f"a.card[href='#/{seeded.fire}']")).to_be_visible(timeout=soon)


def wait_for_the_next_version(page: Page) -> None:
    """Until another version is on the phone; the page's policy forbids Playwright's own wait."""
    page.evaluate(
        """async () => {
          const kept = await navigator.serviceWorker.getRegistration("/crew/");
          for (let tries = 0; kept.waiting === null; tries += 1) {
            if (tries === 300) throw new Error("no other version waits");
            await new Promise((go) => setTimeout(go, 50));
          }
        }"""
    )


def test_a_new_version_waits_until_somebody_asks_for_it(
    page: Page,
    seeded: Seed,
    here: Installation,
    built: Path,
    photo: bytes,
    tmp_path: Path,
    complaints: Complaints,
) -> None:
    complaints.expect(WHILE_OFFLINE)
    tag = new_tag()
    visit(page)
    [old] = caches_of(page)
    enter(page, seeded.fire)
    other = page.context.new_page()
    complaints.watch(other)
    other.goto("/crew/")
    expect(other.get_by_text(KEPT)).to_be_visible()
    for tab in (page, other):
        tab.evaluate("window.sameDocument = true")
    page.context.set_offline(True)
    type_tag(page, tag)
    expect(page.get_by_role("heading", level=1)).to_have_text("Photograph the piece")

    bring_out_another_version(built, tmp_path / "workshop")
    page.context.set_offline(False)  # The page looks for a new version when the network is back.
    wait_for_the_next_version(page)
    page.context.set_offline(True)
    expect(other.get_by_text(NEW_VERSION)).to_be_visible()
    expect(page.get_by_text(NEW_VERSION)).to_have_count(0)  # Not in the middle of a piece.
    describe_the_piece(page, photo)
    expect(page.get_by_text("Saved on this phone")).to_be_visible()
    page.get_by_role("link", name="All pieces").click()
    expect(page.get_by_text(NEW_VERSION)).to_be_visible()
    assert_sound(page)
    assert not barriers_of(page)
    assert page.evaluate("window.sameDocument") is True
    assert old in caches_of(page)  # The old version still runs, and still has its files.

    with page.expect_navigation():
        page.get_by_role("button", name="Reload now").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("1 piece tagged on this phone")
    expect(page.get_by_text(NEW_VERSION)).to_have_count(0)
    expect(page.locator(".strip__unsent")).to_contain_text("not yet sent")
    page.get_by_role("link", name="Another loss").click()
    expect(page.get_by_role("heading", level=1)).to_have_text(f"{HEADING} (newer)")
    [new] = caches_of(page)
    assert new != old

    assert other.evaluate("window.sameDocument") is True
    expect(other.get_by_role("heading", level=1)).to_have_text(HEADING)
    with other.expect_navigation():
        other.get_by_role("button", name="Reload now").click()
    expect(other.get_by_role("heading", level=1)).to_have_text(f"{HEADING} (newer)")

    page.context.set_offline(False)
    page.go_back()
    expect(page.locator(".strip__unsent")).to_have_text("All sent")
    assert events_naming(here, tag, "item_tagged") == 1
