"""Every page that a link leads to: it fits a phone, it is well formed, it shuts nobody out."""

import re
import shutil
from collections import Counter
from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, expect

from service.installation import Installation
from service.settings import Settings
from tests.browser.accessibility import barriers_of
from tests.browser.seeding import Seed, begin_airing
from tests.browser.serving import Clock, served
from tests.browser.watching import DESK, SIZES, faults_of, on_each
from tests.phones import enrolled

EACH = 1
"""Pages of one shape that are looked at, such as pieces or runs: more would take too long."""

REACHED = {
    "/",
    "/adjuster/",
    "/adjuster/losses/*",
    "/adjuster/losses/*/items/*",
    "/crew/",
    "/facility/",
    "/facility/climate",
    "/facility/climate/*",
    "/facility/condition",
    "/facility/items",
    "/facility/items/*",
    "/facility/items/*/condition",
    "/facility/move",
    "/facility/places",
    "/facility/places/*",
    "/facility/plan",
    "/facility/plan/pieces/*",
    "/facility/plan/runs/*",
    "/facility/programmes",
    "/facility/promise",
    "/facility/receive",
    "/facility/receive/*",
    "/facility/runs",
    "/facility/runs/*",
    "/facility/sensors",
    "/facility/sensors/new",
    "/facility/setup",
    "/facility/setup/bench/*",
    "/facility/setup/chamber/*",
    "/facility/setup/house",
    "/facility/setup/room/*",
    "/facility/setup/store/*",
    "/facility/studio",
    "/facility/studio/*",
    "/facility/weigh",
    "/office/",
    "/office/conflicts",
    "/office/conflicts/*/title",
    "/office/losses/*",
    "/office/losses/*/authorisations/new",
    "/office/losses/*/claims/new",
    "/office/losses/*/hazards/new",
    "/office/losses/*/import",
    "/office/losses/new",
    "/office/phones",
    "/office/phones/*/revoke",
    "/office/refused",
    "/office/tags",
    "/science",
}


@pytest.fixture(scope="module")
def address(seeded: Seed, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The installation with a run in the middle of its airing, for all tests here: none writes."""
    folder = tmp_path_factory.mktemp("standing") / "installation"
    shutil.copytree(seeded.folder, folder)
    here = Installation(Settings(folder=folder), now=Clock(seeded.now))
    begin_airing(here, seeded.gas_run)
    enrolled(here, "phone-1")
    with served(here) as found:
        yield found


def shape(path: str) -> str:
    """A path without the names of single records."""
    parts = [("*" if re.search(r"\d|[A-Z]{2}", part) else part) for part in path.split("/")]
    named = r"^(/facility/(?:places|climate|setup/\w+))/(?!new$)[^/]+$"
    return re.sub(named, r"\1/*", "/".join(parts))


def linked(page: Page) -> list[str]:
    """Paths of this service's pages that the page links to, documents and photos left out."""
    hrefs: list[str] = page.locator("a[href]").evaluate_all(
        "all => all.map((one) => new URL(one.getAttribute('href'), document.baseURI).href)"
    )
    own = urlsplit(page.url).netloc
    paths = [urlsplit(href).path for href in hrefs if urlsplit(href).netloc == own]
    return [path for path in paths if not re.search(r"\.\w+$|^/photos/|/documents/", path)]


@pytest.mark.timeout(1200)  # It walks over many pages, and the more the more there are.
@pytest.mark.parametrize("size", [DESK], ids=["desk and phone"])
def test_every_linked_page_is_sound_and_open_to_everybody(page: Page, seeded: Seed) -> None:
    waiting = ["/", f"/facility/runs/{seeded.gas_run}"]  # the run with every form on it
    seen, shapes, faults = set(waiting), Counter(map(shape, waiting)), list[str]()
    while waiting:
        path = waiting.pop(0)
        answer = page.goto(path)
        if answer is None or answer.status != 200:
            faults.append(f"{path} answers {answer.status if answer else 'nothing'}")
            continue
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        for screen in on_each(page, SIZES):
            faults += [f"{fault}, {screen.name}" for fault in faults_of(page) + barriers_of(page)]
        for found in linked(page):
            if found not in seen and shapes[shape(found)] < EACH:
                seen.add(found)
                shapes[shape(found)] += 1
                waiting.append(found)
    assert not faults, "\n".join(faults)
    assert set(shapes) >= REACHED
