"""The real service with the invented scenario, and a real browser before it."""

import os
import pickle
import shutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from filelock import FileLock
from playwright.sync_api import Browser, BrowserContext, Page

from service.installation import Installation
from service.settings import Settings
from tests.browser.seeding import Seed, seed
from tests.browser.serving import Clock, served
from tests.browser.watching import SIZES, Complaints, Size, open_context
from tests.service.facility.house import furnish
from tests.writers import START


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder needs the browser."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def seeded(tmp_path_factory: pytest.TempPathFactory) -> Seed:
    """The scenario, written and planned once for all of a run's processes; tests work on copies."""
    own = tmp_path_factory.getbasetemp()
    shared = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    told = shared / "seed.pickle"
    with FileLock(shared / "seed.lock"):
        if not told.exists():
            told.write_bytes(pickle.dumps(seed(shared / "seeded")))
    found: Seed = pickle.loads(told.read_bytes())
    return found


@pytest.fixture
def clock(seeded: Seed) -> Clock:
    """The service's time, from the moment of planning on."""
    return Clock(seeded.now)


@pytest.fixture
def here(seeded: Seed, clock: Clock, tmp_path: Path) -> Installation:
    """A fresh copy of the seeded installation; whoever serves it closes it."""
    folder = tmp_path / "installation"
    shutil.copytree(seeded.folder, folder)
    return Installation(Settings(folder=folder), now=clock)


@pytest.fixture
def small_clock() -> Clock:
    """The time of the small facility, from an hour after the first thing happened."""
    return Clock(START + timedelta(hours=1))


@pytest.fixture
def small(small_clock: Clock, tmp_path: Path) -> Installation:
    """The small facility with no piece in it; whoever serves it closes it."""
    made = Installation(Settings(folder=tmp_path / "installation"), now=small_clock)
    furnish(made)
    return made


@pytest.fixture
def address(here: Installation) -> Iterator[str]:
    """Where it is served."""
    with served(here) as found:
        yield found


@pytest.fixture(params=SIZES, ids=lambda size: size.name)
def size(request: pytest.FixtureRequest) -> Size:
    """A phone's screen, and a desk's."""
    found: Size = request.param
    return found


@pytest.fixture
def context(chromium: Browser, size: Size, address: str) -> Iterator[BrowserContext]:
    with open_context(chromium, size, address) as found:
        yield found


@pytest.fixture
def page(context: BrowserContext, complaints: Complaints) -> Iterator[Page]:
    """A page; the test fails when the browser complained of anything."""
    found = context.new_page()
    complaints.watch(found)
    yield found
    complaints.assert_none()


@pytest.fixture
def complaints() -> Complaints:
    return Complaints()
